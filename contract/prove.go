package contract

import (
	"time"

	"plumbhook/prove"
	"plumbhook/quantity"
	"plumbhook/reading"
	"plumbhook/verdict"
)

// Prove is the answer of `prove --format json`: a proof test or a pull, worked out
// beforehand and, with readings, judged. Times are seconds on the readings' clock.
type Prove struct {
	Title       string         `json:"title"`
	Revision    string         `json:"revision"`
	Place       string         `json:"place"`
	Date        string         `json:"date"`
	SHA256      string         `json:"sha256"`  // of the test file
	Verdict     string         `json:"verdict"` // holds, incomplete, fails
	Sentence    string         `json:"sentence"`
	Cautions    string         `json:"cautions"`
	Start       bool           `json:"may_start"` // as far as was checked
	Missing     []string       `json:"not_assessed"`
	Findings    []ProveFinding `json:"findings"`
	Rule        ProveRule      `json:"rule"`
	Item        ProvePiece     `json:"item"`
	Load        ProveLoad      `json:"load"`
	Uncertainty Uncertain      `json:"uncertainty_N"` // of a reading at the upper end
	Decision    string         `json:"decision_rule"`
	Risk        float64        `json:"greatest_risk"` // that an accepted load was not reached
	Cell        ProveCell      `json:"cell"`
	Criterion   *ProveWord     `json:"criterion"`      // null: the rule is enough
	Simple      *string        `json:"simple_by"`      // null: guarded acceptance
	GapS        float64        `json:"greatest_gap_s"` // from one reading to the next
	Conditions  []ProveState   `json:"conditions"`
	Checks      []ProveCheck   `json:"checks"`
	Stretch     *ProveStretch  `json:"stretch"` // null: no line is stated
	ZoneM       *float64       `json:"zone_m"`  // from every part of the line; null: not known
	Course      *ProveCourse   `json:"course"`  // null: no readings
}

// ProveFinding is what a reader must be told.
type ProveFinding struct {
	Severity string `json:"severity"` // stop, caution, note
	Where    string `json:"where"`
	Text     string `json:"text"`
	Missing  bool   `json:"missing"` // not known to be wrong: something is not there
}

// ProveRule is what the test is made under.
type ProveRule struct {
	Name     string   `json:"name"`
	Kind     string   `json:"kind"` // proof, engineer, pull, guy
	Source   string   `json:"source"`
	Standing string   `json:"standing"` // how far its figures were verified
	HoldS    float64  `json:"hold_s"`
	Witness  []string `json:"witness"` // what a person has to see
}

// ProveCell is what was measured with.
type ProveCell struct {
	Channel    string  `json:"channel"`
	Serial     string  `json:"serial"`
	CapacityN  float64 `json:"capacity_N"`
	Calibrated *string `json:"calibrated"`
	Due        *string `json:"due"`
	OverrideBy *string `json:"override_by"`
}

// ProveWord is what an engineer asks for.
type ProveWord struct {
	By   string `json:"by"`
	Text string `json:"text"`
}

// ProveState is a condition of the day as it was stated.
type ProveState struct {
	Name string  `json:"name"`
	Low  float64 `json:"low"`
	High float64 `json:"high"`
	Unit string  `json:"unit"`
}

// ProvePiece is an item or a piece of gear; null is not stated.
type ProvePiece struct {
	Name    string   `json:"name"`
	Serial  string   `json:"serial"`
	RatingN *float64 `json:"rating_N"`
	ProofN  *float64 `json:"maker_proof_N"`
}

// ProveLoad is the load and the readings that count as reaching it.
type ProveLoad struct {
	AskedN      *float64 `json:"asked_N"` // by the rule; null: it sets none
	TargetN     float64  `json:"target_N"`
	LowN        float64  `json:"low_N"`
	HighN       *float64 `json:"high_N"` // null: no upper end
	CountsFromN float64  `json:"counts_from_N"`
	CountsToN   *float64 `json:"counts_to_N"`
	OvershootN  float64  `json:"overshoot_N"`
	GearBearsN  float64  `json:"gear_must_bear_N"`
}

// ProveCheck is one piece against the greatest force of the test.
type ProveCheck struct {
	ProvePiece
	ForceN  float64 `json:"force_N"`
	Outcome string  `json:"outcome"`
}

// ProveStretch is what the pulled line stores.
type ProveStretch struct {
	LongerM float64 `json:"longer_m"`
	EnergyJ float64 `json:"energy_J"`
	HeightM float64 `json:"tonne_falls_m"` // from which a tonne would have as much
}

// ProveCourse is what was read.
type ProveCourse struct {
	Phase       string       `json:"phase"`
	Events      []ProveEvent `json:"events"`
	Hold        *ProveHold   `json:"hold"` // null: the band was not reached, or a mean counts
	Mean        *ProveMean   `json:"mean"` // null: none is whole, or a hold counts
	LongestS    float64      `json:"longest_s"`
	Restarts    int          `json:"restarts"`
	PeakN       *float64     `json:"peak_N"`
	PeakS       *float64     `json:"peak_s"`
	PeakAtLeast bool         `json:"peak_at_least"`
	BeforeN     *float64     `json:"zero_before_N"`
	AfterN      *float64     `json:"zero_after_N"`
	Moves       []ProveMove  `json:"movement"`
	Trace       ProveTrace   `json:"trace"`
	Late        int          `json:"late"`
	Garbled     []string     `json:"garbled"`
	AbortedBy   *string      `json:"aborted_by"`
	AbortedWhy  *string      `json:"aborted_why"`
}

// ProveEvent is something that happened.
type ProveEvent struct {
	TS       float64 `json:"t_s"`
	Kind     string  `json:"kind"`
	Severity string  `json:"severity"`
	Text     string  `json:"text"`
	Who      string  `json:"who"`
}

// ProveHold is a hold.
type ProveHold struct {
	FromS            float64 `json:"from_s"`
	ToS              float64 `json:"to_s"`
	Seconds          float64 `json:"seconds"`
	LowestN          float64 `json:"lowest_N"`
	MostN            float64 `json:"greatest_N"`
	MeanN            float64 `json:"mean_N"`
	DriftN           float64 `json:"drift_N"`
	ChanceNotReached float64 `json:"chance_not_reached"`
	ChanceAbove      float64 `json:"chance_above"`
}

// ProveMean is the mean that counts.
type ProveMean struct {
	ToS     float64 `json:"to_s"`
	MeanN   float64 `json:"mean_N"`
	U95N    float64 `json:"u95_N"`
	LowestN float64 `json:"lowest_N"`
	MostN   float64 `json:"greatest_N"`
}

// ProveTrace is the force over time: lowest and greatest reading from each moment on.
// Where nothing was read there is no moment.
type ProveTrace struct {
	WidthS float64   `json:"width_s"`
	TS     []float64 `json:"t_s"`
	LowN   []float64 `json:"lowest_N"`
	HighN  []float64 `json:"greatest_N"`
}

// ProveMove is what a gauge showed; null: no reading tells, or no limit is set.
type ProveMove struct {
	Name      string   `json:"name"`
	GreatestM *float64 `json:"greatest_m"`
	InHoldM   *float64 `json:"in_hold_m"`
	AfterM    *float64 `json:"after_m"`
	AccuracyM *float64 `json:"accuracy_m"`
	MostM     *float64 `json:"greatest_limit_m"`
	HoldMostM *float64 `json:"in_hold_limit_m"`
	StaysM    *float64 `json:"after_limit_m"`
}

// NewProve shapes a test worked out beforehand.
func NewProve(p *prove.Plan, sentence string) Prove {
	out := Prove{
		Title: p.Title, Revision: p.Revision, Place: p.Place, Date: p.Date.Format(time.DateOnly), SHA256: p.SHA256,
		Verdict: string(p.Outcome), Sentence: sentence, Cautions: verdict.Cautions, Start: p.Start,
		Missing: append([]string{}, p.NotAssessed...), Findings: proveFindings(p.Findings),
		Rule: ProveRule{p.Rule.Name, string(p.Rule.Kind), p.Rule.Source, string(p.Rule.Standing), p.Hold, append([]string{}, p.Rule.Witness...)},
		Item: ProvePiece{p.Item.Name, p.Item.Serial, stated(p.Item.Rating), stated(p.Item.Proof)},
		Load: ProveLoad{stated(p.Asked), p.Target, p.Low, finite(p.High), p.AcceptLow, finite(p.AcceptHigh), p.Most, p.Need},
		Uncertainty: Uncertain{
			Value: p.Target, Standard: p.Budget.U(), U95: p.U.U, K: p.U.K, DoF: finite(p.U.DoF), Budget: newBudget(p.Budget),
		},
		Decision: p.Decision(), Risk: p.Risk, Checks: []ProveCheck{}, ZoneM: stated(p.Zone),
		Cell: ProveCell{Channel: p.Cell.Channel, Serial: p.Cell.Serial, CapacityN: p.Cell.Accuracy.Capacity, Calibrated: dayOrNull(p.Cell.Calibrated), Due: dayOrNull(p.Cell.Due)},
		GapS: p.Gap, Conditions: proveConditions(&p.Conditions),
	}
	if o := p.Cell.Override; o != nil {
		out.Cell.OverrideBy = &o.By
	}
	if c := p.Criterion; c != nil {
		out.Criterion = &ProveWord{c.By, c.Text}
	}
	if p.Simple {
		out.Simple = &p.SimpleBy
	}
	for _, c := range p.Checks {
		out.Checks = append(out.Checks, ProveCheck{ProvePiece{c.Where, c.Serial, stated(c.Rating), stated(c.Proof)}, c.Force, string(c.Outcome)})
	}
	if s := p.Stretch; s != nil {
		out.Stretch = &ProveStretch{s.Longer, s.Energy, s.Height}
	}
	return out
}

// NewProved shapes a test that was read. zero is the moment from which its seconds
// count.
func NewProved(r *prove.Result, events []prove.Event, garbled []string, zero reading.Stamp, sentence string) Prove {
	out := NewProve(r.Plan, sentence)
	out.Verdict, out.Missing, out.Findings = string(r.Outcome), append([]string{}, r.NotAssessed...), proveFindings(r.Findings)
	c := &ProveCourse{
		Phase: string(r.Phase), Events: []ProveEvent{}, LongestS: r.Longest, Restarts: r.Restarts, PeakAtLeast: r.PeakAtLeast,
		BeforeN: r.Before, AfterN: r.After, Moves: []ProveMove{}, Late: r.Late, Garbled: append([]string{}, garbled...),
	}
	out.Course = c
	since := func(s reading.Stamp) float64 { return s.Since(zero) }
	for _, e := range events {
		c.Events = append(c.Events, ProveEvent{since(e.At), string(e.Kind), string(e.Severity), e.Text, e.Who})
	}
	if h := r.Hold; h != nil {
		c.Hold = &ProveHold{since(h.From), since(h.Through), h.Seconds, h.Lowest, h.Most, h.Mean, h.Drift, h.ChanceNotReached, h.ChanceAbove}
	}
	if m := r.Mean; m != nil {
		c.Mean = &ProveMean{since(m.Through), m.Mean, r.U.U, m.Lowest, m.Most}
	}
	if r.Seen {
		c.PeakN, c.PeakS = &r.Peak, new(since(r.PeakAt))
	}
	c.Trace = ProveTrace{r.Trace.Width, []float64{}, []float64{}, []float64{}}
	for _, b := range r.Trace.Bars {
		c.Trace.TS, c.Trace.LowN, c.Trace.HighN = append(c.Trace.TS, since(b.At)), append(c.Trace.LowN, b.Low), append(c.Trace.HighN, b.High)
	}
	for _, m := range r.Moves {
		c.Moves = append(c.Moves, ProveMove{m.Name, m.Greatest, m.InHold, m.After, stated(m.Accuracy), stated(m.Most), stated(m.Move.InHold), stated(m.Stays)})
	}
	if r.AbortedBy != "" {
		c.AbortedBy, c.AbortedWhy = &r.AbortedBy, &r.AbortedWhy
	}
	return out
}

func proveConditions(c *prove.Conditions) []ProveState {
	out := []ProveState{}
	speed := func(name string, m *quantity.Measured[quantity.Speed]) {
		if m != nil {
			out = append(out, ProveState{name, float64(m.Low), float64(m.High), "m/s"})
		}
	}
	length := func(name string, m *quantity.Measured[quantity.Length]) {
		if m != nil {
			out = append(out, ProveState{name, float64(m.Low), float64(m.High), "m"})
		}
	}
	speed("wind", c.Wind)
	speed("current", c.Current)
	length("depth", c.Depth)
	length("line", c.Line)
	length("draught", c.Draught)
	length("vessel", c.Vessel)
	if t := c.Temperature; t != nil {
		out = append(out, ProveState{"temperature", float64(t.Low), float64(t.High), "K"})
	}
	return out
}

func proveFindings(all []prove.Finding) []ProveFinding {
	out := []ProveFinding{}
	for _, f := range all {
		out = append(out, ProveFinding{string(f.Severity), f.Where, f.Text, f.Missing})
	}
	return out
}
