package cli

import (
	"bytes"
	"context"
	"crypto/tls"
	"crypto/x509"
	"encoding/json"
	"fmt"
	"io"
	"net"
	"net/http"
	"os"
	"os/exec"
	"strings"
	"testing"
	"time"

	"plumbhook/contract"
	"plumbhook/crew"
	"plumbhook/internal/doccheck"
	"plumbhook/record"
	"plumbhook/record/seal"
)

// running is the app as serve runs it.
type running struct {
	*watching
	url   string
	ended chan error
	stop  context.CancelFunc
}

func started(t *testing.T, dir string, with func(*watching)) *running {
	t.Helper()
	w := &watching{dir: dir, listen: "127.0.0.1:0", mqtt: "127.0.0.1:0", readout: "kN", signIn: signInNever, getenv: os.Getenv}
	if with != nil {
		with(w)
	}
	if err := w.open(t.Context()); err != nil {
		t.Fatal(err)
	}
	ctx, stop := context.WithCancel(context.Background())
	r := &running{w, fmt.Sprintf("%s://%s", w.scheme, w.ln.Addr()), make(chan error, 1), stop}
	go func() { r.ended <- w.serve(ctx) }()
	return r
}

func (r *running) close(t *testing.T) {
	t.Helper()
	r.stop()
	if err := <-r.ended; err != nil {
		t.Error(err)
	}
	r.watching.close()
}

func ask[T any](t *testing.T, r *running, method, path string, order any) (v T) {
	t.Helper()
	b, err := json.Marshal(order)
	if err != nil {
		t.Fatal(err)
	}
	req, err := http.NewRequest(method, r.url+path, strings.NewReader(string(b)))
	if err != nil {
		t.Fatal(err)
	}
	req.Header.Set("Content-Type", "application/json")
	w, err := http.DefaultClient.Do(req)
	if err != nil {
		t.Fatal(err)
	}
	defer w.Body.Close()
	text, _ := io.ReadAll(w.Body)
	if err := json.Unmarshal(text, &v); err != nil || w.StatusCode != 200 {
		t.Fatalf("%s %s: %d %s", method, path, w.StatusCode, text)
	}
	return v
}

func refuses(t *testing.T, r *running, path string, order any, status int) {
	t.Helper()
	b, err := json.Marshal(order)
	if err != nil {
		t.Fatal(err)
	}
	w, err := http.Post(r.url+path, "application/json", strings.NewReader(string(b)))
	if err != nil {
		t.Fatal(err)
	}
	defer w.Body.Close()
	var f contract.Faults
	if err := json.NewDecoder(w.Body).Decode(&f); err != nil || w.StatusCode != status || len(f.Faults) == 0 {
		t.Errorf("%s: %d %+v, want %d", path, w.StatusCode, f, status)
	}
}

// until looks until something is the case.
func until(t *testing.T, what string, is func() bool) {
	t.Helper()
	for range 1200 {
		if is() {
			return
		}
		time.Sleep(50 * time.Millisecond)
	}
	t.Fatalf("never: %s", what)
}

// A lift planned, approved, watched as a rehearsal, over a restart of the
// program in between, ended and gone through again.
func TestWatchFromTheApp(t *testing.T) {
	dir := t.TempDir()
	r := started(t, dir, nil)
	plan, err := os.ReadFile("../../examples/pump-motor.yaml")
	if err != nil {
		t.Fatal(err)
	}
	l := ask[contract.Lift](t, r, "POST", "/api/lifts", map[string]string{"text": string(plan)})
	at := "/api/lifts/" + l.ID
	ask[contract.Lift](t, r, "POST", at+"/approve", map[string]any{"who": "P. Planner", "revision": 1, "sha256": l.Revisions[0].SHA256, "unit": "t"})
	refuses(t, r, at+"/watch", map[string]string{"map": "channel_map: 1\ngateways: {}\n"}, 422)
	refuses(t, r, at+"/watch", map[string]string{"rehearse": "nothing of the kind"}, 404)
	l = ask[contract.Lift](t, r, "POST", at+"/watch", map[string]string{"who": "R. Rigger", "rehearse": "as_planned"})
	if l.State != "on the watch" || len(l.Watches) != 1 || l.Watches[0].By != "R. Rigger" {
		t.Fatalf("%+v", l)
	}
	refuses(t, r, at+"/watch", map[string]string{"rehearse": "as_planned"}, 409)
	reads := func() bool {
		v := ask[contract.Watch](t, r, "GET", "/api/watch", nil)
		return v.TotalN != nil && v.Unit.Unit == "t" && len(v.Cells) == 2 && v.Cells[0].ReadN != nil
	}
	until(t, "the cells read", reads)
	ask[contract.Watch](t, r, "POST", "/api/watch/mark", map[string]string{"who": "R. Rigger", "text": "before the restart"})
	until(t, "the trend has points", func() bool {
		return len(ask[contract.Trend](t, r, "GET", "/api/watch/trend?channel=W", nil).Points) > 2
	})
	r.close(t)

	r = started(t, dir, nil)
	defer r.close(t)
	if hello := strings.Join(r.hello(), "\n"); !strings.Contains(hello, "goes on with the watch") {
		t.Errorf("after the restart: %s", hello)
	}
	until(t, "the cells read again", reads)
	if v := ask[contract.Watch](t, r, "GET", "/api/watch", nil); len(v.Away) != 1 {
		t.Errorf("away %+v", v.Away)
	}
	l = ask[contract.Lift](t, r, "POST", at+"/end", map[string]string{"who": "R. Rigger", "outcome": "stopped", "note": "enough seen"})
	if l.State != "approved" || l.Watches[0].To == nil {
		t.Errorf("%+v", l)
	}
	list := ask[contract.Records](t, r, "GET", "/api/records", nil)
	if len(list.Records) != 1 || list.Records[0].Lift != l.ID || list.Records[0].Rehearse != "as_planned" {
		t.Fatalf("%+v", list)
	}
	v := ask[contract.Replayed](t, r, "GET", "/api/records/"+list.Records[0].ID+"/views?points=20", nil)
	if n := len(v.Views); n < 8 || n > 40 || len(v.Lost) > 0 || v.LengthS <= 0 {
		t.Fatalf("%d views over %.1f s, lost %v", len(v.Views), v.LengthS, v.Lost)
	}
	for i := 1; i < len(v.Views); i++ {
		if v.Views[i].At.Before(v.Views[i-1].At) {
			t.Error("views out of order")
		}
	}
	if last := v.Views[len(v.Views)-1]; len(last.Away) != 1 || last.Unit.Unit != "t" {
		t.Errorf("the last view: %+v", last.Away)
	}
	one := ask[contract.Replayed](t, r, "GET", "/api/records/"+list.Records[0].ID+"/views?at=1", nil)
	if len(one.Views) != 1 || one.Views[0].At.Sub(one.From) < 0 || one.Views[0].At.Sub(one.From) > 1500*time.Millisecond {
		t.Errorf("at 1 s: %d views", len(one.Views))
	}
	sealedRecord(t, r, list.Records[0].ID)
	for _, kind := range []string{"customer", "record"} {
		res, err := http.Get(r.url + "/api/records/" + list.Records[0].ID + "/sheets/" + kind)
		if err != nil {
			t.Fatal(err)
		}
		pdf, err := io.ReadAll(res.Body)
		res.Body.Close()
		if err != nil || res.StatusCode != 200 || !bytes.HasPrefix(pdf, []byte("%PDF")) {
			t.Errorf("%s: status %d, %v, %.200s", kind, res.StatusCode, err, pdf)
		}
		if text := pdfText(t, pdf); !strings.Contains(text, "NOTHING WAS LIFTED") {
			t.Errorf("%s of a rehearsal: %s", kind, text)
		}
	}
	if w, err := http.Get(r.url + "/api/watch"); err != nil || w.StatusCode != 404 {
		t.Errorf("after the end: %v", w.StatusCode)
	}
}

// sealedRecord seals a record, once, and has what is downloaded verified as
// anybody would who got it.
func sealedRecord(t *testing.T, r *running, id string) {
	t.Helper()
	at := r.url + "/api/records/" + id
	load := func(path string, status int) []byte {
		t.Helper()
		a, err := http.Get(at + path)
		if err != nil {
			t.Fatal(err)
		}
		defer a.Body.Close()
		b, err := io.ReadAll(a.Body)
		if err != nil || a.StatusCode != status {
			t.Fatalf("%s: status %d, %v: %s", path, a.StatusCode, err, b)
		}
		return b
	}
	load("/record.zip", http.StatusUnprocessableEntity) // not sealed yet
	for range 2 {                                       // the second time it stays as it is
		if rec := ask[contract.Record](t, r, "POST", "/api/records/"+id+"/seal", map[string]string{}); !rec.Sealed || rec.ID != id {
			t.Fatalf("%+v", rec)
		}
	}
	zipped := load("/record.zip", http.StatusOK)
	rep, err := seal.Verify(bytes.NewReader(zipped), int64(len(zipped)))
	if err != nil || !rep.Intact() || rep.Manifest.Number != 1 || rep.Manifest.Readings == 0 {
		t.Fatalf("%+v, %v", rep, err)
	}
	if list := ask[contract.Records](t, r, "GET", "/api/records", nil); !list.Records[0].Sealed {
		t.Errorf("the list: %+v", list)
	}
	frames := 0
	for f, err := range record.ReadCSV("readings.csv", bytes.NewReader(load("/readings.csv", http.StatusOK))) {
		if err != nil || len(f.Garbled) > 0 {
			t.Fatalf("%v %v", f, err)
		}
		frames += len(f.Readings)
	}
	if uint64(frames) != rep.Manifest.Readings {
		t.Errorf("%d readings in the CSV, %d in the record", frames, rep.Manifest.Readings)
	}
}

// pdfText reads a PDF with a reader that is not ours.
func pdfText(t *testing.T, pdf []byte) string {
	t.Helper()
	tool, err := exec.LookPath("pdftotext")
	if err != nil {
		t.Skip("pdftotext is not on the PATH: apt-get install poppler-utils")
	}
	cmd := exec.Command(tool, "-layout", "-", "-")
	cmd.Stdin = bytes.NewReader(pdf)
	text, err := cmd.Output()
	if err != nil {
		t.Fatal(err)
	}
	return string(text)
}

// Who has to sign in, by how the program is started.
func TestWhoSignsIn(t *testing.T) {
	for name, c := range map[string]struct {
		with    func(*watching)
		persons bool
		says    string // in what it prints
		open    bool
	}{
		"the app asks":                {func(w *watching) { w.signIn = "auto" }, false, "this code makes the first admin", false},
		"never, on this machine":      {nil, false, "nobody has to sign in", true},
		"never, though there are":     {nil, true, "nobody has to sign in", true},
		"persons there, so no code":   {func(w *watching) { w.signIn = "auto" }, true, "app", false},
		"always":                      {func(w *watching) { w.signIn = signInAlways }, false, "this code makes the first admin", false},
		"plain for others, with code": {func(w *watching) { w.signIn, w.listen, w.plain = "auto", "0.0.0.0:0", true }, false, "WARNING", false},
	} {
		t.Run(name, func(t *testing.T) {
			dir := t.TempDir()
			if c.persons {
				r := started(t, dir, nil)
				if err := r.store.PutPerson(t.Context(), crew.Person{Name: "Ada", Role: crew.Admin}); err != nil {
					t.Fatal(err)
				}
				r.close(t)
			}
			r := started(t, dir, c.with)
			defer r.close(t)
			hello := strings.Join(r.hello(), "\n")
			if !strings.Contains(hello, c.says) || c.persons && strings.Contains(hello, "first admin") {
				t.Errorf("it says %s", hello)
			}
			_, port, _ := strings.Cut(strings.TrimPrefix(r.ln.Addr().String(), "[::]"), ":")
			w, err := http.Get("http://127.0.0.1:" + port + "/api/lifts")
			if err != nil {
				t.Fatal(err)
			}
			w.Body.Close()
			if (w.StatusCode == 200) != c.open {
				t.Errorf("to nobody it answers %d", w.StatusCode)
			}
		})
	}
	for name, c := range map[string]struct {
		with func(*watching)
		says string
	}{
		"never, for others": {func(w *watching) { w.listen, w.plain = "0.0.0.0:0", true }, "sign-in"},
		"others, no TLS":    {func(w *watching) { w.signIn, w.listen = "auto", "0.0.0.0:0" }, "certify"},
	} {
		w := &watching{dir: t.TempDir(), listen: "127.0.0.1:0", mqtt: "127.0.0.1:0", readout: "kN", signIn: signInNever, getenv: os.Getenv}
		c.with(w)
		if err := w.open(t.Context()); err == nil || !strings.Contains(err.Error(), c.says) {
			t.Errorf("%s: %v", name, err)
		}
	}
}

// The commands that the page of the app shows make certificates with which
// another machine that trusts them reaches the app.
func TestCertify(t *testing.T) {
	text, err := os.ReadFile("../../docs/app.md")
	if err != nil {
		t.Fatal(err)
	}
	t.Chdir(t.TempDir())
	printed := ""
	for _, b := range doccheck.Read(string(text)).Blocks {
		if b.Kind != "sh" {
			continue
		}
		for line := range strings.Lines(b.Text) {
			var out, errs strings.Builder
			if status := Run(words(strings.TrimSpace(line))[1:], &out, &errs); status != 0 {
				t.Fatalf("%s: %d %s", line, status, errs.String())
			}
			printed += out.String()
		}
	}
	r := started(t, "kestrel-point", func(w *watching) { w.signIn, w.listen = "auto", "0.0.0.0:0" })
	defer r.close(t)
	_, port, err := net.SplitHostPort(r.ln.Addr().String())
	if err != nil {
		t.Fatal(err)
	}
	pem, err := os.ReadFile("kestrel-point/tls/authority.crt")
	if err != nil {
		t.Fatal(err)
	}
	trust := x509.NewCertPool()
	trust.AppendCertsFromPEM(pem)
	tablet := &http.Client{Transport: &http.Transport{TLSClientConfig: &tls.Config{RootCAs: trust}}}
	for _, host := range []string{"127.0.0.1", "localhost"} {
		w, err := tablet.Get("https://" + net.JoinHostPort(host, port) + "/certificate")
		if err != nil {
			t.Fatal(err)
		}
		page, _ := io.ReadAll(w.Body)
		w.Body.Close()
		lines := strings.Split(strings.TrimSpace(printed), "\n")
		if sum := lines[len(lines)-1]; w.StatusCode != 200 || len(sum) < 90 || !strings.Contains(string(page), sum) {
			t.Errorf("%s: %d, and the page does not show %q", host, w.StatusCode, sum)
		}
	}
	if w, err := http.Get("http://127.0.0.1:" + port + "/"); err == nil && w.StatusCode != 400 {
		t.Errorf("plain HTTP is answered: %d", w.StatusCode)
	}
	if w, err := (&http.Client{Transport: &http.Transport{TLSClientConfig: &tls.Config{}}}).Get("https://127.0.0.1:" + port + "/"); err == nil {
		t.Errorf("a machine that does not trust it is answered: %d", w.StatusCode)
	}
}
