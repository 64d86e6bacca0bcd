package watch

import (
	"iter"

	"plumbhook/alarm"
	"plumbhook/logbook"
	"plumbhook/reading"
)

// TickS is how often the clock is entered into a logbook, s.
const TickS = 0.1

// Play has an engine go through frames as they arrived, with the clock ticking
// in between, and hands on what it says. It stops at the first error.
func Play(e *Engine, frames iter.Seq2[*reading.Frame, error], said func(alarm.Event)) error {
	var n uint64
	var next reading.Stamp
	apply := func(en logbook.Entry) {
		n++
		en.N = n
		for _, ev := range e.Apply(&en) {
			said(ev)
		}
	}
	for f, err := range frames {
		if err != nil {
			return err
		}
		if n == 0 {
			next = f.Arrived.Plus(TickS)
		}
		for ; next < f.Arrived; next = next.Plus(TickS) {
			apply(logbook.Entry{At: next, Kind: logbook.Tick})
		}
		apply(logbook.Entry{At: f.Arrived, Kind: logbook.Frame, Frame: f})
	}
	return nil
}
