package hub

import (
	"context"
	"fmt"
	"iter"
	"log/slog"
	"net"
	"os"
	"path/filepath"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"plumbhook/fleet"
	"plumbhook/internal/authority"
	"plumbhook/logbook"
	"plumbhook/reading"
	"plumbhook/record"
)

// made is a hub's folder: authority and file, for so many nodes on this machine.
type made struct {
	dir, file string
	authority *authority.Authority
	nodes     []string
}

// makeHub writes a hub's file and the authority.
func makeHub(t testing.TB, nodes ...string) *made {
	t.Helper()
	m := &made{dir: t.TempDir(), nodes: nodes}
	if err := authority.Make(m.dir, []string{"localhost"}, time.Now()); err != nil {
		t.Fatal(err)
	}
	var err error
	if m.authority, err = authority.Load(m.dir); err != nil {
		t.Fatal(err)
	}
	text := "hub: 1\nnodes:\n"
	for _, n := range nodes {
		text += fmt.Sprintf("  %s: {sites: 127.0.0.1:%d, nodes: 127.0.0.1:%d}\n", n, freePort(t), freePort(t))
	}
	m.file = filepath.Join(m.dir, "hub.yaml")
	if err := os.WriteFile(m.file, []byte(text+"keep: {days: 30, gb: 4}\nsites:\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	return m
}

func freePort(t testing.TB) int {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer l.Close()
	return l.Addr().(*net.TCPAddr).Port
}

// admit makes what a site needs.
func (m *made) admit(t testing.TB, site string) *Joining {
	t.Helper()
	j, err := Admit(m.file, site, m.authority.PEM())
	if err != nil {
		t.Fatal(err)
	}
	return j
}

func (m *made) open(t testing.TB, node string) *Hub {
	t.Helper()
	h, err := Open(NodeOptions{Dir: filepath.Join(m.dir, "node-"+node), File: m.file, Node: node, Authority: m.authority, Log: testLog()})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { h.Close() })
	return h
}

func testLog() *slog.Logger {
	if os.Getenv("HUB_LOG") == "" {
		return nil
	}
	return slog.New(slog.NewTextHandler(os.Stderr, &slog.HandlerOptions{Level: slog.LevelDebug}))
}

func join(t testing.TB, j *Joining, dir string) *Link {
	t.Helper()
	l, err := Join(context.Background(), LinkOptions{Dir: dir, Joining: j, Version: "test", Log: testLog()})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { l.Close() })
	return l
}

// tape is a recording that grows by call: a frame of four cells an entry.
type tape struct {
	mu   sync.Mutex
	last uint64
}

func (r *tape) grow(n uint64) {
	r.mu.Lock()
	defer r.mu.Unlock()
	r.last += n
}

func (r *tape) Safe() uint64 {
	r.mu.Lock()
	defer r.mu.Unlock()
	return r.last
}

func (r *tape) From(n uint64) iter.Seq2[*logbook.Entry, error] {
	last := r.Safe()
	return func(yield func(*logbook.Entry, error) bool) {
		for ; n <= last; n++ {
			if !yield(entry(n), nil) {
				return
			}
		}
	}
}

// entry is the n-th: what its cells read says which it is.
func entry(n uint64) *logbook.Entry {
	at := reading.Stamp(1_790_000_000e9 + int64(n)*1e8)
	f := &reading.Frame{Source: "g", Arrived: at}
	for i, c := range []string{"A", "B", "C", "D"} {
		f.Readings = append(f.Readings, reading.Reading{Channel: c, At: at, Value: float64(n*4) + float64(i)})
	}
	return &logbook.Entry{N: n, At: at, Kind: logbook.Frame, Frame: f}
}

// books is a ledger in memory that looks at every entry of every site.
type books struct {
	mu      sync.Mutex
	place   fleet.Place
	tallies map[string]*fleet.Tally
	docs    map[string]fleet.Document
	wrong   []string
	took    atomic.Int64 // messages
}

func newBooks() *books {
	return &books{tallies: map[string]*fleet.Tally{}, docs: map[string]fleet.Document{}}
}

func (b *books) take(to fleet.Place, news []fleet.News) error {
	b.mu.Lock()
	defer b.mu.Unlock()
	for _, n := range news {
		b.took.Add(1)
		if d := n.Document; d != nil {
			b.docs[d.Site+" "+string(d.Kind)+" "+d.ID] = *d
		}
		l := n.Log
		if l == nil {
			continue
		}
		t := b.tallies[l.Site+" "+l.Watch]
		if t == nil {
			t = &fleet.Tally{Site: l.Site, Watch: l.Watch}
			b.tallies[l.Site+" "+l.Watch] = t
		}
		var numbers []uint64
		for e, err := range record.Unpack(l.Pack) {
			if err != nil {
				b.wrong = append(b.wrong, err.Error())
				break
			}
			if e.Frame == nil || len(e.Frame.Readings) != 4 || e.Frame.Readings[3].Value != float64(e.N*4+3) || *e != (logbook.Entry{N: e.N, At: entry(e.N).At, Kind: logbook.Frame, Frame: e.Frame}) {
				b.wrong = append(b.wrong, fmt.Sprintf("%s: entry %d is another", l.Site, e.N))
			}
			numbers = append(numbers, e.N)
		}
		t.Take(l, numbers)
	}
	b.place = to
	return nil
}

// follow has the ledger follow a node for the length of the test.
func (b *books) follow(t testing.TB, h *Hub) {
	ctx, cancel := context.WithCancel(context.Background())
	done := make(chan struct{})
	go func() {
		defer close(done)
		if err := h.Follow(ctx, fleet.Place{}, b.take); err != nil {
			t.Error(err)
		}
	}()
	t.Cleanup(func() { cancel(); <-done })
}

func (b *books) last(site string) uint64 {
	b.mu.Lock()
	defer b.mu.Unlock()
	if t := b.tallies[site+" w"]; t != nil {
		return t.Last
	}
	return 0
}

// whole fails unless all of a site's entries up to last came, once, in order.
func (b *books) whole(t testing.TB, site string, last uint64) {
	t.Helper()
	b.mu.Lock()
	defer b.mu.Unlock()
	if len(b.wrong) > 0 {
		t.Errorf("%d wrong, the first: %s", len(b.wrong), b.wrong[0])
	}
	x := b.tallies[site+" w"]
	if x == nil || x.Last != last || x.Entries != last || x.Missing != 0 || x.Again != 0 {
		t.Errorf("%s: %+v, want %d", site, x, last)
	}
}

func eventually(t testing.TB, most time.Duration, what string, is func() bool) {
	t.Helper()
	for end := time.Now().Add(most); !is(); time.Sleep(20 * time.Millisecond) {
		if time.Now().After(end) {
			t.Fatalf("waited %s for %s", most, what)
		}
	}
}
