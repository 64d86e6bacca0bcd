package statics

import "math"

// Vec is a vector in three dimensions.
type Vec [3]float64

// Add gives v + w.
func (v Vec) Add(w Vec) Vec { return Vec{v[0] + w[0], v[1] + w[1], v[2] + w[2]} }

// Sub gives v - w.
func (v Vec) Sub(w Vec) Vec { return Vec{v[0] - w[0], v[1] - w[1], v[2] - w[2]} }

// Scale gives s v.
func (v Vec) Scale(s float64) Vec { return Vec{s * v[0], s * v[1], s * v[2]} }

// Dot gives v · w.
func (v Vec) Dot(w Vec) float64 { return v[0]*w[0] + v[1]*w[1] + v[2]*w[2] }

// Cross gives v × w.
func (v Vec) Cross(w Vec) Vec {
	return Vec{v[1]*w[2] - v[2]*w[1], v[2]*w[0] - v[0]*w[2], v[0]*w[1] - v[1]*w[0]}
}

// Norm gives |v|.
func (v Vec) Norm() float64 { return math.Sqrt(v.Dot(v)) }

// Rot is a rotation matrix, row major.
type Rot [9]float64

// Identity leaves body axes along the world's.
var Identity = Rot{1, 0, 0, 0, 1, 0, 0, 0, 1}

// Apply gives R v.
func (r *Rot) Apply(v Vec) Vec {
	return Vec{
		r[0]*v[0] + r[1]*v[1] + r[2]*v[2],
		r[3]*v[0] + r[4]*v[1] + r[5]*v[2],
		r[6]*v[0] + r[7]*v[1] + r[8]*v[2],
	}
}

// Inverse gives Rᵀ v.
func (r *Rot) Inverse(v Vec) Vec {
	return Vec{
		r[0]*v[0] + r[3]*v[1] + r[6]*v[2],
		r[1]*v[0] + r[4]*v[1] + r[7]*v[2],
		r[2]*v[0] + r[5]*v[1] + r[8]*v[2],
	}
}

// Mul gives R S.
func (r *Rot) Mul(s *Rot) Rot {
	var t Rot
	for i := 0; i < 9; i += 3 {
		for j := range 3 {
			t[i+j] = r[i]*s[j] + r[i+1]*s[3+j] + r[i+2]*s[6+j]
		}
	}
	return t
}

// Exp is the rotation by |w| about w (Rodrigues).
func Exp(w Vec) Rot {
	t2 := w.Dot(w)
	var a, b float64 // sin t / t, (1 - cos t) / t²
	if t2 < 1e-3 {   // the series is right to rounding there, and quicker
		a = 1 - t2/6*(1-t2/20*(1-t2/42))
		b = 0.5 - t2/24*(1-t2/30*(1-t2/56))
	} else {
		t := math.Sqrt(t2)
		s := math.Sin(t / 2)
		a, b = math.Sin(t)/t, 2*s*s/t2
	}
	x, y, z := w[0], w[1], w[2]
	return Rot{
		1 - b*(y*y+z*z), b*x*y - a*z, b*x*z + a*y,
		b*x*y + a*z, 1 - b*(x*x+z*z), b*y*z - a*x,
		b*x*z - a*y, b*y*z + a*x, 1 - b*(x*x+y*y),
	}
}

// orthonormalise removes the drift that many small rotations add up to, by
// one Newton step of the polar decomposition.
func (r *Rot) orthonormalise() {
	var g Rot // Rᵀ R
	for i := range 3 {
		for j := range 3 {
			g[3*i+j] = r[i]*r[j] + r[3+i]*r[3+j] + r[6+i]*r[6+j]
		}
	}
	h := Rot{1.5 - g[0]/2, -g[1] / 2, -g[2] / 2, -g[3] / 2, 1.5 - g[4]/2, -g[5] / 2, -g[6] / 2, -g[7] / 2, 1.5 - g[8]/2}
	*r = r.Mul(&h)
}
