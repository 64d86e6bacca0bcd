package weigh

import (
	"time"

	"plumbhook/fault"
	"plumbhook/metrology"
	"plumbhook/quantity"
)

// A Survey is a weighing as it was written down.
type Survey struct {
	File, SHA256            string
	Title, Revision, Object string
	Date                    time.Time
	Gravity                 Gravity
	Air                     *Air // nil: buoyancy is not taken out
	Declared                *quantity.Measured[quantity.Mass]
	// CGHeight is what a drawing says of the height of the centre of gravity.
	// It is no result: it only tells what a floor out of level does.
	CGHeight *quantity.Measured[quantity.Length]
	// HeightWanted is the 95 % half-width that makes a measured height of the
	// centre of gravity worth having, m; zero: a tenth of the longest distance
	// between points (common practice, no source).
	HeightWanted float64
	Points       []Point
	Cells        []Cell
	Placements   []Placement
}

// Air is what buoyancy needs to know.
type Air struct {
	Density, Object quantity.Measured[quantity.Density]
}

// A Point is where the object bears or hangs, in its own axes.
type Point struct {
	Name string
	At   quantity.Point
	Pos  fault.Pos
}

// A Cell is a scale or load cell and what is known of it: an accuracy, a
// certificate by points, or a certificate that states an uncertainty.
type Cell struct {
	Name, Serial string
	Accuracy     metrology.Accuracy // Capacity always; the rest as stated
	Conditions   metrology.Conditions
	Calibration  *metrology.Calibration
	U95          *float64 // N
	Overload     float64  // safe overload, N; zero: not stated
	// SidePull is the hard limit of what a line out of plumb does to the
	// reading, as a share of it per rad beside the cosine; nil: not stated.
	SidePull *float64
	Care     Care
	Pos      fault.Pos
}

// Care is what is known of a cell's dates.
type Care struct {
	Calibrated, Due time.Time // zero: not stated
	DriftPerYear    *float64  // share of the reading
	OverrideBy      string    // who lets it be used out of date; empty: nobody
	OverrideWhy     string
}

// A Placement is one way the object stood or hung, weighed once or more.
type Placement struct {
	Name  string
	Seats []Seat
	Runs  [][]float64 // readings by run and seat, N, tare taken off
	Gross [][]float64 // the same with the tare, for what the cell bore
	Tilt  *Tilt       // nil: as it normally stands
	Level *float64    // standard uncertainty of "level" about either axis, rad; nil: not stated
	Plumb *quantity.Measured[quantity.Angle]
	Hook  *quantity.Point // all lines lead to it, object's axes; nil: lines are plumb
	Pos   fault.Pos
}

// A Seat is a cell at a point, both by index.
type Seat struct{ Point, Cell int }

// Tilt is how far the object was tilted, and the side that came to lie low,
// from its x axis toward its y axis.
type Tilt struct {
	Angle   quantity.Measured[quantity.Angle]
	LowSide float64
}
