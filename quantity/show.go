package quantity

import (
	"math"
	"strconv"
	"strings"
)

// Rounding says to which side a shown number may err.
type Rounding func(float64) float64

// Nearest errs to neither side. The loud side of a force to bear is Upward, of
// a limit Down.
func Nearest(x float64) float64 { return math.Round(x) }

// Upward errs to the high side.
func Upward(x float64) float64 { return math.Ceil(x - 1e-9) }

// Down errs to the low side.
func Down(x float64) float64 { return math.Floor(x + 1e-9) }

// Show writes a number with the digits that a half-width supports, both in one
// unit: to the place of the second digit of the half-width, to five digits when
// there is none.
func Show(v, half float64, r Rounding) string {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return "not known"
	}
	of, figures := half, 2
	if !(half > 0) {
		half, of, figures = 0, math.Abs(v), 5
	}
	if of == 0 {
		return "0"
	}
	e := strconv.FormatFloat(of, 'e', 1, 64)
	top, _ := strconv.Atoi(e[strings.IndexByte(e, 'e')+1:])
	unit := math.Pow(10, float64(top+1-figures))
	text, _ := Digits(r(v/unit)*unit, half)
	return text
}
