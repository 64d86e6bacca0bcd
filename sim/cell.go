package sim

import (
	"math"
	"math/rand/v2"
)

// Quantity is what a cell measures.
type Quantity uint8

// Forces are in N, the height of a hook and the speed of the wind in m and
// m/s, the tilt of the load in rad. The height is that of the drive: rope
// paid out, not where the elastic rope lets the hook be.
const (
	LegForce   Quantity = iota // Index: leg
	CraneTotal                 // sum over the hoists
	HookHeight                 // Index: hook
	WindSpeed
	LoadTilt
)

// Cell is one measuring chain, from the force to the number on the radio:
//
//	lag (single pole) -> errors -> noise -> saturation -> less the tare -> scale -> resolution
type Cell struct {
	Channel string
	Of      Quantity
	Index   int

	Capacity float64 // N; what it shows ends at Saturates times that. Zero: no end
	Gain     float64 // relative error
	Bend     float64 // non-linearity, N: what it reads too much at half capacity
	Zero     float64 // error of zero at the start, N
	Creep    Ramp    // zero that moves, N
	Runs     Ramp    // zero that runs away, N
	Warm     float64 // zero that moves with temperature, N/K
	Lag      float64 // time constant, s
	Noise    float64 // standard deviation of a sample, N
	Step     float64 // resolution, N; zero: none
	Limit    float64 // most error that Gain, Bend and Zero make together; zero: no limit

	Tare  float64 // force taken off at the start, N
	Scale float64 // 1; else somebody chose a wrong unit

	Link Link
}

// saturates is how far above its capacity a cell goes on reading (common
// practice, no source).
const saturates = 1.25

// Ramp grows from 0 to Size, starting at From and, as 1 - exp(-t/Over), done
// for the most part after three times Over.
type Ramp struct{ From, Size, Over float64 }

func (r Ramp) at(t float64) float64 {
	if r.Size == 0 || t <= r.From {
		return 0
	}
	if r.Over <= 0 {
		return r.Size
	}
	return r.Size * (1 - math.Exp(-(t-r.From)/r.Over))
}

// Link is how the numbers of a channel travel.
type Link struct {
	Rate      float64 // samples/s
	Phase     float64 // of the first sample, s
	Jitter    float64 // of the sampling, standard deviation, s
	Loss      float64 // share of samples lost by themselves
	Delay     float64 // least, s
	Spread    float64 // mean of what comes on top, exponential, s: later samples overtake
	Twice     float64 // share that arrives twice
	OutEvery  float64 // mean time between dropouts, s; zero: none
	OutFor    float64 // mean length of one, s
	Kept      bool    // what was measured in a dropout arrives after it, at once
	Skew      float64 // sender's clock ahead of ours at the start, s
	Drift     float64 // and by so much more each second
	Frozen    Span    // repeats the last value
	Lost      Span    // sends nothing
	Monotonic bool    // samples keep their order on the way
}

// Span is a stretch of time; the zero Span is empty.
type Span struct{ From, To float64 }

func (s Span) has(t float64) bool { return t >= s.From && t < s.To }

// Sample is one number as it arrived.
type Sample struct {
	Channel  string
	Of       Quantity
	Seq      int     // counts what the sender measured, from 0
	Measured float64 // s, by the sender's clock
	Arrived  float64 // s, by ours
	Value    float64 // SI
}

// chain is a cell at work.
type chain struct {
	Cell
	rng      *rand.Rand
	last, y  float64 // filtered value at the end of the step before, and now
	primed   bool
	count    int
	next     float64 // when the next sample is due
	outUntil float64
	outNext  float64
	shown    float64
	stuck    bool
	tare     float64
	arrived  float64
}

func newChain(c Cell, seed, stream uint64) *chain {
	ch := &chain{Cell: c, rng: rand.New(rand.NewPCG(seed, stream)), tare: c.Tare, next: c.Link.Phase}
	if ch.Scale == 0 {
		ch.Scale = 1
	}
	ch.outNext = math.Inf(1)
	if c.Link.OutEvery > 0 {
		ch.outNext = c.Link.OutEvery * ch.rng.ExpFloat64()
	}
	return ch
}

// feel takes the true value at the end of a step of h.
func (c *chain) feel(truth, h float64) {
	c.last = c.y
	switch {
	case !c.primed:
		c.y, c.last, c.primed = truth, truth, true
	case c.Lag <= 0:
		c.y = truth
	default:
		c.y += (1 - math.Exp(-h/c.Lag)) * (truth - c.y)
	}
}

// errs adds the errors of the cell to a filtered force.
func (c *chain) errs(y, t, warmer float64) float64 {
	e := c.Zero + c.Gain*y
	if c.Bend != 0 && c.Capacity > 0 {
		x := y / c.Capacity
		e += c.Bend * 4 * x * (1 - x)
	}
	if c.Limit > 0 {
		e = max(-c.Limit, min(c.Limit, e))
	}
	v := y + e + c.Creep.at(t) + c.Runs.at(t) + c.Warm*warmer
	if c.Capacity > 0 {
		v = max(-saturates*c.Capacity, min(saturates*c.Capacity, v))
	}
	return v
}

// press takes off what the cell shows, as the tare button does: the mean of
// the last moment, so without noise.
func (c *chain) press(t, warmer float64) { c.tare = c.errs(c.y, t, warmer) }

// sample appends what is due in the step of h that ends at t.
func (c *chain) sample(out []Sample, t, h, warmer float64) []Sample {
	l := &c.Link
	for l.Rate > 0 && c.next <= t {
		at := c.next
		c.next += 1 / l.Rate
		seq := c.count
		c.count++
		y := c.y - (c.y-c.last)*(t-at)/h
		v := c.errs(y, at, warmer) + c.Noise*c.rng.NormFloat64()
		v = (v - c.tare) * c.Scale
		if c.Step > 0 {
			v = math.Round(v/c.Step) * c.Step
		}
		if l.Frozen.has(at) && c.stuck {
			v = c.shown
		}
		c.shown, c.stuck = v, true
		// Every sample draws the same numbers whatever becomes of it, so that
		// a fault does not change the luck of what follows.
		jitter, delay := l.Jitter*c.rng.NormFloat64(), l.Delay+l.Spread*c.rng.ExpFloat64()
		lost, twice, again := c.rng.Float64() < l.Loss, c.rng.Float64() < l.Twice, l.Spread*c.rng.ExpFloat64()
		if at >= c.outNext {
			c.outUntil = at + l.OutFor*c.rng.ExpFloat64()
			c.outNext = c.outUntil + l.OutEvery*c.rng.ExpFloat64()
		}
		if lost || l.Lost.has(at) {
			continue
		}
		arrives := at + delay
		if at < c.outUntil {
			if !l.Kept {
				continue
			}
			arrives = c.outUntil + delay
		}
		if l.Monotonic {
			arrives = max(arrives, c.arrived)
		}
		c.arrived = arrives
		s := Sample{
			Channel: c.Channel, Of: c.Of, Seq: seq, Value: v, Arrived: arrives,
			Measured: at + jitter + l.Skew + l.Drift*at,
		}
		out = append(out, s)
		if twice {
			s.Arrived += 0.001 + again
			out = append(out, s)
		}
	}
	return out
}
