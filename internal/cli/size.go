package cli

import (
	"cmp"
	"context"
	"fmt"
	"maps"
	"math"
	"slices"
	"strings"
	"time"

	"github.com/goccy/go-yaml"

	"plumbhook/contract"
	"plumbhook/fault"
	catalogue "plumbhook/gear"
	"plumbhook/internal/store"
	"plumbhook/quantity"
	"plumbhook/register"
	"plumbhook/rulebook"
	"plumbhook/size"
	"plumbhook/verdict"
)

type sizeCmd struct {
	File       string        `arg:"" help:"Lift file (YAML)."`
	Level      bool          `xor:"pose" help:"Choose leg lengths that make the load hang level: what is done unless --tilt is given."`
	Tilt       string        `xor:"pose" placeholder:"ANGLE" help:"Choose leg lengths that make the load hang so far off level, as 5 deg; goes with --low-side."`
	LowSide    string        `placeholder:"SIDE" help:"The side that is to hang low, in the load's axes: +x, +y, or as 30 deg from +x toward +y; --low-side=-x for a minus."`
	Within     string        `default:"0.5 deg" placeholder:"ANGLE" help:"How far off the load may hang with lengths that can be had (default ${default}: common practice, no source)."`
	Adjust     []string      `sep:"none" placeholder:"LEG: RANGE" help:"A leg whose length is open, others then are not: 'west: 2.8..3.2 m', in links 'west: 2.8..3.2 m by 30 mm', from the file's length 'west: - 10 x 30 mm' or 'west: + 3 x 84 mm'. Give it again for each leg."`
	Headroom   string        `placeholder:"LENGTH" help:"From the bearing of the hook down to the highest lug there is so much, as 4 m: choose the longest legs that fit."`
	LeastAngle string        `placeholder:"ANGLE" help:"Flattest that legs may stand, with what it is from: '45 deg from horizontal'."`
	Margin     string        `placeholder:"SHARE" help:"What gear must be rated for above P95, as 25 %."`
	Offer      []string      `sep:"none" placeholder:"PIECE" help:"Gear to choose from, as in a stack of the lift file: 'kind: load cell, capacity: 6.5 t, accuracy: 0.1 % fs'; without a size or rating, all that the catalogue rates: 'kind: alloy chain sling, grade: 80'. Give it again for each piece."`
	Data       string        `placeholder:"DIR" help:"Choose from the gear register in this data folder; a piece that the file names by its serial alone is taken from it."`
	On         register.Date `placeholder:"DATE" help:"The day on which gear of the register must be fit for use; today unless given."`
	Rise       string        `placeholder:"FORCE" help:"By how much the force on a load cell may pass what is planned before the hoist stands, as 5 kN."`
	Error      string        `placeholder:"SHARE" help:"Largest error of a load cell that will do, as a share of what it must read: 1 %."`
	Units      string        `enum:"metric,us" default:"metric" help:"Units of the text: metric or us."`
	Format     string        `enum:"text,json" default:"text" help:"text or json."`
}

// Help goes on where the list of flags ends.
func (*sizeCmd) Help() string {
	return `Lengths are chosen for the lift as first rigged; gear and load cells for the lengths in the file and all steps. ` +
		`Exit status: 0 everything asked for can be had; 1 something cannot, or the file rates something too low: the answer says what; ` +
		`2 the file or an option is invalid or cannot be read; 3 anything else.`
}

// Run answers what lengths, gear and cells to bring.
func (c *sizeCmd) Run(e *env) error {
	q, err := c.question()
	if err != nil {
		return err
	}
	l, _, err := registered{c.Data, c.On}.read(c.File)
	if err != nil {
		return err
	}
	if q.Ranges, err = ranges(c.Adjust, func(name string) (float64, bool) {
		for i := range l.Legs {
			if l.Legs[i].Name == name {
				return float64(l.Legs[i].Length.Value), true
			}
		}
		return 0, false
	}); err != nil {
		return err
	}
	rules, err := rulebook.Prepare(l)
	if err != nil {
		return err
	}
	q.Margin.Dynamic = rules.OnRatings
	if rules.Factor != nil {
		q.Accuracy.Dynamic = rules.Factor.Value
	}
	a, err := size.Ask(l, q)
	if err != nil {
		return err
	}
	if c.Format == "json" {
		err = writeJSON(e.out, contract.NewSize(a))
	} else {
		t := teller{units: units(c.Units)}
		t.sizes(a)
		err = write(e.out, []byte(printable(t.b.String())))
	}
	if err == nil && !a.Had() {
		return errFails
	}
	return err
}

// question reads the options.
func (c *sizeCmd) question() (size.Question, error) {
	q := size.Question{Posed: c.Level || c.Tilt != ""}
	var bad fault.List
	keep := func(flag string, err error) {
		for _, f := range fault.Of(err) {
			bad = append(bad, f.In(flag))
		}
	}
	q.Goal.Within = value[quantity.Angle](c.Within, "--within", keep)
	q.Goal.Tilt = value[quantity.Angle](c.Tilt, "--tilt", keep)
	switch {
	case c.LowSide != "":
		side, err := lowSideOf(c.LowSide)
		keep("--low-side", err)
		q.Goal.LowSide = side
		if c.Tilt == "" {
			keep("--low-side", fault.New(fault.Missing, "no tilt is given").Fix("give --tilt too"))
		}
	case q.Goal.Tilt != 0:
		keep("--tilt", fault.New(fault.Missing, "which side is to hang low is not said").Fix("give --low-side too, as +x"))
	}
	if c.Headroom != "" {
		h := float64(value[quantity.Length](c.Headroom, "--headroom", keep))
		q.Headroom = &h
	}
	if c.LeastAngle != "" {
		m, from, err := quantity.ParseAngleFrom(c.LeastAngle)
		keep("--least-angle", err)
		a := m.Value
		switch from {
		case "vertical":
			a = math.Pi/2 - a
		case "included":
			a = math.Pi/2 - a/2
		}
		q.Margin.LeastAngle = &a
	}
	q.Margin.Share = float64(value[quantity.Ratio](c.Margin, "--margin", keep))
	if c.Rise != "" {
		r, err := quantity.ParseRating(c.Rise)
		keep("--rise", err)
		q.Accuracy.RiseN = float64(r.Force)
	}
	if c.Error != "" {
		w := float64(value[quantity.Ratio](c.Error, "--error", keep))
		q.Accuracy.Wanted = &w
	}
	for _, o := range c.Offer {
		more, err := offer(o)
		keep("--offer", err)
		q.Offers = append(q.Offers, more...)
	}
	if c.Data != "" && len(bad) == 0 {
		more, err := c.stock()
		if err != nil {
			return q, err
		}
		if q.Offers = append(q.Offers, more...); len(more) == 0 {
			keep("--data", fault.New(fault.Missing, "the register holds no gear").Fix("import a gear list first: plumbhook gear --data %s import FILE", c.Data))
		}
	}
	return q, bad.Err()
}

// value reads the figure of an option, not below zero and without a spread.
func value[Q quantity.Quantity](text, flag string, keep func(string, error)) Q {
	if text == "" {
		return 0
	}
	m, err := quantity.Parse[Q](text)
	switch {
	case err != nil:
		keep(flag, err)
	case m.Shape != quantity.Exact || m.Value < 0:
		keep(flag, fault.New(fault.Range, "%s will not do", text).Fix("give one figure, not below zero and without a spread"))
	}
	return m.Value
}

// lowSideOf reads a direction in the load's axes, rad from +x toward +y.
func lowSideOf(s string) (quantity.Angle, error) {
	switch strings.TrimSpace(s) {
	case "+x":
		return 0, nil
	case "+y":
		return math.Pi / 2, nil
	case "-x":
		return math.Pi, nil
	case "-y":
		return -math.Pi / 2, nil
	}
	angle, ok := strings.CutSuffix(strings.Join(strings.Fields(s), " "), " from +x toward +y")
	if !ok {
		return 0, fault.New(fault.Ambiguous, "%q does not say where it counts from", s).Fix("write +x, +y, -x, -y (--low-side=-x), or as 30 deg from +x toward +y")
	}
	m, err := quantity.Parse[quantity.Angle](angle)
	return m.Value, err
}

// ranges reads which legs are open and between which lengths.
func ranges(texts []string, now func(leg string) (float64, bool)) ([]size.Range, error) {
	var all []size.Range
	var bad fault.List
	for _, text := range texts {
		at := strings.LastIndex(text, ":")
		if at < 0 {
			bad = append(bad, fault.New(fault.Syntax, "%q names no leg and its lengths", text).In("--adjust").Fix("write LEG: RANGE, as west: 2.8..3.2 m"))
			continue
		}
		r := size.Range{Leg: strings.TrimSpace(text[:at])}
		from, known := now(r.Leg)
		if err := span(&r, strings.TrimSpace(text[at+1:]), from); err != nil && known { // size tells of an unknown leg
			for _, f := range fault.Of(err) {
				bad = append(bad, f.In("--adjust "+r.Leg))
			}
		}
		all = append(all, r)
	}
	return all, bad.Err()
}

// span reads the lengths that a leg may have.
func span(r *size.Range, text string, from float64) error {
	if sign := text; len(sign) > 1 && (sign[0] == '+' || sign[0] == '-') {
		count, each, ok := strings.Cut(text[1:], "x")
		var n int
		if _, err := fmt.Sscanf(strings.TrimSpace(count), "%d", &n); err != nil || !ok || n < 1 {
			return fault.New(fault.Syntax, "%q is not so many times a length", text).Fix("write - 10 x 30 mm for up to ten links taken up, + 3 x 84 mm for up to three shackles more")
		}
		m, err := quantity.Parse[quantity.Length](strings.TrimSpace(each))
		if err != nil {
			return err
		}
		r.Step, r.Min, r.Max = float64(m.Value), from, from
		if by := float64(n) * r.Step; sign[0] == '+' {
			r.Max += by
		} else {
			r.Min -= by
		}
		return nil
	}
	limits, step, stepped := strings.Cut(text, " by ")
	m, err := quantity.Parse[quantity.Length](limits)
	switch {
	case err != nil:
		return err
	case m.Shape != quantity.Uniform:
		return fault.New(fault.Range, "%q is no range", limits).Fix("write the shortest and the longest length, as 2.8..3.2 m")
	}
	r.Min, r.Max = float64(m.Low), float64(m.High)
	if !stepped {
		return nil
	}
	s, err := quantity.Parse[quantity.Length](step)
	r.Step = float64(s.Value)
	if err == nil && !(r.Step > 0) {
		err = fault.New(fault.Range, "a step of %s leads nowhere", step).Fix("give the length of a step, as 30 mm")
	}
	return err
}

// offer reads a piece, or a kind of which the catalogue has many.
func offer(text string) ([]size.Candidate, error) {
	said := map[string]string{}
	if err := yaml.Unmarshal([]byte("{"+text+"}"), &said); err != nil {
		return nil, fault.New(fault.Syntax, "%q is no piece of gear", text).Fix("write it as in a stack, as kind: load cell, capacity: 6.5 t")
	}
	kind := said["kind"]
	delete(said, "kind")
	one := false
	for _, key := range []string{"wll", "size", "diameter", "capacity"} {
		one = one || said[key] != ""
	}
	p, err := catalogue.Look(kind, said, fault.Pos{})
	switch {
	case err != nil:
		return nil, err
	case one:
		return []size.Candidate{size.Of(p)}, nil
	}
	all := size.Catalogue(p.Kind, said)
	if len(all) == 0 {
		return nil, fault.New(fault.Missing, "no table that was read rates %s as it is described", text).Fix("give the rating off the tag: wll: 5 t")
	}
	return all, nil
}

// stock makes candidates of all gear on the register that is not scrapped.
func (c *sizeCmd) stock() ([]size.Candidate, error) {
	on := cmp.Or(c.On, register.DateOf(time.Now()))
	ctx := context.Background()
	s, err := store.Open(ctx, c.Data, false)
	if err != nil {
		return nil, err
	}
	defer s.Close()
	items, err := s.Find(ctx, register.Query{})
	if err != nil {
		return nil, err
	}
	var all []size.Candidate
	for i := range items {
		if it := &items[i]; it.Status != register.Scrapped {
			all = append(all, itemOffer(it, on))
		}
	}
	return all, nil
}

// itemOffer makes a candidate of an item, with what stands against using it.
func itemOffer(it *register.Item, on register.Date) size.Candidate {
	p, err := catalogue.Look(it.Kind, it.Said(), fault.Pos{})
	k := size.Of(p)
	if err != nil {
		k = size.Candidate{Name: it.Serial + " (" + it.Kind + ")", Kind: it.Kind, Serial: it.Serial}
		k.Unfit = "what the register says of it cannot be read: " + fault.Of(err)[0].What
	}
	for _, f := range register.Fitness(it, on) {
		if f.Severity == register.Stop {
			k.Unfit = strings.TrimPrefix(k.Unfit+"; "+f.Text, "; ")
		}
	}
	return k
}

// sizes writes the answer.
func (t *teller) sizes(a *size.Answer) {
	l := a.Lift
	rev := ""
	if l.Revision != "" {
		rev = ", revision " + l.Revision
	}
	t.say("%s", wrap("", fmt.Sprintf("%s%s  (%s)", l.Title, rev, l.File), 0))
	lengths := a.Lengths
	if h := a.Headroom; h != nil {
		lengths = h.Longest
		t.headroom(h)
	}
	t.say("")
	if lengths == nil {
		t.say("LENGTHS: NOT CHOSEN")
		for _, f := range a.Unposed {
			t.tell("WHY", "%v", f)
		}
	} else {
		t.lengths(a, lengths)
	}
	t.places(a)
	t.choices(a)
	t.bring(a)
	t.say("")
	t.say("%s", wrap("", t.heldTo(a), 0))
	t.say("%s", wrap("", verdict.Cautions, 0))
}

func (t *teller) why(reasons []size.Reason) {
	for _, r := range reasons {
		t.tell("WHY", "%s", r.Say(t.units))
	}
}

func (t *teller) lengths(a *size.Answer, s *size.Lengths) {
	word := "CANNOT BE HAD"
	if s.Reached {
		word = "FOUND"
	}
	if s.Goal.Tilt == 0 {
		t.say("LENGTHS TO HANG LEVEL: %s", word)
	} else {
		t.say("LENGTHS FOR THE TILT WANTED: %s", word)
		t.tell("wanted", "%.1f° off level, low side at %.0f° from +x toward +y", deg(float64(s.Goal.Tilt)), deg(float64(s.Goal.LowSide)))
	}
	p := &s.Practical
	b := &p.Hung.Bodies[0]
	t.tell("hangs", "%.2f° from what is wanted (%.2f° with the file's lengths, %.2f° with exact ones; %.1f° will do); %.2f° off level%s", deg(float64(p.Off)), deg(float64(s.Now)), deg(float64(s.Exact.Off)), deg(float64(s.Goal.Within)), deg(b.Tilt), lowSide(b))
	if !p.Hung.Stable {
		t.tell("", "NOT STABLE")
	}
	for i := range p.HookOver {
		t.tell("hook", "%s stands over the load at x %s, y %s, in the load's axes; its CG is at x %s, y %s", p.Hung.Hooks[i].Name,
			size.Length(p.HookOver[i][0], t.units), size.Length(p.HookOver[i][1], t.units), size.Length(p.Hung.CGLoad[0], t.units), size.Length(p.Hung.CGLoad[1], t.units))
	}
	t.tell("headroom", "%s from the hook down to the highest lug", size.Length(p.Hung.HeadroomM, t.units))
	for i := range p.Hung.Bodies[1:] {
		t.tell("", "%s hangs %.1f° off level", p.Hung.Bodies[1+i].Name, deg(p.Hung.Bodies[1+i].Tilt))
	}
	t.why(s.Reasons)
	t.say("")
	unit, small := quantity.For[quantity.Length](t.units), "mm"
	if t.units == quantity.US {
		small = "in"
	}
	head := []string{"leg", "now", "exact", "take", "change", "from", "tension", "nominal", "P95", "of"}
	below := []string{"", unit, unit, unit, small, "horiz.", "factor", t.unit(), t.unit(), "WLL"}
	four := slices.ContainsFunc(p.Legs, func(x size.Leg) bool { return x.WorstN != nil })
	if four {
		head, below = slices.Insert(head, 9, "worst"), slices.Insert(below, 9, t.unit())
	}
	g := grid{align: "l" + strings.Repeat("r", len(head)-1)}
	g.row(head...)
	g.row(below...)
	for i := range p.Legs {
		x := &p.Legs[i]
		exact, change := "fixed", ""
		if x.Sized {
			exact = t.bare(s.Exact.Legs[i].To)
			by, _ := quantity.In(quantity.Length(x.To-x.From), small)
			if change = fmt.Sprintf("%+.0f", by); t.units == quantity.US {
				change = fmt.Sprintf("%+.1f", by)
			}
		}
		half := *x.P95N - x.TensionN // the digits that the spread supports
		used := "no rating"
		if x.Utilisation != nil {
			used = percent(*x.Utilisation)
		}
		if x.Slack {
			used = "SLACK"
		}
		row := []string{
			fold(x.Name, 10), t.bare(x.From), exact, t.bare(x.To), change, fmt.Sprintf("%.1f°", deg(float64(x.FromHorizontal))),
			fmt.Sprintf("%.2f", min(x.Factor, 99.99)), t.force(x.TensionN, half, nearest), t.force(*x.P95N, half, upward), used,
		}
		if four {
			worst := ""
			if x.WorstN != nil {
				worst = t.force(*x.WorstN, half, upward)
			}
			row = slices.Insert(row, 9, worst)
		}
		g.row(row...)
	}
	t.b.WriteString(g.String())
}

// bare is a length without its unit.
func (t *teller) bare(m float64) string {
	return strings.TrimSuffix(size.Length(m, t.units), " "+quantity.For[quantity.Length](t.units))
}

func (t *teller) headroom(h *size.Headroom) {
	word := "NOTHING FITS AND HOLDS"
	if h.Fits {
		word = "THE LENGTHS BELOW FIT"
	}
	t.say("")
	t.say("HEADROOM %s: %s", size.Length(h.Limit, t.units), word)
	t.why(h.Reasons)
	for _, k := range []struct {
		for_ string
		rig  *size.Rigged
	}{{"for the angle of its legs", h.ByAngle}, {"for the ratings of its legs", h.ByRating}} {
		if k.rig == nil {
			continue
		}
		var legs []string
		for _, x := range k.rig.Legs {
			if x.Sized {
				legs = append(legs, fmt.Sprintf("%s %s at %.1f°", x.Name, t.length(x.To, nearest), deg(float64(x.FromHorizontal))))
			}
		}
		t.tell("least", "%s %s: %s", t.length(k.rig.Hung.HeadroomM, upward), k.for_, strings.Join(legs, ", "))
	}
}

func (t *teller) places(a *size.Answer) {
	t.say("")
	t.say("WHAT EACH PLACE MUST BE RATED FOR, at the lengths in the file")
	g := grid{align: "ldddl"}
	g.row("place", "P95", "demand", "in the file", "")
	g.row("", t.unit(), t.unit(), t.unit(), "")
	for i := range a.Places {
		p := &a.Places[i]
		has, note := "no rating", ""
		if p.RatedN != nil {
			has = t.force(*p.RatedN, 0, nearest)
		}
		if p.Short() {
			note = "<<< TOO LITTLE"
		}
		if p.WorstN != nil && p.DemandN > p.P95N*(1+a.Margin.Share)*cmp.Or(a.Margin.Dynamic, 1) {
			note = strings.TrimSpace("worst share " + note)
		}
		if p.Step != "" {
			note = strings.TrimSpace("step " + p.Step + " " + note)
		}
		g.row(fold(p.Where, 26), t.force(p.P95N, p.P95N/200, upward), t.force(p.DemandN, p.DemandN/200, upward), has, fold(note, 24))
	}
	t.b.WriteString(g.String())
}

func (t *teller) choices(a *size.Answer) {
	t.say("")
	t.say("SMALLEST GEAR THAT HOLDS")
	for i := range a.Choices {
		c := &a.Choices[i]
		words := []string{c.Kind}
		for _, k := range slices.Sorted(maps.Keys(c.Facts)) {
			words = append(words, k+" "+c.Facts[k])
		}
		t.say("%s", wrap("", fmt.Sprintf("%s, at %s", strings.Join(words, ", "), strings.Join(c.At, ", ")), 2))
		t.tell("  needs", "%s %s, as %s asks: %s", t.force(c.Place.DemandN, c.Place.DemandN/200, upward), t.unit(), c.Place.Where, c.Place.Why.Say(t.units))
		var weak []string
		for _, r := range c.Rejected {
			if r.LimitN != nil && *r.LimitN < c.Place.DemandN {
				weak = append(weak, fmt.Sprintf("%s %s", cmp.Or(r.Serial, r.Size, r.Name), t.force(*r.LimitN, *r.LimitN/200, down)))
			} else {
				t.tell("  not", "%s: %s", r.Name, r.Why.Say(t.units))
			}
		}
		if len(weak) > 0 {
			t.tell("  smaller", "rated for less than that: %s %s", strings.Join(weak, ", "), t.unit())
		}
		switch {
		case c.Pick != nil:
			r := c.Pick.WLL
			if float64(r.Force) != c.PickN { // a hitch takes some of it
				r = c.Pick.Choker
			}
			t.tell("  take", "%s: may carry %s %s there (%s) [%s]", c.Pick.Name, t.force(c.PickN, c.PickN/200, down), t.unit(), r.Text, r.Source)
			if c.Next != nil {
				t.tell("  next up", "%s (%s)", c.Next.Name, c.Next.WLL.Text)
			}
		case len(c.Rejected) > 0:
			t.tell("  TAKE", "NOTHING THAT WAS LOOKED AT HOLDS; what is brought must say so much on its tag")
		default:
			t.tell("  take", "what says so much on its tag: nothing of this kind was offered, and no table rates it as described (--offer, --data)")
		}
	}
}

func (t *teller) bring(a *size.Answer) {
	if len(a.Cells) == 0 {
		return
	}
	t.say("")
	t.say("LOAD CELLS TO BRING")
	for i := range a.Cells {
		c := &a.Cells[i]
		name := "leg " + c.Place.Leg
		if c.Place.Channel != "" {
			name += ", channel " + c.Place.Channel
		}
		t.say("%s", wrap("", name, 2))
		t.tell("  bears", "%s %s at least: %s", t.force(c.LeastN, c.LeastN/200, upward), t.unit(), c.Why.Say(t.units))
		if c.Place.NotRead == "" {
			half := c.Place.ReadsN - c.Place.LowN
			t.tell("  reads", "%s %s as planned; its 95 %% band begins at %s", t.force(c.Place.ReadsN, half, nearest), t.unit(), t.force(math.Max(0, c.Place.LowN), half, down))
		} else {
			t.tell("  reads", "not known: %s", c.Place.NotRead)
		}
		for _, r := range c.Rejected {
			t.tell("  not", "%s: %s", r.Name, r.Why.Say(t.units))
		}
		switch {
		case c.Pick != nil && c.ErrorPct != nil:
			t.tell("  take", "%s: errs by up to %.2g %% of what it must read", c.Pick.Name, *c.ErrorPct)
		case c.Pick != nil:
			t.tell("  take", "%s; how far it errs is not stated", c.Pick.Name)
		case len(c.Rejected) > 0:
			t.tell("  TAKE", "NONE OF THESE WILL DO")
		default:
			t.tell("  take", "one of that capacity; none was offered (--offer, --data)")
		}
	}
}

// heldTo words what the choices were held to.
func (t *teller) heldTo(a *size.Answer) string {
	s := "Lengths are unloaded, bearing to bearing. Exact: to hang as wanted, four legs sharing as evenly as statics allows. Take: in steps that can be had; the forces are of these; write them into the file and check it. P95: not passed in 95 of 100 ways the figures may turn out. Demand: P95"
	if d := cmp.Or(a.Margin.Dynamic, 1); d != 1 {
		s += fmt.Sprintf(" × dynamic factor %.4g", d)
	} else if d := cmp.Or(a.Accuracy.Dynamic, 1); d != 1 {
		s += fmt.Sprintf(" (the plan's dynamic factor %.4g is not held against ratings, as in the check; it is on load cells)", d)
	}
	if a.Margin.Share > 0 {
		s += fmt.Sprintf(" × %.4g for the margin", 1+a.Margin.Share)
	}
	s += ", or the worst share of four legs and more if that is greater. Sizes are chosen by rating alone: fit of pins, bends, edges, heat and the rest are for the check."
	if a.Headroom != nil && a.Margin.LeastAngle == nil {
		s += " No least angle is asked for (--least-angle): codes and sites have one."
	}
	if a.Accuracy.RiseN == 0 && len(a.Cells) > 0 {
		s += " No rise until the hoist stands is allowed for (--rise)."
	}
	if a.Accuracy.Wanted == nil && len(a.Cells) > 0 {
		s += " No error of the cells is asked to be kept (--error)."
	}
	return s
}
