package hub

import (
	"bufio"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"plumbhook/fleet"
	"plumbhook/internal/authority"
)

// A child of the test is a node that says on its output how it stands.
const childNode = "PLUMBHOOK_TEST_HUB_NODE"

func TestMain(m *testing.M) {
	if node := os.Getenv(childNode); node != "" {
		be := beNode
		if os.Getenv("PLUMBHOOK_FLEET") != "" {
			be = beBenchNode
		}
		if err := be(node); err != nil {
			fmt.Fprintln(os.Stderr, err)
			os.Exit(1)
		}
		return
	}
	if kind := os.Getenv(childYard); kind != "" {
		if err := beYard(kind); err != nil {
			fmt.Fprintln(os.Stderr, err)
			os.Exit(1)
		}
		return
	}
	os.Exit(m.Run())
}

// standing is what a node says of itself and of its ledger.
type standing struct {
	Leads   bool
	Ready   bool
	Tallies []fleet.Tally
	Wrong   []string
	Trouble string
	Heard   map[string]float64 // seconds since each site was heard; -1: never

	// Of the benchmark: how late entries are, ms, and what the engine alone takes.
	DelayP50, DelayP99, DelayMax, Engine float64
}

func beNode(node string) error {
	dir := os.Getenv("PLUMBHOOK_TEST_HUB_DIR")
	a, err := authority.Load(dir)
	if err != nil {
		return err
	}
	h, err := Open(NodeOptions{Dir: filepath.Join(dir, "node-"+node), File: filepath.Join(dir, "hub.yaml"), Node: node, Authority: a, Log: testLog()})
	if err != nil {
		return err
	}
	defer h.Close()
	b := newBooks()
	ctx, cancel := context.WithCancel(context.Background())
	defer cancel()
	go func() { _ = h.Follow(ctx, fleet.Place{}, b.take) }()
	go func() { // the parent has gone
		_, _ = io.Copy(io.Discard, os.Stdin)
		os.Exit(0)
	}()
	for {
		s := standing{Heard: map[string]float64{}}
		select {
		case <-h.Ready():
			s.Ready = true
			if st, err := h.js.Stream(ctx, fleetName); err == nil && st.CachedInfo().Cluster != nil {
				s.Leads = st.CachedInfo().Cluster.Leader == h.server.Name()
			}
		default:
		}
		for _, x := range h.Heard() {
			s.Heard[x.Name] = -1
			if !x.Heard.IsZero() {
				s.Heard[x.Name] = time.Since(x.Heard).Seconds()
			}
		}
		b.mu.Lock()
		s.Wrong = b.wrong
		for _, t := range b.tallies {
			s.Tallies = append(s.Tallies, *t)
		}
		b.mu.Unlock()
		if err := json.NewEncoder(os.Stdout).Encode(s); err != nil {
			return err
		}
		time.Sleep(30 * time.Millisecond)
	}
}

// child is a node in a process of its own.
type child struct {
	t    testing.TB
	name string
	cmd  *exec.Cmd
	in   io.WriteCloser
	now  atomic.Pointer[standing]
	gone chan struct{}
}

func (m *made) start(t testing.TB, node string) *child {
	t.Helper()
	c := &child{t: t, name: node, gone: make(chan struct{})}
	c.cmd = exec.Command(os.Args[0])
	c.cmd.Env = append(os.Environ(), childNode+"="+node, "PLUMBHOOK_TEST_HUB_DIR="+m.dir)
	c.cmd.Stderr = os.Stderr
	out, err := c.cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if c.in, err = c.cmd.StdinPipe(); err != nil {
		t.Fatal(err)
	}
	if err := c.cmd.Start(); err != nil {
		t.Fatal(err)
	}
	c.now.Store(&standing{})
	go func() {
		defer close(c.gone)
		lines := bufio.NewScanner(out)
		lines.Buffer(nil, 1<<20)
		for lines.Scan() {
			s := &standing{}
			if json.Unmarshal(lines.Bytes(), s) == nil {
				c.now.Store(s)
			}
		}
		_ = c.cmd.Wait()
	}()
	t.Cleanup(c.kill)
	return c
}

// kill ends it as a power cut of its machine would end the process.
func (c *child) kill() {
	_ = c.cmd.Process.Kill()
	<-c.gone
}

// say tells it something on its input.
func (c *child) say(line string) { fmt.Fprintln(c.in, line) }

// mark has it forget how late entries were so far.
func (c *child) mark() { c.say("mark") }

func (c *child) last(site string) uint64 {
	for _, x := range c.now.Load().Tallies {
		if x.Site == site {
			return x.Last
		}
	}
	return 0
}

// whole fails unless all of a site's entries up to last came, once, in order.
func (c *child) whole(site string, last uint64) {
	c.t.Helper()
	s := c.now.Load()
	if len(s.Wrong) > 0 {
		c.t.Errorf("node %s: %d wrong, the first: %s", c.name, len(s.Wrong), s.Wrong[0])
	}
	for _, x := range s.Tallies {
		if x.Site == site && (x.Last != last || x.Entries != last || x.Missing != 0 || x.Again != 0) {
			c.t.Errorf("node %s: %+v, want %d", c.name, x, last)
		}
	}
}

// line is a network that can be cut: what connects to it reaches another address.
type line struct {
	ln    net.Listener
	to    string
	mu    sync.Mutex
	cut   bool
	conns map[net.Conn]bool
}

func newLine(t testing.TB, to string) *line {
	t.Helper()
	ln, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	l := &line{ln: ln, to: to, conns: map[net.Conn]bool{}}
	go func() {
		for {
			c, err := ln.Accept()
			if err != nil {
				return
			}
			go l.carry(c)
		}
	}()
	t.Cleanup(func() { ln.Close(); l.set(true) })
	return l
}

func (l *line) carry(c net.Conn) {
	defer c.Close()
	o, err := net.Dial("tcp", l.to)
	if err != nil {
		return
	}
	defer o.Close()
	l.mu.Lock()
	if l.cut {
		l.mu.Unlock()
		return
	}
	l.conns[c], l.conns[o] = true, true
	l.mu.Unlock()
	go func() { _, _ = io.Copy(o, c); o.Close(); c.Close() }()
	_, _ = io.Copy(c, o)
	l.mu.Lock()
	delete(l.conns, c)
	delete(l.conns, o)
	l.mu.Unlock()
}

func (l *line) set(cut bool) {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.cut = cut
	if cut {
		for c := range l.conns {
			c.Close()
		}
	}
}

// behindLines has a site reach the hub over lines that can be cut.
func behindLines(t testing.TB, j *Joining) (lines []*line) {
	for i, to := range j.Hub {
		l := newLine(t, to)
		j.Hub[i] = l.ln.Addr().String()
		lines = append(lines, l)
	}
	return lines
}

// TestOutage cuts a site off from a hub of three while it records, gives it the
// line back, and kills the node that leads while the rest comes in: everything is
// there on every node, in order, and once. PLUMBHOOK_OUTAGE_ENTRIES makes the
// outage longer: 864000 is a day of frames at 10 Hz.
func TestOutage(t *testing.T) {
	long, err := strconv.ParseUint(os.Getenv("PLUMBHOOK_OUTAGE_ENTRIES"), 10, 64)
	if err != nil {
		long = 20_000
	}
	begun := time.Now()
	stage := func(what string) { t.Logf("%5.1f s %s", time.Since(begun).Seconds(), what) }
	m := makeHub(t, "a", "b", "c")
	one, two := m.admit(t, "kestrel-point"), m.admit(t, "north-weir")
	lines := behindLines(t, one)
	nodes := map[string]*child{}
	for _, n := range m.nodes {
		nodes[n] = m.start(t, n)
	}
	all := func(site string, last uint64) func() bool {
		return func() bool {
			for _, c := range nodes {
				if c.last(site) < last {
					return false
				}
			}
			return true
		}
	}
	eventually(t, patience, "three nodes", func() bool {
		for _, c := range nodes {
			if !c.now.Load().Ready {
				return false
			}
		}
		return true
	})
	stage("three nodes")
	ctx, cancel := context.WithCancel(context.Background())
	var carrying sync.WaitGroup
	defer carrying.Wait()
	defer cancel()
	cutOff, linked := &tape{}, &tape{}
	l1, l2 := join(t, one, filepath.Join(m.dir, "one")), join(t, two, filepath.Join(m.dir, "two"))
	carrying.Go(func() { l1.Carry(ctx, "w", cutOff) })
	carrying.Go(func() { l2.Carry(ctx, "w", linked) })
	cutOff.grow(200)
	linked.grow(200)
	eventually(t, patience, "both logs", func() bool { return all("kestrel-point", 200)() && all("north-weir", 200)() })

	stage("both logs come in")
	for _, l := range lines {
		l.set(true)
	}
	cutOff.grow(long)
	eventually(t, 10*time.Minute, "the site to have all on its own disk", func() bool {
		at, err := l1.place(ctx, "w")
		return err == nil && at == 200+long
	})
	stage("the outage is recorded")
	linked.grow(200)
	eventually(t, patience, "the other site's log", all("north-weir", 400))
	eventually(t, patience, "the site to be unheard", func() bool {
		for _, c := range nodes {
			if h := c.now.Load().Heard["kestrel-point"]; h < fleet.Fresh.Seconds() {
				return false
			}
		}
		return true
	})
	if nodes["a"].last("kestrel-point") != 200 {
		t.Error("something came over a line that is cut")
	}

	stage("the site is unheard")
	back := time.Now()
	for _, l := range lines {
		l.set(false)
	}
	leader := ""
	eventually(t, patience, "the log to come in", func() bool {
		for n, c := range nodes {
			if c.now.Load().Leads && c.last("kestrel-point") > 200 {
				leader = n
			}
		}
		return leader != ""
	})
	at := nodes[leader].last("kestrel-point")
	nodes[leader].kill()
	delete(nodes, leader)
	cutOff.grow(100)
	linked.grow(100)
	eventually(t, 10*time.Minute, "all of it on the nodes left", func() bool { return all("kestrel-point", 300+long)() && all("north-weir", 500)() })
	t.Logf("line back, leader %s killed when %d of %d were in, all in after %.1f s", leader, at, 300+long, time.Since(back).Seconds())

	stage("all in on two nodes")
	nodes[leader] = m.start(t, leader)
	cutOff.grow(100)
	eventually(t, 10*time.Minute, "all of it on the node that came back", func() bool { return all("kestrel-point", 400+long)() && all("north-weir", 500)() })
	stage("all in on three nodes")
	for _, c := range nodes {
		c.whole("kestrel-point", 400+long)
		c.whole("north-weir", 500)
	}
}
