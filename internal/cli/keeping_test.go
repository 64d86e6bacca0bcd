package cli

import (
	"bytes"
	"crypto/tls"
	"fmt"
	"io"
	"net/http"
	"net/http/cookiejar"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"plumbhook/internal/audit"
	"plumbhook/internal/authority"
	"plumbhook/internal/doccheck"
)

// What a folder in use holds is there again after a restore, and nothing is
// written over.
func TestBackupAndRestore(t *testing.T) {
	dir := stocked(t)
	place := t.TempDir()
	out, back := filepath.Join(place, "b.zip"), filepath.Join(place, "back")
	r := started(t, dir, nil) // on-line
	status, told, errs := run("backup", "--data", dir, "-o", out)
	if status != exitHolds || !strings.Contains(told, "3 pieces of gear") {
		t.Fatal(status, told, errs)
	}
	if status, _, errs := run("move", "--data", dir, "--to", "sqlite"); status != exitInvalid || !strings.Contains(errs, "another program serves") {
		t.Error("a folder that is served can be moved: ", status, errs)
	}
	r.close(t)
	if status, told, errs = run("restore", out, "--data", back); status != exitHolds || !strings.Contains(told, "3 pieces of gear") {
		t.Fatal(status, told, errs)
	}
	contains(t, "the restored register", does(t, back, "list"), "KP-")
	for _, args := range [][]string{{"restore", out, "--data", back}, {"backup", "--data", dir, "-o", out}, {"restore", filepath.Join(dir, "plumbhook.db"), "--data", back + "2"}, {"move", "--data", dir, "--to", "elsewhere"}, {"move", "--data", dir, "--to", "sqlite"}} {
		if status, _, errs := run(args...); status != exitInvalid || errs == "" {
			t.Errorf("%v: %d %s", args, status, errs)
		}
	}
}

// TestDoctor: each ill that a test can make is named, and gone again when mended.
func TestDoctor(t *testing.T) {
	dir := stocked(t)
	ask := func() (int, string) {
		t.Helper()
		status, told, errs := run("doctor", "--data", dir, "--listen", "127.0.0.1:0", "--mqtt", "127.0.0.1:0", "--on", "2026-03-02")
		if errs != "" {
			t.Fatal(errs)
		}
		return status, told
	}
	status, told := ask()
	if status != exitFails {
		t.Error("nothing is wrong with a folder that was never backed up")
	}
	contains(t, "the doctor", told, "WRONG   backup: none was ever made", "WRONG   persons: nobody", "well    register: 3 pieces", "certificates: none")
	if status, _, errs := run("backup", "--data", dir, "-o", filepath.Join(t.TempDir(), "b.zip")); status != exitHolds {
		t.Fatal(errs)
	}
	if _, told = ask(); strings.Contains(told, "WRONG   backup") {
		t.Error("a backup made is not seen:\n", told)
	}
	for name, ill := range map[string]struct{ file, text, says string }{
		"audit":    {auditFile, `{"n":2,"prev":"x"}` + "\n", "WRONG   audit log: the audit log was altered after line 0"},
		"register": {"plumbhook.db", strings.Repeat("no database ", 1000), "WRONG   register"},
		"tls":      {"tls/authority.crt", "none", "WRONG   certificates"},
	} {
		at := filepath.Join(dir, ill.file)
		was, had := os.ReadFile(at)
		if err := os.MkdirAll(filepath.Dir(at), 0o700); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(at, []byte(ill.text), 0o600); err != nil {
			t.Fatal(err)
		}
		status, told := ask()
		if status != exitFails {
			t.Errorf("%s: status %d", name, status)
		}
		contains(t, name, told, ill.says)
		if had == nil {
			_ = os.WriteFile(at, was, 0o600)
		} else {
			os.Remove(at)
		}
	}
	if status, _, errs := run("doctor", "--data", filepath.Join(dir, "nowhere")); status != exitInvalid || errs == "" {
		t.Error(status, errs)
	}
	r := started(t, dir, nil)
	defer r.close(t)
	_, told, _ = run("doctor", "--data", dir, "--listen", r.ln.Addr().String())
	contains(t, "the doctor of a running program", told, "a program serves it", "watch: No lift is on the watch")
	_, told, _ = run("doctor", "--data", dir, "--listen", "127.0.0.1:1")
	contains(t, "the doctor who asks elsewhere", told, "does not answer at 127.0.0.1:1")
}

// locked is a log that several write to.
type locked struct {
	mu sync.Mutex
	bytes.Buffer
}

func (l *locked) Write(p []byte) (int, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.Buffer.Write(p)
}

// TestSecretsStayOut: with all that can be logged logged, neither log nor audit
// log nor figures have a secret in them; and what was done is in each.
func TestSecretsStayOut(t *testing.T) {
	log := &locked{}
	dir := t.TempDir()
	r := started(t, dir, func(w *watching) {
		w.signIn, w.metrics, w.log = signInAlways, "127.0.0.1:0", logger(log, "json", "debug")
	})
	var console string
	for _, n := range r.notes {
		if _, code, ok := strings.Cut(n, "first admin: "); ok {
			console = code
		}
	}
	jar, _ := cookiejar.New(nil)
	client := &http.Client{Jar: jar}
	send := func(method, path, body string) (int, string) {
		t.Helper()
		q, err := http.NewRequest(method, r.url+path, strings.NewReader(body))
		if err != nil {
			t.Fatal(err)
		}
		q.Header.Set("Content-Type", "application/json")
		w, err := client.Do(q)
		if err != nil {
			t.Fatal(err)
		}
		defer w.Body.Close()
		b, _ := io.ReadAll(w.Body)
		return w.StatusCode, string(b)
	}
	const password, wrong, pin = "correct-lamp-hoist", "wrong-lamp-hoist", "480913"
	for _, x := range []struct {
		method, path, body string
		want               int
	}{
		{"POST", "/api/setup", fmt.Sprintf(`{"code":%q,"name":"A. Planner","password":%q}`, console, password), 200},
		{"POST", "/api/users", fmt.Sprintf(`{"name":"B. Rigger","password":%q,"role":"rigger","pin":%q}`, password, pin), 200},
		{"POST", "/api/session", fmt.Sprintf(`{"name":"B. Rigger","password":%q}`, wrong), 401},
		{"POST", "/api/session/pin", fmt.Sprintf(`{"name":"B. Rigger","pin":%q}`, pin), 200},
		{"POST", "/api/users", `{"name":"C","password":"` + password, 403}, // no JSON, and no admin
	} {
		if got, body := send(x.method, x.path, x.body); got != x.want {
			t.Fatalf("%s %s: %d %s", x.method, x.path, got, body)
		}
	}
	var figures string
	for _, n := range r.hello() {
		if _, at, ok := strings.Cut(n, "figures "); ok {
			w, err := http.Get(strings.TrimSpace(at))
			if err != nil {
				t.Fatal(err)
			}
			b, _ := io.ReadAll(w.Body)
			w.Body.Close()
			figures = string(b)
		}
	}
	var token string
	for _, c := range jar.Cookies(mustURL(t, r.url)) {
		token = c.Value
	}
	r.close(t)
	lines, err := os.ReadFile(filepath.Join(dir, auditFile))
	if err != nil {
		t.Fatal(err)
	}
	if n, _, _, err := audit.Verify(filepath.Join(dir, auditFile)); n != 5 || err != nil {
		t.Errorf("%d lines, %v", n, err)
	}
	contains(t, "the audit log", string(lines), `"who":"A. Planner","from":"127.0.0.1","did":"POST /api/users","status":200`, `"from":"127.0.0.1","did":"POST /api/session","status":401`)
	contains(t, "the log", log.String(), `"route":"POST /api/users"`, `"status":401`)
	contains(t, "the figures", figures, `plumbhook_http_requests_total{route="POST /api/session",status="401"} 1`, "plumbhook_wrong_secrets_total 1", "plumbhook_watch 0", "go_goroutines")
	if len(token) < 20 || len(console) < 10 {
		t.Fatalf("token %q, code %q", token, console)
	}
	for what, text := range map[string]string{"log": log.String(), "audit log": string(lines), "figures": figures} {
		for _, secret := range []string{password, wrong, pin, token, console, "argon2id"} {
			if strings.Contains(text, secret) {
				t.Errorf("the %s has %q in it", what, secret)
			}
		}
	}
}

func mustURL(t *testing.T, text string) *url.URL {
	t.Helper()
	u, err := url.Parse(text)
	if err != nil {
		t.Fatal(err)
	}
	return u
}

// Gateways on other machines come in over TLS, unless somebody insists.
func TestGatewaysOverTLS(t *testing.T) {
	dir := t.TempDir()
	for addr, here := range map[string]bool{"": true, "127.0.0.1:1883": true, "[::1]:1883": true, "localhost:1883": true, "0.0.0.0:8883": false, ":8883": false, "192.0.2.7:8883": false, "site.example.com:8883": false} {
		w := &watching{dir: dir, mqtt: addr}
		c, err := w.gatewayTLS()
		if c != nil || (err == nil) != here {
			t.Errorf("%q: %v %v", addr, c, err)
		}
		w.plainMQTT = true
		if c, err := w.gatewayTLS(); c != nil || err != nil || (len(w.notes) == 0) != here {
			t.Errorf("%q, plain: %v %v %q", addr, c, err, w.notes)
		}
	}
	if err := authority.Make(dir, []string{"site.example.com"}, time.Now()); err != nil {
		t.Fatal(err)
	}
	if c, err := (&watching{dir: dir, mqtt: ":8883"}).gatewayTLS(); err != nil || c == nil || c.MinVersion < tls.VersionTLS12 {
		t.Error(c, err)
	}
}

// The commands that docs/keeping.md shows do what it says, one after the other.
func TestKeepingPage(t *testing.T) {
	text, err := os.ReadFile("../../docs/keeping.md")
	if err != nil {
		t.Fatal(err)
	}
	shown, err := filepath.Abs(examples)
	if err != nil {
		t.Fatal(err)
	}
	t.Chdir(t.TempDir())
	if err := os.Symlink(shown, "examples"); err != nil {
		t.Fatal(err)
	}
	count := 0
	for _, b := range doccheck.Read(string(text)).Blocks {
		if b.Kind != "sh" {
			continue
		}
		for line := range strings.Lines(b.Text) {
			count++
			if status, _, errs := run(words(strings.TrimSpace(line))[1:]...); status != exitHolds && status != exitFails || errs != "" {
				t.Errorf("%s: %d %s", line, status, errs)
			}
		}
	}
	if count != 4 {
		t.Errorf("%d commands", count)
	}
}
