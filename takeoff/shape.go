package takeoff

import (
	"math"
	"slices"
	"strings"

	"plumbhook/fault"
	"plumbhook/quantity"
)

// solid is one simple solid. volume takes the sizes in the order of sizes
// and gives m³ and the centroid from the datum, in m.
type solid struct {
	kind, section string // kind as in the file; section tells the solids of one kind apart
	sizes         []string
	formula       string // of the volume
	fits          func(s []figure) string
	volume        func(s []float64) (float64, [3]float64)
}

// The solids. Each is drawn before it is turned: where it lies and where its
// datum, the point that `at` places, sits. Volumes and centroids are the
// closed forms of any handbook of solids and are exact.
//
//   - plate: lies flat, length along x, width along y, thickness up z.
//     Datum: centre of the underside.
//   - bar: runs along +x from the datum, which is the centre of the end face.
//     Round section by diameter; square by width; flat by width along y and
//     thickness along z.
//   - tube: as a bar, hollow. Round by outside diameter and wall; rectangular
//     by outside width along y, height along z and wall, its corners counted
//     as sharp, which weighs a little more than rolled ones.
//   - cylinder: stands on the datum, which is the centre of its base; height
//     up z.
//   - sphere: datum at its centre.
//   - cone: stands on the datum, the centre of its base, and comes to a point
//     straight above.
//   - frustum: a cone cut off level; diameter at the base, top at the upper
//     end, which may be the wider one.
//   - prism: a right-angled triangle, base along +x and height along +z from
//     the right angle, drawn out along +y by length. Datum: the right angle,
//     at the end where y is 0. Any other triangle is two of these.
var solids = []solid{
	{
		"plate", "",
		[]string{"length", "width", "thickness"},
		"length·width·thickness", nil,
		func(s []float64) (float64, [3]float64) { return s[0] * s[1] * s[2], [3]float64{0, 0, s[2] / 2} },
	},
	{
		"bar", "round",
		[]string{"diameter", "length"},
		"π/4·diameter²·length", nil,
		func(s []float64) (float64, [3]float64) { return disc(s[0]) * s[1], [3]float64{s[1] / 2, 0, 0} },
	},
	{
		"bar", "square",
		[]string{"width", "length"},
		"width²·length", nil,
		func(s []float64) (float64, [3]float64) { return s[0] * s[0] * s[1], [3]float64{s[1] / 2, 0, 0} },
	},
	{
		"bar", "flat",
		[]string{"width", "thickness", "length"},
		"width·thickness·length", nil,
		func(s []float64) (float64, [3]float64) { return s[0] * s[1] * s[2], [3]float64{s[2] / 2, 0, 0} },
	},
	{
		"tube", "round",
		[]string{"diameter", "wall", "length"},
		"π·(diameter - wall)·wall·length",
		func(s []figure) string { return wallFits(s[1], s[0]) },
		func(s []float64) (float64, [3]float64) {
			return math.Pi * (s[0] - s[1]) * s[1] * s[2], [3]float64{s[2] / 2, 0, 0}
		},
	},
	{
		"tube", "rectangular",
		[]string{"width", "height", "wall", "length"},
		"2·wall·(width + height - 2·wall)·length",
		func(s []figure) string { return wallFits(s[2], s[0], s[1]) },
		func(s []float64) (float64, [3]float64) {
			return 2 * s[2] * (s[0] + s[1] - 2*s[2]) * s[3], [3]float64{s[3] / 2, 0, 0}
		},
	},
	{
		"cylinder", "",
		[]string{"diameter", "height"},
		"π/4·diameter²·height", nil,
		func(s []float64) (float64, [3]float64) { return disc(s[0]) * s[1], [3]float64{0, 0, s[1] / 2} },
	},
	{
		"sphere", "",
		[]string{"diameter"},
		"π/6·diameter³", nil,
		func(s []float64) (float64, [3]float64) { return math.Pi / 6 * s[0] * s[0] * s[0], [3]float64{} },
	},
	{
		"cone", "",
		[]string{"diameter", "height"},
		"π/12·diameter²·height", nil,
		func(s []float64) (float64, [3]float64) { return disc(s[0]) * s[1] / 3, [3]float64{0, 0, s[1] / 4} },
	},
	{
		"frustum", "",
		[]string{"diameter", "top", "height"},
		"π/12·(diameter² + diameter·top + top²)·height", nil,
		func(s []float64) (float64, [3]float64) {
			d, t, h := s[0], s[1], s[2]
			q := d*d + d*t + t*t
			z := h / 2
			if q > 0 {
				z = h / 4 * (d*d + 2*d*t + 3*t*t) / q
			}
			return math.Pi / 12 * q * h, [3]float64{0, 0, z}
		},
	},
	{
		"prism", "",
		[]string{"base", "height", "length"},
		"base·height/2·length", nil,
		func(s []float64) (float64, [3]float64) {
			return s[0] * s[1] / 2 * s[2], [3]float64{s[0] / 3, s[2] / 2, s[1] / 3}
		},
	},
}

func disc(d float64) float64 { return math.Pi / 4 * d * d }

// wallFits says why two walls do not fit into the outside sizes, empty if they do.
func wallFits(wall figure, outside ...figure) string {
	for _, o := range outside {
		if 2*wall.high > o.low {
			return "twice the wall is more than the outside"
		}
	}
	return ""
}

// Kinds lists the kinds of shape, each with the sets of sizes it can be given
// by, in a fixed order.
func Kinds() (kinds []string, sizes map[string][][]string) {
	sizes = map[string][][]string{}
	for _, s := range solids {
		if sizes[s.kind] == nil {
			kinds = append(kinds, s.kind)
		}
		sizes[s.kind] = append(sizes[s.kind], slices.Clone(s.sizes))
	}
	return kinds, sizes
}

// name is "round bar" or "plate".
func (s solid) name() string { return strings.TrimSpace(s.section + " " + s.kind) }

// due lists the sizes of a solid, or of all solids of one kind.
func due(of ...solid) string {
	var b strings.Builder
	for i, s := range of {
		if i > 0 {
			b.WriteString("; ")
		}
		b.WriteString("a " + s.name() + " has " + strings.Join(s.sizes, ", "))
	}
	return b.String()
}

// amount finds the solid that a shape's sizes describe.
func (sh Shape) amount() (amount, fault.List) {
	refuse := func(code fault.Code, format string, args ...any) *fault.Fault {
		return fault.New(code, format, args...).At(sh.Pos)
	}
	var same []solid
	for _, s := range solids {
		if s.kind == sh.Kind {
			same = append(same, s)
		}
	}
	if len(same) == 0 {
		kinds, _ := Kinds()
		return amount{}, fault.List{refuse(fault.Reference, "%q is not a shape", sh.Kind).
			Fix("use one of %s; or give a volume or a mesh", strings.Join(kinds, ", "))}
	}

	// The solid with the fewest sizes missing or too many, the first of equals.
	var solid solid
	var bad fault.List
	for i, s := range same {
		var missing, extra []string
		for _, name := range s.sizes {
			if _, ok := sh.Sizes[name]; !ok {
				missing = append(missing, name)
			}
		}
		for name := range sh.Sizes {
			if !slices.Contains(s.sizes, name) {
				extra = append(extra, name)
			}
		}
		if i > 0 && len(missing)+len(extra) >= len(bad) {
			continue
		}
		slices.Sort(extra)
		solid, bad = s, nil
		for _, name := range missing {
			bad = append(bad, refuse(fault.Missing, "a %s needs its %s", s.name(), name).Fix("%s", due(same...)))
		}
		for _, name := range extra {
			bad = append(bad, refuse(fault.UnknownKey, "a %s has no %q", s.name(), name).Fix("%s", due(same...)))
		}
	}
	if len(bad) > 0 {
		return amount{}, bad
	}

	a := amount{solve: solid.volume}
	var words []string
	for _, name := range solid.sizes {
		m := sh.Sizes[name]
		if f := sound(name, m); f != nil {
			bad = append(bad, f.At(sh.Pos))
		}
		a.figures = append(a.figures, of(m))
		words = append(words, name+" "+written(m, "m"))
	}
	if len(bad) == 0 && solid.fits != nil {
		if why := solid.fits(a.figures); why != "" {
			bad = append(bad, refuse(fault.Disagree, "%s of this %s", why, solid.name()).Fix("check %s, with their spreads", strings.Join(solid.sizes, ", ")))
		}
	}
	a.how = solid.name() + ", " + strings.Join(words, ", ") + ": " + solid.formula
	return a, bad
}

// sound refuses an amount or size that cannot be.
func sound[Q quantity.Quantity](what string, m quantity.Measured[Q]) *fault.Fault {
	switch {
	case !ordered(m):
		return fault.New(fault.Range, "%s is not a number between its own limits", what)
	case m.Value <= 0:
		return fault.New(fault.Range, "%s of %s cannot be", what, num(float64(m.Value))).Fix("it must be above zero")
	case m.Low < 0 && m.Shape != quantity.Exact:
		return fault.New(fault.Range, "the spread of %s reaches below zero", what).Fix("write what it can be as a range from zero up")
	}
	return nil
}
