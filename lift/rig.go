package lift

import (
	"plumbhook/fault"
	"plumbhook/quantity"
	"plumbhook/statics"
)

// Rig is a lift made ready to hang: the statics model of its file, with the
// way back from the model's bodies and cables to the file's names.
//
// Every figure of the file that is not exactly known is an Input; set new
// values and hang again to see what it does. A Rig is not safe for
// concurrent use.
type Rig struct {
	Lift   *Lift
	Inputs []Input

	model  statics.Model
	solver *statics.Solver

	bodies   []string // of the model, load first
	carriers map[string]carrier
	legs     []legPlan
	set      []func(float64)    // puts the value of an input into the model
	sums     []func()           // brings up to date what depends on several inputs
	ties     int                // index of the first tie among the cables
	untied   []float64          // tie lengths at the start
	stood    []*[3]float64      // where each support's point stood in the state before; nil when off
	steps    int                // of the file, made so far
	changes  []func()           // what the steps made so far changed
	floating bool               // the one hook has no place: the load stays where its start pose has it
	twins    []*Rig             // for goroutines of their own
	hooked   [][]*statics.Point // attachments of the model at each hook; nil until asked
}

// carrier is what a name in the file is in the model.
type carrier struct {
	on     statics.Place
	index  int
	points map[string]int // into Lug slices
	lugs   []Lug
	at     statics.Vec // of a hook
	depth  int         // legs from the nearest hook
}

// legPlan is what the model's cable does not say about a leg.
type legPlan struct {
	body    int  // body it holds, -1 when none
	flipped bool // the file names the lower end first
}

// Input is one figure of the plan that is not exactly known.
type Input struct {
	Name      string // load.frame.mass, legs.west.length ...
	Value     float64
	Low, High float64 // 95 % limits when Normal, hard limits when Uniform
	Shape     quantity.Shape
	Unit      string // SI
}

// NewRig builds the model. Its faults are about rigs that statics can not
// take: the file itself has been checked by Read.
func NewRig(l *Lift) (*Rig, error) {
	r := &Rig{Lift: l, carriers: map[string]carrier{}}
	if _, err := l.Load.Sheet.Sum(l.Load.Wet); err != nil {
		return nil, err
	}
	r.build()
	r.list()
	r.Set(r.Nominal())
	r.start()
	r.stood = make([]*[3]float64, len(l.Supports))
	s, err := statics.NewSolver(&r.model)
	if err != nil {
		return nil, fault.New(fault.Rig, "this rig can not be put into a model").Because(err)
	}
	r.solver = s
	return r, nil
}

func length(m quantity.Measured[quantity.Length]) float64 { return float64(m.Value) }

// rotation is about world x, then y, then z.
func rotation(t *Turn) statics.Rot {
	if t == nil {
		return statics.Identity
	}
	x := statics.Exp(statics.Vec{float64(t.X), 0, 0})
	y := statics.Exp(statics.Vec{0, float64(t.Y), 0})
	z := statics.Exp(statics.Vec{0, 0, float64(t.Z)})
	yx := y.Mul(&x)
	return z.Mul(&yx)
}

func place(p *quantity.Point) statics.Vec {
	if p == nil {
		return statics.Vec{}
	}
	return p.XYZ()
}

// build lays out bodies, particles, cables and supports.
func (r *Rig) build() {
	l := r.Lift
	m := &r.model
	names := func(lugs []Lug) map[string]int {
		n := map[string]int{}
		for i := range lugs {
			n[lugs[i].Name] = i
		}
		return n
	}
	body := func(name string, lugs []Lug, at *quantity.Point, t *Turn) {
		r.carriers[name] = carrier{on: statics.OnBody, index: len(m.Bodies), points: names(lugs), lugs: lugs, depth: -1}
		m.Bodies = append(m.Bodies, statics.Body{Start: statics.Pose{At: place(at), R: rotation(t)}})
		r.bodies = append(r.bodies, name)
	}
	body("load", l.Load.Lugs, l.Load.At, l.Load.Turn)
	for i := range l.Spreaders {
		s := &l.Spreaders[i]
		body(s.Name, s.Points, s.At, s.Turn)
	}
	for i := range l.Nodes {
		n := &l.Nodes[i]
		r.carriers[n.Name] = carrier{on: statics.OnParticle, index: i, depth: -1}
		m.Particles = append(m.Particles, statics.Particle{Start: place(n.At)})
	}
	for i := range l.Hooks {
		h := &l.Hooks[i]
		r.floating = h.At == nil
		r.carriers[h.Name] = carrier{on: statics.World, index: i, at: place(h.At)}
	}
	r.rank()
	for i := range l.Legs {
		leg := &l.Legs[i]
		c := statics.Cable{Catenary: leg.Catenary, Friction: leg.Friction}
		c.Path = append(c.Path, r.point(leg.From))
		for _, v := range leg.Via {
			c.Path = append(c.Path, r.point(v))
		}
		c.Path = append(c.Path, r.point(leg.To))
		p := legPlan{body: -1}
		from, to := r.carriers[leg.From.Body], r.carriers[leg.To.Body]
		p.flipped = len(leg.Via) == 0 && to.depth < from.depth
		low := leg.To.Body
		switch {
		case len(leg.Via) > 0:
			low = leg.Via[0].Body
		case p.flipped:
			low = leg.From.Body
		}
		if b := r.carriers[low]; b.on == statics.OnBody {
			p.body = b.index
		}
		m.Cables = append(m.Cables, c)
		r.legs = append(r.legs, p)
	}
	r.ties = len(m.Cables)
	for i := range l.Ties {
		t := &l.Ties[i]
		m.Cables = append(m.Cables, statics.Cable{Path: []statics.Point{
			{On: statics.World, At: t.To.XYZ()}, r.point(t.At),
		}})
	}
	for i := range l.Supports {
		s := &l.Supports[i]
		m.Supports = append(m.Supports, statics.Support{At: r.point(s.At), Friction: s.Friction})
	}
}

// rank counts for every carrier how many legs it is away from a hook.
func (r *Rig) rank() {
	for again := true; again; {
		again = false
		for i := range r.Lift.Legs {
			leg := &r.Lift.Legs[i]
			refs := append([]Ref{leg.From, leg.To}, leg.Via...)
			least := -1
			for _, ref := range refs {
				if d := r.carriers[ref.Body].depth; d >= 0 && (least < 0 || d < least) {
					least = d
				}
			}
			if least < 0 {
				continue
			}
			for _, ref := range refs {
				if c := r.carriers[ref.Body]; c.depth < 0 || c.depth > least+1 {
					c.depth = least + 1
					r.carriers[ref.Body] = c
					again = true
				}
			}
		}
	}
}

// point turns a reference into an attachment, where the file has it.
func (r *Rig) point(ref Ref) statics.Point {
	c := r.carriers[ref.Body]
	p := statics.Point{On: c.on, Index: c.index}
	switch c.on {
	case statics.World:
		p.At = c.at
	case statics.OnBody:
		p.At = c.lugs[c.points[ref.Point]].At.XYZ()
	}
	return p
}

// Set puts a value for every input into the model, in SI units and in the
// order of Inputs.
func (r *Rig) Set(values []float64) {
	for i, set := range r.set {
		set(values[i])
	}
	for _, f := range r.sums {
		f()
	}
	for _, f := range r.changes {
		f()
	}
}

// Twin makes another rig of the same lift, hung with nominal inputs and taken
// through the same steps, for another goroutine.
func (r *Rig) Twin() (*Rig, error) {
	t, err := NewRig(r.Lift)
	if err != nil {
		return nil, err
	}
	if _, err = t.Hang(); err != nil {
		return nil, err
	}
	return t, t.follow(r)
}

// Twins gives so many twins, each for a goroutine of its own. The rig keeps
// them, and brings them along when it is asked again after further steps.
func (r *Rig) Twins(n int) ([]*Rig, error) {
	for _, t := range r.twins {
		t.Set(t.Nominal())
		if err := t.Home(); err != nil {
			return nil, err
		}
		if err := t.follow(r); err != nil {
			return nil, err
		}
	}
	for len(r.twins) < n {
		t, err := r.Twin()
		if err != nil {
			return nil, err
		}
		r.twins = append(r.twins, t)
	}
	return r.twins[:n], nil
}

// follow makes the steps that another rig of the lift has made.
func (r *Rig) follow(other *Rig) error {
	for i := r.steps; i < other.steps; i++ {
		if _, err := r.Step(i); err != nil {
			return err
		}
	}
	return nil
}

// Nominal are the inputs as the file has them.
func (r *Rig) Nominal() []float64 {
	v := make([]float64, len(r.Inputs))
	for i, in := range r.Inputs {
		v[i] = in.Value
	}
	return v
}

// see takes a figure of the file: an exact one goes to the model at once, any
// other becomes an input.
func see[Q quantity.Quantity](r *Rig, name, unit string, m quantity.Measured[Q], set func(float64)) {
	if m.Shape == quantity.Exact {
		set(float64(m.Value))
		return
	}
	r.Inputs = append(r.Inputs, Input{Name: name, Unit: unit, Value: float64(m.Value), Low: float64(m.Low), High: float64(m.High), Shape: m.Shape})
	r.set = append(r.set, set)
}

// seePoint does so for a place, axis by axis, and reports whether any is an
// input.
func (r *Rig) seePoint(name string, p quantity.Point, at *[3]float64) (uncertain bool) {
	before := len(r.Inputs)
	for k, m := range []quantity.Measured[quantity.Length]{p.X, p.Y, p.Z} {
		see(r, name+"."+"xyz"[k:k+1], "m", m, func(x float64) { at[k] = x })
	}
	return len(r.Inputs) > before
}

// list goes over every figure of the plan that the model uses.
func (r *Rig) list() {
	l, m := r.Lift, &r.model
	see(r, "site.g", "m/s²", l.Site.G, func(x float64) { m.Gravity = x })

	// The load: parts into mass and centre.
	sheet := &l.Load.Sheet
	type part struct {
		mass float64
		at   [3]float64
	}
	parts := make([]part, 0, len(sheet.Parts))
	for i := range sheet.Parts {
		p := &sheet.Parts[i]
		if p.Fluid && !l.Load.Wet {
			continue
		}
		name := "load." + p.Name
		if sheet.Direct {
			name = "load"
		}
		parts = append(parts, part{})
		to := &parts[len(parts)-1]
		see(r, name+".mass", "kg", p.Mass, func(x float64) { to.mass = x })
		r.seePoint(name+".at", p.At, &to.at)
	}
	r.sums = append(r.sums, func() {
		mass, moment := 0.0, [3]float64{}
		for i := range parts {
			mass += parts[i].mass
			for k := range moment {
				moment[k] += parts[i].mass * parts[i].at[k]
			}
		}
		b := &m.Bodies[0]
		b.Mass = mass * (1 + float64(sheet.Contingency))
		for k := range moment {
			b.CG[k] = moment[k] / mass
		}
	})

	for i := range l.Spreaders {
		s := &l.Spreaders[i]
		b := &m.Bodies[1+i]
		see(r, "spreaders."+s.Name+".mass", "kg", s.Mass, func(x float64) { b.Mass = x })
		r.seePoint("spreaders."+s.Name+".cg", s.CG, (*[3]float64)(&b.CG))
	}
	for i := range l.Nodes {
		n := &l.Nodes[i]
		see(r, "nodes."+n.Name+".mass", "kg", n.Mass, func(x float64) { m.Particles[i].Mass = x })
	}
	for i := range l.Hooks {
		h := &l.Hooks[i]
		if h.At == nil {
			continue
		}
		at := h.At.XYZ()
		if r.seePoint("hooks."+h.Name+".at", *h.At, &at) {
			r.sums = append(r.sums, func() { r.moveHook(i, at) })
		}
	}
	// Lugs move with every leg end, tie and support that takes hold there.
	spots := func(body string, lugs []Lug, name string) {
		for k := range lugs {
			at := lugs[k].At.XYZ()
			if r.seePoint(name+"."+lugs[k].Name, lugs[k].At, &at) {
				holds := r.holds(body, lugs[k].Name)
				r.sums = append(r.sums, func() {
					for _, p := range holds {
						p.At = at
					}
				})
			}
		}
	}
	spots("load", l.Load.Lugs, "load.lugs")
	for i := range l.Spreaders {
		s := &l.Spreaders[i]
		spots(s.Name, s.Points, "spreaders."+s.Name+".points")
	}
	for i := range l.Legs {
		leg := &l.Legs[i]
		c := &m.Cables[i]
		name := "legs." + leg.Name
		see(r, name+".length", "m", leg.Length, func(x float64) { c.Length = x })
		if leg.Stiffness != nil {
			see(r, name+".stiffness", "N/m", *leg.Stiffness, func(x float64) { c.Compliance = 1 / x })
		}
		see(r, name+".mass", "kg", leg.Mass, func(x float64) { c.Mass = x })
	}
	for i := range l.Ties {
		t := &l.Ties[i]
		c := &m.Cables[r.ties+i]
		if t.Length != nil {
			see(r, "ties."+t.Name+".length", "m", *t.Length, func(x float64) { c.Length = x })
		}
		if t.Stiffness != nil {
			see(r, "ties."+t.Name+".stiffness", "N/m", *t.Stiffness, func(x float64) { c.Compliance = 1 / x })
		}
	}
	for i := range l.Supports {
		s := &l.Supports[i]
		see(r, "supports."+s.Name+".level", "m", s.Level, func(x float64) { m.Supports[i].Level = x })
	}
}

// holds are the attachments of the model at a hook, or at a point of a body.
func (r *Rig) holds(body, point string) []*statics.Point {
	var all []*statics.Point
	add := func(ref Ref, p *statics.Point) {
		if ref.Body == body && ref.Point == point {
			all = append(all, p)
		}
	}
	for i := range r.Lift.Legs {
		for k, ref := range r.Lift.Legs[i].refs() {
			add(ref, &r.model.Cables[i].Path[k])
		}
	}
	for i := range r.Lift.Ties {
		add(r.Lift.Ties[i].At, &r.model.Cables[r.ties+i].Path[1])
	}
	for i := range r.Lift.Supports {
		add(r.Lift.Supports[i].At, &r.model.Supports[i].At)
	}
	return all
}

// start gives the tie lengths that follow from the start pose, and a hook
// without a place one plumb over the load.
func (r *Rig) start() {
	for i := range r.Lift.Ties {
		t := &r.Lift.Ties[i]
		c := &r.model.Cables[r.ties+i]
		if t.Length == nil {
			c.Length = r.startAt(c.Path[1]).Sub(c.Path[0].At).Norm()
		}
		r.untied = append(r.untied, c.Length)
	}
	if !r.floating {
		return
	}
	b := &r.model.Bodies[0]
	cg := b.Start.At.Add(b.Start.R.Apply(b.CG))
	rise := 0.0
	for i := range r.model.Cables {
		rise += r.model.Cables[i].Length
	}
	r.moveHook(0, statics.Vec{cg[0], cg[1], cg[2] + max(rise, 1)})
}

// startAt is where an attachment is in the start pose.
func (r *Rig) startAt(p statics.Point) statics.Vec {
	switch p.On {
	case statics.OnBody:
		s := &r.model.Bodies[p.Index].Start
		return s.At.Add(s.R.Apply(p.At))
	case statics.OnParticle:
		return r.model.Particles[p.Index].Start
	default:
		return p.At
	}
}

// moveHook puts hook i of the file at a new place.
func (r *Rig) moveHook(i int, to statics.Vec) {
	name := r.Lift.Hooks[i].Name
	if r.hooked == nil {
		for k := range r.Lift.Hooks {
			r.hooked = append(r.hooked, r.holds(r.Lift.Hooks[k].Name, ""))
		}
	}
	for _, p := range r.hooked[i] {
		p.At = to
	}
	c := r.carriers[name]
	c.at = to
	r.carriers[name] = c
}
