// Package verdict answers the one question a plan is checked for: does it
// hold, as far as it could be checked?
//
// It hangs the lift and its steps, lets the unknowns spread, holds every
// rated part against its demand and gathers the findings. It decides nothing
// that a competent person has to decide, and says with every verdict what it
// did not assess.
package verdict

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"plumbhook/lift"
	"plumbhook/quantity"
	"plumbhook/spread"
	"plumbhook/takeoff"
)

// Outcome is the verdict in one word.
type Outcome string

// Holds means: every assessed part holds. Incomplete means: nothing fails,
// but something that must be known is missing.
const (
	Holds      Outcome = "holds"
	Fails      Outcome = "fails"
	Incomplete Outcome = "incomplete"
)

// Severity grades a finding.
type Severity string

// Stop: do not lift like this. Caution: a competent person has to look.
// Note: worth knowing.
const (
	Stop    Severity = "stop"
	Caution Severity = "caution"
	Note    Severity = "note"
)

// Finding is one thing to say about a plan.
type Finding struct {
	Severity      Severity
	Rule          string // stable name
	Source        string // clause and edition, tag, or the mechanics
	Where         string // what it is about: legs.west, hooks.main, load
	Text          string // the sentence a rigger would say, in metric units
	Demand, Limit *float64
	Unit          string // SI, of demand and limit

	format string // the sentence, for Say
	args   []any
}

// Say is the sentence with forces in the reader's unit.
func (f *Finding) Say(units quantity.System) string {
	args := slices.Clone(f.args)
	for i, a := range args {
		if n, ok := a.(newtons); ok {
			args[i] = quantity.Known(quantity.Force(n)).Format(quantity.For[quantity.Force](units))
		}
	}
	return fmt.Sprintf(f.format, args...)
}

// newtons is a force in a sentence.
type newtons float64

// Status is how one part came out.
type Status string

// A part without a rating is not assessed, which is not the same as holding.
const (
	PartHolds       Status = "holds"
	PartFails       Status = "fails"
	PartNotAssessed Status = "not assessed"
)

// Part is one piece of the rigging against its rating.
type Part struct {
	Where       string // legs.west.stack[3] (the third from the top), nodes.ring, load.west ...
	Kind        string
	Serial      string
	DemandN     float64 // P95, times the dynamic factor where the plan asks for one
	LimitN      *float64
	Utilisation *float64
	Status      Status
}

// Expected is what a load cell must read once the load hangs.
type Expected struct {
	Channel               string
	Leg                   string
	LowN, NominalN, HighN float64
}

// State is the lift as first rigged, or after a step.
type State struct {
	Hung        *lift.Hung
	Demands     []lift.Demand
	Spread      spread.Result
	P95         map[string]float64  // leg name to N, static
	Utilisation map[string]*float64 // leg name; nil without rating
	Parts       []Part
	Expected    []Expected
	Findings    []Finding
	Outcome     Outcome
	NotAssessed []string // what, in words
}

// Plan is a checked lift.
type Plan struct {
	Lift        *lift.Lift
	Sheet       takeoff.Total
	Dynamic     float64 // 1 when the plan asks for none
	States      []State // as first rigged, then each step
	Outcome     Outcome
	NotAssessed int
}

// Cautions is the wording that goes with every verdict.
const Cautions = "This informs a competent person; it does not release the lift. " +
	"The tag on the gear, its maker's data, the local code and the appointed person govern."

// Check answers for a lift. An error means the lift could not be hung at
// all; everything else is in the plan.
func Check(l *lift.Lift) (*Plan, error) {
	total, err := l.Load.Sheet.Sum(l.Load.Wet)
	if err != nil {
		return nil, err
	}
	rig, err := lift.NewRig(l)
	if err != nil {
		return nil, err
	}
	p := &Plan{Lift: l, Sheet: total, Dynamic: 1, Outcome: Holds}
	if l.Dynamic != nil {
		p.Dynamic = l.Dynamic.Factor
	}
	for i := -1; i < len(l.Steps); i++ {
		var h *lift.Hung
		if i < 0 {
			h, err = rig.Hang()
		} else {
			h, err = rig.Step(i)
		}
		if err != nil {
			return nil, err
		}
		s, err := p.assess(rig, h)
		if err != nil {
			return nil, err
		}
		p.States = append(p.States, s)
		p.NotAssessed = max(p.NotAssessed, len(s.NotAssessed))
		p.Outcome = worse(p.Outcome, s.Outcome)
	}
	return p, nil
}

func worse(a, b Outcome) Outcome {
	rank := map[Outcome]int{Holds: 0, Incomplete: 1, Fails: 2}
	if rank[b] > rank[a] {
		return b
	}
	return a
}

// assess holds one state against its limits.
func (p *Plan) assess(rig *lift.Rig, h *lift.Hung) (State, error) {
	s := State{Hung: h, Demands: rig.Demands(), P95: map[string]float64{}, Utilisation: map[string]*float64{}, Outcome: Holds}
	var err error
	if s.Spread, err = spread.Run(rig, nil, spread.Draws); err != nil {
		return s, err
	}
	demand := map[string]float64{} // P95 with the dynamic factor, by part
	for k, d := range s.Demands {
		b := s.Spread.Demands[k]
		demand[key(d)] = b.P95 * p.Dynamic
		if d.Kind == lift.OnLeg {
			s.P95[d.Name] = b.P95
		}
	}
	p.pose(&s)
	p.legs(&s, demand)
	p.parts(&s, demand)
	p.limits(&s)
	p.expect(&s, rig)
	if p.Lift.Rulebook != "" {
		s.missing("rules of the %s rulebook (this version holds parts against their ratings and checks no code's clauses)", p.Lift.Rulebook)
	} else {
		s.missing("code rules: the file names no rulebook")
	}
	for _, f := range s.Findings {
		if f.Severity == Stop {
			s.Outcome = Fails
		}
	}
	slices.SortStableFunc(s.Findings, func(a, b Finding) int {
		rank := map[Severity]int{Stop: 0, Caution: 1, Note: 2}
		return cmp.Compare(rank[a.Severity], rank[b.Severity])
	})
	return s, nil
}

func key(d lift.Demand) string {
	switch d.Kind {
	case lift.OnLeg:
		return "legs." + d.Name
	case lift.OnHook:
		return "hooks." + d.Name
	case lift.OnNode:
		return "nodes." + d.Name
	case lift.OnSpreader:
		return "spreaders." + d.Name
	default:
		return d.Name
	}
}

func (s *State) find(sev Severity, rule, source, where, format string, args ...any) *Finding {
	f := Finding{Severity: sev, Rule: rule, Source: source, Where: where, format: format, args: args}
	f.Text = f.Say(quantity.Metric)
	s.Findings = append(s.Findings, f)
	return &s.Findings[len(s.Findings)-1]
}

func (f *Finding) against(demand, limit float64, unit string) {
	f.Demand, f.Limit, f.Unit = &demand, &limit, unit
}

func (s *State) missing(format string, args ...any) {
	s.NotAssessed = append(s.NotAssessed, fmt.Sprintf(format, args...))
}

const mechanics = "mechanics of the plan"

// pose judges how the load hangs.
func (p *Plan) pose(s *State) {
	h := s.Hung
	if !h.Stable {
		text := "the planned pose does not last"
		if h.FellOver != "" {
			text = h.FellOver + " turns over: its centre of gravity is too high for these lifting points"
		}
		s.find(Stop, "unstable", mechanics, "load", "%s; the numbers are of the pose it falls to", text)
	}
	if s.Spread.Unstable > 0 && h.Stable {
		s.find(Stop, "unstable-within-tolerance", mechanics, "load",
			"in %d of %d ways the figures may turn out, the pose is lost", s.Spread.Unstable, s.Spread.Draws)
	}
	if s.Spread.Unsolved > 0 {
		s.find(Caution, "not-hung-within-tolerance", mechanics, "load",
			"in %d of %d ways the figures may turn out, no equilibrium was found; the bands leave them out", s.Spread.Unsolved, s.Spread.Draws)
	}
	if h.NearSingular {
		s.find(Caution, "sharing-unknown", mechanics, "legs", "how the legs share hangs on lengths finer than a millimetre: count on the worst case, not on the nominal one")
	}
	for _, n := range h.Notes {
		s.find(Note, "pose", mechanics, "load", "%s", n)
	}
	for i := range h.Legs {
		if l := &h.Legs[i]; l.Slack {
			s.find(Caution, "slack-leg", mechanics, "legs."+l.Name, "leg %s hangs slack: the others carry everything", l.Name)
		}
	}
	if t := p.Lift.Limits.Tilt; t != nil {
		b := &h.Bodies[0]
		if b.Tilt > float64(t.Value) {
			s.find(Stop, "tilt-limit", "limit in the lift file", "load", "the load hangs %.1f° off level, more than the %.1f° allowed", deg(b.Tilt), deg(float64(t.Value))).
				against(b.Tilt, float64(t.Value), "rad")
		}
	}
}

func deg(r float64) float64 { return r * 180 / math.Pi }

// legs holds each leg against its straight rating.
func (p *Plan) legs(s *State, demand map[string]float64) {
	for i := range s.Hung.Legs {
		l := &s.Hung.Legs[i]
		where := "legs." + l.Name
		s.Utilisation[l.Name] = nil
		if l.WLLN == nil {
			continue
		}
		u := demand[where] / *l.WLLN
		s.Utilisation[l.Name] = &u
		if l.WorstN != nil && *l.WorstN*p.Dynamic > *l.WLLN && u <= 1 {
			s.find(Caution, "worst-share", mechanics, where,
				"if the lengths are a little off, leg %s may have to take %s; its rating is %s", l.Name, newtons(*l.WorstN*p.Dynamic), newtons(*l.WLLN)).
				against(*l.WorstN*p.Dynamic, *l.WLLN, "N")
		}
		most := 0.0
		for _, spans := range [][]float64{l.SlipLow, l.SlipHigh} {
			for _, n := range spans {
				most = math.Max(most, n)
			}
		}
		if most*p.Dynamic > *l.WLLN {
			s.find(Stop, "slip-limit", "Eytelwein's rope formula on the friction in the lift file", where,
				"before rope %s runs over its points, one side of it can come to %s; its rating is %s", l.Name, newtons(most*p.Dynamic), newtons(*l.WLLN)).
				against(most*p.Dynamic, *l.WLLN, "N")
		}
		lim, ok := p.Lift.Limits.Legs[l.Name]
		if ok {
			s.limit(lim, where, "leg "+l.Name, demand[where])
		}
	}
}

// limit holds a force against the warn and stop numbers of the file.
func (s *State) limit(l lift.Limit, where, what string, n float64) {
	switch {
	case l.Stop != nil && n >= float64(l.Stop.Force):
		s.find(Stop, "stop-limit", "limit in the lift file", where, "%s is planned at %s, at or past its stop number of %s", what, newtons(n), newtons(float64(l.Stop.Force))).
			against(n, float64(l.Stop.Force), "N")
	case l.Warn != nil && n >= float64(l.Warn.Force):
		s.find(Caution, "warn-limit", "limit in the lift file", where, "%s is planned at %s, at or past its warn number of %s", what, newtons(n), newtons(float64(l.Warn.Force))).
			against(n, float64(l.Warn.Force), "N")
	}
}

// limits holds the sum at the hooks against the total limit.
func (p *Plan) limits(s *State) {
	if p.Lift.Limits.Total == nil {
		return
	}
	sum := 0.0
	for k, d := range s.Demands {
		if d.Kind == lift.OnHook {
			sum += s.Spread.Demands[k].P95
		}
	}
	s.limit(*p.Lift.Limits.Total, "hooks", "the total at the hooks", sum*p.Dynamic)
}

// parts lists every piece between hook and load: stack entries, nodes, used
// lugs and points, spreaders, hooks.
func (p *Plan) parts(s *State, demand map[string]float64) {
	l := p.Lift
	add := func(where, kind, serial string, n float64, rating *quantity.Rating) {
		part := Part{Where: where, Kind: kind, Serial: serial, DemandN: n, Status: PartNotAssessed}
		if rating != nil {
			lim := float64(rating.Force)
			u := n / lim
			part.LimitN, part.Utilisation, part.Status = &lim, &u, PartHolds
			if u > 1 {
				part.Status = PartFails
				s.find(Stop, "rating", "tag or maker's figure in the lift file", where,
					"%s (%s) would carry %s; it is rated for %s", where, kind, newtons(n), newtons(lim)).against(n, lim, "N")
			}
		} else {
			s.missing("%s (%s) has no rating", where, kind)
			s.Outcome = worse(s.Outcome, Incomplete)
		}
		s.Parts = append(s.Parts, part)
	}
	for i := range l.Hooks {
		h := &l.Hooks[i]
		add("hooks."+h.Name, "hook", "", demand["hooks."+h.Name], h.WLL)
	}
	for i := range l.Legs {
		leg := &l.Legs[i]
		where := "legs." + leg.Name
		for k := range leg.Stack {
			e := &leg.Stack[k]
			rating := e.WLL
			if rating == nil && e.Cell != nil {
				rating = e.Cell.Capacity
			}
			add(stackName(leg.Name, k), e.Kind, e.Serial, demand[where], rating)
		}
		if len(leg.Stack) == 0 {
			add(where, "leg", "", demand[where], leg.WLL)
		} else if leg.WLL != nil {
			lim := float64(leg.WLL.Force)
			if n := demand[where]; n > lim {
				s.find(Stop, "rating", "tag or maker's figure in the lift file", where, "leg %s would carry %s; it is rated for %s", leg.Name, newtons(n), newtons(lim)).against(n, lim, "N")
			}
		}
	}
	for i := range l.Nodes {
		n := &l.Nodes[i]
		add("nodes."+n.Name, "node", "", demand["nodes."+n.Name], n.WLL)
	}
	for i := range l.Spreaders {
		b := &l.Spreaders[i]
		add("spreaders."+b.Name, "spreader", "", demand["spreaders."+b.Name], b.WLL)
	}
	points := func(body string, lugs []lift.Lug) {
		for k := range lugs {
			name := body + "." + lugs[k].Name
			if n, used := demand[name]; used {
				add(name, cmp.Or(lugs[k].Type, "point"), "", n, lugs[k].WLL)
			}
		}
	}
	points("load", l.Load.Lugs)
	for i := range l.Spreaders {
		points(l.Spreaders[i].Name, l.Spreaders[i].Points)
	}
}

// expect says what each cell of a leg straight to the load must read.
func (p *Plan) expect(s *State, rig *lift.Rig) {
	for i := range p.Lift.Legs {
		leg := &p.Lift.Legs[i]
		cell, below := leg.CellAt()
		if cell == nil || cell.Channel == "" {
			continue
		}
		direct := leg.To.Body == "load" && len(leg.Via) == 0
		if !direct || cell.Zero == lift.ZeroAttached {
			s.missing("what channel %s must read (only cells zeroed hung or raw, in legs straight to the load)", cell.Channel)
			continue
		}
		// The demand is at the upper end; the cell feels what hangs below it.
		h := &s.Hung.Legs[i]
		g := float64(p.Lift.Site.G.Value)
		above := float64(leg.Mass.Value) - below
		pulled := h.Upper
		pulled[2] += above * g
		at := math.Sqrt(pulled[0]*pulled[0] + pulled[1]*pulled[1] + pulled[2]*pulled[2])
		off := at - h.TensionN
		if cell.Zero != lift.ZeroNone {
			off -= below * g
		}
		e := Expected{Channel: cell.Channel, Leg: leg.Name, NominalN: h.TensionN + off}
		drawn := &s.Spread.Demands[i]
		e.LowN, e.HighN = drawn.Quantile(0.025)+off, drawn.Quantile(0.975)+off
		if a := cell.Accuracy; a != nil {
			err := a.Share * math.Abs(e.NominalN)
			if a.OfFullScale {
				if cell.Capacity == nil {
					s.missing("the band of channel %s: its accuracy is of full scale and no capacity is given", cell.Channel)
					err = math.NaN()
				} else {
					err = a.Share * float64(cell.Capacity.Force)
				}
			}
			e.LowN, e.HighN = e.LowN-err, e.HighN+err
		} else {
			s.missing("the accuracy of the cell on channel %s", cell.Channel)
		}
		if !math.IsNaN(e.LowN) {
			s.Expected = append(s.Expected, e)
		}
	}
}
