package statics

import "math"

// slack in the verdicts below: a stiffness under this share of weight over
// size is not told apart from none.
const faint = 1e-9

// faintOf is the stiffness that rounding of the stored Hessian hides.
func (s *Solver) faintOf() float64 {
	top := 0.0
	for i := range s.n {
		top = max(top, math.Abs(s.cur.h[i*s.n+i])/s.scale(i))
	}
	return max(faint*s.total/s.size, 64*0x1p-52*top)
}

// gauged puts H + μD into fac, with every free motion held, and factors it.
func (s *Solver) gauged(mu float64) bool {
	n := s.n
	copy(s.fac, s.cur.h)
	for i := range n {
		s.fac[i*n+i] += mu * s.scale(i)
	}
	k := s.total / s.size
	for _, v := range s.free {
		for i := range n {
			ki := k * v[i] * s.scale(i)
			if ki == 0 {
				continue
			}
			for j := 0; j <= i; j++ {
				s.fac[i*n+j] += ki * v[j] * s.scale(j)
			}
		}
	}
	return cholesky(s.fac, n, 1e-15)
}

// falling reports whether the stationary point is no minimum: some small
// move sets free more energy than it costs.
func (s *Solver) falling() bool {
	s.eval(&s.cur, given)
	s.freeMotions()
	return !s.gauged(s.faintOf())
}

// nudge moves off a balance on edge along its most falling direction, found
// by inverse iteration.
func (s *Solver) nudge() {
	mu := s.faintOf()
	for !s.gauged(mu) {
		mu *= 4
	}
	v := s.step
	for i := range v {
		v[i] = 1 / (1 + float64(i%7))
	}
	for range 12 {
		norm := 0.0
		for i := range v {
			v[i] *= s.scale(i)
			norm += v[i] * v[i]
		}
		norm = math.Sqrt(norm)
		for i := range v {
			v[i] /= norm
		}
		cholSolve(s.fac, s.n, v)
	}
	most := 0.0
	for i := range s.off {
		o := s.off[i]
		most = max(most, Vec{v[o], v[o+1], v[o+2]}.Norm()/s.size)
		if i < s.nb {
			most = max(most, Vec{v[o+3], v[o+4], v[o+5]}.Norm())
		}
	}
	s.move(&s.try, &s.cur, v, 0.02/most)
	copy(s.cur.x, s.try.x)
	copy(s.cur.r, s.try.r)
}

// judge fills the verdicts about the pose reported.
func (s *Solver) judge() {
	r := &s.res
	r.Free = len(s.free)
	r.Neutral = !s.gauged(-s.faintOf())
	r.Fell = s.fallen()
	r.Stable = !r.Neutral && !r.OnEdge && r.Fell < 0
	ok := s.gauged(0)
	for i := range r.Margin {
		r.Margin[i] = math.Inf(1)
		w := s.m.Bodies[i].Mass * s.m.Gravity
		switch {
		case w == 0:
		case !ok:
			r.Margin[i] = 0
		default:
			r.Margin[i] = s.rise(i, w)
		}
	}
	r.Undecided = s.undecided()
}

// fallen is the first body whose z axis ended more than a right angle from
// where it started, or -1.
func (s *Solver) fallen() int {
	for i := range s.start {
		a, b := &s.start[i], &s.cur.r[i]
		if a[2]*b[2]+a[5]*b[5]+a[8]*b[8] < 0 {
			return i
		}
	}
	return -1
}

// rise is how far the centre of gravity of body i may go up before the
// Hessian turns singular. A rise δ leaves the balance as it is and takes
// w δ off the stiffness against both horizontal turns, so it is the least
// eigenvalue of their condensed stiffness over w.
func (s *Solver) rise(i int, w float64) float64 {
	o := s.off[i] + 3
	var f [2][2]float64
	for k := range 2 {
		clear(s.rhs)
		s.rhs[o+k] = 1
		cholSolve(s.fac, s.n, s.rhs)
		f[k] = [2]float64{s.rhs[o], s.rhs[o+1]}
	}
	mean, diff := (f[0][0]+f[1][1])/2, (f[0][0]-f[1][1])/2
	soft := mean + math.Hypot(diff, f[0][1])
	if soft <= 0 {
		return math.Inf(1)
	}
	if m := 1 / (soft * w); m < 1e3*s.size {
		return m
	}
	return math.Inf(1)
}

// undecided reports whether inextensible cables at full length share a force
// among themselves in a way that equilibrium does not fix.
func (s *Solver) undecided() bool {
	s.cols = s.cols[:0]
	for i := range s.el {
		if s.el[i].c != 0 || s.isCatenary(i) || !(s.el[i].on || s.reach(i) > -1e-9*s.size) {
			continue
		}
		col := make([]float64, s.n)
		s.lengthGradient(&s.cur, i, col)
		for j := range col {
			col[j] /= math.Sqrt(s.scale(j))
		}
		s.cols = append(s.cols, col)
	}
	if len(s.cols) < 2 {
		return false
	}
	n := len(s.cols)
	return rank(s.cols, 1e-8) < n
}

// LengthSensitivity fills dst with the change of every cable's tension per
// metre of added length of cable i, N/m, at the last solved pose and with
// the same cables taut.
func (s *Solver) LengthSensitivity(i int, dst []float64) {
	s.eval(&s.cur, given)
	if s.isCatenary(i) || !s.el[i].on || !s.gauged(1e-9*s.total/s.size) {
		clear(dst)
		return
	}
	k := s.el[i].k
	s.lengthGradient(&s.cur, i, s.rhs)
	for j := range s.rhs {
		s.rhs[j] *= k
	}
	cholSolve(s.fac, s.n, s.rhs)
	for j := range dst {
		dst[j] = 0
		if s.isCatenary(j) || !s.el[j].on {
			continue
		}
		s.lengthGradient(&s.cur, j, s.row)
		d := dot(s.row, s.rhs)
		if j == i {
			d--
		}
		dst[j] = d * s.el[j].k
	}
}
