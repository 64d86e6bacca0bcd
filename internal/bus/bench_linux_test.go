package bus

import (
	"context"
	"encoding/binary"
	"fmt"
	"io"
	"net"
	"path/filepath"
	"runtime"
	"slices"
	"strconv"
	"sync"
	"testing"
	"time"

	mqtt "github.com/eclipse/paho.mqtt.golang"
	"github.com/nats-io/nats-server/v2/server"
	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"
)

// payload is a frame of ten samples of one channel, as JSON.
var payload = []byte(`{"t":1785067200.10,"dt":0.01,"unit":"kN","seq":1234560,"v":[12.031,12.035,12.029,12.044,12.051,12.048,12.039,12.033,12.040,12.046]}`)

// pour publishes n messages with QoS 1 over as many connections as there are
// gateways, each with so many in the air, and gives the rate.
func pour(b *testing.B, addr string, gateways []Gateway, n, window int) float64 {
	b.Helper()
	clients := make([]mqtt.Client, len(gateways))
	for i, g := range gateways {
		clients[i] = join(b, options(addr, g.Name, g.Password))
	}
	start := time.Now()
	var all sync.WaitGroup
	for i, c := range clients {
		all.Go(func() {
			topic := "tele/" + gateways[i].Name + "/w"
			var air []mqtt.Token
			for range n / len(clients) {
				if len(air) == window {
					air[0].Wait()
					air = air[1:]
				}
				air = append(air, c.Publish(topic, 1, false, payload))
			}
			for _, tok := range air {
				if tok.Wait(); tok.Error() != nil {
					b.Error(tok.Error())
				}
			}
		})
	}
	all.Wait()
	rate := float64(n) / time.Since(start).Seconds()
	for _, c := range clients {
		c.Disconnect(0)
	}
	return rate
}

// BenchmarkDurable compares the intake with all that hangs on it (the live way,
// the watch on the disk, a recorder that follows and syncs a file of its own)
// with the engine's listener alone: its own store, nobody reading, synced as
// ours is.
func BenchmarkDurable(b *testing.B) {
	gateways := []Gateway{{"a", "a"}, {"b", "b"}, {"c", "c"}, {"d", "d"}}
	n := 4000
	var ours, engine float64
	for range b.N {
		engine += pour(b, engineAlone(b, gateways), gateways, n, 64)

		dir := b.TempDir()
		bus := open(b, Options{Dir: dir, Gateways: gateways, Live: func(Message) {}})
		rec, _, err := openRecorder(filepath.Join(dir, "recorded"))
		if err != nil {
			b.Fatal(err)
		}
		ctx, cancel := context.WithCancel(context.Background())
		done := make(chan error, 1)
		go func() { done <- bus.Follow(ctx, Readings, Place{}, rec.take) }()
		ours += pour(b, bus.Address(), gateways, n, 64)
		eventually(b, "the recorder to catch up", func() bool { return bus.Health(ctx).Behind == 0 })
		cancel()
		if err := <-done; err != nil {
			b.Fatal(err)
		}
		if err := rec.close(); err != nil {
			b.Fatal(err)
		}
		if h := bus.Health(context.Background()); h.Last != uint64(n) || h.Unkept != 0 {
			b.Fatalf("health: %+v", h)
		}
		bus.Close()
	}
	b.ReportMetric(ours/float64(b.N), "msg/s")
	b.ReportMetric(engine/float64(b.N), "engine-msg/s")
	b.ReportMetric(ours/engine, "bus/engine")
}

// engineAlone is a server whose MQTT store keeps what it gets.
func engineAlone(b *testing.B, gateways []Gateway) string {
	b.Helper()
	o := &server.Options{
		ServerName: "alone", DontListen: true, NoSigs: true, NoLog: true,
		JetStream: true, StoreDir: b.TempDir(), SyncAlways: true,
		MQTT: server.MQTTOpts{Host: "127.0.0.1", Port: server.RANDOM_PORT},
	}
	for _, g := range gateways {
		o.Users = append(o.Users, &server.User{Username: g.Name, Password: g.Password})
	}
	s, err := server.NewServer(o)
	if err != nil {
		b.Fatal(err)
	}
	s.Start()
	b.Cleanup(func() { s.Shutdown(); s.WaitForShutdown() })
	if !s.ReadyForConnections(wait5) {
		b.Fatal("the server does not start")
	}
	nc, err := nats.Connect("", nats.InProcessServer(s), nats.UserInfo(gateways[0].Name, gateways[0].Password))
	if err != nil {
		b.Fatal(err)
	}
	b.Cleanup(nc.Close)
	js, err := jetstream.New(nc)
	if err != nil {
		b.Fatal(err)
	}
	if _, err := js.CreateStream(context.Background(), jetstream.StreamConfig{
		Name: "$MQTT_msgs", Subjects: []string{"$MQTT.msgs.>"}, Storage: jetstream.FileStorage, MaxBytes: 16 << 30,
	}); err != nil {
		b.Fatal(err)
	}
	v, err := s.Varz(nil)
	if err != nil {
		b.Fatal(err)
	}
	return net.JoinHostPort("127.0.0.1", strconv.Itoa(v.MQTT.Port))
}

// BenchmarkLive times the live way from just before the last byte of a frame is
// written to the socket until Live is called: 64 channels at 100 Hz, ten samples
// a frame, from four gateways, QoS 1, while a recorder syncs what is stored.
func BenchmarkLive(b *testing.B) {
	const channels, perSecond = 64, 10
	gateways := []Gateway{{"a", "a"}, {"b", "b"}, {"c", "c"}, {"d", "d"}}
	var mu sync.Mutex
	sent := map[string]time.Time{}
	var took []float64 // µs
	dir := b.TempDir()
	bus := open(b, Options{Dir: dir, Gateways: gateways, Live: func(m Message) {
		at := time.Now()
		mu.Lock()
		defer mu.Unlock()
		took = append(took, float64(at.Sub(sent[string(m.Payload[:12])]))/1e3)
	}})
	rec, _, err := openRecorder(filepath.Join(dir, "recorded"))
	if err != nil {
		b.Fatal(err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	done := make(chan error, 1)
	go func() { done <- bus.Follow(ctx, Readings, Place{}, rec.take) }()

	var lines []net.Conn
	for _, g := range gateways {
		c := wire(b, bus.Address(), g)
		go io.Copy(io.Discard, c)
		lines = append(lines, c)
	}
	floor := loopback(b)
	n := max(b.N, 3*channels*perSecond)
	b.ResetTimer()
	start := time.Now()
	for i := range n {
		time.Sleep(time.Until(start.Add(time.Duration(i) * time.Second / (channels * perSecond))))
		id := fmt.Sprintf("%012d", i)
		g := i % len(gateways)
		packet := publish("tele/"+gateways[g].Name+"/"+strconv.Itoa(i%channels), uint16(i/len(gateways)%65535+1), append([]byte(id), payload...))
		mu.Lock()
		sent[id] = time.Now()
		mu.Unlock()
		if _, err := lines[g].Write(packet); err != nil {
			b.Fatal(err)
		}
		floor.send()
	}
	eventually(b, "all frames", func() bool { mu.Lock(); defer mu.Unlock(); return len(took) == n })
	b.StopTimer()
	var mem runtime.MemStats
	runtime.ReadMemStats(&mem)
	slices.Sort(took)
	h := bus.Health(ctx)
	b.ReportMetric(took[n/2], "p50-µs")
	b.ReportMetric(took[n*99/100], "p99-µs")
	b.ReportMetric(took[n-1], "max-µs")
	b.ReportMetric(floor.p99(), "loopback-p99-µs")
	b.ReportMetric(h.DiskDelay*1e6, "disk-max-µs")
	b.ReportMetric(float64(mem.HeapInuse)/(1<<20), "MiB")
	cancel()
	if err := <-done; err != nil {
		b.Fatal(err)
	}
	if err := rec.close(); err != nil {
		b.Fatal(err)
	}
}

// echo times a byte over a bare connection to this machine: what the machine
// itself takes, with all else that runs on it.
type echo struct {
	c    net.Conn
	mu   sync.Mutex
	sent []time.Time
	took []float64 // µs
}

func loopback(b *testing.B) *echo {
	b.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		b.Fatal(err)
	}
	defer l.Close()
	e := &echo{}
	if e.c, err = net.Dial("tcp", l.Addr().String()); err != nil {
		b.Fatal(err)
	}
	r, err := l.Accept()
	if err != nil {
		b.Fatal(err)
	}
	b.Cleanup(func() { e.c.Close(); r.Close() })
	go func() {
		buf := make([]byte, 4096)
		for {
			n, err := r.Read(buf)
			at := time.Now()
			e.mu.Lock()
			for range n {
				e.took = append(e.took, float64(at.Sub(e.sent[len(e.took)]))/1e3)
			}
			e.mu.Unlock()
			if err != nil {
				return
			}
		}
	}()
	return e
}

func (e *echo) send() {
	e.mu.Lock()
	e.sent = append(e.sent, time.Now())
	e.mu.Unlock()
	e.c.Write([]byte{0})
}

func (e *echo) p99() float64 {
	e.mu.Lock()
	defer e.mu.Unlock()
	slices.Sort(e.took)
	return e.took[len(e.took)*99/100]
}

// publish is a PUBLISH packet of QoS 1.
func publish(topic string, id uint16, payload []byte) []byte {
	body := append(binary.BigEndian.AppendUint16(nil, uint16(len(topic))), topic...)
	body = append(binary.BigEndian.AppendUint16(body, id), payload...)
	return append(binary.AppendUvarint([]byte{0x32}, uint64(len(body))), body...)
}
