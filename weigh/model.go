package weigh

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"gonum.org/v1/gonum/mat"

	"plumbhook/fault"
	"plumbhook/metrology"
	"plumbhook/quantity"
)

// The unknowns: the force W, and its moments about the origin over the span, all
// in N, so that they are of one size.
const (
	unknownW = iota
	unknownX
	unknownY
	unknownZ
	unknowns
)

type vec = [3]float64

// state is everything measured, at its best value or moved by an input.
type state struct {
	force  [][]float64 // by placement and seat, along the line of the cell, N
	points []vec
	hook   []vec
	tilt   []float64    // by placement, rad
	off    [][2]float64 // out of level about the room's y and x axes: how far +x and +y dip, rad
	lines  []float64    // vertical share of what a line pulls
	sum    []float64    // error of the sum, N
	moment [][2]float64 // error of the moments, N over the span
}

func (s *state) clone() *state {
	c := *s
	c.force = make([][]float64, len(s.force))
	for i := range s.force {
		c.force[i] = slices.Clone(s.force[i])
	}
	c.points, c.hook, c.tilt = slices.Clone(s.points), slices.Clone(s.hook), slices.Clone(s.tilt)
	c.off, c.lines, c.sum, c.moment = slices.Clone(s.off), slices.Clone(s.lines), slices.Clone(s.sum), slices.Clone(s.moment)
	return &c
}

// An input is one independent cause of uncertainty.
type input struct {
	metrology.Component     // U in the input's own unit; C is set per result
	cell, point         int // whom it concerns; -1: nobody in particular
	axis                int // of a point
	move                func(s *state, e float64)
	effect              []float64 // what one standard uncertainty does to y - H β
}

// model is the survey as a problem of least squares.
type model struct {
	s      *Survey
	origin vec
	span   float64 // m
	best   *state
	inputs []input
	axes   [][][2]float64 // by placement the horizontal directions in which moments tell
	// height stands in for a c_z that the placements do not tell, m over origin.
	height  *float64
	missing []string
}

// newModel gathers the readings and what is not known exactly.
func newModel(s *Survey) *model {
	m := &model{s: s, best: &state{}}
	for i := range s.Points {
		m.best.points = append(m.best.points, s.Points[i].At.XYZ())
	}
	used := m.used()
	for _, i := range used {
		for k := range 3 {
			m.origin[k] += m.best.points[i][k] / float64(len(used))
		}
		for _, j := range used {
			a, b := m.best.points[i], m.best.points[j]
			m.span = max(m.span, math.Hypot(a[0]-b[0], a[1]-b[1]))
		}
	}
	if m.span == 0 {
		m.span = 1
	}
	for _, p := range s.Placements {
		mean := make([]float64, len(p.Seats))
		for _, run := range p.Runs {
			for i, f := range run {
				mean[i] += f / float64(len(p.Runs))
			}
		}
		st := m.best
		st.force = append(st.force, mean)
		tilt, hook := 0.0, vec{}
		if p.Tilt != nil {
			tilt = float64(p.Tilt.Angle.Value)
		}
		if p.Hook != nil {
			hook = p.Hook.XYZ()
		}
		lines := 1.0
		if p.Plumb != nil {
			lines, _ = plumbShare(p.Plumb)
		}
		st.tilt, st.hook, st.lines = append(st.tilt, tilt), append(st.hook, hook), append(st.lines, lines)
		st.off, st.sum, st.moment = append(st.off, [2]float64{}), append(st.sum, 0), append(st.moment, [2]float64{})
	}
	for i := range s.Placements {
		m.axes = append(m.axes, m.directions(i))
	}
	m.fromCells()
	m.fromPlaces()
	m.fromRuns()
	return m
}

// used lists the points at which a cell ever stood.
func (m *model) used() (all []int) {
	for _, p := range m.s.Placements {
		for _, seat := range p.Seats {
			if !slices.Contains(all, seat.Point) {
				all = append(all, seat.Point)
			}
		}
	}
	return all
}

// plumbShare is the vertical share of the pull along lines that lean, and its
// standard uncertainty.
func plumbShare(a *quantity.Measured[quantity.Angle]) (mean, u float64) {
	if a.Shape == quantity.Uniform {
		steep, flat := math.Cos(float64(a.Low)), math.Cos(float64(a.High))
		return (steep + flat) / 2, (steep - flat) / 2 / math.Sqrt(3)
	}
	c := component("", *a)
	return math.Cos(float64(a.Value)), math.Sin(float64(a.Value)) * c.U
}

// turn gives the two horizontal rows of R in placement i: its tilt toward the
// low side, then what it is out of level.
func (m *model) turn(s *state, i int) [2]vec {
	t, phi := s.tilt[i], 0.0
	if tilt := m.s.Placements[i].Tilt; tilt != nil {
		phi = tilt.LowSide
	}
	c, sn := math.Cos(phi), math.Sin(phi)
	// Along the low side: e cos t + z sin t; across it nothing changes.
	k := math.Cos(t) - 1
	r := [2]vec{{1 + c*c*k, c * sn * k, c * math.Sin(t)}, {c * sn * k, 1 + sn*sn*k, sn * math.Sin(t)}}
	up := vec{-c * math.Sin(t), -sn * math.Sin(t), math.Cos(t)}
	for j := range 2 {
		for a := range 3 {
			r[j][a] += s.off[i][j] * up[a]
		}
	}
	return r
}

func dot(a, b vec) float64 { return a[0]*b[0] + a[1]*b[1] + a[2]*b[2] }

func (m *model) from(p vec) vec {
	return vec{p[0] - m.origin[0], p[1] - m.origin[1], p[2] - m.origin[2]}
}

// plan gives the places of the seats of placement i on the floor, from the
// origin, m.
func (m *model) plan(s *state, i int) [][2]float64 {
	r := m.turn(s, i)
	var all [][2]float64
	for _, seat := range m.s.Placements[i].Seats {
		p := m.from(s.points[seat.Point])
		all = append(all, [2]float64{dot(r[0], p), dot(r[1], p)})
	}
	return all
}

// directions says along which horizontal axes the supports of a placement
// spread: none for one support, one for supports in a line, else both.
func (m *model) directions(i int) [][2]float64 {
	at := m.plan(m.best, i)
	var mean [2]float64
	for _, p := range at {
		mean[0], mean[1] = mean[0]+p[0]/float64(len(at)), mean[1]+p[1]/float64(len(at))
	}
	var xx, xy, yy float64
	for _, p := range at {
		x, y := p[0]-mean[0], p[1]-mean[1]
		xx, xy, yy = xx+x*x, xy+x*y, yy+y*y
	}
	long := (xx+yy)/2 + math.Hypot((xx-yy)/2, xy)
	short := max(0, (xx*yy-xy*xy)/max(long, math.SmallestNonzeroFloat64))
	const line = 0.02 // supports so much closer to a line than it is long tell nothing across it
	switch {
	case len(at) < 2 || long == 0:
		return nil
	case math.Sqrt(short) < line*math.Sqrt(long):
		sn, c := math.Sincos(math.Atan2(2*xy, xx-yy) / 2)
		return [][2]float64{{c, sn}}
	}
	return [][2]float64{{1, 0}, {0, 1}}
}

// rows gives y and H of all placements: for each the balance of the sum, then
// of the moments.
func (m *model) rows(s *state) (y []float64, h [][unknowns]float64) {
	add := func(v float64, row [unknowns]float64) { y, h = append(y, v), append(h, row) }
	for i := range m.s.Placements {
		p := &m.s.Placements[i]
		r := m.turn(s, i)
		if p.Hook != nil {
			m.hookRows(s, i, r, add)
			continue
		}
		sum, at := s.sum[i], m.plan(s, i)
		moment := s.moment[i]
		for k, f := range s.force[i] {
			f *= s.lines[i]
			sum += f
			moment[0] += f * at[k][0] / m.span
			moment[1] += f * at[k][1] / m.span
		}
		add(sum, [unknowns]float64{1})
		for _, e := range m.axes[i] {
			var row [unknowns]float64
			for a := range 3 {
				row[unknownX+a] = e[0]*r[0][a] + e[1]*r[1][a]
			}
			add(e[0]*moment[0]+e[1]*moment[1], row)
		}
	}
	return y, h
}

// hookRows are those of lines to one hook: the vertical sum, two horizontal
// balances that hold whatever hangs there, and the centre of gravity plumb
// under the hook.
func (m *model) hookRows(s *state, i int, r [2]vec, add func(float64, [unknowns]float64)) {
	var pull vec
	h := s.hook[i]
	for k, seat := range m.s.Placements[i].Seats {
		p := s.points[seat.Point]
		d := vec{h[0] - p[0], h[1] - p[1], h[2] - p[2]}
		f := s.force[i][k] / math.Sqrt(dot(d, d))
		for a := range 3 {
			pull[a] += f * d[a]
		}
	}
	up := vec{r[0][1]*r[1][2] - r[0][2]*r[1][1], r[0][2]*r[1][0] - r[0][0]*r[1][2], r[0][0]*r[1][1] - r[0][1]*r[1][0]}
	add(dot(pull, up)+s.sum[i], [unknowns]float64{1})
	hook := m.from(h)
	for _, e := range m.axes[i] {
		add(e[0]*(dot(pull, r[0])+s.moment[i][0])+e[1]*(dot(pull, r[1])+s.moment[i][1]), [unknowns]float64{})
	}
	for j := range 2 {
		add(0, [unknowns]float64{-dot(r[j], hook) / m.span, r[j][0], r[j][1], r[j][2]})
	}
}

// misfit is y - H β.
func misfit(y []float64, h [][unknowns]float64, beta []float64) []float64 {
	out := slices.Clone(y)
	for i := range out {
		for k := range unknowns {
			out[i] -= h[i][k] * beta[k]
		}
	}
	return out
}

func (m *model) add(c metrology.Component, cell, point, axis int, move func(*state, float64)) {
	if c.U > 0 {
		m.inputs = append(m.inputs, input{Component: c, cell: cell, point: point, axis: axis, move: move})
	}
}

func (m *model) miss(format string, args ...any) {
	text := fmt.Sprintf(format, args...)
	if !slices.Contains(m.missing, text) {
		m.missing = append(m.missing, text)
	}
}

// place is one reading: seat k of placement i.
type place struct{ i, k int }

// own is the share of a component's variance that is new in every placement.
// The step of a readout, its zero and the way a load was come to are new each
// time. A limit of error covers what changes with the load (the bend of the
// curve) and what does not (zero, slope) and does not say how much of each: half
// and half (common practice, no source). All else a cell has wrong it has wrong
// throughout.
var own = map[string]float64{
	"resolution": 1, "zero return": 1, "reversibility": 1,
	"accuracy of full scale": 0.5, "accuracy of reading": 0.5, "certificate": 0.5, "calibration curve and scatter": 0.5,
}

// source is what one input does to the readings, one standard uncertainty of it.
type source struct {
	metrology.Component
	cells []int
	at    []place
	u     []float64
}

// fromCells adds what is known of each cell.
func (m *model) fromCells() {
	var order []string
	sources := map[string]*source{}
	put := func(key string, part metrology.Component, c int, at place) {
		s, known := sources[key]
		if !known {
			s = &source{Component: part}
			s.U = 0
			order, sources[key] = append(order, key), s
		}
		u := part.C * part.U
		s.U, s.DoF = max(s.U, math.Abs(u)), min(s.DoF, part.DoF)
		s.at, s.u = append(s.at, at), append(s.u, u)
		if !slices.Contains(s.cells, c) {
			s.cells = append(s.cells, c)
		}
	}
	for c := range m.s.Cells {
		cell := &m.s.Cells[c]
		for i := range m.s.Placements {
			p := &m.s.Placements[i]
			for k, seat := range p.Seats {
				if seat.Cell != c {
					continue
				}
				budget, missing := cell.budget(m.best.force[i][k], m.s, p)
				for _, text := range missing {
					m.miss("cell %s: %s", cell.Name, text)
				}
				for _, part := range budget {
					if part.Cause != "" {
						put("machine "+part.Cause, part, c, place{i, k})
						continue
					}
					share, whole := own[part.Name], part.U
					if part.Name == "resolution" { // each run rounds anew
						whole /= math.Sqrt(float64(len(p.Runs)))
					}
					name := part.Name
					if part.U = whole * math.Sqrt(share); share > 0 {
						part.Name = fmt.Sprintf("%s, cell %s, %s", name, cell.Name, p.Name)
						put(fmt.Sprint(c, i, name), part, c, place{i, k})
					}
					if part.U = whole * math.Sqrt(1-share); share < 1 {
						part.Name = fmt.Sprintf("%s, cell %s", name, cell.Name)
						put(fmt.Sprint(c, name), part, c, place{i, k})
					}
				}
			}
		}
	}
	for _, key := range order {
		s := sources[key]
		part, cell := s.Component, s.cells[0]
		if s.Cause != "" {
			var all []string
			for _, c := range s.cells {
				all = append(all, m.s.Cells[c].Name)
			}
			cell, part.Name = -1, fmt.Sprintf("%s, %s, in common to %s", part.Name, s.Cause, strings.Join(all, ", "))
		}
		part.C, part.Cause, part.Unit = 1, "", "N"
		m.add(part, cell, -1, 0, func(st *state, e float64) {
			for j, at := range s.at {
				st.force[at.i][at.k] += e * s.u[j] / s.U
			}
		})
	}
}

// budget is the uncertainty of one reading of a cell, and what is not in it.
func (c *Cell) budget(force float64, s *Survey, p *Placement) (metrology.Budget, []string) {
	var b metrology.Budget
	var missing []string
	switch {
	case c.Calibration != nil:
		b, missing = c.Calibration.Budget(force)
	case c.U95 != nil:
		a := c.Accuracy
		a.Machine, a.OfFullScale = "", true
		b, missing = a.Budget(force, c.Conditions)
		b = append(b, metrology.Normal("certificate", *c.U95, metrology.CoverageFactor(0.95, math.Inf(1))).SharedBy(c.Accuracy.Machine))
	default:
		b, missing = c.Accuracy.Budget(force, c.Conditions)
	}
	if z := c.Accuracy.ZeroReturn; z != nil && c.Calibration == nil {
		b = append(b, metrology.Rectangular("zero return", *z*c.Accuracy.Capacity))
	}
	if c.Calibration != nil { // a certificate says nothing of the weather on site
		a := metrology.Accuracy{Capacity: c.Accuracy.Capacity, Resolution: new(float64), ZeroPerK: c.Accuracy.ZeroPerK, SpanPerK: c.Accuracy.SpanPerK, Creep: c.Accuracy.Creep}
		more, unstated := a.Budget(force, c.Conditions)
		b, missing = append(b, more...), append(missing, unstated...)
	}
	if d := c.Calibration; d != nil && (force < d.Curve.Low || force > d.Curve.High) {
		missing = append(missing, fmt.Sprintf("its reading of %.4g kN in %s, outside the calibrated %.4g to %.4g kN", force/1000, p.Name, d.Curve.Low/1000, d.Curve.High/1000))
	}
	if k := c.Care; k.DriftPerYear != nil && !k.Calibrated.IsZero() && s.Date.After(k.Calibrated) {
		b = append(b, metrology.SinceCalibration(force, *k.DriftPerYear, s.Date.Sub(k.Calibrated)))
	}
	switch {
	case p.Plumb == nil: // under one hook a cell lies along its own line
	case c.SidePull == nil:
		missing = append(missing, "what side pull does to it")
	default:
		b = append(b, metrology.Rectangular("side pull", *c.SidePull*float64(p.Plumb.High)*math.Abs(force)))
	}
	return slices.DeleteFunc(b, func(c metrology.Component) bool { return c.U == 0 }), missing
}

// fromPlaces adds where the points are, how the object stood and how lines
// ran.
func (m *model) fromPlaces() {
	names := [3]string{"x", "y", "z"}
	for _, i := range m.used() {
		p := &m.s.Points[i]
		if p.At.X.Shape == quantity.Exact && p.At.Y.Shape == quantity.Exact {
			m.miss("point %s: how well its place is known", p.Name)
		}
		for a, l := range []quantity.Measured[quantity.Length]{p.At.X, p.At.Y, p.At.Z} {
			m.add(component(fmt.Sprintf("place of %s, %s", p.Name, names[a]), l).In("m"), -1, i, a, func(s *state, e float64) { s.points[i][a] += e })
		}
	}
	for i := range m.s.Placements {
		p := &m.s.Placements[i]
		switch {
		case len(p.Seats) == 1 && p.Hook == nil: // one plumb line tells of no place
		case p.Level == nil:
			m.miss("placement %s: how level it stood", p.Name)
		default:
			for j, side := range []string{"along x", "along y"} {
				if p.Tilt != nil && math.Abs([2]float64{math.Cos(p.Tilt.LowSide), math.Sin(p.Tilt.LowSide)}[j]) > 0.99 {
					continue // that is what the uncertainty of the tilt says
				}
				c := metrology.Normal(fmt.Sprintf("out of level %s, %s", side, p.Name), *p.Level, 1).In("rad")
				m.add(c, -1, -1, 0, func(s *state, e float64) { s.off[i][j] += e })
			}
		}
		if p.Tilt != nil {
			if p.Tilt.Angle.Shape == quantity.Exact {
				m.miss("placement %s: how well its tilt is known", p.Name)
			}
			m.add(component("tilt, "+p.Name, p.Tilt.Angle).In("rad"), -1, -1, 0, func(s *state, e float64) { s.tilt[i] += e })
		}
		if p.Plumb != nil {
			_, u := plumbShare(p.Plumb)
			c := metrology.Rectangular("lines out of plumb, "+p.Name, u*math.Sqrt(3))
			m.add(c, -1, -1, 0, func(s *state, e float64) { s.lines[i] += e })
		}
		if p.Hook != nil {
			for a, l := range []quantity.Measured[quantity.Length]{p.Hook.X, p.Hook.Y, p.Hook.Z} {
				m.add(component(fmt.Sprintf("place of the hook, %s, %s", names[a], p.Name), l).In("m"), -1, -1, 0, func(s *state, e float64) { s.hook[i][a] += e })
			}
		}
	}
}

// fromRuns adds how runs of one placement scatter, pooled over the placements:
// of the sum, and of the moments about the middle of the load. The split between
// the cells is left out: it changes with the floor and carries no weight.
func (m *model) fromRuns() {
	dof := 0
	var ss [3]float64
	for i := range m.s.Placements {
		p := &m.s.Placements[i]
		n := len(p.Runs)
		if n < 2 {
			continue
		}
		totals := m.totals(i)
		var mean [3]float64
		for _, t := range totals {
			for a := range 3 {
				mean[a] += t[a] / float64(n)
			}
		}
		for _, t := range totals {
			for a := range 3 {
				ss[a] += (t[a] - mean[a]) * (t[a] - mean[a])
			}
		}
		dof += n - 1
	}
	if dof == 0 {
		m.miss("how runs repeat: no placement was weighed twice")
		return
	}
	for i := range m.s.Placements {
		p := &m.s.Placements[i]
		sd := func(a int) metrology.Component {
			return metrology.TypeA(fmt.Sprintf("repeat of the %s, %s", []string{"sum", "moment along x", "moment along y"}[a], p.Name), math.Sqrt(ss[a]/float64(dof)), len(p.Runs), dof).In([]string{"N", "N m", "N m"}[a])
		}
		m.add(sd(0), -1, -1, 0, func(s *state, e float64) { s.sum[i] += e })
		for a := range 2 {
			// In N m as it is shown; over the span as it is used.
			m.add(sd(1+a), -1, -1, 0, func(s *state, e float64) { s.moment[i][a] += e / m.span })
		}
	}
}

// totals gives sum, N, and moments about the mean centre of the placement, N m,
// run by run.
func (m *model) totals(i int) [][3]float64 {
	p := &m.s.Placements[i]
	at := m.plan(m.best, i)
	if p.Hook != nil {
		for k := range at {
			at[k] = [2]float64{}
		}
	}
	var centre [2]float64
	total := 0.0
	for k, f := range m.best.force[i] {
		total += f
		centre[0], centre[1] = centre[0]+f*at[k][0], centre[1]+f*at[k][1]
	}
	var out [][3]float64
	for _, run := range p.Runs {
		var t [3]float64
		for k, f := range run {
			f *= m.best.lines[i]
			t[0] += f
			t[1] += f * (at[k][0] - centre[0]/total)
			t[2] += f * (at[k][1] - centre[1]/total)
		}
		out = append(out, t)
	}
	return out
}

// A solution is the least squares, and the linear map that makes it.
type solution struct {
	beta  []float64
	gain  *mat.Dense     // unknowns by rows: β = G y
	known [unknowns]bool // whether the placements tell it
	rank  int
	y     []float64
	h     [][unknowns]float64
	inv   *mat.Dense // inverse of the covariance that weighed it
}

// fit solves y = H β weighed by the inverse of v. What the rows do not tell is
// left out, by the singular values of H, which have nothing to do with how well
// anything is measured; the rest is solved by QR.
func (m *model) fit(y []float64, h [][unknowns]float64, v *mat.SymDense) (*solution, error) {
	n := len(y)
	full := mat.NewDense(n, unknowns, nil)
	for i := range h {
		full.SetRow(i, h[i][:])
	}
	var svd mat.SVD
	var eig mat.EigenSym
	if !svd.Factorize(full, mat.SVDFull) || !eig.Factorize(v, true) {
		return nil, fault.New(fault.Undecided, "the placements cannot be solved").Fix("look at the points: do several cells stand in one place?")
	}
	values := svd.Values(nil)
	var right, vectors mat.Dense
	svd.VTo(&right)
	eig.VectorsTo(&vectors)
	sol := &solution{beta: make([]float64, unknowns), y: y, h: h, inv: mat.NewDense(n, n, nil)}
	for _, s := range values {
		if s > 1e-6*values[0] {
			sol.rank++
		}
	}
	for k := range unknowns {
		hidden := 0.0
		for j := sol.rank; j < unknowns; j++ {
			hidden = math.Hypot(hidden, right.At(k, j))
		}
		sol.known[k] = hidden < 1e-6
	}
	white := mat.NewDense(n, n, nil) // v to the power -1/2
	for i := range n {
		for j := range n {
			for k, lambda := range eig.Values(nil) {
				uu := vectors.At(i, k) * vectors.At(j, k)
				white.Set(i, j, white.At(i, j)+uu/math.Sqrt(lambda))
				sol.inv.Set(i, j, sol.inv.At(i, j)+uu/lambda)
			}
		}
	}
	basis := right.Slice(0, unknowns, 0, sol.rank)
	var a, inner mat.Dense
	a.Mul(full, basis)
	a.Mul(white, &a)
	var qr mat.QR
	qr.Factorize(&a)
	if err := qr.SolveTo(&inner, false, white); err != nil {
		return nil, fault.New(fault.Undecided, "the placements cannot be solved").Because(err).Fix("look at the points and tilts")
	}
	sol.gain = new(mat.Dense)
	sol.gain.Mul(basis, &inner)
	for k := range unknowns {
		for i := range n {
			sol.beta[k] += sol.gain.At(k, i) * y[i]
		}
	}
	return sol, nil
}

// effects gives to each input the small vector by which it moves y - H β.
func (m *model) effects(at *state, beta []float64) {
	for k := range m.inputs {
		in := &m.inputs[k]
		var side [2][]float64
		for j, e := range []float64{in.U, -in.U} {
			s := at.clone()
			in.move(s, e)
			y, h := m.rows(s)
			side[j] = misfit(y, h, beta)
		}
		in.effect = side[0]
		for i := range in.effect {
			in.effect[i] = (in.effect[i] - side[1][i]) / 2
		}
	}
}

// solve weighs the rows by their covariance, which depends on what is sought,
// and so more than once.
func (m *model) solve() (*solution, error) {
	y, h := m.rows(m.best)
	same := mat.NewSymDense(len(y), nil)
	for i := range y {
		same.SetSym(i, i, 1)
	}
	sol, err := m.fit(y, h, same)
	for range 2 {
		if err != nil {
			return nil, err
		}
		beta := slices.Clone(sol.beta)
		if m.height != nil && !sol.known[unknownZ] {
			beta[unknownZ] = beta[unknownW] * *m.height / m.span
		}
		sol, err = m.weighed(m.best, beta)
	}
	return sol, err
}

// weighed solves the rows of a state, weighed as they would be if β were right.
func (m *model) weighed(at *state, beta []float64) (*solution, error) {
	m.effects(at, beta)
	y, h := m.rows(at)
	v := mat.NewSymDense(len(y), nil)
	for k := range m.inputs {
		e := m.inputs[k].effect
		for i := range e {
			for j := i; j < len(e); j++ {
				v.SetSym(i, j, v.At(i, j)+e[i]*e[j])
			}
		}
	}
	// Rows that nothing is uncertain about get a spread far below any cell's step.
	floor := 1e-9 * beta[unknownW]
	for i := range y {
		v.SetSym(i, i, v.At(i, i)+floor*floor)
	}
	return m.fit(y, h, v)
}
