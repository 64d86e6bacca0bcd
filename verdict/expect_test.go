package verdict_test

import (
	"math"
	"os"
	"strings"
	"testing"

	"plumbhook/lift"
	"plumbhook/verdict"
)

// TestZeros has the readings of a two-tier rig in closed form. The top legs
// lean by 4 in 3; all in N, with 10 N for a kilogram.
func TestZeros(t *testing.T) {
	s := &check(t, "testdata/zeros.yaml").States[0]
	// On a top leg hang half of load, bar and low legs, and half its own mass
	// below the cell, which is half way down it. Its pull goes with the length
	// of its slope, 5 for every 4 of what hangs straight down.
	bar, low, load := 400.0, 60.0, 5000.0
	slope := func(below float64) float64 { return below * 5 / 4 }
	full := slope(bar + low + load + 50)
	for _, c := range []struct {
		channel           string
		at, zero, half, e float64
	}{
		// The lower half of a top leg is lumped at the bar.
		{"TA", full, slope(bar + low + 50), 0, 20},
		{"TB", full, slope(bar + 0.75*low + 50), slope(0.25 * low), 0.005},
		{"LA", load + low/2, low * 0.25, low * 0.25, 20},
		{"LB", load + low/2, 0, 0, 20},
	} {
		found := false
		for _, e := range s.Expected {
			if e.Channel != c.channel {
				continue
			}
			found = true
			for what, pair := range map[string][2]float64{
				"force at the cell": {e.AtCellN, c.at}, "zero": {e.Cell.Zero, c.zero}, "half of its range": {e.Cell.ZeroLimit, c.half},
				"error": {e.Cell.Error + e.Cell.ErrorShare, c.e}, "reading": {e.NominalN, c.at - c.zero},
			} {
				if math.Abs(pair[0]-pair[1]) > 2e-4*math.Abs(pair[1])+0.1 { // the top legs stretch, and lean a little less
					t.Errorf("%s, %s: %.3f, want %.3f", c.channel, what, pair[0], pair[1])
				}
			}
		}
		if !found {
			t.Errorf("no cell on %s", c.channel)
		}
	}
}

// TestZeroFollowsRigging: what is zeroed away does not widen the band. The
// bar is uncertain by 16 kg and a low leg by 1 kg, the load by 30 kg.
func TestZeroFollowsRigging(t *testing.T) {
	s := &check(t, "testdata/zeros.yaml").States[0]
	e := s.Expected[0]
	if e.Channel != "TA" {
		t.Fatal(e.Channel)
	}
	// Half of the load's 300 N on a slope of 5 in 4, 95 %, and the cell's 20 N
	// either way, in quadrature. With the bar's 80 N it would be 213 N.
	half := 1.96 * math.Hypot(1.25*150/1.96, 20/math.Sqrt(3))
	if got := (e.HighN - e.LowN) / 2; math.Abs(got-half) > 0.01*half {
		t.Errorf("band ± %.1f N, want ± %.1f N", got, half)
	}
}

// TestWarmth: 0.02 % of 20 kN for each of 30 degrees is 120 N where the cell
// was zeroed on the day; a raw cell, and the slope, go by the 20 degrees
// that the site may be from the 20 °C of calibration.
func TestWarmth(t *testing.T) {
	text, err := os.ReadFile("testdata/zeros.yaml")
	if err != nil {
		t.Fatal(err)
	}
	with := func(site string) *verdict.Plan {
		t.Helper()
		l, err := lift.Read("zeros.yaml", nil, []byte(strings.NewReplacer(
			"g: 10 m/s2", "g: 10 m/s2"+site,
			"channel: TA,", "channel: TA, temperature_effect: 0.02 % fs per °C, resolution: 50 N,",
			"channel: TB,", "channel: TB, temperature_effect: 0.1 % of reading per 10 K,",
			"channel: LB,", "channel: LB, temperature_effect: [0.02 % fs per 1.8 °F, 0.1 % of reading per 10 K],",
		).Replace(string(text))))
		if err != nil {
			t.Fatal(err)
		}
		p, err := verdict.Check(l)
		if err != nil {
			t.Fatal(err)
		}
		return p
	}
	for _, e := range with(", temperature: 0..30 °C").States[0].Expected {
		want := map[string]struct{ drift, share, step float64 }{"TA": {120, 0, 50}, "TB": {0, 2e-3, 0}, "LB": {80, 2e-3, 0}}[e.Channel]
		if math.Abs(e.Cell.Drift-want.drift) > 1e-9 || math.Abs(e.Cell.DriftShare-want.share) > 1e-12 || e.Cell.Step != want.step {
			t.Errorf("%s: %+v, want %+v", e.Channel, e.Cell, want)
		}
	}
	missing := strings.Join(with("").States[0].NotAssessed, "\n")
	if strings.Count(missing, "write site.temperature") != 3 {
		t.Errorf("not told of every cell: %s", missing)
	}
}
