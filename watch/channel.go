package watch

import (
	"fmt"
	"math"
	"slices"

	"plumbhook/alarm"
	"plumbhook/cycles"
	"plumbhook/reading"
	"plumbhook/verdict"
)

// Quality is how much the number of a channel is worth now.
type Quality string

// A stale number is old; a lost channel has been silent for so long that
// nobody should expect it back; a frozen one repeats itself. Never: nothing
// has come yet.
const (
	Good       Quality = "good"
	Stale      Quality = "stale"
	Lost       Quality = "lost"
	Frozen     Quality = "frozen"
	OutOfRange Quality = "out of range"
	Never      Quality = "no reading yet"
)

const (
	// How many periods without a reading make a channel stale and lost, and
	// the least times for it, s. Common practice, no source: late after one
	// period, stale after two to three missed ones, lost after a fixed time.
	stalePeriods, staleLeast = 4, 0.6
	lostPeriods, lostLeast   = 12, 4.0

	// overload is the share of its capacity that a cell may read before it is
	// out of range (common practice, no source).
	overload = 1.25
	slowHz   = 10 // cells below it miss peaks
)

// cell is one load cell live.
type cell struct {
	expected      *verdict.Expected
	leg           int
	name          string
	capacity      float64 // N; zero: not stated
	hungN, slackN float64 // what it should read with the rigging alone

	order   reading.Order
	value   float64       // last usable, tared; NaN before
	at      reading.Stamp // measured, by this machine's clock
	clock   *clock        // of its sender; nil before a reading
	unsure  bool          // how old it is cannot be told yet
	arrived reading.Stamp
	period  float64 // s, between measurements; 0 before two
	got     int     // usable readings
	late    int
	behind  bool // the last that came is usable, and came after later ones
	beyonds int  // so many of these in a row past a limit
	twice   int
	bad     int
	missed  uint64
	marked  reading.Quality // what the sender said last
	offN    float64         // tared

	slow float64       // value through a single pole of slowS
	peak float64       // since the last zero
	most float64       // of all readings, whatever was zeroed since
	rate float64       // N/s, over the last few readings
	runs reading.Stamp // when it last did not run towards a limit

	same     int // readings in a row with the very same value
	sameFrom reading.Stamp
	longest  float64    // of the runs that ended, those long ago forgotten by and by
	step     float64    // least by which two readings differed, N: its resolution, or less
	others   [2]float64 // least and greatest sum of the other cells since the run began, N
	changes  int        // of its value, in all
	stirs    int        // changes of the others, when the run began
	frozen   bool
	silent   Quality // stale or lost
	last     [16]float64
	times    [16]reading.Stamp
	fill     int
	signal   float64
	battery  float64
	hasLinks bool

	holdsPeaks bool
	counter    cycles.Counter
	swings     cycles.Histogram // cycles so far, by range
}

// extra is a channel that is no cell.
type extra struct {
	name, kind string
	value      float64
	at         reading.Stamp
	order      reading.Order
}

// slowS is the time constant of the slow value, s: a corner of 0.32 Hz.
const slowS = 0.5

// receive takes a reading that was measured at a time and reports whether the
// live value went on.
func (c *cell) receive(now, at reading.Stamp, r *reading.Reading) bool {
	v := c.order.Next(r)
	c.behind = false
	switch v.Turn {
	case reading.Duplicate:
		c.twice++
		return false
	case reading.Late:
		c.late++
		c.behind = r.Usable()
		if r.Usable() {
			c.most = max(c.most, r.Value-c.offN)
		}
		return false
	}
	c.missed += v.Missed
	c.marked = r.Quality
	if !r.Usable() {
		c.bad++
		return false
	}
	if r.Marks&reading.Historical != 0 {
		c.late++
		c.behind = true
		c.most = max(c.most, r.Value-c.offN)
		return false
	}
	value := r.Value - c.offN
	if c.got > 0 {
		dt := at.Since(c.at)
		if dt > 0 {
			if c.period == 0 {
				c.period = dt
			} else if dt < 10*c.period {
				c.period += 0.05 * (dt - c.period)
			}
			c.slow += (1 - math.Exp(-dt/slowS)) * (value - c.slow)
		}
		if value == c.value {
			c.same++
		} else {
			if !c.frozen {
				c.longest = max(0.98*c.longest, float64(c.same))
			}
			if d := math.Abs(value - c.value); c.step == 0 || d < 0.999*c.step {
				c.step = d
			}
			c.same, c.sameFrom = 0, at
			c.changes++
		}
	} else {
		c.slow, c.sameFrom = value, at
		c.peak = value
	}
	c.most = max(c.most, value)
	for _, k := range c.counter.Add(value) {
		c.swings.Add(k)
	}
	c.value, c.at, c.arrived = value, at, now
	c.got++
	c.peak = max(c.peak, value)
	c.last[c.fill%len(c.last)], c.times[c.fill%len(c.times)] = value, at
	c.fill++
	c.silent = c.old(now)
	return true
}

// back is the i-th last value and its time.
func (c *cell) back(i int) (float64, reading.Stamp) {
	k := (c.fill - 1 - i) % len(c.last)
	return c.last[k], c.times[k]
}

// slope is how fast the value rises over the last few readings, N/s: at least
// three of them and 0.3 s.
func (c *cell) slope() float64 {
	n := min(c.fill, len(c.last))
	v0, t0 := c.back(0)
	for i := 2; i < n; i++ {
		v, t := c.back(i)
		if dt := t0.Since(t); dt >= 0.3 || i == n-1 && dt > 0 {
			return (v0 - v) / dt
		}
	}
	return 0
}

// tare takes off what the cell reads too much.
func (c *cell) tare(off float64) {
	c.offN += off
	for i := range c.last {
		c.last[i] -= off
	}
	c.value -= off
	c.slow -= off
	c.peak = c.value
}

// live is the value where it may be gone by now.
func (c *cell) live() float64 {
	if c.got == 0 || c.unsure || c.silent != "" || c.frozen {
		return math.NaN()
	}
	return c.value
}

// quality is how the channel stands.
func (c *cell) quality() Quality {
	switch {
	case c.silent != "":
		return c.silent
	case c.got == 0, c.unsure:
		return Never
	case c.frozen:
		return Frozen
	case c.beyond():
		return OutOfRange
	}
	return Good
}

// beyond tells whether the cell reads what it cannot measure.
func (c *cell) beyond() bool {
	return c.capacity > 0 && (c.value > overload*c.capacity || c.value < -0.1*c.capacity-math.Abs(c.expected.Cell.Zero))
}

// old tells what its age makes of the channel; empty: nothing.
func (c *cell) old(now reading.Stamp) Quality {
	age := now.Since(c.at)
	switch {
	case age > max(lostLeast, lostPeriods*c.period):
		return Lost
	case c.got > 0 && age > c.staleAfter(), c.marked == reading.Stale:
		return Stale
	}
	return ""
}

// staleAfter is how old the newest reading may be, s.
func (c *cell) staleAfter() float64 { return max(staleLeast, stalePeriods*c.period) }

// then is the value at a moment, where one was read about then.
func (c *cell) then(at reading.Stamp) float64 {
	if c.got == 0 || c.frozen || at.Since(c.at) > c.staleAfter() {
		return math.NaN()
	}
	return c.value
}

// silence judges how long a channel has said nothing.
func (e *Engine) silence(k int) {
	c := &e.cells[k]
	if c.got == 0 {
		c.at = e.begun
	}
	if c.unsure {
		c.unsure = !c.clock.settled(e.now)
	}
	age := max(0, e.now.Since(c.at))
	loaded := e.course.loaded()
	if q := c.old(e.now); q != "" {
		c.silent = q
	}
	air := e.course.air()
	lost := c.silent == Lost
	if s := &e.course.signs; lost && loaded && !slices.Contains(s.Lost, k) {
		s.Lost = append(s.Lost, k)
	}
	e.panel.Tell(e.now, alarm.Condition{
		Kind: alarm.Lost, Where: c.expected.Channel, On: lost && loaded, Value: age, Air: air,
		Text: fmt.Sprintf("%s has said nothing for %.0f s.", c.expected.Channel, age),
	})
	e.panel.Tell(e.now, alarm.Condition{
		Kind: alarm.Stale, Where: c.expected.Channel, On: c.silent != "", Value: age, Air: air,
		Text: fmt.Sprintf("%s is %.1f s old.", c.expected.Channel, age),
	})
}

// health takes radio and battery.
func (e *Engine) health(c *cell, h reading.Health) {
	c.signal, c.battery, c.hasLinks = h.Signal, h.Battery, true
	where := c.expected.Channel
	if !math.IsNaN(h.Battery) {
		e.panel.Tell(e.now, alarm.Condition{Kind: alarm.Battery, Where: where, On: h.Battery < 0.15, Value: h.Battery, Air: e.course.air(), Text: fmt.Sprintf("The battery of %s is at %.0f %%.", where, h.Battery*100)})
	}
	if !math.IsNaN(h.Signal) {
		e.panel.Tell(e.now, alarm.Condition{Kind: alarm.Radio, Where: where, On: h.Signal < -90, Value: h.Signal, Air: e.course.air(), Text: fmt.Sprintf("The radio of %s is at %.0f dBm.", where, h.Signal)})
	}
}
