package takeoff_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"pgregory.net/rapid"

	"plumbhook/fault"
	"plumbhook/quantity"
	"plumbhook/takeoff"
)

// The pump motor of the example lift, by hand.
func TestSum(t *testing.T) {
	parts := []takeoff.Part{
		work(t, takeoff.Item{Name: "frame", Mass: plusMinus[quantity.Mass](4100, 82), At: at(0, 0, 0.9), From: "nameplate"}),
		work(t, takeoff.Item{Name: "terminal box", Mass: plusMinus[quantity.Mass](240, 24), At: &quantity.Point{
			X: *plusMinus[quantity.Length](0.85, 0.02), Y: *plusMinus[quantity.Length](0, 0.02), Z: *plusMinus[quantity.Length](1.1, 0.02),
		}}),
		work(t, takeoff.Item{Name: "oil in sump", Mass: between[quantity.Mass](60, 110), At: at(0, 0, 0.2), Fluid: true}),
	}
	sheet := takeoff.Sheet{Parts: parts, Contingency: 0.05}
	wet, err := sheet.Sum(true)
	if err != nil {
		t.Fatal(err)
	}
	const m = 4100 + 240 + 85
	near(t, "listed", float64(wet.Listed), m, 1e-9)
	near(t, "mass", float64(wet.Mass.Value), 1.05*m, 1e-9)
	u := math.Sqrt(82*82 + 24*24 + math.Pow(1.959963984540054*25/math.Sqrt(3), 2))
	near(t, "light", float64(wet.Mass.Low), 1.05*(m-u), 1e-9)
	near(t, "heavy", float64(wet.Mass.High), 1.05*(m+u), 1e-9)
	near(t, "lightest, no contingency", float64(wet.WorstLow), 4018+216+60, 1e-9)
	near(t, "heaviest", float64(wet.WorstHigh), 1.05*(4182+264+110), 1e-9)

	x := 240 * 0.85 / m
	nearPoint(t, "cg", wet.CG.XYZ(), [3]float64{x, 0, (4100*0.9 + 240*1.1 + 85*0.2) / m}, 1e-12)
	ux := math.Sqrt(math.Pow(82*x, 2)+math.Pow(24*(0.85-x), 2)+math.Pow(1.959963984540054*25/math.Sqrt(3)*x, 2)+math.Pow(240*0.02, 2)) / m
	near(t, "cg half-width", float64(wet.CG.X.High-wet.CG.X.Low)/2, ux, 1e-12)
	near(t, "cg far side", wet.CGHigh[0], 264*0.87/(4018+264+60), 1e-12)
	near(t, "cg near side", wet.CGLow[0], 216*0.83/(4182+216+110), 1e-12)

	near(t, "share", wet.Lines[0].Share, 4100.0/m, 1e-15)
	if l := wet.Lines[0]; l.From != "nameplate" || l.How == "" || !l.Counted {
		t.Errorf("line %+v", l)
	}

	dry, err := sheet.Sum(false)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "dry", float64(dry.Listed), 4340, 1e-9)
	if l := dry.Lines[2]; l.Counted || l.Share != 0 || len(dry.Lines) != 3 {
		t.Errorf("line %+v", l)
	}
}

// An exact sheet has no band, and a lone range no more than its limits.
func TestBandLimits(t *testing.T) {
	a := sum(t, work(t, takeoff.Item{Mass: mass(10), At: at(1, 2, 3)}))
	if a.Mass.Shape != quantity.Exact || a.CG.X.Shape != quantity.Exact || a.CGLow != a.CGHigh || a.WorstLow != a.WorstHigh {
		t.Errorf("%+v", a)
	}
	b := sum(t, work(t, takeoff.Item{Mass: between[quantity.Mass](0, 10), At: at(1, 2, 3)}))
	if b.Mass.Low != 0 || b.Mass.High != 10 || b.CG.X.Shape != quantity.Exact {
		t.Errorf("%+v", b)
	}
}

// A density written alike in ten parts is off in all of them at once; a bar's
// length moves its mass and its centre together.
func TestSharedFigures(t *testing.T) {
	var parts, apart []takeoff.Part
	for i := range 10 {
		it := takeoff.Item{Volume: volume(0.1), Density: plusMinus[quantity.Density](7850, 157), At: at(float64(i), 0, 0)}
		parts = append(parts, work(t, it))
		it.Density, it.Mass, it.Volume = nil, plusMinus[quantity.Mass](785, 15.7), nil
		apart = append(apart, work(t, it))
	}
	same, other := sum(t, parts...), sum(t, apart...)
	near(t, "same figure", float64(same.Mass.High), 7850+157, 1e-9)
	near(t, "own figures", float64(other.Mass.High), 7850+15.7*math.Sqrt(10), 1e-9)
	near(t, "same figure, cg", float64(same.CG.X.High), 4.5, 1e-12)
	if other.CG.X.High < 4.5+1e-3 {
		t.Errorf("own figures leave the cg at %v", other.CG.X)
	}
	// A part whose mass was changed by hand stands on its own figures again.
	parts[0].Mass = quantity.Known(quantity.Mass(785))
	near(t, "nine of ten", float64(sum(t, parts...).Mass.High), 7850+0.9*157, 1e-9)

	// m = ρAL at x = L/2 beside a weight at the origin: X = ρAL²/2/(ρAL + w).
	bar := takeoff.Item{Shape: shape("bar", "width", 0.1, "length", plusMinus[quantity.Length](2, 0.002)), Density: dense(1000), At: at(0, 0, 0)}
	two := sum(t, work(t, bar), work(t, takeoff.Item{Mass: mass(20), At: at(0, 0, 0)}))
	x := func(l float64) float64 { return 10 * l * l / 2 / (10*l + 20) }
	near(t, "bar's end", float64(two.CG.X.High), x(2.002), 1e-6)
}

func TestSumFaults(t *testing.T) {
	part := func(m float64) takeoff.Part {
		return takeoff.Part{Name: "frame", Mass: *mass(m), At: *at(0, 0, 0), Pos: fault.Pos{File: "lift.yaml", Line: 9}}
	}
	cut := func(m *quantity.Measured[quantity.Mass]) takeoff.Part {
		return takeoff.Part{Name: "bore", Mass: *m, At: *at(0, 0, 0), Cut: true}
	}
	fluid := part(1)
	fluid.Fluid = true
	far := part(1)
	far.At.Y.Value = quantity.Length(math.Inf(1))
	for name, c := range map[string]struct {
		sheet takeoff.Sheet
		code  fault.Code
		words []string
	}{
		"empty":                {takeoff.Sheet{}, fault.Missing, []string{"no parts"}},
		"only fluids, dry":     {takeoff.Sheet{Parts: []takeoff.Part{fluid}}, fault.Missing, []string{"dry"}},
		"zero":                 {takeoff.Sheet{Parts: []takeoff.Part{part(1), part(0)}}, fault.Range, []string{"lift.yaml:9: parts.frame: weighs nothing"}},
		"negative":             {takeoff.Sheet{Parts: []takeoff.Part{part(10), part(-1)}}, fault.Range, []string{"negative mass"}},
		"spread past zero":     {takeoff.Sheet{Parts: []takeoff.Part{{Mass: *plusMinus[quantity.Mass](1, 2), At: *at(0, 0, 0)}}}, fault.Range, []string{"parts: its spread reaches past zero"}},
		"not a number":         {takeoff.Sheet{Parts: []takeoff.Part{part(math.NaN())}}, fault.Range, []string{"not a number"}},
		"infinitely far":       {takeoff.Sheet{Parts: []takeoff.Part{far}}, fault.Range, []string{"place"}},
		"added cut":            {takeoff.Sheet{Parts: []takeoff.Part{part(10), cut(mass(1))}}, fault.Range, []string{"parts.bore: is cut out"}},
		"all cut away":         {takeoff.Sheet{Parts: []takeoff.Part{part(10), cut(mass(-10))}}, fault.Range, []string{"come to 0 kg"}},
		"maybe all":            {takeoff.Sheet{Parts: []takeoff.Part{part(10), cut(plusMinus[quantity.Mass](-9, 1))}}, fault.Range, []string{"0 kg with every figure"}},
		"negative contingency": {takeoff.Sheet{Parts: []takeoff.Part{part(1)}, Contingency: -0.01}, fault.Range, []string{"contingency", "-1 %"}},
		"5 for 5 %":            {takeoff.Sheet{Parts: []takeoff.Part{part(1)}, Contingency: 5}, fault.Range, []string{"500 %"}},
		"contingency NaN":      {takeoff.Sheet{Parts: []takeoff.Part{part(1)}, Contingency: quantity.Ratio(math.NaN())}, fault.Range, nil},
	} {
		t.Run(name, func(t *testing.T) {
			_, err := c.sheet.Sum(false)
			refused(t, err, c.code, c.words...)
		})
	}
}

// randomParts draws parts as Work would make them, a cut now and then.
func randomParts(t *rapid.T) []takeoff.Part {
	n := rapid.IntRange(1, 6).Draw(t, "n")
	var parts []takeoff.Part
	for i := range n {
		f := func(label string, lo, hi float64) float64 { return rapid.Float64Range(lo, hi).Draw(t, label) }
		place := func(label string) quantity.Measured[quantity.Length] {
			v, a := f(label, -5, 5), f(label+" ±", 0, 0.5)
			if rapid.Bool().Draw(t, label+" range") {
				return *between[quantity.Length](v-a, v+a)
			}
			return *plusMinus[quantity.Length](v, a)
		}
		m := f("mass", 1, 100)
		it := takeoff.Item{
			Mass: plusMinus[quantity.Mass](m, f("mass ±", 0, 0.3)*m),
			At:   &quantity.Point{X: place("x"), Y: place("y"), Z: place("z")},
		}
		if rapid.Bool().Draw(t, "mass range") {
			it.Mass.Shape = quantity.Uniform
		}
		if i > 0 && rapid.IntRange(0, 3).Draw(t, "cut") == 0 {
			it.Cut = true
			it.Mass = mass(0.1 * float64(parts[0].Mass.Value))
		}
		parts = append(parts, work(t, it))
	}
	return parts
}

// compare fails unless two totals tell the same.
func compare(t *rapid.T, a, b takeoff.Total) {
	t.Helper()
	numbers := func(x takeoff.Total) []float64 {
		v := []float64{float64(x.Mass.Value), float64(x.Mass.Low), float64(x.Mass.High), float64(x.WorstLow), float64(x.WorstHigh), float64(x.Listed)}
		for k, axis := range []quantity.Measured[quantity.Length]{x.CG.X, x.CG.Y, x.CG.Z} {
			v = append(v, float64(axis.Value), float64(axis.Low), float64(axis.High), x.CGLow[k], x.CGHigh[k])
		}
		return v
	}
	for i, v := range numbers(a) {
		near(t, "total", numbers(b)[i], v, 1e-9*(1+math.Abs(v)))
	}
}

func TestOrderDoesNotMatter(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		parts := randomParts(t)
		a, err := takeoff.Sheet{Parts: parts}.Sum(true)
		if err != nil {
			t.Skip(err)
		}
		r := rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "seed"), 0))
		r.Shuffle(len(parts), func(i, j int) { parts[i], parts[j] = parts[j], parts[i] })
		compare(t, a, sum(t, parts...))
	})
}

// Two halves of a part, off the same way as the halves of one thing are,
// weigh and sit as the whole does; so does a bar sawn in two, save for the
// box: it lets one half be heavy while the other is light.
func TestSplitting(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		v := rapid.Float64Range(0.01, 2).Draw(t, "volume")
		share := rapid.Float64Range(0.05, 0.95).Draw(t, "share")
		density := plusMinus[quantity.Density](7850, rapid.Float64Range(0, 500).Draw(t, "density ±"))
		piece := func(v float64) takeoff.Part {
			return work(t, takeoff.Item{Volume: volume(v), Density: density, At: at(1, 2, 3)})
		}
		rest := randomParts(t)
		a, err := takeoff.Sheet{Parts: append(rest[:len(rest):len(rest)], piece(v))}.Sum(true)
		if err != nil {
			t.Skip(err)
		}
		compare(t, a, sum(t, append(rest[:len(rest):len(rest)], piece(share*v), piece(v-share*v))...))

		l := rapid.Float64Range(0.1, 10).Draw(t, "length")
		bar := func(x, l float64) takeoff.Part {
			return work(t, takeoff.Item{Shape: shape("bar", "diameter", 0.1, "length", l), Density: density, At: at(x, 0, 0)})
		}
		whole, sawn := sum(t, bar(0, l)), sum(t, bar(0, share*l), bar(share*l, l-share*l))
		for k := range 3 {
			if sawn.CGLow[k] > whole.CGLow[k]+1e-12 || sawn.CGHigh[k] < whole.CGHigh[k]-1e-12 {
				t.Fatalf("box %v..%v of the halves within %v..%v of the whole", sawn.CGLow, sawn.CGHigh, whole.CGLow, whole.CGHigh)
			}
		}
		sawn.CGLow, sawn.CGHigh = whole.CGLow, whole.CGHigh
		compare(t, whole, sawn)
	})
}

// The box holds every CG that the limits allow, and its faces are reached:
// tried at all corners of the parts' masses and places.
func TestBoxIsExact(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		parts := randomParts(t)
		total, err := takeoff.Sheet{Parts: parts}.Sum(true)
		if err != nil {
			t.Skip(err)
		}
		low, high := math.Inf(1), math.Inf(-1)
		for corner := range 1 << (2 * len(parts)) {
			var m, mx float64
			for i, p := range parts {
				w, x := p.Mass.Low, p.At.X.Low
				if corner>>(2*i)&1 == 1 {
					w = p.Mass.High
				}
				if corner>>(2*i)&2 == 2 {
					x = p.At.X.High
				}
				m += float64(w)
				mx += float64(w) * float64(x)
			}
			low, high = math.Min(low, mx/m), math.Max(high, mx/m)
		}
		near(t, "low", total.CGLow[0], low, 1e-9)
		near(t, "high", total.CGHigh[0], high, 1e-9)
		x := total.CG.X
		if float64(x.Low) < low-1e-9 || float64(x.High) > high+1e-9 || x.Low > x.Value || x.High < x.Value {
			t.Fatalf("band %v outside %g..%g", x, low, high)
		}
	})
}

// The whole sheet against sampling, correlated figures and cuts included.
func TestSumAgainstMonteCarlo(t *testing.T) {
	type length = quantity.Length
	items := func(r *rand.Rand) []takeoff.Part {
		pick := func(m *quantity.Measured[length]) *quantity.Measured[length] {
			if r == nil {
				return m
			}
			d := draw(r, *m)
			return &d
		}
		density := plusMinus[quantity.Density](7850, 300)
		oil := between[quantity.Mass](60, 110)
		if r != nil {
			d, o := draw(r, *density), draw(r, *oil)
			density, oil = &d, &o
		}
		return []takeoff.Part{
			work(t, takeoff.Item{Shape: shape("bar", "width", 0.2, "length", pick(plusMinus[length](3, 0.2))), Density: density, At: at(0, 0, 0)}),
			work(t, takeoff.Item{Shape: shape("plate", "length", 1.0, "width", 1.0, "thickness", pick(plusMinus[length](0.05, 0.003))), Density: density, At: at(-1, 0, 0.3)}),
			work(t, takeoff.Item{Shape: shape("cylinder", "diameter", pick(between[length](0.38, 0.42)), "height", 0.05), Density: density, At: at(-1, 0.1, 0.3), Cut: true}),
			work(t, takeoff.Item{Mass: oil, At: &quantity.Point{X: *pick(plusMinus[length](0.4, 0.1)), Y: *pick(between[length](-0.2, 0.2)), Z: *pick(plusMinus[length](0.5, 0.02))}}),
		}
	}
	total := sum(t, items(nil)...)
	const n = 10000
	r := rand.New(rand.NewPCG(3, 4))
	var samples [4][]float64
	for range n {
		s := sum(t, items(r)...)
		c := s.CG.XYZ()
		for k, v := range [4]float64{float64(s.Mass.Value), c[0], c[1], c[2]} {
			samples[k] = append(samples[k], v)
		}
	}
	for k, m := range [][2]float64{
		{float64(total.Mass.Low), float64(total.Mass.High)},
		{float64(total.CG.X.Low), float64(total.CG.X.High)},
		{float64(total.CG.Y.Low), float64(total.CG.Y.High)},
		{float64(total.CG.Z.Low), float64(total.CG.Z.High)},
	} {
		var mean, square float64
		for _, v := range samples[k] {
			mean += v / n
		}
		for _, v := range samples[k] {
			square += (v - mean) * (v - mean) / (n - 1)
		}
		// 10 000 samples know a standard deviation to 1.4 % (95 %).
		near(t, "half-width over sampled", (m[1]-m[0])/2/(1.959964*math.Sqrt(square)), 1, 0.025)
	}
}
