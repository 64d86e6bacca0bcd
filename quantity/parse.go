package quantity

import (
	"math/big"
	"strings"

	"plumbhook/fault"
)

// Parse reads a quantity with its unit: "4100 kg ± 2 %", "60..110 kg",
// "12 ft 6 1/2 in", "7/8 in", "-10..30 °C". Errors are *fault.Fault with
// Offset set to the character of s they concern.
//
// The decimal mark is a point and digits are not grouped; a comma is refused,
// since 1,200 has two readings. Values are converted exactly and rounded once,
// to the nearest float64.
//
// A spread is written "± a unit" ("+-" and "+/-" mean the same), "± p %" of the
// value, or as a range "a..b", where a number without a unit takes that of the
// other end. "4.1 ± 0.2 t" is read too: the unit at the end holds for both.
func Parse[Q Quantity](s string) (Measured[Q], error) {
	m, f := parse(s, dimensionOf[Q]())
	if f != nil {
		return Measured[Q]{}, f
	}
	return Measured[Q]{Value: Q(m.value), Low: Q(m.low), High: Q(m.high), Shape: m.shape, Text: s}, nil
}

// ParseRating reads a force, or a mass taken as force at standard gravity. A
// rating is one figure above zero: it has no spread.
func ParseRating(s string) (Rating, error) {
	r, err := parseForce(s, true)
	if err != nil {
		return Rating{}, err
	}
	return r, nil
}

// ParseForce reads what a readout may show: a force, or a mass taken as force
// at standard gravity, of either sign.
func ParseForce(s string) (Force, error) {
	r, err := parseForce(s, false)
	if err != nil {
		return 0, err
	}
	return r.Force, nil
}

func parseForce(s string, above bool) (Rating, *fault.Fault) {
	p, f := open(s)
	if f != nil {
		return Rating{}, f
	}
	t, f := p.term(rating)
	if f == nil {
		f = p.single()
	}
	if f == nil {
		f = p.end(t.unit == nil, t, rating)
	}
	if f != nil {
		return Rating{}, f
	}
	if above && t.value.Sign() <= 0 {
		return Rating{}, p.fault(t.at, fault.Range, "a rating is above zero").
			Fix("write the figure off the tag, or leave the rating out if there is none")
	}
	v := t.si()
	if f := p.sane(t.at, v); f != nil {
		return Rating{}, f
	}
	return Rating{Force: Force(float(v)), FromMass: t.unit.fromMass, Text: s}, nil
}

// ParseAngleFrom reads an angle with what it is measured from: "60 deg from
// horizontal", "30 deg ± 1 deg from vertical", "60 deg included" (between two
// legs). It gives that word, and refuses an angle without one: slings are rated
// from the horizontal in one country and from the vertical in another.
func ParseAngleFrom(s string) (Measured[Angle], string, error) {
	text, from, found := strings.Cut(s, " from ")
	at := len(text)
	from = strings.TrimPrefix(strings.TrimSpace(from), "the ")
	if !found {
		if text, found = strings.CutSuffix(strings.TrimRight(s, " "), " included"); found {
			from = "included"
		}
	}
	a, err := Parse[Angle](text)
	if err != nil {
		return Measured[Angle]{}, "", err
	}
	if from != "horizontal" && from != "vertical" && from != "included" {
		p := scanner{s: s}
		return Measured[Angle]{}, "", p.fault(at, fault.Ambiguous, "the angle does not say what it is measured from").
			Fix("write it as 60 deg from horizontal, 30 deg from vertical or 60 deg included")
	}
	a.Text = s
	return a, from, nil
}

// spread is a Measured before it has a type.
type spread struct {
	value, low, high float64
	shape            Shape
}

func open(s string) (*scanner, *fault.Fault) {
	p := &scanner{s: s}
	if len(s) > maxText {
		return nil, p.fault(0, fault.TooLarge, "the text is %d bytes long", len(s)).Fix("write one quantity of at most %d bytes", maxText)
	}
	return p, nil
}

func parse(s string, d *dimension) (spread, *fault.Fault) {
	p, f := open(s)
	if f != nil {
		return spread{}, f
	}
	a, f := p.term(d)
	if f != nil {
		return spread{}, f
	}
	p.space()
	dots := p.i
	switch {
	case p.take("..."):
		return spread{}, p.fault(dots, fault.Syntax, "three dots").Fix("write a range with two: 60..110 kg")
	case p.take("..", "…"):
		return p.between(a, d)
	case p.take(plusMinus...):
		return p.about(a, d)
	}
	if f := p.end(a.unit == nil, a, d); f != nil {
		return spread{}, f
	}
	return p.checked(d, a, Exact, a.si(), a.si(), a.si())
}

var plusMinus = []string{"±", "+/-", "+-", "+/−", "+−"}

// between reads the upper end of a range.
func (p *scanner) between(a term, d *dimension) (spread, *fault.Fault) {
	b, f := p.term(d)
	if f != nil {
		return spread{}, f
	}
	switch {
	case a.unit == nil && b.unit != nil && !b.compound:
		a.unit = b.unit
	case b.unit == nil && a.unit != nil && !a.compound:
		b.unit = a.unit
	}
	if f := p.end(a.unit == nil || b.unit == nil, a, d); f != nil {
		return spread{}, f
	}
	if d == ratio && a.unit != b.unit {
		return spread{}, p.fault(a.at, fault.Ambiguous, "one end of the range is in %%, the other is plain").
			Fix("write %% at both ends or at none")
	}
	low, high := a.si(), b.si()
	if low.Cmp(high) > 0 {
		return spread{}, p.fault(a.at, fault.Range, "the range runs from high to low").Fix("write the lower limit first")
	}
	middle := new(big.Rat).Add(low, high)
	return p.checked(d, a, Uniform, middle.Mul(middle, rat("1/2")), low, high)
}

// about reads the half-width after a plus-minus sign.
func (p *scanner) about(a term, d *dimension) (spread, *fault.Fault) {
	p.space()
	at := p.i
	var half *big.Rat
	if v, ok, f := p.percent(); f != nil {
		return spread{}, f
	} else if ok {
		switch {
		case d == ratio:
			return spread{}, p.fault(at, fault.Ambiguous, "a percentage of a ratio and percentage points look the same").
				Fix("write plain numbers, 0.30 ± 0.03, or a range, 27 %%..33 %%")
		case d == temperature:
			return spread{}, p.fault(at, fault.Ambiguous, "a percentage of a temperature depends on where its scale starts").
				Fix("write the half-width in °C, °F or K")
		case a.unit == nil:
			return spread{}, p.noUnit(a, d)
		case a.value.Sign() == 0 && v.Sign() != 0:
			return spread{}, p.fault(at, fault.Range, "a percentage of zero is no spread").
				Fix("write the half-width with a unit")
		}
		half = v.Mul(v, new(big.Rat).Abs(a.interval()))
	} else {
		b, f := p.term(d)
		if f != nil {
			return spread{}, f
		}
		if b.unit == nil {
			return spread{}, p.fault(b.at, fault.NoUnit, "the half-width after ± has no unit").
				Fix("write its unit, or %% where it is a share of the value")
		}
		if a.unit == nil && !b.compound {
			a.unit = b.unit
		}
		if d == ratio && (a.unit.name != "" || b.unit.name != "") {
			return spread{}, p.fault(at, fault.Ambiguous, "a percentage of a ratio and percentage points look the same").
				Fix("write plain numbers, 0.30 ± 0.03, or a range, 27 %%..33 %%")
		}
		half = b.interval()
	}
	if f := p.end(a.unit == nil, a, d); f != nil {
		return spread{}, f
	}
	if half.Sign() < 0 {
		return spread{}, p.fault(at, fault.Range, "the half-width after ± is negative").Fix("write it without a sign")
	}
	v := a.si()
	return p.checked(d, a, Normal, v, new(big.Rat).Sub(v, half), new(big.Rat).Add(v, half))
}

// single refuses a spread where one figure is due.
func (p *scanner) single() *fault.Fault {
	p.space()
	if startsAny(p.rest(), append([]string{"..", "…"}, plusMinus...)) {
		return p.fault(p.i, fault.Syntax, "a rating is one figure, without a spread").
			Fix("write the figure off the tag alone")
	}
	return nil
}

// percent reads "p %" as p/100, and steps over nothing if that is not what
// comes next.
func (p *scanner) percent() (*big.Rat, bool, *fault.Fault) {
	q := scanner{s: p.s, i: p.i}
	v, f := q.number()
	if f != nil {
		return nil, false, f
	}
	q.space()
	if q.unitText() != "%" {
		return nil, false, nil
	}
	p.i = q.i
	return v.Mul(v, rat("1/100")), true, nil
}

// checked rounds to float64 once and refuses what cannot be.
func (p *scanner) checked(d *dimension, a term, shape Shape, v, low, high *big.Rat) (spread, *fault.Fault) {
	if low.Sign() < 0 && !d.signed {
		switch {
		case d == temperature:
			return spread{}, p.fault(a.at, fault.Range, "this is below absolute zero").Fix("check the figure and its unit")
		case v.Sign() < 0 || shape != Normal:
			return spread{}, p.fault(a.at, fault.Range, "%s cannot be negative", d.name).Fix("write it without a minus sign")
		default:
			return spread{}, p.fault(a.at, fault.Range, "the spread reaches below zero, and %s cannot be negative", d.name).
				Fix("write what is known as a range, for example 0..5 with the unit")
		}
	}
	if f := p.sane(a.at, low); f != nil {
		return spread{}, f
	}
	if f := p.sane(a.at, high); f != nil {
		return spread{}, f
	}
	return spread{float(v), float(low), float(high), shape}, nil
}

func float(v *big.Rat) float64 {
	f, _ := v.Float64()
	return f
}

// end refuses what is left over, and then a missing unit.
func (p *scanner) end(bare bool, a term, d *dimension) *fault.Fault {
	p.space()
	if f := p.left(); f != nil {
		return f
	}
	if bare {
		return p.noUnit(a, d)
	}
	return nil
}

func (p *scanner) noUnit(a term, d *dimension) *fault.Fault {
	return p.fault(a.at, fault.NoUnit, "%s needs a unit", d.name).Fix("write %s after the number", d.choices)
}

// left says what is wrong with text after a complete quantity; nil at the end.
func (p *scanner) left() *fault.Fault {
	if p.done() {
		return nil
	}
	at := p.i
	switch r := p.peek(); {
	case r == ',':
		return p.fault(at, fault.Ambiguous, "a comma may mark decimals or thousands").
			Fix("write a decimal point, and no mark between thousands: 1234.5")
	case r == '±' || p.take(plusMinus...):
		return p.fault(at, fault.Syntax, "a second spread").Fix("write one ± or one range")
	case p.point && strings.ContainsRune("-–—−", r):
		return p.fault(at, fault.Syntax, "a dash between two numbers").Fix("write a space before each number, and a minus sign next to its number")
	case strings.ContainsRune("-–—−~", r):
		return p.fault(at, fault.Syntax, "a dash does not make a range here").Fix("write a range with two dots: 60..110 kg")
	case strings.ContainsRune("0123456789¼½¾⅛⅜⅝⅞+", r):
		return p.fault(at, fault.Syntax, "a second number where the quantity should end").
			Fix("write one number without gaps, and feet and inches each with their unit")
	case r == '.':
		return p.fault(at, fault.Syntax, "a stray point").Fix("write a range with two dots, decimals with one between digits, units without one")
	default:
		return p.fault(at, fault.Syntax, "%q is not expected here", r).Fix("write a number, its unit and nothing else")
	}
}
