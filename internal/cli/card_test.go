package cli

import (
	"bytes"
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/alecthomas/kong"

	"plumbhook/contract"
	"plumbhook/internal/testkit"
	"plumbhook/verdict"
)

// runCard runs the card command by itself.
func runCard(t *testing.T, args ...string) (status int, out, errs string) {
	t.Helper()
	var stdout, stderr bytes.Buffer
	var cmds struct {
		Card cardCmd `cmd:""`
	}
	parser, err := kong.New(&cmds, kong.Bind(&env{&stdout}), kong.Exit(func(int) { t.Fatal("exit") }))
	if err != nil {
		t.Fatal(err)
	}
	ctx, err := parser.Parse(append([]string{"card"}, args...))
	if err != nil {
		t.Fatal(err)
	}
	status = report(&stderr, guard(func() error { return ctx.Run() }))
	return status, stdout.String(), stderr.String()
}

// TestCard holds the card of the pump motor against what was read and kept,
// and every card against what a printed page holds.
func TestCard(t *testing.T) {
	testkit.Alone(t)
	pump := filepath.Join(examples, "pump-motor.yaml")
	day := []string{"--hoist-speed", "0.1 m/min", "--delay", "1.5 s", "--stopping", "0.5 s", "--hook-stiffness", "2 kN/mm", "--hook-height", "3.1 m"}
	bundle, err := os.ReadFile(filepath.Join(examples, "exchanger-bundle.yaml"))
	if err != nil {
		t.Fatal(err)
	}
	four := strings.ReplaceAll(string(bundle), "wll: 6.7 t}", "wll: 6.7 t, cell: {channel: %, capacity: 6.7 t, accuracy: 0.2 % fs, zero: hung}}")
	for _, channel := range []string{"NW", "NE", "SE", "SW"} {
		four = strings.Replace(four, "channel: %", "channel: "+channel, 1)
	}
	for _, c := range []struct {
		golden string
		args   []string
	}{
		{"card-pump-motor.txt", []string{pump}},
		{"card-pump-motor.t.txt", append([]string{pump, "--readout", "t"}, day...)},
		{"", []string{filepath.Join(examples, "stoplog-gate.yaml"), "--readout", "lbf"}},
		{"", append([]string{file(t, four), "--readout", "short ton"}, day[:8]...)},
	} {
		status, out, errs := runCard(t, c.args...)
		if status != exitHolds || errs != "" {
			t.Errorf("%v: status %d, %s", c.args, status, errs)
		}
		if c.golden != "" {
			golden(t, c.golden, out, sameText)
		}
		lines := strings.Split(out, "\n")
		if len(lines) > 75 {
			t.Errorf("%v: %d lines are more than a page", c.args, len(lines))
		}
		for _, l := range lines {
			if cells(l) > 100 || strings.Contains(l, "NaN") || strings.Contains(l, "not known") {
				t.Errorf("%v: %q", c.args, l)
			}
		}
		if !strings.Contains(out, verdict.Cautions[:30]) || !strings.Contains(out, "reads above") || !strings.Contains(out, gap) {
			t.Errorf("%v: no caution, no stop or no room to write", c.args)
		}
	}
}

// TestCardLoud: every number to stop at is rounded down, and a mass unit says
// that it is force at standard gravity.
func TestCardLoud(t *testing.T) {
	testkit.Alone(t)
	_, out, _ := runCard(t, filepath.Join(examples, "pump-motor.yaml"), "--readout", "kg", "--format", "json")
	var c contract.Card
	if err := json.Unmarshal([]byte(out), &c); err != nil {
		t.Fatal(err)
	}
	if !c.Readout.FromMass || c.Readout.NewtonsPer != 9.80665 {
		t.Errorf("%+v", c.Readout)
	}
	for _, k := range c.Cells {
		var shown float64
		if _, err := fmt.Sscanf(k.Sentence, "If "+k.Channel+" reads above %f kg, stop, because ", &shown); err != nil {
			t.Fatalf("%s: %v", k.Sentence, err)
		}
		if n := shown * 9.80665; n > k.StopN || n < 0.999*k.StopN {
			t.Errorf("%s: %g N to stop at", k.Sentence, k.StopN)
		}
		if k.StopN < k.HighN || k.LowN > k.NominalN || k.JointLowN > k.LowN || k.WarnN > k.StopN {
			t.Errorf("%+v", k)
		}
	}
	_, text, _ := runCard(t, filepath.Join(examples, "pump-motor.yaml"), "--readout", "kg")
	if !strings.Contains(strings.Join(strings.Fields(text), " "), "force at standard gravity, 1 kg for every 9.80665 N") {
		t.Error(text)
	}
}

// TestCardSaysSo: what the card has to admit, it admits.
func TestCardSaysSo(t *testing.T) {
	testkit.Alone(t)
	words := func(args ...string) (int, string) {
		status, out, errs := runCard(t, args...)
		return status, strings.Join(strings.Fields(out), " ") + errs
	}
	pump := filepath.Join(examples, "pump-motor.yaml")
	weak := strings.Replace(valve, "main: {wll: 5 t}", "main: {wll: 1 t}", 1)
	steps := strings.Replace(valve, "main: {wll", "main: {at: 0 0 3 m, wll", 1) + "steps: [{name: up, hooks: {main: {at: 0 0 4 m}}}]\n"
	for _, c := range []struct {
		name   string
		args   []string
		status int
		want   string
	}{
		{"no speed", []string{pump}, exitHolds, "No room left for delay: hoist speed not given."},
		{"too fast", []string{pump, "--hoist-speed", "3 m/min", "--delay", "1 s", "--stopping", "1 s"}, exitHolds, "TOO FAST: at 3.00 m/min"},
		{"no cell", []string{file(t, valve)}, exitHolds, "NO LOAD CELL"},
		{"no stiffness", []string{file(t, valve)}, exitHolds, "NOT HERE how the legs take the load, and what comes on while the hoist stops: the file gives no stiffness of leg west, east"},
		{"the plan fails", []string{file(t, weak)}, exitFails, "THE PLAN FAILS: DO NOT LIFT"},
		{"after a step", []string{file(t, steps), "--step", "up"}, exitHolds, "after step up"},
		{"as rigged", []string{pump, "--hook-height", "3.6 m"}, exitHolds, "NOT AS PLANNED: that length is outside the file's limits for leg top, west, east."},
		{"bare ton", []string{pump, "--readout", "ton"}, exitInvalid, "--readout: \"ton\" can mean several units"},
		{"more than a unit", []string{pump, "--readout", "2 kN"}, exitInvalid, "--readout"},
		{"a length", []string{pump, "--readout", "m"}, exitInvalid, "--readout"},
		{"speed alone", []string{pump, "--hoist-speed", "3 m/min"}, exitInvalid, "go together"},
		{"speed of the file", []string{file(t, strings.Replace(valve, "load:\n", "dynamic: {class: HC2, hoist_speed: 6 m/min}\nload:\n", 1)), "--delay", "1 s", "--stopping", "1 s", "--format", "json"}, exitHolds, "\"hoist_speed_m_per_s\": 0.1,"},
		{"nobody states the speed", []string{pump, "--delay", "1 s", "--stopping", "1 s"}, exitInvalid, "go together"},
		{"speed without unit", []string{pump, "--hoist-speed", "3", "--delay", "1 s", "--stopping", "1 s"}, exitInvalid, "--hoist-speed"},
		{"standing hoist", []string{pump, "--hoist-speed", "0 m/s", "--delay", "1 s", "--stopping", "1 s"}, exitInvalid, "--hoist-speed: 0 m/s is not above zero"},
		{"hook in the sky", []string{pump, "--hook-height", "31 m"}, exitInvalid, "measure again"},
		{"day of a step", []string{file(t, steps), "--step", "up", "--hook-height", "1 m"}, exitInvalid, "as first rigged"},
	} {
		if status, out := words(c.args...); status != c.status || !strings.Contains(out, c.want) {
			t.Errorf("%s: status %d, %s", c.name, status, out)
		}
	}
}
