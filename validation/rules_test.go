package validation

import (
	"fmt"
	"math"

	"plumbhook/crane"
	"plumbhook/gear"
	"plumbhook/quantity"
)

// rules are factors and rules that codes print: how machines and gear are
// held against them.
var rules = map[string]func(*problem) answers{
	"J01": func(p *problem) answers {
		v, tonnes, cw := quantity.Speed(p.num("chart wind speed")), p.num("load"), p.num("drag coefficient")
		area := quantity.Area(p.num("load length x diameter", 0) * p.num("load length x diameter", 1))
		ref := crane.Reference{PerTonne: p.num("chart reference area per tonne"), Cw: cw}
		allowed := crane.Derated(v, crane.Sail{Area: area, Cw: cw, Mass: quantity.Mass(1000 * tonnes)}, ref)
		return answers{
			"q at chart speed": float64(crane.WindPressure(v)),
			"wind force":       float64(crane.WindForce(v, crane.Sail{Area: quantity.Area(ref.PerTonne * tonnes), Cw: cw})),
			"load area":        float64(area),
			"allowed q":        float64(crane.WindPressure(allowed.Speed)),
		}
	},
	"K01": func(p *problem) answers {
		a := answers{}
		for _, ratio := range p.list("D/d list") {
			if share, ok := gear.BendEfficiency(ratio); ok {
				a[fmt.Sprintf("D/d %g", ratio)] = 1 / share.Share
			}
		}
		return a
	},
	"K02": func(p *problem) answers {
		a := answers{}
		for i, w := range p.list("gross weights") {
			f, err := crane.MarineOlder(quantity.Mass(1000 * w))
			p.must(err)
			name := fmt.Sprintf("offshore %g t", w)
			if i > 0 {
				name += " (next band start)"
			}
			a[name] = f.Value * w
		}
		return a
	},
	"K03": func(p *problem) answers { return marine(p, "%[2]g t", crane.Offshore) },
	"K05": func(p *problem) answers {
		static, s := p.num("static sling load"), crane.Sea
		return answers{
			"lift point, open sea": s.LiftPointOpen * static, "other members, open sea": s.OtherOpen * static,
			"lift point, sheltered": s.LiftPointSheltered * static, "other members, sheltered": s.OtherSheltered * static,
			"side load on lift point": s.SideLoad * static,
		}
	},
	"K06": func(p *problem) answers {
		factor := func(class string, v float64) float64 {
			f, err := crane.Hoisting(class, quantity.Speed(v))
			p.must(err)
			return f.Value
		}
		a := answers{"printed example": factor("HC4", p.num("speed of the printed example, class HC4")/60)}
		for _, class := range []string{"HC1", "HC2", "HC3", "HC4"} {
			v := p.num("a speed of hoisting")
			a["least factor, "+class] = factor(class, 0)
			a["more for each m/s, "+class] = (factor(class, v) - factor(class, 0)) / v
		}
		return a
	},
	"K07": func(p *problem) answers {
		a := marine(p, "%s, %g t", crane.Onshore, crane.Inshore)
		delete(a, "inshore, 50 t") // a formula there, see K03
		return a
	},
	"L01": func(p *problem) answers {
		return proofs(p, "29 CFR 1919.28(a)", "crane or other hoisting machine with its gear", 2240*lbf, "%g tons", p.list("safe working loads")...)
	},
	"L02": func(p *problem) answers {
		return proofs(p, "29 CFR 1918 App I Form 3 (ILO)", "chain, hook, ring, shackle, swivel", tonf, "%g t", p.list("SWL")...)
	},
	"L03": func(p *problem) answers {
		a := proofs(p, "DOE-STD-1090-96 15.4.7.3", "alloy chain bridle, each leg", tonf, "%g", p.num("vertical rated capacity of one leg"))
		return answers{"proof load per leg": a["5"]}
	},
	"M02": func(p *problem) answers {
		a, rating := answers{}, p.num("choker rating of a sling")
		for name, angle := range map[string]float64{"over 120": 121, "90-120": 105, "60-89": 75, "30-59": 45, "0-29": 15} {
			if share, ok := gear.ChokeAngle(gear.MaterialWireRope, quantity.Angle(angle*deg)); ok {
				a["angle "+name] = share.Share * rating
			}
		}
		return a
	},

	"R01": func(p *problem) answers { return net4(p, "gross capacity at 45 ft") },
	"R02": func(p *problem) answers { return net4(p, "gross capacity at 30 ft") },
	"R03": func(p *problem) answers {
		n := p.list("main block, extension stowed, rigging, load")
		return answers{"gross load": hangs(p, n, crane.MainBlock, crane.Jib, crane.Slings, crane.Load) / lbf}
	},
	"R04": func(p *problem) answers {
		short, long := p.num("charted boom lengths", 0), p.num("charted boom lengths", 1)
		a := chart(p, fmt.Sprintf("radius in ft,%g ft,%g ft\n40,21000,20800\n", short, long)).
			Capacity("", feet(40), feet(p.num("boom")))
		return answers{"boom length to read": float64(a.Cells[a.Governs].Boom.Value) / foot}
	},
	"R05": func(p *problem) answers {
		const cells = "capacities at the first radius, then at the second"
		text := fmt.Sprintf("radius in ft,%g ft,%g ft\n", p.num("charted boom lengths", 0), p.num("charted boom lengths", 1))
		for i, r := range p.list("charted radii") {
			text += fmt.Sprintf("%g,%g,%g\n", r, p.num(cells, i, 0), p.num(cells, i, 1))
		}
		a := chart(p, text).Capacity("", feet(p.num("radius, boom", 0)), feet(p.num("radius, boom", 1)))
		return answers{"capacity": float64(a.Capacity.Force) / lbf}
	},
	"R06": func(p *problem) answers {
		a, share := answers{}, p.num("share of each crane")
		red, err := crane.Reduce("queensland")
		p.must(err)
		for _, n := range []int{2, 3, 4} {
			capacity := 100.0
			uses := make([]crane.Use, n)
			for i := range uses {
				uses[i] = crane.Use{GrossN: share, CapacityN: &capacity, Status: crane.Holds}
			}
			parts, err := crane.Together(red, uses)
			p.must(err)
			a[fmt.Sprintf("capacity needed of each of %d", n)] = share * capacity / *parts[0].ReducedN
		}
		return a
	},

	"S01": func(p *problem) answers {
		d, l := p.num("rope diameter")/1000, p.num("sling length")
		a, b := p.num("half sides of the lug rectangle", 0), p.num("half sides of the lug rectangle", 1)
		stiffness := 1e6 * p.num("modulus on the area 0.785 d²") * 0.785 * d * d / l
		apart := p.num("lengths of a pair apart by, at most") * d
		even := stiffness * apart // stretches a sling by that much
		rise := math.Sqrt(l*l - a*a - b*b)
		four := func(first, other float64) []float64 {
			t := tensions(drawing{
				unit: "m", mass: put("%v kg", 4*even*rise/l/g0), cg: [3]float64{0, 0, -2}, hooks: [][3]float64{{0, 0, rise}},
				lugs: [][3]float64{{a, b, 0}, {a, -b, 0}, {-a, -b, 0}, {-a, b, 0}}, stiffness: put("%v N/m", stiffness),
				lengths: []float64{l + first, l + other, l, l},
			}.hang(p), 1)
			mean := (t[0] + t[1] + t[2] + t[3]) / 4
			return []float64{(t[0] + t[2]) / 2 / mean, (t[1] + t[3]) / 2 / mean}
		}
		// The diagonal with the longer sling is relieved, the other one takes
		// over what it loses.
		return answers{"first diagonal over an even share": four(0, apart)[0], "other diagonal over an even share": four(apart, 0)[1]}
	},
	"S02": func(p *problem) answers {
		l, r := p.num("sling length"), p.num("lugs on a circle of radius")
		rise := math.Sqrt(l*l - r*r)
		x, y := r*math.Cos(120*deg), r*math.Sin(120*deg)
		t := tensions(drawing{
			unit: "m", mass: "30 t", cg: [3]float64{0, 0, -2}, hooks: [][3]float64{{0, 0, rise}},
			lugs: [][3]float64{{r, 0, 0}, {x, y, 0}, {x, -y, 0}}, lengths: []float64{l + p.num("one sling longer by")/1000, l, l},
		}.hang(p), 1)
		return answers{"largest pull over an even share": 3 * max(t[0], t[1], t[2]) / (t[0] + t[1] + t[2])}
	},
}

func feet(n float64) quantity.Measured[quantity.Length] {
	return quantity.Known(quantity.Length(n * foot))
}

func (p *problem) must(err error) {
	p.Helper()
	if err != nil {
		p.Fatalf("%s: %v", p.ID, err)
	}
}

// proofs gives the proof loads of a source for gear of given ratings.
func proofs(p *problem, source, of string, unit float64, name string, ratings ...float64) answers {
	p.Helper()
	a := answers{}
	for _, swl := range ratings {
		for _, g := range gear.Proofs() {
			if g.Source != source || g.Gear != of {
				continue
			}
			if load, ok := g.Load(quantity.Force(swl * unit)); ok {
				a[fmt.Sprintf(name, swl)] = float64(load) / unit
			}
		}
	}
	return a
}

// marine gives the dynamic factors of 0027/ND by weight, the hook load being
// as much. The name is written from place and weight.
func marine(p *problem, name string, places ...crane.Waters) answers {
	a := answers{}
	for _, in := range places {
		for _, w := range p.list("weights") {
			m := quantity.Mass(1000 * w)
			f, err := crane.Marine(in, m, m)
			p.must(err)
			a[fmt.Sprintf(name, in, w)] = f.Value
		}
	}
	return a
}

// net4 takes what a chart counts as load off its figure.
func net4(p *problem, gross string) answers {
	n := p.list("main block, auxiliary ball, extension stowed, auxiliary boom head")
	off := hangs(p, n, crane.MainBlock, crane.AuxBlock, crane.Jib, crane.Other) / lbf
	return answers{"deductions": off, "net capacity": p.num(gross) - off}
}

// hangs builds up what hangs on a machine from masses in pounds, N.
func hangs(p *problem, pounds []float64, items ...crane.Item) float64 {
	var lines []crane.Line
	for i, n := range pounds {
		lines = append(lines, crane.Mass(items[i], string(items[i]), quantity.Known(quantity.Mass(n*pound)), quantity.StandardGravity, "the problem"))
	}
	g, err := crane.Total("crane", lines...)
	p.must(err)
	return g.N
}

func chart(p *problem, table string) *crane.Chart {
	c, err := crane.Parse("chart.csv", []byte("crane,one\nset-up,as stated\nsource,the problem\ncapacity in lb\n"+table))
	p.must(err)
	return c
}
