package size

import (
	"math"

	"gonum.org/v1/gonum/mat"
)

// bounded gives the d with low <= d <= high for which |A d - b|² is least. The
// columns of A must be independent. Starting with every entry as near zero as
// its limits allow, entries are freed one by one where that brings the sum
// down, and held again where they meet a limit (Stark and Parker, Bounded-
// variable least squares, Computational Statistics 10, 1995).
func bounded(a *mat.Dense, b, low, high []float64) []float64 {
	rows, n := a.Dims()
	d := make([]float64, n)
	for i := range d {
		d[i] = min(max(0, low[i]), high[i])
	}
	free := make([]bool, n)
	for range 10 * n { // each round ends at a lower sum; rounding could make it circle
		rest := mat.NewVecDense(rows, nil)
		rest.MulVec(a, mat.NewVecDense(n, d))
		rest.SubVec(mat.NewVecDense(rows, b), rest)
		var slope mat.VecDense
		slope.MulVec(a.T(), rest)
		best, k := 0.0, -1
		for i := range d {
			g := slope.AtVec(i)
			if free[i] || g > 0 && d[i] >= high[i] || g < 0 && d[i] <= low[i] {
				continue
			}
			if math.Abs(g) > best*(1+1e-12) {
				best, k = math.Abs(g), i
			}
		}
		if k < 0 || best <= 1e-14*mat.Norm(a, 2)*(mat.Norm(rest, 2)+1e-300) {
			break
		}
		free[k] = true
		for settle(a, rest, d, low, high, free) {
			rest.MulVec(a, mat.NewVecDense(n, d))
			rest.SubVec(mat.NewVecDense(rows, b), rest)
		}
	}
	return d
}

// settle moves the free entries of d toward their least sum, and reports
// whether one met a limit on the way and is held now.
func settle(a *mat.Dense, rest *mat.VecDense, d, low, high []float64, free []bool) bool {
	rows, _ := a.Dims()
	var at []int
	for i, f := range free {
		if f {
			at = append(at, i)
		}
	}
	if len(at) == 0 {
		return false
	}
	sub := mat.NewDense(rows, len(at), nil)
	for k, i := range at {
		sub.SetCol(k, mat.Col(nil, i, a))
	}
	var step mat.VecDense
	if err := step.SolveVec(sub, rest); err != nil {
		if _, badly := err.(mat.Condition); !badly {
			return false
		}
	}
	share, hit, stop := 1.0, -1, 0.0
	for k, i := range at {
		v := step.AtVec(k)
		to := d[i] + v
		limit := min(max(to, low[i]), high[i])
		if limit != to && (limit-d[i])/v < share {
			share, hit, stop = (limit-d[i])/v, i, limit
		}
	}
	for k, i := range at {
		d[i] = min(max(d[i]+share*step.AtVec(k), low[i]), high[i])
	}
	if hit >= 0 {
		free[hit], d[hit] = false, stop
	}
	return hit >= 0
}
