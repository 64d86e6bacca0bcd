package validation

import (
	"fmt"
	"maps"
	"math"
	"os"
	"slices"
	"strconv"
	"strings"
	"testing"
	"text/tabwriter"

	"github.com/goccy/go-yaml"
)

// problem is an entry of the data files, and the test that answers it.
type problem struct {
	*testing.T

	ID, Topic, Source, Read, Note string
	Given                         []given
	Published                     []published
}

type given struct {
	Name  string
	Value any
	Unit  string
}

// published is one printed answer. Recomputed is what follows from the
// givens, to six figures, worked out apart from this program.
type published struct {
	Name, Unit        string
	Value, Recomputed float64
	Abs, Rel          float64 // what the printed rounding allows, the larger of the two
	Wrong             string  // why it does not follow from its own givens: misprint ...
}

// num is the number of a given, or one of its list or table of numbers.
func (p *problem) num(name string, at ...int) float64 {
	p.Helper()
	v := p.value(name)
	for _, i := range at {
		v = v.([]any)[i]
	}
	return p.float(v)
}

// list is the list of numbers of a given.
func (p *problem) list(name string) []float64 {
	p.Helper()
	var l []float64
	for _, v := range p.value(name).([]any) {
		l = append(l, p.float(v))
	}
	return l
}

func (p *problem) value(name string) any {
	p.Helper()
	i := slices.IndexFunc(p.Given, func(g given) bool { return g.Name == name })
	if i < 0 {
		p.Fatalf("%s has no given %q", p.ID, name)
	}
	return p.Given[i].Value
}

func (p *problem) float(v any) float64 {
	p.Helper()
	switch v := v.(type) {
	case float64:
		return v
	case int64:
		return float64(v)
	case uint64:
		return float64(v)
	}
	p.Fatalf("%s: %v is not a number", p.ID, v)
	return 0
}

// near fails unless got is within tol of want.
func (p *problem) near(what string, got, want, tol float64) {
	p.Helper()
	if !(math.Abs(got-want) <= tol) {
		p.Errorf("%s: %s is %.12g, want %.12g within %.3g", p.ID, what, got, want, tol)
	}
}

// memory marks what was written from knowledge, the document not seen.
const memory = "FROM MEMORY"

// answers are ours, by the names of the published ones.
type answers map[string]float64

// row is a line of the table.
type row struct {
	id, what             string
	published, ours, tol float64
	source               string
	wrong, note          string // of a published figure that is wrong: in a word, and why
}

func (r row) fits() bool { return math.Abs(r.ours-r.published) <= r.tol }

// check asks that ours is the published answer, or is not where that is known
// to be wrong.
func (r row) check(t *testing.T) {
	t.Helper()
	switch {
	case r.wrong != "" && r.fits():
		t.Errorf("%s: %s is %g, as published, which is marked as wrong", r.id, r.what, r.ours)
	case r.wrong == "" && !r.fits():
		t.Errorf("%s: %s is %.8g, published %g within %g (%s)", r.id, r.what, r.ours, r.published, r.tol, r.source)
	}
}

// tolerance is what the printed rounding of a value allows.
func tolerance(value, abs, rel float64) float64 { return math.Max(abs, rel*math.Abs(value)) }

// sixth is half a unit of the sixth figure, with a thousandth for ties.
func sixth(v float64) float64 {
	return 0.5005 * math.Pow(10, math.Floor(math.Log10(math.Abs(v)))-5)
}

// rows compares ours with the published answers of a problem, each of which
// must be answered.
func (p *problem) rows(ours answers) []row {
	p.Helper()
	source := p.Source
	if p.Read == memory {
		source += ", " + memory
	}
	var rows []row
	for _, a := range p.Published {
		got, ok := ours[a.Name]
		if !ok {
			p.Errorf("%s: %s is not answered", p.ID, a.Name)
			continue
		}
		delete(ours, a.Name)
		r := row{
			id: p.ID[:3], what: a.Name, published: a.Value, ours: got,
			tol: tolerance(a.Value, a.Abs, a.Rel), source: source, wrong: a.Wrong, note: p.Note,
		}
		if a.Unit != "1" {
			r.what += ", " + a.Unit
		}
		r.check(p.T)
		if a.Wrong != "" && a.Recomputed == 0 {
			p.Errorf("%s: %s is marked as wrong, and the data do not say what is right", p.ID, a.Name)
		}
		if a.Recomputed != 0 {
			p.near(a.Name+", recomputed", got, a.Recomputed, sixth(a.Recomputed))
		}
		rows = append(rows, r)
	}
	for name := range ours {
		p.Errorf("%s: %s is answered, and nobody asked", p.ID, name)
	}
	return rows
}

// read decodes a file of testdata.
func read(t *testing.T, name string, into any) {
	t.Helper()
	data, err := os.ReadFile("testdata/" + name)
	if err == nil {
		err = yaml.UnmarshalWithOptions(data, into, yaml.Strict(), yaml.AllowFieldPrefixes("what_was_read", "remark", "address", "related_page_read", "tolerance_is"))
	}
	if err != nil {
		t.Fatalf("%s: %v", name, err)
	}
}

// TestTable answers every problem of the data files and prints the table.
func TestTable(t *testing.T) {
	var rows []row
	solvers := map[string]func(*problem) answers{}
	for _, group := range []map[string]func(*problem) answers{bridles, legs, space, weights, weighing, shares, ropes, rules} {
		maps.Copy(solvers, group)
	}
	for _, p := range append(problems(t, "worked-examples.yaml"), problems(t, "rules.yaml")...) {
		if solve := solvers[p.ID[:3]]; solve != nil {
			rows = append(rows, p.rows(solve(p))...)
		} else {
			t.Errorf("%s is not answered", p.ID)
		}
		delete(solvers, p.ID[:3])
	}
	for id := range solvers {
		t.Errorf("%s is answered, and is not in the data", id)
	}
	rows = append(rows, bridleTables(t)...)
	rows = append(rows, closedForms(t)...)
	rows = append(rows, derated(t)...)
	show(t, rows)
	cellsFollow(t)
}

func problems(t *testing.T, name string) []*problem {
	t.Helper()
	var list []*problem
	read(t, name, &list)
	for _, p := range list {
		p.T = t
	}
	return list
}

// show writes the table to standard output, with its sources and notes
// numbered below it.
func show(t *testing.T, rows []row) {
	var sources, notes []string
	number := func(list *[]string, s string) int {
		i := slices.Index(*list, s)
		if i < 0 {
			i = len(*list)
			*list = append(*list, s)
		}
		return i + 1
	}
	fmt.Print("\nPublished answers beside ours. Sources are listed by number below the table.\n\n")
	w := tabwriter.NewWriter(os.Stdout, 0, 0, 2, ' ', 0)
	fmt.Fprintln(w, "id\twhat\tpublished\tours\tdifference\ttolerance\tsource\t")
	wrong, bad := 0, 0
	for _, r := range rows {
		mark := ""
		switch {
		case r.wrong != "":
			wrong++
			mark = fmt.Sprintf("published is wrong: %s (%d)", r.wrong, number(&notes, r.id+", "+r.wrong+": "+r.note))
		case !r.fits():
			bad++
			mark = "DISAGREES"
		}
		source := fmt.Sprintf("[%d]", number(&sources, r.source))
		if strings.HasSuffix(r.source, memory) {
			source += " from memory"
		}
		ours, diff := figures(r.ours, r.ours-r.published, r.tol)
		fmt.Fprintf(w, "%s\t%s\t%s\t%s\t%s\t%.2g\t%s\t%s\n", r.id, r.what,
			strconv.FormatFloat(r.published, 'g', 10, 64), ours, diff, r.tol, source, mark)
	}
	if err := w.Flush(); err != nil {
		t.Error(err)
	}
	fmt.Printf("\n%d answers: %d agree, %d differ from a published figure that is wrong, %d disagree.\n",
		len(rows), len(rows)-wrong-bad, wrong, bad)
	list := func(title, mark string, lines []string) {
		fmt.Printf("\n%s\n", title)
		for i, s := range lines {
			fmt.Printf("  "+mark+" %s\n", i+1, s)
		}
	}
	list("Published figures that are wrong:", "(%d)", notes)
	list("Sources:", "[%d]", sources)

	var outside []struct{ IDs, Why string }
	read(t, "outside.yaml", &outside)
	fmt.Print("\nExamples of the same collection that are not here:\n")
	for _, o := range outside {
		fmt.Printf("  %s: %s\n", o.IDs, o.Why)
	}
	fmt.Println()
}

// figures writes a value and its difference one figure finer than the
// tolerance.
func figures(v, diff, tol float64) (string, string) {
	decimals := max(0, 1-int(math.Floor(math.Log10(tol))))
	switch {
	case diff == 0 && decimals > 5:
		return strconv.FormatFloat(v, 'g', 10, 64), "0"
	case decimals > 5:
		return strconv.FormatFloat(v, 'g', 10, 64), fmt.Sprintf("%+.1e", diff)
	}
	d := strconv.FormatFloat(diff, 'f', decimals, 64)
	if strings.Trim(d, "-0.") == "" {
		d = "0"
	} else if diff > 0 {
		d = "+" + d
	}
	return strconv.FormatFloat(v, 'f', decimals, 64), d
}
