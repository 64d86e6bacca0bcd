package weigh

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"plumbhook/fault"
	"plumbhook/metrology"
	"plumbhook/quantity"
)

// Outcome is what a survey comes to.
type Outcome string

// Holds: weight and place are told and nothing contradicts them, as far as was
// assessed. Incomplete: what a weighing is for is not told. Fails: the readings
// contradict each other, what was declared, or what a cell may be used for.
const (
	Holds      Outcome = "holds"
	Incomplete Outcome = "incomplete"
	Fails      Outcome = "fails"
)

// Severity of a finding.
type Severity string

// A stop makes the survey fail.
const (
	Stop    Severity = "stop"
	Caution Severity = "caution"
	Note    Severity = "note"
)

// A Finding is something that a reader of the survey must be told.
type Finding struct {
	Severity Severity
	Where    string
	Text     string
}

// A Value is a result with what makes it uncertain. Every component is
// independent of every other; C is the sensitivity.
type Value struct {
	Value  float64
	Budget metrology.Budget
	metrology.Expanded
}

func newValue(v float64, b metrology.Budget) Value { return Value{v, b, b.Expand(0.95)} }

// A Result is a survey worked out.
type Result struct {
	Survey      *Survey
	Outcome     Outcome
	Findings    []Finding
	NotAssessed []string // while it is not empty every uncertainty is "at least"

	Force      Value     // what presses on the cells, in air
	Mass       Value     // kg
	Weight     Value     // mass times local gravity, N
	CG         [3]*Value // object's axes, m; nil: the placements do not tell
	Height     *Height   // nil: nothing was tilted
	Redundancy Redundancy
	Placements []PlacementResult
	Feet       []Foot
	Use        []metrology.Use // of each cell on the day
	Declared   *Declared
}

// Height says what the tilt is worth.
type Height struct {
	Wanted   float64  // half-width, 95 %, m
	Reached  bool     //
	Greatest float64  // tilt, rad
	Needed   *float64 // greatest tilt that would reach it, rad; nil: none up to 45 deg does
}

// A PlacementResult is one placement by itself.
type PlacementResult struct {
	Name  string
	Sum   float64 // mean over the runs, N, vertical
	Runs  int
	SD    *float64 // of the sum, from run to run, N; nil: one run
	Range float64  // largest less smallest sum, N
	Twist *float64 // what the four supports carry against each other, N; nil: not four
	Seats []SeatResult
}

// SeatResult is one cell in a placement.
type SeatResult struct {
	Cell, Point string
	Mean        float64  // N
	Share       float64  // of the sum
	Used        float64  // greatest gross reading over the capacity
	SD          *float64 // from run to run, N
}

// A Foot says how far the result moves with the place of a point, m per m.
type Foot struct {
	Point   string
	X, Y, Z [3]float64 // shift of the centre of gravity in x, y, z for a shift of the point along x, y, z
}

// Declared holds what was declared against what was weighed.
type Declared struct {
	Declared   quantity.Measured[quantity.Mass]
	Difference float64 // weighed less declared, kg
	U95        float64 // of the difference, kg
	Agrees     bool
}

// Weigh works out a survey. The error is a *fault.Fault: a survey that cannot
// be solved at all.
func Weigh(s *Survey) (*Result, error) {
	m := newModel(s)
	m.standIn()
	sol, err := m.solve()
	if err != nil {
		return nil, err
	}
	force := sol.beta[unknownW]
	if !(force > 0) || !sol.known[unknownW] {
		return nil, fault.New(fault.Range, "the readings add up to %g N", force).At(fault.Pos{File: s.File}).
			Fix("look at signs, tare and units: an object that is weighed presses down")
	}
	r := &Result{Survey: s, Outcome: Holds}
	r.results(m, sol)
	r.feet(m, sol)
	r.placements(m)
	r.Redundancy = m.redundancy(sol)
	beta, known := slices.Clone(sol.beta), sol.known
	r.care(m)
	r.judge(m)
	r.height(m, beta, known)
	r.NotAssessed = m.missing
	for _, f := range r.Findings {
		if f.Severity == Stop {
			r.Outcome = Fails
		}
	}
	if r.Outcome == Holds && r.CG[0] == nil && r.CG[1] == nil && m.spreads() {
		r.Outcome = Incomplete
	}
	return r, nil
}

// spreads tells whether any placement could tell where the middle lies.
func (m *model) spreads() bool {
	return slices.ContainsFunc(m.axes, func(a [][2]float64) bool { return len(a) > 0 })
}

// standIn takes a height of the centre of gravity from the file, at the end
// that is farther from the supports: it only says what a floor out of level
// does.
func (m *model) standIn() {
	h := m.s.CGHeight
	if h == nil {
		return
	}
	far := float64(h.Low) - m.origin[2]
	if up := float64(h.High) - m.origin[2]; math.Abs(up) > math.Abs(far) {
		far = up
	}
	m.height = &far
}

// budget makes that of a result from what each input does to it.
func (m *model) budget(of func(delta []float64) float64, sol *solution) metrology.Budget {
	var b metrology.Budget
	for k := range m.inputs {
		in := &m.inputs[k]
		delta := make([]float64, unknowns)
		for a := range unknowns {
			for i, e := range in.effect {
				delta[a] += sol.gain.At(a, i) * e
			}
		}
		c := in.Component
		c.C = of(delta) / c.U
		b = append(b, c)
	}
	return b
}

// significant drops what a budget would not miss.
func significant(b metrology.Budget) metrology.Budget {
	u := b.U()
	return slices.DeleteFunc(b, func(c metrology.Component) bool { return math.Abs(c.C*c.U) <= 1e-6*u })
}

func (r *Result) results(m *model, sol *solution) {
	s, force := m.s, sol.beta[unknownW]
	b := m.budget(func(d []float64) float64 { return d[unknownW] }, sol)
	r.Force = newValue(force, significant(slices.Clone(b)))

	lift, air := 1.0, metrology.Budget(nil)
	if s.Air != nil {
		a, o := float64(s.Air.Density.Value), float64(s.Air.Object.Value)
		lift = 1 - a/o
		air = metrology.Budget{component("density of the air", s.Air.Density).In("kg/m3"), component("density of the object", s.Air.Object).In("kg/m3")}
		// W/(1 - a/o) changes by W/(1 - a/o)² times 1/o and -a/o².
		air[0].C, air[1].C = force/(lift*lift)/o, -force/(lift*lift)*a/(o*o)
	} else {
		m.miss("buoyancy in air: densities of air and object; steel weighs 0.015 %% less in air than its mass says")
	}
	weight := append(b.Times(1/lift), air...)
	r.Weight = newValue(force/lift, significant(slices.Clone(weight)))
	g := s.Gravity.Component
	g.C = -force / lift / (s.Gravity.Value * s.Gravity.Value)
	r.Mass = newValue(force/lift/s.Gravity.Value, significant(append(weight.Times(1/s.Gravity.Value), g)))

	for a := range 3 {
		k := unknownX + a
		if !sol.known[k] {
			continue
		}
		q := sol.beta[k] / force
		c := m.budget(func(d []float64) float64 { return m.span / force * (d[k] - q*d[unknownW]) }, sol)
		v := newValue(m.origin[a]+m.span*q, significant(c))
		r.CG[a] = &v
	}
	if r.CG[2] == nil && m.height == nil {
		for i := range s.Placements {
			if p := &s.Placements[i]; p.Level != nil && len(m.axes[i]) > 0 {
				m.miss("placement %s: what standing out of level does to the centre of gravity: its height is not known; write cg_height from the drawing", p.Name)
			}
		}
	}
}

// feet moves each point by a hair and sees where the result goes.
func (r *Result) feet(m *model, sol *solution) {
	const hair = 1e-5
	base := misfit(sol.y, sol.h, sol.beta)
	for _, p := range m.used() {
		f := Foot{Point: m.s.Points[p].Name}
		for axis, to := range []*[3]float64{&f.X, &f.Y, &f.Z} {
			st := m.best.clone()
			st.points[p][axis] += hair
			y, h := m.rows(st)
			shift := misfit(y, h, sol.beta)
			var delta [unknowns]float64
			for k := range unknowns {
				for j := range shift {
					delta[k] += sol.gain.At(k, j) * (shift[j] - base[j])
				}
			}
			for a := range 3 {
				if r.CG[a] != nil {
					q := sol.beta[unknownX+a] / sol.beta[unknownW]
					to[a] = m.span / sol.beta[unknownW] * (delta[unknownX+a] - q*delta[unknownW]) / hair
				}
			}
		}
		r.Feet = append(r.Feet, f)
	}
}

func (r *Result) placements(m *model) {
	for i := range m.s.Placements {
		p := &m.s.Placements[i]
		out := PlacementResult{Name: p.Name, Runs: len(p.Runs)}
		var sums []float64
		for _, run := range p.Runs {
			sum := 0.0
			for _, f := range run {
				sum += f * m.best.lines[i]
			}
			sums = append(sums, sum)
		}
		out.Sum, out.SD = spreadOf(sums)
		out.Range = slices.Max(sums) - slices.Min(sums)
		for k, seat := range p.Seats {
			c := &m.s.Cells[seat.Cell]
			var all []float64
			most := 0.0
			for j := range p.Runs {
				all = append(all, p.Runs[j][k])
				most = max(most, math.Abs(p.Gross[j][k]))
			}
			mean, sd := spreadOf(all)
			out.Seats = append(out.Seats, SeatResult{
				Cell: c.Name, Point: m.s.Points[seat.Point].Name, Mean: mean, Share: mean * m.best.lines[i] / out.Sum,
				Used: most / c.Accuracy.Capacity, SD: sd,
			})
		}
		out.Twist = m.twist(i)
		r.Placements = append(r.Placements, out)
	}
}

// spreadOf gives the mean and the standard deviation, nil of one.
func spreadOf(v []float64) (mean float64, sd *float64) {
	for _, x := range v {
		mean += x / float64(len(v))
	}
	if len(v) < 2 {
		return mean, nil
	}
	ss := 0.0
	for _, x := range v {
		ss += (x - mean) * (x - mean)
	}
	ss = math.Sqrt(ss / float64(len(v)-1))
	return mean, &ss
}

// twist is what four supports carry against each other without any weight or
// moment: the forces along the one pattern that balances by itself, its largest
// entry one.
func (m *model) twist(i int) *float64 {
	at := m.plan(m.best, i)
	if len(at) != 4 || len(m.axes[i]) != 2 {
		return nil
	}
	// The pattern is the vector of signed areas of the triangles that leave one
	// support out: it is at right angles to ones, x and y.
	area := func(a, b, c [2]float64) float64 {
		return (b[0]-a[0])*(c[1]-a[1]) - (c[0]-a[0])*(b[1]-a[1])
	}
	pattern := []float64{area(at[1], at[2], at[3]), -area(at[0], at[2], at[3]), area(at[0], at[1], at[3]), -area(at[0], at[1], at[2])}
	largest, twist := 0.0, 0.0
	for _, p := range pattern {
		largest = max(largest, math.Abs(p))
	}
	for k, p := range pattern {
		twist += p / largest * m.best.force[i][k]
	}
	return &twist
}

func (r *Result) find(s Severity, where, format string, args ...any) {
	r.Findings = append(r.Findings, Finding{s, where, fmt.Sprintf(format, args...)})
}

// care holds each cell against its dates and its capacity.
func (r *Result) care(m *model) {
	for i := range m.s.Cells {
		c := &m.s.Cells[i]
		most := 0.0
		for _, p := range m.s.Placements {
			for k, seat := range p.Seats {
				if seat.Cell == i {
					for _, run := range p.Gross {
						most = max(most, math.Abs(run[k]))
					}
				}
			}
		}
		w := metrology.Wear{Peak: most, Capacity: c.Accuracy.Capacity, SafeOverload: c.Overload, Due: c.Care.Due, On: m.s.Date}
		if c.Care.OverrideBy != "" {
			w.Override = &metrology.Override{By: c.Care.OverrideBy, Why: c.Care.OverrideWhy}
		}
		st := w.Standing()
		r.Use = append(r.Use, st.Use)
		switch st.Use {
		case metrology.Usable:
			if c.Care.Due.IsZero() && c.Calibration == nil {
				m.miss("cell %s: when its calibration is due", c.Name)
			}
		case metrology.Overridden:
			r.find(Caution, "cell "+c.Name, "%s", st.Why)
		default:
			r.find(Stop, "cell "+c.Name, "%s", st.Why)
		}
	}
}

// judge says what the figures show.
func (r *Result) judge(m *model) {
	for i := range r.Placements {
		for _, seat := range r.Placements[i].Seats {
			if seat.Mean < 0 {
				r.find(Caution, "placement "+r.Placements[i].Name, "cell %s at %s reads less than nothing: it is pulled, or its zero has moved", seat.Cell, seat.Point)
			}
		}
	}
	red := &r.Redundancy
	switch {
	case red.Judged && !red.Agrees && red.Suspect != "":
		r.find(Stop, "cell "+red.Suspect, "the readings contradict each other, and this cell is the likeliest cause: %s", red.Text)
	case red.Judged && !red.Agrees:
		r.find(Stop, "readings", "the readings contradict each other by more than their uncertainty: %s", red.Text)
	}
	d := m.s.Declared
	if d == nil {
		return
	}
	half := component("", *d)
	out := Declared{Declared: *d, Difference: r.Mass.Value - float64(d.Value)}
	out.U95 = math.Hypot(r.Mass.U, half.U*metrology.CoverageFactor(0.95, math.Inf(1)))
	out.Agrees = math.Abs(out.Difference) <= out.U95
	r.Declared = &out
	switch {
	case out.Agrees:
	case out.Difference > 0:
		r.find(Stop, "declared mass", "it is heavier than declared by more than the uncertainty of both: what was planned with the declared mass has to be planned again")
	default:
		r.find(Caution, "declared mass", "it is lighter than declared by more than the uncertainty of both: ask what is missing from it")
	}
}

// height says what the tilt is worth, and how far it should have gone.
func (r *Result) height(m *model, beta []float64, known [unknowns]bool) {
	h := Height{Wanted: m.s.HeightWanted}
	for _, p := range m.s.Placements {
		if p.Tilt != nil {
			h.Greatest = max(h.Greatest, float64(p.Tilt.Angle.Value))
		}
	}
	if h.Greatest == 0 {
		if m.s.HeightWanted > 0 {
			r.find(Stop, "height of the CG", "it is wanted, and nothing was tilted: level supports do not tell it")
		}
		return
	}
	if h.Wanted == 0 {
		h.Wanted = m.span / 10
	}
	r.Height = &h
	if !known[unknownZ] {
		r.find(Stop, "height of the CG", "a tilt alone does not tell it: weigh it level too, or tilted the other way")
		return
	}
	h.Reached = r.CG[2].U <= h.Wanted
	if h.Reached {
		return
	}
	k := r.CG[2].K
	reaches := func(times float64) bool {
		at := m.best.clone()
		for i := range at.tilt {
			at.tilt[i] *= times
		}
		sol, err := m.weighed(at, beta)
		if err != nil {
			return false
		}
		q := beta[unknownZ] / beta[unknownW]
		b := m.budget(func(d []float64) float64 { return m.span / beta[unknownW] * (d[unknownZ] - q*d[unknownW]) }, sol)
		return k*b.U() <= h.Wanted
	}
	low, high := 1.0, math.Pi/4/h.Greatest
	if high > low && reaches(high) {
		for range 20 {
			if mid := (low + high) / 2; reaches(mid) {
				high = mid
			} else {
				low = mid
			}
		}
		needed := high * h.Greatest
		h.Needed = &needed
	}
	text := "no tilt up to 45 deg would: the cells or the angle are not known well enough"
	if h.Needed != nil {
		text = fmt.Sprintf("it takes about %.1f deg", math.Ceil(*h.Needed*180/math.Pi*10)/10)
	}
	severity := Caution
	if m.s.HeightWanted > 0 {
		severity = Stop
	}
	r.find(severity, "height of the CG", "a tilt of %.1f deg is too small to tell it within ±%.0f mm: %s", h.Greatest*180/math.Pi, h.Wanted*1000, text)
}

// names joins cells for a sentence.
func names(all []string) string { return strings.Join(all, ", ") }
