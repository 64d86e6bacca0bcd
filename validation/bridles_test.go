package validation

import (
	"fmt"
	"math"

	"plumbhook/statics"
)

// bridle is a level load of 1 t under n equal legs, each 1 m long and at an
// angle from the horizontal, with the hook over the middle. Legs that are
// plumb need a hook each.
func bridle(n int, angle float64) drawing {
	d := drawing{unit: "m", mass: "1 t", cg: [3]float64{0, 0, -0.5}}
	r, h := math.Cos(angle*deg), math.Sin(angle*deg)
	if angle == 90 {
		r = 1
	}
	for i := range n {
		s, c := math.Sincos(2 * math.Pi * float64(i) / float64(n))
		d.lugs = append(d.lugs, [3]float64{r * c, r * s, 0})
	}
	if angle == 90 {
		return d.plumb(1)
	}
	d.hooks = [][3]float64{{0, 0, h}}
	return d
}

// carries is what a bridle of n legs carries as a multiple of the tension in
// one of them.
func carries(p *problem, n int, angle float64) float64 {
	p.Helper()
	h := bridle(n, angle).hang(p)
	t := tensions(h, tonf)
	for i, leg := range h.Legs {
		p.near("angle of leg from the horizontal", leg.FromHorizontal/deg, angle, 1e-6)
		p.near("tension of leg beside the first", t[i], t[0], 1e-9)
	}
	return 1 / t[0]
}

var bridles = map[string]func(*problem) answers{
	"A01": factors,
	"A02": factors,
	"A03": func(p *problem) answers {
		a := answers{}
		for _, angle := range p.list("angle list (leg to horizontal)") {
			a[fmt.Sprintf("reduction at %g deg", angle)] = carries(p, 2, angle) / 2
		}
		return a
	},
	"A04": func(p *problem) answers {
		w, angle := p.num("load"), p.num("angle from horizontal")
		d := bridle(2, angle)
		d.mass = put("%v lb", w)
		h := d.hang(p)
		return answers{"vertical share per leg": h.Legs[0].Upper[2] / -lbf, "leg tension": tensions(h, lbf)[0]}
	},
	"A05": func(p *problem) answers {
		w := p.num("load")
		t := measured(p, w, p.num("measured leg length L"), p.num("measured height H"))
		return answers{"tension factor": t / (w / 2), "required vertical rating per leg": t}
	},
	"A06": func(p *problem) answers {
		return answers{"leg tension": measured(p, p.num("load W"), p.num("sling length L"), p.num("vertical distance V"))}
	},
	"A07": func(p *problem) answers {
		a := answers{}
		for _, size := range []string{"1/4", "3/8", "1/2", "5/8"} {
			one := p.num("single-leg rating, chain size " + size + " in")
			for _, angle := range p.list("angles from horizontal") {
				a[fmt.Sprintf("%s in double %g deg", size, angle)] = one * carries(p, 2, angle)
				a[fmt.Sprintf("%s in triple/quad %g deg", size, angle)] = one * carries(p, 3, angle)
			}
		}
		return a
	},
	"A08": func(p *problem) answers {
		first, second := 90-p.num("angle to vertical, first band"), 90-p.num("angle to vertical, second band")
		return answers{
			"2-leg 0-45 deg to vertical": carries(p, 2, first),
			"2-leg 45-60 deg":            carries(p, 2, second),
			"3/4-leg 0-45 deg":           carries(p, 3, first),
			"3/4-leg 45-60 deg":          carries(p, 3, second),
		}
	},
	"A09": func(p *problem) answers {
		a := answers{}
		for _, included := range p.list("included angle between legs") {
			a[fmt.Sprintf("%g deg included", included)] = carries(p, 2, 90-included/2)
		}
		return a
	},
	"A10": func(p *problem) answers {
		half := p.num("distance between attachment points / sling length") / 2
		h := drawing{
			unit: "m", mass: "1 t", cg: [3]float64{0, 0, -0.5}, lengths: []float64{1, 1},
			lugs: [][3]float64{{-half, 0, 0}, {half, 0, 0}}, hooks: [][3]float64{{0, 0, 1}},
		}.hang(p)
		var u [2]statics.Vec
		for i := range u {
			u[i] = statics.Vec(h.Legs[i].Upper)
		}
		return answers{"included angle": math.Acos(u[0].Dot(u[1])/u[0].Norm()/u[1].Norm()) / deg}
	},
	"A11": func(p *problem) answers {
		x, y := p.num("platform length")/2, p.num("platform width")/2
		h := drawing{
			unit: "in", mass: put("%v kg", p.num("mass")), g: p.num("g used"), stiffness: "1e13 N/m",
			lugs:  [][3]float64{{x, y, 0}, {-x, y, 0}, {-x, -y, 0}, {x, -y, 0}},
			hooks: [][3]float64{{0, 0, p.num("apex height above corners")}},
		}.hang(p)
		return answers{"leg angle from horizontal": h.Legs[0].FromHorizontal / deg, "leg tension": tensions(h, 1)[0]}
	},
	"A12": func(p *problem) answers {
		h := drawing{unit: "ft", mass: put("%v lb", p.num("load")), hooks: [][3]float64{{0, 0, p.num("height")}}}
		for i := range 3 {
			s, c := math.Sincos(2 * math.Pi * float64(i) / 3)
			r := p.num("horizontal offset of each rope foot")
			h.lugs = append(h.lugs, [3]float64{r * c, r * s, 0})
		}
		hung := h.hang(p)
		return answers{"angle from vertical": hung.Legs[0].FromVertical / deg, "rope tension": tensions(hung, lbf)[0]}
	},
	"A13": func(p *problem) answers {
		half, most := p.num("half width between attachments"), p.num("allowed tension per cable")
		d := drawing{
			unit: "m", mass: put("%v kg", p.num("mass")), g: p.num("g"), cg: [3]float64{0, 0, -1},
			lugs: [][3]float64{{-half, 0, 0}, {half, 0, 0}}, hooks: [][3]float64{{0, 0, 5}},
		}
		var share float64
		length := root(func(l float64) float64 {
			d.lengths = []float64{l, l}
			h := d.hang(p)
			t := tensions(h, 1000)[0]
			share = t * math.Sin(h.Legs[0].FromHorizontal)
			return most - t
		}, 1.01*half, 10*half)
		return answers{"force coefficient (x cosec angle)": share, "shortest length": length}
	},
}

// factors are leg tension over vertical share.
func factors(p *problem) answers {
	a := answers{}
	for _, angle := range p.list("angle list (leg to horizontal)") {
		a[fmt.Sprintf("factor at %g deg", angle)] = 2 / carries(p, 2, angle)
	}
	return a
}

// measured is the tension, lb, in two legs of a length, ft, that rise to a
// height.
func measured(p *problem, pounds, length, height float64) float64 {
	p.Helper()
	half := math.Sqrt(length*length - height*height)
	h := drawing{
		unit: "ft", mass: put("%v lb", pounds), cg: [3]float64{0, 0, -1}, lengths: []float64{length, length},
		lugs: [][3]float64{{-half, 0, 0}, {half, 0, 0}}, hooks: [][3]float64{{0, 0, height}},
	}.hang(p)
	return tensions(h, lbf)[0]
}
