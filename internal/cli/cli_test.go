package cli

import (
	"bytes"
	"encoding/json"
	"errors"
	"flag"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"plumbhook/contract"
	"plumbhook/internal/testkit"
	"plumbhook/lift"
	"plumbhook/verdict"
)

var update = flag.Bool("update", false, "write the golden files anew")

const examples = "../../examples"

// run runs the command line with buffers.
func run(args ...string) (status int, out, err string) {
	var stdout, stderr bytes.Buffer
	status = Run(args, &stdout, &stderr)
	return status, stdout.String(), stderr.String()
}

// file writes a lift file for a test.
func file(t *testing.T, text string) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "lift.yaml")
	if err := os.WriteFile(path, []byte(text), 0o644); err != nil {
		t.Fatal(err)
	}
	return path
}

const valve = `
plumbhook: 1
title: Valve body to the workshop
load:
  name: valve body
  mass: 1200 kg ± 3 %
  cg: 0.05 0 0.6 m ± 20 mm
  lugs:
    west: {at: -0.5 0 1.2 m, wll: 2 t}
    east: {at: 0.5 0 1.2 m, wll: 2 t}
hooks:
  main: {wll: 5 t}
legs:
  west: {from: main, to: load.west, length: 1.5 m ± 5 mm, wll: 2 t}
  east: {from: main, to: load.east, length: 1.5 m ± 5 mm, wll: 2 t}
`

// golden compares a text with the file beside the tests.
func golden(t *testing.T, name, got string, same func(got, want string) error) {
	t.Helper()
	path := filepath.Join("testdata", name)
	if *update {
		if err := os.WriteFile(path, []byte(got), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if err := same(got, string(want)); err != nil {
		t.Errorf("%s: %v\n(go test ./internal/cli -update writes it anew; read the difference before you keep it)", name, err)
	}
}

func sameText(got, want string) error {
	a, b := strings.Split(got, "\n"), strings.Split(want, "\n")
	for i := range max(len(a), len(b)) {
		switch {
		case i >= len(a):
			return fmt.Errorf("line %d is missing: %q", i+1, b[i])
		case i >= len(b):
			return fmt.Errorf("line %d is too many: %q", i+1, a[i])
		case a[i] != b[i]:
			return fmt.Errorf("line %d\ngot  %q\nwant %q", i+1, a[i], b[i])
		}
	}
	return nil
}

// sameJSON compares numbers to 1e-9 of their size, since processors round
// differently, and everything else to the letter. What is nothing but
// rounding, far below a millionth of a newton, a metre or a degree, is nothing.
func sameJSON(got, want string) error {
	var a, b any
	if err := json.Unmarshal([]byte(got), &a); err != nil {
		return err
	}
	if err := json.Unmarshal([]byte(want), &b); err != nil {
		return err
	}
	return sameValue("", a, b)
}

func sameValue(path string, got, want any) error {
	switch w := want.(type) {
	case map[string]any:
		g, ok := got.(map[string]any)
		if !ok {
			return fmt.Errorf("%s is %v, want an object", path, got)
		}
		for k := range w {
			if _, ok := g[k]; !ok {
				return fmt.Errorf("%s.%s is missing", path, k)
			}
		}
		for k := range g {
			if _, ok := w[k]; !ok {
				return fmt.Errorf("%s.%s is new", path, k)
			}
			if err := sameValue(path+"."+k, g[k], w[k]); err != nil {
				return err
			}
		}
		return nil
	case []any:
		g, ok := got.([]any)
		if !ok || len(g) != len(w) {
			return fmt.Errorf("%s is %v, want %v", path, got, want)
		}
		for i := range w {
			if err := sameValue(fmt.Sprintf("%s[%d]", path, i), g[i], w[i]); err != nil {
				return err
			}
		}
		return nil
	case float64:
		g, ok := got.(float64)
		if !ok || math.Abs(g-w) > 1e-9*math.Abs(w)+1e-7 {
			return fmt.Errorf("%s is %v, want %v", path, got, want)
		}
		return nil
	}
	if got != want {
		return fmt.Errorf("%s is %v, want %v", path, got, want)
	}
	return nil
}

func TestSameJSON(t *testing.T) {
	const doc = `{"a": [1, 2.5e6, null], "b": "x"}`
	if err := sameJSON(`{"a": [1, 2.5000000001e6, null], "b": "x"}`, doc); err != nil {
		t.Error(err)
	}
	for _, other := range []string{
		`{"a": [1, 2.50001e6, null], "b": "x"}`, `{"a": [1, 2.5e6, 0], "b": "x"}`, `{"a": [1, 2.5e6], "b": "x"}`,
		`{"a": [1, 2.5e6, null], "b": "y"}`, `{"a": [1, 2.5e6, null]}`, `{"a": [1, 2.5e6, null], "b": "x", "c": 1}`,
	} {
		if sameJSON(other, doc) == nil {
			t.Errorf("%s passes for %s", other, doc)
		}
	}
}

// TestExamples holds what is said of the three examples against what was
// read and kept.
func TestExamples(t *testing.T) {
	testkit.Alone(t)
	files, err := filepath.Glob(filepath.Join(examples, "*.yaml"))
	if err != nil || len(files) < 3 {
		t.Fatalf("%d examples: %v", len(files), err)
	}
	for _, path := range files {
		name := strings.TrimSuffix(filepath.Base(path), ".yaml")
		t.Run(name, func(t *testing.T) {
			for _, c := range []struct {
				golden string
				args   []string
				same   func(got, want string) error
			}{
				{name + ".txt", nil, sameText},
				{name + ".us.txt", []string{"--units", "us", "--sheet"}, sameText},
				{name + ".json", []string{"--format", "json"}, sameJSON},
			} {
				status, out, errs := run(append([]string{"check", path}, c.args...)...)
				if status != exitHolds || errs != "" {
					t.Errorf("%s: status %d, %q", c.golden, status, errs)
				}
				golden(t, c.golden, out, c.same)
			}
		})
	}
}

// TestText looks at the text of the examples and of a lift that fails in
// every way as a person would: it fits a screen, says everything that counts,
// and nothing steers the terminal.
func TestText(t *testing.T) {
	testkit.Alone(t)
	bad := file(t, `
plumbhook: 1
title: Läufer aus Schacht 3
revision: C
rulebook: us
dynamic: {factor: 1.3}
limits: {total: {warn: 30 kN, stop: 40 kN}, tilt: 2 deg}
load:
  name: Läufer
  mass: 4000 kg ± 5 %
  cg: 0.3 0.2 0.7 m ± 50 mm
  lugs:
    nw: {at: -1.2 0.6 1.4 m, wll: 1 t}
    ne: {at: 1.2 0.6 1.4 m, wll: 4 t}
    東: {at: -1.2 -0.6 1.4 m, wll: 4 t}
    se: {at: 1.2 -0.6 1.4 m}
hooks:
  main: {wll: 2 t}
legs:
  Nordwest Schäkel und Kette: {from: main, to: load.nw, length: 3 m ± 0.2 %, stiffness: 5.2 MN/m, wll: 1 t}
  é: {from: main, to: load.ne, length: 3.01 m ± 0.2 %, stiffness: 5.2 MN/m, wll: 2 t}
  東: {from: main, to: load.東, length: 3 m ± 0.2 %, stiffness: 5.2 MN/m, wll: 2 t}
  se: {from: main, to: load.se, length: 3.05 m ± 0.2 %, stiffness: 5.2 MN/m}
steps:
  - {name: let out, legs: {se: {length: 3.1 m}}}
`)
	status, out, errs := run("check", bad)
	if status != exitFails || errs != "" {
		t.Fatalf("status %d, %s", status, errs)
	}
	for _, want := range []string{
		" FAILS, 7 NOT ASSESSED ",
		"=== as first rigged: FAILS, 7 NOT ASSESSED",
		"=== step 1, let out: FAILS, 7 NOT ASSESSED",
		" NOT ASSESSED legs.se (leg) has no rating",
		" % of its rating, 19.613 kN <<< OVER",
		"(2.0° allowed <<< OVER)",
		"low side between +x and +y (31° from +x to +y)",
		"warn at 30 <<< REACHED; stop at 40 <<< REACHED",
		"Ratings written in mass units are read as force at standard gravity (9.80665 m/s2).",
		"it does not release the lift",
		"Läufer aus Schacht 3, revision C (",
	} {
		if !strings.Contains(strings.Join(strings.Fields(out), " "), want) {
			t.Errorf("not said: %q in\n%s", want, out)
		}
	}
	stop, caution := strings.LastIndex(out[:strings.Index(out, "let out")], "\nSTOP "), strings.Index(out, "\nCAUTION ")
	if stop < 0 || caution < stop {
		t.Errorf("a caution at %d comes before a stop at %d", caution, stop)
	}
	for _, mark := range []struct{ leg, mark string }{
		{"Nordwest ", "<<< WORST OVER"}, {"é ", "<<< OVER"}, {"東 ", "<<< OVER"}, {"se ", "<<< SLACK"},
	} {
		if !slices.ContainsFunc(strings.Split(out, "\n"), func(line string) bool {
			return strings.HasPrefix(line, mark.leg) && strings.HasSuffix(line, mark.mark)
		}) {
			t.Errorf("leg %s is not marked %s", mark.leg, mark.mark)
		}
	}
	lines(t, out)
	_, us, _ := run("check", bad, "--units", "us")
	lines(t, us)
	if strings.Contains(us, "kN") || !strings.Contains(us, "lbf") {
		t.Errorf("kN in US units:\n%s", us)
	}
}

// lines fails on lines too long for a screen and on characters that steer it.
func lines(t *testing.T, text string) {
	t.Helper()
	for _, line := range strings.Split(text, "\n") {
		if n := cells(line); n > columns {
			t.Errorf("%d columns: %s", n, line)
		}
		if strings.ContainsRune(line, '\x1b') || strings.TrimRight(line, " ") != line {
			t.Errorf("steers the terminal, or ends in spaces: %q", line)
		}
	}
}

// TestPrintable: a file name, unlike a lift file, may hold anything.
func TestPrintable(t *testing.T) {
	if got := printable("a\x1b[2J\u202eb\rc\nd é"); got != "a\ufffd[2J\ufffdb\ufffdc\nd é" {
		t.Errorf("%q", got)
	}
	if _, _, errs := run("check", "no\x1b[2J.yaml"); errs == "" || strings.ContainsRune(errs, '\x1b') {
		t.Errorf("%q", errs)
	}
}

func TestUtilisationRoundsUp(t *testing.T) {
	for u, want := range map[float64]string{
		0: "0 %", 0.471: "48 %", 0.48: "48 %", 0.9901: "100 %", 1: "100 %", 1.00001: "101 %", 12.341: "1235 %",
	} {
		if got := percent(u); got != want {
			t.Errorf("%v is shown as %s, want %s", u, got, want)
		}
	}
}

func TestShow(t *testing.T) {
	for _, c := range []struct {
		v, half float64
		r       rounding
		want    string
	}{
		{21.310, 0.40, nearest, "21.31"},
		{21.711, 0.40, upward, "21.72"},
		{21.710, 0.40, upward, "21.71"},
		{42.668, 0.75, down, "42.66"},
		{16.5, 17, nearest, "17"},
		{4100.4, 820, nearest, "4100"},
		{4100.4, 820, upward, "4110"},
		{117.6798, 0, nearest, "117.68"},
		{0, 0, nearest, "0"},
		{0, 1.3, upward, "0.0"},
		{-7.25, 1.3, down, "-7.3"},
		{math.NaN(), 1, nearest, "not known"},
	} {
		if got := show(c.v, c.half, c.r); got != c.want {
			t.Errorf("%v ± %v is shown as %s, want %s", c.v, c.half, got, c.want)
		}
	}
}

func TestLowSide(t *testing.T) {
	for deg, want := range map[float64]string{
		0: "+x (0°", 4.4: "+x (4°", 31: "between +x and +y (31°", 90: "+y (90°", -180: "-x (180°", 180: "-x (180°",
		-91: "-y (269°", 300: "between -y and +x (300°", 359.7: "+x (0°",
	} {
		rad := deg * math.Pi / 180
		if got := lowSide(&lift.HungBody{Tilt: 0.1, LowSide: &rad}); !strings.Contains(got, "low side "+want) {
			t.Errorf("%v deg: %s, want %s", deg, got, want)
		}
	}
	if got := lowSide(&lift.HungBody{}); got != "" {
		t.Errorf("a level body has a low side: %s", got)
	}
}

func TestGrid(t *testing.T) {
	g := grid{align: "ldr"}
	g.row("a", "kN", "of")
	g.row("東京", "1.25", "9")
	g.row("e\u0301", "21.3", "10")
	g.row("long\nname", "100", "")
	want := "" +
		"a         kN  of\n" +
		"東京    1.25   9\n" +
		"e\u0301      21.3   10\n" +
		"long  100\n" +
		"name\n"
	if got := g.String(); got != want {
		t.Errorf("got\n%s\nwant\n%s", got, want)
	}
}

// TestStatus goes through the exit statuses, and looks for the words.
func TestStatus(t *testing.T) {
	good := file(t, valve)
	weak := file(t, strings.Replace(valve, "main: {wll: 5 t}", "main: {wll: 1 t}", 1))
	unrated := file(t, strings.Replace(valve, "main: {wll: 5 t}", "main: {}", 1))
	short := file(t, strings.ReplaceAll(strings.Replace(valve, "main: {wll: 5 t}", "main: {at: 0 0 9 m}\n  far: {at: 9 0 9 m}", 1),
		"east: {from: main", "east: {from: far"))
	for _, c := range []struct {
		name     string
		args     []string
		status   int
		out, err string // in stdout, in stderr; empty: nothing there
	}{
		{"nothing", nil, exitHolds, "Usage: plumbhook <command>", ""},
		{"help", []string{"--help"}, exitHolds, "Exit status: 0 it holds", ""},
		{"help of check", []string{"check", "--help"}, exitHolds, "Exit status: 0 the plan holds", ""},
		{"help of draw", []string{"draw", "--help"}, exitHolds, "Exit status: 0 drawn", ""},
		{"help of schema", []string{"schema", "--help"}, exitHolds, "Exit status: 0 printed", ""},
		{"help of version", []string{"version", "--help"}, exitHolds, "Exit status: 0 printed", ""},
		{"version", []string{"version"}, exitHolds, "plumbhook ", ""},
		{"schema", []string{"schema"}, exitHolds, `"$schema"`, ""},
		{"holds", []string{"check", good}, exitHolds, "\nHOLDS AS FAR AS CHECKED, 1 NOT ASSESSED\n", ""},
		{"fails", []string{"check", weak}, exitFails, "\nFAILS, 1 NOT ASSESSED\n", ""},
		{"fails, JSON", []string{"check", weak, "--format", "json"}, exitFails, `"verdict": "fails"`, ""},
		{"a rating is missing", []string{"check", unrated}, exitFails, "\nINCOMPLETE: NOTHING CHECKED FAILS, SOMETHING NEEDED IS MISSING, 2 NOT ASSESSED\n", ""},
		{"explained all the same", []string{"check", weak, "--explain", "weight"}, exitFails, "in the verdict", ""},
		{"no such command", []string{"lift"}, exitInvalid, "", "plumbhook --help"},
		{"no such flag", []string{"check", good, "--loud"}, exitInvalid, "", "unknown flag --loud"},
		{"no such format", []string{"check", good, "--format", "xml"}, exitInvalid, "", "--format must be one of"},
		{"no file named", []string{"check"}, exitInvalid, "", "expected \"<file>\""},
		{"no such file", []string{"check", "nowhere.yaml"}, exitInvalid, "", "the lift file cannot be read"},
		{"a folder", []string{"check", t.TempDir()}, exitInvalid, "", "the lift file cannot be read"},
		{"not a lift file", []string{"check", file(t, "a: 1\n")}, exitInvalid, "", "lift.yaml"},
		{"cannot hang", []string{"check", short}, exitInvalid, "", "too short"},
		{"step without explain", []string{"check", good, "--step", "x"}, exitInvalid, "", "no steps"},
		{"no such step to draw", []string{"draw", good, "-o", "x.svg", "--step", "raise"}, exitInvalid, "", `no step called "raise"`},
		{"no such number", []string{"check", good, "--explain", "legs.wset.tension"}, exitInvalid, "", "did you mean legs.west.tension?"},
		{"no such drawing", []string{"draw", good, "-o", "x.jpg"}, exitInvalid, "", "let the name end in .svg, .png or .pdf"},
		{"no place to draw", []string{"draw", good, "-o", filepath.Join(t.TempDir(), "no", "x.svg")}, exitOther, "", "the drawing cannot be written"},
	} {
		status, out, errs := run(c.args...)
		if status != c.status {
			t.Errorf("%s: status %d, want %d\n%s%s", c.name, status, c.status, out, errs)
		}
		if !strings.Contains(out, c.out) || c.out == "" && out != "" {
			t.Errorf("%s: %q is not said in\n%s", c.name, c.out, out)
		}
		if !strings.Contains(errs, c.err) || c.err == "" && errs != "" {
			t.Errorf("%s: %q is not said in\n%s", c.name, c.err, errs)
		}
	}
}

// TestPanic is a mistake of ours: one line, what to do, and status 3.
func TestPanic(t *testing.T) {
	var b bytes.Buffer
	status := report(&b, guard(func() error {
		var none []int
		_ = none[len(b.Bytes())]
		return nil
	}))
	if got := b.String(); status != exitOther || strings.Count(got, "\n") != 1 || !strings.Contains(got, "index out of range") || !strings.Contains(got, "trust no output") {
		t.Errorf("status %d: %q", status, got)
	}
}

// full is an output that takes nothing.
type full struct{}

func (full) Write([]byte) (int, error) { return 0, errors.New("no space left") }

func TestOutputCutShort(t *testing.T) {
	testkit.Alone(t)
	path := file(t, valve)
	for _, args := range [][]string{
		{"check", path},
		{"check", path, "--format", "json"},
		{"check", path, "--explain", "weight"},
		{"check", path, "--explain", "list"},
		{"schema"},
		{"version"},
	} {
		var errs bytes.Buffer
		if status := Run(args, full{}, &errs); status != exitOther || !strings.Contains(errs.String(), "no space left") {
			t.Errorf("%v: status %d, %s", args, status, errs.String())
		}
	}
	if status := Run([]string{"check", path}, io.Discard, io.Discard); status != exitHolds {
		t.Errorf("status %d", status)
	}
}

// TestBroken: every broken example is refused with its golden text.
func TestBroken(t *testing.T) {
	t.Chdir(filepath.Join(examples, "broken"))
	files, err := filepath.Glob("*.yaml")
	if err != nil || len(files) < 10 {
		t.Fatalf("%d broken files: %v", len(files), err)
	}
	for _, name := range files {
		want, err := os.ReadFile(strings.TrimSuffix(name, ".yaml") + ".golden.txt")
		if err != nil {
			t.Fatal(err)
		}
		for _, args := range [][]string{{"check", name}, {"check", name, "--format", "json"}, {"draw", name, "-o", "x.svg"}} {
			status, out, errs := run(args...)
			if len(args) == 4 && args[3] == "json" {
				var got contract.Faults
				if err := json.Unmarshal([]byte(out), &got); err != nil || len(got.Faults) != strings.Count(string(want), "\n") {
					t.Errorf("%v: %v, %s", args, err, out)
				}
				for i, f := range got.Faults {
					line := strings.Split(string(want), "\n")[i]
					if f.Code == "" || f.File != name || !strings.HasPrefix(line, fmt.Sprintf("%s:%d:%d: ", name, f.Line, f.Column)) || !strings.Contains(line, f.What) || !strings.HasSuffix(line, f.Do) {
						t.Errorf("%v: %+v of %s", args, f, line)
					}
				}
				out = ""
			}
			if status != exitInvalid || out != "" || errs != string(want) {
				t.Errorf("%v: status %d, out %q\ngot  %s\nwant %s", args, status, out, errs, want)
			}
		}
	}
}

func TestDraw(t *testing.T) {
	testkit.Alone(t)
	path := file(t, strings.Replace(valve, "east: {from: main, to: load.east, length: 1.5 m ± 5 mm, wll: 2 t}",
		"east: {from: main, to: load.east, length: 1.5 m ± 5 mm, wll: 2 t}\nsteps:\n  - {name: take in, legs: {east: {length: 1.3 m}}}", 1))
	draw := func(name string, args ...string) []byte {
		out := filepath.Join(t.TempDir(), name)
		if status, said, errs := run(append([]string{"draw", path, "-o", out}, args...)...); status != exitHolds || said+errs != "" {
			t.Fatalf("%s %v: status %d, %s%s", name, args, status, said, errs)
		}
		b, err := os.ReadFile(out)
		if err != nil {
			t.Fatal(err)
		}
		return b
	}
	for name, start := range map[string]string{"a.svg": "<", "b.PNG": "\x89PNG", "c.pdf": "%PDF-"} {
		if b := draw(name, "--dpi", "40"); !bytes.HasPrefix(b, []byte(start)) {
			t.Errorf("%s starts with %q", name, b[:min(8, len(b))])
		}
	}
	plain := draw("x.svg")
	if !bytes.Equal(plain, draw("x.svg")) {
		t.Error("the same lift gives two drawings: is there a clock in it?")
	}
	if dated := draw("x.svg", "--date", "3 May 2031"); !bytes.Contains(dated, []byte("3 May 2031")) || bytes.Contains(plain, []byte("3 May 2031")) {
		t.Error("the date does not stand in the drawing, or in the one without")
	}
	if bytes.Equal(plain, draw("x.svg", "--step", "take in")) {
		t.Error("a step changes nothing in the drawing")
	}
	if us := draw("x.svg", "--units", "us"); !bytes.Contains(us, []byte("lbf")) || bytes.Contains(us, []byte(" kN")) {
		t.Error("the US drawing is not in lbf")
	}
	if bytes.Equal(plain, draw("x.svg", "--paper", "A3")) {
		t.Error("the paper changes nothing")
	}
	if bytes.Equal(draw("x.png", "--dpi", "30"), draw("x.png", "--dpi", "60")) {
		t.Error("the resolution changes nothing")
	}
}

// TestExplain prints every explanation of an example: on a screen's width,
// with the number of the verdict marked; and a step's differ.
func TestExplain(t *testing.T) {
	testkit.Alone(t)
	path := filepath.Join(examples, "pump-motor.yaml")
	status, out, errs := run("check", path, "--explain", "list")
	names := strings.Fields(out)
	if status != exitHolds || errs != "" || len(names) < 30 {
		t.Fatalf("status %d, %d names, %s", status, len(names), errs)
	}
	for _, name := range []string{
		"weight", "cg", "tilt", "headroom", "stability", "total", "legs.west.tension", "legs.west.p95", "legs.west.worst",
		"legs.west.utilisation", "legs.west.angle", "legs.west.length", "hooks.main", "bodies.load", "nodes.ring", "expected.W", "compression.load.west.east",
	} {
		if !slices.Contains(names, name) {
			t.Errorf("%s is not in the list", name)
		}
	}
	l, err := read(path)
	if err != nil {
		t.Fatal(err)
	}
	p, err := verdict.Check(l)
	if err != nil {
		t.Fatal(err)
	}
	for _, name := range names {
		x, err := verdict.Explain(p, 0, name)
		if err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		out := explanation(p, x)
		if !strings.HasPrefix(out, name+": ") {
			t.Errorf("%s: starts with another name\n%s", name, out)
		}
		lines(t, out)
		if !strings.HasSuffix(name, ".worst") && name != "stability" && !strings.Contains(out, "<== in the verdict") {
			t.Errorf("%s: no number of the verdict in it\n%s", name, out)
		}
	}
	golden(t, "explain-tension.txt", second(run("check", path, "--explain", "legs.west")), sameText)
	golden(t, "explain-p95.txt", second(run("check", path, "--explain", "legs.east.p95")), sameText)

	var names2 []string
	if err := json.Unmarshal([]byte(second(run("check", path, "--explain", "list", "--format", "json"))), &names2); err != nil || !slices.Equal(names, names2) {
		t.Errorf("the list in JSON: %v, %v", names2, err)
	}
	stepped := file(t, valve+"steps:\n  - {name: take in, legs: {east: {length: 1.3 m}}}\n")
	before, after := second(run("check", stepped, "--explain", "legs.east.length")), second(run("check", stepped, "--explain", "legs.east.length", "--step", "take in"))
	if !strings.Contains(before, `written "1.5 m ± 5 mm"`) || !strings.Contains(after, `written "1.3 m"`) || !strings.Contains(strings.Join(strings.Fields(after), " "), "after step take in") {
		t.Errorf("before\n%s\nafter\n%s", before, after)
	}
}

func second(_ int, out, _ string) string { return out }

// TestExplainJSON: the structured form has the numbers that the text shows.
func TestExplainJSON(t *testing.T) {
	testkit.Alone(t)
	path := filepath.Join(examples, "pump-motor.yaml")
	var check struct {
		Legs map[string]struct {
			TensionN float64 `json:"tension_N"`
		} `json:"legs"`
	}
	if err := json.Unmarshal([]byte(second(run("check", path, "--format", "json"))), &check); err != nil {
		t.Fatal(err)
	}
	var x struct {
		Name    string `json:"name"`
		Working []struct {
			Value   float64 `json:"value"`
			Unit    string  `json:"unit"`
			Source  string  `json:"source"`
			Numbers string  `json:"numbers"`
			Answer  bool    `json:"answer"`
		} `json:"working"`
		Given []struct {
			Symbol string `json:"symbol"`
			Text   string `json:"text"`
			At     *struct {
				File string `json:"file"`
				Line int    `json:"line"`
			} `json:"at"`
		} `json:"given"`
		Tables []struct {
			Columns []struct{ Name, Unit string } `json:"columns"`
			Rows    []struct {
				Values []*float64 `json:"values"`
			} `json:"rows"`
			Sum []*float64 `json:"sum"`
		} `json:"tables"`
	}
	if err := json.Unmarshal([]byte(second(run("check", path, "--explain", "legs.west.tension_N", "--format", "json"))), &x); err != nil {
		t.Fatal(err)
	}
	answers := 0
	for _, k := range x.Working {
		if k.Answer {
			answers++
			if k.Value != check.Legs["west"].TensionN || k.Unit != "N" || k.Source == "" || k.Numbers == "" {
				t.Errorf("answer %+v, the verdict has %v", k, check.Legs["west"].TensionN)
			}
		}
	}
	if x.Name != "legs.west.tension" || answers != 1 || len(x.Tables) != 2 || x.Tables[0].Sum[0] != nil || x.Tables[0].Sum[5] == nil {
		t.Errorf("%+v", x)
	}
	for _, g := range x.Given {
		if g.Symbol == "k" && (g.At == nil || g.At.File != path || g.At.Line == 0 || g.Text != "7.6 MN/m ± 15 %") {
			t.Errorf("stiffness: %+v", g)
		}
	}
}
