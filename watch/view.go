package watch

import (
	"math"

	"plumbhook/alarm"
	"plumbhook/infer"
	"plumbhook/reading"
)

// State is what the crew is shown.
type State string

// NoReading: a cell that is needed says nothing. Nothing here says that it is
// safe to go on; that is the appointed person's to say.
const (
	WithinPlan State = "WITHIN PLAN"
	Attention  State = "CAUTION"
	StopNow    State = "STOP"
	NoReading  State = "NO READING"
)

// View is how things stand, for screens. It shares nothing with the engine.
type View struct {
	At    reading.Stamp
	N     uint64 // of the last entry
	State State
	Do    string // what to do, from the worst alarm; empty: nothing
	Phase Phase
	Since float64 // s, how long the phase has lasted

	TotalN  float64 // at the hooks, gross; NaN where it cannot be told
	TotalU  float64 // limit of its error
	LoadN   float64 // the load alone, as far as known; NaN
	LoadU95 float64
	AtLeast bool    // the ground may bear some: LoadN is a least value
	Guessed bool    // a cell is missing: the total is worked out from the others
	StopN   float64 // lowest stop of the total; +Inf without
	Used    float64 // share of the stop limit, of the worst of total and cells
	AgeS    float64 // of the oldest reading that counts
	Cells   []CellView
	Hooks   []HookView
	Step    string      // that the lift stands after, by a person's word; empty: as first rigged
	Stages  []StageView // as first rigged, then each step
	Extras  []ExtraView
	Alarms  []alarm.Alarm
	Passed  []Passed
	Says    []infer.Cause
	Tell    string // what would tell more
	CG      [3]float64
	CGU95   [3]float64
	Tares   []Tared
	Words   []Word
	Away    []Away
	Pulls   []Pulled
	Against Against
	Backs   []Back // zeros after the lift; nil: not yet
	Garbled int
	Unknown map[string]int
	AtRisk  string
}

// CellView is one cell.
type CellView struct {
	Channel, Leg  string
	Quality       Quality
	AgeS          float64
	ReadN         float64 // as the card states it; NaN before the first
	GrossN        float64 // along the upper end of the leg, rigging and all
	NetN          float64 // since the last tare or zero
	SlowN         float64
	PeakN         float64 // gross
	AtLeast       bool    // the cell is too slow to show a peak
	PlanLow       float64
	PlanN         float64
	PlanHigh      float64
	StopN         float64 // lowest of part and file; +Inf without
	WarnN         float64
	Used          float64 // GrossN over StopN; 0 without
	Share         float64 // of what all cells read
	PlanShare     float64
	RateN         float64 // N/s
	LeftS         float64 // until StopN at this rate; +Inf when it does not rise
	Got, Late     int
	Twice, Bad    int
	Missed        uint64
	Signal        float64
	Battery       float64
	PeriodS       float64
	ErrorN        float64 // limit of the cell's error
	Estimate      bool    // worked out from the other legs, not read
	EstimateLowN  float64
	EstimateHighN float64
}

// ExtraView is a channel that is no cell.
type ExtraView struct {
	Name, Kind string
	Value      float64
	AgeS       float64
}

// View tells how things stand.
func (e *Engine) View() View {
	v := View{
		At: e.now, N: e.n, Phase: e.course.phase, Alarms: e.panel.Raised(), StopN: e.rules.stop,
		TotalN: math.NaN(), LoadN: math.NaN(), Garbled: e.garbled, AtRisk: e.atRisk,
		Passed: append([]Passed(nil), e.course.passed...), Tares: append([]Tared(nil), e.tares...),
		Words: append([]Word(nil), e.words...), Away: append([]Away(nil), e.away...), Unknown: map[string]int{},
	}
	for k, n := range e.unknown {
		v.Unknown[k] = n
	}
	if n := len(v.Passed); n > 0 {
		v.Since = e.course.t - v.Passed[n-1].FromS
	}
	if n, u, ok := e.total((*cell).live); ok {
		v.TotalN, v.TotalU = n, u
	}
	for i := range e.rules.partSum {
		v.StopN = min(v.StopN, e.rules.partSum[i].n)
	}
	if !math.IsInf(v.StopN, 1) && !math.IsNaN(v.TotalN) {
		v.Used = v.TotalN / v.StopN
	}
	sum, plan := 0.0, 0.0
	for i := range e.cells {
		c := &e.cells[i]
		plan += c.expected.NominalN
		if c.got > 0 {
			sum += c.value
		}
	}
	blind := false
	for i := range e.cells {
		c := &e.cells[i]
		l := &e.rules.cells[i]
		x := CellView{
			Channel: c.expected.Channel, Leg: c.name, Quality: c.quality(), ReadN: c.value,
			GrossN: c.value + e.above(c), NetN: c.value - c.slackN, SlowN: c.slow, PeakN: c.peak + e.above(c),
			AtLeast: c.period > 1.0/slowHz, PlanLow: c.expected.LowN, PlanN: c.expected.NominalN, PlanHigh: c.expected.HighN,
			StopN: min(l.part.n, l.stop), WarnN: l.warn, RateN: c.rate, LeftS: math.Inf(1),
			Got: c.got, Late: c.late, Twice: c.twice, Bad: c.bad, Missed: c.missed,
			Signal: math.NaN(), Battery: math.NaN(), PeriodS: c.period, ErrorN: c.error(),
		}
		if c.hasLinks {
			x.Signal, x.Battery = c.signal, c.battery
		}
		if c.got > 0 {
			x.AgeS = max(0, e.now.Since(c.at))
			v.AgeS = max(v.AgeS, x.AgeS)
			if sum != 0 {
				x.Share = c.value / sum
			}
		}
		if plan != 0 {
			x.PlanShare = c.expected.NominalN / plan
		}
		if !math.IsInf(x.StopN, 1) && c.got > 0 {
			x.Used = c.value / x.StopN
			if x.Quality == Good || x.Quality == OutOfRange {
				v.Used = max(v.Used, x.Used)
			}
			if c.rate > 0 && c.value < x.StopN {
				x.LeftS = (x.StopN - c.value) / c.rate
			}
		}
		if x.Quality != Good {
			blind = true
			v.Guessed = true
		}
		if low, high, ok := e.guess(i); ok && x.Quality != Good {
			x.Estimate, x.EstimateLowN, x.EstimateHighN = true, low+e.above(c), high+e.above(c)
		}
		v.Cells = append(v.Cells, x)
	}
	v.Hooks, v.Step, v.Stages = e.viewHooks(), e.stages[e.stage].name, e.viewStages()
	if len(v.Hooks) > 1 {
		for i := range v.Hooks {
			v.Used = max(v.Used, v.Hooks[i].Used)
		}
	}
	for i := range e.extras {
		x := &e.extras[i]
		v.Extras = append(v.Extras, ExtraView{x.name, x.kind, x.value, e.now.Since(x.at)})
	}
	if e.said {
		v.Says, v.Tell = append([]infer.Cause(nil), e.says.Causes...), e.says.Tell
		v.LoadN, v.LoadU95, v.AtLeast = e.says.WeightN, e.says.WeightU95N, e.says.AtLeast
		v.CG, v.CGU95 = e.says.CG, e.says.CGU95
	}
	v.Pulls, v.Against, v.Backs = append([]Pulled(nil), e.pulls...), e.against(&v), e.backs()
	v.State = WithinPlan
	for i := range v.Alarms {
		a := &v.Alarms[i]
		if a.Severity == alarm.Stop {
			v.State, v.Do = StopNow, a.Text
			break
		}
		if v.State == WithinPlan {
			v.State, v.Do = Attention, a.Text
		}
	}
	if blind && v.State != StopNow {
		v.State = NoReading
	}
	return v
}

// above is what the leg bears at its upper end more than its cell reads.
func (e *Engine) above(c *cell) float64 {
	return e.state.Hung.Legs[c.leg].TensionN - c.expected.NominalN
}

// error is the limit of what the cell may be off at its present reading, N.
func (c *cell) error() float64 {
	return c.expected.Cell.Limit(c.value) + c.expected.Cell.ZeroLimit
}
