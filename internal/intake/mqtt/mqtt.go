// Package mqtt reads the payloads that gateways publish over MQTT: a plain
// number, JSON, or Eclipse Sparkplug B.
//
// What cannot be read is told in Frame.Garbled and is never a reading. Where a
// payload can be read in two ways it is not read.
//
// # A plain number
//
// "12.5" on the topic tele/GATEWAY/anything is a reading of the channel that
// the channel map gives the topic to, in the unit stated there; "12.5 kN" says
// its unit too. It has no time but that of arrival, and no count: a message that
// the gateway sends twice counts twice.
//
// # JSON
//
// One sample, on the channel of the topic:
//
//	{"t": 1785067200.25, "v": 12.5, "unit": "kN", "seq": 4711}
//
// Many samples of one channel, evenly spaced or each with its time:
//
//	{"t": 1785067200.25, "dt": 0.01, "v": [12.5, 12.6, 12.4], "seq": 4711}
//	{"t": [1785067200.25, 1785067200.27], "v": [12.5, 12.6]}
//
// Many channels: every key that is none of the words below is a field, whose
// address in the channel map is the topic, #, and the key. A field is a number,
// a list, or an object of its own; what stands beside the fields holds for all of
// them that do not say otherwise. Fields that the channel map lacks are passed
// over.
//
//	{"t": 1785067200.25, "dt": 0.01, "W": [12.5, 12.6], "E": {"v": [11.9, 11.8], "q": "stale"}}
//
// A list of such objects is read one after the other. The words:
//
//	t           time of (the first of) the samples: seconds since 1970 UTC, or
//	            RFC 3339 text with its zone; a list of them, one for each sample
//	dt          seconds from sample to sample
//	v           the value or values; null where the cell gives none (lost),
//	            "NaN" or "Inf" where it gives no number (bad)
//	unit        must say the same as the channel map, when both speak
//	seq         count of the (first) sample, one more for each sample of the channel
//	q           good, stale, lost or bad: what the gateway says of the values; or
//	            a list
//	steady      false: the gateway says that the value moves
//	historical  true: kept while the link was down and sent later
//	signal_dBm  of the cell's radio
//	battery     of the cell, 0 to 1
//
// An object that has a v has no keys but these: a unit misspelled must not pass
// for no unit.
//
// # Sparkplug B
//
// See Decoder. The address of a metric is NODE/METRIC, or NODE/DEVICE/METRIC.
package mqtt

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"unicode"

	"plumbhook/quantity"
	"plumbhook/reading"
)

// Names ties an address on the wire to a channel. toSI turns a number as sent
// into the channel's SI unit, or refuses it; it is nil when the map states no
// unit, and then the payload has to.
type Names interface {
	Lookup(source, address string) (channel string, toSI func(float64) (float64, error), ok bool)
}

// Command is a message that a gateway should get.
type Command struct {
	Topic   string
	Payload []byte
}

// A Decoder reads the messages of all gateways. It remembers what Sparkplug B
// tells only once, the births, so one Decoder sees all messages of a stream, in
// their order. It takes its time from the messages: the same messages give the
// same readings again.
//
// In Sparkplug B, a birth names metrics and their types, data may then use
// numbers for the names. A death, of a node or a device, makes all its channels
// stale at once. The node counts its messages; one that is missing for longer
// than two seconds, or data whose birth was not seen, asks the node to be born
// again. Data never waits for what is missing: a reading has its own time.
type Decoder struct {
	names Names
	nodes map[string]*node // by group and node
	units map[string]func(float64) float64
}

// New makes a Decoder.
func New(names Names) *Decoder {
	return &Decoder{names: names, nodes: map[string]*node{}, units: map[string]func(float64) float64{}}
}

const (
	mostSamples = 100_000 // in a message
	mostLines   = 20      // of what is garbled
	mostUnits   = 100     // remembered
	mostNodes   = 1000
)

// Decode reads a message of a gateway, the source. The frame may be empty. The
// commands are for a decoder of what is live; one that goes through stored
// messages drops them.
func (d *Decoder) Decode(source, topic string, payload []byte, arrived reading.Stamp) (reading.Frame, []Command) {
	f := frame{Frame: reading.Frame{Source: source, Arrived: arrived}, d: d, topic: topic}
	var commands []Command
	switch text := strings.TrimSpace(string(payload)); {
	case strings.HasPrefix(topic, "spBv1.0/"):
		commands = f.sparkplug(payload)
	case text == "":
		f.garbled("an empty payload")
	case text[0] == '{' || text[0] == '[':
		f.json(payload)
	default:
		f.plain(text)
	}
	return f.Frame, commands
}

// frame is a frame being filled.
type frame struct {
	reading.Frame
	d     *Decoder
	topic string
}

// garbled adds a line, made fit to be shown.
func (f *frame) garbled(format string, args ...any) {
	switch n := len(f.Garbled); {
	case n > mostLines:
		return
	case n == mostLines:
		f.Garbled = append(f.Garbled, "and more")
		return
	}
	line := []rune(f.topic + ": " + fmt.Sprintf(format, args...))
	if len(line) > 200 {
		line = append(line[:197], '.', '.', '.')
	}
	for i, r := range line {
		if r == unicode.ReplacementChar || !unicode.IsPrint(r) {
			line[i] = '.'
		}
	}
	f.Garbled = append(f.Garbled, string(line))
}

// plain reads a number, with or without its unit.
func (f *frame) plain(text string) {
	number, unit, _ := strings.Cut(text, " ")
	v, err := numberOf(number)
	if err != nil {
		f.garbled("%v", err)
		return
	}
	c, ok := f.channel(f.topic, strings.TrimSpace(unit))
	if !ok {
		f.nothingMapped()
		return
	}
	f.add(c, v, reading.Reading{At: f.Arrived})
}

// channel is one that an address leads to, with how its numbers are turned.
type channel struct {
	name string
	toSI func(float64) (float64, error)
}

// channel looks an address up and settles the unit. It is not ok where the map
// has no such address; a unit that cannot be settled is garbled when the first
// number comes.
func (f *frame) channel(address, unit string) (channel, bool) {
	name, toSI, ok := f.d.names.Lookup(f.Source, address)
	if !ok {
		return channel{}, false
	}
	refuse := func(err error) channel {
		return channel{name, func(float64) (float64, error) { return 0, err }}
	}
	if unit == "" {
		if toSI == nil {
			return refuse(fmt.Errorf("no unit, neither here nor in the channel map")), true
		}
		return channel{name, toSI}, true
	}
	own, err := f.d.unit(unit)
	if err != nil {
		return refuse(err), true
	}
	if toSI == nil {
		return channel{name, func(v float64) (float64, error) { return own(v), nil }}, true
	}
	// Both speak. Two points settle that they mean the same, also where the
	// zeros of two scales differ.
	for _, probe := range []float64{1, 2} {
		if m, err := toSI(probe); err == nil && math.Abs(m-own(probe)) > 1e-9*math.Abs(m) {
			return refuse(fmt.Errorf("says %s, the channel map says another unit", unit)), true
		}
	}
	return channel{name, toSI}, true
}

// unit gives the way from a unit to SI, for all the dimensions that a channel
// may have. Mass units mean force at standard gravity. The units of a cell's own
// signal stay as they are.
func (d *Decoder) unit(name string) (func(float64) float64, error) {
	if f := d.units[name]; f != nil {
		return f, nil
	}
	if strings.ContainsAny(name, "0123456789.±+-") {
		return nil, fmt.Errorf("%q is no unit", name)
	}
	var f func(float64) float64
	if name == "mV/V" || name == "counts" {
		f = func(v float64) float64 { return v }
	} else if r, err := quantity.ParseRating("1 " + name); err == nil {
		f = func(v float64) float64 { return v * float64(r.Force) }
	} else {
		for _, try := range []func(string) (func(float64) float64, bool){
			scale[quantity.Length], scale[quantity.Angle], scale[quantity.Speed], scale[quantity.Temperature],
			scale[quantity.Acceleration], scale[quantity.Ratio],
		} {
			if g, ok := try(name); ok {
				f = g
				break
			}
		}
		if f == nil {
			return nil, fmt.Errorf("the unit %q is not known: %w", name, err)
		}
	}
	if len(d.units) < mostUnits {
		d.units[name] = f
	}
	return f, nil
}

// scale is a unit of a dimension by two of its values.
func scale[Q quantity.Quantity](name string) (func(float64) float64, bool) {
	one, err := quantity.Parse[Q]("1 " + name)
	if err != nil {
		return nil, false
	}
	two, err := quantity.Parse[Q]("2 " + name)
	if err != nil {
		return nil, false
	}
	step := float64(two.Value) - float64(one.Value)
	if zero := float64(one.Value) - step; math.Abs(zero) > 1e-12*math.Abs(step) {
		return func(v float64) float64 { return zero + v*step }, true
	}
	return func(v float64) float64 { return v * float64(one.Value) }, true
}

// add puts a value in SI into the frame. What is no number is bad.
func (f *frame) add(c channel, v float64, r reading.Reading) bool {
	r.Channel, r.Value = c.name, math.NaN()
	if !finite(v) {
		if r.Quality == reading.Good || r.Quality == reading.Stale {
			r.Quality = reading.Bad
		}
	} else {
		si, err := c.toSI(v)
		if err != nil {
			f.garbled("%s: %v", c.name, err)
			return false
		}
		if finite(si) {
			r.Value = si
		} else {
			r.Quality = reading.Bad
		}
	}
	f.Readings = append(f.Readings, r)
	return true
}

func (f *frame) nothingMapped() {
	f.garbled("nothing in it is in the channel map of %s", f.Source)
}

func finite(v float64) bool { return !math.IsNaN(v) && !math.IsInf(v, 0) }

// numberOf reads a decimal number. Words for what is no number give NaN; so does
// a number too large to be one.
func numberOf(text string) (float64, error) {
	switch strings.ToLower(strings.TrimLeft(text, "+-")) {
	case "nan", "inf", "infinity":
		return math.NaN(), nil
	}
	if strings.Trim(text, "+-.0123456789eE") != "" {
		return 0, fmt.Errorf("%q is no number", text)
	}
	v, err := strconv.ParseFloat(text, 64)
	if err != nil && !math.IsInf(v, 0) {
		return 0, fmt.Errorf("%q is no number", text)
	}
	if !finite(v) {
		return math.NaN(), nil
	}
	return v, nil
}
