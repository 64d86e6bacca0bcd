package record

import (
	"encoding/binary"
	"errors"
	"fmt"
	"hash/crc32"
	"io"
	"os"
	"path/filepath"
	"sort"
	"strconv"
	"strings"

	"plumbhook/fault"
	"plumbhook/reading"
)

// Damaged is the class of a fault that names what a recording lacks. Its cause
// is a *Hole.
const Damaged fault.Code = "damaged"

// A Hole is something that a recording should hold and does not.
type Hole struct {
	Segment string // file name
	Offset  int64  // where in the file it begins
	Bytes   int64  // how many bytes there cannot be read; 0 when nothing is there

	// From and To are the first and the last number missing; both are 0 when
	// no entry is. To alone is 0 when that cannot be told: the end of the
	// recording is damaged from From on.
	From, To uint64

	// Since and Until are the times of the entries missing, where the writer
	// noted them: it knew of the hole, and Reason is its own.
	Since, Until reading.Stamp
	Known        bool

	Reason string
}

// Error says which entries.
func (h *Hole) Error() string {
	switch {
	case h.From == 0:
		return "no entry is missing"
	case h.To == 0:
		return fmt.Sprintf("from entry %d on", h.From)
	case h.From == h.To:
		return fmt.Sprintf("entry %d", h.From)
	}
	return fmt.Sprintf("entries %d to %d", h.From, h.To)
}

// Lost is how many entries are missing, as far as that can be told.
func (h *Hole) Lost() uint64 {
	if h.To == 0 {
		return 0
	}
	return h.To - h.From + 1
}

// until sets the last number missing, now that it is known.
func (h *Hole) until(last uint64) {
	h.To = last
	if last < h.From {
		h.From, h.To = 0, 0
	}
}

func (h *Hole) fault() error {
	do := "what is missing cannot be brought back; say so with everything that is drawn from this recording"
	if !h.Known {
		do = "check the disk; " + do
	}
	f := fault.New(Damaged, "the recording has a hole at byte %d: %s", h.Offset, h.Reason).In(h.Segment).Because(h)
	return f.Fix("%s", do)
}

var (
	castagnoli = crc32.MakeTable(crc32.Castagnoli)
	le         = binary.LittleEndian
)

func checksum(b []byte) uint32 { return crc32.Checksum(b, castagnoli) }

const (
	magic       = "plumbrec"
	version     = 1
	headSize    = 24
	frameHead   = 20
	trailerSize = 16
	trailerMark = "end."
	extension   = ".rec"
)

func segmentName(first uint64) string { return fmt.Sprintf("%020d%s", first, extension) }

func appendHead(b []byte, first uint64) []byte {
	from := len(b)
	b = append(b, magic...)
	b = le.AppendUint32(b, version)
	b = le.AppendUint64(b, first)
	return le.AppendUint32(b, checksum(b[from:]))
}

// seal fills in the frame head before the payload that starts frameHead bytes
// after from and runs to the end of b.
func seal(b []byte, from int, n uint64) {
	head, payload := b[from:from+frameHead], b[from+frameHead:]
	le.PutUint32(head, uint32(len(payload)))
	le.PutUint64(head[4:], n)
	le.PutUint32(head[12:], checksum(payload))
	le.PutUint32(head[16:], checksum(head[:16]))
}

// room is an empty frame head, to be sealed once the payload stands.
var room [frameHead]byte

// A gap stands in place of entries that the writer could not keep. Its N is
// the first of them. After the tag: how many (uvarint), times of the first and
// the last (i64 each), the reason (text).
func appendGap(b []byte, h *Hole) []byte {
	from := len(b)
	b = append(b, room[:]...)
	b = append(b, tagGap)
	b = binary.AppendUvarint(b, h.Lost())
	b = le.AppendUint64(b, uint64(h.Since))
	b = le.AppendUint64(b, uint64(h.Until))
	b = appendText(b, h.Reason)
	seal(b, from, h.From)
	return b
}

func parseGap(f frame) *Hole {
	in := input{b: f.payload[1:]}
	h := &Hole{Offset: f.at, From: f.n, Known: true}
	count := in.uvarint()
	h.To = f.n + count - 1
	h.Since, h.Until = reading.Stamp(in.u64()), reading.Stamp(in.u64())
	h.Reason = in.text()
	if in.bad || len(in.b) > 0 || count == 0 || h.To < h.From {
		return nil
	}
	return h
}

// A mark is a place where reading can start.
type mark struct {
	off int64
	n   uint64
	at  reading.Stamp
}

// A summary is what is known of a segment without reading it: its footer.
type summary struct {
	next  uint64        // number after its last one
	any   bool          // it has entries, not gaps alone
	from  reading.Stamp // time of the first entry or gap
	to    reading.Stamp // latest time
	marks []mark
	gaps  []*Hole
}

// clear begins the summary of a segment with its first number.
func (s *summary) clear(first uint64) {
	*s = summary{next: first, marks: s.marks[:0], gaps: s.gaps[:0]}
}

// entry takes note of an entry.
func (s *summary) entry(off int64, n uint64, at reading.Stamp, begins bool) {
	s.time(at, at)
	s.any, s.next = true, n+1
	if begins {
		s.marks = append(s.marks, mark{off, n, s.to})
	}
}

// gap takes note of a gap.
func (s *summary) gap(h *Hole) {
	s.time(h.Since, h.Until)
	s.gaps = append(s.gaps, h)
	s.next = h.To + 1
}

func (s *summary) time(from, to reading.Stamp) {
	if !s.any && len(s.gaps) == 0 {
		s.from, s.to = from, to
	}
	s.to = max(s.to, to)
}

// append adds the footer, as a frame, and the trailer. off is where in the
// file they will stand. The footer's N is that after the last one here. After
// the tag: 1 if there are entries, 0 for gaps alone (byte), first and latest
// time (i64 each); how many places reading can start at (uvarint), of each the
// differences to the one before in offset (varint), number (uvarint) and time
// (varint); how many gaps (uvarint), of each first and last number (uvarint),
// times (i64 each), offset (uvarint) and reason (text).
func (s *summary) append(b []byte, off int64) []byte {
	from := len(b)
	b = append(b, room[:]...)
	b = append(b, tagFooter)
	b = append(b, 0)
	if s.any {
		b[len(b)-1] = 1
	}
	b = le.AppendUint64(b, uint64(s.from))
	b = le.AppendUint64(b, uint64(s.to))
	b = binary.AppendUvarint(b, uint64(len(s.marks)))
	var last mark
	for _, m := range s.marks {
		b = binary.AppendVarint(b, m.off-last.off)
		b = binary.AppendUvarint(b, m.n-last.n)
		b = binary.AppendVarint(b, int64(m.at-last.at))
		last = m
	}
	b = binary.AppendUvarint(b, uint64(len(s.gaps)))
	for _, h := range s.gaps {
		b = binary.AppendUvarint(b, h.From)
		b = binary.AppendUvarint(b, h.To)
		b = le.AppendUint64(b, uint64(h.Since))
		b = le.AppendUint64(b, uint64(h.Until))
		b = binary.AppendUvarint(b, uint64(h.Offset))
		b = appendText(b, h.Reason)
	}
	seal(b, from, s.next)

	trailer := len(b)
	b = le.AppendUint64(b, uint64(off))
	b = le.AppendUint32(b, checksum(b[trailer:]))
	return append(b, trailerMark...)
}

func parseFooter(f frame) *summary {
	in := input{b: f.payload[1:]}
	s := &summary{next: f.n}
	s.any = in.byte() == 1
	s.from, s.to = reading.Stamp(in.u64()), reading.Stamp(in.u64())
	var m mark
	for range in.count(3) {
		m.off += in.varint()
		m.n += in.uvarint()
		m.at += reading.Stamp(in.varint())
		s.marks = append(s.marks, m)
	}
	for range in.count(20) {
		h := &Hole{From: in.uvarint(), To: in.uvarint(), Known: true}
		h.Since, h.Until = reading.Stamp(in.u64()), reading.Stamp(in.u64())
		h.Offset = int64(in.uvarint())
		h.Reason = in.text()
		s.gaps = append(s.gaps, h)
	}
	if in.bad || len(in.b) > 0 {
		return nil
	}
	return s
}

// A window shows parts of a file, reading it in pieces.
type window struct {
	r    io.ReaderAt
	size int64
	off  int64
	buf  []byte
	err  error // of the disk
}

const piece = 256 << 10

// bytes gives n bytes at off, or fewer where the file ends. They last until
// the next call.
func (w *window) bytes(off int64, n int) []byte {
	n = int(max(0, min(int64(n), w.size-off)))
	if off >= w.off && off+int64(n) <= w.off+int64(len(w.buf)) {
		return w.buf[off-w.off:][:n]
	}
	want := int(min(int64(max(n, piece)), w.size-off))
	if cap(w.buf) < want {
		w.buf = make([]byte, want)
	}
	got, err := w.r.ReadAt(w.buf[:want], off)
	if err != nil && !errors.Is(err, io.EOF) && w.err == nil {
		w.err = err
	}
	w.off, w.buf = off, w.buf[:got]
	return w.buf[:min(n, got)]
}

// A frame is one whole frame of a file.
type frame struct {
	at      int64
	n       uint64
	payload []byte // lasts until the window moves
	end     int64
}

// A scan goes through the frames of a segment.
type scan struct {
	w    window
	off  int64
	want uint64 // the number that comes next
}

// headAt reads the head of a frame. ok says that its checksum holds and it
// could be one of ours.
func (s *scan) headAt(off int64) (size int, n uint64, sum uint32, ok bool) {
	b := s.w.bytes(off, frameHead)
	if len(b) < frameHead {
		return 0, 0, 0, false
	}
	size = int(le.Uint32(b))
	if size == 0 || size > maxPayload || le.Uint32(b[16:]) != checksum(b[:16]) {
		return 0, 0, 0, false
	}
	return size, le.Uint64(b[4:]), le.Uint32(b[12:]), true
}

// next gives the next whole frame and how many bytes before it cannot be read.
// Without one, ok is false and the bytes are those up to the end of the file.
func (s *scan) next() (f frame, bad int64, ok bool) {
	start := s.off
	for s.off < s.w.size && s.w.err == nil {
		size, n, sum, good := s.headAt(s.off)
		if !good {
			s.off++
			continue
		}
		end := s.off + frameHead + int64(size)
		payload := s.w.bytes(s.off+frameHead, size)
		switch {
		case len(payload) < size:
			// Its end is not there. What it covers may still hold whole frames
			// if this was never the head of one.
			s.off++
			continue
		case checksum(payload) != sum || n < s.want:
			s.off = end
			continue
		}
		f = frame{s.off, n, payload, end}
		s.off = end
		return f, f.at - start, true
	}
	s.off = start
	return frame{}, s.w.size - start, false
}

// trailer reads the trailer at off and gives where the footer is; 0 if this is
// no trailer, or the file does not end with it.
func (s *scan) trailer(off int64) int64 {
	if off < headSize || off+trailerSize != s.w.size {
		return 0
	}
	b := s.w.bytes(off, trailerSize)
	if len(b) < trailerSize || string(b[12:]) != trailerMark || le.Uint32(b[8:]) != checksum(b[:8]) {
		return 0
	}
	return int64(min(le.Uint64(b), uint64(off)))
}

// A place is one segment file of a folder.
type place struct {
	path  string
	name  string
	first uint64
	size  int64
	marks []mark // of one that has no footer yet, where they are known
}

// list gives the segments of a folder in order.
func list(dir string) ([]place, error) {
	files, err := os.ReadDir(dir)
	if err != nil {
		return nil, unreadable(dir, err)
	}
	var out []place
	for _, f := range files {
		digits, is := strings.CutSuffix(f.Name(), extension)
		first, err := strconv.ParseUint(digits, 10, 64)
		if !is || err != nil || segmentName(first) != f.Name() {
			continue
		}
		info, err := f.Info()
		if errors.Is(err, os.ErrNotExist) {
			continue // retention took it away meanwhile
		}
		if err != nil {
			return nil, unreadable(f.Name(), err)
		}
		out = append(out, place{filepath.Join(dir, f.Name()), f.Name(), first, info.Size(), nil})
	}
	sort.Slice(out, func(i, j int) bool { return out[i].first < out[j].first })
	return out, nil
}

func unreadable(name string, err error) *fault.Fault {
	return fault.New(fault.Path, "the recording cannot be read").In(name).Because(err).
		Fix("check that the folder is there and that this program may read it")
}

// open starts a scan at the first frame of a segment. badHead says that what
// stands before it is damaged; the name of the file says the same.
func (p *place) open(file *os.File, size int64) (s *scan, badHead bool, err error) {
	s = &scan{w: window{r: file, size: size}, off: headSize, want: p.first}
	head := s.w.bytes(0, headSize)
	switch {
	case len(head) < headSize || string(head[:8]) != magic || le.Uint32(head[20:]) != checksum(head[:20]):
		return s, true, nil
	case le.Uint32(head[8:]) != version:
		return nil, false, fault.New(fault.Unsupported, "the segment has version %d", le.Uint32(head[8:])).In(p.name).
			Fix("read it with the program that wrote it, or a newer one")
	}
	return s, le.Uint64(head[12:]) != p.first, nil
}

// headless is what open says with badHead: no entry is missing.
func (p *place) headless() *Hole {
	return &Hole{Segment: p.name, Bytes: headSize, Reason: "the head of the file is damaged"}
}

// footer reads the summary at the end of a closed segment; nil if there is
// none that can be trusted.
func (p *place) footer(file *os.File, size int64) *summary {
	s := scan{w: window{r: file, size: size}}
	if s.off = s.trailer(size - trailerSize); s.off < headSize {
		return nil
	}
	f, bad, ok := s.next()
	if !ok || bad > 0 || f.end != size-trailerSize || f.payload[0] != tagFooter {
		return nil
	}
	return parseFooter(f)
}
