package crane

import (
	"fmt"
	"math"

	"plumbhook/fault"
	"plumbhook/quantity"
)

// Factor is a dynamic factor with where it comes from.
type Factor struct {
	Value    float64
	How      string
	Source   string
	Standing Standing
}

// Waters says where a lift takes place, in the terms of the marine tables.
type Waters string

// Onshore, in sheltered water, in the open sea.
const (
	Onshore  Waters = "onshore"
	Inshore  Waters = "inshore"
	Offshore Waters = "offshore"
)

const tonne = 1000 // kg

// marine is 0027/ND Rev 11.2, Table 5-1: lifts in air by one crane, by two on
// one vessel, or by several onshore. The first row holds a formula in sheltered
// water and at sea.
var marine = []struct {
	upTo  float64 // gross weight, t
	times map[Waters]float64
}{
	{100, map[Waters]float64{Onshore: 1.10}},
	{300, map[Waters]float64{Onshore: 1.05, Inshore: 1.12, Offshore: 1.25}},
	{1000, map[Waters]float64{Onshore: 1.05, Inshore: 1.10, Offshore: 1.20}},
	{2500, map[Waters]float64{Onshore: 1.03, Inshore: 1.08, Offshore: 1.15}},
	{math.Inf(1), map[Waters]float64{Onshore: 1.03, Inshore: 1.05, Offshore: 1.10}},
}

// Marine is the dynamic factor of 0027/ND Rev 11.2, Table 5-1, for a gross
// weight; hook is the static load on the hook, which the formulas for up to
// 100 t ask for:
//
//	in sheltered water  1.07 + 0.05 √(100 t/SHL)
//	at sea              1 + 0.25 √(100 t/SHL)
//
// Things below 3 t are taken as 3 t (note 1 to the table). A crawler crane that
// travels with the load takes the inshore column, or a study.
func Marine(in Waters, gross, hook quantity.Mass) (Factor, error) {
	f := Factor{Source: "GL Noble Denton 0027/ND Rev 11.2, Table 5-1", Standing: Read}
	w, shl := max(float64(gross)/tonne, 3), max(float64(hook)/tonne, 3)
	if in != Onshore && in != Inshore && in != Offshore {
		return f, fault.New(fault.Reference, "the marine table knows no %q", in).Fix("write onshore, inshore or offshore")
	}
	if !(gross > 0) || !(hook > 0) || math.IsInf(w, 0) || math.IsInf(shl, 0) {
		return f, fault.New(fault.Range, "a dynamic factor by weight needs a weight and a hook load above zero")
	}
	for _, row := range marine {
		if w > row.upTo {
			continue
		}
		f.How = "by weight, " + string(in)
		f.Value = row.times[in]
		if f.Value == 0 {
			f.How += ", by static hook load"
			f.Value = map[Waters]float64{
				Inshore:  1.07 + 0.05*math.Sqrt(100/shl),
				Offshore: 1 + 0.25*math.Sqrt(100/shl),
			}[in]
		}
		break
	}
	return f, nil
}

// older is 0027/NDI Rev 5, Table 5.1, at sea: gross weight and what to design
// the lift for, in t, at the ends of its straight pieces.
var older = [][2]float64{{100, 130}, {1000, 1200}, {2500, 2875}, {10000, 11000}}

// MarineOlder is the offshore dynamic factor of 0027/NDI Rev 5 (2006), which
// old plans follow: 1.30 up to 100 t, then straight pieces of lift weight over
// gross weight, up to 10,000 t. The pieces are drawn through the values that
// the table prints at their ends; its own slopes round to four decimals.
func MarineOlder(gross quantity.Mass) (Factor, error) {
	f := Factor{How: "by weight, offshore", Source: "Noble Denton 0027/NDI Rev 5, Table 5.1", Standing: Read}
	w := float64(gross) / tonne
	if !(w > 0) || w > older[len(older)-1][0] {
		return f, fault.New(fault.Range, "the table of 2006 goes from 0 to 10,000 t").Fix("take the table of a later revision")
	}
	if w <= older[0][0] {
		f.Value = older[0][1] / older[0][0]
		return f, nil
	}
	for i := 1; f.Value == 0; i++ {
		if a, b := older[i-1], older[i]; w <= b[0] {
			f.Value = (a[1] + (b[1]-a[1])*(w-a[0])/(b[0]-a[0])) / w
		}
	}
	return f, nil
}

// Sea holds the factors of API RP 2A on static sling load, and the side load
// on a lifting point as a part of the static sling load, which is applied with
// the static load and not multiplied.
var Sea = struct {
	LiftPointOpen, OtherOpen, LiftPointSheltered, OtherSheltered, SideLoad float64
	Source                                                                 string
	Standing                                                               Standing
}{
	2.0, 1.35, 1.5, 1.15, 0.05,
	"API RP 2A, as quoted in Offshore Structures: Design, Construction and Maintenance (El-Reedy), 5.8", Read,
}

// hoisting is φ2min and β2 (s/m) by hoisting class.
var hoisting = map[string][2]float64{
	"HC1": {1.05, 0.17},
	"HC2": {1.10, 0.34},
	"HC3": {1.15, 0.51},
	"HC4": {1.20, 0.68},
}

// Hoisting is the factor of a load lifted off the ground at a steady hoisting
// speed,
//
//	φ2 = φ2min + β2 v
//
// by hoisting class. v is the speed that the hoist drive class stands for: creep
// speed for a drive that cannot lift off faster. Drive classes HD3 and HD5 are
// allowed φ2min = 1.05 in every hoisting class; the larger figure is taken here.
func Hoisting(class string, v quantity.Speed) (Factor, error) {
	f := Factor{
		How:      "lifting off, hoisting class " + class,
		Source:   "EN 13001-2; transcribed in public programs, one of them from EN 1991-3",
		Standing: Transcribed,
	}
	c, ok := hoisting[class]
	if !ok {
		return f, fault.New(fault.Reference, "%q is no hoisting class", class).Fix("write HC1, HC2, HC3 or HC4")
	}
	if !finite(float64(v)) {
		return f, fault.New(fault.Range, "a hoisting speed cannot be %v m/s", float64(v)).Fix("write it without a sign")
	}
	f.How += fmt.Sprintf(" at %.4g m/s: %g + %g × %.4g", float64(v), c[0], c[1], float64(v))
	f.Value = c[0] + c[1]*float64(v)
	return f, nil
}
