package reading

import (
	"math"
	"slices"
)

// Turn says where a reading stands among those of its channel.
type Turn uint8

// Fresh readings go further than all before them. A Late one is new, but one
// that was measured after it was here first. A Duplicate was here already.
const (
	Fresh Turn = iota
	Late
	Duplicate
)

var turns = [...]string{"fresh", "late", "duplicate"}

// String is the word for it.
func (t Turn) String() string {
	if int(t) < len(turns) {
		return turns[t]
	}
	return "fresh"
}

// Verdict is what Order says of a reading.
type Verdict struct {
	Turn Turn
	// Missed counts the readings between a fresh one and the one before it
	// that have not come. They may yet, and are Late then.
	Missed uint64
	// Found says that a late one was among those missed.
	Found bool
	// Restarted says that the sender counts anew from this reading on.
	Restarted bool
}

// Order tells fresh readings of one channel from late ones and duplicates. The
// zero Order has seen nothing.
//
// It goes by the number where readings are Numbered: each number is taken
// once, however late it comes. A count that falls while the time of
// measurement goes on is a sender that restarted; what the sender had kept
// from before and sends afterwards still finds its place by its time. A restart
// shows where the count falls, so not after a handful of readings whose order
// is lost as well. A sender that numbers but tells no time has restarted only where its count falls by
// more than a resent batch could explain; until then its readings pass for
// duplicates.
//
// Readings that are Timed only are the same where time and value are: a clock
// that ticks once per second may give several readings one time. The last 4096
// that came are remembered, so that one sent again after so many others is
// taken twice.
//
// Readings with neither cannot be told apart and are all fresh: they count at
// least once.
type Order struct {
	run, last run // of the sender's count; last is that before a restart
	counted   bool
	restarted bool
	recent    []instant // the last that came, a ring
	next      int       // in it
	furthest  Stamp
	haveTimed bool
}

const (
	mostHoles  = 1024 // runs of missing numbers that are kept in mind; the oldest then count as lost
	mostRecent = 4096 // readings without number that are kept in mind

	// A clock that is set back while readings are under way can make a late
	// one look younger than the furthest. So near to it, and missing, it is
	// late and no restart.
	near = 64
	// farUntimed is more than senders keep unacknowledged and resend.
	farUntimed = 1024
)

// instant is what makes a reading without number itself.
type instant struct {
	at    Stamp
	value uint64
}

// Next judges a reading and takes it into account. Readings of all channels
// but one are somebody else's.
func (o *Order) Next(r *Reading) Verdict {
	switch {
	case r.Marks&Numbered != 0:
		return o.byNumber(r)
	case r.Marks&Timed != 0:
		return o.byTime(r)
	}
	return Verdict{}
}

func (o *Order) byNumber(r *Reading) Verdict {
	switch {
	case !o.counted:
		o.counted, o.run = true, begin(r)
		return Verdict{}
	case o.restarted && o.old(r):
		if fresh, _ := o.last.take(r); fresh {
			return Verdict{Turn: Late, Found: r.Seq > o.last.first && r.Seq < o.last.seq}
		}
		return Verdict{Turn: Duplicate}
	case o.restarts(r):
		o.last, o.run, o.restarted = o.run, begin(r), true
		return Verdict{Restarted: true}
	}
	further := r.Seq > o.run.seq
	fresh, missed := o.run.take(r)
	switch {
	case !fresh:
		return Verdict{Turn: Duplicate}
	case !further:
		return Verdict{Turn: Late, Found: r.Seq > o.run.first}
	}
	return Verdict{Missed: missed}
}

// restarts tells whether the sender began to count anew with r.
func (o *Order) restarts(r *Reading) bool {
	if r.Seq > o.run.seq {
		return false
	}
	fall, missing := o.run.seq-r.Seq, r.Seq > o.run.first && o.run.misses(r.Seq)
	if r.Marks&Timed == 0 {
		return fall > farUntimed && !missing
	}
	return r.At > o.run.at && !(missing && fall <= near)
}

// old tells whether r was measured before the restart.
func (o *Order) old(r *Reading) bool {
	return r.Marks&Timed != 0 && r.At < o.run.began && (r.At <= o.last.at || r.Seq > o.run.seq)
}

func (o *Order) byTime(r *Reading) Verdict {
	i := instant{r.At, math.Float64bits(r.Value)}
	// One that goes further than all before it, as nearly all do, was not here.
	if o.haveTimed && r.At <= o.furthest && slices.Contains(o.recent, i) {
		return Verdict{Turn: Duplicate}
	}
	if len(o.recent) < mostRecent {
		o.recent = append(o.recent, i)
	} else {
		o.recent[o.next] = i
		o.next = (o.next + 1) % mostRecent
	}
	if o.haveTimed && r.At < o.furthest {
		return Verdict{Turn: Late}
	}
	o.haveTimed, o.furthest = true, r.At
	return Verdict{}
}

// run is one unbroken count of a sender.
type run struct {
	first, seq uint64 // the first that came, and the furthest
	began, at  Stamp  // time of the first, and the latest of all
	holes      []hole // numbers up to seq that have not come, ascending
}

// hole is a run of missing numbers, both ends included.
type hole struct{ from, to uint64 }

// begin starts a count. Those before its first may be on their way.
func begin(r *Reading) run {
	c := run{first: r.Seq, seq: r.Seq, began: r.At, at: r.At}
	if r.Seq > 0 {
		c.holes = []hole{{0, r.Seq - 1}}
	}
	return c
}

// find is the place of the first hole that ends at seq or after it, and
// whether seq is in it.
func (c *run) find(seq uint64) (int, bool) {
	i, _ := slices.BinarySearchFunc(c.holes, seq, func(h hole, seq uint64) int {
		if h.to < seq {
			return -1
		}
		return 1
	})
	return i, i < len(c.holes) && c.holes[i].from <= seq
}

func (c *run) misses(seq uint64) bool {
	_, in := c.find(seq)
	return in
}

// take notes that a reading came: fresh if its number had not, with the count
// of those it leapt over.
func (c *run) take(r *Reading) (fresh bool, missed uint64) {
	if r.Seq > c.seq {
		if missed = r.Seq - c.seq - 1; missed > 0 {
			if len(c.holes) == mostHoles {
				c.holes = slices.Delete(c.holes, 0, 1)
			}
			c.holes = append(c.holes, hole{c.seq + 1, r.Seq - 1})
		}
		c.seq, c.at = r.Seq, max(c.at, r.At)
		return true, missed
	}
	i, in := c.find(r.Seq)
	if !in {
		return false, 0
	}
	h := c.holes[i]
	var rest []hole
	if h.from < r.Seq {
		rest = append(rest, hole{h.from, r.Seq - 1})
	}
	if r.Seq < h.to {
		rest = append(rest, hole{r.Seq + 1, h.to})
	}
	if c.holes = slices.Replace(c.holes, i, i+1, rest...); len(c.holes) > mostHoles {
		c.holes = slices.Delete(c.holes, 0, 1)
	}
	c.at = max(c.at, r.At)
	return true, 0
}
