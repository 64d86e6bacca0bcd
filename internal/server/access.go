package server

import (
	"context"
	"net"
	"net/http"
	"strings"
	"sync"
	"time"

	"plumbhook/crew"
	"plumbhook/fault"
)

// least is who may do what, of every route there is: the one place where that
// is decided. What is not listed is refused to all.
var least = map[string]crew.Role{
	// Anybody, signed in or not: to see that the program runs and to sign in.
	// Gateways prove who they are by passwords of their own.
	"GET /healthz":          crew.Nobody,
	"GET /readyz":           crew.Nobody,
	"GET /api/me":           crew.Nobody,
	"POST /api/setup":       crew.Nobody,
	"POST /api/session":     crew.Nobody,
	"DELETE /api/session":   crew.Nobody,
	"POST /api/session/pin": crew.Screen, // where somebody has signed in
	"/api/readings":         crew.Nobody,

	"GET /api/watch":        crew.Screen,
	"GET /api/watch/stream": crew.Screen,

	"GET /api/plan":             crew.Viewer,
	"GET /api/card":             crew.Viewer,
	"GET /api/status":           crew.Viewer,
	"GET /api/schema":           crew.Viewer,
	"GET /api/openapi.json":     crew.Viewer,
	"GET /api/openapi.yaml":     crew.Viewer,
	"GET /api/openapi-3.0.json": crew.Viewer,
	"GET /api/openapi-3.0.yaml": crew.Viewer,
	"POST /api/check":           crew.Viewer,
	"POST /api/draw":            crew.Viewer,
	"POST /api/size":            crew.Viewer,
	"POST /api/card":            crew.Viewer,
	"POST /api/lesson":          crew.Viewer,
	"GET /api/lifts/{id}/revisions/{n}/sheets/{kind}": crew.Viewer,
	"GET /api/records/{id}/sheets/{kind}":             crew.Viewer,
	"GET /api/lifts":                                  crew.Viewer,
	"GET /api/lifts/{id}":                             crew.Viewer,
	"GET /api/lifts/{id}/revisions/{n}":               crew.Viewer,
	"GET /api/lifts/{id}/compare":                     crew.Viewer,
	"GET /api/gear":                                   crew.Viewer,
	"GET /api/gear/due":                               crew.Viewer,
	"GET /api/gear/labels.pdf":                        crew.Viewer,
	"GET /api/gear/{serial}":                          crew.Viewer,
	"GET /api/gear/{serial}/files/{sum}":              crew.Viewer,
	"GET /api/watch/trend":                            crew.Viewer,
	"GET /api/records":                                crew.Viewer,
	"GET /api/records/{id}/views":                     crew.Viewer,
	"GET /api/records/{id}/record.zip":                crew.Viewer,
	"GET /api/records/{id}/readings.csv":              crew.Viewer,
	"PATCH /api/users/{name}":                         crew.Viewer, // oneself; others: see changeUser
	"/api/":                                           crew.Viewer, // what is not there
	"POST /api/watch/hold":                            crew.Viewer, // anyone may stop
	"GET /api/fleet":                                  crew.Viewer,
	"GET /api/fleet/meetings":                         crew.Viewer,
	"GET /api/watch/above":                            crew.Viewer,

	"POST /api/watch/tare":              crew.Rigger,
	"POST /api/watch/tug":               crew.Rigger,
	"POST /api/watch/ack":               crew.Rigger,
	"POST /api/watch/clear":             crew.Rigger,
	"POST /api/watch/word":              crew.Rigger,
	"POST /api/watch/mark":              crew.Rigger,
	"POST /api/watch/step":              crew.Rigger,
	"POST /api/lifts/{id}/holds/{hold}": crew.Rigger,
	"POST /api/lifts/{id}/watch":        crew.Rigger,
	"POST /api/lifts/{id}/end":          crew.Rigger,
	"POST /api/gear/{serial}/changes":   crew.Rigger,
	"POST /api/records/{id}/gear":       crew.Rigger,
	"POST /api/records/{id}/seal":       crew.Rigger,

	"POST /api/lifts":                crew.Planner,
	"POST /api/lifts/{id}/revisions": crew.Planner,
	"POST /api/lifts/{id}/approve":   crew.Planner,
	"POST /api/gear":                 crew.Planner,
	"POST /api/gear/import":          crew.Planner,
	"POST /api/fleet/answers":        crew.Planner,

	"GET /api/users":    crew.Admin,
	"POST /api/users":   crew.Admin,
	"POST /api/screens": crew.Admin,
}

// computing is how long an answer may take.
const computing = time.Minute

// me is who sends a request.
type me struct {
	crew.Person
	open  bool // no sign-in is asked for
	byPIN bool
	token string
	from  string // address
	as    string // who signs in by this request
}

type meKey struct{}

// who gives who sends the request that ctx is of.
func who(ctx context.Context) *me {
	if m, ok := ctx.Value(meKey{}).(*me); ok {
		return m
	}
	return &me{}
}

// enforce lets through what the sender's role reaches.
func (s *Server) enforce(mux *http.ServeMux) http.Handler {
	judge := func(w *telling, r *http.Request, pattern string) {
		need, known := least[pattern]
		if !known && !strings.Contains(pattern, "/api/") { // pages, which hold nothing that anybody entered
			mux.ServeHTTP(w, r)
			return
		}
		m, err := s.sender(r)
		w.m = m
		switch {
		case err != nil:
			s.o.Log.Error("a session cannot be looked up", "err", err)
			refuse(w, http.StatusServiceUnavailable, fault.New(fault.Internal, "who you are cannot be looked up").Fix("try again; the server's log says more"))
		case !known:
			s.o.Log.Error("a route without a role", "route", pattern)
			refuse(w, http.StatusForbidden, fault.New(fault.Internal, "nobody may do this").Fix("tell whoever maintains the program"))
		case m.Role.Reaches(need):
			// Plans take their time to compute; the stream sets its own deadlines.
			_ = http.NewResponseController(w).SetWriteDeadline(time.Now().Add(computing))
			mux.ServeHTTP(w, r.WithContext(context.WithValue(r.Context(), meKey{}, m)))
		case m.Role == crew.Nobody:
			refuse(w, http.StatusUnauthorized, fault.New(fault.Missing, "nobody is signed in").Fix("sign in"))
		default:
			refuse(w, http.StatusForbidden, fault.New(fault.Missing, "this takes the role %s; %s is %s", need, m.Name, m.Role).Fix("ask a %s to do it, or an admin for the role", need))
		}
	}
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		_, pattern := mux.Handler(r)
		s.noted(w, r, pattern, judge)
	})
}

// sender finds who sends a request; somebody without a role when nobody is
// signed in.
func (s *Server) sender(r *http.Request) (*me, error) {
	m := &me{}
	if host, _, err := net.SplitHostPort(r.RemoteAddr); err == nil {
		m.from = host
	}
	if s.o.Crew == nil || s.o.Open {
		m.Role, m.open = crew.Admin, true
		return m, nil
	}
	c, err := r.Cookie(s.cookieName())
	if err != nil || c.Value == "" {
		return m, nil
	}
	now, err := s.session(r.Context(), c.Value)
	now.from = m.from
	return now, err
}

// session finds whom a token is of; somebody without a role when it has ended.
func (s *Server) session(ctx context.Context, token string) (*me, error) {
	m := &me{}
	x, err := s.o.Crew.Session(ctx, crew.TokenSum(token))
	if err != nil {
		return m, unlessUnknown(err)
	}
	p, err := s.o.Crew.Person(ctx, x.Name)
	if err != nil {
		return m, unlessUnknown(err)
	}
	now := s.o.Now()
	lives, note := x.Lives(p.Role, now)
	if !lives || p.Ended {
		return m, nil
	}
	if note {
		x.Seen = now
		if err := s.o.Crew.PutSession(ctx, x); err != nil {
			return m, err
		}
	}
	m.Person, m.byPIN, m.token = p, x.ByPIN, token
	return m, nil
}

func unlessUnknown(err error) error {
	if fault.Of(err)[0].Code == fault.Reference {
		return nil
	}
	return err
}

// brake slows down who guesses: after a few failures each further try of the
// same name, or from the same address, has to wait twice as long.
type brake struct {
	mu    sync.Mutex
	fails map[string]failing
}

type failing struct {
	n    int
	last time.Time
}

const (
	free       = 5
	longest    = 5 * time.Minute
	mostBraked = 10_000
)

// wait is how long all of the keys have to wait yet.
func (b *brake) wait(now time.Time, keys ...string) (left time.Duration) {
	b.mu.Lock()
	defer b.mu.Unlock()
	for _, k := range keys {
		f := b.fails[k]
		if f.n < free {
			continue
		}
		must := longest
		if n := f.n - free; n < 9 {
			must = min(longest, time.Second<<n)
		}
		left = max(left, f.last.Add(must).Sub(now))
	}
	return left
}

// wrong notes a secret that was wrong.
func (s *Server) wrong(now time.Time, keys ...string) {
	s.count.wrong.Inc()
	s.brake.failed(now, keys...)
}

func (b *brake) failed(now time.Time, keys ...string) {
	b.mu.Lock()
	defer b.mu.Unlock()
	if len(b.fails) > mostBraked {
		for k, f := range b.fails {
			if now.Sub(f.last) > longest {
				delete(b.fails, k)
			}
		}
	}
	for _, k := range keys {
		b.fails[k] = failing{b.fails[k].n + 1, now}
	}
}

func (b *brake) passed(keys ...string) {
	b.mu.Lock()
	defer b.mu.Unlock()
	for _, k := range keys {
		delete(b.fails, k)
	}
}
