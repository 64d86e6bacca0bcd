package gear

import (
	"fmt"
	"math"
	"slices"

	"plumbhook/quantity"
)

// spanOf is a range of a quantity that mass and stiffness follow from.
type spanOf struct {
	what      string
	low, high float64
	unit      string
	Cited
}

var spans = table("elastic", func(r record) spanOf {
	return spanOf{r["what"], r.number("low", 0), r.number("high", 0), r["unit"], r.cited()}
})

func span(what string) (spanOf, bool) {
	i := slices.IndexFunc(spans(), func(s spanOf) bool { return s.what == what })
	if i < 0 {
		return spanOf{}, false
	}
	return spans()[i], true
}

// Materials that temperature and exposure rules know. A material that begins
// with one of them is of that family: "alloy chain grade 80" is alloy chain.
const (
	MaterialAlloyChain = "alloy chain"
	MaterialChain4     = "chain grade 4"
	MaterialWireRope   = "wire rope" // followed by the core where it is known: "wire rope FC"
	MaterialWeb        = " web"      // after polyester, polyamide or polypropylene
	MaterialRoundSling = " round sling"
	MaterialFibreRope  = " fibre rope" // after natural, polypropylene, polyester or polyamide
	MaterialSteel      = "steel"       // fittings
)

// body finds material, diameter, mass and stiffness of what the piece is made of.
func (r *reader) body(p *Piece, rows []row) {
	size, sized := r.size()
	fibre := r.texts["material"]
	switch p.Kind {
	case "alloy chain sling":
		switch grade := r.texts["grade"]; grade {
		case "":
		case "4":
			p.Material = MaterialChain4
		default:
			p.Material = MaterialAlloyChain + " grade " + grade
		}
		if sized {
			p.Body = &size
			if w := agreed(rows, func(w row) *quantity.Measured[quantity.Length] { return w.metric }); w != nil {
				p.Body = w.metric // 3/8 in chain is of 10 mm bar
			}
			r.chain(p)
		}
	case "wire rope sling", "wire rope grommet":
		o, _ := r.rope()
		p.Material = MaterialWireRope
		if o.core != "" {
			p.Material += " " + o.core
		}
		if sized {
			p.Body = &size
			r.wire(p, o)
		}
	case "fibre rope sling":
		if fibre != "" {
			p.Material = fibre + MaterialFibreRope
		}
		if sized {
			p.Body = &size
		}
		if p.Stiffness == nil {
			p.note("no stretch of fibre rope was read: write stiffness")
		}
	case "web sling", "round sling":
		if fibre != "" {
			p.Material = fibre + map[string]string{"web sling": MaterialWeb, "round sling": MaterialRoundSling}[p.Kind]
		}
		r.fabric(p)
	default:
		p.Material = MaterialSteel
		p.Rigid = p.Stiffness == nil
	}
}

// chain: EA = c d² with c from mooring practice, m = 0.022 d² kg/m; both from memory.
func (r *reader) chain(p *Piece) {
	ea, _ := span("chain")
	r.stretches(p, ea, 1)
	m, _ := span("chain mass")
	if p.Mass == nil && p.Length != nil {
		d := float64(p.Body.Value) / millimetre
		p.Mass = within[quantity.Mass](m.low*d*d*float64(p.Length.Low), m.high*d*d*float64(p.Length.High), "kg")
		p.note(fmt.Sprintf("mass %s for the chain alone: %s", p.Mass.Text, m.Cite()))
	}
}

// wire: EA = c d² spans modulus and area as the sources pair them; mass
// W d² / 100 of ISO 2408.
func (r *reader) wire(p *Piece, o rope) {
	parts := 1.0
	what := "wire rope FC"
	switch {
	case p.Kind == "wire rope grommet":
		what, parts = "wire rope grommet", 2
	case o.core == "IWRC" || o.core == "WSC":
		what = "wire rope"
	}
	ea, _ := span(what)
	r.stretches(p, ea, parts)
	if what == "wire rope" && p.Stiffness != nil && r.stiffness == nil {
		p.note("a rope that has not bedded in is softer than that: 90 kN/mm² on its metallic area, about 40 kN/mm² on d² (value from memory)")
	}
	if p.Mass != nil || p.Length == nil || parts > 1 {
		return
	}
	low, high := math.Inf(1), 0.0
	for _, f := range ropeTable() {
		if f.w > 0 && (o.class == "" || f.class == o.class || o.class == "6x37" && (f.class == "6x36" || f.class == "6x37M")) && (o.core == "" || f.core == o.core) {
			low, high = math.Min(low, f.w), math.Max(high, f.w)
		}
	}
	if high == 0 {
		return
	}
	ends, _ := span("wire rope mass")
	d := float64(p.Body.Value) / millimetre
	p.Mass = within[quantity.Mass](ends.low*low*d*d/100*float64(p.Length.Low), ends.high*high*d*d/100*float64(p.Length.High), "kg")
	p.note(fmt.Sprintf("mass %s from W d² length with the factors W of %s; %s", p.Mass.Text, isoRope, ends.Cite()))
}

// stretches gives k = EA / L of so many parts side by side, over the whole range.
func (r *reader) stretches(p *Piece, ea spanOf, parts float64) {
	switch {
	case p.Stiffness != nil:
	case p.Length == nil:
		p.note("stiffness is not known without the length")
	default:
		d := float64(p.Body.Value) / millimetre
		area := d * d * 1000 * parts // kN/mm² on d² in mm² is 1000 N
		p.Stiffness = within[quantity.Stiffness](ea.low*area/float64(p.Length.High), ea.high*area/float64(p.Length.Low), "MN/m")
		p.note(fmt.Sprintf("stiffness %s spans EA = %g to %g kN/mm² times d²: %s", p.Stiffness.Text, ea.low, ea.high, ea.Cite()))
	}
}

// fabric: k = WLL / (stretch at WLL × length).
func (r *reader) fabric(p *Piece) {
	if p.Stiffness != nil {
		return
	}
	s, ok := span(p.Material)
	if !ok || p.WLL == nil || p.Length == nil {
		missing := "wll, material or length"
		if p.WLL != nil && p.Length != nil && p.Material != "" {
			missing = "a stretch that was read for " + p.Material
		}
		p.note("stiffness is not known without " + missing + ": write stiffness")
		return
	}
	f := float64(p.WLL.Force)
	p.Stiffness = within[quantity.Stiffness](f/(s.high*float64(p.Length.High)), f/(s.low*float64(p.Length.Low)), "kN/m")
	p.note(fmt.Sprintf("stiffness %s from a stretch of %.3g to %.3g %% at the rating: %s", p.Stiffness.Text, 100*s.low, 100*s.high, s.Cite()))
}

// within is a value of which only the limits are known.
func within[Q quantity.Quantity](low, high float64, unit string) *quantity.Measured[Q] {
	m := quantity.Measured[Q]{Value: Q((low + high) / 2), Low: Q(low), High: Q(high), Shape: quantity.Uniform}
	m.Text = m.Format(unit)
	return &m
}
