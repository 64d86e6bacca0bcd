// Package store keeps the program's documents in SQL: a SQLite file in the
// data folder, or PostgreSQL, by one code path. Attachments lie beside the
// database, each file under its own checksum.
//
// The SQL is the subset both understand; what they have no common word for
// (triggers) is a small overlay for each. Storetest holds any database to the
// same suite of tests.
package store

import (
	"context"
	"database/sql"
	"embed"
	"errors"
	"io/fs"
	"net/url"
	"os"
	"path/filepath"

	"github.com/pressly/goose/v3"
	_ "modernc.org/sqlite" // registers the driver

	"plumbhook/fault"
)

// Dialect names a database.
type Dialect string

// The databases that pass the suite.
const (
	SQLite   Dialect = "sqlite"
	Postgres Dialect = "postgres"
)

// Store keeps the gear register, the lifts and the persons: a register.Store,
// a job.Store and a crew.Store.
type Store struct {
	db     *sql.DB
	files  *os.Root
	mirror mirror
}

// Database is the file in a data folder that holds the store.
const Database = "plumbhook.db"

// Exists tells whether a data folder holds a store.
func Exists(dir string) bool {
	_, err := os.Stat(filepath.Join(dir, Database))
	return err == nil
}

// Open opens the store in a data folder. A folder without one is an error,
// unless it is to be created.
func Open(ctx context.Context, dir string, create bool) (*Store, error) {
	path := filepath.Join(dir, Database)
	if create {
		if err := os.MkdirAll(dir, 0o750); err != nil {
			return nil, fault.New(fault.Path, "the data folder cannot be made").Because(err)
		}
	} else if !Exists(dir) {
		return nil, fault.New(fault.Path, "there is no register in the folder %s", dir).Fix("check the path; an import makes a new register")
	}
	// In a file: URI the path is escaped, or a ? in a folder's name would end it.
	// Writers take their lock at the start, so that none fails half-way because
	// another was faster.
	abs, err := filepath.Abs(path)
	if err != nil {
		return nil, fault.New(fault.Path, "the data folder cannot be found").Because(err)
	}
	dsn := url.URL{Scheme: "file", Path: filepath.ToSlash(abs), RawQuery: url.Values{
		"_busy_timeout": {"10000"}, "_journal_mode": {"WAL"}, "_synchronous": {"FULL"},
		"_foreign_keys": {"on"}, "_txlock": {"immediate"}, "_dqs": {"false"},
		"_pragma": {"cache_size(-65536)"}, // KiB: an import of 100,000 items spills less
	}.Encode()}
	db, err := sql.Open("sqlite", dsn.String())
	if err != nil {
		return nil, err
	}
	s, err := New(ctx, db, SQLite, dir)
	if err != nil {
		db.Close()
		return nil, err
	}
	return s, nil
}

// New makes a store of an open database, brings its tables up to date, and
// keeps attachments in dir. It closes db when it is closed itself.
func New(ctx context.Context, db *sql.DB, dialect Dialect, dir string) (*Store, error) {
	if err := migrate(ctx, db, dialect); err != nil {
		return nil, err
	}
	files := filepath.Join(dir, "files")
	if err := os.MkdirAll(files, 0o750); err != nil {
		return nil, fault.New(fault.Path, "the folder for attachments cannot be made").Because(err)
	}
	root, err := os.OpenRoot(files)
	if err != nil {
		return nil, fault.New(fault.Path, "the folder for attachments cannot be opened").Because(err)
	}
	return &Store{db: db, files: root, mirror: mirror{last: -1}}, nil
}

// Close closes database and folder.
func (s *Store) Close() error { return errors.Join(s.db.Close(), s.files.Close()) }

//go:embed migrations
var migrations embed.FS

// overlays are the migrations that each dialect words for itself.
var overlays = map[int64]string{2: "append_only.sql", 4: "revisions_stay.sql"}

func migrate(ctx context.Context, db *sql.DB, dialect Dialect) error {
	common, err := fs.Sub(migrations, "migrations")
	if err != nil {
		return err
	}
	var worded []*goose.Migration
	for version, name := range overlays {
		own, err := migrations.ReadFile("migrations/" + string(dialect) + "/" + name)
		if err != nil {
			return err
		}
		worded = append(worded, goose.NewGoMigration(version, &goose.GoFunc{RunTx: func(ctx context.Context, tx *sql.Tx) error {
			_, err := tx.ExecContext(ctx, string(own))
			return err
		}}, nil))
	}
	d := map[Dialect]goose.Dialect{SQLite: goose.DialectSQLite3, Postgres: goose.DialectPostgres}[dialect]
	p, err := goose.NewProvider(d, db, common, goose.WithDisableGlobalRegistry(true),
		goose.WithGoMigrations(worded...))
	if err != nil {
		return err
	}
	// Of two programs that open a new store at once, one finds the tables half
	// made; by its next look the other has finished.
	for try := 0; ; try++ {
		has, known, err := p.GetVersions(ctx)
		if err == nil && has > known {
			return fault.New(fault.Unsupported, "the register was written by a newer program (version %d of its tables, %d known here)", has, known).Fix("use that program")
		}
		if err == nil && has < known {
			_, err = p.Up(ctx)
		}
		if err == nil || try == 3 {
			if err != nil {
				return fault.New(fault.Path, "the register cannot be opened").Because(err)
			}
			return nil
		}
	}
}
