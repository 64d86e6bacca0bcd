package takeoff_test

import (
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"plumbhook/fault"
	"plumbhook/quantity"
	"plumbhook/takeoff"
)

func TestItemFaults(t *testing.T) {
	kg, m3, cube := mass(10), volume(0.1), shape("sphere", "diameter", 1.0)
	ratio := func(v float64) *quantity.Ratio { r := quantity.Ratio(v); return &r }
	here := at(0, 0, 0)
	for name, c := range map[string]struct {
		item  takeoff.Item
		code  fault.Code
		words []string
	}{
		"nothing":               {takeoff.Item{At: here}, fault.Missing, []string{"how much", "mass, volume, shape, mesh"}},
		"twice":                 {takeoff.Item{Mass: kg, Volume: m3, Density: dense(1), At: here}, fault.Disagree, []string{"more than once"}},
		"no place":              {takeoff.Item{Mass: kg}, fault.Missing, []string{"at: x y z"}},
		"no material":           {takeoff.Item{Volume: m3, At: here}, fault.Missing, []string{"material", "density"}},
		"two materials":         {takeoff.Item{Volume: m3, Material: "lead", Density: dense(1), At: here}, fault.Disagree, nil},
		"mass and material":     {takeoff.Item{Mass: kg, Material: "lead", At: here}, fault.Disagree, nil},
		"ambiguous":             {takeoff.Item{Volume: m3, Material: "steel", At: here}, fault.Ambiguous, []string{"7850"}},
		"zero mass":             {takeoff.Item{Mass: mass(0), At: here}, fault.Range, []string{"mass of 0"}},
		"negative mass":         {takeoff.Item{Mass: mass(-1), At: here}, fault.Range, nil},
		"mass spread too far":   {takeoff.Item{Mass: plusMinus[quantity.Mass](10, 11), At: here}, fault.Range, []string{"below zero"}},
		"zero volume":           {takeoff.Item{Volume: volume(0), Density: dense(1), At: here}, fault.Range, []string{"volume"}},
		"zero density":          {takeoff.Item{Volume: m3, Density: dense(0), At: here}, fault.Range, []string{"density"}},
		"place not a number":    {takeoff.Item{Mass: kg, At: at(math.NaN(), 0, 0)}, fault.Range, []string{"place"}},
		"limits upside down":    {takeoff.Item{Mass: plusMinus[quantity.Mass](10, -1), At: here}, fault.Range, []string{"limits"}},
		"negative count":        {takeoff.Item{Mass: kg, At: here, Count: -1}, fault.Range, []string{"-1"}},
		"pitch for one":         {takeoff.Item{Mass: kg, At: here, Pitch: here}, fault.Missing, []string{"count"}},
		"pitch not a number":    {takeoff.Item{Mass: kg, At: here, Count: 2, Pitch: at(0, math.Inf(1), 0)}, fault.Range, []string{"pitch"}},
		"a mass turned":         {takeoff.Item{Mass: kg, At: here, Turn: turn(1, 0, 0)}, fault.UnknownKey, []string{"does not turn"}},
		"turn not a number":     {takeoff.Item{Shape: cube, Density: dense(1), At: here, Turn: turn(math.NaN(), 0, 0)}, fault.Range, []string{"turn"}},
		"spread of its own too": {takeoff.Item{Mass: plusMinus[quantity.Mass](10, 1), At: here, Spread: ratio(0.1)}, fault.Disagree, []string{"keep one"}},
		"spread of density too": {takeoff.Item{Volume: m3, Density: plusMinus[quantity.Density](10, 1), At: here, Spread: ratio(0.1)}, fault.Disagree, nil},
		"spread too wide":       {takeoff.Item{Mass: kg, At: here, Spread: ratio(5)}, fault.Range, []string{"500 %"}},
		"spread of nothing":     {takeoff.Item{Mass: kg, At: here, Spread: ratio(0)}, fault.Range, nil},
	} {
		t.Run(name, func(t *testing.T) {
			c.item.Name, c.item.Pos = "frame", fault.Pos{File: "lift.yaml", Line: 3, Column: 5}
			_, err := c.item.Work()
			refused(t, err, c.code, append(c.words, "lift.yaml:3:5: parts.frame: ")...)
		})
	}
	// All that is wrong with an item is told at once.
	_, err := takeoff.Item{Name: "x", Shape: shape("cone"), Count: -1}.Work()
	if n := len(fault.Of(err)); n != 5 { // two sizes, material, place, count
		t.Errorf("%d faults: %v", n, err)
	}
}

func TestHow(t *testing.T) {
	spread := quantity.Ratio(0.05)
	stated := mass(4100)
	stated.Text = "4100 kg ± 2 %"
	for _, c := range []struct {
		item takeoff.Item
		want string
	}{
		{takeoff.Item{Mass: stated}, "4100 kg ± 2 %, as stated"},
		{takeoff.Item{Mass: mass(12), Count: 4}, "4 x (12 kg, as stated) = 48 kg"},
		{takeoff.Item{Volume: volume(0.012), Density: dense(7850), Spread: &spread}, "volume 0.012 m³ x 7850 kg/m³ = 94.2 kg, ± 5 % stated for the whole"},
		{
			takeoff.Item{Shape: shape("plate", "length", 2.0, "width", 1.0, "thickness", 0.01), Density: dense(8000), Cut: true},
			"plate, length 2 m, width 1 m, thickness 0.01 m: length·width·thickness = 0.02 m³ x 8000 kg/m³ = 160 kg, taken out",
		},
	} {
		c.item.At = at(0, 0, 0)
		if got := work(t, c.item).How; got != c.want {
			t.Errorf("how is %q, want %q", got, c.want)
		}
	}
}

// A stated mass and place come through to the last bit.
func TestStatedIsKept(t *testing.T) {
	it := takeoff.Item{
		Name: "motor", From: "nameplate", Mass: plusMinus[quantity.Mass](4100.1, 82.3), Fluid: true,
		At: &quantity.Point{X: *plusMinus[quantity.Length](0.1, 0.02), Y: *between[quantity.Length](-0.1, 0.3), Text: "as written"},
	}
	p := work(t, it)
	if p.Mass != *it.Mass || p.At != *it.At || p.Name != it.Name || p.From != it.From || !p.Fluid || p.Count != 1 {
		t.Errorf("%+v", p)
	}
}

func TestCountPitchTurn(t *testing.T) {
	bar := shape("bar", "diameter", 0.05, "length", 2.0)
	one := work(t, takeoff.Item{Shape: bar, Density: dense(7850), At: at(1, 2, 3)})
	nearPoint(t, "lying", one.At.XYZ(), [3]float64{2, 2, 3}, 0)

	// Upright: a quarter turn about y brings +x to -z, back about y to +z.
	up := work(t, takeoff.Item{Shape: bar, Density: dense(7850), At: at(1, 2, 3), Turn: turn(0, -math.Pi/2, 0)})
	nearPoint(t, "upright", up.At.XYZ(), [3]float64{1, 2, 4}, 0)
	// x before z: the turn about x leaves the bar, that about z swings it to y.
	side := work(t, takeoff.Item{Shape: bar, Density: dense(7850), At: at(1, 2, 3), Turn: turn(1, 0, math.Pi/2)})
	nearPoint(t, "sideways", side.At.XYZ(), [3]float64{1, 3, 3}, 1e-15)

	many := work(t, takeoff.Item{
		Shape: bar, Density: dense(7850), At: at(1, 2, 3), Count: 5,
		Pitch: &quantity.Point{X: *exact[quantity.Length](0), Y: *plusMinus[quantity.Length](0.5, 0.01), Z: *exact[quantity.Length](0)},
	})
	near(t, "five", float64(many.Mass.Value), 5*float64(one.Mass.Value), 1e-12)
	nearPoint(t, "five in a row", many.At.XYZ(), [3]float64{2, 3, 3}, 1e-15)
	near(t, "limit of the row", float64(many.At.Y.High), 3.02, 1e-15)

	// Pieces are all off the same way.
	pieces := work(t, takeoff.Item{Mass: plusMinus[quantity.Mass](10, 1), At: at(0, 0, 0), Count: 9})
	near(t, "nine, heavy", float64(pieces.Mass.High), 99, 1e-12)
}

// The order of rotations is x, y, z about axes that stay, with the datum in
// place, for any part; and turns about one axis add up.
func TestTurnProperty(t *testing.T) {
	wedge := shape("prism", "base", 0.6, "height", 0.9, "length", 0.3)
	rapid.Check(t, func(t *rapid.T) {
		r := func(l string) float64 { return rapid.Float64Range(-7, 7).Draw(t, l) }
		a, d := [3]float64{r("a"), r("b"), r("c")}, [3]float64{r("x"), r("y"), r("z")}
		it := takeoff.Item{Shape: wedge, Density: dense(1), At: at(d[0], d[1], d[2]), Turn: turn(a[0], a[1], a[2])}
		c := turnedPoint([3]float64{0.2, 0.15, 0.3}, a)
		nearPoint(t, "centroid", work(t, it).At.XYZ(), [3]float64{c[0] + d[0], c[1] + d[1], c[2] + d[2]}, 1e-13)
	})
}

// percentiles of sampled masses and places of an item, against the band that
// Work gives. Item figures are drawn as they were written.
func TestAgainstMonteCarlo(t *testing.T) {
	type length = quantity.Length
	cases := map[string]takeoff.Item{
		"all normal": {
			Shape:   shape("frustum", "diameter", plusMinus[length](0.8, 0.02), "top", plusMinus[length](0.5, 0.03), "height", plusMinus[length](1.2, 0.05)),
			Density: plusMinus[quantity.Density](7850, 150), At: at(0, 0, 0), Turn: turn(0.3, 0.7, 0.2),
		},
		"normal and ranges": {
			Shape:   shape("plate", "length", plusMinus[length](2, 0.05), "width", between[length](0.95, 1.05), "thickness", between[length](0.0095, 0.0105)),
			Density: between[quantity.Density](7700, 8000), At: &quantity.Point{X: *plusMinus[length](0, 0.02), Y: *between[length](-0.1, 0.1), Z: *exact[length](1)},
		},
		"tube": {
			Shape:   shape("tube", "diameter", plusMinus[length](0.3, 0.003), "wall", plusMinus[length](0.01, 0.0008), "length", plusMinus[length](6, 0.02)),
			Density: plusMinus[quantity.Density](7850, 40), At: at(1, 0, 0), Count: 3, Pitch: &quantity.Point{X: *exact[length](0), Y: *plusMinus[length](0.4, 0.02), Z: *exact[length](0)},
		},
	}
	for name, it := range cases {
		t.Run(name, func(t *testing.T) {
			p := work(t, it)
			const n = 10000
			r := rand.New(rand.NewPCG(1, 2))
			var samples [4][]float64
			for range n {
				s := it
				s.Shape = &takeoff.Shape{Kind: it.Shape.Kind, Sizes: map[string]quantity.Measured[length]{}}
				for _, size := range []string{"diameter", "top", "height", "length", "width", "thickness", "wall"} {
					if m, ok := it.Shape.Sizes[size]; ok {
						s.Shape.Sizes[size] = draw(r, m)
					}
				}
				d := draw(r, *it.Density)
				s.Density = &d
				s.At = &quantity.Point{X: draw(r, it.At.X), Y: draw(r, it.At.Y), Z: draw(r, it.At.Z)}
				if it.Pitch != nil {
					s.Pitch = &quantity.Point{X: draw(r, it.Pitch.X), Y: draw(r, it.Pitch.Y), Z: draw(r, it.Pitch.Z)}
				}
				q := work(t, s)
				c := q.At.XYZ()
				for k, v := range [4]float64{float64(q.Mass.Value), c[0], c[1], c[2]} {
					samples[k] = append(samples[k], v)
				}
			}
			total := sum(t, p)
			for k, band := range [4][2]float64{
				{float64(total.Mass.Low), float64(total.Mass.High)},
				{float64(total.CG.X.Low), float64(total.CG.X.High)},
				{float64(total.CG.Y.Low), float64(total.CG.Y.High)},
				{float64(total.CG.Z.Low), float64(total.CG.Z.High)},
			} {
				// The band is of first order and takes every sum for normal:
				// a range alone comes out at most as wide as its limits,
				// which is 5 % wider than its 95 %.
				slices.Sort(samples[k])
				low, high := samples[k][n/40], samples[k][n-n/40]
				if got, want := band[1]-band[0], high-low; want > 1e-12 && !(got > 0.97*want && got < 1.07*want) {
					t.Errorf("quantity %d: band %.6g..%.6g, sampled %.6g..%.6g", k, band[0], band[1], low, high)
				}
			}
		})
	}
}

func draw[Q quantity.Quantity](r *rand.Rand, m quantity.Measured[Q]) quantity.Measured[Q] {
	v := float64(m.Value)
	switch m.Shape {
	case quantity.Normal:
		v += r.NormFloat64() * float64(m.High-m.Low) / 2 / 1.959964
	case quantity.Uniform:
		v = float64(m.Low) + r.Float64()*float64(m.High-m.Low)
	}
	return quantity.Known(Q(v))
}

// Ranges alone stay a range, whose ends are those of the extreme figures.
func TestRangesStayHard(t *testing.T) {
	p := work(t, takeoff.Item{
		Shape:   shape("cylinder", "diameter", between[quantity.Length](0.9, 1.1), "height", between[quantity.Length](0, 2)),
		Density: between[quantity.Density](990, 1010), At: at(0, 0, 0), Fluid: true,
	})
	if p.Mass.Shape != quantity.Uniform || p.At.Z.Shape != quantity.Uniform || p.At.X.Shape != quantity.Exact {
		t.Errorf("shapes %v %v %v", p.Mass.Shape, p.At.Z.Shape, p.At.X.Shape)
	}
	near(t, "least", float64(p.Mass.Low), 0, 0)
	near(t, "most", float64(p.Mass.High), math.Pi/4*1.1*1.1*2*1010, 1e-9)
	near(t, "lowest", float64(p.At.Z.Low), 0, 0)
	near(t, "highest", float64(p.At.Z.High), 1, 0)
	if !strings.Contains(p.How, "cylinder") {
		t.Error(p.How)
	}
}
