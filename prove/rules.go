package prove

import (
	_ "embed"
	"encoding/csv"
	"math"
	"slices"
	"strconv"
	"strings"
	"sync"

	"plumbhook/gear"
	"plumbhook/quantity"
)

// Kind is how a test under a rule goes.
type Kind string

// Proof: a load from the rating, held in a band. Engineer: the same with a load
// that an engineer states. Pull: the greatest running mean. Guy: the last settled
// mean against the design's tension at the temperature of the day.
const (
	Proof    Kind = "proof"
	Engineer Kind = "engineer"
	Pull     Kind = "pull"
	Guy      Kind = "guy"
)

// A Rule is what a text asks of a test.
type Rule struct {
	Name    string
	Kind    Kind
	Ranges  []Range  // of the rating, one after the other
	Hold    float64  // the least time, s; zero: the text sets none
	Under   float64  // by what share the load may stay below; mostly none
	Witness []string // what it asks besides and no load cell can show
	gear.Cited
}

// A Range is what a rating over Over and up to UpTo is proof loaded to:
// Multiplier × rating + Addend.
type Range struct {
	Over, UpTo quantity.Force // UpTo is infinite where there is no upper end
	Multiplier float64
	Addend     quantity.Force
}

// Load is the least test load for a rating, in N; zero where the text sets none.
func (r *Rule) Load(rating float64) float64 {
	for _, g := range r.Ranges {
		// What a file writes as the very limit must not fall beyond it by a rounding.
		if f := quantity.Force(rating); f > g.Over && f <= g.UpTo*(1+1e-12) {
			return rating*g.Multiplier + float64(g.Addend)
		}
	}
	return 0
}

//go:embed rules.csv
var rulesCSV string

// Rules are all the program knows, in the order of its table.
func Rules() []Rule { return slices.Clone(rules()) }

// rules reads the table once. A mistake in it is ours and the tests read it.
var rules = sync.OnceValue(func() (all []Rule) {
	rows, err := csv.NewReader(strings.NewReader(rulesCSV)).ReadAll()
	if err != nil {
		panic(err)
	}
	number := func(s string, or float64) float64 {
		if s == "" {
			return or
		}
		v, err := strconv.ParseFloat(s, 64)
		if err != nil {
			panic(err)
		}
		return v
	}
	force := func(s, unit string, or float64) quantity.Force {
		if s == "" || s == "0" {
			return quantity.Force(or)
		}
		r, err := quantity.ParseRating(s + " " + unit)
		if err != nil {
			panic(err)
		}
		return r.Force
	}
	for _, c := range rows[1:] {
		if len(all) == 0 || all[len(all)-1].Name != c[0] {
			r := Rule{Name: c[0], Kind: Kind(c[1]), Hold: number(c[7], 0), Under: number(c[8], 0), Cited: gear.Cited{Source: c[9], Standing: gear.Standing(c[10])}}
			if c[11] != "" {
				r.Witness = strings.Split(c[11], "; ")
			}
			all = append(all, r)
		}
		if c[5] != "" {
			r := &all[len(all)-1]
			r.Ranges = append(r.Ranges, Range{force(c[2], c[4], 0), force(c[3], c[4], math.Inf(1)), number(c[5], 0), force(c[6], c[4], 0)})
		}
	}
	return all
})

// ruleNames are those a file may ask for.
func ruleNames() (names []string) {
	for _, r := range rules() {
		names = append(names, r.Name)
	}
	return names
}
