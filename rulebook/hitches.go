package rulebook

import (
	"cmp"
	"fmt"
	"math"

	"plumbhook/gear"
	"plumbhook/lift"
)

// hitches judges slings that take hold of the load by running round it.
func (k *check) hitches() {
	for i := range k.Lift.Legs {
		l := &k.Lift.Legs[i]
		if l.Hitch == lift.Choker {
			k.choker(i)
		}
		if l.Hitch == lift.Basket {
			k.basketRating(i)
		}
		if l.Hitch == lift.Basket || len(l.Via) > 0 || l.Bend != nil {
			k.bend(i)
		}
		if len(l.Via) > 0 {
			k.slide(i)
		}
	}
}

// choker rates a choker hitch by its tag, or by the share of the straight
// rating that the code leaves, and then by the angle of choke.
func (k *check) choker(i int) {
	r, angle := k.rule("choker"), k.rule("choke-angle")
	if r == nil {
		return
	}
	l, where := &k.Lift.Legs[i], "legs."+k.Lift.Legs[i].Name
	s := k.sling(i)
	if s == nil {
		k.open(r, where, "which entry of the stack is the sling: write its kind as the catalogue has it")
		return
	}
	c := cut{rule: r, share: 1}
	share, known := gear.ChokerRating(k.book, s.material())
	straight := k.rating(s)
	switch {
	case l.ChokerWLL != nil:
		n := float64(l.ChokerWLL.Force)
		c.base, c.source, c.why = &n, "tag or maker's figure in the lift file", "choker rating "+l.ChokerWLL.Text+" off the tag"
	case s.gear != nil && s.gear.Choker != nil:
		n := float64(s.gear.Choker.Force)
		c.base, c.source, c.why = &n, s.gear.Choker.Source, "choker rating "+s.gear.Choker.Text
	case straight == nil || !known:
		k.open(r, s.where, "its choker rating: write choker_wll off the tag, or the leg as a stack with its straight rating")
		return
	default:
		// A share of rope strength is never less than that share of the straight
		// rating, which has the splice taken off already.
		c.share, c.source = share.Share, share.Cite()
		c.why = fmt.Sprintf("a choker keeps %.0f %% of the straight rating", 100*share.Share)
	}
	k.cut(s.where, c)
	if l.ChokeAngle == nil {
		k.open(angle, where, "the angle of choke: write choke_angle")
		return
	}
	left, ok := gear.ChokeAngle(s.material(), l.ChokeAngle.Low)
	if high, also := gear.ChokeAngle(s.material(), l.ChokeAngle.High); also && high.Share < left.Share {
		left = high
	}
	if !ok {
		k.open(angle, where, "what an angle of choke of %s leaves: no figure was read for %s, ask its maker", l.ChokeAngle.Text, cmp.Or(s.material(), "a sling of unknown material"))
		return
	}
	k.cut(s.where, cut{rule: angle, source: left.Cite(), share: left.Share, why: fmt.Sprintf("an angle of choke of %s leaves %.0f %% of the choker rating", l.ChokeAngle.Text, 100*left.Share)})
}

// basketRating lets each side of a basket carry half of the basket rating, where
// that is less than the straight one.
func (k *check) basketRating(i int) {
	r, s := k.rule("basket-rating"), k.sling(i)
	if r == nil || s == nil {
		return
	}
	l := &k.Lift.Legs[i]
	var n float64
	var text, source string
	switch {
	case l.BasketWLL != nil:
		n, text, source = float64(l.BasketWLL.Force)/2, l.BasketWLL.Text, "tag or maker's figure in the lift file"
	case s.gear != nil && s.gear.Basket != nil:
		n, text, source = float64(s.gear.Basket.Force)/2, s.gear.Basket.Text, s.gear.Basket.Source
	default:
		return // the straight rating holds for each side, and verdict sees to it
	}
	k.cut(s.where, cut{rule: r, source: source, share: 1, base: &n, why: "each side of the basket carries half of its rating of " + text})
}

// bend takes from a wire rope what bending over a small diameter takes.
func (k *check) bend(i int) {
	r, s := k.rule("basket-bend"), k.sling(i)
	if r == nil || s == nil {
		return
	}
	l := &k.Lift.Legs[i]
	switch {
	case s.gear == nil || s.gear.Body == nil:
		k.open(r, "legs."+l.Name, "how sharply it bends: write the leg as a stack, the sling with its diameter, and bend of the leg")
		return
	case s.gear.Kind != "wire rope sling" && s.gear.Kind != "wire rope grommet":
		for _, f := range gear.Bend(*s.gear, 1) {
			k.open(r, s.where, "%s", f.NotAssessed)
		}
		return
	case l.Bend == nil:
		k.open(r, "legs."+l.Name, "the diameter that the rope bends over: write bend")
		return
	}
	least, splice := r.Value, s.gear.Splice
	if b, ok := gear.BasketBend(splice); ok {
		least = b.Value
	}
	ratio := float64(l.Bend.Low) / float64(s.gear.Body.High)
	over := fmt.Sprintf("the rope bends over %s, D/d = %.3g", l.Bend.Text, ratio)
	if ratio >= least-1e-9 {
		k.say(r, None, s.where, "%s; %g is enough", over, least).Against(ratio, least, "")
		return
	}
	left, ok := gear.BendEfficiency(ratio)
	if !ok {
		k.say(r, Stop, s.where, "%s: nothing thinner than the rope may bear on it", over).Against(ratio, 1, "")
		return
	}
	k.cut(s.where, cut{rule: r, share: left.Share, within: Caution, why: fmt.Sprintf("%s, which leaves %.0f %% of the strength; the basket rating holds from D/d %g", over, 100*left.Share, least)})
}

// slide tells whether a rope runs over its points as the load comes up level.
//
// Where both ends hang on one hook or ring plumb over the centre of gravity,
// the level forces of the end spans are equal and opposite there, so that
//
//	T1 cos α1 = T2 cos α2
//
// with α their angles from the horizontal. Friction carries a ratio up to
// exp(μ Σθ), θ being the turns of the rope at its points (Eytelwein). The
// angles are those of the load turned back into its start pose about its
// centre of gravity, under the hook as it hangs; the little by which the hook
// then stands higher or lower is left out.
func (k *check) slide(i int) {
	r := k.rule("basket-slide")
	l, h := &k.Lift.Legs[i], &k.Hung.Legs[i]
	where := "legs." + l.Name
	over := l.Via[0].Body
	b := k.body(over)
	same := l.From.Point == "" && l.From.String() == l.To.String()
	for _, v := range l.Via {
		same = same && v.Body == over
	}
	if b == nil || !same || h.Slack {
		k.open(r, where, "whether the rope runs over its points: this is worked out only for a rope from one hook or ring, under one body, and back")
		return
	}
	path := []vec{h.Path[0]}
	for _, v := range l.Via {
		path = append(path, k.startPlace(b, v.Point))
	}
	path = append(path, h.Path[len(h.Path)-1])
	wrap := 0.0
	for n := 1; n+1 < len(path); n++ {
		wrap += between(path[n].sub(path[n-1]), path[n+1].sub(path[n]))
	}
	first, last := path[1].sub(path[0]), path[len(path)-2].sub(path[len(path)-1])
	c1, c2 := first.level()/first.norm(), last.level()/last.norm()
	if c1 < 1e-6 || c2 < 1e-6 {
		k.open(r, where, "whether the rope runs over its points: a span hangs plumb")
		return
	}
	need, have := math.Abs(math.Log(c1/c2)), l.Friction*wrap
	ratio := math.Exp(need)
	const even = 0.02 // sides that differ less than the lengths are known, common practice
	switch {
	case need <= even:
		k.say(r, None, where, "both sides of rope %s pull alike while the load is level", l.Name).Against(ratio, math.Exp(have), "")
	case l.Friction == 0:
		k.open(r, where, "whether friction keeps the rope from running: the centre of gravity is off centre and one side would have to pull %.2f times the other; write friction, or keep the rope from sliding", ratio)
	case need > have:
		k.say(r, Stop, where, "the load slides in rope %s as it comes up: level, one side would have to pull %.2f times the other, and friction carries %.2f; choke it, tie it, or move the points", l.Name, ratio, math.Exp(have)).
			Against(ratio, math.Exp(have), "")
	default:
		k.say(r, Caution, where, "only friction keeps the load from sliding in rope %s: one side pulls %.2f times the other, and friction carries %.2f", l.Name, ratio, math.Exp(have)).
			Against(ratio, math.Exp(have), "")
	}
}

func (k *check) body(name string) *lift.HungBody {
	for i := range k.Hung.Bodies {
		if k.Hung.Bodies[i].Name == name {
			return &k.Hung.Bodies[i]
		}
	}
	return nil
}

// startPlace is where a point of a body would be in the world with the body
// turned back into its start pose about its centre of gravity.
func (k *check) startPlace(b *lift.HungBody, point string) vec {
	var t *lift.Turn
	if b.Name == "load" {
		t = k.Lift.Load.Turn
	} else {
		for i := range k.Lift.Spreaders {
			if k.Lift.Spreaders[i].Name == b.Name {
				t = k.Lift.Spreaders[i].Turn
			}
		}
	}
	arm := vec(b.Points[point]).sub(b.CG)
	// Into the body's axes: the transpose turns back.
	r := b.Rot
	at := turned([9]float64{r[0], r[3], r[6], r[1], r[4], r[7], r[2], r[5], r[8]}, arm)
	if t != nil {
		at = startTurn(t, at)
	}
	return vec{b.CG[0] + at[0], b.CG[1] + at[1], b.CG[2] + at[2]}
}

// startTurn is about the world's x, then y, then z axis.
func startTurn(t *lift.Turn, v vec) vec {
	for axis, angle := range []float64{float64(t.X), float64(t.Y), float64(t.Z)} {
		a, b := (axis+1)%3, (axis+2)%3
		sin, cos := math.Sincos(angle)
		v[a], v[b] = v[a]*cos-v[b]*sin, v[a]*sin+v[b]*cos
	}
	return v
}
