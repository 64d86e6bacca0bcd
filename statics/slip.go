package statics

import "math"

// Slip finds the equilibrium in which every cable with friction is about to
// run over its inner points: toward its last point when ahead is true, else
// toward its first. A cable with friction may rest anywhere between the two;
// Hang gives the frictionless one.
//
// Over a point that turns it by θ a cable about to slip holds
//
//	T' = T exp(μ θ)
//
// on the side it runs to (Euler 1769, Eytelwein 1808). With those ratios
// w_j fixed the spans are those of a cable of length Σ w_j l_j under one
// tension, which the solver knows; the angles, and the true length
// Σ l_j = L + c Σ T_j l_j / Σ l_j, are met by repeating.
//
// spans gets one slice per cable with a tension per span. The solver is left
// at the slip limit: call Rehang to come back.
func (s *Solver) Slip(ahead bool, spans [][]float64) *Result {
	s.resume()
	s.turning = true
	s.layout()
	copy(s.cur.t, s.res.Tension)
	copy(s.cur.t[len(s.m.Cables):], s.res.Push)
	defer s.frictionless()
	for range 200 {
		s.place(&s.cur)
		change := 0.0
		for i := range s.m.Cables {
			if s.slides(i) {
				change = max(change, s.grade(i, ahead))
			}
		}
		if change < 1e-13 {
			break
		}
		if !s.polish(60, 1e-12) {
			s.solve(false)
		}
	}
	s.report()
	for i := range s.m.Cables {
		spans[i] = spans[i][:0]
		for j := range len(s.m.Cables[i].Path) - 1 {
			spans[i] = append(spans[i], s.weight(i, j)*s.cur.t[i])
		}
	}
	return &s.res
}

func (s *Solver) slides(i int) bool {
	c := &s.m.Cables[i]
	return len(c.Path) > 2 && c.Friction > 0
}

// grade sets the span weights of cable i from its angles now, and the
// weighted length that makes its true length right. It returns how much
// that changed them.
func (s *Solver) grade(i int, ahead bool) float64 {
	c := &s.m.Cables[i]
	pts := s.sites[s.first[i]:s.first[i+1]]
	w := s.weights[i]
	sum := 0.0 // of the friction angles so far
	last := len(pts) - 2
	logs := make([]float64, last+1)
	for j := 1; j <= last; j++ {
		in, out := pts[j].pos.Sub(pts[j-1].pos), pts[j+1].pos.Sub(pts[j].pos)
		turn := math.Atan2(in.Cross(out).Norm(), in.Dot(out))
		sum += c.Friction * turn
		logs[j] = sum
	}
	change := 0.0
	length, weighted := 0.0, 0.0
	for j := range w {
		v := math.Exp(logs[j] - sum/2)
		if !ahead {
			v = math.Exp(sum/2 - logs[j])
		}
		change = max(change, math.Abs(v-w[j]))
		w[j] = v
		l := pts[j+1].pos.Sub(pts[j].pos).Norm()
		length += l
		weighted += v * l
	}
	el := &s.el[i]
	excess := length - c.Length - el.c*s.cur.t[i]*weighted/length
	// Weights differ little from one: a weighted length shorter by what the
	// true one is too long closes in on both.
	el.length = weighted - el.c*s.cur.t[i] - excess*weighted/length
	return max(change, math.Abs(excess)/s.size)
}

// frictionless gives every span of every cable the same tension again.
func (s *Solver) frictionless() {
	for i := range s.weights {
		for j := range s.weights[i] {
			s.weights[i][j] = 1
		}
	}
}
