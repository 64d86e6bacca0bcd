package rehearse

import (
	"math"
	"math/rand/v2"

	"plumbhook/lift"
	"plumbhook/sim"
)

// rates are what the radio cells of the trade send per second (common
// practice, no source).
var rates = []float64{1, 2, 4, 5, 10, 10, 20, 25, 50}

// quality is how well a cell measures.
type quality struct{ lag, noise, step float64 } // s, shares of full scale

func drawQuality(r *rand.Rand) quality {
	return quality{logBetween(r, 0.02, 0.3), logBetween(r, 3e-5, 3e-4), logBetween(r, 3e-5, 2e-4)}
}

// fullScale of a cell, N: its capacity, or without one twice what the plan has
// it read.
func fullScale(c *lift.Cell, planned float64) float64 {
	if c.Capacity != nil {
		return float64(c.Capacity.Force)
	}
	return 2 * max(planned, 100)
}

// accuracy is the stated hard limit of a cell's error at what the plan has it
// read, N; 0 where none is stated.
func accuracy(c *lift.Cell, planned float64) float64 {
	switch {
	case c.Accuracy == nil:
		return 0
	case c.Accuracy.OfFullScale:
		return c.Accuracy.Share * fullScale(c, planned)
	}
	return c.Accuracy.Share * planned
}

// zeroedHung tells whether any cell came zeroed with its rigging hanging.
func (d *draft) zeroedHung() bool {
	for _, c := range d.true.cells {
		if c.cell.Zero == lift.ZeroHung {
			return true
		}
	}
	return false
}

// chains draws the cells and their links.
func (d *draft) chains(opt Options) error {
	r := dice(d.run.Seed, streamCells)
	hung, err := d.true.empty(true)
	if err != nil {
		return err
	}
	attached, err := d.true.empty(false)
	if err != nil {
		return err
	}
	d.warmth = between(r, -0.02, 0.02)
	for k, lc := range d.true.cells {
		c := lc.cell
		full, limit := fullScale(c, d.planHold[k]), accuracy(c, d.planHold[k])
		// The error at the planned reading is even within the stated limit. It
		// is made of gain and non-linearity, which a zero does not take off.
		err := between(r, -limit, limit)
		curved := between(r, 0, 0.3)
		x := d.planHold[k] / full
		s := sim.Cell{
			Channel: c.Channel, Of: sim.LegForce, Index: lc.leg, Limit: limit,
			Lag: d.quality.lag, Noise: full * d.quality.noise, Step: nice(full * d.quality.step),
			Zero: between(r, -0.1, 0.1) * limit, Warm: full * between(r, -2e-5, 2e-5),
			Creep: sim.Ramp{Size: between(r, -0.05, 0.05) * limit, Over: between(r, 30, 200)},
		}
		if c.Capacity != nil {
			s.Capacity = full
		}
		if s.Capacity == 0 || x < 0.05 || x > 0.95 {
			curved = 0
		} else {
			s.Bend = curved * err / (4 * x * (1 - x))
		}
		if d.planHold[k] > 0 {
			s.Gain = (1 - curved) * err / d.planHold[k]
		}
		switch c.Zero {
		case lift.ZeroHung:
			s.Tare = hung[k]
		case lift.ZeroAttached:
			s.Tare = attached[k]
		}
		d.cells = append(d.cells, s)
	}
	d.extras(r)
	d.links(opt)
	return nil
}

// nice is the next step of a readout: 1, 2 or 5 times a power of ten.
func nice(x float64) float64 {
	p := math.Pow(10, math.Floor(math.Log10(x)))
	for _, m := range []float64{1, 2, 5} {
		if x <= m*p {
			return m * p
		}
	}
	return 10 * p
}

// extras are the channels of the file that are not cells in legs.
func (d *draft) extras(r *rand.Rand) {
	for i := range d.run.Lift.Channels {
		c := &d.run.Lift.Channels[i]
		s := sim.Cell{Channel: c.Name, Lag: logBetween(r, 0.05, 0.3)}
		switch c.Kind {
		case "hook height":
			s.Of, s.Noise, s.Step = sim.HookHeight, 0.001, []float64{0.001, 0.005, 0.01}[r.IntN(3)]
		case "wind speed":
			s.Of, s.Noise, s.Step, s.Gain, s.Lag = sim.WindSpeed, 0.1, 0.1, between(r, -0.03, 0.03), 1
		case "tilt":
			s.Of, s.Noise, s.Step, s.Zero = sim.LoadTilt, 5e-4, 2e-4, between(r, -2e-3, 2e-3)
		case "crane total":
			// A crane's own indicator knows its block and not the rigging.
			s.Of, s.Noise, s.Gain, s.Step = sim.CraneTotal, 0.002*d.plan.weight, between(r, -0.03, 0.03), nice(0.002*d.plan.weight)
			for _, h := range d.true.world.Hooks {
				s.Tare += h.Mass * d.true.world.Gravity
			}
		default:
			continue
		}
		d.cells = append(d.cells, s)
	}
}

// links draws the radio. Channels go over one gateway or two, each with a
// clock of its own.
func (d *draft) links(opt Options) {
	r := dice(d.run.Seed, streamRadio)
	loss, twice := logBetween(r, 1e-4, 1e-2), logBetween(r, 1e-4, 5e-3)
	delay, spread := between(r, 0.02, 0.15), logBetween(r, 0.003, 0.06)
	jitter := logBetween(r, 2e-4, 3e-3)
	every, lasts, kept := 0.0, 0.0, r.Float64() < 0.5
	if r.Float64() < 0.4 {
		every, lasts = between(r, 60, 300), between(r, 0.2, 0.7)
	}
	gateways, skews, drifts := 1+r.IntN(2), [2]float64{}, [2]float64{}
	for i := range skews {
		skews[i], drifts[i] = between(r, 0, 0.08), between(r, -2e-5, 2e-5)
	}
	for i := range d.cells {
		l := sim.Link{Rate: d.run.Rate, Phase: r.Float64() / d.run.Rate}
		if !opt.Clean {
			g := i % gateways
			l.Loss, l.Twice, l.Delay, l.Spread = loss, twice, delay, spread
			l.Jitter = min(jitter, 0.1/d.run.Rate)
			l.OutEvery, l.OutFor, l.Kept = every, lasts, kept
			l.Skew, l.Drift = skews[g], drifts[g]
		}
		d.cells[i].Link = l
	}
}
