package seal

import (
	"bytes"
	"errors"
	"io"
)

// A found entry is one that the directory of any zip archive tells of, sealed
// or not.
type found struct {
	entry
	method uint16
	at     int64 // of its contents
	packed int64 // their size in the archive
}

// scan reads the directory at the end of an archive as lenient readers do, to
// say what a file that is no intact record holds. whole is false where there
// is no directory, or one that does not fit the file.
func scan(r *span) (list []found, whole bool) {
	tail := r.bytes(max(0, r.size-endSize-1<<16), endSize+1<<16)
	i := bytes.LastIndex(tail, le.AppendUint32(nil, endSign))
	if i < 0 || len(tail)-i < endSize {
		return nil, false
	}
	end := tail[i:]
	n, size, off := int(le.Uint16(end[10:])), int64(le.Uint32(end[12:])), int64(le.Uint32(end[16:]))
	if n > maxFiles+3 || size > int64(n)*(centralSize+3<<16) {
		return nil, false
	}
	dir := r.bytes(off, int(min(size, maxManifest)))
	for range n {
		if len(dir) < centralSize || le.Uint32(dir) != centralSign {
			return list, false
		}
		names := int(le.Uint16(dir[28:]))
		rest := names + int(le.Uint16(dir[30:])) + int(le.Uint16(dir[32:]))
		if len(dir) < centralSize+rest {
			return list, false
		}
		f := found{method: le.Uint16(dir[10:]), packed: int64(le.Uint32(dir[20:]))}
		f.crc, f.size, f.off = le.Uint32(dir[16:]), int64(le.Uint32(dir[24:])), int64(le.Uint32(dir[42:]))
		f.name = string(dir[centralSize : centralSize+names])
		dir = dir[centralSize+rest:]
		head := r.bytes(f.off, localSize)
		if len(head) < localSize || le.Uint32(head) != localSign {
			return list, false
		}
		f.at = f.off + localSize + int64(le.Uint16(head[26:])) + int64(le.Uint16(head[28:]))
		if name := r.bytes(f.off+localSize, len(f.name)); string(name) != f.name || f.at+f.packed > r.size {
			return list, false
		}
		list = append(list, f)
	}
	return list, true
}

// search looks for a manifest through all bytes of a file whose directory does
// not lead to it.
func search(r *span) []byte {
	begin, end := []byte("{\n \"plumbhook\": "+quote(form)), []byte("]}]\n}\n")
	const step = 1 << 20
	tries := 4 // a hostile file may begin any number of them
	for off := int64(0); off < r.size && tries > 0; {
		i := bytes.Index(r.bytes(off, step+len(begin)), begin)
		if i < 0 {
			off += step
			continue
		}
		off += int64(i)
		text := r.bytes(off, maxManifest)
		if k := bytes.Index(text, end); k >= 0 {
			return bytes.Clone(text[:k+len(end)])
		}
		off++
		tries--
	}
	return nil
}

// A span gives parts of a file.
type span struct {
	r    io.ReaderAt
	size int64
	buf  []byte
	err  error // of the disk
}

// bytes gives n bytes at off, or fewer where the file ends. They last until
// the next call.
func (s *span) bytes(off int64, n int) []byte {
	if n = int(min(int64(n), s.size-off)); n <= 0 {
		return nil
	}
	if cap(s.buf) < n {
		s.buf = make([]byte, n)
	}
	got, err := s.r.ReadAt(s.buf[:n], off)
	if got < n && err != nil && !errors.Is(err, io.EOF) && s.err == nil {
		s.err = err
	}
	return s.buf[:got]
}
