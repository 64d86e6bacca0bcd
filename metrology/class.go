package metrology

import (
	"math"
	"slices"
)

// limits376 are those of ISO 376:2011, Table 2, from memory, in per cent of
// the force (zero: of the largest). A step of the indicator may be no larger
// than the force over steps.
type limits376 struct {
	class                                                                  string
	reproducibility, repeatability, interpolation, zero, reversal, machine float64
	steps                                                                  float64
}

func classes376() []limits376 {
	return []limits376{
		{"00", 0.05, 0.025, 0.025, 0.012, 0.07, 0.01, 4000},
		{"0.5", 0.10, 0.05, 0.05, 0.025, 0.15, 0.02, 2000},
		{"1", 0.20, 0.10, 0.10, 0.050, 0.30, 0.05, 1000},
		{"2", 0.40, 0.20, 0.20, 0.10, 0.50, 0.10, 500},
	}
}

// A Class is one class of ISO 376 and the forces in N for which a cell meets
// it, From the lowest To the highest.
type Class struct {
	Name     string // 00, 0.5, 1, 2
	From, To float64
}

// A Grade is what a certificate earns.
type Grade struct {
	Classes []Class // those met, the best first
	// NotAssessed lists what the certificate does not show. While it is not
	// empty the classes hold only as far as checked.
	NotAssessed []string
}

// ISO376 grades a calibration by the limits of ISO 376:2011, Table 2, which
// stand here from memory. A class holds from the lowest force at which it is
// met, with every force above meeting it too. Creep has no reading in a
// Certificate; where reversibility was tested it is not asked.
func (c *Calibration) ISO376() Grade {
	var g Grade
	missing := func(what string, has func(Step) bool) {
		if !slices.ContainsFunc(c.Steps, func(s Step) bool { return !has(s) }) {
			return
		}
		g.NotAssessed = append(g.NotAssessed, what)
	}
	missing("reproducibility: fewer than three positions at some force", func(s Step) bool { return s.Reproducibility != nil })
	missing("repeatability: no two runs in one position at some force", func(s Step) bool { return s.Repeatability != nil })
	if !slices.ContainsFunc(c.Steps, func(s Step) bool { return s.Reversibility != nil }) {
		g.NotAssessed = append(g.NotAssessed, "reversibility or creep: no falling readings")
	}
	if c.ZeroError == nil {
		g.NotAssessed = append(g.NotAssessed, "zero: no reading after unloading")
	}
	if c.ForceU == 0 {
		g.NotAssessed = append(g.NotAssessed, "uncertainty of the applied forces: not stated")
	}
	if c.Resolution == 0 {
		g.NotAssessed = append(g.NotAssessed, "resolution: not stated")
	}
	for _, l := range classes376() {
		from := math.NaN()
		for _, s := range slices.Backward(c.Steps) {
			if !c.meets(s, l) {
				break
			}
			from = s.Force
		}
		if finite(from) {
			g.Classes = append(g.Classes, Class{l.class, from, c.Curve.High})
		}
	}
	return g
}

// meets tells whether a step keeps the limits of a class as far as the
// certificate shows.
func (c *Calibration) meets(s Step, l limits376) bool {
	within := func(share *float64, percent float64) bool { return share == nil || math.Abs(*share) <= percent/100 }
	return within(s.Reproducibility, l.reproducibility) &&
		within(s.Repeatability, l.repeatability) &&
		within(&s.Interpolation, l.interpolation) &&
		within(s.Reversibility, l.reversal) &&
		within(c.ZeroError, l.zero) &&
		2*c.ForceU <= l.machine/100 && // stated there at k = 2
		math.Abs(s.Deflection) >= l.steps*c.Resolution
}

// LoadingRange is what ASTM E74 makes of a calibration.
type LoadingRange struct {
	SD float64 // s = √(Σ d²/(n - m - 1)), in the unit of the signal
	// LLF is the lower limit factor in N, 2.4 s turned into force at the
	// curve's slope at zero: about 99 % of errors are smaller.
	LLF float64
	// A and AA are the lowest forces, N, at which the cell may be used in that
	// class: 400 and 2000 times the LLF, so that it is at most 0.25 % and
	// 0.05 % of the force, and never below the lowest calibrated force. Nil:
	// the class is reached nowhere in the range.
	A, AA *float64
	// Unmet lists the demands on a calibration that this one does not meet.
	Unmet []string
}

// E74 works out lower limit factor and loading ranges by ASTM E74. That the
// ranges are 400 and 2000 times the factor, and start no lower than the lowest
// force, was read in a public account; the 2.4, the formula of s and the
// count of readings are from memory of E74-18, clauses 7 and 8.
func (c *Calibration) E74() LoadingRange {
	r := LoadingRange{SD: c.Fit.SD, LLF: 2.4 * c.Fit.SD / math.Abs(c.Curve.Slope(0))}
	from := func(times float64) *float64 {
		if lowest := max(times*r.LLF, c.Curve.Low); lowest <= c.Curve.High {
			return &lowest
		}
		return nil
	}
	r.A, r.AA = from(400), from(2000)
	if c.Fit.N < 30 {
		r.Unmet = append(r.Unmet, "at least 30 rising readings")
	}
	if len(c.Steps) < 10 {
		r.Unmet = append(r.Unmet, "at least 10 different forces")
	}
	runs := map[int]bool{}
	for _, p := range c.Points {
		runs[p.Run] = true
	}
	if len(runs) < 3 {
		r.Unmet = append(r.Unmet, "three runs, as is normal")
	}
	return r
}

// Best gives the best class that holds at a force, or false if none does.
func (g Grade) Best(force float64) (Class, bool) {
	i := slices.IndexFunc(g.Classes, func(c Class) bool {
		return force >= c.From && force <= c.To
	})
	if i < 0 {
		return Class{}, false
	}
	return g.Classes[i], true
}
