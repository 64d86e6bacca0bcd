package store

import (
	"cmp"
	"context"
	"database/sql"
	"slices"
	"strings"
	"sync"

	"plumbhook/register"
)

// mirror is what a search needs of every item, in memory: databases have no
// common index for a word anywhere in a text. Every change has a number, so
// that what other programs wrote is read before each search.
type mirror struct {
	mu   sync.Mutex
	last int64 // change that it is up to; -1: it holds nothing yet
	rows []mirrored
}

type mirrored struct{ key, status, words string }

// Seek is Find for a list that is looked at page by page: at most limit items
// whose key comes after a serial, and whether there are more.
func (s *Store) Seek(ctx context.Context, q register.Query, after string, limit int) ([]register.Item, bool, error) {
	found, err := s.mirror.find(ctx, s.db, q, register.Key(after), limit+1)
	if err != nil {
		return nil, false, err
	}
	more := len(found) > limit
	if more {
		found = found[:limit]
	}
	there, err := s.Items(ctx, found)
	if err != nil {
		return nil, false, err
	}
	items := make([]register.Item, 0, len(found))
	for _, key := range found {
		if it, ok := there[key]; ok {
			items = append(items, it)
		}
	}
	return items, more, nil
}

func (m *mirror) find(ctx context.Context, db *sql.DB, q register.Query, after string, limit int) ([]string, error) {
	m.mu.Lock()
	defer m.mu.Unlock()
	if err := m.follow(ctx, db); err != nil {
		return nil, err
	}
	words := make([]string, len(q.Words))
	for i, w := range q.Words {
		words[i] = strings.ToLower(w)
	}
	from, there := slices.BinarySearchFunc(m.rows, after, func(r mirrored, key string) int { return cmp.Compare(r.key, key) })
	if there {
		from++
	}
	var found []string
rows:
	for i := from; i < len(m.rows) && len(found) < limit; i++ {
		r := &m.rows[i]
		if q.Status != "" && r.status != string(q.Status) {
			continue
		}
		for _, w := range words {
			if !strings.Contains(r.words, w) {
				continue rows
			}
		}
		found = append(found, r.key)
	}
	return found, nil
}

// follow reads what has changed.
func (m *mirror) follow(ctx context.Context, db *sql.DB) error {
	var last int64
	if err := db.QueryRowContext(ctx, "SELECT last FROM changes").Scan(&last); err != nil {
		return err
	}
	if last == m.last {
		return nil
	}
	fresh, err := collect(ctx, db, "SELECT key, status, words FROM items WHERE changed > $1 AND changed <= $2", []any{m.last, last}, func(rows *sql.Rows) (r mirrored, err error) {
		err = rows.Scan(&r.key, &r.status, &r.words)
		return r, err
	})
	if err != nil {
		return err
	}
	byKey := func(a, b mirrored) int { return cmp.Compare(a.key, b.key) }
	var added []mirrored
	for _, r := range fresh {
		if i, there := slices.BinarySearchFunc(m.rows, r, byKey); there {
			m.rows[i] = r
		} else {
			added = append(added, r)
		}
	}
	if len(added) > 0 {
		m.rows = append(m.rows, added...)
		slices.SortFunc(m.rows, byKey)
	}
	m.last = last
	return nil
}

// Changed is a place in the order in which items were changed.
type Changed struct {
	Change int64
	Key    string
}

// ItemsSince gives at most limit items that were changed after a place, in the
// order of their changes, and the place of the last of them.
func (s *Store) ItemsSince(ctx context.Context, place Changed, limit int) (items []register.Item, last Changed, err error) {
	last = place
	items, err = collect(ctx, s.db, "SELECT item, version, head, changed, key FROM items WHERE (changed, key) > ($1, $2) ORDER BY changed, key LIMIT $3", []any{place.Change, place.Key, limit}, func(rows *sql.Rows) (register.Item, error) {
		var doc, head []byte
		var version int
		if err := rows.Scan(&doc, &version, &head, &last.Change, &last.Key); err != nil {
			return register.Item{}, err
		}
		it, err := register.Decode(doc)
		it.Version = version
		copy(it.Head[:], head)
		return it, err
	})
	return items, last, err
}
