// Package reading holds what comes off the wire: one sample of one channel,
// and the frame of samples that arrived together.
//
// A reading is kept as it came. Its value is in SI units (N, m, rad, m/s), or,
// for a channel with a calibration curve, in the unit of the cell's own signal
// (mV/V, counts): nothing is calibrated, tared or filtered here.
package reading

import (
	"math"
	"time"
)

// Stamp is a moment in nanoseconds since 1970-01-01 UTC. A recording whose
// times are bare seconds counts from zero.
type Stamp int64

// At is the stamp of a time.
func At(t time.Time) Stamp { return Stamp(t.UnixNano()) }

// Seconds is the stamp so many seconds after zero, to the nearest nanosecond.
func Seconds(s float64) Stamp { return Stamp(math.Round(s * 1e9)) }

// Time is the stamp as a time, UTC.
func (s Stamp) Time() time.Time { return time.Unix(0, int64(s)).UTC() }

// Since is the time from an earlier stamp to this one, s.
func (s Stamp) Since(earlier Stamp) float64 { return float64(s-earlier) / 1e9 }

// Plus is the stamp so many seconds later.
func (s Stamp) Plus(seconds float64) Stamp { return s + Seconds(seconds) }

// Quality is what the sender, or whoever read its frame, says of a value.
type Quality uint8

// Good is a measured value. Stale is an old one, shown again or from a sender
// that is known to be gone. Lost says that the sender has no value: the link
// to the cell is down. Bad is no measurement at all: an overload mark, a not
// a number, a fault of the cell.
const (
	Good Quality = iota
	Stale
	Lost
	Bad
)

var qualities = [...]string{"good", "stale", "lost", "bad"}

// String is the word for it.
func (q Quality) String() string {
	if int(q) < len(qualities) {
		return qualities[q]
	}
	return "bad"
}

// Marks say what a reading brought along.
type Marks uint8

// Timed readings say when they were measured, by the sender's clock. Numbered
// ones count up by one per reading of their channel. A reading is Historical
// when the sender kept it while the link was down, and Unsteady when the
// sender says that the value moves.
const (
	Timed Marks = 1 << iota
	Numbered
	Historical
	Unsteady
)

// Reading is one sample of one channel.
type Reading struct {
	Channel string
	At      Stamp  // when measured; that of arrival when not Timed
	Seq     uint64 // when Numbered
	Value   float64
	Quality Quality
	Marks   Marks
}

// Usable tells whether the value may be computed with.
func (r *Reading) Usable() bool {
	return r.Quality == Good && !math.IsNaN(r.Value) && !math.IsInf(r.Value, 0)
}

// Health is how a channel's radio and battery do. NaN is not told.
type Health struct {
	Channel string
	Signal  float64 // dBm
	Battery float64 // share of full, 0 to 1
}

// Frame is what arrived together from one source.
type Frame struct {
	// Source is the sender whose clock and count the readings follow.
	Source   string
	Arrived  Stamp // by this machine's clock
	Readings []Reading
	Health   []Health
	// Garbled says what could not be read of it, one line each; none of that
	// is among the readings.
	Garbled []string
}
