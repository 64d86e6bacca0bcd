package validation

import (
	"errors"
	"fmt"
	"math"

	"plumbhook/fault"
)

// beam hangs loads along x from two plumb lines and gives their pulls. The
// unit of the weights cancels.
func beam(p *problem, loads, places []float64, from, to float64) []float64 {
	p.Helper()
	d := drawing{unit: "m", lugs: [][3]float64{{from, 0, 0}, {to, 0, 0}}}
	for i, w := range loads {
		d.parts = append(d.parts, put("{mass: %v t, at: %v 0 -1 m}", w, places[i]))
	}
	return tensions(d.plumb(20).hang(p), tonf)
}

// shares are loads between two supports or hooks, and beams in between.
var shares = map[string]func(*problem) answers{
	"F01": func(p *problem) answers {
		r := beam(p, p.list("loads"), p.list("distance from M"), 0, p.num("span M to N"))
		return answers{"RM": r[0], "RN": r[1]}
	},
	"F02": func(p *problem) answers {
		r := beam(p, p.list("loads"), p.list("distance from A"), p.num("supports A and B", 0), p.num("supports A and B", 1))
		return answers{"A": r[0], "B": r[1]}
	},
	"F03": func(p *problem) answers {
		r := beam(p, p.list("loads"), p.list("distance from A (first one is outside)"), 0, p.num("span"))
		return answers{"RA": r[0], "RB": r[1]}
	},
	"H03": func(p *problem) answers {
		// What is hoisted faster and faster hangs as in a stronger gravity.
		a := p.num("final speed") / p.num("time")
		x, z := p.num("half spread a"), p.num("rise b")
		n := newNet()
		n.Gravity = 1 + a/p.num("g")
		at := n.node(p.num("weight")/1000, [3]float64{})
		n.cable(world([3]float64{-x, 0, z}), at)
		n.cable(world([3]float64{x, 0, z}), at)
		return answers{"T": n.hang(p).Result().Tension[0]}
	},
	"O01": func(p *problem) answers {
		half, rise := p.num("spreader length between lugs")/2, p.num("hook height above lugs")
		h := hangFile(p, put(`plumbhook: 1
load:
  mass: %v t
  cg: 0 0 -1 m
  lugs: {left: {at: %v 0 0 m}, right: {at: %v 0 0 m}}
hooks: {hook: {}}
spreaders:
  bar: {mass: %v t, cg: 0 0 0 m, points: {left: {at: %v 0 0 m}, right: {at: %v 0 0 m}}}
legs:
  top left: {from: hook, to: bar.left, length: %v m}
  top right: {from: hook, to: bar.right, length: %v m}
  low left: {from: bar.left, to: load.left, length: 2 m}
  low right: {from: bar.right, to: load.right, length: 2 m}
`, p.num("load"), -half, half, p.num("spreader weight"), -half, half, math.Hypot(half, rise), math.Hypot(half, rise)))
		t := tensions(h, tonf)
		var squeeze float64
		for _, s := range h.Squeeze {
			if s.Body == "bar" {
				squeeze = s.ForceN / tonf
			}
		}
		return answers{
			"top sling angle from horizontal": h.Legs[0].FromHorizontal / deg, "top sling tension": t[0], "bottom sling (vertical)": t[2],
			"compression": squeeze, "hook load without top slings": h.Hooks[0].LoadN / tonf,
		}
	},
	"O02": func(p *problem) answers {
		a := answers{}
		d := drawing{
			unit: "m", mass: put("%v t", p.num("load")), cg: [3]float64{p.num("CG from head lug, along the line"), 0, 0},
			lugs: [][3]float64{{0, 0, 0}, {p.num("head lug to tail lug"), 0, 0}},
		}
		for _, angle := range []float64{0, 45, 89.9} {
			d.turn, d.hooks = angle*deg, nil
			a[fmt.Sprintf("tail at %g deg", angle)] = tensions(d.plumb(10).hang(p), tonf)[1]
		}
		// Upright, both lines are one plumb line. The head has it all as soon
		// as the tail line is a millimetre long; with both drawn tight it is
		// undecided, and has to be said to be.
		d.turn, d.hooks = math.Pi/2, [][3]float64{{0, 0, 10}, {0, 0, -10}}
		if _, err := tryFile(p, d.text()); !undecided(err) {
			p.Errorf("O02: two tight lines on one plumb line share a load, and the answer is %v", err)
		}
		d.lengths = []float64{10, 10.001}
		a["tail at 90 deg"] = tensions(d.hang(p), tonf)[1]
		return a
	},
	"O04": func(p *problem) answers {
		l := p.num("distance between lift points L")
		share := func(tilt float64) float64 {
			d := drawing{
				unit: "m", mass: "1 t", cg: [3]float64{p.num("CG from hook 1"), 0, -p.num("CG below the lift point line")},
				lugs: [][3]float64{{0, 0, 0}, {l, 0, 0}}, turn: tilt * deg,
			}
			return tensions(d.plumb(10).hang(p), tonf)[0]
		}
		tilt := p.num("tilt") // about y: end 1 is high
		return answers{"hook 1 level": share(0), "hook 1 with its end low": share(-tilt), "hook 1 with its end high": share(tilt)}
	},
}

func undecided(err error) bool {
	var f *fault.Fault
	return errors.As(err, &f) && f.Code == fault.Undecided
}
