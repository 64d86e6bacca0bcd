package prove

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"plumbhook/metrology"
	"plumbhook/quantity"
)

// Outcome is what a test comes to.
type Outcome string

// Holds: nothing checked fails. Incomplete: nothing fails, and something needed is
// missing. Fails: something does.
const (
	Holds      Outcome = "holds"
	Incomplete Outcome = "incomplete"
	Fails      Outcome = "fails"
)

// Severity of a finding.
type Severity string

// A stop keeps the test from being started or passed.
const (
	Stop    Severity = "stop"
	Caution Severity = "caution"
	Note    Severity = "note"
)

// A Finding is something that a reader must be told. Missing: it is not known to
// be wrong, something needed to tell is not there.
type Finding struct {
	Severity Severity
	Where    string
	Text     string
	Missing  bool
}

// A Check holds one piece against the greatest force the test may put on it.
type Check struct {
	Where, Serial string
	Force         float64
	Rating, Proof float64 // zero: not stated
	Outcome       Outcome
}

// A Stretch is what the pulled line stores at the greatest force.
type Stretch struct {
	Longer float64 // by how much it is stretched, m
	Energy float64 // J
	// Height is from how high a tonne would have to fall to have as much, m.
	Height float64
}

// A Plan is a test worked out, before it is made.
type Plan struct {
	*Test
	Asked     float64 // least load by the rule, N; zero: it sets none
	Target    float64 // test load; expected pull; the guy's tension of the day
	Low, High float64 // the force has to stay within these, N; High is infinite for a pull
	Need      float64 // greatest force that gear must bear
	// A reading counts as within Low and High from AcceptLow to AcceptHigh.
	AcceptLow, AcceptHigh float64
	Most                  float64          // a reading above it is an overshoot
	Budget                metrology.Budget // of a reading at the upper end
	U                     metrology.Expanded
	Risk                  float64 // most that the chance can be that an accepted load was not reached
	Checks                []Check
	Stretch               *Stretch // nil: not known
	Zone                  float64  // keep-out distance from every part of the line, m; zero: not known
	Findings              []Finding
	NotAssessed           []string
	Outcome               Outcome
	Start                 bool // it may be started
	unit                  string
}

// Before works out a test. unit is that of forces in texts: kN, t, lbf.
func Before(t *Test, unit string) *Plan {
	p := &Plan{Test: t, unit: unit, Outcome: Holds}
	p.target()
	p.uncertainty()
	p.limits()
	p.bears()
	p.stretched()
	p.weather()
	p.standing()
	for _, w := range t.Rule.Witness {
		p.NotAssessed = append(p.NotAssessed, w+": a person has to see it")
	}
	p.Start = !slices.ContainsFunc(p.Findings, func(f Finding) bool { return f.Severity == Stop })
	p.Outcome = outcome(p.Findings)
	return p
}

func outcome(all []Finding) Outcome {
	o := Holds
	for _, f := range all {
		switch {
		case f.Missing && o == Holds:
			o = Incomplete
		case f.Severity == Stop && !f.Missing:
			return Fails
		}
	}
	return o
}

func (p *Plan) find(s Severity, where, format string, args ...any) {
	p.Findings = append(p.Findings, Finding{s, where, fmt.Sprintf(format, args...), false})
}

func (p *Plan) lacks(s Severity, where, format string, args ...any) {
	p.Findings = append(p.Findings, Finding{s, where, fmt.Sprintf(format, args...), true})
}

// force writes newtons with the unit of the plan, four digits and never a power of ten.
func (p *Plan) force(n float64) string {
	v, err := quantity.In(quantity.Force(n), p.unit)
	if err != nil {
		v, p.unit = n, "N"
	}
	return plain(v) + " " + p.unit
}

func plain(v float64) string {
	if v == 0 || math.IsInf(v, 0) || math.IsNaN(v) {
		return fmt.Sprint(v)
	}
	step := math.Pow(10, math.Floor(math.Log10(math.Abs(v)))-3)
	text := strconv.FormatFloat(math.Round(v/step)*step, 'f', max(0, -int(math.Round(math.Log10(step)))), 64)
	if strings.Contains(text, ".") {
		text = strings.TrimRight(strings.TrimRight(text, "0"), ".")
	}
	return text
}

// target is the load, and between what true forces it must stay.
func (p *Plan) target() {
	t := p.Test
	switch t.Rule.Kind {
	case Proof:
		p.Asked = t.Rule.Load(t.Item.Rating)
		p.Target = t.Load
		if t.Load == 0 {
			p.Target = p.Asked
		} else if t.Load < p.Asked*(1-1e-9) {
			p.find(Stop, "load", "a test load of %s; the rule asks for %s", p.force(t.Load), p.force(p.Asked))
		}
		p.Low, p.High = p.Target*(1-t.Under), p.Target*(1+t.Over)
		p.Need = p.High
	case Engineer:
		p.Target = t.Load
		p.Low, p.High = p.Target*(1-t.Under), p.Target*(1+t.Over)
		p.Need = p.High
	case Pull:
		// Gear at least a tenth above the designed pull: 0021/ND Rev 9, B.1.2.
		p.Target, p.Low, p.High, p.Need = t.Load, t.Load, math.Inf(1), 1.1*t.Load
	case Guy:
		g := t.Guy
		p.Target = g.Tension(float64(g.Now.Value))
		p.Low, p.High = p.Target*(1-g.Tolerance()), p.Target*(1+g.Tolerance())
		p.Need = p.High
		if b := g.Breaking; b > 0 && (g.Design < 0.07*b || g.Design > 0.15*b) {
			p.find(Caution, "guy", "a design tension of %.1f %% of the breaking load; 7 to 15 %% is usual, and the engineer has a reason for another (as an industry notice on ANSI/TIA-222 says)", 100*g.Design/b)
		}
		p.NotAssessed = append(p.NotAssessed, "the mast's own growth with temperature, anchors that give, wind on the guy")
	}
}

// uncertainty is that of a reading at the upper end of what may be.
func (p *Plan) uncertainty() {
	c := &p.Cell
	at := p.High
	if math.IsInf(at, 1) {
		at = p.Target
	}
	accuracy := c.Accuracy
	accuracy.OfFullScale = accuracy.OfFullScale || c.U95 > 0 // the certificate stands for it: its limit is zero then
	b, missing := accuracy.Budget(at, c.Conditions)
	for _, m := range missing {
		p.NotAssessed = append(p.NotAssessed, "of the cell: "+m+", so that its uncertainty is at least what is said")
	}
	if c.U95 > 0 {
		b = append(b, metrology.Normal("certificate of the cell", c.U95, metrology.CoverageFactor(0.95, math.Inf(1))))
	}
	if z := c.Accuracy.ZeroReturn; z != nil {
		b = append(b, metrology.Rectangular("zero return", *z*c.Accuracy.Capacity))
	}
	switch {
	case c.DriftPerYear == nil:
		p.NotAssessed = append(p.NotAssessed, "of the cell: its drift since it was calibrated, so that its uncertainty is at least what is said")
	case p.Date.After(c.Calibrated):
		b = append(b, metrology.SinceCalibration(at, *c.DriftPerYear, p.Date.Sub(c.Calibrated)))
	}
	b = slices.DeleteFunc(b, func(c metrology.Component) bool { return c.U == 0 })
	for i := range b {
		b[i].Unit = "N"
	}
	p.Budget = b
	s := metrology.Wear{On: p.Date, Due: c.Due, Capacity: c.Accuracy.Capacity, SafeOverload: c.Proof, Override: c.Override}.Standing()
	switch s.Use {
	case metrology.OutOfDate:
		p.find(Stop, "cell", "%s", s.Why)
	case metrology.Overridden:
		p.find(Caution, "cell", "%s", s.Why)
	}
	if c.Due.IsZero() {
		p.NotAssessed = append(p.NotAssessed, "whether the cell is in date: no due date is stated")
	}
	if g := p.Test.Guy; g != nil && g.Now.High > g.Now.Low {
		warm, cold := g.Tension(float64(g.Now.High)), g.Tension(float64(g.Now.Low))
		half := math.Abs(warm-cold) / 2
		b := metrology.Normal("temperature of the guy", half, metrology.CoverageFactor(0.95, math.Inf(1)))
		if g.Now.Shape == quantity.Uniform {
			b = metrology.Rectangular("temperature of the guy", half)
		}
		p.Budget = append(p.Budget, b.In("N"))
	}
	p.U = p.Budget.Expand(0.95)
}

// limits says which readings count.
func (p *Plan) limits() {
	defer p.most()
	guard := p.U.U
	p.Risk = metrology.ChanceAbove(0, -p.U.K, 1)
	if p.Simple {
		guard, p.Risk = 0, 0.5
	}
	p.AcceptLow, p.AcceptHigh = p.Low+guard, p.High-guard
	switch {
	case p.AcceptLow < p.AcceptHigh:
	case p.Simple && p.AcceptLow == p.AcceptHigh:
		p.find(Stop, "over", "the force would have to stand at one figure: no room between the test load and what it may come to")
	default:
		p.find(Stop, "over", "the band from %s to %s is narrower than the uncertainty on both sides, ±%s: no reading can be known to lie in it. A better cell, or a wider band that the maker agrees to",
			p.force(p.Low), p.force(p.High), p.force(p.U.U))
	}
}

// most is the overshoot: the band's upper end, or where a mean counts and a gust may
// exceed it, what the weakest piece bears.
func (p *Plan) most() {
	p.Most = p.AcceptHigh
	if k := p.Rule.Kind; k == Proof || k == Engineer {
		return
	}
	p.Most = p.Cell.Accuracy.Capacity
	for _, g := range p.Gear {
		if g.Rating > 0 {
			p.Most = min(p.Most, g.Rating)
		}
	}
	if !p.Simple {
		p.Most -= p.U.U
	}
}

// Decision says by what rule, and at what risk, a reading counts.
func (p *Plan) Decision() string {
	if p.Simple {
		return fmt.Sprintf("Simple acceptance (%s): readings count as they are. A load that just reads as reached was below the test load with a chance of up to one half. ISO/IEC 17025:2017, 7.8.6; JCGM 106:2012, 8.2.", p.SimpleBy)
	}
	return fmt.Sprintf("Guarded acceptance: a limit counts as kept when the reading keeps it by U, the expanded uncertainty (95 %%, k = %.2f). The chance that an accepted load was in truth not reached is at most %.1f %%. What drifts over the hold is judged as read, since what the cell is off stays the same over it but for its creep. ISO/IEC 17025:2017, 7.8.6; JCGM 106:2012, 8.3.",
		p.U.K, 100*p.Risk)
}

// Force writes newtons as the texts of the plan do.
func (p *Plan) Force(n float64) string { return p.force(n) }

// Spread writes newtons with the uncertainty of the plan, no digit more than it bears.
func (p *Plan) Spread(n float64) string {
	return quantity.Measured[quantity.Force]{Value: quantity.Force(n), Low: quantity.Force(n - p.U.U), High: quantity.Force(n + p.U.U), Shape: quantity.Normal}.Format(p.unit)
}

// byMean tells whether a running mean counts and not a band.
func (p *Plan) byMean() bool { return p.Rule.Kind == Pull || p.Rule.Kind == Guy }

// Sentence is the plan in one breath.
func (p *Plan) Sentence() string {
	text := fmt.Sprintf("%s: %s; what counts is %s", p.Item.Name, map[Kind]string{Pull: "expected pull ", Guy: "tension of the day "}[p.Rule.Kind]+p.force(p.Target), map[bool]string{true: "a mean of "}[p.byMean()]+p.force(p.AcceptLow))
	if math.IsInf(p.AcceptHigh, 1) {
		text += " or more"
	} else {
		text += " to " + p.force(p.AcceptHigh)
	}
	text += fmt.Sprintf(" over %.6g s", p.Hold)
	if !p.Start {
		text += "; IT IS NOT TO BE STARTED"
	}
	return text
}

// bears holds cell, gear and item against the greatest force that may come.
func (p *Plan) bears() {
	check := func(where, serial, called string, rating, proof float64) {
		c := Check{where, serial, p.Need, rating, proof, Holds}
		switch {
		case rating > 0 && p.Need > rating*(1+1e-9):
			p.find(Stop, where, "a %s of %s, and the test may put %s on it", called, p.force(rating), p.force(p.Need))
			c.Outcome = Fails
		case proof > 0 && p.Need > proof*(1+1e-9):
			p.find(Stop, where, "its maker's proof load is %s, and the test may put %s on it", p.force(proof), p.force(p.Need))
			c.Outcome = Fails
		case rating == 0:
			p.lacks(Stop, where, "no %s is stated: it is not known to bear the %s of the test", called, p.force(p.Need))
			c.Outcome = Incomplete
		}
		p.Checks = append(p.Checks, c)
	}
	check("cell", p.Cell.Serial, "capacity", p.Cell.Accuracy.Capacity, p.Cell.Proof)
	for _, g := range p.Gear {
		check(g.Name, g.Serial, "rating", g.Rating, g.Proof)
	}
	if !slices.ContainsFunc(p.Gear, func(g Piece) bool { return slices.Contains(strings.Fields(strings.ToLower(g.Name)), "pin") }) {
		p.find(Caution, "gear", "no pin is listed: a cell is as strong as the pin through it")
	}
	i := &p.Item
	own := Check{i.Name, i.Serial, p.Need, i.Rating, i.Proof, Holds}
	switch {
	case p.Rule.Kind == Pull || p.Rule.Kind == Guy:
		return
	case i.Proof > 0 && p.High > i.Proof*(1+1e-9):
		p.find(Stop, i.Name, "its maker's proof load is %s, and the test may put %s on it", p.force(i.Proof), p.force(p.High))
		own.Outcome = Fails
	case i.Proof > 0:
	case p.Rule.Kind == Engineer:
		p.find(Caution, i.Name, "no maker's proof load is stated: %s answers for putting %s on it", p.Criterion.By, p.force(p.High))
	default:
		p.lacks(Stop, i.Name, "its maker's proof load is not stated, and the test may put %s on a rating of %s", p.force(p.High), p.force(i.Rating))
		own.Outcome = Incomplete
	}
	p.Checks = append(p.Checks, own)
}

// stretched is the danger of the line. Half the force times the stretch is stored
// in it. A parted end flies back about as far as the rest of it is long, past where
// it is made fast and not in a straight line (an insurer's safety alert on snap-back
// zones); so nobody is nearer than the whole length.
func (p *Plan) stretched() {
	l := p.Line
	if l == nil {
		p.NotAssessed = append(p.NotAssessed, "what the stretched line stores, and how far it flies: no line is stated")
		p.Zone = p.Exclusion
		return
	}
	s := Stretch{Longer: p.Need / l.Stiffness}
	s.Energy = p.Need * s.Longer / 2
	s.Height = s.Energy / (1000 * float64(quantity.StandardGravity))
	p.Stretch, p.Zone = &s, math.Max(p.Exclusion, l.Length)
	if p.Exclusion > 0 && p.Exclusion < l.Length {
		p.find(Stop, "exclusion", "%.3g m are kept free, and a parted end of this line can fly %.3g m", p.Exclusion, l.Length)
	}
}

// weather holds the conditions against what the rule, or somebody, asks.
func (p *Plan) weather() {
	c := &p.Conditions
	if c.WindLimit > 0 {
		switch {
		case c.Wind == nil:
			p.lacks(Caution, "conditions.wind", "no wind is stated, and the test has a limit of %.3g m/s", c.WindLimit)
		case float64(c.Wind.High) > c.WindLimit:
			p.find(Stop, "conditions.wind", "wind up to %.3g m/s; the limit of this test is %.3g m/s", c.Wind.High, c.WindLimit)
		}
	}
	if p.Rule.Kind != Pull {
		return
	}
	most := func(what string, v *quantity.Measured[quantity.Speed], limit float64) {
		switch {
		case v == nil:
			p.lacks(Caution, "conditions."+what, "no %s is stated; the rule allows %.3g m/s", what, limit)
		case float64(v.High) > limit*(1+1e-9):
			p.find(Stop, "conditions."+what, "%s up to %.3g m/s; the rule allows %.3g m/s", what, v.High, limit)
		}
	}
	most("wind", c.Wind, 5)
	most("current", c.Current, 0.5)
	least := func(what string, v *quantity.Measured[quantity.Length], limit float64, of *quantity.Measured[quantity.Length], twice string) {
		switch {
		case v == nil:
			p.lacks(Caution, "conditions."+what, "no %s is stated; the rule asks for %.4g m", what, limit)
		case float64(v.Low) >= limit*(1-1e-9):
		case of != nil && v.Low >= 2*of.High:
			p.find(Caution, "conditions."+what, "%s %.4g m instead of %.4g m; twice the %s may be accepted, and whoever takes the certificate decides", what, v.Low, limit, twice)
		default:
			p.find(Stop, "conditions."+what, "%s %.4g m; the rule asks for %.4g m, or at least twice the %s", what, v.Low, limit, twice)
		}
	}
	least("depth", c.Depth, 20, c.Draught, "greatest draught")
	least("line", c.Line, 300, c.Vessel, "length of the vessel")
}

// standing says how far the rule's own figures can be relied on.
func (p *Plan) standing() {
	switch s := string(p.Rule.Standing); {
	case p.Rule.Kind == Engineer:
		p.find(Note, "rule", "%s asks for this load; no text is behind it but the criterion: common practice, no source", p.Criterion.By)
	case !p.Rule.Standing.Read():
		p.find(Caution, "rule", "the figures of this rule stand here from memory (%s%s): have its text at hand and hold them against it", p.Rule.Source, strings.TrimPrefix(s, "MEMORY"))
	case s != "READ":
		p.find(Caution, "rule", "the figures of this rule were %s (%s): have its text at hand", strings.Replace(s, "READ", "read", 1), p.Rule.Source)
	}
}
