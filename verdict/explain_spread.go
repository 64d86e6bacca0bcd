package verdict

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"gonum.org/v1/gonum/mat"

	"plumbhook/fault"
	"plumbhook/lift"
	"plumbhook/quantity"
	"plumbhook/statics"
)

// bearing names a force that spreads; without a name it is the load's weight.
type bearing struct {
	kind     lift.DemandKind
	of       string
	quantile float64
}

// demand is the place of a force among the demands of the state.
func (w *draft) demand(b bearing) int {
	return slices.IndexFunc(w.s.Demands, func(d lift.Demand) bool { return d.Kind == b.kind && d.Name == b.of })
}

func (w *draft) nameOf(b bearing) string {
	if b.of == "" {
		return "weight"
	}
	return w.s.Demands[w.demand(b)].Where()
}

// The 95 % half-width of a normal spread in standard deviations, and the
// distance of its 95th percentile.
const (
	halfIn95 = 1.959964
	toP95    = 1.644854
)

// spread explains a percentile: the draw it is, and what drives it. Thousand
// hangs are not for a calculator, so each uncertain figure is put to its
// limits alone and the effects are added in quadrature: a check by hand that
// comes near where the rig answers in proportion.
func (w *draft) spread(b bearing) error {
	rig, _, err := hungAt(w.p.Lift, w.index)
	if err != nil {
		return err
	}
	drawn, nominal := &w.s.Spread.Weight, w.s.Hung.WeightN
	out := make([]float64, len(w.s.Demands))
	force := func() float64 {
		if b.of == "" {
			return rig.Weight()
		}
		rig.Bear(w.s.Demands, out)
		return out[w.demand(b)]
	}
	what := "weight of the load alone"
	if b.of != "" {
		what = "static force at " + w.nameOf(b)
		drawn, nominal = &w.s.Spread.Demands[w.demand(b)], force()
	}
	value, side := drawn.P95, 1.0
	if b.quantile < 0.5 {
		value, side = drawn.P5, -1
	}
	symbol := fmt.Sprintf("P%.0f", 100*b.quantile)
	w.Title = fmt.Sprintf("%s: %s of what the unknowns leave open", what, symbol)
	if len(rig.Inputs) == 0 {
		w.work(symbol, "the nominal number", "no figure of the file is uncertain", "N", value, "%v", num(nominal)).answer()
		return nil
	}
	w.order(symbol, drawn, b.quantile)
	w.Work[len(w.Work)-1].Answer = true
	w.note("%d rigs were hung, their figures drawn from the spreads in the file by a fixed sequence (scrambled Halton; Owen, 2017): the same file gives the same draws", w.s.Spread.Draws)

	t := Table{
		Title: "each uncertain figure at its limits alone, and the force then", Source: "the same program; standard deviation is half the change over 1.96 for ± figures (95 %), over √3 for ranges (hard limits)",
		Columns: []Column{{"low", "SI"}, {"high", "SI"}, {"F at low", "N"}, {"F at high", "N"}, {"std dev", "N"}},
	}
	squares := 0.0
	for i, in := range rig.Inputs {
		var f [2]float64
		for k, v := range []float64{in.Low, in.High} {
			values := rig.Nominal()
			rig.Set(values)
			if err := rig.Home(); err != nil {
				return err
			}
			values[i] = v
			rig.Set(values)
			if _, err := rig.Rehang(); err != nil {
				f[k] = math.NaN()
				continue
			}
			f[k] = force()
		}
		sd := math.Abs(f[1]-f[0]) / 2 / halfIn95
		if in.Shape == quantity.Uniform {
			sd = math.Abs(f[1]-f[0]) / 2 / math.Sqrt(3)
		}
		if !math.IsNaN(sd) {
			squares += sd * sd
		}
		t.Rows = append(t.Rows, Row{Label: in.Name, Values: []float64{in.Low, in.High, f[0], f[1], sd}, Pos: w.inputPlace(in.Name)})
	}
	slices.SortStableFunc(t.Rows, func(a, b Row) int { return cmp.Compare(b.Values[4], a.Values[4]) })
	var terms []string
	for _, r := range t.Rows {
		if sd := r.Values[4]; sd*sd > 1e-8*squares {
			terms = append(terms, num(sd).String()+"²")
		}
	}
	w.Tables = append(w.Tables, t)
	if len(terms) == 0 {
		w.note("no uncertain figure moves this force")
		return nil
	}
	sigma := math.Sqrt(squares)
	w.found("F", what+", nominal", "N", -1, nominal)
	w.work("σ", "root of the sum of the squares of the standard deviations", "JCGM 100:2008, 5.1.2: law of propagation, independent figures", "N", sigma, "sqrt(%s)", strings.Join(terms, " + "))
	sign := map[bool]string{true: "+", false: "-"}[side > 0]
	w.work("by hand", "F "+sign+" 1.644854 σ", "as if normal and in proportion: to compare with, not the number of the verdict", "N", nominal+side*toP95*sigma,
		"%v %s 1.644854 × %v", num(nominal), sign, num(sigma))
	if gap := math.Abs(nominal + side*toP95*sigma - value); gap > 0.25*math.Abs(value-nominal)+1e-6*math.Abs(value) {
		w.note("the two differ by %s N: here the rig does not answer in proportion (a leg goes slack, or a hard limit dominates), and the draws count", digits(gap))
	}
	return nil
}

// inputPlace finds the place in the file of an uncertain figure.
func (w *draft) inputPlace(name string) fault.Pos {
	l := w.p.Lift
	if rest, ok := strings.CutPrefix(name, "load."); ok && !strings.HasPrefix(name, "load.lugs.") {
		for k := range l.Load.Sheet.Parts {
			p := &l.Load.Sheet.Parts[k]
			if strings.HasPrefix(rest, p.Name+".") {
				return p.Pos
			}
		}
		if strings.HasPrefix(rest, "at.") {
			return w.place("load.cg")
		}
	}
	return w.place(name)
}

// worst explains the most that statics alone lets a leg carry.
func (w *draft) worst(i int) error {
	leg, h := &w.p.Lift.Legs[i], &w.s.Hung.Legs[i]
	w.Title = "most that leg " + leg.Name + " can get when lengths decide nothing and statics alone holds the body"
	if h.WorstN == nil {
		w.note("fewer than four legs hold this body: statics alone decides, and the nominal number is the only one")
		return nil
	}
	b := w.heldBy(i)
	set, pulls, ok := w.corner(b, i)
	if !ok {
		w.note("the set of legs that gives it could not be laid out by hand")
		w.taken("worst", "most of all", "N", "the sets tried", *h.WorstN)
		return nil
	}
	body := &w.s.Hung.Bodies[b]
	var names []string
	for k, leg := range set {
		if pulls[k] > 1e-9*w.s.Hung.WeightN {
			names = append(names, w.p.Lift.Legs[leg].Name)
		}
	}
	w.note("every set of legs that can hold %s alone was tried; this number comes from the set %s, the other legs slack, in the pose as hung", body.Name, strings.Join(names, ", "))
	cg := statics.Vec(body.CG)
	w.found("CG", "centre of gravity of "+body.Name+" as it hangs", "m", 6, cg[:]...)
	forces := Table{
		Title: "the forces on " + body.Name + " then, with their arms from its centre of gravity", Source: "mechanics: they must add up to nothing",
		Columns: []Column{{"rx", "m"}, {"ry", "m"}, {"rz", "m"}, {"Fx", "N"}, {"Fy", "N"}, {"Fz", "N"}},
	}
	moments := Table{
		Title: "their moments: Mx = ry Fz - rz Fy, My = rz Fx - rx Fz, Mz = rx Fy - ry Fx", Source: "mechanics: they must add up to nothing",
		Columns: []Column{{"Mx", "N m"}, {"My", "N m"}, {"Mz", "N m"}},
	}
	var sum, turn statics.Vec
	add := func(what string, at, f statics.Vec) {
		r := at.Sub(cg)
		m := r.Cross(f)
		sum, turn = sum.Add(f), turn.Add(m)
		forces.Rows = append(forces.Rows, Row{Label: what, Values: []float64{r[0], r[1], r[2], f[0], f[1], f[2]}})
		moments.Rows = append(moments.Rows, Row{Label: what, Values: m[:]})
	}
	grav := float64(w.p.Lift.Site.G.Value)
	var pull statics.Vec
	for k, of := range set {
		for _, g := range w.unitPull(of, b) {
			add(point(g), g.at, g.force.Scale(pulls[k]))
			if of == i {
				pull = g.force.Scale(pulls[k])
			}
		}
	}
	for _, g := range w.fixedOn(b) {
		add(g.what, g.at, g.force)
	}
	none := math.NaN()
	forces.Sum = &Row{Label: "sum", Values: []float64{none, none, none, sum[0], sum[1], sum[2]}}
	moments.Sum = &Row{Label: "sum", Values: turn[:]}
	w.Tables = append(w.Tables, forces, moments)
	half := float64(leg.Mass.Value) * grav / 2
	if len(leg.Via) > 0 || leg.Catenary {
		w.taken("worst", "force at the end of the leg", "N", "the set", *h.WorstN)
		return nil
	}
	if half > 0 {
		w.stated("m", "mass of the leg", "kg", float64(leg.Mass.Value), leg.Mass.Text, "legs."+leg.Name+".mass", "sum of its stack")
	}
	w.gravity()
	w.work("F", "the pull in the table, with half the leg's own weight at its upper end", fromLump, "N", *h.WorstN,
		"sqrt(%v² + %v² + (%v + %v × %v / 2)²)", num(pull[0]), num(pull[1]), num(pull[2]), num(leg.Mass.Value), num(grav)).answer()
	w.note("the pose and the weight are the nominal ones; P95 counts what is not known of them, so it may be the larger number")
	return nil
}

// heldBy is the body that a leg holds up.
func (w *draft) heldBy(i int) int {
	g := w.grips(i)
	best, low := 0, math.Inf(1)
	for _, e := range g {
		for b := range w.s.Hung.Bodies {
			if w.s.Hung.Bodies[b].Name == e.ref.Body && e.at[2] < low {
				best, low = b, e.at[2]
			}
		}
	}
	return best
}

// unitPull is what a leg does to a body for one newton along it.
func (w *draft) unitPull(i, b int) []grip {
	g := w.grips(i)
	var out []grip
	for k := range g {
		if g[k].ref.Body != w.s.Hung.Bodies[b].Name {
			continue
		}
		var u statics.Vec
		for _, q := range []int{k - 1, k + 1} {
			if q < 0 || q >= len(g) {
				continue
			}
			d := g[q].at.Sub(g[k].at)
			u = u.Add(d.Scale(1 / d.Norm()))
		}
		g[k].force = u
		out = append(out, g[k])
	}
	return out
}

// upholds lists the legs that hold a body up.
func (w *draft) upholds(b int) []int {
	var legs []int
	for i := range w.p.Lift.Legs {
		on := slices.ContainsFunc(w.grips(i), func(g grip) bool { return g.ref.Body == w.s.Hung.Bodies[b].Name })
		if on && w.heldBy(i) == b {
			legs = append(legs, i)
		}
	}
	return legs
}

// fixedOn is everything on a body but the pull of the legs that hold it.
func (w *draft) fixedOn(b int) []grip {
	name := w.s.Hung.Bodies[b].Name
	g := float64(w.p.Lift.Site.G.Value)
	held := w.upholds(b)
	all := []grip{{what: "own weight", at: w.s.Hung.Bodies[b].CG, force: statics.Vec{0, 0, -w.bodyMass(b) * g}}}
	for i := range w.p.Lift.Legs {
		leg := &w.p.Lift.Legs[i]
		path := w.grips(i)
		for k, e := range path {
			switch {
			case e.ref.Body != name:
			case !slices.Contains(held, i):
				all = append(all, grip{what: point(e), at: e.at, force: e.force})
			case (k == 0 || k == len(path)-1) && leg.Mass.Value > 0:
				all = append(all, grip{what: "weight of " + point(e), at: e.at, force: statics.Vec{0, 0, -float64(leg.Mass.Value) * g / 2}})
			}
		}
	}
	for _, e := range w.on(name) {
		if !strings.HasPrefix(e.what, "leg ") {
			all = append(all, e)
		}
	}
	return all
}

// corner finds the smallest set of legs that holds a body and gives leg i the
// most: of every set with as many legs as there are independent equations,
// the tensions that balance the rest, if none of them pushes.
func (w *draft) corner(b, i int) (set []int, pulls []float64, ok bool) {
	legs := w.upholds(b)
	cg := statics.Vec(w.s.Hung.Bodies[b].CG)
	size := 0.0
	for _, leg := range legs {
		for _, g := range w.unitPull(leg, b) {
			size = math.Max(size, g.at.Sub(cg).Norm())
		}
	}
	column := func(g []grip) []float64 {
		v := make([]float64, 6)
		for _, e := range g {
			m := e.at.Sub(cg).Cross(e.force)
			for q := range 3 {
				v[q] += e.force[q]
				v[3+q] += m[q] / size
			}
		}
		return v
	}
	rest := column(w.fixedOn(b))
	for q := range rest {
		rest[q] = -rest[q]
	}
	want := mat.NewVecDense(6, rest)
	total := mat.Norm(want, 2)
	matrix := func(set []int) *mat.Dense {
		a := mat.NewDense(6, len(set), nil)
		for k, leg := range set {
			a.SetCol(k, column(w.unitPull(leg, b)))
		}
		return a
	}
	var svd mat.SVD
	if !svd.Factorize(matrix(legs), mat.SVDThin) {
		return nil, nil, false
	}
	rank := svd.Rank(1e-6)
	best := math.Inf(-1)
	for _, pick := range subsets(len(legs), rank) {
		try := make([]int, rank)
		at := -1
		for k, p := range pick {
			try[k] = legs[p]
			if legs[p] == i {
				at = k
			}
		}
		if at < 0 {
			continue
		}
		a := matrix(try)
		if !svd.Factorize(a, mat.SVDThin) || svd.Rank(1e-6) < rank {
			continue
		}
		var t mat.VecDense
		svd.SolveVecTo(&t, want, rank)
		var r mat.VecDense
		r.MulVec(a, &t)
		r.SubVec(&r, want)
		if mat.Norm(&r, 2) > 1e-7*total || mat.Min(&t) < -1e-9*total || t.AtVec(at) <= best {
			continue
		}
		best = t.AtVec(at)
		set, pulls = try, append([]float64(nil), t.RawVector().Data...)
	}
	return set, pulls, set != nil
}

// subsets lists the ways to pick k of n.
func subsets(n, k int) [][]int {
	var all [][]int
	var pick func(from int, chosen []int)
	pick = func(from int, chosen []int) {
		if len(chosen) == k {
			all = append(all, slices.Clone(chosen))
			return
		}
		for i := from; i < n; i++ {
			pick(i+1, append(chosen, i))
		}
	}
	pick(0, nil)
	return all
}
