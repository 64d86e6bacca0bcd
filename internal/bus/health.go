package bus

import (
	"context"
	"errors"
	"log/slog"
	"strings"
	"sync"
	"time"

	"github.com/nats-io/nats-server/v2/server"

	"plumbhook/reading"
)

// Health is how the bus does, for the screen.
type Health struct {
	// Unkept counts messages that have gone the live way and are not on disk,
	// since UnkeptSince: recordings of that time are incomplete. Messages that
	// reach the disk late are taken off again.
	Unkept      uint64
	UnkeptSince reading.Stamp
	// Stalled says that acknowledgements do not wait for the disk at present.
	Stalled bool
	// DiskDelay is the longest a message took lately to be on disk, seconds.
	DiskDelay float64
	// Broken is the write error that ended the storing of a stream, until the
	// bus is opened again.
	Broken string
	// Free is the space left for the data folder, bytes; -1 where not known.
	Free int64
	// First and Last are the sequences of the readings kept, Bytes their size.
	// Behind counts those that the slowest follower has not had.
	First, Last, Bytes, Behind uint64
	// Dropped counts messages that the live way had no room for.
	Dropped uint64
	// Denied counts publishes outside a gateway's own topics. MQTT acknowledges
	// them, and they are gone.
	Denied     uint64
	LastDenied string
	// Refused counts what else the listener would not have: a wrong password,
	// another protocol, a client id with a character it does not take.
	Refused     uint64
	LastRefused string
	// Gateways is in the order of Options or Admit; none of a server outside.
	Gateways []GatewayHealth
	// Trouble says why something above could not be found out.
	Trouble string
}

// GatewayHealth is how a gateway is connected.
type GatewayHealth struct {
	Name      string
	Connected bool
	Since     reading.Stamp // connected, or gone, since; 0: never seen
	Address   string        // host and port it connects from
	Messages  uint64        // of this connection
	Why       string        // it is gone, or was refused, in the engine's words
}

// said is what the engine said that is told nowhere else.
type said struct {
	mu                      sync.Mutex
	denied, refused         uint64
	lastDenied, lastRefused string
	broken, lastWord        string
}

func (s *said) note(text string, level slog.Level) {
	s.mu.Lock()
	defer s.mu.Unlock()
	switch {
	case strings.Contains(text, "Publish Violation"):
		s.denied++
		s.lastDenied = text
	case strings.Contains(text, "critical write error") && s.broken == "":
		s.broken = text
	case level >= slog.LevelError && strings.Contains(text, " - mid:") && !strings.Contains(text, "unable to connect"):
		s.refused++
		s.lastRefused = text
	}
}

// refuse notes what front would not pass on.
func (s *said) refuse(text string) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.refused++
	s.lastRefused = text
}

func (s *said) die(text string) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.lastWord = text
}

// fatal is why the engine gave up, nil as long as it has not.
func (s *said) fatal() error {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.lastWord == "" {
		return nil
	}
	return errors.New(s.lastWord)
}

// Health looks. On a disk that does not answer it takes a second.
func (b *Bus) Health(ctx context.Context) Health {
	h := Health{Free: Free(b.opt.Dir)}
	t := time.Now()
	d := &b.disk
	d.mu.Lock()
	h.Unkept, h.UnkeptSince, h.Stalled, h.DiskDelay = d.unkept, d.since, d.stalled, d.delay(t).Seconds()
	d.mu.Unlock()

	b.said.mu.Lock()
	h.Broken = b.said.broken
	h.Denied, h.LastDenied = b.said.denied, b.said.lastDenied
	h.Refused, h.LastRefused = b.said.refused, b.said.lastRefused
	b.said.mu.Unlock()

	for _, sub := range b.liveSubs {
		if n, err := sub.Dropped(); err == nil {
			h.Dropped += uint64(n)
		}
	}
	ctx, cancel := context.WithTimeout(ctx, time.Second)
	defer cancel()
	if s, err := b.js.Stream(ctx, string(Readings)); err != nil {
		h.Trouble = "the readings stream does not answer: " + err.Error()
	} else {
		i := s.CachedInfo().State
		h.First, h.Last, h.Bytes = i.FirstSeq, i.LastSeq, i.Bytes
		h.Behind = b.followers.behind(Readings, i.FirstSeq, i.LastSeq)
	}
	if b.server != nil {
		h.Gateways = b.gateways()
	}
	return h
}

// gateways puts together who is connected and who was: of closed connections
// the engine remembers the last thousand, and we what it has told before.
func (b *Bus) gateways() []GatewayHealth {
	b.admitted.mu.Lock()
	defer b.admitted.mu.Unlock()
	byName := b.admitted.seen
	look := func(state server.ConnState, see func(*GatewayHealth, *server.ConnInfo)) {
		c, err := b.server.Connz(&server.ConnzOptions{Username: true, State: state, Limit: maxConns})
		if err != nil {
			return
		}
		for _, i := range c.Conns {
			if g := byName[strings.TrimSuffix(i.AuthorizedUser, b.inside)]; g != nil && i.Type == "mqtt" {
				see(g, i)
			}
		}
	}
	for _, g := range byName {
		g.Connected = false
	}
	look(server.ConnClosed, func(g *GatewayHealth, i *server.ConnInfo) {
		if i.Stop != nil && reading.At(*i.Stop) >= g.Since {
			g.Messages, g.Since, g.Why = uint64(i.InMsgs), reading.At(*i.Stop), i.Reason
		}
	})
	look(server.ConnOpen, func(g *GatewayHealth, i *server.ConnInfo) {
		if !g.Connected || reading.At(i.Start) > g.Since {
			g.Messages, g.Connected, g.Since, g.Why = uint64(i.InMsgs), true, reading.At(i.Start), ""
		}
	})
	list := make([]GatewayHealth, 0, len(byName))
	for _, name := range b.admitted.names {
		list = append(list, *byName[name])
	}
	return list
}

const maxConns = 4096

// admitted are the gateways that may connect, and what was seen of them.
type admitted struct {
	mu    sync.Mutex
	names []string
	seen  map[string]*GatewayHealth
}

func (a *admitted) set(gateways []Gateway) {
	a.mu.Lock()
	defer a.mu.Unlock()
	old := a.seen
	a.names, a.seen = nil, map[string]*GatewayHealth{}
	for _, g := range gateways {
		a.names = append(a.names, g.Name)
		if a.seen[g.Name] = old[g.Name]; a.seen[g.Name] == nil {
			a.seen[g.Name] = &GatewayHealth{Name: g.Name}
		}
	}
}

// from notes where a gateway connects from.
func (a *admitted) from(gateway, address string) {
	a.mu.Lock()
	defer a.mu.Unlock()
	if g := a.seen[gateway]; g != nil {
		g.Address = address
	}
}
