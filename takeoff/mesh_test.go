package takeoff_test

import (
	"bytes"
	"encoding/binary"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"plumbhook/fault"
	"plumbhook/takeoff"
)

// The regular solids and their volumes for edge a, closed forms of any
// geometry handbook (Coxeter, Regular Polytopes, table I; from memory).
func polyhedra() map[string]struct {
	mesh   mesh
	volume float64
} {
	phi := (1 + math.Sqrt(5)) / 2
	octa := mesh{
		[][3]float64{{1, 0, 0}, {-1, 0, 0}, {0, 1, 0}, {0, -1, 0}, {0, 0, 1}, {0, 0, -1}},
		[][]int{{0, 2, 4}, {2, 1, 4}, {1, 3, 4}, {3, 0, 4}, {2, 0, 5}, {1, 2, 5}, {3, 1, 5}, {0, 3, 5}},
	}
	tetra := mesh{
		[][3]float64{{1, 1, 1}, {1, -1, -1}, {-1, 1, -1}, {-1, -1, 1}},
		[][]int{{0, 1, 2}, {0, 3, 1}, {0, 2, 3}, {1, 3, 2}},
	}
	icosa := mesh{points: [][3]float64{
		{0, 1, phi},
		{0, -1, phi},
		{0, 1, -phi},
		{0, -1, -phi},
		{1, phi, 0},
		{-1, phi, 0},
		{1, -phi, 0},
		{-1, -phi, 0},
		{phi, 0, 1},
		{phi, 0, -1},
		{-phi, 0, 1},
		{-phi, 0, -1},
	}}
	// Faces are the triples of corners at edge length from one another.
	edge := func(a, b int) bool { return math.Abs(dist(icosa.points[a], icosa.points[b])-2) < 1e-9 }
	for a := range 12 {
		for b := a + 1; b < 12; b++ {
			for c := b + 1; c < 12; c++ {
				if edge(a, b) && edge(b, c) && edge(c, a) {
					icosa.faces = append(icosa.faces, outward(icosa.points, []int{a, b, c}))
				}
			}
		}
	}
	// The dodecahedron has a corner in the middle of each face of the
	// icosahedron, and a face around each of its corners.
	var dodeca mesh
	for _, f := range icosa.faces {
		var m [3]float64
		for _, v := range f {
			for k := range m {
				m[k] += icosa.points[v][k] / 3
			}
		}
		dodeca.points = append(dodeca.points, m)
	}
	for v := range icosa.points {
		var around []int
		for i, f := range icosa.faces {
			if f[0] == v || f[1] == v || f[2] == v {
				around = append(around, i)
			}
		}
		ring := around[:1]
		for rest := append([]int(nil), around[1:]...); len(rest) > 0; {
			best := 0
			for i := range rest {
				if dist(dodeca.points[ring[len(ring)-1]], dodeca.points[rest[i]]) < dist(dodeca.points[ring[len(ring)-1]], dodeca.points[rest[best]]) {
					best = i
				}
			}
			ring = append(ring[:len(ring):len(ring)], rest[best])
			rest = append(rest[:best], rest[best+1:]...)
		}
		dodeca.faces = append(dodeca.faces, outward(dodeca.points, ring))
	}
	a := dist(dodeca.points[dodeca.faces[0][0]], dodeca.points[dodeca.faces[0][1]])
	return map[string]struct {
		mesh   mesh
		volume float64
	}{
		"tetrahedron":  {tetra, math.Pow(2*math.Sqrt2, 3) / (6 * math.Sqrt2)},
		"cube":         {box(2, 2, 2).shifted([3]float64{-1, -1, -1}), 8},
		"octahedron":   {octa, math.Sqrt2 / 3 * math.Pow(math.Sqrt2, 3)},
		"icosahedron":  {icosa, 5.0 / 12 * (3 + math.Sqrt(5)) * 8},
		"dodecahedron": {dodeca, (15 + 7*math.Sqrt(5)) / 4 * a * a * a},
	}
}

func dist(a, b [3]float64) float64 {
	return math.Hypot(math.Hypot(a[0]-b[0], a[1]-b[1]), a[2]-b[2])
}

// outward orders a face about the origin.
func outward(p [][3]float64, f []int) []int {
	a, b, c := p[f[0]], p[f[1]], p[f[2]]
	det := a[0]*(b[1]*c[2]-b[2]*c[1]) - a[1]*(b[0]*c[2]-b[2]*c[0]) + a[2]*(b[0]*c[1]-b[1]*c[0])
	if det < 0 {
		for i, j := 0, len(f)-1; i < j; i, j = i+1, j-1 {
			f[i], f[j] = f[j], f[i]
		}
	}
	return f
}

func TestPolyhedra(t *testing.T) {
	for name, c := range polyhedra() {
		for _, away := range []float64{0, 1, 1000} {
			d := [3]float64{away, -2 * away, 3 * away}
			m := c.mesh.shifted(d)
			for file, data := range map[string][]byte{"m.obj": m.obj(), "m.stl": m.textSTL(), "m.STL": m.binarySTL()} {
				tol := 1e-15 * (1 + away) * 100
				if file == "m.STL" {
					tol = 1e-7 * (1 + away) * 10 // 32-bit coordinates
				}
				p := work(t, asItem(file, data))
				near(t, name+" volume", float64(p.Mass.Value), c.volume, 10*tol)
				nearPoint(t, name+" centroid", p.At.XYZ(), d, 10*tol)
			}
		}
	}
}

func TestMeshUnit(t *testing.T) {
	it := asItem("m.obj", box(200, 100, 50).obj())
	it.Mesh.Unit = 0.001
	p := work(t, it)
	near(t, "volume", float64(p.Mass.Value), 0.2*0.1*0.05, 1e-15)
	nearPoint(t, "centroid", p.At.XYZ(), [3]float64{0.1, 0.05, 0.025}, 1e-15)
	if !strings.Contains(p.How, "mesh m.obj, 1 unit = 0.001 m: volume inside 12 triangles = 0.001 m³") {
		t.Errorf("how: %s", p.How)
	}
}

// stars draws bodies: a ball of flat triangles whose corners are pulled in and
// out along their rays, so that the surface stays closed and never cuts
// itself.
func stars(t *rapid.T) mesh {
	n := rapid.IntRange(4, 12).Draw(t, "segments")
	profile := [][2]float64{{0, -1}}
	for i := 1; i < n; i++ {
		s, c := math.Sincos(math.Pi * float64(i) / float64(n))
		profile = append(profile, [2]float64{s, -c})
	}
	m := lathe(n, append(profile, [2]float64{0, 1})...)
	for i, p := range m.points {
		r := rapid.Float64Range(0.3, 3).Draw(t, "radius")
		m.points[i] = [3]float64{r * p[0], r * p[1], r * p[2]}
	}
	return m
}

func TestMeshInvariance(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		m := stars(t)
		p := work(t, asItem("m.obj", m.obj()))
		v, c := float64(p.Mass.Value), p.At.XYZ()

		seed := rapid.Uint64().Draw(t, "seed")
		r := rand.New(rand.NewPCG(seed, 1))
		other := m.clone()
		r.Shuffle(len(other.faces), func(i, j int) { other.faces[i], other.faces[j] = other.faces[j], other.faces[i] })
		for _, f := range other.faces {
			for range r.IntN(3) {
				f[0], f[1], f[2] = f[1], f[2], f[0]
			}
		}
		p = work(t, asItem("m.obj", other.obj()))
		near(t, "reordered volume", float64(p.Mass.Value), v, 1e-12*v)
		nearPoint(t, "reordered centroid", p.At.XYZ(), c, 1e-12)

		d := [3]float64{rapid.Float64Range(-100, 100).Draw(t, "x"), rapid.Float64Range(-100, 100).Draw(t, "y"), 50}
		p = work(t, asItem("m.obj", m.shifted(d).obj()))
		near(t, "shifted volume", float64(p.Mass.Value), v, 1e-11*v)
		nearPoint(t, "shifted centroid", p.At.XYZ(), [3]float64{c[0] + d[0], c[1] + d[1], c[2] + d[2]}, 1e-11)

		// Turning the vertices is turning the item.
		angles := [3]float64{rapid.Float64Range(-4, 4).Draw(t, "rx"), rapid.Float64Range(-4, 4).Draw(t, "ry"), rapid.Float64Range(-4, 4).Draw(t, "rz")}
		turned := m.clone()
		for i := range turned.points {
			turned.points[i] = turnedPoint(turned.points[i], angles)
		}
		a := work(t, asItem("m.obj", turned.obj()))
		it := asItem("m.obj", m.obj())
		it.Turn, it.At = turn(angles[0], angles[1], angles[2]), at(d[0], d[1], d[2])
		b := work(t, it)
		near(t, "turned volume", float64(a.Mass.Value), v, 1e-12*v)
		near(t, "turned volume", float64(b.Mass.Value), v, 1e-12*v)
		got := b.At.XYZ()
		nearPoint(t, "turned centroid", [3]float64{got[0] - d[0], got[1] - d[1], got[2] - d[2]}, a.At.XYZ(), 1e-11)
	})
}

// turnedPoint turns about x, then y, then z, one plane at a time.
func turnedPoint(p [3]float64, a [3]float64) [3]float64 {
	for axis := range 3 {
		s, c := math.Sincos(a[axis])
		i, j := (axis+1)%3, (axis+2)%3
		p[i], p[j] = c*p[i]-s*p[j], s*p[i]+c*p[j]
	}
	return p
}

func TestMeshFaults(t *testing.T) {
	cube := box(1, 1, 1)
	without := cube.clone()
	without.faces = without.faces[1:]
	flipped := cube.clone()
	flipped.faces[1] = []int{7, 6, 5, 4}
	sheet := mesh{[][3]float64{{0, 0, 0}, {1, 0, 0}, {0, 1, 0}}, [][]int{{0, 1, 2}, {2, 1, 0}}}
	bent := cube.clone()
	bent.points[6][2] = 1.1
	wide := cube.clone()
	wide.points[0][0] = math.Inf(1)
	huge := cube.clone()
	for i := range huge.points {
		for k := range huge.points[i] {
			huge.points[i][k] *= 1e160
		}
	}
	stl := cube.binarySTL()
	nan := bytes.Clone(stl)
	binary.LittleEndian.PutUint32(nan[84+12:], math.Float32bits(float32(math.NaN())))
	many := append(make([]byte, 84), make([]byte, 50*(takeoff.MaxMeshTriangles+1))...)
	binary.LittleEndian.PutUint32(many[80:], takeoff.MaxMeshTriangles+1)

	// A ball, and blocks beside it within the corners of its box: many of
	// them, and as many with a ball so fine that looking takes too long.
	crowd := func(n, fine int) mesh {
		m := sphere(fine)
		for i := range n {
			b := box(1e-4, 1e-4, 1e-4).shifted([3]float64{0.48, 0.48, -0.48 + 0.96*float64(i)/float64(n)})
			for _, f := range b.faces {
				for j := range f {
					f[j] += len(m.points)
				}
			}
			m.points, m.faces = append(m.points, b.points...), append(m.faces, b.faces...)
		}
		return m
	}

	for name, c := range map[string]struct {
		file  string
		data  []byte
		code  fault.Code
		words []string
	}{
		"open":                {"m.obj", without.obj(), fault.OpenMesh, []string{"open at 4 edges", "(0, 0, 0) to (1, 0, 0)", "..."}},
		"one triangle":        {"m.obj", []byte("v 0 0 0\nv 1 0 0\nv 0 1 0\nf 1 2 3\n"), fault.OpenMesh, []string{"open at 3 edges"}},
		"one turned":          {"m.obj", flipped.obj(), fault.OpenMesh, []string{"opposite ways on the two sides of 4 edges", "(0, 0, 1) to (1, 0, 1)"}},
		"inward":              {"m.obj", cube.insideOut().obj(), fault.OpenMesh, []string{"faces inward", "mirrored"}},
		"share an edge":       {"m.obj", cube.and(cube.shifted([3]float64{1, 1, 0})).obj(), fault.OpenMesh, []string{"more than two triangles meet at 1 edge: (1, 1, 0) to (1, 1, 1)"}},
		"twice":               {"m.obj", cube.and(cube).obj(), fault.OpenMesh, []string{"more than two", "18 edges"}},
		"text STL as OBJ":     {"m.obj", cube.textSTL(), fault.Unsupported, []string{"line 1", `"solid"`}},
		"hairline":            {"m.stl", bytes.Replace(cube.textSTL(), []byte("vertex 1 1 1"), []byte("vertex 1 1 1.0000001"), 1), fault.OpenMesh, []string{"open", "exactly the same coordinates"}},
		"sheet":               {"m.obj", sheet.obj(), fault.OpenMesh, []string{"no volume"}},
		"solid in solid":      {"m.obj", box(3, 3, 3).and(cube.shifted([3]float64{1, 1, 1})).obj(), fault.OpenMesh, []string{"(1, 2, 1)", "count twice"}},
		"inward outside":      {"m.obj", box(3, 3, 3).and(cube.insideOut().shifted([3]float64{4, 0, 0})).obj(), fault.OpenMesh, []string{"no hollow"}},
		"inward all":          {"m.obj", box(3, 3, 3).and(cube.shifted([3]float64{4, 0, 0})).insideOut().obj(), fault.OpenMesh, []string{"faces inward"}},
		"hollow in hollow":    {"m.obj", box(9, 9, 9).and(box(5, 5, 5).insideOut().shifted([3]float64{1, 1, 1})).and(cube.insideOut().shifted([3]float64{2, 2, 2})).obj(), fault.OpenMesh, []string{"no hollow"}},
		"overlap":             {"m.obj", cube.and(cube.shifted([3]float64{0.01, 0.01, 0.01})).and(cube.shifted([3]float64{-0.01, -0.02, -0.01})).obj(), fault.OpenMesh, nil},
		"bent face":           {"m.obj", bent.obj(), fault.OpenMesh, []string{"not flat", "line 10"}},
		"infinite":            {"m.obj", wide.obj(), fault.Syntax, []string{"line 1", "not a number"}},
		"too large a number":  {"m.stl", huge.textSTL(), fault.Range, []string{"too large"}},
		"not a number":        {"m.stl", nan, fault.Range, []string{"triangle 1"}},
		"cut off":             {"m.stl", stl[:len(stl)-1], fault.Syntax, nil},
		"cut off text":        {"m.stl", cube.textSTL()[:400], fault.Syntax, []string{"line 30"}},
		"no head":             {"m.stl", stl[:60], fault.Syntax, nil},
		"wrong count":         {"m.stl", append(make([]byte, 80), 2, 0, 0, 0, 1, 2, 3), fault.Syntax, []string{"2 triangles", "0.06"}},
		"nothing":             {"m.stl", nil, fault.Syntax, []string{"too short"}},
		"empty text":          {"m.stl", []byte("solid\nendsolid\n"), fault.OpenMesh, []string{"no triangles"}},
		"empty obj":           {"m.obj", nil, fault.OpenMesh, []string{"no triangles"}},
		"no such vertex":      {"m.obj", []byte("v 0 0 0\nf 1 2 3\n"), fault.Reference, []string{"line 2", `"2"`, "1 vertices"}},
		"vertex zero":         {"m.obj", []byte("v 0 0 0\nf 0 1 1\n"), fault.Reference, nil},
		"too far back":        {"m.obj", []byte("v 0 0 0\nf -2 1 1\n"), fault.Reference, nil},
		"two corners":         {"m.obj", []byte("v 0 0 0\nf 1 1\n"), fault.Syntax, []string{"2 corners"}},
		"curved":              {"m.obj", []byte("v 0 0 0\ncurv 0 1 1 1\n"), fault.Unsupported, []string{`"curv"`}},
		"other file":          {"m.dxf", nil, fault.Unsupported, []string{".stl or .obj"}},
		"many":                {"m.stl", many, fault.TooLarge, nil},
		"ten thousand":        {"m.obj", crowd(10_000, 8).obj(), fault.TooLarge, []string{"10000 separate"}},
		"hard to tell":        {"m.obj", crowd(170, 250).obj(), fault.TooLarge, []string{"which is in which"}},
		"facet cut off":       {"m.stl", []byte("solid\n facet normal 0 0"), fault.Syntax, []string{"line 2", "file ends"}},
		"loop missing":        {"m.stl", []byte("solid\nfacet normal 0 0 1 vertex"), fault.Syntax, []string{`"vertex" where outer is due`}},
		"vertex missing":      {"m.stl", []byte("solid\nfacet normal 0 0 1 outer loop endloop"), fault.Syntax, []string{`"endloop" where vertex is due`}},
		"vertex of two":       {"m.stl", []byte("solid\nfacet normal 0 0 1 outer loop vertex 1 2\n3"), fault.Syntax, []string{"a vertex of 2 numbers"}},
		"four corners":        {"m.stl", []byte("solid\nfacet normal 0 0 1 outer loop vertex 1 2 3 vertex 1 2 4\n vertex 1 3 4 vertex 1 3 3"), fault.Syntax, nil},
		"no end":              {"m.stl", []byte("solid"), fault.Syntax, []string{"endsolid"}},
		"other word":          {"m.stl", []byte("solid\n" + strings.Repeat("x", 99)), fault.Syntax, []string{"facet or endsolid", "..."}},
		"after the end":       {"m.stl", []byte("solid\nendsolid\nfacet"), fault.Syntax, []string{"line 3"}},
		"corner not a number": {"m.obj", []byte("f a"), fault.Syntax, []string{`"a"`}},
		"big":                 {"m.stl", make([]byte, takeoff.MaxMeshBytes+1), fault.TooLarge, nil},
	} {
		t.Run(name, func(t *testing.T) {
			it := asItem(c.file, c.data)
			it.Mesh.Pos = fault.Pos{File: "lift.yaml", Line: 7}
			_, err := it.Work()
			refused(t, err, c.code, append(c.words, "mesh "+c.file, "lift.yaml:7")...)
		})
	}
	it := asItem("m.obj", cube.obj())
	it.Mesh.Unit = 0
	_, err := it.Work()
	refused(t, err, fault.NoUnit, "one mesh unit")
}

func TestMeshesAccepted(t *testing.T) {
	cube := box(1, 1, 1)
	sliver := cube.clone() // an edge split on one side only, closed by a triangle of no area
	sliver.points = append(sliver.points, [3]float64{0.5, 0, 0})
	sliver.faces[0] = []int{3, 2, 1, 8, 0}
	sliver.faces = append(sliver.faces, []int{0, 8, 1})
	for name, c := range map[string]struct {
		file   string
		data   []byte
		volume float64
		centre [3]float64
		how    string
	}{
		"hollow":           {"m.obj", box(3, 3, 3).and(cube.insideOut().shifted([3]float64{0.5, 1, 1})).obj(), 26, [3]float64{(27*1.5 - 1) / 26, 1.5, 1.5}, "24 triangles in 2 closed surfaces"},
		"in a hollow":      {"m.obj", box(5, 5, 5).and(box(3, 3, 3).insideOut().shifted([3]float64{1, 1, 1})).and(cube.shifted([3]float64{2, 2, 2})).obj(), 99, [3]float64{2.5, 2.5, 2.5}, "3 closed"},
		"two bodies":       {"m.obj", cube.and(cube.shifted([3]float64{3, 0, 0})).obj(), 2, [3]float64{2, 0.5, 0.5}, "2 closed"},
		"corner to corner": {"m.obj", cube.and(cube.shifted([3]float64{1, 1, 1})).obj(), 2, [3]float64{1, 1, 1}, "2 closed"},
		"on its face":      {"m.obj", box(3, 3, 1).and(cube.shifted([3]float64{1, 1, 1})).obj(), 10, [3]float64{1.5, 1.5, 0.6}, "2 closed"},
		"no area":          {"m.obj", sliver.obj(), 1, [3]float64{0.5, 0.5, 0.5}, "14 triangles"},
		"degenerate":       {"m.obj", append(cube.obj(), "f 1 1 2\nf 3 3 3\n"...), 1, [3]float64{0.5, 0.5, 0.5}, "12 triangles (2 more without area left out)"},
		"minus zero":       {"m.stl", bytes.Replace(cube.textSTL(), []byte("vertex 0 0 0"), []byte("vertex -0 -0.0 0"), 1), 1, [3]float64{0.5, 0.5, 0.5}, ""},
		"two solids":       {"m.stl", append(cube.textSTL(), bytes.ToUpper(cube.shifted([3]float64{3, 0, 0}).textSTL())...), 2, [3]float64{2, 0.5, 0.5}, ""},
		"all of OBJ": {"m.obj", []byte(`# C:\drawings\
mtllib kestrel.mtl
o tetra \
  hedron
v 0 0 0 1.0
v 1 0 0 0.5 0.5 0.5 # red
v 0 1 \
  0
v 0 0 1
vt 0 0
vn 0 0 1
g side
usemtl steel
s off
f 1/1/1 3/1/1 2/1/1 # floor
f -4//1 -3//1 -1//1
f 2 3 4` + "\r\n" + `f 1/1 4/1 3/1
l 1 2
p 1
`), 1.0 / 6, [3]float64{0.25, 0.25, 0.25}, "4 triangles"},
	} {
		t.Run(name, func(t *testing.T) {
			p := work(t, asItem(c.file, c.data))
			near(t, "volume", float64(p.Mass.Value), c.volume, 1e-12)
			nearPoint(t, "centroid", p.At.XYZ(), c.centre, 1e-12)
			if !strings.Contains(p.How, c.how) {
				t.Errorf("how: %s, want %s", p.How, c.how)
			}
		})
	}
}

// A ring with a hole through it is one closed surface.
func TestRing(t *testing.T) {
	const n = 200
	m := lathe(n, [2]float64{1, 0}, [2]float64{2, 0}, [2]float64{2, 1}, [2]float64{1, 1}, [2]float64{1, 0})
	p := work(t, asItem("m.stl", m.textSTL()))
	polygon := float64(n) / 2 * math.Sin(2*math.Pi/n) // of radius 1
	near(t, "volume", float64(p.Mass.Value), 3*polygon, 1e-12)
	if strings.Contains(p.How, "closed surfaces") {
		t.Errorf("how: %s", p.How)
	}
}

func fuzzMesh(f *testing.F, file string) {
	f.Fuzz(func(t *testing.T, data []byte) {
		p, err := asItem(file, data).Work()
		if err != nil {
			if len(fault.Of(err)) == 0 || fault.Of(err)[0].Code == fault.Internal {
				t.Errorf("not one of ours: %v", err)
			}
			return
		}
		c := p.At.XYZ()
		if v := float64(p.Mass.Value); !(v > 0) || math.IsInf(v, 0) || math.IsNaN(c[0]+c[1]+c[2]) {
			t.Errorf("volume %g at %v", v, c)
		}
	})
}

func FuzzSTL(f *testing.F) {
	m := box(1, 2, 3)
	f.Add(m.textSTL())
	f.Add(m.binarySTL())
	f.Add(m.textSTL()[:200])
	f.Add(m.binarySTL()[:100])
	f.Add([]byte("solid\nfacet normal nan nan nan outer loop vertex 1e308 -1e308 0"))
	fuzzMesh(f, "m.stl")
}

func FuzzOBJ(f *testing.F) {
	f.Add(box(1, 2, 3).obj())
	f.Add(box(3, 3, 3).and(box(1, 1, 1).insideOut().shifted([3]float64{1, 1, 1})).obj())
	f.Add([]byte("v 1e308 0 0\nv -1e308 \\\n 0 0\nv 0 1e308 0\nf 1/1 2//3 -1 1\nf 1 2 3 # x\n#\\\n"))
	fuzzMesh(f, "m.obj")
}

// A binary STL of 200 000 triangles, as scanned or finely drawn castings have.
func BenchmarkBinarySTL200k(b *testing.B) {
	const n = 317
	var profile [][2]float64
	for i := range n + 1 {
		s, c := math.Sincos(math.Pi * float64(i) / n)
		if i == 0 || i == n {
			s = 0
		}
		profile = append(profile, [2]float64{s, -c})
	}
	m := lathe(n, profile...)
	data := m.binarySTL()
	it := asItem("m.stl", data)
	b.SetBytes(int64(len(data)))
	b.ReportAllocs()
	for b.Loop() {
		if _, err := it.Work(); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(float64(len(m.faces)), "triangles")
}
