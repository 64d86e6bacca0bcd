package record

import (
	"iter"
	"os"
	"sort"

	"plumbhook/logbook"
	"plumbhook/reading"
)

// An item is one thing found in a segment: exactly one of entry, hole, footer
// and tail is set.
type item struct {
	entry  *logbook.Entry
	begins bool // a stretch, which the entry at this offset begins
	off    int64

	hole   *Hole    // damage, or a gap the writer left
	footer *summary // the segment is closed
	tail   *Hole    // the file ends with bytes that are nothing whole
}

// A walk goes through a segment and says what is there and what is not.
type walk struct {
	scan
	name string
	dec  *decoder
}

func (w *walk) items(yield func(item) bool) {
	var open *Hole // damage whose end has not been met
	spoil := func(off, bytes int64, reason string) {
		if open == nil {
			open = &Hole{Segment: w.name, Offset: off, From: w.want, Reason: reason}
		}
		open.Bytes += bytes
	}
	// close ends the damage before entry n, and tells whether to go on.
	close := func(n uint64) bool {
		if open == nil {
			return true
		}
		h := open
		open = nil
		h.until(n - 1)
		return yield(item{hole: h})
	}
	for {
		f, bad, ok := w.next()
		if !ok {
			tail := &Hole{Segment: w.name, Offset: w.off, Bytes: bad, From: w.want, Reason: "the end is not whole"}
			if w.w.err != nil {
				tail.Reason = "the disk does not give it: " + w.w.err.Error()
			}
			if close(w.want) && bad > 0 {
				yield(item{tail: tail})
			}
			return
		}
		if bad > 0 {
			spoil(f.at-bad, bad, "the checksum does not hold")
		}

		var found item
		next := f.n
		switch f.payload[0] {
		case tagEntry:
			if found.entry = w.dec.decode(f.n, f.payload); found.entry != nil {
				found.off, found.begins = f.at, w.dec.begin == f.n
			}
			next = f.n + 1
		case tagGap:
			if found.hole = parseGap(f); found.hole != nil {
				found.hole.Segment = w.name
				next = found.hole.To + 1
			}
		case tagFooter:
			if found.footer = parseFooter(f); found.footer != nil && w.trailer(f.end) != f.at {
				if close(f.n) {
					yield(item{tail: &Hole{
						Segment: w.name, Offset: f.at, Bytes: w.w.size - f.at, From: f.n, Reason: "the footer is not whole",
					}})
				}
				return
			}
		}
		if found.entry == nil && found.hole == nil && found.footer == nil {
			spoil(f.at, f.end-f.at, "what it refers to is damaged")
			w.want = max(next, w.want)
			continue
		}
		if f.n > w.want {
			spoil(f.at, 0, "entries are not there")
		}
		on := close(f.n)
		w.want = next
		if !on || !yield(found) || found.footer != nil {
			return
		}
	}
}

// A Segment is one file of a recording.
type Segment struct {
	Name        string
	First, Last uint64        // numbers; Last below First when it holds none
	From, To    reading.Stamp // first and latest time of its entries and gaps
	Bytes       int64
	Open        bool // it may still grow
}

// A Reader goes through a recording as it was when the reader was made; what
// is written later it does not see. It holds no file open between readings and
// may be used by several goroutines.
type Reader struct {
	dir    string
	places []place
}

// NewReader looks at the recording in a folder, which may be in use by a
// writer.
func NewReader(dir string) (*Reader, error) {
	places, err := list(dir)
	if err != nil {
		return nil, err
	}
	return &Reader{dir, places}, nil
}

// Segments lists the files, oldest first. It reads the footer of each, and the
// whole of one that has none.
func (r *Reader) Segments() ([]Segment, error) {
	out := make([]Segment, len(r.places))
	for i := range r.places {
		p := &r.places[i]
		sum, closed, err := p.summary()
		if err != nil {
			return nil, err
		}
		out[i] = p.segment(sum)
		out[i].Open = !closed && i == len(r.places)-1
	}
	return out, nil
}

func (p *place) segment(sum *summary) Segment {
	return Segment{Name: p.name, First: p.first, Last: sum.next - 1, From: sum.from, To: sum.to, Bytes: p.size}
}

// summary gives that of the footer, or makes it again from the whole file.
func (p *place) summary() (sum *summary, closed bool, err error) {
	file, err := os.Open(p.path)
	if err != nil {
		return nil, false, unreadable(p.name, err)
	}
	defer file.Close()
	if sum = p.footer(file, p.size); sum != nil {
		return sum, true, nil
	}
	s, _, err := p.open(file, p.size)
	if err != nil {
		return nil, false, err
	}
	w := walk{scan: *s, name: p.name, dec: &decoder{}}
	sum = &summary{next: p.first}
	for it := range w.items {
		sum.add(it)
	}
	return sum, false, nil
}

// add takes note of an item.
func (s *summary) add(it item) {
	switch {
	case it.entry != nil:
		s.entry(it.off, it.entry.N, it.entry.At, it.begins)
	case it.hole != nil && it.hole.Known:
		s.gap(it.hole)
	}
}

// From gives the entries from number n on, in order; 0 means from the oldest
// that is kept. What is missing comes as an error where it would stand: a
// fault of class [Damaged] with a *[Hole] as its cause, after which the
// entries go on. After any other error they end.
//
// An entry, its frame and its slices last until the next one: whoever keeps
// them copies them. Its texts may be kept. A slice that was empty when written
// comes back empty, nil or not. Memory does not grow with the recording.
func (r *Reader) From(n uint64) iter.Seq2[*logbook.Entry, error] {
	return func(yield func(*logbook.Entry, error) bool) {
		i := sort.Search(len(r.places), func(i int) bool { return r.places[i].first > n }) - 1
		t := tour{Reader: r, yield: yield, n: n, want: n}
		t.run(max(i, 0))
	}
}

// Since gives the entries from the first one on that the watch learned of at
// the given time or later, in the manner of [Reader.From].
func (r *Reader) Since(at reading.Stamp) iter.Seq2[*logbook.Entry, error] {
	return func(yield func(*logbook.Entry, error) bool) {
		i := 0
		for i < len(r.places)-1 {
			sum, _, err := r.places[i].summary()
			if err != nil || sum.to >= at {
				break
			}
			i++
		}
		t := tour{Reader: r, yield: yield, byTime: true, at: at}
		t.run(i)
	}
}

// A tour is one reading of a recording.
type tour struct {
	*Reader
	yield func(*logbook.Entry, error) bool

	// What it begins with: the first entry with this number or time, or more.
	n      uint64
	at     reading.Stamp
	byTime bool

	begun  bool
	before []*Hole // what is missing just before where the tour has come to
	want   uint64  // the number that comes next; 0 when any may
	dec    decoder
	buf    []byte
}

// run reads from segment i on.
func (t *tour) run(i int) {
	for first := i; i < len(t.places); i++ {
		p := &t.places[i]
		if t.want != 0 && p.first > t.want {
			h := &Hole{Segment: p.name, From: t.want, To: p.first - 1, Reason: "what came before this segment is not there"}
			if !t.hole(h) {
				return
			}
		}
		t.want = max(t.want, p.first)
		last := uint64(0) // the last number this segment can hold; 0 when open
		if i+1 < len(t.places) {
			last = t.places[i+1].first - 1
		}
		if !t.segment(p, i == first, last) {
			return
		}
	}
	t.told()
}

// segment reads one file, and tells whether to go on.
func (t *tour) segment(p *place, seek bool, last uint64) bool {
	file, err := os.Open(p.path)
	if err != nil {
		t.yield(nil, unreadable(p.name, err))
		return false
	}
	defer file.Close()
	info, err := file.Stat()
	if err != nil {
		t.yield(nil, unreadable(p.name, err))
		return false
	}
	size := min(p.size, info.Size()) // retention may have put a gap in its place
	s, badHead, err := p.open(file, size)
	if err != nil {
		t.yield(nil, err)
		return false
	}
	if badHead && !t.hole(p.headless()) {
		return false
	}
	if seek {
		marks := p.marks
		if sum := p.footer(file, size); sum != nil {
			marks = sum.marks
		}
		k := sort.Search(len(marks), func(k int) bool { return t.past(marks[k]) || marks[k].off >= size }) - 1
		if k >= 0 {
			s.off, s.want = marks[k].off, marks[k].n
		}
	}
	s.w.buf = t.buf[:0]
	t.dec.reset()
	w := walk{scan: *s, name: p.name, dec: &t.dec}
	on := true
	for it := range w.items {
		switch {
		case it.entry != nil:
			on = t.entry(it.entry)
		case it.hole != nil:
			on = t.hole(it.hole)
		case it.tail != nil:
			if last != 0 {
				it.tail.until(last)
				w.want = last + 1
			}
			on = t.hole(it.tail)
		}
		if !on {
			break
		}
	}
	t.buf, t.want = w.w.buf, w.want
	return on
}

// past tells of a place to start whether it comes too late.
func (t *tour) past(m mark) bool {
	if t.byTime {
		return m.at >= t.at
	}
	return m.n > t.n
}

func (t *tour) entry(e *logbook.Entry) bool {
	if !t.begun {
		if t.byTime && e.At < t.at || e.N < t.n {
			t.before = nil
			return true
		}
		t.begun = true
		if !t.told() {
			return false
		}
	}
	return t.yield(e, nil)
}

// hole tells what is missing. Before the first entry, only what may hold
// entries that are asked for matters; that shows with the entry after it.
func (t *tour) hole(h *Hole) bool {
	if !t.begun && (t.byTime && !(h.Known && h.Until >= t.at) || !t.byTime && h.From != 0 && h.To != 0 && h.To < t.n) {
		if t.byTime {
			t.before = append(t.before, h)
		}
		return true
	}
	return t.told() && t.yield(nil, h.fault())
}

// told tells what is missing just before here.
func (t *tour) told() bool {
	for _, h := range t.before {
		if !t.yield(nil, h.fault()) {
			return false
		}
	}
	t.before = nil
	return true
}
