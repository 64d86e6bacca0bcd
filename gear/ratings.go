package gear

import (
	"cmp"
	"fmt"
	"math"
	"regexp"
	"slices"
	"strings"

	"plumbhook/fault"
	"plumbhook/quantity"
)

// Table is a table of generic ratings.
type Table struct {
	Name    string // as written in the fact table
	Source  string // document, table, edition
	Note    string // what goes with every figure of it
	aliases []string
}

// isoRope is the name of the formula that stands beside the tables of wire rope.
const isoRope = "ISO 2408"

// Tables gives every table of generic ratings, and the formula for wire rope.
func Tables() []Table { return slices.Clone(tables()) }

var tables = table("tables", func(r record) Table {
	return Table{r["id"], r["source"], r["note"], strings.Split(r["aliases"], "|")}
})

func tableNamed(name string) Table {
	i := slices.IndexFunc(tables(), func(t Table) bool { return t.Name == name })
	return tables()[i]
}

// row is one rating of one table. What a table does not tell apart is empty.
type row struct {
	table Table
	kinds []string
	// What tells the ratings of one size apart.
	classes                                     []string
	grade, core, splice, construction, material string

	inch, metric        *quantity.Measured[quantity.Length] // nominal size in either system
	wll, choker, basket *quantity.Rating
	pin, jaw, inside    *quantity.Measured[quantity.Length]
	ton                 string
	standing            Standing
}

var ratings = table("ratings", func(r record) row {
	out := row{
		table: tableNamed(r["table"]), kinds: strings.Split(r["kinds"], "|"),
		grade: r["grade"], core: r["core"], splice: r["splice"], construction: r["construction"], material: r["material"],
		inch: parsed[quantity.Length](r["size_in"], "in"), metric: parsed[quantity.Length](r["size_mm"], "mm"),
		wll: inForce(r["wll"], r["unit"]), choker: inForce(r["choker"], r["unit"]), basket: inForce(r["basket"], r["unit"]),
		pin: parsed[quantity.Length](r["pin"], ""), jaw: parsed[quantity.Length](r["jaw"], ""), inside: parsed[quantity.Length](r["inside"], ""),
		standing: Standing(r["standing"]),
	}
	if r["class"] != "" {
		out.classes = strings.Split(r["class"], "|")
	}
	if r["unit"] == "t" || strings.HasSuffix(r["unit"], "ton") {
		out.ton = r["unit"]
	}
	return out
})

// sameSize is how far a size may be off that of a table: the rounding of a
// fraction to a decimal, and less than half of any step between sizes.
const sameSize = 0.1 * millimetre

// isSize tells whether a row has this nominal size, in the system it is
// written in: 10 mm chain is not 3/8 in chain.
func (w row) isSize(size quantity.Measured[quantity.Length]) bool {
	own := w.metric
	if inches(size.Text) {
		own = w.inch
	}
	return own != nil && math.Abs(float64(own.Value-size.Value)) <= sameSize
}

// sizes writes the nominal size in each system the table has it in.
func (w row) sizes() string {
	switch {
	case w.metric == nil:
		return w.inch.Text
	case w.inch == nil:
		return w.metric.Text
	}
	return w.inch.Text + " (" + w.metric.Text + ")"
}

// name tells a row from others of its size.
func (w row) name() string {
	all := []string{"table " + w.table.Name}
	for _, f := range []struct{ key, value string }{
		{"grade", w.grade}, {"core", w.core}, {"splice", w.splice}, {"construction", w.construction}, {"material", w.material},
	} {
		if f.value != "" {
			all = append(all, f.key+" "+f.value)
		}
	}
	return strings.Join(all, ", ")
}

func (w row) rated(v *quantity.Rating) *Rated {
	if v == nil {
		return nil
	}
	source := w.table.Source
	if w.grade != "" {
		source += ", grade " + w.grade
	}
	return &Rated{Force: v.Force, Text: v.Text, Source: source, Ton: w.ton}
}

// withdrawn are numbers of capacity tables that US rules had before 2011. The
// numbers now stand for other tables.
var withdrawn = regexp.MustCompile(`^(?:29 cfr )?(?:1926\.251 |1910\.184 |1915\.11[38] )?(?:table )?(?:h ?\d{1,2}|n ?184 ?\d{1,2}|g ?\d{1,2})$`)

// chosen reads the fact table.
func (r *reader) chosen() (string, *fault.Fault) {
	asked := r.texts["table"]
	if asked == "" || len(r.kind.Tables) == 0 {
		return "", nil
	}
	plain := strings.TrimPrefix(plainWords(asked), "29 cfr ")
	for _, name := range r.kind.Tables {
		names := []string{name}
		if name != isoRope {
			names = append(names, tableNamed(name).aliases...)
		}
		if slices.ContainsFunc(names, func(n string) bool { return n != "" && plainWords(n) == plain }) {
			return name, nil
		}
	}
	if withdrawn.MatchString(plainWords(asked)) {
		return "", fault.New(fault.Reference, "%s was withdrawn as a table of ratings in 2011, and the number may stand for another table now", quoted(asked)).
			Fix("under those US rules the marking on the gear is the limit: write wll off the tag; the tables read here are %s", either(r.kind.Tables))
	}
	return "", fault.New(fault.Reference, "%s is no table of %s that was read", quoted(asked), a(r.kind.Name)).
		Fix("write wll off the tag, or table: %s", either(r.kind.Tables))
}

// A filter keeps the rows that agree with one fact.
type filter struct {
	key, value string
	keep       func(row) bool
	offer      func(row) string // what the row has for it
}

// agrees keeps what a table does not tell apart.
func agrees(have, want string) bool { return have == "" || strings.EqualFold(have, want) }

// filters gives one filter for each fact that tells ratings apart.
func (r *reader) filters(table string) []filter {
	var all []filter
	add := func(key, value string, keep func(row) bool, offer func(row) string) {
		if value != "" {
			all = append(all, filter{key, value, keep, offer})
		}
	}
	add("table", table, func(w row) bool { return w.table.Name == table }, func(w row) string { return w.table.Name })
	if r.kind.Name == "wire rope sling" {
		rope, _ := r.rope()
		splice := r.texts["splice"]
		switch splice {
		case steelFerrule, lightFerrule: // both are pressed sleeves
			splice = mechanical
		case hiddenTuck: // has the hand tucked figure of the fibre core table, by the note of the tables
			splice, rope.grade, rope.core = handTucked, "IPS", "FC"
		}
		add("construction", rope.class, func(w row) bool { return slices.Contains(w.classes, rope.class) }, func(w row) string { return strings.Join(w.classes, ", ") })
		add("grade", rope.grade, func(w row) bool { return w.grade == rope.grade }, func(w row) string { return w.grade })
		add("core", rope.core, func(w row) bool { return w.core == rope.core }, func(w row) string { return w.core })
		add("splice", splice, func(w row) bool { return w.splice == splice }, func(w row) string { return w.splice })
	} else {
		grade := r.grade()
		add("grade", grade, func(w row) bool { return agrees(w.grade, grade) }, func(w row) string { return w.grade })
		add("construction", r.texts["construction"], func(w row) bool { return agrees(w.construction, r.texts["construction"]) }, func(w row) string { return w.construction })
		add("material", r.texts["material"], func(w row) bool { return agrees(w.material, r.texts["material"]) }, func(w row) string { return w.material })
	}
	if size, ok := r.size(); ok {
		add("size", size.Text, func(w row) bool { return w.isSize(size) }, row.sizes)
	}
	return all
}

// size is the nominal size, under whichever key it was written.
func (r *reader) size() (quantity.Measured[quantity.Length], bool) {
	for _, key := range []string{"diameter", "size"} {
		if m, ok := r.lengths[key]; ok {
			return m, true
		}
	}
	return quantity.Measured[quantity.Length]{}, false
}

// rows gives the rows of all tables that agree with the facts; if there are
// none, a fault that says which fact leaves none and what there is.
func (r *reader) rows(table string) ([]row, *fault.Fault) {
	var left []row
	for _, w := range ratings() {
		if slices.Contains(r.kind.Tables, w.table.Name) && slices.Contains(w.kinds, r.kind.Name) {
			left = append(left, w)
		}
	}
	for _, f := range r.filters(table) {
		var kept []row
		for _, w := range left {
			if f.keep(w) {
				kept = append(kept, w)
			}
		}
		if len(kept) == 0 {
			var offers []string
			slices.SortStableFunc(left, func(a, b row) int { return cmp.Compare(a.wll.Force, b.wll.Force) })
			for _, w := range left {
				if o := f.offer(w); o != "" && !slices.Contains(offers, o) {
					offers = append(offers, o)
				}
			}
			return nil, fault.New(fault.Reference, "no table that was read rates %s with %s %s", r.named(), f.key, f.value).
				Fix("write wll off the tag; the tables have %s", either(offers))
		}
		left = kept
	}
	return left, nil
}

// grade is the grade without the word grade.
func (r *reader) grade() string {
	g := r.texts["grade"]
	if len(g) > 6 && strings.EqualFold(g[:6], "grade ") {
		return strings.TrimSpace(g[6:])
	}
	return g
}

// named is the kind with what has been said of it: a bow shackle (grade A).
func (r *reader) named() string {
	var words []string
	for _, key := range []string{"material", "grade", "rope", "construction", "splice"} {
		switch v := r.texts[key]; {
		case v == "":
		case key == "grade":
			words = append(words, "grade "+r.grade())
		default:
			words = append(words, v)
		}
	}
	if len(words) == 0 {
		return a(r.kind.Name)
	}
	return a(r.kind.Name) + " (" + strings.Join(words, ", ") + ")"
}

// rate finds the rating of a piece without one on its tag. What stands in several tables with several ratings is
// refused with the choices.
func (r *reader) rate(p *Piece, rows []row) *fault.Fault {
	size, _ := r.size()
	var others []string
	for _, w := range rows {
		if s := fmt.Sprintf("%s = %s", w.name(), w.wll.Text); !slices.Contains(others, s) {
			others = append(others, s)
		}
	}
	first := rows[0]
	for _, w := range rows[1:] {
		if !sameForce(w.wll, first.wll) {
			return fault.New(fault.Ambiguous, "%s of %s has several ratings: %s", r.named(), size.Text, strings.Join(others, "; ")).
				Fix("write wll off the tag, or the facts that choose one of these")
		}
	}
	p.WLL = first.rated(first.wll)
	p.Choker, p.Basket = first.rated(first.choker), first.rated(first.basket)
	p.note(Generic)
	for i, w := range rows {
		if i > 0 && !strings.Contains(p.WLL.Source, w.table.Source) {
			p.WLL.Source += "; " + w.table.Source
		}
		if !sameForce(w.choker, first.choker) {
			p.Choker = nil
		}
		if !sameForce(w.basket, first.basket) {
			p.Basket = nil
		}
		if w.table.Note != "" {
			p.note(w.table.Name + ": " + w.table.Note)
		}
		if strings.Contains(string(w.standing), "FIXED") {
			p.note(w.table.Name + ": a misprint in this row was put right")
		}
	}
	return nil
}

func sameForce(a, b *quantity.Rating) bool {
	return a == b || a != nil && b != nil && math.Abs(float64(a.Force-b.Force)) <= 1e-9*float64(a.Force)
}

// Catalogue gives the facts of every piece of the kind that has a generic
// rating: Look takes each of them.
func Catalogue(kind string) []Facts {
	var all []Facts
	for _, w := range ratings() {
		if !slices.Contains(w.kinds, kind) {
			continue
		}
		f := Facts{"table": w.table.Name}
		size := w.inch
		if size == nil {
			size = w.metric
		}
		f["size"] = size.Text
		for key, v := range map[string]string{"grade": w.grade, "splice": w.splice, "construction": w.construction, "material": w.material} {
			if v != "" {
				f[key] = v
			}
		}
		if w.classes != nil {
			f["rope"] = strings.Join([]string{w.classes[0], w.grade, w.core}, " ")
			delete(f, "grade")
		}
		all = append(all, f)
	}
	return all
}
