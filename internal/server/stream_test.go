package server

import (
	"bufio"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"plumbhook/alarm"
	"plumbhook/contract"
)

// pipe is a reader of the stream at the far end of a connection: what is
// written waits until it is read.
type pipe struct {
	w      *io.PipeWriter
	r      *bufio.Reader
	header http.Header
	until  time.Time
}

func newPipe() *pipe {
	r, w := io.Pipe()
	return &pipe{w: w, r: bufio.NewReader(r), header: http.Header{}}
}

func (p *pipe) Header() http.Header                { return p.header }
func (p *pipe) WriteHeader(int)                    {}
func (p *pipe) Flush()                             {}
func (p *pipe) SetReadDeadline(time.Time) error    { return nil }
func (p *pipe) SetWriteDeadline(t time.Time) error { p.until = t; return nil }

func (p *pipe) Write(b []byte) (int, error) {
	late := time.AfterFunc(time.Until(p.until), func() { p.w.CloseWithError(errors.New("write took too long")) })
	defer late.Stop()
	return p.w.Write(b)
}

// next reads one message.
func (p *pipe) next() (event string, data json.RawMessage, err error) {
	for {
		line, err := p.r.ReadString('\n')
		if err != nil {
			return "", nil, err
		}
		switch line = strings.TrimSuffix(line, "\n"); {
		case strings.HasPrefix(line, "event: "):
			event = line[7:]
		case strings.HasPrefix(line, "data: "):
			data = json.RawMessage(line[6:])
		case line == "" && event != "":
			return event, data, nil
		}
	}
}

// look opens the stream.
func look(ctx context.Context, h http.Handler) (*pipe, chan struct{}) {
	p := newPipe()
	done := make(chan struct{})
	go func() {
		defer close(done)
		h.ServeHTTP(p, httptest.NewRequestWithContext(ctx, "GET", "http://localhost/api/watch/stream", nil))
		p.w.Close()
	}()
	return p, done
}

func stop(n int) alarm.Event {
	return alarm.Event{Change: alarm.Raised, Kind: alarm.LegStop, Severity: alarm.Stop, Where: fmt.Sprintf("C%d", n), Text: "line\none"}
}

// First how things stand, then events before the view they came with, and a
// beat in every stretch of silence.
func TestStreamOrder(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		f := newFake(t, hanging())
		ctx, cancel := context.WithCancel(t.Context())
		p, done := look(ctx, New(f, Options{Watched: Watched{Readout: kN}, Log: quiet()}))
		expect := func(want string) json.RawMessage {
			t.Helper()
			got, data, err := p.next()
			if err != nil || got != want {
				t.Fatalf("%s comes, want %s: %v", got, want, err)
			}
			return data
		}
		var hello contract.WatchHello
		if err := json.Unmarshal(expect("hello"), &hello); err != nil || hello.Title != f.plan.Lift.Title || !hello.Now.Equal(time.Now()) || hello.Cautions == "" {
			t.Errorf("%+v, %v", hello, err)
		}
		expect("view")
		synctest.Wait()
		f.tell(stop(1), stop(2))
		for _, where := range []string{"C1", "C2"} {
			var e contract.WatchEvent
			if err := json.Unmarshal(expect("alarm"), &e); err != nil || e.Where != where || e.Text != "line\none" {
				t.Errorf("%+v, %v", e, err)
			}
		}
		expect("view")
		last := time.Now()
		for range 20 {
			var b contract.WatchBeat
			if err := json.Unmarshal(expect("beat"), &b); err != nil || !b.Now.Equal(time.Now()) {
				t.Errorf("%+v, %v", b, err)
			}
			if silence := time.Since(last); silence > time.Second/2 {
				t.Errorf("nothing came for %v", silence)
			}
			last = time.Now()
		}
		if got := p.header.Get("Content-Type"); got != "text/event-stream" {
			t.Errorf("type %q", got)
		}
		cancel()
		_, _, _ = p.next()
		<-done
		synctest.Wait()
		if len(f.news) != 0 {
			t.Error("nobody looks, and the station is still listened to")
		}
	})
}

// A slow reader misses views and no event, and holds nobody up.
func TestStreamSlowReader(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		f := newFake(t, hanging())
		ctx, cancel := context.WithCancel(t.Context())
		s := New(f, Options{Watched: Watched{Readout: kN}, Log: quiet()})
		slow, done := look(ctx, s)
		quick, done2 := look(ctx, s)
		for _, p := range []*pipe{slow, quick} {
			for range 2 {
				if _, _, err := p.next(); err != nil {
					t.Fatal(err)
				}
			}
		}
		synctest.Wait()
		const n = 400
		got := make(chan int, 1)
		go func() { // reads all there is, as it comes
			seen := 0
			for seen < n {
				event, _, err := quick.next()
				if err != nil {
					break
				}
				if event == "alarm" {
					seen++
				}
			}
			got <- seen
			for {
				if _, _, err := quick.next(); err != nil {
					return
				}
			}
		}()
		for i := range n {
			f.tell(stop(i))
			synctest.Wait()
		}
		if seen := <-got; seen != n {
			t.Errorf("the quick reader saw %d of %d", seen, n)
		}
		views := 0
		for i := 0; i < n; {
			event, data, err := slow.next()
			if err != nil {
				t.Fatal(err)
			}
			switch event {
			case "view":
				views++
			case "alarm":
				var e contract.WatchEvent
				if err := json.Unmarshal(data, &e); err != nil || e.Where != fmt.Sprintf("C%d", i) {
					t.Fatalf("event %d is %+v, %v", i, e, err)
				}
				i++
			}
		}
		if views > 3 {
			t.Errorf("%d views waited for the slow reader", views)
		}
		if f.watched != 1 {
			t.Errorf("%d listeners at the station for two readers", f.watched)
		}
		cancel()
		_, _, _ = slow.next()
		<-done
		<-done2
	})
}

// A reader that takes nothing is given up, and so is one with too much to
// catch up on.
func TestStreamGivesUp(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		f := newFake(t, hanging())
		p, done := look(t.Context(), New(f, Options{Watched: Watched{Readout: kN}, Log: quiet()}))
		for range 2 {
			if _, _, err := p.next(); err != nil {
				t.Fatal(err)
			}
		}
		begun := time.Now()
		<-done
		if waited := time.Since(begun); waited > stuck+time.Second {
			t.Errorf("it took %v", waited)
		}
	})
	c := &client{wake: make(chan struct{}, 1)}
	for range mostEvents + 1 {
		c.put([][]byte{{1}}, nil)
	}
	if _, over := c.take(); !over {
		t.Error("events pile up without end")
	}
}

// When the watch ends the readers are let go, and the next one listens anew.
func TestStreamEndsWithWatch(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		f := newFake(t, hanging())
		s := New(f, Options{Watched: Watched{Readout: kN}, Log: quiet()})
		for range 2 {
			p, done := look(t.Context(), s)
			for range 2 {
				if _, _, err := p.next(); err != nil {
					t.Fatal(err)
				}
			}
			synctest.Wait()
			f.end()
			for {
				if _, _, err := p.next(); err != nil {
					break
				}
			}
			<-done
		}
		if f.watched != 2 {
			t.Errorf("listened %d times", f.watched)
		}
	})
}

func TestStreamsAreBounded(t *testing.T) {
	f := newFake(t, hanging())
	s := New(f, Options{Watched: Watched{Readout: kN}, Log: quiet()})
	for range mostStreams {
		s.slot.Load().hub.clients[&client{}] = struct{}{}
	}
	w := ask(s, "GET", "/api/watch/stream", "")
	if w.Code != http.StatusServiceUnavailable {
		t.Errorf("%d", w.Code)
	}
	faultsOf(t, w)
}
