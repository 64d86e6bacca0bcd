package paper

import (
	"math"
	"strconv"
)

// Chart is figures over something, mostly time.
type Chart struct {
	X, Y   string // what the axes count, with unit
	Curves []Curve
	Levels []Level // straight across
	At     []Level // straight up: moments
	High   float64 // mm; 0: the usual
}

// Curve is one line of a chart, broken where a value is no number. Curves differ
// by dash and bear their name at their end.
type Curve struct {
	Name string
	X, Y []float64
	Dots bool // the points themselves, not joined
}

// Level is a line through a chart with its name on it.
type Level struct {
	Name string
	V    float64
}

var dashes = [][]float64{nil, {2.2, 0.9}, {0.7, 0.7}, {3, 0.8, 0.6, 0.8}, {5, 1.2}, {1.4, 1.4}, {4, 0.8, 0.6, 0.8, 0.6, 0.8}, {0.4, 1.2}}

// ticks gives the round numbers between two, about so many.
func ticks(lo, hi float64, about int) (list []float64, step float64) {
	raw := (hi - lo) / float64(about)
	p := math.Pow(10, math.Floor(math.Log10(raw)))
	step = 10 * p
	for _, k := range []float64{1, 2, 5} {
		if k*p >= raw {
			step = k * p
			break
		}
	}
	for k := math.Ceil(lo/step - 1e-9); k*step <= hi+1e-9*step; k++ {
		list = append(list, k*step+0) // no -0
	}
	return list, step
}

// span is what a list of numbers covers, those that are none left out.
type span struct{ lo, hi float64 }

func (r *span) take(v float64) {
	if !math.IsNaN(v) && !math.IsInf(v, 0) {
		r.lo, r.hi = min(r.lo, v), max(r.hi, v)
	}
}

func (r *span) open() {
	if r.lo > r.hi {
		r.lo, r.hi = 0, 1
	}
	if d := r.hi - r.lo; d <= 1e-9*math.Max(math.Abs(r.lo), math.Abs(r.hi)) {
		r.lo, r.hi = r.lo-math.Max(1, math.Abs(r.lo))/2, r.hi+math.Max(1, math.Abs(r.hi))/2
	}
}

// Chart draws a chart across the page.
func (s *Sheet) Chart(c Chart) {
	high := c.High
	if high == 0 {
		high = 75
	}
	s.Keep(high + 2)
	x, y := span{math.Inf(1), math.Inf(-1)}, span{math.Inf(1), math.Inf(-1)}
	names := 0.0
	for _, k := range c.Curves {
		for i := range k.X {
			x.take(k.X[i])
			y.take(k.Y[i])
		}
		names = max(names, s.width(k.Name, small, true))
	}
	for _, l := range c.Levels {
		y.take(l.V)
	}
	for _, l := range c.At {
		x.take(l.V)
	}
	x.open()
	y.open()
	pad := 0.06 * (y.hi - y.lo)
	y.lo, y.hi = y.lo-pad, y.hi+pad
	left, right := margin+15, s.w-margin-min(names, s.room()/4)-3
	top, low := s.y+6, s.y+high-9
	px := func(v float64) float64 { return left + (v-x.lo)/(x.hi-x.lo)*(right-left) }
	py := func(v float64) float64 { return low - (v-y.lo)/(y.hi-y.lo)*(low-top) }
	s.put(margin, s.y+3, small, true, c.Y)
	s.right(right, s.y+high-1.2, small, true, c.X)
	dash := func(d []float64, wide float64, grey int) {
		s.f.SetDrawColor(grey, grey, grey)
		s.f.SetLineWidth(wide)
		s.f.SetDashPattern(d, 0)
	}
	number := func(v, step float64) string {
		return strconv.FormatFloat(v, 'f', max(0, -int(math.Floor(math.Log10(step)+1e-9))), 64)
	}
	list, step := ticks(y.lo, y.hi, 6)
	for _, v := range list {
		dash(nil, 0.1, 170)
		s.f.Line(left, py(v), right, py(v))
		s.right(left-1, py(v)+0.9, small, false, number(v, step))
	}
	list, step = ticks(x.lo, x.hi, 8)
	for _, v := range list {
		dash(nil, 0.1, 170)
		s.f.Line(px(v), top, px(v), low)
		s.put(px(v)-s.width(number(v, step), small, false)/2, low+3.4, small, false, number(v, step))
	}
	dash(nil, 0.35, 0)
	s.f.Rect(left, top, right-left, low-top, "D")
	for _, l := range c.Levels {
		dash([]float64{5, 0.8, 0.8, 0.8}, 0.5, 0)
		s.f.Line(left, py(l.V), right, py(l.V))
	}
	for _, l := range c.At {
		dash([]float64{1.2, 0.8}, 0.5, 0)
		s.f.Line(px(l.V), top, px(l.V), low)
	}
	ends := make([]float64, 0, len(c.Curves)) // heights at which names stand
	for n, k := range c.Curves {
		last := -1
		dash(dashes[n%len(dashes)], 0.35, 0)
		for i := range k.X {
			if math.IsNaN(k.Y[i]) || math.IsInf(k.Y[i], 0) {
				last = -1
				continue
			}
			switch {
			case k.Dots:
				s.f.SetFillColor(0, 0, 0)
				s.f.Circle(px(k.X[i]), py(k.Y[i]), 0.7, "F")
			case last >= 0:
				s.f.Line(px(k.X[last]), py(k.Y[last]), px(k.X[i]), py(k.Y[i]))
			}
			last = i
		}
		if last < 0 {
			continue
		}
		at := py(k.Y[last])
		for moved := true; moved; {
			moved = false
			for _, e := range ends {
				if math.Abs(e-at) < 2.9 {
					at, moved = e+3, true
				}
			}
		}
		ends = append(ends, at)
		s.put(right+1.5, at+0.9, small, true, k.Name)
	}
	dash(nil, 0.2, 0)
	s.labels(c, left, right, top, px, py)
	s.y += high + 2
}

// labels writes the names of levels and moments, on white.
func (s *Sheet) labels(c Chart, left, right, top float64, px, py func(float64) float64) {
	on := func(x, base float64, text string) {
		w := s.width(text, small, true)
		x = max(left+0.5, min(x, right-w-0.5))
		s.f.SetFillColor(255, 255, 255)
		s.f.Rect(x-0.4, base-2.3, w+0.8, 3, "F")
		s.put(x, base, small, true, text)
	}
	used := []float64{}
	for _, l := range c.Levels {
		at := py(l.V) - 0.8
		for moved := true; moved; {
			moved = false
			for _, u := range used {
				if math.Abs(u-at) < 3 {
					at, moved = u+3.1, true
				}
			}
		}
		used = append(used, at)
		on(left+2, at, l.Name)
	}
	for i, l := range c.At {
		on(px(l.V)+1, top+3+3.2*float64(i%3), l.Name)
	}
}
