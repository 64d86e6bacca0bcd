package crane

import (
	"fmt"
	"math"
	"strconv"

	"plumbhook/quantity"
)

// Severity grades a finding.
type Severity string

// Stop: do not lift like this. Caution: a competent person has to look.
// Note: worth knowing.
const (
	Stop    Severity = "stop"
	Caution Severity = "caution"
	Note    Severity = "note"
)

// Standing says how well a rule is known here.
type Standing string

// Read: seen in a copy of the source. Transcribed: seen in a public
// transcription. FromMemory: to be checked against the source before anyone
// relies on it. CommonPractice: no source. Stated: by the chart or the plan.
// Mechanics: follows from statics or geometry.
const (
	Read           Standing = "read"
	Transcribed    Standing = "transcribed"
	FromMemory     Standing = "from memory"
	CommonPractice Standing = "common practice"
	Stated         Standing = "stated"
	Mechanics      Standing = "mechanics"
)

// Status is how a check came out. What is not assessed does not hold.
type Status string

// The outcomes of a check.
const (
	Holds       Status = "holds"
	Fails       Status = "fails"
	NotAssessed Status = "not assessed"
)

// Finding is one thing to say about a crane in a plan.
type Finding struct {
	Severity      Severity
	Rule          string // stable name
	Source        string // clause and edition, chart, or who stated it
	Standing      Standing
	Where         string // what it is about, in the caller's words: crane.main
	Text          string // the sentence a rigger would say
	Demand, Limit *float64
	Unit          string // SI, of demand and limit; "1" for a ratio
}

// rule is the head that findings of one rule share.
type rule struct {
	name, source string
	standing     Standing
}

func (r rule) find(sev Severity, where, format string, args ...any) Finding {
	return Finding{
		Severity: sev, Rule: r.name, Source: r.source, Standing: r.standing, Where: where,
		Text: fmt.Sprintf(format, args...),
	}
}

// against adds the numbers that were compared.
func (f Finding) against(demand, limit float64, unit string) Finding {
	f.Demand, f.Limit, f.Unit = &demand, &limit, unit
	return f
}

// shown writes a quantity for people: as it was written where that is known.
func shown[Q quantity.Quantity](m quantity.Measured[Q], unit string) string {
	if m.Text != "" {
		return m.Text
	}
	return m.Format(unit)
}

func kilonewtons(n float64) string { return quantity.Known(quantity.Force(n)).Format("kN") }

func percent(share float64) string { return strconv.FormatFloat(100*share, 'f', 1, 64) + " %" }

// finite tells whether v is a number that can be measured and not below zero.
func finite(v float64) bool { return v >= 0 && !math.IsInf(v, 0) }
