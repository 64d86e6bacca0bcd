package lift_test

import (
	"fmt"
	"math"
	"testing"

	"plumbhook/lift"
	"plumbhook/statics"
)

func rigOf(t *testing.T, yaml string) *lift.Rig {
	t.Helper()
	l, err := lift.Read("test.yaml", nil, []byte("plumbhook: 1\ntitle: test\nsite: {g: 10 m/s2}\n"+yaml))
	if err != nil {
		t.Fatal(err)
	}
	r, err := lift.NewRig(l)
	if err != nil {
		t.Fatal(err)
	}
	return r
}

// underBar hangs a load from a spreader whose top legs lean by atan(4/3).
const underBar = `
load: {mass: 1000 kg, cg: 0 0 0 m, lugs: {a: {at: -1 0 1 m}, b: {at: 1 0 1 m}}}
hooks: {main: {}}
spreaders: {bar: {mass: 80 kg, cg: 0 0 -0.1 m, points: {ta: -1.5 0 0 m, tb: 1.5 0 0 m, la: -1 0 -0.1 m, lb: 1 0 -0.1 m}}}
legs:
  ta: {from: main, to: bar.ta, length: 2.5 m, stiffness: 5 MN/m, mass: 10 kg}
  tb: {from: bar.tb, to: main, length: 2.5 m, stiffness: 5 MN/m, mass: 10 kg}
  la: {from: bar.la, to: load.a, length: 2 m, stiffness: 5 MN/m, mass: 6 kg}
  lb: {from: load.b, to: bar.lb, length: 2 m, stiffness: 5 MN/m, mass: 6 kg}
`

// TestEmpty: without the load, each top leg holds half the bar and one low
// leg, and leans as before; a low leg hangs plumb.
func TestEmpty(t *testing.T) {
	for _, share := range []float64{1, 0.5} {
		f, err := rigOf(t, underBar).Empty(share)
		if err != nil {
			t.Fatal(err)
		}
		// Lumped: of the top leg half at either end.
		hung := 400 + 60*share + 50
		for i, want := range []statics.Vec{
			{-hung * 3 / 4, 0, -hung - 50},
			{hung * 3 / 4, 0, -hung - 50},
			{0, 0, -60 * share},
			{0, 0, -60 * share},
		} {
			if d := f[i].Sub(want).Norm(); d > 0.05 { // the legs stretch by a tenth of a millimetre
				t.Errorf("share %v, leg %d pulls %v, want %v", share, i, f[i], want)
			}
		}
	}
	// A rope that runs under the load hangs by both its ends, a catenary by
	// its upper end alone, and a lashing on the load by none.
	f, err := rigOf(t, `
load: {mass: 1000 kg, cg: 0 0 0 m, lugs: {a: {at: -1 0 1 m}, b: {at: 1 0 1 m}, c: {at: 0 0 1 m}}}
hooks: {main: {}}
nodes: {ring: {mass: 20 kg}}
legs:
  top: {from: main, to: ring, length: 1 m, stiffness: 100 MN/m}
  under: {from: ring, via: [load.a, load.b], to: ring, length: 6 m, stiffness: 5 MN/m, mass: 8 kg}
  chain: {from: ring, to: load.c, length: 2.7 m, stiffness: 5 MN/m, mass: 30 kg, hangs: catenary}
`).Empty(1)
	if err != nil {
		t.Fatal(err)
	}
	for i, want := range []float64{580, 40, 300} {
		agree(t, fmt.Sprintf("leg %d", i), f[i].Norm(), want, 1e-6)
	}
}

// TestHeld: with the load held and a hook on its rope, the legs of a bridle
// of like legs pull alike, k (l - L), however far to one side the centre of
// gravity or the crane is, and a slack rigging hangs half on the load.
func TestHeld(t *testing.T) {
	r := rigOf(t, `
load: {mass: 1000 kg, cg: 0.3 0 0 m, at: 5 0 2 m, lugs: {a: {at: -0.9 0 1 m}, b: {at: 0.9 0 1 m}}}
hooks: {main: {}}
legs:
  a: {from: main, to: load.a, length: 1.5 m, stiffness: 5 MN/m}
  b: {from: load.b, to: main, length: 1.5 m, stiffness: 5 MN/m, mass: 10 kg}
`)
	for _, up := range []float64{1.1, 1.203, 1.21} {
		h, err := r.Held([][3]float64{{5.1, 0.1, 3 + up}})
		if err != nil {
			t.Fatal(err)
		}
		z := h.Hooks[0].At[2] - 3
		agree(t, "height of the hook", z, up, 2e-5) // off plumb by 0.14 m on its rope it stands 0.14² / 2000 higher
		l := math.Hypot(0.9, z)
		pull := 5e6 * max(l-1.5, 0)
		agree(t, "leg without mass", h.Legs[0].TensionN, pull, 2e-4*pull+1e-6)
		agree(t, "rise of the leg with mass", -h.Legs[1].Upper[2], pull*z/l+50, 2e-4*pull+1e-6)
		agree(t, "hook", h.Hooks[0].LoadN, 2*pull*z/l+50, 2e-4*pull+1e-6)
		if pull > 0 {
			agree(t, "hook over the middle", h.Hooks[0].At[0], 5, 1e-3)
		}
	}
	r = rigOf(t, underBar)
	h, err := r.Hang()
	if err != nil {
		t.Fatal(err)
	}
	same, err := r.Held([][3]float64{h.Hooks[0].At})
	if err != nil {
		t.Fatal(err)
	}
	for i := range h.Legs { // it hangs level: nothing tells the lugs from held ones
		agree(t, h.Legs[i].Name, same.Legs[i].TensionN, h.Legs[i].TensionN, 1e-3)
		agree(t, h.Legs[i].Name+" at its upper end", same.Legs[i].Upper[0], h.Legs[i].Upper[0], 1e-3)
	}
	low, err := r.Held([][3]float64{{h.Hooks[0].At[0], h.Hooks[0].At[1], h.Hooks[0].At[2] - 0.2}})
	if err != nil {
		t.Fatal(err)
	}
	agree(t, "bar, legs and half of what goes down", -low.Legs[0].Upper[2]-low.Legs[1].Upper[2], 800+200+60, 1e-3)
}
