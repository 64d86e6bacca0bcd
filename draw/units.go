package draw

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"plumbhook/fault"
	"plumbhook/quantity"
)

// Meta is how a sheet speaks, and the date it bears.
type Meta struct {
	Units quantity.System // of lengths
	Force string          // the one unit of every force and weight; of mass too, as force at standard gravity; empty: the system's own
	Paper string          // "A4" (also when empty), "A3" or "Letter", all landscape
	Date  string          // as it shall stand in the title block
	Size  [2]float64      // of a Picture, mm; zero: 240 by 180

	// The verdict on this state, where there is one, in the words of check:
	// it comes first on the sheet. Fails and Worst (what is used most, of
	// whatever kind, and how far) are shown so that nobody misses them.
	Verdict string
	Fails   bool
	Worst   string
}

// tongue is a Meta that has been understood.
type tongue struct {
	force  string  // unit, as printed
	newton float64 // N in one of it
	mass   bool    // it is a unit of mass
	us     bool
	w, h   float64 // paper, mm
}

// papers in mm, landscape: ISO 216, and 11 by 8 1/2 in.
var papers = map[string][2]float64{"": {297, 210}, "A4": {297, 210}, "A3": {420, 297}, "Letter": {279.4, 215.9}}

func (m Meta) tongue() (tongue, error) {
	t := tongue{force: m.Force, us: m.Units == quantity.US}
	if t.force == "" {
		t.force = quantity.For[quantity.Force](m.Units)
	}
	one, err := quantity.ParseRating("1 " + t.force)
	if err != nil {
		return t, fault.Of(err)[0].In("unit of force")
	}
	t.newton, t.mass = float64(one.Force), one.FromMass
	paper, ok := papers[m.Paper]
	if !ok {
		return t, fault.New(fault.Unsupported, "unknown paper %q", m.Paper).In("paper").Fix("choose A4, A3 or Letter")
	}
	t.w, t.h = paper[0], paper[1]
	return t, nil
}

// value writes a force without its unit, to three digits: no plan knows more.
func (t tongue) value(n float64) string { return digits(n/t.newton, 3) }

func (t tongue) say(n float64) string { return t.value(n) + " " + t.force }

// weight writes what the load weighs, and its mass unless the unit is one.
func (t tongue) weight(n, kg float64) string {
	mass := " (" + digits(kg, 4) + " kg)"
	if t.us {
		mass = " (" + digits(kg/0.45359237, 4) + " lb)"
	}
	if t.mass {
		mass = ""
	}
	return digits(n/t.newton, 4) + " " + t.force + mass
}

// length writes metres to 10 mm (to 1 mm below a metre), or feet and inches
// to half an inch.
func (t tongue) length(m float64) string {
	if !t.us {
		if math.Abs(m) < 1 {
			return strconv.FormatFloat(m, 'f', 3, 64) + " m"
		}
		return strconv.FormatFloat(m, 'f', 2, 64) + " m"
	}
	half := int(math.Round(math.Abs(m) / 0.0127))
	feet, inch := half/24, strconv.Itoa(half%24/2)
	if half%2 == 1 {
		inch = strings.TrimPrefix(inch+" 1/2", "0 ")
	}
	sign := ""
	if m < 0 && half > 0 {
		sign = "-"
	}
	if feet == 0 {
		return sign + inch + " in"
	}
	return fmt.Sprintf("%s%d ft %s in", sign, feet, inch)
}

// digits writes v to n significant digits, without an exponent; what is too
// small for four decimals is told as being smaller, not as nothing.
func digits(v float64, n int) string {
	switch {
	case v == 0:
		return "0"
	case math.Abs(v) < 1e-4:
		return map[bool]string{false: "<0.0001", true: ">-0.0001"}[v < 0]
	}
	e := int(math.Floor(math.Log10(math.Abs(v))))
	p := math.Pow(10, float64(e-n+1))
	r := math.Round(v/p) * p
	if math.Abs(r) >= math.Pow(10, float64(e+1)) { // 9.996 became 10.00
		e++
	}
	return strconv.FormatFloat(r, 'f', max(0, min(n-1-e, 4)), 64)
}

// degrees writes an angle to a tenth of a degree.
func degrees(rad float64) string { return strconv.FormatFloat(rad*180/math.Pi, 'f', 1, 64) + "°" }

// percent writes a share rounded up, as every output does: the loud side.
func percent(u float64) string {
	if u > 1e4 {
		return "over 1000000 %"
	}
	return fmt.Sprintf("%.0f %%", max(math.Ceil(100*u-1e-9), 0))
}

// round is the largest of 1, 2 or 5 times a power of ten up to v.
func round(v float64) float64 {
	p := math.Pow(10, math.Floor(math.Log10(v)))
	for _, k := range []float64{5, 2} {
		if k*p <= v {
			return k * p
		}
	}
	return p
}
