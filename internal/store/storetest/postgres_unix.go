//go:build unix

package storetest

import (
	"context"
	"fmt"
	"net"
	"os"
	"os/exec"
	"os/user"
	"path/filepath"
	"strconv"
	"syscall"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"
)

// Postgres gives the address of a PostgreSQL server: the one that
// PLUMBHOOK_TEST_POSTGRES names, or one of the test's own, in a folder and on a
// socket that go with it. The server refuses to run as root; then it runs as the
// user that its Debian package makes.
func Postgres(t testing.TB) string {
	t.Helper()
	if dsn := os.Getenv("PLUMBHOOK_TEST_POSTGRES"); dsn != "" {
		return dsn
	}
	initdb, err := exec.LookPath("initdb")
	if err != nil {
		found, _ := filepath.Glob("/usr/lib/postgresql/*/bin/initdb")
		if len(found) == 0 {
			t.Skip("PostgreSQL is not installed (Debian: apt-get install postgresql)")
		}
		initdb = found[len(found)-1]
	}
	if initdb, err = filepath.EvalSymlinks(initdb); err != nil {
		t.Fatal(err)
	}
	// Sockets have short names, and what lies in the folder of a test is for
	// its own user only.
	dir, err := os.MkdirTemp("", "pg")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { os.RemoveAll(dir) })
	var as *syscall.SysProcAttr
	if os.Getuid() == 0 {
		u, err := user.Lookup("postgres")
		if err != nil {
			t.Fatal(err)
		}
		uid, _ := strconv.Atoi(u.Uid)
		gid, _ := strconv.Atoi(u.Gid)
		if err := os.Chown(dir, uid, gid); err != nil {
			t.Fatal(err)
		}
		as = &syscall.SysProcAttr{Credential: &syscall.Credential{Uid: uint32(uid), Gid: uint32(gid)}}
	}
	command := func(name string, args ...string) *exec.Cmd {
		c := exec.Command(filepath.Join(filepath.Dir(initdb), name), args...)
		c.Dir, c.SysProcAttr, c.Env = dir, as, append(os.Environ(), "LC_ALL=C")
		return c
	}
	data := filepath.Join(dir, "data")
	if out, err := command("initdb", "--no-sync", "--auth=trust", "--username=plumbhook", "--encoding=UTF8", "-D", data).CombinedOutput(); err != nil {
		t.Fatalf("initdb: %v\n%s", err, out)
	}
	ln, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	port := ln.Addr().(*net.TCPAddr).Port // names the socket; nothing listens there
	ln.Close()
	server := command("postgres", "-D", data, "-k", dir, "-p", strconv.Itoa(port), "-c", "listen_addresses=", "-c", "fsync=off")
	if err := server.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		_ = server.Process.Signal(syscall.SIGQUIT) // at once, whoever is still connected
		_ = server.Wait()
	})
	dsn := fmt.Sprintf("postgres://plumbhook@/postgres?host=%s&port=%d", dir, port)
	for try := 0; ; try++ {
		c, err := pgx.Connect(context.Background(), dsn)
		if err == nil {
			_ = c.Close(context.Background())
			return dsn
		}
		if try == 300 {
			t.Fatal("PostgreSQL does not answer: ", err)
		}
		time.Sleep(100 * time.Millisecond)
	}
}
