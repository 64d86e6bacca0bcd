package server

import (
	"bufio"
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
	"time"

	"plumbhook/contract"
	"plumbhook/crew"
)

// A stream ends soon after the session that opened it, signed out or taken away.
func TestStreamEndsWithSession(t *testing.T) {
	h := newHouse(t, nil)
	of := h.persons()
	h.Put(newFake(t, hanging()), Watched{Readout: kN})
	for name, end := range map[string]func(){
		"signed out": func() { h.send(of[crew.Viewer], "DELETE", "/api/session", nil) },
		"ended by an admin": func() {
			must[contract.User](h, of[crew.Admin], "PATCH", "/api/users/Rob", map[string]bool{"ended": true})
		},
	} {
		c := of[crew.Viewer]
		if name != "signed out" {
			c = of[crew.Rigger]
		}
		ctx, cancel := context.WithTimeout(t.Context(), 30*time.Second)
		r, _ := http.NewRequestWithContext(ctx, "GET", h.url+"/api/watch/stream", nil)
		w, err := c.Do(r)
		if err != nil || w.StatusCode != 200 {
			t.Fatal(w, err)
		}
		in := bufio.NewReader(w.Body)
		if _, err := in.ReadString('\n'); err != nil {
			t.Fatal(err)
		}
		end()
		for err == nil {
			_, err = in.ReadString('\n')
		}
		if ctx.Err() != nil {
			t.Errorf("%s: the stream goes on", name)
		}
		w.Body.Close()
		cancel()
	}
}

// Whatever is sent to whatever route, by whoever may do most: the answer is a
// refusal in the house's words, never a mistake of ours, and comes within bounds.
func TestHostileBodies(t *testing.T) {
	h := newHouse(t, nil)
	admin := h.persons()[crew.Admin]
	bomb := "a: &a [x,x,x,x,x,x,x,x,x]\n"
	for c := 'b'; c < 'z'; c++ {
		bomb += fmt.Sprintf("%c: &%c [%s]\n", c, c, strings.TrimSuffix(strings.Repeat("*"+string(c-1)+",", 9), ","))
	}
	text := func(s string) string {
		b, _ := json.Marshal(map[string]string{"text": s, "lift": s, "data": s})
		return string(b)
	}
	bodies := map[string]string{
		"oversize":       `{"text":"` + strings.Repeat("x", 40<<20) + `"}`,
		"deep":           strings.Repeat(`{"text":`, 20_000) + strings.Repeat("}", 20_000),
		"deep list":      strings.Repeat("[", 40_000),
		"alias bomb":     text(bomb),
		"deep YAML":      text(strings.Repeat("[", 10_000)),
		"deep YAML keys": text(strings.Repeat("{a: ", 5_000)),
		"huge numbers":   text(strings.Replace(simple, "4100 kg", "1e309 kg", 1)),
		"many digits":    text(strings.Replace(simple, "4100 kg", strings.Repeat("9", 20_000)+" kg", 1)),
		"NUL":            text("plumbhook: 1\ntitle: \x00\x01"),
		"no UTF-8":       "{\"text\":\"\xff\xfe\"}",
		"outside":        text(simple + "crane: {main: {chart: ../../../etc/passwd, radius: 12 m}}\n"),
		"no object":      `7`,
		"nothing":        ``,
	}
	tried := 0
	for route := range least {
		method, path, ok := strings.Cut(route, " ")
		if !ok || method == "GET" || method == "DELETE" || strings.HasPrefix(path, "/api/session") || path == "/api/setup" {
			continue
		}
		path = strings.NewReplacer("{id}", "1", "{n}", "1", "{hold}", "1", "{serial}", "1", "{name}", "1", "{sum}", "1").Replace(path)
		for name, body := range bodies {
			tried++
			status, answer := h.send(admin, method, path, body)
			if status >= 500 || status < 400 && !(strings.HasPrefix(answer, "{") && (path == "/api/check" || path == "/api/lifts")) /* a draft may be wrong, and says so */ {
				t.Errorf("%s, %s: %d %.200s", route, name, status, answer)
			}
			if strings.Contains(answer, "root:") || strings.Contains(answer, "goroutine") {
				t.Errorf("%s, %s tells too much: %.200s", route, name, answer)
			}
			if name == "oversize" && !strings.HasSuffix(path, "/seal") /* reads no body */ && status != 413 && status != 404 && status != 400 {
				t.Errorf("%s takes 40 MiB: %d %.200s", route, status, answer)
			}
		}
	}
	t.Logf("%d tries", tried)
}

// Names that a stranger chose do not become markup in a drawing.
func TestDrawingIsNoPage(t *testing.T) {
	h := newHouse(t, nil)
	admin := h.persons()[crew.Admin]
	evil := `"]]><script>alert(1)</script><image href='http://example.com/x' onload='x()'/>"`
	hostile := strings.NewReplacer("title: Pump motor out of well 3", "title: "+evil, "name: pump motor", "name: "+evil).Replace(simple)
	for _, view := range []string{"front", "plan"} {
		status, svg := h.send(admin, "POST", "/api/draw", map[string]string{"text": hostile, "view": view})
		if status != 200 || !strings.Contains(svg, "<svg") {
			t.Fatalf("%s: %d %.300s", view, status, svg)
		}
		for _, bad := range []string{"<script", "<image", "onload='", "javascript:", "<foreignObject"} {
			if strings.Contains(svg, bad) {
				t.Errorf("%s has %s in it", view, bad)
			}
		}
	}
}

// Paths that climb, methods that do not exist, hosts that are not ours, headers
// without end: nothing of it gets past the gate.
func TestHostileRequests(t *testing.T) {
	h := newHouse(t, nil)
	h.persons()
	for _, path := range []string{"/api/../etc/passwd", "/assets/../../etc/passwd", "/assets/%2e%2e/%2e%2e/etc/passwd", "//etc/passwd", "/screen/../api/users", "/api/gear/..%2f..%2fusers", "/api//users", "/.git/config", "/plumbhook.db", "/data/plumbhook.db", "/metrics", "/debug/pprof/"} {
		for _, method := range []string{"GET", "POST", "TRACE", "CONNECT", "PROPFIND", "OPTIONS"} {
			r := httptest.NewRequest("GET", "http://127.0.0.1/", nil)
			r.Method, r.RequestURI = method, path
			r.URL.Path = strings.NewReplacer("%2e", ".", "%2f", "/").Replace(path)
			w := httptest.NewRecorder()
			h.ServeHTTP(w, r)
			if body := w.Body.String(); strings.Contains(body, "root:") || strings.Contains(body, "SQLite") || w.Code == 200 && method != "GET" || strings.Contains(body, `"users"`) {
				t.Errorf("%s %s: %d %.100s", method, path, w.Code, body)
			}
		}
	}
	for _, host := range []string{"evil.example.com", "evil.example.com:8470", "localhost.evil.example.com", ""} {
		r := httptest.NewRequest("GET", "http://127.0.0.1/api/me", nil)
		r.Host = host
		w := httptest.NewRecorder()
		h.ServeHTTP(w, r)
		if w.Code != http.StatusMisdirectedRequest {
			t.Errorf("by the name %q: %d", host, w.Code)
		}
	}
	w := httptest.NewRecorder()
	h.ServeHTTP(w, httptest.NewRequest("GET", "http://127.0.0.1/", nil))
	for header, part := range map[string]string{
		"Content-Security-Policy": "default-src 'none'", "X-Content-Type-Options": "nosniff", "Referrer-Policy": "no-referrer",
		"Cross-Origin-Opener-Policy": "same-origin", "Cross-Origin-Resource-Policy": "same-origin",
	} {
		if !strings.Contains(w.Header().Get(header), part) {
			t.Errorf("%s: %q", header, w.Header().Get(header))
		}
	}
	if strings.Contains(w.Header().Get("Content-Security-Policy"), "unsafe") {
		t.Error("the policy lets scripts or styles in from anywhere")
	}
	// A forged, a foreign and a stale cookie open nothing.
	for _, token := range []string{"x", strings.Repeat("A", 26), strings.Repeat("x", 8000), "'; DROP TABLE sessions; --", "\x00"} {
		r := httptest.NewRequest("GET", "http://127.0.0.1/api/users", nil)
		r.Header.Set("Cookie", "plumbhook="+token)
		w := httptest.NewRecorder()
		h.ServeHTTP(w, r)
		if w.Code != 401 {
			t.Errorf("cookie %.20q: %d", token, w.Code)
		}
	}
}

// FuzzAPI sends anything to the routes that take a plan, a list or an order: the
// answer is never a mistake of ours.
func FuzzAPI(f *testing.F) {
	s := New(nil, Options{Log: quiet()})
	paths := []string{"/api/check", "/api/draw", "/api/size", "/api/card", "/api/lesson", "/api/session", "/api/watch/tare"}
	for i, body := range []string{`{"text":"plumbhook: 1\ntitle: x"}`, `{"text":"x","view":"plan"}`, `{}`, `[`, `{"text":""}`, `{"name":"Ada","password":"x"}`, `{"kind":"hung","who":"Ada"}`} {
		f.Add(i, []byte(body))
	}
	f.Fuzz(func(t *testing.T, i int, body []byte) {
		if i < 0 {
			i = -(i + 1)
		}
		path := paths[i%len(paths)]
		r := httptest.NewRequest("POST", "http://127.0.0.1"+path, bytes.NewReader(body))
		r.Header.Set("Content-Type", "application/json")
		w := httptest.NewRecorder()
		s.ServeHTTP(w, r)
		if w.Code >= 500 || w.Body.Len() == 0 {
			t.Errorf("%s: %d %s", path, w.Code, w.Body)
		}
	})
}
