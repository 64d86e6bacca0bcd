package statics

import "math"

// maxShares bounds the sets that ShareRange tries: C(12, 6).
const maxShares = 924

// ShareRange answers how far apart statics alone allows the tensions of the
// given cables on one body to be, in the last solved pose: every way of
// non-negative tensions that puts the same force and moment on the body as
// now. That set is a polytope; each of its corners has only as many cables
// taut as there are independent equations (with all legs on one hook: three).
// low and high, one per cable, are the extremes over the corners, in N.
//
// ok is false when there are too many sets to try. Cables hanging as
// catenaries keep the direction they have now.
func (s *Solver) ShareRange(body int, cables []int) (low, high []float64, ok bool) {
	n := len(cables)
	cols := make([][]float64, n)
	now := make([]float64, n)
	want := make([]float64, 6)
	cg := s.res.Poses[body].At.Add(s.res.Poses[body].R.Apply(s.m.Bodies[body].CG))
	var f []Vec
	for k, i := range cables {
		cols[k] = make([]float64, 6)
		c := &s.m.Cables[i]
		now[k] = s.res.Tension[i]
		f = s.Forces(i, nil, f[:0])
		weight := c.Mass * s.m.Gravity / 2
		if c.Catenary {
			weight = 0
		}
		for j, p := range c.Path {
			if p.On != OnBody || p.Index != body {
				continue
			}
			force := f[j]
			if j == 0 || j == len(c.Path)-1 {
				force[2] += weight
			}
			if now[k] > 0 {
				force = force.Scale(1 / now[k])
			} else if l := s.unit(i, j); l != (Vec{}) {
				force = l
			}
			m := s.Where(p).Sub(cg).Cross(force).Scale(1 / s.arm[body])
			for q := range 3 {
				cols[k][q] += force[q]
				cols[k][3+q] += m[q]
			}
		}
		for q := range want {
			want[q] += now[k] * cols[k][q]
		}
	}
	work := make([][]float64, n)
	for k := range cols {
		work[k] = append([]float64(nil), cols[k]...)
	}
	r := rank(work, 1e-6)
	low, high = append([]float64(nil), now...), append([]float64(nil), now...)
	if r == n {
		return low, high, true
	}
	if binomial(n, r) > maxShares {
		return nil, nil, false
	}
	set := make([]int, r)
	for k := range set {
		set[k] = k
	}
	tiny := 1e-9 * s.total
	for {
		if t, fits := least(cols, set, want, tiny); fits {
			for k := range n {
				v := 0.0
				for j, c := range set {
					if c == k {
						v = max(t[j], 0)
					}
				}
				low[k], high[k] = min(low[k], v), max(high[k], v)
			}
		}
		k := r - 1
		for k >= 0 && set[k] == n-r+k {
			k--
		}
		if k < 0 {
			return low, high, true
		}
		set[k]++
		for j := k + 1; j < r; j++ {
			set[j] = set[j-1] + 1
		}
	}
}

// unit is the pull of a slack cable on point j of its path per unit tension.
func (s *Solver) unit(i, j int) Vec {
	path := s.m.Cables[i].Path
	var f Vec
	at := s.Where(path[j])
	for _, k := range []int{j - 1, j + 1} {
		if k < 0 || k >= len(path) {
			continue
		}
		if d := s.Where(path[k]).Sub(at); d.Norm() > 0 {
			f = f.Add(d.Scale(1 / d.Norm()))
		}
	}
	return f
}

// least solves the columns of a set for the wanted sum by normal equations;
// fits asks that the sum is met and that nothing pushes.
func least(cols [][]float64, set []int, want []float64, tiny float64) (t []float64, fits bool) {
	r := len(set)
	a := make([]float64, r*r)
	t = make([]float64, r)
	for i, p := range set {
		for j, q := range set[:i+1] {
			a[i*r+j] = dot(cols[p], cols[q])
		}
		t[i] = dot(cols[p], want)
	}
	if !cholesky(a, r, 1e-9) {
		return nil, false
	}
	rest := append([]float64(nil), want...)
	cholSolve(a, r, t)
	for range 2 { // refine: normal equations square the condition
		copy(rest, want)
		for i, p := range set {
			for q, v := range cols[p] {
				rest[q] -= t[i] * v
			}
		}
		d := make([]float64, r)
		for i, p := range set {
			d[i] = dot(cols[p], rest)
		}
		cholSolve(a, r, d)
		for i := range t {
			t[i] += d[i]
		}
	}
	copy(rest, want)
	for i, p := range set {
		if t[i] < -tiny {
			return nil, false
		}
		for q, v := range cols[p] {
			rest[q] -= t[i] * v
		}
	}
	return t, math.Sqrt(dot(rest, rest)) < 100*tiny
}

func binomial(n, k int) int {
	b := 1
	for i := range k {
		b = b * (n - i) / (i + 1)
		if b > 1<<30 {
			return b
		}
	}
	return b
}
