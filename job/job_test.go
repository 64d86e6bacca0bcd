package job_test

import (
	"errors"
	"fmt"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"plumbhook/fault"
	"plumbhook/job"
)

var holds = job.Judged{Title: "gate", Verdict: "holds"}

func by(who string) job.Stamp { return job.Stamp{Who: who, At: time.Unix(1_790_000_000, 0)} }

func draft(t testing.TB) job.Job {
	t.Helper()
	j, err := job.New("a1", "one", "", holds, by("A"))
	if err != nil {
		t.Fatal(err)
	}
	return j
}

func approve(t testing.TB, j job.Job, holdPoints ...string) job.Job {
	t.Helper()
	a := job.Approval{Revision: j.Newest().N, SHA256: j.Newest().SHA256, Unit: "t", Stamp: by("P")}
	for _, h := range holdPoints {
		a.Holds = append(a.Holds, job.Hold{Text: h})
	}
	n, err := j.Approve(a, holds)
	if err != nil {
		t.Fatal(err)
	}
	return n
}

func code(t testing.TB, err error, want fault.Code) {
	t.Helper()
	var f *fault.Fault
	if !errors.As(err, &f) {
		list, ok := err.(fault.List)
		if !ok || len(list) == 0 {
			t.Fatalf("got %v, want %s", err, want)
		}
		f = list[0]
	}
	if f.Code != want {
		t.Fatalf("got %v, want %s", err, want)
	}
}

func TestRevise(t *testing.T) {
	j := draft(t)
	_, err := j.Revise(0, "two", "", holds, by("B"), false)
	code(t, err, fault.Disagree)
	_, err = j.Revise(1, "one", "", holds, by("B"), false)
	code(t, err, fault.Duplicate)
	n, err := j.Revise(1, "two", "longer legs", holds, by("B"), false)
	if err != nil || len(j.Revisions) != 1 || n.Newest().Letter() != "B" || n.Newest().Who != "B" || n.Changed.Who != "B" {
		t.Fatalf("%+v %v", n, err)
	}
	a := approve(t, n)
	_, err = a.Revise(2, "three", "", holds, by("B"), false)
	code(t, err, fault.Disagree)
	again, err := a.Revise(2, "three", "", holds, by("B"), true)
	if err != nil || again.State != job.Draft || again.Approval() != nil || len(again.Approvals) != 1 {
		t.Fatalf("reopened: %+v %v", again, err)
	}
	for n, want := range map[int]string{1: "A", 26: "Z", 27: "AA", 52: "AZ", 53: "BA"} {
		if got := (&job.Revision{N: n}).Letter(); got != want {
			t.Errorf("revision %d is %s, want %s", n, got, want)
		}
	}
}

func TestApprove(t *testing.T) {
	j := draft(t)
	good := job.Approval{Revision: 1, SHA256: j.Newest().SHA256, Unit: "t", Stamp: by("P")}
	fails := job.Judged{Verdict: "fails", Findings: []string{"rating at legs.west", "tilt-limit at load"}}
	for name, c := range map[string]struct {
		a    func(a *job.Approval)
		now  job.Judged
		want fault.Code
	}{
		"another revision":       {func(a *job.Approval) { a.Revision = 2 }, holds, fault.Disagree},
		"another file":           {func(a *job.Approval) { a.SHA256 = job.Sum("else") }, holds, fault.Disagree},
		"a file nobody can read": {nil, job.Judged{Verdict: job.Invalid}, fault.Rig},
		"a plan that fails":      {nil, fails, fault.Disagree},
		"one of two answered": {func(a *job.Approval) {
			a.Overrides = []job.Override{{Finding: "rating at legs.west", Reason: "proof loaded, certificate 17"}}
		}, fails, fault.Disagree},
		"answered with nothing": {func(a *job.Approval) {
			a.Overrides = []job.Override{{Finding: "rating at legs.west", Reason: " "}, {Finding: "tilt-limit at load", Reason: "agreed"}}
		}, fails, fault.Disagree},
		"incomplete":           {nil, job.Judged{Verdict: "incomplete"}, fault.Disagree},
		"a hold without words": {func(a *job.Approval) { a.Holds = []job.Hold{{}} }, holds, fault.Missing},
	} {
		a := good
		if c.a != nil {
			c.a(&a)
		}
		_, err := j.Approve(a, c.now)
		t.Log(name, err)
		code(t, err, c.want)
	}
	a := good
	a.Overrides = []job.Override{{Finding: "rating at legs.west", Reason: "proof loaded"}, {Finding: "tilt-limit at load", Reason: "agreed with the owner"}}
	n, err := j.Approve(a, fails)
	if err != nil || n.State != job.Approved || len(n.Approval().Overrides) != 2 {
		t.Fatalf("%+v %v", n, err)
	}
}

func TestWatchAndHolds(t *testing.T) {
	j := draft(t)
	_, err := j.Begin(job.Watch{ID: "w1", From: by("R")})
	code(t, err, fault.Disagree)
	a := approve(t, j, "bolts out", "wind below 9 m/s")
	h, err := a.Hold(2, by("R"))
	if err != nil || h.Approval().Holds[1].Done.Who != "R" || !a.Approval().Holds[1].Done.At.IsZero() {
		t.Fatalf("%+v %v", h, err)
	}
	_, err = h.Hold(2, by("S"))
	code(t, err, fault.Disagree)
	_, err = h.Hold(3, by("S"))
	code(t, err, fault.Reference)
	on, err := h.Begin(job.Watch{ID: "w1", From: by("R"), Rehearse: "held_down"})
	if err != nil || on.State != job.OnWatch || on.On().Revision != 1 {
		t.Fatalf("%+v %v", on, err)
	}
	_, err = on.Revise(1, "two", "", holds, by("B"), true)
	code(t, err, fault.Disagree)
	_, err = on.End("left", "", 0, by("R"))
	code(t, err, fault.Range)
	off, err := on.End(job.Stopped, "bolt found", 2, by("R"))
	if err != nil || off.State != job.Approved || off.On() != nil || off.Watches[0].Stops != 2 || on.On() == nil {
		t.Fatalf("a rehearsal that was stopped: %+v %v", off, err)
	}
	real, err := off.Begin(job.Watch{ID: "w2", From: by("R")})
	if err != nil {
		t.Fatal(err)
	}
	done, err := real.End(job.Done, "", 0, by("R"))
	if err != nil || done.State != job.Done || done.Approval() == nil {
		t.Fatalf("%+v %v", done, err)
	}
	_, err = done.Revise(1, "two", "", holds, by("B"), true)
	code(t, err, fault.Disagree)
}

// Whatever is asked in whatever order, revisions never change, a lift is on the
// watch only with an approval of its newest revision, and what was before a
// change stays as it was.
func TestAnyOrder(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		j, err := job.New("a1", "0", "", holds, by("A"))
		if err != nil {
			t.Fatal(err)
		}
		for i := range rapid.IntRange(1, 20).Draw(t, "changes") {
			before := fmt.Sprintf("%+v", j)
			var n job.Job
			var err error
			switch rapid.IntRange(0, 4).Draw(t, "change") {
			case 0:
				n, err = j.Revise(rapid.IntRange(0, 4).Draw(t, "base"), fmt.Sprint(i), "", holds, by("B"), rapid.Bool().Draw(t, "reopen"))
			case 1:
				n, err = j.Approve(job.Approval{Revision: j.Newest().N, SHA256: j.Newest().SHA256, Stamp: by("P"), Holds: []job.Hold{{Text: "h"}}}, holds)
			case 2:
				n, err = j.Hold(rapid.IntRange(0, 2).Draw(t, "hold"), by("R"))
			case 3:
				n, err = j.Begin(job.Watch{ID: fmt.Sprint(i), From: by("R")})
			case 4:
				n, err = j.End(rapid.SampledFrom([]job.State{job.Done, job.Stopped}).Draw(t, "outcome"), "", 0, by("R"))
			}
			if after := fmt.Sprintf("%+v", j); strings.Compare(before, after) != 0 {
				t.Fatalf("a change wrote to the old lift:\n%s\n%s", before, after)
			}
			if err != nil {
				continue
			}
			for k := range j.Revisions {
				if n.Revisions[k].SHA256 != j.Revisions[k].SHA256 || n.Revisions[k].Who != j.Revisions[k].Who {
					t.Fatal("a revision was altered")
				}
			}
			j = n
			if j.State == job.OnWatch != (j.On() != nil) {
				t.Fatalf("%s with watch %v", j.State, j.On())
			}
			if j.State != job.Draft && (j.Approval() == nil || j.Approval().SHA256 != j.Newest().SHA256) {
				t.Fatalf("%s without approval of the newest revision", j.State)
			}
		}
	})
}

func TestCompare(t *testing.T) {
	from := "title: a # note\nload:\n  parts:\n    - {name: frame, mass: 4 t}\n    - {name: box, mass: 1 t}\nlegs: {west: {length: 3.1 m}, east: {length: '3.1 m'}}\n"
	to := "title: 'a'\nlegs:\n  west: {length: 3.2 m} # longer\n  east: {length: 3.1 m, wll: 5 t}\nload:\n  parts:\n    - name: frame\n      mass: 4 t\n"
	list, err := job.Compare(from, to)
	if err != nil {
		t.Fatal(err)
	}
	got := fmt.Sprintf("%q", list)
	want := `[{"legs.west.length" "3.1 m" "3.2 m"} {"legs.east.wll" "" "5 t"} {"load.parts[2].name" "box" ""} {"load.parts[2].mass" "1 t" ""}]`
	if got != want {
		t.Errorf("got  %s\nwant %s", got, want)
	}
	_, err = job.Compare(from, "a: [")
	code(t, err, fault.Syntax)
}

func FuzzCompare(f *testing.F) {
	f.Add("a: 1\nb: [x, {c: 2}]", "a: 2")
	f.Add("&x a: *x", "- - -")
	f.Fuzz(func(t *testing.T, a, b string) {
		if same, err := job.Compare(a, a); err == nil && len(same) > 0 {
			t.Errorf("a text differs from itself: %q", same)
		}
		_, _ = job.Compare(a, b)
	})
}
