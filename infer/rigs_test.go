package infer

import (
	"math"
	"slices"
	"testing"

	"plumbhook/internal/testkit"
)

// rigs are shapes that a plan may have besides those of the examples.
var rigs = map[string]string{
	"one leg": `
plumbhook: 1
title: one leg
site: {g: 9.81 m/s2}
load: {name: pump, mass: 2100 kg ± 3 %, cg: 0 0 0.4 m ± 20 mm, lugs: {eye: {at: 0 0 1 m}}}
hooks: {main: {wll: 5 t}}
legs: {only: {from: main, to: load.eye, length: 2 m, stiffness: 6 MN/m, mass: 12 kg, wll: 4 t, cell: {channel: A, capacity: 5 t, accuracy: 0.1 % fs, zero: none}}}
`,
	"one cell at the top": `
plumbhook: 1
title: a cell over the ring
site: {g: 9.81 m/s2}
load: {name: tank, mass: 4400 kg ± 4 %, cg: 0.1 0 0.6 m ± 30 mm, lugs: {a: {at: -1 0 1.5 m}, b: {at: 1 0 1.5 m}}}
hooks: {main: {wll: 8 t}}
nodes: {ring: {mass: 12 kg}}
legs:
  top: {from: main, to: ring, length: 1 m, stiffness: 90 MN/m, mass: 20 kg, cell: {channel: T, capacity: 10 t, accuracy: 0.2 % of reading, zero: hung}}
  a: {from: ring, to: load.a, length: 3 m ± 0.5 %, stiffness: 5 MN/m ± 10 %, mass: 10 kg}
  b: {from: ring, to: load.b, length: 3 m ± 0.5 %, stiffness: 5 MN/m ± 10 %, mass: 10 kg}
`,
	"three legs, attached": `
plumbhook: 1
title: three legs
site: {g: 9.81 m/s2}
load: {name: base, mass: 3000 kg ± 2 %, cg: 0.05 -0.04 0.5 m ± 25 mm, lugs: {a: {at: 1 0 1 m}, b: {at: -0.5 0.87 1 m}, c: {at: -0.5 -0.87 1 m}}}
hooks: {main: {wll: 6 t}}
legs:
  a: {from: main, to: load.a, length: 2.5 m ± 4 mm, stiffness: 8 MN/m ± 10 %, mass: 9 kg, cell: {channel: A, capacity: 3 t, accuracy: 0.1 % fs, zero: attached}}
  b: {from: main, to: load.b, length: 2.5 m ± 4 mm, stiffness: 8 MN/m ± 10 %, mass: 9 kg, cell: {channel: B, capacity: 3 t, accuracy: 0.1 % fs, zero: attached}}
  c: {from: main, to: load.c, length: 2.5 m ± 4 mm, stiffness: 8 MN/m ± 10 %, mass: 9 kg, cell: {channel: C, capacity: 3 t, accuracy: 0.1 % fs, zero: attached}}
`,
	"two hooks": `
plumbhook: 1
title: two hooks
site: {g: 9.81 m/s2}
load: {name: vessel, mass: 9200 kg ± 2 %, cg: 0.3 0 0 m ± 50 mm, lugs: {west: {at: -3 0 1 m}, east: {at: 3 0 1 m}}}
hooks: {west: {at: -3 0 8 m}, east: {at: 3 0 8 m}}
legs:
  west: {from: west, to: load.west, length: 6 m ± 10 mm, stiffness: 9 MN/m, mass: 40 kg, cell: {channel: W, capacity: 8 t, accuracy: 0.1 % fs, zero: hung}}
  east: {from: east, to: load.east, length: 6 m ± 10 mm, stiffness: 9 MN/m, mass: 40 kg, cell: {channel: E, capacity: 8 t, accuracy: 0.1 % fs, zero: hung}}
`,
	"inextensible, exact": `
plumbhook: 1
title: nothing said
load: {name: box, mass: 1200 kg, cg: 0 0 0 m, lugs: {a: {at: -0.5 0 0.5 m}, b: {at: 0.5 0 0.5 m}}}
hooks: {main: {}}
legs:
  a: {from: main, to: load.a, length: 2 m, cell: {channel: A}}
  b: {from: main, to: load.b, length: 2 m, cell: {channel: B}}
`,
	"eight legs under a frame": `
plumbhook: 1
title: eight legs
site: {g: 9.81 m/s2}
load:
  name: skid
  mass: 16 t ± 2 %
  cg: 0.1 0.1 0.5 m ± 40 mm
  lugs: {a1: {at: -3 1 1 m}, a2: {at: -1 1 1 m}, a3: {at: 1 1 1 m}, a4: {at: 3 1 1 m}, b1: {at: -3 -1 1 m}, b2: {at: -1 -1 1 m}, b3: {at: 1 -1 1 m}, b4: {at: 3 -1 1 m}}
hooks: {main: {}}
legs:
  a1: {from: main, to: load.a1, length: 6 m ± 3 mm, stiffness: 4 MN/m ± 10 %, mass: 20 kg, cell: {channel: A1, capacity: 6 t, accuracy: 0.1 % fs, zero: hung}}
  a2: {from: main, to: load.a2, length: 5.292 m ± 3 mm, stiffness: 4 MN/m ± 10 %, mass: 20 kg, cell: {channel: A2, capacity: 6 t, accuracy: 0.1 % fs, zero: hung}}
  a3: {from: main, to: load.a3, length: 5.292 m ± 3 mm, stiffness: 4 MN/m ± 10 %, mass: 20 kg, cell: {channel: A3, capacity: 6 t, accuracy: 0.1 % fs, zero: hung}}
  a4: {from: main, to: load.a4, length: 6 m ± 3 mm, stiffness: 4 MN/m ± 10 %, mass: 20 kg, cell: {channel: A4, capacity: 6 t, accuracy: 0.1 % fs, zero: hung}}
  b1: {from: main, to: load.b1, length: 6 m ± 3 mm, stiffness: 4 MN/m ± 10 %, mass: 20 kg, cell: {channel: B1, capacity: 6 t, accuracy: 0.1 % fs, zero: hung}}
  b2: {from: main, to: load.b2, length: 5.292 m ± 3 mm, stiffness: 4 MN/m ± 10 %, mass: 20 kg, cell: {channel: B2, capacity: 6 t, accuracy: 0.1 % fs, zero: hung}}
  b3: {from: main, to: load.b3, length: 5.292 m ± 3 mm, stiffness: 4 MN/m ± 10 %, mass: 20 kg, cell: {channel: B3, capacity: 6 t, accuracy: 0.1 % fs, zero: hung}}
  b4: {from: main, to: load.b4, length: 6 m ± 3 mm, stiffness: 4 MN/m ± 10 %, mass: 20 kg, cell: {channel: B4, capacity: 6 t, accuracy: 0.1 % fs, zero: hung}}
`,
	"half of the legs have cells": `
plumbhook: 1
title: two of four
site: {g: 9.81 m/s2}
load:
  name: shell
  mass: 6000 kg ± 3 %
  cg: 0.05 0.02 0.9 m ± 20 mm
  lugs: {nw: {at: -1.3 0.7 1.6 m}, ne: {at: 1.3 0.7 1.6 m}, se: {at: 1.3 -0.7 1.6 m}, sw: {at: -1.3 -0.7 1.6 m}}
hooks: {main: {}}
legs:
  nw: {from: main, to: load.nw, length: 3 m ± 2 mm, stiffness: 3.6 MN/m ± 10 %, mass: 18 kg, cell: {channel: NW, capacity: 5 t, accuracy: 0.1 % fs, zero: hung}}
  ne: {from: main, to: load.ne, length: 3 m ± 2 mm, stiffness: 3.6 MN/m ± 10 %, mass: 18 kg}
  se: {from: main, to: load.se, length: 3 m ± 2 mm, stiffness: 3.6 MN/m ± 10 %, mass: 18 kg, cell: {channel: SE, capacity: 5 t, accuracy: 0.1 % fs, zero: hung}}
  sw: {from: main, to: load.sw, length: 3 m ± 2 mm, stiffness: 3.6 MN/m ± 10 %, mass: 18 kg}
`,
}

// Any rig that the program can hang can be read backwards: the weight is
// inside its band about as often as the band says, and a lift as planned is
// called nothing else.
func TestRigs(t *testing.T) {
	testkit.Alone(t)
	for name, yaml := range rigs {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			m := model(t, planOf(t, yaml))
			const n = 40
			in, planned := 0, 0
			for seed := range uint64(n) {
				x := draw(m, seed)
				w := x.read(t, Hold)
				e := m.Weigh(&w)
				if math.Abs(e.WeightN-x.theta[atMass]*m.g) <= e.WeightU95N {
					in++
				}
				r := m.Diagnose(x.course(t))
				if r.Causes[0].Name == "as_planned" {
					planned++
				}
				if math.IsNaN(r.WeightN) || r.AtLeast {
					t.Errorf("seed %d: no weight: %+v", seed, r.Estimate)
				}
			}
			t.Logf("inside %d of %d, as planned %d", in, n, planned)
			if in < n*85/100 || planned < n*90/100 {
				t.Errorf("inside %d of %d, as planned %d", in, n, planned)
			}
		})
	}
}

// With a cell missing the total is still told, with a wider band that holds.
func TestMissingCell(t *testing.T) {
	m := model(t, plan(t, "filter-shell.yaml"))
	in := 0
	const n = 100
	for seed := range uint64(n) {
		x := draw(m, seed)
		w := x.read(t, Hold)
		all, least := m.Total(w.ReadN)
		w.ReadN = slices.Clone(w.ReadN)
		w.ReadN[int(seed)%4] = math.NaN()
		some, u := m.Total(w.ReadN)
		if u <= least {
			t.Fatalf("seed %d: the band does not widen: %g, %g", seed, least, u)
		}
		if math.Abs(all-some) <= u {
			in++
		}
	}
	if in < 88 {
		t.Errorf("%d of %d", in, n)
	}
	if n, u := m.Total([]float64{math.NaN(), math.NaN(), math.NaN(), math.NaN()}); !math.IsNaN(n) || !math.IsNaN(u) {
		t.Errorf("nothing read gives %g ± %g", n, u)
	}
}
