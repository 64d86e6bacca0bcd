package lift

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"plumbhook/fault"
	"plumbhook/quantity"
	"plumbhook/statics"
)

// slackShare of the total weight is the tension under which a leg counts as
// slack.
const slackShare = 1e-6

// Hang finds the equilibrium of the lift as first rigged, from its start
// pose, with the inputs as they are set.
func (r *Rig) Hang() (*Hung, error) {
	return r.told("", r.solver.Hang())
}

// Rehang finds the equilibrium near the last one, after a small change of
// inputs, and leaves the forces to Bear: the fast way through many variants.
func (r *Rig) Rehang() (stable bool, err error) {
	res := r.solver.Rehang()
	return res.Stable, res.Err()
}

// Home goes back to the pose that Hang or the last Step found. The inputs
// must be as they were then.
func (r *Rig) Home() error { return r.solver.Restore().Err() }

// Step makes the changes of step i of the file and hangs the lift from the
// pose it has. Hooks, lengths and levels go their way in short straight
// pieces, all together, and the pose is followed. Inputs set later keep the
// changes.
func (r *Rig) Step(i int) (*Hung, error) {
	s := &r.Lift.Steps[i]
	m := &r.model
	var moves []func(share float64)
	far := 0.0
	for k := range r.Lift.Hooks {
		if p, ok := s.Hooks[r.Lift.Hooks[k].Name]; ok {
			from, to := r.carriers[r.Lift.Hooks[k].Name].at, statics.Vec(p.XYZ())
			way := to.Sub(from)
			far = max(far, way.Norm())
			moves = append(moves, func(share float64) { r.moveHook(k, from.Add(way.Scale(share))) })
			r.changes = append(r.changes, func() { r.moveHook(k, to) })
		}
	}
	number := func(x *float64, to float64) {
		from := *x
		far = max(far, math.Abs(to-from))
		moves = append(moves, func(share float64) { *x = from + share*(to-from) })
		r.changes = append(r.changes, func() { *x = to })
	}
	for k := range r.Lift.Legs {
		if x, ok := s.Legs[r.Lift.Legs[k].Name]; ok {
			number(&m.Cables[k].Length, length(x))
		}
	}
	for k := range r.Lift.Supports {
		if x, ok := s.Supports[r.Lift.Supports[k].Name]; ok {
			number(&m.Supports[k].Level, length(x))
		}
	}
	for k := range r.Lift.Ties {
		if held, ok := s.Ties[r.Lift.Ties[k].Name]; ok {
			l := r.untied[k]
			if !held {
				l = released
			}
			set := func() { m.Cables[r.ties+k].Length = l }
			set()
			r.changes = append(r.changes, set)
		}
	}
	pieces := int(min(math.Ceil(far/piece), maxPieces))
	edge := false
	for k := 1; k < pieces; k++ {
		for _, f := range moves {
			f(float64(k) / float64(pieces))
		}
		res := r.solver.Step()
		if res.Err() != nil {
			return nil, r.refused(s.Name, res)
		}
		edge = edge || !res.Stable
	}
	for _, f := range moves {
		f(1)
	}
	h, err := r.told(s.Name, r.solver.Step())
	r.steps = i + 1
	if err == nil && edge && h.Stable {
		h.Stable = false
		h.Notes = append(h.Notes, "on the way to this step the pose is lost")
	}
	return h, err
}

// A step's way is gone in pieces of this length, m, but not in more than so
// many.
const (
	piece     = 0.2
	maxPieces = 60
)

// released is the length, m, of a tie that holds nothing any more.
const released = 1e6

// Walk hangs the lift as first rigged and then step by step, and has f look
// at each state while the rig hangs in it.
func (r *Rig) Walk(f func(*Hung) error) error {
	h, err := r.Hang()
	for i := 0; err == nil; i++ {
		if err = f(h); err != nil || i == len(r.Lift.Steps) {
			break
		}
		h, err = r.Step(i)
	}
	return err
}

// told turns a solution into trade results.
func (r *Rig) told(step string, res *statics.Result) (*Hung, error) {
	if err := res.Err(); err != nil {
		return nil, r.refused(step, res)
	}
	if res.Undecided {
		return nil, r.undecided()
	}
	r.solver.Keep()
	h := &Hung{Lift: r.Lift, Step: step, Stable: res.Stable}
	if res.Fell >= 0 {
		h.FellOver = r.bodies[res.Fell]
		h.Notes = append(h.Notes, fmt.Sprintf("%s does not stay as it starts: it turns over and hangs as shown", h.FellOver))
	} else if res.OnEdge {
		h.Notes = append(h.Notes, "the start pose is a balance on edge: the least touch lets it fall to the pose shown")
	}
	if res.Neutral {
		h.Notes = append(h.Notes, "nothing brings the rig back from some small move: it hangs undecided")
	}
	load := &r.model.Bodies[0]
	h.MassKg, h.WeightN = load.Mass, load.Mass*r.model.Gravity
	h.CGLoad = load.CG
	margin := res.Margin[0]
	if res.Rolls[0] {
		h.Stable, margin = false, 0
		h.Notes = append(h.Notes, "the load's centre of gravity lies on the line through all its lifting points: it may roll to any side")
	}
	if !math.IsInf(margin, 1) {
		h.StabilityM = &margin
	}
	for i := range r.Lift.Spreaders {
		if res.Rolls[1+i] {
			h.Notes = append(h.Notes, fmt.Sprintf("%s may roll about its own line: its points and its centre of gravity lie on one line", r.bodies[1+i]))
		}
	}

	// With the one hook afloat, the load's centre of gravity is where the
	// start pose has it, and everything else follows.
	var shift statics.Vec
	if r.floating {
		p := load.Start
		shift = p.At.Add(p.R.Apply(load.CG)).Sub(r.cg(res, 0))
	}
	r.tellBodies(h, res, shift)
	total := r.total()
	hooks := make([]statics.Vec, len(r.Lift.Hooks))
	nodes := make([]nodePull, len(r.Lift.Nodes))
	for i := range r.Lift.Legs {
		r.tellLeg(h, i, res, shift, total, hooks, nodes)
	}
	r.tellWorst(h)
	for i := range r.Lift.Ties {
		h.Ties = append(h.Ties, HungTie{Name: r.Lift.Ties[i].Name, TensionN: res.Tension[r.ties+i]})
	}
	for i, hook := range r.Lift.Hooks {
		h.Hooks = append(h.Hooks, HungHook{
			Name: hook.Name, At: r.carriers[hook.Name].at.Add(shift), Force: hooks[i], LoadN: hooks[i].Norm(),
		})
	}
	for i, node := range r.Lift.Nodes {
		h.Nodes = append(h.Nodes, HungNode{Name: node.Name, At: res.Particles[i].Add(shift), LoadN: nodes[i].load()})
	}
	for i := range r.Lift.Supports {
		p := r.model.Supports[i].At
		f := res.Drag[i]
		f[2] = res.Push[i]
		g := HungSupport{Name: r.Lift.Supports[i].Name, At: r.solver.Where(p).Add(shift), Force: f, Off: res.Push[i] < slackShare*total}
		if mu := r.Lift.Supports[i].Friction; mu > 0 && !g.Off {
			g.Grip = math.Hypot(f[0], f[1]) / (mu * f[2])
		}
		if before := r.stood[i]; before != nil && !g.Off {
			g.SlidM = math.Hypot(g.At[0]-before[0], g.At[1]-before[1])
		}
		if r.stood[i] = nil; !g.Off {
			r.stood[i] = &g.At
		}
		h.Supports = append(h.Supports, g)
	}
	r.tellSqueeze(h)
	r.tellHeadroom(h)
	r.tellSharing(h, total)
	r.tellSlip(h)
	return h, nil
}

// total is the weight of everything that hangs.
func (r *Rig) total() float64 {
	w := 0.0
	for i := range r.model.Bodies {
		w += r.model.Bodies[i].Mass
	}
	for i := range r.model.Particles {
		w += r.model.Particles[i].Mass
	}
	for i := range r.model.Cables {
		w += r.model.Cables[i].Mass
	}
	return w * r.model.Gravity
}

func (r *Rig) cg(res *statics.Result, body int) statics.Vec {
	p := &res.Poses[body]
	return p.At.Add(p.R.Apply(r.model.Bodies[body].CG))
}

func (r *Rig) tellBodies(h *Hung, res *statics.Result, shift statics.Vec) {
	for i, name := range r.bodies {
		p := &res.Poses[i]
		b := HungBody{
			Name: name, Origin: p.At.Add(shift), Rot: p.R, CG: r.cg(res, i).Add(shift),
			Points: map[string][3]float64{}, Forces: map[string][3]float64{},
		}
		// The body z axis in the world is the third column; the world's down
		// seen from the body is minus the third row, and the side it leans
		// to is the one that hangs low.
		b.Tilt = math.Atan2(math.Hypot(p.R[2], p.R[5]), p.R[8])
		if b.Tilt >= 0.01*math.Pi/180 {
			low := math.Atan2(-p.R[7], -p.R[6])
			b.LowSide = &low
		}
		c := r.carriers[name]
		for k := range c.lugs {
			at := r.lugAt(i, c.lugs[k].Name, statics.Vec(c.lugs[k].At.XYZ()))
			b.Points[c.lugs[k].Name] = p.At.Add(p.R.Apply(at)).Add(shift)
		}
		h.Bodies = append(h.Bodies, b)
	}
}

// lugAt is where a lug is now in body axes: as set where something takes
// hold of it, else as in the file.
func (r *Rig) lugAt(body int, lug string, file statics.Vec) statics.Vec {
	if h := r.holds(r.bodies[body], lug); len(h) > 0 {
		return h[0].At
	}
	return file
}

// nodePull adds up what pulls on a node from above and from below.
type nodePull struct{ up, down statics.Vec }

// load is the force that passes through the node.
func (n nodePull) load() float64 { return max(n.up.Norm(), n.down.Norm()) }

func (r *Rig) tellLeg(h *Hung, i int, res *statics.Result, shift statics.Vec, total float64, hooks []statics.Vec, nodes []nodePull) {
	leg := &r.Lift.Legs[i]
	c := &r.model.Cables[i]
	plan := r.legs[i]
	out := HungLeg{Name: leg.Name, Slack: res.Tension[i] < slackShare*total}
	for _, p := range c.Path {
		out.Path = append(out.Path, r.solver.Where(p).Add(shift))
	}
	f := r.solver.Forces(i, nil, nil)
	last := len(f) - 1
	up, down := 0, last
	if plan.flipped {
		up, down = last, 0
	}
	out.Upper, out.Lower = f[up], f[down]
	out.TensionN, out.LowerN = f[up].Norm(), f[down].Norm()
	if len(leg.Via) > 0 {
		out.TensionN = max(f[0].Norm(), f[last].Norm())
		for range last {
			out.Spans = append(out.Spans, res.Tension[i])
		}
	}
	out.FromHorizontal = math.Pi / 2
	for k := 1; k <= last; k++ {
		a, b := statics.Vec(out.Path[k-1]), statics.Vec(out.Path[k])
		d := b.Sub(a)
		out.LengthM += d.Norm()
		if last > 1 && k > 1 && k < last { // inner spans of a via leg bear no angle limit of their own
			continue
		}
		out.FromHorizontal = min(out.FromHorizontal, math.Atan2(math.Abs(d[2]), math.Hypot(d[0], d[1])))
	}
	out.FromVertical = math.Pi/2 - out.FromHorizontal
	out.WLLN, out.Unrated = leg.rating()
	h.Legs = append(h.Legs, out)

	for k, ref := range leg.refs() {
		car := r.carriers[ref.Body]
		switch car.on {
		case statics.World:
			hooks[car.index] = hooks[car.index].Add(f[k])
		case statics.OnParticle:
			n := &nodes[car.index]
			if f[k][2] > 0 {
				n.up = n.up.Add(f[k])
			} else {
				n.down = n.down.Add(f[k])
			}
		case statics.OnBody:
			b := &h.Bodies[car.index]
			b.Forces[ref.Point] = statics.Vec(b.Forces[ref.Point]).Add(f[k])
		}
	}
}

// Rating is what the file gives one leg for itself: its straight WLL, or its
// share of the tag of the assembly it belongs to. A tag W for n legs at an
// angle h from horizontal stands for W / (n sin h) in each, three at most
// counted (four-leg slings are rated as three: OSHA Guidance on Safe Sling
// Use, Tables 1 and 2; EN 818-4).
func (l *Leg) Rating() *quantity.Rating {
	a := l.AssemblyWLL
	if l.WLL != nil || a == nil || a.Legs < 1 {
		return l.WLL
	}
	h := float64(a.Angle.Value)
	switch a.From {
	case "vertical":
		h = math.Pi/2 - h
	case "included":
		h = math.Pi/2 - h/2
	}
	n := float64(min(a.Legs, 3)) * math.Sin(h)
	if !(n > 0) {
		return nil
	}
	return &quantity.Rating{Force: a.WLL.Force / quantity.Force(n), FromMass: a.WLL.FromMass, Text: a.WLL.Text + " of the assembly"}
}

// rating is the straight rating of the leg: its weakest rated part, and the
// parts that have none.
func (l *Leg) rating() (*float64, []string) {
	var least *float64
	take := func(n float64) {
		if least == nil || n < *least {
			least = &n
		}
	}
	var unrated []string
	own := l.Rating()
	if own != nil {
		take(float64(own.Force))
	}
	for k := range l.Stack {
		p := &l.Stack[k]
		switch {
		case p.WLL != nil:
			take(float64(p.WLL.Force))
		case p.Cell != nil && p.Cell.Capacity != nil:
			take(float64(p.Cell.Capacity.Force))
		case own == nil:
			unrated = append(unrated, fmt.Sprintf("%d %s", k+1, p.Kind))
		}
	}
	if len(l.Stack) == 0 && l.Cell != nil && l.Cell.Capacity != nil {
		take(float64(l.Cell.Capacity.Force))
	}
	return least, unrated
}

// tellWorst fills, for bodies held by four legs or more, the most each leg
// can get when statics alone decides.
func (r *Rig) tellWorst(h *Hung) {
	for b := range r.bodies {
		var legs []int
		for i := range r.legs {
			if r.legs[i].body == b {
				legs = append(legs, i)
			}
		}
		if len(legs) < 4 {
			continue
		}
		_, high, ok := r.solver.ShareRange(b, legs)
		if !ok {
			h.Untried = append(h.Untried, r.bodies[b])
			continue
		}
		for k, i := range legs {
			t := r.upper(i, high[k])
			h.Legs[i].WorstN = &t
		}
	}
}

// upper is the force at the upper end of leg i with a tension t in its span.
func (r *Rig) upper(i int, t float64) float64 {
	c := &r.model.Cables[i]
	if c.Catenary {
		return t
	}
	spans := make([]float64, len(c.Path)-1)
	for k := range spans {
		spans[k] = t
	}
	f := r.solver.Forces(i, spans, nil)
	switch {
	case len(c.Path) > 2:
		return max(f[0].Norm(), f[len(f)-1].Norm())
	case r.legs[i].flipped:
		return f[len(f)-1].Norm()
	}
	return f[0].Norm()
}

// Demand names one force that some part has to bear.
type Demand struct {
	Kind DemandKind
	Name string // of the leg, hook, node or spreader; load.west for a point
	body int    // points only
}

// DemandKind says what a demand is the force on.
type DemandKind int

// A leg's is at its upper end. A hook's and a point's are the sizes of the
// force sums there. A node's is what passes through it. A spreader's is the
// weight hung from it.
const (
	OnLeg DemandKind = iota
	OnHook
	OnNode
	OnPoint
	OnSpreader
)

// Where names the demand as findings and parts do: legs.west, hooks.main,
// nodes.ring, spreaders.bar, load.west.
func (d Demand) Where() string {
	switch d.Kind {
	case OnLeg:
		return "legs." + d.Name
	case OnHook:
		return "hooks." + d.Name
	case OnNode:
		return "nodes." + d.Name
	case OnSpreader:
		return "spreaders." + d.Name
	default:
		return d.Name
	}
}

// Demands lists every force that some part of the rigging bears: legs first,
// in the order of the file.
func (r *Rig) Demands() []Demand {
	var d []Demand
	for i := range r.Lift.Legs {
		d = append(d, Demand{Kind: OnLeg, Name: r.Lift.Legs[i].Name})
	}
	for i := range r.Lift.Hooks {
		d = append(d, Demand{Kind: OnHook, Name: r.Lift.Hooks[i].Name})
	}
	for i := range r.Lift.Nodes {
		d = append(d, Demand{Kind: OnNode, Name: r.Lift.Nodes[i].Name})
	}
	for b, name := range r.bodies {
		lugs := r.carriers[name].lugs
		for k := range lugs {
			if r.used(name, lugs[k].Name) {
				d = append(d, Demand{Kind: OnPoint, Name: name + "." + lugs[k].Name, body: b})
			}
		}
	}
	for i := range r.Lift.Spreaders {
		d = append(d, Demand{Kind: OnSpreader, Name: r.Lift.Spreaders[i].Name, body: 1 + i})
	}
	return d
}

// used reports whether a leg takes hold of a point.
func (r *Rig) used(body, point string) bool {
	for i := range r.Lift.Legs {
		for _, ref := range r.Lift.Legs[i].refs() {
			if ref.Body == body && ref.Point == point {
				return true
			}
		}
	}
	return false
}

// refs are all the points a leg touches, in order.
func (l *Leg) refs() []Ref { return append(append([]Ref{l.From}, l.Via...), l.To) }

// Bear fills dst with the forces of Demands in the last pose found, N.
func (r *Rig) Bear(demands []Demand, dst []float64) {
	sums := map[string]statics.Vec{}
	nodes := map[string]*nodePull{}
	hung := map[string]float64{}
	var f []statics.Vec
	for i := range r.Lift.Legs {
		leg := &r.Lift.Legs[i]
		f = r.solver.Forces(i, nil, f[:0])
		dst[i] = f[0].Norm()
		switch {
		case r.legs[i].flipped:
			dst[i] = f[1].Norm()
		case len(leg.Via) > 0:
			dst[i] = max(dst[i], f[len(f)-1].Norm())
		}
		for k, ref := range leg.refs() {
			key := ref.String()
			sums[key] = sums[key].Add(f[k])
			n := nodes[ref.Body]
			if n == nil {
				n = &nodePull{}
				nodes[ref.Body] = n
			}
			if f[k][2] > 0 {
				n.up = n.up.Add(f[k])
			} else {
				n.down = n.down.Add(f[k])
				hung[ref.Body] -= f[k][2]
			}
		}
	}
	for k, d := range demands {
		switch d.Kind {
		case OnHook, OnPoint:
			dst[k] = sums[d.Name].Norm()
		case OnNode:
			if n := nodes[d.Name]; n != nil {
				dst[k] = n.load()
			}
		case OnSpreader:
			dst[k] = hung[d.Name]
		}
	}
}

// Weight is that of the load alone with the inputs as set.
func (r *Rig) Weight() float64 { return r.model.Bodies[0].Mass * r.model.Gravity }

// tellSqueeze gives the push between every two points of a body that legs
// take hold of: the body cut half way between them, what the points on one
// side press toward the other. Points closer together than a fifth of the
// body's farthest two are passed over.
func (r *Rig) tellSqueeze(h *Hung) {
	for i := range h.Bodies {
		b := &h.Bodies[i]
		var names []string
		for _, lug := range r.carriers[b.Name].lugs {
			if _, ok := b.Forces[lug.Name]; ok {
				names = append(names, lug.Name)
			}
		}
		far := 0.0
		for _, p := range names {
			for _, q := range names {
				far = max(far, statics.Vec(b.Points[p]).Sub(b.Points[q]).Norm())
			}
		}
		for j, p := range names {
			for _, q := range names[j+1:] {
				d := statics.Vec(b.Points[q]).Sub(b.Points[p])
				l := d.Norm()
				if l < far/5 || l == 0 {
					continue
				}
				u := d.Scale(1 / l)
				mid := statics.Vec(b.Points[p]).Add(d.Scale(0.5))
				push := 0.0
				for _, n := range names {
					push += CutShare(statics.Vec(b.Points[n]).Sub(mid).Dot(u), l) * statics.Vec(b.Forces[n]).Dot(u)
				}
				push -= CutShare(statics.Vec(b.CG).Sub(mid).Dot(u), l) * r.model.Bodies[i].Mass * r.model.Gravity * u[2]
				h.Squeeze = append(h.Squeeze, Squeeze{Body: b.Name, A: p, B: q, ForceN: push})
			}
		}
	}
}

// CutShare is how much of a force counts to the near side of a cut that it
// acts a distance s beyond, m: all, none, or half when it lies on the cut to
// a millionth of the distance l between the points the cut is half way of.
func CutShare(s, l float64) float64 {
	switch {
	case s < -1e-6*l:
		return 1
	case s <= 1e-6*l:
		return 0.5
	}
	return 0
}

// tellHeadroom measures, for every hook, down to the highest lug of the load
// that hangs from it, and keeps the least.
func (r *Rig) tellHeadroom(h *Hung) {
	h.HeadroomM = math.Inf(1)
	b := &h.Bodies[0]
	for i := range h.Hooks {
		below := map[string]bool{h.Hooks[i].Name: true} // what hangs from the hook, the load left out
		top := math.Inf(-1)
		for again := true; again; {
			again = false
			for k := range r.Lift.Legs {
				refs := r.Lift.Legs[k].refs()
				if !slices.ContainsFunc(refs, func(ref Ref) bool { return below[ref.Body] }) {
					continue
				}
				for _, ref := range refs {
					if ref.Body == "load" {
						top = max(top, b.Points[ref.Point][2])
					} else if !below[ref.Body] && r.carriers[ref.Body].on != statics.World {
						below[ref.Body], again = true, true
					}
				}
			}
		}
		h.HeadroomM = min(h.HeadroomM, h.Hooks[i].At[2]-top)
	}
}

// tellSharing warns when the tensions hang on lengths finer than a
// millimetre.
func (r *Rig) tellSharing(h *Hung, total float64) {
	d := make([]float64, len(r.model.Cables))
	worst, leg := 0.0, 0
	for i := range r.Lift.Legs {
		r.solver.LengthSensitivity(i, d)
		for k := range r.Lift.Legs {
			if v := math.Abs(d[k]); v > worst {
				worst, leg = v, k
			}
		}
	}
	const mm = 1e-3
	if worst*mm > total/2 {
		h.NearSingular = true
		h.Notes = append(h.Notes, fmt.Sprintf(
			"leg %s changes by %.3g of the total weight per millimetre of leg length: the sharing can not be told from the plan", r.Lift.Legs[leg].Name, worst*mm/total))
	}
}

// tellSlip gives the span tensions of ropes with friction when they are
// about to run, all to their first ends and all to their last ends.
func (r *Rig) tellSlip(h *Hung) {
	some := false
	for i := range r.model.Cables {
		c := &r.model.Cables[i]
		some = some || len(c.Path) > 2 && c.Friction > 0
	}
	if !some {
		return
	}
	h.Notes = append(h.Notes, "the pose shown is the one without friction: with it, a rope may stay anywhere up to where it slips, and the load hang as much askew")
	spans := make([][]float64, len(r.model.Cables))
	for _, ahead := range []bool{false, true} {
		if err := r.solver.Slip(ahead, spans).Err(); err != nil {
			h.Notes = append(h.Notes, "the ropes were not followed to where they slip: no equilibrium was found there")
		} else {
			for i := range r.Lift.Legs {
				if leg := &r.Lift.Legs[i]; len(leg.Via) == 0 || leg.Friction == 0 {
					continue
				}
				got := append([]float64(nil), spans[i]...)
				if ahead {
					h.Legs[i].SlipHigh = got
				} else {
					h.Legs[i].SlipLow = got
				}
			}
		}
		r.solver.Rehang()
	}
}

// refused words why a rig could not be hung.
func (r *Rig) refused(step string, res *statics.Result) error {
	where := "legs"
	if step != "" {
		where = "steps." + step
	}
	var f *fault.Fault
	switch res.Reason {
	case statics.TooShort:
		f = fault.New(fault.Rig, "the legs are too short to reach what they join").
			Fix("check the lengths and the places of hooks and lugs; a leg in the file is measured unloaded, bearing to bearing")
	case statics.NotHeld:
		f = fault.New(fault.Rig, "something falls: no leg holds it").Fix("check that every body hangs from a hook")
	default:
		f = fault.New(fault.Rig, "no equilibrium was found (largest unbalanced force %.2g of the weight)", res.Residual).
			Fix("check lengths and places; if they are right, this rig is beyond the program")
	}
	return f.In(where).At(r.Lift.Place(where))
}

// undecided asks for the stiffness that the sharing depends on.
func (r *Rig) undecided() error {
	var names []string
	where := ""
	for i := range r.Lift.Legs {
		if leg := &r.Lift.Legs[i]; leg.Stiffness == nil {
			names = append(names, leg.Name)
			if where == "" {
				where = "legs." + leg.Name
			}
		}
	}
	return fault.New(fault.Undecided, "how the legs share the load depends on how they stretch, and %s %s no stiffness",
		strings.Join(names, ", "), map[bool]string{true: "has", false: "have"}[len(names) == 1]).
		In(where).At(r.Lift.Place(where)).
		Fix("give each a stiffness (EA / length, from its maker), as stiffness: 5.2 MN/m")
}

// CellAt finds the load cell of a leg and the mass of the leg below it, kg:
// of the stack entries under the cell, or half the leg when it has no stack.
func (l *Leg) CellAt() (cell *Cell, below float64) {
	if l.Cell != nil {
		return l.Cell, float64(l.Mass.Value) / 2
	}
	for k := range l.Stack {
		if cell != nil && l.Stack[k].Mass != nil {
			below += float64(l.Stack[k].Mass.Value)
		}
		if l.Stack[k].Cell != nil && cell == nil {
			cell = l.Stack[k].Cell
		}
	}
	return cell, below
}
