package bus

import (
	"bufio"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"strings"
	"unicode/utf8"
)

// packet is a control packet of MQTT 3.1.1, whole: kind and flags in the first
// byte, the length of the rest in one to four bytes of seven bits each (section
// 2.2), the rest.
type packet []byte

// Kinds, in the upper half of the first byte (section 2.2.1).
const (
	kindMask        = 0xf0
	kindConnect     = 0x10
	kindConnack     = 0x20
	kindPublish     = 0x30
	kindPuback      = 0x40
	kindPubrec      = 0x50
	kindPubrel      = 0x60
	kindPubcomp     = 0x70
	kindSubscribe   = 0x80
	kindUnsubscribe = 0xa0
	kindPingreq     = 0xc0
	kindDisconnect  = 0xe0
)

const (
	// mostPayload is the largest payload; a packet has a topic too.
	mostPayload = 1 << 20
	mostPacket  = mostPayload + 1<<16 + 8
)

// errPacket is what is wrong with a packet, other than that it is not all there.
var errPacket = errors.New("not MQTT 3.1.1")

func broken(format string, args ...any) error {
	return fmt.Errorf("%w: %s", errPacket, fmt.Sprintf(format, args...))
}

// readPacket reads the next packet. With an error it gives what there was.
func readPacket(r *bufio.Reader) (packet, error) {
	kind, err := r.ReadByte()
	if err != nil {
		return nil, err
	}
	p := packet{kind}
	size := 0
	for shift := 0; ; shift += 7 {
		if shift == 28 {
			return p, broken("the length of a packet goes on")
		}
		c, err := r.ReadByte()
		if err != nil {
			return p, err
		}
		p = append(p, c)
		size |= int(c&0x7f) << shift
		if c < 0x80 {
			break
		}
	}
	if size > mostPacket {
		return p, broken("a packet of %d bytes, at most %d are taken", size, mostPacket)
	}
	head := len(p)
	p = append(p, make([]byte, size)...)
	n, err := io.ReadFull(r, p[head:])
	if err == io.EOF {
		err = io.ErrUnexpectedEOF
	}
	return p[:head+n], err
}

// body is what follows the length.
func (p packet) body() fields {
	i := 1
	for p[i] >= 0x80 {
		i++
	}
	return fields(p[i+1:])
}

// check refuses what no gateway may send once it is connected.
func (p packet) check() error {
	want, flags := -1, byte(0)
	switch p[0] & kindMask {
	case kindPuback, kindPubrec, kindPubcomp:
		want = 2
	case kindPubrel:
		want, flags = 2, 2
	case kindSubscribe, kindUnsubscribe:
		flags = 2
	case kindPingreq, kindDisconnect:
		want = 0
	default:
		return broken("a packet of type %d", p[0]>>4)
	}
	if p[0]&^kindMask != flags || want >= 0 && len(p.body()) != want {
		return broken("a packet of type %d with flags %d and %d bytes", p[0]>>4, p[0]&^kindMask, len(p.body()))
	}
	return nil
}

// message is what a PUBLISH says (section 3.3).
func (p packet) message() (m Message, qos byte, err error) {
	qos = p[0] >> 1 & 3
	f := p.body()
	topic, ok := f.text()
	if ok && qos > 0 {
		var id uint16
		id, ok = f.number()
		ok = ok && id != 0
	}
	switch {
	case !ok || qos == 3:
		return m, qos, broken("a message that is cut short, has QoS 3 or lacks its number")
	case !carried(topic):
		return m, qos, broken("no message can go to %q", topic)
	case len(f) > mostPayload:
		return m, qos, broken("a message of %d bytes, at most %d are taken", len(f), mostPayload)
	}
	return Message{Topic: topic, Payload: f}, qos, nil
}

// carried tells whether the message server takes a topic.
func carried(topic string) bool {
	_, err := subjectOf(topic)
	return err == nil && utf8.ValidString(topic) && !strings.Contains(topic, "\x00")
}

// will is what a gateway wants said should it fall silent without having parted.
type will struct {
	topic   string
	payload []byte
}

// hello is a CONNECT (section 3.1).
type hello struct {
	flags          byte
	alive          uint16 // keep alive, seconds
	id, user, pass string
	will           *will
}

// Flags of a CONNECT.
const (
	hasUser     = 0x80
	hasPass     = 0x40
	willRetain  = 0x20
	willQoS     = 0x18
	hasWill     = 0x04
	mustBeUnset = 0x01
)

var protocol = "\x00\x04MQTT\x04"

// parseHello takes a CONNECT apart that has all a gateway needs and nothing
// wrong; whatever else a CONNECT can be is not ok.
func parseHello(p packet) (h hello, ok bool) {
	if p[0] != kindConnect {
		return h, false
	}
	f := p.body()
	if len(f) < len(protocol)+1 || string(f[:len(protocol)]) != protocol {
		return h, false
	}
	h.flags = f[len(protocol)]
	f = f[len(protocol)+1:]
	if h.flags&mustBeUnset != 0 || h.flags&(hasUser|hasPass) != hasUser|hasPass {
		return h, false
	}
	if h.alive, ok = f.number(); !ok {
		return h, false
	}
	if h.id, ok = f.text(); !ok {
		return h, false
	}
	switch {
	case h.flags&hasWill != 0:
		var payload string
		w := &will{}
		if w.topic, ok = f.text(); !ok || !carried(w.topic) || h.flags&willQoS == willQoS {
			return h, false
		}
		if payload, ok = f.text(); !ok {
			return h, false
		}
		w.payload = []byte(payload)
		h.will = w
	case h.flags&(willQoS|willRetain) != 0:
		return h, false
	}
	if h.user, ok = f.text(); !ok || !gatewayName.MatchString(h.user) {
		return h, false
	}
	h.pass, ok = f.text()
	return h, ok && len(f) == 0
}

// packet is the CONNECT for the engine: without the will, and with the name that
// no gateway knows.
func (h hello) packet(inside string) packet {
	body := append([]byte(protocol), h.flags&^(hasWill|willQoS|willRetain))
	body = binary.BigEndian.AppendUint16(body, h.alive)
	for _, s := range []string{h.id, h.user + inside, h.pass} {
		body = append(binary.BigEndian.AppendUint16(body, uint16(len(s))), s...)
	}
	return append(binary.AppendUvarint([]byte{kindConnect}, uint64(len(body))), body...)
}

// fields are the fields of a packet that are still to be read.
type fields []byte

func (f *fields) number() (uint16, bool) {
	if len(*f) < 2 {
		return 0, false
	}
	n := binary.BigEndian.Uint16(*f)
	*f = (*f)[2:]
	return n, true
}

func (f *fields) text() (string, bool) {
	n, ok := f.number()
	if !ok || len(*f) < int(n) {
		return "", false
	}
	s := string((*f)[:n])
	*f = (*f)[n:]
	return s, true
}
