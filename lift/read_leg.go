package lift

import (
	"maps"
	"math"
	"slices"
	"strings"

	"plumbhook/fault"
	"plumbhook/gear"
	"plumbhook/keyed"
	"plumbhook/quantity"
)

// cell is the load cell of a stack entry, made when one of its keys is read.
func (p *Part) cell() *Cell {
	if p.Cell == nil {
		p.Cell = &Cell{Zero: ZeroNone, Pos: p.Pos}
	}
	return p.Cell
}

// checkEntry tells load cells from other gear: by their kind, or by having a
// channel.
func checkEntry(r *reader, n *keyed.Node, p *Part) {
	if n.Get("kind") == nil && n.Get("serial") == nil {
		r.fault(n, fault.Missing, "nothing says what this is").Fix("give its kind, such as bow shackle, or its serial")
	}
	if it := n.Get("wll"); it != nil {
		p.stored = it.Outside
	}
	if it := n.Get("kind"); it != nil {
		p.Meant = r.meant(it, p.Kind, "kind of gear")
	}
	kind := strings.ToLower(p.Kind)
	isCell := strings.Contains(kind, "load cell") || strings.Contains(kind, "load pin") || n.Get("channel") != nil
	switch {
	case isCell:
		checkCell(r, n, p.cell())
	case p.Cell != nil:
		r.fault(n, fault.UnknownKey, "capacity, accuracy, resolution, temperature_effect and zero belong to a load cell, and this is a %s", keyed.Quote(p.Kind)).
			Fix("write kind: load cell if it is one; the rating of other gear is wll")
	}
	if p.Kind != "" && r.clean(n) {
		p.lookUp(r, n)
	}
}

// meant checks a name of gear that the catalogue does not know against those
// that it does. One slip away it is refused: a misspelt name would leave rules
// out in silence. A name a little farther off may be something else: the one it
// is near to is given, to be asked about.
func (r *reader) meant(n *keyed.Node, name, what string) string {
	plain := strings.Join(strings.Fields(strings.NewReplacer("-", " ", "_", " ").Replace(strings.ToLower(name))), " ")
	known := gear.Names()
	if plain == "" || slices.Contains(known, plain) {
		return ""
	}
	near := nearest(plain, known)
	if near != "" && slips(plain, near) == 1 && len(plain) > 5 {
		r.fault(n, fault.Reference, "%s is no %s that is known here", keyed.Quote(name), what).
			Fix("did you mean %s? If it is something else, give it a name that cannot be taken for that", near)
	}
	return near
}

// lookUp takes what the catalogue knows of the entry, and its figures where the
// entry gives none.
//
// A kind that the catalogue does not know, or that it was told too little
// about, stays as it is. What is ambiguous or contradicts the tables is
// refused, unless the tag rates the entry: then the fact is left out, and a
// note says so.
func (p *Part) lookUp(r *reader, n *keyed.Node) {
	facts := gear.Facts(maps.Clone(p.Facts))
	for _, key := range []string{"serial", "wll", "length", "mass", "stiffness", "capacity", "accuracy"} {
		if it := n.Get(key); it != nil {
			facts[key] = it.Text
		}
	}
	piece, err := gear.Look(p.Kind, facts, n.Pos)
	if err != nil {
		faults := fault.Of(err)
		for _, f := range faults {
			if f.Where == "kind" || f.Code == fault.Missing {
				return
			}
		}
		if n.Get("wll") == nil && n.Get("capacity") == nil {
			for _, f := range faults {
				at := n
				if it := n.Get(f.Where); it != nil {
					at = it
				}
				r.add(f, at, at.Pos)
			}
			return
		}
		for _, f := range faults {
			delete(facts, f.Where)
		}
		if piece, err = gear.Look(p.Kind, facts, n.Pos); err != nil {
			return
		}
		for _, f := range faults {
			piece.Notes = append(piece.Notes, f.Where+" is left out: "+f.What)
		}
	}
	p.Piece = &piece
	if p.Length == nil && piece.Length != nil {
		p.Length, p.generic.length = piece.Length, true
	}
	if p.Mass == nil && piece.Mass != nil {
		p.Mass, p.generic.mass = piece.Mass, true
	}
	if p.Stiffness == nil && piece.Stiffness != nil {
		p.Stiffness, p.generic.stiffness = piece.Stiffness, true
	}
	if p.WLL == nil && p.Cell == nil && piece.WLL != nil {
		if rating, err := quantity.ParseRating(piece.WLL.Text); err == nil {
			p.WLL, p.generic.wll = &rating, true
		}
	}
}

// checkCell sees to it that a share of full scale has a full scale.
func checkCell(r *reader, n *keyed.Node, c *Cell) {
	if c.Accuracy != nil && c.Accuracy.OfFullScale && n.Get("capacity") == nil {
		r.fault(n, fault.Missing, "an accuracy of full scale needs the capacity of the cell").Fix("give capacity, such as 6.5 t")
	}
	if n.Get("capacity") == nil && slices.ContainsFunc(c.Warmth, func(w Warmth) bool { return w.OfFullScale }) {
		r.fault(n.Get("temperature_effect"), fault.Missing, "an effect on full scale needs the capacity of the cell").Fix("give capacity, such as 6.5 t")
	}
	if it := n.Get("resolution"); it != nil && c.Resolution != nil && !(c.Resolution.Force > 0) {
		r.fault(it, fault.Range, "the step of a display is above zero").Fix("write the smallest change that it shows, as 10 kg")
	}
}

// checkChannel demands the channel of a cell that is not part of a stack,
// where it has no other purpose than to be read.
func checkChannel(r *reader, n *keyed.Node, _ *Cell) {
	if n.Get("channel") == nil {
		r.fault(n, fault.Missing, "the cell needs the key channel").Fix("channel: the name of the channel that its readings come on")
	}
}

// checkLeg brings what is said of the whole leg and of its stack together.
func checkLeg(r *reader, n *keyed.Node, l *Leg) {
	stack := n.Get("stack")
	if n.Get("length") == nil {
		if stack == nil || len(stack.Items) == 0 {
			r.fault(n, fault.Missing, "the leg has no length").Fix("give length, unloaded and bearing to bearing, or a stack")
			return
		}
		for i, it := range stack.Items {
			known := len(l.Stack) == len(stack.Items) && l.Stack[i].Length != nil
			if it.Kind == keyed.Table && it.Get("length") == nil && !known {
				r.noLength(it)
			}
		}
	}
	if stack != nil && n.Get("cell") != nil {
		r.fault(n.Get("cell"), fault.Disagree, "the leg has a stack, and a cell beside it").Fix("put the cell into the stack, where it sits")
	}
	if !r.clean(n) {
		return
	}
	if n.Get("choke_angle") != nil && l.Hitch != Choker {
		r.fault(n.Get("choke_angle"), fault.Disagree, "the leg has an angle of choke, and its hitch is %s", l.Hitch).Fix("write hitch: choker, or leave the angle out")
	}
	if len(l.Stack) > 0 {
		l.settleStack(r, n)
	}
	if l.Catenary && l.Mass.Value == 0 {
		r.fault(n.Get("hangs"), fault.Missing, "a leg without mass does not sag").Fix("give the mass of the leg, or of its stack entries")
	}
}

// settleStack takes length, mass and stiffness of the leg from its stack.
// Where every entry states one, the leg's own figure must agree with theirs.
// Where only some do, the leg's own counts, and must leave room for theirs: a
// leg is not shorter, lighter or stiffer than a part of it. Figures of the
// catalogue are looser than that: beside the leg's own they have no say.
func (l *Leg) settleStack(r *reader, n *keyed.Node) {
	all := len(l.Stack)
	whole := n.Get("length")
	length, stated := stackTotal(l.Stack, func(p Part) *quantity.Measured[quantity.Length] {
		return unless(whole != nil && p.generic.length, p.Length)
	})
	if whole == nil || settle(r, whole, l.Length, length, stated == all, millimetre, written(length)) {
		l.Length = length
	}
	whole = n.Get("mass")
	mass, stated := stackTotal(l.Stack, func(p Part) *quantity.Measured[quantity.Mass] {
		return unless(whole != nil && p.generic.mass, p.Mass)
	})
	if whole == nil || settle(r, whole, l.Mass, mass, stated == all, rounding(l.Mass), written(mass)) {
		l.Mass = mass
	}
	// In a row compliances add up: 1/k = 1/k1 + 1/k2 + ...
	whole = n.Get("stiffness")
	compliance, stated := stackTotal(l.Stack, func(p Part) *quantity.Measured[quantity.Stiffness] {
		return inverse(unless(whole != nil && p.generic.stiffness, p.Stiffness))
	})
	series := inverse(&compliance)
	switch {
	case series == nil:
	case whole == nil:
		l.Stiffness = series
	default:
		own := *inverse(l.Stiffness)
		if settle(r, whole, own, compliance, stated == all, rounding(own), written(*series)) {
			l.Stiffness = series
		}
	}
}

// unless gives nothing where left is set.
func unless[Q quantity.Quantity](left bool, m *quantity.Measured[Q]) *quantity.Measured[Q] {
	if left {
		return nil
	}
	return m
}

// written shows a total and what it is made of.
func written[Q quantity.Quantity](m quantity.Measured[Q]) string {
	if !strings.Contains(m.Text, " + ") {
		return m.Text
	}
	return m.Format(quantity.For[Q](unitsOf(m.Text))) + " (" + m.Text + ")"
}

// settle compares the figure of a whole leg with the total of its stack,
// shown for messages, and says whether the total takes its place.
func settle[Q quantity.Quantity](r *reader, n *keyed.Node, whole, parts quantity.Measured[Q], complete bool, least float64, shown string) bool {
	ok := agree(whole, parts, least)
	switch {
	case complete && !ok:
		r.fault(n, fault.Disagree, "the leg has %s, and its stack comes to %s", whole.Text, shown).
			Fix("correct the one that is wrong, or leave the leg's own %s out", n.Name)
	case !complete && !ok && whole.Value < parts.Value:
		r.fault(n, fault.Disagree, "the leg has %s, and a part of its stack alone comes to %s", whole.Text, shown).
			Fix("correct the one that is wrong")
	}
	return complete
}

// stackTotal adds up what the entries of a stack state, and counts those that do.
// Normal spreads are independent and add in quadrature; hard limits add as
// they are, since nothing is known inside them. With both the result is called
// normal: its half-width is the sum of the two, on the wide side.
func stackTotal[Q quantity.Quantity](stack []Part, of func(Part) *quantity.Measured[Q]) (sum quantity.Measured[Q], stated int) {
	var value, hard, squares float64
	var texts []string
	for _, p := range stack {
		m := of(p)
		if m == nil {
			continue
		}
		stated++
		value += float64(m.Value)
		texts = append(texts, m.Text)
		switch half := halfWidth(*m); m.Shape {
		case quantity.Normal:
			squares += half * half
			sum.Shape = quantity.Normal
		case quantity.Uniform:
			hard += half
			if sum.Shape == quantity.Exact {
				sum.Shape = quantity.Uniform
			}
		}
	}
	half := hard + math.Sqrt(squares)
	sum.Value, sum.Low, sum.High = Q(value), Q(value-half), Q(value+half)
	sum.Text = strings.Join(texts, " + ")
	return sum, stated
}

// inverse turns a stiffness into a compliance and back; nothing stays nothing,
// and so does a compliance of zero, a leg that does not stretch.
func inverse(k *quantity.Measured[quantity.Stiffness]) *quantity.Measured[quantity.Stiffness] {
	if k == nil || k.Value == 0 {
		return nil
	}
	c := *k
	c.Value, c.Low, c.High = 1/k.Value, 1/k.High, 1/k.Low
	return &c
}
