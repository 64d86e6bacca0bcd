package sim

import (
	"math"
	"slices"
	"testing"

	"plumbhook/internal/testkit"
)

// The step response of a single pole is 1 - exp(-t/τ).
func TestLag(t *testing.T) {
	c := newChain(Cell{Lag: 0.5}, 1, 1)
	c.feel(0, 0.01)
	want := published(t, "pole")
	for i := 1; i <= 250; i++ {
		c.feel(100, 0.01)
		if w, ok := want[float64(i)/50]; ok {
			testkit.Near(t, "response", c.y/100, w, testkit.Tol{Abs: 0.0005})
		}
	}
}

func TestCellErrors(t *testing.T) {
	for _, c := range []struct {
		name     string
		cell     Cell
		force, t float64
		want     float64
	}{
		{"true", Cell{}, 5000, 0, 5000},
		{"gain", Cell{Gain: 0.01}, 5000, 0, 5050},
		{"bend is whole at half capacity", Cell{Bend: 30, Capacity: 10000}, 5000, 0, 5030},
		{"and nothing at full capacity", Cell{Bend: 30, Capacity: 10000}, 10000, 0, 10000},
		{"zero", Cell{Zero: -7}, 0, 0, -7},
		{"never past the limit", Cell{Gain: 0.01, Zero: 40, Limit: 60}, 5000, 0, 5060},
		{"creep is 63 % over after its time", Cell{Creep: Ramp{10, 100, 20}}, 0, 30, 63.2},
		{"warmer", Cell{Warm: 2}, 0, 3, 6}, // at 1 K/s
		{"saturated", Cell{Capacity: 1000}, 5000, 0, saturates * 1000},
	} {
		ch := newChain(c.cell, 1, 1)
		warmer := 0.0
		if c.cell.Warm != 0 {
			warmer = c.t
		}
		testkit.Near(t, c.name, ch.errs(c.force, c.t, warmer), c.want, testkit.Tol{Abs: 0.1})
	}
}

func send(c Cell, seconds float64) []Sample {
	ch := newChain(c, 1, 1)
	var out []Sample
	const h = 0.01
	for t := 0.0; t < seconds; t += h {
		ch.feel(1000, h)
		out = ch.sample(out, t, h, 0)
	}
	return out
}

func TestRadio(t *testing.T) {
	const n = 20000
	got := send(Cell{Link: Link{Rate: 50, Loss: 0.1, Twice: 0.05, Delay: 0.05, Spread: 0.03}}, n/50)
	seen := map[int]int{}
	late := 0.0
	for _, s := range got {
		seen[s.Seq]++
		late += (s.Arrived - s.Measured) / float64(len(got))
	}
	twice := 0
	for _, k := range seen {
		twice += k - 1
	}
	lost := n - len(seen)
	// Four standard deviations of a count.
	testkit.Near(t, "lost", float64(lost), 0.1*n, testkit.Tol{Abs: 4 * math.Sqrt(0.1*0.9*n)})
	testkit.Near(t, "twice", float64(twice), 0.05*0.9*n, testkit.Tol{Abs: 4 * math.Sqrt(0.05*n)})
	testkit.Near(t, "delay", late, 0.08, testkit.Tol{Abs: 0.005})
	slices.SortStableFunc(got, func(a, b Sample) int {
		return int(math.Copysign(1, a.Arrived-b.Arrived))
	})
	if slices.IsSortedFunc(got, func(a, b Sample) int { return a.Seq - b.Seq }) {
		t.Error("nothing was overtaken")
	}
}

func TestLostFrozenNoisy(t *testing.T) {
	got := send(Cell{Noise: 5, Step: 2, Link: Link{Rate: 20, Lost: Span{2, 4}, Frozen: Span{6, 8}}}, 10)
	sum, squares, n := 0.0, 0.0, 0.0
	for i, s := range got {
		switch {
		case s.Measured >= 2 && s.Measured < 4:
			t.Fatalf("a sample at %v, in the silence", s.Measured)
		case s.Measured >= 6 && s.Measured < 8:
			if s.Value != got[i-1].Value {
				t.Fatalf("%v after %v while frozen", s.Value, got[i-1].Value)
			}
		default:
			sum, squares, n = sum+s.Value, squares+s.Value*s.Value, n+1
		}
		if math.Mod(s.Value, 2) != 0 {
			t.Fatalf("%v is no multiple of the resolution", s.Value)
		}
	}
	sd := math.Sqrt(squares/n - sum*sum/n/n)
	testkit.Near(t, "noise", sd, math.Sqrt(25+4.0/12), testkit.Tol{Rel: 4 / math.Sqrt(2*n)})
}

// What a dropout keeps arrives at its end, at once, with the times it was
// measured at.
func TestDropoutKept(t *testing.T) {
	count := func(kept bool) (samples, burst int) {
		got := send(Cell{Link: Link{Rate: 10, OutEvery: 20, OutFor: 3, Kept: kept}}, 400)
		for _, s := range got {
			if s.Arrived > s.Measured+0.5 {
				burst++
			}
		}
		return len(got), burst
	}
	all, burst := count(true)
	some, none := count(false)
	if all < 3999 || burst == 0 {
		t.Errorf("kept: %d samples, %d of them late", all, burst)
	}
	if some > 3900 || none != 0 {
		t.Errorf("not kept: %d samples, %d of them late", some, none)
	}
}
