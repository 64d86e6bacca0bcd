package prove

import "math"

// expansion of steel, 1/K: 0.00000645 per deg F in a public account of guys.
const expansion = 6.45e-6 * 9 / 5

// Tension is what a guy that has its design tension at the temperature At has at
// another one, K; both at its lower end, where it is drawn tight and measured. Its
// ends are held fixed: the mast's own growth and anchors that give are not in it.
//
// The unloaded length does not change but by temperature. With C the chord, W the
// weight, β the slope and T the tension along the chord halfway up, which is larger
// than that of the lower end by half of W sin β, the arc is
//
//	C (1 + (W cos β)²/(24 T²)) = S (1 + α Δθ)(1 + T/EA)
//
// with S from the design tension (parabola for the sag: Irvine, Cable Structures,
// 1981, from memory; checked against the whole catenary). The left side falls with
// T and the right side rises, so there is one answer.
func (g *GuyRope) Tension(at float64) float64 {
	across, up := g.Weight*math.Cos(g.Slope), g.Weight*math.Sin(g.Slope)/2
	arc := func(t float64) float64 { return 1 + across*across/(24*t*t) }
	design := g.Design + up
	unloaded := arc(design) / (1 + design/g.EA) * (1 + expansion*(at-g.At))
	low, high := 0.0, math.Max(design, g.EA)
	for range 200 {
		t := low + (high-low)/2
		if arc(t) > unloaded*(1+t/g.EA) {
			low = t
		} else {
			high = t
		}
	}
	return max(0, low+(high-low)/2-up)
}

// Tolerance is how far from the design tension a guy may be: 10 %, and 5 % where it
// is thicker than an inch (ANSI/TIA-222, 13.3.2, as an industry notice gives it).
func (g *GuyRope) Tolerance() float64 {
	if g.Diameter > 0.0254*(1+1e-12) {
		return 0.05
	}
	return 0.10
}
