package infer

import (
	"math"
	"slices"
	"testing"

	"plumbhook/internal/testkit"
)

// What is put into a lift is found again: the cause first, or named as the same
// as the first, over lifts drawn from the plan.
func TestCauses(t *testing.T) {
	testkit.Alone(t)
	// later changes the cells of all windows from one on.
	later := func(from int, f func(m *Model, read []float64)) func(*truth, *Course) {
		return func(x *truth, c *Course) {
			for i := from; i < len(c.Windows); i++ {
				f(x.m, c.Windows[i].ReadN)
			}
		}
	}
	for _, c := range []struct {
		file, cause string
		rig         func(x *truth)
		read        func(x *truth, c *Course)
	}{
		{"pump-motor.yaml", "heavier", func(x *truth) { x.theta[atMass] *= 1.15 }, nil},
		{"filter-shell.yaml", "heavier", func(x *truth) { x.theta[atMass] *= 1.3 }, nil},
		{"filter-shell.yaml", "lighter", func(x *truth) { x.theta[atMass] *= 0.8 }, nil},
		{"pump-motor.yaml", "cg_off", func(x *truth) { x.theta[atX] += 0.08 }, nil},
		{"filter-shell.yaml", "cg_off", func(x *truth) { x.theta[atX] -= 0.2; x.theta[atY] += 0.1 }, nil},
		{"filter-shell.yaml", "leg_length", func(x *truth) { x.theta[x.m.legs[1].length] += 0.015 }, nil},
		{"filter-shell.yaml", "leg_slack", func(x *truth) { x.theta[x.m.legs[2].length] += 0.05 }, nil},
		{"pump-motor.yaml", "channels_swapped", nil, later(0, func(_ *Model, r []float64) { r[0], r[1] = r[1], r[0] })},
		{"filter-shell.yaml", "wrong_unit", nil, later(0, func(_ *Model, r []float64) { r[2] *= 2.2046 })},
		{"filter-shell.yaml", "wrong_unit", nil, later(0, func(_ *Model, r []float64) {
			for i := range r {
				r[i] *= 9.80665
			}
		})},
		{"pump-motor.yaml", "not_tared", nil, later(0, func(m *Model, r []float64) {
			for i := range r {
				r[i] += m.cells[i].Cell.Zero
			}
		})},
		{"filter-shell.yaml", "tared_under_load", nil, later(1, func(_ *Model, r []float64) {
			for i := range r {
				r[i] -= 2500
			}
		})},
		{"filter-shell.yaml", "zero_drift", nil, later(2, func(_ *Model, r []float64) { r[1] += 600 })},
		{"pump-motor.yaml", "zero_drift", nil, later(2, func(_ *Model, r []float64) { r[0] -= 600 })},
	} {
		t.Run(c.file+"/"+c.cause, func(t *testing.T) {
			t.Parallel()
			m := model(t, plan(t, c.file))
			const n = 10
			first, set := 0, 0
			for seed := range uint64(n) {
				x := draw(m, 100+seed)
				if c.rig != nil {
					c.rig(x)
				}
				course := x.course(t)
				if c.read != nil {
					c.read(x, course)
				}
				top := m.Diagnose(course).Causes[0]
				if top.Name == c.cause {
					first++
				}
				if top.Name == c.cause || slices.Contains(top.SameAs, c.cause) {
					set++
				}
			}
			if first < n*8/10 || set < n*95/100 {
				t.Errorf("first %d, in set %d of %d", first, set, n)
			}
		})
	}
}

// With part of a two-leg load on the ground, moments about the load's centre say
// how the legs share what they bear: the ground pushes with G at x, so the hook
// pulls with H at -G x/H from the centre, and the legs share that by the lever
// rule between their lugs. Where the ground pushes under the centre nothing is
// wrong; at an edge of the base, 0.7 m out, the load stands on it.
func TestEdgeByMoments(t *testing.T) {
	testkit.Alone(t)
	m := model(t, plan(t, "pump-motor.yaml"))
	for _, c := range []struct {
		at   float64 // m from the centre of gravity, where the ground pushes
		want string
	}{{0, "as_planned"}, {0.05, "as_planned"}, {0.7, "edge_landing"}, {-0.7, "edge_landing"}} {
		for _, ground := range []float64{0.3, 0.4} { // share of the load
			x := draw(m, 5)
			course := x.course(t)
			hold := course.Windows[2]
			w := Window{Stage: Landed, FromS: 52, ToS: 57, NoiseN: hold.NoiseN}
			hook := -ground * c.at / (1 - ground)
			for i, v := range hold.ReadN {
				side := float64(2*i-1) / 1.4 // of the load for each metre: lugs 1.4 m apart, west first
				whole := hold.ReadN[0] + hold.ReadN[1]
				w.ReadN = append(w.ReadN, (1-ground)*(v+side*hook*whole))
			}
			course.Windows = slices.Insert(course.Windows, 3, w)
			if top := m.Diagnose(course).Causes[0]; top.Name != c.want {
				t.Errorf("ground pushes with %g of the load at %g m (cells %.0f): %s %.2f, want %s", ground, c.at, w.ReadN, top.Name, top.Probability, c.want)
			}
		}
	}
}

// What time shows is believed where what is read at rest fits the plan.
func TestSigns(t *testing.T) {
	m := model(t, plan(t, "filter-shell.yaml"))
	for _, c := range []struct {
		cause string
		put   func(m *Model, c *Course)
	}{
		{"channel_lost", func(_ *Model, c *Course) { c.Signs.Lost = []int{1}; c.Windows[2].ReadN[1] = math.NaN() }},
		{"channel_frozen", func(_ *Model, c *Course) { c.Signs.Frozen = []int{1}; c.Windows[2].NoiseN[1] = 0 }},
		{"broke_free", func(m *Model, c *Course) {
			c.Signs.Snaps = []Snap{{AtS: 12, BeforeN: 1.3 * m.weightN, PeakN: 1.32 * m.weightN, AfterN: 1.02 * m.weightN}}
		}},
		{"shock", func(m *Model, c *Course) {
			c.Signs.Shocks = []Snap{{AtS: 42, BeforeN: 1.01 * m.weightN, PeakN: 1.5 * m.weightN, AfterN: 1.01 * m.weightN}}
		}},
		{"swing", func(m *Model, c *Course) {
			c.Signs.Swings = []Swing{{FromS: 20, ToS: 60, PeriodS: 6, TotalN: 0.75 * 0.15 * 0.15 * m.weightN}}
		}},
		{"gust", func(m *Model, c *Course) {
			w := 12.0
			c.Signs.WindMS, c.Signs.WindCorr, c.Signs.UnsteadyN = &w, 0.8, 0.03*m.weightN
		}},
	} {
		course := draw(m, 1).course(t)
		c.put(m, course)
		r := m.Diagnose(course)
		if top := r.Causes[0]; top.Name != c.cause || top.Text == "" {
			t.Errorf("%s: %+v", c.cause, r.Causes)
		}
	}
}

// The fall of a held load is its root, the jolt that comes of it a symptom.
func TestRootFirst(t *testing.T) {
	m := model(t, plan(t, "pump-motor.yaml"))
	course := draw(m, 1).course(t)
	course.Signs.Snaps = []Snap{{AtS: 12, BeforeN: 1.4 * m.weightN, PeakN: 1.45 * m.weightN, AfterN: 1.01 * m.weightN}}
	course.Signs.Shocks = []Snap{{AtS: 13, BeforeN: 1.01 * m.weightN, PeakN: 1.3 * m.weightN, AfterN: 1.01 * m.weightN}}
	r := m.Diagnose(course)
	if r.Causes[0].Name != "broke_free" {
		t.Errorf("%+v", r.Causes)
	}
}
