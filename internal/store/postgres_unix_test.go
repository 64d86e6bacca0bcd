//go:build unix

package store_test

import (
	"fmt"
	"os"
	"testing"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/stdlib"

	"plumbhook/fleet"
	"plumbhook/internal/store"
	"plumbhook/internal/store/storetest"
)

// TestPostgres gives each store a schema of its own.
func TestPostgres(t *testing.T) {
	dsn := storetest.Postgres(t)
	n := 0
	storetest.Run(t, func(t testing.TB) storetest.Subject {
		n++
		schema := fmt.Sprintf("plumbhook_%d_%d", os.Getpid(), n)
		cfg, err := pgx.ParseConfig(dsn)
		if err != nil {
			t.Fatal(err)
		}
		cfg.RuntimeParams["search_path"] = schema
		db := stdlib.OpenDB(*cfg)
		if _, err := db.Exec("CREATE SCHEMA " + schema); err != nil {
			t.Fatal(err)
		}
		t.Cleanup(func() {
			if _, err := db.Exec("DROP SCHEMA " + schema + " CASCADE"); err != nil {
				t.Error(err)
			}
			db.Close()
		})
		s, err := store.New(ctx, db, store.Postgres, t.TempDir())
		if err != nil {
			t.Fatal(err)
		}
		return storetest.Subject{Store: s, Jobs: s, Crew: s, Fleet: func() fleet.Ledger { return s.Ledger() }, Exec: func(q string) error { _, err := db.Exec(q); return err }}
	})
}
