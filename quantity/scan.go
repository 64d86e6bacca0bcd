package quantity

import (
	"math/big"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"

	"plumbhook/fault"
)

// Bounds that keep hostile text cheap; no quantity of the trade needs more.
const (
	maxText     = 400 // bytes of one quantity or point
	maxDigits   = 30  // digits of one number
	maxExponent = 30
)

// most is the largest quantity read, in its SI unit: beyond it a unit or a
// power of ten is wrong.
var most = rat("1e15")

// scanner walks over the text of one quantity.
type scanner struct {
	s string
	i int // byte offset of what comes next

	point bool // several numbers may stand side by side
}

// term is a signed number with the unit beside it, or with none.
type term struct {
	at       int // byte offset of its first character
	value    *big.Rat
	unit     *unit // nil: bare
	compound bool  // feet and inches: the unit cannot be lent to another number
}

// si is the term in its SI unit.
func (t term) si() *big.Rat {
	v := t.interval()
	if t.unit.offset != nil {
		v.Add(v, t.unit.offset)
	}
	return v
}

// interval is the term as a difference: 9 °F is 5 K.
func (t term) interval() *big.Rat { return new(big.Rat).Mul(t.value, t.unit.factor) }

// sane refuses a quantity that nothing of the trade comes near.
func (p *scanner) sane(at int, si *big.Rat) *fault.Fault {
	if new(big.Rat).Abs(si).Cmp(most) <= 0 {
		return nil
	}
	return p.fault(at, fault.Range, "this is beyond anything lifted").Fix("check the figure, its unit and its power of ten")
}

func (p *scanner) fault(at int, code fault.Code, format string, args ...any) *fault.Fault {
	return p.place(fault.New(code, format, args...), at)
}

// place gives a fault its offset, which counts characters.
func (p *scanner) place(f *fault.Fault, at int) *fault.Fault {
	f.Offset = utf8.RuneCountInString(p.s[:at])
	return f
}

func (p *scanner) done() bool { return p.i >= len(p.s) }

func (p *scanner) rest() string { return p.s[p.i:] }

func (p *scanner) peek() rune {
	r, _ := utf8.DecodeRuneInString(p.rest())
	return r
}

func (p *scanner) space() {
	p.i = len(p.s) - len(strings.TrimLeftFunc(p.rest(), unicode.IsSpace))
}

// take steps over the first of the words that comes next.
func (p *scanner) take(words ...string) bool {
	for _, w := range words {
		if strings.HasPrefix(p.rest(), w) {
			p.i += len(w)
			return true
		}
	}
	return false
}

var (
	decimal  = regexp.MustCompile(`^(?:[0-9]+(?:\.[0-9]+)?|\.[0-9]+)(?:[eE][+-]?[0-9]+)?`)
	fraction = regexp.MustCompile(`^(?:([0-9]+)(?:\s+|-))?([0-9]+)/([0-9]+)`)
	vulgar   = regexp.MustCompile(`^([0-9]*)\s*([¼½¾⅛⅜⅝⅞])`)
	infinite = regexp.MustCompile(`(?i)^(nan|inf|infinity|∞)\b|^∞`)

	eighths = map[string]string{
		"⅛": "1/8", "¼": "1/4", "⅜": "3/8", "½": "1/2", "⅝": "5/8", "¾": "3/4", "⅞": "7/8",
	}
)

// number reads a decimal number (1.5, .5, 1.5e3), a fraction (7/8, ⅞) or a
// whole number with a fraction (1 1/8, 1-1/8, 1⅛), each with its sign.
func (p *scanner) number() (*big.Rat, *fault.Fault) {
	from := p.i
	negative := p.take("-", "−")
	if !negative {
		p.take("+")
	}
	v, f := p.unsigned(from)
	if f == nil && negative {
		v.Neg(v)
	}
	return v, f
}

func (p *scanner) unsigned(from int) (*big.Rat, *fault.Fault) {
	rest := p.rest()
	if m := vulgar.FindStringSubmatch(rest); m != nil && !p.apart(m[1], rest) {
		p.i += len(m[0])
		return p.mixed(from, m[1], eighths[m[2]])
	}
	if m := fraction.FindStringSubmatch(rest); m != nil && !p.apart(m[1], rest) {
		p.i += len(m[0])
		return p.mixed(from, m[1], m[2]+"/"+m[3])
	}
	text := decimal.FindString(rest)
	switch {
	case text == "" && infinite.MatchString(rest):
		return nil, p.fault(from, fault.Range, "this is not a number that can be measured").
			Fix("write a finite number with its unit")
	case text == "":
		return nil, p.fault(from, fault.Syntax, "a number is due here").
			Fix("write a number with its unit, digits first and a decimal point, not a comma")
	case text == "0" && len(rest) > 1 && (rest[1] == 'x' || rest[1] == 'X'):
		return nil, p.fault(from, fault.Syntax, "hexadecimal numbers are not read").
			Fix("write the number in decimal")
	}
	p.i += len(text)
	mantissa, exponent, _ := strings.Cut(strings.ToLower(text), "e")
	power, err := strconv.Atoi("0" + strings.TrimLeft(exponent, "+-"))
	if len(mantissa) > maxDigits || err != nil || power > maxExponent {
		return nil, p.tooLong(from)
	}
	return rat(text), nil
}

// apart says that whole, in a point, is a coordinate of its own: nobody writes
// zero as the whole part of a fraction there, and 0 0 7/8 in is three numbers.
func (p *scanner) apart(whole, rest string) bool {
	return p.point && whole != "" && strings.Trim(whole, "0") == "" && !strings.HasPrefix(rest, whole+"-")
}

func (p *scanner) mixed(from int, whole, part string) (*big.Rat, *fault.Fault) {
	over, under, _ := strings.Cut(part, "/")
	if len(whole)+len(part) > maxDigits {
		return nil, p.tooLong(from)
	}
	if strings.Trim(under, "0") == "" {
		return nil, p.fault(from, fault.Range, "the fraction %s divides by zero", part).Fix("write a fraction such as 7/8")
	}
	v := new(big.Rat).Quo(rat(over), rat(under))
	if whole == "" {
		return v, nil
	}
	if v.Cmp(rat("1")) >= 0 {
		return nil, p.fault(from, fault.Syntax, "the fraction %s beside the whole number %s is not below one", part, whole).
			Fix("write a proper fraction, such as 1 1/8")
	}
	return v.Add(v, rat(whole)), nil
}

func (p *scanner) tooLong(at int) *fault.Fault {
	return p.fault(at, fault.Range, "the number is too long").
		Fix("write at most %d digits, and a power of ten of at most %d", maxDigits, maxExponent)
}

// quoteMark: the marks for feet and inches end a unit by themselves: 12'6" is two units.
var quoteMark = regexp.MustCompile(`^(?:''|["'″”′’])`)

// unitWord is one word of a unit: kg, m/s², pound-force, or the slash before
// the rest of one.
var unitWord = regexp.MustCompile(`^[\p{L}°%‰/℃℉](?:[\p{L}0-9°%²³^·*/_]|-\p{L})*`)

// unitText steps over the words of a unit and gives them as written.
func (p *scanner) unitText() string {
	start, end := p.i, p.i
	if m := quoteMark.FindString(p.rest()); m != "" {
		p.i += len(m)
		return m
	}
	for {
		m := unitWord.FindString(p.rest())
		if m == "" {
			p.i = end
			return p.s[start:end]
		}
		p.i += len(m)
		end = p.i
		p.space()
	}
}

// term reads a number and the unit beside it. Feet may have inches after them:
// 12 ft 6 1/2 in, 12' 6 1/2", 12'-6". Without a unit the term is bare, which
// for a ratio means plain.
func (p *scanner) term(d *dimension) (term, *fault.Fault) {
	p.space()
	t := term{at: p.i}
	var f *fault.Fault
	if t.value, f = p.number(); f != nil {
		return t, f
	}
	end := p.i
	p.space()
	at := p.i
	text := p.unitText()
	if text == "" {
		p.i = end
		t.unit = d.units[""]
		return t, nil
	}
	if t.unit, f = d.lookup(text); f != nil {
		return t, p.place(f, at)
	}
	if d == length && t.unit.name == "ft" {
		return p.inches(t)
	}
	return t, nil
}

var digitFirst = regexp.MustCompile(`^(?:\.?[0-9]|[¼½¾⅛⅜⅝⅞])`)

// inches adds the inches that may follow feet. A number that is not followed
// by inches stays unread.
func (p *scanner) inches(feet term) (term, *fault.Fault) {
	q := scanner{s: p.s, i: p.i}
	if !q.take("-") {
		q.space()
	}
	at := q.i
	if !digitFirst.MatchString(q.rest()) {
		return feet, nil
	}
	v, f := q.number()
	if f != nil {
		return feet, f
	}
	q.space()
	if u := length.find(plain(q.unitText())); u == nil || u.name != "in" {
		return feet, nil
	}
	p.i = q.i
	if !feet.value.IsInt() || v.Cmp(rat("12")) >= 0 {
		return feet, p.fault(at, fault.Range, "feet and inches do not fit together").
			Fix("write whole feet and less than 12 inches, or one of the two alone")
	}
	v.Quo(v, rat("12"))
	if startsAny(p.s[feet.at:], []string{"-", "−"}) {
		v.Neg(v)
	}
	feet.value.Add(feet.value, v)
	feet.compound = true
	return feet, nil
}

func startsAny(s string, words []string) bool {
	return slices.ContainsFunc(words, func(w string) bool { return strings.HasPrefix(s, w) })
}
