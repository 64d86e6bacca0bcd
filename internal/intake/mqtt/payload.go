package mqtt

import (
	"encoding/binary"
	"errors"
	"fmt"
	"math"

	"google.golang.org/protobuf/encoding/protowire"

	"plumbhook/reading"
)

// The protocol buffer of Sparkplug B, chapter 6 of the specification, read
// field by field; what is not named here is passed over.

// payload is a message: time in milliseconds since 1970, 0 if not given.
type payload struct {
	time, seq uint64
	hasSeq    bool
	metrics   []*rawMetric
}

// held says which of the fields for a value came.
type held uint8

const (
	isNothing held = iota
	isInt          // int_value, long_value
	isFloat        // float_value, double_value
	isBool
	isBytes
	isOther
)

type rawMetric struct {
	name                       string
	alias, time                uint64
	hasAlias, historical, null bool
	datatype                   uint32
	has                        held
	whole                      uint64 // int_value is 32 bits wide, long_value 64
	short                      bool   // it was int_value
	real                       float64
	bytes                      []byte
	properties                 map[string]float64 // those that are numbers
}

// fields calls each with every field of a message: varints and fixed numbers as
// a number, the rest as bytes.
func fields(b []byte, each func(n protowire.Number, t protowire.Type, number uint64, bytes []byte) error) error {
	for len(b) > 0 {
		n, t, k := protowire.ConsumeTag(b)
		if k < 0 {
			return fmt.Errorf("no protocol buffer: %w", protowire.ParseError(k))
		}
		b = b[k:]
		var number uint64
		var bytes []byte
		switch t {
		case protowire.VarintType:
			number, k = protowire.ConsumeVarint(b)
		case protowire.Fixed32Type:
			var v uint32
			v, k = protowire.ConsumeFixed32(b)
			number = uint64(v)
		case protowire.Fixed64Type:
			number, k = protowire.ConsumeFixed64(b)
		case protowire.BytesType:
			bytes, k = protowire.ConsumeBytes(b)
		default:
			k = protowire.ConsumeFieldValue(n, t, b)
		}
		if k < 0 {
			return fmt.Errorf("no protocol buffer: %w", protowire.ParseError(k))
		}
		b = b[k:]
		if err := each(n, t, number, bytes); err != nil {
			return err
		}
	}
	return nil
}

// errType is a known field in another encoding than its own.
var errType = errors.New("a field of another type than Sparkplug B gives it")

func checkTime(ms uint64) error {
	if ms > 7e12 {
		return fmt.Errorf("the time of %d ms is beyond the year 2190", ms)
	}
	return nil
}

func parsePayload(b []byte) (*payload, error) {
	p := &payload{}
	err := fields(b, func(n protowire.Number, t protowire.Type, v uint64, b []byte) error {
		switch {
		case n == 1 && t == protowire.VarintType:
			p.time = v
			return checkTime(v)
		case n == 2 && t == protowire.BytesType:
			if len(p.metrics) >= mostSamples {
				return fmt.Errorf("more than %d metrics in a message", mostSamples)
			}
			m, err := parseMetric(b)
			if err != nil {
				return err
			}
			p.metrics = append(p.metrics, m)
		case n == 3 && t == protowire.VarintType:
			if v > 255 {
				return fmt.Errorf("the message is numbered %d, beyond 255", v)
			}
			p.seq, p.hasSeq = v, true
		case n <= 3:
			return errType
		}
		return nil
	})
	return p, err
}

func parseMetric(b []byte) (*rawMetric, error) {
	m := &rawMetric{}
	err := fields(b, func(n protowire.Number, t protowire.Type, v uint64, b []byte) error {
		varint, bytes := t == protowire.VarintType, t == protowire.BytesType
		switch {
		case n == 1 && bytes:
			m.name = string(b)
		case n == 2 && varint:
			m.alias, m.hasAlias = v, true
		case n == 3 && varint:
			m.time = v
			return checkTime(v)
		case n == 4 && varint:
			m.datatype = uint32(v)
		case n == 5 && varint:
			m.historical = v != 0
		case n == 7 && varint:
			m.null = v != 0
		case n == 9 && bytes:
			return m.parseProperties(b)
		case n == 10 && varint:
			m.has, m.whole, m.short = isInt, uint64(uint32(v)), true
		case n == 11 && varint:
			m.has, m.whole, m.short = isInt, v, false
		case n == 12 && t == protowire.Fixed32Type:
			m.has, m.real = isFloat, float64(math.Float32frombits(uint32(v)))
		case n == 13 && t == protowire.Fixed64Type:
			m.has, m.real = isFloat, math.Float64frombits(v)
		case n == 14 && varint:
			m.has = isBool
		case n == 15 && bytes, n == 17 && bytes, n == 18 && bytes, n == 19 && bytes:
			m.has = isOther
		case n == 16 && bytes:
			m.has, m.bytes = isBytes, b
		case n == 6, n == 8: // is_transient, metadata
		case n <= 19:
			return errType
		}
		return nil
	})
	return m, err
}

// parseProperties keeps the numbers of a property set. Keys and values are two
// lists of the same length.
func (m *rawMetric) parseProperties(b []byte) error {
	var keys []string
	var values []float64
	err := fields(b, func(n protowire.Number, t protowire.Type, _ uint64, b []byte) error {
		switch {
		case n == 1 && t == protowire.BytesType:
			keys = append(keys, string(b))
		case n == 2 && t == protowire.BytesType:
			v := math.NaN()
			err := fields(b, func(n protowire.Number, t protowire.Type, x uint64, _ []byte) error {
				switch {
				case n == 3 && t == protowire.VarintType:
					v = float64(int32(x))
				case n == 4 && t == protowire.VarintType:
					v = float64(int64(x))
				case n == 5 && t == protowire.Fixed32Type:
					v = float64(math.Float32frombits(uint32(x)))
				case n == 6 && t == protowire.Fixed64Type:
					v = math.Float64frombits(x)
				}
				return nil
			})
			values = append(values, v)
			return err
		}
		return nil
	})
	if err != nil {
		return err
	}
	if len(keys) != len(values) {
		return fmt.Errorf("%d properties with %d values", len(keys), len(values))
	}
	m.properties = map[string]float64{}
	for i, k := range keys {
		m.properties[k] = values[i]
	}
	return nil
}

// quality is that of the property Quality: 192 good, 500 stale, 0 bad
// (specification, chapter 6); good without one, bad with another value.
func (m *rawMetric) quality() reading.Quality {
	q, ok := m.properties["Quality"]
	switch {
	case !ok || q == 192:
		return reading.Good
	case q == 500:
		return reading.Stale
	}
	return reading.Bad
}

// Data types of the specification that are numbers, chapter 6.
const (
	typeInt8, typeInt64     = 1, 4
	typeUInt8, typeUInt64   = 5, 8
	typeFloat, typeDouble   = 9, 10
	typeInt8s, typeInt64s   = 22, 25
	typeUInt8s, typeUInt64s = 26, 29
	typeFloats, typeDoubles = 30, 31
	typeBoolean             = 11
)

// numbers gives the value of a metric, or the values of an array. Type 0 is not
// known.
func (m *rawMetric) numbers(datatype uint32) ([]float64, error) {
	switch {
	case datatype == 0 && m.has == isFloat, datatype == typeFloat && m.has == isFloat, datatype == typeDouble && m.has == isFloat:
		return []float64{m.real}, nil
	case datatype == 0:
		return nil, errors.New("a value of a type that no birth has told")
	case datatype <= typeUInt64 && m.has == isInt:
		v, err := m.integer(datatype)
		return []float64{v}, err
	case datatype >= typeInt8s && datatype <= typeUInt64s && m.has == isBytes:
		return integers(m.bytes, datatype)
	case datatype == typeFloats, datatype == typeDoubles:
		// The text says little-endian, its printed examples are big-endian.
		return nil, errors.New("arrays of floating-point numbers are not read: their specification gives two byte orders; send single values or arrays of integers")
	case m.has == isNothing:
		return nil, errors.New("no value")
	}
	return nil, fmt.Errorf("a value of type %d is no number, or not sent as one", datatype)
}

// integer reads types 1 to 8. Senders differ in which of the two fields they
// take and in how far they extend the sign of a short type; a value that no such
// habit explains is refused.
func (m *rawMetric) integer(datatype uint32) (float64, error) {
	signed := datatype <= typeInt64
	bits := 8 << ((datatype - 1) % 4)
	x := int64(m.whole)
	if m.short && signed {
		x = int64(int32(m.whole)) // sign extended to 32 bits, at least
	}
	switch {
	case bits == 64 && signed:
		return float64(x), nil
	case bits == 64:
		return float64(m.whole), nil
	case !signed && m.whole < 1<<bits:
		return float64(m.whole), nil
	case signed && x >= -1<<(bits-1) && x < 1<<(bits-1):
		return float64(x), nil
	case signed && x >= 0 && x < 1<<bits: // the bits of a negative number, not extended
		return float64(x - 1<<bits), nil
	}
	return 0, fmt.Errorf("%d does not fit into %d bits", m.whole, bits)
}

// integers reads an array, little-endian.
func integers(b []byte, datatype uint32) ([]float64, error) {
	signed := datatype <= typeInt64s
	size := 1 << ((datatype - typeInt8s) % 4)
	if len(b) == 0 || len(b)%size != 0 {
		return nil, fmt.Errorf("an array of %d bytes, for numbers of %d", len(b), size)
	}
	var out []float64
	for ; len(b) > 0; b = b[size:] {
		var word [8]byte
		copy(word[:], b[:size])
		u := binary.LittleEndian.Uint64(word[:])
		if signed {
			shift := 64 - 8*size
			out = append(out, float64(int64(u<<shift)>>shift))
		} else {
			out = append(out, float64(u))
		}
	}
	return out, nil
}

// rebirthRequest asks an edge node to send its births again.
func rebirthRequest(at reading.Stamp) []byte {
	ms := uint64(max(at, 0) / 1e6)
	m := protowire.AppendTag(nil, 1, protowire.BytesType)
	m = protowire.AppendString(m, "Node Control/Rebirth")
	for _, v := range [][2]uint64{{3, ms}, {4, typeBoolean}, {14, 1}} {
		m = protowire.AppendTag(m, protowire.Number(v[0]), protowire.VarintType)
		m = protowire.AppendVarint(m, v[1])
	}
	p := protowire.AppendTag(nil, 1, protowire.VarintType)
	p = protowire.AppendVarint(p, ms)
	p = protowire.AppendTag(p, 2, protowire.BytesType)
	return protowire.AppendBytes(p, m)
}
