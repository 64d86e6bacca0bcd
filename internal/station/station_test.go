package station_test

import (
	"context"
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	mqtt "github.com/eclipse/paho.mqtt.golang"

	"plumbhook/alarm"
	"plumbhook/internal/intake"
	"plumbhook/internal/station"
	"plumbhook/lift"
	"plumbhook/logbook"
	"plumbhook/reading"
	"plumbhook/record"
	"plumbhook/verdict"
	"plumbhook/watch"
)

func pumpMotor(t testing.TB) *verdict.Plan {
	t.Helper()
	data, err := os.ReadFile("../../examples/pump-motor.yaml")
	if err != nil {
		t.Fatal(err)
	}
	l, err := lift.Read("pump-motor.yaml", nil, data)
	if err != nil {
		t.Fatal(err)
	}
	p, err := verdict.Check(l)
	if err != nil {
		t.Fatal(err)
	}
	return p
}

const yard = `
channel_map: 1
gateways:
  yard: {kind: mqtt, password: {env: YARD}}
channels:
  W: {gateway: yard, address: tele/yard/cells#W, kind: load cell, unit: kN}
  E: {gateway: yard, address: tele/yard/cells#E, kind: load cell, unit: kN}
`

// connect lets the gateway in, on any free port.
func connect(t testing.TB, s *station.Station, dir string) *station.Site {
	t.Helper()
	m, err := intake.Read("yard.yaml", nil, []byte(yard))
	if err != nil {
		t.Fatal(err)
	}
	site, err := s.Connect(context.Background(), station.Gateways{Map: m, Dir: dir, MQTT: "127.0.0.1:0", Getenv: func(string) string { return "salt-and-tide" }})
	if err != nil {
		t.Fatal(err)
	}
	return site
}

func gateway(t testing.TB, address string) mqtt.Client {
	t.Helper()
	c := mqtt.NewClient(mqtt.NewClientOptions().AddBroker("tcp://" + address).SetClientID("yard").SetUsername("yard").SetPassword("salt-and-tide").SetConnectRetry(false))
	if k := c.Connect(); !k.WaitTimeout(10*time.Second) || k.Error() != nil {
		t.Fatal("the gateway cannot connect: ", k.Error())
	}
	return c
}

// until waits for something that has to come.
func until(t testing.TB, what string, is func() bool) {
	t.Helper()
	for end := time.Now().Add(20 * time.Second); !is(); time.Sleep(10 * time.Millisecond) {
		if time.Now().After(end) {
			t.Fatal("never ", what)
		}
	}
}

// An overload that a gateway sends is a stop; it is still one after a restart,
// and going through the recording says what the watch said.
func TestFromGatewayToRecord(t *testing.T) {
	dir, plan := t.TempDir(), pumpMotor(t)
	s, _, err := station.Open(station.Options{Dir: dir, Plan: plan})
	if err != nil {
		t.Fatal(err)
	}
	site := connect(t, s, dir)
	c := gateway(t, site.Address())
	seq := 0
	send := func(w, e float64) {
		seq++
		body := fmt.Sprintf(`{"t": %.6f, "seq": %d, "W": %g, "E": %g}`, float64(time.Now().UnixNano())/1e9, seq, w, e)
		if k := c.Publish("tele/yard/cells", 1, false, body); !k.WaitTimeout(10*time.Second) || k.Error() != nil {
			t.Fatal("not acknowledged: ", k.Error())
		}
	}
	for range 5 {
		send(0.1, 0.1)
	}
	until(t, "reads", func() bool { v := s.View(); return v.Cells[0].Got == 5 && v.Cells[1].Got == 5 })
	for range 6 {
		send(50, 60)
		time.Sleep(60 * time.Millisecond)
	}
	stopped := func(s *station.Station) bool { return s.View().State == watch.StopNow }
	until(t, "stops", func() bool { return stopped(s) })
	if err := s.Enter(context.Background(), logbook.Entry{Kind: logbook.Mark, Who: "A. Rigger", Text: "looked at the shackle"}); err != nil {
		t.Fatal(err)
	}
	c.Disconnect(100)
	if err := site.Close(); err != nil {
		t.Fatal(err)
	}
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}

	again(t, dir, plan)

	s, found, err := station.Open(station.Options{Dir: dir, Plan: plan})
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	if found.Last == 0 || len(found.Missing) > 0 {
		t.Errorf("found %+v", found)
	}
	v := s.View()
	if v.State != watch.StopNow {
		t.Errorf("after the restart %s", v.State)
	}
	if len(v.Away) != 1 {
		t.Errorf("away %v, want once", v.Away)
	}
}

// again goes through a recording and holds what the engine says against what
// it said then.
func again(t *testing.T, dir string, plan *verdict.Plan) {
	t.Helper()
	r, err := record.NewReader(filepath.Join(dir, "record"))
	if err != nil {
		t.Fatal(err)
	}
	e, err := watch.New(plan, watch.Options{Later: true})
	if err != nil {
		t.Fatal(err)
	}
	var then, now []string
	var last uint64
	for en, err := range r.From(0) {
		if err != nil {
			t.Fatal(err)
		}
		if en.N != last+1 {
			t.Fatalf("entry %d after %d", en.N, last)
		}
		last = en.N
		if en.Kind == logbook.Event {
			var ev alarm.Event
			if err := json.Unmarshal([]byte(en.Text), &ev); err != nil {
				t.Fatal(err)
			}
			then = append(then, fmt.Sprintf("%+v", ev))
			continue
		}
		for _, ev := range e.Apply(en) {
			now = append(now, fmt.Sprintf("%+v", ev))
		}
	}
	if len(then) == 0 || strings.Join(then, "\n") != strings.Join(now, "\n") {
		t.Errorf("then:\n%s\nnow:\n%s", strings.Join(then, "\n"), strings.Join(now, "\n"))
	}
}

// What is put is on disk when Put returns, and what a person enters too.
func TestPutIsKept(t *testing.T) {
	dir, plan := t.TempDir(), pumpMotor(t)
	s, _, err := station.Open(station.Options{Dir: dir, Plan: plan})
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	f := reading.Frame{Source: "logger", Readings: []reading.Reading{{Channel: "W", At: 1, Marks: reading.Timed, Value: 1234.5}}}
	if err := s.Put(context.Background(), &f); err != nil {
		t.Fatal(err)
	}
	if err := s.Enter(context.Background(), logbook.Entry{Kind: logbook.Word, Who: "A. Rigger", Says: logbook.Daylight}); err != nil {
		t.Fatal(err)
	}
	r, err := record.NewReader(filepath.Join(dir, "record"))
	if err != nil {
		t.Fatal(err)
	}
	var frame, word bool
	for en, err := range r.From(0) {
		if err != nil {
			t.Fatal(err)
		}
		frame = frame || en.Kind == logbook.Frame && en.Frame.Readings[0].Value == 1234.5
		word = word || en.Kind == logbook.Word && en.Says == logbook.Daylight && en.Who == "A. Rigger"
	}
	if !frame || !word {
		t.Errorf("frame kept %v, word kept %v", frame, word)
	}
}

// What was done just before a kill is there after it: a tare, a stop, how far
// off the gateway's clock is. A copy of the recording of a station at work is
// what a kill leaves.
func TestKilledAtOnce(t *testing.T) {
	dir, plan := t.TempDir(), pumpMotor(t)
	s, _, err := station.Open(station.Options{Dir: dir, Plan: plan})
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	seq := uint64(0)
	put := func(s *station.Station, n float64, old time.Duration) {
		seq++
		at := reading.At(time.Now().Add(-time.Hour - old)) // its clock is an hour behind
		f := reading.Frame{Source: "logger"}
		for _, c := range []string{"W", "E"} {
			f.Readings = append(f.Readings, reading.Reading{Channel: c, At: at, Seq: seq, Marks: reading.Timed | reading.Numbered, Value: n + float64(seq%3)})
		}
		if err := s.Put(context.Background(), &f); err != nil {
			t.Fatal(err)
		}
		time.Sleep(30 * time.Millisecond)
	}
	time.Sleep(200 * time.Millisecond) // the first state is noted, the next after seconds
	until(t, "tared", func() bool {
		put(s, 900, 0)
		if seq%20 == 0 {
			if err := s.Enter(context.Background(), logbook.Entry{Kind: logbook.Tare, Tare: logbook.Hung, Who: "A. Rigger"}); err != nil {
				t.Fatal(err)
			}
		}
		v := s.View()
		return len(v.Tares) > 0 && v.Tares[len(v.Tares)-1].Refused == ""
	})
	killed := t.TempDir()
	if err := os.CopyFS(filepath.Join(killed, "record"), os.DirFS(filepath.Join(dir, "record"))); err != nil {
		t.Fatal(err)
	}
	after, _, err := station.Open(station.Options{Dir: killed, Plan: plan})
	if err != nil {
		t.Fatal(err)
	}
	defer after.Close()
	v := after.View()
	if len(v.Tares) == 0 || v.Tares[len(v.Tares)-1].Refused != "" {
		t.Errorf("after the kill the tare is gone: %+v", v.Tares)
	}
	// What waited for three seconds is three seconds old, not an hour, and not new.
	put(after, 900, 3*time.Second)
	if c := after.View().Cells[0]; c.Quality != watch.Stale || c.AgeS < 2.5 || c.AgeS > 30 {
		t.Errorf("a reading three seconds old is %s and %.1f s old", c.Quality, c.AgeS)
	}
}

// A gateway that was silent for a while before the program ended is not heard
// twice when it starts again.
func TestSilentBeforeTheEnd(t *testing.T) {
	dir, plan := t.TempDir(), pumpMotor(t)
	var ahead atomic.Int64
	now := func() time.Time { return time.Now().Add(time.Duration(ahead.Load())) }
	places := func() (at reading.Stamp, frames int) {
		r, err := record.NewReader(filepath.Join(dir, "record"))
		if err != nil {
			return 0, 0
		}
		for e, err := range r.From(0) {
			if err != nil {
				t.Fatal(err)
			}
			if e.Kind == logbook.Mark && e.Says == "place" {
				at = e.At
			}
			if e.Kind == logbook.Frame {
				frames++
			}
		}
		return at, frames
	}
	for run := range 2 {
		s, _, err := station.Open(station.Options{Dir: dir, Plan: plan, Now: now})
		if err != nil {
			t.Fatal(err)
		}
		site := connect(t, s, dir)
		if run == 0 {
			c := gateway(t, site.Address())
			if k := c.Publish("tele/yard/cells", 1, false, `{"t": 1785067200.25, "seq": 1, "W": 1, "E": 1}`); !k.WaitTimeout(10*time.Second) || k.Error() != nil {
				t.Fatal("not acknowledged: ", k.Error())
			}
			until(t, "noted the place", func() bool { at, _ := places(); return at > 0 })
			c.Disconnect(0)
			ahead.Store(int64(time.Hour))
			late := reading.At(now())
			until(t, "noted the place again", func() bool { at, _ := places(); return at >= late })
		}
		if err := site.Close(); err != nil {
			t.Fatal(err)
		}
		if err := s.Close(); err != nil {
			t.Fatal(err)
		}
	}
	if _, n := places(); n != 1 {
		t.Errorf("%d frames are recorded, one was sent", n)
	}
}

// Listeners get every event in order, and views besides.
func TestListeners(t *testing.T) {
	s, _, err := station.Open(station.Options{Dir: t.TempDir(), Plan: pumpMotor(t)})
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	ctx, cancel := context.WithTimeout(context.Background(), 20*time.Second)
	defer cancel()
	updates := s.Watch(ctx)
	if err := s.Enter(ctx, logbook.Entry{Kind: logbook.Word, Who: "A. Rigger", Says: logbook.CallHold}); err != nil {
		t.Fatal(err)
	}
	called := false
	for u := range updates {
		for _, e := range u.Events {
			called = called || e.Kind == alarm.Called
		}
		if called && u.View != nil {
			if u.View.State != watch.StopNow {
				t.Error("a hold was called and the view does not say so")
			}
			return
		}
	}
	t.Error("the hold never came")
}
