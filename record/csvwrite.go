package record

import (
	"bufio"
	"io"
	"iter"
	"strconv"
	"strings"
	"time"

	"plumbhook/fault"
	"plumbhook/logbook"
	"plumbhook/reading"
)

// WriteCSV writes the readings among the entries as Readings CSV with columns
// t,channel,value,unit, one row each, in the order of the log. measures says
// what a channel measures, and so the unit of its values.
//
// t is when a reading was measured: in seconds when the log counts from zero
// (its first entry is within a year of it), else as date and time in UTC. A
// reading that may not be computed with has an empty value: a stale one must
// not come back as a live one. What is not a reading (ticks, tares, events,
// garbled lines) has no place in this form.
//
// Names are quoted as RFC 4180 has it. One that a spreadsheet would take for a
// formula (it begins with = + - @ or the like) gets an apostrophe in front.
//
// Holes among the entries do not stop the export. The file cannot show them,
// so that the first is given back as an error when all else is written.
func WriteCSV(w io.Writer, entries iter.Seq2[*logbook.Entry, error], measures func(channel string) Measure) error {
	out := NewCSVWriter(w, measures)
	var hole error
	for e, err := range entries {
		if err != nil {
			if hole == nil {
				hole = err
			}
			continue
		}
		if err := out.Entry(e); err != nil {
			return err
		}
	}
	if err := out.Close(); err != nil {
		return err
	}
	return hole
}

// A CSVWriter writes what [WriteCSV] does, an entry at a time.
type CSVWriter struct {
	out      *bufio.Writer
	measures func(channel string) Measure
	form     timeForm
	names    map[string]csvName
	row      []byte
}

// NewCSVWriter begins the file with the names of its columns.
func NewCSVWriter(w io.Writer, measures func(channel string) Measure) *CSVWriter {
	c := &CSVWriter{out: bufio.NewWriterSize(w, 64<<10), measures: measures, names: map[string]csvName{}}
	c.out.WriteString("t,channel,value,unit\r\n")
	return c
}

// Entry writes the readings of an entry.
func (c *CSVWriter) Entry(e *logbook.Entry) error {
	if e.Frame == nil {
		return nil
	}
	if c.form == "" {
		c.form = asDate
		if year := 365 * 24 * reading.Seconds(3600); -year < e.At && e.At < year {
			c.form = inSeconds
		}
	}
	for i := range e.Frame.Readings {
		r := &e.Frame.Readings[i]
		name, ok := c.names[r.Channel]
		if !ok {
			m := c.measures(r.Channel)
			if m == "" {
				return fault.New(fault.NoUnit, "nothing says what the channel measures").In(r.Channel).
					Fix("name the channel in the plan, or leave it out of the export")
			}
			name = csvName{"," + csvText(r.Channel) + ",", "," + string(m) + "\r\n"}
			c.names[r.Channel] = name
		}
		b := appendTime(c.row[:0], r.At, c.form)
		b = append(b, name.before...)
		if r.Usable() {
			b = strconv.AppendFloat(b, r.Value, 'g', -1, 64)
		}
		c.row = append(b, name.after...)
		if _, err := c.out.Write(c.row); err != nil {
			return c.unwritten(err)
		}
	}
	return nil
}

// Close writes out what is left, and leaves what it was written to open.
func (c *CSVWriter) Close() error {
	if err := c.out.Flush(); err != nil {
		return c.unwritten(err)
	}
	return nil
}

func (*CSVWriter) unwritten(err error) error {
	return fault.New(fault.Path, "the export cannot be written").Because(err).Fix("make room on the disk")
}

// csvName is what stands in every row of a channel around its value.
type csvName struct{ before, after string }

func appendTime(b []byte, at reading.Stamp, form timeForm) []byte {
	if form == asDate {
		return at.Time().AppendFormat(b, time.RFC3339Nano)
	}
	ns := uint64(at)
	if at < 0 {
		b = append(b, '-')
		ns = -ns
	}
	b = strconv.AppendUint(b, ns/1e9, 10)
	if ns %= 1e9; ns > 0 {
		digits := strconv.AppendUint(nil, ns+1e9, 10)
		b = append(b, '.')
		b = append(b, strings.TrimRight(string(digits[1:]), "0")...)
	}
	return b
}

// csvText is a text as a cell.
func csvText(s string) string {
	if looksLikeFormula(s) {
		s = "'" + s
	}
	if strings.ContainsAny(s, "\",\r\n") || strings.TrimSpace(s) != s {
		s = `"` + strings.ReplaceAll(s, `"`, `""`) + `"`
	}
	return s
}

// looksLikeFormula tells whether a spreadsheet might compute the text. One
// that begins with an apostrophe counts too, so that taking one away gives back
// what was written.
func looksLikeFormula(s string) bool {
	for _, r := range s {
		return strings.ContainsRune("=+-@\t\r\n'＝＋－＠", r)
	}
	return false
}
