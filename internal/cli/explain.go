package cli

import (
	"fmt"
	"math"
	"strings"

	"plumbhook/fault"
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
// needs for seven digits, so that sums can be redone.
func table(t verdict.Table) string {
	g := grid{align: "l" + strings.Repeat("r", len(t.Columns))}
	head, unit := []string{""}, []string{""}
	places := false
	for _, c := range t.Columns {
		head, unit = append(head, c.Name), append(unit, c.Unit)
	}
	for _, r := range t.Rows {
		places = places || r.Pos.Line > 0
	}
	rows := t.Rows
	if t.Sum != nil {
		rows = append(rows[:len(rows):len(rows)], *t.Sum)
	}
	if places {
		g.align += "r"
		head, unit = append(head, "line"), append(unit, "")
	}
	g.row(head...)
	g.row(unit...)
	mixed := len(t.Columns) > 0 && t.Columns[0].Unit == "SI" // rows of different kinds
	for _, r := range rows {
		cells := []string{r.Label}
		for c, v := range r.Values {
			switch {
			case math.IsNaN(v):
				cells = append(cells, "")
			case mixed && t.Columns[c].Unit == "SI":
				cells = append(cells, fmt.Sprintf("%.7g", v))
			default:
				cells = append(cells, decimals(v, places7(t, c)))
			}
		}
		if places {
			cells = append(cells, line(r.Pos))
		}
		g.row(cells...)
	}
	return g.indented(2)
}

func line(p fault.Pos) string {
	if p.Line == 0 {
		return ""
	}
	return fmt.Sprint(p.Line)
}

// places7 is how many decimals give the largest number of a column seven
// digits; a plain yes or no needs none.
func places7(t verdict.Table, c int) int {
	largest, whole := 0.0, true
	for _, r := range t.Rows {
		v := r.Values[c]
		if !math.IsNaN(v) {
			largest = math.Max(largest, math.Abs(v))
			whole = whole && v == math.Trunc(v) && math.Abs(v) < 1e6
		}
	}
	if whole && t.Sum == nil {
		return 0
	}
	if largest == 0 {
		return 3
	}
	return min(max(6-int(math.Floor(math.Log10(largest))), 0), 9)
}

func decimals(v float64, n int) string {
	s := fmt.Sprintf("%.*f", n, v)
	if strings.Trim(s, "-0.") == "" {
		return strings.TrimPrefix(s, "-")
	}
	return s
}
