package verdict

import (
	"math"

	"plumbhook/gear"
	"plumbhook/lift"
	"plumbhook/register"
)

// Register is what the gear register says on the day of the lift.
type Register struct {
	On    register.Date
	Items map[string]register.Item // by register.Key
}

// Serials lists the serials that a lift names, in the order of the file.
func Serials(l *lift.Lift) []string {
	var all []string
	for i := range l.Legs {
		for k := range l.Legs[i].Stack {
			if s := l.Legs[i].Stack[k].Serial; s != "" {
				all = append(all, s)
			}
		}
	}
	return all
}

// serials holds every piece that bears a serial against the register: known,
// in date, in service, and rated as the lift file says.
func (p *Plan) serials(s *State) {
	if p.register == nil {
		if n := len(Serials(p.Lift)); n > 0 {
			s.missing("dates and status of %d pieces with serials: no register was given (--data)", n)
		}
		for i := range p.Lift.Legs {
			for k := range p.Lift.Legs[i].Stack {
				if e := &p.Lift.Legs[i].Stack[k]; e.Kind == "" {
					s.missing("%s: the file says only its serial, %s; kind, mass and rating stand in the gear register (--data)", stackName(p.Lift.Legs[i].Name, k), e.Serial)
				}
			}
		}
		return
	}
	used := map[string]string{}
	for i := range p.Lift.Legs {
		leg := &p.Lift.Legs[i]
		for k := range leg.Stack {
			e := &leg.Stack[k]
			if e.Serial == "" {
				continue
			}
			where, key := stackName(leg.Name, k), register.Key(e.Serial)
			if other, twice := used[key]; twice {
				s.find(Stop, "serial-twice", "lift file", where, "%s is rigged here and in %s as well", e.Serial, other)
			}
			used[key] = where
			it, known := p.register.Items[key]
			if !known {
				s.missing("%s: the register does not know serial %s", where, e.Serial)
				s.Outcome = worse(s.Outcome, Incomplete)
				continue
			}
			for _, f := range register.Fitness(&it, p.register.On) {
				if f.Severity == register.NotAssessed {
					s.missing("%s, %s: %s", where, e.Serial, f.Text)
					s.Outcome = worse(s.Outcome, Incomplete)
					continue
				}
				s.find(Severity(f.Severity), f.Rule, f.Source, where, "%s: %s", e.Serial, f.Text)
			}
			if e.Kind != "" && !gear.Alike(e.Kind, it.Kind) {
				s.find(Stop, "kind-disagrees", "gear register", where,
					"the lift file calls %s a %s, the register a %s: read its marks", e.Serial, e.Kind, it.Kind)
			}
			if it.Rating != nil && e.WLL != nil {
				a, b := float64(e.WLL.Force), float64(it.Rating.Force)
				if math.Abs(a-b) > 0.005*b {
					s.find(Stop, "rating-disagrees", "gear register", where,
						"the lift file rates %s at %s, the register at %s: read the tag", e.Serial, newtons(a), newtons(b)).Against(a, b, "N")
				}
			}
		}
	}
}
