package server

import (
	"context"
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"net/http/cookiejar"
	"net/http/httptest"
	"regexp"
	"strings"
	"sync"
	"testing"
	"time"

	"plumbhook/contract"
	"plumbhook/crew"
	"plumbhook/internal/store"
	"plumbhook/report"
)

// house is the app over real HTTP with a real store.
type house struct {
	*testing.T
	url   string
	store *store.Store
	at    *clock
	*Server
}

// clock is set by the tests.
type clock struct {
	mu  sync.Mutex
	now time.Time
}

func (c *clock) Now() time.Time {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.now
}

func (c *clock) pass(d time.Duration) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.now = c.now.Add(d)
}

const code = "CODE-OF-THE-CONSOLE"

func newHouse(t *testing.T, with func(*Options)) *house {
	t.Helper()
	st, err := store.Open(context.Background(), t.TempDir(), true)
	if err != nil {
		t.Fatal(err)
	}
	at := &clock{now: time.Date(2026, 11, 25, 8, 0, 0, 0, time.UTC)}
	o := Options{Log: quiet(), Gear: st, Lifts: st, Crew: st, Code: code, Now: at.Now}
	if with != nil {
		with(&o)
	}
	s := New(nil, o)
	web := httptest.NewServer(s)
	t.Cleanup(func() { web.Close(); st.Close() })
	return &house{t, web.URL, st, at, s}
}

// browser keeps its cookies.
func (h *house) browser() *http.Client {
	jar, err := cookiejar.New(nil)
	if err != nil {
		h.Fatal(err)
	}
	return &http.Client{Jar: jar, CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }}
}

// send sends an order and gives status and answer.
func (h *house) send(c *http.Client, method, path string, order any) (int, string) {
	h.Helper()
	var in io.Reader
	if text, ok := order.(string); ok {
		in = strings.NewReader(text)
	} else if order != nil {
		b, err := json.Marshal(order)
		if err != nil {
			h.Fatal(err)
		}
		in = strings.NewReader(string(b))
	}
	r, err := http.NewRequest(method, h.url+path, in)
	if err != nil {
		h.Fatal(err)
	}
	if in != nil {
		r.Header.Set("Content-Type", "application/json")
	}
	w, err := c.Do(r)
	if err != nil {
		h.Fatal(err)
	}
	defer w.Body.Close()
	b, err := io.ReadAll(w.Body)
	if err != nil {
		h.Fatal(err)
	}
	return w.StatusCode, string(b)
}

// must sends an order that has to be taken.
func must[T any](h *house, c *http.Client, method, path string, order any) (v T) {
	h.Helper()
	status, text := h.send(c, method, path, order)
	if status != 200 {
		h.Fatalf("%s %s: %d %s", method, path, status, text)
	}
	if err := json.Unmarshal([]byte(text), &v); err != nil {
		h.Fatal(err)
	}
	return v
}

// refused sends an order that has to be refused, with a word in the faults and
// something to do.
func (h *house) refused(c *http.Client, method, path string, order any, status int, word string) {
	h.Helper()
	got, text := h.send(c, method, path, order)
	var f contract.Faults
	if err := json.Unmarshal([]byte(text), &f); err != nil || got != status || !strings.Contains(text, word) || len(f.Faults) == 0 || f.Faults[0].Do == "" {
		h.Errorf("%s %s: %d %s, want %d with %q and something to do", method, path, got, text, status, word)
	}
}

const password = "four short words"

// persons makes one browser for each role, signed in.
func (h *house) persons() map[crew.Role]*http.Client {
	h.Helper()
	admin := h.browser()
	must[contract.Me](h, admin, "POST", "/api/setup", map[string]string{"code": code, "name": "Ada", "password": password})
	of := map[crew.Role]*http.Client{crew.Nobody: h.browser(), crew.Admin: admin}
	for role, name := range map[crew.Role]string{crew.Viewer: "Vic", crew.Rigger: "Rob", crew.Planner: "Pia"} {
		must[contract.User](h, admin, "POST", "/api/users", map[string]string{"name": name, "password": password, "role": string(role)})
		of[role] = h.browser()
		must[contract.Me](h, of[role], "POST", "/api/session", map[string]string{"name": name, "password": password})
	}
	link := must[contract.ScreenLink](h, admin, "POST", "/api/screens", map[string]string{"name": "yard"})
	of[crew.Screen] = h.browser()
	if status, _ := h.send(of[crew.Screen], "GET", link.Path, nil); status != http.StatusFound {
		h.Fatalf("the screen's link: %d", status)
	}
	return of
}

// Every route that the mux knows stands in the table, and is refused to whoever
// stands below its role: 401 to nobody, 403 to somebody.
func TestRoles(t *testing.T) {
	h := newHouse(t, nil)
	of := h.persons()
	var doc struct {
		Paths map[string]map[string]any `json:"paths"`
	}
	_, text := h.send(of[crew.Admin], "GET", "/api/openapi.json", nil)
	if err := json.Unmarshal([]byte(text), &doc); err != nil {
		t.Fatal(err)
	}
	described := 0
	for path, methods := range doc.Paths {
		for method := range methods {
			described++
			route := strings.ToUpper(method) + " " + path
			if path == "/api/readings" {
				route = path
			}
			if _, ok := least[route]; !ok {
				t.Errorf("%s has no role", route)
			}
		}
	}
	parts := regexp.MustCompile(`\{[a-z]+\}`)
	tried := 0
	for route, need := range least {
		method, path, ok := strings.Cut(route, " ")
		if !ok {
			method, path = "GET", route
		}
		path = parts.ReplaceAllString(path, "1")
		if path == "/api/" {
			path = "/api/nothing"
		}
		for role, c := range of {
			if method == "DELETE" || strings.HasSuffix(path, "stream") && role.Reaches(need) {
				continue // would sign out, or not end
			}
			tried++
			status, text := h.send(c, method, path, map[string]string{}) // an order that no route takes
			denied := status == 401 && strings.Contains(text, "nobody is signed in") || status == 403 && strings.Contains(text, "this takes the role")
			if path == "/api/me" && role == crew.Nobody {
				continue // 401 is its answer
			}
			if denied == role.Reaches(need) {
				t.Errorf("%s as %q: %d %s; it takes %q", route, role, status, text, need)
			}
			if denied && (status == 401) != (role == crew.Nobody) {
				t.Errorf("%s as %q: %d", route, role, status)
			}
		}
	}
	t.Logf("%d routes described, %d in the table, %d tries", described, len(least), tried)
	if tried < 5*len(least)-20 {
		t.Errorf("only %d tries", tried)
	}
}

func TestSignIn(t *testing.T) {
	h := newHouse(t, nil)
	c := h.browser()
	if m := must[contract.Me](h, c, "GET", "/api/me", nil); !m.Setup || m.Open || m.Role != "" {
		t.Errorf("before anybody: %+v", m)
	}
	h.refused(c, "POST", "/api/setup", map[string]string{"code": "guess", "name": "Eve", "password": password}, 403, "code")
	h.refused(c, "POST", "/api/setup", map[string]string{"code": code, "name": "Ada", "password": "short"}, 422, "password")
	if m := must[contract.Me](h, c, "POST", "/api/setup", map[string]string{"code": code, "name": "Ada", "password": password}); m.Role != "admin" {
		t.Errorf("the first: %+v", m)
	}
	h.refused(h.browser(), "POST", "/api/setup", map[string]string{"code": code, "name": "Eve", "password": password}, 409, "already")
	if m := must[contract.Me](h, c, "GET", "/api/me", nil); m.Name != "Ada" || m.Setup {
		t.Errorf("signed in: %+v", m)
	}
	h.refused(h.browser(), "GET", "/api/me", nil, 401, "sign in")

	// The cookie is for this site alone, and no script reads it.
	w, err := http.Post(h.url+"/api/session", "application/json", strings.NewReader(`{"name":"ada","password":"`+password+`"}`))
	if err != nil {
		t.Fatal(err)
	}
	w.Body.Close()
	if k := w.Cookies(); len(k) != 1 || !k[0].HttpOnly || k[0].SameSite != http.SameSiteStrictMode || k[0].Path != "/" || len(k[0].Value) < 20 {
		t.Errorf("cookie %+v", k)
	}
	if k := (&Server{o: Options{TLS: true}}).cookie("x"); !k.Secure || !strings.HasPrefix(k.Name, "__Host-") {
		t.Errorf("under TLS %+v", k)
	}
	// Nor does a page of another site get anything done.
	r, _ := http.NewRequest("POST", h.url+"/api/users", strings.NewReader(`{}`))
	r.Header.Set("Sec-Fetch-Site", "cross-site")
	if w, err := c.Do(r); err != nil || w.StatusCode != 403 {
		t.Errorf("from another site: %v %v", w, err)
	}

	// Five wrong passwords, then it takes longer; the right one waits too.
	thief := h.browser()
	for range free {
		h.refused(thief, "POST", "/api/session", map[string]string{"name": "Ada", "password": "wrong password"}, 401, "do not go together")
	}
	h.refused(thief, "POST", "/api/session", map[string]string{"name": "Ada", "password": password}, 429, "wait")
	h.at.pass(2 * time.Second)
	must[contract.Me](h, thief, "POST", "/api/session", map[string]string{"name": "Ada", "password": password})
	h.refused(h.browser(), "POST", "/api/session", map[string]string{"name": "Nobody", "password": password}, 401, "do not go together")

	// Signing out ends it; so does time.
	if status, _ := h.send(thief, "DELETE", "/api/session", nil); status != 200 {
		t.Errorf("signing out: %d", status)
	}
	h.refused(thief, "GET", "/api/users", nil, 401, "")
	h.at.pass(13 * time.Hour)
	h.refused(c, "GET", "/api/users", nil, 401, "")
}

func TestPINChangesHands(t *testing.T) {
	h := newHouse(t, nil)
	of := h.persons()
	h.refused(of[crew.Rigger], "PATCH", "/api/users/Rob", map[string]string{"pin": "4711", "current_password": "wrong password"}, 401, "")
	h.refused(of[crew.Rigger], "PATCH", "/api/users/Rob", map[string]string{"pin": "1234", "current_password": password}, 422, "PIN")
	h.refused(of[crew.Rigger], "PATCH", "/api/users/Rob", map[string]string{"role": "admin"}, 403, "admin")
	h.refused(of[crew.Rigger], "PATCH", "/api/users/Pia", map[string]string{"pin": "4711"}, 403, "admin")
	if u := must[contract.User](h, of[crew.Rigger], "PATCH", "/api/users/Rob", map[string]string{"pin": "4711", "current_password": password}); !u.PIN {
		t.Error("no PIN")
	}
	h.refused(of[crew.Nobody], "POST", "/api/session/pin", map[string]string{"name": "Rob", "pin": "4711"}, 401, "nobody is signed in")
	tablet := of[crew.Viewer]
	if m := must[contract.Me](h, tablet, "POST", "/api/session/pin", map[string]string{"name": "rob", "pin": "4711"}); m.Name != "Rob" || !m.ByPIN {
		t.Errorf("by PIN: %+v", m)
	}
	for range crew.MaxTries {
		h.refused(tablet, "POST", "/api/session/pin", map[string]string{"name": "Rob", "pin": "9999"}, 401, "PIN")
	}
	h.at.pass(time.Hour)
	h.refused(tablet, "POST", "/api/session/pin", map[string]string{"name": "Rob", "pin": "4711"}, 409, "password")
	must[contract.Me](h, tablet, "POST", "/api/session", map[string]string{"name": "Rob", "password": password})
	must[contract.Me](h, tablet, "POST", "/api/session/pin", map[string]string{"name": "Rob", "pin": "4711"})

	// Who is ended is out at once; the last admin stays.
	h.refused(of[crew.Admin], "PATCH", "/api/users/Ada", map[string]bool{"ended": true}, 409, "only admin")
	must[contract.User](h, of[crew.Admin], "PATCH", "/api/users/Rob", map[string]bool{"ended": true})
	h.refused(tablet, "GET", "/api/lifts", nil, 401, "")
	h.refused(h.browser(), "POST", "/api/session", map[string]string{"name": "Rob", "password": password}, 401, "")
}

// simple is a plan all of whose figures are known exactly, so that it is checked
// at once.
const simple = `plumbhook: 1
title: Pump motor out of well 3
load:
  name: pump motor
  mass: 4100 kg
  cg: 0 0 0.9 m
  lugs:
    west: {at: -0.7 0 1.6 m, wll: 5 t}
    east: {at: 0.7 0 1.6 m, wll: 5 t}
hooks:
  main: {wll: 12 t}
legs:
  west: {from: main, to: load.west, length: 3 m, wll: 5 t}
  east: {from: main, to: load.east, length: 3 m, wll: 5 t}
`

// A lift from its first draft to an approved plan, by named persons.
func TestLift(t *testing.T) {
	h := newHouse(t, nil)
	of := h.persons()
	pia, rob := of[crew.Planner], of[crew.Rigger]
	text := simple
	l := must[contract.Lift](h, pia, "POST", "/api/lifts", map[string]string{"text": text, "note": "first"})
	if l.Title != "Pump motor out of well 3" || l.State != "draft" || l.Verdict != "holds" || l.Worst == nil || l.Revisions[0].Who != "Pia" || l.Letter != "A" {
		t.Fatalf("%+v", l)
	}
	at := "/api/lifts/" + l.ID
	longer := strings.Replace(text, "mass: 4100 kg", "mass: 4300 kg", 1)
	l = must[contract.Lift](h, pia, "POST", at+"/revisions", map[string]any{"text": longer, "base": 1, "note": "weighed", "who": "somebody else"})
	if l.Revision != 2 || l.Revisions[1].Who != "Pia" || l.Revisions[1].Worst.Used <= l.Revisions[0].Worst.Used {
		t.Errorf("%+v", l.Revisions)
	}
	h.refused(pia, "POST", at+"/revisions", map[string]any{"text": text, "base": 1}, 409, "meanwhile")
	d := must[contract.LiftChanges](h, pia, "GET", at+"/compare?from=1&to=2", nil)
	if len(d.Changes) != 1 || d.Changes[0].Path != "load.mass" || d.Effect == nil || d.Effect.WorstTo.Used <= d.Effect.WorstFrom.Used || d.Effect.WeightToN-d.Effect.WeightFromN < 1900 {
		t.Errorf("%+v %+v", d.Changes, d.Effect)
	}
	if r := must[contract.LiftText](h, rob, "GET", at+"/revisions/1", nil); r.Text != text || r.SHA256 != l.Revisions[0].SHA256 {
		t.Error("revision 1 is another")
	}
	h.refused(rob, "GET", at+"/revisions/3", nil, 404, "revision")
	printed := func(path string) string {
		status, pdf := h.send(rob, "GET", path, nil)
		if status != 200 || !strings.HasPrefix(pdf, "%PDF") || !strings.HasSuffix(strings.TrimSpace(pdf), "%%EOF") {
			t.Errorf("%s: status %d, %.200s", path, status, pdf)
		}
		return pdf
	}
	for _, kind := range report.Before {
		printed(at + "/revisions/1/sheets/" + kind)
	}
	crewCard := at + "/revisions/1/sheets/crew"
	first := printed(crewCard)
	if printed(crewCard) != first {
		t.Error("the same sheet has other bytes")
	}
	if first == printed(at+"/revisions/2/sheets/crew") || first == printed(crewCard+"?language=es&unit=t&units=us&number=KP-0042") {
		t.Error("another revision, another language have the same bytes")
	}
	h.refused(rob, "GET", at+"/revisions/1/sheets/poster", nil, 422, "crew")
	h.refused(rob, "GET", at+"/revisions/3/sheets/crew", nil, 404, "revision")
	h.refused(rob, "GET", crewCard+"?unit=ton", nil, 422, "ton")
	h.refused(rob, "GET", "/api/lifts/none", nil, 404, "list")

	order := map[string]any{"revision": 2, "sha256": l.Revisions[1].SHA256, "unit": "t", "password": password, "holds": []string{"all bolts out"}}
	with := func(key string, v any) map[string]any {
		o := map[string]any{}
		for k, x := range order {
			o[k] = x
		}
		o[key] = v
		return o
	}
	h.refused(pia, "POST", at+"/approve", with("password", "wrong password"), 401, "")
	h.refused(pia, "POST", at+"/approve", with("unit", "ton"), 422, "unit")
	h.refused(pia, "POST", at+"/approve", with("sha256", l.Revisions[0].SHA256), 409, "load the lift again")
	l = must[contract.Lift](h, pia, "POST", at+"/approve", order)
	if l.State != "approved" || l.Approval.Who != "Pia" || l.Unit != "t" || *l.Approved != 2 || !l.Approval.At.Equal(h.at.Now()) || len(l.Holds) != 1 {
		t.Errorf("%+v", l)
	}
	l = must[contract.Lift](h, rob, "POST", at+"/holds/1", map[string]any{"done": true})
	if *l.Holds[0].DoneBy != "Rob" {
		t.Errorf("%+v", l.Holds)
	}
	h.refused(rob, "POST", at+"/holds/2", map[string]any{"done": true}, 404, "hold point")
	h.refused(pia, "POST", at+"/revisions", map[string]any{"text": text, "base": 2}, 409, "reopen")
	l = must[contract.Lift](h, pia, "POST", at+"/revisions", map[string]any{"text": text, "base": 2, "reopen": true})
	if l.State != "draft" || l.Approval != nil || l.Says == "" {
		t.Errorf("reopened: %+v", l)
	}

	// A plan that fails takes an answer to each finding.
	weak := strings.Replace(text, "wll: 12 t", "wll: 4 t", 1)
	f := must[contract.Lift](h, pia, "POST", "/api/lifts", map[string]string{"text": weak})
	if f.Verdict != "fails" || len(f.Revisions[0].Stops) == 0 {
		t.Fatalf("%+v", f.Revisions)
	}
	order = map[string]any{"revision": 1, "sha256": f.Revisions[0].SHA256, "unit": "kN", "password": password}
	h.refused(pia, "POST", "/api/lifts/"+f.ID+"/approve", order, 409, f.Revisions[0].Stops[0][:20])
	var answers []contract.LiftOverride
	for _, s := range f.Revisions[0].Stops {
		answers = append(answers, contract.LiftOverride{Finding: s, Reason: "hook block re-rated, certificate 17"})
	}
	f = must[contract.Lift](h, pia, "POST", "/api/lifts/"+f.ID+"/approve", with("overrides", answers))
	if len(f.Approval.Overrides) != len(answers) {
		t.Errorf("%+v", f.Approval)
	}

	// Unfinished work is kept, and cannot be approved.
	bad := must[contract.Lift](h, pia, "POST", "/api/lifts", map[string]string{"text": "plumbhook: 1\ntitle: Half a plan\n"})
	if bad.Verdict != "invalid" || bad.Title != "Half a plan" {
		t.Errorf("%+v", bad)
	}
	h.refused(pia, "POST", "/api/lifts/"+bad.ID+"/approve", map[string]any{"revision": 1, "sha256": bad.Revisions[0].SHA256, "unit": "kN", "password": password}, 422, "check")
	c := must[contract.Lift](h, pia, "POST", "/api/lifts", map[string]string{"from": l.ID})
	if c.Title != l.Title || c.ID == l.ID || !strings.Contains(c.Revisions[0].Note, "copied") {
		t.Errorf("%+v", c)
	}
	for q, want := range map[string]int{"": 4, "?q=PUMP+motor": 3, "?q=half": 1, "?state=approved": 1, "?q=rob": 0} {
		if list := must[contract.Lifts](h, rob, "GET", "/api/lifts"+q, nil); len(list.Lifts) != want {
			t.Errorf("%s: %d lifts, want %d", q, len(list.Lifts), want)
		}
	}
	h.refused(rob, "POST", at+"/watch", map[string]string{"rehearse": "as_planned"}, 422, "serve")
}

// Where no sign-in is asked for, the page can say so.
func TestOpen(t *testing.T) {
	h := newHouse(t, func(o *Options) { o.Open = true })
	c := h.browser()
	if m := must[contract.Me](h, c, "GET", "/api/me", nil); !m.Open || m.Role != "admin" || m.Name != "" {
		t.Errorf("%+v", m)
	}
	l := must[contract.Lift](h, c, "POST", "/api/lifts", map[string]string{"text": simple})
	if l.Revisions[0].Who != nobodySigned {
		t.Errorf("%+v", l.Revisions)
	}
	order := map[string]any{"revision": 1, "sha256": l.Revisions[0].SHA256, "unit": "kN"}
	h.refused(c, "POST", "/api/lifts/"+l.ID+"/approve", order, 422, "name")
	order["who"] = "P. Planner"
	if l = must[contract.Lift](h, c, "POST", "/api/lifts/"+l.ID+"/approve", order); l.Approval.Who != "P. Planner" {
		t.Errorf("%+v", l.Approval)
	}
}

// A signed-in person's name stands in the logbook, whatever the order claims.
func TestWatchBearsTheSession(t *testing.T) {
	h := newHouse(t, nil)
	of := h.persons()
	f := newFake(t, hanging())
	h.Put(f, Watched{Readout: kN})
	must[contract.Watch](h, of[crew.Rigger], "POST", "/api/watch/mark", map[string]string{"who": "Pia", "text": "wind is up"})
	must[contract.Watch](h, of[crew.Viewer], "POST", "/api/watch/hold", map[string]string{})
	if len(f.entered) != 2 || f.entered[0].Who != "Rob" || !f.entered[0].Signed || f.entered[1].Who != "Vic" {
		t.Errorf("%+v", f.entered)
	}
	must[contract.Watch](h, of[crew.Screen], "GET", "/api/watch", nil)
}

// The register over HTTP: entering, searching, what happened, labels, a list.
func TestGear(t *testing.T) {
	h := newHouse(t, nil)
	of := h.persons()
	pia, rob, vic := of[crew.Planner], of[crew.Rigger], of[crew.Viewer]
	csv := "serial,kind,rating,location,examined,examine_by\n"
	for i := range 60 {
		csv += fmt.Sprintf("KP-%03d,bow shackle,6.5 short ton,\"Kestrel Point, cage %d\",2026-07-12,2027-01-12\n", i, i%4)
	}
	csv += "KP-100,web sling,3 ton,cage 1,,\n"
	take := func(c *http.Client, query string) (v contract.GearImport) {
		w, err := c.Post(h.url+"/api/gear/import"+query, "text/csv", strings.NewReader(csv))
		if err != nil {
			t.Fatal(err)
		}
		defer w.Body.Close()
		if err := json.NewDecoder(w.Body).Decode(&v); err != nil || w.StatusCode != 200 {
			t.Fatal(w.StatusCode, err)
		}
		return v
	}
	if v := take(pia, "?dry=true"); v.New != 60 || v.Refused != 1 || v.Taken || v.Problems[0].Line != 62 || v.Problems[0].Code != "ambiguous" {
		t.Errorf("dry: %+v", v)
	}
	if p := must[contract.GearPage](h, vic, "GET", "/api/gear", nil); len(p.Items) != 0 {
		t.Errorf("a dry run wrote %d items", len(p.Items))
	}
	take(pia, "")
	p := must[contract.GearPage](h, vic, "GET", "/api/gear?q=shackle+cage&limit=50", nil)
	if len(p.Items) != 50 || !p.More || p.Items[0].Serial != "KP-000" || !p.Items[0].Fit || *p.Items[0].DueOn != "2027-01-12" {
		t.Errorf("%d items, more %v: %+v", len(p.Items), p.More, p.Items[0])
	}
	if p = must[contract.GearPage](h, vic, "GET", "/api/gear?q=shackle&after=KP-049", nil); len(p.Items) != 10 || p.More {
		t.Errorf("second page: %d, %v", len(p.Items), p.More)
	}
	g := must[contract.GearShown](h, pia, "POST", "/api/gear", map[string]any{"serial": "KP-200", "kind": "load cell", "wll": "6.5 t", "calibrated": "2026-01-12", "calibrate_by": "2027-01-12"})
	if g.Item.Serial != "KP-200" || *g.History[0].By != "Pia" {
		t.Errorf("%+v", g)
	}
	h.refused(pia, "POST", "/api/gear", map[string]any{"serial": "kp-200", "kind": "load cell"}, 409, "")
	h.refused(pia, "POST", "/api/gear", map[string]any{"serial": "KP-201", "kind": "load cell", "wll": "6.5 ton"}, 422, "ton")
	h.refused(pia, "POST", "/api/gear", map[string]any{"serial": "KP-201", "kind": "load cell", "made": "03/04/2026"}, 422, "2026-0")
	h.refused(rob, "POST", "/api/gear/KP-000/changes", map[string]any{"kind": "quarantine"}, 422, "reason")
	g = must[contract.GearShown](h, rob, "POST", "/api/gear/KP-000/changes", map[string]any{"kind": "inspection", "tag": "bad", "latch": "not applicable", "damage": "good", "who": "Pia"})
	if g.Item.Status != "quarantined" || *g.Item.StatusBy != "Rob" || g.Findings[0].Severity != "stop" {
		t.Errorf("%+v", g.Item)
	}
	g = must[contract.GearShown](h, rob, "POST", "/api/gear/kp-000/changes", map[string]any{"kind": "release", "reason": "new tag"})
	if len(g.History) != 3 || g.Item.Status != "in service" {
		t.Errorf("%+v", g)
	}
	must[contract.GearShown](h, rob, "POST", "/api/gear/KP-001/changes", map[string]any{"kind": "examination", "report": map[string]any{
		"employer": "Kestrel Point Waterworks", "employer_address": "1 Weir Lane", "premises": "1 Weir Lane", "swl": "6.5 short ton", "basis": "within 6 months",
		"fit": true, "next": "2027-05-20", "on": "2026-11-20", "examiner": "E. Xaminer", "examiner_address": "2 Weir Lane", "qualifications": "examiner", "self_employed": true,
	}})
	h.refused(rob, "POST", "/api/gear/KP-001/changes", map[string]any{"kind": "examination", "report": map[string]any{
		"employer": "", "employer_address": "", "premises": "", "basis": "", "fit": true, "on": "2026-11-20", "examiner": "", "examiner_address": "", "qualifications": "",
	}}, 422, "Schedule 1")
	if d := must[contract.GearDues](h, vic, "GET", "/api/gear/due?until=2027-01-12", nil); len(d.Due) != 61 { // 59 shackles, and a cell with two duties
		t.Errorf("%d due", len(d.Due))
	}
	if status, pdf := h.send(vic, "GET", "/api/gear/labels.pdf?serials=KP-000,KP-001", nil); status != 200 || !strings.HasPrefix(pdf, "%PDF") {
		t.Errorf("labels: %d %.40s", status, pdf)
	}
	h.refused(vic, "GET", "/api/gear/labels.pdf", nil, 422, "serials")
	h.refused(vic, "GET", "/api/gear/KP-999", nil, 404, "")
	// A serial in a plan is taken from the register, and held against its dates.
	f, err := h.store.Put(context.Background(), "cert.pdf", strings.NewReader("certificate"))
	if err != nil {
		t.Fatal(err)
	}
	h.refused(vic, "GET", "/api/gear/KP-000/files/"+f.Sum, nil, 404, "file")
}
