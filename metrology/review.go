package metrology

import (
	"math"
	"slices"
	"time"

	"plumbhook/fault"
)

// A Review is what the certificates of one cell show together, the oldest
// first.
type Review struct {
	Files  []*CertificateFile
	Last   *Calibration // as the latest certificate left the cell
	Grade  Grade        // by ISO 376
	Loads  LoadingRange // by ASTM E74
	Points []Uncertain  // over the calibrated range, at calibration
	// Missing lists what the certificates do not show.
	Missing []string
	// Adjusted is what the latest adjustment changed; nil: left as found.
	Adjusted []Shift
	Drifts   []Movement // from each certificate to the next
	Allowed  float64    // shift, share of the reading
	Longest  time.Duration
	Proposal *Proposal // nil: one certificate
	// Due is the day by which the next calibration is due: the one the
	// certificate states, or the one that the interval asks for if that is
	// earlier. Zero: neither is known.
	Due time.Time
}

// Uncertain is the uncertainty of one reading at a force, N.
type Uncertain struct {
	Force  float64
	Budget Budget
	Expanded
}

// A Movement is how the cell moved between two certificates: what the later one
// found against what the earlier one left.
type Movement struct {
	From, To time.Time
	Shifts   []Shift
	Largest  float64 // share of the reading, with its sign, over the working range
}

// working is the lowest share of the range at which a shift counts as a share
// of the reading: below it the readout's step and its zero decide (common
// practice, no source).
const working = 0.2

// ReviewCertificates works out the certificates of one cell. allowed is the
// shift that may build up between calibrations, a share of the reading, longest
// the longest interval that the rule that governs allows. The error is a
// fault: certificates of different cells or in different units.
func ReviewCertificates(files []*CertificateFile, allowed float64, longest time.Duration) (*Review, error) {
	if len(files) == 0 {
		return nil, fault.New(fault.Missing, "there is no certificate")
	}
	r := &Review{Files: slices.Clone(files), Allowed: allowed, Longest: longest}
	slices.SortStableFunc(r.Files, func(a, b *CertificateFile) int { return a.Date.Compare(b.Date) })
	var left *Calibration
	for i, f := range r.Files {
		if i > 0 {
			switch before := r.Files[i-1]; {
			case f.Serial != before.Serial:
				return nil, fault.New(fault.Disagree, "%s is of cell %s, %s of cell %s", before.File, before.Serial, f.File, f.Serial).
					Fix("review the certificates of one cell")
			case f.Date.Equal(before.Date):
				return nil, fault.New(fault.Duplicate, "%s and %s are of one day", before.File, f.File).Fix("give each certificate once")
			}
		}
		found, err := f.AsFound()
		if err != nil {
			return nil, err
		}
		if left != nil {
			shifts, err := left.ShiftTo(found)
			if err != nil {
				return nil, err
			}
			r.Drifts = append(r.Drifts, Movement{r.Files[i-1].Date, f.Date, shifts, largest(shifts, left.Curve.High)})
		}
		if left, err = f.Left(); err != nil {
			return nil, err
		}
		if r.Adjusted = nil; f.Adjusted != nil {
			if r.Adjusted, err = found.ShiftTo(left); err != nil {
				return nil, err
			}
		}
	}
	r.Last, r.Grade, r.Loads = left, left.ISO376(), left.E74()
	for _, s := range left.Steps {
		u := Uncertain{Force: s.Force}
		u.Budget, r.Missing = left.Budget(s.Force)
		u.Expanded = u.Budget.Expand(0.95)
		r.Points = append(r.Points, u)
	}
	if err := r.propose(); err != nil {
		return nil, err
	}
	if r.Due.IsZero() {
		r.Missing = append(r.Missing, "the day by which its calibration is due")
	}
	return r, nil
}

func largest(shifts []Shift, high float64) float64 {
	worst := 0.0
	for _, s := range shifts {
		if s.Force >= working*high && math.Abs(s.Share) > math.Abs(worst) {
			worst = s.Share
		}
	}
	return worst
}

// propose sets the interval and the day it ends.
func (r *Review) propose() error {
	last := r.Files[len(r.Files)-1]
	r.Due = last.Due
	if len(r.Drifts) == 0 {
		return nil
	}
	var history []Period
	for _, d := range r.Drifts {
		history = append(history, Period{d.From, d.To, d.Largest})
	}
	p, err := ProposeInterval(history, r.Allowed, r.Longest)
	if err != nil {
		return err
	}
	r.Proposal = &p
	if due := last.Date.Add(p.Interval); r.Due.IsZero() || due.Before(r.Due) {
		r.Due = due
	}
	return nil
}

// At is the uncertainty of a reading at a force on a day: that of the
// calibration, and the drift since at the worst rate of the history. The
// certificates' word ends with them: what heat, side pull and creep do on site
// is not in it.
func (r *Review) At(force float64, on time.Time) Uncertain {
	u := Uncertain{Force: force}
	u.Budget, _ = r.Last.Budget(force)
	if p := r.Proposal; p != nil {
		if since := on.Sub(r.Files[len(r.Files)-1].Date); since > 0 {
			u.Budget = append(u.Budget, SinceCalibration(force, p.PerYear, since))
		}
	}
	u.Expanded = u.Budget.Expand(0.95)
	return u
}
