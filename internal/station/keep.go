package station

import (
	"time"

	"plumbhook/internal/bus"
	"plumbhook/logbook"
	"plumbhook/reading"
	"plumbhook/record"
)

// retainEvery is how often what is too old or too much is looked for.
const retainEvery = 10 * time.Minute

// retain takes from the recording what Options.Keep does not cover, but never
// of the lift under watch, which begins with an entry; 0: it went on from before.
func (s *Station) retain(begun uint64) {
	defer s.done.Done()
	if s.keep == (record.Keep{}) {
		return
	}
	if begun == 0 {
		begun = s.begun()
	}
	watch := record.Range{From: begun}
	t := time.NewTicker(retainEvery)
	defer t.Stop()
	for {
		_, err := s.rec.Retain(reading.At(s.now()), s.keep, watch)
		s.mu.Lock()
		s.keepErr = err
		s.mu.Unlock()
		select {
		case <-s.stop:
			return
		case <-t.C:
		}
	}
}

// begun is the entry that the lift under watch begins with. It goes through
// all of the recording.
func (s *Station) begun() (n uint64) {
	for e, err := range s.rec.Reader().From(0) {
		select {
		case <-s.stop:
			return 0
		default:
		}
		if err == nil && e.Kind == logbook.Plan {
			n = e.N
		}
	}
	return n
}

// retention is what a bound on the recording means for a stream of the message
// server, which only bridges the time until all is recorded and has bounds of
// its own.
func retention(keep record.Keep) (r bus.Retention) {
	const day = 24 * time.Hour
	if keep.Age > 0 {
		r.Age = min(keep.Age, 90*day)
	}
	if keep.Bytes > 0 {
		r.Bytes = min(keep.Bytes, 512<<20)
	}
	return r
}
