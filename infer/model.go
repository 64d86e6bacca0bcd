package infer

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"plumbhook/fault"
	"plumbhook/lift"
	"plumbhook/quantity"
	"plumbhook/takeoff"
	"plumbhook/verdict"
)

// What stands in for a spread that the plan does not state (common practice,
// no source): of a length, a stiffness and a mass as shares, of the load's
// centre of gravity as a share of how far its lugs are apart. 95 % half-widths.
const (
	usualLength    = 0.0003
	usualStiffness = 0.05
	usualMass      = 0.005
	usualCG        = 0.002
)

// zeroShare is how far a zero may be off that was taken with care, as a share of
// the cell's accuracy (common practice, no source).
const zeroShare = 0.2

// z95 is the standard normal's two-sided 95 % point.
const z95 = 1.959963984540054

// root3 turns the half-width of a uniform figure into its standard deviation.
const root3 = 1.7320508075688772

// The load's own parameters come first.
const (
	atMass = iota
	atX
	atY
	atZ
)

// Model is a plan made ready to be read backwards. It is not safe for
// concurrent use: its rig hangs in one pose at a time.
type Model struct {
	// Show writes a force for the crew, in the one unit of the lift.
	Show func(n float64) string

	plan  *verdict.Plan
	cells []cell
	rig   *lift.Rig
	bears []lift.Demand
	force []float64 // room for them
	hooks []int     // which of them are hooks
	down  []float64 // share of each hook's force that is straight down

	order []int     // of the parameters among the rig's inputs
	name  []string  // of the parameters
	mean  []float64 // of the prior
	scale []float64 // prior standard deviations
	above []bool    // masses, lengths, stiffness: they stay positive
	root  []float64 // 4 by 4, lower: of the covariance of mass and centre
	sets  []float64 // room for the rig's inputs

	ground *ground // nil: cannot be told
	legs   []legOf
	home   *point // as planned
	g      float64
	span   float64       // how far the lugs are apart, m
	wide   [2][3]float64 // directions in load axes that the load's centre can be off in, level as it hangs
	seen   [2]bool       // whether the cells feel it

	weightN float64 // planned, load alone
	emptyN  float64 // at the hooks, without the load
	totals  []totals
	full    int
	parts   []totals   // of each of bears, by all cells
	planned []float64  // N, what each of bears bears in the plan
	ofHook  [][]totals // of each hook of several, by the cells that read
}

// cell is a load cell as the plan has it.
type cell struct {
	*verdict.Expected
	leg         int
	gain        float64   // limit of its error as a share of the reading
	fixed       float64   // limit of its error, N, at the planned reading
	zero        float64   // standard deviation of a zero that was not quite one, N
	hung, slack float64   // what it reads with the rigging hung, and attached and slack
	slope       []float64 // of what it was zeroed with, by parameter
	capacity    float64
}

// legOf is a leg that reaches the load.
type legOf struct {
	index  int // in the file
	name   string
	length int // parameter; -1: none
	cell   int // -1: none
}

// New makes a plan ready, as first rigged. It fails when the plan has no cell
// to read, or cannot be hung.
func New(p *verdict.Plan) (*Model, error) {
	s := &p.States[0]
	if len(s.Expected) == 0 {
		return nil, fault.New(fault.Missing, "the plan has no load cell with a channel, so nothing can be told from readings").
			Fix("give a leg a cell: {channel: ..., capacity: ..., accuracy: ...}")
	}
	m := &Model{plan: p, g: float64(p.Lift.Site.G.Value), weightN: s.Hung.WeightN, Show: func(n float64) string { return fmt.Sprintf("%.1f kN", n/1000) }}
	if err := m.loosen(); err != nil {
		return nil, err
	}
	m.takeCells()
	if err := m.zeros(); err != nil {
		return nil, err
	}
	var err error
	if m.home, err = m.linear(m.mean); err != nil {
		return nil, err
	}
	m.emptyN = m.home.total - m.weightN
	m.directions()
	m.prepareTotals()
	if err := m.prepareParts(); err != nil {
		return nil, err
	}
	m.ground = m.stand()
	return m, nil
}

// Channels names the cells in the order in which windows have their readings.
func (m *Model) Channels() []string {
	out := make([]string, len(m.cells))
	for i := range m.cells {
		out[i] = m.cells[i].Channel
	}
	return out
}

// normal gives a figure a spread of its own where it states none.
func normal[Q quantity.Quantity](q quantity.Measured[Q], half float64) quantity.Measured[Q] {
	if q.Shape == quantity.Exact && half > 0 {
		q.Low, q.High, q.Shape = q.Value-Q(half), q.Value+Q(half), quantity.Normal
	}
	return q
}

// loosen makes a rig in which all that an explanation may change is an input:
// the load as one mass with one centre, and every length and stiffness.
func (m *Model) loosen() error {
	l := *m.plan.Lift
	mean, cov, err := m.sum(&l)
	if err != nil {
		return err
	}
	m.span = reach(l.Load.Lugs)
	sd := func(k int) float64 { return math.Sqrt(cov[4*k+k]) }
	cov[0] = max(cov[0], math.Pow(usualMass*mean[0]/z95, 2))
	for k := 1; k < 4; k++ {
		if sd(k) == 0 {
			cov[4*k+k] = math.Pow(usualCG*m.span/z95, 2)
		}
	}
	at := func(k int) quantity.Measured[quantity.Length] {
		return normal(quantity.Known(quantity.Length(mean[k])), z95*sd(k))
	}
	l.Load.Sheet = takeoff.Sheet{Direct: true, Parts: []takeoff.Part{{
		Name: "load", Mass: normal(quantity.Known(quantity.Mass(mean[0])), z95*sd(0)), At: quantity.Point{X: at(1), Y: at(2), Z: at(3)},
	}}}
	l.Legs = slices.Clone(l.Legs)
	for i := range l.Legs {
		leg := &l.Legs[i]
		leg.Length = normal(leg.Length, usualLength*float64(leg.Length.Value))
		if leg.Stiffness != nil {
			k := normal(*leg.Stiffness, usualStiffness*float64(leg.Stiffness.Value))
			leg.Stiffness = &k
		}
	}
	if m.rig, err = lift.NewRig(&l); err != nil {
		return err
	}
	if _, err = m.rig.Hang(); err != nil {
		return err
	}
	in := m.rig.Inputs
	find := func(name string) int {
		return slices.IndexFunc(in, func(x lift.Input) bool { return x.Name == name })
	}
	for _, n := range []string{"load.mass", "load.at.x", "load.at.y", "load.at.z"} {
		m.order = append(m.order, find(n))
	}
	for k := range in {
		if !slices.Contains(m.order, k) {
			m.order = append(m.order, k)
		}
	}
	m.sets = make([]float64, len(in))
	for _, k := range m.order {
		x := in[k]
		mid, sd := x.Value, (x.High-x.Low)/2/z95
		if x.Shape == quantity.Uniform {
			mid, sd = (x.Low+x.High)/2, (x.High-x.Low)/2/root3
		}
		m.name, m.mean, m.scale = append(m.name, x.Name), append(m.mean, mid), append(m.scale, sd)
		m.above = append(m.above, x.Low > 0 && (x.Unit != "m" || strings.HasSuffix(x.Name, ".length")))
	}
	m.root = factor(cov[:], 4).a
	for i := range 4 {
		for j := i + 1; j < 4; j++ {
			m.root[4*i+j] = 0
		}
	}
	param := func(name string) int { return slices.Index(m.name, name) }
	for i := range l.Legs {
		leg := &l.Legs[i]
		if len(leg.Via) == 0 && (leg.To.Body == "load") == (leg.From.Body == "load") {
			continue
		}
		m.legs = append(m.legs, legOf{index: i, name: leg.Name, length: param("legs." + leg.Name + ".length"), cell: -1})
	}
	m.bears = m.rig.Demands()
	m.force = make([]float64, len(m.bears))
	for i, d := range m.bears {
		if d.Kind == lift.OnHook {
			m.hooks = append(m.hooks, i)
		}
	}
	for i := range m.plan.States[0].Hung.Hooks {
		h := &m.plan.States[0].Hung.Hooks[i]
		share := 1.0
		if h.LoadN > 0 {
			share = -h.Force[2] / h.LoadN
		}
		m.down = append(m.down, share)
	}
	return nil
}

// sum is the mass and the centre of gravity of the load with their joint
// covariance, kg and m, to first order in what the parts state.
func (m *Model) sum(l *lift.Lift) (mean [4]float64, cov []float64, err error) {
	cov = make([]float64, 16)
	sheet := &l.Load.Sheet
	type figure struct {
		mid, sd float64
		by      [4]float64 // effect on mass and moments
	}
	var figures []figure
	mass, moment := 0.0, [3]float64{}
	for i := range sheet.Parts {
		p := &sheet.Parts[i]
		if p.Fluid && !l.Load.Wet {
			continue
		}
		mk, sk := middle(p.Mass)
		var at, as [3]float64
		for k, x := range []quantity.Measured[quantity.Length]{p.At.X, p.At.Y, p.At.Z} {
			at[k], as[k] = middle(x)
		}
		mass += mk
		figures = append(figures, figure{mk, sk, [4]float64{1, at[0], at[1], at[2]}})
		for k := range at {
			moment[k] += mk * at[k]
			f := figure{mid: at[k], sd: as[k]}
			f.by[1+k] = mk
			figures = append(figures, f)
		}
	}
	if !(mass > 0) {
		return mean, nil, fault.New(fault.Missing, "the load weighs nothing").In("load")
	}
	more := 1 + float64(sheet.Contingency)
	mean[0] = mass * more
	for k := range moment {
		mean[1+k] = moment[k] / mass
	}
	for _, f := range figures {
		d := [4]float64{f.by[0] * more * f.sd}
		for k := range moment {
			d[1+k] = (f.by[1+k] - f.by[0]*mean[1+k]) / mass * f.sd
		}
		for i := range d {
			for j := range d {
				cov[4*i+j] += d[i] * d[j]
			}
		}
	}
	return mean, cov, nil
}

// middle is the mean of a figure and its standard deviation.
func middle[Q quantity.Quantity](q quantity.Measured[Q]) (mid, sd float64) {
	half := float64(q.High-q.Low) / 2
	switch q.Shape {
	case quantity.Normal:
		return float64(q.Value), half / z95
	case quantity.Uniform:
		return float64(q.Low+q.High) / 2, half / root3
	}
	return float64(q.Value), 0
}

// reach is the greatest level distance between two lugs; 1 m for one.
func reach(lugs []lift.Lug) float64 {
	far := 0.0
	for i := range lugs {
		for j := range i {
			a, b := lugs[i].At.XYZ(), lugs[j].At.XYZ()
			far = max(far, math.Hypot(a[0]-b[0], math.Hypot(a[1]-b[1], a[2]-b[2])))
		}
	}
	if far == 0 {
		return 1
	}
	return far
}

// takeCells takes the cells of the plan.
func (m *Model) takeCells() {
	s := &m.plan.States[0]
	for i := range s.Expected {
		e := &s.Expected[i]
		c := cell{Expected: e, leg: e.Cell.Leg}
		x := &e.Cell
		n := math.Max(math.Abs(e.NominalN), 1)
		c.fixed = x.Error + x.ErrorShare*n + x.Drift + x.DriftShare*n
		if of, _ := m.plan.Lift.Legs[c.leg].CellAt(); of.Capacity != nil {
			c.capacity = float64(of.Capacity.Force)
		}
		if c.fixed == 0 { // no accuracy stated: 0.5 % of reading (common practice, no source)
			c.fixed = 0.005 * n
		}
		c.gain = min(c.fixed/n, 0.5)
		c.zero = math.Hypot(zeroShare*c.fixed/root3, x.ZeroLimit/root3)
		m.cells = append(m.cells, c)
		for k := range m.legs {
			if m.legs[k].index == c.leg {
				m.legs[k].cell = i
			}
		}
	}
}

// zeros says what each cell reads without the load, and how what it was
// zeroed with follows the parameters.
func (m *Model) zeros() error {
	plan, err := lift.NewRig(m.plan.Lift)
	if err != nil {
		return err
	}
	at := func(share float64) []float64 {
		z, err := plan.Zeros(share)
		if err != nil { // a rope that hangs nobody knows how: as zeroed
			z = make([]float64, len(m.plan.Lift.Legs))
			for i := range m.cells {
				z[m.cells[i].leg] = m.cells[i].Cell.Zero
			}
		}
		return z
	}
	hung, slack := at(1), at(0.5)
	for i := range m.cells {
		c := &m.cells[i]
		c.hung, c.slack = hung[c.leg]-c.Cell.Zero, slack[c.leg]-c.Cell.Zero
		c.slope = make([]float64, len(m.name))
		for k, in := range plan.Inputs {
			if p := slices.Index(m.name, in.Name); p > atZ && c.Cell.ZeroSlope != nil {
				c.slope[p] = c.Cell.ZeroSlope[k]
			}
		}
	}
	return nil
}

// point is the rig hung with some parameters, and linear about it.
type point struct {
	theta []float64
	read  []float64   // of each cell, N, without its errors
	total float64     // at the hooks, N
	slope [][]float64 // of each cell, last of the total, by parameter
}

// set puts parameters into the rig.
func (m *Model) set(theta []float64) {
	for k, i := range m.order {
		m.sets[i] = theta[k]
	}
	m.sets[m.order[atMass]] = max(theta[atMass], 1e-3*m.mean[atMass])
	for k := atZ + 1; k < len(theta); k++ {
		if m.above[k] {
			m.sets[m.order[k]] = max(theta[k], 0.05*m.mean[k])
		}
	}
	m.rig.Set(m.sets)
}

// goHome takes the rig to the planned pose, so that an answer does not hang on
// what was asked before.
func (m *Model) goHome() error {
	if g := m.ground; g != nil {
		g.height = 0
		g.rig.Set(g.rig.Nominal())
		if err := g.rig.Home(); err != nil {
			return err
		}
	}
	m.rig.Set(m.rig.Nominal())
	return m.rig.Home()
}

// hang hangs the rig with some parameters, near the pose it has; when that
// fails, from the planned pose on in small steps.
func (m *Model) hang(theta []float64, p *point) error {
	m.set(theta)
	if _, err := m.rig.Rehang(); err != nil {
		if err := m.goHome(); err != nil {
			return err
		}
		const pieces = 12
		mid := make([]float64, len(theta))
		for n := 1; n <= pieces; n++ {
			for k := range mid {
				mid[k] = m.mean[k] + (theta[k]-m.mean[k])*float64(n)/pieces
			}
			m.set(mid)
			if _, err := m.rig.Rehang(); err != nil {
				return err
			}
		}
	}
	m.look(theta, p)
	return nil
}

// look notes what the cells read in the pose that the rig has.
func (m *Model) look(theta []float64, p *point) {
	if p.read == nil {
		p.read = make([]float64, len(m.cells))
	}
	for i := range m.cells {
		c := &m.cells[i]
		p.read[i] = m.rig.AtCell(c.leg) - c.Cell.Zero
		for k := atZ + 1; k < len(theta); k++ {
			p.read[i] -= c.slope[k] * (theta[k] - m.mean[k])
		}
	}
	m.rig.Bear(m.bears, m.force)
	p.total = 0
	for i, k := range m.hooks {
		p.total += m.force[k] * m.down[i]
	}
}

// probeBy is the step of a parameter over which slopes are taken, as a share of
// its prior standard deviation.
const probeBy = 0.02

// linear hangs the rig with some parameters and finds the slopes there.
func (m *Model) linear(theta []float64) (*point, error) {
	p := &point{theta: slices.Clone(theta)}
	if err := m.hang(theta, p); err != nil {
		return nil, err
	}
	p.slope = make([][]float64, len(m.cells)+1)
	for i := range p.slope {
		p.slope[i] = make([]float64, len(theta))
	}
	var q point
	moved := slices.Clone(theta)
	err := m.probe(theta, func(k int, h float64) {
		moved[k] = theta[k] + h
		m.look(moved, &q)
		for i := range q.read {
			p.slope[i][k] = (q.read[i] - p.read[i]) / h
		}
		p.slope[len(m.cells)][k] = (q.total - p.total) / h
		moved[k] = theta[k]
	})
	if err != nil {
		return nil, err
	}
	return p, nil
}

// probe hangs the rig with each parameter moved a little, has look see what
// that does, and hangs it as it was.
func (m *Model) probe(theta []float64, look func(k int, h float64)) error {
	moved := slices.Clone(theta)
	for k := range theta {
		h := probeBy * m.scale[k]
		if h == 0 {
			continue
		}
		moved[k] = theta[k] + h
		m.set(moved)
		if _, err := m.rig.Rehang(); err != nil {
			return err
		}
		look(k, h)
		moved[k] = theta[k]
	}
	m.set(theta)
	_, err := m.rig.Rehang()
	return err
}

// directions finds the level directions that the load's centre can be off in,
// and which of them the cells feel.
func (m *Model) directions() {
	rot := m.plan.States[0].Hung.Bodies[0].Rot
	a := [3]float64{rot[0], rot[1], rot[2]}
	b := [3]float64{rot[3], rot[4], rot[5]}
	// Principal directions of what the cells feel: of the 2 by 2 matrix of
	// squared slopes along a and b.
	var aa, ab, bb float64
	for i := range m.cells {
		s := m.home.slope[i]
		var u, v float64
		for k := range 3 {
			u += s[atX+k] * a[k]
			v += s[atX+k] * b[k]
		}
		u, v = u/m.cells[i].fixed, v/m.cells[i].fixed
		aa, ab, bb = aa+u*u, ab+u*v, bb+v*v
	}
	t := 0.5 * math.Atan2(2*ab, aa-bb)
	s, c := math.Sincos(t)
	for n, d := range [2][2]float64{{c, s}, {-s, c}} {
		for k := range 3 {
			m.wide[n][k] = d[0]*a[k] + d[1]*b[k]
		}
		felt := d[0]*d[0]*aa + 2*d[0]*d[1]*ab + d[1]*d[1]*bb
		// A tenth of the span must move some cell by more than it may err.
		m.seen[n] = math.Sqrt(max(felt, 0))*0.1*m.span > 1
	}
}
