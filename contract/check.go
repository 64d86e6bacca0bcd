// Package contract holds the JSON that the command line and the HTTP API
// share. Numbers are SI and unrounded, every field says its unit, lists are
// never null. The domain packages carry no JSON tags; what leaves the
// program is shaped here and nowhere else.
package contract

import (
	"math"

	"plumbhook/lift"
	"plumbhook/verdict"
)

// Check is the answer of `check --format json`: the lift as first rigged,
// with one entry of the same shape per step.
type Check struct {
	Title    string `json:"title"`
	Revision string `json:"revision"`
	SHA256   string `json:"sha256"` // of the lift file
	Cautions string `json:"cautions"`
	Sheet    Sheet  `json:"sheet"`
	State
	Envelope []Extreme `json:"envelope"` // most every part bears, over first rig and steps
	Steps    []Step    `json:"steps"`
}

// Extreme is the most one part bears.
type Extreme struct {
	Part
	Step string `json:"step"` // after which; empty: as first rigged
}

// Step is the state after a step.
type Step struct {
	Name string `json:"name"`
	State
}

// State is one equilibrium and what was found about it.
type State struct {
	Verdict            string             `json:"verdict"` // holds, fails, incomplete; of a step: of that step
	NotAssessed        int                `json:"not_assessed"`
	NotAssessedReasons []string           `json:"not_assessed_reasons"`
	Stable             bool               `json:"stable"`
	StabilityM         *float64           `json:"stability_m"` // null: no rise of the CG loses the pose
	Weight             Weight             `json:"weight"`      // the load alone
	CGM                [3]float64         `json:"cg_m"`        // load axes
	HeadroomM          float64            `json:"headroom_m"`
	DynamicFactor      float64            `json:"dynamic_factor"`
	Legs               map[string]Leg     `json:"legs"`
	Bodies             map[string]Body    `json:"bodies"`
	Hooks              map[string]Hook    `json:"hooks"`
	Nodes              map[string]Node    `json:"nodes"`
	Supports           map[string]Support `json:"supports"`
	Ties               map[string]Tie     `json:"ties"`
	Cranes             map[string]Crane   `json:"cranes"` // by the hook they carry
	Forces             []Force            `json:"forces"`
	Compression        []Compression      `json:"compression"`
	Parts              []Part             `json:"parts"`
	PartsChecked       int                `json:"parts_checked"`
	Expected           []Expected         `json:"expected"`
	Findings           []Finding          `json:"findings"`
	Uncertainty        []Uncertainty      `json:"uncertainty"`
}

// Uncertainty is what the unknowns do to one force.
type Uncertainty struct {
	Where  string   `json:"where"`
	P5N    float64  `json:"p5_N"`
	P50N   float64  `json:"p50_N"`
	P95N   float64  `json:"p95_N"`
	LimitN *float64 `json:"limit_N"`     // weakest rating over the dynamic factor
	Chance *float64 `json:"chance_over"` // share of the ways the figures may turn out that pass it
	Inputs []Share  `json:"inputs"`      // largest first
}

// Share is how much of the variance an input explains by itself.
type Share struct {
	Input string  `json:"input"`
	Share float64 `json:"share"`
}

// Weight of the load alone.
type Weight struct {
	NominalN float64 `json:"nominal_N"`
	P5N      float64 `json:"p5_N"`
	P95N     float64 `json:"p95_N"`
}

// Sheet is the weight take-off.
type Sheet struct {
	MassKg      float64    `json:"mass_kg"` // contingency included
	LowKg       float64    `json:"low_kg"`  // 95 % band
	HighKg      float64    `json:"high_kg"`
	WorstLowKg  float64    `json:"worst_low_kg"`
	WorstHighKg float64    `json:"worst_high_kg"`
	ListedKg    float64    `json:"listed_kg"` // before contingency
	Contingency float64    `json:"contingency"`
	CGLowM      [3]float64 `json:"cg_low_m"` // box that holds the CG
	CGHighM     [3]float64 `json:"cg_high_m"`
	Lines       []Line     `json:"lines"`
}

// Line is one part of the take-off.
type Line struct {
	Name    string     `json:"name"`
	MassKg  float64    `json:"mass_kg"`
	LowKg   float64    `json:"low_kg"`
	HighKg  float64    `json:"high_kg"`
	AtM     [3]float64 `json:"at_m"`
	Counted bool       `json:"counted"`
	How     string     `json:"how"`
	From    string     `json:"from"`
}

// Leg is one leg under load.
type Leg struct {
	TensionN          float64   `json:"tension_N"` // upper end; a via leg: its greatest span
	LowerN            float64   `json:"lower_N"`
	P95N              float64   `json:"p95_N"` // static
	WorstN            *float64  `json:"worst_N"`
	FromHorizontalDeg float64   `json:"from_horizontal_deg"`
	FromVerticalDeg   float64   `json:"from_vertical_deg"`
	Slack             bool      `json:"slack"`
	Utilisation       *float64  `json:"utilisation"` // p95 x dynamic factor / WLL
	WLLN              *float64  `json:"wll_N"`
	SlipN             []float64 `json:"slip_N"` // least and greatest span over both slip limits; empty without friction
}

// Body is the load or a spreader in its pose.
type Body struct {
	CGM        [3]float64 `json:"cg_m"` // world
	TiltDeg    float64    `json:"tilt_deg"`
	LowSideDeg *float64   `json:"low_side_deg"`
}

// Hook is what a hook carries.
type Hook struct {
	LoadN float64    `json:"load_N"`
	AtM   [3]float64 `json:"at_m"`
}

// Node is a ring or link in place.
type Node struct {
	LoadN float64    `json:"load_N"`
	AtM   [3]float64 `json:"at_m"`
}

// Support is what one-way ground carries.
type Support struct {
	ForceN [3]float64 `json:"force_N"` // ground on body
	Off    bool       `json:"off"`
}

// Tie is what holds a body to the ground.
type Tie struct {
	TensionN float64 `json:"tension_N"`
}

// Force is what the legs put on one point, or on a hook.
type Force struct {
	Where  string     `json:"where"`
	ForceN [3]float64 `json:"force_N"` // world
	AtM    [3]float64 `json:"at_m"`
}

// Compression is the push between two points of a body.
type Compression struct {
	Body    string    `json:"body"`
	Between [2]string `json:"between"`
	ForceN  float64   `json:"force_N"`
}

// Part is one piece of rigging against its rating.
type Part struct {
	Where       string   `json:"where"`
	Kind        string   `json:"kind"`
	Serial      string   `json:"serial"`
	DemandN     float64  `json:"demand_N"`
	LimitN      *float64 `json:"limit_N"`
	Utilisation *float64 `json:"utilisation"`
	Status      string   `json:"status"`
}

// Expected is what a cell must read once the load hangs.
type Expected struct {
	Channel  string  `json:"channel"`
	Leg      string  `json:"leg"`
	LowN     float64 `json:"low_N"`
	NominalN float64 `json:"nominal_N"`
	HighN    float64 `json:"high_N"`
	// 95 readings in 100 have every cell of the plan within these at once.
	JointLowN  float64 `json:"joint_low_N"`
	JointHighN float64 `json:"joint_high_N"`
}

// Finding is one thing to say about the plan.
type Finding struct {
	Severity string   `json:"severity"`
	Rule     string   `json:"rule"`
	Source   string   `json:"source"`
	Where    string   `json:"where"`
	Text     string   `json:"text"`
	Demand   *float64 `json:"demand"`
	Limit    *float64 `json:"limit"`
	Unit     string   `json:"unit"`
}

// NewCheck shapes a checked plan.
func NewCheck(p *verdict.Plan) Check {
	c := Check{
		Title: p.Lift.Title, Revision: p.Lift.Revision, SHA256: p.Lift.SHA256,
		Cautions: verdict.Cautions, Sheet: sheet(p), State: state(p, &p.States[0]), Steps: []Step{},
	}
	c.Verdict = string(p.Outcome)
	c.NotAssessed = p.NotAssessed
	c.Envelope = []Extreme{}
	for _, e := range p.Envelope() {
		c.Envelope = append(c.Envelope, Extreme{newPart(e.Part), e.Step})
	}
	for i := range p.States[1:] {
		s := &p.States[1+i]
		c.Steps = append(c.Steps, Step{Name: s.Hung.Step, State: state(p, s)})
	}
	return c
}

func sheet(p *verdict.Plan) Sheet {
	t := &p.Sheet
	s := Sheet{
		MassKg: float64(t.Mass.Value), LowKg: float64(t.Mass.Low), HighKg: float64(t.Mass.High),
		WorstLowKg: float64(t.WorstLow), WorstHighKg: float64(t.WorstHigh), ListedKg: float64(t.Listed),
		Contingency: float64(p.Lift.Load.Sheet.Contingency), CGLowM: t.CGLow, CGHighM: t.CGHigh, Lines: []Line{},
	}
	for _, l := range t.Lines {
		s.Lines = append(s.Lines, Line{
			Name: l.Name, MassKg: float64(l.Mass.Value), LowKg: float64(l.Mass.Low), HighKg: float64(l.Mass.High),
			AtM: l.At.XYZ(), Counted: l.Counted, How: l.How, From: l.From,
		})
	}
	return s
}

func degrees(r float64) float64 { return r * 180 / math.Pi }

func state(p *verdict.Plan, v *verdict.State) State {
	h := v.Hung
	s := State{
		Verdict: string(v.Outcome), NotAssessed: len(v.NotAssessed), NotAssessedReasons: append([]string{}, v.NotAssessed...),
		Stable: h.Stable, StabilityM: h.StabilityM,
		Weight: Weight{h.WeightN, v.Spread.Weight.P5, v.Spread.Weight.P95},
		CGM:    h.CGLoad, HeadroomM: h.HeadroomM, DynamicFactor: p.Dynamic,
		Legs: map[string]Leg{}, Bodies: map[string]Body{}, Hooks: map[string]Hook{}, Nodes: map[string]Node{},
		Supports: map[string]Support{}, Ties: map[string]Tie{}, Cranes: map[string]Crane{},
		Forces: []Force{}, Compression: []Compression{}, Parts: []Part{},
		Expected: []Expected{}, Findings: []Finding{},
	}
	for i := range h.Legs {
		l := &h.Legs[i]
		s.Legs[l.Name] = Leg{
			TensionN: l.TensionN, LowerN: l.LowerN, P95N: v.P95[l.Name], WorstN: l.WorstN,
			FromHorizontalDeg: degrees(l.FromHorizontal), FromVerticalDeg: degrees(l.FromVertical),
			Slack: l.Slack, Utilisation: v.Utilisation[l.Name], WLLN: l.WLLN, SlipN: slip(l),
		}
	}
	for i := range h.Bodies {
		b := &h.Bodies[i]
		out := Body{CGM: b.CG, TiltDeg: degrees(b.Tilt)}
		if b.LowSide != nil {
			d := degrees(*b.LowSide)
			out.LowSideDeg = &d
		}
		s.Bodies[b.Name] = out
		for _, lug := range points(p.Lift, b.Name) {
			if f, ok := b.Forces[lug.Name]; ok {
				s.Forces = append(s.Forces, Force{b.Name + "." + lug.Name, f, b.Points[lug.Name]})
			}
		}
	}
	for _, k := range h.Hooks {
		s.Hooks[k.Name] = Hook{k.LoadN, k.At}
		s.Forces = append(s.Forces, Force{k.Name, k.Force, k.At})
	}
	for _, n := range h.Nodes {
		s.Nodes[n.Name] = Node{n.LoadN, n.At}
	}
	for _, k := range h.Supports {
		s.Supports[k.Name] = Support{k.Force, k.Off}
	}
	for _, t := range h.Ties {
		s.Ties[t.Name] = Tie{t.TensionN}
	}
	for i := range v.Machines {
		s.Cranes[v.Machines[i].Hook] = newCrane(&v.Machines[i])
	}
	for _, q := range h.Squeeze {
		s.Compression = append(s.Compression, Compression{q.Body, [2]string{q.A, q.B}, q.ForceN})
	}
	for _, q := range v.Parts {
		// A leg without a stack answers in legs; parts are pieces of gear.
		if q.Kind != verdict.BareLeg {
			s.Parts = append(s.Parts, newPart(q))
		}
	}
	for _, e := range v.Expected {
		s.Expected = append(s.Expected, newExpected(e))
	}
	for _, f := range v.Findings {
		s.Findings = append(s.Findings, Finding{string(f.Severity), f.Rule, f.Source, f.Where, f.Text, f.Demand, f.Limit, f.Unit})
	}
	s.PartsChecked = len(s.Parts)
	s.Uncertainty = []Uncertainty{}
	for _, m := range p.Matters(v) {
		u := Uncertainty{m.Where, m.Band.P5, m.Band.P50, m.Band.P95, m.LimitN, m.Chance, []Share{}}
		for _, i := range m.Shares {
			u.Inputs = append(u.Inputs, Share{i.Input.Name, i.Index})
		}
		s.Uncertainty = append(s.Uncertainty, u)
	}
	return s
}

func newExpected(e verdict.Expected) Expected {
	return Expected{e.Channel, e.Leg, e.LowN, e.NominalN, e.HighN, e.JointLowN, e.JointHighN}
}

func newPart(q verdict.Part) Part {
	return Part{q.Where, q.Kind, q.Serial, q.DemandN, q.LimitN, q.Utilisation, string(q.Status)}
}

func points(l *lift.Lift, body string) []lift.Lug {
	if body == "load" {
		return l.Load.Lugs
	}
	for i := range l.Spreaders {
		if l.Spreaders[i].Name == body {
			return l.Spreaders[i].Points
		}
	}
	return nil
}

func slip(l *lift.HungLeg) []float64 {
	if l.SlipLow == nil {
		return []float64{}
	}
	least, most := l.Slip()
	return []float64{least, most}
}
