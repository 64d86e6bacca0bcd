package server

import (
	"context"
	"fmt"
	"io"
	"log/slog"
	"math"
	"os"
	"path/filepath"
	"sync"
	"testing"
	"time"

	"plumbhook/alarm"
	"plumbhook/contract"
	"plumbhook/infer"
	"plumbhook/lift"
	"plumbhook/logbook"
	"plumbhook/reading"
	"plumbhook/verdict"
	"plumbhook/watch"
)

// motor is the plan of an example.
var motor = sync.OnceValues(func() (*verdict.Plan, error) {
	const path = "../../examples/pump-motor.yaml"
	data, err := os.ReadFile(path)
	if err != nil {
		return nil, err
	}
	l, err := lift.Read(filepath.Base(path), os.DirFS(filepath.Dir(path)), data)
	if err != nil {
		return nil, err
	}
	return verdict.Check(l)
})

// fake is a station that shows what it is given.
type fake struct {
	plan *verdict.Plan

	mu      sync.Mutex
	view    watch.View
	entered []logbook.Entry
	fails   error
	status  Status
	news    map[chan Update]struct{}
	watched int // calls of Watch so far
}

func newFake(tb testing.TB, v watch.View) *fake {
	tb.Helper()
	p, err := motor()
	if err != nil {
		tb.Fatal(err)
	}
	return &fake{plan: p, view: v, news: map[chan Update]struct{}{}}
}

func (f *fake) View() watch.View {
	f.mu.Lock()
	defer f.mu.Unlock()
	return f.view
}

func (f *fake) Plan() *verdict.Plan { return f.plan }

func (f *fake) Status() Status {
	f.mu.Lock()
	defer f.mu.Unlock()
	return f.status
}

func (f *fake) Watch(ctx context.Context) <-chan Update {
	c := make(chan Update, 16)
	f.mu.Lock()
	defer f.mu.Unlock()
	f.news[c] = struct{}{}
	f.watched++
	context.AfterFunc(ctx, func() {
		f.mu.Lock()
		defer f.mu.Unlock()
		if _, ok := f.news[c]; ok {
			delete(f.news, c)
			close(c)
		}
	})
	return c
}

// end is the watch ending.
func (f *fake) end() {
	f.mu.Lock()
	defer f.mu.Unlock()
	for c := range f.news {
		close(c)
	}
	clear(f.news)
}

// tell sends events and the view, with the time at which it is true.
func (f *fake) tell(events ...alarm.Event) {
	f.mu.Lock()
	defer f.mu.Unlock()
	f.view.At = reading.At(time.Now())
	f.view.N++
	v := f.view
	for c := range f.news { // under the lock: nobody closes it meanwhile
		c <- Update{Events: events, View: &v}
	}
}

// Enter does the least that an engine would.
func (f *fake) Enter(_ context.Context, e logbook.Entry) error {
	f.mu.Lock()
	defer f.mu.Unlock()
	f.entered = append(f.entered, e)
	alarms := append([]alarm.Alarm(nil), f.view.Alarms...)
	for i := range alarms {
		a := &alarms[i]
		if a.Key.String() != e.Alarm {
			continue
		}
		if e.Kind == logbook.Ack {
			a.Seen, a.SeenAt = e.Who, f.view.At
		} else if e.Kind == logbook.Clear && !a.Present {
			alarms = append(alarms[:i], alarms[i+1:]...)
		}
		break
	}
	f.view.Alarms = alarms
	if e.Kind == logbook.Tare {
		t := watch.Tared{At: f.view.At, Kind: e.Tare, Who: e.Who, Insists: e.Insists, OffN: []float64{12, -3}}
		if f.view.Phase != watch.IdlePhase && !e.Insists {
			t.Refused = "W: it bears load"
		}
		f.view.Tares = append(f.view.Tares, t)
	}
	return f.fails
}

var kN = contract.Readout{Unit: "kN", NewtonsPer: 1000}

func quiet() *slog.Logger { return slog.New(slog.NewTextHandler(io.Discard, nil)) }

// hanging is the motor in the air, as planned.
func hanging() watch.View {
	inf := math.Inf(1)
	cell := func(channel, leg string, n, plan float64) watch.CellView {
		return watch.CellView{
			Channel: channel, Leg: leg, Quality: watch.Good, AgeS: 0.1, ReadN: n, GrossN: n + 100, NetN: n, SlowN: n, PeakN: n + 900,
			PlanLow: plan - 1200, PlanN: plan, PlanHigh: plan + 1200, StopN: 34300, WarnN: inf, Used: n / 34300, Share: 0.5, PlanShare: 0.5,
			LeftS: inf, Got: 900, Signal: -60, Battery: 0.8, PeriodS: 0.1, ErrorN: 64,
		}
	}
	return watch.View{
		At: reading.At(time.Now()), N: 1, State: watch.WithinPlan, Phase: watch.Suspended, Since: 41,
		TotalN: 44410, TotalU: 128, LoadN: 43620, LoadU95: 310, StopN: 55000, Used: 44410.0 / 55000, AgeS: 0.1,
		Cells:  []watch.CellView{cell("W", "west", 24360, 24500), cell("E", "east", 27450, 27300)},
		Passed: []watch.Passed{{Phase: watch.IdlePhase, ToS: 60}, {Phase: watch.Suspended, FromS: 60, Evidence: "it bounces on the rope"}},
		Says:   []infer.Cause{{Name: "as_planned", Probability: 0.97, Text: "It hangs as planned."}},
	}
}

// raise puts an alarm on a view.
func raise(v *watch.View, kind alarm.Kind, where, text string, present bool) {
	s := alarm.Of(kind)
	v.Alarms = append(v.Alarms, alarm.Alarm{Key: alarm.Key{Kind: kind, Where: where}, Present: present, Event: alarm.Event{
		At: v.At, Change: alarm.Raised, Kind: kind, Severity: s.Severity, Where: where, Value: 35100, Limit: 34300, Text: text,
	}})
	if s.Severity == alarm.Stop {
		v.State = watch.StopNow
	} else if v.State == watch.WithinPlan {
		v.State = watch.Attention
	}
	if v.Do == "" {
		v.Do = text
	}
}

// tight is the load on the ground with the legs pulling.
func tight() watch.View {
	v := hanging()
	v.Phase, v.Since, v.AtLeast, v.LoadN, v.LoadU95 = watch.TakingLoad, 6.2, true, 38200, math.NaN()
	v.TotalN, v.Used = 39000, 39000.0/55000
	v.Passed = []watch.Passed{{Phase: watch.IdlePhase, ToS: 60}, {Phase: watch.TakingLoad, FromS: 60}}
	v.Says, v.Tell = []infer.Cause{{Name: "cannot_tell", Text: "Nothing proves yet that the load is free."}}, "Look for daylight all round and say so."
	raise(&v, alarm.NotFree, "", "The force has stopped rising and nothing proves that it hangs. Do not lift on. Look for daylight all round and say so.", true)
	return v
}

// held is the load held down, past a leg's stop.
func held() watch.View {
	v := tight()
	v.State, v.Do, v.Alarms = watch.WithinPlan, "", nil
	v.Phase, v.TotalN, v.LoadN, v.Used = watch.HeldDown, 57200, 56000, 1.05
	e := &v.Cells[1]
	e.ReadN, e.PeakN, e.Used, e.RateN, e.LeftS = 35100, 35400, 35100.0/34300, 900, math.Inf(1)
	v.Says, v.Tell = []infer.Cause{{Name: "held_down", Text: "Something holds the load: a bolt, a pipe, suction."}}, "Slack off and look."
	raise(&v, alarm.LegStop, "E", "E reads 35.1 kN, stop is 34.3 kN. Stop. Slack off.", true)
	raise(&v, alarm.Shock, "", "The hooks went from 44.1 kN to 57.2 kN at once. Stop. Slack off. Look at the gear.", false)
	return v
}

// blind is the motor in the air with one cell lost and another late.
func blind() watch.View {
	v := hanging()
	v.Cells[1].Quality, v.Cells[1].AgeS, v.AgeS, v.Guessed = watch.Lost, 5.2, 5.2, true
	v.Cells[1].Estimate, v.Cells[1].EstimateLowN, v.Cells[1].EstimateHighN = true, 25900, 28800
	v.State, v.Do = watch.NoReading, "E has said nothing for 5 s. Hold still until it reads again."
	return v
}

// idle is before the lift.
func idle() watch.View {
	v := hanging()
	v.Phase, v.TotalN, v.LoadN, v.Used, v.Says = watch.IdlePhase, 420, 0, 0.01, nil
	v.Passed = []watch.Passed{{Phase: watch.IdlePhase}}
	for i := range v.Cells {
		c := &v.Cells[i]
		c.ReadN, c.PeakN, c.Used = 30, 60, 0.001
	}
	return v
}

// crowd is a view with many channels.
func crowd(n int) watch.View {
	v := hanging()
	one := v.Cells[0]
	v.Cells = nil
	for i := range n {
		one.Channel, one.Leg = fmt.Sprintf("C%02d", i), fmt.Sprintf("leg %02d", i)
		v.Cells = append(v.Cells, one)
	}
	return v
}
