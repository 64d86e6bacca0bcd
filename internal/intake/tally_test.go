package intake_test

import (
	"context"
	"errors"
	"math"
	"testing"

	"plumbhook/internal/intake"
	"plumbhook/reading"
)

func TestTally(t *testing.T) {
	m := site(t)
	fails := false
	var kept []*reading.Frame
	tally := intake.NewTally(m, intake.SinkFunc(func(_ context.Context, f *reading.Frame) error {
		if fails {
			return errors.New("the disk is full")
		}
		kept = append(kept, f)
		return nil
	}))
	put := func(f *reading.Frame) error { return tally.Put(context.Background(), f) }
	w := func(seq uint64, at float64) reading.Reading {
		return reading.Reading{Channel: "W", Seq: seq, At: reading.Seconds(at), Marks: reading.Timed | reading.Numbered}
	}
	batch := &reading.Frame{Source: "yard", Arrived: reading.Seconds(102), Readings: []reading.Reading{w(1, 100), w(2, 101), w(5, 101.5)}}
	fails = true
	if put(batch) == nil {
		t.Error("a frame that is not kept is taken")
	}
	fails = false
	for _, f := range []*reading.Frame{
		batch,
		{Source: "yard", Arrived: reading.Seconds(103), Readings: []reading.Reading{w(5, 101.5), w(3, 101.2)}, Garbled: []string{"a", "b"}},
		{Source: "yard", Arrived: reading.Seconds(104), Readings: []reading.Reading{{Channel: "E", At: reading.Seconds(104)}}},
		{Source: "made up", Arrived: reading.Seconds(105), Garbled: []string{"who?"}},
	} {
		if err := put(f); err != nil {
			t.Fatal(err)
		}
	}
	tally.Up("plc")
	tally.Down("plc", errors.New("no route\x1b[31m"))
	tally.Refused("plc", "illegal data address")
	if len(kept) != 4 {
		t.Errorf("%d frames are kept", len(kept))
	}

	gs := tally.Gateways()
	if len(gs) != 6 || gs[5].Gateway != intake.Unknown || gs[5].Garbled != 1 {
		t.Fatalf("%+v", gs)
	}
	yard, plc := gs[0], gs[1]
	if yard.Frames != 3 || yard.Readings != 6 || yard.Garbled != 2 || yard.Unsaved != 1 || yard.Arrived != reading.Seconds(104) {
		t.Errorf("%+v", yard)
	}
	if yard.Behind != 0.5 {
		t.Errorf("the clock of yard is behind by %g s, want 0.5", yard.Behind)
	}
	if plc.Up || plc.Connects != 1 || plc.Why != "no route.[31m" || plc.Refused != 1 || !math.IsNaN(plc.Behind) {
		t.Errorf("%+v", plc)
	}
	cs := tally.Channels()
	if got, want := cs[0], (intake.ChannelCount{Channel: "W", Readings: 5, Duplicates: 1, Late: 1, Missing: 1}); got != want {
		t.Errorf("%+v, want %+v", got, want)
	}
	if got, want := cs[1], (intake.ChannelCount{Channel: "E", Readings: 1, AtLeastOnce: true}); got != want {
		t.Errorf("%+v, want %+v", got, want)
	}
}

func TestPrintable(t *testing.T) {
	var f reading.Frame
	for range 100 {
		intake.Garble(&f, "noise", "\x1b[2J\xff\nabc")
	}
	if len(f.Garbled) != 50 || f.Garbled[0] != "noise: .[2J..abc" || f.Garbled[49] != "more of this kind" {
		t.Errorf("%d lines, %q ... %q", len(f.Garbled), f.Garbled[0], f.Garbled[len(f.Garbled)-1])
	}
	long := make([]byte, 1000)
	if got := intake.Printable(string(long)); len(got) != 203 {
		t.Errorf("%d characters", len(got))
	}
}
