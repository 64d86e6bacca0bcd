package station

import (
	"context"
	"crypto/tls"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"log/slog"
	"net/http"
	"sync"
	"time"

	"golang.org/x/crypto/bcrypt"

	"plumbhook/fault"
	"plumbhook/internal/bus"
	"plumbhook/internal/intake"
	"plumbhook/internal/intake/modbus"
	"plumbhook/internal/intake/mqtt"
	"plumbhook/internal/intake/post"
	"plumbhook/internal/intake/serial"
	"plumbhook/internal/server"
	"plumbhook/logbook"
	"plumbhook/reading"
)

// Gateways are what brings readings to a station.
type Gateways struct {
	Map    *intake.Map
	Files  fs.FS // folder of the map, for passwords; nil without
	Getenv func(string) string
	Dir    string        // data folder; the message server keeps its streams below it
	MQTT   string        // address to listen on for MQTT; 127.0.0.1:1883 when empty
	TLS    *tls.Config   // of the MQTT listener; nil: none
	Extern *bus.External // a message server outside, instead of our own
	Log    *slog.Logger
}

// Site is the gateways of a station at work.
type Site struct {
	station *Station
	bus     *bus.Bus
	names   *intake.Map
	tally   *intake.Tally
	handler http.Handler
	log     *slog.Logger
	cancel  context.CancelFunc
	done    sync.WaitGroup

	mu      sync.Mutex
	decoder *mqtt.Decoder
}

// placeEvery is how often it is noted how far the recording has got in the
// stream of readings: so much may have to be looked through again after a
// crash. It is noted again while nothing comes, so that the last placeWithin of a
// recording always has it.
const (
	placeEvery  = time.Second
	placeAgain  = 10.0 // s
	placeWithin = 60.0 // s
	placeMark   = "place"
)

// Connect lets the gateways of a map in.
func (s *Station) Connect(ctx context.Context, g Gateways) (*Site, error) {
	x := &Site{station: s, names: g.Map, log: g.Log, decoder: mqtt.New(g.Map)}
	if x.log == nil {
		x.log = slog.New(slog.DiscardHandler)
	}
	x.tally = intake.NewTally(g.Map, intake.SinkFunc(s.Put))
	secrets, err := g.Map.Passwords(intake.MQTT, g.Files, g.Getenv)
	if err != nil {
		return nil, err
	}
	var users []bus.Gateway
	for name, password := range secrets {
		hash, err := bcrypt.GenerateFromPassword([]byte(password), bcrypt.DefaultCost)
		if err != nil {
			return nil, fault.New(fault.Range, "the password of gateway %s cannot be used", name).Because(err)
		}
		users = append(users, bus.Gateway{Name: name, Password: string(hash)})
	}
	posts, err := g.Map.Passwords(intake.HTTP, g.Files, g.Getenv)
	if err != nil {
		return nil, err
	}
	x.handler = post.Handler(g.Map, posts, x.tally, x.tally)
	if x.bus, err = bus.Open(ctx, bus.Options{Dir: g.Dir, Listen: g.MQTT, TLS: g.TLS, Gateways: users, External: g.Extern, Readings: retention(s.keep), Events: retention(s.keep), Live: x.live, Log: g.Log}); err != nil {
		return nil, err
	}
	run, cancel := context.WithCancel(context.Background())
	x.cancel = cancel
	if err := x.backlog(run, g.Map); err != nil {
		x.Close()
		return nil, err
	}
	s.mu.Lock()
	s.site = x
	s.mu.Unlock()
	x.done.Go(func() { x.keep(run) })
	for _, gw := range g.Map.Gateways() {
		switch gw.Kind {
		case intake.ModbusTCP, intake.ModbusRTU:
			x.done.Go(func() { x.ended(gw.Name, modbus.Run(run, gw, g.Map, x.tally, x.tally)) })
		case intake.Serial:
			x.done.Go(func() { x.ended(gw.Name, serial.Run(run, gw, g.Map, x.tally, x.tally)) })
		}
	}
	return x, nil
}

// ended notes that a gateway's poller gave up.
func (x *Site) ended(name string, err error) {
	if err != nil && !errors.Is(err, context.Canceled) {
		x.log.Error("a gateway is given up", "gateway", name, "why", err)
		x.tally.Down(name, err)
	}
}

// Address is where MQTT is listened on.
func (x *Site) Address() string { return x.bus.Address() }

// Readings takes batches over HTTP.
func (x *Site) Readings() http.Handler { return x.handler }

// Close sends the gateways away.
func (x *Site) Close() error {
	x.cancel()
	x.done.Wait()
	return x.bus.Close()
}

// live takes a message off the socket. It waits for nothing.
func (x *Site) live(m bus.Message) {
	x.mu.Lock()
	f, commands := x.decoder.Decode(m.Gateway, m.Topic, m.Payload, m.Arrived)
	x.mu.Unlock()
	x.command(commands)
	if len(f.Readings)+len(f.Health)+len(f.Garbled) == 0 {
		return
	}
	x.station.Live(&f)
	x.tally.Note(&f)
}

func (x *Site) command(commands []mqtt.Command) {
	for _, c := range commands {
		if err := x.bus.Command(c.Topic, c.Payload); err != nil {
			x.log.Warn("a gateway could not be asked", "topic", c.Topic, "why", err)
		}
	}
}

// backlog enters what was stored and not recorded before we were last stopped.
// What comes from now on goes the live way first.
func (x *Site) backlog(ctx context.Context, names *intake.Map) error {
	h := x.bus.Health(ctx)
	from, orders := x.station.recorded()
	if from.Born != x.bus.Born(bus.Readings) {
		from = bus.Place{}
	}
	if h.Last == 0 || from.Sequence >= h.Last {
		return nil
	}
	d := mqtt.New(names)
	sub, stop := context.WithCancel(ctx)
	defer stop()
	err := x.bus.Follow(sub, bus.Readings, from, func(m bus.Message) {
		if m.Sequence <= h.Last {
			f, _ := d.Decode(m.Gateway, m.Topic, m.Payload, m.Arrived)
			x.station.late(&f, orders)
		}
		if m.Sequence >= h.Last {
			stop()
		}
	})
	if sub.Err() != nil {
		err = nil
	}
	return err
}

// keep notes the place and asks what Sparkplug nodes still owe.
func (x *Site) keep(ctx context.Context) {
	t := time.NewTicker(placeEvery)
	defer t.Stop()
	var last uint64
	var noted reading.Stamp
	for {
		select {
		case <-ctx.Done():
			return
		case <-t.C:
		}
		x.mu.Lock()
		commands := x.decoder.Tick(reading.At(time.Now()))
		x.mu.Unlock()
		x.command(commands)
		h := x.bus.Health(ctx)
		x.station.busRisk(h)
		// What is stored up to here went the live way before, so it waits for
		// the recording's disk by now.
		at := x.station.now()
		if h.Last == 0 || h.Last == last && reading.At(at).Since(noted) < placeAgain {
			continue
		}
		// A disk that hangs must not keep the next look from being taken.
		soon, cancel := context.WithTimeout(ctx, placeEvery)
		err := x.station.rec.Sync(soon)
		cancel()
		if err != nil {
			continue
		}
		last, noted = h.Last, reading.At(at)
		x.station.mark(placeMark, bus.Place{Born: x.bus.Born(bus.Readings), Sequence: last})
	}
}

// status tells how message server and gateways do.
func (x *Site) status() server.Status {
	ctx, cancel := context.WithTimeout(context.Background(), time.Second)
	defer cancel()
	h := x.bus.Health(ctx)
	b := server.Part{Name: "message server", State: server.OK, Text: fmt.Sprintf("listens on %s, %d messages kept", x.bus.Address(), h.Last)}
	switch {
	case h.Broken != "":
		b.State, b.Text = server.Down, h.Broken
	case h.Unkept > 0:
		b.State, b.Text = server.AtRisk, fmt.Sprintf("%d messages are not on disk", h.Unkept)
	case h.Denied > 0:
		b.State, b.Text = server.AtRisk, fmt.Sprintf("%d messages outside a gateway's own topics were dropped, the last: %s", h.Denied, h.LastDenied)
	case h.Refused > 0:
		b.Text += fmt.Sprintf("; refused %d, the last: %s", h.Refused, h.LastRefused)
	}
	out := server.Status{b}
	up := map[string]bool{}
	for _, g := range h.Gateways {
		up[g.Name] = g.Connected
	}
	for _, g := range x.tally.Gateways() {
		p := server.Part{Name: g.Gateway, State: server.OK, Text: fmt.Sprintf("%d readings in %d frames, %d garbled", g.Readings, g.Frames, g.Garbled)}
		connected, mqtt := up[g.Gateway]
		switch {
		case mqtt && !connected, !mqtt && !g.Up && g.Connects > 0:
			p.State, p.Text = server.Down, "not connected; "+p.Text
			if g.Why != "" {
				p.Text += "; " + g.Why
			}
		case g.Garbled > 0:
			p.State = server.AtRisk
		}
		if len(g.Last) > 0 {
			p.Text += "; the last: " + g.Last[len(g.Last)-1]
		}
		out = append(out, p)
	}
	for _, u := range x.names.Unmapped() {
		out = append(out, server.Part{Name: u.Gateway, State: server.AtRisk, Text: u.String()})
	}
	return out
}

// mark enters a note of our own.
func (s *Station) mark(says string, v any) {
	b, err := json.Marshal(v)
	if err != nil {
		return
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	s.n++
	s.write(&logbook.Entry{N: s.n, At: s.at, Kind: logbook.Mark, Says: says, Text: string(b)})
}

// recorded is the place in the stream that the recording has got to, and the
// readings that it has of the time since then.
func (s *Station) recorded() (bus.Place, map[string]*reading.Order) {
	var place bus.Place
	orders := map[string]*reading.Order{}
	st := s.rec.Status()
	for e, err := range s.rec.Reader().Since(st.LastAt.Plus(-placeWithin)) {
		if err != nil {
			continue
		}
		switch {
		case e.Kind == logbook.Mark && e.Says == placeMark:
			var p bus.Place
			if json.Unmarshal([]byte(e.Text), &p) == nil {
				place = p
			}
		case e.Kind == logbook.Frame:
			for i := range e.Frame.Readings {
				r := e.Frame.Readings[i]
				if orders[r.Channel] == nil {
					orders[r.Channel] = &reading.Order{}
				}
				orders[r.Channel].Next(&r)
			}
		}
	}
	return place, orders
}

// late enters readings that were kept somewhere while we were away. What is
// recorded already is left out.
func (s *Station) late(f *reading.Frame, orders map[string]*reading.Order) {
	keep := f.Readings[:0]
	for _, r := range f.Readings {
		if r.Marks&(reading.Timed|reading.Numbered) != 0 {
			o := orders[r.Channel]
			if o == nil {
				o = &reading.Order{}
				orders[r.Channel] = o
			}
			if o.Next(&r).Turn == reading.Duplicate {
				continue
			}
		}
		r.Marks |= reading.Historical
		keep = append(keep, r)
	}
	f.Readings = keep
	if len(keep) > 0 {
		s.Live(f)
	}
}

// busRisk tells the crew when readings are not on the message server's disk.
func (s *Station) busRisk(h bus.Health) {
	why := ""
	switch {
	case h.Broken != "":
		why = fmt.Sprintf("The message store is broken: %s.", h.Broken)
	case h.Unkept > 0:
		why = fmt.Sprintf("%d messages are not on disk.", h.Unkept)
	case h.Dropped > 0:
		why = fmt.Sprintf("%d messages were dropped before they were looked at.", h.Dropped)
	}
	s.mu.Lock()
	s.busWhy = why
	s.mu.Unlock()
}
