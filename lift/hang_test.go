package lift_test

import (
	"errors"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"plumbhook/fault"
	"plumbhook/lift"
)

func hung(t *testing.T, yaml string) (*lift.Hung, error) {
	t.Helper()
	l, err := lift.Read("test.yaml", nil, []byte("plumbhook: 1\ntitle: test\nsite: {g: 10 m/s2}\n"+yaml))
	if err != nil {
		t.Fatal(err)
	}
	r, err := lift.NewRig(l)
	if err != nil {
		return nil, err
	}
	return r.Hang()
}

func mustHang(t *testing.T, yaml string) *lift.Hung {
	t.Helper()
	h, err := hung(t, yaml)
	if err != nil {
		t.Fatal(err)
	}
	return h
}

func agree(t *testing.T, what string, got, want, tol float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tol) {
		t.Errorf("%s is %.9g, want %.9g", what, got, want)
	}
}

// TestHeavyLegs: with its own weight lumped half at each end, the upper end
// of a leg carries load and whole leg when plumb, and the upper ends of a
// bridle together carry everything.
func TestHeavyLegs(t *testing.T) {
	h := mustHang(t, `
load: {mass: 1000 kg, cg: 0 0 0 m, lugs: {top: {at: 0 0 1 m}}}
hooks: {main: {at: 0 0 9 m}}
legs: {only: {from: main, to: load.top, length: 3 m, stiffness: 5 MN/m, mass: 200 kg}}
`)
	agree(t, "upper end", h.Legs[0].TensionN, 12000, 1e-6)
	agree(t, "lower end", h.Legs[0].LowerN, 10000, 1e-6)
	agree(t, "hook", h.Hooks[0].LoadN, 12000, 1e-6)

	h = mustHang(t, `
load: {mass: 1000 kg, cg: 0.2 0.1 0 m, lugs: {a: {at: 1 0 1 m}, b: {at: -1 0.5 1 m}, c: {at: -1 -1 1 m}}}
hooks: {main: {at: 0 0 9 m}}
legs:
  a: {from: main, to: load.a, length: 3 m, stiffness: 5 MN/m, mass: 60 kg}
  b: {from: load.b, to: main, length: 3 m, stiffness: 5 MN/m, mass: 60 kg}
  c: {from: main, to: load.c, length: 3 m, stiffness: 5 MN/m, mass: 60 kg}
`)
	sum := 0.0
	for _, l := range h.Legs {
		sum -= l.Upper[2]
		if l.TensionN <= l.LowerN {
			t.Errorf("leg %s: upper end %g N not above lower end %g N", l.Name, l.TensionN, l.LowerN)
		}
	}
	agree(t, "upper ends together", sum, 11800, 1e-5)
	agree(t, "hook", h.Hooks[0].LoadN, 11800, 1e-5)
}

// TestFloatingHook: a single hook without a place leaves the load's centre
// of gravity where the start pose has it.
func TestFloatingHook(t *testing.T) {
	h := mustHang(t, `
load: {mass: 1000 kg, cg: 0.3 0.1 0.5 m, at: 2 3 4 m, lugs: {a: {at: 1 0 1 m}, b: {at: -1 0 1 m}}}
hooks: {main: {}}
legs:
  a: {from: main, to: load.a, length: 3 m, stiffness: 5 MN/m}
  b: {from: main, to: load.b, length: 3 m, stiffness: 5 MN/m}
`)
	for k, want := range []float64{2.3, 3.1, 4.5} {
		agree(t, "CG "+"xyz"[k:k+1], h.Bodies[0].CG[k], want, 1e-9)
	}
	agree(t, "hook x over CG", h.Hooks[0].At[0], 2.3, 1e-9)
	agree(t, "hook y over CG", h.Hooks[0].At[1], 3.1, 1e-9)
}

// TestTilt: a load on two lugs turns about their line until its centre of
// gravity is plumb below the line, and the heavy side is the low one.
func TestTilt(t *testing.T) {
	h := mustHang(t, `
load: {mass: 1000 kg, cg: 0 -0.1 0.5 m, lugs: {a: {at: 1 0 1 m}, b: {at: -1 0 1 m}}}
hooks: {main: {at: 0 0 9 m}}
legs:
  a: {from: main, to: load.a, length: 3 m, stiffness: 5 MN/m}
  b: {from: main, to: load.b, length: 3 m, stiffness: 5 MN/m}
`)
	agree(t, "tilt", h.Bodies[0].Tilt, math.Atan(0.1/0.5), 1e-9)
	agree(t, "low side", *h.Bodies[0].LowSide, -math.Pi/2, 1e-9)
}

// TestWorst holds the worst case of four legs against a corner of the
// polytope found by hand: with the CG in the triangle of three lugs, those
// three carry all of it.
func TestWorst(t *testing.T) {
	rig := func(cg string) *lift.Hung {
		return mustHang(t, fmt.Sprintf(`
load: {mass: 1000 kg, cg: %s m, lugs: {a: {at: 1 1 1 m}, b: {at: -1 1 1 m}, c: {at: -1 -1 1 m}, d: {at: 1 -1 1 m}}}
hooks: {main: {at: 0 0 9 m}}
legs:
  a: {from: main, to: load.a, length: 3 m, stiffness: 500 MN/m}
  b: {from: main, to: load.b, length: 3 m, stiffness: 500 MN/m}
  c: {from: main, to: load.c, length: 3 m, stiffness: 500 MN/m}
  d: {from: main, to: load.d, length: 3 m, stiffness: 500 MN/m}
`, cg))
	}
	h := rig("0 0 0")
	sin := math.Sqrt(9-2) / 3
	for _, l := range h.Legs {
		agree(t, "leg "+l.Name+" alike", l.TensionN, 2500/sin, 1)
		agree(t, "leg "+l.Name+" worst: two legs take all", *l.WorstN, 5000/sin, 2)
	}
	// Off centre: all forces run through the hook, so a set of three legs
	// is found by three equations in the hung pose.
	h = rig("0.3 0.1 0")
	want := make([]float64, 4)
	for out := range 4 {
		var u [3][3]float64
		var keep []int
		for k := range 4 {
			if k != out {
				p := h.Legs[k].Path
				for q := range 3 {
					u[q][len(keep)] = (p[0][q] - p[1][q]) / h.Legs[k].LengthM
				}
				keep = append(keep, k)
			}
		}
		det := func(m [3][3]float64) float64 {
			return m[0][0]*(m[1][1]*m[2][2]-m[1][2]*m[2][1]) - m[0][1]*(m[1][0]*m[2][2]-m[1][2]*m[2][0]) + m[0][2]*(m[1][0]*m[2][1]-m[1][1]*m[2][0])
		}
		var tension [3]float64
		ok := true
		for c := range 3 {
			m := u
			m[0][c], m[1][c], m[2][c] = 0, 0, 10000
			tension[c] = det(m) / det(u)
			ok = ok && tension[c] >= 0
		}
		for c, k := range keep {
			if ok {
				want[k] = max(want[k], tension[c])
			}
		}
	}
	for k, l := range h.Legs {
		agree(t, "leg "+l.Name+" worst", *l.WorstN, max(want[k], l.TensionN), 1e-3)
	}
	if three := mustHang(t, `
load: {mass: 1000 kg, cg: 0 0 0 m, lugs: {a: {at: 1 1 1 m}, b: {at: -1 1 1 m}, c: {at: -1 -1 1 m}}}
hooks: {main: {at: 0 0 9 m}}
legs:
  a: {from: main, to: load.a, length: 3 m}
  b: {from: main, to: load.b, length: 3 m}
  c: {from: main, to: load.c, length: 3 m}
`); three.Legs[0].WorstN != nil {
		t.Error("three legs have a worst case")
	}
}

// TestCompression: the bar between two plumb low legs takes the inward pull
// of the top legs (own case O01 of the reference examples: closed form).
func TestCompression(t *testing.T) {
	h := mustHang(t, `
load: {mass: 10 t, cg: 0 0 0 m, lugs: {l: {at: -2 0 1 m}, r: {at: 2 0 1 m}}}
hooks: {main: {at: 0 0 12 m}}
spreaders: {bar: {mass: 500 kg, cg: 0 0 -0.1 m, points: {tl: {at: -2 0 0 m}, tr: {at: 2 0 0 m}}}}
legs:
  tl: {from: main, to: bar.tl, length: 4 m}
  tr: {from: main, to: bar.tr, length: 4 m}
  ll: {from: bar.tl, to: load.l, length: 2 m}
  lr: {from: bar.tr, to: load.r, length: 2 m}
`)
	agree(t, "top leg", h.Legs[0].TensionN, 52500/math.Sin(math.Pi/3), 1e-4)
	agree(t, "low leg", h.Legs[2].TensionN, 50000, 1e-4)
	for _, q := range h.Squeeze {
		switch q.Body {
		case "bar":
			agree(t, "squeeze of the bar", q.ForceN, 52500/math.Tan(math.Pi/3), 1e-4)
		case "load":
			agree(t, "squeeze of the load", q.ForceN, 0, 1e-4)
		}
	}
}

// TestRefused: what statics can not decide is asked for, never guessed.
func TestRefusedRigs(t *testing.T) {
	four := `
load: {mass: 1000 kg, cg: 0 0 0 m, lugs: {a: {at: 1 1 1 m}, b: {at: -1 1 1 m}, c: {at: -1 -1 1 m}, d: {at: 1 -1 1 m}}}
hooks: {main: {at: 0 0 9 m}}
legs:
  a: {from: main, to: load.a, length: 3 m}
  b: {from: main, to: load.b, length: 3 m}
  c: {from: main, to: load.c, length: 3 m}
  d: {from: main, to: load.d, length: 3 m}
`
	short := `
load: {mass: 1000 kg, cg: 0 0 0 m, lugs: {a: {at: 4 0 1 m}, b: {at: -4 0 1 m}}}
hooks: {main: {at: 0 0 9 m}}
legs:
  a: {from: main, to: load.a, length: 3 m}
  b: {from: main, to: load.b, length: 3 m}
`
	for _, c := range []struct {
		yaml string
		code fault.Code
		says string
	}{
		{four, fault.Undecided, "stiffness"},
		{short, fault.Rig, "too short"},
	} {
		_, err := hung(t, c.yaml)
		var f *fault.Fault
		if !errors.As(err, &f) || f.Code != c.code || !strings.Contains(f.Error(), c.says) || f.Pos.Line == 0 {
			t.Errorf("got %v, want a fault %s with a place that says %q", err, c.code, c.says)
		}
	}
}

// TestNamesAndOrderDoNotMatter: the same rig under other names, listed the
// other way round, carries the same.
func TestNamesAndOrderDoNotMatter(t *testing.T) {
	a := mustHang(t, `
load: {mass: 1000 kg, cg: 0.2 0.1 0 m, lugs: {a: {at: 1 0 1 m}, b: {at: -1 0.5 1 m}, c: {at: -1 -1 1 m}}}
hooks: {main: {at: 0 0 9 m}}
legs:
  a: {from: main, to: load.a, length: 3 m, stiffness: 5 MN/m}
  b: {from: main, to: load.b, length: 3.1 m, stiffness: 5 MN/m}
  c: {from: main, to: load.c, length: 3.2 m, stiffness: 5 MN/m}
`)
	b := mustHang(t, `
legs:
  r: {from: haak, to: load.z, length: 3.2 m, stiffness: 5 MN/m}
  q: {from: haak, to: load.y, length: 3.1 m, stiffness: 5 MN/m}
  p: {from: haak, to: load.x, length: 3 m, stiffness: 5 MN/m}
hooks: {haak: {at: 0 0 9 m}}
load: {lugs: {z: {at: -1 -1 1 m}, y: {at: -1 0.5 1 m}, x: {at: 1 0 1 m}}, cg: 0.2 0.1 0 m, mass: 1000 kg}
`)
	for k := range 3 {
		agree(t, "leg "+a.Legs[k].Name, b.Legs[2-k].TensionN, a.Legs[k].TensionN, 1e-7)
	}
	agree(t, "tilt", b.Bodies[0].Tilt, a.Bodies[0].Tilt, 1e-12)
}

// TestUncertainHook: a hook written with a spread is an input of its own, and
// a step that moves it keeps its new place when inputs are set.
func TestUncertainHook(t *testing.T) {
	l, err := lift.Read("test.yaml", nil, []byte(`
plumbhook: 1
title: two hooks
load: {mass: 1000 kg, cg: 0 0 0 m, lugs: {a: {at: 1 0 1 m}, b: {at: -1 0 1 m}}}
hooks: {east: {at: 1 0 5 m}, west: {at: -1 0 5 m ± 50 mm}}
legs:
  a: {from: east, to: load.a, length: 3 m, stiffness: 50 MN/m}
  b: {from: west, to: load.b, length: 3 m, stiffness: 50 MN/m}
steps: [{name: up, hooks: {west: {at: -1 0 5.5 m}}}]
`))
	if err != nil {
		t.Fatal(err)
	}
	r, err := lift.NewRig(l)
	if err != nil {
		t.Fatal(err)
	}
	if len(r.Inputs) != 3 || r.Inputs[2].Name != "hooks.west.at.z" {
		t.Fatalf("%+v", r.Inputs)
	}
	if _, err := r.Hang(); err != nil {
		t.Fatal(err)
	}
	up, err := r.Step(0)
	if err != nil {
		t.Fatal(err)
	}
	r.Set(r.Nominal())
	again, err := r.Hang()
	if err != nil {
		t.Fatal(err)
	}
	agree(t, "tilt after the step and after setting the inputs", again.Bodies[0].Tilt, up.Bodies[0].Tilt, 1e-9)
	if up.Bodies[0].Tilt < 0.1 {
		t.Errorf("tilt %g: the step did nothing", up.Bodies[0].Tilt)
	}
}

// TestExamplesBalance: the hooks carry all that hangs from them, and pull to no
// side together.
func TestExamplesBalance(t *testing.T) {
	files, err := filepath.Glob("../examples/*.yaml")
	if err != nil || len(files) < 3 {
		t.Fatalf("%d examples, %v", len(files), err)
	}
	for _, f := range files {
		data, err := os.ReadFile(f)
		if err != nil {
			t.Fatal(err)
		}
		l, err := lift.Read(f, os.DirFS("../examples"), data)
		if err != nil {
			t.Fatal(err)
		}
		r, err := lift.NewRig(l)
		if err != nil {
			t.Fatal(err)
		}
		h, err := r.Hang()
		if err != nil {
			t.Fatal(err)
		}
		mass := h.MassKg
		for _, s := range l.Spreaders {
			mass += float64(s.Mass.Value)
		}
		for _, n := range l.Nodes {
			mass += float64(n.Mass.Value)
		}
		for _, leg := range l.Legs {
			mass += float64(leg.Mass.Value)
		}
		w := mass * float64(l.Site.G.Value)
		var sum [3]float64
		for _, k := range h.Hooks {
			for axis := range sum {
				sum[axis] += k.Force[axis]
			}
		}
		agree(t, f+" hooks", -sum[2], w, 1e-9*w)
		agree(t, f+" sideways pull at the hooks", math.Hypot(sum[0], sum[1]), 0, 1e-9*w)
	}
}
