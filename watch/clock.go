package watch

import (
	"math"

	"plumbhook/reading"
)

// clock puts the times of one sender on this machine's clock, so that the age
// of a reading, the delay of an alarm and the moment at which cells are
// compared are all of one clock. What waited somewhere while a link was down is
// as old here as it is.
type clock struct {
	skew reading.Skew
	off  float64 // s, what is added to the sender's times
	set  bool
	fell reading.Stamp // when the way was last found to be much shorter than thought
}

const (
	// Between these two, s, the offset is left alone, so that the spacing of
	// readings stays the sender's own: a quicker way is taken soon, a longer one
	// only when it is more than the ways of a network differ. Common practice,
	// no source.
	quicker, slower = 0.05, 0.5

	// settles is how long, s, the way must not be found shorter until ages can
	// be believed: readings that waited come in quick succession, each younger
	// than the one before.
	settles = 0.5

	// mostLag bounds how far back the moment of an alarm is put, s: by more than
	// that a clock is wrong, and no gateway keeps readings and sends them as new.
	mostLag = 600
)

// note takes a frame into account, before its readings are placed: the newest
// of them was measured last.
func (c *clock) note(arrived reading.Stamp, readings []reading.Reading) {
	for i := range readings {
		c.skew.Note(arrived, &readings[i])
	}
	b := c.skew.Behind()
	if math.IsNaN(b) {
		return
	}
	if !c.set || b < c.off-slower/2 {
		c.fell = arrived
	}
	if !c.set || b < c.off-quicker || b > c.off+slower {
		c.set, c.off = true, b
	}
}

// here is when r was measured, by the clock that arrived is of.
func (c *clock) here(arrived reading.Stamp, r *reading.Reading) reading.Stamp {
	switch {
	case r.Marks&reading.Timed == 0:
		return arrived
	case !c.set:
		return min(arrived, r.At)
	}
	return r.At + reading.Seconds(c.off)
}

// settled tells whether it is known how old readings are.
func (c *clock) settled(now reading.Stamp) bool { return now.Since(c.fell) >= settles }

// resume takes up what was known before the watch was away.
func (c *clock) resume(now reading.Stamp, off float64) {
	c.set, c.off = true, off
	c.skew.Note(now, &reading.Reading{At: now - reading.Seconds(off), Marks: reading.Timed})
}
