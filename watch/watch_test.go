package watch_test

import (
	"fmt"
	"math"
	"os"
	"slices"
	"sync"
	"testing"

	"plumbhook/alarm"
	"plumbhook/internal/rehearse"
	"plumbhook/internal/testkit"
	"plumbhook/lift"
	"plumbhook/verdict"
	"plumbhook/watch"
)

// plans keeps what takes long to work out, for tests that run beside each other.
var plans sync.Map

func know(path string) func() (*verdict.Plan, error) {
	work := sync.OnceValues(func() (*verdict.Plan, error) {
		data, err := os.ReadFile(path)
		if err != nil {
			return nil, err
		}
		l, err := lift.Read(path, nil, data)
		if err != nil {
			return nil, err
		}
		return verdict.Check(l)
	})
	known, _ := plans.LoadOrStore(path, work)
	return known.(func() (*verdict.Plan, error))
}

// path is that of an example, or of a lift made for rehearsals.
func path(file string) string {
	if _, err := os.Stat("../examples/" + file); err == nil {
		return "../examples/" + file
	}
	return "../internal/rehearse/testdata/" + file
}

func plan(t testing.TB, file string) *verdict.Plan {
	t.Helper()
	p, err := know(path(file))()
	if err != nil {
		t.Fatal(err)
	}
	return p
}

// played is a rehearsed lift gone through.
type played struct {
	run    *rehearse.Run
	res    watch.Result
	events []alarm.Event
}

func (p *played) first(s alarm.Severity) *alarm.Event {
	for i := range p.events {
		if e := &p.events[i]; e.Change == alarm.Raised && e.Severity == s {
			return e
		}
	}
	return nil
}

func (p *played) from(phase watch.Phase) float64 {
	for _, x := range p.res.Phases {
		if x.Phase == phase {
			return x.FromS
		}
	}
	return math.NaN()
}

// sizes are well above what shows, so that nobody has to search for that first.
var sizes = map[string]float64{
	"heavier": 0.25, "held_down": 15000, "leg_slack": 0.06, "channel_lost": 15, "channel_frozen": 20,
	"edge_landing": 0.25, "swing": 0.15, "gust": 18,
}

func play(t testing.TB, file, cause string, seed uint64) *played {
	t.Helper()
	p := plan(t, file)
	o := rehearse.Options{Magnitude: sizes[cause]}
	if cause != "as_planned" && cause != "held_down" {
		o.Rate = 10
	}
	r, err := rehearse.New(p.Lift, seed, cause, o)
	if err != nil {
		t.Fatal(err)
	}
	e, err := watch.New(p, watch.Options{})
	if err != nil {
		t.Fatal(err)
	}
	out := &played{run: r}
	if err := watch.Play(e, r.Frames(), func(ev alarm.Event) { out.events = append(out.events, ev) }); err != nil {
		t.Fatal(err)
	}
	out.res = e.Finish()
	return out
}

var files = []string{"pump-motor.yaml", "filter-shell.yaml"}

// each plays lifts of a cause beside each other.
func each(t *testing.T, file, cause string, seed uint64, n int, check func(t *testing.T, l *played)) {
	for k := range uint64(n) {
		t.Run(fmt.Sprintf("%s/%s/%d", file, cause, seed+k), func(t *testing.T) {
			t.Parallel()
			check(t, play(t, file, cause, seed+k))
		})
	}
}

const lifts = 3

// A lift that goes as planned raises no stop, and its phases are those of the
// virtual lift.
func TestAsPlanned(t *testing.T) {
	testkit.Alone(t)
	for _, f := range files {
		each(t, f, "as_planned", 1000, lifts, func(t *testing.T, l *played) {
			if s := l.first(alarm.Stop); s != nil {
				t.Errorf("%s at %.1f s: %s", s.Kind, s.At.Since(0), s.Text)
			}
			truth := l.run.Truth
			if got := l.from(watch.Suspended); !(math.Abs(got-truth.LiftedOff) < 5) {
				t.Errorf("suspended from %.1f s, lifted off at %.1f s", got, truth.LiftedOff)
			}
			if got := l.from(watch.SettingDown); !(math.Abs(got-truth.SetDown) < 5) {
				t.Errorf("set down from %.1f s, touched at %.1f s", got, truth.SetDown)
			}
			if last := l.res.Phases[len(l.res.Phases)-1].Phase; last != watch.IdlePhase {
				t.Errorf("ends %s", last)
			}
			if c := l.res.Causes[0]; c.Name != "as_planned" {
				t.Errorf("called %s (%.2f)", c.Name, c.Probability)
			}
		})
	}
}

// A load that slow cells never prove free, and that is put down fast, did not
// break away from anything.
func TestPutDownIsNoBreak(t *testing.T) {
	if l := play(t, "pump-motor.yaml", "as_planned", 5); l.res.Causes[0].Name == "broke_free" {
		t.Errorf("a load that was never proved free and was put down: %v", l.res.Causes)
	}
}

// What is held down is never called free, and is stopped.
func TestHeldDown(t *testing.T) {
	testkit.Alone(t)
	for _, f := range files {
		each(t, f, "held_down", 2000, lifts, func(t *testing.T, l *played) {
			if at := l.from(watch.Suspended); !math.IsNaN(at) {
				t.Errorf("called free at %.1f s: %+v", at, l.res.Phases)
			}
			if l.first(alarm.Stop) == nil {
				t.Error("no stop")
			}
		})
	}
}

// What is heavier than the plan can explain is stopped, and what a slack leg,
// a lost cell or a shock does has its own stop.
func TestStops(t *testing.T) {
	testkit.Alone(t)
	for _, c := range []struct {
		file, cause string
		kind        alarm.Kind
	}{
		{"pump-motor.yaml", "heavier", alarm.FarAbovePlan},
		{"pump-motor.yaml", "channel_lost", alarm.Lost},
		{"filter-shell.yaml", "leg_slack", alarm.SlackLeg},
	} {
		each(t, c.file, c.cause, 3000, 1, func(t *testing.T, l *played) {
			if !raised(l.events, c.kind) {
				t.Errorf("%s: no %s", l.run.Detail, c.kind)
			}
		})
	}
}

// What time shows is named, first or as the same as the first.
func TestNamed(t *testing.T) {
	testkit.Alone(t)
	for _, c := range []struct{ file, cause string }{
		{"filter-shell.yaml", "edge_landing"},
		{"filter-shell.yaml", "swing"},
		{"filter-shell.yaml", "channel_frozen"},
		{"cladding-panel.yaml", "gust"},
	} {
		each(t, c.file, c.cause, 4000, 1, func(t *testing.T, l *played) {
			top := l.res.Causes[0]
			if top.Name != c.cause && !slices.Contains(top.SameAs, c.cause) {
				t.Errorf("%s: called %s (%.2f)", l.run.Detail, top.Name, top.Probability)
			}
		})
	}
}

// The same readings give the same events and results.
func TestAgain(t *testing.T) {
	testkit.Alone(t)
	t.Parallel()
	a, b := play(t, "filter-shell.yaml", "swing", 7), play(t, "filter-shell.yaml", "swing", 7)
	if len(a.events) != len(b.events) {
		t.Fatalf("%d events, then %d", len(a.events), len(b.events))
	}
	for i := range a.events {
		if a.events[i] != b.events[i] {
			t.Fatalf("event %d: %+v, then %+v", i, a.events[i], b.events[i])
		}
	}
	if x, y := fmt.Sprintf("%+v", a.res), fmt.Sprintf("%+v", b.res); x != y {
		t.Errorf("%s\nthen\n%s", x, y)
	}
}
