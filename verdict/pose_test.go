package verdict

import (
	"math"
	"testing"

	"plumbhook/lift"
)

// TestLoudSide: what a crew must not miss, each with a lift that has it and
// one that has not.
func TestLoudSide(t *testing.T) {
	head := "plumbhook: 1\ntitle: test\n"
	two := func(cg, east string) string {
		return head + `
load: {name: block, mass: 1 t, cg: ` + cg + `, lugs: {a: {at: -1 0 0 m, wll: 5 t}, b: {at: 1 0 0 m, wll: 5 t}}}
hooks: {west: {at: -1 0 6 m, wll: 9 t}, east: {at: ` + east + `, wll: 9 t}}
legs:
  a: {from: west, to: load.a, length: 3 m, stiffness: 50 MN/m, wll: 5 t}
  b: {from: east, to: load.b, length: 3 m, stiffness: 50 MN/m, wll: 5 t}
`
	}
	one := func(cg string) string {
		return head + `
load: {name: block, mass: 1 t, cg: ` + cg + `, lugs: {a: {at: -1 0 0 m, wll: 5 t}, b: {at: 1 0 0 m, wll: 5 t}}}
hooks: {main: {wll: 9 t}}
legs:
  a: {from: main, to: load.a, length: 3 m, stiffness: 50 MN/m, wll: 5 t}
  b: {from: main, to: load.b, length: 3 m, stiffness: 50 MN/m, wll: 5 t}
`
	}
	upend := func(friction string) string {
		return head + `
load: {name: column, mass: 8 t, cg: 4 0 0.1 m, lugs: {head: {at: 9 0 0.5 m, wll: 20 t}, heel: {at: 0 0 0 m}}}
hooks: {main: {at: 9 0 6 m, wll: 20 t}}
legs: {sling: {from: main, to: load.head, length: 4 m, stiffness: 20 MN/m, wll: 20 t}}
supports: {shoe: {at: load.heel, level: 0 m` + friction + `}}
steps: [{name: up, hooks: {main: {at: 6 0 9 m}}}]
`
	}
	for _, c := range []struct {
		name, rule, yaml string
		want             Severity // of the worst finding of that rule; empty: none
	}{
		{"hooks plumb", "out-of-plumb", two("0 0 -1 m", "1 0 6 m"), ""},
		{"hooks a little apart", "out-of-plumb", two("0 0 -1 m", "1.2 0 6 m"), Caution},
		{"hooks far apart", "out-of-plumb", two("0 0 -1 m", "4 0 6 m"), Stop},
		{"level", "tilt-unlimited", one("0.02 0 -1 m"), ""},
		{"leaning", "tilt-unlimited", one("0.4 0 -1 m"), Caution},
		{"askew", "tilt-unlimited", one("0 0.7 -1 m"), Stop},
		{"heel slides", "heel-slides", upend(", friction: 0.01"), Stop},
		{"heel without friction", "heel-slides", upend(""), Caution},
		{"heel holds", "heel-slides", upend(", friction: 2"), ""},
	} {
		p := checked(t, c.yaml)
		got := Severity("")
		for i := range p.States {
			for _, f := range p.States[i].Findings {
				if f.Rule == c.rule && got != Stop {
					got = f.Severity
				}
			}
		}
		if got != c.want {
			t.Errorf("%s: %s is %q, want %q", c.name, c.rule, got, c.want)
		}
	}
}

// TestTotalIsPlumb: two hooks that pull apart still carry no more than the
// weight together.
func TestTotalIsPlumb(t *testing.T) {
	p := checked(t, `
plumbhook: 1
title: two hooks wide apart
site: {g: 10 m/s2}
load: {name: block, mass: 1 t, cg: 0 0 -1 m, lugs: {a: {at: -1 0 0 m}, b: {at: 1 0 0 m}}}
hooks: {west: {at: -3 0 6 m}, east: {at: 3 0 6 m}}
legs:
  a: {from: west, to: load.a, length: 3 m, stiffness: 50 MN/m}
  b: {from: east, to: load.b, length: 3 m, stiffness: 50 MN/m}
`)
	n, p95, _ := p.States[0].Total()
	if math.Abs(n-10000) > 1e-6 || math.Abs(p95-10000) > 1e-6 {
		t.Errorf("total %g N, P95 %g N, want 10000", n, p95)
	}
}

// TestUnratedHitches: a choker without a choker rating is not held against
// the straight one; a leg rated by its assembly's tag is rated.
func TestUnratedHitches(t *testing.T) {
	rig := func(leg string) *Plan {
		return checked(t, `
plumbhook: 1
title: hitches
load: {name: pipe, mass: 1 t, cg: 0 0 0 m, lugs: {a: {at: -1 0 1 m, wll: 5 t}, b: {at: 1 0 1 m, wll: 5 t}}}
hooks: {main: {wll: 5 t}}
legs:
  a: {from: main, to: load.a, length: 2 m, stiffness: 50 MN/m, `+leg+`}
  b: {from: main, to: load.b, length: 2 m, stiffness: 50 MN/m, `+leg+`}
`)
	}
	if o := rig("wll: 1 t, hitch: choker, choke_angle: 100 deg").Outcome; o != Incomplete {
		t.Errorf("choker without a choker rating: %s", o)
	}
	p := rig("assembly_wll: {wll: 2 t, legs: 2, angle: 60 deg from horizontal}")
	if p.Outcome != Holds {
		t.Errorf("assembly tag: %s, %v", p.Outcome, p.States[0].NotAssessed)
	}
	// 2 t on two legs at 60° from horizontal is 2 / (2 sin 60°) t in each.
	leg := lift.Leg{AssemblyWLL: p.Lift.Legs[0].AssemblyWLL}
	if got, want := float64(leg.Rating().Force), 2000*9.80665/(2*math.Sin(math.Pi/3)); math.Abs(got-want) > 1e-6 {
		t.Errorf("a leg of the assembly is rated %g N, want %g", got, want)
	}
}
