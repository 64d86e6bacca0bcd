package validation

import (
	"plumbhook/metrology"
	"plumbhook/quantity"
	survey "plumbhook/weigh"
)

// reading is what one scale or cell says under one point.
type reading struct{ x, y, value float64 }

// weighed gives the x of the centre of gravity that readings in a unit of mass
// at places in inches say, by the survey of a weighing; the take-off must say the
// same. A load of that weight and centre, hung on a plumb line over each point,
// must pull the readings back: what it pulls is given as well, in the unit of the
// readings.
func weighed(p *problem, unit string, inKg float64, readings ...reading) (x float64, pulls []float64) {
	p.Helper()
	d := drawing{unit: "in"}
	for _, r := range readings {
		d.parts = append(d.parts, put("{mass: %v %v, at: %v %v -20 in}", r.value, unit, r.x, r.y))
		d.lugs = append(d.lugs, [3]float64{r.x, r.y, 0})
	}
	pulls = tensions(d.plumb(100).hang(p), inKg*g0)
	for i, t := range pulls {
		p.near("reading when hung", t, readings[i].value, 1e-7*readings[i].value)
	}
	s := survey.Survey{Gravity: survey.Gravity{Value: g0}}
	stand := survey.Placement{Runs: [][]float64{nil}}
	for i, r := range readings {
		place := func(inches float64) quantity.Measured[quantity.Length] {
			return quantity.Known(quantity.Length(inches * inch))
		}
		s.Points = append(s.Points, survey.Point{At: quantity.Point{X: place(r.x), Y: place(r.y), Z: place(0)}})
		s.Cells = append(s.Cells, survey.Cell{Accuracy: metrology.Accuracy{Capacity: 1e9}})
		stand.Seats = append(stand.Seats, survey.Seat{Point: i, Cell: i})
		stand.Runs[0] = append(stand.Runs[0], r.value*inKg*g0)
	}
	stand.Gross = stand.Runs
	s.Placements = []survey.Placement{stand}
	told, err := survey.Weigh(&s)
	if err != nil {
		p.Fatal(err)
	}
	x = told.CG[0].Value / inch
	p.near("x by the take-off", weigh(p, d.parts...).CG.XYZ()[0]/inch, x, 1e-6)
	return x, pulls
}

// wheels are two main wheels that read alike and a third on the middle line;
// the track is ours and changes nothing. Weights in lb, stations in in.
func wheels(p *problem, total, third string, thirdAt, mainAt float64) float64 {
	p.Helper()
	f := p.num(third)
	main := (p.num(total) - f) / 2
	x, _ := weighed(p, "lb", pound, reading{thirdAt, 0, f}, reading{mainAt, 50, main}, reading{mainAt, -50, main})
	return x
}

// weighing is weight and centre of gravity from scales.
var weighing = map[string]func(*problem) answers{
	"E01": func(p *problem) answers {
		return answers{"CG": wheels(p, "total W", "nose wheel reading F", p.num("distance main to nose L"), 0)}
	},
	"E02": func(p *problem) answers {
		d := p.num("D (datum to main wheels)")
		return answers{"CG": wheels(p, "W", "F", d-p.num("L"), d)}
	},
	"E03": func(p *problem) answers {
		return answers{"CG": wheels(p, "W", "F", -p.num("D")-p.num("L"), -p.num("D"))}
	},
	"E04": func(p *problem) answers {
		return answers{"CG": wheels(p, "W", "tail reading R", p.num("D")+p.num("L"), p.num("D"))}
	},
	"E05": func(p *problem) answers {
		return answers{"CG": wheels(p, "W", "R", -p.num("D")+p.num("L"), -p.num("D"))}
	},
	"E06": func(p *problem) answers {
		base := p.num("nose to main") * foot / inch
		x, r := weighed(p, "kg", 1,
			reading{0, 0, p.num("nose")}, reading{base, 50, p.num("left main")}, reading{base, -50, p.num("right main")})
		return answers{"total": r[0] + r[1] + r[2], "CG aft of nose wheel": x, "CG ahead of main wheels": base - x}
	},
	"E07": func(p *problem) answers {
		nose, main := "nose jack arm, reading", "each main jack arm, reading"
		x, r := weighed(p, "kg", 1, reading{p.num(nose, 0), 0, p.num(nose, 1)},
			reading{p.num(main, 0), 100, p.num(main, 1)}, reading{p.num(main, 0), -100, p.num(main, 1)})
		total := r[0] + r[1] + r[2]
		return answers{"total": total, "total moment": total * x, "CG": x}
	},
	"E11": func(p *problem) answers {
		w, base, ref := p.num("total"), p.num("wheelbase"), p.num("reference point ahead of front axle")
		front := w * p.num("front share")
		x, r := weighed(p, "lb", pound, reading{ref, 0, front}, reading{ref + base, 0, w - front})
		return answers{"front": r[0], "rear": r[1], "CG behind reference": x, "CG behind front axle": x - ref}
	},
	"O03": func(p *problem) answers {
		// Four cells on equal stiff legs: what is left of the readings when
		// the weight and its centre are taken out is a state of self-stress. Legs off
		// in length by that force over their stiffness show all four readings.
		given := "cell positions x,y and readings"
		var readings []reading
		for i := range 4 {
			readings = append(readings, reading{p.num(given, i, 0), p.num(given, i, 1), p.num(given, i, 2)})
		}
		d := drawing{unit: "m", stiffness: "1e12 N/m"}
		for _, r := range readings {
			d.parts = append(d.parts, put("{mass: %v t, at: %v %v -2 m}", r.value, r.x, r.y))
			d.lugs = append(d.lugs, [3]float64{r.x, r.y, 0})
		}
		c := weigh(p, d.parts...).CG.XYZ()
		d = d.plumb(10)
		even := tensions(d.hang(p), tonf)
		own := readings[0].value - even[0]
		for i, r := range readings {
			sign := float64(1 - 2*(i%2))
			p.near("self-balancing part", r.value-even[i], sign*own, 1e-4)
			d.lengths = append(d.lengths, 10-sign*own*tonf/1e12)
		}
		t := tensions(d.hang(p), tonf)
		for i, r := range readings {
			p.near("reading with legs off in length", t[i], r.value, 1e-4)
		}
		return answers{
			"total": t[0] + t[1] + t[2] + t[3], "CG x": c[0], "CG y": c[1],
			"diagonal 1-3": t[0] + t[2], "diagonal 2-4": t[1] + t[3], "self-balancing part in each cell": own,
		}
	},
}
