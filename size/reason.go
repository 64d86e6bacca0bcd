package size

import (
	"fmt"
	"math"
	"slices"
	"strconv"

	"plumbhook/quantity"
)

// Reason is a sentence with quantities in it: why something was chosen, or was
// not.
type Reason struct {
	format string
	args   []any
}

func because(format string, args ...any) Reason { return Reason{format, args} }

// String is the sentence in metric units.
func (r Reason) String() string { return r.Say(quantity.Metric) }

// Say is the sentence in the reader's units.
func (r Reason) Say(units quantity.System) string {
	args := slices.Clone(r.args)
	for i, a := range args {
		switch v := a.(type) {
		case quantity.Force:
			args[i] = quantity.Known(v).Format(quantity.For[quantity.Force](units))
		case quantity.Length:
			args[i] = Length(float64(v), units)
		case quantity.Angle:
			args[i] = fmt.Sprintf("%.1f°", v*180/math.Pi)
		case quantity.Ratio:
			args[i] = strconv.FormatFloat(100*float64(v), 'g', 3, 64) + " %"
		case Reason:
			args[i] = v.Say(units)
		}
	}
	return fmt.Sprintf(r.format, args...)
}

// Length writes m to the millimetre, or to the hundredth of a foot.
func Length(m float64, units quantity.System) string {
	unit, decimals := quantity.For[quantity.Length](units), 3
	if units == quantity.US {
		decimals = 2
	}
	n, _ := quantity.In(quantity.Length(m), unit)
	scale := math.Pow10(decimals)
	return fmt.Sprintf("%.*f %s", decimals, math.Round(n*scale)/scale+0, unit)
}
