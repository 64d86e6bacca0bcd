package rehearse

import (
	"cmp"
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"

	"plumbhook/fault"
	"plumbhook/lift"
	"plumbhook/sim"
)

// Limit says how large a fault must be to be told from what the plan leaves
// open anyway, and from other faults.
//
// For faults that change what the cells read at rest it is found from the
// virtual lift's own settled tensions. A rehearsal gives these readings of
// every cell: idle, legs tight with the ground still carrying half, a first
// hold in the air, a last one, idle again; with the crane's total and a tilt
// where the lift has such channels. Their covariance is
//
//	Σ = R + J P Jᵀ
//
// R what noise, resolution and a load that is never quite still leave after a
// hold; P what the plan states of masses, places, lengths, stiffness and cell
// accuracy, and what goes with the place (slope of the ground, hook aside); J
// by finite differences, every one a world hung anew. A fault that moves the
// readings by s shows as d = sqrt(sᵀ Σ⁻¹ s) standard deviations of the one
// combination that tells it best: Detect is where d reaches 4. Name is where
// the same distance reaches 4 with any other fault, of any size, taken as an
// explanation instead.
//
// For faults that show in time (shock, swing, gust, broke_free, a silent or
// frozen channel) the limit is a formula on noise, rate, lag and on what
// ordinary drivers do.
type Limit struct {
	Cause  string
	Unit   string
	Detect float64 // told from as_planned; +Inf: never
	Name   float64 // told from all but Same; +Inf: nowhere up to Most
	Most   float64 // greatest magnitude that is drawn
	Same   []string

	// Unstopped is the limit where the hoist does not stop while the ground
	// carries part of the load, so that nothing is read at rest then, and more
	// may be the same; nil where that is no matter.
	Unstopped *Limit

	each []float64   // Detect by leg, pair, direction or edge, where the fault has one
	told [][]float64 // of faults of given sizes, by cell or pair: the sizes that are told from all but Same
}

// Least is the smallest magnitude that is drawn: told apart from everything
// that it ever can be.
func (l *Limit) Least() float64 {
	if l.Name <= l.Most {
		return max(l.Detect, l.Name)
	}
	return l.Detect
}

// sigmas is the distance that counts as told apart. With 4 the probability to
// be misled is 2 in 100 000 each way, were all normal: the margin is for what
// is not.
const sigmas = 4

// The stages whose readings are compared.
const (
	atStart = iota
	atGround
	atHold
	atHold2
	atEnd
	stageCount
)

// onGround is the share of the weight that the hoist has in the ground stage.
const onGround = 0.5

// bench compares what worlds read.
type bench struct {
	lift    *lift.Lift
	plan    *rigging
	hold    []float64 // raw
	tare    []float64
	base    []float64
	inverse *mat.SymDense
	aloft   *mat.SymDense // inverse, with the readings of the ground stage left out
	ground  *mat.SymDense // covariance of the readings of the ground stage alone, the place left out
	n       int
	crane   bool
	tilt    bool
	figures []figure
}

// collect is a pick that lists the figures of a plan.
func collect(into *[]figure) pick {
	seen := map[string]bool{}
	return func(f figure) float64 {
		if !seen[f.name] {
			seen[f.name] = true
			*into = append(*into, f)
		}
		return f.value
	}
}

func newBench(l *lift.Lift) (*bench, error) {
	b := &bench{lift: l}
	sc := calmScene()
	var err error
	if b.plan, err = build(l, collect(&b.figures), sc, twist{leg: -1}); err != nil {
		return nil, err
	}
	b.n = len(b.plan.cells)
	if b.n == 0 {
		return nil, noCells()
	}
	for i := range l.Channels {
		b.crane = b.crane || l.Channels[i].Kind == "crane total"
		b.tilt = b.tilt || l.Channels[i].Kind == "tilt"
	}
	b.hold = b.plan.held()
	if b.base, err = b.observe(nominal, sc, twist{leg: -1}); err != nil {
		return nil, err
	}
	return b, b.covariance(sc)
}

func noCells() error {
	return fault.New(fault.Missing, "no leg of the lift has a load cell").
		In("legs").Fix("give a leg a cell with a channel, or a stack entry of kind load cell")
}

// observe is what the cells of a world read in all stages, without errors of
// their own.
func (b *bench) observe(p pick, sc scene, tw twist) ([]float64, error) {
	r, err := build(b.lift, p, sc, tw)
	if err != nil {
		return nil, err
	}
	attached, err := r.empty(false)
	if err != nil {
		return nil, err
	}
	tare := slices.Clone(attached)
	if slices.ContainsFunc(r.cells, func(c legCell) bool { return c.cell.Zero == lift.ZeroHung }) {
		hung, err := r.empty(true)
		if err != nil {
			return nil, err
		}
		for k, c := range r.cells {
			if c.cell.Zero == lift.ZeroHung {
				tare[k] = hung[k]
			}
		}
	}
	for k, c := range r.cells {
		if c.cell.Zero == lift.ZeroNone {
			tare[k] = 0
		}
	}
	if b.tare == nil {
		b.tare = tare
	}
	out := make([]float64, b.rows())
	ground, err := r.halfway(onGround * b.plan.weight)
	if err != nil {
		return nil, err
	}
	for k, f := range r.held() {
		out[atStart*b.n+k] = attached[k] - tare[k]
		out[atGround*b.n+k] = ground[k] - tare[k]
		out[atHold*b.n+k] = f - tare[k]
		out[atHold2*b.n+k] = f - tare[k]
		out[atEnd*b.n+k] = attached[k] - tare[k]
	}
	more := stageCount * b.n
	if b.crane {
		out[more] = r.weight
		more++
	}
	if b.tilt {
		out[more] = r.hung.Tilt(0)
	}
	return out, nil
}

// rows of the readings.
func (b *bench) rows() int {
	rows := stageCount * b.n
	if b.crane {
		rows++
	}
	if b.tilt {
		rows++
	}
	return rows
}

// halfway is the raw force on every cell with the load on the ground and so
// much of it on the hoist.
func (r *rigging) halfway(load float64) ([]float64, error) {
	s := sim.New(r.world)
	drives := make([]sim.Drive, len(r.world.Hooks))
	pull := func(up float64) (float64, error) {
		total := 0.0
		for i := range drives {
			drives[i].At = r.world.Hooks[i].At
			drives[i].At[2] += up
		}
		if err := s.Settle(drives); err != nil {
			return 0, err
		}
		for i := range drives {
			total += s.HookLoad(i)
		}
		return total, nil
	}
	empty, err := pull(0)
	if err != nil {
		return nil, err
	}
	// The pull rises with the hook: bracket, then close in by turns with the
	// secant and by halving.
	low, high := 0.0, r.tight-r.world.Hooks[0].At[2]
	fl, fh := -load, -load
	for n := 0; fh < 0 && n < 40; n++ {
		if n > 0 {
			low, fl = high, fh
			high += r.give / 2
		}
		if fh, err = pull(high); err != nil {
			return nil, err
		}
		fh -= empty + load
	}
	for n := range 60 {
		at := (low + high) / 2
		if n%2 == 0 {
			at = (low*fh - high*fl) / (fh - fl)
		}
		f, err := pull(at)
		if err != nil {
			return nil, err
		}
		f -= empty + load
		if math.Abs(f) < 1e-4*load {
			out := make([]float64, len(r.cells))
			for k, c := range r.cells {
				out[k] = s.AtCell(c.leg)
			}
			return out, nil
		}
		if f < 0 {
			low, fl = at, f
		} else {
			high, fh = at, f
		}
	}
	return nil, fault.New(fault.Rig, "the hoist does not take half of the load while the ground carries the rest")
}

// What is left of noise and motion in a steady reading: a share of full scale
// and a share of the reading (of the cell's share of the load on the ground).
const (
	restNoise   = 1.5e-4
	restMotion  = 5e-4
	restGround  = 5e-3
	craneError  = 0.03 / 1.7320508
	tiltError   = 2e-3 / 1.7320508
	zeroShare   = 0.1      // of the accuracy
	warmthError = 2e-5 * 3 // of full scale, three kelvin
)

func (b *bench) covariance(sc scene) error {
	rows := b.rows()
	sigma := mat.NewSymDense(rows, nil)
	plus := func(j []float64) { sigma.SymRankOne(sigma, 1, mat.NewVecDense(rows, j)) }
	var failed error
	slope := func(p func(x float64) (pick, scene)) {
		if failed != nil {
			return
		}
		up, scUp := p(1)
		down, scDown := p(-1)
		hi, err := b.observe(up, scUp, twist{leg: -1})
		if err != nil {
			failed = err
			return
		}
		lo, err := b.observe(down, scDown, twist{leg: -1})
		if err != nil {
			failed = err
			return
		}
		for i := range hi {
			hi[i] = (hi[i] - lo[i]) / 2
		}
		plus(hi)
	}
	for i := range b.figures {
		f := &b.figures[i]
		slope(func(x float64) (pick, scene) {
			return func(g figure) float64 {
				if g.name == f.name {
					return g.value + x*f.sd()
				}
				return g.value
			}, sc
		})
	}
	if failed != nil {
		return failed
	}
	for k, c := range b.plan.cells {
		full, acc := fullScale(c.cell, b.hold[k]), accuracy(c.cell, b.hold[k])
		// Gain: uniform within the accuracy at the planned reading.
		j := make([]float64, rows)
		for s := range stageCount {
			if b.hold[k] > 0 {
				j[s*b.n+k] = acc / math.Sqrt(3) * b.base[s*b.n+k] / b.hold[k]
			}
		}
		plus(j)
		// A zero that was not quite one, and what it does on the way.
		j = make([]float64, rows)
		for s := range stageCount {
			j[s*b.n+k] = zeroShare * acc
		}
		plus(j)
		j = make([]float64, rows)
		for s := range stageCount {
			j[s*b.n+k] = warmthError * full * float64(s) / (stageCount - 1)
		}
		plus(j)
		// From hold to hold a cell may wander within its accuracy and be none
		// the worse for it.
		j = make([]float64, rows)
		for s := atHold2; s < stageCount; s++ {
			j[s*b.n+k] = acc / math.Sqrt(3)
		}
		plus(j)
		for s := range stageCount {
			i := s*b.n + k
			v := restNoise * full
			w := restMotion * b.base[i]
			if s == atGround {
				w = restGround * b.plan.weight / float64(b.n)
			}
			sigma.SetSym(i, i, sigma.At(i, i)+v*v+w*w)
		}
	}
	extra := stageCount * b.n
	if b.crane {
		sigma.SetSym(extra, extra, sigma.At(extra, extra)+math.Pow(craneError*b.plan.weight, 2))
		extra++
	}
	if b.tilt {
		sigma.SetSym(extra, extra, sigma.At(extra, extra)+tiltError*tiltError)
	}
	// How much of the load the hoist has while the ground carries the rest, only
	// the cells tell.
	more, err := b.plan.halfway(1.1 * onGround * b.plan.weight)
	if err != nil {
		return err
	}
	j := make([]float64, rows)
	for k := range b.n {
		j[atGround*b.n+k] = 5 * (more[k] - b.tare[k] - b.base[atGround*b.n+k])
	}
	plus(j)
	b.ground = mat.NewSymDense(b.n, nil)
	b.ground.CopySym(sigma.SliceSym(atGround*b.n, (atGround+1)*b.n))
	for _, at := range places(sc) {
		slope(func(x float64) (pick, scene) { return nominal, at(x) })
	}
	if failed != nil {
		return failed
	}
	if b.inverse, err = inverted(sigma); err != nil {
		return err
	}
	// So uncertain that they say nothing.
	for k := range b.n {
		i := atGround*b.n + k
		sigma.SetSym(i, i, sigma.At(i, i)+1e6*b.plan.weight*b.plan.weight)
	}
	b.aloft, err = inverted(sigma)
	return err
}

// places are what nobody knows of the place, by standard deviations: hook aside
// by 40 mm, ground sloping by up to 0.03.
func places(sc scene) (out []func(x float64) scene) {
	for k := range 2 {
		out = append(out, func(x float64) scene {
			s := sc
			s.off[k] += x * 0.028
			return s
		}, func(x float64) scene {
			s := sc
			s.slope[k] += x * 0.012
			return s
		})
	}
	return out
}

func inverted(sigma *mat.SymDense) (*mat.SymDense, error) {
	var chol mat.Cholesky
	if !chol.Factorize(sigma) {
		return nil, fault.New(fault.Internal, "the covariance of the readings is not positive definite")
	}
	out := mat.NewSymDense(sigma.SymmetricDim(), nil)
	return out, chol.InverseTo(out)
}

// inner is aᵀ Σ⁻¹ b.
func (b *bench) inner(x, y []float64) float64 {
	return mat.Inner(mat.NewVecDense(len(x), x), b.inverse, mat.NewVecDense(len(y), y))
}

// A pattern is what a fault of a size does to the readings.
type pattern func(m float64) ([]float64, error)

// moved is the pattern of a world that is changed.
func (b *bench) moved(change func(m float64) twist) pattern {
	return func(m float64) ([]float64, error) {
		s, err := b.observe(nominal, calmScene(), change(m))
		if err != nil {
			return nil, err
		}
		for i := range s {
			s[i] -= b.base[i]
		}
		return s, nil
	}
}

// misread is the pattern of readings that are changed.
func (b *bench) misread(change func(stage, cell int, m float64) float64) pattern {
	return func(m float64) ([]float64, error) {
		s := make([]float64, b.rows())
		for st := range stageCount {
			for k := range b.n {
				s[st*b.n+k] = change(st, k, m)
			}
		}
		return s, nil
	}
}

// A suspect is one cause at rest, as one or several patterns. Any pattern of
// it can be the fault: one leg of several, one cell of several.
type suspect struct {
	cause    string
	patterns []pattern
	from     float64 // a magnitude to begin the search with
	most     float64
	fixed    []float64 // the only magnitudes there are, where it is not free
	worst    bool      // the limit is that of the pattern hardest to see
}

// suspects lists the causes that show at rest.
func (b *bench) suspects() []suspect {
	w := b.plan.weight
	none := func() twist { return twist{leg: -1} }
	heavier := func(m float64) twist { t := none(); t.mass = m; return t }
	reading := func(st, k int) float64 { return b.base[st*b.n+k] }
	size := b.size()
	out := []suspect{
		{cause: "heavier", patterns: []pattern{b.moved(heavier)}, from: 0.05, most: 0.6},
		{cause: "lighter", patterns: []pattern{b.moved(func(m float64) twist { return heavier(-m) })}, from: 0.05, most: 0.5},
		{cause: "held_down", patterns: []pattern{b.moved(func(m float64) twist {
			// A pull at the middle of the base is a mass put there.
			t := heavier(m / w)
			mid := b.plan.baseMid()
			for k := range 2 {
				t.cg[k] = (mid[k] - b.plan.cg[k]) * m / (w + m)
			}
			return t
		})}, from: 0.05 * w, most: 0.8 * w},
	}
	cg := suspect{cause: "cg_off", from: 0.05, most: 0.5 * size}
	for i := range 8 {
		s, c := math.Sincos(float64(i) * math.Pi / 4)
		cg.patterns = append(cg.patterns, b.moved(func(m float64) twist {
			t := none()
			t.cg = [2]float64{m * c, m * s}
			return t
		}))
	}
	out = append(out, cg)
	length := suspect{cause: "leg_length", from: 0.01, worst: true}
	for _, i := range toLoad(b.lift) {
		// Longer than by a tenth no rigger takes for another leg of the set.
		length.most = max(length.most, 0.1*float64(b.lift.Legs[i].Length.Value))
		length.patterns = append(length.patterns, b.moved(func(m float64) twist {
			t := none()
			t.leg, t.longer = i, m
			return t
		}))
	}
	if len(length.patterns) > 1 {
		slack, least := b.slackens(length)
		length.most = min(length.most, nearSlack*least)
		out = append(out, length)
		if len(slack.patterns) > 0 {
			out = append(out, slack)
		}
	}
	if b.n > 1 {
		swapped := suspect{cause: "channels_swapped", fixed: []float64{1}}
		for i := range b.n {
			for j := range i {
				swapped.patterns = append(swapped.patterns, b.misread(func(st, k int, m float64) float64 {
					switch k {
					case i:
						return m * (reading(st, j) - reading(st, i))
					case j:
						return m * (reading(st, i) - reading(st, j))
					}
					return 0
				}))
			}
		}
		out = append(out, swapped)
	}
	zero := suspect{cause: "zero_drift", from: 0.01 * w, most: 0.5 * w, worst: true}
	unit := suspect{cause: "wrong_unit"}
	for _, m := range mistaken {
		unit.fixed = append(unit.fixed, m.factor-1)
	}
	slices.SortFunc(unit.fixed, func(x, y float64) int { return cmp.Compare(math.Abs(x), math.Abs(y)) })
	unit.patterns = []pattern{b.misread(func(st, k int, m float64) float64 { return m * reading(st, k) })}
	for i := range b.n {
		for _, sign := range []float64{1, -1} {
			zero.patterns = append(zero.patterns, b.misread(func(st, k int, m float64) float64 {
				if k == i && st >= atHold2 {
					return sign * m
				}
				return 0
			}))
		}
		if b.n > 1 {
			unit.patterns = append(unit.patterns, b.misread(func(st, k int, m float64) float64 {
				if k == i {
					return m * reading(st, k)
				}
				return 0
			}))
		}
	}
	out = append(out, zero, unit)
	if slices.Max(b.tare) > 0 {
		out = append(out, suspect{cause: "not_tared", fixed: []float64{1}, patterns: []pattern{
			b.misread(func(_, k int, m float64) float64 { return m * b.tare[k] }),
		}})
		out = append(out, suspect{cause: "tared_under_load", from: 0.05 * w, most: 0.8 * w, patterns: []pattern{
			b.misread(func(st, k int, m float64) float64 {
				if st == atStart {
					return 0
				}
				return -m / (onGround * w) * (reading(atGround, k) - reading(atStart, k))
			}),
		}})
	}
	return out
}

// size is half the shorter side of the base, m.
func (b *bench) size() float64 {
	c := b.plan.corners
	return min(c[1][0]-c[0][0], c[2][1]-c[1][1]) / 2
}

func (r *rigging) baseMid() (mid sim.Vec) {
	for _, p := range r.corners {
		for k := range mid {
			mid[k] += p[k] / float64(len(r.corners))
		}
	}
	return mid
}

// toLoad lists the legs that reach the load from above.
func toLoad(l *lift.Lift) (legs []int) {
	for i := range l.Legs {
		leg := &l.Legs[i]
		if (leg.To.Body == "load") != (leg.From.Body == "load") && len(leg.Via) == 0 {
			legs = append(legs, i)
		}
	}
	return legs
}

// nearSlack is how much of what makes a leg go slack it may be too long to be
// called that and no more: what the plan leaves open of lengths may do the rest.
const nearSlack = 0.7

// slackens is the cause leg_slack: the lengths from which on a leg carries
// less than a hundredth of the weight. From says how much the last of the
// legs needs, least what the first one does.
func (b *bench) slackens(length suspect) (s suspect, least float64) {
	s, least = suspect{cause: "leg_slack", most: length.most, worst: true}, math.Inf(1)
	legs := toLoad(b.lift)
	if len(legs) < 3 {
		return s, least
	}
	for n, i := range legs {
		for m := length.most / 64; m <= length.most; m *= 1.1 {
			r, err := build(b.lift, nominal, calmScene(), twist{leg: i, longer: m})
			if err == nil && r.hung.Tension(i) < 0.01*b.plan.weight {
				s.from, least = max(s.from, m), min(least, m)
				s.patterns = append(s.patterns, length.patterns[n])
				break
			}
		}
	}
	return s, least
}

// distance of a pattern of magnitude m from as_planned, in standard
// deviations.
func (b *bench) distance(p pattern, m float64) (float64, error) {
	s, err := p(m)
	if err != nil {
		return 0, err
	}
	return math.Sqrt(max(0, b.inner(s, s))), nil
}

// detect is the magnitude at which a pattern is told from as_planned; +Inf
// where that is more than most.
func (b *bench) detect(p pattern, from, most float64) (float64, error) {
	m := from
	for range 12 {
		d, err := b.distance(p, m)
		if err != nil {
			return 0, err
		}
		if !(d > 1e-6) {
			return math.Inf(1), nil
		}
		next := m * sigmas / d
		if math.Abs(next-m) < 1e-3*m {
			return next, nil
		}
		if next > 4*most || next > most && m == most {
			return math.Inf(1), nil
		}
		m = min(next, most)
	}
	return m, nil
}

// shape is what a cause does in one of its patterns, at a size.
type shape struct {
	at   float64
	read []float64
}

// blamed is the distance that is left between readings and the best that
// another cause, no greater than it can be, makes of them.
func (b *bench) blamed(s []float64, other *suspect, basis []shape) (float64, error) {
	ss := b.inner(s, s)
	least := ss
	if other.cause == "cg_off" {
		// Both directions at once.
		x, y := basis[0].read, basis[2].read
		xx, xy, yy := b.inner(x, x), b.inner(x, y), b.inner(y, y)
		sx, sy := b.inner(s, x), b.inner(s, y)
		if det := xx*yy - xy*xy; det > 1e-9*xx*yy {
			within := func(a, at float64) float64 { return max(-other.most/at, min(a, other.most/at)) }
			ax := within((sx*yy-sy*xy)/det, basis[0].at)
			ay := within((sy-ax*xy)/yy, basis[2].at)
			ax = within((sx-ay*xy)/xx, basis[0].at)
			return math.Sqrt(max(0, ss-2*(ax*sx+ay*sy)+ax*ax*xx+2*ax*ay*xy+ay*ay*yy)), nil
		}
	}
	for k, p := range basis {
		if other.fixed == nil {
			pp, sp := b.inner(p.read, p.read), b.inner(s, p.read)
			if pp > 0 && sp > 0 {
				a := min(sp/pp, other.most/p.at)
				least = min(least, ss-2*a*sp+a*a*pp)
			}
			continue
		}
		for _, m := range other.fixed {
			q, err := other.patterns[k](m)
			if err != nil {
				return 0, err
			}
			d := make([]float64, len(s))
			for i := range d {
				d[i] = s[i] - q[i]
			}
			least = min(least, b.inner(d, d))
		}
	}
	return math.Sqrt(max(0, least)), nil
}

// edgeShares are how much of the load an edge is tried with.
var edgeShares = []float64{0.08, 0.15, 0.25, 0.4}

// edges is how much of the load each edge of the base must carry alone, the
// hoist the rest, to be told from level ground that carries as much: the least
// of the shares, or between two of them.
func (b *bench) edges() ([]float64, error) {
	out := make([]float64, len(b.plan.corners))
	was := make([]float64, len(out))
	for i := range out {
		out[i] = math.Inf(1)
	}
	for n, share := range edgeShares {
		level, inverse, err := b.level(share)
		if err != nil {
			return nil, err
		}
		for k := range out {
			if !math.IsInf(out[k], 1) {
				continue
			}
			tilted := *b.plan
			tilted.world = tilted.world.Clone()
			for _, c := range []int{k, (k + 1) % len(out)} {
				tilted.world.Contacts[c].Packing = edgeHeight(tilted.corners, k, leastEdge)
			}
			on, err := tilted.halfway((1 - share) * b.plan.weight)
			if err != nil {
				continue // the load tips, or slides, before
			}
			for i := range on {
				on[i] -= level[i]
			}
			v := mat.NewVecDense(b.n, on)
			d := math.Sqrt(mat.Inner(v, inverse, v))
			switch {
			case d < sigmas:
			case n == 0 || was[k] == 0:
				out[k] = share
			default:
				out[k] = edgeShares[n-1] + (share-edgeShares[n-1])*(sigmas-was[k])/(d-was[k])
			}
			was[k] = d
		}
	}
	return out, nil
}

// level is what the cells read with a share of the load on ground that is
// level or nearly so, and the inverse of the covariance of that.
func (b *bench) level(share float64) ([]float64, *mat.SymDense, error) {
	sc := calmScene()
	at := func(sc scene) ([]float64, error) {
		r, err := build(b.lift, nominal, sc, twist{leg: -1})
		if err != nil {
			return nil, err
		}
		return r.halfway((1 - share) * b.plan.weight)
	}
	mid, err := at(sc)
	if err != nil {
		return nil, nil, err
	}
	sigma := mat.NewSymDense(b.n, nil)
	sigma.CopySym(b.ground)
	for _, p := range places(sc) {
		side, err := at(p(1))
		if err != nil {
			return nil, nil, err
		}
		for i := range side {
			side[i] -= mid[i]
		}
		sigma.SymRankOne(sigma, 1, mat.NewVecDense(b.n, side))
	}
	inverse, err := inverted(sigma)
	return mid, inverse, err
}

// An edge stands so high that the load leans by this much, rad, where a person
// would pack it that high.
const leastEdge, mostEdge = 4 * math.Pi / 180, 8 * math.Pi / 180

// edgeHeight is how high packing under edge k, from corner k to the next,
// tips the load by an angle; a person would not pack higher than 300 mm.
func edgeHeight(c []sim.Vec, k int, angle float64) float64 {
	side := math.Hypot(c[k][0]-c[(k+3)%4][0], c[k][1]-c[(k+3)%4][1])
	return min(0.3, side*math.Tan(angle))
}

// Limits finds the detection limit of every cause that the lift can have.
// Those that show in time are given for ten samples a second and the middle of
// everything else.
func Limits(l *lift.Lift) ([]Limit, error) {
	b, err := newBench(l)
	if err != nil {
		return nil, err
	}
	all := b.suspects()
	found, err := b.atRest(all)
	if err != nil {
		return nil, err
	}
	b.inverse = b.aloft
	aloft, err := b.atRest(all)
	if err != nil {
		return nil, err
	}
	var out []Limit
	for i := range causes {
		name := causes[i].Name
		if lim, ok := found[name]; ok {
			if other := aloft[name]; !slices.Equal(other.Same, lim.Same) || math.Abs(other.Least()/lim.Least()-1) > 0.01 {
				lim.Unstopped = &other
			}
			out = append(out, lim)
			continue
		}
		if lim, ok := b.plan.inTime(name, reference); ok {
			out = append(out, lim)
		}
		if name == "edge_landing" {
			lim := Limit{Cause: name, Unit: causes[i].Unit, Most: 0.6}
			if lim.each, err = b.edges(); err != nil {
				return nil, err
			}
			lim.Detect = max(0.05, slices.Min(lim.each))
			lim.Name = lim.Detect
			out = append(out, lim)
		}
	}
	return out, nil
}

// atRest finds the limits of the causes that show at rest.
func (b *bench) atRest(all []suspect) (map[string]Limit, error) {
	basis := make([][]shape, len(all))
	limits := make([]Limit, len(all))
	for i := range all {
		s := &all[i]
		lim := Limit{Cause: s.cause, Unit: find(s.cause).Unit, Most: s.most, each: make([]float64, len(s.patterns))}
		from, most := s.from, s.most
		if s.fixed != nil {
			from, most = 0.1, slices.Max(s.fixed)
		}
		for k, p := range s.patterns {
			var err error
			if lim.each[k], err = b.detect(p, from, most); err != nil {
				return nil, err
			}
			at := min(from, lim.each[k])
			v, err := p(at)
			if err != nil {
				return nil, err
			}
			basis[i] = append(basis[i], shape{at, v})
		}
		if lim.Detect = slices.Min(lim.each); s.worst {
			lim.Detect = slices.Max(lim.each)
		}
		if s.cause == "leg_slack" {
			lim.Detect = max(lim.Detect, s.from)
		}
		limits[i] = lim
	}
	out := map[string]Limit{}
	for i, lim := range limits {
		if err := b.name(&lim, i, all, basis); err != nil {
			return nil, err
		}
		out[lim.Cause] = b.inUnit(lim)
	}
	return out, nil
}

// name finds from what size a cause is told from the others, and from which
// it never is, up to four times its detection limit.
func (b *bench) name(lim *Limit, k int, all []suspect, basis [][]shape) error {
	s := &all[k]
	lim.Name = math.Inf(1)
	if math.IsInf(lim.Detect, 1) {
		return nil
	}
	same := map[string]bool{}
	if s.fixed != nil {
		if err := b.ways(lim, s, all, basis, same); err != nil {
			return err
		}
	} else {
		var sizes []float64
		for m := lim.Detect; m < 4.05*lim.Detect; m *= math.Sqrt(math.Sqrt(2)) {
			if m <= lim.Most {
				sizes = append(sizes, m)
			}
		}
		if len(sizes) == 0 {
			return nil
		}
		// Whatever explains even the largest as well is inseparable.
		if err := b.takenFor(s, s.patterns, sizes[len(sizes)-1], all, basis, func(o string) { same[o] = true }); err != nil {
			return err
		}
		for i := len(sizes) - 1; i >= 0; i-- {
			told := true
			if err := b.takenFor(s, s.patterns, sizes[i], all, basis, func(o string) { told = told && same[o] }); err != nil {
				return err
			}
			if !told {
				break
			}
			lim.Name = sizes[i]
		}
	}
	for i := range causes {
		if same[causes[i].Name] {
			lim.Same = append(lim.Same, causes[i].Name)
		}
	}
	return nil
}

// ways finds in which of its ways a cause of given sizes is told from all
// others; where in none, in which it shows, and what it is the same as then.
func (b *bench) ways(lim *Limit, s *suspect, all []suspect, basis [][]shape, same map[string]bool) error {
	for _, alone := range []bool{true, false} {
		lim.told = make([][]float64, len(s.patterns))
		for k := range s.patterns {
			for _, m := range s.fixed {
				if !(math.Abs(m) >= lim.each[k]) {
					continue
				}
				told := true
				if err := b.takenFor(s, s.patterns[k:k+1], m, all, basis, func(o string) {
					told = false
					same[o] = same[o] || !alone
				}); err != nil {
					return err
				}
				if told || !alone {
					lim.told[k] = append(lim.told[k], m)
					lim.Name = min(lim.Name, math.Abs(m))
				}
			}
		}
		if !math.IsInf(lim.Name, 1) {
			return nil
		}
	}
	return nil
}

// takenFor calls f with every other cause that explains a fault of a size as
// well, in any of these patterns that shows at all.
func (b *bench) takenFor(s *suspect, patterns []pattern, m float64, all []suspect, basis [][]shape, f func(cause string)) error {
	for _, p := range patterns {
		v, err := p(m)
		if err != nil {
			return err
		}
		if b.inner(v, v) < sigmas*sigmas {
			continue // this one of the legs, cells or directions does not show
		}
		for j := range all {
			if all[j].cause == s.cause {
				continue
			}
			d, err := b.blamed(v, &all[j], basis[j])
			if err != nil {
				return err
			}
			if d < sigmas {
				f(all[j].cause)
			}
		}
	}
	return nil
}

// inUnit turns a limit that was found as a share into the unit of its cause.
func (b *bench) inUnit(l Limit) Limit {
	// A limit above one time a magnitude that is not free is never met.
	fixed := func(is float64) {
		if l.Most = is; is == 0 {
			return
		}
		l.Detect *= is
		l.Name *= is
	}
	switch l.Cause {
	case "channels_swapped":
		// A share of what two cells differ by: each pair has its own.
		l.Most, l.Detect, l.Name = 0, math.Inf(1), math.Inf(1)
		k := 0
		for i := range b.hold {
			for j := range i {
				apart := math.Abs(b.hold[i] - b.hold[j])
				l.Most = max(l.Most, apart)
				l.Detect = min(l.Detect, l.each[k]*apart)
				if l.told != nil && len(l.told[k]) > 0 {
					l.Name = min(l.Name, apart)
				}
				k++
			}
		}
		if math.IsInf(l.Name, 1) {
			l.Detect = l.Name
		}
	case "not_tared":
		fixed(slices.Max(b.tare))
	case "wrong_unit":
		l.Most = 9.80665
		l.Detect++
		l.Name++
	}
	return l
}
