package statics

import (
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/mat"
)

// TestCholesky compares factor, verdict and solution with gonum's on random
// symmetric matrices, definite and not.
func TestCholesky(t *testing.T) {
	rng := rand.New(rand.NewPCG(4, 4))
	for trial := range 2000 {
		n := 1 + trial%9
		m := mat.NewSymDense(n, nil)
		b := mat.NewDense(n, n, nil)
		for i := range n {
			for j := range n {
				b.Set(i, j, rng.NormFloat64())
			}
		}
		m.SymOuterK(1, b)
		if trial%3 == 0 {
			for i := range n {
				m.SetSym(i, i, m.At(i, i)-float64(n)/2)
			}
		}
		a, x := make([]float64, n*n), make([]float64, n)
		v := mat.NewVecDense(n, nil)
		for i := range n {
			for j := range i + 1 {
				a[i*n+j] = m.At(i, j)
			}
			x[i] = rng.NormFloat64()
			v.SetVec(i, x[i])
		}
		var c mat.Cholesky
		want := c.Factorize(m)
		got := cholesky(a, n, 1e-14)
		if got != want && !(want && c.Cond() > 1e12) {
			t.Fatalf("trial %d: definite %v, gonum says %v", trial, got, want)
		}
		if !got || c.Cond() > 1e8 {
			continue
		}
		var y mat.VecDense
		if err := c.SolveVecTo(&y, v); err != nil {
			t.Fatal(err)
		}
		cholSolve(a, n, x)
		for i := range n {
			if math.Abs(x[i]-y.AtVec(i)) > 1e-6*(1+math.Abs(y.AtVec(i))) {
				t.Fatalf("trial %d: unknown %d is %g, gonum has %g", trial, i, x[i], y.AtVec(i))
			}
		}
	}
}
