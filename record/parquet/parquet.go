// Package parquet writes the readings of a recording as a Parquet file: all
// that came, with what a watch made of it, a row for each reading.
package parquet

import (
	"io"
	"strings"

	"github.com/parquet-go/parquet-go"

	"plumbhook/fault"
	"plumbhook/logbook"
	"plumbhook/reading"
	"plumbhook/record"
)

// row is one reading. The times are nanoseconds since 1970-01-01 UTC, or since
// the zero of a recording that counts bare seconds.
type row struct {
	Entry    int64    `parquet:"entry,delta"`      // number in the logbook
	Arrived  int64    `parquet:"arrived_ns,delta"` // by the watch's clock
	At       int64    `parquet:"t_ns,delta"`       // measured, by the sender's clock; arrived where it told none
	Source   string   `parquet:"source,dict"`
	Channel  string   `parquet:"channel,dict"`
	Seq      int64    `parquet:"seq,delta"` // of its channel, where marks has "numbered"
	Raw      *float64 `parquet:"raw,optional"`
	Unit     string   `parquet:"unit,dict"` // of raw; empty: not known
	CorrectN *float64 `parquet:"corrected_N,optional"`
	Quality  string   `parquet:"quality,dict"`
	Marks    string   `parquet:"marks,dict"`
}

// rows is how many are in memory before they are written.
const rows = 8 << 10

// A Writer writes readings. Memory stays the same however many there are.
type Writer struct {
	out     *parquet.GenericWriter[row]
	measure func(channel string) record.Measure
	correct func(r *reading.Reading) (n float64, ok bool)

	batch   []row
	values  []float64 // what the batch points at
	grouped int       // rows of the row group so far
}

// group is how many rows a row group has.
const group = 64 << 10

// NewWriter begins a file. measure says what a channel measures, and correct
// what force a reading comes to by calibration and tare, as things stand when
// its entry is written.
func NewWriter(w io.Writer, measure func(channel string) record.Measure, correct func(r *reading.Reading) (n float64, ok bool)) *Writer {
	return &Writer{
		out:     parquet.NewGenericWriter[row](w, parquet.Compression(&parquet.Snappy), parquet.CreatedBy("plumbhook", "1", "")),
		measure: measure, correct: correct,
		batch: make([]row, 0, rows), values: make([]float64, 0, 2*rows),
	}
}

// Entry writes the readings of an entry; one without readings is passed over.
// A value that is not usable stands beside its quality as it came.
func (w *Writer) Entry(en *logbook.Entry) error {
	if en.Frame == nil {
		return nil
	}
	for i := range en.Frame.Readings {
		r := &en.Frame.Readings[i]
		next := row{
			Entry: int64(en.N), Arrived: int64(en.Frame.Arrived), At: int64(r.At), Source: en.Frame.Source, Channel: r.Channel,
			Seq: int64(r.Seq), Unit: string(w.measure(r.Channel)), Quality: r.Quality.String(), Marks: marks(r.Marks),
		}
		if r.Quality != reading.Lost {
			next.Raw = w.keep(r.Value)
		}
		if n, ok := w.correct(r); ok {
			next.CorrectN = w.keep(n)
		}
		if w.batch = append(w.batch, next); len(w.batch) == rows {
			if err := w.flush(); err != nil {
				return err
			}
		}
	}
	return nil
}

func (w *Writer) keep(v float64) *float64 {
	w.values = append(w.values, v)
	return &w.values[len(w.values)-1]
}

func (w *Writer) flush() error {
	_, err := w.out.Write(w.batch)
	w.grouped += len(w.batch)
	if err == nil && w.grouped >= group {
		err, w.grouped = w.out.Flush(), 0
	}
	w.batch, w.values = w.batch[:0], w.values[:0]
	if err != nil {
		return fault.New(fault.Path, "the readings cannot be written as Parquet").Because(err).Fix("make room on the disk")
	}
	return nil
}

// Close ends the file, and leaves what it was written to open.
func (w *Writer) Close() error {
	err := w.flush()
	if err == nil {
		if err = w.out.Close(); err != nil {
			err = fault.New(fault.Path, "the readings cannot be written as Parquet").Because(err).Fix("make room on the disk")
		}
	}
	return err
}

var markNames = [...]string{"timed", "numbered", "historical", "unsteady"}

func marks(m reading.Marks) string {
	if m == 0 {
		return ""
	}
	var names []string
	for i, name := range markNames {
		if m&(1<<i) != 0 {
			names = append(names, name)
		}
	}
	return strings.Join(names, " ")
}
