package draw

import (
	"math"
	"slices"
)

// placer finds room for labels in one panel, one after the other and always
// in the same way: every label tries a fixed list of places around its
// anchors and takes the cheapest that touches no other label or symbol.
type placer struct {
	area  rect
	boxes []rect // taken: labels and symbols
	lines []path // better not crossed
}

// never is the cost of what a label may not lie across at all: a leg under
// a label could pass for a slack one.
const never = 2

// path is a line on the page with the cost of a label lying across it, per mm.
type path struct {
	a, b pt
	cost float64
}

func (p *placer) block(r rect) { p.boxes = append(p.boxes, r) }

func (p *placer) avoid(cost float64, pts ...pt) {
	for i := 0; i+1 < len(pts); i++ {
		p.lines = append(p.lines, path{pts[i], pts[i+1], cost})
	}
}

// crossed tells whether a line lies under a box.
func (p *placer) crossed(r rect) bool {
	return slices.ContainsFunc(p.lines, func(l path) bool {
		_, _, hit := r.cut(l.a, l.b)
		return hit
	})
}

// rose is the order in which the sixteen directions around an anchor are
// tried: above and below, beside, then what lies between.
var rose = [16]int{4, 12, 0, 8, 2, 6, 10, 14, 1, 3, 5, 7, 9, 11, 13, 15}

// gap is what stays free around a label, mm.
const gap = 0.5

// find looks for a free place for a w by h box and takes it. anchors are
// points the label may belong to, best first; near is how close to one its
// edge starts. reach limits the distance; beyond it, or with no free place,
// ok is false.
func (p *placer) find(w, h float64, anchors []pt, near, reach float64) (r rect, at pt, ok bool) {
	best := math.Inf(1)
	try := func(q rect, a pt, extra float64) {
		if !p.area.holds(q) {
			return
		}
		far := q.nearest(a).sub(a).len()
		cost := extra + 0.5*far
		if cost >= best {
			return
		}
		for _, b := range p.boxes {
			if q.grow(gap).hits(b) {
				return
			}
		}
		lead := path{q.nearest(a), a, 0}
		for _, l := range p.lines {
			if _, _, hit := q.grow(1.5*gap).cut(l.a, l.b); hit && l.cost >= never {
				return
			}
			if t0, t1, hit := q.grow(gap).cut(l.a, l.b); hit {
				cost += l.cost * (1 + l.b.sub(l.a).len()*(t1-t0))
			}
			if far > near && cross(lead, l) {
				cost += 1 + 2*l.cost
			}
			if far > near+1 { // a leader close along a line reads as part of it
				m := lead.a.to(lead.b, 0.5)
				if _, _, hit := (rect{m.x - 1, m.y - 1, m.x + 1, m.y + 1}).cut(l.a, l.b); hit {
					cost += l.cost
				}
			}
		}
		if far > near {
			for _, b := range p.boxes {
				if t0, t1, hit := b.cut(lead.a, lead.b); hit && t0 < 0.98 && t1 > t0 {
					cost += 6
				}
			}
		}
		if cost < best {
			best, r, at, ok = cost, q, a, true
		}
	}
	for i, a := range anchors {
		for _, d := range []float64{0, 1, 2.5, 5, 9, 14, 20, 27, 35} {
			if near+d > reach {
				break
			}
			if near+d == 0 {
				try(rect{a.x - w/2, a.y - h/2, a.x + w/2, a.y + h/2}, a, 0.25*float64(i))
				continue
			}
			for j, k := range rose {
				dir := polar(float64(k) * math.Pi / 8)
				c := a.add(dir.mul(near + d))
				// The box leans away from its anchor: to the right of it its left
				// edge is at c, below it its upper edge, between them its corner.
				lean := func(v float64) float64 { return (min(max(1.42*v, -1), 1) - 1) / 2 }
				x, y := c.x+lean(dir.x)*w, c.y+lean(dir.y)*h
				try(rect{x, y, x + w, y + h}, a, 0.25*float64(i)+0.01*float64(j))
			}
		}
	}
	if ok {
		p.block(r)
	}
	return r, at, ok
}

// cross tells whether two segments cross inside both.
func cross(a, b path) bool {
	side := func(o, p, q pt) float64 { return (p.x-o.x)*(q.y-o.y) - (p.y-o.y)*(q.x-o.x) }
	const eps = 1e-9
	return side(a.a, a.b, b.a)*side(a.a, a.b, b.b) < -eps && side(b.a, b.b, a.a)*side(b.a, b.b, a.b) < -eps
}
