package cli

import (
	"fmt"
	"strings"

	"plumbhook/crane"
	"plumbhook/lift"
	"plumbhook/quantity"
	"plumbhook/rulebook"
	"plumbhook/verdict"
)

// cranes says of every machine what hangs on it, what its chart allows, what
// of that is left beside others, and what the ground feels.
func (t *teller) cranes(s *verdict.State) {
	for i := range s.Machines {
		m := &s.Machines[i]
		_, half := bears(s, lift.OnHook, m.Hook)
		var lines []string
		for _, l := range m.Lines {
			if l.N == 0 {
				continue
			}
			lines = append(lines, fmt.Sprintf("%s %s", l.Name, t.force(l.N, half, upward)))
		}
		text := fmt.Sprintf("%s: %s %s hang on it (%s)", m.Hook, t.force(m.GrossN, half, upward), t.unit(), strings.Join(lines, ", "))
		switch u := m.Use; {
		case u == nil:
			text += "; NO CHART READ"
		case u.CapacityN == nil:
			text += "; chart: " + m.Chart
		default:
			text += fmt.Sprintf("; chart: %s; %s of it used%s", m.Chart, percent(*u.Share), over(*u.Share, 1))
			if u.Dynamic != nil {
				text += fmt.Sprintf(", with the dynamic factor %s", percent(*u.Dynamic))
			}
		}
		t.tell("crane", "%s", text)
		if p := m.Part; p != nil {
			t.joint(p, half)
		}
		for k := range m.Bearings {
			t.footing(&m.Bearings[k])
		}
	}
}

// joint says what one of several cranes takes.
func (t *teller) joint(p *crane.Part, half float64) {
	text := fmt.Sprintf("takes %s of what hangs on all cranes", percent(p.Of))
	switch {
	case p.ReducedN != nil:
		text += fmt.Sprintf("; beside the others %s %s of its capacity are left, %s of that used%s", t.force(*p.ReducedN, half, down), t.unit(), percent(*p.Share), over(*p.Share, 1))
	case p.Status == crane.NotAssessed:
		text += "; NO RULE SET SAYS WHAT OF ITS CAPACITY MAY BE USED"
	}
	t.tell("", "%s", text)
}

// footing says what one outrigger or track does to the ground.
func (t *teller) footing(b *rulebook.Bearing) {
	f := &b.Foundation
	half := b.Reaction.N / 50 // no reaction is known better than to a few per cent
	text := fmt.Sprintf("%s %s %s", b.Name, t.force(b.Reaction.N, half, upward), t.unit())
	if f.MatN > 0 {
		text += fmt.Sprintf(" and a mat of %s %s", t.force(f.MatN, half, upward), t.unit())
	}
	if f.PressurePa == nil {
		t.tell("ground", "%s: NO AREA TO PRESS ON IS KNOWN", text)
		return
	}
	area := quantity.Known(quantity.Area(f.AreaM2))
	text += fmt.Sprintf(" on %s (%s): %s", area.Format(quantity.For[quantity.Area](t.units)), f.AreaHow, t.pressure(*f.PressurePa))
	if b.AllowedPa == nil {
		text += ", AND NOBODY SAYS WHAT THE GROUND MAY TAKE"
	} else {
		text += fmt.Sprintf(" of %s allowed%s", t.pressure(*b.AllowedPa), over(*f.Share, 1))
	}
	t.tell("ground", "%s", text)
}

// pressure writes pascals in kPa, or in lbf/ft², with three digits.
func (t *teller) pressure(p float64) string {
	unit := quantity.For[quantity.Pressure](t.units)
	n, _ := quantity.In(quantity.Pressure(p), unit)
	return show(n, n/50, nearest) + " " + unit
}
