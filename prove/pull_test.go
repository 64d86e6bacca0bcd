package prove

import (
	"math"
	"testing"

	"plumbhook/reading"
)

// tug is a bollard pull, mast a guy; both by a mean.
const (
	tug = `plumbhook-proof: 1
date: 2026-11-20
rule: bollard pull
item: {name: work boat Heron}
load: 80 kN
cell: {channel: P, capacity: 200 kN, accuracy: 0.2 % fs, resolution: 50 N, creep: 0 % of reading, zero_return: 0.1 % fs, temperature_effect: [0 % fs per K, 0 % of reading per K], calibrated: 2026-03-01, due: 2027-03-01, drift_per_year: 0 % of reading}
gear:
  - {name: pin of the cell, rating: 200 kN}
  - {name: bollard, rating: 150 kN}
line: {length: 320 m, stiffness: 150 kN/m}
conditions: {wind: 3 m/s, current: 0.2 m/s, depth: 24 m, line: 310 m}
`
	mast = `plumbhook-proof: 1
date: 2026-11-20
rule: guy tension
item: {name: guy 2 of the radio mast}
hold: 60 s
guy: {design: 15 kN, at: 15 °C, now: 2 °C ± 2 °C, chord: 80 m, slope: 50 deg from horizontal, ea: 12 MN, mass: 60 kg, diameter: 12 mm, breaking: 150 kN}
cell: {channel: P, capacity: 50 kN, accuracy: 0.2 % fs, resolution: 10 N, creep: 0 % of reading, zero_return: 0.1 % fs, temperature_effect: [0 % fs per K, 0 % of reading per K], calibrated: 2026-03-01, due: 2027-03-01, drift_per_year: 0 % of reading}
gear:
  - {name: pin of the cell, rating: 50 kN}
  - {name: turnbuckle, rating: 40 kN}
line: {length: 80 m, stiffness: 150 kN/m}
`
)

// TestPull: the mean over ten minutes, and what must not pass as one.
func TestPull(t *testing.T) {
	pull := func(f float64, s float64) course {
		return course{{0, 20}, {5, 20}, {60, f}, {60 + s, f}, {70 + s, 20}, {75 + s, 20}}
	}
	for _, c := range []struct {
		what    string
		file    []string
		play    played
		outcome Outcome
		says    string
	}{
		{"as it should be", nil, played{force: pull(81.5e3, 610)}, Holds, ""},
		{"too short", nil, played{force: pull(81.5e3, 560)}, Fails, "the mean of 7"}, // the rise is in it
		{"far too short", nil, played{force: pull(81.5e3, 500)}, Fails, "no stretch of 600 s"},
		{"a lull in it", nil, played{force: course{{0, 20}, {60, 81.5e3}, {300, 81.5e3}, {310, 60e3}, {400, 60e3}, {410, 81.5e3}, {680, 81.5e3}, {690, 20}}}, Fails, "the mean of 7"},
		{"the radio lost", nil, played{force: pull(81.5e3, 610), no: [][2]float64{{400, 403}}}, Fails, "no stretch of 600 s"},
		{"the radio lost, and long enough after it", nil, played{force: pull(81.5e3, 960), no: [][2]float64{{400, 403}}}, Holds, ""},
		{"within its uncertainty of the pull", nil, played{force: pull(80.2e3, 610)}, Fails, "by less than its uncertainty"},
		{"past what the bollard bears", []string{"rating: 150 kN", "rating: 90 kN"}, played{force: course{{0, 20}, {60, 81.5e3}, {100, 81.5e3}, {101, 91e3}, {102, 81.5e3}, {720, 81.5e3}, {730, 20}}}, Fails, "may not come above"},
		{"a bollard too weak", []string{"rating: 150 kN", "rating: 87 kN"}, played{force: pull(81.5e3, 610)}, Fails, "not to be started"},
		{"too much wind", []string{"wind: 3 m/s", "wind: 5.1 m/s"}, played{force: course{{0, 0}, {1, 0}}}, Fails, "the rule allows 5 m/s"},
		{"just the wind", []string{"wind: 3 m/s", "wind: 5 m/s"}, played{force: pull(81.5e3, 610)}, Holds, ""},
		{"too shallow", []string{"depth: 24 m", "depth: 12 m, draught: 7 m"}, played{force: course{{0, 0}, {1, 0}}}, Fails, "twice the greatest draught"},
		{"shallow, and twice the draught", []string{"depth: 24 m", "depth: 12 m, draught: 5 m"}, played{force: pull(81.5e3, 610)}, Holds, ""},
		{"current not stated", []string{"current: 0.2 m/s, ", ""}, played{force: pull(81.5e3, 610)}, Incomplete, "no current is stated"},
	} {
		res, events := c.play.on(planned(t, changed(t, tug, c.file...)))
		if res.Outcome != c.outcome || c.says != "" && !says(res.Findings, c.says) {
			t.Errorf("%s: %s, want %s and %q:\n%s%v", c.what, res.Outcome, c.outcome, c.says, told(res.Findings), events)
		}
	}
	// The mean of a sine about a slope is known: 10 minutes, over whole periods.
	wave := course{{0, 20}, {1, 20}, {2, 81e3}}
	for i := 20; i <= 6100; i++ {
		at := float64(i) / 10
		wave = append(wave, [2]float64{at, 81e3 + 5*(at-2) + 4e3*math.Sin(2*math.Pi*(at-2)/20)})
	}
	res, _ := played{force: wave}.on(planned(t, tug))
	close(t, "mean of the last ten minutes", res.Mean.Mean, 81e3+5*(610-2-300)+4e3*20/600/(2*math.Pi)*(math.Cos(2*math.Pi*8/20)-math.Cos(2*math.Pi*608/20)), 15)
}

// TestGuy: the last mean in which the guy stood still counts, not the greatest.
func TestGuy(t *testing.T) {
	p := planned(t, mast)
	now := p.Target
	if now < 15e3 { // colder is tighter
		t.Fatal(now)
	}
	for _, c := range []struct {
		what    string
		file    []string
		play    course
		outcome Outcome
		says    string
	}{
		{"drawn to it", nil, course{{0, 0}, {9, 0}, {30, now}, {120, now}, {130, 0}, {140, 0}}, Holds, ""},
		{"drawn past it and eased", nil, course{{0, 0}, {9, 0}, {30, 1.3 * now}, {120, 1.3 * now}, {150, now}, {250, now}, {260, 0}, {270, 0}}, Holds, ""},
		{"right, then drawn past it", nil, course{{0, 0}, {9, 0}, {30, now}, {120, now}, {150, 1.3 * now}, {250, 1.3 * now}, {260, 0}, {270, 0}}, Fails, "is above"},
		{"slack", nil, course{{0, 0}, {9, 0}, {30, 0.85 * now}, {120, 0.85 * now}, {130, 0}, {140, 0}}, Fails, "is below"},
		{"slack by less than can be told", nil, course{{0, 0}, {9, 0}, {30, 0.901 * now}, {120, 0.901 * now}, {130, 0}, {140, 0}}, Fails, "by less than its uncertainty"},
		{"never still", nil, course{{0, 0}, {9, 0}, {30, now}, {40, 1.3 * now}, {50, now}, {60, 1.3 * now}, {70, now}, {80, 1.3 * now}, {90, now}, {100, 1.3 * now}, {110, 0}}, Fails, "stayed within 10 %"},
		{"at the figure of the drawing in the cold, a thick guy", []string{"diameter: 12 mm", "diameter: 28 mm"}, course{{0, 0}, {9, 0}, {30, 15e3}, {120, 15e3}, {130, 0}, {140, 0}}, Fails, "is below"},
	} {
		res, events := played{force: c.play}.on(planned(t, changed(t, mast, c.file...)))
		if res.Outcome != c.outcome || c.says != "" && !says(res.Findings, c.says) {
			t.Errorf("%s: %s, want %s and %q:\n%s%v", c.what, res.Outcome, c.outcome, c.says, told(res.Findings), events)
		}
	}
}

// TestTension holds the guy against the whole elastic catenary, whose unloaded
// length goes with temperature.
func TestTension(t *testing.T) {
	for _, g := range []GuyRope{
		{Design: 15e3, At: 288.15, Chord: 80, Slope: 50 * math.Pi / 180, EA: 12e6, Weight: 600, Diameter: 0.012},
		{Design: 40e3, At: 293.15, Chord: 220, Slope: 40 * math.Pi / 180, EA: 40e6, Weight: 5000, Diameter: 0.03},
		{Design: 8e3, At: 300, Chord: 30, Slope: 0, EA: 6e6, Weight: 120, Diameter: 0.01},
	} {
		// length is the unloaded one of a guy that has this tension at its lower end.
		length := func(low float64) float64 {
			x, z := g.Chord*math.Cos(g.Slope), g.Chord*math.Sin(g.Slope)
			shape := func(angle float64) (float64, float64) { // across and up, per metre unloaded
				h, v := low*math.Cos(angle), low*math.Sin(angle)
				a, b := v/h, (v+g.Weight)/h
				return h/g.EA + h/g.Weight*(math.Asinh(b)-math.Asinh(a)), (v+g.Weight/2)/g.EA + h/g.Weight*(math.Hypot(1, b)-math.Hypot(1, a))
			}
			from, to := -1.5, g.Slope
			for range 100 {
				angle := (from + to) / 2
				if across, up := shape(angle); up*x < z*across {
					from = angle
				} else {
					to = angle
				}
			}
			across, _ := shape((from + to) / 2)
			return x / across
		}
		for _, warmer := range []float64{-40, -13, 0, 20, 35} {
			want := length(g.Design) * (1 + expansion*warmer)
			low, high := 1.0, 20*g.Design
			for range 200 {
				if m := (low + high) / 2; length(m) > want {
					low = m
				} else {
					high = m
				}
			}
			close(t, "tension", g.Tension(g.At+warmer), low, 0.003*g.Design)
		}
	}
}

// TestAtRest: a load that begins and ends gently is no shift of zero; a zero that
// is off is seen although the test ends under load; a readout that stands still
// tells nothing.
func TestAtRest(t *testing.T) {
	gentle := good(51.5e3)
	gentle.force = course{{0, 20}, {10, 20}, {20, 900}, {40, 51.5e3}, {110, 51.5e3}, {130, 900}, {140, 20}, {150, 20}}
	gentle.gauge = course{{0, 1e-3}, {20, 1e-3}, {40, 3e-3}, {110, 3e-3}, {140, 1e-3}, {150, 1e-3}}
	if res, _ := gentle.on(planned(t, plate)); res.Outcome != Holds {
		t.Errorf("gentle: %s\n%s", res.Outcome, told(res.Findings))
	}
	off := good(51.5e3)
	off.force = course{{0, 500}, {5, 500}, {25, 51.5e3}, {95, 51.5e3}}
	if res, _ := off.on(planned(t, plate)); res.Outcome != Fails || !says(res.Findings, "it was not at zero") {
		t.Errorf("off: %s\n%s", res.Outcome, told(res.Findings))
	}
	flat := good(51.5e3)
	flat.gauge = course{{0, 1e-3}, {11.9, 1e-3}, {12, 3e-3}, {90, 3e-3}, {100, 1e-3}, {110, 1e-3}}
	flat.force = course{{0, 20}, {12, 20}, {12, 51.5e3}, {90, 51.5e3}, {100, 30}, {110, 30}}
	res, _ := flat.on(planned(t, changed(t, plate, "resolution: 20 N, ", "", "ramp: 4 kN per s\n", "")))
	if res.Outcome != Incomplete || !says(res.Findings, "a frozen readout looks like that") {
		t.Errorf("flat: %s\n%s", res.Outcome, told(res.Findings))
	}
	// A gauge that is silent in the middle of the hold says nothing of it.
	r := Start(planned(t, plate))
	p := good(51.5e3)
	for i := range 1100 {
		at := float64(i) / 10
		r.Reading(reading.Reading{Channel: "P", At: reading.Seconds(at), Value: p.force.at(at)})
		if at < 40 || at > 70 {
			r.Reading(reading.Reading{Channel: "D", At: reading.Seconds(at), Value: p.gauge.at(at)})
		}
	}
	if res := r.Result(); res.Outcome != Incomplete || !says(res.Findings, "no reading tells its movement over the hold") {
		t.Errorf("silent gauge: %s\n%s", res.Outcome, told(res.Findings))
	}
	// What bore more than its capacity is looked at before it is used again.
	res, _ = played{force: course{{0, 20}, {9, 20}, {60, 201e3}, {70, 81.5e3}, {700, 81.5e3}, {710, 0}, {720, 0}}}.on(planned(t, tug))
	if res.Outcome != Fails || !says(res.Findings, "held until its zero was checked and it was examined") {
		t.Errorf("past capacity: %s\n%s", res.Outcome, told(res.Findings))
	}
}
