package takeoff

import (
	"math"

	"plumbhook/quantity"
)

// z95 is the 97.5 % point of the normal distribution: 95 % lies within
// ± z95 standard deviations.
const z95 = 1.959963984540054

// span is a pair of limits.
type span struct{ low, high float64 }

// figure is one number that a part rests on.
type figure struct {
	value float64
	span
	shape quantity.Shape
	name  string // figures of one name are off together; empty for a figure of its own
}

// of takes a measured value as a figure.
func of[Q quantity.Quantity](m quantity.Measured[Q]) figure {
	if m.Shape == quantity.Exact {
		return just(float64(m.Value))
	}
	return figure{value: float64(m.Value), span: span{float64(m.Low), float64(m.High)}, shape: m.Shape}
}

// just is a figure without a spread.
func just(v float64) figure { return figure{value: v, span: span{v, v}} }

// influence is what one uncertain figure does to its part: half of what mass
// (kg) and centre (m) move by while the figure goes from its lower to its
// upper limit.
type influence struct {
	name  string
	shape quantity.Shape
	mass  float64
	place [3]float64
}

// limits is where mass and centre of a part can be with every figure
// anywhere within its own limits.
type limits struct {
	mass  span
	place [3]span
}

// ground is what Work found out about a part, with the figures it belongs to.
type ground struct {
	mass       quantity.Measured[quantity.Mass]
	at         quantity.Point
	influences []influence
	limits     limits
}

// basis gives the influences and limits of a part: those that Work found, or
// those of Mass and At alone when the part, or one of these, was set by hand.
func (p Part) basis() ([]influence, limits) {
	if g := p.ground; g != nil && g.mass == p.Mass && g.at == p.At {
		return g.influences, g.limits
	}
	figures := []figure{of(p.Mass), of(p.At.X), of(p.At.Y), of(p.At.Z)}
	return propagate(figures, func(f []float64) (float64, [3]float64) {
		return f[0], [3]float64{f[1], f[2], f[3]}
	})
}

// propagate moves each figure of a part to its limits, one at a time for the
// influences, all together in the worse direction for the limits. The latter
// are exact as long as mass and centre rise, or fall, with each figure all
// the way between its limits; all shapes of this package do.
func propagate(figures []figure, solve func([]float64) (float64, [3]float64)) ([]influence, limits) {
	f := make([]float64, len(figures))
	for i := range figures {
		f[i] = figures[i].value
	}
	result := func() [4]float64 { m, c := solve(f); return [4]float64{m, c[0], c[1], c[2]} }

	var influences []influence
	rise := make([][4]float64, len(figures))
	for i, fig := range figures {
		if fig.low == fig.high {
			continue
		}
		f[i] = fig.low
		low := result()
		f[i] = fig.high
		high := result()
		f[i] = fig.value
		for q := range low {
			rise[i][q] = (high[q] - low[q]) / 2
		}
		influences = append(influences, influence{fig.name, fig.shape, rise[i][0], [3]float64(rise[i][1:])})
	}

	corner := func(q int, up bool) float64 {
		for i, fig := range figures {
			f[i] = fig.low
			if (rise[i][q] > 0) == up {
				f[i] = fig.high
			}
			if rise[i][q] == 0 {
				f[i] = fig.value
			}
		}
		return result()[q]
	}
	var l limits
	l.mass = span{corner(0, false), corner(0, true)}
	for k := range l.place {
		l.place[k] = span{corner(k+1, false), corner(k+1, true)}
	}
	return influences, l
}

// rss gathers effects into a 95 % half-width: root of the sum of squares.
type rss struct {
	squares float64
	ranges  bool // a range took part
	normals bool // a normal figure took part
}

func (r *rss) add(shape quantity.Shape, half float64) {
	if half == 0 {
		return
	}
	if shape == quantity.Uniform {
		r.ranges = true
		half *= z95 / math.Sqrt(3) // standard deviation of a range: half-width/√3
	} else {
		r.normals = true
	}
	r.squares += half * half
}

// band is a 95 % band about the nominal that never reaches past the worst case.
func band[Q quantity.Quantity](v float64, r rss, worst span) quantity.Measured[Q] {
	if r.squares == 0 {
		return quantity.Known(Q(v))
	}
	u := math.Sqrt(r.squares)
	return quantity.Measured[Q]{
		Value: Q(v),
		Low:   Q(math.Max(v-u, worst.low)),
		High:  Q(math.Min(v+u, worst.high)),
		Shape: quantity.Normal,
	}
}

// spread is what a part's own result is known to: a hard range when nothing
// but ranges went into it, else a 95 % band.
func spread[Q quantity.Quantity](v float64, r rss, worst span) quantity.Measured[Q] {
	if r.ranges && !r.normals {
		return quantity.Measured[Q]{Value: Q(v), Low: Q(worst.low), High: Q(worst.high), Shape: quantity.Uniform}
	}
	return band[Q](v, r, worst)
}

// ordered tells whether a measured value is finite and lies within its limits.
func ordered[Q quantity.Quantity](m quantity.Measured[Q]) bool {
	f := of(m)
	return !math.IsInf(f.low, 0) && !math.IsInf(f.high, 0) && f.low <= f.value && f.value <= f.high
}
