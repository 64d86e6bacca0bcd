package card

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"plumbhook/verdict"
)

// Stop is a number past which the lift stops, and why.
type Stop struct {
	N    float64 // shown; room for the rise taken off
	Why  Reason
	Part verdict.Part // that runs out, of OfPart
	AtN  float64      // where it is reached; N is this less RiseN
	// RiseN is what comes on top while the hook still runs with the load
	// bound; nil when that is not known, and no room is left for it.
	RiseN *float64
	// Crowded says that the rise does not fit above what the plan lets the
	// cell read. N leaves no room then; at SlowM, m/s, it would fit. Zero: at
	// no speed.
	Crowded bool
	SlowM   float64
}

// Reason tells stops apart.
type Reason int

// Past a reading that is NotThePlan the load is heavier or its centre of
// gravity elsewhere, past a total that is Heavier only the former can be: both
// are judged at rest. OfPart and OfFile hold at any moment.
const (
	NotThePlan Reason = iota
	Heavier
	OfPart
	OfFile
)

// stops finds the warn and stop numbers of the cells and of the total.
//
// A part's limit is its rating over the dynamic factor, for a display misses
// the peaks. Every part counts for the cell whose leg alone loads it, and
// else for the total, in proportion to what it bears at P95.
func (c *Card) stops() {
	l := c.Plan.Lift
	parts := c.rated()
	for i := range c.Cells {
		k := &c.Cells[i]
		rise, slope := c.rise(func(b *Bite) float64 { return b.cells[i] })
		k.WarnN = k.HighN
		k.Stops = []Stop{{N: k.JointHighN, AtN: k.JointHighN, Why: NotThePlan}}
		add := func(s Stop) {
			k.Stops = append(k.Stops, c.room(s, k.JointHighN, rise, slope))
		}
		for _, q := range parts {
			if q.leg == k.Cell.Leg {
				add(Stop{Why: OfPart, Part: q.Part, AtN: c.least(k, c.State.P95[k.Leg] / *q.Utilisation)})
			}
		}
		if m, ok := l.Limits.Legs[k.Leg]; ok {
			if m.Stop != nil {
				add(Stop{Why: OfFile, AtN: c.least(k, float64(m.Stop.Force))})
			}
			if m.Warn != nil {
				k.WarnN = min(k.WarnN, c.least(k, float64(m.Warn.Force)))
			}
		}
		k.Stops = worst(k.Stops)
		k.WarnN = min(k.WarnN, k.Stops[0].N)
	}

	t := &c.Total
	t.WarnN = t.HighN
	t.Stops = []Stop{{N: t.HighN, AtN: t.HighN, Why: Heavier}}
	_, p95, _ := c.State.Total()
	rise, slope := c.rise(func(b *Bite) float64 { return b.total })
	add := func(s Stop) { t.Stops = append(t.Stops, c.room(s, t.HighN, rise, slope)) }
	for _, q := range parts {
		if q.leg < 0 || !c.celled(q.leg) {
			add(Stop{Why: OfPart, Part: q.Part, AtN: p95 / *q.Utilisation})
		}
	}
	if m := l.Limits.Total; m != nil {
		if m.Stop != nil {
			add(Stop{Why: OfFile, AtN: float64(m.Stop.Force)})
		}
		if m.Warn != nil {
			t.WarnN = min(t.WarnN, float64(m.Warn.Force))
		}
	}
	t.Stops = worst(t.Stops)
	t.WarnN = min(t.WarnN, t.Stops[0].N)
}

// worst sorts stops and keeps the lowest of each reason.
func worst(all []Stop) []Stop {
	slices.SortStableFunc(all, func(a, b Stop) int { return cmp.Or(cmp.Compare(a.N, b.N), cmp.Compare(a.AtN, b.AtN)) })
	seen := map[Reason]bool{}
	return slices.DeleteFunc(all, func(s Stop) bool {
		had := seen[s.Why]
		seen[s.Why] = true
		return had
	})
}

// rise is what comes on top from the reading until the hook stands, with the
// load bound, and the same per m/s of hoist speed. The hook runs
// v (delay + stopping), as if at full speed to the end, and what rope and
// boom give is taken off it: springs in a row. Nil where it is not known.
func (c *Card) rise(of func(*Bite) float64) (rise *float64, perSpeed float64) {
	if c.Bite == nil || c.HoistSpeed == 0 {
		return nil, 0
	}
	perSpeed = of(c.Bite) * (c.Delay + c.Stopping)
	if c.HookStiffness > 0 {
		perSpeed *= c.HookStiffness / (c.HookStiffness + c.Bite.total)
	}
	n := perSpeed * c.HoistSpeed
	return &n, perSpeed
}

// room takes the rise off a limit, unless nothing would be left above the
// band.
func (c *Card) room(s Stop, high float64, rise *float64, perSpeed float64) Stop {
	s.N, s.RiseN = s.AtN, rise
	switch {
	case rise == nil:
	case s.AtN-*rise >= high:
		s.N -= *rise
	default:
		s.Crowded = true
		s.N = min(s.AtN, high)
		if perSpeed > 0 {
			s.SlowM = math.Max(0, s.AtN-high) / perSpeed
		}
	}
	return s
}

// Say is the sentence for the crew about what is read, a channel or the
// total, from its stops; show writes a force with its unit.
func Say(what string, stops []Stop, show func(n float64) string) string {
	var b strings.Builder
	for i := range stops {
		s := &stops[i]
		switch {
		case i == 0:
			fmt.Fprintf(&b, "If %s reads above %s, stop, because ", what, show(s.N))
		case s.Crowded:
			b.WriteString("; ")
		default:
			fmt.Fprintf(&b, "; above %s because ", show(s.N))
		}
		b.WriteString(s.because(show))
	}
	return b.String() + "."
}

func (s *Stop) because(show func(n float64) string) string {
	text := ""
	switch s.Why {
	case NotThePlan:
		return "the load is heavier than planned, its centre of gravity elsewhere, or it is held"
	case Heavier:
		return "the load is heavier than planned, or it is held"
	case OfPart:
		text = fmt.Sprintf("%s (%s) runs out", s.Part.Where, s.Part.Kind)
	case OfFile:
		text = "the plan's own stop number is reached"
	}
	switch {
	case s.Crowded:
		text += fmt.Sprintf(" at %s, NO ROOM for the %s that a bound load adds before the hook stands", show(s.AtN), show(*s.RiseN))
	case s.RiseN != nil:
		text += fmt.Sprintf(" at %s, and a bound load adds %s before the hook stands", show(s.AtN), show(*s.RiseN))
	}
	return text
}
