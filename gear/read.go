package gear

import (
	"maps"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"

	"plumbhook/fault"
	"plumbhook/quantity"
)

// reader reads the facts of one piece. Each map holds what was read as that.
type reader struct {
	kind   Kind
	pos    fault.Pos
	faults fault.List

	texts       map[string]string // texts and words
	ratings     map[string]quantity.Rating
	lengths     map[string]quantity.Measured[quantity.Length]
	mass        *quantity.Measured[quantity.Mass]
	stiffness   *quantity.Measured[quantity.Stiffness]
	accuracy    accuracy
	overload    string
	perSecond   float64
	holdsPeaks  bool
	calibration string
}

type accuracy struct {
	share       float64
	ofFullScale bool
}

const (
	// longest bounds a fact: far above anything a tag carries.
	longest = 200

	// millimetre in m.
	millimetre = 0.001
)

// read reads every fact and notes all that is wrong with them.
func read(kind Kind, facts Facts, pos fault.Pos) *reader {
	r := &reader{
		kind: kind, pos: pos,
		texts: map[string]string{}, ratings: map[string]quantity.Rating{}, lengths: map[string]quantity.Measured[quantity.Length]{},
	}
	for _, key := range slices.Sorted(maps.Keys(facts)) {
		value := strings.TrimSpace(facts[key])
		f, known := kind.fact(key)
		switch {
		case key == "kind" || value == "": // a blank cell of a list says nothing
		case !known:
			r.fault(key, fault.New(fault.UnknownKey, "%s is nothing that is said of %s", quoted(key), a(kind.Name)).Fix("its facts are %s", keysOf(kind)))
		case len(value) > longest:
			r.fault(key, fault.New(fault.TooLarge, "the text is %d bytes long", len(value)).Fix("write at most %d", longest))
		default:
			if err := r.value(f, value); err != nil {
				r.fault(key, fault.Of(err)...)
			}
		}
	}
	for _, f := range kind.Facts {
		if f.Required && strings.TrimSpace(facts[f.Key]) == "" {
			r.fault(f.Key, fault.New(fault.Missing, "%s needs its %s", a(kind.Name), f.Key).Fix("write %s: %s", f.Key, f.Example))
		}
	}
	return r
}

// fault places mistakes at the fact they concern.
func (r *reader) fault(key string, all ...*fault.Fault) {
	for _, f := range all {
		r.faults = append(r.faults, f.In(key).At(r.pos))
	}
}

func keysOf(k Kind) string {
	var all []string
	for _, f := range k.Facts {
		all = append(all, f.Key)
	}
	return strings.Join(all, ", ")
}

// quoted quotes what a person wrote, cut to a length that a message bears.
func quoted(s string) string {
	if r := []rune(s); len(r) > 40 {
		s = string(r[:40]) + "…"
	}
	return strconv.Quote(s)
}

func (r *reader) value(f Fact, s string) (err error) {
	switch f.Reads {
	case ReadWord:
		r.texts[f.Key], err = wordOf(r.kind, f, s)
	case ReadYesNo:
		r.holdsPeaks, err = yesNo(s)
	case ReadRating:
		r.ratings[f.Key], err = quantity.ParseRating(s)
	case ReadLength:
		r.lengths[f.Key], err = sizeOf(s)
	case ReadMass:
		var m quantity.Measured[quantity.Mass]
		m, err = quantity.Parse[quantity.Mass](s)
		r.mass = &m
	case ReadStiffness:
		var k quantity.Measured[quantity.Stiffness]
		if k, err = quantity.Parse[quantity.Stiffness](s); err == nil && k.Low <= 0 {
			err = fault.New(fault.Range, "a stiffness is above zero").Fix("leave it out for what does not stretch")
		}
		r.stiffness = &k
	case ReadAngle:
		_, _, err = quantity.ParseAngleFrom(s)
		r.texts[f.Key] = s
	case ReadAccuracy:
		r.accuracy, err = accuracyOf(s)
	case ReadOverload:
		r.overload = s
		_, err = ParseOverload(s, 1)
	case ReadRate:
		r.perSecond, err = rateOf(s)
	case ReadDate:
		if _, bad := time.Parse(time.DateOnly, s); bad != nil {
			err = fault.New(fault.Syntax, "%s is no date", quoted(s)).Fix("write year, month, day: 2026-03-31")
		}
		r.calibration = s
	default:
		r.texts[f.Key] = s
	}
	return err
}

// sizeOf reads a length that is above zero whatever its spread.
func sizeOf(s string) (quantity.Measured[quantity.Length], error) {
	m, err := quantity.Parse[quantity.Length](s)
	if err == nil && m.Low <= 0 {
		err = fault.New(fault.Range, "a size is above zero").Fix("write what was measured, with its unit")
	}
	return m, err
}

// synonyms are the words for one thing that the trade uses besides ours.
var synonyms = map[string]string{
	"nylon": polyamide, "pa": polyamide, "pes": polyester, "pp": polypropylene, "manila": natural, "sisal": natural, "hemp": natural,
	"hand": handTucked, "hand spliced": handTucked, "pressed": mechanical, "mechanical splice": mechanical,
	"aluminum ferrule": lightFerrule, "poured socket": socket, "swaged socket": socket, "resin socket": socket,
	"screw pin": "screw", "bolt type": "bolt", "round pin": "round", "eye and eye sling": eyeAndEye,
}

func wordOf(k Kind, f Fact, s string) (string, error) {
	w := plainWords(s)
	if other, ok := synonyms[w]; ok {
		w = other
	}
	for _, a := range f.Allowed {
		if w == plainWords(a) || f.Key == "grade" && w == "grade "+plainWords(a) {
			return a, nil
		}
	}
	bad := fault.New(fault.Reference, "%s is no %s of %s", quoted(s), f.Key, a(k.Name)).Fix("write %s", either(f.Allowed))
	if k.Name == "alloy chain sling" && (w == "a" || w == "b") {
		bad.Fix("grade A of chain is 80 and grade B is 100 in RR-C-271G, and of shackles they mean strengths: write the number")
	}
	return "", bad
}

func yesNo(s string) (bool, error) {
	switch plainWords(s) {
	case "yes", "true":
		return true, nil
	case "no", "false":
		return false, nil
	}
	return false, fault.New(fault.Type, "%s is neither yes nor no", quoted(s)).Fix("write yes or no")
}

var (
	accuracyText = regexp.MustCompile(`^(?:±\s*)?(\d*\.?\d+)\s*%\s*(?:of\s+)?(fs|full scale|reading)?$`)
	overloadText = regexp.MustCompile(`^(\d*\.?\d+)\s*%\s*(?:of\s+(?:capacity|full scale|fs))?$`)
	rateText     = regexp.MustCompile(`^(\d*\.?\d+)\s*(?:Hz|/s|per second)$`)
)

// ParseAccuracy reads the hard limit of a load cell's error, as a share, and
// whether it is of full scale or of the reading: "0.1 % fs".
func ParseAccuracy(s string) (share float64, ofFullScale bool, err error) {
	a, err := accuracyOf(s)
	return a.share, a.ofFullScale, err
}

func accuracyOf(s string) (accuracy, error) {
	m := accuracyText.FindStringSubmatch(s)
	if m == nil {
		return accuracy{}, fault.New(fault.Syntax, "%s is no accuracy", quoted(s)).Fix("write it as 0.1 %% fs or 0.1 %% of reading")
	}
	if m[2] == "" {
		return accuracy{}, fault.New(fault.Ambiguous, "%s does not say of what", quoted(s)).Fix("write %s %% fs for full scale, or %s %% of reading", m[1], m[1])
	}
	v, err := strconv.ParseFloat(m[1], 64)
	if err != nil || v > 50 {
		return accuracy{}, fault.New(fault.Range, "an accuracy of %s %% cannot be", m[1]).Fix("it lies from 0 to 50 %%")
	}
	return accuracy{v / 100, m[2] != "reading"}, nil
}

// ParseOverload reads a safe overload: a rating, or a percentage of the capacity.
func ParseOverload(s string, capacity quantity.Force) (quantity.Force, error) {
	m := overloadText.FindStringSubmatch(s)
	if m == nil {
		v, err := quantity.ParseRating(s)
		return v.Force, err
	}
	v, err := strconv.ParseFloat(m[1], 64)
	if err != nil || v < 100 || v > 1000 {
		return 0, fault.New(fault.Range, "a safe overload of %s %% of capacity cannot be", m[1]).Fix("it lies from 100 %%: a cell may at least be used to its capacity")
	}
	return capacity * quantity.Force(v/100), nil
}

func rateOf(s string) (float64, error) {
	m := rateText.FindStringSubmatch(s)
	if m == nil {
		return 0, fault.New(fault.Syntax, "%s is no rate", quoted(s)).Fix("write how often the cell is read: 10 Hz")
	}
	v, err := strconv.ParseFloat(m[1], 64)
	if err != nil || v <= 0 || v > 1e5 {
		return 0, fault.New(fault.Range, "a rate of %s cannot be", quoted(s)).Fix("write how often the cell is read: 10 Hz")
	}
	return v, nil
}

// inches tells which system a length is written in: tables in inches and
// tables in millimetres do not carry each other's sizes.
func inches(written string) bool {
	return strings.Contains(written, "in") || strings.ContainsAny(written, "f\"″'′”’y")
}
