package contract

import (
	"math"

	"plumbhook/fault"
	"plumbhook/verdict"
)

// Explanation is the answer of `check --explain NAME --format json`: one
// number of the verdict with all that it takes to redo it. SI throughout.
type Explanation struct {
	Name    string    `json:"name"`
	Step    string    `json:"step"` // empty: as first rigged
	Title   string    `json:"title"`
	Given   []Given   `json:"given"`
	Working []Working `json:"working"`
	Tables  []Table   `json:"tables"`
	Notes   []string  `json:"notes"`
}

// Given is a number taken as it is.
type Given struct {
	Symbol string    `json:"symbol"`
	What   string    `json:"what"`
	Value  []float64 `json:"value"` // one number, or x y z
	Unit   string    `json:"unit"`
	Text   string    `json:"text"` // as written in the file
	From   string    `json:"from"` // who claims it, or where it comes from
	At     *At       `json:"at"`   // in the lift file; null when it does not stand there
}

// At is a place in a file, counted from 1.
type At struct {
	File   string `json:"file"`
	Line   int    `json:"line"`
	Column int    `json:"column"`
}

// Working is one line of arithmetic.
type Working struct {
	Symbol  string  `json:"symbol"`
	Formula string  `json:"formula"`
	Numbers string  `json:"numbers"` // the formula with the numbers put in, rounded
	Value   float64 `json:"value"`
	Unit    string  `json:"unit"`
	Source  string  `json:"source"`
	Answer  bool    `json:"answer"` // this is the number of the verdict
}

// Table is a working with many like lines.
type Table struct {
	Title   string     `json:"title"`
	Source  string     `json:"source"`
	Columns []Column   `json:"columns"`
	Rows    []Row      `json:"rows"`
	Sum     []*float64 `json:"sum"` // null where a column does not add up; empty when none does
}

// Column of a table.
type Column struct {
	Name string `json:"name"`
	Unit string `json:"unit"`
}

// Row of a table; null where there is no entry.
type Row struct {
	Label  string     `json:"label"`
	Values []*float64 `json:"values"`
	At     *At        `json:"at"`
}

// NewExplanation shapes an explanation.
func NewExplanation(e *verdict.Explanation) Explanation {
	out := Explanation{
		Name: e.Name, Step: e.Step, Title: e.Title,
		Given: []Given{}, Working: []Working{}, Tables: []Table{}, Notes: append([]string{}, e.Notes...),
	}
	for _, g := range e.Given {
		out.Given = append(out.Given, Given{g.Symbol, g.What, g.Value, g.Unit, g.Text, g.From, at(g.Pos)})
	}
	for _, k := range e.Work {
		out.Working = append(out.Working, Working{k.Symbol, k.Formula, k.Put, k.Value, k.Unit, k.Source, k.Answer})
	}
	for _, t := range e.Tables {
		table := Table{Title: t.Title, Source: t.Source, Columns: []Column{}, Rows: []Row{}, Sum: []*float64{}}
		for _, c := range t.Columns {
			table.Columns = append(table.Columns, Column(c))
		}
		for _, r := range t.Rows {
			table.Rows = append(table.Rows, Row{r.Label, entries(r.Values), at(r.Pos)})
		}
		if t.Sum != nil {
			table.Sum = entries(t.Sum.Values)
		}
		out.Tables = append(out.Tables, table)
	}
	return out
}

func at(p fault.Pos) *At {
	if p.Line == 0 {
		return nil
	}
	return &At{p.File, p.Line, p.Column}
}

// entries turns NaN, which JSON does not have, into null.
func entries(values []float64) []*float64 {
	out := make([]*float64, len(values))
	for i, v := range values {
		if !math.IsNaN(v) {
			out[i] = &v
		}
	}
	return out
}
