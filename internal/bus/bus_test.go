package bus

import (
	"bufio"
	"context"
	"encoding/binary"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"net"
	"os"
	"os/exec"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	mqtt "github.com/eclipse/paho.mqtt.golang"
	"github.com/nats-io/nats-server/v2/server"
	"golang.org/x/crypto/bcrypt"
	"pgregory.net/rapid"

	"plumbhook/fault"
)

const wait5 = 20 * time.Second // far beyond what anything here takes

// box collects messages.
type box struct {
	mu  sync.Mutex
	got []Message
}

func (x *box) put(m Message) {
	x.mu.Lock()
	defer x.mu.Unlock()
	m.Payload = append([]byte(nil), m.Payload...)
	x.got = append(x.got, m)
}

func (x *box) all() []Message {
	x.mu.Lock()
	defer x.mu.Unlock()
	return append([]Message(nil), x.got...)
}

// until waits for n messages.
func (x *box) until(t testing.TB, n int) []Message {
	t.Helper()
	eventually(t, fmt.Sprintf("%d messages", n), func() bool { return len(x.all()) >= n })
	return x.all()
}

func eventually(t testing.TB, what string, ok func() bool) {
	t.Helper()
	for end := time.Now().Add(wait5); !ok(); time.Sleep(2 * time.Millisecond) {
		if time.Now().After(end) {
			t.Fatalf("waited in vain for %s", what)
		}
	}
}

func open(t testing.TB, opt Options) *Bus {
	t.Helper()
	if opt.Dir == "" && opt.External == nil {
		opt.Dir = t.TempDir()
	}
	if opt.Listen == "" {
		opt.Listen = "127.0.0.1:0"
	}
	b, err := Open(context.Background(), opt)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { b.Close() })
	return b
}

var pump = Gateway{Name: "pump-house", Password: "a long one"}

func options(addr, user, password string) *mqtt.ClientOptions {
	return mqtt.NewClientOptions().AddBroker("tcp://" + addr).SetClientID("of-" + strings.ReplaceAll(user, ".", "")).SetProtocolVersion(4).
		SetUsername(user).SetPassword(password).SetConnectTimeout(wait5).
		SetAutoReconnect(false).SetConnectRetry(false)
}

func join(t testing.TB, o *mqtt.ClientOptions) mqtt.Client {
	t.Helper()
	c := mqtt.NewClient(o)
	if tok := c.Connect(); !tok.WaitTimeout(wait5) || tok.Error() != nil {
		t.Fatalf("connect: %v", tok.Error())
	}
	t.Cleanup(func() { c.Disconnect(0) })
	return c
}

func send(t testing.TB, c mqtt.Client, topic string, qos byte, payload string) {
	t.Helper()
	if tok := c.Publish(topic, qos, false, payload); !tok.WaitTimeout(wait5) || tok.Error() != nil {
		t.Fatalf("publish to %s: %v", topic, tok.Error())
	}
}

// follow collects a stream until the test ends.
func follow(t testing.TB, b *Bus, s Stream, from Place) *box {
	t.Helper()
	x := &box{}
	ctx, cancel := context.WithCancel(context.Background())
	done := make(chan struct{})
	go func() {
		defer close(done)
		if err := b.Follow(ctx, s, from, x.put); err != nil {
			t.Error(err)
		}
	}()
	t.Cleanup(func() { cancel(); <-done })
	return x
}

// TestBothWays sends one message of each QoS and of each kind of topic, and one
// that did not come over MQTT. Every one comes the live way and is stored once.
func TestBothWays(t *testing.T) {
	live := &box{}
	b := open(t, Options{Gateways: []Gateway{pump}, Live: live.put})
	kept := follow(t, b, Readings, Place{})
	c := join(t, options(b.Address(), pump.Name, pump.Password))

	topics := []string{
		"tele/pump-house/west", "tele/pump-house", "tele/pump-house/a.b//c", "tele/pump-house/",
		"spBv1.0/site/NBIRTH/pump-house", "spBv1.0/site/DDATA/pump-house/leg",
	}
	n := 0
	for _, topic := range topics {
		for qos := range byte(3) {
			n++
			send(t, c, topic, qos, fmt.Sprintf("%s %d", topic, qos))
		}
	}
	// With retain the listener keeps a copy for those who subscribe later; it
	// is a message like any other all the same.
	n++
	if tok := c.Publish("tele/pump-house/kept", 1, true, "retained"); !tok.WaitTimeout(wait5) || tok.Error() != nil {
		t.Fatal(tok.Error())
	}

	got := map[string]int{}
	for _, m := range live.until(t, n) {
		got[m.Topic+"|"+string(m.Payload)]++
		if m.Gateway != pump.Name || m.Sequence != 0 || m.Arrived == 0 {
			t.Errorf("live: %+v", m)
		}
	}
	if len(got) != n || len(live.all()) != n {
		t.Errorf("live: %d different of %d messages, sent %d", len(got), len(live.all()), n)
	}
	if _, err := b.Put(context.Background(), Message{Gateway: "modbus 1", Payload: []byte{1}}); err == nil {
		t.Fatal("a source with a space was taken")
	}
	eventually(t, "all to be stored", func() bool { return b.Health(context.Background()).Last == uint64(n) })
	if seq, err := b.Put(context.Background(), Message{Gateway: "modbus.1", Topic: "poll", Payload: []byte{1, 0, 2}, Arrived: 17}); err != nil || seq != uint64(n+1) {
		t.Fatalf("put: sequence %d, %v; want %d", seq, err, n+1)
	}
	all := kept.until(t, n+1)
	for i, m := range all {
		if m.Sequence != uint64(i+1) {
			t.Errorf("message %d has sequence %d", i, m.Sequence)
		}
	}
	if m := all[n]; m.Gateway != "modbus.1" || m.Topic != "poll" || string(m.Payload) != "\x01\x00\x02" || m.Arrived != 17 {
		t.Errorf("put, then stored as %+v", m)
	}
	for _, m := range all[:n] {
		got[m.Topic+"|"+string(m.Payload)]++
		if m.Gateway != pump.Name || m.Arrived == 0 {
			t.Errorf("stored: %+v", m)
		}
	}
	for k, times := range got {
		if times != 2 {
			t.Errorf("%s came %d times on both ways together, want 2", k, times)
		}
	}
	h := b.Health(context.Background())
	if h.Unkept != 0 || h.Dropped != 0 || h.Denied != 0 || h.Stalled || h.Broken != "" || h.Trouble != "" || h.Free <= 0 {
		t.Errorf("health: %+v", h)
	}
}

// TestPlace comes back to a stream after a restart with the place it had got to.
func TestPlace(t *testing.T) {
	dir := t.TempDir()
	ctx := context.Background()
	b := open(t, Options{Dir: dir})
	for i := range 5 {
		if _, err := b.Publish(ctx, "alarm", []byte{byte(i)}); err != nil {
			t.Fatal(err)
		}
	}
	at := Place{b.Born(Events), 3}
	b.Close()

	b = open(t, Options{Dir: dir})
	if b.Born(Events) != at.Born {
		t.Errorf("the stream is born again")
	}
	x := follow(t, b, Events, at)
	if _, err := b.Publish(ctx, "alarm", []byte{5}); err != nil {
		t.Fatal(err)
	}
	for i, m := range x.until(t, 3) {
		if m.Sequence != uint64(i+4) || m.Payload[0] != byte(i+3) || m.Topic != "alarm" {
			t.Errorf("got %+v in place %d", m, i)
		}
	}
	for _, p := range []Place{{at.Born, 7}, {at.Born + 1, 3}} {
		var f *fault.Fault
		if err := b.Follow(ctx, Events, p, func(Message) {}); !errors.As(err, &f) || f.Code != fault.Disagree {
			t.Errorf("place %+v: %v, want it refused", p, err)
		}
	}
}

// TestRights: nobody without a password gets in, and nobody out of his own
// topics. MQTT acknowledges what is denied, so only Health can tell.
func TestRights(t *testing.T) {
	live := &box{}
	secret, err := bcrypt.GenerateFromPassword([]byte("of the crane"), bcrypt.MinCost)
	if err != nil {
		t.Fatal(err)
	}
	hash := Gateway{"crane.2", string(secret)}
	b := open(t, Options{Gateways: []Gateway{pump, hash}, Live: live.put})

	for _, u := range [][2]string{
		{"", ""},
		{pump.Name, ""},
		{pump.Name, "of the crane"},
		{"nobody", pump.Password},
		{adminUser, b.admin},
		{hash.Name, hash.Password},
	} {
		o := options(b.Address(), u[0], u[1]).SetClientID("x")
		c := mqtt.NewClient(o)
		if tok := c.Connect(); !tok.WaitTimeout(wait5) || tok.Error() == nil {
			t.Errorf("%q with password %q got in", u[0], u[1])
		}
	}

	will := options(b.Address(), pump.Name, pump.Password).SetWill("tele/pump-house/gone", "gone", 1, false)
	c := join(t, will)
	crane := join(t, options(b.Address(), hash.Name, "of the crane"))
	denied := []string{
		"tele/crane.2/west", "tele/pump-house-2/west", "other/pump-house", "tele",
		"spBv1.0/site/NDATA/crane.2", "spBv1.0/site/NCMD/pump-house", "spBv1.0/STATE/host",
		"$MQTT/msgs/tele/pump-house", "raw/pump-house", "events/alarm", "$JS/API/STREAM/PURGE/readings",
	}
	for _, topic := range denied {
		send(t, c, topic, 1, "denied")
	}
	send(t, crane, "tele/crane.2/west", 1, "mine")
	send(t, c, "tele/pump-house/west", 1, "mine")
	live.until(t, 2)
	h := b.Health(context.Background())
	if len(live.all()) != 2 || h.Last != 2 {
		t.Errorf("live %v, %d stored; want the two allowed", live.all(), h.Last)
	}
	if h.Refused != 6 || !strings.Contains(h.LastRefused, "crane.2") {
		t.Errorf("refused %d (%s), want the six", h.Refused, h.LastRefused)
	}
	if h.Denied != uint64(len(denied)) || !strings.Contains(h.LastDenied, "PURGE") {
		t.Errorf("denied %d (%s), want %d", h.Denied, h.LastDenied, len(denied))
	}
	for _, topic := range []string{"#", "tele/#", "tele/crane.2/west", "$MQTT/#", "spBv1.0/#"} {
		tok := c.Subscribe(topic, 0, nil)
		if tok.WaitTimeout(wait5); tok.Error() == nil && tok.(*mqtt.SubscribeToken).Result()[topic] != 0x80 {
			t.Errorf("subscribed to %s", topic)
		}
	}

	g := h.Gateways
	if len(g) != 2 || g[0].Name != pump.Name || !g[0].Connected || g[0].Since == 0 || g[0].Address == "" || !g[1].Connected {
		t.Errorf("gateways: %+v", g)
	}
	// Cut the wire: the will arrives, and Health knows when.
	before := now()
	cut(t, b, pump.Name)
	if m := live.until(t, 3)[2]; m.Topic != "tele/pump-house/gone" {
		t.Errorf("got %+v, want the will", m)
	}
	eventually(t, "the gateway to be gone", func() bool {
		g = b.Health(context.Background()).Gateways
		return !g[0].Connected
	})
	if g[0].Since < before || g[0].Why == "" || !g[1].Connected {
		t.Errorf("gateways: %+v", g)
	}
	// A gateway that is not admitted any more is put out, the other is not.
	c = join(t, options(b.Address(), pump.Name, pump.Password))
	if err := b.Admit([]Gateway{pump}); err != nil {
		t.Fatal(err)
	}
	eventually(t, "the crane to be put out", func() bool { return !crane.IsConnectionOpen() })
	send(t, c, "tele/pump-house/west", 1, "still here")
	live.until(t, 4)
}

// cut closes a gateway's connection without a word to it.
func cut(t *testing.T, b *Bus, gateway string) {
	t.Helper()
	c, err := b.server.Connz(&server.ConnzOptions{Username: true})
	if err != nil {
		t.Fatal(err)
	}
	for _, i := range c.Conns {
		if i.AuthorizedUser == gateway+b.inside {
			if err := b.server.DisconnectClientByID(i.Cid); err != nil {
				t.Fatal(err)
			}
		}
	}
}

// TestCommand: an edge node hears what is meant for it.
func TestCommand(t *testing.T) {
	b := open(t, Options{Gateways: []Gateway{pump}})
	for qos := range byte(2) {
		c := join(t, options(b.Address(), pump.Name, pump.Password).SetClientID(fmt.Sprint(qos)))
		heard := make(chan string, 9)
		tok := c.Subscribe("spBv1.0/site/NCMD/pump-house/#", qos, func(_ mqtt.Client, m mqtt.Message) {
			heard <- m.Topic() + " " + string(m.Payload())
		})
		if !tok.WaitTimeout(wait5) || tok.Error() != nil {
			t.Fatal(tok.Error())
		}
		if err := b.Command("spBv1.0/site/NCMD/pump-house", []byte("again")); err != nil {
			t.Fatal(err)
		}
		select {
		case s := <-heard:
			if s != "spBv1.0/site/NCMD/pump-house again" {
				t.Error(s)
			}
		case <-time.After(wait5):
			t.Fatal("not heard")
		}
		c.Disconnect(0)
	}
}

// TestRetention: the stream keeps its size, and the jump of the sequence shows.
func TestRetention(t *testing.T) {
	b := open(t, Options{Readings: Retention{Bytes: 64 << 10}})
	ctx := context.Background()
	for range 100 {
		if _, err := b.Put(ctx, Message{Gateway: "g", Payload: make([]byte, 1<<10)}); err != nil {
			t.Fatal(err)
		}
	}
	h := b.Health(ctx)
	if h.Bytes > 64<<10 || h.First < 30 || h.Last != 100 {
		t.Errorf("health: %+v", h)
	}
	if m := follow(t, b, Readings, Place{}).until(t, 1)[0]; m.Sequence != h.First {
		t.Errorf("first sequence %d, want %d", m.Sequence, h.First)
	}
}

// TestExternal runs against a NATS server of its own with its own MQTT listener,
// which has made the engine's streams before we come.
func TestExternal(t *testing.T) {
	s, err := server.NewServer(&server.Options{
		ServerName: "outside", Host: "127.0.0.1", Port: server.RANDOM_PORT, NoSigs: true, NoLog: true,
		JetStream: true, StoreDir: t.TempDir(), SyncAlways: true,
		MQTT:  server.MQTTOpts{Host: "127.0.0.1", Port: server.RANDOM_PORT},
		Users: []*server.User{{Username: "site", Password: "secret"}},
	})
	if err != nil {
		t.Fatal(err)
	}
	s.Start()
	defer s.Shutdown()
	if !s.ReadyForConnections(wait5) {
		t.Fatal("the server does not start")
	}
	v, err := s.Varz(nil)
	if err != nil {
		t.Fatal(err)
	}
	c := join(t, options(net.JoinHostPort("127.0.0.1", fmt.Sprint(v.MQTT.Port)), "site", "secret"))
	send(t, c, "tele/pump-house/early", 1, "before there is anybody to keep it")

	live := &box{}
	if _, err := Open(context.Background(), Options{External: &External{URL: s.ClientURL(), User: "site", Password: "wrong"}}); err == nil {
		t.Fatal("got in with a wrong password")
	}
	b := open(t, Options{External: &External{URL: s.ClientURL(), User: "site", Password: "secret"}, Live: live.put})
	kept := follow(t, b, Readings, Place{})
	for qos := range byte(3) {
		send(t, c, "tele/pump-house/west", qos, fmt.Sprint(qos))
	}
	live.until(t, 3)
	got := map[string]bool{}
	for _, m := range kept.until(t, 3) {
		got[m.Gateway+string(m.Payload)] = true
	}
	if len(got) != 3 || !got["pump-house0"] || !got["pump-house1"] || !got["pump-house2"] {
		t.Errorf("kept %v", got)
	}
	if b.Admit([]Gateway{pump}) == nil {
		t.Error("a server outside was given a gateway")
	}
}

// TestOpenRefuses lists what must not open.
func TestOpenRefuses(t *testing.T) {
	busy, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer busy.Close()
	for _, c := range []struct {
		name string
		opt  Options
		code fault.Code
	}{
		{"no folder", Options{}, fault.Missing},
		{"address", Options{Dir: t.TempDir(), Listen: "1883"}, fault.Syntax},
		{"no host", Options{Dir: t.TempDir(), Listen: ":1883"}, fault.Syntax},
		{"address in use", Options{Dir: t.TempDir(), Listen: busy.Addr().String()}, fault.Path},
		{"no password", Options{Dir: t.TempDir(), Gateways: []Gateway{{Name: "a"}}}, fault.Missing},
		{"name", Options{Dir: t.TempDir(), Gateways: []Gateway{{"a/#", "x"}}}, fault.Syntax},
		{"our name", Options{Dir: t.TempDir(), Gateways: []Gateway{{adminUser, "x"}}}, fault.Syntax},
		{"twice", Options{Dir: t.TempDir(), Gateways: []Gateway{{"a", "x"}, {"a", "y"}}}, fault.Duplicate},
		{"retention", Options{Dir: t.TempDir(), Events: Retention{Bytes: -1}}, fault.Range},
	} {
		t.Run(c.name, func(t *testing.T) {
			b, err := Open(context.Background(), c.opt)
			if err == nil {
				b.Close()
				t.Fatal("opened")
			}
			if f := fault.Of(err); f[0].Code != c.code {
				t.Errorf("%s (%v), want %s", f[0].Code, err, c.code)
			}
		})
	}
}

// TestMosquitto publishes with the client that Debian ships.
func TestMosquitto(t *testing.T) {
	client, err := exec.LookPath("mosquitto_pub")
	if err != nil {
		t.Skip("mosquitto_pub is not installed (Debian: mosquitto-clients)")
	}
	live := &box{}
	b := open(t, Options{Gateways: []Gateway{pump}, Live: live.put})
	host, port, _ := net.SplitHostPort(b.Address())
	for _, qos := range []string{"0", "1", "2"} {
		out, err := exec.Command(client, "-h", host, "-p", port, "-u", pump.Name, "-P", pump.Password,
			"-q", qos, "-t", "tele/pump-house/west", "-m", "12.5 "+qos).CombinedOutput()
		if err != nil {
			t.Fatalf("%v: %s", err, out)
		}
	}
	for i, m := range live.until(t, 3) {
		if string(m.Payload) != fmt.Sprint("12.5 ", i) {
			t.Errorf("got %+v", m)
		}
	}
	eventually(t, "all to be stored", func() bool { return b.Health(context.Background()).Last == 3 })
}

// TestPackets speaks MQTT byte by byte: what must be refused ends the connection
// and nothing else, what is legal however oddly cut is heard.
func TestPackets(t *testing.T) {
	live := &box{}
	b := open(t, Options{Gateways: []Gateway{pump}, Live: live.put})
	file, err := os.Open("testdata/mqtt_packets.txt")
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	heard, n := 0, 0
	for in := bufio.NewScanner(file); in.Scan(); {
		if in.Text() == "" || in.Text()[0] == '#' {
			continue
		}
		n++
		want, packet, _ := strings.Cut(in.Text(), " ")
		c := wire(t, b.Address(), pump)
		closed := make(chan bool, 1)
		go func() {
			_, err := io.Copy(io.Discard, c)
			closed <- err == nil || !errors.Is(err, os.ErrDeadlineExceeded)
		}()
		for _, part := range strings.Split(packet, "|") {
			raw, err := hex.DecodeString(strings.ReplaceAll(part, " ", ""))
			if err != nil {
				t.Fatal(err)
			}
			if _, err := c.Write(raw); err != nil {
				t.Fatal(err)
			}
			time.Sleep(time.Millisecond)
		}
		switch want {
		case "heard":
			heard++
			m := live.until(t, heard)[heard-1]
			if m.Topic != "tele/pump-house" || string(m.Payload) != "test" {
				t.Errorf("%s: heard %+v", packet, m)
			}
		case "closed":
			if err := c.SetReadDeadline(time.Now().Add(wait5)); err != nil {
				t.Fatal(err)
			}
			if !<-closed {
				t.Errorf("%s: not refused", packet)
			}
		}
	}
	if n != 10 || len(live.all()) != heard {
		t.Errorf("%d packets, %d heard, want 10 and %d", n, len(live.all()), heard)
	}
}

var wires atomic.Int64

// wire is an MQTT 3.1.1 connection by hand.
func wire(b testing.TB, addr string, g Gateway) net.Conn {
	b.Helper()
	c, err := net.Dial("tcp", addr)
	if err != nil {
		b.Fatal(err)
	}
	b.Cleanup(func() { c.Close() })
	body := []byte("\x00\x04MQTT\x04\xc2\x00\x00")
	for _, s := range []string{fmt.Sprint("wire-", wires.Add(1)), g.Name, g.Password} {
		body = append(binary.BigEndian.AppendUint16(body, uint16(len(s))), s...)
	}
	if _, err := c.Write(append([]byte{0x10, byte(len(body))}, body...)); err != nil {
		b.Fatal(err)
	}
	var ack [4]byte
	if _, err := io.ReadFull(c, ack[:]); err != nil || ack[3] != 0 {
		b.Fatal(ack, err)
	}
	return c
}

// TestTopics goes there and back, and by way of the listener in TestBothWays.
func TestTopics(t *testing.T) {
	for topic, subject := range map[string]string{
		"spBv1.0/a/NDATA/b": "spBv1//0.a.NDATA.b",
		"a//b":              "a./.b",
		"/a/":               "/.a./",
		"a..b/c":            "a////b.c",
	} {
		if got, err := subjectOf(topic); err != nil || got != subject {
			t.Errorf("%s gives %s, %v; want %s", topic, got, err, subject)
		}
	}
	rapid.Check(t, func(t *rapid.T) {
		topic := rapid.StringMatching(`[a-c/.]{1,12}`).Draw(t, "topic")
		s, err := subjectOf(topic)
		if err != nil || topicOf(s) != topic {
			t.Fatalf("%q gives %q, back %q, %v", topic, s, topicOf(s), err)
		}
	})
}
