package metrology

import (
	"math"

	"gonum.org/v1/gonum/mat"

	"plumbhook/fault"
)

// A Fit is a polynomial through points by least squares,
//
//	y = b0 + b1 x + ... + bm x^m,
//
// with the covariance of its coefficients. The residual standard deviation is
// s = √(Σ d² / (n - m - 1)), and the covariance s² (X'X)⁻¹.
//
// It is solved by Householder QR in the variable z = x/max|x|, never by normal
// equations, which square the condition number.
type Fit struct {
	N, DoF    int       // points; n - m - 1
	SD        float64   // residual standard deviation, in the unit of y
	Residuals []float64 // y - fit, in the order of the points

	poly polynomial
	cov  *mat.SymDense // of the coefficients of poly
}

// FitPolynomial fits a polynomial of degree 1 to 3. There must be at least
// one point more than coefficients, or nothing would tell how good the fit
// is, and at least degree + 1 different x. The error is a *fault.Fault.
func FitPolynomial(x, y []float64, degree int) (*Fit, error) {
	if degree < 1 || degree > maxDegree {
		return nil, fault.New(fault.Range, "a calibration curve of degree %d", degree).Fix("choose 1, 2 or 3")
	}
	if len(x) != len(y) {
		return nil, fault.New(fault.Disagree, "%d forces and %d readings", len(x), len(y))
	}
	scale := 0.0
	different := map[float64]bool{}
	for i := range x {
		if !finite(x[i]) || !finite(y[i]) {
			return nil, fault.New(fault.Range, "point %d is not a number", i+1)
		}
		scale = max(scale, math.Abs(x[i]))
		different[x[i]] = true
	}
	n, m := len(x), degree+1
	if n <= m || len(different) < m {
		return nil, fault.New(fault.Missing, "%d points at %d different forces cannot carry a curve of degree %d", n, len(different), degree).
			Fix("give more than %d points at no fewer than %d forces, or a lower degree", m, m)
	}

	a := mat.NewDense(n, m, nil)
	for i, v := range x {
		z := 1.0
		for k := range m {
			a.Set(i, k, z)
			z *= v / scale
		}
	}
	var qr mat.QR
	qr.Factorize(a)
	var b mat.VecDense
	if err := qr.SolveVecTo(&b, false, mat.NewVecDense(n, y)); err != nil {
		return nil, fault.New(fault.Undecided, "the points do not tell a curve of degree %d from a lower one", degree).
			Fix("choose a lower degree").Because(err)
	}
	f := &Fit{N: n, DoF: n - m, Residuals: make([]float64, n), poly: polynomial{scale: scale, degree: degree}}
	copy(f.poly.a[:], b.RawVector().Data)

	ss := 0.0
	for i := range x {
		v, _ := f.poly.at(x[i] / scale)
		f.Residuals[i] = y[i] - v
		ss += f.Residuals[i] * f.Residuals[i]
	}
	f.SD = math.Sqrt(ss / float64(f.DoF))

	var r mat.Dense
	qr.RTo(&r)
	upper := mat.NewTriDense(m, mat.Upper, nil)
	for i := range m {
		for j := i; j < m; j++ {
			upper.SetTri(i, j, r.At(i, j))
		}
	}
	var inverse mat.TriDense
	if err := inverse.InverseTri(upper); err != nil {
		return nil, fault.New(fault.Undecided, "the points do not tell a curve of degree %d from a lower one", degree).
			Fix("choose a lower degree").Because(err)
	}
	f.cov = mat.NewSymDense(m, nil)
	f.cov.SymOuterK(f.SD*f.SD, &inverse)
	return f, nil
}

// Coefficients gives b0 ... bm for x as it was handed in, and their
// covariance; its diagonal holds the squares of their standard deviations.
func (f *Fit) Coefficients() ([]float64, *mat.SymDense) {
	m := f.poly.degree + 1
	b, cov := make([]float64, m), mat.NewSymDense(m, nil)
	power := func(k int) float64 { return math.Pow(f.poly.scale, float64(k)) }
	for i := range m {
		b[i] = f.poly.a[i] / power(i)
		for j := i; j < m; j++ {
			cov.SetSym(i, j, f.cov.At(i, j)/power(i+j))
		}
	}
	return b, cov
}

// At gives the curve at x and its standard uncertainty there, √(v'Cv) with
// v = (1, x, ... x^m): that of the curve, without the scatter of a reading
// about it.
func (f *Fit) At(x float64) (y, u float64) {
	z := x / f.poly.scale
	v := mat.NewVecDense(f.poly.degree+1, nil)
	p := 1.0
	for k := range v.Len() {
		v.SetVec(k, p)
		p *= z
	}
	y, _ = f.poly.at(z)
	return y, math.Sqrt(mat.Inner(v, f.cov, v))
}

const maxDegree = 3

// polynomial is a curve in z = x/scale, so that its terms are of one size.
type polynomial struct {
	scale  float64
	degree int
	a      [maxDegree + 1]float64 // a[k] z^k; zero above degree
}

// at gives value and slope at z.
func (p *polynomial) at(z float64) (v, slope float64) {
	v = p.a[0] + z*(p.a[1]+z*(p.a[2]+z*p.a[3]))
	slope = p.a[1] + z*(2*p.a[2]+z*3*p.a[3])
	return v, slope
}

// monotone tells whether the curve keeps rising, or keeps falling, from
// z = lo to hi, both included.
func (p *polynomial) monotone(lo, hi float64) bool {
	_, first := p.at(lo)
	_, last := p.at(hi)
	turn := first
	if p.a[3] != 0 { // the slope is a parabola: its extreme lies where 2 a2 + 6 a3 z = 0
		if z := -p.a[2] / (3 * p.a[3]); z > lo && z < hi {
			_, turn = p.at(z)
		}
	}
	return first > 0 && last > 0 && turn > 0 || first < 0 && last < 0 && turn < 0
}

// invert finds the z in lo..hi at which a monotone curve has the value y, by
// Newton's method kept inside a shrinking bracket.
func (p *polynomial) invert(y, lo, hi, yLo, yHi float64) float64 {
	// A step below this is rounding: |z| is at most 1.
	const rounding = 0x1p-51
	z := lo + (hi-lo)*(y-yLo)/(yHi-yLo)
	rising := yHi > yLo
	for range 100 {
		v, slope := p.at(z)
		if v > y == rising {
			hi = z
		} else {
			lo = z
		}
		next := z - (v-y)/slope
		if math.Abs(next-z) <= rounding {
			return next
		}
		if next < lo || next > hi {
			next = (lo + hi) / 2
		}
		z = next
	}
	return z
}

func finite(v float64) bool { return !math.IsNaN(v) && !math.IsInf(v, 0) }
