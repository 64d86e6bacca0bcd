package infer

import (
	"cmp"
	"math"
	"slices"
)

// Parts of what a reading may be off by besides its cell's stated accuracy
// (common practice, no source).
const (
	// stirs: of a load that is never quite still, in a hold; a share of the
	// reading, from window to window.
	stirs = 3e-4
	// bounces: what is left in the mean of a window of a bounce that slow cells
	// fold into something slower, by how much it moved within.
	bounces = 2.5
	// misfit: what the model of a real lift leaves out, a share of the planned
	// reading, the same in all holds. It counts when explanations are compared
	// and not when the load is weighed.
	misfit = 2e-3
	// wanders: of a zero over a whole lift, a share of the accuracy.
	wanders = 0.2
	// least time, s, that a zero takes to wander so far.
	wanderS = 60
	// rests: by how much of the rigging's weight a cell in it may differ from
	// its fellows when the legs lie slack, as a share.
	rests = 0.2
	// liesBy: how far from half of their weight the legs may lie on the load, all
	// alike, as a share of it.
	liesBy = 0.4
	// The load is weighed with twice as much of both: nobody knows how legs lie
	// well enough to take a zero from it.
	doubt = 2
	// leans: the slope of the ground, rad, each way.
	leans = 0.013
	// stands: what a load that stands does to a cell that the model of the
	// ground does not know, shares of the cell's part of the load and of its
	// reading.
	stands, standsBy = 0.004, 0.012
	// lifts: the same where a leg bears so much that it lifts its end of the
	// load, which leans then as no ground does: of the cells' parts of the load,
	// by the fourth power of how much of its part that leg bears.
	lifts = 0.05
)

// Shares of the load within which the legs bear so much, and the ground still
// so much, that their sharing is that of a load that stands; and how many such
// windows are looked at before the lift and after.
const (
	leastTight, mostTight, mostLanded = 0.06, 0.6, 0.95
	tightWindows, landedWindows       = 3, 2

	// tells is how much of the load the legs bear where an edge under it shows
	// most, share: the ground pushes at the edge, and the load has not come
	// down flat.
	tells = 0.7
)

// fit is the readings of the windows that count, in rows: one cell in one
// window.
type fit struct {
	m      *Model
	rows   []row
	y      []float64
	noise  []float64 // standard deviations
	stage  []Stage   // of windows
	time   []float64 // of windows, 0 at the first to 1 at the last or later
	idles  []int     // windows without load
	stood  []int     // windows with the load on the ground
	net    []float64 // of each window, N, the load's share on the legs
	feet   map[*point][]*footing
	lifted []float64 // of each window, how much of its part the leg bears that bears most of it, to the fourth power
	shake  []float64 // of each window, what moved all cells alike, share of the reading
	// The holds are not proved free.
	unproved bool
}

type row struct{ window, cell, at int }

// newFit takes the windows in which something can be told: with nothing on the
// legs, holds, and with the load on the ground where ground is set. leave says
// of a cell in a window that it does not count.
func (m *Model) newFit(windows []Window, onGround bool, leave func(window, cell int) bool) *fit {
	x := &fit{m: m, feet: map[*point][]*footing{}, net: make([]float64, len(windows))}
	if onGround && m.ground != nil {
		x.stood = m.onGround(windows, x.net)
	}
	first, last := math.Inf(1), math.Inf(-1)
	for i := range windows {
		w := &windows[i]
		x.stage = append(x.stage, w.Stage)
		t := (w.FromS + w.ToS) / 2
		x.time = append(x.time, t)
		x.shake = append(x.shake, w.shake())
		x.lifted = append(x.lifted, 0)
		if w.Stage == Tight {
			x.lifted[i] = m.lifted(w)
		}
		first, last = min(first, t), max(last, t)
		switch standing := w.Stage == Tight || w.Stage == Landed; {
		case standing && !slices.Contains(x.stood, i):
			continue
		case !standing && w.Stage != Hold:
			x.idles = append(x.idles, i)
		}
		for k := range m.cells {
			v := w.ReadN[k]
			if math.IsNaN(v) || leave != nil && leave(i, k) {
				continue
			}
			c := &m.cells[k]
			x.rows = append(x.rows, row{i, k, len(x.y)})
			x.y = append(x.y, v)
			n := c.Cell.Step * c.Cell.Step / 12
			if k < len(w.NoiseN) && !math.IsNaN(w.NoiseN[k]) {
				n += w.NoiseN[k] * w.NoiseN[k]
			}
			if w.Stage == Hold {
				n += stirs * v * stirs * v
			}
			n += math.Pow(0.02*c.fixed, 2)
			x.noise = append(x.noise, math.Sqrt(n))
		}
	}
	span := max(last-first, wanderS)
	for i := range x.time {
		x.time[i] = (x.time[i] - first) / span
	}
	return x
}

// shake is how much of what moved within a window moved all cells alike, as a
// bounce does: the standard uncertainty of its mean as a share of the reading.
func (w *Window) shake() float64 {
	noise, read := 0.0, 0.0
	for i, v := range w.ReadN {
		if i < len(w.NoiseN) && !math.IsNaN(v+w.NoiseN[i]) {
			noise, read = noise+w.NoiseN[i], read+math.Abs(v)
		}
	}
	if read == 0 {
		return 0
	}
	return noise / read
}

// lifted is the fourth power of the greatest share of what it bears by the plan
// that a cell reads in a window.
func (m *Model) lifted(w *Window) float64 {
	most := 0.0
	for i, v := range w.ReadN {
		c := &m.cells[i]
		if part := c.NominalN - c.slack; !math.IsNaN(v) && part > 0.02*m.weightN {
			most = max(most, (v-c.slack)/part)
		}
	}
	return math.Pow(min(most, 1), 4)
}

// onGround picks the windows whose sharing is that of a load that stands, and
// notes what the legs bear of it in each.
func (m *Model) onGround(windows []Window, net []float64) []int {
	var out []int
	for _, of := range []struct {
		stage Stage
		most  float64
		n     int
	}{{Tight, mostTight, tightWindows}, {Landed, mostLanded, landedWindows}} {
		var found []int
		for i := range windows {
			w := &windows[i]
			if w.Stage != of.stage {
				continue
			}
			n, _ := m.Total(w.ReadN)
			net[i] = n - m.emptyN
			if share := net[i] / m.weightN; share > leastTight && share < of.most {
				found = append(found, i)
			}
		}
		slices.SortStableFunc(found, func(a, b int) int {
			if of.stage == Landed {
				return cmp.Compare(math.Abs(net[a]-tells*m.weightN), math.Abs(net[b]-tells*m.weightN))
			}
			return cmp.Compare(windows[b].ToS-windows[b].FromS, windows[a].ToS-windows[a].FromS)
		})
		out = append(out, found[:min(of.n, len(found))]...)
	}
	slices.Sort(out)
	return out
}

// without is the fit without a window.
func (x *fit) without(window int) *fit {
	y := *x
	y.rows, y.y, y.noise, y.feet = nil, nil, nil, map[*point][]*footing{}
	y.stood = slices.DeleteFunc(slices.Clone(x.stood), func(w int) bool { return w == window })
	for _, r := range x.rows {
		if r.window != window {
			y.rows = append(y.rows, row{r.window, r.cell, len(y.y)})
			y.y, y.noise = append(y.y, x.y[r.at]), append(y.noise, x.noise[r.at])
		}
	}
	return &y
}

// footings are those of the windows on the ground, about a point; nil where
// there is none.
func (x *fit) footings(p *point) []*footing {
	f, ok := x.feet[p]
	if !ok {
		f = make([]*footing, len(x.stage))
		for _, w := range x.stood {
			f[w] = x.m.foot(p.theta, x.net[w])
		}
		x.feet[p] = f
	}
	return f
}

// mean is the mean reading of the holds, as an explanation has it.
func (x *fit) mean(h *explanation) []float64 {
	y, _ := h.undo(x)
	sum, n := make([]float64, len(x.m.cells)), make([]float64, len(x.m.cells))
	for _, r := range x.rows {
		if x.stage[r.window] == Hold {
			sum[r.cell] += y[r.at]
			n[r.cell]++
		}
	}
	for i := range sum {
		sum[i] /= n[i] // NaN where it said nothing
	}
	return sum
}

// holds tells whether the load hung in any window.
func (x *fit) holds() bool {
	return slices.ContainsFunc(x.rows, func(r row) bool { return x.stage[r.window] == Hold })
}

// system is a fit linear about a point: y ~ N(mean, L Lᵀ), with the columns
// that the parameters, in units of their prior, move it along.
type system struct {
	x    *fit
	p    *point
	f    loose
	mean []float64
	c    [][]float64 // by row: parameters, then gain, zero (and misfit) of each cell
	q    int         // how many are parameters
	feet []*footing
	r    []float64 // variance of what is left to each row alone
	l    lower
}

// system sets a fit up about a point. With weigh it is for the load's weight
// alone.
func (x *fit) system(p *point, f loose, weigh bool) *system {
	m := x.m
	n, k := len(x.y), len(m.cells)
	lies := 1.0
	if weigh {
		lies = doubt
	}
	s := &system{x: x, p: p, f: f, mean: make([]float64, n), c: make([][]float64, n), r: make([]float64, n)}
	slope := make([][]float64, k)
	for i := range slope {
		slope[i] = m.whitened(p.slope[i], f)
	}
	s.q = len(slope[0])
	s.feet = x.footings(p)
	ground := s.q + 3*k + len(x.idles)
	shake := ground + 5 + len(x.stood)
	wide := shake + len(x.stage)
	for _, r := range x.rows {
		c := make([]float64, wide)
		e := &m.cells[r.cell]
		stage, f := x.stage[r.window], s.feet[r.window]
		switch {
		case stage == Hold:
			v := p.read[r.cell]
			for j, d := range p.slope[r.cell] {
				if d != 0 {
					v += d * (m.mean[j] - p.theta[j])
				}
			}
			s.mean[r.at] = v
			copy(c, slope[r.cell])
			c[s.q+r.cell] = e.gain / root3 * p.read[r.cell]
			c[shake+r.window] = x.shake[r.window] * p.read[r.cell]
			if !weigh {
				c[shake+r.window] = math.Hypot(bounces*x.shake[r.window], stirs) * p.read[r.cell]
				c[s.q+2*k+r.cell] = misfit * math.Max(math.Abs(e.NominalN), 0.05*m.weightN/float64(k))
			}
		case stage == Idle || stage == Ended:
			s.mean[r.at] = (e.hung + e.slack) / 2
			c[s.q+3*k+slices.Index(x.idles, r.window)] = lies * liesBy * (e.hung - e.slack)
		case f == nil:
			s.mean[r.at] = x.y[r.at]
		default:
			v := f.read[r.cell]
			for j, d := range f.slope[r.cell] {
				if d != 0 {
					v += d * (m.mean[j] - p.theta[j])
				}
			}
			s.mean[r.at] = v
			copy(c, m.whitened(f.slope[r.cell], loose{}))
			c[s.q+r.cell] = e.gain / root3 * f.read[r.cell]
			at := ground
			if stage == Landed {
				at += 2
			}
			c[at], c[at+1] = leans*f.lean[0][r.cell], leans*f.lean[1][r.cell]
			c[ground+4] = f.plumb[r.cell]
			c[ground+5+slices.Index(x.stood, r.window)] = m.weightN * f.rise[r.cell] / f.total(m) // how much, no explanation says
		}
		c[s.q+k+r.cell] = e.zero
		s.c[r.at] = c
	}
	sigma := make([]float64, n*n)
	for _, a := range x.rows {
		for _, b := range x.rows[:a.at+1] {
			v := dot(s.c[a.at], s.c[b.at])
			if a.cell == b.cell {
				w := wanders * m.cells[a.cell].fixed / root3
				v += w * w * min(x.time[a.window], x.time[b.window])
			}
			sigma[a.at*n+b.at] = v
		}
		d := x.noise[a.at] * x.noise[a.at]
		switch e := &m.cells[a.cell]; x.stage[a.window] {
		case Idle, Ended:
			d += math.Pow(lies*rests*(e.hung-e.slack), 2)
		case Tight, Landed:
			d += (math.Pow(stands, 2) + math.Pow(lifts*x.lifted[a.window], 2)) * math.Pow(m.weightN/float64(k), 2)
			d += math.Pow(standsBy*x.y[a.at], 2)
			if s.feet[a.window] == nil {
				d += m.weightN * m.weightN
			}
		}
		s.r[a.at] = d
		sigma[a.at*n+a.at] += d
	}
	s.l = factor(sigma, n)
	return s
}

// scaled is what a parameter is in those of the system: θ_k less its mean is
// the product with what they come out as.
func (s *system) scaled(k int) []float64 {
	m := s.x.m
	g := make([]float64, s.q)
	if k <= atZ {
		for j := range k + 1 {
			g[j] = m.root[4*k+j]
		}
	} else {
		g[k] = m.scale[k]
	}
	n := len(m.mean)
	if k == atMass {
		g[n] = s.f.mass
	}
	if k >= atX && k <= atZ {
		for i := range s.f.centre {
			g[n+1+i] = s.f.centre[i] * m.wide[i][k-atX]
		}
	}
	return g
}

// theta are the parameters that go with values of those of the system.
func (s *system) theta(xi []float64) []float64 {
	m := s.x.m
	out := slices.Clone(m.mean)
	for k := range out {
		if k <= atZ {
			out[k] += dot(s.scaled(k), xi[:s.q])
		} else {
			out[k] += m.scale[k] * xi[k]
		}
	}
	return out
}

// solved is what a system makes of the readings under an explanation.
type solved struct {
	logZ  float64
	misfN float64 // what is left, in standard deviations squared, at the best values
	beta  []float64
	sd    []float64 // of beta
	theta []float64
	worst int     // window on the ground that it fits worst, -1 without
	off   float64 // how badly, standard deviations of what is left to a row
}

// solve finds the evidence of an explanation and its best values.
func (s *system) solve(h *explanation) solved {
	x := s.x
	n := len(x.y)
	y, jac := h.undo(x)
	u := make([]float64, n)
	for i := range u {
		u[i] = y[i] - s.mean[i]
	}
	s.l.forward(u)
	out := solved{logZ: -0.5*(dot(u, u)+s.l.logDet()+float64(n)*math.Log(2*math.Pi)) + jac, misfN: dot(u, u)}
	cols := h.columns(s)
	k := len(cols)
	for _, c := range cols {
		s.l.forward(c)
	}
	if k > 0 {
		a := make([]float64, k*k)
		t := make([]float64, k)
		for i := range cols {
			t[i] = dot(cols[i], u)
			for j := range i + 1 {
				a[i*k+j] = dot(cols[i], cols[j])
			}
			a[i*k+i]++
		}
		l := factor(a, k)
		b := l.forward(slices.Clone(t))
		gain := dot(b, b)
		out.logZ += 0.5*gain - 0.5*l.logDet()
		out.misfN -= gain
		out.beta = l.backward(b)
		for i := range k {
			e := make([]float64, k)
			e[i] = 1
			l.forward(e)
			out.sd = append(out.sd, math.Sqrt(dot(e, e)))
			for j := range u {
				u[j] -= out.beta[i] * cols[i][j]
			}
		}
		if h.side != 0 {
			// Only one sign of it is that explanation.
			out.logZ += math.Log(max(2*phi(h.side*out.beta[0]/out.sd[0]), 1e-12))
		}
	}
	s.l.backward(u)
	out.worst = -1
	for _, r := range x.rows {
		if z := math.Abs(u[r.at]) * math.Sqrt(s.r[r.at]); s.feet[r.window] != nil && z > out.off {
			out.worst, out.off = r.window, z
		}
	}
	xi := make([]float64, s.q)
	for i := range u {
		for j := range xi {
			xi[j] += s.c[i][j] * u[i]
		}
	}
	out.theta = s.theta(xi)
	h.widen(s, out.beta, out.theta)
	return out
}

// weighed is a load weighed.
type weighed struct {
	theta       []float64
	weight, u95 float64
	sdMass      float64
	cov         [3]float64 // variances of the centre
}

// weighed finds the weight under an explanation, linear about a point first,
// and hung again until that holds.
func (m *Model) weighed(x *fit, p *point, h *explanation, f loose) weighed {
	var out weighed
	for range 6 {
		s := x.system(p, f, true)
		v := s.solve(h.withoutLoad())
		out = s.weight(v, h)
		next, ok := m.again(p, v.theta)
		if ok || next == nil {
			break
		}
		p = next
	}
	return out
}

// again hangs the rig with parameters and says whether what it reads there is
// what the point foretold; if not it gives the point there.
func (m *Model) again(p *point, theta []float64) (*point, bool) {
	var q point
	if m.hang(theta, &q) != nil {
		return nil, false
	}
	off := 0.0
	for i := range q.read {
		v := p.read[i]
		for k, d := range p.slope[i] {
			v += d * (theta[k] - p.theta[k])
		}
		off = max(off, math.Abs(v-q.read[i])/(0.1*m.cells[i].fixed+1e-4*math.Abs(q.read[i])))
	}
	if off < 1 {
		return nil, true
	}
	next, err := m.linear(theta)
	if err != nil {
		return nil, false
	}
	return next, false
}

// weight gives the load's weight, with the band of it that holds the cells'
// errors as the hard limits they are.
func (s *system) weight(v solved, h *explanation) weighed {
	x := s.x
	m := x.m
	n := len(x.y)
	out := weighed{theta: v.theta}
	wide := len(s.c[0])
	row := make([]float64, wide)
	g := m.g
	for j, r := range s.scaled(atMass) {
		row[j] += g * r
	}
	if k := slices.Index(m.name, "site.g"); k >= 0 {
		g = v.theta[k]
		for j, r := range s.scaled(k) {
			row[j] += v.theta[atMass] * r
		}
	}
	out.weight = v.theta[atMass] * g
	// What an explanation adds counts as one more source of error.
	cols := h.withoutLoad().columns(s)
	for _, c := range cols {
		for i := range c {
			s.c[i] = append(s.c[i], c[i])
		}
		row = append(row, 0)
	}
	sigma := s.l
	if len(cols) > 0 {
		a := make([]float64, n*n)
		for i := range n {
			for j := range i + 1 {
				for k := range j + 1 {
					a[i*n+j] += s.l.a[i*n+k] * s.l.a[j*n+k]
				}
				for _, c := range cols {
					a[i*n+j] += c[i] * c[j]
				}
			}
		}
		sigma = factor(a, n)
	}
	spread := func(row []float64) (k []float64, v float64) {
		k = make([]float64, n)
		for i := range k {
			k[i] = dot(s.c[i], row)
		}
		v = dot(row, row)
		sigma.forward(k)
		v -= dot(k, k)
		sigma.backward(k)
		return k, max(v, 0)
	}
	by, v2 := spread(row)
	var limits []float64
	for c := range m.cells {
		a := 0.0
		for i := range by {
			a += by[i] * s.c[i][s.q+c]
		}
		a = math.Abs(a) * root3
		if a*a/3 > 1e-4*v2 {
			limits = append(limits, a)
			v2 -= a * a / 3
		}
	}
	out.u95 = halfWidth(math.Sqrt(max(v2, 0)), limits)
	out.sdMass = out.u95 / z95 / g
	for k := range 3 {
		r := make([]float64, len(s.c[0]))
		copy(r, s.scaled(atX+k))
		_, out.cov[k] = spread(r)
	}
	return out
}

// halfWidth is what the sum of a normal error and of uniform ones between hard
// limits stays within in 95 of 100 cases: its density is put together on a
// grid, one limit after the other.
func halfWidth(sd float64, limits []float64) float64 {
	most, v := 4.5*sd, sd*sd
	for _, a := range limits {
		most += a
		v += a * a / 3
	}
	if len(limits) == 0 || most == 0 {
		return z95 * sd
	}
	const cells = 400
	h := min(most, 5*math.Sqrt(v)) / cells
	n := 2*cells + 1
	// cdf of the normal part, then moving averages of the cdf.
	f := make([]float64, n)
	at := func(i int) float64 { return float64(i-cells) * h }
	for i := range f {
		f[i] = phi(at(i) / max(sd, h/4))
	}
	sum := make([]float64, n+1)
	g := make([]float64, n)
	for _, a := range limits {
		for i := range f {
			sum[i+1] = sum[i] + f[i]
		}
		// The integral of f from the left end to a place on the grid.
		integral := func(x float64) float64 {
			p := x/h + cells + 0.5
			switch {
			case p <= 0:
				return 0
			case p >= float64(n):
				return (sum[n] + p - float64(n)) * h
			}
			i := int(p)
			return (sum[i] + (p-float64(i))*f[i]) * h
		}
		if a < h/4 {
			continue
		}
		for i := range g {
			g[i] = (integral(at(i)+a) - integral(at(i)-a)) / (2 * a)
		}
		f, g = g, f
	}
	for i := cells; i < n; i++ {
		if f[i] >= 0.975 {
			if i == cells {
				return 0
			}
			return at(i-1) + h*(0.975-f[i-1])/(f[i]-f[i-1])
		}
	}
	return most
}
