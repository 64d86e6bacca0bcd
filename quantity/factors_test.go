package quantity_test

import (
	"encoding/csv"
	"math"
	"os"
	"strconv"
	"strings"
	"testing"

	"plumbhook/quantity"
)

// Every factor agrees with NIST SP 811 to the last digit printed there, and
// with a general-purpose unit converter to 15 digits.
func TestFactorsAgreeWithTables(t *testing.T) {
	file := must(os.Open("testdata/factors.csv"))(t)
	defer file.Close()
	r := csv.NewReader(file)
	r.Comment = '#'
	rows := must(r.ReadAll())(t)
	for _, row := range rows[1:] {
		dimension, unit, nist, exact, gnu := row[0], row[1], row[2], row[3], row[4]
		got := must(readers[dimension].parse("1 " + unit))(t).value
		if nist == "" && gnu == "" {
			t.Errorf("%s: no value to compare with", unit)
		}
		if nist != "" {
			want := must(strconv.ParseFloat(nist, 64))(t)
			mantissa, power, _ := strings.Cut(nist, "E")
			_, decimals, _ := strings.Cut(mantissa, ".")
			half := 0.5 * math.Pow10(must(strconv.Atoi(power))(t)-len(decimals))
			if exact == "bold" {
				half = math.Abs(want) * 1e-16
			}
			if math.Abs(got-want) > half*(1+1e-9) {
				t.Errorf("1 %s = %.12g, NIST SP 811 prints %s (± %g)", unit, got, nist, half)
			}
		}
		if gnu != "" {
			want := must(strconv.ParseFloat(gnu, 64))(t)
			if math.Abs(got-want) > 1e-14*want {
				t.Errorf("1 %s = %.16g, the unit converter has %s", unit, got, gnu)
			}
		}
	}
}

// Exact definitions give the float64 nearest to them, not one rounding off.
func TestFactorsAreExact(t *testing.T) {
	for _, c := range []struct {
		dimension, text string
		want            float64
	}{
		{"mass", "1 lb", 0.45359237},
		{"mass", "1 short ton", 907.18474},
		{"force", "1 lbf", 4.4482216152605},
		{"force", "1 kgf", 9.80665},
		{"force", "1 kip", 4448.2216152605},
		{"length", "1 in", 0.0254},
		{"length", "0.3 mm", 0.0003},
		{"stiffness", "5.2 MN/m", 5.2e6},
		{"stiffness", "1 kN/mm", 1e6},
		{"temperature", "0 °C", 273.15},
		{"temperature", "32 °F", 273.15},
		{"temperature", "212 °F", 373.15},
		{"temperature", "-40 °F", 233.15},
		{"temperature", "-459.67 °F", 0},
		{"angle", "180 deg", math.Pi},
		{"angle", "60 deg", math.Pi / 3},
		{"ratio", "0.1 %", 0.001},
		{"density", "7.85 t/m3", 7850},
		{"speed", "36 km/h", 10},
	} {
		if got := must(readers[c.dimension].parse(c.text))(t).value; got != c.want {
			t.Errorf("%s = %.17g, want %.17g", c.text, got, c.want)
		}
	}
	if f := must(quantity.ParseRating("1 kg"))(t).Force; f != quantity.Force(quantity.StandardGravity) {
		t.Errorf("1 kg at standard gravity = %v N", f)
	}
}

// In is the inverse of Parse.
func TestIn(t *testing.T) {
	m := must(quantity.Parse[quantity.Force]("10 kip"))(t)
	if got := must(quantity.In(m.Value, "kip"))(t); math.Abs(got-10) > 1e-14 {
		t.Errorf("10 kip in kip = %v", got)
	}
	temperature := must(quantity.Parse[quantity.Temperature]("68 °F"))(t)
	if got := must(quantity.In(temperature.Value, "°C"))(t); math.Abs(got-20) > 1e-12 {
		t.Errorf("68 °F in °C = %v", got)
	}
	if _, err := quantity.In(m.Value, "kg"); err == nil {
		t.Error("a force in kg")
	}
}
