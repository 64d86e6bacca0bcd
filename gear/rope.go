package gear

import (
	"fmt"
	"math"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"plumbhook/fault"
	"plumbhook/quantity"
)

// rope is what the words of a wire rope say: "6x19 EIPS IWRC", "6x36 1770 FC".
type rope struct {
	class string // 6x19
	grade string // IPS, EIPS, or the rope grade R in N/mm²: 1770
	core  string // FC, IWRC, WSC
}

var (
	ropeClass = regexp.MustCompile(`^(\d+[xX×]\d+)(M?)(?:WS|SW|S|W|F|FW)?$`)
	ropeGrade = map[string]string{"IPS": "IPS", "EIPS": "EIPS", "XIP": "EIPS", "XIPS": "EIPS", "EEIPS": "EEIPS", "EEIP": "EEIPS", "XXIP": "EEIPS", "1570": "1570", "1770": "1770", "1960": "1960", "2160": "2160"}
)

// rope reads the facts rope, class and grade together; what is not said stays
// empty. The fault is of words that disagree or are not known.
func (r *reader) rope() (out rope, bad *fault.Fault) {
	set := func(to *string, v string) {
		if *to != "" && *to != v {
			bad = fault.New(fault.Disagree, "the rope is said to be %s and %s", *to, v).Fix("correct the one that is wrong")
		}
		*to = v
	}
	for _, word := range strings.Fields(strings.Join([]string{r.texts["rope"], r.texts["class"], r.texts["grade"]}, " ")) {
		upper := strings.ToUpper(strings.Trim(word, ",;"))
		if m := ropeClass.FindStringSubmatch(strings.ReplaceAll(upper, "X", "x")); m != nil {
			set(&out.class, strings.ReplaceAll(m[1], "×", "x")+m[2])
		} else if g, ok := ropeGrade[upper]; ok {
			set(&out.grade, g)
		} else if upper == "FC" || upper == "IWRC" || upper == "WSC" {
			set(&out.core, upper)
		} else {
			bad = fault.New(fault.Reference, "%s says nothing about a rope that is known here", quoted(word)).
				Fix("write construction, grade and core: 6x19 EIPS IWRC, or 6x36 1770 IWRC")
		}
	}
	return out, bad
}

// inNewtons tells a rope grade in N/mm² from IPS and its like.
func (o rope) inNewtons() bool { return o.grade != "" && o.grade[0] <= '9' }

// ropeFactors are those of ISO 2408 for one construction: the mass is
// W·d²/100 kg/m, the metallic area C·d² mm², the least breaking force
// K·d²·R/1000 kN, with d in mm and R in N/mm².
type ropeFactors struct {
	class, core string
	w, c, k     float64 // zero: blank in the copy read
	standing    Standing
}

var ropeTable = table("rope_factors", func(r record) ropeFactors {
	return ropeFactors{
		r["class"], r["core"], r.number("w_mass_kg_per_100m_per_mm2", 0), r.number("c_metallic_area", 0), r.number("k_min_breaking_force", 0), Standing(r["standing"]),
	}
})

type termination struct {
	splice   string
	divideBy float64
	Cited
}

var terminations = table("terminations", func(r record) termination {
	return termination{r["splice"], r.number("divide_by", 0), r.cited()}
})

// ropeDesignFactor divides the breaking force of a wire rope sling.
const (
	ropeDesignFactor       = 5
	ropeDesignFactorSource = "29 CFR 1918.62(b)(1)"
)

// Sizes that ISO 2408 speaks of, in m; the limits are from memory.
const leastRope, mostRope = 6 * millimetre, 60 * millimetre

// rateByFormula rates a wire rope sling of a rope grade in N/mm²:
//
//	WLL = K d² R / (1000 × termination factor × 5)   kN, d in mm
//
// K of ISO 2408, the termination factor of 0027/ND, 5 of 29 CFR 1918.
func (r *reader) rateByFormula(p *Piece, o rope) *fault.Fault {
	size, sized := r.size()
	splice := r.texts["splice"]
	d := float64(size.Value) / millimetre
	switch {
	case !sized:
		p.note("no rating: write wll off the tag")
		return nil
	case inches(size.Text):
		return fault.New(fault.Reference, "rope grade %s belongs to ropes in millimetres, and this is %s", o.grade, size.Text).
			Fix("write wll off the tag, or the diameter in mm")
	case float64(size.Value) < leastRope-sameSize || float64(size.Value) > mostRope+sameSize:
		return fault.New(fault.Range, "a wire rope of %s is outside 6 to 60 mm", size.Text).Fix("write wll off the tag")
	case o.class == "" || o.grade == "" || o.core == "" || splice == "":
		return fault.New(fault.Missing, "a rating by the formula needs construction, grade, core and splice").
			Fix("write rope: 6x36 1770 IWRC and splice: %s; or wll off the tag", steelFerrule)
	}
	i := slices.IndexFunc(ropeTable(), func(f ropeFactors) bool { return f.class == o.class && f.core == o.core })
	if i < 0 {
		var have []string
		for _, f := range ropeTable() {
			have = append(have, f.class+" "+f.core)
		}
		return fault.New(fault.Reference, "no factor that was read fits %s rope with %s", o.class, o.core).Fix("write wll off the tag; there are factors for %s", either(have))
	}
	k := ropeTable()[i].k
	j := slices.IndexFunc(terminations(), func(t termination) bool { return t.splice == splice })
	if j < 0 {
		if splice == mechanical {
			return fault.New(fault.Ambiguous, "a mechanical splice may have a steel ferrule, factor 1.12, or one of aluminium, factor 2").
				Fix("write splice: %s or %s; or wll off the tag", steelFerrule, lightFerrule)
		}
		return fault.New(fault.Reference, "no termination factor that was read fits %s", splice).Fix("write wll off the tag")
	}
	t := terminations()[j]
	strength, err := strconv.ParseFloat(o.grade, 64)
	if err != nil || strength != 1770 && strength != 1960 {
		return fault.New(fault.Reference, "rope grade %s was not read in a source", o.grade).Fix("write wll off the tag; grades 1770 and 1960 were read")
	}
	force := quantity.Force(k * d * d * strength / t.divideBy / ropeDesignFactor)
	kN := math.Floor(float64(force)/100) / 10 // downward, as tags do
	p.WLL = &Rated{
		Force: quantity.Force(kN * 1000), Text: fmt.Sprintf("%g kN", kN),
		Source: fmt.Sprintf("formula K d² R / 1000 of %s, K %g; divided by %g for %s (%s) and by %d (%s)",
			isoRope, k, t.divideBy, splice, t.Source, ropeDesignFactor, ropeDesignFactorSource),
	}
	p.note("rating by formula, not off a table: the tag on the gear and its maker's data govern")
	return nil
}
