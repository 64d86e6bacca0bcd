package record

import (
	"context"
	"testing"

	"pgregory.net/rapid"

	"plumbhook/logbook"
	"plumbhook/reading"
)

// What is packed comes out again, bit for bit, with its number, also where
// entries are left out between.
func TestPack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var p Packer
		for range rapid.IntRange(1, 3).Draw(t, "packs") {
			n := rapid.Uint64Range(1, 1<<40).Draw(t, "n")
			var put []*logbook.Entry
			for range rapid.IntRange(1, 6).Draw(t, "entries") {
				e := drawEntry(t, n)
				if err := p.Add(e); err != nil {
					t.Fatal(err)
				}
				put = append(put, e)
				n += rapid.Uint64Range(1, 5).Draw(t, "step")
			}
			if err := p.Add(put[0]); err == nil {
				t.Fatal("an entry was taken twice")
			}
			pack, first, last := p.Take()
			if first != put[0].N || last != put[len(put)-1].N {
				t.Fatalf("%d to %d", first, last)
			}
			i := 0
			for e, err := range Unpack(pack) {
				if err != nil {
					t.Fatal(err)
				}
				if e.N != put[i].N || !equal(e, put[i]) {
					t.Fatalf("\n got %s\nwant %s", show(e), show(put[i]))
				}
				i++
			}
			if i != len(put) {
				t.Fatalf("%d of %d", i, len(put))
			}
		}
	})
}

func FuzzUnpack(f *testing.F) {
	var p Packer
	for n := range uint64(3) {
		if err := p.Add(&logbook.Entry{N: n + 7, At: 5, Kind: logbook.Frame, Frame: &reading.Frame{Source: "g", Readings: []reading.Reading{{Channel: "W", Value: 1}, {Channel: "E", Value: 2}}}}); err != nil {
			f.Fatal(err)
		}
	}
	pack, _, _ := p.Take()
	f.Add(pack)
	f.Add(pack[:len(pack)-1])
	f.Add([]byte{1, 0, 0})
	f.Fuzz(func(t *testing.T, b []byte) {
		before := uint64(0)
		for e, err := range Unpack(b) {
			if err != nil {
				return
			}
			if e.N <= before {
				t.Fatalf("entry %d after %d", e.N, before)
			}
			before = e.N
		}
	})
}

// A reader of a recording that grows begins near what is asked for, and gives
// the same as one that begins at the beginning.
func TestReaderOfOpenSegment(t *testing.T) {
	r, _, err := Open(t.TempDir(), Options{Segment: 1 << 20})
	if err != nil {
		t.Fatal(err)
	}
	defer r.Close()
	const most = 30_000
	var next uint64 = 1
	for n := uint64(1); n <= most; n++ {
		e := &logbook.Entry{N: n, At: reading.Stamp(n), Kind: logbook.Mark, Text: "an entry of some length, so that stretches end"}
		if err := r.Append(e); err != nil {
			t.Fatal(err)
		}
		if n%1000 != 0 {
			continue
		}
		if err := r.Sync(context.Background()); err != nil {
			t.Fatal(err)
		}
		for e, err := range r.Reader().From(next) {
			if err != nil {
				t.Fatal(err)
			}
			if e.N != next {
				t.Fatalf("entry %d where %d is due", e.N, next)
			}
			next++
		}
		if next != n+1 {
			t.Fatalf("read up to %d of %d", next-1, n)
		}
	}
}
