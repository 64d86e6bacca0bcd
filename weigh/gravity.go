package weigh

import (
	"math"

	"plumbhook/metrology"
	"plumbhook/quantity"
)

// Gravity is the local acceleration of free fall, m/s², and how it is known.
type Gravity struct {
	Value     float64
	Component metrology.Component
	How       string
}

// anomaly is by how much gravity may differ from the normal one, m/s²: 100 mGal
// bound most of the lowlands (from memory).
const anomaly = 1e-3

// NormalGravity gives the acceleration of free fall at a geodetic latitude, rad,
// and a height over the sea, m: Somigliana's formula on the ellipsoid of WGS 84,
//
//	g = g_e (1 + k sin²φ)/√(1 - e² sin²φ),
//
// and with height g (1 - 2 (1 + f + m - 2 f sin²φ) h/a + 3 h²/a²), a series to
// the second order. What rock and hills do to it is not in it.
func NormalGravity(latitude, height float64) float64 {
	const (
		equator = 9.7803253359     // m/s²
		k       = 0.00193185265246 // b g_p/(a g_e) - 1
		e2      = 0.00669437999014 // first eccentricity squared
		a       = 6378137.0        // m
		f       = 1 / 298.257223563
		b       = a * (1 - f)
		gm      = 3986004.418e8 // m³/s²
		omega   = 7292115e-11   // rad/s
		m       = omega * omega * a * a * b / gm
	)
	s := math.Sin(latitude)
	s *= s
	ground := equator * (1 + k*s) / math.Sqrt(1-e2*s)
	h := height / a
	return ground * (1 - 2*(1+f+m-2*f*s)*h + 3*h*h)
}

// MeasuredGravity is a figure from the file.
func MeasuredGravity(g quantity.Measured[quantity.Acceleration]) Gravity {
	return Gravity{Value: float64(g.Value), Component: component("gravity", g).In("m/s2"), How: "from the file: " + g.Text}
}

// component makes one line of a budget of a measured value: no uncertainty if
// it is exact.
func component[Q quantity.Quantity](name string, m quantity.Measured[Q]) metrology.Component {
	half := float64(m.High-m.Low) / 2
	if m.Shape == quantity.Normal {
		return metrology.Normal(name, half, metrology.CoverageFactor(0.95, math.Inf(1)))
	}
	return metrology.Rectangular(name, half)
}
