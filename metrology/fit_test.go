package metrology_test

import (
	"math"
	"testing"

	"pgregory.net/rapid"

	"plumbhook/fault"
	"plumbhook/internal/testkit"
	"plumbhook/metrology"
)

type straight struct {
	B, SD      []float64
	ResidualSD float64 `yaml:"residual_sd"`
	ResidualSS float64 `yaml:"residual_ss"`
}

// digits is -log10 of the relative error, as the publisher scores programs.
func digits(got, want float64) float64 { return -math.Log10(math.Abs(got-want) / math.Abs(want)) }

func TestPontiusCertified(t *testing.T) {
	want := fact[straight](t, "pontius.certified")
	x, y := columns(pontius(t))
	f, err := metrology.FitPolynomial(x, y, 2)
	if err != nil {
		t.Fatal(err)
	}
	b, cov := f.Coefficients()
	unscaled := fact[[][]float64](t, "pontius.covariance")
	for k := range b {
		testkit.Near(t, "coefficient", b[k], want.B[k], rel(1e-11))
		testkit.Near(t, "standard deviation", math.Sqrt(cov.At(k, k)), want.SD[k], rel(1e-12))
		t.Logf("b%d to %.1f digits, its sd to %.1f", k, digits(b[k], want.B[k]), digits(math.Sqrt(cov.At(k, k)), want.SD[k]))
		for j := range b {
			testkit.Near(t, "covariance", cov.At(k, j), unscaled[k][j]*want.ResidualSD*want.ResidualSD, rel(1e-11))
		}
	}
	testkit.Near(t, "residual sd", f.SD, want.ResidualSD, rel(1e-12))
	ss := 0.0
	for _, d := range f.Residuals {
		ss += d * d
	}
	testkit.Near(t, "residual sum of squares", ss, want.ResidualSS, rel(1e-12))
	if f.N != 40 || f.DoF != 37 {
		t.Errorf("%d points, %d degrees of freedom", f.N, f.DoF)
	}
}

// The straight line is the wrong model of these data, and a well-known one to
// compute.
func TestPontiusStraightLine(t *testing.T) {
	want := fact[straight](t, "pontius.straight")
	x, y := columns(pontius(t))
	f, err := metrology.FitPolynomial(x, y, 1)
	if err != nil {
		t.Fatal(err)
	}
	b, cov := f.Coefficients()
	for k := range b {
		testkit.Near(t, "coefficient", b[k], want.B[k], rel(1e-11))
		testkit.Near(t, "standard deviation", math.Sqrt(cov.At(k, k)), want.SD[k], rel(1e-7))
	}
	testkit.Near(t, "residual sd", f.SD, want.ResidualSD, rel(1e-11))
}

// Force over deflection is another curve, and not the inverse of this one.
func TestPontiusReverse(t *testing.T) {
	want := fact[struct {
		ResidualSD float64 `yaml:"residual_sd"`
		Load       float64 `yaml:"load_at_1239722"`
	}](t, "pontius.reverse")
	x, y := columns(pontius(t))
	f, err := metrology.FitPolynomial(y, x, 2)
	if err != nil {
		t.Fatal(err)
	}
	printed(t, "residual sd", f.SD, want.ResidualSD, 0.001)
	load, _ := f.At(1.239722)
	printed(t, "load", load, want.Load, 0.01)
}

func TestThermometer(t *testing.T) {
	want := fact[struct {
		T0      float64
		T, B    []float64
		Y, U    []float64
		R, S    float64
		AtThird struct{ B, U float64 } `yaml:"at_30"`
	}](t, "gum_h3")
	f, err := metrology.FitPolynomial(want.T, want.B, 1)
	if err != nil {
		t.Fatal(err)
	}
	y, cov := f.Coefficients()
	for k := range y {
		printed(t, "y", y[k], want.Y[k], 1e-8)
		testkit.Near(t, "u(y)", math.Sqrt(cov.At(k, k)), want.U[k], rel(2e-5))
	}
	printed(t, "r", cov.At(0, 1)/math.Sqrt(cov.At(0, 0)*cov.At(1, 1)), want.R, 1e-5)
	printed(t, "s", f.SD, want.S, 1e-8)
	b, u := f.At(30 - want.T0)
	printed(t, "b(30)", b, want.AtThird.B, 1e-8)
	printed(t, "u(b(30))", u, want.AtThird.U, 1e-8)
}

func TestFitRefusals(t *testing.T) {
	for _, c := range []struct {
		what   string
		x, y   []float64
		degree int
		code   fault.Code
	}{
		{"degree 0", []float64{1, 2, 3}, []float64{1, 2, 3}, 0, fault.Range},
		{"degree 4", []float64{1, 2, 3, 4, 5, 6}, []float64{1, 2, 3, 4, 5, 6}, 4, fault.Range},
		{"uneven columns", []float64{1, 2, 3}, []float64{1, 2}, 1, fault.Disagree},
		{"no point to spare", []float64{1, 2}, []float64{1, 2}, 1, fault.Missing},
		{"too few forces", []float64{1, 1, 2, 2}, []float64{1, 1, 2, 2}, 2, fault.Missing},
		{"forces that cannot be told apart", []float64{1, 1 + 1e-15, 1 + 2e-15, 1 + 3e-15, 1}, []float64{1, 1, 1, 1, 1}, 3, fault.Undecided},
		{"nothing", nil, nil, 1, fault.Missing},
		{"not a number", []float64{1, 2, math.NaN()}, []float64{1, 2, 3}, 1, fault.Range},
		{"no end", []float64{1, 2, 3}, []float64{1, 2, inf}, 1, fault.Range},
	} {
		_, err := metrology.FitPolynomial(c.x, c.y, c.degree)
		refused(t, c.what, err, c.code)
	}
}

// Points on a polynomial give that polynomial back.
func TestFitFindsThePolynomial(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		degree := rapid.IntRange(1, 3).Draw(t, "degree")
		capacity := math.Pow(10, rapid.Float64Range(3, 7).Draw(t, "decades"))
		var c [4]float64
		for k := range degree + 1 {
			c[k] = rapid.Float64Range(-2, 2).Draw(t, "coefficient")
		}
		var x, y []float64
		for i := range 12 {
			z := float64(i+1) / 12
			x, y = append(x, z*capacity), append(y, c[0]+z*(c[1]+z*(c[2]+z*c[3])))
		}
		f, err := metrology.FitPolynomial(x, y, degree)
		if err != nil {
			t.Fatal(err)
		}
		b, _ := f.Coefficients()
		for k := range b {
			// Condition of the cubic in z at most 1e4: 1e-16 grows to 1e-12.
			if got := b[k] * math.Pow(capacity, float64(k)); math.Abs(got-c[k]) > 1e-11 {
				t.Fatalf("c%d is %g, want %g", k, got, c[k])
			}
		}
	})
}
