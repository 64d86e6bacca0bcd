package takeoff_test

import (
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
	"math"
	"testing"

	"plumbhook/fault"
	"plumbhook/quantity"
	"plumbhook/takeoff"
)

// Values as the lift file would give them.

func exact[Q quantity.Quantity](v float64) *quantity.Measured[Q] {
	m := quantity.Known(Q(v))
	return &m
}

func plusMinus[Q quantity.Quantity](v, a float64) *quantity.Measured[Q] {
	return &quantity.Measured[Q]{Value: Q(v), Low: Q(v - a), High: Q(v + a), Shape: quantity.Normal}
}

func between[Q quantity.Quantity](lo, hi float64) *quantity.Measured[Q] {
	return &quantity.Measured[Q]{Value: Q((lo + hi) / 2), Low: Q(lo), High: Q(hi), Shape: quantity.Uniform}
}

func at(x, y, z float64) *quantity.Point {
	return &quantity.Point{X: *exact[quantity.Length](x), Y: *exact[quantity.Length](y), Z: *exact[quantity.Length](z)}
}

func turn(x, y, z float64) *[3]quantity.Angle {
	return &[3]quantity.Angle{quantity.Angle(x), quantity.Angle(y), quantity.Angle(z)}
}

// shape takes sizes as name, value pairs.
func shape(kind string, sizes ...any) *takeoff.Shape {
	s := &takeoff.Shape{Kind: kind, Sizes: map[string]quantity.Measured[quantity.Length]{}}
	for i := 0; i < len(sizes); i += 2 {
		switch v := sizes[i+1].(type) {
		case float64:
			s.Sizes[sizes[i].(string)] = *exact[quantity.Length](v)
		case *quantity.Measured[quantity.Length]:
			s.Sizes[sizes[i].(string)] = *v
		default:
			panic(fmt.Sprintf("size %v", v))
		}
	}
	return s
}

type fataler interface {
	Helper()
	Fatalf(format string, args ...any)
}

func work(t fataler, it takeoff.Item) takeoff.Part {
	t.Helper()
	p, err := it.Work()
	if err != nil {
		t.Fatalf("%v", err)
	}
	return p
}

func sum(t fataler, parts ...takeoff.Part) takeoff.Total {
	t.Helper()
	total, err := takeoff.Sheet{Parts: parts}.Sum(true)
	if err != nil {
		t.Fatalf("%v", err)
	}
	return total
}

// near fails unless got is within tol of want.
func near(t fataler, what string, got, want, tol float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tol) {
		t.Fatalf("%s is %.12g, want %.12g within %g", what, got, want, tol)
	}
}

func nearPoint(t fataler, what string, got, want [3]float64, tol float64) {
	t.Helper()
	for k, axis := range []string{"x", "y", "z"} {
		near(t, what+" "+axis, got[k], want[k], tol)
	}
}

// refused fails unless err has a fault of the code whose line holds all words.
func refused(t *testing.T, err error, code fault.Code, words ...string) {
	t.Helper()
	if err == nil {
		t.Fatalf("accepted, want a fault %s", code)
	}
	var list fault.List
	if !errors.As(err, &list) {
		t.Fatalf("%T is not a fault list: %v", err, err)
	}
next:
	for _, f := range list {
		if f.Code != code {
			continue
		}
		for _, w := range words {
			if !bytes.Contains([]byte(f.Error()), []byte(w)) {
				continue next
			}
		}
		return
	}
	t.Fatalf("no fault %s with %q in:\n%v", code, words, err)
}

// mesh is a polygon mesh on its way into a file.
type mesh struct {
	points [][3]float64
	faces  [][]int // counted from 0, counter-clockwise from outside
}

func (m mesh) clone() mesh {
	c := mesh{points: append([][3]float64(nil), m.points...)}
	for _, f := range m.faces {
		c.faces = append(c.faces, append([]int(nil), f...))
	}
	return c
}

func (m mesh) shifted(d [3]float64) mesh {
	c := m.clone()
	for i := range c.points {
		for k := range d {
			c.points[i][k] += d[k]
		}
	}
	return c
}

func (m mesh) insideOut() mesh {
	c := m.clone()
	for _, f := range c.faces {
		for i, j := 0, len(f)-1; i < j; i, j = i+1, j-1 {
			f[i], f[j] = f[j], f[i]
		}
	}
	return c
}

func (m mesh) and(o mesh) mesh {
	c, n := m.clone(), len(m.points)
	c.points = append(c.points, o.points...)
	for _, f := range o.clone().faces {
		for i := range f {
			f[i] += n
		}
		c.faces = append(c.faces, f)
	}
	return c
}

// obj writes coordinates to the last bit.
func (m mesh) obj() []byte {
	var b bytes.Buffer
	for _, p := range m.points {
		fmt.Fprintf(&b, "v %v %v %v\n", p[0], p[1], p[2])
	}
	for _, f := range m.faces {
		b.WriteString("f")
		for _, i := range f {
			fmt.Fprintf(&b, " %d", i+1)
		}
		b.WriteByte('\n')
	}
	return b.Bytes()
}

func (m mesh) textSTL() []byte {
	var b bytes.Buffer
	b.WriteString("solid part one\n")
	for _, f := range m.faces {
		for i := 2; i < len(f); i++ {
			b.WriteString("facet normal 0 0 0\n outer loop\n")
			for _, v := range []int{f[0], f[i-1], f[i]} {
				p := m.points[v]
				fmt.Fprintf(&b, "  vertex %v %v %v\n", p[0], p[1], p[2])
			}
			b.WriteString(" endloop\nendfacet\n")
		}
	}
	b.WriteString("endsolid part one\n")
	return b.Bytes()
}

// binarySTL rounds coordinates to 32 bits, as the format does.
func (m mesh) binarySTL() []byte {
	b := append([]byte("solid, but binary"), make([]byte, 84-17)...)
	n := 0
	for _, f := range m.faces {
		for i := 2; i < len(f); i++ {
			n++
			b = append(b, make([]byte, 12)...)
			for _, v := range []int{f[0], f[i-1], f[i]} {
				for _, x := range m.points[v] {
					b = binary.LittleEndian.AppendUint32(b, math.Float32bits(float32(x)))
				}
			}
			b = append(b, 0, 0)
		}
	}
	binary.LittleEndian.PutUint32(b[80:], uint32(n))
	return b
}

// asItem is the mesh as a part of density 1 at the origin, so that its mass
// is its volume and its centre its centroid.
func asItem(file string, data []byte) takeoff.Item {
	return takeoff.Item{
		Name: "m", Mesh: &takeoff.Mesh{File: file, Unit: 1, Data: data},
		Density: exact[quantity.Density](1), At: at(0, 0, 0),
	}
}

// box is a block of quadrilaterals with its lower corner at the origin.
func box(x, y, z float64) mesh {
	return mesh{
		[][3]float64{{0, 0, 0}, {x, 0, 0}, {x, y, 0}, {0, y, 0}, {0, 0, z}, {x, 0, z}, {x, y, z}, {0, y, z}},
		[][]int{{3, 2, 1, 0}, {4, 5, 6, 7}, {0, 1, 5, 4}, {1, 2, 6, 5}, {2, 3, 7, 6}, {3, 0, 4, 7}},
	}
}

// lathe turns a profile of (radius, height) pairs about z into n flat-sided
// segments. It runs from bottom to top, outside first; ends on the axis have
// radius 0, and a profile that ends where it began makes a ring.
func lathe(n int, profile ...[2]float64) mesh {
	var m mesh
	rings := make([][]int, len(profile))
	closed := profile[0] == profile[len(profile)-1]
	for r, p := range profile {
		if closed && r == len(profile)-1 {
			rings[r] = rings[0]
			break
		}
		for i := range n {
			if i > 0 && p[0] == 0 {
				rings[r] = append(rings[r], rings[r][0])
				continue
			}
			s, c := math.Sincos(2 * math.Pi * float64(i) / float64(n))
			rings[r] = append(rings[r], len(m.points))
			m.points = append(m.points, [3]float64{p[0] * c, p[0] * s, p[1]})
		}
	}
	for r := 1; r < len(rings); r++ {
		for i := range n {
			j := (i + 1) % n
			a, b, c, d := rings[r-1][i], rings[r-1][j], rings[r][j], rings[r][i]
			if a != b {
				m.faces = append(m.faces, []int{a, b, c})
			}
			if c != d {
				m.faces = append(m.faces, []int{a, c, d})
			}
		}
	}
	return m
}
