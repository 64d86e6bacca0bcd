package infer

import (
	"math"
	"slices"
)

// Estimate is what the load is, as far as the cells tell.
type Estimate struct {
	// The load alone, N, with the 95 % half-width. NaN: cannot be told.
	WeightN, WeightU95N float64
	// Its centre of gravity in load axes, m. Level as it hangs it comes from
	// the cells where they feel it, otherwise, and in height, from the plan.
	// NaN where no cell feels any of it.
	CG, CGU95 [3]float64
	// AtLeast: the load is not proved free. The legs bear WeightN of it, and of
	// whatever may hold it down; it is no point value.
	AtLeast bool
	// What each leg to the load bears at its cell, N, in the order of the file;
	// NaN where it has none.
	Tensions, TensionU95 []float64
}

func nothing() Estimate {
	n := math.NaN()
	return Estimate{WeightN: n, WeightU95N: n, CG: [3]float64{n, n, n}, CGU95: [3]float64{n, n, n}}
}

// Weigh says what hangs in one window, by itself: the most probable weight
// and centre of gravity with nothing said about either beforehand but the
// plan's height of the centre; lengths, stiffness and cells as the plan states
// them. In a window that is not a hold, or not proved free, it is what the
// legs bear at least.
func (m *Model) Weigh(w *Window) Estimate {
	if w.Stage != Hold || w.Free == Unproved {
		return m.atLeast(w.ReadN)
	}
	if m.goHome() != nil {
		return nothing()
	}
	x := m.newFit([]Window{*w}, false, nil)
	return m.estimate(x, m.home, nil)
}

// atLeast is what the legs bear of the load.
func (m *Model) atLeast(read []float64) Estimate {
	e := nothing()
	n, u := m.Total(read)
	if math.IsNaN(n) {
		return e
	}
	e.WeightN, e.WeightU95N, e.AtLeast = max(0, n-m.emptyN-u), u, true
	e.Tensions, e.TensionU95 = m.tensions(read)
	return e
}

// tensions are the forces at the cells of the legs to the load.
func (m *Model) tensions(read []float64) (n, u []float64) {
	for i := range m.legs {
		l := &m.legs[i]
		t, e := math.NaN(), math.NaN()
		if l.cell >= 0 {
			c := &m.cells[l.cell]
			t, e = read[l.cell]+c.Cell.Zero, c.Cell.Limit(read[l.cell])+c.Cell.ZeroLimit
		}
		n, u = append(n, t), append(u, e)
	}
	return n, u
}

// estimate weighs with all holds of a fit, linear about a point first and hung
// again until it stays. change is what an explanation makes of the readings;
// nil: nothing.
func (m *Model) estimate(x *fit, at *point, h *explanation) Estimate {
	if !x.holds() {
		return nothing()
	}
	f := m.free(true)
	f.length = 0
	if h.lengthens() {
		f.centre = [2]float64{} // no force tells a length from a centre
	}
	best := m.weighed(x, at, h, f)
	vague := 0.3 * m.span
	if !(best.sdMass < 0.1*m.mean[atMass] && max(best.cov[0], best.cov[1], best.cov[2]) < vague*vague) {
		// Too few cells that bear for a centre of its own: that of the plan.
		f.centre = [2]float64{}
		best = m.weighed(x, at, h, f)
	}
	e := nothing()
	if best.theta == nil || !(best.sdMass < m.mean[atMass]) {
		return e
	}
	e.WeightN, e.WeightU95N = best.weight, best.u95
	felt := m.seen[0] || m.seen[1]
	if felt && max(best.cov[0], best.cov[1], best.cov[2]) < vague*vague {
		for k := range 3 {
			e.CG[k], e.CGU95[k] = best.theta[atX+k], z95*math.Sqrt(best.cov[k])
		}
	}
	y, _ := h.undo(x)
	read := slices.Repeat([]float64{math.NaN()}, len(m.cells))
	for _, r := range x.rows {
		if x.stage[r.window] == Hold {
			read[r.cell] = y[r.at]
		}
	}
	e.Tensions, e.TensionU95 = m.tensions(read)
	return e
}
