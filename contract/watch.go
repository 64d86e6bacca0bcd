package contract

import (
	"math"
	"time"

	"plumbhook/alarm"
	"plumbhook/reading"
	"plumbhook/verdict"
	"plumbhook/watch"
)

// Watch is how a watched lift stands: the answer of /api/watch, and the view
// of the live stream. Forces are gross unless they say otherwise; null is a
// number that cannot be told.
type Watch struct {
	At    time.Time `json:"at" doc:"of the last entry in the logbook"`
	N     uint64    `json:"n" doc:"entries so far"`
	State string    `json:"state" enum:"WITHIN PLAN,CAUTION,STOP,NO READING"`
	Do    string    `json:"do" doc:"what the worst alarm asks for; empty: nothing"`
	Unit  WatchUnit `json:"unit"`

	Phase    string  `json:"phase" doc:"idle, taking_load, held_down, suspended, setting_down; empty: not known yet"`
	PhaseS   float64 `json:"phase_s" doc:"how long it has lasted"`
	Evidence string  `json:"evidence" doc:"that the load is free; of suspended"`

	TotalN      *float64 `json:"total_N" doc:"at the hooks"`
	TotalErrorN *float64 `json:"total_error_N" doc:"limit of its error"`
	Estimated   bool     `json:"total_estimated" doc:"a cell is missing: worked out from the others"`
	TotalStopN  *float64 `json:"total_stop_N" doc:"lowest stop of the total; null: none"`
	TotalUsed   *float64 `json:"total_used" doc:"share of that stop"`
	Used        *float64 `json:"used" doc:"greatest share of a stop, of total and cells"`
	Worst       string   `json:"worst" doc:"channel of the cell with the greatest share; empty: none has a stop"`
	AgeS        *float64 `json:"age_s" doc:"of the oldest reading that counts; null: none yet"`

	LoadN       *float64    `json:"load_N" doc:"weight of the load alone"`
	LoadU95N    *float64    `json:"load_u95_N"`
	LoadAtLeast bool        `json:"load_at_least" doc:"not proved free: it weighs so much at least"`
	CGM         *[3]float64 `json:"cg_m" doc:"load axes"`
	CGU95M      *[3]float64 `json:"cg_u95_m"`
	Diagnosis   []Cause     `json:"diagnosis" doc:"most likely first"`
	WouldTell   string      `json:"would_tell" doc:"what would tell more"`

	Cells  []WatchCell          `json:"cells"`
	Hooks  map[string]WatchHook `json:"hooks" doc:"by name"`
	Step   string               `json:"step" doc:"that the lift stands after, by a person's word, and that all is held against; empty: as first rigged"`
	Steps  []WatchStep          `json:"steps" doc:"of the plan, in order"`
	Extras []WatchExtra         `json:"extras" doc:"channels that are no cell"`
	Alarms []WatchAlarm         `json:"alarms" doc:"that stand, worst first"`
	Phases []ReplayPhase        `json:"phases"`
	Tares  []WatchTare          `json:"tares"`
	Words  []WatchWord          `json:"words"`
	Tugs   []WatchTug           `json:"tugs" doc:"tug tests, the last one last"`
	Plan   WatchPlan            `json:"against" doc:"the load against the plan; it decides nothing, a named person does"`
	Zeros  []WatchZero          `json:"zeros" doc:"what the cells read after the lift; empty: not yet"`
	Away   []WatchAway          `json:"away" doc:"times without a watch"`

	Garbled   int            `json:"garbled" doc:"messages that could not be read"`
	Unplanned map[string]int `json:"unplanned" doc:"readings of channels that the plan does not have"`
	AtRisk    string         `json:"recording_at_risk" doc:"what the recording lacks; empty: nothing"`
}

// WatchUnit is the one unit that the crew reads of this lift, and how finely:
// screens round to Step.
type WatchUnit struct {
	Readout
	Step     float64 `json:"step" doc:"1, 2 or 5 times a power of ten, in the unit"`
	Decimals int     `json:"decimals" doc:"that Step needs"`
}

// WatchCell is one load cell.
type WatchCell struct {
	Channel     string   `json:"channel"`
	Leg         string   `json:"leg"`
	Quality     string   `json:"quality" doc:"good, stale, lost, frozen, out of range, no reading yet"`
	AgeS        *float64 `json:"age_s" doc:"null: never read"`
	ReadN       *float64 `json:"read_N" doc:"as the cell shows it, zero taken off; stops are of this"`
	GrossN      *float64 `json:"gross_N" doc:"along the upper end of the leg, rigging and all"`
	NetN        *float64 `json:"net_N"`
	SlowN       *float64 `json:"slow_N" doc:"averaged over about half a second"`
	PeakN       *float64 `json:"peak_N"`
	PeakAtLeast bool     `json:"peak_at_least" doc:"readings are too far apart to show a peak"`
	PlanLowN    float64  `json:"plan_low_N" doc:"95 in 100 once the load hangs"`
	PlanN       float64  `json:"plan_N"`
	PlanHighN   float64  `json:"plan_high_N"`
	WarnN       *float64 `json:"warn_N"`
	StopN       *float64 `json:"stop_N" doc:"null: no stop is known"`
	Used        *float64 `json:"used" doc:"share of the stop"`
	Share       *float64 `json:"share" doc:"of what all cells read"`
	PlanShare   float64  `json:"plan_share"`
	RateN       *float64 `json:"rate_N_per_s"`
	LeftS       *float64 `json:"left_s" doc:"until the stop at this rate; null: it does not rise"`
	ErrorN      *float64 `json:"error_N" doc:"limit of the cell's error"`
	LowN        *float64 `json:"estimate_low_N" doc:"not read: worked out from the other legs"`
	HighN       *float64 `json:"estimate_high_N"`
	Readings    int      `json:"readings"`
	Late        int      `json:"late"`
	Duplicates  int      `json:"duplicates"`
	Bad         int      `json:"bad"`
	Missed      uint64   `json:"missed"`
	PeriodS     float64  `json:"period_s"`
	SignalDBm   *float64 `json:"signal_dBm"`
	Battery     *float64 `json:"battery" doc:"share of full"`
}

// WatchStep is a step of the plan.
type WatchStep struct {
	Name string `json:"name"`
	Why  string `json:"why" doc:"the watch cannot go on to it; empty: it can"`
}

// WatchHook is what one hook carries, gross.
type WatchHook struct {
	LoadN     *float64 `json:"load_N"`
	LoadU95N  *float64 `json:"load_u95_N"`
	PeakN     *float64 `json:"peak_N"`
	PlanN     float64  `json:"plan_N"`
	Share     *float64 `json:"share" doc:"of what all hooks carry"`
	PlanShare float64  `json:"plan_share"`
	ShareLow  float64  `json:"plan_share_low" doc:"by what the plan does not know exactly"`
	ShareHigh float64  `json:"plan_share_high"`
	WarnN     *float64 `json:"warn_N"`
	StopN     *float64 `json:"stop_N" doc:"lowest of the file's own, the rating, and what the crane may carry; null: none is known"`
	StopWhy   string   `json:"stop_why" doc:"which of them"`
	Used      *float64 `json:"used" doc:"share of it"`

	OutOfPlumbDeg     *float64 `json:"out_of_plumb_deg" doc:"how far the hook pulls from straight down; null: cannot_tell says why"`
	OutOfPlumbU95Deg  *float64 `json:"out_of_plumb_u95_deg"`
	PlanOutOfPlumbDeg float64  `json:"plan_out_of_plumb_deg"`
	TowardDeg         *float64 `json:"toward_deg" doc:"the way it pulls, from +x toward +y, axes of the plan"`
	OutOfPlumbFrom    string   `json:"out_of_plumb_from" doc:"what it was told by; nothing measures it"`
	CannotTell        string   `json:"cannot_tell" doc:"empty: it can be told"`
}

// WatchExtra is a channel that is no cell.
type WatchExtra struct {
	Name  string   `json:"name"`
	Kind  string   `json:"kind"`
	Value *float64 `json:"value" doc:"null: never read"`
	Unit  string   `json:"unit" doc:"of value: m, m/s, N, rad"`
	AgeS  *float64 `json:"age_s"`
}

// WatchAlarm is an alarm that stands.
type WatchAlarm struct {
	Key      string     `json:"key" doc:"what ack and clear name it by"`
	Kind     string     `json:"kind"`
	Severity string     `json:"severity" enum:"stop,caution"`
	Title    string     `json:"title"`
	Where    string     `json:"where" doc:"channel, leg, part or hook; empty: the lift as a whole"`
	Text     string     `json:"text" doc:"what is the case and what to do"`
	Raised   time.Time  `json:"raised_at"`
	Air      bool       `json:"air" doc:"the load may be in the air, which what to do depends on"`
	Present  bool       `json:"present" doc:"its cause is there; a stop can be cleared once it is not"`
	WorstN   *float64   `json:"worst_N" doc:"null where what is judged is no force"`
	LastN    *float64   `json:"last_N"`
	LimitN   *float64   `json:"limit_N"`
	Seen     string     `json:"seen_by"`
	SeenAt   *time.Time `json:"seen_at"`
}

// WatchEvent is one change of one alarm, as the live stream tells it.
type WatchEvent struct {
	At       time.Time `json:"at"`
	Change   string    `json:"change" enum:"raised,worse,gone,back,cleared,seen,refused"`
	Key      string    `json:"key"`
	Kind     string    `json:"kind"`
	Severity string    `json:"severity" enum:"stop,caution"`
	Title    string    `json:"title"`
	Where    string    `json:"where"`
	ValueN   *float64  `json:"value_N" doc:"null where what is judged is no force"`
	LimitN   *float64  `json:"limit_N"`
	Text     string    `json:"text"`
	Who      string    `json:"who" doc:"of cleared, seen, refused"`
}

// WatchTare is a zeroing, done or refused.
type WatchTare struct {
	At      time.Time          `json:"at"`
	Kind    string             `json:"kind" doc:"hung, attached"`
	Who     string             `json:"who"`
	Insists bool               `json:"insists"`
	OffN    map[string]float64 `json:"off_N" doc:"what each channel read too much; empty when refused"`
	Refused string             `json:"refused" doc:"why it was not done; empty: done"`
}

// WatchWord is what a person said.
type WatchWord struct {
	At       time.Time `json:"at"`
	Who      string    `json:"who"`
	Verified bool      `json:"verified" doc:"signed in; else the name is only claimed"`
	Says     string    `json:"says"`
	Step     string    `json:"step" doc:"of step: the one that the lift stands after; empty: as first rigged"`
}

// WatchTug is a tug test: a person pulls one leg by hand, the rigging hanging
// free, or hangs a known load on it.
type WatchTug struct {
	At     time.Time `json:"at"`
	Who    string    `json:"who"`
	Leg    string    `json:"leg" doc:"asked for"`
	Found  string    `json:"found" doc:"leg whose cells moved; empty: none found"`
	PullN  *float64  `json:"pull_N"`
	LoadN  *float64  `json:"load_N" doc:"the known load; null: a hand"`
	ErrorN *float64  `json:"error_N" doc:"limit of the error of pull_N; null: the cells state none"`
	Result string    `json:"result" enum:"waiting,right,other leg,off,nothing" doc:"other leg: cells are swapped or another leg was pulled; off: the right leg, but the cells do not read the known load; nothing: no pull was seen"`
}

// WatchPlan holds the load in the air against the plan.
type WatchPlan struct {
	Weight       string   `json:"weight" enum:"not known,as planned,off plan"`
	PlanN        float64  `json:"plan_N" doc:"the load alone"`
	PlanLowN     float64  `json:"plan_low_N" doc:"95 in 100"`
	PlanHighN    float64  `json:"plan_high_N"`
	CG           string   `json:"cg" enum:"not known,as planned,off plan" doc:"seen from above, against the box that the plan gives"`
	Tilt         string   `json:"tilt" enum:"not known,as planned,off plan" doc:"against the limit of the plan"`
	TiltDeg      *float64 `json:"tilt_deg" doc:"of the tilt channel; null: none reads"`
	TiltLimitDeg *float64 `json:"tilt_limit_deg"`
}

// WatchZero is what a cell reads with nothing on the hook after the lift.
type WatchZero struct {
	Channel string   `json:"channel"`
	ReadN   *float64 `json:"read_N"`
	LowN    float64  `json:"low_N" doc:"what it should read at least, the rigging hung or attached"`
	HighN   float64  `json:"high_N"`
	RoomN   float64  `json:"room_N" doc:"beyond these that is no cause for doubt"`
	Match   string   `json:"match" enum:"not known,came back,off" doc:"off: look at the cell before it is used again"`
}

// WatchAway is a time without a watch.
type WatchAway struct {
	From time.Time `json:"from"`
	To   time.Time `json:"to"`
}

// WatchHello opens the live stream.
type WatchHello struct {
	Now      time.Time `json:"now" doc:"by the server's clock"`
	Title    string    `json:"title"`
	Revision string    `json:"revision"`
	SHA256   string    `json:"sha256" doc:"of the lift file"`
	Cautions string    `json:"cautions"`
	BeatS    float64   `json:"beat_s" doc:"a beat comes at least so often; where none does the link is gone"`
	Page     string    `json:"page" doc:"changes when the server's pages do: load them again"`
}

// WatchBeat says that the link is there.
type WatchBeat struct {
	Now time.Time `json:"now"`
}

// Health is how the parts of the server do.
type Health struct {
	Ready bool         `json:"ready"`
	Parts []HealthPart `json:"parts"`
}

// HealthPart is one of them: recording, bus, a gateway, the disk.
type HealthPart struct {
	Name  string `json:"name"`
	State string `json:"state" enum:"ok,at risk,down"`
	Text  string `json:"text"`
}

// NewUnit finds how finely the readings of a plan are worth showing: by the
// smallest step that is no finer than what the coarsest cell may be off, where
// a step is 1, 2 or 5 times a power of ten, as on scales (OIML R 76, from
// memory). Cells that state no accuracy count as 0.2 % of what they must read
// (common practice, no source).
func NewUnit(p *verdict.Plan, out Readout) WatchUnit {
	off := 0.0
	for i := range p.States[0].Expected {
		x := &p.States[0].Expected[i]
		e := x.Cell.Error + x.Cell.ErrorShare*math.Abs(x.NominalN)
		if e == 0 {
			e = 0.002 * math.Abs(x.NominalN)
		}
		off = max(off, e)
	}
	u := WatchUnit{Readout: out, Step: 1}
	if off > 0 {
		off /= out.NewtonsPer
		ten := math.Floor(math.Log10(off))
		for _, of := range []float64{1, 2, 5, 10} {
			if u.Step = of * math.Pow(10, ten); u.Step >= off*(1-1e-9) {
				break
			}
		}
		u.Decimals = max(0, -int(math.Floor(math.Log10(u.Step)+1e-9)))
	}
	return u
}

// NewWatch shapes a view.
func NewWatch(v *watch.View, unit WatchUnit) Watch {
	w := Watch{
		At: v.At.Time(), N: v.N, State: string(v.State), Do: v.Do, Unit: unit,
		Phase: string(v.Phase), PhaseS: v.Since,
		TotalN: finite(v.TotalN), TotalErrorN: finite(v.TotalU), Estimated: v.Guessed, TotalStopN: finite(v.StopN), Used: finite(v.Used),
		LoadAtLeast: v.AtLeast, Diagnosis: Causes(v.Says), WouldTell: v.Tell,
		Cells: []WatchCell{}, Hooks: map[string]WatchHook{}, Step: v.Step, Steps: []WatchStep{}, Extras: []WatchExtra{}, Alarms: []WatchAlarm{}, Phases: []ReplayPhase{},
		Tares: []WatchTare{}, Words: []WatchWord{}, Tugs: []WatchTug{}, Zeros: []WatchZero{}, Away: []WatchAway{},
		Garbled: v.Garbled, Unplanned: v.Unknown, AtRisk: v.AtRisk,
	}
	if w.TotalN != nil && w.TotalStopN != nil {
		w.TotalUsed = finite(v.TotalN / v.StopN)
	}
	// Before there is an explanation weight and place are zero, which no load is.
	if n := finite(v.LoadN); n != nil && v.LoadN != 0 {
		w.LoadN, w.LoadU95N = n, finite(v.LoadU95)
		if !math.IsNaN(v.CG[0] + v.CG[1] + v.CG[2]) {
			cg, u := v.CG, v.CGU95
			w.CGM, w.CGU95M = &cg, &u
		}
	}
	worst := 0.0
	for i := range v.Cells {
		c := newWatchCell(&v.Cells[i])
		if c.Used != nil && *c.Used > worst {
			worst, w.Worst = *c.Used, c.Channel
		}
		if c.AgeS != nil {
			w.AgeS = finite(v.AgeS)
		}
		w.Cells = append(w.Cells, c)
	}
	for i := range v.Hooks {
		w.Hooks[v.Hooks[i].Name] = newWatchHook(&v.Hooks[i])
	}
	for i := range v.Stages {
		if i > 0 { // the first is the lift as first rigged
			w.Steps = append(w.Steps, WatchStep(v.Stages[i]))
		}
	}
	for _, x := range v.Extras {
		e := WatchExtra{Name: x.Name, Kind: x.Kind, Value: finite(x.Value), Unit: extraUnits[x.Kind]}
		if e.Value != nil {
			e.AgeS = finite(x.AgeS)
		}
		w.Extras = append(w.Extras, e)
	}
	for i := range v.Alarms {
		w.Alarms = append(w.Alarms, newWatchAlarm(&v.Alarms[i]))
	}
	for i, p := range v.Passed {
		if i == len(v.Passed)-1 {
			w.Evidence = p.Evidence
		}
		w.Phases = append(w.Phases, ReplayPhase{string(p.Phase), p.FromS, p.ToS, p.Evidence})
	}
	for _, t := range v.Tares {
		n := WatchTare{At: t.At.Time(), Kind: string(t.Kind), Who: t.Who, Insists: t.Insists, OffN: map[string]float64{}, Refused: t.Refused}
		for i, off := range t.OffN {
			if t.Refused == "" && i < len(v.Cells) && finite(off) != nil {
				n.OffN[v.Cells[i].Channel] = off
			}
		}
		w.Tares = append(w.Tares, n)
	}
	for _, x := range v.Words {
		w.Words = append(w.Words, WatchWord{x.At.Time(), x.Who, x.Signed, x.Says, x.Step})
	}
	for i := range v.Pulls {
		w.Tugs = append(w.Tugs, newWatchTug(&v.Pulls[i]))
	}
	p := &v.Against
	w.Plan = WatchPlan{
		Weight: matched(p.Weight), PlanN: p.PlanN, PlanLowN: p.PlanLow, PlanHighN: p.PlanHigh, CG: matched(p.CG), Tilt: matched(p.Tilt),
		TiltDeg: finite(degrees(p.TiltRad)), TiltLimitDeg: finite(degrees(p.TiltLimit)),
	}
	for i := range v.Backs {
		b := &v.Backs[i]
		z := WatchZero{Channel: b.Channel, ReadN: finite(b.ReadN), LowN: b.Low, HighN: b.High, RoomN: b.Room}
		z.Match = map[watch.Match]string{watch.Unknown: "not known", watch.Fits: "came back", watch.Off: "off"}[b.Match]
		w.Zeros = append(w.Zeros, z)
	}
	for _, a := range v.Away {
		w.Away = append(w.Away, WatchAway{a.From.Time(), a.To.Time()})
	}
	if w.Unplanned == nil {
		w.Unplanned = map[string]int{}
	}
	return w
}

func matched(m watch.Match) string {
	if m == watch.Unknown {
		return "not known"
	}
	return string(m)
}

func newWatchTug(p *watch.Pulled) WatchTug {
	t := WatchTug{At: p.At.Time(), Who: p.Who, Leg: p.Leg, Found: p.Found, Result: "waiting"}
	if p.LoadN > 0 {
		t.LoadN = &p.LoadN
	}
	if p.Found != "" {
		t.PullN, t.ErrorN = finite(p.PullN), stated(p.ErrorN)
	}
	switch {
	case !p.Over:
	case p.Found == "":
		t.Result = "nothing"
	case p.Found != p.Leg:
		t.Result = "other leg"
	case p.Reads() == watch.Off:
		t.Result = "off"
	default:
		t.Result = "right"
	}
	return t
}

var extraUnits = map[string]string{"hook height": "m", "wind speed": "m/s", "crane total": "N", "tilt": "rad"}

func newWatchCell(c *watch.CellView) WatchCell {
	w := WatchCell{
		Channel: c.Channel, Leg: c.Leg, Quality: string(c.Quality),
		PlanLowN: c.PlanLow, PlanN: c.PlanN, PlanHighN: c.PlanHigh, WarnN: finite(c.WarnN), StopN: finite(c.StopN),
		PlanShare: c.PlanShare, PeakAtLeast: c.AtLeast, Readings: c.Got, Late: c.Late, Duplicates: c.Twice, Bad: c.Bad, Missed: c.Missed,
		PeriodS: c.PeriodS, SignalDBm: finite(c.Signal), Battery: finite(c.Battery),
	}
	if c.Estimate {
		w.LowN, w.HighN = finite(c.EstimateLowN), finite(c.EstimateHighN)
	}
	if c.Got == 0 {
		return w // what has never been read has no numbers
	}
	w.AgeS, w.ReadN, w.GrossN, w.NetN = finite(c.AgeS), finite(c.ReadN), finite(c.GrossN), finite(c.NetN)
	w.SlowN, w.PeakN, w.ErrorN = finite(c.SlowN), finite(c.PeakN), finite(c.ErrorN)
	w.Share, w.RateN, w.LeftS = finite(c.Share), finite(c.RateN), finite(c.LeftS)
	if w.StopN != nil {
		w.Used = finite(c.Used)
	}
	return w
}

func newWatchHook(h *watch.HookView) WatchHook {
	const deg = 180 / math.Pi
	w := WatchHook{
		PlanN: h.PlanN, PlanShare: h.PlanShare, ShareLow: h.ShareLow, ShareHigh: h.ShareHigh, WarnN: finite(h.WarnN), StopN: finite(h.StopN), StopWhy: h.StopWhy,
		PlanOutOfPlumbDeg: h.Plumb.PlanLean * deg, OutOfPlumbFrom: h.Plumb.From, CannotTell: h.Plumb.CannotTell,
	}
	if w.LoadN = finite(h.LoadN); w.LoadN != nil {
		w.LoadU95N, w.PeakN, w.Share = finite(h.LoadU95), finite(h.PeakN), finite(h.Share)
		if w.StopN != nil {
			w.Used = finite(h.Used)
		}
	}
	if w.CannotTell == "" {
		w.OutOfPlumbDeg, w.OutOfPlumbU95Deg = finite(h.Plumb.Lean*deg), finite(h.Plumb.U95*deg)
		w.TowardDeg = finite(math.Atan2(h.Plumb.Toward[1], h.Plumb.Toward[0]) * deg)
	}
	return w
}

func newWatchAlarm(a *alarm.Alarm) WatchAlarm {
	w := WatchAlarm{
		Key: a.Key.String(), Kind: string(a.Kind), Severity: string(a.Severity), Title: title(a.Kind), Where: a.Where, Text: a.Text,
		Raised: a.At.Time(), Air: a.Air, Present: a.Present, Seen: a.Seen,
	}
	if a.Kind.IsForce() {
		w.WorstN, w.LastN, w.LimitN = finite(a.Value), finite(a.LastValue), limit(a.Limit)
	}
	if a.Seen != "" {
		w.SeenAt = moment(a.SeenAt)
	}
	return w
}

// NewEvent shapes one change of an alarm.
func NewEvent(e *alarm.Event) WatchEvent {
	w := WatchEvent{
		At: e.At.Time(), Change: string(e.Change), Key: alarm.Key{Kind: e.Kind, Where: e.Where}.String(),
		Kind: string(e.Kind), Severity: string(e.Severity), Title: title(e.Kind), Where: e.Where, Text: e.Text, Who: e.Who,
	}
	if e.Kind.IsForce() {
		w.ValueN, w.LimitN = finite(e.Value), limit(e.Limit)
	}
	return w
}

// limit is nil where an alarm has none.
func limit(n float64) *float64 {
	if n == 0 {
		return nil
	}
	return finite(n)
}

func title(k alarm.Kind) string {
	if s := alarm.Of(k); s != nil {
		return s.Title
	}
	return string(k)
}

func moment(s reading.Stamp) *time.Time {
	t := s.Time()
	return &t
}
