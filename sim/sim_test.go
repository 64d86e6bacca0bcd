package sim

import (
	"encoding/csv"
	"math"
	"os"
	"strconv"
	"testing"

	"plumbhook/internal/testkit"
)

const g = 9.80665

// published are the rows of one relation in testdata/published.csv, value by
// argument.
func published(t *testing.T, relation string) map[float64]float64 {
	t.Helper()
	f, err := os.Open("testdata/published.csv")
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	r := csv.NewReader(f)
	r.Comment = '#'
	rows, err := r.ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	out := map[float64]float64{}
	for _, row := range rows[1:] {
		if row[0] != relation {
			continue
		}
		x, err := strconv.ParseFloat(row[1], 64)
		if err != nil {
			t.Fatal(err)
		}
		if out[x], err = strconv.ParseFloat(row[2], 64); err != nil {
			t.Fatal(err)
		}
	}
	if len(out) == 0 {
		t.Fatalf("nothing published about %s", relation)
	}
	return out
}

// weightOn is a body of mass m on one vertical leg of unloaded length l.
func weightOn(m, l, k, c float64) *World {
	return &World{
		Gravity: g,
		Bodies: []Body{{
			Name: "load", Mass: m, Inertia: BoxInertia(m, Vec{0.01, 0.01, 0.01}),
			At: Vec{0, 0, -l}, Turn: identity,
		}},
		Hooks: []Hook{{Name: "hook", Mass: 5, Stiffness: 1e11}},
		Legs:  []Leg{{Name: "leg", From: Point{On: OnHook}, To: Point{On: OnBody}, Length: l, Stiff: k, Damping: c}},
	}
}

// The stretch under the weight is W/k, the bounce sqrt(k/m)/2π, and a mass put
// suddenly on an unstretched line pulls twice its weight.
func TestSuddenLoadAndBounce(t *testing.T) {
	const d = 0.01 // static stretch, m
	m := 2000.0
	k := m * g / d
	w := weightOn(m, 3, k, 0)
	s := New(w)
	s.Theta = 0.5
	h := 0.0005
	peak, crossings := 0.0, []float64(nil)
	last := s.Tension(0)
	for range 8000 {
		s.Step(h, nil)
		if now := s.Tension(0); last < m*g && now >= m*g {
			crossings = append(crossings, s.Time+h*(s.Theta-1)-h*(now-m*g)/(now-last))
		}
		last = s.Tension(0)
		peak = max(peak, last)
	}
	testkit.Near(t, "factor of a sudden load", peak/(m*g), published(t, "sudden")[0], testkit.Tol{Rel: 2e-4})
	n := len(crossings) - 1
	f := float64(n) / (crossings[n] - crossings[0])
	testkit.Near(t, "bounce, Hz", f, math.Sqrt(k/m)/(2*math.Pi), testkit.Tol{Rel: 2e-4})
	testkit.Near(t, "bounce as published, Hz", f, published(t, "bounce")[d], testkit.Tol{Abs: 0.01})
}

// A step of h gives a bounce the damping ratio (θ - 1/2) ω h: from one crest
// to the next it falls by exp(-2π ζ).
func TestDampingOfTheMethod(t *testing.T) {
	m, k, h := 2000.0, 1.2e6, 0.004
	w := weightOn(m, 3, k, 0)
	s := New(w)
	var crests []float64
	a, b := 0.0, s.Tension(0)
	for range 1000 {
		s.Step(h, nil)
		if now := s.Tension(0); b > a && b > now && b > m*g {
			crests = append(crests, b-m*g)
		}
		a, b = b, s.Tension(0)
	}
	n := len(crests) - 1
	zeta := math.Log(crests[0]/crests[n]) / (2 * math.Pi * float64(n))
	testkit.Near(t, "damping ratio", zeta, (s.Theta-0.5)*math.Sqrt(k/m)*h, testkit.Tol{Rel: 0.05})
}

func TestEnergy(t *testing.T) {
	// Two legs, a crooked body and a double pendulum that swings and turns.
	w := &World{
		Gravity: g,
		Bodies: []Body{{
			Name: "load", Mass: 4000, CG: Vec{0.2, -0.1, 0.3}, Inertia: BoxInertia(4000, Vec{2, 1, 1}), At: Vec{0, 0, -4}, Turn: identity,
		}},
		Nodes: []Node{{Mass: 60, At: Vec{0, 0, -1}}},
		Hooks: []Hook{{Mass: 300, Rope: 8, Stiffness: 5e6}},
		Legs: []Leg{
			{From: Point{On: OnHook}, To: Point{On: OnNode}, Length: 1, Stiff: 50e6},
			{From: Point{On: OnNode}, To: Point{On: OnBody, At: Vec{-1, 0, 1}}, Length: 2.3, Stiff: 6e6, Mass: 20},
			{From: Point{On: OnNode}, To: Point{On: OnBody, At: Vec{1, 0.2, 1}}, Length: 2.4, Stiff: 6e6, Mass: 20},
		},
	}
	s := New(w)
	if err := s.Settle(nil); err != nil {
		t.Fatal(err)
	}
	rest := s.Energy()
	s.Theta = 0.5
	s.SetVelocity(0, Vec{0.8, 0.3, 0}, Vec{0, 0, 0.2})
	e0 := s.Energy()
	for range 10000 {
		s.Step(0.002, nil)
		if s.Tension(1) == 0 || s.Tension(2) == 0 {
			t.Fatal("a leg went slack")
		}
	}
	if drift := math.Abs(s.Energy()-e0) / (e0 - rest); drift > 0.01 {
		t.Errorf("energy drifts by %.3g of the %.4g J that move, in 20 s", drift, e0-rest)
	}
}

// Period of a pendulum of amplitude A: T = T0/agm(1, cos(A/2)), and the line
// pulls W(3 - 2 cos A) at the bottom, W cos A at the end.
func TestPendulum(t *testing.T) {
	for deg, want := range published(t, "pendulum") {
		a := deg * math.Pi / 180
		l, m := 10.0, 1000.0
		w := weightOn(m, l, 0, 0)
		w.Bodies[0].Inertia = BoxInertia(m, Vec{1e-3, 1e-3, 1e-3})
		w.Bodies[0].At = Vec{l * math.Sin(a), 0, -l * math.Cos(a)}
		// The body hangs by its centre of gravity: it need not turn.
		s := New(w)
		s.Theta = 0.5
		if err := s.stretched(0); err != nil {
			t.Fatal(err)
		}
		h := 0.004
		var zero []float64
		last, peak, low := s.CG(0)[0], 0.0, math.Inf(1)
		for s.Time < 25 {
			s.Step(h, nil)
			x := s.CG(0)[0]
			if last > 0 && x <= 0 {
				zero = append(zero, s.Time-h*x/(x-last))
			}
			last = x
			peak, low = max(peak, s.Tension(0)), min(low, s.Tension(0))
		}
		n := len(zero) - 1
		period := (zero[n] - zero[0]) / float64(n)
		testkit.Near(t, "period over that of small swings", period/(2*math.Pi*math.Sqrt(l*(1+stiffest)/g)), want, testkit.Tol{Rel: 5e-5})
		testkit.Near(t, "pull at the bottom", peak/(m*g), 3-2*math.Cos(a), testkit.Tol{Rel: 2e-3})
		testkit.Near(t, "pull at the end", low/(m*g), math.Cos(a), testkit.Tol{Rel: 4e-3})
	}
}

// stretched puts body 0, on one straight leg, where the leg carries its share
// of the weight, so that nothing bounces.
func (s *System) stretched(leg int) error {
	l := &s.legs[leg]
	a, b := &s.pts[l.at[0]], &s.pts[l.at[1]]
	u := b.p.minus(a.p)
	u = u.times(1 / u.norm())
	s.bodies[0].x = s.bodies[0].x.add(s.bodies[0].mass*s.w.Gravity*-u[2]/l.k, u)
	s.locate()
	return nil
}

// A load that hangs and is lowered at v when the brake grabs: 1 + v/sqrt(g d).
// A load that falls onto an unstretched line at v: 1 + sqrt(1 + v²/(g d)).
func TestSnatch(t *testing.T) {
	m, d := 3000.0, 0.02
	k := m * g / d
	for _, v := range []float64{0.1, 0.5} {
		for _, hung := range []bool{true, false} {
			s := New(weightOn(m, 2, k, 0))
			s.Theta = 0.5
			want := published(t, "dropped")[v]
			if hung {
				if err := s.Settle(nil); err != nil {
					t.Fatal(err)
				}
				want = published(t, "lowered")[v]
			}
			s.SetVelocity(0, Vec{0, 0, -v}, Vec{})
			peak := 0.0
			for range 1000 {
				s.Step(0.0005, nil)
				peak = max(peak, s.Tension(0))
			}
			testkit.Near(t, "peak factor", peak/(m*g), want, testkit.Tol{Rel: 1e-3})
		}
	}
}

func TestStaticHang(t *testing.T) {
	// Two legs of 3 m at lugs 3 m apart, the centre 0.3 m off the middle: the
	// body turns until it hangs plumb. With the body's turn frozen out by
	// putting the centre in the line of the lugs' middle, T = W / (2 sin 60°).
	t.Run("two legs", func(t *testing.T) {
		w := weightOn(5000, 3, 0, 0)
		w.Bodies[0].CG = Vec{0, 0, -1}
		w.Bodies[0].At = Vec{0, 0, -2.6}
		w.Legs = []Leg{
			{From: Point{On: OnHook}, To: Point{On: OnBody, At: Vec{-1.5, 0, 0}}, Length: 3},
			{From: Point{On: OnHook}, To: Point{On: OnBody, At: Vec{1.5, 0, 0}}, Length: 3},
		}
		s := New(w)
		if err := s.Settle(nil); err != nil {
			t.Fatal(err)
		}
		want := 5000 * g / (2 * math.Sin(math.Pi/3))
		testkit.Near(t, "left", s.Tension(0), want, testkit.Tol{Rel: 3e-5})
		testkit.Near(t, "right", s.Tension(1), want, testkit.Tol{Rel: 3e-5})
	})
	// Three legs to lugs on a circle of radius 1, hook 2 m above it and over
	// the middle, the centre of gravity in the middle: T = W/3 · sqrt(5)/2.
	t.Run("three legs", func(t *testing.T) {
		w := weightOn(6000, 3, 0, 0)
		w.Bodies[0].CG = Vec{0, 0, -1}
		w.Bodies[0].At = Vec{0, 0, -2}
		w.Legs = nil
		for i := range 3 {
			a := float64(i) * 2 * math.Pi / 3
			w.Legs = append(w.Legs, Leg{
				From: Point{On: OnHook}, To: Point{On: OnBody, At: Vec{math.Cos(a), math.Sin(a), 0}}, Length: math.Sqrt(5),
			})
		}
		s := New(w)
		if err := s.Settle(nil); err != nil {
			t.Fatal(err)
		}
		for i := range 3 {
			testkit.Near(t, "leg", s.Tension(i), 6000*g/3*math.Sqrt(5)/2, testkit.Tol{Rel: 3e-5})
		}
	})
	// Moments about the hook: a rigid two-leg hang with the centre off by e in
	// level trim. Legs upright from a bar held by two hooks: T1/T2 = b/a.
	t.Run("lever", func(t *testing.T) {
		w := weightOn(1000, 3, 0, 0)
		w.Bodies[0].CG = Vec{0.5, 0, -0.2}
		w.Bodies[0].At = Vec{0, 0, -3}
		w.Hooks = []Hook{{At: Vec{-1, 0, 0}}, {At: Vec{1, 0, 0}}}
		w.Legs = []Leg{
			{From: Point{On: OnHook, Index: 0}, To: Point{On: OnBody, At: Vec{-1, 0, 0}}, Length: 3},
			{From: Point{On: OnHook, Index: 1}, To: Point{On: OnBody, At: Vec{1, 0, 0}}, Length: 3},
		}
		s := New(w)
		if err := s.Settle(nil); err != nil {
			t.Fatal(err)
		}
		testkit.Near(t, "left", s.Tension(0), 250*g, testkit.Tol{Rel: 1e-3})
		testkit.Near(t, "right", s.Tension(1), 750*g, testkit.Tol{Rel: 1e-3})
	})
}

// A box on a slope of less than the angle of friction stays, and slides down
// at g(sin a - μ cos a) on a steeper one.
func TestSlope(t *testing.T) {
	for _, c := range []struct{ slope, mu float64 }{{0.1, 0.3}, {0.4, 0.3}} {
		w := weightOn(1000, 1, 1e6, 0)
		w.Legs = nil
		w.Bodies[0].At = Vec{0, 0, 0}
		w.Bodies[0].Turn = Turned(Vec{0, c.slope, 0})
		w.Ground = Ground{Normal: Vec{math.Sin(c.slope), 0, math.Cos(c.slope)}}
		for _, x := range []float64{-0.5, 0.5} {
			for _, y := range []float64{-0.5, 0.5} {
				w.Contacts = append(w.Contacts, Contact{At: Point{On: OnBody, At: Vec{x, y, -0.01}}, Packing: -0.01, Stiff: 5e6, Damping: 5e4, Friction: c.mu})
			}
		}
		w.Bodies[0].Inertia = BoxInertia(1000, Vec{1, 1, 0.02})
		s := New(w)
		at := func() float64 { return s.CG(0)[0] / math.Cos(c.slope) }
		for s.Time < 0.5 {
			s.Step(0.002, nil)
		}
		x0, v0 := at(), s.Velocity(0)[0]/math.Cos(c.slope)
		for s.Time < 1.5 {
			s.Step(0.002, nil)
		}
		accel := max(0, g*(math.Sin(c.slope)-c.mu*math.Cos(c.slope)))
		testkit.Near(t, "way on the slope", at()-x0, v0+accel/2, testkit.Tol{Rel: 0.01, Abs: 1e-4})
	}
}
