package keyed_test

import (
	"strings"
	"testing"

	"plumbhook/fault"
	"plumbhook/internal/testkit"
	"plumbhook/keyed"
	"plumbhook/quantity"
)

// Every value is read at its place, and every refusal points at the character
// that is wrong.
func TestValues(t *testing.T) {
	r := keyed.Reader{File: "a.yaml"}
	n := r.Parse([]byte("mass: 2 t ± 20 kg\npull: -1.5 kN\nshown: 100 kg\nlean: 2 deg from vertical\n"))
	if n == nil {
		t.Fatal(r.Err())
	}
	m := keyed.Measured[quantity.Mass](&r, n.Get("mass"))
	testkit.Near(t, "mass", float64(m.High), 2020, testkit.Tol{Rel: 1e-12})
	testkit.Near(t, "pull", r.Force(n.Get("pull")), -1500, testkit.Tol{})
	testkit.Near(t, "shown", r.Rating(n.Get("shown")), 980.665, testkit.Tol{Rel: 1e-12})
	testkit.Near(t, "lean", float64(r.AngleFrom(n.Get("lean"), "vertical").Value), 0.0349065850, testkit.Tol{Rel: 1e-8})
	if err := r.Err(); err != nil {
		t.Error(err)
	}
}

func TestRefusals(t *testing.T) {
	for _, c := range []struct {
		text string
		read func(*keyed.Reader, *keyed.Node)
		code fault.Code
		at   string
	}{
		{"v: 3", func(r *keyed.Reader, n *keyed.Node) { keyed.Exact[quantity.Mass](r, n) }, fault.NoUnit, "a.yaml:1:4"},
		{"v: 3 ton", func(r *keyed.Reader, n *keyed.Node) { r.Force(n) }, fault.Ambiguous, "a.yaml:1:6"},
		{"v: 1..2 t", func(r *keyed.Reader, n *keyed.Node) { keyed.Exact[quantity.Mass](r, n) }, fault.Range, "a.yaml:1:4"},
		{"v: -3 kN", func(r *keyed.Reader, n *keyed.Node) { r.Rating(n) }, fault.Range, "a.yaml:1:4"},
		{"v: 3 deg", func(r *keyed.Reader, n *keyed.Node) { r.AngleFrom(n, "vertical") }, fault.Ambiguous, "a.yaml:1:9"},
		{"v: 3 deg from vertical", func(r *keyed.Reader, n *keyed.Node) { r.AngleFrom(n, "horizontal") }, fault.Ambiguous, "a.yaml:1:4"},
	} {
		r := keyed.Reader{File: "a.yaml"}
		c.read(&r, r.Parse([]byte(c.text)).Get("v"))
		if len(r.Faults) != 1 || r.Faults[0].Code != c.code || !strings.HasPrefix(r.Faults[0].Pos.String(), c.at) {
			t.Errorf("%s: %v, want %s at %s", c.text, r.Err(), c.code, c.at)
		}
	}
}

func FuzzParse(f *testing.F) {
	f.Add("channel_map: 1\na: {b: [1, 2 kN]}\n")
	f.Add("- x\n- {y: \"z\"}\n")
	f.Fuzz(func(t *testing.T, text string) {
		r := keyed.Reader{File: "a.yaml"}
		n := r.Parse([]byte(text))
		if n == nil && r.Err() == nil {
			t.Error("no tree and no fault")
		}
		for _, f := range r.Faults {
			if f.Pos.Line < 1 || f.Pos.Column < 1 {
				t.Errorf("%v has no place", f)
			}
		}
	})
}
