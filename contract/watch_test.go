package contract_test

import (
	"bytes"
	"encoding/json"
	"flag"
	"math"
	"os"
	"reflect"
	"slices"
	"testing"
	"time"

	"plumbhook/alarm"
	"plumbhook/contract"
	"plumbhook/infer"
	"plumbhook/logbook"
	"plumbhook/reading"
	"plumbhook/watch"
)

var update = flag.Bool("update", false, "write the golden files")

// view is a lift held down, with one cell in order, one lost and one that has
// never read.
func view() watch.View {
	at := reading.At(time.Date(2026, 5, 4, 9, 12, 0, 250e6, time.UTC))
	nan, inf := math.NaN(), math.Inf(1)
	held := alarm.Alarm{Key: alarm.Key{Kind: alarm.HeldDown}, Present: true, LastValue: 50100, Event: alarm.Event{
		At: at.Plus(-3), Change: alarm.Raised, Kind: alarm.HeldDown, Severity: alarm.Stop, Value: 50200, Limit: 46000, Text: "It is held down. Stop. Slack off.",
	}}
	lost := alarm.Alarm{Key: alarm.Key{Kind: alarm.Lost, Where: "E"}, Present: true, Seen: "B. Banks", SeenAt: at.Plus(-1), Event: alarm.Event{
		At: at.Plus(-2), Change: alarm.Raised, Kind: alarm.Lost, Severity: alarm.Stop, Where: "E", Value: 4.2, Text: "E has said nothing for 4 s. Stop. Slack off.",
	}}
	return watch.View{
		At: at, N: 4711, State: watch.StopNow, Do: held.Text, Phase: watch.HeldDown, Since: 3.5,
		TotalN: 50100, TotalU: 130, LoadN: 44000, LoadU95: nan, AtLeast: true, Guessed: true, StopN: 55000, Used: 0.93, AgeS: 5.1,
		CG: [3]float64{0.02, nan, 0.8},
		Cells: []watch.CellView{
			{
				Channel: "W", Leg: "west", Quality: watch.Good, AgeS: 0.05, ReadN: 25000, GrossN: 25100, NetN: 24900, SlowN: 24990, PeakN: 25300,
				PlanLow: 22000, PlanN: 22500, PlanHigh: 23000, StopN: 27000, WarnN: inf, Used: 0.926, Share: 0.5, PlanShare: 0.49, RateN: 120, LeftS: 16.7,
				Got: 900, Late: 1, Twice: 2, Bad: 3, Missed: 4, Signal: -71, Battery: 0.8, PeriodS: 0.1, ErrorN: 65,
			},
			{
				Channel: "E", Leg: "east", Quality: watch.Lost, AgeS: 5.1, ReadN: 25100, GrossN: 25200, NetN: 25000, SlowN: 25000, PeakN: 25200, AtLeast: true,
				PlanLow: 22000, PlanN: 23000, PlanHigh: 23500, StopN: inf, WarnN: inf, LeftS: inf, Got: 90, Signal: nan, Battery: nan, PeriodS: 0.5, ErrorN: 65,
				Estimate: true, EstimateLowN: 24000, EstimateHighN: 26000,
			},
			{Channel: "N", Leg: "north", Quality: watch.Never, ReadN: nan, GrossN: nan, NetN: nan, PlanN: 1000, StopN: 2000, WarnN: inf, LeftS: inf, Signal: nan, Battery: nan},
		},
		Extras: []watch.ExtraView{{Name: "travel", Kind: "hook height", Value: 3.2, AgeS: 0.4}, {Name: "wind", Kind: "wind speed", Value: nan, AgeS: 1e9}},
		Alarms: []alarm.Alarm{held, lost},
		Passed: []watch.Passed{{Phase: watch.IdlePhase, FromS: 0, ToS: 60}, {Phase: watch.HeldDown, FromS: 60}},
		Says:   []infer.Cause{{Name: "held_down", Probability: 0.9, SameAs: []string{"heavier"}, Text: "Something holds the load."}},
		Tell:   "Set down and slack off.",
		Tares: []watch.Tared{
			{At: at.Plus(-50), Kind: logbook.Hung, Who: "A. Rigger", OffN: []float64{12, -3, nan}},
			{At: at.Plus(-9), Kind: logbook.Attached, Who: "A. Rigger", OffN: []float64{0, 0, 0}, Refused: "W: it bears load"},
		},
		Words: []watch.Word{{At: at.Plus(-40), Who: "A. Rigger", Says: logbook.Freed}},
		Away:  []watch.Away{{From: at.Plus(-30), To: at.Plus(-28)}}, Garbled: 2, Unknown: map[string]int{"X9": 7}, AtRisk: "The disk is full.",
	}
}

var unit = contract.WatchUnit{Readout: contract.Readout{Unit: "kN", NewtonsPer: 1000}, Step: 0.1, Decimals: 1}

// The shape is a promise: a change of it shows up here.
func TestWatchGolden(t *testing.T) {
	v := view()
	type golden struct {
		View  contract.Watch      `json:"view"`
		Event contract.WatchEvent `json:"event"`
		Tilt  contract.WatchEvent `json:"event_without_force"`
	}
	got, err := json.MarshalIndent(golden{
		contract.NewWatch(&v, unit), contract.NewEvent(&v.Alarms[0].Event),
		contract.NewEvent(&alarm.Event{At: v.At, Change: alarm.Cleared, Kind: alarm.TiltOver, Severity: alarm.Stop, Value: 0.06, Limit: 0.05, Who: "A. Rigger"}),
	}, "", "  ")
	if err != nil {
		t.Fatal(err)
	}
	const path = "testdata/watch.golden.json"
	if *update {
		if err := os.WriteFile(path, append(got, '\n'), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if !bytes.Equal(bytes.TrimSpace(want), got) {
		t.Errorf("the shape has changed; if that is meant: go test ./contract -update\n%s", got)
	}
}

// Whatever number is missing, there is an answer, and it has no null list.
func TestWatchWithoutNumbers(t *testing.T) {
	// Differences of finite times, and what stands in the plan.
	sure := []string{"Since", "PeriodS", "PlanLow", "PlanN", "PlanHigh", "PlanShare"}
	for _, x := range []float64{math.NaN(), math.Inf(1), math.Inf(-1)} {
		for _, of := range []any{&watch.View{}, &watch.CellView{}, &watch.ExtraView{}, &alarm.Alarm{}} {
			shape := reflect.TypeOf(of).Elem()
			for i := range shape.NumField() {
				v := view()
				for _, at := range []reflect.Value{reflect.ValueOf(&v).Elem(), reflect.ValueOf(&v.Cells[0]).Elem(), reflect.ValueOf(&v.Extras[0]).Elem(), reflect.ValueOf(&v.Alarms[0]).Elem()} {
					if f := shape.Field(i); at.Type() == shape && f.Type.Kind() == reflect.Float64 && f.IsExported() && !slices.Contains(sure, f.Name) {
						at.Field(i).SetFloat(x)
					}
				}
				w := contract.NewWatch(&v, unit)
				filled(t, shape.Field(i).Name, reflect.ValueOf(w))
				object(t, w)
			}
		}
	}
	empty := contract.NewWatch(&watch.View{TotalN: math.NaN(), StopN: math.Inf(1)}, unit)
	filled(t, "empty", reflect.ValueOf(empty))
	object(t, empty)
}

// A number that has never been read is no number, not zero.
func TestWatchNeverRead(t *testing.T) {
	v := view()
	c := contract.NewWatch(&v, unit).Cells[2]
	for name, p := range map[string]*float64{"age": c.AgeS, "read": c.ReadN, "gross": c.GrossN, "net": c.NetN, "peak": c.PeakN, "used": c.Used, "share": c.Share, "rate": c.RateN} {
		if p != nil {
			t.Errorf("%s is %g", name, *p)
		}
	}
}

func TestUnitStep(t *testing.T) {
	p := check(t, "../examples/pump-motor.yaml") // cells of 6.5 t, 0.1 % fs: 63.7 N
	for _, c := range []struct {
		unit     string
		per      float64
		step     float64
		decimals int
	}{
		{"kN", 1000, 0.1, 1},
		{"N", 1, 100, 0},
		{"t", 9806.65, 0.01, 2},
		{"lbf", 4.4482216152605, 20, 0},
	} {
		u := contract.NewUnit(p, contract.Readout{Unit: c.unit, NewtonsPer: c.per})
		if math.Abs(u.Step-c.step) > 1e-12*c.step || u.Decimals != c.decimals {
			t.Errorf("%s: step %g with %d decimals, want %g with %d", c.unit, u.Step, u.Decimals, c.step, c.decimals)
		}
	}
}
