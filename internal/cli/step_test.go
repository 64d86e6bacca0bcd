package cli

import (
	"os"
	"strings"
	"testing"

	"plumbhook/contract"
)

// A lift of two hooks watched from the app: each hook is told, a named person
// takes the watch to the next step, the record shows it, and a restart keeps it.
func TestStepFromTheApp(t *testing.T) {
	dir := t.TempDir()
	r := started(t, dir, nil)
	plan, err := os.ReadFile("../../examples/gate-two-cranes.yaml")
	if err != nil {
		t.Fatal(err)
	}
	l := ask[contract.Lift](t, r, "POST", "/api/lifts", map[string]string{"text": string(plan)})
	at := "/api/lifts/" + l.ID
	ask[contract.Lift](t, r, "POST", at+"/approve", map[string]any{"who": "P. Planner", "revision": 1, "sha256": l.Revisions[0].SHA256, "unit": "kN"})
	ask[contract.Lift](t, r, "POST", at+"/watch", map[string]string{"who": "R. Rigger", "rehearse": "as_planned"})
	view := func() contract.Watch { return ask[contract.Watch](t, r, "GET", "/api/watch", nil) }
	until(t, "the hooks read", func() bool { h := view().Hooks; return h["west"].LoadN != nil && h["east"].LoadN != nil })
	first := view()
	if len(first.Hooks) != 2 || len(first.Steps) != 1 || first.Step != "" || first.Hooks["east"].StopN == nil || *first.Hooks["east"].StopN != 66e3 {
		t.Fatalf("%+v, steps %+v", first.Hooks, first.Steps)
	}
	refuses(t, r, "/api/watch/step", map[string]string{"who": "R. Rigger", "step": "nowhere"}, 404)
	refuses(t, r, "/api/watch/step", map[string]string{"step": first.Steps[0].Name}, 422)
	moved := ask[contract.Watch](t, r, "POST", "/api/watch/step", map[string]string{"who": "R. Rigger", "step": first.Steps[0].Name})
	if moved.Step != first.Steps[0].Name || moved.Hooks["east"].PlanShare > 0.57 || first.Hooks["east"].PlanShare < 0.57 {
		t.Errorf("after %q: %+v", moved.Step, moved.Hooks)
	}
	r.close(t)
	r = started(t, dir, nil)
	defer r.close(t)
	until(t, "it goes on after the step", func() bool { return view().Step == first.Steps[0].Name })
	l = ask[contract.Lift](t, r, "POST", at+"/end", map[string]string{"who": "R. Rigger", "outcome": "stopped"})
	if strings.Contains(l.Says, "history") {
		t.Errorf("a rehearsal says %q", l.Says)
	}
	v := ask[contract.Replayed](t, r, "GET", "/api/records/"+l.Watches[0].ID+"/views?points=20", nil)
	if n := len(v.Views); n == 0 || v.Views[0].Step != "" || v.Views[n-1].Step != first.Steps[0].Name {
		t.Errorf("%d views", n)
	}
	refuses(t, r, "/api/records/"+l.Watches[0].ID+"/gear", map[string]string{"who": "R. Rigger"}, 409)
}
