package statics

import "math"

// freeMotions finds the motions that no force resists, from what is attached
// to what, and keeps them as vectors orthonormal in the scale D:
//
//   - everything that hangs from the rest through one point may spin about
//     the vertical through it;
//   - a body whose attachments and centre of gravity lie on one line may
//     spin about that line;
//   - what no taut cable reaches may go anywhere.
func (s *Solver) freeMotions() {
	s.free = s.free[:0]
	m := s.m
	for i := range m.Cables {
		if !s.taut(i) {
			continue
		}
		for k := range m.Cables[i].Path {
			s.spinBelow(&m.Cables[i].Path[k])
		}
	}
	for i := range m.Bodies {
		s.spinRod(i)
	}
	for i := range m.Particles {
		held := false
		for j := range m.Cables {
			for k := range m.Cables[j].Path {
				p := &m.Cables[j].Path[k]
				held = held || s.taut(j) && p.On == OnParticle && p.Index == i
			}
		}
		if !held && m.Particles[i].Mass == 0 {
			for k := range 3 {
				clear(s.row)
				s.row[s.off[s.nb+i]+k] = 1
				s.addFree()
			}
		}
	}
}

func (s *Solver) taut(i int) bool { return s.el[i].on || s.isCatenary(i) }

// spinBelow adds the spins about the vertical through a pivot of every part
// that only that pivot ties to the rest.
func (s *Solver) spinBelow(pivot *Point) {
	m := s.m
	at := s.locate(&s.cur, pivot).pos
	// Groups of objects joined by taut spans that do not end on the axis.
	// Object 0 is the ground, then bodies, then particles.
	count := 1 + s.nb + len(m.Particles)
	if cap(s.parent) < count {
		s.parent = make([]int, count)
	}
	up := s.parent[:count]
	for i := range up {
		up[i] = i
	}
	find := func(i int) int {
		for up[i] != i {
			up[i] = up[up[i]]
			i = up[i]
		}
		return i
	}
	object := func(p *Point) int {
		switch p.On {
		case OnBody:
			return 1 + p.Index
		case OnParticle:
			return 1 + s.nb + p.Index
		default:
			return 0
		}
	}
	onAxis := func(p *Point) bool {
		switch {
		case p.On == World:
			q := p.At.Sub(s.origin)
			return math.Hypot(q[0]-at[0], q[1]-at[1]) <= faint*s.size
		case p.On != pivot.On || p.Index != pivot.Index:
			return false
		case p.On == OnBody:
			return p.At.Sub(pivot.At).Norm() <= faint*s.size
		}
		return true
	}
	for i := range m.Cables {
		if !s.taut(i) {
			continue
		}
		path := m.Cables[i].Path
		for k := 1; k < len(path); k++ {
			if a, b := &path[k-1], &path[k]; !onAxis(a) && !onAxis(b) {
				up[find(object(a))] = find(object(b))
			}
		}
	}
	for i := range m.Supports {
		if s.el[len(m.Cables)+i].on && s.fric[i].cap > 0 {
			up[find(object(&m.Supports[i].At))] = find(0)
		}
	}
	ground, self := find(0), -1
	if pivot.On != World {
		self = find(object(pivot))
	}
	for g := 1; g < count; g++ {
		if find(g) != g && g != ground || find(g) == ground || find(g) == self {
			continue
		}
		clear(s.row)
		hung := false
		for i := range s.off {
			if find(1+i) != g {
				continue
			}
			d := s.cur.x[i].Sub(at)
			o := s.off[i]
			s.row[o], s.row[o+1] = -d[1], d[0]
			if i < s.nb {
				s.row[o+5] = 1
			}
			hung = true
		}
		if hung {
			s.addFree()
		}
	}
}

// spinRod adds the spin of a body about the line that all its attachments
// and its centre of gravity lie on.
func (s *Solver) spinRod(i int) {
	m := s.m
	body := &m.Bodies[i]
	var base, dir Vec
	points, line := 0, true
	add := func(p Vec) {
		switch {
		case points == 0:
			base = p
		case dir == Vec{}:
			if d := p.Sub(base); d.Norm() > faint*s.size {
				dir = d.Scale(1 / d.Norm())
			}
		default:
			line = line && p.Sub(base).Cross(dir).Norm() <= faint*s.size
		}
		points++
	}
	if body.Mass > 0 {
		add(body.CG)
	}
	for j := range m.Cables {
		for k := range m.Cables[j].Path {
			if p := &m.Cables[j].Path[k]; p.On == OnBody && p.Index == i && (s.taut(j) || m.Cables[j].Mass > 0) {
				add(p.At)
			}
		}
	}
	for j := range m.Supports {
		if p := &m.Supports[j].At; p.Index == i && s.el[len(m.Cables)+j].on {
			add(p.At)
		}
	}
	if !line {
		return
	}
	o := s.off[i]
	if points == 0 {
		for k := range 6 {
			clear(s.row)
			s.row[o+k] = 1
			s.addFree()
		}
		return
	}
	at := s.cur.x[i].Add(s.cur.r[i].Apply(base.Sub(body.CG)))
	axes := []Vec{{1, 0, 0}, {0, 1, 0}, {0, 0, 1}}
	if dir != (Vec{}) {
		axes = []Vec{s.cur.r[i].Apply(dir)}
	}
	for _, u := range axes {
		clear(s.row)
		d := u.Cross(s.cur.x[i].Sub(at))
		copy(s.row[o:], d[:])
		copy(s.row[o+3:], u[:])
		s.addFree()
		if math.Abs(u[2]) < 1-1e-6 {
			s.res.Rolls[i] = true
		}
	}
}

// addFree takes row as a free motion unless it is a mix of those known.
func (s *Solver) addFree() {
	norm := func() float64 {
		t := 0.0
		for j, v := range s.row {
			t += v * v * s.scale(j)
		}
		return math.Sqrt(t)
	}
	before := norm()
	for range 2 {
		for _, f := range s.free {
			d := 0.0
			for j, v := range s.row {
				d += v * f[j] * s.scale(j)
			}
			for j := range s.row {
				s.row[j] -= d * f[j]
			}
		}
	}
	after := norm()
	if !(after > 1e-6*before) {
		return
	}
	k := len(s.free)
	if k < cap(s.free) {
		s.free = s.free[:k+1]
	} else {
		s.free = append(s.free, nil)
	}
	if len(s.free[k]) != s.n {
		s.free[k] = make([]float64, s.n)
	}
	for j, v := range s.row {
		s.free[k][j] = v / after
	}
}
