package sim

import "math"

// Vec is a vector: m, N, rad.
type Vec [3]float64

// Mat is a 3 by 3 matrix by rows. A rotation takes body axes to the world's.
type Mat [3][3]float64

// identity leaves vectors as they are.
var identity = Mat{{1, 0, 0}, {0, 1, 0}, {0, 0, 1}}

func (a Vec) plus(b Vec) Vec           { return Vec{a[0] + b[0], a[1] + b[1], a[2] + b[2]} }
func (a Vec) minus(b Vec) Vec          { return Vec{a[0] - b[0], a[1] - b[1], a[2] - b[2]} }
func (a Vec) times(s float64) Vec      { return Vec{a[0] * s, a[1] * s, a[2] * s} }
func (a Vec) dot(b Vec) float64        { return a[0]*b[0] + a[1]*b[1] + a[2]*b[2] }
func (a Vec) norm() float64            { return math.Sqrt(a.dot(a)) }
func (a Vec) add(s float64, b Vec) Vec { return Vec{a[0] + s*b[0], a[1] + s*b[1], a[2] + s*b[2]} }

func (a Vec) cross(b Vec) Vec {
	return Vec{a[1]*b[2] - a[2]*b[1], a[2]*b[0] - a[0]*b[2], a[0]*b[1] - a[1]*b[0]}
}

func (m *Mat) apply(v Vec) Vec {
	return Vec{
		m[0][0]*v[0] + m[0][1]*v[1] + m[0][2]*v[2],
		m[1][0]*v[0] + m[1][1]*v[1] + m[1][2]*v[2],
		m[2][0]*v[0] + m[2][1]*v[1] + m[2][2]*v[2],
	}
}

// back applies the transpose.
func (m *Mat) back(v Vec) Vec {
	return Vec{
		m[0][0]*v[0] + m[1][0]*v[1] + m[2][0]*v[2],
		m[0][1]*v[0] + m[1][1]*v[1] + m[2][1]*v[2],
		m[0][2]*v[0] + m[1][2]*v[1] + m[2][2]*v[2],
	}
}

func (m *Mat) mul(n *Mat) (out Mat) {
	for i := range 3 {
		for j := range 3 {
			out[i][j] = m[i][0]*n[0][j] + m[i][1]*n[1][j] + m[i][2]*n[2][j]
		}
	}
	return out
}

// skew is the matrix that takes the cross product from the left: [v]× w = v × w.
func skew(v Vec) Mat {
	return Mat{{0, -v[2], v[1]}, {v[2], 0, -v[0]}, {-v[1], v[0], 0}}
}

// Turned is the rotation by the vector w: about its direction, by its length
// in rad (Rodrigues).
func Turned(w Vec) Mat {
	t2 := w.dot(w)
	var a, b float64 // sin t / t, (1 - cos t) / t²
	if t2 < 1e-8 {
		a, b = 1-t2/6, 0.5-t2/24
	} else {
		t := math.Sqrt(t2)
		s, c := math.Sincos(t)
		a, b = s/t, (1-c)/t2
	}
	k := skew(w)
	kk := k.mul(&k)
	out := identity
	for i := range 3 {
		for j := range 3 {
			out[i][j] += a*k[i][j] + b*kk[i][j]
		}
	}
	return out
}

// straighten takes the rounding out of a rotation (Gram and Schmidt).
func (m *Mat) straighten() {
	x := Vec{m[0][0], m[1][0], m[2][0]}
	y := Vec{m[0][1], m[1][1], m[2][1]}
	x = x.times(1 / x.norm())
	y = y.add(-x.dot(y), x)
	y = y.times(1 / y.norm())
	z := x.cross(y)
	for i := range 3 {
		m[i] = Vec{x[i], y[i], z[i]}
	}
}

// Apply turns a vector of body axes into the world's.
func (m Mat) Apply(v Vec) Vec { return m.apply(v) }

// Times is the matrix product m n: first n, then m.
func (m Mat) Times(n Mat) Mat { return m.mul(&n) }

// Swung turns a vector about the upright axis by a share of the full circle.
func (a Vec) Swung(share float64) Vec {
	s, c := math.Sincos(2 * math.Pi * share)
	return Vec{c*a[0] - s*a[1], s*a[0] + c*a[1], a[2]}
}
