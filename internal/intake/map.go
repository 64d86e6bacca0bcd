package intake

import (
	"fmt"
	"io/fs"
	"path"
	"strings"
	"sync"
	"time"

	"plumbhook/fault"
	"plumbhook/internal/intake/line"
	"plumbhook/keyed"
	"plumbhook/reading"
)

// The kinds of gateway.
const (
	MQTT      = "mqtt"
	ModbusTCP = "modbus tcp"
	ModbusRTU = "modbus rtu"
	Serial    = "serial"
	HTTP      = "http"
)

// The kinds of channel, in the words of the lift file.
const (
	LoadCell   = "load cell"
	HookHeight = "hook height"
	Tilt       = "tilt"
	WindSpeed  = "wind speed"
	CraneTotal = "crane total"
)

// Map ties wire addresses to channels. It is safe for use by several
// goroutines; what it points at is not to be changed.
type Map struct {
	File     string
	gateways []*Gateway
	channels []*Channel
	wires    map[wireKey]target

	mu      sync.Mutex
	unknown map[wireKey]uint64
	named   map[string]int    // how many of unknown a gateway has
	more    map[string]uint64 // of gateways that sent too many unknown addresses
}

type wireKey struct{ gateway, address string }

// target is what an address leads to: a channel's value, or how its radio or
// battery does. A nil channel is an address to be passed over.
type target struct {
	channel *Channel
	part    part
}

type part int

const (
	value part = iota
	radio
	battery
)

// Gateway is a sender with its own clock and its own way of talking.
type Gateway struct {
	Name     string
	Kind     string
	Address  string  // host:port of a Modbus server, or the name of a serial port
	Password *Secret // of mqtt and http
	Ignore   []string

	Port Port // of modbus rtu and serial

	Unit      uint8         // of Modbus
	Poll      time.Duration // of Modbus: from one reading to the next
	Timeout   time.Duration // of Modbus: how long to wait for an answer
	Registers string        // of Modbus: ZeroBased, OneBased or Prefixed
	order     string        // of Modbus: of the bytes, where a channel does not say

	Pattern *line.Pattern     // of serial
	Ending  line.Ending       // of serial
	Units   map[string]string // of serial: what the indicator calls a unit that goes by another name

	Pos fault.Pos
}

// Port is how characters go over a serial line.
type Port struct {
	Baud, DataBits, StopBits int
	Parity                   byte // 'N', 'E' or 'O'
}

// How the numbers of registers are to be read. Modbus counts them from 0 on
// the wire. Many manuals count from 1. Old ones put the kind of register in
// front: 40001 is the first holding register, 30001 the first input register.
const (
	ZeroBased = "from 0"
	OneBased  = "from 1"
	Prefixed  = "prefixed"
)

// Register is where a value stands in a Modbus server.
type Register struct {
	Input bool   // an input register; else a holding register
	First uint16 // as on the wire, counted from 0
	Type  string // int16, uint16, int32, uint32, int64, uint64, float32, float64
	// Order is that of the bytes of a value of 32 bits, named after those of
	// 0xAABBCCDD: ABCD, CDAB, BADC or DCBA. Values of 64 bits go by the same
	// two habits: words, or bytes in a word, turned round.
	Order string
}

// Count is how many registers the value takes.
func (r Register) Count() int {
	switch {
	case strings.HasSuffix(r.Type, "64"):
		return 4
	case strings.HasSuffix(r.Type, "32"):
		return 2
	}
	return 1
}

// Wire is one value of a gateway. What it means in SI units is
// (raw * Scale + Offset) in Unit.
type Wire struct {
	Address       string
	Unit          string // empty where each value brings its own
	Scale, Offset float64
	Register      Register // of Modbus

	factor float64 // SI units in one Unit
}

// Channel is one stream of readings.
type Channel struct {
	Name    string
	Gateway string
	Kind    string
	Wire
	// Signal is mV/V or counts where the wire carries what the cell itself
	// gives; Calibration then leads to force, and readings stay in this unit.
	Signal      string
	Calibration *Calibration
	Serial      string // of the cell
	Leg         string
	Radio       *Wire // in dBm
	Battery     *Wire // share of full

	Rate       float64 // readings per second expected; 0: not known
	Bandwidth  float64 // Hz, of the cell and its electronics; 0: not known
	Resolution float64 // smallest step, SI, or in the unit of the signal; 0: not known
	Pos        fault.Pos
}

// Calibration is what a certificate says of a cell: points, or the
// coefficients of a polynomial in the signal.
type Calibration struct {
	File         string
	Serial       string
	Signal       string
	Points       []CalibrationPoint
	Coefficients []float64 // N per power of the signal, that of power 0 first
}

// CalibrationPoint is one line of a certificate.
type CalibrationPoint struct {
	Signal float64
	Force  float64 // N
}

// Gateways are all gateways, in the order of the file.
func (m *Map) Gateways() []*Gateway { return m.gateways }

// Gateway is the gateway of a name, nil if there is none.
func (m *Map) Gateway(name string) *Gateway {
	for _, g := range m.gateways {
		if g.Name == name {
			return g
		}
	}
	return nil
}

// Channels are all channels, in the order of the file.
func (m *Map) Channels() []*Channel { return m.channels }

// Of are the channels of one gateway.
func (m *Map) Of(gateway string) (out []*Channel) {
	for _, c := range m.channels {
		if c.Gateway == gateway {
			out = append(out, c)
		}
	}
	return out
}

// Lookup gives the channel that a gateway's address is, and what turns its
// value into that of a reading: SI units, or the unit of the signal of a
// channel with a calibration. It is not ok for addresses of radio and battery
// and for those that are mapped to nothing; the latter are counted.
func (m *Map) Lookup(gateway, address string) (channel string, toSI func(float64) (float64, error), ok bool) {
	t := m.find(gateway, address)
	if t.channel == nil || t.part != value {
		return "", nil, false
	}
	return t.channel.Name, t.channel.SI, true
}

// LookupIn is Lookup for a value that brings its own unit. That unit has to
// agree with the channel's, should it have one.
func (m *Map) LookupIn(gateway, address, unit string) (channel string, toSI func(float64) (float64, error), ok bool) {
	t := m.find(gateway, address)
	if t.channel == nil || t.part != value {
		return "", nil, false
	}
	return t.channel.Name, func(raw float64) (float64, error) { return t.channel.SIIn(raw, unit) }, true
}

// LookupHealth gives the channel whose radio or battery an address tells of,
// and what puts its value into a Health of that channel. A unit that the value
// brings along has to be that of the map; an empty one was not brought.
func (m *Map) LookupHealth(gateway, address, unit string) (channel string, set func(*reading.Health, float64) error, ok bool) {
	t, known := m.wires[wireKey{gateway, address}]
	if !known || t.channel == nil || t.part == value {
		return "", nil, false
	}
	return t.channel.Name, func(h *reading.Health, raw float64) error {
		wire, field := t.channel.Radio, &h.Signal
		if t.part == battery {
			wire, field = t.channel.Battery, &h.Battery
		}
		if unit != "" && unit != wire.Unit {
			return fault.New(fault.Disagree, "a value in %s, where the channel map says %s", keyed.Quote(unit), wire.Unit)
		}
		v, err := wire.SI(raw)
		if err == nil && t.part == battery && (v < 0 || v > 1) {
			err = fault.New(fault.Range, "a battery at %g of full", v)
		}
		if err == nil {
			*field = v
		}
		return err
	}, true
}

// mostUnknown is how many unknown addresses of a gateway are kept by name.
const mostUnknown = 100

func (m *Map) find(gateway, address string) target {
	key := wireKey{gateway, address}
	t, ok := m.wires[key]
	if ok {
		return t
	}
	m.mu.Lock()
	defer m.mu.Unlock()
	if _, seen := m.unknown[key]; !seen {
		if m.named[gateway] >= mostUnknown || len(m.unknown) >= 10*mostUnknown {
			if len(m.more) < mostUnknown || m.more[gateway] > 0 {
				m.more[gateway]++
			}
			return target{}
		}
		m.named[gateway]++
	}
	m.unknown[key]++
	return target{}
}

// Unmapped is an address that a gateway sends and that is mapped to nothing.
type Unmapped struct {
	Gateway, Address string // Address is empty for all that came after the first hundred
	Count            uint64
}

// String says it as a person wants to read it.
func (u Unmapped) String() string {
	if u.Address == "" {
		return fmt.Sprintf("gateway %s sends still more that is mapped to no channel (%d values)", Printable(u.Gateway), u.Count)
	}
	return fmt.Sprintf("gateway %s sends %s, which is mapped to no channel (%d values)", Printable(u.Gateway), Printable(u.Address), u.Count)
}

// Unmapped lists what came and is mapped to nothing, by gateway and address.
func (m *Map) Unmapped() (out []Unmapped) {
	m.mu.Lock()
	defer m.mu.Unlock()
	for k, n := range m.unknown {
		out = append(out, Unmapped{k.gateway, k.address, n})
	}
	for g, n := range m.more {
		out = append(out, Unmapped{Gateway: g, Count: n})
	}
	sortUnmapped(out)
	return out
}

// Secret says where a password is to be found. It never holds the password.
type Secret struct {
	File string // in the folder of the map
	Env  string // name of an environment variable
	Pos  fault.Pos
}

// minSecret is the shortest password that is accepted, in bytes.
const minSecret = 8

// Reveal fetches the password. files is the folder of the channel map. The
// error names the place, never the password.
func (s *Secret) Reveal(files fs.FS, getenv func(string) string) (string, error) {
	text, from := "", "the environment variable "+s.Env
	if s.Env != "" {
		text = getenv(s.Env)
	} else {
		from = "the file " + s.File
		if files == nil {
			return "", fault.New(fault.Path, "there is no folder to look for %s in", s.File).At(s.Pos)
		}
		data, err := fs.ReadFile(files, s.File)
		if err != nil {
			return "", fault.New(fault.Path, "%s cannot be read", from).At(s.Pos).Because(err).
				Fix("put the password there, readable by this program only")
		}
		text = strings.TrimRight(string(data), "\r\n")
	}
	switch {
	case text == "":
		return "", fault.New(fault.Missing, "%s holds no password", from).At(s.Pos).Fix("put the password there")
	case len(text) < minSecret:
		return "", fault.New(fault.Range, "the password in %s is shorter than %d characters", from, minSecret).At(s.Pos).
			Fix("take a longer one")
	}
	return text, nil
}

// insidePath refuses names of files that leave their folder.
func insidePath(name string) (string, *fault.Fault) {
	clean := path.Clean(name)
	if strings.ContainsAny(name, `\:`) || !fs.ValidPath(clean) || clean == "." {
		return "", fault.New(fault.Path, "%s is no file in the folder of the channel map", keyed.Quote(name)).
			Fix("put the file beside the map, and name it from there, with / between folders")
	}
	return clean, nil
}

// Passwords fetches the passwords of all gateways of a kind, by name. The
// error is a fault.List of all that cannot be had, or that two gateways share:
// a password is what tells them apart.
func (m *Map) Passwords(kind string, files fs.FS, getenv func(string) string) (map[string]string, error) {
	var faults fault.List
	out, owner := map[string]string{}, map[string]string{}
	for _, g := range m.gateways {
		if g.Kind != kind || g.Password == nil {
			continue
		}
		p, err := g.Password.Reveal(files, getenv)
		if err != nil {
			for _, f := range fault.Of(err) {
				faults = append(faults, f.In("gateways."+g.Name+".password"))
			}
			continue
		}
		if other, taken := owner[p]; taken {
			faults = append(faults, fault.New(fault.Duplicate, "gateways %s and %s have the same password", other, g.Name).
				In("gateways."+g.Name+".password").At(g.Password.Pos).Fix("give each its own"))
		}
		out[g.Name], owner[p] = p, g.Name
	}
	return out, faults.Err()
}
