package rulebook

import (
	_ "embed"
	"encoding/csv"
	"math"
	"slices"
	"strconv"
	"strings"
	"sync"

	"plumbhook/crane"
)

// judges holds one function for each family of rules. What they judge, and by
// which clause, is in rules.csv.
var judges = []struct {
	family string
	judge  func(*check)
}{
	{"markings, temperature, exposure, edges, lengths", (*check).conditions},
	{"leg angles, bridles, assemblies", (*check).bridles},
	{"choker and basket", (*check).hitches},
	{"shackles, plates, eye bolts, spreaders", (*check).points},
	{"what is left of each rating", (*check).derated},
	{"fit of one piece to the next, facts of the catalogue", (*check).fits},
	{"dynamic factor, tilt, wind, cranes", (*check).machines},
	{"the firm's own rules", (*check).site},
}

// Does says what the program does about a rule.
type Does string

// What is not assessed is told with every lift that it concerns; what is out
// of scope is not.
const (
	Checked     Does = "checked"
	NotAssessed Does = "not assessed"
	OutOfScope  Does = "out of scope"
)

// Rule is one row of a rulebook.
type Rule struct {
	Name     string // stable
	Book     string // us, eu; any: whatever the code
	Clause   string
	Edition  string // year of the copy read or remembered; empty: not known
	Standing Standing
	Value    float64 // the limit, where it is one number
	Unit     string  // as the clause has it
	Asks     string
	Does     Does
	Test     string // that shows it; empty: TestRules has a case of this name
}

// Source is the clause with its edition, and says so where it is from memory.
func (r *Rule) Source() string {
	s := r.Clause
	if r.Edition != "" {
		s += ", edition " + r.Edition
	}
	if r.Standing == FromMemory {
		s += " (from memory)"
	}
	return s
}

// radians is the limit of a rule on angles.
func (r *Rule) radians() float64 { return r.Value * math.Pi / 180 }

//go:embed rules.csv
var rulesCSV string

// rows reads the table once. A mistake in it is ours and the tests read it,
// so it panics.
var rows = sync.OnceValue(func() []Rule {
	all, err := csv.NewReader(strings.NewReader(rulesCSV)).ReadAll()
	if err != nil {
		panic(err)
	}
	var out []Rule
	for _, c := range all[1:] {
		r := Rule{Name: c[0], Book: c[1], Clause: c[2], Edition: c[3], Standing: Standing(c[4]), Unit: c[6], Asks: c[7], Does: Does(c[8]), Test: c[9]}
		if c[5] != "" {
			if r.Value, err = strconv.ParseFloat(c[5], 64); err != nil {
				panic(err)
			}
		}
		out = append(out, r)
	}
	return out
})

// Books lists every rule there is, also those that are not assessed or out of
// scope, and those of authorities on the use of cranes.
func Books() []Rule {
	all := slices.Clone(rows())
	for _, r := range crane.Rules {
		all = append(all, Rule{
			Name: r.Name, Book: "any", Clause: r.Source, Standing: Standing(r.Standing), Asks: r.Says, Does: Checked, Test: "crane: TestRulesAgainstTheirSources",
		})
	}
	return all
}
