package rulebook

import "strings"

// cut is what one rule leaves of the rating of a piece.
type cut struct {
	rule   *Rule
	source string   // where it is not the rule's own clause
	share  float64  // of the rating that is left
	base   *float64 // N: a rating that stands in place of the straight one
	within Severity // of the finding when the piece still holds
	why    string
}

func (k *check) cut(where string, c cut) {
	if c.source == "" {
		c.source = c.rule.Source()
	}
	k.cuts[where] = append(k.cuts[where], c)
}

// derated holds each piece against what its rules leave of its rating. They
// multiply, which is the loud side where two of them see the same weakness.
func (k *check) derated() {
	for i := range k.Lift.Legs {
		for _, p := range k.pieces(i) {
			if cuts := k.cuts[p.where]; len(cuts) > 0 {
				k.hold(&p, cuts)
			}
		}
	}
}

func (k *check) hold(p *piece, cuts []cut) {
	rating, share := k.rating(p), 1.0
	var why []string
	worst := cuts[0]
	for _, c := range cuts {
		if c.base != nil && (rating == nil || *c.base < *rating || c.rule.Name == "choker") {
			rating = c.base
		}
		share *= c.share
		if c.share < worst.share {
			worst = c
		}
		why = append(why, c.why)
	}
	if rating == nil {
		k.open(worst.rule, p.where, "what is left of its rating: it has none, write wll off the tag (%s)", strings.Join(why, "; "))
		return
	}
	demand, limit := k.demand("legs."+k.Lift.Legs[p.leg].Name), *rating*share
	k.Rating[p.where] = limit
	if !(demand <= limit*(1+1e-9)) {
		f := New(Stop, worst.rule.Name, worst.source, p.where, "%s would carry %v; as it is rigged it is good for %v: %s",
			p.name(k.Lift), Newtons(demand), Newtons(limit), strings.Join(why, "; "))
		f.Standing = worst.rule.Standing
		k.add(*f.Against(demand, limit, "N"))
		return
	}
	for _, c := range cuts {
		f := New(c.within, c.rule.Name, c.source, p.where, "%s; %s is then good for %v and would carry %v", c.why, p.name(k.Lift), Newtons(limit), Newtons(demand))
		f.Standing = c.rule.Standing
		k.add(*f.Against(demand, limit, "N"))
	}
}
