package rulebook

import (
	"cmp"
	"math"
	"slices"
	"strings"

	"plumbhook/gear"
	"plumbhook/lift"
	"plumbhook/quantity"
)

// bridle is legs of one kind of hitch between one hook, ring or link and one
// body.
type bridle struct {
	carrier, body string
	hitch         lift.Hitch
	legs          []int
	names         []string
	upper         []vec   // force of each leg on what it hangs from, N
	totalN        float64 // they carry together, straight down, P95
	flattest      float64 // rad from horizontal
	rating        *float64
	where         string
}

// bridles judges the angles of legs, and sets of legs by what their code counts.
func (k *check) bridles() {
	for i := range k.Lift.Legs {
		k.leastAngle(i)
		k.basketMode(i)
	}
	for _, b := range k.sets() {
		k.included(&b)
		k.counted(&b)
		k.mode(&b)
		k.assembly(&b)
	}
}

// sets groups the legs into bridles; a single leg is a set as well.
func (k *check) sets() []bridle {
	var all []bridle
	for i := range k.Lift.Legs {
		l, h := &k.Lift.Legs[i], &k.Hung.Legs[i]
		up, low := k.ends(i)
		if up.ref.Point != "" || low.ref.Point == "" || len(l.Via) > 0 {
			continue // hangs from a body, ends on a node, or is no leg of a bridle
		}
		n := slices.IndexFunc(all, func(b bridle) bool {
			return b.carrier == up.ref.Body && b.body == low.ref.Body && b.hitch == l.Hitch
		})
		if n < 0 {
			n = len(all)
			all = append(all, bridle{carrier: up.ref.Body, body: low.ref.Body, hitch: l.Hitch, flattest: math.Pi / 2, where: "legs." + l.Name})
		}
		b := &all[n]
		b.legs, b.upper = append(b.legs, i), append(b.upper, h.Upper)
		b.flattest = math.Min(b.flattest, h.FromHorizontal)
		b.totalN += math.Max(0, -h.Upper[2]) * k.swell(up.ref.Body)
		if b.names = append(b.names, l.Name); len(b.legs) > 1 {
			b.where = k.carrierPlace(b.carrier)
		}
	}
	for n := range all {
		b := &all[n]
		b.rating = k.Hung.Legs[b.legs[0]].WLLN
		for _, i := range b.legs[1:] {
			if w := k.Hung.Legs[i].WLLN; w == nil || b.rating != nil && *w < *b.rating {
				b.rating = w
			}
			if b.rating == nil {
				break
			}
		}
	}
	return all
}

// carrierPlace is the place of a hook or node.
func (k *check) carrierPlace(name string) string {
	if _, ok := k.P95["nodes."+name]; ok {
		return "nodes." + name
	}
	return "hooks." + name
}

// swell is by how much the P95 load of a hook or node exceeds its planned one.
func (k *check) swell(carrier string) float64 {
	planned, p95 := 0.0, k.P95[k.carrierPlace(carrier)]
	for i := range k.Hung.Hooks {
		if k.Hung.Hooks[i].Name == carrier {
			planned = k.Hung.Hooks[i].LoadN
		}
	}
	for i := range k.Hung.Nodes {
		if k.Hung.Nodes[i].Name == carrier {
			planned = k.Hung.Nodes[i].LoadN
		}
	}
	if planned <= 0 || p95 <= 0 {
		return 1
	}
	return p95 / planned
}

func (k *check) leastAngle(i int) {
	r, h := k.rule("least-angle"), &k.Hung.Legs[i]
	if r == nil || h.Slack {
		return
	}
	limit, from, is := r.radians(), "horizontal", h.FromHorizontal
	flat := is < limit-1e-9
	if strings.HasSuffix(r.Unit, "vertical") {
		from, is = "vertical", h.FromVertical
		flat = is > limit+1e-9
	}
	if !flat {
		k.say(r, None, "legs."+h.Name, "leg %s leans %.1f° from the %s", h.Name, deg(is), from).Against(is, limit, "rad")
		return
	}
	k.say(r, Stop, "legs."+h.Name, "leg %s is too flat: %.1f° from the %s, where %g° is the limit; it pulls %.2f times what it lifts",
		h.Name, deg(is), from, r.Value, 1/math.Sin(math.Max(h.FromHorizontal, 0.01))).Against(is, limit, "rad")
}

// included tells of legs that stand far apart.
func (k *check) included(b *bridle) {
	r := k.rule("included-angle")
	if r == nil || len(b.legs) < 2 {
		return
	}
	most := 0.0
	for i, u := range b.upper {
		for _, v := range b.upper[i+1:] {
			most = math.Max(most, between(u, v))
		}
	}
	if most > r.radians()+1e-9 {
		k.say(r, Note, b.where, "two legs stand %.0f° apart; %g° is the most that is recommended", deg(most), r.Value).Against(most, r.radians(), "rad")
		return
	}
	k.say(r, None, b.where, "no two legs stand more than %.0f° apart", deg(most)).Against(most, r.radians(), "rad")
}

// PerLeg is what a code that counts so many legs puts on each of them, N: the
// load over the count, along a leg this flat (rad from horizontal),
//
//	T = W / (n sin α)
//
// and thus what the bridle columns of chain tables are, the other way round.
func PerLeg(load float64, counted int, flattest float64) float64 {
	return load / (float64(counted) * math.Sin(flattest))
}

// counted rates three and more legs as the code counts them, at the flattest
// of their angles.
func (k *check) counted(b *bridle) {
	r := k.rule("three-of-four")
	if r == nil || len(b.legs) < 3 || b.flattest < 0.01 {
		return // that flat, nothing but the angle is worth a word
	}
	if b.rating == nil {
		k.open(r, b.where, "the rating of each leg: write wll off the tag")
		return
	}
	each := PerLeg(b.totalN*k.OnRatings, int(r.Value), b.flattest)
	k.within(r, Stop, b.where, each, *b.rating, "N",
		"legs %s count as %g: each would carry %v at the flattest, %.1f° from the horizontal; the weakest is rated for %v. On a stiff load not all legs carry alike",
		list(b.names), r.Value, Newtons(each), deg(b.flattest), Newtons(*b.rating))
	if n := k.rule("two-of-four"); n != nil {
		each = PerLeg(b.totalN*k.OnRatings, int(n.Value), b.flattest)
		k.within(n, Note, b.where, each, *b.rating, "N",
			"a handbook counts legs %s as %g, as two may carry nearly everything while the others balance: that would be %v on a leg rated for %v",
			list(b.names), n.Value, Newtons(each), Newtons(*b.rating))
	}
}

// mode holds a symmetric bridle against the mode factor of EN, and says so
// where the factor may not be used.
func (k *check) mode(b *bridle) {
	r := k.rule("en-mode")
	n := len(b.legs)
	if r == nil || n < 2 || n > 4 {
		return
	}
	if why := k.uneven(b); why != "" {
		k.say(r, Note, b.where, "no mode factor for legs %s, it is for legs alike: %s. Each leg is held against its own rating instead", list(b.names), why)
		return
	}
	material, ok := k.oneMaterial(b.legs)
	if !ok {
		k.open(r, b.where, "the legs are of different materials, and a mode factor is for one")
		return
	}
	m, ok := modeFactor(material, n, string(b.hitch), math.Pi/2-b.flattest)
	switch {
	case !ok:
		k.open(r, b.where, "no mode factor for %d legs in %s hitch, %.0f° from the vertical", n, b.hitch, 90-deg(b.flattest))
	case b.rating == nil:
		k.open(r, b.where, "the rating of each leg: write wll off the tag")
	default:
		k.byFactor(r, b.where, "legs "+list(b.names), m, b.totalN, *b.rating, 90-deg(b.flattest))
	}
}

// byFactor holds a load against a mode factor times the rating of one leg.
func (k *check) byFactor(r *Rule, where, legs string, m gear.Share, loadN, rating, fromVertical float64) {
	load, limit := loadN*k.OnRatings, m.Share*rating
	over := Stop
	if load <= limit*(1+1e-9) {
		over = None
	}
	f := New(over, r.Name, m.Cite(), where, "%v hang on %s, up to %.0f° from the vertical; mode factor %.3g times the rating of one leg is %v", Newtons(load), legs, fromVertical, m.Share, Newtons(limit))
	f.Standing = standing(m.Standing)
	k.add(*f.Against(load, limit, "N"))
}

// oneMaterial gives the material of the slings of legs, empty where none is
// known, and false where they differ.
func (k *check) oneMaterial(legs []int) (string, bool) {
	found := ""
	for _, i := range legs {
		s := k.sling(i)
		if s == nil || s.material() == "" {
			continue
		}
		if found != "" && s.material() != found {
			return "", false
		}
		found = s.material()
	}
	return found, true
}

// modeFactor is gear.ModeFactor; where the material is not known it answers only
// if the standards of all materials say the same.
func modeFactor(material string, legs int, hitch string, fromVertical float64) (gear.Share, bool) {
	if material != "" {
		return gear.ModeFactor(material, legs, hitch, quantity.Angle(fromVertical))
	}
	var same gear.Share
	for i, m := range []string{gear.MaterialAlloyChain, gear.MaterialWireRope, "polyester" + gear.MaterialWeb, "polyester" + gear.MaterialRoundSling} {
		s, ok := gear.ModeFactor(m, legs, hitch, quantity.Angle(fromVertical))
		switch {
		case !ok || i > 0 && s.Share != same.Share:
			return gear.Share{}, false
		case i == 0:
			same = s
		default:
			same.Source += ", " + s.Source
		}
	}
	return same, true
}

// uneven says why legs are not alike, empty when they are: angles from the
// vertical and in plan within the tolerance of the rule, and tensions within
// that of ours.
func (k *check) uneven(b *bridle) string {
	tolerance, equal := k.rule("en-symmetry").radians(), k.rule("en-equal").Value
	low, high, mean := math.Inf(1), 0.0, 0.0
	var plan []float64
	for n, i := range b.legs {
		h := &k.Hung.Legs[i]
		low, high = math.Min(low, h.FromVertical), math.Max(high, h.FromVertical)
		mean += h.TensionN / float64(len(b.legs))
		plan = append(plan, math.Atan2(b.upper[n][1], b.upper[n][0]))
	}
	if high-low > tolerance+1e-9 {
		return "their angles from the vertical differ by more than 15°"
	}
	for _, i := range b.legs {
		if h := &k.Hung.Legs[i]; math.Abs(h.TensionN-mean) > equal*mean {
			return "leg " + h.Name + " is planned more than 10 % off the mean tension"
		}
	}
	if high > k.rule("near-vertical").radians() && !evenPlan(plan, tolerance) {
		return "they do not stand evenly in plan"
	}
	return ""
}

// evenPlan tells whether legs stand evenly seen from above: two opposite each
// other, three at equal angles, four with opposite gaps equal.
func evenPlan(azimuth []float64, tolerance float64) bool {
	slices.Sort(azimuth)
	var gaps []float64
	for i, a := range azimuth {
		next := azimuth[0] + 2*math.Pi
		if i+1 < len(azimuth) {
			next = azimuth[i+1]
		}
		gaps = append(gaps, next-a)
	}
	near := func(a, b float64) bool { return math.Abs(a-b) <= tolerance+1e-9 }
	if len(gaps) == 4 {
		return near(gaps[0], gaps[2]) && near(gaps[1], gaps[3])
	}
	return near(slices.Min(gaps), slices.Max(gaps))
}

// basketMode holds a basket against the mode factor of EN.
func (k *check) basketMode(i int) {
	l, h := &k.Lift.Legs[i], &k.Hung.Legs[i]
	r := k.rule("en-mode")
	if r == nil || l.Hitch != lift.Basket || h.TensionN <= 0 {
		return
	}
	where := "legs." + l.Name
	first, last := vec(h.Upper), vec(h.Lower)
	a, b := math.Atan2(first.level(), -first[2]), math.Atan2(last.level(), -last[2])
	if first[2] >= 0 || last[2] >= 0 || math.Abs(a-b) > k.rule("en-symmetry").radians() {
		k.say(r, Note, where, "the mode factor is for a basket with both sides alike; each side is held against the straight rating instead")
		return
	}
	material, _ := k.oneMaterial([]int{i})
	m, ok := modeFactor(material, 1, "basket", math.Max(a, b))
	switch {
	case !ok:
		k.open(r, where, "no mode factor was read for a basket of %s", cmp.Or(material, "a leg without a stack"))
	case h.WLLN == nil:
		k.open(r, where, "the straight rating: write wll off the tag")
	default:
		k.byFactor(r, where, "basket "+l.Name, m, -(first[2]+last[2])*k.P95[where]/h.TensionN, *h.WLLN, deg(math.Max(a, b)))
	}
}

// assembly holds a bridle against the tag of the whole.
func (k *check) assembly(b *bridle) {
	r := k.rule("assembly-tag")
	var tag *lift.AssemblyWLL
	for _, i := range b.legs {
		t := k.Lift.Legs[i].AssemblyWLL
		switch {
		case t == nil:
		case tag == nil:
			tag = t
		case t.WLL.Force != tag.WLL.Force || t.Legs != tag.Legs || t.Angle.Value != tag.Angle.Value || t.From != tag.From:
			k.open(r, b.where, "the legs have tags of different assemblies: write wll of each leg")
			return
		}
	}
	if tag == nil {
		return
	}
	// The tag's angle as one from the horizontal; the steeper end of what is written.
	least := float64(tag.Angle.High)
	switch tag.From {
	case "vertical":
		least = math.Pi/2 - float64(tag.Angle.Low)
	case "included":
		least = math.Pi/2 - float64(tag.Angle.Low)/2
	}
	if len(b.legs) != tag.Legs {
		k.open(r, b.where, "the tag speaks of %d legs, and %d are used: what it leaves for them is not on it, write wll of each leg", tag.Legs, len(b.legs))
		return
	}
	if b.flattest < least-1e-9 {
		k.say(r, Stop, b.where, "of legs %s one stands %.1f° from the horizontal, and the tag of the assembly speaks for %.1f° and steeper", list(b.names), deg(b.flattest), deg(least)).
			Against(b.flattest, least, "rad")
		return
	}
	load := b.totalN * k.OnRatings
	k.within(r, Stop, b.where, load, float64(tag.WLL.Force), "N", "%v hang on the assembly of %s; its tag says %v for %d legs at %.1f° from the horizontal and steeper",
		Newtons(load), list(b.names), Newtons(tag.WLL.Force), tag.Legs, deg(least))
}
