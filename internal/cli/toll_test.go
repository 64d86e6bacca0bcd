package cli

import (
	"fmt"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"plumbhook/contract"
	"plumbhook/internal/testkit"
)

// numbered is the pump motor with serials on its west leg.
func numbered(t *testing.T) string {
	t.Helper()
	text, err := os.ReadFile("../../examples/pump-motor.yaml")
	if err != nil {
		t.Fatal(err)
	}
	west, rest, _ := strings.Cut(string(text), "  east:\n    from: ring")
	for _, s := range []struct{ kind, serial string }{{"load cell, ", "KP-C-1"}, {"wire rope sling, ", "KP-R-1"}} {
		west = strings.Replace(west, "{kind: "+s.kind, "{kind: "+s.kind+"serial: "+s.serial+", ", 1)
	}
	return west + "  east:\n    from: ring" + rest
}

var numberedGear = []map[string]any{
	{"serial": "KP-C-1", "kind": "load cell", "wll": "6.5 t", "facts": map[string]string{"capacity": "6.5 t", "safe_overload": "150 % of capacity"}, "examine_by": "2199-01-01", "calibrated": "2026-01-01", "calibrate_by": "2199-01-01"},
	{"serial": "KP-R-1", "kind": "wire rope sling", "wll": "5.6 short ton", "examine_by": "2199-01-01"},
}

// A lift watched by the app writes what its gear bore into the history of each
// piece, once; an overload holds the piece until somebody answers. The same
// recording gone through at the command line finds it there already.
func TestGearAfterLift(t *testing.T) {
	t.Setenv("PLUMBHOOK_TEST_YARD", "salt-and-tide-salt")
	dir := t.TempDir()
	r := started(t, dir, nil)
	defer func() { r.close(t) }()
	for _, g := range numberedGear {
		ask[contract.GearShown](t, r, "POST", "/api/gear", g)
	}
	plan := numbered(t)
	l := ask[contract.Lift](t, r, "POST", "/api/lifts", map[string]string{"text": plan})
	at := "/api/lifts/" + l.ID
	ask[contract.Lift](t, r, "POST", at+"/approve", map[string]any{"who": "P. Planner", "revision": 1, "sha256": l.Revisions[0].SHA256, "unit": "kN"})
	ask[contract.Lift](t, r, "POST", at+"/watch", map[string]string{"who": "R. Rigger", "map": "channel_map: 1\ngateways: {yard: {kind: http, password: {env: PLUMBHOOK_TEST_YARD}}}\nchannels:\n" +
		"  W: {gateway: yard, kind: load cell, address: W, unit: N}\n  E: {gateway: yard, kind: load cell, address: E, unit: N}\n"})
	send := func(w, e float64) {
		t.Helper()
		var b strings.Builder
		b.WriteString("t,channel,value_N\n")
		now := time.Now().UTC()
		for i := range 10 {
			at := now.Add(time.Duration(i-10) * 20 * time.Millisecond).Format(time.RFC3339Nano)
			fmt.Fprintf(&b, "%s,W,%g\n%s,E,%g\n", at, w+float64(i%3), at, e+float64(i%3))
		}
		req, err := http.NewRequest("POST", r.url+"/api/readings", strings.NewReader(b.String()))
		if err != nil {
			t.Fatal(err)
		}
		req.SetBasicAuth("yard", "salt-and-tide-salt")
		req.Header.Set("Content-Type", "text/csv")
		res, err := http.DefaultClient.Do(req)
		if err != nil {
			t.Fatal(err)
		}
		defer res.Body.Close()
		if res.StatusCode != 200 {
			t.Fatalf("readings: %s", res.Status)
		}
	}
	for _, n := range []float64{0, 15e3, 30e3, 58e3, 40e3, 20e3, 0} { // the sling is rated for 49.8 kN, the cell for 63.7
		send(n, n)
		time.Sleep(220 * time.Millisecond)
	}
	id := ask[contract.Lift](t, r, "GET", at, nil).Watches[0].ID
	ended := ask[contract.Lift](t, r, "POST", at+"/end", map[string]string{"who": "R. Rigger", "outcome": "stopped", "note": "overload"})
	if !strings.Contains(ended.Says, "HELD") || !strings.Contains(ended.Says, "KP-R-1") || strings.Contains(ended.Says, "KP-C-1") {
		t.Errorf("at the end: %q", ended.Says)
	}
	shown := func(serial string) contract.GearShown {
		return ask[contract.GearShown](t, r, "GET", "/api/gear/"+serial, nil)
	}
	sling, cell := shown("KP-R-1"), shown("KP-C-1")
	if p := sling.Item.Life.PeakN; p == nil || *p < 58e3 || *p > 58.3e3 || sling.Item.Life.Over100 != 1 || sling.Item.Life.Lifts != 1 {
		t.Errorf("the sling's life: %+v", sling.Item.Life)
	}
	if sling.Item.Life.Proposed == nil || cell.Item.Life.Proposed != nil || cell.Item.Life.Over75 != 1 {
		t.Errorf("held: %+v and %+v", sling.Item.Life, cell.Item.Life)
	}
	// Once, however often.
	again := ask[contract.GearTaken](t, r, "POST", "/api/records/"+id+"/gear", map[string]string{"who": "R. Rigger"})
	if len(again.Written) != 0 || len(again.Had) != 2 {
		t.Errorf("again: %+v", again)
	}
	// The plan does not hold with it until somebody answers.
	verdict := func() string {
		return ask[contract.DeskCheck](t, r, "POST", "/api/check", map[string]any{"text": plan}).Verdict
	}
	if v := verdict(); v != "fails" {
		t.Errorf("with gear held the plan %s", v)
	}
	refuses(t, r, "/api/gear/KP-R-1/changes", map[string]string{"who": "S. Store", "kind": "refusing"}, 422)
	ask[contract.GearShown](t, r, "POST", "/api/gear/KP-R-1/changes", map[string]string{"who": "S. Store", "kind": "refusing", "reason": "measured and looked at: nothing"})
	if v := verdict(); v == "fails" {
		t.Error("answered, the plan still fails")
	}
	r.close(t)
	file := filepath.Join(t.TempDir(), "lift.yaml")
	if err := os.WriteFile(file, []byte(plan), 0o644); err != nil {
		t.Fatal(err)
	}
	_, out, errs := run("replay", filepath.Join(dir, watchesDir, url.PathEscape(id)), "--lift", file, "--data", dir, "--enter", "--by", "S. Store")
	if strings.Count(out, "has this recording already") != 2 {
		t.Errorf("at the command line: %s%s", out, errs)
	}
	_, out, _ = run("gear", "show", "KP-R-1", "--data", dir)
	for _, want := range []string{"watched lifts", "above 50 % of the rating in 1 lifts", "quarantine refused", "measured and looked at"} {
		if !strings.Contains(out, want) {
			t.Errorf("show lacks %q: %s", want, out)
		}
	}
	r = started(t, dir, nil)
}

// Readings that the app did not watch: told first, written when asked, once.
func TestReplayEnters(t *testing.T) {
	testkit.Alone(t)
	data, dir := t.TempDir(), t.TempDir()
	list := filepath.Join(dir, "gear.csv")
	write := func(path, text string) {
		t.Helper()
		if err := os.WriteFile(path, []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	write(list, "serial,kind,wll,examine_by,capacity,calibrated,calibrate_by\nKP-C-1,load cell,6.5 t,2199-01-01,6.5 t,2026-01-01,2199-01-01\nKP-R-1,wire rope sling,5.6 short ton,2199-01-01,,,\n")
	if status, out, errs := run("gear", "import", list, "--data", data); status != exitHolds {
		t.Fatal(out, errs)
	}
	file, readings := filepath.Join(dir, "lift.yaml"), filepath.Join(dir, "readings.csv")
	write(file, numbered(t))
	csv := "t,channel,value_N\n"
	for i := range 200 {
		n := min(float64(i), 199-float64(i)) * 700 // 69 kN at most: past the cell's capacity
		csv += fmt.Sprintf("%.2f,W,%g\n%.2f,E,%g\n", float64(i)/20, n, float64(i)/20, n)
	}
	write(readings, csv)
	args := []string{"replay", readings, "--lift", file, "--data", data}
	_, out, errs := run(args...)
	if !strings.Contains(out, "NOT WRITTEN") || strings.Count(out, "HELD") != 2 || errs != "" {
		t.Fatalf("offered: %s%s", out, errs)
	}
	if status, _, errs := run(append(args, "--enter")...); status != exitInvalid || !strings.Contains(errs, "--by") {
		t.Errorf("without a name: %d, %s", status, errs)
	}
	args = append(args, "--enter", "--by", "S. Store")
	if status, _, errs := run(args...); status != exitInvalid || !strings.Contains(errs, "--on") {
		t.Errorf("without a day: %d, %s", status, errs)
	}
	args = append(args, "--on", "2026-03-02")
	if _, out, _ := run(args...); !strings.Contains(out, "gear history, written") {
		t.Errorf("written: %s", out)
	}
	if _, out, _ := run(args...); !strings.Contains(out, "nothing to write") || strings.Count(out, "already") != 2 {
		t.Errorf("again: %s", out)
	}
	if _, out, _ = run("gear", "list", "--data", data); strings.Count(out, "HELD, in service") != 2 {
		t.Errorf("listed: %s", out)
	}
	_, out, _ = run("gear", "show", "KP-C-1", "--data", data)
	if !strings.Contains(out, "past its capacity of 63.74 kN: held until its zero was checked and it was examined") || !strings.Contains(out, "2026-03-02") {
		t.Errorf("the cell: %s", out)
	}
}
