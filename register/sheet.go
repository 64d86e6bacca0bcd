package register

import (
	"encoding/csv"
	"fmt"
	"io"
	"maps"
	"regexp"
	"slices"
	"strings"
	"time"
	"unicode"

	"plumbhook/fault"
	"plumbhook/quantity"
)

// A column of the CSV form: how a cell is read into an item and written from
// one. Every other heading is a fact of that name.
type column struct {
	name  string
	also  []string // headings that mean the same
	read  func(it *Item, s string) error
	write func(it *Item) string
}

func textColumn(name string, at func(*Item) *string, also ...string) column {
	return column{
		name, also,
		func(it *Item, s string) error { *at(it) = s; return nil },
		func(it *Item) string { return *at(it) },
	}
}

func dateColumn(name string, at func(*Item) *Date, also ...string) column {
	return column{
		name, also,
		func(it *Item, s string) error { return at(it).UnmarshalText([]byte(s)) },
		func(it *Item) string { return string(*at(it)) },
	}
}

// columns in the order in which they are written. None of their names can be
// a fact's.
var columns = []column{
	textColumn("serial", func(it *Item) *string { return &it.Serial }, "serial no", "serial number"),
	textColumn("kind", func(it *Item) *string { return &it.Kind }),
	{
		"rating",
		[]string{"wll", "swl", "rated load"},
		func(it *Item, s string) error {
			if it.Rating = nil; s == "" {
				return nil
			}
			r, err := quantity.ParseRating(s)
			it.Rating = &r
			return err
		},
		func(it *Item) string {
			if it.Rating == nil {
				return ""
			}
			return it.Rating.Text
		},
	},
	textColumn("location", func(it *Item) *string { return &it.Location }),
	dateColumn("made", func(it *Item) *Date { return &it.Made }, "date of manufacture"),
	textColumn("certificate", func(it *Item) *string { return &it.Certificate }, "certificate no", "certificate number"),
	dateColumn("certificate_date", func(it *Item) *Date { return &it.CertificateDate }),
	dateColumn("examined", func(it *Item) *Date { return &it.Examined }, "last examined", "last examination"),
	dateColumn("examine_by", func(it *Item) *Date { return &it.ExamineBy }, "next examination", "examination due"),
	dateColumn("calibrated", func(it *Item) *Date { return &it.Calibrated }, "last calibrated", "last calibration"),
	dateColumn("calibrate_by", func(it *Item) *Date { return &it.CalibrateBy }, "next calibration", "calibration due"),
	textColumn("mend", func(it *Item) *string { return &it.Mend }),
	dateColumn("mend_by", func(it *Item) *Date { return &it.MendBy }),
	{
		"status", nil,
		func(it *Item, s string) error {
			if it.Status = Status(strings.ToLower(s)); s == "" {
				it.Status = InService
			}
			return nil
		},
		func(it *Item) string { return string(it.Status) },
	},
	textColumn("reason", func(it *Item) *string { return &it.Reason }),
	textColumn("status_by", func(it *Item) *string { return &it.StatusBy }),
	dateColumn("status_on", func(it *Item) *Date { return &it.StatusOn }),
}

// aboutStatus lists the columns that an import never changes on an item that
// is on the register already.
var aboutStatus = []string{"status", "reason", "status_by", "status_on"}

// Bounds that keep a file from taking the program down.
const (
	MaxCSV     = 128 << 20 // bytes
	maxColumns = 200
	maxRows    = 1_000_000
)

// Column says what was made of a heading.
type Column struct {
	Heading string
	Name    string // of the column, or of the fact
	Fact    bool
	Unit    string // of a rating, when the heading gives it: WLL (t)

	read func(it *Item, s string) error
}

// Row is an item as its row gives it.
type Row struct {
	Line int // in the file
	Item Item
}

// Sheet is a CSV file read: the rows that hold an item, and the problems with
// the others, each with its line and column.
type Sheet struct {
	File     string
	Columns  []Column
	Rows     []Row
	Read     int // rows that are not blank, below the heading
	Problems fault.List

	text *table
}

// ReadCSV reads a gear list. Rename turns a heading of the file into one of
// the form's columns, Asset no -> serial. An error means that the file as a
// whole cannot be read; problems with single rows are in the sheet. The day
// is that of the entry.
func ReadCSV(file string, data []byte, rename map[string]string, on Date) (*Sheet, error) {
	text := string(data)
	pos := fault.Pos{File: file, Line: 1}
	switch {
	case len(data) > MaxCSV:
		return nil, fault.New(fault.TooLarge, "the file has more than %d MiB", MaxCSV>>20).At(pos).Fix("split it")
	case strings.HasPrefix(text, "\xff\xfe"), strings.HasPrefix(text, "\xfe\xff"):
		return nil, fault.New(fault.Syntax, "the file is UTF-16").At(pos).Fix("save it as CSV in UTF-8")
	}
	text = strings.TrimPrefix(text, "\ufeff")
	s := &Sheet{File: file, text: &table{file: file, data: text, delim: delimiter(text), line: 1}}
	if err := s.heading(rename); err != nil {
		return nil, err
	}
	for {
		cells, line, f := s.text.next()
		if f == nil && cells == nil {
			break
		}
		if f == nil && blank(cells) {
			continue
		}
		if s.Read++; s.Read > maxRows {
			return nil, fault.New(fault.TooLarge, "the file has more than %d rows", maxRows).At(fault.Pos{File: file, Line: line}).Fix("split it")
		}
		if f != nil {
			s.Problems = append(s.Problems, f.In(s.where("")))
			continue
		}
		s.row(cells, line, on)
	}
	s.twice()
	s.Problems.Err() // puts them in the order of the file
	return s, nil
}

// delimiter is the one that parts the heading into most cells: comma,
// semicolon or tab.
func delimiter(text string) byte {
	best, most := byte(','), 0
	for _, d := range []byte{',', ';', '\t'} {
		t := table{data: text, delim: d, line: 1}
		if cells, _, _ := t.next(); len(cells) > most {
			best, most = d, len(cells)
		}
	}
	return best
}

func blank(cells []cell) bool {
	return !slices.ContainsFunc(cells, func(c cell) bool { return strings.TrimSpace(c.text) != "" })
}

// where names a place as a person with the sheet on the screen finds it: the
// first row below the heading is row 1.
func (s *Sheet) where(column string) string {
	if column == "" {
		return fmt.Sprintf("row %d", s.Read)
	}
	return fmt.Sprintf("row %d, %s", s.Read, column)
}

var unitInHeading = regexp.MustCompile(`^(.*?)\s*[(\[]\s*([^)\]]+?)\s*[)\]]$`)

// simple folds a heading: certificate_date, Certificate Date.
func simple(s string) string {
	return strings.Join(strings.FieldsFunc(strings.ToLower(s), func(r rune) bool {
		return unicode.IsSpace(r) || strings.ContainsRune("_-.", r)
	}), " ")
}

// headings holds what may head each column.
var headings = func() map[string]*column {
	m := map[string]*column{}
	for i := range columns {
		c := &columns[i]
		m[simple(c.name)] = c
		for _, h := range c.also {
			m[h] = c
		}
	}
	return m
}()

// known finds the column that a heading means.
func known(heading string) *column { return headings[simple(heading)] }

func (s *Sheet) heading(rename map[string]string) error {
	cells, line, f := s.text.next()
	switch {
	case f != nil:
		return f
	case cells == nil:
		return fault.New(fault.Missing, "the file is empty").At(fault.Pos{File: s.File, Line: 1}).Fix("give a heading with serial and kind, and a row for each item")
	case len(cells) > maxColumns:
		return fault.New(fault.TooLarge, "%d columns, %d is the most", len(cells), maxColumns).At(s.text.at(0, 0, line)).Fix("leave out what is not about gear")
	}
	var list fault.List
	froms, renamed := slices.Sorted(maps.Keys(rename)), map[string]bool{}
	taken := map[string]bool{}
	for _, c := range cells {
		heading := strings.TrimSpace(plain(c.text))
		refuse := func(f *fault.Fault) { list = append(list, f.At(s.text.at(c.off, cells[0].off, line)).In(heading)) }
		meant := heading
		for _, from := range froms {
			if simple(from) == simple(heading) {
				meant, renamed[from] = rename[from], true
			}
		}
		col := s.column(heading, meant, refuse)
		if col.Name != "" && taken[col.Name] {
			refuse(fault.New(fault.Duplicate, "two columns are %s", col.Name).Fix("leave one out, or give it another heading"))
		}
		taken[col.Name] = true
		s.Columns = append(s.Columns, col)
	}
	for _, from := range froms {
		if !renamed[from] {
			list = append(list, fault.New(fault.Reference, "no column is headed so").At(fault.Pos{File: s.File, Line: line}).In(from).Fix("take a heading from the file"))
		}
	}
	for _, need := range []string{"serial", "kind"} {
		if !taken[need] {
			list = append(list, fault.New(fault.Missing, "no column is the %s", need).At(fault.Pos{File: s.File, Line: line}).
				Fix("head one %s, or say which column it is", need))
		}
	}
	return list.Err()
}

// column decides what a heading means. One without words is no column: its
// cells have to be empty.
func (s *Sheet) column(heading, meant string, refuse func(*fault.Fault)) Column {
	if name, ok := strings.CutPrefix(strings.ToLower(meant), "fact:"); ok {
		name = strings.TrimSpace(name)
		if f := factName(name); f != nil {
			refuse(f)
		}
		return factColumn(heading, name)
	}
	if c := known(meant); c != nil {
		return Column{Heading: heading, Name: c.name, read: c.read}
	}
	if m := unitInHeading.FindStringSubmatch(meant); m != nil {
		if c := known(m[1]); c != nil && c.name == "rating" {
			if _, err := quantity.ParseRating("1 " + m[2]); err != nil {
				refuse(fault.Of(err)[0])
			}
			return Column{Heading: heading, Name: c.name, Unit: m[2], read: c.read}
		}
	}
	if meant == "" {
		return Column{}
	}
	name := simple(meant)
	if n := nearly(name); n != "" {
		refuse(fault.New(fault.UnknownKey, "this heading is nearly %s", n).Fix("write %s, or fact:%s to keep it as a fact", n, name))
	} else if f := factName(name); f != nil {
		refuse(f)
	}
	return factColumn(heading, name)
}

// factName refuses what a fact cannot be called.
func factName(name string) *fault.Fault {
	switch {
	case name == "":
		return fault.New(fault.Missing, "a fact without a name")
	case known(name) != nil:
		return fault.New(fault.Duplicate, "a fact cannot be called %s, that is a column", name).Fix("give it another name")
	case name != strings.ToLower(name):
		return fault.New(fault.Syntax, "the name of the fact %s has capitals", name).Fix("write it small")
	}
	return text(name, maxWord)
}

// nearly finds the column that a heading may have meant by a slip of the
// hand. Short words are too close to each other for that.
func nearly(heading string) string {
	for _, c := range columns {
		for _, n := range append([]string{c.name}, c.also...) {
			if len(n) > 4 && distance(heading, simple(n)) <= 2 {
				return c.name
			}
		}
	}
	return ""
}

func factColumn(heading, name string) Column {
	return Column{Heading: heading, Name: name, Fact: true, read: func(it *Item, s string) error {
		delete(it.Facts, name)
		if s != "" {
			if it.Facts == nil {
				it.Facts = map[string]string{}
			}
			it.Facts[name] = s
		}
		return nil
	}}
}

// distance counts the letters to change, add or leave out, or neighbours to
// swap, from a to b.
func distance(a, b string) int {
	x, y := []rune(a), []rune(b)
	before, last := make([]int, len(y)+1), make([]int, len(y)+1)
	for j := range last {
		last[j] = j
	}
	for i := 1; i <= len(x); i++ {
		row := make([]int, len(y)+1)
		row[0] = i
		for j := 1; j <= len(y); j++ {
			cost := 1
			if x[i-1] == y[j-1] {
				cost = 0
			}
			row[j] = min(last[j]+1, row[j-1]+1, last[j-1]+cost)
			if i > 1 && j > 1 && x[i-1] == y[j-2] && x[i-2] == y[j-1] {
				row[j] = min(row[j], before[j-2]+1)
			}
		}
		before, last = last, row
	}
	return last[len(y)]
}

// row reads one record. It becomes an item when nothing is wrong with it.
func (s *Sheet) row(cells []cell, line int, on Date) {
	bad := len(s.Problems)
	problem := func(f *fault.Fault, column string, off int) {
		s.Problems = append(s.Problems, f.At(s.text.at(off, cells[0].off, line)).In(s.where(column)))
	}
	for _, c := range cells[min(len(cells), len(s.Columns)):] {
		if strings.TrimSpace(c.text) != "" {
			problem(fault.New(fault.Syntax, "the row has %d cells, the heading %d", len(cells), len(s.Columns)).
				Fix("a text that holds the delimiter has to stand in quotes"), "", c.off)
			return
		}
	}
	it := Item{Status: InService}
	for i, c := range s.Columns {
		v := ""
		if i < len(cells) {
			v = strings.TrimSpace(plain(cells[i].text))
		}
		if c.read == nil {
			if v != "" {
				problem(fault.New(fault.Missing, "column %d has no heading", i+1).Fix("head it"), "", cells[i].off)
			}
			continue
		}
		if c.Unit != "" && v != "" && strings.Trim(v, "0123456789./ ") == "" {
			v += " " + c.Unit
		}
		if err := c.read(&it, v); err != nil {
			for _, f := range fault.Of(err) {
				problem(f, c.Name, cells[i].off)
			}
		}
	}
	if len(s.Problems) > bad {
		return
	}
	for _, f := range it.Check(on) {
		off := cells[0].off
		for i, c := range s.Columns {
			if c.Name == f.Where && i < len(cells) {
				off = cells[i].off
			}
		}
		problem(f, f.Where, off)
	}
	if len(s.Problems) == bad {
		s.Rows = append(s.Rows, Row{line, it})
	}
}

// twice finds serials in several rows. Where the rows agree the first is
// taken; where they do not, none is: nobody here knows which is right.
func (s *Sheet) twice() {
	lines := map[string][]int{} // by key: places in s.Rows
	for i := range s.Rows {
		k := Key(s.Rows[i].Item.Serial)
		lines[k] = append(lines[k], i)
	}
	out := map[int]bool{}
	for _, at := range lines {
		first := &s.Rows[at[0]]
		agree := true
		for _, i := range at[1:] {
			agree = agree && same(first.Item, s.Rows[i].Item)
		}
		for n, i := range at {
			r := &s.Rows[i]
			pos := fault.Pos{File: s.File, Line: r.Line}
			switch {
			case len(at) == 1 || agree && n == 0:
				continue
			case agree:
				s.Problems = append(s.Problems, fault.New(fault.Duplicate, "this serial stands in line %d already, with the same figures", first.Line).
					At(pos).In(r.Item.Serial).Fix("take this row out"))
			default:
				other := first.Line
				if n == 0 {
					other = s.Rows[at[1]].Line
				}
				s.Problems = append(s.Problems, fault.New(fault.Duplicate, "this serial stands in line %d too, with other figures; neither row is taken", other).
					At(pos).In(r.Item.Serial).Fix("find out which is right"))
			}
			out[i] = true
		}
	}
	kept := s.Rows[:0]
	for i, r := range s.Rows {
		if !out[i] {
			kept = append(kept, r)
		}
	}
	s.Rows = kept
}

// same tells whether two items agree in all that the form can say.
func same(a, b Item) bool { return len(differences(&a, &b)) == 0 }

// differences lists the columns and facts in which two items differ.
func differences(a, b *Item) []string {
	var names []string
	for _, c := range columns {
		if c.write(a) != c.write(b) {
			names = append(names, c.name)
		}
	}
	facts := maps.Clone(a.Facts)
	if facts == nil {
		facts = map[string]string{}
	}
	maps.Copy(facts, b.Facts)
	for _, k := range slices.Sorted(maps.Keys(facts)) {
		if a.Facts[k] != b.Facts[k] {
			names = append(names, k)
		}
	}
	return names
}

// Plan is what importing a sheet would do.
type Plan struct {
	New      int
	Changed  int
	Same     int // on the register already, with the same figures
	Problems fault.List

	steps []step
}

type step struct {
	item   Item // as it is on the register; zero when new
	change Change
}

// Entries makes of a plan what is to be written.
func (p *Plan) Entries(s Stamp, at time.Time) ([]Entry, error) {
	entries := make([]Entry, len(p.steps))
	for i, st := range p.steps {
		var err error
		if entries[i], err = st.item.Next(st.change, s, at); err != nil {
			return nil, err
		}
	}
	return entries, nil
}

// Plan holds a sheet against the items it names that are on the register, by
// Key. A row that says something else about such an item is a problem, or,
// with update, a change: the columns of the file replace what is known, blank
// cells included, and what has no column stays.
func (s *Sheet) Plan(there map[string]Item, update bool) Plan {
	p := Plan{Problems: slices.Clone(s.Problems)}
	for i := range s.Rows {
		r := &s.Rows[i]
		old, ok := there[Key(r.Item.Serial)]
		if !ok {
			p.New++
			p.steps = append(p.steps, step{change: Entering{r.Item}})
			continue
		}
		n := old.clone()
		for _, c := range s.Columns {
			if c.read == nil {
				continue
			}
			v := r.Item.Facts[c.Name]
			if !c.Fact {
				v = known(c.Name).write(&r.Item)
			}
			if err := c.read(&n, v); err != nil {
				panic(err) // it was read once
			}
		}
		diff := differences(&old, &n)
		status := slices.ContainsFunc(diff, func(d string) bool { return slices.Contains(aboutStatus, d) })
		refuse := func(code fault.Code, format string, args ...any) *fault.Fault {
			f := fault.New(code, format, args...).At(fault.Pos{File: s.File, Line: r.Line}).In(r.Item.Serial)
			p.Problems = append(p.Problems, f)
			return f
		}
		switch {
		case len(diff) == 0:
			p.Same++
		case status:
			refuse(fault.Disagree, "it is on the register and %s there", old.Status).Fix("a status is changed by quarantine, release and scrap, never by a list")
		case !update:
			refuse(fault.Duplicate, "it is on the register already, with another %s", strings.Join(diff, ", ")).Fix("import with update if the file is right")
		default:
			change := Describing{Item: n, From: s.File}
			change.Item.Version, change.Item.Head, change.Item.Inspection, change.Item.Files, change.Item.Life = 0, [32]byte{}, nil, nil, Life{}
			if err := change.check(&old, Stamp{Day: "9999-12-31"}); err != nil {
				for _, f := range fault.Of(err) {
					p.Problems = append(p.Problems, f.At(fault.Pos{File: s.File, Line: r.Line}).In(r.Item.Serial+", "+f.Where))
				}
				continue
			}
			p.Changed++
			p.steps = append(p.steps, step{old, change})
		}
	}
	p.Problems.Err()
	return p
}

// WriteCSV writes items in the form that ReadCSV reads: what is known of each
// and its status. Inspections, attachments and history stay on the register.
func WriteCSV(w io.Writer, items []Item) error {
	facts := map[string]bool{}
	for i := range items {
		for k := range items[i].Facts {
			facts[k] = true
		}
	}
	names := slices.Sorted(maps.Keys(facts))
	out := csv.NewWriter(w)
	var row []string
	for _, c := range columns {
		row = append(row, c.name)
	}
	for _, k := range names {
		if simple(k) != k || nearly(k) != "" || strings.HasPrefix(k, "fact:") || unitInHeading.MatchString(k) {
			k = "fact:" + k // or it would be read as something else
		}
		row = append(row, neutral(k))
	}
	if err := out.Write(row); err != nil {
		return err
	}
	for i := range items {
		row = row[:0]
		for _, c := range columns {
			row = append(row, neutral(c.write(&items[i])))
		}
		for _, k := range names {
			row = append(row, neutral(items[i].Facts[k]))
		}
		if err := out.Write(row); err != nil {
			return err
		}
	}
	out.Flush()
	return out.Error()
}
