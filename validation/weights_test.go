package validation

import (
	"math"
	"strings"
	"testing"
	"testing/fstest"

	"plumbhook/lift"
	"plumbhook/takeoff"
)

// weigh takes parts, written as in a lift file, through the weight take-off.
func weigh(t testing.TB, parts ...string) takeoff.Total {
	t.Helper()
	return weighWith(t, nil, parts...)
}

// weighWith has a mesh.obj beside the file.
func weighWith(t testing.TB, mesh []byte, parts ...string) takeoff.Total {
	t.Helper()
	text := "plumbhook: 1\nload:\n  parts:\n  - " + strings.Join(parts, "\n  - ") +
		"\n  lugs: {eye: {at: 0 0 1 m}}\nhooks: {hook: {}}\nlegs: {leg: {from: hook, to: load.eye, length: 1 m}}\n"
	l, err := lift.Read("problem.yaml", fstest.MapFS{"mesh.obj": {Data: mesh}}, []byte(text))
	if err != nil {
		t.Fatalf("%v\n%s", err, text)
	}
	total, err := l.Load.Sheet.Sum(l.Load.Wet)
	if err != nil {
		t.Fatalf("%v\n%s", err, text)
	}
	return total
}

const (
	inch = 0.0254 // m, exact
	foot = 0.3048 // m, exact
	mm   = 0.001  // m
)

// weights are masses and centres of gravity of parts.
var weights = map[string]func(*problem) answers{
	"D01": func(p *problem) answers {
		kg := float64(weigh(p, put("{shape: {kind: plate, length: %v m, width: %v m, thickness: %v m}, material: Hardwood, at: 0 0 0 m}",
			p.num("length"), p.num("width"), p.num("height"))).Mass.Value)
		return answers{"weight": kg, "volume": kg / p.num("hardwood unit weight")}
	},
	"D02": func(p *problem) answers {
		volume := func(part string) float64 {
			a, b, h := p.num("pyramid base, height", 0), p.num("pyramid base, height", 1), p.num("pyramid base, height", 2)
			pyramid := put("v 0 0 0\nv %v 0 0\nv %v %v 0\nv 0 %v 0\nv %v %v %v\nf 4 3 2 1\nf 1 2 5\nf 2 3 5\nf 3 4 5\nf 4 1 5\n", a, a, b, b, a/2, b/2, h)
			return float64(weighWith(p, []byte(pyramid), "{"+part+", density: 1 kg/m3, at: 0 0 0 m}").Mass.Value)
		}
		return answers{
			"circle area":    volume(put("shape: {kind: cylinder, diameter: %v m, height: 1 m}", 2*p.num("circle radius"))),
			"triangle area":  volume(put("shape: {kind: prism, base: %v m, height: %v m, length: 1 m}", p.num("triangle base, height", 0), p.num("triangle base, height", 1))),
			"pyramid volume": volume("mesh: {file: mesh.obj, unit: m}"),
			"box volume":     volume(put("shape: {kind: plate, length: %v m, width: %v m, thickness: %v m}", p.num("box", 0), p.num("box", 1), p.num("box", 2))),
			"sphere volume":  volume(put("shape: {kind: sphere, diameter: %v m}", 2*p.num("sphere radius"))),
		}
	},
	"D03": func(p *problem) answers {
		ring := func(area, radius, cut string) string { // volume by Pappus
			return put("{volume: %v m3, density: %v kg/m3, at: 0 0 0 m%v}", 2*math.Pi*p.num(radius)*mm*p.num(area)*mm*mm, p.num("steel density"), cut)
		}
		kg := float64(weigh(p, ring("outer section area", "outer radius", ""), ring("hole section area", "hole radius", ", cut: true")).Mass.Value)
		return answers{"mass": kg, "weight": kg * p.num("g")}
	},
	"D04": func(p *problem) answers {
		frustum, tip := "frustum as full cone: base radius, height, CG z, density", "minus cone tip: radius, height, CG z, density"
		bore, ball := "minus bore: radius, length, CG z, density", "hemisphere: radius, CG z, density"
		r := p.num(ball, 0) * mm
		return answers{"z": weigh(
			p,
			put("{shape: {kind: frustum, diameter: %v mm, top: %v mm, height: %v mm}, density: %v kg/m3, at: 0 0 0 m}",
				2*p.num(frustum, 0), 2*p.num(tip, 0), p.num(frustum, 1)-p.num(tip, 1), 1000*p.num(frustum, 3)),
			put("{shape: {kind: cylinder, diameter: %v mm, height: %v mm}, density: %v kg/m3, at: 0 0 0 m, cut: true}",
				2*p.num(bore, 0), p.num(bore, 1), 1000*p.num(bore, 3)),
			put("{volume: %v m3, density: %v kg/m3, at: 0 0 %v mm}", 2*math.Pi/3*r*r*r, 1000*p.num(ball, 2), p.num(ball, 1)),
		).CG.XYZ()[2] / mm}
	},
	"D05": func(p *problem) answers {
		var parts []string
		for i, a := range p.list("areas (hole negative)") {
			parts = append(parts, put("{volume: %v m3, density: 1 kg/m3, at: %v %v 0 m, cut: %v}", math.Abs(a), p.num("x", i), p.num("y", i), map[bool]string{true: "true", false: "false"}[a < 0]))
		}
		c := weigh(p, parts...).CG.XYZ()
		return answers{"x": c[0], "y": c[1]}
	},
	"D06": func(p *problem) answers {
		// The plate of the figure, drawn 1 m per mm and 1 m thick.
		total := weigh(
			p,
			"{shape: {kind: plate, length: 120 m, width: 80 m, thickness: 1 m}, density: 1 kg/m3, at: 60 40 0 m}",
			"{shape: {kind: prism, base: 120 m, height: 60 m, length: 1 m}, turn: 90 deg about x, density: 1 kg/m3, at: 0 0 0 m}",
			put("{volume: %v m3, density: 1 kg/m3, at: %v %v 0 m}", p.num("areas: rectangle, triangle, half circle, hole", 2), p.num("x", 2), p.num("y", 2)),
			put("{shape: {kind: cylinder, diameter: 80 m, height: 1 m}, density: 1 kg/m3, at: %v %v 0 m, cut: true}", p.num("x", 3), p.num("y", 3)),
		)
		for i, l := range total.Lines { // the parts as drawn are those of the text
			p.near("area", float64(l.Mass.Value), p.num("areas: rectangle, triangle, half circle, hole", i), 1e-9)
			p.near("x of part", l.At.XYZ()[0], p.num("x", i), 1e-9)
			p.near("y of part", l.At.XYZ()[1], p.num("y", i), 1e-9)
		}
		m, c := float64(total.Mass.Value), total.CG.XYZ()
		return answers{"Qx": m * c[1], "Qy": m * c[0], "x": c[0], "y": c[1]}
	},
	"D07": func(p *problem) answers {
		r, l := p.num("radius"), p.num("cylinder length")
		return answers{"x": weigh(
			p,
			put("{volume: %v m3, density: 1 t/m3, at: %v 0 0 mm}", 2*math.Pi/3*math.Pow(r*mm, 3), p.num("parts: hemisphere, cylinder, minus cone; x", 0)),
			put("{shape: {kind: cylinder, diameter: %v mm, height: %v mm}, density: 1 t/m3, at: 0 0 0 mm, turn: 90 deg about y}", 2*r, l),
			put("{shape: {kind: cone, diameter: %v mm, height: %v mm}, density: 1 t/m3, at: %v 0 0 mm, turn: -90 deg about y, cut: true}", 2*r, l, l),
		).CG.XYZ()[0] / mm}
	},
	"D08": func(p *problem) answers {
		side := p.num("square opening side")
		plate, opening := p.num("steel plate", 0)*p.num("steel plate", 1)/144, side*side // ft²
		return answers{"x": weigh(
			p,
			put("{mass: %v lb, at: %v 0 0 in}", plate*p.num("steel weight"), p.num("steel plate", 0)/2),
			put("{mass: %v lb, at: %v 0 0 in, cut: true}", opening*p.num("steel weight"), p.num("opening centre x")),
			put("{mass: %v lb, at: %v 0 0 in}", opening*p.num("glass weight"), p.num("opening centre x")),
		).CG.XYZ()[0] / foot}
	},
	"D09": func(p *problem) answers {
		var parts []string
		for i, w := range p.list("weights") {
			parts = append(parts, put("{mass: %v lb, at: %v %v %v in}", w, p.num("x", i), p.num("y", i), p.num("z", i)))
		}
		c := weigh(p, parts...).CG.XYZ()
		return answers{"x": c[0] / inch, "y": c[1] / inch, "z": c[2] / inch}
	},
	"D10": func(p *problem) answers {
		wire := func(i int, x, y, angle float64) string {
			return put("{shape: {kind: bar, width: 1 mm, length: %v mm}, density: 1 t/m3, at: %v %v 0 mm, turn: %v rad about z}", p.num("lengths", i), x, y, angle)
		}
		total := weigh(p, wire(0, 0, 0, 0), wire(1, 0, 250, math.Atan2(-250, 600)), wire(2, 0, 0, math.Pi/2))
		for i, l := range total.Lines {
			p.near("x of middle", l.At.XYZ()[0]/mm, p.num("x of middles", i), 1e-9)
			p.near("y of middle", l.At.XYZ()[1]/mm, p.num("y of middles", i), 1e-9)
		}
		c := total.CG.XYZ()
		return answers{"x": c[0] / mm, "y": c[1] / mm}
	},
	"E08": func(p *problem) answers {
		w, moved, moment := p.num("total weight"), p.num("weight moved"), p.num("total moment before")
		from, to := p.num("from station"), p.num("to station")
		rest := put("{mass: %v lb, at: %v 0 0 in}", w-moved, (moment-moved*from)/(w-moved))
		x := func(station float64) float64 {
			return weigh(p, rest, put("{mass: %v lb, at: %v 0 0 in}", moved, station)).CG.XYZ()[0] / inch
		}
		return answers{"moment change": w * (x(to) - x(from)), "new CG": x(to)}
	},
	"E09": func(p *problem) answers {
		shift := func(moved, by, total float64) float64 {
			return weigh(p, put("{mass: %v lb, at: 0 0 0 in}", total-moved), put("{mass: %v lb, at: %v 0 0 in}", moved, by)).CG.XYZ()[0] / inch
		}
		one, two := "case 1: weight moved, distance, total", "case 2: total, wanted CG change, distance available"
		return answers{
			"CG change": shift(p.num(one, 0), p.num(one, 1), p.num(one, 2)),
			"weight to move": root(func(w float64) float64 {
				return shift(w, p.num(two, 2), p.num(two, 0)) - p.num(two, 1)
			}, 1, 1000),
		}
	},
	"E10": func(p *problem) answers {
		now := put("{mass: %v lb, at: %v 0 0 in}", p.num("total weight"), p.num("CG now"))
		return answers{"added weight": root(func(w float64) float64 {
			return weigh(p, now, put("{mass: %v lb, at: %v 0 0 in}", w, p.num("station of added weight"))).CG.XYZ()[0]/inch - p.num("aft limit")
		}, 1, 1000)}
	},
}
