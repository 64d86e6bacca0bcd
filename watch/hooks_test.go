package watch_test

import (
	"fmt"
	"math"
	"os"
	"strings"
	"testing"

	"plumbhook/alarm"
	"plumbhook/crane"
	"plumbhook/internal/rehearse"
	"plumbhook/internal/testkit"
	"plumbhook/lift"
	"plumbhook/logbook"
	"plumbhook/reading"
	"plumbhook/verdict"
	"plumbhook/watch"
)

const tandem = "gate-two-cranes.yaml"

// otherwise is the tandem lift with words of its file replaced.
func otherwise(t *testing.T, replace ...string) *verdict.Plan {
	t.Helper()
	text, err := os.ReadFile("../examples/" + tandem)
	if err != nil {
		t.Fatal(err)
	}
	for i := 0; i < len(replace); i += 2 {
		if !strings.Contains(string(text), replace[i]) {
			t.Fatalf("the file has no %q", replace[i])
		}
	}
	l, err := lift.Read(tandem, nil, []byte(strings.NewReplacer(replace...).Replace(string(text))))
	if err != nil {
		t.Fatal(err)
	}
	p, err := verdict.Quick(l, nil)
	if err != nil {
		t.Fatal(err)
	}
	return p
}

// held has a watch on the plan read, for a time, what the cells read in another
// lift, pulled up from nothing first.
func held(t *testing.T, p *verdict.Plan, reads map[string]float64) (*watch.Engine, []alarm.Event) {
	t.Helper()
	e, err := watch.New(p, watch.Options{})
	if err != nil {
		t.Fatal(err)
	}
	var events []alarm.Event
	var n uint64
	for i := range 600 {
		s := float64(i) / 20
		f := reading.Frame{Arrived: reading.Seconds(s)}
		for k, x := range p.States[0].Expected {
			ripple := 15 * math.Sin(40*s+float64(k))
			f.Readings = append(f.Readings, reading.Reading{Channel: x.Channel, At: f.Arrived, Marks: reading.Timed, Value: math.Min(1, math.Max(0, (s-4)/6))*reads[x.Channel] + ripple})
		}
		n++
		events = append(events, e.Apply(&logbook.Entry{N: n, At: f.Arrived, Kind: logbook.Frame, Frame: &f})...)
		if i == 300 {
			n++
			e.Apply(&logbook.Entry{N: n, At: f.Arrived, Kind: logbook.Word, Who: "A. Rigger", Says: logbook.Daylight})
		}
	}
	return e, events
}

func readsIn(s *verdict.State) map[string]float64 {
	out := map[string]float64{}
	for _, x := range s.Expected {
		out[x.Channel] = x.NominalN
	}
	return out
}

func wasRaised(events []alarm.Event, kind alarm.Kind, where string) bool {
	for _, e := range events {
		if e.Change == alarm.Raised && e.Kind == kind && e.Where == where {
			return true
		}
	}
	return false
}

// A load whose centre lies elsewhere: each hook's load and share are what the
// lever rule gives for it, the plan being none the wiser.
func TestHookShares(t *testing.T) {
	p := plan(t, tandem)
	for _, at := range []float64{0.5, -0.4, 1.2} {
		truth := otherwise(t, "cg: 0.5 0 0 m ± 50 mm", fmt.Sprintf("cg: %g 0 0 m", at))
		e, events := held(t, p, readsIn(&truth.States[0]))
		h := truth.States[0].Hung
		_, east, err := crane.Supports([]crane.Weight{{At: at, N: h.WeightN}}, -3, 3)
		if err != nil {
			t.Fatal(err)
		}
		v := e.View()
		if len(v.Hooks) != 2 || v.Hooks[1].Name != "east" {
			t.Fatalf("hooks %+v", v.Hooks)
		}
		// Above the lugs hang legs and rings: of each side as much as the plan has
		// above its own lever rule.
		_, planned, _ := crane.Supports([]crane.Weight{{At: 0.5, N: h.WeightN}}, -3, 3)
		rigging := p.States[0].Hung.Hooks[1].LoadN - planned
		total := p.States[0].Hung.Hooks[0].LoadN + p.States[0].Hung.Hooks[1].LoadN
		testkit.Near(t, fmt.Sprintf("share of east, centre at %g", at), v.Hooks[1].Share, (east+rigging)/total, testkit.Tol{Abs: 0.002})
		sum := 0.0
		for i := range v.Hooks {
			k := &v.Hooks[i]
			testkit.Near(t, "load of "+k.Name, k.LoadN, h.Hooks[i].LoadN, testkit.Tol{Abs: k.LoadU95 + 40})
			sum += k.LoadN
		}
		testkit.Near(t, "both", sum, v.TotalN, testkit.Tol{Rel: 1e-3})
		if off := math.Abs(at-0.5) > 0.2; wasRaised(events, alarm.ShareOff, "hooks.east") != off {
			t.Errorf("centre at %g: share off is raised: %v", at, !off)
		}
	}
}

// A crane that stands too far out pulls aside. The legs under its hook tell by
// how much, within what is said of that, in the plane of the legs.
func TestOutOfPlumb(t *testing.T) {
	p := plan(t, tandem)
	for _, x := range []float64{-3, -3.4, -4, -2.5} {
		truth := otherwise(t, "west: {at: -3 0 18 m", fmt.Sprintf("west: {at: %g 0 18 m", x))
		e, events := held(t, p, readsIn(&truth.States[0]))
		v := e.View()
		for i := range v.Hooks {
			k := &v.Hooks[i]
			f := truth.States[0].Hung.Hooks[i].Force
			want := math.Atan2(f[0], -f[2])
			got := k.Plumb.Lean * k.Plumb.Toward[0]
			if k.Plumb.CannotTell != "" || !(math.Abs(got-want) <= k.Plumb.U95) || k.Plumb.U95 > 0.02 {
				t.Errorf("west crane at %g m: %s leans %.3f°, told %.3f ± %.3f° %s", x, k.Name, want*180/math.Pi, got*180/math.Pi, k.Plumb.U95*180/math.Pi, k.Plumb.CannotTell)
			}
		}
		if far := x == -4; far && !wasRaised(events, alarm.SidePull, "hooks.west") || x == -3 && wasRaised(events, alarm.SidePull, "hooks.west") {
			t.Errorf("west crane at %g m: side pull raised: %v", x, !far)
		}
	}
	// One leg on a hook says nothing of that.
	single := otherwise(t, "west-ring: {mass: 40 kg, wll: 9 t}\n", "", "  west: {from: west, to: west-ring, length: 12 m, stiffness: 12 MN/m, mass: 60 kg, wll: 9 t, edges: none, tag: legible}\n", "",
		"w1: {from: west-ring, to: load.w1, length: 2.6 m ± 3 mm", "w1: {from: west, to: load.w1, length: 14.6 m",
		"  w2: {from: west-ring, to: load.w2, length: 2.6 m ± 3 mm, stiffness: 9 MN/m, mass: 12 kg, wll: 5 t, edges: none, tag: legible, cell: {channel: W2, capacity: 5 t, accuracy: 0.1 % fs, zero: hung}}\n", "")
	e, _ := held(t, single, readsIn(&single.States[0]))
	for _, k := range e.View().Hooks {
		if why := k.Plumb.CannotTell; k.Name == "west" && !strings.Contains(why, "not which way") || k.Name == "east" && !strings.Contains(why, "another hook") {
			t.Errorf("%s: %+v", k.Name, k.Plumb)
		}
	}
	// Nor does anything under a single hook.
	one := plan(t, "pump-motor.yaml")
	e, _ = held(t, one, readsIn(&one.States[0]))
	if k := e.View().Hooks; len(k) != 1 || !strings.Contains(k[0].Plumb.CannotTell, "one hook") || math.Abs(k[0].Share-1) > 1e-9 {
		t.Errorf("one hook: %+v", k)
	}
}

// Limits of a hook: the file's own, its rating, what its crane may carry.
func TestHookLimits(t *testing.T) {
	for name, c := range map[string]struct {
		replace []string
		kind    alarm.Kind
		where   string
	}{
		"as planned": {nil, "", ""},
		"warn":       {[]string{"east: {warn: 60 kN, stop: 66 kN}", "east: {warn: 48 kN, stop: 66 kN}"}, alarm.HookWarn, "hooks.east"},
		"stop":       {[]string{"east: {warn: 60 kN, stop: 66 kN}", "east: {stop: 48 kN}"}, alarm.HookStop, "hooks.east"},
		"rating":     {[]string{"east: {at: 3 0 16 m, wll: 9 t}", "east: {at: 3 0 16 m, wll: 4.9 t}"}, alarm.HookStop, "hooks.east rating"},
	} {
		p := otherwise(t, c.replace...)
		_, events := held(t, p, readsIn(&p.States[0]))
		for _, k := range []alarm.Kind{alarm.HookStop, alarm.HookWarn} {
			for _, w := range []string{"hooks.east", "hooks.east rating", "hooks.west"} {
				if got, want := wasRaised(events, k, w), k == c.kind && w == c.where; got != want {
					t.Errorf("%s: %s %s raised: %v", name, k, w, got)
				}
			}
		}
	}
	l, err := lift.Read("../examples/two-cranes.yaml", os.DirFS("../examples"), func() []byte {
		text, err := os.ReadFile("../examples/two-cranes.yaml")
		if err != nil {
			t.Fatal(err)
		}
		return []byte(strings.NewReplacer("west: {at: -3 0 8 m, wll: 12 t}", "west: {at: -3 0 8 m}", "wll: 8 t, edges: none, tag: legible}\n  east: {from", "wll: 8 t, edges: none, tag: legible, cell: {channel: W, capacity: 10 t, accuracy: 0.1 % fs}}\n  east: {from",
			"wll: 8 t, edges: none, tag: legible}\ncrane", "wll: 8 t, edges: none, tag: legible, cell: {channel: E, capacity: 10 t, accuracy: 0.1 % fs}}\ncrane").Replace(string(text)))
	}())
	if err != nil {
		t.Fatal(err)
	}
	p, err := verdict.Quick(l, nil)
	if err != nil {
		t.Fatal(err)
	}
	m := &p.States[0].Machines[0]
	e, _ := held(t, p, readsIn(&p.States[0]))
	h := e.View().Hooks[0]
	testkit.Near(t, "what the crane leaves the hook", h.StopN, *m.Part.ReducedN-(m.GrossN-m.Lines[0].N), testkit.Tol{Rel: 1e-12})
	if h.StopWhy != "what its crane may carry" {
		t.Errorf("%+v", h)
	}
}

// In a virtual lift with its own mechanics the peaks of both hooks are those of
// the legs that hang on them.
func TestHooksAgainstTruth(t *testing.T) {
	p := plan(t, tandem)
	r, err := rehearse.New(p.Lift, 3, "as_planned", rehearse.Options{Rate: 20, Clean: true})
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
	for i, k := range e.View().Hooks {
		// The falls are the first two legs of the file.
		testkit.Near(t, "peak of hook "+k.Name, k.PeakN, r.Truth.Peaks[i], testkit.Tol{Rel: 0.02, Abs: k.LoadU95})
	}
}
