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
	"fmt"
	"io/fs"
	"net"
	"net/url"
	"os"
	"path/filepath"
	"strings"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/stdlib"
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
	db      *sql.DB
	dialect Dialect
	files   *os.Root
	mirror  mirror
}

// In a data folder: the database, or a line that says where else it is.
const (
	Database  = "plumbhook.db"
	Elsewhere = "database.url"
)

// Exists tells whether a data folder holds a store, or says where it is.
func Exists(dir string) bool {
	_, here := os.Stat(filepath.Join(dir, Database))
	_, there := os.Stat(filepath.Join(dir, Elsewhere))
	return here == nil || there == nil
}

// Open opens the store of a data folder: the PostgreSQL server that it names, or
// the file in it. A folder without one is an error, unless it is to be created.
func Open(ctx context.Context, dir string, create bool) (*Store, error) {
	if create {
		if err := os.MkdirAll(dir, 0o750); err != nil {
			return nil, fault.New(fault.Path, "the data folder cannot be made").Because(err)
		}
	} else if !Exists(dir) {
		return nil, fault.New(fault.Path, "there is no register in the folder %s", dir).Fix("check the path; an import makes a new register")
	}
	switch at, err := os.ReadFile(filepath.Join(dir, Elsewhere)); {
	case err == nil:
		return OpenPostgres(ctx, strings.TrimSpace(string(at)), dir)
	case !errors.Is(err, fs.ErrNotExist):
		return nil, fault.New(fault.Path, "where the register is cannot be read").In(filepath.Join(dir, Elsewhere)).Because(err).Fix("look at your rights to it")
	}
	return openFile(ctx, filepath.Join(dir, Database), dir)
}

// openFile opens a SQLite file.
func openFile(ctx context.Context, path, dir string) (*Store, error) {
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
	return New(ctx, db, SQLite, dir)
}

// OpenPostgres opens a store on a PostgreSQL server. Its attachments lie in dir.
// What goes to another machine goes encrypted.
func OpenPostgres(ctx context.Context, address, dir string) (*Store, error) {
	cfg, err := pgx.ParseConfig(address)
	if err != nil {
		return nil, fault.New(fault.Syntax, "the address of the PostgreSQL server cannot be read").Because(err).Fix("write it as postgres://USER@HOST/DATABASE?sslmode=verify-full")
	}
	plain := cfg.TLSConfig == nil
	for _, f := range cfg.Fallbacks {
		plain = plain || f.TLSConfig == nil
	}
	if ip := net.ParseIP(cfg.Host); plain && !strings.HasPrefix(cfg.Host, "/") && cfg.Host != "localhost" && (ip == nil || !ip.IsLoopback()) {
		return nil, fault.New(fault.Unsupported, "the register would cross the network in the clear").Fix("add sslmode=verify-full to the address of the PostgreSQL server")
	}
	db := stdlib.OpenDB(*cfg)
	if err := db.PingContext(ctx); err != nil {
		db.Close()
		return nil, fault.New(fault.Path, "the PostgreSQL server that has the register does not answer").Because(err).Fix("look whether it runs, and at user and password")
	}
	return New(ctx, db, Postgres, dir)
}

// New makes a store of an open database, brings its tables up to date, and
// keeps attachments in dir. It closes db when it is closed itself.
func New(ctx context.Context, db *sql.DB, dialect Dialect, dir string) (*Store, error) {
	if err := migrate(ctx, db, dialect, dir); err != nil {
		db.Close()
		return nil, err
	}
	files := filepath.Join(dir, "files")
	if err := os.MkdirAll(files, 0o750); err != nil {
		db.Close()
		return nil, fault.New(fault.Path, "the folder for attachments cannot be made").Because(err)
	}
	root, err := os.OpenRoot(files)
	if err != nil {
		db.Close()
		return nil, fault.New(fault.Path, "the folder for attachments cannot be opened").Because(err)
	}
	return &Store{db: db, dialect: dialect, files: root, mirror: mirror{last: -1}}, nil
}

// Close closes database and folder.
func (s *Store) Close() error { return errors.Join(s.db.Close(), s.files.Close()) }

//go:embed migrations
var migrations embed.FS

// overlays are the migrations that each dialect words for itself.
var overlays = map[int64]string{2: "append_only.sql", 4: "revisions_stay.sql"}

// migrate brings the tables up to date. A file that has tables already is copied
// first, so that the program before can be gone back to.
func migrate(ctx context.Context, db *sql.DB, dialect Dialect, dir string) error {
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
			if has > 0 && dialect == SQLite {
				if err := aside(ctx, db, filepath.Join(dir, fmt.Sprintf("before-%d.db", known))); err != nil {
					return err
				}
			}
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
