package record

import (
	"errors"
	"os"
	"path/filepath"
	"time"

	"plumbhook/reading"
)

// Keep says how much of a recording stays. Zero is no bound.
type Keep struct {
	Age   time.Duration // of the latest entry of a segment
	Bytes int64         // of all segments together
}

// A Range is the entries from one number to another, both included. To is 0
// while it goes on.
type Range struct{ From, To uint64 }

func (g Range) meets(s Segment) bool {
	return (g.To == 0 || s.First <= g.To) && g.From <= s.Last
}

// Retain removes the oldest segments that keep does not cover, and gives those
// removed. It never removes the one being written, nor one that holds entries
// of a pinned range: a lift whose record is not sealed yet. Where something
// older stays, a gap is left in place of a segment, so that a reader is told.
func (r *Recording) Retain(now reading.Stamp, keep Keep, pinned ...Range) ([]Segment, error) {
	r.mu.Lock()
	reader := &Reader{r.dir, append([]place(nil), r.places...)}
	open := r.first
	r.mu.Unlock()
	segments, err := reader.Segments()
	if err != nil {
		return nil, err
	}
	total := int64(0)
	for _, s := range segments {
		total += s.Bytes
	}

	var removed []Segment
	var failed []error
	left := map[uint64]int64{} // bytes that stay of a segment, by its first number
	oldest := true             // nothing older stays
	for _, s := range segments[:max(len(segments), 1)-1] {
		old := keep.Age > 0 && s.To < now-reading.Stamp(keep.Age)
		large := keep.Bytes > 0 && total > keep.Bytes
		if s.First == open || pins(pinned, s) || !old && !large {
			oldest = false
			continue
		}
		path := filepath.Join(r.dir, s.Name)
		size := int64(0)
		if oldest {
			err = os.Remove(path)
		} else if size, err = r.leaveGap(path, s); err == nil && size >= s.Bytes {
			continue // it is such a gap already
		}
		if err != nil && !errors.Is(err, os.ErrNotExist) {
			failed = append(failed, unwritable(s.Name, err))
			oldest = false
			continue
		}
		left[s.First] = size
		total -= s.Bytes - size
		removed = append(removed, s)
	}
	if len(removed) > 0 {
		if err := r.o.disk.syncDir(r.dir); err != nil {
			failed = append(failed, unwritable(r.dir, err))
		}
	}

	r.mu.Lock()
	defer r.mu.Unlock()
	var places []place
	for _, p := range r.places {
		size, touched := left[p.first]
		if touched {
			p.size = size
		}
		if p.size > 0 {
			places = append(places, p)
		}
	}
	r.places = places
	return removed, errors.Join(failed...)
}

func pins(pinned []Range, s Segment) bool {
	for _, g := range pinned {
		if g.meets(s) {
			return true
		}
	}
	return false
}

// leaveGap puts a segment that holds only a gap in place of a segment.
func (r *Recording) leaveGap(path string, s Segment) (int64, error) {
	h := &Hole{From: s.First, To: s.Last, Since: s.From, Until: s.To, Reason: "removed, as old recordings are", Offset: headSize}
	b := appendGap(appendHead(nil, s.First), h)
	sum := summary{next: s.Last + 1, from: s.From, to: s.To, gaps: []*Hole{h}}
	b = sum.append(b, int64(len(b)))
	if int64(len(b)) >= s.Bytes {
		return int64(len(b)), nil
	}
	next := path + ".new"
	f, err := r.o.disk.open(next)
	if err != nil {
		return 0, err
	}
	_, err = f.WriteAt(b, 0)
	err = errors.Join(err, f.Truncate(int64(len(b))), f.Sync(), f.Close())
	if err == nil {
		err = os.Rename(next, path)
	}
	if err != nil {
		return 0, errors.Join(err, os.Remove(next))
	}
	return int64(len(b)), nil
}
