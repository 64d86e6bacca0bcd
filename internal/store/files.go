package store

import (
	"context"
	"crypto/rand"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"io"
	"io/fs"
	"os"
	"path"

	"plumbhook/fault"
	"plumbhook/register"
)

// place is where a file lies: under the first two digits of its checksum, so
// that no folder grows too long.
func place(sum string) (string, error) {
	if b, err := hex.DecodeString(sum); err != nil || len(b) != sha256.Size {
		return "", fault.New(fault.Reference, "%q is no checksum of a file", sum)
	}
	return path.Join(sum[:2], sum), nil
}

// Put writes a file under a name of its own first: what has its final name is
// whole and on the disk.
func (s *Store) Put(_ context.Context, name string, r io.Reader) (register.File, error) {
	refuse := func(err error) (register.File, error) {
		return register.File{}, fault.New(fault.Path, "%s cannot be kept", name).Because(err)
	}
	data, err := io.ReadAll(io.LimitReader(r, register.MaxFile+1))
	if err != nil {
		return refuse(err)
	}
	if len(data) > register.MaxFile {
		return register.File{}, fault.New(fault.TooLarge, "%s has more than %d MiB", name, register.MaxFile>>20).Fix("attach the report, not the film")
	}
	sum := sha256.Sum256(data)
	f := register.File{Name: path.Base(name), Sum: hex.EncodeToString(sum[:]), Size: int64(len(data))}
	final, err := place(f.Sum)
	if err != nil {
		return refuse(err)
	}
	if err := s.files.MkdirAll(path.Dir(final), 0o750); err != nil {
		return refuse(err)
	}
	draft := path.Join(path.Dir(final), rand.Text()+".tmp")
	if err := s.write(draft, data); err != nil {
		return refuse(errors.Join(err, s.files.Remove(draft)))
	}
	if err := s.files.Rename(draft, final); err != nil {
		return refuse(errors.Join(err, s.files.Remove(draft)))
	}
	for _, dir := range []string{path.Dir(final), "."} {
		if err := s.sync(dir); err != nil {
			return refuse(err)
		}
	}
	return f, nil
}

func (s *Store) write(name string, data []byte) error {
	f, err := s.files.OpenFile(name, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o640)
	if err != nil {
		return err
	}
	_, err = f.Write(data)
	return errors.Join(err, f.Sync(), f.Close())
}

// sync makes the names in a folder durable.
func (s *Store) sync(dir string) error {
	d, err := s.files.Open(dir)
	if err != nil {
		return err
	}
	return errors.Join(d.Sync(), d.Close())
}

// Get reads a file and holds it against its checksum.
func (s *Store) Get(_ context.Context, f register.File) ([]byte, error) {
	at, err := place(f.Sum)
	if err != nil {
		return nil, err
	}
	data, err := s.files.ReadFile(at)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return nil, fault.New(fault.Reference, "the attachment %s is not in the data folder", f.Name).Fix("it was destroyed, or the folder is not whole: restore it from a backup")
	case err != nil:
		return nil, fault.New(fault.Path, "the attachment %s cannot be read", f.Name).Because(err)
	case hex.EncodeToString(sum(data)) != f.Sum:
		return nil, fault.New(fault.Disagree, "the attachment %s is not what was put there", f.Name).Fix("restore it from a backup")
	}
	return data, nil
}

func sum(data []byte) []byte {
	s := sha256.Sum256(data)
	return s[:]
}
