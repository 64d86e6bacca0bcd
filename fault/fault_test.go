package fault_test

import (
	"errors"
	"fmt"
	"io/fs"
	"testing"

	"plumbhook/fault"
)

func TestPos(t *testing.T) {
	for _, c := range []struct {
		pos  fault.Pos
		want string
	}{
		{fault.Pos{}, ""},
		{fault.Pos{File: "pump.yaml"}, "pump.yaml"},
		{fault.Pos{File: "pump.yaml", Line: 3}, "pump.yaml:3"},
		{fault.Pos{File: "pump.yaml", Line: 3, Column: 7}, "pump.yaml:3:7"},
		{fault.Pos{Line: 3, Column: 7}, "3:7"},
		{fault.Pos{File: "pump.yaml", Column: 7}, "pump.yaml"}, // a column says nothing without its line
	} {
		if got := c.pos.String(); got != c.want {
			t.Errorf("%+v = %q, want %q", c.pos, got, c.want)
		}
	}
}

func TestError(t *testing.T) {
	cause := errors.New("disk is full")
	for _, c := range []struct {
		fault *fault.Fault
		want  string
	}{
		{fault.New(fault.Syntax, "no colon"), "no colon"},
		{fault.New(fault.Missing, "%s is %d short", "leg", 2), "leg is 2 short"},
		{
			fault.New(fault.NoUnit, "a mass needs a unit").In("load.mass").
				At(fault.Pos{File: "pump.yaml", Line: 9, Column: 4}).Fix("write %s", "kg"),
			"pump.yaml:9:4: load.mass: a mass needs a unit; write kg",
		},
		{fault.New(fault.Path, "cannot read it").Because(cause), "cannot read it (disk is full)"},
		{
			fault.New(fault.Path, "cannot read it").Because(cause).Fix("make room"),
			"cannot read it (disk is full); make room",
		},
	} {
		if got := c.fault.Error(); got != c.want {
			t.Errorf("%q, want %q", got, c.want)
		}
	}
}

func TestCause(t *testing.T) {
	f := fault.New(fault.Path, "no such chart").Because(fs.ErrNotExist)
	if !errors.Is(f, fs.ErrNotExist) {
		t.Error("the cause is lost")
	}
	if errors.Unwrap(fault.New(fault.Path, "no such chart")) != nil {
		t.Error("a cause out of nothing")
	}
}

// A list is told in the order of the file; faults of one place keep the order
// they were found in.
func TestListOrder(t *testing.T) {
	at := func(what string, line, column int) *fault.Fault {
		return fault.New(fault.Syntax, "%s", what).At(fault.Pos{Line: line, Column: column})
	}
	list := fault.List{at("e", 12, 1), at("c", 2, 9), at("d", 2, 9), at("b", 2, 1), at("a", 0, 0)}
	err := list.Err()
	if got, want := err.Error(), "a\n2:1: b\n2:9: c\n2:9: d\n12:1: e"; got != want {
		t.Errorf("%q, want %q", got, want)
	}
}

// No faults is no error: a nil interface, not an empty list inside one.
func TestEmptyList(t *testing.T) {
	if err := (fault.List{}).Err(); err != nil {
		t.Errorf("an empty list is the error %v", err)
	}
	if err := fault.List(nil).Err(); err != nil {
		t.Errorf("a nil list is the error %v", err)
	}
}

func TestOf(t *testing.T) {
	one := fault.New(fault.Rig, "no leg")
	list := fault.List{one, fault.New(fault.Rig, "no hook")}
	for _, c := range []struct {
		name string
		err  error
		want []fault.Code
	}{
		{"nil", nil, nil},
		{"a fault", one, []fault.Code{fault.Rig}},
		{"a wrapped fault", fmt.Errorf("while hanging: %w", one), []fault.Code{fault.Rig}},
		{"a list", list.Err(), []fault.Code{fault.Rig, fault.Rig}},
		{"a wrapped list", fmt.Errorf("while hanging: %w", list), []fault.Code{fault.Rig, fault.Rig}},
		{"a fault as cause of a fault", fault.New(fault.Undecided, "no sharing").Because(one), []fault.Code{fault.Undecided}},
		{"joined faults", errors.Join(one, fault.New(fault.Path, "no chart")), []fault.Code{fault.Rig, fault.Path}},
		{"a fault joined with a list", errors.Join(errors.New("boom"), list), []fault.Code{fault.Internal, fault.Rig, fault.Rig}},
		{"a stranger", errors.New("boom"), []fault.Code{fault.Internal}},
	} {
		got := fault.Of(c.err)
		if len(got) != len(c.want) {
			t.Errorf("%s: %v", c.name, got)
			continue
		}
		for i, f := range got {
			if f.Code != c.want[i] {
				t.Errorf("%s: fault %d has code %s, want %s", c.name, i, f.Code, c.want[i])
			}
		}
	}
}
