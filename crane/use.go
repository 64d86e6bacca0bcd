package crane

import (
	"fmt"
	"strings"

	"plumbhook/quantity"
)

// Situation is what else the rules of authorities turn on.
type Situation struct {
	Cranes     int // on the load; 0 counts as 1
	People     bool
	Floating   bool // crane on a barge or other floating base
	Travelling bool // with the load

	// Radius as a part of the largest in the chart for this boom. Nil counts as
	// the largest.
	RadiusShare *float64

	// LineShare is the pull in the hoist rope as a part of its largest
	// permissible pull, by whoever worked it out. Nil: not stated.
	LineShare *float64

	// Dynamic is the plan's dynamic factor, nil without one. OnChart says that
	// it is to be held against the chart too.
	Dynamic *Factor
	OnChart bool
}

// Use is a machine's load against its chart.
type Use struct {
	Where     string
	GrossN    float64
	CapacityN *float64 // nil: the chart allows nothing there
	Share     *float64 // gross over capacity, static
	Dynamic   *float64 // the same with the dynamic factor; nil without one
	Status    Status   // of gross against capacity

	NotAssessed []string // what, in words
	Findings    []Finding
}

// Judge holds what hangs on a machine against what its chart allows, and
// against every rule of Rules that the share or the situation meets.
func Judge(where string, g Gross, a Answer, s Situation) Use {
	u := Use{Where: where, GrossN: g.N, Status: Holds, NotAssessed: g.missing()}
	u.Findings = append(append(u.Findings, a.Findings...), g.Findings...)
	governing := 0.0
	if a.Capacity == nil {
		u.Status = Fails
	} else {
		c := float64(a.Capacity.Force)
		share := g.N / c
		u.CapacityN, u.Share, governing = &c, &share, share
		u.dynamic(a, s, &governing)
		if !(governing <= 1) { // not a number is no pass
			u.Status = Fails
		}
	}
	if u.Status == Holds && len(g.Unstated) > 0 {
		u.Status = NotAssessed
	}
	if s.LineShare == nil {
		u.NotAssessed = append(u.NotAssessed, "pull in the hoist rope against its largest permissible pull: not stated")
	}
	for _, r := range Rules {
		if f, met := r.meets(where, governing, a, g, s); met {
			u.Findings = append(u.Findings, f)
		}
	}
	return u
}

// dynamic shows the share with the dynamic factor, and lets it govern where
// the plan asks for that.
func (u *Use) dynamic(a Answer, s Situation, governing *float64) {
	if s.Dynamic == nil {
		return
	}
	r := rule{"chart-dynamic", "practice of the trade; no source", CommonPractice}
	with := *u.Share * s.Dynamic.Value
	u.Dynamic = &with
	if s.OnChart {
		*governing = max(*u.Share, with)
		u.Findings = append(u.Findings, r.find(Note, u.Where,
			"with the dynamic factor %g, as the plan asks, %s of the chart; without it %s", s.Dynamic.Value, percent(with), percent(*u.Share)).
			against(with, 1, "1"))
		return
	}
	sev := Note
	if with > 1 {
		sev = Caution
	}
	u.Findings = append(u.Findings, r.find(sev, u.Where,
		"a chart holds the crane's own hoisting factor: the dynamic factor %g counts for slings and lifting points, not again here; with it the load would come to %s of %s, without it to %s",
		s.Dynamic.Value, percent(with), a.Capacity.Text, percent(*u.Share)).against(with, 1, "1"))
}

// meets tells whether a rule applies, and says why.
func (r *Rule) meets(where string, share float64, a Answer, g Gross, s Situation) (Finding, bool) {
	var why []string
	var first *Case // that compares shares
	demand := 0.0
	for i := range r.Cases {
		c := &r.Cases[i]
		if s.Cranes < c.Cranes || c.People && !s.People || c.Floating && !s.Floating || c.Travelling && !s.Travelling {
			continue
		}
		if c.Beyond > 0 && s.RadiusShare != nil && *s.RadiusShare <= c.Beyond {
			continue
		}
		value, of := share, "capacity"
		if c.OfLine {
			if s.LineShare == nil {
				continue
			}
			value, of = *s.LineShare, "the largest line pull"
		}
		if c.Share > 0 && (value < c.Share || value == c.Share && !c.Reached) {
			continue
		}
		text := c.words(value, of)
		if c.Beyond > 0 && s.RadiusShare == nil {
			text += " (taken so: the radius is not known as a part of the largest)"
		}
		why = append(why, text)
		if first == nil && c.Share > 0 {
			first, demand = c, value
		}
	}
	if why == nil {
		return Finding{}, false
	}
	f := rule{r.Name, r.Source, r.Standing}.find(r.Severity, where, "%s: %s", r.Says, strings.Join(why, "; "))
	if r.Name == ratedCapacity {
		f.Text = fmt.Sprintf("%s hangs on the machine, and the chart allows %s (%s): %s",
			kilonewtons(g.N), a.Capacity.Text, kilonewtons(float64(a.Capacity.Force)), why[0])
	}
	if first != nil {
		f = f.against(demand, first.Share, "1")
	}
	return f, true
}

// words says what of the case is met.
func (c *Case) words(value float64, of string) string {
	var all []string
	if c.Share > 0 {
		than := "more than"
		if c.Reached {
			than = "at least"
		}
		all = append(all, fmt.Sprintf("%s of %s, %s %s", percent(value), of, than, round(c.Share)))
	}
	switch {
	case c.Cranes == 2:
		all = append(all, "several cranes")
	case c.Cranes > 2:
		all = append(all, fmt.Sprintf("%d or more cranes", c.Cranes))
	}
	if c.People {
		all = append(all, "people are hoisted")
	}
	if c.Floating {
		all = append(all, "on a floating base")
	}
	if c.Travelling {
		all = append(all, "travelling with the load")
	}
	if c.Beyond > 0 {
		all = append(all, fmt.Sprintf("beyond %s of the largest radius", round(c.Beyond)))
	}
	return strings.Join(all, ", ")
}

// round writes a share that a rule gives in whole percent.
func round(share float64) string { return quantity.Known(quantity.Ratio(share)).Format("%") }
