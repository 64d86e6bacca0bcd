package statics

import "math"

// site is an attachment in the world at the current pose.
type site struct {
	pos, arm Vec  // arm: from the body's centre of gravity
	off      int  // first unknown of what carries it; -1 when nothing moves
	rot      bool // unknowns off+3 .. off+5 turn it
	blk      *block
}

// block gathers the gradient and the lower triangle of the Hessian of one
// body or particle by itself, rows one after the other; what couples two of
// them goes to the Hessian directly.
type block struct {
	g [6]float64
	h [21]float64
}

// state is a trial pose with the energy and its derivatives there.
type state struct {
	x []Vec // centres of gravity of bodies, then particles
	r []Rot
	e float64
	g []float64
	h []float64 // lower triangle
	t []float64 // tension of each cable, then push of each support
	m []float64 // misfit l - L - cT of each (level - z for supports)
}

// element holds what the solver knows of one cable or support between
// iterations.
type element struct {
	c      float64 // compliance used: the model's, but at least the floor
	rho    float64 // proximal compliance
	tau    float64 // tension estimate
	length float64 // length used: the model's, shifted for a slip limit
	hangs  bool    // a catenary
	k      float64 // 1 / (c + rho)
	on     bool    // taut, in the polishing phase
}

func (s *Solver) locate(st *state, p *Point) site {
	switch p.On {
	case OnBody:
		arm := st.r[p.Index].Apply(p.At.Sub(s.m.Bodies[p.Index].CG))
		return site{pos: st.x[p.Index].Add(arm), arm: arm, off: s.off[p.Index], rot: s.turning, blk: &s.blocks[p.Index]}
	case OnParticle:
		i := s.nb + p.Index
		return site{pos: st.x[i], off: s.off[i], blk: &s.blocks[i]}
	default:
		return site{pos: p.At.Sub(s.origin), off: -1}
	}
}

// place computes where every attachment of a cable or support is at a pose.
func (s *Solver) place(st *state) {
	for i := range s.sites {
		sl := &s.slots[i]
		p := &s.sites[i]
		switch {
		case sl.body >= 0:
			r, v := &st.r[sl.body], &sl.local
			x := &st.x[sl.body]
			p.arm[0] = r[0]*v[0] + r[1]*v[1] + r[2]*v[2]
			p.arm[1] = r[3]*v[0] + r[4]*v[1] + r[5]*v[2]
			p.arm[2] = r[6]*v[0] + r[7]*v[1] + r[8]*v[2]
			p.pos[0], p.pos[1], p.pos[2] = x[0]+p.arm[0], x[1]+p.arm[1], x[2]+p.arm[2]
		case sl.particle >= 0:
			p.pos = st.x[sl.particle]
		}
	}
}

// slot says once and for all what a site is attached to.
type slot struct {
	body, particle int // index into state.x, or -1
	local          Vec // from the centre of gravity, body axes
}

// pull is how eval gets tensions.
type pull int

const (
	byStretch pull = iota // from the stretch, softened by rho and shifted by tau
	given                 // from state.t; misfits are recorded
)

// eval fills energy, gradient and Hessian of st at its pose. While the
// solver is light the Hessian is left out, where that saves work, and must
// not be used.
func (s *Solver) eval(st *state, how pull) {
	s.place(st)
	if !s.light {
		clear(st.h)
	}
	clear(s.blocks)
	if how == given {
		clear(s.grads)
	}
	st.e = 0
	grav := s.m.Gravity
	for i := range s.m.Bodies {
		w := s.m.Bodies[i].Mass * grav
		st.e += w * (st.x[i][2] - s.zref[i])
		s.blocks[i].g[2] += w
	}
	for i := range s.m.Particles {
		w := s.m.Particles[i].Mass * grav
		k := s.nb + i
		st.e += w * (st.x[k][2] - s.zref[k])
		s.blocks[k].g[2] += w
	}
	for i := range s.m.Cables {
		c := &s.m.Cables[i]
		if c.Catenary {
			s.evalCatenary(st, i, c, how)
			continue
		}
		pts := s.sites[s.first[i]:s.first[i+1]]
		if c.Mass > 0 {
			s.lump(st, &pts[0], c.Mass*grav/2)
			s.lump(st, &pts[len(pts)-1], c.Mass*grav/2)
		}
		if len(pts) == 2 {
			s.evalStraight(st, i, &pts[0], &pts[1], how)
		} else {
			s.evalSliding(st, i, pts, how)
		}
	}
	for i := range s.m.Supports {
		s.evalSupport(st, i, &s.m.Supports[i], how)
	}
	s.gather(st)
}

// gather puts the blocks into gradient and Hessian.
func (s *Solver) gather(st *state) {
	n := s.n
	for i := range s.blocks {
		b, o, w := &s.blocks[i], s.off[i], 3
		if i < s.nb && s.turning {
			w = 6
		}
		copy(st.g[o:o+w], b.g[:w])
		if s.light {
			continue
		}
		k := 0
		for r := range w {
			row := st.h[(o+r)*n+o:]
			for c := range r + 1 {
				row[c] += b.h[k]
				k++
			}
		}
	}
}

// tension gives T and the stiffness dT/dl of element i at stretch e, and
// adds its energy; ok is false when it carries nothing.
func (s *Solver) tension(st *state, i int, e float64, how pull) (t, k float64, ok bool) {
	el := &s.el[i]
	if how == given {
		t = st.t[i]
		st.m[i] = e - el.c*t
		return t, el.k, el.on
	}
	v := e + el.rho*el.tau
	st.m[i] = e
	if v <= 0 {
		st.t[i] = 0
		return 0, 0, false
	}
	t = v * el.k
	st.t[i] = t
	st.e += v * t / 2
	return t, el.k, true
}

func (s *Solver) evalStraight(st *state, i int, a, b *site, how pull) {
	d := Vec{b.pos[0] - a.pos[0], b.pos[1] - a.pos[1], b.pos[2] - a.pos[2]}
	l := math.Sqrt(d[0]*d[0] + d[1]*d[1] + d[2]*d[2])
	t, k, ok := s.tension(st, i, l-s.el[i].length, how)
	if !ok {
		return
	}
	u, tl := Vec{0, 0, -1}, k
	if l > 0 {
		q := 1 / l
		u, tl = Vec{d[0] * q, d[1] * q, d[2] * q}, t*q
	}
	if how == given {
		row := s.grads[i*s.n : (i+1)*s.n]
		addGrad(row, b, u)
		addGrad(row, a, Vec{-u[0], -u[1], -u[2]})
	}
	if s.light {
		s.force(b, Vec{t * u[0], t * u[1], t * u[2]})
		s.force(a, Vec{-t * u[0], -t * u[1], -t * u[2]})
		return
	}
	// S = k u uᵀ + (T/l)(1 - u uᵀ)
	p := k - tl
	var m [6]float64 // xx yx yy zx zy zz
	m[0], m[1], m[2] = p*u[0]*u[0]+tl, p*u[1]*u[0], p*u[1]*u[1]+tl
	m[3], m[4], m[5] = p*u[2]*u[0], p*u[2]*u[1], p*u[2]*u[2]+tl
	if b.off >= 0 {
		s.force(b, Vec{t * u[0], t * u[1], t * u[2]})
		s.own(b, &m)
	}
	if a.off >= 0 {
		s.force(a, Vec{-t * u[0], -t * u[1], -t * u[2]})
		s.own(a, &m)
		if b.off >= 0 {
			s.cross(st, a, b, &m)
		}
	}
}

// evalSliding is a cable over three or more points: one tension, its path
// the weighted sum of its spans (weights are 1 unless a slip limit is
// sought).
func (s *Solver) evalSliding(st *state, i int, pts []site, how pull) {
	np := len(pts)
	grad := s.pgrad[:np]
	clear(grad)
	w := s.weights[i]
	l := 0.0
	for j := 0; j+1 < np; j++ {
		d := pts[j+1].pos.Sub(pts[j].pos)
		lj := d.Norm()
		l += w[j] * lj
		if lj > 0 {
			u := d.Scale(w[j] / lj)
			grad[j+1] = grad[j+1].Add(u)
			grad[j] = grad[j].Sub(u)
		}
	}
	t, k, ok := s.tension(st, i, l-s.el[i].length, how)
	if !ok {
		return
	}
	for j := 0; j+1 < np; j++ {
		d := pts[j+1].pos.Sub(pts[j].pos)
		lj := d.Norm()
		if lj == 0 || s.light {
			continue
		}
		u, tl := d.Scale(1/lj), w[j]*t/lj
		var m [6]float64
		m[0], m[1], m[2] = tl*(1-u[0]*u[0]), -tl*u[1]*u[0], tl*(1-u[1]*u[1])
		m[3], m[4], m[5] = -tl*u[2]*u[0], -tl*u[2]*u[1], tl*(1-u[2]*u[2])
		s.stiffness(st, &pts[j], &pts[j+1], &m)
	}
	a := s.row
	if how == given {
		a = s.grads[i*s.n : (i+1)*s.n]
	} else {
		clear(a)
	}
	for j := range pts {
		s.force(&pts[j], grad[j].Scale(t))
		addGrad(a, &pts[j], grad[j])
	}
	if !s.light {
		s.rankOne(st, pts, a, k)
	}
}

func (s *Solver) evalSupport(st *state, i int, sp *Support, how pull) {
	j := len(s.m.Cables) + i
	a := &s.sites[s.first[j]]
	level := sp.Level - s.origin[2]
	if t, k, ok := s.tension(st, j, level-a.pos[2], how); ok {
		if how == given {
			addGrad(s.grads[j*s.n:(j+1)*s.n], a, Vec{0, 0, -1})
		}
		s.force(a, Vec{0, 0, -t})
		s.own(a, &[6]float64{5: k})
	}
	s.evalFriction(st, i, a, how)
}

// evalFriction adds what friction does at support i. The point sticks at
// its anchor like a stiff spring whose force may not pass cap: the shifted
// Huber potential, convex. In the polish a sticking point's force is an
// unknown of its own.
func (s *Solver) evalFriction(st *state, i int, a *site, how pull) {
	fr := &s.fric[i]
	if fr.cap <= 0 {
		return
	}
	k := 1 / fr.rho
	v := Vec{a.pos[0] - fr.at[0], a.pos[1] - fr.at[1], 0}
	if how == given && !fr.slips {
		s.force(a, fr.tau)
		s.own(a, &[6]float64{0: k, 2: k})
		return
	}
	if how == byStretch {
		v = v.Add(fr.tau.Scale(fr.rho))
	}
	q := v.Norm()
	if q*k <= fr.cap {
		st.e += q * q * k / 2
		s.force(a, v.Scale(k))
		s.own(a, &[6]float64{0: k, 2: k})
		return
	}
	u := v.Scale(1 / q)
	st.e += fr.cap * (q - fr.rho*fr.cap/2)
	s.force(a, u.Scale(fr.cap))
	tl := fr.cap / q
	s.own(a, &[6]float64{tl * (1 - u[0]*u[0]), -tl * u[1] * u[0], tl * (1 - u[1]*u[1])})
}

// lump hangs a weight on a point.
func (s *Solver) lump(st *state, a *site, w float64) {
	if a.blk == nil {
		return
	}
	st.e += w * (a.pos[2] - s.zref[0])
	s.force(a, Vec{0, 0, w})
}

// force adds a derivative f of the energy with respect to a point's place:
// to the gradient, and to the Hessian what turning the arm under f does.
func (s *Solver) force(p *site, f Vec) {
	b := p.blk
	if b == nil {
		return
	}
	b.g[0] += f[0]
	b.g[1] += f[1]
	b.g[2] += f[2]
	if !p.rot {
		return
	}
	x, y, z := p.arm[0], p.arm[1], p.arm[2]
	b.g[3] += y*f[2] - z*f[1]
	b.g[4] += z*f[0] - x*f[2]
	b.g[5] += x*f[1] - y*f[0]
	fx, fy, fz := f[0]*x, f[1]*y, f[2]*z
	b.h[9] -= fy + fz
	b.h[13] += (f[1]*x + f[0]*y) / 2
	b.h[14] -= fx + fz
	b.h[18] += (f[2]*x + f[0]*z) / 2
	b.h[19] += (f[2]*y + f[1]*z) / 2
	b.h[20] -= fx + fy
}

// stiffness adds (δb - δa)ᵀ M (δb - δa) for a symmetric M.
func (s *Solver) stiffness(st *state, a, b *site, m *[6]float64) {
	s.own(a, m)
	s.own(b, m)
	if a.off >= 0 && b.off >= 0 {
		s.cross(st, a, b, m)
	}
}

// own adds Jᵀ M J on the unknowns of one site, J = [1, -X].
func (s *Solver) own(p *site, m *[6]float64) {
	b := p.blk
	if b == nil {
		return
	}
	h := &b.h
	for k, v := range m {
		h[k] += v
	}
	if !p.rot {
		return
	}
	x, y, z := p.arm[0], p.arm[1], p.arm[2]
	// Columns of X M: r × (column of M).
	c00, c10, c20 := y*m[3]-z*m[1], z*m[0]-x*m[3], x*m[1]-y*m[0]
	c01, c11, c21 := y*m[4]-z*m[2], z*m[1]-x*m[4], x*m[2]-y*m[1]
	c02, c12, c22 := y*m[5]-z*m[4], z*m[3]-x*m[5], x*m[4]-y*m[3]
	h[6] += c00
	h[7] += c01
	h[8] += c02
	h[10] += c10
	h[11] += c11
	h[12] += c12
	h[15] += c20
	h[16] += c21
	h[17] += c22
	// Rows of -X M X: r × (row of X M).
	h[9] += y*c02 - z*c01
	h[13] += y*c12 - z*c11
	h[14] += z*c10 - x*c12
	h[18] += y*c22 - z*c21
	h[19] += z*c20 - x*c22
	h[20] += x*c21 - y*c20
}

// cross subtracts J_aᵀ M J_b and its transpose between two sites.
func (s *Solver) cross(st *state, a, b *site, m *[6]float64) {
	full := [9]float64{m[0], m[1], m[3], m[1], m[2], m[4], m[3], m[4], m[5]}
	na, nbb := 3, 3
	if a.rot {
		na = 6
	}
	if b.rot {
		nbb = 6
	}
	// rows: J_aᵀ M, each row a 3-vector
	var rows [6]Vec
	for i := range 3 {
		rows[i] = Vec{full[3*i], full[3*i+1], full[3*i+2]}
	}
	if a.rot {
		for j := range 3 {
			c := a.arm.Cross(Vec{full[j], full[3+j], full[6+j]})
			rows[3][j], rows[4][j], rows[5][j] = c[0], c[1], c[2]
		}
	}
	n := s.n
	for i := range na {
		var blk [6]float64
		v := rows[i]
		blk[0], blk[1], blk[2] = v[0], v[1], v[2]
		if b.rot {
			w := b.arm.Cross(v)
			blk[3], blk[4], blk[5] = w[0], w[1], w[2]
		}
		for j := range nbb {
			p, q := a.off+i, b.off+j
			switch {
			case p > q:
				st.h[p*n+q] -= blk[j]
			case p < q:
				st.h[q*n+p] -= blk[j]
			default:
				st.h[p*n+p] -= 2 * blk[j]
			}
		}
	}
}

// rankOne adds k a aᵀ for the gradient a of a path over several sites.
func (s *Solver) rankOne(st *state, pts []site, a []float64, k float64) {
	n := s.n
	for j := range pts {
		o := pts[j].off
		if o < 0 {
			continue
		}
		dup := false
		for i := range j {
			dup = dup || pts[i].off == o
		}
		if dup {
			continue
		}
		w := 3
		if pts[j].rot {
			w = 6
		}
		for p := o; p < o+w; p++ {
			kp := k * a[p]
			if kp == 0 {
				continue
			}
			for q := 0; q <= p; q++ {
				st.h[p*n+q] += kp * a[q]
			}
		}
	}
}

// addGrad adds the derivative of a length with respect to the unknowns of a
// site, given that with respect to its place.
func addGrad(a []float64, p *site, f Vec) {
	o := p.off
	if o < 0 {
		return
	}
	a[o] += f[0]
	a[o+1] += f[1]
	a[o+2] += f[2]
	if p.rot {
		m := p.arm.Cross(f)
		a[o+3] += m[0]
		a[o+4] += m[1]
		a[o+5] += m[2]
	}
}

// lengthGradient fills a with the derivative of element i's length (of its
// sinking, for a support) with respect to the unknowns.
func (s *Solver) lengthGradient(st *state, i int, a []float64) {
	clear(a)
	if i >= len(s.m.Cables) {
		p := s.locate(st, &s.m.Supports[i-len(s.m.Cables)].At)
		addGrad(a, &p, Vec{0, 0, -1})
		return
	}
	c := &s.m.Cables[i]
	p := s.locate(st, &c.Path[0])
	for j := 1; j < len(c.Path); j++ {
		q := s.locate(st, &c.Path[j])
		d := q.pos.Sub(p.pos)
		if l := d.Norm(); l > 0 {
			u := d.Scale(s.weight(i, j-1) / l)
			addGrad(a, &q, u)
			addGrad(a, &p, u.Scale(-1))
		}
		p = q
	}
}

func (s *Solver) weight(i, span int) float64 {
	if w := s.weights[i]; w != nil {
		return w[span]
	}
	return 1
}

// scaled is the largest unbalanced force in the gradient, moments divided
// by the body's own lever arm, as a share of the total weight.
func (s *Solver) scaled(g []float64) float64 {
	worst := 0.0
	for i := range s.off {
		o := s.off[i]
		for k := range 3 {
			worst = max(worst, math.Abs(g[o+k]))
		}
		if i < s.nb && s.turning {
			for k := 3; k < 6; k++ {
				worst = max(worst, math.Abs(g[o+k])/s.arm[i])
			}
		}
	}
	return worst / s.total
}
