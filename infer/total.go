package infer

import "math"

// mostMasks is up to how many cells every set of missing ones is prepared.
const mostMasks = 8

// totals is how the total at the hooks follows from some of the cells: the
// best linear estimate, weight and centre of gravity of the load unknown.
// With all cells there the lengths of the legs are unknown as well, so that
// equilibrium alone decides and no prior does: the weight of a cell is then the
// cosine of what it pulls along. Where cells are missing the plan's centre and
// lengths stand in for them.
type totals struct {
	by     []float64 // N at the hooks for each N on the cell; 0: missing
	at     float64   // N, with nothing on the cells
	spread float64   // N, standard deviation at the planned weight, cells without error
	known  bool
}

// prepareTotals works out the estimates for every set of cells there may be.
func (m *Model) prepareTotals() {
	n := len(m.cells)
	m.full = 1<<n - 1
	if n > mostMasks {
		m.totals = []totals{m.totalOf(func(int) bool { return true })}
		return
	}
	m.totals = make([]totals, 1<<n)
	for mask := 1; mask <= m.full; mask++ {
		m.totals[mask] = m.totalOf(func(i int) bool { return mask>>i&1 == 1 })
	}
}

// totalOf works out the estimate from the cells that are there.
func (m *Model) totalOf(there func(int) bool) totals {
	var rows []int
	for i := range m.cells {
		if there(i) {
			rows = append(rows, i)
		}
	}
	t := totals{by: make([]float64, len(m.cells)), known: true}
	all := len(rows) == len(m.cells)
	sd := m.free(all)
	h := m.home
	n := len(rows)
	cols := func(i int) []float64 { return m.whitened(h.slope[i], sd) }
	c := make([][]float64, n)
	sigma := make([]float64, n*n)
	for a, i := range rows {
		c[a] = cols(i)
		for b := range a + 1 {
			sigma[a*n+b] = dot(c[a], c[b])
		}
		sigma[a*n+a] += m.cells[i].fixed * m.cells[i].fixed / 3
	}
	total := cols(len(m.cells))
	l := factor(sigma, n)
	by := make([]float64, n)
	for a := range rows {
		by[a] = dot(c[a], total)
	}
	l.backward(l.forward(by))
	t.at = h.total
	// What is left open: with all cells, by loads and lengths as they occur.
	if all {
		sd = loose{mass: 0.3 * m.mean[atMass], centre: [2]float64{0.1 * m.span, 0.1 * m.span}}
	}
	left := cols(len(m.cells))
	for a, i := range rows {
		t.by[i] = by[a]
		t.at -= by[a] * h.read[i]
		for k, v := range cols(i) {
			left[k] -= by[a] * v
		}
	}
	t.spread = math.Sqrt(dot(left, left))
	return t
}

// unknown is how far, as a share of the plan, weight, centre and lengths may
// be off where nothing is said about them: anything.
const (
	anyMass   = 3.0
	anyCentre = 2.0 // spans
	anyLength = 0.03
)

// free gives the standard deviations of the load's weight and of its centre
// in the two level directions that the cells feel, unknown, and those of the
// lengths: unknown too, or as planned (0).
type loose struct {
	mass   float64
	centre [2]float64
	length float64
}

func (m *Model) free(all bool) loose {
	f := loose{mass: anyMass * m.mean[atMass]}
	if all {
		for n, seen := range m.seen {
			if seen {
				f.centre[n] = anyCentre * m.span
			}
		}
		f.length = anyLength
	}
	return f
}

// whitened are slopes in parameters of unit variance, those of the plan and
// those set loose on top.
func (m *Model) whitened(slope []float64, f loose) []float64 {
	out := make([]float64, 0, len(slope)+3+len(m.legs))
	for k := range 4 {
		s := 0.0
		for i := k; i < 4; i++ {
			s += slope[i] * m.root[4*i+k]
		}
		out = append(out, s)
	}
	for k := atZ + 1; k < len(slope); k++ {
		out = append(out, slope[k]*m.scale[k])
	}
	out = append(out, slope[atMass]*f.mass)
	for n := range f.centre {
		s := 0.0
		for k := range 3 {
			s += slope[atX+k] * m.wide[n][k]
		}
		out = append(out, s*f.centre[n])
	}
	if f.length > 0 {
		for i := range m.legs {
			if p := m.legs[i].length; p >= 0 {
				out = append(out, slope[p]*f.length*m.mean[p])
			}
		}
	}
	return out
}

// Total is what all hooks carry together, straight down and gross, N, rigging
// above and below the cells included, with the 95 % half-width of its error.
// read is one value of every cell; NaN where a cell says nothing: then the
// plan's own sharing fills the gap, and u says what that costs. Both are NaN
// when no cell says anything.
func (m *Model) Total(read []float64) (hookN, uN float64) {
	mask := 0
	for i, v := range read {
		if !math.IsNaN(v) {
			mask |= 1 << i
		}
	}
	var t totals
	switch {
	case mask == 0:
		return math.NaN(), math.NaN()
	case len(m.cells) <= mostMasks:
		t = m.totals[mask]
	case mask == m.full:
		t = m.totals[0]
	default:
		t = m.totalOf(func(i int) bool { return mask>>i&1 == 1 })
	}
	hookN = t.at
	v := 0.0
	for i, y := range read {
		if mask>>i&1 == 0 {
			continue
		}
		c := &m.cells[i]
		hookN += t.by[i] * y
		x := &c.Cell
		e := x.Error + x.Drift + (x.ErrorShare+x.DriftShare)*math.Abs(y) + x.Step/2
		if x.Error+x.ErrorShare == 0 {
			e += c.gain * math.Abs(y)
		}
		v += t.by[i] * t.by[i] * (e*e/3 + x.ZeroLimit*x.ZeroLimit/3)
	}
	s := t.spread * math.Abs(hookN-m.emptyN) / m.weightN
	return hookN, z95 * math.Sqrt(v+s*s)
}
