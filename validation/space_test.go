package validation

import (
	"math"

	"plumbhook/statics"
)

// vec is a given of three numbers.
func (p *problem) vec(name string, at ...int) statics.Vec {
	p.Helper()
	var v statics.Vec
	for k := range v {
		v[k] = p.num(name, append(at, k)...)
	}
	return v
}

// upright turns axes with y up into ours.
func upright(v statics.Vec) statics.Vec { return statics.Vec{v[0], -v[2], v[1]} }

// sprung makes cord i a spring that holds the drawn place, hangs again, and
// gives its stretch there.
func sprung(p *problem, n *net, i int, tension, rate float64) float64 {
	p.Helper()
	c := &n.Cables[i]
	c.Length, c.Compliance = 3-tension/rate, 1/rate
	at := n.hang(p).Where(c.Path[1])
	p.near("place of the node with a spring", at.Norm(), 0, 1e-9)
	return c.Path[0].At.Sub(at).Norm() - c.Length
}

// space is cables that meet in a point, and plates on three.
var space = map[string]func(*problem) answers{
	"C01": func(p *problem) answers {
		t := cords(p.num("load"), p.vec("B from A"), p.vec("C from A"), p.vec("D from A")).hang(p).Result().Tension
		return answers{"FB": t[0], "FC": t[1], "FD": t[2]}
	},
	"C02": func(p *problem) answers {
		var c statics.Vec
		for k, angle := range p.list("C direction angles") {
			c[k] = math.Cos(angle * deg)
		}
		n := cords(p.num("weight"), p.vec("B direction"), c, p.vec("D from A"))
		t := n.hang(p).Result().Tension
		return answers{"FB": t[0], "FC": t[1], "FD": t[2], "stretch": sprung(p, n, 0, t[0], p.num("spring rate of B"))}
	},
	"C03": func(p *problem) answers {
		n := cords(p.num("load"), p.vec("B direction"), p.vec("C direction"), p.vec("D direction"))
		t := n.hang(p).Result().Tension
		return answers{"FB": t[0], "FC": t[1], "FD": t[2], "stretch AB": 1000 * sprung(p, n, 0, t[0], p.num("spring rate AB"))}
	},
	"C04": func(p *problem) answers {
		w := p.num("mass") * p.num("g")
		t := cords(w, upright(p.vec("string 1 direction (x, up, z)")), upright(p.vec("string 2 direction")), upright(p.vec("string 3 direction"))).hang(p).Result().Tension
		return answers{"T1": t[0], "T2": t[1], "T3": t[2]}
	},
	"C05": func(p *problem) answers {
		t := plate(p, "m", "hook D above G", p.vec("A and B at two corners from G", 0), p.vec("A and B at two corners from G", 1), p.vec("C at the middle of the opposite edge from G"))
		p.near("TB beside TA", t[1], t[0], 1e-6)
		return answers{"TA = TB": t[0] / 1000, "TC": t[2] / 1000}
	},
	"C06": func(p *problem) answers {
		t := plate(p, "ft", "ring above plate centre", p.vec("B on plate edge"), p.vec("C on plate edge"), p.vec("D on plate edge"))
		p.near("tension of the idle leg", t[1], 0, 1e-6*t[0])
		return answers{"FB": t[0], "FC": t[1], "FD": t[2]}
	},
	"C07": func(p *problem) answers {
		a := p.vec("A")
		t := cords(p.num("mass")*p.num("g"), upright(p.vec("force P direction")), upright(p.vec("B").Sub(a)), upright(p.vec("C").Sub(a))).hang(p).Result().Tension
		return answers{"P": t[0], "TAB": t[1], "TAC": t[2]}
	},
	"C08": func(p *problem) answers {
		d := drawing{unit: "mm"}
		for i, w := range p.list("weights") {
			d.parts = append(d.parts, put("{mass: %v kg, at: %v %v -100 mm}", w, p.num("x of weights", i), p.num("z of weights", i)))
		}
		for _, name := range []string{"support R1 at (x,z)", "support R2 at", "support R3 at"} {
			d.lugs = append(d.lugs, [3]float64{p.num(name, 0), p.num(name, 1), 0})
		}
		t := tensions(d.plumb(1000).hang(p), g0)
		return answers{"R1": t[0], "R2": t[1], "R3": t[2]}
	},
}

// plate hangs a level plate with its centre of gravity at the origin, and
// gives the tensions in N.
func plate(p *problem, unit, height string, lugs ...statics.Vec) []float64 {
	p.Helper()
	d := drawing{unit: unit, mass: put("%v kg", p.num("mass")), g: p.num("g"), hooks: [][3]float64{{0, 0, p.num(height)}}}
	for _, l := range lugs {
		d.lugs = append(d.lugs, l)
	}
	h := d.hang(p)
	p.near("tilt of the plate", h.Bodies[0].Tilt, 0, 1e-6)
	return tensions(h, 1)
}
