package watch

import (
	"math"
	"strconv"
	"strings"

	"plumbhook/logbook"
	"plumbhook/reading"
)

// Pulled is a tug test: with the rigging hanging free a person pulls one leg by
// hand, and the cells tell which leg it was. With a known load hung on that leg
// in place of the hand it checks what the cells read as well.
type Pulled struct {
	At     reading.Stamp
	Who    string
	Leg    string  // asked for
	Found  string  // the leg whose pull makes the cells rise as they did; empty: none found
	PullN  float64 // along that leg, from what they rose by
	LoadN  float64 // the known load; zero: a hand
	ErrorN float64 // limit of the error of PullN; zero: the cells state none
	Over   bool    // no more is looked for
}

// Reads tells whether the cells read a known load as they should: within their
// errors, where they state any, and within a hundredth of it besides (common
// practice, no source).
func (p *Pulled) Reads() Match {
	switch {
	case p.LoadN == 0 || p.Found == "":
		return Unknown
	case math.Abs(p.PullN-p.LoadN) > p.ErrorN+0.01*p.LoadN:
		return Off
	}
	return Fits
}

const (
	pullBase = 1.5 // s before the test that tell what the cells read without it
	pullHold = 0.6 // s that a pull has to last
	pullTime = 30  // s that a hand is waited for, and a known load pullLoad
	pullLoad = 300
	pullOdd  = 0.3 // what a leg's pull may leave unexplained of what the cells rose by; figures of common practice, no source
)

// pullWith stands between the leg and the known load.
const pullWith = " with N "

// PullText is how a Mark that says logbook.Tug names the leg, and a known load
// in N; zero: none.
func PullText(leg string, load float64) string {
	if load == 0 {
		return leg
	}
	return leg + pullWith + strconv.FormatFloat(load, 'g', -1, 64)
}

// pull begins a tug test; one that still waits is over.
func (e *Engine) pull(en *logbook.Entry) {
	if n := len(e.pulls); n > 0 {
		e.pulls[n-1].Over = true
	}
	leg, load, _ := strings.Cut(en.Text, pullWith)
	n, err := strconv.ParseFloat(load, 64)
	if err != nil || !(n > 0) {
		n = 0
	}
	e.pulls = append(e.pulls, Pulled{At: e.now, Who: en.Who, Leg: leg, LoadN: n})
	e.pullFrom = nil
	if len(e.rows.history) > 0 {
		e.pullFrom = e.means(e.rows.last().t-pullBase, math.Inf(1))
	}
}

// means is what each cell read on the average between two times; NaN where it
// did not.
func (e *Engine) means(from, to float64) []float64 {
	sum, n := make([]float64, len(e.cells)), make([]int, len(e.cells))
	for _, r := range e.rows.since(from) {
		for i, v := range r.read {
			if !math.IsNaN(v) && r.t <= to {
				sum[i] += v
				n[i]++
			}
		}
	}
	for i := range sum {
		sum[i] /= float64(n[i]) // NaN without any
	}
	return sum
}

// pulled looks, with every new row, whether a leg is pulled.
func (e *Engine) pulled() {
	n := len(e.pulls)
	if n == 0 || e.pulls[n-1].Over {
		return
	}
	p := &e.pulls[n-1]
	t, since := e.rows.last().t, e.now.Since(p.At)
	// A known load may be as heavy as one that is lifted; a hand is not.
	wait, idle, same := float64(pullTime), e.course.phase == IdlePhase || e.course.phase == "", 0.1
	if p.LoadN > 0 {
		wait, idle, same = pullLoad, true, 0.02
	}
	if e.pullFrom == nil || since > wait || !idle {
		p.Over = true
		return
	}
	if since < pullHold {
		return
	}
	// The whole pull has to stand in both halves, so that nobody takes a jerk
	// for one.
	mid := t - pullHold/2
	early, found := e.leg(e.means(t-pullHold, mid))
	late, again := e.leg(e.means(mid, t))
	if early < 0 || early != late || math.Abs(found-again) > same*again {
		return
	}
	tug := &e.card.Tug[late]
	p.Found, p.PullN, p.Over = tug.Leg, (found+again)/2, true
	p.ErrorN = tug.LeastN / 3 // which is three times that
}

// leg is the pull of the card's tug test that explains what the cells have
// risen by, and how hard it is; -1 where none does, or more than one.
func (e *Engine) leg(read []float64) (which int, pull float64) {
	which = -1
	all := 0.0
	rise := make([]float64, len(read))
	for i, v := range read {
		if rise[i] = v - e.pullFrom[i]; math.IsNaN(rise[i]) {
			return -1, 0
		}
		all += rise[i] * rise[i]
	}
	for k := range e.card.Tug {
		t := &e.card.Tug[k]
		top, under := 0.0, 0.0
		for i, s := range t.Share {
			top += s * rise[i]
			under += s * s
		}
		if under == 0 {
			continue
		}
		n := top / under
		left := 0.0
		for i, s := range t.Share {
			left += (rise[i] - n*s) * (rise[i] - n*s)
		}
		if n < math.Max(t.LeastN, 1) || left > pullOdd*pullOdd*all {
			continue
		}
		if which >= 0 {
			return -1, 0
		}
		which, pull = k, n
	}
	return which, pull
}
