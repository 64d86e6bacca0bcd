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
	ties     int           // index of the first tie among the cables
	untied   []float64     // tie lengths at the start
	stood    []*[3]float64 // where each support's point stood in the state before; nil when off
	steps    int           // of the file, made so far
	changes  []func()      // what the steps made so far changed
	floating bool          // the one hook has no place: the load stays where its start pose has it
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

// point turns a reference into an attachment; its place is filled by Set.
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

// list gathers the inputs, in the order that Set reads them.
func (r *Rig) list() {
	r.walk(func(name, unit string, value, low, high float64, shape quantity.Shape, _ func(float64)) {
		r.Inputs = append(r.Inputs, Input{Name: name, Unit: unit, Value: value, Low: low, High: high, Shape: shape})
	})
}

// Set puts a value for every input into the model, in SI units and in the
// order of Inputs.
func (r *Rig) Set(values []float64) {
	i := 0
	r.walk(func(_, _ string, _, _, _ float64, _ quantity.Shape, set func(float64)) {
		set(values[i])
		i++
	})
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
	for i := range r.steps {
		if _, err = t.Step(i); err != nil {
			return nil, err
		}
	}
	return t, nil
}

// Nominal are the inputs as the file has them.
func (r *Rig) Nominal() []float64 {
	v := make([]float64, len(r.Inputs))
	for i, in := range r.Inputs {
		v[i] = in.Value
	}
	return v
}

type visit func(name, unit string, value, low, high float64, shape quantity.Shape, set func(float64))

func see[Q quantity.Quantity](v visit, name, unit string, m quantity.Measured[Q], set func(float64)) {
	if m.Shape == quantity.Exact {
		set(float64(m.Value))
		return
	}
	v(name, unit, float64(m.Value), float64(m.Low), float64(m.High), m.Shape, set)
}

func seePoint(v visit, name string, p quantity.Point, at *[3]float64) {
	for k, m := range []quantity.Measured[quantity.Length]{p.X, p.Y, p.Z} {
		see(v, name+"."+"xyz"[k:k+1], "m", m, func(x float64) { at[k] = x })
	}
}

// walk goes over every figure of the plan that the model uses, visiting the
// uncertain ones and setting the others, and then adds up what depends on
// several.
func (r *Rig) walk(v visit) {
	l, m := r.Lift, &r.model
	see(v, "site.g", "m/s²", l.Site.G, func(x float64) { m.Gravity = x })

	// The load: parts into mass and centre.
	sheet := &l.Load.Sheet
	var mass float64
	var moment [3]float64
	for i := range sheet.Parts {
		p := &sheet.Parts[i]
		if p.Fluid && !l.Load.Wet {
			continue
		}
		name := "load." + p.Name
		if sheet.Direct {
			name = "load"
		}
		var pm float64
		var at [3]float64
		see(v, name+".mass", "kg", p.Mass, func(x float64) { pm = x })
		seePoint(v, name+".at", p.At, &at)
		mass += pm
		for k := range moment {
			moment[k] += pm * at[k]
		}
	}
	b := &m.Bodies[0]
	b.Mass = mass * (1 + float64(sheet.Contingency))
	for k := range moment {
		b.CG[k] = moment[k] / mass
	}

	for i := range l.Spreaders {
		s := &l.Spreaders[i]
		b := &m.Bodies[1+i]
		see(v, "spreaders."+s.Name+".mass", "kg", s.Mass, func(x float64) { b.Mass = x })
		seePoint(v, "spreaders."+s.Name+".cg", s.CG, (*[3]float64)(&b.CG))
	}
	for i := range l.Nodes {
		n := &l.Nodes[i]
		see(v, "nodes."+n.Name+".mass", "kg", n.Mass, func(x float64) { m.Particles[i].Mass = x })
	}
	for i := range l.Hooks {
		h := &l.Hooks[i]
		if h.At == nil || h.At.X.Shape == quantity.Exact && h.At.Y.Shape == quantity.Exact && h.At.Z.Shape == quantity.Exact {
			continue
		}
		at := h.At.XYZ()
		seePoint(v, "hooks."+h.Name+".at", *h.At, &at)
		r.moveHook(i, at)
	}
	// Lugs move with every leg end, tie and support that takes hold there.
	spots := func(lugs []Lug, body int, name string) {
		for k := range lugs {
			lug := &lugs[k]
			at := lug.At.XYZ()
			seePoint(v, name+"."+lug.Name, lug.At, &at)
			r.relocate(body, at, lug.Name)
		}
	}
	spots(l.Load.Lugs, 0, "load.lugs")
	for i := range l.Spreaders {
		spots(l.Spreaders[i].Points, 1+i, "spreaders."+l.Spreaders[i].Name+".points")
	}
	for i := range l.Legs {
		leg := &l.Legs[i]
		c := &m.Cables[i]
		name := "legs." + leg.Name
		see(v, name+".length", "m", leg.Length, func(x float64) { c.Length = x })
		if leg.Stiffness != nil {
			see(v, name+".stiffness", "N/m", *leg.Stiffness, func(x float64) { c.Compliance = 1 / x })
		}
		see(v, name+".mass", "kg", leg.Mass, func(x float64) { c.Mass = x })
	}
	for i := range l.Ties {
		t := &l.Ties[i]
		c := &m.Cables[r.ties+i]
		if t.Length != nil {
			see(v, "ties."+t.Name+".length", "m", *t.Length, func(x float64) { c.Length = x })
		}
		if t.Stiffness != nil {
			see(v, "ties."+t.Name+".stiffness", "N/m", *t.Stiffness, func(x float64) { c.Compliance = 1 / x })
		}
	}
	for i := range l.Supports {
		s := &l.Supports[i]
		see(v, "supports."+s.Name+".level", "m", s.Level, func(x float64) { m.Supports[i].Level = x })
	}
}

// relocate moves the attachments at a lug.
func (r *Rig) relocate(body int, to statics.Vec, lug string) {
	name := r.bodies[body]
	move := func(ref Ref, p *statics.Point) {
		if ref.Body == name && ref.Point == lug {
			p.At = to
		}
	}
	for i := range r.Lift.Legs {
		leg := &r.Lift.Legs[i]
		path := r.model.Cables[i].Path
		move(leg.From, &path[0])
		for k, v := range leg.Via {
			move(v, &path[1+k])
		}
		move(leg.To, &path[len(path)-1])
	}
	for i := range r.Lift.Ties {
		move(r.Lift.Ties[i].At, &r.model.Cables[r.ties+i].Path[1])
	}
	for i := range r.Lift.Supports {
		move(r.Lift.Supports[i].At, &r.model.Supports[i].At)
	}
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
	move := func(ref Ref, p *statics.Point) {
		if ref.Body == name {
			p.At = to
		}
	}
	for k := range r.Lift.Legs {
		leg := &r.Lift.Legs[k]
		path := r.model.Cables[k].Path
		move(leg.From, &path[0])
		for j, v := range leg.Via {
			move(v, &path[1+j])
		}
		move(leg.To, &path[len(path)-1])
	}
	c := r.carriers[name]
	c.at = to
	r.carriers[name] = c
}
