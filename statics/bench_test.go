package statics

import (
	"math"
	"testing"
	"time"

	"gonum.org/v1/gonum/optimize"
)

// fourLegs is an ordinary lift: ten tonnes on four wire rope legs, the
// centre of gravity off by cx, cy.
func fourLegs(cx, cy float64) *Model {
	m := &Model{Gravity: 9.80665, Bodies: []Body{{Mass: 10000, CG: Vec{cx, cy, -0.8}, Start: at(0, 0, 0)}}}
	for _, p := range []Vec{{1.5, 1, 0}, {-1.5, 1, 0}, {-1.5, -1, 0}, {1.5, -1, 0}} {
		m.Cables = append(m.Cables, Cable{
			Path: []Point{world(0, 0, 3), body(0, p[0], p[1], p[2])}, Length: 3.1, Compliance: 1 / 5.2e6,
		})
	}
	return m
}

// threeTiers hangs seven bodies: a beam, two beams under it, four loads.
func threeTiers() *Model {
	m := &Model{Gravity: 9.80665}
	add := func(mass float64, cg Vec, z float64, x float64) int {
		m.Bodies = append(m.Bodies, Body{Mass: mass, CG: cg, Start: at(x, 0, z)})
		return len(m.Bodies) - 1
	}
	tie := func(a, b Point, l float64) {
		m.Cables = append(m.Cables, Cable{Path: []Point{a, b}, Length: l, Compliance: 1 / 8e6})
	}
	top := add(300, Vec{0, 0, -0.05}, 0, 0)
	tie(world(0, 0, 3), body(top, -3, 0, 0.1), 4)
	tie(world(0, 0, 3), body(top, 3, 0, 0.1), 4)
	for _, side := range []float64{-3, 3} {
		mid := add(150, Vec{0, 0.01, -0.05}, -2, side)
		tie(body(top, side, 0, -0.1), body(mid, -1, 0, 0.1), 2.2)
		tie(body(top, side, 0, -0.1), body(mid, 1, 0, 0.1), 2.2)
		for _, x := range []float64{-1, 1} {
			load := add(1500+200*x, Vec{0.05, -0.02, -0.5}, -5, side+x)
			tie(body(mid, x, 0, -0.1), body(load, -0.5, 0.3, 0), 2)
			tie(body(mid, x, 0, -0.1), body(load, 0.5, 0.3, 0), 2)
			tie(body(mid, x, 0, -0.1), body(load, 0, -0.4, 0), 2.01)
		}
	}
	return m
}

func BenchmarkHangFourLegs(b *testing.B) {
	s, _ := hang(b, fourLegs(0.03, 0.02))
	b.ReportAllocs()
	for b.Loop() {
		s.Hang()
	}
}

func BenchmarkHangSevenBodies(b *testing.B) {
	s, _ := hang(b, threeTiers())
	b.ReportAllocs()
	for b.Loop() {
		s.Hang()
	}
}

// BenchmarkAgainstBFGS moves the centre of gravity of the four-leg lift to
// and fro by one per cent of the lug spacing and solves again each time, with
// Rehang and with gonum's BFGS on the same energy with its analytic gradient,
// from the same starts to the same residual. It reports how many times longer
// BFGS takes.
func BenchmarkAgainstBFGS(b *testing.B) {
	m := fourLegs(0.03, 0.02)
	s, _ := hang(b, m)
	const turns = 50
	var ends [2]Pose // where the centre of gravity is at either end
	cg := [2]float64{0.03, 0.06}
	for k := range 4 {
		m.Bodies[0].CG[0] = cg[k%2]
		s.Rehang()
		ends[k%2] = s.res.Poses[0]
	}
	var ours, theirs time.Duration
	var residual, bfgs float64
	n := 0
	for b.Loop() {
		t := time.Now()
		for k := range turns {
			m.Bodies[0].CG[0] = cg[k%2]
			s.Rehang()
		}
		ours += time.Since(t)
		residual = max(s.res.Residual, 1e-9)
		t = time.Now()
		for k := range turns {
			m.Bodies[0].CG[0] = cg[k%2]
			bfgs = bfgsHang(b, m, ends[1-k%2], residual)
		}
		theirs += time.Since(t)
		n += turns
	}
	b.ReportMetric(float64(theirs)/float64(ours), "times-faster-than-BFGS")
	b.ReportMetric(float64(ours.Nanoseconds())/float64(n), "ns/Rehang")
	b.ReportMetric(float64(theirs.Nanoseconds())/float64(n), "ns/BFGS")
	b.Logf("%d Newton steps to a residual of %.1e of the weight; BFGS stopped at %.1e", s.res.Iterations, s.res.Residual, bfgs)
}

// bfgsHang minimises the energy of a one-body rig over (x, ω), R = exp(ω) R0,
// and returns the residual it reached.
func bfgsHang(b *testing.B, m *Model, start Pose, tol float64) float64 {
	body := &m.Bodies[0]
	x0 := start.At.Add(start.R.Apply(body.CG))
	w := body.Mass * m.Gravity
	var force, moment Vec
	energy := func(q []float64, grad bool) float64 {
		r := Exp(Vec{q[3], q[4], q[5]})
		r = r.Mul(&start.R)
		x := x0.Add(Vec{q[0], q[1], q[2]})
		e := w * q[2]
		force, moment = Vec{0, 0, w}, Vec{}
		for i := range m.Cables {
			c := &m.Cables[i]
			arm := r.Apply(c.Path[1].At.Sub(body.CG))
			d := x.Add(arm).Sub(c.Path[0].At)
			l := d.Norm()
			if s := l - c.Length; s > 0 {
				e += s * s / c.Compliance / 2
				f := d.Scale(s / c.Compliance / l)
				force = force.Add(f)
				moment = moment.Add(arm.Cross(f))
			}
		}
		return e
	}
	p := optimize.Problem{
		Func: func(q []float64) float64 { return energy(q, false) },
		Grad: func(g, q []float64) {
			energy(q, true)
			copy(g, force[:])
			// d exp(ω) = exp of J(ω) dω: the gradient is Jᵀ moment, with J
			// the left Jacobian of the rotation group.
			o := Vec{q[3], q[4], q[5]}
			t2 := o.Dot(o)
			a, c := 0.5-t2/24, 1.0/6-t2/120
			k := o.Cross(moment)
			kk := o.Cross(k)
			for i := range 3 {
				g[3+i] = moment[i] - a*k[i] + c*kk[i]
			}
		},
	}
	res, err := optimize.Minimize(p, make([]float64, 6), &optimize.Settings{GradientThreshold: tol * w, MajorIterations: 2000}, &optimize.BFGS{})
	if res == nil {
		b.Fatal(err)
	}
	g := make([]float64, 6)
	p.Grad(g, res.X)
	worst := 0.0
	for _, v := range g {
		worst = math.Max(worst, math.Abs(v))
	}
	return worst / w
}

// TestSteadyStateAllocatesNothing guards what the live watch rests on.
func TestSteadyStateAllocatesNothing(t *testing.T) {
	for name, m := range map[string]*Model{"four legs": fourLegs(0.03, 0.02), "three tiers": threeTiers()} {
		s, _ := hang(t, m)
		k := 0
		if n := testing.AllocsPerRun(20, func() {
			k++
			m.Bodies[0].CG[0] = 0.03 + 0.01*float64(k%3)
			s.Rehang()
		}); n > 0 {
			t.Errorf("%s: %v allocations per solve", name, n)
		}
	}
}

func BenchmarkRehangFourLegs(b *testing.B) {
	m := fourLegs(0.03, 0.02)
	s, _ := hang(b, m)
	k := 0
	for b.Loop() {
		k++
		m.Bodies[0].CG[0] = 0.03 + 0.03*float64(k%2)
		s.Rehang()
	}
}
