package metrology

import (
	"math"
	"slices"

	"plumbhook/fault"
)

// Place says where a force lies against the range that was calibrated.
type Place int

// Below the lowest calibrated force, and above the highest, the figure is
// still the best there is, but no certificate stands behind it.
const (
	Within Place = iota
	Below
	Above
)

// A Curve ties the signal of a cell to the force on it, both ways. It rises
// or falls all the way, so that each signal means one force. Beyond zero at
// one end and the highest calibrated force at the other it goes on straight,
// in its last direction: an overload must still read as more. Calibrate and
// Straight make curves; the zero Curve answers nothing but NaN.
type Curve struct {
	Unit      string  // of the signal
	Low, High float64 // calibrated range, N

	poly        polynomial
	first, last end // at force 0 and at High
	rising      bool
}

// end is where the polynomial stops and its tangent goes on.
type end struct{ z, signal, slope float64 }

// Straight is the curve of a cell that has a stated sensitivity instead of a
// calibration: zero is the signal without force, full that at the capacity
// in N. A cell that sends its force in N is Straight("N", 0, c, c).
func Straight(unit string, zero, full, capacity float64) (Curve, error) {
	if !(capacity > 0) || !finite(capacity) {
		return Curve{}, fault.New(fault.Range, "a capacity of %g N", capacity).Fix("give a force above zero")
	}
	return newCurve(unit, polynomial{scale: capacity, degree: 1, a: [maxDegree + 1]float64{zero, full - zero}}, 0, capacity)
}

// newCurve refuses a polynomial that turns back between zero force and high.
func newCurve(unit string, p polynomial, low, high float64) (Curve, error) {
	stop := func(z float64) end {
		signal, slope := p.at(z)
		return end{z, signal, slope}
	}
	c := Curve{Unit: unit, Low: low, High: high, poly: p, first: stop(0), last: stop(high / p.scale)}
	c.rising = c.last.signal > c.first.signal
	if !finite(c.first.signal) || !finite(c.last.signal) || !p.monotone(c.first.z, c.last.z) {
		return Curve{}, fault.New(fault.Undecided, "the curve turns back between zero and %g N, so that one signal could mean two forces", high).
			Fix("look for a wrong point in the certificate, or choose a lower degree")
	}
	return c, nil
}

// Signal gives what the cell sends at a force in N.
func (c *Curve) Signal(force float64) float64 {
	z := force / c.poly.scale
	switch {
	case z < c.first.z:
		return c.first.signal + (z-c.first.z)*c.first.slope
	case z > c.last.z:
		return c.last.signal + (z-c.last.z)*c.last.slope
	}
	v, _ := c.poly.at(z)
	return v
}

// Slope gives the change of signal per N at a force.
func (c *Curve) Slope(force float64) float64 {
	_, s := c.poly.at(min(max(force/c.poly.scale, c.first.z), c.last.z))
	return s / c.poly.scale
}

// Force gives the force in N at a signal, and where it lies. It is the exact
// inverse of Signal; a curve fitted the other way round, force over signal,
// would not be. A signal that is not a number gives a force that is none.
func (c *Curve) Force(signal float64) (float64, Place) {
	var z float64
	switch {
	case c.poly.scale == 0:
		return math.NaN(), Within
	case signal == c.first.signal:
		z = c.first.z
	case signal < c.first.signal == c.rising:
		z = c.first.z + (signal-c.first.signal)/c.first.slope
	case signal > c.last.signal == c.rising:
		z = c.last.z + (signal-c.last.signal)/c.last.slope
	default:
		z = c.poly.invert(signal, c.first.z, c.last.z, c.first.signal, c.last.signal)
	}
	force := z * c.poly.scale
	// One part in 10^12 of the range is rounding of the way there and back.
	margin := 1e-12 * c.High
	switch {
	case force < c.Low-margin:
		return force, Below
	case force > c.High+margin:
		return force, Above
	}
	return force, Within
}

// Powers is a curve as some certificates state it, the other way round: force
// in N as a polynomial of the signal, the coefficient of power 0 first. Nothing
// says how far it holds.
type Powers []float64

// Force gives the force at a signal.
func (p Powers) Force(signal float64) float64 {
	v := 0.0
	for _, c := range slices.Backward(p) {
		v = v*signal + c
	}
	return v
}
