package rulebook

import (
	"math"
	"testing"
)

// onGround is a crane on a foot of 0.4 m², on ground that takes 200 kPa: 80 kN,
// mat included.
func onGround(machine, reaction string) string {
	return "crane: {main: {" + machine + ", block: 350 kg, ground: {allowable: 200 kPa, from: note 7}, " +
		"mat: {length: 2 m, width: 1 m, mass: 400 kg, foot: 0.4 m2}, reactions: {rear: {" + reaction + ", from: machine's data}}}}"
}

// TestGround works a case out by hand: machine of 30 t ± 1 t, load of 2 t and
// block of 350 kg, of which the foot takes three quarters, and a mat of 400 kg
// and at most 420 kg.
func TestGround(t *testing.T) {
	p := plan{top: "crane: {main: {machine: 30 t ± 1 t, block: 350 kg, ground: {allowable: 700..800 kPa, from: note 7}, " +
		"mat: {length: 2 m, width: 1 m, mass: 400 kg ± 20 kg, foot: 0.4 m2 ± 0.01 m2}, reactions: {rear: {share: 75 %, from: us}, front: {force: 5 t, mat: {length: 1 m, width: 1 m, stiff: us}}}}}"}
	r := Check("us", hung(t, p.text()))
	if len(r.Machines) != 1 || len(r.Machines[0].Bearings) != 2 {
		t.Fatalf("%+v", r.Machines)
	}
	m := &r.Machines[0]
	const g = 9.80665
	near := func(what string, got, want float64) {
		t.Helper()
		if math.Abs(got-want) > 1e-9*want {
			t.Errorf("%s %v, want %v", what, got, want)
		}
	}
	near("gross", m.GrossN, 2350*g)
	rear, front := &m.Bearings[0], &m.Bearings[1]
	near("rear", rear.Reaction.N, 0.75*(31000+2350)*g)
	near("under the rear", *rear.Foundation.PressurePa, (0.75*(31000+2350)+420)*g/0.39)
	near("allowed", *rear.AllowedPa, 700e3)
	near("under the front", *front.Foundation.PressurePa, 5000*g)
	if m.Use != nil || m.Chart != "" {
		t.Error("a chart that is not there was read")
	}
	if outcome(r, "ground-pressure", "crane.main.reactions.front") != "note" { // nobody stands behind the force: told beside it
		t.Error("the front is not told")
	}
	open := 0
	for _, o := range r.Open {
		if o.Rule == "ground-pressure" {
			open++
		}
	}
	if open != 2 { // own weight of the mat, and who says 5 t
		t.Errorf("%d questions about the ground: %v", open, r.Open)
	}
}
