package report

import (
	"bytes"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"

	"plumbhook/alarm"
	"plumbhook/card"
	"plumbhook/internal/testkit"
	"plumbhook/lift"
	"plumbhook/quantity"
	"plumbhook/reading"
	"plumbhook/report/paper"
	"plumbhook/verdict"
	"plumbhook/watch"
)

func must[T any](v T, err error) T {
	if err != nil {
		panic(err)
	}
	return v
}

func check(name string, text []byte) *verdict.Plan {
	return must(verdict.Check(must(lift.Read(name, nil, text))))
}

// lifted plays readings that rise to so many times the planned ones.
func lifted(p *verdict.Plan, times float64) *Watched {
	e := must(watch.New(p, watch.Options{}))
	w := &Watched{Plan: p, Trace: Trace{}}
	frames := func(yield func(*reading.Frame, error) bool) {
		for i := range 400 {
			at := reading.Seconds(float64(i) / 10)
			f := &reading.Frame{Arrived: at}
			share := min(max(float64(i-100)/60, 0), 1) * times
			for k := range p.States[0].Expected {
				x := &p.States[0].Expected[k]
				r := reading.Reading{Channel: x.Channel, At: at, Value: share * x.NominalN, Quality: reading.Good}
				f.Readings = append(f.Readings, r)
				w.Trace.Take(&r, r.Value)
			}
			if !yield(f, nil) {
				return
			}
		}
	}
	if err := watch.Play(e, frames, func(ev alarm.Event) { w.Events = append(w.Events, ev) }); err != nil {
		panic(err)
	}
	w.Result, w.View, w.Zero = e.Finish(), e.View(), e.Zero()
	w.Readings, _, w.Unplanned = e.Counts()
	return w
}

// heavy is the pump motor, half as heavy again as planned, and its sheets.
var heavy = sync.OnceValue(func() *Watched {
	return lifted(check("pump-motor.yaml", must(os.ReadFile("../examples/pump-motor.yaml"))), 1.5)
})

var english = Options{Number: "KP-0042", On: "2026-04-03", Program: "plumbhook"}

var printed = sync.OnceValue(func() map[string][]byte { return every(heavy(), english) })

// every prints each kind of sheet.
func every(w *Watched, o Options) map[string][]byte {
	k := must(card.New(w.Plan, 0, card.Day{}))
	out := map[string][]byte{}
	for name, set := range map[string]func() ([]byte, error){
		"lift plan":         func() ([]byte, error) { return LiftPlan(w.Plan, o) },
		"gear issue":        func() ([]byte, error) { return GearIssue(w.Plan, o) },
		"crew card":         func() ([]byte, error) { return CrewCard(k, o) },
		"expected readings": func() ([]byte, error) { return ExpectedReadings(k, o) },
		"briefing":          func() ([]byte, error) { return Briefing(k, o) },
		"customer report":   func() ([]byte, error) { return Customer(w, o) },
		"full record":       func() ([]byte, error) { return FullRecord(w, o) },
		"near miss":         func() ([]byte, error) { return NearMiss(w, 1, o) },
	} {
		out[name] = must(set())
	}
	return out
}

// read gives what a reader that is not ours finds on each page.
func read(t *testing.T, pdf []byte) []string {
	t.Helper()
	tool, err := exec.LookPath("pdftotext")
	if err != nil {
		t.Skip("pdftotext is not on the PATH: apt-get install poppler-utils")
	}
	cmd := exec.Command(tool, "-layout", "-", "-")
	cmd.Stdin = bytes.NewReader(pdf)
	out, err := cmd.Output()
	if err != nil {
		t.Fatal(err)
	}
	return strings.Split(strings.TrimSuffix(string(out), "\f"), "\f")
}

func flat(s string) string { return strings.Join(strings.Fields(s), " ") }

// On every page of every sheet, in both languages: what it is, which document,
// which file, page x of y, and the cautions.
func TestEverySheet(t *testing.T) {
	testkit.Alone(t)
	w := heavy()
	spanish := english
	spanish.Language, spanish.Units = paper.Spanish, quantity.US
	for _, o := range []Options{english, spanish} {
		sheets := every(w, o)
		for kind, pdf := range sheets {
			if o == english && !bytes.Equal(pdf, printed()[kind]) {
				t.Errorf("%s: the same input gave other bytes", kind)
			}
			pages := read(t, pdf)
			for i, page := range pages {
				for _, want := range []string{
					words.Say(o.Language, kind), "KP-0042", w.Plan.Lift.SHA256, map[paper.Language]string{"": fmt.Sprintf("page %d of %d", i+1, len(pages)), paper.Spanish: fmt.Sprintf("página %d de %d", i+1, len(pages))}[o.Language],
					map[paper.Language]string{"": "it does not release the lift", paper.Spanish: "no autoriza la maniobra"}[o.Language],
				} {
					if !strings.Contains(strings.ToLower(flat(page)), strings.ToLower(want)) {
						t.Errorf("%s %s, page %d lacks %q", kind, o.Language, i+1, want)
					}
				}
				if strings.Contains(page, "[") && strings.Contains(page, "%!") {
					t.Errorf("%s, page %d: a key or a placeholder came through", kind, i+1)
				}
			}
		}
	}
}

// Numbers on paper are those of the program's own packages, and the sling-angle
// factors those of any trade table: 1.155 at 60, 1.414 at 45, 2.000 at 30
// degrees from horizontal (1 / sin).
func TestNumbers(t *testing.T) {
	w, all := lifted(heavy().Plan, 1), printed()
	has := func(kind string, want ...string) {
		t.Helper()
		text := flat(strings.Join(read(t, all[kind]), " "))
		for _, s := range want {
			if !strings.Contains(text, s) {
				t.Errorf("%s lacks %q", kind, s)
			}
		}
	}
	has("lift plan", "HOLDS AS FAR AS CHECKED, 3 NOT ASSESSED", "43.41 kN", "44.53 kN", "54 %", "lug east of the load", "4100 kg ± 82 kg", "75.5°", "14.5°", "20.69 – 21.65", "Hazardous contents")
	has("crew card", "ANYONE MAY CALL STOP", "44.66 kN", "21.69", "24.11")
	has("expected readings", "5.54", "11.14", "16.75", "Tug test", "read:")
	has("briefing", "1.155", "1.414", "2.000", "runs out at 32° from horizontal")
	has("near miss", "stop 1 of", "What happened, in own words")
	has("customer report", "DECLARED", "MEASURED", "least value", "Past a limit, or not as planned")
	// Declared 43.41 kN ± 0.89 kN: what lies further off than the root of the sum
	// of squares of both uncertainties does not agree.
	for _, c := range []struct {
		n, u float64
		want string
	}{{43410 + 880, 100, "measured agree"}, {43410 + 1000, 100, "NOT agree"}, {43410 + 1000, 500, "measured agree"}} {
		w.Result.Estimate.AtLeast, w.Result.Estimate.WeightN, w.Result.Estimate.WeightU95N = false, c.n, c.u
		text := flat(strings.Join(read(t, must(Customer(w, Options{}))), " "))
		if !strings.Contains(text, c.want) || strings.Contains(text, "■ STOP") {
			t.Errorf("measured %g ± %g N: no %q in %s", c.n, c.u, c.want, text)
		}
	}
	if n := len(read(t, all["customer report"])); n > 2 {
		t.Errorf("the customer report has %d pages", n)
	}
	if n := len(read(t, all["crew card"])); n != 1 {
		t.Errorf("the crew card has %d pages", n)
	}
}

// large is a lift with eight legs from one hook, five parts in each, and names
// as long as names get.
func large() []byte {
	var b strings.Builder
	b.WriteString("plumbhook: 1\ntitle: " + strings.Repeat("Strainer housing with its frame and all nozzles ", 4) + "\nrevision: AA\nload:\n  name: strainer housing with frame\n  mass: 24 t ± 2 %\n  cg: 0 0 1 m ± 30 mm\n  size: 6 4 2 m\n  lugs:\n")
	long := func(i int) string { return fmt.Sprintf("corner-number-%d-of-the-upper-frame-towards-the-river", i) }
	for i := range 8 {
		fmt.Fprintf(&b, "    %s: {at: %g %g 2 m, type: plate, axis: 0 1 0, wll: 10 t}\n", long(i), []float64{-3, -1, 1, 3}[i%4], []float64{-2, 2}[i/4])
	}
	b.WriteString("hooks:\n  main: {wll: 60 t}\nlegs:\n")
	for i := range 8 {
		fmt.Fprintf(&b, "  %s:\n    from: main\n    to: load.%s\n    stack:\n", long(i), long(i))
		for k := range 5 {
			if k == 1 {
				fmt.Fprintf(&b, "      - {kind: load cell, serial: KP-CELL-%d, capacity: 12 t, accuracy: 0.1 %% fs, length: 0.3 m, channel: CH%d, zero: hung}\n", i, i)
				continue
			}
			length, stiff := 0.1, ""
			if k == 3 {
				length, stiff = 5.5, ", stiffness: 8 MN/m"
			}
			fmt.Fprintf(&b, "      - {kind: special link of our own yard, serial: KP-%d-%d-%s, wll: 12 t, length: %g m%s}\n", i, k, strings.Repeat("9", 14), length, stiff)
		}
	}
	return []byte(b.String())
}

// Eight legs, forty parts, long names: all of it is on paper, the crew card is
// one page, and nothing is printed past the margins or over the foot.
func TestLargeLift(t *testing.T) {
	testkit.Alone(t)
	p := check("large.yaml", large())
	k := must(card.New(p, 0, card.Day{}))
	o := Options{Language: paper.Spanish, Number: strings.Repeat("KPW-", 12) + "7"}
	plan, issue, crew := must(LiftPlan(p, o)), must(GearIssue(p, o)), must(CrewCard(k, o))
	tight := func(s string) string { return strings.Join(strings.Fields(s), "") }
	for name, pdf := range map[string][]byte{"plan": plan, "issue": issue} {
		text := tight(strings.Join(read(t, pdf), ""))
		for i := range 8 {
			if want := fmt.Sprintf("KP-CELL-%d", i); !strings.Contains(text, want) {
				t.Errorf("%s: %s is not on paper", name, want)
			}
		}
		boxes(t, pdf)
	}
	boxes(t, crew)
	if n := len(read(t, crew)); n != 1 {
		t.Errorf("the crew card of a large lift has %d pages", n)
	}
}

// boxes fails where a word lies outside the margins or over another one, by
// what pdftotext says of their places.
func boxes(t *testing.T, pdf []byte) int {
	t.Helper()
	cmd := exec.Command("pdftotext", "-bbox", "-", "-")
	cmd.Stdin = bytes.NewReader(pdf)
	out, err := cmd.Output()
	if err != nil {
		t.Fatal(err)
	}
	type box struct {
		x0, y0, x1, y1 float64
		s              string
	}
	var page []box
	var w, h float64
	n := 0
	for _, line := range strings.Split(string(out), "\n") {
		line = strings.TrimSpace(line)
		var b box
		switch {
		case strings.HasPrefix(line, "<page"):
			fmt.Sscanf(line, `<page width="%f" height="%f">`, &w, &h)
			page = page[:0]
		case strings.HasPrefix(line, "<word"):
			fmt.Sscanf(line, `<word xMin="%f" yMin="%f" xMax="%f" yMax="%f">`, &b.x0, &b.y0, &b.x1, &b.y1)
			b.s = line[strings.Index(line, ">")+1:]
			const edge = 14*72/25.4 - 1.5
			if b.x0 < edge || b.x1 > w-edge || b.y0 < edge-12 || b.y1 > h-edge+4 {
				t.Errorf("%s lies outside the margins", b.s)
			}
			for _, q := range page {
				if x, y := min(b.x1, q.x1)-max(b.x0, q.x0), min(b.y1, q.y1)-max(b.y0, q.y0); x > 0.7 && y > 0.45*min(b.y1-b.y0, q.y1-q.y0) {
					t.Errorf("%s lies over %s", b.s, q.s)
				}
			}
			page = append(page, b)
			n++
		}
	}
	if n == 0 {
		t.Error("no word was found")
	}
	return n
}

// Checkers that are not ours find nothing to mend.
func TestWellFormed(t *testing.T) {
	testkit.Alone(t)
	for kind, pdf := range printed() {
		for _, tool := range []string{"qpdf", "mutool"} {
			if _, err := exec.LookPath(tool); err != nil {
				t.Skipf("%s is not on the PATH: apt-get install qpdf mupdf-tools", tool)
			}
		}
		file := filepath.Join(t.TempDir(), "sheet.pdf")
		if err := os.WriteFile(file, pdf, 0o644); err != nil {
			t.Fatal(err)
		}
		if out, err := exec.Command("qpdf", "--check", file).CombinedOutput(); err != nil || bytes.Contains(out, []byte("WARNING")) {
			t.Errorf("%s: qpdf: %v\n%s", kind, err, out)
		}
		out, err := exec.Command("mutool", "draw", "-q", "-F", "text", file).Output()
		if got, want := strings.Count(flat(string(out)), "does not release the lift"), len(read(t, pdf)); err != nil || got != want {
			t.Errorf("%s: mutool finds the cautions %d times on %d pages: %v", kind, got, want, err)
		}
	}
}

func TestRefuses(t *testing.T) {
	p := heavy().Plan
	for name, o := range map[string]Options{"bare ton": {Force: "ton"}, "no unit": {Force: "mN m"}, "language": {Language: "de"}} {
		if _, err := LiftPlan(p, o); err == nil {
			t.Errorf("%s: was printed", name)
		}
	}
	if _, err := NearMiss(lifted(p, 1), 1, Options{}); err == nil {
		t.Error("a near miss without a stop was printed")
	}
}
