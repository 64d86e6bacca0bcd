package reading_test

import (
	"math"
	"testing"

	"plumbhook/reading"
)

// The clock of a sender is judged by its quickest reading of the last minute,
// and what it kept during a dropout says nothing.
func TestSkew(t *testing.T) {
	var s reading.Skew
	if !math.IsNaN(s.Behind()) {
		t.Error("an opinion out of nothing")
	}
	note := func(arrived, at float64, marks reading.Marks) {
		s.Note(reading.Seconds(arrived), &reading.Reading{At: reading.Seconds(at), Marks: marks})
	}
	near := func(want float64) {
		t.Helper()
		if got := s.Behind(); math.Abs(got-want) > 1e-6 {
			t.Errorf("behind by %g s, want %g", got, want)
		}
	}
	const t0 = 1.8e9
	// 3 s ahead; the way takes 20 ms at best, up to 5 s in a burst.
	for i := range 600 {
		at := t0 + float64(i)/10
		way := 0.02 + 0.5*float64(i%11)
		note(at+way, at+3, reading.Timed)
	}
	near(-2.98)
	note(t0+60, t0-3000, reading.Timed|reading.Historical)
	note(t0+60, t0+9000, 0)
	near(-2.98)
	// Set right; a minute later the old offset is forgotten.
	for i := range 900 {
		at := t0 + 61 + float64(i)/10
		note(at+0.02, at, reading.Timed)
	}
	near(0.02)
	// An hour without the link: what waited is not taken for a slow clock.
	note(t0+4000, t0+300, reading.Timed)
	near(0.02)
	// Set back by an hour: believed after a minute of it.
	for i := range 900 {
		at := t0 + 4001 + float64(i)/10
		note(at+0.02, at-3600, reading.Timed)
	}
	near(3600.02)
}
