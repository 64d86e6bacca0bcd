package watch_test

import (
	"math"
	"reflect"
	"slices"
	"strings"
	"testing"

	"plumbhook/alarm"
	"plumbhook/internal/rehearse"
	"plumbhook/internal/testkit"
	"plumbhook/lift"
	"plumbhook/logbook"
	"plumbhook/reading"
	"plumbhook/verdict"
	"plumbhook/watch"
)

// rig is a two-leg lift with a tilt channel and a limit of it, and steps.
func rig(t *testing.T, more string) *verdict.Plan {
	t.Helper()
	l, err := lift.Read("rig.yaml", nil, []byte(`plumbhook: 1
title: Valve
site: {g: 9.81 m/s2}
limits: {tilt: 3 deg}
load:
  name: valve
  parts: [{name: valve, mass: 2000 kg ± 2 %, at: 0 0 0.5 m, from: tag}]
  size: 1 1 1 m
  at: 0 0 0 m
  lugs: {a: {at: -0.5 0 1 m}, b: {at: 0.5 0 1 m}}
hooks: {main: {wll: 5 t}}
legs:
  a: {from: main, to: load.a, length: 1.5 m, stiffness: 5 MN/m, wll: 2 t, cell: {channel: A, capacity: 2 t, accuracy: 0.1 % fs, zero: attached}}
  b: {from: main, to: load.b, length: 1.5 m, stiffness: 5 MN/m, wll: 2 t, cell: {channel: B, capacity: 2 t, accuracy: 0.1 % fs, zero: attached}}
channels: {lean: tilt}
`+more))
	if err != nil {
		t.Fatal(err)
	}
	p, err := verdict.Check(l)
	if err != nil {
		t.Fatal(err)
	}
	return p
}

// feed applies frames of both cells reading n, ten a second, and what else
// comes along, and hands on what is said.
func feed(e *watch.Engine, from, to, n float64, along func(f *reading.Frame)) (said []alarm.Event) {
	for i := int(10 * from); i < int(10*to); i++ {
		at := reading.Seconds(float64(i) / 10)
		f := &reading.Frame{Source: "test", Arrived: at}
		for k, ch := range []string{"A", "B"} {
			// A digit that flickers, as live cells do.
			f.Readings = append(f.Readings, reading.Reading{Channel: ch, At: at, Marks: reading.Timed, Value: n + 3*float64((i*(k+3))%4)})
		}
		if along != nil {
			along(f)
		}
		said = append(said, e.Apply(&logbook.Entry{At: at, Kind: logbook.Frame, Frame: f})...)
	}
	return said
}

func raised(said []alarm.Event, kind alarm.Kind) bool {
	return slices.ContainsFunc(said, func(e alarm.Event) bool { return e.Change == alarm.Raised && e.Kind == kind })
}

func engine(t *testing.T, p *verdict.Plan) *watch.Engine {
	t.Helper()
	e, err := watch.New(p, watch.Options{})
	if err != nil {
		t.Fatal(err)
	}
	return e
}

// A leg past its rating is told while the frame it came in is still gone
// through, before the course of the lift takes notice, and told again by Apply
// as the first of what that says.
func TestToldEarly(t *testing.T) {
	var early []alarm.Event
	var phase watch.Phase
	var e *watch.Engine
	e, err := watch.New(rig(t, ""), watch.Options{Early: func(said []alarm.Event) {
		early = append(early, said...)
		phase = e.View().Phase
	}})
	if err != nil {
		t.Fatal(err)
	}
	if feed(e, 0, 10, 0, nil); len(early) > 0 {
		t.Fatalf("an idle lift told %v", early)
	}
	said := feed(e, 10, 10.1, 40e3, func(f *reading.Frame) {
		for k := 1; k < 10; k++ {
			for _, ch := range []string{"A", "B"} {
				f.Readings = append(f.Readings, reading.Reading{Channel: ch, At: f.Arrived.Plus(float64(k) / 100), Marks: reading.Timed, Value: 40e3 + float64(k)})
			}
		}
	})
	if !raised(early, alarm.PartStop) || phase != watch.IdlePhase {
		t.Errorf("told early: %v, in phase %s", early, phase)
	}
	if len(said) < len(early) || !reflect.DeepEqual(said[:len(early)], early) {
		t.Errorf("Apply says %v, and %v before", said, early)
	}
	if now := e.View().Phase; now != watch.TakingLoad {
		t.Errorf("the lift is %s after the frame", now)
	}
}

// A battery that runs out and a radio that hardly reaches are told of; what is
// well is not, and what is not sent is not made up.
func TestHealth(t *testing.T) {
	for _, c := range []struct {
		signal, battery float64
		radio, low      bool
	}{
		{-60, 0.8, false, false},
		{-95, 0.8, true, false},
		{-60, 0.1, false, true},
		{math.NaN(), math.NaN(), false, false},
	} {
		e := engine(t, rig(t, ""))
		said := feed(e, 0, 8, 0, func(f *reading.Frame) {
			f.Health = []reading.Health{{Channel: "A", Signal: c.signal, Battery: c.battery}}
		})
		if got := raised(said, alarm.Radio); got != c.radio {
			t.Errorf("%v dBm: told of the radio %v", c.signal, got)
		}
		if got := raised(said, alarm.Battery); got != c.low {
			t.Errorf("battery at %v: told %v", c.battery, got)
		}
	}
}

// Tilt counts while the load is on the legs, either way, and only over its limit.
func TestTilt(t *testing.T) {
	for _, c := range []struct {
		deg, n float64
		want   bool
	}{
		{2.5, 8000, false},
		{3.6, 8000, true},
		{-3.6, 8000, true},
		{3.6, 0, false},
	} {
		e := engine(t, rig(t, ""))
		said := feed(e, 0, 5, 0, nil)
		said = append(said, feed(e, 5, 15, c.n, func(f *reading.Frame) {
			f.Readings = append(f.Readings, reading.Reading{Channel: "lean", At: f.Arrived, Marks: reading.Timed, Value: c.deg * math.Pi / 180})
		})...)
		if got := raised(said, alarm.TiltOver); got != c.want {
			t.Errorf("%.1f° with %.0f N on a leg: told %v", c.deg, c.n, got)
		}
	}
}

// A plan with steps is watched as first rigged, and the answer says so.
func TestSteps(t *testing.T) {
	for _, more := range []string{"", "steps: [{name: further, legs: {a: {length: 1.52 m}}}]\n"} {
		p := rig(t, more)
		e := engine(t, p)
		feed(e, 0, 6, 0, nil)
		feed(e, 6, 30, 11000, nil)
		r := e.Finish()
		if len(r.Causes) == 0 {
			t.Fatal("no answer")
		}
		if got := strings.Contains(r.Causes[0].Text, "as first rigged"); got != (more != "") {
			t.Errorf("%d steps: %q", len(p.Lift.Steps), r.Causes[0].Text)
		}
	}
}

// Where a load far too heavy comes up, the crew is stopped before a leg bears
// more than its rating, if the rise leaves more than a second and three readings.
func TestStopsInTime(t *testing.T) {
	testkit.Alone(t)
	t.Parallel()
	p := plan(t, "pump-motor.yaml")
	counted := 0
	for seed := range uint64(4) {
		r, err := rehearse.New(p.Lift, 600+seed, "heavier", rehearse.Options{Magnitude: 1.4, Rate: []float64{4, 10, 25}[seed%3]})
		if err != nil {
			t.Fatal(err)
		}
		e := engine(t, p)
		stop := math.Inf(1)
		if err := watch.Play(e, r.Frames(), func(ev alarm.Event) {
			if ev.Change == alarm.Raised && ev.Severity == alarm.Stop {
				stop = min(stop, ev.At.Since(0))
			}
		}); err != nil {
			t.Fatal(err)
		}
		s := &p.States[0]
		explained, over := math.Inf(1), math.Inf(1)
		for _, st := range r.Truth.Trace {
			for i := range s.Expected {
				x := &s.Expected[i]
				n := st.AtCells[x.Cell.Leg]
				if n > x.HighN {
					explained = min(explained, st.T)
				}
				if wll := weakest(p, x.Cell.Leg); n > wll {
					over = min(over, st.T)
				}
			}
		}
		if math.IsInf(over, 1) || over-explained < max(1, 3/r.Rate)+0.2 { // 0.2 s: how closely the truth is kept
			continue
		}
		counted++
		if stop > over {
			t.Errorf("seed %d (%s, %g a second): stop at %.2f s, over its rating at %.2f s, over the plan at %.2f s", r.Seed, r.Driver, r.Rate, stop, over, explained)
		}
	}
	if counted < 2 {
		t.Errorf("only %d lifts passed a rating slowly enough to be counted", counted)
	}
}

// weakest is the least rating of what a leg is made of, N.
func weakest(p *verdict.Plan, leg int) float64 {
	least := math.Inf(1)
	for i := range p.States[0].Parts {
		if x := &p.States[0].Parts[i]; strings.HasPrefix(x.Where, "legs."+p.Lift.Legs[leg].Name+".") && x.LimitN != nil {
			least = min(least, *x.LimitN*max(1, p.Dynamic))
		}
	}
	return least
}
