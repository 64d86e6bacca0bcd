package contract

import (
	"math"
	"sort"

	"plumbhook/alarm"
	"plumbhook/infer"
	"plumbhook/watch"
)

// Replay is the answer of `replay --format json`. Times are seconds on the
// recording's own clock: those of its `t` column, or since its first reading
// where that is a date.
type Replay struct {
	Title         string               `json:"title"`
	Revision      string               `json:"revision"`
	SHA256        string               `json:"sha256"` // of the lift file
	Cautions      string               `json:"cautions"`
	Readings      int                  `json:"readings"`
	Duplicates    int                  `json:"duplicates"`
	Garbled       []string             `json:"garbled"` // rows that were left out, and why
	Unplanned     map[string]int       `json:"unplanned"`
	Phases        []ReplayPhase        `json:"phases"`
	Alarms        []ReplayAlarm        `json:"alarms"`
	Legs          map[string]ReplayLeg `json:"legs"`
	Estimate      ReplayEstimate       `json:"estimate"`
	DynamicFactor *float64             `json:"dynamic_factor"`   // null: never seen in the air
	Diagnosis     []Cause              `json:"diagnosis"`        // most likely first
	WouldTell     string               `json:"would_tell"`       // what would tell more
	Gear          *GearTaken           `json:"gear,omitempty"`   // with --data: what is written into the gear register, or would be
	Cycles        []ReplayCycles       `json:"cycles,omitempty"` // with --cycles, and not in the record
	Sealed        *SealedRecord        `json:"sealed,omitempty"` // with --seal, and not in the record itself
}

// ReplayCycles are the load cycles of one leg by rainflow (ASTM E1049-85, 5.4.4), as
// its cell read them.
type ReplayCycles struct {
	Leg       string             `json:"leg"`
	Channel   string             `json:"channel"`
	SmallestN float64            `json:"smallest_N"` // a swing below it is noise
	GreatestN float64            `json:"greatest_range_N"`
	AtLeast   bool               `json:"at_least"` // readings could not be used
	Classes   []ReplayCycleClass `json:"classes"`
}

// ReplayCycleClass is the cycles whose range lies from one force up to another.
type ReplayCycleClass struct {
	FromN float64 `json:"from_N"`
	ToN   float64 `json:"to_N"`
	Count float64 `json:"count"` // halves where a range was never closed
}

// ReplayPhase is one phase of the lift.
type ReplayPhase struct {
	Phase    string  `json:"phase"`
	FromS    float64 `json:"from_s"`
	ToS      float64 `json:"to_s"`
	Evidence string  `json:"evidence"` // that the load was free; of suspended
}

// ReplayAlarm is one alarm as it was raised.
type ReplayAlarm struct {
	Kind     string   `json:"kind"`
	Severity string   `json:"severity"`
	TS       float64  `json:"t_s"`
	Channel  string   `json:"channel"` // or leg, part, hook; empty: the lift as a whole
	ValueN   *float64 `json:"value_N"` // null where what is judged is no force
	LimitN   *float64 `json:"limit_N"`
	Text     string   `json:"text"`
}

// ReplayLeg is one leg looked back on, gross, along its upper end.
type ReplayLeg struct {
	SteadyN     *float64 `json:"steady_N"` // null: it never hung steady
	PeakN       *float64 `json:"peak_N"`
	PeakAtLeast bool     `json:"peak_at_least"` // readings are too far apart to show a peak
	Channel     string   `json:"channel"`
	Quality     string   `json:"quality"` // at the end
	Readings    int      `json:"readings"`
}

// ReplayEstimate is what the load was found to be.
type ReplayEstimate struct {
	WeightN    *float64    `json:"weight_N"` // the load alone; null: cannot tell
	WeightU95N *float64    `json:"weight_u95_N"`
	AtLeast    bool        `json:"at_least"` // not proved free: it weighs so much at least
	CGM        *[3]float64 `json:"cg_m"`     // load axes
	CGU95M     *[3]float64 `json:"cg_u95_m"`
}

// Cause is one explanation.
type Cause struct {
	Cause       string   `json:"cause"`
	Probability float64  `json:"probability"`
	SameAs      []string `json:"same_as"` // what the data cannot tell it from
	Where       string   `json:"where"`
	Text        string   `json:"text"`
}

// dated is the least stamp, s, that is taken for a date and not for seconds of
// a recording of its own: 1973.
const dated = 1e8

// NewReplay shapes a result.
func NewReplay(e *watch.Engine, r *watch.Result, events []alarm.Event) Replay {
	zero := e.Zero()
	base := zero.Since(0)
	if base > dated {
		base = 0
	}
	out := Replay{
		Garbled: []string{}, Unplanned: map[string]int{}, Phases: []ReplayPhase{}, Alarms: []ReplayAlarm{},
		Legs: map[string]ReplayLeg{}, Diagnosis: Causes(r.Causes), WouldTell: r.Tell, DynamicFactor: finite(r.DynamicFactor),
	}
	out.Readings, out.Duplicates, out.Unplanned = e.Counts()
	for _, p := range r.Phases {
		out.Phases = append(out.Phases, ReplayPhase{string(p.Phase), p.FromS + base, p.ToS + base, p.Evidence})
	}
	for _, e := range events {
		if e.Change != alarm.Raised {
			continue
		}
		a := ReplayAlarm{Kind: string(e.Kind), Severity: string(e.Severity), TS: e.At.Since(zero) + base, Channel: e.Where, Text: e.Text}
		if e.Kind.IsForce() {
			a.ValueN, a.LimitN = finite(e.Value), finite(e.Limit)
			if e.Limit == 0 {
				a.LimitN = nil
			}
		}
		out.Alarms = append(out.Alarms, a)
	}
	sort.SliceStable(out.Alarms, func(i, j int) bool { return out.Alarms[i].TS < out.Alarms[j].TS })
	for _, l := range r.Legs {
		out.Legs[l.Name] = ReplayLeg{finite(l.SteadyN), finite(l.PeakN), l.PeakIsLeast, l.Channel, string(l.Quality), l.Readings}
	}
	x := &r.Estimate
	out.Estimate = ReplayEstimate{WeightN: finite(x.WeightN), WeightU95N: finite(x.WeightU95N), AtLeast: x.AtLeast}
	if out.Estimate.WeightN != nil && !math.IsNaN(x.CG[0]+x.CG[1]+x.CG[2]) {
		cg, u := x.CG, x.CGU95
		out.Estimate.CGM, out.Estimate.CGU95M = &cg, &u
	}
	return out
}

// Causes shapes explanations.
func Causes(all []infer.Cause) []Cause {
	out := []Cause{}
	for _, c := range all {
		same := c.SameAs
		if same == nil {
			same = []string{}
		}
		out = append(out, Cause{c.Name, c.Probability, same, c.Where, c.Text})
	}
	return out
}
