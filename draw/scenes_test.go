package draw

import (
	"fmt"
	"math"

	"plumbhook/lift"
	"plumbhook/quantity"
)

// The scenes are lifts of Kestrel Point waterworks, hung by hand: a load
// under one ring is in balance in any pose whose CG is plumb under the ring,
// if the leg forces there add up to its weight. balance finds those forces.

// balance gives the least-squares-smallest tensions along the legs from a
// point that carry a weight W: T = Aᵀ (A Aᵀ)⁻¹ (0, 0, W), A's columns the unit
// vectors up the legs. Two legs in a plane get a floor in the normal matrix.
func balance(top vec, weight float64, ends ...vec) []float64 {
	u := make([]vec, len(ends))
	var n [3][4]float64
	for i, e := range ends {
		d := minus(top, e)
		l := norm(d)
		u[i] = vec{d[0] / l, d[1] / l, d[2] / l}
		for r := range 3 {
			for c := range 3 {
				n[r][c] += u[i][r] * u[i][c]
			}
		}
	}
	for r := range 3 {
		n[r][r] += 1e-12
	}
	n[2][3] = weight
	for p := range 3 { // Gauss-Jordan; the matrix is positive definite
		for r := range 3 {
			if r != p {
				f := n[r][p] / n[p][p]
				for c := range 4 {
					n[r][c] -= f * n[p][c]
				}
			}
		}
	}
	x := vec{n[0][3] / n[0][0], n[1][3] / n[1][1], n[2][3] / n[2][2]}
	t := make([]float64, len(ends))
	for i := range ends {
		t[i] = dot(u[i], x)
	}
	return t
}

func point(p vec) quantity.Point {
	k := func(v float64) quantity.Measured[quantity.Length] { return quantity.Known(quantity.Length(v)) }
	return quantity.Point{X: k(p[0]), Y: k(p[1]), Z: k(p[2])}
}

func size(x, y, z float64) *quantity.Point { p := point(vec{x, y, z}); return &p }

// turned is a rotation about y, then about z.
func turned(y, z float64) [9]float64 {
	sy, cy := math.Sincos(y)
	sz, cz := math.Sincos(z)
	return [9]float64{cz * cy, -sz, cz * sy, sz * cy, cz, sz * sy, -sy, 0, cy}
}

const deg = math.Pi / 180

// rig collects a Hung.
type rig struct {
	*lift.Hung
	util, p95 map[string]float64
	four      bool // four and more legs on one body: the share is not decided
}

func newRig(title string, mass float64) *rig {
	return &rig{
		Hung: &lift.Hung{
			Lift: &lift.Lift{
				Version: 1, Title: title, Revision: "B", Rulebook: "us", File: "kestrel-point.yaml",
				SHA256: "9f2c41d07be3a8856612f0c4d1e9a7b35580c2e4f6a1937d0be84c5f2216a9d3",
			},
			Stable: true, MassKg: mass, WeightN: mass * 9.80665,
		},
		util: map[string]float64{},
		p95:  map[string]float64{},
	}
}

// body adds a body; its origin is put so that its CG lies at cg.
func (r *rig) body(name string, rot [9]float64, cgBody, cg vec, points map[string]vec) *lift.HungBody {
	b := lift.HungBody{Name: name, Rot: rot, CG: cg, Points: map[string]vec{}, Tilt: math.Acos(min(1, rot[8]))}
	off := world(&lift.HungBody{Rot: rot}, cgBody)
	b.Origin = minus(cg, off)
	if b.Tilt > 0.01*deg {
		// Low is where the body's own horizontal drops most: -z row of Rot.
		low := math.Atan2(-rot[7], -rot[6])
		b.LowSide = &low
	}
	for n, p := range points {
		b.Points[n] = world(&b, p)
	}
	r.Bodies = append(r.Bodies, b)
	if len(r.Bodies) == 1 {
		r.CGLoad = cgBody
	}
	return &r.Bodies[len(r.Bodies)-1]
}

func (r *rig) hook(name string, at vec, load float64) {
	r.Hooks = append(r.Hooks, lift.HungHook{Name: name, At: at, Force: vec{0, 0, -load}, LoadN: load})
}

func (r *rig) node(name string, at vec) { r.Nodes = append(r.Nodes, lift.HungNode{Name: name, At: at}) }

func ref(body, point string) lift.Ref { return lift.Ref{Body: body, Point: point} }

// leg adds a straight leg; share below zero leaves it unrated.
func (r *rig) leg(name string, from, to lift.Ref, tension, share float64, path ...vec) {
	l := lift.HungLeg{Name: name, Path: path, TensionN: tension, Slack: tension < 1e-6*r.WeightN}
	top, low, _ := endSpan(&l)
	l.FromHorizontal = math.Asin(steepness(top, low))
	l.FromVertical = math.Pi/2 - l.FromHorizontal
	if worst := tension * 1.4; r.four {
		l.WorstN = &worst
	}
	r.Legs = append(r.Legs, l)
	r.Lift.Legs = append(r.Lift.Legs, lift.Leg{Name: name, From: from, To: to})
	r.p95[name] = tension * 1.04
	if share >= 0 {
		r.util[name] = share
	}
}

// clear sets the headroom from the first hook to the highest used lug.
func (r *rig) clear() *rig {
	s := sheet{h: r.Hung}
	top := math.Inf(-1)
	for _, p := range s.lugs() {
		top = max(top, p[2])
	}
	r.HeadroomM = r.Hooks[0].At[2] - top
	return r
}

func twoLeg() *rig {
	r := newRig("Pump motor out of well 3", 4430)
	r.Lift.Load.Name, r.Lift.Load.Size = "pump motor", size(1.6, 1.4, 1.8)
	cg := vec{0, 0, 0.9}
	b := r.body("load", turned(2.4*deg, 0), vec{0.11, 0, 0.88}, cg, map[string]vec{"west": {-0.7, 0, 1.6}, "east": {0.7, 0, 1.6}})
	ring := vec{0, 0, 3.6}
	t := balance(ring, r.WeightN, b.Points["west"], b.Points["east"])
	r.hook("main", vec{0, 0, 3.9}, r.WeightN*1.01)
	r.node("ring", ring)
	rise := 0.74
	r.StabilityM = &rise
	r.leg("top", ref("main", ""), ref("ring", ""), r.WeightN*1.01, 0.39, vec{0, 0, 3.9}, ring)
	r.leg("west", ref("ring", ""), ref("load", "west"), t[0], 0.61, ring, b.Points["west"])
	r.leg("east", ref("ring", ""), ref("load", "east"), t[1], 0.86, ring, b.Points["east"])
	return r.clear()
}

func fourLeg() *rig {
	r := newRig("Heat-exchanger bundle, blower house", 7850)
	r.Lift.Rulebook, r.four = "eu", true
	r.Lift.Load.Name, r.Lift.Load.Size = "tube bundle", size(4.8, 1.3, 1.3)
	names := []string{"north-west", "north-east", "south-east", "south-west"}
	at := []vec{{-1.5, 0.5, 1.3}, {1.5, 0.5, 1.3}, {1.5, -0.5, 1.3}, {-1.5, -0.5, 1.3}}
	points := map[string]vec{}
	for i, n := range names {
		points[n] = at[i]
	}
	b := r.body("load", turned(1.1*deg, 0), vec{0.15, -0.05, 0.65}, vec{0, 0, 1}, points)
	hook := vec{0, 0, 4.4}
	var ends []vec
	for _, n := range names {
		ends = append(ends, b.Points[n])
	}
	t := balance(hook, r.WeightN, ends...)
	r.hook("main", hook, r.WeightN)
	share := []float64{0.64, 0.87, 1.12, -1}
	for i, n := range names {
		r.leg(n, ref("main", ""), ref("load", n), t[i], share[i], hook, ends[i])
	}
	return r.clear()
}

func twoTier() *rig {
	r := newRig("Stop-log gate, intake bay 2", 5200)
	r.Lift.Load.Name, r.Lift.Load.Size = "stop-log gate", size(5, 0.35, 1.6)
	r.body("load", turned(0, 0), vec{0, 0, 0.8}, vec{0, 0, 1}, map[string]vec{"a": {-2.2, 0, 1.6}, "b": {2.2, 0, 1.6}})
	bar := r.body("bar", turned(0, 0), vec{0, 0, 0}, vec{0, 0, 3.4}, map[string]vec{"top1": {-2.2, 0, 0.15}, "top2": {2.2, 0, 0.15}, "low1": {-2.2, 0, -0.15}, "low2": {2.2, 0, -0.15}})
	r.Lift.Spreaders = []lift.Spreader{{Name: "bar", Size: size(4.6, 0.2, 0.3)}}
	hook := vec{0, 0, 6.2}
	w := r.WeightN + 310*9.80665
	t := balance(hook, w, bar.Points["top1"], bar.Points["top2"])
	load := &r.Bodies[0]
	r.hook("main", hook, w)
	r.leg("upper 1", ref("main", ""), ref("bar", "top1"), t[0], 0.71, hook, bar.Points["top1"])
	r.leg("upper 2", ref("main", ""), ref("bar", "top2"), t[1], 0.71, hook, bar.Points["top2"])
	r.leg("lower 1", ref("bar", "low1"), ref("load", "a"), r.WeightN/2, 0.52, bar.Points["low1"], load.Points["a"])
	r.leg("lower 2", ref("bar", "low2"), ref("load", "b"), r.WeightN/2, -1, bar.Points["low2"], load.Points["b"])
	return r.clear()
}

func basket() *rig {
	r := newRig("Discharge pipe, valve chamber", 2100)
	r.Lift.Load.Name, r.Lift.Load.Size = "discharge pipe", size(5, 0.6, 0.6)
	b := r.body("load", turned(0, 0), vec{0, 0, 0.3}, vec{0, 0, 1.3}, map[string]vec{
		"l1": {-1.2, -0.3, 0.05}, "l2": {-1.2, 0.3, 0.05}, "r1": {1.2, -0.3, 0.05}, "r2": {1.2, 0.3, 0.05},
	})
	hook := vec{0, 0, 4}
	r.hook("main", hook, r.WeightN)
	r.Lift.Load.Lugs = nil
	p := b.Points
	t := balance(hook, r.WeightN, p["l1"], p["l2"], p["r1"], p["r2"])
	r.leg("left sling", ref("main", ""), ref("main", ""), t[0], 0.44, hook, p["l1"], p["l2"], hook)
	r.leg("right sling", ref("main", ""), ref("main", ""), t[2], 0.44, hook, p["r1"], p["r2"], hook)
	r.Lift.Legs[0].Via = []lift.Ref{ref("load", "l1"), ref("load", "l2")}
	r.Lift.Legs[1].Via = []lift.Ref{ref("load", "r1"), ref("load", "r2")}
	return r.clear()
}

// upending: moments about the heel. The hook pulls plumb at the head.
func upending() *rig {
	r := newRig("Surge vessel off its saddles", 9600)
	r.Step = "raise to 50°"
	r.Lift.Load.Name, r.Lift.Load.Size = "surge vessel", size(1.6, 1.6, 6)
	rot := turned(40*deg, 0)
	head, heel, cg := vec{0, 0, 6}, vec{0.8, 0, 0}, vec{0, 0, 2.6}
	b := r.body("load", rot, cg, vec{0, 0, 0}, map[string]vec{"head": head, "heel": heel, "foot": {-0.8, 0, 0.4}})
	up := -b.Points["heel"][2] // stand the heel on level zero
	b.Origin[2], b.CG[2] = b.Origin[2]+up, b.CG[2]+up
	for n, p := range b.Points {
		p[2] += up
		b.Points[n] = p
	}
	arm := func(p vec) float64 { return p[0] - b.Points["heel"][0] }
	t := r.WeightN * arm(b.CG) / arm(b.Points["head"])
	top := b.Points["head"]
	top[2] += 2.2
	r.hook("lead", top, t)
	r.leg("head sling", ref("lead", ""), ref("load", "head"), t, 0.58, top, b.Points["head"])
	r.leg("tail sling", ref("lead", ""), ref("load", "foot"), 0, 0.02, top, b.Points["foot"])
	r.Supports = []lift.HungSupport{{Name: "heel", At: b.Points["heel"], Force: vec{0, 0, r.WeightN - t}}}
	anchor := b.Points["foot"]
	anchor[0] -= 2
	anchor[2] = 0
	r.Lift.Ties = []lift.Tie{{Name: "tail rope", At: ref("load", "foot"), To: point(anchor)}}
	r.Ties = []lift.HungTie{{Name: "tail rope", TensionN: 120}}
	limit := quantity.Known(quantity.Angle(60 * deg))
	r.Lift.Limits.Tilt = &limit
	return r.clear()
}

func eightLeg() *rig {
	r := newRig("Digester cover, tank 4", 6100)
	r.four = true
	r.Lift.Load.Name, r.Lift.Load.Size = "tank cover", size(6.4, 6.4, 0.4)
	points, names := map[string]vec{}, []string{}
	for i := range 8 {
		n := fmt.Sprintf("leg %d", i+1)
		names = append(names, n)
		s, c := math.Sincos(float64(i)*math.Pi/4 + math.Pi/8)
		points[n] = vec{2.8 * c, 2.8 * s, 0.4}
	}
	b := r.body("load", turned(0, 20*deg), vec{0, 0, 0.2}, vec{0, 0, 0.8}, points)
	hook := vec{0, 0, 5.2}
	var ends []vec
	for _, n := range names {
		ends = append(ends, b.Points[n])
	}
	t := balance(hook, r.WeightN, ends...)
	r.hook("main", hook, r.WeightN)
	for i, n := range names {
		share := 0.5 + 0.05*float64(i)
		if i == 3 {
			t[i] = 0
			share = 0.1
		}
		r.leg(n, ref("main", ""), ref("load", n), t[i], share, hook, ends[i])
	}
	return r.clear()
}

func hostile() *rig {
	r := newRig(`Valve <b>"bonnet"</b> & spindle, the one that stuck at the north end of the old filter gallery, second attempt`, 812)
	r.Stable, r.FellOver, r.NearSingular = false, "load", true
	r.Notes = []string{"The load turned over before it came to rest.", "A note that is long enough to need a second line on the sheet because it says at length what the solver wants said about this rig."}
	r.Lift.Load.Name = "bonnet\n<script>alert(1)</script>"
	b := r.body("load", turned(0, 45*deg), vec{0, 0, 0.1}, vec{0, 0, 0.6}, map[string]vec{"p": {-0.4, 0, 0.5}, "q": {0.4, 0, 0.5}})
	h1, h2 := vec{-0.6, -0.6, 1.9}, vec{0.6, 0.6, 1.9}
	r.hook("main & auxiliary", h1, r.WeightN/2)
	r.hook("second", h2, r.WeightN/2)
	r.leg(`the very long name of the north-western sling with the "blue" tag`, ref("main & auxiliary", ""), ref("load", "p"), r.WeightN/1.8, 1.31, h1, b.Points["p"])
	r.leg(`the very long name of the south-eastern sling with the <red> tag & 東`, ref("second", ""), ref("load", "q"), r.WeightN/1.8, 0.99997, h2, b.Points["q"])
	return r.clear()
}

// crowded has more legs than a sheet can name.
func crowded() *rig {
	r := newRig("Clarifier ring, all lugs used", 12300)
	r.four = true
	r.Lift.Load.Name = "clarifier ring"
	points := map[string]vec{}
	for i := range 40 {
		s, c := math.Sincos(float64(i) * math.Pi / 20)
		points[fmt.Sprintf("lug %02d", i+1)] = vec{6 * c, 6 * s, 0.4}
	}
	b := r.body("load", turned(0, 0), vec{0, 0, 0.2}, vec{0, 0, 0.8}, points)
	hook := vec{0, 0, 9}
	r.hook("main", hook, r.WeightN)
	for i, n := range keys(points) {
		share := 0.3 + 0.02*float64(i)
		r.leg("sling "+n[4:], ref("main", ""), ref("load", n), r.WeightN/36, share, hook, b.Points[n])
	}
	return r.clear()
}

type scene struct {
	name string
	rig  func() *rig
	meta Meta
}

func (s scene) sheet() *Page {
	r := s.rig()
	return Sheet(r.Hung, r.util, r.p95, s.meta)
}

// sheetOf is enough of a sheet to ask how it would word things.
func (s scene) sheetOf(r *rig) *sheet {
	t, err := s.meta.tongue()
	if err != nil {
		panic(err)
	}
	return &sheet{h: r.Hung, util: r.util, p95: r.p95, t: t}
}

var scenes = []scene{
	{"two-leg", twoLeg, Meta{Date: "2026-03-14"}},
	{"four-leg", fourLeg, Meta{Date: "2026-03-14", Force: "t"}},
	{"two-tier", twoTier, Meta{Date: "14 March 2026", Units: quantity.US}},
	{"basket", basket, Meta{Date: "2026-03-14"}},
	{"upending", upending, Meta{Date: "2026-03-14", Paper: "A3"}},
	{"eight-leg", eightLeg, Meta{Date: "2026-03-14"}},
	{"crowded", crowded, Meta{}},
	{"hostile", hostile, Meta{Date: "2026-03-14", Units: quantity.US, Paper: "Letter", Force: "kip"}},
}
