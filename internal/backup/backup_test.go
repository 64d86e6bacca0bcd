package backup_test

import (
	"archive/zip"
	"bytes"
	"context"
	"crypto/sha256"
	"errors"
	"fmt"
	"io/fs"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"plumbhook/crew"
	"plumbhook/fault"
	"plumbhook/internal/backup"
	"plumbhook/internal/store"
	"plumbhook/logbook"
	"plumbhook/reading"
	"plumbhook/record"
	"plumbhook/register"
)

var ctx = context.Background()

// inUse is a data folder that a program has open: register with an attachment,
// a person, a recording, keys, messages under way.
func inUse(t *testing.T) (string, *store.Store) {
	t.Helper()
	dir := filepath.Join(t.TempDir(), "data")
	s, err := store.Open(ctx, dir, true)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { s.Close() })
	sheet, err := register.ReadCSV("list.csv", []byte("serial,kind,rating,examined,examine_by\nKP-1,bow shackle,6.5 t,2026-01-01,2026-07-01\nKP-2,bow shackle,6.5 t,2026-01-01,2026-07-01\n"), nil, "2026-11-25")
	if err != nil {
		t.Fatal(err)
	}
	plan := sheet.Plan(nil, false)
	entries, err := plan.Entries(register.Stamp{Day: "2026-11-25", By: "store keeper"}, time.Unix(1_790_000_000, 0))
	if err != nil {
		t.Fatal(err)
	}
	if err := errors.Join(s.Write(ctx, entries), s.PutPerson(ctx, crew.Person{Name: "A. Rigger", Role: crew.Rigger, Password: crew.Seal("lift with care", [16]byte{1})})); err != nil {
		t.Fatal(err)
	}
	rec, _, err := record.Open(filepath.Join(dir, "watches", "j1", "record"), record.Options{})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { rec.Close() })
	for i := range 40 {
		if err := rec.Append(&logbook.Entry{N: uint64(i + 1), At: reading.Seconds(1.8e9), Kind: logbook.Word, Who: "A. Rigger", Says: logbook.Daylight}); err != nil {
			t.Fatal(err)
		}
	}
	if err := rec.Sync(ctx); err != nil {
		t.Fatal(err)
	}
	for name, text := range map[string]string{"seal/key.pem": "a key", "tls/authority.key": "another", "bus/blocks": "half a message"} {
		at := filepath.Join(dir, name)
		if err := errors.Join(os.MkdirAll(filepath.Dir(at), 0o700), os.WriteFile(at, []byte(text), 0o600)); err != nil {
			t.Fatal(err)
		}
	}
	return dir, s
}

func tree(t *testing.T, dir string) map[string]string {
	t.Helper()
	files := map[string]string{}
	err := filepath.WalkDir(dir, func(at string, d fs.DirEntry, err error) error {
		if err == nil && d.Type().IsRegular() {
			var b []byte
			b, err = os.ReadFile(at)
			name, _ := filepath.Rel(dir, at)
			files[filepath.ToSlash(name)] = string(b)
		}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return files
}

func TestThereAndBack(t *testing.T) {
	dir, _ := inUse(t)
	out := filepath.Join(dir, "backup.zip") // inside the folder, while all is open
	now := time.Date(2026, 11, 25, 12, 0, 0, 0, time.UTC)
	wrote, err := backup.Write(ctx, dir, out, now)
	if err != nil {
		t.Fatal(err)
	}
	want := store.Counts{Items: 2, Events: 2, Persons: 1}
	if wrote.Counts != want || wrote.Entries != 40 || len(wrote.Holes) != 0 || len(wrote.Left) != 1 || !strings.HasPrefix(wrote.Left[0], "bus:") {
		t.Errorf("wrote %+v", wrote)
	}
	if info, err := os.Stat(out); err != nil || info.Mode().Perm() != 0o600 {
		t.Error("others may read it", info.Mode(), err)
	}
	if b, _ := os.ReadFile(out); true {
		if l, ok := backup.LastOf(dir); !ok || !l.At.Equal(now) || l.SHA256 != fmt.Sprintf("%x", sha256.Sum256(b)) {
			t.Errorf("noted %+v", l)
		}
	}
	new := filepath.Join(t.TempDir(), "new")
	got, err := backup.Restore(ctx, out, new)
	if err != nil {
		t.Fatal(err)
	}
	if got.Counts != want || got.Entries != 40 || got.Files != wrote.Files {
		t.Errorf("restored %+v", got)
	}
	was, is := tree(t, dir), tree(t, new)
	for _, name := range []string{"plumbhook.db", "plumbhook.db-wal", "plumbhook.db-shm", "backup.zip", "backup.json", "bus/blocks", "watches/j1/record/lock"} {
		delete(was, name)
	}
	for _, name := range []string{"plumbhook.db", "plumbhook.db-wal", "plumbhook.db-shm"} {
		delete(is, name)
	}
	// An open recording has room laid out behind its last entry.
	seg := "watches/j1/record/00000000000000000001.rec"
	if !strings.HasPrefix(was[seg], is[seg]) || len(is[seg]) < 1000 {
		t.Errorf("the recording is another: %d bytes of %d", len(is[seg]), len(was[seg]))
	}
	delete(was, seg)
	delete(is, seg)
	if !maps.Equal(was, is) {
		t.Errorf("restored %q, was %q", slices.Sorted(maps.Keys(is)), slices.Sorted(maps.Keys(was)))
	}
	s, err := store.Open(ctx, new, false)
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	if p, err := s.Person(ctx, "A. Rigger"); err != nil || !p.Password.Matches("lift with care") {
		t.Error("nobody can sign in any more", err)
	}

	refused(t, fault.Duplicate)(backup.Restore(ctx, out, new))
	refused(t, fault.Duplicate)(backup.Write(ctx, dir, out, now))
	refused(t, fault.Path)(backup.Write(ctx, filepath.Join(dir, "nowhere"), out+"2", now))
}

func refused(t *testing.T, code fault.Code) func(*backup.Told, error) {
	return func(_ *backup.Told, err error) {
		t.Helper()
		var f *fault.Fault
		if !errors.As(err, &f) || f.Code != code {
			t.Errorf("got %v, want a fault of class %s", err, code)
		}
	}
}

// TestSpoiled: no byte of a backup can change unnoticed, and no archive made by
// somebody else reaches outside the folder.
func TestSpoiled(t *testing.T) {
	dir, _ := inUse(t)
	out := filepath.Join(t.TempDir(), "backup.zip")
	if _, err := backup.Write(ctx, dir, out, time.Now()); err != nil {
		t.Fatal(err)
	}
	whole, err := os.ReadFile(out)
	if err != nil {
		t.Fatal(err)
	}
	place := t.TempDir()
	try := func(data []byte) error {
		t.Helper()
		at := filepath.Join(place, "spoiled.zip")
		if err := os.WriteFile(at, data, 0o600); err != nil {
			t.Fatal(err)
		}
		_, err := backup.Restore(ctx, at, filepath.Join(place, "new"))
		if err == nil {
			err = os.RemoveAll(filepath.Join(place, "new"))
			if err != nil {
				t.Fatal(err)
			}
			return nil
		}
		if names := slices.Sorted(maps.Keys(tree(t, place))); !slices.Equal(names, []string{"spoiled.zip"}) {
			t.Fatalf("left %q lying", names)
		}
		return err
	}
	for _, at := range []int{0, len(whole) / 3, len(whole) / 2, len(whole) - 30} {
		if err := try(whole[:at]); err == nil {
			t.Errorf("%d of %d bytes passed for a backup", at, len(whole))
		}
	}
	// made packs files as a stranger would.
	made := func(files map[string]string, mode fs.FileMode) []byte {
		var b bytes.Buffer
		z := zip.NewWriter(&b)
		sums := ""
		for name, text := range files {
			h := &zip.FileHeader{Name: name}
			h.SetMode(mode)
			w, err := z.CreateHeader(h)
			if err != nil {
				t.Fatal(err)
			}
			_, _ = w.Write([]byte(text))
			if !strings.Contains(name, "unlisted") {
				sums += fmt.Sprintf("%x  %s\n", sha256.Sum256([]byte(text)), name)
			}
		}
		w, _ := z.Create("SHA256SUMS")
		_, _ = w.Write([]byte(sums))
		z.Close()
		return b.Bytes()
	}
	if err := try(made(map[string]string{"data/map.yaml": "x"}, 0o600)); err != nil {
		t.Fatal("a plain archive is refused: ", err)
	}
	for _, name := range []string{"data/../../out", "data//etc/out", "../out", "/out", "data/a/../b", "out", "data/", "data/./a", "data/unlisted"} {
		if err := try(made(map[string]string{name: "x"}, 0o600)); err == nil {
			t.Errorf("%s was restored", name)
		}
	}
	if err := try(made(map[string]string{"data/link": "/etc/passwd"}, fs.ModeSymlink|0o777)); err == nil {
		t.Error("a link was restored")
	}
	if err := try(made(map[string]string{"data/plumbhook.db": "no database"}, 0o600)); err == nil {
		t.Error("a database that is none was restored")
	}
	// Every kind of damage inside, under the seal of the archive's own checksums
	// or not: one flipped bit somewhere in each file's bytes.
	z, err := zip.NewReader(bytes.NewReader(whole), int64(len(whole)))
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range z.File {
		at, err := f.DataOffset()
		if err != nil {
			t.Fatal(err)
		}
		bad := bytes.Clone(whole)
		bad[at+int64(f.CompressedSize64)/2] ^= 0x10
		if err := try(bad); err == nil {
			t.Errorf("a flipped bit in %s went unnoticed", f.Name)
		}
	}
}
