package record

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"iter"
	"math"
	"strconv"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"plumbhook/fault"
	"plumbhook/quantity"
	"plumbhook/reading"
)

// A Measure is what a channel measures, as the unit that its readings are kept
// in: SI, or the unit of a cell's own signal.
type Measure string

// The measures a reading can have.
const (
	Force        Measure = "N" // mass units are read as force at standard gravity
	Length       Measure = "m"
	Angle        Measure = "rad"
	Speed        Measure = "m/s"
	Acceleration Measure = "m/s2"
	Temperature  Measure = "K"
	Pressure     Measure = "Pa"
	SignalRatio  Measure = "mV/V"
	Counts       Measure = "counts"
)

// CSV reads Readings CSV: a line of names and a row per reading,
//
//	t,channel,value_N
//	t,channel,value,unit
//
// t is in seconds or a time with its zone as in RFC 3339, the same way in all
// rows. A value is a decimal number. An empty value is a reading without one
// (quality lost), nan or inf one that is no measurement (quality bad). A unit
// stands in every row. Cells may be quoted as in RFC 4180; an apostrophe before
// a name that a spreadsheet would take for a formula is taken away.
//
// Rows come in the order of arrival: late, repeated and missing ones are passed
// on as they are. A row arrived at the greatest t so far. Rows of one arrival
// that follow one another make one frame, or several when they are very many.
type CSV struct {
	// Name is the file's, for faults, and the source of the frames.
	Name string
	// Measures says what a channel measures; empty for not known. A row with a
	// unit of something else is garbled. Without it nothing but the file itself
	// is held against a unit: a channel keeps the measure of its first row.
	Measures func(channel string) Measure
}

// ReadCSV reads Readings CSV of which nothing is known beforehand.
func ReadCSV(name string, r io.Reader) iter.Seq2[*reading.Frame, error] {
	return CSV{Name: name}.Read(r)
}

// Bounds that keep any file cheap in memory.
const (
	maxLine     = 64 << 10 // bytes of one row
	maxChannels = 4096
	maxUnits    = 1024 // ways to write units that are kept in mind
	maxFrame    = 4096 // rows of one frame, good and bad each
)

// Read gives the frames in turn. A row that cannot be read is a garbled line
// of the frame it stands in and says where and why; rows before the first good
// one go with that one's frame. An error ends the reading: the first line is
// not one of the two above, the source fails, or no row could be read.
//
// A frame lasts until the next one: whoever keeps it copies it.
func (c CSV) Read(r io.Reader) iter.Seq2[*reading.Frame, error] {
	return func(yield func(*reading.Frame, error) bool) {
		in := &csvReader{
			CSV: c, src: r, buf: make([]byte, 0, 4*maxLine),
			channels: map[string]*csvChannel{}, units: map[string]*csvUnit{},
			frame: reading.Frame{Source: c.Name},
		}
		if err := in.header(); err != nil {
			yield(nil, err)
			return
		}
		f := &in.frame
		known := false // when the frame in hand arrived
		for in.row() {
			bad := in.reading()
			switch {
			case bad == nil:
				arrived := in.next.At
				if known {
					arrived = max(arrived, f.Arrived)
					if (arrived > f.Arrived || len(f.Readings) >= maxFrame) && !in.flush(yield) {
						return
					}
				}
				known, f.Arrived = true, arrived
				f.Readings = append(f.Readings, in.next)
			case len(f.Garbled) < maxFrame:
				f.Garbled = append(f.Garbled, bad.Error())
			case !known:
				yield(nil, in.hopeless())
				return
			default:
				if !in.flush(yield) {
					return
				}
				f.Garbled = append(f.Garbled, bad.Error())
			}
		}
		switch {
		case known && !in.flush(yield):
		case in.err != nil:
			yield(nil, in.unreadable())
		case !known && len(f.Garbled) > 0:
			yield(nil, in.hopeless())
		}
	}
}

type csvChannel struct {
	name    string
	measure Measure
}

// A csvUnit is a unit as written, and how it turns into SI.
type csvUnit struct {
	measure        Measure
	factor, offset float64
	fault          *fault.Fault // it is none
}

type csvReader struct {
	CSV
	src   io.Reader
	buf   []byte // what was read; lines from at on are still to come
	at    int
	err   error // of src
	ended bool

	line    int    // its number
	text    []byte // and what it says; nil when it is too long
	cells   []cell
	spare   []byte // of cells with doubled quotes
	columns int
	form    timeForm

	channels map[string]*csvChannel
	units    map[string]*csvUnit
	next     reading.Reading
	frame    reading.Frame
}

// A timeForm is how t is written.
type timeForm string

const (
	inSeconds timeForm = "in seconds"
	asDate    timeForm = "as a date and time"
)

// A cell is the text of one, and where in its row it starts.
type cell struct {
	text []byte
	from int
}

// fault is one of the row in hand. from is the byte where it starts.
func (in *csvReader) fault(code fault.Code, from int, format string, args ...any) *fault.Fault {
	column := utf8.RuneCount(in.text[:min(from, len(in.text))]) + 1
	return fault.New(code, format, args...).At(fault.Pos{File: in.Name, Line: in.line, Column: column})
}

func (in *csvReader) unreadable() error {
	return fault.New(fault.Path, "the file cannot be read further").At(fault.Pos{File: in.Name, Line: in.line}).
		Because(in.err).Fix("check the file and its disk")
}

func (in *csvReader) hopeless() error {
	return fault.New(fault.Syntax, "no row can be read; the first: %s", in.frame.Garbled[0]).
		At(fault.Pos{File: in.Name}).Fix("write rows such as 12.5,W,41000,N")
}

// flush yields the frame in hand, if it holds anything.
func (in *csvReader) flush(yield func(*reading.Frame, error) bool) bool {
	f := &in.frame
	if len(f.Readings)+len(f.Garbled) == 0 {
		return true
	}
	ok := yield(f, nil)
	f.Readings, f.Garbled = f.Readings[:0], f.Garbled[:0]
	return ok
}

// row steps to the next line that is not empty, and tells whether there is one.
func (in *csvReader) row() bool {
	for {
		n := bytes.IndexByte(in.buf[in.at:], '\n')
		for n < 0 && !in.ended && len(in.buf)-in.at <= maxLine {
			seen := len(in.buf) - in.at
			in.fill()
			if n = bytes.IndexByte(in.buf[in.at+seen:], '\n'); n >= 0 {
				n += seen
			}
		}
		if n < 0 && len(in.buf)-in.at <= maxLine {
			if in.err != nil || in.at == len(in.buf) {
				return false // of a line that breaks off with the source, nothing is read
			}
			n = len(in.buf) - in.at
		}
		in.line++
		if n < 0 || n > maxLine {
			in.text = nil
			in.skip()
			return true
		}
		in.text = in.buf[in.at : in.at+n]
		in.at = min(in.at+n+1, len(in.buf))
		if k := len(in.text) - 1; k >= 0 && in.text[k] == '\r' {
			in.text = in.text[:k]
		}
		if len(in.text) > 0 {
			return true
		}
	}
}

// fill reads more of the source.
func (in *csvReader) fill() {
	if in.at > 0 {
		in.buf = in.buf[:copy(in.buf, in.buf[in.at:])]
		in.at = 0
	}
	n, err := in.src.Read(in.buf[len(in.buf):cap(in.buf)])
	in.buf = in.buf[:len(in.buf)+n]
	if err != nil {
		in.ended = true
		if !errors.Is(err, io.EOF) {
			in.err = err
		}
	}
}

// skip leaves out the rest of a line that is too long.
func (in *csvReader) skip() {
	for {
		if n := bytes.IndexByte(in.buf[in.at:], '\n'); n >= 0 {
			in.at += n + 1
			return
		}
		in.at = len(in.buf)
		if in.ended {
			return
		}
		in.fill()
	}
}

// split takes the row apart.
func (in *csvReader) split() *fault.Fault {
	in.cells, in.spare = in.cells[:0], in.spare[:0]
	rest, from := in.text, 0
	for {
		start := skipSpace(rest)
		var text []byte
		end := bytes.IndexByte(rest, ',')
		if start < len(rest) && rest[start] == '"' {
			var n int
			if text, n = in.quoted(rest[start:]); n < 0 {
				return in.fault(fault.Syntax, from+start, "a quoted cell does not end").
					Fix("close it in the same line, and double a quote inside it")
			}
			start += n
			end = start + skipSpace(rest[start:])
			if end < len(rest) && rest[end] != ',' {
				return in.fault(fault.Syntax, from+end, "text after a quoted cell").Fix("write a comma there, and double a quote inside a cell")
			}
			if end == len(rest) {
				end = -1
			}
		} else {
			if text = rest; end >= 0 {
				text = rest[:end]
			}
			if q := bytes.IndexByte(text, '"'); q >= 0 {
				return in.fault(fault.Syntax, from+q, "a quote inside a cell").Fix("quote the whole cell, and double the quote inside it")
			}
			text = bytes.TrimSpace(text)
		}
		in.cells = append(in.cells, cell{text, from})
		if end < 0 {
			return nil
		}
		rest, from = rest[end+1:], from+end+1
	}
}

func skipSpace(b []byte) int {
	n := 0
	for n < len(b) && (b[n] == ' ' || b[n] == '\t') {
		n++
	}
	return n
}

// quoted gives what stands between the quotes at the beginning of b, and how
// many bytes it takes with them; below zero when it does not end.
func (in *csvReader) quoted(b []byte) ([]byte, int) {
	from := len(in.spare)
	for i := 1; i < len(b); i++ {
		if b[i] == '"' {
			if i+1 == len(b) || b[i+1] != '"' {
				return in.spare[from:len(in.spare):len(in.spare)], i + 1
			}
			i++
		}
		in.spare = append(in.spare, b[i])
	}
	return nil, -1
}

// header reads the line of names.
func (in *csvReader) header() *fault.Fault {
	const do = "begin the file with t,channel,value_N or with t,channel,value,unit"
	if !in.row() {
		if in.err != nil {
			return fault.New(fault.Path, "the file cannot be read").At(fault.Pos{File: in.Name}).Because(in.err)
		}
		return fault.New(fault.Missing, "the file is empty").At(fault.Pos{File: in.Name}).Fix(do)
	}
	in.text = bytes.TrimPrefix(in.text, []byte("\ufeff"))
	if bytes.HasPrefix(in.text, []byte("\xff\xfe")) || bytes.HasPrefix(in.text, []byte("\xfe\xff")) {
		return in.fault(fault.Syntax, 0, "the file is not in UTF-8").Fix("save it as CSV in UTF-8")
	}
	if bad := in.split(); bad != nil {
		return bad
	}
	var names []string
	for _, c := range in.cells {
		names = append(names, string(c.text))
	}
	in.columns = len(names)
	switch line := strings.Join(names, ","); {
	case line == "t,channel,value_N" || line == "t,channel,value,unit":
		return nil
	case line == "t,channel,value":
		return in.fault(fault.NoUnit, in.cells[2].from, "the values have no unit").
			Fix("call the column value_N if they are in newton, else add a column unit and write it in every row")
	case len(names) == 3 && strings.HasPrefix(line, "t,channel,value_"):
		return in.fault(fault.BadUnit, in.cells[2].from, "a column of values is in newton, value_N, or has its units beside it").
			Fix("call the columns t,channel,value,unit and write the unit in every row")
	case len(names) == 1 && strings.ContainsAny(line, ";\t"):
		return in.fault(fault.Syntax, 0, "the columns are not separated by commas").Fix("separate cells by commas; " + do)
	}
	return in.fault(fault.Syntax, 0, "the first line does not name the columns of readings").Fix(do)
}

// reading makes the row into the next reading, or says why it is none.
func (in *csvReader) reading() *fault.Fault {
	if in.text == nil {
		return in.fault(fault.TooLarge, 0, "the line is longer than %d bytes", maxLine).Fix("check that this is a file of readings")
	}
	if bad := in.split(); bad != nil {
		return bad
	}
	if n := len(in.cells); n != in.columns {
		return in.fault(fault.Syntax, 0, "%d cells where %d are due", n, in.columns).
			Fix("write every cell of the row once; decimals have a point, not a comma")
	}
	r := reading.Reading{Marks: reading.Timed}
	var bad *fault.Fault
	if r.At, bad = in.time(in.cells[0]); bad != nil {
		return bad
	}
	ch, bad := in.channel(in.cells[1])
	if bad != nil {
		return bad
	}
	r.Channel = ch.name
	if r.Value, r.Quality, bad = in.value(in.cells[2]); bad != nil {
		return bad
	}
	u := &csvUnit{measure: Force, factor: 1}
	at := in.cells[2]
	if in.columns == 4 {
		at = in.cells[3]
		if u = in.unit(at.text); u.fault != nil {
			refused := *u.fault
			return refused.At(in.fault("", at.from, "").Pos)
		}
	}
	switch {
	case ch.measure == "":
		ch.measure = u.measure
	case ch.measure != u.measure:
		return in.fault(fault.BadUnit, at.from, "the value is in %s, and %s is measured in %s", u.measure, ch.name, ch.measure).
			Fix("write its value in %s or another unit of the same kind, in columns value,unit", ch.measure)
	}
	r.Value *= u.factor
	if u.offset != 0 { // adding nothing would make -0 into 0
		r.Value += u.offset
	}
	if r.Quality == reading.Good && math.IsInf(r.Value, 0) {
		return in.fault(fault.Range, in.cells[2].from, "the value is too large").Fix("check the value and its unit")
	}
	in.next = r
	return nil
}

func (in *csvReader) channel(c cell) (*csvChannel, *fault.Fault) {
	if ch := in.channels[string(c.text)]; ch != nil {
		return ch, nil
	}
	name := string(c.text)
	switch {
	case name == "":
		return nil, in.fault(fault.Missing, c.from, "the channel has no name").Fix("write the name of the channel in every row")
	case !utf8.ValidString(name):
		return nil, in.fault(fault.Syntax, c.from, "the name of the channel is not in UTF-8").Fix("save the file as CSV in UTF-8")
	case len(in.channels) >= maxChannels:
		return nil, in.fault(fault.TooLarge, c.from, "more than %d channels", maxChannels).
			Fix("check that the second column holds names of channels")
	}
	if bare, ok := strings.CutPrefix(name, "'"); ok && looksLikeFormula(bare) {
		name = bare
	}
	ch := &csvChannel{name: name}
	if in.Measures != nil {
		ch.measure = in.Measures(name)
	}
	in.channels[string(c.text)] = ch
	return ch, nil
}

// time reads t to the nanosecond.
func (in *csvReader) time(c cell) (reading.Stamp, *fault.Fault) {
	form := inSeconds
	at, ok := decimalSeconds(c.text)
	if !ok {
		form = asDate
		t, err := time.Parse(time.RFC3339Nano, string(c.text))
		if ok = err == nil && 1678 <= t.Year() && t.Year() <= 2261; ok {
			at = reading.At(t)
		}
	}
	switch {
	case !ok:
		return 0, in.fault(fault.Syntax, c.from, "%s is not a time", quote(c.text)).
			Fix("write seconds as in 12.5, or date, time and zone as in 2026-03-01T09:30:00.25Z")
	case in.form == "":
		in.form = form
	case in.form != form:
		return 0, in.fault(fault.Disagree, c.from, "the time is written %s, that of the rows before %s", form, in.form).
			Fix("write all times in one way")
	}
	return at, nil
}

// decimalSeconds reads seconds, exactly where they have at most nine decimals.
func decimalSeconds(b []byte) (reading.Stamp, bool) {
	digits := b
	negative := len(b) > 0 && b[0] == '-'
	if negative || len(b) > 0 && b[0] == '+' {
		digits = b[1:]
	}
	whole, fraction, i := int64(0), int64(0), 0
	for ; i < len(digits) && '0' <= digits[i] && digits[i] <= '9'; i++ {
		if whole = whole*10 + int64(digits[i]-'0'); whole > 9_000_000_000 {
			return 0, false // beyond what a stamp holds
		}
	}
	n := i
	if i < len(digits) && digits[i] == '.' {
		scale := int64(100_000_000)
		for i++; i < len(digits) && '0' <= digits[i] && digits[i] <= '9'; i++ {
			n++
			switch d := int64(digits[i] - '0'); {
			case scale > 0:
				fraction += d * scale
				scale /= 10
			case scale == 0:
				scale = -1
				if d >= 5 {
					fraction++
				}
			}
		}
	}
	switch {
	case n == 0:
		return 0, false
	case i < len(digits):
		if digits[i] != 'e' && digits[i] != 'E' {
			return 0, false
		}
		v, err := strconv.ParseFloat(string(b), 64)
		return reading.Seconds(v), err == nil && math.Abs(v) <= 9e9
	}
	at := reading.Stamp(whole*1_000_000_000 + fraction)
	if negative {
		at = -at
	}
	return at, true
}

func (in *csvReader) value(c cell) (float64, reading.Quality, *fault.Fault) {
	if len(c.text) == 0 {
		return math.NaN(), reading.Lost, nil
	}
	v, err := strconv.ParseFloat(string(c.text), 64)
	switch {
	case errors.Is(err, strconv.ErrRange):
		return 0, 0, in.fault(fault.Range, c.from, "the value is too large").Fix("check the value and its unit")
	case err != nil || inGo(c.text):
		return 0, 0, in.fault(fault.Syntax, c.from, "%s is not a decimal number", quote(c.text)).
			Fix("write digits with a decimal point, without unit or grouping, or leave the cell empty if there was no reading")
	case math.IsNaN(v) || math.IsInf(v, 0):
		return v, reading.Bad, nil
	}
	return v, reading.Good, nil
}

// inGo tells whether what ParseFloat takes for a number is written as only Go
// does: with an x after the zero that may follow a sign, or a low line.
func inGo(b []byte) bool {
	return len(b) > 2 && (b[1]|0x20 == 'x' || b[2]|0x20 == 'x') || bytes.IndexByte(b, '_') >= 0
}

// quote shows text in a fault, cut to what fits on a line.
func quote(b []byte) string {
	if len(b) > 40 {
		return fmt.Sprintf("%q...", b[:40])
	}
	return fmt.Sprintf("%q", b)
}

// unit gives what a unit means; one that is refused keeps its fault.
func (in *csvReader) unit(text []byte) *csvUnit {
	if u := in.units[string(text)]; u != nil {
		return u
	}
	u := newUnit(string(text))
	if len(in.units) < maxUnits {
		in.units[string(text)] = &u
	}
	return &u
}

func newUnit(text string) csvUnit {
	const choices = "write N, kN, kgf, lbf, t, kg, short ton ..., or for other channels m, deg, m/s, °C, mV/V, counts ..."
	switch {
	case text == "":
		return csvUnit{fault: fault.New(fault.NoUnit, "the value has no unit").Fix(choices)}
	case text == string(SignalRatio), text == string(Counts):
		return csvUnit{measure: Measure(text), factor: 1}
	case !isUnitText(text):
		return csvUnit{fault: fault.New(fault.BadUnit, "%s is not a unit", quote([]byte(text))).Fix(choices)}
	}
	one, err := quantity.ParseRating("1 " + text)
	if err == nil {
		return csvUnit{measure: Force, factor: float64(one.Force)}
	}
	if f := fault.Of(err)[0]; f.Code == fault.Ambiguous {
		return csvUnit{fault: fault.New(f.Code, "%s", f.What).Fix("%s", f.Do)}
	}
	for _, read := range []func(string) (csvUnit, bool){
		unitOf[quantity.Length](Length), unitOf[quantity.Angle](Angle), unitOf[quantity.Speed](Speed),
		unitOf[quantity.Acceleration](Acceleration), unitOf[quantity.Temperature](Temperature), unitOf[quantity.Pressure](Pressure),
	} {
		if u, ok := read(text); ok {
			return u
		}
	}
	return csvUnit{fault: fault.New(fault.BadUnit, "%s is not a unit that a reading can have", quote([]byte(text))).Fix(choices)}
}

// isUnitText tells whether the text may be a unit and nothing else: no number
// that would join the one before it, no sign of a spread.
func isUnitText(text string) bool {
	space := true
	for _, r := range text {
		if unicode.IsDigit(r) && space || strings.ContainsRune("±+-−.,…¼½¾⅛⅜⅝⅞", r) {
			return false
		}
		space = unicode.IsSpace(r)
	}
	return true
}

// unitOf tries a unit of one dimension: what one of it is, and none of it,
// which is not zero for °C.
func unitOf[Q quantity.Quantity](m Measure) func(string) (csvUnit, bool) {
	return func(text string) (csvUnit, bool) {
		one, err := quantity.Parse[Q]("1 " + text)
		zero, err2 := quantity.Parse[Q]("0 " + text)
		if err != nil || err2 != nil || one.Shape != quantity.Exact {
			return csvUnit{}, false
		}
		if m == Temperature {
			return csvUnit{m, float64(one.Value - zero.Value), float64(zero.Value), nil}, true
		}
		return csvUnit{measure: m, factor: float64(one.Value)}, true
	}
}
