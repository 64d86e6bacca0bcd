package sim

import (
	"math"
)

// sideways, a contact has this share of its normal stiffness (Mindlin: 2(1-ν)/(2-ν)
// for like solids, 0.82 at ν = 0.3).
const sideways = 0.82

// push puts a force on a point.
func (s *System) push(i int, f Vec) {
	q := &s.pts[i]
	if q.off < 0 || s.looking {
		return
	}
	r := s.res[q.off:]
	r[0] -= f[0]
	r[1] -= f[1]
	r[2] -= f[2]
	if q.body < 0 {
		return
	}
	b := &s.bodies[q.body]
	own := b.r.back(f)
	m := q.arm.cross(own)
	r[3] -= m[0]
	r[4] -= m[1]
	r[5] -= m[2]
	// The arm turns with the body and the force does not.
	k, kf := skew(q.arm), skew(own)
	g := k.mul(&kf)
	for i := range 3 {
		row := s.sys[(q.off+3+i)*s.n+q.off+3:]
		for j := range 3 {
			row[j] -= g[i][j]
		}
	}
}

// couple adds a stiffness: a moving by d at point j pulls back at point i by
// k d.
func (s *System) couple(i, j int, k *Mat) {
	a, b := &s.pts[i], &s.pts[j]
	if a.off < 0 || b.off < 0 || s.looking {
		return
	}
	n := s.n
	for r := range 3 {
		row := s.sys[(a.off+r)*n+b.off:]
		row[0] += k[r][0]
		row[1] += k[r][1]
		row[2] += k[r][2]
	}
	if b.body >= 0 {
		kb := k.mul(&b.jr)
		for r := range 3 {
			row := s.sys[(a.off+r)*n+b.off+3:]
			row[0] += kb[r][0]
			row[1] += kb[r][1]
			row[2] += kb[r][2]
		}
		if a.body >= 0 {
			for r := range 3 {
				row := s.sys[(a.off+3+r)*n+b.off+3:]
				for c := range 3 {
					row[c] += a.jr[0][r]*kb[0][c] + a.jr[1][r]*kb[1][c] + a.jr[2][r]*kb[2][c]
				}
			}
		}
	}
	if a.body >= 0 {
		for r := range 3 {
			row := s.sys[(a.off+3+r)*n+b.off:]
			for c := range 3 {
				row[c] += a.jr[0][r]*k[0][c] + a.jr[1][r]*k[1][c] + a.jr[2][r]*k[2][c]
			}
		}
	}
}

// forces puts in what lines, hoists and the ground do.
func (s *System) forces(it float64) {
	for i := range s.legs {
		l := &s.legs[i]
		if l.off || l.loose {
			continue
		}
		s.pull(l, it)
		if l.limp != 0 {
			s.push(l.at[0], Vec{0, 0, -l.limp})
			s.push(l.at[len(l.at)-1], Vec{0, 0, l.limp})
		}
	}
	for i := range s.holds {
		h := &s.holds[i]
		if h.pt < 0 {
			continue
		}
		q := &s.pts[h.pt]
		d, v := q.p.minus(h.at), q.v.minus(h.v)
		h.carries = -h.k*d[2] - h.c*v[2]
		s.push(h.pt, Vec{-h.kl*d[0] - h.cl*v[0], -h.kl*d[1] - h.cl*v[1], h.carries})
		kl := h.kl + h.cl*it
		s.couple(h.pt, h.pt, &Mat{{kl, 0, 0}, {0, kl, 0}, {0, 0, h.k + h.c*it}})
	}
	for i := range s.sits {
		s.sit(&s.sits[i], it)
	}
}

// pull is a line's part: with L the length through its points,
//
//	T = k (L - L0) + c dL/dt   while L > L0 and T > 0
//	force on point i = -T gᵢ,  gᵢ = ∂L/∂pᵢ
//	stiffness between i and j = (k + c/τ) gᵢ gⱼᵀ + T ∂gᵢ/∂pⱼ
func (s *System) pull(l *line, it float64) {
	if len(l.at) == 2 {
		s.pullStraight(l, it)
		return
	}
	var room [8]Vec
	grad := room[:0]
	for range l.at {
		grad = append(grad, Vec{})
	}
	long, rate := 0.0, 0.0
	for k := 1; k < len(l.at); k++ {
		a, b := &s.pts[l.at[k-1]], &s.pts[l.at[k]]
		d := b.p.minus(a.p)
		span := d.norm()
		if span == 0 {
			continue
		}
		u := d.times(1 / span)
		if k == 1 {
			l.u = u
		}
		long += span
		rate += u.dot(b.v.minus(a.v))
		grad[k-1] = grad[k-1].minus(u)
		grad[k] = grad[k].plus(u)
	}
	if !l.tension(long, rate) {
		return
	}
	ke := l.k + l.c*it
	for i := range grad {
		s.push(l.at[i], grad[i].times(-l.t))
		for j := range grad {
			k := outer(ke, grad[i], grad[j])
			if i-j <= 1 && j-i <= 1 {
				s.bend(l, i, j, &k)
			}
			s.couple(l.at[i], l.at[j], &k)
		}
	}
}

// tension sets what the line pulls at a length and its rate, and tells whether
// it pulls at all.
func (l *line) tension(long, rate float64) bool {
	l.long, l.t = long, 0
	if long > l.length {
		l.t = max(0, l.k*(long-l.length)+l.c*(rate-l.pays))
	}
	return l.t > 0
}

// pullStraight is pull for the common line of one span.
func (s *System) pullStraight(l *line, it float64) {
	i, j := l.at[0], l.at[1]
	a, b := &s.pts[i], &s.pts[j]
	d := b.p.minus(a.p)
	span := d.norm()
	if span == 0 {
		l.t = 0
		return
	}
	l.u = d.times(1 / span)
	if !l.tension(span, l.u.dot(b.v.minus(a.v))) {
		return
	}
	s.push(i, l.u.times(l.t))
	s.push(j, l.u.times(-l.t))
	f := l.t / span
	k := outer(l.k+l.c*it-f, l.u, l.u)
	back := k
	for r := range 3 {
		k[r][r] += f
		for c := range 3 {
			back[r][c] = -k[r][c]
		}
	}
	s.couple(i, i, &k)
	s.couple(j, j, &k)
	s.couple(i, j, &back)
	s.couple(j, i, &back)
}

// outer is s a bᵀ.
func outer(s float64, a, b Vec) (k Mat) {
	for r := range 3 {
		f := s * a[r]
		k[r] = [3]float64{f * b[0], f * b[1], f * b[2]}
	}
	return k
}

// bend adds T ∂gᵢ/∂pⱼ: what a taut line resists to being turned, T/span
// across every span.
func (s *System) bend(l *line, i, j int, k *Mat) {
	across := func(a int, sign float64) {
		d := s.pts[l.at[a+1]].p.minus(s.pts[l.at[a]].p)
		span := d.norm()
		if span == 0 {
			return
		}
		u := d.times(1 / span)
		f := sign * l.t / span
		for r := range 3 {
			k[r][r] += f
			for c := range 3 {
				k[r][c] -= f * u[r] * u[c]
			}
		}
	}
	switch {
	case i != j:
		across(min(i, j), -1)
	default:
		if i > 0 {
			across(i-1, 1)
		}
		if i < len(l.at)-1 {
			across(i, 1)
		}
	}
}

// sit is a contact's part. Normal force k δ - c dg/dt, never a pull; sideways
// a spring to where the point came to rest, which gives way at μ times the
// normal force.
func (s *System) sit(q *seat, it float64) {
	p := &s.pts[q.pt]
	nv := s.w.Ground.Normal
	deep := q.packing - nv.dot(p.p.minus(s.w.Ground.At))
	q.push, q.side = 0, Vec{}
	if deep <= 0 {
		return
	}
	if p.far {
		s.follow(p)
	}
	f := q.k*deep - q.c*nv.dot(p.v)
	if f <= 0 {
		return
	}
	q.push = f
	kn := q.k + q.c*it
	k := outer(kn, nv, nv)
	if q.mu > 0 {
		kt, ct := sideways*q.k, sideways*q.c
		var off Vec
		if q.stuck {
			off = p.p.minus(q.anchor)
			off = off.add(-nv.dot(off), nv)
		}
		vt := p.v.add(-nv.dot(p.v), nv)
		trial := off.times(-kt).add(-ct, vt)
		size := trial.norm()
		ke := ct * it
		if q.stuck {
			ke += kt
		}
		if size <= q.mu*f {
			q.side = trial
			for r := range 3 {
				k[r][r] += ke
				for c := range 3 {
					k[r][c] -= ke * nv[r] * nv[c]
				}
			}
		} else {
			t := trial.times(1 / size)
			q.side = t.times(q.mu * f)
			ke *= q.mu * f / size
			for r := range 3 {
				k[r][r] += ke
				for c := range 3 {
					k[r][c] -= ke*(nv[r]*nv[c]+t[r]*t[c]) - q.mu*kn*t[r]*nv[c]
				}
			}
		}
	}
	s.push(q.pt, nv.times(f).plus(q.side))
	s.couple(q.pt, q.pt, &k)
}

// slump sets how the weight of a limp leg lies on its ends. The lowest point
// of an idle line that spans a height h with its length L leaves (L + h)/2 of it
// to the upper end; the lumped halves have given it one half already. A pull
// of several times its weight leaves nothing of that.
func (s *System) slump(i int) {
	l := &s.legs[i]
	l.limp = 0
	if l.mass == 0 || l.loose || len(l.at) > 2 {
		return
	}
	w := l.mass * s.w.Gravity
	h := s.pts[l.at[0]].p[2] - s.pts[l.at[1]].p[2]
	l.limp = w / 2 * max(-1, min(1, h/l.length)) * math.Exp(-l.t/w)
}
