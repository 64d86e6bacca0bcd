package verdict

import (
	"math"
	"testing"

	"plumbhook/lift"
)

func checked(t *testing.T, yaml string) *Plan {
	t.Helper()
	l, err := lift.Read("test.yaml", nil, []byte(yaml))
	if err != nil {
		t.Fatal(err)
	}
	p, err := Check(l)
	if err != nil {
		t.Fatal(err)
	}
	return p
}

// TestEnvelope: two hooks in line share by the lever rule; when one rises,
// the other takes more, and the envelope keeps each at its worst.
func TestEnvelope(t *testing.T) {
	p := checked(t, `
plumbhook: 1
title: drifting from one hook to the other
load: {name: beam, mass: 4 t, cg: 0 0 -1 m, lugs: {a: {at: -2 0 0 m, wll: 5 t}, b: {at: 2 0 0 m, wll: 5 t}}}
hooks: {west: {at: -2 0 8 m, wll: 5 t}, east: {at: 2 0 8 m, wll: 5 t}}
legs:
  a: {from: west, to: load.a, length: 3 m, stiffness: 50 MN/m, wll: 5 t}
  b: {from: east, to: load.b, length: 3 m, stiffness: 50 MN/m, wll: 5 t}
steps:
  - {name: west up, hooks: {west: {at: -2 0 9 m}}}
  - {name: level again, hooks: {west: {at: -2 0 8 m}}}
  - {name: east up, hooks: {east: {at: 2 0 9.5 m}}}
`)
	if len(p.States) != 4 {
		t.Fatalf("%d states", len(p.States))
	}
	for _, e := range p.Envelope() {
		most, step := 0.0, ""
		for i := range p.States {
			for _, part := range p.States[i].Parts {
				if part.Where == e.Where && part.DemandN > most {
					most, step = part.DemandN, p.States[i].Hung.Step
				}
			}
		}
		if e.DemandN != most || e.Step != step {
			t.Errorf("%s: %g N in step %q, want %g N in step %q", e.Where, e.DemandN, e.Step, most, step)
		}
	}
	// The high end takes more, with the CG below the lugs.
	if s := p.States[p.WorstState()].Hung.Step; s != "east up" {
		t.Errorf("worst state is %q", s)
	}
}

// TestMatters: the chance of passing a rating set at the median is a half,
// and with a dynamic factor the rating counts divided by it.
func TestMatters(t *testing.T) {
	p := checked(t, `
plumbhook: 1
title: one leg
dynamic: {factor: 1.25}
site: {g: 10 m/s2}
load: {name: block, mass: 1000 kg ± 10 %, cg: 0 0 0 m, lugs: {top: {at: 0 0 1 m}}}
hooks: {main: {at: 0 0 5 m, wll: 12.5 kN}}
legs: {only: {from: main, to: load.top, length: 3 m, stiffness: 5 MN/m, wll: 20 kN}}
`)
	found := 0
	for _, m := range p.Matters(&p.States[0]) {
		switch m.Where {
		case "hooks.main":
			found++
			if m.Chance == nil || math.Abs(*m.Chance-0.5) > 2e-3 || math.Abs(*m.LimitN-10e3) > 1e-6 {
				t.Errorf("hook: %+v", m)
			}
		case "legs.only":
			found++
			if m.Chance == nil || *m.Chance != 0 {
				t.Errorf("leg: %+v", m)
			}
			if len(m.Shares) != 1 || m.Shares[0].Input.Name != "load.mass" || m.Shares[0].Index < 0.95 {
				t.Errorf("what matters: %+v", m.Shares)
			}
		case "load.top":
			found++
			if m.Chance != nil {
				t.Error("a lug without rating has a chance of passing it")
			}
		}
	}
	if found != 3 {
		t.Errorf("%d of three forces found", found)
	}
}
