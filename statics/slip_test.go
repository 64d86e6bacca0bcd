package statics

import (
	"math"
	"testing"
)

// TestSlip holds a basket's slip limits against what Eytelwein asks and
// against the balance of the load, and the frictionless state against equal
// spans.
func TestSlip(t *testing.T) {
	for _, c := range []float64{0, 2e-7} {
		m := &Model{Gravity: 9.80665, Bodies: []Body{{Mass: 2000, CG: Vec{0.05, 0, -0.6}, Start: at(0, 0, 0)}}}
		m.Cables = []Cable{{
			Path: []Point{world(0, 0, 3), body(0, -1, 0, 0), body(0, 1, 0, 0), world(0, 0, 3)}, Length: 7, Compliance: c, Friction: 0.15,
		}}
		s, r := hang(t, m)
		free := r.Poses[0]
		spans := make([][]float64, 1)
		for _, ahead := range []bool{true, false} {
			r = s.Slip(ahead, spans)
			if r.Err() != nil {
				t.Fatal(r.Err())
			}
			sp := spans[0]
			p := []Vec{s.Where(m.Cables[0].Path[0]), s.Where(m.Cables[0].Path[1]), s.Where(m.Cables[0].Path[2]), s.Where(m.Cables[0].Path[3])}
			length := 0.0
			for j := 1; j < 3; j++ {
				in, out := p[j].Sub(p[j-1]), p[j+1].Sub(p[j])
				turn := math.Acos(in.Dot(out) / in.Norm() / out.Norm())
				want := math.Exp(0.15 * turn)
				got := sp[j] / sp[j-1]
				if !ahead {
					got = 1 / got
				}
				if math.Abs(got-want) > 1e-9 {
					t.Errorf("c=%g ahead=%v point %d: ratio %.12g, Eytelwein asks %.12g", c, ahead, j, got, want)
				}
			}
			// Balance of forces and of moments about the hook, by hand.
			cg := r.Poses[0].At.Add(r.Poses[0].R.Apply(m.Bodies[0].CG))
			f := Vec{0, 0, -2000 * 9.80665}
			moment := cg.Sub(p[0]).Cross(f)
			stretch := 0.0
			for j := range 3 {
				d := p[j+1].Sub(p[j])
				length += d.Norm()
				stretch += sp[j] * d.Norm()
			}
			for j := 1; j < 3; j++ {
				pull := p[j-1].Sub(p[j]).Scale(sp[j-1] / p[j-1].Sub(p[j]).Norm()).Add(p[j+1].Sub(p[j]).Scale(sp[j] / p[j+1].Sub(p[j]).Norm()))
				f = f.Add(pull)
				moment = moment.Add(p[j].Sub(p[0]).Cross(pull))
			}
			if f.Norm()+moment.Norm() > 1e-6 {
				t.Errorf("c=%g ahead=%v: unbalanced force %v moment %v", c, ahead, f, moment)
			}
			if d := length - 7 - c*stretch/length; math.Abs(d) > 1e-10 {
				t.Errorf("c=%g ahead=%v: rope is %g m off its length", c, ahead, d)
			}
			s.Rehang()
		}
		if d := s.res.Poses[0].At.Sub(free.At).Norm(); d > 1e-9 {
			t.Errorf("c=%g: coming back ends %g m away", c, d)
		}
		if got := s.res.Tension[0]; got <= 0 {
			t.Errorf("c=%g: tension %g", c, got)
		}
	}
}
