package takeoff

import (
	"math"

	"plumbhook/fault"
	"plumbhook/quantity"
)

// Part is one line of the weight sheet, ready for adding up.
type Part struct {
	Name  string
	Mass  quantity.Measured[quantity.Mass] // of all Count pieces together; negative for a cut
	At    quantity.Point                   // centre of gravity of all pieces together, load axes
	Count int                              // 1 when not given
	How   string                           // how the mass was found, in words an auditor can redo: "0.012 m³ x 7850 kg/m³ (steel)"
	From  string                           // who claims it: nameplate, drawing ...; may be empty
	Fluid bool                             // counts only when the load is wet
	Cut   bool                             // material taken out of another part
	Pos   fault.Pos

	ground *ground // what Work knows beyond Mass and At; nil for a part made by hand
}

// Sheet is a weight take-off.
type Sheet struct {
	Parts       []Part
	Contingency quantity.Ratio // added to the sum: 0.05 for 5 %
	Direct      bool           // mass and CG were given directly, not as parts
}

// Total is what a sheet adds up to. Masses in kg, places in m, load axes.
type Total struct {
	Mass          quantity.Measured[quantity.Mass] // contingency included; Low and High are the 95 % band
	WorstLow      quantity.Mass                    // every figure at its limit, all to the light side; without contingency, which may turn out to be nothing
	WorstHigh     quantity.Mass                    // every figure at its limit, all to the heavy side; with contingency
	Listed        quantity.Mass                    // nominal sum of the lines, before contingency
	CG            quantity.Point                   // Low and High of each axis are the 95 % band
	CGLow, CGHigh [3]float64                       // corners of the box that holds the CG with every part anywhere within its own limits
	Lines         []Line                           // in the order of the sheet
}

// Line is one part's place in the total.
type Line struct {
	Part
	Counted bool    // false for a fluid in a dry sum
	Share   float64 // of Listed; negative for a cut, zero when not counted
}

// Sum adds the parts up, fluids only when wet.
//
// The contingency stands for weight that nobody listed: it scales the mass
// and its band. Where it sits is not known, so the CG stays that of the
// listed parts. Faults: an empty sheet, a part without mass or without finite
// figures, a total that is not above zero, a contingency below 0 or above
// 100 %.
func (s Sheet) Sum(wet bool) (Total, error) {
	var bad fault.List
	if s.Contingency < 0 || s.Contingency > 1 || math.IsNaN(float64(s.Contingency)) {
		bad = append(bad, fault.New(fault.Range, "a contingency of %s %% cannot be", num(100*float64(s.Contingency))).
			In("contingency").Fix("give it from 0 to 100 %%"))
	}
	var t Total
	var counted []summand
	for _, p := range s.Parts {
		if f := p.check(); f != nil {
			bad = append(bad, f)
		}
		t.Lines = append(t.Lines, Line{Part: p, Counted: wet || !p.Fluid})
		if wet || !p.Fluid {
			influences, l := p.basis()
			counted = append(counted, summand{p, influences, l})
		}
	}
	switch {
	case len(s.Parts) == 0:
		bad = append(bad, fault.New(fault.Missing, "the weight sheet has no parts").Fix("list the parts, or give mass and cg"))
	case len(counted) == 0:
		bad = append(bad, fault.New(fault.Missing, "the weight sheet has only fluids, and the load is dry").Fix("list what holds the fluid"))
	}
	if len(bad) > 0 {
		return Total{}, bad.Err()
	}

	var m float64
	var moment [3]float64
	var worst span
	cut := false
	for _, p := range counted {
		m += float64(p.Mass.Value)
		for k, x := range p.At.XYZ() {
			moment[k] += float64(p.Mass.Value) * x
		}
		worst.low += p.limits.mass.low
		worst.high += p.limits.mass.high
		cut = cut || p.Cut
	}
	if !(m > 0) || cut && !(worst.low > 0) {
		return Total{}, fault.List{fault.New(fault.Range, "the parts come to %s kg, and to %s kg with every figure at its light limit", num(m), num(worst.low)).
			Fix("what is cut out must stay smaller than what it is cut from")}
	}
	cg := [3]float64{moment[0] / m, moment[1] / m, moment[2] / m}

	// dX = (dm (x - X) + m dx) / M for each axis, figure by figure; figures
	// of one name add up before they are squared.
	type effect struct {
		shape quantity.Shape
		mass  float64
		cg    [3]float64
	}
	var effects []effect
	named := map[string]int{}
	for _, p := range counted {
		for _, in := range p.influences {
			i, seen := named[in.name]
			if !seen || in.name == "" {
				i = len(effects)
				named[in.name] = i
				effects = append(effects, effect{shape: in.shape})
			}
			e := &effects[i]
			e.mass += in.mass
			for k, x := range p.At.XYZ() {
				e.cg[k] += (in.mass*(x-cg[k]) + float64(p.Mass.Value)*in.place[k]) / m
			}
		}
	}
	var u rss
	var ucg [3]rss
	for _, e := range effects {
		u.add(e.shape, e.mass)
		for k := range ucg {
			ucg[k].add(e.shape, e.cg[k])
		}
	}

	grown := 1 + float64(s.Contingency)
	t.Listed = quantity.Mass(m)
	t.WorstLow, t.WorstHigh = quantity.Mass(worst.low), quantity.Mass(grown*worst.high)
	listed := band[quantity.Mass](m, u, worst)
	t.Mass = listed
	t.Mass.Value, t.Mass.Low, t.Mass.High = quantity.Mass(grown)*listed.Value, quantity.Mass(grown)*listed.Low, quantity.Mass(grown)*listed.High
	for k, axis := range []*quantity.Measured[quantity.Length]{&t.CG.X, &t.CG.Y, &t.CG.Z} {
		t.CGLow[k], t.CGHigh[k] = reach(counted, k, cg[k])
		*axis = band[quantity.Length](cg[k], ucg[k], span{t.CGLow[k], t.CGHigh[k]})
	}
	for i := range t.Lines {
		if t.Lines[i].Counted {
			t.Lines[i].Share = float64(t.Lines[i].Mass.Value) / m
		}
	}
	return t, nil
}

// summand is a part with what is not known about it.
type summand struct {
	Part
	influences []influence
	limits     limits
}

// check refuses a part that cannot be added up.
func (p Part) check() *fault.Fault {
	m := p.Mass
	ok := ordered(m) && ordered(p.At.X) && ordered(p.At.Y) && ordered(p.At.Z)
	f := func(code fault.Code, format string, args ...any) *fault.Fault {
		return fault.New(code, format, args...).In(where(p.Name)).At(p.Pos)
	}
	switch {
	case !ok:
		return f(fault.Range, "mass or place is not a number between its own limits")
	case m.Value == 0:
		return f(fault.Range, "weighs nothing").Fix("give its mass, or leave it out")
	case p.Cut && m.Value > 0:
		return f(fault.Range, "is cut out, yet its mass of %s kg counts as added", num(float64(m.Value)))
	case !p.Cut && m.Value < 0:
		return f(fault.Range, "has a negative mass of %s kg", num(float64(m.Value))).Fix("say cut: true for material taken out")
	case p.Cut && m.High > 0, !p.Cut && m.Low < 0:
		return f(fault.Range, "its spread reaches past zero mass").Fix("write a range, as 0..20 kg")
	}
	return nil
}

// reach gives how far the CG can lie along axis k with every part anywhere
// within its limits. Where the mass of a part stands is a free choice, so
// that the CG X = Σ m x / Σ m is greatest where each part beyond X is as
// heavy, and each part short of it as light, as can be: take X, choose the
// masses by it, take the new X, until nothing changes (Dinkelbach 1967, on
// nonlinear fractional programming). A cut has negative mass, so that its
// lower place helps a greater X; its masses obey the same rule.
func reach(parts []summand, k int, nominal float64) (low, high float64) {
	extreme := func(sign float64) float64 {
		// Along the axis times sign, the least becomes the greatest.
		at := sign * nominal
		for {
			var m, mx float64
			for _, p := range parts {
				place, w := p.limits.place[k], p.limits.mass.low
				x := math.Max(sign*place.low, sign*place.high)
				if p.Cut {
					x = math.Min(sign*place.low, sign*place.high)
				}
				if x > at {
					w = p.limits.mass.high
				}
				m += w
				mx += w * x
			}
			next := at
			if m > 0 {
				next = mx / m
			}
			if !(next > at) {
				return sign * at
			}
			at = next
		}
	}
	return extreme(-1), extreme(1)
}
