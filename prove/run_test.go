package prove

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"plumbhook/reading"
)

// TestScenarios plays one test as it should go and once for each way it must not.
// Each has a twin beside it that differs by as little as can be, and passes.
func TestScenarios(t *testing.T) {
	with := func(p played, changes ...func(*played)) played {
		for _, c := range changes {
			c(&p)
		}
		return p
	}
	force := func(c ...[2]float64) func(*played) { return func(p *played) { p.force = c } }
	gauge := func(c ...[2]float64) func(*played) { return func(p *played) { p.gauge = c } }
	f := 51500.0
	g := good(f)
	for _, c := range []struct {
		what    string
		file    []string // replaced in the file
		play    played
		outcome Outcome
		says    string
	}{
		{"as planned", nil, g, Holds, ""},

		{"too short", nil, with(g, force([2]float64{0, 20}, [2]float64{5, 20}, [2]float64{25, f}, [2]float64{82, f}, [2]float64{92, 30}, [2]float64{99, 30})), Fails, "hold: held for 5"},
		{"just long enough", nil, with(g, force([2]float64{0, 20}, [2]float64{5, 20}, [2]float64{25, f}, [2]float64{86, f}, [2]float64{96, 30}, [2]float64{110, 30})), Holds, ""},

		{"a dip, and too short after it", nil, with(g, force([2]float64{0, 20}, [2]float64{5, 20}, [2]float64{25, f}, [2]float64{60, f}, [2]float64{61, 49e3}, [2]float64{62, f}, [2]float64{115, f}, [2]float64{125, 30}, [2]float64{130, 30})), Fails, "hold: held for 5"},
		{"a dip, and a whole hold after it", nil, with(g, force([2]float64{0, 20}, [2]float64{5, 20}, [2]float64{25, f}, [2]float64{60, f}, [2]float64{61, 49e3}, [2]float64{62, f}, [2]float64{125, f}, [2]float64{135, 30}, [2]float64{140, 30}), gauge([2]float64{0, 0}, [2]float64{5, 0}, [2]float64{25, 2e-3}, [2]float64{125, 2e-3}, [2]float64{135, 0})), Holds, ""},
		{"a dip where a dip fails", []string{"dip: restart", "dip: fails"}, with(g, force([2]float64{0, 20}, [2]float64{5, 20}, [2]float64{25, f}, [2]float64{60, f}, [2]float64{61, 49e3}, [2]float64{62, f}, [2]float64{125, f}, [2]float64{135, 30}, [2]float64{140, 30})), Fails, "by the rule of this test it has failed"},
		{"a sag that stays in the band", []string{"dip: restart", "dip: fails"}, with(g, force([2]float64{0, 20}, [2]float64{5, 20}, [2]float64{25, f}, [2]float64{60, f}, [2]float64{61, 50.5e3}, [2]float64{62, f}, [2]float64{90, f}, [2]float64{100, 30}, [2]float64{110, 30})), Holds, ""},

		{"an overshoot", nil, with(g, force([2]float64{0, 20}, [2]float64{5, 20}, [2]float64{25, 53.2e3}, [2]float64{26, f}, [2]float64{95, f}, [2]float64{105, 30}, [2]float64{110, 30})), Fails, "may not come above"},
		{"as high as may be", nil, with(g, force([2]float64{0, 20}, [2]float64{5, 20}, [2]float64{25, 52.6e3}, [2]float64{26, f}, [2]float64{95, f}, [2]float64{105, 30}, [2]float64{110, 30})), Holds, ""},
		{"an overshoot after the hold", nil, with(g, force([2]float64{0, 20}, [2]float64{5, 20}, [2]float64{25, f}, [2]float64{95, f}, [2]float64{96, 54e3}, [2]float64{106, 30}, [2]float64{110, 30})), Fails, "may not come above"},

		{"the radio lost in the hold", nil, with(g, func(p *played) { p.no = [][2]float64{{50, 53}} }), Fails, "hold: held for"},
		{"the radio lost to the end", nil, with(g, func(p *played) { p.no = [][2]float64{{50, 1000}} }), Fails, "hold: held for 25 s"},
		{"the radio lost, and a whole hold after it", nil, with(g, func(p *played) {
			p.no = [][2]float64{{50, 53}}
			p.force = course{{0, 20}, {5, 20}, {25, f}, {116, f}, {126, 30}, {130, 30}}
			p.gauge = course{{0, 1e-3}, {5, 1e-3}, {25, 3e-3}, {116, 3.1e-3}, {126, 1.1e-3}, {130, 1.1e-3}}
		}), Holds, ""},
		{"a gap that may be", nil, with(g, func(p *played) { p.no = [][2]float64{{50, 51.8}} }), Holds, ""},

		{"never reached", nil, good(50.1e3), Fails, "the test load was not reached"},
		{"the same by simple acceptance", []string{"conditions:", "decision: simple\ndecision_by: order 118, clause 6\nconditions:"}, good(50.1e3), Holds, ""},

		{"raised too fast", nil, with(g, force([2]float64{0, 20}, [2]float64{5, 20}, [2]float64{15, f}, [2]float64{90, f}, [2]float64{100, 30}, [2]float64{110, 30})), Fails, "the force rises by"},
		{"drifted", nil, with(g, force([2]float64{0, 20}, [2]float64{5, 20}, [2]float64{25, 52.2e3}, [2]float64{86, 50.8e3}, [2]float64{96, 30}, [2]float64{110, 30})), Fails, "drift: the force drifted by -1.3"},

		{"moved too far", nil, with(g, gauge([2]float64{0, 0}, [2]float64{5, 0}, [2]float64{25, 3.97e-3}, [2]float64{90, 3.97e-3}, [2]float64{100, 0})), Fails, "beam"},
		{"moved as far as may be", nil, with(g, gauge([2]float64{0, 0}, [2]float64{5, 0}, [2]float64{25, 3.9e-3}, [2]float64{90, 3.9e-3}, [2]float64{100, 0})), Holds, ""},
		{"creeps in the hold", nil, with(g, gauge([2]float64{0, 0}, [2]float64{5, 0}, [2]float64{25, 2e-3}, [2]float64{85, 2.6e-3}, [2]float64{100, 0})), Fails, "its movement over the hold"},
		{"does not come back", nil, with(g, gauge([2]float64{0, 0}, [2]float64{5, 0}, [2]float64{25, 2e-3}, [2]float64{85, 2e-3}, [2]float64{100, 4e-4})), Fails, "what stays"},
		{"a gauge that is not read", nil, with(g, func(p *played) { p.gauge = nil }), Incomplete, "no reading tells"},

		{"zero shifted", nil, with(g, force([2]float64{0, 20}, [2]float64{5, 20}, [2]float64{25, f}, [2]float64{90, f}, [2]float64{100, 400}, [2]float64{110, 400})), Fails, "in doubt"},
		{"not at zero", nil, with(g, force([2]float64{0, 500}, [2]float64{5, 500}, [2]float64{25, f}, [2]float64{90, f}, [2]float64{100, 500}, [2]float64{110, 500})), Fails, "it was not at zero"},

		{"aborted", nil, with(g, func(p *played) { p.abort = 60 }), Fails, "ended by M. Tarn"},
		{"aborted after the hold", nil, with(g, func(p *played) { p.abort = 89 }), Fails, "ended by M. Tarn"},

		{"an under-rated cell", []string{"capacity: 100 kN", "capacity: 52 kN"}, g, Fails, "it was not to be started"},
		{"an under-rated shackle", []string{"rating: 95 kN", "rating: 52 kN"}, g, Fails, "it was not to be started"},
		{"a shackle just rated", []string{"rating: 95 kN", "rating: 53 kN"}, g, Holds, ""},
		{"an unrated strong point, put under load", []string{", rating: 120 kN", ""}, g, Fails, "it was not to be started"},
		{"no reading", nil, played{force: course{{0, 0}, {1, 0}}, no: [][2]float64{{0, 9}}}, Incomplete, "there is no reading of channel P"},
	} {
		t.Run(c.what, func(t *testing.T) {
			plan := planned(t, changed(t, plate, c.file...))
			res, events := c.play.on(plan)
			if res.Outcome != c.outcome || c.says != "" && !says(res.Findings, c.says) {
				t.Errorf("%s, want %s and %q:\n%s%v\n%+v", res.Outcome, c.outcome, c.says, told(res.Findings), events, res.Hold)
			}
		})
	}
}

// TestEvents: what is said, and when.
func TestEvents(t *testing.T) {
	p := good(51.5e3)
	p.no = [][2]float64{{40, 44}}
	p.force = course{{0, 20}, {5, 20}, {25, 51.5e3}, {60, 51.5e3}, {61, 40e3}, {63, 51.5e3}, {130, 51.5e3}, {140, 20}, {145, 20}}
	_, events := p.on(planned(t, plate))
	got := ""
	for _, e := range events {
		if e.Kind != TooFast {
			got += fmt.Sprintf("%s@%.1f ", e.Kind, e.At.Since(0))
		}
	}
	// Slack until 1 kN; in the band from 50.31 kN on, said three seconds later; lost
	// when two seconds have gone by without a reading.
	want := "began@5.4 in_band@27.6 lost@42.0 back@44.0 in_band@47.0 dip@60.1 in_band@65.9 held@122.9 released@139.9 "
	if got != want {
		t.Errorf("%s\nwant\n%s", got, want)
	}
}

// TestView: a stale force never looks live, and what is not read is not held.
func TestView(t *testing.T) {
	plan := planned(t, plate)
	r := Start(plan)
	if v := r.View(0); !math.IsNaN(v.Force) || v.Live || v.Phase != Waiting || v.Left != 60 {
		t.Errorf("%+v", v)
	}
	p := good(51.5e3)
	for i := range 400 {
		at := float64(i) / 10
		r.Reading(reading.Reading{Channel: "P", At: reading.Seconds(at), Value: p.force.at(at)})
	}
	now := reading.Seconds(39.9)
	v := r.View(now)
	if v.Phase != Holding || !v.Live || v.Failed != nil {
		t.Errorf("%+v", v)
	}
	close(t, "held", v.Held, 39.9-24.6, 0.11)
	close(t, "held and left", v.Held+v.Left, 60, 1e-9)
	close(t, "low", v.Low, 50e3+plan.U.U, 1e-6)
	close(t, "high", v.High, 53e3-plan.U.U, 1e-6)
	if v := r.View(now.Plus(2.5)); v.Live || v.Held != 0 || v.Age != 2.5 {
		t.Errorf("stale: %+v", v)
	}
	r.Tick(now.Plus(2.5))
	if v := r.View(now.Plus(2.5)); v.Phase == Holding || v.Restarts != 1 {
		t.Errorf("lost: %+v", v)
	}
}

// TestNeverHeld: whatever the course and whatever is lost, time counts only between
// two readings in the band that are no further apart than the gap; and a passed test
// has a stretch of readings behind it that is long enough and all within the band.
func TestNeverHeld(t *testing.T) {
	plan := planned(t, changed(t, plate, "hold: 60 s", "hold: 20 s", "ramp: 4 kN per s\n", "", "drift: 2 %\n", "", "movement:\n  beam: {channel: D, accuracy: 0.05 mm, most: 4 mm, in_hold: 0.5 mm, stays: 0.3 mm}\n", ""))
	passed := 0
	rapid.Check(t, func(t *rapid.T) {
		type sample struct {
			at   float64
			v    float64
			good bool
		}
		var all []sample
		r := Start(plan)
		now := 0.0
		for range rapid.IntRange(5, 60).Draw(t, "readings") {
			now += rapid.SampledFrom([]float64{1.9, 0.5, 1, 1.2, 1.3, 1.4, 1.5, 1.6, 1.7, 1.8, 1.9, 1.9, 1.9, 1.9, 1.9, 1.9, 1.9, 2.5, 30}).Draw(t, "after")
			s := sample{now, rapid.SampledFrom([]float64{51e3, 50.4e3, 51.2e3, 51.5e3, 51.6e3, 51.7e3, 51.8e3, 51.9e3, 52e3, 52.1e3, 52.2e3, 52.3e3, 52.4e3, 52.5e3, 52.6e3, 51.1e3, 51.3e3, 51.4e3, 49e3, 54e3}).Draw(t, "force"), rapid.IntRange(0, 30).Draw(t, "quality") != 17}
			all = append(all, s)
			q := reading.Good
			if !s.good {
				q = reading.Lost
			}
			if rapid.Bool().Draw(t, "tick") {
				r.Tick(reading.Seconds(now))
			}
			r.Reading(reading.Reading{Channel: "P", At: reading.Seconds(now), Value: s.v, Quality: q})
		}
		res := r.Result()
		// By hand: the longest run of neighbours that count.
		longest, held := 0.0, 0.0
		var last *sample
		blind := false
		for i := range all {
			s := &all[i]
			if !s.good {
				blind = true
				continue
			}
			in := s.v >= plan.AcceptLow && s.v <= plan.AcceptHigh
			switch {
			case !in || last == nil || s.at-last.at > plan.Gap+1e-9:
				held = 0
			case !blind:
				held += s.at - last.at
			}
			longest, blind, last = max(longest, held), false, s
			if !in {
				last = nil
			}
		}
		held20 := res.Phase == Held || res.Phase == Lowering || res.Phase == Released
		if held20 != (longest >= 20-1e-9) || res.Longest > longest+1e-6 {
			t.Fatalf("phase %s, longest %g; by hand %g", res.Phase, res.Longest, longest)
		}
		if held20 {
			passed++
		}
	})
	if passed == 0 {
		t.Error("no course was held: the test tests nothing")
	}
}

// TestOrder: what comes late or twice counts for nothing, and says so.
func TestOrder(t *testing.T) {
	r := Start(planned(t, plate))
	for _, at := range []float64{0, 1, 2, 1, 2} {
		r.Reading(reading.Reading{Channel: "P", At: reading.Seconds(at), Value: 20 + at, Marks: reading.Timed})
	}
	res := r.Result()
	if res.Late != 2 || !slices.ContainsFunc(res.Findings, func(f Finding) bool { return strings.Contains(f.Text, "2 readings") }) {
		t.Errorf("%d late\n%s", res.Late, told(res.Findings))
	}
}
