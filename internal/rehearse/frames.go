package rehearse

import (
	"iter"

	"plumbhook/reading"
)

// Frames are the readings of a run in order of arrival, as an intake would hand
// them on, one to a frame. A frame lasts until the next one.
func (r *Run) Frames() iter.Seq2[*reading.Frame, error] {
	return func(yield func(*reading.Frame, error) bool) {
		var f reading.Frame
		for i := range r.Samples {
			s := &r.Samples[i]
			f = reading.Frame{Source: "rehearsal", Arrived: reading.Seconds(s.Arrived), Readings: append(f.Readings[:0], reading.Reading{
				Channel: s.Channel, At: reading.Seconds(s.Measured), Marks: reading.Timed, Value: s.Value,
			})}
			if !yield(&f, nil) {
				return
			}
		}
	}
}
