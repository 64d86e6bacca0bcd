package cli

import (
	"encoding/json"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"testing/fstest"
	"time"

	"plumbhook/contract"
	"plumbhook/internal/intake"
	"plumbhook/internal/station"
	"plumbhook/internal/testkit"
	"plumbhook/reading"
	"plumbhook/verdict"
)

// rehearsal writes the readings of a virtual lift and gives the file.
func rehearsal(t *testing.T, file, cause string) string {
	t.Helper()
	out := filepath.Join(t.TempDir(), "readings.csv")
	if status, _, err := run("rehearse", examples+"/"+file, "--cause", cause, "--seed", "3", "-o", out); status != 0 {
		t.Fatal(err)
	}
	return out
}

func replayed(t *testing.T, readings, file string) (int, contract.Replay) {
	t.Helper()
	status, out, err := run("replay", readings, "--lift", examples+"/"+file, "--format", "json")
	if err != "" {
		t.Fatal(err)
	}
	var r contract.Replay
	if err := json.Unmarshal([]byte(out), &r); err != nil {
		t.Fatal(err)
	}
	return status, r
}

// A lift as planned ends with 0 and its weight; one that is held down ends
// with 1, and no weight is claimed.
func TestReplay(t *testing.T) {
	testkit.Alone(t)
	status, r := replayed(t, rehearsal(t, "pump-motor.yaml", "as_planned"), "pump-motor.yaml")
	if status != exitHolds {
		t.Errorf("as planned leaves with %d: %+v", status, r.Alarms)
	}
	var phases []string
	for _, p := range r.Phases {
		phases = append(phases, p.Phase)
	}
	if got := strings.Join(phases, " "); got != "idle taking_load suspended setting_down idle" {
		t.Errorf("phases %s", got)
	}
	if e := r.Estimate; e.AtLeast || e.WeightN == nil || math.Abs(*e.WeightN-43095) > 2*(*e.WeightU95N) {
		t.Errorf("estimate %+v, truly 43.095 kN", e)
	}
	if len(r.Diagnosis) == 0 || r.Diagnosis[0].Cause != "as_planned" {
		t.Errorf("diagnosis %+v", r.Diagnosis)
	}
	status, r = replayed(t, rehearsal(t, "pump-motor.yaml", "held_down"), "pump-motor.yaml")
	if status != exitFails {
		t.Errorf("held down leaves with %d", status)
	}
	if e := r.Estimate; !e.AtLeast && e.WeightN != nil {
		t.Errorf("of a load that was never free a weight is claimed: %+v", e)
	}
}

// The same readings with dates in place of seconds, and every row twice, tell
// the same.
func TestReplayDatesAndDuplicates(t *testing.T) {
	testkit.Alone(t)
	plain := rehearsal(t, "pump-motor.yaml", "as_planned")
	text, err := os.ReadFile(plain)
	if err != nil {
		t.Fatal(err)
	}
	var twice strings.Builder
	for i, line := range strings.SplitAfter(string(text), "\n") {
		twice.WriteString(line)
		if i > 0 {
			twice.WriteString(line)
		}
	}
	double := filepath.Join(t.TempDir(), "twice.csv")
	if err := os.WriteFile(double, []byte(twice.String()), 0o666); err != nil {
		t.Fatal(err)
	}
	_, a := replayed(t, plain, "pump-motor.yaml")
	_, b := replayed(t, double, "pump-motor.yaml")
	if b.Duplicates < a.Readings || b.Readings != a.Readings {
		t.Errorf("%d readings and %d duplicates of %d", b.Readings, b.Duplicates, a.Readings)
	}
	if *a.Estimate.WeightN != *b.Estimate.WeightN {
		t.Errorf("weight %v, with every row twice %v", *a.Estimate.WeightN, *b.Estimate.WeightN)
	}
}

// A recording of cells that send a bare signal holds what came and what turned
// it into force: replay needs no channel map, also when a cell was exchanged on
// the way.
func TestReplayCalibrated(t *testing.T) {
	testkit.Alone(t)
	dir := t.TempDir()
	plan, err := read(examples + "/pump-motor.yaml")
	if err != nil {
		t.Fatal(err)
	}
	checked, err := verdict.Check(plan)
	if err != nil {
		t.Fatal(err)
	}
	clock := time.Date(2026, 5, 4, 9, 0, 0, 0, time.UTC)
	for _, sensitivity := range []string{"0.8", "0.4"} { // mV/V at 20 kN
		m, err := intake.Read("map.yaml", fstest.MapFS{"cal.yaml": {Data: []byte("calibration: 1\nserial: LC-1\nsignal: mV/V\npoints: [[0 mV/V, 0 kN], [" + sensitivity + " mV/V, 20 kN]]\n")}}, []byte(`channel_map: 1
gateways: {a: {kind: mqtt, password: {env: A}}}
channels:
  W: {gateway: a, kind: load cell, address: w, signal: mV/V, serial: LC-1, calibration: cal.yaml}
  E: {gateway: a, kind: load cell, address: e, unit: kN}
`))
		if err != nil {
			t.Fatal(err)
		}
		s, _, err := station.Open(station.Options{Dir: dir, Plan: checked, Map: m, Now: func() time.Time { return clock }})
		if err != nil {
			t.Fatal(err)
		}
		if err := s.Put(t.Context(), &reading.Frame{Source: "a", Readings: []reading.Reading{{Channel: "W", At: reading.At(clock), Marks: reading.Timed, Value: 0.2}}}); err != nil {
			t.Fatal(err)
		}
		want := map[string]float64{"0.8": 5000, "0.4": 10000}[sensitivity]
		if got := s.View().Cells[0].ReadN; math.Abs(got-want) > 1 {
			t.Errorf("the watch reads %g N, want %g", got, want)
		}
		if err := s.Close(); err != nil {
			t.Fatal(err)
		}
		for _, folder := range []string{dir, filepath.Join(dir, "record")} {
			_, r := replayed(t, folder, "pump-motor.yaml")
			if p := r.Legs["west"].PeakN; p == nil || math.Abs(*p-want) > 200 {
				t.Errorf("%s: replay reads %v N at most, want %g and what hangs below", folder, p, want)
			}
		}
		clock = clock.Add(time.Minute)
	}
}

func TestReplayRefuses(t *testing.T) {
	testkit.Alone(t)
	for _, c := range []struct{ name, text, says string }{
		{"no unit", "t,channel,value\n0,W,5\n", "unit"},
		{"empty", "", "t,channel"},
		{"a bare ton", "t,channel,value,unit\n0,W,5,ton\n", "ton"},
	} {
		f := filepath.Join(t.TempDir(), "x.csv")
		if err := os.WriteFile(f, []byte(c.text), 0o666); err != nil {
			t.Fatal(err)
		}
		status, _, err := run("replay", f, "--lift", examples+"/pump-motor.yaml")
		if status != exitInvalid || !strings.Contains(err, c.says) {
			t.Errorf("%s: %d %s", c.name, status, err)
		}
	}
	if status, _, err := run("replay", "nowhere.csv", "--lift", examples+"/pump-motor.yaml"); status != exitInvalid {
		t.Errorf("no file: %d %s", status, err)
	}
}

func TestDrillCommand(t *testing.T) {
	testkit.Alone(t)
	status, out, err := run("drill", "../../watch/drill/testdata/overload.txt", "--lift", examples+"/pump-motor.yaml")
	if status != exitHolds || !strings.Contains(out, "as expected") {
		t.Errorf("%d %s %s", status, out, err)
	}
	f := filepath.Join(t.TempDir(), "wrong.txt")
	if err := os.WriteFile(f, []byte("0 s W 0 kN\n0 s E 0 kN\n2 s expect STOP\n"), 0o666); err != nil {
		t.Fatal(err)
	}
	status, out, _ = run("drill", f, "--lift", examples+"/pump-motor.yaml")
	if status != exitFails || !strings.Contains(out, "wanted STOP, got WITHIN PLAN") {
		t.Errorf("%d %s", status, out)
	}
}

// The demonstration comes up, is watched, and leaves nothing behind.
func TestDemo(t *testing.T) {
	if testing.Short() {
		t.Skip("takes seconds")
	}
	t.Setenv("TMPDIR", t.TempDir())
	status, out, err := run("demo", "--listen", "127.0.0.1:0", "--for", "6s", "--speed", "12")
	if status != exitHolds || !strings.Contains(out, "lift 1:") || !strings.Contains(out, "http://127.0.0.1:") {
		t.Errorf("%d %s %s", status, out, err)
	}
	if left, _ := filepath.Glob(filepath.Join(os.Getenv("TMPDIR"), "plumbhook-demo-*")); len(left) > 0 {
		t.Errorf("left behind: %v", left)
	}
}
