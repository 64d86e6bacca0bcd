package record

import (
	"encoding/binary"
	"iter"

	"plumbhook/fault"
	"plumbhook/logbook"
)

// packVersion begins every pack.
const packVersion = 1

// A Packer puts entries into one message for another machine, in the form of
// [Unpack]:
//
//	pack = version u8, for each entry: its number less that of the one before
//	       (uvarint, of the first its number), length of payload uvarint, payload
//
// with payloads as in a segment, the names of channels once per pack. The zero
// value is an empty pack.
type Packer struct {
	enc         encoder
	buf         []byte
	body        []byte
	first, last uint64
}

// Add puts an entry behind those that are in; numbers rise.
func (p *Packer) Add(e *logbook.Entry) error {
	if e.N <= p.last {
		return fault.New(fault.Internal, "entry %d is packed behind entry %d", e.N, p.last)
	}
	body, _, err := p.enc.append(p.body[:0], e)
	p.body = body
	if err != nil {
		return err
	}
	if len(p.buf) == 0 {
		p.buf, p.first = append(p.buf, packVersion), e.N
	}
	p.buf = binary.AppendUvarint(p.buf, e.N-p.last)
	p.buf = binary.AppendUvarint(p.buf, uint64(len(body)))
	p.buf = append(p.buf, body...)
	p.last = e.N
	return nil
}

// Len is the size of the pack, bytes.
func (p *Packer) Len() int { return len(p.buf) }

// Take gives the pack, empty when nothing was added, and begins another.
func (p *Packer) Take() (pack []byte, first, last uint64) {
	pack, first, last = p.buf, p.first, p.last
	p.buf, p.first, p.last = nil, 0, 0
	p.enc.reset()
	return pack, first, last
}

// Unpack goes through the entries of a pack. An entry lasts until the next one.
// What is no pack ends in a fault.
func Unpack(pack []byte) iter.Seq2[*logbook.Entry, error] {
	return func(yield func(*logbook.Entry, error) bool) {
		in := input{b: pack}
		bad := func() { yield(nil, fault.New(Damaged, "%d bytes are no pack of entries", len(pack))) }
		if in.byte() != packVersion {
			bad()
			return
		}
		var dec decoder
		n := uint64(0)
		for len(in.b) > 0 {
			more := in.uvarint()
			size := in.count(1)
			if in.bad || more == 0 || n+more < n || size > len(in.b) {
				bad()
				return
			}
			n += more
			e := dec.decode(n, in.b[:size])
			in.b = in.b[size:]
			if e == nil {
				bad()
				return
			}
			if !yield(e, nil) {
				return
			}
		}
	}
}
