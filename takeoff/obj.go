package takeoff

import (
	"math"
	"strconv"
	"strings"

	"plumbhook/fault"
)

// readOBJ reads the vertices (v) and polygons (f) of an OBJ file. Texture and
// normal indices, groups, materials, lines and points are passed over; an
// element that bounds volume in another way (curved surfaces, calls of other
// files) is refused, since leaving it out would lose weight.
//
// A polygon is cut into triangles from its first corner, which is exact for a
// flat one, dented or not; one that is not flat is refused, because its
// volume would depend on the cut.
func readOBJ(data []byte) (*surface, *fault.Fault) {
	s := newSurface(min(len(data)/60, MaxMeshTriangles))
	var vertices []int32 // welded number of each v line
	var corners []int32
	w := words{text: string(data), line: 1}
	for w.next() {
		switch w.word {
		case "v":
			p, f := w.coordinates()
			if f != nil {
				return nil, f
			}
			if len(vertices) == 3*MaxMeshTriangles {
				return nil, fault.New(fault.TooLarge, "more than %d vertices", len(vertices)).Fix("export it coarser")
			}
			vertices = append(vertices, s.point(p))
		case "f":
			corners = corners[:0]
			for w.nextOnLine() && w.word[0] != '#' {
				v, f := w.corner(len(vertices))
				if f != nil {
					return nil, f
				}
				corners = append(corners, vertices[v])
			}
			if len(corners) < 3 {
				return nil, w.fault(fault.Syntax, "a face of %d corners", len(corners))
			}
			if len(s.triangles)+s.dropped+len(corners)-2 > MaxMeshTriangles {
				return nil, tooMany()
			}
			if !s.flat(corners) {
				return nil, w.fault(fault.OpenMesh, "the face is not flat, so what it encloses is not certain").
					Fix("export triangles instead of polygons")
			}
			for i := 2; i < len(corners); i++ {
				s.triangle(corners[0], corners[i-1], corners[i])
			}
		case "vt", "vn", "vp", "g", "o", "s", "l", "p", "usemtl", "mtllib", "usemap", "maplib", "bevel",
			"c_interp", "d_interp", "lod", "shadow_obj", "trace_obj", "mg":
		default:
			if w.word[0] != '#' {
				return nil, w.fault(fault.Unsupported, "%q is not read", clip(w.word)).Fix("export polygons only")
			}
		}
		if strings.HasPrefix(w.word, "#") {
			w.skipLine()
		} else {
			w.skipStatement()
		}
	}
	return s, nil
}

// corner reads "v", "v/t", "v//n" or "v/t/n" and gives v counted from zero;
// the file counts from 1, or from -1 backward.
func (w *words) corner(vertices int) (int, *fault.Fault) {
	v, _, _ := strings.Cut(w.word, "/")
	i, err := strconv.Atoi(v)
	switch {
	case err != nil:
		return 0, w.fault(fault.Syntax, "%q is not a corner of a face", clip(w.word))
	case i < 0:
		i += vertices + 1
	}
	if i < 1 || i > vertices {
		return 0, w.fault(fault.Reference, "corner %q of a face, with %d vertices so far", clip(w.word), vertices)
	}
	return i - 1, nil
}

// flat tells whether the corners lie within 1 in 1000 of the polygon's own
// size of its mean plane, whose normal is the sum of a × b around the edge
// (Newell); coordinates rounded to four figures pass.
func (s *surface) flat(corners []int32) bool {
	if len(corners) == 3 {
		return true
	}
	first := s.points[corners[0]]
	var normal [3]float64
	size := 0.0
	for i := range corners {
		a, b := sub(s.points[corners[i]], first), sub(s.points[corners[(i+1)%len(corners)]], first)
		for k, n := range cross(a, b) {
			normal[k] += n
		}
		size = math.Max(size, norm(a))
	}
	length := norm(normal)
	for _, c := range corners {
		if !(math.Abs(dot(normal, sub(s.points[c], first))) <= 1e-3*size*length) {
			return false
		}
	}
	return true
}
