package reading_test

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"pgregory.net/rapid"

	"plumbhook/reading"
)

const (
	timed    = reading.Timed
	numbered = reading.Numbered
)

func TestOrder(t *testing.T) {
	type step struct {
		seq  uint64
		at   float64 // s
		val  float64
		want reading.Verdict
	}
	fresh := reading.Verdict{}
	gap := func(n uint64) reading.Verdict { return reading.Verdict{Missed: n} }
	late := reading.Verdict{Turn: reading.Late}
	found := reading.Verdict{Turn: reading.Late, Found: true}
	dup := reading.Verdict{Turn: reading.Duplicate}
	anew := reading.Verdict{Restarted: true}
	for _, c := range []struct {
		name  string
		marks reading.Marks
		steps []step
	}{
		{"in order", timed | numbered, []step{{7, 1, 0, fresh}, {8, 2, 0, fresh}, {9, 3, 0, fresh}}},
		{"a batch again", timed | numbered, []step{{7, 1, 0, fresh}, {8, 2, 0, fresh}, {7, 1, 0, dup}, {8, 2, 0, dup}, {9, 3, 0, fresh}}},
		{"late fills the gap once", timed | numbered, []step{
			{1, 1, 0, fresh}, {5, 5, 0, gap(3)}, {3, 3, 0, found}, {3, 3, 0, dup}, {2, 2, 0, found}, {4, 4, 0, found}, {4, 4, 0, dup}, {6, 6, 0, fresh},
		}},
		{"before the first that came", timed | numbered, []step{{7, 7, 0, fresh}, {6, 6, 0, late}, {6, 6, 0, dup}, {0, 0, 0, late}}},
		{"restart far back", timed | numbered, []step{{50_000, 100, 0, fresh}, {0, 110, 0, anew}, {1, 111, 0, fresh}, {2, 112, 0, fresh}}},
		{"restart after three", timed | numbered, []step{{1, 1, 0, fresh}, {2, 2, 0, fresh}, {3, 3, 0, fresh}, {1, 9, 0, anew}, {2, 10, 0, fresh}}},
		{"kept from before the restart", timed | numbered, []step{
			{90, 90, 0, fresh},
			{95, 95, 0, gap(4)},
			{1, 120, 0, anew},
			{92, 92, 0, found},
			{92, 92, 0, dup},
			{95, 95, 0, dup},
			{96, 96, 0, late},
			{96, 96, 0, dup},
			{2, 121, 0, fresh},
			{1, 120, 0, dup},
		}},
		{"clock set back", timed | numbered, []step{
			{99, 10, 0, fresh}, {100, 9, 0, fresh}, {99, 10, 0, dup}, {101, 9.1, 0, fresh}, {100, 9, 0, dup},
		}},
		{"a late one after the clock was set back", timed | numbered, []step{
			{98, 9.8, 0, fresh}, {100, 9, 0, gap(1)}, {99, 9.9, 0, found}, {101, 9.1, 0, fresh},
		}},
		{"a number that leaps and comes to its senses", timed | numbered, []step{
			{1, 1, 0, fresh}, {math.MaxUint64, 2, 0, gap(math.MaxUint64 - 2)}, {3, 3, 0, anew}, {4, 4, 0, fresh},
		}},
		{"numbered without time", numbered, []step{
			{5000, 1, 0, fresh}, {5002, 2, 0, gap(1)}, {5000, 3, 0, dup}, {5001, 4, 0, found}, {1, 5, 0, anew}, {2, 6, 0, fresh},
		}},
		{"timed", timed, []step{{0, 1, 5, fresh}, {0, 3, 5, fresh}, {0, 2, 5, late}, {0, 2, 5, dup}, {0, 3, 5, dup}, {0, 4, 5, fresh}}},
		{"a clock of whole seconds", timed, []step{{0, 1, 5, fresh}, {0, 1, 6, fresh}, {0, 1, 7, fresh}, {0, 1, 5, dup}, {0, 1, 6, dup}, {0, 2, 5, fresh}}},
		{"no number, NaN twice", timed, []step{{0, 1, math.NaN(), fresh}, {0, 1, math.NaN(), dup}}},
		{"plain", 0, []step{{0, 1, 5, fresh}, {0, 1, 5, fresh}, {0, 1, 5, fresh}}},
	} {
		t.Run(c.name, func(t *testing.T) {
			var o reading.Order
			for i, s := range c.steps {
				r := reading.Reading{At: reading.Seconds(s.at), Seq: s.seq, Value: s.val, Marks: c.marks}
				if got := o.Next(&r); got != s.want {
					t.Errorf("step %d (seq %d, at %g s): %+v, want %+v", i+1, s.seq, s.at, got, s.want)
				}
			}
		})
	}
}

// Whatever a network does that delays, repeats and loses, each reading that
// comes counts once, fresh ones come in order, and what is missing in the end
// is what never came.
func TestOrderCountsOnce(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		marks := rapid.SampledFrom([]reading.Marks{timed, timed | numbered}).Draw(t, "marks")
		restarts := rapid.IntRange(0, 1).Draw(t, "restarts")
		rnd := rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "seed"), 1))
		var sent []reading.Reading
		at := 0.0
		for run := 0; run <= restarts; run++ {
			first := uint64(rapid.IntRange(0, 3).Draw(t, "first"))
			n := rapid.IntRange(1, 120).Draw(t, "n")
			if run < restarts {
				n += 1000 // a count that does not fall is no restart to be seen
			}
			for i := range n {
				at += 0.01
				sent = append(sent, reading.Reading{At: reading.Seconds(at), Seq: first + uint64(i), Value: rnd.Float64(), Marks: marks})
			}
			at += 5
		}
		// Each arrives zero to three times, each time after a delay of its own.
		type arrival struct {
			after float64
			i     int
		}
		var wire []arrival
		spread := rapid.SampledFrom([]float64{0, 3, 300}).Draw(t, "spread")
		came := map[int]bool{}
		for i := range sent {
			for range []int{1, 1, 1, 0, 2, 3}[rnd.IntN(6)] {
				wire = append(wire, arrival{float64(i) + spread*rnd.Float64(), i})
				came[i] = true
			}
		}
		slices.SortStableFunc(wire, func(a, b arrival) int { return int(math.Copysign(1, a.after-b.after)) })

		var o reading.Order
		taken, furthest := map[int]int{}, -1
		missed := uint64(0)
		for _, w := range wire {
			v := o.Next(&sent[w.i])
			if v.Turn != reading.Duplicate {
				taken[w.i]++
			}
			if v.Turn == reading.Fresh {
				if w.i < furthest {
					t.Fatalf("reading %d is fresh after %d", w.i, furthest)
				}
				furthest = w.i
			}
			if missed += v.Missed; v.Found {
				missed--
			}
		}
		for i := range sent {
			if want := map[bool]int{true: 1}[came[i]]; taken[i] != want {
				t.Fatalf("reading %d (seq %d) came: %v, taken %d times", i, sent[i].Seq, came[i], taken[i])
			}
		}
		if restarts == 0 && marks&numbered != 0 && len(wire) > 0 {
			never := uint64(0)
			for i := wire[0].i + 1; i < furthest; i++ {
				if !came[i] {
					never++
				}
			}
			if missed != never {
				t.Fatalf("%d missed in the end, but %d never came", missed, never)
			}
		}
	})
}

// Memory is bounded however much is missing, and what is forgotten is never
// taken twice.
func TestOrderManyHoles(t *testing.T) {
	var o reading.Order
	at := func(seq uint64) *reading.Reading {
		return &reading.Reading{Seq: seq, At: reading.Stamp(seq), Marks: timed | numbered}
	}
	const n = 5000
	for i := range uint64(n) {
		if v := o.Next(at(2 * i)); v.Turn != reading.Fresh {
			t.Fatalf("%d is %s", 2*i, v.Turn)
		}
	}
	if v := o.Next(at(2*n - 3)); v.Turn != reading.Late {
		t.Errorf("a recent hole: %s, want late", v.Turn)
	}
	if v := o.Next(at(1)); v.Turn != reading.Duplicate {
		t.Errorf("a hole long forgotten: %s, want duplicate", v.Turn)
	}
}

func BenchmarkOrder(b *testing.B) {
	for _, c := range []struct {
		name  string
		marks reading.Marks
	}{{"numbered", timed | numbered}, {"timed", timed}} {
		b.Run(c.name, func(b *testing.B) {
			var o reading.Order
			r := reading.Reading{Marks: c.marks}
			for b.Loop() {
				r.Seq++
				r.At += 1e7
				o.Next(&r)
			}
		})
	}
}
