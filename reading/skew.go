package reading

import "math"

// Skew estimates how far the clock of a sender is behind this machine's: the
// least delay, arrival less time of measurement, of the last minute or so in
// which it sent. The least is taken because everything on the way only adds to
// it: queues, radio retries, batches, what waited while the link was down. It
// contains the shortest way there is, so a few milliseconds to tens of them are
// no fault of the clock.
//
// A clock that is set back shows as a minute of readings that seem old. The
// zero Skew knows nothing.
type Skew struct {
	spans [skewSpans]span // a ring, the newest at newest
	fill  int             // spans there are
	top   int             // the newest
}

const (
	skewSpan  = 10e9 // ns of arrivals gathered in one span
	skewSpans = 7    // the newest one is still filling, so one to one and a sixth minutes
)

type span struct {
	number int64 // of the span since 1970
	least  int64 // ns
}

// Note takes a reading into account.
func (s *Skew) Note(arrived Stamp, r *Reading) {
	if r.Marks&Timed == 0 || r.Marks&Historical != 0 {
		return
	}
	number, delay := int64(arrived)/skewSpan, int64(arrived-r.At)
	if s.fill == 0 || s.spans[s.top].number != number {
		s.top = (s.top + 1) % skewSpans
		s.fill = min(s.fill+1, skewSpans)
		s.spans[s.top] = span{number, delay}
	}
	p := &s.spans[s.top]
	p.least = min(p.least, delay)
}

// Behind is the estimate in seconds, NaN as long as there is none. Below zero
// the sender's clock is ahead.
func (s *Skew) Behind() float64 {
	if s.fill == 0 {
		return math.NaN()
	}
	least := int64(math.MaxInt64)
	for i := range s.fill {
		least = min(least, s.spans[(s.top-i+skewSpans)%skewSpans].least)
	}
	return float64(least) / 1e9
}
