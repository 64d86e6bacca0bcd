package cli

import (
	"archive/zip"
	"bytes"
	"encoding/csv"
	"encoding/json"
	"errors"
	"io"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"plumbhook/contract"
	"plumbhook/internal/doccheck"
	"plumbhook/internal/testkit"
	"plumbhook/logbook"
	"plumbhook/reading"
	"plumbhook/record"
	"plumbhook/record/seal"
)

// verifiedJSON runs verify.
func verifiedJSON(t *testing.T, args ...string) (int, contract.Verify) {
	t.Helper()
	status, out, errs := run(append([]string{"verify", "--format", "json"}, args...)...)
	var v contract.Verify
	if err := json.Unmarshal([]byte(out), &v); err != nil {
		t.Fatal(err, errs)
	}
	return status, v
}

// opened gives what a file of a record holds.
func opened(t *testing.T, path, name string) string {
	t.Helper()
	f, err := os.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	info, _ := f.Stat()
	rep, err := seal.Verify(f, info.Size())
	if err != nil {
		t.Fatal(err)
	}
	in := rep.Open(f, name)
	if in == nil {
		return ""
	}
	b, err := io.ReadAll(in)
	if err != nil {
		t.Fatal(err)
	}
	return string(b)
}

// Two lifts sealed one after the other: each holds its plan, the answer that
// replay gives and the readings, replays to the same answer, and follows the
// one before. What was done to one is found, with the status of the design.
func TestSealAndVerify(t *testing.T) {
	testkit.Alone(t)
	dir := t.TempDir()
	in := func(name string) string { return filepath.Join(dir, name) }
	readings := rehearsal(t, "pump-motor.yaml", "as_planned")
	text, err := os.ReadFile(examples + "/pump-motor.yaml")
	if err != nil {
		t.Fatal(err)
	}
	chart, err := os.ReadFile(examples + "/charts/crawler-crane.csv")
	if err != nil {
		t.Fatal(err)
	}
	text = append(text, "\ncrane: {main: {chart: charts/crawler-crane.csv, radius: 7.2 m, boom: 18 m, block: 350 kg}}\n"...)
	lift := in("lift.yaml")
	if err := errors.Join(os.Mkdir(in("charts"), 0o700), os.WriteFile(lift, text, 0o600), os.WriteFile(in("charts/crawler-crane.csv"), chart, 0o600)); err != nil {
		t.Fatal(err)
	}
	sheet := in("crew card.pdf")
	if err := os.WriteFile(sheet, []byte("%PDF"), 0o600); err != nil {
		t.Fatal(err)
	}
	plain, answer, errs := run("replay", readings, "--lift", lift, "--format", "json")
	for _, name := range []string{"one.zip", "two.zip"} {
		status, out, errs := run("replay", readings, "--lift", lift, "--seal", in(name), "--data", in("data"), "--sheet", sheet, "--keep-until", "2040-01-01")
		if status != plain || errs != "" {
			t.Fatalf("%d %s", status, errs)
		}
		if !strings.Contains(out, "\nhead       ") {
			t.Errorf("the head of the chain is not told:\n%s", out)
		}
	}
	if opened(t, in("two.zip"), "result.json") != answer || errs != "" {
		t.Error("the sealed result is not that of replay")
	}
	_, check, _ := run("check", lift, "--format", "json")
	if opened(t, in("two.zip"), "check.json") != check {
		t.Error("the sealed check is not that of check")
	}
	if opened(t, in("two.zip"), "plan/lift.yaml") != string(text) {
		t.Error("the plan is not the lift file")
	}
	if got := opened(t, in("two.zip"), "plan/charts/crawler-crane.csv"); got != string(chart) {
		t.Errorf("the chart that the plan names is %.40q", got)
	}
	if opened(t, in("two.zip"), "sheets/crew card.pdf") != "%PDF" {
		t.Error("the sheet is not there")
	}
	back := in("readings.csv")
	if err := os.WriteFile(back, []byte(opened(t, in("two.zip"), "readings.csv")), 0o600); err != nil {
		t.Fatal(err)
	}
	if _, again, _ := run("replay", back, "--lift", lift, "--format", "json"); again != answer {
		t.Error("the sealed readings replay to something else")
	}
	for kind, name := range map[string]string{"customer": "customer-report", "record": "full-record", "plan": "lift-plan"} {
		args := []string{"sheet", lift, "--kind", kind, "-o", in("again.pdf")}
		if kind != "plan" {
			args = append(args, "--readings", back)
		}
		if status, _, errs := run(args...); status > exitFails {
			t.Fatal(errs)
		}
		again, err := os.ReadFile(in("again.pdf"))
		if err != nil {
			t.Fatal(err)
		}
		if opened(t, in("two.zip"), "printed/"+name+".pdf") != string(again) {
			t.Errorf("the sealed %s is not what sheet prints from what is sealed", name)
		}
	}

	if status, out, errs := run("signer", "--data", in("data"), "-o", in("pub.pem")); status != exitHolds || !strings.Contains(out, "record     2,") {
		t.Errorf("%d %s %s", status, out, errs)
	}
	status, v := verifiedJSON(t, in("two.zip"), "--key", in("pub.pem"), "--before", in("one.zip"))
	if status != exitHolds || !v.Intact || v.Key != "as_given" || v.Before != "follows" || v.Record.Keep[len(v.Record.Keep)-1].Until != "2040-01-01" {
		t.Errorf("%d %+v", status, v)
	}
	if status, v := verifiedJSON(t, in("two.zip"), "--key", v.Signer); status != exitHolds || v.Key != "as_given" {
		t.Errorf("the key by its digits: %d %+v", status, v)
	}
	if status, v = verifiedJSON(t, in("one.zip"), "--before", in("two.zip")); status != exitFails || v.Before != "does_not_follow" {
		t.Errorf("%d %+v", status, v)
	}
	if status, out, _ := run("verify", in("one.zip")); status != exitHolds || !strings.HasPrefix(out, "intact, signer unknown\n") {
		t.Errorf("%d %s", status, out)
	}

	// A forger's own key.
	if status, _, errs := run("replay", readings, "--lift", lift, "--seal", in("forged.zip"), "--data", in("other")); status != plain {
		t.Fatal(errs)
	}
	if status, out, _ := run("verify", in("forged.zip"), "--key", in("pub.pem")); status != exitFails || !strings.HasPrefix(out, "SEALED WITH ANOTHER KEY") {
		t.Errorf("%d %s", status, out)
	}
	b, err := os.ReadFile(in("one.zip"))
	if err != nil {
		t.Fatal(err)
	}
	b[bytes.Index(b, []byte("t,channel,value,unit"))+30]++
	if err := os.WriteFile(in("bad.zip"), b, 0o600); err != nil {
		t.Fatal(err)
	}
	if status, out, _ := run("verify", in("bad.zip")); status != exitFails || !strings.Contains(out, "readings.csv: chunk 1 of") {
		t.Errorf("%d %s", status, out)
	}
	if err := os.WriteFile(in("empty.zip"), nil, 0o600); err != nil {
		t.Fatal(err)
	}
	if status, v := verifiedJSON(t, in("empty.zip")); status != exitFails || v.Intact || v.Record != nil {
		t.Errorf("%d %+v", status, v)
	}

	for _, args := range [][]string{
		{"verify", in("nowhere.zip")},
		{"verify", dir},
		{"verify", in("one.zip"), "--key", in("one.zip")},
		{"verify", in("one.zip"), "--key", "abc"},
		{"verify", in("one.zip"), "--before", in("nowhere.zip")},
		{"replay", readings, "--lift", lift, "--seal", in("one.zip"), "--data", in("data")},
		{"replay", readings, "--lift", lift, "--seal", in("no/folder.zip"), "--data", in("data")},
		{"replay", readings, "--lift", lift, "--data", in("data")},
		{"replay", readings, "--lift", lift, "--seal", in("x.zip"), "--key-file", in("pub.pem"), "--data", in("data")},
		{"replay", readings, "--lift", lift, "--seal", in("x.zip"), "--sheet", in("nowhere.pdf"), "--data", in("data")},
	} {
		if status, _, errs := run(args...); status != exitInvalid || errs == "" {
			t.Errorf("%v: %d %s", args, status, errs)
		}
	}
	if left, _ := filepath.Glob(in(".sealing-*")); len(left) > 0 {
		t.Errorf("left behind: %v", left)
	}
	if _, err := os.Stat(in("x.zip")); !errors.Is(err, os.ErrNotExist) {
		t.Error("a record was begun and left")
	}
}

// A recording is sealed with what persons said, with what the crew was told,
// with the tare taken off, with what it lacks, and without the lift before.
func TestSealRecording(t *testing.T) {
	testkit.Alone(t)
	dir := t.TempDir()
	lift := examples + "/pump-motor.yaml"
	l, err := read(lift)
	if err != nil {
		t.Fatal(err)
	}
	rec, _, err := record.Open(filepath.Join(dir, "record"), record.Options{})
	if err != nil {
		t.Fatal(err)
	}
	start := reading.At(time.Date(2026, 11, 25, 8, 0, 0, 0, time.UTC))
	n := uint64(0)
	add := func(after float64, e logbook.Entry) {
		n++
		e.N, e.At = n, start.Plus(after)
		if err := rec.Append(&e); err != nil {
			t.Fatal(err)
		}
	}
	// E sends mV/V, of which 2 are 100 kN.
	calibrations := `{"E":{"Signal":"mV/V","Coefficients":[0,50000]}}`
	frame := func(after, w float64) {
		at := start.Plus(after)
		add(after, logbook.Entry{Kind: logbook.Frame, Frame: &reading.Frame{Source: "gate", Arrived: at, Readings: []reading.Reading{
			{Channel: "W", At: at, Value: w, Marks: reading.Timed}, {Channel: "E", At: at, Value: 0.002 + after/1e8, Marks: reading.Timed}, {Channel: "stray", At: at, Value: 1},
		}}})
	}
	add(0, logbook.Entry{Kind: logbook.Plan, Text: strings.Repeat("0", 64)})
	frame(1, 99000)
	add(10, logbook.Entry{Kind: logbook.Plan, Text: l.SHA256})
	add(10, logbook.Entry{Kind: logbook.Mark, Says: "calibrations", Text: calibrations})
	add(10, logbook.Entry{Kind: logbook.Mark, Says: "state", Text: "{}"})
	add(10, logbook.Entry{Kind: logbook.Mark, Says: logbook.AtRisk, Text: "the disk is full"})
	for i := range 100 {
		frame(10+float64(i)/10, 100+float64(i%3))
	}
	add(20, logbook.Entry{Kind: logbook.Tare, Who: "A. Rigger", Tare: logbook.Attached})
	frame(20.1, 103)
	add(21, logbook.Entry{Kind: logbook.Word, Who: "A. Rigger", Says: logbook.Daylight})
	add(21, logbook.Entry{Kind: logbook.Event, Text: `{"At":1764057621000000000,"Change":"raised","Kind":"called","Severity":"stop","Text":"told then"}`})
	frame(22, 104)
	if err := rec.Close(); err != nil {
		t.Fatal(err)
	}

	out := filepath.Join(dir, "lift.zip")
	status, _, errs := run("replay", dir, "--lift", lift, "--seal", out)
	if status == exitInvalid || status == exitOther {
		t.Fatal(errs)
	}
	if _, err := os.Stat(filepath.Join(dir, "seal", "key.pem")); err != nil {
		t.Error("the key is not in the data folder of the recording:", err)
	}
	_, v := verifiedJSON(t, out)
	if !v.Intact || v.Record.Readings != 306 || v.Record.From != "2026-11-25T08:00:10Z" || v.Record.To != "2026-11-25T08:00:22Z" {
		t.Errorf("%+v", v.Record)
	}
	if len(v.Record.Missing) != 2 || v.Record.Missing[0] != "2026-11-25T08:00:10Z: the disk is full" || !strings.HasPrefix(v.Record.Missing[1], "stray is not in the plan") {
		t.Errorf("lacks %q", v.Record.Missing)
	}
	words := opened(t, out, "words.jsonl")
	for _, want := range []string{`"kind":"tare"`, `"who":"A. Rigger"`, `"says":"daylight"`, `"kind":"plan"`, `"calibrations"`, "the disk is full"} {
		if !strings.Contains(words, want) {
			t.Errorf("words lack %s: %s", want, words)
		}
	}
	if strings.Contains(words, `"state"`) {
		t.Errorf("a note for a restart is sealed: %s", words)
	}
	if live := opened(t, out, "events-live.jsonl"); !strings.Contains(live, `"text":"told then"`) || strings.Count(live, "\n") != 1 {
		t.Errorf("told then: %s", live)
	}
	rows := func(name string) [][]string {
		all, err := csv.NewReader(strings.NewReader(opened(t, out, name))).ReadAll()
		if err != nil {
			t.Fatal(err)
		}
		return all
	}
	raw, corrected := rows("readings.csv"), rows("corrected.csv")
	if len(raw) != 205 || len(corrected) != 205 {
		t.Fatalf("%d and %d rows", len(raw), len(corrected))
	}
	if raw[len(raw)-2][2] != "104" || corrected[1][2] != raw[1][2] || corrected[len(raw)-2][2] == "104" {
		t.Errorf("last of W: %s came, corrected %s; first %s, %s", raw[len(raw)-2], corrected[len(raw)-2], raw[1], corrected[1])
	}

	if e, n := raw[2], corrected[2]; e[1] != "E" || e[3] != "mV/V" || n[3] != "N" {
		t.Errorf("E came as %q, corrected %q", e, n)
	} else if v, err := strconv.ParseFloat(e[2], 64); err != nil || n[2] != strconv.FormatFloat(50000*v, 'g', -1, 64) {
		t.Errorf("E came as %q, corrected %q", e, n)
	}

	if status, _, errs := run("replay", filepath.Join(dir, "record"), "--lift", examples+"/filter-shell.yaml", "--seal", filepath.Join(dir, "wrong.zip")); status != exitInvalid || !strings.Contains(errs, "other plans") {
		t.Errorf("a plan that was not watched: %d %s", status, errs)
	}
}

// The page on the sealed record: its commands run, one after the other, and
// with general tools alone a stranger finds the record whole, and a changed
// one not.
func TestSealedRecordPage(t *testing.T) {
	testkit.Alone(t)
	text, err := os.ReadFile("../../docs/sealed-record.md")
	if err != nil {
		t.Fatal(err)
	}
	shown, err := filepath.Abs(examples)
	if err != nil {
		t.Fatal(err)
	}
	t.Chdir(t.TempDir())
	if err := os.Symlink(shown, "examples"); err != nil {
		t.Fatal(err)
	}
	var scripts []string
	for _, b := range doccheck.Read(string(text)).Blocks {
		switch b.Kind {
		case "bash":
			scripts = append(scripts, b.Text)
		case "sh":
			for line := range strings.Lines(b.Text) {
				args := words(strings.TrimSpace(line))
				if len(args) < 2 || args[0] != "plumbhook" {
					t.Fatalf("line %d: no command of ours: %s", b.Line, line)
				}
				if status, _, errs := run(args[1:]...); status != exitHolds {
					t.Fatalf("%s: status %d, %s", strings.TrimSpace(line), status, errs)
				}
			}
		}
	}
	if len(scripts) == 0 {
		t.Fatal("the page has no script for a stranger")
	}
	for _, tool := range []string{"bash", "unzip", "sha256sum", "openssl", "jq", "split", "diff"} {
		if _, err := exec.LookPath(tool); err != nil {
			t.Skip("needs " + tool)
		}
	}
	stranger := func() (string, error) {
		if err := os.RemoveAll("look"); err != nil {
			t.Fatal(err)
		}
		out, err := exec.Command("bash", "-euo", "pipefail", "-c", strings.Join(scripts, "\n")).CombinedOutput()
		return string(out), err
	}
	if out, err := stranger(); err != nil {
		t.Errorf("a stranger does not find the record whole: %v\n%s", err, out)
	}
	whole, err := os.ReadFile("lift.zip")
	if err != nil {
		t.Fatal(err)
	}
	// A forger who gets the checksums of zip right all the same.
	for _, c := range []struct{ file, old, new, says string }{
		{"readings.csv", ",W,", ",E,", "readings.csv: FAILED"},
		{"plan/pump-motor.yaml", "plumbhook: 1", "plumbhook: 2", "plan/pump-motor.yaml: FAILED"},
		{"manifest.json", `"revision": "B"`, `"revision": "C"`, "Signature Verification Failure"},
		{"", "", "", "extra.txt"},
	} {
		z, err := zip.NewReader(bytes.NewReader(whole), int64(len(whole)))
		if err != nil {
			t.Fatal(err)
		}
		var b bytes.Buffer
		w := zip.NewWriter(&b)
		for _, f := range z.File {
			in, _ := f.Open()
			text, err := io.ReadAll(in)
			out, bad := w.Create(f.Name)
			if err := errors.Join(err, bad); err != nil {
				t.Fatal(err)
			}
			if f.Name == c.file {
				text = bytes.Replace(text, []byte(c.old), []byte(c.new), 1)
			}
			out.Write(text)
		}
		if c.file == "" {
			w.Create("extra.txt")
		}
		w.Close()
		if err := os.WriteFile("lift.zip", b.Bytes(), 0o600); err != nil {
			t.Fatal(err)
		}
		if out, err := stranger(); err == nil || !strings.Contains(out, c.says) {
			t.Errorf("%s changed: a stranger sees %v\n%s", c.file, err, out)
		}
	}
}

// BenchmarkSealHour replays a lift of an hour, four cells at 50 Hz, from a
// recording, with and without sealing it.
func BenchmarkSealHour(b *testing.B) {
	dir := b.TempDir()
	lift := examples + "/filter-shell.yaml"
	l, err := read(lift)
	if err != nil {
		b.Fatal(err)
	}
	rec, _, err := record.Open(filepath.Join(dir, "record"), record.Options{})
	if err != nil {
		b.Fatal(err)
	}
	start := reading.At(time.Date(2026, 11, 25, 8, 0, 0, 0, time.UTC))
	e := logbook.Entry{N: 1, At: start, Kind: logbook.Plan, Text: l.SHA256}
	noise := rand.New(rand.NewPCG(1, 1))
	for i := 0; ; i++ {
		if err := rec.Append(&e); err != nil {
			b.Fatal(err)
		}
		if i == 3600*10 {
			break
		}
		// Five samples of each cell in a frame; every tenth of a second one.
		at := start.Plus(float64(i) / 10)
		f := &reading.Frame{Source: "gate", Arrived: at}
		for k := range 5 {
			for j, ch := range []string{"NW", "NE", "SE", "SW"} {
				f.Readings = append(f.Readings, reading.Reading{
					Channel: ch, At: at.Plus(float64(k-4) / 50), Seq: uint64(5*i + k), Marks: reading.Timed | reading.Numbered,
					Value: 200 + float64(j) + 3*noise.NormFloat64(),
				})
			}
		}
		e = logbook.Entry{N: uint64(i + 2), At: at, Kind: logbook.Frame, Frame: f}
		if i%1000 == 999 {
			rec.Sync(b.Context())
		}
	}
	if err := rec.Close(); err != nil {
		b.Fatal(err)
	}
	for b.Loop() {
		begin := time.Now()
		if status, _, errs := run("replay", filepath.Join(dir, "record"), "--lift", lift); status == exitInvalid {
			b.Fatal(errs)
		}
		plain := time.Since(begin)
		out := filepath.Join(dir, "lift.zip")
		begin = time.Now()
		if status, _, errs := run("replay", filepath.Join(dir, "record"), "--lift", lift, "--seal", out); status == exitInvalid {
			b.Fatal(errs)
		}
		whole := time.Since(begin)
		info, err := os.Stat(out)
		if err != nil {
			b.Fatal(err)
		}
		b.ReportMetric(whole.Seconds(), "s-replay-and-seal")
		b.ReportMetric((whole - plain).Seconds(), "s-seal")
		b.ReportMetric(float64(info.Size())/1e6, "MB-record")
		os.Remove(out)
	}
}
