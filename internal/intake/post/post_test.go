package post_test

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"math"
	"net/http"
	"net/http/httptest"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"plumbhook/internal/intake"
	"plumbhook/internal/intake/intaketest"
	"plumbhook/internal/intake/post"
	"plumbhook/reading"
)

const mapText = `
channel_map: 1
gateways:
  logger: {kind: http, password: {env: LOGGER}, ignore: [inside]}
  other: {kind: http, password: {env: OTHER}}
channels:
  W: {gateway: logger, kind: load cell, address: west, unit: kN,
      radio: {address: west/rssi, unit: dBm}, battery: {address: west/battery, unit: "%"}}
  E: {gateway: logger, kind: load cell, address: east}
`

var passwords = map[string]string{"logger": "seven blue herons", "other": "four grey herons"}

func readMap(t testing.TB) *intake.Map {
	t.Helper()
	m, err := intake.Read("map.yaml", nil, []byte(mapText))
	if err != nil {
		t.Fatal(err)
	}
	return m
}

// logger is the counterpart of the suite: a sender that keeps a batch until it
// was told that it is kept.
type logger struct {
	m      *intake.Map
	csv    bool
	mu     sync.Mutex
	server *httptest.Server
	h      http.Handler
	n      int
	last   *batch
}

type batch struct{ key, kind, body string }

func (c *logger) Map() *intake.Map { return c.m }

func (c *logger) Run(ctx context.Context, sink intake.Sink, link intake.Link) error {
	c.mu.Lock()
	c.h = post.Handler(c.m, passwords, sink, link)
	c.mu.Unlock()
	c.Restore(nil)
	<-ctx.Done()
	c.Cut(nil)
	return nil
}

func (c *logger) Cut(testing.TB) {
	c.mu.Lock()
	s := c.server
	c.server = nil
	c.mu.Unlock()
	if s != nil {
		s.Close()
	}
}

func (c *logger) Restore(testing.TB) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.server = httptest.NewServer(c.h)
}

func (c *logger) url() string {
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.server == nil {
		return ""
	}
	return c.server.URL
}

func (c *logger) deliver(t testing.TB, b *batch) {
	t.Helper()
	for end := time.Now().Add(20 * time.Second); time.Now().Before(end); time.Sleep(5 * time.Millisecond) {
		req, err := http.NewRequest(http.MethodPost, c.url(), strings.NewReader(b.body))
		if err != nil {
			t.Fatal(err)
		}
		req.SetBasicAuth("logger", passwords["logger"])
		req.Header.Set("Content-Type", b.kind)
		if b.key != "" {
			req.Header.Set("Idempotency-Key", b.key)
		}
		res, err := http.DefaultClient.Do(req)
		if err != nil {
			continue // the link is down
		}
		_, _ = io.Copy(io.Discard, res.Body)
		_ = res.Body.Close()
		if res.StatusCode < 500 {
			return
		}
	}
	t.Fatal("the batch could not be delivered")
}

func (c *logger) Send(t testing.TB, samples []intaketest.Sample) {
	t.Helper()
	c.n++
	c.last = &batch{kind: "application/json"}
	if c.n%2 == 0 { // one by its key, the next by its numbers alone
		c.last.key = fmt.Sprintf("batch-%d", c.n)
	}
	names := map[string]string{"W": "west", "E": "east"}
	if c.csv {
		c.last.kind = "text/csv; charset=utf-8"
		c.last.body = "seq,t,channel,value,unit\n"
		for _, s := range samples {
			c.last.body += fmt.Sprintf("%d,%s,%s,%g,kN\n", s.Seq, s.At.Format(time.RFC3339Nano), names[s.Channel], s.Newton/1000)
		}
	} else {
		var list []map[string]any
		for _, s := range samples {
			list = append(list, map[string]any{
				"address": names[s.Channel], "t": s.At.Format(time.RFC3339Nano), "seq": s.Seq, "value": s.Newton / 1000, "unit": "kN",
			})
		}
		body, err := json.Marshal(map[string]any{"readings": list})
		if err != nil {
			t.Fatal(err)
		}
		c.last.body = string(body)
	}
	c.deliver(t, c.last)
}

func (c *logger) Garble(t testing.TB) {
	for _, body := range []string{`{"readings": [{"address": "west", "value": "12"}]}`, `{"readings": [`, "\xff"} {
		c.deliver(t, &batch{kind: "application/json", body: body})
	}
}

func (c *logger) Repeat(t testing.TB) { c.deliver(t, c.last) }

func (c *logger) Stray(t testing.TB) string {
	c.deliver(t, &batch{kind: "application/json", body: `{"readings": [{"address": "north", "value": 12, "unit": "kN"}]}`})
	return "north"
}

func TestConformance(t *testing.T) {
	for _, csv := range []bool{false, true} {
		t.Run(fmt.Sprintf("csv %v", csv), func(t *testing.T) {
			intaketest.Run(t, intaketest.Kit{
				Marks: reading.Timed | reading.Numbered, Carried: true, Acknowledged: true,
				New: func(t *testing.T) intaketest.Counterpart { return &logger{m: readMap(t), csv: csv} },
			})
		})
	}
}

// client sends to a handler that stands alone.
type client struct {
	t      *testing.T
	h      http.Handler
	m      *intake.Map
	frames intaketest.Frames
	link   intaketest.Link
}

func newClient(t *testing.T) *client {
	c := &client{t: t, m: readMap(t)}
	c.h = post.Handler(c.m, passwords, &c.frames, &c.link)
	return c
}

func (c *client) send(edit func(*http.Request), body string) (*httptest.ResponseRecorder, post.Answer) {
	c.t.Helper()
	req := httptest.NewRequest(http.MethodPost, "/intake", strings.NewReader(body))
	req.Header.Set("Content-Type", "application/json")
	req.Header.Set("Authorization", "Bearer "+passwords["logger"])
	if edit != nil {
		edit(req)
	}
	w := httptest.NewRecorder()
	c.h.ServeHTTP(w, req)
	var a post.Answer
	if w.Code == http.StatusOK {
		if err := json.Unmarshal(w.Body.Bytes(), &a); err != nil {
			c.t.Fatal(err)
		}
	}
	return w, a
}

func TestJSON(t *testing.T) {
	c := newClient(t)
	w, a := c.send(nil, `{"readings": [
		{"address": "west", "t": "2026-05-04T11:12:00.25+02:00", "seq": 7, "value": 12.5},
		{"address": "west", "t": "2026-05-04T09:12:00.30Z", "seq": 8, "value": 12.5, "unit": "kN", "unsteady": true, "historical": true},
		{"address": "west", "t": "2026-05-04T09:12:00.30Z", "seq": 8, "value": 12.5, "unit": "kN", "unsteady": true, "historical": true},
		{"address": "west", "t": "2026-05-04T09:12:00.35Z", "seq": 9, "value": 1.2, "unit": "t"},
		{"address": "west", "quality": "lost"},
		{"address": "east", "value": 2, "unit": "short ton", "quality": "stale"},
		{"address": "east", "value": 2},
		{"address": "east", "value": 2, "unit": "ton"},
		{"address": "east", "value": "2", "unit": "t"},
		{"address": "east", "t": 1777885920, "value": 2, "unit": "t"},
		{"address": "east", "t": "1777885920", "value": 2, "unit": "t"},
		{"address": "east", "unit": "t"},
		{"address": "east", "value": null, "unit": "t"},
		{"address": "east", "value": 1e999, "unit": "t"},
		{"address": "east", "wert": 2, "unit": "t"},
		{"address": "east", "value": 2, "unit": "t", "quality": "splendid"},
		{"address": "west/rssi", "value": -71},
		{"address": "west/battery", "value": 80},
		{"address": "west/battery", "value": 180},
		{"address": "west/battery", "value": 3.7, "unit": "V"},
		{"address": "inside", "value": 21},
		{"address": "north", "value": 1}
	]}`)
	if w.Code != http.StatusOK || a.Taken != 4 || a.Duplicate != 1 || a.Garbled != 13 || a.Unmapped != 2 || len(a.Lines) != 13 {
		t.Errorf("%d, %+v", w.Code, a)
	}
	f := c.frames.All()[0]
	at := func(s string) reading.Stamp {
		v, err := time.Parse(time.RFC3339Nano, s)
		if err != nil {
			t.Fatal(err)
		}
		return reading.At(v)
	}
	for i, want := range []reading.Reading{
		{Channel: "W", At: at("2026-05-04T09:12:00.25Z"), Seq: 7, Value: 12500, Marks: reading.Timed | reading.Numbered},
		{Channel: "W", At: at("2026-05-04T09:12:00.3Z"), Seq: 8, Value: 12500, Marks: reading.Timed | reading.Numbered | reading.Unsteady | reading.Historical},
		{Channel: "W", At: at("2026-05-04T09:12:00.3Z"), Seq: 8, Value: 12500, Marks: reading.Timed | reading.Numbered | reading.Unsteady | reading.Historical},
		{Channel: "W", At: f.Arrived, Value: math.NaN(), Quality: reading.Lost},
		{Channel: "E", At: f.Arrived, Value: 2 * 8896.443230521, Quality: reading.Stale},
	} {
		got := f.Readings[i]
		if math.IsNaN(want.Value) && math.IsNaN(got.Value) {
			got.Value, want.Value = 0, 0
		}
		if got != want {
			t.Errorf("reading %d: %+v, want %+v", i, got, want)
		}
	}
	if len(f.Health) != 2 || f.Health[0].Signal != -71 || f.Health[1].Battery != 0.8 {
		t.Errorf("health %+v", f.Health)
	}
	if u := c.m.Unmapped(); len(u) != 1 || u[0].String() != "gateway logger sends north, which is mapped to no channel (1 values)" {
		t.Errorf("unmapped %v", u)
	}
}

func TestCSV(t *testing.T) {
	c := newClient(t)
	csv := func(req *http.Request) { req.Header.Set("Content-Type", "text/csv") }
	w, a := c.send(csv, "t,channel,value,unit\r\n"+
		"2026-05-04T09:12:00Z,west,12.5,kN\r\n"+
		"2026-05-04T09:12:01Z,west,,kN\r\n"+
		"2026-05-04T09:12:02Z,west,12.5\r\n"+
		"2026-05-04T09:12:02Z,west,12.5,\r\n"+
		"2026-05-04T09:12:02Z,east,\"12,5\",kN\r\n"+
		"17.25,east,12.5,kN\r\n"+
		"2026-05-04T09:12:03Z,east,2,t\r\n")
	if w.Code != http.StatusOK || a.Taken != 3 || a.Garbled != 4 {
		t.Errorf("%d, %+v", w.Code, a)
	}
	r := c.frames.All()[0].Readings
	if r[0].Value != 12500 || r[1].Quality != reading.Bad || r[1].Usable() || r[2].Value != 2*9806.65 {
		t.Errorf("%+v", r)
	}
	w, a = c.send(csv, "channel,t,value_N\neast,2026-05-04T09:13:00Z,12500\n")
	if w.Code != http.StatusOK || a.Taken != 1 || c.frames.All()[1].Readings[0].Value != 12500 {
		t.Errorf("%d, %+v", w.Code, a)
	}
	for _, head := range []string{"", "t,channel,value", "t,channel,value_N,value,unit", "t,value_N", "t,channel,t,value_N", "t,channel,value_kN"} {
		if w, _ := c.send(csv, head+"\n2026-05-04T09:13:00Z,west,1,2,3\n"); w.Code != http.StatusBadRequest {
			t.Errorf("the header %q: %d", head, w.Code)
		}
	}
}

const one = `{"readings": [{"address": "west", "t": "2026-05-04T09:12:00Z", "value": 12.5}]}`

func TestWho(t *testing.T) {
	auth := func(s string) func(*http.Request) {
		return func(r *http.Request) { r.Header.Set("Authorization", s) }
	}
	basic := func(user, password string) func(*http.Request) {
		return func(r *http.Request) { r.SetBasicAuth(user, password) }
	}
	for _, c := range []struct {
		name string
		edit func(*http.Request)
		code int
	}{
		{"none", func(r *http.Request) { r.Header.Del("Authorization") }, 401},
		{"bearer", nil, 200},
		{"wrong bearer", auth("Bearer seven blue heron"), 401},
		{"empty bearer", auth("Bearer "), 401},
		{"basic", basic("logger", passwords["logger"]), 200},
		{"basic, another's password", basic("logger", passwords["other"]), 401},
		{"basic, no such gateway", basic("nobody", passwords["logger"]), 401},
		{"basic, empty", basic("", ""), 401},
	} {
		cl := newClient(t)
		w, _ := cl.send(c.edit, one)
		if w.Code != c.code || len(cl.frames.All()) != map[int]int{200: 1}[c.code] {
			t.Errorf("%s: %d with %d frames, want %d", c.name, w.Code, len(cl.frames.All()), c.code)
		}
		for _, said := range append(cl.link.Said(), w.Body.String()) {
			if strings.Contains(said, "heron") {
				t.Errorf("%s: a password is told: %s", c.name, said)
			}
		}
	}
}

func TestRefuses(t *testing.T) {
	many := `{"readings": [` + strings.Repeat(`{},`, post.MostReadings) + `{}]}`
	for _, c := range []struct {
		name string
		edit func(*http.Request)
		body string
		code int
	}{
		{"GET", func(r *http.Request) { r.Method = http.MethodGet }, one, 405},
		{"another kind", func(r *http.Request) { r.Header.Set("Content-Type", "text/html") }, one, 415},
		{"compressed", func(r *http.Request) { r.Header.Set("Content-Encoding", "gzip") }, one, 415},
		{"too large", nil, `{"readings": [` + strings.Repeat(" ", post.MostBytes) + `]}`, 413},
		{"too many", nil, many, 400},
		{"no JSON", nil, `{"readings": [`, 400},
		{"something behind", nil, one + one, 400},
		{"no readings", nil, `{}`, 400},
		{"unknown key", nil, `{"readings": [], "values": []}`, 400},
		{"a long key", func(r *http.Request) { r.Header.Set("Idempotency-Key", strings.Repeat("k", 300)) }, one, 400},
		{"an empty batch", nil, `{"readings": []}`, 200},
	} {
		cl := newClient(t)
		if w, _ := cl.send(c.edit, c.body); w.Code != c.code {
			t.Errorf("%s: %d (%s), want %d", c.name, w.Code, w.Body, c.code)
		}
		for _, f := range cl.frames.All() {
			if len(f.Readings) > 0 {
				t.Errorf("%s: readings were taken", c.name)
			}
		}
	}
}

// 200 is said only of what the sink kept; a batch that it did not keep is new
// when it comes again.
func TestKept(t *testing.T) {
	c := newClient(t)
	key := func(r *http.Request) { r.Header.Set("Idempotency-Key", "k1") }
	c.frames.Fail(1)
	if w, _ := c.send(key, one); w.Code != http.StatusServiceUnavailable || w.Header().Get("Retry-After") == "" {
		t.Errorf("not kept: %d", w.Code)
	}
	if w, a := c.send(key, one); w.Code != http.StatusOK || a.Taken != 1 || a.Duplicate != 0 {
		t.Errorf("sent again: %d, %+v", w.Code, a)
	}
	if w, a := c.send(key, one); w.Code != http.StatusOK || a.Taken != 0 || a.Duplicate != 1 || len(c.frames.All()) != 1 {
		t.Errorf("sent a third time: %d, %+v, %d frames", w.Code, a, len(c.frames.All()))
	}
	if w, _ := c.send(key, strings.Replace(one, "12.5", "13.5", 1)); w.Code != http.StatusConflict {
		t.Errorf("another batch under the key: %d", w.Code)
	}
	// Without a key the times tell.
	if w, a := c.send(nil, one); w.Code != http.StatusOK || a.Taken != 0 || a.Duplicate != 1 {
		t.Errorf("without a key: %d, %+v", w.Code, a)
	}
	// Keys are of one gateway.
	if w, a := c.send(func(r *http.Request) { key(r); r.SetBasicAuth("other", passwords["other"]) }, one); w.Code != http.StatusOK || a.Unmapped != 1 {
		t.Errorf("another gateway: %d, %+v", w.Code, a)
	}
	// And not kept for ever.
	for i := range 300 {
		c.send(func(r *http.Request) { r.Header.Set("Idempotency-Key", fmt.Sprint("more ", i)) }, `{"readings": []}`)
	}
	if w, a := c.send(key, one); w.Code != http.StatusOK || a.Duplicate != 1 || len(c.frames.All()) != 3 {
		t.Errorf("after many others: %d, %+v, %d frames", w.Code, a, len(c.frames.All()))
	}
}

func FuzzBody(f *testing.F) {
	for _, s := range []string{one, `{"readings": [{}]}`, `{"readings": [{"address": "west", "value": 1e308}]}`, `[`} {
		f.Add(false, []byte(s))
	}
	for _, s := range []string{"t,channel,value_N\n2026-05-04T09:12:00Z,west,1\n", "t,channel,value,unit\n\"\n", "t,channel,value,unit,seq\n,,,,\n"} {
		f.Add(true, []byte(s))
	}
	f.Fuzz(func(t *testing.T, csv bool, body []byte) {
		var frames intaketest.Frames
		h := post.Handler(readMap(t), passwords, &frames, &intaketest.Link{})
		req := httptest.NewRequest(http.MethodPost, "/", bytes.NewReader(body))
		req.Header.Set("Authorization", "Bearer "+passwords["logger"])
		if req.Header.Set("Content-Type", "application/json"); csv {
			req.Header.Set("Content-Type", "text/csv")
		}
		w := httptest.NewRecorder()
		h.ServeHTTP(w, req)
		if !slices.Contains([]int{200, 400, 413}, w.Code) {
			t.Fatalf("%d", w.Code)
		}
		for _, f := range frames.All() {
			for _, r := range f.Readings {
				if r.Quality == reading.Good && !r.Usable() || w.Code != 200 {
					t.Fatalf("%q gives %+v with %d", body, r, w.Code)
				}
			}
			for _, g := range f.Garbled {
				if len([]rune(g)) > 210 {
					t.Fatalf("a garbled line of %d characters", len(g))
				}
			}
		}
	})
}
