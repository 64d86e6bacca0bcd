package crane

import (
	"fmt"
	"math"

	"plumbhook/fault"
	"plumbhook/quantity"
)

// Reaction is what an outrigger or a track presses down with.
type Reaction struct {
	N    float64
	How  string // as written, or how it came about
	From string // who claims it
}

// ByShare makes a reaction out of a statement such as "the worst outrigger takes
// 75 % of machine and load". The share is whoever's claim: it depends on base,
// counterweight and the way the boom points, and is not guessed here. The error
// is a *fault.Fault.
func ByShare(share quantity.Ratio, machine quantity.Mass, gross float64, g quantity.Acceleration, from string) (Reaction, error) {
	if !(share > 0 && share <= 1) || !finite(float64(machine)) || !finite(gross) || !(g > 0) {
		return Reaction{}, fault.New(fault.Range, "a support takes more than nothing and no more than all of machine and load").
			Fix("check the share, the mass of the machine and the load")
	}
	n := float64(share) * (float64(machine)*float64(g) + gross)
	how := fmt.Sprintf("%s of machine %s and load %s", percent(float64(share)),
		kilonewtons(float64(machine)*float64(g)), kilonewtons(gross))
	return Reaction{n, how, from}, nil
}

// Mat is what lies between a support and the ground.
type Mat struct {
	Length, Width quantity.Length
	Mass          *quantity.Mass // nil: not stated

	// Stiff says who holds the mat stiff enough to press evenly over its whole
	// area; empty: nobody.
	Stiff string

	// Effective is the area that presses, by whoever worked it out.
	Effective     *quantity.Area
	EffectiveFrom string

	// Foot is the area of the outrigger float or track on the mat.
	Foot *quantity.Area
}

// Ground is the pressure that it may take, and who claims that.
type Ground struct {
	Allowable *quantity.Pressure
	From      string
}

// Bearing is the pressure under a mat.
type Bearing struct {
	AreaM2     float64
	AreaHow    string
	MatN       float64  // own weight, 0 when not stated
	PressurePa *float64 // nil: no area to go by
	Share      *float64 // pressure over allowable
	Status     Status

	NotAssessed []string
	Findings    []Finding
}

// Under gives the pressure under a mat,
//
//	p = (reaction + weight of the mat)/area
//
// taken as even. The whole area counts only if somebody holds the mat stiff
// enough; else the effective area that somebody gives; else the foot alone, as
// if there were no mat: no angle of spread is guessed. The error is a
// *fault.Fault.
func Under(where string, r Reaction, m Mat, soil Ground, g quantity.Acceleration) (Bearing, error) {
	b := Bearing{Status: NotAssessed}
	if err := m.check(where, r, soil, g); err != nil {
		return b, err
	}
	missing := func(format string, args ...any) { b.NotAssessed = append(b.NotAssessed, fmt.Sprintf(format, args...)) }
	whole := float64(m.Length) * float64(m.Width)
	switch {
	case m.Stiff != "":
		b.AreaM2, b.AreaHow = whole, "the whole mat, stiff enough says "+m.Stiff
	case m.Effective != nil:
		b.AreaM2, b.AreaHow = float64(*m.Effective), "effective area"
		if m.EffectiveFrom != "" {
			b.AreaHow += ", says " + m.EffectiveFrom
		} else {
			missing("effective area of the mat: nobody stands behind it")
		}
	case m.Foot != nil:
		b.AreaM2, b.AreaHow = float64(*m.Foot), "the foot alone: nobody says that the mat is stiff enough to spread the load"
	default:
		missing("area under the mat: nobody says that it is stiff, and neither effective area nor foot is stated")
	}
	if m.Mass != nil {
		b.MatN = float64(*m.Mass) * float64(g)
	} else {
		missing("own weight of the mat: not stated, and not in the pressure")
	}
	if r.From == "" {
		missing("reaction: nobody stands behind it")
	}
	if b.AreaM2 > 0 {
		p := (r.N + b.MatN) / b.AreaM2
		b.PressurePa = &p
	}
	head := rule{"ground-pressure", "pressure allowed by " + soil.From, Stated}
	switch {
	case soil.Allowable == nil:
		missing("ground: no allowable pressure is stated")
	case soil.From == "":
		head.source = "allowable pressure in the plan"
		missing("ground: nobody stands behind the allowable pressure")
	}
	if b.PressurePa != nil && soil.Allowable != nil {
		limit := float64(*soil.Allowable)
		share := *b.PressurePa / limit
		b.Share = &share
		text := fmt.Sprintf("%s presses with %s over %s (%s); %s is allowed", where, pascals(*b.PressurePa),
			quantity.Known(quantity.Area(b.AreaM2)).Format("m2"), b.AreaHow, pascals(limit))
		switch {
		case share > 1:
			b.Status = Fails
			b.Findings = append(b.Findings, head.find(Stop, where, "%s", text).against(*b.PressurePa, limit, "Pa"))
		default:
			if len(b.NotAssessed) == 0 {
				b.Status = Holds
			}
			b.Findings = append(b.Findings, head.find(Note, where, "%s", text).against(*b.PressurePa, limit, "Pa"))
		}
	}
	care := rule{"ground-documented", "GL Noble Denton 0027/ND Rev 11.2, 13.7.5 and 13.7.6", Read}
	b.Findings = append(b.Findings, care.find(Note, where,
		"strength of the ground is documented, with care for culverts, drains, services, edges, fresh fill, wet weather and the peak under a track; if it is not known, it is load-tested"))
	return b, nil
}

func (m Mat) check(where string, r Reaction, soil Ground, g quantity.Acceleration) error {
	bad := func(what, do string) error { return fault.New(fault.Range, "%s", what).In(where).Fix("%s", do) }
	whole := float64(m.Length) * float64(m.Width)
	switch {
	case !finite(r.N):
		return bad("a support does not pull at the ground", "check the reaction")
	case !(m.Length > 0) || !(m.Width > 0) || !finite(whole):
		return bad("a mat has a length and a width above zero", "check the size of the mat")
	case m.Mass != nil && !finite(float64(*m.Mass)) || !(g > 0):
		return bad("a mat has no negative weight", "check its mass and the local gravity")
	case soil.Allowable != nil && !(*soil.Allowable > 0):
		return bad("an allowable pressure is above zero", "leave it out when it is not known")
	}
	for _, a := range []*quantity.Area{m.Effective, m.Foot} {
		if a != nil && (!(*a > 0) || float64(*a) > whole*(1+1e-9)) {
			return bad("the area that presses is above zero and no larger than the mat", "check the areas")
		}
	}
	return nil
}

// pascals writes a pressure to the tenth of a kilopascal.
func pascals(p float64) string {
	return quantity.Known(quantity.Pressure(math.Round(p/100) * 100)).Format("kPa")
}
