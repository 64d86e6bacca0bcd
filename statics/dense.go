package statics

import "math"

// Symmetric matrices are dense, row major with stride n, and only the lower
// triangle is used. Rigs have tens of unknowns; nothing sparser pays.

// cholesky factors the lower triangle of a in place into L Lᵀ. It reports
// false as soon as a pivot is not above floor times the diagonal element it
// came from: the matrix is then not safely positive definite.
func cholesky(a []float64, n int, floor float64) bool {
	if n == 6 {
		return cholesky6((*[36]float64)(a), floor)
	}
	for i := range n {
		ri := a[i*n : i*n+i+1]
		diag := ri[i]
		s := diag
		for j := range i {
			rj := a[j*n : j*n+j+1]
			rk := ri[:len(rj)]
			v := rk[j]
			for k, w := range rj[:j] {
				v -= rk[k] * w
			}
			v *= rj[j] // the diagonal holds reciprocals
			rk[j] = v
			s -= v * v
		}
		if !(s > floor*diag) || s <= 0 {
			return false
		}
		ri[i] = 1 / math.Sqrt(s)
	}
	return true
}

// cholesky6 is cholesky for the six unknowns of a single body, the rig that is
// solved most often, written out.
func cholesky6(a *[36]float64, floor float64) bool {
	ok := true
	root := func(s, diag float64) float64 {
		ok = ok && s > floor*diag && s > 0
		return 1 / math.Sqrt(s)
	}
	r0 := root(a[0], a[0])
	l10 := a[6] * r0
	r1 := root(a[7]-l10*l10, a[7])
	l20 := a[12] * r0
	l21 := (a[13] - l20*l10) * r1
	r2 := root(a[14]-l20*l20-l21*l21, a[14])
	l30 := a[18] * r0
	l31 := (a[19] - l30*l10) * r1
	l32 := (a[20] - l30*l20 - l31*l21) * r2
	r3 := root(a[21]-l30*l30-l31*l31-l32*l32, a[21])
	l40 := a[24] * r0
	l41 := (a[25] - l40*l10) * r1
	l42 := (a[26] - l40*l20 - l41*l21) * r2
	l43 := (a[27] - l40*l30 - l41*l31 - l42*l32) * r3
	r4 := root(a[28]-l40*l40-l41*l41-l42*l42-l43*l43, a[28])
	l50 := a[30] * r0
	l51 := (a[31] - l50*l10) * r1
	l52 := (a[32] - l50*l20 - l51*l21) * r2
	l53 := (a[33] - l50*l30 - l51*l31 - l52*l32) * r3
	l54 := (a[34] - l50*l40 - l51*l41 - l52*l42 - l53*l43) * r4
	r5 := root(a[35]-l50*l50-l51*l51-l52*l52-l53*l53-l54*l54, a[35])
	a[0] = r0
	a[6], a[7] = l10, r1
	a[12], a[13], a[14] = l20, l21, r2
	a[18], a[19], a[20], a[21] = l30, l31, l32, r3
	a[24], a[25], a[26], a[27], a[28] = l40, l41, l42, l43, r4
	a[30], a[31], a[32], a[33], a[34], a[35] = l50, l51, l52, l53, l54, r5
	return ok
}

// cholSolve solves L Lᵀ x = b in place, with the factor of cholesky.
func cholSolve(l []float64, n int, b []float64) {
	for i := range n {
		ri := l[i*n : i*n+i+1]
		s := b[i]
		for k, v := range ri[:i] {
			s -= v * b[k]
		}
		b[i] = s * ri[i]
	}
	for i := n - 1; i >= 0; i-- {
		ri := l[i*n : i*n+i+1]
		x := b[i] * ri[i]
		b[i] = x
		for k, v := range ri[:i] {
			b[k] -= v * x
		}
	}
}

// rank counts the independent columns among the given ones, by
// Gram-Schmidt with the largest remaining column first. A column counts as
// dependent when less than tol of its length is left. The columns are
// overwritten.
func rank(cols [][]float64, tol float64) int {
	norm := make([]float64, len(cols))
	for i, c := range cols {
		norm[i] = math.Sqrt(dot(c, c))
	}
	r := 0
	for ; r < len(cols); r++ {
		best, share := -1, tol
		for i := r; i < len(cols); i++ {
			if norm[i] == 0 {
				continue
			}
			if s := math.Sqrt(dot(cols[i], cols[i])) / norm[i]; s > share {
				best, share = i, s
			}
		}
		if best < 0 {
			break
		}
		cols[r], cols[best] = cols[best], cols[r]
		norm[r], norm[best] = norm[best], norm[r]
		q := cols[r]
		inv := 1 / math.Sqrt(dot(q, q))
		for k := range q {
			q[k] *= inv
		}
		for pass := 0; pass < 2; pass++ { // twice is enough (Kahan)
			for i := r + 1; i < len(cols); i++ {
				s := dot(q, cols[i])
				for k := range q {
					cols[i][k] -= s * q[k]
				}
			}
		}
	}
	return r
}

func dot(a, b []float64) float64 {
	s := 0.0
	for i, v := range a {
		s += v * b[i]
	}
	return s
}
