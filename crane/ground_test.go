package crane_test

import (
	"math"
	"strings"
	"testing"

	"plumbhook/crane"
	"plumbhook/fault"
	"plumbhook/internal/testkit"
	"plumbhook/quantity"
)

func TestByShare(t *testing.T) {
	// By hand: 75 % of 60 t and 98.0665 kN is 0.75 × (588.399 + 98.0665) kN.
	r, err := crane.ByShare(0.75, 60_000, 98_066.5, quantity.StandardGravity, "maker's table 7")
	if err != nil {
		t.Fatal(err)
	}
	testkit.Near(t, "reaction", r.N, 514_849.125, testkit.Tol{ULPs: 4})
	if r.From != "maker's table 7" || !strings.Contains(r.How, "75.0 %") {
		t.Errorf("%+v", r)
	}
	for _, bad := range []float64{0, -0.1, 1.01, math.NaN()} {
		_, err := crane.ByShare(quantity.Ratio(bad), 60_000, 1, quantity.StandardGravity, "x")
		refused(t, err, fault.Range)
	}
	_, err = crane.ByShare(0.5, -1, 1, quantity.StandardGravity, "x")
	refused(t, err, fault.Range)
}

func TestUnder(t *testing.T) {
	// A mat of 2 m by 1.5 m and 500 kg, a foot of 0.25 m², a reaction of
	// 295 096.675 N: with the mat's own 4903.325 N that is 300 kN, so 100 kPa
	// over the mat, 1200 kPa under the foot, 200 kPa over 1.5 m².
	mat := crane.Mat{Length: 2, Width: 1.5, Mass: ptr(quantity.Mass(500)), Foot: ptr(quantity.Area(0.25))}
	stiff := mat
	stiff.Stiff = "the temporary works engineer"
	part := mat
	part.Effective, part.EffectiveFrom = ptr(quantity.Area(1.5)), "calculation 12"
	unsigned := part
	unsigned.EffectiveFrom = ""
	bare := crane.Mat{Length: 2, Width: 1.5, Mass: mat.Mass}
	weightless := stiff
	weightless.Mass = nil
	r := crane.Reaction{N: 295_096.675, From: "maker's table 7"}
	allow := func(kPa float64) crane.Ground {
		return crane.Ground{Allowable: ptr(quantity.Pressure(kPa * 1000)), From: "geotechnical report 3"}
	}
	for _, c := range []struct {
		name     string
		r        crane.Reaction
		mat      crane.Mat
		soil     crane.Ground
		pressure float64 // kPa; 0: none
		share    float64
		status   crane.Status
		missing  string
		words    []string
	}{
		{"stiff mat", r, stiff, allow(125), 100, 0.8, crane.Holds, "", []string{"whole mat", "temporary works engineer", "100 kPa", "125 kPa"}},
		{"stiff mat, weak ground", r, stiff, allow(80), 100, 1.25, crane.Fails, "", []string{"80 kPa"}},
		{"at the limit", r, stiff, allow(100), 100, 1, crane.Holds, "", nil},
		{"nobody says stiff", r, mat, allow(125), 1200, 9.6, crane.Fails, "", []string{"the foot alone"}},
		{"effective area", r, part, allow(250), 200, 0.8, crane.Holds, "", []string{"calculation 12"}},
		{"effective area of nobody", r, unsigned, allow(250), 200, 0.8, crane.NotAssessed, "effective area", nil},
		{"no area", r, bare, allow(250), 0, 0, crane.NotAssessed, "area under the mat", nil},
		{"no mat weight", r, weightless, allow(250), 98.365558333, 0.39346223333, crane.NotAssessed, "own weight", nil},
		{"no mat weight, weak ground", r, weightless, allow(80), 98.365558333, 1.2295694792, crane.Fails, "own weight", nil},
		{"no allowable", r, stiff, crane.Ground{}, 100, 0, crane.NotAssessed, "no allowable pressure", nil},
		{"allowable of nobody", r, stiff, crane.Ground{Allowable: ptr(quantity.Pressure(125_000))}, 100, 0.8, crane.NotAssessed, "nobody stands behind the allowable", nil},
		{"reaction of nobody", crane.Reaction{N: r.N}, stiff, allow(125), 100, 0.8, crane.NotAssessed, "reaction", nil},
	} {
		t.Run(c.name, func(t *testing.T) {
			b, err := crane.Under("crane.main.mat", c.r, c.mat, c.soil, quantity.StandardGravity)
			if err != nil {
				t.Fatal(err)
			}
			if (b.PressurePa != nil) != (c.pressure > 0) || (b.Share != nil) != (c.share > 0) {
				t.Fatalf("%+v", b)
			}
			if b.PressurePa != nil {
				testkit.Near(t, "pressure", *b.PressurePa, c.pressure*1000, testkit.Tol{Rel: 1e-10})
			}
			if b.Share != nil {
				testkit.Near(t, "share", *b.Share, c.share, testkit.Tol{Rel: 1e-10})
				sev := crane.Note
				if c.share > 1 {
					sev = crane.Stop
				}
				one(t, b.Findings, "ground-pressure", sev, c.words...)
			}
			if b.Status != c.status {
				t.Errorf("%s, want %s", b.Status, c.status)
			}
			if got := strings.Join(b.NotAssessed, "; "); !strings.Contains(got, c.missing) || (got == "") != (c.missing == "") {
				t.Errorf("not assessed: %q, want %q", got, c.missing)
			}
			one(t, b.Findings, "ground-documented", crane.Note, "culverts")
		})
	}
	for name, change := range map[string]func(*crane.Reaction, *crane.Mat, *crane.Ground){
		"pulling":       func(r *crane.Reaction, _ *crane.Mat, _ *crane.Ground) { r.N = -1 },
		"not a force":   func(r *crane.Reaction, _ *crane.Mat, _ *crane.Ground) { r.N = math.NaN() },
		"no width":      func(_ *crane.Reaction, m *crane.Mat, _ *crane.Ground) { m.Width = 0 },
		"light mat":     func(_ *crane.Reaction, m *crane.Mat, _ *crane.Ground) { m.Mass = ptr(quantity.Mass(-1)) },
		"wide foot":     func(_ *crane.Reaction, m *crane.Mat, _ *crane.Ground) { m.Foot = ptr(quantity.Area(3.1)) },
		"no area":       func(_ *crane.Reaction, m *crane.Mat, _ *crane.Ground) { m.Effective = ptr(quantity.Area(0)) },
		"no ground":     func(_ *crane.Reaction, _ *crane.Mat, g *crane.Ground) { g.Allowable = ptr(quantity.Pressure(0)) },
		"upward ground": func(_ *crane.Reaction, _ *crane.Mat, g *crane.Ground) { g.Allowable = ptr(quantity.Pressure(-1)) },
	} {
		r, m, g := r, stiff, allow(100)
		change(&r, &m, &g)
		_, err := crane.Under("crane.main.mat", r, m, g, quantity.StandardGravity)
		t.Run(name, func(t *testing.T) { refused(t, err, fault.Range, "crane.main.mat") })
	}
}
