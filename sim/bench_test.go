package sim

import "testing"

func BenchmarkStep(b *testing.B) {
	w := weightOn(4000, 3, 5e6, 5e4)
	w.Bodies[0].CG = Vec{0.1, 0, -1}
	w.Bodies[0].At = Vec{0, 0, -3}
	w.Hooks[0] = Hook{Mass: 200, Rope: 10, Stiffness: 3e6, Damping: 3e4}
	w.Nodes = []Node{{Mass: 9, At: Vec{0, 0, -0.3}}}
	w.Legs = []Leg{
		{From: Point{On: OnHook}, To: Point{On: OnNode}, Length: 0.3, Stiff: 4e8, Damping: 1e5},
		{From: Point{On: OnNode}, To: Point{On: OnBody, At: Vec{-0.7, 0, 0}}, Length: 3, Stiff: 5e6, Damping: 3e4, Mass: 10},
		{From: Point{On: OnNode}, To: Point{On: OnBody, At: Vec{0.7, 0, 0}}, Length: 3, Stiff: 5e6, Damping: 3e4, Mass: 10},
	}
	s := New(w)
	if err := s.Settle(nil); err != nil {
		b.Fatal(err)
	}
	s.SetVelocity(0, Vec{0.5, 0, -0.1}, Vec{})
	for b.Loop() {
		s.Step(0.004, nil)
	}
	b.ReportMetric(0.004*float64(b.N)/b.Elapsed().Seconds(), "lift-s/s")
}
