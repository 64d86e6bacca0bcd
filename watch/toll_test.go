package watch_test

import (
	"encoding/json"
	"math"
	"strings"
	"testing"

	"plumbhook/alarm"
	"plumbhook/internal/rehearse"
	"plumbhook/internal/testkit"
	"plumbhook/logbook"
	"plumbhook/reading"
	"plumbhook/watch"
)

// What the legs bore at most by the toll is what they bore in the virtual lift,
// which has its own mechanics: legs with a cell within its error and ripple, a
// leg without one within what is said of it.
func TestTollAgainstTruth(t *testing.T) {
	p := plan(t, "pump-motor.yaml")
	for _, rate := range []float64{50, 3} {
		r, err := rehearse.New(p.Lift, 5, "as_planned", rehearse.Options{Rate: rate, Clean: true})
		if err != nil {
			t.Fatal(err)
		}
		e, err := watch.New(p, watch.Options{})
		if err != nil {
			t.Fatal(err)
		}
		if err := watch.Play(e, r.Frames(), func(alarm.Event) {}); err != nil {
			t.Fatal(err)
		}
		toll := e.Toll()
		if toll.Lifts != 1 || toll.Shocks != 0 || !(toll.HookS > 20 && toll.HookS < r.Length) {
			t.Errorf("at %g /s: %d lifts, %d shocks, %.0f s on the hook of %.0f s", rate, toll.Lifts, toll.Shocks, toll.HookS, r.Length)
		}
		seen := 0
		for _, b := range toll.Parts {
			leg, entry, _ := strings.Cut(b.Where, ".stack")
			for i := range p.Lift.Legs {
				if leg != "legs."+p.Lift.Legs[i].Name {
					continue
				}
				seen++
				if b.AtLeast != (rate < 10) {
					t.Errorf("at %g /s %s: at least is %v (%s)", rate, b.Where, b.AtLeast, b.Why)
				}
				tol := 0.015*r.Truth.Peaks[i] + b.U95N
				if d := b.PeakN - r.Truth.Peaks[i]; rate > 10 && math.Abs(d) > tol || d > tol {
					t.Errorf("at %g /s %s%s bore %.0f N, in truth %.0f", rate, leg, entry, b.PeakN, r.Truth.Peaks[i])
				}
				if b.Channel != "" && len(b.Cycles) == 0 {
					t.Errorf("%s has no cycles", b.Where)
				}
			}
		}
		if seen < len(p.Lift.Legs) {
			t.Errorf("only %d parts of legs", seen)
		}
	}
}

// A zero pressed later, or a watch that was away, takes nothing of what was
// borne before; with load on the hooks meanwhile it is a least value from then on.
func TestTollOutlives(t *testing.T) {
	p := plan(t, "pump-motor.yaml")
	e, err := watch.New(p, watch.Options{})
	if err != nil {
		t.Fatal(err)
	}
	var n uint64
	apply := func(e *watch.Engine, en logbook.Entry) {
		n++
		en.N = n
		e.Apply(&en)
	}
	course := func(e *watch.Engine, from, to float64, read func(s float64) float64) {
		for s := from; s < to; s += 0.05 {
			f := reading.Frame{Arrived: reading.Seconds(s)}
			for _, x := range p.States[0].Expected {
				f.Readings = append(f.Readings, reading.Reading{Channel: x.Channel, At: f.Arrived, Marks: reading.Timed, Value: read(s)})
			}
			apply(e, logbook.Entry{At: f.Arrived, Kind: logbook.Frame, Frame: &f})
		}
	}
	wave := func(s float64) float64 { return 10 * math.Sin(50*s) }
	course(e, 0, 5, wave)
	course(e, 5, 15, func(s float64) float64 { return 25000*math.Min(1, (s-5)/5) + wave(s) })
	peak := func(e *watch.Engine) watch.Borne {
		for _, b := range e.Toll().Parts {
			if b.Channel == "W" {
				return b
			}
		}
		t.Fatal("no part goes by W")
		return watch.Borne{}
	}
	before := peak(e)
	if before.AtLeast || before.PeakN < 25000 {
		t.Fatalf("before: %+v", before)
	}
	again, err := watch.New(p, watch.Options{})
	if err != nil {
		t.Fatal(err)
	}
	apply(again, logbook.Entry{At: reading.Seconds(40), Since: reading.Seconds(15), Kind: logbook.Restart, Text: e.State()})
	course(again, 40, 45, wave)
	apply(again, logbook.Entry{At: reading.Seconds(45), Kind: logbook.Tare, Tare: logbook.Hung, Who: "A. Rigger"})
	course(again, 45, 50, wave)
	after := peak(again)
	testkit.Near(t, "the peak after", after.PeakN, before.PeakN, testkit.Tol{Rel: 1e-9})
	if !after.AtLeast || !strings.Contains(after.Why, "away") {
		t.Errorf("after: %+v", after)
	}
	if l := again.Toll().Lifts; l != 1 {
		t.Errorf("%d lifts after, want 1", l)
	}
	var state struct{ Toll struct{ HookS float64 } }
	if err := json.Unmarshal([]byte(e.State()), &state); err != nil || state.Toll.HookS < 8 {
		t.Errorf("state %+v, %v", state, err)
	}
}
