package metrology

import "math"

// A Chain turns the signal of one channel into the gross force on its cell.
// The zero values of Zero, Span and Drift change nothing.
type Chain struct {
	Curve Curve
	Zero  float64 // signal with nothing on the cell, taken off first: a calibrated curve is one of deflections
	Span  float64 // span set in the field: 0.001 makes every force 0.1 % larger
	Drift Drift
}

// Drift is what temperature is known to do to a cell, sign and all, from a
// calibration at several temperatures. Coefficients that are only stated as
// limits belong in an Accuracy: they cannot correct anything.
type Drift struct {
	Zero float64 // N per K
	Span float64 // share of the reading per K
}

// Temperature says how far a cell is from where it was set, K.
type Temperature struct {
	SinceZero        float64 // against the last zero
	SinceCalibration float64 // against the calibration
}

// Corrected is a reading in N.
type Corrected struct {
	Force float64
	Place Place // against the calibrated range
}

// Correct gives the force at a signal. With the cell reading
//
//	true·(1 + a_S ΔT) + a_0 ΔT₀
//
// (the usual model of a strain-gauge bridge, from memory), both known terms
// are taken out, then the span of the field is applied.
func (c *Chain) Correct(signal float64, at Temperature) Corrected {
	force, place := c.Curve.Force(signal - c.Zero)
	force = (force - c.Drift.Zero*at.SinceZero) / (1 + c.Drift.Span*at.SinceCalibration)
	return Corrected{force * (1 + c.Span), place}
}

// Accuracy is what a maker states about a cell without giving a calibration.
// A nil figure is one that is not stated, which is not the same as none.
type Accuracy struct {
	Capacity    float64 // N
	Limit       float64 // hard limit of error, as a share
	OfFullScale bool    // the share is of the capacity; else of the reading

	Resolution *float64 // step of the readout, N
	ZeroPerK   *float64 // hard limit, share of the capacity per K
	SpanPerK   *float64 // hard limit, share of the reading per K
	Creep      *float64 // hard limit under a load held, share of the reading
	ZeroReturn *float64 // hard limit of zero after a load, share of the capacity

	// Machine names what the cell was calibrated on, if known. MachineLimit is
	// the part of its error that cells from there have in common, a hard limit
	// as a share of the reading, beside Limit. Not stated, all of Limit counts
	// as common, the loud side.
	Machine      string
	MachineLimit *float64
}

// Conditions say how far the temperature has moved, K, as the largest
// difference that could be; nil: not known.
type Conditions struct {
	SinceZero        *float64 // against the zero or tare
	SinceCalibration *float64 // against the calibration
}

// ConditionsOver are those of a cell zeroed and read anywhere between two
// temperatures, K, and calibrated at a third.
func ConditionsOver(low, high, calibratedAt float64) Conditions {
	zero, span := high-low, math.Max(math.Abs(high-calibratedAt), math.Abs(low-calibratedAt))
	return Conditions{SinceZero: &zero, SinceCalibration: &span}
}

// Budget is the uncertainty of one reading at a gross force in N. With it
// comes what is not in it because nobody stated it: while that list is not
// empty the uncertainty is "at least".
func (a Accuracy) Budget(force float64, at Conditions) (Budget, []string) {
	force = math.Abs(force)
	var b Budget
	var missing []string
	limit, base := "accuracy of reading", force
	if a.OfFullScale {
		limit, base = "accuracy of full scale", a.Capacity
	}
	accuracy := Rectangular(limit, a.Limit*base)
	switch {
	case a.Machine == "":
		b = append(b, accuracy)
	case a.MachineLimit == nil:
		b = append(b, accuracy.SharedBy(a.Machine))
		missing = append(missing, "what cells of one calibration machine share")
	default:
		b = append(b, accuracy, Rectangular("forces of the calibration machine", *a.MachineLimit*force).SharedBy(a.Machine))
	}
	// add puts in a limit per unit times a base, or says what is missing.
	add := func(name string, perUnit *float64, unit string, units *float64, base float64) {
		switch {
		case perUnit == nil:
			missing = append(missing, name)
		case *perUnit == 0:
		case units == nil:
			missing = append(missing, unit)
		default:
			b = append(b, Rectangular(name, math.Abs(*perUnit**units)*base))
		}
	}
	if a.Resolution == nil {
		missing = append(missing, "resolution")
	} else {
		b = append(b, Digital("resolution", *a.Resolution))
	}
	add("temperature effect on zero", a.ZeroPerK, "change of temperature since zero", at.SinceZero, a.Capacity)
	add("temperature effect on span", a.SpanPerK, "change of temperature since calibration", at.SinceCalibration, force)
	add("creep", a.Creep, "", new(1.0), force)
	return b, missing
}

// ZeroLimit gives by how much, N, zero may differ after a load was on and off
// again: the stated zero return or else the full-scale accuracy, the
// temperature term over the given change, and one step of the readout. With
// it comes what was not stated; the limit is NaN if neither of the first two
// is there.
func (a Accuracy) ZeroLimit(sinceZero *float64) (float64, []string) {
	var missing []string
	limit := math.NaN()
	switch {
	case a.ZeroReturn != nil:
		limit = *a.ZeroReturn * a.Capacity
	case a.OfFullScale:
		limit = a.Limit * a.Capacity
	default:
		missing = append(missing, "zero return")
	}
	switch {
	case a.ZeroPerK == nil:
		missing = append(missing, "temperature effect on zero")
	case *a.ZeroPerK == 0:
	case sinceZero == nil:
		missing = append(missing, "change of temperature since zero")
	default:
		limit += math.Abs(*a.ZeroPerK**sinceZero) * a.Capacity
	}
	if a.Resolution == nil {
		missing = append(missing, "resolution")
	} else {
		limit += *a.Resolution
	}
	return limit, missing
}
