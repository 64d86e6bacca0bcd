// Package certificate prints what was measured, for somebody else to rely on: a
// weighing with its budget, a proof test or a pull, the calibration of a load cell.
//
// What goes in is the answer that the command and the API give (package contract),
// so that paper and data cannot disagree; nothing is computed here. What was not
// assessed stands on the first page beside the verdict, in the same size. A person
// signs; the program certifies nothing.
//
// The same input gives the same bytes. Words come in English and Spanish; sentences
// of the rules come in English alone, and a Spanish sheet says so.
package certificate

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"plumbhook/contract"
	"plumbhook/quantity"
	"plumbhook/report/paper"
)

// Options are how a certificate speaks, and what is not in the answer.
type Options struct {
	Language paper.Language
	Units    quantity.System // US sheets are on letter paper
	Number   string          // of the document; empty: a line to write it on
	Source   string          // name of the file that the checksum is of
	Program  string          // name and version of what prints
}

// page is a certificate on its way.
type page struct {
	*paper.Sheet
	Options
}

// set writes a document. fails puts a banner on every page.
func (o Options) set(kind, title, revision, date, sum string, fails bool, compose func(*page)) ([]byte, error) {
	h := paper.Head{
		Kind: o.say(kind), Title: title, Number: o.Number, Revision: revision, Date: date, Source: o.Source, SHA256: sum,
		Program: o.Program, Language: o.Language, Letter: o.Units == quantity.US, Cautions: o.say("cautions"),
	}
	if fails {
		h.Banner = o.say("banner")
	}
	return paper.Set(h, func(s *paper.Sheet) { compose(&page{s, o}) })
}

func (o *Options) say(key string, args ...any) string { return words.Say(o.Language, key, args...) }

// outcome is the verdict, never without what was not assessed.
func (s *page) outcome(v string, missing int) {
	text := s.say("outcome "+v) + ", " + s.say("not assessed", missing)
	if v == "fails" {
		s.Loud("■ " + text)
		return
	}
	s.Framed(text)
}

// said prints a sentence of the program, which is in English.
func (s *page) said(text string) {
	if s.Language == paper.Spanish {
		s.Small(s.say("in English"))
	}
	s.Text(text)
}

// write gives a value in the unit for its kind, with what it is known to; a half of
// zero: exact.
func write[Q quantity.Quantity](s *page, v, half float64) string {
	m := quantity.Measured[Q]{Value: Q(v), Low: Q(v - half), High: Q(v + half), Shape: quantity.Normal}
	if !(half > 0) {
		m.Shape = quantity.Exact
	}
	return m.Format(quantity.For[Q](s.Units))
}

// number gives it alone, to the place that half supports.
func number[Q quantity.Quantity](s *page, v, half float64) string {
	unit := quantity.For[Q](s.Units)
	n, _ := quantity.In(Q(v), unit)
	up, _ := quantity.In(Q(v+half), unit)
	return quantity.Show(n, math.Abs(up-n), quantity.Nearest)
}

// two writes an uncertainty, which deserves two digits and errs to the high side.
func two[Q quantity.Quantity](s *page, v float64) string {
	unit := quantity.For[Q](s.Units)
	n, _ := quantity.In(Q(v), unit)
	return quantity.Show(n, n, quantity.Upward) + " " + unit
}

// limit is a rating, which is exact, or a dash.
func (s *page) limit(v *float64) string {
	if v == nil {
		return "–"
	}
	return number[quantity.Force](s, *v, 0)
}

func (s *page) forceUnit() string { return quantity.For[quantity.Force](s.Units) }

// finding is what a reader must be told.
type finding struct{ severity, where, text string }

func (s *page) findings(all []finding) {
	if len(all) == 0 {
		return
	}
	s.Heading(s.say("findings"))
	if s.Language == paper.Spanish {
		s.Small(s.say("in English"))
	}
	var list [][2]string
	for _, severity := range []string{"stop", "caution", "note"} {
		for _, f := range all {
			if f.severity == severity {
				list = append(list, [2]string{map[string]string{"stop": "■ ", "caution": "▲ ", "note": "● "}[severity] + s.say(severity), f.where + ": " + f.text})
			}
		}
	}
	s.Points(list)
}

// missing lists what was not assessed.
func (s *page) missing(all []string) {
	s.Heading(s.say("not assessed head", len(all)))
	if len(all) == 0 {
		s.Text(s.say("nothing open"))
		return
	}
	if s.Language == paper.Spanish {
		s.Small(s.say("in English"))
	}
	var list [][2]string
	for _, text := range all {
		list = append(list, [2]string{"□", text})
	}
	s.Points(list)
}

// budget is the table behind an uncertainty: causes of one kind together, the
// largest first.
func (s *page) budget(what string, u *contract.Uncertain, unit string) {
	s.Heading(s.say("budget of", what))
	dof := s.say("without end")
	if u.DoF != nil {
		dof = fmt.Sprintf("%.0f", math.Floor(*u.DoF))
	}
	s.Text(s.say("budget", u.Standard, unit, dof, u.K, u.U95))
	type kind struct {
		name, shape string
		lines       int
		part        float64
	}
	var kinds []kind
	for _, c := range u.Budget {
		name, _, _ := strings.Cut(c.Name, ",")
		i := slices.IndexFunc(kinds, func(k kind) bool { return k.name == name && k.shape == c.Shape })
		if i < 0 {
			i, kinds = len(kinds), append(kinds, kind{name: name, shape: c.Shape})
		}
		kinds[i].lines++
		kinds[i].part = math.Hypot(kinds[i].part, c.Sensitivity*c.Standard)
	}
	slices.SortStableFunc(kinds, func(a, b kind) int { return cmp.Compare(b.part, a.part) })
	t := paper.Table{Head: []string{s.say("from"), s.say("lines"), s.say("distribution"), "u " + unit, s.say("share")}, Align: "lrlrr"}
	for _, k := range kinds {
		share := "0 %"
		if u.Standard > 0 {
			share = fmt.Sprintf("%.1f %%", 100*math.Pow(k.part/u.Standard, 2))
		}
		t.Rows = append(t.Rows, []string{k.name, fmt.Sprint(k.lines), cmp.Or(shapes[k.shape][s.Language], k.shape), fmt.Sprintf("%.2g", k.part), share})
	}
	s.Table(t)
}

// signatures leaves room for who answers for it.
func (s *page) signatures(roles ...string) {
	s.Heading(s.say("signatures"))
	for _, r := range roles {
		s.Blanks(s.say(r)+": "+s.say("name"), s.say("date and time"), s.say("signature"))
	}
}

// or is a text that may be missing.
func or(p *string) string {
	if p == nil {
		return "–"
	}
	return *p
}
