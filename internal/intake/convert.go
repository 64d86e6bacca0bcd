package intake

import (
	"cmp"
	"math"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"plumbhook/fault"
	"plumbhook/keyed"
	"plumbhook/quantity"
)

// SI turns a value off the wire into SI units, or the unit of the signal.
func (w *Wire) SI(raw float64) (float64, error) {
	if w.factor == 0 {
		return math.NaN(), fault.New(fault.NoUnit, "a value without a unit").Fix("give the channel its unit in the channel map")
	}
	v := (raw*w.Scale + w.Offset) * w.factor
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return math.NaN(), fault.New(fault.Range, "%g is no measured value", raw)
	}
	return v, nil
}

// SIIn is SI for a value that brings its own unit.
func (c *Channel) SIIn(raw float64, unit string) (float64, error) {
	if c.Signal != "" {
		if unit != c.Signal {
			return math.NaN(), fault.New(fault.Disagree, "a value in %s, where %s is due", keyed.Quote(unit), c.Signal)
		}
		return c.SI(raw)
	}
	factor, err := unitFactor(c.Kind, unit)
	if err != nil {
		return math.NaN(), err
	}
	if c.factor != 0 && factor != c.factor {
		return math.NaN(), fault.New(fault.Disagree, "a value in %s, where the channel map says %s", keyed.Quote(unit), c.Unit)
	}
	w := c.Wire
	w.factor = factor
	return w.SI(raw)
}

var unitText = regexp.MustCompile(`^[\pL°%'"′″][\pL°%'"′″/ ]*$`)

// unitFactor is how many SI units one of a unit is, for a kind of channel.
// Mass units of a load cell or a crane mean force at standard gravity.
func unitFactor(kind, unit string) (float64, error) {
	if !unitText.MatchString(unit) {
		return 0, fault.New(fault.BadUnit, "%s is no unit", keyed.Quote(unit)).Fix("write the unit alone, such as kN, t or deg from vertical")
	}
	one := "1 " + unit
	var v float64
	var err error
	switch kind {
	case LoadCell, CraneTotal:
		var r quantity.Rating
		r, err = quantity.ParseRating(one)
		v = float64(r.Force)
	case HookHeight:
		v, err = exact[quantity.Length](one)
	case WindSpeed:
		v, err = exact[quantity.Speed](one)
	case Tilt:
		var m quantity.Measured[quantity.Angle]
		var from string
		m, from, err = quantity.ParseAngleFrom(one)
		v = float64(m.Value)
		if err == nil && from != "vertical" {
			return 0, fault.New(fault.Ambiguous, "tilt is the angle of the load's z axis to the vertical").
				Fix("write deg from vertical, if it shows 0 for a load that hangs level")
		}
	default:
		return 0, fault.New(fault.Internal, "no units for %s", keyed.Quote(kind))
	}
	if err != nil {
		f := *fault.Of(err)[0]
		f.Offset = max(0, f.Offset-len("1 "))
		return 0, &f
	}
	return v, nil
}

func exact[Q quantity.Quantity](s string) (float64, error) {
	m, err := quantity.Parse[Q](s)
	if err == nil && m.Shape != quantity.Exact {
		err = fault.New(fault.Range, "one figure is due, without a spread")
	}
	return float64(m.Value), err
}

var hertz = regexp.MustCompile(`^(\d+(?:\.\d*)?|\.\d+)\s*(k?Hz)?$`)

// frequency reads "10 Hz".
func frequency(s string) (float64, error) {
	m := hertz.FindStringSubmatch(strings.TrimSpace(s))
	switch {
	case m == nil:
		return 0, fault.New(fault.BadUnit, "%s is no frequency", keyed.Quote(s)).Fix("write it as 10 Hz")
	case m[2] == "":
		return 0, fault.New(fault.NoUnit, "a frequency needs a unit").Fix("write it as %s Hz", m[1])
	}
	v, err := strconv.ParseFloat(m[1], 64)
	if m[2] == "kHz" {
		v *= 1000
	}
	if err != nil || !(v > 0 && v <= 100_000) {
		return 0, fault.New(fault.Range, "a frequency of %s cannot be", keyed.Quote(s)).Fix("it lies above 0 and up to 100 kHz")
	}
	return v, nil
}

// signalValue reads "0.0001 mV/V" or "3 counts".
func signalValue(s, signal string) (float64, error) {
	number, ok := strings.CutSuffix(strings.TrimSpace(s), signal)
	if !ok {
		return 0, fault.New(fault.BadUnit, "%s is not in %s", keyed.Quote(s), signal).Fix("write the figure with the unit of the signal, such as 0.0001 %s", signal)
	}
	v, err := strconv.ParseFloat(strings.TrimSpace(number), 64)
	if err != nil || math.IsNaN(v) || math.IsInf(v, 0) {
		return 0, fault.New(fault.Syntax, "%s is no figure", keyed.Quote(number))
	}
	return v, nil
}

func sortUnmapped(u []Unmapped) {
	slices.SortFunc(u, func(a, b Unmapped) int {
		return cmp.Or(cmp.Compare(a.Gateway, b.Gateway), cmp.Compare(a.Address, b.Address))
	})
}
