package verdict

import "plumbhook/spread"

// Matter is what the unknowns of the plan do to one force: for the office
// and the auditor, not for the crew.
type Matter struct {
	Where  string // legs.west, hooks.main, load.west ...
	Band   spread.Band
	LimitN *float64 // weakest rating it is held against, over the dynamic factor
	// Chance is the share of ways the figures may turn out in which the
	// force passes that limit; nil without rating.
	Chance *float64
	Shares []spread.Share // of the variance, by input, largest first; what explains less than a hundredth is left out
}

// Matters tells for every force of a state how far it may lie, which figures
// of the file make it uncertain, and how often it passes its limit.
func (p *Plan) Matters(s *State) []Matter {
	limits := map[string]float64{}
	for _, part := range s.Parts {
		if part.LimitN == nil {
			continue
		}
		where := part.Where
		for i := range p.Lift.Legs { // a stack's entries all bear the leg's force
			leg := &p.Lift.Legs[i]
			for k := range leg.Stack {
				if stackName(leg.Name, k) == where {
					where = "legs." + leg.Name
				}
			}
		}
		if l, ok := limits[where]; !ok || *part.LimitN < l {
			limits[where] = *part.LimitN
		}
	}
	var all []Matter
	for k, d := range s.Demands {
		m := Matter{Where: d.Where(), Band: s.Spread.Demands[k].Band}
		if l, ok := limits[m.Where]; ok {
			l /= p.Dynamic
			c := s.Spread.Demands[k].Past(l)
			m.LimitN, m.Chance = &l, &c
		}
		for _, share := range s.Spread.Shares(k) {
			if share.Index >= 0.01 {
				m.Shares = append(m.Shares, share)
			}
		}
		all = append(all, m)
	}
	return all
}
