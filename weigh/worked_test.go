package weigh_test

import (
	"fmt"
	"math"
	"os"
	"testing"

	"github.com/goccy/go-yaml"

	"plumbhook/internal/testkit"
	"plumbhook/metrology"
	"plumbhook/quantity"
	"plumbhook/weigh"
)

// worked is one case of testdata/weighing.yaml.
type worked struct {
	ID       string
	Supports []struct {
		X, Y float64
		F    float64 `yaml:"F"`
		U    float64
	}
	Weighings []struct {
		W float64 `yaml:"W"`
		U float64
	}
	Hook       []float64
	LiftPoints [][]float64 `yaml:"lift_points"`
	Tensions   []float64
	U          float64
	Given      map[string]float64
	Tilted     []struct {
		Deg float64
		W1  float64 `yaml:"W1"`
	}
	Expect map[string]any
}

func cases(t *testing.T) map[string]worked {
	t.Helper()
	text, err := os.ReadFile("testdata/weighing.yaml")
	if err != nil {
		t.Fatal(err)
	}
	var file struct{ Cases []worked }
	if err := yaml.Unmarshal(text, &file); err != nil {
		t.Fatal(err)
	}
	all := map[string]worked{}
	for _, c := range file.Cases {
		all[c.ID] = c
	}
	return all
}

func (w worked) want(key string) float64 {
	switch v := w.Expect[key].(type) {
	case float64:
		return v
	case uint64:
		return float64(v)
	case int64:
		return float64(v)
	}
	panic("no " + key)
}

func at(x, y, z float64) quantity.Point {
	known := func(v float64) quantity.Measured[quantity.Length] { return quantity.Known(quantity.Length(v)) }
	return quantity.Point{X: known(x), Y: known(y), Z: known(z)}
}

// survey has cells of standard uncertainty u (zero: none stated) at points.
func survey(points []quantity.Point, u float64) *weigh.Survey {
	s := &weigh.Survey{Gravity: weigh.Gravity{Value: 9.80665}}
	for i, p := range points {
		name := fmt.Sprint(i)
		s.Points = append(s.Points, weigh.Point{Name: name, At: p})
		c := weigh.Cell{Name: name, Accuracy: metrology.Accuracy{Capacity: 1e9, Resolution: new(float64)}}
		if u > 0 {
			u95 := u * metrology.CoverageFactor(0.95, math.Inf(1))
			c.U95 = &u95
		}
		s.Cells = append(s.Cells, c)
	}
	return s
}

func seats(n int) (all []weigh.Seat) {
	for i := range n {
		all = append(all, weigh.Seat{Point: i, Cell: i})
	}
	return all
}

// place adds a placement of all cells, weighed once.
func place(s *weigh.Survey, forces ...float64) *weigh.Placement {
	p := weigh.Placement{Name: fmt.Sprint(len(s.Placements)), Seats: seats(len(forces)), Runs: [][]float64{forces}, Gross: [][]float64{forces}}
	s.Placements = append(s.Placements, p)
	return &s.Placements[len(s.Placements)-1]
}

func solve(t *testing.T, s *weigh.Survey) *weigh.Result {
	t.Helper()
	r, err := weigh.Weigh(s)
	if err != nil {
		t.Fatal(err)
	}
	return r
}

// printed is equal to the last place that a published figure shows.
func printed(t *testing.T, what string, got, want, unit float64) {
	t.Helper()
	testkit.Near(t, what, got, want, testkit.Tol{Abs: unit * 0.50001})
}

func TestSupports(t *testing.T) {
	ran := 0
	for id, c := range cases(t) {
		if c.Supports == nil {
			continue
		}
		ran++
		var points []quantity.Point
		var forces []float64
		for _, s := range c.Supports {
			points, forces = append(points, at(s.X, s.Y, 0)), append(forces, s.F)
		}
		s := survey(points, c.Supports[0].U)
		place(s, forces...)
		r := solve(t, s)
		rel := testkit.Tol{Rel: 1e-8, Abs: 1e-8}
		testkit.Near(t, id+": W", r.Force.Value, c.want("W"), rel)
		testkit.Near(t, id+": x", r.CG[0].Value, c.want("x_g_calc"), rel)
		if _, ok := c.Expect["x_g_printed"]; ok {
			printed(t, id+": x as printed", r.CG[0].Value, c.want("x_g_printed"), 0.1)
		}
		if r.Redundancy.DoF != 0 || r.Redundancy.Judged {
			t.Errorf("%s: %d left over", id, r.Redundancy.DoF)
		}
		if id != "rect-4" {
			if r.CG[1] != nil {
				t.Errorf("%s: supports in a line tell y = %g", id, r.CG[1].Value)
			}
			continue
		}
		testkit.Near(t, id+": y", r.CG[1].Value, c.want("y_g_calc"), rel)
		testkit.Near(t, id+": twist", *r.Placements[0].Twist, c.want("twist"), testkit.Tol{Abs: 1e-12})
		testkit.Near(t, id+": u of W", r.Force.Budget.U(), c.want("u_W"), testkit.Tol{Rel: 1e-5})
		testkit.Near(t, id+": u of x", r.CG[0].Budget.U(), c.want("u_x"), testkit.Tol{Rel: 1e-5})
		testkit.Near(t, id+": u of y", r.CG[1].Budget.U(), c.want("u_y"), testkit.Tol{Rel: 1e-5})
	}
	if ran != 10 {
		t.Errorf("%d cases", ran)
	}
}

// Repeat weighings of one object on three scales, one at a time, are a weighted
// mean.
func TestWeightedMean(t *testing.T) {
	c := cases(t)["weighted-mean"]
	s := survey([]quantity.Point{at(0, 0, 0), at(0, 0, 0), at(0, 0, 0)}, 1)
	for i, w := range c.Weighings {
		u := w.U * metrology.CoverageFactor(0.95, math.Inf(1))
		s.Cells[i].U95 = &u
		p := place(s, w.W)
		p.Seats = []weigh.Seat{{Point: 0, Cell: i}}
	}
	r := solve(t, s)
	testkit.Near(t, "mean", r.Force.Value, c.want("mean"), testkit.Tol{Rel: 1e-9})
	testkit.Near(t, "u", r.Force.Budget.U(), c.want("u"), testkit.Tol{Rel: 1e-8})
	testkit.Near(t, "chi²", r.Redundancy.Chi2, c.want("chi2"), testkit.Tol{Rel: 1e-7})
	if r.Redundancy.DoF != 2 || !r.Redundancy.Agrees {
		t.Errorf("%+v", r.Redundancy)
	}
}

// Slings to one hook: the horizontal balances adjust the tensions.
func TestSlingsToOneHook(t *testing.T) {
	for _, id := range []string{"sling-adjust-A", "sling-adjust-B"} {
		c := cases(t)[id]
		var points []quantity.Point
		for _, p := range c.LiftPoints {
			points = append(points, at(p[0], p[1], p[2]))
		}
		s := survey(points, c.U)
		h := at(c.Hook[0], c.Hook[1], c.Hook[2])
		place(s, c.Tensions...).Hook = &h
		r := solve(t, s)
		testkit.Near(t, id+": W", r.Force.Value, c.want("W"), testkit.Tol{Rel: 5e-9})
		testkit.Near(t, id+": u", r.Force.Budget.U(), c.want("u_W"), testkit.Tol{Rel: 1e-8})
		testkit.Near(t, id+": chi²", r.Redundancy.Chi2, c.want("chi2"), testkit.Tol{Rel: 1e-7})
		if r.Redundancy.DoF != 2 {
			t.Errorf("%s: %d left over", id, r.Redundancy.DoF)
		}
		testkit.Near(t, id+": plumb under the hook", r.CG[0].Value, c.Hook[0], testkit.Tol{Abs: 1e-9})
		if r.CG[2] != nil {
			t.Errorf("%s: a hang tells a height of %g", id, r.CG[2].Value)
		}
	}
}

func tilted(p *weigh.Placement, deg, low float64) *weigh.Placement {
	p.Tilt = &weigh.Tilt{Angle: quantity.Known(quantity.Angle(deg * math.Pi / 180)), LowSide: low}
	return p
}

// The height of the centre of gravity by tilting: the closed form h = b (W1' -
// W1)/(W tan t), and the uncertainty that follows from its derivatives.
func TestHeightByTilting(t *testing.T) {
	c := cases(t)["tilt-height"]
	w, b, w1 := c.Given["W"], c.Given["b"], c.Given["W1_level"]
	for _, x := range c.Tilted {
		const u = 0.1
		s := survey([]quantity.Point{at(0, 0, 0), at(b, 0, 0)}, 0)
		place(s, w1, w-w1)
		tilted(place(s, x.W1, w-x.W1), x.Deg, math.Pi)
		testkit.Near(t, fmt.Sprintf("h at %g deg", x.Deg), solve(t, s).CG[2].Value, c.want("h"), testkit.Tol{Rel: 1e-6})

		// The whole known, and the low support read with an error of its own each
		// time: u = b u √2/(W tan t); an error of the angle adds h/(sin t cos t).
		s = survey([]quantity.Point{at(0, 0, 0), at(b, 0, 0)}, u)
		useless, exact := 1e4, 1e-3
		for i, u95 := range []*float64{s.Cells[0].U95, &useless, s.Cells[0].U95, &useless, &exact} {
			if i >= len(s.Cells) {
				s.Cells = append(s.Cells, s.Cells[0])
			}
			s.Cells[i].Name, s.Cells[i].U95 = fmt.Sprint(i), u95
		}
		place(s, w1, w-w1)
		tilted(place(s, x.W1, w-x.W1), x.Deg, math.Pi).Seats = []weigh.Seat{{Point: 0, Cell: 2}, {Point: 1, Cell: 3}}
		place(s, w).Seats = []weigh.Seat{{Point: 0, Cell: 4}}
		sin, cos := math.Sincos(x.Deg * math.Pi / 180)
		forces := b * u * math.Sqrt2 * cos / (w * sin)
		testkit.Near(t, fmt.Sprintf("u(h) at %g deg", x.Deg), solve(t, s).CG[2].Budget.U(), forces, testkit.Tol{Rel: 1e-6})
		angle := 0.1 * math.Pi / 180
		half := quantity.Angle(metrology.CoverageFactor(0.95, math.Inf(1)) * angle)
		a := &s.Placements[1].Tilt.Angle
		a.Low, a.High, a.Shape = a.Value-half, a.Value+half, quantity.Normal
		testkit.Near(t, fmt.Sprintf("u(h) at %g deg ± 0.1 deg", x.Deg), solve(t, s).CG[2].Budget.U(),
			math.Hypot(forces, c.want("h")*angle/(sin*cos)), testkit.Tol{Rel: 1e-4})
	}
}

// Two hoists over the load: the share of one, level and tilted, tells how far
// its lift point lies above the centre of gravity when that of the other is
// known by how much it lies lower.
func TestTwoHoists(t *testing.T) {
	c := cases(t)["two-hoist-tilt-no-envelope"]
	g := c.Given
	s := survey([]quantity.Point{at(-g["c"], 0, g["a"]-g["b"]), at(g["d"], 0, 0)}, 0)
	level, tilt := c.want("share_1_static"), c.want("share_1_calc")
	place(s, level, 1-level)
	tilted(place(s, tilt, 1-tilt), g["tilt_deg"], 0)
	r := solve(t, s)
	testkit.Near(t, "in plan", r.CG[0].Value, 0, testkit.Tol{Abs: 1e-9})
	testkit.Near(t, "below the point of hoist 2", -r.CG[2].Value, c.want("b_recovered_from_share_1"), testkit.Tol{Rel: 1e-6})
}

// An inclined ship hangs from its metacentre: a weight moved across shifts the
// centre of gravity, and the heel says how far above it the metacentre lies.
func TestInclining(t *testing.T) {
	for _, id := range []string{"inclining-18", "inclining-19"} {
		c := cases(t)[id]
		shift := c.Given["w"] * c.Given["d"] / c.Given["W"]
		heel := c.Given["tilt_deg"] * math.Pi / 180
		if heel == 0 {
			heel = math.Atan(c.Given["deflection_in"] / c.Given["pendulum_in"])
		}
		// The shift as two supports a foot apart would tell it, then the heel.
		s := survey([]quantity.Point{at(0, 0, 0), at(1, 0, 0)}, 0)
		place(s, c.Given["W"]*(1-shift), c.Given["W"]*shift)
		hook := at(0, 0, 10)
		sin, cos := math.Sincos(heel)
		s.Points = append(s.Points, weigh.Point{Name: "plumb under it", At: at(9*sin, 0, 10-9*cos)})
		p := tilted(place(s, c.Given["W"]), heel*180/math.Pi, 0)
		p.Hook, p.Seats = &hook, []weigh.Seat{{Point: 2, Cell: 0}}
		r := solve(t, s)
		testkit.Near(t, id, 10-r.CG[2].Value, c.want("GM_calc"), testkit.Tol{Rel: 1e-6})
		printed(t, id+" as printed", 10-r.CG[2].Value, c.want("GM_printed"), 0.01)
	}
}
