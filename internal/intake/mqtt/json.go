package mqtt

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"math/big"
	"slices"
	"strconv"
	"strings"
	"time"

	"plumbhook/reading"
)

// A member of an object, in the order of the text. Values are json.Number,
// string, bool, nil, list or object.
type (
	member struct {
		key   string
		value any
	}
	object []member
	list   []any
)

const mostDepth = 5

// tree reads a whole payload. An object that gives a key twice has two readings
// and is refused.
func tree(payload []byte) (any, error) {
	dec := json.NewDecoder(bytes.NewReader(payload))
	dec.UseNumber()
	v, err := value(dec, mostDepth)
	if err != nil {
		return nil, err
	}
	if _, err := dec.Token(); !errors.Is(err, io.EOF) {
		return nil, fmt.Errorf("something follows at byte %d", dec.InputOffset())
	}
	return v, nil
}

func value(dec *json.Decoder, depth int) (any, error) {
	tok, err := dec.Token()
	if err != nil {
		return nil, fmt.Errorf("no JSON at byte %d: %w", dec.InputOffset(), err)
	}
	open, ok := tok.(json.Delim)
	if !ok {
		return tok, nil
	}
	if depth == 0 {
		return nil, errors.New("too deeply nested")
	}
	var o object
	var l list
	for dec.More() {
		if open == '[' {
			v, err := value(dec, depth-1)
			if err != nil {
				return nil, err
			}
			l = append(l, v)
			continue
		}
		key, err := dec.Token()
		if err != nil {
			return nil, fmt.Errorf("no JSON at byte %d: %w", dec.InputOffset(), err)
		}
		name := key.(string) // the decoder lets nothing else pass
		if o.has(name) {
			return nil, fmt.Errorf("the key %q comes twice", name)
		}
		v, err := value(dec, depth-1)
		if err != nil {
			return nil, err
		}
		o = append(o, member{name, v})
	}
	if _, err := dec.Token(); err != nil {
		return nil, fmt.Errorf("no JSON at byte %d: %w", dec.InputOffset(), err)
	}
	if open == '[' {
		return l, nil
	}
	return o, nil
}

func (o object) has(key string) bool {
	return slices.ContainsFunc(o, func(m member) bool { return m.key == key })
}

// about is what is said of samples apart from their values. Objects inside
// another inherit it.
type about struct {
	times      []reading.Stamp // one, or one for each
	timed      bool
	list       bool // times were a list
	dt         float64
	unit       string
	seq        uint64
	numbered   bool
	quality    []reading.Quality // one, or one for each
	marks      reading.Marks
	signal     float64
	battery    float64
	hasQuality bool // a list of qualities
}

var words = map[string]func(*about, any) error{
	"t": func(a *about, v any) (err error) {
		a.timed = true
		if l, ok := v.(list); ok {
			a.list, a.times = true, make([]reading.Stamp, len(l))
			for i := range l {
				if a.times[i], err = stampOf(l[i]); err != nil {
					return err
				}
			}
			return nil
		}
		a.list, a.times = false, make([]reading.Stamp, 1)
		a.times[0], err = stampOf(v)
		return err
	},
	"dt": func(a *about, v any) (err error) {
		a.dt, err = within(v, 0, 3600)
		if err == nil && a.dt == 0 {
			return errors.New("is zero")
		}
		return err
	},
	"unit": func(a *about, v any) error {
		s, ok := v.(string)
		if !ok || s == "" {
			return errors.New("is no text")
		}
		a.unit = s
		return nil
	},
	"seq": func(a *about, v any) (err error) {
		n, ok := v.(json.Number)
		if !ok {
			return errors.New("is no number")
		}
		a.numbered = true
		if a.seq, err = strconv.ParseUint(n.String(), 10, 63); err != nil {
			return errors.New("is no count")
		}
		return nil
	},
	"q": func(a *about, v any) (err error) {
		l, many := v.(list)
		if !many {
			l = list{v}
		}
		a.hasQuality, a.quality = many, make([]reading.Quality, len(l))
		for i := range l {
			if a.quality[i], err = qualityOf(l[i]); err != nil {
				return err
			}
		}
		return nil
	},
	"steady":     func(a *about, v any) error { return a.mark(v, reading.Unsteady, false) },
	"historical": func(a *about, v any) error { return a.mark(v, reading.Historical, true) },
	"signal_dBm": func(a *about, v any) (err error) { a.signal, err = within(v, -200, 50); return err },
	"battery":    func(a *about, v any) (err error) { a.battery, err = within(v, 0, 1); return err },
	"v":          func(*about, any) error { return nil },
}

func (a *about) mark(v any, m reading.Marks, set bool) error {
	b, ok := v.(bool)
	if !ok {
		return errors.New("is neither true nor false")
	}
	a.marks &^= m
	if b == set {
		a.marks |= m
	}
	return nil
}

func within(v any, low, high float64) (float64, error) {
	n, ok := v.(json.Number)
	if !ok {
		return 0, errors.New("is no number")
	}
	x, err := n.Float64()
	if err != nil || x < low || x > high {
		return 0, fmt.Errorf("is not from %g to %g", low, high)
	}
	return x, nil
}

func qualityOf(v any) (reading.Quality, error) {
	for q := reading.Good; q <= reading.Bad; q++ {
		if v == q.String() {
			return q, nil
		}
	}
	return 0, errors.New("is none of good, stale, lost, bad")
}

// stampOf reads a time. Seconds are read as decimals, since a float64 of today
// resolves only a quarter of a microsecond.
func stampOf(v any) (reading.Stamp, error) {
	switch t := v.(type) {
	case string:
		at, err := time.Parse(time.RFC3339Nano, t)
		if err != nil || at.Year() < 1970 || at.Year() > 2200 {
			return 0, errors.New("is no time: write 2026-07-26T12:00:00.25Z, with its zone")
		}
		return reading.At(at), nil
	case json.Number:
		// A number with an exponent beyond a few digits would be expanded.
		x, err := t.Float64()
		if err != nil || x < 0 || x >= 7e9 || len(t) > 40 || (x != 0 && x < 1e-9) {
			return 0, errors.New("is no time in seconds since 1970 (milliseconds?)")
		}
		if x == 0 {
			return 0, nil // however many digits of exponent it has
		}
		s, ok := new(big.Rat).SetString(t.String())
		if !ok {
			return 0, errors.New("is no number")
		}
		ns := s.Mul(s, big.NewRat(1e9, 1))
		// To the nearest: floor of ns + 1/2.
		ns.Add(ns, big.NewRat(1, 2))
		return reading.Stamp(new(big.Int).Div(ns.Num(), ns.Denom()).Int64()), nil
	}
	return 0, errors.New("is neither a number nor text")
}

// json reads a payload that begins like an object or a list.
func (f *frame) json(payload []byte) {
	root, err := tree(payload)
	if err != nil {
		f.garbled("%v", err)
		return
	}
	objects, ok := root.(list)
	if !ok {
		objects = list{root}
	}
	mapped := false
	for _, o := range objects {
		o, ok := o.(object)
		if !ok {
			f.garbled("a list that is not of objects")
			return
		}
		if f.object(o, f.topic, about{signal: math.NaN(), battery: math.NaN(), quality: []reading.Quality{reading.Good}}, false) {
			mapped = true
		}
	}
	if !mapped && len(f.Garbled) == 0 {
		f.nothingMapped()
	}
}

// object reads one, and tells whether anything in it is in the channel map.
func (f *frame) object(o object, address string, a about, field bool) (mapped bool) {
	strict := field || o.has("v")
	for _, m := range o {
		read := words[m.key]
		if read == nil {
			if strict {
				f.garbledAt(address, "the key %q is not known beside v", m.key)
				return true
			}
			continue
		}
		if err := read(&a, m.value); err != nil {
			f.garbledAt(address, "%s %v", m.key, err)
			return true
		}
	}
	if strict {
		for _, m := range o {
			if m.key == "v" {
				return f.samples(address, m.value, a)
			}
		}
		// An object for a channel may tell only how its radio does.
		return f.samples(address, list(nil), a)
	}
	for _, m := range o {
		if words[m.key] != nil {
			continue
		}
		at := address + "#" + m.key
		if inner, ok := m.value.(object); ok {
			if _, _, known := f.d.names.Lookup(f.Source, at); known {
				mapped = f.object(inner, at, a, true) || mapped
			}
			continue
		}
		mapped = f.samples(at, m.value, a) || mapped
	}
	return mapped
}

// samples reads the values of one channel: one, or a list.
func (f *frame) samples(address string, v any, a about) (mapped bool) {
	c, ok := f.channel(address, a.unit)
	if !ok {
		return false
	}
	values, many := v.(list)
	if !many {
		values = list{v}
	}
	n := len(values)
	bad := func(format string, args ...any) bool {
		f.garbledAt(address, format, args...)
		return true
	}
	tells := !math.IsNaN(a.signal) || !math.IsNaN(a.battery)
	switch {
	case n == 0 && !tells:
		return bad("no value")
	case len(f.Readings)+n > mostSamples:
		return bad("more than %d samples in a message", mostSamples)
	case a.hasQuality && len(a.quality) != n:
		return bad("%d values of quality for %d samples", len(a.quality), n)
	case a.list && len(a.times) != n:
		return bad("%d times for %d samples", len(a.times), n)
	case n > 1 && !a.list && (!a.timed || a.dt == 0):
		return bad("many samples need t and dt, or a list of t")
	case a.numbered && a.seq > math.MaxInt64-uint64(n):
		return bad("seq is too large")
	}
	keep := len(f.Readings)
	f.Readings = slices.Grow(f.Readings, n)
	for i, v := range values {
		r := reading.Reading{At: f.Arrived, Marks: a.marks, Quality: a.quality[min(i, len(a.quality)-1)]}
		if a.timed {
			r.Marks |= reading.Timed
			if a.list {
				r.At = a.times[i]
			} else {
				r.At = a.times[0] + reading.Seconds(float64(i)*a.dt)
			}
		}
		if a.numbered {
			r.Marks |= reading.Numbered
			r.Seq = a.seq + uint64(i)
		}
		x := math.NaN()
		switch v := v.(type) {
		case nil:
			r.Quality = max(r.Quality, reading.Lost)
		case json.Number:
			var err error
			if x, err = numberOf(v.String()); err != nil {
				f.Readings = f.Readings[:keep]
				return bad("%v", err)
			}
		case string: // a word for what is no number, at most
			var err error
			if x, err = numberOf(v); err == nil && finite(x) {
				err = errors.New("a number in quotes")
			}
			if err != nil {
				f.Readings = f.Readings[:keep]
				return bad("%v", err)
			}
		default:
			f.Readings = f.Readings[:keep]
			return bad("a value that is no number")
		}
		if !f.add(c, x, r) {
			f.Readings = f.Readings[:keep]
			return true
		}
	}
	if tells {
		f.Health = append(f.Health, reading.Health{Channel: c.name, Signal: a.signal, Battery: a.battery})
	}
	return true
}

// garbledAt names the field, if it is one.
func (f *frame) garbledAt(address, format string, args ...any) {
	if field := strings.TrimPrefix(address, f.topic+"#"); field != address {
		format, args = "%s: "+format, append([]any{field}, args...)
	}
	f.garbled(format, args...)
}
