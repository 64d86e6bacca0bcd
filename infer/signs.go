package infer

import (
	"math"
	"slices"
)

// scale turns a measure into a log-likelihood ratio against a lift in which
// nothing is wrong: straight between the points, level beyond them. The
// points are common practice, no source: what drivers do to a load in ordinary
// lifts, and how much of what is wrong goes unseen.
type scale []struct{ x, nats float64 }

func (s scale) at(x float64) float64 {
	if x <= s[0].x {
		return s[0].nats
	}
	for i := 1; i < len(s); i++ {
		if a, b := s[i-1], s[i]; x <= b.x {
			return a.nats + (b.nats-a.nats)*(x-a.x)/(b.x-a.x)
		}
	}
	return s[len(s)-1].nats
}

// How telling a sign is for its cause. Not seen at all counts against it, but
// not for sure: slow cells miss much.
var (
	// A fall of the total on the way up, below what it was before: share of the
	// load. Rises overshoot by a tenth or so and come back.
	fell = scale{{0, -2.5}, {0.015, -1}, {0.04, 3}, {0.1, 8}}
	// A peak in the air: share of the load. Stops and starts make up to 0.2.
	jolt = scale{{0, -2.5}, {0.13, 1}, {0.17, 3}, {0.21, 5}, {0.3, 7}}
	// Swing to the upright, rad. Ordinary travel leaves a few hundredths.
	sways = scale{{0.02, -3}, {0.06, 0}, {0.08, 3}, {0.11, 5}, {0.16, 7}}
	// How long a swing goes on, in its own periods.
	lasts = scale{{1, -2}, {2, 0}, {4, 1}}
	// Wind, as a share of what the plan allows, with a load that moves.
	blows = scale{{0.2, -4}, {0.5, -1}, {0.8, 3}, {1.2, 6}}
	// Unsteadiness of a hold, standard deviation as a share of the load.
	rocks = scale{{0, -1.5}, {0.008, 0}, {0.03, 2.5}}
)

// rings is how long a load that broke free bounces so that its total still falls
// at once, s.
const rings = 8.0

// Of channels that stop: nats for one that did, and for none.
const ceased, goesOn = 6.0, -2.5

// signs adds the explanations of what time shows. They leave what is read at
// rest as planned, so each has the evidence of that, and the likelihood of its
// sign; all others have the sign by chance.
func (m *Model) signs(c *Course, x *fit, all []tried) []tried {
	base := all[0] // the lift as planned
	s := &c.Signs
	put := func(cause string, nats float64, index ...int) *explanation {
		h := *base.explanation
		h.cause, h.prior, h.index, h.sign = cause, odds[cause], index, true
		t := base
		t.explanation, t.score = &h, base.score-math.Log(base.prior)+math.Log(h.prior)+nats
		all = append(all, t)
		return &h
	}
	nats := goesOn
	if len(s.Lost) > 0 {
		nats = ceased
	}
	put("channel_lost", nats, s.Lost...)
	frozen := slices.DeleteFunc(slices.Clone(s.Frozen), func(k int) bool { return slices.Contains(s.Lost, k) || m.idle(c, k) })
	nats = goesOn
	if len(frozen) > 0 {
		nats = ceased
	}
	put("channel_frozen", nats, frozen...)
	hit := 0.0
	for _, k := range s.Shocks {
		if k.BeforeN > 0.8*m.weightN {
			hit = max(hit, (k.PeakN-k.BeforeN)/(k.BeforeN-m.emptyN))
		}
	}
	drop := 0.0
	for i, k := range s.Snaps {
		// What breaks free falls once, and rings; what falls again and again
		// swings.
		if k.AfterN > 0.5*m.weightN && s.Snaps[len(s.Snaps)-1].AtS-s.Snaps[i].AtS < rings {
			drop = max(drop, (k.BeforeN-k.AfterN)/m.weightN)
		}
	}
	if s.RiseLine > 0.5*m.weightN && hit == 0 {
		drop = max(drop, (s.RisePeak-s.RiseLine)/m.weightN-0.15)
	}
	if len(frozen)+len(s.Lost) > 0 {
		drop = 0 // the total falls at once as well when a blind cell reads again
	}
	put("broke_free", fell.at(drop)).say = drop
	if x.unproved {
		// What never came free, and was pulled at with more than it should weigh.
		over := (s.RisePeak-m.emptyN)/m.weightN - 1
		spread := 3 * m.scale[atMass] / m.mean[atMass]
		if !x.holds() && over > spread+0.02 {
			put("held_down", 6).say = over
		}
	}
	put("shock", jolt.at(hit)).say = hit
	angle, swung := 0.0, sways[0].nats
	for i := range s.Swings {
		k := &s.Swings[i]
		a := k.angle(m.weightN)
		if nats := sways.at(a) + lasts.at((k.ToS-k.FromS)/k.PeriodS); nats > swung {
			angle, swung = a, nats
		}
	}
	put("swing", swung).say = angle
	rough := s.UnsteadyN / m.weightN
	// Wind that blows hard enough pushes, lets go and swings the load: whatever
	// moved it speaks for that as much as for its own cause.
	moves := max(rocks.at(rough), swung, jolt.at(hit), fell.at(drop))
	switch {
	case s.WindMS == nil:
		put("gust", rocks.at(rough)-1).say = math.NaN()
	default:
		limit := 9.0 // m/s where the plan names none (common practice, no source)
		if w := m.plan.Lift.Site.Wind; w != nil {
			limit = float64(w.High)
		}
		put("gust", blows.at(*s.WindMS/limit)+moves+2*max(0, s.WindCorr)).say = *s.WindMS
	}
	return all
}

// idle tells whether a cell bears nothing in the holds, so that nothing about
// it moves.
func (m *Model) idle(c *Course, k int) bool {
	bears := false
	held := false
	for i := range c.Windows {
		if w := &c.Windows[i]; w.Stage == Hold && !math.IsNaN(w.ReadN[k]) {
			held = true
			bears = bears || w.ReadN[k]-m.cells[k].slack > slackLeg*m.weightN/float64(len(m.cells))
		}
	}
	return held && !bears
}

// angle is how far the load swings to the upright, rad: a pendulum pulls by
// three quarters of its angle squared to either side of the mean, as a share
// of its weight.
func (s *Swing) angle(weight float64) float64 {
	return math.Sqrt(4.0 / 3 * math.Max(s.TotalN, 0) / weight)
}

// level is how near to the highest steady total a window is that counts as
// being at it, share of the load; least, what it must be at all.
const level, leastHeld = 0.004, 0.04

// seen is the course as the fit takes it. Without a hold that is proved free
// the highest steady stretches stand in for one, and unproved is set. What
// each cell still carried with half the load down is one window more.
func (m *Model) evidence(c *Course) (d Course, unproved bool) {
	d = *c
	d.Windows = slices.Clone(c.Windows)
	last := -1
	for i := range d.Windows {
		if d.Windows[i].Stage == Hold {
			last = i
		}
	}
	if last < 0 {
		unproved = true
		top := 0.0
		net := make([]float64, len(d.Windows))
		for i := range d.Windows {
			if d.Windows[i].Stage == Tight {
				n, _ := m.Total(d.Windows[i].ReadN)
				net[i] = n - m.emptyN
				top = max(top, net[i])
			}
		}
		for i := range d.Windows {
			if w := &d.Windows[i]; w.Stage == Tight && net[i] > leastHeld*m.weightN && net[i] > top-level*m.weightN {
				w.Stage = Hold
			}
		}
		return d, unproved
	}
	if w := m.atHalf(c, &d.Windows[last]); w != nil {
		d.Windows = append(d.Windows, *w)
		slices.SortStableFunc(d.Windows, func(a, b Window) int {
			switch {
			case a.FromS < b.FromS:
				return -1
			case a.FromS > b.FromS:
				return 1
			}
			return 0
		})
	}
	return d, unproved
}

// passing is how far off a cell may be that is caught in passing, with two legs,
// as a share of its part of the load (common practice, no source).
const passing = 0.07

// atHalf makes a window of what the cells read with about half the load down.
// It was caught in passing, and the more legs there are the more does the corner
// that touches first weigh.
func (m *Model) atHalf(c *Course, hold *Window) *Window {
	a := c.Signs.AtHalf
	if len(a) != len(m.cells) {
		return nil
	}
	w := Window{Stage: Landed, FromS: hold.ToS + 0.1, ToS: hold.ToS + 0.2}
	each := m.weightN / float64(len(m.cells))
	for i, share := range a {
		slack := m.cells[i].slack
		w.ReadN = append(w.ReadN, slack+share*(hold.ReadN[i]-slack))
		w.NoiseN = append(w.NoiseN, passing*float64(max(1, len(a)-1))*each)
	}
	return &w
}
