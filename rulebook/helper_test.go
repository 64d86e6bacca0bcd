package rulebook

import (
	"flag"
	"fmt"
	"os"
	"strings"
	"testing"

	"plumbhook/lift"
)

var update = flag.Bool("update", false, "write golden files and the coverage table anew")

// examples is the folder that charts and site rules of test lifts are in.
var examples = os.DirFS("../examples")

// plan is a lift file in pieces: a load of 2 t, 2 m from lug to lug, on two legs
// of 2 m, which so stand at 60° from the horizontal and pull
// 2000 kg × 9.80665 m/s² / (2 sin 60°) = 11.32 kN each.
type plan struct {
	top, site, load, cg, west, east, legs, westLeg, eastLeg string
}

func or(s, otherwise string) string {
	if s == "" {
		return otherwise
	}
	return s
}

func (p plan) text() string {
	legs := or(p.legs, fmt.Sprintf("  west: {from: main, to: load.west, %s}\n  east: {from: main, to: load.east, %s}\n",
		or(p.westLeg, "length: 2 m, wll: 30 kN"), or(p.eastLeg, "length: 2 m, wll: 30 kN")))
	return fmt.Sprintf(`plumbhook: 1
title: Valve body to the workshop
%s
site: {%s}
load:
  mass: 2000 kg
  cg: %s
%s
  lugs:
    west: {at: -1 0 1 m, %s}
    east: {at: 1 0 1 m, %s}
hooks: {main: {wll: 100 kN}}
legs:
%s`, p.top, or(p.site, "g: 9.80665 m/s2"), or(p.cg, "0 0 0.5 m"), p.load, or(p.west, "wll: 50 kN"), or(p.east, "wll: 50 kN"), legs)
}

// hung reads and hangs a lift; its P95 forces are the planned ones.
func hung(t testing.TB, text string) Case {
	t.Helper()
	l, err := lift.Read("test.yaml", examples, []byte(text))
	if err != nil {
		t.Fatalf("%v\n%s", err, text)
	}
	c, err := Prepare(l)
	if err != nil {
		t.Fatal(err)
	}
	rig, err := lift.NewRig(l)
	if err != nil {
		t.Fatal(err)
	}
	if c.Hung, err = rig.Hang(); err != nil {
		t.Fatalf("%v\n%s", err, text)
	}
	demands := rig.Demands()
	n := make([]float64, len(demands))
	rig.Bear(demands, n)
	c.P95 = map[string]float64{}
	for i, d := range demands {
		c.P95[map[lift.DemandKind]string{lift.OnLeg: "legs.", lift.OnHook: "hooks.", lift.OnNode: "nodes.", lift.OnSpreader: "spreaders."}[d.Kind]+d.Name] = n[i]
	}
	return c
}

// outcome is what a report says of a rule at a place: a severity, holds, open,
// or nothing.
func outcome(r Report, rule, where string) string {
	rank := map[Severity]int{Stop: 3, Caution: 2, Note: 1}
	best := Severity("")
	for _, f := range r.Findings {
		here := f.Where == where
		for _, a := range f.also {
			here = here || a == where
		}
		if f.Rule == rule && here && rank[f.Severity] > rank[best] {
			best = f.Severity
		}
	}
	if best != "" {
		return string(best)
	}
	for _, o := range r.Open {
		if o.Rule == rule && (o.Where == where || strings.Contains(elsewhere(o.also), where)) {
			return "open"
		}
	}
	for _, f := range r.Held {
		if f.Rule == rule && f.Where == where {
			return "holds"
		}
	}
	return "nothing"
}
