package contract_test

import (
	"encoding/json"
	"os"
	"path/filepath"
	"reflect"
	"slices"
	"strings"
	"testing"

	"plumbhook/contract"
	"plumbhook/lift"
	"plumbhook/verdict"
)

func check(t *testing.T, path string) *verdict.Plan {
	t.Helper()
	data, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	l, err := lift.Read(filepath.Base(path), os.DirFS(filepath.Dir(path)), data)
	if err != nil {
		t.Fatal(err)
	}
	p, err := verdict.Check(l)
	if err != nil {
		t.Fatal(err)
	}
	return p
}

// plans are the examples, and rigs that have what those lack: ground, ties,
// steps, ropes over points, slack legs, missing ratings.
func plans(t *testing.T) []*verdict.Plan {
	t.Helper()
	var all []*verdict.Plan
	for _, dir := range []string{"../examples", "../verdict/testdata", "../validation/second/testdata"} {
		files, err := filepath.Glob(filepath.Join(dir, "*.yaml"))
		if err != nil || len(files) == 0 {
			t.Fatalf("%s: %d lifts, %v", dir, len(files), err)
		}
		for _, path := range files {
			all = append(all, check(t, path))
		}
	}
	return all
}

// object marshals a value and reads it back as a tree.
func object(t *testing.T, v any) map[string]any {
	t.Helper()
	text, err := json.Marshal(v)
	if err != nil {
		t.Fatal(err) // an infinity or a NaN, for one
	}
	var m map[string]any
	if err := json.Unmarshal(text, &m); err != nil {
		t.Fatal(err)
	}
	return m
}

// keys finds the keys of an object or of the objects inside it, by path.
func keys(m map[string]any, path string) []string {
	var in any = m
	for _, k := range strings.Split(path, ".") {
		switch v := in.(type) {
		case map[string]any:
			if k == "*" {
				for _, in = range v {
					break
				}
			} else if k != "" {
				in = v[k]
			}
		case []any:
			in = v[0]
		}
	}
	if list, ok := in.([]any); ok {
		in = list[0]
	}
	var names []string
	for k := range in.(map[string]any) {
		names = append(names, k)
	}
	return names
}

// TestFields holds the answer against the field names of the design: what it
// promises is there, in every place.
func TestFields(t *testing.T) {
	gate := object(t, contract.NewCheck(check(t, "../examples/stoplog-gate.yaml")))
	steps := object(t, contract.NewCheck(check(t, "../validation/second/testdata/upending.yaml")))
	slack := object(t, contract.NewCheck(check(t, "../validation/second/testdata/four-legs-one-slack.yaml")))
	state := "verdict not_assessed stable stability_m weight cg_m headroom_m legs bodies hooks forces compression parts parts_checked expected findings"
	for _, c := range []struct {
		in   map[string]any
		path string
		want string
	}{
		{gate, "", state + " steps"},
		{steps, "steps", state + " name"},
		{gate, "weight", "nominal_N p5_N p95_N"},
		{gate, "legs.*", "tension_N p95_N worst_N from_horizontal_deg from_vertical_deg slack utilisation"},
		{gate, "bodies.load", "cg_m tilt_deg low_side_deg"},
		{gate, "bodies.bar", "cg_m tilt_deg low_side_deg"},
		{gate, "hooks.main", "load_N"},
		{gate, "parts", "where kind serial demand_N limit_N utilisation status"},
		{gate, "expected", "channel low_N nominal_N high_N"},
		{gate, "forces", "where force_N at_m"},
		{gate, "compression", "body between force_N"},
		{slack, "findings", "severity rule source where text demand limit unit"},
	} {
		have := keys(c.in, c.path)
		for _, want := range strings.Fields(c.want) {
			if !slices.Contains(have, want) {
				t.Errorf("%s has no %s: %v", c.path, want, have)
			}
		}
	}
}

// TestAnswersAreWhole: no list is null, and every number is the one of the
// verdict, unrounded.
func TestAnswersAreWhole(t *testing.T) {
	for _, p := range plans(t) {
		c := contract.NewCheck(p)
		filled(t, p.Lift.File, reflect.ValueOf(c))
		object(t, c)
		if c.Verdict != string(p.Outcome) || c.NotAssessed != p.NotAssessed || len(c.Steps) != len(p.States)-1 {
			t.Errorf("%s: verdict %s, %d not assessed, %d steps", p.Lift.File, c.Verdict, c.NotAssessed, len(c.Steps))
		}
		for i := range p.States {
			s := &c.State
			if i > 0 {
				s = &c.Steps[i-1].State
				if c.Steps[i-1].Name != p.States[i].Hung.Step {
					t.Errorf("%s: step %d is called %s", p.Lift.File, i, c.Steps[i-1].Name)
				}
			}
			for _, l := range p.States[i].Hung.Legs {
				if got := s.Legs[l.Name]; got.TensionN != l.TensionN || got.Slack != l.Slack || got.WorstN != l.WorstN {
					t.Errorf("%s: leg %s is %+v", p.Lift.File, l.Name, got)
				}
			}
			if len(s.Parts) != s.PartsChecked || len(s.Findings) != len(p.States[i].Findings) {
				t.Errorf("%s: %d parts, %d findings", p.Lift.File, s.PartsChecked, len(s.Findings))
			}
			for _, name := range verdict.Explainable(p, i) {
				if strings.HasSuffix(name, ".p95") || name == "stability" {
					continue // many hangs; one is enough, below
				}
				explained(t, p, i, name)
			}
		}
	}
	p := check(t, "../examples/pump-motor.yaml")
	explained(t, p, 0, "legs.west.p95")
	explained(t, p, 0, "stability")
}

func explained(t *testing.T, p *verdict.Plan, state int, name string) {
	t.Helper()
	x, err := verdict.Explain(p, state, name)
	if err != nil {
		t.Fatalf("%s: %v", name, err)
	}
	out := contract.NewExplanation(x)
	filled(t, name, reflect.ValueOf(out))
	object(t, out)
	if len(out.Working) != len(x.Work) || len(out.Given) != len(x.Given) || len(out.Tables) != len(x.Tables) {
		t.Errorf("%s: something is left out", name)
	}
}

// filled fails on a nil list or map anywhere inside a value.
func filled(t *testing.T, path string, v reflect.Value) {
	t.Helper()
	switch v.Kind() {
	case reflect.Struct:
		for i := range v.NumField() {
			filled(t, path+"."+v.Type().Field(i).Name, v.Field(i))
		}
	case reflect.Slice, reflect.Map:
		if v.IsNil() {
			t.Errorf("%s would be null", path)
			return
		}
		if v.Kind() == reflect.Slice {
			for i := range v.Len() {
				filled(t, path, v.Index(i))
			}
		} else {
			for _, k := range v.MapKeys() {
				filled(t, path, v.MapIndex(k))
			}
		}
	}
}
