package cli

import (
	"bytes"
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"plumbhook/contract"
	"plumbhook/fault"
	"plumbhook/lift"
	"plumbhook/quantity"
	"plumbhook/verdict"
)

type checkCmd struct {
	File string `arg:"" help:"Lift file (YAML)."`
	registered
	Format  string `enum:"text,json" default:"text" help:"text or json."`
	Units   string `enum:"metric,us" default:"metric" help:"Units of the text: metric or us."`
	Sheet   bool   `help:"With the way each mass of the weight sheet was found."`
	Spread  bool   `help:"With how far every force may lie, which figures make it so, and how often it passes its rating."`
	Explain string `placeholder:"NAME" help:"Lay open one number: inputs, formula, source, result. list prints the names."`
	Step    string `placeholder:"NAME" help:"Explain the number after this step, by name or number, not as first rigged."`
}

// Help goes on where the list of flags ends.
func (*checkCmd) Help() string {
	return `Exit status: 0 the plan holds as far as it was checked; 1 a check fails, or something needed is missing; ` +
		`2 the file is invalid or cannot be read, or there is no number or step of that name; 3 anything else. --explain does not change it.`
}

// Run hangs the lift and prints the verdict, or one number of it laid open.
func (c *checkCmd) Run(e *env) error {
	l, gear, err := c.read(c.File)
	if err != nil {
		return err
	}
	step, err := stepIndex(l, c.Step)
	if err != nil {
		return err
	}
	if c.Step != "" && c.Explain == "" {
		return fault.New(fault.Missing, "--step chooses where a number is explained").Fix("give --explain NAME too; without it every step is shown")
	}
	p, err := verdict.CheckWith(l, gear)
	if err != nil {
		return err
	}
	if err := c.print(e, p, step); err != nil {
		return err
	}
	if p.Outcome != verdict.Holds {
		return errFails
	}
	return nil
}

func (c *checkCmd) print(e *env, p *verdict.Plan, step int) error {
	json := c.Format == "json"
	switch c.Explain {
	case "":
		if json {
			return writeJSON(e.out, contract.NewCheck(p))
		}
		t := teller{units: units(c.Units), sheet: c.Sheet, spread: c.Spread}
		t.plan(p)
		return write(e.out, []byte(printable(t.b.String())))
	case "list":
		names := verdict.Explainable(p, step)
		if json {
			return writeJSON(e.out, names)
		}
		return write(e.out, []byte(printable(strings.Join(names, "\n")+"\n")))
	}
	x, err := verdict.Explain(p, step, c.Explain)
	switch {
	case err != nil:
		return err
	case json:
		return writeJSON(e.out, contract.NewExplanation(x))
	}
	return write(e.out, []byte(printable(explanation(p, x))))
}

func units(flag string) quantity.System {
	if flag == "us" {
		return quantity.US
	}
	return quantity.Metric
}

// teller writes a verdict for people.
type teller struct {
	b      bytes.Buffer
	units  quantity.System
	sheet  bool // with how each mass was found
	spread bool // with what the unknowns do
}

func (t *teller) say(format string, args ...any) { fmt.Fprintf(&t.b, format+"\n", args...) }

// tab is where the text behind the word that opens a line starts.
const tab = 10

// tell writes a line that opens with a word, wrapped.
func (t *teller) tell(word, format string, args ...any) {
	t.say("%s", wrap(fmt.Sprintf("%-*s", tab, word), fmt.Sprintf(format, args...), tab))
}

// unit is that of forces.
func (t *teller) unit() string { return quantity.For[quantity.Force](t.units) }

// force writes newtons without the unit, with the digits that a half-width
// supports.
func (t *teller) force(n, half float64, r rounding) string {
	one := t.newton()
	if half == 0 { // a figure without spread has no loud side
		r = nearest
	}
	return show(n/one, half/one, r)
}

// newton is how many N are in the unit of forces.
func (t *teller) newton() float64 {
	n, _ := quantity.In(quantity.Force(1), t.unit())
	return 1 / n
}

func (t *teller) mass(m quantity.Measured[quantity.Mass]) string {
	return m.Format(quantity.For[quantity.Mass](t.units))
}

// length writes metres to the centimetre, feet to the hundredth.
func (t *teller) length(m float64, r rounding) string {
	n, _ := quantity.In(quantity.Length(m), quantity.For[quantity.Length](t.units))
	return fmt.Sprintf("%.2f %s", r(n*100)/100, quantity.For[quantity.Length](t.units))
}

// place writes a point to the millimetre, or to the hundredth of a foot.
func (t *teller) place(at [3]float64) string {
	unit, decimals := quantity.For[quantity.Length](t.units), 3
	if t.units == quantity.US {
		decimals = 2
	}
	var text []string
	for _, m := range at {
		n, _ := quantity.In(quantity.Length(m), unit)
		s := fmt.Sprintf("%.*f", decimals, n)
		if strings.Trim(s, "-0.") == "" {
			s = strings.TrimPrefix(s, "-")
		}
		text = append(text, s)
	}
	return strings.Join(text, " ") + " " + unit
}

// headline is the verdict in a line: never without what was not assessed.
func headline(o verdict.Outcome, missing int) string {
	s := strings.ToUpper(string(o))
	switch o {
	case verdict.Holds:
		s += " AS FAR AS CHECKED"
	case verdict.Incomplete:
		s += ": NOTHING CHECKED FAILS, SOMETHING NEEDED IS MISSING"
	}
	return fmt.Sprintf("%s, %d NOT ASSESSED", s, missing)
}

func (t *teller) plan(p *verdict.Plan) {
	l := p.Lift
	rev := ""
	if l.Revision != "" {
		rev = ", revision " + l.Revision
	}
	t.say("%s", wrap("", fmt.Sprintf("%s%s  (%s)", l.Title, rev, l.File), 0))
	t.say("%s", headline(p.Outcome, p.NotAssessed))
	for i := range p.States {
		s := &p.States[i]
		if len(p.States) > 1 {
			name := "as first rigged"
			if i > 0 {
				name = fmt.Sprintf("step %d, %s", i, s.Hung.Step)
			}
			t.say("\n%s", wrap("", fmt.Sprintf("=== %s: %s, %d NOT ASSESSED", name, strings.ToUpper(string(s.Outcome)), len(s.NotAssessed)), 4))
		}
		t.say("")
		if t.found(s, verdict.Stop, verdict.Caution) {
			t.say("")
		}
		t.pose(p, s)
		t.say("")
		t.legs(p, s)
		t.cells(s)
		if t.spread {
			t.matters(p, s)
		}
		t.open(&p.States[0], s)
		if slices.ContainsFunc(s.Findings, func(f verdict.Finding) bool { return f.Severity == verdict.Note }) {
			t.say("")
			t.found(s, verdict.Note)
		}
	}
	t.envelope(p)
	t.say("")
	t.weights(p)
	t.say("")
	words := "Nominal: as planned. P95: not passed in 95 of 100 ways the figures may turn out; rounded up."
	if p.Dynamic == 1 {
		words += " Of WLL: P95 over the weakest rated part; no dynamic factor is asked for."
	} else {
		words += fmt.Sprintf(" Of WLL: P95 times the dynamic factor %.4g, over the weakest rated part; forces are shown without the factor.", p.Dynamic)
	}
	if worst(p) {
		words += " Worst: when lengths are off and other legs go slack."
	}
	if fromMass(l) {
		words += fmt.Sprintf(" Ratings written in mass units are read as force at standard gravity (%v m/s2).", float64(quantity.StandardGravity))
	}
	t.say("%s", wrap("", words, 0))
	t.say("%s", wrap("", verdict.Cautions, 0))
}

// found tells the findings of the given severities about a state, and whether
// there are any.
func (t *teller) found(s *verdict.State, told ...verdict.Severity) (any bool) {
	for i := range s.Findings {
		f := &s.Findings[i]
		if !slices.Contains(told, f.Severity) {
			continue
		}
		any = true
		text := f.Say(t.units)
		if !strings.HasPrefix(text, f.Where) {
			text = f.Where + ": " + text
		}
		t.tell(strings.ToUpper(string(f.Severity)), "%s [%s]", text, f.Source)
	}
	return any
}

// open tells what was not assessed; once only where it is the same as when
// first rigged.
func (t *teller) open(first, s *verdict.State) {
	if len(s.NotAssessed) == 0 {
		return
	}
	t.say("")
	if s != first && slices.Equal(s.NotAssessed, first.NotAssessed) {
		t.say("NOT ASSESSED: the same %d as when first rigged", len(s.NotAssessed))
		return
	}
	t.say("NOT ASSESSED")
	for _, n := range s.NotAssessed {
		t.tell("", "%s", n)
	}
}

// pose says what hangs and how.
func (t *teller) pose(p *verdict.Plan, s *verdict.State) {
	h := s.Hung
	w := s.Spread.Weight
	half := (w.P95 - w.P5) / 2
	band := ""
	if half > 0 {
		band = fmt.Sprintf(", P5 %s, P95 %s", t.force(w.P5, half, down), t.force(w.P95, half, upward))
	}
	t.tell("weight", "%s, the load alone: %s %s%s", t.mass(p.Sheet.Mass), t.force(h.WeightN, half, nearest), t.unit(), band)
	load := &h.Bodies[0]
	limit := ""
	if l := p.Lift.Limits.Tilt; l != nil {
		limit = fmt.Sprintf(" (%.1f° allowed%s)", deg(float64(l.Value)), over(load.Tilt, float64(l.Value)))
	}
	t.tell("hangs", "%.1f° off level%s%s", deg(load.Tilt), limit, lowSide(load))
	switch {
	case !h.Stable:
		t.tell("", "NOT STABLE")
	case h.StabilityM != nil:
		t.tell("", "stable: its centre of gravity may rise %s before the pose is lost", t.length(*h.StabilityM, down))
	default:
		t.tell("", "stable, however high its centre of gravity")
	}
	for i := range h.Bodies[1:] {
		b := &h.Bodies[1+i]
		t.tell("", "%s %.1f° off level%s", b.Name, deg(b.Tilt), lowSide(b))
	}
	sum, sum95, sumHalf := s.Total()
	for i := range h.Hooks {
		k := &h.Hooks[i]
		p95, half := bears(s, lift.OnHook, k.Name)
		limit := "NO RATING"
		if r := p.Lift.Hooks[i].WLL; r != nil {
			limit = fmt.Sprintf("%s of its rating, %s %s%s", percent(p95*p.Dynamic/float64(r.Force)), t.force(float64(r.Force), 0, nearest), t.unit(), over(p95*p.Dynamic, float64(r.Force)))
		}
		t.tell("hook", "%s %s %s, P95 %s; %s", k.Name, t.force(k.LoadN, half, nearest), t.unit(), t.force(p95, half, upward), limit)
	}
	t.total(p, sum, sum95, sumHalf)
	t.parts(s)
	share := half / math.Max(h.WeightN, 1) // how far the other forces may be off
	for i := range h.Supports {
		k := &h.Supports[i]
		if k.Off {
			t.tell("ground", "%s carries nothing: %s has lifted off", k.Name, p.Lift.Supports[i].At)
			continue
		}
		side := math.Hypot(k.Force[0], k.Force[1])
		grip := ""
		if k.Grip > 0 {
			grip = fmt.Sprintf(" and %s sideways, %s of its friction", t.force(side, share*k.Force[2], nearest), percent(k.Grip))
		}
		t.tell("ground", "%s carries %s %s%s", k.Name, t.force(k.Force[2], share*k.Force[2], nearest), t.unit(), grip)
	}
	for i := range h.Ties {
		k := &h.Ties[i]
		t.tell("tie", "%s pulls %s %s", k.Name, t.force(k.TensionN, share*k.TensionN, nearest), t.unit())
	}
	t.cranes(s)
	t.tell("headroom", "%s from the hook down to the highest lug", t.length(h.HeadroomM, nearest))
}

// total says what all hooks carry together, where that is not the one hook's
// force or is held against the crew's numbers.
func (t *teller) total(p *verdict.Plan, sum, p95, half float64) {
	limit := p.Lift.Limits.Total
	if len(p.Lift.Hooks) == 1 && limit == nil {
		return
	}
	text := fmt.Sprintf("%s %s at the hooks, P95 %s", t.force(sum, half, nearest), t.unit(), t.force(p95, half, upward))
	demand := p95 * p.Dynamic
	if p.Dynamic != 1 {
		text += fmt.Sprintf(", with the dynamic factor %s", t.force(demand, half, upward))
	}
	if limit != nil {
		for _, k := range []struct {
			word string
			at   *quantity.Rating
		}{{"warn", limit.Warn}, {"stop", limit.Stop}} {
			if k.at != nil {
				text += fmt.Sprintf("; %s at %s", k.word, t.force(float64(k.at.Force), 0, nearest))
				if demand >= float64(k.at.Force) {
					text += " <<< REACHED"
				}
			}
		}
	}
	t.tell("total", "%s", text)
}

// parts sums up the rated parts.
func (t *teller) parts(s *verdict.State) {
	rated := slices.Clone(s.Parts)
	rated = slices.DeleteFunc(rated, func(q verdict.Part) bool { return q.Utilisation == nil })
	if len(rated) == 0 {
		return
	}
	slices.SortStableFunc(rated, func(a, b verdict.Part) int { return cmp.Compare(*b.Utilisation, *a.Utilisation) })
	failing := 0
	for _, q := range rated {
		if q.Status == verdict.PartFails {
			failing++
		}
	}
	count := fmt.Sprintf("%d with a rating, all hold", len(rated))
	if failing > 0 {
		count = fmt.Sprintf("%d with a rating, %d OVER IT", len(rated), failing)
	}
	if n := len(s.Parts) - len(rated); n > 0 {
		count += fmt.Sprintf(", %d WITHOUT", n)
	}
	q := rated[0]
	t.tell("parts", "%s; hardest used: %s (%s) %s%s", count, q.Where, q.Kind, percent(*q.Utilisation), over(*q.Utilisation, 1))
}

// nameWide is how wide a leg's name may stand in its table, so that what
// matters stays on an 80 column screen.
const nameWide = 14

// legs is the table of the legs.
func (t *teller) legs(p *verdict.Plan, s *verdict.State) {
	hasWorst := slices.ContainsFunc(s.Hung.Legs, func(l lift.HungLeg) bool { return l.WorstN != nil })
	widest := 0.0 // stands in for the half-width of a leg that does not spread
	for i := range s.Hung.Legs {
		_, half := bears(s, lift.OnLeg, s.Hung.Legs[i].Name)
		widest = math.Max(widest, half)
	}
	g := grid{align: "lddrrrl"}
	head, unit := []string{"leg", "nominal", "P95"}, []string{"", t.unit(), t.unit()}
	if hasWorst {
		g.align = "ldddrrrl"
		head, unit = append(head, "worst"), append(unit, t.unit())
	}
	g.row(append(head, "from", "from", "of", "")...)
	g.row(append(unit, "horiz.", "vert.", "WLL", "")...)
	for i := range s.Hung.Legs {
		l := &s.Hung.Legs[i]
		p95, half := bears(s, lift.OnLeg, l.Name)
		half = cmp.Or(half, widest)
		row := []string{fold(l.Name, nameWide), t.force(l.TensionN, half, nearest), t.force(p95, half, upward)}
		if hasWorst {
			row = append(row, "")
			if l.WorstN != nil {
				row[3] = t.force(*l.WorstN, half, upward)
			}
		}
		used, marks := "NO WLL", []string(nil)
		if u := s.Utilisation[l.Name]; u != nil {
			used = percent(*u)
			switch {
			case *u > 1:
				marks = append(marks, "OVER")
			case l.WorstN != nil && *l.WorstN*p.Dynamic > *l.WLLN:
				marks = append(marks, "WORST OVER")
			}
		}
		if l.Slack {
			marks = append(marks, "SLACK")
		}
		mark := ""
		if len(marks) > 0 {
			mark = "<<< " + strings.Join(marks, ", ")
		}
		g.row(append(row, fmt.Sprintf("%.1f°", deg(l.FromHorizontal)), fmt.Sprintf("%.1f°", deg(l.FromVertical)), used, mark)...)
	}
	t.b.WriteString(g.String())
}

// cells is the table of what the load cells must read.
func (t *teller) cells(s *verdict.State) {
	if len(s.Expected) == 0 {
		return
	}
	t.say("")
	g := grid{align: "lldd"}
	g.row("cell", "in leg", "must read", "95 of 100 readings")
	g.row("", "", t.unit(), t.unit())
	for _, e := range s.Expected {
		half := (e.HighN - e.LowN) / 2
		g.row(fold(e.Channel, nameWide), fold(e.Leg, nameWide), t.force(e.NominalN, half, nearest),
			fmt.Sprintf("%s to %s", t.force(e.LowN, half, down), t.force(e.HighN, half, upward)))
	}
	t.b.WriteString(g.String())
}

// weights is the weight sheet with who claimed each figure.
func (t *teller) weights(p *verdict.Plan) {
	g := grid{align: "llll"}
	g.row("weight sheet", "mass", "centre of gravity x y z", "claimed by")
	for _, line := range p.Sheet.Lines {
		from := cmp.Or(line.From, "nobody named")
		if !line.Counted {
			from += "; not counted, the load is dry"
		}
		g.row(fold(line.Name, nameWide), t.mass(line.Mass), t.place(line.At.XYZ()), fold(from, 24))
	}
	if c := float64(p.Lift.Load.Sheet.Contingency); c > 0 {
		g.row("contingency", t.mass(quantity.Known(quantity.Mass(float64(p.Sheet.Listed)*c))), "", fmt.Sprintf("%.3g %% of the sum", c*100))
	}
	g.row("load", t.mass(p.Sheet.Mass), t.place(p.Sheet.CG.XYZ()), "")
	t.b.WriteString(g.String())
	if b := t.box(p); b != "" {
		t.say("the centre of gravity is within %s", b)
	}
	if !t.sheet {
		t.say("how each mass was found: --sheet")
		return
	}
	t.say("how each mass was found")
	for _, line := range p.Sheet.Lines {
		t.say("%s", wrap("  ", line.Name+": "+line.How, 4))
	}
}

// box words how far the centre of gravity can be, rounded outward.
func (t *teller) box(p *verdict.Plan) string {
	unit, least, decimals := "mm", 1e-3, 0
	if t.units == quantity.US {
		unit, least, decimals = "in", 0.1*0.0254, 1
	}
	var parts []string
	cg := p.Sheet.CG.XYZ()
	for q := range 3 {
		lo, hi := p.Sheet.CGLow[q]-cg[q], p.Sheet.CGHigh[q]-cg[q]
		if hi-lo > least/2 {
			shown := func(m float64, r rounding) string {
				n, _ := quantity.In(quantity.Length(r(m/least)*least), unit)
				return fmt.Sprintf("%+.*f", decimals, n)
			}
			parts = append(parts, fmt.Sprintf("%s %s..%s", "xyz"[q:q+1], shown(lo, down), shown(hi, upward)))
		}
	}
	if len(parts) == 0 {
		return ""
	}
	return strings.Join(parts, ", ") + " " + unit
}

// bears gives the P95 of a force, and the half-width of its band for the
// digits to show.
func bears(s *verdict.State, kind lift.DemandKind, name string) (p95, half float64) {
	for k, d := range s.Demands {
		if d.Kind == kind && d.Name == name {
			b := s.Spread.Demands[k]
			return b.P95, (b.P95 - b.P5) / 2
		}
	}
	return math.NaN(), 0
}

// over marks a demand past its limit.
func over(demand, limit float64) string {
	if demand > limit {
		return " <<< OVER"
	}
	return ""
}

func worst(p *verdict.Plan) bool {
	for i := range p.States {
		if slices.ContainsFunc(p.States[i].Hung.Legs, func(l lift.HungLeg) bool { return l.WorstN != nil }) {
			return true
		}
	}
	return false
}

// lowSide words which side of a body hangs low, in its own axes.
func lowSide(b *lift.HungBody) string {
	if b.LowSide == nil || b.Tilt < 0.05*math.Pi/180 {
		return ""
	}
	a := math.Mod(deg(*b.LowSide)+360, 360)
	quarter := int(math.Round(a/90)) % 4
	axes := [...]string{"+x", "+y", "-x", "-y"}
	where := axes[quarter]
	if off := math.Abs(a - 90*math.Round(a/90)); off > 10 {
		first := int(a/90) % 4
		where = "between " + axes[first] + " and " + axes[(first+1)%4]
	}
	return fmt.Sprintf(", low side %s (%.0f° from +x to +y)", where, math.Mod(math.Round(a), 360))
}

// fromMass reports whether the file has a rating in mass units.
func fromMass(l *lift.Lift) bool {
	var all []*quantity.Rating
	limit := func(m lift.Limit) { all = append(all, m.Warn, m.Stop) }
	if l.Limits.Total != nil {
		limit(*l.Limits.Total)
	}
	for _, m := range l.Limits.Legs {
		limit(m)
	}
	points := func(lugs []lift.Lug) {
		for i := range lugs {
			all = append(all, lugs[i].WLL)
		}
	}
	points(l.Load.Lugs)
	for i := range l.Spreaders {
		all = append(all, l.Spreaders[i].WLL)
		points(l.Spreaders[i].Points)
	}
	for i := range l.Hooks {
		all = append(all, l.Hooks[i].WLL)
	}
	for i := range l.Nodes {
		all = append(all, l.Nodes[i].WLL)
	}
	for i := range l.Legs {
		leg := &l.Legs[i]
		all = append(all, leg.WLL)
		if leg.Cell != nil {
			all = append(all, leg.Cell.Capacity)
		}
		for k := range leg.Stack {
			all = append(all, leg.Stack[k].WLL)
			if c := leg.Stack[k].Cell; c != nil {
				all = append(all, c.Capacity)
			}
		}
	}
	return slices.ContainsFunc(all, func(r *quantity.Rating) bool { return r != nil && r.FromMass })
}

func deg(r float64) float64 { return r * 180 / math.Pi }
