package watch

import (
	"math"

	"plumbhook/reading"
)

// row is one value of every cell, measured about the same moment.
type row struct {
	t     float64 // s since the watch began, by the senders' clocks
	at    reading.Stamp
	read  []float64 // N, as read, tared; NaN where a cell said nothing
	total float64   // N, at the hooks; NaN where that cannot be told
}

// rows bring the cells together. A row is full when every live cell has read
// since the one before; each value is the mean of what came in between, so
// that quick cells do not fold their ripple into the row of slow ones.
type rows struct {
	cells   int
	sum     []float64
	n       []int
	opened  reading.Stamp
	newest  reading.Stamp
	open    bool
	zero    reading.Stamp // t = 0
	begun   bool
	history []row
	lastAt  reading.Stamp
	period  float64 // s, between rows
}

const (
	leastRow   = 0.02 // s between rows
	keepRows   = 30.0 // s of history
	mostKept   = 4096 // rows of history
	trimLength = 2 * mostKept
)

// add takes a value and reports whether it filled a row.
func (r *rows) add(k int, at reading.Stamp, v float64, cells []cell) bool {
	if r.sum == nil {
		r.sum, r.n = make([]float64, r.cells), make([]int, r.cells)
	}
	if !r.begun {
		r.begun, r.zero = true, at
	}
	if !r.open {
		r.open, r.opened, r.newest = true, at, at
	}
	r.sum[k] += v
	r.n[k]++
	r.newest = max(r.newest, at)
	if len(r.history) > 0 && r.newest.Since(r.lastAt) < leastRow {
		return false
	}
	for i := range cells {
		if r.n[i] == 0 && cells[i].got > 0 && cells[i].silent == "" {
			return false
		}
	}
	r.close(cells)
	return true
}

// overdue closes a row that waits for a cell in vain.
func (r *rows) overdue(now reading.Stamp, cells []cell) bool {
	if !r.open {
		return false
	}
	slowest := 0.0
	arrived := reading.Stamp(0)
	for i := range cells {
		if cells[i].silent == "" {
			slowest = max(slowest, cells[i].period)
		}
		arrived = max(arrived, cells[i].arrived)
	}
	if now.Since(arrived) < 1e-9 && now.Since(r.opened) < max(0.3, 2*slowest) || now.Since(r.opened) < max(0.1, 1.5*slowest) {
		return false
	}
	r.close(cells)
	return true
}

func (r *rows) close(cells []cell) {
	// The readings of a row may have been measured over up to a period; the
	// middle of that stands for them.
	next := row{at: r.newest, t: r.newest.Since(r.zero), total: math.NaN(), read: make([]float64, r.cells)}
	for i := range next.read {
		next.read[i] = math.NaN()
		if r.n[i] > 0 && !cells[i].frozen {
			next.read[i] = r.sum[i] / float64(r.n[i])
		}
		r.sum[i], r.n[i] = 0, 0
	}
	if len(r.history) > 0 {
		if dt := next.t - r.last().t; dt > 0 {
			if r.period == 0 {
				r.period = dt
			}
			r.period += 0.05 * (dt - r.period)
		}
	}
	r.history = append(r.history, next)
	if len(r.history) > trimLength {
		r.history = append(r.history[:0], r.history[len(r.history)-mostKept:]...)
	}
	r.lastAt, r.open = r.newest, false
}

func (r *rows) last() *row { return &r.history[len(r.history)-1] }

// whole tells whether every cell has read in the last n rows.
func (r *rows) whole(n int) bool {
	for _, row := range r.history[max(0, len(r.history)-n):] {
		for _, v := range row.read {
			if math.IsNaN(v) {
				return false
			}
		}
	}
	return true
}

// since is the history from a time on.
func (r *rows) since(t float64) []row {
	lo, hi := 0, len(r.history)
	for lo < hi {
		if m := (lo + hi) / 2; r.history[m].t < t {
			lo = m + 1
		} else {
			hi = m
		}
	}
	return r.history[lo:]
}

// shift takes a tare off what is kept.
func (r *rows) shift(off []float64) {
	for i := range r.history {
		for k := range off {
			r.history[i].read[k] -= off[k]
		}
	}
	for k := range r.sum {
		r.sum[k] -= off[k] * float64(r.n[k])
	}
}

// alike is the correlation of what is left about the line with itself, lag
// seconds on.
func (s *series) alike(lag float64, rest func(int) float64) float64 {
	var xx, yy, xy float64
	for i, j := 0, 0; j < len(s.t); j++ {
		if s.t[j]-s.t[i] < lag {
			continue
		}
		x, y := rest(i), rest(j)
		xx, yy, xy = xx+x*x, yy+y*y, xy+x*y
		i++
	}
	if xx == 0 || yy == 0 {
		return 0
	}
	return xy / math.Sqrt(xx*yy)
}

// series is one number over time.
type series struct{ t, x []float64 }

func (s *series) reset() { s.t, s.x = s.t[:0], s.x[:0] }

func (s *series) add(t, x float64) {
	if !math.IsNaN(x) {
		s.t, s.x = append(s.t, t), append(s.x, x)
	}
}

// coarse makes a series of the means over so many seconds of the totals.
func (s *series) coarse(h []row, bin float64) {
	var from, t, x, n float64
	flush := func() {
		if n > 0 {
			s.add(t/n, x/n)
		}
		t, x, n = 0, 0, 0
	}
	for i := range h {
		if r := &h[i]; !math.IsNaN(r.total) {
			if r.t-from >= bin {
				flush()
				from = r.t
			}
			t, x, n = t+r.t, x+r.total, n+1
		}
	}
	flush()
}

// part is the stretch between two times.
func (s *series) part(from, to float64) *series {
	var out series
	for i, t := range s.t {
		if t >= from && t < to {
			out.add(t, s.x[i])
		}
	}
	return &out
}

// at is the amplitude of the sine of a frequency that fits best beside a
// constant (least squares, so that the readings need not be even in time).
func (s *series) at(hz float64) float64 {
	a, _ := s.sine(hz)
	return a
}

// sine gives its share of the variance as well.
func (s *series) sine(hz float64) (amplitude, share float64) {
	n := float64(len(s.x))
	if n < 5 {
		return 0, 0
	}
	var mx, mc, ms float64
	for i, x := range s.x {
		sin, cos := math.Sincos(2 * math.Pi * hz * s.t[i])
		mx, mc, ms = mx+x/n, mc+cos/n, ms+sin/n
	}
	var cc, cs, ss, xc, xs, xx float64
	for i := range s.x {
		sin, cos := math.Sincos(2 * math.Pi * hz * s.t[i])
		c, q, x := cos-mc, sin-ms, s.x[i]-mx
		cc, cs, ss = cc+c*c, cs+c*q, ss+q*q
		xc, xs, xx = xc+x*c, xs+x*q, xx+x*x
	}
	det := cc*ss - cs*cs
	if det <= 1e-9*n*n || xx == 0 {
		return 0, 0
	}
	a, b := (xc*ss-xs*cs)/det, (xs*cc-xc*cs)/det
	return math.Hypot(a, b), (a*xc + b*xs) / xx
}

// tone finds the sine between two frequencies that takes the most of what moves.
func (s *series) tone(low, high float64) (hz, amplitude, share float64) {
	if len(s.t) < 5 {
		return 0, 0, 0
	}
	span := s.t[len(s.t)-1] - s.t[0]
	for f := low; f < high; f += 0.25 / span {
		if a, r := s.sine(f); r > share {
			hz, amplitude, share = f, a, r
		}
	}
	return hz, amplitude, share
}

// wave is what a series does about its straight line.
type wave struct {
	mean, slope float64
	sd          float64 // about the line
	white       float64 // sd of what does not hang together from reading to reading
	crossings   int     // of the line, with hysteresis of half the sd
	hz          float64 // from the first crossing to the last; 0 below two
	again       float64 // how alike the rest is to itself one period on, -1 to 1
	span        float64 // s
	n           int
}

// look fits a line and describes the rest.
func (s *series) look() wave {
	n := len(s.x)
	w := wave{n: n}
	if n < 2 {
		if n == 1 {
			w.mean = s.x[0]
		}
		return w
	}
	var mt, mx float64
	for i := range s.x {
		mt += s.t[i]
		mx += s.x[i]
	}
	mt /= float64(n)
	mx /= float64(n)
	var stt, stx float64
	for i := range s.x {
		stt += (s.t[i] - mt) * (s.t[i] - mt)
		stx += (s.t[i] - mt) * (s.x[i] - mx)
	}
	w.mean, w.span = mx, s.t[n-1]-s.t[0]
	if stt > 0 {
		w.slope = stx / stt
	}
	rest := func(i int) float64 { return s.x[i] - mx - w.slope*(s.t[i]-mt) }
	var ss, dd float64
	for i := range s.x {
		r := rest(i)
		ss += r * r
		if i > 0 {
			d := r - rest(i-1)
			dd += d * d
		}
	}
	w.sd = math.Sqrt(ss / float64(n))
	w.white = math.Sqrt(dd / float64(2*(n-1)))
	side, band := 0, w.sd/2
	var first, last float64
	for i := range s.x {
		now := side
		switch r := rest(i); {
		case r > band:
			now = 1
		case r < -band:
			now = -1
		}
		if now != side && side != 0 {
			if w.crossings == 0 {
				first = s.t[i]
			}
			last = s.t[i]
			w.crossings++
		}
		side = now
	}
	if w.crossings > 1 && last > first {
		w.hz = float64(w.crossings-1) / 2 / (last - first)
		w.again = s.alike(1/w.hz, rest)
	}
	return w
}
