package drill

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"plumbhook/fault"
	"plumbhook/lift"
	"plumbhook/verdict"
	"plumbhook/watch"
)

func pumpMotor(t testing.TB) *verdict.Plan {
	t.Helper()
	return example(t, "pump-motor.yaml")
}

func example(t testing.TB, name string) *verdict.Plan {
	t.Helper()
	data, err := os.ReadFile("../../examples/" + name)
	if err != nil {
		t.Fatal(err)
	}
	l, err := lift.Read(name, nil, data)
	if err != nil {
		t.Fatal(err)
	}
	p, err := verdict.Check(l)
	if err != nil {
		t.Fatal(err)
	}
	return p
}

func TestDrills(t *testing.T) {
	files, err := filepath.Glob("testdata/*.txt")
	if err != nil || len(files) == 0 {
		t.Fatal("no drills", err)
	}
	p := pumpMotor(t)
	for _, f := range files {
		if filepath.Base(f) == "two-hooks.txt" {
			p = example(t, "gate-two-cranes.yaml")
		}
		text, err := os.ReadFile(f)
		if err != nil {
			t.Fatal(err)
		}
		d, err := Read(filepath.Base(f), string(text))
		if err != nil {
			t.Fatal(err)
		}
		missed, _, err := d.Run(p, watch.Options{})
		if err != nil {
			t.Fatal(err)
		}
		for _, m := range missed {
			t.Errorf("%s: at %g s wanted %s, got %s", m.Pos, m.TS, m.Want, m.Got)
		}
	}
}

// A drill whose expectation is wrong must miss.
func TestMisses(t *testing.T) {
	d, err := Read("wrong", "0 s W 0 kN\n0 s E 0 kN\n3 s expect STOP\n3 s expect lost W\n3 s expect no phase idle\n3 s expect phase suspended\n")
	if err != nil {
		t.Fatal(err)
	}
	missed, _, err := d.Run(pumpMotor(t), watch.Options{})
	if err != nil {
		t.Fatal(err)
	}
	if len(missed) != 4 {
		t.Errorf("%d misses, want 4: %v", len(missed), missed)
	}
}

func TestRefused(t *testing.T) {
	for _, c := range []struct{ text, where, says string }{
		{"", "x", "no readings"},
		{"0 s W 5", "x:1:1", "unit"},
		{"0 s W 5 ton", "x:1:1", "ton"},
		{"0 s W 0 kN\n  1 s expect sleep", "x:2:3", "no kind of alarm"},
		{"soon W 3 kN", "x:1:1", "time"},
		{"1e9 s W 3 kN", "x:1:1", "time"},
		{"rate fast", "x:1:1", "rate"},
		{"1 s A. Rigger tares now", "x:1:1", "hung or attached"},
		{"1 s W ripples 3 kN often", "x:1:1", "ripple"},
	} {
		_, err := Read("x", c.text)
		if err == nil {
			t.Errorf("%q is taken", c.text)
			continue
		}
		f := fault.Of(err)[0]
		if f.Pos.String() != c.where || !strings.Contains(err.Error(), c.says) {
			t.Errorf("%q: %v", c.text, err)
		}
	}
}

func FuzzRead(f *testing.F) {
	files, _ := filepath.Glob("testdata/*.txt")
	for _, name := range files {
		text, _ := os.ReadFile(name)
		f.Add(string(text))
	}
	f.Fuzz(func(t *testing.T, text string) {
		d, err := Read("x", text)
		if (err == nil) != (d != nil && err == nil) {
			t.Fatal("neither drill nor error")
		}
		if err == nil {
			for _, c := range d.channels {
				c.at(1)
			}
		}
	})
}
