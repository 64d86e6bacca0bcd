package metrology_test

import (
	"math"
	"slices"
	"testing"

	"pgregory.net/rapid"

	"plumbhook/fault"
	"plumbhook/internal/testkit"
	"plumbhook/metrology"
)

func TestPontiusInverse(t *testing.T) {
	k := calibrate(t, metrology.Certificate{Points: pontius(t), Degree: 2})
	rows := fact[[]struct{ Y, Load, U float64 }](t, "pontius.inversion")
	if len(rows) != 6 {
		t.Fatalf("%d rows", len(rows))
	}
	for _, want := range rows {
		load, place := k.Curve.Force(want.Y)
		printed(t, "load", load, want.Load, 0.001)
		b, _ := k.Budget(load)
		if load >= k.Curve.Low { // below, the curve's own part is that at the lowest load
			printed(t, "u of a reading", b.U(), want.U, 0.1)
		}
		if wantPlace := map[bool]metrology.Place{true: metrology.Below}[load < 150000]; place != wantPlace {
			t.Errorf("%g lies at %v, want %v", load, place, wantPlace)
		}
	}
	want := fact[struct {
		Y      float64
		Half   float64 `yaml:"half_width"`
		UCurve float64 `yaml:"u_curve"`
	}](t, "pontius.inversion_95")
	load, _ := k.Curve.Force(want.Y)
	b, _ := k.Budget(load)
	e := b.Expand(0.95)
	printed(t, "half-width at 95 %", e.U, want.Half, 0.2) // printed factor 2.026
	if e.DoF != 37 {
		t.Errorf("%g degrees of freedom", e.DoF)
	}
	_, u := k.Fit.At(load)
	printed(t, "u of the curve", u/k.Curve.Slope(load), want.UCurve, 0.1)
}

func TestPontiusE74(t *testing.T) {
	want := fact[struct{ LLF, A, AA float64 }](t, "pontius.e74")
	r := calibrate(t, metrology.Certificate{Points: pontius(t), Degree: 2}).E74()
	printed(t, "LLF", r.LLF, want.LLF, 0.01)
	printed(t, "class A from", *r.A, want.A, 1)
	printed(t, "class AA from", *r.AA, want.AA, 1)
	if !slices.Equal(r.Unmet, []string{"three runs, as is normal"}) {
		t.Errorf("unmet: %q", r.Unmet)
	}
}

// A noisy cell earns no class AA, and a good one none below its lowest force.
func TestE74Limits(t *testing.T) {
	noisy := pontius(t)
	for i := range noisy {
		noisy[i].Signal += 0.001 * float64(i%3-1)
	}
	if r := calibrate(t, metrology.Certificate{Points: noisy, Degree: 2}).E74(); r.AA != nil || r.A == nil {
		t.Errorf("noisy: A %v, AA %v, LLF %g", r.A, r.AA, r.LLF)
	}
	var still []metrology.Point
	for i := range 5 {
		still = append(still, metrology.Point{Force: float64(i+1) * 1000, Signal: float64(i+1) + 1e-9*float64(i%2)})
	}
	r := calibrate(t, metrology.Certificate{Points: still, Degree: 1}).E74()
	if *r.A != 1000 || *r.AA != 1000 || len(r.Unmet) != 3 {
		t.Errorf("still: A %v, AA %v, unmet %q", *r.A, *r.AA, r.Unmet)
	}
}

// six is a certificate laid out as the force-proving standard asks: two runs
// in position 0, one each at 120 and 240, the last two both ways. The readings
// are 1 mV/V per 10 kN with the deviations of each run written out, so that
// every error can be worked out by hand. zero is where each run starts.
func six(zero float64) metrology.Certificate {
	c := metrology.Certificate{Unit: "mV/V", Degree: 1, ForceU: 0.0001, Machine: "bench 2", Resolution: 0.00001}
	for run, r := range []struct {
		position int
		deviates float64 // of a rising reading, share
		falls    float64 // of a falling one, share of the rising; 0: none
		returns  float64 // zero after, mV/V
	}{
		{0, 0, 0, 0.0001}, {0, 0.0003, 0, -0.0002}, {120, 0.0006, 1.001, 0}, {240, -0.0006, 1.003, 0.0003},
	} {
		add := func(force, signal float64, falling bool) {
			c.Points = append(c.Points, metrology.Point{Force: force, Signal: zero + signal, Run: run + 1, Position: r.position, Falling: falling})
		}
		add(0, 0, false)
		for i := 1; i <= 5; i++ {
			add(float64(i)*10e3, float64(i)*(1+r.deviates), false)
		}
		for i := 4; i >= 1 && r.falls > 0; i-- {
			add(float64(i)*10e3, float64(i)*(1+r.deviates)*r.falls, true)
		}
		add(0, r.returns, r.falls > 0)
	}
	return c
}

func TestErrorsByStep(t *testing.T) {
	for _, zero := range []float64{0, -0.25, 3} {
		k := calibrate(t, six(zero))
		tol := testkit.Tol{Abs: 1e-12}
		for i, s := range k.Steps {
			testkit.Near(t, "force", s.Force, float64(i+1)*10e3, testkit.Tol{})
			testkit.Near(t, "deflection", s.Deflection, float64(i+1), tol)          // 0, +6, -6 of 10⁴
			testkit.Near(t, "interpolation", s.Interpolation, 1/1.000075-1, tol)    // the curve has 0, 3, 6, -6
			testkit.Near(t, "repeatability", *s.Repeatability, 0.0003/1.00015, tol) //
			testkit.Near(t, "reproducibility", *s.Reproducibility, 0.0012, tol)     //
			if i < 4 {
				testkit.Near(t, "reversibility", *s.Reversibility, 0.002, tol)
			} else if s.Reversibility != nil {
				t.Errorf("reversibility %g at the turn", *s.Reversibility)
			}
		}
		testkit.Near(t, "zero error", *k.ZeroError, 0.0003/5.003, tol)

		// Reproducibility asks for class 1, and so do the forces at 0.02 % (k = 2)
		// for 0.5; repeatability 0.03 % and zero 0.006 % would be 0.5.
		g := k.ISO376()
		if len(g.NotAssessed) > 0 {
			t.Errorf("not assessed: %q", g.NotAssessed)
		}
		want := []metrology.Class{{Name: "1", From: 10e3, To: 50e3}, {Name: "2", From: 10e3, To: 50e3}}
		if !slices.Equal(g.Classes, want) {
			t.Errorf("classes %v, want %v", g.Classes, want)
		}
	}
}

// Each limit of the table, crossed alone, costs the class.
func TestClassLimits(t *testing.T) {
	names := func(c metrology.Certificate) (names []string, from float64, missing int) {
		g := calibrate(t, c).ISO376()
		for _, cl := range g.Classes {
			names = append(names, cl.Name)
		}
		if len(g.Classes) > 0 {
			from = g.Classes[0].From
		}
		return names, from, len(g.NotAssessed)
	}
	fine := func() metrology.Certificate {
		c := metrology.Certificate{Degree: 1, ForceU: 0.00004, Resolution: 1e-6}
		for run, position := range []int{0, 0, 120, 240} {
			for i := range 6 {
				c.Points = append(c.Points, metrology.Point{Force: float64(i) * 10e3, Signal: float64(i), Run: run, Position: position})
			}
			c.Points = append(c.Points,
				metrology.Point{Force: 40e3, Signal: 4, Run: run, Position: position, Falling: true},
				metrology.Point{Run: run, Position: position, Falling: true})
		}
		return c
	}
	all := []string{"00", "0.5", "1", "2"}
	const run = 8 // points in one
	for _, c := range []struct {
		what    string
		change  func(*metrology.Certificate)
		names   []string
		from    float64
		missing int
	}{
		{"perfect", func(*metrology.Certificate) {}, all, 10e3, 0},
		{"forces at 0.03 %", func(c *metrology.Certificate) { c.ForceU = 0.00015 }, all[2:], 10e3, 0},
		{"forces at 0.2 %", func(c *metrology.Certificate) { c.ForceU = 0.001 }, nil, 0, 0},
		{"forces unknown", func(c *metrology.Certificate) { c.ForceU = 0 }, all, 10e3, 1},
		{"resolution unknown", func(c *metrology.Certificate) { c.Resolution = 0 }, all, 10e3, 1},
		{"coarse step", func(c *metrology.Certificate) { c.Resolution = 0.0004 }, all, 20e3, 0}, // 4000 steps from 1.6
		{"reproducibility 0.06 % at 20 kN", func(c *metrology.Certificate) { c.Points[2*run+2].Signal *= 1.0006 }, all, 30e3, 0},
		{"repeatability 0.03 % at the top", func(c *metrology.Certificate) { c.Points[run+5].Signal *= 1.0003 }, all[1:], 10e3, 0},
		{"zero 0.02 %", func(c *metrology.Certificate) { c.Points[run-1].Signal += 0.001 }, all[1:], 10e3, 0},
		{"falling 0.4 % off", func(c *metrology.Certificate) {
			for i := range c.Points {
				if c.Points[i].Falling && c.Points[i].Force > 0 {
					c.Points[i].Signal *= 1.004
				}
			}
		}, all, 50e3, 0}, // the top is left, where nothing falls
		{"one position", func(c *metrology.Certificate) {
			for i := range c.Points {
				c.Points[i].Position = 0
			}
		}, all, 10e3, 1},
		{"two positions", func(c *metrology.Certificate) {
			for i := range c.Points {
				c.Points[i].Position = min(c.Points[i].Position, 120)
			}
		}, all, 10e3, 1},
		{"bent by 0.3 % of force, drawn straight", func(c *metrology.Certificate) {
			for i := range c.Points {
				if p := &c.Points[i]; p.Force > 0 {
					p.Signal *= 1 + 0.003*(p.Force/50e3)
				}
			}
		}, all, 40e3, 0}, // off the line by +0.12, -0.03, -0.04, -0.015, +0.024 %
		{"one run", func(c *metrology.Certificate) { c.Points = c.Points[:run] }, all, 10e3, 2},
		{"one run, not back", func(c *metrology.Certificate) { c.Points = c.Points[:run-2] }, all, 10e3, 4},
	} {
		cert := fine()
		c.change(&cert)
		got, from, missing := names(cert)
		if !slices.Equal(got, c.names) || from != c.from || missing != c.missing {
			t.Errorf("%s: classes %v from %g, %d not assessed; want %v from %g, %d", c.what, got, from, missing, c.names, c.from, c.missing)
		}
	}
	g := metrology.Grade{Classes: []metrology.Class{{Name: "0.5", From: 20, To: 50}, {Name: "1", From: 10, To: 50}}}
	for force, want := range map[float64]string{5: "", 10: "1", 19: "1", 20: "0.5", 50: "0.5", 51: ""} {
		if c, ok := g.Best(force); c.Name != want || ok != (want != "") {
			t.Errorf("best at %g: %q %v, want %q", force, c.Name, ok, want)
		}
	}
}

// What the certificate shows is in the budget, what it does not is listed.
func TestCalibrationBudget(t *testing.T) {
	k := calibrate(t, six(0))
	b, missing := k.Budget(20e3)
	if len(missing) > 0 {
		t.Errorf("missing %q", missing)
	}
	got := map[string]float64{}
	for _, c := range b {
		got[c.Name] = c.C * c.U
	}
	slope := k.Curve.Slope(20e3)
	_, u := k.Fit.At(20e3)
	for name, want := range map[string]float64{
		"forces of the calibration machine": 2,                                    // 0.01 % of 20 kN
		"calibration curve and scatter":     math.Hypot(k.Fit.SD, u) / slope,      //
		"resolution":                        0.00001 / math.Sqrt(12) / slope,      //
		"reversibility":                     80 / math.Sqrt(3),                    // 0.2 % of 40 kN
		"zero return":                       0.0003 / 5.003 * 50e3 / math.Sqrt(3), //
	} {
		testkit.Near(t, name, got[name], want, rel(1e-9))
	}
	bare := calibrate(t, metrology.Certificate{Points: pontius(t), Degree: 2})
	if _, missing := bare.Budget(1e6); len(missing) != 4 {
		t.Errorf("missing %q", missing)
	}
}

func TestCalibrateRefusals(t *testing.T) {
	line := func(change func([]metrology.Point) []metrology.Point) metrology.Certificate {
		var p []metrology.Point
		for run := range 2 {
			for i := range 6 {
				p = append(p, metrology.Point{Force: float64(i), Signal: float64(i), Run: run})
			}
		}
		return metrology.Certificate{Degree: 1, Points: change(p)}
	}
	for _, c := range []struct {
		what   string
		change func([]metrology.Point) []metrology.Point
		degree int
		code   fault.Code
	}{
		{"zero in one run only", func(p []metrology.Point) []metrology.Point { return p[1:] }, 1, fault.Disagree},
		{"zero at the end only", func(p []metrology.Point) []metrology.Point {
			return append(p[1:6:6], metrology.Point{Falling: true})
		}, 1, fault.Missing},
		{"pushed", func(p []metrology.Point) []metrology.Point { p[3].Force = -3; return p }, 1, fault.Range},
		{"not a number", func(p []metrology.Point) []metrology.Point { p[3].Signal = math.NaN(); return p }, 1, fault.Range},
		{"turned within a run", func(p []metrology.Point) []metrology.Point { p[3].Position = 120; return p }, 1, fault.Disagree},
		{"falling only", func(p []metrology.Point) []metrology.Point {
			for i := range p {
				p[i].Falling = true
			}
			return p
		}, 1, fault.Missing},
		{"turns back", func(p []metrology.Point) []metrology.Point {
			for i := range p {
				p[i].Signal = p[i].Force * (6 - p[i].Force)
			}
			return p
		}, 2, fault.Undecided},
		{"turns back and on again", func(p []metrology.Point) []metrology.Point {
			for i := range p {
				x := p[i].Force/2.5 - 1
				p[i].Signal = x*x*x - 0.3*x
			}
			return p
		}, 3, fault.Undecided},
		{"flat", func(p []metrology.Point) []metrology.Point {
			for i := range p {
				p[i].Signal = 0
			}
			return p
		}, 1, fault.Undecided},
	} {
		cert := line(c.change)
		cert.Degree = c.degree
		_, err := metrology.Calibrate(cert)
		refused(t, c.what, err, c.code)
	}
	cert := line(func(p []metrology.Point) []metrology.Point { return p })
	cert.ForceU = -1
	_, err := metrology.Calibrate(cert)
	refused(t, "negative uncertainty", err, fault.Range)
	_, err = metrology.Straight("mV/V", 0, 2, 0)
	refused(t, "no capacity", err, fault.Range)
	_, err = metrology.Straight("mV/V", 2, 2, 10)
	refused(t, "no sensitivity", err, fault.Undecided)
}

// cell draws a cell whose curve bends by no more than makes it turn back.
func cell(t *rapid.T) (metrology.Certificate, float64) {
	capacity := math.Pow(10, rapid.Float64Range(3, 7).Draw(t, "decades"))
	full := rapid.SampledFrom([]float64{2, -2, 3e6, 1e-3}).Draw(t, "full")
	bend := rapid.Float64Range(-0.3, 0.3).Draw(t, "bend")
	twist := rapid.Float64Range(-0.1, 0.1).Draw(t, "twist")
	c := metrology.Certificate{Unit: "any", Degree: rapid.IntRange(1, 3).Draw(t, "degree")}
	lowest := rapid.IntRange(1, 4).Draw(t, "lowest")
	for run := range 2 {
		for i := lowest; i <= 12; i++ {
			z := float64(i) / 12
			noise := rapid.Float64Range(-1e-4, 1e-4).Draw(t, "noise")
			c.Points = append(c.Points, metrology.Point{Run: run, Force: z * capacity, Signal: full * (z + bend*z*(1-z) + twist*z*(1-z)*(1-2*z) + noise)})
		}
	}
	return c, capacity
}

// There and back again is where one started, far beyond the range too; more
// signal is always more force.
func TestCurveInverse(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		cert, capacity := cell(t)
		k, err := metrology.Calibrate(cert)
		if err != nil {
			t.Fatal(err)
		}
		force := capacity * rapid.Float64Range(-1, 3).Draw(t, "share")
		back, place := k.Curve.Force(k.Curve.Signal(force))
		// Rounding of the signal, over a slope of no less than half its mean.
		if math.Abs(back-force) > 1e-14*capacity {
			t.Fatalf("%g N became %g N: off by %.2g of capacity", force, back, (back-force)/capacity)
		}
		want := metrology.Within
		switch margin := 1e-9 * capacity; {
		case force < k.Curve.Low-margin:
			want = metrology.Below
		case force > k.Curve.High+margin:
			want = metrology.Above
		case force < k.Curve.Low+margin || force > k.Curve.High-margin:
			return
		}
		if place != want {
			t.Fatalf("%g N of %g..%g lies %v, want %v", force, k.Curve.Low, k.Curve.High, place, want)
		}
		more, _ := k.Curve.Force(k.Curve.Signal(force + 1e-6*capacity))
		if !(more > back) {
			t.Fatalf("%g N more gave %g after %g", 1e-6*capacity, more, back)
		}
	})
}

// The unit that a signal is written in, and the size of the newton, change
// nothing but the scale.
func TestCalibrationScales(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		cert, capacity := cell(t)
		perSignal := rapid.Float64Range(1e-3, 1e3).Draw(t, "per signal")
		perForce := rapid.Float64Range(1e-3, 1e3).Draw(t, "per force")
		other := cert
		other.Points = slices.Clone(cert.Points)
		for i := range other.Points {
			other.Points[i].Force *= perForce
			other.Points[i].Signal *= perSignal
		}
		a, errA := metrology.Calibrate(cert)
		b, errB := metrology.Calibrate(other)
		if errA != nil || errB != nil {
			t.Fatal(errA, errB)
		}
		force := capacity * rapid.Float64Range(0.2, 1).Draw(t, "share")
		there, _ := b.Curve.Force(a.Curve.Signal(force) * perSignal)
		one, _ := a.Budget(force)
		two, _ := b.Budget(force * perForce)
		for what, pair := range map[string][2]float64{
			"force": {there, force * perForce},
			"u":     {two.U(), one.U() * perForce},
			"LLF":   {b.E74().LLF, a.E74().LLF * perForce},
		} {
			if !rel(1e-9).Holds(pair[0], pair[1]) {
				t.Fatalf("%s is %g, want %g", what, pair[0], pair[1])
			}
		}
	})
}

func TestCurveWithoutCalibration(t *testing.T) {
	var none metrology.Curve
	if f, _ := none.Force(0); !math.IsNaN(f) {
		t.Errorf("a curve that was never made gave %g N", f)
	}
	c, err := metrology.Straight("N", 0, 50e3, 50e3)
	if err != nil {
		t.Fatal(err)
	}
	for _, n := range []float64{-10, 0, 20e3, 75e3} {
		f, _ := c.Force(n)
		testkit.Near(t, "force", f, n, testkit.Tol{ULPs: 1})
	}
	if f, _ := c.Force(math.NaN()); !math.IsNaN(f) {
		t.Errorf("no signal gave %g N", f)
	}
}
