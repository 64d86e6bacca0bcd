// Package intaketest is the suite that every wire format passes: what a
// gateway sends arrives once, with the right values and times, whatever noise,
// repetition and broken links lie between.
//
// A transport under test brings a Counterpart: the real thing it talks to (a
// server, a serial port, a client), made to send what the suite says.
package intaketest

import (
	"context"
	"errors"
	"fmt"
	"math"
	"slices"
	"sync"
	"testing"
	"time"

	"plumbhook/internal/intake"
	"plumbhook/reading"
)

// Sample is one measurement as a gateway takes it.
type Sample struct {
	Channel string // W or E
	Seq     uint64
	At      time.Time
	Newton  float64 // a whole number of tens below a million, so that every format can carry it
}

// Counterpart is the other end of the wire. Its channel map has a gateway with
// the load cells W and E, and nothing else.
type Counterpart interface {
	Map() *intake.Map
	// Run is the transport under test, until ctx ends.
	Run(ctx context.Context, sink intake.Sink, link intake.Link) error
	// Send sends samples, each once, as soon as the link allows. W and E come
	// in turn. A gateway that is told that its samples were not kept sends
	// them again.
	Send(t testing.TB, samples []Sample)
	// Garble sends something that cannot be read.
	Garble(t testing.TB)
	// Cut breaks the link; Restore mends it.
	Cut(t testing.TB)
	Restore(t testing.TB)
}

// A Repeater can send the samples of its last Send again.
type Repeater interface{ Repeat(t testing.TB) }

// A Stranger can send a value for an address that the map does not have, and
// says which.
type Stranger interface {
	Stray(t testing.TB) (address string)
}

// Kit is a transport and what it promises.
type Kit struct {
	New func(t *testing.T) Counterpart
	// Marks are those of its readings. Carried says that number and time are
	// the sender's own, so that they must arrive as sent.
	Marks   reading.Marks
	Carried bool
	// Acknowledged says that the sender learns whether its samples were kept.
	Acknowledged bool
	// Rel is the precision of the format, 0 for a float64.
	Rel float64
}

// patience bounds a wait for what has to happen; a pass never takes it.
const patience = 10 * time.Second

// Run holds a transport to the suite.
func Run(t *testing.T, k Kit) {
	for _, c := range []struct {
		name string
		test func(*testing.T, *bench)
	}{
		{"all arrive once", func(_ *testing.T, b *bench) {
			b.send(50)
		}},
		{"garbled in between", func(t *testing.T, b *bench) {
			b.send(5)
			b.wire.Garble(t)
			b.wait("the garbled input is counted", func() bool {
				return b.tally.Gateways()[0].Garbled > 0
			})
			b.send(5)
		}},
		{"link cut and mended", func(t *testing.T, b *bench) {
			b.send(5)
			b.wire.Cut(t)
			b.wire.Restore(t)
			b.send(5)
			b.wire.Cut(t)
			b.wire.Restore(t)
			b.send(5)
		}},
		{"sent twice", func(t *testing.T, b *bench) {
			r, ok := b.wire.(Repeater)
			if !ok {
				t.Skip("this format is polled or bare: nothing in it can be sent again")
			}
			b.send(10)
			r.Repeat(t)
			b.send(10)
			r.Repeat(t)
			r.Repeat(t)
		}},
		{"address of nobody", func(t *testing.T, b *bench) {
			s, ok := b.wire.(Stranger)
			if !ok {
				t.Skip("only what is mapped is ever asked for")
			}
			b.send(3)
			address := s.Stray(t)
			b.wait("the address is named", func() bool {
				return slices.ContainsFunc(b.wire.Map().Unmapped(), func(u intake.Unmapped) bool { return u.Address == address })
			})
			b.send(3)
		}},
		{"a sink that fails", func(t *testing.T, b *bench) {
			b.send(3)
			b.sink.fail(2)
			if k.Acknowledged {
				b.send(6)
				return
			}
			// The samples are gone, and that shows: the count of their channel
			// has a hole.
			unsaved := func() uint64 { return b.tally.Gateways()[0].Unsaved }
			for unsaved() < 2 {
				frames, failed := len(b.sink.all()), unsaved()
				b.wire.Send(t, b.make(1))
				b.wait("the sink is asked", func() bool { return unsaved() > failed || len(b.sink.all()) > frames })
			}
			b.send(3)
			missing := uint64(0)
			for _, c := range b.tally.Channels() {
				missing += c.Missing
			}
			if missing == 0 {
				t.Error("frames were lost and no channel misses any")
			}
		}},
	} {
		t.Run(c.name, func(t *testing.T) {
			b := start(t, k)
			c.test(t, b)
			b.check(t)
		})
	}
}

// bench is one transport running between its counterpart and a sink.
type bench struct {
	t     *testing.T
	kit   Kit
	wire  Counterpart
	sink  *sink
	tally *intake.Tally
	seq   uint64
	at    time.Time
	sent  []Sample // all that must arrive
}

func start(t *testing.T, k Kit) *bench {
	b := &bench{t: t, kit: k, wire: k.New(t), sink: &sink{}, at: time.Now().Add(-time.Minute).Truncate(time.Millisecond)}
	b.tally = intake.NewTally(b.wire.Map(), b.sink)
	ctx, cancel := context.WithCancel(context.Background())
	done := make(chan error, 1)
	go func() { done <- b.wire.Run(ctx, b.tally, b.tally) }()
	t.Cleanup(func() {
		cancel()
		select {
		case err := <-done:
			if err != nil {
				t.Errorf("the transport ended with %v", err)
			}
		case <-time.After(patience):
			t.Error("the transport does not end with its context")
		}
	})
	return b
}

// make makes n samples of each channel.
func (b *bench) make(n int) (out []Sample) {
	for range n {
		b.seq++
		b.at = b.at.Add(20 * time.Millisecond)
		for i, c := range []string{"W", "E"} {
			out = append(out, Sample{Channel: c, Seq: b.seq, At: b.at, Newton: float64(10 * (1000*int(b.seq%90) + 17 + i))})
		}
	}
	return out
}

// send sends n samples of each channel and waits until they are here.
func (b *bench) send(n int) {
	b.t.Helper()
	s := b.make(n)
	b.wire.Send(b.t, s)
	b.sent = append(b.sent, s...)
	want := map[string]float64{}
	for _, x := range s {
		want[x.Channel] = x.Newton
	}
	b.wait("the last samples are here", func() bool {
		last := b.sink.last()
		for c, v := range want {
			if !b.near(last[c], v) {
				return false
			}
		}
		return true
	})
}

func (b *bench) near(got, want float64) bool {
	return math.Abs(got-want) <= max(b.kit.Rel, 1e-12)*math.Abs(want)
}

func (b *bench) wait(what string, done func() bool) {
	b.t.Helper()
	for end := time.Now().Add(patience); !done(); time.Sleep(time.Millisecond) {
		if time.Now().After(end) {
			b.t.Fatalf("waited in vain: %s; gateways %+v", what, b.tally.Gateways())
		}
	}
}

// check holds what arrived against what was sent: each once and in order,
// duplicates told apart by their order.
func (b *bench) check(t *testing.T) {
	t.Helper()
	got := map[string][]reading.Reading{}
	orders := map[string]*reading.Order{}
	for _, f := range b.sink.all() {
		for _, r := range f.Readings {
			if orders[r.Channel] == nil {
				orders[r.Channel] = &reading.Order{}
			}
			if r.Marks != b.kit.Marks {
				t.Fatalf("a reading of %s has marks %b, want %b", r.Channel, r.Marks, b.kit.Marks)
			}
			if orders[r.Channel].Next(&r).Turn != reading.Duplicate {
				got[r.Channel] = append(got[r.Channel], r)
			}
			if !b.kit.Carried && r.At > f.Arrived {
				t.Errorf("a reading of %s was measured after it arrived", r.Channel)
			}
		}
	}
	want := map[string][]Sample{}
	for _, s := range b.sent {
		want[s.Channel] = append(want[s.Channel], s)
	}
	for c, ws := range want {
		// While a sink fails, some samples that nobody vouches for get through.
		gs := got[c]
		if !b.kit.Acknowledged && len(gs) > len(ws) && b.sink.failed() {
			gs = slices.DeleteFunc(gs, func(r reading.Reading) bool {
				return !slices.ContainsFunc(ws, func(s Sample) bool { return b.near(r.Value, s.Newton) })
			})
		}
		if len(gs) != len(ws) {
			t.Errorf("channel %s: %d readings, want %d", c, len(gs), len(ws))
			continue
		}
		for i, s := range ws {
			r := gs[i]
			if !b.near(r.Value, s.Newton) || r.Quality != reading.Good {
				t.Errorf("channel %s, reading %d: %g N (%s), want %g N", c, i, r.Value, r.Quality, s.Newton)
			}
			if b.kit.Carried && r.Marks&reading.Timed != 0 && r.At != reading.At(s.At) {
				t.Errorf("channel %s, reading %d: measured at %v, want %v", c, i, r.At.Time(), s.At.UTC())
			}
			if b.kit.Carried && r.Marks&reading.Numbered != 0 && r.Seq != s.Seq {
				t.Errorf("channel %s, reading %d: number %d, want %d", c, i, r.Seq, s.Seq)
			}
		}
	}
	for _, c := range b.tally.Channels() {
		if c.AtLeastOnce != (b.kit.Marks&(reading.Timed|reading.Numbered) == 0) {
			t.Errorf("channel %s is at least once: %v", c.Channel, c.AtLeastOnce)
		}
	}
}

// sink keeps frames in memory, and fails when told to.
type sink struct {
	mu     sync.Mutex
	frames []*reading.Frame
	values map[string]float64
	fails  int
	ever   bool
}

func (s *sink) Put(_ context.Context, f *reading.Frame) error {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.fails > 0 {
		s.fails--
		return errors.New("the disk is full")
	}
	if s.values == nil {
		s.values = map[string]float64{}
	}
	s.frames = append(s.frames, f)
	for _, r := range f.Readings {
		s.values[r.Channel] = r.Value
	}
	return nil
}

func (s *sink) fail(n int) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.fails, s.ever = n, true
}

func (s *sink) failed() bool {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.ever
}

func (s *sink) all() []*reading.Frame {
	s.mu.Lock()
	defer s.mu.Unlock()
	return slices.Clone(s.frames)
}

func (s *sink) last() map[string]float64 {
	s.mu.Lock()
	defer s.mu.Unlock()
	out := map[string]float64{}
	for c, v := range s.values {
		out[c] = v
	}
	return out
}

// Frames collects frames until ctx ends, for tests outside the suite.
type Frames struct{ sink }

// All are the frames so far.
func (f *Frames) All() []*reading.Frame { return f.all() }

// Fail makes the next n frames fail.
func (f *Frames) Fail(n int) { f.fail(n) }

// Link writes down what it hears.
type Link struct {
	mu   sync.Mutex
	said []string
}

// Up is part of intake.Link.
func (l *Link) Up(gateway string) { l.note("up " + gateway) }

// Down is part of intake.Link.
func (l *Link) Down(gateway string, why error) { l.note(fmt.Sprintf("down %s: %v", gateway, why)) }

// Refused is part of intake.Link.
func (l *Link) Refused(gateway, what string) { l.note(fmt.Sprintf("refused %s: %s", gateway, what)) }

func (l *Link) note(s string) {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.said = append(l.said, s)
}

// Said is what it heard so far.
func (l *Link) Said() []string {
	l.mu.Lock()
	defer l.mu.Unlock()
	return slices.Clone(l.said)
}
