package quantity_test

import (
	"math"
	"testing"

	"plumbhook/quantity"
)

func TestFormat(t *testing.T) {
	for _, c := range []struct{ dimension, text, unit, want string }{
		// With a spread: two digits of it, the value to the same place.
		{"mass", "4100 kg ± 2 %", "kg", "4100 kg ± 82 kg"},
		{"mass", "4100 kg ± 2 %", "t", "4.100 t ± 0.082 t"},
		{"mass", "4100 kg ± 2 %", "lb", "9040 lb ± 180 lb"},
		{"mass", "4123.456 kg ± 82.5 kg", "kg", "4123 kg ± 82 kg"},
		{"mass", "4123.456 kg ± 0.996 kg", "kg", "4123.5 kg ± 1.0 kg"},
		{"mass", "4123.456 kg ± 4000 kg", "kg", "4100 kg ± 4000 kg"},
		{"mass", "1 kg ± 1 kg", "t", "0.0010 t ± 0.0010 t"},
		{"length", "0 m ± 5 mm", "mm", "0.0 mm ± 5.0 mm"},
		{"length", "-1 mm ± 30 mm", "m", "-0.001 m ± 0.030 m"},
		{"length", "-0.1 mm ± 30 mm", "m", "0.000 m ± 0.030 m"},
		{"temperature", "20 °C ± 9 °F", "°C", "20.0 °C ± 5.0 °C"},
		{"ratio", "0.3 ± 0.03", "%", "0.300 ± 0.030"},
		{"angle", "60 deg ± 1 deg", "°", "60.0° ± 1.0°"},
		{"mass", "1 kg ± 1e-13 kg", "kg", "1.00000000000 kg ± 1.0e-13 kg"},

		// Ranges hold as printed.
		{"mass", "60..110 kg", "kg", "60..110 kg"},
		{"mass", "60..110 kg", "lb", "132.2..242.6 lb"}, // 132.277, 242.508: down, and up
		{"mass", "5..250 kg", "kg", "5..250 kg"},
		{"temperature", "-10..30 °C", "°C", "-10..30 °C"},
		{"temperature", "-10..30 °C", "°F", "14..86 °F"},
		{"ratio", "27 %..33 %", "%", "27 %..33 %"},
		{"ratio", "27 %..33 %", "", "0.27..0.33"},
		{"mass", "5..5 kg", "kg", "5 kg"},

		// Without a spread: at most five digits, no idle zeros.
		{"mass", "4100 kg", "kg", "4100 kg"},
		{"mass", "4100 kg", "t", "4.1 t"},
		{"mass", "4100 kg", "lb", "9039 lb"},
		{"mass", "1234567 kg", "kg", "1234600 kg"},
		{"force", "100 N", "kN", "0.1 kN"},
		{"length", "12 ft 6 1/2 in", "ft", "12.542 ft"},
		{"length", "12 ft 6 1/2 in", "mm", "3822.7 mm"},
		{"length", "0 m", "m", "0 m"},
		{"length", "-0 m", "mm", "0 mm"},
		{"length", "-5 mm", "m", "-0.005 m"},
		{"length", "1 µm", "m", "1e-6 m"},
		{"stiffness", "400 MN/m", "N/m", "400000000 N/m"},
		{"stiffness", "1234567 MN/m", "N/m", "1.2346e12 N/m"},
		{"ratio", "0.1 %", "%", "0.1 %"},
		{"density", "7850 kg/m³", "lb/ft3", "490.06 lb/ft3"},
		{"volume", "1 m3", "US gal", "264.17 US gal"},
		{"speed", "9 m/s", "mph", "20.132 mph"},

		// A unit that does not fit gives way to SI.
		{"mass", "5 t", "kN", "5000 kg"},
		{"ratio", "50 %", "kN", "0.5"},
	} {
		if got := must(readers[c.dimension].parse(c.text))(t).format(c.unit); got != c.want {
			t.Errorf("%s in %s: %q, want %q", c.text, c.unit, got, c.want)
		}
	}
}

// The rounding examples of JCGM 100:2008, 7.2.6: 28,05 kHz goes down to 28 kHz,
// and 10,057 62 Ω with 27 mΩ becomes 10,058 Ω. The clause allows 10,47 mΩ to go
// up to 11 mΩ; ours goes to the nearer 10 mΩ.
func TestDigits(t *testing.T) {
	for _, c := range []struct {
		v, spread   float64
		value, half string
	}{
		{10.05762, 0.027, "10.058", "0.027"},
		{1000, 28.05, "1000", "28"},
		{1000, 10.47, "1000", "10"},
		{4100.4, 82.3, "4100", "82"},
		{1, 9.95, "1.0", "9.9"}, // 9.95 is stored as 9.949999999999999
		{1, 9.96, "1", "10"},
		{0.04, 99.6, "0", "100"},
		{12345678901, 12, "12345678901", "12"},
		{1.5e12, 2.5e10, "1.500e12", "2.5e10"},
		{math.Copysign(0, -1), 0, "0", ""},
		{math.Copysign(0, -1), 1, "0.0", "1.0"},
		{5, -1, "5", ""},
		{5, 1e-300, "5", ""},
		{1e-300, 1, "0.0", "1.0"},
		{math.MaxFloat64, 0, "1.7977e308", ""},
		{math.SmallestNonzeroFloat64, 0, "0", ""},
		{99999.6, 0, "100000", ""},
		{math.NaN(), 1, "NaN", ""},
		{math.Inf(1), 1, "+Inf", ""},
		{5, math.Inf(1), "5", "+Inf"},
		{5, math.NaN(), "5", "NaN"},
	} {
		if v, h := quantity.Digits(c.v, c.spread); v != c.value || h != c.half {
			t.Errorf("Digits(%v, %v) = %q ± %q, want %q ± %q", c.v, c.spread, v, h, c.value, c.half)
		}
	}
}

func TestFormatRating(t *testing.T) {
	for _, c := range []struct{ text, unit, want string }{
		{"5 t", "kN", "49.033 kN (5 t read as force at standard gravity)"},
		{"5 t", "t", "5 t as force at standard gravity"},
		{"6.5 short ton", "lb", "13000 lb as force at standard gravity"},
		{"50 kN", "kN", "50 kN"},
		{"49.03325 kN", "t", "5 t as force at standard gravity"},
		{"12 kip", "lbf", "12000 lbf"},
		{"50 kN", "m", "50000 N"},
	} {
		if got := must(quantity.ParseRating(c.text))(t).Format(c.unit); got != c.want {
			t.Errorf("%s in %s: %q, want %q", c.text, c.unit, got, c.want)
		}
	}
}

func TestFormatPoint(t *testing.T) {
	for _, c := range []struct{ text, unit, want string }{
		{"0.85 0 1.1 m", "m", "0.85 0 1.1 m"},
		{"0.85 0 1.1 m ± 20 mm", "mm", "850 0 1100 mm ± 20 mm"},
		{"0.85 0 1.1 m ± 20 mm", "m", "0.850 0.000 1.100 m ± 0.020 m"},
		{"1 2 3 ft", "in", "12 24 36 in"},
	} {
		if got := must(quantity.ParsePoint(c.text))(t).Format(c.unit); got != c.want {
			t.Errorf("%s in %s: %q, want %q", c.text, c.unit, got, c.want)
		}
	}
	p := must(quantity.PointOf("1 m ± 20 mm", "2 m", "3..4 m"))(t)
	if got, want := p.Format("m"), "[1.000 m ± 0.020 m, 2 m, 3..4 m]"; got != want {
		t.Errorf("list form: %q, want %q", got, want)
	}
}

// The default units are ones that the parser knows, in the right dimension.
func TestFor(t *testing.T) {
	for name, r := range readers {
		for _, unit := range r.units {
			if _, err := r.parse("1 " + unit); err != nil {
				t.Errorf("%s in %q: %v", name, unit, err)
			}
		}
	}
	if m, us := quantity.For[quantity.Force](quantity.Metric), quantity.For[quantity.Force](quantity.US); m != "kN" || us != "lbf" {
		t.Errorf("a force is shown in %s or %s", m, us)
	}
}
