package bus

import (
	"context"
	"fmt"
	"slices"
	"testing"
	"time"
)

// TestDisk goes through what the disk may do, each line a question, an answer
// or a look at the clock, at so many milliseconds, with the replies that ours
// must stand in for, and what is then unkept.
func TestDisk(t *testing.T) {
	const patience = 1000
	type step struct {
		ms     int
		do     string
		reply  string
		ours   []string
		unkept uint64
	}
	for _, c := range []struct {
		name  string
		steps []step
	}{
		{"quick", []step{{0, "ask", "a", nil, 0}, {5, "answer", "a", nil, 0}, {2000, "sweep", "", nil, 0}}},
		{"faster than the question", []step{{0, "answer", "a", nil, 0}, {5, "ask", "a", nil, 0}, {2000, "sweep", "", nil, 0}}},
		{"slow, then there after all", []step{
			{0, "ask", "a", nil, 0},
			{900, "ask", "b", nil, 0},
			{1000, "sweep", "", nil, 0},
			{1001, "sweep", "", []string{"a", "b"}, 2}, // once it stalls, nothing waits
			{1002, "ask", "c", []string{"c"}, 3},
			{1003, "sweep", "", nil, 3},
			{3000, "answer", "a", nil, 2},
			{3001, "ask", "d", nil, 2}, // it moves again, so d waits
			{3002, "answer", "b", nil, 1},
			{3003, "answer", "c", nil, 0},
			{3004, "answer", "d", nil, 0},
			{9000, "sweep", "", nil, 0},
		}},
		{"never", []step{
			{0, "ask", "a", nil, 0}, {1001, "sweep", "", []string{"a"}, 1}, {60001, "sweep", "", nil, 1},
		}},
		{"what only the listener may take", []step{
			{0, "ask-other", "a", nil, 0},
			{5000, "sweep", "", nil, 0},
			{5001, "ask", "b", nil, 0},
			{5002, "answer", "b", nil, 0},
			{60001, "sweep", "", nil, 0},
		}},
		{"a stray answer is forgotten", []step{
			{0, "answer", "a", nil, 0},
			{10001, "sweep", "", nil, 0},
			{10002, "ask", "a", nil, 0},
			{11003, "sweep", "", []string{"a"}, 1},
			{11004, "answer", "a", nil, 0},
			{11005, "sweep", "", nil, 0},
		}},
	} {
		t.Run(c.name, func(t *testing.T) {
			d := disk{waiting: map[string]*wait{}}
			start := time.Unix(1e9, 0)
			for i, s := range c.steps {
				at := start.Add(time.Duration(s.ms) * time.Millisecond)
				var ours []string
				switch s.do {
				case "ask", "ask-other":
					ours = d.ask(s.reply, s.do == "ask", at)
				case "answer":
					d.answer(s.reply, at)
				case "sweep":
					ours = d.sweep(at, patience*time.Millisecond)
				}
				if !slices.Equal(ours, s.ours) || d.unkept != s.unkept || (d.since != 0) != (s.unkept > 0) {
					t.Fatalf("step %d, %+v: stood in for %v, %d unkept since %d", i, s, ours, d.unkept, d.since)
				}
			}
			if len(d.waiting)+len(d.order) > 0 {
				t.Errorf("%d still waiting, %d in order", len(d.waiting), len(d.order))
			}
		})
	}
}

// TestStall takes the disk away from under the listener: the stream no longer
// takes what it stores. The gateway is acknowledged, the live way goes on,
// Health says so; with the stream back, the disk is waited for again.
func TestStall(t *testing.T) {
	live := &box{}
	b := open(t, Options{Gateways: []Gateway{pump}, Live: live.put, Patience: 50 * time.Millisecond})
	c := join(t, options(b.Address(), pump.Name, pump.Password))
	ctx := context.Background()
	s, err := b.js.Stream(ctx, string(Readings))
	if err != nil {
		t.Fatal(err)
	}
	takes := func(subjects ...string) {
		cfg := s.CachedInfo().Config
		cfg.Subjects = subjects
		if _, err := b.js.UpdateStream(ctx, cfg); err != nil {
			t.Fatal(err)
		}
	}
	send(t, c, "tele/pump-house/n", 1, "kept")
	takes(rawPrefix + ">")
	before := now()
	const n = 50
	for i := range n {
		send(t, c, "tele/pump-house/n", 1, fmt.Sprint(i))
	}
	live.until(t, n+1)
	if h := b.Health(ctx); h.Unkept != n || h.UnkeptSince < before || !h.Stalled || h.Last != 1 || h.DiskDelay < 0.05 {
		t.Errorf("health: %+v", h)
	}
	takes(s.CachedInfo().Config.Subjects...)
	send(t, c, "tele/pump-house/n", 1, "kept again")
	eventually(t, "the disk to be waited for", func() bool { h := b.Health(ctx); return h.Last == 2 && !h.Stalled })
	if h := b.Health(ctx); h.Unkept != n {
		t.Errorf("health: %+v", h)
	}
}

// TestQueueFull: what nobody waits for has a bound, and what is beyond it is
// counted.
func TestQueueFull(t *testing.T) {
	b := open(t, Options{})
	if err := b.js.DeleteStream(context.Background(), string(Readings)); err != nil {
		t.Fatal(err)
	}
	const n = keepQueue + 2000
	for range n {
		b.Keep(Message{Gateway: "g", Payload: []byte("x")})
	}
	eventually(t, "all to be accounted for", func() bool {
		return b.Health(context.Background()).Unkept == n
	})
	if _, err := b.Put(context.Background(), Message{Gateway: "g"}); err == nil {
		t.Error("put succeeded without a stream")
	}
}
