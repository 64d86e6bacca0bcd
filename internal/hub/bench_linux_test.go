package hub

import (
	"bufio"
	"context"
	"crypto/tls"
	"crypto/x509"
	"encoding/json"
	"fmt"
	"io"
	"iter"
	"math"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/nats-io/nats-server/v2/server"
	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"

	"plumbhook/fleet"
	"plumbhook/internal/authority"
	"plumbhook/internal/store"
	"plumbhook/logbook"
	"plumbhook/reading"
	"plumbhook/record"
)

// The fleet of the benchmark: sites of four cells at 10 Hz. Its first sites have
// a program of their own each, as real ones; the others share processes, each
// with its own account, stream and connection to the hub, which for the hub is
// the same.
const (
	cellsPerSite = 4
	perSecond    = 10
	realSites    = 30
	perProcess   = 90
)

// sample is one entry of a site's recording now: a reading of each cell.
func sample(n uint64) *logbook.Entry {
	at := reading.At(time.Now())
	f := &reading.Frame{Source: "g", Arrived: at}
	for i := range cellsPerSite {
		f.Readings = append(f.Readings, reading.Reading{Channel: string(rune('A' + i)), At: at, Seq: n, Value: 12_000 + math.Mod(float64(n)*0.37, 40)})
	}
	return &logbook.Entry{N: n, At: at, Kind: logbook.Frame, Frame: f}
}

// BenchmarkFleet runs a hub of three nodes as processes and more and more sites.
// PLUMBHOOK_FLEET says how many, as 10,100,300; it runs only when that is set,
// for it takes minutes and both cores of a small machine.
func BenchmarkFleet(b *testing.B) {
	steps := strings.FieldsFunc(os.Getenv("PLUMBHOOK_FLEET"), func(r rune) bool { return r == ',' })
	if len(steps) == 0 {
		b.Skip("set PLUMBHOOK_FLEET=10,100,300")
	}
	m := makeHub(b, "a", "b", "c")
	most, err := strconv.Atoi(steps[len(steps)-1])
	if err != nil {
		b.Fatal(err)
	}
	var joinings []*Joining
	for i := range most {
		joinings = append(joinings, m.admit(b, fmt.Sprintf("site-%03d", i)))
	}
	nodes := map[string]*child{}
	for _, n := range m.nodes {
		nodes[n] = m.start(b, n)
	}
	eventually(b, patience, "three nodes", func() bool {
		for _, c := range nodes {
			if !c.now.Load().Ready {
				return false
			}
		}
		return true
	})
	var hubs []int
	for _, c := range nodes {
		hubs = append(hubs, c.cmd.Process.Pid)
	}
	time.Sleep(5 * time.Second)
	idle := cpuOver(hubs, 10*time.Second)
	b.Logf("no site: hub %.3f cores", idle)

	var sites []*yard
	have := 0
	costs := []float64{}
	for _, step := range steps {
		want, err := strconv.Atoi(step)
		if err != nil {
			b.Fatal(err)
		}
		for have < want {
			n := min(want-have, perProcess)
			if have < realSites {
				n = min(want, realSites) - have
			}
			sites = append(sites, startYard(b, m, joinings[have:have+n], have < realSites))
			have += n
		}
		told := time.Now()
		flowing := func(from map[string]uint64) func() bool {
			return func() bool {
				for _, c := range nodes {
					seen := 0
					for _, x := range c.now.Load().Tallies {
						if x.Last > from[x.Site] {
							seen++
						}
					}
					if seen < want {
						if time.Since(told) > 15*time.Second {
							b.Logf("node %s has heard of %d of %d sites %s", c.name, seen, want, c.now.Load().Trouble)
							told = time.Now()
						}
						return false
					}
				}
				return true
			}
		}
		eventually(b, 8*time.Minute, step+" sites", flowing(map[string]uint64{}))
		time.Sleep(10 * time.Second) // the start of so many is no measure
		for _, c := range nodes {
			c.mark()
		}
		before := tallied(nodes["a"])
		var yards []int
		for _, y := range sites {
			yards = append(yards, y.cmd.Process.Pid)
		}
		start := time.Now()
		hub0, yard0 := cpu(hubs), cpu(yards)
		time.Sleep(20 * time.Second)
		took := time.Since(start).Seconds()
		hub, yard := (cpu(hubs)-hub0)/took, (cpu(yards)-yard0)/took
		after := tallied(nodes["a"])
		var p50, p99, worst float64
		for _, c := range nodes {
			s := c.now.Load()
			p50, p99, worst = max(p50, s.DelayP50), max(p99, s.DelayP99), max(worst, s.DelayMax)
		}
		rate := float64(after-before) * cellsPerSite / took
		cost := (hub - idle) / float64(want) * 1e3
		costs = append(costs, cost)
		b.Logf("%s sites, %d of them real: %.0f readings/s (%d are sent), delay of the worst node p50 %.0f p99 %.0f max %.0f ms, hub %.3f cores, %.3f ms of processor time a site and second, sites %.3f cores, hub %.0f MiB resident",
			step, min(want, realSites), rate, want*cellsPerSite*perSecond, p50, p99, worst, hub, cost, yard, resident(hubs))
		if want == most {
			b.ReportMetric(p99, "p99-ms")
			b.ReportMetric(rate, "readings/s")
		}
		for _, c := range nodes {
			for _, x := range c.now.Load().Tallies {
				if x.Missing != 0 || x.Again != 0 {
					b.Errorf("node %s: %+v", c.name, x)
				}
			}
			if w := c.now.Load().Wrong; len(w) > 0 {
				b.Error(w[0])
			}
		}
	}
	b.ReportMetric(costs[len(costs)-1]/costs[0], "last/first")

	// How fast what has waited comes in, and how fast the engine alone would
	// take it: the same messages published to a stream of three copies on the
	// same nodes, and read by one consumer.
	for _, y := range sites {
		y.say("hold")
	}
	before := tallied(nodes["a"])
	for _, y := range sites {
		y.say("burst 100")
	}
	start := time.Now()
	eventually(b, 10*time.Minute, "what has waited", func() bool { return tallied(nodes["a"])-before >= uint64(100*most*burstEntries) })
	ours := float64(100*most*burstEntries*cellsPerSite) / time.Since(start).Seconds()
	leader := nodes["a"]
	leader.say("engine " + strconv.Itoa(100*most))
	eventually(b, 10*time.Minute, "the engine alone", func() bool { return leader.now.Load().Engine > 0 })
	engine := leader.now.Load().Engine * burstEntries * cellsPerSite
	b.Logf("in bulk: %.0f readings/s from sites into the ledger, the engine alone %.0f", ours, engine)
	b.ReportMetric(ours/engine, "hub/engine")
}

func tallied(c *child) (n uint64) {
	for _, t := range c.now.Load().Tallies {
		n += t.Entries
	}
	return n
}

// cpu is the processor time that processes have used, seconds.
func cpu(pids []int) (s float64) {
	for _, pid := range pids {
		data, err := os.ReadFile(fmt.Sprintf("/proc/%d/stat", pid))
		if err != nil {
			continue
		}
		f := strings.Fields(string(data[strings.LastIndexByte(string(data), ')')+1:]))
		for _, k := range []int{11, 12} { // utime and stime, proc(5)
			ticks, _ := strconv.ParseFloat(f[k], 64)
			s += ticks / 100
		}
	}
	return s
}

func cpuOver(pids []int, d time.Duration) float64 {
	was := cpu(pids)
	time.Sleep(d)
	return (cpu(pids) - was) / d.Seconds()
}

// resident is the memory of processes, MiB.
func resident(pids []int) (mib float64) {
	for _, pid := range pids {
		data, _ := os.ReadFile(fmt.Sprintf("/proc/%d/statm", pid))
		if f := strings.Fields(string(data)); len(f) > 1 {
			pages, _ := strconv.ParseFloat(f[1], 64)
			mib += pages * float64(os.Getpagesize()) / (1 << 20)
		}
	}
	return mib
}

// yard is a process with sites in it.
type yard struct {
	cmd *exec.Cmd
	in  io.Writer
}

const childYard = "PLUMBHOOK_TEST_HUB_YARD"

func startYard(t testing.TB, m *made, joinings []*Joining, own bool) *yard {
	t.Helper()
	kind, dir := "shared", t.TempDir()
	if own {
		kind = "own"
	}
	data, err := json.Marshal(joinings)
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(dir, "sites.json"), data, 0o600); err != nil {
		t.Fatal(err)
	}
	y := &yard{cmd: exec.Command(os.Args[0])}
	y.cmd.Env = append(os.Environ(), childYard+"="+kind, "PLUMBHOOK_TEST_HUB_DIR="+dir)
	y.cmd.Stderr = os.Stderr
	in, err := y.cmd.StdinPipe()
	if err != nil {
		t.Fatal(err)
	}
	y.in = in
	if err := y.cmd.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = y.cmd.Process.Kill(); _ = y.cmd.Wait() })
	return y
}

func (y *yard) say(line string) { fmt.Fprintln(y.in, line) }

// burstEntries is how many entries a message holds of what has waited: a carrier
// that catches up packs more into one than one that keeps up.
const burstEntries = 50

// beYard plays sites until its input ends.
func beYard(kind string) error {
	dir := os.Getenv("PLUMBHOOK_TEST_HUB_DIR")
	data, err := os.ReadFile(filepath.Join(dir, "sites.json"))
	if err != nil {
		return err
	}
	var joinings []*Joining
	if err := json.Unmarshal(data, &joinings); err != nil {
		return err
	}
	ctx := context.Background()
	var hold atomic.Bool
	var bursts []func(n int)
	if kind == "own" {
		for _, j := range joinings {
			l, err := Join(ctx, LinkOptions{Dir: filepath.Join(dir, j.Site), Joining: j, Log: testLog()})
			if err != nil {
				return err
			}
			r := &grown{}
			go l.Carry(ctx, "w", r)
			go every(time.Second/perSecond, &hold, func() { r.add(1) })
			bursts = append(bursts, func(n int) { r.add(n * burstEntries) })
		}
	} else if bursts, err = sharedSites(dir, joinings, &hold); err != nil {
		return err
	}
	lines := bufio.NewScanner(os.Stdin)
	for lines.Scan() {
		f := strings.Fields(lines.Text())
		switch f[0] {
		case "hold":
			hold.Store(true)
			time.Sleep(500 * time.Millisecond)
		case "burst":
			n, _ := strconv.Atoi(f[1])
			for _, b := range bursts {
				b(n)
			}
		}
	}
	os.Exit(0)
	return nil
}

func every(d time.Duration, hold *atomic.Bool, do func()) {
	for range time.Tick(d) {
		if !hold.Load() {
			do()
		}
	}
}

// grown is a recording in memory whose entries bear the time of their making.
type grown struct {
	mu  sync.Mutex
	all []*logbook.Entry
}

func (g *grown) add(n int) {
	g.mu.Lock()
	defer g.mu.Unlock()
	for range n {
		g.all = append(g.all, sample(uint64(len(g.all)+1)))
	}
}

func (g *grown) Safe() uint64 {
	g.mu.Lock()
	defer g.mu.Unlock()
	return uint64(len(g.all))
}

func (g *grown) From(n uint64) iter.Seq2[*logbook.Entry, error] {
	g.mu.Lock()
	rest := slices.Clone(g.all[min(int(n)-1, len(g.all)):])
	g.mu.Unlock()
	return func(yield func(*logbook.Entry, error) bool) {
		for _, e := range rest {
			if !yield(e, nil) {
				return
			}
		}
	}
}

// sharedSites are sites in one message server, each with an account, a stream
// and a leaf connection of its own.
func sharedSites(dir string, joinings []*Joining, hold *atomic.Bool) (bursts []func(int), err error) {
	o := &server.Options{
		ServerName: "yard-" + joinings[0].Site, AuthTimeout: 60, DontListen: true, NoSigs: true, NoLog: true, JetStream: true, JetStreamDomain: "yard-" + joinings[0].Site,
		StoreDir: filepath.Join(dir, "yard"), JetStreamMaxStore: 1 << 50, LeafNode: server.LeafNodeOpts{ReconnectInterval: leafRetry},
	}
	for _, j := range joinings {
		a := server.NewAccount(j.Site)
		o.Accounts = append(o.Accounts, a)
		o.Users = append(o.Users, &server.User{Username: j.Site, Password: j.Site, Account: a})
		pool := x509.NewCertPool()
		pool.AppendCertsFromPEM(j.Authority)
		r := &server.RemoteLeafOpts{LocalAccount: j.Site, Nkey: j.Seed, TLS: true, TLSTimeout: 30, DialTimeout: 10 * time.Second, FirstInfoTimeout: 30 * time.Second, TLSConfig: &tls.Config{RootCAs: pool}}
		for _, h := range j.Hub {
			r.URLs = append(r.URLs, &url.URL{Scheme: "tls", Host: h})
		}
		o.LeafNode.Remotes = append(o.LeafNode.Remotes, r)
	}
	s, err := server.NewServer(o)
	if err != nil {
		return nil, err
	}
	s.Start()
	if !s.ReadyForConnections(startLimit) {
		return nil, fmt.Errorf("the yard does not start")
	}
	for i, j := range joinings {
		acc, err := s.LookupAccount(j.Site)
		if err != nil {
			return nil, err
		}
		if err := acc.EnableJetStream(nil, nil); err != nil {
			return nil, err
		}
		if err := acc.AddMapping("$JS."+siteDomain(j.Site)+".API.>", "$JS.API.>"); err != nil {
			return nil, err
		}
		nc, err := nats.Connect("", nats.InProcessServer(s), nats.UserInfo(j.Site, j.Site), nats.Timeout(time.Minute), nats.MaxReconnects(-1))
		if err != nil {
			return nil, err
		}
		js, err := jetstream.New(nc, jetstream.WithPublishAsyncMaxPending(64), jetstream.WithDefaultTimeout(time.Minute))
		if err != nil {
			return nil, err
		}
		name := outPrefix + j.Site + "-x"
		if _, err := js.CreateStream(context.Background(), jetstream.StreamConfig{Name: name, Subjects: []string{sitePrefix + j.Site + ".>"}, Storage: jetstream.FileStorage}); err != nil {
			return nil, err
		}
		go every(time.Second, &atomic.Bool{}, func() {
			beat, _ := json.Marshal(fleet.Beat{Site: j.Site, Run: "x", At: time.Now(), Stream: name})
			_ = nc.Publish(fleetWords+j.Site+".beat", beat)
		})
		var mu sync.Mutex
		var last uint64
		send := func(entries int) {
			mu.Lock()
			defer mu.Unlock()
			var p record.Packer
			for range entries {
				last++
				if err := p.Add(sample(last)); err != nil {
					panic(err)
				}
			}
			pack, from, to := p.Take()
			m := nats.NewMsg(logSubject(j.Site, "w"))
			m.Data = pack
			m.Header.Set(entriesHeader, fmt.Sprintf("%d-%d", from, to))
			if _, err := js.PublishMsgAsync(m, jetstream.WithStallWait(time.Minute)); err != nil {
				panic(err)
			}
		}
		time.Sleep(time.Duration(i%7) * time.Millisecond) // not all at the same moment
		go every(time.Second/perSecond, hold, func() { send(1) })
		bursts = append(bursts, func(n int) {
			go func() {
				for range n {
					send(burstEntries)
				}
			}()
		})
	}
	return bursts, nil
}

// weighed is a ledger in SQL that also takes how late entries are.
type weighed struct {
	ledger *store.Ledger

	mu     sync.Mutex
	delays []float64 // ms
}

func (w *weighed) take(ctx context.Context, to fleet.Place, news []fleet.News) error {
	now := time.Now()
	w.mu.Lock()
	for _, n := range news {
		if n.Log == nil || len(n.Log.Pack) > 4096 {
			continue
		}
		for e, err := range record.Unpack(n.Log.Pack) {
			if err == nil {
				w.delays = append(w.delays, float64(now.Sub(e.At.Time()))/1e6)
			}
		}
	}
	w.mu.Unlock()
	return w.ledger.Take(ctx, to, news)
}

func (w *weighed) quantiles() (p50, p99, most float64) {
	w.mu.Lock()
	d := slices.Clone(w.delays)
	w.mu.Unlock()
	if len(d) == 0 {
		return 0, 0, 0
	}
	slices.Sort(d)
	return d[len(d)/2], d[len(d)*99/100], d[len(d)-1]
}

// beBenchNode is a node with its ledger in SQL.
func beBenchNode(node string) error {
	dir := os.Getenv("PLUMBHOOK_TEST_HUB_DIR")
	a, err := authority.Load(dir)
	if err != nil {
		return err
	}
	at := filepath.Join(dir, "node-"+node)
	h, err := Open(NodeOptions{Dir: at, File: filepath.Join(dir, "hub.yaml"), Node: node, Authority: a, Log: testLog()})
	if err != nil {
		return err
	}
	ctx := context.Background()
	st, err := store.Open(ctx, at, true)
	if err != nil {
		return err
	}
	w := &weighed{ledger: st.Ledger()}
	go func() {
		_ = h.Follow(ctx, fleet.Place{}, func(to fleet.Place, news []fleet.News) error { return w.take(ctx, to, news) })
	}()
	var engine atomic.Uint64
	go func() {
		lines := bufio.NewScanner(os.Stdin)
		for lines.Scan() {
			f := strings.Fields(lines.Text())
			switch f[0] {
			case "mark":
				w.mu.Lock()
				w.delays = nil
				w.mu.Unlock()
			case "engine":
				n, _ := strconv.Atoi(f[1])
				rate, err := engineAlone(ctx, h, n)
				if err != nil {
					fmt.Fprintln(os.Stderr, err)
				}
				engine.Store(math.Float64bits(rate))
			}
		}
		os.Exit(0)
	}()
	for {
		s := standing{Engine: math.Float64frombits(engine.Load())}
		select {
		case <-h.Ready():
			s.Ready = true
		default:
		}
		if err := h.Trouble(); err != nil {
			s.Trouble = err.Error()
		}
		if s.Tallies, err = w.ledger.Tallies(ctx); err != nil {
			return err
		}
		s.DelayP50, s.DelayP99, s.DelayMax = w.quantiles()
		if err := json.NewEncoder(os.Stdout).Encode(s); err != nil {
			return err
		}
		time.Sleep(500 * time.Millisecond)
	}
}

// engineAlone publishes n messages like those of a burst to a stream of three
// copies, has them all read by one consumer, and gives how many a second.
func engineAlone(ctx context.Context, h *Hub, n int) (float64, error) {
	js, err := jetstream.New(h.nc, jetstream.WithPublishAsyncMaxPending(1024))
	if err != nil {
		return 0, err
	}
	s, err := js.CreateStream(ctx, jetstream.StreamConfig{Name: "alone", Subjects: []string{"alone.>"}, Storage: jetstream.FileStorage, Replicas: 3})
	if err != nil {
		return 0, err
	}
	var p record.Packer
	for i := range burstEntries {
		if err := p.Add(sample(uint64(i + 1))); err != nil {
			return 0, err
		}
	}
	pack, _, _ := p.Take()
	c, err := s.OrderedConsumer(ctx, jetstream.OrderedConsumerConfig{})
	if err != nil {
		return 0, err
	}
	read := make(chan struct{})
	var got atomic.Int64
	cc, err := c.Consume(func(jetstream.Msg) {
		if got.Add(1) == int64(n) {
			close(read)
		}
	})
	if err != nil {
		return 0, err
	}
	defer cc.Stop()
	start := time.Now()
	for i := range n {
		if _, err := js.PublishAsync("alone.site."+strconv.Itoa(i%300), pack); err != nil {
			return 0, err
		}
	}
	<-read
	return float64(n) / time.Since(start).Seconds(), js.DeleteStream(ctx, "alone")
}
