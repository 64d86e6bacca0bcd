package cli

import (
	"strings"
	"testing"

	"plumbhook/internal/testkit"
)

// TestOrder: what stops the lift comes first, then what a person has to look
// at, then the figures, and notes last.
func TestOrder(t *testing.T) {
	path := file(t, strings.NewReplacer("wll: 5 t", "wll: 1 t", "load.east, length: 1.5 m", "load.east, length: 1.6 m").Replace(valve)+
		"rulebook: us\ndynamic: {class: HC2, hoist_speed: 0.1 m/s}\nlimits: {total: {warn: 1 kN}}\n")
	status, out, errs := run("check", path)
	if status != exitFails || errs != "" {
		t.Fatalf("status %d, %s", status, errs)
	}
	at := 0
	for _, line := range []string{"FAILS", "STOP ", "CAUTION ", "weight ", "hook ", "total ", "parts ", "headroom ", "leg ", "NOT ASSESSED\n", "NOTE ", "weight sheet"} {
		i := strings.Index("\n"+out, "\n"+line)
		if i < at {
			t.Errorf("%q stands at %d, before %d, in\n%s", line, i, at, out)
		}
		at = i
	}
	if last := strings.LastIndex(out, "\nSTOP "); last > strings.Index(out, "\nCAUTION ") {
		t.Error("a stop stands behind a caution")
	}
}

// TestStepByNumber: a step may be called by its name or its number.
func TestStepByNumber(t *testing.T) {
	testkit.Alone(t)
	path := file(t, valve+"steps:\n  - {name: take in, legs: {east: {length: 1.4 m}}}\n  - {name: 1, legs: {east: {length: 1.3 m}}}\n")
	of := func(step string) string {
		t.Helper()
		status, out, errs := run("check", path, "--explain", "legs.east.length", "--step", step)
		if status == exitInvalid {
			return errs
		}
		return out
	}
	if of("2") != of("1") || of("2") == of("take in") { // the second step is called 1: its name goes before
		t.Error("a number finds another step than its name")
	}
	if got := of("3"); !strings.Contains(got, "or by number 1 to 2") {
		t.Error(got)
	}
}

// TestDynamicExplained: a factor from a table says so, with the working, and a
// stated one that it is stated.
func TestDynamicExplained(t *testing.T) {
	testkit.Alone(t)
	for dynamic, want := range map[string]string{
		"{class: HC2, hoist_speed: 0.1 m/s, on_ratings: true}": "hoisting class HC2 at 0.1 m/s: 1.1 + 0.34 × 0.1",
		"{class: HC2, hoist_speed: 0.1 m/s}":                   "counted against no rating",
		"{factor: 1.2}":                                        "D = 1.2: dynamic factor;",
	} {
		_, out, errs := run("check", file(t, valve+"dynamic: "+dynamic+"\n"), "--explain", "legs.west.utilisation")
		if said := strings.Join(strings.Fields(out), " "); !strings.Contains(said, want) {
			t.Errorf("%s: %q is not said in %s%s", dynamic, want, out, errs)
		}
	}
}

// TestBasketPose: the pose of a rope with friction is the one without, and that
// is said with the drawing too.
func TestBasketPose(t *testing.T) {
	text := valve[:strings.Index(valve, "legs:")] + "legs:\n  rope: {from: main, via: [load.west, load.east], to: main, length: 4 m, stiffness: 4 MN/m, hitch: basket, friction: 0.1, wll: 2 t}\n"
	_, out, errs := run("check", file(t, text))
	if said := strings.Join(strings.Fields(out), " "); !strings.Contains(said, "the pose shown is the one without friction") {
		t.Errorf("%s%s", out, errs)
	}
}
