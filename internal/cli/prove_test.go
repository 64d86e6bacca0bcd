package cli

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"plumbhook/contract"
	"plumbhook/internal/testkit"
)

func TestProve(t *testing.T) {
	at := func(name string) string { return filepath.Join(examples, "proving", name) }
	plate := []string{"prove", at("roof-plate.yaml"), "--readings", at("roof-plate.csv")}
	status, out, errs := run(plate...)
	if status != exitHolds || errs != "" {
		t.Fatal(status, errs)
	}
	p := answer[contract.Prove](t, exitHolds, plate...)
	for _, want := range []string{p.Sentence, p.Cautions, p.Decision, "HOLDS AS FAR AS CHECKED, 0 NOT ASSESSED", "8.00 m from every part of the line"} {
		if !strings.Contains(flat(out), flat(want)) {
			t.Errorf("the text lacks %q:\n%s", want, out)
		}
	}
	h := p.Course.Hold
	if h == nil || h.Seconds != 300 || p.Course.Phase != "released" || h.LowestN < p.Load.CountsFromN || *p.Load.CountsToN < h.MostN {
		t.Errorf("%+v", p.Course)
	}
	testkit.Near(t, "counts from", p.Load.CountsFromN, 50e3+p.Uncertainty.U95, testkit.Tol{Rel: 1e-12})
	testkit.Near(t, "stored", p.Stretch.EnergyJ, 53e3*53e3/2/2e6, testkit.Tol{Rel: 1e-12})

	lost := answer[contract.Prove](t, exitFails, "prove", at("roof-plate.yaml"), "--readings", at("roof-plate-radio-lost.csv"))
	if lost.Verdict != "fails" || lost.Course.Hold != nil || !lost.Course.PeakAtLeast || lost.Course.LongestS > 170 {
		t.Errorf("%+v", lost.Course)
	}
	pull := answer[contract.Prove](t, exitHolds, "prove", at("work-boat.yaml"), "--readings", at("work-boat.csv"))
	testkit.Near(t, "pull", pull.Course.Mean.MeanN, 82.8e3, testkit.Tol{Abs: 60})
	if pull.Load.CountsToN != nil || len(pull.Missing) == 0 {
		t.Errorf("%+v", pull)
	}
	guy := answer[contract.Prove](t, exitHolds, "prove", at("mast-guy.yaml"), "--readings", at("mast-guy.csv"))
	if m := guy.Course.Mean; m.MeanN > 17e3 || guy.Load.TargetN < 15e3 {
		t.Errorf("the mean of a guy is its last, %+v", m)
	}

	// Beforehand, and what must not be started.
	before := answer[contract.Prove](t, exitHolds, "prove", at("roof-plate.yaml"))
	if !before.Start || before.Course != nil {
		t.Errorf("%+v", before)
	}
	text, err := os.ReadFile(at("roof-plate.yaml"))
	if err != nil {
		t.Fatal(err)
	}
	weak := file(t, strings.Replace(string(text), "capacity: 100 kN", "capacity: 52 kN", 1))
	if p := answer[contract.Prove](t, exitFails, "prove", weak, "--readings", at("roof-plate.csv")); p.Start || p.Verdict != "fails" {
		t.Errorf("%+v", p)
	}
	if status, _, errs := run("prove", file(t, "plumbhook-proof: 1\nload: 5 ton\n")); status != exitInvalid || !strings.Contains(errs, "lift.yaml:2:9") {
		t.Error(status, errs)
	}
	for _, args := range [][]string{{"prove", "nowhere.yaml"}, {"prove", at("roof-plate.yaml"), "--readings", "nowhere.csv"}} {
		if status, _, _ := run(args...); status != exitInvalid {
			t.Error(args, status)
		}
	}
}
