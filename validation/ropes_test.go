package validation

import (
	"fmt"
	"math"

	"plumbhook/statics"
)

// ropes are lines that slide over points, or sag.
var ropes = map[string]func(*problem) answers{
	"G03": func(p *problem) answers {
		// A movable pulley hangs in a rope whose end hangs in the next one.
		up := func(z float64) statics.Vec { return statics.Vec{0, 0, z} }
		n := newNet()
		load := n.node(p.num("mass")*p.num("g"), up(0))
		pulley := n.node(0, up(8))
		n.cable(world(up(10)), load, pulley)
		n.cable(world(up(12)), pulley, world(up(13)))
		return answers{"P": n.hang(p).Result().Tension[1]}
	},
	"M01": func(p *problem) answers {
		a := answers{}
		for _, size := range []string{"1/4", "3/8", "1/2"} {
			one := p.num("vertical rating, rope " + size + " in")
			a[size+" in vertical basket"] = one * basket(p, 90)
			for _, angle := range []float64{60, 45, 30} {
				a[fmt.Sprintf("%s in basket %g deg", size, angle)] = one * basket(p, angle)
			}
		}
		return a
	},
	"P01": func(p *problem) answers {
		// The line in two halves, joined by a node of no weight in the middle.
		half, w := p.num("line length")/2, p.num("line length")/2*p.num("mass per length")
		n := newNet()
		n.Gravity = p.num("g")
		middle := n.node(0, statics.Vec{0, 0, -half / 2})
		for _, x := range []float64{-p.num("span") / 2, p.num("span") / 2} {
			c := n.cable(world(statics.Vec{x}), middle)
			c.Length, c.Mass, c.Catenary = half, w, true
		}
		s := n.hang(p)
		return answers{"sag": -s.Where(middle)[2], "largest tension": s.Result().Tension[0] / 1000}
	},
}

// basket is what one rope under two points of a load carries, as a multiple of
// its tension, with its ends at an angle from the horizontal.
func basket(p *problem, angle float64) float64 {
	p.Helper()
	r, h := math.Cos(angle*deg), math.Sin(angle*deg)
	hooks := put("main: {at: 0 0 %v m}", h)
	to := "main"
	if angle == 90 {
		r, to = 1, "second"
		hooks = "main: {at: -1 0 1 m}, second: {at: 1 0 1 m}"
	}
	hung := hangFile(p, put(`plumbhook: 1
load: {mass: 1 t, cg: 0 0 -2 m, lugs: {a: {at: %v 0 0 m}, b: {at: %v 0 0 m}}}
hooks: {%v}
legs: {rope: {from: main, via: [load.a, load.b], to: %v, length: %v m, hitch: basket}}
`, -r, r, hooks, to, 2+2*r))
	p.near("angle of basket from the horizontal", hung.Legs[0].FromHorizontal/deg, angle, 1e-6)
	return tonf / hung.Legs[0].TensionN
}
