package server

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"net"
	"net/http"
	"net/http/httptest"
	"os"
	"strings"
	"testing"
	"time"

	"github.com/santhosh-tekuri/jsonschema/v6"

	"plumbhook/alarm"
	"plumbhook/contract"
	"plumbhook/logbook"
	"plumbhook/reading"
	"plumbhook/watch"
)

// ask sends a request to a handler as the browser of a page of its own would.
func ask(h http.Handler, method, path, body string, header ...string) *httptest.ResponseRecorder {
	r := httptest.NewRequest(method, "http://127.0.0.1:8470"+path, strings.NewReader(body))
	if body != "" {
		r.Header.Set("Content-Type", "application/json")
	}
	for i := 0; i+1 < len(header); i += 2 {
		if header[i] == "Host" {
			r.Host = header[i+1]
		}
		r.Header.Set(header[i], header[i+1])
	}
	w := httptest.NewRecorder()
	h.ServeHTTP(w, r)
	return w
}

// schemas are those of the API's own description.
func schemas(t *testing.T, h http.Handler) (doc map[string]any, of func(name string) *jsonschema.Schema) {
	t.Helper()
	w := ask(h, "GET", "/api/openapi.json", "")
	parsed, err := jsonschema.UnmarshalJSON(w.Body)
	if err != nil {
		t.Fatal(err)
	}
	c := jsonschema.NewCompiler()
	c.DefaultDraft(jsonschema.Draft2020)
	if err := c.AddResource("http://api/", parsed); err != nil {
		t.Fatal(err)
	}
	return parsed.(map[string]any), func(pointer string) *jsonschema.Schema {
		s, err := c.Compile("http://api/#" + pointer)
		if err != nil {
			t.Fatal(err)
		}
		return s
	}
}

// The description is valid by the published schema of OpenAPI 3.1, and tells
// of no list that may be null.
func TestOpenAPIIsValid(t *testing.T) {
	h := New(newFake(t, hanging()), Options{Watched: Watched{Readout: kN, Readings: http.NotFoundHandler()}, Log: quiet()})
	published, err := os.ReadFile("testdata/openapi-3.1.json")
	if err != nil {
		t.Fatal(err)
	}
	schema, err := jsonschema.UnmarshalJSON(bytes.NewReader(published))
	if err != nil {
		t.Fatal(err)
	}
	c := jsonschema.NewCompiler()
	if err := c.AddResource("http://oas/", schema); err != nil {
		t.Fatal(err)
	}
	valid, err := c.Compile("http://oas/")
	if err != nil {
		t.Fatal(err)
	}
	doc, _ := schemas(t, h)
	if err := valid.Validate(doc); err != nil {
		t.Error(err)
	}
	for _, path := range []string{"/api/watch", "/api/watch/stream", "/api/watch/tare", "/api/watch/ack", "/api/watch/clear", "/api/watch/word", "/api/watch/mark", "/api/plan", "/api/card", "/api/status", "/api/readings", "/healthz", "/readyz"} {
		if doc["paths"].(map[string]any)[path] == nil {
			t.Errorf("%s is not described", path)
		}
	}
	var walk func(at string, v any)
	walk = func(at string, v any) {
		switch v := v.(type) {
		case map[string]any:
			if kinds, ok := v["type"].([]any); ok && kinds[0] == "array" && !strings.HasSuffix(at, "_m") {
				t.Errorf("%s may be null", at)
			}
			for k, x := range v {
				walk(at+"/"+k, x)
			}
		case []any:
			for i, x := range v {
				walk(fmt.Sprint(at, "/", i), x)
			}
		}
	}
	walk("", doc)
}

// Whatever is answered is what the description says, numbers that are missing
// and faults included.
func TestAnswersAsDescribed(t *testing.T) {
	bare := watch.View{State: watch.NoReading, TotalN: math.NaN(), LoadN: math.NaN(), StopN: math.Inf(1)}
	for name, v := range map[string]watch.View{"hanging": hanging(), "tight": tight(), "held": held(), "blind": blind(), "idle": idle(), "bare": bare} {
		f := newFake(t, v)
		f.status = Status{{"recording", OK, "12 GB left"}, {"gateway north", AtRisk, "silent for 20 s"}}
		h := New(f, Options{Watched: Watched{Readout: kN}, Log: quiet()})
		doc, of := schemas(t, h)
		for _, c := range []struct {
			method, path, body string
			code               int
		}{
			{"GET", "/api/watch", "", 200},
			{"GET", "/api/plan", "", 200},
			{"GET", "/api/card", "", 200},
			{"GET", "/api/status", "", 200},
			{"GET", "/healthz", "", 200},
			{"POST", "/api/watch/word", `{"says":"call hold"}`, 200},
			{"POST", "/api/watch/word", `{"says":"all is well","who":"A. Rigger"}`, 422},
			{"POST", "/api/watch/word", `{"says":"daylight"`, 400},
			{"POST", "/api/watch/mark", `{"who":"A. Rigger","text":"wind is up"}`, 200},
			{"POST", "/api/watch/mark", `{"who":"A. Rigger","text":"` + strings.Repeat("x", mostBody) + `"}`, 413},
			{"POST", "/api/watch/ack", `{"who":"A. Rigger","alarm":"nothing"}`, 404},
		} {
			w := ask(h, c.method, c.path, c.body)
			if w.Code != c.code {
				t.Errorf("%s: %s %s answers %d, want %d: %s", name, c.method, c.path, w.Code, c.code, w.Body)
				continue
			}
			answers := doc["paths"].(map[string]any)[c.path].(map[string]any)[strings.ToLower(c.method)].(map[string]any)["responses"].(map[string]any)
			if answers[fmt.Sprint(c.code)] == nil {
				t.Errorf("%s %s: %d is not described", c.method, c.path, c.code)
				continue
			}
			body, err := jsonschema.UnmarshalJSON(bytes.NewReader(w.Body.Bytes()))
			if err != nil {
				t.Errorf("%s: %s %s: %v", name, c.method, c.path, err)
				continue
			}
			pointer := "/paths/" + strings.NewReplacer("~", "~0", "/", "~1").Replace(c.path) + "/" + strings.ToLower(c.method) + fmt.Sprintf("/responses/%d/content/application~1json/schema", c.code)
			if err := of(pointer).Validate(body); err != nil {
				t.Errorf("%s: %s %s is not as described: %v", name, c.method, c.path, err)
			}
		}
	}
}

func faultsOf(t *testing.T, w *httptest.ResponseRecorder) contract.Faults {
	t.Helper()
	var f contract.Faults
	if err := json.Unmarshal(w.Body.Bytes(), &f); err != nil || len(f.Faults) == 0 || w.Header().Get("Content-Type") != "application/json" {
		t.Fatalf("not faults: %s, %v", w.Body, err)
	}
	return f
}

func TestEntries(t *testing.T) {
	for _, c := range []struct {
		name, path, body string
		view             watch.View
		code             int
		entered          string // kind, who, what
		fault            string // in the answer
	}{
		{"a name is needed", "word", `{"says":"daylight"}`, hanging(), 422, "", "name"},
		{"spaces are no name", "word", `{"says":"daylight","who":"   "}`, hanging(), 422, "", "name"},
		{"a hold needs none", "word", `{"says":"call hold"}`, hanging(), 200, "word somebody at a screen call hold", ""},
		{"a hold with one", "word", `{"says":"call hold","who":" B. Banks "}`, hanging(), 200, "word B. Banks call hold", ""},
		{"a name that breaks the line", "word", `{"says":"land","who":"A\nB"}`, hanging(), 422, "", "printed"},
		{"a key that is not known", "mark", `{"who":"A. Rigger","text":"x","signed":true}`, hanging(), 422, "", "unexpected property"},
		{"a remark", "mark", `{"who":"A. Rigger","text":"wind is up"}`, hanging(), 200, "mark A. Rigger wind is up", ""},
		{"zero", "tare", `{"who":"A. Rigger","kind":"hung"}`, idle(), 200, "tare A. Rigger hung", ""},
		{"zero under load", "tare", `{"who":"A. Rigger","kind":"attached"}`, hanging(), 409, "tare A. Rigger attached", "it bears load"},
		{"zero insisted on", "tare", `{"who":"A. Rigger","kind":"attached","insists":true}`, hanging(), 200, "tare A. Rigger attached insists", ""},
		{"an alarm is seen", "ack", `{"who":"A. Rigger","alarm":"leg_stop E"}`, held(), 200, "ack A. Rigger leg_stop E", ""},
		{"a stop whose cause is there", "clear", `{"who":"A. Rigger","alarm":"leg_stop E"}`, held(), 409, "clear A. Rigger leg_stop E", "still there"},
		{"a stop whose cause is gone", "clear", `{"who":"A. Rigger","alarm":"shock"}`, held(), 200, "clear A. Rigger shock", ""},
		{"a body that breaks off", "mark", `{"who":"A. Rigger"`, hanging(), 400, "", "JSON"},
		{"nobody clears", "clear", `{"alarm":"shock"}`, held(), 422, "", "who"},
	} {
		f := newFake(t, c.view)
		w := ask(New(f, Options{Watched: Watched{Readout: kN}, Log: quiet()}), "POST", "/api/watch/"+c.path, c.body)
		if w.Code != c.code {
			t.Errorf("%s: %d, want %d: %s", c.name, w.Code, c.code, w.Body)
			continue
		}
		got := ""
		for _, e := range f.entered {
			got += strings.Join(strings.Fields(fmt.Sprint(e.Kind, " ", e.Who, " ", e.Says, e.Alarm, e.Tare, e.Text)), " ")
			if e.Insists {
				got += " insists"
			}
			if e.Signed {
				t.Errorf("%s: a claimed name counts as signed in", c.name)
			}
		}
		if got != c.entered {
			t.Errorf("%s: entered %q, want %q", c.name, got, c.entered)
		}
		if c.fault != "" && !strings.Contains(fmt.Sprint(faultsOf(t, w)), c.fault) {
			t.Errorf("%s: the fault does not speak of %q: %s", c.name, c.fault, w.Body)
		}
	}
}

// An entry that may not be on disk is not called done; what went wrong inside
// is told to the log alone.
func TestEntryNotOnDisk(t *testing.T) {
	f := newFake(t, hanging())
	f.fails = errors.New("write /srv/lift/record/00017: no space")
	w := ask(New(f, Options{Watched: Watched{Readout: kN}, Log: quiet()}), "POST", "/api/watch/mark", `{"who":"A. Rigger","text":"x"}`)
	if w.Code != 503 || strings.Contains(w.Body.String(), "/srv") || !strings.Contains(fmt.Sprint(faultsOf(t, w)), "not known to be on disk") {
		t.Errorf("%d: %s", w.Code, w.Body)
	}
}

// Pages of other sites, and names that others can lead here, get nothing.
func TestOthersKeepOut(t *testing.T) {
	f := newFake(t, hanging())
	h := New(f, Options{Watched: Watched{Readout: kN}, Log: quiet(), Hosts: []string{"watch.kestrel-point.example"}})
	const hold = `{"says":"call hold"}`
	for _, c := range []struct {
		name   string
		header []string
		code   int
	}{
		{"own page", []string{"Sec-Fetch-Site", "same-origin"}, 200},
		{"no browser", nil, 200},
		{"page of another site", []string{"Sec-Fetch-Site", "cross-site"}, 403},
		{"page of another port", []string{"Sec-Fetch-Site", "same-site"}, 403},
		{"old browser, other origin", []string{"Origin", "http://elsewhere.example"}, 403},
		{"old browser, own origin", []string{"Origin", "http://127.0.0.1:8470"}, 200},
		{"a name led here", []string{"Host", "elsewhere.example", "Sec-Fetch-Site", "same-origin"}, 421},
		{"localhost", []string{"Host", "localhost:8470"}, 200},
		{"LOCALHOST.", []string{"Host", "LOCALHOST."}, 200},
		{"version 6", []string{"Host", "[::1]:8470"}, 200},
		{"a name of the site's", []string{"Host", "watch.kestrel-point.example"}, 200},
		{"no name", []string{"Host", ""}, 421},
	} {
		before := len(f.entered)
		w := ask(h, "POST", "/api/watch/word", hold, c.header...)
		if w.Code != c.code || (len(f.entered) > before) != (c.code == 200) {
			t.Errorf("%s: %d, want %d", c.name, w.Code, c.code)
		}
		if c.code != 200 {
			faultsOf(t, w)
		}
	}
	if w := ask(h, "GET", "/api/watch", "", "Host", "elsewhere.example"); w.Code != 421 {
		t.Errorf("how the lift stands is told to a name led here: %d", w.Code)
	}
}

func TestReady(t *testing.T) {
	for _, c := range []struct {
		name   string
		status Status
		age    time.Duration
		code   int
	}{
		{"all well", Status{{"recording", OK, ""}}, 0, 200},
		{"at risk", Status{{"recording", AtRisk, "disk is slow"}}, 0, 200},
		{"down", Status{{"recording", OK, ""}, {"bus", Down, "gone"}}, 0, 503},
		{"the watch stands still", Status{{"recording", OK, ""}}, time.Minute, 503},
	} {
		v := hanging()
		v.At = reading.At(time.Now().Add(-c.age))
		f := newFake(t, v)
		f.status = c.status
		w := ask(New(f, Options{Watched: Watched{Readout: kN}, Log: quiet()}), "GET", "/readyz", "")
		var got contract.Health
		if err := json.Unmarshal(w.Body.Bytes(), &got); err != nil || w.Code != c.code || got.Ready != (c.code == 200) {
			t.Errorf("%s: %d %+v %v", c.name, w.Code, got, err)
		}
	}
}

// What there is to say of an alarm on the screens is what the registry says, in
// English word for word; the other languages have as much.
func TestScreensSayWhatTheRegistrySays(t *testing.T) {
	for _, language := range []string{"en", "es"} {
		b, err := os.ReadFile("../../web/src/words/" + language + ".json")
		if err != nil {
			t.Fatal(err)
		}
		var words map[string]string
		if err := json.Unmarshal(b, &words); err != nil {
			t.Fatal(err)
		}
		for _, s := range alarm.Registry {
			for key, want := range map[string]string{"": s.Title, ".ground": s.Ground, ".air": s.Air} {
				got := words["alarm."+string(s.Kind)+key]
				if got == "" || language == "en" && got != want {
					t.Errorf("%s: alarm.%s%s says %q, the registry %q", language, s.Kind, key, got, want)
				}
			}
		}
	}
}

// Batches of readings go to whoever takes them.
func TestReadingsMounted(t *testing.T) {
	took := false
	h := New(newFake(t, hanging()), Options{Log: quiet(), Watched: Watched{Readout: kN, Readings: http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		_, _ = io.Copy(io.Discard, r.Body)
		took = true
	})}})
	if w := ask(h, "POST", "/api/readings", `{}`); w.Code != 200 || !took {
		t.Errorf("%d, taken %v", w.Code, took)
	}
	if w := ask(New(newFake(t, hanging()), Options{Watched: Watched{Readout: kN}, Log: quiet()}), "POST", "/api/readings", `{}`); w.Code != 404 {
		t.Errorf("nobody takes readings, and the answer is %d", w.Code)
	}
}

// When the server ends its streams end with it.
func TestServeEnds(t *testing.T) {
	ln, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	ctx, stop := context.WithCancel(t.Context())
	ended := make(chan error, 1)
	f := newFake(t, hanging())
	go func() { ended <- New(f, Options{Watched: Watched{Readout: kN}, Log: quiet()}).Serve(ctx, ln) }()
	r, err := http.Get("http://" + ln.Addr().String() + "/api/watch/stream")
	if err != nil {
		t.Fatal(err)
	}
	defer r.Body.Close()
	stop()
	if _, err := io.Copy(io.Discard, r.Body); err != nil {
		t.Error(err)
	}
	if err := <-ended; err != nil {
		t.Error(err)
	}
}

// A tug test is entered for legs that the plan has one for; the lift from above
// has every leg where it pulls.
func TestTug(t *testing.T) {
	f := newFake(t, idle())
	h := New(f, Options{Watched: Watched{Readout: kN}, Log: quiet()})
	for _, c := range []struct {
		body string
		code int
	}{
		{`{"who":"A. Rigger","leg":"east"}`, 200},
		{`{"who":"A. Rigger","leg":"east","load":"250 kg"}`, 200},
		{`{"leg":"east"}`, 422},
		{`{"who":"A. Rigger","leg":"top"}`, 404},
		{`{"who":"A. Rigger","leg":"east","load":"2 ton"}`, 422},
		{`{"who":"A. Rigger","leg":"east","load":"250"}`, 422},
		{`{"who":"A. Rigger","leg":"east","load":"0 kg"}`, 422},
	} {
		if w := ask(h, "POST", "/api/watch/tug", c.body); w.Code != c.code {
			t.Errorf("%s answers %d, want %d: %s", c.body, w.Code, c.code, w.Body)
		}
	}
	if n := len(f.entered); n != 2 || f.entered[0].Says != logbook.Tug || f.entered[0].Text != "east" || f.entered[1].Text != watch.PullText("east", 250*9.80665) {
		t.Errorf("entered: %+v", f.entered)
	}
	var a contract.Above
	if err := json.Unmarshal(ask(h, "GET", "/api/watch/above", "").Body.Bytes(), &a); err != nil {
		t.Fatal(err)
	}
	// The file says where the lugs are: 0.7 m west and east.
	at := map[string]float64{}
	for _, l := range a.Legs {
		if l.Channel != "" {
			at[l.Channel] = l.AtM[0]
		}
	}
	if math.Abs(at["W"]+0.7) > 1e-6 || math.Abs(at["E"]-0.7) > 1e-6 {
		t.Errorf("the lugs are at %v", at)
	}
	if a.Box == nil || a.Box[1][0]-a.Box[0][0] != 1.6 {
		t.Errorf("the outline is %v", a.Box)
	}
}
