package metrology

import (
	"math"
	"time"

	"plumbhook/fault"
)

// year is the mean Gregorian year that rates are counted in.
const year = 8765.82 * float64(time.Hour) // 365.2425 d

// A Shift is how far a cell would read wrong, had the old curve been kept.
type Shift struct {
	Force float64 // applied, N
	Error float64 // old curve's force at the new deflection, less Force, N
	Share float64 // Error/Force
}

// ShiftTo holds a later calibration of the same cell against this one, at each
// step of the later: as-found against the certificate before, as-left against
// as-found. It refuses signals in different units. Steps outside the range of
// the old curve are left out.
func (c *Calibration) ShiftTo(later *Calibration) ([]Shift, error) {
	if c.Unit != later.Unit {
		return nil, fault.New(fault.BadUnit, "one certificate is in %s, the other in %s", c.Unit, later.Unit).
			Fix("compare certificates of one unit")
	}
	var all []Shift
	for _, s := range later.Steps {
		if s.Force < c.Curve.Low || s.Force > c.Curve.High {
			continue
		}
		read, _ := c.Curve.Force(s.Deflection)
		all = append(all, Shift{s.Force, read - s.Force, read/s.Force - 1})
	}
	return all, nil
}

// A Period is the time between two certificates and the largest shift over
// it, a share of the reading.
type Period struct {
	From, To time.Time
	Shift    float64
}

// A Proposal is how long a cell may go to its next calibration.
type Proposal struct {
	PerYear  float64       // the worst rate of the history, share of reading per year
	Interval time.Duration // whole days
	Capped   bool          // the longest allowed interval sets it, not the drift
}

// ProposeInterval gives the time in which the worst rate of drift seen would
// use up the allowed shift, a share of the reading, and no more than longest
// (the rule that governs; ISO 376: 26 months, from memory). A single period
// shows no more than one rate, so the worst and not the mean counts. Without
// history there is no proposal, only longest, and a fault.
func ProposeInterval(history []Period, allowed float64, longest time.Duration) (Proposal, error) {
	if len(history) == 0 {
		return Proposal{}, fault.New(fault.Missing, "one certificate shows no drift").
			Fix("keep the usual interval until there is a second")
	}
	if !(allowed > 0) || longest <= 0 {
		return Proposal{}, fault.New(fault.Range, "an allowed shift of %g over at most %v", allowed, longest)
	}
	var p Proposal
	for i, h := range history {
		took := float64(h.To.Sub(h.From))
		if !(took > 0) || !finite(h.Shift) {
			return Proposal{}, fault.New(fault.Range, "period %d of the history does not end after it begins, or has no shift", i+1)
		}
		p.PerYear = max(p.PerYear, math.Abs(h.Shift)*year/took)
	}
	const day = 24 * time.Hour
	if t := allowed / p.PerYear * year; t < float64(longest) {
		p.Interval = time.Duration(t).Truncate(day)
	} else {
		p.Interval, p.Capped = longest.Truncate(day), true
	}
	return p, nil
}

// SinceCalibration is what drift adds to a reading at a force in N, a time
// after the calibration, at a rate per year as a share of the reading: a hard
// limit, growing past the due date without end. A cell that is out of date and
// used by a named override carries it in its budget.
func SinceCalibration(force, perYear float64, since time.Duration) Component {
	return Rectangular("drift since calibration", math.Abs(force*perYear*float64(since)/year))
}

// A FieldCheck is a cell's reading of a known weight.
type FieldCheck struct {
	Difference float64 // reading less known, N
	// En is |difference| over the root of the sum of squares of both expanded
	// uncertainties at 95 % (the E_n number of ISO/IEC 17043, from memory).
	En     float64
	Agrees bool // En is at most 1
}

// CheckField compares a reading with a known force, N, each with its expanded
// uncertainty at 95 %. It refuses a comparison in which neither has one: with
// nothing allowed, nothing can agree.
func CheckField(reading, u95, known, known95 float64) (FieldCheck, error) {
	if u := math.Hypot(u95, known95); finite(reading) && finite(known) && finite(u) && u > 0 && u95 >= 0 && known95 >= 0 {
		f := FieldCheck{Difference: reading - known}
		f.En = math.Abs(f.Difference) / u
		f.Agrees = f.En <= 1
		return f, nil
	}
	return FieldCheck{}, fault.New(fault.Missing, "a field check of %g ± %g N against %g ± %g N", reading, u95, known, known95).
		Fix("give both figures and the uncertainty of at least one")
}
