package seal

import (
	"bytes"
	"cmp"
	"crypto/ed25519"
	"crypto/x509"
	"encoding/pem"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"runtime"
	"strconv"
	"strings"
	"time"

	"plumbhook/fault"
	"plumbhook/record"
)

// A Signer seals records with the key and in the chain of a folder:
//
//	key.pem    the signing key (PKCS #8, RFC 8410), for its owner's eyes only
//	signer.pem its public half, to be given away
//	chain.txt  a line for each record sealed: number, SHA-256 of its manifest,
//	           time, title
type Signer struct {
	dir string
	key ed25519.PrivateKey
}

// A Link is one record in the chain.
type Link struct {
	Number uint64
	Head   string // SHA-256 of the manifest, hexadecimal; empty before the first
	Sealed string // time
	Title  string
}

// OpenSigner opens the folder, and makes it with a new key when it has none.
// With keyFile the key is the one there instead, which must exist.
func OpenSigner(dir, keyFile string) (s *Signer, made bool, err error) {
	if err := os.MkdirAll(dir, 0o700); err != nil {
		return nil, false, fault.New(fault.Path, "the folder of the signing key cannot be made").In(dir).Because(err)
	}
	path := cmp.Or(keyFile, filepath.Join(dir, "key.pem"))
	key, err := readKey(path)
	if errors.Is(err, fs.ErrNotExist) && keyFile == "" {
		if key, err = makeKey(dir); err == nil {
			made = true
		}
	}
	if err != nil {
		return nil, false, err
	}
	return &Signer{dir, key}, made, nil
}

// makeKey makes a key. Two that do so at once end up with the same one.
func makeKey(dir string) (ed25519.PrivateKey, error) {
	cannot := func(err error) error {
		return fault.New(fault.Path, "the signing key cannot be kept").In(dir).Because(err).Fix("check that the folder may be written to")
	}
	if _, err := os.Stat(filepath.Join(dir, "chain.txt")); err == nil {
		return nil, fault.New(fault.Missing, "the folder has a chain of records, but the key that signed them is gone").In(dir).
			Fix("bring key.pem back from its copy; to begin anew with another key, move chain.txt away and tell whoever has the public key")
	}
	lock, err := record.Lock(filepath.Join(dir, "lock"))
	if err != nil {
		return nil, cannot(err)
	}
	defer lock.Close()
	path := filepath.Join(dir, "key.pem")
	if key, err := readKey(path); !errors.Is(err, fs.ErrNotExist) {
		return key, err
	}
	_, key, err := ed25519.GenerateKey(nil)
	if err != nil {
		return nil, cannot(err)
	}
	der, err := x509.MarshalPKCS8PrivateKey(key)
	if err != nil {
		return nil, cannot(err)
	}
	for _, f := range []struct {
		name string
		text []byte
		mode fs.FileMode
	}{
		{"signer.pem", publicPEM(key.Public().(ed25519.PublicKey)), 0o644},
		{"key.pem", pem.EncodeToMemory(&pem.Block{Type: "PRIVATE KEY", Bytes: der}), 0o600},
	} {
		next := filepath.Join(dir, f.name+".new")
		if err := writeSynced(next, f.text, f.mode); err != nil {
			return nil, cannot(err)
		}
		if err := os.Rename(next, filepath.Join(dir, f.name)); err != nil {
			return nil, cannot(err)
		}
	}
	return key, record.SyncDir(dir)
}

func writeSynced(path string, b []byte, mode fs.FileMode) error {
	f, err := os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_TRUNC, mode)
	if err != nil {
		return err
	}
	_, err = f.Write(b)
	return errors.Join(err, f.Chmod(mode), f.Sync(), f.Close())
}

// readKey reads a signing key that nobody but its owner may read.
func readKey(path string) (ed25519.PrivateKey, error) {
	cannot := fault.New(fault.Path, "the signing key cannot be read").In(path)
	f, err := os.Open(path)
	if err != nil {
		return nil, cannot.Because(err)
	}
	defer f.Close()
	info, err := f.Stat()
	if err != nil {
		return nil, cannot.Because(err)
	}
	if runtime.GOOS != "windows" && info.Mode().Perm()&0o077 != 0 {
		return nil, fault.New(fault.Path, "others may read or change the signing key").In(path).Fix("chmod 600 %s; where somebody may have read it, sign with a new one", path)
	}
	b := make([]byte, min(info.Size(), 1<<12))
	n, _ := f.Read(b)
	block, _ := pem.Decode(b[:n])
	if block == nil {
		return nil, cannot.Fix("it must be an Ed25519 key as PEM, PKCS #8: openssl genpkey -algorithm ed25519 makes one")
	}
	any, err := x509.ParsePKCS8PrivateKey(block.Bytes)
	key, ok := any.(ed25519.PrivateKey)
	if err != nil || !ok {
		return nil, cannot.Because(err).Fix("it must be an Ed25519 key as PEM, PKCS #8: openssl genpkey -algorithm ed25519 makes one")
	}
	return key, nil
}

// Public is the key that records are verified with.
func (s *Signer) Public() ed25519.PublicKey { return s.key.Public().(ed25519.PublicKey) }

// PublicPEM is the same as general tools read it.
func (s *Signer) PublicPEM() []byte { return publicPEM(s.Public()) }

func (s *Signer) chain() string { return filepath.Join(s.dir, "chain.txt") }

// Last is the head of the chain; the zero Link before the first record.
func (s *Signer) Last() (Link, error) {
	text, err := os.ReadFile(s.chain())
	if errors.Is(err, fs.ErrNotExist) {
		return Link{}, nil
	}
	if err != nil {
		return Link{}, fault.New(fault.Path, "the chain of records cannot be read").In(s.chain()).Because(err)
	}
	var last Link
	for line := range strings.Lines(string(text)) {
		parts := strings.SplitN(strings.TrimSuffix(line, "\n"), " ", 4)
		n, err := strconv.ParseUint(parts[0], 10, 64)
		if err != nil || len(parts) < 4 || n != last.Number+1 || !isHash(parts[1]) || !strings.HasSuffix(line, "\n") {
			return Link{}, fault.New(fault.Syntax, "the chain of records is damaged").At(fault.Pos{File: s.chain(), Line: int(last.Number) + 1}).
				Fix("put the file right from the records: a line is number, SHA-256 of manifest.json, time and title")
		}
		last = Link{n, parts[1], parts[2], parts[3]}
	}
	return last, nil
}

// Seal writes a record, which must not exist yet, reads it back to see that it
// is intact, and takes it into the chain. The number and the record before
// are filled into the manifest.
//
// The chain goes first: when the power fails between the two, the record is
// whole under its name with .part behind it.
func (s *Signer) Seal(path string, m *Manifest, files []Source) (*Report, error) {
	cannot := func(err error) error {
		return fault.New(fault.Path, "the record cannot be written").In(path).Because(err).Fix("check folder and disk, and seal again")
	}
	lock, err := record.Lock(filepath.Join(s.dir, "lock"))
	if err != nil {
		return nil, fault.New(fault.Path, "another record is being sealed").In(s.dir).Because(err).Fix("seal again when it is done")
	}
	defer lock.Close()
	if _, err := os.Lstat(path); !errors.Is(err, fs.ErrNotExist) {
		return nil, fault.New(fault.Duplicate, "there is a file of that name, and a record is never written over").In(path).Because(err).Fix("give another name")
	}
	last, err := s.Last()
	if err != nil {
		return nil, err
	}
	m.Number, m.Before = last.Number+1, last.Head

	part := path + ".part"
	out, err := os.OpenFile(part, os.O_RDWR|os.O_CREATE|os.O_TRUNC, 0o644)
	if err != nil {
		return nil, cannot(err)
	}
	defer out.Close()
	rep, err := s.write(out, m, files)
	if err != nil {
		os.Remove(part)
		return nil, err
	}
	line := fmt.Sprintf("%d %s %s %s\n", m.Number, rep.Head, m.Sealed.UTC().Format(time.RFC3339), oneLine(m.Title))
	if err := s.link(line); err != nil {
		os.Remove(part)
		return nil, err
	}
	if err := errors.Join(out.Close(), os.Rename(part, path)); err != nil {
		return nil, cannot(err).(*fault.Fault).Fix("the record is %s: give it its name", part)
	}
	return rep, record.SyncDir(filepath.Dir(path))
}

func (s *Signer) write(out *os.File, m *Manifest, files []Source) (*Report, error) {
	if _, err := Write(out, m, files, s.key); err != nil {
		return nil, err
	}
	if err := out.Sync(); err != nil {
		return nil, fault.New(fault.Path, "the record cannot be written").Because(err).Fix("make room on the disk, and seal again")
	}
	info, err := out.Stat()
	if err != nil {
		return nil, err
	}
	rep, err := Verify(out, info.Size())
	if err != nil {
		return nil, err
	}
	if !rep.Intact() || !rep.Signer.Equal(s.Public()) {
		return nil, fault.New(fault.Disagree, "the record, read back, is not as written: %v", rep.Problems).Fix("check the disk, and that nobody changes the files meanwhile; seal again")
	}
	return rep, nil
}

// link adds a line to the chain, durably.
func (s *Signer) link(line string) error {
	f, err := os.OpenFile(s.chain(), os.O_WRONLY|os.O_CREATE|os.O_APPEND, 0o600)
	if err == nil {
		_, err = f.WriteString(line)
		err = errors.Join(err, f.Sync(), f.Close(), record.SyncDir(s.dir))
	}
	if err != nil {
		return fault.New(fault.Path, "the chain of records cannot be kept").In(s.chain()).Because(err).Fix("make room on the disk, and look at the end of the file")
	}
	return nil
}

func oneLine(s string) string {
	return string(bytes.Map(func(r rune) rune {
		if r < ' ' || r == 0x7f || r == 0x85 || r == 0x2028 || r == 0x2029 {
			return ' '
		}
		return r
	}, []byte(s)))
}
