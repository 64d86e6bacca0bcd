// Package server shows a watched lift over HTTP: the live page and the far
// display, the live stream behind them, and the API that they and other
// programs use, described by itself at /api/openapi.json.
//
// It sees a lift through Station and decides nothing about it. It knows nobody:
// whoever reaches it may act, and the names that people give are claims. It
// listens on this machine alone unless told otherwise.
package server

import (
	"context"
	"errors"
	"log/slog"
	"net"
	"net/http"
	"os"
	"slices"
	"strings"
	"time"

	"plumbhook/alarm"
	"plumbhook/card"
	"plumbhook/contract"
	"plumbhook/fault"
	"plumbhook/logbook"
	"plumbhook/verdict"
	"plumbhook/watch"
)

// DefaultListen is reached from this machine alone.
const DefaultListen = "127.0.0.1:8470"

// Station is one lift under watch. Its methods may be called at any time from
// many goroutines.
type Station interface {
	// View is how things stand now.
	View() watch.View
	// Watch tells every event at once and in order, and how things stand up to
	// twenty times a second, also when nothing changes: screens take a second
	// without a view as a watch that stands still. A slow reader loses views,
	// never events. The channel closes when ctx is done or the watch ends.
	Watch(ctx context.Context) <-chan Update
	// Enter has a person's tare, ack, clear, word or mark judged and returns
	// when it is on disk. The station fills in At and N.
	Enter(ctx context.Context, e logbook.Entry) error
	Plan() *verdict.Plan
	Status() Status
}

// Update is news: events, or how things stand, or both. The view comes after
// the events.
type Update struct {
	Events []alarm.Event
	View   *watch.View
}

// Status is how recording, bus, gateways and disk do.
type Status []Part

// Part is one of them.
type Part struct {
	Name  string
	State PartState
	Text  string // for people
}

// PartState says how a part does.
type PartState string

// AtRisk parts work, and need somebody to look. Without one that is Down the
// lift is not watched as it should be.
const (
	OK     PartState = "ok"
	AtRisk PartState = "at risk"
	Down   PartState = "down"
)

// Options are what a site sets.
type Options struct {
	Readout contract.Readout // the one unit of the lift
	Day     card.Day         // of the card, as the watch has it
	// Readings takes batches of readings at /api/readings; nil: none are taken.
	Readings http.Handler
	// Hosts are further names that this machine is reached by.
	Hosts   []string
	Version string
	Log     *slog.Logger // slog.Default when nil
}

// Server is the handler of all there is.
type Server struct {
	station Station
	o       Options
	unit    contract.WatchUnit
	hosts   []string
	hub     hub
	handler http.Handler
}

const (
	mostBody   = 4 << 10 // bytes, of what a person enters
	mostHeader = 16 << 10
	patience   = 10 * time.Second // for a request or an answer to get through
	// enterTime is how long a person's entry may take to reach the disk. It
	// has been judged by then; only the answer waits.
	enterTime = 5 * time.Second
)

// New is a server for a station.
func New(st Station, o Options) *Server {
	if o.Log == nil {
		o.Log = slog.Default()
	}
	s := &Server{station: st, o: o, unit: contract.NewUnit(st.Plan(), o.Readout)}
	s.hosts = append([]string{"localhost"}, o.Hosts...)
	if name, err := os.Hostname(); err == nil {
		s.hosts = append(s.hosts, name, name+".local")
	}
	s.hub = hub{station: st, unit: s.unit, log: o.Log, clients: map[*client]struct{}{}}
	mux := http.NewServeMux()
	s.routes(mux)
	s.pages(mux)
	if o.Readings != nil {
		mux.Handle("/api/readings", o.Readings)
	}
	sites := http.NewCrossOriginProtection()
	sites.SetDenyHandler(http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) {
		refuse(w, http.StatusForbidden, fault.New(fault.Path, "the request comes from a page of another site").Fix("use this server's own pages"))
	}))
	s.handler = s.guard(sites.Handler(mux))
	return s
}

// ServeHTTP answers a request.
func (s *Server) ServeHTTP(w http.ResponseWriter, r *http.Request) { s.handler.ServeHTTP(w, r) }

// Serve answers on a listener until ctx is done; then streams end at once and
// other requests within two seconds.
func (s *Server) Serve(ctx context.Context, ln net.Listener) error {
	h := &http.Server{
		Handler: s, ReadHeaderTimeout: patience, ReadTimeout: patience, WriteTimeout: patience, IdleTimeout: time.Minute,
		MaxHeaderBytes: mostHeader, BaseContext: func(net.Listener) context.Context { return ctx },
		ErrorLog: slog.NewLogLogger(s.o.Log.Handler(), slog.LevelDebug),
	}
	ended := make(chan error, 1)
	go func() { ended <- h.Serve(ln) }()
	select {
	case err := <-ended:
		return err
	case <-ctx.Done():
	}
	last, cancel := context.WithTimeout(context.WithoutCancel(ctx), 2*time.Second)
	defer cancel()
	if err := h.Shutdown(last); err != nil {
		return h.Close()
	}
	if err := <-ended; !errors.Is(err, http.ErrServerClosed) {
		return err
	}
	return nil
}

// guard lets in who names this machine, and has browsers load and run nothing
// that does not come from here. Without the check of the name, a page on the
// web could have its own name lead here and then pass for one of ours.
func (s *Server) guard(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		h := w.Header()
		h.Set("Content-Security-Policy", "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; connect-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'; require-trusted-types-for 'script'")
		h.Set("X-Content-Type-Options", "nosniff")
		h.Set("Referrer-Policy", "no-referrer")
		h.Set("Cross-Origin-Opener-Policy", "same-origin")
		h.Set("Cross-Origin-Resource-Policy", "same-origin")
		if strings.HasPrefix(r.URL.Path, "/api/") {
			h.Set("Cache-Control", "no-store")
		}
		if !s.ours(r.Host) {
			refuse(w, http.StatusMisdirectedRequest, fault.New(fault.Path, "this server does not go by the name %q", r.Host).
				Fix("use its address, or have the name added to its settings"))
			return
		}
		next.ServeHTTP(w, r)
	})
}

// ours tells whether a host names this machine. An address is nobody's to lead
// elsewhere.
func (s *Server) ours(host string) bool {
	if name, _, err := net.SplitHostPort(host); err == nil {
		host = name
	}
	host = strings.TrimSuffix(strings.Trim(host, "[]"), ".")
	return net.ParseIP(host) != nil || slices.ContainsFunc(s.hosts, func(name string) bool { return strings.EqualFold(name, host) })
}
