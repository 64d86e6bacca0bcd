package size

import (
	"math"
	"slices"

	"plumbhook/lift"
	"plumbhook/quantity"
)

// Headroom is the answer to which legs fit between hook and load. The height
// is that from the hook's bearing down to the highest lug of the load.
type Headroom struct {
	Limit   float64  // m
	Longest *Lengths // the longest legs that fit; when none do, the lowest there are
	Fits    bool     // they fit, hang the load as wanted, and keep to angle and rating
	// The least headroom at which the legs keep to their angle, and at which
	// they hold. Nil where nothing asks for one, or no length gives it.
	ByAngle, ByRating *Rigged
	Reasons           []Reason
}

// plumb is the angle from vertical up to which a leg counts as vertical: 29 CFR
// 1910.184(b), angle of loading.
const plumb = 5 * math.Pi / 180

// slanted are the legs that stand off the vertical, which length makes steeper
// or flatter; in a rig without any, those that take hold of the load.
func slanted(h *lift.Hung) []int {
	var legs []int
	for i := range h.Legs {
		if h.Legs[i].FromVertical > plumb {
			legs = append(legs, i)
		}
	}
	if legs == nil {
		return holdsLoad(h)
	}
	return legs
}

// Under finds the longest legs with which the load hangs as wanted under a
// headroom limit, m: steep legs bear least. Without ranges, the legs off the
// vertical may have any length. It says what the least headroom is for the
// angles that the margin, and the spreaders of the file, ask for, and for the
// ratings of the legs.
func Under(l *lift.Lift, limit float64, g Goal, m Margin, ranges []Range) (*Headroom, error) {
	w, err := open(l, g, m, ranges, slanted)
	if err != nil {
		return nil, err
	}
	w.under = &limit
	out := &Headroom{Limit: limit}
	x := w.solve(w.lengths())
	if out.Longest, err = w.answer(x); err != nil {
		return nil, err
	}
	out.Fits = out.Longest.Reached
	why := func(spoils bool, format string, args ...any) {
		out.Fits = out.Fits && !spoils
		out.Reasons = append(out.Reasons, because(format, args...))
	}
	rig := &out.Longest.Practical
	switch got := rig.Hung.HeadroomM; {
	case got > limit+millimetre/10:
		why(true, "no lengths fit: the lowest rig that hangs the load as wanted takes %s, and %s are there", quantity.Length(got), quantity.Length(limit))
	case w.longest(rig):
		why(false, "the longest legs there are take up %s of the %s", quantity.Length(got), quantity.Length(limit))
	}
	rated := true
	for _, i := range w.legs {
		leg := &rig.Legs[i]
		if least, from := w.leastAngle(i); float64(leg.FromHorizontal) < least-1e-9 {
			why(true, "leg %s stands at %s from horizontal, flatter than the %s that %s", leg.Name, leg.FromHorizontal, quantity.Angle(least), from)
		}
		switch {
		case leg.WLLN == nil:
			rated = false
			why(true, "leg %s has no rating (%v): whether it holds is not assessed; give its wll", leg.Name, l.Place("legs."+leg.Name))
		case m.demand(*leg.P95N, leg.WorstN) > *leg.WLLN:
			why(true, "leg %s would have to be rated for %s; it is rated for %s", leg.Name, quantity.Force(m.demand(*leg.P95N, leg.WorstN)), quantity.Force(*leg.WLLN))
		}
	}
	if slices.ContainsFunc(w.legs, func(i int) bool { least, _ := w.leastAngle(i); return least > 0 }) {
		if out.ByAngle, err = w.byAngle(); err != nil {
			return nil, err
		}
		if out.ByAngle == nil {
			why(true, "no lengths stand as steep as is asked for")
		}
	}
	if rated {
		if out.ByRating, err = w.byRating(); err != nil {
			return nil, err
		}
		if out.ByRating == nil {
			why(true, "at no lengths do the ratings of the legs hold")
		}
	}
	return out, nil
}

// longest tells whether no leg can grow.
func (w *work) longest(r *Rigged) bool {
	for k, i := range w.legs {
		rg := &w.ranges[k]
		if g := grid(rg, r.Legs[i].From, r.Legs[i].To+1e-9, rg.Max); len(g) > 0 {
			return false
		}
	}
	return true
}

// leastAngle is the flattest that a leg may stand, rad from horizontal, and who
// asks for it.
func (w *work) leastAngle(i int) (float64, string) {
	least, from := 0.0, ""
	if a := w.margin.LeastAngle; a != nil {
		least, from = float64(*a), "is asked for"
	}
	leg := &w.lift.Legs[i]
	for k := range w.lift.Spreaders {
		s := &w.lift.Spreaders[k]
		// A top leg joins the spreader to a hook or a node, not to the load.
		top := leg.To.Body == s.Name && leg.From.Body != "load" || leg.From.Body == s.Name && leg.To.Body != "load"
		if a := s.LeastTopAngle; a != nil && top && float64(a.Value) > least {
			least, from = float64(a.Value), "spreader "+s.Name+" is rated for"
		}
	}
	return least, from
}

// byAngle is the lowest rig whose legs all stand as steep as they must.
func (w *work) byAngle() (*Rigged, error) {
	x, err := w.least(w.lengths(), func(h *lift.Hung) float64 {
		v := math.Inf(1)
		for _, i := range w.legs {
			least, _ := w.leastAngle(i)
			v = min(v, h.Legs[i].FromHorizontal-least)
		}
		return v
	})
	if x == nil {
		return nil, err
	}
	return w.drawn(x)
}

// byRating is the lowest rig whose legs hold. How far P95 lies above the
// nominal tension changes little with the height: it is taken from the rig
// found last, until one holds by its own.
func (w *work) byRating() (*Rigged, error) {
	x := w.lengths()
	above := make([]float64, len(x))
	for k := range above {
		above[k] = 1
	}
	for range 8 {
		got, err := w.least(x, func(h *lift.Hung) float64 {
			v := math.Inf(1)
			for k, i := range w.legs {
				v = min(v, nearlyFull - w.margin.demand(above[k]*h.Legs[i].TensionN, h.Legs[i].WorstN) / *h.Legs[i].WLLN)
			}
			return v
		})
		if got == nil {
			return nil, err
		}
		rig, err := w.drawn(got)
		if err != nil {
			return nil, err
		}
		most := 0.0
		for k, i := range w.legs {
			leg := &rig.Legs[i]
			most = max(most, w.margin.demand(*leg.P95N, leg.WorstN) / *leg.WLLN)
			if leg.TensionN > 0 {
				above[k] = *leg.P95N / leg.TensionN
			}
		}
		if most <= 1 && (most > 2*nearlyFull-1 || slices.Equal(got, x)) {
			return rig, nil
		}
		x = got
	}
	return nil, nil
}

// nearlyFull is the utilisation that the search for the least headroom goes
// for.
const nearlyFull = 0.999

const (
	widen    = 1.3 // the search for the least headroom opens up by this factor
	mostWide = 16  // times
)

// least finds the lengths of the lowest rig that hangs the load as wanted and
// for which holds, which grows with the headroom, is not below zero; x is where to
// look first. Nil: there is none.
func (w *work) least(x []float64, holds func(*lift.Hung) float64) ([]float64, error) {
	v := *w
	type point struct {
		x    []float64
		h, f float64
	}
	at := func(height float64, x []float64) (point, error) {
		v.under = &height
		x = v.solve(x)
		_, h, err := v.rig(x)
		if err != nil {
			return point{}, err
		}
		return point{x, h.HeadroomM, holds(h)}, nil
	}
	v.under = nil
	x = v.solve(x)
	_, h, err := v.rig(x)
	if err != nil {
		return nil, err
	}
	a := point{x, h.HeadroomM, holds(h)}
	// Go up while it does not hold, down while it does, to where it changes.
	by := widen
	if a.f >= 0 {
		by = 1 / widen
	}
	b := a
	for range mostWide {
		if b, err = at(a.h*by, a.x); err != nil {
			return nil, err
		}
		if (b.f >= 0) != (a.f >= 0) {
			break
		}
		if math.Abs(b.h-a.h) < millimetre { // the limits of the lengths
			if a.f >= 0 {
				return b.x, nil
			}
			return nil, nil
		}
		a = b
	}
	low, high := a, b
	if a.f >= 0 {
		low, high = b, a
	}
	if high.f < 0 || low.f >= 0 {
		return nil, nil
	}
	for range 60 {
		if high.h-low.h < millimetre/2 {
			break
		}
		// Regula falsi, kept off the ends so that both close in.
		share := min(max(low.f/(low.f-high.f), 0.1), 0.9)
		mid, err := at(low.h+share*(high.h-low.h), high.x)
		if err != nil {
			return nil, err
		}
		if mid.f >= 0 {
			high = mid
		} else {
			low = mid
		}
	}
	return high.x, nil
}
