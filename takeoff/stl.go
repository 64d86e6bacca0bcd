package takeoff

import (
	"encoding/binary"
	"math"

	"plumbhook/fault"
)

// readSTL reads a stereolithography file, text or binary. Facet normals and
// the two attribute bytes are not looked at: the order of the corners says
// which side is out. Several solids in one text file are read as one mesh.
//
// A binary file is 80 bytes of anything, the number of triangles as a 32-bit
// little-endian integer, and 50 bytes for each. Since the 80 bytes may begin
// with "solid", as a text file does, the length decides.
func readSTL(data []byte) (*surface, *fault.Fault) {
	const head, each = 84, 50
	n := 0
	if len(data) >= head {
		n = int(binary.LittleEndian.Uint32(data[80:]))
		if len(data)-head == n*each {
			return binarySTL(data[head:], n)
		}
	}
	if first := (words{text: string(data[:min(len(data), head)])}); first.next() && first.is("solid") {
		return textSTL(string(data))
	}
	if len(data) < head {
		return nil, fault.New(fault.Syntax, "too short for an STL file")
	}
	return nil, fault.New(fault.Syntax, "the head says %d triangles, the file has room for %s", n, num(float64(len(data)-head)/each)).
		Fix("the file is cut off or not STL; export it again")
}

func binarySTL(data []byte, n int) (*surface, *fault.Fault) {
	if n > MaxMeshTriangles {
		return nil, tooMany()
	}
	s := newSurface(n)
	for i := range n {
		var at [3]int32
		for k := range at {
			var p [3]float64
			for j := range p {
				p[j] = float64(math.Float32frombits(binary.LittleEndian.Uint32(data[i*50+12+k*12+j*4:])))
			}
			if !finite(p[:]...) {
				return nil, fault.New(fault.Range, "triangle %d has a corner that is not a number", i+1)
			}
			at[k] = s.point(p)
		}
		s.triangle(at[0], at[1], at[2])
	}
	return s, nil
}

// textSTL reads the words of a text file; line breaks mean nothing to it, but
// faults are told by line. What follows solid and endsolid on their line is a
// name.
func textSTL(text string) (*surface, *fault.Fault) {
	w := words{text: text, line: 1}
	s := newSurface(min(len(text)/150, MaxMeshTriangles)) // 150 bytes or more are usual for a facet
	for w.next() {
		if !w.is("solid") {
			return nil, w.unexpected("solid")
		}
		w.skipLine()
		for {
			if !w.next() {
				return nil, w.unexpected("endsolid")
			}
			if w.is("endsolid") {
				w.skipLine()
				break
			}
			if f := s.facet(&w); f != nil {
				return nil, f
			}
			if len(s.triangles)+s.dropped > MaxMeshTriangles {
				return nil, tooMany()
			}
		}
	}
	return s, nil
}

// facet reads on from the word facet.
func (s *surface) facet(w *words) *fault.Fault {
	if !w.is("facet") {
		return w.unexpected("facet or endsolid")
	}
	if f := w.expect("normal"); f != nil {
		return f
	}
	for range 3 {
		if !w.next() {
			return w.unexpected("a normal of three numbers")
		}
	}
	if f := w.expect("outer", "loop"); f != nil {
		return f
	}
	var at [3]int32
	for k := range at {
		if f := w.expect("vertex"); f != nil {
			return f
		}
		p, f := w.coordinates()
		if f != nil {
			return f
		}
		at[k] = s.point(p)
	}
	if f := w.expect("endloop", "endfacet"); f != nil {
		return f
	}
	s.triangle(at[0], at[1], at[2])
	return nil
}
