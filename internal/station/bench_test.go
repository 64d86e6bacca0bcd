package station_test

import (
	"context"
	"encoding/json"
	"fmt"
	"runtime"
	"slices"
	"testing"
	"time"

	"plumbhook/alarm"
	"plumbhook/internal/intake"
	"plumbhook/internal/station"
	"plumbhook/lift"
	"plumbhook/logbook"
	"plumbhook/verdict"
)

// BenchmarkAlarmPath sends 64 channels at 100 readings a second over MQTT with
// QoS 1, eight channels and ten samples of each a frame, while everything is recorded, and takes one leg
// after the other past its rating: from the frame on its way to the socket to
// the alarm at a listener.
func BenchmarkAlarmPath(b *testing.B) {
	if runtime.GOMAXPROCS(0) < 4 {
		defer runtime.GOMAXPROCS(runtime.GOMAXPROCS(4)) // as serve does
	}
	const cells = 64
	text := "plumbhook: 1\ntitle: sixty-four\nload:\n  name: grid\n  mass: 64 t ± 1 %\n  cg: 0 0 0 m\n  lugs:\n"
	hooks, legs := "hooks:\n", "legs:\n"
	channels := "channel_map: 1\ngateways:\n  yard: {kind: mqtt, password: {env: YARD}}\nchannels:\n"
	for i := range cells {
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
	defer s.Close()
	site, err := s.Connect(context.Background(), station.Gateways{Map: m, Dir: dir, MQTT: "127.0.0.1:0", Getenv: func(string) string { return "salt-and-tide" }})
	if err != nil {
		b.Fatal(err)
	}
	defer site.Close()
	c := gateway(b, site.Address())
	defer c.Disconnect(100)
	ctx, cancel := context.WithCancel(context.Background())
	defer cancel()
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
	const together = 8 // channels in a frame
	frame := func(first, over int) []byte {
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
			b.Fatal(err)
		}
		return out
	}
	publish := func(first, over int) time.Time {
		body := frame(first, over)
		sent := time.Now()
		c.Publish("tele/yard/cells", 1, false, body)
		return sent
	}
	var took []time.Duration
	due := time.Now()
	b.ResetTimer()
	for n := range b.N {
		over := -1
		if n%3 == 2 {
			over = (n / 3) % cells
		}
		due = due.Add(100 * time.Millisecond)
		time.Sleep(time.Until(due))
		var sent time.Time
		for i := 0; i < cells; i += together {
			if at := publish(i, over); i == over/together*together {
				sent = at
			}
			time.Sleep(5 * time.Millisecond) // gateways do not all send at once
		}
		if over < 0 {
			continue
		}
		select {
		case at := <-raised:
			took = append(took, at.Sub(sent))
		case <-time.After(2 * time.Second):
			b.Fatal("no alarm")
		}
		if over == cells-1 { // all have been past: begin again
			time.Sleep(300 * time.Millisecond)
			for i := 0; i < cells; i += together {
				publish(i, -1)
			}
			time.Sleep(300 * time.Millisecond)
			for _, a := range s.View().Alarms {
				_ = s.Enter(ctx, logbook.Entry{Kind: logbook.Clear, Who: "bench", Alarm: a.Key.String()})
			}
			due = time.Now()
		}
	}
	b.StopTimer()
	if len(took) == 0 {
		return
	}
	slices.Sort(took)
	at := func(q float64) float64 {
		return float64(took[min(len(took)-1, int(q*float64(len(took))))].Microseconds()) / 1000
	}
	b.ReportMetric(at(0.5), "p50-ms")
	b.ReportMetric(at(0.95), "p95-ms")
	b.ReportMetric(at(0.99), "p99-ms")
	var mem runtime.MemStats
	runtime.ReadMemStats(&mem)
	b.ReportMetric(float64(mem.HeapInuse)/1e6, "heap-MB")
}
