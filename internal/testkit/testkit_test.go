package testkit

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

func TestULPs(t *testing.T) {
	tiny := math.SmallestNonzeroFloat64
	for _, c := range []struct {
		a, b float64
		want uint64
	}{
		{1, 1, 0},
		{0, math.Copysign(0, -1), 0},
		{1, math.Nextafter(1, 2), 1},
		{-1, math.Nextafter(-1, 0), 1},
		{-tiny, tiny, 2}, // across zero: -tiny, 0, tiny
		{1, 2, 1 << 52},  // one binade holds 2^52 values
		{math.MaxFloat64, math.Inf(1), 1},
		{math.NaN(), 1, math.MaxUint64},
	} {
		if got := ULPs(c.a, c.b); got != c.want {
			t.Errorf("ULPs(%g, %g) = %d, want %d", c.a, c.b, got, c.want)
		}
	}
}

func TestULPsCountsSteps(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		a := rapid.Float64Range(-1e300, 1e300).Draw(t, "a")
		n := rapid.IntRange(0, 50).Draw(t, "n")
		b := a
		for range n {
			b = math.Nextafter(b, math.Inf(1))
		}
		if ULPs(a, b) != uint64(n) || ULPs(b, a) != uint64(n) {
			t.Fatalf("%d steps from %g counted as %d and %d", n, a, ULPs(a, b), ULPs(b, a))
		}
	})
}

func TestHolds(t *testing.T) {
	inf := math.Inf(1)
	for _, c := range []struct {
		got, want float64
		tol       Tol
		ok        bool
	}{
		{1, 1, Tol{}, true},
		{1, 1.0000001, Tol{}, false},
		{1.5, 1, Tol{Abs: 0.5}, true},
		{1.51, 1, Tol{Abs: 0.5}, false},
		{-101, -100, Tol{Rel: 0.01}, true},
		{-101.1, -100, Tol{Rel: 0.01}, false},
		{1e-9, 0, Tol{Rel: 1}, false}, // nothing is near zero by proportion
		{math.Nextafter(3, 4), 3, Tol{ULPs: 1}, true},
		{inf, inf, Tol{}, true},
		{inf, 1, Tol{Abs: inf}, false},
		{math.NaN(), math.NaN(), Tol{Abs: inf}, false},
	} {
		if c.tol.Holds(c.got, c.want) != c.ok {
			t.Errorf("%+v.Holds(%g, %g) = %t", c.tol, c.got, c.want, !c.ok)
		}
	}
}

// witness records what a helper says of a comparison that does not hold.
type witness struct {
	testing.TB
	said []string
}

func (w *witness) Helper()                        {}
func (w *witness) Errorf(format string, a ...any) { w.said = append(w.said, fmt.Sprintf(format, a...)) }

func TestNearShowsBothValues(t *testing.T) {
	type newton float64
	w := &witness{TB: t}
	Near(w, "legs.west", newton(101), newton(100), Tol{Rel: 0.02})
	if len(w.said) > 0 {
		t.Errorf("complained of values that agree: %q", w.said)
	}
	Near(w, "legs.west", newton(101), newton(100), Tol{Rel: 0.001})
	if len(w.said) != 1 || !strings.Contains(w.said[0], "legs.west = 101, want 100: off by 1 (0.01 of it") {
		t.Errorf("said %q", w.said)
	}
}

func TestNearAllNamesTheElement(t *testing.T) {
	w := &witness{TB: t}
	NearAll(w, "cg", []float64{1, 2, 3}, []float64{1, 2, 3}, Tol{})
	if len(w.said) > 0 {
		t.Errorf("complained of values that agree: %q", w.said)
	}
	NearAll(w, "cg", []float64{1, 2.5, 3}, []float64{1, 2, 3}, Tol{Abs: 0.1})
	NearAll(w, "cg", []float64{1}, []float64{1, 2}, Tol{})
	if len(w.said) != 2 || !strings.Contains(w.said[0], "cg[1] = 2.5, want 2") || w.said[1] != "cg has 1 values, want 2" {
		t.Errorf("said %q", w.said)
	}
}
