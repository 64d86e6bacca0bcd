package rulebook

import (
	"math"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// Pieces of plans.
const (
	shackle  = "{kind: bow shackle, length: 84 mm, size: 3/4 in, pin: 22 mm, jaw: 32 mm, inside: 51 mm, up: bow, pin_type: bolt, wll: %s}"
	rope     = "{kind: wire rope sling, rope: 6x19 EIPS IWRC, splice: mechanical, diameter: 12 mm, ends: thimble, thimble: 40 mm, length: 2 m, stiffness: 5 MN/m, wll: 30 kN}"
	web      = "{kind: web sling, material: polyester, width: 50 mm, length: 2 m, stiffness: 500 kN/m, wll: %s}"
	chain    = "{kind: alloy chain sling, grade: 8, size: 10 mm, length: 2 m, stiffness: 5 MN/m, wll: %s}"
	plate    = "wll: 50 kN, type: plate, hole: 25 mm, thickness: 25 mm, axis: 0 1 0"
	sideways = "wll: 50 kN, type: plate, hole: 25 mm, thickness: 25 mm, axis: 1 0 0"
	spreader = "spreaders: {bar: {mass: 100 kg, cg: 0 0 0 m, wll: 50 kN, least_top_angle: %s, points: {t1: -1 0 0.1 m, t2: 1 0 0.1 m, l1: -1 0 -0.1 m, l2: 1 0 -0.1 m}}}"
	underBar = "  a: {from: main, to: bar.t1, length: 2 m, wll: 30 kN}\n  b: {from: main, to: bar.t2, length: 2 m, wll: 30 kN}\n  c: {from: bar.l1, to: load.west, length: 1 m, wll: 30 kN}\n  d: {from: bar.l2, to: load.east, length: 1 m, wll: 30 kN}\n"
	crawler  = "crane: {main: {chart: charts/crawler-crane.csv, radius: %s, boom: 24 m, block: 350 kg}}"
)

func stack(entries ...string) string { return "stack: [" + strings.Join(entries, ", ") + "]" }

func with(format, s string) string { return strings.Replace(format, "%s", s, 1) }

// basket is a rope from the hook under both lugs and back. It is 6 m long: 2 m
// on each side, which stand at 60°.
func basket(entry, keys string) plan {
	return plan{legs: "  rope: {from: main, via: [load.west, load.east], to: main, hitch: basket, length: 6 m, " + keys + entry + "}\n"}
}

const ropeInBasket = "stack: [{kind: wire rope sling, rope: 6x19 EIPS IWRC, splice: mechanical, diameter: 12 mm, length: 6 m, stiffness: 5 MN/m, wll: %s}]"

// four is a load on four legs of 2 m that lean 29.7° from the vertical.
func four(wll, cg string) plan {
	leg := ", length: 2 m, stiffness: 5 MN/m, wll: " + wll + "}\n"
	return plan{
		cg:   cg,
		east: "wll: 50 kN}\n    nw: {at: -0.7 0.7 1 m}\n    ne: {at: 0.7 0.7 1 m}\n    sw: {at: -0.7 -0.7 1 m}\n    se: {at: 0.7 -0.7 1 m",
		legs: "  nw: {from: main, to: load.nw" + leg + "  ne: {from: main, to: load.ne" + leg + "  sw: {from: main, to: load.sw" + leg + "  se: {from: main, to: load.se" + leg,
	}
}

func tandem(rule string) plan {
	p := plan{top: "crane:\n  a: {chart: charts/crawler-crane.csv, radius: 20 m, boom: 24 m, block: 0 kg, " + rule + "}\n  b: {chart: charts/crawler-crane.csv, radius: 20 m, boom: 24 m, block: 3200 kg}"}
	p.legs = "  west: {from: a, to: load.west, length: 2 m, wll: 30 kN}\n  east: {from: b, to: load.east, length: 2 m, wll: 30 kN}\n"
	return p
}

// cases holds for every rule one plan at least that trips it and one that does
// not; what is not said is not assessed.
var cases = []struct {
	rule, book string
	plan       plan
	where      string
	want       string // severity, holds, open or nothing
}{
	{"tag", "us", plan{westLeg: "length: 2 m, tag: missing, wll: 30 kN"}, "legs.west", "stop"},
	{"tag", "us", plan{westLeg: "length: 2 m, tag: legible, wll: 30 kN"}, "legs.west", "holds"},
	{"tag", "us", plan{}, "legs.west", "open"},
	{"tag", "eu", plan{westLeg: "tag: legible, " + stack(strings.Replace(rope, "wll", "tag: illegible, wll", 1))}, "legs.west.stack[1]", "stop"},
	{"tag", "eu", plan{westLeg: "tag: legible, " + stack(rope)}, "legs.west.stack[1]", "holds"},

	{"least-angle", "us", plan{westLeg: "length: 1.1 m", eastLeg: "length: 1.1 m"}, "legs.west", "stop"},
	{"least-angle", "us", plan{}, "legs.west", "holds"},
	{"least-angle", "eu", plan{westLeg: "length: 1.1 m", eastLeg: "length: 1.1 m"}, "legs.west", "stop"},
	{"least-angle", "eu", plan{}, "legs.west", "holds"},
	{"included-angle", "us", plan{westLeg: "length: 1.3 m", eastLeg: "length: 1.3 m"}, "hooks.main", "note"},
	{"included-angle", "us", plan{}, "hooks.main", "holds"},
	{"included-angle", "eu", plan{westLeg: "length: 1.3 m", eastLeg: "length: 1.3 m"}, "hooks.main", "note"},
	{"included-angle", "eu", plan{}, "hooks.main", "holds"},

	// Four legs share 5.64 kN each; counted as three 7.53 kN, as two 11.3 kN.
	{"three-of-four", "us", four("7 kN", ""), "hooks.main", "stop"},
	{"three-of-four", "us", four("8 kN", ""), "hooks.main", "holds"},
	{"three-of-four", "us", plan{}, "hooks.main", "nothing"},
	{"three-of-four", "eu", four("7 kN", ""), "hooks.main", "stop"},
	{"three-of-four", "eu", four("8 kN", ""), "hooks.main", "holds"},
	{"two-of-four", "us", four("8 kN", ""), "hooks.main", "note"},
	{"two-of-four", "us", four("12 kN", ""), "hooks.main", "holds"},

	// 19.61 kN on two legs 30° from the vertical: 1.4 × the rating of one.
	{"en-mode", "eu", plan{westLeg: "length: 2 m, wll: 13.9 kN", eastLeg: "length: 2 m, wll: 13.9 kN"}, "hooks.main", "stop"},
	{"en-mode", "eu", plan{westLeg: "length: 2 m, wll: 14.1 kN", eastLeg: "length: 2 m, wll: 14.1 kN"}, "hooks.main", "holds"},
	{"en-mode", "eu", plan{cg: "0.3 0 0.5 m"}, "hooks.main", "note"},
	{"en-mode", "eu", four("9.3 kN", ""), "hooks.main", "stop"}, // 2.1 × 9.3 kN
	{"en-mode", "eu", four("9.4 kN", ""), "hooks.main", "holds"},
	{"en-mode", "eu", basket(with(ropeInBasket, "14.1 kN"), ""), "legs.rope", "open"}, // no factor for a basket of wire rope
	{"en-mode", "eu", basket("", "wll: 14.1 kN, "), "legs.rope", "open"},
	{"en-mode", "eu", basket(stack(strings.Replace(with(web, "14.1 kN"), "2 m", "6 m", 1)), ""), "legs.rope", "holds"},
	{"en-mode", "eu", basket(stack(strings.Replace(with(web, "13 kN"), "2 m", "6 m", 1)), ""), "legs.rope", "stop"},
	{"en-mode", "us", plan{}, "hooks.main", "nothing"},

	{"assembly-tag", "us", plan{westLeg: "length: 2 m, assembly_wll: {wll: 19 kN, legs: 2, angle: 45 deg from horizontal}"}, "hooks.main", "stop"},
	{"assembly-tag", "us", plan{westLeg: "length: 2 m, assembly_wll: {wll: 20 kN, legs: 2, angle: 45 deg from horizontal}"}, "hooks.main", "holds"},
	{"assembly-tag", "us", plan{westLeg: "length: 2 m, assembly_wll: {wll: 50 kN, legs: 2, angle: 20 deg from vertical}"}, "hooks.main", "stop"},
	{"assembly-tag", "us", plan{westLeg: "length: 2 m, assembly_wll: {wll: 50 kN, legs: 2, angle: 90 deg included}"}, "hooks.main", "holds"},
	{"assembly-tag", "us", plan{westLeg: "length: 2 m, assembly_wll: {wll: 50 kN, legs: 3, angle: 45 deg from horizontal}"}, "hooks.main", "open"},

	{"choker", "us", plan{westLeg: "hitch: choker, choke_angle: 130 deg, " + stack(with(web, "14 kN"))}, "legs.west.stack[1]", "stop"}, // 0.8 × 14
	{"choker", "us", plan{westLeg: "hitch: choker, choke_angle: 130 deg, " + stack(with(web, "15 kN"))}, "legs.west.stack[1]", "holds"},
	{"choker", "us", plan{westLeg: "hitch: choker, choke_angle: 130 deg, length: 2 m, wll: 30 kN, choker_wll: 11 kN"}, "legs.west", "stop"},
	{"choker", "us", plan{westLeg: "hitch: choker, choke_angle: 130 deg, length: 2 m, wll: 30 kN"}, "legs.west", "open"},
	{"choker", "eu", plan{westLeg: "hitch: choker, choke_angle: 130 deg, " + stack(with(web, "14 kN"))}, "legs.west.stack[1]", "stop"},
	{"choker", "eu", plan{westLeg: "hitch: choker, choke_angle: 130 deg, " + stack(with(chain, "15 kN"))}, "legs.west.stack[1]", "holds"},
	{"choke-angle", "us", plan{westLeg: "hitch: choker, choke_angle: 50 deg, " + stack(with(web, "22 kN"))}, "legs.west.stack[1]", "stop"}, // 0.8 × 0.62 × 22 = 10.9
	{"choke-angle", "us", plan{westLeg: "hitch: choker, choke_angle: 50 deg, " + stack(with(web, "23 kN"))}, "legs.west.stack[1]", "holds"},
	{"choke-angle", "us", plan{westLeg: "hitch: choker, " + stack(with(web, "30 kN"))}, "legs.west", "open"},
	{"choke-angle", "us", plan{westLeg: "hitch: choker, choke_angle: 50 deg, " + stack(with(chain, "30 kN"))}, "legs.west", "open"},
	{"choke-angle", "eu", plan{westLeg: "hitch: choker, choke_angle: 50 deg, " + stack(with(web, "22 kN"))}, "legs.west.stack[1]", "stop"},
	{"choke-angle", "eu", plan{westLeg: "hitch: choker, choke_angle: 50 deg, " + stack(with(web, "23 kN"))}, "legs.west.stack[1]", "holds"},

	// D/d = 100/12 leaves 1 - 0.5/√8.33 = 0.827.
	{"basket-bend", "us", basket(with(ropeInBasket, "13 kN"), "bend: 100 mm, "), "legs.rope.stack[1]", "stop"},
	{"basket-bend", "us", basket(with(ropeInBasket, "14 kN"), "bend: 100 mm, "), "legs.rope.stack[1]", "caution"},
	{"basket-bend", "us", basket(with(ropeInBasket, "14 kN"), "bend: 300 mm, "), "legs.rope.stack[1]", "holds"},
	{"basket-bend", "us", basket(with(ropeInBasket, "14 kN"), "bend: 11 mm, "), "legs.rope.stack[1]", "stop"},
	{"basket-bend", "us", basket(with(ropeInBasket, "14 kN"), ""), "legs.rope", "open"},
	{"basket-bend", "us", basket("", "wll: 14 kN"), "legs.rope", "open"},
	{"basket-bend", "eu", basket(with(ropeInBasket, "13 kN"), "bend: 100 mm, "), "legs.rope.stack[1]", "stop"},
	{"basket-bend", "eu", basket(with(ropeInBasket, "14 kN"), "bend: 300 mm, "), "legs.rope.stack[1]", "holds"},
	{"basket-rating", "us", basket("", "wll: 30 kN, basket_wll: 21.5 kN"), "legs.rope", "stop"}, // 11 kN on each side
	{"basket-rating", "us", basket("", "wll: 30 kN, basket_wll: 23 kN"), "legs.rope", "holds"},
	{"basket-rating", "eu", basket("", "wll: 30 kN, basket_wll: 21.5 kN"), "legs.rope", "stop"},
	{"basket-rating", "eu", basket("", "wll: 30 kN, basket_wll: 23 kN"), "legs.rope", "holds"},
	{"basket-slide", "us", shifted(basket("", "wll: 30 kN, friction: 0.05")), "legs.rope", "stop"},
	{"basket-slide", "us", shifted(basket("", "wll: 30 kN, friction: 0.4")), "legs.rope", "caution"},
	{"basket-slide", "us", shifted(basket("", "wll: 30 kN")), "legs.rope", "open"},
	{"basket-slide", "us", basket("", "wll: 30 kN, friction: 0.05"), "legs.rope", "holds"},

	{"shackle-side-load", "us", plan{west: sideways, westLeg: stack(rope, with(shackle, "16 kN"))}, "legs.west.stack[2]", "stop"}, // 29° sideways: 0.7 × 16
	{"shackle-side-load", "us", plan{west: sideways, westLeg: stack(rope, with(shackle, "20 kN"))}, "legs.west.stack[2]", "caution"},
	{"shackle-side-load", "us", plan{west: plate, westLeg: stack(rope, with(shackle, "16 kN"))}, "legs.west.stack[2]", "holds"},
	{"shackle-side-load", "us", plan{west: "wll: 50 kN", westLeg: stack(rope, with(shackle, "16 kN"))}, "legs.west.stack[2]", "open"},
	{"shackle-side-load", "us", plan{west: "wll: 50 kN, type: plate", westLeg: stack(rope, with(shackle, "16 kN"))}, "legs.west.stack[2]", "open"},
	{"shackle-side-load", "eu", plan{west: sideways, westLeg: stack(rope, with(shackle, "16 kN"))}, "legs.west.stack[2]", "stop"},
	{"shackle-side-load", "eu", plan{west: plate, westLeg: stack(rope, with(shackle, "16 kN"))}, "legs.west.stack[2]", "holds"},
	{"plate-side-pull", "us", plan{west: sideways}, "load.west", "caution"},
	{"plate-side-pull", "us", plan{west: plate}, "load.west", "holds"},
	{"plate-side-pull", "eu", plan{west: sideways}, "load.west", "caution"},
	{"plate-side-pull", "eu", plan{west: plate}, "load.west", "holds"},

	{"eye-bolt-plain", "us", plan{west: "wll: 50 kN, type: plain eye bolt, axis: 0 0 1"}, "load.west", "stop"},
	{"eye-bolt-plain", "us", plan{west: "wll: 50 kN, type: eye bolt, axis: 0 0 1"}, "load.west", "stop"},
	{"eye-bolt-plain", "us", plan{west: "wll: 50 kN, type: plain eye bolt, axis: 0.5 0 0.866"}, "load.west", "holds"},
	{"eye-bolt-plain", "us", plan{west: "wll: 50 kN, type: plain eye bolt"}, "load.west", "open"},
	{"eye-bolt-plain", "eu", plan{west: "wll: 50 kN, type: plain eye bolt, axis: 0 0 1"}, "load.west", "stop"},
	{"eye-bolt-plain", "eu", plan{west: "wll: 50 kN, type: plain eye bolt, axis: 0.5 0 0.866"}, "load.west", "holds"},
	{"eye-bolt-shoulder", "us", plan{west: "wll: 50 kN, type: shoulder eye bolt, axis: 0 0 1"}, "load.west", "stop"},
	{"eye-bolt-shoulder", "us", plan{west: "wll: 50 kN, type: shoulder eye bolt, axis: 0 0 1, eye: 0 1 0, angled_wll: {wll: 12 kN, off_axis: 45 deg}"}, "load.west", "holds"},
	{"eye-bolt-shoulder", "us", plan{west: "wll: 50 kN, type: shoulder eye bolt, axis: 0 0 1, eye: 0 1 0, angled_wll: {wll: 11 kN, off_axis: 45 deg}"}, "load.west", "stop"},
	{"eye-bolt-shoulder", "us", plan{west: "wll: 50 kN, type: shoulder eye bolt, axis: 0 0 1, eye: 0 1 0, angled_wll: {wll: 12 kN, off_axis: 25 deg}"}, "load.west", "stop"},
	{"eye-bolt-shoulder", "us", plan{west: "wll: 50 kN, type: shoulder eye bolt, axis: 0 0 1, eye: 1 0 0, angled_wll: {wll: 12 kN, off_axis: 45 deg}"}, "load.west", "stop"},
	{"eye-bolt-shoulder", "us", plan{west: "wll: 50 kN, type: shoulder eye bolt, axis: 0 0 1, angled_wll: {wll: 12 kN, off_axis: 45 deg}"}, "load.west", "open"},
	{"eye-bolt-shoulder", "us", plan{west: "wll: 50 kN, type: shoulder eye bolt, axis: 0.5 0 0.866"}, "load.west", "holds"},
	{"eye-bolt-shoulder", "eu", plan{west: "wll: 50 kN, type: shoulder eye bolt, axis: 0 0 1"}, "load.west", "stop"},
	{"eye-bolt-shoulder", "eu", plan{west: "wll: 50 kN, type: shoulder eye bolt, axis: 0 0 1, eye: 0 1 0, angled_wll: {wll: 12 kN, off_axis: 45 deg}"}, "load.west", "holds"},
	{"eye-bolt-ship-repair", "us", plan{west: "wll: 50 kN, type: shoulder eye bolt, axis: 0 0 1"}, "load.west", "caution"},
	{"eye-bolt-ship-repair", "us", plan{west: "wll: 50 kN, type: shoulder eye bolt, axis: 0.3 0 0.95"}, "load.west", "holds"},

	{"spreader-top-angle", "us", plan{top: with(spreader, "65 deg from horizontal"), legs: underBar}, "spreaders.bar", "stop"},
	{"spreader-top-angle", "us", plan{top: with(spreader, "55 deg from horizontal"), legs: underBar}, "spreaders.bar", "holds"},
	{"spreader-top-angle", "us", plan{top: strings.Replace(spreader, "least_top_angle: %s, ", "", 1), legs: underBar}, "spreaders.bar", "open"},

	{"temperature", "us", plan{site: "temperature: 90 °C", westLeg: stack(with(web, "30 kN"))}, "legs.west.stack[1]", "stop"},
	{"temperature", "us", plan{site: "temperature: 20 °C", westLeg: stack(with(web, "30 kN"))}, "legs.west.stack[1]", "holds"},
	{"temperature", "us", plan{site: "temperature: 20 °C", westLeg: "temperature: 350 °C, " + stack(with(chain, "30 kN"))}, "legs.west.stack[1]", "caution"},
	{"temperature", "us", plan{site: "temperature: 20 °C"}, "legs.west", "open"},
	{"temperature", "us", plan{}, "legs.west", "open"},
	{"temperature", "eu", plan{westLeg: "temperature: 250 °C, " + stack(with(chain, "12 kN"))}, "legs.west.stack[1]", "stop"}, // 0.9 × 12
	{"temperature", "eu", plan{westLeg: "temperature: 250 °C, " + stack(with(chain, "13 kN"))}, "legs.west.stack[1]", "caution"},
	{"temperature", "eu", plan{westLeg: "temperature: 410 °C, " + stack(with(chain, "30 kN"))}, "legs.west.stack[1]", "stop"},
	{"temperature", "eu", plan{site: "temperature: -10..30 °C", westLeg: stack(with(chain, "12 kN"))}, "legs.west.stack[1]", "holds"},

	{"exposure", "us", plan{site: "exposure: [wet, caustics]", westLeg: stack(with(web, "30 kN"))}, "legs.west.stack[1]", "stop"},
	{"exposure", "us", plan{site: "exposure: acids", westLeg: stack(with(web, "30 kN"))}, "legs.west.stack[1]", "open"},
	{"exposure", "us", plan{site: "exposure: dry", westLeg: stack(with(web, "30 kN"))}, "legs.west.stack[1]", "holds"},
	{"exposure", "us", plan{}, "legs.west", "open"},
	{"exposure", "eu", plan{site: "exposure: caustics", westLeg: stack(with(web, "30 kN"))}, "legs.west.stack[1]", "open"},
	{"wet-frozen", "us", plan{site: "exposure: wet, temperature: -5..5 °C", westLeg: stack("{kind: fibre rope sling, material: polyester, diameter: 24 mm, length: 2 m, stiffness: 1 MN/m, wll: 30 kN}")}, "legs.west.stack[1]", "caution"},
	{"wet-frozen", "us", plan{site: "exposure: wet, temperature: 1..5 °C", westLeg: stack("{kind: fibre rope sling, material: polyester, diameter: 24 mm, length: 2 m, stiffness: 1 MN/m, wll: 30 kN}")}, "legs.west.stack[1]", "holds"},
	{"edges", "us", plan{westLeg: "length: 2 m, edges: sharp"}, "legs.west", "stop"},
	{"edges", "us", plan{westLeg: "length: 2 m, edges: protected"}, "legs.west", "holds"},
	{"edges", "us", basket("", "wll: 30 kN"), "legs.rope", "open"},
	{"edges", "us", plan{}, "legs.west", "nothing"},
	{"edges", "eu", plan{westLeg: "length: 2 m, edges: sharp"}, "legs.west", "stop"},
	{"edges", "eu", plan{westLeg: "length: 2 m, edges: none"}, "legs.west", "holds"},
	{"rope-length", "us", plan{westLeg: stack(with(shackle, "30 kN"), strings.Replace(rope, "length: 2 m", "length: 0.11 m", 1), with(strings.Replace(chain, "2 m", "1.8 m", 1), "30 kN"))}, "legs.west.stack[2]", "stop"},
	{"rope-length", "us", plan{westLeg: stack(rope)}, "legs.west.stack[1]", "holds"},
	{"grommet-length", "us", plan{westLeg: stack("{kind: wire rope grommet, diameter: 42 mm, length: 2 m, stiffness: 5 MN/m, wll: 30 kN}")}, "legs.west.stack[1]", "stop"}, // 4 m / 42 mm = 95.2
	{"grommet-length", "us", plan{westLeg: stack("{kind: wire rope grommet, diameter: 41 mm, length: 2 m, stiffness: 5 MN/m, wll: 30 kN}")}, "legs.west.stack[1]", "holds"},
	{"fibre-eye", "us", plan{westLeg: stack("{kind: fibre rope sling, material: polyester, diameter: 24 mm, length: 2 m, stiffness: 1 MN/m, wll: 30 kN}")}, "legs.west.stack[1]", "open"},

	{"tilt", "us", plan{cg: "0.2 0 0.5 m"}, "load", "note"},
	{"tilt", "us", plan{}, "load", "holds"},
	{"tilt", "us", plan{top: "limits: {tilt: 3 deg}", cg: "0.2 0 0.5 m"}, "load", "nothing"},
	{"tilt", "eu", plan{cg: "0.2 0 0.5 m"}, "load", "note"},
	{"tilt", "eu", plan{}, "load", "holds"},
	{"dynamic-factor", "us", plan{top: "dynamic: {class: HC3, hoist_speed: 1 m/s}"}, "dynamic", "note"},
	{"dynamic-factor", "us", plan{top: "dynamic: {class: HC4, hoist_speed: 3 m/s}", westLeg: "length: 2 m, wll: 15 kN"}, "legs.west", "caution"}, // 3.24 × 11.3 kN
	{"dynamic-factor", "us", plan{top: "dynamic: {factor: 1.1, class: HC3, hoist_speed: 1 m/s}"}, "dynamic", "caution"},
	{"dynamic-factor", "us", plan{top: "dynamic: {factor: 1.1}"}, "dynamic", "holds"},
	{"dynamic-factor", "us", plan{}, "dynamic", "nothing"},
	{"wind", "us", plan{top: with(crawler, "12 m"), load: "  size: 4 4 3 m\n  drag: 1.6", site: "wind: 6 m/s"}, "crane.main", "nothing"},
	{"wind-speed", "us", plan{top: with(crawler, "12 m"), load: "  size: 4 4 3 m\n  drag: 1.6", site: "wind: 6 m/s"}, "crane.main", "stop"},
	{"wind", "us", plan{top: with(crawler, "12 m"), load: "  size: 1 1 1 m\n  drag: 1.2", site: "wind: 9 m/s"}, "crane.main", "holds"},
	{"wind", "us", plan{top: with(crawler, "12 m"), load: "  size: 1 1 1 m", site: "wind: 9 m/s"}, "crane.main", "open"},
	{"wind", "us", plan{}, "site", "open"},
	{"chart-capacity", "us", plan{top: with(crawler, "23 m")}, "crane.main", "stop"},
	{"chart-capacity", "us", plan{top: with(crawler, "12 m")}, "crane.main", "open"}, // what hangs there besides is not stated
	{"chart-capacity", "us", plan{top: strings.Replace(with(crawler, "12 m"), "block: 350 kg", "block: 350 kg, aux_block: 0 kg, jib: 0 kg, rope: 0 kg, line_pull: 10 kN, most_line_pull: 40 kN", 1)}, "crane.main", "holds"},
	{"ground-pressure", "us", plan{top: onGround("machine: 30 t", "share: 75 %")}, "crane.main.reactions.rear", "stop"},
	{"ground-pressure", "us", plan{top: onGround("radius: 12 m", "force: 70 kN")}, "crane.main.reactions.rear", "note"},
	{"ground-pressure", "us", plan{top: "crane: {main: {block: 350 kg}}"}, "crane.main", "open"},
	{"joint-reduction", "us", tandem("reduction: queensland"), "crane.b", "stop"},
	{"joint-reduction", "us", tandem("reduction: queensland"), "crane.a", "note"},
	{"joint-reduction", "us", tandem("rope: 0 kg"), "crane.a", "caution"},

	{"gear-facts", "us", plan{westLeg: stack("{kind: wire rope sling, rope: 6x19 EIPS IWRC, splice: mechanical, diameter: 3/4 in, length: 2 m}")}, "legs.west.stack[1]", "note"},
	{"gear-facts", "us", plan{west: plate, westLeg: stack(rope, "{kind: sling hook, length: 100 mm, wll: 30 kN}")}, "legs.west.stack[2]", "holds"},
	{"pin-in-hole", "us", plan{west: strings.Replace(plate, "25 mm, t", "20 mm, t", 1), westLeg: stack(rope, with(shackle, "30 kN"))}, "legs.west.stack[2]", "stop"},
	{"pin-in-hole", "us", plan{west: strings.Replace(plate, "25 mm, t", "24 mm, t", 1), westLeg: stack(rope, strings.Replace(with(shackle, "30 kN"), "up: bow, ", "", 1))}, "legs.west.stack[2]", "holds"},
	{"pin-in-hole", "us", plan{westLeg: stack(rope, "{kind: lever hoist, length: 0.5 m, wll: 30 kN}")}, "legs.west.stack[2]", "open"},
	{"jaw", "us", plan{west: strings.Replace(plate, "thickness: 25", "thickness: 40", 1), westLeg: stack(rope, with(shackle, "30 kN"))}, "legs.west.stack[2]", "stop"},
	{"jaw", "us", plan{west: plate, westLeg: stack(rope, with(shackle, "30 kN"))}, "legs.west.stack[2]", "holds"},
	{"bearing", "us", plan{westLeg: stack(rope, with(shackle, "30 kN"), with(shackle, "30 kN"))}, "legs.west.stack[2]", "caution"},
	{"bearing", "us", plan{westLeg: stack(rope, strings.Replace(with(shackle, "30 kN"), "up: bow", "up: pin", 1), with(shackle, "30 kN"))}, "legs.west.stack[2]", "holds"},
	{"cell-pin", "us", plan{westLeg: stack(strings.Replace(with(shackle, "30 kN"), "up: bow, ", "", 1), "{kind: load cell, capacity: 3 t, pin: 25 mm, thickness: 25 mm, length: 0.2 m}", rope)}, "legs.west.stack[1]", "stop"},
	{"cell-pin", "us", plan{westLeg: stack(strings.Replace(with(shackle, "30 kN"), "up: bow, ", "", 1), "{kind: load cell, capacity: 3 t, pin: 22 mm, thickness: 25 mm, length: 0.2 m}", rope)}, "legs.west.stack[1]", "holds"},
	{"cell-align", "us", plan{west: plate, westLeg: stack(rope, "{kind: load cell, capacity: 3 t, pin: 22 mm, jaw: 30 mm, length: 0.2 m}")}, "legs.west.stack[2]", "caution"},
	{"cell-align", "us", plan{westLeg: stack(with(shackle, "30 kN"), "{kind: load cell, capacity: 3 t, pin: 22 mm, length: 0.2 m}", rope)}, "legs.west.stack[1]", "holds"},
	{"hook-throat", "us", plan{west: plate, westLeg: stack(rope, "{kind: sling hook, throat: 24 mm, length: 100 mm, wll: 30 kN}")}, "legs.west.stack[2]", "stop"},
	{"hook-throat", "us", plan{west: plate, westLeg: stack(rope, "{kind: sling hook, throat: 30 mm, length: 100 mm, wll: 30 kN}")}, "legs.west.stack[2]", "holds"},
	{"bunching", "us", plan{westLeg: stack(with(shackle, "30 kN"), strings.Replace(with(web, "30 kN"), "50 mm", "60 mm", 1))}, "legs.west.stack[1]", "caution"},
	{"bunching", "us", plan{westLeg: stack(strings.Replace(with(shackle, "30 kN"), "up: bow", "up: pin", 1), with(web, "30 kN"))}, "legs.west.stack[1]", "holds"},
	{"running-rope", "us", plan{westLeg: "hitch: choker, choke_angle: 130 deg, " + stack(rope, strings.Replace(strings.Replace(with(shackle, "30 kN"), "up: bow", "up: pin", 1), "bolt", "screw", 1))}, "legs.west.stack[1]", "stop"},
	{"running-rope", "us", plan{westLeg: "hitch: choker, choke_angle: 130 deg, " + stack(rope, strings.Replace(with(shackle, "30 kN"), "up: bow", "up: pin", 1))}, "legs.west.stack[1]", "holds"},
	{"bend", "us", plan{westLeg: stack(with(shackle, "30 kN"), strings.Replace(rope, "thimble: 40 mm", "thimble: 30 mm", 1))}, "legs.west.stack[1]", "caution"},
	{"bend", "us", plan{westLeg: stack(with(shackle, "30 kN"), rope)}, "legs.west.stack[1]", "holds"},
}

// shifted moves the centre of gravity 0.2 m off centre.
func shifted(p plan) plan {
	p.cg = "0.2 0 0.5 m"
	return p
}

func (p plan) of(rule string) string {
	text := p.text()
	if rule == "joint-reduction" { // two hooks, one over each lug
		text = strings.Replace(text, "hooks: {main: {wll: 100 kN}}", "hooks: {a: {at: -1 0 3 m, wll: 100 kN}, b: {at: 1 0 3 m, wll: 100 kN}}", 1)
	}
	return text
}

func TestRules(t *testing.T) {
	for _, c := range cases {
		t.Run(c.rule+"/"+c.book+"/"+c.want, func(t *testing.T) {
			r := Check(c.book, hung(t, c.plan.of(c.rule)))
			if got := outcome(r, c.rule, c.where); got != c.want {
				t.Errorf("%s says %s, want %s, of\n%s", c.rule, got, c.want, c.plan.of(c.rule))
				for _, f := range slices.Concat(r.Findings, r.Held) {
					if f.Rule == c.rule {
						t.Logf("%s %s: %s", f.Severity, f.Where, f.Text)
					}
				}
				for _, o := range r.Open {
					if o.Rule == c.rule {
						t.Log(o)
					}
				}
			}
			for _, f := range slices.Concat(r.Findings, r.Held) {
				for _, v := range []*float64{f.Demand, f.Limit} {
					if v != nil && (math.IsNaN(*v) || math.IsInf(*v, 0)) {
						t.Errorf("%s compares %v", f.Rule, *v)
					}
				}
				if f.Source == "" || f.Rule == "" || f.Where == "" || f.Text == "" || strings.Contains(f.Text, "%!") {
					t.Errorf("something is missing in %+v", f)
				}
			}
		})
	}
}

// heavier scales every force of a case.
func heavier(c Case, s float64) Case {
	h := *c.Hung
	h.WeightN *= s
	h.Legs = slices.Clone(h.Legs)
	for i := range h.Legs {
		l := &h.Legs[i]
		l.TensionN, l.LowerN = l.TensionN*s, l.LowerN*s
		for q := range 3 {
			l.Upper[q] *= s
			l.Lower[q] *= s
		}
		if l.WorstN != nil {
			w := *l.WorstN * s
			l.WorstN = &w
		}
	}
	h.Bodies = slices.Clone(h.Bodies)
	for i := range h.Bodies {
		forces := map[string][3]float64{}
		for name, f := range h.Bodies[i].Forces {
			forces[name] = [3]float64{f[0] * s, f[1] * s, f[2] * s}
		}
		h.Bodies[i].Forces = forces
	}
	h.Hooks, h.Nodes = slices.Clone(h.Hooks), slices.Clone(h.Nodes)
	for i := range h.Hooks {
		h.Hooks[i].LoadN *= s
	}
	for i := range h.Nodes {
		h.Nodes[i].LoadN *= s
	}
	c.Hung = &h
	p95 := map[string]float64{}
	for place, n := range c.P95 {
		p95[place] = n * s
	}
	c.P95 = p95
	return c
}

// TestMoreLoadNeverHelps: with all forces larger no place comes out better, and
// nothing that was asked is no longer asked.
func TestMoreLoadNeverHelps(t *testing.T) {
	rank := map[Severity]int{Stop: 3, Caution: 2, Note: 1}
	worst := func(r Report) map[string]int {
		all := map[string]int{}
		for _, f := range r.Findings {
			for _, where := range append(f.also, f.Where) {
				all[where] = max(all[where], rank[f.Severity])
			}
		}
		return all
	}
	hungs := map[int]Case{}
	rapid.Check(t, func(rt *rapid.T) {
		i := rapid.IntRange(0, len(cases)-1).Draw(rt, "case")
		c, ok := hungs[i]
		if !ok {
			c = hung(t, cases[i].plan.of(cases[i].rule))
			hungs[i] = c
		}
		few := rapid.Float64Range(0.01, 5).Draw(rt, "load")
		more := few * rapid.Float64Range(1, 3).Draw(rt, "more")
		a, b := Check(cases[i].book, heavier(c, few)), Check(cases[i].book, heavier(c, more))
		for where, was := range worst(a) {
			if is := worst(b)[where]; is < was {
				rt.Errorf("%s of %s: %d with %g of the load, %d with %g", where, cases[i].rule, was, few, is, more)
			}
		}
		if len(a.Open) != len(b.Open) {
			rt.Errorf("%d questions with %g of the load, %d with %g", len(a.Open), few, len(b.Open), more)
		}
	})
}
