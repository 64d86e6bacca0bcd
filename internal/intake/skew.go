package intake

import (
	"math"

	"plumbhook/reading"
)

// Skew estimates how far the clock of a sender is behind this machine's: the
// least delay, arrival less time of measurement, of the last minute or so. The
// least is taken because everything on the way only adds to it: queues, radio
// retries, batches. It contains the shortest way there is, so a few
// milliseconds to tens of them are no fault of the clock.
//
// What a sender had kept while its link was down says nothing and is left out.
// The zero Skew knows nothing.
type Skew struct {
	spans [skewSpans]span // a ring by time of arrival
}

const (
	skewSpan  = 10e9 // ns of arrivals gathered in one span
	skewSpans = 7    // the newest one is still filling, so one to one and a sixth minutes
)

type span struct {
	number int64 // of the span since 1970
	least  int64 // ns
	any    bool
}

// Note takes a reading into account.
func (s *Skew) Note(arrived reading.Stamp, r *reading.Reading) {
	if r.Marks&reading.Timed == 0 || r.Marks&reading.Historical != 0 {
		return
	}
	number := int64(arrived) / skewSpan
	delay := int64(arrived - r.At)
	p := &s.spans[((number%skewSpans)+skewSpans)%skewSpans]
	if !p.any || p.number != number {
		*p = span{number, delay, true}
	}
	p.least = min(p.least, delay)
}

// Behind is the estimate in seconds, NaN as long as there is none. Below zero
// the sender's clock is ahead.
func (s *Skew) Behind() float64 {
	newest, least := int64(math.MinInt64), int64(math.MaxInt64)
	for _, p := range s.spans {
		if p.any {
			newest = max(newest, p.number)
		}
	}
	for _, p := range s.spans {
		if p.any && p.number > newest-skewSpans {
			least = min(least, p.least)
		}
	}
	if least == math.MaxInt64 {
		return math.NaN()
	}
	return float64(least) / 1e9
}
