package intaketest

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"testing"

	"golang.org/x/sys/unix"
)

// Pty is a serial port whose other end the test holds. The program under test
// opens Path, a name that stays the same when the port is pulled and put back.
type Pty struct {
	Path   string
	master *os.File
	slave  *os.File // held open, so that the line lives while nobody listens
}

// NewPty makes a port.
func NewPty(t testing.TB) *Pty {
	p := &Pty{Path: filepath.Join(t.TempDir(), "port")}
	p.Plug(t)
	t.Cleanup(func() { p.Pull(t) })
	return p
}

// Plug puts the port in.
func (p *Pty) Plug(t testing.TB) {
	t.Helper()
	master, err := os.OpenFile("/dev/ptmx", os.O_RDWR|unix.O_NOCTTY, 0)
	if err != nil {
		t.Fatal(err)
	}
	// Control, and not Fd: that would make reads of the master uninterruptible.
	n := 0
	conn, err := master.SyscallConn()
	if err == nil {
		var failed error
		err = conn.Control(func(fd uintptr) {
			if n, failed = unix.IoctlGetInt(int(fd), unix.TIOCGPTN); failed == nil {
				failed = unix.IoctlSetPointerInt(int(fd), unix.TIOCSPTLCK, 0)
			}
		})
		err = errors.Join(err, failed)
	}
	if err != nil {
		t.Fatal(err)
	}
	name := fmt.Sprintf("/dev/pts/%d", n)
	slave, err := os.OpenFile(name, os.O_RDWR|unix.O_NOCTTY, 0)
	if err != nil {
		t.Fatal(err)
	}
	// Raw from the start: a terminal would echo, and turn CR into LF.
	raw, err := unix.IoctlGetTermios(int(slave.Fd()), unix.TCGETS)
	if err != nil {
		t.Fatal(err)
	}
	raw.Iflag, raw.Oflag, raw.Lflag = 0, 0, 0
	if err := unix.IoctlSetTermios(int(slave.Fd()), unix.TCSETS, raw); err != nil {
		t.Fatal(err)
	}
	if err := os.Symlink(name, p.Path); err != nil {
		t.Fatal(err)
	}
	p.master, p.slave = master, slave
}

// Pull takes the port out: who listens reads an end or an error.
func (p *Pty) Pull(t testing.TB) {
	t.Helper()
	if p.master == nil {
		return
	}
	_ = os.Remove(p.Path)
	_ = p.slave.Close()
	_ = p.master.Close()
	p.master, p.slave = nil, nil
}

// Master is the test's end.
func (p *Pty) Master() *os.File { return p.master }
