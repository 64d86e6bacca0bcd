package statics

import "math"

// A catenary cable of unloaded length L, weight W and compliance c hangs
// from its first point to a second one h away and z higher. With the tension
// there (H, Q1), Q0 = Q1 - W at the first point and T = √(H² + Q²),
//
//	h = (HL/W) [asinh(Q1/H) - asinh(Q0/H)] + c H
//	z = L (Q0 + Q1)/(T0 + T1) + c (Q0 + Q1)/2
//
// (Irvine, Cable Structures, 1981, elastic catenary; the second line with
// T1 - T0 = W (Q0 + Q1)/(T0 + T1) put in, which does not cancel when taut).
// Both are derivatives of the convex complementary energy
//
//	ε*(H, Q1) = ∫ T ds + (c/2L) ∫ T² ds
//
// so the pair is found by maximising H h + Q1 z - ε*, and its value is the
// cable's energy. All forces come out above zero sag: it never goes slack.
type catenary struct {
	length, weight, c float64
}

// flex gives h, z, ε* and the flexibilities at a tension.
func (k *catenary) flex(hh, q1 float64) (h, z, comp, fhh, fhq, fqq float64) {
	l, w := k.length, k.weight
	q0 := q1 - w
	t0, t1 := math.Hypot(hh, q0), math.Hypot(hh, q1)
	// asinh(Q1/H) - asinh(Q0/H) = ln((Q1+T1)/(Q0+T0)), written so that
	// neither sum cancels: for Q below zero Q + T = H²/(T - Q).
	var as float64
	switch {
	case q0 >= 0:
		as = math.Log1p((w + w*(q0+q1)/(t0+t1)) / (q0 + t0))
	case q1 <= 0:
		as = math.Log1p((w - w*(q0+q1)/(t0+t1)) / (t1 - q1))
	default:
		as = math.Asinh(q1/hh) + math.Asinh(-q0/hh)
	}
	lw := l / w
	h = hh*lw*as + k.c*hh
	z = l*(q0+q1)/(t0+t1) + k.c*(q0+q1)/2
	comp = lw*(q1*t1-q0*t0+hh*hh*as)/2 + k.c/2*((q1*q1+q1*q0+q0*q0)/3+hh*hh)
	fhh = lw*(as-(q1/t1-q0/t0)) + k.c
	fhq = lw * hh * (1/t1 - 1/t0)
	fqq = lw*(q1/t1-q0/t0) + k.c
	return
}

// solve finds the tension at the second point for a span, starting from the
// last tension there or from a guess, whichever is nearer.
func (k *catenary) solve(h, z, hh, q1 float64) (float64, float64) {
	least := 1e-10 * k.weight
	dual := func(hh, q1 float64) float64 {
		_, _, comp, _, _, _ := k.flex(hh, q1)
		return hh*h + q1*z - comp
	}
	gh, gq := k.guess(h, z)
	best := dual(gh, gq)
	if last := dual(hh, q1); hh >= least && last > best {
		best = last
	} else {
		hh, q1 = gh, gq
	}
	for range 100 {
		ch, cz, _, fhh, fhq, fqq := k.flex(hh, q1)
		rh, rz := h-ch, z-cz
		if math.Abs(rh)+math.Abs(rz) <= 1e-15*(math.Abs(h)+math.Abs(z)+k.length) {
			break
		}
		det := fhh*fqq - fhq*fhq
		if !(det > 0) {
			fhh += 1e-9 * k.length / k.weight
			fqq += 1e-9 * k.length / k.weight
			det = fhh*fqq - fhq*fhq
		}
		dh, dq := (fqq*rh-fhq*rz)/det, (fhh*rz-fhq*rh)/det
		step, moved := 1.0, false
		for range 60 {
			nh, nq := hh+step*dh, q1+step*dq
			if nh < least {
				nh = max(hh/10, least)
			}
			nch, ncz, comp, _, _, _ := k.flex(nh, nq)
			v := nh*h + nq*z - comp
			// Close to the answer the dual no longer tells steps apart;
			// the misfit does.
			if v > best || math.Abs(h-nch)+math.Abs(z-ncz) < (math.Abs(rh)+math.Abs(rz))/2 {
				moved = true
				best, hh, q1 = v, nh, nq
				break
			}
			step /= 2
		}
		if !moved {
			break
		}
	}
	return hh, q1
}

// guess follows the parabola for a taut span and the inextensible catenary's
// first term for a slack one.
func (k *catenary) guess(h, z float64) (hh, q1 float64) {
	chord := math.Hypot(h, z)
	if t := (chord - k.length) / max(k.c, 1e-9*k.length/k.weight); chord > k.length && t > k.weight {
		return max(t*h/chord, 1e-9*k.weight), t*z/chord + k.weight/2
	}
	lam := 6.0
	if h > 0 {
		if q := 3 * ((k.length*k.length-z*z)/(h*h) - 1); q > 0 {
			lam = min(math.Sqrt(q), 300)
		} else {
			lam = 0.2
		}
	}
	w := k.weight / k.length
	return max(w*h/(2*lam), 1e-9*k.weight), w / 2 * (z/math.Tanh(lam) + k.length)
}

// span is what the solver keeps of a catenary: the tension at its second
// point, and, while that is an unknown of its own, how far the ends are from
// where that tension would have them.
type span struct {
	hh, q1        float64 // N
	mh, mz        float64 // m
	khh, khq, kqq float64 // N/m
	e             Vec     // horizontal direction from first to second point
	pull          float64 // hh, or nothing when the span hangs plumb
}

func (c *span) misfit() float64 { return max(math.Abs(c.mh), math.Abs(c.mz)) }

// evalCatenary adds a catenary's energy and derivatives.
func (s *Solver) evalCatenary(st *state, i int, c *Cable, how pull) {
	a, b := &s.sites[s.first[i]], &s.sites[s.first[i]+1]
	d := b.pos.Sub(a.pos)
	h := math.Hypot(d[0], d[1])
	k := catenary{length: s.el[i].length, weight: c.Mass * s.m.Gravity, c: s.el[i].c + s.el[i].rho}
	cat := &s.cat[i]
	if how == byStretch {
		cat.hh, cat.q1 = k.solve(h, d[2], cat.hh, cat.q1)
	}
	hh, q1 := cat.hh, cat.q1
	ch, cz, comp, fhh, fhq, fqq := k.flex(hh, q1)
	cat.mh, cat.mz = h-ch, d[2]-cz
	st.e += hh*h + q1*d[2] - comp + k.weight*(a.pos[2]-s.zref[0])
	st.m[i] = 0

	side := 1 / fhh
	cat.e, cat.pull = Vec{1, 0, 0}, 0
	if h > 1e-9*k.length {
		cat.e, cat.pull, side = Vec{d[0] / h, d[1] / h, 0}, hh, hh/h
	} else {
		cat.mh = 0
	}
	e, across := cat.e, cat.pull
	st.t[i] = max(math.Hypot(across, q1), math.Hypot(across, q1-k.weight))
	s.force(b, Vec{across * e[0], across * e[1], q1})
	s.force(a, Vec{-across * e[0], -across * e[1], k.weight - q1})
	det := fhh*fqq - fhq*fhq
	if !(det > 0) || s.light {
		return
	}
	cat.khh, cat.khq, cat.kqq = fqq/det, -fhq/det, fhh/det
	m := [6]float64{
		cat.khh*e[0]*e[0] + side*e[1]*e[1],
		(cat.khh - side) * e[0] * e[1],
		cat.khh*e[1]*e[1] + side*e[0]*e[0],
		cat.khq * e[0], cat.khq * e[1], cat.kqq,
	}
	s.stiffness(st, a, b, &m)
}

// pushCatenary adds to rhs the force that closing the misfit takes.
func (s *Solver) pushCatenary(i int, fuzz float64) {
	c := &s.cat[i]
	if math.Abs(c.mh) <= fuzz {
		c.mh = 0
	}
	if math.Abs(c.mz) <= fuzz {
		c.mz = 0
	}
	fh, fz := c.khh*c.mh+c.khq*c.mz, c.khq*c.mh+c.kqq*c.mz
	f := Vec{fh * c.e[0], fh * c.e[1], fz}
	addGrad(s.rhs, &s.sites[s.first[i]+1], f)
	addGrad(s.rhs, &s.sites[s.first[i]], f.Scale(-1))
}

// stepCatenary moves the tension by a share f of the Newton step.
func (s *Solver) stepCatenary(i int, f float64) {
	c := &s.cat[i]
	d := s.shift(&s.sites[s.first[i]+1]).Sub(s.shift(&s.sites[s.first[i]]))
	dh, dz := d.Dot(c.e)+c.mh, d[2]+c.mz
	w := s.m.Cables[i].Mass * s.m.Gravity
	c.hh = max(c.hh+f*(c.khh*dh+c.khq*dz), max(c.hh/10, 1e-10*w))
	c.q1 += f * (c.khq*dh + c.kqq*dz)
}

// shift is where the step takes a site.
func (s *Solver) shift(p *site) Vec {
	if p.off < 0 {
		return Vec{}
	}
	d := Vec(s.step[p.off : p.off+3])
	if p.rot {
		d = d.Add(Vec(s.step[p.off+3 : p.off+6]).Cross(p.arm))
	}
	return d
}
