package size

import (
	"cmp"
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"
)

const (
	either  = 2    // steps to either side of the exact length that are tried
	mostSet = 8192 // sets of lengths held against each other by the slopes at the exact ones
	mostTry = 48   // of them, the best by the slopes, that are hung
	stay    = 0.05 // of the distance from the exact lengths is added: a step further has to be worth it
)

// grid gives the lengths in whole steps from the one of the file, in [low,
// high] and within the limits, ascending.
func grid(r *Range, from, low, high float64) []float64 {
	step := r.Step
	if step == 0 {
		step = millimetre
		from = math.Round(from/step) * step
	}
	low, high = max(low, r.Min), min(high, r.Max)
	if r.Max-r.Min < 1e-12 {
		return []float64{r.Min}
	}
	var all []float64
	for k := math.Ceil((low-from)/step - 1e-9); k <= math.Floor((high-from)/step+1e-9); k++ {
		all = append(all, from+k*step)
	}
	return all
}

// practical gives the best lengths that can be had near the exact ones x. The
// whole steps on either side of every leg are combined; the slopes at x sort
// the combinations, and the best are hung.
func (w *work) practical(x []float64) []float64 {
	_, h, err := w.rig(x)
	if err != nil || len(x) == 0 {
		return x
	}
	r := w.wrong(h, w.selfStress(h))
	a := w.slopes(x, h)
	home := w.lengths()
	choices := make([][]float64, len(x))
	for reach := float64(either); ; reach /= 2 {
		sets := 1.0
		for k := range x {
			rg := &w.ranges[k]
			step := cmp.Or(rg.Step, millimetre)
			choices[k] = grid(rg, home[k], x[k]-(reach+0.5)*step, x[k]+(reach+0.5)*step)
			if len(choices[k]) == 0 { // limits narrower than a step: the one nearest
				choices[k] = []float64{nearest(grid(rg, home[k], rg.Min, rg.Max), x[k])}
			}
			sets *= float64(len(choices[k]))
		}
		if sets <= mostSet {
			break
		}
		if reach < 0.1 { // so many legs that each takes its nearest
			for k := range x {
				choices[k] = []float64{nearest(choices[k], x[k])}
			}
			break
		}
	}
	type set struct {
		x   []float64
		sum float64
	}
	apart := func(to []float64) float64 {
		s := 0.0
		for k := range to {
			s += stay * stay * (to[k] - x[k]) * (to[k] - x[k])
		}
		return s
	}
	var sets []set
	pick := make([]int, len(x))
	for more := true; more; {
		s := set{x: make([]float64, len(x))}
		for k, p := range pick {
			s.x[k] = choices[k][p]
		}
		for i, v := range r {
			v += shift(a, i, s.x, x)
			s.sum += v * v
		}
		s.sum += apart(s.x)
		if last := len(r) - 1; w.under != nil && r[last]+shift(a, last, s.x, x) > 0 {
			s.sum++ // too high: behind all that fit
		}
		sets = append(sets, s)
		more = false
		for k := range pick {
			if pick[k]++; pick[k] < len(choices[k]) {
				more = true
				break
			}
			pick[k] = 0
		}
	}
	slices.SortStableFunc(sets, func(a, b set) int { return cmp.Compare(a.sum, b.sum) })
	// The best that fits; if none does, the best; if none hangs, the exact ones.
	best, least, fits := x, math.Inf(1), false
	for _, s := range sets[:min(mostTry, len(sets))] {
		_, h, err := w.rig(s.x)
		if err != nil || !h.Stable {
			continue
		}
		fit := w.under == nil || h.HeadroomM <= *w.under+1e-9
		sum := sum2(w.wrong(h, w.selfStress(h))) + apart(s.x)
		if fit && !fits || fit == fits && sum < least*(1-1e-9) {
			best, least, fits = s.x, sum, fit
		}
	}
	return best
}

// shift is by how much entry i of what is wrong changes from x to to.
func shift(slopes *mat.Dense, i int, to, x []float64) float64 {
	v := 0.0
	for k := range x {
		v += slopes.At(i, k) * (to[k] - x[k])
	}
	return v
}

func nearest(all []float64, x float64) float64 {
	return slices.MinFunc(all, func(a, b float64) int { return cmp.Compare(math.Abs(a-x), math.Abs(b-x)) })
}
