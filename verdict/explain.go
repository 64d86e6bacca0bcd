package verdict

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"plumbhook/fault"
	"plumbhook/lift"
	"plumbhook/quantity"
	"plumbhook/statics"
)

// Explanation is one number of a verdict laid open, so that a reader can redo
// it with a calculator: what goes in and where that stands, every formula
// with the numbers put in, and the source of the formula. All numbers are SI.
type Explanation struct {
	Name   string // as asked for: legs.west.tension
	Step   string // name of the step, empty for the lift as first rigged
	Title  string
	Given  []Given
	Work   []Working // in the order in which a reader does it
	Tables []Table
	Notes  []string
}

// Given is a number that is taken as it is: from the lift file, or out of the
// equilibrium, whose own check is a table of forces that add up to nothing.
type Given struct {
	Symbol string
	What   string
	Value  []float64 // one number, or x y z
	Fixed  int       // decimals that the working needs; below zero: seven digits
	Unit   string
	Text   string    // as written in the file
	From   string    // who claims it, or where it comes from when not from the file
	Pos    fault.Pos // in the lift file
}

// Working is one line of arithmetic. Put is Formula with the numbers in it,
// in signs that any calculator has: + - × / ² sqrt min max atan2 asinh exp.
type Working struct {
	Symbol  string
	Formula string
	Put     string
	Value   float64
	Unit    string
	Source  string
	Answer  bool // this is the number of the verdict
}

// Table is a working with many like lines. Sum is nil where nothing adds up.
type Table struct {
	Title   string
	Source  string
	Columns []Column
	Rows    []Row
	Sum     *Row
}

// Column of a table.
type Column struct{ Name, Unit string }

// Row of a table. NaN stands where there is no entry.
type Row struct {
	Label  string
	Values []float64
	Pos    fault.Pos
}

// The sources of the formulas.
const (
	fromMechanics = "mechanics"
	fromGeometry  = "geometry"
	fromWeight    = "mechanics: weight is mass times local gravity"
	fromSpring    = "mechanics: a taut leg pulls in proportion to its stretch (Hooke)"
	fromLump      = "mechanics; own weight of a straight leg counts half at either end"
	fromTag       = "tag or maker's figure in the lift file"
	fromGravity   = "a rating in mass units is read as force at standard gravity, 9.80665 m/s² (3rd CGPM, 1901)"
	fromDraws     = "order statistic of the draws, each standing for the middle of an equal share"
	inEquilibrium = "the equilibrium"
)

// draft is an explanation being written.
type draft struct {
	Explanation
	p     *Plan
	s     *State
	index int // of the state: 0 as first rigged
}

// entry is a number that can be explained.
type entry struct {
	name  string
	write func(*draft) error
}

// Explain lays open the number called name in state index of the plan: 0 is
// the lift as first rigged, i the lift after step i. Names are those of
// Explainable; the field names of the JSON answer do as well. The error is a
// *fault.Fault, of class Reference when nothing is called so.
func Explain(p *Plan, index int, name string) (*Explanation, error) {
	s := &p.States[index]
	entries := p.entries(s)
	k := find(entries, name)
	if k < 0 {
		f := fault.New(fault.Reference, "no number of this verdict is called %q", name)
		return nil, f.Fix("did you mean %s? --explain list prints all names", nearest(name, entries))
	}
	w := draft{p: p, s: s, index: index}
	w.Name, w.Step = entries[k].name, s.Hung.Step
	if err := entries[k].write(&w); err != nil {
		return nil, err
	}
	return &w.Explanation, nil
}

// Explainable lists the names that Explain knows in state index of the plan.
func Explainable(p *Plan, index int) []string {
	var names []string
	for _, e := range p.entries(&p.States[index]) {
		names = append(names, e.name)
	}
	return names
}

// entries lists every number of a state with the way to explain it.
func (p *Plan) entries(s *State) []entry {
	var all []entry
	add := func(name string, write func(*draft) error) { all = append(all, entry{name, write}) }
	h := s.Hung
	add("weight", (*draft).weight)
	add("weight.p5", func(w *draft) error { return w.spread(bearing{quantile: 0.05}) })
	add("weight.p95", func(w *draft) error { return w.spread(bearing{quantile: 0.95}) })
	add("cg", (*draft).centre)
	add("tilt", func(w *draft) error { return w.tilt(0) })
	add("headroom", (*draft).headroom)
	add("stability", (*draft).stability)
	add("total", (*draft).total)
	bears := func(name string, kind lift.DemandKind, of string, nominal func(*draft) error) {
		add(name, nominal)
		b := bearing{kind: kind, of: of, quantile: 0.95}
		add(name+".p95", func(w *draft) error { return w.spread(b) })
		add(name+".utilisation", func(w *draft) error { return w.utilisation(name, b) })
	}
	for i := range h.Legs {
		name, of := "legs."+h.Legs[i].Name, h.Legs[i].Name
		b := bearing{kind: lift.OnLeg, of: of, quantile: 0.95}
		add(name+".tension", func(w *draft) error { return w.tension(i) })
		add(name+".p95", func(w *draft) error { return w.spread(b) })
		add(name+".worst", func(w *draft) error { return w.worst(i) })
		add(name+".utilisation", func(w *draft) error { return w.utilisation(name, b) })
		add(name+".angle", func(w *draft) error { return w.angle(i) })
		add(name+".length", func(w *draft) error { return w.length(i) })
		for _, part := range s.Parts {
			if strings.HasPrefix(part.Where, name+".stack[") {
				add(part.Where+".utilisation", func(w *draft) error { return w.utilisation(part.Where, b) })
			}
		}
	}
	for i := range h.Hooks {
		bears("hooks."+h.Hooks[i].Name, lift.OnHook, h.Hooks[i].Name, func(w *draft) error { return w.hook(i) })
	}
	for i := range h.Nodes {
		bears("nodes."+h.Nodes[i].Name, lift.OnNode, h.Nodes[i].Name, func(w *draft) error { return w.node(i) })
	}
	for i := range h.Bodies {
		name := "bodies." + h.Bodies[i].Name
		add(name, func(w *draft) error { return w.pose(i) })
		add(name+".cg", func(w *draft) error { return w.pose(i) })
		add(name+".tilt", func(w *draft) error { return w.tilt(i) })
		add(name+".low_side", func(w *draft) error { return w.tilt(i) })
		if i > 0 {
			of := h.Bodies[i].Name
			bears("spreaders."+of, lift.OnSpreader, of, func(w *draft) error { return w.spreader(i) })
		}
	}
	for _, d := range s.Demands {
		if d.Kind == lift.OnPoint {
			bears(d.Name, lift.OnPoint, d.Name, func(w *draft) error { return w.point(d.Name) })
		}
	}
	for i := range h.Supports {
		add("supports."+h.Supports[i].Name, func(w *draft) error { return w.support(i) })
	}
	for i := range h.Ties {
		add("ties."+h.Ties[i].Name, func(w *draft) error { return w.tie(i) })
	}
	for _, q := range h.Squeeze {
		add("compression."+q.Body+"."+q.A+"."+q.B, func(w *draft) error { return w.compression(q) })
	}
	for _, x := range s.Expected {
		add("expected."+x.Channel, func(w *draft) error { return w.expected(x) })
	}
	return all
}

// find gives the place of a name, of a JSON field's name, or of one that
// leaves out what there is but one of; -1 when there is none.
func find(all []entry, name string) int {
	at := func(name string) int {
		return slices.IndexFunc(all, func(e entry) bool { return e.name == name })
	}
	plain := name
	for _, unit := range []string{"_N", "_m", "_deg"} {
		plain = strings.TrimSuffix(plain, unit)
	}
	for _, name := range []string{name, plain} {
		if k := at(name); k >= 0 {
			return k
		}
		for _, field := range []struct{ json, name string }{
			{".nominal", ""},
			{".load", ""},
			{".force", ""},
			{".tension", ""},
			{".lower", ".tension"},
			{".wll", ".utilisation"},
			{".from_horizontal", ".angle"},
			{".from_vertical", ".angle"},
			{"", ".tension"},
		} {
			if head, ok := strings.CutSuffix(name, field.json); ok && at(head+field.name) >= 0 {
				return at(head + field.name)
			}
		}
	}
	// compression.west.east of the one body that has the two.
	found := -1
	if pair, ok := strings.CutPrefix(name, "compression."); ok {
		for k := range all {
			if strings.HasPrefix(all[k].name, "compression.") && strings.HasSuffix(all[k].name, "."+pair) {
				if found >= 0 {
					return -1
				}
				found = k
			}
		}
	}
	return found
}

// nearest is the name that takes the fewest changes of a character
// (Levenshtein) to get from what was asked for; what was asked for may leave
// out the end of a name.
func nearest(name string, all []entry) string {
	best, least := "", math.MaxInt
	parts := strings.Count(name, ".") + 1
	for _, e := range all {
		head := strings.Join(strings.SplitN(e.name, ".", parts+1)[:min(parts, strings.Count(e.name, ".")+1)], ".")
		d := 2 * min(distance([]rune(name), []rune(e.name)), distance([]rune(name), []rune(head)))
		if head != e.name {
			d++ // of equals the whole name
		}
		if d < least {
			best, least = e.name, d
		}
	}
	return best
}

func distance(a, b []rune) int {
	row := make([]int, len(b)+1)
	for j := range row {
		row[j] = j
	}
	for i, x := range a {
		diagonal := row[0]
		row[0] = i + 1
		for j, y := range b {
			change := diagonal
			if x != y {
				change++
			}
			diagonal = row[j+1]
			row[j+1] = min(change, row[j]+1, row[j+1]+1)
		}
	}
	return row[len(b)]
}

// num is a number as it stands in a working: seven digits, and in brackets
// when negative.
type num float64

// String writes it.
func (n num) String() string { return bracket(digits(float64(n))) }

func digits(v float64) string {
	switch a := math.Abs(v); {
	case a < 1e-12: // the dust of rounding, in any unit here
		return "0"
	case a >= 1e-4 && a < 1e9:
		s := strconv.FormatFloat(v, 'f', max(0, 6-int(math.Floor(math.Log10(a)))), 64)
		if strings.Contains(s, ".") {
			s = strings.TrimRight(strings.TrimRight(s, "0"), ".")
		}
		return s
	}
	return strconv.FormatFloat(v, 'e', 6, 64)
}

// fixed is a number to a number of decimals, for differences of near numbers.
type fixed struct {
	v        float64
	decimals int
}

// String writes it.
func (f fixed) String() string { return bracket(f.text()) }

func (f fixed) text() string {
	s := strconv.FormatFloat(f.v, 'f', f.decimals, 64)
	if strings.Trim(s, "-0.") == "" {
		return strings.TrimPrefix(s, "-")
	}
	return s
}

func bracket(s string) string {
	if strings.HasPrefix(s, "-") {
		return "(" + s + ")"
	}
	return s
}

// Texts gives the numbers of a given with the digits that the working needs.
func (g Given) Texts() []string {
	var t []string
	for _, v := range g.Value {
		if g.Fixed < 0 {
			t = append(t, digits(v))
		} else {
			t = append(t, fixed{v, g.Fixed}.text())
		}
	}
	return t
}

// Text gives the result with seven digits.
func (k Working) Text() string { return digits(k.Value) }

// work adds a line of working and gives it for marking.
func (w *draft) work(symbol, formula, source, unit string, value float64, put string, args ...any) *Working {
	w.Work = append(w.Work, Working{
		Symbol: symbol, Formula: formula, Put: fmt.Sprintf(put, args...), Value: value, Unit: unit, Source: source,
	})
	return &w.Work[len(w.Work)-1]
}

func (k *Working) answer() { k.Answer = true }

func (w *draft) note(format string, args ...any) {
	w.Notes = append(w.Notes, fmt.Sprintf(format, args...))
}

// found adds a place or number out of the equilibrium.
func (w *draft) found(symbol, what, unit string, decimals int, v ...float64) {
	w.Given = append(w.Given, Given{Symbol: symbol, What: what, Value: v, Fixed: decimals, Unit: unit, From: inEquilibrium})
}

// taken adds a number from elsewhere.
func (w *draft) taken(symbol, what, unit, from string, v ...float64) {
	w.Given = append(w.Given, Given{Symbol: symbol, What: what, Value: v, Fixed: -1, Unit: unit, From: from})
}

// stated adds a number of the file that stands at path, or is taken from
// elsewhere when the file does not have it.
func (w *draft) stated(symbol, what, unit string, v float64, text, path, otherwise string) {
	g := Given{Symbol: symbol, What: what, Value: []float64{v}, Fixed: -1, Unit: unit, Text: text, Pos: w.place(path)}
	if g.Pos.Line == 0 {
		g.Text, g.From = "", otherwise
	}
	w.Given = append(w.Given, g)
}

// place finds where a path stands, or the nearest thing it belongs to.
func (w *draft) place(path string) fault.Pos {
	for path != "" {
		if pos := w.p.Lift.Place(path); pos.Line > 0 {
			return pos
		}
		path = path[:max(0, strings.LastIndexAny(path, ".["))]
	}
	return fault.Pos{}
}

// gravity states g and gives it.
func (w *draft) gravity() float64 {
	g := w.p.Lift.Site.G
	pos := w.p.Lift.Place("site.g")
	from := ""
	if pos.Line == 0 {
		from = "standard gravity, as the file gives none"
	}
	w.Given = append(w.Given, Given{
		Symbol: "g", What: "local gravity", Value: []float64{float64(g.Value)}, Fixed: -1, Unit: "m/s²",
		Text: g.Text, Pos: pos, From: from,
	})
	return float64(g.Value)
}

// dynamic states the dynamic factor.
func (w *draft) dynamic() float64 {
	path, from := "dynamic.factor", ""
	switch f, d := w.p.rules.Factor, w.p.Lift.Dynamic; {
	case f == nil:
		w.stated("D", "dynamic factor", "", w.p.Dynamic, "", "", "none asked for in the file")
		return w.p.Dynamic
	case d.Factor == 0: // by class and speed
		path, from = "dynamic.class", f.How+" ["+f.Source+"]"
	}
	if w.p.Dynamic == 1 {
		w.note("the dynamic factor of %.4g (%s) is shown beside the forces and not counted against ratings; on_ratings: true asks for that", w.p.rules.Factor.Value, w.p.rules.Factor.How)
		from = "counted against no rating"
	}
	w.stated("D", "dynamic factor", "", w.p.Dynamic, "", path, "")
	w.Given[len(w.Given)-1].From = from
	return w.p.Dynamic
}

// weight explains the weight of the load alone.
func (w *draft) weight() error {
	w.Title = "weight of the load alone"
	listed := w.masses()
	g := w.gravity()
	m := w.mass(listed)
	w.work("W", "M g", fromWeight, "N", w.s.Hung.WeightN, "%v × %v", num(m), num(g)).answer()
	w.note("what hangs with the load, legs, rings, spreaders, is not in it: see hooks.NAME")
	return nil
}

// masses states each line of the weight sheet and gives their sum.
func (w *draft) masses() float64 {
	var terms []string
	for i, line := range w.p.Sheet.Lines {
		g := Given{
			Symbol: fmt.Sprintf("m%d", i+1), What: line.Name, Value: []float64{float64(line.Mass.Value)}, Fixed: -1,
			Unit: "kg", Text: line.How, From: line.From, Pos: line.Pos,
		}
		if !line.Counted {
			g.What += " (a fluid; the load is dry: not counted)"
		} else {
			terms = append(terms, num(line.Mass.Value).String())
		}
		if g.Pos.Line == 0 {
			g.Pos = w.place("load.mass")
		}
		w.Given = append(w.Given, g)
	}
	listed := float64(w.p.Sheet.Listed)
	w.work("Σm", "sum of the masses", "weight take-off", "kg", listed, "%s", strings.Join(terms, " + "))
	return listed
}

// mass works out the mass of the load with the contingency.
func (w *draft) mass(listed float64) float64 {
	c := float64(w.p.Lift.Load.Sheet.Contingency)
	if c == 0 {
		w.work("M", "Σm", "no contingency in the file", "kg", w.s.Hung.MassKg, "%v", num(listed))
		return w.s.Hung.MassKg
	}
	w.stated("c", "contingency", "", c, "", "load.contingency", "")
	w.work("M", "Σm (1 + c)", "contingency: weight that nobody listed", "kg", w.s.Hung.MassKg, "%v × (1 + %v)", num(listed), num(c))
	return w.s.Hung.MassKg
}

// centre explains the centre of gravity in the load's axes.
func (w *draft) centre() error {
	w.Title = "centre of gravity of the load, in the load's own axes"
	t := Table{
		Title: "masses, their places, and the products", Source: fromMechanics,
		Columns: []Column{{"m", "kg"}, {"x", "m"}, {"y", "m"}, {"z", "m"}, {"m x", "kg m"}, {"m y", "kg m"}, {"m z", "kg m"}},
	}
	sum := make([]float64, 7)
	sum[1], sum[2], sum[3] = math.NaN(), math.NaN(), math.NaN()
	for _, line := range w.p.Sheet.Lines {
		if !line.Counted {
			w.note("%s is a fluid and the load is dry: not counted", line.Name)
			continue
		}
		m, at := float64(line.Mass.Value), line.At.XYZ()
		v := []float64{m, at[0], at[1], at[2], m * at[0], m * at[1], m * at[2]}
		for _, k := range []int{0, 4, 5, 6} {
			sum[k] += v[k]
		}
		pos := line.Pos
		if pos.Line == 0 {
			pos = w.place("load.cg")
		}
		t.Rows = append(t.Rows, Row{Label: line.Name, Values: v, Pos: pos})
	}
	t.Sum = &Row{Label: "sum", Values: sum}
	w.Tables = append(w.Tables, t)
	for k, axis := range []string{"x", "y", "z"} {
		w.work(axis, "Σ m "+axis+" / Σ m", "mechanics: the centre of gravity is the mean place, weighed by mass", "m",
			w.s.Hung.CGLoad[k], "%v / %v", num(sum[4+k]), num(sum[0])).answer()
	}
	lo, hi := w.p.Sheet.CGLow, w.p.Sheet.CGHigh
	w.note("with every part anywhere within its own limits it lies in x %.4f..%.4f, y %.4f..%.4f, z %.4f..%.4f m",
		lo[0], hi[0], lo[1], hi[1], lo[2], hi[2])
	if w.p.Lift.Load.Sheet.Contingency > 0 {
		w.note("the contingency scales the mass and leaves the centre where it is")
	}
	return nil
}

// headroom explains the height from hook to highest lug.
func (w *draft) headroom() error {
	h := w.s.Hung
	w.Title = "height from a hook bearing down to the highest lug of the load that hangs from it; of several hooks the least"
	b := &h.Bodies[0]
	var lugs []string
	for _, lug := range w.p.Lift.Load.Lugs {
		if _, held := b.Forces[lug.Name]; held {
			lugs = append(lugs, lug.Name)
			w.found("z "+lug.Name, "height of load."+lug.Name+" as it hangs", "m", 6, b.Points[lug.Name][2])
		}
	}
	var least []string
	for i := range h.Hooks {
		under := w.under(h.Hooks[i].Name)
		var z []string
		top := math.Inf(-1)
		for _, lug := range lugs {
			if under[lug] {
				top = max(top, b.Points[lug][2])
				z = append(z, fixed{b.Points[lug][2], 6}.String())
			}
		}
		if len(z) == 0 {
			w.note("hook %s does not carry the load", h.Hooks[i].Name)
			continue
		}
		at := h.Hooks[i].At[2]
		w.found("h "+h.Hooks[i].Name, "height of hook "+h.Hooks[i].Name, "m", 6, at)
		d := w.work("d "+h.Hooks[i].Name, "height of the hook less that of the highest lug under it", fromGeometry, "m", at-top, "%v - max(%s)", fixed{at, 6}, strings.Join(z, ", "))
		least = append(least, fixed{d.Value, 6}.String())
	}
	w.work("headroom", "the least", fromGeometry, "m", h.HeadroomM, "min(%s)", strings.Join(least, ", ")).answer()
	w.note("the heights come out of the pose: bodies.load shows that it balances")
	return nil
}

// under tells which lugs of the load hang from a hook, over spreaders and
// nodes.
func (w *draft) under(hook string) map[string]bool {
	below, lugs := map[string]bool{hook: true}, map[string]bool{}
	for again := true; again; {
		again = false
		for i := range w.p.Lift.Legs {
			path := w.grips(i)
			if !slices.ContainsFunc(path, func(g grip) bool { return below[g.ref.Body] }) {
				continue
			}
			for _, g := range path {
				other := slices.ContainsFunc(w.p.Lift.Hooks, func(h lift.Hook) bool { return h.Name == g.ref.Body })
				switch {
				case g.ref.Body == "load":
					lugs[g.ref.Point] = true
				case !other && !below[g.ref.Body]:
					below[g.ref.Body], again = true, true
				}
			}
		}
	}
	return lugs
}

// total explains the sum at the hooks.
func (w *draft) total() error {
	w.Title = "what all hooks carry together, straight down"
	var now, p95 []string
	sum, high := 0.0, 0.0
	for k, d := range w.s.Demands {
		if d.Kind != lift.OnHook {
			continue
		}
		i := slices.IndexFunc(w.s.Hung.Hooks, func(h lift.HungHook) bool { return h.Name == d.Name })
		h := &w.s.Hung.Hooks[i]
		n := -h.Force[2]
		w.found(fmt.Sprintf("F%d", i+1), "force at hook "+d.Name+", straight down", "N", -1, n)
		w.found(fmt.Sprintf("H%d", i+1), "force at hook "+d.Name+" (hooks."+d.Name+")", "N", -1, h.LoadN)
		w.taken(fmt.Sprintf("P%d", i+1), "its P95 (hooks."+d.Name+".p95)", "N", "the draws", w.s.Spread.Demands[k].P95)
		now = append(now, num(n).String())
		p95 = append(p95, fmt.Sprintf("%v × %v / %v", num(w.s.Spread.Demands[k].P95), num(n), num(h.LoadN)))
		sum, high = sum+n, high+w.s.Spread.Demands[k].P95*n/h.LoadN
	}
	w.work("F", "ΣF", fromMechanics, "N", sum, "%s", strings.Join(now, " + ")).answer()
	d := w.dynamic()
	w.work("demand", "D Σ P F / H", "P95 of each hook, its share straight down, as if all were high together", "N", d*high, "%v × (%s)", num(d), strings.Join(p95, " + "))
	if l := w.p.Lift.Limits.Total; l != nil {
		for _, r := range []struct {
			name string
			at   *quantity.Rating
		}{{"warn", l.Warn}, {"stop", l.Stop}} {
			if r.at != nil {
				w.stated(r.name, r.name+" number for the total", "N", float64(r.at.Force), r.at.Text, "limits.total."+r.name, "")
			}
		}
		w.note("the demand is held against the warn and the stop number")
	}
	return nil
}

// grip is the force of one leg, tie or support on one thing.
type grip struct {
	what      string
	ref       lift.Ref
	at, force statics.Vec
}

// grips gives the force of leg i on each thing along its path, own weight
// included.
func (w *draft) grips(i int) []grip {
	leg, h := &w.p.Lift.Legs[i], &w.s.Hung.Legs[i]
	refs := append(append([]lift.Ref{leg.From}, leg.Via...), leg.To)
	g := make([]grip, len(refs))
	for k, ref := range refs {
		g[k] = grip{what: "leg " + leg.Name, ref: ref, at: h.Path[k]}
	}
	if len(leg.Via) == 0 {
		// The file may name either end first. A taut leg pulls its upper end
		// toward its lower one; a slack one hangs on both alike.
		upper, lower := statics.Vec(h.Upper), statics.Vec(h.Lower)
		g[0].force, g[1].force = upper, lower
		if upper.Sub(lower).Dot(g[1].at.Sub(g[0].at)) < 0 {
			g[0].force, g[1].force = lower, upper
		}
		return g
	}
	for k := range h.Spans {
		d := g[k+1].at.Sub(g[k].at)
		u := d.Scale(h.Spans[k] / d.Norm())
		g[k].force = g[k].force.Add(u)
		g[k+1].force = g[k+1].force.Sub(u)
	}
	half := float64(leg.Mass.Value) * float64(w.p.Lift.Site.G.Value) / 2
	g[0].force[2] -= half
	g[len(g)-1].force[2] -= half
	return g
}

// on gathers what legs, ties and supports do to a thing of the file.
func (w *draft) on(name string) []grip {
	var all []grip
	for i := range w.p.Lift.Legs {
		for _, g := range w.grips(i) {
			if g.ref.Body == name {
				all = append(all, g)
			}
		}
	}
	for i := range w.p.Lift.Ties {
		if t := &w.p.Lift.Ties[i]; t.At.Body == name {
			at := w.where(t.At)
			d := statics.Vec(t.To.XYZ()).Sub(at)
			all = append(all, grip{"tie " + t.Name, t.At, at, d.Scale(w.s.Hung.Ties[i].TensionN / d.Norm())})
		}
	}
	for i := range w.p.Lift.Supports {
		if t := &w.p.Lift.Supports[i]; t.At.Body == name {
			k := &w.s.Hung.Supports[i]
			all = append(all, grip{"ground " + t.Name, t.At, k.At, k.Force})
		}
	}
	return all
}

// where is the place of a point of the file as the lift hangs.
func (w *draft) where(r lift.Ref) statics.Vec {
	h := w.s.Hung
	for i := range h.Bodies {
		if h.Bodies[i].Name == r.Body {
			return h.Bodies[i].Points[r.Point]
		}
	}
	for i := range h.Nodes {
		if h.Nodes[i].Name == r.Body {
			return h.Nodes[i].At
		}
	}
	for i := range h.Hooks {
		if h.Hooks[i].Name == r.Body {
			return h.Hooks[i].At
		}
	}
	return statics.Vec{}
}

func point(g grip) string {
	if g.ref.Point == "" {
		return g.what
	}
	return g.what + " at " + g.ref.Point
}
