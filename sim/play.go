package sim

import (
	"cmp"
	"math"
	"math/rand/v2"
	"slices"
)

// Act is what the operator does in a stage of the lift.
type Act uint8

// Loads are sums over the hoists without what hangs there empty; heights are
// those of the lowest contact above the ground.
const (
	Wait    Act = iota // for Time
	Pull               // up until the load is To, N
	Clear              // up until To metres clear of the ground
	Raise              // by To metres, down when negative
	Travel             // sideways by Way
	Land               // down until the ground carries something
	Slacken            // down until the load is To, N, and on by More metres
	Attach             // hook the legs to the load, in no time
	Detach             // and take them off
	Press              // the tare button of all cells
	Grab               // stop with Accel, then wait for Time
	Repack             // Packing under the contacts changes: the load is over another place
	Upsets             // something goes wrong that is not the operator's doing
)

// Stage is one act. Speed is what the hoist (or the travel) goes at, Accel
// how fast it changes speed. React is how long the operator takes to see that
// a stage is over. Time is also when a stage ends that did not reach its aim.
type Stage struct {
	Act   Act
	Time  float64
	Speed float64
	Accel float64
	React float64
	To    float64
	More  float64
	Way   Vec
	// Packing of each contact from now on, m.
	Packing []float64
	Upset   Upset
	// Calm is how fast people with tag lines take the swing out, 1/s.
	Calm float64
}

// Upset changes a cell, or the wind, while the lift goes on. All times count
// from the beginning of its stage.
type Upset struct {
	Cell   int
	Frozen Span
	Lost   Span
	Runs   Ramp // of the zero, N
	Gust   float64
	GustAt Span
}

// longest a stage without a Time may last, s.
const longestStage = 90

// Air is the wind: its mean velocity, the standard deviation of its speed as
// a share of the mean, how long an eddy lasts, and one gust on top that grows
// to Gust and dies down as (1 - cos)/2. Without a mean there is no wind at all.
type Air struct {
	Mean    Vec
	Rough   float64
	Eddy    float64 // s
	Gust    float64 // m/s
	GustAt  Span
	present float64
}

// Script is a lift to be played.
type Script struct {
	World  *World
	Stages []Stage
	Cells  []Cell
	Air    Air
	Warmth float64 // how fast it gets warmer, K/s
	Seed   uint64
	Step   float64 // of the motion, s; zero: 4 ms
	Trace  float64 // samples/s of the truth; zero: 10
}

// Phase is what the load truly does.
type Phase string

// HeldDown: something that is no weight pulls on the load from below.
const (
	Idle        Phase = "idle"
	TakingLoad  Phase = "taking_load"
	HeldDown    Phase = "held_down"
	Suspended   Phase = "suspended"
	SettingDown Phase = "setting_down"
)

// Stretch is a phase from one time to another, s.
type Stretch struct {
	Phase    Phase
	From, To float64
}

// State is the truth at one time.
type State struct {
	T         float64
	Tensions  []float64 // N, by leg
	AtCells   []float64 // N, by leg: the force on its load cell, raw
	Hoists    []float64 // N, by hook, block included
	Ground    float64   // N
	Ties      float64   // N
	Clearance float64   // m
	Height    float64   // of the first hook's drive, m
	Tilt      float64   // rad
	Wind      float64   // m/s
	Swing     float64   // rad, to the upright: of the line from where the hoists hold to the load's centre of gravity
}

// Record is what a played lift leaves behind.
type Record struct {
	Samples []Sample // in order of arrival
	Trace   []State
	Phases  []Stretch
	Starts  []float64 // when each stage began, s
	Length  float64   // s

	Peaks     []float64 // greatest tension of each leg, N
	LiftedOff float64   // s; NaN: never
	SetDown   float64
	Broke     float64 // when a tie broke
	Factor    float64 // greatest sum of the hoist loads over the weight of all that hangs from them; 0 when never in the air
}

// player is a lift being played.
type player struct {
	Script
	sys    *System
	drives []Drive
	v      Vec
	felt   float64 // what the operator reads of the load, N
	empty  float64
	weight float64
	tried  Phase   // what the phase seems to be
	since  float64 // and since when
}

// Play runs a script from a world that is first settled. The same script
// gives the same record, bit for bit on one kind of processor.
func Play(sc Script) (*Record, error) {
	p := &player{Script: sc}
	if p.Step == 0 {
		p.Step = 0.004
	}
	if p.Trace == 0 {
		p.Trace = 10
	}
	p.sys = New(sc.World)
	for _, h := range sc.World.Hooks {
		p.drives = append(p.drives, Drive{At: h.At})
	}
	if err := p.sys.Settle(p.drives); err != nil {
		return nil, err
	}
	p.weight = sc.World.Bodies[0].Mass * sc.World.Gravity
	p.empty = p.hoists()
	rec := &Record{LiftedOff: math.NaN(), SetDown: math.NaN(), Broke: math.NaN(), Peaks: make([]float64, len(sc.World.Legs))}
	chains := make([]*chain, len(sc.Cells))
	for i, c := range sc.Cells {
		chains[i] = newChain(c, sc.Seed, uint64(i)+1)
		chains[i].feel(p.truth(&chains[i].Cell), p.Step)
	}
	air := rand.New(rand.NewPCG(sc.Seed, 0))
	nextTrace, flown, highest, clear := 0.0, false, 0.0, 0.0
	for _, st := range p.Stages {
		began, seen := p.sys.Time, math.Inf(1)
		rec.Starts = append(rec.Starts, began)
		switch st.Act {
		case Attach, Detach:
			p.sys.Attach(st.Act == Detach)
			continue
		case Repack:
			for i, h := range st.Packing {
				p.sys.sits[i].packing, p.sys.w.Contacts[i].Packing = h, h
			}
			continue
		case Upsets:
			p.upset(&st.Upset, chains)
			continue
		case Press:
			for _, c := range chains {
				if c.Of == LegForce || c.Of == CraneTotal {
					c.press(p.sys.Time, p.Warmth*p.sys.Time)
				}
			}
			continue
		}
		way := Vec{}
		p.sys.Calm = st.Calm
		for {
			t := p.sys.Time
			done := p.steer(&st, t-began, &way)
			if done && math.IsInf(seen, 1) {
				seen = t
			}
			if t-seen >= st.React {
				break
			}
			p.sys.Wind = p.blow(air, t)
			tied := p.tiesOff()
			p.sys.Step(p.Step, p.drives)
			for i := range p.drives {
				p.drives[i].At = p.drives[i].At.add(p.Step, p.v)
			}
			t = p.sys.Time
			if p.tiesOff() > tied {
				rec.Broke = t
			}
			for i := range rec.Peaks {
				rec.Peaks[i] = max(rec.Peaks[i], p.sys.Tension(i))
			}
			for _, c := range chains {
				c.feel(p.truth(&c.Cell), p.Step)
				rec.Samples = c.sample(rec.Samples, t, p.Step, p.Warmth*t)
			}
			push, _ := p.sys.Ground()
			total := p.hoists()
			aloft := push == 0 && p.sys.Tied() == 0
			highest = max(highest, total)
			// Half a second without touching anything is in the air; a hop is not.
			if clear += p.Step; !aloft {
				clear = 0
			}
			switch {
			case !flown && clear >= 0.5:
				flown, rec.LiftedOff = true, t-clear
			case flown && aloft:
				rec.SetDown = math.NaN()
			case flown && math.IsNaN(rec.SetDown):
				rec.SetDown = t
			}
			if t >= nextTrace {
				nextTrace += 1 / p.Trace
				rec.note(p, flown)
			}
		}
	}
	rec.Length = p.sys.Time
	if flown {
		rec.Factor = highest / p.sys.weight
	}
	slices.SortStableFunc(rec.Samples, func(a, b Sample) int { return cmp.Compare(a.Arrived, b.Arrived) })
	return rec, nil
}

func (p *player) upset(u *Upset, chains []*chain) {
	t := p.sys.Time
	from := func(s Span) Span { return Span{s.From + t, s.To + t} }
	if u.Gust != 0 {
		p.Air.Gust, p.Air.GustAt = u.Gust, from(u.GustAt)
		return
	}
	c := chains[u.Cell]
	if u.Frozen != (Span{}) {
		c.Link.Frozen = from(u.Frozen)
	}
	if u.Lost != (Span{}) {
		c.Link.Lost = from(u.Lost)
	}
	if c.Runs = u.Runs; c.Runs.Size != 0 {
		c.Runs.From += t
	}
}

func (p *player) tiesOff() (n int) {
	for i := range p.sys.w.Ties {
		if p.sys.w.Ties[i].Off {
			n++
		}
	}
	return n
}

func (p *player) hoists() (sum float64) {
	for i := range p.drives {
		sum += p.sys.HookLoad(i)
	}
	return sum
}

// truth is what a cell is exposed to.
func (p *player) truth(c *Cell) float64 {
	switch c.Of {
	case CraneTotal:
		return p.hoists()
	case HookHeight:
		return p.drives[c.Index].At[2]
	case WindSpeed:
		return p.sys.Wind.norm()
	case LoadTilt:
		return p.sys.Tilt(0)
	default:
		return p.sys.AtCell(c.Index)
	}
}

// feelS is how slowly the display that an operator goes by follows the load, s
// (common practice, no source): a bounce does not end a stage.
const feelS = 0.5

// steer sets the speed of the hoists for the next step and tells whether the
// stage has reached its aim.
func (p *player) steer(st *Stage, since float64, way *Vec) (done bool) {
	var want Vec
	load := p.hoists() - p.empty
	p.felt += (1 - math.Exp(-p.Step/feelS)) * (load - p.felt)
	push, clear := p.sys.Ground()
	switch st.Act {
	case Pull:
		done = p.felt >= st.To
		want[2] = st.Speed
	case Clear:
		done = clear >= st.To
		want[2] = st.Speed
	case Raise:
		rest := st.To - way[2]
		want[2] = brake(st, rest)
		done = want[2] == 0 || rest*st.To < 0
	case Travel:
		rest := st.Way.minus(*way)
		if v := brake(st, rest.norm()); v > 0 && rest.dot(st.Way) > 0 {
			want = rest.times(v / rest.norm())
		} else {
			done = true
		}
	case Land:
		done = push > 0.02*p.weight
		want[2] = -st.Speed
	case Slacken:
		if p.felt <= st.To {
			way[0] += p.v.norm() * p.Step
		}
		done = p.felt <= st.To && way[0] >= st.More
		want[2] = -st.Speed
	}
	limit := st.Time
	if limit == 0 && st.Act != Wait && st.Act != Grab {
		limit = longestStage
	}
	if since >= limit {
		done = true
	}
	accel := st.Accel
	if accel == 0 {
		accel = 0.3
	}
	change := want.minus(p.v)
	if n := change.norm(); n > accel*p.Step {
		change = change.times(accel * p.Step / n)
	}
	p.v = p.v.plus(change)
	for i := range p.drives {
		p.drives[i].V = p.v
	}
	if st.Act == Raise || st.Act == Travel {
		*way = way.add(p.Step, p.v)
	}
	return done
}

// brake is the speed that still comes to rest in the way left.
func brake(st *Stage, rest float64) float64 {
	if math.Abs(rest) < 2e-3 {
		return 0
	}
	accel := st.Accel
	if accel == 0 {
		accel = 0.3
	}
	// With nine tenths of what the hoist can do, so that it stops in time.
	return math.Copysign(min(st.Speed, math.Sqrt(1.8*accel*math.Abs(rest))), rest)
}

// blow is the wind of the next step.
func (p *player) blow(rng *rand.Rand, t float64) Vec {
	a := &p.Air
	mean := a.Mean.norm()
	if mean == 0 {
		return Vec{}
	}
	if a.Rough > 0 && a.Eddy > 0 {
		keep := math.Exp(-p.Step / a.Eddy)
		a.present = keep*a.present + math.Sqrt(1-keep*keep)*rng.NormFloat64()
	}
	speed := mean * (1 + a.Rough*a.present)
	if a.GustAt.has(t) {
		speed += a.Gust * (1 - math.Cos(2*math.Pi*(t-a.GustAt.From)/(a.GustAt.To-a.GustAt.From))) / 2
	}
	return a.Mean.times(max(0, speed) / mean)
}

// note adds the present state to the trace, and its phase.
func (r *Record) note(p *player, flown bool) {
	s := p.sys
	st := State{T: s.Time, Height: p.drives[0].At[2], Tilt: s.Tilt(0), Wind: s.Wind.norm(), Ties: s.Tied()}
	st.Ground, st.Clearance = s.Ground()
	st.Swing = p.swing()
	pull := 0.0
	for i := range p.World.Legs {
		st.Tensions = append(st.Tensions, s.Tension(i))
		st.AtCells = append(st.AtCells, s.AtCell(i))
	}
	for i := range p.drives {
		st.Hoists = append(st.Hoists, s.HookLoad(i))
		pull += s.HookLoad(i)
	}
	r.Trace = append(r.Trace, st)
	r.phase(p, pull-p.empty, &st, flown)
}

// swing is how far the load's centre is out of plumb under the middle of the
// boom tips, or of the hooks that are held sideways.
func (p *player) swing() float64 {
	var from Vec
	for i := range p.drives {
		tip := p.drives[i].At
		if h := &p.World.Hooks[i]; h.Rope > 0 {
			tip[2] = h.At[2] + h.Rope
		}
		from = from.add(1/float64(len(p.drives)), tip)
	}
	d := p.sys.CG(0).minus(from)
	return math.Atan2(math.Hypot(d[0], d[1]), -d[2])
}

// A load is off the hoists below idleBelow of its weight and on them above
// idleAbove; any phase counts once it has lasted for settled seconds. What
// bounces or grazes is no phase.
const (
	idleBelow = 0.005
	idleAbove = 0.015
	settled   = 0.6
)

func (r *Record) phase(p *player, pull float64, st *State, flown bool) {
	least := idleAbove
	n := len(r.Phases)
	if n > 0 && r.Phases[n-1].Phase != Idle {
		least = idleBelow
	}
	now := Suspended
	switch {
	case pull < least*p.weight:
		now = Idle
	case st.Ties > idleBelow*p.weight:
		now = HeldDown
	case st.Ground > 0 && flown:
		now = SettingDown
	case st.Ground > 0:
		now = TakingLoad
	}
	if now != p.tried {
		p.tried, p.since = now, st.T
	}
	switch {
	case n == 0:
		r.Phases = []Stretch{{now, 0, st.T}}
	case now == r.Phases[n-1].Phase || st.T-p.since < settled:
		r.Phases[n-1].To = st.T
	default:
		r.Phases[n-1].To = p.since
		r.Phases = append(r.Phases, Stretch{now, p.since, st.T})
	}
}
