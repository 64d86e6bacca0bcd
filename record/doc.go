// Package record keeps a logbook on disk, append-only and checksummed, so that
// what was acknowledged is still there after a kill or a power cut at any byte,
// and what is not there is named.
//
// # On disk
//
// A recording is a folder of segment files. A segment is named for the number
// of its first entry, 20 decimal digits and ".rec", and is only ever appended
// to. All integers are little-endian; uvarint and varint (zigzag) are those of
// encoding/binary; a text is its length as uvarint and its bytes; a checksum is
// CRC-32C (Castagnoli, RFC 3720 appendix B.4).
//
//	segment = head, frame...            while it is open
//	          head, frame..., footer, trailer   once it is closed
//	head    = "plumbrec", version u32, first N u64, checksum of these u32
//	frame   = length of payload u32, N u64, checksum of payload u32,
//	          checksum of these 16 bytes u32, payload
//	trailer = offset of the footer u64, checksum of these u32, "end." u32
//
// The first byte of a payload tells what it is: an entry (0), a gap (1) that
// the writer had to leave because the disk would not take more, or the footer
// (2), which sums the segment up and lists where reading can start.
//
// Names of channels and sources stand once per stretch of 64 KiB and are
// numbered from there on. A stretch begins with an entry that needs nothing
// before it; every other one says how far back its beginning is, so that damage
// to a beginning is noticed and never read with the wrong names. See entry.go
// for the fields.
//
// Bytes before the durable end of a segment never change, so hashes of fixed
// chunks can be laid over the files as they grow.
//
// # What can be missing
//
// Open cuts what a crash left half written at the end, never anything that a
// whole entry follows. Damage further in stays where it is and is reported as
// a [Hole]: by Open where it is cheap to see (the last segment, the joints
// between segments), by a [Reader] for the rest. An entry is handed out whole
// or not at all.
package record
