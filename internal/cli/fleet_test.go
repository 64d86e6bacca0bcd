package cli

import (
	"net"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"plumbhook/contract"
	"plumbhook/internal/doccheck"
	"plumbhook/register"
)

// The commands that the page for operations shows set up a hub; a site with what
// admit wrote for it joins, and the hub's page shows what the site records, has
// on the watch and has due, and later that it is gone.
func TestFleet(t *testing.T) {
	text, err := os.ReadFile("../../docs/operations.md")
	if err != nil {
		t.Fatal(err)
	}
	t.Chdir(t.TempDir())
	ran := 0
	for _, b := range doccheck.Read(string(text)).Blocks {
		switch b.Kind {
		case "yaml hub":
			// The addresses of the page are not of this machine, and one node does.
			one := "hub: 1\nnodes:\n  a: {sites: 127.0.0.1:" + freePort(t) + "}\n"
			kept := b.Text[strings.Index(b.Text, "keep:"):]
			if err := os.WriteFile("hub.yaml", []byte(one+kept), 0o600); err != nil {
				t.Fatal(err)
			}
		case "sh hub":
			for line := range strings.Lines(b.Text) {
				ran++
				if status, _, errs := run(words(strings.TrimSpace(line))[1:]...); status != exitHolds {
					t.Fatalf("%s: %d %s", line, status, errs)
				}
			}
		}
	}
	if ran < 3 {
		t.Fatalf("only %d commands", ran)
	}
	if status, _, errs := run("admit", "kestrel-point", "--hub", "hub.yaml", "--data", "hub-a", "-o", "again.yaml"); status != exitInvalid || !strings.Contains(errs, "admitted") {
		t.Errorf("admitted twice: %d %s", status, errs)
	}
	if info, err := os.Stat("kestrel-point.yaml"); err != nil || info.Mode().Perm() != 0o600 {
		t.Errorf("the site's secret: %v %v", info, err)
	}
	file := func(name string) string {
		at, err := filepath.Abs(name)
		if err != nil {
			t.Fatal(err)
		}
		return at
	}
	hub := started(t, file("hub-a"), func(w *watching) { w.joins.hubFile = file("hub.yaml") })
	defer hub.close(t)
	site := started(t, file("site"), func(w *watching) { w.joins.joinFile = file("kestrel-point.yaml") })
	gone := false
	defer func() {
		if !gone {
			site.close(t)
		}
	}()
	late := register.Item{Serial: "LC-1", Kind: "load cell", Status: register.InService, CalibrateBy: "2026-01-01", ExamineBy: "2099-01-01"}
	e, err := register.Item{}.Next(register.Entering{Item: late}, register.Stamp{Day: "2026-01-01", By: "store keeper"}, time.Now())
	if err != nil {
		t.Fatal(err)
	}
	if err := site.store.Write(t.Context(), []register.Entry{e}); err != nil {
		t.Fatal(err)
	}
	look := func() (contract.Fleet, contract.FleetSite) {
		f := ask[contract.Fleet](t, hub, "GET", "/api/fleet", nil)
		for _, s := range f.Sites {
			if s.Site == "kestrel-point" {
				return f, s
			}
		}
		t.Fatalf("%+v", f)
		return f, contract.FleetSite{}
	}
	within := func(what string, is func() bool) {
		t.Helper()
		for end := time.Now().Add(time.Minute); !is(); time.Sleep(50 * time.Millisecond) {
			if time.Now().After(end) {
				f, _ := look()
				t.Fatalf("waited for %s: %+v", what, f)
			}
		}
	}
	within("the cell that is due", func() bool { _, s := look(); return s.Link == "linked" && s.CellsOverdue == 1 })
	if f, s := look(); len(f.Sites) != 2 || f.Trouble != "" || s.Watch != nil || s.Since != nil || len(f.Dues) != 1 {
		t.Errorf("%+v", f)
	}
	for _, p := range ask[contract.Health](t, site, "GET", "/api/status", nil).Parts {
		if p.Name == "hub" && (p.State != "ok" || !strings.Contains(p.Text, "linked since")) {
			t.Errorf("%+v", p)
		}
	}
	site.close(t)
	gone = true
	within("the site to be down", func() bool { _, s := look(); return s.Link == "down" && s.Since != nil })
}

func freePort(t *testing.T) string {
	t.Helper()
	ln, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer ln.Close()
	_, port, err := net.SplitHostPort(ln.Addr().String())
	if err != nil {
		t.Fatal(err)
	}
	return port
}
