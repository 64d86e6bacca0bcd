package sim

// System is a world in motion. It is not safe for concurrent use.
type System struct {
	Time float64
	// Wind is the velocity of the air, m/s.
	Wind Vec
	// Calm is added to the rate at which all bodies slow down: people with tag
	// lines. 1/s.
	Calm float64
	// Theta is where in a step the equations hold, from 0.5 (nothing damped)
	// to 1 (implicit Euler). New sets 0.52.
	Theta float64

	w      World
	weight float64 // of everything, N

	bodies []rigid
	nodes  []particle // nodes, then hooks
	pts    []pt
	legs   []line // legs, then ropes of the hooks, then ties
	holds  []hold
	sits   []seat

	// The equations of one step: sys d = -res, d the way moved since the
	// start of the step: metres and radians.
	n             int
	sys, res, way []float64
	start         []float64 // velocities at the start of the step
	looking       bool      // forces are only looked at, no equations written
}

// rigid is a body about the centre of gravity it has with the lumped ends of
// its legs.
type rigid struct {
	mass    float64
	cg      Vec // own axes
	inertia Mat
	x       Vec // of cg, world
	r       Mat
	v       Vec
	w       Vec // spin, own axes

	x0    Vec
	r0    Mat
	blow  Vec // force of the wind
	sail  int // its point
	slows float64
	spins float64
}

type particle struct {
	mass     float64
	slows    float64
	x, v, x0 Vec
}

// pt is a place that a force acts at. off is where its carrier's six or three
// degrees of freedom begin; -1 for the world.
type pt struct {
	off  int
	body int  // -1: not on a body
	arm  Vec  // from the centre of gravity, own axes
	p, v Vec  // now
	jr   Mat  // how p moves with a turn of the body
	far  bool // may be off the ground: v and jr only when wanted
}

// line is a leg, a rope or a tie in the works.
type line struct {
	at     []int // points, upper end first
	length float64
	pays   float64 // how fast length grows, m/s
	k, c   float64
	mass   float64
	below  float64
	loose  bool
	off    bool
	most   float64 // strength; 0: does not break

	t    float64 // tension
	u    Vec     // unit vector along the first span, down the line
	long float64 // length now
	limp float64 // weight that hangs from the upper end because the line is not tight, N
}

// hold keeps a hook that does not swing.
type hold struct {
	pt      int
	at, v   Vec
	k, c    float64 // up and down
	kl, cl  float64 // sideways
	carries float64 // pull on the hoist, N
}

// seat is a contact in the works.
type seat struct {
	pt      int
	packing float64
	k, c    float64
	mu      float64
	anchor  Vec
	stuck   bool
	push    float64 // normal force
	side    Vec     // friction
}

// A leg that "does not stretch" stretches by stiffest of its length under the
// weight of the world, and a hoist without a stiffness by rigid metres.
const (
	stiffest  = 2e-5
	rigidHook = 1e-4
	// relaxes is the time in which the damper of such a line gives in, s.
	relaxes = 0.002
)

// New builds a system at rest in its start pose, which need not be one of
// equilibrium: see [System.Settle]. The world is copied.
func New(w *World) *System {
	s := &System{Theta: 0.52, w: *w.Clone()}
	for i := range s.w.Bodies {
		b := &s.w.Bodies[i]
		if b.Turn == (Mat{}) {
			b.Turn = identity
		}
		s.bodies = append(s.bodies, rigid{x: b.At, r: b.Turn, slows: b.Slows, spins: b.Spins})
	}
	for _, n := range s.w.Nodes {
		s.nodes = append(s.nodes, particle{x: n.At, slows: n.Slows})
	}
	for _, h := range s.w.Hooks {
		s.nodes = append(s.nodes, particle{x: h.At, slows: h.Slows})
	}
	if s.w.Ground.Normal == (Vec{}) {
		s.w.Ground.Normal = Vec{0, 0, 1}
	}
	s.n = 6*len(s.bodies) + 3*len(s.nodes)
	s.sys = make([]float64, s.n*s.n)
	s.res = make([]float64, s.n)
	s.way = make([]float64, s.n)
	s.start = make([]float64, s.n)
	s.lump()
	s.lay()
	return s
}

// World is what the system was made from, as it is by now: legs attached,
// ties broken. The poses in it are those of the start.
func (s *System) World() *World { return &s.w }

// lump puts the masses of legs to the points they hang from or pull on, and
// keeps the origins of the bodies where they are.
func (s *System) lump() {
	type point struct {
		m  float64
		at Vec
	}
	on := make([][]point, len(s.bodies))
	nodes := make([]float64, len(s.nodes))
	for i, n := range s.w.Nodes {
		nodes[i] = n.Mass
	}
	for i, h := range s.w.Hooks {
		nodes[len(s.w.Nodes)+i] = h.Mass
	}
	put := func(p Point, m float64) {
		switch p.On {
		case OnBody:
			on[p.Index] = append(on[p.Index], point{m, p.At})
		case OnNode:
			nodes[p.Index] += m
		case OnHook:
			nodes[len(s.w.Nodes)+p.Index] += m
		}
	}
	for i := range s.w.Legs {
		l := &s.w.Legs[i]
		if l.Loose {
			put(l.From, l.Mass)
			continue
		}
		put(l.From, l.Mass/2)
		put(l.To, l.Mass/2)
	}
	s.weight = 0
	for i := range s.nodes {
		// A point without mass has no place of its own in the equations.
		s.nodes[i].mass = max(nodes[i], 0.5)
		s.weight += s.nodes[i].mass * s.w.Gravity
	}
	for i := range s.bodies {
		b, d := &s.bodies[i], &s.w.Bodies[i]
		origin := b.x.minus(b.r.apply(b.cg))
		mass, moment := d.Mass, d.CG.times(d.Mass)
		for _, p := range on[i] {
			mass += p.m
			moment = moment.add(p.m, p.at)
		}
		b.mass, b.cg = mass, moment.times(1/mass)
		b.inertia = d.Inertia
		b.inertia.addPoint(d.Mass, d.CG.minus(b.cg))
		for _, p := range on[i] {
			b.inertia.addPoint(p.m, p.at.minus(b.cg))
		}
		b.x = origin.plus(b.r.apply(b.cg))
		s.weight += mass * s.w.Gravity
	}
}

// addPoint adds the inertia of a point mass.
func (m *Mat) addPoint(mass float64, at Vec) {
	d := at.dot(at)
	for i := range 3 {
		m[i][i] += mass * d
		for j := range 3 {
			m[i][j] -= mass * at[i] * at[j]
		}
	}
}

// lay lays out points, lines, holds and seats.
func (s *System) lay() {
	s.pts, s.holds = s.pts[:0], s.holds[:0]
	add := func(p Point) int {
		q := pt{off: -1, body: -1, p: p.At}
		switch p.On {
		case OnBody:
			q.body, q.off, q.arm = p.Index, 6*p.Index, p.At.minus(s.bodies[p.Index].cg)
		case OnNode:
			q.off = 6*len(s.bodies) + 3*p.Index
		case OnHook:
			q.off = 6*len(s.bodies) + 3*(len(s.w.Nodes)+p.Index)
		}
		s.pts = append(s.pts, q)
		return len(s.pts) - 1
	}
	old := s.legs
	s.legs = nil
	for i := range s.w.Legs {
		l := &s.w.Legs[i]
		ln := line{at: []int{add(l.From)}, length: l.Length, k: l.Stiff, c: l.Damping, mass: l.Mass, below: l.Below, loose: l.Loose}
		for _, v := range l.Via {
			ln.at = append(ln.at, add(v))
		}
		ln.at = append(ln.at, add(l.To))
		if ln.k == 0 {
			ln.k = s.weight / (stiffest * l.Length)
			ln.c = ln.k * relaxes
		}
		s.legs = append(s.legs, ln)
	}
	for i := range s.w.Hooks {
		h := &s.w.Hooks[i]
		k, c := h.Stiffness, h.Damping
		if k == 0 {
			k = s.weight / rigidHook
			c = k * relaxes
		}
		p := add(Point{On: OnHook, Index: i})
		if h.Rope == 0 {
			kl := max(k, s.weight/rigidHook)
			s.holds = append(s.holds, hold{pt: p, at: h.At, k: k, c: c, kl: kl, cl: kl * relaxes})
			continue
		}
		s.holds = append(s.holds, hold{pt: -1, at: h.At})
		tip := add(Point{On: InWorld, At: h.At.plus(Vec{0, 0, h.Rope})})
		s.legs = append(s.legs, line{at: []int{tip, p}, length: h.Rope, k: k, c: c})
	}
	for i := range s.w.Ties {
		t := &s.w.Ties[i]
		s.legs = append(s.legs, line{
			at: []int{add(Point{On: InWorld, At: t.To}), add(t.At)}, length: t.Length,
			k: t.Stiff, c: t.Damping, off: t.Off, most: t.Strength,
		})
	}
	for i := range min(len(old), len(s.legs)) {
		s.legs[i].t, s.legs[i].u, s.legs[i].long = old[i].t, old[i].u, old[i].long
	}
	if len(s.sits) != len(s.w.Contacts) {
		s.sits = make([]seat, len(s.w.Contacts))
	}
	for i := range s.w.Contacts {
		c := &s.w.Contacts[i]
		q := &s.sits[i]
		q.pt, q.packing, q.k, q.c, q.mu = add(c.At), c.Packing, c.Stiff, c.Damping, c.Friction
		s.pts[q.pt].far = s.pts[q.pt].body >= 0
	}
	for i := range s.bodies {
		s.bodies[i].sail = add(Point{On: OnBody, Index: i, At: s.w.Bodies[i].Sail})
	}
	s.locate()
}

// Attach hooks loose legs to the load, body 0, or takes them off again. A rope
// that runs over points stays where it is.
func (s *System) Attach(loose bool) {
	for i := range s.w.Legs {
		l := &s.w.Legs[i]
		onLoad := func(p Point) bool { return p.On == OnBody && p.Index == 0 }
		if onLoad(l.To) && !onLoad(l.From) && len(l.Via) == 0 {
			l.Loose = loose
		}
	}
	s.lump()
	s.lay()
}

// locate brings places and velocities of all points up to date.
func (s *System) locate() {
	for i := range s.pts {
		q := &s.pts[i]
		switch {
		case q.off < 0:
		case q.body >= 0:
			b := &s.bodies[q.body]
			q.p = b.x.plus(b.r.apply(q.arm))
			if !q.far {
				s.follow(q)
			}
		default:
			n := &s.nodes[(q.off-6*len(s.bodies))/3]
			q.p, q.v = n.x, n.v
		}
	}
}

// follow gives the speed of a point of a body, and how it moves with a turn.
func (s *System) follow(q *pt) {
	b := &s.bodies[q.body]
	q.v = b.v.plus(b.r.apply(b.w.cross(q.arm)))
	for k := range 3 {
		q.jr[k] = q.arm.cross(Vec(b.r[k])) // -R [arm]×, row by row
	}
}
