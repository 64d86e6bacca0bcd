package bus

import (
	"bufio"
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"math/rand/v2"
	"net"
	"os"
	"os/exec"
	"os/signal"
	"path/filepath"
	"strconv"
	"strings"
	"sync/atomic"
	"syscall"
	"testing"
	"time"

	mqtt "github.com/eclipse/paho.mqtt.golang"
	"golang.org/x/sys/unix"
)

// A child is this test binary started again as a site of its own: a bus and a
// stand-in for the recording, which appends what is stored to a file. It can be
// killed like one.

const childEnv = "PLUMBHOOK_BUS_CHILD"

func TestMain(m *testing.M) {
	if dir := os.Getenv(childEnv); dir != "" {
		if err := child(dir); err != nil {
			fmt.Fprintln(os.Stderr, err)
			os.Exit(1)
		}
		return
	}
	os.Exit(m.Run())
}

var childGateways = []Gateway{{"north", "n"}, {"south", "s"}}

// child runs until its input ends. It says where it listens; after that, to any
// line, how it is.
func child(dir string) error {
	rec, from, err := openRecorder(filepath.Join(dir, "recorded"))
	if err != nil {
		return err
	}
	var live atomic.Int64
	var taken atomic.Uint64 // sequence the recorder has got to
	taken.Store(from.Sequence)
	b, err := Open(context.Background(), Options{
		Dir: dir, Listen: os.Getenv(childEnv + "_LISTEN"), Gateways: childGateways,
		Live: func(Message) { live.Add(1) },
	})
	if err != nil {
		return err
	}
	if from.Born == 0 {
		from.Born = b.Born(Readings)
		rec.born(from)
	}
	ctx, cancel := context.WithCancel(context.Background())
	defer cancel()
	followed := make(chan error, 1)
	go func() {
		followed <- b.Follow(ctx, Readings, from, func(m Message) {
			rec.take(m)
			taken.Store(m.Sequence)
		})
	}()
	if limit := os.Getenv(childEnv + "_FSIZE"); limit != "" {
		n, err := strconv.ParseUint(limit, 10, 64)
		if err != nil {
			return err
		}
		// Writes beyond it fail, as they do on a full disk; the signal that
		// comes with them must not end the process.
		signal.Ignore(syscall.SIGXFSZ)
		if err := unix.Setrlimit(unix.RLIMIT_FSIZE, &unix.Rlimit{Cur: n, Max: n}); err != nil {
			return err
		}
	}
	fmt.Println(b.Address())
	for in := bufio.NewScanner(os.Stdin); in.Scan(); {
		h := b.Health(ctx)
		fmt.Println(live.Load(), h.Unkept, h.Stalled, h.Broken != "", h.Last, h.Last-taken.Load())
	}
	if err := b.Close(); err != nil {
		return err
	}
	cancel()
	return errors.Join(<-followed, rec.close())
}

// recorder appends a line for each message: sequence, gateway, payload. It
// syncs what has gathered while it synced before.
type recorder struct {
	f     *os.File
	lines chan []byte
	done  chan error
}

// openRecorder cuts off a line that was not finished.
func openRecorder(path string) (*recorder, Place, error) {
	f, err := os.OpenFile(path, os.O_CREATE|os.O_RDWR, 0o600)
	if err != nil {
		return nil, Place{}, err
	}
	old, err := io.ReadAll(f)
	if err != nil {
		return nil, Place{}, err
	}
	old = old[:bytes.LastIndexByte(old, '\n')+1]
	if err := f.Truncate(int64(len(old))); err != nil {
		return nil, Place{}, err
	}
	if _, err := f.Seek(0, io.SeekEnd); err != nil {
		return nil, Place{}, err
	}
	var p Place
	if len(old) > 0 {
		first, _, _ := bytes.Cut(old, []byte{'\n'})
		if _, err := fmt.Sscanf(string(first), "born %d", &p.Born); err != nil {
			return nil, Place{}, err
		}
		last := bytes.Split(bytes.TrimSuffix(old, []byte{'\n'}), []byte{'\n'})
		fmt.Sscan(string(last[len(last)-1]), &p.Sequence) // stays 0 at the line "born"
	}
	r := &recorder{f, make(chan []byte, 1<<12), make(chan error, 1)}
	go r.write()
	return r, p, nil
}

func (r *recorder) born(p Place) { r.lines <- fmt.Appendf(nil, "born %d\n", p.Born) }

func (r *recorder) take(m Message) {
	r.lines <- fmt.Appendf(nil, "%d %s %s\n", m.Sequence, m.Gateway, m.Payload)
}

func (r *recorder) write() {
	var err error
	for line := range r.lines {
		for more := true; more; {
			select {
			case next, ok := <-r.lines:
				line, more = append(line, next...), ok
			default:
				more = false
			}
		}
		if err == nil {
			_, err = r.f.Write(line)
		}
		if err == nil {
			err = r.f.Sync()
		}
	}
	r.done <- err
}

func (r *recorder) close() error {
	close(r.lines)
	return errors.Join(<-r.done, r.f.Close())
}

type process struct {
	cmd  *exec.Cmd
	in   io.WriteCloser
	out  *bufio.Scanner
	errs bytes.Buffer
	addr string
}

func start(t testing.TB, dir string, env ...string) *process {
	t.Helper()
	p := &process{cmd: exec.Command(os.Args[0])}
	p.cmd.Env = append(append(os.Environ(), childEnv+"="+dir), env...)
	p.cmd.Stderr = &p.errs
	var err error
	if p.in, err = p.cmd.StdinPipe(); err != nil {
		t.Fatal(err)
	}
	out, err := p.cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	p.out = bufio.NewScanner(out)
	if err := p.cmd.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { p.cmd.Process.Kill() })
	return p
}

func (p *process) ready(t testing.TB) *process {
	t.Helper()
	if !p.out.Scan() {
		p.cmd.Wait()
		t.Fatalf("the site did not start: %s", &p.errs)
	}
	p.addr = p.out.Text()
	return p
}

func (p *process) kill() {
	p.cmd.Process.Kill()
	p.cmd.Wait()
}

// stop ends it in good order.
func (p *process) stop(t testing.TB) {
	t.Helper()
	p.in.Close()
	if err := p.cmd.Wait(); err != nil {
		t.Fatalf("the site: %v: %s", err, &p.errs)
	}
}

type state struct {
	live, unkept    uint64
	stalled, broken bool
	last, behind    uint64
}

func (p *process) ask(t testing.TB) (s state) {
	t.Helper()
	fmt.Fprintln(p.in)
	if !p.out.Scan() {
		t.Fatalf("the site does not answer: %s", &p.errs)
	}
	if _, err := fmt.Sscan(p.out.Text(), &s.live, &s.unkept, &s.stalled, &s.broken, &s.last, &s.behind); err != nil {
		t.Fatal(err)
	}
	return s
}

// recorded reads the recorder's file: the payloads, after checking that the
// sequences count up by one.
func recorded(t testing.TB, dir string) []string {
	t.Helper()
	raw, err := os.ReadFile(filepath.Join(dir, "recorded"))
	if err != nil {
		t.Fatal(err)
	}
	lines := strings.Split(strings.TrimSuffix(string(raw), "\n"), "\n")[1:]
	for i, l := range lines {
		seq, rest, _ := strings.Cut(l, " ")
		if seq != strconv.Itoa(i+1) {
			t.Fatalf("line %d of the recording has sequence %s", i+1, seq)
		}
		lines[i] = rest
	}
	return lines
}

// A sender is a gateway that keeps what is not acknowledged and sends it again
// on its next connection.
type sender struct {
	g      Gateway
	next   int
	unsure []int       // sent or not, not acknowledged
	sends  map[int]int // how often each was handed to the network
	acked  map[int]bool
}

// run sends over one connection until it breaks or stop is closed.
func (s *sender) run(addr string, stop <-chan struct{}) {
	c := mqtt.NewClient(options(addr, s.g.Name, s.g.Password).SetConnectTimeout(time.Second))
	if tok := c.Connect(); !tok.WaitTimeout(5*time.Second) || tok.Error() != nil {
		return
	}
	defer c.Disconnect(0)
	type flight struct {
		n   int
		tok mqtt.Token
	}
	var air []flight
	resend := s.unsure
	s.unsure = nil
	defer func() {
		for _, f := range air {
			if f.tok.WaitTimeout(0) && f.tok.Error() == nil {
				s.acked[f.n] = true
			} else {
				s.unsure = append(s.unsure, f.n)
			}
		}
		s.unsure = append(s.unsure, resend...)
	}()
	for {
		select {
		case <-stop:
			// What is in the air may still land.
			for end := time.Now().Add(5 * time.Second); len(air) > 0 && time.Now().Before(end); {
				if !air[0].tok.WaitTimeout(time.Until(end)) || air[0].tok.Error() != nil {
					return
				}
				s.acked[air[0].n] = true
				air = air[1:]
			}
			return
		default:
		}
		for len(air) < 32 {
			n := s.next
			if len(resend) > 0 {
				n, resend = resend[0], resend[1:]
			} else {
				s.next++
			}
			s.sends[n]++
			air = append(air, flight{n, c.Publish("tele/"+s.g.Name+"/n", 1, false, strconv.Itoa(n))})
		}
		f := air[0]
		if !f.tok.WaitTimeout(5*time.Second) || f.tok.Error() != nil {
			return
		}
		s.acked[f.n] = true
		air = air[1:]
	}
}

// TestKill kills a site at random moments while two gateways publish with QoS 1.
// Whatever was acknowledged is recorded. What is recorded more often than once
// was sent as often, which only a count in the payload can tell, and there is
// one.
func TestKill(t *testing.T) {
	kills := 20
	if testing.Short() {
		kills = 5
	}
	if n, err := strconv.Atoi(os.Getenv("PLUMBHOOK_KILLS")); err == nil {
		kills = n
	}
	dir := t.TempDir()
	listen := childEnv + "_LISTEN=" + freeAddress(t)
	seed := uint64(time.Now().UnixNano())
	t.Logf("seed %d, %d kills", seed, kills)
	dice := rand.New(rand.NewPCG(seed, 1))

	senders := make([]*sender, len(childGateways))
	for i, g := range childGateways {
		senders[i] = &sender{g: g, sends: map[int]int{}, acked: map[int]bool{}}
	}
	early := 0
	for range kills {
		p := start(t, dir, listen)
		if dice.IntN(5) == 0 { // while it starts
			time.Sleep(time.Duration(dice.IntN(100)) * time.Millisecond)
			p.kill()
			early++
			continue
		}
		p.ready(t)
		stop, over := make(chan struct{}), make(chan struct{}, len(senders))
		for _, s := range senders {
			go func() { s.run(p.addr, stop); over <- struct{}{} }()
		}
		time.Sleep(time.Duration(20+dice.IntN(250)) * time.Millisecond)
		p.kill()
		close(stop)
		for range senders {
			<-over
		}
	}
	p := start(t, dir, listen).ready(t)
	stop, over := make(chan struct{}), make(chan struct{}, len(senders))
	for _, s := range senders {
		go func() { s.run(p.addr, stop); over <- struct{}{} }()
	}
	time.Sleep(200 * time.Millisecond)
	close(stop)
	for range senders {
		<-over
	}
	eventually(t, "the recording to have caught up", func() bool { return p.ask(t).behind == 0 })
	p.stop(t)

	copies := map[string]int{}
	for _, l := range recorded(t, dir) {
		copies[l]++
	}
	sent, acked, twice, lost := 0, 0, 0, 0
	for _, s := range senders {
		if len(s.unsure) > 0 {
			t.Errorf("%s: %d messages were never acknowledged at the end", s.g.Name, len(s.unsure))
		}
		for n, times := range s.sends {
			sent++
			k := copies[s.g.Name+" "+strconv.Itoa(n)]
			if s.acked[n] {
				acked++
				if k == 0 {
					lost++
					t.Errorf("%s %d was acknowledged and is lost", s.g.Name, n)
				}
			}
			if k > times {
				t.Errorf("%s %d was sent %d times and is recorded %d times", s.g.Name, n, times, k)
			}
			if k > 1 {
				twice++
			}
		}
	}
	if acked < kills { // a slow machine sends little between two kills
		t.Errorf("only %d messages were acknowledged: nothing was tried", acked)
	}
	t.Logf("%d kills, %d of them during the start: sent %d messages, %d acknowledged, %d of these lost; %d recorded again because the gateway sent them again",
		kills, early, sent, acked, lost, twice)
}

func freeAddress(t testing.TB) string {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer l.Close()
	return l.Addr().String()
}

// TestFull fills the disk: once by a limit on the size of files, once for true.
// The crew goes on seeing everything, gateways get their acknowledgements, new
// ones get in, and the site says that the recording is incomplete. Opened again
// with room, it has all up to then, and takes more.
func TestFull(t *testing.T) {
	const room = 1 << 20
	for _, c := range []struct {
		name   string
		folder func(t *testing.T) string
		env    string
	}{
		{"file size", func(t *testing.T) string { return t.TempDir() }, fmt.Sprint(childEnv, "_FSIZE=", room)},
		{"file system", func(t *testing.T) string { return smallDisk(t, room) }, "X="},
	} {
		t.Run(c.name, func(t *testing.T) {
			dir := c.folder(t)
			p := start(t, dir, c.env, childEnv+"_LISTEN=127.0.0.1:0").ready(t)
			north := join(t, options(p.addr, "north", "n"))
			const n = 100
			for i := range n { // 20 kB each
				send(t, north, "tele/north/n", 1, fmt.Sprintf("%d%20000d", i, 0))
			}
			south := join(t, options(p.addr, "south", "s"))
			send(t, south, "tele/south/n", 1, "late")
			send(t, south, "tele/south/n", 0, "later")
			eventually(t, "all to have come the live way", func() bool { return p.ask(t).live == n+2 })
			s := p.ask(t)
			if !s.broken || !s.stalled || s.unkept < n/3 || s.last < n/5 || s.last+s.unkept < n+1 {
				t.Errorf("the site says %+v", s)
			}
			p.kill()

			if c.env == "X=" {
				if err := syscall.Mount("tmpfs", dir, "tmpfs", syscall.MS_REMOUNT, "size=32m"); err != nil {
					t.Fatal(err)
				}
			}
			p = start(t, dir, childEnv+"_LISTEN=127.0.0.1:0").ready(t)
			south = join(t, options(p.addr, "south", "s"))
			send(t, south, "tele/south/n", 1, "again")
			eventually(t, "the recording to have caught up", func() bool { s := p.ask(t); return s.behind == 0 && s.last > 0 })
			if s := p.ask(t); s.broken || s.unkept != 0 {
				t.Errorf("with room again, the site says %+v", s)
			}
			p.stop(t)
			lines := recorded(t, dir)
			if len(lines) < n/5 || lines[len(lines)-1] != "south again" {
				t.Errorf("%d lines, the last %q", len(lines), lines[len(lines)-1])
			}
		})
	}
}

// smallDisk is a file system in memory, where we may mount one.
func smallDisk(t *testing.T, size int) string {
	t.Helper()
	dir := t.TempDir()
	if err := syscall.Mount("tmpfs", dir, "tmpfs", 0, fmt.Sprint("size=", size)); err != nil {
		t.Skip("no right to mount a small file system: ", err)
	}
	t.Cleanup(func() { syscall.Unmount(dir, syscall.MNT_DETACH) })
	return dir
}
