package gear

import (
	"cmp"
	"fmt"
	"maps"
	"math"
	"slices"
	"strings"

	"plumbhook/fault"
	"plumbhook/quantity"
)

// Look turns what a lift file or a gear list says about a piece into the
// piece. What stands on the tag (wll, length, pin ...) goes before any table;
// what is missing and stands in no table stays unknown.
//
// The error is a fault.List with every mistake: an unknown kind, fact or word,
// a quantity without a unit, a size that no table has, or one that several
// tables rate differently. Pos is where the facts stand.
func Look(kind string, facts Facts, pos fault.Pos) (Piece, error) {
	k, bad := kindOf(kind)
	if bad != nil {
		return Piece{}, fault.List{bad.In("kind").At(pos)}.Err()
	}
	r := read(k, facts, pos)
	p := Piece{Kind: k.Name, Serial: r.texts["serial"], Facts: maps.Clone(facts), Pos: pos, Mass: r.mass, Stiffness: r.stiffness, Splice: r.texts["splice"]}
	if len(r.faults) == 0 {
		r.settle(&p)
	}
	return p, r.faults.Err()
}

// settle fills the piece from facts that are each well-formed.
func (r *reader) settle(p *Piece) {
	r.sameSize()
	r.tag(p)
	rows := r.generic(p)
	if len(r.faults) > 0 {
		return
	}
	r.sizes(p, rows)
	r.body(p, rows)
	if p.Kind == "load cell" {
		r.cell(p)
	}
	r.colour(p)
}

// sameSize refuses a nominal size that is written twice and differs.
func (r *reader) sameSize() {
	a, both := r.lengths["size"]
	b, ok := r.lengths["diameter"]
	if both && ok && math.Abs(float64(a.Value-b.Value)) > sameSize {
		r.fault("size", fault.New(fault.Disagree, "size is %s and diameter is %s", a.Text, b.Text).Fix("correct the one that is wrong, or leave one out"))
	}
}

// tag takes what the tag says.
func (r *reader) tag(p *Piece) {
	for key, to := range map[string]**Rated{"wll": &p.WLL, "choker_wll": &p.Choker, "basket_wll": &p.Basket} {
		if v, ok := r.ratings[key]; ok {
			*to = &Rated{Force: v.Force, Text: v.Text, Source: "tag", Tag: true}
		}
	}
	if v, ok := r.ratings["capacity"]; ok && p.WLL == nil {
		p.WLL = &Rated{Force: v.Force, Text: v.Text, Source: "tag: capacity", Tag: true}
	}
	if m, ok := r.lengths["length"]; ok {
		p.Length = &m
	}
}

// generic finds the rows of the tables that speak of this piece, and rates it
// by them where the tag does not.
func (r *reader) generic(p *Piece) []row {
	rated := p.WLL != nil
	refuse := func(key string, f *fault.Fault) []row {
		if f != nil && !rated {
			r.fault(key, f)
		}
		return nil
	}
	var o rope
	if r.kind.Name == "wire rope sling" || r.kind.Name == "wire rope grommet" {
		var bad *fault.Fault
		if o, bad = r.rope(); bad != nil {
			if r.kind.Name == "wire rope sling" && !rated {
				return refuse("rope", bad)
			}
			p.note("the words for its rope were not understood: " + bad.What)
		}
	}
	if len(r.kind.Tables) == 0 {
		if !rated {
			p.note("no rating: no generic table of this kind was read, write wll off the tag")
		}
		return nil
	}
	table, bad := r.chosen()
	if bad != nil {
		return refuse("table", bad)
	}
	if table == isoRope || table == "" && o.inNewtons() {
		if !rated {
			refuse("rope", r.rateByFormula(p, o))
		}
		return nil
	}
	if _, sized := r.size(); !sized && !rated {
		p.note("no rating: write wll off the tag")
		return nil
	}
	rows, bad := r.rows(table)
	if bad != nil {
		return refuse("", bad)
	}
	if rated {
		return r.besideTag(p, rows)
	}
	choker, basket := p.Choker, p.Basket
	if bad := r.rate(p, rows); bad != nil {
		return refuse("", bad)
	}
	if choker != nil {
		p.Choker = choker
	}
	if basket != nil {
		p.Basket = basket
	}
	if p.Splice == hiddenTuck && p.WLL != nil {
		p.note("hidden tuck: rated as hand tucked with a fibre core, as the tables ask")
	}
	return rows
}

// clearlyMore is by how much a tag may exceed the largest generic figure of
// its size before it looks misread: more than a tonne exceeds a short ton.
const clearlyMore = 1.15

// besideTag compares a tag with the tables. A row without a size to go by is
// taken by its rating, as one table of shackles lists them.
func (r *reader) besideTag(p *Piece, rows []row) []row {
	if _, sized := r.size(); !sized {
		return slices.DeleteFunc(rows, func(w row) bool {
			return r.texts["table"] == "" || w.inside == nil || math.Abs(float64(w.wll.Force-p.WLL.Force)) > 1e-9*float64(p.WLL.Force)
		})
	}
	most := slices.MaxFunc(rows, func(a, b row) int { return cmp.Compare(a.wll.Force, b.wll.Force) })
	if p.WLL.Force > clearlyMore*most.wll.Force {
		p.note(fmt.Sprintf("the tag says %s, and the most that a table read here gives this size is %s (%s): see that figure, unit and size are read right",
			p.WLL.Text, most.wll.Text, most.name()))
	}
	return rows
}

// agreed gives a size that all rows have which have it at all.
func agreed(rows []row, of func(row) *quantity.Measured[quantity.Length]) *row {
	var found *row
	for i, w := range rows {
		switch v := of(w); {
		case v == nil:
		case found == nil:
			found = &rows[i]
		case math.Abs(float64(v.Value-of(*found).Value)) > sameSize:
			return nil
		}
	}
	return found
}

// sizes takes the sizes for fit: what was measured, else what the tables agree on.
func (r *reader) sizes(p *Piece, rows []row) {
	if _, sized := r.size(); !sized && p.WLL == nil {
		rows = nil
	}
	own := func(key string, of func(row) *quantity.Measured[quantity.Length]) float64 {
		if m, ok := r.lengths[key]; ok {
			return float64(m.Value)
		}
		if of == nil {
			return 0
		}
		w := agreed(rows, of)
		if w == nil {
			return 0
		}
		v := of(*w)
		p.note(fmt.Sprintf("%s %s is taken from %s: measure it", key, v.Text, w.table.Source))
		return float64(v.Value)
	}
	size, sized := r.size()
	switch p.Kind {
	case "bow shackle", "dee shackle":
		e := End{
			Shape: Shackle,
			Pin:   own("pin", func(w row) *quantity.Measured[quantity.Length] { return w.pin }),
			Jaw:   own("jaw", func(w row) *quantity.Measured[quantity.Length] { return w.jaw }),
		}
		e.Inside = own("inside", nil)
		if e.Inside == 0 && p.Kind == "dee shackle" {
			e.Inside = e.Jaw // straight sides
		}
		if sized {
			e.Bar = float64(size.Value)
		} else if w := agreed(rows, func(w row) *quantity.Measured[quantity.Length] { return w.metric }); w != nil {
			e.Bar = float64(w.metric.Value)
		}
		if t := r.texts["pin_type"]; t != "" {
			screw := t == "screw"
			e.Screw = &screw
		}
		p.Upper, p.Lower = e, e
		switch r.texts["up"] {
		case "bow":
			p.Upper.Shape, p.Lower.Shape = Bow, Pin
		case "pin":
			p.Upper.Shape, p.Lower.Shape = Pin, Bow
		}
		if w := agreed(rows, func(w row) *quantity.Measured[quantity.Length] { return w.inside }); w != nil && p.Length == nil {
			m := *w.inside
			p.Length = &m
			p.note(fmt.Sprintf("length %s is the clear inside length of %s: measure it", m.Text, w.table.Source))
		}
		if p.Kind == "bow shackle" && p.Length == nil && sized {
			k, _ := span("bow shackle length")
			d := float64(size.Value)
			p.Length = within[quantity.Length](k.low*d, k.high*d, "m")
			p.note(fmt.Sprintf("length %s from its size, %s: measure it", p.Length.Text, k.Cite()))
		}
	case "master link":
		p.Upper = End{Shape: Link, Bar: own("diameter", nil), Inside: own("inside", nil)}
		p.Lower = p.Upper
	case "wire rope sling", "fibre rope sling", "wire rope grommet":
		shape := Unknown
		switch ends := r.texts["ends"]; {
		case p.Kind == "wire rope grommet" || r.texts["construction"] == endless:
			shape = Loop
		case ends == "thimble":
			shape = Thimble
		case ends == "soft eye":
			shape = SoftEye
		case r.lengths["thimble"].Value > 0:
			shape = Thimble
		}
		p.Upper = End{Shape: shape, Bar: own("thimble", nil)}
		if sized && shape != Unknown {
			p.Upper.Thickness = float64(size.Value) // an eye lies across the pin with one rope
		}
		p.Lower = p.Upper
	case "web sling":
		p.Upper = End{Shape: FlatEye, Width: own("width", nil)}
		p.Lower = p.Upper
	case "round sling":
		p.Upper = End{Shape: Loop, Width: own("width", nil)}
		p.Lower = p.Upper
	case "sling hook":
		p.Upper = End{Shape: Eye, Hole: own("hole", nil), Thickness: own("thickness", nil)}
		p.Lower = End{Shape: Hook, Throat: own("throat", nil), Bar: own("bar", nil)}
	case "turnbuckle":
		shape := map[string]Shape{"jaw": Jaw, "eye": Eye, "hook": Hook}[r.texts["ends"]]
		p.Upper = End{Shape: shape, Pin: own("pin", nil), Jaw: own("jaw", nil), Hole: own("hole", nil), Thickness: own("thickness", nil), Throat: own("throat", nil)}
		p.Lower = p.Upper
	case "beam clamp":
		p.Lower = End{Shape: Eye, Pin: own("pin", nil), Jaw: own("jaw", nil), Hole: own("hole", nil), Thickness: own("thickness", nil)}
		if p.Lower.Pin > 0 {
			p.Lower.Shape = Jaw
		}
	case "load cell":
		p.Upper = End{Shape: Eye, Hole: own("hole", nil), Thickness: own("thickness", nil), Jaw: own("jaw", nil)}
		if p.Upper.Jaw > 0 {
			p.Upper.Shape = Jaw
		}
		p.Lower = p.Upper
	case "spreader", "swivel ring", "plain eye bolt", "shoulder eye bolt", "plate":
		p.Upper = End{Shape: Eye, Hole: own("hole", nil), Thickness: own("thickness", nil)}
		p.Lower = p.Upper
	}
}

// cell takes what is said of a load cell.
func (r *reader) cell(p *Piece) {
	c := &Cell{
		Capacity: r.ratings["capacity"].Force, Share: r.accuracy.share, OfFullScale: r.accuracy.ofFullScale,
		Rate: r.perSecond, RadioRange: float64(r.lengths["radio_range"].Value), HoldsPeaks: r.holdsPeaks,
		Protection: r.texts["protection"], Calibrated: r.calibration,
	}
	if pin, ok := r.lengths["pin"]; ok {
		c.DemandsPin, c.PinLow, c.PinHigh = float64(pin.Value), float64(pin.Low), float64(pin.High)
		if pin.Shape == quantity.Exact {
			slack := math.Max(samePin, samePinShare*c.DemandsPin)
			c.PinLow, c.PinHigh = c.DemandsPin-slack, c.DemandsPin+slack
		}
	}
	if r.overload != "" {
		most, err := ParseOverload(r.overload, c.Capacity)
		if err == nil && most < c.Capacity {
			err = fault.New(fault.Disagree, "the safe overload %s is below the capacity %s", r.overload, r.ratings["capacity"].Text).Fix("correct the one that is wrong")
		}
		if err != nil {
			r.fault("safe_overload", fault.Of(err)...)
		}
		c.SafeOverload = &most
	}
	p.Cell = c
}

// colour tells what a colour stands for, and that it rates nothing.
func (r *reader) colour(p *Piece) {
	asked := plainWords(strings.ReplaceAll(r.texts["colour"], "gray", "grey"))
	if asked == "" {
		return
	}
	for _, c := range colours() {
		if c.colour == asked {
			p.note(fmt.Sprintf("colour %s stands for %s t under %s; it rates nothing: US colours mean other loads, and the tag governs", asked, c.tonnes, c.Source))
			return
		}
	}
	p.note("colour " + quoted(asked) + " stands for no load under EN 1492; the tag governs")
}

type colour struct {
	tonnes, colour string
	Cited
}

var colours = table("colours", func(r record) colour { return colour{r["wll_t"], r["colour"], r.cited()} })
