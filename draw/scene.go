package draw

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strconv"

	"plumbhook/lift"
)

// use is how a leg stands against its rating.
type use int

// near begins at four fifths of the rating (common practice, no source).
const (
	unrated use = iota
	within
	near
	over
)

const nearFrom = 0.8

// legState is what the line of a leg shows.
type legState struct {
	use   use
	slack bool
	share float64 // utilisation; 0 when unrated
}

func (s *sheet) state(l *lift.HungLeg) legState {
	u, rated := s.util[l.Name]
	st := legState{slack: l.Slack, share: u}
	switch {
	case !rated || math.IsNaN(u):
		st.share = 0
	case u > 1:
		st.use = over
	case u >= nearFrom:
		st.use = near
	default:
		st.use = within
	}
	return st
}

// say puts the state in words, the tension in front.
func (s *sheet) say(l *lift.HungLeg) string {
	st, t := s.state(l), s.t.say(l.TensionN)
	if st.slack {
		t = "slack"
	}
	switch st.use {
	case over:
		return t + ", OVER " + percent(st.share)
	case unrated:
		return t + ", no rating"
	}
	if st.slack && st.share == 0 {
		return t
	}
	return t + ", " + percent(st.share)
}

// rope draws a leg. Without colour: thin = within, thick = near, thick with
// cross bars = over, hollow = unrated, dashed = slack (with the rest if its
// band reaches it).
func (p *Page) rope(of string, st legState, bar float64, pts []pt) {
	pn := pen{width: 0.45, ink: black}
	switch st.use {
	case near:
		pn.width = 1
	case over:
		pn.width, pn.ink = 1.2, red
	case unrated:
		if !st.slack {
			pn.width = 1.2
		}
	}
	if st.slack {
		pn.dash = []float64{1.5, 1.2}
	}
	p.line(legs, of, pn, pts...)
	if st.use == unrated && !st.slack {
		p.line(legs, of, pen{width: 0.65, ink: white}, pts...)
	}
	if st.use == over {
		for _, b := range bars(bar, pts) {
			p.line(legs, of, pen{width: 0.5, ink: red}, b[0], b[1])
		}
	}
}

// barred is how far the bars of a leg in a view reach to each side, mm.
const barred = 1.9

// bars across a line, 4 mm apart.
func bars(reach float64, pts []pt) (out [][2]pt) {
	for i := 0; i+1 < len(pts); i++ {
		a, b := pts[i], pts[i+1]
		n := max(1, int(b.sub(a).len()/4))
		side := b.sub(a).unit().left().mul(reach)
		for k := range n {
			m := a.to(b, (float64(k)+0.5)/float64(n))
			out = append(out, [2]pt{m.add(side), m.sub(side)})
		}
	}
	return out
}

// panel is one view of the sheet.
type panel struct {
	*sheet
	name  string
	cam   camera
	place placer
	under rect // what the drawn things cover
	low   pt   // direction of the low side's mark; dimensions keep to the other sides
	lost  int  // labels there was no room for
}

func (v *panel) of(kind, name string) string { return v.name + "/" + kind + "/" + name }

// body draws a size box, or the outline of the points of a body without one.
func (v *panel) body(i int) {
	b := &v.h.Bodies[i]
	of := v.of("body", b.Name)
	edge := pen{width: 0.25, ink: black}
	if i > 0 {
		edge.width = 0.4
	}
	if corners, ok := v.corners(i); ok {
		for _, f := range sides {
			q := []vec{corners[f[0]], corners[f[1]], corners[f[2]], corners[f[3]]}
			n := normal(q)
			if dot(n, v.cam.ahead) > -1e-6 {
				continue // turned away
			}
			fill := paler
			if n[2] < 0.7 && math.Abs(dot(n, v.cam.right)) > 0.7 {
				fill = pale
			}
			face := v.flat(q)
			v.p.area(ground, of, fill, edge, face...)
			v.place.avoid(0.4, append(face, face[0])...)
		}
		return
	}
	out := hull(v.flat(v.points(b)))
	edge.dash = []float64{2.5, 0.8}
	if i > 0 {
		edge = pen{width: 1.6, ink: grey} // a beam, whose drawing is its line
	}
	v.p.area(ground, of, paler, edge, out...)
	v.place.avoid(0.4, append(out, out[0])...)
}

func normal(q []vec) vec {
	a, b := minus(q[1], q[0]), minus(q[3], q[0])
	n := vec{a[1]*b[2] - a[2]*b[1], a[2]*b[0] - a[0]*b[2], a[0]*b[1] - a[1]*b[0]}
	if l := norm(n); l > 0 {
		return vec{n[0] / l, n[1] / l, n[2] / l}
	}
	return n
}

func (v *panel) flat(q []vec) []pt {
	out := make([]pt, len(q))
	for i, p := range q {
		out[i] = v.cam.at(p)
	}
	return out
}

// legs that have somewhere to run, in an order.
func (v *panel) legs(order func(a, b *lift.HungLeg) int) (out []*lift.HungLeg) {
	for i := range v.h.Legs {
		if l := &v.h.Legs[i]; len(l.Path) > 1 {
			out = append(out, l)
		}
	}
	slices.SortStableFunc(out, order)
	return out
}

// ropes draws all legs: where one hides another, the one that matters more
// lies on top, and among equals the nearer one.
func (v *panel) ropes() {
	depth := func(l *lift.HungLeg) float64 {
		sum := 0.0
		for _, p := range l.Path {
			sum += dot(v.cam.ahead, p)
		}
		return sum / float64(len(l.Path))
	}
	matter := func(l *lift.HungLeg) int {
		st := v.state(l)
		return map[use]int{within: 1, unrated: 2, near: 3, over: 4}[st.use]
	}
	for _, l := range v.legs(func(a, b *lift.HungLeg) int {
		return cmp.Or(cmp.Compare(matter(a), matter(b)), cmp.Compare(depth(b), depth(a)))
	}) {
		pts := v.flat(l.Path)
		v.p.rope(v.of("leg", l.Name), v.state(l), barred, pts)
		v.place.avoid(never, pts...)
		if v.state(l).use == over {
			for _, b := range bars(barred, pts) {
				v.place.avoid(never, b[0], b[1])
			}
		}
		if len(pts) > 2 {
			for _, q := range pts[1 : len(pts)-1] {
				v.p.circle(symbols, "", q, 0.6, black, pen{}) // it slides here
			}
		}
	}
}

// span of the drawn leg on the page, mm.
func span(pts []pt) float64 {
	sum := 0.0
	for i := 0; i+1 < len(pts); i++ {
		sum += pts[i+1].sub(pts[i]).len()
	}
	return sum
}

// nameLegs labels the legs, those that matter most first. full adds tension
// and utilisation.
func (v *panel) nameLegs(full bool) {
	for _, l := range v.legs(func(a, b *lift.HungLeg) int { return cmp.Compare(v.state(b).share, v.state(a).share) }) {
		pts := v.flat(l.Path)
		if span(pts) < 3 {
			continue // seen end on; the elevation and the table have it
		}
		var anchors []pt
		for _, t := range []float64{0.5, 0.4, 0.6, 0.3, 0.7, 0.2, 0.8} {
			anchors = append(anchors, pts[0].to(pts[1], t))
			if n := len(pts); n > 2 {
				anchors = append(anchors, pts[n-1].to(pts[n-2], t))
			}
		}
		st := v.state(l)
		lines := []string{l.Name}
		switch {
		case full:
			lines = append(lines, v.say(l))
		case st.use == over:
			lines = append(lines, "OVER "+percent(st.share))
		case st.slack:
			lines = append(lines, "slack")
		}
		v.note(v.of("legname", l.Name), lines, anchors, 1.2, 40, st.use == over)
	}
}

// noLeader is the reach up to which a label is clearly its neighbour's.
const noLeader = 15

// note places a label of some lines, the first one bold, with a leader when
// it had to go far. loud turns it white on black.
func (v *panel) note(of string, lines []string, anchors []pt, near, reach float64, loud bool) bool {
	for _, size := range []float64{2.7, 2.2} {
		size *= v.k
		w := 0.0
		cut := make([]string, len(lines))
		for i, s := range lines {
			cut[i] = short(s, 34*v.k, size, i == 0)
			w = max(w, width(cut[i], size, i == 0))
		}
		pad := 0.35 * v.k
		if loud {
			pad = 0.8 * v.k
		}
		r, at, ok := v.place.find(w+2*pad, size*1.12*float64(len(lines))+2*pad-0.1*size, anchors, near, reach*v.k)
		if !ok {
			continue
		}
		in := black
		if loud {
			in = white
			v.p.area(words, of, black, pen{}, r.corners()...)
		} else if v.place.crossed(r) {
			v.p.area(backing, of, white, pen{}, r.corners()...)
		}
		for i, s := range cut {
			y := r.y0 + pad + size*(0.78+1.12*float64(i))
			x := r.x0 + (r.w()-width(s, size, i == 0))/2
			v.p.text(of, pt{x, y}, 0, size, i == 0, in, s)
		}
		if q := r.nearest(at); q.sub(at).len() > near+1.2 && reach > noLeader {
			v.p.line(thin, "", pen{width: 0.15, ink: black}, q, at)
			v.p.circle(symbols, "", at, 0.35, black, pen{})
			v.place.avoid(1.5, q, at)
		}
		return true
	}
	v.lost++
	return false
}

// spot is a thing that is a point in a view; spots that fall together share
// one label.
type spot struct {
	of    string
	at    pt
	r     float64
	lines []string
	loud  bool
}

func (v *panel) nameSpots(spots []spot) {
	done := make([]bool, len(spots))
	for i, s := range spots {
		if done[i] {
			continue
		}
		for j := i + 1; j < len(spots); j++ {
			if o := spots[j]; !done[j] && o.at.sub(s.at).len() < 1.5 && !s.loud && !o.loud && len(s.lines) == 1 && len(o.lines) == 1 {
				if s.lines[0] != o.lines[0] {
					s.lines = []string{s.lines[0] + ", " + o.lines[0]}
				}
				s.r = max(s.r, o.r)
				done[j] = true
			}
		}
		v.note(s.of, s.lines, []pt{s.at}, s.r+0.5, 40, s.loud)
	}
}

// symbols draws hooks, nodes, supports, ties, lugs and the CG, and gives
// what of them wants a name: lugs last, when there is room left.
func (v *panel) symbols() (spots, lugs []spot) {
	plan := v.name == "plan"
	pn := pen{width: 0.3, ink: black}
	take := func(c pt, r float64) { v.place.block(rect{c.x - r, c.y - r, c.x + r, c.y + r}) }
	for i := range v.h.Hooks {
		h := &v.h.Hooks[i]
		c, of := v.cam.at(h.At), v.of("hook", h.Name)
		s := spot{of, c, 3, []string{"hook " + h.Name}, false}
		if plan {
			v.p.circle(symbols, of, c, 2.4, none, pen{width: 0.5, ink: black})
			take(c, 2.4)
		} else {
			v.hook(of, c)
			s.at = c.add(pt{0, -4.5})
			v.place.block(rect{c.x - 2.6, c.y - 9.5, c.x + 2.6, c.y + 1})
		}
		if v.name == "elevation" {
			s.lines = append(s.lines, v.t.say(h.LoadN))
		}
		spots = append(spots, s)
	}
	for i := range v.h.Nodes {
		n := &v.h.Nodes[i]
		c := v.cam.at(n.At)
		v.p.circle(symbols, v.of("node", n.Name), c, 1.3, white, pen{width: 0.6, ink: black})
		take(c, 1.3)
		spots = append(spots, spot{v.of("node", n.Name), c, 1.6, []string{n.Name}, false})
	}
	for i := range v.h.Supports {
		g := &v.h.Supports[i]
		c, of := v.cam.at(g.At), v.of("support", g.Name)
		lines := []string{g.Name, "lifted off"}
		if !g.Off {
			lines[1] = v.t.say(norm(g.Force))
		}
		if plan {
			v.p.area(symbols, of, white, pn, c.add(pt{-1.4, -1.4}), c.add(pt{1.4, -1.4}), c.add(pt{1.4, 1.4}), c.add(pt{-1.4, 1.4}))
			take(c, 1.4)
			lines = lines[:1]
		} else {
			v.p.area(symbols, of, white, pn, c, c.add(pt{-1.8, 3}), c.add(pt{1.8, 3}))
			v.earth(c.add(pt{0, 3}), pt{0, 1})
			v.place.block(rect{c.x - 4, c.y, c.x + 4, c.y + 4.3})
			c.y += 2
		}
		if v.name == "pictorial" {
			lines = lines[:1]
		}
		spots = append(spots, spot{of, c, 4, lines, false})
	}
	for i := range v.h.Bodies {
		b := &v.h.Bodies[i]
		for _, name := range keys(b.Points) {
			c := v.cam.at(b.Points[name])
			v.p.circle(symbols, v.of("lug", b.Name+"."+name), c, 0.8, white, pn)
			if plan && i == 0 && !v.named(name) {
				lugs = append(lugs, spot{v.of("lugname", b.Name+"."+name), c, 1, []string{name}, false})
			}
		}
	}
	if len(v.h.Bodies) > 0 {
		c := v.cam.at(v.h.Bodies[0].CG)
		v.cg(v.of("cg", "load"), c)
		take(c, 1.7)
		spots = append(spots, spot{v.of("cg", "load"), c, 1.8, []string{"CG"}, false})
	}
	return spots, lugs
}

// hook draws a hook whose bearing point is at c.
func (v *panel) hook(of string, c pt) {
	const r = 1.9
	eye := c.add(pt{0, -r})
	bold := pen{width: 0.9, ink: black}
	v.p.put(symbols, arc{of: of, c: eye, r: r, start: -math.Pi * 1.05, end: math.Pi * 0.35, pen: bold})
	top := eye.add(polar(math.Pi * 0.35).mul(r))
	v.p.line(symbols, of, bold, top, c.add(pt{0, -2*r - 1.2}))
	v.p.area(symbols, of, black, pen{}, c.add(pt{-1.1, -2*r - 2.8}), c.add(pt{1.1, -2*r - 2.8}), c.add(pt{1.1, -2*r - 1}), c.add(pt{-1.1, -2*r - 1}))
	for _, x := range []float64{-0.6, 0.6} {
		v.p.line(symbols, of, pen{width: 0.25, ink: black}, c.add(pt{x, -2*r - 2.8}), c.add(pt{x, -2*r - 5.6}))
	}
}

// cg draws the usual sign of a centre of gravity: a circle in quarters.
func (v *panel) cg(of string, c pt) {
	const r = 1.6
	v.p.circle(symbols, of, c, r, white, pen{width: 0.3, ink: black})
	for _, q := range []float64{0, math.Pi} {
		a := arc{c: c, r: r, start: q, end: q + math.Pi/2}
		v.p.area(symbols, of, black, pen{}, append(a.points(), c)...)
	}
}

// earth draws fixed ground at c, seen from the side that out points away from.
func (v *panel) earth(c, out pt) {
	along := out.left().mul(4)
	pn := pen{width: 0.25, ink: black}
	v.p.line(thin, "", pn, c.sub(along), c.add(along))
	for i := range 6 {
		a := c.sub(along).to(c.add(along), float64(i+1)/6)
		v.p.line(thin, "", pn, a, a.add(out.mul(1.2)).sub(along.mul(0.3)))
	}
}

// ties draws the lines that hold the load to the ground.
func (v *panel) ties() (spots []spot) {
	for _, t := range v.h.Ties {
		i := slices.IndexFunc(v.h.Lift.Ties, func(l lift.Tie) bool { return l.Name == t.Name })
		if i < 0 {
			continue
		}
		tie := &v.h.Lift.Ties[i]
		from, ok := v.pointOf(tie.At)
		if !ok {
			continue
		}
		a, b := v.cam.at(from), v.cam.at(tie.To.XYZ())
		v.p.line(thin, v.of("tie", t.Name), pen{width: 0.25, ink: black}, a, b)
		v.place.avoid(1.5, a, b)
		v.earth(b, b.sub(a).unit())
		v.place.block(around(b).grow(2))
		lines := []string{"tie " + t.Name}
		if v.name == "elevation" {
			lines = append(lines, v.t.say(t.TensionN))
		}
		spots = append(spots, spot{v.of("tie", t.Name), a.to(b, 0.5), 0.5, lines, false})
	}
	return spots
}

// plumb draws the hook plumb lines down through everything.
func (v *panel) plumb() {
	for i := range v.h.Hooks {
		a := v.cam.at(v.h.Hooks[i].At)
		b := pt{a.x, v.under.y1 + 3}
		v.p.line(thin, v.of("plumb", v.h.Hooks[i].Name), pen{width: 0.2, dash: []float64{4, 0.8, 0.6, 0.8}, ink: grey}, a, b)
		v.place.avoid(never, a, b)
	}
}

// angles draws arcs at the flattest leg to each side of every upper end,
// from what the rulebook counts from; figures are true angles in space, so
// an arc whose leg is not in the picture plane is narrower or wider than
// its figure says, and the text says "true".
func (v *panel) angles() {
	vertical := v.h.Lift.Rulebook == "eu"
	type join struct {
		at   vec
		left bool
	}
	flattest := map[join]int{}
	var order []join
	for i := range v.h.Legs {
		l := &v.h.Legs[i]
		top, low, ok := endSpan(l)
		if !ok || l.Slack || l.FromVertical < 2*math.Pi/180 {
			continue
		}
		d := v.cam.at(low).sub(v.cam.at(top))
		if d.len() < 14*v.k || math.Abs(d.x) < 2 {
			continue
		}
		j := join{top, d.x < 0}
		k, seen := flattest[j]
		if !seen {
			order = append(order, j)
		}
		if !seen || l.FromHorizontal < v.h.Legs[k].FromHorizontal {
			flattest[j] = i
		}
	}
	type figure struct {
		arc     arc
		foot    [2]pt // the line it is counted from
		text    string
		anchors []pt
	}
	var figures []figure
	words := "from horizontal"
	if vertical {
		words = "from vertical"
	}
	pn := pen{width: 0.2, ink: black}
	for _, j := range order {
		l := &v.h.Legs[flattest[j]]
		top, low, _ := endSpan(l)
		a, b := v.cam.at(top), v.cam.at(low)
		c, to, ref, angle := b, a, pt{math.Copysign(1, a.x-b.x), 0}, l.FromHorizontal
		if vertical {
			c, to, ref, angle = a, b, pt{0, 1}, l.FromVertical
		}
		dir := to.sub(c)
		r := min(9*v.k, dir.len()/2.5)
		start, sweep := ref.angle(), math.Remainder(dir.angle()-ref.angle(), 2*math.Pi)
		f := figure{
			arc:  arc{of: v.of("angle", l.Name), c: c, r: r, start: start, end: start + sweep, pen: pn},
			foot: [2]pt{c, c.add(ref.mul(r + 1.5))},
			text: degrees(angle),
		}
		if math.Abs(math.Abs(sweep)-angle) > math.Pi/180 {
			f.text = "true " + f.text
		}
		for _, t := range []float64{0.5, 0.25, 0.75} {
			f.anchors = append(f.anchors, c.add(polar(start+sweep*t).mul(r)))
		}
		v.place.avoid(1, f.arc.points()...)
		v.place.avoid(0.5, f.foot[:]...)
		figures = append(figures, f)
	}
	for _, f := range figures {
		// Close by or not at all: the table has every angle.
		if v.note(f.arc.of, []string{f.text, words}, f.anchors, 0.6, 8, false) {
			v.p.put(thin, f.arc)
			v.p.line(thin, "", pn, f.foot[:]...)
		}
	}
}

// endSpan gives the ends of the span whose angle the leg reports: the chord,
// or of a leg over points its flattest end span.
func endSpan(l *lift.HungLeg) (top, low vec, ok bool) {
	n := len(l.Path)
	if n < 2 {
		return top, low, false
	}
	top, low = l.Path[0], l.Path[1]
	if n > 2 {
		if a, b := l.Path[n-1], l.Path[n-2]; steepness(a, b) < steepness(top, low) {
			top, low = a, b
		}
	}
	if top[2] < low[2] {
		top, low = low, top
	}
	return top, low, true
}

func steepness(a, b vec) float64 {
	d := minus(a, b)
	return math.Abs(d[2]) / max(norm(d), 1e-12)
}

// dimension draws a dimension line between two points, off to one side, at
// a fixed page coordinate: x = at for a vertical one, y = at for a level one.
func (v *panel) dimension(of string, a, b pt, level bool, at float64, lines ...string) {
	pn := pen{width: 0.18, ink: black}
	c, d := pt{at, a.y}, pt{at, b.y}
	past := pt{math.Copysign(1.2, at-a.x), 0}
	if level {
		c, d = pt{a.x, at}, pt{b.x, at}
		past = pt{0, math.Copysign(1.2, at-a.y)}
	}
	v.p.line(thin, "", pen{width: 0.13, ink: grey}, a.to(c, min(1, 1.5/max(c.sub(a).len(), 0.1))), c.add(past))
	v.p.line(thin, "", pen{width: 0.13, ink: grey}, b.to(d, min(1, 1.5/max(d.sub(b).len(), 0.1))), d.add(past))
	v.p.line(thin, of, pn, c, d)
	out := c.sub(d).unit()
	v.arrow(c, out, 2)
	v.arrow(d, out.mul(-1), 2)
	v.place.avoid(0.8, c, d)
	v.place.avoid(0.3, a, c)
	v.place.avoid(0.3, b, d)
	v.note(of, lines, []pt{c.to(d, 0.5), c.to(d, 0.35), c.to(d, 0.65), c.to(d, 0.2), c.to(d, 0.8)}, 0.6, 10, false)
}

// arrow draws a head of a length with its point at c.
func (v *panel) arrow(c, dir pt, l float64) {
	back, side := c.sub(dir.mul(l)), dir.left().mul(l*0.22)
	v.p.area(symbols, "", black, pen{}, c, back.add(side), back.sub(side))
}

// dimensions of the elevation: hook over the highest lug, hook over the
// underside, spread of the lugs; of the plan: spread of the lugs both ways.
func (v *panel) dimensions() {
	lugs := v.lugs()
	if len(lugs) > 1 {
		v.spread(lugs)
	}
	if v.name != "elevation" || len(lugs) == 0 {
		return
	}
	hook, lug, ok := v.headroom(lugs)
	if !ok {
		return
	}
	x := v.under.x1 + 6*v.k
	a := v.cam.at(hook)
	v.dimension(v.of("dimension", "headroom"), a, v.cam.at(lug), false, x, v.t.length(v.h.HeadroomM), "headroom, hook", "over highest lug")
	if corners, sized := v.corners(0); sized {
		low := slices.MinFunc(corners[:], func(a, b vec) int { return cmp.Compare(a[2], b[2]) })
		v.dimension(v.of("dimension", "underside"), a, v.cam.at(low), false, v.under.x0-6*v.k, v.t.length(hook[2]-low[2]), "hook over", "underside")
	}
}

// spread dimensions how far the lugs lie apart in the view.
func (v *panel) spread(lugs []vec) {
	flat := v.flat(lugs)
	byX := func(a, b pt) int { return cmp.Compare(a.x, b.x) }
	byY := func(a, b pt) int { return cmp.Compare(a.y, b.y) }
	x, y := v.under.x1+6*v.k, v.under.y1+6*v.k
	if v.name == "plan" && v.low.x > 0.3 {
		x = v.under.x0 - 6*v.k
	}
	if v.name == "plan" && v.low.y > 0.3 {
		y = v.under.y0 - 6*v.k
	}
	a, b := slices.MinFunc(flat, byX), slices.MaxFunc(flat, byX)
	if d := b.x - a.x; d > 8 {
		v.dimension(v.of("dimension", "spread"), a, b, true, y, "lug spread "+v.t.length(d/v.cam.mm))
	}
	if v.name != "plan" {
		return
	}
	a, b = slices.MinFunc(flat, byY), slices.MaxFunc(flat, byY)
	if d := b.y - a.y; d > 8 {
		v.dimension(v.of("dimension", "depth"), a, b, false, x, "lugs", v.t.length(d/v.cam.mm))
	}
}

// lowSide marks where the load hangs low: in the plan at its edge, in the
// elevation under its lowest corner.
func (v *panel) lowSide() {
	if len(v.h.Bodies) == 0 || v.h.Bodies[0].LowSide == nil || v.name == "pictorial" {
		return
	}
	b := &v.h.Bodies[0]
	s, c := math.Sincos(*b.LowSide)
	d := v.cam.dir(minus(world(b, vec{c, s, 0}), b.Origin))
	box := around(v.flat(v.solid(0))...)
	var tip, dir pt
	if v.name == "plan" {
		dir = d.unit()
		mid := pt{(box.x0 + box.x1) / 2, (box.y0 + box.y1) / 2}
		_, t, _ := box.cut(mid, mid.add(dir.mul(box.w()+box.h()+1)))
		tip = mid.add(dir.mul(t*(box.w()+box.h()+1) + 4.5))
	} else {
		flat := v.flat(v.solid(0))
		low := slices.MaxFunc(flat, func(a, b pt) int { return cmp.Compare(a.y, b.y) })
		if math.Abs(d.x) < 0.2 || len(v.h.Supports) > 0 {
			return // it tilts toward or away from the eye, or stands on its low side
		}
		dir, tip = pt{0, 1}, low.add(pt{0, 4.5})
	}
	v.low = dir
	v.p.line(symbols, v.of("low", "load"), pen{width: 0.6, ink: black}, tip.sub(dir.mul(4)), tip.sub(dir))
	v.arrow(tip, dir, 2.4)
	v.place.block(around(tip, tip.sub(dir.mul(4))).grow(0.8))
	v.note(v.of("low", "load"), []string{"low side", "tilt " + degrees(b.Tilt)}, []pt{tip.sub(dir)}, 1.2, 14, v.tilted())
}

// strip is the height of the foot of a view, where scale bar and axes stand
// and no label goes, mm.
const strip = 10

// foot draws the scale bar, where the load's x axis points, and the world's
// when it is another way.
func (v *panel) foot(frame rect) {
	left := v.scaleBar(pt{frame.x0 + 3*v.k, frame.y1 - 3*v.k}, frame.w())
	right := frame.x1 - 2*v.k
	size := 2.5 * v.k
	show := func(dir vec, name string, w float64) {
		d := v.cam.dir(dir)
		end := d.len() < 0.15
		if end {
			name += map[bool]string{true: ", away", false: ", to you"}[dot(dir, v.cam.ahead) > 0]
		}
		c := pt{right - width(name, size, true) - 6*v.k, frame.y1 - strip*v.k/2}
		if c.x < left+5*v.k {
			return
		}
		of := v.of("axis", name)
		if end {
			v.p.circle(symbols, of, c, 1.6*v.k, none, pen{width: w, ink: black})
			v.p.circle(symbols, of, c, 0.4*v.k, black, pen{})
		} else {
			tip := c.add(d.unit().mul(4.3 * v.k))
			v.p.line(symbols, of, pen{width: w, ink: black}, c.sub(d.unit().mul(4*v.k)), tip.sub(d.unit()))
			v.arrow(tip, d.unit(), 2.2*v.k)
		}
		v.p.text(of, pt{right, c.y + size*0.35}, 1, size, true, black, name)
		right = c.x - 6*v.k
	}
	if len(v.h.Bodies) == 0 {
		return
	}
	r := v.h.Bodies[0].Rot
	show(vec{r[0], r[3], r[6]}, "load x", 0.6)
	if v.name != "pictorial" && math.Abs(math.Atan2(r[3], r[0])) > 2*math.Pi/180 {
		show(vec{1, 0, 0}, "world x", 0.2)
	}
}

// scaleBar draws a bar of a round length in four parts and gives where it ends.
func (v *panel) scaleBar(at pt, room float64) (right float64) {
	most := min(32*v.k, 0.34*room)
	unit, name := 1.0, "m"
	if v.t.us {
		unit, name = 0.3048, "ft"
		if v.cam.mm*unit > most {
			unit, name = 0.0254, "in"
		}
	}
	n := round(most / v.cam.mm / unit)
	l := n * unit * v.cam.mm
	of := v.of("scalebar", "")
	for i := range 4 {
		x0, x1 := at.x+l*float64(i)/4, at.x+l*float64(i+1)/4
		v.p.area(symbols, of, []ink{black, white}[i%2], pen{width: 0.15, ink: black}, pt{x0, at.y - 1}, pt{x1, at.y - 1}, pt{x1, at.y}, pt{x0, at.y})
	}
	size := 2.2 * v.k
	text := strconv.FormatFloat(n, 'g', -1, 64) + " " + name
	v.p.text(of, pt{at.x, at.y - 1.6}, 0, size, false, black, "0")
	v.p.text(of, pt{at.x + l, at.y - 1.6}, 0, size, false, black, text)
	return at.x + l + width(text, size, false)
}

// view makes a whole view inside its pane.
func (s *sheet) view(w view, frame rect) {
	name, title := w.name, w.title
	v := &panel{sheet: s, name: name, place: placer{area: frame.grow(-0.8)}}
	v.place.area.y1 = frame.y1 - strip*s.k
	things := s.extent()
	v.cam = w.cam.fit(w.room(frame, s.k), things)
	v.under = v.cam.bounds(things)
	if len(s.h.Supports) > 0 && name != "plan" {
		v.under.y1 += 4.5 // their symbols
	}
	title += fmt.Sprintf(", 1:%s", strconv.FormatFloat(v.cam.ratio, 'g', 4, 64))
	size := 2.9 * s.k
	left := "labels left out for want of room: "
	v.place.block(rect{frame.x0, frame.y0, frame.x0 + 5 + width(title, size, true), frame.y0 + 2 + size})
	v.place.block(rect{frame.x0, frame.y0, frame.x0 + 2 + width(left+"999", 0.8*size, false), frame.y0 + 2 + 2*size})
	s.p.text(v.of("title", ""), pt{frame.x0 + 2, frame.y0 + 1.5 + size*0.8}, 0, size, true, black, title)
	v.foot(frame)

	order := make([]int, len(s.h.Bodies))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(a, b int) int {
		return cmp.Compare(dot(v.cam.ahead, s.h.Bodies[b].CG), dot(v.cam.ahead, s.h.Bodies[a].CG))
	})
	for _, i := range order {
		v.body(i)
	}
	v.ropes()
	if name == "elevation" {
		v.plumb()
	}
	spots, lugs := v.symbols()
	spots = append(spots, v.ties()...)
	v.lowSide()
	if name != "pictorial" {
		v.dimensions()
	}
	v.nameSpots(spots)
	if name == "elevation" {
		v.angles()
	}
	v.nameLegs(name == "elevation")
	v.nameSpots(lugs)
	v.nameBodies()
	if v.lost > 0 {
		s.p.text(v.of("lost", ""), pt{frame.x0 + 2, frame.y0 + 1.5 + size*1.8}, 0, 0.8*size, false, black, left+strconv.Itoa(v.lost))
	}
}

// nameBodies writes what the load weighs onto it, and names the spreaders.
func (v *panel) nameBodies() {
	for i := range v.h.Bodies {
		b := &v.h.Bodies[i]
		lines := []string{b.Name}
		if i == 0 {
			lines = []string{cmp.Or(v.h.Lift.Load.Name, b.Name), v.t.say(v.h.WeightN)}
		}
		if v.name == "plan" && i == 0 {
			continue
		}
		r := around(v.flat(v.solid(i))...)
		var anchors []pt
		for _, y := range []float64{0.75, 0.5, 0.25, 0.9} {
			for _, x := range []float64{0.5, 0.3, 0.7, 0.15, 0.85} {
				anchors = append(anchors, pt{r.x0 + r.w()*x, r.y0 + r.h()*y})
			}
		}
		v.note(v.of("bodyname", b.Name), lines, anchors, 0, 20, false)
	}
}
