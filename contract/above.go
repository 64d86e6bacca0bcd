package contract

import (
	"strings"

	"plumbhook/verdict"
)

// Above is the lift from above, as planned: where on the load each leg pulls and
// where the centre of gravity may be, in load axes. The answer of
// /api/watch/above; the watch draws readings into it.
type Above struct {
	Legs    []AboveLeg     `json:"legs" doc:"from the hook side to the load; those that end elsewhere stand where their lower end hangs"`
	Box     *[2][2]float64 `json:"box_m" doc:"outline of the load: least x and y, most x and y; null: the plan states no size"`
	CGM     [3]float64     `json:"cg_m"`
	CGLowM  [3]float64     `json:"cg_low_m" doc:"box that holds the CG by the plan"`
	CGHighM [3]float64     `json:"cg_high_m"`
	HookM   [2]float64     `json:"hook_m" doc:"where the first hook hangs"`
}

// AboveLeg is one leg.
type AboveLeg struct {
	Leg     string      `json:"leg"`
	Channel string      `json:"channel" doc:"empty: no cell"`
	AtM     [2]float64  `json:"at_m"`
	PlanN   float64     `json:"plan_N" doc:"upper end"`
	WLLN    *float64    `json:"wll_N" doc:"straight rating of the leg; null: none is known"`
	Parts   []AbovePart `json:"parts" doc:"top to bottom"`
}

// AbovePart is a piece of gear in a leg.
type AbovePart struct {
	Where  string   `json:"where"`
	Kind   string   `json:"kind"`
	Serial string   `json:"serial"`
	LimitN *float64 `json:"limit_N" doc:"null: no rating is known"`
}

// NewAbove shapes a checked plan as first rigged.
func NewAbove(p *verdict.Plan) Above {
	s := &p.States[0]
	h := s.Hung
	load := &h.Bodies[0]
	level := func(world [3]float64) [2]float64 { // world to load axes
		var out [2]float64
		for k := range out {
			for i := range world {
				out[k] += load.Rot[3*i+k] * (world[i] - load.Origin[i])
			}
		}
		return out
	}
	a := Above{Legs: []AboveLeg{}, CGM: h.CGLoad, CGLowM: p.Sheet.CGLow, CGHighM: p.Sheet.CGHigh}
	if len(h.Hooks) > 0 {
		a.HookM = level(h.Hooks[0].At)
	}
	for i := range h.Legs {
		k := &h.Legs[i]
		l := AboveLeg{Leg: k.Name, PlanN: k.TensionN, WLLN: k.WLLN, Parts: []AbovePart{}}
		if cell, _ := p.Lift.Legs[i].CellAt(); cell != nil {
			l.Channel = cell.Channel
		}
		if n := len(k.Path); n > 0 {
			l.AtM = level(k.Path[n-1])
		}
		for _, q := range s.Parts {
			if q.Where == "legs."+k.Name || strings.HasPrefix(q.Where, "legs."+k.Name+".") {
				l.Parts = append(l.Parts, AbovePart{q.Where, q.Kind, q.Serial, q.LimitN})
			}
		}
		a.Legs = append(a.Legs, l)
	}
	if size := p.Lift.Load.Size; size != nil {
		var low, high [2]float64
		for k := range low {
			low[k], high[k] = a.CGM[k], a.CGM[k]
			for _, lug := range p.Lift.Load.Lugs {
				low[k], high[k] = min(low[k], lug.At.XYZ()[k]), max(high[k], lug.At.XYZ()[k])
			}
			// Without a corner the box is laid about lugs and centre of gravity.
			long := size.XYZ()[k]
			low[k] = (low[k] + high[k] - long) / 2
			if from := p.Lift.Load.SizeFrom; from != nil {
				low[k] = from.XYZ()[k]
			}
			high[k] = low[k] + long
		}
		a.Box = &[2][2]float64{low, high}
	}
	return a
}
