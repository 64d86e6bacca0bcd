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
	"strings"

	"plumbhook/lift"
	"plumbhook/quantity"
	"plumbhook/register"
	"plumbhook/rulebook"
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

// Finding and Severity are those of the rulebook.
type (
	Finding  = rulebook.Finding
	Severity = rulebook.Severity
)

// Stop: do not lift like this. Caution: a competent person has to look.
// Note: worth knowing.
const (
	Stop    = rulebook.Stop
	Caution = rulebook.Caution
	Note    = rulebook.Note
)

// newtons is a force in a sentence.
type newtons = rulebook.Newtons

// Status is how one part came out.
type Status string

// A part without a rating is not assessed, which is not the same as holding.
const (
	PartHolds       Status = "holds"
	PartFails       Status = "fails"
	PartNotAssessed Status = "not assessed"
)

// BareLeg is the kind of a leg whose parts the file does not list.
const BareLeg = "leg"

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

// Expected is what a load cell must read once the load hangs: the force at
// the cell less what it was zeroed with, N.
type Expected struct {
	Channel               string
	Leg                   string
	LowN, NominalN, HighN float64     // 95 readings in 100 of this cell
	JointLowN, JointHighN float64     // 95 in 100 have every cell of the plan within these at once
	AtCellN               float64     // force on the cell
	Cell                  spread.Cell // its zero and its error
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
	Machines    []rulebook.Machine // the cranes of the file, in its order
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

	// Drawn tells that what is not known exactly was let spread; of a Plan that
	// it was not of, every P95 is the nominal force.
	Drawn bool

	rules    rulebook.Case // what holds for every state
	register *Register
}

// Cautions is the wording that goes with every verdict.
const Cautions = "This informs a competent person; it does not release the lift. " +
	"The tag on the gear, its maker's data, the local code and the appointed person govern."

// Check answers for a lift. An error means the lift could not be hung at
// all; everything else is in the plan.
func Check(l *lift.Lift) (*Plan, error) { return CheckWith(l, nil) }

// CheckWith is Check with the gear register at hand; nil when there is none.
func CheckWith(l *lift.Lift, gear *Register) (*Plan, error) { return check(l, gear, true) }

// Quick is CheckWith for somebody who is still writing the plan: the lift hung
// as the file says, without what is not known exactly. The plan says among what
// is not assessed that the spread is missing, and never comes out as holding.
func Quick(l *lift.Lift, gear *Register) (*Plan, error) { return check(l, gear, false) }

func check(l *lift.Lift, gear *Register, drawn bool) (*Plan, error) {
	total, err := l.Load.Sheet.Sum(l.Load.Wet)
	if err != nil {
		return nil, err
	}
	rig, err := lift.NewRig(l)
	if err != nil {
		return nil, err
	}
	rules, err := rulebook.Prepare(l)
	if err != nil {
		return nil, err
	}
	p := &Plan{Lift: l, Sheet: total, Dynamic: rules.OnRatings, Outcome: Holds, Drawn: drawn, rules: rules, register: gear}
	err = rig.Walk(func(h *lift.Hung) error {
		s, err := p.assess(rig, h)
		if err != nil {
			return err
		}
		p.States = append(p.States, s)
		p.NotAssessed = max(p.NotAssessed, len(s.NotAssessed))
		p.Outcome = worse(p.Outcome, s.Outcome)
		return nil
	})
	if err != nil {
		return nil, err
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
	cells := p.expect(&s, rig)
	if p.Drawn {
		var err error
		if s.Spread, err = spread.Run(rig, cells, spread.DrawsOf(len(p.Lift.Steps), h.Step)); err != nil {
			return s, err
		}
	} else {
		s.Spread, s.Outcome = spread.Nominal(rig, cells), Incomplete
		s.missing("what the figures that are not known exactly do to the forces: this is a quick look, check the plan in full")
	}
	for k := range s.Expected {
		e, r := &s.Expected[k], &s.Spread.Readings[k]
		e.LowN, e.HighN, e.JointLowN, e.JointHighN = r.Low, r.High, r.JointLow, r.JointHigh
	}
	demand := map[string]float64{} // P95 with the dynamic factor, by part
	static := map[string]float64{}
	for k, d := range s.Demands {
		b := s.Spread.Demands[k]
		demand[d.Where()], static[d.Where()] = b.P95*p.Dynamic, b.P95
		if d.Kind == lift.OnLeg {
			s.P95[d.Name] = b.P95
		}
	}
	c := p.rules
	c.Hung, c.P95 = h, static
	report := rulebook.Check(p.Lift.Rulebook, c)
	p.pose(&s)
	p.legs(&s, demand)
	p.parts(&s, demand, report.Rating)
	p.limits(&s)
	p.serials(&s)
	s.Findings, s.Machines = append(s.Findings, report.Findings...), report.Machines
	for _, o := range report.Open {
		s.missing("%v", o)
		if o.Rule == "chart-capacity" { // a crane was named, and nobody knows whether it can
			s.Outcome = worse(s.Outcome, Incomplete)
		}
	}
	if p.Lift.Rulebook == "" {
		s.missing("code rules: the file names no rulebook, so angles, hitches, eye bolts, side pulls, temperature, exposure and wind are not judged")
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

func (s *State) find(sev Severity, rule, source, where, format string, args ...any) *Finding {
	s.Findings = append(s.Findings, rulebook.New(sev, rule, source, where, format, args...))
	return &s.Findings[len(s.Findings)-1]
}

func (s *State) missing(format string, args ...any) {
	s.NotAssessed = append(s.NotAssessed, fmt.Sprintf(format, args...))
}

// Where what a finding rests on comes from.
const (
	mechanics = "mechanics of the plan"
	tagged    = "tag or maker's figure in the lift file"
	unsourced = "common practice, no source"
)

// Where no code or file says otherwise, a person has to look from the first
// of each pair on, and the plan fails from the second on; rad (common
// practice, no source).
const (
	plumb, outOfPlumb = 1 * math.Pi / 180, 5 * math.Pi / 180
	leaning, askew    = 5 * math.Pi / 180, 30 * math.Pi / 180
)

// creep is how far, m, a point may move along the ground before it counts as
// sliding.
const creep = 5e-3

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
	if n := len(p.Lift.Steps); n > 0 && h.Step == "" {
		if each := spread.DrawsOf(n, p.Lift.Steps[0].Name); each < spread.Draws {
			s.find(Note, "fewer-draws", "bound of the program", "steps",
				"with %d steps each is drawn %d times, the lift as first rigged %d times: the bands of steps are a little coarser", n, each, spread.Draws)
		}
	}
	for _, n := range h.Notes {
		s.find(Note, "pose", mechanics, "load", "%s", n)
	}
	for i := range h.Legs {
		if l := &h.Legs[i]; l.Slack {
			s.find(Caution, "slack-leg", mechanics, "legs."+l.Name, "leg %s hangs slack: the others carry everything", l.Name)
		}
	}
	for _, name := range h.Untried {
		s.missing("the worst case of %s: it has too many legs to try every set of them", name)
	}
	for i := range h.Hooks {
		k := &h.Hooks[i]
		lean := math.Atan2(math.Hypot(k.Force[0], k.Force[1]), -k.Force[2])
		sev, limit := Caution, plumb
		if lean > outOfPlumb {
			sev, limit = Stop, outOfPlumb
		}
		if lean > plumb {
			s.find(sev, "out-of-plumb", unsourced, "hooks."+k.Name,
				"hook %s is pulled %.1f° out of plumb; hoists are rated for a plumb line", k.Name, deg(lean)).Against(lean, limit, "rad")
		}
	}
	for i := range h.Supports {
		g := &h.Supports[i]
		switch mu := p.Lift.Supports[i].Friction; {
		case g.SlidM > creep && mu > 0:
			s.find(Stop, "heel-slides", mechanics, "supports."+g.Name,
				"%s slides %.2f m on the ground on the way here: its friction of %.2g does not hold it", g.Name, g.SlidM, mu).Against(g.SlidM, creep, "m")
		case g.SlidM > creep:
			s.find(Caution, "heel-slides", mechanics, "supports."+g.Name,
				"%s slides %.2f m on the ground on the way here: the file gives it no friction", g.Name, g.SlidM).Against(g.SlidM, creep, "m")
		case g.Grip > 0.7:
			s.find(Caution, "heel-grip", mechanics, "supports."+g.Name,
				"%s uses %.0f %% of its friction: chock it", g.Name, math.Ceil(100*g.Grip)).Against(g.Grip, 1, "1")
		}
	}
	if b := &h.Bodies[0]; p.Lift.Limits.Tilt == nil && b.Tilt > leaning {
		sev, limit := Caution, leaning
		if b.Tilt > askew && len(h.Hooks) == 1 && len(h.Supports) == 0 {
			sev, limit = Stop, askew
		}
		s.find(sev, "tilt-unlimited", unsourced, "load",
			"the load hangs %.1f° off level and the plan states no limit: write limits.tilt, or move the lifting points over its centre of gravity", deg(b.Tilt)).
			Against(b.Tilt, limit, "rad")
	}
	if t := p.Lift.Limits.Tilt; t != nil {
		b := &h.Bodies[0]
		if b.Tilt > float64(t.Value) {
			s.find(Stop, "tilt-limit", "limit in the lift file", "load", "the load hangs %.1f° off level, more than the %.1f° allowed", deg(b.Tilt), deg(float64(t.Value))).
				Against(b.Tilt, float64(t.Value), "rad")
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
				Against(*l.WorstN*p.Dynamic, *l.WLLN, "N")
		}
		if most := l.SlipMost(s.P95[l.Name]); most*p.Dynamic > *l.WLLN {
			s.find(Stop, "slip-limit", "Eytelwein's rope formula on the friction in the lift file", where,
				"before leg %s runs over its points, one side of it can come to %s; its rating is %s", l.Name, newtons(most*p.Dynamic), newtons(*l.WLLN)).
				Against(most*p.Dynamic, *l.WLLN, "N")
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
			Against(n, float64(l.Stop.Force), "N")
	case l.Warn != nil && n >= float64(l.Warn.Force):
		s.find(Caution, "warn-limit", "limit in the lift file", where, "%s is planned at %s, at or past its warn number of %s", what, newtons(n), newtons(float64(l.Warn.Force))).
			Against(n, float64(l.Warn.Force), "N")
	}
}

// limits holds each hook, and the sum at them, against the limits of the file.
func (p *Plan) limits(s *State) {
	for k, d := range s.Demands {
		if l, ok := p.Lift.Limits.Hooks[d.Name]; ok && d.Kind == lift.OnHook {
			s.limit(l, d.Where(), "hook "+d.Name, s.Spread.Demands[k].P95*p.Dynamic)
		}
	}
	if p.Lift.Limits.Total == nil {
		return
	}
	_, p95, _ := s.Total()
	s.limit(*p.Lift.Limits.Total, "hooks", "the total at the hooks", p95*p.Dynamic)
}

// Total is what all hooks carry together, straight down: nominal and P95,
// the latter as if all hooks were high at once, and the half-width of the
// most uncertain one. N.
func (s *State) Total() (nominal, p95, half float64) {
	p95 = s.Down(func(d *spread.Drawn) float64 {
		half = math.Max(half, (d.P95-d.P5)/2)
		return d.P95
	})
	for i := range s.Hung.Hooks {
		nominal -= s.Hung.Hooks[i].Force[2]
	}
	return nominal, p95, half
}

// Down adds up, over all hooks, the part straight down of a figure of what the
// hook may carry: of a P95, of a quantile.
func (s *State) Down(of func(*spread.Drawn) float64) (sum float64) {
	i := 0
	for k, d := range s.Demands {
		if d.Kind != lift.OnHook {
			continue
		}
		h := &s.Hung.Hooks[i]
		i++
		down := 1.0 // share of the force that is straight down
		if h.LoadN > 0 {
			down = -h.Force[2] / h.LoadN
		}
		sum += of(&s.Spread.Demands[k]) * down
	}
	return sum
}

// parts lists every piece between hook and load: stack entries, nodes, used
// lugs and points, spreaders, hooks.
func (p *Plan) parts(s *State, demand, reduced map[string]float64) {
	l := p.Lift
	add := func(where, kind, serial, source string, n float64, rating *quantity.Rating) {
		part := Part{Where: where, Kind: kind, Serial: serial, DemandN: n, Status: PartNotAssessed}
		left, less := reduced[where] // as it is rigged, says a rule with its own finding
		if rating != nil || less {
			lim := left
			if !less || rating != nil && float64(rating.Force) < left {
				lim = float64(rating.Force)
			}
			u := n / lim
			part.LimitN, part.Utilisation, part.Status = &lim, &u, PartHolds
			if u > 1 {
				part.Status = PartFails
			}
			if rating != nil && n > float64(rating.Force) {
				s.find(Stop, "rating", source, where, "%s (%s) would carry %s; it is rated for %s", where, kind, newtons(n), newtons(rating.Force)).
					Against(n, float64(rating.Force), "N")
			}
		} else {
			s.missing("%s (%s) has no rating", where, kind)
			s.Outcome = worse(s.Outcome, Incomplete)
		}
		s.Parts = append(s.Parts, part)
	}
	for i := range l.Hooks {
		h := &l.Hooks[i]
		add("hooks."+h.Name, "hook", "", tagged, demand["hooks."+h.Name], h.WLL)
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
			source, _ := e.Rated()
			add(stackName(leg.Name, k), e.Name(), e.Serial, source, demand[where], rating)
		}
		if len(leg.Stack) == 0 {
			add(where, BareLeg, "", tagged, demand[where], leg.Rating())
		} else if own := leg.Rating(); own != nil {
			lim := float64(own.Force)
			if n := demand[where]; n > lim {
				s.find(Stop, "rating", tagged, where, "leg %s would carry %s; it is rated for %s", leg.Name, newtons(n), newtons(lim)).Against(n, lim, "N")
			}
		}
	}
	for i := range l.Legs {
		where := "legs." + l.Legs[i].Name
		choked := l.Legs[i].Hitch != lift.Choker
		for k := range reduced {
			choked = choked || k == where || strings.HasPrefix(k, where+".")
		}
		if !choked {
			s.missing("%s is choked, and nothing gives its choker rating: write choker_wll off the tag, or choose a rulebook", where)
			s.Outcome = worse(s.Outcome, Incomplete)
		}
	}
	for i := range l.Nodes {
		n := &l.Nodes[i]
		add("nodes."+n.Name, "node", "", tagged, demand["nodes."+n.Name], n.WLL)
	}
	for i := range l.Spreaders {
		b := &l.Spreaders[i]
		add("spreaders."+b.Name, "spreader", "", tagged, demand["spreaders."+b.Name], b.WLL)
	}
	points := func(body string, lugs []lift.Lug) {
		for k := range lugs {
			name := body + "." + lugs[k].Name
			if n, used := demand[name]; used {
				add(name, cmp.Or(lugs[k].Type, "point"), "", tagged, n, lugs[k].WLL)
			}
		}
	}
	points("load", l.Load.Lugs)
	for i := range l.Spreaders {
		points(l.Spreaders[i].Name, l.Spreaders[i].Points)
	}
}

// expect says what each cell must read, bands left out, and gives the cells
// for the draws that the bands come from.
//
// What comes off for the zero is what the rigging alone put on the cell: all
// of it when zeroed hung; when the legs were attached and slack, anything
// from all of their weight to half of it, the lug carrying the rest (common
// practice, no source).
func (p *Plan) expect(s *State, rig *lift.Rig) []spread.Cell {
	var cells []spread.Cell
	g := float64(p.Lift.Site.G.Value)
	zeroed, err := zeros(p.Lift, rig)
	for i := range p.Lift.Legs {
		leg := &p.Lift.Legs[i]
		cell, _ := leg.CellAt()
		if cell == nil || cell.Channel == "" {
			continue
		}
		e := Expected{Channel: cell.Channel, Leg: leg.Name, AtCellN: leg.AtCell(s.Hung.Legs[i].Upper, float64(leg.Mass.Value)*g)}
		switch {
		case len(leg.Via) > 0:
			s.missing("what channel %s must read (its leg %s runs over points, and the force differs along it)", cell.Channel, leg.Name)
			continue
		case cell.Zero == lift.ZeroNone:
			e.Cell.Leg = i
		case err != nil:
			s.missing("what channel %s must read (%v)", cell.Channel, err)
			continue
		default:
			e.Cell = zeroed[i]
		}
		e.NominalN = e.AtCellN - e.Cell.Zero
		switch a := cell.Accuracy; {
		case a == nil:
			s.missing("the accuracy of the cell on channel %s", cell.Channel)
		case !a.OfFullScale:
			e.Cell.ErrorShare = a.Share
		case cell.Capacity == nil:
			s.missing("the band of channel %s: its accuracy is of full scale and no capacity is given", cell.Channel)
			continue
		default:
			e.Cell.Error = a.Share * float64(cell.Capacity.Force)
		}
		if cell.Resolution != nil {
			e.Cell.Step = float64(cell.Resolution.Force)
		}
		if !p.warmth(&e.Cell, leg, cell) {
			s.missing("how the temperature of the cell moves channel %s: write site.temperature, from coldest to hottest", cell.Channel)
		}
		e.Cell.DriftShare += p.overridden(leg)
		cells, s.Expected = append(cells, e.Cell), append(s.Expected, e)
	}
	return cells
}

// overridden is by how much the cell of a leg may be off because somebody
// answers for it past its calibration, a hard limit, share of the reading.
func (p *Plan) overridden(leg *lift.Leg) float64 {
	if p.register == nil {
		return 0
	}
	for i := range leg.Stack {
		if e := &leg.Stack[i]; e.Cell != nil && e.Serial != "" {
			if it, known := p.register.Items[register.Key(e.Serial)]; known {
				return it.Widening(p.register.On)
			}
		}
	}
	return 0
}

// calibration is the temperature, K, that a cell is taken to be calibrated at
// (common practice, no source).
const calibration = 273.15 + 20

// warmth adds what its temperature may do to a cell, and reports whether that
// is known. The zero moves by as much as the temperature may have changed since
// the cell was zeroed, any way within the range of the site; a cell that is
// read raw, and the slope, by how far the site may be from calibration.
func (p *Plan) warmth(c *spread.Cell, leg *lift.Leg, cell *lift.Cell) bool {
	if len(cell.Warmth) == 0 {
		return true
	}
	t := leg.Temperature
	if t == nil {
		t = p.Lift.Site.Temperature
	}
	if t == nil {
		return false
	}
	off := math.Max(math.Abs(float64(t.High)-calibration), math.Abs(float64(t.Low)-calibration))
	for _, w := range cell.Warmth {
		switch {
		case !w.OfFullScale:
			c.DriftShare += w.PerKelvin * off
		case cell.Zero == lift.ZeroNone:
			c.Drift += w.PerKelvin * off * float64(cell.Capacity.Force)
		default:
			c.Drift += w.PerKelvin * float64(t.High-t.Low) * float64(cell.Capacity.Force)
		}
	}
	return true
}

// zeros gives, leg by leg, what the cells were zeroed with, the middle where
// that is not known exactly, and how it follows the weight of the rigging.
// Without a zeroed cell there is nothing to work out.
func zeros(l *lift.Lift, rig *lift.Rig) ([]spread.Cell, error) {
	out := make([]spread.Cell, len(l.Legs))
	zeroed := false
	for i := range l.Legs {
		cell, _ := l.Legs[i].CellAt()
		zeroed = zeroed || cell != nil && cell.Zero != lift.ZeroNone
		out[i].Leg = i
	}
	if !zeroed {
		return out, nil
	}
	middle := func() (mid, half []float64, err error) {
		hung, err := rig.Zeros(1)
		if err != nil {
			return nil, nil, err
		}
		slack, err := rig.Zeros(0.5)
		if err != nil {
			return nil, nil, err
		}
		mid, half = make([]float64, len(out)), make([]float64, len(out))
		for i := range out {
			mid[i] = hung[i]
			if cell, _ := l.Legs[i].CellAt(); cell != nil && cell.Zero == lift.ZeroAttached {
				mid[i], half[i] = (hung[i]+slack[i])/2, math.Abs(hung[i]-slack[i])/2
			}
		}
		return mid, half, nil
	}
	mid, half, err := middle()
	if err != nil {
		return nil, err
	}
	for i := range out {
		out[i].Zero, out[i].ZeroLimit = mid[i], half[i]
	}
	defer rig.Set(rig.Nominal())
	for k, in := range rig.Inputs {
		weighs := strings.HasSuffix(in.Name, ".mass") && !strings.HasPrefix(in.Name, "load.")
		if !weighs && in.Name != "site.g" && !(strings.HasPrefix(in.Name, "spreaders.") && strings.Contains(in.Name, ".cg.")) {
			continue
		}
		values := rig.Nominal()
		values[k] = in.High
		rig.Set(values)
		high, _, err := middle()
		if err != nil {
			return nil, err
		}
		for i := range out {
			if out[i].ZeroSlope == nil {
				out[i].ZeroSlope = make([]float64, len(rig.Inputs))
			}
			out[i].ZeroSlope[k] = (high[i] - mid[i]) / (in.High - in.Value)
		}
	}
	return out, nil
}
