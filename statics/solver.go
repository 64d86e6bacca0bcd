package statics

import (
	"errors"
	"math"
)

// Reason says why a solve ended.
type Reason int

// NotSolved is the zero value, so that an unset result can not pass for an
// answer.
const (
	NotSolved      Reason = iota
	Balanced              // all forces balance to rounding
	TooShort              // inextensible cables can not span what they join
	NotHeld               // something falls without end
	IterationLimit        // no balance found; a mistake of ours or a rig beyond the method
)

// String names the reason.
func (r Reason) String() string {
	switch r {
	case Balanced:
		return "balanced"
	case TooShort:
		return "cables too short to reach"
	case NotHeld:
		return "not held"
	case IterationLimit:
		return "no balance found"
	default:
		return "not solved"
	}
}

// ErrNotSolved wraps every reason but Balanced.
var ErrNotSolved = errors.New("statics: no equilibrium")

// Result is an equilibrium. Slices belong to the solver and are overwritten
// by the next solve.
type Result struct {
	Reason     Reason
	Iterations int     // Newton steps of all phases
	Residual   float64 // largest unbalanced force (moment over arm) as a share of the weight

	Poses     []Pose    // of bodies
	Particles []Vec     // places
	Tension   []float64 // of cables, N; a catenary: at its upper end
	Push      []float64 // of supports, N, upward
	Drag      []Vec     // of supports, N, horizontal, ground on body

	Stable  bool // see the package comment
	Fell    int  // body that had to turn over, else -1
	OnEdge  bool // came to a balance on edge on the way
	Neutral bool // balanced, but nothing brings it back from some small move the topology does not explain

	// Rolls says of each body that it may roll freely about a line through
	// its attachments and centre of gravity that does not stand upright.
	Rolls []bool

	// Margin is how far each body's centre of gravity may rise before the
	// pose is lost, m; +Inf when no rise loses it or the body weighs nothing.
	Margin []float64

	Free      int  // motions that no force resists
	Undecided bool // inextensible cables share a force in a way that statics can not decide
}

// Err is nil when the solve ended in balance.
func (r *Result) Err() error {
	if r.Reason == Balanced {
		return nil
	}
	return errors.Join(ErrNotSolved, errors.New(r.Reason.String()))
}

// Solver hangs one model again and again without allocating. It is not safe
// for concurrent use; make one per goroutine.
type Solver struct {
	m       *Model
	nb      int
	n       int // unknowns in play
	off     []int
	turning bool

	origin Vec       // world place that the inside calls zero
	total  float64   // N
	size   float64   // m, a length of the rig
	arm    []float64 // m, lever arm per body
	zref   []float64

	el      []element
	cat     []span
	weights [][]float64
	fric    []friction

	cur, try state
	start    []Rot // orientation each body is followed from
	blocks   []block
	slots    []slot
	sites    []site
	first    []int     // of each cable's, then support's, sites
	grads    []float64 // length gradient of each taut element, a row each
	pgrad    []Vec
	row      []float64
	step     []float64
	rhs      []float64
	fac      []float64
	free     [][]float64
	cols     [][]float64
	parent   []int

	light    bool // eval leaves the Hessian out
	careful  bool // polish takes a new factor for every step
	definite bool // the last factored Hessian needed no help

	kept    Result // for Restore
	keptCat []span

	iter int
	res  Result
}

// friction is the stick of one support.
type friction struct {
	at  Vec // where it sticks, inner axes
	tau Vec // force estimate
	rho float64
	cap float64 // most the force may be
	// slips, in the polish, says that the force is cap against the slip.
	slips bool
	// Bracket of the cap, with friction times push less cap at its ends, and
	// which end moved last.
	low, lowOff, high, highOff float64
	last                       int
}

// NewSolver checks a model and prepares for solving it.
func NewSolver(m *Model) (*Solver, error) {
	if err := m.check(); err != nil {
		return nil, err
	}
	nb, np, nc, ns := len(m.Bodies), len(m.Particles), len(m.Cables), len(m.Supports)
	n := 6*nb + 3*np
	s := &Solver{m: m, nb: nb}
	s.off = make([]int, nb+np)
	s.arm = make([]float64, nb)
	s.blocks = make([]block, nb+np)
	s.zref = make([]float64, max(nb+np, 1))
	s.el = make([]element, nc+ns)
	s.cat = make([]span, nc)
	s.weights = make([][]float64, nc)
	s.fric = make([]friction, ns)
	s.start = make([]Rot, nb)
	longest := 2
	for i := range m.Cables {
		if k := len(m.Cables[i].Path); k > 2 {
			longest = max(longest, k)
			s.weights[i] = make([]float64, k-1)
			for j := range s.weights[i] {
				s.weights[i][j] = 1
			}
		}
	}
	s.pgrad = make([]Vec, longest)
	attach := func(p *Point) {
		sl := slot{body: -1, particle: -1}
		switch p.On {
		case OnBody:
			sl.body = p.Index
		case OnParticle:
			sl.particle = nb + p.Index
		}
		s.slots = append(s.slots, sl)
	}
	for i := range m.Cables {
		s.first = append(s.first, len(s.slots))
		for k := range m.Cables[i].Path {
			attach(&m.Cables[i].Path[k])
		}
	}
	for i := range m.Supports {
		s.first = append(s.first, len(s.slots))
		attach(&m.Supports[i].At)
	}
	s.first = append(s.first, len(s.slots))
	s.sites = make([]site, len(s.slots))
	s.grads = make([]float64, n*(nc+ns))
	s.row, s.step, s.rhs = make([]float64, n), make([]float64, n), make([]float64, n)
	s.fac = make([]float64, n*n)
	for _, st := range []*state{&s.cur, &s.try} {
		st.x, st.r = make([]Vec, nb+np), make([]Rot, nb)
		st.g, st.h = make([]float64, n), make([]float64, n*n)
		st.t, st.m = make([]float64, nc+ns), make([]float64, nc+ns)
	}
	s.res = Result{
		Poses: make([]Pose, nb), Particles: make([]Vec, np), Tension: make([]float64, nc),
		Push: make([]float64, ns), Drag: make([]Vec, ns), Margin: make([]float64, nb), Rolls: make([]bool, nb), Fell: -1,
	}
	s.cols = make([][]float64, 0, nc+ns)
	return s, nil
}

// Hang solves from the start poses of the model.
func (s *Solver) Hang() *Result {
	s.prepare()
	for i := range s.m.Bodies {
		b := &s.m.Bodies[i]
		s.cur.r[i] = b.Start.R
		s.cur.x[i] = b.Start.At.Add(b.Start.R.Apply(b.CG)).Sub(s.origin)
	}
	for i := range s.m.Particles {
		s.cur.x[s.nb+i] = s.m.Particles[i].Start.Sub(s.origin)
	}
	copy(s.start, s.cur.r)
	for i := range s.el {
		s.el[i].tau = 0
	}
	s.anchor()
	return s.solve(true)
}

// Step solves after hooks, lengths or levels were moved: from the pose of
// the last solve, which also becomes the pose that stability is judged from.
// Long ways are best gone in short steps, so that the pose is followed.
func (s *Solver) Step() *Result {
	s.resume()
	copy(s.start, s.cur.r)
	s.anchor()
	for i := range s.el {
		s.el[i].tau = 0
	}
	return s.solve(false)
}

// Rehang solves from the last pose after numbers changed a little: the fast
// way through many variants of one rig, with forces right to 1e-9 of the
// weight. Stability is judged from the pose
// Hang or Step started in; Margin, Free and Undecided are filled only when
// the change was large enough to need the slow way.
func (s *Solver) Rehang() *Result {
	s.resume()
	s.turning = true
	s.layout()
	copy(s.cur.t, s.res.Tension)
	copy(s.cur.t[len(s.m.Cables):], s.res.Push)
	for i := range s.el { // nothing older may tell in the answer
		s.el[i].tau = s.cur.t[i]
	}
	for i := range s.fric {
		s.fric[i].tau = s.res.Drag[i].Scale(-1)
	}
	s.careful, s.definite = s.rubs(), true
	r := &s.res
	if r.Reason == Balanced && !r.OnEdge && s.polish(12, 1e-9) && s.definite {
		r.Fell = s.fallen()
		r.Stable, r.Neutral = r.Fell < 0, false
		for i := range r.Margin {
			r.Margin[i] = math.NaN()
		}
		s.report()
		return r
	}
	s.resume()
	return s.solve(false)
}

// Keep remembers the last solution for Restore.
func (s *Solver) Keep() {
	k := &s.kept
	k.Poses = append(k.Poses[:0], s.res.Poses...)
	k.Particles = append(k.Particles[:0], s.res.Particles...)
	k.Tension = append(k.Tension[:0], s.res.Tension...)
	k.Push = append(k.Push[:0], s.res.Push...)
	k.Drag = append(k.Drag[:0], s.res.Drag...)
	k.Reason, k.OnEdge = s.res.Reason, s.res.OnEdge
	s.keptCat = append(s.keptCat[:0], s.cat...)
}

// Restore solves from the solution that Keep remembered.
func (s *Solver) Restore() *Result {
	k := &s.kept
	copy(s.res.Poses, k.Poses)
	copy(s.res.Particles, k.Particles)
	copy(s.res.Tension, k.Tension)
	copy(s.res.Push, k.Push)
	copy(s.res.Drag, k.Drag)
	s.res.Reason, s.res.OnEdge = k.Reason, k.OnEdge
	copy(s.cat, s.keptCat)
	return s.Rehang()
}

// resume takes up the last solved pose, whatever the centres of gravity and
// the hooks are now.
func (s *Solver) resume() {
	s.prepare()
	for i := range s.m.Bodies {
		p := &s.res.Poses[i]
		p.R.orthonormalise()
		s.cur.r[i] = p.R
		s.cur.x[i] = p.At.Add(p.R.Apply(s.m.Bodies[i].CG)).Sub(s.origin)
	}
	for i := range s.m.Particles {
		s.cur.x[s.nb+i] = s.res.Particles[i].Sub(s.origin)
	}
}

// prepare takes the numbers of the model as they are now.
func (s *Solver) prepare() {
	m := s.m
	s.iter = 0
	s.total = m.weight()
	if s.total == 0 {
		s.total = 1
	}
	s.origin = s.anyWorldPoint()
	s.size = 0
	for i := range m.Cables {
		s.size = max(s.size, m.Cables[i].Length)
	}
	for i := range m.Bodies {
		b := &m.Bodies[i]
		far := 0.0
		reach := func(p *Point) {
			if p.On == OnBody && p.Index == i {
				far = max(far, p.At.Sub(b.CG).Norm())
			}
		}
		for j := range m.Cables {
			for k := range m.Cables[j].Path {
				reach(&m.Cables[j].Path[k])
			}
		}
		for j := range m.Supports {
			reach(&m.Supports[j].At)
		}
		s.arm[i] = far
		s.size = max(s.size, far)
	}
	if s.size == 0 {
		s.size = 1
	}
	for i := range s.arm {
		if s.arm[i] < 1e-6*s.size {
			s.arm[i] = s.size
		}
	}
	for i := range s.el {
		el := &s.el[i]
		el.length, el.c, el.hangs = 0, 0, false
		if i < len(m.Cables) {
			c := &m.Cables[i]
			el.length, el.hangs = c.Length, c.Catenary
			if c.Compliance > 0 || c.Catenary {
				// Stiffer than this its stretch can not be told from rounding.
				el.c = max(c.Compliance, stiffest*s.lengthOf(i)/s.total)
			}
		}
	}
}

// Dimensionless compliances, c W / L: the stretch of a cable under the whole
// weight as a share of its length.
const (
	stiffest = 1e-9 // below it a cable is solved as this stiff, or as inextensible
	softRho  = 1e-3 // first proximal compliance: a valley wide enough for large steps
	lastRho  = 1e-7 // last one, for what is inextensible: seven digits gained per step
)

func (s *Solver) lengthOf(i int) float64 {
	if i < len(s.m.Cables) && s.m.Cables[i].Length > 1e-3*s.size {
		return s.m.Cables[i].Length
	}
	return s.size
}

// soften sets the proximal compliance of every element to a level, what is
// inextensible never below the last one, and reports whether a lower level
// would change anything.
func (s *Solver) soften(level float64) bool {
	any := false
	for i := range s.el {
		el := &s.el[i]
		least := 0.0
		if el.c == 0 {
			least = lastRho
		}
		el.rho = max(0, max(level, least)*s.lengthOf(i)/s.total-el.c)
		el.k = 1 / (el.c + el.rho)
		any = any || el.rho > 0
	}
	for i := range s.fric {
		s.fric[i].rho = max(level, 10*lastRho) * s.size / s.total
	}
	return any
}

// anyWorldPoint is a fixed point near the rig: coordinates counted from it
// lose less to rounding.
func (s *Solver) anyWorldPoint() Vec {
	for i := range s.m.Cables {
		for _, p := range s.m.Cables[i].Path {
			if p.On == World {
				return p.At
			}
		}
	}
	return Vec{}
}

// anchor makes each support's friction stick where the point is now. Until
// the pushes are known it can hold as if it carried the whole weight.
func (s *Solver) anchor() {
	s.turning = false
	s.layout()
	for i := range s.fric {
		p := s.locate(&s.cur, &s.m.Supports[i].At)
		s.fric[i] = friction{at: p.pos, cap: s.m.Supports[i].Friction * s.total}
	}
}

// layout numbers the unknowns.
func (s *Solver) layout() {
	n := 0
	for i := range s.off {
		s.off[i] = n
		n += 3
		if i < s.nb && s.turning {
			n += 3
		}
	}
	s.n = n
	for _, st := range []*state{&s.cur, &s.try} {
		st.g, st.h = st.g[:n], st.h[:n*n]
	}
	s.row, s.step, s.rhs, s.fac = s.row[:n], s.step[:n], s.rhs[:n], s.fac[:n*n]
	s.grads = s.grads[:n*len(s.el)]
	k := 0
	attach := func(p *Point) {
		site, slot := &s.sites[k], &s.slots[k]
		k++
		switch p.On {
		case World:
			site.pos, site.off = p.At.Sub(s.origin), -1
		case OnParticle:
			site.off, site.blk = s.off[slot.particle], &s.blocks[slot.particle]
		case OnBody:
			site.off, site.rot, site.blk = s.off[slot.body], s.turning, &s.blocks[slot.body]
			slot.local = p.At.Sub(s.m.Bodies[slot.body].CG)
		}
	}
	for i := range s.m.Cables {
		for j := range s.m.Cables[i].Path {
			attach(&s.m.Cables[i].Path[j])
		}
	}
	for i := range s.m.Supports {
		attach(&s.m.Supports[i].At)
	}
}

// solve runs the phases of the package comment.
func (s *Solver) solve(settle bool) *Result {
	r := &s.res
	clear(r.Rolls)
	r.Reason, r.Stable, r.Fell, r.OnEdge, r.Neutral, r.Undecided = IterationLimit, false, -1, false, false, false

	if settle {
		s.turning = false
		s.layout()
		s.soften(softRho)
		s.descend(1e-3, 400)
	}
	s.turning = true
	s.layout()

	const edges = 6
	for k := 0; ; k++ {
		s.follow()
		if r.Reason != Balanced {
			s.report()
			return r
		}
		if !s.falling() || k == edges {
			break
		}
		r.OnEdge = true
		s.nudge()
	}
	s.judge()
	s.report()
	return r
}

// follow goes downhill from the current pose to a stationary point and
// polishes it.
func (s *Solver) follow() {
	for try := range 4 {
		// Slips of friction move the ground under a factor, and so does what
		// the first try failed at.
		s.careful = try > 0 || s.rubs()
		first := softRho
		if try > 0 {
			first = 1e-2
		}
		ok := s.downhill(first) && s.polish(100, 1e-12)
		for range 80 {
			if !ok {
				break
			}
			if s.gripped() {
				s.res.Reason = Balanced
				return
			}
			ok = s.polish(12, 1e-12) || s.downhill(first) && s.polish(100, 1e-12)
		}
	}
	s.why()
}

// downhill descends through the softness levels.
func (s *Solver) downhill(first float64) bool {
	ok := false
	for _, level := range [...]float64{first, 1e-5, lastRho, 0} {
		some := s.soften(level)
		for range 6 {
			ok = s.descend(1e-4, 600)
			for i := range s.el {
				s.el[i].tau = s.cur.t[i]
			}
			if s.hold() < 1e-3 {
				break
			}
		}
		if !some && ok {
			break
		}
	}
	return ok
}

// why tells apart what a failed solve ran into.
func (s *Solver) why() {
	s.res.Reason = IterationLimit
	for i, t := range s.cur.t {
		if t > 1e3*s.total && s.reach(i) > 1e-6*s.size {
			s.res.Reason = TooShort
			return
		}
	}
	for i := range s.cur.x {
		if s.cur.x[i][2] < -1e3*s.size-1e3 {
			s.res.Reason = NotHeld
			return
		}
	}
}

// descend minimises the softened energy in short steps, each below the last,
// until the unbalanced force is under tol of the weight.
//
// The step solves (H + λD) d = -g with D the mass-like scale that makes a
// turn comparable with a move. λ follows the ratio of the drop got to the
// drop promised; slack cables leave H empty, where λ alone keeps the step
// finite.
func (s *Solver) descend(tol float64, limit int) bool {
	stiff := s.total / s.size
	least := 1e-7 * stiff
	lam := least
	for i := range s.zref {
		if i < len(s.cur.x) {
			s.zref[i] = s.cur.x[i][2]
		}
	}
	s.eval(&s.cur, byStretch)
	for k := range limit {
		if s.scaled(s.cur.g) < tol {
			return true
		}
		s.iter++
		for !s.factor(&s.cur, lam) {
			lam = max(10*lam, 1e-3*stiff)
		}
		copy(s.step, s.cur.g)
		cholSolve(s.fac, s.n, s.step)
		gd, dd := 0.0, 0.0
		for i := range s.step {
			s.step[i] = -s.step[i]
			gd += s.cur.g[i] * s.step[i]
			dd += s.step[i] * s.step[i] * s.scale(i)
		}
		curv := -gd - lam*dd // dᵀ H d
		short := s.shorten()
		promised := -(short*gd + short*short*curv/2)
		s.move(&s.try, &s.cur, s.step, short)
		s.eval(&s.try, byStretch)
		drop := s.cur.e - s.try.e
		// Below rounding of the energy the gradient has to decide.
		noise := 1e-14 * (math.Abs(s.cur.e) + s.total*s.size)
		ok := drop > 1e-4*promised
		if promised < noise {
			ok = s.scaled(s.try.g) < s.scaled(s.cur.g)
			if !ok && k > 0 {
				return s.scaled(s.cur.g) < 1e-2
			}
		}
		if !ok {
			lam = max(8*lam, 1e-4*stiff)
			if lam > 1e12*stiff {
				return false
			}
			continue
		}
		s.cur, s.try = s.try, s.cur
		switch q := drop / promised; {
		case q > 0.75:
			lam = max(lam/8, least)
		case q < 0.25:
			lam *= 4
		}
	}
	return false
}

// scale is the diagonal of D at unknown i.
func (s *Solver) scale(i int) float64 {
	if !s.turning {
		return 1
	}
	if b := i / 6; b < s.nb && i%6 >= 3 {
		return s.arm[b] * s.arm[b]
	}
	return 1
}

// shorten gives the factor that keeps a step within a quarter radian and a
// tenth of the rig, so that the pose is followed and not jumped.
func (s *Solver) shorten() float64 {
	f, most := 1.0, 0.0
	for _, d := range s.step {
		most = max(most, math.Abs(d))
	}
	if most < 0.01*min(s.size, 1) {
		return 1
	}
	for i := range s.off {
		o := s.off[i]
		lim := 2 * s.size
		if s.turning {
			lim = s.size / 10
		}
		if d := (Vec{s.step[o], s.step[o+1], s.step[o+2]}).Norm(); d*f > lim {
			f = lim / d
		}
		if i < s.nb && s.turning {
			if w := (Vec{s.step[o+3], s.step[o+4], s.step[o+5]}).Norm(); w*f > 0.25 {
				f = 0.25 / w
			}
		}
	}
	return f
}

// move sets dst to src displaced by f times a step.
func (s *Solver) move(dst, src *state, d []float64, f float64) {
	for i := range s.off {
		o := s.off[i]
		dst.x[i] = src.x[i].Add(Vec{f * d[o], f * d[o+1], f * d[o+2]})
		if i >= s.nb {
			continue
		}
		dst.r[i] = src.r[i]
		if s.turning {
			e := Exp(Vec{f * d[o+3], f * d[o+4], f * d[o+5]})
			dst.r[i] = e.Mul(&src.r[i])
		}
	}
}

// factor puts the Cholesky factor of H + λD into fac.
func (s *Solver) factor(st *state, lam float64) bool {
	n := s.n
	copy(s.fac, st.h)
	for i := range n {
		s.fac[i*n+i] += lam * s.scale(i)
	}
	return cholesky(s.fac, n, 1e-14)
}

// polish takes Newton steps on pose and tensions together until the forces
// are right to a share tol of the weight and the lengths to the same share
// of the rig's size, or to rounding, but no more than limit. It corrects
// which cables are taut as it goes, and leaves in definite whether the last
// Hessian was that of a minimum.
func (s *Solver) polish(limit int, tol float64) bool {
	s.soften(0)
	for i := range s.cur.r {
		s.cur.r[i].orthonormalise()
	}
	const accept = 1e-9
	for i := range s.el {
		s.el[i].on = s.cur.t[i] > 0
	}
	stiff := s.total / s.size
	fuzz := 16 * 0x1p-52 * s.size
	for i := range s.fric {
		fr := &s.fric[i]
		fr.slips = fr.tau.Norm() > fr.cap*(1-1e-9)
	}
	best, slide := math.Inf(1), 0.0
	if s.rubs() {
		slide = 1 // not known before the first step
	}
	last := math.Inf(1) // residual and misfit of the step before, as shares
	defer func() { s.light = false }()
	for k := range limit {
		// Close to the answer the factor at hand is as good as a new one.
		chord := last < 1e-3 && !s.careful
		s.light = chord
		s.eval(&s.cur, given)
		changed, misfit := false, 0.0
		for i := range s.el {
			el := &s.el[i]
			if s.isCatenary(i) {
				misfit = max(misfit, s.cat[i].misfit())
				continue
			}
			switch {
			case el.on && s.cur.t[i] < 0:
				el.on, s.cur.t[i], changed = false, 0, true
			case !el.on && s.reach(i) > fuzz && k < 40:
				el.on, changed = true, true
			}
			if el.on {
				misfit = max(misfit, math.Abs(s.cur.m[i]))
			} else {
				misfit = max(misfit, s.reach(i))
			}
		}
		if changed {
			s.light, chord = false, false
			s.eval(&s.cur, given)
		}
		s.res.Residual = s.scaled(s.cur.g)
		if !changed && s.res.Residual < tol && misfit < max(4*fuzz, tol*s.size/16) && slide < tol {
			return true
		}
		if k > 8 && !changed && s.res.Residual < accept && s.res.Residual > best/2 && misfit < 1e3*fuzz && slide < accept {
			return true // rounding decides from here on
		}
		best = min(best, s.res.Residual)
		now := max(s.res.Residual, misfit/s.size)
		if chord && now > last/100 && now > 1e-13 {
			s.light, chord = false, false
			s.eval(&s.cur, given)
		}
		last = now
		s.iter++
		copy(s.rhs, s.cur.g)
		for i := range s.el {
			el := &s.el[i]
			if s.isCatenary(i) {
				s.pushCatenary(i, fuzz)
				continue
			}
			if !el.on || math.Abs(s.cur.m[i]) <= fuzz {
				continue
			}
			q := s.cur.m[i] * el.k
			for j, a := range s.grads[i*s.n : (i+1)*s.n] {
				s.rhs[j] += a * q
			}
		}
		lam := 1e-9 * stiff
		if !chord {
			s.definite = true
		}
		for !chord && !s.factor(&s.cur, lam) {
			s.definite = false
			lam *= 10
			if lam > 10*stiff {
				return false
			}
		}
		for i := range s.fric {
			fr := &s.fric[i]
			if fr.cap > 0 && !fr.slips {
				p := s.locate(&s.cur, &s.m.Supports[i].At)
				addGrad(s.rhs, &p, Vec{(p.pos[0] - fr.at[0]) / fr.rho, (p.pos[1] - fr.at[1]) / fr.rho, 0})
			}
		}
		cholSolve(s.fac, s.n, s.rhs)
		for j := range s.rhs {
			s.step[j] = -s.rhs[j]
		}
		f := s.shorten()
		for i := range s.el {
			el := &s.el[i]
			if s.isCatenary(i) {
				s.stepCatenary(i, f)
				continue
			}
			if !el.on {
				continue
			}
			mis := s.cur.m[i]
			if math.Abs(mis) <= fuzz {
				mis = 0
			}
			s.cur.t[i] += f * (dot(s.grads[i*s.n:(i+1)*s.n], s.step) + mis) * el.k
		}
		s.move(&s.try, &s.cur, s.step, f)
		slide = s.regrip(f)
		copy(s.cur.x, s.try.x)
		copy(s.cur.r, s.try.r)
	}
	return false
}

func (s *Solver) isCatenary(i int) bool { return s.el[i].hangs }

// reach is how far an element that carries nothing is past its length.
func (s *Solver) reach(i int) float64 { return s.cur.m[i] + s.el[i].c*s.cur.t[i] }

// rubs reports whether any support has friction.
func (s *Solver) rubs() bool {
	for i := range s.m.Supports {
		if s.m.Supports[i].Friction > 0 {
			return true
		}
	}
	return false
}

// hold takes the friction forces as they are now for estimates and returns
// the largest change as a share of the weight.
func (s *Solver) hold() float64 {
	change := 0.0
	for i := range s.fric {
		f := s.drag(i)
		change = max(change, f.Sub(s.fric[i].tau).Norm())
		s.fric[i].tau = f
	}
	return change / s.total
}

// regrip moves the friction forces by a polishing step and lets points slip
// or stick as those forces and their caps ask. It returns the largest change
// as a share of the weight.
func (s *Solver) regrip(f float64) float64 {
	change := 0.0
	for i := range s.fric {
		fr := &s.fric[i]
		if fr.cap <= 0 {
			continue
		}
		p := s.locate(&s.cur, &s.m.Supports[i].At)
		slip := Vec{p.pos[0] - fr.at[0], p.pos[1] - fr.at[1], 0}
		d := s.shift(&p)
		d[2] = 0
		was := fr.tau
		if !fr.slips {
			fr.tau = fr.tau.Add(slip.Add(d).Scale(f / fr.rho))
		}
		switch q := fr.tau.Norm(); {
		case !fr.slips && q > fr.cap*(1+1e-9):
			fr.slips = true
		case fr.slips && slip.Norm() < fr.rho*fr.cap:
			fr.slips = false
			fr.tau = slip.Scale(1 / fr.rho)
		case fr.slips:
			fr.tau = slip.Scale(fr.cap / slip.Norm())
		}
		change = max(change, fr.tau.Sub(was).Norm())
	}
	return change / s.total
}

// gripped asks whether each friction force is within friction times push,
// and equal to it where the point slips. Where not, it moves the cap: with
// the cap c given the pose is a minimum of an energy, and the c wanted is
// the root of μ N(c) - c, found by regula falsi (Illinois).
func (s *Solver) gripped() bool {
	nc, all := len(s.m.Cables), true
	for i := range s.fric {
		mu := s.m.Supports[i].Friction
		if mu == 0 {
			continue
		}
		fr := &s.fric[i]
		want, has := mu*max(s.cur.t[nc+i], 0), fr.tau.Norm()
		if fr.slips {
			has = fr.cap
		}
		off := want - has
		if math.Abs(off) < 1e-9*s.total || off > 0 && !fr.slips {
			fr.cap = max(want, has)
			continue
		}
		all = false
		if fr.high == 0 { // the force can be nothing at the least; the push there is not known, take the one now
			fr.low, fr.lowOff, fr.high, fr.highOff = 0, max(want, 1e-3*s.total), has, off
		}
		if off < 0 {
			if fr.last < 0 {
				fr.lowOff /= 2
			}
			fr.high, fr.highOff, fr.last = has, off, -1
		} else {
			if fr.last > 0 {
				fr.highOff /= 2
			}
			fr.low, fr.lowOff, fr.last = has, off, 1
		}
		if fr.high <= fr.low { // the push changed under another support: look again
			fr.low, fr.high = 0, 2*max(want, has)
			fr.lowOff, fr.highOff = want, want-fr.high
		}
		fr.cap = (fr.low*fr.highOff - fr.high*fr.lowOff) / (fr.highOff - fr.lowOff)
	}
	return all
}

// drag is the derivative of the friction potential: the force with which the
// body pulls at the ground.
func (s *Solver) drag(i int) Vec {
	fr := &s.fric[i]
	if fr.cap <= 0 {
		return Vec{}
	}
	p := s.locate(&s.cur, &s.m.Supports[i].At)
	v := Vec{p.pos[0] - fr.at[0] + fr.rho*fr.tau[0], p.pos[1] - fr.at[1] + fr.rho*fr.tau[1], 0}
	q := v.Norm()
	if q <= fr.cap*fr.rho {
		return v.Scale(1 / fr.rho)
	}
	return v.Scale(fr.cap / q)
}

// report copies the current state to the result.
func (s *Solver) report() {
	r := &s.res
	r.Iterations = s.iter
	for i := range r.Poses {
		p := &r.Poses[i]
		p.R = s.cur.r[i]
		p.At = s.cur.x[i].Sub(p.R.Apply(s.m.Bodies[i].CG)).Add(s.origin)
	}
	for i := range r.Particles {
		r.Particles[i] = s.cur.x[s.nb+i].Add(s.origin)
	}
	copy(r.Tension, s.cur.t)
	copy(r.Push, s.cur.t[len(s.m.Cables):])
	for i := range r.Drag {
		r.Drag[i] = s.fric[i].tau.Scale(-1)
	}
}
