package watch

import "math"

// Match is how something measured compares with the plan.
type Match string

// Unknown: there is nothing to compare yet, or no channel tells.
const (
	Unknown Match = ""
	Fits    Match = "as planned"
	Off     Match = "off plan"
)

// Against is what the trial lift is judged by: the load in the air against the
// plan. It decides nothing; a named person does.
type Against struct {
	Weight            Match
	PlanN             float64 // the load alone
	PlanLow, PlanHigh float64 // 95 in 100
	CG                Match   // level with the plan's box, its own uncertainty granted
	Tilt              Match   // against the limit of the plan; by its channel
	TiltRad           float64 // NaN: no channel, or it never read
	TiltLimit         float64 // rad; +Inf: none
}

// against compares what is known of the load with the plan.
func (e *Engine) against(v *View) Against {
	w := &e.state.Spread.Weight
	a := Against{PlanN: e.state.Hung.WeightN, PlanLow: w.Quantile(0.025), PlanHigh: w.Quantile(0.975), TiltRad: math.NaN(), TiltLimit: e.rules.tilt}
	match := func(low, high, least, most float64) Match {
		switch {
		case math.IsNaN(low + high):
			return Unknown
		case high < least || low > most:
			return Off
		}
		return Fits
	}
	free := v.Phase == Suspended && !v.AtLeast && v.LoadN != 0
	if free {
		u := v.LoadU95
		if math.IsNaN(u) {
			u = 0
		}
		a.Weight = match(v.LoadN-u, v.LoadN+u, a.PlanLow, a.PlanHigh)
		a.CG = Fits
		box := &e.plan.Sheet
		for k := range 2 { // its height does not show in the tensions
			switch match(v.CG[k]-v.CGU95[k], v.CG[k]+v.CGU95[k], box.CGLow[k], box.CGHigh[k]) {
			case Unknown:
				a.CG = Unknown
			case Off:
				if a.CG == Fits {
					a.CG = Off
				}
			}
		}
	}
	if x := e.channel("tilt"); x != nil {
		a.TiltRad = *x
		if !math.IsInf(a.TiltLimit, 1) && !math.IsNaN(*x) {
			a.Tilt = match(math.Abs(*x), math.Abs(*x), 0, a.TiltLimit)
		}
	}
	return a
}

// Back is what a cell reads with nothing on the hook any more, against what it
// should.
type Back struct {
	Channel   string
	ReadN     float64
	Low, High float64 // between hung free and attached; N
	Room      float64 // N beyond these that are no cause for doubt
	Match     Match
}

// backs are the zeros after the lift; nil before there was one, and until the
// cells have rested for some seconds.
func (e *Engine) backs() []Back {
	c := &e.course
	w := c.open()
	if c.phase != IdlePhase || w == nil || w.blocks < 3 || !c.hung() {
		return nil
	}
	out := make([]Back, len(e.cells))
	for i := range e.cells {
		k := &e.cells[i]
		b := Back{Channel: k.expected.Channel, ReadN: w.mean[i]}
		b.Low, b.High, b.Room = k.zeros()
		if off := k.offZero(w.mean[i]); !math.IsNaN(off) {
			if b.Match = Fits; off > b.Room {
				b.Match = Off
			}
		}
		out[i] = b
	}
	return out
}

// hung tells whether the load has been in the air.
func (c *course) hung() bool {
	for _, p := range c.passed {
		if p.Phase == Suspended {
			return true
		}
	}
	return false
}

// zeros is what the cell reads without load: between hung free and attached
// lies whatever the ground takes of the legs. Room is what it may be beyond.
func (c *cell) zeros() (low, high, room float64) {
	return min(c.hungN, c.slackN), max(c.hungN, c.slackN), 0.01*max(c.capacity, math.Abs(c.expected.NominalN)) + c.expected.Cell.Error
}

// offZero is how far beyond these a reading is; negative within.
func (c *cell) offZero(n float64) float64 {
	low, high, _ := c.zeros()
	return max(n-high, low-n)
}
