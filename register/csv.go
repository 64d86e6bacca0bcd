package register

import (
	"strings"
	"unicode/utf8"

	"plumbhook/fault"
)

// cell is one field of CSV text and where it begins.
type cell struct {
	text string
	off  int // byte offset in the text
}

// table reads delimited text (RFC 4180, and any one-byte delimiter). A record
// that is broken is told and left out, and reading goes on with the line after
// the one it began on, so that a quote never closed costs one row and not the
// rest of the file. A quote inside a cell that does not begin with one stands
// for itself: gear lists are full of inches.
type table struct {
	file  string
	data  string
	delim byte
	pos   int
	line  int // of pos, from 1
}

const (
	maxCell  = 64 << 10 // bytes
	maxCells = 1000     // in a record
)

// at gives the place of a byte offset, in a record that starts at one on a
// line.
func (t *table) at(off, start, line int) fault.Pos {
	begin := strings.LastIndexByte(t.data[:off], '\n') + 1
	return fault.Pos{File: t.file, Line: line + strings.Count(t.data[start:off], "\n"), Column: utf8.RuneCountInString(t.data[begin:off]) + 1}
}

// next gives the next record that is not an empty line, with its line; at the
// end of the text there are no cells and no fault.
func (t *table) next() (cells []cell, line int, f *fault.Fault) {
	for rest := t.data[t.pos:]; strings.HasPrefix(rest, "\n") || strings.HasPrefix(rest, "\r\n") || rest == "\r"; rest = t.data[t.pos:] {
		t.skipLine()
	}
	if t.pos == len(t.data) {
		return nil, t.line, nil
	}
	start, line := t.pos, t.line
	for {
		c := cell{off: t.pos}
		if t.pos < len(t.data) && t.data[t.pos] == '"' {
			if c.text, f = t.quoted(); f != nil {
				t.pos, t.line = start, line
				t.skipLine()
				return nil, line, f
			}
		} else {
			c.text = t.data[t.pos:t.endOfCell()]
			t.pos += len(c.text)
		}
		if cells = append(cells, c); len(cells) > maxCells {
			t.skipLine()
			return nil, line, fault.New(fault.TooLarge, "more than %d cells in a row", maxCells).At(t.at(start, start, line)).Fix("leave out what is not about gear")
		}
		if t.pos == len(t.data) || t.data[t.pos] != t.delim {
			break
		}
		t.pos++
	}
	t.skipLine()
	if !utf8.ValidString(t.data[start:t.pos]) {
		return nil, line, fault.New(fault.Syntax, "the line is not UTF-8").At(t.at(start, start, line)).Fix("save the file as UTF-8")
	}
	return cells, line, nil
}

// endOfCell finds where an unquoted cell at pos ends: before a delimiter,
// \n, \r\n, or the end of the text.
func (t *table) endOfCell() int {
	end := t.pos
	for end < len(t.data) && t.data[end] != t.delim && t.data[end] != '\n' {
		end++
	}
	if end > t.pos && t.data[end-1] == '\r' && (end == len(t.data) || t.data[end] == '\n') {
		end--
	}
	return end
}

// quoted reads a cell from its opening quote to behind its closing one.
func (t *table) quoted() (string, *fault.Fault) {
	open, line := t.pos, t.line
	var b strings.Builder
	for t.pos++; ; {
		q := strings.IndexByte(t.data[t.pos:min(len(t.data), t.pos+maxCell)], '"')
		if q < 0 || b.Len()+q > maxCell {
			return "", fault.New(fault.Syntax, "a quote is opened here and not closed").At(t.at(open, open, line)).Fix(`close it, or double it if it stands for inches: "3/4"" bow"`)
		}
		b.WriteString(t.data[t.pos : t.pos+q])
		t.line += strings.Count(t.data[t.pos:t.pos+q], "\n")
		t.pos += q + 1
		if t.pos < len(t.data) && t.data[t.pos] == '"' {
			b.WriteByte('"')
			t.pos++
			continue
		}
		if t.pos == t.endOfCell() {
			return strings.ReplaceAll(b.String(), "\r\n", "\n"), nil
		}
		return "", fault.New(fault.Syntax, "text goes on behind a closing quote").At(t.at(t.pos, t.pos, t.line)).Fix(`double a quote that belongs to the text: "3/4"" bow"`)
	}
}

// skipLine moves behind the end of the line at pos.
func (t *table) skipLine() {
	n := strings.IndexByte(t.data[t.pos:], '\n')
	if n < 0 {
		t.pos = len(t.data)
		return
	}
	t.pos += n + 1
	t.line++
}

// A cell that begins like a formula is run by some spreadsheet programs. It is
// written with an apostrophe before it, and so is one that begins with
// apostrophes and then like a formula, so that taking one away gives the cell
// back.
const formula = "=+-@\t\r"

func neutral(s string) string {
	if r := strings.TrimLeft(s, "'"); r != "" && strings.IndexByte(formula, r[0]) >= 0 {
		return "'" + s
	}
	return s
}

// plain is the inverse of neutral; other texts stay as they are.
func plain(s string) string {
	if rest, ok := strings.CutPrefix(s, "'"); ok && neutral(rest) != rest {
		return rest
	}
	return s
}
