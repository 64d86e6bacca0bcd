package spread

import (
	"math"
	"reflect"
	"runtime"
	"sort"
	"strings"
	"testing"

	"plumbhook/lift"
)

func rig(t *testing.T, yaml string) *lift.Rig {
	t.Helper()
	l, err := lift.Read("test.yaml", nil, []byte(yaml))
	if err != nil {
		t.Fatal(err)
	}
	r, err := lift.NewRig(l)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := r.Hang(); err != nil {
		t.Fatal(err)
	}
	return r
}

const plumb = `
plumbhook: 1
title: one leg
load: {name: block, mass: %MASS, cg: 0 0 0 m, lugs: {top: {at: 0 0 1 m}}}
hooks: {main: {at: 0 0 5 m}}
legs: {only: {from: main, to: load.top, length: 3 m, stiffness: 5 MN/m}}
site: {g: 10 m/s2}
`

func with(mass string) string { return strings.ReplaceAll(plumb, "%MASS", mass) }

// TestPlumbLine: the one leg carries the weight, so its percentiles are
// those of the mass, known in closed form.
func TestPlumbLine(t *testing.T) {
	// 1.959964 and 1.644854: 97.5 % and 95 % points of the standard normal
	// distribution (any statistical table; ISO 3534-1 defines them).
	for _, c := range []struct {
		mass         string
		p5, p50, p95 float64
		tolerance    float64
	}{
		{"1000 kg", 10000, 10000, 10000, 1e-9},
		{"1000 kg ± 10 %", 10000 - 1000*1.644854/1.959964, 10000, 10000 + 1000*1.644854/1.959964, 2e-3},
		{"900..1100 kg", 9100, 10000, 10900, 1e-3},
	} {
		res, err := Run(rig(t, with(c.mass)), nil, Draws)
		if err != nil {
			t.Fatal(err)
		}
		for k, want := range []float64{c.p5, c.p50, c.p95} {
			b := res.Demands[0]
			got := []float64{b.P5, b.P50, b.P95}[k]
			if math.Abs(got-want) > c.tolerance*want {
				t.Errorf("%s: percentile %d of the leg is %.1f N, want %.1f", c.mass, k, got, want)
			}
		}
		if res.Weight.P95 != res.Demands[0].P95 && math.Abs(res.Weight.P95-res.Demands[0].P95) > 1e-6*res.Weight.P95 {
			t.Errorf("%s: weight %g and leg %g differ", c.mass, res.Weight.P95, res.Demands[0].P95)
		}
	}
}

const fourLegs = `
plumbhook: 1
title: four legs
load: {name: slab, mass: 8 t ± 3 %, cg: 0.1 0.05 0 m ± 30 mm, lugs: {a: {at: 1.5 1 0.4 m}, b: {at: -1.5 1 0.4 m}, c: {at: -1.5 -1 0.4 m}, d: {at: 1.5 -1 0.4 m}}}
hooks: {main: {at: 0 0 6 m}}
legs:
  a: {from: main, to: load.a, length: 3 m ± 5 mm, stiffness: 12 MN/m}
  b: {from: main, to: load.b, length: 3 m ± 5 mm, stiffness: 12 MN/m}
  c: {from: main, to: load.c, length: 3 m ± 5 mm, stiffness: 12 MN/m}
  d: {from: main, to: load.d, length: 3 m ± 5 mm, stiffness: 12 MN/m}
`

// TestSlackInSomeDraws: millimetres of leg length make legs of a stiff
// four-leg bridle go slack in part of the draws; a linear estimate would
// give them negative tensions, which no draw may have.
func TestSlackInSomeDraws(t *testing.T) {
	r := rig(t, fourLegs)
	res, err := Run(r, nil, Draws)
	if err != nil {
		t.Fatal(err)
	}
	slack := 0
	for k := range 4 {
		c := res.Demands[k].Sorted
		if !sort.Float64sAreSorted(c) || c[0] < 0 {
			t.Errorf("leg %d: draws from %g N", k, c[0])
		}
		for _, v := range c {
			if v < 1 {
				slack++
			}
		}
	}
	if slack == 0 {
		t.Error("no draw has a slack leg: the test says nothing")
	}
	if res.Unsolved > 0 {
		t.Errorf("%d draws not solved", res.Unsolved)
	}
}

// TestSameFileSameNumbers: two runs agree to the last bit, on one processor
// or two, and a run leaves
// the rig as it found it.
func TestSameFileSameNumbers(t *testing.T) {
	defer runtime.GOMAXPROCS(runtime.GOMAXPROCS(2))
	r := rig(t, fourLegs)
	a, err := Run(r, nil, 230)
	if err != nil {
		t.Fatal(err)
	}
	runtime.GOMAXPROCS(1)
	b, err := Run(rig(t, fourLegs), nil, 230)
	runtime.GOMAXPROCS(2)
	if err != nil {
		t.Fatal(err)
	}
	if !reflect.DeepEqual(a, b) {
		t.Error("two runs of one lift differ")
	}
	before, _ := rig(t, fourLegs).Hang()
	after, err := r.Hang()
	if err != nil {
		t.Fatal(err)
	}
	for i := range before.Legs {
		if d := math.Abs(before.Legs[i].TensionN - after.Legs[i].TensionN); d > 1e-6 {
			t.Errorf("leg %d changed by %g N through the run", i, d)
		}
	}
}

// TestCut: what is cut out of a part has a mass below zero, with a spread of
// its own on both sides.
func TestCut(t *testing.T) {
	r := rig(t, `
plumbhook: 1
title: slab with an opening
site: {g: 10 m/s2}
load:
  parts: [{name: slab, mass: 5000 kg, at: 0 0 0 m}, {name: opening, mass: 320 kg ± 30 %, at: 0 0 0 m, cut: true}]
  lugs: {top: {at: 0 0 1 m}}
hooks: {main: {at: 0 0 5 m}}
legs: {only: {from: main, to: load.top, length: 3 m, stiffness: 5 MN/m}}
`)
	res, err := Run(r, nil, 2000)
	if err != nil {
		t.Fatal(err)
	}
	half := 960 * 1.644854 / 1.959964
	for k, want := range []float64{46800 - half, 46800, 46800 + half} {
		if got := []float64{res.Weight.P5, res.Weight.P50, res.Weight.P95}[k]; math.Abs(got-want) > 15 {
			t.Errorf("percentile %d of the weight is %.0f N, want %.0f", k, got, want)
		}
	}
}

// TestBlocksStandAlone: a block gives the same draws whatever its rig did
// before, or the answer would depend on which processor was quicker.
func TestBlocksStandAlone(t *testing.T) {
	old := rig(t, fourLegs)
	demands := old.Demands()
	units := sequence(500, len(old.Inputs))
	for from := 0; from < len(units); from += blockSize {
		values := make([][]float64, blockSize)
		for i := range values {
			values[i] = make([]float64, len(old.Inputs))
			for k, in := range old.Inputs {
				values[i][k] = at(in, units[from+i][k])
			}
		}
		used, fresh := make([]out, blockSize), make([]out, blockSize)
		if err := hangBlock(old, demands, nil, values, used); err != nil {
			t.Fatal(err)
		}
		if err := hangBlock(rig(t, fourLegs), demands, nil, values, fresh); err != nil {
			t.Fatal(err)
		}
		if !reflect.DeepEqual(used, fresh) {
			t.Fatalf("block at draw %d differs between a used rig and a fresh one", from)
		}
	}
}

// TestShares: of a sum of two independent inputs each explains its own part
// of the variance.
func TestShares(t *testing.T) {
	r := rig(t, `
plumbhook: 1
title: two parts
load:
  parts: [{name: a, mass: 1000 kg ± 30 kg, at: 0 0 0 m}, {name: b, mass: 2000 kg ± 40 kg, at: 0 0 0 m}]
  lugs: {top: {at: 0 0 1 m}}
hooks: {main: {at: 0 0 5 m}}
legs: {only: {from: main, to: load.top, length: 3 m ± 10 mm, stiffness: 5 MN/m}}
`)
	res, err := Run(r, nil, 4000)
	if err != nil {
		t.Fatal(err)
	}
	want := map[string]float64{"load.b.mass": 1600.0 / 2500, "load.a.mass": 900.0 / 2500, "legs.only.length": 0}
	shares := res.Shares(0)
	if len(shares) != len(want) || shares[0].Input.Name != "load.b.mass" {
		t.Fatalf("%+v", shares)
	}
	for _, s := range shares {
		if math.Abs(s.Index-want[s.Input.Name]) > 0.02 {
			t.Errorf("%s explains %.3f, want %.3f", s.Input.Name, s.Index, want[s.Input.Name])
		}
	}
	half := res.Demands[0].P50
	if p := res.Demands[0].Past(half); math.Abs(p-0.5) > 1e-3 {
		t.Errorf("%.4f of the draws are past the median", p)
	}
}

func BenchmarkFourLegs(b *testing.B) {
	l, err := lift.Read("test.yaml", nil, []byte(fourLegs))
	if err != nil {
		b.Fatal(err)
	}
	r, err := lift.NewRig(l)
	if err != nil {
		b.Fatal(err)
	}
	if _, err := r.Hang(); err != nil {
		b.Fatal(err)
	}
	for b.Loop() {
		if _, err := Run(r, nil, Draws); err != nil {
			b.Fatal(err)
		}
	}
}
