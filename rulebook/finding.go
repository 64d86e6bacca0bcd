package rulebook

import (
	"fmt"
	"slices"
	"strings"

	"plumbhook/quantity"
)

// Severity grades a finding.
type Severity string

// Stop: do not lift like this. Caution: a competent person has to look.
// Note: worth knowing. None: it was checked and holds.
const (
	Stop    Severity = "stop"
	Caution Severity = "caution"
	Note    Severity = "note"
	None    Severity = ""
)

// Standing says how well the source of a rule is known here.
type Standing string

// Read: seen in a copy of the source. Transcribed: seen in a public
// transcription. FromMemory: to be checked against the source before anyone
// relies on it. CommonPractice: no source. Stated: on a tag, in a chart, by
// the lift file. Mechanics: follows from statics or geometry.
const (
	Read           Standing = "read"
	Transcribed    Standing = "transcribed"
	FromMemory     Standing = "from memory"
	CommonPractice Standing = "common practice"
	Stated         Standing = "stated"
	Mechanics      Standing = "mechanics"
)

// Finding is one thing to say about a plan.
type Finding struct {
	Severity      Severity
	Rule          string   // stable name
	Source        string   // clause and edition, tag, or the mechanics; says so where it is from memory
	Standing      Standing //
	Where         string   // what it is about: legs.west, hooks.main, load
	Text          string   // the sentence a rigger would say, in metric units
	Demand, Limit *float64
	Unit          string // SI, of demand and limit

	format string // the sentence, for Say
	args   []any
	also   []string // where else the same is to be said
}

// New makes a finding. Forces among args are Newtons, for Say to write.
func New(sev Severity, rule, source, where, format string, args ...any) Finding {
	f := Finding{Severity: sev, Rule: rule, Source: source, Where: where, format: format, args: args}
	f.Text = f.Say(quantity.Metric)
	return f
}

// Against adds the numbers that were compared.
func (f *Finding) Against(demand, limit float64, unit string) *Finding {
	f.Demand, f.Limit, f.Unit = &demand, &limit, unit
	return f
}

// Say is the sentence with forces in the reader's unit.
func (f *Finding) Say(units quantity.System) string {
	args := slices.Clone(f.args)
	for i, a := range args {
		if n, ok := a.(Newtons); ok {
			args[i] = quantity.Known(quantity.Force(n)).Format(quantity.For[quantity.Force](units))
		}
	}
	return fmt.Sprintf(f.format, args...) + elsewhere(f.also)
}

// Newtons is a force in a sentence.
type Newtons float64

// Open is a question that stays open: what a rule needs to know and nobody
// said.
type Open struct {
	Rule    string
	Where   string
	Missing string // what it is about, and what to write

	also []string
}

// String is the question in a line.
func (o Open) String() string {
	return fmt.Sprintf("%s: %s: %s%s", o.Rule, o.Where, o.Missing, elsewhere(o.also))
}

// elsewhere lists further places, entries of one stack together:
// legs.west.stack[3 5].
func elsewhere(also []string) string {
	if len(also) == 0 {
		return ""
	}
	var all []string
	for _, place := range also {
		if n := len(all); n > 0 {
			stack, entry, ok := strings.Cut(place, "[")
			if last, more := strings.CutSuffix(all[n-1], "]"); ok && more && strings.HasPrefix(last, stack+"[") {
				all[n-1] = last + " " + entry
				continue
			}
		}
		all = append(all, place)
	}
	return " (also " + strings.Join(all, ", ") + ")"
}

// Report is what a rulebook has to say.
type Report struct {
	Findings []Finding // stop, then caution, then note
	Held     []Finding // what was checked and holds, with its numbers
	Open     []Open
	// Rating is what is left of the rating of a part as it is rigged, N, by
	// its place; only parts that a rule reduces are here.
	Rating map[string]float64
	// Machines are the cranes of the file that hang something.
	Machines []Machine
}

// fold says once what holds in several places, and puts the worst first.
// What stops a lift is said for each place by itself.
func (r *Report) fold() {
	type same struct{ rule, text string }
	var found []Finding
	at := map[same]int{}
	for _, f := range r.Findings {
		k := same{f.Rule, f.Source + f.Text}
		if i, ok := at[k]; ok && f.Severity == Note {
			if g := &found[i]; g.Where != f.Where && !slices.Contains(g.also, f.Where) {
				g.also = append(g.also, f.Where)
				g.Text = g.Say(quantity.Metric)
			}
			continue
		}
		at[k] = len(found)
		found = append(found, f)
	}
	rank := map[Severity]int{Stop: 0, Caution: 1, Note: 2}
	slices.SortStableFunc(found, func(a, b Finding) int { return rank[a.Severity] - rank[b.Severity] })
	r.Findings = found

	var open []Open
	clear(at)
	for _, o := range r.Open {
		k := same{o.Rule, o.Missing}
		if i, ok := at[k]; ok {
			if p := &open[i]; p.Where != o.Where && !slices.Contains(p.also, o.Where) {
				p.also = append(p.also, o.Where)
			}
			continue
		}
		at[k] = len(open)
		open = append(open, o)
	}
	r.Open = open
}
