package server

import (
	"context"
	"encoding/json"
	"log/slog"
	"net/http"
	"sync"
	"time"

	"plumbhook/contract"
	"plumbhook/crew"
	"plumbhook/watch"
)

const (
	// beatEvery leaves a page that gives up after a second time for two beats
	// to be late.
	beatEvery = 300 * time.Millisecond
	// stuck is how long one write may take before the reader is given up.
	stuck = 3 * time.Second
	// admittedEvery is how soon a stream ends after its session.
	admittedEvery = 2 * time.Second
	// mostEvents that wait for a reader, and mostStreams at a time, bound the
	// memory; a reader that is cut off comes back and is told how things stand.
	mostEvents  = 4096
	mostStreams = 256
)

// hub listens to the station once, while anybody looks, and puts each message
// into its wire form once for all who do.
type hub struct {
	station Station
	unit    contract.WatchUnit
	log     *slog.Logger

	mu      sync.Mutex
	clients map[*client]struct{}
	stop    context.CancelFunc
}

// client is one reader of the stream.
type client struct {
	mu     sync.Mutex
	events [][]byte
	view   []byte // the newest that has not been sent
	over   bool   // nothing more will come
	wake   chan struct{}
}

// join adds a reader; nil when there are too many.
func (h *hub) join() *client {
	h.mu.Lock()
	defer h.mu.Unlock()
	if len(h.clients) >= mostStreams {
		return nil
	}
	c := &client{wake: make(chan struct{}, 1)}
	h.clients[c] = struct{}{}
	if h.stop == nil {
		ctx, stop := context.WithCancel(context.Background())
		h.stop = stop
		go h.listen(ctx, h.station.Watch(ctx))
	}
	return c
}

func (h *hub) leave(c *client) {
	h.mu.Lock()
	defer h.mu.Unlock()
	delete(h.clients, c)
	if len(h.clients) == 0 && h.stop != nil {
		h.stop()
		h.stop = nil
	}
}

// listen passes news on until the station says no more.
func (h *hub) listen(ctx context.Context, news <-chan Update) {
	for u := range news {
		events := make([][]byte, len(u.Events))
		for i := range u.Events {
			events[i] = h.message("alarm", contract.NewEvent(&u.Events[i]))
		}
		h.each(ctx, func(c *client) { c.put(events, nil) })
		if u.View != nil {
			view := h.view(u.View)
			h.each(ctx, func(c *client) { c.put(nil, view) })
		}
	}
	h.mu.Lock()
	defer h.mu.Unlock()
	if ctx.Err() != nil {
		return
	}
	for c := range h.clients {
		c.end()
	}
	clear(h.clients)
	h.stop()
	h.stop = nil
}

// each does something for every reader, unless the readers that ctx was for
// have all gone: those of now have a listener of their own.
func (h *hub) each(ctx context.Context, do func(*client)) {
	h.mu.Lock()
	defer h.mu.Unlock()
	if ctx.Err() != nil {
		return
	}
	for c := range h.clients {
		do(c)
	}
}

func (h *hub) view(v *watch.View) []byte { return h.message("view", contract.NewWatch(v, h.unit)) }

// message is an event of the stream as HTML's server-sent events have it. What
// cannot be told as JSON is not told; screens then say that nothing comes.
func (h *hub) message(event string, data any) []byte {
	b, err := json.Marshal(data)
	if err != nil {
		h.log.Error("a message for the live stream cannot be written", "event", event, "err", err)
		return nil
	}
	out := make([]byte, 0, len(b)+len(event)+16)
	out = append(append(append(out, "event: "...), event...), "\ndata: "...)
	return append(append(out, b...), "\n\n"...)
}

func (c *client) put(events [][]byte, view []byte) {
	c.mu.Lock()
	c.events = append(c.events, events...)
	if view != nil {
		c.view = view
	}
	if len(c.events) > mostEvents {
		c.over = true
	}
	c.mu.Unlock()
	c.nudge()
}

func (c *client) end() {
	c.mu.Lock()
	c.over = true
	c.mu.Unlock()
	c.nudge()
}

func (c *client) nudge() {
	select {
	case c.wake <- struct{}{}:
	default:
	}
}

// take gives what waits, events first.
func (c *client) take() (messages [][]byte, over bool) {
	c.mu.Lock()
	defer c.mu.Unlock()
	messages = c.events
	if c.view != nil {
		messages = append(messages, c.view)
	}
	c.events, c.view = nil, nil
	return messages, c.over
}

// stream tells a reader how things stand, and goes on telling until either
// side has had enough.
func (s *Server) stream(ctx context.Context, w http.ResponseWriter) {
	x := s.slot.Load()
	if x == nil {
		refuse(w, http.StatusNotFound, noWatch)
		return
	}
	c := x.hub.join()
	if c == nil {
		refuse(w, http.StatusServiceUnavailable, tooMany)
		return
	}
	defer x.hub.leave(c)
	w.Header().Set("Content-Type", "text/event-stream")
	w.Header().Set("X-Accel-Buffering", "no")
	out := http.NewResponseController(w)
	send := func(messages ...[]byte) bool {
		// The deadlines of an ordinary answer do not hold for one without end.
		_ = out.SetWriteDeadline(time.Now().Add(stuck))
		for _, m := range messages {
			if _, err := w.Write(m); err != nil {
				return false
			}
		}
		return out.Flush() == nil
	}
	_ = out.SetReadDeadline(time.Time{})
	if !send([]byte("retry: 500\n\n"), x.hub.message("hello", x.hello(s.page))) {
		return
	}
	v := x.station.View()
	if !send(x.hub.view(&v)) {
		return
	}
	beat := time.NewTicker(beatEvery)
	defer beat.Stop()
	ctx, over := context.WithCancel(ctx)
	defer over()
	go s.admitted(ctx, over)
	for {
		select {
		case <-ctx.Done():
			return
		case <-beat.C:
			if !send(x.hub.message("beat", contract.WatchBeat{Now: time.Now().UTC()})) {
				return
			}
		case <-c.wake:
			messages, over := c.take()
			if !send(messages...) || over {
				return
			}
		}
	}
}

// admitted ends a stream when the session that it was opened by has ended.
// Looking at it is using it. While sessions cannot be looked up screens stay on.
func (s *Server) admitted(ctx context.Context, end func()) {
	m := who(ctx)
	if m.token == "" {
		return
	}
	t := time.NewTicker(admittedEvery)
	defer t.Stop()
	for {
		select {
		case <-ctx.Done():
			return
		case <-t.C:
		}
		if now, err := s.session(ctx, m.token); err == nil && now.Role == crew.Nobody {
			end()
			return
		}
	}
}

func (x *slot) hello(page string) contract.WatchHello {
	l := x.station.Plan().Lift
	return contract.WatchHello{
		Now: time.Now().UTC(), Title: l.Title, Revision: l.Revision, SHA256: l.SHA256, Cautions: cautions,
		BeatS: beatEvery.Seconds(), Page: page,
	}
}
