package rulebook

import (
	"strings"

	"plumbhook/gear"
	"plumbhook/lift"
)

// fits judges how each piece goes with the next one down, and with the lugs at
// both ends of a leg; and tells what the catalogue has to say of a piece.
func (k *check) fits() {
	for i := range k.Lift.Legs {
		all := k.pieces(i)
		if all[0].part == nil {
			continue
		}
		upper, lower := k.ends(i)
		if p := k.lugPiece(upper.ref); p != nil {
			k.fit(piece{where: upper.ref.String(), leg: i, gear: p}, all[0])
		}
		for n := range all[1:] {
			k.fit(all[n], all[n+1])
		}
		if p := k.lugPiece(lower.ref); p != nil {
			k.fit(all[len(all)-1], piece{where: lower.ref.String(), leg: i, gear: p})
		}
		if k.Lift.Legs[i].Hitch == lift.Choker {
			k.running(all)
		}
		for _, p := range all {
			k.facts(&p)
		}
	}
}

// lugPiece is a lug as the catalogue sees it; nil where its type says too little.
func (k *check) lugPiece(ref lift.Ref) *gear.Piece {
	lug, _ := k.lug(ref)
	if lug == nil || lug.Type == "" {
		return nil
	}
	facts := gear.Facts{}
	if lug.Hole != nil {
		facts["hole"] = lug.Hole.Text
	}
	if lug.Thickness != nil {
		facts["thickness"] = lug.Thickness.Text
	}
	p, err := gear.Look(lug.Type, facts, lug.Pos)
	if err != nil {
		return nil
	}
	return &p
}

func (k *check) fit(above, below piece) {
	if above.gear == nil || below.gear == nil {
		p := &above
		if above.gear != nil {
			p = &below
		}
		k.open(k.rule("pin-in-hole"), p.where, "how it fits its neighbours: the catalogue does not know %q%s, or was told too little about it; see that pins, jaws and eyes match", p.part.Name(), wasMeant(p.part.Meant))
		return
	}
	k.checks(above, below, gear.Fit(*above.gear, *below.gear))
}

// running judges what a choker is drawn tight round.
func (k *check) running(all []piece) {
	for n := range all[1:] {
		a, b := all[n].gear, all[n+1].gear
		if a != nil && b != nil && isSling(a.Kind) && strings.HasSuffix(b.Kind, "shackle") {
			k.checks(all[n], all[n+1], gear.Running(*a, *b, b.Upper))
		}
	}
}

func (k *check) checks(above, below piece, all []gear.FitCheck) {
	for _, c := range all {
		r := k.rule(c.Rule)
		if c.NotAssessed != "" {
			p := above // or the one that the question names
			if strings.Contains(c.NotAssessed, below.gear.Kind) && !strings.Contains(c.NotAssessed, above.gear.Kind) {
				p = below
			}
			k.open(r, p.where, "%s", c.NotAssessed)
			continue
		}
		f := New(Severity(c.Severity), r.Name, c.Source, above.where, "%s", c.Text)
		f.Standing, f.Demand, f.Limit, f.Unit = r.Standing, c.Demand, c.Limit, c.Unit
		k.add(f)
	}
}

func (k *check) facts(p *piece) {
	if p.gear == nil {
		return
	}
	r := k.rule("gear-facts")
	var notes []string
	for _, n := range p.gear.Notes {
		if !strings.HasPrefix(n, "no rating") { // the verdict lists that as not assessed
			notes = append(notes, n)
		}
	}
	if notes == nil {
		k.say(r, None, p.where, "the catalogue has nothing to add")
		return
	}
	k.say(r, Note, p.where, "%s: %s", p.gear.Kind, strings.Join(notes, "; "))
}
