package watch

import (
	"math"

	"plumbhook/infer"
	"plumbhook/reading"
)

// Result is a lift looked back on.
type Result struct {
	Phases        []Passed
	Legs          []LegResult
	Estimate      infer.Estimate
	Causes        []infer.Cause
	Tell          string
	DynamicFactor float64 // greatest total in the air over the steady one; NaN when it was never in the air
}

// LegResult is one leg looked back on, N along its upper end, gross.
type LegResult struct {
	Name            string
	SteadyN, PeakN  float64 // SteadyN NaN when it never hung steady
	PeakIsLeast     bool
	Channel         string
	Quality         Quality
	Readings, Twice int
}

// Finish ends the watch and looks back.
func (e *Engine) Finish() Result {
	c := &e.course
	if c.block.n > 0 && len(c.windows) > 0 {
		c.windows[len(c.windows)-1].closed = true
	}
	done := false
	for _, p := range c.passed {
		done = done || p.Phase == SettingDown
	}
	later := e.later
	e.later = false // nobody brings the last answer
	e.explain(done && c.phase == IdlePhase)
	e.later = later
	r := Result{Causes: e.says.Causes, Estimate: e.says.Estimate, Tell: e.says.Tell, DynamicFactor: math.NaN()}
	for _, p := range c.passed {
		if p.ToS == 0 {
			p.ToS = c.t
		}
		r.Phases = append(r.Phases, p)
	}
	hold := c.longestHold()
	for i := range e.cells {
		k := &e.cells[i]
		l := LegResult{Name: k.name, SteadyN: math.NaN(), PeakN: k.peak + e.above(k), PeakIsLeast: k.period > 1.0/slowHz, Channel: k.expected.Channel, Quality: k.quality(), Readings: k.got, Twice: k.twice}
		if k.got == 0 {
			l.PeakN = math.NaN()
		}
		if hold != nil {
			l.SteadyN = hold.mean[i] + e.above(k)
		}
		r.Legs = append(r.Legs, l)
	}
	if hold != nil && hold.total > 0 {
		r.DynamicFactor = c.airPeak / hold.total
	}
	return r
}

// longestHold is the steadiest stretch in the air; nil without.
func (c *course) longestHold() *window {
	var best *window
	for i := range c.windows {
		w := &c.windows[i]
		if w.blocks >= 3 && c.stage(w) == infer.Hold && (best == nil || w.blocks > best.blocks) {
			best = w
		}
	}
	return best
}

// Zero is the moment that the seconds of phases count from.
func (e *Engine) Zero() reading.Stamp { return e.rows.zero }

// Counts are what came in all.
func (e *Engine) Counts() (readings, twice int, unplanned map[string]int) {
	for i := range e.cells {
		readings += e.cells[i].got
		twice += e.cells[i].twice
	}
	return readings, twice, e.unknown
}
