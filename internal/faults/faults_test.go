//go:build unix

package faults_test

import (
	"bufio"
	"bytes"
	"encoding/json"
	"flag"
	"fmt"
	"io"
	"math"
	"math/rand/v2"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"sort"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	mqtt "github.com/eclipse/paho.mqtt.golang"

	"plumbhook/contract"
	"plumbhook/internal/cli"
	"plumbhook/internal/faults"
	"plumbhook/internal/testkit"
	"plumbhook/logbook"
	"plumbhook/reading"
	"plumbhook/record"
)

var (
	schedules = flag.Int("schedules", 2, "how many random schedules to play")
	firstSeed = flag.Uint64("seed", 1, "seed of the first; the others follow")
	keep      = flag.Bool("keep", false, "leave the folders of what broke")
	abreast   = flag.Int("abreast", 1, "how many schedules at a time")
)

const child = "PLUMBHOOK_FAULTS_CHILD"

// TestMain is the site, when it is told how to serve.
func TestMain(m *testing.M) {
	if args := os.Getenv(child); args != "" {
		os.Exit(cli.Run(strings.Split(args, "\n"), os.Stdout, os.Stderr))
	}
	flag.Parse()
	os.Exit(m.Run())
}

const yard = `
channel_map: 1
gateways:
  yard: {kind: mqtt, password: {env: YARD}}
channels:
  W: {gateway: yard, address: tele/yard/cells#W, kind: load cell, unit: N}
  E: {gateway: yard, address: tele/yard/cells#E, kind: load cell, unit: N}
`

// A site is a process that serves, and can be killed.
type site struct {
	dir  string
	wire *faults.Wire // the gateway's way to it

	mu    sync.Mutex
	cmd   *exec.Cmd
	url   string // empty: down
	since time.Time
	said  bytes.Buffer
}

func (s *site) start() error {
	cmd := exec.Command(os.Args[0])
	args := []string{"serve", "../../examples/pump-motor.yaml", "--data", s.dir, "--map", filepath.Join(s.dir, "yard.yaml"), "--listen", "127.0.0.1:0", "--mqtt", "127.0.0.1:0", "--sign-in", "never"}
	cmd.Env = append(os.Environ(), child+"="+strings.Join(args, "\n"), "YARD=salt-and-tide")
	cmd.Stderr = &s.said
	out, err := cmd.StdoutPipe()
	if err != nil {
		return err
	}
	if err := cmd.Start(); err != nil {
		return err
	}
	url, gate := "", ""
	lines := bufio.NewScanner(out)
	for gate == "" && lines.Scan() {
		f := strings.Fields(lines.Text())
		switch {
		case len(f) > 1 && f[0] == "app":
			url = strings.TrimSuffix(f[1], "/")
		case len(f) > 1 && f[0] == "MQTT":
			gate = strings.TrimSuffix(f[1], ",")
		}
	}
	if gate == "" {
		_ = cmd.Process.Kill()
		_ = cmd.Wait()
		return fmt.Errorf("the site does not come up: %s", s.said.String())
	}
	go io.Copy(io.Discard, out)
	s.wire.To(gate)
	s.mu.Lock()
	s.cmd, s.url, s.since = cmd, url, time.Now()
	s.mu.Unlock()
	return nil
}

func (s *site) at() (url string, since time.Time) {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.url, s.since
}

// kill ends the process in the middle of what it does.
func (s *site) kill() {
	s.mu.Lock()
	cmd := s.cmd
	s.url, s.cmd = "", nil
	s.mu.Unlock()
	if cmd != nil {
		_ = cmd.Process.Kill()
		_ = cmd.Wait()
	}
}

// hang stops the process for a while, as a machine that swaps does.
func (s *site) hang(d time.Duration) {
	s.mu.Lock()
	cmd := s.cmd
	s.mu.Unlock()
	_ = cmd.Process.Signal(syscall.SIGSTOP)
	time.Sleep(d)
	_ = cmd.Process.Signal(syscall.SIGCONT)
	s.mu.Lock()
	s.since = time.Now()
	s.mu.Unlock()
}

// tear adds half-written bytes to the ends of what was open, as a power cut
// leaves them.
func (s *site) tear(rng *rand.Rand) error {
	var ends []string
	for _, pattern := range []string{"record/*.rec", "*/jetstream/*/streams/*/msgs/*.blk", "*.db-wal"} {
		found, err := filepath.Glob(filepath.Join(s.dir, pattern))
		if err != nil {
			return err
		}
		sort.Strings(found)
		if len(found) > 0 {
			ends = append(ends, found[len(found)-1])
		}
	}
	for _, path := range ends {
		if rng.IntN(2) == 0 {
			continue
		}
		f, err := os.OpenFile(path, os.O_APPEND|os.O_WRONLY, 0o600)
		if err != nil {
			return err
		}
		half := make([]byte, 1+rng.IntN(300))
		for i := range half {
			half[i] = byte(rng.Uint32())
		}
		if _, err := f.Write(half); err != nil {
			return err
		}
		if err := f.Close(); err != nil {
			return err
		}
	}
	return nil
}

// frame is one that the gateway has made.
type frame struct {
	seq  int
	body string
	made time.Time
	over bool
}

// A gateway makes a frame every 50 ms, whatever the wire does, and sends each
// until it is acknowledged, mostly in order.
type gateway struct {
	address string
	rng     *rand.Rand

	mu      sync.Mutex
	clock   time.Duration // that its clock is off
	made    []frame
	queue   []frame
	acked   map[int]time.Time
	spoilt  bool      // bytes may be spoilt on the way: what is acknowledged may be garbled
	over    int       // frames still to make above the stop
	marred  bool      // bytes were spoilt at some time
	spoiled time.Time // last
	jumped  bool      // its clock was moved: its times tell nothing about age
}

// Values tell which frame they came in: in newtons, idle below the weight of
// anything, or far above the stop of either leg.
const (
	idle  = 100
	above = 60_000
)

// leastPatience is how long the gateway waits for an acknowledgement at first.
const leastPatience = 400 * time.Millisecond

func (g *gateway) make(now time.Time) {
	g.mu.Lock()
	defer g.mu.Unlock()
	f := frame{seq: len(g.made) + 1, made: now, over: g.over > 0}
	v := idle + f.seq
	if f.over {
		v = above + f.seq
		g.over--
	}
	f.body = fmt.Sprintf(`{"t": %.6f, "seq": %d, "W": %d, "E": %d}`, float64(now.Add(g.clock).UnixNano())/1e9, f.seq, v, v)
	g.made = append(g.made, f)
	g.queue = append(g.queue, f)
}

// level tells whether nothing waits and some went through.
func (g *gateway) level() bool {
	g.mu.Lock()
	defer g.mu.Unlock()
	return len(g.queue) == 0 && len(g.acked) >= 5
}

// heard tells whether enough of the overload was acknowledged to be believed.
func (g *gateway) heard() bool {
	n := 0
	for _, f := range g.made {
		if _, ok := g.acked[f.seq]; ok && f.over {
			n++
		} else {
			n = 0
		}
		if n == 3 {
			return true
		}
	}
	return false
}

func (g *gateway) spoil(on bool) {
	g.mu.Lock()
	g.spoilt, g.marred, g.spoiled = on, true, time.Now()
	g.mu.Unlock()
}

// send sends what waits until stop is closed and nothing waits any more.
func (g *gateway) send(stop <-chan struct{}) {
	var c mqtt.Client
	patience := leastPatience
	drop := func() {
		if c != nil {
			c.Disconnect(0)
			c = nil
		}
	}
	defer drop()
	for {
		g.mu.Lock()
		n, i := len(g.queue), 0
		var f frame
		if n > 0 {
			if n > 2 && g.rng.IntN(10) == 0 {
				i = g.rng.IntN(3)
			}
			f = g.queue[i]
		}
		g.mu.Unlock()
		if n == 0 {
			select {
			case <-stop:
				return
			case <-time.After(5 * time.Millisecond):
				continue
			}
		}
		if c == nil {
			c = mqtt.NewClient(mqtt.NewClientOptions().AddBroker("tcp://" + g.address).SetClientID("yard").SetUsername("yard").SetPassword("salt-and-tide").
				SetConnectRetry(false).SetAutoReconnect(false).SetConnectTimeout(500 * time.Millisecond))
			if k := c.Connect(); !k.WaitTimeout(time.Second) || k.Error() != nil {
				drop()
				time.Sleep(50 * time.Millisecond)
				continue
			}
		}
		if k := c.Publish("tele/yard/cells", 1, false, f.body); !k.WaitTimeout(patience) || k.Error() != nil {
			drop()
			patience = min(2*patience, 4*time.Second) // a slow machine is no broken link
			continue
		}
		patience = leastPatience
		g.mu.Lock()
		g.queue = append(g.queue[:i], g.queue[i+1:]...)
		if !g.spoilt {
			g.acked[f.seq] = time.Now()
		}
		g.mu.Unlock()
	}
}

// play goes through one schedule and says what did not hold.
func play(dir string, seed uint64) (done string, broken []string) {
	rng := rand.New(rand.NewPCG(seed, 0x6b657374))
	bad := func(format string, args ...any) { broken = append(broken, fmt.Sprintf(format, args...)) }
	if err := os.WriteFile(filepath.Join(dir, "yard.yaml"), []byte(yard), 0o600); err != nil {
		return "", []string{err.Error()}
	}
	wire, err := faults.NewWire()
	if err != nil {
		return "", []string{err.Error()}
	}
	defer wire.Close()
	s := &site{dir: dir, wire: wire}
	if err := s.start(); err != nil {
		return "", []string{err.Error()}
	}
	defer s.kill()
	g := &gateway{address: wire.Address(), rng: rand.New(rand.NewPCG(seed, 2)), acked: map[int]time.Time{}}

	stopMaking, stopSending, stopWork := make(chan struct{}), make(chan struct{}), make(chan struct{})
	var making, sending, work sync.WaitGroup
	making.Go(func() {
		tick := time.NewTicker(50 * time.Millisecond)
		defer tick.Stop()
		for {
			select {
			case <-stopMaking:
				return
			case now := <-tick.C:
				g.make(now)
			}
		}
	})
	sending.Go(func() { g.send(stopSending) })
	// How far off a gateway's clock is, and how long its way, is known once it
	// has been heard in quiet.
	for end := time.Now().Add(20 * time.Second); !g.level() && time.Now().Before(end); {
		time.Sleep(20 * time.Millisecond)
	}
	time.Sleep(600 * time.Millisecond)
	look := &onlooker{site: s, gateway: g}
	work.Go(func() { look.watch(stopWork) })
	clerk := &clerk{site: s}
	work.Go(func() { clerk.write(stopWork) })

	// The faults, one after the other, with sound stretches between.
	var told []string
	overs := 0
	for range 3 + rng.IntN(4) {
		d := time.Duration(100+rng.IntN(1400)) * time.Millisecond
		what := ""
		switch rng.IntN(9) {
		case 0:
			what = "cut"
			wire.Cut()
		case 1:
			what = fmt.Sprintf("no link for %v", d)
			wire.Suffer(faults.Trouble{Refuse: true})
			wire.Cut()
			time.Sleep(d)
			wire.Suffer(faults.Trouble{})
		case 2:
			what = fmt.Sprintf("silent for %v, then cut", d)
			wire.Suffer(faults.Trouble{Silent: true})
			time.Sleep(d)
			wire.Cut()
			wire.Suffer(faults.Trouble{})
		case 3:
			delay := time.Duration(rng.IntN(150)) * time.Millisecond
			what = fmt.Sprintf("%v late for %v", delay, d)
			wire.Suffer(faults.Trouble{Delay: delay})
			time.Sleep(d)
			wire.Suffer(faults.Trouble{})
		case 4:
			what = fmt.Sprintf("spoilt bytes for %v", d)
			g.spoil(true)
			wire.Suffer(faults.Trouble{Spoil: 0.3})
			time.Sleep(d)
			wire.Suffer(faults.Trouble{})
			wire.Cut()
			time.Sleep(450 * time.Millisecond) // until the last that was on the way is given up
			g.spoil(false)
		case 5, 6:
			torn := rng.IntN(2) == 0
			what = fmt.Sprintf("killed, torn %v, down for %v", torn, d/2)
			s.kill()
			if torn {
				if err := s.tear(rng); err != nil {
					return "", []string{err.Error()}
				}
			}
			time.Sleep(d / 2)
			if err := s.start(); err != nil {
				return strings.Join(append(told, what), "; "), append(broken, err.Error())
			}
		case 7:
			what = fmt.Sprintf("hangs for %v", d)
			s.hang(d)
		case 8:
			off := []time.Duration{-time.Hour, -3 * time.Second, 2 * time.Second, 26 * time.Hour}[rng.IntN(4)]
			what = fmt.Sprintf("the gateway's clock jumps to %v", off)
			g.mu.Lock()
			g.clock, g.jumped = off, true
			g.mu.Unlock()
		}
		told = append(told, what)
		if overs == 0 && rng.IntN(3) == 0 {
			told, overs = append(told, "overload"), overs+1
			g.mu.Lock()
			g.over = 8
			g.mu.Unlock()
		}
		time.Sleep(time.Duration(rng.IntN(500)) * time.Millisecond)
	}
	if overs == 0 {
		told = append(told, "overload")
		g.mu.Lock()
		g.over = 8
		g.mu.Unlock()
		time.Sleep(500 * time.Millisecond)
	}
	done = strings.Join(told, "; ")
	close(stopMaking)
	making.Wait()
	close(stopSending)
	sent := make(chan struct{})
	go func() { sending.Wait(); close(sent) }()
	select {
	case <-sent:
	case <-time.After(30 * time.Second):
		bad("with the wire sound again, frames are still not acknowledged")
		return done, broken
	}
	// An overload that was acknowledged is a stop, and stays one.
	stop, heard := false, g.heard()
	for end := time.Now().Add(3 * time.Second); heard && !stop && time.Now().Before(end); time.Sleep(50 * time.Millisecond) {
		v, err := look.view()
		stop = err == nil && v.State == "STOP"
	}
	if heard && !stop {
		bad("the overload was acknowledged and is no stop")
	}
	close(stopWork)
	work.Wait()
	broken = append(broken, look.broken...)
	broken = append(broken, clerk.check()...)
	s.kill()
	// Once more, so that what was stored and not recorded is taken up.
	if err := s.start(); err != nil {
		return done, append(broken, err.Error())
	}
	if v, err := look.view(); heard && (err != nil || v.State != "STOP") {
		bad("after the last kill the stop no longer stands: %v", err)
	}
	for end := time.Now().Add(10 * time.Second); ; time.Sleep(100 * time.Millisecond) {
		var h contract.Health
		if err := get(s, "/api/status", &h); err == nil && h.Ready || time.Now().After(end) {
			break
		}
	}
	time.Sleep(300 * time.Millisecond)
	s.kill()
	return done, append(broken, recorded(dir, g)...)
}

// recorded holds the recording against what the gateway had acknowledged: each
// frame is there, once, with its own values.
func recorded(dir string, g *gateway) (broken []string) {
	r, err := record.NewReader(filepath.Join(dir, "record"))
	if err != nil {
		return []string{err.Error()}
	}
	got := map[int]int{}
	var order reading.Order
	for en, err := range r.From(0) {
		if err != nil {
			return append(broken, "the recording: "+err.Error())
		}
		if en.Kind != logbook.Frame {
			continue
		}
		for i := range en.Frame.Readings {
			x := en.Frame.Readings[i]
			if x.Channel != "W" {
				continue
			}
			seq := int(x.Seq)
			if x.Marks&reading.Numbered == 0 && g.marred {
				continue // the word seq was spoilt
			}
			if seq < 1 || seq > len(g.made) {
				broken = append(broken, fmt.Sprintf("a reading numbered %d was never made", seq))
				continue
			}
			want := float64(idle + seq)
			if g.made[seq-1].over {
				want = float64(above + seq)
			}
			if math.Abs(x.Value-want) > 1e-6 {
				broken = append(broken, fmt.Sprintf("frame %d was %g N and is recorded as %g N", seq, want, x.Value))
			}
			if order.Next(&x).Turn != reading.Duplicate {
				got[seq]++
			}
		}
	}
	lost, twice := 0, 0
	for seq := range g.acked {
		if got[seq] == 0 {
			lost++
		}
	}
	for _, n := range got {
		if n > 1 {
			twice++
		}
	}
	if lost > 0 || twice > 0 || len(g.acked) == 0 {
		broken = append(broken, fmt.Sprintf("of %d acknowledged frames %d are lost, %d count twice", len(g.acked), lost, twice))
	}
	return broken
}

func get(s *site, path string, v any) error {
	url, _ := s.at()
	if url == "" {
		return io.ErrClosedPipe
	}
	c := http.Client{Timeout: time.Second}
	w, err := c.Get(url + path)
	if err != nil {
		return err
	}
	defer w.Body.Close()
	if w.StatusCode != http.StatusOK {
		return fmt.Errorf("%s: %s", path, w.Status)
	}
	return json.NewDecoder(w.Body).Decode(v)
}

// An onlooker reads the screen ten times a second.
type onlooker struct {
	site    *site
	gateway *gateway
	broken  []string
}

func (o *onlooker) view() (v contract.Watch, err error) { return v, get(o.site, "/api/watch", &v) }

func (o *onlooker) watch(stop <-chan struct{}) {
	for {
		select {
		case <-stop:
			return
		case <-time.After(100 * time.Millisecond):
		}
		asked := time.Now()
		v, err := o.view()
		if err == nil {
			o.judge(&v, asked)
		}
	}
}

// fresh is how old a reading may be that the screen still calls good: what the
// watch allows a channel at twenty readings a second, and a second for the
// machines the tests run on.
const fresh = 1600 * time.Millisecond

func (o *onlooker) judge(v *contract.Watch, asked time.Time) {
	g := o.gateway
	g.mu.Lock()
	defer g.mu.Unlock()
	for _, c := range v.Cells {
		if c.Quality != "good" || c.ReadN == nil {
			continue
		}
		n := int(math.Round(*c.ReadN))
		seq, over := n-idle, n >= above
		if over {
			seq = n - above
		}
		switch {
		case seq < 1 || seq > len(g.made) || g.made[seq-1].over != over || math.Abs(*c.ReadN-float64(n)) > 1e-6:
			o.broken = append(o.broken, fmt.Sprintf("%s shows %g N, which was never sent", c.Channel, *c.ReadN))
		case !g.jumped && !g.spoilt && time.Since(g.spoiled) > 2*time.Second && // its time may be what was spoilt
			asked.Sub(g.made[seq-1].made) > fresh:
			o.broken = append(o.broken, fmt.Sprintf("%s shows frame %d as good, %v after it was made", c.Channel, seq, asked.Sub(g.made[seq-1].made).Round(time.Millisecond)))
		}
	}
	began := false
	for _, f := range g.made {
		began = began || f.over
	}
	for _, a := range v.Alarms {
		if a.Severity == "stop" && a.Kind != "lost" && !began {
			o.broken = append(o.broken, fmt.Sprintf("a stop that nothing gave reason for: %s", a.Text))
		}
	}
}

// A clerk writes lifts into the app and remembers which were accepted.
type clerk struct {
	site    *site
	tried   int
	written []string
}

func (c *clerk) write(stop <-chan struct{}) {
	for {
		select {
		case <-stop:
			return
		case <-time.After(150 * time.Millisecond):
		}
		url, _ := c.site.at()
		if url == "" {
			continue
		}
		c.tried++
		title := fmt.Sprintf("Draft %d", c.tried)
		body, _ := json.Marshal(map[string]string{"text": "plumbhook: 1\ntitle: " + title + "\n"})
		hc := http.Client{Timeout: time.Second}
		w, err := hc.Post(url+"/api/lifts", "application/json", bytes.NewReader(body))
		if err != nil {
			continue
		}
		var l struct {
			ID string `json:"id"`
		}
		err = json.NewDecoder(w.Body).Decode(&l)
		w.Body.Close()
		if err == nil && w.StatusCode == http.StatusOK && l.ID != "" {
			c.written = append(c.written, l.ID)
		}
	}
}

// check asks for every lift that was accepted.
func (c *clerk) check() (broken []string) {
	lost := 0
	for _, id := range c.written {
		var l map[string]any
		if err := get(c.site, "/api/lifts/"+id, &l); err != nil {
			lost++
		}
	}
	if lost > 0 || len(c.written) == 0 {
		broken = append(broken, fmt.Sprintf("of %d accepted lifts %d are lost", len(c.written), lost))
	}
	return broken
}

// Whatever happens to wire, process, clock and the ends of files: what was
// acknowledged is recorded once and with its own values, an overload is a stop
// for as long as nobody clears it, no stop comes of a fault, and no number is
// called good that was never sent or is old.
func TestSchedules(t *testing.T) {
	testkit.Alone(t)
	slots := make(chan struct{}, *abreast)
	var all sync.WaitGroup
	for i := range *schedules {
		seed := *firstSeed + uint64(i)
		slots <- struct{}{}
		all.Go(func() {
			defer func() { <-slots }()
			dir, err := os.MkdirTemp("", "faults")
			if err != nil {
				t.Error(err)
				return
			}
			done, broken := play(dir, seed)
			if len(broken) == 0 || !*keep {
				os.RemoveAll(dir)
			}
			t.Logf("seed %d: %s", seed, done)
			if len(broken) > 0 {
				t.Errorf("seed %d: %s", seed, strings.Join(broken[:min(len(broken), 6)], "\n\t"))
			}
		})
	}
	all.Wait()
}
