package hub

import (
	"context"
	"path/filepath"
	"testing"
	"time"

	"plumbhook/fleet"
)

const patience = time.Minute

// A site's recording and documents reach a hub of one; a site is heard; one that
// is put out is not.
func TestOneNode(t *testing.T) {
	m := makeHub(t, "a")
	j := m.admit(t, "kestrel-point")
	h := m.open(t, "a")
	b := newBooks()
	b.follow(t, h)
	l := join(t, j, filepath.Join(m.dir, "site"))
	r := &tape{}
	ctx, cancel := context.WithCancel(context.Background())
	defer cancel()
	done := make(chan struct{})
	go func() { l.Carry(ctx, "w", r); close(done) }()
	for range 20 {
		r.grow(5)
		time.Sleep(5 * time.Millisecond)
	}
	eventually(t, patience, "the log", func() bool { return b.last("kestrel-point") == 100 })
	b.whole(t, "kestrel-point", 100)
	for range 2 {
		if err := l.Send(ctx, fleet.Gear, "SL 7/ä", []byte(`{"a":1}`)); err != nil {
			t.Fatal(err)
		}
	}
	eventually(t, patience, "the document", func() bool {
		b.mu.Lock()
		defer b.mu.Unlock()
		return string(b.docs["kestrel-point gear SL 7/ä"].Body) == `{"a":1}`
	})
	if s := h.Heard(); len(s) != 1 || time.Since(s[0].Heard) > fleet.Fresh || s[0].Beat.Version != "test" {
		t.Errorf("%+v", s)
	}
	cancel()
	<-done
}
