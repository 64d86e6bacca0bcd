package quantity

import (
	"math"
	"math/big"
	"regexp"
	"strings"

	"plumbhook/fault"
)

// ParsePoint reads "x y z unit" with an optional "± a unit" that holds for
// each axis: "0.85 0 1.1 m ± 20 mm".
//
// Either one unit at the end holds for all three, or each number carries its
// own: "1.2 m 0 300 mm". Zero may stay bare beside a unit. What could be read
// twice is refused. A whole number followed by a fraction, and feet followed by
// inches, are one number: "1 2 1/2 in" has two numbers and is refused.
func ParsePoint(s string) (Point, error) {
	t, half, f := parsePoint(s)
	if f != nil {
		return Point{}, f
	}
	axis := func(t term) Measured[Length] {
		v := t.si()
		m := Known(Length(float(v)))
		if half != nil {
			m.Low, m.High = Length(float(new(big.Rat).Sub(v, half))), Length(float(new(big.Rat).Add(v, half)))
			m.Shape = Normal
		}
		m.Text = s
		return m
	}
	return Point{X: axis(t[0]), Y: axis(t[1]), Z: axis(t[2]), Text: s}, nil
}

// PointOf reads a point from its three numbers, as the list form writes them:
// [0.85 m, 0, 3 ft 6 in]. Each carries its unit; zero may stay bare if another
// has one. The error is a fault.List, each fault naming its axis, with Offset
// counted in the text of that axis.
func PointOf(x, y, z string) (Point, error) {
	texts := [3]string{x, y, z}
	var axes [3]Measured[Length]
	var faults fault.List
	var bare []int
	for i, s := range texts {
		m, f := parse(s, length)
		if f != nil && f.Code == fault.NoUnit && zero(s) {
			bare = append(bare, i)
		} else if f != nil {
			f.What = axisNames[i] + ": " + f.What
			faults = append(faults, f)
		}
		axes[i] = Measured[Length]{Length(m.value), Length(m.low), Length(m.high), m.shape, s}
	}
	if len(bare) == len(texts) {
		faults = append(faults, fault.New(fault.NoUnit, "x: a point needs a unit").
			Fix("write %s after a number, even where all are zero", length.choices))
	}
	if len(faults) > 0 {
		return Point{}, faults
	}
	return Point{X: axes[0], Y: axes[1], Z: axes[2], Text: "[" + strings.Join(texts[:], ", ") + "]"}, nil
}

var axisNames = [3]string{"x", "y", "z"}

// zero says whether s is a bare zero.
func zero(s string) bool {
	p := scanner{s: s}
	t, f := p.term(length)
	p.space()
	return f == nil && t.value.Sign() == 0 && p.done()
}

// ParseDirection reads three plain numbers, "0 1 0", and gives the unit vector
// along them. A direction has no unit and is not zero.
func ParseDirection(s string) ([3]float64, error) {
	p, f := open(s)
	if f != nil {
		return [3]float64{}, f
	}
	p.point = true
	terms, f := p.terms(&dimension{name: "a direction", choices: "three plain numbers, such as 0 0 1", units: map[string]*unit{}})
	if f == nil && !p.done() {
		f = p.fault(p.i, fault.Syntax, "a direction has no spread").Fix("write three plain numbers, such as 0 0 1")
	}
	if f == nil {
		f = p.three(terms, "a direction", "0 0 1")
	}
	if f != nil {
		return [3]float64{}, f
	}
	var v [3]float64
	for i, t := range terms {
		v[i] = float(t.value)
	}
	size := math.Hypot(math.Hypot(v[0], v[1]), v[2])
	if size == 0 {
		return [3]float64{}, p.fault(0, fault.Range, "the direction has no length").
			Fix("write a direction with at least one number that is not zero")
	}
	for i := range v {
		v[i] /= size
	}
	return v, nil
}

func parsePoint(s string) ([]term, *big.Rat, *fault.Fault) {
	p, f := open(s)
	if f != nil {
		return nil, nil, f
	}
	p.point = true
	terms, f := p.terms(length)
	if f != nil {
		return nil, nil, f
	}
	if f := p.three(terms, "a point", "0.85 0 1.1 m"); f != nil {
		return nil, nil, f
	}
	if f := p.share(terms); f != nil {
		return nil, nil, f
	}
	half, f := p.half()
	return terms, half, f
}

var numberStart = regexp.MustCompile(`^[-+−]?(?:\.?[0-9]|[¼½¾⅛⅜⅝⅞])`)

// terms reads numbers side by side up to the end or a plus-minus sign.
func (p *scanner) terms(d *dimension) ([]term, *fault.Fault) {
	var out []term
	for {
		end := p.i
		p.space()
		rest := p.rest()
		switch {
		case rest == "" || startsAny(rest, plusMinus):
			return out, nil
		case strings.HasPrefix(rest, "..") || strings.HasPrefix(rest, "…"):
			return nil, p.fault(p.i, fault.Syntax, "a range between numbers side by side").
				Fix("write plain numbers; a point may be a list, [x, y, z], with a range in each place")
		case len(out) > 0 && (end == p.i || !numberStart.MatchString(rest)):
			return nil, p.left()
		}
		t, f := p.term(d)
		if f != nil {
			return nil, f
		}
		out = append(out, t)
	}
}

// three refuses any other count, and tells how the text was split.
func (p *scanner) three(terms []term, what, example string) *fault.Fault {
	switch len(terms) {
	case 3:
		return nil
	case 0:
		return p.fault(0, fault.Syntax, "%s is due here", what).Fix("write x, y and z with spaces between, such as %s", example)
	}
	end := p.i
	parts := make([]string, len(terms))
	for i := len(terms) - 1; i >= 0; i-- {
		parts[i] = strings.TrimSpace(p.s[terms[i].at:end])
		end = terms[i].at
	}
	return p.fault(0, fault.Syntax, "%s has three numbers, this has %d: %s", what, len(terms), strings.Join(parts, " | ")).
		Fix("write x, y and z with spaces between, such as %s", example)
}

// share gives bare numbers of a point their unit.
func (p *scanner) share(terms []term) *fault.Fault {
	last := terms[len(terms)-1]
	own := 0
	for _, t := range terms {
		if t.unit != nil {
			own++
		}
	}
	for i, t := range terms {
		switch {
		case t.unit != nil:
		case own == 0:
			return p.fault(t.at, fault.NoUnit, "a point needs a unit").
				Fix("write %s at the end, even where all numbers are zero", length.choices)
		case t.value.Sign() == 0:
			terms[i].unit = length.units["m"]
		case own == 1 && last.unit != nil && !last.compound:
			terms[i].unit = last.unit
		default:
			return p.fault(t.at, fault.Ambiguous, "this number has no unit while others carry their own").
				Fix("write one unit at the end for all three, or one after each number")
		}
		if f := p.sane(t.at, terms[i].si()); f != nil {
			return f
		}
	}
	return nil
}

// half reads the "± a unit" that may end a point; nil if there is none.
func (p *scanner) half() (*big.Rat, *fault.Fault) {
	if !p.take(plusMinus...) {
		return nil, nil
	}
	p.space()
	at := p.i
	if _, ok, _ := p.percent(); ok {
		return nil, p.fault(at, fault.Ambiguous, "a percentage of a place depends on where zero is").
			Fix("write the half-width as a length, such as ± 20 mm")
	}
	b, f := p.term(length)
	if f == nil {
		f = p.end(b.unit == nil, b, length)
	}
	if f != nil {
		return nil, f
	}
	if b.value.Sign() < 0 {
		return nil, p.fault(at, fault.Range, "the half-width after ± is negative").Fix("write it without a sign")
	}
	return b.interval(), p.sane(at, b.interval())
}
