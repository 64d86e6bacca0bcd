package record

import (
	"context"
	"errors"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"sync"
	"testing"
	"time"

	"plumbhook/fault"
	"plumbhook/logbook"
)

// A sectorDisk is a disk whose power can be cut: what was not synced is then
// there or not, sector by sector and name by name, whatever the order of
// writing. It may also fail to sync, and then forgets some of what it had
// taken, as systems do whose pages are clean after a failed write-back.
type sectorDisk struct {
	mu    sync.Mutex
	rnd   *rand.Rand
	fails float64
	off   bool // the power
	files map[string]*sectors
}

type sectors struct {
	d             *sectorDisk
	live, durable []byte
	named         bool
}

const sectorSize = 64

var errPower = errors.New("the power is off")

func (d *sectorDisk) open(path string) (file, error) {
	d.mu.Lock()
	defer d.mu.Unlock()
	if d.off {
		return nil, errPower
	}
	if d.files[path] == nil {
		d.files[path] = &sectors{d: d}
	}
	return d.files[path], nil
}

func (d *sectorDisk) syncDir(string) error {
	d.mu.Lock()
	defer d.mu.Unlock()
	if d.off {
		return errPower
	}
	for _, f := range d.files {
		f.named = true
	}
	return nil
}

func (f *sectors) WriteAt(b []byte, off int64) (int, error) {
	f.d.mu.Lock()
	defer f.d.mu.Unlock()
	if f.d.off {
		return 0, errPower
	}
	if grow := int(off) + len(b) - len(f.live); grow > 0 {
		f.live = append(f.live, make([]byte, grow)...)
	}
	if f.d.rnd.Float64() < f.d.fails {
		n := copy(f.live[off:], b[:f.d.rnd.IntN(len(b))])
		return n, errors.New("no space")
	}
	return copy(f.live[off:], b), nil
}

func (f *sectors) Truncate(size int64) error {
	f.d.mu.Lock()
	defer f.d.mu.Unlock()
	if f.d.off {
		return errPower
	}
	f.live = append(f.live[:min(int(size), len(f.live))], make([]byte, max(0, int(size)-len(f.live)))...)
	return nil
}

func (f *sectors) Sync() error {
	f.d.mu.Lock()
	defer f.d.mu.Unlock()
	switch {
	case f.d.off:
		return errPower
	case f.d.rnd.Float64() < f.d.fails:
		f.live = f.mixed()
		f.durable = slices.Clone(f.live)
		return errors.New("write-back failed")
	}
	f.durable = slices.Clone(f.live)
	return nil
}

func (*sectors) Close() error { return nil }

// mixed is what may be there of a file: its size old or new, each sector old
// or new, zeros where a new one never came.
func (f *sectors) mixed() []byte {
	out := make([]byte, len(f.live))
	copy(out, f.durable)
	if f.d.rnd.IntN(4) == 0 && len(f.durable) < len(out) {
		out = out[:len(f.durable)+f.d.rnd.IntN(len(out)-len(f.durable)+1)]
	}
	for at := 0; at < len(out); at += sectorSize {
		if f.d.rnd.IntN(3) > 0 {
			copy(out[at:min(at+sectorSize, len(out))], f.live[at:])
		}
	}
	return out
}

// cut takes the power away and leaves in dir what is on the disk.
func (d *sectorDisk) cut(t *testing.T, dir string) {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.off = true
	for path, f := range d.files {
		if f.named || d.rnd.IntN(2) == 0 {
			put(t, dir, filepath.Base(path), f.mixed())
		}
	}
}

// After power cuts on a disk that also fails at times, what Sync has said to
// be safe is there, and what is handed out is what was written.
func TestPowerCut(t *testing.T) {
	runs := 150
	if testing.Short() {
		runs = 15
	}
	entries := made(21, 4000)
	cuts, holes := 0, 0
	for run := range runs {
		dir := t.TempDir()
		rnd := rand.New(rand.NewPCG(uint64(run), 3))
		safe := uint64(0)
		for range 4 {
			r, found, err := Open(dir, Options{disk: careless{}}) // cuts what is to be cut
			if err != nil {
				t.Fatal(err)
			}
			r.Close()
			if found.Last < safe {
				t.Fatalf("run %d: opened at %d, %d was safe", run, found.Last, safe)
			}
			if found.Cut > 0 {
				cuts++
			}
			holes += len(found.Missing)

			d := &sectorDisk{rnd: rand.New(rand.NewPCG(rnd.Uint64(), 4)), fails: []float64{0, 0.2}[run%2], files: map[string]*sectors{}}
			names, data := files(t, dir)
			for i, n := range names {
				d.files[filepath.Join(dir, n)] = &sectors{d: d, live: data[i], durable: slices.Clone(data[i]), named: true}
			}
			r, found, err = Open(dir, Options{Segment: 3000, Every: time.Hour, disk: d})
			if err != nil {
				t.Fatal(err)
			}
			next := found.Last
			for range rnd.IntN(120) {
				if err := r.Append(entries[next]); err != nil {
					t.Fatal(err)
				}
				next++
				switch rnd.IntN(8) {
				case 0:
					if r.Sync(context.Background()) == nil {
						safe = next
					}
				case 1:
					r.wake() // a write that nobody waits for
				}
			}
			d.cut(t, dir)
			if err := r.Close(); next > safe && err == nil && r.safe > safe {
				safe = r.safe
			}

			got, missing := read(t, dir, 1)
			have := map[uint64]bool{}
			for _, e := range got {
				have[e.N] = true
				if !equal(e, entries[e.N-1]) {
					t.Fatalf("run %d: entry %d is handed out changed", run, e.N)
				}
			}
			gone := map[uint64]bool{}
			for _, h := range missing {
				for n := h.From; n != 0 && n <= h.To; n++ {
					gone[n] = true
				}
			}
			for n := uint64(1); n <= safe; n++ {
				// Only entries that no Sync covered before an earlier cut may be
				// missing inside.
				if !have[n] && !gone[n] {
					t.Fatalf("run %d: entry %d is neither there nor missed", run, n)
				}
			}
			for n := found.Last + 1; n <= safe; n++ {
				if !have[n] {
					t.Fatalf("run %d: entry %d was safe and is gone", run, n)
				}
			}
		}
	}
	if cuts == 0 || holes == 0 {
		t.Errorf("only %d torn ends and %d holes: this tests less than it says", cuts, holes)
	}
	t.Logf("%d torn ends, %d holes in what was never safe", cuts, holes)
}

// A gate is a disk that can be stopped and made to refuse.
type gate struct {
	careless
	mu     sync.Mutex
	moved  sync.Cond
	shut   bool
	refuse error
}

func newGate() *gate {
	g := &gate{}
	g.moved.L = &g.mu
	return g
}

func (g *gate) set(shut bool, refuse error) {
	g.mu.Lock()
	defer g.mu.Unlock()
	g.shut, g.refuse = shut, refuse
	g.moved.Broadcast()
}

// A handle that was refused once stays useless, as one does whose disk went
// away and came back.
type gated struct {
	file
	g    *gate
	dead *bool
}

func (g *gate) open(path string) (file, error) {
	f, err := g.careless.open(path)
	return gated{f, g, new(bool)}, err
}

func (f gated) Sync() error {
	f.g.mu.Lock()
	defer f.g.mu.Unlock()
	for f.g.shut {
		f.g.moved.Wait()
	}
	if f.g.refuse != nil {
		*f.dead = true
		return f.g.refuse
	}
	if *f.dead {
		return errors.New("stale handle")
	}
	return nil
}

// While the disk stands still nothing waits for it: appends are taken until
// the queue is full, then frames are lost before other entries, each loss is
// said, and the recording notes the gaps when it can write again.
func TestSlowDisk(t *testing.T) {
	dir := t.TempDir()
	g := newGate()
	r, _ := open(t, dir, Options{Queue: 40_000, Every: time.Hour, disk: g})
	entries := made(31, 3000)
	fill(t, r, entries[:100])
	g.set(true, nil)
	lost := map[uint64]bool{}
	lostOthers := 0
	for _, e := range entries[100:700] {
		if err := r.Append(e); err != nil {
			if fault.Of(err)[0].Code != Lost {
				t.Fatal(err)
			}
			lost[e.N] = true
			if e.Kind != logbook.Frame {
				lostOthers++
			}
		}
	}
	s := r.Status()
	if s.Last != 700 || s.Safe != 100 || s.Waiting > 41_000 || s.Incomplete == nil {
		t.Fatalf("status %+v", s)
	}
	first := slices.Min(slices.Collect(keys(lost)))
	if in := *s.Incomplete; in.Lost != uint64(len(lost)) || in.Since != entries[first-1].At || in.Reason == "" || in.Until < in.Since {
		t.Errorf("incomplete %+v, lost %d from %d", in, len(lost), first)
	}
	if len(lost) < 50 || lostOthers > 0 {
		t.Errorf("%d lost, of them %d that are no frames", len(lost), lostOthers)
	}
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	if err := r.Sync(ctx); !errors.Is(err, context.Canceled) {
		t.Errorf("sync gave %v", err)
	}

	g.set(false, nil)
	if err := r.Sync(context.Background()); err != nil {
		t.Fatal(err)
	}
	fill(t, r, entries[700:800])
	if err := r.Close(); err != nil {
		t.Fatal(err)
	}
	noted(t, dir, entries, lost, 800, "slower")
}

func keys(m map[uint64]bool) func(func(uint64) bool) {
	return func(yield func(uint64) bool) {
		for k := range m {
			if !yield(k) {
				return
			}
		}
	}
}

// noted fails unless a recording holds every entry up to last but those lost,
// and says of those that it knows.
func noted(t *testing.T, dir string, entries []*logbook.Entry, lost map[uint64]bool, last uint64, reason string) {
	t.Helper()
	got, holes := read(t, dir, 1)
	accounted(t, "after the loss", got, holes, entries, last)
	if len(got) != int(last)-len(lost) {
		t.Errorf("%d entries and %d lost of %d", len(got), len(lost), last)
	}
	for _, h := range holes {
		if !h.Known || h.Since != entries[h.From-1].At || h.Until != entries[h.To-1].At || !contains(h.Reason, reason) {
			t.Errorf("the gap is noted as %+v", *h)
		}
		for n := h.From; n <= h.To; n++ {
			if !lost[n] {
				t.Errorf("entry %d is noted as lost and was taken", n)
			}
		}
	}
	r, found := open(t, dir, Options{disk: careless{}})
	defer r.Close()
	if fmt.Sprint(deref(found.Missing)) != fmt.Sprint(deref(holes)) {
		t.Errorf("open finds %+v, want %+v", deref(found.Missing), deref(holes))
	}
}

func contains(s, part string) bool {
	for i := 0; i+len(part) <= len(s); i++ {
		if s[i:i+len(part)] == part {
			return true
		}
	}
	return false
}

// A disk that refuses is told by Sync and by the status, and no entry taken is
// lost once it works again.
func TestRefusingDisk(t *testing.T) {
	for _, segment := range []int64{3000, 1 << 20} {
		refusing(t, segment)
	}
}

func refusing(t *testing.T, segment int64) {
	dir := t.TempDir()
	g := newGate()
	r, _ := open(t, dir, Options{Segment: segment, Every: time.Hour, disk: g})
	entries := made(41, 600)
	fill(t, r, entries[:50])
	full := errors.New("no space left")
	g.set(false, full)
	for i, e := range entries[50:400] {
		if err := r.Append(e); err != nil {
			t.Fatal(err)
		}
		if i%50 == 0 {
			if err := r.Sync(context.Background()); !errors.Is(err, full) {
				t.Fatalf("sync gave %v", err)
			}
		}
	}
	if s := r.Status(); !errors.Is(s.Trouble, full) || s.Incomplete != nil || s.Safe != 50 {
		t.Errorf("status %+v", s)
	}
	g.set(false, nil)
	fill(t, r, entries[400:])
	if s := r.Status(); s.Trouble != nil || s.Safe != 600 || s.Waiting != 0 {
		t.Errorf("status %+v", s)
	}
	if err := r.Close(); err != nil {
		t.Fatal(err)
	}
	got, holes := read(t, dir, 1)
	if holes != nil {
		t.Errorf("holes %+v", deref(holes))
	}
	same(t, got, entries)

	r, _ = open(t, t.TempDir(), Options{disk: g})
	g.set(false, full)
	if err := r.Append(entries[0]); err != nil {
		t.Fatal(err)
	}
	if err := r.Close(); !errors.Is(err, full) {
		t.Errorf("close gave %v", err)
	}
	if err := r.Sync(context.Background()); !errors.Is(err, full) {
		t.Errorf("sync after close gave %v", err)
	}
}

// Names that were first used by an entry that was then lost are not taken as
// known by those after it.
func TestLostNames(t *testing.T) {
	dir := t.TempDir()
	g := newGate()
	r, _ := open(t, dir, Options{Queue: 8000, Every: time.Hour, disk: g})
	other := func(n uint64) *logbook.Entry {
		e := busy(n, true)
		for i := range e.Frame.Readings {
			e.Frame.Readings[i].Channel = "spare " + e.Frame.Readings[i].Channel
		}
		return e
	}
	entries := []*logbook.Entry{busy(1, true), other(2), other(3)}
	g.set(true, nil)
	if err := r.Append(entries[0]); err != nil {
		t.Fatal(err)
	}
	if err := r.Append(entries[1]); fault.Of(err)[0].Code != Lost {
		t.Fatal(err)
	}
	g.set(false, nil)
	if err := r.Sync(context.Background()); err != nil {
		t.Fatal(err)
	}
	fill(t, r, entries[2:])
	r.Close()
	noted(t, dir, entries, map[uint64]bool{2: true}, 3, "slower")
}

// Many callers at once: everything that a Sync covered is safe when it comes
// back.
func TestConcurrent(t *testing.T) {
	dir := t.TempDir()
	r, _ := open(t, dir, Options{Segment: 20_000, disk: careless{}})
	entries := made(51, 2000)
	var mu sync.Mutex
	next := 0
	var wait sync.WaitGroup
	for range 8 {
		wait.Go(func() {
			for {
				mu.Lock()
				if next == len(entries) {
					mu.Unlock()
					return
				}
				e := entries[next]
				err := r.Append(e)
				next++
				mu.Unlock()
				if err == nil {
					err = r.Sync(context.Background())
				}
				if s := r.Status(); err != nil || s.Safe < e.N {
					t.Errorf("entry %d: %v, safe up to %d", e.N, err, s.Safe)
					return
				}
			}
		})
	}
	wait.Wait()
	r.Close()
	got, _ := read(t, dir, 1)
	same(t, got, entries)
}

// Retention takes whole segments, oldest first, and neither the open one nor
// one that is pinned; what it leaves a hole for is told.
func TestRetain(t *testing.T) {
	entries := made(61, 400)
	now := entries[399].At
	size := func(r *Recording) (total int64) {
		segments, err := r.Reader().Segments()
		if err != nil {
			t.Fatal(err)
		}
		for _, s := range segments {
			total += s.Bytes
		}
		return total
	}
	for name, c := range map[string]struct {
		keep   Keep
		pinned []Range
	}{
		"nothing asked":  {},
		"by age":         {keep: Keep{Age: 3 * time.Second}},
		"by size":        {keep: Keep{Bytes: 9000}},
		"all but open":   {keep: Keep{Age: 1}},
		"pinned middle":  {keep: Keep{Age: 1}, pinned: []Range{{150, 160}, {230, 231}}},
		"pinned oldest":  {keep: Keep{Bytes: 1}, pinned: []Range{{1, 1}}},
		"pinned from on": {keep: Keep{Age: 1}, pinned: []Range{{From: 200}}},
	} {
		dir := t.TempDir()
		r, _ := open(t, dir, Options{Segment: 2000, disk: careless{}})
		fill(t, r, entries)
		before, err := r.Reader().Segments()
		if err != nil {
			t.Fatal(err)
		}
		removed, err := r.Retain(now, c.keep, c.pinned...)
		if err != nil {
			t.Fatal(name, err)
		}
		gone := map[string]bool{}
		for _, s := range removed {
			gone[s.Name] = true
			if s.Open {
				t.Errorf("%s: the open segment is gone", name)
			}
		}
		for _, s := range before {
			pinned := pins(c.pinned, s)
			old := c.keep.Age > 0 && now-s.To > 3e9
			switch {
			case pinned && gone[s.Name]:
				t.Errorf("%s: %s is pinned and gone", name, s.Name)
			case old && !pinned && !gone[s.Name]:
				t.Errorf("%s: %s is old and stays", name, s.Name)
			}
		}
		if c.keep == (Keep{}) != (len(removed) == 0) {
			t.Errorf("%s: %d removed", name, len(removed))
		}
		if c.keep.Bytes > 1 && (size(r) > c.keep.Bytes || size(r) < c.keep.Bytes-2500) {
			t.Errorf("%s: %d bytes stay", name, size(r))
		}
		// The writer goes on, and what a reader gets is whole or accounted for.
		if err := r.Append(&logbook.Entry{N: 401, At: now, Kind: logbook.Tick}); err != nil {
			t.Fatal(err)
		}
		again, err := r.Retain(now, c.keep, c.pinned...)
		if err != nil || len(again) > 0 {
			t.Errorf("%s: a second time %d, %v", name, len(again), err)
		}
		if err := r.Close(); err != nil {
			t.Fatal(err)
		}
		got, holes := read(t, dir, 1)
		all := append(slices.Clone(entries), &logbook.Entry{N: 401, At: now, Kind: logbook.Tick})
		accounted(t, name, got, holes, all, 401)
		for _, h := range holes {
			if first := h == holes[0] && h.From == 1 && len(c.pinned) == 0; !first && !h.Known && name != "pinned middle" && name != "pinned from on" {
				t.Errorf("%s: hole %+v", name, *h)
			}
		}
		_, oldest := read(t, dir, 0)
		for _, h := range oldest {
			if !h.Known {
				t.Errorf("%s: hole %+v", name, *h)
			}
		}

		// With nothing pinned any more, gaps in the way go too.
		r, _ = open(t, dir, Options{Segment: 2000, disk: careless{}})
		if _, err := r.Retain(now+1e12, Keep{Age: 1}); err != nil {
			t.Fatal(err)
		}
		if names, _ := files(t, dir); len(names) != 1 {
			t.Errorf("%s: %v stay", name, names)
		}
		r.Close()
	}
}

// What the runs of child processes are told to do.
const childVar = "RECORD_TEST_CHILD"

func TestMain(m *testing.M) {
	if role := os.Getenv(childVar); role != "" {
		child(role, os.Args[len(os.Args)-1])
		return
	}
	os.Exit(m.Run())
}
