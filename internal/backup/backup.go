// Package backup copies a data folder into one file while it is in use, checks
// the copy, and makes a data folder of it again.
//
// A backup is a zip archive: every file under data/, the register in it as one
// SQLite file whichever database it is in, and SHA256SUMS in the form that
// sha256sum --check reads. It has the keys and the hashes of the passwords in
// it, since without them nobody could go on; it is written for its owner alone.
//
// Not in it are messages of gateways on their way into the recording (the bus
// folder): they are recorded within seconds, and a copy of half-written streams
// would be none.
package backup

import (
	"archive/zip"
	"bufio"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path"
	"path/filepath"
	"strings"
	"time"

	"plumbhook/fault"
	"plumbhook/internal/store"
	"plumbhook/record"
)

// Names in a backup and in a data folder.
const (
	sumsName = "SHA256SUMS"
	under    = "data/"
	stamp    = "backup.json"
	bus      = "bus"
)

// Told is what a backup holds, and what it does not.
type Told struct {
	Files   int
	Bytes   int64
	Counts  store.Counts // of the register
	Entries uint64       // of the recordings
	Holes   []string     // that the recordings had already
	Left    []string     // out, and why
}

// Last is the newest backup of a data folder.
type Last struct {
	At     time.Time `json:"at"`
	Name   string    `json:"name"`
	SHA256 string    `json:"sha256"`
}

// LastOf reads when a data folder was backed up; false: never.
func LastOf(dir string) (l Last, ok bool) {
	b, err := os.ReadFile(filepath.Join(dir, stamp))
	return l, err == nil && json.Unmarshal(b, &l) == nil
}

// Write backs a data folder up into a new file, reads it back, and checks it as
// a restore would.
func Write(ctx context.Context, dir, out string, now time.Time) (*Told, error) {
	if info, err := os.Stat(dir); err != nil || !info.IsDir() {
		return nil, fault.New(fault.Path, "there is no such data folder").In(dir).Fix("check the path")
	}
	if _, err := os.Lstat(out); !errors.Is(err, fs.ErrNotExist) {
		return nil, fault.New(fault.Duplicate, "there is a file of that name").In(out).Because(err).Fix("give another name: a backup is never written over")
	}
	part := out + ".part"
	f, err := os.OpenFile(part, os.O_WRONLY|os.O_CREATE|os.O_TRUNC, 0o600)
	if err != nil {
		return nil, cannot(out, err)
	}
	defer os.Remove(part)
	defer f.Close()
	w := &writer{zip: zip.NewWriter(f), dir: dir, skip: map[string]bool{}}
	for _, p := range []string{out, part} {
		if whole, err := filepath.Abs(p); err == nil {
			w.skip[whole] = true
		}
	}
	if err := errors.Join(w.register(ctx), w.folder(dir), w.add(sumsName, strings.NewReader(w.sums.String()))); err != nil {
		return nil, err
	}
	if err := errors.Join(w.zip.Close(), f.Sync(), f.Close()); err != nil {
		return nil, cannot(out, err)
	}
	temp, err := os.MkdirTemp(filepath.Dir(part), ".check-*")
	if err != nil {
		return nil, cannot(out, err)
	}
	defer os.RemoveAll(temp)
	told, sum, err := unpack(ctx, part, filepath.Join(temp, "data"))
	if err != nil {
		return nil, err
	}
	told.Left = w.left
	if err := errors.Join(os.Rename(part, out), record.SyncDir(filepath.Dir(out))); err != nil {
		return nil, cannot(out, err)
	}
	l, err := json.Marshal(Last{At: now.UTC().Truncate(time.Second), Name: filepath.Base(out), SHA256: sum})
	if err == nil {
		err = os.WriteFile(filepath.Join(dir, stamp), append(l, '\n'), 0o600)
	}
	if err != nil {
		return told, fault.New(fault.Path, "the backup is whole, but when it was made cannot be noted in the data folder").Because(err).Fix("look at your rights to it")
	}
	return told, nil
}

func cannot(out string, err error) error {
	return fault.New(fault.Path, "the backup cannot be written").In(out).Because(err).Fix("look at your rights, and make room on the disk: checking takes the space of the data folder for a while")
}

// writer is a backup that grows.
type writer struct {
	zip  *zip.Writer
	dir  string
	skip map[string]bool // absolute paths
	sums strings.Builder
	left []string
}

func (w *writer) add(name string, in io.Reader) error {
	out, err := w.zip.CreateHeader(&zip.FileHeader{Name: name, Method: zip.Deflate})
	if err == nil {
		sum := sha256.New()
		_, err = io.Copy(io.MultiWriter(out, sum), in)
		fmt.Fprintf(&w.sums, "%x  %s\n", sum.Sum(nil), name)
	}
	if err != nil {
		return fault.New(fault.Path, "the backup cannot be written").In(name).Because(err).Fix("look at both disks")
	}
	return nil
}

// register puts in the database as it is at one moment. Attachments, which are
// never altered, come after it: each one that it names is there by then.
func (w *writer) register(ctx context.Context) error {
	if !store.Exists(w.dir) {
		return nil
	}
	s, err := store.Open(ctx, w.dir, false)
	if err != nil {
		return err
	}
	defer s.Close()
	temp, err := os.MkdirTemp("", "plumbhook-backup-*")
	if err != nil {
		return fault.New(fault.Path, "there is no room for a copy of the register").Because(err)
	}
	defer os.RemoveAll(temp)
	at := filepath.Join(temp, store.Database)
	if err := s.Snapshot(ctx, at); err != nil {
		return err
	}
	f, err := os.Open(at)
	if err != nil {
		return err
	}
	defer f.Close()
	for _, name := range []string{store.Database, store.Database + "-wal", store.Database + "-shm", store.Elsewhere} {
		if whole, err := filepath.Abs(filepath.Join(w.dir, name)); err == nil {
			w.skip[whole] = true
		}
	}
	return w.add(under+store.Database, f)
}

// folder puts in every file. One that grows meanwhile is taken as long as it was
// when its turn came.
func (w *writer) folder(dir string) error {
	return filepath.WalkDir(dir, func(at string, d fs.DirEntry, err error) error {
		if errors.Is(err, fs.ErrNotExist) {
			return nil // gone meanwhile, as old recordings go
		}
		if err != nil {
			return fault.New(fault.Path, "the data folder cannot be read").In(at).Because(err)
		}
		name, err := filepath.Rel(dir, at)
		if err != nil {
			return err
		}
		whole, err := filepath.Abs(at)
		switch name = filepath.ToSlash(name); {
		case err != nil:
			return err
		case d.IsDir() && d.Name() == bus:
			w.left = append(w.left, name+": messages on their way into the recording")
			return fs.SkipDir
		case d.IsDir() || w.skip[whole] || d.Name() == "lock" || strings.HasSuffix(name, ".part"):
			return nil
		case !d.Type().IsRegular():
			w.left = append(w.left, name+": it is no file of its own")
			return nil
		}
		f, err := os.Open(at)
		if errors.Is(err, fs.ErrNotExist) {
			return nil
		}
		if err != nil {
			return fault.New(fault.Path, "a file of the data folder cannot be read").In(at).Because(err)
		}
		defer f.Close()
		info, err := f.Stat()
		if err != nil {
			return err
		}
		return w.add(under+name, io.LimitReader(f, info.Size()))
	})
}

// Restore makes a data folder of a backup. The folder must not be there yet: it
// is made under another name, checked, and gets its own when all is well.
func Restore(ctx context.Context, from, dir string) (*Told, error) {
	if _, err := os.Lstat(dir); !errors.Is(err, fs.ErrNotExist) {
		return nil, fault.New(fault.Duplicate, "there is something of that name").In(dir).Because(err).Fix("give a new folder: a restore never writes over data")
	}
	part := filepath.Clean(dir) + ".part"
	if err := os.Mkdir(part, 0o750); err != nil {
		return nil, fault.New(fault.Path, "the data folder cannot be made").In(part).Because(err).Fix("look at your rights; remove what a restore that was broken off has left there")
	}
	defer os.RemoveAll(part)
	told, _, err := unpack(ctx, from, filepath.Join(part, "data"))
	if err != nil {
		return nil, err
	}
	if err := errors.Join(os.Rename(filepath.Join(part, "data"), dir), record.SyncDir(filepath.Dir(filepath.Clean(dir)))); err != nil {
		return nil, fault.New(fault.Path, "the data folder cannot be made").In(dir).Because(err)
	}
	return told, nil
}

// unpack writes the data folder of a backup, checks all of it, and gives the
// checksum of the backup itself.
func unpack(ctx context.Context, from, dir string) (*Told, string, error) {
	f, err := os.Open(from)
	if err != nil {
		return nil, "", fault.New(fault.Path, "the backup cannot be read").In(from).Because(err).Fix("check the path")
	}
	defer f.Close()
	whole := sha256.New()
	size, err := io.Copy(whole, f)
	if err != nil {
		return nil, "", fault.New(fault.Path, "the backup cannot be read").In(from).Because(err).Fix("look at its disk")
	}
	z, err := zip.NewReader(f, size)
	if err != nil {
		return nil, "", fault.New(fault.Syntax, "this is no backup, or not a whole one").In(from).Because(err).Fix("take another one")
	}
	want, err := sumsOf(z)
	if err != nil {
		return nil, "", err
	}
	if err := os.MkdirAll(dir, 0o750); err != nil {
		return nil, "", fault.New(fault.Path, "the data folder cannot be made").In(dir).Because(err)
	}
	root, err := os.OpenRoot(dir)
	if err != nil {
		return nil, "", err
	}
	defer root.Close()
	told := &Told{}
	for _, e := range z.File {
		if e.Name == sumsName {
			continue
		}
		sum, known := want[e.Name]
		name, inside := strings.CutPrefix(e.Name, under)
		switch {
		case !inside || !filepath.IsLocal(filepath.FromSlash(name)) || path.Clean(name) != name || !e.Mode().IsRegular():
			return nil, "", fault.New(fault.Path, "the backup has a file that does not belong into a data folder").In(e.Name).Fix("do not trust it; take another one")
		case !known:
			return nil, "", fault.New(fault.Disagree, "the backup has a file that its list of checksums has not").In(e.Name).Fix("do not trust it; take another one")
		}
		got, n, err := place(root, name, e)
		if err != nil {
			return nil, "", fault.New(fault.Path, "a file of the backup cannot be restored").In(e.Name).Because(err).Fix("if the disk is full make room; else take another backup")
		}
		if got != sum {
			return nil, "", fault.New(fault.Disagree, "a file of the backup is not what was put into it").In(e.Name).Fix("take another one")
		}
		delete(want, e.Name)
		told.Files++
		told.Bytes += n
	}
	for name := range want {
		return nil, "", fault.New(fault.Disagree, "the backup lacks a file that its list of checksums has").In(name).Fix("take another one")
	}
	if err := told.check(ctx, dir); err != nil {
		return nil, "", err
	}
	return told, hex.EncodeToString(whole.Sum(nil)), nil
}

func sumsOf(z *zip.Reader) (map[string]string, error) {
	f, err := z.Open(sumsName)
	if err != nil {
		return nil, fault.New(fault.Syntax, "this is no backup: it has no list of checksums").Because(err).Fix("take another one")
	}
	defer f.Close()
	sums := map[string]string{}
	lines := bufio.NewScanner(f)
	for lines.Scan() {
		sum, name, ok := strings.Cut(lines.Text(), "  ")
		if _, twice := sums[name]; !ok || twice {
			return nil, fault.New(fault.Syntax, "the list of checksums in the backup is garbled").In(name).Fix("take another one")
		}
		sums[name] = sum
	}
	return sums, lines.Err()
}

// place writes one file. It takes no more than the archive says that it has.
func place(root *os.Root, name string, e *zip.File) (sum string, n int64, err error) {
	if err := root.MkdirAll(filepath.Dir(filepath.FromSlash(name)), 0o750); err != nil {
		return "", 0, err
	}
	in, err := e.Open()
	if err != nil {
		return "", 0, err
	}
	defer in.Close()
	out, err := root.OpenFile(filepath.FromSlash(name), os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
	if err != nil {
		return "", 0, err
	}
	h := sha256.New()
	n, err = io.Copy(io.MultiWriter(out, h), in)
	return hex.EncodeToString(h.Sum(nil)), n, errors.Join(err, out.Sync(), out.Close())
}

// check goes through register and recordings as a reader would. Holes were there
// when the backup was made: they are told, and hold nothing up.
func (t *Told) check(ctx context.Context, dir string) error {
	if store.Exists(dir) {
		s, err := store.Open(ctx, dir, false)
		if err != nil {
			return err
		}
		defer s.Close()
		if t.Counts, err = s.Check(ctx); err != nil {
			return err
		}
	}
	return filepath.WalkDir(dir, func(at string, d fs.DirEntry, err error) error {
		if err != nil || !d.IsDir() || d.Name() != "record" {
			return err
		}
		r, err := record.NewReader(at)
		if err != nil {
			return err
		}
		for _, err := range r.From(0) {
			if err == nil {
				t.Entries++
			} else if len(t.Holes) < 20 {
				t.Holes = append(t.Holes, err.Error())
			}
		}
		return fs.SkipDir
	})
}
