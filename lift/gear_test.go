package lift_test

import (
	"strings"
	"testing"
	"testing/fstest"

	"plumbhook/fault"
	"plumbhook/gear"
	"plumbhook/lift"
	"plumbhook/quantity"
)

// TestCatalogueFillsIn: what an entry does not say comes from the catalogue,
// what it says stays, and a leg's own figure stands above the catalogue's.
func TestCatalogueFillsIn(t *testing.T) {
	const leg = "to: load.east, length: 2.4 m}"
	const sling = "{kind: wire rope sling, rope: 6x19 EIPS IWRC, splice: mechanical, diameter: 3/4 in, length: 2.4 m"
	generic := read(t, with(t, leg, "to: load.east, stack: ["+sling+"}]}")).Legs[1]
	p := generic.Stack[0]
	// 29 CFR 1918 Appendix II, EIPS IWRC, 3/4 in, mechanical: 5.6 short tons.
	if p.WLL == nil || !near(float64(p.WLL.Force), 5.6*2000*0.45359237*9.80665) || !p.WLL.FromMass {
		t.Errorf("rating %+v", p.WLL)
	}
	if source, tag := p.Rated(); tag || !strings.Contains(source, "1918") || !strings.Contains(source, gear.Generic) {
		t.Errorf("rated by %q, tag %v", source, tag)
	}
	if p.Mass == nil || p.Stiffness == nil || p.Mass.Shape != quantity.Uniform || generic.Stiffness == nil || generic.Mass.Value != p.Mass.Value {
		t.Errorf("mass %v, stiffness %v; the leg has %v, %v", p.Mass, p.Stiffness, generic.Mass, generic.Stiffness)
	}
	tagged := read(t, with(t, leg, "to: load.east, mass: 1 kg, stiffness: 50 MN/m, stack: ["+sling+", wll: 5 t}]}")).Legs[1]
	if source, tag := tagged.Stack[0].Rated(); !tag || float64(tagged.Stack[0].WLL.Force) != 5000*9.80665 {
		t.Errorf("the tag lost: %v, %s", tagged.Stack[0].WLL, source)
	}
	if tagged.Mass.Value != 1 || tagged.Stiffness.Value != 50e6 {
		t.Errorf("the leg's own figures lost: %v, %v", tagged.Mass, tagged.Stiffness)
	}
}

// TestCatalogueRefuses: without a tag what is ambiguous or unknown to the tables
// is a fault at its place; with one it is left out and told. A kind that the
// catalogue does not know is nobody's mistake.
func TestCatalogueRefuses(t *testing.T) {
	entry := func(s string) string {
		return with(t, "to: load.east, length: 2.4 m}", "to: load.east, length: 2.4 m, stack: [{"+s+"}]}")
	}
	for s, where := range map[string]string{
		"kind: bow shackle, size: 7/8 in, grade: A":                      "legs.east.stack[1]",
		"kind: alloy chain sling, grade: 80, size: 3/8 in, table: H-1":   "legs.east.stack[1].table",
		"kind: web sling, material: silk, width: 50 mm":                  "legs.east.stack[1].material",
		"kind: load cell, capacity: 5 t, safe_overload: 3 t, pin: 25 mm": "",
	} {
		l, err := lift.Read("test.yaml", nil, []byte(entry(s)))
		switch {
		case where == "" && err != nil:
			t.Errorf("%s: %v", s, err)
		case where == "" && len(l.Legs[1].Stack[0].Piece.Notes) == 0:
			t.Errorf("%s: nothing is told", s)
		case where != "" && (err == nil || fault.Of(err)[0].Where != where):
			t.Errorf("%s: %v, want a fault at %s", s, err, where)
		}
	}
	p := read(t, entry("kind: web sling, material: silk, width: 50 mm, wll: 2 t")).Legs[1].Stack[0]
	if p.Piece == nil || !strings.Contains(strings.Join(p.Piece.Notes, " "), "material is left out") {
		t.Errorf("%+v", p.Piece)
	}
	for _, s := range []string{"kind: shackle, wll: 2 t", "kind: lever hoist, grade: 9", "kind: load cell, channel: E"} {
		if l := read(t, entry(s)); l.Legs[1].Stack[0].Piece != nil {
			t.Errorf("%s: %+v", s, l.Legs[1].Stack[0].Piece)
		}
	}
}

// TestEveryGearFactIsAKey: whatever the catalogue asks, an entry can answer.
func TestEveryGearFactIsAKey(t *testing.T) {
	root, _ := schema(t)
	entry := root["$defs"].(map[string]any)["entry"].(map[string]any)["properties"].(map[string]any)
	for _, k := range gear.Kinds() {
		for _, f := range k.Facts {
			if entry[f.Key] == nil {
				t.Errorf("a stack entry has no key %s, which a %s has", f.Key, k.Name)
			}
		}
	}
}

// TestNamedFiles: rules that are not there or not right refuse the lift, a chart
// that is not there does not.
func TestNamedFiles(t *testing.T) {
	rule := "site_rules: 1\nrules:\n  - {name: a, each: leg, if: slack, severity: stop, says: b, source: c, cases: [{given: {slack: true}, finds: true}]}\n"
	files := fstest.MapFS{
		"good.yaml": {Data: []byte(rule)}, "big.yaml": {Data: make([]byte, 1<<17)},
		"bad.yaml":  {Data: []byte(strings.Replace(rule, "each: leg", "each: rope", 1))},
		"chart.csv": {Data: []byte("radius")},
	}
	get := func(top string) (*lift.Lift, error) {
		return lift.Read("test.yaml", files, []byte(with(t, "legs:\n", top+"\nlegs:\n")))
	}
	l, err := get("rules: good.yaml\ncrane: {main: {chart: chart.csv}}")
	if err != nil || len(l.Rules.Rules) != 1 || l.Rules.Rules[0].IfPos.String() != "good.yaml:3:30" || len(l.Rules.SHA256) != 64 || string(l.Cranes[0].ChartData) != "radius" {
		t.Errorf("%+v, %v", l, err)
	}
	if l, err = get("crane: {main: {chart: none.csv}}"); err != nil || l.Cranes[0].ChartUnread == "" {
		t.Errorf("%+v, %v", l, err)
	}
	for name, place := range map[string]string{"none.yaml": "test.yaml", "big.yaml": "test.yaml", "bad.yaml": "bad.yaml:3:21"} {
		if _, err := get("rules: " + name); err == nil || !strings.HasPrefix(fault.Of(err)[0].Pos.String(), place) {
			t.Errorf("%s: %v", name, err)
		}
	}
}
