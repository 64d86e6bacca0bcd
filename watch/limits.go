package watch

import (
	"fmt"
	"math"

	"plumbhook/alarm"
	"plumbhook/card"
	"plumbhook/reading"
	"plumbhook/verdict"
)

// limits are the numbers of the card, as the engine holds readings against
// them.
type limits struct {
	cells   []cellLimit
	partSum []limit // on the total
	stop    float64 // the file's own, on the total; +Inf without
	warn    float64
	low     float64 // least and most that the plan explains at rest, total
	high    float64
	far     float64 // what no reading of the plan explains
	nominal float64
	dynamic float64
	tilt    float64
}

type limit struct {
	n    float64 // static
	what string
}

type cellLimit struct {
	part       limit
	stop, warn float64
	high       float64 // joint band
	low        float64
}

// newLimits takes them from the card. A part's limit on the card is its rating
// over the dynamic factor, for a display at rest; a quick cell shows the peaks
// themselves, which are held against the rating.
func newLimits(c *card.Card, p *verdict.Plan) limits {
	r := limits{stop: math.Inf(1), warn: math.Inf(1), low: c.Total.LowN, high: c.Total.HighN, nominal: c.Total.NominalN, dynamic: max(1, p.Dynamic), tilt: math.Inf(1)}
	r.far = r.high + max(2*(r.high-r.nominal), 0.03*r.nominal)
	for i := range c.Cells {
		k := &c.Cells[i]
		l := cellLimit{part: limit{n: math.Inf(1)}, stop: math.Inf(1), warn: math.Inf(1), high: k.JointHighN, low: k.JointLowN}
		for _, s := range k.Stops {
			switch s.Why {
			case card.OfPart:
				l.part = limit{s.AtN, s.Part.Where}
			case card.OfFile:
				l.stop = s.AtN
			}
		}
		if m, ok := p.Lift.Limits.Legs[k.Leg]; ok && m.Warn != nil {
			l.warn = k.WarnN
		}
		r.cells = append(r.cells, l)
	}
	for _, s := range c.Total.Stops {
		switch s.Why {
		case card.OfPart:
			r.partSum = append(r.partSum, limit{s.AtN, s.Part.Where})
		case card.OfFile:
			r.stop = s.AtN
		}
	}
	if m := p.Lift.Limits.Total; m != nil && m.Warn != nil {
		r.warn = float64(m.Warn.Force)
	}
	if t := p.Lift.Limits.Tilt; t != nil {
		r.tilt = float64(t.Value)
	}
	return r
}

// pulls is how long a rise towards a limit must last, s: a load that bounces at
// lift-off, once or more in a second, rises for less (common practice, no source).
const pulls = 0.35

// judge holds the newest reading of cell k against every limit of its own.
// It is the alarm path: no memory is made while nothing is wrong.
func (e *Engine) judge(k int) {
	c, l := &e.cells[k], &e.rules.cells[k]
	where := c.expected.Channel
	v, air := c.value, e.course.air()

	tell := func(kind alarm.Kind, where string, on bool, value, limit float64, text func() string) {
		if !on {
			e.panel.Tell(e.moment, alarm.Condition{Kind: kind, Where: where, Value: value, Limit: limit})
			return
		}
		e.panel.Tell(e.moment, alarm.Condition{Kind: kind, Where: where, On: true, Value: value, Limit: limit, Air: air, Text: text()})
	}
	if !math.IsInf(l.part.n, 1) {
		quick := v > l.part.n*e.rules.dynamic
		slow := c.slow > l.part.n
		shown := v
		if slow && !quick {
			shown = c.slow
		}
		tell(alarm.PartStop, where, quick || slow, shown, l.part.n, func() string {
			return fmt.Sprintf("%s reads %s: %s runs out at %s.", where, e.show(shown), l.part.what, e.show(l.part.n))
		})
	}
	if !math.IsInf(l.stop, 1) {
		tell(alarm.LegStop, where, v > l.stop, v, l.stop, func() string {
			return fmt.Sprintf("%s reads %s, stop is %s.", where, e.show(v), e.show(l.stop))
		})
	}
	if !math.IsInf(l.warn, 1) {
		tell(alarm.LegWarn, where, v > l.warn, v, l.warn, func() string {
			return fmt.Sprintf("%s reads %s, warning is %s.", where, e.show(v), e.show(l.warn))
		})
	}
	c.rate = c.slope()
	if !math.IsInf(l.part.n, 1) && v > l.high && c.rate > 0 {
		left := (l.part.n - v) / c.rate
		runs := left < e.horizon() && left > 0 && v > 1.02*l.high
		if !runs {
			c.runs = c.at
		}
		tell(alarm.Running, where, runs && c.at.Since(c.runs) >= pulls, v, l.part.n, func() string {
			return fmt.Sprintf("%s reads %s and rises: %s in %.1f s.", where, e.show(v), e.show(l.part.n), left)
		})
	} else {
		c.runs = c.at
		tell(alarm.Running, where, false, v, l.part.n, nil)
	}
	tell(alarm.OutOfRange, where, c.beyond(), v, overload*c.capacity, func() string {
		return fmt.Sprintf("%s reads %s, its capacity is %s.", where, e.show(v), e.show(c.capacity))
	})
}

// horizon is how many seconds ahead a rise is taken seriously: from the
// reading until the hook stands, a second at least.
func (e *Engine) horizon() float64 { return max(1, e.card.Delay+e.card.Stopping) }

// judgeTotal holds the sum at the hooks against its limits.
func (e *Engine) judgeTotal() {
	total, u, ok := e.total(func(c *cell) float64 { return c.then(e.moment) })
	if !ok {
		return
	}
	e.toll.bear(e.model, e.read)
	e.judgeHooks()
	r, air := &e.rules, e.course.air()
	if !math.IsInf(r.stop, 1) {
		on := total+u > r.stop
		c := alarm.Condition{Kind: alarm.TotalStop, On: on, Value: total, Limit: r.stop, Air: air}
		if on {
			c.Text = fmt.Sprintf("The hooks carry %s, stop is %s.", e.show(total), e.show(r.stop))
		}
		e.panel.Tell(e.moment, c)
	}
	if !math.IsInf(r.warn, 1) {
		on := total+u > r.warn
		c := alarm.Condition{Kind: alarm.TotalWarn, On: on, Value: total, Limit: r.warn, Air: air}
		if on {
			c.Text = fmt.Sprintf("The hooks carry %s, warning is %s.", e.show(total), e.show(r.warn))
		}
		e.panel.Tell(e.moment, c)
	}
	for i := range r.partSum {
		l := &r.partSum[i]
		on := total+u > l.n*r.dynamic || e.course.slow+u > l.n
		c := alarm.Condition{Kind: alarm.PartStop, Where: l.what, On: on, Value: total, Limit: l.n, Air: air}
		if on {
			c.Text = fmt.Sprintf("The hooks carry %s: %s runs out at %s.", e.show(total), l.what, e.show(l.n))
		}
		e.panel.Tell(e.moment, c)
	}
}

// unseen holds a reading that came after later ones against the limits: an
// overload while the link was down has loaded the gear all the same. One
// reading alone is not enough where readings come quickly.
func (e *Engine) unseen(k int, r *reading.Reading) {
	c, l := &e.cells[k], &e.rules.cells[k]
	if !c.behind {
		return
	}
	v, limit := r.Value-c.offN, min(l.part.n*e.rules.dynamic, l.stop)
	if v <= limit {
		c.beyonds = 0
		return
	}
	c.peak = max(c.peak, v)
	if c.beyonds++; c.beyonds < 2 && c.period < 1.0/slowHz {
		return
	}
	where := c.expected.Channel
	e.panel.Tell(e.moment, alarm.Condition{
		Kind: alarm.Unseen, Where: where, On: true, Value: v, Limit: limit, Air: e.course.air(),
		Text: fmt.Sprintf("%s read %s, past %s, while nobody could see it.", where, e.show(v), e.show(limit)),
	})
}

// total is what the hooks carry, gross, with the limit of its error, N, where
// reads gives what a cell reads, NaN where it cannot be told.
func (e *Engine) total(reads func(*cell) float64) (n, u float64, ok bool) {
	e.read = e.read[:0]
	for i := range e.cells {
		if e.cells[i].got == 0 {
			return 0, 0, false
		}
		e.read = append(e.read, reads(&e.cells[i]))
	}
	n, u = e.sum(e.read)
	return n, u, !math.IsNaN(n)
}
