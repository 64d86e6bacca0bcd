package hub

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"plumbhook/fault"
)

const three = `hub: 1
nodes:
  a: {sites: 10.20.0.1:7422, nodes: 10.20.0.1:6222}
  b: {sites: 10.20.0.2:7422, nodes: 10.20.0.2:6222}
  c: {sites: 10.20.0.3:7422, nodes: 10.20.0.3:6222}
keep: {days: 30, gb: 2.5}
sites:
  weir: UADRSUIHVTSIAIHIJR6RVNMLFSKHXJEIHMJ4SJJRXQEYBR5SHYBBAEEV
`

func TestReadSettings(t *testing.T) {
	m := makeHub(t, "a")
	key := m.admit(t, "weir")
	good := strings.Replace(three, "UADRSUIHVTSIAIHIJR6RVNMLFSKHXJEIHMJ4SJJRXQEYBR5SHYBBAEEV", publicOf(t, m, "weir"), 1)
	s, err := ReadSettings("hub.yaml", []byte(good))
	if err != nil || len(s.Nodes) != 3 || s.Nodes[1] != (Node{"b", "10.20.0.2:7422", "10.20.0.2:6222"}) || s.Keep != (Keep{30, 2.5}) || s.copies() != 3 || s.keys()["weir"] == "" {
		t.Fatalf("%+v %v", s, err)
	}
	if _, err := s.node("d"); err == nil {
		t.Error("a node that is not there")
	}
	if _, err := s.node(""); err == nil {
		t.Error("one of three nodes was guessed")
	}
	for _, c := range []struct {
		from, to string
		code     fault.Code
		line     int
	}{
		{"hub: 1", "hub: 2", fault.Unsupported, 1},
		{"hub: 1\n", "", fault.Missing, 1},
		{"keep:", "keeps:", fault.UnknownKey, 6},
		{"10.20.0.2:7422", "10.20.0.2", fault.Syntax, 4},
		{"10.20.0.2:7422", "10.20.0.2:99999", fault.Syntax, 4},
		{", nodes: 10.20.0.3:6222", "", fault.Missing, 5},
		{"  c: {sites: 10.20.0.3:7422, nodes: 10.20.0.3:6222}\n", "", fault.Range, 2},
		{"  c:", "  C.c:", fault.Syntax, 5},
		{"days: 30", "days: -1", fault.Range, 6},
		{"weir: U", "weir: V", fault.Range, 8},
	} {
		_, err := ReadSettings("hub.yaml", []byte(strings.Replace(good, c.from, c.to, 1)))
		if err == nil {
			t.Errorf("%q was taken", c.to)
			continue
		}
		if f := fault.Of(err)[0]; f.Code != c.code || f.Pos.Line != c.line || f.Pos.File != "hub.yaml" {
			t.Errorf("%q: %v", c.to, err)
		}
	}
	again, err := ReadJoining("site.yaml", key.Text())
	if err != nil || again.Site != "weir" || again.Seed != key.Seed || len(again.Hub) != 1 || strings.TrimSpace(string(again.Authority)) != strings.TrimSpace(string(key.Authority)) {
		t.Errorf("%+v %v", again, err)
	}
	for _, c := range [][2]string{{"join: 1", "join: 3"}, {"seed: S", "seed: X"}, {"site: weir", "site: we ir"}, {"hub: [", "hub: [x, "}, {"BEGIN CERT", "BEGIN CART"}} {
		if _, err := ReadJoining("site.yaml", []byte(strings.Replace(string(key.Text()), c[0], c[1], 1))); err == nil {
			t.Errorf("%q was taken", c[1])
		} else if strings.Contains(err.Error(), key.Seed) {
			t.Errorf("the secret stands in %v", err)
		}
	}
}

func publicOf(t *testing.T, m *made, site string) string {
	t.Helper()
	data, err := os.ReadFile(m.file)
	if err != nil {
		t.Fatal(err)
	}
	s, err := ReadSettings(m.file, data)
	if err != nil {
		t.Fatal(err)
	}
	return s.keys()[site]
}

// admit adds a line and alters nothing else, or refuses.
func TestAdmit(t *testing.T) {
	file := filepath.Join(t.TempDir(), "hub.yaml")
	for name, text := range map[string]string{
		"no sites yet": "hub: 1 # ours\nnodes:\n  a: {sites: 127.0.0.1:7422}\n",
		"an empty key": "hub: 1\nsites:\nnodes:\n  a: {sites: 127.0.0.1:7422}\n",
	} {
		if err := os.WriteFile(file, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		for _, site := range []string{"weir", "quay"} {
			if _, err := Admit(file, site, nil); err != nil {
				t.Fatalf("%s: %v", name, err)
			}
			if _, err := Admit(file, site, nil); err == nil {
				t.Errorf("%s: admitted twice", name)
			}
		}
		data, err := os.ReadFile(file)
		if err != nil {
			t.Fatal(err)
		}
		for line := range strings.Lines(text) {
			if !strings.Contains(string(data), line) {
				t.Errorf("%s: %q has gone", name, line)
			}
		}
	}
	if _, err := Admit(file, "we.ir", nil); err == nil {
		t.Error("a name that is none")
	}
	if err := os.WriteFile(file, []byte("hub: 1\nnodes:\n  a: {sites: 127.0.0.1:7422}\nsites: {}\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	if _, err := Admit(file, "weir", nil); err == nil {
		t.Error("a line was written where it cannot stand")
	}
}

func FuzzReadSettings(f *testing.F) {
	f.Add([]byte(three))
	f.Add([]byte("join: 1\nsite: a\nhub: [x]\nseed: S\nauthority: |\n  -----BEGIN"))
	f.Add([]byte("sites: [a]\nnodes: {a: b}"))
	f.Fuzz(func(t *testing.T, data []byte) {
		if s, err := ReadSettings("f", data); err == nil && (len(s.Nodes) == 0 || s.Keep.Days < 0) {
			t.Errorf("%+v", s)
		}
		_, _ = ReadJoining("f", data)
	})
}
