package watch

import (
	"fmt"
	"math"
	"slices"

	"plumbhook/alarm"
	"plumbhook/infer"
)

const (
	blockS    = 1.0 // s
	blockRows = 4
	proofS    = 12.0 // s looked back over for bounce and swing
	binS      = 0.25 // s: a swing is that much slower
)

// gather adds a row to its block, and a full block to its stretch.
func (c *course) gather(e *Engine, r *row, total float64) {
	b := &c.block
	if b.n == 0 {
		b.from = r.t
		b.total.reset()
		for i := range b.cells {
			b.cells[i].reset()
		}
	}
	b.n++
	b.to = r.t
	b.total.add(r.t, total)
	for i, v := range r.read {
		b.cells[i].add(r.t, v)
	}
	if b.to-b.from < blockS || b.n < blockRows {
		return
	}
	b.n = 0
	c.settle(e)
	c.freeze(e)
	c.motion(e)
	c.zero(e)
	c.ask(e)
}

// settle lets a block carry a steady stretch on, or begin another.
func (c *course) settle(e *Engine) {
	b := &c.block
	total := b.total.look()
	ripple := min(total.white, max(3*c.sd(len(e.cells)), 0.004*c.weight))
	by := steadyBy
	if c.phase == IdlePhase {
		by /= 3 // a corner that still hangs is no zero
	}
	tol := by*c.weight + 3*ripple/math.Sqrt(float64(total.n))
	means := make([]float64, len(b.cells))
	white := make([]float64, len(b.cells))
	for i := range b.cells {
		v := b.cells[i].look()
		means[i], white[i] = math.NaN(), v.white
		if v.n > 0 {
			means[i] = v.mean
		}
	}
	w := c.open()
	if w != nil {
		apart := math.Abs(total.mean-w.total) > tol
		odd := false
		for i, m := range means {
			if math.IsNaN(m) != math.IsNaN(w.mean[i]) {
				apart = true
			} else if math.Abs(m-w.mean[i]) > max(0.015*c.weight, 4*w.spread(i)) {
				odd = true
			}
		}
		if odd {
			w.odd++
		} else {
			w.odd = 0
		}
		if !apart && w.odd < 5 {
			w.take(total, means, white, b.to)
			if c.phase == Suspended && w.blocks >= 3 {
				c.rested = append(c.rested[:0], w.mean...)
			}
			c.rest(e, w)
			w.ripple = append(w.ripple, total.sd)
			if len(w.ripple) > 60 {
				w.ripple = w.ripple[1:]
			}
			c.aside(e, w)
			return
		}
		w.closed = true
		if w.blocks < c.enough(w) {
			c.windows = c.windows[:len(c.windows)-1]
		}
	}
	if math.Abs(total.slope)*total.span > 1.5*tol {
		return // it moves
	}
	n := len(means)
	next := window{from: b.from, mean: make([]float64, n), squares: make([]float64, n), base: means, counts: make([]int, n), white: white, ripple: []float64{total.sd}}
	next.take(total, means, white, b.to)
	c.windows = append(c.windows, next)
	c.aside(e, c.open())
	if len(c.windows) > 400 { // a day of slow changes: the oldest idle ones go
		c.windows = slices.Delete(c.windows, 1, 101)
	}
}

// rest takes back what was called free with a corner still down, and sees the
// ground take some of it again: what hangs gets neither heavier nor lighter. A
// cell whose zero runs away does so alone; when the ground lets go, or takes, the
// shares of several change.
func (c *course) rest(e *Engine, w *window) {
	n := len(c.windows) - 2
	if w.blocks < 3 || w.blocks > 8 || n < 0 || c.phase != Suspended || c.stage(w) != infer.Hold {
		return
	}
	v := &c.windows[n]
	if v.blocks < 3 || v.from < c.liftoff-1 {
		return
	}
	sum, most := 0.0, 0.0
	for i := range w.mean {
		d := math.Abs(w.mean[i] - v.mean[i])
		sum, most = sum+d, max(most, d)
	}
	several := sum-most > max(0.08*sum, 0.003*c.weight)
	soon := v.blocks <= 6 && w.from-v.to < 2 // after the first look, at once
	if !(several || soon && w.total > v.total) {
		return
	}
	switch {
	case w.total < v.total-0.01*c.weight && !e.windy():
		c.enter(SettingDown, w.from, "")
		c.leastN, c.leastAt = c.raw, c.t
	case w.total > v.total+0.006*c.weight:
		for i := range c.windows[:n] {
			if c.windows[i].from >= c.liftoff-1 {
				return // it hung before
			}
		}
		c.unfree(e, c.t)
	}
}

// enough is how many blocks make a stretch that counts: while the ground has
// part of the load nobody waits for long.
func (c *course) enough(w *window) int {
	if s := c.stage(w); s != infer.Tight && s != infer.Landed {
		return 3
	}
	if w.to-w.from > 2.5*blockS {
		return 1 // cells so slow that a block takes its time
	}
	return 2
}

// take adds a block.
func (w *window) take(total wave, means, white []float64, to float64) {
	w.to = to
	w.total += (total.mean - w.total) / float64(w.blocks+1)
	w.blocks++
	for i, m := range means {
		if math.IsNaN(m) {
			w.mean[i] = math.NaN()
			continue
		}
		w.counts[i]++
		d := m - w.mean[i]
		w.mean[i] += d / float64(w.counts[i])
		w.squares[i] += d * (m - w.mean[i])
		w.white[i] += (white[i] - w.white[i]) / float64(w.counts[i])
	}
}

// spread is the sd of the block means of a cell, N.
func (w *window) spread(i int) float64 {
	if w.counts[i] < 2 {
		return 0
	}
	return math.Sqrt(w.squares[i] / float64(w.counts[i]-1))
}

// noise is the standard uncertainty of a cell's mean. Block means that follow
// a swing hang together over some blocks, so that half of them count.
func (w *window) noise(i int, rows float64) float64 {
	n := float64(max(w.counts[i], 1))
	fine := w.white[i] / math.Sqrt(n*max(rows, 1))
	return max(fine, w.spread(i)/math.Sqrt(max(n/2, 1)))
}

// aside notes the other channels.
func (c *course) aside(e *Engine, w *window) {
	if x := e.height(); x != nil && w.travel == nil {
		w.travel = x
		if c.phase == IdlePhase {
			c.travel0 = *x
		}
	}
	if x := e.channel("crane total"); x != nil {
		w.crane = x
	}
	if x := e.channel("tilt"); x != nil {
		w.tilt = x
	}
}

// stage is what a stretch was part of, as seen now.
func (c *course) stage(w *window) infer.Stage {
	mid := (w.from + w.to) / 2
	before, flown := false, false
	for i := range c.passed {
		p := &c.passed[i]
		last := i == len(c.passed)-1
		if mid >= p.FromS && (last || mid < p.ToS) {
			switch p.Phase {
			case TakingLoad, HeldDown:
				if flown { // put down, and about to be picked up again
					return infer.Landed
				}
				return infer.Tight
			case Suspended:
				return infer.Hold
			case SettingDown:
				return infer.Landed
			}
			if before {
				return infer.Ended
			}
			return infer.Idle
		}
		before = before || p.Phase != IdlePhase
		flown = p.Phase == Suspended || flown && p.Phase != IdlePhase
	}
	return infer.Idle
}

// lively is how often the other cells must change while one repeats itself to
// show that displays can still move (common practice, no source).
const lively = 20

// freeze finds cells that repeat themselves: a run of the very same value so
// long that the noise of a live cell would hardly leave one, or while the others
// moved.
func (c *course) freeze(e *Engine) {
	changes := e.changes()
	for i := range e.cells {
		k := &e.cells[i]
		if k.got == 0 || k.silent != "" {
			continue
		}
		if k.same == 0 {
			k.frozen = false
		}
		sure := false
		if k.same > 4 && c.loaded() {
			// Longer than the runs that ended by themselves, and than chance
			// makes one in many millions.
			odds := float64(k.same) * math.Log(c.repeats(i, k))
			// Nor does anything move a load that hangs so still that all displays
			// stand; and on the ground one leg may keep what it bears while the
			// others change.
			alive := k.others[1]-k.others[0] > 2*k.step || changes-k.changes-k.stirs >= lively
			rare := float64(k.same) > 6+2.5*k.longest && odds < -18 && alive
			moved := k.same > 6 && k.at.Since(k.sameFrom) > 1.5 && e.stirred(i, k)
			k.frozen = k.frozen || rare || moved
			sure = moved || odds < -30 // that the crew has to stop for it
		}
		if k.frozen && c.loaded() && !slices.Contains(c.signs.Frozen, i) {
			c.signs.Frozen = append(c.signs.Frozen, i)
			// What it repeated before that was seen is no reading either.
			from := k.sameFrom.Since(e.rows.zero)
			for n := range c.windows {
				if w := &c.windows[n]; w.to-from > 0.5*(w.to-w.from) {
					w.mean[i] = math.NaN()
				}
			}
		}
		cond := alarm.Condition{Kind: alarm.Frozen, Where: k.expected.Channel, On: k.frozen && (sure || e.panel.Standing(alarm.Frozen, k.expected.Channel)) && c.loaded(), Value: k.value, Air: c.air()}
		if cond.On {
			cond.Text = fmt.Sprintf("%s repeats %s and nothing else, %d times.", k.expected.Channel, e.show(k.value), k.same)
		}
		e.panel.Tell(e.now, cond)
	}
}

// repeats is the greatest probability that a cell shows the same value twice
// though nothing but its noise moves it: what it measures lies in the middle
// of a step of its display. 1 where the display hides the noise.
func (c *course) repeats(i int, k *cell) float64 {
	sd := c.sd(i)
	if k.step == 0 {
		return 1
	}
	if sd == 0 {
		return 1
	}
	// What rounding adds to a scatter is no noise that moves a value.
	sd = math.Sqrt(max(0, sd*sd-k.step*k.step/12))
	if sd == 0 {
		return 1
	}
	return min(math.Erf(k.step/(2*math.Sqrt2*sd)), 1-1e-9)
}

// stirred tells whether the others moved so much in the course of a run that
// the cell, bearing its share, could not have shown one value.
func (e *Engine) stirred(i int, k *cell) bool {
	if len(e.cells) == 1 || e.shares == nil || e.shares[i] <= 0.02 || e.shares[i] > 0.9 {
		return false
	}
	moved := (k.others[1] - k.others[0]) * e.shares[i] / (1 - e.shares[i])
	// Another leg, or pair of legs, may take most of it for a while.
	c := &e.course
	times := 4.0
	switch {
	case c.phase == SettingDown || c.phase == Suspended && math.Abs(c.raw-c.levelN) > 0.5*sags*c.weight:
		return false // the ground takes from the others
	case c.phase != Suspended:
		times = 10
	}
	return moved > times*(2.5*k.step+6*c.sd(i)) && k.value-k.slackN > 0.03*math.Abs(k.expected.NominalN-k.slackN)
}

// motion looks at what the last seconds do about their mean: whether the load
// bounces or swings as a free one does, and whether that is too much.
func (c *course) motion(e *Engine) {
	w := c.open()
	span := proofS
	h := e.rows.since(c.t - span)
	if len(h) < 8 {
		return
	}
	if c.phase == IdlePhase {
		c.listen(e, h)
		return
	}
	if w == nil && c.phase != Suspended || c.phase == SettingDown {
		e.panel.Tell(e.now, alarm.Condition{Kind: alarm.Swinging})
		e.panel.Tell(e.now, alarm.Condition{Kind: alarm.Unsteady})
		return
	}
	from := c.t - span
	if w != nil {
		from = max(from, w.from)
	}
	if c.phase == Suspended {
		from = max(c.t-span, c.liftoff+1)
	}
	h = e.rows.since(from)
	var total series
	each := make([]series, len(e.cells))
	for i := range h {
		total.add(h[i].t, h[i].total)
		for k, v := range h[i].read {
			each[k].add(h[i].t, v)
		}
	}
	sum := total.look()
	waves := make([]wave, len(each))
	for i := range each {
		waves[i] = each[i].look()
	}
	if c.phase == TakingLoad || c.phase == HeldDown {
		if why := c.proof(e, w, sum, waves); why != "" {
			c.free(e, why)
		}
		notFree := c.phase == TakingLoad && w != nil && c.slow-c.baseline > 0.9*c.weight && w.to-w.from > 3
		cond := alarm.Condition{Kind: alarm.NotFree, On: notFree, Value: c.slow}
		if notFree {
			cond.Text = fmt.Sprintf("The hooks carry %s, steady, and nothing shows yet that the load is free.", e.show(c.slow))
		}
		e.panel.Tell(e.now, cond)
		return
	}
	c.sway(e, sum, waves)
}

// listen measures the ripple while nothing hangs.
func (c *course) listen(e *Engine, h []row) {
	from := c.last().FromS + 0.5
	var total series
	each := make([]series, len(e.cells))
	for i := range h {
		if h[i].t < from {
			continue
		}
		total.add(h[i].t, h[i].total)
		for k, v := range h[i].read {
			each[k].add(h[i].t, v)
		}
	}
	if len(total.x) < 8 {
		return
	}
	for i := range each {
		if v := each[i].look(); v.n >= 8 {
			c.noise[i] = quiet(c.noise[i], v.white)
		}
	}
	sum := total.look()
	c.noise[len(e.cells)] = quiet(c.noise[len(e.cells)], sum.white)
	if !c.based && math.Abs(sum.slope)*sum.span < 0.01*c.weight && math.Abs(sum.mean-c.emptyN) < 0.3*c.weight {
		c.based = true
		c.baseline = sum.mean
	}
}

// quiet is the ripple that nothing disturbed, the least that was seen: rigging
// that swings and legs that come tight add to what the cells make by themselves.
func quiet(was, now float64) float64 {
	if math.IsNaN(was) {
		return now
	}
	return min(now, was)
}

// proof says why the load is free, from a steady stretch. What hangs is shaken
// by the hoist and comes back to the same force: on a load that is held, every
// move of the hook changes the level for good. A ring by itself proves less,
// for the block bounces on tight ropes as well; it is enough only where the
// level is what the plan expects.
func (c *course) proof(e *Engine, w *window, sum wave, waves []wave) string {
	if w == nil || w.to-w.from < 2 || sum.mean-c.baseline < 0.3*c.weight {
		return ""
	}
	floor := c.sd(len(e.cells))
	if math.IsNaN(c.noise[len(e.cells)]) {
		floor = sum.white
	}
	if c.shaken(e, w) {
		return "it was shaken and came back to the same force"
	}
	if sum.mean < c.emptyN+0.97*(e.rules.low-c.emptyN) || sum.mean > e.rules.high {
		return ""
	}
	level := math.Abs(sum.slope)*sum.span < max(2*sum.sd, 2*floor)
	if level && sum.crossings >= 4 && sum.sd > 2.5*floor && sum.sd > 0.0006*c.weight && sum.hz < c.maxHz {
		return "it bounces"
	}
	for i := range waves {
		v := &waves[i]
		floor := c.sd(i)
		if math.IsNaN(c.noise[i]) {
			floor = v.white
		}
		if v.crossings >= 3 && v.sd > 3*floor && v.sd > 0.003*math.Abs(v.mean) && v.sd > 1.5*v.white && v.hz < 1 && math.Abs(v.slope)*v.span < 2*v.sd {
			return "it swings"
		}
	}
	return ""
}

// shaken tells whether the total left its level and came back to it: within the
// stretch, as blocks that ripple several times as much as its calm ones, or
// between two stretches of one level.
func (c *course) shaken(e *Engine, w *window) bool {
	floor := max(c.sd(len(e.cells)), 1e-4*c.weight)
	// What rings from the beginning rings because the hoist stopped there, and
	// what has not calmed down again may be the beginning of a rise or a fall.
	calm, least := 0, 0.0012
	if w.total > e.rules.high {
		least = 0.002 // more than it can weigh: held, and shaken by what holds it
	}
	for i, sd := range w.ripple[:max(0, len(w.ripple)-3)] {
		if i > 0 && calm >= 2 && sd > max(least*c.weight, 4*floor) && slices.Max(w.ripple[len(w.ripple)-2:]) < sd/2 {
			return true
		}
		if sd < max(0.0005*c.weight, 1.5*floor) {
			calm++
		}
	}
	for i := len(c.windows) - 2; i >= 0; i-- {
		v := &c.windows[i]
		if w.from-v.to > 15 || c.stage(v) != infer.Tight || w.blocks < 3 {
			break
		}
		if math.Abs(v.total-w.total) > 0.007*c.weight || w.from-v.to < 0.5 {
			continue
		}
		// In between it went above and below, or out and back at once.
		var up, down float64
		for _, r := range e.rows.since(v.to) {
			if r.t > w.from {
				break
			}
			up, down = max(up, r.total-w.total), max(down, w.total-r.total)
		}
		if min(up, down) > max(0.005*c.weight, 4*floor) {
			return true
		}
	}
	return false
}

// sway judges swing and unsteadiness in the air.
func (c *course) sway(e *Engine, sum wave, waves []wave) {
	if sum.span < 3 {
		return
	}
	// What is left of a fall or rise is no swing.
	if math.Abs(c.raw-c.levelN) > 0.5*sags*c.weight+3*sum.sd || !math.IsNaN(c.sagFrom) {
		return
	}
	rolls := math.Sqrt2 * sum.sd / c.weight
	angle, period := c.swings(e)
	swings := angle > 0.05
	cond := alarm.Condition{Kind: alarm.Swinging, On: angle > 0.1, Value: angle, Air: true}
	if cond.On {
		cond.Text = fmt.Sprintf("The load swings by about %.0f° to each side, %.1f s to and fro.", angle*180/math.Pi, period)
	}
	e.panel.Tell(e.now, cond)

	wind := e.channel("wind speed")
	if wind != nil {
		c.gusts = append(c.gusts, *wind**wind, sum.sd)
		if len(c.gusts) > 400 {
			c.gusts = c.gusts[2:]
		}
	}
	// A bounce dies away within seconds; what keeps on is something else.
	if now := c.block.total.look(); math.Sqrt2*now.sd > 0.012*c.weight && now.sd > 4*c.sd(len(e.cells)) {
		c.rough++
	} else {
		c.rough = 0
	}
	rough := !swings && c.rough >= 5
	if rough && (wind == nil || correlation(c.gusts) > 0.3) {
		c.signs.UnsteadyN = max(c.signs.UnsteadyN, sum.sd)
		c.signs.WindCorr = correlation(c.gusts)
	}
	gusty := rough && e.windy()
	text := ""
	if rough {
		text = fmt.Sprintf("The total goes up and down by %.0f %%.", 100*rolls)
	}
	e.panel.Tell(e.now, alarm.Condition{Kind: alarm.Gust, On: gusty, Value: rolls, Air: true, Text: text})
	e.panel.Tell(e.now, alarm.Condition{Kind: alarm.Unsteady, On: rough && !gusty, Value: rolls, Air: true, Text: text})

	// Shares against the plan, at rest, with the weight as it is.
	w := c.open()
	rest := w != nil && w.blocks >= 3 && !swings
	e.aside(rest)
	scale := (sum.mean - c.emptyN) / c.weight
	for i := range e.cells {
		k := &e.cells[i]
		x := k.expected
		want := k.slackN + (x.NominalN-k.slackN)*scale
		room := max(x.JointHighN-x.NominalN, x.NominalN-x.JointLowN)*1.25 + 0.01*math.Abs(x.NominalN)
		off := waves[i].mean - want
		on := rest && waves[i].n > 0 && math.Abs(off) > room
		cond := alarm.Condition{Kind: alarm.ShareOff, Where: x.Channel, On: on, Value: waves[i].mean, Limit: want + math.Copysign(room, off), Air: true}
		if on {
			cond.Text = fmt.Sprintf("%s reads %s; for this weight the plan gives %s.", x.Channel, e.show(waves[i].mean), e.show(want))
		}
		e.panel.Tell(e.now, cond)
	}
}

// swings finds how far the load swings to either side, rad, and how long it takes
// to and fro; 0 where it does not. The sign of the longest swing is kept.
//
// A load that swings under its hook pulls hardest as it passes the middle,
// twice in a period: W (1 + A²) there, W (1 - A²/2) at the ends of a swing of A
// rad (energy of a pendulum). That is 3/4 A² W about the mean; what the legs
// share stays nearly as it was, for the pull keeps its direction in the load.
//
// A bounce that slow cells fold into something as slow dies away within some
// seconds, a swing does not (both by the damping that they have: of a bounce a
// hundredth or more of the critical, at one to four a second).
func (c *course) swings(e *Engine) (angle, period float64) {
	floor := max(3*c.sd(len(e.cells)), 0.001*c.weight)
	for _, span := range [...]float64{proofS, 2 * proofS} {
		if span == proofS && e.rows.period > 0.3 {
			continue // so few rows need a longer look
		}
		from := max(c.t-span, c.liftoff+1)
		if c.t-from < 0.9*span {
			continue
		}
		var x series
		x.coarse(e.rows.since(from), binS)
		hz, amplitude, share := x.tone(2/span, min(c.swingHz, 0.4/max(e.rows.period, binS)))
		if amplitude < floor || share < 0.5 || x.part(from+span/2, c.t).at(hz) < 0.7*x.part(from, from+span/2).at(hz) {
			continue
		}
		a := math.Sqrt(4.0 / 3 * amplitude / c.weight)
		if a > angle {
			angle, period = a, 2/hz
		}
		if a < 0.05 {
			continue
		}
		s := infer.Swing{FromS: from, ToS: c.t, PeriodS: 2 / hz, TotalN: amplitude}
		if n := len(c.signs.Swings); n > 0 && s.FromS < c.signs.Swings[n-1].ToS+2 {
			was := &c.signs.Swings[n-1]
			was.ToS = c.t
			if s.TotalN > was.TotalN {
				was.PeriodS, was.TotalN = s.PeriodS, s.TotalN
			}
			continue
		}
		c.signs.Swings = append(c.signs.Swings, s)
	}
	return angle, period
}

// correlation of the pairs in a list.
func correlation(pairs []float64) float64 {
	n := float64(len(pairs) / 2)
	if n < 4 {
		return 0
	}
	var mx, my float64
	for i := 0; i+1 < len(pairs); i += 2 {
		mx += pairs[i] / n
		my += pairs[i+1] / n
	}
	var xx, yy, xy float64
	for i := 0; i+1 < len(pairs); i += 2 {
		x, y := pairs[i]-mx, pairs[i+1]-my
		xx, yy, xy = xx+x*x, yy+y*y, xy+x*y
	}
	if xx == 0 || yy == 0 {
		return 0
	}
	return xy / math.Sqrt(xx*yy)
}

// zero judges the cells while nothing hangs on them.
func (c *course) zero(e *Engine) {
	w := c.open()
	idle := c.phase == IdlePhase && w != nil && w.blocks >= 3
	for i := range e.cells {
		k := &e.cells[i]
		where := k.expected.Channel
		if !idle || math.IsNaN(w.mean[i]) {
			e.panel.Tell(e.now, alarm.Condition{Kind: alarm.ZeroOff, Where: where})
			continue
		}
		low, high, room := k.zeros()
		off := k.offZero(w.mean[i])
		cond := alarm.Condition{Kind: alarm.ZeroOff, Where: where, On: off > room, Value: w.mean[i], Limit: room}
		if cond.On {
			cond.Text = fmt.Sprintf("%s reads %s with nothing on the hook; it should read %s to %s.", where, e.show(w.mean[i]), e.show(low), e.show(high))
		}
		e.panel.Tell(e.now, cond)
	}
}

// ask has the explanations compared when a stretch is new, and when it has
// doubled.
func (c *course) ask(e *Engine) {
	w := c.open()
	if w == nil || w.blocks < 3 || w.asked > 0 && w.blocks < 2*w.asked || c.phase == IdlePhase && len(c.passed) == 1 && w.asked > 0 {
		return
	}
	w.asked = w.blocks
	e.explain(false)
}

// evidence is the course as package infer wants it.
func (c *course) evidence(e *Engine, done bool) infer.Course {
	out := infer.Course{Signs: c.signs, Tares: c.tares, Done: done}
	if c.levelN == 0 {
		out.Signs.RisePeak = max(out.Signs.RisePeak, c.peakN)
	} else {
		out.Signs.Snaps = slices.Clone(c.signs.Snaps)
		for i := range out.Signs.Snaps {
			out.Signs.Snaps[i].AfterN = c.levelN
		}
	}
	rows := blockS / max(e.rows.period, 1e-3)
	for i := range c.windows {
		w := &c.windows[i]
		if w.blocks < c.enough(w) {
			continue
		}
		v := infer.Window{Stage: c.stage(w), FromS: w.from, ToS: w.to, ReadN: w.mean, NoiseN: make([]float64, len(w.mean)), CraneN: w.crane, TiltRad: w.tilt}
		if v.Stage == infer.Hold {
			v.Free = infer.Moving
			if c.byWord {
				v.Free = infer.Told
			}
		}
		for k := range v.NoiseN {
			v.NoiseN[k] = w.noise(k, rows)
		}
		if w.travel != nil && !math.IsNaN(c.travel0) {
			rise := *w.travel - c.travel0
			v.TravelM = &rise
		}
		out.Windows = append(out.Windows, v)
	}
	out.Windows = thin(bare(out.Windows, steadyBy/3*c.weight))
	return out
}

// bare leaves out windows without load in which legs were just tight, or not
// quite slack yet: the cells together read more than in another one.
func bare(all []infer.Window, room float64) []infer.Window {
	for _, stage := range [...]infer.Stage{infer.Idle, infer.Ended} {
		sum := func(w *infer.Window) (n float64) {
			for _, v := range w.ReadN {
				n += v
			}
			return n
		}
		least := math.Inf(1)
		for i := range all {
			if n := sum(&all[i]); all[i].Stage == stage && n < least {
				least = n
			}
		}
		all = slices.DeleteFunc(all, func(w infer.Window) bool { return w.Stage == stage && sum(&w) > least+room })
	}
	return all
}

// thin keeps what a long lift can be told by: of each stage the longest
// stretches.
func thin(all []infer.Window) []infer.Window {
	const most = 6
	var keep []infer.Window
	for s := infer.Idle; s <= infer.Ended; s++ {
		var of []infer.Window
		for _, w := range all {
			if w.Stage == s {
				of = append(of, w)
			}
		}
		slices.SortStableFunc(of, func(a, b infer.Window) int {
			return int(math.Copysign(1, (b.ToS-b.FromS)-(a.ToS-a.FromS)))
		})
		keep = append(keep, of[:min(most, len(of))]...)
	}
	slices.SortStableFunc(keep, func(a, b infer.Window) int { return int(math.Copysign(1, a.FromS-b.FromS)) })
	return keep
}

// explain has the explanations compared.
func (e *Engine) explain(done bool) {
	c := e.course.evidence(e, done)
	if len(c.Windows) == 0 && !done {
		return
	}
	e.ask(c)
}
