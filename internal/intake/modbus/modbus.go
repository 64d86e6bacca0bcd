// Package modbus polls the registers of Modbus TCP and RTU devices.
//
// A register that cannot be read gives no reading: an exception or a timeout
// is counted and its channel goes silent. A register that holds a not a number
// gives a bad reading. Nothing becomes zero.
package modbus

import (
	"context"
	"errors"
	"fmt"
	"io"
	"log"
	"math"
	"slices"
	"time"

	"github.com/simonvetter/modbus"

	"plumbhook/internal/intake"
	"plumbhook/reading"
)

const (
	// mostRegisters is how many one request may ask for (Modbus Application
	// Protocol V1.1b3, 6.3).
	mostRegisters = 125

	firstWait = 250 * time.Millisecond
	mostWait  = 10 * time.Second
)

// item is one value to be read. part tells a channel's value from the health
// of its radio and battery.
type item struct {
	wire    *intake.Wire
	channel *intake.Channel
	set     func(*reading.Health, float64) // nil for the value
	seq     uint64
}

// group is a row of registers read in one request.
type group struct {
	input bool
	first uint16
	count int
	items []*item
}

func (g *group) String() string {
	table := "holding"
	if g.input {
		table = "input"
	}
	if g.count == 1 {
		return fmt.Sprintf("%s register %d", table, g.first)
	}
	return fmt.Sprintf("%s registers %d to %d", table, g.first, int(g.first)+g.count-1)
}

// plan puts registers that follow each other into one request. Registers that
// nobody asked for are never read: a device may refuse a whole request for one
// that it does not have.
func plan(channels []*intake.Channel) (groups []*group) {
	var items []*item
	for _, c := range channels {
		items = append(items, &item{wire: &c.Wire, channel: c})
		if c.Radio != nil {
			items = append(items, &item{wire: c.Radio, channel: c, set: func(h *reading.Health, v float64) { h.Signal = v }})
		}
		if c.Battery != nil {
			items = append(items, &item{wire: c.Battery, channel: c, set: func(h *reading.Health, v float64) { h.Battery = v }})
		}
	}
	slices.SortStableFunc(items, func(a, b *item) int {
		if a.wire.Register.Input != b.wire.Register.Input {
			if b.wire.Register.Input {
				return -1
			}
			return 1
		}
		return int(a.wire.Register.First) - int(b.wire.Register.First)
	})
	for _, it := range items {
		r := it.wire.Register
		if n := len(groups); n > 0 {
			g := groups[n-1]
			end := int(r.First) + r.Count() - int(g.first)
			if g.input == r.Input && int(r.First) <= int(g.first)+g.count && end <= mostRegisters {
				g.count = max(g.count, end)
				g.items = append(g.items, it)
				continue
			}
		}
		groups = append(groups, &group{input: r.Input, first: r.First, count: r.Count(), items: []*item{it}})
	}
	return groups
}

// Run polls a gateway until ctx ends, and connects again whenever the link is
// lost. Readings carry this machine's time of the answer, and a count of their
// own, so that one the sink did not keep shows as missing.
func Run(ctx context.Context, g *intake.Gateway, m *intake.Map, sink intake.Sink, link intake.Link) error {
	client, err := newClient(g)
	if err != nil {
		return err
	}
	p := &poller{gateway: g, client: client, groups: plan(m.Of(g.Name)), sink: sink, link: link}
	wait := firstWait
	for ctx.Err() == nil {
		err := client.Open()
		if err == nil {
			link.Up(g.Name)
			var answered bool
			answered, err = p.poll(ctx)
			_ = client.Close()
			if answered {
				wait = firstWait
			}
		}
		if ctx.Err() != nil {
			break
		}
		link.Down(g.Name, err)
		// At least a timeout passes before the next question: on a serial line
		// the answer to the last one may still be on its way, and nothing in
		// it says which question it answers.
		if !sleep(ctx, max(wait, g.Timeout)) {
			break
		}
		wait = min(2*wait, mostWait)
	}
	link.Down(g.Name, nil)
	return nil
}

func newClient(g *intake.Gateway) (*modbus.ModbusClient, error) {
	c := &modbus.ClientConfiguration{
		URL: "tcp://" + g.Address, Timeout: g.Timeout,
		Logger: log.New(io.Discard, "", 0), // what goes wrong is told through the Link
	}
	if g.Kind == intake.ModbusRTU {
		c.URL = "rtu://" + g.Address
		c.Speed, c.DataBits, c.StopBits = uint(g.Port.Baud), uint(g.Port.DataBits), uint(g.Port.StopBits)
		c.Parity = map[byte]uint{'N': modbus.PARITY_NONE, 'E': modbus.PARITY_EVEN, 'O': modbus.PARITY_ODD}[g.Port.Parity]
	}
	client, err := modbus.NewClient(c)
	if err != nil {
		return nil, fmt.Errorf("gateway %s: %w", g.Name, err)
	}
	if err := client.SetUnitId(g.Unit); err != nil {
		return nil, fmt.Errorf("gateway %s: %w", g.Name, err)
	}
	return client, client.SetEncoding(modbus.BIG_ENDIAN, modbus.HIGH_WORD_FIRST)
}

func sleep(ctx context.Context, d time.Duration) bool {
	t := time.NewTimer(d)
	defer t.Stop()
	select {
	case <-ctx.Done():
		return false
	case <-t.C:
		return true
	}
}

type poller struct {
	gateway *intake.Gateway
	client  *modbus.ModbusClient
	groups  []*group
	sink    intake.Sink
	link    intake.Link
}

// exceptions are answers of a device that is there and refuses.
var exceptions = []error{
	modbus.ErrIllegalFunction, modbus.ErrIllegalDataAddress, modbus.ErrIllegalDataValue, modbus.ErrServerDeviceFailure,
	modbus.ErrAcknowledge, modbus.ErrServerDeviceBusy, modbus.ErrMemoryParityError, modbus.ErrGWPathUnavailable,
	modbus.ErrGWTargetFailedToRespond,
}

// garbled are answers that are none, after which the link is opened anew.
var garbled = []error{
	modbus.ErrBadCRC, modbus.ErrShortFrame, modbus.ErrProtocolError, modbus.ErrBadUnitId,
	modbus.ErrBadTransactionId, modbus.ErrUnknownProtocolId,
}

// poll asks for all groups again and again, until the link fails or ctx ends.
func (p *poller) poll(ctx context.Context) (answered bool, err error) {
	tick := time.NewTicker(p.gateway.Poll)
	defer tick.Stop()
	for {
		f := &reading.Frame{Source: p.gateway.Name}
		for _, g := range p.groups {
			kind := modbus.HOLDING_REGISTER
			if g.input {
				kind = modbus.INPUT_REGISTER
			}
			words, readErr := p.client.ReadRegisters(g.first, uint16(g.count), kind)
			switch {
			case readErr == nil:
				answered = true
				f.Arrived = reading.At(time.Now())
				g.into(f, words)
			case slices.ContainsFunc(exceptions, func(e error) bool { return errors.Is(readErr, e) }):
				answered = true
				p.link.Refused(p.gateway.Name, fmt.Sprintf("%s: %v", g, readErr))
			default:
				err = fmt.Errorf("%s: %w", g, readErr)
				if slices.ContainsFunc(garbled, func(e error) bool { return errors.Is(readErr, e) }) {
					f.Arrived = reading.At(time.Now())
					intake.Garble(f, err.Error(), "")
				}
			}
			if err != nil || ctx.Err() != nil {
				break
			}
		}
		if len(f.Readings)+len(f.Health)+len(f.Garbled) > 0 {
			// A value is not to be had a second time: a sink that fails has
			// lost it, which is the tally's to count and the count's to show.
			_ = p.sink.Put(ctx, f)
		}
		if err != nil {
			return answered, err
		}
		select {
		case <-ctx.Done():
			return answered, nil
		case <-tick.C:
		}
	}
}

// into puts what the registers of the group hold into a frame.
func (g *group) into(f *reading.Frame, words []uint16) {
	for _, it := range g.items {
		r := it.wire.Register
		from := int(r.First) - int(g.first)
		raw := Decode(r, words[from:from+r.Count()])
		v, err := it.wire.SI(raw)
		if it.set != nil {
			if err == nil {
				h := reading.Health{Channel: it.channel.Name, Signal: math.NaN(), Battery: math.NaN()}
				it.set(&h, v)
				f.Health = append(f.Health, h)
			}
			continue
		}
		it.seq++
		q := reading.Good
		if err != nil {
			q = reading.Bad
		}
		f.Readings = append(f.Readings, reading.Reading{
			Channel: it.channel.Name, At: f.Arrived, Seq: it.seq, Value: v, Quality: q, Marks: reading.Timed | reading.Numbered,
		})
	}
}
