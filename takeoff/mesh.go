package takeoff

import (
	"fmt"
	"math"
	"path"
	"slices"
	"strings"

	"plumbhook/fault"
)

// Bounds that keep a hostile or hopeless mesh from holding up the program: a
// million triangles are finer than any weight needs, and fit in the bytes.
const (
	MaxMeshBytes     = 64 << 20
	MaxMeshTriangles = 1_000_000
	maxBodies        = 10_000     // every pair of bodies is looked at once
	maxInside        = 10_000_000 // triangles looked at to see which body lies in which
)

// surface is a triangle mesh whose vertices are welded: points with exactly
// the same coordinates are one. Nothing is welded that is only close: a gap
// is told, not closed.
type surface struct {
	points    [][3]float64
	triangles [][3]int32 // counter-clockwise seen from outside
	dropped   int        // triangles with two corners in one point
	index     map[[3]float64]int32
}

func newSurface(triangles int) *surface {
	return &surface{
		triangles: make([][3]int32, 0, triangles),
		index:     make(map[[3]float64]int32, triangles/2+2), // a closed mesh has half as many vertices, and two (Euler)
	}
}

// point welds a vertex in. Map keys of +0 and -0 are equal.
func (s *surface) point(p [3]float64) int32 {
	i, ok := s.index[p]
	if !ok {
		i = int32(len(s.points))
		s.index[p] = i
		s.points = append(s.points, p)
	}
	return i
}

// triangle adds a triangle. One that has two corners in the same point
// encloses nothing and its edges cancel, so it is left out; one that is only
// flat (three corners on a line) stays, since its edges join its neighbours.
func (s *surface) triangle(a, b, c int32) {
	if a == b || b == c || c == a {
		s.dropped++
		return
	}
	s.triangles = append(s.triangles, [3]int32{a, b, c})
}

// enclosed is what a closed mesh holds, in mesh units.
type enclosed struct {
	volume    float64
	centroid  [3]float64
	triangles int
	dropped   int
	bodies    int // surfaces without a common edge; a hollow counts
}

// words tells what was measured.
func (e enclosed) words() string {
	s := fmt.Sprintf("volume inside %d triangles", e.triangles)
	if e.bodies > 1 {
		s += fmt.Sprintf(" in %d closed surfaces", e.bodies)
	}
	if e.dropped > 0 {
		s += fmt.Sprintf(" (%d more without area left out)", e.dropped)
	}
	return s
}

// enclosed reads the mesh and measures it.
//
// Refused, with the place in the file's own coordinates: surfaces that are
// open, that have edges of more than two triangles, whose triangles do not
// all face the same way round, that face inward (often the sign of a mirrored
// export, which would put the centre of gravity on the wrong side), or that
// lie inside one another the wrong way. Not looked for: surfaces that cut
// through themselves or each other.
func (m Mesh) enclosed() (enclosed, *fault.Fault) {
	refuse := func(f *fault.Fault) (enclosed, *fault.Fault) {
		f.What = "mesh " + m.File + ": " + f.What
		return enclosed{}, f.At(m.Pos)
	}
	if u := float64(m.Unit); !(u > 0) || !finite(u) {
		return refuse(fault.New(fault.NoUnit, "nothing says how long one mesh unit is").Fix("give unit: 1 mm, 1 m, 1 in ..., as it was drawn"))
	}
	if len(m.Data) > MaxMeshBytes {
		return refuse(fault.New(fault.TooLarge, "%d MiB is more than %d MiB", len(m.Data)>>20, MaxMeshBytes>>20).Fix("export it coarser"))
	}
	read := readSTL
	switch strings.ToLower(path.Ext(m.File)) {
	case ".stl":
	case ".obj":
		read = readOBJ
	default:
		return refuse(fault.New(fault.Unsupported, "not a kind of mesh file that is read").Fix("export it as .stl or .obj"))
	}
	s, f := read(m.Data)
	if f != nil {
		return refuse(f)
	}
	e, f := s.measure()
	if f != nil {
		return refuse(f)
	}
	return e, nil
}

func tooMany() *fault.Fault {
	return fault.New(fault.TooLarge, "more than %d triangles", MaxMeshTriangles).Fix("export it coarser")
}

// measure gives volume and centroid by the divergence theorem: every triangle
// spans a tetrahedron with an origin,
//
//	V = Σ a·(b × c) / 6,   V c = Σ a·(b × c) / 6 · (a + b + c) / 4,
//
// and those of triangles facing the origin count negative. The sum does not
// depend on the origin; its rounding does, so the origin is the middle of the
// mesh.
func (s *surface) measure() (enclosed, *fault.Fault) {
	if len(s.triangles) == 0 {
		return enclosed{}, fault.New(fault.OpenMesh, "no triangles")
	}
	body, bodies, f := s.bodies()
	if f != nil {
		return enclosed{}, f
	}

	low, high := s.points[0], s.points[0]
	for _, p := range s.points {
		low, high = lower(low, p), upper(high, p)
	}
	var origin [3]float64
	for k := range origin {
		origin[k] = low[k] + (high[k]-low[k])/2
	}
	e := enclosed{triangles: len(s.triangles), dropped: s.dropped, bodies: bodies}
	volumes := make([]float64, bodies)
	area := 0.0
	for i, t := range s.triangles {
		a, b, c := sub(s.points[t[0]], origin), sub(s.points[t[1]], origin), sub(s.points[t[2]], origin)
		v := dot(a, cross(b, c)) / 6
		volumes[body[i]] += v
		e.volume += v
		for k := range e.centroid {
			e.centroid[k] += v * (a[k] + b[k] + c[k]) / 4
		}
		area += norm(cross(sub(b, a), sub(c, a))) / 2
	}
	// A ball has the most volume for its surface, A^1.5/(6√π); a sheet whose
	// thickness is some 3e-9 of its width falls below this bound, and so does
	// what rounding leaves of a folded surface without inside.
	least := 1e-9 * math.Pow(area, 1.5)
	if !finite(e.volume, area, least) {
		return enclosed{}, fault.New(fault.Range, "coordinates too large to work with")
	}
	if math.Abs(e.volume) <= least {
		return enclosed{}, fault.New(fault.OpenMesh, "the surface encloses no volume").Fix("export a solid, not a sheet")
	}
	if bodies == 1 && e.volume < 0 {
		return enclosed{}, fault.New(fault.OpenMesh, "the surface faces inward").
			Fix("see that it was not mirrored, turn its normals outward, and export it again")
	}
	if bodies > 1 {
		if f := s.nested(body, volumes); f != nil {
			return enclosed{}, f
		}
	}
	room := 1.0
	for k := range e.centroid {
		e.centroid[k] = origin[k] + e.centroid[k]/e.volume
		room *= high[k] - low[k]
	}
	// The least that overlapping surfaces can be caught by.
	within := e.volume > 0 && e.volume <= room*(1+1e-9)
	for k, c := range e.centroid {
		slack := 1e-9 * (high[k] - low[k])
		within = within && c >= low[k]-slack && c <= high[k]+slack
	}
	if !within {
		return enclosed{}, fault.New(fault.OpenMesh, "the surface runs through itself: it counts more volume than the box it fits in").
			Fix("join the solids in the drawing program and export again")
	}
	return e, nil
}

// edge is an edge of the mesh as one triangle runs along it.
type edge struct {
	far      int32 // the end with the higher number
	triangle int32
	forward  bool // runs from the lower number to the higher
}

// bodies finds which triangles hang together by edges, and numbers these
// bodies from 0. It refuses a surface where an edge is not shared by exactly
// two triangles that run along it in opposite directions.
func (s *surface) bodies() (body []int32, count int, f *fault.Fault) {
	// Edges go into one bin for each vertex, that of their lower end.
	start := make([]int32, len(s.points)+1)
	for _, t := range s.triangles {
		for k := range t {
			start[min(t[k], t[(k+1)%3])+1]++
		}
	}
	for i := range s.points {
		start[i+1] += start[i]
	}
	edges := make([]edge, 3*len(s.triangles))
	next := slices.Clone(start)
	for i, t := range s.triangles {
		for k := range t {
			a, b := t[k], t[(k+1)%3]
			lo := min(a, b)
			edges[next[lo]] = edge{max(a, b), int32(i), a < b}
			next[lo]++
		}
	}

	parent := make([]int32, len(s.triangles))
	for i := range parent {
		parent[i] = int32(i)
	}
	root := func(i int32) int32 {
		for parent[i] != i {
			parent[i] = parent[parent[i]]
			i = parent[i]
		}
		return i
	}
	var open, crowded, turned edgeFault
	for v := range s.points {
		bin := edges[start[v]:start[v+1]]
		slices.SortFunc(bin, func(a, b edge) int { return int(a.far) - int(b.far) })
		for len(bin) > 0 {
			n := 1
			for n < len(bin) && bin[n].far == bin[0].far {
				n++
			}
			here := [2][3]float64{s.points[v], s.points[bin[0].far]}
			switch {
			case n == 1:
				open.add(here)
			case n > 2:
				crowded.add(here)
			case bin[0].forward == bin[1].forward:
				turned.add(here)
			default:
				parent[root(bin[0].triangle)] = root(bin[1].triangle)
			}
			bin = bin[n:]
		}
	}
	switch {
	case open.count > 0:
		f = fault.New(fault.OpenMesh, "the surface is open at %s", open).
			Fix("close it in the drawing program and export again; corners that should meet must have exactly the same coordinates")
	case crowded.count > 0:
		f = fault.New(fault.OpenMesh, "more than two triangles meet at %s", crowded).
			Fix("join touching solids into one, or give them as separate parts")
	case turned.count > 0:
		f = fault.New(fault.OpenMesh, "triangles face opposite ways on the two sides of %s", turned).
			Fix("make all normals face outward and export again")
	}
	if f != nil {
		return nil, 0, f
	}
	number := map[int32]int32{}
	body = make([]int32, len(s.triangles))
	for i := range body {
		r := root(int32(i))
		n, ok := number[r]
		if !ok {
			n = int32(len(number))
			number[r] = n
		}
		body[i] = n
	}
	return body, len(number), nil
}

// edgeFault counts edges at fault and keeps the first few.
type edgeFault struct {
	count int
	first [][2][3]float64
}

func (e *edgeFault) add(at [2][3]float64) {
	if e.count++; len(e.first) < 3 {
		e.first = append(e.first, at)
	}
}

// String names the edges in the coordinates of the file.
func (e edgeFault) String() string {
	var b strings.Builder
	if e.count == 1 {
		b.WriteString("1 edge: ")
	} else {
		fmt.Fprintf(&b, "%d edges: ", e.count)
	}
	for i, at := range e.first {
		if i > 0 {
			b.WriteString(", ")
		}
		fmt.Fprintf(&b, "%s to %s", place(at[0]), place(at[1]))
	}
	if e.count > len(e.first) {
		b.WriteString(", ...")
	}
	return b.String()
}

func place(p [3]float64) string {
	return fmt.Sprintf("(%s, %s, %s)", num(p[0]), num(p[1]), num(p[2]))
}

// nested checks how several closed surfaces lie in one another: an outward
// one must lie outside all solid, an inward one, a hollow, inside exactly one
// solid. Otherwise a volume would count twice or be taken off nothing.
func (s *surface) nested(body []int32, volumes []float64) *fault.Fault {
	if len(volumes) > maxBodies {
		return fault.New(fault.TooLarge, "more than %d separate closed surfaces", maxBodies).Fix("give it as several parts")
	}
	hulls := make([]hull, len(volumes))
	for i, t := range s.triangles {
		hulls[body[i]].add(s, t)
	}
	looked := 0
	for i, h := range hulls {
		// A surface that only touches a neighbour has corners away from it;
		// one that is wrong is so at every corner.
		wrong := true
		for j := 0; j < len(h.triangles) && wrong; j += max(1, len(h.triangles)/8) {
			p := s.points[h.triangles[j][0]]
			around := 0.0
			for k, other := range hulls {
				if k == i || !other.holds(p) {
					continue
				}
				if looked += len(other.triangles); looked > maxInside {
					return fault.New(fault.TooLarge, "too many closed surfaces inside the bounds of others to tell which is in which").Fix("give it as several parts")
				}
				around += other.around(s, p)
			}
			wrong = volumes[i] > 0 && around > 0.75 || volumes[i] < 0 && around < 0.25
		}
		switch p := place(s.points[h.triangles[0][0]]); {
		case wrong && volumes[i] > 0:
			return fault.New(fault.OpenMesh, "a closed surface at %s lies inside a solid and would count twice", p).
				Fix("if it is a hollow, turn its normals into the hollow; if it is another material, give it as parts of their own")
		case wrong:
			return fault.New(fault.OpenMesh, "a closed surface at %s faces inward and is no hollow of a solid", p).
				Fix("see that it was not mirrored, turn its normals outward, and export it again")
		}
	}
	return nil
}

// hull is one closed surface of several.
type hull struct {
	low, high [3]float64
	triangles [][3]int32
}

func (h *hull) add(s *surface, t [3]int32) {
	if h.triangles == nil {
		h.low, h.high = s.points[t[0]], s.points[t[0]]
	}
	for _, v := range t {
		h.low, h.high = lower(h.low, s.points[v]), upper(h.high, s.points[v])
	}
	h.triangles = append(h.triangles, t)
}

// holds tells whether a point lies in the box around the surface.
func (h *hull) holds(p [3]float64) bool {
	return lower(p, h.low) == h.low && upper(p, h.high) == h.high
}

// around is the winding number: how often the surface goes around a point. 1
// inside a solid, 0 outside, and -1 inside a hollow taken by itself; one half
// on a face.
func (h *hull) around(s *surface, p [3]float64) float64 {
	sum := 0.0
	for _, t := range h.triangles {
		sum += solidAngle(sub(s.points[t[0]], p), sub(s.points[t[1]], p), sub(s.points[t[2]], p))
	}
	return sum / (4 * math.Pi)
}

// solidAngle is that under which the origin sees a triangle, positive from
// behind: tan(Ω/2) = a·(b×c) / (|a||b||c| + (a·b)|c| + (b·c)|a| + (c·a)|b|)
// (van Oosterom and Strackee 1983); none from within its plane.
func solidAngle(a, b, c [3]float64) float64 {
	det := dot(a, cross(b, c))
	if det == 0 {
		return 0
	}
	la, lb, lc := norm(a), norm(b), norm(c)
	return 2 * math.Atan2(det, la*lb*lc+dot(a, b)*lc+dot(b, c)*la+dot(c, a)*lb)
}

func sub(a, b [3]float64) [3]float64 { return [3]float64{a[0] - b[0], a[1] - b[1], a[2] - b[2]} }
func dot(a, b [3]float64) float64    { return a[0]*b[0] + a[1]*b[1] + a[2]*b[2] }
func norm(a [3]float64) float64      { return math.Sqrt(dot(a, a)) }

func cross(a, b [3]float64) [3]float64 {
	return [3]float64{a[1]*b[2] - a[2]*b[1], a[2]*b[0] - a[0]*b[2], a[0]*b[1] - a[1]*b[0]}
}

func lower(a, b [3]float64) [3]float64 {
	return [3]float64{min(a[0], b[0]), min(a[1], b[1]), min(a[2], b[2])}
}

func upper(a, b [3]float64) [3]float64 {
	return [3]float64{max(a[0], b[0]), max(a[1], b[1]), max(a[2], b[2])}
}
