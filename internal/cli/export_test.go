package cli

import (
	"archive/zip"
	"crypto/sha256"
	"database/sql"
	"errors"
	"fmt"
	"io"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"plumbhook/logbook"
	"plumbhook/reading"
	"plumbhook/record"
)

// All of a data folder comes out, but the signing key: files byte for byte, the
// register as a database of its own, the recording in open forms too.
func TestExport(t *testing.T) {
	dir := stocked(t)
	if status, _, errs := run("signer", "--data", dir); status != exitHolds {
		t.Fatal(errs)
	}
	rec, _, err := record.Open(filepath.Join(dir, "record"), record.Options{})
	if err != nil {
		t.Fatal(err)
	}
	at := reading.Seconds(1.8e9)
	for i, e := range []logbook.Entry{
		{Kind: logbook.Frame, Frame: &reading.Frame{Source: "gate", Arrived: at, Readings: []reading.Reading{{Channel: "W", At: at, Value: 5}}}},
		{Kind: logbook.Tick},
		{Kind: logbook.Word, Who: "A. Rigger", Says: logbook.Daylight},
	} {
		e.N, e.At = uint64(i+1), at
		if err := rec.Append(&e); err != nil {
			t.Fatal(err)
		}
	}
	if err := rec.Sync(t.Context()); err != nil {
		t.Fatal(err)
	}
	outside := filepath.Join(t.TempDir(), "outside")
	if err := errors.Join(os.WriteFile(outside, []byte("secret"), 0o600), os.Symlink(outside, filepath.Join(dir, "link"))); err != nil {
		t.Fatal(err)
	}

	out := filepath.Join(dir, "all.zip") // inside the folder, and while the recording is open
	status, told, errs := run("export", "--data", dir, "-o", out)
	if status != exitHolds || !strings.Contains(told, "left out   seal/key.pem") || !strings.Contains(told, "left out   link") || !strings.Contains(told, "left out   passwords") {
		t.Fatalf("%d %s %s", status, told, errs)
	}
	if err := rec.Close(); err != nil {
		t.Fatal(err)
	}
	z, err := zip.OpenReader(out)
	if err != nil {
		t.Fatal(err)
	}
	defer z.Close()
	got, sums := map[string]string{}, ""
	for _, f := range z.File {
		in, err := f.Open()
		if err != nil {
			t.Fatal(err)
		}
		b, err := io.ReadAll(in)
		if err != nil {
			t.Fatal(err)
		}
		got[f.Name] = string(b)
		if f.Name != "SHA256SUMS" {
			sums += fmt.Sprintf("%x  %s\n", sha256.Sum256(b), f.Name)
		}
	}
	if names, want := slices.Sorted(maps.Keys(got)), []string{
		"SHA256SUMS", "data/plumbhook.db", "data/record/00000000000000000001.rec", "data/seal/signer.pem", "log.jsonl", "readings.parquet",
	}; !slices.Equal(names, want) {
		t.Errorf("holds %q", names)
	}
	if got["SHA256SUMS"] != sums {
		t.Errorf("sums\n%s, want\n%s", got["SHA256SUMS"], sums)
	}
	segment, err := os.ReadFile(filepath.Join(dir, "record", "00000000000000000001.rec"))
	if err != nil || !strings.HasPrefix(string(segment), got["data/record/00000000000000000001.rec"]) {
		t.Error("the recording is another", err)
	}
	if log := got["log.jsonl"]; strings.Count(log, "\n") != 1 || !strings.Contains(log, `"says":"daylight"`) {
		t.Errorf("log %s", log)
	}
	if !strings.HasPrefix(got["readings.parquet"], "PAR1") {
		t.Error("the readings are no Parquet")
	}
	copied := filepath.Join(t.TempDir(), "copy.db")
	if err := os.WriteFile(copied, []byte(got["data/plumbhook.db"]), 0o600); err != nil {
		t.Fatal(err)
	}
	db, err := sql.Open("sqlite", copied)
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	var sound string
	var items int
	if err := errors.Join(db.QueryRow("PRAGMA integrity_check").Scan(&sound), db.QueryRow("SELECT count(*) FROM items").Scan(&items)); err != nil || sound != "ok" || items != 3 {
		t.Errorf("the register: %q, %d items, %v", sound, items, err)
	}

	for _, args := range [][]string{{"--data", dir, "-o", out}, {"--data", filepath.Join(dir, "nowhere"), "-o", out + "2"}} {
		if status, _, errs := run(append([]string{"export"}, args...)...); status != exitInvalid || errs == "" {
			t.Errorf("%v: %d", args, status)
		}
	}
}
