package rehearse

import (
	"bytes"
	"math"
	"os"
	"slices"
	"strings"
	"testing"

	"plumbhook/fault"
	"plumbhook/internal/testkit"
	"plumbhook/lift"
	"plumbhook/sim"
)

func read(t testing.TB, name string) *lift.Lift {
	t.Helper()
	data, err := os.ReadFile(name)
	if err != nil {
		t.Fatal(err)
	}
	l, err := lift.Read(name, nil, data)
	if err != nil {
		t.Fatal(err)
	}
	return l
}

const (
	pump   = "../../examples/pump-motor.yaml"
	gate   = "../../examples/stoplog-gate.yaml"
	bundle = "testdata/bundle-with-cells.yaml"
)

// limits are found once for each file.
var limits = map[string][]Limit{}

func limitsOf(t *testing.T, name string) []Limit {
	t.Helper()
	if limits[name] == nil {
		all, err := Limits(read(t, name))
		if err != nil {
			t.Fatal(err)
		}
		limits[name] = all
	}
	return limits[name]
}

func played(t *testing.T, l *lift.Lift, seed uint64, cause string, opt Options) *Run {
	t.Helper()
	r, err := New(l, seed, cause, opt)
	if err != nil {
		t.Fatal(err)
	}
	return r
}

func csvOf(t *testing.T, r *Run) string {
	t.Helper()
	var b bytes.Buffer
	if err := CSV(&b, r); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

// The virtual lift hangs a plan as the planner's own solver does, though the
// two share no mechanics.
func TestHangsAsStatics(t *testing.T) {
	for _, f := range []string{pump, bundle, gate} {
		l := read(t, f)
		r, err := build(l, nominal, calmScene(), twist{leg: -1})
		if err != nil {
			t.Fatal(err)
		}
		rig, err := lift.NewRig(l)
		if err != nil {
			t.Fatal(err)
		}
		h, err := rig.Hang()
		if err != nil {
			t.Fatal(err)
		}
		testkit.Near(t, "weight", r.weight, h.WeightN, testkit.Tol{Rel: 1e-12})
		zeros, err := rig.Zeros(1)
		if err != nil {
			t.Fatal(err)
		}
		empty, err := r.empty(true)
		if err != nil {
			t.Fatal(err)
		}
		for k, c := range r.cells {
			testkit.Near(t, f+" cell of "+l.Legs[c.leg].Name, r.held()[k], rig.AtCell(c.leg), testkit.Tol{Rel: 1e-5})
			testkit.Near(t, f+" empty cell of "+l.Legs[c.leg].Name, empty[k], zeros[c.leg], testkit.Tol{Rel: 1e-5})
		}
	}
}

func TestSameSeedSameBytes(t *testing.T) {
	testkit.Alone(t)
	l := read(t, pump)
	opt := Options{Driver: "brisk"}
	one := csvOf(t, played(t, l, 7, "swing", Options{Driver: "brisk", Magnitude: 0.1}))
	two := csvOf(t, played(t, l, 7, "swing", Options{Driver: "brisk", Magnitude: 0.1}))
	if one != two {
		t.Error("one seed gave two runs")
	}
	if csvOf(t, played(t, l, 8, "as_planned", opt)) == csvOf(t, played(t, l, 9, "as_planned", opt)) {
		t.Error("two seeds gave one run")
	}
}

// Figures are drawn as the plan states them: the frame's 4100 kg ± 2 % has a
// standard deviation of 82/1.96 = 41.8 kg, the terminal box's 240 kg ± 10 %
// one of 12.2 kg, the oil's 60..110 kg one of 50/sqrt(12) = 14.4 kg.
func TestTruthWithinPlan(t *testing.T) {
	l := read(t, pump)
	const n = 2000
	sum, squares := 0.0, 0.0
	for seed := range uint64(n) {
		w := &sim.World{Gravity: 1}
		r := &rigging{lift: l}
		r.load(w, drawn(dice(seed, streamTruth)), twist{leg: -1}, calmScene())
		sum += r.weight
		squares += r.weight * r.weight
	}
	mean := sum / n
	sd := math.Sqrt(squares/n - mean*mean)
	want := math.Sqrt(41.8*41.8 + 12.2*12.2 + 14.4*14.4)
	testkit.Near(t, "mean mass", mean, 4425, testkit.Tol{Abs: 4 * want / math.Sqrt(n)})
	testkit.Near(t, "spread of the mass", sd, want, testkit.Tol{Rel: 4 / math.Sqrt(2*n)})
	for seed := range uint64(200) {
		oil := figure{"oil", 85, 60, 110, true}
		if v := drawn(dice(seed, streamTruth))(oil); v < 60 || v > 110 {
			t.Errorf("oil %v outside its hard limits", v)
		}
	}
}

// steady is the mean reading of a channel over the first hold: the last three
// seconds before the load goes on.
func steady(r *Run, channel string, from, to float64) (mean float64, n int) {
	for _, s := range r.Samples {
		if s.Channel == channel && s.Measured >= from && s.Measured < to {
			mean += s.Value
			n++
		}
	}
	return mean / float64(n), n
}

// Every cause does to a lift what its name says, and no more: all else is
// drawn as in the lift of the same seed in which nothing is wrong.
func TestCauses(t *testing.T) {
	testkit.Alone(t)
	l := read(t, pump)
	const seed = 6
	opt := Options{Driver: "brisk", Rate: 20, Clean: true}
	opt.Limits = limitsOf(t, pump)
	plain := played(t, l, seed, "as_planned", opt)
	from, to := plain.Truth.LiftedOff+4, plain.Truth.LiftedOff+7
	w0, _ := steady(plain, "W", from, to)
	e0, _ := steady(plain, "E", from, to)
	first := func(r *Run, c string) float64 { v, _ := steady(r, c, 0, 2); return v }
	near := func(t *testing.T, what string, got, want, rel float64) {
		t.Helper()
		testkit.Near(t, what, got, want, testkit.Tol{Rel: rel})
	}
	checks := map[string]func(t *testing.T, r *Run){
		"as_planned": func(t *testing.T, r *Run) {
			var got []sim.Phase
			for _, p := range r.Truth.Phases {
				got = append(got, p.Phase)
			}
			if want := []sim.Phase{sim.Idle, sim.TakingLoad, sim.Suspended, sim.SettingDown, sim.Idle}; !slices.Equal(got, want) {
				t.Errorf("phases %v, want %v", got, want)
			}
			testkit.Near(t, "first reading", first(r, "W"), 0, testkit.Tol{Abs: 0.002 * r.Truth.WeightN})
		},
		"heavier": func(t *testing.T, r *Run) {
			near(t, "weight", r.Truth.WeightN, plain.Truth.WeightN*(1+r.Magnitude), 1e-12)
			testkit.NearAll(t, "cg", r.Truth.CG[:], plain.Truth.CG[:], testkit.Tol{Abs: 1e-12})
		},
		"lighter": func(t *testing.T, r *Run) {
			near(t, "weight", r.Truth.WeightN, plain.Truth.WeightN*(1-r.Magnitude), 1e-12)
		},
		"cg_off": func(t *testing.T, r *Run) {
			near(t, "way of the cg", math.Hypot(r.Truth.CG[0]-plain.Truth.CG[0], r.Truth.CG[1]-plain.Truth.CG[1]), r.Magnitude, 1e-9)
			near(t, "weight", r.Truth.WeightN, plain.Truth.WeightN, 1e-12)
		},
		"leg_length": func(t *testing.T, r *Run) {
			most := 0.0
			for i := range r.Truth.Lengths {
				most = max(most, math.Abs(r.Truth.Lengths[i]-plain.Truth.Lengths[i]))
			}
			near(t, "length", most, r.Magnitude, 1e-9)
		},
		"held_down": func(t *testing.T, r *Run) {
			if !math.IsNaN(r.Truth.LiftedOff) {
				t.Errorf("lifted off at %v", r.Truth.LiftedOff)
			}
			if !slices.ContainsFunc(r.Truth.Phases, func(p sim.Stretch) bool { return p.Phase == sim.HeldDown && p.To-p.From > 5 }) {
				t.Errorf("not held down for long: %v", r.Truth.Phases)
			}
			if r.Magnitude < r.Limit {
				t.Errorf("pulled by %.0f N, the limit is %.0f N", r.Magnitude, r.Limit)
			}
		},
		"broke_free": func(t *testing.T, r *Run) {
			most := 0.0
			for _, s := range r.Truth.Trace {
				most = max(most, s.Ties)
			}
			if math.IsNaN(r.Truth.LiftedOff) || most == 0 || most > r.Magnitude*1.001 {
				t.Errorf("tie pulled %.0f N of %.0f N, lifted off at %v", most, r.Magnitude, r.Truth.LiftedOff)
			}
		},
		"channels_swapped": func(t *testing.T, r *Run) {
			w, _ := steady(r, "W", from, to)
			e, _ := steady(r, "E", from, to)
			near(t, "W reads", w, e0, 1e-3)
			near(t, "E reads", e, w0, 1e-3)
		},
		"channel_lost": func(t *testing.T, r *Run) {
			gap := 0.0
			for _, c := range []string{"W", "E"} {
				last := 0.0
				for _, s := range r.Samples {
					if s.Channel == c {
						gap = max(gap, s.Measured-last)
						last = s.Measured
					}
				}
			}
			testkit.Near(t, "longest silence", gap, r.Magnitude, testkit.Tol{Abs: 0.2})
		},
		"channel_frozen": func(t *testing.T, r *Run) {
			longest := 0.0
			for _, c := range []string{"W", "E"} {
				since, value := 0.0, math.NaN()
				for _, s := range r.Samples {
					if s.Channel == c && s.Measured > r.From {
						if s.Value != value {
							since, value = s.Measured, s.Value
						}
						longest = max(longest, s.Measured-since)
					}
				}
			}
			testkit.Near(t, "longest sameness", longest, r.Magnitude, testkit.Tol{Abs: 0.5})
		},
		"zero_drift": func(t *testing.T, r *Run) {
			late := r.Length - 3
			w, _ := steady(r, "W", late, r.Length)
			e, _ := steady(r, "E", late, r.Length)
			w1, _ := steady(plain, "W", plain.Length-3, plain.Length)
			e1, _ := steady(plain, "E", plain.Length-3, plain.Length)
			near(t, "zero at the end", max(math.Abs(w-w1), math.Abs(e-e1)), r.Magnitude, 0.1)
		},
		"not_tared": func(t *testing.T, r *Run) {
			raw := r.Truth.Trace[5].AtCells
			testkit.Near(t, "first reading", first(r, "W"), raw[1], testkit.Tol{Abs: 20})
		},
		"tared_under_load": func(t *testing.T, r *Run) {
			w, _ := steady(r, "W", r.Length-3, r.Length)
			e, _ := steady(r, "E", r.Length-3, r.Length)
			// Legs at some 14 degrees from the vertical: their pulls add up to
			// 3 % more than what hangs.
			near(t, "reading with nothing on the hook", -(w + e), r.Magnitude*1.03, 0.06)
		},
		"wrong_unit": func(t *testing.T, r *Run) {
			w, _ := steady(r, "W", from, to)
			e, _ := steady(r, "E", from, to)
			fw, fe := w/w0, e/e0
			if math.Abs(fw-1) < 0.01 {
				fw = fe
			}
			near(t, "factor", fw, r.Magnitude, 2e-3)
		},
		"shock": func(t *testing.T, r *Run) {
			// The formula knows no damping, and no block under the rope.
			if seen := (r.Truth.Factor - 1) / (r.Magnitude - 1); seen < 0.75 || seen > 1.1 {
				t.Errorf("factor %.3f, asked for %.3f", r.Truth.Factor, r.Magnitude)
			}
		},
		"swing": func(t *testing.T, r *Run) {
			most := 0.0
			for _, s := range r.Truth.Trace {
				if s.T > r.From && s.T < r.Truth.SetDown-10 {
					most = max(most, s.Swing)
				}
			}
			near(t, "swing", most, r.Magnitude, 0.15)
		},
		"edge_landing": func(t *testing.T, r *Run) {
			if math.IsNaN(r.Truth.SetDown) {
				t.Error("never set down")
			}
			if r.Below || !(r.Magnitude > 0.05 && r.Magnitude < 0.95) {
				t.Errorf("the edge carries %.2f of the load, limit %.2f", r.Magnitude, r.Limit)
			}
		},
	}
	for _, c := range Causes() {
		check := checks[c.Name]
		if check == nil {
			if c.Name != "leg_slack" && c.Name != "gust" {
				t.Errorf("no check for %s", c.Name)
			}
			continue
		}
		t.Run(c.Name, func(t *testing.T) {
			t.Parallel()
			check(t, played(t, l, seed, c.Name, opt))
		})
	}
	t.Run("leg_slack", func(t *testing.T) {
		t.Parallel()
		r := played(t, read(t, bundle), seed, "leg_slack", Options{Driver: "brisk", Rate: 5, Magnitude: 0.2})
		least := math.Inf(1)
		for _, s := range r.Truth.Trace {
			if s.T > r.Truth.LiftedOff+2 && s.T < r.Truth.LiftedOff+6 {
				least = min(least, slices.Min(s.Tensions))
			}
		}
		if least > 0.01*r.Truth.WeightN {
			t.Errorf("the slackest leg carries %.0f N", least)
		}
	})
	t.Run("gust", func(t *testing.T) {
		r := played(t, l, seed, "gust", Options{Driver: "brisk", Rate: 5, Magnitude: 18})
		most := 0.0
		for _, s := range r.Truth.Trace {
			most = max(most, s.Wind)
		}
		if most < 18 {
			t.Errorf("the wind reaches %.1f m/s", most)
		}
	})
}

func TestCSV(t *testing.T) {
	l := read(t, pump)
	r := &Run{Lift: l, Samples: []sim.Sample{
		{Channel: "W", Measured: 0.25, Arrived: 0.3, Value: 1234.5},
		{Channel: `a "b", c`, Measured: 0.2, Arrived: 0.35, Value: -2},
	}}
	if got, want := csvOf(t, r), "t,channel,value_N\n0.2500,W,1234.5000\n0.2000,\"a \"\"b\"\", c\",-2.0000\n"; got != want {
		t.Errorf("got %q, want %q", got, want)
	}
	r.Samples[1] = sim.Sample{Channel: "travel", Of: sim.HookHeight, Measured: 0.2, Value: 5.001}
	if got, want := csvOf(t, r), "t,channel,value,unit\n0.2500,W,1234.5000,N\n0.2000,travel,5.0010,m\n"; got != want {
		t.Errorf("got %q, want %q", got, want)
	}
}

// The channels that the file names besides its cells send too.
func TestExtraChannels(t *testing.T) {
	data, err := os.ReadFile(pump)
	if err != nil {
		t.Fatal(err)
	}
	l, err := lift.Read(pump, nil, append(data, "channels: {travel: hook height, wind: wind speed, crane: crane total, lean: tilt}\n"...))
	if err != nil {
		t.Fatal(err)
	}
	r := played(t, l, 3, "as_planned", Options{Driver: "brisk", Rate: 5})
	seen := map[string]bool{}
	for _, line := range strings.Split(csvOf(t, r), "\n")[1:] {
		if f := strings.Split(line, ","); len(f) == 4 {
			seen[f[1]+" "+f[3]] = true
		}
	}
	for _, want := range []string{"W N", "E N", "travel m", "wind m/s", "crane N", "lean rad"} {
		if !seen[want] {
			t.Errorf("no rows of %s; there are %v", want, seen)
		}
	}
}

func TestRefused(t *testing.T) {
	testkit.Alone(t)
	for _, c := range []struct {
		file, cause string
		code        fault.Code
	}{
		{pump, "bad luck", fault.Reference},
		{pump, "leg_slack", fault.Unsupported},
		{"../../examples/exchanger-bundle.yaml", "as_planned", fault.Missing},
	} {
		_, err := New(read(t, c.file), 1, c.cause, Options{})
		if got := fault.Of(err); len(got) == 0 || got[0].Code != c.code {
			t.Errorf("%s %s: %v, want %s", c.file, c.cause, err, c.code)
		}
	}
}
