package infer

import (
	"cmp"
	"math"
	"slices"
)

// Result is what a lift comes to so far.
type Result struct {
	Estimate         // under the most credible explanation
	Causes   []Cause // most likely first; a root cause before its symptoms
	Tell     string  // what would tell more; empty: nothing needs telling
}

// Cause is one explanation. Name is one of the design's: as_planned, heavier,
// lighter, cg_off, held_down, broke_free, leg_length, leg_slack,
// channels_swapped, channel_frozen, channel_lost, zero_drift, not_tared,
// tared_under_load, wrong_unit, shock, swing, gust, edge_landing, cannot_tell.
type Cause struct {
	Name        string
	Probability float64
	SameAs      []string // causes that the data cannot tell from it
	Where       string   // legs or channels, if any
	Text        string   // for the crew: what it is, with numbers, and what to do
	Danger      int      // 0: none, 1: look, 2: stop, if it is true
}

// mostSure is the most that any answer is given (common practice, no source):
// what nobody thought of is never ruled out.
const mostSure = 0.98

// tooSmall is the probability below which an explanation is left out of the
// answer; one that no sign speaks for, below four times that.
const tooSmall = 0.005

// keeps is how far behind the best, in nats, an explanation may be and still be
// hung again.
const keeps = 14

// astray is how far off, in standard deviations, a reading may be that the best
// explanation gives with the load on the ground.
const astray = 3.5

// shows is by how much, in nats, an explanation must be better than the plan
// to count before anything has hung.
const shows = 3

// tried is an explanation with what came of it.
type tried struct {
	*explanation
	solved
	p     *point
	score float64 // log of prior and evidence
	own   *fit    // the readings as it has them, where they stand for themselves; else nil
}

// Diagnose compares the explanations on all that a lift has shown.
func (m *Model) Diagnose(c *Course) Result {
	if m.goHome() != nil {
		return Result{Estimate: nothing(), Causes: []Cause{m.cannotTell(0)}}
	}
	d, unproved := m.evidence(c)
	x := m.newFit(d.Windows, true, d.repeats())
	x.unproved = unproved
	for _, f := range m.farUnits(x) {
		// What stands by the plan's units and hangs nearly by others is no
		// window to compare them by.
		for _, w := range x.windows() {
			n, _ := m.Total(d.Windows[w].ReadN)
			share := (n - m.emptyN) / f / m.weightN
			if s := x.stage[w]; s == Tight && !(share > leastTight && share < mostTight) || s == Ended && share > leastHeld {
				x = x.without(w)
			}
		}
	}
	all := m.try(x, &d)
	// A load that tips before it lifts stands as no explanation has it: what
	// not even the best fits is left out.
	for len(x.stood) > 0 {
		best := slices.MaxFunc(all, func(a, b tried) int { return cmp.Compare(a.score, b.score) })
		if !(best.off > astray) || x.stage[best.worst] != Tight {
			break
		}
		x = x.without(best.worst)
		all = m.try(x, &d)
	}
	m.besideCrane(&d, all)
	return m.conclude(&d, x, m.signs(&d, x, all))
}

// repeats tells of which cells in which windows nothing new came: a frozen
// cell has no noise at all where the others have some.
func (c *Course) repeats() func(window, cell int) bool {
	return func(w, k int) bool {
		win := &c.Windows[w]
		return slices.Contains(c.Signs.Frozen, k) && k < len(win.NoiseN) && !(win.NoiseN[k] > 0)
	}
}

// try goes through the bank.
func (m *Model) try(x *fit, c *Course) []tried {
	bank := m.bank(x, c)
	home := x.system(m.home, loose{}, false)
	all := make([]tried, 0, len(bank))
	best := math.Inf(-1)
	for _, h := range bank {
		t := tried{explanation: h, p: m.home}
		if t.own = m.rescaled(x, c, h); t.own != nil {
			t.solved = t.own.system(m.home, loose{}, false).solve(nil)
			t.logZ -= float64(len(t.own.y)) * math.Log(h.by[0])
		} else {
			t.solved = home.solve(h)
		}
		t.score = math.Log(h.prior) + t.logZ
		all = append(all, t)
		best = max(best, t.score)
	}
	if !x.holds() {
		// Nothing has hung yet: what shows is kept, and of the rest nobody knows.
		all[0].explanation = &explanation{cause: "cannot_tell", prior: bank[0].prior}
		return slices.DeleteFunc(all, func(t tried) bool { return t.cause != "cannot_tell" && t.logZ < all[0].logZ+shows })
	}
	if !x.unproved {
		// What none of these is: anything, five times as far off as stated.
		t := all[0]
		n := float64(len(x.y))
		t.logZ += 0.5*t.misfN*(1-1/(wild*wild)) - n*math.Log(wild)
		t.explanation = &explanation{cause: "cannot_tell", prior: odds["none"]}
		t.score = math.Log(t.prior) + t.logZ
		all = append(all, t)
	}
	// Where the plan does not fit, what is far from linear may once it is hung.
	n := float64(len(x.y))
	poor := all[0].misfN > n+3*math.Sqrt(2*n)
	if poor {
		all = append(all, m.starts(x, all)...)
	}
	for i := range all {
		if t := &all[i]; t.own == nil && (t.cause == "as_planned" || t.hangs && (poor || t.score > best-keeps)) {
			m.refine(x, t)
			best = max(best, t.score)
		}
	}
	return all
}

// wild is how many times as far off as stated everything may be where no
// explanation fits.
const wild = 5.0

// farUnit is from which factor on, as a logarithm, a unit taken for another
// makes of a load that stands one that hangs.
const farUnit = 0.25

// farUnits are the far factors by which all channels may be off: what hangs is
// like the planned load then.
func (m *Model) farUnits(x *fit) []float64 {
	if !x.holds() {
		return nil
	}
	n, _ := m.Total(x.mean(nil))
	var out []float64
	for _, u := range units {
		share := (n - m.emptyN) / u.factor / m.weightN
		if math.Abs(math.Log(u.factor)) > farUnit && share > 0.5 && share < 1.6 {
			out = append(out, u.factor)
		}
	}
	return out
}

// rescaled is the fit of readings that are all off by a far factor, so that what
// the legs bore in each window is another thing; nil for any other explanation.
func (m *Model) rescaled(x *fit, c *Course, h *explanation) *fit {
	if h.by == nil || h.index != nil || !slices.Contains(m.farUnits(x), h.by[0]) {
		return nil
	}
	counts := x.windows()
	windows := slices.Clone(c.Windows)
	for i := range windows {
		w := &windows[i]
		w.ReadN, w.NoiseN = slices.Clone(w.ReadN), slices.Clone(w.NoiseN)
		for k := range w.ReadN {
			w.ReadN[k] /= h.by[0]
			if k < len(w.NoiseN) {
				w.NoiseN[k] /= h.by[0]
			}
			if !slices.Contains(counts, i) {
				w.ReadN[k] = math.NaN()
			}
		}
	}
	own := m.newFit(windows, true, c.repeats())
	own.unproved = x.unproved
	if len(own.y) != len(x.y) {
		return nil
	}
	return own
}

// besideCrane weighs the explanations by the crane's own indicator, which knows
// no cell.
func (m *Model) besideCrane(c *Course, all []tried) {
	sum, n := 0.0, 0.0
	for i := range c.Windows {
		if w := &c.Windows[i]; w.Stage == Hold && w.CraneN != nil {
			sum, n = sum+*w.CraneN, n+1
		}
	}
	if n == 0 {
		return
	}
	for i := range all {
		t := &all[i]
		total := m.emptyN + t.theta[atMass]*m.g
		t.score -= 0.5 * math.Pow((sum/n-total)/(craneError*total), 2)
	}
}

// craneError is how far off a crane's own indicator may be, standard deviation
// as a share (common practice, no source).
const craneError = 0.04

// farStarts are how much too long or short a leg is tried, as shares, where it
// may be off by a sling of another length, and where by a shackle.
var farStarts = [2][]float64{{-0.08, -0.03, 0.03, 0.08}, {-0.004, 0.004}}

// starts tries each leg too long and too short: where a leg goes slack, or the
// load askew, steps from the plan do not get there. The best start of each
// explanation goes on.
func (m *Model) starts(x *fit, all []tried) []tried {
	var out []tried
	for i := range all {
		t := &all[i]
		if t.cause != "leg_length" {
			continue
		}
		far := farStarts[0]
		if t.cols[0].sd < 0.02*m.mean[t.cols[0].param] {
			far = farStarts[1]
		}
		best := tried{score: math.Inf(-1)}
		for _, by := range far {
			if m.goHome() != nil {
				continue
			}
			theta := slices.Clone(m.mean)
			theta[t.cols[0].param] *= 1 + by
			p, err := m.linear(theta)
			if err != nil {
				continue
			}
			v := x.system(p, loose{}, false).solve(t.explanation)
			if score := math.Log(t.prior) + v.logZ; score > best.score {
				best = tried{explanation: t.explanation, solved: v, p: p, score: score}
			}
		}
		if best.p != nil {
			out = append(out, best)
		}
	}
	return out
}

// refine hangs the rig with the best parameters of an explanation and is
// linear about that, until it stays. What never stays is trusted less.
func (m *Model) refine(x *fit, t *tried) {
	p := t.p
	for range 5 {
		next, ok := m.again(p, t.theta)
		if ok {
			return
		}
		if next == nil {
			break
		}
		p = next
		v := x.system(p, loose{}, false).solve(t.explanation)
		t.solved, t.p, t.score = v, p, math.Log(t.prior)+v.logZ
	}
	t.score -= 3
}

// slackLeg is the share of the mean of the legs under which a leg hangs slack.
const slackLeg = 0.03

// slack finds the leg that hangs slack in every hold although it should bear;
// -1 without.
func (m *Model) slack(x *fit) int {
	mean := m.weightN / float64(len(m.legs))
	for i := range m.legs {
		c := m.legs[i].cell
		if c < 0 {
			continue
		}
		e := &m.cells[c]
		most := math.Inf(-1)
		for _, r := range x.rows {
			if r.cell == c && x.stage[r.window] == Hold {
				most = max(most, x.y[r.at])
			}
		}
		if !math.IsInf(most, -1) && most-e.slack < slackLeg*mean && e.NominalN-e.slack > 3*slackLeg*mean {
			return i
		}
	}
	return -1
}

// conclude turns what was tried into an answer.
func (m *Model) conclude(c *Course, x *fit, all []tried) Result {
	if i := m.slack(x); i >= 0 {
		// How much too long it is, or the others too short, no force tells.
		for k := range all {
			if all[k].cause == "leg_length" {
				h := *all[k].explanation
				h.cause, h.index = "leg_slack", []int{i}
				all[k].explanation = &h
			}
		}
	}
	best := math.Inf(-1)
	for i := range all {
		best = max(best, all[i].score)
	}
	sum := 0.0
	for i := range all {
		sum += math.Exp(all[i].score - best)
	}
	group := map[string]*Cause{}
	top := map[string]*tried{}
	var order []string
	for i := range all {
		t := &all[i]
		if group[t.cause] == nil {
			group[t.cause], top[t.cause] = &Cause{Name: t.cause}, t
			order = append(order, t.cause)
		}
		group[t.cause].Probability += math.Exp(t.score-best) / sum
		if t.score > top[t.cause].score {
			top[t.cause] = t
		}
	}
	slices.SortStableFunc(order, func(a, b string) int {
		return cmp.Compare(group[b].Probability, group[a].Probability)
	})
	first := top[order[0]]
	var res Result
	switch {
	case x.unproved && x.holds():
		fx, h := first.view(x)
		res.Estimate = m.atLeast(fx.mean(h))
	default:
		res.Estimate = m.average(x, first, all)
	}
	res.Tell = m.tell(x, c, order[0])
	for n, name := range order {
		g := group[name]
		if n > 0 && (g.Probability < tooSmall || top[name].sign && g.Probability < 4*tooSmall) {
			continue
		}
		g.Probability = min(g.Probability, mostSure)
		if n == 0 {
			g.SameAs = m.same(x, first, order, group, top)
		}
		m.word(g, top[name], &res.Estimate)
		res.Causes = append(res.Causes, *g)
	}
	return res
}

// average weighs the load under every form of the first cause that is nearly as
// credible as the best: a leg too long, or its fellow too short, hang alike and
// not at quite the same angles.
func (m *Model) average(x *fit, first *tried, all []tried) Estimate {
	const near, most = 3, 6
	fx, h := first.view(x)
	best := m.estimate(fx, first.p, h)
	if !first.lengthens() {
		return best
	}
	var forms []*tried
	for i := range all {
		if t := &all[i]; t.cause == first.cause && t.score > first.score-near && t.explanation != first.explanation {
			forms = append(forms, t)
		}
	}
	slices.SortStableFunc(forms, func(a, b *tried) int { return cmp.Compare(b.score, a.score) })
	sum, mean, square := 1.0, best.WeightN, math.Pow(best.WeightN, 2)+math.Pow(best.WeightU95N/z95, 2)
	for _, t := range forms[:min(most, len(forms))] {
		e := m.estimate(x, t.p, t.explanation)
		if math.IsNaN(e.WeightN) {
			continue
		}
		p := math.Exp(t.score - first.score)
		sum += p
		mean += p * e.WeightN
		square += p * (math.Pow(e.WeightN, 2) + math.Pow(e.WeightU95N/z95, 2))
	}
	best.WeightN = mean / sum
	best.WeightU95N = max(best.WeightU95N, z95*math.Sqrt(max(0, square/sum-best.WeightN*best.WeightN)))
	return best
}

// view is the readings as an explanation has them, and what is left of it then.
func (t *tried) view(x *fit) (*fit, *explanation) {
	if t.own == nil {
		return x, t.explanation
	}
	return t.own, nil
}

// same lists the causes that explain the readings as well as the first.
func (m *Model) same(x *fit, first *tried, order []string, group map[string]*Cause, top map[string]*tried) []string {
	var out []string
	for _, name := range order {
		t := top[name]
		p := group[name].Probability
		switch {
		case name == first.cause || name == "as_planned":
		case first.cause == "as_planned":
			if p > 0.15 {
				out = append(out, name)
			}
		case p > 0.03 || !first.sign && !t.sign && p > 1e-4 && t.misfN < first.misfN+4:
			out = append(out, name)
		}
	}
	// How much too long a leg is that hangs slack, no force tells.
	if first.cause == "leg_slack" && !slices.Contains(out, "leg_length") {
		out = append(out, "leg_length")
	}
	return out
}
