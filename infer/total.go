package infer

import (
	"math"
	"slices"

	"plumbhook/lift"
)

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

// totalOf works out the total from the cells that are there.
func (m *Model) totalOf(there func(int) bool) totals {
	return m.from(there).estimate(m.home.slope[len(m.cells)], m.home.total)
}

// basis is the cells that are there, made ready to estimate by.
type basis struct {
	m    *Model
	rows []int       // the cells
	sd   loose       // what is left open
	c    [][]float64 // slopes of the cells, whitened by that
	left [][]float64 // and by loads and lengths as they occur
	l    lower       // of the covariance of their readings
	as   loose       // that left goes by
}

func (m *Model) from(there func(int) bool) *basis {
	b := &basis{m: m}
	for i := range m.cells {
		if there(i) {
			b.rows = append(b.rows, i)
		}
	}
	n := len(b.rows)
	all := n == len(m.cells)
	b.sd = m.free(all)
	if b.as = b.sd; all {
		b.as = loose{mass: 0.3 * m.mean[atMass], centre: [2]float64{0.1 * m.span, 0.1 * m.span}}
	}
	sigma := make([]float64, n*n)
	for k, i := range b.rows {
		b.c = append(b.c, m.whitened(m.home.slope[i], b.sd))
		b.left = append(b.left, m.whitened(m.home.slope[i], b.as))
		for o := range k + 1 {
			sigma[k*n+o] = dot(b.c[k], b.c[o])
		}
		sigma[k*n+k] += m.cells[i].fixed * m.cells[i].fixed / 3
	}
	b.l = factor(sigma, n)
	return b
}

// estimate works out what has these slopes by parameter and is at in the plan.
func (b *basis) estimate(slope []float64, at float64) totals {
	t := totals{by: make([]float64, len(b.m.cells)), known: true, at: at}
	whole := b.m.whitened(slope, b.sd)
	by := make([]float64, len(b.rows))
	for k := range b.rows {
		by[k] = dot(b.c[k], whole)
	}
	b.l.backward(b.l.forward(by))
	// What is left open: with all cells, by loads and lengths as they occur.
	left := b.m.whitened(slope, b.as)
	for k, i := range b.rows {
		t.by[i] = by[k]
		t.at -= by[k] * b.m.home.read[i]
		for p, v := range b.left[k] {
			left[p] -= by[k] * v
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
	hookN, v := m.apply(&t, read)
	s := t.spread * math.Abs(hookN-m.emptyN) / m.weightN
	return hookN, z95 * math.Sqrt(v+s*s)
}

// apply gives an estimate for what the cells read, NaN where one says nothing,
// and its variance by what the cells may be off, N.
func (m *Model) apply(t *totals, read []float64) (n, v float64) {
	n = t.at
	for i, y := range read {
		if math.IsNaN(y) {
			continue
		}
		c := &m.cells[i]
		n += t.by[i] * y
		x := &c.Cell
		e := x.Error + x.Drift + (x.ErrorShare+x.DriftShare)*math.Abs(y) + x.Step/2
		if x.Error+x.ErrorShare == 0 {
			e += c.gain * math.Abs(y)
		}
		v += t.by[i] * t.by[i] * (e*e/3 + x.ZeroLimit*x.ZeroLimit/3)
	}
	return n, v
}

// prepareParts works out how the load of every part follows from all cells together.
func (m *Model) prepareParts() error {
	slopes, err := m.partSlopes()
	if err != nil {
		return err
	}
	m.rig.Bear(m.bears, m.force)
	all := m.from(func(int) bool { return true })
	for k, slope := range slopes {
		m.parts = append(m.parts, all.estimate(slope, m.force[k]))
		m.planned = append(m.planned, m.force[k])
	}
	if n := len(m.cells); len(m.hooks) > 1 && n <= mostMasks {
		m.ofHook = make([][]totals, len(m.hooks))
		for i := range m.hooks {
			m.ofHook[i] = make([]totals, 1<<n)
		}
		for mask := 1; mask <= m.full; mask++ {
			some := m.from(func(i int) bool { return mask>>i&1 == 1 })
			for i, k := range m.hooks {
				m.ofHook[i][mask] = some.estimate(slopes[k], m.force[k])
			}
		}
	}
	return nil
}

// partSlopes are those of the parts in the planned pose, by parameter.
func (m *Model) partSlopes() ([][]float64, error) {
	m.rig.Bear(m.bears, m.force)
	at := slices.Clone(m.force)
	slopes := make([][]float64, len(at))
	for k := range slopes {
		slopes[k] = make([]float64, len(m.mean))
	}
	err := m.probe(m.mean, func(p int, h float64) {
		m.rig.Bear(m.bears, m.force)
		for k := range slopes {
			slopes[k][p] = (m.force[k] - at[k]) / h
		}
	})
	return slopes, err
}

// Parts names what Part tells of: every force that some part of the rigging
// bears, legs first.
func (m *Model) Parts() []lift.Demand { return m.bears }

// Part is what part k bears, N, gross, by all cells together, with the 95 %
// half-width of its error; NaN where a cell says nothing. Weight, centre of
// gravity and lengths are left open as for Total.
func (m *Model) Part(k int, read []float64) (n, uN float64) {
	if math.IsNaN(m.PartLoad(k, read)) {
		return math.NaN(), math.NaN()
	}
	return m.part(k, &m.parts[k], read)
}

// PartLoad is Part without its error.
func (m *Model) PartLoad(k int, read []float64) float64 {
	t := &m.parts[k]
	n := t.at
	for i, y := range read {
		n += t.by[i] * y
	}
	return n
}

// Hook is what hook i of the file bears, like Part, but for any cells that
// read: where some say nothing the plan's own sharing stands in for them.
func (m *Model) Hook(i int, read []float64) (n, uN float64) {
	mask := 0
	for c, v := range read {
		if !math.IsNaN(v) {
			mask |= 1 << c
		}
	}
	if mask == 0 || m.ofHook == nil {
		return m.Part(m.hooks[i], read)
	}
	return m.part(m.hooks[i], &m.ofHook[i][mask], read)
}

func (m *Model) part(k int, t *totals, read []float64) (n, uN float64) {
	n, v := m.apply(t, read)
	s := t.spread * math.Abs(n) / math.Max(math.Abs(m.planned[k]), 1)
	return n, z95 * math.Sqrt(v+s*s)
}
