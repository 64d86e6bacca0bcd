package takeoff_test

import (
	"math"
	"testing"

	"plumbhook/fault"
	"plumbhook/quantity"
	"plumbhook/takeoff"
)

// shapes are all solids with a mesh of the same body, laid out from the
// datum as the documentation draws it, independent of the closed forms.
// round is false where the mesh is exact.
var shapes = []struct {
	name  string
	shape *takeoff.Shape
	mesh  func(n int) mesh
	round bool
}{
	{
		"plate", shape("plate", "length", 2.0, "width", 1.5, "thickness", 0.02),
		func(int) mesh { return box(2, 1.5, 0.02).shifted([3]float64{-1, -0.75, 0}) }, false,
	},
	{
		"square bar", shape("bar", "width", 0.1, "length", 3.0),
		func(int) mesh { return box(3, 0.1, 0.1).shifted([3]float64{0, -0.05, -0.05}) }, false,
	},
	{
		"flat bar", shape("bar", "width", 0.2, "thickness", 0.03, "length", 3.0),
		func(int) mesh { return box(3, 0.2, 0.03).shifted([3]float64{0, -0.1, -0.015}) }, false,
	},
	{"rectangular tube", shape("tube", "width", 0.2, "height", 0.3, "wall", 0.01, "length", 2.0), func(int) mesh {
		return channel(2, 0.2, 0.3, 0.01)
	}, false},
	{"prism", shape("prism", "base", 0.6, "height", 0.9, "length", 0.05), func(int) mesh {
		return mesh{
			[][3]float64{{0, 0, 0}, {0.6, 0, 0}, {0, 0, 0.9}, {0, 0.05, 0}, {0.6, 0.05, 0}, {0, 0.05, 0.9}},
			[][]int{{0, 1, 2}, {5, 4, 3}, {0, 3, 4, 1}, {1, 4, 5, 2}, {2, 5, 3, 0}},
		}
	}, false},
	{
		"round bar", shape("bar", "diameter", 0.4, "length", 3.0),
		func(n int) mesh {
			return lying(lathe(n, [2]float64{0, 0}, [2]float64{0.2, 0}, [2]float64{0.2, 3}, [2]float64{0, 3}))
		}, true,
	},
	{"round tube", shape("tube", "diameter", 0.4, "wall", 0.03, "length", 3.0), func(n int) mesh {
		return lying(lathe(n, [2]float64{0.17, 0}, [2]float64{0.2, 0}, [2]float64{0.2, 3}, [2]float64{0.17, 3}, [2]float64{0.17, 0}))
	}, true},
	{
		"cylinder", shape("cylinder", "diameter", 0.8, "height", 1.2),
		func(n int) mesh {
			return lathe(n, [2]float64{0, 0}, [2]float64{0.4, 0}, [2]float64{0.4, 1.2}, [2]float64{0, 1.2})
		}, true,
	},
	{"sphere", shape("sphere", "diameter", 1.0), sphere, true},
	{
		"cone", shape("cone", "diameter", 0.8, "height", 1.2),
		func(n int) mesh { return lathe(n, [2]float64{0, 0}, [2]float64{0.4, 0}, [2]float64{0, 1.2}) }, true,
	},
	{
		"frustum", shape("frustum", "diameter", 0.8, "top", 0.3, "height", 1.2),
		func(n int) mesh {
			return lathe(n, [2]float64{0, 0}, [2]float64{0.4, 0}, [2]float64{0.15, 1.2}, [2]float64{0, 1.2})
		}, true,
	},
	{
		"frustum, wide end up", shape("frustum", "diameter", 0.3, "top", 0.8, "height", 1.2),
		func(n int) mesh {
			return lathe(n, [2]float64{0, 0}, [2]float64{0.15, 0}, [2]float64{0.4, 1.2}, [2]float64{0, 1.2})
		}, true,
	},
}

// sphere is a ball of diameter 1 with n segments around.
func sphere(n int) mesh {
	profile := [][2]float64{{0, -0.5}}
	for i := 1; i < n/2; i++ {
		s, c := math.Sincos(2 * math.Pi * float64(i) / float64(n))
		profile = append(profile, [2]float64{0.5 * s, -0.5 * c})
	}
	return lathe(n, append(profile, [2]float64{0, 0.5})...)
}

// lying lays what stands along z along x.
func lying(m mesh) mesh {
	for i, p := range m.points {
		m.points[i] = [3]float64{p[2], p[0], p[1]}
	}
	return m
}

// channel is a rectangular tube along x: a box with a hole right through it.
func channel(l, w, h, t float64) mesh {
	var m mesh
	for _, x := range []float64{0, l} {
		for _, s := range [][2]float64{{w / 2, h / 2}, {w/2 - t, h/2 - t}} {
			m.points = append(m.points, [3]float64{x, -s[0], -s[1]}, [3]float64{x, s[0], -s[1]}, [3]float64{x, s[0], s[1]}, [3]float64{x, -s[0], s[1]})
		}
	}
	for i := range 4 { // faces seen from inside, turned round at the end
		j := (i + 1) % 4
		m.faces = append(m.faces,
			[]int{i, i + 8, j + 8, j},
			[]int{i + 4, j + 4, j + 12, i + 12},
			[]int{i, j, j + 4, i + 4},
			[]int{i + 8, i + 12, j + 12, j + 8},
		)
	}
	return m.insideOut()
}

func TestShapesAgainstMeshes(t *testing.T) {
	for _, c := range shapes {
		t.Run(c.name, func(t *testing.T) {
			p := work(t, takeoff.Item{Shape: c.shape, Density: exact[quantity.Density](1), At: at(0, 0, 0)})
			v, centre := float64(p.Mass.Value), p.At.XYZ()
			if !c.round {
				m := work(t, asItem("m.obj", c.mesh(0).obj()))
				near(t, "volume", float64(m.Mass.Value), v, 1e-12*v)
				nearPoint(t, "centroid", m.At.XYZ(), centre, 1e-12)
				return
			}
			// A polygon of n sides in a circle falls short by a share of
			// (2π/n)²/6; twice the sides, a quarter of the error. On a ball the
			// chords along the meridians lie (2π/n)²/12 of the radius deep on
			// average, which is (2π/n)²/4 more of the volume.
			var last float64
			for _, n := range []int{32, 64, 128} {
				m := work(t, asItem("m.obj", c.mesh(n).obj()))
				short := 1 - float64(m.Mass.Value)/v
				share := math.Pow(2*math.Pi/float64(n), 2) / 6
				if c.name == "sphere" {
					share *= 2.5
				}
				near(t, "shortfall", short/share, 1, 0.03)
				nearPoint(t, "centroid", m.At.XYZ(), centre, 1e-12)
				if last != 0 {
					near(t, "shortfall against half the sides", last/short, 4, 0.05)
				}
				last = short
			}
		})
	}
}

// Every kind and section has a body above, so that none goes unchecked.
func TestShapesAreAllChecked(t *testing.T) {
	kinds, sizes := takeoff.Kinds()
	n := 0
	for _, k := range kinds {
		n += len(sizes[k])
	}
	if got := len(shapes) - 1; got != n { // the frustum is there both ways up
		t.Errorf("%d solids, %d checked", n, got)
	}
}

func TestShapeFaults(t *testing.T) {
	for name, c := range map[string]struct {
		shape *takeoff.Shape
		code  fault.Code
		words []string
	}{
		"unknown kind":   {shape("girder", "length", 1.0), fault.Reference, []string{`"girder"`, "plate", "prism"}},
		"missing":        {shape("plate", "length", 1.0, "width", 1.0), fault.Missing, []string{"a plate needs its thickness", "length, width, thickness"}},
		"extra":          {shape("sphere", "diameter", 1.0, "wall", 0.1), fault.UnknownKey, []string{`a sphere has no "wall"`}},
		"all missing":    {shape("cone"), fault.Missing, []string{"height"}},
		"nearest":        {shape("tube", "diameter", 1.0, "wall", 0.1), fault.Missing, []string{"a round tube needs its length", "rectangular tube has width, height, wall, length"}},
		"zero":           {shape("sphere", "diameter", 0.0), fault.Range, []string{"diameter"}},
		"negative":       {shape("cylinder", "diameter", 1.0, "height", -1.0), fault.Range, []string{"height"}},
		"not a number":   {shape("sphere", "diameter", math.NaN()), fault.Range, []string{"diameter"}},
		"infinite":       {shape("sphere", "diameter", math.Inf(1)), fault.Range, nil},
		"underflow":      {shape("sphere", "diameter", 1e-150), fault.Range, []string{"weighs nothing"}},
		"overflow":       {shape("sphere", "diameter", 1e200), fault.Range, []string{"too large"}},
		"spread to less": {shape("sphere", "diameter", plusMinus[quantity.Length](1, 1.1)), fault.Range, []string{"below zero"}},
		"thick wall":     {shape("tube", "diameter", 0.1, "wall", 0.06, "length", 1.0), fault.Disagree, []string{"twice the wall"}},
		"maybe thick":    {shape("tube", "width", 0.1, "height", 0.2, "wall", between[quantity.Length](0.045, 0.055), "length", 1.0), fault.Disagree, []string{"spreads"}},
	} {
		t.Run(name, func(t *testing.T) {
			_, err := takeoff.Item{Name: "frame", Shape: c.shape, Density: exact[quantity.Density](1), At: at(0, 0, 0)}.Work()
			refused(t, err, c.code, append(c.words, "parts.frame")...)
		})
	}
}

// Sizes may shrink to nothing: a level that can be anywhere up to the brim.
func TestShapeMayBeEmpty(t *testing.T) {
	p := work(t, takeoff.Item{
		Shape:   shape("frustum", "diameter", between[quantity.Length](0, 2), "top", between[quantity.Length](0, 1), "height", between[quantity.Length](0, 3)),
		Density: exact[quantity.Density](1), At: at(0, 0, 0),
	})
	if p.Mass.Shape != quantity.Uniform || p.Mass.Low != 0 {
		t.Errorf("mass %+v", p.Mass)
	}
	near(t, "full", float64(p.Mass.High), math.Pi/12*(4+2+1)*3, 1e-12)
}
