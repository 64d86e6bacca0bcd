// Package serial listens to weighing indicators and the like that send lines
// of text over a serial port.
package serial

import (
	"context"
	"errors"
	"fmt"
	"io"
	"time"

	"go.bug.st/serial"

	"plumbhook/fault"
	"plumbhook/internal/intake"
	"plumbhook/internal/intake/line"
	"plumbhook/reading"
)

const (
	firstWait = 250 * time.Millisecond
	mostWait  = 10 * time.Second
	// readWait is how long a read waits for bytes before it looks whether it
	// is still wanted.
	readWait = 100 * time.Millisecond
)

// Run listens to a gateway until ctx ends, and opens the port again whenever
// it is lost, as when a plug is pulled. Readings carry this machine's time of
// the end of their line, and a count of their own, so that one the sink did
// not keep shows as missing.
func Run(ctx context.Context, g *intake.Gateway, m *intake.Map, sink intake.Sink, link intake.Link) error {
	l := &listener{gateway: g, m: m, sink: sink, seq: map[string]uint64{}}
	wait := firstWait
	for ctx.Err() == nil {
		port, err := serial.Open(g.Address, mode(g.Port))
		if err == nil {
			link.Up(g.Name)
			var heard bool
			heard, err = l.listen(ctx, port)
			_ = port.Close()
			if heard {
				wait = firstWait
			}
		}
		if ctx.Err() != nil {
			break
		}
		link.Down(g.Name, err)
		select {
		case <-ctx.Done():
		case <-time.After(wait):
		}
		wait = min(2*wait, mostWait)
	}
	link.Down(g.Name, nil)
	return nil
}

func mode(p intake.Port) *serial.Mode {
	m := &serial.Mode{BaudRate: p.Baud, DataBits: p.DataBits, StopBits: serial.OneStopBit}
	m.Parity = map[byte]serial.Parity{'N': serial.NoParity, 'E': serial.EvenParity, 'O': serial.OddParity}[p.Parity]
	if p.StopBits == 2 {
		m.StopBits = serial.TwoStopBits
	}
	return m
}

type port interface {
	io.Reader
	SetReadTimeout(time.Duration) error
}

type listener struct {
	gateway *intake.Gateway
	m       *intake.Map
	sink    intake.Sink
	seq     map[string]uint64
}

// listen reads a port until it fails or ctx ends.
func (l *listener) listen(ctx context.Context, p port) (heard bool, err error) {
	if err := p.SetReadTimeout(readWait); err != nil {
		return false, err
	}
	split := line.Splitter{Ending: l.gateway.Ending}
	var buf [1024]byte
	for ctx.Err() == nil {
		began := time.Now()
		n, err := p.Read(buf[:])
		if err != nil {
			return heard, err
		}
		if n == 0 {
			// Nothing at once, instead of after the wait, is how a port reads
			// whose other end is gone.
			if time.Since(began) < readWait/2 {
				return heard, errors.New("the port was closed at the other end")
			}
			continue
		}
		heard = true
		f := &reading.Frame{Source: l.gateway.Name, Arrived: reading.At(time.Now())}
		split.Feed(buf[:n],
			func(s string) { l.line(f, s) },
			func(s string) { intake.Garble(f, "no whole line", s) })
		if len(f.Readings)+len(f.Garbled) > 0 {
			// What was sent is not to be had a second time: a sink that fails
			// has lost it, which is the tally's to count.
			_ = l.sink.Put(ctx, f)
		}
	}
	return heard, nil
}

// line puts what a line says into a frame.
func (l *listener) line(f *reading.Frame, s string) {
	it, err := l.gateway.Pattern.Read(s)
	if err != nil {
		intake.Garble(f, what(err), s)
		return
	}
	address := it.Channel
	if address == "" {
		address = "value"
	}
	unit := it.Unit
	if known, ok := l.gateway.Units[unit]; ok {
		unit = known
	}
	lookup := func() (string, func(float64) (float64, error), bool) {
		if unit == "" {
			return l.m.Lookup(l.gateway.Name, address)
		}
		return l.m.LookupIn(l.gateway.Name, address, unit)
	}
	channel, toSI, ok := lookup()
	if !ok {
		return // the map has counted it
	}
	r := reading.Reading{Channel: channel, At: f.Arrived, Marks: reading.Timed | reading.Numbered, Value: it.Value}
	if it.Unsteady {
		r.Marks |= reading.Unsteady
	}
	if it.Bad {
		r.Quality = reading.Bad
	} else if r.Value, err = toSI(it.Value); err != nil {
		intake.Garble(f, what(err), s)
		return
	}
	l.seq[channel]++
	r.Seq = l.seq[channel]
	f.Readings = append(f.Readings, r)
}

// what says in a few words what is wrong with a line.
func what(err error) string {
	if f := fault.Of(err); len(f) > 0 {
		return f[0].What
	}
	return fmt.Sprint(err)
}
