package infer

import (
	"math"
	"testing"

	"plumbhook/internal/rehearse"
	"plumbhook/internal/testkit"
)

// windows cuts the readings of a virtual lift by the truth behind them: before
// the legs are tight, the first and the last seconds in the air, and after.
func windows(m *Model, r *rehearse.Run) Course {
	last := r.Samples[len(r.Samples)-1].Measured
	off, down := r.Truth.LiftedOff, r.Truth.SetDown
	c := Course{Done: true}
	for _, w := range []Window{
		{Stage: Idle, FromS: 0, ToS: 3.5},
		{Stage: Hold, Free: Told, FromS: off + 2, ToS: off + (down-off)/3},
		{Stage: Hold, Free: Told, FromS: off + 2*(down-off)/3, ToS: down - 1},
		{Stage: Ended, FromS: last - 4, ToS: last},
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
	testkit.Alone(t)
	if testing.Short() {
		t.Skip("plays virtual lifts")
	}
	for _, file := range []string{"pump-motor.yaml", "filter-shell.yaml"} {
		t.Run(file, func(t *testing.T) {
			t.Parallel()
			p := plan(t, file)
			m := model(t, p)
			in, first, n := 0, 0, 0
			for _, c := range []struct {
				cause string
				size  float64
			}{{"as_planned", 0}, {"heavier", 0.2}, {"lighter", 0.2}, {"cg_off", 0.2}, {"wrong_unit", 2.2}, {"not_tared", 1}} {
				r, err := rehearse.New(p.Lift, 500, c.cause, rehearse.Options{Magnitude: c.size, Rate: 10, Driver: "brisk", Clean: true})
				if err != nil {
					t.Fatal(err)
				}
				if math.IsNaN(r.Truth.LiftedOff) || math.IsNaN(r.Truth.SetDown) {
					continue
				}
				w := windows(m, r)
				res := m.Diagnose(&w)
				n++
				if res.Causes[0].Name == c.cause {
					first++
				}
				if math.Abs(res.WeightN-r.Truth.WeightN) <= res.WeightU95N {
					in++
				} else if res.Causes[0].Name == c.cause {
					t.Logf("%s: %.0f ± %.0f N, weighs %.0f", c.cause, res.WeightN, res.WeightU95N, r.Truth.WeightN)
				}
			}
			if first < n*8/10 || in < n*8/10 || n < 5 {
				t.Errorf("first %d, inside %d of %d", first, in, n)
			}
		})
	}
}
