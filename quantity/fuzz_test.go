package quantity_test

import (
	"bufio"
	"math"
	"os"
	"strings"
	"testing"
	"unicode/utf8"

	"plumbhook/quantity"
)

var seeds = []string{
	"4100 kg ± 2 %", "60..110 kg", "12 ft 6 1/2 in", `12'-6 1/2"`, "7/8 in", "-10..30 °C", "1e3 N/m",
	"60 deg from horizontal", "0.85 0 1.1 m ± 20 mm", "1.2 m 0 300 mm", "6.5 short ton", "27 %..33 %", "0 1 0",
	"5 kN / mm", "1⅛in", "20 °C ± 9 °F", "-0 ft 6 in", "1 2 1/2 in", "1e15N",
}

// FuzzParse gives any text to every reader: none panics, a refusal is a fault
// with something to do and a place inside the text, and what is accepted is
// finite, ordered, and survives printing.
func FuzzParse(f *testing.F) {
	for _, s := range seeds {
		f.Add(s)
	}
	golden, err := os.Open("testdata/faults.tsv")
	if err != nil {
		f.Fatal(err)
	}
	defer golden.Close()
	for lines := bufio.NewScanner(golden); lines.Scan(); {
		if fields := strings.Split(lines.Text(), "\t"); len(fields) > 1 {
			f.Add(fields[1])
		}
	}
	f.Fuzz(func(t *testing.T, s string) {
		for _, name := range dimensions {
			r, err := readers[name].parse(s)
			if err != nil {
				checkRefusal(t, s, err)
				continue
			}
			if !(r.low <= r.value && r.value <= r.high) || math.Abs(r.low) > 1e15 || math.Abs(r.high) > 1e15 || r.text != s {
				t.Fatalf("%s %q = %+v", name, s, r)
			}
			checkRoundTrip(t, name, r)
		}
		if p, err := quantity.ParsePoint(s); err != nil {
			checkRefusal(t, s, err)
		} else {
			checkPoint(t, p)
		}
		if r, err := quantity.ParseRating(s); err != nil {
			checkRefusal(t, s, err)
		} else if !(r.Force > 0) || r.Format("kN") == "" {
			t.Fatalf("%q = %+v", s, r)
		}
		if _, from, err := quantity.ParseAngleFrom(s); err != nil {
			checkRefusal(t, s, err)
		} else if from == "" {
			t.Fatalf("%q is from nothing", s)
		}
		if _, err := quantity.ParseDirection(s); err != nil {
			checkRefusal(t, s, err)
		}
		x, rest, _ := strings.Cut(s, ",")
		y, z, _ := strings.Cut(rest, ",")
		if _, err := quantity.PointOf(x, y, z); err != nil {
			checkRefusal(t, s, err)
		}
	})
}

func checkRefusal(t *testing.T, s string, err error) {
	t.Helper()
	f := faultIn(t, err)
	if f.Code == "" || f.What == "" || f.Do == "" {
		t.Fatalf("%q: nothing to say: %+v", s, f)
	}
	if f.Offset < 0 || f.Offset > utf8.RuneCountInString(s) {
		t.Fatalf("%q: offset %d is outside", s, f.Offset)
	}
}
