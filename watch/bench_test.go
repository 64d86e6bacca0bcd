package watch_test

import (
	"fmt"
	"math"
	"testing"

	"plumbhook/alarm"
	"plumbhook/lift"
	"plumbhook/logbook"
	"plumbhook/reading"
	"plumbhook/verdict"
	"plumbhook/watch"
)

// BenchmarkApply64 is a frame of ten samples of each of 64 channels: what a
// tenth of a second brings at 100 readings a second.
func BenchmarkApply64(b *testing.B) {
	text := "plumbhook: 1\ntitle: sixty-four\nload:\n  name: grid\n  mass: 64 t ± 1 %\n  cg: 0 0 0 m\n  lugs:\n"
	legs := "hooks:\n"
	for i := range 64 {
		x, y := float64(i%8)-3.5, float64(i/8)-3.5
		text += fmt.Sprintf("    p%d: {at: %g %g 0 m, wll: 3 t}\n", i, x, y)
		legs += fmt.Sprintf("  h%d: {at: %g %g 5 m, wll: 3 t}\n", i, x, y)
	}
	legs += "legs:\n"
	for i := range 64 {
		legs += fmt.Sprintf("  l%d: {from: h%d, to: load.p%d, length: 4 m, stiffness: 1 MN/m, wll: 3 t, cell: {channel: C%d, capacity: 3 t, accuracy: 0.1 %% fs}}\n", i, i, i, i)
	}
	l, err := lift.Read("grid", nil, []byte(text+legs))
	if err != nil {
		b.Fatal(err)
	}
	p, err := verdict.Check(l)
	if err != nil {
		b.Fatal(err)
	}
	e, err := watch.New(p, watch.Options{})
	if err != nil {
		b.Fatal(err)
	}
	b.ReportAllocs()
	b.ResetTimer()
	for n := range b.N {
		f := &reading.Frame{Source: "g", Arrived: reading.Seconds(float64(n) / 10)}
		for s := range 10 {
			at := float64(n)/10 + float64(s)/100
			for c := range 64 {
				f.Readings = append(f.Readings, reading.Reading{Channel: fmt.Sprintf("C%d", c), At: reading.Seconds(at), Marks: reading.Timed, Value: 9800 + 20*math.Sin(at*7+float64(c))})
			}
		}
		e.Apply(&logbook.Entry{N: uint64(2*n + 1), At: f.Arrived, Kind: logbook.Frame, Frame: f})
		e.Apply(&logbook.Entry{N: uint64(2*n + 2), At: f.Arrived, Kind: logbook.Tick})
	}
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/640, "ns/reading")
}

// BenchmarkPlayHour is an hour of four channels at 50 readings a second.
func BenchmarkPlayHour(b *testing.B) {
	p := plan(b, "filter-shell.yaml")
	channels := []string{"NW", "NE", "SE", "SW"}
	for range b.N {
		e, err := watch.New(p, watch.Options{})
		if err != nil {
			b.Fatal(err)
		}
		var f reading.Frame
		readings := make([]reading.Reading, 0, 4)
		err = watch.Play(e, func(yield func(*reading.Frame, error) bool) {
			for i := range 180000 {
				at := float64(i) / 50
				share := math.Min(1, math.Max(0, (at-20)/10)) * math.Min(1, math.Max(0, (3520-at)/15))
				f = reading.Frame{Source: "g", Arrived: reading.Seconds(at), Readings: readings[:0]}
				for k, c := range channels {
					f.Readings = append(f.Readings, reading.Reading{Channel: c, At: f.Arrived, Marks: reading.Timed, Value: share*(16900+100*float64(k)) + 20*math.Sin(12.5*at+float64(k*i))})
				}
				if !yield(&f, nil) {
					return
				}
			}
		}, func(alarm.Event) {})
		if err != nil {
			b.Fatal(err)
		}
		if r := e.Finish(); len(r.Phases) < 2 {
			b.Fatal(r.Phases)
		}
	}
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/720000, "ns/reading")
}
