package takeoff_test

import (
	"encoding/json"
	"math"
	"os"
	"testing"

	"plumbhook/quantity"
	"plumbhook/takeoff"
)

// example is a worked example of a published text, with where it stands.
type example struct {
	ID, Source, Status, Address, Note string
	Given                             []struct {
		Name  string
		Value json.RawMessage
		Unit  string
	}
	Published []struct {
		Name     string
		Value    float64
		Unit     string
		Abs      float64 // what the published rounding allows
		Misprint bool
	}
}

// v is the jth number of the ith given fact.
func (e example) v(i, j int) float64 {
	var list []float64
	if json.Unmarshal(e.Given[i].Value, &list) != nil {
		list = make([]float64, 1)
		if err := json.Unmarshal(e.Given[i].Value, &list[0]); err != nil {
			panic(err)
		}
	}
	return list[j]
}

const (
	pound = 0.45359237 // kg
	inch  = 0.0254     // m
	foot  = 0.3048     // m
	mm    = 0.001      // m
)

func mass(kg float64) *quantity.Measured[quantity.Mass]     { return exact[quantity.Mass](kg) }
func volume(m3 float64) *quantity.Measured[quantity.Volume] { return exact[quantity.Volume](m3) }
func dense(v float64) *quantity.Measured[quantity.Density]  { return exact[quantity.Density](v) }

// ours answers each example in the names and units of the text.
var ours = map[string]func(t *testing.T, e example) map[string]float64{
	"D01-hardwood-stack": func(t *testing.T, e example) map[string]float64 {
		p := work(t, takeoff.Item{
			Shape: shape("plate", "length", e.v(0, 0), "thickness", e.v(1, 0), "width", e.v(2, 0)), Material: "Hardwood", At: at(0, 0, 0),
		})
		return map[string]float64{"volume": float64(p.Mass.Value) / e.v(3, 0), "weight": float64(p.Mass.Value)}
	},
	"D02-volumes-with-sphere-misprint": func(t *testing.T, e example) map[string]float64 {
		v := func(s *takeoff.Shape, mesh *takeoff.Mesh) float64 {
			return float64(work(t, takeoff.Item{Shape: s, Mesh: mesh, Density: dense(1), At: at(0, 0, 0)}).Mass.Value)
		}
		a, b, h := e.v(2, 0), e.v(2, 1), e.v(2, 2)
		pyramid := mesh{
			[][3]float64{{0, 0, 0}, {a, 0, 0}, {a, b, 0}, {0, b, 0}, {a / 2, b / 2, h}},
			[][]int{{3, 2, 1, 0}, {0, 1, 4}, {1, 2, 4}, {2, 3, 4}, {3, 0, 4}},
		}
		return map[string]float64{
			"circle area":    v(shape("cylinder", "diameter", 2*e.v(0, 0), "height", 1.0), nil),
			"triangle area":  v(shape("prism", "base", e.v(1, 0), "height", e.v(1, 1), "length", 1.0), nil),
			"pyramid volume": v(nil, &takeoff.Mesh{File: "pyramid.obj", Unit: 1, Data: pyramid.obj()}),
			"box volume":     v(shape("plate", "length", e.v(3, 0), "width", e.v(3, 1), "thickness", e.v(3, 2)), nil),
			"sphere volume":  v(shape("sphere", "diameter", 2*e.v(4, 0)), nil),
		}
	},
	"D03-steel-rim": func(t *testing.T, e example) map[string]float64 {
		ring := func(i int) *quantity.Measured[quantity.Volume] { // Pappus
			return volume(2 * math.Pi * e.v(i+1, 0) * mm * e.v(i, 0) * mm * mm)
		}
		m := float64(sum(t,
			work(t, takeoff.Item{Name: "outer", Volume: ring(0), Material: "steel 7850 kg/m3", At: at(0, 0, 0)}),
			work(t, takeoff.Item{Name: "hole", Volume: ring(2), Material: "steel 7850 kg/m3", At: at(0, 0, 0), Cut: true}),
		).Mass.Value)
		return map[string]float64{"mass": m, "weight": m * e.v(5, 0)}
	},
	"D04-two-material-assembly": func(t *testing.T, e example) map[string]float64 {
		density, other := dense(e.v(0, 3)*1000), dense(e.v(3, 2)*1000)
		r, h, tip := e.v(0, 0)*mm, e.v(0, 1)*mm, e.v(1, 1)*mm
		ball := e.v(3, 0) * mm
		return map[string]float64{"z": cg(t,
			takeoff.Item{Shape: shape("frustum", "diameter", 2*r, "top", 2*e.v(1, 0)*mm, "height", h-tip), Density: density, At: at(0, 0, 0)},
			takeoff.Item{Shape: shape("cylinder", "diameter", 2*e.v(2, 0)*mm, "height", e.v(2, 1)*mm), Density: density, At: at(0, 0, 0), Cut: true},
			takeoff.Item{Volume: volume(2 * math.Pi / 3 * ball * ball * ball), Density: other, At: at(0, 0, e.v(3, 1)*mm)},
		)[2] / mm}
	},
	"D05-plate-with-hole": func(t *testing.T, e example) map[string]float64 {
		var items []takeoff.Item
		for j := range 3 {
			a := e.v(0, j)
			items = append(items, takeoff.Item{Volume: volume(math.Abs(a)), Density: dense(1), At: at(e.v(1, j), e.v(2, j), 0), Cut: a < 0})
		}
		c := cg(t, items...)
		return map[string]float64{"x": c[0], "y": c[1]}
	},
	"D06-plate-four-parts": func(t *testing.T, e example) map[string]float64 {
		// The plate as in the figure, drawn 1 m per mm and 1 m thick: 120 by 80,
		// the triangle below it, a half disc of radius 60 on top, a hole of 40.
		total := sum(
			t,
			work(t, takeoff.Item{Shape: shape("plate", "length", 120.0, "width", 80.0, "thickness", 1.0), Density: dense(1), At: at(60, 40, 0)}),
			work(t, takeoff.Item{Shape: shape("prism", "base", 120.0, "height", 60.0, "length", 1.0), Density: dense(1), At: at(0, 0, 0), Turn: turn(math.Pi/2, 0, 0)}),
			work(t, takeoff.Item{Volume: volume(e.v(0, 2)), Density: dense(1), At: at(e.v(1, 2), e.v(2, 2), 0)}),
			work(t, takeoff.Item{Shape: shape("cylinder", "diameter", 80.0, "height", 1.0), Density: dense(1), At: at(e.v(1, 3), e.v(2, 3), 0), Cut: true}),
		)
		for j, l := range total.Lines { // the drawn parts are those of the text
			near(t, "area", float64(l.Mass.Value), e.v(0, j), 1e-9)
			near(t, "x", l.At.XYZ()[0], e.v(1, j), 1e-9)
			near(t, "y", l.At.XYZ()[1], e.v(2, j), 1e-9)
		}
		m, c := float64(total.Mass.Value), total.CG.XYZ()
		return map[string]float64{"Qx": m * c[1], "Qy": m * c[0], "x": c[0], "y": c[1]}
	},
	"D07-capped-cylinder": func(t *testing.T, e example) map[string]float64 {
		r, l := e.v(0, 0)*mm, e.v(1, 0)*mm
		return map[string]float64{"x": cg(t,
			takeoff.Item{Volume: volume(2 * math.Pi / 3 * r * r * r), Density: dense(1), At: at(e.v(2, 0)*mm, 0, 0)},
			takeoff.Item{Shape: shape("cylinder", "diameter", 2*r, "height", l), Density: dense(1), At: at(0, 0, 0), Turn: turn(0, math.Pi/2, 0)},
			takeoff.Item{Shape: shape("cone", "diameter", 2*r, "height", l), Density: dense(1), At: at(l, 0, 0), Turn: turn(0, -math.Pi/2, 0), Cut: true},
		)[0] / mm}
	},
	"D08-plate-with-glass-insert": func(t *testing.T, e example) map[string]float64 {
		perArea := pound / (foot * foot)
		plate, opening := e.v(0, 0)*inch*e.v(0, 1)*inch, e.v(2, 0)*foot*e.v(2, 0)*foot
		return map[string]float64{"x": cg(t,
			takeoff.Item{Mass: mass(plate * e.v(1, 0) * perArea), At: at(e.v(0, 0)/2*inch, 0, 0)},
			takeoff.Item{Mass: mass(opening * e.v(1, 0) * perArea), At: at(e.v(4, 0)*inch, 0, 0), Cut: true},
			takeoff.Item{Mass: mass(opening * e.v(3, 0) * perArea), At: at(e.v(4, 0)*inch, 0, 0)},
		)[0] / foot}
	},
	"D09-two-weights-3D": func(t *testing.T, e example) map[string]float64 {
		var items []takeoff.Item
		for j := range 2 {
			items = append(items, takeoff.Item{Mass: mass(e.v(0, j) * pound), At: at(e.v(1, j)*inch, e.v(2, j)*inch, e.v(3, j)*inch)})
		}
		c := cg(t, items...)
		return map[string]float64{"x": c[0] / inch, "y": c[1] / inch, "z": c[2] / inch}
	},
	"D10-bent-wire-frame": func(t *testing.T, e example) map[string]float64 {
		wire := func(j int, x, y, angle float64) takeoff.Item {
			it := takeoff.Item{Shape: shape("bar", "width", mm, "length", e.v(0, j)*mm), Density: dense(1), At: at(x*mm, y*mm, 0), Turn: turn(0, 0, angle)}
			nearPoint(t, "middle", work(t, it).At.XYZ(), [3]float64{e.v(1, j) * mm, e.v(2, j) * mm, 0}, 1e-15)
			return it
		}
		c := cg(t, wire(0, 0, 0, 0), wire(1, 0, 250, math.Atan2(-250, 600)), wire(2, 0, 0, math.Pi/2))
		return map[string]float64{"x": c[0] / mm, "y": c[1] / mm}
	},
	"E08-weight-shift": func(t *testing.T, e example) map[string]float64 {
		w, moved, moment := e.v(3, 0), e.v(0, 0), e.v(4, 0)
		rest := takeoff.Item{Mass: mass((w - moved) * pound), At: at((moment-moved*e.v(1, 0))/(w-moved)*inch, 0, 0)}
		x := func(station float64) float64 {
			return cg(t, rest, takeoff.Item{Mass: mass(moved * pound), At: at(station*inch, 0, 0)})[0] / inch
		}
		return map[string]float64{"moment change": w * (x(e.v(2, 0)) - x(e.v(1, 0))), "new CG": x(e.v(2, 0))}
	},
	"E09-shift-proportion": func(t *testing.T, e example) map[string]float64 {
		shift := func(moved, by, total float64) float64 {
			rest := takeoff.Item{Mass: mass((total - moved) * pound), At: at(0, 0, 0)}
			return cg(t, rest, takeoff.Item{Mass: mass(moved * pound), At: at(by*inch, 0, 0)})[0] / inch
		}
		return map[string]float64{
			"CG change":      shift(e.v(0, 0), e.v(0, 1), e.v(0, 2)),
			"weight to move": solve(func(w float64) float64 { return shift(w, e.v(1, 2), e.v(1, 0)) - e.v(1, 1) }, 1, 1000),
		}
	},
	"E10-ballast": func(t *testing.T, e example) map[string]float64 {
		return map[string]float64{"added weight": solve(func(w float64) float64 {
			return cg(t,
				takeoff.Item{Mass: mass(e.v(0, 0) * pound), At: at(e.v(1, 0)*inch, 0, 0)},
				takeoff.Item{Mass: mass(w * pound), At: at(e.v(3, 0)*inch, 0, 0)},
			)[0]/inch - e.v(2, 0)
		}, 1, 1000)}
	},
}

func cg(t fataler, items ...takeoff.Item) [3]float64 {
	t.Helper()
	var parts []takeoff.Part
	for _, it := range items {
		parts = append(parts, work(t, it))
	}
	return sum(t, parts...).CG.XYZ()
}

// solve finds where a rising f is zero, by halving.
func solve(f func(float64) float64, low, high float64) float64 {
	for range 60 {
		if mid := (low + high) / 2; f(mid) < 0 {
			low = mid
		} else {
			high = mid
		}
	}
	return low
}

func TestWorkedExamples(t *testing.T) {
	data, err := os.ReadFile("testdata/worked-examples.json")
	if err != nil {
		t.Fatal(err)
	}
	var examples []example
	if err := json.Unmarshal(data, &examples); err != nil {
		t.Fatal(err)
	}
	if len(examples) != len(ours) {
		t.Errorf("%d examples, %d answered", len(examples), len(ours))
	}
	for _, e := range examples {
		t.Run(e.ID, func(t *testing.T) {
			if ours[e.ID] == nil {
				t.Fatal("not answered")
			}
			got := ours[e.ID](t, e)
			if len(got) != len(e.Published) {
				t.Errorf("%d answers for %d published", len(got), len(e.Published))
			}
			for _, p := range e.Published {
				g, ok := got[p.Name]
				agrees := ok && math.Abs(g-p.Value) <= p.Abs
				switch {
				case p.Misprint && agrees:
					t.Errorf("%s: the misprint %g is reproduced", p.Name, p.Value)
				case !p.Misprint && !agrees:
					t.Errorf("%s is %.8g %s, published %g ± %g (%s)", p.Name, g, p.Unit, p.Value, p.Abs, e.Source)
				case p.Misprint:
					t.Logf("%s is %.6g %s; %g in the text is a misprint: %s", p.Name, g, p.Unit, p.Value, e.Note)
				}
			}
		})
	}
}
