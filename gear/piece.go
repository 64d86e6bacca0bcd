package gear

import (
	"plumbhook/fault"
	"plumbhook/quantity"
)

// Facts is what a lift file or a gear list says about a piece, key by key as
// written: class, size, grade, table, rope, splice, diameter, pin ...
type Facts map[string]string

// Piece is one piece of gear with all that is known about it. Pointers are
// nil where nothing is known; nothing is guessed.
type Piece struct {
	Kind   string
	Serial string
	Facts  Facts

	WLL       *Rated                                 // straight, in line, of this one piece
	Length    *quantity.Measured[quantity.Length]    // bearing to bearing
	Mass      *quantity.Measured[quantity.Mass]      //
	Stiffness *quantity.Measured[quantity.Stiffness] // of the piece; nil for what is as good as rigid

	Material string // chain grade 80, wire rope IWRC, polyester ...: what temperature and exposure rules go by
	// Upper and Lower are the bearing places at either end, for fit.
	Upper, Lower End
	Cell         *Cell
	Body         *quantity.Measured[quantity.Length] // diameter d of the rope, chain or sling body
	Notes        []string                            // what a user must be told about these figures
	Pos          fault.Pos
}

// Rated is a rating with where it comes from.
type Rated struct {
	Force  quantity.Force
	Source string // "tag", or the table: "29 CFR 1918 App. II Table 4A ..."
	Tag    bool   // off the tag or maker's data of this very piece
	Ton    string // the ton the table counts in, where it does
}

// End is how a piece takes hold at one end.
type End struct {
	Shape string // bow, pin, eye, hook, jaw, link, soft eye, thimble ...; empty: not known
	// Sizes in m, zero where not known.
	Pin       float64 // diameter of the pin or bar that goes through the neighbour
	Hole      float64 // opening that the neighbour's pin goes through
	Jaw       float64 // clear width between cheeks, or of an eye's inside
	Thickness float64 // of what goes between the neighbour's cheeks
}

// Cell is what a load cell is.
type Cell struct {
	Capacity     quantity.Force
	SafeOverload *quantity.Force
	Share        float64 // hard limit of error as a share
	OfFullScale  bool    // of full scale, else of reading
	DemandsPin   float64 // m; 0 when not known
	Rate         float64 // samples per second; 0 when not known
	HoldsPeaks   bool
	Calibrated   string // date, ISO 8601; empty when not known
}
