package gear

import (
	"math"
	"slices"
	"strconv"
	"strings"

	"plumbhook/quantity"
)

// Share is what part of a rating is left, from 0 (not permitted) to 1 and, for
// several legs or parts, above.
type Share struct {
	Share float64
	Of    string // the rating it is a part of
	Note  string
	Cited
}

// edge is by how much an angle may miss the edge of a band and still count as
// on it, in rad: the rounding of degrees to radians.
const edge = 1e-9

// band is a share over a range of angles. An angle on the edge of two bands
// belongs to the one that the table prints for it, which stands first.
type band struct {
	from, to quantity.Angle
	Share
}

func bandOf(bands []band, at quantity.Angle) (Share, bool) {
	for _, b := range bands {
		if at >= b.from-edge && at <= b.to+edge {
			return b.Share, true
		}
	}
	return Share{}, false
}

var chokeBands = table("choke_angle", func(r record) band {
	// The printed bands leave a degree between them: each runs up to the next.
	to := r.number("angle_of_choke_to_deg", 180)
	if to < 90 {
		to++
	}
	return band{
		r.degrees("angle_of_choke_from_deg", 0), quantity.Angle(to * math.Pi / 180),
		Share{Share: r.number("percent_of_choker_rating", 0) / 100, Of: "choker rating", Note: r["gear"], Cited: r.cited()},
	}
})

// ChokeAngle is the part of the choker rating that an angle of choke leaves:
// the angle between the running part and the part round the load, 180 degrees
// at a choke that is hardly drawn. It is not known for chain and fibre rope.
func ChokeAngle(material string, choke quantity.Angle) (Share, bool) {
	if !strings.HasPrefix(material, MaterialWireRope) && !strings.HasSuffix(material, MaterialWeb) && !strings.HasSuffix(material, MaterialRoundSling) {
		return Share{}, false
	}
	return bandOf(chokeBands(), choke)
}

// family tells whether a material is of a family of a table: the family's
// name begins its own. The empty family holds everything.
func family(material, name string) bool {
	return name == "" || material == name || strings.HasPrefix(material, name+" ")
}

type chokerShare struct {
	code, material string
	Share
}

var chokerShares = table("choker_rating", func(r record) chokerShare {
	return chokerShare{r["code"], r["material"], Share{Share: r.number("share", 0), Of: r["of"], Note: r["note"], Cited: r.cited()}}
})

// ChokerRating is the part of a rating that a choker hitch leaves under a code
// (us, eu) before the angle of choke counts. A rating for the choker on the
// tag or in the table of the piece goes before it. For US gear without a
// figure of its own it is the field rule.
func ChokerRating(code, material string) (Share, bool) {
	var found *chokerShare
	for i, c := range chokerShares() {
		if c.code == code && family(material, c.material) && material != "" && (found == nil || len(c.material) > len(found.material)) {
			found = &chokerShares()[i]
		}
	}
	if found == nil {
		return Share{}, false
	}
	return found.Share, true
}

// Mode is a row of the mode factors of the EN sling standards: the rating of
// one leg times Factor is that of the assembly.
type Mode struct {
	Standard   string
	Gear       string // chain, wire rope, flat woven web, roundsling
	Legs       string // 1, 2, 3 or 4, endless
	Hitch      string // straight, choked, basket, "basket, legs parallel"
	Over, UpTo quantity.Angle
	Factor     float64
	Note       string
	Standing   Standing
}

// Modes gives every mode factor there is.
func Modes() []Mode { return slices.Clone(modes()) }

var modes = table("mode_factors", func(r record) Mode {
	return Mode{
		r["standard"], r["gear"], r["legs"], r["hitch"], r.degrees("angle_from_vertical_over_deg", 0), r.degrees("angle_from_vertical_up_to_deg", 0),
		r.number("factor", 0), r["note"], Standing(r["standing"]),
	}
})

// parallel is up to what angle from the vertical the legs of a basket count
// as parallel in EN 1492 (value from memory).
const parallel quantity.Angle = 7 * math.Pi / 180

// ModeFactor is the mode factor of EN for so many legs, all within the angle
// from the vertical; it holds only for legs alike in length, symmetric in plan
// and equally loaded. Hitch is straight, choker or basket. Beyond 60 degrees
// there is none.
func ModeFactor(material string, legs int, hitch string, fromVertical quantity.Angle) (Share, bool) {
	var gears []string
	switch {
	case family(material, MaterialAlloyChain), family(material, MaterialChain4):
		gears = []string{"chain", "chain and wire rope"}
	case family(material, MaterialWireRope):
		gears = []string{"wire rope", "chain and wire rope"}
	case strings.HasSuffix(material, MaterialWeb):
		gears = []string{"flat woven web"}
	case strings.HasSuffix(material, MaterialRoundSling):
		gears = []string{"roundsling"}
	}
	if hitch == "choker" && legs > 1 && len(gears) > 1 {
		// For chain and wire rope the choker comes on top of the leg factor.
		leg, ok := ModeFactor(material, legs, "straight", fromVertical)
		choke, _ := ModeFactor(material, 1, "choker", fromVertical)
		leg.Share *= choke.Share
		leg.Note, leg.Source = choke.Note, leg.Source+"; "+choke.Source
		return leg, ok
	}
	hitch = map[string]string{"straight": "straight", "choker": "choked", "basket": "basket"}[hitch]
	count := strconv.Itoa(legs)
	if legs == 3 || legs == 4 {
		count = "3 or 4"
	}
	for _, m := range modes() {
		inBand := fromVertical <= m.UpTo+edge && (fromVertical > m.Over+edge || m.Over == 0)
		switch {
		case m.Hitch == "basket, legs parallel":
			inBand = hitch == "basket" && fromVertical <= parallel+edge
		case m.Hitch != hitch:
			continue
		case m.UpTo == 0: // one leg hangs plumb, whatever the angle said
			inBand = true
		}
		if inBand && fromVertical >= 0 && m.Legs == count && slices.Contains(gears, m.Gear) {
			return Share{Share: m.Factor, Of: "straight rating of one leg", Note: m.Note, Cited: Cited{m.Standard, m.Standing}}, true
		}
	}
	return Share{}, false
}

var sideBands = table("side_load", func(r record) band {
	left := 1 - r.number("reduction_percent", 100)/100
	return band{r.degrees("side_angle_from_deg", 0), r.degrees("side_angle_to_deg", 180), Share{Share: left, Of: "in-line rating", Cited: r.cited()}}
})

// SideLoad is the part of its rating that a shackle keeps when it is pulled
// out of the plane of its bow by this angle. Zero: not permitted unless the
// maker or a qualified person allows it.
func SideLoad(angle quantity.Angle) (Share, bool) { return bandOf(sideBands(), angle) }

type eyeBoltBand struct {
	kind string
	band
}

var eyeBoltBands = table("eye_bolt_angle", func(r record) eyeBoltBand {
	return eyeBoltBand{r["kind"], band{
		r.degrees("angle_from_axis_over_deg", 0), r.degrees("angle_from_axis_up_to_deg", 0),
		Share{Share: r.number("percent_of_axial_rating", 0) / 100, Of: "axial rating", Note: r["note"], Cited: r.cited()},
	}}
})

// EyeBolt is the part of its axial rating that an eye bolt of this kind keeps
// at an angle of pull from its axis, in the plane of the eye. For a plain eye
// bolt only the straight pull is there. The figures for a shoulder are from
// memory: the maker's figure governs.
func EyeBolt(kind string, fromAxis quantity.Angle) (Share, bool) {
	var bands []band
	for _, b := range eyeBoltBands() {
		if b.kind == kind {
			bands = append(bands, b.band)
		}
	}
	return bandOf(bands, fromAxis)
}

// BendEfficiency is the part of its strength that a wire rope keeps over a
// pin, a hook or a load: 1 - 0.5/√(D/d), the inverse of the bending factor of
// 0027/ND. Below D/d = 1 there is none. Termination and bend are alternatives
// there (7.7.2): the worse of the two counts, not their product.
func BendEfficiency(ratio float64) (Share, bool) {
	if !(ratio >= 1-edge) || math.IsInf(ratio, 0) {
		return Share{}, false
	}
	return Share{Share: 1 - 0.5/math.Sqrt(ratio), Of: "straight strength", Cited: Cited{"0027/ND Rev 11.2, 7.8 and Table 7.1", "READ"}}, true
}

// BasketBend is the D/d from which the basket figure of a wire rope table
// holds, for the splice.
func BasketBend(splice string) (Rule, bool) {
	name := "wire rope basket, mechanical splice or socket"
	switch splice {
	case handTucked, hiddenTuck:
		name = "wire rope basket, hand tucked"
	case mechanical, steelFerrule, lightFerrule, socket:
	default:
		return Rule{}, false
	}
	i := slices.IndexFunc(rules(), func(r Rule) bool { return r.Topic == "D/d" && r.Gear == name })
	return rules()[i], true
}

// TemperatureRule says what a material may not be used at.
type TemperatureRule struct {
	Code     string // us, eu
	Material string
	Above    bool // else below
	Limit    quantity.Temperature
	Text     string   // the limit as printed: 200 °F
	Share    *float64 // of the rating that is left beyond it; nil: the maker says
	Effect   string   // what follows
	Cited
}

// Broken tells whether a range of temperatures reaches beyond the limit.
func (t TemperatureRule) Broken(low, high quantity.Temperature) bool {
	if t.Above {
		return high > t.Limit+1e-9
	}
	return low < t.Limit-1e-9
}

var temperatureRules = table("temperature", func(r record) TemperatureRule {
	limit := parsed[quantity.Temperature](r["value"], r["unit"])
	t := TemperatureRule{
		Code: r["code"], Material: r["material"], Above: r["side"] == "above", Limit: limit.Value, Text: limit.Text, Effect: r["effect"], Cited: r.cited(),
	}
	if r["share"] != "" {
		v := r.number("share", 0)
		t.Share = &v
	}
	return t
})

// Temperatures gives the limits of a code for a material. None means that no
// limit was read, not that there is none.
func Temperatures(code, material string) []TemperatureRule {
	var all []TemperatureRule
	for _, t := range temperatureRules() {
		if t.Code == code && family(material, t.Material) {
			all = append(all, t)
		}
	}
	return all
}

// ChemicalRule names what a material may not be exposed to.
type ChemicalRule struct {
	Code, Material, Substance string
	Cited
}

var chemicalRules = table("chemical", func(r record) ChemicalRule {
	return ChemicalRule{r["code"], r["material"], r["substance"], r.cited()}
})

// Chemicals gives what a code keeps away from a material.
func Chemicals(code, material string) []ChemicalRule {
	var all []ChemicalRule
	for _, c := range chemicalRules() {
		if c.Code == code && family(material, c.Material) {
			all = append(all, c)
		}
	}
	return all
}

// Rule is a rule of the trade that is a sentence with at most one figure.
type Rule struct {
	Topic string // rated load, angle, inspection, length, splice, D/d, removal, fitting ...
	Gear  string
	Text  string
	Value float64 // 0 where Figure is empty or a formula
	// Figure and Unit are as printed: 60 and "deg from vertical".
	Figure, Unit string
	Cited
}

var rules = table("rules", func(r record) Rule {
	v, _ := strconv.ParseFloat(r["value"], 64) // some figures are formulas
	return Rule{r["topic"], r["gear"], r["rule"], v, r["value"], r["unit"], r.cited()}
})

// Rules gives the rules of a topic.
func Rules(topic string) []Rule {
	var all []Rule
	for _, r := range rules() {
		if r.Topic == topic {
			all = append(all, r)
		}
	}
	return all
}

// AngleRule is a limit on an angle.
type AngleRule struct {
	Rule
	Limit quantity.Angle
	From  string // horizontal, vertical or axis; empty: included
}

// Angles gives the limits on angles that have a figure.
func Angles() []AngleRule {
	var all []AngleRule
	for _, r := range Rules("angle") {
		if r.Figure != "" {
			_, from, _ := strings.Cut(r.Unit, " from ")
			all = append(all, AngleRule{r, quantity.Angle(r.Value * math.Pi / 180), from})
		}
	}
	return all
}

// DesignFactor is breaking force over rating, as a rule sets it for new gear.
type DesignFactor struct {
	Gear   string
	Factor float64 // 0 where Text is a formula
	Text   string
	Cited
}

// DesignFactors gives the design factors, each with its source.
func DesignFactors() []DesignFactor { return slices.Clone(designFactors()) }

var designFactors = table("design_factors", func(r record) DesignFactor {
	v, _ := strconv.ParseFloat(r["factor"], 64) // some are formulas
	return DesignFactor{r["gear"], v, r["factor"], r.cited()}
})

// Proof is what a piece is proof loaded to: Multiplier × SWL + Addend, for a
// SWL over Over and up to UpTo.
type Proof struct {
	Gear       string
	Over, UpTo quantity.Force // UpTo is infinite where there is no upper end
	Multiplier float64
	Addend     quantity.Force
	Unit       string // that the limits of the range are printed in; empty: no range
	Note       string
	Cited
}

// Load gives the proof load of a SWL, and false for one outside the range.
func (p Proof) Load(swl quantity.Force) (quantity.Force, bool) {
	if !(swl > p.Over && swl <= p.UpTo*(1+1e-12)) {
		return 0, false
	}
	return quantity.Force(p.Multiplier)*swl + p.Addend, true
}

// Proofs gives the proof loads of every source.
func Proofs() []Proof { return slices.Clone(proofs()) }

var proofs = table("proof_loads", func(r record) Proof {
	unit := func(column string) string { u, _, _ := strings.Cut(r[column], " ("); return u }
	force := func(cell, unit string, or float64) quantity.Force {
		if cell == "" || cell == "0" {
			return quantity.Force(or)
		}
		return inForce(cell, unit).Force
	}
	return Proof{
		Gear: r["gear"], Over: force(r["swl_over"], unit("swl_unit"), 0), UpTo: force(r["swl_up_to"], unit("swl_unit"), math.Inf(1)),
		Multiplier: r.number("proof_is_multiplier_times_swl", 0), Addend: force(r["plus_addend"], unit("addend_unit"), 0),
		Unit: r["swl_unit"], Note: r["note"], Cited: r.cited(),
	}
})

// Wear is the wear limit of chain of one size, in m.
type Wear struct {
	Size        string
	Diameter    float64
	Most        float64 // wear allowed at any point of a link: 29 CFR 1926.251, 1915.118, 1917.42
	Least       float64 // size that must be left: 29 CFR 1910.184
	Longshoring float64 // wear allowed by 29 CFR 1918, stricter; 0 where it has no row
	Standing    Standing
}

var wears = table("wear", func(r record) Wear {
	in := func(column string) float64 {
		if r[column] == "" {
			return 0
		}
		return float64(parsed[quantity.Length](r[column], "in").Value)
	}
	return Wear{r["size_in"] + " in", in("size_in"), in("max_wear_in_1926_1915_1917"), in("min_size_in_1910_184"), in("max_wear_in_1918_t4b"), Standing(r["standing"])}
})

// WearLimit gives the wear limit of chain of this size.
func WearLimit(size quantity.Length) (Wear, bool) {
	for _, w := range wears() {
		if math.Abs(w.Diameter-float64(size)) <= sameSize {
			return w, true
		}
	}
	return Wear{}, false
}
