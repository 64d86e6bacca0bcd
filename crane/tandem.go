package crane

import (
	"fmt"
	"math"

	"plumbhook/fault"
)

// Reduction is how one authority lowers each crane's capacity when several
// carry one load.
type Reduction struct {
	Name     string
	Source   string
	Standing Standing
	Margins  []Margin // by number of cranes, ascending
}

// Margin holds from a number of cranes on: Load times the calculated share of
// a crane may come to no more than Keep times its capacity.
type Margin struct {
	Cranes     int
	Load, Keep float64
}

// Reductions holds the rule sets that a plan may name.
var Reductions = []Reduction{
	{
		"queensland", queenslandCode + ", 14.3.2: capacity above the calculated share by so much", Read,
		[]Margin{{2, 1.20, 1}, {3, 1.33, 1}, {4, 1.50, 1}},
	},
	{
		"british", "practice after BS 7121-1: each crane to 75 % unless its load is monitored and calculated", FromMemory,
		[]Margin{{2, 1, 0.75}},
	},
}

// Reduce finds a rule set by its name.
func Reduce(name string) (*Reduction, error) {
	names := ""
	for i := range Reductions {
		if Reductions[i].Name == name {
			return &Reductions[i], nil
		}
		if i > 0 {
			names += " or "
		}
		names += Reductions[i].Name
	}
	return nil, fault.New(fault.Reference, "no reduction for several cranes is called %q", name).Fix("write %s", names)
}

// Part is the share of one crane in a joint lift.
type Part struct {
	Where    string
	LoadN    float64  // on this machine, gross
	Of       float64  // of the load on all machines
	ReducedN *float64 // what the rule set leaves of its capacity; nil without one
	Share    *float64 // load over reduced capacity
	Status   Status
	Findings []Finding
}

// Together holds each machine of a joint lift against its reduced capacity.
// uses are the machines as Judge left them, for one and the same state of the
// lift. Without a rule set the reduced capacity is not assessed, which is a
// caution. The error is a *fault.Fault.
func Together(red *Reduction, uses []Use) ([]Part, error) {
	if len(uses) < 2 {
		return nil, fault.New(fault.Range, "a joint lift needs two cranes").Fix("leave the reduction out for a single crane")
	}
	sum := 0.0
	for _, u := range uses {
		sum += u.GrossN
	}
	if !(sum > 0) || math.IsInf(sum, 0) {
		return nil, fault.New(fault.Range, "the cranes of a joint lift carry nothing")
	}
	parts := make([]Part, len(uses))
	for i, u := range uses {
		p := Part{Where: u.Where, LoadN: u.GrossN, Of: u.GrossN / sum, Status: NotAssessed}
		switch {
		case red == nil:
			r := rule{"joint-reduction", "rule set of an authority for several cranes", Stated}
			p.Findings = append(p.Findings, r.find(Caution, u.Where,
				"%s takes %s of the load; the plan names no rule set for how much of its capacity may be used in a joint lift", u.Where, percent(p.Of)))
		case u.CapacityN == nil:
			p.Status = Fails // no capacity is a stop already
		default:
			p.hold(red, u, len(uses))
		}
		parts[i] = p
	}
	return parts, nil
}

func (p *Part) hold(red *Reduction, u Use, cranes int) {
	var m Margin
	for _, x := range red.Margins {
		if cranes >= x.Cranes {
			m = x
		}
	}
	reduced := *u.CapacityN * m.Keep / m.Load
	share := p.LoadN / reduced
	p.ReducedN, p.Share, p.Status = &reduced, &share, u.Status
	sev, verb := Note, "leaves"
	if share > 1 {
		sev, verb, p.Status = Stop, "leaves only", Fails
	}
	r := rule{"joint-reduction", red.Source, red.Standing}
	text := fmt.Sprintf("%s takes %s, %s of the load; the rule set %s for %d cranes %s %s of its capacity, %s: %s of that",
		p.Where, kilonewtons(p.LoadN), percent(p.Of), red.Name, cranes, verb, percent(m.Keep/m.Load), kilonewtons(reduced), percent(share))
	if red.Standing == FromMemory {
		text += "; the figure is from memory, check the document"
	}
	p.Findings = append(p.Findings, r.find(sev, p.Where, "%s", text).against(p.LoadN, reduced, "N"))
}

// Weight is a force down at a place along a load.
type Weight struct{ At, N float64 }

// Supports shares weights between two supports at a and b, along one line and
// all plumb, by moments:
//
//	R_b = Σ N (x - a)/(b - a),   R_a = Σ N - R_b
//
// A weight outside the two lifts the far one: a share may pass the whole load
// or fall below zero, and is not clamped.
func Supports(weights []Weight, a, b float64) (ra, rb float64, err error) {
	for _, w := range weights {
		rb += w.N * (w.At - a) / (b - a)
		ra += w.N * (b - w.At) / (b - a)
	}
	if math.IsNaN(ra+rb) || math.IsInf(ra, 0) || math.IsInf(rb, 0) {
		return 0, 0, fault.New(fault.Range, "the supports at %v and %v do not share this load", a, b).Fix("check the two places and the weights")
	}
	return ra, rb, nil
}

// TwoHooks is a load on two hooks with plumb lines: the hooks follow it, as
// two cranes or two drums do.
type TwoHooks struct {
	Span           float64 // m between the lifting points, along the load
	FromTwo        float64 // m from lifting point 2 to the centre of gravity, along the load
	Below1, Below2 float64 // m the centre of gravity lies below lifting point 1 and 2; negative above
}

// Share gives what part of the load hook 1 carries when end 1 is turned up by
// tilt (rad):
//
//	(d cos t + b sin t)/(L cos t + (b - a) sin t)
//
// with L the span, d FromTwo, a and b the depths below points 1 and 2 (0027/ND
// Rev 11.2, Appendix B.1): the moments of the turned points about the centre of
// gravity. With the centre of gravity below the points the high end gains load,
// with it above them the low end does. NaN when point 1 is no longer on its own
// side of point 2.
func (h TwoHooks) Share(tilt float64) float64 {
	sin, cos := math.Sincos(tilt)
	level := h.Span*cos + (h.Below2-h.Below1)*sin
	if !(level > 0) {
		return math.NaN()
	}
	return (h.FromTwo*cos + h.Below2*sin) / level
}

// Worst gives the largest part of the load that each hook can come to carry
// for tilts up to tilt (rad) to either side, with the centre of gravity
// anywhere within along and deep (m, half-widths) of its place. The share is
// linear in both, so the corners hold the extremes; the sign of its change
// with tilt does not turn (its derivative is a constant over a square), so the
// ends do.
func (h TwoHooks) Worst(tilt, along, deep float64) (one, two float64) {
	one, two = math.Inf(-1), math.Inf(-1)
	for _, t := range []float64{-tilt, tilt} {
		for _, x := range []float64{-along, along} {
			for _, z := range []float64{-deep, deep} {
				s := TwoHooks{h.Span, h.FromTwo + x, h.Below1 + z, h.Below2 + z}.Share(t)
				if math.IsNaN(s) {
					return s, s
				}
				one, two = max(one, s), max(two, 1-s)
			}
		}
	}
	return one, two
}

// Tilt gives the angle (rad) by which end 1 is turned up when hook 1 stands
// rise (m) too high against hook 2. Level, point 1 is higher than point 2 by
// e = a - b; turned, by L sin t + e cos t. That the two differ by rise gives
//
//	t = asin((rise + e)/√(L² + e²)) - atan(e/L)
//
// The error is a *fault.Fault: no turn makes such a difference.
func (h TwoHooks) Tilt(rise float64) (float64, error) {
	e := h.Below1 - h.Below2
	s := (rise + e) / math.Hypot(h.Span, e)
	if !(math.Abs(s) <= 1) || !(h.Span > 0) {
		return 0, fault.New(fault.Range, "hooks that differ by %v m do not fit on points %v m apart", rise, h.Span).
			Fix("check the span and the difference in height")
	}
	return math.Asin(s) - math.Atan(e/h.Span), nil
}
