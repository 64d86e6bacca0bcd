package cli

import (
	"encoding/json"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"plumbhook/contract"
	"plumbhook/internal/testkit"
)

func answer[T any](t *testing.T, status int, args ...string) (v T) {
	t.Helper()
	got, out, errs := run(append(args, "--format", "json")...)
	if got != status || errs != "" {
		t.Fatalf("%v: status %d, want %d; %s", args, got, status, errs)
	}
	if err := json.Unmarshal([]byte(out), &v); err != nil {
		t.Fatal(err)
	}
	return v
}

// flat is a text without its line ends.
func flat(s string) string { return strings.Join(strings.Fields(s), " ") }

func TestWeigh(t *testing.T) {
	pump := filepath.Join(examples, "weighing", "pump.yaml")
	status, out, errs := run("weigh", pump)
	if status != exitHolds || errs != "" {
		t.Fatal(status, errs)
	}
	w := answer[contract.Weigh](t, exitHolds, "weigh", pump)
	for _, want := range []string{w.Sentence, w.Cautions, "HOLDS AS FAR AS CHECKED, 0 NOT ASSESSED", "which is no weight", "accuracy of full scale, 16 lines"} {
		if !strings.Contains(flat(out), flat(want)) {
			t.Errorf("the text lacks %q", want)
		}
	}
	// The budgets add up, each to its own uncertainty, and its k is that of u.
	for name, u := range map[string]*contract.Uncertain{"mass": &w.Mass, "weight": &w.Weight, "force": &w.Force, "x": w.CG.X, "y": w.CG.Y, "z": w.CG.Z} {
		shares, squares := 0.0, 0.0
		for _, c := range u.Budget {
			shares += c.Share
			squares += math.Pow(c.Standard*c.Sensitivity, 2)
		}
		testkit.Near(t, name+": shares", shares, 1, testkit.Tol{Abs: 1e-9})
		testkit.Near(t, name+": u", math.Sqrt(squares), u.Standard, testkit.Tol{Rel: 1e-9})
		testkit.Near(t, name+": U", u.K*u.Standard, u.U95, testkit.Tol{Rel: 1e-12})
	}
	testkit.Near(t, "weight", w.Weight.Value, w.Mass.Value*w.Gravity.Value, testkit.Tol{Rel: 1e-12})
	// Every shift of all points along x shifts the centre by as much.
	along := 0.0
	for _, p := range w.Points {
		along += p.X[0]
	}
	testkit.Near(t, "all points along x", along, 1, testkit.Tol{Abs: 1e-4})

	// All lines one by one, and in pounds.
	if _, all, _ := run("weigh", pump, "--budget", "--units", "us"); !strings.Contains(flat(all), "accuracy of full scale, cell A,") || !strings.Contains(all, " lb ±") {
		t.Error("no full budget, or no pounds")
	}
	gate := answer[contract.Weigh](t, exitFails, "weigh", filepath.Join(examples, "weighing", "stoplog-gate.yaml"))
	if gate.Verdict != "fails" || gate.CG.Y != nil || gate.Height == nil || gate.Height.NeededDeg == nil || *gate.Height.NeededDeg < 4 {
		t.Errorf("%+v", gate)
	}
	if status, _, errs := run("weigh", file(t, "plumbhook-survey: 1\nmass: 3 ton\n")); status != exitInvalid || !strings.Contains(errs, "lift.yaml:2:7") {
		t.Error(status, errs)
	}
	if status, _, _ := run("weigh", "nowhere.yaml"); status != exitInvalid {
		t.Error(status)
	}
}

func TestCalibrate(t *testing.T) {
	cell := func(year string) string {
		return filepath.Join(examples, "weighing", "certificates", "kp-lc-03-"+year+".yaml")
	}
	all := []string{"calibrate", cell("2026"), cell("2024"), cell("2025")}
	with := func(more ...string) []string { return append(append([]string{}, all...), more...) }
	status, out, errs := run(with("--on", "2026-11-20")...)
	if status != exitHolds || errs != "" {
		t.Fatal(status, errs)
	}
	k := answer[contract.Calibrate](t, exitHolds, with("--on", "2026-11-20")...)
	for _, want := range []string{k.Sentence, k.Cautions, "class 0.5 from", "Proposed interval: 365 days", "ADJUSTED"} {
		if !strings.Contains(flat(out), flat(want)) {
			t.Errorf("the text lacks %q", want)
		}
	}
	if len(k.Certificates) != 3 || len(k.Drift) != 2 || len(k.Steps) != 10 || *k.Due != "2027-03-31" {
		t.Errorf("%+v", k)
	}
	for _, c := range []struct {
		what   string
		args   []string
		status int
		says   string
	}{
		{"late", []string{"--on", "2027-04-01"}, exitFails, "out of date"},
		{"late, with a name", []string{"--on", "2027-04-01", "--override-by", "R. Quill", "--override-why", "no other before the tide"}, exitHolds, "R. Quill"},
		{"past capacity", []string{"--on", "2026-11-20", "--peak", "11 t"}, exitFails, "held until"},
		{"examined", []string{"--on", "2026-11-20", "--peak", "11 t", "--zero-checked", "--examined"}, exitHolds, "usable"},
		{"past safe overload", []string{"--on", "2026-11-20", "--peak", "16 t", "--zero-checked", "--examined", "--override-by", "R. Quill", "--override-why", "tide"}, exitFails, "no override"},
		{"little allowed", []string{"--on", "2026-11-20", "--allowed", "0.05 %"}, exitFails, "SHIFTED BY MORE THAN IS ALLOWED"},
		{"field check", []string{"--on", "2026-11-20", "--known", "5 t ± 1 kg", "--g", "9.8109 m/s2", "--reads", "5.003 t"}, exitHolds, "agrees"},
		{"field check off", []string{"--on", "2026-11-20", "--known", "5 t ± 1 kg", "--g", "9.8109 m/s2", "--reads", "5.03 t"}, exitFails, "THE FIELD CHECK DISAGREES"},
		{"a mass without gravity", []string{"--known", "5 t", "--reads", "5 t"}, exitInvalid, "local gravity"},
		{"a known weight off the range", []string{"--on", "2026-11-20", "--known", "4 kN", "--reads", "4 kN"}, exitInvalid, "calibrated from 10 to 100 kN"},
		{"half a field check", []string{"--known", "5 t"}, exitInvalid, "--reads"},
		{"half an override", []string{"--override-by", "R. Quill"}, exitInvalid, "--override-why"},
		{"before it was calibrated", []string{"--on", "2025-12-01"}, exitInvalid, "not there yet"},
		{"a bare share", []string{"--allowed", "0.1 t"}, exitInvalid, "--allowed"},
	} {
		status, out, errs := run(with(c.args...)...)
		if status != c.status || !strings.Contains(flat(out+errs), c.says) {
			t.Errorf("%s: status %d, want %d and %q\n%s%s", c.what, status, c.status, c.says, out, errs)
		}
	}
	// One certificate shows no drift; two cells are not reviewed together.
	if status, out, _ := run("calibrate", cell("2026"), "--on", "2026-11-20"); status != exitHolds || !strings.Contains(out, "one certificate shows none") {
		t.Error(status, out)
	}
	text, err := os.ReadFile(cell("2024"))
	if err != nil {
		t.Fatal(err)
	}
	other := file(t, strings.Replace(string(text), "KP-LC-03\nnumber", "KP-LC-04\nnumber", 1))
	if status, _, errs := run("calibrate", cell("2026"), other); status != exitInvalid || !strings.Contains(errs, "KP-LC-04") {
		t.Error(status, errs)
	}
}
