package rehearse

import (
	"math"
	"math/rand/v2"
	"slices"

	"plumbhook/fault"
	"plumbhook/lift"
	"plumbhook/sim"
)

// Options change what is otherwise drawn; the zero value draws everything.
type Options struct {
	// Magnitude of the fault, in the unit that Causes names; 0: drawn from one
	// to four times the detection limit, see Limit.Least.
	Magnitude float64
	// Rate is samples per second of every channel; 0: drawn, 2 to 50.
	Rate float64
	// Driver is "careful", "brisk" or "jerky"; empty: drawn.
	Driver string
	// Limits of the lift, where they are known already: it takes a second to
	// find them, and they serve any number of runs.
	Limits []Limit
	// Clean leaves out what the radio does to the samples.
	Clean bool
}

// Truth is what no cell can tell.
type Truth struct {
	WeightN   float64    // of the load alone, as it truly is
	MassKg    float64    //
	CG        [3]float64 // load axes, m
	Lengths   []float64  // unloaded, of the legs in the order of the file, m
	Gravity   float64    // m/s²
	Phases    []sim.Stretch
	LiftedOff float64   // s; NaN: never
	SetDown   float64   // s; NaN: never
	Factor    float64   // greatest hoist load over what hangs there at rest
	Peaks     []float64 // greatest tension of each leg, N
	Trace     []sim.State
}

// Run is one rehearsed lift.
type Run struct {
	Lift      *lift.Lift
	Seed      uint64
	Cause     string
	Magnitude float64 // unit: see Causes
	Limit     float64 // of its detection, told apart from all it can be; NaN where it was not needed
	Below     bool    // the driver's hand made less of it than that
	Detail    string  // what exactly is wrong, in words
	From      float64 // when the fault begins to show, s; 0: from the start
	Driver    string
	Rate      float64
	Length    float64 // s

	Samples []sim.Sample // in order of arrival
	Truth   Truth
}

// streams of random numbers, one for each thing drawn, so that a fault or an
// option does not change the luck of the rest.
const (
	streamTruth = 1 + iota
	streamScene
	streamDriver
	streamCells
	streamRadio
	streamFault
	streamQuality
	streamRate
)

func dice(seed, stream uint64) *rand.Rand { return rand.New(rand.NewPCG(seed, stream)) }

func between(r *rand.Rand, low, high float64) float64 { return low + (high-low)*r.Float64() }

// logBetween draws evenly in the ratio.
func logBetween(r *rand.Rand, low, high float64) float64 {
	return low * math.Pow(high/low, r.Float64())
}

// drawn picks true values, each figure once: a name asked for again gets the
// same value.
func drawn(r *rand.Rand) pick {
	seen := map[string]float64{}
	return func(f figure) float64 {
		if v, ok := seen[f.name]; ok {
			return v
		}
		v := f.value + f.sd()*r.NormFloat64()
		if f.uniform {
			v = between(r, f.low, f.high)
		}
		seen[f.name] = v
		return v
	}
}

func drawScene(r *rand.Rand) scene {
	sc := calmScene()
	sc.rope = logBetween(r, 6, 35)
	sc.give = logBetween(r, 0.006, 0.06)
	sc.block = logBetween(r, 60, 400)
	sc.damping = logBetween(r, 0.015, 0.08)
	sc.slow = logBetween(r, 0.004, 0.03)
	sc.blockSlow = logBetween(r, 0.05, 0.3)
	way, steep := 2*math.Pi*r.Float64(), between(r, 0, 0.03)
	sc.slope = [2]float64{steep * math.Cos(way), steep * math.Sin(way)}
	sc.ground = logBetween(r, 0.0005, 0.006)
	sc.friction = between(r, 0.25, 0.6)
	far, to := 0.04*math.Abs(r.NormFloat64()), 2*math.Pi*r.Float64()
	sc.off = [2]float64{far * math.Cos(to), far * math.Sin(to)}
	sc.slack = between(r, 0.06, 0.3)
	return sc
}

// New rehearses the lift once. The cause is one of Causes.
func New(l *lift.Lift, seed uint64, cause string, opt Options) (*Run, error) {
	c := find(cause)
	if c == nil {
		return nil, fault.New(fault.Reference, "there is no cause %q", cause).Fix("one of: %s", names())
	}
	d := &draft{
		run:    &Run{Lift: l, Seed: seed, Cause: cause, Magnitude: opt.Magnitude},
		fault:  dice(seed, streamFault),
		twist:  twist{leg: -1},
		driver: drawDriver(dice(seed, streamDriver), opt.Driver),
		scene:  drawScene(dice(seed, streamScene)),
	}
	d.quality = drawQuality(dice(seed, streamQuality))
	d.run.Rate = rates[dice(seed, streamRate).IntN(len(rates))]
	if opt.Rate > 0 {
		d.run.Rate = opt.Rate
	}
	d.aim, d.pick = 2*math.Pi*d.fault.Float64(), d.fault.IntN(1<<20)
	var err error
	if d.plan, err = build(l, nominal, calmScene(), twist{leg: -1}); err != nil {
		return nil, err
	}
	if len(d.plan.cells) == 0 {
		return nil, noCells()
	}
	d.planHold = d.plan.held()
	if err := d.size(opt); err != nil {
		return nil, err
	}
	if c.truth != nil {
		if err := c.truth(d); err != nil {
			return nil, err
		}
	}
	if d.true, err = build(l, drawn(dice(seed, streamTruth)), d.scene, d.twist); err != nil {
		return nil, err
	}
	if err := d.chains(opt); err != nil {
		return nil, err
	}
	d.script()
	if c.play != nil {
		if err := c.play(d); err != nil {
			return nil, err
		}
	}
	return d.play()
}

// draft is a run being made.
type draft struct {
	run      *Run
	fault    *rand.Rand
	plan     *rigging
	planHold []float64 // raw force on each cell, load in the air, as planned
	true     *rigging
	twist    twist
	scene    scene
	driver   driver
	quality  quality // of all cells
	aim      float64 // a direction, for faults that have one
	pick     int     // and a choice
	limit    *Limit  // of a fault whose sizes are given, where one that shows is asked for

	cells  []sim.Cell
	stages []sim.Stage
	air    sim.Air
	warmth float64
	at     mark
	up     float64 // how far the load is raised in the air, m
	// measured puts the magnitude to what came about, where the driver has a
	// hand in it.
	measured func(*sim.Record)
	// shows is the stage with which the fault begins to show; 0: from the start.
	shows int
	// startLoose: the record starts with the legs off the load.
	startLoose bool
}

// held is the raw force on every cell with the load in the air, N.
func (r *rigging) held() []float64 {
	out := make([]float64, len(r.cells))
	for k, c := range r.cells {
		out[k] = r.hung.AtCell(c.leg)
	}
	return out
}

func (d *draft) play() (*Run, error) {
	world := d.true.world.Clone()
	if d.startLoose {
		s := sim.New(world)
		s.Attach(true)
		world = s.World()
	}
	rec, err := sim.Play(sim.Script{
		World: world, Stages: d.stages, Cells: d.cells, Air: d.air, Warmth: d.warmth,
		Seed: d.run.Seed ^ 0x9e3779b97f4a7c15,
	})
	if err != nil {
		return nil, err
	}
	r := d.run
	r.Driver, r.Length, r.Samples = d.driver.name, rec.Length, rec.Samples
	if d.shows < len(rec.Starts) {
		r.From = rec.Starts[d.shows]
	}
	if d.measured != nil {
		d.measured(rec)
		r.Below = r.Magnitude < r.Limit
	}
	r.Truth = Truth{
		WeightN: d.true.weight, MassKg: d.true.weight / d.true.world.Gravity, CG: d.true.cg, Lengths: d.true.lengths,
		Gravity: d.true.world.Gravity, Phases: rec.Phases, LiftedOff: rec.LiftedOff, SetDown: rec.SetDown,
		Factor: rec.Factor, Peaks: rec.Peaks, Trace: rec.Trace,
	}
	return r, nil
}

// size finds how bad the fault is: as asked for, as the lift has it, or drawn
// between one and four times the limit.
func (d *draft) size(opt Options) error {
	r := d.run
	r.Limit = math.NaN()
	if r.Cause == "as_planned" || opt.Magnitude != 0 {
		return nil
	}
	if opt.Limits == nil {
		var err error
		if opt.Limits, err = Limits(r.Lift); err != nil {
			return err
		}
	}
	i := slices.IndexFunc(opt.Limits, func(l Limit) bool { return l.Cause == r.Cause })
	if i < 0 {
		return d.not("the rig has nothing that it can happen to")
	}
	l := opt.Limits[i]
	if u := l.Unstopped; u != nil && d.driver.stops == 0 && r.Cause != "tared_under_load" {
		// What does not show without a stop on the way up is tried with one.
		if slices.Equal(u.Same, l.Same) && u.Least() <= u.Most {
			l = *u
		} else {
			d.driver.stops = 1
		}
	}
	d.underConditions(&l, opt)
	r.Limit = l.Least()
	if !(r.Limit <= l.Most) {
		return d.not("no size of it shows in the readings; ask for one, of %s, to see", l.Unit)
	}
	if r.Cause == "not_tared" || r.Cause == "channels_swapped" || r.Cause == "wrong_unit" {
		d.limit = &l
		return nil // what the lift and the units make it
	}
	least := r.Limit
	switch r.Cause {
	case "cg_off":
		// In a direction in which it shows.
		least = d.choose(&l, 2*l.Detect)
		d.aim = (float64(d.pick) + between(d.fault, -0.2, 0.2)) * math.Pi / 4
		least *= l.Least() / l.Detect
		r.Limit = least
	case "edge_landing":
		least = max(l.Detect, d.choose(&l, l.Most))
		r.Limit = least
	}
	r.Magnitude = between(d.fault, least, max(least, min(4*least, l.Most)))
	return nil
}

// underConditions puts a limit in time to what this run's crane, cells and
// radio make of it. A rate that is drawn, and too low for the fault to show at
// all, is drawn higher.
func (d *draft) underConditions(l *Limit, opt Options) {
	for {
		c := conditions{d.run.Rate, d.quality.lag, d.quality.noise, d.quality.step, d.plan.give - calmScene().give + d.scene.give, d.scene.damping, d.driver.creep}
		now, ok := d.plan.inTime(l.Cause, c)
		if !ok {
			return
		}
		*l = now
		if !math.IsInf(l.Detect, 1) || opt.Rate > 0 || d.run.Rate >= 50 {
			return
		}
		d.run.Rate *= 2
	}
}

// choose picks one of the ways of a fault whose limit is small enough, and
// gives that limit.
func (d *draft) choose(l *Limit, most float64) float64 {
	var ways []int
	for k, x := range l.each {
		if x <= most {
			ways = append(ways, k)
		}
	}
	d.pick = ways[d.pick%len(ways)]
	return l.each[d.pick]
}
