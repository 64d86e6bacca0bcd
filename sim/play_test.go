package sim

import (
	"math"
	"reflect"
	"testing"

	"plumbhook/internal/testkit"
)

// crate is a box of 1 t on the ground under a hook with one leg, slack.
func crate() *World {
	w := weightOn(1000, 2, 1e6, 2e4)
	w.Bodies[0].Inertia = BoxInertia(1000, Vec{1, 1, 1})
	w.Bodies[0].CG = Vec{0, 0, -0.5}
	w.Bodies[0].At = Vec{0, 0, -1.9}
	w.Bodies[0].Slows, w.Bodies[0].Spins = 0.02, 0.1
	w.Hooks[0] = Hook{Mass: 50, Stiffness: 1e6, Damping: 3e4, Rope: 8, Slows: 0.1}
	w.Ground = Ground{At: Vec{0, 0, -2.9}, Normal: Vec{0, 0, 1}}
	for _, x := range []float64{-0.5, 0.5} {
		for _, y := range []float64{-0.5, 0.5} {
			w.Contacts = append(w.Contacts, Contact{At: Point{On: OnBody, At: Vec{x, y, -1}}, Stiff: 2e6, Damping: 2e4, Friction: 0.4})
		}
	}
	return w
}

func upAndDown() []Stage {
	return []Stage{
		{Act: Wait, Time: 2},
		{Act: Clear, To: 0.1, Speed: 0.008, Accel: 0.2, React: 0.2},
		{Act: Wait, Time: 8},
		{Act: Land, Speed: 0.02, Accel: 0.2},
		{Act: Slacken, Speed: 0.008, Accel: 0.2, More: 0.1},
		{Act: Wait, Time: 3},
	}
}

func TestPlay(t *testing.T) {
	sc := Script{
		World: crate(), Stages: upAndDown(), Seed: 3,
		Cells: []Cell{{Channel: "A", Of: LegForce, Lag: 0.1, Noise: 2, Link: Link{Rate: 20, Spread: 0.02}}},
	}
	rec, err := Play(sc)
	if err != nil {
		t.Fatal(err)
	}
	again, err := Play(sc)
	if err != nil {
		t.Fatal(err)
	}
	// NaN is not equal to itself, and stands where nothing broke.
	rec.Broke, again.Broke = 0, 0
	if !reflect.DeepEqual(rec, again) {
		t.Error("one script gave two records")
	}
	var phases []Phase
	for _, p := range rec.Phases {
		phases = append(phases, p.Phase)
	}
	if want := []Phase{Idle, TakingLoad, Suspended, SettingDown, Idle}; !reflect.DeepEqual(phases, want) {
		t.Errorf("phases %v, want %v", phases, want)
	}
	last := math.Inf(-1)
	for _, s := range rec.Samples {
		if s.Arrived < last {
			t.Fatal("samples not in order of arrival")
		}
		last = s.Arrived
	}
	sum, n := 0.0, 0.0
	for _, s := range rec.Samples {
		if s.Measured > rec.LiftedOff+4 && s.Measured < rec.LiftedOff+7 {
			sum, n = sum+s.Value, n+1
		}
	}
	testkit.Near(t, "reading in the hold", sum/n, 1000*g, testkit.Tol{Rel: 1e-3})
	for _, s := range rec.Trace {
		up := s.Ground + s.Hoists[0] - 50*g
		if s.T < 2 {
			testkit.Near(t, "ground and hoist", up, 1000*g, testkit.Tol{Rel: 1e-6})
		}
	}
}

// The tare button takes off what hangs there; the wind pushes the load aside
// by F/W; a tie breaks at its strength.
func TestPressWindTie(t *testing.T) {
	w := crate()
	w.Bodies[0].Drag = Vec{2, 2, 2}
	w.Ties = []Tie{{At: Point{On: OnBody, At: Vec{0, 0, -1}}, To: Vec{0, 0, -3.4}, Length: 0.5, Stiff: 2e6, Damping: 2e4, Strength: 3000}}
	stages := upAndDown()
	stages[2].Time = 40
	stages = append(stages[:3:3], Stage{Act: Press}, Stage{Act: Wait, Time: 3})
	rec, err := Play(Script{
		World: w, Stages: stages, Trace: 250, Air: Air{Mean: Vec{10, 0, 0}},
		Cells: []Cell{{Channel: "A", Link: Link{Rate: 10}}},
	})
	if err != nil {
		t.Fatal(err)
	}
	if math.IsNaN(rec.Broke) || rec.Broke > rec.LiftedOff+0.1 {
		t.Errorf("the tie broke at %v, the load lifted off at %v", rec.Broke, rec.LiftedOff)
	}
	most := 0.0
	for _, s := range rec.Trace {
		most = max(most, s.Ties)
	}
	if most < 2500 || most > 3000 {
		t.Errorf("a tie of 3000 N pulled %v N at most", most)
	}
	end := rec.Samples[len(rec.Samples)-1]
	testkit.Near(t, "reading after the tare", end.Value, 0, testkit.Tol{Abs: 15})
}

// A steady wind of 10 m/s on 2 N s²/m² pushes with 200 N: the load of W hangs
// aside at an angle of atan(200/W).
func TestWindAside(t *testing.T) {
	w := weightOn(1000, 5, 1e6, 2e4)
	w.Bodies[0].Drag = Vec{2, 2, 2}
	s := New(w)
	s.Wind = Vec{10, 0, 0}
	if err := s.Settle(nil); err != nil {
		t.Fatal(err)
	}
	at := s.CG(0)
	testkit.Near(t, "angle", math.Atan2(at[0], -at[2]), math.Atan(200/(1000*g)), testkit.Tol{Rel: 1e-6})
}

// One rope over a point: both spans pull alike.
func TestRopeOverPoint(t *testing.T) {
	w := weightOn(2000, 3, 0, 0)
	w.Hooks = []Hook{{At: Vec{-1, 0, 0}}, {At: Vec{1, 0, 0}}}
	w.Legs = []Leg{{From: Point{On: OnHook}, Via: []Point{{On: OnBody}}, To: Point{On: OnHook, Index: 1}, Length: 4}}
	w.Bodies[0].At = Vec{0.2, 0, -1.7}
	s := New(w)
	if err := s.Settle(nil); err != nil {
		t.Fatal(err)
	}
	// Equal spans of 2 m, one metre aside: 60 degrees from horizontal.
	testkit.Near(t, "pull", s.Tension(0), 2000*g/(2*math.Sin(math.Pi/3)), testkit.Tol{Rel: 1e-4})
	testkit.Near(t, "under the middle", s.CG(0)[0], 0, testkit.Tol{Abs: 1e-6})
}

// The upper end of a leg that hangs loose carries all of it, of one that hangs
// limp and plumb nearly all, and the weight of the world is the same.
func TestLimpLeg(t *testing.T) {
	w := crate()
	w.Legs[0].Mass, w.Legs[0].Below = 40, 36
	for _, loose := range []bool{true, false} {
		s := New(w)
		s.Attach(loose)
		if err := s.Settle(nil); err != nil {
			t.Fatal(err)
		}
		push, _ := s.Ground()
		testkit.Near(t, "weight of all", push+s.HookLoad(0), (1000+50+40)*g, testkit.Tol{Rel: 1e-9})
		on := s.HookLoad(0) - 50*g
		if loose {
			testkit.Near(t, "loose leg on the hook", on, 40*g, testkit.Tol{Rel: 1e-9})
			testkit.Near(t, "at its cell", s.AtCell(0), 36*g, testkit.Tol{Rel: 1e-9})
			continue
		}
		// 1.9 m of height for 2 m of length: (2 + 1.9)/4 of the weight.
		testkit.Near(t, "limp leg on the hook", on, 40*g*3.9/4, testkit.Tol{Rel: 2e-3})
		testkit.Near(t, "at its cell", s.AtCell(0), 40*g*3.9/4-4*g, testkit.Tol{Rel: 2e-3})
	}
}
