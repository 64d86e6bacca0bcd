package seal

import "encoding/binary"

// The sizes and signatures of the zip headers, APPNOTE 6.3.3 sections 4.3.7,
// 4.3.12 and 4.3.16.
const (
	localSize, localSign     = 30, 0x04034b50
	centralSize, centralSign = 46, 0x02014b50
	endSize, endSign         = 22, 0x06054b50

	// crcAt is where the checksum stands in a local header; it is two bytes
	// further on in a central one.
	crcAt = 14
)

// Bounds of an archive; sizes and offsets fit the fields of plain zip.
const (
	maxFiles = 4096
	maxTotal = 1<<32 - 2
)

var le = binary.LittleEndian

// An entry is what the headers say of one file.
type entry struct {
	name string
	crc  uint32
	size int64
	off  int64 // of the local header
}

func (e *entry) data() int64 { return e.off + localSize + int64(len(e.name)) }
func (e *entry) end() int64  { return e.data() + e.size }

// common is what both headers have: version 2.0 needed, names in UTF-8,
// stored, at 0:00 on the first of January 1980.
func (e *entry) common(b []byte) []byte {
	b = le.AppendUint16(b, 20)
	b = le.AppendUint16(b, 0x0800)
	b = le.AppendUint16(b, 0)
	b = le.AppendUint16(b, 0)
	b = le.AppendUint16(b, 1<<5|1)
	b = le.AppendUint32(b, e.crc)
	b = le.AppendUint32(b, uint32(e.size))
	b = le.AppendUint32(b, uint32(e.size))
	b = le.AppendUint16(b, uint16(len(e.name)))
	return le.AppendUint16(b, 0)
}

// local adds the header that stands before the contents.
func (e *entry) local(b []byte) []byte {
	b = le.AppendUint32(b, localSign)
	b = e.common(b)
	return append(b, e.name...)
}

// central adds the header of the directory at the end.
func (e *entry) central(b []byte) []byte {
	b = le.AppendUint32(b, centralSign)
	b = le.AppendUint16(b, 20)
	b = e.common(b)
	b = append(b, make([]byte, 10)...) // no comment, first disk, no attributes
	b = le.AppendUint32(b, uint32(e.off))
	return append(b, e.name...)
}

// appendEnd adds the end of the archive.
func appendEnd(b []byte, entries int, size, off int64) []byte {
	b = le.AppendUint32(b, endSign)
	b = le.AppendUint32(b, 0)
	b = le.AppendUint16(b, uint16(entries))
	b = le.AppendUint16(b, uint16(entries))
	b = le.AppendUint32(b, uint32(size))
	b = le.AppendUint32(b, uint32(off))
	return le.AppendUint16(b, 0)
}

// place sets the offsets of entries that follow one another from 0 on, and
// gives where the directory begins and how long the whole is.
func place(entries []entry) (directory, total int64) {
	for i := range entries {
		entries[i].off = directory
		directory = entries[i].end()
	}
	total = directory + endSize
	for i := range entries {
		total += centralSize + int64(len(entries[i].name))
	}
	return directory, total
}
