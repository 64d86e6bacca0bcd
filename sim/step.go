package sim

import (
	"math"

	"plumbhook/fault"
)

// Drive is where the hoist wants a hook, and how fast it goes there.
type Drive struct{ At, V Vec }

// drive sets the targets as they are dt after the moment drives tell of.
func (s *System) drive(drives []Drive, dt float64) {
	rope := len(s.w.Legs)
	for i := range s.w.Hooks {
		h := &s.w.Hooks[i]
		d := Drive{At: h.At}
		if i < len(drives) {
			d = drives[i]
		}
		at := d.At.add(dt, d.V)
		if h.Rope == 0 {
			s.holds[i].at, s.holds[i].v = at, d.V
			continue
		}
		l := &s.legs[rope]
		rope++
		tip := &s.pts[l.at[0]]
		tip.p = Vec{at[0], at[1], h.At[2] + h.Rope}
		tip.v = Vec{d.V[0], d.V[1], 0}
		l.length, l.pays = tip.p[2]-at[2], -d.V[2]
	}
}

// assemble writes the equations of a step of tau for the way tried: the rows
// of res are mass times change of speed less force, sys is how they change.
func (s *System) assemble(tau float64) {
	clear(s.sys)
	clear(s.res)
	n, it := s.n, 1/tau
	g := s.w.Gravity
	for i := range s.bodies {
		b := &s.bodies[i]
		o := 6 * i
		v0, w0 := Vec(s.start[o:o+3]), Vec(s.start[o+3:o+6])
		slows, spins := b.slows+s.Calm, b.spins+s.Calm
		for k := range 3 {
			s.res[o+k] = b.mass * ((b.v[k]-v0[k])*it + slows*b.v[k])
			s.sys[(o+k)*n+o+k] = b.mass * it * (it + slows)
		}
		s.res[o+2] += b.mass * g
		spin := b.inertia.apply(b.w)
		gyro := b.w.cross(spin)
		accel := b.inertia.apply(b.w.minus(w0).times(it).add(spins, b.w))
		kw, ks := skew(b.w), skew(spin)
		kwi := kw.mul(&b.inertia)
		for r := range 3 {
			s.res[o+3+r] = accel[r] + gyro[r]
			for c := range 3 {
				s.sys[(o+3+r)*n+o+3+c] = it * (b.inertia[r][c]*(it+spins) + kwi[r][c] - ks[r][c])
			}
		}
		if b.blow != (Vec{}) {
			s.push(b.sail, b.blow)
		}
	}
	for i := range s.nodes {
		p := &s.nodes[i]
		o := 6*len(s.bodies) + 3*i
		for k := range 3 {
			s.res[o+k] = p.mass * ((p.v[k]-s.start[o+k])*it + p.slows*p.v[k])
			s.sys[(o+k)*n+o+k] = p.mass * it * (it + p.slows)
		}
		s.res[o+2] += p.mass * g
	}
	s.forces(it)
}

// move puts everything where it is after the way d from the start of the
// step, with the speed that takes tau.
func (s *System) move(d []float64, tau float64) {
	it := 1 / tau
	for i := range s.bodies {
		b := &s.bodies[i]
		o := 6 * i
		dx, dr := Vec(d[o:o+3]), Vec(d[o+3:o+6])
		b.x = b.x0.plus(dx)
		turn := Turned(dr)
		b.r = b.r0.mul(&turn)
		b.v, b.w = dx.times(it), dr.times(it)
	}
	for i := range s.nodes {
		p := &s.nodes[i]
		o := 6*len(s.bodies) + 3*i
		dx := Vec(d[o : o+3])
		p.x, p.v = p.x0.plus(dx), dx.times(it)
	}
	s.locate()
}

// begin takes the state as that at the start of a step.
func (s *System) begin() {
	for i := range s.bodies {
		b := &s.bodies[i]
		b.x0, b.r0 = b.x, b.r
		o := 6 * i
		copy(s.start[o:], b.v[:])
		copy(s.start[o+3:], b.w[:])
		b.blow = Vec{}
		if s.Wind != (Vec{}) {
			air := b.r.back(s.Wind.minus(s.pts[b.sail].v))
			speed := air.norm()
			drag := s.w.Bodies[i].Drag
			b.blow = b.r.apply(Vec{drag[0] * air[0] * speed, drag[1] * air[1] * speed, drag[2] * air[2] * speed})
		}
	}
	for i := range s.nodes {
		p := &s.nodes[i]
		p.x0 = p.x
		o := 6*len(s.bodies) + 3*i
		copy(s.start[o:], p.v[:])
	}
	for i := range s.w.Legs {
		s.slump(i)
	}
}

// closeEnough is how small a correction, m or rad, ends an iteration. The
// error left is of the order of its square, unless a line came tight or a
// contact closed within that last micrometre.
const closeEnough = 1e-6

// mostIterations before a step is halved.
const mostIterations = 14

// solve finds the way that satisfies the equations of a step of tau, from the
// guess in way. On success the system is there.
func (s *System) solve(tau, longest float64) bool {
	for range mostIterations {
		s.move(s.way, tau)
		s.assemble(tau)
		if !s.eliminate() {
			return false
		}
		most := 0.0
		for _, d := range s.res {
			most = max(most, math.Abs(d))
		}
		if math.IsNaN(most) {
			return false
		}
		scale := 1.0
		if most > longest {
			scale = longest / most
		}
		for i, d := range s.res {
			s.way[i] += scale * d
		}
		if most < closeEnough {
			s.move(s.way, tau)
			s.looking = true
			s.forces(1 / tau)
			s.looking = false
			return true
		}
	}
	return false
}

// eliminate solves sys x = -res in place, by Gauss with the largest pivot of
// each column; x is left in res.
func (s *System) eliminate() bool {
	n, a, x := s.n, s.sys, s.res
	for i := range x {
		x[i] = -x[i]
	}
	for k := range n {
		p, most := k, math.Abs(a[k*n+k])
		for i := k + 1; i < n; i++ {
			if v := math.Abs(a[i*n+k]); v > most {
				p, most = i, v
			}
		}
		if most == 0 {
			return false
		}
		if p != k {
			for j := k; j < n; j++ {
				a[k*n+j], a[p*n+j] = a[p*n+j], a[k*n+j]
			}
			x[k], x[p] = x[p], x[k]
		}
		row := a[k*n : k*n+n]
		inv := 1 / row[k]
		for i := k + 1; i < n; i++ {
			f := a[i*n+k] * inv
			if f == 0 {
				continue
			}
			to := a[i*n : i*n+n]
			for j := k + 1; j < n; j++ {
				to[j] -= f * row[j]
			}
			x[i] -= f * x[k]
		}
	}
	for k := n - 1; k >= 0; k-- {
		row := a[k*n : k*n+n]
		v := x[k]
		for j := k + 1; j < n; j++ {
			v -= row[j] * x[j]
		}
		x[k] = v / row[k]
	}
	return true
}

// Step goes on by h. drives tell where each hoist wants its hook at the start
// of the step, and how fast it moves through it; a hook without one stays.
//
// A step whose equations find no solution is halved, up to six times; after
// that the best try stands.
func (s *System) Step(h float64, drives []Drive) {
	s.step(h, 0, drives, 6)
	for i := range s.bodies {
		s.bodies[i].r.straighten()
	}
}

func (s *System) step(h, from float64, drives []Drive, halvings int) {
	s.begin()
	tau := s.Theta * h
	s.drive(drives, from+tau)
	for i := range s.way {
		s.way[i] = tau * s.start[i]
	}
	if !s.solve(tau, math.Inf(1)) && halvings > 0 {
		s.rewind()
		s.step(h/2, from, drives, halvings-1)
		s.step(h/2, from+h/2, drives, halvings-1)
		return
	}
	s.settleContacts()
	s.snap()
	// On in a straight line: y(h) = y0 + (y(θh) - y0)/θ.
	grow := 1 / s.Theta
	for i := range s.bodies {
		b := &s.bodies[i]
		o := 6 * i
		b.x = b.x0.add(grow, Vec(s.way[o:o+3]))
		turn := Turned(Vec(s.way[o+3 : o+6]).times(grow))
		b.r = b.r0.mul(&turn)
		v0, w0 := Vec(s.start[o:o+3]), Vec(s.start[o+3:o+6])
		b.v = v0.add(grow, b.v.minus(v0))
		b.w = w0.add(grow, b.w.minus(w0))
	}
	for i := range s.nodes {
		p := &s.nodes[i]
		o := 6*len(s.bodies) + 3*i
		p.x = p.x0.add(grow, Vec(s.way[o:o+3]))
		v0 := Vec(s.start[o : o+3])
		p.v = v0.add(grow, p.v.minus(v0))
	}
	s.Time += h
	s.locate()
}

func (s *System) rewind() {
	for i := range s.bodies {
		b := &s.bodies[i]
		o := 6 * i
		b.x, b.r, b.v, b.w = b.x0, b.r0, Vec(s.start[o:o+3]), Vec(s.start[o+3:o+6])
	}
	for i := range s.nodes {
		p := &s.nodes[i]
		o := 6*len(s.bodies) + 3*i
		p.x, p.v = p.x0, Vec(s.start[o:o+3])
	}
	s.locate()
}

// settleContacts moves the anchors of points that slid, and drops those of
// points in the air.
func (s *System) settleContacts() {
	for i := range s.sits {
		q := &s.sits[i]
		if q.push == 0 {
			q.stuck = false
			continue
		}
		p := s.pts[q.pt].p
		if !q.stuck {
			q.anchor, q.stuck = p, true
			continue
		}
		if kt := sideways * q.k; q.side.norm() >= q.mu*q.push*(1-1e-9) {
			q.anchor = p.add(1/kt, q.side)
		}
	}
}

// snap breaks ties pulled past their strength.
func (s *System) snap() {
	for i := range s.w.Ties {
		l := &s.legs[len(s.legs)-len(s.w.Ties)+i]
		if l.most > 0 && l.t > l.most {
			l.off, l.t = true, 0
			s.w.Ties[i].Off = true
		}
	}
}

// Settle finds the equilibrium near the pose the system is in, hooks where
// the drives want them, and leaves everything there at rest. It goes down the
// energy in implicit steps that start from rest and grow longer.
func (s *System) Settle(drives []Drive) error {
	s.still()
	tau, quiet := 0.02, 0
	for range 400 {
		s.begin()
		s.drive(drives, 0)
		for i := range s.legs {
			s.legs[i].pays = 0
		}
		clear(s.way)
		for i := range s.holds {
			s.holds[i].v = Vec{}
		}
		if !s.solve(tau, 0.2) {
			s.rewind()
			tau = max(tau/4, 1e-4)
			continue
		}
		s.settleContacts()
		most := 0.0
		for _, d := range s.way {
			most = max(most, math.Abs(d))
		}
		s.still()
		// The longest step, 30 s, is far longer than any swing: what still
		// moves then is free, and bears nothing.
		if tau = min(tau*2, 30); most < 1e-10 {
			quiet++
		} else {
			quiet = 0
		}
		if quiet == 2 {
			for i := range s.bodies {
				s.bodies[i].r.straighten()
			}
			s.locate()
			return nil
		}
	}
	return fault.New(fault.Rig, "the virtual lift does not come to rest in the pose it starts from").
		Fix("check that every body hangs from a hook or stands on the ground")
}

func (s *System) still() {
	for i := range s.bodies {
		s.bodies[i].v, s.bodies[i].w = Vec{}, Vec{}
	}
	for i := range s.nodes {
		s.nodes[i].v = Vec{}
	}
}
