package metrology_test

import (
	"math"
	"slices"
	"testing"

	"pgregory.net/rapid"

	"plumbhook/internal/testkit"
	"plumbhook/metrology"
)

func TestFullScaleAndReading(t *testing.T) {
	g := fact[struct {
		Capacity, Limit, U  float64
		Independent, Shared struct{ U, Expanded float64 }
		PercentOfReading    []struct{ Limit, At, Percent float64 } `yaml:"percent_of_reading"`
	}](t, "four_cells")
	a := metrology.Accuracy{Capacity: g.Capacity, Limit: g.Limit, OfFullScale: true}
	var alone, shared metrology.Budget
	for range 4 {
		b, _ := a.Budget(10, metrology.Conditions{})
		printed(t, "one cell", b.U(), g.U, 1e-5)
		alone = append(alone, b...)
		m := a
		m.Machine = "bench 2"
		b, missing := m.Budget(10, metrology.Conditions{})
		if !slices.Contains(missing, "what cells of one calibration machine share") {
			t.Errorf("missing %q", missing)
		}
		shared = append(shared, b...)
	}
	printed(t, "independent", alone.U(), g.Independent.U, 1e-4)
	printed(t, "independent, k = 2", 2*alone.U(), g.Independent.Expanded, 0.001)
	printed(t, "shared", shared.U(), g.Shared.U, 1e-4)
	printed(t, "shared, k = 2", 2*shared.U(), g.Shared.Expanded, 0.001)
	if len(g.PercentOfReading) == 0 {
		t.Fatal("no rows")
	}
	for _, row := range g.PercentOfReading {
		a := metrology.Accuracy{Capacity: 7, Limit: row.Limit, OfFullScale: true}
		b, _ := a.Budget(7*row.At, metrology.Conditions{})
		testkit.Near(t, "share of reading", b.U()*math.Sqrt(3)/(7*row.At), row.Percent/100, rel(1e-12))
	}
	a.OfFullScale = false
	b, _ := a.Budget(-10, metrology.Conditions{})
	testkit.Near(t, "of reading", b.U(), 10*g.Limit/math.Sqrt(3), rel(1e-12))
}

func TestTemperatureTerms(t *testing.T) {
	g := fact[struct{ Capacity, Force, Change, Zero, Span float64 }](t, "temperature")
	per10 := fact[float64](t, "temperature.per_10K")
	a := metrology.Accuracy{
		Capacity: g.Capacity, OfFullScale: true,
		Resolution: new(0.0), ZeroPerK: new(per10 / 10), SpanPerK: new(per10 / 10), Creep: new(0.0002),
	}
	b, missing := a.Budget(g.Force, metrology.Conditions{SinceZero: new(-g.Change), SinceCalibration: new(g.Change)})
	if len(missing) > 0 {
		t.Errorf("missing %q", missing)
	}
	want := map[string]float64{
		"temperature effect on zero": g.Zero, "temperature effect on span": g.Span,
		"accuracy of full scale": 0, "resolution": 0, "creep": 0.0002 * g.Force,
	}
	for _, c := range b {
		testkit.Near(t, c.Name, c.U*math.Sqrt(3), want[c.Name], rel(1e-12))
		delete(want, c.Name)
	}
	if len(want) > 0 {
		t.Errorf("no line for %v", want)
	}

	// Each term has its own difference of temperature.
	b, _ = a.Budget(g.Force, metrology.Conditions{SinceZero: new(0.0), SinceCalibration: new(g.Change)})
	testkit.Near(t, "zeroed at this temperature", b.U()*math.Sqrt(3), math.Hypot(g.Span, 0.0002*g.Force), rel(1e-12))

	// A known effect is corrected, and zeroing at the new temperature leaves
	// only the span.
	curve, err := metrology.Straight("N", 0, g.Capacity, g.Capacity)
	if err != nil {
		t.Fatal(err)
	}
	c := metrology.Chain{Curve: curve, Drift: metrology.Drift{Zero: per10 / 10 * g.Capacity, Span: per10 / 10}}
	got := c.Correct(g.Force+g.Zero+g.Span, metrology.Temperature{SinceZero: g.Change, SinceCalibration: g.Change})
	testkit.Near(t, "corrected", got.Force, g.Force, rel(1e-12))
	got = c.Correct(g.Force+g.Span, metrology.Temperature{SinceCalibration: g.Change})
	testkit.Near(t, "corrected after zeroing", got.Force, g.Force, rel(1e-12))
}

// What is not stated is listed, each by its name; stated as none, it is not.
func TestNotStated(t *testing.T) {
	everything := []string{"resolution", "temperature effect on zero", "temperature effect on span", "creep"}
	_, missing := metrology.Accuracy{Capacity: 1, Limit: 0.001}.Budget(1, metrology.Conditions{})
	if !slices.Equal(missing, everything) {
		t.Errorf("missing %q", missing)
	}
	_, missing = metrology.Accuracy{Capacity: 1, Resolution: new(0.0), ZeroPerK: new(0.0), SpanPerK: new(0.0), Creep: new(0.0)}.Budget(1, metrology.Conditions{})
	if len(missing) > 0 {
		t.Errorf("none of it, and missing %q", missing)
	}
	_, missing = metrology.Accuracy{Capacity: 1, Resolution: new(0.0), ZeroPerK: new(0.1), SpanPerK: new(0.1), Creep: new(0.0)}.Budget(1, metrology.Conditions{})
	if !slices.Equal(missing, []string{"change of temperature since zero", "change of temperature since calibration"}) {
		t.Errorf("without temperatures, missing %q", missing)
	}
	a := metrology.Accuracy{Capacity: 1000, Limit: 0.001, Machine: "bench 2", MachineLimit: new(0.0005), Resolution: new(0.0), ZeroPerK: new(0.0), SpanPerK: new(0.0), Creep: new(0.0)}
	b, missing := a.Budget(500, metrology.Conditions{})
	testkit.Near(t, "with a part in common", b.U()*math.Sqrt(3), math.Hypot(0.5, 0.25), rel(1e-12))
	v := metrology.Covariance(b, b)
	testkit.Near(t, "the part in common", math.Sqrt(3*v.At(0, 1)), 0.25, rel(1e-12))
	if len(missing) > 0 {
		t.Errorf("missing %q", missing)
	}
}

// Zero first, then the curve, then the span of the field.
func TestCorrect(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		cert, capacity := cell(t)
		k, err := metrology.Calibrate(cert)
		if err != nil {
			t.Fatal(err)
		}
		zero := rapid.Float64Range(-1, 1).Draw(t, "zero") * k.Curve.Signal(capacity)
		span := rapid.Float64Range(-0.01, 0.01).Draw(t, "span")
		force := capacity * rapid.Float64Range(0, 1).Draw(t, "share")
		c := metrology.Chain{Curve: k.Curve, Zero: zero, Span: span}
		got := c.Correct(k.Curve.Signal(force)+zero, metrology.Temperature{}).Force
		if math.Abs(got-force*(1+span)) > 1e-13*capacity {
			t.Fatalf("%g N, want %g with a span of %g", got, force*(1+span), span)
		}
	})
}

func BenchmarkCorrect(b *testing.B) {
	for _, degree := range []int{1, 2, 3} {
		b.Run([]string{1: "straight", 2: "quadratic", 3: "cubic"}[degree], func(b *testing.B) {
			k := calibrate(b, metrology.Certificate{Points: pontius(b), Degree: degree})
			c := metrology.Chain{Curve: k.Curve, Zero: 0.002}
			var signals [1024]float64
			for i := range signals {
				signals[i] = 2.2 * float64(i) / float64(len(signals))
			}
			b.ReportAllocs()
			sum, i := 0.0, 0
			for b.Loop() {
				sum += c.Correct(signals[i%len(signals)], metrology.Temperature{}).Force
				i++
			}
			if !(sum >= 0) {
				b.Fatal(sum)
			}
		})
	}
}

func BenchmarkBudget(b *testing.B) {
	k := calibrate(b, six(0))
	b.Run("standard", func(b *testing.B) {
		b.ReportAllocs()
		for b.Loop() {
			budget, _ := k.Budget(25e3)
			budget.U()
		}
	})
	b.Run("expanded", func(b *testing.B) {
		for b.Loop() {
			budget, _ := k.Budget(25e3)
			budget.Expand(0.95)
		}
	})
}
