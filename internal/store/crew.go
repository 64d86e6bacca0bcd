package store

import (
	"context"
	"database/sql"
	"encoding/json"
	"time"

	"plumbhook/crew"
	"plumbhook/fault"
)

var _ crew.Store = (*Store)(nil)

// Persons gives all, by name.
func (s *Store) Persons(ctx context.Context) ([]crew.Person, error) {
	return s.persons(ctx, "ORDER BY key")
}

func (s *Store) persons(ctx context.Context, where string, args ...any) ([]crew.Person, error) {
	return collect(ctx, s.db, "SELECT person, version FROM persons "+where, args, func(rows *sql.Rows) (p crew.Person, err error) {
		var doc []byte
		var version int
		if err = rows.Scan(&doc, &version); err == nil {
			err = json.Unmarshal(doc, &p)
			p.Version = version
		}
		return p, err
	})
}

// Person finds one by name.
func (s *Store) Person(ctx context.Context, name string) (crew.Person, error) {
	list, err := s.persons(ctx, "WHERE key = $1", crew.Key(name))
	if err != nil || len(list) == 1 {
		return first(list), err
	}
	return crew.Person{}, fault.New(fault.Reference, "nobody is called %q here", name).Fix("look at how the name is written")
}

func first[T any](list []T) (v T) {
	if len(list) > 0 {
		v = list[0]
	}
	return v
}

// PutPerson writes a person.
func (s *Store) PutPerson(ctx context.Context, p crew.Person) error {
	row := []any{crew.Key(p.Name), p.Version + 1, ""}
	was := p.Version
	p.Version = 0 // the column has it
	doc, err := json.Marshal(p)
	if err != nil {
		return err
	}
	row[2] = string(doc)
	return s.within(ctx, func(w *writer) error {
		if was == 0 {
			if n := w.insert("persons", "key, version, person", [][]any{row}); n == 0 && w.err == nil {
				return fault.New(fault.Duplicate, "somebody is called %q already", p.Name).In("name").Fix("write the name so that the two can be told apart")
			}
		} else if n := w.exec("UPDATE persons SET version = $2, person = $3 WHERE key = $1 AND version = $4", append(row, was)...); n == 0 && w.err == nil {
			return fault.New(fault.Disagree, "%s was changed meanwhile", p.Name).Fix("try again")
		}
		return w.err
	})
}

// Session finds one by the sum of its token.
func (s *Store) Session(ctx context.Context, sum [32]byte) (crew.Session, error) {
	list, err := collect(ctx, s.db, "SELECT p.person, s.begun, s.seen, s.by_pin FROM sessions s JOIN persons p ON p.key = s.key WHERE s.sum = $1", []any{sum[:]}, func(rows *sql.Rows) (crew.Session, error) {
		var doc []byte
		var begun, seen int64
		x := crew.Session{Sum: sum}
		err := rows.Scan(&doc, &begun, &seen, &x.ByPIN)
		if err == nil {
			var p crew.Person
			err = json.Unmarshal(doc, &p)
			x.Name = p.Name
		}
		x.Begun, x.Seen = time.UnixMicro(begun).UTC(), time.UnixMicro(seen).UTC()
		return x, err
	})
	if err == nil && len(list) == 0 {
		err = fault.New(fault.Reference, "nobody is signed in").Fix("sign in")
	}
	return first(list), err
}

// PutSession writes one.
func (s *Store) PutSession(ctx context.Context, x crew.Session) error {
	_, err := s.db.ExecContext(ctx, `INSERT INTO sessions (sum, key, begun, seen, by_pin) VALUES ($1, $2, $3, $4, $5)
		ON CONFLICT (sum) DO UPDATE SET seen = excluded.seen`, x.Sum[:], crew.Key(x.Name), x.Begun.UnixMicro(), x.Seen.UnixMicro(), x.ByPIN)
	return busy(err)
}

// EndSession forgets one.
func (s *Store) EndSession(ctx context.Context, sum [32]byte) error {
	_, err := s.db.ExecContext(ctx, "DELETE FROM sessions WHERE sum = $1", sum[:])
	return busy(err)
}

// EndSessions forgets all of a person.
func (s *Store) EndSessions(ctx context.Context, name string) error {
	_, err := s.db.ExecContext(ctx, "DELETE FROM sessions WHERE key = $1", crew.Key(name))
	return busy(err)
}
