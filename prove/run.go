package prove

import (
	"fmt"
	"math"
	"slices"

	"plumbhook/reading"
)

// Phase is how far a test has come.
type Phase string

// NotStarted: what was worked out before does not hold. Waiting: no load yet.
// Raising: below the band. Holding: in the band, the time counts. Held: long
// enough. Lowering: on the way down. Released: no load any more. Aborted: a named
// person ended it.
const (
	NotStarted Phase = "not started"
	Waiting    Phase = "waiting"
	Raising    Phase = "raising"
	Holding    Phase = "holding"
	Held       Phase = "held"
	Lowering   Phase = "lowering"
	Released   Phase = "released"
	Aborted    Phase = "aborted"
)

// EventKind is what happened.
type EventKind string

// The kinds of event. Dip: the force left the band downward before the time was
// up. Overshoot: it came above what the test may put on. TooFast: it rose faster
// than the ramp. Lost and Back: of the cell's readings.
const (
	Began     EventKind = "began"
	InBand    EventKind = "in_band"
	Dip       EventKind = "dip"
	Overshoot EventKind = "overshoot"
	TooFast   EventKind = "too_fast"
	Lost      EventKind = "lost"
	Back      EventKind = "back"
	HoldDone  EventKind = "held"
	Unloaded  EventKind = "released"
	Ended     EventKind = "aborted"
	TooFar    EventKind = "moved_too_far"
)

// failing are the kinds after which a test cannot pass any more; a dip is one where
// the test says so.
var failing = []EventKind{Ended, Overshoot, Dip, TooFast, TooFar}

// An Event is something that happened, with the force or the movement then.
type Event struct {
	At       reading.Stamp
	Kind     EventKind
	Severity Severity
	Value    float64 // N, N/s of TooFast, m of TooFar
	Limit    float64
	Text     string
	Who      string // of Ended
}

const (
	// idle is the share of the test load below which the line counts as slack.
	idle = 0.02
	// settle is how long the force has to stay in the band before leaving it is a
	// dip and no part of the rise, s.
	settle = 3.0
	// Both, and a rate taken over a second, are common practice, no source.
	rateOver = 1.0
)

// Run is a test under way. It has no clock: readings and ticks say what time it
// is. Same input, same events.
type Run struct {
	p     *Plan
	phase Phase
	fails map[EventKind]string // why it cannot pass any more
	order reading.Order
	late  int

	now, last reading.Stamp // the newest anything; the last usable reading of the cell
	force     float64       // there
	seen      bool          // there has been one
	blind     bool          // an unusable one came since
	lost      bool
	rate      float64
	anchor    reading.Stamp // where the rate is counted from
	anchored  float64

	peak         float64
	peakAt       reading.Stamp
	peakAtLeast  bool    // readings were missing while there was load
	in           bool    // the last reading was in the band
	hold         hold    // the one under way, or the one that was long enough
	longest      float64 // of those cut short
	restarts     int
	mean         window
	trace        Trace
	before, rest tally // without load: before and after
	moves        []movement
	who, why     string
	events       []Event
}

// tally is what was read at rest: of the last few stretches of three seconds the
// mean of the one that moved least, so that a load that begins or ends gently is no
// shift of zero.
type tally struct {
	parts []atRest // oldest first; the last is under way
}

type atRest struct {
	from              reading.Stamp
	n, sum, low, high float64
}

func (t *tally) add(at reading.Stamp, v float64) {
	const length, most = 3, 6
	if n := len(t.parts); n > 0 && at.Since(t.parts[n-1].from) < length {
		p := &t.parts[n-1]
		p.n, p.sum, p.low, p.high = p.n+1, p.sum+v, min(p.low, v), max(p.high, v)
		return
	}
	if len(t.parts) == most {
		t.parts = slices.Delete(t.parts, 0, 1)
	}
	t.parts = append(t.parts, atRest{at, 1, v, v, v})
}

func (t *tally) mean() *float64 {
	n := len(t.parts)
	if n == 0 {
		return nil
	}
	calm := t.parts[max(0, n-2)] // the newest whole one, if there is one
	for i := n - 3; i >= 0; i-- {
		if p := t.parts[i]; p.high-p.low < calm.high-calm.low {
			calm = p
		}
	}
	return new(calm.sum / calm.n)
}

// hold is what was read while the time counted.
type hold struct {
	counted       reading.Stamp // summed as such: a sum of seconds would round a whole hold down
	seconds       float64       // the same
	lowest, most  float64
	area          float64 // force times time
	n             float64
	t, f, tt, tf  float64 // sums for the slope
	from, through reading.Stamp
	told          bool
}

func begin(at reading.Stamp, v float64) hold {
	h := hold{lowest: v, most: v, from: at, through: at}
	h.sample(at, v)
	return h
}

func (h *hold) sample(at reading.Stamp, v float64) {
	t := at.Since(h.from)
	h.n, h.t, h.f, h.tt, h.tf = h.n+1, h.t+t, h.f+v, h.tt+t*t, h.tf+t*v
	h.lowest, h.most, h.through = min(h.lowest, v), max(h.most, v), at
}

// drift is the change of the force over the hold by its straight line of best fit.
func (h *hold) drift() float64 {
	if d := h.n*h.tt - h.t*h.t; d > 0 {
		return (h.n*h.tf - h.t*h.f) / d * h.through.Since(h.from)
	}
	return 0
}

type movement struct {
	*Move
	before           tally
	now              float64 // from before, m
	known            bool
	greatest, inHold float64
	atEntry          float64
	entered, left    bool
	first, last      reading.Stamp // in the hold
	gap              float64       // longest time between two of them, s
	after            float64
}

// Start begins a test. One that does not hold beforehand stays at NotStarted,
// whatever is read.
func Start(p *Plan) *Run {
	r := &Run{p: p, phase: Waiting, fails: map[EventKind]string{}, mean: window{length: p.Hold}}
	if !p.Start {
		r.phase = NotStarted
	}
	if p.Rule.Kind == Guy {
		r.mean.still = p.Guy.Tolerance()
	}
	for i := range p.Moves {
		r.moves = append(r.moves, movement{Move: &p.Moves[i]})
	}
	return r
}

func (r *Run) say(kind EventKind, s Severity, value, limit float64, format string, args ...any) {
	e := Event{At: r.now, Kind: kind, Severity: s, Value: value, Limit: limit, Text: fmt.Sprintf(format, args...)}
	r.events = append(r.events, e)
	if s == Stop && r.fails[kind] == "" {
		r.fails[kind] = e.Text
	}
}

// flush gives what happened since the last call.
func (r *Run) flush() []Event {
	all := r.events
	r.events = nil
	return all
}

// Tick says that time has passed: readings that should be there and are not are
// lost, without waiting for the next one.
func (r *Run) Tick(at reading.Stamp) []Event {
	r.tick(at)
	return r.flush()
}

func (r *Run) tick(at reading.Stamp) {
	r.now = max(r.now, at)
	if r.over() || !r.seen || r.lost || r.now.Since(r.last) <= r.p.Gap {
		return
	}
	r.lost = true
	r.mean.cut()
	if r.loaded() {
		r.peakAtLeast = true
	}
	text := "no reading of the cell"
	if r.in && r.phase == Holding {
		text += fmt.Sprintf(": the hold begins anew, after %.0f s that counted", r.hold.seconds)
		r.cut()
		r.phase = Raising
	}
	r.in = false
	r.say(Lost, Caution, r.force, 0, "%s", text)
}

// over says that nothing that is read changes the test.
func (r *Run) over() bool { return r.phase == Aborted || r.phase == NotStarted }

func (r *Run) loaded() bool { return r.force >= idle*r.p.Target }

// cut ends a hold before its time.
func (r *Run) cut() {
	r.longest = max(r.longest, r.hold.seconds)
	r.restarts++
	r.hold = hold{}
	for i := range r.moves {
		r.moves[i].entered = false
	}
}

// Reading takes a reading of the cell or of a gauge. Others are somebody else's.
func (r *Run) Reading(m reading.Reading) []Event {
	if m.Channel == r.p.Cell.Channel {
		if r.order.Next(&m).Turn != reading.Fresh {
			r.late++
			return r.flush()
		}
		r.tick(m.At)
		if m.Usable() {
			r.cell(m.At, m.Value)
		} else {
			r.blind = true
		}
		return r.flush()
	}
	for i := range r.moves {
		if r.moves[i].Channel == m.Channel && m.Usable() {
			r.tick(m.At)
			r.moved(&r.moves[i], m.Value)
		}
	}
	return r.flush()
}

// cell takes a force.
func (r *Run) cell(at reading.Stamp, v float64) {
	r.trace.add(at, v)
	dt := at.Since(r.last)
	counts := r.seen && !r.lost && !r.blind
	if v > r.peak || !r.seen {
		r.peak, r.peakAt = v, at
	}
	if r.lost && !r.over() {
		r.say(Back, Note, v, 0, "readings are back, at %s", r.p.force(v))
		r.anchor, r.anchored = at, v
	}
	was := r.force
	if !r.seen {
		r.anchor, r.anchored = at, v
	}
	r.seen, r.lost, r.blind, r.last, r.force = true, false, false, at, v
	if r.over() {
		return
	}
	r.rates(at, v)
	if v > r.p.Most {
		if r.fails[Overshoot] == "" {
			r.say(Overshoot, Stop, v, r.p.Most, "%s; readings may not come above %s. Lower, and look at all that bore it", r.p.force(v), r.p.force(r.p.Most))
		}
		if r.in {
			r.cut()
			r.in, r.phase = false, Raising
		}
	}
	if r.p.byMean() {
		r.pulled(at, was, v, dt, counts)
		return
	}
	r.banded(at, was, v, dt, counts)
}

// rates holds the rise against the ramp.
func (r *Run) rates(at reading.Stamp, v float64) {
	dt := at.Since(r.anchor)
	if dt < rateOver {
		return
	}
	r.rate = (v - r.anchored) / dt
	r.anchor, r.anchored = at, v
	if limit := r.p.Ramp; limit > 0 && r.rate > limit && r.fails[TooFast] == "" {
		r.say(TooFast, Stop, r.rate, limit, "the force rises by %s per s, the ramp is %s per s: slower", r.p.force(r.rate), r.p.force(limit))
	}
}

// banded is a test that is held in a band.
func (r *Run) banded(at reading.Stamp, was, v, dt float64, counts bool) {
	p := r.p
	within := v >= p.AcceptLow && v <= p.Most
	switch {
	case r.phase == Waiting || r.phase == Released:
		r.slack(v)
		if v >= idle*p.Target && r.phase == Waiting {
			r.phase = Raising
			r.say(Began, Note, v, 0, "the line takes load")
		}
		if v >= idle*p.Target && r.phase == Released && r.hold.seconds < p.Hold {
			r.phase = Raising
			for i := range r.moves {
				r.moves[i].left = false
			}
			r.say(Began, Note, v, 0, "the line takes load again")
		}
	case (r.phase == Lowering || r.phase == Raising) && v < idle*p.Target:
		r.release(v)
	case r.phase == Held && v < p.AcceptLow:
		r.phase = Lowering
	}
	switch {
	case r.phase != Raising && r.phase != Holding:
	case within && !r.in:
		r.phase, r.in, r.hold = Holding, true, begin(at, v)
	case within:
		r.hold.sample(at, v)
		if counts {
			r.hold.counted += reading.Seconds(dt)
			r.hold.seconds = r.hold.counted.Since(0)
			r.hold.area += dt * (v + was) / 2
		}
		if r.hold.seconds >= settle && !r.hold.told {
			r.hold.told = true
			r.say(InBand, Note, v, p.AcceptLow, "in the band, at %s: the time counts", p.force(v))
		}
		if r.hold.seconds >= p.Hold {
			r.phase, r.in = Held, false
			r.say(HoldDone, Note, v, 0, "held for %.0f s; lowest reading %s, greatest %s", r.hold.seconds, p.force(r.hold.lowest), p.force(r.hold.most))
		}
	case r.in && r.hold.seconds < settle:
		r.phase, r.in, r.hold = Raising, false, hold{}
	case r.in:
		severity, then := Caution, "the hold begins anew"
		if p.DipFails {
			severity, then = Stop, "by the rule of this test it has failed"
		}
		held := r.hold.seconds
		r.cut()
		r.phase, r.in = Raising, false
		r.say(Dip, severity, v, p.AcceptLow, "%s, below the %s that counts as reached, after %.0f s: %s", p.force(v), p.force(p.AcceptLow), held, then)
	}
}

// slack takes a reading without load.
func (r *Run) slack(v float64) {
	if math.Abs(v) >= idle*r.p.Target {
		return
	}
	if r.phase == Waiting {
		r.before.add(r.now, v)
	} else {
		r.rest.add(r.now, v)
	}
}

func (r *Run) release(v float64) {
	r.phase = Released
	r.rest = tally{}
	r.slack(v)
	r.say(Unloaded, Note, v, 0, "the line is slack again")
}

// pulled is a test that goes by a running mean.
func (r *Run) pulled(at reading.Stamp, was, v, dt float64, counts bool) {
	loaded := v >= idle*r.p.Target
	switch {
	case r.phase == Waiting && loaded:
		r.phase = Holding
		r.say(Began, Note, v, 0, "the line takes load")
	case r.phase == Waiting, r.phase == Released && !loaded:
		r.slack(v)
	case !loaded:
		r.mean.cut()
		r.release(v)
	case r.phase == Released:
		r.phase = Holding
		r.say(Began, Note, v, 0, "the line takes load again")
	}
	if !loaded {
		return
	}
	if !counts || dt <= 0 {
		r.mean.cut()
		return
	}
	done := r.mean.full
	r.mean.add(at, dt, was, v)
	if r.mean.full && !done {
		r.phase = Held
		r.say(HoldDone, Note, r.mean.best, 0, "the first mean over %.0f s that counts: %s", r.p.Hold, r.p.force(r.mean.best))
	}
}

// Abort ends the test by the word of a named person.
func (r *Run) Abort(at reading.Stamp, who, why string) []Event {
	r.tick(at)
	if r.phase == Aborted {
		return r.flush()
	}
	r.phase, r.in, r.who, r.why = Aborted, false, who, why
	r.longest = max(r.longest, r.hold.seconds)
	r.say(Ended, Stop, r.force, 0, "ended by %s: %s", who, why)
	r.events[len(r.events)-1].Who = who
	return r.flush()
}

// moved takes a reading of a gauge.
func (r *Run) moved(m *movement, v float64) {
	switch r.phase {
	case Waiting:
		m.before.add(r.now, v)
		return
	case NotStarted, Aborted:
		return
	}
	zero := m.before.mean()
	if zero == nil {
		return
	}
	m.now, m.known = v-*zero, true
	if r.phase == Released {
		m.after, m.left = m.now, true
		return
	}
	m.greatest = max(m.greatest, math.Abs(m.now))
	if m.Most > 0 && m.greatest+m.Accuracy > m.Most && r.fails[TooFar] == "" {
		r.say(TooFar, Stop, m.greatest, m.Most, "%s has moved %.3g mm, of %.3g mm allowed: lower", m.Name, 1000*m.greatest, 1000*m.Most)
	}
	if r.phase == Holding && r.in {
		if !m.entered {
			m.entered, m.atEntry, m.inHold, m.first, m.last, m.gap = true, m.now, 0, r.now, r.now, 0
		}
		m.gap, m.last = max(m.gap, r.now.Since(m.last)), r.now
		m.inHold = max(m.inHold, math.Abs(m.now-m.atEntry))
	}
}

// window is a running mean over a length of time. The greatest counts or, where the
// force has to stand still, the last in which it did: a guy is slackened as well as
// drawn, and what it was on the way is nothing. Its memory is bounded: intervals are
// put together until they last a second.
type window struct {
	length float64
	still  float64 // share of the mean that no reading in it may be off; zero: any may
	parts  []stretchOf
	area   float64
	time   float64
	full   bool
	best   float64       // the one that counts
	bestAt reading.Stamp // its end
	lowest float64       // reading in it
	most   float64
}

type stretchOf struct{ time, area, lowest, most float64 }

// add takes the force from one reading to the next.
func (w *window) add(at reading.Stamp, dt, was, v float64) {
	a := dt * (was + v) / 2
	w.area, w.time = w.area+a, w.time+dt
	if n := len(w.parts); n > 0 && w.parts[n-1].time+dt <= 1 {
		s := &w.parts[n-1]
		s.time, s.area, s.lowest, s.most = s.time+dt, s.area+a, min(s.lowest, was, v), max(s.most, was, v)
	} else {
		w.parts = append(w.parts, stretchOf{dt, a, min(was, v), max(was, v)})
	}
	// A part that reaches over the beginning is taken at its own mean.
	for w.time-w.parts[0].time >= w.length {
		w.time, w.area = w.time-w.parts[0].time, w.area-w.parts[0].area
		w.parts = w.parts[1:]
	}
	if w.time < w.length {
		return
	}
	first := w.parts[0]
	mean := (w.area - (w.time-w.length)*first.area/first.time) / w.length
	if w.still == 0 && w.full && mean <= w.best {
		return
	}
	lowest, most := first.lowest, first.most
	for _, s := range w.parts {
		lowest, most = min(lowest, s.lowest), max(most, s.most)
	}
	if w.still > 0 && (lowest < mean*(1-w.still) || most > mean*(1+w.still)) {
		return
	}
	w.full, w.best, w.bestAt, w.lowest, w.most = true, mean, at, lowest, most
}

// cut begins anew: nobody knows what the force did.
func (w *window) cut() { w.parts, w.area, w.time = nil, 0, 0 }

// A View is the test at a moment, for a screen.
type View struct {
	Phase     Phase
	Force     float64 // last usable reading, N; NaN before the first
	Age       float64 // of it, s
	Live      bool    // it is no older than the gap
	Low, High float64 // readings that count lie between these
	Held      float64 // s that count so far
	Left      float64 // s still to hold
	Mean      float64 // of the running window, N; NaN before it is full
	Rate      float64 // of the last second, N/s
	Peak      float64
	Restarts  int
	Failed    []EventKind
}

// View shows the test at a time.
func (r *Run) View(at reading.Stamp) View {
	v := View{
		Phase: r.phase, Force: math.NaN(), Mean: math.NaN(), Low: r.p.AcceptLow, High: r.p.Most, Peak: r.peak, Restarts: r.restarts, Rate: r.rate, Left: r.p.Hold,
	}
	if r.seen {
		v.Force, v.Age = r.force, max(0, at.Since(r.last))
		v.Live = v.Age <= r.p.Gap
	}
	if r.p.byMean() {
		v.Held = min(r.mean.time, r.p.Hold)
		if r.mean.full {
			v.Mean, v.Held = r.mean.best, r.p.Hold
		}
	} else {
		v.Held = r.hold.seconds
	}
	if !v.Live && r.phase == Holding { // what is not read is not held
		v.Held = 0
	}
	v.Left = max(0, r.p.Hold-v.Held)
	for _, k := range failing {
		if r.fails[k] != "" {
			v.Failed = append(v.Failed, k)
		}
	}
	return v
}
