package metrology

import (
	"math"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/stat/distuv"
)

// A Shape names the distribution an uncertainty was taken from, as a budget
// table prints it.
type Shape string

// The shapes of JCGM 100:2008, 4.2.3, 4.3.7, 4.3.9 and H.1.3.4.
const (
	ShapeNormal      Shape = "normal"
	ShapeT           Shape = "t"
	ShapeRectangular Shape = "rectangular"
	ShapeTriangular  Shape = "triangular"
	ShapeU           Shape = "U-shaped"
)

// A Component is one line of a budget. Its share in the result is C·U.
type Component struct {
	Name  string
	Shape Shape
	U     float64 // standard uncertainty of the input, in the input's unit
	C     float64 // sensitivity: change of the result per unit of the input
	DoF   float64 // degrees of freedom of U; +Inf: as good as known
	Unit  string  // of U, where a budget is printed; empty: a plain number, or not said
	// Cause names what this component has in common with others, in this
	// budget or another: equal causes are fully correlated (r = +1). Empty:
	// independent of everything.
	Cause string
}

// Normal is a component from a stated expanded uncertainty and its coverage
// factor: u = U/k.
func Normal(name string, expanded, k float64) Component {
	return Component{Name: name, Shape: ShapeNormal, U: expanded / k, C: 1, DoF: math.Inf(1)}
}

// TypeA is a component from readings: u = sd/√n, with the degrees of freedom
// that the standard deviation has. For a single reading n is 1.
func TypeA(name string, sd float64, n, dof int) Component {
	return Component{Name: name, Shape: ShapeT, U: sd / math.Sqrt(float64(n)), C: 1, DoF: float64(dof)}
}

// Rectangular is a component with hard limits ±a and nothing known between:
// u = a/√3 (JCGM 100:2008, 4.3.7).
func Rectangular(name string, a float64) Component {
	return Component{Name: name, Shape: ShapeRectangular, U: a / math.Sqrt(3), C: 1, DoF: math.Inf(1)}
}

// Triangular is a component with hard limits ±a, the middle the likeliest:
// u = a/√6 (4.3.9).
func Triangular(name string, a float64) Component {
	return Component{Name: name, Shape: ShapeTriangular, U: a / math.Sqrt(6), C: 1, DoF: math.Inf(1)}
}

// Cyclic is a component that swings as a sine of amplitude a: u = a/√2
// (H.1.3.4).
func Cyclic(name string, a float64) Component {
	return Component{Name: name, Shape: ShapeU, U: a / math.Sqrt2, C: 1, DoF: math.Inf(1)}
}

// Digital is a component from a readout of step d: u = d/√12 (F.2.2.1).
func Digital(name string, d float64) Component { return Rectangular(name, d/2) }

// Times multiplies the sensitivity by c.
func (c Component) Times(by float64) Component { c.C *= by; return c }

// SharedBy names the cause; an empty one makes the component independent.
func (c Component) SharedBy(cause string) Component { c.Cause = cause; return c }

// In names the unit of U.
func (c Component) In(unit string) Component { c.Unit = unit; return c }

// Doubted sets the degrees of freedom of a judged uncertainty that is itself
// known to a share r, 1/(2 r²) (G.4.2).
func (c Component) Doubted(r float64) Component { c.DoF = 1 / (2 * r * r); return c }

// A Budget is the uncertainty of one result, as the list of what it comes
// from. A sum of results has the concatenated budgets of its terms:
//
//	total := slices.Concat(west.Times(1), east.Times(1))
type Budget []Component

// Times gives the budget of w times the result.
func (b Budget) Times(w float64) Budget {
	scaled := make(Budget, len(b))
	for i, c := range b {
		scaled[i] = c.Times(w)
	}
	return scaled
}

// shares gives the terms that add as squares: each independent component, and
// for each cause the plain sum of its components with the fewest degrees of
// freedom among them.
func (b Budget) shares() []share {
	var all []share
	at := map[string]int{}
	for _, c := range b {
		i, known := at[c.Cause]
		if c.Cause == "" || !known {
			at[c.Cause] = len(all)
			all = append(all, share{c.Cause, c.C * c.U, c.DoF})
			continue
		}
		all[i].u += c.C * c.U
		all[i].dof = min(all[i].dof, c.DoF)
	}
	return all
}

type share struct {
	cause  string
	u, dof float64
}

// U is the combined standard uncertainty,
//
//	u² = Σ (c u)² + Σ over causes (Σ c u)²
//
// (JCGM 100:2008, eq. 10, and 16 with r = +1).
func (b Budget) U() float64 {
	sum := 0.0
	for _, s := range b.shares() {
		sum += s.u * s.u
	}
	return math.Sqrt(sum)
}

// DoF gives the effective degrees of freedom by Welch and Satterthwaite,
// ν = u⁴ / Σ (u_i⁴/ν_i) (eq. G.2b), not rounded. A budget without uncertainty
// has +Inf.
func (b Budget) DoF() float64 {
	u2, sum := 0.0, 0.0
	for _, s := range b.shares() {
		v := s.u * s.u
		u2 += v
		sum += v * v / s.dof
	}
	if sum == 0 {
		return math.Inf(1)
	}
	return u2 * u2 / sum
}

// Expanded is an interval about a result that holds a stated share of what
// could be the true value: result ± U, U = K u.
type Expanded struct {
	U   float64
	K   float64
	P   float64 // coverage: 0.95
	DoF float64 // effective, cut to a whole number
}

// Expand gives the expanded uncertainty for a coverage p between 0 and 1.
func (b Budget) Expand(p float64) Expanded {
	// Cut to the next lower whole number (G.4.1, note 1), save where rounding
	// alone has taken it below one.
	dof := max(1, math.Floor(b.DoF()*(1+1e-12)))
	k := CoverageFactor(p, dof)
	return Expanded{U: k * b.U(), K: k, P: p, DoF: dof}
}

// CoverageFactor is Student's t for a two-sided coverage p and dof degrees of
// freedom, the normal factor for +Inf (JCGM 100:2008, tables G.1 and G.2).
func CoverageFactor(p, dof float64) float64 {
	if math.IsInf(dof, 1) {
		return distuv.UnitNormal.Quantile((1 + p) / 2)
	}
	return distuv.StudentsT{Sigma: 1, Nu: dof}.Quantile((1 + p) / 2)
}

// Covariance gives the matrix of several results: the variance of each on the
// diagonal, and beside it what equal causes have them share,
//
//	V_ij = Σ over causes (Σ c u)_i (Σ c u)_j.
//
// Cells calibrated on one machine share that machine's error, so that it adds
// over the legs as it is and not as squares.
func Covariance(budgets ...Budget) *mat.SymDense {
	v := mat.NewSymDense(len(budgets), nil)
	causes := make([]map[string]float64, len(budgets))
	for i, b := range budgets {
		u := b.U()
		v.SetSym(i, i, u*u)
		causes[i] = map[string]float64{}
		for _, s := range b.shares() {
			causes[i][s.cause] = s.u
		}
		for j := range i {
			common := 0.0
			for _, s := range b.shares() { // in the order of the budget: same input, same bytes
				if s.cause != "" {
					common += s.u * causes[j][s.cause]
				}
			}
			v.SetSym(i, j, common)
		}
	}
	return v
}

// Propagate carries a covariance through results that depend on their inputs
// by the rows of j: J V J' (JCGM 100:2008, eq. 16 for each pair of results).
func Propagate(j mat.Matrix, v mat.Symmetric) *mat.SymDense {
	n, _ := j.Dims()
	var half, full mat.Dense
	half.Mul(j, v)
	full.Mul(&half, j.T())
	out := mat.NewSymDense(n, nil)
	for i := range n {
		for k := i; k < n; k++ {
			out.SetSym(i, k, (full.At(i, k)+full.At(k, i))/2)
		}
	}
	return out
}
