package size

import (
	"cmp"
	"fmt"
	"maps"
	"slices"
	"strings"

	"plumbhook/fault"
	"plumbhook/gear"
	"plumbhook/lift"
	"plumbhook/quantity"
	"plumbhook/spread"
)

// Margin is what a choice is held to.
type Margin struct {
	Dynamic    float64         // what forces are multiplied by before they are held against ratings; 0 and 1: nothing
	Share      float64         // added to P95: 0.25 for a quarter more
	LeastAngle *quantity.Angle // flattest angle from horizontal of the legs whose length is open; nil: any
}

func (m Margin) dynamic() float64 { return cmp.Or(m.Dynamic, 1) }

// demand is what something must be rated for.
func (m Margin) demand(p95 float64, worst *float64) float64 {
	n := p95 * (1 + m.Share)
	if worst != nil {
		n = max(n, *worst)
	}
	return n * m.dynamic()
}

// Place is somewhere in the rigging where a piece has to bear a force.
type Place struct {
	Where   string   // legs.west, hooks.main, nodes.ring, spreaders.bar, load.west
	Step    string   // the state that asks most; empty: as first rigged
	P95N    float64  // static
	WorstN  *float64 // the worst share of four and more legs, static
	SlipN   *float64 // of a rope about to slip, static
	DemandN float64  // what a piece there must be rated for
	RatedN  *float64 // what the file says of it: the weakest rated piece
	Why     Reason   // of the demand
	leg     int      // index; -1 when none
}

// Borne is what a lift asks of its gear, over all its states.
type Borne struct {
	Places []Place
	Cells  []CellPlace
	lift   *lift.Lift
	margin Margin
}

// Bear hangs a lift through all its states and gathers what every place and
// every load cell has to bear.
func Bear(l *lift.Lift, m Margin) (*Borne, error) {
	rig, err := lift.NewRig(l)
	if err != nil {
		return nil, err
	}
	b := &Borne{lift: l, margin: m}
	cells := b.cells()
	err = rig.Walk(func(h *lift.Hung) error {
		s, err := spread.Run(rig, cells, spread.DrawsOf(len(l.Steps), h.Step))
		if err != nil {
			return err
		}
		b.places(rig, h, &s)
		return b.read(rig, h, &s)
	})
	if err != nil {
		return nil, err
	}
	return b, nil
}

// places holds the forces of one state against those of the states before.
func (b *Borne) places(rig *lift.Rig, h *lift.Hung, s *spread.Result) {
	first := b.Places == nil
	for k, d := range rig.Demands() {
		p := Place{Where: d.Where(), Step: h.Step, P95N: s.Demands[k].P95, leg: -1, RatedN: rated(b.lift, d)}
		if d.Kind == lift.OnLeg {
			leg := &h.Legs[k]
			p.leg, p.WorstN, p.RatedN = k, leg.WorstN, leg.WLLN
			if most := leg.SlipMost(p.P95N); most > 0 {
				p.SlipN = &most
			}
		}
		b.margin.judge(&p)
		if first {
			b.Places = append(b.Places, p)
		} else if p.DemandN > b.Places[k].DemandN {
			b.Places[k] = p
		}
	}
}

// rated is the rating in the file of what is not a leg.
func rated(l *lift.Lift, d lift.Demand) *float64 {
	var r *quantity.Rating
	switch d.Kind {
	case lift.OnLeg:
	case lift.OnHook:
		r = l.Hooks[slices.IndexFunc(l.Hooks, func(h lift.Hook) bool { return h.Name == d.Name })].WLL
	case lift.OnNode:
		r = l.Nodes[slices.IndexFunc(l.Nodes, func(n lift.Node) bool { return n.Name == d.Name })].WLL
	case lift.OnSpreader:
		r = l.Spreaders[slices.IndexFunc(l.Spreaders, func(s lift.Spreader) bool { return s.Name == d.Name })].WLL
	case lift.OnPoint:
		body, point, _ := strings.Cut(d.Name, ".")
		lugs := l.Load.Lugs
		for i := range l.Spreaders {
			if l.Spreaders[i].Name == body {
				lugs = l.Spreaders[i].Points
			}
		}
		r = lugs[slices.IndexFunc(lugs, func(g lift.Lug) bool { return g.Name == point })].WLL
	}
	if r == nil {
		return nil
	}
	n := float64(r.Force)
	return &n
}

// judge finds what a piece at the place must be rated for, and why.
func (m Margin) judge(p *Place) {
	factor := ""
	if d := m.dynamic(); d != 1 {
		factor = fmt.Sprintf(" × dynamic factor %.4g", d)
	}
	p.DemandN = p.P95N * m.dynamic() * (1 + m.Share)
	margin := ""
	if m.Share > 0 {
		margin = fmt.Sprintf(" × %.4g for the margin", 1+m.Share)
	}
	p.Why = because("P95 %s%s%s", quantity.Force(p.P95N), factor, margin)
	if p.WorstN != nil && *p.WorstN*m.dynamic() > p.DemandN {
		p.DemandN = *p.WorstN * m.dynamic()
		p.Why = because("%s%s, the worst share when lengths are off and other legs go slack", quantity.Force(*p.WorstN), factor)
	}
	if p.SlipN != nil && *p.SlipN*m.dynamic() > p.DemandN {
		p.DemandN = *p.SlipN * m.dynamic()
		p.Why = because("%s%s in the rope about to slip", quantity.Force(*p.SlipN), factor)
	}
}

// Candidate is a piece that could be taken: a size of the catalogue, an item of
// the store, or what someone has on the truck.
type Candidate struct {
	Name   string
	Kind   string // of the gear catalogue
	Size   string // nominal, as its table or tag writes it; may be empty
	Serial string
	WLL    *gear.Rated // straight
	Choker *gear.Rated // in a choker hitch
	Cell   *gear.Cell
	Unfit  string // what stands against using it, whatever its rating: out of date, quarantined; empty: nothing known

	material string
}

// Of makes a candidate of a piece.
func Of(p gear.Piece) Candidate {
	words := []string{p.Kind}
	for _, key := range []string{"class", "grade", "rope", "splice", "material", "ply", "width", "size", "diameter", "capacity"} {
		if v := p.Facts[key]; v != "" {
			switch key {
			case "class", "grade":
				v = key + " " + strings.TrimPrefix(v, key+" ")
			}
			words = append(words, v)
		}
	}
	name := strings.Join(words, ", ")
	if p.Serial != "" {
		name = p.Serial + " (" + name + ")"
	}
	return Candidate{Name: name, Kind: p.Kind, Size: cmp.Or(p.Facts["diameter"], p.Facts["size"]), Serial: p.Serial, WLL: p.WLL, Choker: p.Choker, Cell: p.Cell, material: p.Material}
}

// ofOne are facts about one piece rather than about a class of pieces.
var ofOne = []string{"serial", "wll", "choker_wll", "basket_wll", "size", "diameter", "length", "mass", "stiffness", "pin", "jaw", "inside", "hole", "thickness", "width"}

// Catalogue gives a candidate for every size of a kind that the catalogue
// rates, given what else is said of it: class, grade, rope, splice, table. A
// size that several tables rate differently counts by the lowest of them, and
// its source lists them all.
func Catalogue(kind string, facts gear.Facts) []Candidate {
	said := general(facts)
	rows := gear.Catalogue(kind)
	var all []Candidate
	seen := map[string]bool{}
	for _, row := range rows {
		size := row["size"]
		if seen[size] {
			continue
		}
		seen[size] = true
		said["size"] = size
		p, err := gear.Look(kind, said, fault.Pos{})
		if slices.ContainsFunc(fault.Of(err), func(f *fault.Fault) bool { return f.Code == fault.Ambiguous }) {
			p, err = lowest(kind, said, rows)
		}
		if err == nil && p.WLL != nil { // an error: the facts leave no row of this size
			all = append(all, Of(p))
		}
	}
	return all
}

// lowest is the piece by the lowest of the tables that rate it.
func lowest(kind string, said gear.Facts, rows []gear.Facts) (gear.Piece, error) {
	var least gear.Piece
	var err error
	var every []string
	for _, row := range rows {
		if row["size"] != said["size"] {
			continue
		}
		f := maps.Clone(row)
		maps.Copy(f, said)
		p, bad := gear.Look(kind, f, fault.Pos{})
		if bad != nil || p.WLL == nil {
			err = bad
			continue
		}
		if text := p.WLL.Text + " by " + p.WLL.Source; !slices.Contains(every, text) {
			every = append(every, text)
		}
		if least.WLL == nil || p.WLL.Force < least.WLL.Force {
			least = p
		}
	}
	if least.WLL == nil {
		return least, err
	}
	w := *least.WLL
	w.Source = "the lowest of " + strings.Join(every, "; ")
	least.WLL, least.Facts = &w, said
	return least, nil
}

// general are the facts about a class of pieces, without those about one.
func general(facts gear.Facts) gear.Facts {
	all := gear.Facts{}
	for k, v := range facts {
		if !slices.Contains(ofOne, k) {
			all[k] = v
		}
	}
	return all
}

// Choice is the smallest candidate that holds.
type Choice struct {
	Kind     string
	Facts    gear.Facts // what any piece there must be; nil: nothing but the kind is known
	At       []string   // the places it is for, as in the file: legs.west.stack[1]
	Place    Place      // of them, the one that asks most
	Pick     *Candidate // nil: none holds
	PickN    float64    // what it may carry there
	Next     *Candidate // the next size up that holds
	Rejected []Rejection
}

// Rejection says why a candidate was passed over.
type Rejection struct {
	Candidate
	LimitN *float64 // what it may carry there; nil: not known
	Why    Reason
}

// Choose picks among the candidates that suit, smallest first. Those that hold
// and are larger than need be are not told of, the next size up apart.
func (b *Borne) Choose(c Choice, all []Candidate) Choice {
	var tried []Rejection
	for _, k := range all {
		if c.suits(k) {
			limit, why := b.limit(&c.Place, &k)
			tried = append(tried, Rejection{k, limit, why})
		}
	}
	carries := func(r Rejection) float64 {
		if r.LimitN == nil {
			return 0
		}
		return *r.LimitN
	}
	slices.SortStableFunc(tried, func(x, y Rejection) int {
		return cmp.Or(cmp.Compare(carries(x), carries(y)), cmp.Compare(x.Name, y.Name))
	})
	for i := range tried {
		r := &tried[i]
		switch {
		case r.LimitN == nil:
		case *r.LimitN < c.Place.DemandN:
			r.Why = because("rated for %s, and %s is asked for", quantity.Force(*r.LimitN), quantity.Force(c.Place.DemandN))
		case r.Unfit != "":
			r.Why = because("it would hold, but %s", r.Unfit)
		case c.Pick == nil:
			c.Pick, c.PickN = &r.Candidate, *r.LimitN
			continue
		default:
			if c.Next == nil && *r.LimitN > c.PickN {
				c.Next = &r.Candidate
			}
			continue
		}
		if c.Pick == nil {
			c.Rejected = append(c.Rejected, *r)
		}
	}
	return c
}

// limit is what a candidate may carry at a place: its straight rating, and for
// a sling in a choker hitch what is left of its choker rating.
func (b *Borne) limit(p *Place, c *Candidate) (*float64, Reason) {
	r := c.WLL
	share := 1.0
	if p.leg >= 0 && isSling(c.Kind) && b.lift.Legs[p.leg].Hitch == lift.Choker {
		angle := b.lift.Legs[p.leg].ChokeAngle
		r = c.Choker
		if r == nil {
			return nil, because("no rating in a choker hitch is known of it, and the straight one does not hold there")
		}
		if angle != nil {
			s, ok := gear.ChokeAngle(c.material, angle.Value)
			if !ok {
				return nil, because("what the angle of choke leaves of its rating is not known")
			}
			share = s.Share
		}
	}
	if r == nil {
		return nil, because("no rating is known of it; the tag has it")
	}
	n := share * float64(r.Force)
	return &n, Reason{}
}

// isSling tells slings from fittings by the words of the catalogue.
func isSling(kind string) bool {
	return strings.HasSuffix(kind, " sling") || strings.HasSuffix(kind, "grommet")
}

// Choices groups the stack entries of the file by what they are and the tier
// they hang in, and the legs without a stack, of which the file does not say
// what they are. Load cells are Borne.Cells.
func (b *Borne) Choices() []Choice {
	var all []Choice
	var tiers []string
	add := func(tier, kind string, facts gear.Facts, at string, p Place) {
		i := 0
		for ; i < len(all); i++ {
			if tiers[i] == tier && all[i].Kind == kind && maps.Equal(all[i].Facts, facts) {
				break
			}
		}
		if i == len(all) {
			all, tiers = append(all, Choice{Kind: kind, Facts: facts, Place: p}), append(tiers, tier)
		}
		c := &all[i]
		c.At = append(c.At, at)
		if p.DemandN > c.Place.DemandN {
			c.Place = p
		}
	}
	for _, p := range b.Places {
		if p.leg < 0 {
			continue
		}
		leg := &b.lift.Legs[p.leg]
		tier := leg.From.Body + "\x00" + leg.To.Body
		if len(leg.Stack) == 0 {
			add(tier, Sling, nil, p.Where, p)
		}
		for k := range leg.Stack {
			if e := &leg.Stack[k]; e.Cell == nil {
				kind := e.Kind
				if e.Piece != nil {
					kind = e.Piece.Kind
				}
				add(tier, kind, general(e.Facts), fmt.Sprintf("%s.stack[%d]", p.Where, k+1), p)
			}
		}
	}
	return all
}

// Sling stands for the kind of a leg without a stack: any sling.
const Sling = "sling"

// suits tells whether a candidate is of the kind that a choice is about.
func (c *Choice) suits(k Candidate) bool {
	return k.Kind == c.Kind || c.Kind == Sling && isSling(k.Kind)
}
