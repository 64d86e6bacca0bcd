package rehearse

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"plumbhook/fault"
	"plumbhook/sim"
)

// Cause is one thing that can go wrong, as the design names it.
type Cause struct {
	Name string
	Unit string // of its magnitude; empty where it has none
	What string // what the magnitude means
}

// cause says how a fault is put into a lift: what changes of load and legs
// before the truth is hung, and what changes of cells and script after.
type cause struct {
	Cause
	truth func(d *draft) error
	play  func(d *draft) error
}

var causes = []cause{
	{Cause: Cause{"as_planned", "", "nothing is wrong"}},
	{Cause: Cause{"heavier", "1", "added share of the load's mass"}, truth: func(d *draft) error {
		d.twist.mass = d.run.Magnitude
		return d.detail("the load is %.1f %% heavier", 100*d.run.Magnitude)
	}},
	{Cause: Cause{"lighter", "1", "missing share of the load's mass"}, truth: func(d *draft) error {
		d.twist.mass = -d.run.Magnitude
		return d.detail("the load is %.1f %% lighter", 100*d.run.Magnitude)
	}},
	{Cause: Cause{"cg_off", "m", "centre of gravity aside of where the truth drawn from the plan has it"}, truth: moveCG},
	{Cause: Cause{"held_down", "N", "pull of what holds the load, which does not let go"}, play: holdDown},
	{Cause: Cause{"broke_free", "N", "pull at which what held the load lets go"}, play: breakFree},
	{Cause: Cause{"leg_length", "m", "one leg longer than its true length drawn from the plan; negative: shorter"}, truth: longer},
	{Cause: Cause{"leg_slack", "m", "one leg longer by so much that it stays slack"}, truth: slack},
	{Cause: Cause{"channels_swapped", "N", "difference of the planned readings that are exchanged"}, play: swap},
	{Cause: Cause{"channel_frozen", "s", "how long the last value is repeated"}, play: freeze},
	{Cause: Cause{"channel_lost", "s", "how long nothing comes"}, play: lose},
	{Cause: Cause{"zero_drift", "N", "how far the zero of one cell runs away"}, play: drift},
	{Cause: Cause{"not_tared", "N", "greatest reading that nobody took off"}, play: untared},
	{Cause: Cause{"tared_under_load", "N", "sum of what the button took off that hangs there"}, play: taredLate},
	{Cause: Cause{"wrong_unit", "1", "factor between what a channel sends and what it should send"}, play: wrongUnit},
	{Cause: Cause{"shock", "1", "greatest hoist load over that at rest"}, play: shock},
	{Cause: Cause{"swing", "rad", "amplitude of the swing to the upright"}, play: swing},
	{Cause: Cause{"gust", "m/s", "speed of the gust on top of the wind"}, play: gust},
	{Cause: Cause{"edge_landing", "1", "share of the load that one edge carries alone before the driver goes on"}, play: edge},
}

// Causes lists what New knows, as_planned first.
func Causes() []Cause {
	out := make([]Cause, len(causes))
	for i := range causes {
		out[i] = causes[i].Cause
	}
	return out
}

func names() string {
	var out []string
	for i := range causes {
		out = append(out, causes[i].Name)
	}
	return strings.Join(out, ", ")
}

func find(name string) *cause {
	if i := slices.IndexFunc(causes, func(c cause) bool { return c.Name == name }); i >= 0 {
		return &causes[i]
	}
	return nil
}

func (d *draft) detail(format string, args ...any) error {
	d.run.Detail = fmt.Sprintf(format, args...)
	return nil
}

// not tells that a lift cannot have a fault.
func (d *draft) not(format string, args ...any) error {
	return fault.New(fault.Unsupported, "the lift cannot have the cause %s: %s", d.run.Cause, fmt.Sprintf(format, args...))
}

func moveCG(d *draft) error {
	a := d.aim
	d.twist.cg = [2]float64{d.run.Magnitude * math.Cos(a), d.run.Magnitude * math.Sin(a)}
	return d.detail("the centre of gravity is %.0f mm off, %.0f deg from the load's x axis", 1000*d.run.Magnitude, a*180/math.Pi)
}

// holdDown ties the load to the ground where it stands, and has the driver
// pull until the hoist carries load and tie, wait, and give up.
func holdDown(d *draft) error {
	pull := d.run.Magnitude
	d.tie(d.tiePoint(), 0)
	dr := &d.driver
	from := d.stages[:d.at.clear:d.at.clear]
	d.stages = append(from,
		d.fine(dr.act(sim.Pull, 0.85*d.true.weight, dr.creep), d.true.weight),
		d.fine(dr.act(sim.Pull, d.true.weight+pull, dr.creep), pull),
		dr.wait([2]float64{8, 20}))
	d.measured = func(rec *sim.Record) {
		d.run.Magnitude = 0
		for i := range rec.Trace {
			d.run.Magnitude = max(d.run.Magnitude, rec.Trace[i].Ties)
		}
	}
	d.shows = d.at.clear
	slack := dr.act(sim.Slacken, 0.003*d.true.weight, dr.creep)
	slack.More = 0.05
	d.stages = append(d.stages, slack, dr.wait([2]float64{5, 12}))
	return d.detail("the ground holds the load and the driver gives up at some %.0f N more than its weight", pull)
}

// fine slows a stage that ends at a force down until the driver's reaction
// misses it by no more than a tenth of what matters.
func (d *draft) fine(s sim.Stage, matters float64) sim.Stage {
	s.Speed = max(5e-4, min(s.Speed, 0.1*matters/d.true.weight*d.true.give/(s.React+0.05)))
	s.Accel = max(s.Accel, 0.1)
	return s
}

// breakFree ties the middle of the base, so that the hoist has to carry load and
// tie before it lets go: at a corner, the ground under the others may carry on.
func breakFree(d *draft) error {
	d.tie(d.true.baseMid(), d.run.Magnitude)
	d.shows = d.at.clear
	return d.detail("the ground holds the load until %.0f N, then lets go", d.run.Magnitude)
}

// tiePoint is a corner of the base, or its middle.
func (d *draft) tiePoint() sim.Vec {
	c := d.true.corners
	if i := d.fault.IntN(2 * len(c)); i < len(c) {
		return c[i]
	}
	return d.true.baseMid()
}

// tie holds a point of the load to where it stands.
func (d *draft) tie(at sim.Vec, strength float64) {
	w := d.true.world
	load := &w.Bodies[0]
	stands := add(load.At, load.Turn.Apply(at))
	const long = 0.2 // an anchor of some length, straight down
	to := stands
	to[2] -= long
	k := d.true.weight / 0.003
	w.Ties = append(w.Ties, sim.Tie{
		Name: "hold", At: sim.Point{On: sim.OnBody, At: at}, To: to, Length: long + 0.002, Stiff: k, Damping: k * 0.01, Strength: strength,
	})
}

// legToLoad picks a leg that reaches the load and has fellows.
func (d *draft) legToLoad(least int) (int, error) {
	legs := toLoad(d.run.Lift)
	if len(legs) < least {
		return 0, d.not("it takes %d legs to the load or more", least)
	}
	return legs[d.pick%len(legs)], nil
}

func longer(d *draft) error {
	leg, err := d.legToLoad(2)
	if err != nil {
		return err
	}
	d.twist.leg, d.twist.longer = leg, d.run.Magnitude
	return d.detail("leg %s is %.0f mm longer than it should be", d.run.Lift.Legs[leg].Name, 1000*d.run.Magnitude)
}

func slack(d *draft) error {
	leg, err := d.legToLoad(3)
	if err != nil {
		return err
	}
	d.twist.leg, d.twist.longer = leg, d.run.Magnitude
	return d.detail("leg %s is %.0f mm too long and stays slack", d.run.Lift.Legs[leg].Name, 1000*d.run.Magnitude)
}

// inLeg are the cells of legs among the chains, by number.
func (d *draft) inLeg() []int {
	var out []int
	for i := range d.cells {
		if d.cells[i].Of == sim.LegForce {
			out = append(out, i)
		}
	}
	return out
}

// swap exchanges the names of two channels; links stay with the names.
func swap(d *draft) error {
	a, b, err := d.pair()
	if err != nil {
		return err
	}
	d.cells[a].Channel, d.cells[b].Channel = d.cells[b].Channel, d.cells[a].Channel
	return d.detail("the readings of %s and %s are exchanged", d.cells[b].Channel, d.cells[a].Channel)
}

// pair is two cells whose exchange shows; without limits, most.
func (d *draft) pair() (a, b int, err error) {
	cells := d.inLeg()
	if len(cells) < 2 {
		return 0, 0, d.not("it has one cell")
	}
	var ways [][2]int
	most, k := -1.0, 0
	for i, x := range cells {
		for _, y := range cells[:i] {
			v := math.Abs(d.planHold[x] - d.planHold[y])
			switch {
			case d.limit != nil:
				if len(d.limit.told[k]) > 0 {
					ways = append(ways, [2]int{x, y})
				}
			case v > most:
				ways, most = [][2]int{{x, y}}, v
			}
			k++
		}
	}
	w := ways[d.pick%len(ways)]
	d.run.Magnitude = math.Abs(d.planHold[w[0]] - d.planHold[w[1]])
	return w[0], w[1], nil
}

// oneCell is the cell that a fault of one cell is in.
func (d *draft) oneCell() int {
	legs := d.inLeg()
	return legs[d.pick%len(legs)]
}

// later is a stage of the lift in which there is load on the cells.
func (d *draft) later() int {
	return d.at.clear + d.fault.IntN(d.at.down-d.at.clear)
}

// upset has something go wrong in the course of a stage.
func (d *draft) upset(stage int, u sim.Upset) {
	d.insert(stage, sim.Stage{Act: sim.Upsets, Upset: u})
	d.shows = stage
}

func freeze(d *draft) error {
	c, late := d.oneCell(), 3*d.fault.Float64()
	d.upset(d.later(), sim.Upset{Cell: c, Frozen: sim.Span{From: late, To: late + d.run.Magnitude}})
	return d.detail("channel %s repeats its value for %.1f s", d.cells[c].Channel, d.run.Magnitude)
}

func lose(d *draft) error {
	c, late := d.oneCell(), 3*d.fault.Float64()
	d.upset(d.later(), sim.Upset{Cell: c, Lost: sim.Span{From: late, To: late + d.run.Magnitude}})
	return d.detail("channel %s is silent for %.1f s", d.cells[c].Channel, d.run.Magnitude)
}

func drift(d *draft) error {
	c, size := d.oneCell(), d.run.Magnitude
	if d.fault.Float64() < 0.5 {
		size = -size
	}
	d.upset(d.at.hold, sim.Upset{Cell: c, Runs: sim.Ramp{From: 3 * d.fault.Float64(), Size: size, Over: between(d.fault, 5, 15)}})
	return d.detail("the zero of channel %s runs away by %.0f N", d.cells[c].Channel, size)
}

func untared(d *draft) error {
	most := 0.0
	for _, i := range d.inLeg() {
		most = max(most, d.cells[i].Tare)
		d.cells[i].Tare = 0
	}
	if most == 0 {
		return d.not("no cell is to be zeroed")
	}
	d.run.Magnitude = most
	return d.detail("no cell was zeroed: they show up to %.0f N of rigging", most)
}

// taredLate presses the button when the hoist carries part of the load.
func taredLate(d *draft) error {
	dr := &d.driver
	// Nobody stops a hoist at less than a few hundredths of the load.
	part := min(max(d.run.Magnitude, 0.04*d.true.weight), 0.9*d.true.weight)
	at := d.at.tight
	d.insert(at,
		d.fine(dr.act(sim.Pull, part, dr.creep), part), dr.wait([2]float64{3, 6}),
		sim.Stage{Act: sim.Press}, dr.wait([2]float64{2, 5}))
	d.measured = func(rec *sim.Record) {
		i := slices.IndexFunc(rec.Trace, func(s sim.State) bool { return s.T >= rec.Starts[at+2] })
		d.run.Magnitude = 0
		for k := range d.true.world.Hooks {
			d.run.Magnitude += rec.Trace[i].Hoists[k] - rec.Trace[0].Hoists[k]
		}
	}
	d.shows = at + 2
	return d.detail("the tare button was pressed with some %.0f N on the hoist", part)
}

// shift moves the marks behind a stage before which n others were put.
func (d *draft) shift(stage, n int) {
	for _, m := range []*int{&d.at.tight, &d.at.clear, &d.at.hold, &d.at.down, &d.at.land, &d.at.end} {
		if *m >= stage {
			*m += n
		}
	}
}

// insert puts stages before one of the script.
func (d *draft) insert(stage int, s ...sim.Stage) {
	d.stages = slices.Insert(d.stages, stage, s...)
	d.shift(stage, len(s))
}

// mistaken are the factors between a value sent in one unit and read as
// another (exact definitions: 1 lb = 0.45359237 kg, 1 short ton = 2000 lb, 1 long ton =
// 2240 lb, standard gravity 9.80665 m/s²).
var mistaken = []struct {
	factor float64
	what   string
}{
	{1 / 0.45359237, "pounds read as kilograms"},
	{0.45359237, "kilograms read as pounds"},
	{1 / 0.90718474, "short tons read as tonnes"},
	{0.90718474, "tonnes read as short tons"},
	{1 / 1.0160469088, "long tons read as tonnes"},
	{1.0160469088, "tonnes read as long tons"},
	{9.80665, "kilonewtons read as tonnes"},
	{1 / 9.80665, "tonnes read as kilonewtons"},
}

func wrongUnit(d *draft) error {
	// A mistake in all channels, then in each: what shows, or what is nearest to
	// the factor asked for.
	type way struct{ cell, mistake int }
	var ways []way
	cells := d.inLeg()
	for k := range mistaken {
		f := mistaken[k].factor
		for c := range len(cells) + 1 {
			if d.limit == nil || c < len(d.limit.told) && slices.Contains(d.limit.told[c], f-1) {
				ways = append(ways, way{c - 1, k})
			}
		}
	}
	if m := d.run.Magnitude; m != 0 {
		far := func(w way) float64 { return math.Abs(math.Log(mistaken[w.mistake].factor / m)) }
		least := math.Inf(1)
		for _, w := range ways {
			least = min(least, far(w))
		}
		ways = slices.DeleteFunc(ways, func(w way) bool { return far(w) > least })
	}
	all := d.fault.Float64() < 0.5
	if some := slices.DeleteFunc(slices.Clone(ways), func(w way) bool { return (w.cell < 0) != all }); len(some) > 0 {
		ways = some
	}
	w := ways[d.fault.IntN(len(ways))]
	d.run.Magnitude = mistaken[w.mistake].factor
	if w.cell >= 0 {
		c := &d.cells[cells[w.cell]]
		c.Scale = d.run.Magnitude
		return d.detail("channel %s: %s", c.Channel, mistaken[w.mistake].what)
	}
	for _, k := range cells {
		d.cells[k].Scale = d.run.Magnitude
	}
	return d.detail("all channels: %s", mistaken[w.mistake].what)
}

// shock lowers the load and grabs the brake. A load that hangs and is lowered
// at v when the hoist stops dead pulls 1 + v/sqrt(g d) times its weight, d its
// static stretch.
func shock(d *draft) error {
	factor := d.run.Magnitude
	g := d.true.world.Gravity
	v := (factor - 1) * math.Sqrt(g*d.true.give)
	accel := 40 * v / math.Sqrt(d.true.give/g) / (2 * math.Pi) // within a fortieth of a bounce
	up := 0.8 + 2.5*v
	dr := &d.driver
	at := d.at.down
	// Up to speed in 5/3 s, at speed for 0.8 s.
	const start, run = 5.0 / 3, 0.8
	down := v * (start/2 + run)
	d.insert(at,
		dr.act(sim.Raise, up, max(dr.speed, 0.1)), dr.wait([2]float64{3, 6}),
		sim.Stage{Act: sim.Raise, To: -10, Speed: v, Accel: v / start, Time: start + run},
		sim.Stage{Act: sim.Grab, Accel: accel, Time: between(d.fault, 6, 12)},
	)
	d.shows = at + 3
	d.stages[d.at.down].To -= up - down
	return d.detail("the load is lowered at %.2f m/s and stopped dead", v)
}

// swing starts a travel with a jerk. A pendulum of length L whose upper end
// is suddenly moved at v swings to about v/sqrt(g L).
func swing(d *draft) error {
	a := d.run.Magnitude
	g := d.true.world.Gravity
	long := d.true.swing
	if len(d.true.world.Hooks) == 1 {
		long -= d.scene.slack + d.up // the falls are that much shorter by now
	}
	v := 2 * math.Sin(a/2) * math.Sqrt(g*long)
	period := 2 * math.Pi * math.Sqrt(long/g)
	at := d.at.down
	// The travel lasts half a period: the jerks of start and stop add up, and
	// half the speed does.
	d.insert(at,
		sim.Stage{Act: sim.Travel, Way: sim.Vec{v / 2 * period / 2}.Swung(d.fault.Float64()), Speed: v / 2, Accel: 30 * v / period},
		sim.Stage{Act: sim.Wait, Time: max(3*period, 12), Accel: 30 * v / period},
		sim.Stage{Act: sim.Wait, Time: max(1.5*period, 10), Calm: between(d.fault, 0.3, 0.6)},
	)
	d.shows = at
	return d.detail("the load swings %.1f deg to either side, a period of %.1f s", a*180/math.Pi, period)
}

func gust(d *draft) error {
	d.air.Mean = sim.Vec{between(d.fault, 2, 4)}.Swung(d.fault.Float64())
	d.air.Rough, d.air.Eddy = between(d.fault, 0.1, 0.2), between(d.fault, 1, 4)
	at := between(d.fault, 0, 3)
	d.upset(d.at.hold, sim.Upset{Gust: d.run.Magnitude, GustAt: sim.Span{From: at, To: at + between(d.fault, 4, 10)}})
	return d.detail("a gust of %.1f m/s on top of the wind", d.run.Magnitude)
}

// edge has the load come down where the ground is higher under one side: the
// driver stops when that edge carries its share, waits, and goes on.
func edge(d *draft) error {
	c := d.true.corners
	k := d.pick % len(c)
	high := edgeHeight(c, k, between(d.fault, leastEdge, mostEdge))
	packing := make([]float64, len(c))
	packing[k], packing[(k+1)%4] = high, high
	dr := &d.driver
	// What swings back must not lift it off again.
	down := d.fine(dr.act(sim.Slacken, (1-1.2*d.run.Magnitude)*d.true.weight, dr.creep), d.run.Magnitude*d.true.weight)
	down.Time = 300
	s := []sim.Stage{
		dr.act(sim.Clear, high+0.1, dr.creep),
		{Act: sim.Repack, Packing: packing},
		dr.act(sim.Land, 0, dr.creep),
		down, dr.wait([2]float64{5, 10}),
	}
	if d.fault.Float64() < 0.5 {
		// Taken up again and put down where it is level.
		s = append(s, dr.act(sim.Clear, 0.1+high, dr.creep), sim.Stage{Act: sim.Repack, Packing: make([]float64, len(c))}, dr.wait(dr.pause))
	}
	at := d.at.land
	d.insert(at, s...)
	d.shows = at + 2
	d.measured = func(rec *sim.Record) {
		// What stood on the edge while the driver waited.
		sum, n := 0.0, 0.0
		for i := range rec.Trace {
			if t := rec.Trace[i].T; t >= rec.Starts[at+4]+1 && t < rec.Starts[at+5] {
				sum, n = sum+rec.Trace[i].Ground, n+1
			}
		}
		d.run.Magnitude = sum / n / d.true.weight
	}
	return d.detail("the load comes down on one edge, which stands %.0f mm high", 1000*high)
}
