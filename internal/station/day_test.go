package station_test

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"testing"
	"time"

	"plumbhook/internal/bus"
	"plumbhook/logbook"
	"plumbhook/reading"
	"plumbhook/record"
)

// TestDay writes a day of 16 channels at 50 readings a second into the folder
// that PLUMBHOOK_DAY names, recording and messages, for measuring how serve
// starts on it.
func TestDay(t *testing.T) {
	dir := os.Getenv("PLUMBHOOK_DAY")
	if dir == "" {
		t.Skip("PLUMBHOOK_DAY names no folder")
	}
	const channels, frames, samples = 16, 24 * 3600 * 10, 5 // 10 frames a second
	start := reading.At(time.Now().Add(-24 * time.Hour))
	rec, _, err := record.Open(filepath.Join(dir, "record"), record.Options{})
	if err != nil {
		t.Fatal(err)
	}
	f := reading.Frame{Source: "yard"}
	n := uint64(1)
	if err := rec.Append(&logbook.Entry{N: n, At: start, Kind: logbook.Plan, Text: pumpMotor(t).Lift.SHA256}); err != nil {
		t.Fatal(err)
	}
	for i := range frames {
		f.Arrived, f.Readings = start.Plus(0.1*float64(i+1)), f.Readings[:0]
		for c := range channels {
			for k := range samples {
				at := start.Plus(0.1*float64(i) + 0.02*float64(k))
				f.Readings = append(f.Readings, reading.Reading{
					Channel: fmt.Sprintf("C%d", c), At: at, Seq: uint64(i*samples + k), Marks: reading.Timed | reading.Numbered,
					Value: 12000 + float64((i*7+c*5+k*3)%211),
				})
			}
		}
		n++
		if err := rec.Append(&logbook.Entry{N: n, At: f.Arrived, Kind: logbook.Frame, Frame: &f}); err != nil {
			t.Fatal(err)
		}
		if n%1000 == 0 {
			if err := rec.Sync(context.Background()); err != nil {
				t.Fatal(err)
			}
		}
	}
	if err := rec.Close(); err != nil {
		t.Fatal(err)
	}

	b, err := bus.Open(context.Background(), bus.Options{Dir: dir, Listen: "127.0.0.1:0"})
	if err != nil {
		t.Fatal(err)
	}
	defer b.Close()
	body := fmt.Appendf(nil, `{"t": 1785067200.25, "dt": 0.02, "seq": 4711`)
	for c := range channels {
		body = fmt.Appendf(body, `, "C%d": [12.031, 12.035, 12.029, 12.044, 12.051]`, c)
	}
	body = append(body, '}')
	for sent := 0; sent < frames; sent += 1000 {
		for b.Health(context.Background()).Last+4000 < uint64(sent) {
			time.Sleep(5 * time.Millisecond)
		}
		for range 1000 {
			b.Keep(bus.Message{Gateway: "yard", Topic: "tele/yard/cells", Payload: body})
		}
	}
	for b.Health(context.Background()).Last < frames {
		time.Sleep(5 * time.Millisecond)
	}
}
