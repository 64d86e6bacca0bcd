package post

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"
	"unicode/utf8"

	"plumbhook/reading"
)

var nan = math.NaN()

// entry is one value of a batch, its unit not yet applied.
type entry struct {
	address  string
	unit     string // empty: that of the channel map
	reading  reading.Reading
	measured bool   // there is a value
	raw      string // as it came, of what is garbled
	why      string // it is garbled
}

// value is an entry of a JSON batch:
//
//	{"readings": [{"address": "W", "t": "2026-05-04T09:12:00.250Z", "seq": 17, "value": 12.3, "unit": "kN"}]}
type value struct {
	Address    string   `json:"address"`
	T          string   `json:"t"`
	Seq        *uint64  `json:"seq"`
	Value      *float64 `json:"value"`
	Unit       string   `json:"unit"`
	Quality    string   `json:"quality"`
	Unsteady   bool     `json:"unsteady"`
	Historical bool     `json:"historical"`
}

// readJSON takes a batch apart. The error is of the batch as a whole; an entry
// that is garbled says so itself.
func readJSON(body []byte) ([]entry, error) {
	if !utf8.Valid(body) {
		return nil, errors.New("the batch is not text in UTF-8")
	}
	var batch struct {
		Readings []json.RawMessage `json:"readings"`
	}
	if err := strict(body, &batch); err != nil {
		return nil, fmt.Errorf("the batch is not the JSON it should be: %w", err)
	}
	switch {
	case batch.Readings == nil:
		return nil, errors.New("the batch has no readings")
	case len(batch.Readings) > MostReadings:
		return nil, fmt.Errorf("more than %d readings in a batch", MostReadings)
	}
	out := make([]entry, len(batch.Readings))
	for i, raw := range batch.Readings {
		var v value
		if err := strict(raw, &v); err != nil {
			out[i] = entry{raw: string(raw), why: "not the JSON it should be"}
			continue
		}
		out[i] = v.entry()
		out[i].raw = string(raw)
	}
	return out, nil
}

func strict(data []byte, into any) error {
	d := json.NewDecoder(bytes.NewReader(data))
	d.DisallowUnknownFields()
	if err := d.Decode(into); err != nil {
		return err
	}
	if _, err := d.Token(); err != io.EOF {
		return errors.New("something stands behind the end")
	}
	return nil
}

func (v *value) entry() entry {
	e := entry{address: v.Address, unit: v.Unit, reading: reading.Reading{Value: nan}}
	garbled := func(why string) entry { return entry{why: why} }
	if v.Address == "" {
		return garbled("no address")
	}
	if v.T != "" {
		at, err := moment(v.T)
		if err != nil {
			return garbled(err.Error())
		}
		e.reading.At = at
		e.reading.Marks |= reading.Timed
	}
	if v.Seq != nil {
		e.reading.Seq = *v.Seq
		e.reading.Marks |= reading.Numbered
	}
	if v.Unsteady {
		e.reading.Marks |= reading.Unsteady
	}
	if v.Historical {
		e.reading.Marks |= reading.Historical
	}
	if v.Value != nil {
		e.reading.Value, e.measured = *v.Value, true
	}
	words := []string{"", "good", "stale", "lost", "bad"}
	switch i := slices.Index(words, v.Quality); {
	case i < 0:
		return garbled("quality is good, stale, lost or bad")
	case i < 2 && v.Value == nil:
		return garbled("no value")
	case i >= 2:
		e.reading.Quality = reading.Quality(i - 1)
	}
	return e
}

// moment reads a time of RFC 3339. Bare figures are refused: they may be
// seconds or milliseconds, since 1970 or since the sender was switched on.
func moment(s string) (reading.Stamp, error) {
	t, err := time.Parse(time.RFC3339Nano, s)
	if err != nil || t.Year() < 1970 || t.Year() > 2200 {
		return 0, errors.New("the time is not of RFC 3339, as 2026-05-04T09:12:00.250Z is")
	}
	return reading.At(t), nil
}

// readCSV takes a CSV batch apart: a header of t, channel and value with unit,
// or value_N, in any order; seq is optional. What stands under channel is the
// address in the channel map. An empty value is a bad reading.
func readCSV(body []byte) ([]entry, error) {
	if !utf8.Valid(body) {
		return nil, errors.New("the batch is not text in UTF-8")
	}
	r := csv.NewReader(bytes.NewReader(body))
	r.TrimLeadingSpace = true
	r.FieldsPerRecord = -1
	r.LazyQuotes = true
	header, err := r.Read()
	if err != nil {
		return nil, errors.New("the batch has no header line")
	}
	column := map[string]int{}
	for i, name := range header {
		name = strings.TrimSpace(name)
		if !slices.Contains([]string{"t", "channel", "value", "value_N", "unit", "seq"}, name) {
			return nil, fmt.Errorf("the header has an unknown column %q", name)
		}
		if _, twice := column[name]; twice {
			return nil, fmt.Errorf("the header has the column %q twice", name)
		}
		column[name] = i
	}
	has := func(name string) bool { _, ok := column[name]; return ok }
	switch {
	case !has("t") || !has("channel"):
		return nil, errors.New("the header needs the columns t and channel")
	case has("value") == has("value_N") || has("value") != has("unit"):
		return nil, errors.New("the header needs value_N, or value and unit: a figure without its unit is never taken")
	}
	var out []entry
	for {
		row, err := r.Read()
		if err == io.EOF {
			return out, nil
		}
		if len(out) == MostReadings {
			return nil, fmt.Errorf("more than %d readings in a batch", MostReadings)
		}
		raw := strings.Join(row, ",")
		if err != nil || len(row) != len(header) {
			out = append(out, entry{raw: raw, why: "not as many columns as the header has"})
			continue
		}
		e := csvEntry(func(name string) string {
			if i, ok := column[name]; ok {
				return strings.TrimSpace(row[i])
			}
			return ""
		})
		e.raw = raw
		out = append(out, e)
	}
}

func csvEntry(get func(column string) string) entry {
	e := entry{address: get("channel"), unit: get("unit"), reading: reading.Reading{Value: nan}}
	garbled := func(why string) entry { return entry{why: why} }
	if e.address == "" {
		return garbled("no channel")
	}
	at, err := moment(get("t"))
	if err != nil {
		return garbled(err.Error())
	}
	e.reading.At, e.reading.Marks = at, reading.Timed
	if s := get("seq"); s != "" {
		if e.reading.Seq, err = strconv.ParseUint(s, 10, 64); err != nil {
			return garbled("seq is a whole number")
		}
		e.reading.Marks |= reading.Numbered
	}
	text := get("value")
	if n := get("value_N"); n != "" {
		text, e.unit = n, "N"
	}
	if text == "" {
		e.reading.Quality = reading.Bad
		return e
	}
	v, err := strconv.ParseFloat(text, 64)
	switch {
	case err != nil || math.IsNaN(v) || math.IsInf(v, 0):
		return garbled("a value that is no number")
	case e.unit == "":
		return garbled("a value without its unit")
	}
	e.reading.Value, e.measured = v, true
	return e
}
