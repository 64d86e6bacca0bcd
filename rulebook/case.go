package rulebook

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"plumbhook/crane"
	"plumbhook/fault"
	"plumbhook/gear"
	"plumbhook/lift"
)

// Case is a hung lift to check. Prepare fills in what holds for the whole
// file; Hung and P95 are those of one state of the lift.
type Case struct {
	Lift *lift.Lift
	Hung *lift.Hung
	P95  map[string]float64 // static force, N, by place: legs.west, hooks.main, nodes.ring, load.west, spreaders.bar

	Factor    *crane.Factor // dynamic factor; nil: none
	OnRatings float64       // what forces are multiplied by before they are held against ratings; 1: nothing

	tabled *crane.Factor // by class and speed, where the file states another one
	charts []*crane.Chart
	rules  []siteRule
}

// Prepare reads what the lift file brings along: dynamic factor, charts, the
// firm's rules, whose cases it runs. Its error is a fault.List.
func Prepare(l *lift.Lift) (Case, error) {
	c := Case{Lift: l, OnRatings: 1}
	var bad fault.List
	if d := l.Dynamic; d != nil {
		if d.Class != "" && d.HoistSpeed != nil {
			f, err := crane.Hoisting(d.Class, d.HoistSpeed.High)
			if err != nil {
				bad = append(bad, fault.Of(err)...)
			}
			c.Factor = &f
		}
		if d.Factor != 0 {
			c.tabled = c.Factor
			c.Factor = &crane.Factor{Value: d.Factor, How: "stated", Source: "lift file", Standing: crane.Stated}
		}
		if d.OnRatings && c.Factor != nil {
			c.OnRatings = c.Factor.Value
		}
	}
	for i := range l.Cranes {
		var chart *crane.Chart
		if data := l.Cranes[i].ChartData; data != nil {
			var err error
			if chart, err = crane.Parse(l.Cranes[i].Chart, data); err != nil {
				bad = append(bad, fault.Of(err)...)
			}
		}
		c.charts = append(c.charts, chart)
	}
	if l.Rules != nil {
		rules, faults := compile(l.Rules)
		c.rules = rules
		bad = append(bad, faults...)
	}
	return c, bad.Err()
}

// Check holds a case against a book: us, eu, or none, which leaves what holds
// whatever the code.
func Check(book string, c Case) Report {
	k := check{Case: c, book: book, cuts: map[string][]cut{}}
	k.Rating = map[string]float64{}
	for _, j := range judges {
		j.judge(&k)
	}
	k.fold()
	return k.Report
}

// check is a check under way.
type check struct {
	Case
	Report
	book string
	cuts map[string][]cut
}

// rule gives a rule of the book at hand, nil where the book has none.
func (k *check) rule(name string) *Rule {
	all := rows()
	i := slices.IndexFunc(all, func(r Rule) bool { return r.Name == name && (r.Book == k.book || r.Book == "any") })
	if i < 0 {
		return nil
	}
	return &all[i]
}

// say adds a finding, or, without a severity, that a rule holds. The pointer is
// good until the next finding.
func (k *check) say(r *Rule, sev Severity, where, format string, args ...any) *Finding {
	f := New(sev, r.Name, r.Source(), where, format, args...)
	f.Standing = r.Standing
	return k.add(f)
}

func (k *check) add(f Finding) *Finding {
	to := &k.Findings
	if f.Severity == None {
		to = &k.Held
	}
	*to = append(*to, f)
	return &(*to)[len(*to)-1]
}

// within holds a demand against its limit: over it the finding has the
// severity given. What is no number does not hold.
func (k *check) within(r *Rule, over Severity, where string, demand, limit float64, unit, format string, args ...any) {
	if demand <= limit*(1+1e-9) {
		over = None
	}
	k.say(r, over, where, format, args...).Against(demand, limit, unit)
}

func (k *check) open(r *Rule, where, format string, args ...any) {
	k.Report.Open = append(k.Report.Open, Open{Rule: r.Name, Where: where, Missing: fmt.Sprintf(format, args...)})
}

// demand is the P95 force on a place as it is held against ratings.
func (k *check) demand(where string) float64 { return k.P95[where] * k.OnRatings }

// piece is a stack entry, or a leg that has no stack.
type piece struct {
	where string
	leg   int
	part  *lift.Part  // nil for a leg without stack
	gear  *gear.Piece // nil where the catalogue does not know it
}

// name is what a sentence calls the piece.
func (p *piece) name(l *lift.Lift) string {
	if p.part == nil {
		return "leg " + l.Legs[p.leg].Name
	}
	return p.part.Name()
}

// pieces lists the pieces of a leg, top to bottom.
func (k *check) pieces(leg int) []piece {
	l := &k.Lift.Legs[leg]
	where := "legs." + l.Name
	if len(l.Stack) == 0 {
		return []piece{{where: where, leg: leg}}
	}
	var all []piece
	for i := range l.Stack {
		all = append(all, piece{fmt.Sprintf("%s.stack[%d]", where, i+1), leg, &l.Stack[i], l.Stack[i].Piece})
	}
	return all
}

// sling gives the piece of a leg that is rope, web or chain; the leg itself
// where it has no stack.
func (k *check) sling(leg int) *piece {
	for _, p := range k.pieces(leg) {
		if p.part == nil || p.gear != nil && isSling(p.gear.Kind) {
			return &p
		}
	}
	return nil
}

func isSling(kind string) bool {
	return strings.HasSuffix(kind, "sling") || kind == "wire rope grommet"
}

// rating is the straight rating of a piece, N, nil without one.
func (k *check) rating(p *piece) *float64 {
	leg := &k.Lift.Legs[p.leg]
	r := leg.WLL
	if p.part != nil {
		switch {
		case p.part.WLL != nil:
			r = p.part.WLL
		case p.part.Cell != nil && p.part.Cell.Capacity != nil:
			r = p.part.Cell.Capacity
		}
	}
	if r == nil {
		return nil
	}
	n := float64(r.Force)
	return &n
}

// end is where a leg takes hold of something.
type end struct {
	leg   int
	ref   lift.Ref
	force vec    // of the leg on what holds or hangs there
	piece *piece // nearest piece of the stack
}

// ends gives the upper and the lower end of a leg. The file may name the lower
// one first: the force at the upper end points along the leg, down it.
func (k *check) ends(leg int) (upper, lower end) {
	l, h := &k.Lift.Legs[leg], &k.Hung.Legs[leg]
	all := k.pieces(leg)
	first, last := &all[0], &all[len(all)-1]
	upper, lower = end{leg, l.From, h.Upper, first}, end{leg, l.To, h.Lower, last}
	way := vec(h.Path[len(h.Path)-1]).sub(h.Path[0])
	if len(l.Via) == 0 && way.dot(h.Upper) < 0 {
		upper.ref, lower.ref = l.To, l.From
	}
	return upper, lower
}

// lug finds the lug or spreader point of an end, nil for a hook or node, and
// the body it is on.
func (k *check) lug(ref lift.Ref) (*lift.Lug, *lift.HungBody) {
	lugs := k.Lift.Load.Lugs
	for i := range k.Lift.Spreaders {
		if k.Lift.Spreaders[i].Name == ref.Body {
			lugs = k.Lift.Spreaders[i].Points
		}
	}
	b := slices.IndexFunc(k.Hung.Bodies, func(b lift.HungBody) bool { return b.Name == ref.Body })
	i := slices.IndexFunc(lugs, func(l lift.Lug) bool { return l.Name == ref.Point })
	if b < 0 || i < 0 || ref.Point == "" {
		return nil, nil
	}
	return &lugs[i], &k.Hung.Bodies[b]
}

// vec is a vector in the world.
type vec [3]float64

func (a vec) dot(b vec) float64 { return a[0]*b[0] + a[1]*b[1] + a[2]*b[2] }
func (a vec) sub(b vec) vec     { return vec{a[0] - b[0], a[1] - b[1], a[2] - b[2]} }
func (a vec) norm() float64     { return math.Sqrt(a.dot(a)) }
func (a vec) level() float64    { return math.Hypot(a[0], a[1]) }
func turned(r [9]float64, a vec) vec {
	return vec{r[0]*a[0] + r[1]*a[1] + r[2]*a[2], r[3]*a[0] + r[4]*a[1] + r[5]*a[2], r[6]*a[0] + r[7]*a[1] + r[8]*a[2]}
}

// between is the angle of two vectors, rad; zero where one of them is nothing.
func between(a, b vec) float64 {
	n := a.norm() * b.norm()
	if n == 0 {
		return 0
	}
	return math.Acos(math.Max(-1, math.Min(1, a.dot(b)/n)))
}

// offAxis is the angle between a pull and an axis, whichever way the axis
// points.
func offAxis(pull, axis vec) float64 {
	a := between(pull, axis)
	return math.Min(a, math.Pi-a)
}

func deg(rad float64) float64 { return rad * 180 / math.Pi }
