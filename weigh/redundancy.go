package weigh

import (
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/stat/distuv"
)

// Redundancy is what the readings say about each other.
type Redundancy struct {
	Rows, Unknowns, DoF int
	// Judged is false where nothing is left over, or the chance part of the
	// readings is not known.
	Judged  bool
	Chi2    float64 // weighed sum of squares of what does not fit
	Limit   float64 // that it passes one time in twenty when all is as stated
	Agrees  bool
	Cells   []Suspicion // that any redundancy can see, most suspect first
	Suspect string      // the one cell to blame; empty: none, or it cannot be told which
	Text    string      // the same in words, with the reason where nothing is judged
}

// A Suspicion is how well one wrong cell would explain what does not fit.
type Suspicion struct {
	Cell    string
	Kind    string  // zero: off by a constant; scale: off by a share
	Shift   float64 // N, or a share of the reading
	W       float64 // the shift over its standard uncertainty
	Visible float64 // smallest shift that would be noticed four times in five
}

// Critical values: a cell is suspect when its shift is 3.29 standard
// uncertainties (one in a thousand by chance), and named when it explains ninety
// times better than any other, a lead of 9 in chi². A shift is noticed four
// times in five at 3.29 + 0.84. Common practice in adjustment, no source.
const (
	suspectW  = 3.29
	lead      = 9.0
	noticedAt = suspectW + 0.84
)

// redundancy tests what is left over by chi², or by F where scatter is known
// from few runs, then asks cell by cell.
func (m *model) redundancy(sol *solution) Redundancy {
	n := len(sol.y)
	r := Redundancy{Rows: n, Unknowns: sol.rank, DoF: n - sol.rank}
	if r.DoF == 0 {
		r.Text = m.whyNone()
		return r
	}
	if !m.chance() {
		r.Text = "what is left over cannot be judged: no resolution is stated and nothing was weighed twice, so that nobody knows what chance does to a reading"
		return r
	}
	// What does not fit has the weight matrix V⁻¹ - V⁻¹ H G.
	h := mat.NewDense(n, unknowns, nil)
	for i := range sol.h {
		h.SetRow(i, sol.h[i][:])
	}
	var fitted, weight mat.Dense
	fitted.Mul(h, sol.gain)
	weight.Mul(sol.inv, &fitted)
	weight.Sub(sol.inv, &weight)
	quad := func(a, b []float64) float64 {
		return mat.Inner(mat.NewVecDense(n, a), &weight, mat.NewVecDense(n, b))
	}
	left := misfit(sol.y, sol.h, sol.beta)
	r.Judged, r.Chi2 = true, quad(left, left)
	sum, of := 0.0, 0.0
	for k := range m.inputs {
		a := quad(m.inputs[k].effect, m.inputs[k].effect)
		sum += a
		of += a * a / m.inputs[k].DoF
	}
	r.Limit = distuv.ChiSquared{K: float64(r.DoF)}.Quantile(0.95)
	critical := suspectW
	if of > 0 {
		nu := max(1, sum*sum/of)
		r.Limit = float64(r.DoF) * distuv.F{D1: float64(r.DoF), D2: nu}.Quantile(0.95)
		critical = distuv.StudentsT{Sigma: 1, Nu: nu}.Quantile(0.9995)
	}
	r.Agrees = r.Chi2 <= r.Limit
	for c := range m.s.Cells {
		var best *Suspicion
		for _, kind := range []string{"zero", "scale"} {
			sign := m.signature(c, kind, sol.beta)
			tells, alone := quad(sign, sign), mat.Inner(mat.NewVecDense(n, sign), sol.inv, mat.NewVecDense(n, sign))
			if tells <= 1e-6*alone || alone == 0 {
				continue
			}
			shift := quad(sign, left) / tells
			s := Suspicion{m.s.Cells[c].Name, kind, shift, shift * math.Sqrt(tells), noticedAt / math.Sqrt(tells)}
			if best == nil || math.Abs(s.W) > math.Abs(best.W) {
				best = &s
			}
		}
		if best != nil {
			r.Cells = append(r.Cells, *best)
		}
	}
	slices.SortStableFunc(r.Cells, func(a, b Suspicion) int {
		switch d := math.Abs(b.W) - math.Abs(a.W); {
		case d > 0:
			return 1
		case d < 0:
			return -1
		}
		return 0
	})
	r.name(critical)
	return r
}

// signature is what a cell that is off by one unit does to y - H β.
func (m *model) signature(c int, kind string, beta []float64) []float64 {
	var side [2][]float64
	for j := range side {
		s := m.best.clone()
		for i := range m.s.Placements {
			for k, seat := range m.s.Placements[i].Seats {
				e := 0.5 - float64(j)
				if kind == "scale" {
					e *= s.force[i][k]
				}
				if seat.Cell == c {
					s.force[i][k] += e
				}
			}
		}
		y, h := m.rows(s)
		side[j] = misfit(y, h, beta)
	}
	for i := range side[0] {
		side[0][i] -= side[1][i]
	}
	return side[0]
}

// name blames one cell where that can be told.
func (r *Redundancy) name(critical float64) {
	figures := fmt.Sprintf("chi² %.2f of %.2f allowed, %d left over", r.Chi2, r.Limit, r.DoF)
	switch {
	case r.Agrees && (len(r.Cells) == 0 || math.Abs(r.Cells[0].W) < critical):
		r.Text = "the readings agree with each other (" + figures + ")"
		return
	case len(r.Cells) == 0 || math.Abs(r.Cells[0].W) < critical:
		r.Text = "no single cell explains it (" + figures + "): look at places, tilts and whether something else bore load"
		return
	}
	r.Agrees = false
	worst := r.Cells[0]
	var rivals []string
	for _, c := range r.Cells {
		if worst.W*worst.W-c.W*c.W < lead {
			rivals = append(rivals, c.Cell)
		}
	}
	off := fmt.Sprintf("%+.3g N", worst.Shift)
	if worst.Kind == "scale" {
		off = fmt.Sprintf("%+.2g %% of its reading", 100*worst.Shift)
	}
	if len(rivals) == 1 {
		r.Suspect = worst.Cell
		r.Text = fmt.Sprintf("cell %s off by %s explains it, %.1f standard uncertainties (%s)", worst.Cell, off, math.Abs(worst.W), figures)
		return
	}
	r.Text = fmt.Sprintf("one wrong cell would explain it, but which of %s cannot be told (%s): weigh again with two of the cells interchanged", names(rivals), figures)
}

// whyNone says why nothing checks the readings.
func (m *model) whyNone() string {
	const loud = "a cell that reads wrong by some amount moves the weight by as much, and nothing here would show it"
	const remedy = "weigh again with two cells interchanged, or put one cell over the whole"
	if len(m.s.Placements) > 1 {
		return "every placement tells something new and none of it twice: " + loud + "; " + remedy
	}
	n, first := len(m.s.Placements[0].Seats), "No cell checks another"
	if n > 3 {
		first = fmt.Sprintf("%d cells in one placement do not check each other: weight and centre of gravity take three of the %d readings, "+
			"and the rest is how the supports share, which hangs on level and stiffness and not on the weight", n, n)
	}
	return first + "; " + loud + "; " + remedy
}

// chance tells whether it is known what chance does to a reading.
func (m *model) chance() bool {
	for i := range m.s.Placements {
		if len(m.s.Placements[i].Runs) > 1 {
			return true
		}
	}
	for i := range m.s.Cells {
		if c := &m.s.Cells[i]; c.Calibration == nil && c.Accuracy.Resolution == nil || c.Calibration != nil && c.Calibration.Resolution == 0 {
			return false
		}
	}
	return true
}
