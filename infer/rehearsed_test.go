package infer_test

import (
	"math"
	"os"
	"testing"

	"plumbhook/infer"
	"plumbhook/internal/rehearse"
	"plumbhook/lift"
	"plumbhook/verdict"
)

// windows cuts the readings of a virtual lift by the truth behind them: before
// the legs are tight, the first and the last seconds in the air, and after.
func windows(m *infer.Model, r *rehearse.Run) infer.Course {
	last := r.Samples[len(r.Samples)-1].Measured
	off, down := r.Truth.LiftedOff, r.Truth.SetDown
	c := infer.Course{Done: true}
	for _, w := range []infer.Window{
		{Stage: infer.Idle, FromS: 0, ToS: 3.5},
		{Stage: infer.Hold, Free: infer.Told, FromS: off + 2, ToS: off + (down-off)/3},
		{Stage: infer.Hold, Free: infer.Told, FromS: off + 2*(down-off)/3, ToS: down - 1},
		{Stage: infer.Ended, FromS: last - 4, ToS: last},
	} {
		for _, ch := range m.Channels() {
			// Means of a second, whose scatter is the noise of the whole.
			var sums, counts [600]float64
			for i := range r.Samples {
				if s := &r.Samples[i]; s.Channel == ch && s.Measured >= w.FromS && s.Measured < w.ToS {
					k := int(s.Measured - w.FromS)
					sums[k] += s.Value
					counts[k]++
				}
			}
			n, mean, square := 0.0, 0.0, 0.0
			for k := range sums {
				if counts[k] > 0 {
					v := sums[k] / counts[k]
					n, mean, square = n+1, mean+v, square+v*v
				}
			}
			mean /= n
			w.ReadN = append(w.ReadN, mean)
			w.NoiseN = append(w.NoiseN, math.Sqrt(max(0, square/n-mean*mean)/max(1, n/2)))
		}
		c.Windows = append(c.Windows, w)
	}
	return c
}

// On the virtual lift, which shares no mechanics with this package, the weight
// lies in its band and the cause is found.
func TestRehearsed(t *testing.T) {
	if testing.Short() {
		t.Skip("plays virtual lifts")
	}
	for _, file := range []string{"pump-motor.yaml", "filter-shell.yaml"} {
		data, err := os.ReadFile("../examples/" + file)
		if err != nil {
			t.Fatal(err)
		}
		l, err := lift.Read(file, nil, data)
		if err != nil {
			t.Fatal(err)
		}
		p, err := verdict.Check(l)
		if err != nil {
			t.Fatal(err)
		}
		m, err := infer.New(p)
		if err != nil {
			t.Fatal(err)
		}
		limits, err := rehearse.Limits(l)
		if err != nil {
			t.Fatal(err)
		}
		in, first, n := 0, 0, 0
		for _, cause := range []string{"as_planned", "heavier", "lighter", "cg_off", "wrong_unit", "not_tared"} {
			for seed := range uint64(1) {
				r, err := rehearse.New(l, 500+seed, cause, rehearse.Options{Limits: limits, Rate: 10, Driver: "brisk", Clean: true})
				if err != nil {
					t.Fatal(err)
				}
				if math.IsNaN(r.Truth.LiftedOff) || math.IsNaN(r.Truth.SetDown) {
					continue
				}
				c := windows(m, r)
				res := m.Diagnose(&c)
				n++
				if res.Causes[0].Name == cause {
					first++
				}
				if math.Abs(res.WeightN-r.Truth.WeightN) <= res.WeightU95N {
					in++
				} else if res.Causes[0].Name == cause {
					t.Logf("%s %s seed %d: %.0f ± %.0f N, weighs %.0f", file, cause, r.Seed, res.WeightN, res.WeightU95N, r.Truth.WeightN)
				}
			}
		}
		t.Logf("%s: first %d, inside %d of %d", file, first, in, n)
		if first < n*8/10 || in < n*8/10 {
			t.Errorf("%s: first %d, inside %d of %d", file, first, in, n)
		}
	}
}
