package verdict

// Extreme is the most one part has to bear over the whole lift.
type Extreme struct {
	Part
	Step string // after which it does; empty: as first rigged
}

// Envelope gives for every part the state that asks most of it, in the order
// of Parts.
func (p *Plan) Envelope() []Extreme {
	var all []Extreme
	at := map[string]int{}
	for i := range p.States {
		s := &p.States[i]
		for _, part := range s.Parts {
			k, seen := at[part.Where]
			if !seen {
				at[part.Where] = len(all)
				all = append(all, Extreme{part, s.Hung.Step})
			} else if part.DemandN > all[k].DemandN {
				all[k] = Extreme{part, s.Hung.Step}
			}
		}
	}
	return all
}

// WorstState is the index of the state to look at first: one whose pose or
// part fails, else the one that uses a part most, else, without ratings, the
// one with the greatest force in a leg.
func (p *Plan) WorstState() int {
	worst, most := 0, -1.0
	for i := range p.States {
		s := &p.States[i]
		v := 0.0
		for _, part := range s.Parts {
			if part.Utilisation != nil {
				v = max(v, *part.Utilisation)
			}
		}
		if v == 0 {
			for _, n := range s.P95 {
				v = max(v, n/(n+1)) // below any utilisation worth the name
			}
		}
		if s.Outcome == Fails {
			v += 1e6
		}
		if v > most {
			worst, most = i, v
		}
	}
	return worst
}
