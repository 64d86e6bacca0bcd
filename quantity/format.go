package quantity

import (
	"fmt"
	"math"
	"strconv"
	"strings"
)

// System is the family of units a person reads.
type System int

// Metric and US customary units.
const (
	Metric System = iota
	US
)

// For gives the unit that a quantity is shown in by default: kN or lbf for a
// force, and so on. It is always a unit that Format and Parse know.
func For[Q Quantity](s System) string {
	units := map[*dimension][2]string{
		mass: {"kg", "lb"}, force: {"kN", "lbf"}, length: {"m", "ft"}, angle: {"deg", "deg"},
		stiffness: {"kN/m", "lbf/in"}, speed: {"m/s", "ft/s"}, acceleration: {"m/s2", "ft/s2"},
		temperature: {"°C", "°F"}, density: {"kg/m3", "lb/ft3"}, pressure: {"kPa", "psi"},
		area: {"m2", "ft2"}, volume: {"m3", "ft3"}, duration: {"s", "s"}, ratio: {"%", "%"},
	}
	pair := units[dimensionOf[Q]()]
	if s == US {
		return pair[1]
	}
	return pair[0]
}

// In gives the number that stands before the unit: In(Force(5000), "kN") is 5.
// The error is a *fault.Fault if the unit is unknown or of another dimension.
func In[Q Quantity](v Q, unit string) (float64, error) {
	u, f := dimensionOf[Q]().lookup(unit)
	if f != nil {
		return 0, f
	}
	return u.number(float64(v)), nil
}

// number turns SI into the unit.
func (u *unit) number(si float64) float64 {
	if u.offset != nil {
		si -= float(u.offset)
	}
	return si / float(u.factor)
}

const (
	// exactDigits is how many digits a figure without a spread shows at most:
	// enough for any tag or drawing, and few enough to read aloud.
	exactDigits = 5

	// mostDigits is how many any figure shows, however small its spread: beyond
	// them is the rounding of a float64.
	mostDigits = 12

	// tiny counts as zero in any unit: far below what is measured, and far
	// above where a float64 loses its digits.
	tiny = 1e-200
)

// Format writes the value and its spread for people, in a form that Parse
// reads back: "4100 kg ± 82 kg", "60..110 kg", "2.4 m".
//
// A normal spread is rounded to two significant digits and the value to the
// same place (JCGM 100:2008, 7.2.6). The limits of a range are rounded outward,
// so that what is printed still holds, at the third significant digit of the
// half-width. A value without a spread shows at most five significant digits. A
// ratio with a normal spread is written plain, never in %, where points and
// percentage would look the same. A unit that is unknown or of another
// dimension is replaced by the SI unit, and the text says so by carrying that.
func (m Measured[Q]) Format(unit string) string {
	d := dimensionOf[Q]()
	u := d.known(unit)
	if d == ratio && m.Shape == Normal && m.Low < m.High {
		u = d.known("")
	}
	value, low, high := u.number(float64(m.Value)), u.number(float64(m.Low)), u.number(float64(m.High))
	spread := 0.0
	if low < high {
		spread = math.Max(high-value, value-low)
	}
	if m.Shape == Uniform && spread > 0 && !math.IsInf(spread, 0) {
		joint := ".."
		if d == ratio {
			joint = u.suffix() + joint
		}
		a, b := limits(low, high, math.Max(math.Abs(float64(m.Low)), math.Abs(float64(m.High)))/float(u.factor))
		return a + joint + b + u.suffix()
	}
	v, half := Digits(value, spread)
	if half == "" {
		return v + u.suffix()
	}
	return v + u.suffix() + " ± " + half + u.suffix()
}

// limits writes the ends of a range. Size is that of the numbers they were
// converted from, whose rounding they carry: 0.01 °C has that of 273.16 K.
func limits(low, high, size float64) (string, string) {
	place := topPlace(size) + 1 - mostDigits
	slack := 1e-14 * size
	a, b := outward(low, high, place, slack)
	for {
		// Rounding may widen the range into the next power of ten, whose digits
		// are then the ones to print.
		next := topPlace(float64(b-a)/2*math.Pow10(place)*(1+1e-9)) - 2
		if next <= place {
			break
		}
		place = next
		a, b = outward(low, high, place, slack)
	}
	for ; place < 0 && a%10 == 0 && b%10 == 0; place++ {
		a, b = a/10, b/10
	}
	return decimalText(a, place), decimalText(b, place)
}

// outward rounds down and up to units of 10^place. An end that misses such a
// unit by no more than slack is on it.
func outward(low, high float64, place int, slack float64) (int64, int64) {
	return int64(math.Floor(scale(low+slack, place))), int64(math.Ceil(scale(high-slack, place)))
}

// Format writes the rating, and says where it came from: a tag in mass units
// has been read as force at standard gravity. The unit may be one of force or
// of mass; an unknown one is replaced by N.
func (r Rating) Format(unit string) string {
	u := rating.known(unit)
	v, _ := Digits(u.number(float64(r.Force)), 0)
	switch {
	case u.fromMass:
		return v + u.suffix() + " as force at standard gravity"
	case r.FromMass:
		return v + u.suffix() + " (" + r.Text + " read as force at standard gravity)"
	}
	return v + u.suffix()
}

// Format writes the point as ParsePoint reads it, if its axes are exact or
// share one spread; else as a list with the spread of each axis.
func (p Point) Format(unit string) string {
	u := length.known(unit)
	axes := [3]Measured[Length]{p.X, p.Y, p.Z}
	var least, most, size float64
	for i, m := range axes {
		half := math.Max(float64(m.High-m.Value), float64(m.Value-m.Low))
		if i == 0 || half < least {
			least = half
		}
		most = math.Max(most, half)
		size = math.Max(size, math.Abs(float64(m.Value))+half)
	}
	// The half-widths come from a subtraction, which is off by the rounding of
	// the larger numbers.
	if most-least > 1e-12*size || p.X.Shape == Uniform || p.Y.Shape == Uniform || p.Z.Shape == Uniform {
		return "[" + p.X.Format(unit) + ", " + p.Y.Format(unit) + ", " + p.Z.Format(unit) + "]"
	}
	var texts [3]string
	var half string
	for i, m := range axes {
		texts[i], half = Digits(u.number(float64(m.Value)), u.number(most))
	}
	out := strings.Join(texts[:], " ") + u.suffix()
	if half != "" {
		out += " ± " + half + u.suffix()
	}
	return out
}

// Digits writes a figure and its spread, both in one unit, with the digits the
// spread supports: Digits(4100.4, 82.3) is "4100", "82". Without a spread (zero
// or less) the second text is empty.
func Digits(v, spread float64) (value, half string) {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return strconv.FormatFloat(v, 'g', -1, 64), ""
	}
	if math.IsNaN(spread) || math.IsInf(spread, 0) {
		value, _ = Digits(v, 0)
		return value, strconv.FormatFloat(spread, 'g', -1, 64)
	}
	if math.Abs(v) < tiny {
		v = 0
	}
	if spread < tiny {
		place := topPlace(v) + 1 - exactDigits
		n := round(v, place)
		for ; n%10 == 0 && (n != 0 || place < 0); n /= 10 {
			place++
		}
		return decimalText(n, place), ""
	}
	n, place := twoDigits(spread)
	half = decimalText(n, place)
	place = max(place, topPlace(v)+1-mostDigits)
	return decimalText(round(v, place), place), half
}

// known gives the unit, or the SI unit in its place.
func (d *dimension) known(name string) *unit {
	if u := d.find(plain(name)); u != nil {
		return u
	}
	return d.find(d.si)
}

// suffix is the unit as it stands after a number.
func (u *unit) suffix() string {
	if u.name == "" || u.name == "°" {
		return u.name
	}
	return " " + u.name
}

// topPlace is the power of ten of the first digit of v; of zero, of its units.
func topPlace(v float64) int { return exponent(strconv.FormatFloat(v, 'e', -1, 64)) }

// twoDigits rounds a spread to two significant digits: n·10^place.
func twoDigits(spread float64) (n int64, place int) {
	text := strconv.FormatFloat(spread, 'e', 1, 64)
	n, _ = strconv.ParseInt(text[:1]+text[2:3], 10, 64)
	return n, exponent(text) - 1
}

func exponent(text string) int {
	n, _ := strconv.Atoi(text[strings.IndexByte(text, 'e')+1:])
	return n
}

// scale gives v in units of 10^place.
func scale(v float64, place int) float64 {
	if place > 0 {
		return v / math.Pow10(place)
	}
	return v * math.Pow10(-place)
}

func round(v float64, place int) int64 { return int64(math.Round(scale(v, place))) }

// decimalText writes n·10^place, in powers of ten where plain digits would be
// many.
func decimalText(n int64, place int) string {
	sign := ""
	if n < 0 {
		sign, n = "-", -n
	}
	digits := strconv.FormatInt(n, 10)
	top := place + len(digits) - 1
	switch {
	case n == 0 && place >= 0:
		return "0"
	case n != 0 && (place > 0 && top > 8 || top > mostDigits || top < -5):
		if len(digits) > 1 {
			digits = digits[:1] + "." + digits[1:]
		}
		return fmt.Sprintf("%s%se%d", sign, digits, top)
	case place >= 0:
		return sign + digits + strings.Repeat("0", place)
	}
	if pad := 1 - place - len(digits); pad > 0 {
		digits = strings.Repeat("0", pad) + digits
	}
	point := len(digits) + place
	return sign + digits[:point] + "." + digits[point:]
}
