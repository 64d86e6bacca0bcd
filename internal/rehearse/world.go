package rehearse

import (
	"math"
	"slices"

	"plumbhook/fault"
	"plumbhook/lift"
	"plumbhook/quantity"
	"plumbhook/sim"
)

// figure is a number of the plan that is not exactly known.
type figure struct {
	name      string
	value     float64
	low, high float64
	uniform   bool
}

// sd is its standard deviation: a normal figure's limits hold 95 %, a
// uniform one's hold all.
func (f *figure) sd() float64 {
	if f.uniform {
		return (f.high - f.low) / math.Sqrt(12)
	}
	return (f.high - f.low) / 2 / 1.959964
}

// pick chooses the true value of a figure.
type pick func(figure) float64

func nominal(f figure) float64 { return f.value }

func see[Q quantity.Quantity](p pick, name string, m quantity.Measured[Q]) float64 {
	if m.Shape == quantity.Exact {
		return float64(m.Value)
	}
	return p(figure{name, float64(m.Value), float64(m.Low), float64(m.High), m.Shape == quantity.Uniform})
}

func seePoint(p pick, name string, at quantity.Point) sim.Vec {
	return sim.Vec{see(p, name+".x", at.X), see(p, name+".y", at.Y), see(p, name+".z", at.Z)}
}

// scene is what the plan does not speak of: the crane, the ground.
type scene struct {
	rope      float64 // of the falls over the hook, m; several hooks are held sideways
	give      float64 // how far hoist and boom come down under the weight, m
	block     float64 // kg
	damping   float64 // ratio, of the bounce
	slow      float64 // of swing, 1/s
	blockSlow float64 // of the block by itself, friction in the falls, 1/s
	slope     [2]float64
	ground    float64 // how far the load sinks in, m
	friction  float64
	off       [2]float64 // hook beside the planned centre of gravity, m
	slack     float64    // how far the hook starts below where legs come tight, m
	inset     float64    // share of the half base at which the load stands
	dragRatio float64
}

// calmScene is the middle of everything, on level ground.
func calmScene() scene {
	return scene{rope: 12, give: 0.02, block: 150, damping: 0.04, slow: 0.01, blockSlow: 0.1, ground: 0.002, friction: 0.5, slack: 0.15, inset: 0.9, dragRatio: 1.2}
}

// rigging is a world with the way back to the file.
type rigging struct {
	lift    *lift.Lift
	world   *sim.World // ready to play: load on the ground, hooks low
	hang    *sim.World // hanging free, hooks rigid
	hung    *sim.System
	cells   []legCell
	weight  float64 // of the load alone, N
	cg      sim.Vec // of the load alone, load axes
	lengths []float64
	tight   float64 // height of the first hook at which legs come tight, m
	give    float64 // of the whole, under the load's weight, m
	swing   float64 // m, from tip (or held hook) to the load's centre
	corners []sim.Vec
}

// legCell is a load cell in a leg.
type legCell struct {
	leg  int
	cell *lift.Cell
}

// twist changes the true world before it is hung: the faults of the load and
// the legs.
type twist struct {
	mass   float64 // added share
	cg     [2]float64
	leg    int
	longer float64
	cgUp   float64
}

// build makes a world of the lift with the figures as p picks them.
func build(l *lift.Lift, p pick, sc scene, tw twist) (*rigging, error) {
	switch {
	case len(l.Supports) > 0:
		return nil, fault.New(fault.Unsupported, "the virtual lift cannot play a load that stands on supports").In("supports").At(l.Supports[0].Pos)
	case len(l.Ties) > 0:
		return nil, fault.New(fault.Unsupported, "the virtual lift cannot play a load that ties hold").In("ties").At(l.Ties[0].Pos)
	}
	r := &rigging{lift: l}
	w := &sim.World{Gravity: see(p, "site.g", l.Site.G)}
	r.load(w, p, tw, sc)
	for i := range l.Spreaders {
		s := &l.Spreaders[i]
		name := "spreaders." + s.Name
		b := sim.Body{Name: s.Name, Mass: see(p, name+".mass", s.Mass), CG: seePoint(p, name+".cg", s.CG), Turn: turned(s.Turn), Slows: sc.slow, Spins: 2 * sc.slow}
		size := sim.Vec{0.3, 0.3, 0.3}
		if s.Size != nil {
			size = s.Size.XYZ()
		} else {
			low, high := bounds(s.Points)
			for k := range size {
				size[k] = max(0.15, high[k]-low[k])
			}
		}
		b.Inertia = sim.BoxInertia(b.Mass, size)
		w.Bodies = append(w.Bodies, b)
	}
	for i := range l.Nodes {
		n := &l.Nodes[i]
		w.Nodes = append(w.Nodes, sim.Node{Name: n.Name, Mass: see(p, "nodes."+n.Name+".mass", n.Mass)})
	}
	for i := range l.Hooks {
		w.Hooks = append(w.Hooks, sim.Hook{Name: l.Hooks[i].Name, Mass: sc.block})
	}
	r.legs(w, p, tw)
	r.place(w, p)
	if err := r.hangFree(w); err != nil {
		return nil, err
	}
	return r, r.ground(sc)
}

func (r *rigging) load(w *sim.World, p pick, tw twist, sc scene) {
	l := r.lift
	sheet := &l.Load.Sheet
	mass, moment := 0.0, sim.Vec{}
	for i := range sheet.Parts {
		part := &sheet.Parts[i]
		if part.Fluid && !l.Load.Wet {
			continue
		}
		name := "load." + part.Name
		if sheet.Direct {
			name = "load"
		}
		m := see(p, name+".mass", part.Mass)
		at := seePoint(p, name+".at", part.At)
		mass += m
		for k := range moment {
			moment[k] += m * at[k]
		}
	}
	for k := range moment {
		moment[k] /= mass
	}
	mass *= (1 + float64(sheet.Contingency)) * (1 + tw.mass)
	cg := moment
	cg[0] += tw.cg[0]
	cg[1] += tw.cg[1]
	cg[2] += tw.cgUp
	low, high := bounds(l.Load.Lugs)
	size := sim.Vec{}
	for k := range size {
		size[k] = max(0.3, high[k]-low[k])
	}
	if l.Load.Size != nil {
		size = l.Load.Size.XYZ()
	} else if size[2] < 2*(high[2]-cg[2]) {
		size[2] = 2 * (high[2] - cg[2])
	}
	// The top of the box is at the highest lug, its middle under the middle of
	// the lugs, and it reaches far enough for the centre of gravity to be over it.
	mid := sim.Vec{(low[0] + high[0]) / 2, (low[1] + high[1]) / 2, high[2] - size[2]/2}
	bottom := min(high[2]-size[2], cg[2]-0.05)
	half := sim.Vec{size[0] / 2 * sc.inset, size[1] / 2 * sc.inset}
	for k := range 2 {
		half[k] = max(half[k], 1.15*math.Abs(cg[k]-mid[k]), 0.15)
	}
	for _, c := range [][2]float64{{-1, -1}, {1, -1}, {1, 1}, {-1, 1}} {
		r.corners = append(r.corners, sim.Vec{mid[0] + c[0]*half[0], mid[1] + c[1]*half[1], bottom})
	}
	drag := sc.dragRatio
	if l.Load.Drag > 0 {
		drag = l.Load.Drag
	}
	q := 1.25 / 2 * drag // half the density of air, 1.25 kg/m³ (EN 1991-1-4, 4.5; from memory)
	w.Bodies = []sim.Body{{
		Name: "load", Mass: mass, CG: cg, Inertia: sim.BoxInertia(mass, size), Turn: turned(l.Load.Turn),
		Drag: sim.Vec{q * size[1] * size[2], q * size[0] * size[2], q * size[0] * size[1]}, Sail: mid,
		Slows: sc.slow, Spins: 2 * sc.slow,
	}}
	r.weight, r.cg = mass*w.Gravity, cg
}

// bounds are the corners of the box round some points.
func bounds(lugs []lift.Lug) (low, high sim.Vec) {
	for i := range lugs {
		at := lugs[i].At.XYZ()
		for k := range at {
			if i == 0 {
				low[k], high[k] = at[k], at[k]
			}
			low[k], high[k] = min(low[k], at[k]), max(high[k], at[k])
		}
	}
	return low, high
}

func turned(t *lift.Turn) sim.Mat {
	if t == nil {
		return sim.Turned(sim.Vec{})
	}
	x, y, z := sim.Turned(sim.Vec{float64(t.X), 0, 0}), sim.Turned(sim.Vec{0, float64(t.Y), 0}), sim.Turned(sim.Vec{0, 0, float64(t.Z)})
	return z.Times(y.Times(x))
}

// point turns a reference of the file into a point of the world, with the
// lugs where p has them.
func (r *rigging) point(ref lift.Ref, p pick) sim.Point {
	l := r.lift
	lug := func(body int, lugs []lift.Lug, name string) sim.Point {
		i := slices.IndexFunc(lugs, func(x lift.Lug) bool { return x.Name == ref.Point })
		return sim.Point{On: sim.OnBody, Index: body, At: seePoint(p, name+"."+ref.Point, lugs[i].At)}
	}
	if ref.Body == "load" {
		return lug(0, l.Load.Lugs, "load.lugs")
	}
	if i := slices.IndexFunc(l.Spreaders, func(x lift.Spreader) bool { return x.Name == ref.Body }); i >= 0 {
		return lug(1+i, l.Spreaders[i].Points, "spreaders."+ref.Body+".points")
	}
	if i := slices.IndexFunc(l.Nodes, func(x lift.Node) bool { return x.Name == ref.Body }); i >= 0 {
		return sim.Point{On: sim.OnNode, Index: i}
	}
	return sim.Point{On: sim.OnHook, Index: slices.IndexFunc(l.Hooks, func(x lift.Hook) bool { return x.Name == ref.Body })}
}

// depths counts for every carrier how many legs it is below a hook.
func depths(l *lift.Lift) map[string]int {
	d := map[string]int{}
	for i := range l.Hooks {
		d[l.Hooks[i].Name] = 0
	}
	for again := true; again; {
		again = false
		for i := range l.Legs {
			leg := &l.Legs[i]
			refs := append([]lift.Ref{leg.From, leg.To}, leg.Via...)
			least := -1
			for _, ref := range refs {
				if n, ok := d[ref.Body]; ok && (least < 0 || n < least) {
					least = n
				}
			}
			for _, ref := range refs {
				if n, ok := d[ref.Body]; least >= 0 && (!ok || n > least+1) {
					d[ref.Body], again = least+1, true
				}
			}
		}
	}
	return d
}

func (r *rigging) legs(w *sim.World, p pick, tw twist) {
	l := r.lift
	depth := depths(l)
	for i := range l.Legs {
		leg := &l.Legs[i]
		name := "legs." + leg.Name
		from, to := leg.From, leg.To
		if len(leg.Via) == 0 && depth[to.Body] < depth[from.Body] {
			from, to = to, from
		}
		s := sim.Leg{
			Name: leg.Name, From: r.point(from, p), To: r.point(to, p),
			Length: see(p, name+".length", leg.Length), Mass: see(p, name+".mass", leg.Mass),
		}
		if i == tw.leg {
			s.Length += tw.longer
		}
		for _, v := range leg.Via {
			s.Via = append(s.Via, r.point(v, p))
		}
		if leg.Stiffness != nil {
			s.Stiff = see(p, name+".stiffness", *leg.Stiffness)
		}
		if c, below := leg.CellAt(); c != nil {
			if m := float64(leg.Mass.Value); m > 0 {
				below *= s.Mass / m
			}
			s.Below = below
			r.cells = append(r.cells, legCell{i, c})
		}
		w.Legs = append(w.Legs, s)
		r.lengths = append(r.lengths, s.Length)
	}
}

// place gives hooks, nodes and spreaders a pose to be hung from: hooks where
// the file has them, or plumb over the planned centre of gravity; whatever has
// no place of its own under its hook, by the longest legs on the way.
func (r *rigging) place(w *sim.World, p pick) {
	l := r.lift
	load := &w.Bodies[0]
	if l.Load.At != nil {
		load.At = l.Load.At.XYZ()
	}
	plan := &sim.World{}
	(&rigging{lift: l}).load(plan, nominal, twist{leg: -1}, calmScene())
	over := add(load.At, load.Turn.Apply(plan.Bodies[0].CG))
	depth := depths(l)
	reach := map[int]float64{} // longest leg that ends at this depth
	for i := range l.Legs {
		leg := &l.Legs[i]
		d := max(depth[leg.From.Body], depth[leg.To.Body])
		reach[d] = max(reach[d], float64(leg.Length.Value))
	}
	below := func(d int) (sum float64) {
		for k := 1; k <= d; k++ {
			sum += reach[k]
		}
		return sum
	}
	top := load.At[2]
	for i := range l.Load.Lugs {
		at := load.Turn.Apply(l.Load.Lugs[i].At.XYZ())
		top = max(top, load.At[2]+at[2])
	}
	top += below(depth["load"])
	for i := range l.Hooks {
		w.Hooks[i].At = sim.Vec{over[0], over[1], top}
		if at := l.Hooks[i].At; at != nil {
			w.Hooks[i].At = seePoint(p, "hooks."+l.Hooks[i].Name+".at", *at)
			top = w.Hooks[i].At[2]
		}
	}
	if at := l.Hooks[0].At; at != nil && l.Load.At == nil {
		load.At[2] = top - below(depth["load"]) - 1
	}
	for i := range l.Nodes {
		if w.Nodes[i].At = (sim.Vec{over[0], over[1], top - below(depth[l.Nodes[i].Name])}); l.Nodes[i].At != nil {
			w.Nodes[i].At = l.Nodes[i].At.XYZ()
		}
	}
	for i := range l.Spreaders {
		s := &l.Spreaders[i]
		b := &w.Bodies[1+i]
		if b.At = (sim.Vec{over[0], over[1], top - below(depth[s.Name])}); s.At != nil {
			b.At = s.At.XYZ()
		}
	}
}

// hangFree finds how the load hangs when nothing else holds it.
func (r *rigging) hangFree(w *sim.World) error {
	s := sim.New(w)
	if err := s.Settle(nil); err != nil {
		return err
	}
	r.hang, r.hung = w, s
	total := 0.0
	for i := range w.Legs {
		total += s.Tension(i)
	}
	if total < r.weight/4 {
		return fault.New(fault.Rig, "the load does not hang from its legs")
	}
	return nil
}

// ground puts the load on the ground and the hooks low over it, on elastic
// hoists.
func (r *rigging) ground(sc scene) error {
	w := r.hang.Clone()
	plan := &sim.World{}
	(&rigging{lift: r.lift}).load(plan, nominal, twist{leg: -1}, calmScene())
	origin, turn := r.hung.Pose(0)
	load := &w.Bodies[0]
	single := len(w.Hooks) == 1
	lower := 0.0 // all that hangs is put down so far
	at := load.At
	if !single {
		// Hooks have their places: the load stands under where it will hang.
		hung, flat := add(origin, turn.Apply(load.CG)), load.Turn.Apply(load.CG)
		at[0], at[1] = hung[0]-flat[0], hung[1]-flat[1]
	}
	var base sim.Vec
	for _, c := range r.corners {
		at := add(at, load.Turn.Apply(c))
		for k := range base {
			base[k] += at[k] / float64(len(r.corners))
		}
	}
	n := sim.Vec{-sc.slope[0], -sc.slope[1], 1}
	size := math.Sqrt(1 + n[0]*n[0] + n[1]*n[1])
	for k := range n {
		n[k] /= size
	}
	w.Ground = sim.Ground{At: base, Normal: n}
	k := r.weight / sc.ground / float64(len(r.corners))
	for _, c := range r.corners {
		w.Contacts = append(w.Contacts, sim.Contact{
			At: sim.Point{On: sim.OnBody, At: c}, Stiff: k, Damping: k * 0.01, Friction: sc.friction,
		})
	}
	load.At = at
	lower = at[2] - origin[2]
	planCG := load.Turn.Apply(plan.Bodies[0].CG)
	r.tight = r.hang.Hooks[0].At[2] + lower
	for i := range w.Hooks {
		h := &w.Hooks[i]
		h.At[2] += lower - sc.slack
		if single {
			h.At[0], h.At[1] = at[0]+planCG[0]+sc.off[0], at[1]+planCG[1]+sc.off[1]
			h.Rope = sc.rope
		}
		h.Slows = sc.blockSlow
		h.Stiffness = r.weight / float64(len(w.Hooks)) / sc.give
	}
	for i := range w.Nodes {
		w.Nodes[i].At = r.hungNode(i, lower-sc.slack)
	}
	for i := range w.Bodies[1:] {
		o, t := r.hung.Pose(1 + i)
		o[2] += lower - sc.slack
		w.Bodies[1+i].At, w.Bodies[1+i].Turn = o, t
	}
	// The bounce of the whole: a hundredth more of gravity stretches it by a
	// hundredth of what it gives under its weight.
	heavier := r.hang.Clone()
	heavier.Gravity *= 1.01
	s := sim.New(heavier)
	if err := s.Settle(nil); err != nil {
		return err
	}
	r.give = (r.hung.CG(0)[2]-s.CG(0)[2])/0.01 + sc.give
	relax := 2 * sc.damping * math.Sqrt(r.give/w.Gravity)
	for i := range w.Legs {
		if w.Legs[i].Stiff > 0 {
			w.Legs[i].Damping = w.Legs[i].Stiff * relax
		}
	}
	for i := range w.Hooks {
		w.Hooks[i].Damping = w.Hooks[i].Stiffness * relax
	}
	r.swing = r.hung.HookAt(0)[2] - r.hung.CG(0)[2]
	if single {
		r.swing += sc.rope
	}
	r.world = w
	return r.within()
}

// within lowers the hooks until every leg reaches its lug without a pull: on
// a slope, or with the hook aside, it is further than plumb.
func (r *rigging) within() error {
	const spare = 0.03
	for range 30 {
		s := sim.New(r.world)
		s.Attach(true)
		if err := s.Settle(nil); err != nil {
			return err
		}
		short := 0.0
		for _, i := range toLoad(r.lift) {
			short = max(short, s.Reach(i)+spare-r.world.Legs[i].Length)
		}
		if short == 0 {
			return nil
		}
		for i := range r.world.Hooks {
			r.world.Hooks[i].At[2] -= short + 0.01
		}
		for i := range r.world.Nodes {
			r.world.Nodes[i].At[2] -= short + 0.01
		}
		for i := range r.world.Bodies[1:] {
			r.world.Bodies[1+i].At[2] -= short + 0.01
		}
	}
	return fault.New(fault.Rig, "the legs do not reach the load on the ground")
}

func (r *rigging) hungNode(i int, lower float64) sim.Vec {
	at := r.hung.NodeAt(i)
	at[2] += lower
	return at
}

func add(a, b sim.Vec) sim.Vec { return sim.Vec{a[0] + b[0], a[1] + b[1], a[2] + b[2]} }

// empty is the raw force on every cell with the rigging hanging: off the load
// (hung), or hooked to it and slack.
func (r *rigging) empty(loose bool) ([]float64, error) {
	s := sim.New(r.world)
	s.Attach(loose)
	if err := s.Settle(nil); err != nil {
		return nil, err
	}
	out := make([]float64, len(r.cells))
	for k, c := range r.cells {
		out[k] = s.AtCell(c.leg)
	}
	return out, nil
}
