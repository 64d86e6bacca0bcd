package rehearse

import (
	"math"
	"slices"

	"plumbhook/lift"
)

// conditions are what limits in time hang on besides the rig.
type conditions struct {
	rate    float64 // samples/s
	lag     float64 // of the cell, s
	noise   float64 // of a sample, share of full scale
	step    float64 // resolution, share of full scale
	give    float64 // stretch of the whole under the load, m
	damping float64 // ratio of the bounce
	creep   float64 // speed of the hoist while the load comes, m/s
}

// reference is what Limits speaks of.
var reference = conditions{rate: 10, lag: 0.08, noise: 1e-4, step: 8e-5, give: 0.025, damping: 0.035, creep: 0.02}

// What the drivers of this package do to a load in a lift as planned: the most
// seen in 225 lifts of the examples, 75 of each kind of driver, was 1.173 for
// the greatest hoist load over that at rest and 0.022 rad of swing. Both have a
// margin here, since a limit must hold for the one lift in many. How a load
// shakes in a hold, as a share of it, is what the middle careful driver leaves.
const (
	ordinaryFactor = 1.21
	ordinarySwing  = 0.03
	ordinaryShake  = 0.003
)

// inTime is the limit of a cause that shows in time, in a rig as planned.
//
//   - shock: what a cell of that lag and rate sees of the rise above the load at
//     rest, at the worst phase of sampling, must pass what ordinary drivers do:
//     (m - 1) e^(-ζω/2r) / sqrt(1 + (ωτ)²) = ordinaryFactor - 1.
//   - swing: a pull varies by 0.75 A² to either side (W(3 - 2cos A) at the
//     bottom, W cos A at the end), which must pass the ordinary shake and four
//     times the noise of the amplitude of a sine fitted to twelve seconds; and
//     A what ordinary travels leave.
//   - gust: with an anemometer it must pass four times its noise and the
//     ordinary roughness of the wind, and push the load aside by a swing that
//     shows. A gust of force F that is long for the swing pushes to F/W, and
//     to twice that on the way.
//   - channel_frozen: so many equal values that noise σ gives them once in 10^9
//     times where what is measured lies in the middle of a step s, so that it
//     shows the same value with the probability erf(s/(2σ√2)); the coarsest
//     display of the lift's cells counts, and never less than 2 s. With a step of more than some σ it can only be seen when the load
//     moves.
//   - channel_lost: longer than all but one in a thousand dropouts of the radio
//     (mean up to 0.7 s), and five samples.
//   - broke_free: the hoist must carry more than ordinary drivers make it carry
//     at lift-off, for as long as a sample takes and a cell lags: it pulls at
//     W v / d more every second, v its speed and d the stretch under the load.
func (r *rigging) inTime(cause string, c conditions) (Limit, bool) {
	w, g := r.weight, r.world.Gravity
	hold := r.held()
	wind := slices.ContainsFunc(r.lift.Channels, func(c lift.Channel) bool { return c.Kind == "wind speed" })
	l := Limit{Cause: cause, Unit: find(cause).Unit}
	noise := 0.0 // of a sample, share of the load
	for k, lc := range r.cells {
		noise += math.Pow(c.noise*fullScale(lc.cell, hold[k]), 2)
	}
	noise = math.Sqrt(noise) / w
	shake := ordinaryShake + sigmas*noise*math.Sqrt(2/(12*c.rate))
	swings := max(ordinarySwing, math.Sqrt(shake/0.75))
	switch cause {
	case "shock":
		omega := math.Sqrt(g / c.give)
		seen := math.Exp(-c.damping*omega/(2*c.rate)) / math.Hypot(1, omega*c.lag)
		if c.rate < omega/math.Pi {
			// Fewer than two samples a bounce: the first may fall anywhere, and
			// the next half way down.
			seen *= math.Exp(-c.damping*omega/c.rate) / 2
		}
		l.Detect, l.Most = 1+(ordinaryFactor-1)/seen, 2.5
	case "swing":
		l.Detect, l.Most = swings, 0.35
	case "gust":
		drag := r.world.Bodies[0].Drag
		push := min(drag[0], drag[1])
		l.Detect, l.Most = math.Sqrt(swings/2*w/push), 25
		if wind {
			l.Detect = max(l.Detect, 3)
		}
	case "channel_frozen":
		equal := 0.0
		for k, lc := range r.cells {
			full := fullScale(lc.cell, hold[k])
			equal = max(equal, math.Erf(nice(full*c.step)/(2*math.Sqrt2*full*c.noise)))
		}
		l.Detect, l.Most = max(2, math.Log(1e-9)/math.Log(equal)/c.rate), 60
	case "channel_lost":
		l.Detect, l.Most = 0.7*math.Log(1000)+5/c.rate, 60
	case "broke_free":
		l.Detect, l.Most = (ordinaryFactor-1+(1/c.rate+c.lag)*c.creep/c.give)*w, 0.8*w
	default:
		return l, false
	}
	l.Name = l.Detect
	if cause == "gust" && !wind {
		l.Name, l.Same = math.Inf(1), []string{"swing"}
	}
	if l.Detect > l.Most {
		l.Detect, l.Name = math.Inf(1), math.Inf(1)
	}
	return l, true
}
