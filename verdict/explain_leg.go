package verdict

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"plumbhook/lift"
	"plumbhook/quantity"
	"plumbhook/spread"
	"plumbhook/statics"
)

// tension explains the force in a leg, and lays out the balance of the body
// it holds.
func (w *draft) tension(i int) error {
	leg, h := &w.p.Lift.Legs[i], &w.s.Hung.Legs[i]
	w.Title = "force in leg " + leg.Name + " at its upper end"
	switch {
	case leg.Catenary:
		w.sag(i)
	case len(leg.Via) > 0:
		w.Title = "force in leg " + leg.Name + ", the greater of its two ends"
		w.slide(i)
	default:
		w.pull(i)
	}
	if h.Slack {
		w.note("the leg counts as slack: it carries less than a millionth of all that hangs")
	}
	// The body at the load's end of the leg, or else the node there.
	for _, ref := range []lift.Ref{leg.To, leg.From} {
		for b := range w.s.Hung.Bodies {
			if w.s.Hung.Bodies[b].Name == ref.Body || slices.ContainsFunc(leg.Via, func(r lift.Ref) bool { return r.Body == w.s.Hung.Bodies[b].Name }) {
				w.balance(b)
				return nil
			}
		}
	}
	for _, ref := range []lift.Ref{leg.To, leg.From} {
		for n := range w.s.Hung.Nodes {
			if w.s.Hung.Nodes[n].Name == ref.Body {
				w.joint(n)
				return nil
			}
		}
	}
	return nil
}

// spring works out the tension of legs and ties alike from their path: how
// far it is stretched, times the stiffness. It reports false, and gives the
// tension as found, where the stretch is too small to be told from the length.
func (w *draft) spring(path []statics.Vec, names []string, unloaded float64, k *float64, tension float64, source string) bool {
	span := 0.0
	for j := 1; j < len(path); j++ {
		span += path[j].Sub(path[j-1]).Norm()
	}
	stretch := span - unloaded
	told := k != nil && tension > 0 && math.Abs(*k*stretch-tension) < 2e-5*tension
	decimals := 6
	if told {
		// The stretch is a small difference of lengths: six digits of it.
		decimals = min(max(5-int(math.Floor(math.Log10(stretch))), 6), 14)
	}
	for j, name := range names {
		w.found(fmt.Sprintf("P%d", j+1), name, "m", decimals, path[j][:]...)
	}
	var spans []string
	for j := 1; j < len(path); j++ {
		a, b := path[j-1], path[j]
		put := make([]string, 3)
		for q := range 3 {
			put[q] = fmt.Sprintf("(%v - %v)²", fixed{b[q], decimals}, fixed{a[q], decimals})
		}
		symbol := "l"
		if len(path) > 2 {
			symbol = fmt.Sprintf("l%d", j)
		}
		l := w.work(symbol, fmt.Sprintf("|P%d - P%d|", j+1, j), fromGeometry, "m", b.Sub(a).Norm(), "sqrt(%s)", strings.Join(put, " + "))
		spans = append(spans, fixed{l.Value, decimals}.String())
	}
	if len(path) > 2 {
		w.work("l", "sum of the spans", fromGeometry, "m", span, "%s", strings.Join(spans, " + "))
	}
	switch {
	case told:
		w.work("s", "l - L", "stretch", "m", stretch, "%v - %v", fixed{span, decimals}, fixed{unloaded, decimals})
		w.work("T", "k s", source, "N", tension, "%v × %v", num(*k), num(stretch))
		return true
	case tension <= 0:
		w.work("s", "l - L", "stretch: none, so the leg is slack", "m", stretch, "%v - %v", fixed{span, decimals}, fixed{unloaded, decimals})
	case k == nil:
		w.note("no stiffness is given: the length does not give, and the force is the one that balances (table below)")
	default:
		w.note("so stiff that the stretch cannot be told from the length: the force is the one that balances (table below)")
	}
	w.found("T", "force along the leg", "N", -1, tension)
	return false
}

// pull works out a straight leg with its own weight lumped at its ends.
func (w *draft) pull(i int) {
	leg, h := &w.p.Lift.Legs[i], &w.s.Hung.Legs[i]
	g := w.grips(i)
	up, down := g[0], g[1]
	if up.force != statics.Vec(h.Upper) {
		up, down = down, up
	}
	m, grav := float64(leg.Mass.Value), w.gravity()
	half := statics.Vec{0, 0, m * grav / 2}
	along := up.force.Add(half) // the pull without the weight
	unloaded, k := w.unloaded(i), w.stiffness(i)
	w.spring([]statics.Vec{up.at, down.at}, []string{"upper end, at " + up.ref.String(), "lower end, at " + down.ref.String()},
		unloaded, k, along.Norm(), fromSpring)
	if m == 0 {
		if !h.Slack {
			w.work("F", "T", "no mass of the leg is given", "N", h.TensionN, "%v", num(along.Norm())).answer()
		} else {
			w.work("F", "T", "slack", "N", h.TensionN, "%v", num(along.Norm())).answer()
		}
		return
	}
	w.stated("m", "mass of the leg", "kg", m, leg.Mass.Text, "legs."+leg.Name+".mass", "sum of its stack")
	w.work("w", "m g / 2", fromLump, "N", half[2], "%v × %v / 2", num(m), num(grav))
	d := down.at.Sub(up.at)
	l := d.Norm()
	across := along.Norm() * math.Hypot(d[0], d[1]) / l
	drop := along.Norm() * -d[2] / l
	w.work("H", "T × horizontal run / l", fromGeometry, "N", across, "%v × sqrt(%v² + %v²) / %v", num(along.Norm()), num(d[0]), num(d[1]), num(l))
	w.work("V", "T × drop / l", fromGeometry, "N", drop, "%v × %v / %v", num(along.Norm()), num(-d[2]), num(l))
	w.work("F", "sqrt(H² + (V + w)²)", fromMechanics, "N", h.TensionN, "sqrt(%v² + (%v + %v)²)", num(across), num(drop), num(half[2])).answer()
	w.work("F lower", "sqrt(H² + (V - w)²)", fromMechanics, "N", h.LowerN, "sqrt(%v² + (%v - %v)²)", num(across), num(drop), num(half[2]))
}

// slide works out a rope that runs over points.
func (w *draft) slide(i int) {
	leg, h := &w.p.Lift.Legs[i], &w.s.Hung.Legs[i]
	g := w.grips(i)
	var path []statics.Vec
	var names []string
	for _, e := range g {
		path, names = append(path, e.at), append(names, "the rope at "+e.ref.String())
	}
	grav := w.gravity()
	w.spring(path, names, w.unloaded(i), w.stiffness(i), h.Spans[0], "mechanics: without friction one force runs through the whole rope (Hooke)")
	half := float64(leg.Mass.Value) * grav / 2
	if half > 0 {
		w.stated("m", "mass of the leg", "kg", float64(leg.Mass.Value), leg.Mass.Text, "legs."+leg.Name+".mass", "sum of its stack")
	}
	var ends []string
	for k, e := range []grip{g[0], g[len(g)-1]} {
		f := e.force
		pull := f[2] + half
		w.work(fmt.Sprintf("F%d", k+1), fmt.Sprintf("T at end %d with half the leg's weight", k+1), fromLump, "N", f.Norm(),
			"sqrt(%v² + %v² + (%v - %v)²)", num(f[0]), num(f[1]), num(pull), num(half))
		ends = append(ends, num(f.Norm()).String())
	}
	w.work("F", "max(F1, F2)", fromMechanics, "N", h.TensionN, "max(%s)", strings.Join(ends, ", ")).answer()
	if h.SlipLow == nil {
		return
	}
	t := Table{
		Title: "force in each span: without friction, and about to slip toward either end",
		Source: fmt.Sprintf("belt friction (Euler): over a point the forces differ by the factor exp(friction × angle turned), friction %v; "+
			"the pose at slip is not quite the one above", num(leg.Friction)),
		Columns: []Column{{"nominal", "N"}, {"to first end", "N"}, {"to last end", "N"}},
	}
	for k := range h.Spans {
		t.Rows = append(t.Rows, Row{Label: fmt.Sprintf("span %d", k+1), Values: []float64{h.Spans[k], h.SlipLow[k], h.SlipHigh[k]}})
	}
	w.Tables = append(w.Tables, t)
}

// sag works a leg that hangs as a catenary backwards: the forces found must
// span just the distance between its ends.
func (w *draft) sag(i int) {
	leg, h := &w.p.Lift.Legs[i], &w.s.Hung.Legs[i]
	g := w.grips(i)
	up, down := g[0], g[1]
	if up.force != statics.Vec(h.Upper) {
		up, down = down, up
	}
	w.found("P1", "upper end, at "+up.ref.String(), "m", 6, up.at[:]...)
	w.found("P2", "lower end, at "+down.ref.String(), "m", 6, down.at[:]...)
	m, grav, length, k := float64(leg.Mass.Value), w.gravity(), w.unloaded(i), w.stiffness(i)
	w.stated("m", "mass of the leg", "kg", m, leg.Mass.Text, "legs."+leg.Name+".mass", "sum of its stack")
	across, high := math.Hypot(up.force[0], up.force[1]), -up.force[2]
	w.found("H", "horizontal force, alike all along", "N", -1, across)
	w.found("V", "vertical force at the upper end", "N", -1, high)
	weight := m * grav
	w.work("W", "m g", fromWeight, "N", weight, "%v × %v", num(m), num(grav))
	w.work("F", "sqrt(H² + V²)", fromMechanics, "N", h.TensionN, "sqrt(%v² + %v²)", num(across), num(high)).answer()
	w.work("F lower", "sqrt(H² + (V - W)²)", fromMechanics, "N", h.LowerN, "sqrt(%v² + (%v - %v)²)", num(across), num(high), num(weight))
	const irvine = "elastic catenary (Irvine, Cable Structures, 1981)"
	d := down.at.Sub(up.at)
	elastic, stretch := "", ""
	if k != nil {
		elastic = fmt.Sprintf(" + %v / %v", num(across), num(*k))
		stretch = fmt.Sprintf(" + (%v - %v / 2) / %v", num(high), num(weight), num(*k))
	}
	w.work("run", "(H L / W) (asinh(V/H) - asinh((V - W)/H)) + H/k: must be that of the ends", irvine, "m", math.Hypot(d[0], d[1]),
		"%v × %v / %v × (asinh(%v / %v) - asinh((%v - %v) / %v))%s", num(across), num(length), num(weight), num(high), num(across), num(high), num(weight), num(across), elastic)
	w.work("drop", "(L / W) (sqrt(H² + V²) - sqrt(H² + (V - W)²)) + (V - W/2)/k: must be that of the ends", irvine, "m", -d[2],
		"%v / %v × (sqrt(%v² + %v²) - sqrt(%v² + (%v - %v)²))%s", num(length), num(weight), num(across), num(high), num(across), num(high), num(weight), stretch)
}

// unloaded states the length of a leg in this state and gives it.
func (w *draft) unloaded(i int) float64 {
	leg := &w.p.Lift.Legs[i]
	path, l := "legs."+leg.Name+".length", leg.Length
	for k := range w.index {
		if x, ok := w.p.Lift.Steps[k].Legs[leg.Name]; ok {
			l, path = x, fmt.Sprintf("steps[%d].legs.%s", k+1, leg.Name)
		}
	}
	w.stated("L", "unloaded length of leg "+leg.Name, "m", float64(l.Value), l.Text, path, "")
	return float64(l.Value)
}

// stiffness states the stiffness of a leg and gives it; nil for one that does
// not stretch.
func (w *draft) stiffness(i int) *float64 {
	leg := &w.p.Lift.Legs[i]
	if leg.Stiffness == nil {
		return nil
	}
	k := float64(leg.Stiffness.Value)
	w.stated("k", "stiffness of leg "+leg.Name+", whole", "N/m", k, leg.Stiffness.Text, "legs."+leg.Name+".stiffness", "")
	return &k
}

// length explains the unloaded and the stretched length of a leg.
func (w *draft) length(i int) error {
	leg, h := &w.p.Lift.Legs[i], &w.s.Hung.Legs[i]
	w.Title = "length of leg " + leg.Name + ", bearing to bearing"
	l := w.unloaded(i)
	var terms []string
	sum := 0.0
	for k := range leg.Stack {
		e := &leg.Stack[k]
		if e.Length == nil {
			continue
		}
		w.stated(fmt.Sprintf("L%d", k+1), e.Kind, "m", float64(e.Length.Value), e.Length.Text, fmt.Sprintf("legs.%s.stack[%d].length", leg.Name, k+1), "")
		terms, sum = append(terms, num(e.Length.Value).String()), sum+float64(e.Length.Value)
	}
	if len(terms) > 0 && math.Abs(sum-l) < 1e-9*l {
		w.work("L", "sum of the stack", "lengths in a row add up", "m", l, "%s", strings.Join(terms, " + ")).answer()
	}
	g := w.grips(i)
	put := make([]string, len(g)-1)
	for k := range put {
		w.found(fmt.Sprintf("P%d", k+1), "the leg at "+g[k].ref.String(), "m", 6, g[k].at[:]...)
		a, b := g[k].at, g[k+1].at
		put[k] = fmt.Sprintf("sqrt((%v - %v)² + (%v - %v)² + (%v - %v)²)",
			fixed{b[0], 6}, fixed{a[0], 6}, fixed{b[1], 6}, fixed{a[1], 6}, fixed{b[2], 6}, fixed{a[2], 6})
	}
	last := len(g) - 1
	w.found(fmt.Sprintf("P%d", last+1), "the leg at "+g[last].ref.String(), "m", 6, g[last].at[:]...)
	w.work("l", "distance between its ends, along its points", fromGeometry, "m", h.LengthM, "%s", strings.Join(put, " + ")).answer()
	if leg.Catenary {
		w.note("the leg hangs as a catenary: it is longer than its chord")
	}
	return nil
}

// angle explains both angles of a leg.
func (w *draft) angle(i int) error {
	leg, h := &w.p.Lift.Legs[i], &w.s.Hung.Legs[i]
	w.Title = "angle of leg " + leg.Name + ", from horizontal and from vertical"
	g := w.grips(i)
	// Of a rope over points the flatter of the two end spans counts.
	a, b := g[0], g[1]
	steep := func(a, b grip) float64 {
		d := b.at.Sub(a.at)
		return math.Atan2(math.Abs(d[2]), math.Hypot(d[0], d[1]))
	}
	if n := len(g); n > 2 {
		w.Title += " (the flatter of its two end spans)"
		if steep(g[n-2], g[n-1]) < steep(a, b) {
			a, b = g[n-2], g[n-1]
		}
	}
	w.found("P1", "the leg at "+a.ref.String(), "m", 6, a.at[:]...)
	w.found("P2", "the leg at "+b.ref.String(), "m", 6, b.at[:]...)
	d := b.at.Sub(a.at)
	run, rise := math.Hypot(d[0], d[1]), math.Abs(d[2])
	w.work("run", "sqrt(Δx² + Δy²)", fromGeometry, "m", run, "sqrt((%v - %v)² + (%v - %v)²)", fixed{b.at[0], 6}, fixed{a.at[0], 6}, fixed{b.at[1], 6}, fixed{a.at[1], 6})
	w.work("rise", "|Δz|", fromGeometry, "m", rise, "max(%v - %v, %v - %v)", fixed{b.at[2], 6}, fixed{a.at[2], 6}, fixed{a.at[2], 6}, fixed{b.at[2], 6})
	w.work("from horizontal", "atan2(rise, run)", fromGeometry, "deg", deg(h.FromHorizontal), "atan2(%v, %v)", fixed{rise, 6}, fixed{run, 6}).answer()
	w.work("from vertical", "90 - from horizontal", fromGeometry, "deg", deg(h.FromVertical), "90 - %v", num(deg(h.FromHorizontal))).answer()
	if leg.Catenary {
		w.note("of the chord: a leg that hangs as a catenary is steeper at its upper end")
	}
	return nil
}

// rating is a limit with the place where the file has it.
type rating struct {
	what, path string
	wll        *quantity.Rating
}

// ratings lists what the file says of a part of the rigging, by the name it
// has among the parts.
func (w *draft) ratings(name string) []rating {
	l := w.p.Lift
	for i := range l.Legs {
		leg := &l.Legs[i]
		where := "legs." + leg.Name
		stack := func(k int) rating {
			e := &leg.Stack[k]
			path := fmt.Sprintf("%s.stack[%d]", where, k+1)
			if e.WLL == nil && e.Cell != nil {
				return rating{e.Kind, path + ".capacity", e.Cell.Capacity}
			}
			return rating{e.Kind, path + ".wll", e.WLL}
		}
		for k := range leg.Stack {
			if name == stackName(leg.Name, k) {
				return []rating{stack(k)}
			}
		}
		if name != where {
			continue
		}
		all := []rating{{"leg " + leg.Name, where + ".wll", leg.WLL}}
		for k := range leg.Stack {
			all = append(all, stack(k))
		}
		if len(leg.Stack) == 0 && leg.Cell != nil {
			all = append(all, rating{"load cell", where + ".cell.capacity", leg.Cell.Capacity})
		}
		return all
	}
	for i := range l.Hooks {
		if "hooks."+l.Hooks[i].Name == name {
			return []rating{{"hook " + l.Hooks[i].Name, name + ".wll", l.Hooks[i].WLL}}
		}
	}
	for i := range l.Nodes {
		if "nodes."+l.Nodes[i].Name == name {
			return []rating{{"node " + l.Nodes[i].Name, name + ".wll", l.Nodes[i].WLL}}
		}
	}
	for i := range l.Spreaders {
		if "spreaders."+l.Spreaders[i].Name == name {
			return []rating{{"spreader " + l.Spreaders[i].Name, name + ".wll", l.Spreaders[i].WLL}}
		}
	}
	body, p, _ := strings.Cut(name, ".")
	for _, lug := range w.lugs(body) {
		if lug.Name == p {
			path := "load.lugs." + p
			if body != "load" {
				path = "spreaders." + body + ".points." + p
			}
			return []rating{{"point " + name, path + ".wll", lug.WLL}}
		}
	}
	return nil
}

func (w *draft) lugs(body string) []lift.Lug {
	if body == "load" {
		return w.p.Lift.Load.Lugs
	}
	for i := range w.p.Lift.Spreaders {
		if w.p.Lift.Spreaders[i].Name == body {
			return w.p.Lift.Spreaders[i].Points
		}
	}
	return nil
}

// utilisation explains a demand over its limit.
func (w *draft) utilisation(name string, b bearing) error {
	w.Title = "utilisation of " + name + ": P95 force times dynamic factor, over its rating"
	all := w.ratings(name)
	least := math.Inf(1)
	var limits []string
	for k, r := range all {
		if r.wll == nil {
			continue
		}
		symbol := "R"
		if len(all) > 1 {
			symbol = fmt.Sprintf("R%d", k)
		}
		n := float64(r.wll.Force)
		w.stated(symbol, "rating of the "+r.what, "N", n, r.wll.Text, r.path, "")
		if r.wll.FromMass {
			w.work(symbol, r.wll.Text+" × 9.80665", fromGravity, "N", n, "%v × 9.80665", num(n/float64(quantity.StandardGravity)))
		}
		least = math.Min(least, n)
		limits = append(limits, num(n).String())
	}
	k := w.demand(b)
	p95 := w.s.Spread.Demands[k].P95
	w.taken("P95", "force that is not passed in 95 of 100 ("+w.nameOf(b)+".p95)", "N", "the draws", p95)
	d := w.dynamic()
	w.work("demand", "P95 D", "gross force; the dynamic factor is the one the file asks for", "N", p95*d, "%v × %v", num(p95), num(d))
	if len(limits) == 0 {
		w.note("no rating is given: nothing to hold the demand against. A rating that is missing is not a rating that holds")
		return nil
	}
	if len(limits) > 1 {
		w.work("R", "the weakest rated part", fromTag, "N", least, "min(%s)", strings.Join(limits, ", "))
	}
	w.work("utilisation", "demand / R", "above 1 the part is overloaded", "", p95*d/least, "%v / %v", num(p95*d), num(least)).answer()
	for _, r := range all {
		if r.wll == nil && r.what != "leg "+strings.TrimPrefix(name, "legs.") {
			w.note("the %s has no rating: not in this number", r.what)
		}
	}
	return nil
}

// expected explains the band that a cell must read in.
func (w *draft) expected(x Expected) error {
	i := slices.IndexFunc(w.p.Lift.Legs, func(l lift.Leg) bool { return l.Name == x.Leg })
	leg, h := &w.p.Lift.Legs[i], &w.s.Hung.Legs[i]
	cell, below := leg.CellAt()
	w.Title = "what channel " + x.Channel + " must read once the load hangs (cell in leg " + leg.Name + ")"
	m, g := float64(leg.Mass.Value), w.gravity()
	w.stated("m", "mass of the leg", "kg", m, leg.Mass.Text, "legs."+leg.Name+".mass", "sum of its stack")
	w.taken("m below", "of it, below the cell", "kg", "the stack under the cell; half of a leg without stack", below)
	above := w.work("w", "(m - m below) g", fromWeight, "N", (m-below)*g, "(%v - %v) × %v", num(m), num(below), num(g)).Value
	at := func(symbol, formula, source string, up statics.Vec) float64 {
		v := math.Hypot(math.Hypot(up[0], up[1]), up[2]+above)
		w.work(symbol, formula, source, "N", v, "sqrt(%v² + %v² + (%v + %v)²)", num(up[0]), num(up[1]), num(up[2]), num(above))
		return v
	}
	up := statics.Vec(h.Upper)
	w.found("F", "force of the leg on its upper end (legs."+leg.Name+".tension)", "N", -1, up[:]...)
	at("F cell", "sqrt(Fx² + Fy² + (Fz + w)²): that at the top less the weight above the cell", fromMechanics, up)
	if cell.Zero == lift.ZeroNone {
		w.work("reading", "F cell", "zero: none, so the cell reads all that pulls on it", "N", x.NominalN, "%v", num(x.AtCellN)).answer()
	} else if err := w.zero(i, cell, x, at); err != nil {
		return err
	}
	c := &x.Cell
	switch a := cell.Accuracy; {
	case a == nil:
		w.note("no accuracy of the cell is given: the bands leave its error out")
	case a.OfFullScale:
		path := "legs." + leg.Name + ".cell"
		if k := slices.IndexFunc(leg.Stack, func(e lift.Part) bool { return e.Cell == cell }); k >= 0 {
			path = stackName(leg.Name, k)
		}
		w.stated("C", "capacity of the cell", "N", float64(cell.Capacity.Force), cell.Capacity.Text, path+".capacity", "")
		w.work("e", a.Text+", of full scale: "+num(a.Share).String()+" C", "stated accuracy of the cell, a hard limit", "N", c.Error, "%v × %v", num(a.Share), num(cell.Capacity.Force))
	default:
		w.work("e", a.Text+", of the reading", "stated accuracy of the cell, a hard limit", "N", c.ErrorShare*math.Abs(x.NominalN), "%v × %v", num(a.Share), num(math.Abs(x.NominalN)))
	}
	errs := "an error drawn evenly within ± e"
	if drift := c.Drift + c.DriftShare*math.Abs(x.NominalN); drift > 0 {
		var texts []string
		for _, k := range cell.Warmth {
			texts = append(texts, k.Text)
		}
		why := strings.Join(texts, ", ") + ", over the temperatures of the site: of the zero over their whole range, or from 20 °C for a raw cell; of the slope from 20 °C (common practice, no source)"
		if share := w.p.overridden(leg); share > 0 {
			past := fmt.Sprintf("± %.2g %% of the reading for the time since its calibration, by the override in the gear register", 100*share)
			if len(texts) == 0 {
				why = past
			} else {
				why += "; and " + past
			}
		}
		w.taken("t", why, "N", "the file", drift)
		errs += " and another within ± t"
	}
	if c.Step > 0 {
		path := "legs." + leg.Name + ".cell"
		if k := slices.IndexFunc(leg.Stack, func(e lift.Part) bool { return e.Cell == cell }); k >= 0 {
			path = stackName(leg.Name, k)
		}
		w.stated("s", "step of the display", "N", c.Step, cell.Resolution.Text, path+".resolution", "")
		errs += ", rounded to steps of s"
	}
	w.note("each of %d rigs drawn (legs.%s.p95) gives a reading: F cell - zero, worked out as above from its own figures, with %s", w.s.Spread.Draws, leg.Name, errs)
	r := &w.s.Spread.Readings[slices.IndexFunc(w.s.Expected, func(e Expected) bool { return e.Channel == x.Channel })]
	w.order("low", &r.Drawn, 0.025)
	w.Work[len(w.Work)-1].Answer = true
	w.order("high", &r.Drawn, 0.975)
	w.Work[len(w.Work)-1].Answer = true
	w.taken("joint low", "with joint high: as many draws left out on either side of every cell alike as leave 95 of 100 with all cells inside at once", "N", "the draws", x.JointLowN)
	w.taken("joint high", "see joint low", "N", "the draws", x.JointHighN)
	return nil
}

// zero works out what a cell was zeroed with, and its reading.
func (w *draft) zero(i int, cell *lift.Cell, x Expected, at func(symbol, formula, source string, up statics.Vec) float64) error {
	rig, err := lift.NewRig(w.p.Lift)
	if err != nil {
		return err
	}
	hung, err := rig.Empty(1)
	if err != nil {
		return err
	}
	slack, err := rig.Empty(0.5)
	if err != nil {
		return err
	}
	w.found("E", "force of the leg on its upper end, the rigging hanging free without the load", "N", -1, hung[i][:]...)
	const formula = "sqrt(Ex² + Ey² + (Ez + w)²)"
	if cell.Zero == lift.ZeroHung {
		at("zero", formula, "zero: hung, so what hung below the cell is zeroed away", hung[i])
	} else {
		w.found("H", "the same, with half the weight of the legs to the load", "N", -1, slack[i][:]...)
		most := at("zero 1", formula, "zero: attached and slack, so at most what hangs below the cell is zeroed away", hung[i])
		least := at("zero 2", "sqrt(Hx² + Hy² + (Hz + w)²)", "and at least what is left when the lug takes half of a leg (common practice, no source)", slack[i])
		w.work("zero", "(zero 1 + zero 2) / 2", "the middle", "N", x.Cell.Zero, "(%v + %v) / 2", num(most), num(least))
		w.work("z", "half the distance of the two", "each draw has its zero anywhere within ± z", "N", x.Cell.ZeroLimit, "max(%v - %v, %v - %v) / 2", num(most), num(least), num(least), num(most))
	}
	w.work("reading", "F cell - zero", "the cell shows what has come since it was zeroed", "N", x.NominalN, "%v - %v", num(x.AtCellN), num(x.Cell.Zero)).answer()
	return nil
}

// order works a quantile out of sorted draws.
func (w *draft) order(symbol string, drawn *spread.Drawn, p float64) float64 {
	v, sorted := drawn.Quantile(p), drawn.Sorted
	n := len(sorted)
	x := p*float64(n) - 0.5
	i := min(max(int(x), 0), n-1)
	if x <= 0 || i+1 >= n {
		w.work(symbol, "the outermost draw", fromDraws, "N", v, "%v", num(sorted[i]))
		return v
	}
	w.work(symbol, fmt.Sprintf("between the draws of rank %d and %d of %d, %.4g of the way", i+1, i+2, n, x-float64(i)), fromDraws, "N", v,
		"%v + %v × (%v - %v)", num(sorted[i]), num(x-float64(i)), num(sorted[i+1]), num(sorted[i]))
	return v
}

// tie explains the pull of a tie to the ground.
func (w *draft) tie(i int) error {
	t, h := &w.p.Lift.Ties[i], &w.s.Hung.Ties[i]
	w.Title = "pull of tie " + t.Name
	path := "ties." + t.Name
	for k := range w.index {
		if held, ok := w.p.Lift.Steps[k].Ties[t.Name]; ok {
			w.note("step %s: %s", w.p.Lift.Steps[k].Name, map[bool]string{true: "the tie holds", false: "the tie is released"}[held])
		}
	}
	var k *float64
	if t.Stiffness != nil {
		v := float64(t.Stiffness.Value)
		k = &v
		w.stated("k", "stiffness of the tie", "N/m", v, t.Stiffness.Text, path+".stiffness", "")
	}
	at, to := w.where(t.At), statics.Vec(t.To.XYZ())
	var l float64
	if t.Length != nil {
		l = float64(t.Length.Value)
		w.stated("L", "unloaded length", "m", l, t.Length.Text, path+".length", "")
	} else {
		a := w.startOf(t.At)
		l = a.Sub(to).Norm()
		w.found("S", "where "+t.At.String()+" stands before the lift", "m", 6, a[:]...)
		w.Given[len(w.Given)-1].From = "start pose in the lift file"
		w.work("L", "its length in the start pose, as none is given", fromGeometry, "m", l, "sqrt((%v - %v)² + (%v - %v)² + (%v - %v)²)",
			num(a[0]), num(to[0]), num(a[1]), num(to[1]), num(a[2]), num(to[2]))
	}
	w.spring([]statics.Vec{to, at}, []string{"fixed end", "held point, " + t.At.String()}, l, k, h.TensionN, "mechanics: a taut tie pulls in proportion to its stretch (Hooke)")
	w.Work[len(w.Work)-1].Answer = true
	for b := range w.s.Hung.Bodies {
		if w.s.Hung.Bodies[b].Name == t.At.Body {
			w.balance(b)
		}
	}
	return nil
}

// startOf is where a point of the file stands before the lift.
func (w *draft) startOf(r lift.Ref) statics.Vec {
	l := w.p.Lift
	var at *quantity.Point
	var turn *lift.Turn
	if r.Body == "load" {
		at, turn = l.Load.At, l.Load.Turn
	}
	for i := range l.Spreaders {
		if l.Spreaders[i].Name == r.Body {
			at, turn = l.Spreaders[i].At, l.Spreaders[i].Turn
		}
	}
	for i := range l.Nodes {
		if l.Nodes[i].Name == r.Body {
			at = l.Nodes[i].At
		}
	}
	var p statics.Vec
	for _, lug := range w.lugs(r.Body) {
		if lug.Name == r.Point {
			p = lug.At.XYZ()
		}
	}
	if turn != nil { // about the world's x, then y, then z axis
		for q, angle := range []quantity.Angle{turn.X, turn.Y, turn.Z} {
			var axis statics.Vec
			axis[q] = float64(angle)
			rot := statics.Exp(axis)
			p = rot.Apply(p)
		}
	}
	if at != nil {
		p = p.Add(at.XYZ())
	}
	return p
}

// stackName is the name of a stack entry among the parts.
func stackName(leg string, k int) string { return fmt.Sprintf("legs.%s.stack[%d]", leg, k+1) }
