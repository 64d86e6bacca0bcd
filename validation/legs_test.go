package validation

import (
	"math"

	"plumbhook/statics"
)

// rise points up at an angle from the horizontal, along +x.
func rise(degrees float64) statics.Vec {
	s, c := math.Sincos(degrees * deg)
	return statics.Vec{c, 0, s}
}

// legs are two unequal legs, and nodes in a line.
var legs = map[string]func(*problem) answers{
	"B01": func(p *problem) answers {
		t := cords(p.num("resultant (load)"), rise(90+p.num("line 1 to the load line")), rise(90-p.num("line 2 to the load line"))).hang(p).Result().Tension
		return answers{"T1": t[0], "T2": t[1]}
	},
	"B02": func(p *problem) answers {
		t := cords(p.num("weight of car"), rise(90+p.num("lift cable from vertical")), rise(-p.num("rope below horizontal"))).hang(p).Result().Tension
		return answers{"T_AB": t[0], "T_AC": t[1]}
	},
	"B03": func(p *problem) answers {
		t := cords(p.num("weight"), rise(180-p.num("leg B above horizontal")), rise(p.num("leg D"))).hang(p).Result().Tension
		return answers{"TB": t[0], "TD": t[1]}
	},
	"B04": func(p *problem) answers {
		// The weight at C is what holds the line in its drawn place: a plumb
		// cord to the ground in its stead shows it.
		n := newNet()
		e := n.node(p.num("weight at E"), statics.Vec{})
		at := rise(-p.num("EC from horizontal"))
		c := n.node(0, at)
		slope := statics.Vec{p.num("CD slope (horizontal:vertical)", 0), 0, p.num("CD slope (horizontal:vertical)", 1)}
		n.cable(world(rise(90+p.num("EG from vertical"))), e)
		n.cable(e, c)
		n.cable(c, world(at.Add(slope)))
		n.cable(c, world(at.Sub(statics.Vec{0, 0, 2})))
		t := n.hang(p).Result().Tension
		return answers{"T_EG": t[0], "T_EC": t[1], "T_CD": t[2], "W_B": t[3]}
	},
	"B05": func(p *problem) answers {
		h := p.num("common height")
		t := cords(p.num("load"), statics.Vec{-p.num("horizontal reach of leg AB"), 0, h}, statics.Vec{p.num("horizontal reach of leg AC"), 0, h}).hang(p).Result().Tension
		return answers{"T_AB": t[0], "T_AC": t[1]}
	},
	"B06": func(p *problem) answers {
		n := newNet()
		low := n.node(p.num("weight"), statics.Vec{})
		at := rise(p.num("line 2 from horizontal"))
		high := n.node(0, at)
		n.cable(low, world(statics.Vec{-2, 0, 0}))
		n.cable(low, high)
		n.cable(high, world(at.Add(statics.Vec{2, 0, 0})))
		n.cable(high, world(at.Add(rise(180-p.num("line 4 from horizontal")))))
		t := n.hang(p).Result().Tension
		return answers{"T1": t[0], "T2": t[1], "T3": t[2], "T4": t[3]}
	},
	"B07": func(p *problem) answers {
		long, total := p.num("pipe length between attachments"), p.num("total cable length (both parts)")
		d := drawing{
			unit: "m", mass: put("%v kg", p.num("mass")), g: p.num("g"), cg: [3]float64{p.num("CG from one end"), 0, 0},
			lugs: [][3]float64{{0, 0, 0}, {long, 0, 0}}, hooks: [][3]float64{{p.num("CG from one end"), 0, 2}},
		}
		hung := func(steep float64) (tilt float64, a answers) {
			d.lengths = []float64{steep, total - steep}
			h := d.hang(p)
			t, b := tensions(h, 1), &h.Bodies[0]
			return b.Points["lug1"][2] - b.Points["lug0"][2], answers{
				"flat part angle": h.Legs[1].FromHorizontal / deg, "steep part angle": h.Legs[0].FromHorizontal / deg,
				"flat part tension": t[1], "steep part tension": t[0],
			}
		}
		_, a := hung(root(func(l float64) float64 { tilt, _ := hung(l); return tilt }, 1, total/2))
		return a
	},
	"B08": func(p *problem) answers {
		h := p.num("vertical height H")
		d1, d2 := p.num("horizontal distance D1"), p.num("horizontal distance D2")
		hung := drawing{
			unit: "ft", mass: put("%v lb", p.num("load")), cg: [3]float64{0, 0, -1},
			lugs: [][3]float64{{-d1, 0, 0}, {d2, 0, 0}}, hooks: [][3]float64{{0, 0, h}},
		}.hang(p)
		t := tensions(hung, lbf)
		return answers{"TS1": t[0], "TS2": t[1]}
	},
	"B09": func(p *problem) answers {
		var members []string
		for _, x := range p.list("x of member centroids") {
			members = append(members, put("{mass: %v kg, at: %v 0 0 m}", p.num("length of each")*p.num("mass per metre"), x))
		}
		d := weigh(p, members...).CG.XYZ()[0]
		h := drawing{unit: "m", parts: members, lugs: [][3]float64{{d, 0, 1}}, hooks: [][3]float64{{d, 0, 5}}}.hang(p)
		p.near("tilt of the truss", h.Bodies[0].Tilt, 0, 1e-9)
		return answers{"d": d}
	},
	"B10": func(p *problem) answers {
		// The spacing and the weight follow from the printed figures: 500 lb are
		// the same part of the weight as the shift is of the spacing.
		part := p.num("that shift as part of the lug spacing")
		spacing := p.num("CG moves toward that side by") / part
		near := p.num("assumed load on the nearer side")
		far := 500/part - near
		share := func(x float64) float64 {
			h := drawing{
				unit: "ft", mass: put("%v lb", near+far), cg: [3]float64{x, 0, -1},
				lugs: [][3]float64{{0, 0, 0}, {spacing, 0, 0}},
			}.plumb(10).hang(p)
			return tensions(h, lbf)[0]
		}
		x := spacing * far / (near + far)
		p.near("load before", share(x), near, 1e-6)
		after := share(x - p.num("CG moves toward that side by"))
		return answers{"new load": after, "change": 100 * (after/near - 1)}
	},
	"B11": func(p *problem) answers {
		most := p.num("largest tension of either rope")
		angle := root(func(a float64) float64 {
			t := cords(p.num("weight"), rise(180-p.num("rope AB")), rise(a)).hang(p).Result().Tension
			return most - math.Max(t[0], t[1])
		}, 5, 60)
		return answers{"angle": angle}
	},
}
