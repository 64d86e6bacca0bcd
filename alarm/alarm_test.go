package alarm

import (
	"testing"

	"pgregory.net/rapid"

	"plumbhook/reading"
)

// history feeds one place second by second and keeps what was said.
type history struct {
	p    *Panel
	said []Event
}

func (h *history) tell(s float64, c Condition) {
	h.p.Tell(reading.Seconds(s), c)
	h.said = append(h.said, h.p.Drain()...)
}

func (h *history) changes() string {
	out := ""
	for _, e := range h.said {
		out += string(e.Change) + " "
	}
	return out
}

func over(v float64) Condition {
	return Condition{Kind: LegStop, Where: "W", On: v > 100, Value: v, Limit: 100, Text: "W reads too much."}
}

func TestPanel(t *testing.T) {
	warn := func(v float64) Condition {
		return Condition{Kind: LegWarn, Where: "W", On: v > 100, Value: v, Limit: 100}
	}
	for _, c := range []struct {
		name string
		do   func(h *history)
		want string
	}{
		{"one reading is not enough", func(h *history) { h.tell(1, over(120)); h.tell(1.02, over(90)) }, ""},
		{"two readings and the delay", func(h *history) { h.tell(1, over(120)); h.tell(1.06, over(120)) }, "raised "},
		{"a stop stays when its cause goes", func(h *history) { h.tell(1, over(120)); h.tell(2, over(120)); h.tell(3, over(50)); h.tell(9, over(50)) }, "raised gone "},
		{"the way back keeps an edge quiet", func(h *history) {
			h.tell(1, over(101))
			h.tell(2, over(101))
			for i := range 20 {
				h.tell(3+float64(i)/10, over(99+float64(i%2)*2))
			}
		}, "raised "},
		{"a stop is not ended while its cause is there", func(h *history) {
			h.tell(1, over(120))
			h.tell(2, over(120))
			h.p.Clear(reading.Seconds(3), "leg_stop W", "A. Rigger")
			h.said = append(h.said, h.p.Drain()...)
		}, "raised refused "},
		{"nor by nobody", func(h *history) {
			h.tell(1, over(120))
			h.tell(2, over(120))
			h.tell(3, over(1))
			h.p.Clear(reading.Seconds(4), "leg_stop W", "")
			h.said = append(h.said, h.p.Drain()...)
		}, "raised gone refused "},
		{"a named person ends it", func(h *history) {
			h.tell(1, over(120))
			h.tell(2, over(120))
			h.tell(3, over(1))
			h.p.Clear(reading.Seconds(4), "leg_stop W", "A. Rigger")
			h.said = append(h.said, h.p.Drain()...)
			h.tell(5, over(1))
		}, "raised gone cleared "},
		{"a caution clears by itself", func(h *history) {
			h.tell(1, warn(120))
			h.tell(2, warn(120))
			h.tell(3, warn(50))
			h.p.Tick(reading.Seconds(4.5))
			h.said = append(h.said, h.p.Drain()...)
		}, "raised cleared "},
		{"worse is said again", func(h *history) { h.tell(1, over(120)); h.tell(2, over(120)); h.tell(3, over(160)) }, "raised worse "},
		{"what has passed comes back", func(h *history) {
			h.tell(1, over(120))
			h.tell(2, over(120))
			h.tell(3, over(10))
			h.tell(4, over(120))
			h.tell(5, over(120))
		}, "raised gone back "},
		{"a louder one mutes", func(h *history) {
			h.tell(1, Condition{Kind: PartStop, Where: "W", On: true, Value: 200, Limit: 150})
			h.tell(2, Condition{Kind: PartStop, Where: "W", On: true, Value: 200, Limit: 150})
			h.tell(3, over(200))
			h.tell(4, over(200))
		}, "raised "},
		{"what happened once stays until it is ended", func(h *history) {
			h.tell(1, Condition{Kind: Shock, On: true, Value: 9, Limit: 5})
			h.tell(2, Condition{Kind: Shock})
		}, "raised "},
	} {
		h := &history{p: NewPanel()}
		c.do(h)
		if got := h.changes(); got != c.want {
			t.Errorf("%s: %q, want %q", c.name, got, c.want)
		}
	}
}

// Every kind can be told to a crew: it has words, and what to do on the
// ground and in the air.
func TestRegistry(t *testing.T) {
	for i, s := range Registry {
		if s.Title == "" || s.Ground == "" || s.Air == "" || s.Severity != Stop && s.Severity != Caution {
			t.Errorf("%s has no words", s.Kind)
		}
		if Of(s.Kind) != &Registry[i] {
			t.Errorf("%s stands twice", s.Kind)
		}
		for _, m := range s.Mutes {
			if Of(m) == nil {
				t.Errorf("%s mutes %s, which is not there", s.Kind, m)
			}
		}
	}
}

// Whatever is told, a raised stop is still raised unless a person ended it.
func TestStopLatches(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := NewPanel()
		raised := false
		at := 0.0
		for range rapid.IntRange(1, 60).Draw(t, "steps") {
			at += rapid.Float64Range(0.001, 2).Draw(t, "dt")
			stamp := reading.Seconds(at)
			switch rapid.IntRange(0, 9).Draw(t, "what") {
			case 0:
				p.Clear(stamp, "leg_stop W", rapid.SampledFrom([]string{"", "A. Rigger"}).Draw(t, "who"))
			case 1:
				p.See(stamp, "leg_stop W", "A. Rigger")
			case 2:
				p.Tick(stamp)
			default:
				p.Tell(stamp, over(rapid.Float64Range(0, 200).Draw(t, "v")))
			}
			for _, e := range p.Drain() {
				switch e.Change {
				case Raised:
					if raised {
						t.Fatal("raised twice")
					}
					raised = true
				case Cleared:
					if e.Who == "" {
						t.Fatal("a stop went by itself")
					}
					raised = false
				}
			}
			if p.Standing(LegStop, "W") != raised {
				t.Fatalf("stands %v, want %v", !raised, raised)
			}
		}
	})
}

func BenchmarkTellQuiet(b *testing.B) {
	p := NewPanel()
	p.Tell(1, over(120))
	p.Tell(2, over(50))
	b.ReportAllocs()
	for i := range b.N {
		p.Tell(reading.Stamp(i), over(50))
	}
}
