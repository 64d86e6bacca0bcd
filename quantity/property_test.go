package quantity_test

import (
	"fmt"
	"math"
	"math/big"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"plumbhook/quantity"
)

var dimensions = []string{
	"mass", "force", "length", "angle", "stiffness", "speed", "acceleration",
	"temperature", "density", "pressure", "area", "volume", "duration", "ratio",
}

// decimalText draws a number as people write it, up to six digits.
func decimalText(t *rapid.T, label string) string {
	n := rapid.IntRange(0, 999999).Draw(t, label)
	places := rapid.IntRange(0, 4).Draw(t, label+" places")
	return big.NewRat(int64(n), int64(math.Pow10(places))).FloatString(places)
}

// tolerance is what the figure printed from r may differ by, in SI: half of the
// last digit of a value without a spread; else of the second digit of the
// spread, one whole digit for the ends of a range.
func tolerance(r result) float64 {
	size := math.Max(math.Abs(r.low), math.Abs(r.high))
	spread := r.high - r.low
	if spread > 1e-13*size {
		return 0.11*spread + 1e-10*size
	}
	return 0.51e-4*size + 1e-12*size
}

// What is printed is read back within the digits printed, a range never
// narrower, and printing that again changes nothing.
func checkRoundTrip(t interface {
	Helper()
	Fatalf(string, ...any)
}, dimension string, r result,
) {
	t.Helper()
	if dimension == "temperature" && (r.low < 150 || r.high > 400) {
		return // beyond any weather a printed limit may be rounded to below absolute zero
	}
	if size := math.Max(math.Abs(r.low), math.Abs(r.high)); size > 1e14 || size > 0 && size < 1e-12 {
		return // rounded, or in another unit, it may be beyond what is read
	}
	for _, unit := range readers[dimension].units {
		text := r.format(unit)
		again, err := readers[dimension].parse(text)
		if err != nil {
			t.Fatalf("%q in %q is printed as %q: %v", r.text, unit, text, err)
		}
		tol := tolerance(r)
		if dimension == "temperature" {
			tol += 0.006 // of five digits of °F
		}
		for _, pair := range [][2]float64{{r.value, again.value}, {r.low, again.low}, {r.high, again.high}} {
			if math.Abs(pair[0]-pair[1]) > tol {
				t.Fatalf("%q = %v is printed as %q = %v (tolerance %g)", r.text, r, text, again, tol)
			}
		}
		if r.shape == quantity.Uniform && r.high > r.low {
			slack := 1e-11 * math.Max(math.Abs(r.low), math.Abs(r.high))
			if again.low > r.low+slack || again.high < r.high-slack {
				t.Fatalf("%q is printed as %q, which leaves part of it out", r.text, text)
			}
		}
		if second := again.format(unit); second != text {
			t.Fatalf("%q is printed as %q, and then as %q", r.text, text, second)
		}
	}
}

func TestRoundTrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		dimension := rapid.SampledFrom(dimensions).Draw(t, "dimension")
		unit := rapid.SampledFrom(readers[dimension].units).Draw(t, "unit")
		a := decimalText(t, "a")
		text := a + " " + unit
		switch rapid.IntRange(0, 2).Draw(t, "shape") {
		case 1:
			text += " ± " + decimalText(t, "half") + " " + unit
		case 2:
			text += ".." + decimalText(t, "b") + " " + unit
		}
		r, err := readers[dimension].parse(text)
		if err != nil {
			t.Skip(err)
		}
		checkRoundTrip(t, dimension, r)
	})
}

// Space, the spelling of plus-minus and of superscripts, and a plus sign do not
// change a value.
func TestSpellings(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		dimension := rapid.SampledFrom(dimensions[:13]).Draw(t, "dimension")
		unit := rapid.SampledFrom(readers[dimension].units).Draw(t, "unit")
		a, half := decimalText(t, "a"), decimalText(t, "half")
		text := fmt.Sprintf("%s %s ± %s %s", a, unit, half, unit)
		want, err := readers[dimension].parse(text)
		if err != nil {
			t.Skip(err)
		}
		super := strings.NewReplacer("m2", "m²", "m3", "m³", "s2", "s^2", "ft3", "ft³", "µm", "μm").Replace
		for _, other := range []string{
			fmt.Sprintf("%s%s±%s%s", a, unit, half, unit),
			fmt.Sprintf("  +%s  %s +- %s %s ", a, super(unit), half, unit),
			fmt.Sprintf("%s ± %s %s", a, half, unit),
			fmt.Sprintf("%s %s +/- %s %s", a, unit, half, super(unit)),
		} {
			got, err := readers[dimension].parse(other)
			if err != nil {
				t.Fatalf("%q: %v", other, err)
			}
			if got.value != want.value || got.low != want.low || got.high != want.high {
				t.Fatalf("%q = %v, but %q = %v", text, want, other, got)
			}
		}
	})
}

// Feet, inches and sixteenths against whole sixteenths of an inch.
func TestFeetAndInches(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		feet := rapid.IntRange(0, 999).Draw(t, "feet")
		inches := rapid.IntRange(0, 11).Draw(t, "inches")
		n := rapid.IntRange(0, 15).Draw(t, "sixteenths")
		sign := rapid.SampledFrom([]string{"", "-"}).Draw(t, "sign")
		sixteenths := int64((feet*12+inches)*16 + n)
		want, _ := new(big.Rat).Mul(big.NewRat(sixteenths, 16), big.NewRat(254, 10000)).Float64()
		if sign == "-" {
			want = -want
		}
		for _, form := range []string{"%s%d ft %d %d/16 in", "%s%d' %d %d/16\"", "%s%d'-%d-%d/16\""} {
			text := fmt.Sprintf(form, sign, feet, inches, n)
			m, err := quantity.Parse[quantity.Length](text)
			if err != nil {
				t.Fatal(err)
			}
			if float64(m.Value) != want {
				t.Fatalf("%q = %v, want %v", text, m.Value, want)
			}
		}
	})
}

// The same force, written in kN and in lbf, and a mass on a tag, agree with
// arithmetic done outside the package.
func TestRatingsInMassUnits(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		kg := rapid.Float64Range(0.001, 1e6).Draw(t, "kg")
		r, err := quantity.ParseRating(fmt.Sprintf("%.6f kg", kg))
		if err != nil {
			t.Fatal(err)
		}
		if want := kg * 9.80665; math.Abs(float64(r.Force)-want) > 1e-5 || !r.FromMass {
			t.Fatalf("%v kg = %v, want %v N", kg, r, want)
		}
	})
}

func TestDirectionIsUnit(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		text := decimalText(t, "x") + " -" + decimalText(t, "y") + " " + decimalText(t, "z")
		v, err := quantity.ParseDirection(text)
		if err != nil {
			t.Skip(err)
		}
		if n := math.Sqrt(v[0]*v[0] + v[1]*v[1] + v[2]*v[2]); math.Abs(n-1) > 1e-15 {
			t.Fatalf("%q has length %v", text, n)
		}
	})
}

// A printed point is the point, within the digits printed.
func TestPointRoundTrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		text := decimalText(t, "x") + " -" + decimalText(t, "y") + " " + decimalText(t, "z") + " mm"
		if rapid.Bool().Draw(t, "spread") {
			text += " ± " + decimalText(t, "half") + " mm"
		}
		p, err := quantity.ParsePoint(text)
		if err != nil {
			t.Fatal(err)
		}
		checkPoint(t, p)
	})
}

func checkPoint(t interface {
	Helper()
	Fatalf(string, ...any)
}, p quantity.Point,
) {
	t.Helper()
	for _, unit := range []string{"m", "in"} {
		text := p.Format(unit)
		again, err := quantity.ParsePoint(text)
		if err != nil {
			t.Fatalf("%q is printed as %q: %v", p.Text, text, err)
		}
		for i, v := range p.XYZ() {
			tol := 0.06*float64(p.X.High-p.X.Low) + 0.51e-4*math.Abs(v)
			if d := math.Abs(again.XYZ()[i] - v); d > tol+1e-15 {
				t.Fatalf("%q is printed as %q", p.Text, text)
			}
		}
	}
}
