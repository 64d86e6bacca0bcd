package store

import (
	"cmp"
	"context"
	"database/sql"
	"errors"
	"io/fs"
	"slices"
	"strconv"
	"strings"
	"time"

	"plumbhook/fault"
	"plumbhook/register"
)

var _ register.Store = (*Store)(nil)

// Item gives the item that bears a serial.
func (s *Store) Item(ctx context.Context, serial string) (register.Item, error) {
	items, err := s.Items(ctx, []string{serial})
	if err != nil {
		return register.Item{}, err
	}
	it, ok := items[register.Key(serial)]
	if !ok {
		return it, unknown(serial)
	}
	return it, nil
}

func unknown(serial string) error {
	return fault.New(fault.Reference, "no gear on the register bears this serial").In(serial).Fix("look for it with list, or enter it by an import")
}

// chunk is how many keys one query carries.
const chunk = 50

// Items gives those of the serials that are there.
func (s *Store) Items(ctx context.Context, serials []string) (map[string]register.Item, error) {
	found := map[string]register.Item{}
	for part := range slices.Chunk(serials, chunk) {
		keys := make([]any, len(part))
		for i, serial := range part {
			keys[i] = register.Key(serial)
		}
		items, err := s.items(ctx, "WHERE key IN ("+marks(1, len(keys))+")", keys...)
		if err != nil {
			return nil, err
		}
		for _, it := range items {
			found[register.Key(it.Serial)] = it
		}
	}
	return found, nil
}

// marks gives n numbered parameters from one on: $3, $4, $5.
func marks(from, n int) string {
	b := make([]byte, 0, 6*n)
	for i := range n {
		if i > 0 {
			b = append(b, ", "...)
		}
		b = append(b, '$')
		b = strconv.AppendInt(b, int64(from+i), 10)
	}
	return string(b)
}

func (s *Store) items(ctx context.Context, where string, args ...any) ([]register.Item, error) {
	return collect(ctx, s.db, "SELECT item, version, head FROM items "+where, args, func(rows *sql.Rows) (register.Item, error) {
		var doc, head []byte
		var version int
		if err := rows.Scan(&doc, &version, &head); err != nil {
			return register.Item{}, err
		}
		it, err := register.Decode(doc)
		it.Version = version
		copy(it.Head[:], head)
		return it, err
	})
}

// collect runs a query and reads its rows.
func collect[T any](ctx context.Context, db *sql.DB, query string, args []any, scan func(*sql.Rows) (T, error)) ([]T, error) {
	rows, err := db.QueryContext(ctx, query, args...)
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	var list []T
	for rows.Next() {
		v, err := scan(rows)
		if err != nil {
			return nil, err
		}
		list = append(list, v)
	}
	return list, rows.Err()
}

// Find gives the chosen items in order of their key. They are put in order
// here: databases differ in how they order text.
func (s *Store) Find(ctx context.Context, q register.Query) ([]register.Item, error) {
	where, args := "WHERE 1 = 1", []any{}
	if q.Status != "" {
		args = append(args, string(q.Status))
		where += " AND status = " + marks(len(args), 1)
	}
	for _, w := range q.Words {
		args = append(args, like(w))
		where += " AND words LIKE " + marks(len(args), 1) + ` ESCAPE '\'`
	}
	items, err := s.items(ctx, where, args...)
	slices.SortFunc(items, func(a, b register.Item) int { return cmp.Compare(register.Key(a.Serial), register.Key(b.Serial)) })
	return items, err
}

// History gives an item's events.
func (s *Store) History(ctx context.Context, serial string) ([]register.Event, error) {
	events, err := collect(ctx, s.db, "SELECT serial, version, day, who, at, name, body, body_sum, sum FROM events WHERE key = $1 ORDER BY version",
		[]any{register.Key(serial)}, func(rows *sql.Rows) (register.Event, error) {
			var e register.Event
			var at int64
			var bodySum, sum []byte
			err := rows.Scan(&e.Serial, &e.Version, (*string)(&e.Day), &e.By, &at, &e.Name, &e.Body, &bodySum, &sum)
			e.At = time.UnixMicro(at).UTC()
			copy(e.BodySum[:], bodySum)
			copy(e.Sum[:], sum)
			return e, err
		})
	if err == nil && len(events) == 0 {
		err = unknown(serial)
	}
	return events, err
}

// Due gives what falls due up to a day.
func (s *Store) Due(ctx context.Context, until register.Date) ([]register.Due, error) {
	list, err := collect(ctx, s.db, "SELECT duty, by_day, serial, kind, location, status FROM dues WHERE by_day <= $1",
		[]any{string(until)}, func(rows *sql.Rows) (register.Due, error) {
			var d register.Due
			err := rows.Scan((*string)(&d.Duty), (*string)(&d.By), &d.Serial, &d.Kind, &d.Location, (*string)(&d.Status))
			return d, err
		})
	slices.SortFunc(list, func(a, b register.Due) int {
		return cmp.Or(cmp.Compare(a.By, b.By), cmp.Compare(register.Key(a.Serial), register.Key(b.Serial)), cmp.Compare(a.Duty, b.Duty))
	})
	return list, err
}

// always is a day after any due date.
const always register.Date = "9999-12-31"

// Write writes entries in one transaction. A new item has to be new, and any
// other at the version that its entry was made from, or nothing is written.
func (s *Store) Write(ctx context.Context, entries []register.Entry) error {
	if len(entries) == 0 {
		return nil
	}
	for _, e := range entries {
		if err := s.present(e); err != nil {
			return err
		}
	}
	// In one order whoever writes, so that no two wait for each other.
	entries = slices.Clone(entries)
	slices.SortFunc(entries, func(a, b register.Entry) int {
		return cmp.Compare(register.Key(a.Item.Serial), register.Key(b.Item.Serial))
	})
	destroyed := false
	err := s.within(ctx, func(w *writer) error {
		if err := w.items(entries); err != nil {
			return err
		}
		w.beside(entries)
		destroyed = w.destroyed
		return w.err
	})
	if err != nil {
		return err
	}
	if destroyed {
		return s.sweep(ctx)
	}
	return nil
}

// busy words what a person can wait out.
func busy(err error) error {
	var coded interface{ Code() int }
	if errors.As(err, &coded) && coded.Code()&0xff == 5 { // SQLITE_BUSY
		return fault.New(fault.Path, "another program is writing to the register").Because(err).Fix("try again when it is done")
	}
	return err
}

// present tells whether what an entry attaches has been put.
func (s *Store) present(e register.Entry) error {
	for _, f := range register.FilesOf(e.Change) {
		at, err := place(f.Sum)
		if err != nil {
			return err
		}
		if _, err := s.files.Stat(at); err != nil {
			return fault.New(fault.Reference, "the attachment %s has not been put", f.Name).In(e.Item.Serial).Because(err)
		}
	}
	return nil
}

// writer carries a transaction and its first error.
type writer struct {
	ctx       context.Context
	tx        *sql.Tx
	err       error
	destroyed bool
}

// exec runs a statement and gives the rows it touched.
func (w *writer) exec(query string, args ...any) int64 {
	if w.err != nil {
		return 0
	}
	return w.touched(w.tx.ExecContext(w.ctx, query, args...))
}

// insert writes rows some at a time and gives how many were written. A
// statement carries few rows: to SQLite $1 is a name like any other, looked up
// from the first on.
func (w *writer) insert(table, columns string, rows [][]any) (n int64) {
	const many = 10
	var stmt *sql.Stmt
	for part := range slices.Chunk(rows, many) {
		args := make([]any, 0, len(part)*len(part[0]))
		for _, row := range part {
			args = append(args, row...)
		}
		if stmt == nil || len(part) < many {
			var values []string
			for i, row := range part {
				values = append(values, "("+marks(1+i*len(row), len(row))+")")
			}
			stmt = w.prepare("INSERT INTO " + table + " (" + columns + ") VALUES " + strings.Join(values, ", ") + " ON CONFLICT DO NOTHING")
		}
		if w.err != nil {
			return n
		}
		n += w.touched(stmt.ExecContext(w.ctx, args...))
	}
	return n
}

// prepare makes a statement that lives as long as the transaction.
func (w *writer) prepare(query string) *sql.Stmt {
	if w.err != nil {
		return nil
	}
	var stmt *sql.Stmt
	stmt, w.err = w.tx.PrepareContext(w.ctx, query)
	return stmt
}

// touched gives the rows that a statement touched.
func (w *writer) touched(r sql.Result, err error) (n int64) {
	if err == nil {
		n, err = r.RowsAffected()
	}
	w.err = err
	return n
}

// items writes the items as they are after their entries.
func (w *writer) items(entries []register.Entry) error {
	var fresh [][]any
	// Writers come one after the other here, so that a change with a higher
	// number is never seen before one with a lower.
	var change int64
	if err := w.tx.QueryRowContext(w.ctx, "UPDATE changes SET last = last + 1 RETURNING last").Scan(&change); err != nil {
		return err
	}
	for i := range entries {
		e := &entries[i]
		it := &e.Item
		if it.Version != e.Event.Version {
			return fault.New(fault.Internal, "entry %d of %s goes with version %d of the item", e.Event.Version, it.Serial, it.Version)
		}
		row := []any{register.Key(it.Serial), it.Version, it.Head[:], string(it.Status), words(it), string(it.Encode()), change}
		if it.Version == 1 {
			fresh = append(fresh, row)
			continue
		}
		n := w.exec("UPDATE items SET version = $2, head = $3, status = $4, words = $5, item = $6, changed = $7 WHERE key = $1 AND version = $8", append(row, it.Version-1)...)
		if w.err == nil && n == 0 {
			return meanwhile(it.Serial)
		}
		w.exec("DELETE FROM dues WHERE key = $1", row[0])
	}
	n := w.insert("items", "key, version, head, status, words, item, changed", fresh)
	if w.err == nil && n < int64(len(fresh)) {
		return meanwhile("")
	}
	return w.err
}

func meanwhile(serial string) error {
	return fault.New(fault.Disagree, "the register was changed meanwhile").In(serial).Fix("look at it again and repeat what is still needed; nothing was written")
}

// words is what an item is found by.
func words(it *register.Item) string {
	w := []string{it.Serial, it.Kind, it.Location, it.Certificate}
	if it.Rating != nil {
		w = append(w, it.Rating.Text)
	}
	for _, v := range it.Facts {
		w = append(w, v)
	}
	slices.Sort(w[4:]) // the facts come in any order
	return strings.ToLower(strings.Join(w, "\n"))
}

// beside writes what goes with the items: events, attachments, dues, and the
// end of what is destroyed.
func (w *writer) beside(entries []register.Entry) {
	events, attachments, dues := make([][]any, 0, len(entries)), [][]any{}, make([][]any, 0, len(entries))
	for i := range entries {
		it, e := &entries[i].Item, &entries[i].Event
		key := register.Key(it.Serial)
		events = append(events, []any{key, e.Version, e.Serial, string(e.Day), e.By, e.At.UnixMicro(), e.Name, string(e.Body), e.BodySum[:], e.Sum[:]})
		for _, d := range it.Dues(always) {
			dues = append(dues, []any{key, string(d.Duty), string(d.By), d.Serial, d.Kind, d.Location, string(d.Status)})
		}
		for k, f := range register.FilesOf(entries[i].Change) {
			attachments = append(attachments, []any{key, e.Version, k, f.Name, f.Sum, f.Size})
		}
		if d, ok := entries[i].Change.(register.Destruction); ok {
			w.destroyed = true
			for _, v := range d.Versions {
				if n := w.exec("UPDATE events SET body = NULL WHERE key = $1 AND version = $2 AND body IS NOT NULL", key, v); n == 0 && w.err == nil {
					w.err = fault.New(fault.Reference, "there is no event %d to destroy", v).In(it.Serial)
				}
			}
		}
	}
	for _, t := range []struct {
		table, columns string
		rows           [][]any
	}{
		{"events", "key, version, serial, day, who, at, name, body, body_sum, sum", events},
		{"attachments", "key, version, place, name, sum, size", attachments},
		{"dues", "key, duty, by_day, serial, kind, location, status", dues},
	} {
		if n := w.insert(t.table, t.columns, t.rows); n < int64(len(t.rows)) && w.err == nil {
			w.err = meanwhile("")
		}
	}
}

// sweep removes files that only destroyed events held. It looks at all of
// them, so that what a crash left lying goes with the next.
func (s *Store) sweep(ctx context.Context) error {
	sums, err := collect(ctx, s.db, `SELECT a.sum FROM attachments a JOIN events e ON e.key = a.key AND e.version = a.version
		GROUP BY a.sum HAVING COUNT(e.body) = 0`, nil, func(rows *sql.Rows) (sum string, err error) {
		err = rows.Scan(&sum)
		return sum, err
	})
	if err != nil {
		return err
	}
	for _, sum := range sums {
		at, err := place(sum)
		if err != nil {
			return err
		}
		if err := s.files.Remove(at); err != nil && !errors.Is(err, fs.ErrNotExist) {
			return fault.New(fault.Path, "a destroyed attachment cannot be removed").Because(err)
		}
	}
	return nil
}
