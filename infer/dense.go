package infer

import "math"

// lower is a lower triangular matrix, row by row, as Cholesky's factor of a
// symmetric positive definite one.
type lower struct {
	n int
	a []float64
}

// factor puts the symmetric matrix held in the lower half of a into its
// Cholesky factor. A pivot that rounding made nothing of is kept at a
// millionth of a millionth of what it began as.
func factor(a []float64, n int) lower {
	for i := range n {
		for j := range i + 1 {
			s := a[i*n+j]
			ri, rj := a[i*n:i*n+j], a[j*n:j*n+j]
			for k := range ri {
				s -= ri[k] * rj[k]
			}
			if i == j {
				a[i*n+i] = math.Sqrt(max(s, 1e-12*a[i*n+i], 1e-300))
			} else {
				a[i*n+j] = s / a[j*n+j]
			}
		}
	}
	return lower{n, a}
}

// forward solves L x = b in place.
func (l lower) forward(b []float64) []float64 {
	for i := range l.n {
		s := b[i]
		row := l.a[i*l.n : i*l.n+i]
		for k, v := range row {
			s -= v * b[k]
		}
		b[i] = s / l.a[i*l.n+i]
	}
	return b
}

// backward solves Lᵀ x = b in place.
func (l lower) backward(b []float64) []float64 {
	for i := l.n - 1; i >= 0; i-- {
		b[i] /= l.a[i*l.n+i]
		for k := range i {
			b[k] -= l.a[i*l.n+k] * b[i]
		}
	}
	return b
}

// logDet is the logarithm of the determinant of L Lᵀ.
func (l lower) logDet() float64 {
	d := 0.0
	for i := range l.n {
		d += 2 * math.Log(l.a[i*l.n+i])
	}
	return d
}

func dot(a, b []float64) float64 {
	s := 0.0
	for i := range a {
		s += a[i] * b[i]
	}
	return s
}

// phi is the standard normal's share below x.
func phi(x float64) float64 { return math.Erfc(-x/math.Sqrt2) / 2 }
