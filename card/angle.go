package card

import (
	"math"
	"slices"
)

// Lesson is what the sling angle does to the leg of this job that is used
// most: with its vertical share as it is and the angle another.
type Lesson struct {
	Leg             string
	FromHorizontal  float64 // rad, planned
	ShareN          float64 // of the load on this leg, straight up, P95
	LengthM, RiseM  float64 // along the leg, and straight up between its ends
	Rows            []AngleRow
	Weakest         string   // its part that runs out first; empty without rating
	LimitN          float64  // force along the leg at which it does, the dynamic factor kept free
	OutAngle        *float64 // rad from horizontal; nil when no angle does it, or without rating
	NotEvenVertical bool     // the share alone is past the limit
}

// AngleRow is one angle of the table.
type AngleRow struct {
	FromHorizontal float64  // rad
	Factor         float64  // leg force over vertical share, 1 / sin α
	ForceN         float64  // along the leg
	Used           *float64 // of the limit; nil without rating
	Planned        bool
}

// Factor is the force along a leg over its vertical share: 1 / sin of its
// angle from the horizontal, or leg length over height (statics; the trade's
// tables of tension or load angle factors print the same).
func Factor(fromHorizontal float64) float64 { return 1 / math.Sin(fromHorizontal) }

// angle takes the leaning leg that is used most.
func (c *Card) angle() {
	best, most := -1, -1.0
	var weakest part
	for i := range c.State.Hung.Legs {
		h, leg := &c.State.Hung.Legs[i], &c.Plan.Lift.Legs[i]
		if len(leg.Via) > 0 || leg.Catenary || h.Slack || h.FromVertical < 1*math.Pi/180 {
			continue
		}
		v, w := h.TensionN*1e-12, part{} // without ratings the largest force
		for _, q := range c.rated() {
			if q.leg == i && *q.Utilisation > v {
				v, w = *q.Utilisation, q
			}
		}
		if v > most {
			best, most, weakest = i, v, w
		}
	}
	if best < 0 {
		return
	}
	h := &c.State.Hung.Legs[best]
	a := &Lesson{Leg: h.Name, FromHorizontal: h.FromHorizontal, LengthM: h.LengthM}
	a.RiseM = math.Abs(h.Path[0][2] - h.Path[len(h.Path)-1][2])
	p95 := c.State.P95[h.Name]
	a.ShareN = p95 * math.Sin(h.FromHorizontal)
	if weakest.Utilisation != nil {
		a.Weakest, a.LimitN = weakest.Where, p95 / *weakest.Utilisation
		if s := a.ShareN / a.LimitN; s <= 1 {
			out := math.Asin(s)
			a.OutAngle = &out
		} else {
			a.NotEvenVertical = true
		}
	}
	angles := []float64{h.FromHorizontal}
	for _, d := range []float64{75, 60, 45, 30} {
		if x := d * math.Pi / 180; math.Abs(x-h.FromHorizontal) > 2*math.Pi/180 {
			angles = append(angles, x)
		}
	}
	for _, d := range []float64{5, -5, -10} {
		x := h.FromHorizontal + d*math.Pi/180
		near := slices.ContainsFunc(angles, func(y float64) bool { return math.Abs(x-y) < 3*math.Pi/180 })
		if x > 10*math.Pi/180 && x < 89*math.Pi/180 && !near {
			angles = append(angles, x)
		}
	}
	slices.Sort(angles)
	slices.Reverse(angles)
	for _, x := range angles {
		r := AngleRow{FromHorizontal: x, Factor: Factor(x), Planned: x == h.FromHorizontal}
		r.ForceN = a.ShareN * r.Factor
		if a.LimitN > 0 {
			u := r.ForceN / a.LimitN
			r.Used = &u
		}
		a.Rows = append(a.Rows, r)
	}
	c.Angle = a
}
