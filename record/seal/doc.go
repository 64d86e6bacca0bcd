// Package seal closes the record of a lift: one file that says what was
// planned, read, said and done, in which a changed byte is noticed and named,
// signed, and tied to the record sealed before it.
//
// It seals bytes that are given to it and knows nothing of lifts.
//
// # The file
//
// A record is a zip archive of which there is exactly one for given contents.
// Entries are stored, not compressed. Every field of a header that zip leaves
// open has one value: no extra fields, no comments, no data descriptors, 1980
// as the date, UTF-8 names, sizes below 4 GiB. Nothing stands before, between
// or after. The entries are, in this order:
//
//	the files         ordered by the bytes of their names, signer.pem among them
//	manifest.json     [Manifest]: what is sealed, each file's size and SHA-256,
//	                  and that of each 64 KiB of it
//	manifest.sig      Ed25519 (RFC 8032) over the bytes of manifest.json, 64 bytes
//	countersignature.txt  only where somebody else has countersigned, see [Countersign]
//
// The manifest has one spelling too. It gives names and sizes, and with them
// the place of every byte of the file; the checksums of the headers follow
// from the contents. So [Verify] works out what every byte must be and compares.
//
// The zip layout follows the public APPNOTE 6.3.3 (ISO/IEC 21320-1 restricts it
// in much the same way, but allows compression).
//
// # The chain
//
// A manifest holds the SHA-256 of the manifest before it. Whoever knows the
// last hash, the head, can tell whether a record was taken out of the row or
// put into it later. A [Signer] keeps key and chain in a folder; a head that
// was written down elsewhere binds also whoever holds the key.
package seal
