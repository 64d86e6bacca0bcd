package validation

import (
	"math"
	"testing"

	"plumbhook/statics"
)

// pair is what a closed form gives and what the hung rig gives.
type pair struct{ form, ours float64 }

// closedForms compares rigs with formulas that share nothing with the solver.
func closedForms(t *testing.T) []row {
	t.Helper()
	var rows []row
	for _, p := range problems(t, "closed-forms.yaml") {
		solve := forms[p.ID[:3]]
		if solve == nil {
			t.Errorf("%s is not answered", p.ID)
			continue
		}
		p.Source = p.Topic + "; " + p.Source
		pairs, ours := solve(p), answers{}
		for name, q := range pairs {
			ours[name] = q.ours
		}
		for i := range p.Published {
			p.Published[i].Value = pairs[p.Published[i].Name].form
		}
		rows = append(rows, p.rows(ours)...)
	}
	return rows
}

var forms = map[string]func(*problem) map[string]pair{
	"X01": func(p *problem) map[string]pair {
		s, l1, l2 := p.num("lug spacing"), p.num("leg lengths", 0), p.num("leg lengths", 1)
		cg := [2]float64{p.num("CG from first lug"), -p.num("CG below lugs")}
		h := drawing{
			unit: "m", mass: put("%v kg", p.num("mass")), cg: [3]float64{cg[0], 0, cg[1]}, lengths: []float64{l1, l2},
			lugs: [][3]float64{{0, 0, 0}, {s, 0, 0}}, hooks: [][3]float64{{1, 0, 2}},
		}.hang(p)

		// In the axes of the load: the hook, and down from it to the CG.
		x := (l1*l1 - l2*l2 + s*s) / (2 * s)
		z := math.Sqrt(l1*l1 - x*x)
		far := math.Hypot(cg[0]-x, cg[1]-z)
		dx, dz := (cg[0]-x)/far, (cg[1]-z)/far
		ax, az, bx, bz := -x/l1, -z/l1, (s-x)/l2, -z/l2 // along the legs
		w := p.num("mass") * g0
		t := tensions(h, 1)
		return map[string]pair{
			"first leg":  {w * (dx*bz - dz*bx) / (ax*bz - az*bx), t[0]},
			"second leg": {w * (ax*dz - az*dx) / (ax*bz - az*bx), t[1]},
			"tilt":       {math.Atan2(math.Abs(dx), -dz) / deg, h.Bodies[0].Tilt / deg},
		}
	},
	"X02": func(p *problem) map[string]pair {
		a, b, rise := p.num("CG from either lug", 0), p.num("CG from either lug", 1), p.num("hook above lugs")
		w := p.num("mass") * g0
		h := drawing{
			unit: "m", mass: put("%v kg", p.num("mass")), cg: [3]float64{0, 0, -0.6},
			lugs: [][3]float64{{-a, 0, 0}, {b, 0, 0}}, hooks: [][3]float64{{0, 0, rise}},
		}.hang(p)
		t := tensions(h, 1)
		return map[string]pair{
			"first leg":  {w * b * math.Hypot(a, rise) / (a + b) / rise, t[0]},
			"second leg": {w * a * math.Hypot(b, rise) / (a + b) / rise, t[1]},
			"tilt":       {0, h.Bodies[0].Tilt / deg},
		}
	},
	"X03": func(p *problem) map[string]pair {
		l, k, m := p.num("unloaded length"), p.num("stiffness"), p.num("mass")
		h := drawing{
			unit: "m", mass: put("%v kg", m), cg: [3]float64{0, 0, -1}, stiffness: put("%v N/m", k),
			lengths: []float64{l}, lugs: [][3]float64{{}}, hooks: [][3]float64{{0, 0, l}},
		}.hang(p)
		return map[string]pair{"length under load": {l + m*g0/k, h.Legs[0].LengthM}}
	},
	"X04": func(p *problem) map[string]pair {
		half, rise, l0, k := p.num("half spacing"), p.num("height under load"), p.num("unloaded length"), p.num("stiffness")
		l := math.Hypot(half, rise)
		t := k * (l - l0)
		h := drawing{
			unit: "m", mass: put("%v kg", 2*t*rise/l/g0), cg: [3]float64{0, 0, -1}, stiffness: put("%v N/m", k),
			lengths: []float64{l0, l0}, lugs: [][3]float64{{-half, 0, 0}, {half, 0, 0}}, hooks: [][3]float64{{0, 0, 1.8}},
		}.hang(p)
		return map[string]pair{
			"height under load": {rise, h.HeadroomM},
			"tension":           {t, tensions(h, 1)[0]},
		}
	},
	"X05": func(p *problem) map[string]pair {
		l, w, load, k := p.num("unloaded length"), p.num("mass of rope")*g0, p.num("load")*g0, p.num("stiffness of the whole rope")
		pairs := map[string]pair{}
		for name, hangs := range map[string]string{"as catenary": "catenary", "weight lumped at the ends": "straight"} {
			h := hangFile(p, put(`plumbhook: 1
load: {mass: %v kg, cg: 0 0 -1 m, lugs: {eye: {at: 0 0 0 m}}}
hooks: {hook: {}}
legs: {rope: {from: hook, to: load.eye, length: %v m, mass: %v kg, stiffness: %v N/m, hangs: %v}}
`, p.num("load"), l, p.num("mass of rope"), k, hangs))
			pairs["length under load, "+name] = pair{l + (load+w/2)/k, h.Legs[0].LengthM}
			pairs["upper end, "+name] = pair{load + w, h.Legs[0].TensionN}
		}
		return pairs
	},
	"X06": func(p *problem) map[string]pair {
		s, x, w := p.num("chain length")/2, p.num("span")/2, p.num("mass per length")*g0
		c := root(func(c float64) float64 { return s - c*math.Sinh(x/c) }, x/20, 20*s)
		sag := c*math.Cosh(x/c) - c

		n := newNet()
		n.Gravity = g0
		middle := n.node(0, statics.Vec{0, 0, -s / 2})
		for _, end := range []float64{-x, x} {
			half := n.cable(world(statics.Vec{end}), middle)
			half.Length, half.Mass, half.Catenary = s, s*p.num("mass per length"), true
		}
		hung := n.hang(p)
		return map[string]pair{
			"sag":         {sag, -hung.Where(middle)[2]},
			"end tension": {w * (c + sag), hung.Result().Tension[0]},
		}
	},
	"X07": func(p *problem) map[string]pair {
		pull := p.num("horizontal pull")
		n := newNet()
		n.Gravity = g0
		var span, drop, end [2]float64
		load := 0.0
		for i := range 2 {
			v, m, l0, k := p.num("vertical pull at the anchors", i), p.num("mass of each rope", i), p.num("unloaded length of each rope", i), p.num("stiffness of each rope", i)
			w := m * g0
			span[i] = pull/k + pull*l0/w*(math.Asinh(v/pull)-math.Asinh((v-w)/pull))
			drop[i] = (v-w/2)/k + l0/w*(math.Hypot(pull, v)-math.Hypot(pull, v-w))
			end[i] = math.Hypot(pull, v)
			load += (v - w) / g0
		}
		node := n.node(load, statics.Vec{span[0], 0, -drop[0]})
		for i, anchor := range []statics.Vec{{}, {span[0] + span[1], 0, drop[1] - drop[0]}} {
			c := n.cable(world(anchor), node)
			c.Length, c.Mass, c.Compliance, c.Catenary = p.num("unloaded length of each rope", i), p.num("mass of each rope", i), 1/p.num("stiffness of each rope", i), true
		}
		s := n.hang(p)
		at := s.Where(node)
		return map[string]pair{
			"load from first anchor":  {span[0], at[0]},
			"load below first anchor": {drop[0], -at[2]},
			"first anchor":            {end[0], s.Result().Tension[0]},
			"second anchor":           {end[1], s.Result().Tension[1]},
		}
	},
	"X08": func(p *problem) map[string]pair {
		e, depth := p.num("offset"), p.num("depth")
		h := drawing{
			unit: "m", mass: "1 t", cg: [3]float64{0, e, -depth},
			lugs: [][3]float64{{-1, 0, 0}, {1, 0, 0}}, hooks: [][3]float64{{0, 0, 2}},
		}.hang(p)
		return map[string]pair{"tilt": {math.Atan(e/depth) / deg, h.Bodies[0].Tilt / deg}}
	},
	"X09": func(p *problem) map[string]pair {
		x, y, rise, w := p.num("half sides", 0), p.num("half sides", 1), p.num("height"), p.num("mass")*g0
		d := corners(x, y)
		d.mass, d.cg, d.stiffness = put("%v kg", p.num("mass")), [3]float64{0, 0, -0.4}, put("%v N/m", p.num("stiffness"))
		d.hooks = [][3]float64{{0, 0, rise}}
		t := tensions(d.hang(p), 1)
		form := w * math.Sqrt(x*x+y*y+rise*rise) / (4 * rise)
		for _, v := range t {
			p.near("leg beside the first", v, t[0], 1e-8*form)
		}
		return map[string]pair{"each leg": {form, t[0]}}
	},
	"X10": func(p *problem) map[string]pair {
		k, off, w := p.num("stiffness"), p.num("short by"), p.num("mass")*g0
		d := corners(p.num("sides", 0)/2, p.num("sides", 1)/2)
		d.mass, d.cg, d.stiffness = put("%v kg", p.num("mass")), [3]float64{0, 0, 0}, put("%v N/m", k)
		l := p.num("leg length")
		d.lengths = []float64{l - off, l, l, l}
		t := tensions(d.plumb(l).hang(p), 1)
		p.near("legs beside the short one", t[1], t[3], 1e-6*w)
		return map[string]pair{
			"short leg":     {w/4 + k*off/4, t[0]},
			"leg beside it": {w/4 - k*off/4, t[1]},
			"leg across":    {w/4 + k*off/4, t[2]},
		}
	},
	"X11": func(p *problem) map[string]pair {
		d := drawing{unit: "m", mass: "1 t", cg: [3]float64{0, 0, -1}}
		for i := range 3 {
			d.lugs = append(d.lugs, [3]float64{p.num("points", i, 0), p.num("points", i, 1), 0})
		}
		t := tensions(d.plumb(5).hang(p), tonf)
		if byDistance := math.Sqrt2 / 2 / (2 + math.Sqrt2/2); math.Abs(t[2]-byDistance) < 0.05 {
			p.Errorf("X11: the far point carries %.3f, as if shares went by distance", t[2])
		}
		return map[string]pair{"share at (1,0)": {1. / 3, t[0]}, "share at (0,1)": {1. / 3, t[1]}, "share at (-1,-1)": {1. / 3, t[2]}}
	},
	"X12": func(p *problem) map[string]pair {
		l, x, w := p.num("heel to lug"), p.num("heel to CG"), p.num("mass")*g0
		h := hangFile(p, put(`plumbhook: 1
load: {mass: %v kg, cg: %v 0 -0.2 m, lugs: {heel: {at: 0 0 0 m}, eye: {at: %v 0 0 m}}}
hooks: {hook: {at: %v 0 6 m}}
legs: {leg: {from: hook, to: load.eye, length: 6 m}}
supports: {heel: {at: load.heel, level: 0 m, friction: 0.3}}
`, p.num("mass"), x, l, l))
		return map[string]pair{
			"leg":                   {w * x / l, h.Legs[0].TensionN},
			"ground under the heel": {w * (l - x) / l, h.Supports[0].Force[2]},
		}
	},
	"X13": func(p *problem) map[string]pair {
		d := corners(p.num("half side"), p.num("half side"))
		d.mass, d.cg, d.stiffness = "2 t", [3]float64{0, 0, p.num("CG above lugs")}, put("%v N/m", p.num("stiffness"))
		d.hooks = [][3]float64{{0, 0, p.num("hook above lugs")}}
		return map[string]pair{"margin": {p.num("hook above lugs") - p.num("CG above lugs"), margin(p, d)}}
	},
	"X14": func(p *problem) map[string]pair {
		half, depth := p.num("half spacing"), p.num("CG below lugs")
		d := drawing{
			unit: "m", mass: "2 t", cg: [3]float64{0, 0, -depth},
			lugs: [][3]float64{{-half, 0, 0}, {half, 0, 0}}, hooks: [][3]float64{{0, 0, p.num("hook above lugs")}},
		}
		return map[string]pair{"margin": {depth, margin(p, d)}}
	},
}

// margin is how far the CG of a drawing may rise. The drawing must hold as
// far as that, and not a millimetre beyond.
func margin(p *problem, d drawing) float64 {
	p.Helper()
	h := d.hang(p)
	if !h.Stable || h.StabilityM == nil {
		p.Fatalf("%s: stable %v, no margin", p.ID, h.Stable)
	}
	base := d.cg[2]
	for _, beyond := range []float64{-1e-3, 1e-3} {
		d.cg[2] = base + *h.StabilityM + beyond
		if stable := d.hang(p).Stable; stable != (beyond < 0) {
			p.Errorf("%s: with the CG %g m past its margin stable is %v", p.ID, beyond, stable)
		}
	}
	return *h.StabilityM
}

// corners are four lugs round a rectangle.
func corners(x, y float64) drawing {
	return drawing{unit: "m", lugs: [][3]float64{{x, y, 0}, {-x, y, 0}, {-x, -y, 0}, {x, -y, 0}}}
}
