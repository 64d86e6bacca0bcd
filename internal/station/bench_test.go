package station_test

import (
	"context"
	"encoding/json"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"testing"
	"time"

	mqtt "github.com/eclipse/paho.mqtt.golang"

	"plumbhook/alarm"
	"plumbhook/internal/intake"
	"plumbhook/internal/station"
	"plumbhook/lift"
	"plumbhook/logbook"
	"plumbhook/verdict"
)

// BenchmarkAlarmPath sends 64 channels at 100 readings a second over MQTT with
// QoS 1, ten samples of each a frame, while everything is recorded, and takes
// one leg after the other past its rating: from just before a frame is given to
// the socket to the alarm at a listener. The channels come all in one frame or
// eight to a frame; the disk is left alone or written to by somebody else too,
// a MB and a sync without end.
func BenchmarkAlarmPath(b *testing.B) {
	if runtime.GOMAXPROCS(0) < 4 {
		defer runtime.GOMAXPROCS(runtime.GOMAXPROCS(4)) // as serve does
	}
	g := newGrid(b)
	for _, together := range []int{gridCells, 8} {
		for _, disk := range []string{"quiet", "busy"} {
			b.Run(fmt.Sprintf("together=%d/disk=%s", together, disk), func(b *testing.B) {
				if disk == "busy" {
					defer wear(b)()
				}
				g.run(b, together)
			})
		}
	}
}

// wear keeps the disk busy until the function it gives is called.
func wear(b *testing.B) func() {
	f, err := os.Create(filepath.Join(b.TempDir(), "worn"))
	if err != nil {
		b.Fatal(err)
	}
	stop, done := make(chan struct{}), make(chan error, 1)
	go func() {
		block := make([]byte, 1<<20)
		for i := int64(0); ; i++ {
			select {
			case <-stop:
				done <- f.Close()
				return
			default:
			}
			if _, err := f.WriteAt(block, i%64<<20); err != nil {
				b.Error(err)
			}
			if err := f.Sync(); err != nil {
				b.Error(err)
			}
		}
	}()
	return func() {
		close(stop)
		if err := <-done; err != nil {
			b.Error(err)
		}
	}
}

const gridCells = 64

// grid is a station that watches a load of 64 legs.
type grid struct {
	s      *station.Station
	c      mqtt.Client
	raised chan time.Time
	step   int
}

func newGrid(b *testing.B) *grid {
	text := "plumbhook: 1\ntitle: sixty-four\nload:\n  name: grid\n  mass: 64 t ± 1 %\n  cg: 0 0 0 m\n  lugs:\n"
	hooks, legs := "hooks:\n", "legs:\n"
	channels := "channel_map: 1\ngateways:\n  yard: {kind: mqtt, password: {env: YARD}}\nchannels:\n"
	for i := range gridCells {
		x, y := float64(i%8)-3.5, float64(i/8)-3.5
		text += fmt.Sprintf("    p%d: {at: %g %g 0 m, wll: 3 t}\n", i, x, y)
		hooks += fmt.Sprintf("  h%d: {at: %g %g 5 m, wll: 3 t}\n", i, x, y)
		legs += fmt.Sprintf("  l%d: {from: h%d, to: load.p%d, length: 4 m, stiffness: 1 MN/m, wll: 3 t, cell: {channel: C%d, capacity: 3 t, accuracy: 0.1 %% fs}}\n", i, i, i, i)
		channels += fmt.Sprintf("  C%d: {gateway: yard, address: 'tele/yard/cells#C%d', kind: load cell, unit: N}\n", i, i)
	}
	l, err := lift.Read("grid", nil, []byte(text+hooks+legs))
	if err != nil {
		b.Fatal(err)
	}
	p, err := verdict.Check(l)
	if err != nil {
		b.Fatal(err)
	}
	m, err := intake.Read("grid", nil, []byte(channels))
	if err != nil {
		b.Fatal(err)
	}
	dir := b.TempDir()
	s, _, err := station.Open(station.Options{Dir: dir, Plan: p})
	if err != nil {
		b.Fatal(err)
	}
	b.Cleanup(func() { s.Close() })
	site, err := s.Connect(context.Background(), station.Gateways{Map: m, Dir: dir, MQTT: "127.0.0.1:0", Getenv: func(string) string { return "salt-and-tide" }})
	if err != nil {
		b.Fatal(err)
	}
	b.Cleanup(func() { site.Close() })
	c := gateway(b, site.Address())
	b.Cleanup(func() { c.Disconnect(100) })
	ctx, cancel := context.WithCancel(context.Background())
	b.Cleanup(cancel)
	raised := make(chan time.Time, 1024)
	go func() {
		for u := range s.Watch(ctx) {
			for _, e := range u.Events {
				if e.Change == alarm.Raised && e.Kind == alarm.PartStop {
					raised <- time.Now()
				}
			}
		}
	}()
	return &grid{s: s, c: c, raised: raised}
}

// frame is one of the cells from first on, one of them past its rating.
func (g *grid) frame(first, together, over int) []byte {
	body := map[string]any{"t": float64(time.Now().UnixNano())/1e9 - 0.1, "dt": 0.01}
	for i := first; i < first+together; i++ {
		v := make([]float64, 10)
		for k := range v {
			v[k] = 9800 + float64((i*7+k*3)%11)
			if i == over {
				v[k] = 40000
			}
		}
		body[fmt.Sprintf("C%d", i)] = v
	}
	out, err := json.Marshal(body)
	if err != nil {
		panic(err) // numbers and names
	}
	return out
}

// send publishes the frames of all cells and tells when the one past its rating went.
func (g *grid) send(together, over int) (sent time.Time) {
	for i := 0; i < gridCells; i += together {
		body := g.frame(i, together, over)
		if over >= i && over < i+together {
			sent = time.Now()
		}
		g.c.Publish("tele/yard/cells", 1, false, body)
		time.Sleep(5 * time.Millisecond) // gateways do not all send at once
	}
	return sent
}

// settle has every leg within its rating again and all stops ended.
func (g *grid) settle(b *testing.B, together int) {
	for range 50 {
		g.send(together, -1)
		time.Sleep(100 * time.Millisecond)
		stops := 0
		for _, a := range g.s.View().Alarms {
			if a.Kind == alarm.PartStop {
				stops++
			}
			_ = g.s.Enter(context.Background(), logbook.Entry{Kind: logbook.Clear, Who: "bench", Alarm: a.Key.String()})
		}
		if stops == 0 {
			return
		}
	}
	b.Fatal("the stops do not end")
}

func (g *grid) run(b *testing.B, together int) {
	var took []time.Duration
	due := time.Now()
	b.ResetTimer()
	for n := range b.N {
		due = due.Add(100 * time.Millisecond)
		time.Sleep(time.Until(due))
		over := -1
		if n%3 == 2 {
			over = g.step % gridCells
			g.step++
		}
		sent := g.send(together, over)
		if over < 0 {
			continue
		}
		select {
		case at := <-g.raised:
			took = append(took, at.Sub(sent))
		case <-time.After(10 * time.Second):
			b.Fatal("no alarm")
		}
		if over == gridCells-1 { // all have been past: begin again
			b.StopTimer()
			g.settle(b, together)
			b.StartTimer()
			due = time.Now()
		}
	}
	b.StopTimer()
	if len(took) == 0 {
		return
	}
	slices.Sort(took)
	at := func(q float64) float64 {
		return float64(took[int(math.Ceil(q*float64(len(took))))-1].Microseconds()) / 1000
	}
	b.ReportMetric(float64(len(took)), "alarms")
	b.ReportMetric(at(0.5), "p50-ms")
	b.ReportMetric(at(0.95), "p95-ms")
	b.ReportMetric(at(0.99), "p99-ms")
	b.ReportMetric(at(1), "max-ms")
	var mem runtime.MemStats
	runtime.ReadMemStats(&mem)
	b.ReportMetric(float64(mem.HeapInuse)/1e6, "heap-MB")
}
