// Package cycles counts load cycles by the rainflow method, for gear and
// structures that are watched for months: how often a force went up and down,
// by how much, and about which mean.
//
// A history of samples is first cut down to its turns, peaks and valleys in
// turn. From these, cycles are taken by the three-point method of ASTM
// E1049-85, 5.4.4: with X the newest range and Y the one before it, Y is
// counted once X is as large; as one cycle, whose two turns go, or as half a
// one where Y begins at the start of the history, whose first turn goes. Ranges
// that no later one closes count as halves when the history ends.
//
// Values are in the unit of what is counted (N), counts are 1 or 1/2. Nothing
// here says what a cycle does to a piece: that takes its maker's data.
package cycles

import (
	"cmp"
	"iter"
	"math"
	"slices"
)

// A Cycle went from Low to High and back, or, with a count of 1/2, one of the
// two ways.
type Cycle struct {
	Low, High float64
	Count     float64
}

// Range is how far it went.
func (c Cycle) Range() float64 { return c.High - c.Low }

// Mean is the middle between its ends.
func (c Cycle) Mean() float64 { return c.Low + (c.High-c.Low)/2 }

// turns finds the turns of a history as it comes.
type turns struct {
	gate  float64
	state int     // unseen, resting or moving
	far   float64 // the farthest on the way from the last turn; the start before there is a way
	up    bool
}

const (
	unseen = iota
	resting
	moving
)

// next takes a sample and gives the turn that it shows to be one.
func (t *turns) next(v float64) (turn float64, found bool) {
	away := v != t.far && math.Abs(v-t.far) >= t.gate
	switch {
	case t.state == unseen:
		t.state, t.far = resting, v
		return v, true
	case t.state == resting:
		if away {
			t.state, t.up, t.far = moving, v > t.far, v
		}
	case t.up == (v > t.far):
		if v != t.far {
			t.far = v
		}
	case away:
		turn = t.far
		t.up, t.far = v > turn, v
		return turn, true
	}
	return 0, false
}

// Turns gives the peaks and valleys of a history, with its first sample and the
// farthest of its last way. A swing below the gate is no turn.
func Turns(samples iter.Seq[float64], gate float64) (all []float64) {
	t := turns{gate: gate}
	for v := range samples {
		if turn, found := t.next(v); found {
			all = append(all, turn)
		}
	}
	if t.state == moving {
		all = append(all, t.far)
	}
	return all
}

// A Counter counts as samples come. The zero Counter takes every turn as it is;
// the ranges it has to keep are then as many as lie inside each other.
type Counter struct {
	// Gate is the smallest swing that makes a turn: noise below it counts as
	// nothing.
	Gate float64
	// Step is what turns are rounded to. The ranges that are kept become
	// smaller by a step at least from one to the next, so that no history,
	// however long, keeps more than its greatest range over Step, and two.
	Step float64

	turns   turns
	open    []float64 // turns that wait to be closed; their ranges become smaller
	skipped int
}

// Add takes the next sample and gives the cycles it closes. One that is no
// number is left out: what happened meanwhile counts as if the force had gone
// straight from the sample before to the one after.
func (c *Counter) Add(v float64) (closed []Cycle) {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		c.skipped++
		return nil
	}
	c.turns.gate = c.Gate
	if turn, found := c.turns.next(v); found {
		c.open = push(c.open, c.round(turn), func(k Cycle) { closed = append(closed, k) })
	}
	return closed
}

func (c *Counter) round(v float64) float64 {
	if c.Step > 0 {
		return c.Step * math.Round(v/c.Step)
	}
	return v
}

// Open is how many turns wait to be closed.
func (c *Counter) Open() int { return len(c.open) }

// Skipped is how many samples were no numbers: while it is not zero, every
// count is "at least".
func (c *Counter) Skipped() int { return c.skipped }

// push puts a turn behind those open and takes out what it closes.
func push(open []float64, v float64, closed func(Cycle)) []float64 {
	n := len(open)
	switch { // rounding may make one way of two, or none
	case n >= 1 && v == open[n-1]:
		return open
	case n >= 2 && (open[n-1] > open[n-2]) == (v > open[n-1]):
		open[n-1] = v
	default:
		open = append(open, v)
	}
	for len(open) >= 3 {
		n = len(open)
		x, y := math.Abs(open[n-1]-open[n-2]), math.Abs(open[n-2]-open[n-3])
		if x < y {
			break
		}
		if n == 3 {
			closed(cycle(open[0], open[1], 0.5))
			open = slices.Delete(open, 0, 1)
			break
		}
		closed(cycle(open[n-3], open[n-2], 1))
		open = slices.Delete(open, n-3, n-1)
	}
	return open
}

func cycle(a, b, count float64) Cycle { return Cycle{min(a, b), max(a, b), count} }

// Rest gives what counts besides if the history ends here, and changes nothing:
// every range that is open, as half a cycle.
func (c *Counter) Rest() (rest []Cycle) {
	open := slices.Clone(c.open)
	if c.turns.state == moving {
		open = push(open, c.round(c.turns.far), func(k Cycle) { rest = append(rest, k) })
	}
	for i := 1; i < len(open); i++ {
		rest = append(rest, cycle(open[i-1], open[i], 0.5))
	}
	return rest
}

// Count counts a whole history.
func (c Counter) Count(samples iter.Seq[float64]) []Cycle {
	var all []Cycle
	for v := range samples {
		all = append(all, c.Add(v)...)
	}
	return append(all, c.Rest()...)
}

// A Histogram gathers cycles in classes of range and of mean. The zero
// Histogram has no widths and holds nothing: set Range before adding. Mean may
// stay zero, for cycles of any mean together.
type Histogram struct {
	Range, Mean float64 // widths of the classes
	counts      map[[2]int]float64
}

// A Class is the cycles whose range lies from From up to To and whose mean lies
// from MeanFrom up to MeanTo; the means are zero where they are not told apart.
type Class struct {
	From, To, MeanFrom, MeanTo float64
	Count                      float64
}

// Add puts a cycle into its class.
func (h *Histogram) Add(c Cycle) {
	if h.counts == nil {
		h.counts = map[[2]int]float64{}
	}
	key := [2]int{int(math.Floor(c.Range() / h.Range))}
	if h.Mean > 0 {
		key[1] = int(math.Floor(c.Mean() / h.Mean))
	}
	h.counts[key] += c.Count
}

// Classes gives those that hold something, by range and then by mean.
func (h *Histogram) Classes() []Class {
	var all []Class
	for k, n := range h.counts {
		r, m := float64(k[0]), float64(k[1])
		c := Class{From: r * h.Range, To: (r + 1) * h.Range, Count: n}
		if h.Mean > 0 {
			c.MeanFrom, c.MeanTo = m*h.Mean, (m+1)*h.Mean
		}
		all = append(all, c)
	}
	slices.SortFunc(all, func(a, b Class) int {
		return cmp.Or(cmp.Compare(a.From, b.From), cmp.Compare(a.MeanFrom, b.MeanFrom))
	})
	return all
}
