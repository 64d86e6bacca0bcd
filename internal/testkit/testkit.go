// Package testkit compares numbers in tests and says how far apart they are.
//
// A test states the tolerance it can defend (the rounding of a printed table,
// the residual of a solve, a count of units in the last place) instead of a
// magic epsilon, and a failure shows both values and the distance in the
// terms of that tolerance.
package testkit

import (
	"fmt"
	"math"
	"testing"
)

// Tol says when two values count as equal: when any of its measures that is
// not zero is met. The zero Tol asks for the same value.
type Tol struct {
	Abs  float64 // |got - want|, in the unit of the values
	Rel  float64 // |got - want| / |want|
	ULPs uint64  // representable float64 values from one to the other
}

// Holds tells whether got is as good as want. A NaN is as good as nothing,
// and an infinity only as good as itself.
func (tol Tol) Holds(got, want float64) bool {
	switch {
	case math.IsNaN(got) || math.IsNaN(want):
		return false
	case got == want:
		return true
	case math.IsInf(got, 0) || math.IsInf(want, 0):
		return false
	}
	d := math.Abs(got - want)
	return d <= tol.Abs || d <= tol.Rel*math.Abs(want) || ULPs(got, want) <= tol.ULPs
}

// Near fails the test, and lets it go on, when got is not want within tol.
func Near[F ~float64](t testing.TB, what string, got, want F, tol Tol) {
	t.Helper()
	g, w := float64(got), float64(want)
	if !tol.Holds(g, w) {
		t.Errorf("%s = %.17g, want %.17g: off by %.3g (%.3g of it, %d ULPs); tolerance %+v",
			what, g, w, g-w, (g-w)/math.Abs(w), ULPs(g, w), tol)
	}
}

// NearAll is Near for each element of two sequences of equal length.
func NearAll[F ~float64](t testing.TB, what string, got, want []F, tol Tol) {
	t.Helper()
	if len(got) != len(want) {
		t.Errorf("%s has %d values, want %d", what, len(got), len(want))
		return
	}
	for i := range want {
		Near(t, fmt.Sprintf("%s[%d]", what, i), got[i], want[i], tol)
	}
}

// ULPs counts the representable values from a to b: 0 when they are equal
// (also for the two zeros), 1 for neighbours. It has no meaning for NaN and
// gives the largest count there.
func ULPs(a, b float64) uint64 {
	if math.IsNaN(a) || math.IsNaN(b) {
		return math.MaxUint64
	}
	i, j := rank(a), rank(b)
	if i < j {
		i, j = j, i
	}
	return uint64(i) - uint64(j)
}

// rank numbers the floats in their order. IEEE 754 bits of one sign are
// already ordered as integers; the negative half is mirrored below zero.
func rank(f float64) int64 {
	b := int64(math.Float64bits(f))
	if b < 0 {
		return math.MinInt64 - b
	}
	return b
}
