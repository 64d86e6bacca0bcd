package cli

import (
	"fmt"
	"math"
	"strings"

	"plumbhook/verdict"
)

// explanation sets one number laid open: what is given, the working, the
// tables.
func explanation(p *verdict.Plan, x *verdict.Explanation) string {
	var b strings.Builder
	say := func(first, text string, indent int) { b.WriteString(wrap(first, text, indent) + "\n") }
	state := "as first rigged"
	if x.Step != "" {
		state = "after step " + x.Step
	}
	say("", x.Name+": "+x.Title, 2)
	say("", fmt.Sprintf("%s (%s), %s. SI units: m, kg, N, N/m; angles in degrees.", p.Lift.Title, p.Lift.File, state), 2)

	if len(x.Given) > 0 {
		b.WriteString("\ngiven\n")
	}
	for _, g := range x.Given {
		value := strings.Join(g.Texts(), "  ")
		if len(g.Value) > 1 {
			value = "(" + strings.Join(g.Texts(), ", ") + ")"
		}
		text := strings.TrimSpace(value+" "+g.Unit) + ": " + g.What
		if g.Text != "" {
			text += `; written "` + g.Text + `"`
		}
		if g.From != "" {
			text += "; from " + g.From
		}
		if g.Pos.Line > 0 {
			text += "; " + g.Pos.String()
		}
		say("  "+g.Symbol+" = ", text, 6)
	}
	if len(x.Work) > 0 {
		b.WriteString("\nworking\n")
	}
	for _, k := range x.Work {
		say("  "+k.Symbol+" = ", k.Formula+"   ["+k.Source+"]", 6)
		result := strings.TrimSpace(k.Text() + " " + k.Unit)
		if k.Put != k.Text() {
			say("    = ", k.Put, 6)
		}
		if k.Answer {
			result += "   <== in the verdict"
		}
		b.WriteString("    = " + result + "\n")
	}
	for _, t := range x.Tables {
		b.WriteString("\n")
		say("", t.Title+"   ["+t.Source+"]", 0)
		b.WriteString(table(t))
	}
	if len(x.Notes) > 0 {
		b.WriteString("\nnotes\n")
	}
	for _, n := range x.Notes {
		say("  - ", n, 4)
	}
	b.WriteString("\n")
	say("", verdict.Cautions, 0)
	return b.String()
}

// table sets a table, each column to the decimals that its largest number
// needs for six digits, so that products and sums can be redone.
func table(t verdict.Table) string {
	g := grid{align: "l" + strings.Repeat("r", len(t.Columns))}
	head, unit := []string{""}, []string{""}
	for _, c := range t.Columns {
		head, unit = append(head, c.Name), append(unit, c.Unit)
	}
	g.row(head...)
	g.row(unit...)
	rows := t.Rows
	if t.Sum != nil {
		rows = append(rows[:len(rows):len(rows)], *t.Sum)
	}
	var lines []string
	for _, r := range rows {
		cells := []string{fold(r.Label, 20)}
		for c, v := range r.Values {
			switch {
			case math.IsNaN(v):
				cells = append(cells, "")
			case t.Columns[c].Unit == "SI": // rows of different kinds
				cells = append(cells, fmt.Sprintf("%.7g", v))
			default:
				cells = append(cells, decimals(v, places(t, c)))
			}
		}
		g.row(cells...)
		if r.Pos.Line > 0 {
			lines = append(lines, fmt.Sprintf("%s %d", r.Label, r.Pos.Line))
		}
	}
	text := g.indented(2)
	if len(lines) > 0 {
		text += wrap("  ", "lines in the file: "+strings.Join(lines, ", "), 4) + "\n"
	}
	return text
}

// places is how many decimals give the largest number among the columns of
// one unit six digits; a plain yes or no needs none.
func places(t verdict.Table, c int) int {
	largest, whole := 0.0, t.Sum == nil
	for _, r := range t.Rows {
		for k, v := range r.Values {
			if t.Columns[k].Unit == t.Columns[c].Unit && !math.IsNaN(v) {
				largest = math.Max(largest, math.Abs(v))
				whole = whole && v == math.Trunc(v) && math.Abs(v) < 1e6
			}
		}
	}
	switch {
	case whole:
		return 0
	case largest < 1e-6: // nothing but rounding
		return 3
	}
	return min(max(5-int(math.Floor(math.Log10(largest))), 0), 9)
}

func decimals(v float64, n int) string {
	s := fmt.Sprintf("%.*f", n, v)
	if strings.Trim(s, "-0.") == "" {
		return strings.TrimPrefix(s, "-")
	}
	return s
}
