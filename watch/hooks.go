package watch

import (
	"fmt"
	"math"

	"plumbhook/alarm"
	"plumbhook/lift"
	"plumbhook/quantity"
	"plumbhook/verdict"
)

// hook is what hangs on one hook live. Limits are of its load, N; +Inf without.
type hook struct {
	name       string
	keys       [3]string // of its alarms: limits of the file, rating, crane
	index      int       // in the file
	planN      float64   // in the plan
	low, high  float64   // of its share, by what the plan does not know exactly
	warn, stop float64   // the file's own
	wll        float64
	crane      float64 // what its crane may carry less what hangs on it besides, in a joint lift its reduced part

	n, u float64 // now; NaN where it cannot be told
	slow float64 // through slowS; NaN before
	peak float64
	fan  fan
}

// HookView is one hook.
type HookView struct {
	Name      string
	LoadN     float64 // gross; NaN where it cannot be told
	LoadU95   float64
	PeakN     float64
	PlanN     float64
	Share     float64 // of what all hooks carry; NaN
	PlanShare float64
	ShareLow  float64 // of the plan, by what is not known exactly
	ShareHigh float64
	WarnN     float64 // +Inf without
	StopN     float64 // lowest of the file's, the rating and the crane's; +Inf without
	StopWhy   string
	Used      float64 // LoadN over StopN; 0 without
	Plumb     Plumb
}

// hooksOf sets up the hooks of a state of the plan.
func hooksOf(p *verdict.Plan, s *verdict.State) []hook {
	var all []hook
	lows, highs, sumLow, sumHigh := []float64{}, []float64{}, 0.0, 0.0
	for k, d := range s.Demands {
		if d.Kind == lift.OnHook {
			b := &s.Spread.Demands[k]
			lows, highs = append(lows, b.P5), append(highs, b.P95)
			sumLow, sumHigh = sumLow+b.P5, sumHigh+b.P95
		}
	}
	for i := range p.Lift.Hooks {
		f := &p.Lift.Hooks[i]
		where := "hooks." + f.Name
		h := hook{name: f.Name, keys: [3]string{where, where + " rating", where + " crane"}, index: i, planN: s.Hung.Hooks[i].LoadN, warn: math.Inf(1), stop: math.Inf(1), wll: math.Inf(1), crane: math.Inf(1), n: math.NaN(), slow: math.NaN(), fan: fanOf(p, s, i)}
		h.low = lows[i] / (lows[i] + sumHigh - highs[i])
		h.high = highs[i] / (highs[i] + sumLow - lows[i])
		if f.WLL != nil {
			h.wll = float64(f.WLL.Force)
		}
		if m, ok := p.Lift.Limits.Hooks[f.Name]; ok {
			if m.Warn != nil {
				h.warn = float64(m.Warn.Force)
			}
			if m.Stop != nil {
				h.stop = float64(m.Stop.Force)
			}
		}
		for k := range s.Machines {
			m := &s.Machines[k]
			if m.Hook != f.Name || m.Use == nil || m.Use.CapacityN == nil || len(m.Lines) == 0 {
				continue
			}
			may := *m.Use.CapacityN
			if m.Part != nil && m.Part.ReducedN != nil {
				may = min(may, *m.Part.ReducedN)
			}
			h.crane = may - (m.GrossN - m.Lines[0].N)
		}
		all = append(all, h)
	}
	return all
}

// least is the lowest limit of a hook, and what it is.
func (h *hook) least() (n float64, why string) {
	n = math.Inf(1)
	for _, l := range []struct {
		n   float64
		why string
	}{{h.stop, "stop limit in the lift file"}, {h.wll, "rating of the hook"}, {h.crane, "what its crane may carry"}} {
		if l.n < n {
			n, why = l.n, l.why
		}
	}
	return n, why
}

// judgeHooks holds what each hook carries against its limits. It is the alarm
// path: no memory is made while nothing is wrong.
func (e *Engine) judgeHooks() {
	air := e.course.air()
	for i := range e.hooks {
		h := &e.hooks[i]
		h.n, h.u = e.model.Hook(h.index, e.read)
		if math.IsNaN(h.n) {
			continue
		}
		h.peak = max(h.peak, h.n)
		if len(e.hooks) > 1 { // of a single one the total says the same
			e.tellHook(alarm.HookStop, h.keys[1], h.wll, h, air, "it is rated for")
		}
		e.tellHook(alarm.HookStop, h.keys[2], h.crane, h, air, "its crane may carry, beside what else hangs on it,")
		e.tellHook(alarm.HookStop, h.keys[0], h.stop, h, air, "stop is")
		e.tellHook(alarm.HookWarn, h.keys[0], h.warn, h, air, "warning is")
	}
}

func (e *Engine) tellHook(kind alarm.Kind, where string, limit float64, h *hook, air bool, is string) {
	if math.IsInf(limit, 1) {
		return
	}
	on := h.n+h.u > limit
	c := alarm.Condition{Kind: kind, Where: where, On: on, Value: h.n, Limit: limit, Air: air}
	if on {
		c.Text = fmt.Sprintf("Hook %s carries %s; %s %s.", h.name, e.show(h.n), is, e.show(limit))
	}
	e.panel.Tell(e.moment, c)
}

// hookRow takes the hooks on by a row.
func (e *Engine) hookRow(dt float64) {
	for i := range e.hooks {
		h := &e.hooks[i]
		switch {
		case math.IsNaN(h.n):
		case math.IsNaN(h.slow):
			h.slow = h.n
		default:
			h.slow += (1 - math.Exp(-dt/slowS)) * (h.n - h.slow)
		}
	}
}

// shareOff is how far beyond what the plan explains, and the error of the
// reading, the share of a hook may lie (common practice, no source).
const shareOff = 0.02

// aside says what is wrong with the hooks of a lift at rest in the air.
func (e *Engine) aside(rest bool) {
	if len(e.hooks) < 2 {
		return
	}
	sum := 0.0
	for i := range e.hooks {
		sum += e.hooks[i].slow
	}
	for i := range e.hooks {
		h := &e.hooks[i]
		where := h.keys[0]
		share, room := h.slow/sum, shareOff+h.u/sum
		on := rest && (share > h.high+room || share < h.low-room)
		c := alarm.Condition{Kind: alarm.ShareOff, Where: where, On: on, Value: h.slow, Air: true}
		if on {
			c.Text = fmt.Sprintf("Hook %s carries %.0f %% of the load; the plan gives %.0f to %.0f %%.", h.name, 100*share, 100*h.low, 100*h.high)
		}
		e.panel.Tell(e.now, c)
		p := e.plumb(i)
		on = rest && p.CannotTell == "" && p.Lean-p.U95 > math.Max(mostLean, p.PlanLean+mostLean/2)
		c = alarm.Condition{Kind: alarm.SidePull, Where: where, On: on, Value: p.Lean, Limit: mostLean, Air: true}
		if on {
			c.Text = fmt.Sprintf("Hook %s pulls %.1f° out of plumb, ± %.1f°, as its legs share.", h.name, p.Lean*180/math.Pi, p.U95*180/math.Pi)
		}
		e.panel.Tell(e.now, c)
	}
}

// mostLean is how far out of plumb a hook may pull before somebody has to look,
// rad (common practice, no source).
const mostLean = 1 * math.Pi / 180

func (e *Engine) viewHooks() []HookView {
	var all []HookView
	sum, plan := 0.0, 0.0
	for i := range e.hooks {
		sum += e.hooks[i].n
		plan += e.hooks[i].planN
	}
	for i := range e.hooks {
		h := &e.hooks[i]
		v := HookView{
			Name: h.name, LoadN: h.n, LoadU95: h.u, PeakN: h.peak, PlanN: h.planN, Share: math.NaN(), PlanShare: h.planN / plan,
			ShareLow: h.low, ShareHigh: h.high, WarnN: h.warn, Plumb: e.plumb(i),
		}
		if sum > 0 {
			v.Share = h.n / sum
		}
		v.StopN, v.StopWhy = h.least()
		if !math.IsInf(v.StopN, 1) && !math.IsNaN(h.n) {
			v.Used = h.n / v.StopN
		}
		all = append(all, v)
	}
	return all
}

// Plumb is how far the pull of a hook is from straight down, rad. Nothing here
// measures that: it is told by how the legs under the hooks share, in the
// directions in which they can tell.
type Plumb struct {
	Lean, U95  float64
	PlanLean   float64
	Toward     [3]float64 // level, which way the hook is pulled, world axes of the plan
	From       string     // what it was told by
	CannotTell string     // why it cannot be; empty: it can
}

// fan is the legs that spread from one hook, or from the node under it, to the
// load. Two legs tell of the pull along the line between their lower ends, three
// that are not in one plane tell of all of it.
type fan struct {
	apex  [3]float64
	rays  []ray
	dirs  [][3]float64 // level directions that are told
	why   string       // it tells nothing
	plane string       // in words
}

type ray struct {
	cell int
	end  [3]float64 // lower end, world, as planned
	tol  float64    // standard deviation of its length, m
}

// usualLength is the spread of a length that states none, as a share: that of
// infer (common practice, no source).
const usualLength = 0.0003

// fanOf finds the fan under a hook.
func fanOf(p *verdict.Plan, s *verdict.State, i int) fan {
	l := p.Lift
	name := l.Hooks[i].Name
	f := fan{apex: s.Hung.Hooks[i].At}
	of := func(name string) (legs []int) {
		for k := range l.Legs {
			if l.Legs[k].From.Body == name || l.Legs[k].To.Body == name {
				legs = append(legs, k)
			}
		}
		return legs
	}
	legs := of(name)
	if len(legs) == 1 && len(l.Legs[legs[0]].Via) == 0 {
		g := &l.Legs[legs[0]]
		far := g.To.Body
		if far == name {
			far = g.From.Body
		}
		for k := range s.Hung.Nodes {
			if s.Hung.Nodes[k].Name != far {
				continue
			}
			f.apex = s.Hung.Nodes[k].At
			var under []int
			for _, x := range of(far) {
				if x != legs[0] {
					under = append(under, x)
				}
			}
			legs = under
			name = far
			break
		}
	}
	if len(legs) < 2 {
		f.why = "one leg says how hard the hook pulls, not which way"
		return f
	}
	for _, k := range legs {
		g := &l.Legs[k]
		end := g.To
		if end.Body == name {
			end = g.From
		}
		cell := -1
		for c := range s.Expected {
			if s.Expected[c].Cell.Leg == k {
				cell = c
			}
		}
		switch {
		case len(g.Via) > 0:
			f.why = "a leg under it runs over points"
		case end.Body != "load":
			f.why = "its legs end on " + end.Body + ", which hangs as it likes"
		case cell < 0:
			f.why = "leg " + g.Name + " has no cell"
		}
		if f.why != "" {
			return f
		}
		path := s.Hung.Legs[k].Path
		at := path[len(path)-1]
		if g.To.Body == name {
			at = path[0]
		}
		f.rays = append(f.rays, ray{cell, at, sd(g.Length)})
	}
	a := sub(f.rays[1].end, f.rays[0].end)
	for _, r := range f.rays[2:] {
		if n := cross(a, sub(r.end, f.rays[0].end)); math.Abs(n[2]) > 0.05*norm(a)*norm(a) {
			f.dirs, f.plane = [][3]float64{{1, 0, 0}, {0, 1, 0}}, "any way"
			return f
		}
	}
	a[2] = 0
	n := norm(a)
	if n < 1e-3 {
		f.why = "its legs hang side by side"
		return f
	}
	f.dirs, f.plane = [][3]float64{{a[0] / n, a[1] / n, 0}}, "in the plane of its legs; across it they cannot tell"
	return f
}

// sd is the standard deviation of a length.
func sd(q quantity.Measured[quantity.Length]) float64 {
	half := float64(q.High-q.Low) / 2
	switch q.Shape {
	case quantity.Normal:
		return half / 1.959963984540054
	case quantity.Uniform:
		return half / math.Sqrt(3)
	}
	return usualLength / 1.959963984540054 * float64(q.Value)
}

// pull is what the legs of a fan do to their hook, N, with the apex moved and
// with what a leg bears changed.
func (f *fan) pull(shift [3]float64, bears func(cell int) float64) (sum [3]float64) {
	apex := add(f.apex, shift)
	for _, r := range f.rays {
		d := sub(r.end, apex)
		n := bears(r.cell) / norm(d)
		for k := range sum {
			sum[k] += n * d[k]
		}
	}
	return sum
}

// plumb tells how far hook i pulls out of plumb. What all hooks pull together is
// straight down, since nothing else holds the load: a fan leans by as much as
// its own pull leans against that.
func (e *Engine) plumb(i int) Plumb {
	h := &e.hooks[i]
	f := &h.fan
	var p Plumb
	if f := e.state.Hung.Hooks[i].Force; f[2] != 0 {
		p.PlanLean = math.Atan2(math.Hypot(f[0], f[1]), math.Abs(f[2]))
	}
	switch {
	case len(e.hooks) < 2:
		p.CannotTell = "under one hook the load moves until the hook pulls straight down"
	case f.why != "":
		p.CannotTell = f.why
	case !e.course.air():
		p.CannotTell = "the ground may bear some of the load"
	}
	for k := range e.hooks {
		for _, r := range e.hooks[k].fan.rays {
			if c := &e.cells[r.cell]; p.CannotTell == "" && (c.quality() != Good || c.slow < 0.05*c.expected.NominalN) {
				p.CannotTell = c.expected.Channel + " says nothing, or its leg is slack"
			}
		}
	}
	if p.CannotTell != "" {
		return p
	}
	slow := func(cell int) float64 { return e.cells[cell].slow + e.above(&e.cells[cell]) }
	variance := 0.0
	for _, d := range f.dirs {
		lean := func(shifted int, shift [3]float64, bears func(int) float64) (float64, bool) {
			own, along, down := 0.0, 0.0, 0.0
			for k := range e.hooks {
				g := &e.hooks[k]
				if !g.fan.tells(d) {
					return 0, false
				}
				var by [3]float64
				if k == shifted {
					by = shift
				}
				sum := g.fan.pull(by, bears)
				along += dot(sum, d)
				down += -sum[2]
				if k == i {
					own = dot(sum, d) / norm(sum)
				}
			}
			return math.Asin(own) - math.Atan2(along, down), true
		}
		none := [3]float64{}
		at, ok := lean(-1, none, slow)
		if !ok {
			p.CannotTell = "the legs of another hook do not tell of its pull this way"
			return p
		}
		p.Toward = add(p.Toward, scale(d, at))
		for k := range e.hooks {
			g := &e.hooks[k].fan
			for _, r := range g.rays {
				c := &e.cells[r.cell]
				more, _ := lean(-1, none, func(cell int) float64 {
					n := slow(cell)
					if cell == r.cell {
						n += c.error() / math.Sqrt(3)
					}
					return n
				})
				moved, _ := lean(k, g.moved(r, d), slow)
				variance += (more-at)*(more-at) + (moved-at)*(moved-at)
			}
		}
	}
	p.Lean, p.U95 = norm(p.Toward), 1.96*math.Sqrt(variance)
	if p.Lean > 0 {
		p.Toward = scale(p.Toward, 1/p.Lean)
	}
	p.From = "how the legs under the hooks share, " + f.plane
	return p
}

// tells whether a fan tells of the pull along a level direction.
func (f *fan) tells(d [3]float64) bool {
	switch len(f.dirs) {
	case 0:
		return false
	case 1:
		return math.Abs(dot(f.dirs[0], d)) > 0.999
	}
	return true
}

// moved is where the apex goes, along a level direction and up, when one leg is
// longer by a standard deviation: the others keep theirs, by least squares.
func (f *fan) moved(of ray, d [3]float64) [3]float64 {
	var aa, ab, bb, a, b float64
	for _, r := range f.rays {
		v := sub(r.end, f.apex)
		x, z := dot(v, d)/norm(v), v[2]/norm(v)
		aa, ab, bb = aa+x*x, ab+x*z, bb+z*z
		if r == of {
			a, b = -x*of.tol, -z*of.tol
		}
	}
	det := aa*bb - ab*ab
	if det < 1e-9 {
		return [3]float64{}
	}
	x, z := (bb*a-ab*b)/det, (aa*b-ab*a)/det
	out := scale(d, x)
	out[2] = z
	return out
}

func sub(a, b [3]float64) [3]float64 { return [3]float64{a[0] - b[0], a[1] - b[1], a[2] - b[2]} }
func add(a, b [3]float64) [3]float64 { return [3]float64{a[0] + b[0], a[1] + b[1], a[2] + b[2]} }
func dot(a, b [3]float64) float64    { return a[0]*b[0] + a[1]*b[1] + a[2]*b[2] }
func norm(a [3]float64) float64      { return math.Sqrt(dot(a, a)) }

func scale(a [3]float64, by float64) [3]float64 { return [3]float64{a[0] * by, a[1] * by, a[2] * by} }

func cross(a, b [3]float64) [3]float64 {
	return [3]float64{a[1]*b[2] - a[2]*b[1], a[2]*b[0] - a[0]*b[2], a[0]*b[1] - a[1]*b[0]}
}
