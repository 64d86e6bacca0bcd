package record

import (
	"context"
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"testing"

	"plumbhook/logbook"
	"plumbhook/reading"
)

// clone copies an entry with all that it refers to; empty slices become nil.
func clone(e *logbook.Entry) *logbook.Entry {
	c := *e
	if e.Frame != nil {
		f := *e.Frame
		f.Readings = append([]reading.Reading(nil), f.Readings...)
		f.Health = append([]reading.Health(nil), f.Health...)
		f.Garbled = append([]string(nil), f.Garbled...)
		c.Frame = &f
	}
	return &c
}

// equal compares every field, floats by their bits; empty slices equal nil.
func equal(a, b *logbook.Entry) bool {
	x, y := *a, *b
	x.Frame, y.Frame = nil, nil
	if x != y || (a.Frame == nil) != (b.Frame == nil) {
		return false
	}
	if a.Frame == nil {
		return true
	}
	f, g := a.Frame, b.Frame
	return f.Source == g.Source && f.Arrived == g.Arrived && slices.Equal(f.Garbled, g.Garbled) &&
		slices.EqualFunc(f.Readings, g.Readings, func(r, s reading.Reading) bool {
			v := math.Float64bits(r.Value) == math.Float64bits(s.Value)
			r.Value, s.Value = 0, 0
			return v && r == s
		}) &&
		slices.EqualFunc(f.Health, g.Health, func(h, k reading.Health) bool {
			return h.Channel == k.Channel && math.Float64bits(h.Signal) == math.Float64bits(k.Signal) &&
				math.Float64bits(h.Battery) == math.Float64bits(k.Battery)
		})
}

func show(e *logbook.Entry) string {
	if e.Frame == nil {
		return fmt.Sprintf("%+v", *e)
	}
	return fmt.Sprintf("%+v %+v", *e, *e.Frame)
}

func same(t testing.TB, got, want []*logbook.Entry) {
	t.Helper()
	if len(got) != len(want) {
		t.Fatalf("%d entries, want %d", len(got), len(want))
	}
	for i := range want {
		if !equal(got[i], want[i]) {
			t.Fatalf("entry %d of %d:\n got %s\nwant %s", i, len(want), show(got[i]), show(want[i]))
		}
	}
}

// made gives n entries as a watch with four legs makes them.
func made(seed uint64, n int) []*logbook.Entry {
	out := make([]*logbook.Entry, n)
	for i := range out {
		out[i] = nth(seed, i)
	}
	return out
}

// nth is the entry at index i of those: mostly frames, now and then something
// else.
func nth(seed uint64, i int) *logbook.Entry {
	rnd := rand.New(rand.NewPCG(seed, uint64(i)))
	start := reading.Stamp(1_780_000_000_000_000_000)
	channels := []string{"north-west", "north-east", "south-east", "south-west", "hook travel"}
	e := &logbook.Entry{N: uint64(i + 1), At: start + reading.Stamp(i*20_000_000)}
	switch rnd.IntN(12) {
	case 0:
		e.Kind = logbook.Tick
	case 1:
		e.Kind, e.Text = logbook.Event, fmt.Sprintf(`{"kind":"leg_over","value_N":%g}`, 1e4*rnd.Float64())
	case 2:
		e.Kind, e.Who, e.Signed, e.Tare, e.Insists = logbook.Tare, "A. Rigger", true, logbook.Hung, true
	case 3:
		e.Kind, e.Since, e.Text = logbook.Restart, e.At-5e9, "{}"
	default:
		f := &reading.Frame{Source: "gateway 1", Arrived: e.At - 3_000_000}
		for j := range rnd.IntN(8) {
			r := reading.Reading{
				Channel: channels[j%len(channels)], At: f.Arrived - 10_000_000, Seq: uint64(i),
				Value: 1e4 * rnd.NormFloat64(), Marks: reading.Timed | reading.Numbered,
			}
			if rnd.IntN(20) == 0 {
				r.Quality, r.Value = reading.Bad, math.NaN()
			}
			f.Readings = append(f.Readings, r)
		}
		if rnd.IntN(10) == 0 {
			f.Health = []reading.Health{{Channel: channels[0], Signal: -71, Battery: math.NaN()}}
			f.Garbled = []string{"17 bytes that are no frame"}
		}
		e.Kind, e.Frame = logbook.Frame, f
	}
	return e
}

// careless is a disk that says it has written what it has not. Thousands of
// runs that no power cut ends need not wait for it.
type careless struct{ system }

type carelessFile struct{ file }

func (careless) syncDir(string) error { return nil }

func (c careless) open(path string) (file, error) {
	f, err := c.system.open(path)
	return carelessFile{f}, err
}

func (carelessFile) Sync() error { return nil }

func open(t testing.TB, dir string, o Options) (*Recording, Recovery) {
	t.Helper()
	r, found, err := Open(dir, o)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { r.Close() })
	return r, found
}

func fill(t testing.TB, r *Recording, entries []*logbook.Entry) {
	t.Helper()
	for _, e := range entries {
		if err := r.Append(e); err != nil {
			t.Fatal(err)
		}
	}
	if err := r.Sync(context.Background()); err != nil {
		t.Fatal(err)
	}
}

// written makes a recording of the entries and closes it.
func written(t testing.TB, dir string, o Options, entries []*logbook.Entry) {
	t.Helper()
	r, _ := open(t, dir, o)
	fill(t, r, entries)
	if err := r.Close(); err != nil {
		t.Fatal(err)
	}
}

// read gives all that a recording holds from n on, and its holes.
func read(t testing.TB, dir string, n uint64) (entries []*logbook.Entry, holes []*Hole) {
	t.Helper()
	r, err := NewReader(dir)
	if err != nil {
		t.Fatal(err)
	}
	for e, err := range r.From(n) {
		if err != nil {
			holes = append(holes, holeOf(t, err))
			continue
		}
		entries = append(entries, clone(e))
	}
	return entries, holes
}

func holeOf(t testing.TB, err error) *Hole {
	t.Helper()
	var h *Hole
	if !errors.As(err, &h) {
		t.Fatalf("not a hole: %v", err)
	}
	return h
}

// accounted fails unless every number from 1 to last is among the entries, as
// it was written, or inside a hole, and none is both.
func accounted(t testing.TB, what string, entries []*logbook.Entry, holes []*Hole, wrote []*logbook.Entry, last uint64) {
	t.Helper()
	seen := make([]int, last+1)
	before := uint64(0)
	for _, e := range entries {
		if e.N == 0 || e.N > last || e.N <= before {
			t.Fatalf("%s: entry %d after %d of %d", what, e.N, before, last)
		}
		before = e.N
		seen[e.N]++
		if !equal(e, wrote[e.N-1]) {
			t.Fatalf("%s: entry %d is handed out changed:\n got %s\nwant %s", what, e.N, show(e), show(wrote[e.N-1]))
		}
	}
	for _, h := range holes {
		if h.From == 0 {
			continue
		}
		to := h.To
		if to == 0 {
			to = last
		}
		for n := h.From; n <= to; n++ {
			seen[n]++
		}
	}
	for n, k := range seen[1:] {
		if k != 1 {
			t.Fatalf("%s: entry %d is told of %d times; holes %+v", what, n+1, k, deref(holes))
		}
	}
}

func deref(holes []*Hole) []Hole {
	var out []Hole
	for _, h := range holes {
		out = append(out, *h)
	}
	return out
}

// files reads the segments of a folder.
func files(t testing.TB, dir string) (names []string, data [][]byte) {
	t.Helper()
	places, err := list(dir)
	if err != nil {
		t.Fatal(err)
	}
	for _, p := range places {
		b, err := os.ReadFile(p.path)
		if err != nil {
			t.Fatal(err)
		}
		names, data = append(names, p.name), append(data, b)
	}
	return names, data
}

// put gives a file new bytes. It does not cut the file to nothing first, upon
// which some file systems wait for the disk.
func put(t testing.TB, dir, name string, b []byte) {
	t.Helper()
	f, err := os.OpenFile(filepath.Join(dir, name), os.O_WRONLY|os.O_CREATE, 0o644)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	if _, err := f.WriteAt(b, 0); err != nil {
		t.Fatal(err)
	}
	if err := f.Truncate(int64(len(b))); err != nil {
		t.Fatal(err)
	}
}
