package size

import (
	"encoding/csv"
	"fmt"
	"math"
	"os"
	"strconv"
	"strings"
	"testing"

	"plumbhook/internal/testkit"
	"plumbhook/lift"
	"plumbhook/quantity"
)

// pair is a load of w N at local gravity under two equal legs, lugs b apart, CG
// in the middle.
func pair(t testing.TB, w, b, length float64, more string) *lift.Lift {
	t.Helper()
	return bridle{
		mass: fmt.Sprintf("%.9f kg", w/float64(quantity.StandardGravity)), cg: "0 0 0.2 m",
		lugs: []string{fmt.Sprintf("%.9f 0 1 m", -b/2), fmt.Sprintf("%.9f 0 1 m", b/2)}, lengths: []float64{length, length}, leg: more,
	}.lift(t)
}

func under(t testing.TB, l *lift.Lift, limit float64, m Margin, ranges ...Range) *Headroom {
	t.Helper()
	h, err := Under(l, limit, Goal{Within: 0.5 * degree}, m, ranges)
	if err != nil {
		t.Fatal(err)
	}
	return h
}

// TestHeadroom: two equal legs L on lugs b apart stand H = √(L² - b²/4) high, at
// asin(H/L) from horizontal, each with W/(2 sin) in it.
func TestHeadroom(t *testing.T) {
	const w, b, limit = 30e3, 2.0, 1.5
	h := under(t, pair(t, w, b, 3, ", wll: 2.5 t"), limit, Margin{LeastAngle: rad(45)})
	full := math.Hypot(limit, b/2)
	for i := range 2 {
		leg := h.Longest.Exact.Legs[i]
		testkit.Near(t, "length", leg.To, full, testkit.Tol{Abs: 1e-6})
		testkit.Near(t, "angle", float64(leg.FromHorizontal), math.Asin(limit/full), testkit.Tol{Abs: 1e-6})
		testkit.Near(t, "factor", leg.Factor, full/limit, testkit.Tol{Rel: 1e-6})
		testkit.Near(t, "tension", leg.TensionN, w/2*full/limit, testkit.Tol{Rel: 1e-6})
		testkit.Near(t, "practical length", h.Longest.Practical.Legs[i].To, math.Floor(full*1000)/1000, testkit.Tol{Abs: 1e-9})
	}
	if got := h.Longest.Practical.Hung.HeadroomM; got > limit || got < limit-0.002 {
		t.Errorf("takes up %g m of %g", got, limit)
	}
	if !h.Fits || len(h.Reasons) > 0 {
		t.Errorf("fits %v: %s", h.Fits, told(h.Reasons))
	}
	// 45° needs half the spacing; the rating holds down to sin = W/2 / WLL.
	testkit.Near(t, "least by angle", h.ByAngle.Hung.HeadroomM, b/2, testkit.Tol{Abs: 1e-3})
	wll := 2500 * float64(quantity.StandardGravity)
	sine := w / 2 / wll
	testkit.Near(t, "least by rating", h.ByRating.Hung.HeadroomM, b/2*math.Tan(math.Asin(sine)), testkit.Tol{Abs: 5e-3})
	for _, leg := range h.ByRating.Legs {
		if u := *leg.Utilisation; u > 1 || u < 0.99 {
			t.Errorf("the least headroom by rating uses %g of it", u)
		}
	}
}

// TestHeadroomCannot: what stands against a fit is told, and what it would take.
func TestHeadroomCannot(t *testing.T) {
	testkit.Alone(t)
	const w, b = 30e3, 2.0
	rated := pair(t, w, b, 3, ", wll: 2.5 t")
	for _, k := range []struct {
		name   string
		lift   *lift.Lift
		limit  float64
		margin Margin
		ranges []Range
		fits   bool
		told   []string
	}{
		{"too flat", rated, 0.9, Margin{LeastAngle: rad(60)}, nil, false, []string{"leg l0 stands at 42.", "flatter than the 60.0° that is asked for"}},
		{"too weak", rated, 0.6, Margin{}, nil, false, []string{"leg l0 would have to be rated for 29.", "it is rated for 24.517 kN"}},
		{"too weak with a margin", rated, 1.2, Margin{Dynamic: 1.1, Share: 0.25}, nil, false, []string{"would have to be rated for 26.8"}},
		{"too long", rated, 1.5, Margin{}, []Range{{"l0", 2.4, 3, 0}, {"l1", 2.4, 3, 0}}, false, []string{"no lengths fit: the lowest rig that hangs the load as wanted takes 2.182 m, and 1.500 m are there"}},
		{"longest there is", rated, 3.5, Margin{}, []Range{{"l0", 2.4, 3, 0}, {"l1", 2.4, 3, 0}}, true, []string{"the longest legs there are take up 2.828 m of the 3.500 m"}},
		{"no rating", pair(t, w, b, 3, ""), 1.5, Margin{}, nil, false, []string{"leg l0 has no rating (lift.yaml:13:3)"}},
		{"never steep enough", rated, 2.5, Margin{LeastAngle: rad(80)}, []Range{{"l0", 2.4, 3, 0}, {"l1", 2.4, 3, 0}}, false, []string{"no lengths stand as steep as is asked for"}},
		{"never holds", pair(t, w, b, 3, ", wll: 1.5 t"), 2.5, Margin{}, nil, false, []string{"at no lengths do the ratings of the legs hold"}},
	} {
		t.Run(k.name, func(t *testing.T) {
			h := under(t, k.lift, k.limit, k.margin, k.ranges...)
			if h.Fits != k.fits {
				t.Errorf("fits %v", h.Fits)
			}
			for _, part := range k.told {
				if !strings.Contains(told(h.Reasons), part) {
					t.Errorf("%q is not told in\n%s", part, told(h.Reasons))
				}
			}
		})
	}
	// Four legs have to hold the worst share: two across, half the load each.
	four := bridle{
		mass: "4 t", cg: "0 0 0 m", lugs: []string{"-1 1 1 m", "1 1 1 m", "1 -1 1 m", "-1 -1 1 m"}, lengths: []float64{3, 3, 3, 3}, leg: ", stiffness: 20 MN/m, wll: 2.2 t",
	}.lift(t)
	across := under(t, four, 2.5, Margin{})
	if most := across.Longest.Practical.Legs[0]; across.Fits || *most.Utilisation > 1 || !strings.Contains(told(across.Reasons), "would have to be rated for 22.") {
		t.Errorf("fits %v at %g of the rating: %s", across.Fits, *most.Utilisation, told(across.Reasons))
	}
	// They do at sin = W/2 / WLL, where the lugs are √2 m from the middle; a
	// thousandth of the rating is 2 cm of height there.
	testkit.Near(t, "least by rating", across.ByRating.Hung.HeadroomM, math.Sqrt2*math.Tan(math.Asin(2/2.2)), testkit.Tol{Abs: 0.03})
	// A spreader that is rated for a top angle asks for it by itself.
	gate := under(t, example(t, "stoplog-gate"), 4, Margin{})
	if gate.Fits || !strings.Contains(told(gate.Reasons), "flatter than the 55.0° that spreader bar is rated for") {
		t.Errorf("fits %v: %s", gate.Fits, told(gate.Reasons))
	}
	if got := gate.ByAngle.Legs[0].FromHorizontal; math.Abs(float64(got)-55*degree) > 1e-3 || !gate.ByAngle.Legs[0].Sized || gate.ByAngle.Legs[2].Sized {
		t.Errorf("the least headroom by angle has its top legs at %v°", float64(got)/degree)
	}
}

// TestPublishedAngles: published worked examples of two equal legs, one length
// given through the other; testdata/README.md has their sources.
func TestPublishedAngles(t *testing.T) {
	f, err := os.Open("testdata/angles.csv")
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	for _, row := range rows[1:] {
		t.Run(row[0], func(t *testing.T) {
			length := func(s string) float64 {
				if s == "" {
					return 0
				}
				m, err := quantity.Parse[quantity.Length](s)
				if err != nil {
					t.Fatal(err)
				}
				return float64(m.Value)
			}
			force := func(s string) float64 {
				r, err := quantity.ParseRating(s)
				if err != nil {
					t.Fatal(err)
				}
				return float64(r.Force)
			}
			b, long, high := length(row[2]), length(row[3]), length(row[4])
			if b == 0 {
				b = 2 * math.Sqrt(long*long-high*high)
			}
			if high == 0 {
				high = math.Sqrt(long*long - b*b/4)
			}
			tol, err := strconv.ParseFloat(row[7], 64)
			if err != nil {
				t.Fatal(err)
			}
			// From other lengths, the program has to come to the published ones.
			h := under(t, pair(t, force(row[1]), b, 1.2*long, ""), high, Margin{})
			leg := h.Longest.Exact.Legs[0]
			testkit.Near(t, "length", leg.To, long, testkit.Tol{Rel: 1e-6})
			if row[5] != "" {
				testkit.Near(t, "tension", leg.TensionN, force(row[5]), testkit.Tol{Rel: tol})
				testkit.Near(t, "factor", leg.Factor, force(row[5])/(force(row[1])/2), testkit.Tol{Rel: tol})
			}
			if row[6] != "" {
				want, err := strconv.ParseFloat(row[6], 64)
				if err != nil {
					t.Fatal(err)
				}
				testkit.Near(t, "angle", float64(leg.FromHorizontal)/degree, want, testkit.Tol{Abs: 1e-3})
			}
		})
	}
}
