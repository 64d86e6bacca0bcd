// Package server is the app's server: the plan desk, lifts, gear and the watched
// lift over an API that describes itself at /api/openapi.json, the live stream,
// and the built app.
//
// It sees a lift through Station and decides nothing about it. Who may do what
// is a table of routes and roles in one place; what persons enter bears the name
// of their session. Where no sign-in is asked for, names are claims, and the
// page says so.
package server

import (
	"context"
	"errors"
	"io/fs"
	"log/slog"
	"net"
	"net/http"
	"os"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"time"

	"plumbhook/alarm"
	"plumbhook/card"
	"plumbhook/contract"
	"plumbhook/crew"
	"plumbhook/fault"
	"plumbhook/job"
	"plumbhook/logbook"
	"plumbhook/register"
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

// Watched is what goes with a station.
type Watched struct {
	Readout contract.Readout // the one unit of the lift
	Day     card.Day         // of the card, as the watch has it
	// Readings takes batches of readings at /api/readings; nil: none are taken.
	Readings http.Handler
}

// Options are what a site sets.
type Options struct {
	Watched                // of the station given to New
	App     fs.FS          // the built app; nil: the API alone
	Gear    register.Store // nil: no register
	Lifts   job.Store      // nil: none are kept
	Crew    crew.Store     // nil: no sign-in is asked for
	Watcher Watcher        // nil: no lift can be put on the watch
	Fleet   Fleet          // nil: this is no hub
	Parts   func() Status  // of the program beside the watch: they do not decide whether it is ready; nil: none
	Open    bool           // no sign-in is asked for, though there are persons
	Code    string         // makes the first admin; empty: nobody can
	TLS     bool           // it is reached over TLS alone
	// Authority is the certificate that tablets have to trust, PEM; nil: none.
	Authority []byte
	// Hosts are further names that this machine is reached by.
	Hosts   []string
	Version string
	Log     *slog.Logger // slog.Default when nil
	// Audit is told of everything that was to change something; nil: nobody is.
	Audit func(Deed) error
	Now   func() time.Time // time.Now when nil
}

// Server is the handler of all there is.
type Server struct {
	o       Options
	hosts   []string
	slot    atomic.Pointer[slot] // nil: no lift is on the watch
	shift   sync.Mutex           // held while a watch begins or ends
	drawing chan struct{}        // holds who lets a plan's unknowns spread
	hashes  chan struct{}        // holds who tries a password
	brake   brake
	count   counters
	page    string // changes when the app does
	handler http.Handler
}

// slot is the lift on the watch.
type slot struct {
	station Station
	Watched
	unit  contract.WatchUnit
	hub   hub
	trail trail
	plan  func() *answer[contract.Check]
	card  func() (*answer[contract.Card], error)
}

// Put has the server show a station from now on; nil: no lift is on the watch.
// Streams of the one before end when its watch does.
func (s *Server) Put(st Station, w Watched) {
	if st == nil {
		s.slot.Store(nil)
		return
	}
	x := &slot{station: st, Watched: w, unit: contract.NewUnit(st.Plan(), w.Readout)}
	x.hub = hub{station: st, unit: x.unit, log: s.o.Log, clients: map[*client]struct{}{}}
	x.plan = sync.OnceValue(func() *answer[contract.Check] { return &answer[contract.Check]{contract.NewCheck(st.Plan())} })
	x.card = sync.OnceValues(x.newCard)
	x.trail = trail{of: map[string][]contract.TrendPoint{}, since: s.o.Now().UTC()}
	s.slot.Store(x)
}

var noWatch = fault.New(fault.Reference, "no lift is on the watch").Fix("put an approved revision of a lift on the watch")

// watched is the lift on the watch, or why there is none.
func (s *Server) watched() (*slot, error) {
	if x := s.slot.Load(); x != nil {
		return x, nil
	}
	return nil, s.status(noWatch)
}

const (
	mostBody   = 4 << 10 // bytes, of what a person enters
	mostHeader = 16 << 10
	patience   = 10 * time.Second // for a request or an answer to get through
	// enterTime is how long a person's entry may take to reach the disk. It
	// has been judged by then; only the answer waits.
	enterTime = 5 * time.Second
)

// New is a server, for a station where there is one already.
func New(st Station, o Options) *Server {
	if o.Log == nil {
		o.Log = slog.Default()
	}
	if o.Now == nil {
		o.Now = time.Now
	}
	s := &Server{o: o, drawing: make(chan struct{}, 1), hashes: make(chan struct{}, mostHashing), brake: brake{fails: map[string]failing{}}, count: newCounters()}
	s.Put(st, o.Watched)
	s.hosts = append([]string{"localhost"}, o.Hosts...)
	if name, err := os.Hostname(); err == nil {
		s.hosts = append(s.hosts, name, name+".local")
	}
	mux := http.NewServeMux()
	s.routes(mux)
	s.pages(mux)
	mux.HandleFunc("/api/readings", s.readings)
	sites := http.NewCrossOriginProtection()
	sites.SetDenyHandler(http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) {
		refuse(w, http.StatusForbidden, fault.New(fault.Path, "the request comes from a page of another site").Fix("use this server's own pages"))
	}))
	s.handler = s.guard(sites.Handler(s.enforce(mux)))
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
	go s.follow(ctx)
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
		h.Set("Content-Security-Policy", "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' blob:; connect-src 'self'; font-src 'self'; manifest-src 'self'; worker-src 'self'; media-src 'self' blob:; base-uri 'none'; form-action 'none'; frame-ancestors 'none'; require-trusted-types-for 'script'")
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
