package crane

import (
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"regexp"
	"strings"
	"unicode/utf8"

	"plumbhook/fault"
	"plumbhook/quantity"
)

// Chart is the capacity chart of one machine in one set-up.
type Chart struct {
	Name   string // of the file, for messages
	Crane  string // which machine
	SetUp  string // counterweight, outriggers, reeving ... that the figures hold for
	Source string // who issued the figures, and which edition
	Wind   *quantity.Measured[quantity.Speed]

	Radii []quantity.Measured[quantity.Length] // ascending
	Booms []quantity.Measured[quantity.Length] // ascending
	Cells [][]*quantity.Rating                 // by radius, then boom; nil: not allowed there

	Findings []Finding // what looks odd in it
}

// Bounds that keep a hostile file cheap; a printed chart has some hundred
// cells.
const (
	maxBytes  = 1 << 20
	maxCells  = 20_000
	maxFaults = 100
)

// Parse reads a chart from CSV; name is the file's, for messages. The error is
// a fault.List of all that is wrong, each with line, column and the cell as a
// spreadsheet counts (C6).
//
//	crane,      crawler crane 2
//	set-up,     "counterweight 18 t, tracks out"
//	source,     "maker's chart 4, 2019"
//	wind,       9.8 m/s
//	capacity in t
//	radius in m,12 m,18 m,24 m
//	4,          22.5,18,-
//	6,          15,14.2,11
//
// The rows above the header may stand in any order; capacity must be there.
// The header row starts with radius and gives the boom lengths, each with its
// unit. Below it each row is a radius and what may hang there; an empty cell
// or a dash allows nothing.
//
// Every unit is written: once for the table, capacity in t or capacity (lb),
// and then the cells are plain numbers; or in each cell, under a plain
// capacity or radius. Both at once is refused. A capacity in mass units is
// read as force at standard gravity. Radii and boom lengths rise, which
// catches a mistyped one. Lines that start with # are comments.
func Parse(name string, data []byte) (*Chart, error) {
	p := parser{name: name, keys: map[string]string{}, chart: Chart{Name: name}}
	if len(data) > maxBytes {
		return nil, fault.List{fault.New(fault.TooLarge, "the chart has %d bytes", len(data)).At(fault.Pos{File: name}).
			Fix("keep it below %d bytes", maxBytes)}
	}
	data = bytes.TrimPrefix(data, []byte("\xef\xbb\xbf"))
	if !utf8.Valid(data) {
		return nil, fault.List{fault.New(fault.Syntax, "the chart is not UTF-8 text").At(fault.Pos{File: name}).
			Fix("save it as CSV UTF-8")}
	}
	p.lines = bytes.Split(data, []byte("\n"))
	p.csv = csv.NewReader(bytes.NewReader(data))
	p.csv.FieldsPerRecord = -1
	p.csv.TrimLeadingSpace = true
	p.csv.Comment = '#'
	p.read()
	if err := p.bad.Err(); err != nil {
		return nil, err
	}
	p.chart.look()
	return &p.chart, nil
}

// parser walks down the rows of a file.
type parser struct {
	name  string
	lines [][]byte // of the file, to count columns in characters
	csv   *csv.Reader
	bad   fault.List
	chart Chart

	keys     map[string]string // rows above the header, as found
	header   bool              // the header row is behind us
	capacity unit              // of all capacities
	radius   unit              // of all radii
	booms    int               // boom columns, with those that could not be read
}

// A unit is what the label of a row or column says its numbers are in.
type unit struct {
	name string // empty: each cell has its own
	bad  bool   // it was refused, and the numbers under it are not looked at
}

// A cell is one field of the row at hand.
type cell struct {
	text string
	pos  fault.Pos
	name string // as a spreadsheet names it
}

func (p *parser) fault(c cell, code fault.Code, format string, args ...any) *fault.Fault {
	f := fault.New(code, format, args...).At(c.pos).In("cell " + c.name)
	p.bad = append(p.bad, f)
	return f
}

// refuse takes over what a quantity says about the text of a cell.
func (p *parser) refuse(c cell, err error) *fault.Fault {
	f := *fault.Of(err)[0]
	f.At(c.pos).In("cell " + c.name)
	p.bad = append(p.bad, &f)
	return &f
}

func (p *parser) read() {
	for cells := 0; len(p.bad) < maxFaults; {
		record, err := p.csv.Read()
		if errors.Is(err, io.EOF) {
			p.end()
			return
		}
		if err != nil {
			var pe *csv.ParseError
			pos := fault.Pos{File: p.name}
			if errors.As(err, &pe) {
				pos = p.pos(pe.Line, pe.Column)
				err = pe.Err
			}
			p.bad = append(p.bad, fault.New(fault.Syntax, "this is not CSV").At(pos).Because(err).
				Fix("put a text with a comma in double quotes, and write in for inches"))
			return
		}
		row := p.row(record)
		if len(row) == 0 {
			continue
		}
		if cells += len(row); cells > maxCells {
			p.fault(row[0], fault.TooLarge, "the chart goes on beyond %d cells", maxCells).
				Fix("keep the part of the chart that the lift needs")
			return
		}
		switch {
		case len(row) == 1 && strings.ContainsAny(row[0].text, ";\t"):
			p.fault(row[0], fault.Syntax, "the cells are not separated by commas").
				Fix("save the chart with commas between cells and points for decimals")
			return
		case p.header:
			p.line(row)
		case radiusLabel.MatchString(row[0].text):
			p.head(row)
		default:
			p.key(row)
		}
	}
	last := p.bad[len(p.bad)-1]
	p.bad = append(p.bad, fault.New(fault.TooLarge, "there may be more wrong from here on").At(last.Pos).
		Fix("mend the first %d faults and read the chart again", maxFaults))
}

// row gives the cells of a record without the empty ones at its end.
func (p *parser) row(record []string) []cell {
	n := len(record)
	for n > 0 && strings.TrimSpace(record[n-1]) == "" {
		n--
	}
	row := make([]cell, n)
	for i := range row {
		line, column := p.csv.FieldPos(i)
		row[i] = cell{strings.TrimSpace(record[i]), p.pos(line, column), spreadsheet(i, line)}
		if strings.Contains(record[i], "\n") { // it would shift the names of all cells below
			p.fault(row[i], fault.Syntax, "the cell holds a line break").Fix("write it on one line")
		}
	}
	return row
}

// pos turns a byte column into one of characters.
func (p *parser) pos(line, column int) fault.Pos {
	if line < 1 || line > len(p.lines) {
		return fault.Pos{File: p.name}
	}
	before := p.lines[line-1]
	before = before[:max(0, min(column-1, len(before)))]
	return fault.Pos{File: p.name, Line: line, Column: utf8.RuneCount(before) + 1}
}

// spreadsheet names a cell as A1, Z1, AA1.
func spreadsheet(column, line int) string {
	name := ""
	for n := column + 1; n > 0; n = (n - 1) / 26 {
		name = string(rune('A'+(n-1)%26)) + name
	}
	return fmt.Sprint(name, line)
}

// A label is a word alone or with the unit of its column: "radius in m",
// "radius (m)".
var (
	radiusLabel   = regexp.MustCompile(`(?i)^radius(?:\s+in\s+(.+)|\s*\((.+)\))?$`)
	capacityLabel = regexp.MustCompile(`(?i)^capacity(?:\s+in\s+(.+)|\s*\((.+)\))?$`)
)

// key reads a row above the header.
func (p *parser) key(row []cell) {
	first := row[0]
	name := strings.ToLower(first.text)
	if m := capacityLabel.FindStringSubmatch(first.text); m != nil {
		name = "capacity"
		if p.capacity = (unit{name: m[1] + m[2]}); p.capacity.name != "" {
			if _, err := quantity.ParseRating("1 " + p.capacity.name); err != nil {
				p.capacity.bad = true
				p.refuse(first, err)
			}
		}
	}
	if at, twice := p.keys[name]; twice {
		p.fault(first, fault.Duplicate, "%s stands in cell %s already", name, at).Fix("keep one of the two")
		return
	}
	texts := map[string]*string{"crane": &p.chart.Crane, "set-up": &p.chart.SetUp, "source": &p.chart.Source}
	most := 2
	switch {
	case name == "capacity":
		most = 1
	case name == "wind" || texts[name] != nil:
	default:
		p.fault(first, fault.UnknownKey, "%q starts no row that a chart has", first.text).
			Fix("start the row with crane, set-up, source, wind, capacity or radius, or with # for a comment")
		return
	}
	p.keys[name] = first.name
	switch {
	case len(row) > most:
		p.fault(row[most], fault.Syntax, "the row of %s has a cell too many", name).Fix("put a text with a comma in double quotes")
	case len(row) < most:
		p.fault(first, fault.Missing, "%s has no value", name).Fix("write it in the next cell, or leave the row out")
	case name == "wind":
		v, err := quantity.Parse[quantity.Speed](row[1].text)
		if err != nil {
			p.refuse(row[1], err)
		} else if v.Low != v.High || v.Value <= 0 {
			p.fault(row[1], fault.Range, "the wind that the chart holds for is one speed above zero").Fix("write it as 9.8 m/s")
		}
		p.chart.Wind = &v
	case texts[name] != nil:
		*texts[name] = row[1].text
	}
}

// head reads the row of boom lengths.
func (p *parser) head(row []cell) {
	p.header = true
	if p.keys["capacity"] == "" {
		p.capacity.bad = true
		p.fault(row[0], fault.Missing, "no row above says what the capacities are in").
			Fix("write a row: capacity in t, capacity in lb ..., or capacity alone when each cell has its unit")
	}
	m := radiusLabel.FindStringSubmatch(row[0].text)
	if p.radius = (unit{name: m[1] + m[2]}); p.radius.name != "" {
		if _, err := quantity.Parse[quantity.Length]("1 " + p.radius.name); err != nil {
			p.radius.bad = true
			p.refuse(row[0], err)
		}
	}
	p.booms = len(row) - 1
	if p.booms == 0 {
		p.fault(row[0], fault.Missing, "the chart has no boom length").Fix("write the boom lengths in this row, each with its unit: 18 m")
	}
	for _, c := range row[1:] {
		if l, ok := p.length(c, unit{}, "boom length"); ok {
			p.chart.Booms = append(p.chart.Booms, p.rising(c, "boom length", p.chart.Booms, l)...)
		}
	}
}

// line reads a radius and what may hang there.
func (p *parser) line(row []cell) {
	l, ok := p.length(row[0], p.radius, "radius")
	if ok {
		p.chart.Radii = append(p.chart.Radii, p.rising(row[0], "radius", p.chart.Radii, l)...)
	}
	if len(row) > p.booms+1 {
		p.fault(row[p.booms+1], fault.Syntax, "this cell stands under no boom length").
			Fix("write a decimal point, not a comma, or give the column its boom length in the header row")
		row = row[:p.booms+1]
	}
	ratings := make([]*quantity.Rating, p.booms)
	for i, c := range row[1:] {
		ratings[i] = p.rating(c)
	}
	p.chart.Cells = append(p.chart.Cells, ratings)
}

// rising gives l to append to the axis, and nothing when it does not follow
// on.
func (p *parser) rising(c cell, what string, axis []quantity.Measured[quantity.Length], l quantity.Measured[quantity.Length]) []quantity.Measured[quantity.Length] {
	if len(axis) > 0 {
		switch last := axis[len(axis)-1]; {
		case l.Value == last.Value:
			p.fault(c, fault.Duplicate, "%s %s stands in the chart twice", what, l.Text).Fix("keep one of the two")
			return nil
		case l.Value < last.Value:
			p.fault(c, fault.Range, "%s %s comes after %s", what, l.Text, last.Text).Fix("check the figure; write them from short to long")
			return nil
		}
	}
	return []quantity.Measured[quantity.Length]{l}
}

// plain matches a number without a unit, whether or not it is well written.
var plain = regexp.MustCompile(`^[0-9.,/ +\-–−eE¼½¾⅛⅜⅝⅞]+$`)

// with gives the text of a cell with the unit that its label gives.
func (p *parser) with(c cell, u unit) (string, bool) {
	switch {
	case u.bad:
		return "", false
	case u.name == "":
		return c.text, true
	case !plain.MatchString(c.text):
		p.fault(c, fault.Disagree, "%q is not a plain number, and its label gives the unit %s already", c.text, u.name).
			Fix("write the number alone, or take the unit out of the label and write one in each cell")
		return "", false
	}
	return c.text + " " + u.name, true
}

func (p *parser) length(c cell, u unit, what string) (quantity.Measured[quantity.Length], bool) {
	var l quantity.Measured[quantity.Length]
	if c.text == "" {
		p.fault(c, fault.Missing, "the %s is missing", what).Fix("write it, or delete the whole row or column")
		return l, false
	}
	text, ok := p.with(c, u)
	if !ok {
		return l, false
	}
	l, err := quantity.Parse[quantity.Length](text)
	switch {
	case err != nil:
		p.refuse(c, err)
		return l, false
	case l.Shape != quantity.Exact:
		p.fault(c, fault.Range, "a charted %s is one figure", what).Fix("write the figure of the chart alone")
		return l, false
	case l.Value <= 0:
		p.fault(c, fault.Range, "a %s is above zero", what).Fix("check the figure")
		return l, false
	}
	return l, true
}

func (p *parser) rating(c cell) *quantity.Rating {
	switch c.text {
	case "", "-", "–", "—", "−":
		return nil
	}
	text, ok := p.with(c, p.capacity)
	if !ok {
		return nil
	}
	r, err := quantity.ParseRating(text)
	if err != nil {
		f := p.refuse(c, err)
		if f.Code == fault.Range {
			f.Fix("write a figure above zero, and - where the chart allows nothing")
		}
		return nil
	}
	return &r
}

// end says what a whole file lacks.
func (p *parser) end() {
	missing := func(what, do string) {
		p.bad = append(p.bad, fault.New(fault.Missing, "%s", what).At(fault.Pos{File: p.name}).Fix("%s", do))
	}
	some := false
	for _, row := range p.chart.Cells {
		for _, r := range row {
			some = some || r != nil
		}
	}
	switch {
	case !p.header:
		missing("the chart has no header row", "write a row: radius in m, then the boom lengths, each with its unit")
	case len(p.bad) > 0: // what follows may be their doing
	case len(p.chart.Cells) == 0:
		missing("the chart has no radius", "write a row for each radius below the header row")
	case !some:
		missing("the chart allows nothing anywhere", "write the capacities under their boom lengths")
	}
}

// look tells what a chart seldom has and a typing mistake often has.
func (c *Chart) look() {
	say := func(name, format string, args ...any) {
		r := rule{name, c.named(), Stated}
		c.Findings = append(c.Findings, r.find(Caution, c.Name, format, args...))
	}
	if c.Source == "" {
		say("chart-source", "the chart does not say who issued it")
	}
	if c.SetUp == "" {
		say("chart-set-up", "the chart does not say which set-up it holds for: counterweight, outriggers, reeving")
	}
	for b, boom := range c.Booms {
		above := -1 // the last radius with a capacity
		for r := range c.Radii {
			now := c.Cells[r][b]
			if now == nil {
				continue
			}
			if above >= 0 {
				was := c.Cells[above][b]
				if above < r-1 {
					say("chart-gap", "boom %s: nothing is allowed between radius %s and radius %s, yet at both; check the figures",
						boom.Text, c.Radii[above].Text, c.Radii[r].Text)
				}
				if now.Force > was.Force {
					say("chart-rises", "boom %s: the capacity rises from %s at radius %s to %s at radius %s; check the figures",
						boom.Text, was.Text, c.Radii[above].Text, now.Text, c.Radii[r].Text)
				}
			}
			above = r
		}
		if above < 0 {
			say("chart-empty", "boom %s: nothing is allowed at any radius", boom.Text)
		}
	}
}

// named is the chart as a source.
func (c *Chart) named() string {
	if c.Source != "" {
		return "capacity chart: " + c.Source
	}
	return "capacity chart " + c.Name
}
