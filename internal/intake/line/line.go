// Package line reads the lines that a weighing indicator sends over a serial
// port: a value, its unit, and marks for steady and overload, in an order that
// a pattern describes.
package line

import (
	"fmt"
	"math"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"plumbhook/fault"
)

// Spec describes the lines, as written in the channel map.
//
// A Template is the line with fields in braces, as in
//
//	{stable},{channel},{value} {unit}
//
// Blanks stand for any number of blanks, also none, and a field may have some
// around it; everything else stands for itself. {any} is a field that is passed over. A Regexp does the same with
// groups named value, unit, stable, overload, channel, and has to match the
// whole line, less the blanks around it. One of the two is given.
type Spec struct {
	Template, Regexp string
	// Steady and Unsteady are what may stand in the field stable, Overload
	// what marks an overload in the field overload or in place of the value.
	Steady, Unsteady, Overload []string
}

// Pattern reads lines.
type Pattern struct {
	spec   Spec
	re     *regexp.Regexp
	fields map[string]int // number of the group
}

// Item is what a line says. Of a Bad one there is no value: it is an overload,
// a blank or dashes.
type Item struct {
	Channel  string // empty where the pattern has no such field
	Value    float64
	Unit     string // empty where the pattern has no such field
	Unsteady bool
	Bad      bool
}

const (
	mostPattern = 500 // bytes
	// number allows blanks behind the sign, as right-aligned figures have, and
	// nothing that depends on where in the world the indicator was made: a
	// comma may stand for tenths or for thousands.
	number = `[-+]?\s*(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?`
	blank  = `[-_?*=\s]*`
)

var (
	names     = []string{"value", "unit", "stable", "overload", "channel"}
	fieldText = regexp.MustCompile(`\{[^{}]*\}`)
	numberRE  = regexp.MustCompile(`^` + number + `$`)
	blankRE   = regexp.MustCompile(`^` + blank + `$`)
	signGap   = regexp.MustCompile(`^([-+])\s+`)
)

// Compile checks a Spec. Errors are *fault.Fault, Offset in the pattern.
func Compile(s Spec) (*Pattern, error) {
	p := &Pattern{spec: s, fields: map[string]int{}}
	text := s.Regexp
	switch {
	case (s.Template == "") == (s.Regexp == ""):
		return nil, fault.New(fault.Missing, "a serial gateway needs a pattern or a regexp, one of the two").
			Fix("pattern: \"{stable},{value} {unit}\"")
	case len(s.Template)+len(s.Regexp) > mostPattern:
		return nil, fault.New(fault.TooLarge, "a pattern of more than %d characters", mostPattern)
	case s.Template != "":
		var err error
		if text, err = s.expression(); err != nil {
			return nil, err
		}
	}
	re, err := regexp.Compile(`^(?s:` + text + `)$`)
	if err != nil {
		return nil, fault.New(fault.Syntax, "the regular expression cannot be read").Because(err)
	}
	p.re = re
	for i, name := range re.SubexpNames() {
		switch {
		case name == "":
			continue
		case !slices.Contains(names, name):
			return nil, unknown(name, 0)
		case p.fields[name] != 0:
			return nil, fault.New(fault.Duplicate, "the field %s stands twice in the pattern", name)
		}
		p.fields[name] = i
	}
	if p.fields["value"] == 0 {
		return nil, fault.New(fault.Missing, "the pattern has no field value").Fix("put {value}, or a group named value, where the figure stands")
	}
	for _, f := range []struct {
		field string
		words []string
		key   string
	}{
		{"stable", append(slices.Clone(s.Steady), s.Unsteady...), "steady and unsteady"},
		{"overload", s.Overload, "overload"},
	} {
		if p.fields[f.field] != 0 && len(f.words) == 0 {
			return nil, fault.New(fault.Missing, "the pattern has a field %s, but what may stand there is not given", f.field).
				Fix("list the words under %s", f.key)
		}
	}
	if p.fields["stable"] == 0 && len(s.Steady)+len(s.Unsteady) > 0 {
		return nil, fault.New(fault.Reference, "words for steady and unsteady are given, but the pattern has no field stable").
			Fix("put {stable} where the mark stands")
	}
	for _, w := range s.Steady {
		if slices.Contains(s.Unsteady, w) || slices.Contains(s.Overload, w) {
			return nil, fault.New(fault.Disagree, "`%s` means steady and something else", w).Fix("list it once")
		}
	}
	return p, nil
}

func unknown(name string, offset int) *fault.Fault {
	f := fault.New(fault.UnknownKey, "a line has no field `%s`", name).
		Fix("the fields are value, unit, stable, overload and channel; any is passed over")
	f.Offset = offset
	return f
}

// expression is the template as a regular expression.
func (s *Spec) expression() (string, error) {
	var b strings.Builder
	at := 0
	literal := func(text string) {
		for i, part := range regexp.MustCompile(`\s+`).Split(text, -1) {
			if i > 0 {
				b.WriteString(`\s*`)
			}
			b.WriteString(regexp.QuoteMeta(part))
		}
	}
	quoted := func(words []string) string {
		// The longer first, so that US is not read as U.
		words = slices.Clone(words)
		slices.SortFunc(words, func(a, b string) int { return len(b) - len(a) })
		for i, w := range words {
			words[i] = regexp.QuoteMeta(w)
		}
		return strings.Join(words, "|")
	}
	for _, f := range fieldText.FindAllStringIndex(s.Template, -1) {
		literal(s.Template[at:f[0]])
		at = f[1]
		b.WriteString(`\s*`)
		switch name := s.Template[f[0]+1 : f[1]-1]; name {
		case "value":
			alternatives := number + `|` + blank
			if len(s.Overload) > 0 {
				alternatives = quoted(s.Overload) + `|` + alternatives
			}
			fmt.Fprintf(&b, `(?P<value>%s)`, alternatives)
		case "unit":
			b.WriteString(`(?P<unit>[\pL%°'"]*)`)
		case "stable":
			fmt.Fprintf(&b, `(?P<stable>%s)`, quoted(append(slices.Clone(s.Steady), s.Unsteady...)))
		case "overload":
			fmt.Fprintf(&b, `(?P<overload>(?:%s)?)`, quoted(s.Overload))
		case "channel":
			b.WriteString(`(?P<channel>[\pL\pN_.-]+)`)
		case "any":
			b.WriteString(`[^,;]*?`)
		default:
			return "", unknown(name, f[0])
		}
		b.WriteString(`\s*`)
	}
	rest := s.Template[at:]
	if strings.ContainsAny(fieldText.ReplaceAllString(s.Template, ""), "{}") {
		return "", fault.New(fault.Syntax, "a brace of the pattern has no partner").Fix("write fields as {value}")
	}
	literal(rest)
	return b.String(), nil
}

// Has tells whether the pattern has a field.
func (p *Pattern) Has(field string) bool { return p.fields[field] != 0 }

// Read takes a line apart. The error says in a few words why the line is no
// reading; it is not the line.
func (p *Pattern) Read(s string) (Item, error) {
	m := p.re.FindStringSubmatch(strings.TrimSpace(s))
	if m == nil {
		return Item{}, fault.New(fault.Syntax, "a line that does not fit the pattern")
	}
	get := func(name string) string {
		if i := p.fields[name]; i != 0 {
			return strings.TrimSpace(m[i])
		}
		return ""
	}
	it := Item{Channel: get("channel"), Unit: get("unit")}
	if p.Has("channel") && it.Channel == "" {
		return Item{}, fault.New(fault.Missing, "a line without its channel")
	}
	if p.Has("stable") {
		switch mark := get("stable"); {
		case slices.Contains(p.spec.Unsteady, mark):
			it.Unsteady = true
		case !slices.Contains(p.spec.Steady, mark):
			return Item{}, fault.New(fault.Syntax, "a mark that is neither steady nor unsteady")
		}
	}
	value := get("value")
	over := get("overload")
	switch {
	case slices.Contains(p.spec.Overload, value), slices.Contains(p.spec.Overload, over), blankRE.MatchString(value):
		it.Bad, it.Value = true, math.NaN()
		return it, nil
	case over != "":
		return Item{}, fault.New(fault.Syntax, "a mark in the field overload that is not listed")
	case !numberRE.MatchString(value):
		return Item{}, fault.New(fault.Syntax, "a value that is no number")
	}
	v, err := strconv.ParseFloat(signGap.ReplaceAllString(value, "$1"), 64)
	if err != nil {
		return Item{}, fault.New(fault.Range, "a value that is out of range")
	}
	if p.Has("unit") && it.Unit == "" {
		return Item{}, fault.New(fault.NoUnit, "a value without its unit")
	}
	it.Value = v
	return it, nil
}
