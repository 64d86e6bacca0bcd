package quantity

// The dimensions of the trade, each in its SI unit.
type (
	Mass         float64 // kg
	Force        float64 // N
	Length       float64 // m
	Angle        float64 // rad
	Stiffness    float64 // N/m
	Speed        float64 // m/s
	Acceleration float64 // m/s²
	Temperature  float64 // K
	Density      float64 // kg/m³
	Pressure     float64 // Pa
	Area         float64 // m²
	Volume       float64 // m³
	Duration     float64 // s
	Ratio        float64 // 1; written plain or in %
)

// Quantity is any of the dimensions above.
type Quantity interface {
	Mass | Force | Length | Angle | Stiffness | Speed | Acceleration | Temperature |
		Density | Pressure | Area | Volume | Duration | Ratio
}

// StandardGravity turns ratings and readings written in mass units into
// force: 9.80665 m/s² exactly (3rd CGPM, 1901; ISO 80000-3).
const StandardGravity Acceleration = 9.80665

// Shape says how a value spreads about its nominal.
type Shape int

// Exact values do not spread. Normal ones were written "v ± a": a is the
// 95 % half-width. Uniform ones were written "a..b": hard limits, nothing
// known between them.
const (
	Exact Shape = iota
	Normal
	Uniform
)

// Measured is a value with what is not known about it.
type Measured[Q Quantity] struct {
	Value     Q      // nominal: as written, or the middle of a range
	Low, High Q      // Normal: 95 % limits. Uniform: hard limits. Exact: both equal Value
	Shape     Shape  //
	Text      string // as written, for quoting back
}

// Known makes an exact value.
func Known[Q Quantity](v Q) Measured[Q] { return Measured[Q]{Value: v, Low: v, High: v} }

// Point is a place or a size in metres, with one spread for each axis.
type Point struct {
	X, Y, Z Measured[Length]
	Text    string
}

// XYZ gives the nominal point.
func (p Point) XYZ() [3]float64 {
	return [3]float64{float64(p.X.Value), float64(p.Y.Value), float64(p.Z.Value)}
}

// Rating is a force limit off a tag. FromMass says that it was written in
// mass units and read as force at standard gravity.
type Rating struct {
	Force    Force
	FromMass bool
	Text     string
}
