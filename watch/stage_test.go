package watch_test

import (
	"math"
	"strings"
	"testing"

	"plumbhook/alarm"
	"plumbhook/internal/testkit"
	"plumbhook/logbook"
	"plumbhook/reading"
	"plumbhook/watch"
)

// A named person takes the watch to the next step: what it must read, shares,
// limits and what it looks like follow, the load stays what it is, and a restart
// goes on from there.
func TestStages(t *testing.T) {
	p := plan(t, tandem)
	const step = "east corner first"
	run := func(says bool) (*watch.Engine, []alarm.Event, func(*watch.Engine, float64, float64)) {
		e, err := watch.New(p, watch.Options{})
		if err != nil {
			t.Fatal(err)
		}
		var events []alarm.Event
		var n uint64
		apply := func(e *watch.Engine, en logbook.Entry) {
			n++
			en.N = n
			events = append(events, e.Apply(&en)...)
		}
		first, then := readsIn(&p.States[0]), readsIn(&p.States[1])
		feed := func(e *watch.Engine, from, to float64) {
			for s := from; s < to; s += 0.05 {
				f := reading.Frame{Arrived: reading.Seconds(s)}
				for k, x := range p.States[0].Expected {
					up := math.Min(1, math.Max(0, (s-4)/6))
					over := math.Min(1, math.Max(0, (s-30)/10))
					v := up*((1-over)*first[x.Channel]+over*then[x.Channel]) + 15*math.Sin(40*s+float64(k))
					f.Readings = append(f.Readings, reading.Reading{Channel: x.Channel, At: f.Arrived, Marks: reading.Timed, Value: v})
				}
				apply(e, logbook.Entry{At: f.Arrived, Kind: logbook.Frame, Frame: &f})
			}
		}
		feed(e, 0, 15)
		apply(e, logbook.Entry{At: reading.Seconds(15), Kind: logbook.Word, Who: "A. Rigger", Says: logbook.Daylight})
		feed(e, 15, 40)
		if says {
			apply(e, logbook.Entry{At: reading.Seconds(40), Kind: logbook.Word, Who: "A. Rigger", Says: logbook.Moved, Text: step})
		}
		events = nil
		feed(e, 40, 75)
		return e, events, feed
	}
	e, events, feed := run(true)
	v := e.View()
	if v.Step != step || len(v.Stages) != 2 || v.Stages[1].Why != "" {
		t.Fatalf("at %q of %+v", v.Step, v.Stages)
	}
	for i := range v.Cells {
		testkit.Near(t, "what "+v.Cells[i].Channel+" must read", v.Cells[i].PlanN, p.States[1].Expected[i].NominalN, testkit.Tol{Rel: 1e-9})
	}
	h := p.States[1].Hung
	testkit.Near(t, "share of east", v.Hooks[1].Share, h.Hooks[1].LoadN/(h.Hooks[0].LoadN+h.Hooks[1].LoadN), testkit.Tol{Abs: 0.003})
	testkit.Near(t, "planned share", v.Hooks[1].PlanShare, h.Hooks[1].LoadN/(h.Hooks[0].LoadN+h.Hooks[1].LoadN), testkit.Tol{Abs: 1e-9})
	if wasRaised(events, alarm.ShareOff, "hooks.east") || v.State == watch.StopNow {
		t.Errorf("%s: %+v", v.State, v.Alarms)
	}
	testkit.Near(t, "weight", v.LoadN, h.WeightN, testkit.Tol{Rel: 0.01})
	if len(v.Says) == 0 || v.Says[0].Name != "as_planned" || !strings.Contains(v.Says[0].Text, step) {
		t.Errorf("it looks like %+v", v.Says)
	}
	if w := v.Words[len(v.Words)-1]; w.Says != logbook.Moved || w.Step != step || w.Who != "A. Rigger" {
		t.Errorf("%+v", v.Words)
	}
	// Without the word the same readings are not as planned.
	stands := func(e *watch.Engine) bool {
		for _, a := range e.View().Alarms {
			if a.Kind == alarm.ShareOff && a.Where == "hooks.east" {
				return true
			}
		}
		return false
	}
	if other, _, _ := run(false); !stands(other) || stands(e) || other.View().Step != "" {
		t.Errorf("unsaid, at %q: %+v", other.View().Step, other.View().Alarms)
	}
	again, err := watch.New(p, watch.Options{})
	if err != nil {
		t.Fatal(err)
	}
	again.Apply(&logbook.Entry{N: 1, At: reading.Seconds(80), Since: reading.Seconds(75), Kind: logbook.Restart, Text: e.State()})
	feed(again, 80, 85)
	if v := again.View(); v.Step != step || math.Abs(v.Cells[0].PlanN-p.States[1].Expected[0].NominalN) > 1e-6 {
		t.Errorf("after a restart it is at %q", v.Step)
	}
	// A step that the plan does not have changes nothing.
	again.Apply(&logbook.Entry{N: 9999, At: reading.Seconds(90), Kind: logbook.Word, Who: "A. Rigger", Says: logbook.Moved, Text: "nowhere"})
	if again.View().Step != step {
		t.Error("it went to a step that is none")
	}
}
