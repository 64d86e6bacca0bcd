package crane_test

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"plumbhook/crane"
	"plumbhook/quantity"
)

// The demo crawler, read by hand. Empty: nothing is allowed.
func TestCapacity(t *testing.T) {
	ch := demo(t, "crawler-crane.csv")
	for _, c := range []struct {
		radius, boom, want string
		cells              int
		words              []string
	}{
		{"12 m", "24 m", "9.5 t", 1, nil},
		{"4 m", "12 m", "33.7 t", 1, nil},
		{"32 m", "36 m", "2.25 t", 1, nil},
		{"39 ft", "24 m", "9.5 t", 2, []string{"39 ft between the charted 10 m and 12 m", "radius 12 m with boom 24 m"}},
		{"12.001 m", "24 m", "7.85 t", 2, []string{"between the charted 12 m and 14 m", "at radius 14 m"}},
		{"11.999 m", "24 m", "9.5 t", 2, []string{"at radius 12 m"}},
		{"12 m", "20 m", "9.5 t", 2, []string{"boom length 20 m between the charted 18 m and 24 m", "with boom 24 m"}},
		{"13 m", "20 m", "7.85 t", 4, []string{"least of the 4 figures"}},
		{"5.5 m", "26 m", "22.55 t", 4, []string{"radius 6 m with boom 30 m"}}, // 26.3, 22.65; 23.7, 22.55
		{"13 ft 4 in", "12 m", "31.3 t", 2, nil},                               // 4.064 m
		{"11.5..12.5 m", "24 m", "7.85 t", 3, []string{"between the charted 10 m and 14 m"}},
		{"12 m ± 0.1 m", "24 m", "7.85 t", 3, nil},

		{"3.9 m", "12 m", "", 0, []string{"less than the least", "4 m"}},
		{"33 m", "36 m", "", 0, []string{"more than the largest", "32 m"}},
		{"12 m", "11 m", "", 0, []string{"boom length 11 m is less than the least", "12 m"}},
		{"12 m", "37 m", "", 0, []string{"boom length 37 m is more than the largest", "36 m"}},
		{"40 m", "60 m", "", 0, []string{"radius 40 m", "boom length 60 m"}},
		{"12 m", "12 m", "", 1, []string{"nothing at radius 12 m with boom 12 m"}},
		{"11 m", "12 m", "", 2, []string{"nothing at radius 12 m with boom 12 m"}},
		{"12 m", "15 m", "", 2, []string{"nothing at radius 12 m with boom 12 m"}}, // the longer boom alone is not taken
		{"4.5 m", "30 m", "", 2, []string{"nothing at radius 4 m with boom 30 m"}}, // too steep to stand on
		{"31..33 m", "36 m", "", 0, []string{"more than the largest"}},
	} {
		t.Run(c.radius+", "+c.boom, func(t *testing.T) {
			a := ch.Capacity("crane.main", length(t, c.radius), length(t, c.boom))
			if len(a.Cells) != c.cells {
				t.Errorf("looked at %d cells, want %d: %s", len(a.Cells), c.cells, a.Text)
			}
			for _, w := range c.words {
				if !strings.Contains(a.Text, w) {
					t.Errorf("says %q, which lacks %q", a.Text, w)
				}
			}
			if c.want == "" {
				if a.Capacity != nil || a.Governs != -1 {
					t.Fatalf("allows %+v, want nothing", a)
				}
				f := one(t, a.Findings, "chart-capacity", crane.Stop, "no capacity")
				if f.Where != "crane.main" || !strings.Contains(f.Source, "invented for the examples") {
					t.Errorf("finding %+v", f)
				}
				return
			}
			if a.Capacity == nil || a.Capacity.Text != c.want {
				t.Fatalf("%s, want %s", a.Text, c.want)
			}
			if got := a.Cells[a.Governs].Capacity; got != a.Capacity {
				t.Errorf("the governing cell has %s", got.Text)
			}
			if a.Exact != (c.cells == 1) || len(found(a.Findings, "chart-capacity")) != min(1, c.cells-1) {
				t.Errorf("exact %v, findings %+v", a.Exact, a.Findings)
			}
		})
	}
}

func TestCapacityOfRisingChart(t *testing.T) {
	ch := parse(t, head+"3,10,9,8\n4,11,8,7\n")
	a := ch.Capacity("", length(t, "3.5 m"), length(t, "12 m"))
	if a.Capacity.Text != "10 t" {
		t.Errorf("%s: the figure at the smaller radius is the lower one", a.Text)
	}
}

// Of equal figures the one farther out is named.
func TestEqualFigures(t *testing.T) {
	a := parse(t, head+"3,9,9,9\n4,9,9,9\n").Capacity("", length(t, "3.5 m"), length(t, "15 m"))
	if x := a.Cells[a.Governs]; x.Radius.Text != "4 m" || x.Boom.Text != "18 m" {
		t.Errorf("%s", a.Text)
	}
}

func TestNoFigure(t *testing.T) {
	ch := parse(t, head+"3,10,9,8\n4,9,8,7\n")
	for _, v := range []float64{math.NaN(), math.Inf(1), math.Inf(-1), -1, 0} {
		bad, good := quantity.Known(quantity.Length(v)), length(t, "12 m")
		if a := ch.Capacity("", bad, good); a.Capacity != nil || len(a.Findings) != 1 {
			t.Errorf("radius %v: %+v", v, a)
		}
		if a := ch.Capacity("", length(t, "3 m"), bad); a.Capacity != nil || len(a.Findings) != 1 {
			t.Errorf("boom %v: %+v", v, a)
		}
	}
}

func TestReach(t *testing.T) {
	ch := demo(t, "crawler-crane.csv")
	for boom, want := range map[string]float64{"12 m": 10, "18 m": 16, "15 m": 10, "36 m": 32, "33 m": 26} {
		if r := ch.Reach(length(t, boom)); r == nil || float64(*r) != want {
			t.Errorf("boom %s reaches %v, want %v m", boom, r, want)
		}
	}
	if r := ch.Reach(length(t, "40 m")); r != nil {
		t.Errorf("a boom outside the chart reaches %v", *r)
	}
}

// anyChart draws a chart; with falling capacities when monotone.
func anyChart(t *rapid.T, monotone bool) *crane.Chart {
	booms := rapid.IntRange(1, 5).Draw(t, "booms")
	radii := rapid.IntRange(1, 8).Draw(t, "radii")
	b := "capacity in kg\nradius in m"
	at := 0
	for range booms {
		at += rapid.IntRange(1, 6).Draw(t, "longer")
		b += fmt.Sprintf(",%d m", at)
	}
	last := make([]int, booms)
	for k := range last {
		last[k] = 60_000
	}
	at = 0
	for range radii {
		at += rapid.IntRange(1, 5).Draw(t, "farther")
		b += fmt.Sprintf("\n%d", at)
		for k := range booms {
			if rapid.IntRange(0, 5).Draw(t, "hole") == 0 {
				b += ",-"
				continue
			}
			most := 60_000
			if monotone {
				most = last[k]
			}
			last[k] = rapid.IntRange(1, most).Draw(t, "capacity")
			b += fmt.Sprintf(",%d", last[k])
		}
	}
	c, err := crane.Parse("drawn.csv", []byte(b))
	if err != nil {
		// A chart that allows nothing.
		t.Skip(err)
	}
	return c
}

func anywhere(t *rapid.T, axis []quantity.Measured[quantity.Length], name string) float64 {
	most := float64(axis[len(axis)-1].Value)
	if rapid.Bool().Draw(t, name+" charted") {
		return float64(rapid.SampledFrom(axis).Draw(t, name).Value)
	}
	return rapid.Float64Range(0, most*1.1).Draw(t, name)
}

// never is the capacity a rigger would never go beyond: the least of every
// cell that no other charted line parts from the place, nothing if one of them
// is empty or a side has none. It looks at all cells, by another way than the
// package.
func never(c *crane.Chart, r, b float64) float64 {
	near := func(axis []quantity.Measured[quantity.Length], i int, v float64) bool {
		x := float64(axis[i].Value)
		for k := range axis {
			if y := float64(axis[k].Value); y == v && x != v || x < y && y < v || v < y && y < x {
				return false
			}
		}
		return true
	}
	least := math.Inf(1)
	var sides [4]bool
	for i := range c.Radii {
		for k := range c.Booms {
			if !near(c.Radii, i, r) || !near(c.Booms, k, b) {
				continue
			}
			x, y := float64(c.Radii[i].Value), float64(c.Booms[k].Value)
			sides[0], sides[1] = sides[0] || x <= r, sides[1] || x >= r
			sides[2], sides[3] = sides[2] || y <= b, sides[3] || y >= b
			if c.Cells[i][k] == nil {
				return 0
			}
			least = min(least, float64(c.Cells[i][k].Force))
		}
	}
	if sides != [4]bool{true, true, true, true} {
		return 0
	}
	return least
}

func TestNeverAboveTheNeighbours(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		c := anyChart(t, false)
		r, b := anywhere(t, c.Radii, "radius"), anywhere(t, c.Booms, "boom")
		a := c.Capacity("", quantity.Known(quantity.Length(r)), quantity.Known(quantity.Length(b)))
		got := 0.0
		if a.Capacity != nil {
			got = float64(a.Capacity.Force)
		}
		if want := never(c, r, b); got != want {
			t.Fatalf("%v N at %v, %v; want %v: %s", got, r, b, want, a.Text)
		}
		if len(a.Cells) > 4 {
			t.Fatalf("looked at %d cells", len(a.Cells))
		}
	})
}

func TestNeverRisesWithRadius(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		c := anyChart(t, true)
		if n := len(found(c.Findings, "chart-rises")); n != 0 {
			t.Fatalf("%d rises in a chart that falls", n)
		}
		b := quantity.Known(quantity.Length(anywhere(t, c.Booms, "boom")))
		r, s := anywhere(t, c.Radii, "radius"), anywhere(t, c.Radii, "radius")
		near := c.Capacity("", quantity.Known(quantity.Length(min(r, s))), b)
		far := c.Capacity("", quantity.Known(quantity.Length(max(r, s))), b)
		if near.Capacity != nil && far.Capacity != nil && far.Capacity.Force > near.Capacity.Force {
			t.Fatalf("%s at %v m, and %s at %v m", near.Capacity.Text, min(r, s), far.Capacity.Text, max(r, s))
		}
	})
}

// A wider spread never gives more.
func TestSpreadNeverHelps(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		c := anyChart(t, false)
		r, b := anywhere(t, c.Radii, "radius"), anywhere(t, c.Booms, "boom")
		d := rapid.Float64Range(0, 4).Draw(t, "spread")
		wide := quantity.Measured[quantity.Length]{
			Value: quantity.Length(r), Low: quantity.Length(r - d), High: quantity.Length(r + d), Shape: quantity.Uniform,
		}
		boom := quantity.Known(quantity.Length(b))
		with := c.Capacity("", wide, boom)
		if with.Capacity == nil {
			return
		}
		for _, x := range []float64{r - d, r, r + d} {
			if a := c.Capacity("", quantity.Known(quantity.Length(x)), boom); a.Capacity == nil || a.Capacity.Force < with.Capacity.Force {
				t.Fatalf("%s over %v..%v, and %s at %v", with.Capacity.Text, r-d, r+d, a.Text, x)
			}
		}
	})
}
