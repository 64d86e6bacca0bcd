//go:build unix

package record

import (
	"bufio"
	"context"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"os/signal"
	"strings"
	"syscall"
	"testing"
	"time"
)

func child(role, dir string) {
	fail := func(err error) {
		if err != nil {
			fmt.Fprintln(os.Stderr, err)
			os.Exit(3)
		}
	}
	switch role {
	case "writer":
		// Writes until it is killed, and says of every entry when it is safe.
		r, found, err := Open(dir, Options{Segment: 10_000})
		fail(err)
		for i := int(found.Last); ; i++ {
			e := nth(71, i)
			fail(r.Append(e))
			if e.N%3 == 0 {
				fail(r.Sync(context.Background()))
				fmt.Println(e.N)
			}
		}
	case "full":
		// The system lets no file grow beyond 20 kB, until it does again.
		signal.Ignore(syscall.SIGXFSZ)
		var limit syscall.Rlimit
		fail(syscall.Getrlimit(syscall.RLIMIT_FSIZE, &limit))
		whole := limit
		limit.Cur = 20_000
		r, _, err := Open(dir, Options{Queue: 30_000})
		fail(err)
		fail(syscall.Setrlimit(syscall.RLIMIT_FSIZE, &limit))
		for _, e := range made(81, 2000) {
			if e.N == 1500 {
				err := r.Sync(context.Background())
				fmt.Printf("sync %v\n", err)
				fmt.Printf("lost %d\n", r.Status().Incomplete.Lost)
				fail(syscall.Setrlimit(syscall.RLIMIT_FSIZE, &whole))
				fail(r.Sync(context.Background()))
			}
			if err := r.Append(e); err != nil {
				fmt.Println("not", e.N)
			}
			if e.N%50 == 0 {
				r.Sync(context.Background())
			}
		}
		fail(r.Close())
	}
}

func start(t *testing.T, role, dir string) (*exec.Cmd, *bufio.Scanner) {
	t.Helper()
	cmd := exec.Command(os.Args[0], dir)
	cmd.Env = append(os.Environ(), childVar+"="+role)
	cmd.Stderr = os.Stderr
	out, err := cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	return cmd, bufio.NewScanner(out)
}

// A writer killed at any moment loses nothing that it said was safe.
func TestKill(t *testing.T) {
	kills := 40
	if testing.Short() {
		kills = 5
	}
	dir := t.TempDir()
	rnd := rand.New(rand.NewPCG(5, 5))
	safe, cuts := uint64(0), 0
	for kill := range kills {
		cmd, lines := start(t, "writer", dir)
		// From the first word on, so that a slow start does not count.
		for first := true; lines.Scan(); first = false {
			if _, err := fmt.Sscan(lines.Text(), &safe); err != nil {
				t.Fatalf("%q: %v", lines.Text(), err)
			}
			if first {
				time.AfterFunc(time.Duration(rnd.IntN(30_000))*time.Microsecond, func() { cmd.Process.Kill() })
			}
		}
		if err := cmd.Wait(); err == nil || cmd.ProcessState.ExitCode() == 3 {
			t.Fatalf("kill %d: the writer ended with %v", kill, err)
		}
		got, holes := read(t, dir, 1)
		for _, h := range holes {
			if h.To == 0 && h.From > safe {
				cuts++ // torn behind what was safe; the next writer cuts it
				continue
			}
			t.Fatalf("kill %d: hole %+v, safe up to %d", kill, *h, safe)
		}
		if len(got) < int(safe) {
			t.Fatalf("kill %d: %d entries, %d were safe", kill, len(got), safe)
		}
		same(t, got, made(71, len(got)))
	}
	t.Logf("%d kills, %d entries safe, %d torn ends", kills, safe, cuts)
}

// A file that may not grow any more: the writer says so, keeps what it can in
// memory, loses the rest with a word, and notes the gap once it can write.
func TestFullDisk(t *testing.T) {
	dir := t.TempDir()
	cmd, lines := start(t, "full", dir)
	lost := map[uint64]bool{}
	said, count := "", 0
	for lines.Scan() {
		word, rest, _ := strings.Cut(lines.Text(), " ")
		switch word {
		case "not":
			var n uint64
			fmt.Sscan(rest, &n)
			lost[n] = true
		case "sync":
			said = rest
		case "lost":
			fmt.Sscan(rest, &count)
			if count != len(lost) {
				t.Errorf("the status says %d lost, %d were", count, len(lost))
			}
		}
	}
	if err := cmd.Wait(); err != nil {
		t.Fatal(err)
	}
	if !strings.Contains(said, "file too large") {
		t.Errorf("sync said %q", said)
	}
	if count < 100 {
		t.Errorf("only %d lost", count)
	}
	noted(t, dir, made(81, 2000), lost, 2000, "file too large")
}
