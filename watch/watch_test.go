package watch_test

import (
	"fmt"
	"math"
	"os"
	"testing"

	"plumbhook/alarm"
	"plumbhook/internal/rehearse"
	"plumbhook/lift"
	"plumbhook/verdict"
	"plumbhook/watch"
)

func plan(t testing.TB, file string) *verdict.Plan {
	t.Helper()
	data, err := os.ReadFile("../examples/" + file)
	if err != nil {
		t.Fatal(err)
	}
	l, err := lift.Read(file, nil, data)
	if err != nil {
		t.Fatal(err)
	}
	p, err := verdict.Check(l)
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

func play(t testing.TB, p *verdict.Plan, cause string, seed uint64) *played {
	t.Helper()
	l, err := limitsOf(p)
	if err != nil {
		t.Fatal(err)
	}
	r, err := rehearse.New(p.Lift, seed, cause, rehearse.Options{Limits: l})
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

// limitsOf searches for the detection limits of a plan once.
var limitsOf = func() func(*verdict.Plan) ([]rehearse.Limit, error) {
	known := map[string][]rehearse.Limit{}
	return func(p *verdict.Plan) ([]rehearse.Limit, error) {
		if l := known[p.Lift.SHA256]; l != nil {
			return l, nil
		}
		l, err := rehearse.Limits(p.Lift)
		known[p.Lift.SHA256] = l
		return l, err
	}
}()

var files = []string{"pump-motor.yaml", "filter-shell.yaml"}

const lifts = 5

// A lift that goes as planned raises no stop, and its phases are those of the
// virtual lift.
func TestAsPlanned(t *testing.T) {
	for _, f := range files {
		p := plan(t, f)
		for seed := range uint64(lifts) {
			l := play(t, p, "as_planned", 1000+seed)
			if s := l.first(alarm.Stop); s != nil {
				t.Errorf("%s seed %d: %s at %.1f s: %s", f, l.run.Seed, s.Kind, s.At.Since(0), s.Text)
			}
			truth := l.run.Truth
			if got := l.from(watch.Suspended); !(math.Abs(got-truth.LiftedOff) < 5) {
				t.Errorf("%s seed %d: suspended from %.1f s, lifted off at %.1f s", f, l.run.Seed, got, truth.LiftedOff)
			}
			if got := l.from(watch.SettingDown); !(math.Abs(got-truth.SetDown) < 5) {
				t.Errorf("%s seed %d: set down from %.1f s, touched at %.1f s", f, l.run.Seed, got, truth.SetDown)
			}
			if last := l.res.Phases[len(l.res.Phases)-1].Phase; last != watch.IdlePhase {
				t.Errorf("%s seed %d ends %s", f, l.run.Seed, last)
			}
		}
	}
}

// What is held down is never called free, and is stopped.
func TestHeldDown(t *testing.T) {
	for _, f := range files {
		p := plan(t, f)
		for seed := range uint64(lifts) {
			l := play(t, p, "held_down", 2000+seed)
			if at := l.from(watch.Suspended); !math.IsNaN(at) {
				t.Errorf("%s seed %d: called free at %.1f s: %+v", f, l.run.Seed, at, l.res.Phases)
			}
			if l.first(alarm.Stop) == nil {
				t.Errorf("%s seed %d: no stop", f, l.run.Seed)
			}
		}
	}
}

// What is heavier than the plan can explain is stopped, and what a slack leg,
// a lost cell or a shock does has its own stop.
func TestStops(t *testing.T) {
	for _, c := range []struct {
		file, cause string
		kind        alarm.Kind
	}{
		{"pump-motor.yaml", "heavier", alarm.FarAbovePlan},
		{"pump-motor.yaml", "channel_lost", alarm.Lost},
		{"filter-shell.yaml", "leg_slack", alarm.SlackLeg},
	} {
		p := plan(t, c.file)
		for seed := range uint64(lifts / 2) {
			l := play(t, p, c.cause, 3000+seed)
			found := false
			for _, e := range l.events {
				found = found || e.Change == alarm.Raised && e.Kind == c.kind
			}
			if !found {
				t.Errorf("%s %s seed %d (%s): no %s", c.file, c.cause, l.run.Seed, l.run.Detail, c.kind)
			}
		}
	}
}

// The same readings give the same events and results.
func TestAgain(t *testing.T) {
	p := plan(t, "filter-shell.yaml")
	a, b := play(t, p, "swing", 7), play(t, p, "swing", 7)
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
