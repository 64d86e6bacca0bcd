package record

import (
	"context"
	"errors"
	"os"
	"path/filepath"
	"sync"
	"time"

	"plumbhook/fault"
	"plumbhook/logbook"
	"plumbhook/reading"
)

// Options of a Recording; zero values stand for the defaults.
type Options struct {
	// Segment is the size in bytes at which a file is closed and the next one
	// begun. It bounds what Open has to read. 32 MiB.
	Segment int64
	// Queue is how many bytes may wait for the disk in memory. Beyond it
	// entries are lost, frames of readings first: the last eighth is kept for
	// everything else. 16 MiB.
	Queue int
	// Every is how long entries wait for the disk when nobody calls Sync, and
	// how long the writer waits before it tries a failing disk again. 200 ms.
	Every time.Duration

	disk disk
}

// A disk is where the writer puts its files.
type disk interface {
	open(path string) (file, error) // for writing, created if it is not there
	syncDir(path string) error      // makes the names in a folder durable
}

type file interface {
	WriteAt(b []byte, off int64) (int, error)
	Truncate(size int64) error
	Sync() error
	Close() error
}

type system struct{}

func (system) open(path string) (file, error) {
	return os.OpenFile(path, os.O_RDWR|os.O_CREATE, 0o644)
}

func (system) syncDir(path string) error { return SyncDir(path) }

// Incomplete says that the recording lacks entries which the writer could not
// keep because the disk would not take them in time.
type Incomplete struct {
	Since  reading.Stamp // time of the first entry lost
	Until  reading.Stamp // time of the last one so far
	Lost   uint64        // how many entries
	Reason string        // of the latest loss
}

// Status is how a Recording does.
type Status struct {
	Last    uint64        // number of the last entry appended
	LastAt  reading.Stamp // and its time
	Safe    uint64        // every entry up to this one is on disk, or noted there as lost
	SafeAt  reading.Stamp // and its time: LastAt - SafeAt is how far the disk is behind
	Waiting int           // bytes in memory, not yet on disk
	Trouble error         // what keeps the writer from writing; nil when nothing does

	// Incomplete is nil while nothing has been lost since Open.
	Incomplete *Incomplete
}

// Lost is the class of the fault by which Append says that an entry is not
// recorded.
const Lost fault.Code = "lost"

// Recovery is what Open found.
type Recovery struct {
	Last   uint64        // number of the last entry; 0 when there is none
	LastAt reading.Stamp // and its time

	// Segment lost so many bytes at its end: what a crash left half written.
	Segment string
	Cut     int64

	// Missing lists the holes that Open saw: those of the last segment, those
	// that closed segments note, and those between segments. It does not read
	// closed segments; a Reader does.
	Missing []*Hole
}

// A batch is bytes of one segment that wait for the disk together.
type batch struct {
	first  uint64 // the segment
	off    int64  // where in it
	data   []byte
	closes bool // the segment is whole with these

	last uint64 // the latest entry in here or in an earlier one
	at   reading.Stamp
}

// A Recording is a logbook being written. Its methods may be called from
// several goroutines.
type Recording struct {
	dir  string
	o    Options
	lock *os.File
	kick chan struct{}
	quit chan struct{}
	gone chan struct{}

	mu     sync.Mutex
	change sync.Cond // an attempt to write has ended
	closed bool
	ended  bool    // the writer is gone
	places []place // segments with something on disk
	safe   uint64
	safeAt reading.Stamp

	// What Append works on. The open segment has no footer yet.
	enc    encoder
	last   uint64
	lastAt reading.Stamp
	kept   uint64 // the last one that was not lost, or whose loss is noted
	keptAt reading.Stamp
	first  uint64 // of the open segment; 0 when the next entry begins one
	size   int64  // of it, with what waits
	sum    summary
	gap    *Hole // entries lost and not yet noted in the recording
	lossy  bool  // frames are being lost until the queue is half empty
	lost   *Incomplete

	// What waits.
	queue   []*batch
	waiting int
	spare   [][]byte
	begun   int // attempts
	failed  int // the latest attempt that failed
	trouble error
}

// Open opens the recording in a folder for writing, and creates it if it is
// not there. It cuts what a crash left half written at the end. One process
// at a time can have it open.
func Open(dir string, o Options) (*Recording, Recovery, error) {
	if o.Segment <= 0 {
		o.Segment = 32 << 20
	}
	if o.Queue <= 0 {
		o.Queue = 16 << 20
	}
	if o.Every <= 0 {
		o.Every = 200 * time.Millisecond
	}
	if o.disk == nil {
		o.disk = system{}
	}
	r := &Recording{
		dir: dir, o: o,
		kick: make(chan struct{}, 1), quit: make(chan struct{}), gone: make(chan struct{}),
	}
	r.change.L = &r.mu
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return nil, Recovery{}, unwritable(dir, err)
	}
	var err error
	if r.lock, err = Lock(filepath.Join(dir, "lock")); err != nil {
		return nil, Recovery{}, fault.New(fault.Path, "the recording is being written by another program").In(dir).
			Because(err).Fix("end the other one first")
	}
	found, err := r.recover()
	if err == nil {
		err = errors.Join(o.disk.syncDir(dir), o.disk.syncDir(filepath.Dir(filepath.Clean(dir))))
		if err != nil {
			err = unwritable(dir, err)
		}
	}
	if err != nil {
		r.lock.Close()
		return nil, Recovery{}, err
	}
	go r.write()
	return r, found, nil
}

func unwritable(name string, err error) *fault.Fault {
	return fault.New(fault.Path, "the recording cannot be written").In(name).Because(err).
		Fix("check that the disk has room, is sound, and may be written by this program")
}

// recover reads what is there, cuts the end that is not whole, and sets the
// writer up to go on.
func (r *Recording) recover() (Recovery, error) {
	var found Recovery
	places, err := list(r.dir)
	if err != nil {
		return found, err
	}
	want := uint64(0)
	for i := 0; i < len(places); i++ {
		p := &places[i]
		if want != 0 && p.first > want {
			found.Missing = append(found.Missing, &Hole{
				Segment: p.name, From: want, To: p.first - 1, Reason: "what came before this segment is not there",
			})
		}
		last := uint64(0)
		if i+1 < len(places) {
			last = places[i+1].first - 1
		}
		sum, err := r.take(p, last, &found)
		if err != nil {
			return found, err
		}
		if p.size == 0 {
			continue // it held nothing whole and is gone
		}
		r.places = append(r.places, *p)
		want = max(want, sum.next)
		if sum.any || len(sum.gaps) > 0 {
			r.lastAt = max(r.lastAt, sum.to)
		}
	}
	r.last = max(want, 1) - 1
	r.kept, r.keptAt = r.last, r.lastAt
	r.safe, r.safeAt = r.last, r.lastAt
	found.Last, found.LastAt = r.last, r.lastAt
	return found, nil
}

// take reads one segment's footer, or all of it when it has none. last is the
// last number it can hold; 0 says that it is the last segment, which without a
// footer is the open one.
func (r *Recording) take(p *place, last uint64, found *Recovery) (*summary, error) {
	file, err := os.Open(p.path)
	if err != nil {
		return nil, unreadable(p.name, err)
	}
	defer file.Close()
	s, badHead, err := p.open(file, p.size)
	if err != nil {
		return nil, err
	}
	if sum := p.footer(file, p.size); sum != nil {
		for _, h := range sum.gaps {
			h.Segment = p.name
		}
		found.Missing = append(found.Missing, sum.gaps...)
		if badHead {
			found.Missing = append(found.Missing, p.headless())
		}
		return sum, nil
	}

	sum := &summary{next: p.first}
	w := walk{scan: *s, name: p.name, dec: &decoder{}}
	var tail *Hole
	for it := range w.items {
		sum.add(it)
		if it.hole != nil {
			found.Missing = append(found.Missing, it.hole)
		}
		if it.tail != nil {
			tail = it.tail
		}
	}
	if w.w.err != nil {
		return nil, unreadable(p.name, w.w.err)
	}
	sum.next = max(sum.next, w.want)
	switch {
	case last != 0:
		// The next segment was begun when this one was whole: its end is
		// damaged, not torn, and stays as it is.
		if tail != nil {
			tail.until(last)
			sum.next = last + 1
			found.Missing = append(found.Missing, tail)
		}
		if badHead {
			found.Missing = append(found.Missing, p.headless())
		}
		return sum, nil
	case tail != nil:
		found.Segment, found.Cut = p.name, tail.Bytes
		p.size = tail.Offset
		if err := r.cut(p); err != nil {
			return nil, unwritable(p.name, err)
		}
	}
	if badHead {
		if p.size > headSize {
			found.Missing = append(found.Missing, p.headless())
		} else {
			if p.size > 0 {
				found.Segment, found.Cut = p.name, found.Cut+p.size
			}
		}
	}
	if p.size <= headSize {
		p.size = 0
		if err := os.Remove(p.path); err != nil {
			return nil, unwritable(p.name, err)
		}
		return sum, nil
	}
	r.first, r.size, r.sum = p.first, p.size, *sum
	return sum, nil
}

// cut makes the file end at the size it is to have.
func (r *Recording) cut(p *place) error {
	f, err := r.o.disk.open(p.path)
	if err != nil {
		return err
	}
	return errors.Join(f.Truncate(p.size), f.Sync(), f.Close())
}

// Append adds an entry, whose number is one more than that of the entry
// before. It copies what it needs and waits for no disk.
//
// A fault of class [Lost] says that the queue is full and this entry will not
// be recorded; the next one is welcome all the same. The recording notes the
// gap when it can write again. Any other fault is a mistake of the caller, and
// the entry does not count.
func (r *Recording) Append(e *logbook.Entry) error {
	r.mu.Lock()
	defer r.mu.Unlock()
	if r.closed {
		return fault.New(fault.Internal, "entry %d comes after the recording was closed", e.N)
	}
	if e.N != r.last+1 {
		return fault.New(fault.Internal, "entry %d follows entry %d", e.N, r.last)
	}
	limit := r.o.Queue
	if e.Kind == logbook.Frame {
		limit -= limit / 8
		if r.lossy {
			limit = r.o.Queue / 2
		}
	}
	if r.waiting >= limit {
		return r.lose(e)
	}
	r.note()
	b := r.batch(e.N)
	from := len(b.data)
	b.data = append(b.data, room[:]...)
	data, begins, err := r.enc.append(b.data, e)
	if err != nil {
		b.data = b.data[:from]
		return err
	}
	if r.waiting+len(data)-from > r.o.Queue && r.waiting > 0 {
		b.data = data[:from]
		r.enc.reset()
		return r.lose(e)
	}
	b.data = data
	seal(b.data, from, e.N)
	r.sum.entry(r.size, e.N, e.At, begins)
	r.grow(b, from)
	r.last, r.lastAt = e.N, max(r.lastAt, e.At)
	r.kept, r.keptAt = r.last, r.lastAt
	b.last, b.at = r.kept, r.keptAt
	if e.Kind == logbook.Frame {
		r.lossy = false
	}
	if r.waiting >= r.o.Queue/4 {
		r.wake()
	}
	return nil
}

// lose counts an entry that the queue cannot take.
func (r *Recording) lose(e *logbook.Entry) error {
	reason := "the disk is slower than what comes in"
	if r.trouble != nil {
		reason = r.trouble.Error()
	}
	if r.gap == nil {
		r.gap = &Hole{From: e.N, Since: e.At, Known: true}
	}
	r.gap.To, r.gap.Until, r.gap.Reason = e.N, e.At, reason
	if r.lost == nil {
		r.lost = &Incomplete{Since: e.At}
	}
	r.lost.Until, r.lost.Reason = e.At, reason
	r.lost.Lost++
	r.last, r.lastAt = e.N, max(r.lastAt, e.At)
	r.lossy = true
	r.wake()
	return fault.New(Lost, "entry %d is not recorded: %s", e.N, reason).
		Fix("make room on the disk, or use a faster one")
}

// note writes down the gap that was left, if there is one.
func (r *Recording) note() {
	if r.gap == nil {
		return
	}
	b := r.batch(r.gap.From)
	r.gap.Segment, r.gap.Offset = segmentName(r.first), r.size
	from := len(b.data)
	b.data = appendGap(b.data, r.gap)
	r.grow(b, from)
	r.sum.gap(r.gap)
	r.kept, r.keptAt = r.gap.To, max(r.keptAt, r.gap.Until)
	b.last, b.at = r.kept, r.keptAt
	r.gap = nil
}

// batch gives what to add number n to. It closes the open segment when that
// is full, and begins one when there is none.
func (r *Recording) batch(n uint64) *batch {
	if r.first != 0 && r.size >= r.o.Segment {
		b := r.tail()
		from := len(b.data)
		b.data = r.sum.append(b.data, r.size)
		r.grow(b, from)
		b.closes = true
		r.first = 0
	}
	if r.first == 0 {
		r.first, r.size = n, 0
		r.sum.clear(n)
		r.enc.reset()
		b := r.tail()
		b.data = appendHead(b.data, n)
		r.grow(b, 0)
	}
	return r.tail()
}

// tail gives the last batch in the queue, if it is of the open segment, else a
// new one.
func (r *Recording) tail() *batch {
	if k := len(r.queue); k > 0 && !r.queue[k-1].closes {
		return r.queue[k-1]
	}
	b := &batch{first: r.first, off: r.size, last: r.kept, at: r.keptAt}
	if k := len(r.spare); k > 0 {
		b.data, r.spare = r.spare[k-1][:0], r.spare[:k-1]
	}
	r.queue = append(r.queue, b)
	return b
}

// grow counts the bytes of b after from.
func (r *Recording) grow(b *batch, from int) {
	r.size += int64(len(b.data) - from)
	r.waiting += len(b.data) - from
}

func (r *Recording) wake() {
	select {
	case r.kick <- struct{}{}:
	default:
	}
}

// Sync returns when every entry that Append has taken is on disk. Callers that
// come while the disk is busy share the next write. It gives up with a fault
// when a write fails that was begun after the call; the entries stay in the
// queue and are tried again.
func (r *Recording) Sync(ctx context.Context) error {
	r.mu.Lock()
	defer r.mu.Unlock()
	goal, begun := r.kept, r.begun
	stop := context.AfterFunc(ctx, func() {
		r.mu.Lock()
		defer r.mu.Unlock()
		r.change.Broadcast()
	})
	defer stop()
	for r.safe < goal {
		switch {
		case r.failed > begun || r.ended:
			return r.trouble
		case ctx.Err() != nil:
			return ctx.Err()
		}
		r.wake()
		r.change.Wait()
	}
	return nil
}

// Status says how the recording does.
func (r *Recording) Status() Status {
	r.mu.Lock()
	defer r.mu.Unlock()
	s := Status{Last: r.last, LastAt: r.lastAt, Safe: r.safe, SafeAt: r.safeAt, Waiting: r.waiting, Trouble: r.trouble}
	if r.lost != nil {
		lost := *r.lost
		s.Incomplete = &lost
	}
	return s
}

// Reader gives a reader of what is on disk by now.
func (r *Recording) Reader() *Reader {
	r.mu.Lock()
	defer r.mu.Unlock()
	places := append([]place(nil), r.places...)
	if k := len(places) - 1; k >= 0 && places[k].first == r.first {
		places[k].marks = append([]mark(nil), r.sum.marks...)
	}
	return &Reader{r.dir, places}
}

// Close tries once more to write what waits, and says so if it cannot.
func (r *Recording) Close() error {
	r.mu.Lock()
	if r.closed {
		r.mu.Unlock()
		return nil
	}
	r.note()
	r.closed = true
	r.mu.Unlock()
	close(r.quit)
	<-r.gone
	r.mu.Lock()
	defer r.mu.Unlock()
	r.ended = true
	err := r.trouble
	if cerr := r.lock.Close(); err == nil && cerr != nil {
		err = unwritable(r.dir, cerr)
	}
	return err
}

// write is the one goroutine that touches the disk.
func (r *Recording) write() {
	defer close(r.gone)
	tick := time.NewTicker(r.o.Every)
	defer tick.Stop()
	var todo []*batch
	var out output
	defer out.close()
	for last := false; !last; {
		select {
		case <-r.kick:
		case <-tick.C:
		case <-r.quit:
			last = true
		}
		for again := true; again; {
			todo, again = r.attempt(todo, &out)
		}
	}
}

// attempt takes what waits and writes it. It gives back what it could not
// write, and whether it got anywhere and more has come meanwhile.
func (r *Recording) attempt(todo []*batch, out *output) (left []*batch, again bool) {
	r.mu.Lock()
	for _, b := range r.queue {
		// After a failure what came meanwhile goes with what is left over.
		if k := len(todo) - 1; k >= 0 && !todo[k].closes {
			t := todo[k]
			t.data, t.closes, t.last, t.at = append(t.data, b.data...), b.closes, b.last, b.at
			continue
		}
		todo = append(todo, b)
	}
	r.queue = nil
	r.begun++
	r.mu.Unlock()
	if len(todo) == 0 {
		return nil, false
	}

	done := 0
	var err error
	for done < len(todo) && err == nil {
		if err = out.put(r.o.disk, r.dir, todo[done]); err == nil {
			done++
		}
	}

	r.mu.Lock()
	defer r.mu.Unlock()
	defer r.change.Broadcast()
	for _, b := range todo[:done] {
		r.waiting -= len(b.data)
		r.safe, r.safeAt = b.last, b.at
		end := b.off + int64(len(b.data))
		if k := len(r.places); k > 0 && r.places[k-1].first == b.first {
			r.places[k-1].size = end
		} else {
			name := segmentName(b.first)
			r.places = append(r.places, place{filepath.Join(r.dir, name), name, b.first, end, nil})
		}
		if len(r.spare) < 2 {
			r.spare = append(r.spare, b.data)
		}
	}
	r.trouble = nil
	if err != nil {
		r.trouble, r.failed = unwritable(segmentName(todo[done].first), err), r.begun
	} else if r.waiting < r.o.Queue/2 {
		r.note()
	}
	return append(todo[:0], todo[done:]...), err == nil && len(r.queue) > 0
}

// output is the file being written.
type output struct {
	file  file
	first uint64
}

// put writes a batch and makes it durable. After a failure nothing is known of
// what stands in the file behind the batch's offset, and a second fsync would
// not tell: the next try opens the file anew and writes it all again.
func (o *output) put(d disk, dir string, b *batch) error {
	if o.file != nil && o.first != b.first {
		o.close()
	}
	begins := b.off == 0
	if o.file == nil {
		f, err := d.open(filepath.Join(dir, segmentName(b.first)))
		if err != nil {
			return err
		}
		o.file, o.first = f, b.first
	}
	_, err := o.file.WriteAt(b.data, b.off)
	if err == nil {
		err = o.file.Sync()
	}
	if err == nil && begins {
		err = d.syncDir(dir)
	}
	if err != nil || b.closes {
		o.close()
	}
	return err
}

func (o *output) close() {
	if o.file != nil {
		o.file.Close()
		o.file = nil
	}
}
