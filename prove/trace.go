package prove

import "plumbhook/reading"

// mostBars bounds a trace: more than a printed page or a screen can show.
const mostBars = 600

// A Bar is the lowest and the greatest usable reading of the cell from a moment on,
// for as long as the trace is wide. Where nothing was read there is no bar.
type Bar struct {
	At        reading.Stamp
	Low, High float64
}

// Trace is the force over the whole test in bounded memory: when there are too many
// bars they become twice as wide.
type Trace struct {
	Bars  []Bar
	Width float64 // s
}

func (t *Trace) add(at reading.Stamp, v float64) {
	if t.Width == 0 {
		t.Width = 0.1
	}
	if n := len(t.Bars); n > 0 && at.Since(t.Bars[n-1].At) < t.Width {
		b := &t.Bars[n-1]
		b.Low, b.High = min(b.Low, v), max(b.High, v)
		return
	}
	if len(t.Bars) == mostBars {
		t.Width *= 2
		kept := t.Bars[:1]
		for _, b := range t.Bars[1:] {
			if k := &kept[len(kept)-1]; b.At.Since(k.At) < t.Width {
				k.Low, k.High = min(k.Low, b.Low), max(k.High, b.High)
			} else {
				kept = append(kept, b)
			}
		}
		t.Bars = kept
		t.add(at, v)
		return
	}
	t.Bars = append(t.Bars, Bar{at, v, v})
}
