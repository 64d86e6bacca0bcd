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
	out := bufio.NewWriterSize(w, 64<<10)
	b := []byte("t,channel,value,unit\r\n")
	var form timeForm
	var hole error
	tails := map[string]csvName{}
	for e, err := range entries {
		if err != nil {
			if hole == nil {
				hole = err
			}
			continue
		}
		if e.Frame == nil {
			continue
		}
		if form == "" {
			form = asDate
			if year := 365 * 24 * reading.Seconds(3600); -year < e.At && e.At < year {
				form = inSeconds
			}
		}
		for i := range e.Frame.Readings {
			r := &e.Frame.Readings[i]
			name, ok := tails[r.Channel]
			if !ok {
				m := measures(r.Channel)
				if m == "" {
					return fault.New(fault.NoUnit, "nothing says what the channel measures").In(r.Channel).
						Fix("name the channel in the plan, or leave it out of the export")
				}
				name = csvName{"," + csvText(r.Channel) + ",", "," + string(m) + "\r\n"}
				tails[r.Channel] = name
			}
			b = appendTime(b, r.At, form)
			b = append(b, name.before...)
			if r.Usable() {
				b = strconv.AppendFloat(b, r.Value, 'g', -1, 64)
			}
			b = append(b, name.after...)
			if _, err := out.Write(b); err != nil {
				return fault.New(fault.Path, "the export cannot be written").Because(err).Fix("make room on the disk")
			}
			b = b[:0]
		}
	}
	out.Write(b) // the names alone, of a log without readings
	if err := out.Flush(); err != nil {
		return fault.New(fault.Path, "the export cannot be written").Because(err).Fix("make room on the disk")
	}
	return hole
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
