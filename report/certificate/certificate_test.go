package certificate

import (
	"bytes"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"plumbhook/contract"
	"plumbhook/internal/testkit"
	"plumbhook/metrology"
	"plumbhook/prove"
	"plumbhook/quantity"
	"plumbhook/reading"
	"plumbhook/report/paper"
	"plumbhook/weigh"
)

const home = "../../examples"

func load(t *testing.T, name string) []byte {
	t.Helper()
	data, err := os.ReadFile(filepath.Join(home, name))
	if err != nil {
		t.Fatal(err)
	}
	return data
}

func weighed(t *testing.T, name string) *contract.Weigh {
	s, err := weigh.Read(name, os.DirFS(filepath.Join(home, "weighing")), load(t, "weighing/"+name))
	if err != nil {
		t.Fatal(err)
	}
	r, err := weigh.Weigh(s)
	if err != nil {
		t.Fatal(err)
	}
	return new(contract.NewWeigh(r, "the sentence"))
}

// tested is the test of the roof plate with this force held; without one it is only
// worked out. replace changes the file.
func tested(t *testing.T, force float64, replace ...string) *contract.Prove {
	test, err := prove.Read("roof-plate.yaml", []byte(strings.NewReplacer(replace...).Replace(string(load(t, "proving/roof-plate.yaml")))))
	if err != nil {
		t.Fatal(err)
	}
	p := prove.Before(test, "kN")
	if force == 0 {
		return new(contract.NewProve(p, "the sentence"))
	}
	run := prove.Start(p)
	var events []prove.Event
	for i := range 900 {
		at, v, mm := float64(i)/2, 20.0, 1e-4
		switch {
		case i > 40 && i < 120:
			v, mm = force*float64(i-40)/80, 2e-3
		case i >= 120 && i < 800:
			v, mm = force+20*float64(i%3), 2.2e-3
		}
		events = append(events, run.Reading(reading.Reading{Channel: "PULL", At: reading.Seconds(at), Value: v})...)
		run.Reading(reading.Reading{Channel: "BEAM", At: reading.Seconds(at), Value: mm})
	}
	r := run.Result()
	return new(contract.NewProved(&r, events, nil, 0, r.Sentence()))
}

func reviewed(t *testing.T, years ...string) *contract.Calibrate {
	var files []*metrology.CertificateFile
	for _, y := range years {
		name := "weighing/certificates/kp-lc-03-" + y + ".yaml"
		f, err := metrology.ReadCertificate(name, load(t, name))
		if err != nil {
			t.Fatal(err)
		}
		files = append(files, f)
	}
	r, err := metrology.ReviewCertificates(files, 0.001, 365*24*time.Hour)
	if err != nil {
		t.Fatal(err)
	}
	on := time.Date(2026, 11, 20, 0, 0, 0, 0, time.UTC)
	field := &contract.CalibrateField{KnownN: 49e3, KnownU95N: 10, ReadsN: 49.5e3, ReadsU95N: 60, DifferenceN: 500, En: 8}
	return new(contract.NewCalibrate(r, metrology.Wear{On: on, Due: r.Due}.Standing(), on, false, "the sentence", field))
}

// text reads a PDF with a reader that is not ours.
func text(t *testing.T, pdf []byte) string {
	t.Helper()
	cmd := exec.Command("pdftotext", "-layout", "-", "-")
	cmd.Stdin = bytes.NewReader(pdf)
	out, err := cmd.Output()
	if err != nil {
		t.Skip("pdftotext: apt-get install poppler-utils: ", err)
	}
	return strings.Join(strings.Fields(string(out)), " ")
}

// TestEveryKind prints each certificate in both languages and systems: the verdict,
// the figures and what is loud can be read back, no word is missing, the bytes are
// the same each time.
func TestEveryKind(t *testing.T) {
	testkit.Alone(t)
	many := strings.Repeat("  - {name: "+strings.Repeat("long link of the pulled line ", 3)+", serial: KP-LONG-0123456789, rating: 99 kN}\n", 36)
	pump, gate := weighed(t, "pump.yaml"), weighed(t, "stoplog-gate.yaml")
	all, one := reviewed(t, "2024", "2025", "2026"), reviewed(t, "2026")
	for _, c := range []struct {
		what  string
		print func(Options) ([]byte, error)
		wants []string // in English, metric
	}{
		{"weighing", func(o Options) ([]byte, error) { return Weighing(pump, o) }, []string{
			"HOLDS AS FAR AS CHECKED, 0 NOT ASSESSED", "4873.6 kg ± 3.2 kg", "1.0095 m ± 0.0023 m", "KP-SC-03", "accuracy of full scale", "Placement: west side raised",
		}},
		{"weighing that fails", func(o Options) ([]byte, error) { return Weighing(gate, o) }, []string{"FAILS: SEE THE FINDINGS", "not told", "NOT WITHIN THE"}},
		{"proof", func(o Options) ([]byte, error) { return Proof(tested(t, 51.4e3), o) }, []string{
			"HOLDS AS FAR AS CHECKED, 0 NOT ASSESSED", "50.00 kN", "5 min", "nobody nearer than 8 m", "at most 2.5 %", "chain puller", "held for 300 s", "M. Tarn",
		}},
		{"proof that fails", func(o Options) ([]byte, error) { return Proof(tested(t, 50.1e3), o) }, []string{"FAILS: SEE THE FINDINGS", "HELD AT MOST", "the test load was not reached"}},
		{"proof by contract", func(o Options) ([]byte, error) {
			return Proof(tested(t, 50.1e3, "conditions:", "decision: simple\ndecision_by: order 118\nconditions:"), o)
		}, []string{"Simple acceptance (order 118)", "up to one half"}},
		{"proof plan of forty pieces", func(o Options) ([]byte, error) { return Proof(tested(t, 0, "line:", many+"line:"), o) }, []string{"PROOF TEST SHEET", "to be held"}},
		{"calibration", func(o Options) ([]byte, error) { return Calibration(all, o) }, []string{
			"KPC-2026-09", "2027-03-31", "As found and as left", "+0.064 %", "365 days", "DISAGREES", "from memory",
		}},
		{"calibration by one certificate", func(o Options) ([]byte, error) { return Calibration(one, o) }, []string{"One certificate shows none"}},
	} {
		for l, u := range map[paper.Language]quantity.System{paper.English: quantity.Metric, paper.Spanish: quantity.US} {
			o := Options{Language: l, Units: u, Number: "KP-1", Source: "file.yaml", Program: "plumbhook"}
			pdf, err := c.print(o)
			if err != nil {
				t.Fatal(c.what, err)
			}
			if l == paper.Spanish {
				if again, _ := c.print(o); !bytes.Equal(pdf, again) {
					t.Errorf("%s: the same input gave other bytes", c.what)
				}
			}
			read := text(t, pdf)
			if m := regexp.MustCompile(`\[[a-z][a-z ]*\]|%!|NaN|Inf\b`).FindString(read); m != "" {
				t.Errorf("%s, %s: %q is printed", c.what, l, m)
			}
			if l == paper.English {
				for _, want := range c.wants {
					if !strings.Contains(read, want) {
						t.Errorf("%s lacks %q:\n%s", c.what, want, read)
					}
				}
			}
			if l == paper.Spanish && !strings.Contains(read, "persona designada") {
				t.Errorf("%s: no cautions in Spanish", c.what)
			}
			if u == quantity.US && strings.Contains(c.what, "proof") && strings.Contains(regexp.MustCompile(`(What happened|Hallazgos|Findings).*`).ReplaceAllString(read, ""), " kN to ") {
				t.Errorf("%s: kilonewtons on a US sheet", c.what)
			}
		}
	}
}

// TestWords: every key in both languages, with the same put in, and every key used.
func TestWords(t *testing.T) {
	if w := words.Wrong(); w != nil {
		t.Errorf("keys that lack a language or differ in what they put in: %v", w)
	}
	files, err := filepath.Glob("*.go")
	if err != nil {
		t.Fatal(err)
	}
	var code strings.Builder
	for _, f := range files {
		if f == "words.go" || strings.HasSuffix(f, "_test.go") {
			continue
		}
		data, err := os.ReadFile(f)
		if err != nil {
			t.Fatal(err)
		}
		code.Write(data)
	}
	for key := range words {
		first, _, _ := strings.Cut(key, " ")
		if !strings.Contains(code.String(), fmt.Sprintf("%q", key)) && !regexp.MustCompile(fmt.Sprintf("\"%s \" ?\\+", first)).MatchString(code.String()) {
			t.Errorf("nothing says %q", key)
		}
	}
}
