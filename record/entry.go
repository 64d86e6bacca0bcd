package record

import (
	"encoding/binary"
	"math"

	"plumbhook/fault"
	"plumbhook/logbook"
	"plumbhook/reading"
)

// What a payload is: its first byte.
const (
	tagEntry  = 0
	tagGap    = 1
	tagFooter = 2
)

// An entry after its tag:
//
//	back    uvarint  how many numbers ago its stretch began; 0 begins one
//	at      i64 of an entry that begins a stretch, else varint from that one
//	names   uvarint  how many follow, each its number (uvarint) and text
//	kind    byte
//	fields  uvarint  the has... bits
//	        then the fields in the order of their bits
//
// and its frame of readings:
//
//	source  uvarint, number of its name
//	arrived varint from at
//	uvarint how many readings: flags (byte), then what the flags leave open
//	uvarint how many healths: channel (uvarint), signal, battery (8 bytes each)
//	uvarint how many garbled: texts
const (
	hasFrame = 1 << iota
	hasWho
	isSigned
	hasAlarm
	hasSays
	hasTare
	insists
	hasSince
	hasText
	everyField = 1<<iota - 1
)

// The flags of a reading say how it follows from the one before it in its
// frame. Samples come channel by channel or moment by moment; either way most
// of them cost the flags and the value.
const (
	sameChannel  = 0 // as the reading before
	nextChannel  = 1 // the name numbered one higher
	firstChannel = 2 // that of the frame's first reading
	otherChannel = 3 // uvarint

	sameTime  = 0 << 2 // as the reading before
	stepTime  = 1 << 2 // later by the last difference that was written out
	otherTime = 2 << 2 // varint from the reading before
	firstTime = 3 << 2 // that of the frame's first reading

	noSeq    = 0 << 4 // 0
	nextSeq  = 1 << 4 // one more than the reading before
	sameSeq  = 2 << 4 // as the reading before
	otherSeq = 3 << 4 // varint from the reading before

	newQuality = 1 << 6 // quality and marks follow, a byte each
	single     = 1 << 7 // the value is a float32 exactly and takes 4 bytes

	channelBits, timeBits, seqBits = 3, 3 << 2, 3 << 4
)

// Bounds of one entry. A frame of 64 channels with a second of 1000 Hz samples
// takes half a megabyte.
const (
	maxPayload = 16 << 20
	maxNames   = 1 << 16 // distinct names in one stretch
)

// stretch is how many bytes may refer to the same beginning. It is the chunk
// that hashes will be laid over.
const stretch = 64 << 10

// encoder turns entries into payloads. Its zero value begins a stretch.
type encoder struct {
	open   bool // a stretch has begun
	begin  uint64
	base   reading.Stamp
	ids    map[string]uint64
	names  []string
	defs   []byte // names first used by this entry
	ndefs  uint64
	body   []byte
	bytes  int // of this stretch so far
	broken bool
}

// reset makes the next entry begin a stretch.
func (c *encoder) reset() { c.open = false }

// append adds the payload of e to b. It tells whether e begins a stretch. A
// payload that was not kept needs a reset, since later entries would refer to
// its names.
func (c *encoder) append(b []byte, e *logbook.Entry) (out []byte, begins bool, err error) {
	if c.bytes >= stretch || len(c.names) > maxNames/2 {
		c.open = false
	}
	begins = !c.open
	if begins {
		c.open, c.begin, c.base, c.bytes = true, e.N, e.At, 0
		c.names = c.names[:0]
		if c.ids == nil {
			c.ids = map[string]uint64{}
		}
		clear(c.ids)
	}
	c.defs, c.ndefs, c.broken = c.defs[:0], 0, false
	c.fields(e)

	from := len(b)
	b = append(b, tagEntry)
	b = binary.AppendUvarint(b, e.N-c.begin)
	if begins {
		b = binary.LittleEndian.AppendUint64(b, uint64(e.At))
	} else {
		b = binary.AppendVarint(b, int64(e.At-c.base))
	}
	b = binary.AppendUvarint(b, c.ndefs)
	b = append(b, c.defs...)
	b = append(b, c.body...)
	if c.broken || len(b)-from > maxPayload {
		c.reset()
		return b[:from], false, fault.New(fault.TooLarge, "entry %d takes %d bytes", e.N, len(b)-from).
			Fix("an entry holds at most %d bytes and %d names", maxPayload, maxNames)
	}
	c.bytes += len(b) - from
	return b, begins, nil
}

// name gives the number of a name, and a new one a number.
func (c *encoder) name(s string) uint64 {
	if id, ok := c.ids[s]; ok {
		return id
	}
	id := uint64(len(c.names))
	c.broken = c.broken || id >= maxNames
	c.ids[s] = id
	c.names = append(c.names, s)
	c.defs = binary.AppendUvarint(c.defs, id)
	c.defs = appendText(c.defs, s)
	c.ndefs++
	return id
}

func (c *encoder) fields(e *logbook.Entry) {
	var has uint64
	for i, there := range [...]bool{
		e.Frame != nil, e.Who != "", e.Signed, e.Alarm != "", e.Says != "",
		e.Tare != "", e.Insists, e.Since != 0, e.Text != "",
	} {
		if there {
			has |= 1 << i
		}
	}
	c.body = append(c.body[:0], byte(e.Kind))
	c.body = binary.AppendUvarint(c.body, has)
	if e.Frame != nil {
		c.frame(e.At, e.Frame)
	}
	for _, s := range [...]string{e.Who, e.Alarm, e.Says, string(e.Tare)} {
		if s != "" {
			c.body = appendText(c.body, s)
		}
	}
	if e.Since != 0 {
		c.body = binary.AppendVarint(c.body, int64(e.Since-e.At))
	}
	if e.Text != "" {
		c.body = appendText(c.body, e.Text)
	}
}

func (c *encoder) frame(at reading.Stamp, f *reading.Frame) {
	b := binary.AppendUvarint(c.body, c.name(f.Source))
	b = binary.AppendVarint(b, int64(f.Arrived-at))
	b = binary.AppendUvarint(b, uint64(len(f.Readings)))

	before := reading.Reading{At: f.Arrived}
	var id, first uint64 // numbers of before's channel and of the first one's
	var step reading.Stamp
	for i := range f.Readings {
		r := &f.Readings[i]
		flags, place := byte(0), len(b)
		b = append(b, 0)

		switch {
		case i > 0 && r.Channel == before.Channel:
		case i > 0 && id+1 < uint64(len(c.names)) && r.Channel == c.names[id+1]:
			flags |= nextChannel
			id++
		case i > 0 && r.Channel == f.Readings[0].Channel:
			flags |= firstChannel
			id = first
		default:
			flags |= otherChannel
			id = c.name(r.Channel)
			b = binary.AppendUvarint(b, id)
		}
		switch {
		case r.At == before.At:
		case r.At == before.At+step:
			flags |= stepTime
		case i > 0 && r.At == f.Readings[0].At:
			flags |= firstTime
		default:
			flags |= otherTime
			step = r.At - before.At
			b = binary.AppendVarint(b, int64(step))
		}
		switch r.Seq {
		case 0:
		case before.Seq + 1:
			flags |= nextSeq
		case before.Seq:
			flags |= sameSeq
		default:
			flags |= otherSeq
			b = binary.AppendVarint(b, int64(r.Seq-before.Seq))
		}
		if r.Quality != before.Quality || r.Marks != before.Marks {
			flags |= newQuality
			b = append(b, byte(r.Quality), byte(r.Marks))
		}
		// Not a number carries bits that a conversion may change, and does not
		// equal itself: it takes all eight bytes.
		if v := float32(r.Value); float64(v) == r.Value {
			flags |= single
			b = binary.LittleEndian.AppendUint32(b, math.Float32bits(v))
		} else {
			b = binary.LittleEndian.AppendUint64(b, math.Float64bits(r.Value))
		}
		b[place] = flags
		before = *r
		if i == 0 {
			first = id
		}
	}

	b = binary.AppendUvarint(b, uint64(len(f.Health)))
	for _, h := range f.Health {
		b = binary.AppendUvarint(b, c.name(h.Channel))
		b = binary.LittleEndian.AppendUint64(b, math.Float64bits(h.Signal))
		b = binary.LittleEndian.AppendUint64(b, math.Float64bits(h.Battery))
	}
	b = binary.AppendUvarint(b, uint64(len(f.Garbled)))
	for _, s := range f.Garbled {
		b = appendText(b, s)
	}
	c.body = b
}

func appendText(b []byte, s string) []byte {
	b = binary.AppendUvarint(b, uint64(len(s)))
	return append(b, s...)
}

// decoder turns payloads back into entries, one segment after another. The
// entry it gives is its own and lasts until the next one.
type decoder struct {
	open  bool
	begin uint64
	base  reading.Stamp
	names []string
	known []bool

	entry logbook.Entry
	frame reading.Frame
}

// reset forgets the stretch: a new segment follows.
func (d *decoder) reset() { d.open = false }

// decode reads the payload of entry n. It gives nil for one that cannot be
// read: because the beginning of its stretch or a name it needs is lost, or
// because it is not something that an encoder writes.
func (d *decoder) decode(n uint64, payload []byte) *logbook.Entry {
	in := input{b: payload}
	if in.byte() != tagEntry {
		return nil
	}
	back := in.uvarint()
	if back == 0 {
		at := reading.Stamp(in.u64())
		if in.bad {
			return nil
		}
		d.open, d.begin, d.base = true, n, at
		d.names, d.known = d.names[:0], d.known[:0]
		d.entry = logbook.Entry{N: n, At: at}
	} else {
		if !d.open || n-d.begin != back {
			return nil
		}
		d.entry = logbook.Entry{N: n, At: d.base + reading.Stamp(in.varint())}
	}
	for range in.count(2) {
		id := in.uvarint()
		s := in.text()
		if in.bad || id >= maxNames {
			return nil
		}
		for uint64(len(d.names)) <= id {
			d.names, d.known = append(d.names, ""), append(d.known, false)
		}
		d.names[id], d.known[id] = s, true
	}

	e := &d.entry
	e.Kind = logbook.Kind(in.byte())
	has := in.uvarint()
	if has > everyField {
		return nil
	}
	if has&hasFrame != 0 {
		e.Frame = &d.frame
		d.readings(&in, e.At)
	}
	e.Signed, e.Insists = has&isSigned != 0, has&insists != 0
	if has&hasWho != 0 {
		e.Who = in.text()
	}
	if has&hasAlarm != 0 {
		e.Alarm = in.text()
	}
	if has&hasSays != 0 {
		e.Says = in.text()
	}
	if has&hasTare != 0 {
		e.Tare = logbook.TareKind(in.text())
	}
	if has&hasSince != 0 {
		e.Since = e.At + reading.Stamp(in.varint())
	}
	if has&hasText != 0 {
		e.Text = in.text()
	}
	if in.bad || len(in.b) > 0 {
		return nil
	}
	return e
}

// name gives the name of a number that the stretch has defined.
func (d *decoder) name(in *input, id uint64) string {
	if id >= uint64(len(d.names)) || !d.known[id] {
		in.bad = true
		return ""
	}
	return d.names[id]
}

func (d *decoder) readings(in *input, at reading.Stamp) {
	f := &d.frame
	f.Source = d.name(in, in.uvarint())
	f.Arrived = at + reading.Stamp(in.varint())

	n := in.count(5)
	if cap(f.Readings) < n {
		f.Readings = make([]reading.Reading, n)
	}
	f.Readings = f.Readings[:n]
	r := reading.Reading{At: f.Arrived}
	var id, first uint64
	var step, start reading.Stamp
	for i := range f.Readings {
		flags := in.byte()
		switch flags & channelBits {
		case nextChannel:
			id++
		case firstChannel:
			id = first
		case otherChannel:
			id = in.uvarint()
		}
		if flags&channelBits != sameChannel || i == 0 {
			r.Channel = d.name(in, id)
		}
		switch flags & timeBits {
		case stepTime:
			r.At += step
		case otherTime:
			step = reading.Stamp(in.varint())
			r.At += step
		case firstTime:
			r.At = start
		}
		switch flags & seqBits {
		case noSeq:
			r.Seq = 0
		case nextSeq:
			r.Seq++
		case otherSeq:
			r.Seq += uint64(in.varint())
		}
		if flags&newQuality != 0 {
			r.Quality, r.Marks = reading.Quality(in.byte()), reading.Marks(in.byte())
		}
		if flags&single != 0 {
			r.Value = float64(math.Float32frombits(in.u32()))
		} else {
			r.Value = math.Float64frombits(in.u64())
		}
		if in.bad {
			return
		}
		if i == 0 {
			first, start = id, r.At
		}
		f.Readings[i] = r
	}

	f.Health = f.Health[:0]
	for range in.count(17) {
		f.Health = append(f.Health, reading.Health{
			Channel: d.name(in, in.uvarint()),
			Signal:  math.Float64frombits(in.u64()),
			Battery: math.Float64frombits(in.u64()),
		})
	}
	f.Garbled = f.Garbled[:0]
	for range in.count(1) {
		f.Garbled = append(f.Garbled, in.text())
	}
}

// input is what is left of a payload. Reading past its end makes it bad and
// gives zeros.
type input struct {
	b   []byte
	bad bool
}

func (in *input) byte() byte {
	if len(in.b) < 1 {
		in.bad = true
		return 0
	}
	v := in.b[0]
	in.b = in.b[1:]
	return v
}

func (in *input) u32() uint32 {
	if len(in.b) < 4 {
		in.bad, in.b = true, nil
		return 0
	}
	v := binary.LittleEndian.Uint32(in.b)
	in.b = in.b[4:]
	return v
}

func (in *input) u64() uint64 {
	if len(in.b) < 8 {
		in.bad, in.b = true, nil
		return 0
	}
	v := binary.LittleEndian.Uint64(in.b)
	in.b = in.b[8:]
	return v
}

func (in *input) uvarint() uint64 {
	v, n := binary.Uvarint(in.b)
	if n <= 0 {
		in.bad, in.b = true, nil
		return 0
	}
	in.b = in.b[n:]
	return v
}

func (in *input) varint() int64 {
	v, n := binary.Varint(in.b)
	if n <= 0 {
		in.bad, in.b = true, nil
		return 0
	}
	in.b = in.b[n:]
	return v
}

// count reads how many things follow that take at least so many bytes each.
func (in *input) count(least int) int {
	n := in.uvarint()
	if n > uint64(len(in.b)/least) {
		in.bad, in.b = true, nil
		return 0
	}
	return int(n)
}

func (in *input) text() string {
	n := in.count(1)
	s := string(in.b[:n])
	in.b = in.b[n:]
	return s
}
