package rulebook

import (
	"fmt"
	"slices"
	"strings"

	"plumbhook/gear"
	"plumbhook/lift"
	"plumbhook/quantity"
)

// conditions judges what a piece is like and what it gets to feel, whatever
// hangs on it.
func (k *check) conditions() {
	for i := range k.Lift.Legs {
		for _, p := range k.pieces(i) {
			k.tag(&p)
			k.temperature(&p)
			k.exposure(&p)
			k.lengths(&p)
		}
		k.edges(i)
	}
}

func (k *check) tag(p *piece) {
	r := k.rule("tag")
	if r == nil {
		return
	}
	tag := k.Lift.Legs[p.leg].Tag
	if p.part != nil && p.part.Tag != "" {
		tag = p.part.Tag
	}
	switch tag {
	case lift.NoTag:
		k.say(r, Stop, p.where, "%s has no tag: nobody can know what it may carry, take it out of use", p.name(k.Lift))
	case lift.Illegible:
		k.say(r, Stop, p.where, "the tag of %s cannot be read: nobody can know what it may carry, take it out of use", p.name(k.Lift))
	case lift.Legible:
		k.say(r, None, p.where, "the tag of %s can be read", p.name(k.Lift))
	default:
		k.open(r, p.where, "whether its tag can be read: write tag: legible once somebody has looked, else illegible or missing")
	}
}

// material gives what a piece is made of, as the rules on temperature and
// exposure know it; empty where that is not known.
func (p *piece) material() string {
	if p.gear == nil {
		return ""
	}
	return p.gear.Material
}

const noMaterial = "what it is made of: write the leg as a stack, each entry with its kind (and material, rope or grade)"

func (k *check) temperature(p *piece) {
	r := k.rule("temperature")
	if r == nil {
		return
	}
	t := k.Lift.Site.Temperature
	if own := k.Lift.Legs[p.leg].Temperature; own != nil {
		t = own
	}
	if p.part != nil && p.part.Temperature != nil {
		t = p.part.Temperature
	}
	m := p.material()
	limits := gear.Temperatures(k.book, m)
	switch {
	case t == nil:
		k.open(r, p.where, "how hot or cold it gets: write site.temperature, or temperature of the leg")
		return
	case m == "":
		k.open(r, p.where, noMaterial)
		return
	case len(limits) == 0:
		k.open(r, p.where, "no limit of temperature was read for %s under this code: ask its maker", m)
		return
	}
	var worst *gear.TemperatureRule
	for i := range limits {
		if limits[i].Broken(t.Low, t.High) && (worst == nil || left(limits[i]) < left(*worst)) {
			worst = &limits[i]
		}
	}
	if worst == nil {
		k.say(r, None, p.where, "%s stays within its limits of temperature at %s", m, t.Text)
		return
	}
	side, at := "above", t.High
	if !worst.Above {
		side, at = "below", t.Low
	}
	text := fmt.Sprintf("%s at %s is %s %s: %s", m, t.Text, side, worst.Text, worst.Effect)
	add := func(sev Severity) {
		f := New(sev, r.Name, worst.Cite(), p.where, "%s", text)
		f.Standing = standing(worst.Standing)
		k.add(*f.Against(float64(at), float64(worst.Limit), "K"))
	}
	switch share := worst.Share; {
	case share == nil:
		add(Caution)
	case *share == 0:
		add(Stop)
	default:
		k.cut(p.where, cut{rule: r, source: worst.Cite(), share: *share, within: Caution, why: text})
	}
}

// left orders limits of temperature: what leaves least comes first, and a
// maker's word that nobody has is worse than a figure.
func left(t gear.TemperatureRule) float64 {
	if t.Share == nil {
		return 0.01
	}
	return *t.Share
}

func standing(s gear.Standing) Standing {
	if s.Read() {
		return Read
	}
	return FromMemory
}

// exposure keeps slings from what harms their material.
func (k *check) exposure(p *piece) {
	r := k.rule("exposure")
	if r == nil {
		return
	}
	m, felt := p.material(), k.Lift.Site.Exposure
	switch {
	case len(felt) == 0:
		k.open(r, p.where, "what it is exposed to: write site.exposure: dry, or wet, acids, caustics, phenolics")
		return
	case slices.Equal(felt, []lift.Exposure{lift.Dry}):
		k.say(r, None, p.where, "nothing harms it: the site is stated dry")
		return
	case m == "":
		k.open(r, p.where, noMaterial)
		return
	}
	harms := gear.Chemicals(k.book, m)
	for _, e := range felt {
		if e == lift.Wet {
			k.wet(p, m)
			continue
		}
		i := slices.IndexFunc(harms, func(h gear.ChemicalRule) bool { return h.Substance == string(e) })
		switch {
		case i >= 0:
			f := New(Stop, r.Name, harms[i].Cite(), p.where, "%s is destroyed by %s: take another material", m, e)
			f.Standing = standing(harms[i].Standing)
			k.add(f)
		case len(harms) > 0:
			k.open(r, p.where, "the code keeps %s from other things and says nothing about %s: ask its maker", m, e)
		default:
			k.open(r, p.where, "what %s do to %s: no rule was read, ask its maker", e, m)
		}
	}
}

// wet is about fibre rope that may freeze.
func (k *check) wet(p *piece, m string) {
	r := k.rule("wet-frozen")
	if r == nil || !strings.HasSuffix(m, gear.MaterialFibreRope) {
		return
	}
	const freezing quantity.Temperature = 273.15
	switch t := k.Lift.Site.Temperature; {
	case t == nil:
		k.open(r, p.where, "whether wet rope may freeze: write site.temperature")
	case t.Low < freezing+quantity.Temperature(r.Value):
		k.say(r, Caution, p.where, "wet %s may freeze at %s, and its range of temperature does not hold for frozen rope", m, t.Text)
	default:
		k.say(r, None, p.where, "wet %s does not freeze at %s", m, t.Text)
	}
}

// edges wants protection wherever a leg runs round the load.
func (k *check) edges(i int) {
	l := &k.Lift.Legs[i]
	r := k.rule("edges")
	if r == nil {
		return
	}
	switch where := "legs." + l.Name; {
	case l.Edges == lift.SharpEdges:
		k.say(r, Stop, where, "leg %s bears on sharp edges with nothing between: an edge under load cuts a sling, put protection in place", l.Name)
	case l.Edges != "":
		k.say(r, None, where, "edges under leg %s: %s", l.Name, l.Edges)
	case l.Hitch != lift.Straight || len(l.Via) > 0:
		k.open(r, where, "what it bears on round the load: write edges: none, protected or sharp")
	}
}

// lengths judges slings that are too short for their rope to share a load
// among its strands. Bearing to bearing is longer than the clear length of the
// rule, so that only what fails for certain is found.
func (k *check) lengths(p *piece) {
	if p.gear == nil || p.part.Length == nil || p.gear.Body == nil {
		return
	}
	r, round := k.rule("rope-length"), 1.0
	switch p.gear.Kind {
	case "wire rope sling", "fibre rope sling":
	case "wire rope grommet":
		r, round = k.rule("grommet-length"), 2
	default:
		return
	}
	if r == nil {
		return
	}
	have := round * float64(p.part.Length.Low) / float64(p.gear.Body.High)
	if have >= r.Value {
		k.say(r, None, p.where, "the %s is %.0f diameters long", p.gear.Kind, have).Against(have, r.Value, "")
	} else {
		k.say(r, Stop, p.where, "the %s is %.1f of its diameters long, and %g is the least: its strands cannot share the load", p.gear.Kind, have, r.Value).
			Against(have, r.Value, "")
	}
	if f := k.rule("fibre-eye"); f != nil && p.gear.Kind == "fibre rope sling" {
		k.open(f, p.where, "the included angle at its eye, at most %g°, is not in a lift file: look at it on the hook or shackle", f.Value)
	}
}
