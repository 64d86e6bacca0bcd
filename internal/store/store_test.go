package store_test

import (
	"bufio"
	"context"
	"database/sql"
	"errors"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"plumbhook/fault"
	"plumbhook/fleet"
	"plumbhook/internal/store"
	"plumbhook/internal/store/storetest"
	"plumbhook/register"
)

var ctx = context.Background()

func open(t testing.TB, dir string) *store.Store {
	t.Helper()
	s, err := store.Open(ctx, dir, true)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = s.Close() })
	return s
}

// raw speaks to a SQLite file past the store.
func raw(t testing.TB, dir string) *sql.DB {
	t.Helper()
	db, err := sql.Open("sqlite", "file:"+filepath.Join(dir, "plumbhook.db")+"?_busy_timeout=5000&_foreign_keys=on")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { db.Close() })
	return db
}

func TestSQLite(t *testing.T) {
	storetest.Run(t, func(t testing.TB) storetest.Subject {
		dir := t.TempDir()
		s, db := open(t, dir), raw(t, dir)
		return storetest.Subject{Store: s, Jobs: s, Crew: s, Fleet: func() fleet.Ledger { return s.Ledger() }, Exec: func(q string) error { _, err := db.Exec(q); return err }}
	})
}

func refused(t *testing.T, err error, code fault.Code) {
	t.Helper()
	var f *fault.Fault
	if !errors.As(err, &f) || f.Code != code {
		t.Fatalf("got %v, want a fault of class %s", err, code)
	}
}

func TestOpen(t *testing.T) {
	// Letters that mean something in a URI, in the name of the folder.
	dir := filepath.Join(t.TempDir(), "50 % of #1? a&b=c")
	_, err := store.Open(ctx, dir, false)
	refused(t, err, fault.Path)
	if _, err := os.Stat(dir); err == nil {
		t.Error("looking for a register made its folder")
	}
	s := open(t, dir)
	write(t, s, 3)
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	s, err = store.Open(ctx, dir, false)
	if err != nil {
		t.Fatal(err)
	}
	if all := count(t, s); all != 3 {
		t.Errorf("%d items after opening again", all)
	}
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
}

// TestOpenAtOnce: many programs that find no tables make them once.
func TestOpenAtOnce(t *testing.T) {
	dir := t.TempDir()
	errs := make([]error, 6)
	var wg sync.WaitGroup
	for i := range errs {
		wg.Go(func() {
			s, err := store.Open(ctx, dir, true)
			if err == nil {
				err = s.Close()
			}
			errs[i] = err
		})
	}
	wg.Wait()
	if err := errors.Join(errs...); err != nil {
		t.Error(err)
	}
}

func TestMigrate(t *testing.T) {
	dir := t.TempDir()
	s := open(t, dir)
	write(t, s, 1)
	db := raw(t, dir)
	// Back to the tables of version 1, with an item in them.
	for _, q := range []string{
		"DROP TRIGGER items_stay", "DROP TRIGGER events_stay", "DROP TRIGGER events_as_written",
		"DROP TRIGGER attachments_stay", "DROP TRIGGER attachments_as_written", "DROP TABLE sessions", "DROP TABLE persons", "DROP TABLE revisions", "DROP TABLE jobs", "DROP TABLE changes",
		"DROP TABLE fleet_place", "DROP TABLE fleet_sites", "DROP TABLE fleet_tallies", "DROP TABLE fleet_stops", "DROP TABLE fleet_documents",
		"DROP INDEX items_by_change", "ALTER TABLE items DROP COLUMN changed", "DELETE FROM goose_db_version WHERE version_id >= 2",
	} {
		if _, err := db.Exec(q); err != nil {
			t.Fatal(err)
		}
	}
	if n := count(t, open(t, dir)); n != 1 {
		t.Errorf("%d items after the migration", n)
	}
	if _, err := db.Exec("DELETE FROM events"); err == nil {
		t.Error("the migration left the events unguarded")
	}
	if _, err := db.Exec("INSERT INTO goose_db_version (version_id, is_applied) VALUES (99, TRUE)"); err != nil {
		t.Fatal(err)
	}
	_, err := store.Open(ctx, dir, false)
	refused(t, err, fault.Unsupported)
}

// TestTampered: whoever changes the file behind the program is found out.
func TestTampered(t *testing.T) {
	dir := t.TempDir()
	s := open(t, dir)
	write(t, s, 1)
	f, err := s.Put(ctx, "c.pdf", strings.NewReader("certificate"))
	if err != nil {
		t.Fatal(err)
	}
	db := raw(t, dir)
	for _, q := range []string{"DROP TRIGGER events_as_written", `UPDATE events SET body = replace(body, '2026-07', '2029-07')`} {
		if _, err := db.Exec(q); err != nil {
			t.Fatal(err)
		}
	}
	events, err := s.History(ctx, "KP-000000")
	if err != nil {
		t.Fatal(err)
	}
	_, err = register.Replay(events)
	refused(t, err, fault.Disagree)
	if err := os.WriteFile(filepath.Join(dir, "files", f.Sum[:2], f.Sum), []byte("another"), 0o600); err != nil {
		t.Fatal(err)
	}
	_, err = s.Get(ctx, f)
	refused(t, err, fault.Disagree)
}

func count(t testing.TB, s *store.Store) int {
	t.Helper()
	all, err := s.Find(ctx, register.Query{})
	if err != nil {
		t.Fatal(err)
	}
	return len(all)
}

// list is a gear list of n items as CSV, due over half a year.
func list(n int) []byte {
	var b strings.Builder
	b.WriteString("serial,kind,rating,location,size,grade,examined,examine_by\n")
	for i := range n {
		day := register.Date("2026-01-01").AddDays(i % 180)
		fmt.Fprintf(&b, "KP-%06d,bow shackle,6.5 short ton,\"Kestrel Point, cage %d\",\"7/8\"\" bow\",A,%s,%s\n", i, i%40, day, day.AddMonths(6))
	}
	return []byte(b.String())
}

// planned makes of a CSV list what an import would write.
func planned(s *store.Store, data []byte) ([]register.Entry, error) {
	sheet, err := register.ReadCSV("list.csv", data, nil, "2026-11-25")
	if err != nil {
		return nil, err
	}
	serials := make([]string, len(sheet.Rows))
	for i := range sheet.Rows {
		serials[i] = sheet.Rows[i].Item.Serial
	}
	there, err := s.Items(ctx, serials)
	if err != nil {
		return nil, err
	}
	plan := sheet.Plan(there, false)
	if err := plan.Problems.Err(); err != nil {
		return nil, err
	}
	return plan.Entries(register.Stamp{Day: "2026-11-25", By: "store keeper"}, time.Unix(1_790_000_000, 0))
}

func imported(s *store.Store, data []byte) error {
	entries, err := planned(s, data)
	if err != nil {
		return err
	}
	return s.Write(ctx, entries)
}

func write(t testing.TB, s *store.Store, n int) {
	t.Helper()
	if err := imported(s, list(n)); err != nil {
		t.Fatal(err)
	}
}

// When this variable names a folder, the test program is the victim of
// TestKilled: it imports a list there.
const victim = "PLUMBHOOK_TEST_IMPORT_INTO"

const victimItems = 1500

func TestMain(m *testing.M) {
	dir := os.Getenv(victim)
	if dir == "" {
		os.Exit(m.Run())
	}
	s, err := store.Open(ctx, dir, true)
	if err == nil {
		var entries []register.Entry
		if entries, err = planned(s, list(victimItems)); err == nil {
			fmt.Println("writing")
			err = s.Write(ctx, entries)
		}
	}
	if err != nil {
		fmt.Fprintln(os.Stderr, err)
		os.Exit(1)
	}
	os.Exit(0)
}

// TestKilled kills an import at random moments of its writing: all of it is
// there afterwards or nothing, and the next import finds nothing in its way.
func TestKilled(t *testing.T) {
	writing := func() (*exec.Cmd, string) {
		dir := t.TempDir()
		cmd := exec.Command(os.Args[0])
		cmd.Env = append(os.Environ(), victim+"="+dir)
		cmd.Stderr = os.Stderr
		out, err := cmd.StdoutPipe()
		if err != nil {
			t.Fatal(err)
		}
		if err := cmd.Start(); err != nil {
			t.Fatal(err)
		}
		if line, err := bufio.NewReader(out).ReadString('\n'); err != nil {
			t.Fatal(line, err)
		}
		return cmd, dir
	}
	// How long one writes unharmed, to kill the others within that time.
	cmd, dir := writing()
	begin := time.Now()
	if err := cmd.Wait(); err != nil {
		t.Fatal(err)
	}
	whole := time.Since(begin)
	if n := count(t, open(t, dir)); n != victimItems {
		t.Fatalf("%d items from an import nobody killed", n)
	}
	seed := rand.Uint64()
	dice := rand.New(rand.NewPCG(seed, 0))
	all, none := 0, 0
	for range 12 {
		cmd, dir := writing()
		time.Sleep(time.Duration(dice.Int64N(int64(whole) * 11 / 10)))
		_ = cmd.Process.Kill()
		_ = cmd.Wait()
		s := open(t, dir)
		n := count(t, s)
		due, err := s.Due(ctx, "2099-01-01")
		if err != nil {
			t.Fatal(err)
		}
		if n != len(due) || n != 0 && n != victimItems {
			t.Fatalf("%d items, %d dues; seed %d", n, len(due), seed)
		}
		if n > 0 {
			all++
			events, err := s.History(ctx, "KP-001499")
			if err != nil {
				t.Fatal(err)
			}
			if _, err := register.Replay(events); err != nil {
				t.Fatal(err)
			}
			continue
		}
		none++
		write(t, s, 100)
	}
	t.Logf("killed %d: nothing there %d times, all there %d times; seed %d", all+none, none, all, seed)
}

// BenchmarkRegister imports 100,000 items into an empty register, and lists
// what is due of them.
func BenchmarkRegister(b *testing.B) {
	data := list(100_000)
	b.Run("import 100000", func(b *testing.B) {
		for b.Loop() {
			s := open(b, b.TempDir())
			if err := imported(s, data); err != nil {
				b.Fatal(err)
			}
		}
	})
	s := open(b, b.TempDir())
	if err := imported(s, data); err != nil {
		b.Fatal(err)
	}
	for _, word := range []string{"shackle", "kp-09999", "cage 39", "nothing"} {
		b.Run("seek "+word, func(b *testing.B) {
			for b.Loop() {
				if _, _, err := s.Seek(ctx, register.Query{Words: []string{word}}, "", 50); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
	for _, until := range []register.Date{"2026-07-31", "2027-01-01"} {
		n := 0
		b.Run("due until "+string(until), func(b *testing.B) {
			for b.Loop() {
				due, err := s.Due(ctx, until)
				if err != nil {
					b.Fatal(err)
				}
				n = len(due)
			}
			b.ReportMetric(float64(n), "due")
		})
	}
}
