package draw

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"plumbhook/lift"
)

// vec is a place or direction in the world, m, z up.
type vec = [3]float64

func dot(a, b vec) float64 { return a[0]*b[0] + a[1]*b[1] + a[2]*b[2] }
func minus(a, b vec) vec   { return vec{a[0] - b[0], a[1] - b[1], a[2] - b[2]} }
func norm(a vec) float64   { return math.Sqrt(dot(a, a)) }
func world(b *lift.HungBody, p vec) vec {
	r := b.Rot
	return vec{
		b.Origin[0] + r[0]*p[0] + r[1]*p[1] + r[2]*p[2],
		b.Origin[1] + r[3]*p[0] + r[4]*p[1] + r[5]*p[2],
		b.Origin[2] + r[6]*p[0] + r[7]*p[1] + r[8]*p[2],
	}
}

// camera is a parallel projection. The page's right is at azimuth turn (from
// world +x toward +y); the eye looks down by pitch: 0 is an elevation, a
// quarter turn a plan.
//
//	right = (cos t, sin t, 0)
//	up    = (-sin t sin p, cos t sin p, cos p)
//	ahead = (-sin t cos p, cos t cos p, -sin p)
type camera struct {
	right, up, ahead vec
	mm               float64 // on the page per metre
	ratio            float64 // of the scale: 1:ratio
	zero             pt      // where the world's origin falls
}

func look(turn, pitch float64) camera {
	st, ct := math.Sincos(turn)
	sp, cp := math.Sincos(pitch)
	return camera{right: vec{ct, st, 0}, up: vec{-st * sp, ct * sp, cp}, ahead: vec{-st * cp, ct * cp, -sp}, mm: 1}
}

func (c camera) at(p vec) pt {
	return c.zero.add(pt{dot(c.right, p), -dot(c.up, p)}.mul(c.mm))
}

// dir is where a world direction points on the page; its length is 1 for a
// unit vector in the picture plane.
func (c camera) dir(d vec) pt { return pt{dot(c.right, d), -dot(c.up, d)} }

// fit sets the largest usual scale at which all points fall inside the box,
// and centres them. The scales follow what scale rulers carry.
func (c camera) fit(box rect, pts []vec) camera {
	b := c.bounds(pts)
	c.ratio = 1e-3
	need := max(b.w()/box.w(), b.h()/box.h()) * 1000
search:
	for p := 1e-3; ; p *= 10 {
		for _, k := range []float64{1, 1.25, 1.5, 2, 2.5, 3, 4, 5, 6, 7.5, 8} {
			if c.ratio = k * p; c.ratio >= need {
				break search
			}
		}
	}
	c.mm = 1000 / c.ratio
	b = c.bounds(pts)
	c.zero = pt{(box.x0 + box.x1 - b.x0 - b.x1) / 2, (box.y0 + box.y1 - b.y0 - b.y1) / 2}
	return c
}

func (c camera) bounds(pts []vec) rect {
	flat := make([]pt, len(pts))
	for i, p := range pts {
		flat[i] = c.at(p)
	}
	return around(flat...)
}

// facing picks the azimuth of the elevation's right-hand side that spreads
// the legs' ends widest: the world's +x (looking along +y) or +y (looking
// along -x) when that one shows at least three quarters of the greatest
// spread there is, else the direction of the greatest spread itself, the
// principal axis of the ends' plan positions.
func facing(h *lift.Hung) (turn float64, said string) {
	var sx, sy, sxx, sxy, syy, n float64
	for _, l := range h.Legs {
		for _, p := range l.Path {
			n++
			sx, sy = sx+p[0], sy+p[1]
		}
	}
	for _, l := range h.Legs {
		for _, p := range l.Path {
			x, y := p[0]-sx/n, p[1]-sy/n
			sxx, sxy, syy = sxx+x*x, sxy+x*y, syy+y*y
		}
	}
	most := (sxx+syy)/2 + math.Hypot((sxx-syy)/2, sxy)
	switch {
	case max(sxx, syy) < 0.75*most:
		turn = math.Atan2(2*sxy, sxx-syy) / 2
		return turn, fmt.Sprintf("looking along %.0f° from world +x toward +y", turn*180/math.Pi+90)
	case syy > 1.1*sxx:
		return math.Pi / 2, "looking along world −x"
	}
	return 0, "looking along world +y"
}

// box gives the eight corners of a body's size box in body axes, x fastest,
// from the one with the least x, y and z.
func box(lo, size vec) [8]vec {
	var c [8]vec
	for i := range c {
		for a := range 3 {
			c[i][a] = lo[a]
			if i>>a&1 == 1 {
				c[i][a] += size[a]
			}
		}
	}
	return c
}

// corner guesses where a size box begins, for a file that does not say: along
// x and y it is tried about the origin, along z standing on it, and then in
// the other usual ways, and the one that leaves least of the points (lugs and
// CG) outside wins.
func corner(size vec, points []vec) (lo vec) {
	for a := range 3 {
		least, most := math.Inf(1), math.Inf(-1)
		for _, p := range points {
			least, most = min(least, p[a]), max(most, p[a])
		}
		s := size[a]
		starts := []float64{-s / 2, 0, -s, (least+most)/2 - s/2}
		if a == 2 {
			starts[0], starts[1] = 0, -s/2
		}
		best := math.Inf(1)
		for _, at := range starts {
			out := 0.0
			for _, p := range points {
				out += max(0, at-p[a]) + max(0, p[a]-at-s)
			}
			if out < best-1e-9 {
				best, lo[a] = out, at
			}
		}
	}
	return lo
}

// sides are a box's faces as corner numbers, anticlockwise from outside.
var sides = [6][4]int{{0, 2, 3, 1}, {4, 5, 7, 6}, {0, 1, 5, 4}, {2, 6, 7, 3}, {0, 4, 6, 2}, {1, 3, 7, 5}}

// hull is the outline around points on the page (Andrew's monotone chain).
func hull(pts []pt) []pt {
	if pts = sorted(pts); len(pts) < 3 {
		return pts
	}
	var out []pt
	for pass := 0; pass < 2; pass++ {
		base := len(out)
		for _, p := range pts {
			for len(out) >= base+2 {
				a, b := out[len(out)-2], out[len(out)-1]
				if (b.x-a.x)*(p.y-a.y)-(b.y-a.y)*(p.x-a.x) > 0 {
					break
				}
				out = out[:len(out)-1]
			}
			out = append(out, p)
		}
		out = out[:len(out)-1] // the next pass starts there
		slices.Reverse(pts)
	}
	return out
}

func sorted(pts []pt) []pt {
	pts = slices.Clone(pts)
	slices.SortFunc(pts, func(a, b pt) int { return cmp.Or(cmp.Compare(a.x, b.x), cmp.Compare(a.y, b.y)) })
	return slices.Compact(pts)
}
