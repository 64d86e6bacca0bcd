package store

import (
	"context"
	"crypto/sha256"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"plumbhook/crew"
	"plumbhook/fault"
	"plumbhook/register"
)

// Snapshot writes the database, as it is at one moment, to a new SQLite file,
// whichever database it is in. Others may read and write meanwhile.
func (s *Store) Snapshot(ctx context.Context, path string) error {
	if s.dialect == SQLite {
		return vacuum(ctx, s.db, path)
	}
	to, err := openFile(ctx, path, filepath.Dir(path))
	if err != nil {
		return err
	}
	defer to.Close()
	tx, err := s.db.BeginTx(ctx, &sql.TxOptions{Isolation: sql.LevelRepeatableRead, ReadOnly: true})
	if err != nil {
		return err
	}
	defer tx.Rollback()
	if err := pour(ctx, tx, s, to); err != nil {
		return err
	}
	_, err = to.db.ExecContext(ctx, "PRAGMA journal_mode = DELETE") // one file, with nothing beside it
	return err
}

func vacuum(ctx context.Context, db *sql.DB, path string) error {
	if _, err := db.ExecContext(ctx, "VACUUM INTO ?", path); err != nil {
		return fault.New(fault.Path, "the register cannot be copied").In(path).Because(err).Fix("make room on the disk")
	}
	return nil
}

// aside keeps a copy before something is changed for good. One that is there
// already is from a try that failed, and older: it stays.
func aside(ctx context.Context, db *sql.DB, path string) error {
	if _, err := os.Stat(path); err == nil {
		return nil
	}
	part := path + ".part"
	if err := os.Remove(part); err != nil && !errors.Is(err, fs.ErrNotExist) {
		return fault.New(fault.Path, "the register cannot be copied").In(part).Because(err)
	}
	if err := vacuum(ctx, db, part); err != nil {
		return err
	}
	return os.Rename(part, path)
}

// Blank takes from a snapshot what lets somebody in: passwords, PINs, sessions.
func Blank(ctx context.Context, path string) error {
	s, err := openFile(ctx, path, filepath.Dir(path))
	if err != nil {
		return err
	}
	defer s.Close()
	all, err := s.Persons(ctx)
	if err != nil {
		return err
	}
	if err := s.within(ctx, func(w *writer) error {
		for _, p := range all {
			p.Password, p.PIN, p.Version = "", "", 0
			doc, err := json.Marshal(p)
			if err != nil {
				return err
			}
			w.exec("UPDATE persons SET person = $2 WHERE key = $1", crew.Key(p.Name), string(doc))
		}
		w.exec("DELETE FROM sessions")
		return w.err
	}); err != nil {
		return err
	}
	for _, q := range []string{"VACUUM", "PRAGMA journal_mode = DELETE"} { // or they stand in pages that are free now
		if _, err := s.db.ExecContext(ctx, q); err != nil {
			return err
		}
	}
	return nil
}

// Counts is how many there are of what a store holds.
type Counts struct{ Items, Events, Files, Lifts, Persons int }

func (c Counts) String() string {
	return fmt.Sprintf("%d pieces of gear with %d events, %d attachments, %d lifts, %d persons", c.Items, c.Events, c.Files, c.Lifts, c.Persons)
}

// Check goes through all there is: the database itself, the chain of events of
// every piece of gear, the revisions of every lift, every attachment by its
// checksum.
func (s *Store) Check(ctx context.Context) (Counts, error) {
	var c Counts
	if s.dialect == SQLite {
		var sound string
		if err := s.db.QueryRowContext(ctx, "PRAGMA integrity_check(1)").Scan(&sound); err != nil || sound != "ok" {
			return c, fault.New(fault.Disagree, "the database is damaged: %s", sound).Because(err).Fix("restore it from a backup")
		}
	}
	items, err := s.Find(ctx, register.Query{})
	if err != nil {
		return c, err
	}
	c.Items = len(items)
	for i := range items {
		events, err := s.History(ctx, items[i].Serial)
		if err != nil {
			return c, err
		}
		c.Events += len(events)
		it, err := register.Replay(events)
		if err != nil {
			return c, err
		}
		if it.Head != items[i].Head {
			return c, fault.New(fault.Disagree, "its events do not add up to it").In(items[i].Serial).Fix("restore the register from a backup")
		}
	}
	files, err := collect(ctx, s.db, `SELECT a.name, a.sum, a.size FROM attachments a JOIN events e ON e.key = a.key AND e.version = a.version WHERE e.body IS NOT NULL`, nil, func(rows *sql.Rows) (f register.File, err error) {
		err = rows.Scan(&f.Name, &f.Sum, &f.Size)
		return f, err
	})
	if err != nil {
		return c, err
	}
	c.Files = len(files)
	for _, f := range files {
		if _, err := s.Get(ctx, f); err != nil {
			return c, err
		}
	}
	ids, err := collect(ctx, s.db, "SELECT id FROM jobs", nil, func(rows *sql.Rows) (id string, err error) { err = rows.Scan(&id); return id, err })
	if err != nil {
		return c, err
	}
	c.Lifts = len(ids)
	for _, id := range ids {
		if _, err := s.Job(ctx, id); err != nil {
			return c, err
		}
	}
	persons, err := s.Persons(ctx)
	c.Persons = len(persons)
	return c, err
}

// Move puts the store of a data folder into another database, PostgreSQL by its
// address or the file in the folder by an empty one, compares both row by row,
// and has the folder name the new one from then on. The old one stays as it was,
// and refuses to be written to.
func Move(ctx context.Context, dir, address string) (Counts, error) {
	var c Counts
	from, err := Open(ctx, dir, false)
	if err != nil {
		return c, err
	}
	defer from.Close()
	if (address == "") == (from.dialect == SQLite) {
		return c, fault.New(fault.Duplicate, "the register is in %s already", from.dialect).Fix("move it the other way")
	}
	elsewhere, file := filepath.Join(dir, Elsewhere), filepath.Join(dir, Database)
	var to *Store
	if address == "" {
		draft := file + ".part"
		if err := os.Remove(draft); err != nil && !errors.Is(err, fs.ErrNotExist) {
			return c, err
		}
		to, err = openFile(ctx, draft, dir)
	} else {
		to, err = OpenPostgres(ctx, address, dir)
	}
	if err != nil {
		return c, err
	}
	defer to.Close()
	tx, err := from.db.BeginTx(ctx, nil)
	if err != nil {
		return c, busy(err)
	}
	defer tx.Rollback()
	tables, err := tablesOf(ctx, from, to)
	if err != nil {
		return c, err
	}
	if from.dialect == Postgres { // SQLite has its one writer's lock already
		if _, err := tx.ExecContext(ctx, "LOCK TABLE "+strings.Join(tables, ", ")+" IN SHARE ROW EXCLUSIVE MODE"); err != nil {
			return c, err
		}
	}
	if err := pour(ctx, tx, from, to); err != nil {
		return c, err
	}
	if c, err = to.Check(ctx); err != nil {
		return c, err
	}
	for _, q := range closing(from.dialect, tables) {
		if _, err := tx.ExecContext(ctx, q); err != nil {
			return c, err
		}
	}
	// From here on whoever opens the folder finds the new one; who has the old
	// one open waits for its lock, and is refused when this ends.
	if address == "" {
		if _, err := to.db.ExecContext(ctx, "PRAGMA journal_mode = DELETE"); err != nil {
			return c, err
		}
		err = errors.Join(to.db.Close(), os.Rename(file+".part", file), os.Remove(elsewhere))
	} else {
		draft := elsewhere + ".part"
		err = errors.Join(os.WriteFile(draft, []byte(address+"\n"), 0o600), os.Rename(draft, elsewhere))
	}
	if err != nil {
		return c, fault.New(fault.Path, "the data folder cannot be changed").In(dir).Because(err).Fix("the register is where it was; look at your rights and at the disk")
	}
	if err := tx.Commit(); err != nil {
		return c, err
	}
	if from.dialect == SQLite {
		// Nothing may be left in the log beside it, which the next one would find.
		_, err = from.db.ExecContext(ctx, "PRAGMA wal_checkpoint(TRUNCATE)")
		err = errors.Join(err, from.db.Close(), os.Rename(file, filepath.Join(dir, "moved-"+time.Now().UTC().Format("20060102T150405Z")+".db")))
	}
	return c, err
}

// closing has a database refuse every change from now on.
func closing(d Dialect, tables []string) (queries []string) {
	if d == Postgres {
		queries = append(queries, `CREATE FUNCTION moved() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN RAISE EXCEPTION 'this register was moved to another database'; END $$`)
		for _, t := range tables {
			queries = append(queries, "CREATE TRIGGER "+t+"_moved BEFORE INSERT OR UPDATE OR DELETE ON "+t+" FOR EACH ROW EXECUTE FUNCTION moved()")
		}
		return queries
	}
	for _, t := range tables {
		for _, what := range []string{"INSERT", "UPDATE", "DELETE"} {
			queries = append(queries, "CREATE TRIGGER "+t+"_moved_"+what+" BEFORE "+what+" ON "+t+" BEGIN SELECT RAISE(ABORT, 'this register was moved to another database'); END")
		}
	}
	return queries
}

// tablesOf lists the tables in an order in which they can be filled. Both
// databases have the same; SQLite tells in which order they were made.
func tablesOf(ctx context.Context, a, b *Store) ([]string, error) {
	s := a
	if a.dialect != SQLite {
		s = b
	}
	return collect(ctx, s.db, "SELECT name FROM sqlite_master WHERE type = 'table' AND name NOT LIKE 'sqlite%' AND name <> 'goose_db_version' ORDER BY rowid", nil, func(rows *sql.Rows) (name string, err error) {
		err = rows.Scan(&name)
		return name, err
	})
}

// pour copies all rows into an empty store, reads them back and compares.
func pour(ctx context.Context, tx *sql.Tx, from, to *Store) error {
	tables, err := tablesOf(ctx, from, to)
	if err != nil {
		return err
	}
	return to.within(ctx, func(w *writer) error {
		for _, t := range tables {
			if t == "changes" || t == "fleet_place" { // have their one row from the start
				w.exec("DELETE FROM " + t)
			}
			var n int
			if err := w.tx.QueryRowContext(ctx, "SELECT COUNT(*) FROM "+t).Scan(&n); err != nil {
				return err
			}
			if n > 0 {
				return fault.New(fault.Duplicate, "the database that the register is to be moved to holds one already (table %s)", t).Fix("give an empty database, or an empty schema with search_path")
			}
			bools, columns, err := shape(ctx, w.tx, t)
			if err != nil {
				return err
			}
			want, err := rowsOf(ctx, tx, t, columns, bools, func(rows [][]any) error {
				w.insert(t, strings.Join(columns, ", "), rows)
				return w.err
			})
			if err != nil {
				return err
			}
			got, err := rowsOf(ctx, w.tx, t, columns, bools, nil)
			if err != nil {
				return err
			}
			if !slices.Equal(got, want) {
				return fault.New(fault.Internal, "table %s did not arrive as it was sent; nothing was moved", t)
			}
		}
		return nil
	})
}

// shape tells the columns of a table and which of them are truth values.
func shape(ctx context.Context, tx *sql.Tx, table string) (bools []bool, columns []string, err error) {
	rows, err := tx.QueryContext(ctx, "SELECT * FROM "+table+" LIMIT 0")
	if err != nil {
		return nil, nil, err
	}
	defer rows.Close()
	types, err := rows.ColumnTypes()
	for _, t := range types {
		columns, bools = append(columns, t.Name()), append(bools, strings.HasPrefix(t.DatabaseTypeName(), "BOOL"))
	}
	return bools, columns, errors.Join(err, rows.Err())
}

// rowsOf reads a table, hands its rows on some at a time, and gives their
// checksums in order: databases give rows in an order of their own. SQLite may
// keep a text as bytes and a truth value as a number.
func rowsOf(ctx context.Context, tx *sql.Tx, table string, columns []string, bools []bool, each func([][]any) error) (sums []string, err error) {
	const many = 500
	rows, err := tx.QueryContext(ctx, "SELECT "+strings.Join(columns, ", ")+" FROM "+table)
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	types, err := rows.ColumnTypes()
	if err != nil {
		return nil, err
	}
	var batch [][]any
	for rows.Next() {
		row, at := make([]any, len(columns)), make([]any, len(columns))
		for i := range row {
			at[i] = &row[i]
		}
		if err := rows.Scan(at...); err != nil {
			return nil, err
		}
		sum := sha256.New()
		for i, v := range row {
			if b, ok := v.([]byte); ok && types[i].DatabaseTypeName() == "TEXT" {
				row[i] = string(b)
			}
			if n, ok := v.(int64); ok && bools[i] {
				row[i] = n != 0
			}
			fmt.Fprintf(sum, "%d %x ", i, fmt.Sprint(row[i]))
			if row[i] == nil {
				fmt.Fprint(sum, "null ")
			}
		}
		sums = append(sums, string(sum.Sum(nil)))
		if batch = append(batch, row); each != nil && len(batch) == many {
			if err := each(batch); err != nil {
				return nil, err
			}
			batch = batch[:0]
		}
		if each == nil {
			batch = batch[:0]
		}
	}
	if err := rows.Err(); err != nil {
		return nil, err
	}
	if each != nil && len(batch) > 0 {
		if err := each(batch); err != nil {
			return nil, err
		}
	}
	slices.Sort(sums)
	return sums, nil
}
