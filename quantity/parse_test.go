package quantity_test

import (
	"flag"
	"fmt"
	"math"
	"os"
	"strings"
	"testing"

	"plumbhook/fault"
	"plumbhook/quantity"
)

// near compares to the rounding of one float64.
func near(a, b float64) bool { return math.Abs(a-b) <= 2e-16*math.Max(math.Abs(a), math.Abs(b)) }

const inch = 0.0254

func TestParse(t *testing.T) {
	const (
		exact   = quantity.Exact
		normal  = quantity.Normal
		uniform = quantity.Uniform
	)
	for _, c := range []struct {
		dimension, text  string
		value, low, high float64
		shape            quantity.Shape
	}{
		// The forms of the lift file.
		{"mass", "4100 kg ± 2 %", 4100, 4018, 4182, normal},
		{"mass", "240 kg ± 10 %", 240, 216, 264, normal},
		{"mass", "60..110 kg", 85, 60, 110, uniform},
		{"length", "2.4 m ± 0.5 %", 2.4, 2.388, 2.412, normal},
		{"length", "3/4 in", 0.75 * inch, 0.75 * inch, 0.75 * inch, exact},
		{"temperature", "-10..30 °C", 283.15, 263.15, 303.15, uniform},
		{"stiffness", "400 MN/m", 4e8, 4e8, 4e8, exact},
		{"speed", "9 m/s", 9, 9, 9, exact},
		{"acceleration", "9.81 m/s2", 9.81, 9.81, 9.81, exact},

		// Spreads and their spellings.
		{"mass", "4100 kg +- 82 kg", 4100, 4018, 4182, normal},
		{"mass", "4100kg+/-2%", 4100, 4018, 4182, normal},
		{"mass", "4.1 ± 0.2 t", 4100, 3900, 4300, normal},
		{"mass", "4 t ± 100 kg", 4000, 3900, 4100, normal},
		{"mass", "60 kg..110 kg", 85, 60, 110, uniform},
		{"mass", "60 kg..110", 85, 60, 110, uniform},
		{"mass", "900 kg .. 1.1 t", 1000, 900, 1100, uniform},
		{"mass", "60…110 kg", 85, 60, 110, uniform},
		{"mass", "60..60 kg", 60, 60, 60, uniform},
		{"length", "-2 m ± 5 %", -2, -2.1, -1.9, normal},
		{"temperature", "20 °C ± 5 °C", 293.15, 288.15, 298.15, normal},
		{"temperature", "20 °C ± 9 °F", 293.15, 288.15, 298.15, normal},
		{"temperature", "20 ± 5 °C", 293.15, 288.15, 298.15, normal},
		{"temperature", "68 F ± 5 K", 293.15, 288.15, 298.15, normal},
		{"ratio", "0.3 ± 0.03", 0.3, 0.27, 0.33, normal},
		{"ratio", "27 %..33 %", 0.3, 0.27, 0.33, uniform},
		{"ratio", "0.25..0.35", 0.3, 0.25, 0.35, uniform},
		{"length", "12 ft 6 in ± 1/2 in", 150 * inch, 149.5 * inch, 150.5 * inch, normal},
		{"length", "12 ft 6 in..13 ft", 153 * inch, 150 * inch, 156 * inch, uniform},

		// Feet, inches and fractions as drawings write them.
		{"length", "12 ft 6 1/2 in", 150.5 * inch, 150.5 * inch, 150.5 * inch, exact},
		{"length", `12' 6 1/2"`, 150.5 * inch, 150.5 * inch, 150.5 * inch, exact},
		{"length", `12'-6 1/2"`, 150.5 * inch, 150.5 * inch, 150.5 * inch, exact},
		{"length", `12'6-1/2"`, 150.5 * inch, 150.5 * inch, 150.5 * inch, exact},
		{"length", `12′ 6½″`, 150.5 * inch, 150.5 * inch, 150.5 * inch, exact},
		{"length", `12' 0 7/8"`, 144.875 * inch, 144.875 * inch, 144.875 * inch, exact},
		{"length", `12' 6''`, 150 * inch, 150 * inch, 150 * inch, exact},
		{"length", "-12 ft 6 in", -150 * inch, -150 * inch, -150 * inch, exact},
		{"length", "-0 ft 6 in", -6 * inch, -6 * inch, -6 * inch, exact},
		{"length", "7/8 in", 0.875 * inch, 0.875 * inch, 0.875 * inch, exact},
		{"length", "1 1/8 in", 1.125 * inch, 1.125 * inch, 1.125 * inch, exact},
		{"length", "1-1/8 in", 1.125 * inch, 1.125 * inch, 1.125 * inch, exact},
		{"length", "1⅛in", 1.125 * inch, 1.125 * inch, 1.125 * inch, exact},
		{"length", ".5 in", 0.5 * inch, 0.5 * inch, 0.5 * inch, exact},
		{"mass", "1/2 t", 500, 500, 500, exact},

		// Numbers and units in their spellings.
		{"length", "−5 mm", -0.005, -0.005, -0.005, exact},
		{"length", "+5 mm", 0.005, 0.005, 0.005, exact},
		{"length", "1.5e3 mm", 1.5, 1.5, 1.5, exact},
		{"length", "20 μm", 2e-5, 2e-5, 2e-5, exact},
		{"stiffness", "5 kN / mm", 5e6, 5e6, 5e6, exact},
		{"density", "7850 kg/m³", 7850, 7850, 7850, exact},
		{"density", "7850 kg/m^3", 7850, 7850, 7850, exact},
		{"density", "1 kg/L", 1000, 1000, 1000, exact},
		{"pressure", "5 N/mm2", 5e6, 5e6, 5e6, exact},
		{"mass", "2 metric tons", 2000, 2000, 2000, exact},
		{"mass", "2 short  tons", 1814.36948, 1814.36948, 1814.36948, exact},
		{"volume", "10 US gal", 0.03785411784, 0.03785411784, 0.03785411784, exact},
		{"volume", "2 cu ft", 0.056633693184, 0.056633693184, 0.056633693184, exact},
		{"angle", "90°", math.Pi / 2, math.Pi / 2, math.Pi / 2, exact},
		{"ratio", "0.1", 0.1, 0.1, 0.1, exact},
		{"ratio", "10 %", 0.1, 0.1, 0.1, exact},
		{"mass", "\u00a05\u202fkg ", 5, 5, 5, exact},
	} {
		r, err := readers[c.dimension].parse(c.text)
		if err != nil {
			t.Errorf("%s %q: %v", c.dimension, c.text, err)
			continue
		}
		if !near(r.value, c.value) || !near(r.low, c.low) || !near(r.high, c.high) || r.shape != c.shape {
			t.Errorf("%s %q = %.17g [%.17g %.17g] shape %d, want %.17g [%.17g %.17g] shape %d",
				c.dimension, c.text, r.value, r.low, r.high, r.shape, c.value, c.low, c.high, c.shape)
		}
		if r.text != c.text {
			t.Errorf("%q is kept as %q", c.text, r.text)
		}
	}
}

func TestParsePoint(t *testing.T) {
	for _, c := range []struct {
		text string
		want [3]float64
		half float64
	}{
		{"0.85 0 1.1 m", [3]float64{0.85, 0, 1.1}, 0},
		{"0.85 0 1.1 m ± 20 mm", [3]float64{0.85, 0, 1.1}, 0.02},
		{"-0.7 0 1.6 m", [3]float64{-0.7, 0, 1.6}, 0},
		{"0 0 0 m", [3]float64{}, 0},
		{"1.2 m 0 300 mm", [3]float64{1.2, 0, 0.3}, 0},
		{"1.2 m 0 0", [3]float64{1.2, 0, 0}, 0},
		{"0 0 7/8 in", [3]float64{0, 0, 0.875 * inch}, 0},
		{"0 0 ⅞ in", [3]float64{0, 0, 0.875 * inch}, 0},
		{"1 1/2 -2 3-1/4 in", [3]float64{1.5 * inch, -2 * inch, 3.25 * inch}, 0},
		{"12 ft 6 in 0 3 ft", [3]float64{150 * inch, 0, 36 * inch}, 0},
		{`12'6" 0 -3'-6"`, [3]float64{150 * inch, 0, -42 * inch}, 0},
		{"1 2 3 ft +- 1/2 in", [3]float64{12 * inch, 24 * inch, 36 * inch}, 0.5 * inch},
	} {
		p, err := quantity.ParsePoint(c.text)
		if err != nil {
			t.Errorf("%q: %v", c.text, err)
			continue
		}
		for i, v := range p.XYZ() {
			if !near(v, c.want[i]) {
				t.Errorf("%q[%d] = %v, want %v", c.text, i, v, c.want[i])
			}
		}
		for _, m := range []quantity.Measured[quantity.Length]{p.X, p.Y, p.Z} {
			if math.Abs(float64(m.High-m.Value)-c.half) > 1e-12 || math.Abs(float64(m.Value-m.Low)-c.half) > 1e-12 {
				t.Errorf("%q: half-width %v, want %v", c.text, m.High-m.Value, c.half)
			}
			if shape := m.Shape; (shape == quantity.Normal) != (c.half > 0) {
				t.Errorf("%q: shape %v", c.text, shape)
			}
		}
		if p.Text != c.text {
			t.Errorf("%q is kept as %q", c.text, p.Text)
		}
	}
}

func TestPointOf(t *testing.T) {
	p := must(quantity.PointOf("850 mm ± 20 mm", "0", "3 ft 6 in..4 ft"))(t)
	if got := p.XYZ(); !near(got[0], 0.85) || got[1] != 0 || !near(got[2], 45*inch) {
		t.Errorf("PointOf = %v", got)
	}
	if p.X.Shape != quantity.Normal || p.Y.Shape != quantity.Exact || p.Z.Shape != quantity.Uniform {
		t.Errorf("shapes %v %v %v", p.X.Shape, p.Y.Shape, p.Z.Shape)
	}
	_, err := quantity.PointOf("1 kg", "0 m", "5")
	list := fault.Of(err)
	if len(list) != 2 || !strings.HasPrefix(list[0].What, "x: ") || !strings.HasPrefix(list[1].What, "z: ") {
		t.Errorf("faults %v", list)
	}
}

func TestParseRating(t *testing.T) {
	for _, c := range []struct {
		text     string
		force    quantity.Force
		fromMass bool
	}{
		{"50 kN", 50000, false},
		{"5 t", 49033.25, true},
		{"6.5 short ton", 6.5 * 8896.443230521, true},
		{"6 1/2 short tonf", 6.5 * 8896.443230521, false},
		{"12000 lb", 12000 * 4.4482216152605, true},
		{"12 kip", 12000 * 4.4482216152605, false},
	} {
		r, err := quantity.ParseRating(c.text)
		if err != nil || math.Abs(float64(r.Force-c.force)) > 1e-11 || r.FromMass != c.fromMass || r.Text != c.text {
			t.Errorf("%q = %+v, %v; want %v, from mass %v", c.text, r, err, c.force, c.fromMass)
		}
	}
}

func TestParseAngleFrom(t *testing.T) {
	for _, c := range []struct {
		text, from string
		degrees    float64
	}{
		{"60 deg from horizontal", "horizontal", 60},
		{"30° ± 1° from the vertical", "vertical", 30},
		{"90 deg included", "included", 90},
	} {
		a, from, err := quantity.ParseAngleFrom(c.text)
		if err != nil || from != c.from || math.Abs(float64(a.Value)-c.degrees*math.Pi/180) > 1e-15 || a.Text != c.text {
			t.Errorf("%q = %+v from %q, %v", c.text, a, from, err)
		}
	}
}

func TestParseDirection(t *testing.T) {
	for _, c := range []struct {
		text string
		want [3]float64
	}{
		{"0 1 0", [3]float64{0, 1, 0}},
		{"0 0 -2", [3]float64{0, 0, -1}},
		{"3 4 0", [3]float64{0.6, 0.8, 0}},
		{"2e15 -1e15 2e15", [3]float64{2. / 3, -1. / 3, 2. / 3}},
	} {
		v, err := quantity.ParseDirection(c.text)
		for i := range v {
			if err != nil || math.Abs(v[i]-c.want[i]) > 1e-15 {
				t.Errorf("%q = %v, %v; want %v", c.text, v, err, c.want)
			}
		}
	}
}

var update = flag.Bool("update", false, "rewrite the golden files")

// The golden table says, for every class of mistake, what the reader is told:
// reader, text, code, character offset, what is wrong, what to do. To add a
// case write its first two columns, run go test -update, and read the rest.
func TestFaults(t *testing.T) {
	const path = "testdata/faults.tsv"
	want := string(must(os.ReadFile(path))(t))
	var out strings.Builder
	for _, line := range strings.Split(strings.TrimSuffix(want, "\n"), "\n") {
		if line == "" || strings.HasPrefix(line, "#") {
			fmt.Fprintln(&out, line)
			continue
		}
		kind, rest, _ := strings.Cut(line, "\t")
		text, _, _ := strings.Cut(rest, "\t")
		err := readAs(t, kind, text)
		if err == nil {
			t.Errorf("%s %q is accepted", kind, text)
			continue
		}
		f := faultIn(t, err)
		if f.Do == "" || f.What == "" {
			t.Errorf("%s %q: nothing to say: %+v", kind, text, f)
		}
		fmt.Fprintf(&out, "%s\t%s\t%s\t%d\t%s\t%s\n", kind, text, f.Code, f.Offset, f.What, f.Do)
	}
	if *update {
		if err := os.WriteFile(path, []byte(out.String()), 0o644); err != nil {
			t.Fatal(err)
		}
		return
	}
	got := strings.Split(out.String(), "\n")
	for i, line := range strings.Split(want, "\n") {
		if i >= len(got) || got[i] != line {
			t.Errorf("line %d:\n got %q\nwant %q", i+1, append(got, "")[min(i, len(got))], line)
		}
	}
}

func readAs(t *testing.T, kind, text string) (err error) {
	switch kind {
	case "point":
		_, err = quantity.ParsePoint(text)
	case "list":
		f := strings.Split(text, "|")
		_, err = quantity.PointOf(f[0], f[1], f[2])
	case "rating":
		_, err = quantity.ParseRating(text)
	case "direction":
		_, err = quantity.ParseDirection(text)
	case "angle from":
		_, _, err = quantity.ParseAngleFrom(text)
	default:
		r, ok := readers[kind]
		if !ok {
			t.Fatalf("no reader %q", kind)
		}
		_, err = r.parse(text)
	}
	return err
}

// A readout shows what a rating cannot be: nothing, and less than nothing.
func TestParseForce(t *testing.T) {
	for in, want := range map[string]quantity.Force{"0 kN": 0, "-2.5 kN": -2500, "3 t": 29419.95, "-1 lbf": -4.4482216152605} {
		if got, err := quantity.ParseForce(in); err != nil || got != want {
			t.Errorf("%s = %v, %v, want %v", in, got, err, want)
		}
	}
	for _, in := range []string{"5", "5 ton", "5 m", "1..2 kN"} {
		if got, err := quantity.ParseForce(in); err == nil {
			t.Errorf("%s is taken as %v", in, got)
		}
	}
}
