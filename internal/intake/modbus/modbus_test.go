package modbus_test

import (
	"context"
	"encoding/csv"
	"fmt"
	"math"
	"math/bits"
	"net"
	"os"
	"slices"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	lib "github.com/simonvetter/modbus"

	"plumbhook/internal/intake"
	"plumbhook/internal/intake/intaketest"
	"plumbhook/internal/intake/modbus"
	"plumbhook/reading"
)

const bothMarks = reading.Timed | reading.Numbered

func readMap(t testing.TB, text string) *intake.Map {
	t.Helper()
	m, err := intake.Read("map.yaml", nil, []byte(text))
	if err != nil {
		t.Fatal(err)
	}
	return m
}

func readCSV(t testing.TB, file string) [][]string {
	t.Helper()
	f, err := os.Open(file)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	r := csv.NewReader(f)
	r.Comment = '#'
	rows, err := r.ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	return rows[1:]
}

// device is the memory of a Modbus server, and a queue of samples that are
// handed out once each: W at holding register 107 and E at 109, as int32 in
// hundredths of a kN, low word first. Between samples it is busy.
type device struct {
	mu     sync.Mutex
	queued []intaketest.Sample
	words  map[uint16]uint16 // holding registers
	input  map[uint16]uint16
	asked  []string
}

const illegalAddress, busy = 2, 6

func newDevice() *device { return &device{words: map[uint16]uint16{}, input: map[uint16]uint16{}} }

func (d *device) set(first uint16, words ...uint16) {
	d.mu.Lock()
	defer d.mu.Unlock()
	for i, w := range words {
		d.words[first+uint16(i)] = w
	}
}

func (d *device) queue(s []intaketest.Sample) {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.queued = append(d.queued, s...)
}

func (d *device) requests() []string {
	d.mu.Lock()
	defer d.mu.Unlock()
	return slices.Clone(d.asked)
}

func (d *device) read(input bool, first, count uint16) (words []uint16, exception byte) {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.asked = append(d.asked, fmt.Sprintf("%v %d+%d", input, first, count))
	if !input && first == 107 && count == 4 {
		if len(d.queued) < 2 {
			return nil, busy
		}
		for _, s := range d.queued[:2] {
			v := uint32(int32(math.Round(s.Newton / 10)))
			words = append(words, uint16(v), uint16(v>>16))
		}
		d.queued = d.queued[2:]
		return words, 0
	}
	from := d.words
	if input {
		from = d.input
	}
	for i := range count {
		w, ok := from[first+i]
		if !ok {
			return nil, illegalAddress
		}
		words = append(words, w)
	}
	return words, 0
}

// HandleHoldingRegisters and the like put the device behind a TCP server.
func (d *device) HandleHoldingRegisters(r *lib.HoldingRegistersRequest) ([]uint16, error) {
	return d.over(false, r.Addr, r.Quantity)
}

func (d *device) HandleInputRegisters(r *lib.InputRegistersRequest) ([]uint16, error) {
	return d.over(true, r.Addr, r.Quantity)
}

func (d *device) HandleCoils(*lib.CoilsRequest) ([]bool, error) { return nil, lib.ErrIllegalFunction }

func (d *device) HandleDiscreteInputs(*lib.DiscreteInputsRequest) ([]bool, error) {
	return nil, lib.ErrIllegalFunction
}

func (d *device) over(input bool, first, count uint16) ([]uint16, error) {
	words, exception := d.read(input, first, count)
	switch exception {
	case illegalAddress:
		return nil, lib.ErrIllegalDataAddress
	case busy:
		return nil, lib.ErrServerDeviceBusy
	}
	return words, nil
}

// wire is a TCP line between the gateway under test and a server, that can be
// cut and can garble an answer.
type wire struct {
	address, server string

	mu       sync.Mutex
	listener net.Listener
	conns    []net.Conn
	noise    bool
}

func newWire(t testing.TB, d *device) *wire {
	t.Helper()
	// The server of the library wants to know its port beforehand.
	free, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	w := &wire{server: free.Addr().String(), address: "127.0.0.1:0"}
	_ = free.Close()
	server, err := lib.NewServer(&lib.ServerConfiguration{URL: "tcp://" + w.server, Timeout: time.Minute, MaxClients: 10}, d)
	if err == nil {
		err = server.Start()
	}
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = server.Stop() })
	w.restore(t)
	t.Cleanup(w.cut)
	return w
}

func (w *wire) restore(t testing.TB) {
	t.Helper()
	l, err := net.Listen("tcp", w.address)
	if err != nil {
		t.Fatal(err)
	}
	w.mu.Lock()
	w.listener, w.address = l, l.Addr().String()
	w.mu.Unlock()
	go func() {
		for {
			in, err := l.Accept()
			if err != nil {
				return
			}
			out, err := net.Dial("tcp", w.server)
			if err != nil {
				_ = in.Close()
				return
			}
			w.mu.Lock()
			w.conns = append(w.conns, in, out)
			w.mu.Unlock()
			go w.carry(out, in, false)
			go w.carry(in, out, true)
		}
	}()
}

func (w *wire) carry(to, from net.Conn, answers bool) {
	defer to.Close()
	var buf [512]byte
	for {
		n, err := from.Read(buf[:])
		if err != nil {
			return
		}
		w.mu.Lock()
		if answers && w.noise && n > 7 {
			w.noise = false
			buf[7] = 0x55 // no function that was asked for
		}
		w.mu.Unlock()
		if _, err := to.Write(buf[:n]); err != nil {
			return
		}
	}
}

func (w *wire) garble() {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.noise = true
}

func (w *wire) cut() {
	w.mu.Lock()
	defer w.mu.Unlock()
	_ = w.listener.Close()
	for _, c := range w.conns {
		_ = c.Close()
	}
	w.conns = nil
}

// tcp is the counterpart of the suite.
type tcp struct {
	*device
	line *wire
	m    *intake.Map
}

func (c *tcp) Map() *intake.Map { return c.m }

func (c *tcp) Run(ctx context.Context, sink intake.Sink, link intake.Link) error {
	return modbus.Run(ctx, c.m.Gateways()[0], c.m, sink, link)
}

func (c *tcp) Send(_ testing.TB, s []intaketest.Sample) { c.queue(s) }
func (c *tcp) Garble(testing.TB)                        { c.line.garble() }
func (c *tcp) Cut(testing.TB)                           { c.line.cut() }
func (c *tcp) Restore(t testing.TB)                     { c.line.restore(t) }

func TestConformanceTCP(t *testing.T) {
	intaketest.Run(t, intaketest.Kit{
		Marks: bothMarks,
		New: func(t *testing.T) intaketest.Counterpart {
			d := newDevice()
			w := newWire(t, d)
			return &tcp{device: d, line: w, m: readMap(t, `
channel_map: 1
gateways:
  plc: {kind: modbus tcp, address: "`+w.address+`", unit_id: 1, registers: prefixed, word_order: CDAB, poll: 2 ms, timeout: 2 s}
channels:
  W: {gateway: plc, kind: load cell, address: 40108, type: int32, unit: kN, scale: 0.01}
  E: {gateway: plc, kind: load cell, address: 400110, type: int32, unit: kN, scale: 0.01}
`)}
		},
	})
}

// run polls until done says so of what came.
func run(t *testing.T, m *intake.Map, done func([]*reading.Frame) bool) ([]*reading.Frame, []string) {
	t.Helper()
	ctx, cancel := context.WithCancel(context.Background())
	var frames intaketest.Frames
	var link intaketest.Link
	ended := make(chan error, 1)
	go func() { ended <- modbus.Run(ctx, m.Gateways()[0], m, &frames, &link) }()
	for end := time.Now().Add(30 * time.Second); !done(frames.All()); time.Sleep(time.Millisecond) {
		if time.Now().After(end) {
			t.Errorf("waited in vain; the link said %q", link.Said())
			break
		}
	}
	cancel()
	if err := <-ended; err != nil {
		t.Error(err)
	}
	return frames.All(), link.Said()
}

// One request takes what lies side by side and no register that nobody asked
// for; what a device refuses is silent, what is no number is bad, and the rest
// goes on.
func TestPoll(t *testing.T) {
	d := newDevice()
	d.set(10, 0x42F6, 0x0000, 0x7FC0, 0x0000) // 123, NaN
	d.set(20, 0xFFFF)
	d.input[7] = 0x2B
	w := newWire(t, d)
	m := readMap(t, `
channel_map: 1
gateways:
  plc: {kind: modbus tcp, address: "`+w.address+`", unit_id: 1, registers: from 1, word_order: ABCD, poll: 2 ms}
channels:
  W: {gateway: plc, kind: load cell, address: holding 11, type: float32, unit: t,
      radio: {address: holding 21, type: int16, unit: dBm, scale: 60}, battery: {address: input 8, type: uint16, unit: "%"}}
  E: {gateway: plc, kind: load cell, address: holding 13, type: float32, unit: t}
  hook: {gateway: plc, kind: hook height, address: holding 501, type: uint16, unit: m, scale: 0.01}
`)
	frames, said := run(t, m, func(f []*reading.Frame) bool { return len(f) >= 3 })
	if want := []string{"false 10+4", "false 20+1", "false 500+1", "true 7+1"}; !slices.Equal(d.requests()[:4], want) {
		t.Errorf("asked for %q, want %q", d.requests()[:4], want)
	}
	for i, f := range frames[:3] { // the last one may be cut short by the end
		if len(f.Readings) != 2 || len(f.Health) != 2 || len(f.Garbled) != 0 || f.Source != "plc" {
			t.Fatalf("frame %+v", f)
		}
		west, east := f.Readings[0], f.Readings[1]
		if west.Channel != "W" || west.Value != 123*9806.65 || west.Quality != reading.Good || west.Seq != uint64(i+1) || west.Marks != bothMarks {
			t.Errorf("west %+v", west)
		}
		if east.Channel != "E" || !math.IsNaN(east.Value) || east.Quality != reading.Bad || east.Usable() {
			t.Errorf("east %+v", east)
		}
		if h := f.Health[0]; h.Channel != "W" || h.Signal != -60 || !math.IsNaN(h.Battery) {
			t.Errorf("radio %+v", h)
		}
		if h := f.Health[1]; h.Channel != "W" || h.Battery != 0.43 || !math.IsNaN(h.Signal) {
			t.Errorf("battery %+v", h)
		}
	}
	if !slices.Contains(said, "refused plc: holding register 500: illegal data address") {
		t.Errorf("the refusal is not told: %q", said)
	}
}

// A long row of registers is read in several requests, and no value is torn.
func TestPollLongRow(t *testing.T) {
	d := newDevice()
	var b strings.Builder
	for i := range 70 {
		d.set(uint16(2*i), 0, uint16(i))
		fmt.Fprintf(&b, "  c%d: {gateway: plc, kind: load cell, address: holding %d, type: uint32, unit: N}\n", i, 2*i)
	}
	w := newWire(t, d)
	m := readMap(t, "channel_map: 1\ngateways:\n  plc: {kind: modbus tcp, address: \""+w.address+
		"\", unit_id: 1, registers: from 0, word_order: ABCD, poll: 5 ms}\nchannels:\n"+b.String())
	frames, _ := run(t, m, func(f []*reading.Frame) bool { return len(f) > 0 })
	if want := []string{"false 0+124", "false 124+16"}; !slices.Equal(d.requests()[:2], want) {
		t.Errorf("asked for %q, want %q", d.requests()[:2], want)
	}
	for i, r := range frames[0].Readings {
		if r.Value != float64(i) {
			t.Errorf("%s = %g, want %d", r.Channel, r.Value, i)
		}
	}
}

// A device that does not answer gives no readings, and is asked again.
func TestTimeout(t *testing.T) {
	silent, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer silent.Close()
	var mu sync.Mutex
	calls := 0
	go func() {
		for {
			if _, err := silent.Accept(); err != nil {
				return
			}
			mu.Lock()
			calls++
			mu.Unlock()
		}
	}()
	m := readMap(t, `
channel_map: 1
gateways:
  plc: {kind: modbus tcp, address: "`+silent.Addr().String()+`", unit_id: 1, registers: from 0, poll: 2 ms, timeout: 5 ms}
channels:
  W: {gateway: plc, kind: load cell, address: holding 1, type: int16, unit: N}
`)
	frames, said := run(t, m, func([]*reading.Frame) bool {
		mu.Lock()
		defer mu.Unlock()
		return calls >= 2
	})
	if len(frames) != 0 {
		t.Errorf("frames out of nothing: %+v", frames[0])
	}
	if !slices.Contains(said, "down plc: holding register 1: request timed out") {
		t.Errorf("the timeout is not told: %q", said)
	}
}

func TestDecode(t *testing.T) {
	for _, row := range readCSV(t, "testdata/values.csv") {
		var words []uint16
		for _, w := range strings.Fields(row[2]) {
			v, err := strconv.ParseUint(w, 16, 16)
			if err != nil {
				t.Fatal(err)
			}
			words = append(words, uint16(v))
		}
		want, err := strconv.ParseFloat(row[3], 64)
		if err != nil {
			t.Fatal(err)
		}
		if row[0] == "float32" {
			want = float64(float32(want))
		}
		got := modbus.Decode(intake.Register{Type: row[0], Order: row[1]}, words)
		if got != want && !(math.IsNaN(got) && math.IsNaN(want)) {
			t.Errorf("%s %s %s = %.17g, want %.17g", row[0], row[1], row[2], got, want)
		}
	}
}

// Whatever registers hold, whole numbers are finite, and floats are those of
// their bits, forwards and backwards.
func FuzzDecode(f *testing.F) {
	f.Add(uint64(0x47F1200000000000))
	f.Add(uint64(0x7FC0000000000000))
	f.Add(uint64(math.MaxUint64))
	f.Fuzz(func(t *testing.T, u uint64) {
		words := []uint16{uint16(u >> 48), uint16(u >> 32), uint16(u >> 16), uint16(u)}
		for _, typ := range []string{"int16", "uint16", "int32", "uint32", "int64", "uint64", "float32", "float64"} {
			r := intake.Register{Type: typ}
			for _, r.Order = range []string{"ABCD", "CDAB", "BADC", "DCBA"} {
				w := words[:r.Count()]
				v := modbus.Decode(r, w)
				if !strings.HasPrefix(typ, "float") && (math.IsNaN(v) || math.IsInf(v, 0)) {
					t.Fatalf("%s of %04X is %g", typ, w, v)
				}
			}
		}
		r := intake.Register{Type: "float64", Order: "ABCD"}
		want := math.Float64frombits(u)
		if got := modbus.Decode(r, words); got != want && !(math.IsNaN(got) && math.IsNaN(want)) {
			t.Fatalf("%016X is %g, want %g", u, got, want)
		}
		r.Order = "DCBA"
		if got, want := modbus.Decode(r, words), math.Float64frombits(bits.ReverseBytes64(u)); got != want && !(math.IsNaN(got) && math.IsNaN(want)) {
			t.Fatalf("%016X from its end is %g, want %g", u, got, want)
		}
	})
}
