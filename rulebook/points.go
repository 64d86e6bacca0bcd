package rulebook

import (
	"fmt"
	"math"
	"strings"

	"plumbhook/fault"
	"plumbhook/gear"
	"plumbhook/lift"
	"plumbhook/quantity"
)

// points judges how legs pull on what they take hold of.
func (k *check) points() {
	seen := map[string]bool{} // lugs, by place
	for i := range k.Lift.Legs {
		if k.Hung.Legs[i].Slack {
			continue
		}
		upper, lower := k.ends(i)
		for _, e := range []end{upper, lower} {
			k.shackle(&e)
		}
		refs := append([]lift.Ref{k.Lift.Legs[i].From, k.Lift.Legs[i].To}, k.Lift.Legs[i].Via...)
		for _, ref := range refs {
			lug, b := k.lug(ref)
			if lug == nil || seen[ref.String()] {
				continue
			}
			seen[ref.String()] = true
			pull := vec(b.Forces[ref.Point])
			switch kind := lugKind(lug); kind {
			case "plate":
				k.plate(ref.String(), lug, b, pull)
			case "plain eye bolt", "shoulder eye bolt":
				k.eyeBolt(kind, ref.String(), lug, b, pull)
			case "":
				if r := k.rule("plate-side-pull"); r != nil && lug.Type != "" {
					k.open(r, ref.String(), "how it may be pulled: no type of lifting point is called %q%s", lug.Type, wasMeant(lug.Meant))
				}
			}
		}
	}
	k.spreaders()
}

// wasMeant asks about a name that is near to a known one.
func wasMeant(near string) string {
	if near == "" {
		return ""
	}
	return " (did you mean " + near + "?)"
}

// lugKind is the type of a lug in the catalogue's words. An eye bolt that does
// not say whether it has a shoulder is taken for one without.
func lugKind(l *lift.Lug) string {
	p, err := gear.Look(l.Type, nil, l.Pos)
	if err != nil && fault.Of(err)[0].Code == fault.Ambiguous && strings.Contains(strings.ToLower(l.Type), "eye") {
		return "plain eye bolt"
	}
	return p.Kind
}

func isShackle(p *piece) bool {
	return p.part != nil && strings.Contains(strings.ToLower(p.part.Kind), "shackle")
}

// shackle judges the shackle whose pin sits in a lug. It swings about its pin,
// so that the pull is out of its line by the angle to the plane square to the
// pin.
func (k *check) shackle(e *end) {
	r := k.rule("shackle-side-load")
	lug, b := k.lug(e.ref)
	if r == nil || lug == nil || !isShackle(e.piece) {
		return
	}
	switch kind := lugKind(lug); {
	case kind != "plate":
		k.open(r, e.piece.where, "how the shackle sits in %s: write type and axis of the lug; an eye that turns with the pull needs none of it", e.ref)
	case lug.Axis == nil:
		k.open(r, e.piece.where, "how the pin of the shackle lies in %s: write axis of the lug, along its hole", e.ref)
	default:
		side := math.Pi/2 - offAxis(e.force, turned(b.Rot, vec(*lug.Axis)))
		if side <= k.rule("near-vertical").radians()+1e-9 {
			k.say(r, None, e.piece.where, "the shackle on %s is pulled %.1f° out of line", e.ref, deg(side)).Against(side, k.rule("near-vertical").radians(), "rad")
			return
		}
		left, _ := gear.SideLoad(quantity.Angle(side))
		k.cut(e.piece.where, cut{rule: r, share: left.Share, within: Caution, why: fmt.Sprintf(
			"the shackle on %s is pulled %.0f° sideways, out of the plane square to its pin, which leaves %.0f %% of its rating: turn the lug or use a swivel", e.ref, deg(side), 100*left.Share)})
	}
}

// plate judges a pull out of the plane of a plate.
func (k *check) plate(where string, lug *lift.Lug, b *lift.HungBody, pull vec) {
	r := k.rule("plate-side-pull")
	switch {
	case r == nil:
	case lug.Axis == nil:
		k.open(r, where, "how the plate stands to the pull: write axis, along its hole")
	default:
		out := math.Pi/2 - offAxis(pull, turned(b.Rot, vec(*lug.Axis)))
		over := Caution
		if out <= r.radians()+1e-9 {
			over = None
		}
		k.say(r, over, where, "the plate is pulled %.1f° out of its plane; a plate bends easily that way, and its drawing has to allow it", deg(out)).Against(out, r.radians(), "rad")
	}
}

// eyeBolt judges a pull off the axis of an eye bolt.
func (k *check) eyeBolt(kind, where string, lug *lift.Lug, b *lift.HungBody, pull vec) {
	r := k.rule("eye-bolt-plain")
	if kind == "shoulder eye bolt" {
		r = k.rule("eye-bolt-shoulder")
	}
	if r == nil {
		return
	}
	if lug.Axis == nil {
		k.open(r, where, "how the eye bolt stands to the pull: write axis, along its shank")
		return
	}
	off, inLine := offAxis(pull, turned(b.Rot, vec(*lug.Axis))), k.rule("near-vertical").radians()
	switch {
	case off <= inLine+1e-9:
		k.say(r, None, where, "the eye bolt is pulled %.1f° off its axis", deg(off)).Against(off, inLine, "rad")
		return
	case kind == "plain eye bolt":
		said := "a plain eye bolt"
		if !strings.Contains(strings.ToLower(lug.Type), "plain") {
			said = "an eye bolt that nobody says has a shoulder"
		}
		k.say(r, Stop, where, "%s is pulled %.0f° off its axis: without a shoulder it bends and breaks at any angle", said, deg(off)).Against(off, inLine, "rad")
		return
	}
	if w := k.rule("eye-bolt-ship-repair"); w != nil {
		over := Caution
		if off <= w.radians()+1e-9 {
			over = None
		}
		k.say(w, over, where, "the eye bolt is pulled %.0f° off its axis; where ship repair rules hold, %g° is the limit", deg(off), w.Value).Against(off, w.radians(), "rad")
	}
	if lug.Angled == nil || off > float64(lug.Angled.OffAxis.Low)+1e-9 {
		text := "no figure of its maker is given for that: write angled_wll off its data"
		if lug.Angled != nil {
			text = "its maker's figure goes to " + lug.Angled.OffAxis.Text
		}
		guess, _ := gear.EyeBolt(kind, quantity.Angle(off))
		k.say(r, Stop, where, "the shoulder eye bolt is pulled %.0f° off its axis, and %s; %s leaves about %.0f %% of its rating there (from memory)", deg(off), text, guess.Source, 100*guess.Share).
			Against(off, inLine, "rad")
		return
	}
	if lug.Eye == nil {
		k.open(r, where, "whether the pull lies in the plane of the eye: write eye, along its hole as it is screwed in")
	} else if out := math.Pi/2 - offAxis(pull, turned(b.Rot, vec(*lug.Eye))); out > inLine+1e-9 {
		k.say(r, Stop, where, "the eye bolt is pulled %.0f° out of the plane of its eye: turn it with a shim under the shoulder, or take a swivel ring", deg(out)).Against(out, inLine, "rad")
	} else {
		k.say(r, None, where, "the pull lies in the plane of the eye").Against(out, inLine, "rad")
	}
	limit := float64(lug.Angled.WLL.Force)
	k.Rating[where] = limit
	k.within(r, Stop, where, k.demand(where), limit, "N", "%.0f° off its axis the eye bolt would carry %v; its maker's figure is %v up to %s",
		deg(off), Newtons(k.demand(where)), Newtons(limit), lug.Angled.OffAxis.Text)
}

// spreaders judges the legs above each spreader against its rated top angle.
func (k *check) spreaders() {
	r := k.rule("spreader-top-angle")
	for i := range k.Lift.Spreaders {
		s := &k.Lift.Spreaders[i]
		flattest, leg := math.Pi/2, ""
		for n := range k.Lift.Legs {
			_, lower := k.ends(n)
			if h := &k.Hung.Legs[n]; lower.ref.Body == s.Name && !h.Slack && h.FromHorizontal < flattest {
				flattest, leg = h.FromHorizontal, h.Name
			}
		}
		where := "spreaders." + s.Name
		switch {
		case leg == "":
		case s.LeastTopAngle != nil:
			limit := float64(s.LeastTopAngle.High)
			over, text := Stop, "leg %s stands %.1f° from the horizontal over spreader %s, which is rated for %.1f° and steeper: flatter legs crush it"
			if flattest >= limit-1e-9 {
				over, text = None, "leg %s stands %.1f° from the horizontal over spreader %s, which is rated for %.1f° and steeper"
			}
			k.say(r, over, where, text, leg, deg(flattest), s.Name, deg(limit)).Against(flattest, limit, "rad")
		case math.Pi/2-flattest > 5*math.Pi/180:
			k.open(r, where, "the angle of the top legs that it is rated for: write least_top_angle, such as 60 deg from horizontal; leg %s stands at %.0f°", leg, deg(flattest))
		}
	}
}
