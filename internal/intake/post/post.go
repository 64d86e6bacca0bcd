// Package post takes batches of readings over HTTP.
//
// A batch is answered with 200 only when it is kept for good. After anything
// from 500 up, or no answer, the sender is to send it again; after 400 to 499
// it is not, the same would happen. A batch sent again under the same
// Idempotency-Key is taken once.
package post

import (
	"context"
	"crypto/sha256"
	"crypto/subtle"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"mime"
	"net/http"
	"strings"
	"sync"
	"time"

	"plumbhook/internal/intake"
	"plumbhook/reading"
)

// Bounds of a batch.
const (
	MostBytes    = 1 << 20
	MostReadings = 20_000

	mostKeys    = 256 // batches that are kept in mind, per gateway
	mostKeyText = 200
)

// Answer is what the sender of a batch is told.
type Answer struct {
	Taken     int      `json:"taken"`     // new readings, kept for good
	Duplicate int      `json:"duplicate"` // had come before, by batch, number or time
	Garbled   int      `json:"garbled"`   // could not be read
	Unmapped  int      `json:"unmapped"`  // are of no channel
	Lines     []string `json:"lines"`     // what was garbled, and why
}

// Handler serves POST of batches, under whatever path it is mounted.
// passwords are those of the http gateways by name; see Map.Passwords. A
// sender shows its password by Basic, with its gateway's name as the user, or
// as a Bearer token.
func Handler(m *intake.Map, passwords map[string]string, sink intake.Sink, link intake.Link) http.Handler {
	h := &handler{m: m, sink: sink, link: link, gates: map[string]*gate{}}
	for name, p := range passwords {
		h.gates[name] = &gate{name: name, password: sha256.Sum256([]byte(p)), order: map[string]*reading.Order{}, done: map[string]outcome{}}
	}
	return h
}

type handler struct {
	m     *intake.Map
	sink  intake.Sink
	link  intake.Link
	gates map[string]*gate
}

// gate is one gateway: its batches are taken one after the other.
type gate struct {
	name     string
	password [sha256.Size]byte

	mu    sync.Mutex
	seen  bool
	order map[string]*reading.Order // by channel
	done  map[string]outcome        // by Idempotency-Key
	keys  []string                  // of done, the oldest first
}

type outcome struct {
	body   [sha256.Size]byte
	answer Answer
}

func (h *handler) ServeHTTP(w http.ResponseWriter, req *http.Request) {
	if req.Method != http.MethodPost {
		w.Header().Set("Allow", http.MethodPost)
		fail(w, http.StatusMethodNotAllowed, "batches are sent by POST")
		return
	}
	g := h.who(req)
	if g == nil {
		user, _, _ := req.BasicAuth()
		h.link.Refused(user, "a batch with a wrong password")
		w.Header().Set("WWW-Authenticate", `Basic realm="readings", Bearer realm="readings"`)
		fail(w, http.StatusUnauthorized, "name and password of the gateway are needed, or its password as a bearer token")
		return
	}
	kind, _, _ := mime.ParseMediaType(req.Header.Get("Content-Type"))
	read := map[string]func([]byte) ([]entry, error){"application/json": readJSON, "text/csv": readCSV}[kind]
	if enc := req.Header.Get("Content-Encoding"); read == nil || enc != "" && enc != "identity" {
		fail(w, http.StatusUnsupportedMediaType, "a batch is application/json or text/csv, not compressed")
		return
	}
	key := req.Header.Get("Idempotency-Key")
	if len(key) > mostKeyText {
		fail(w, http.StatusBadRequest, fmt.Sprintf("an Idempotency-Key of more than %d characters", mostKeyText))
		return
	}
	body, err := io.ReadAll(http.MaxBytesReader(w, req.Body, MostBytes))
	if tooLarge := new(http.MaxBytesError); errors.As(err, &tooLarge) {
		fail(w, http.StatusRequestEntityTooLarge, fmt.Sprintf("a batch of more than %d bytes; send it in parts", MostBytes))
		return
	} else if err != nil {
		fail(w, http.StatusBadRequest, "the batch did not come whole")
		return
	}
	code, answer, why := h.take(req.Context(), g, key, body, read)
	switch {
	case code == http.StatusServiceUnavailable:
		w.Header().Set("Retry-After", "1")
		fail(w, code, why)
	case why != "":
		fail(w, code, why)
	default:
		reply(w, code, answer)
	}
}

// who is the gateway whose password the request shows, nil if there is none.
// It takes the same time whichever that is.
func (h *handler) who(req *http.Request) (found *gate) {
	user, password, basic := req.BasicAuth()
	if !basic {
		scheme, token, _ := strings.Cut(req.Header.Get("Authorization"), " ")
		if !strings.EqualFold(scheme, "Bearer") {
			return nil
		}
		password = strings.TrimSpace(token)
	}
	sum := sha256.Sum256([]byte(password))
	for name, g := range h.gates {
		same := subtle.ConstantTimeCompare(sum[:], g.password[:])
		if basic {
			same &= subtle.ConstantTimeCompare([]byte(user), []byte(name))
		}
		if same == 1 {
			found = g
		}
	}
	return found
}

// take puts a batch into the sink, and says what to answer.
func (h *handler) take(ctx context.Context, g *gate, key string, body []byte, read func([]byte) ([]entry, error)) (code int, a Answer, why string) {
	g.mu.Lock()
	defer g.mu.Unlock()
	if !g.seen {
		g.seen = true
		h.link.Up(g.name)
	}
	sum := sha256.Sum256(body)
	if was, ok := g.done[key]; ok && key != "" {
		if was.body != sum {
			return http.StatusConflict, a, "another batch was sent under this Idempotency-Key"
		}
		a = was.answer
		a.Duplicate, a.Taken = a.Duplicate+a.Taken, 0
		return http.StatusOK, a, ""
	}
	f := &reading.Frame{Source: g.name, Arrived: reading.At(time.Now())}
	entries, err := read(body)
	if err != nil {
		intake.Garble(f, err.Error(), string(body[:min(len(body), 80)]))
		if h.sink.Put(ctx, f) != nil {
			return http.StatusServiceUnavailable, a, notKept
		}
		return http.StatusBadRequest, a, intake.Printable(err.Error())
	}
	for i := range entries {
		h.add(f, &entries[i], &a)
	}
	a.Lines = append([]string{}, f.Garbled...)
	if len(f.Readings)+len(f.Health)+len(f.Garbled) > 0 {
		if h.sink.Put(ctx, f) != nil {
			return http.StatusServiceUnavailable, a, notKept
		}
	}
	// Only what was kept counts as come: a batch that was not is sent again.
	for i := range f.Readings {
		r := &f.Readings[i]
		o := g.order[r.Channel]
		if o == nil {
			o = &reading.Order{}
			g.order[r.Channel] = o
		}
		if o.Next(r).Turn == reading.Duplicate {
			a.Duplicate++
		} else {
			a.Taken++
		}
	}
	if key != "" {
		if len(g.keys) == mostKeys {
			delete(g.done, g.keys[0])
			g.keys = append(g.keys[:0], g.keys[1:]...)
		}
		g.keys = append(g.keys, key)
		g.done[key] = outcome{sum, a}
	}
	return http.StatusOK, a, ""
}

const notKept = "the batch could not be kept; send it again"

// add puts one entry of a batch into the frame.
func (h *handler) add(f *reading.Frame, e *entry, a *Answer) {
	garbled := func(why string) {
		a.Garbled++
		intake.Garble(f, why, e.raw)
	}
	if e.why != "" {
		garbled(e.why)
		return
	}
	if channel, set, ok := h.m.LookupHealth(f.Source, e.address, e.unit); ok {
		health := reading.Health{Channel: channel, Signal: nan, Battery: nan}
		if err := set(&health, e.reading.Value); err != nil {
			garbled(err.Error())
			return
		}
		f.Health = append(f.Health, health)
		return
	}
	lookup := func() (string, func(float64) (float64, error), bool) {
		if e.unit == "" {
			return h.m.Lookup(f.Source, e.address)
		}
		return h.m.LookupIn(f.Source, e.address, e.unit)
	}
	channel, toSI, ok := lookup()
	if !ok {
		a.Unmapped++
		return
	}
	r := e.reading
	if r.Channel = channel; r.Marks&reading.Timed == 0 {
		r.At = f.Arrived
	}
	if e.measured {
		v, err := toSI(r.Value)
		if err != nil {
			garbled(err.Error())
			return
		}
		r.Value = v
	}
	f.Readings = append(f.Readings, r)
}

func fail(w http.ResponseWriter, code int, why string) {
	reply(w, code, map[string]string{"error": why})
}

func reply(w http.ResponseWriter, code int, v any) {
	w.Header().Set("Content-Type", "application/json")
	w.Header().Set("Cache-Control", "no-store")
	w.WriteHeader(code)
	_ = json.NewEncoder(w).Encode(v) // the sender is gone, then; it will ask again
}
