package server

import (
	"encoding/json"
	"math"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"testing/fstest"

	"plumbhook/contract"
)

func example(tb testing.TB, name string) string {
	tb.Helper()
	b, err := os.ReadFile(filepath.Join("..", "..", "examples", name))
	if err != nil {
		tb.Fatal(err)
	}
	return string(b)
}

func body(tb testing.TB, v any) string {
	tb.Helper()
	b, err := json.Marshal(v)
	if err != nil {
		tb.Fatal(err)
	}
	return string(b)
}

func desk() *Server { return New(nil, Options{Log: quiet()}) }

func into[T any](t *testing.T, h http.Handler, method, path string, send any) T {
	t.Helper()
	text := ""
	if send != nil {
		text = body(t, send)
	}
	w := ask(h, method, path, text)
	var v T
	if w.Code != 200 {
		t.Fatalf("%s %s: %d %s", method, path, w.Code, w.Body)
	}
	if err := json.Unmarshal(w.Body.Bytes(), &v); err != nil {
		t.Fatal(err)
	}
	return v
}

// A quick look gives the nominal forces of the full check, and never says that
// the plan holds.
func TestDeskCheck(t *testing.T) {
	h := desk()
	text := example(t, "pump-motor.yaml")
	full := into[contract.DeskCheck](t, h, "POST", "/api/check", map[string]any{"text": text})
	quick := into[contract.DeskCheck](t, h, "POST", "/api/check", map[string]any{"text": text, "quick": true})
	if full.Quick || !quick.Quick || full.Verdict != "holds" || quick.Verdict != "incomplete" || quick.NotAssessed != full.NotAssessed+1 {
		t.Errorf("full %s with %d open, quick %s with %d", full.Verdict, full.NotAssessed, quick.Verdict, quick.NotAssessed)
	}
	for name, l := range full.Legs {
		q := quick.Legs[name]
		if q.TensionN != l.TensionN || q.P95N != q.TensionN || l.P95N <= l.TensionN {
			t.Errorf("leg %s: full %v of %v, quick %v of %v", name, l.TensionN, l.P95N, q.TensionN, q.P95N)
		}
	}
	for i, e := range full.Expected {
		if q := quick.Expected[i]; math.Abs(q.NominalN-e.NominalN) > 1e-6 || q.LowN != q.HighN {
			t.Errorf("channel %s: %+v, quick %+v", e.Channel, e, q)
		}
	}
	if len(quick.Findings) != len(full.Findings) {
		t.Errorf("quick finds %v, full %v", quick.Findings, full.Findings)
	}
	w := ask(h, "POST", "/api/check", body(t, map[string]any{"text": strings.Replace(text, "12 t", "12 ton", 1)}))
	if f := faultsOf(t, w).Faults[0]; w.Code != 422 || f.Code != "ambiguous" || f.Line == 0 || f.Column == 0 || f.Do == "" {
		t.Errorf("%d %+v", w.Code, f)
	}
	if w := ask(h, "POST", "/api/check", body(t, map[string]any{"text": strings.Repeat("#", mostPlan+1)})); w.Code != 413 && w.Code != 422 {
		t.Errorf("a file too long: %d", w.Code)
	}
}

func TestDeskDraw(t *testing.T) {
	h := desk()
	seen := map[string]bool{}
	for _, view := range []string{"front", "side", "plan"} {
		w := ask(h, "POST", "/api/draw", body(t, map[string]any{"text": example(t, "pump-motor.yaml"), "view": view, "unit": "t"}))
		svg := w.Body.String()
		if w.Code != 200 || w.Header().Get("Content-Type") != "image/svg+xml" || !strings.HasPrefix(svg, "<svg") || seen[svg] {
			t.Errorf("%s: %d %s %.60s", view, w.Code, w.Header().Get("Content-Type"), svg)
		}
		seen[svg] = true
	}
	for _, bad := range []map[string]any{{"view": "back"}, {"step": "never"}, {"unit": "ton"}} {
		bad["text"] = example(t, "pump-motor.yaml")
		if w := ask(h, "POST", "/api/draw", body(t, bad)); w.Code != 422 && w.Code != 404 || len(faultsOf(t, w).Faults) == 0 {
			t.Errorf("%v: %d", bad, w.Code)
		}
	}
}

// What is suggested does what it says once the edits are made.
func TestDeskSize(t *testing.T) {
	h := desk()
	text := example(t, "pump-motor.yaml")
	d := into[contract.Desk](t, h, "POST", "/api/size", map[string]any{"text": text})
	var s *contract.Suggestion
	for i := range d.Suggestions {
		if len(d.Suggestions[i].Edits) > 0 && strings.HasSuffix(d.Suggestions[i].Edits[0].Path, ".length") {
			s = &d.Suggestions[i]
		}
	}
	if s == nil || d.Size.Lengths == nil {
		t.Fatalf("no lengths among %+v", d.Suggestions)
	}
	slings := strings.Split(text, "length: 2.4 m")
	if len(slings) != 3 {
		t.Fatal("the example is another now")
	}
	west, east := "2.4 m", "2.4 m"
	for _, e := range s.Edits {
		switch e.Path {
		case "legs.west.stack[4].length":
			west = e.Value
		case "legs.east.stack[4].length":
			east = e.Value
		default:
			t.Errorf("edit of %s", e.Path)
		}
	}
	after := into[contract.DeskCheck](t, h, "POST", "/api/check", map[string]any{"text": slings[0] + "length: " + west + slings[1] + "length: " + east + slings[2], "quick": true})
	before := into[contract.DeskCheck](t, h, "POST", "/api/check", map[string]any{"text": text, "quick": true})
	if a, b := after.Bodies["load"].TiltDeg, before.Bodies["load"].TiltDeg; a > b/5 {
		t.Errorf("tilt %v before, %v after", b, a)
	}
}

// Every row of the lesson is in balance: what the legs hold up is the weight of
// load and rigging below them, and the planned height comes out as planned.
func TestDeskLesson(t *testing.T) {
	l := into[contract.Lesson](t, desk(), "POST", "/api/lesson", map[string]any{"text": example(t, "pump-motor.yaml")})
	if len(l.Rows) < 8 || l.RunsOut == nil || l.Table == nil {
		t.Fatalf("%d rows, %+v", len(l.Rows), l.RunsOut)
	}
	for i, r := range l.Rows {
		sum := 0.0
		for _, name := range []string{"west", "east"} {
			g := r.Legs[name]
			sum += g.ShareN
			if math.Abs(g.TensionN*math.Sin(g.FromHorizontalDeg*math.Pi/180)-g.ShareN) > 1e-6*g.TensionN || math.Abs(g.FromHorizontalDeg+g.FromVerticalDeg-90) > 1e-9 ||
				math.Abs(g.IncludedDeg-2*g.FromVerticalDeg) > 1e-9 || math.Abs(g.Factor*g.ShareN-g.TensionN) > 1e-6*g.TensionN {
				t.Errorf("row %d: %+v", i, g)
			}
		}
		if sum < l.WeightN || sum > 1.03*l.WeightN {
			t.Errorf("at %.2f m the legs hold up %.0f N of %.0f N", r.HeadroomM, sum, l.WeightN)
		}
		if i > 0 && (r.HeadroomM >= l.Rows[i-1].HeadroomM || *r.Used <= *l.Rows[i-1].Used || r.Squeeze[0].ForceN <= l.Rows[i-1].Squeeze[0].ForceN) {
			t.Errorf("a lower hook asks for less: row %d %+v after %+v", i, r, l.Rows[i-1])
		}
	}
}

func TestSchemaServed(t *testing.T) {
	w := ask(desk(), "GET", "/api/schema", "")
	if w.Code != 200 || !json.Valid(w.Body.Bytes()) || !strings.Contains(w.Body.String(), `"legs"`) {
		t.Errorf("%d %.80s", w.Code, w.Body)
	}
}

// Without a lift on the watch its routes say so, and what to do.
func TestNoWatch(t *testing.T) {
	h := desk()
	for _, path := range []string{"/api/watch", "/api/watch/stream", "/api/plan", "/api/card"} {
		if w := ask(h, "GET", path, ""); w.Code != 404 || faultsOf(t, w).Faults[0].Do == "" {
			t.Errorf("%s: %d %s", path, w.Code, w.Body)
		}
	}
	if w := ask(h, "POST", "/api/watch/mark", `{"who":"A. Rigger","text":"x"}`); w.Code != 404 {
		t.Errorf("mark: %d", w.Code)
	}
	if w := ask(h, "GET", "/readyz", ""); w.Code != 200 {
		t.Errorf("readyz: %d", w.Code)
	}
}

func TestApp(t *testing.T) {
	h := New(nil, Options{Log: quiet(), App: fstest.MapFS{
		"index.html":           {Data: []byte("<!doctype html><title>Plumbhook</title>")},
		"assets/main-1f2e.js":  {Data: []byte(strings.Repeat("export const a = 1;\n", 200))},
		"assets/main-1f2e.css": {Data: []byte("body{}")},
	}})
	for path, want := range map[string]struct {
		code        int
		kind, cache string
	}{
		"/":                     {200, "text/html", "no-cache"},
		"/lifts/17/plan":        {200, "text/html", "no-cache"},
		"/assets/main-1f2e.js":  {200, "text/javascript", "immutable"},
		"/assets/main-1f2e.css": {200, "text/css", "immutable"},
		"/assets/gone.js":       {404, "application/json", ""},
		"/live":                 {200, "text/html", "no-cache"},
		"/api/nothing":          {404, "application/json", "no-store"},
	} {
		w := ask(h, "GET", path, "")
		if w.Code != want.code || !strings.HasPrefix(w.Header().Get("Content-Type"), want.kind) || !strings.Contains(w.Header().Get("Cache-Control"), want.cache) {
			t.Errorf("%s: %d %v", path, w.Code, w.Header())
		}
		if csp := w.Header().Get("Content-Security-Policy"); !strings.Contains(csp, "default-src 'none'") || strings.Contains(csp, "unsafe") || strings.Contains(csp, "http") {
			t.Errorf("%s: policy %q", path, csp)
		}
		if tag := w.Header().Get("ETag"); tag != "" {
			if again := ask(h, "GET", path, "", "If-None-Match", tag); again.Code != http.StatusNotModified {
				t.Errorf("%s is sent again: %d", path, again.Code)
			}
		}
	}
	packed := ask(h, "GET", "/assets/main-1f2e.js", "", "Accept-Encoding", "gzip, br")
	if packed.Header().Get("Content-Encoding") != "gzip" || packed.Body.Len() > 400 {
		t.Errorf("not packed: %d bytes", packed.Body.Len())
	}
	if w := ask(h, "POST", "/lifts", "{}"); w.Code != http.StatusMethodNotAllowed {
		t.Errorf("a page takes a POST: %d", w.Code)
	}
	if w := ask(desk(), "GET", "/", ""); w.Code != http.StatusNotFound || !strings.Contains(w.Body.String(), "built without its app") {
		t.Errorf("without the app: %d %s", w.Code, w.Body)
	}
}

// BenchmarkDesk is what an edit waits for: a quick look over HTTP.
func BenchmarkDesk(b *testing.B) {
	h := desk()
	for _, c := range []struct{ name, path, file string }{
		{"check two legs", "/api/check", "pump-motor.yaml"},
		{"check two cranes", "/api/check", "two-cranes.yaml"},
		{"check exchanger", "/api/check", "exchanger-bundle.yaml"},
		{"draw two legs", "/api/draw", "pump-motor.yaml"},
		{"lesson two legs", "/api/lesson", "pump-motor.yaml"},
		{"size two legs", "/api/size", "pump-motor.yaml"},
	} {
		send := map[string]any{"text": example(b, c.file)}
		if c.path == "/api/check" {
			send["quick"] = true
		}
		text := body(b, send)
		b.Run(c.name, func(b *testing.B) {
			for b.Loop() {
				if w := ask(h, "POST", c.path, text); w.Code != 200 {
					b.Fatalf("%d %s", w.Code, w.Body)
				}
			}
		})
	}
}
