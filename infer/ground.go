package infer

import (
	"math"
	"slices"

	"plumbhook/lift"
	"plumbhook/quantity"
	"plumbhook/takeoff"
)

// ground is the rigging on a load that stands as before the lift: every lug a
// fixed point, every hook on a long rope plumb over its place, as with
// lift.Rig.Held. The ground carries what the legs do not, so weight and centre
// of gravity have no say; lengths, stiffness, the height of the hooks and the
// slope of the ground have.
type ground struct {
	rig    *lift.Rig
	param  []int // of the model's parameters: its place among the inputs, or -1
	up     []int // inputs: height of each hook, and length of its rope
	ropes  []int
	lugs   []lug
	values []float64
	over   []float64 // heights of the hooks as planned, m
	weight []float64 // of the leg below each cell less that above it, N, along the leg
	height float64   // of the hooks over the plan, when asked last
}

// lug is a point of the load with the input of its height, and where it is
// from the middle of them all.
type lug struct {
	input int
	at    [3]float64
	dx    [2]float64
}

// rope is how long the ropes of the hooks are taken to be, m, and ropeTo what
// they may be as well (common practice, no source): a hook that legs of
// unlike length pull aside comes back by its lean.
const rope, ropeTo = 12.0, 24.0

// stand builds the ground; nil where the rig cannot be held like that.
func (m *Model) stand() *ground {
	plan := m.plan.States[0].Hung
	var hooks [][3]float64
	for i := range plan.Hooks {
		hooks = append(hooks, plan.Hooks[i].At)
	}
	held, err := m.rig.Held(hooks)
	if err != nil {
		return nil
	}
	src := m.rig.Lift
	bare := *src
	bare.Steps, bare.Supports, bare.Ties, bare.Legs, bare.Hooks = nil, nil, nil, nil, nil
	bare.Nodes = slices.Clone(src.Nodes)
	const aside = "\x00aside"
	far := fixed([3]float64{0, 0, 1})
	bare.Load = lift.Load{Name: src.Load.Name, Wet: true, Lugs: []lift.Lug{{Name: aside, At: far}}}
	bare.Load.Sheet = takeoff.Sheet{Direct: true, Parts: []takeoff.Part{{Name: aside, Mass: quantity.Known(quantity.Mass(1)), At: fixed([3]float64{})}}}
	bare.Hooks = append(bare.Hooks, lift.Hook{Name: aside, At: ref(fixed([3]float64{0, 0, hooks[0][2] + 100}))})
	long := normal(quantity.Known(quantity.Length(rope)), 1)
	for i, at := range hooks {
		name := src.Hooks[i].Name
		bare.Nodes = append(bare.Nodes, lift.Node{Name: name, At: ref(fixed(at)), Mass: quantity.Known(quantity.Mass(0))})
		p := fixed([3]float64{at[0], at[1], at[2] + rope})
		p.Z = normal(p.Z, 1)
		bare.Hooks = append(bare.Hooks, lift.Hook{Name: "\x00over " + name, At: &p})
	}
	g := &ground{}
	points := map[string]bool{}
	hold := func(r lift.Ref, at [3]float64) lift.Ref {
		if r.Body != "load" {
			return r
		}
		name := "\x00" + r.Point
		if !points[name] {
			points[name] = true
			p := fixed(at)
			p.Z = normal(p.Z, 1)
			bare.Hooks = append(bare.Hooks, lift.Hook{Name: name, At: &p})
			g.lugs = append(g.lugs, lug{at: at})
		}
		return lift.Ref{Body: name}
	}
	for i := range src.Legs {
		leg := src.Legs[i]
		path := held.Legs[i].Path
		if len(path) != len(leg.Via)+2 {
			return nil
		}
		leg.From, leg.To, leg.Via = hold(leg.From, path[0]), hold(leg.To, path[len(path)-1]), slices.Clone(leg.Via)
		for k := range leg.Via {
			leg.Via[k] = hold(leg.Via[k], path[1+k])
		}
		bare.Legs = append(bare.Legs, leg)
	}
	for i := range hooks {
		bare.Legs = append(bare.Legs, lift.Leg{
			Name: "\x00rope " + src.Hooks[i].Name, From: lift.Ref{Body: "\x00over " + src.Hooks[i].Name}, To: lift.Ref{Body: src.Hooks[i].Name}, Length: long,
		})
	}
	bare.Legs = append(bare.Legs, lift.Leg{Name: aside, From: lift.Ref{Body: aside}, To: lift.Ref{Body: "load", Point: aside}, Length: quantity.Known(quantity.Length(1))})
	if g.rig, err = lift.NewRig(&bare); err != nil {
		return nil
	}
	if _, err = g.rig.Hang(); err != nil {
		return nil
	}
	input := func(name string) int {
		return slices.IndexFunc(g.rig.Inputs, func(x lift.Input) bool { return x.Name == name })
	}
	for k, name := range m.name {
		if g.param = append(g.param, -1); k > atZ {
			g.param[k] = input(name)
		}
	}
	for i := range hooks {
		g.up = append(g.up, input("hooks.\x00over "+src.Hooks[i].Name+".at.z"))
		g.ropes = append(g.ropes, input("legs.\x00rope "+src.Hooks[i].Name+".length"))
	}
	var mid [3]float64
	n := 0
	for i := range bare.Hooks[1+len(hooks):] {
		g.lugs[i].input = input("hooks." + bare.Hooks[1+len(hooks)+i].Name + ".at.z")
		for k := range mid {
			mid[k] += g.lugs[i].at[k]
		}
		n++
	}
	for i := range g.lugs {
		for k := range 2 {
			g.lugs[i].dx[k] = g.lugs[i].at[k] - mid[k]/float64(n)
		}
	}
	g.values = g.rig.Nominal()
	for _, k := range g.up {
		g.over = append(g.over, g.values[k])
	}
	// The pull at the lug is what comes back for a leg that ends there, with
	// the weight above the cell added instead of that below it.
	for i := range m.cells {
		leg := &src.Legs[m.cells[i].leg]
		w := 0.0
		if leg.To.Body == "load" || leg.From.Body == "load" {
			_, below := leg.CellAt()
			v := plan.Legs[m.cells[i].leg]
			w = (2*below - float64(leg.Mass.Value)) * m.g * math.Sin(v.FromHorizontal)
		}
		g.weight = append(g.weight, w)
	}
	return g
}

func ref[T any](v T) *T { return &v }

func fixed(at [3]float64) quantity.Point {
	k := func(x float64) quantity.Measured[quantity.Length] { return quantity.Known(quantity.Length(x)) }
	return quantity.Point{X: k(at[0]), Y: k(at[1]), Z: k(at[2])}
}

// footing is the readings with the load standing and the hooks at one height,
// and their slopes.
type footing struct {
	read  []float64
	slope [][]float64 // of each cell by parameter of the model
	lean  [2][]float64
	rise  []float64 // by height of the hooks, N/m
	plumb []float64 // from one length of the ropes to the other, N
}

// at hangs the ground's rig with the hooks so far over the plan.
func (g *ground) at(m *Model, theta []float64, up float64, lean [2]float64, dst []float64) bool {
	for k, i := range g.param {
		if i >= 0 {
			g.values[i] = theta[k]
			if m.above[k] {
				g.values[i] = max(theta[k], 0.05*m.mean[k])
			}
		}
	}
	for i, k := range g.up {
		g.values[k] = g.over[i] + up
	}
	for _, l := range g.lugs {
		g.values[l.input] = l.at[2] + lean[0]*l.dx[0] + lean[1]*l.dx[1]
	}
	g.rig.Set(g.values)
	if _, err := g.rig.Rehang(); err != nil {
		return false
	}
	for i := range m.cells {
		c := &m.cells[i]
		dst[i] = g.rig.AtCell(c.leg) + g.weight[i] - c.Cell.Zero
	}
	return true
}

// foot finds the height of the hooks at which the cells give a total, net of
// the rigging, and the readings there with their slopes; nil where it cannot.
func (m *Model) foot(theta []float64, netN float64) *footing {
	g := m.ground
	if g == nil {
		return nil
	}
	n := len(m.cells)
	f := &footing{read: make([]float64, n), rise: make([]float64, n), slope: make([][]float64, n)}
	net := func(up float64) (float64, bool) {
		if !g.at(m, theta, up, [2]float64{}, f.read) {
			return 0, false
		}
		t, _ := m.Total(f.read)
		return t - m.emptyN - netN, true
	}
	// The net rises with the hooks: bracket from the height found last, then
	// false position with the Illinois rule (Dowell and Jarratt, 1971).
	low, high := g.height, g.height
	step := 1e-3
	fl, ok := net(low)
	if !ok {
		g.rig.Set(g.rig.Nominal())
		if g.rig.Home() != nil {
			return nil
		}
		low, high = 0, 0
		if fl, ok = net(0); !ok {
			return nil
		}
	}
	fh := fl
	for ; fl > 0 && low > -3; step *= 2 {
		high, fh = low, fl
		low -= step
		if fl, ok = net(low); !ok {
			return nil
		}
	}
	for ; fh < 0 && high < 3; step *= 2 {
		low, fl = high, fh
		high += step
		if fh, ok = net(high); !ok {
			return nil
		}
	}
	if fl > 0 || fh < 0 {
		return nil
	}
	up, side := high, 0
	for range 40 {
		if fh == fl || high-low < 1e-7 {
			break
		}
		up = (low*fh - high*fl) / (fh - fl)
		x, ok := net(up)
		if !ok {
			return nil
		}
		if math.Abs(x) < 1e-3*m.weightN*0.1 {
			break
		}
		if x > 0 {
			high, fh = up, x
			if side > 0 {
				fl /= 2
			}
			side = 1
		} else {
			low, fl = up, x
			if side < 0 {
				fh /= 2
			}
			side = -1
		}
	}
	g.height = up
	base := slices.Clone(f.read)
	room := make([]float64, n)
	differ := func(h float64, dst []float64) {
		for i := range dst {
			dst[i] = (room[i] - base[i]) / h
		}
	}
	const h = 2e-5
	if !g.at(m, theta, up+h, [2]float64{}, room) {
		return nil
	}
	differ(h, f.rise)
	for k := range 2 {
		const lean = 2e-4
		var by [2]float64
		by[k] = lean
		if !g.at(m, theta, up, by, room) {
			return nil
		}
		f.lean[k] = make([]float64, n)
		differ(lean, f.lean[k])
	}
	for i := range f.slope {
		f.slope[i] = make([]float64, len(theta))
	}
	moved := slices.Clone(theta)
	col := make([]float64, n)
	for k := range theta {
		if g.param[k] < 0 || m.scale[k] == 0 {
			continue
		}
		d := probeBy * m.scale[k]
		moved[k] += d
		if !g.at(m, moved, up, [2]float64{}, room) {
			return nil
		}
		moved[k] = theta[k]
		differ(d, col)
		for i, v := range col {
			f.slope[i][k] = v
		}
	}
	for i, k := range g.ropes {
		g.values[k] = ropeTo
		g.over[i] += ropeTo - rope
	}
	ok = g.at(m, theta, up, [2]float64{}, room)
	for i, k := range g.ropes {
		g.values[k] = rope
		g.over[i] -= ropeTo - rope
	}
	if !ok {
		return nil
	}
	f.plumb = make([]float64, n)
	differ(1, f.plumb)
	f.read = base
	return f
}

// total is how much more all hooks bear for each metre that they rise, N/m.
func (f *footing) total(m *Model) float64 {
	t := 0.0
	for i, v := range f.rise {
		t += m.totals[len(m.totals)-1].by[i] * v
	}
	return math.Max(t, 1)
}
