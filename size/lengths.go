package size

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"gonum.org/v1/gonum/mat"

	"plumbhook/fault"
	"plumbhook/lift"
	"plumbhook/quantity"
	"plumbhook/spread"
	"plumbhook/statics"
)

// Range says between which unloaded lengths, m, a leg can be made.
type Range struct {
	Leg      string
	Min, Max float64
	// Step, m, parts the lengths that can be had in practice, counted from the
	// file's: the pitch of a chain's links, the length of a shackle. Zero: any
	// length, to the millimetre.
	Step float64
}

// Goal is how the load is to hang.
type Goal struct {
	Tilt    quantity.Angle // of the load's z axis to vertical; zero: level
	LowSide quantity.Angle // azimuth in the load's axes of the side that is to hang low, from +x toward +y
	Within  quantity.Angle // how far off this the load may hang in practice
}

// down is where the world's down is to be, in the load's axes.
func (g Goal) down() [3]float64 {
	st, ct := math.Sincos(float64(g.Tilt))
	sa, ca := math.Sincos(float64(g.LowSide))
	return [3]float64{st * ca, st * sa, -ct}
}

// Lengths is the answer to how long the legs must be.
type Lengths struct {
	Goal      Goal
	Now       quantity.Angle // how far off the lift hangs with the file's lengths
	Exact     Rigged         // to the last digit
	Practical Rigged         // in steps that can be had; what follows from them is told, not what follows from Exact
	Reached   bool           // Practical hangs as wanted, stable and with every leg taut
	Reasons   []Reason
}

// Rigged is the lift with the lengths chosen, hung.
type Rigged struct {
	Hung *lift.Hung
	Legs []Leg          // all, in the order of the file
	Off  quantity.Angle // between the world's down and the one wanted, in the load's axes
	// Misfit, m, is by how much the lengths of four and more legs do not fit each
	// other: |c P t| in the words of the package.
	Misfit   float64
	HookOver [][3]float64 // each hook, in the load's axes
}

// Leg is one leg at the length chosen. Forces in N, lengths unloaded, in m.
type Leg struct {
	Name           string
	From, To       float64
	Sized          bool // its length was open
	AtMin, AtMax   bool
	TensionN       float64
	ShareN         float64  // of the least-squares sharing in this pose, own weight left out
	P95N           *float64 // static; of practical lengths only
	WorstN         *float64
	WLLN           *float64
	Utilisation    *float64 // P95 × dynamic factor over WLL, as the check of the plan has it
	FromHorizontal quantity.Angle
	Factor         float64 // tension over its vertical part: 1 / sin of the angle from horizontal
	Slack          bool
}

// Level finds lengths within ranges at which the load hangs as wanted. Without
// ranges, the legs that take hold of the load may have any length. The error is
// a fault.List: what in ranges or in the file makes the question one without an
// answer.
func Level(l *lift.Lift, g Goal, m Margin, ranges []Range) (*Lengths, error) {
	w, err := open(l, g, m, ranges, holdsLoad)
	if err != nil {
		return nil, err
	}
	return w.answer(w.solve(w.lengths()))
}

// work is a question about lengths: the trials and the limits they keep to.
type work struct {
	trials
	goal   Goal
	now    quantity.Angle
	margin Margin
	ranges []Range // one for each of trials.legs
}

// The length of a leg without limits lies within this factor of the file's.
const anyLength = 10

// millimetre is the step of a leg that can have any length.
const millimetre = 1e-3

// open checks the question. Without ranges, the legs that the rule names in
// the lift as it hangs are open.
func open(l *lift.Lift, g Goal, m Margin, ranges []Range, which func(h *lift.Hung) []int) (*work, error) {
	var faults fault.List
	if len(l.Supports) > 0 {
		s := &l.Supports[0]
		faults = append(faults, fault.New(fault.Unsupported, "the load also stands on the ground: leg lengths are chosen for a load that hangs free").
			In("supports."+s.Name).At(s.Pos).Fix("ask with a file without supports and ties"))
	}
	if len(l.Ties) > 0 {
		s := &l.Ties[0]
		faults = append(faults, fault.New(fault.Unsupported, "the load is also tied to the ground: leg lengths are chosen for a load that hangs free").
			In("ties."+s.Name).At(s.Pos).Fix("ask with a file without supports and ties"))
	}
	var legs []int
	for k, r := range ranges {
		i := slices.IndexFunc(l.Legs, func(leg lift.Leg) bool { return leg.Name == r.Leg })
		if i < 0 {
			var names []string
			for k := range l.Legs {
				names = append(names, l.Legs[k].Name)
			}
			faults = append(faults, fault.New(fault.Reference, "the lift has no leg called %q", r.Leg).Fix("its legs are %s", strings.Join(names, ", ")))
			continue
		}
		where := "legs." + r.Leg
		bad := func(code fault.Code, what, do string) {
			faults = append(faults, fault.New(code, "%s", what).In(where).At(l.Place(where)).Fix("%s", do))
		}
		switch {
		case slices.Contains(legs, i):
			bad(fault.Duplicate, "two ranges are given for one leg", "give one")
		case !(r.Min > 0) || !(r.Max >= r.Min) || math.IsInf(r.Max, 0) || !(r.Step >= 0):
			bad(fault.Range, "its lengths cannot lie "+fmt.Sprintf("from %.3f to %.3f m", r.Min, r.Max), "give the shortest and the longest unloaded length, bearing to bearing")
		case len(grid(&r, float64(l.Legs[i].Length.Value), r.Min, r.Max)) == 0:
			bad(fault.Range, fmt.Sprintf("no whole number of steps of %.3f m brings it from %.3f m to between %.3f and %.3f m", r.Step, float64(l.Legs[i].Length.Value), r.Min, r.Max), "widen the range or correct the step")
		}
		legs, ranges = append(legs, i), slices.Clone(ranges)
		ranges[k] = r
	}
	if len(faults) > 0 {
		return nil, faults.Err()
	}
	first := *l
	first.Steps = nil
	r, err := lift.NewRig(&first)
	if err != nil {
		return nil, err
	}
	h, err := r.Hang()
	if err != nil {
		return nil, err
	}
	if len(ranges) == 0 {
		legs = which(h)
		for _, i := range legs {
			at := float64(l.Legs[i].Length.Value)
			ranges = append(ranges, Range{Leg: l.Legs[i].Name, Min: at / anyLength, Max: at * anyLength})
		}
	}
	w := &work{trials: *newTrials(h, legs, g), goal: g, margin: m, ranges: ranges}
	w.now = w.off(h)
	return w, nil
}

// holdsLoad are the legs that take hold of the load.
func holdsLoad(h *lift.Hung) []int {
	var legs []int
	for i := range h.Lift.Legs {
		if touches(&h.Lift.Legs[i], "load") {
			legs = append(legs, i)
		}
	}
	return legs
}

// touches tells whether a leg takes hold of a body.
func touches(leg *lift.Leg, body string) bool {
	return slices.ContainsFunc(append([]lift.Ref{leg.From, leg.To}, leg.Via...), func(r lift.Ref) bool { return r.Body == body })
}

const (
	nearer    = 1e-3  // of each change of length is added to the sum of squares
	different = 1e-6  // m, for differences; the lengths of a hung lift are good to a thousandth of a millionth of that
	settled   = 1e-11 // m: a step that changes nothing
	reached   = 1e-4  // m: a sum of squares that can be brought to nothing
	mostSteps = 80
)

// solve finds the lengths, from those given. Where all that is wrong can be
// put right, a second run starts from the first one's answer and undoes what
// keeping near to the file's lengths spoiled.
func (w *work) solve(x []float64) []float64 {
	x, off := w.descend(x, w.lengths(), nearer)
	if off < reached*reached {
		x, _ = w.descend(x, x, nearer/1e3)
	}
	return x
}

// descend brings the sum of squares down from x, keeping near to home, and
// gives it without what keeping near adds.
func (w *work) descend(x, home []float64, near float64) ([]float64, float64) {
	n := len(x)
	x = slices.Clone(x)
	for k := range x {
		x[k] = min(max(x[k], w.ranges[k].Min), w.ranges[k].Max)
	}
	apart := func(x []float64) float64 {
		s := 0.0
		for k := range x {
			s += near * near * (x[k] - home[k]) * (x[k] - home[k])
		}
		return s
	}
	_, h, err := w.rig(x)
	if err != nil || n == 0 {
		return x, math.Inf(1)
	}
	radius := 0.1 * slices.Max(x)
	r := w.wrong(h, w.selfStress(h))
	for range mostSteps {
		a := w.slopes(x, h)
		m := len(r)
		all := mat.NewDense(m+n, n, nil)
		all.Slice(0, m, 0, n).(*mat.Dense).Copy(a)
		b := make([]float64, m+n)
		low, high := make([]float64, n), make([]float64, n)
		for i := range r {
			b[i] = -r[i]
		}
		for k := range x {
			all.Set(m+k, k, near)
			b[m+k] = near * (home[k] - x[k])
			low[k], high[k] = max(w.ranges[k].Min-x[k], -radius), min(w.ranges[k].Max-x[k], radius)
		}
		d := bounded(all, b, low, high)
		size := 0.0
		to := slices.Clone(x)
		for k := range d {
			to[k] = min(max(x[k]+d[k], w.ranges[k].Min), w.ranges[k].Max)
			size = max(size, math.Abs(d[k]))
		}
		if size < settled {
			break
		}
		now := sum2(r) + apart(x)
		_, next, err := w.rig(to)
		if err == nil {
			rn := w.wrong(next, w.selfStress(next))
			if got := sum2(rn) + apart(to); got < now {
				x, h, r = to, next, rn
				if size >= radius {
					radius *= 2
				}
				if now-got < 1e-14*now {
					break
				}
				continue
			}
		}
		radius = size / 4
	}
	return x, sum2(r)
}

// slopes gives the derivatives of what is wrong by the lengths, toward shorter
// legs.
func (w *work) slopes(x []float64, h *lift.Hung) *mat.Dense {
	p := w.selfStress(h)
	r := w.wrong(h, p)
	a := mat.NewDense(len(r), len(x), nil)
	for k := range x {
		by := -different
		to := slices.Clone(x)
		to[k] += by
		_, near, err := w.rig(to)
		if err != nil {
			by = -by
			to[k] = x[k] + by
			if _, near, err = w.rig(to); err != nil {
				continue
			}
		}
		for i, v := range w.wrong(near, p) {
			a.Set(i, k, (v-r[i])/by)
		}
	}
	return a
}

// drawn hangs the lift at x and lets its unknowns spread.
func (w *work) drawn(x []float64) (*Rigged, error) {
	rig, out, err := w.rigged(x)
	if err != nil {
		return nil, err
	}
	s, err := spread.Run(rig, nil, spread.Draws)
	if err != nil {
		return nil, err
	}
	for i := range out.Legs {
		leg := &out.Legs[i]
		leg.P95N = &s.Demands[i].P95
		if leg.WLLN != nil {
			u := *leg.P95N * w.margin.dynamic() / *leg.WLLN
			leg.Utilisation = &u
		}
	}
	return out, nil
}

// rigged hangs the lift at x.
func (w *work) rigged(x []float64) (*lift.Rig, *Rigged, error) {
	rig, h, err := w.rig(x)
	if err != nil {
		return nil, nil, err
	}
	p := w.selfStress(h)
	r := w.wrong(h, p)
	n := len(h.Legs)
	out := &Rigged{
		Hung:   h,
		Off:    w.off(h),
		Misfit: math.Sqrt(sum2(r[3+n : 3+2*n])),
	}
	b := &h.Bodies[0]
	rot := statics.Rot(b.Rot)
	for i := range h.Hooks {
		out.HookOver = append(out.HookOver, rot.Inverse(statics.Vec(h.Hooks[i].At).Sub(b.Origin)))
	}
	pull := make([]float64, n)
	for i := range pull {
		pull[i] = tension(h, i)
	}
	var self mat.VecDense
	self.MulVec(p, mat.NewVecDense(n, pull))
	for i := range h.Legs {
		hl := &h.Legs[i]
		leg := Leg{
			Name: hl.Name, From: float64(w.lift.Legs[i].Length.Value), To: float64(h.Lift.Legs[i].Length.Value),
			TensionN: hl.TensionN, ShareN: pull[i] - self.AtVec(i), WorstN: hl.WorstN, WLLN: hl.WLLN,
			FromHorizontal: quantity.Angle(hl.FromHorizontal), Factor: 1 / math.Sin(hl.FromHorizontal), Slack: hl.Slack,
		}
		if k := slices.Index(w.legs, i); k >= 0 {
			leg.Sized = true
			leg.AtMin, leg.AtMax = x[k] <= w.ranges[k].Min+1e-9, x[k] >= w.ranges[k].Max-1e-9
		}
		out.Legs = append(out.Legs, leg)
	}
	return rig, out, nil
}

// downOf is where the world's down is in the load's axes.
func downOf(h *lift.Hung) statics.Vec {
	r := &h.Bodies[0].Rot
	return statics.Vec{-r[6], -r[7], -r[8]}
}

// off is how far the load hangs from the pose wanted.
func (t *trials) off(h *lift.Hung) quantity.Angle {
	down := downOf(h)
	return quantity.Angle(math.Atan2(down.Cross(t.down).Norm(), down.Dot(t.down)))
}

// exactly is the angle, rad, within which a pose counts as the one wanted.
const exactly = 0.01 * math.Pi / 180

// answer rounds the lengths to what can be had and says what came of it.
func (w *work) answer(x []float64) (*Lengths, error) {
	_, exact, err := w.rigged(x)
	if err != nil {
		return nil, err
	}
	practical, err := w.drawn(w.practical(x))
	if err != nil {
		return nil, err
	}
	a := &Lengths{Goal: w.goal, Now: w.now, Exact: *exact, Practical: *practical}
	a.Reached = practical.Off <= w.goal.Within && practical.Hung.Stable
	why := func(format string, args ...any) { a.Reasons = append(a.Reasons, because(format, args...)) }
	if exact.Off > exactly {
		beside, along, line := besideLine(exact.Hung, w.down)
		moved := !line || math.Abs(along) > exactly // there is something left that lengths move
		held := false
		for _, leg := range exact.Legs {
			switch {
			case !moved || leg.AtMin && leg.AtMax:
			case leg.AtMin:
				why("leg %s is at its shortest, %s", leg.Name, quantity.Length(leg.To))
				held = true
			case leg.AtMax:
				why("leg %s is at its longest, %s", leg.Name, quantity.Length(leg.To))
				held = true
			}
		}
		switch {
		case line && beside > millimetre/10:
			why("the load's lifting points lie on one line, and its centre of gravity lies %s beside the upright plane through it: no leg length moves that; it takes a third point, or a weight on the other side", quantity.Length(beside))
		case !held:
			why("no lengths of the legs that may change were found that take out the remaining %s", exact.Off)
		}
	}
	if !practical.Hung.Stable {
		why("at these lengths the pose does not last: the load turns over")
	}
	for i, leg := range practical.Legs {
		switch {
		case exact.Legs[i].Slack:
			why("leg %s hangs slack at the lengths found: the others carry everything", leg.Name)
		case leg.Slack:
			why("leg %s hangs slack in practice: the steps are too coarse to bring it to bear beside the others", leg.Name)
		}
		a.Reached = a.Reached && !leg.Slack
		if leg.Utilisation != nil && *leg.Utilisation > 1 {
			why("leg %s would carry P95 %s; with the dynamic factor %.4g that is %s of its rating of %s: whatever the lengths do, the leg does not hold",
				leg.Name, quantity.Force(*leg.P95N), w.margin.dynamic(), quantity.Ratio(*leg.Utilisation), quantity.Force(*leg.WLLN))
		}
	}
	if practical.Misfit > millimetre {
		why("the lengths miss a fit of all legs by %s: the legs share as shown, not evenly", quantity.Length(practical.Misfit))
	}
	return a, nil
}

// besideLine gives, for a load whose used lugs lie on one line, how far its CG
// lies beside the upright plane through that line in the pose wanted, and what
// is wrong with the pose along the line, rad: the rest, no leg length moves.
func besideLine(h *lift.Hung, down statics.Vec) (beside, along float64, line bool) {
	var lugs []statics.Vec
	for _, lug := range h.Lift.Load.Lugs {
		if _, used := h.Bodies[0].Forces[lug.Name]; used {
			lugs = append(lugs, lug.At.XYZ())
		}
	}
	var way statics.Vec
	for _, p := range lugs {
		if d := p.Sub(lugs[0]); d.Norm() > way.Norm() {
			way = d
		}
	}
	side := way.Cross(down)
	if side.Norm() == 0 { // one point, or one above the other
		return 0, 0, false
	}
	for _, p := range lugs {
		if way.Cross(p.Sub(lugs[0])).Norm() > 1e-6*way.Dot(way) {
			return 0, 0, false
		}
	}
	beside = math.Abs(statics.Vec(h.CGLoad).Sub(lugs[0]).Dot(side)) / side.Norm()
	return beside, downOf(h).Sub(down).Dot(way) / way.Norm(), true
}
