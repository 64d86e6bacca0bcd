package record

import (
	"bytes"
	"context"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"testing"

	"plumbhook/logbook"
	"plumbhook/reading"
)

// small makes several segments out of little.
var small = Options{Segment: 1500}

func TestWriteRead(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "a", "watch")
	entries := made(1, 200)
	r, found := open(t, dir, small)
	if found.Last != 0 || found.Cut != 0 || found.Missing != nil {
		t.Errorf("a new recording holds %+v", found)
	}
	fill(t, r, entries)
	if _, _, err := Open(dir, small); err == nil {
		t.Error("two writers at once")
	}
	var got []*logbook.Entry
	for e, err := range r.Reader().From(0) {
		if err != nil {
			t.Fatal(err)
		}
		got = append(got, clone(e))
	}
	same(t, got, entries)
	if err := r.Close(); err != nil {
		t.Fatal(err)
	}
	if err := r.Append(&logbook.Entry{N: 201}); err == nil {
		t.Error("appended after the end")
	}

	// Opened again, it goes on in the same file.
	more := made(1, 260)
	for range 3 {
		r, found = open(t, dir, small)
		if found.Last != 200 || found.LastAt != entries[199].At || found.Cut != 0 || found.Missing != nil {
			t.Errorf("found %+v", found)
		}
		r.Close()
	}
	r, _ = open(t, dir, small)
	for _, n := range []uint64{200, 202, 0} {
		if err := r.Append(&logbook.Entry{N: n}); err == nil {
			t.Errorf("entry %d follows entry 200", n)
		}
	}
	fill(t, r, more[200:])
	r.Close()
	got, holes := read(t, dir, 0)
	if holes != nil {
		t.Errorf("holes %+v", deref(holes))
	}
	same(t, got, more)

	reader, err := NewReader(dir)
	if err != nil {
		t.Fatal(err)
	}
	segments, err := reader.Segments()
	if err != nil {
		t.Fatal(err)
	}
	if len(segments) < 5 {
		t.Fatalf("only %d segments", len(segments))
	}
	next := uint64(1)
	for i, s := range segments {
		if s.First != next || s.From != more[s.First-1].At || s.To != more[s.Last-1].At || s.Open != (i == len(segments)-1) {
			t.Errorf("segment %d: %+v", i, s)
		}
		next = s.Last + 1
	}
	if next != 261 {
		t.Errorf("the segments end before entry %d", next)
	}
}

// Any number and any time can be started from.
func TestSeek(t *testing.T) {
	dir := t.TempDir()
	entries := made(3, 150)
	written(t, dir, small, entries)
	reader, err := NewReader(dir)
	if err != nil {
		t.Fatal(err)
	}
	for n := range 152 {
		var got []*logbook.Entry
		for e, err := range reader.From(uint64(n)) {
			if err != nil {
				t.Fatal(n, err)
			}
			got = append(got, clone(e))
		}
		same(t, got, entries[max(0, min(n-1, 150)):])

		got = nil
		at := entries[0].At + reading.Stamp(n-1)*20_000_000
		for e, err := range reader.Since(at - 7) {
			if err != nil {
				t.Fatal(n, err)
			}
			got = append(got, clone(e))
		}
		same(t, got, entries[max(0, min(n-1, 150)):])
	}
}

// Cut at any byte, a recording opens with every entry that is whole before the
// cut, says how many bytes it threw away, and can be written on.
func TestTruncation(t *testing.T) {
	entries := made(5, 24)
	for name, o := range map[string]Options{"one segment": {disk: careless{}}, "several": {Segment: 500, disk: careless{}}} {
		dir := t.TempDir()
		written(t, dir, o, entries)
		names, data := files(t, dir)
		last := len(names) - 1

		// Where entries end in the last file.
		ends := map[int]uint64{}
		for _, it := range itemsOf(t, filepath.Join(dir, names[last])) {
			if it.entry != nil {
				ends[int(it.off)] = it.entry.N - 1
			}
		}
		first := place{name: names[last]}
		fmt.Sscanf(names[last], "%d", &first.first)
		whole := first.first - 1
		for cut := range len(data[last]) + 1 {
			if n, ok := ends[cut]; ok {
				whole = n
			}
			if cut == len(data[last]) {
				whole = 24
			}
			put(t, dir, names[last], data[last][:cut])
			r, found := open(t, dir, o)
			if found.Last != whole || found.Missing != nil {
				t.Fatalf("%s, cut at %d: found %+v, want last %d", name, cut, found, whole)
			}
			if found.Cut > 0 != (found.Segment != "") || found.Cut < 0 || int(found.Cut) > cut {
				t.Fatalf("%s, cut at %d: %d bytes thrown away", name, cut, found.Cut)
			}
			// The next entry is shorter than any torn one: nothing of that may
			// show behind it.
			want := slices.Clone(entries)
			if whole < 24 {
				want[whole] = &logbook.Entry{N: whole + 1, At: entries[whole].At, Kind: logbook.Tick}
				fill(t, r, want[whole:whole+1])
				got, holes := read(t, dir, 0)
				if holes != nil {
					t.Fatalf("%s, cut at %d, one entry on: holes %+v", name, cut, deref(holes))
				}
				same(t, got, want[:whole+1])
				fill(t, r, want[whole+1:])
			}
			r.Close()
			got, holes := read(t, dir, 0)
			if holes != nil {
				t.Fatalf("%s, cut at %d: holes %+v", name, cut, deref(holes))
			}
			same(t, got, want)
			for _, n := range names {
				os.Remove(filepath.Join(dir, n))
			}
			more, _ := files(t, dir)
			for _, n := range more {
				os.Remove(filepath.Join(dir, n))
			}
			for i, n := range names {
				put(t, dir, n, data[i])
			}
		}
	}
}

func itemsOf(t testing.TB, path string) (out []item) {
	t.Helper()
	places, err := list(filepath.Dir(path))
	if err != nil {
		t.Fatal(err)
	}
	for _, p := range places {
		if p.path != path {
			continue
		}
		file, err := os.Open(path)
		if err != nil {
			t.Fatal(err)
		}
		defer file.Close()
		s, _, err := p.open(file, p.size)
		if err != nil {
			t.Fatal(err)
		}
		w := walk{scan: *s, name: p.name, dec: &decoder{}}
		for it := range w.items {
			if it.entry != nil {
				it.entry = clone(it.entry)
			}
			out = append(out, it)
		}
	}
	return out
}

// Bits flipped anywhere never change what is handed out: every entry comes as
// it was written or is named as missing, and damage to anything else is told
// or without effect. Opening for writing keeps all that is whole.
func TestBitFlips(t *testing.T) {
	entries := made(11, 30)
	dir := t.TempDir()
	written(t, dir, Options{Segment: 1200}, entries)
	names, data := files(t, dir)
	rnd := rand.New(rand.NewPCG(1, 2))
	told, harmless := 0, 0
	runs := 10_000
	if testing.Short() {
		runs = 500
	}
	for run := range runs {
		damaged := map[int]bool{}
		bad := make([][]byte, len(data))
		copy(bad, data)
		for range 1 + rnd.IntN(4) {
			k := rnd.IntN(len(data))
			if !damaged[k] {
				bad[k] = bytes.Clone(data[k])
				damaged[k] = true
			}
			switch rnd.IntN(4) {
			case 0: // a run of zeros, as a sector that never came
				from := rnd.IntN(len(bad[k]))
				clear(bad[k][from:min(len(bad[k]), from+rnd.IntN(300))])
			default:
				bad[k][rnd.IntN(len(bad[k]))] ^= 1 << rnd.IntN(8)
			}
		}
		for k := range damaged {
			put(t, dir, names[k], bad[k])
		}
		what := fmt.Sprintf("run %d", run)
		r, err := NewReader(dir)
		if err != nil {
			t.Fatal(err)
		}
		var got []*logbook.Entry
		var holes []*Hole
		for e, err := range r.From(1) {
			if err != nil {
				holes = append(holes, holeOf(t, err))
				continue
			}
			got = append(got, clone(e))
		}
		accounted(t, what, got, holes, entries, 30)
		if len(holes) > 0 {
			told++
		} else {
			harmless++
		}

		// What a writer keeps: everything the reader saw.
		if run%20 > 0 {
			for k := range damaged {
				put(t, dir, names[k], data[k])
			}
			continue
		}
		w, found, err := Open(dir, Options{disk: careless{}})
		if err != nil {
			t.Fatal(what, err)
		}
		w.Close()
		again, _ := read(t, dir, 0)
		same(t, again, got)
		if len(got) > 0 && found.Last < got[len(got)-1].N {
			t.Fatalf("%s: open finds %d, the reader saw %d", what, found.Last, got[len(got)-1].N)
		}
		os.Remove(filepath.Join(dir, names[len(names)-1]))
		more, _ := files(t, dir)
		for _, n := range more {
			if n > names[len(names)-1] {
				os.Remove(filepath.Join(dir, n))
			}
		}
		for k := range names {
			if damaged[k] || k == len(names)-1 {
				put(t, dir, names[k], data[k])
			}
		}
	}
	t.Logf("%d told, %d without effect (footers and trailers, which can be made again)", told, harmless)
}

// One byte changed in any place of a small recording is told, and in the head
// of the file it costs no entry.
func TestEveryByte(t *testing.T) {
	entries := made(12, 20)
	dir := t.TempDir()
	written(t, dir, Options{}, entries)
	names, data := files(t, dir)
	for at := range data[0] {
		b := bytes.Clone(data[0])
		b[at] ^= 0x5a
		put(t, dir, names[0], b)
		got, holes := read(t, dir, 1)
		accounted(t, fmt.Sprintf("byte %d", at), got, holes, entries, 20)
		if len(holes) == 0 || (at >= headSize) != (len(got) < 20) {
			t.Fatalf("byte %d: %d entries, holes %+v", at, len(got), deref(holes))
		}
	}
}

// A segment that is gone is told, and so is one whose footer is.
func TestMissingSegment(t *testing.T) {
	entries := made(13, 120)
	dir := t.TempDir()
	written(t, dir, small, entries)
	names, data := files(t, dir)
	os.Remove(filepath.Join(dir, names[2]))
	got, holes := read(t, dir, 1)
	accounted(t, "a segment gone", got, holes, entries, 120)
	if len(holes) != 1 || holes[0].Segment != names[3] {
		t.Errorf("holes %+v", deref(holes))
	}
	_, found := open(t, dir, small)
	if len(found.Missing) != 1 || found.Missing[0].From != holes[0].From || found.Missing[0].To != holes[0].To {
		t.Errorf("open finds %+v", deref(found.Missing))
	}

	put(t, dir, names[2], data[2][:len(data[2])-300])
	got, holes = read(t, dir, 1)
	accounted(t, "a segment short", got, holes, entries, 120)
	if len(holes) != 1 || holes[0].Segment != names[2] {
		t.Errorf("holes %+v", deref(holes))
	}
}

// A frame that stands in the file a second time is not handed out again.
func TestRepeated(t *testing.T) {
	entries := made(15, 12)
	dir := t.TempDir()
	written(t, dir, Options{}, entries)
	names, data := files(t, dir)
	items := itemsOf(t, filepath.Join(dir, names[0]))
	again := data[0][items[2].off:items[4].off]
	put(t, dir, names[0], slices.Concat(data[0][:items[7].off], again, data[0][items[7].off:]))
	got, holes := read(t, dir, 1)
	same(t, got, entries)
	if len(holes) != 1 || holes[0].Lost() != 0 || holes[0].Bytes != int64(len(again)) {
		t.Errorf("holes %+v", deref(holes))
	}
}

// Reading from a time tells of what is missing just before the first entry
// given, since that may have been of the time asked for, and not of what is
// further back.
func TestSinceDamage(t *testing.T) {
	entries := made(16, 30)
	dir := t.TempDir()
	written(t, dir, Options{}, entries)
	names, data := files(t, dir)
	items := itemsOf(t, filepath.Join(dir, names[0]))
	for _, i := range []int{4, 15} {
		data[0][items[i].off+frameHead] ^= 1
	}
	put(t, dir, names[0], data[0])
	reader, err := NewReader(dir)
	if err != nil {
		t.Fatal(err)
	}
	for i, want := range map[int]string{14: "15 !16", 15: "!16 17", 16: "!16 17", 17: "18 19"} {
		var steps []string
		for e, err := range reader.Since(entries[i].At) {
			if err != nil {
				steps = append(steps, fmt.Sprintf("!%d", holeOf(t, err).From))
			} else {
				steps = append(steps, fmt.Sprint(e.N))
			}
			if len(steps) == 2 {
				break
			}
		}
		if got := fmt.Sprintf("%s %s", steps[0], steps[1]); got != want {
			t.Errorf("from the time of entry %d: %s, want %s", i+1, got, want)
		}
	}
}

// A newer version of the format is refused, not guessed at.
func TestVersion(t *testing.T) {
	dir := t.TempDir()
	written(t, dir, Options{}, made(1, 5))
	names, data := files(t, dir)
	le.PutUint32(data[0][8:], 2)
	le.PutUint32(data[0][20:], checksum(data[0][:20]))
	put(t, dir, names[0], data[0])
	if _, _, err := Open(dir, Options{}); err == nil {
		t.Error("opened")
	}
	r, err := NewReader(dir)
	if err != nil {
		t.Fatal(err)
	}
	n := 0
	for _, err := range r.From(0) {
		if err == nil {
			t.Error("an entry out of it")
		}
		n++
	}
	if n != 1 {
		t.Errorf("%d errors", n)
	}
}

// The same entries make the same bytes, however they were grouped on the way.
func TestSameBytes(t *testing.T) {
	entries := made(14, 300)
	one, two := t.TempDir(), t.TempDir()
	written(t, one, Options{Segment: 5000}, entries)
	r, _ := open(t, two, Options{Segment: 5000})
	for _, e := range entries {
		if err := r.Append(e); err != nil {
			t.Fatal(err)
		}
		if e.N%7 == 0 {
			if err := r.Sync(context.Background()); err != nil {
				t.Fatal(err)
			}
		}
	}
	r.Close()
	names1, data1 := files(t, one)
	names2, data2 := files(t, two)
	if fmt.Sprint(names1) != fmt.Sprint(names2) || !bytes.Equal(bytes.Join(data1, nil), bytes.Join(data2, nil)) {
		t.Error("the files differ")
	}
}
