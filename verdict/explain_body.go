package verdict

import (
	"fmt"
	"math"
	"strings"

	"plumbhook/lift"
	"plumbhook/quantity"
	"plumbhook/statics"
)

// balance lays out every force on a body with its arm from the centre of
// gravity, and the sums, which are nothing in equilibrium.
func (w *draft) balance(b int) {
	body := &w.s.Hung.Bodies[b]
	cg := statics.Vec(body.CG)
	name := body.Name
	w.found("CG", "centre of gravity of "+name+" as it hangs", "m", 6, cg[:]...)
	forces := Table{
		Title: "forces on " + name + ", with their arms from its centre of gravity", Source: "mechanics: in equilibrium the forces add up to nothing",
		Columns: []Column{{"rx", "m"}, {"ry", "m"}, {"rz", "m"}, {"Fx", "N"}, {"Fy", "N"}, {"Fz", "N"}},
	}
	moments := Table{
		Title: "moments about that point: Mx = ry Fz - rz Fy, My = rz Fx - rx Fz, Mz = rx Fy - ry Fx", Source: "mechanics: in equilibrium the moments add up to nothing",
		Columns: []Column{{"Mx", "N m"}, {"My", "N m"}, {"Mz", "N m"}},
	}
	var sum, turn statics.Vec
	all := append(w.on(name), grip{what: "own weight", at: cg, force: statics.Vec{0, 0, -w.bodyMass(b) * float64(w.p.Lift.Site.G.Value)}})
	for _, g := range all {
		r := g.at.Sub(cg)
		m := r.Cross(g.force)
		sum, turn = sum.Add(g.force), turn.Add(m)
		forces.Rows = append(forces.Rows, Row{Label: point(g), Values: []float64{r[0], r[1], r[2], g.force[0], g.force[1], g.force[2]}})
		moments.Rows = append(moments.Rows, Row{Label: point(g), Values: m[:]})
	}
	none := math.NaN()
	forces.Sum = &Row{Label: "sum", Values: []float64{none, none, none, sum[0], sum[1], sum[2]}}
	moments.Sum = &Row{Label: "sum", Values: turn[:]}
	w.Tables = append(w.Tables, forces, moments)
	if b == 0 {
		w.note("own weight of the load: see weight")
	}
}

func (w *draft) bodyMass(b int) float64 {
	if b == 0 {
		return w.s.Hung.MassKg
	}
	return float64(w.p.Lift.Spreaders[b-1].Mass.Value)
}

// pose explains where a body hangs: its centre of gravity in the world, and
// that everything on it balances there.
func (w *draft) pose(b int) error {
	body := &w.s.Hung.Bodies[b]
	w.Title = "how " + body.Name + " hangs: the place of its centre of gravity in the world, and its balance"
	c := w.ownCentre(b)
	w.turned(b)
	for k, axis := range []string{"x", "y", "z"} {
		o, r := body.Origin[k], body.Rot[3*k:3*k+3]
		w.work(axis, fmt.Sprintf("O%s + R%s · c", axis, axis), "geometry: a turned and moved body", "m", body.CG[k], "%v + %v × %v + %v × %v + %v × %v",
			fixed{o, 6}, fixed{r[0], 8}, fixed{c[0], 6}, fixed{r[1], 8}, fixed{c[1], 6}, fixed{r[2], 8}, fixed{c[2], 6}).answer()
	}
	w.lugTable(b)
	w.balance(b)
	return nil
}

// ownCentre states the centre of gravity in the body's own axes.
func (w *draft) ownCentre(b int) statics.Vec {
	if b == 0 {
		c := statics.Vec(w.s.Hung.CGLoad)
		w.found("c", "centre of gravity in the load's own axes (cg)", "m", 6, c[:]...)
		w.Given[len(w.Given)-1].From = "weight take-off"
		return c
	}
	s := &w.p.Lift.Spreaders[b-1]
	c := statics.Vec(s.CG.XYZ())
	w.Given = append(w.Given, Given{
		Symbol: "c", What: "centre of gravity in the spreader's own axes", Value: c[:], Fixed: 6, Unit: "m", Text: s.CG.Text,
		Pos: w.place("spreaders." + s.Name + ".cg"),
	})
	return c
}

// turned gives origin and rotation of a body as it hangs.
func (w *draft) turned(b int) {
	body := &w.s.Hung.Bodies[b]
	w.found("O", "origin of "+body.Name+" in the world", "m", 6, body.Origin[:]...)
	for k, axis := range []string{"x", "y", "z"} {
		w.found("R"+axis, "world "+axis+" of the body's three axes", "", 8, body.Rot[3*k:3*k+3]...)
	}
}

// lugTable shows where the points of a body are, in its own axes and in the
// world.
func (w *draft) lugTable(b int) {
	body := &w.s.Hung.Bodies[b]
	t := Table{
		Title: "points of " + body.Name + " in its own axes, and in the world as it hangs", Source: "geometry: O + R · point",
		Columns: []Column{{"x", "m"}, {"y", "m"}, {"z", "m"}, {"world x", "m"}, {"world y", "m"}, {"world z", "m"}},
	}
	for _, lug := range w.lugs(body.Name) {
		own, at := lug.At.XYZ(), body.Points[lug.Name]
		path := "load.lugs."
		if b > 0 {
			path = "spreaders." + body.Name + ".points."
		}
		t.Rows = append(t.Rows, Row{Label: lug.Name, Values: []float64{own[0], own[1], own[2], at[0], at[1], at[2]}, Pos: w.place(path + lug.Name)})
	}
	w.Tables = append(w.Tables, t)
}

// tilt explains how far a body hangs off level, and the side that hangs low.
func (w *draft) tilt(b int) error {
	body := &w.s.Hung.Bodies[b]
	w.Title = "how far " + body.Name + " hangs off level, and which side hangs low"
	w.turned(b)
	r := body.Rot
	w.work("tilt", "angle of the body's z axis to the vertical: atan2(sqrt(xz² + yz²), zz)", fromGeometry, "deg", deg(body.Tilt),
		"atan2(sqrt(%v² + %v²), %v)", fixed{r[2], 8}, fixed{r[5], 8}, fixed{r[8], 8}).answer()
	if body.LowSide != nil {
		side := deg(*body.LowSide)
		if side == -180 { // the same direction, and the one a calculator gives
			side = 180
		}
		w.work("low side", "from the body's x axis toward its y axis: atan2(-zy, -zx), the way its own axes point down", fromGeometry, "deg", side,
			"atan2(%v, %v)", fixed{-r[7], 8}, fixed{-r[6], 8}).answer()
	} else {
		w.note("below 0.01 degrees no side is named")
	}
	if len(w.s.Hung.Hooks) == 1 {
		w.plumb()
	}
	w.lugTable(b)
	w.balance(b)
	return nil
}

// plumb shows that what hangs from one hook has its centre of gravity under it.
func (w *draft) plumb() {
	hanging, ok := w.hanging()
	if !ok {
		return
	}
	t := Table{
		Title: "everything that hangs, weighed: its centre of gravity is plumb under the hook", Source: fromMechanics,
		Columns: []Column{{"W", "N"}, {"x", "m"}, {"y", "m"}, {"W x", "N m"}, {"W y", "N m"}},
	}
	var sum statics.Vec
	for _, k := range hanging {
		v := []float64{k.weight, k.at[0], k.at[1], k.weight * k.at[0], k.weight * k.at[1]}
		sum = sum.Add(statics.Vec{v[0], v[3], v[4]})
		t.Rows = append(t.Rows, Row{Label: k.what, Values: v})
	}
	none := math.NaN()
	t.Sum = &Row{Label: "sum", Values: []float64{sum[0], none, none, sum[1], sum[2]}}
	w.Tables = append(w.Tables, t)
	at := w.s.Hung.Hooks[0].At
	if len(w.p.Lift.Supports)+len(w.p.Lift.Ties) > 0 {
		w.note("ground or ties hold as well, so the centre of gravity of all that hangs need not be plumb under the hook")
		return
	}
	w.note("Σ W x / Σ W and Σ W y / Σ W are the hook's place, x %s y %s m", fixed{at[0], 5}.text(), fixed{at[1], 5}.text())
}

// weighed is a thing that hangs.
type weighed struct {
	what   string
	weight float64
	at     statics.Vec
}

// hanging lists everything with a weight: bodies, nodes, and the legs, half
// at either end. It reports false when a leg hangs as a catenary, whose own
// centre of gravity is not known here.
func (w *draft) hanging() ([]weighed, bool) {
	h, g := w.s.Hung, float64(w.p.Lift.Site.G.Value)
	var all []weighed
	for b := range h.Bodies {
		all = append(all, weighed{h.Bodies[b].Name, w.bodyMass(b) * g, h.Bodies[b].CG})
	}
	for i := range h.Nodes {
		if m := float64(w.p.Lift.Nodes[i].Mass.Value); m > 0 {
			all = append(all, weighed{"node " + h.Nodes[i].Name, m * g, h.Nodes[i].At})
		}
	}
	for i := range w.p.Lift.Legs {
		leg := &w.p.Lift.Legs[i]
		m := float64(leg.Mass.Value)
		path := h.Legs[i].Path
		switch {
		case m == 0:
		case leg.Catenary:
			return nil, false
		default:
			mid := statics.Vec(path[0]).Add(path[len(path)-1]).Scale(0.5)
			all = append(all, weighed{"leg " + leg.Name, m * g, mid})
		}
	}
	return all, true
}

// sumOf lays out forces on one point with their sum, and gives it.
func (w *draft) sumOf(title string, all []grip) statics.Vec {
	t := Table{Title: title, Source: fromMechanics, Columns: []Column{{"Fx", "N"}, {"Fy", "N"}, {"Fz", "N"}}}
	var sum statics.Vec
	for _, g := range all {
		sum = sum.Add(g.force)
		t.Rows = append(t.Rows, Row{Label: g.what, Values: []float64{g.force[0], g.force[1], g.force[2]}})
	}
	t.Sum = &Row{Label: "sum", Values: sum[:]}
	w.Tables = append(w.Tables, t)
	return sum
}

// size works out the length of a force.
func (w *draft) size(symbol string, f statics.Vec, value float64) {
	w.work(symbol, "sqrt(ΣFx² + ΣFy² + ΣFz²)", fromMechanics, "N", value, "sqrt(%v² + %v² + %v²)", num(f[0]), num(f[1]), num(f[2])).answer()
}

// hook explains the force at a hook.
func (w *draft) hook(i int) error {
	h := &w.s.Hung.Hooks[i]
	w.Title = "force at hook " + h.Name + ", everything below it included"
	f := w.sumOf("forces of the legs on hook "+h.Name, w.on(h.Name))
	w.size("F", f, h.LoadN)
	w.note("each leg's force: legs.NAME.tension")
	return nil
}

// point explains the force at a lug, or at a point of a spreader.
func (w *draft) point(name string) error {
	body, p, _ := strings.Cut(name, ".")
	w.Title = "force of the legs at " + name
	var all []grip
	for _, g := range w.on(body) {
		if g.ref.Point == p && strings.HasPrefix(g.what, "leg ") {
			all = append(all, g)
		}
	}
	f := w.sumOf("forces of the legs at "+name, all)
	w.size("F", f, f.Norm())
	w.note("each leg's force: legs.NAME.tension")
	return nil
}

// joint lays out the balance of a node.
func (w *draft) joint(i int) (up, down statics.Vec) {
	n := &w.s.Hung.Nodes[i]
	all := w.on(n.Name)
	for _, g := range all {
		if g.force[2] > 0 {
			up = up.Add(g.force)
		} else {
			down = down.Add(g.force)
		}
	}
	m := float64(w.p.Lift.Nodes[i].Mass.Value)
	w.sumOf("forces on node "+n.Name+": they add up to nothing", append(all, grip{what: "own weight", force: statics.Vec{0, 0, -m * float64(w.p.Lift.Site.G.Value)}}))
	return up, down
}

// node explains the force through a ring or link.
func (w *draft) node(i int) error {
	n := &w.s.Hung.Nodes[i]
	w.Title = "force through node " + n.Name + ": the greater of what pulls up and what pulls down"
	up, down := w.joint(i)
	for _, k := range []struct {
		symbol, formula string
		f               statics.Vec
	}{{"U", "size of the sum of the legs that pull up", up}, {"D", "size of the sum of the legs that pull down", down}} {
		w.work(k.symbol, k.formula, fromMechanics, "N", k.f.Norm(), "sqrt(%v² + %v² + %v²)", num(k.f[0]), num(k.f[1]), num(k.f[2]))
	}
	w.work("F", "max(U, D)", fromMechanics, "N", n.LoadN, "max(%v, %v)", num(up.Norm()), num(down.Norm())).answer()
	return nil
}

// spreader explains the weight that hangs from a spreader.
func (w *draft) spreader(b int) error {
	name := w.s.Hung.Bodies[b].Name
	w.Title = "what hangs from spreader " + name + ", held against its rating"
	var terms []string
	sum := 0.0
	for _, g := range w.on(name) {
		if strings.HasPrefix(g.what, "leg ") && g.force[2] <= 0 {
			w.found(fmt.Sprintf("V%d", len(terms)+1), "pull of "+point(g)+", downward", "N", -1, -g.force[2])
			terms, sum = append(terms, num(-g.force[2]).String()), sum-g.force[2]
		}
	}
	w.work("V", "ΣV of the legs that pull down", fromMechanics, "N", sum, "%s", strings.Join(terms, " + ")).answer()
	w.balance(b)
	return nil
}

// support explains what ground carries.
func (w *draft) support(i int) error {
	s, h := &w.p.Lift.Supports[i], &w.s.Hung.Supports[i]
	w.Title = "force of the ground " + s.Name + " on " + s.At.String()
	w.found("F", "force of the ground", "N", -1, h.Force[:]...)
	if h.Off {
		w.note("the point has lifted off: the ground carries nothing")
	} else {
		level, path := s.Level, "supports."+s.Name+".level"
		for k := range w.index {
			if x, ok := w.p.Lift.Steps[k].Supports[s.Name]; ok {
				level, path = x, fmt.Sprintf("steps[%d].supports.%s", k+1, s.Name)
			}
		}
		w.stated("level", "level of the ground, where the point stands", "m", float64(level.Value), level.Text, path, "")
		w.note("ground does not give: its force is the one that balances the body")
	}
	w.size("|F|", h.Force, statics.Vec(h.Force).Norm())
	for b := range w.s.Hung.Bodies {
		if w.s.Hung.Bodies[b].Name == s.At.Body {
			w.balance(b)
		}
	}
	return nil
}

// compression explains the push between two points of a body.
func (w *draft) compression(q lift.Squeeze) error {
	var body *lift.HungBody
	b := 0
	for k := range w.s.Hung.Bodies {
		if w.s.Hung.Bodies[k].Name == q.Body {
			body, b = &w.s.Hung.Bodies[k], k
		}
	}
	w.Title = "push between " + q.A + " and " + q.B + " of " + q.Body + " (pull when negative)"
	a, z := statics.Vec(body.Points[q.A]), statics.Vec(body.Points[q.B])
	w.found("A", q.A, "m", 6, a[:]...)
	w.found("B", q.B, "m", 6, z[:]...)
	d := z.Sub(a)
	l := d.Norm()
	u := d.Scale(1 / l)
	w.work("l", "|B - A|", fromGeometry, "m", l, "sqrt((%v - %v)² + (%v - %v)² + (%v - %v)²)",
		fixed{z[0], 6}, fixed{a[0], 6}, fixed{z[1], 6}, fixed{a[1], 6}, fixed{z[2], 6}, fixed{a[2], 6})
	for k, axis := range []string{"x", "y", "z"} {
		w.work("u"+axis, "(B"+axis+" - A"+axis+") / l", fromGeometry, "", u[k], "(%v - %v) / %v", fixed{z[k], 6}, fixed{a[k], 6}, num(l))
	}
	mid := a.Add(d.Scale(0.5))
	t := Table{
		Title: "cut half way between the two: what lies on the side of " + q.A + ", and its force along u", Source: "mechanics: F along u is Fx ux + Fy uy + Fz uz; the body is held together by their sum",
		Columns: []Column{{"from cut", "m"}, {"Fx", "N"}, {"Fy", "N"}, {"Fz", "N"}, {"along u", "N"}},
	}
	sum := 0.0
	add := func(what string, at, f statics.Vec) {
		s := at.Sub(mid).Dot(u)
		share := lift.CutShare(s, l)
		if share == 0 {
			return
		}
		if share < 1 {
			what += ", half: it lies on the cut"
			f = f.Scale(share)
		}
		sum += f.Dot(u)
		t.Rows = append(t.Rows, Row{Label: what, Values: []float64{s, f[0], f[1], f[2], f.Dot(u)}})
	}
	for _, lug := range w.lugs(q.Body) {
		if f, held := body.Forces[lug.Name]; held {
			add("legs at "+lug.Name, body.Points[lug.Name], f)
		}
	}
	add("own weight", body.CG, statics.Vec{0, 0, -w.bodyMass(b) * float64(w.p.Lift.Site.G.Value)})
	none := math.NaN()
	t.Sum = &Row{Label: "sum", Values: []float64{none, none, none, none, sum}}
	w.Tables = append(w.Tables, t)
	var terms []string
	for _, r := range t.Rows {
		terms = append(terms, num(r.Values[4]).String())
	}
	w.work("push", "sum of the forces along u", fromMechanics, "N", q.ForceN, "%s", strings.Join(append(terms, "0"), " + ")).answer()
	return nil
}

// stability explains how far the centre of gravity may rise.
func (w *draft) stability() error {
	h := w.s.Hung
	w.Title = "how far the load's centre of gravity may rise before the pose is lost"
	w.note("a rise leaves the balance as it is and takes its share off what brings the load back from a small turn; " +
		"the number is the least stiffness of the load against a turn about any horizontal axis, with everything else free to follow, over its weight")
	if h.StabilityM == nil {
		w.note("no rise of the centre of gravity loses the pose")
		return nil
	}
	margin := *h.StabilityM
	load := &h.Bodies[0]
	weight := h.WeightN
	w.taken("margin", "the number in the verdict", "m", "the stiffness matrix of the whole rig", margin)
	var bounds []string
	if hanging, ok := w.hanging(); ok && len(h.Hooks) == 1 && len(h.Ties)+len(h.Supports) == 0 {
		t := Table{
			Title: "turning all that hangs about the hook: weights, and how deep under it", Source: "mechanics: a pendulum; an upper bound",
			Columns: []Column{{"W", "N"}, {"depth", "m"}, {"W depth", "N m"}},
		}
		sum := 0.0
		for _, k := range hanging {
			depth := h.Hooks[0].At[2] - k.at[2]
			sum += k.weight * depth
			t.Rows = append(t.Rows, Row{Label: k.what, Values: []float64{k.weight, depth, k.weight * depth}})
		}
		none := math.NaN()
		t.Sum = &Row{Label: "sum", Values: []float64{none, none, sum}}
		w.Tables = append(w.Tables, t)
		w.work("d hook", "Σ W depth / weight of the load", "mechanics: turning all about the hook, an upper bound", "m", sum/weight, "%v / %v", num(sum), num(weight))
		bounds = append(bounds, num(sum/weight).String())
	}
	if a, b, ok := w.line(); ok {
		pa, pb, cg := load.Points[a], load.Points[b], load.CG
		w.found("A", "load."+a, "m", 6, pa[:]...)
		w.found("B", "load."+b, "m", 6, pb[:]...)
		w.found("C", "centre of gravity of the load", "m", 6, cg[:]...)
		d := statics.Vec(pb).Sub(pa)
		run := d[0]*d[0] + d[1]*d[1]
		share := ((cg[0]-pa[0])*d[0] + (cg[1]-pa[1])*d[1]) / run
		w.work("share", "of the way from A to B where the centre of gravity is", fromGeometry, "", share,
			"((%v - %v) × (%v - %v) + (%v - %v) × (%v - %v)) / ((%v - %v)² + (%v - %v)²)",
			fixed{cg[0], 6}, fixed{pa[0], 6}, fixed{pb[0], 6}, fixed{pa[0], 6}, fixed{cg[1], 6}, fixed{pa[1], 6}, fixed{pb[1], 6}, fixed{pa[1], 6},
			fixed{pb[0], 6}, fixed{pa[0], 6}, fixed{pb[1], 6}, fixed{pa[1], 6})
		under := pa[2] + share*d[2] - cg[2]
		w.work("d line", "height of the line through the lugs over the centre of gravity", "mechanics: all lugs are on one line, and nothing but gravity resists a turn about it; an upper bound", "m", under,
			"%v + %v × (%v - %v) - %v", fixed{pa[2], 6}, num(share), fixed{pb[2], 6}, fixed{pa[2], 6}, fixed{cg[2], 6})
		bounds = append(bounds, num(under).String())
	}
	if len(bounds) > 0 {
		w.note("the margin is never above the least of these bounds: %s m. Where it equals one, that is the way the load would go", strings.Join(bounds, ", "))
	}
	w.trials(margin)
	return nil
}

// line gives the two outermost lugs in use if all of them lie on one line
// that is not upright.
func (w *draft) line() (a, b string, ok bool) {
	load := &w.s.Hung.Bodies[0]
	var used []string
	for _, lug := range w.p.Lift.Load.Lugs {
		if _, held := load.Forces[lug.Name]; held {
			used = append(used, lug.Name)
		}
	}
	far := 0.0
	for i, p := range used {
		for _, q := range used[i+1:] {
			if l := statics.Vec(load.Points[p]).Sub(load.Points[q]).Norm(); l > far {
				a, b, far = p, q, l
			}
		}
	}
	if far == 0 || len(w.s.Hung.Ties)+len(w.s.Hung.Supports) > 0 {
		return "", "", false
	}
	u := statics.Vec(load.Points[b]).Sub(load.Points[a]).Scale(1 / far)
	for _, p := range used {
		if statics.Vec(load.Points[p]).Sub(load.Points[a]).Cross(u).Norm() > 1e-6*far {
			return "", "", false
		}
	}
	return a, b, math.Hypot(u[0], u[1]) > 0.1
}

// trials hangs the lift again with the centre of gravity raised, which a
// reader can do by raising every part in the file.
func (w *draft) trials(margin float64) {
	t := Table{
		Title: "hung again with the centre of gravity raised", Source: "the same program on a changed plan: raise every part of the load in the file by as much",
		Columns: []Column{{"raised by", "m"}, {"margin left", "m"}, {"stable", "1 yes, 0 no"}, {"tilt", "deg"}},
	}
	for _, share := range []float64{0.5, 0.99, 1.01} {
		up := share * margin
		rot := statics.Rot(w.s.Hung.Bodies[0].Rot)
		shift := rot.Inverse(statics.Vec{0, 0, up})
		l := *w.p.Lift
		l.Load.Sheet.Parts = append(l.Load.Sheet.Parts[:0:0], l.Load.Sheet.Parts...)
		for k := range l.Load.Sheet.Parts {
			at := &l.Load.Sheet.Parts[k].At
			for q, m := range []*quantity.Measured[quantity.Length]{&at.X, &at.Y, &at.Z} {
				m.Value += quantity.Length(shift[q])
				m.Low += quantity.Length(shift[q])
				m.High += quantity.Length(shift[q])
			}
		}
		_, h, err := hungAt(&l, w.index)
		if err != nil {
			continue
		}
		left, stable := math.NaN(), 0.0
		if h.StabilityM != nil {
			left = *h.StabilityM
		}
		if h.Stable {
			stable = 1
		}
		t.Rows = append(t.Rows, Row{Label: fmt.Sprintf("%.0f %% of the margin", share*100), Values: []float64{up, left, stable, deg(h.Bodies[0].Tilt)}})
	}
	w.Tables = append(w.Tables, t)
	w.note("a row with another tilt shows a pose other than this one, found by the load on its way from the start pose")
}

// hungAt hangs a lift up to a state.
func hungAt(l *lift.Lift, index int) (*lift.Rig, *lift.Hung, error) {
	rig, err := lift.NewRig(l)
	if err != nil {
		return nil, nil, err
	}
	h, err := rig.Hang()
	for k := 0; err == nil && k < index; k++ {
		h, err = rig.Step(k)
	}
	return rig, h, err
}
