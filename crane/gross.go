package crane

import (
	"fmt"

	"plumbhook/fault"
	"plumbhook/quantity"
)

// Item is a kind of thing that a chart counts as load.
type Item string

// The lines of the load build-up that US Army Corps of Engineers Form 16-3
// (critical lift plan) asks for, seen in a copy. Jib is the deduction that the
// chart demands for a jib, stowed or erected, which is not the jib's own mass.
const (
	Load      Item = "load"
	Beam      Item = "lifting beam"
	Slings    Item = "slings and shackles"
	MainBlock Item = "main block"
	AuxBlock  Item = "auxiliary block"
	Jib       Item = "jib"
	Rope      Item = "hoist rope"
	Other     Item = "other"
)

// Items lists them in the order of a build-up. Other need not be stated.
var Items = []Item{Load, Beam, Slings, MainBlock, AuxBlock, Jib, Rope, Other}

// Line is one line of the build-up. Zero newtons say that there is none, which
// is not the same as no line.
type Line struct {
	Items []Item // what it covers; the hook load of the hung model covers several
	Name  string
	N     float64
	How   string // the figure as written, or how it came about
	From  string // who claims it
}

// Mass makes a line of a mass in local gravity g.
func Mass(item Item, name string, m quantity.Measured[quantity.Mass], g quantity.Acceleration, from string) Line {
	return Line{[]Item{item}, name, float64(m.Value) * float64(g), shown(m, "kg"), from}
}

// Gross is all that hangs on a machine.
type Gross struct {
	Lines    []Line
	N        float64 // the sum
	Unstated []Item  // what no line covers
	Findings []Finding
}

// Total adds the lines up. The figure for what hangs below the hook is the
// caller's choice: the 95th percentile, where nothing else is meant. The error
// is a *fault.Fault, for a line that no weight can have.
func Total(where string, lines ...Line) (Gross, error) {
	g := Gross{Lines: lines}
	seen := map[Item]bool{}
	for _, l := range lines {
		if !finite(l.N) {
			return g, fault.New(fault.Range, "%s weighs %v N", l.Name, l.N).In(where).Fix("a deduction is added to the load: write it above zero")
		}
		g.N += l.N
		for _, i := range l.Items {
			seen[i] = true
		}
		if l.From == "" && l.N > 0 {
			r := rule{"weight-source", "US Army Corps of Engineers Form 16-3, critical lift plan: the source of each weight is attached", Read}
			g.Findings = append(g.Findings, r.find(Note, where, "nobody is named for the weight of %s", l.Name))
		}
	}
	for _, i := range Items {
		if !seen[i] && i != Other {
			g.Unstated = append(g.Unstated, i)
		}
	}
	return g, nil
}

// missing says what the sum lacks.
func (g Gross) missing() []string {
	var out []string
	for _, i := range g.Unstated {
		out = append(out, fmt.Sprintf("what hangs on the machine: nothing is stated for %s (write 0 kg where there is none)", i))
	}
	return out
}
