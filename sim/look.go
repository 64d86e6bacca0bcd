package sim

import (
	"math"
)

// Tension of leg i, N: of the spring, half its mass above and half below.
func (s *System) Tension(i int) float64 { return s.legs[i].t }

// AtCell is the force on the load cell of leg i, N: the pull of all that
// hangs below the cell.
func (s *System) AtCell(i int) float64 {
	l := &s.legs[i]
	g := s.w.Gravity
	if l.loose {
		return l.below * g
	}
	own := (l.below-l.mass/2)*g + l.limp
	if l.t == 0 {
		return max(0, own)
	}
	f := l.u.times(l.t).minus(Vec{0, 0, own})
	if f.dot(l.u) <= 0 {
		return 0
	}
	return f.norm()
}

// HookLoad is what hoist i carries, N, block included.
func (s *System) HookLoad(i int) float64 {
	if h := &s.holds[i]; h.pt >= 0 {
		return h.carries
	}
	k := len(s.w.Legs)
	for j := range i {
		if s.w.Hooks[j].Rope > 0 {
			k++
		}
	}
	return s.legs[k].t
}

// HookAt is where hook i is.
func (s *System) HookAt(i int) Vec { return s.nodes[len(s.w.Nodes)+i].x }

// Pose of body i: its origin and orientation.
func (s *System) Pose(i int) (Vec, Mat) {
	b := &s.bodies[i]
	return b.x.minus(b.r.apply(b.cg)), b.r
}

// CG of body i in the world, with the lumped ends of its legs.
func (s *System) CG(i int) Vec { return s.bodies[i].x }

// Velocity of that centre.
func (s *System) Velocity(i int) Vec { return s.bodies[i].v }

// SetVelocity gives body i a speed of its centre of gravity and a spin in its
// own axes.
func (s *System) SetVelocity(i int, v, spin Vec) {
	s.bodies[i].v, s.bodies[i].w = v, spin
	s.locate()
}

// Tilt of the z axis of body i against the vertical, rad.
func (s *System) Tilt(i int) float64 {
	r := &s.bodies[i].r
	return math.Atan2(math.Hypot(r[0][2], r[1][2]), r[2][2])
}

// Ground tells how hard the ground pushes, N in all, and how far the lowest
// contact is above it, m (negative while it presses in).
func (s *System) Ground() (push, clearance float64) {
	clearance = math.Inf(1)
	for i := range s.sits {
		q := &s.sits[i]
		push += q.push
		p := s.pts[q.pt].p
		clearance = min(clearance, s.w.Ground.Normal.dot(p.minus(s.w.Ground.At))-q.packing)
	}
	return push, clearance
}

// Seat is how hard contact i presses, N.
func (s *System) Seat(i int) float64 { return s.sits[i].push }

// Tied is the pull of all ties, N.
func (s *System) Tied() (pull float64) {
	for i := range s.w.Ties {
		pull += s.legs[len(s.legs)-len(s.w.Ties)+i].t
	}
	return pull
}

// Energy is kinetic plus potential, J: of weight (from z = 0), of lines and
// hoists and of contacts. Friction and dampers take from it.
func (s *System) Energy() float64 {
	e := 0.0
	for i := range s.bodies {
		b := &s.bodies[i]
		e += b.mass*(b.v.dot(b.v)/2+s.w.Gravity*b.x[2]) + b.w.dot(b.inertia.apply(b.w))/2
	}
	for i := range s.nodes {
		p := &s.nodes[i]
		e += p.mass * (p.v.dot(p.v)/2 + s.w.Gravity*p.x[2])
	}
	for i := range s.legs {
		l := &s.legs[i]
		if l.off || l.loose {
			continue
		}
		long := 0.0
		for k := 1; k < len(l.at); k++ {
			long += s.pts[l.at[k]].p.minus(s.pts[l.at[k-1]].p).norm()
		}
		if d := long - l.length; d > 0 {
			e += l.k * d * d / 2
		}
	}
	for i := range s.holds {
		if h := &s.holds[i]; h.pt >= 0 {
			d := s.pts[h.pt].p.minus(h.at)
			e += (h.kl*(d[0]*d[0]+d[1]*d[1]) + h.k*d[2]*d[2]) / 2
		}
	}
	for i := range s.sits {
		q := &s.sits[i]
		if deep := q.packing - s.w.Ground.Normal.dot(s.pts[q.pt].p.minus(s.w.Ground.At)); deep > 0 {
			e += q.k * deep * deep / 2
		}
	}
	return e
}

// NodeAt is where node i is.
func (s *System) NodeAt(i int) Vec { return s.nodes[i].x }

// Reach is the way through the points of leg i, attached or not, m.
func (s *System) Reach(i int) (long float64) {
	l := &s.legs[i]
	for k := 1; k < len(l.at); k++ {
		long += s.pts[l.at[k]].p.minus(s.pts[l.at[k-1]].p).norm()
	}
	return long
}
