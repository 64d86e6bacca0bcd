package prove

import (
	"fmt"
	"math"
	"slices"

	"plumbhook/metrology"
	"plumbhook/reading"
)

// A Result is what a test came to.
type Result struct {
	*Plan                 // as it was worked out before
	Findings    []Finding // those of the plan and those of the test
	NotAssessed []string  // likewise
	Outcome     Outcome
	Phase       Phase // how far it came
	// Hold is the one that was long enough, or the one that was under way when the
	// readings ended; nil: the band was not reached. Pulls and guys have a Mean.
	Hold     *HoldResult
	Mean     *MeanResult
	Longest  float64 // longest time that counted, s
	Restarts int
	Seen     bool    // there is a usable reading of the cell
	Peak     float64 // greatest reading, N
	PeakAt   reading.Stamp
	// PeakAtLeast: readings were missing under load, it may have been more.
	PeakAtLeast bool
	Before      *float64 // mean reading without load; nil: there is none
	After       *float64 // the same once the load was off
	Moves       []Moved
	Trace       Trace  // of the force
	Late        int    // readings that came out of order or twice, and were left out
	AbortedBy   string // who ended it; empty: nobody
	AbortedWhy  string
}

// A HoldResult is a hold.
type HoldResult struct {
	From, Through    reading.Stamp
	Seconds          float64 // that count
	Lowest, Most     float64 // readings, N
	Mean             float64
	Drift            float64 // change over the hold by its best straight line, N
	ChanceNotReached float64 // that the true force was below the load at the lowest reading
	ChanceAbove      float64 // that it was above what it may come to at the greatest
}

// A MeanResult is the running mean that counts: the greatest of a pull, the last
// settled one of a guy.
type MeanResult struct {
	Through      reading.Stamp // its end
	Mean         float64       // N
	Lowest, Most float64       // readings in it
}

// Moved is what a gauge showed; nil: there is no reading that tells.
type Moved struct {
	Move
	Greatest, InHold, After *float64
}

// Result says what the test has come to so far.
func (r *Run) Result() Result {
	p := *r.p
	p.Findings, p.NotAssessed = slices.Clone(p.Findings), slices.Clone(p.NotAssessed)
	res := Result{
		Plan: r.p, Phase: r.phase, Seen: r.seen, Longest: max(r.longest, r.hold.seconds), Restarts: r.restarts, Peak: r.peak, PeakAt: r.peakAt, PeakAtLeast: r.peakAtLeast,
		Before: r.before.mean(), After: r.rest.mean(), Trace: Trace{slices.Clone(r.trace.Bars), r.trace.Width}, Late: r.late, AbortedBy: r.who, AbortedWhy: r.why,
	}
	for _, k := range failing {
		if why := r.fails[k]; why != "" {
			p.find(Stop, "test", "%s", why)
		}
	}
	switch {
	case !r.seen:
		p.lacks(Stop, "cell", "there is no reading of channel %s", r.p.Cell.Channel)
	case r.phase == NotStarted && r.everLoaded():
		p.find(Stop, "test", "it was not to be started, and the cell read up to %s: what bore that has to be looked at", p.force(r.peak))
	case r.phase == NotStarted:
		p.find(Note, "test", "not started")
	case r.p.byMean():
		r.meanResult(&p, &res)
	default:
		r.holdResult(&p, &res)
	}
	if r.seen && r.phase != NotStarted {
		r.zero(&p)
		r.after(&p)
		r.movements(&p, &res)
		if r.peakAtLeast {
			p.find(Caution, "test", "readings were missing under load: the greatest force is at least the %s that was read", p.force(r.peak))
		}
	}
	if r.late > 0 {
		p.find(Note, "readings", "%d readings of the cell came out of order or twice, and count for nothing", r.late)
	}
	res.Findings, res.NotAssessed = p.Findings, p.NotAssessed
	res.Outcome = outcome(p.Findings)
	return res
}

// Sentence is the result in one breath.
func (r *Result) Sentence() string {
	p, text := r.Plan, ""
	switch h, m := r.Hold, r.Mean; {
	case !r.Seen:
		text = "nothing was read"
	case r.Phase == NotStarted:
		text = "not to be started; " + p.force(r.Peak) + " was read"
	case m != nil:
		text = fmt.Sprintf("mean over %.6g s: %s (95 %%, k = %.2f)", p.Hold, p.Spread(m.Mean), p.U.K)
	case h != nil && h.Seconds >= p.Hold:
		text = fmt.Sprintf("%s held for %.0f s, between %s and %s", p.force(p.Target), h.Seconds, p.force(h.Lowest), p.force(h.Most))
	default:
		text = fmt.Sprintf("not held: %.0f s at the longest, of %.6g s; greatest reading %s", r.Longest, p.Hold, p.force(r.Peak))
	}
	if r.AbortedBy != "" {
		text += "; ended by " + r.AbortedBy
	}
	return p.Item.Name + ": " + text
}

// everLoaded tells whether there was load at any time.
func (r *Run) everLoaded() bool { return r.peak >= idle*r.p.Target }

func (r *Run) holdResult(p *Plan, res *Result) {
	h := &r.hold
	if h.n > 0 {
		u := p.Budget.U()
		res.Hold = &HoldResult{
			From: h.from, Through: h.through, Seconds: h.seconds, Lowest: h.lowest, Most: h.most, Mean: h.lowest, Drift: h.drift(),
			ChanceNotReached: 1 - metrology.ChanceAbove(p.Low, h.lowest, u), ChanceAbove: metrology.ChanceAbove(p.High, h.most, u),
		}
		if h.seconds > 0 {
			res.Hold.Mean = h.area / h.seconds
		}
	}
	switch {
	case h.seconds >= p.Hold:
		if limit := p.Drift * p.Target; p.Drift > 0 && math.Abs(res.Hold.Drift) > limit {
			p.find(Stop, "drift", "the force drifted by %s over the hold; %s is allowed", p.force(res.Hold.Drift), p.force(limit))
		}
	case res.Longest > 0:
		p.find(Stop, "hold", "held for %.0f s at the longest, of %.0f s", res.Longest, p.Hold)
	default:
		p.find(Stop, "hold", "the test load was not reached: the greatest reading is %s, and %s counts as reached", p.force(r.peak), p.force(p.AcceptLow))
	}
	if r.restarts > 0 {
		p.find(Note, "hold", "it began anew %d times", r.restarts)
	}
}

func (r *Run) meanResult(p *Plan, res *Result) {
	w := &r.mean
	if !w.full {
		still := ""
		if w.still > 0 {
			still = fmt.Sprintf(" in which the force stayed within %.3g %% of its mean", 100*w.still)
		}
		p.find(Stop, "hold", "there is no stretch of %.0f s under load without missing readings%s", p.Hold, still)
		return
	}
	res.Mean = &MeanResult{w.bestAt, w.best, w.lowest, w.most}
	res.Longest = p.Hold
	switch m := w.best; {
	case m >= p.AcceptLow && m <= p.AcceptHigh:
	case m >= p.Low && m <= p.High:
		p.find(Stop, "mean", "the mean of %s lies within its limits by less than its uncertainty, ±%s: it cannot be said to keep them", p.force(m), p.force(p.U.U))
	case m < p.Low:
		p.find(Stop, "mean", "the mean of %s is below %s", p.force(m), p.force(p.Low))
	default:
		p.find(Stop, "mean", "the mean of %s is above %s", p.force(m), p.force(p.High))
	}
}

// zero holds the readings without load against what the cell may be off.
func (r *Run) zero(p *Plan) {
	limit, missing := p.Cell.Accuracy.ZeroLimit(p.Cell.Conditions.SinceZero)
	before, after := r.before.mean(), r.rest.mean()
	switch {
	case before == nil:
		p.NotAssessed = append(p.NotAssessed, "the zero of the cell before the test: no reading without load")
	case math.IsNaN(limit):
		p.NotAssessed = append(p.NotAssessed, "whether the cell was at zero and came back to it well enough: its zero return is not stated")
	case math.Abs(*before) > limit:
		p.find(Stop, "cell", "it read %s without load before the test, and may be off by %s: it was not at zero", p.force(*before), p.force(limit))
	case after == nil:
		p.NotAssessed = append(p.NotAssessed, "whether the cell came back to zero: no reading once the load was off")
	case math.Abs(*after-*before) > limit:
		p.find(Stop, "cell", "without load it read %s before the test and %s after it, and may shift by %s: what it read in between is in doubt", p.force(*before), p.force(*after), p.force(limit))
	case len(missing) > 0:
		p.NotAssessed = append(p.NotAssessed, "for the zero of the cell: "+missing[0])
	}
}

// after says what the test did to the cell, and whether its readings lived.
func (r *Run) after(p *Plan) {
	c := &p.Cell
	if s := (metrology.Wear{On: p.Date, Peak: r.peak, Capacity: c.Accuracy.Capacity, SafeOverload: c.Proof}).Standing(); s.Use == metrology.Held || s.Use == metrology.Out {
		p.find(Stop, "cell", "%s", s.Why)
	}
	if h := &r.hold; h.seconds >= p.Hold && h.lowest == h.most && h.n >= 10 {
		const flat = "every reading of the hold is the same: a frozen readout looks like that"
		if c.Accuracy.Resolution == nil {
			p.lacks(Stop, "cell", flat+", and no resolution is stated that would round them so")
		} else {
			p.find(Caution, "cell", flat+", and so does a steady load on one step of %s", p.force(*c.Accuracy.Resolution))
		}
	}
}

func (r *Run) movements(p *Plan, res *Result) {
	for i := range r.moves {
		m := &r.moves[i]
		out := Moved{Move: *m.Move}
		if m.known {
			out.Greatest = &m.greatest
		}
		slack := reading.Seconds(max(p.Gap, p.Hold/10))
		if h := &r.hold; m.entered && h.seconds >= p.Hold && m.first <= h.from+slack && m.last >= h.through-slack && m.gap <= slack.Since(0) {
			out.InHold = &m.inHold
		}
		if m.left {
			out.After = new(math.Abs(m.after))
		}
		if m.Accuracy == 0 {
			p.NotAssessed = append(p.NotAssessed, "how well "+m.Name+" is read: its accuracy is not stated")
		}
		judge := func(what string, v *float64, limit float64) {
			switch {
			case limit == 0:
			case v == nil:
				p.lacks(Caution, m.Name, "no reading tells %s", what)
			case *v+m.Accuracy > limit:
				p.find(Stop, m.Name, "%s is %.3g mm; with its accuracy of %.3g mm that is not within %.3g mm", what, 1000**v, 1000*m.Accuracy, 1000*limit)
			}
		}
		judge("its greatest movement", out.Greatest, m.Most)
		judge("its movement over the hold", out.InHold, m.InHold)
		judge("what stays once the load is off", out.After, m.Stays)
		res.Moves = append(res.Moves, out)
	}
}
