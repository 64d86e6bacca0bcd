package watch

import (
	"fmt"
	"math"
	"slices"

	"plumbhook/alarm"
	"plumbhook/infer"
)

// Phase is where in a lift the load is.
type Phase string

// TakingLoad: the legs bear something, and nothing proves that the load is
// free. HeldDown: they bear more than the load can weigh by the plan, and it
// is not free. Suspended needs evidence that it is.
const (
	IdlePhase   Phase = "idle"
	TakingLoad  Phase = "taking_load"
	HeldDown    Phase = "held_down"
	Suspended   Phase = "suspended"
	SettingDown Phase = "setting_down"
)

// Passed is a phase with its times, s since the watch began.
type Passed struct {
	Phase      Phase
	FromS, ToS float64
	Evidence   string // of Suspended
}

// Shares of the planned weight by which the course of a lift is read (common
// practice, no source).
const (
	begins   = 0.03  // legs are tight
	ends     = 0.02  // and slack again
	steadyBy = 0.006 // blocks of a second that belong to one steady stretch
	sags     = 0.05  // below its level: the ground takes load
	falls    = 0.05  // at once: something broke free
	slowRow  = 0.15  // s from row to row: longer, and a bounce is read once or twice
	overHeld = 1.02  // of the most that the plan explains: held, or heavier
)

// course follows a lift from row to row.
type course struct {
	weight   float64 // N, planned, load alone
	emptyN   float64 // total with nothing on the hooks but rigging, planned
	baseline float64 // the same, as read while idle
	based    bool
	maxHz    float64 // of a bounce, unyielding crane; +Inf when not known

	swingHz float64 // quickest ripple that a swing under the hook makes, twice a period

	phase   Phase
	passed  []Passed
	raw     float64 // total of the last row
	slow    float64 // through slowS
	t       float64
	started bool

	levelN   float64   // total while suspended, 0: not known
	rested   []float64 // the cells in the last steady stretch in the air
	sagFrom  float64
	overFrom float64
	lowFrom  float64 // all but down, and nearly so
	nearFrom float64
	leastN   float64 // least total while setting down, and when it was last about that
	leastAt  float64
	byWord   bool
	travel0  float64
	peakN    float64 // greatest total since taking load
	slowPeak float64 // greatest slow total of the last seconds
	liftoff  float64
	noise    []float64 // sd of each cell's ripple while idle, last: the total's; NaN unknown

	block   block
	windows []window
	signs   infer.Signs
	snapEnd float64 // when the last one was
	shockAt float64
	tares   []infer.Tare
	airPeak float64   // greatest total in the air
	rough   int       // blocks in a row that were unsteady
	gusts   []float64 // pairs for the correlation of wind and total
}

// block is about a second of rows.
type block struct {
	from, to float64
	n        int
	total    series
	cells    []series
}

// window is a steady stretch.
type window struct {
	from, to float64
	blocks   int
	total    float64
	mean     []float64
	squares  []float64 // of block means about the first
	base     []float64
	counts   []int
	white    []float64
	odd      int // blocks in a row in which a cell stood apart
	closed   bool
	travel   *float64
	crane    *float64
	tilt     *float64
	ripple   []float64 // sd of the total about its line, by block
	asked    int
}

func (c *course) init(e *Engine) {
	hung := e.state.Hung
	c.weight = hung.WeightN
	total, _, _ := e.state.Total()
	c.emptyN = total - hung.WeightN
	c.baseline = c.emptyN
	c.maxHz = math.Inf(1)
	if b := e.card.Bite; b != nil && b.PerMetre > 0 && hung.MassKg > 0 {
		c.maxHz = 1.3 * math.Sqrt(b.PerMetre/hung.MassKg) / (2 * math.Pi)
	}
	c.swingHz = 1
	if n := len(hung.Hooks); n > 0 {
		if d := hung.Hooks[0].At[2] - hung.Bodies[0].CG[2]; d > 0 {
			c.swingHz = 1.2 * math.Sqrt(float64(e.plan.Lift.Site.G.Value)/d) / math.Pi
		}
	}
	c.noise = make([]float64, len(e.cells)+1)
	for i := range c.noise {
		c.noise[i] = math.NaN()
	}
	c.block.cells = make([]series, len(e.cells))
	c.travel0 = math.NaN()
	c.snapEnd, c.shockAt = math.Inf(-1), math.Inf(-1)
	c.sagFrom, c.overFrom, c.lowFrom, c.nearFrom = math.NaN(), math.NaN(), math.NaN(), math.NaN()
}

// air tells whether the load may be in the air.
func (c *course) air() bool { return c.phase == Suspended || c.phase == SettingDown }

// loaded tells whether the legs bear anything.
func (c *course) loaded() bool { return c.phase != IdlePhase && c.phase != "" }

// row takes the next row.
func (c *course) row(e *Engine, r *row) {
	total, _ := e.sum(r.read)
	r.total = total
	if math.IsNaN(total) {
		return
	}
	e.share(r.read, total)
	e.follow(r.read)
	dt := r.t - c.t
	if !c.started {
		c.slow, dt = total, 0
		c.started = true
		c.enter(IdlePhase, r.t, "")
		if total-c.emptyN > 0.3*c.weight {
			c.passed[0].Phase, c.phase = TakingLoad, TakingLoad
		}
	}
	c.t, c.raw = r.t, total
	c.slow += (1 - math.Exp(-dt/slowS)) * (total - c.slow)
	if x := e.channel("wind speed"); x != nil && c.loaded() && (c.signs.WindMS == nil || *x > *c.signs.WindMS) {
		c.signs.WindMS = x
	}
	c.step(e, r.t, dt, total)
	e.toll.row(e, r, dt)
	e.hookRow(dt)
	c.against(e)
	c.gather(e, r, total)
}

// enter starts a phase at a time, which may lie back.
func (c *course) enter(p Phase, at float64, evidence string) {
	for len(c.passed) > 0 && c.passed[len(c.passed)-1].FromS >= at && len(c.passed) > 1 {
		c.passed = c.passed[:len(c.passed)-1]
	}
	if n := len(c.passed); n > 0 {
		if c.passed[n-1].Phase == p {
			c.phase = p
			return
		}
		c.passed[n-1].ToS = at
	}
	c.passed = append(c.passed, Passed{Phase: p, FromS: at, Evidence: evidence})
	c.phase = p
}

// step moves from phase to phase.
func (c *course) step(e *Engine, t, dt, total float64) {
	load := c.slow - c.baseline
	w := c.weight
	switch c.phase {
	case IdlePhase:
		if load > begins*w {
			c.enter(TakingLoad, max(c.rose(e, t), c.last().FromS), "")
			c.peakN, c.slowPeak, c.levelN = 0, 0, 0
			c.overFrom = math.NaN()
		}
	case TakingLoad, HeldDown:
		if e.rows.whole(3) {
			c.peakN = max(c.peakN, total)
			c.slowPeak = max(c.slow, c.slowPeak-(c.slowPeak-c.slow)*dt/3)
			c.snap(e, t, total)
		} else {
			c.slowPeak = c.slow // what a blind cell bears is a guess
		}
		if load < ends*w {
			c.signs.Snaps = slices.DeleteFunc(c.signs.Snaps, func(k infer.Snap) bool { return c.fellOn(e, k.AtS) })
			c.enter(IdlePhase, t, "")
			return
		}
		switch {
		case c.slow <= overHeld*e.rules.high:
			c.overFrom = math.NaN()
			if c.phase == HeldDown {
				c.enter(TakingLoad, t, "")
			}
		case math.IsNaN(c.overFrom):
			c.overFrom = t
		case t-c.overFrom > 1.5 && c.phase == TakingLoad:
			c.enter(HeldDown, c.overFrom, "")
		}
		if c.travelled(e) {
			c.free(e, "the hook came up and the force did not rise")
		}
	case Suspended:
		if e.rows.whole(3) {
			c.peakN = max(c.peakN, total)
			c.airPeak = max(c.airPeak, total)
		}
		c.shock(e, t, total)
		if c.slow > c.levelN+max(0.04*c.weight, 0.02*c.levelN) {
			if math.IsNaN(c.overFrom) {
				c.overFrom = t
			} else if t-c.overFrom > 1.2 && !c.byWord && c.above(e) && !e.windy() {
				c.unfree(e, t)
				return
			}
		} else {
			c.overFrom = math.NaN()
		}
		under := c.levelN*(1-sags) - 3*c.sd(len(e.cells))
		switch {
		case c.slow >= under:
			c.sagFrom = math.NaN()
		case math.IsNaN(c.sagFrom):
			c.sagFrom = t
		case t-c.sagFrom > 0.6:
			c.enter(SettingDown, max(c.sagged(e, t), c.last().FromS), "")
			c.sagFrom, c.lowFrom, c.nearFrom = math.NaN(), math.NaN(), math.NaN()
			c.leastN, c.leastAt = total, t
		}
	case SettingDown:
		if c.leastN = min(c.leastN, total); total < c.leastN+0.02*w {
			c.leastAt = t
		}
		// Caught in passing, and only where the fall is slow enough for the cells
		// of a row to belong together.
		if share := (total - c.baseline) / (c.levelN - c.baseline); share < 0.55 && share > 0.3 && c.signs.AtHalf == nil && len(e.rows.since(c.last().FromS)) >= 4 {
			c.half(e)
		}
		switch {
		case load < ends*w:
			c.enter(IdlePhase, t, "")
		case load < 4*begins*w:
			// Not all of a zero came back; or somebody looks round before the
			// rest goes down.
			if load >= 1.5*begins*w {
				c.lowFrom = math.NaN()
			} else if math.IsNaN(c.lowFrom) {
				c.lowFrom = t
			}
			if math.IsNaN(c.nearFrom) {
				c.nearFrom = t
			}
			if t-c.lowFrom > 3 {
				c.enter(IdlePhase, c.lowFrom, "")
			} else if t-c.nearFrom > 12 {
				c.enter(IdlePhase, c.nearFrom, "")
			}
		case c.slow > c.levelN*(1-sags/2):
			// It was a dip, or the load was picked up again before it stood.
			c.lowFrom, c.nearFrom = math.NaN(), math.NaN()
			if f := c.last().FromS; t-f < 3 && len(c.passed) > 1 {
				c.passed = c.passed[:len(c.passed)-1]
				c.phase = Suspended
				c.signs.AtHalf = nil
			} else {
				c.enter(TakingLoad, c.leastAt, "")
			}
		default:
			c.lowFrom, c.nearFrom = math.NaN(), math.NaN()
		}
	}
	if c.phase == IdlePhase && c.based && t-c.last().FromS > 1 {
		// A zero that creeps takes the baseline along, a load does not.
		if d := c.slow - c.baseline; math.Abs(d) < begins*w {
			c.baseline += 0.002 * d
		}
	}
}

func (c *course) last() *Passed { return &c.passed[len(c.passed)-1] }

// sd is the ripple of a cell while idle, or of the total at index n.
func (c *course) sd(i int) float64 {
	if math.IsNaN(c.noise[i]) {
		return 0
	}
	return c.noise[i]
}

// rose finds when the rise began that ends now.
func (c *course) rose(e *Engine, t float64) float64 {
	h := e.rows.since(t - 20)
	at := t
	floor := c.baseline + begins/4*c.weight
	for i := len(h) - 1; i >= 0; i-- {
		n := h[i].total
		at = h[i].t
		if n < floor+c.sd(len(c.noise)-1) {
			break
		}
	}
	return at
}

// sagged finds when the total left its level for the fall that goes on now.
func (c *course) sagged(e *Engine, t float64) float64 {
	near := c.levelN - max(0.015*c.weight, 3*c.sd(len(e.cells)))
	h := e.rows.since(c.sagFrom - 10)
	at := c.sagFrom
	for i := len(h) - 1; i >= 0; i-- {
		if h[i].t > c.sagFrom {
			continue
		}
		if h[i].total >= near {
			break
		}
		at = h[i].t
	}
	// A load that is let down slowly looks steady on the way: what came last, and
	// lower than what hung for longest, was no hold, for as long as one stretch
	// followed the other and each was lower.
	if hold := c.longestHold(); hold != nil {
		next, level := at, c.raw
		for i := len(c.windows) - 1; i >= 0; i-- {
			w := &c.windows[i]
			falls := next-w.to < 2*blockS && w.total > level
			brief := c.sagFrom-w.from < 30 && w.to-w.from < 15
			if w.from <= hold.from || w.total > hold.total-steadyBy*c.weight || !falls && !brief {
				break
			}
			at = min(at, w.from)
			next, level = w.from, w.total
		}
	}
	return at
}

// travelled tells whether the hook went up without a rise in force.
func (c *course) travelled(e *Engine) bool {
	x := e.height()
	if x == nil {
		return false
	}
	steady := c.open()
	if steady == nil || steady.travel == nil || steady.blocks < 2 {
		return false
	}
	return *x-*steady.travel > 0.06 && math.Abs(c.slow-steady.total) < 0.02*c.weight && c.slow-c.baseline > 0.3*c.weight
}

// height is the measured height of the hook, m; nil without.
func (e *Engine) height() *float64 { return e.channel("hook height") }

// channel is the value of the first extra channel of a kind.
func (e *Engine) channel(kind string) *float64 {
	for i := range e.extras {
		x := &e.extras[i]
		if x.kind == kind && !math.IsNaN(x.value) && e.now.Since(x.at) < lostLeast {
			v := x.value
			return &v
		}
	}
	return nil
}

// open is the steady stretch that goes on, nil when there is none.
func (c *course) open() *window {
	if n := len(c.windows); n > 0 && !c.windows[n-1].closed {
		return &c.windows[n-1]
	}
	return nil
}

// free notes that the load is free, back to the first stretch at this level.
func (c *course) free(e *Engine, evidence string) {
	from := c.t
	level := c.slow
	if w := c.open(); w != nil {
		from, level = w.from, w.total
	}
	began := c.last().FromS
	for i := len(c.passed) - 1; i >= 0; i-- {
		if p := c.passed[i].Phase; p != TakingLoad && p != HeldDown {
			break
		}
		began = c.passed[i].FromS
	}
	for i := len(c.windows) - 1; i >= 0 && c.windows[i].from > began; i-- {
		w := &c.windows[i]
		if math.Abs(w.total-level) > steadyBy*c.weight {
			break
		}
		from = w.from
	}
	// The stretch began with its first block; the level was reached before.
	near := level - max(0.01*c.weight, 3*c.sd(len(c.noise)-1))
	h := e.rows.since(began)
	for i := len(h) - 1; i >= 0; i-- {
		if h[i].t > from {
			continue
		}
		if n := h[i].total; n < near || h[i].t < from-2 {
			break
		}
		from = h[i].t
	}
	from = max(from, began+1e-3)
	c.signs.RiseS, c.signs.RisePeak, c.signs.RiseLine = from-began, 0, level
	for _, r := range e.rows.since(began) {
		if r.t < from+2 { // a gust that comes later is none of the rise
			c.signs.RisePeak = max(c.signs.RisePeak, r.total)
		}
	}
	c.levelN, c.liftoff = level, from
	c.airPeak = max(c.airPeak, level)
	for _, r := range h {
		if r.t >= from && !math.IsNaN(r.total) {
			c.airPeak = max(c.airPeak, r.total)
		}
	}
	// What was more than the plan on the way up is the load's own weight now,
	// unless it broke away from something.
	if n := len(c.passed); n > 1 && c.passed[n-1].Phase == HeldDown && len(c.signs.Snaps) == 0 && c.passed[n-1].FromS > from-3 {
		c.passed = c.passed[:n-1]
		c.passed[n-2].ToS = from
	}
	c.enter(Suspended, from, evidence)
	c.sagFrom = math.NaN()
	e.panel.Tell(e.now, alarm.Condition{Kind: alarm.NotFree, Air: true})
}

// unfree takes back that the load was free: what hangs does not get heavier
// when the hook goes up.
func (c *course) unfree(e *Engine, t float64) {
	n := len(c.passed)
	if n > 1 && (c.passed[n-2].Phase == TakingLoad || c.passed[n-2].Phase == HeldDown) {
		c.passed = c.passed[:n-1]
		c.phase = c.passed[n-2].Phase
		c.last().ToS = 0
	} else {
		c.enter(TakingLoad, c.last().FromS, "")
	}
	c.levelN, c.airPeak, c.liftoff = 0, 0, 0
	c.overFrom = math.NaN()
	c.step(e, t, 0, c.raw)
}

// windy tells whether the wind is such that it may pull the load aside, which
// makes it pull harder: over half of what the plan allows.
func (e *Engine) windy() bool {
	x, most := e.channel("wind speed"), e.plan.Lift.Site.Wind
	return x != nil && most != nil && *x > 0.5*float64(most.High)
}

// above tells whether the total has stayed above its level since it first was: a
// load that bounces comes down to it again and again.
func (c *course) above(e *Engine) bool {
	for _, r := range e.rows.since(c.overFrom) {
		if r.total < c.levelN+0.01*c.weight {
			return false
		}
	}
	return true
}

// told takes a person's word that the load is free.
func (c *course) told(e *Engine) {
	c.byWord = true
	if c.phase == TakingLoad || c.phase == HeldDown {
		c.free(e, "a person's word")
	}
}

// setDown takes a person's word that it stands.
func (c *course) setDown(*Engine) {
	if c.air() {
		c.enter(SettingDown, c.t, "")
		c.leastN, c.leastAt = c.raw, c.t
	}
}

// resume goes on where a watch left off.
func (c *course) resume(_ *Engine, l left) {
	if l.Phase != "" {
		c.started = true
		c.passed = nil
		c.enter(l.Phase, 0, "")
		c.levelN, c.slow = l.HoldN, l.HoldN
	}
}

// tared notes a zeroing.
func (c *course) tared(e *Engine, t Tared) {
	c.tares = append(c.tares, infer.Tare{AtS: e.now.Since(e.begun), Attached: t.Kind == "attached", OffN: t.OffN, Insisted: t.Insists})
	c.windows = slices.DeleteFunc(c.windows, func(w window) bool { return !w.closed })
	c.block.n = 0
}

// snap sees a sudden fall on the way up.
func (c *course) snap(e *Engine, t, total float64) {
	if t-c.snapEnd < 1 || c.slow-c.baseline < 0.1*c.weight && c.peakN < 0.5*c.weight {
		return
	}
	h := e.rows.since(t - max(0.7, 3*e.rows.period))
	top, k := total, -1
	for i := range h {
		if n := h[i].total; n > top {
			top, k = n, i
		}
	}
	if k < 0 || top-total < falls*c.weight+6*c.sd(len(e.cells)) || top < e.rules.high {
		return
	}
	c.signs.Snaps = append(c.signs.Snaps, infer.Snap{AtS: h[k].t, BeforeN: c.slowPeak, PeakN: top, AfterN: total})
	c.snapEnd = t
}

// fellOn tells whether a fall went on until the legs bore less than half of the
// load: it was put down, and nothing broke.
func (c *course) fellOn(e *Engine, from float64) bool {
	const soon = 4 // s
	h := e.rows.since(from)
	return len(h) > 0 && h[0].t < from+soon && slices.ContainsFunc(h, func(r row) bool {
		return r.t < from+soon && r.total < c.emptyN+0.5*c.weight
	})
}

// shock sees a sudden peak in the air: of the total, or of the cells each by
// itself where they ring up and down. Slow cells are read at different moments of
// a bounce, so that their sum shows less of it than any of them.
func (c *course) shock(e *Engine, t, total float64) {
	room := max(0.15, 1.5*(e.rules.dynamic-1)) * (c.levelN - c.emptyN)
	if up, down := c.ring(e); min(up, down) > room/3 {
		if e.rows.period > slowRow {
			up = max(up, (up+down)/2) // where the top may lie between two readings
		}
		total = max(total, c.levelN+up)
	} else if !e.rows.whole(3) {
		return // a fall or rise in what a blind cell is thought to bear
	}
	if n := len(c.signs.Shocks); n > 0 && t-c.shockAt < 1.5 && total > c.signs.Shocks[n-1].PeakN {
		c.signs.Shocks[n-1].PeakN = total
		c.jolted(e, total, room)
	}
	if total-c.levelN < room+6*c.sd(len(e.cells)) || t-c.shockAt < 3 {
		return // a fall alone is the load being set down
	}
	calm := false
	for _, r := range e.rows.since(t - max(1.2, 4*e.rows.period)) {
		calm = calm || math.Abs(r.total-c.levelN) < room/2
	}
	if !calm {
		return
	}
	c.shockAt = t
	c.signs.Shocks = append(c.signs.Shocks, infer.Snap{AtS: t, BeforeN: c.levelN, PeakN: total, AfterN: c.levelN})
	c.jolted(e, total, room)
}

// ring is how far the cells went above and below what they read at rest, each
// whenever it was read in the last second or so, together and at the hooks, N.
func (c *course) ring(e *Engine) (up, down float64) {
	rest := 0.0
	for i := range e.cells {
		k := &e.cells[i]
		if i >= len(c.rested) || math.IsNaN(c.rested[i]) || math.IsNaN(k.live()) {
			return 0, 0
		}
		rest += c.rested[i]
		most, least := c.rested[i], c.rested[i]
		for n := range min(k.fill, len(k.last)) {
			v, at := k.back(n)
			if k.at.Since(at) > max(1, 2.5*k.period) {
				break
			}
			most, least = max(most, v), min(least, v)
		}
		up, down = up+most-c.rested[i], down+c.rested[i]-least
	}
	if rest <= 0 {
		return 0, 0
	}
	return up * c.levelN / rest, down * c.levelN / rest
}

// jolted tells the crew of a shock; a rough hand on the hoist is a sign, and no
// reason to stop.
func (c *course) jolted(e *Engine, total, room float64) {
	if total-c.levelN < 1.4*room {
		return
	}
	e.toll.jolt(c.shockAt)
	e.panel.Tell(e.now, alarm.Condition{
		Kind: alarm.Shock, On: true, Value: total, Limit: c.levelN + 1.4*room, Air: true,
		Text: fmt.Sprintf("The hooks went from %s to %s at once.", e.show(c.levelN), e.show(total)),
	})
}

// half notes what each cell carries with half the load on the ground.
func (c *course) half(e *Engine) {
	hold := c.lastHold()
	if hold == nil {
		return
	}
	c.signs.AtHalf = make([]float64, len(e.cells))
	r := e.rows.last()
	for i := range c.signs.AtHalf {
		c.signs.AtHalf[i] = (r.read[i] - e.cells[i].slackN) / (hold.mean[i] - e.cells[i].slackN)
	}
}

func (c *course) lastHold() *window {
	for i := len(c.windows) - 1; i >= 0; i-- {
		if c.stage(&c.windows[i]) == infer.Hold {
			return &c.windows[i]
		}
	}
	return nil
}

// against holds the slow total against the plan.
func (c *course) against(e *Engine) {
	r := &e.rules
	loaded := c.loaded()
	_, u := e.sum(e.rows.last().read)
	cond := alarm.Condition{Kind: alarm.FarAbovePlan, On: loaded && c.slow-u > r.far, Value: c.slow, Limit: r.far, Air: c.air()}
	if cond.On {
		cond.Text = fmt.Sprintf("The hooks carry %s; the plan explains no more than %s.", e.show(c.slow), e.show(r.high))
	}
	e.panel.Tell(e.now, cond)
	cond = alarm.Condition{Kind: alarm.AbovePlan, On: loaded && c.slow-u > r.high, Value: c.slow, Limit: r.high, Air: c.air()}
	if cond.On {
		cond.Text = fmt.Sprintf("The hooks carry %s, planned were %s at most.", e.show(c.slow), e.show(r.high))
	}
	e.panel.Tell(e.now, cond)
	held := c.phase == HeldDown
	cond = alarm.Condition{Kind: alarm.HeldDown, On: held, Value: c.slow, Limit: r.high}
	if held {
		cond.Text = fmt.Sprintf("The hooks carry %s and nothing shows that the load is free: it is held, or heavier than planned.", e.show(c.slow))
	}
	e.panel.Tell(e.now, cond)
	// Slack legs: while most of the load hangs, a leg that should bear bears
	// nothing.
	share := (c.slow - c.emptyN) / c.weight
	for i := range e.cells {
		k := &e.cells[i]
		want := (k.expected.NominalN - k.slackN) * share
		on := loaded && share > 0.6 && c.phase != SettingDown && want > 0.08*c.weight && k.got > 0 && k.silent == "" && !k.frozen && k.slow-k.slackN < 0.04*want && k.slow < k.slackN+0.5*(k.expected.JointLowN-k.slackN)*share
		cond := alarm.Condition{Kind: alarm.SlackLeg, Where: k.name, On: on, Value: k.slow, Air: c.air()}
		if on {
			cond.Text = fmt.Sprintf("%s bears %s; it should bear about %s.", k.name, e.show(k.slow), e.show(want))
		}
		e.panel.Tell(e.now, cond)
	}
	if x := e.channel("tilt"); x != nil && !math.IsInf(r.tilt, 1) {
		on := loaded && math.Abs(*x) > r.tilt
		e.panel.Tell(e.now, alarm.Condition{Kind: alarm.TiltOver, On: on, Value: *x, Limit: r.tilt, Air: c.air(), Text: fmt.Sprintf("The load hangs %.1f° off, limit %.1f°.", *x*180/math.Pi, r.tilt*180/math.Pi)})
	}
}
