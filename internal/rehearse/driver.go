package rehearse

import (
	"math/rand/v2"

	"plumbhook/sim"
)

// driver is who is at the levers.
type driver struct {
	name  string
	dice  *rand.Rand
	creep float64 // hoist speed while the load comes and goes, m/s
	speed float64 // otherwise
	accel float64
	react float64 // s
	stops int     // while the load comes
	pause [2]float64
	hold  [2]float64
}

func drawDriver(r *rand.Rand, name string) driver {
	kinds := []string{"careful", "brisk", "jerky"}
	if k := kinds[r.IntN(len(kinds))]; name == "" {
		name = k
	}
	d := driver{name: name, dice: r}
	switch name {
	case "careful":
		d.creep, d.speed, d.accel = logBetween(r, 0.008, 0.02), logBetween(r, 0.04, 0.12), logBetween(r, 0.04, 0.15)
		d.react, d.stops = between(r, 0.3, 0.7), 1+r.IntN(3)
		d.pause, d.hold = [2]float64{3, 6}, [2]float64{8, 14}
	case "brisk":
		d.creep, d.speed, d.accel = logBetween(r, 0.02, 0.05), logBetween(r, 0.1, 0.25), logBetween(r, 0.1, 0.3)
		d.react, d.stops = between(r, 0.2, 0.4), r.IntN(2)
		d.pause, d.hold = [2]float64{2, 4}, [2]float64{6, 12}
	default:
		d.creep, d.speed, d.accel = logBetween(r, 0.02, 0.07), logBetween(r, 0.1, 0.3), logBetween(r, 0.3, 1.0)
		d.react, d.stops = between(r, 0.1, 0.5), r.IntN(4)
		d.pause, d.hold = [2]float64{1.5, 5}, [2]float64{6, 14}
	}
	return d
}

func (d *driver) wait(span [2]float64) sim.Stage {
	return sim.Stage{Act: sim.Wait, Time: between(d.dice, span[0], span[1]), Accel: max(d.accel, 0.1)}
}

func (d *driver) act(a sim.Act, to, speed float64) sim.Stage {
	return sim.Stage{Act: a, To: to, Speed: speed, Accel: d.accel, React: d.react}
}

// mark is where in the script something begins.
type mark struct {
	tight int // legs are just tight
	clear int // the load is taken off the ground
	hold  int // first hold in the air
	down  int // it goes down again
	land  int // it is about to touch
	end   int // slack again
}

// script is a lift in which nothing goes wrong.
func (d *draft) script() {
	r, dr := d.driver.dice, &d.driver
	w := d.true.weight
	hung := d.zeroedHung()
	add := func(s ...sim.Stage) { d.stages = append(d.stages, s...) }
	add(dr.wait([2]float64{4, 10}))
	if hung && r.Float64() < 0.5 {
		// The record starts with the rigging hanging free.
		d.startLoose = true
		add(sim.Stage{Act: sim.Attach}, dr.wait([2]float64{5, 12}))
	}
	// Most of the slack at some speed, the rest slowly.
	slack := d.true.tight - d.true.world.Hooks[0].At[2]
	add(dr.act(sim.Raise, 0.65*slack, min(0.06, dr.speed)), d.fine(dr.act(sim.Pull, 0.006*w, dr.creep), w))
	d.at.tight = len(d.stages)
	for i := range dr.stops {
		share := (float64(i) + between(r, 0.3, 0.8)) / (float64(dr.stops) + 0.2)
		add(d.fine(dr.act(sim.Pull, share*w, dr.creep), w), dr.wait(dr.pause))
	}
	d.at.clear = len(d.stages)
	add(dr.act(sim.Clear, between(r, 0.05, 0.15), dr.creep))
	d.at.hold = len(d.stages)
	up := between(r, 0.3, 2)
	d.up = up
	add(dr.wait(dr.hold), dr.act(sim.Raise, up, dr.speed), dr.wait(dr.hold))
	if r.Float64() < 0.7 {
		// Travel slowly enough for the swing that it starts to stay small.
		v := between(r, 0.05, 0.25)
		s := sim.Stage{Act: sim.Travel, Speed: v, Accel: v / between(r, 2, 5), Way: sim.Vec{between(r, 1, 6)}.Swung(r.Float64())}
		add(s, dr.wait(dr.hold))
	}
	d.at.down = len(d.stages)
	steady := dr.wait(dr.pause)
	steady.Calm = between(r, 0.2, 0.6)
	add(dr.act(sim.Raise, -up, dr.speed), steady)
	d.at.land = len(d.stages)
	off := dr.act(sim.Slacken, 0.003*w, dr.creep)
	off.More = between(r, 0.03, 0.12)
	add(dr.act(sim.Land, 0, dr.creep))
	if r.Float64() < 0.5 {
		// A look round with part of it on the ground.
		add(d.fine(dr.act(sim.Slacken, between(r, 0.3, 0.9)*w, dr.creep), w), dr.wait(dr.pause))
	}
	add(off)
	d.at.end = len(d.stages)
	add(dr.wait([2]float64{5, 12}))
	if d.startLoose && r.Float64() < 0.5 {
		add(sim.Stage{Act: sim.Detach}, dr.wait([2]float64{4, 8}))
	}
}
