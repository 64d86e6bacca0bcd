package hub

import (
	"context"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nkeys"

	"plumbhook/fleet"
)

// Who has no key, another key, or a key that was taken back stays out; a site
// does not take a stranger for its hub; and no site hears or speaks for another.
func TestTrust(t *testing.T) {
	m := makeHub(t, "a")
	one, two := m.admit(t, "one"), m.admit(t, "two")
	h := m.open(t, "a")
	b := newBooks()
	b.follow(t, h)

	stranger := *one
	k, err := nkeys.CreateUser()
	if err != nil {
		t.Fatal(err)
	}
	seed, err := k.Seed()
	if err != nil {
		t.Fatal(err)
	}
	stranger.Seed = string(seed)
	s := join(t, &stranger, filepath.Join(m.dir, "stranger"))
	astray := *two
	astray.Authority = makeHub(t, "x").authority.PEM()
	x := join(t, &astray, filepath.Join(m.dir, "astray"))
	l1, l2 := join(t, one, filepath.Join(m.dir, "one")), join(t, two, filepath.Join(m.dir, "two"))
	eventually(t, patience, "two links", func() bool { return l1.Health().Up && l2.Health().Up })
	eventually(t, patience, "why the stranger is out", func() bool { return strings.Contains(s.Health().Refused, "key") })
	eventually(t, patience, "why the hub is none", func() bool { return strings.Contains(x.Health().Refused, "authority") })
	if s.Health().Up || x.Health().Up {
		t.Error("a stranger is linked")
	}
	eventually(t, patience, "both to be heard", func() bool {
		for _, s := range h.Heard() {
			if s.Heard.IsZero() {
				return false
			}
		}
		return true
	})

	// Site one tries to listen to and to speak for the other.
	spied := make(chan *nats.Msg, 100)
	for _, subject := range []string{"fleet.two.>", "$JS.site-two.API.>", "site.>", "$JS.S.>", "$JSC.R.>", ">"} {
		if _, err := l1.nc.ChanSubscribe(subject, spied); err != nil {
			t.Fatal(err)
		}
	}
	reached := make(chan *nats.Msg, 100)
	for _, subject := range []string{"fleet.two.false", "site.>", "$JS.API.STREAM.DELETE.fleet", "anything"} {
		if _, err := h.nc.ChanSubscribe(subject, reached); err != nil {
			t.Fatal(err)
		}
	}
	honest, err := h.nc.SubscribeSync("fleet.one.true")
	if err != nil {
		t.Fatal(err)
	}
	if err := h.nc.Flush(); err != nil {
		t.Fatal(err)
	}
	eventually(t, patience, "what it may say", func() bool {
		if err := l1.nc.Publish("fleet.one.true", []byte("x")); err != nil {
			t.Fatal(err)
		}
		_, err := honest.NextMsg(100 * time.Millisecond)
		return err == nil
	})
	for _, subject := range []string{"fleet.two.false", "site.two.log.dw", "$JS.hub.API.STREAM.DELETE.fleet", "anything", "fleet.one.true"} {
		if err := l1.nc.Publish(subject, []byte("forged")); err != nil {
			t.Fatal(err)
		}
	}
	if m, err := honest.NextMsg(10 * time.Second); err != nil || m == nil {
		t.Fatal("what was said last did not arrive")
	}
	select {
	case m := <-reached:
		t.Errorf("site one reached %s", m.Subject)
	default:
	}
	ctx, cancel := context.WithCancel(context.Background())
	defer cancel()
	secret := &tape{}
	secret.grow(50)
	if err := l2.Deliver(ctx, "w", secret); err != nil {
		t.Fatal(err)
	}
	eventually(t, patience, "the other's log", func() bool { return b.last("two") == 50 })
	for len(spied) > 0 {
		if m := <-spied; strings.Contains(m.Subject, "two") && string(m.Data) != "forged" { // not its own
			t.Errorf("site one heard %s", m.Subject)
		}
	}

	// Its key is taken back.
	if err := h.admit(map[string]string{"two": h.settings.keys()["two"]}); err != nil {
		t.Fatal(err)
	}
	eventually(t, patience, "site one to be put out", func() bool { return !l1.Health().Up })
	if list := h.Heard(); len(list) != 1 || list[0].Name != "two" {
		t.Errorf("%+v", list)
	}
	secret.grow(10)
	if err := l2.Deliver(ctx, "w", secret); err != nil {
		t.Fatal(err)
	}
	eventually(t, patience, "the other to go on", func() bool { return b.last("two") == 60 && time.Since(h.Heard()[0].Heard) < fleet.Fresh })
	b.whole(t, "two", 60)
}

// A site whose folder was lost begins anew: the hub takes its new stream from the
// beginning, and counts nothing twice.
func TestNewFolder(t *testing.T) {
	m := makeHub(t, "a")
	j := m.admit(t, "one")
	h := m.open(t, "a")
	b := newBooks()
	b.follow(t, h)
	ctx := context.Background()
	r := &tape{}
	r.grow(100)
	l := join(t, j, filepath.Join(m.dir, "first"))
	if err := l.Deliver(ctx, "w", r); err != nil {
		t.Fatal(err)
	}
	eventually(t, patience, "the log", func() bool { return b.last("one") == 100 })
	birth := l.Birth()
	l.Close()
	r.grow(20)
	l = join(t, j, filepath.Join(m.dir, "second"))
	if l.Birth() == birth {
		t.Error("another folder has the same birth")
	}
	if err := l.Deliver(ctx, "w", r); err != nil {
		t.Fatal(err)
	}
	eventually(t, patience, "the rest", func() bool { return b.last("one") == 120 })
	b.mu.Lock()
	defer b.mu.Unlock()
	if x := b.tallies["one w"]; x.Entries != 120 || x.Missing != 0 || x.Again != 100 {
		t.Errorf("%+v", x)
	}
}
