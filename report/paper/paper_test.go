package paper

import (
	"bytes"
	"fmt"
	"math"
	"os/exec"
	"strings"
	"testing"
)

func TestFrameInBothLanguages(t *testing.T) {
	if w := frame.Wrong(); w != nil {
		t.Errorf("keys that lack a language or differ in what they put in: %v", w)
	}
	bad := Words{"a": {"%d of %s", "%s de %d"}, "b": {"%d of %s", "%[2]s de %[1]d"}, "c": {"x", ""}, "d": {"5 %% of %.1f", "%.1f, 5 %%"}}
	if got := fmt.Sprint(bad.Wrong()); got != "[a c]" {
		t.Errorf("wrong keys: %s, want [a c]", got)
	}
}

func head() Head {
	return Head{
		Kind: "Trial sheet", Title: strings.Repeat("Motor of the vertical pump out of well three ", 4), Number: "KP-0042", Revision: "B", Date: "2026-04-03",
		Source: "lift file pump.yaml", SHA256: strings.Repeat("0123456789abcdef", 4), Program: "plumbhook",
	}
}

// compose uses everything there is, with what does not fit in one line.
func compose(s *Sheet) {
	s.Loud("FAILS, 3 NOT ASSESSED")
	s.Framed("HOLDS AS FAR AS CHECKED")
	s.Figures(3, []Figure{{Label: "total", Value: "43.78 kN", Note: "at the hooks"}, {Label: "STOP", Value: "44.66 kN", Loud: true}, {Label: "name", Value: strings.Repeat("very long ", 6)}})
	s.Heading("Parts")
	t := Table{Head: []string{"where", "kind", "demand kN", "done", "read"}, Align: "llrtw"}
	for i := range 60 {
		t.Rows = append(t.Rows, []string{fmt.Sprintf("row-%02d", i), strings.Repeat("shackle ", i%9), "12.3", "", ""})
		t.Bold = append(t.Bold, i%7 == 0)
	}
	t.Rows[30][1] = strings.Repeat("Unbreakablelongwordwithoutanyspace", 80) // higher than a page
	s.Table(t)
	s.Points([][2]string{{"STOP", "a finding"}, {"a long word indeed", strings.Repeat("much text ", 90)}})
	s.Tick("hook over the centre of gravity")
	s.Blanks("name", "date", "signature")
	s.Lines(3)
	s.Chart(Chart{X: "s", Y: "kN", Curves: []Curve{{Name: "W", X: []float64{0, 1, 2, 3}, Y: []float64{1, 5, math.NaN(), 4}}, {Name: "E", X: []float64{0, 3}, Y: []float64{2, 4}}}, Levels: []Level{{"stop", 4.5}}, At: []Level{{"STOP", 1}}})
	s.Large("last line")
}

func TestSetIsTheSameEachTime(t *testing.T) {
	a, err := Set(head(), compose)
	if err != nil {
		t.Fatal(err)
	}
	b, err := Set(head(), compose)
	if err != nil {
		t.Fatal(err)
	}
	if !bytes.Equal(a, b) {
		t.Error("the same input gave other bytes")
	}
}

// A reader that is not ours has to find every page with its head and foot, and
// every word that was put in.
func TestReadersFindEverything(t *testing.T) {
	pdf, err := Set(head(), compose)
	if err != nil {
		t.Fatal(err)
	}
	text := Text(t, pdf)
	pages := strings.Split(strings.TrimSuffix(text, "\f"), "\f")
	if len(pages) < 4 {
		t.Fatalf("%d pages", len(pages))
	}
	for i, p := range pages {
		for _, want := range []string{fmt.Sprintf("page %d of %d", i+1, len(pages)), "KP-0042", "SHA-256 0123456789abcdef", "the appointed person govern", "indicator."} {
			if !strings.Contains(p, want) {
				t.Errorf("page %d lacks %q", i+1, want)
			}
		}
	}
	for i := range 60 {
		if want := fmt.Sprintf("row-%02d", i); strings.Count(text, want) != 1 {
			t.Errorf("%s stands %d times", want, strings.Count(text, want))
		}
	}
	if got := strings.Count(strings.Join(strings.Fields(text), ""), "Unbreakable"); got < 40 {
		t.Errorf("of a word 80 times as long as a line %d pieces are left whole", got)
	}
	if !strings.Contains(text, "last line") {
		t.Error("the last line is missing")
	}
}

// Text reads a PDF with pdftotext, and skips the test where there is none.
func Text(t *testing.T, pdf []byte) string {
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
	return string(out)
}

func TestPieces(t *testing.T) {
	for text, want := range map[string]string{
		"4425 kg ± 90 kg":          "4425 kg|± 90 kg",
		"■ STOP above 44.66 kN, a": "■ STOP|above|44.66 kN,|a",
		"54 %; lug east":           "54 %;|lug|east",
		"■":                        "■",
		"step 2 raise":             "step|2|raise",
	} {
		if got := strings.Join(pieces(text), "|"); got != want {
			t.Errorf("pieces of %q: %s, want %s", text, got, want)
		}
	}
}
