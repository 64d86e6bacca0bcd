package spread_test

import (
	"math"
	"math/rand/v2"
	"os"
	"runtime"
	"strings"
	"sync"
	"testing"
	"time"

	"plumbhook/lift"
	"plumbhook/quantity"
	"plumbhook/spread"
	"plumbhook/statics"
	"plumbhook/verdict"
)

// TestBandsAreHonest draws two thousand truths for each lift with a sampler
// of its own, hangs each from scratch, reads every cell as a cell reads, and
// counts how often the bands of the plan hold what was read: 95 in 100 times
// each cell alone, and all cells at once within the joint limits.
func TestBandsAreHonest(t *testing.T) {
	truths, tolerance := 2000, 0.02
	if testing.Short() {
		truths, tolerance = 400, 0.035 // the count itself is off by 1.1 % then, one sigma
	}
	for _, c := range []struct{ name, text string }{
		{"pump motor", example(t, "pump-motor")},
		{"stop-log gate", example(t, "stoplog-gate")},
		{"tube bundle with cells", celled(example(t, "exchanger-bundle"), "cell: {channel: %, capacity: 6.7 t, accuracy: 0.2 % fs, zero: hung}")},
		{"tube bundle, cells zeroed attached", celled(example(t, "exchanger-bundle"), "cell: {channel: %, capacity: 6.7 t, accuracy: 1 % of reading, zero: attached}")},
		{"tube bundle, cells that warm", strings.Replace(celled(example(t, "exchanger-bundle"),
			"cell: {channel: %, capacity: 6.7 t, accuracy: 0.2 % fs, resolution: 2 kg, temperature_effect: 0.05 % fs per °C, zero: hung}"),
			"g: 9.81 m/s2}", "g: 9.81 m/s2, temperature: 5..25 °C}", 1)},
		{"gate, cells above the bar", strings.NewReplacer(
			"mass: 14 kg, wll: 6 t}", "mass: 14 kg, wll: 6 t, cell: {channel: %, capacity: 6 t, accuracy: 0.5 % fs, zero: hung}}",
			"mass: 310 kg", "mass: 400 kg ± 60 kg", // it is zeroed away, so its mass must not widen the bands
		).Replace(example(t, "stoplog-gate"))},
		{"stiff legs, some of them slack", slackened},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			honest(t, c.text, truths, tolerance)
		})
	}
}

func honest(t *testing.T, text string, truths int, tolerance float64) {
	// Every cell needs a channel of its own.
	for _, name := range []string{"a", "b", "c", "d", "e"} {
		text = strings.Replace(text, "channel: %", "channel: "+name, 1)
	}
	l, err := lift.Read("test.yaml", nil, []byte(text))
	if err != nil {
		t.Fatal(err)
	}
	p, err := verdict.Check(l)
	if err != nil {
		t.Fatal(err)
	}
	want := p.States[0].Expected
	if len(want) < 2 {
		t.Fatalf("%d cells", len(want))
	}
	rig, err := lift.NewRig(l)
	if err != nil {
		t.Fatal(err)
	}
	crew := crew{rig, l, rand.New(rand.NewPCG(20, 26))}
	alone, joint := make([]int, len(want)), 0
	for range truths {
		all := true
		for k, v := range crew.read(t) {
			e := &want[k]
			if v >= e.LowN && v <= e.HighN {
				alone[k]++
			}
			all = all && v >= e.JointLowN && v <= e.JointHighN
		}
		if all {
			joint++
		}
	}
	share := func(what string, n int) {
		s := float64(n) / float64(truths)
		t.Logf("%s: %.1f %%", what, 100*s)
		if math.Abs(s-0.95) > tolerance {
			t.Errorf("%s holds %.1f %% of the truths", what, 100*s)
		}
	}
	for k := range want {
		share("band of "+want[k].Channel, alone[k])
	}
	share("joint band", joint)
}

// crew is a site where things are as they are: it draws them, hangs the lift
// and reads the cells. It shares nothing with the planner's draws.
type crew struct {
	rig  *lift.Rig
	lift *lift.Lift
	rng  *rand.Rand
}

// normal draws after Box and Muller (1958).
func (c *crew) normal() float64 {
	return math.Sqrt(-2*math.Log(1-c.rng.Float64())) * math.Cos(2*math.Pi*c.rng.Float64())
}

// within draws evenly between two limits.
func (c *crew) within(low, high float64) float64 { return low + c.rng.Float64()*(high-low) }

// read gives the readings of one truth, in the order of the legs.
func (c *crew) read(t *testing.T) []float64 {
	values := make([]float64, len(c.rig.Inputs))
	for k, in := range c.rig.Inputs {
		if in.Shape == quantity.Uniform {
			values[k] = c.within(in.Low, in.High)
		} else {
			// 1.95996: 97.5 % point of the standard normal distribution.
			values[k] = in.Value + (in.High-in.Low)/(2*1.959964)*c.normal()
		}
	}
	c.rig.Set(values)
	h, err := c.rig.Hang()
	if err != nil {
		t.Fatal(err)
	}
	// What the rigging of this truth puts on its legs without the load.
	without := map[float64][]statics.Vec{}
	empty := func(share float64) []statics.Vec {
		if without[share] == nil {
			if without[share], err = c.rig.Empty(share); err != nil {
				t.Fatal(err)
			}
		}
		return without[share]
	}
	var out []float64
	for i := range c.lift.Legs {
		leg := &c.lift.Legs[i]
		cell, below := leg.CellAt()
		if cell == nil {
			continue
		}
		above := (float64(leg.Mass.Value) - below) * float64(c.lift.Site.G.Value) // no leg here weighs more or less than the file says
		at := func(f [3]float64) float64 { return math.Sqrt(f[0]*f[0] + f[1]*f[1] + (f[2]+above)*(f[2]+above)) }
		v := at(h.Legs[i].Upper)
		switch cell.Zero {
		case lift.ZeroHung:
			v -= at(empty(1)[i])
		case lift.ZeroAttached:
			v -= c.within(at(empty(0.5)[i]), at(empty(1)[i]))
		}
		e := cell.Accuracy.Share * math.Abs(v)
		if cell.Accuracy.OfFullScale {
			e = cell.Accuracy.Share * float64(cell.Capacity.Force)
		}
		e = c.within(-e, e)
		if len(cell.Warmth) > 0 { // zeroed at one end of the range of the site, read at the other, or the reverse
			full := cell.Warmth[0].PerKelvin * (25 - 5) * float64(cell.Capacity.Force)
			e += c.within(-full, full)
		}
		v += e
		if cell.Resolution != nil {
			step := float64(cell.Resolution.Force)
			v = step * math.Floor(v/step+0.5)
		}
		out = append(out, v)
	}
	return out
}

func example(t testing.TB, name string) string {
	text, err := os.ReadFile("../examples/" + name + ".yaml")
	if err != nil {
		t.Fatal(err)
	}
	return string(text)
}

// celled puts a cell into every leg of the tube bundle.
func celled(text, cell string) string {
	return strings.ReplaceAll(text, "mass: 28 kg, wll: 6.7 t}", "mass: 28 kg, wll: 6.7 t, "+cell+"}")
}

const slackened = `
plumbhook: 1
title: Concrete cover, filter 4
load: {name: cover, mass: 8 t ± 3 %, cg: 0.1 0.05 0 m ± 30 mm, lugs: {a: {at: 1.5 1 0.4 m}, b: {at: -1.5 1 0.4 m}, c: {at: -1.5 -1 0.4 m}, d: {at: 1.5 -1 0.4 m}}}
hooks: {main: {at: 0 0 6 m}}
legs:
  a: {from: main, to: load.a, length: 3 m ± 5 mm, stiffness: 12 MN/m, mass: 20 kg, cell: {channel: %, capacity: 10 t, accuracy: 0.1 % fs, zero: none}}
  b: {from: main, to: load.b, length: 3 m ± 5 mm, stiffness: 12 MN/m, mass: 20 kg, cell: {channel: %, capacity: 10 t, accuracy: 0.1 % fs, zero: none}}
  c: {from: main, to: load.c, length: 3 m ± 5 mm, stiffness: 12 MN/m, mass: 20 kg, cell: {channel: %, capacity: 10 t, accuracy: 0.1 % fs, zero: none}}
  d: {from: main, to: load.d, length: 3 m ± 5 mm, stiffness: 12 MN/m, mass: 20 kg, cell: {channel: %, capacity: 10 t, accuracy: 0.1 % fs, zero: none}}
`

// BenchmarkFourLegs10000 hangs the four-leg example ten thousand times over
// what is not known of it, on two processors and on one, and reports the gain
// as a share of what a plain arithmetic loop gains in the same run.
func BenchmarkFourLegs10000(b *testing.B) {
	const draws = 10000
	l, err := lift.Read("test.yaml", nil, []byte(example(b, "exchanger-bundle")))
	if err != nil {
		b.Fatal(err)
	}
	rig, err := lift.NewRig(l)
	if err != nil {
		b.Fatal(err)
	}
	if _, err := rig.Hang(); err != nil {
		b.Fatal(err)
	}
	took := func(processors int, work func()) time.Duration {
		defer runtime.GOMAXPROCS(runtime.GOMAXPROCS(processors))
		start := time.Now()
		work()
		return time.Since(start)
	}
	run := func() {
		if _, err := spread.Run(rig, nil, draws); err != nil {
			b.Fatal(err)
		}
	}
	var ours, plain [2]time.Duration
	for b.Loop() {
		for k := range 2 {
			plain[k] += took(k+1, arithmetic)
			ours[k] += took(k+1, run)
		}
	}
	gain, best := float64(ours[0])/float64(ours[1]), float64(plain[0])/float64(plain[1])
	b.ReportMetric(ours[1].Seconds()*1e3/float64(b.N), "ms-on-two-processors")
	b.ReportMetric(gain, "times-quicker-than-on-one")
	b.ReportMetric(best, "times-quicker-plain-loop")
	b.ReportMetric(gain/best, "share-of-plain-loop")
	b.ReportMetric(0, "ns/op")
}

// sink keeps the arithmetic from being left out.
var sink [2]float64

// arithmetic is work that splits in two and shares nothing.
func arithmetic() {
	var wg sync.WaitGroup
	for k := range sink {
		wg.Go(func() {
			x := 0.5 + float64(k)
			for range 30_000_000 {
				x = x*0.9999 + 1/(1+x)
			}
			sink[k] = x
		})
	}
	wg.Wait()
}
