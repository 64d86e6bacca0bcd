package spread_test

import (
	"math"
	"testing"

	"plumbhook/lift"
	"plumbhook/spread"
)

// TestWarmCell: nothing is uncertain but the cell, which errs by a and drifts
// by b at most, evenly. The sum of the two has straight flanks: a share p lies
// beyond a + b - √(8 a b p).
func TestWarmCell(t *testing.T) {
	l, err := lift.Read("test.yaml", nil, []byte("plumbhook: 1\nsite: {g: 10 m/s2}\n"+
		"load: {mass: 1000 kg, cg: 0 0 0 m, lugs: {a: 0 0 1 m}}\nhooks: {main: {}}\nlegs: {a: {from: main, to: load.a, length: 2 m}}\n"))
	if err != nil {
		t.Fatal(err)
	}
	r, err := lift.NewRig(l)
	if err != nil {
		t.Fatal(err)
	}
	if _, err = r.Hang(); err != nil {
		t.Fatal(err)
	}
	const a, b, n = 30.0, 50.0, 10000.0
	for _, c := range []struct {
		name string
		cell spread.Cell
		half float64
	}{
		{"error alone", spread.Cell{Error: a}, 0.95 * a},
		{"error and drift", spread.Cell{Error: a, Drift: b}, a + b - math.Sqrt(8*a*b*0.025)},
		{"shares of the reading", spread.Cell{ErrorShare: a / n, DriftShare: b / n}, a + b - math.Sqrt(8*a*b*0.025)},
		{"a display in steps of 20 N", spread.Cell{Error: a, Step: 20}, 20}, // from -30 to 30: a third each at -20, 0, 20
		{"a step that hides it all", spread.Cell{Error: a, Step: 1000}, 0},
	} {
		s, err := spread.Run(r, []spread.Cell{c.cell}, spread.Draws)
		if err != nil {
			t.Fatal(err)
		}
		x := &s.Readings[0]
		if math.Abs(x.High-n-c.half) > 0.7 || math.Abs(n-x.Low-c.half) > 0.7 {
			t.Errorf("%s: %.2f to %.2f N, want ± %.2f", c.name, x.Low-n, x.High-n, c.half)
		}
		if limit := c.cell.Limit(n); limit < c.half || limit < x.Sorted[len(x.Sorted)-1]-n {
			t.Errorf("%s: past its own limit of %v N", c.name, limit)
		}
	}
}
