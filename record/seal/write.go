package seal

import (
	"bufio"
	"bytes"
	"cmp"
	"crypto/ed25519"
	"crypto/sha256"
	"crypto/x509"
	"encoding/hex"
	"encoding/pem"
	"hash/crc32"
	"io"
	"slices"
	"strings"

	"plumbhook/fault"
)

// A Source is a file to be sealed. Its contents are read twice.
type Source struct {
	Name string // slash path
	*io.SectionReader
}

// Bytes is a source in memory.
func Bytes(name string, b []byte) Source {
	return Source{name, io.NewSectionReader(bytes.NewReader(b), 0, int64(len(b)))}
}

// A content is an entry with its bytes.
type content struct {
	entry
	*io.SectionReader
}

// Write seals files under a manifest, whose list of files it fills in, and
// gives the SHA-256 of the manifest. Memory does not grow with the files.
func Write(w io.Writer, m *Manifest, files []Source, key ed25519.PrivateKey) (head string, err error) {
	all := append(slices.Clone(files), Bytes(signerName, publicPEM(key.Public().(ed25519.PublicKey))))
	slices.SortFunc(all, func(a, b Source) int { return cmp.Compare(a.Name, b.Name) })
	var parts []content
	m.Files = m.Files[:0]
	for _, s := range all {
		f, crc, err := sum(s)
		if err != nil {
			return "", err
		}
		m.Files = append(m.Files, f)
		parts = append(parts, content{entry{name: f.Name, crc: crc, size: f.Size}, s.SectionReader})
	}
	m.clean()
	if err := m.check(); err != nil {
		return "", err
	}
	text := m.encode()
	if len(text) > maxManifest {
		return "", fault.New(fault.TooLarge, "the list of what is sealed takes %d bytes", len(text)).Fix("seal a shorter stretch")
	}
	for _, s := range []Source{Bytes(manifestName, text), Bytes(signatureName, ed25519.Sign(key, text))} {
		_, crc, err := sum(s)
		if err != nil {
			return "", err
		}
		parts = append(parts, content{entry{name: s.Name, crc: crc, size: s.Size()}, s.SectionReader})
	}
	return hash(text), assemble(w, parts)
}

// clean takes from texts what JSON cannot hold.
func (m *Manifest) clean() {
	for _, s := range []*string{&m.Program, &m.Title, &m.Revision, &m.From, &m.To} {
		*s = strings.ToValidUTF8(*s, "\uFFFD")
	}
	for i := range m.Missing {
		m.Missing[i] = strings.ToValidUTF8(m.Missing[i], "\uFFFD")
	}
}

// sum works out the checksums of a source.
func sum(s Source) (File, uint32, error) {
	f := File{Name: s.Name, Size: s.Size()}
	whole, crc := sha256.New(), crc32.NewIEEE()
	buf := make([]byte, min(chunkSize, s.Size()))
	for at := int64(0); at < f.Size; at += chunkSize {
		b := buf[:min(chunkSize, f.Size-at)]
		if n, err := s.ReadAt(b, at); n < len(b) {
			return f, 0, fault.New(fault.Path, "what is to be sealed cannot be read").In(s.Name).Because(err)
		}
		whole.Write(b)
		crc.Write(b)
		f.Chunks = append(f.Chunks, hash(b))
	}
	f.SHA256 = hex.EncodeToString(whole.Sum(nil))
	return f, crc.Sum32(), nil
}

func hash(b []byte) string {
	h := sha256.Sum256(b)
	return hex.EncodeToString(h[:])
}

// assemble writes the one archive that has these contents.
func assemble(w io.Writer, parts []content) error {
	entries := make([]entry, len(parts))
	for i := range parts {
		entries[i] = parts[i].entry
	}
	directory, total := place(entries)
	if total > maxTotal {
		return fault.New(fault.TooLarge, "the record takes %d bytes", total).Fix("seal a shorter stretch: a record holds less than 4 GiB")
	}
	out := bufio.NewWriterSize(w, 256<<10)
	var b []byte
	for i := range entries {
		b = entries[i].local(b[:0])
		out.Write(b)
		if n, err := io.Copy(out, io.NewSectionReader(parts[i], 0, entries[i].size)); err != nil || n < entries[i].size {
			return fault.New(fault.Path, "the record cannot be written").In(entries[i].name).Because(cmp.Or(err, io.ErrUnexpectedEOF)).Fix("make room on the disk, and seal again")
		}
	}
	for i := range entries {
		b = entries[i].central(b[:0])
		out.Write(b)
	}
	out.Write(appendEnd(nil, len(entries), total-endSize-directory, directory))
	if err := out.Flush(); err != nil {
		return fault.New(fault.Path, "the record cannot be written").Because(err).Fix("make room on the disk, and seal again")
	}
	return nil
}

// publicPEM is the one spelling of a public key, as general tools read it
// (RFC 8410).
func publicPEM(key ed25519.PublicKey) []byte {
	der, err := x509.MarshalPKIXPublicKey(key)
	if err != nil {
		panic(err) // a key of this type always can
	}
	return pem.EncodeToMemory(&pem.Block{Type: "PUBLIC KEY", Bytes: der})
}

// ParsePublic reads a public key: PEM as in signer.pem, or the 64 hexadecimal
// digits that are printed.
func ParsePublic(b []byte) (ed25519.PublicKey, error) {
	bad := fault.New(fault.Syntax, "this is no public key of a record").Fix("give the file that `plumbhook signer` writes, or the 64 digits that it prints")
	if raw, err := hex.DecodeString(strings.TrimSpace(string(b))); err == nil && len(raw) == ed25519.PublicKeySize {
		return raw, nil
	}
	block, _ := pem.Decode(b)
	if block == nil {
		return nil, bad
	}
	any, err := x509.ParsePKIXPublicKey(block.Bytes)
	if err != nil {
		return nil, bad.Because(err)
	}
	key, ok := any.(ed25519.PublicKey)
	if !ok {
		return nil, bad
	}
	return key, nil
}
