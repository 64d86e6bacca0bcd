package statics

import "math"

// Symmetric matrices are dense, row major with stride n, and only the lower
// triangle is used. Rigs have tens of unknowns; nothing sparser pays.

// cholesky factors the lower triangle of a in place into L Lᵀ. It reports
// false as soon as a pivot is not above floor times the diagonal element it
// came from: the matrix is then not safely positive definite.
func cholesky(a []float64, n int, floor float64) bool {
	for i := range n {
		ri := a[i*n : i*n+i+1]
		diag := ri[i]
		for j := range i {
			rj := a[j*n : j*n+j+1]
			s := ri[j]
			for k, v := range rj[:j] {
				s -= ri[k] * v
			}
			ri[j] = s * rj[j] // the diagonal holds reciprocals
		}
		s := diag
		for _, v := range ri[:i] {
			s -= v * v
		}
		if !(s > floor*math.Abs(diag)) || s <= 0 {
			return false
		}
		ri[i] = 1 / math.Sqrt(s)
	}
	return true
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
