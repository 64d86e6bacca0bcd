package prove

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"plumbhook/reading"
)

// plate is a test of a lifting point; tests change it by replacing text.
const plate = `plumbhook-proof: 1
title: Plate on the roof steel
revision: A
date: 2026-11-20
place: Kestrel Point waterworks
rule: lifting point
criterion: {by: M. Tarn, text: no crack}
item: {name: roof plate, serial: KP-PL-2, rating: 40 kN, proof: 80 kN}
load: 50 kN
over: 6 %
hold: 60 s
ramp: 4 kN per s
dip: restart
drift: 2 %
movement:
  beam: {channel: D, accuracy: 0.05 mm, most: 4 mm, in_hold: 0.5 mm, stays: 0.3 mm}
cell: {channel: P, serial: KP-LC-7, capacity: 100 kN, accuracy: 0.3 % fs, resolution: 20 N, creep: 0 % of reading, zero_return: 0.1 % fs, temperature_effect: [0 % fs per K, 0 % of reading per K], calibrated: 2026-03-01, due: 2027-03-01}
gear:
  - {name: pin of the cell, rating: 100 kN}
  - {name: shackle, serial: KP-SH-1, rating: 95 kN, proof: 190 kN}
  - {name: strong point, rating: 120 kN}
line: {length: 6 m, stiffness: 2 MN/m}
exclusion: 8 m
conditions: {wind: 3 m/s, wind_limit: 8 m/s, temperature: 9 °C}
`

// changed is a text with pairs of old and new put in.
func changed(t testing.TB, text string, pairs ...string) string {
	t.Helper()
	for i := 0; i < len(pairs); i += 2 {
		if !strings.Contains(text, pairs[i]) {
			t.Fatalf("the file has no %q", pairs[i])
		}
		text = strings.ReplaceAll(text, pairs[i], pairs[i+1])
	}
	return text
}

func planned(t testing.TB, text string) *Plan {
	t.Helper()
	test, err := Read("test.yaml", []byte(text))
	if err != nil {
		t.Fatal(err)
	}
	return Before(test, "kN")
}

// A course is a force or a movement over time by corners, straight in between. A
// corner with a NaN begins a stretch without readings.
type course [][2]float64

func (c course) at(t float64) float64 {
	for i := 1; i < len(c); i++ {
		if t <= c[i][0] {
			a, b := c[i-1], c[i]
			if b[0] == a[0] {
				return b[1]
			}
			return a[1] + (b[1]-a[1])*(t-a[0])/(b[0]-a[0])
		}
	}
	return c[len(c)-1][1]
}

// played is a run over courses of the cell and of the gauge, ten readings a second.
// no tells when readings are missing.
type played struct {
	force, gauge course
	no           [][2]float64 // from, to
	abort        float64      // when M. Tarn ends it; zero: never
}

func (p played) on(plan *Plan) (Result, []Event) {
	r := Start(plan)
	var all []Event
	end := p.force[len(p.force)-1][0]
	for i := 0; float64(i)/10 <= end; i++ {
		t := float64(i) / 10
		at := reading.Seconds(t)
		if p.abort > 0 && t == p.abort {
			all = append(all, r.Abort(at, "M. Tarn", "the beam cracked")...)
		}
		all = append(all, r.Tick(at)...)
		gone := false
		for _, n := range p.no {
			gone = gone || t >= n[0] && t < n[1]
		}
		if gone {
			continue
		}
		all = append(all, r.Reading(reading.Reading{Channel: "P", At: at, Value: p.force.at(t), Marks: reading.Timed})...)
		if p.gauge != nil {
			all = append(all, r.Reading(reading.Reading{Channel: "D", At: at, Value: p.gauge.at(t), Marks: reading.Timed})...)
		}
	}
	return r.Result(), all
}

// good is how the test of the plate goes when all is well, with the force f held.
func good(f float64) played {
	return played{
		force: course{{0, 20}, {5, 20}, {25, f}, {90, f}, {100, 30}, {110, 30}},
		gauge: course{{0, 1e-3}, {5, 1e-3}, {25, 3e-3}, {90, 3.1e-3}, {100, 1.1e-3}, {110, 1.1e-3}},
	}
}

// says tells whether a finding that keeps the test from passing says so.
func says(all []Finding, text string) bool {
	for _, f := range all {
		if (f.Severity == Stop || f.Missing) && strings.Contains(f.Where+": "+f.Text, text) {
			return true
		}
	}
	return false
}

func told(all []Finding) string {
	var b strings.Builder
	for _, f := range all {
		fmt.Fprintf(&b, "%s %s: %s\n", f.Severity, f.Where, f.Text)
	}
	return b.String()
}

func close(t *testing.T, what string, got, want, within float64) {
	t.Helper()
	if !(math.Abs(got-want) <= within) {
		t.Errorf("%s = %.9g, want %.9g within %.2g", what, got, want, within)
	}
}
