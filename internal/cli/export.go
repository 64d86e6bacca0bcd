package cli

import (
	"archive/zip"
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"

	"plumbhook/contract"
	"plumbhook/fault"
	"plumbhook/internal/store"
	"plumbhook/logbook"
	"plumbhook/reading"
	"plumbhook/record"
	"plumbhook/record/parquet"
)

type exportCmd struct {
	Data string `required:"" placeholder:"DIR" help:"Data folder."`
	Out  string `short:"o" required:"" placeholder:"OUT.zip" help:"Archive to write; it must not exist yet."`
}

// Help says what is in it.
func (*exportCmd) Help() string {
	return `Writes all that a data folder holds into one zip archive: every file as it is under data/, the register as one database, and the recording once more in open forms, readings as Parquet and everything else as lines of JSON. The signing key, passwords and sessions are left out: backup has them. It may run while a lift is watched; what comes later is not in it. SHA256SUMS lists the files in the form that sha256sum --check reads.

Exit status: 0 done; 1 done, and the recording has holes; 2 the folder cannot be read; 3 anything else.`
}

// Run writes the archive.
func (c *exportCmd) Run(e *env) (err error) {
	if !isDir(c.Data) {
		return fault.New(fault.Path, "there is no such data folder").In(c.Data).Fix("check the path")
	}
	part := c.Out + ".part"
	if _, err := os.Lstat(c.Out); !errors.Is(err, fs.ErrNotExist) {
		return fault.New(fault.Duplicate, "there is a file of that name").In(c.Out).Because(err).Fix("give another name")
	}
	f, err := os.OpenFile(part, os.O_WRONLY|os.O_CREATE|os.O_TRUNC, 0o600)
	if err != nil {
		return other(fault.New(fault.Path, "the archive cannot be written").In(c.Out).Because(err))
	}
	x := &export{zip: zip.NewWriter(f), skip: map[string]bool{}}
	for _, path := range []string{c.Out, part} {
		if whole, err := filepath.Abs(path); err == nil {
			x.skip[whole] = true
		}
	}
	defer func() {
		f.Close()
		if err != nil && !errors.Is(err, errFails) {
			os.Remove(part)
		}
	}()
	if err := errors.Join(x.register(c.Data), x.recording(filepath.Join(c.Data, "record"))); err != nil {
		return err
	}
	if err := x.folder(c.Data); err != nil {
		return err
	}
	if err := x.add("SHA256SUMS", strings.NewReader(x.sums.String())); err != nil {
		return err
	}
	if err := errors.Join(x.zip.Close(), f.Sync(), f.Close(), os.Rename(part, c.Out)); err != nil {
		return other(fault.New(fault.Path, "the archive cannot be written").In(c.Out).Because(err).Fix("make room on the disk"))
	}
	var b strings.Builder
	fmt.Fprintf(&b, "exported   %s, %d files\n", c.Out, x.files)
	for _, name := range x.left {
		fmt.Fprintf(&b, "left out   %s\n", name)
	}
	for _, hole := range x.holes {
		fmt.Fprintf(&b, "lacks      %s\n", hole)
	}
	if err := write(e.out, []byte(printable(b.String()))); err != nil {
		return err
	}
	if len(x.holes) > 0 {
		return errFails
	}
	return nil
}

// export is an archive that grows.
type export struct {
	zip   *zip.Writer
	skip  map[string]bool // absolute paths
	sums  bytes.Buffer
	files int
	left  []string // out, and why
	holes []string // of the recording
}

// add puts a file into the archive.
func (x *export) add(name string, in io.Reader) error {
	out, err := x.zip.CreateHeader(&zip.FileHeader{Name: name, Method: zip.Deflate})
	if err == nil {
		sum := sha256.New()
		_, err = io.Copy(io.MultiWriter(out, sum), in)
		fmt.Fprintf(&x.sums, "%x  %s\n", sum.Sum(nil), name)
		x.files++
	}
	if err != nil {
		return other(fault.New(fault.Path, "the archive cannot be written").In(name).Because(err).Fix("check both disks"))
	}
	return nil
}

// folder puts in every file. One that grows meanwhile is taken as long as it
// was when its turn came.
func (x *export) folder(dir string) error {
	return filepath.WalkDir(dir, func(path string, d fs.DirEntry, err error) error {
		if errors.Is(err, fs.ErrNotExist) {
			return nil // gone meanwhile, as old recordings go
		}
		if err != nil {
			return fault.New(fault.Path, "the data folder cannot be read").In(path).Because(err)
		}
		name, err := filepath.Rel(dir, path)
		if err != nil {
			return err
		}
		name = filepath.ToSlash(name)
		whole, err := filepath.Abs(path)
		switch {
		case err != nil:
			return err
		case d.IsDir() || x.skip[whole] || d.Name() == "lock":
			return nil
		case name == "tls/authority.key":
			x.left = append(x.left, "tls/authority.key: whoever has it can pass for this machine")
			return nil
		case name == store.Elsewhere:
			x.left = append(x.left, store.Elsewhere+": it may have a password in it")
			return nil
		case name == "seal/key.pem":
			x.left = append(x.left, "seal/key.pem: the signing key is for its owner alone")
			return nil
		case !d.Type().IsRegular():
			x.left = append(x.left, name+": it is no file of its own")
			return nil
		}
		f, err := os.Open(path)
		if errors.Is(err, fs.ErrNotExist) {
			return nil
		}
		if err != nil {
			return fault.New(fault.Path, "a file of the data folder cannot be read").In(path).Because(err)
		}
		defer f.Close()
		info, err := f.Stat()
		if err != nil {
			return err
		}
		return x.add("data/"+name, io.LimitReader(f, info.Size()))
	})
}

// register puts in the database as it is at one moment, in place of its files.
func (x *export) register(dir string) error {
	if !store.Exists(dir) {
		return nil
	}
	ctx := context.Background()
	s, err := store.Open(ctx, dir, false)
	if err != nil {
		return err
	}
	defer s.Close()
	temp, err := os.MkdirTemp("", "plumbhook-export-*")
	if err != nil {
		return other(fault.New(fault.Path, "there is no room for a copy of the register").Because(err))
	}
	defer os.RemoveAll(temp)
	path := filepath.Join(temp, "copy")
	if err := errors.Join(s.Snapshot(ctx, path), store.Blank(ctx, path)); err != nil {
		return err
	}
	x.left = append(x.left, "passwords, PINs and sessions: they let people in, and an archive is given away")
	f, err := os.Open(path)
	if err != nil {
		return err
	}
	defer f.Close()
	for _, tail := range []string{"", "-wal", "-shm"} {
		if whole, err := filepath.Abs(filepath.Join(dir, store.Database+tail)); err == nil {
			x.skip[whole] = true
		}
	}
	return x.add("data/"+store.Database, f)
}

// recording puts in the recording in forms that anybody can read. Units are
// those of the plan, which a recording does not have: none are told.
func (x *export) recording(dir string) error {
	if !isDir(dir) {
		return nil
	}
	r, err := record.NewReader(dir)
	if err != nil {
		return err
	}
	in, out := io.Pipe()
	go func() { out.CloseWithError(x.readings(r, out)) }()
	if err := x.add("readings.parquet", in); err != nil {
		in.CloseWithError(err)
		return err
	}
	in, out = io.Pipe()
	go func() { out.CloseWithError(logLines(r, out)) }()
	if err := x.add("log.jsonl", in); err != nil {
		in.CloseWithError(err)
		return err
	}
	return nil
}

func (x *export) readings(r *record.Reader, w io.Writer) error {
	out := parquet.NewWriter(w, func(string) record.Measure { return "" }, func(*reading.Reading) (float64, bool) { return 0, false })
	for en, err := range r.From(0) {
		if err != nil {
			if len(x.holes) < mostGarbled {
				x.holes = append(x.holes, err.Error())
			}
			continue
		}
		if err := out.Entry(en); err != nil {
			return err
		}
	}
	return out.Close()
}

// logLines writes every entry but readings and ticks.
func logLines(r *record.Reader, w io.Writer) error {
	out := json.NewEncoder(w)
	for en, err := range r.From(0) {
		if err != nil || en.Kind == logbook.Frame || en.Kind == logbook.Tick {
			continue
		}
		if err := out.Encode(contract.NewLogEntry(en)); err != nil {
			return err
		}
	}
	return nil
}
