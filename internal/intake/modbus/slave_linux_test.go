package modbus_test

import (
	"context"
	"encoding/binary"
	"encoding/hex"
	"os"
	"slices"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"plumbhook/internal/intake"
	"plumbhook/internal/intake/intaketest"
	"plumbhook/internal/intake/modbus"
	"plumbhook/reading"
)

// crc is the checksum of RTU frames, low byte first on the wire: CRC-16 with
// the reflected polynomial 0xA001, from 0xFFFF (Modbus over Serial Line V1.02,
// from memory; the frames of testdata/rtu.csv confirm it).
func crc(frame []byte) uint16 {
	c := uint16(0xFFFF)
	for _, b := range frame {
		c ^= uint16(b)
		for range 8 {
			low := c & 1
			if c >>= 1; low == 1 {
				c ^= 0xA001
			}
		}
	}
	return c
}

func sealed(frame []byte) []byte { return binary.LittleEndian.AppendUint16(frame, crc(frame)) }

func TestSlaveChecksum(t *testing.T) {
	if c := crc([]byte("123456789")); c != 0x4B37 {
		t.Errorf("checksum %04X, want 4B37", c)
	}
	for _, row := range readCSV(t, "testdata/rtu.csv") {
		frame, err := hex.DecodeString(strings.ReplaceAll(row[1], " ", ""))
		if err != nil {
			t.Fatal(err)
		}
		body := frame[:len(frame)-2]
		if got := sealed(append([]byte{}, body...)); string(got) != string(frame) {
			t.Errorf("% X is sealed as % X", frame, got)
		}
	}
}

// slave answers RTU requests on its end of a pty.
type slave struct {
	*device
	port  *intaketest.Pty
	noise atomic.Int32 // so many answers with a broken checksum
	late  atomic.Bool  // the next answer comes when nobody waits for it any more
}

func newSlave(t *testing.T) *slave {
	s := &slave{device: newDevice(), port: intaketest.NewPty(t)}
	go s.serve(s.port.Master())
	return s
}

// serve ends when the port is pulled.
func (s *slave) serve(line *os.File) {
	var got []byte
	var buf [256]byte
	for {
		n, err := line.Read(buf[:])
		if err != nil {
			return
		}
		got = append(got, buf[:n]...)
		for len(got) >= 8 {
			request := got[:8]
			if crc(request[:6]) != binary.LittleEndian.Uint16(request[6:]) {
				got = got[1:]
				continue
			}
			got = got[8:]
			answer := s.answer(request)
			if s.late.CompareAndSwap(true, false) {
				time.AfterFunc(90*time.Millisecond, func() { _, _ = line.Write(answer) })
				continue
			}
			if _, err := line.Write(answer); err != nil {
				return
			}
		}
	}
}

func (s *slave) answer(request []byte) []byte {
	first, count := binary.BigEndian.Uint16(request[2:]), binary.BigEndian.Uint16(request[4:])
	words, exception := s.read(request[1] == 4, first, count)
	out := []byte{request[0], request[1], byte(2 * count)}
	for _, w := range words {
		out = binary.BigEndian.AppendUint16(out, w)
	}
	if exception != 0 {
		out = []byte{request[0], request[1] | 0x80, exception}
	}
	out = sealed(out)
	if s.noise.Load() > 0 && s.noise.Add(-1) >= 0 {
		out[len(out)-1] ^= 0x55
	}
	return out
}

// The slave says what the published example says.
func TestSlaveExample(t *testing.T) {
	s := &slave{device: newDevice()}
	s.set(0x6B, 555, 0, 100)
	request, _ := hex.DecodeString("0103006B00037417")
	if got := hex.EncodeToString(s.answer(request)); got != "010306022b00000064057a" {
		t.Errorf("answer %s", got)
	}
}

// rtu is the counterpart of the suite on a serial line.
type rtu struct {
	*slave
	t *testing.T
	m *intake.Map
}

func (c *rtu) Map() *intake.Map { return c.m }

func (c *rtu) Run(ctx context.Context, sink intake.Sink, link intake.Link) error {
	return modbus.Run(ctx, c.m.Gateways()[0], c.m, sink, link)
}

func (c *rtu) Send(_ testing.TB, s []intaketest.Sample) { c.queue(s) }

// Garble breaks the checksum of the next answer. The queue is empty then.
func (c *rtu) Garble(testing.TB) { c.noise.Store(1) }

func (c *rtu) Cut(t testing.TB) { c.port.Pull(t) }

func (c *rtu) Restore(t testing.TB) {
	c.port.Plug(t)
	go c.serve(c.port.Master())
}

func TestConformanceRTU(t *testing.T) {
	intaketest.Run(t, intaketest.Kit{
		Marks: bothMarks,
		New: func(t *testing.T) intaketest.Counterpart {
			s := newSlave(t)
			return &rtu{slave: s, t: t, m: readMap(t, `
channel_map: 1
gateways:
  plc: {kind: modbus rtu, port: `+s.port.Path+`, baud: 115200, characters: 8N1, unit_id: 17, registers: from 0,
        word_order: CDAB, poll: 2 ms, timeout: 2 s}
channels:
  W: {gateway: plc, kind: load cell, address: holding 107, type: int32, unit: kN, scale: 0.01}
  E: {gateway: plc, kind: load cell, address: holding 109, type: int32, unit: kN, scale: 0.01}
`)}
		},
	})
}

// An answer on a serial line does not say which question it answers. One that
// comes too late is not taken for that of the next.
func TestLateAnswer(t *testing.T) {
	s := newSlave(t)
	s.set(10, 111)
	s.set(20, 222)
	s.late.Store(true)
	m := readMap(t, `
channel_map: 1
gateways:
  plc: {kind: modbus rtu, port: `+s.port.Path+`, baud: 115200, characters: 8N1, unit_id: 17, registers: from 0, poll: 2 ms, timeout: 60 ms}
channels:
  W: {gateway: plc, kind: load cell, address: holding 10, type: int16, unit: N}
  E: {gateway: plc, kind: load cell, address: holding 20, type: int16, unit: N}
`)
	frames, said := run(t, m, func(f []*reading.Frame) bool { return len(f) >= 5 })
	for _, f := range frames {
		for _, r := range f.Readings {
			if want := map[string]float64{"W": 111, "E": 222}[r.Channel]; r.Value != want {
				t.Errorf("%s is %g, want %g", r.Channel, r.Value, want)
			}
		}
	}
	if !slices.Contains(said, "down plc: holding register 10: request timed out") {
		t.Errorf("nothing was late: %q", said)
	}
}
