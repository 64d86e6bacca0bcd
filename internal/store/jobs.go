package store

import (
	"context"
	"database/sql"
	"encoding/json"
	"strings"

	"plumbhook/fault"
	"plumbhook/job"
)

var _ job.Store = (*Store)(nil)

// Jobs gives the chosen ones, the one changed last first.
func (s *Store) Jobs(ctx context.Context, q job.Query) ([]job.Job, error) {
	where, args := "WHERE 1 = 1", []any{}
	if q.State != "" {
		args = append(args, string(q.State))
		where += " AND state = " + marks(len(args), 1)
	}
	for _, w := range q.Words {
		args = append(args, like(w))
		where += " AND words LIKE " + marks(len(args), 1) + ` ESCAPE '\'`
	}
	return s.jobs(ctx, where+" ORDER BY changed DESC, id", args...)
}

func (s *Store) jobs(ctx context.Context, where string, args ...any) ([]job.Job, error) {
	return collect(ctx, s.db, "SELECT job, version FROM jobs "+where, args, func(rows *sql.Rows) (j job.Job, err error) {
		var doc []byte
		if err = rows.Scan(&doc, &j.Version); err == nil {
			v := j.Version
			err = json.Unmarshal(doc, &j)
			j.Version = v
		}
		return j, err
	})
}

// Job gives one whole.
func (s *Store) Job(ctx context.Context, id string) (job.Job, error) {
	list, err := s.jobs(ctx, "WHERE id = $1", id)
	if err != nil {
		return job.Job{}, err
	}
	if len(list) == 0 {
		return job.Job{}, fault.New(fault.Reference, "there is no lift %q", id).Fix("look for it in the list of lifts")
	}
	j := list[0]
	texts, err := collect(ctx, s.db, "SELECT text FROM revisions WHERE id = $1 AND n <= $2 ORDER BY n", []any{id, len(j.Revisions)}, func(rows *sql.Rows) (text string, err error) {
		err = rows.Scan(&text)
		return text, err
	})
	if err != nil {
		return j, err
	}
	if len(texts) != len(j.Revisions) {
		return j, fault.New(fault.Disagree, "of %d revisions %d are kept", len(j.Revisions), len(texts)).In(id).Fix("restore the data folder from a backup")
	}
	for i := range texts {
		if job.Sum(texts[i]) != j.Revisions[i].SHA256 {
			return j, fault.New(fault.Disagree, "revision %d is not what was written", i+1).In(id).Fix("restore the data folder from a backup")
		}
		j.Revisions[i].Text = texts[i]
	}
	return j, nil
}

// PutJob writes a job and the revisions it did not have.
func (s *Store) PutJob(ctx context.Context, j job.Job) (job.Job, error) {
	doc := j
	doc.Revisions = append([]job.Revision(nil), j.Revisions...)
	for i := range doc.Revisions {
		doc.Revisions[i].Text = ""
	}
	body, err := json.Marshal(doc)
	if err != nil {
		return j, err
	}
	words := strings.ToLower(j.Title() + "\n" + j.Changed.Who + "\n" + j.Newest().SHA256[:12])
	row := []any{j.ID, j.Version + 1, string(j.State), words, j.Changed.At.UnixMicro(), string(body)}
	err = s.within(ctx, func(w *writer) error {
		if j.Version == 0 {
			if n := w.insert("jobs", "id, version, state, words, changed, job", [][]any{row}); n == 0 && w.err == nil {
				return fault.New(fault.Duplicate, "there is a lift %q already", j.ID).Fix("try again")
			}
		} else if n := w.exec("UPDATE jobs SET version = $2, state = $3, words = $4, changed = $5, job = $6 WHERE id = $1 AND version = $7", append(row, j.Version)...); n == 0 && w.err == nil {
			return fault.New(fault.Disagree, "the lift was changed meanwhile").In(j.ID).Fix("load it again and repeat what is still needed; nothing was written")
		}
		var texts [][]any
		for i := range j.Revisions {
			if r := &j.Revisions[i]; r.Text != "" {
				texts = append(texts, []any{j.ID, r.N, r.SHA256, r.Text})
			}
		}
		if len(texts) > 0 {
			w.insert("revisions", "id, n, sha256, text", texts)
		}
		return w.err
	})
	if err == nil {
		j.Version++
	}
	return j, err
}

// like is a pattern for what holds a word.
func like(word string) string {
	return "%" + strings.NewReplacer(`\`, `\\`, `%`, `\%`, `_`, `\_`).Replace(strings.ToLower(word)) + "%"
}

// within runs a transaction.
func (s *Store) within(ctx context.Context, do func(*writer) error) error {
	tx, err := s.db.BeginTx(ctx, nil)
	if err != nil {
		return busy(err)
	}
	defer func() { _ = tx.Rollback() }() // after a commit it does nothing
	w := writer{ctx: ctx, tx: tx}
	if err := do(&w); err != nil {
		return busy(err)
	}
	return busy(tx.Commit())
}
