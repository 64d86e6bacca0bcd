package gear

import (
	"plumbhook/fault"
	"plumbhook/quantity"
)

// Facts is what a lift file or a gear list says about a piece, key by key as
// written: class, size, grade, table, rope, splice, diameter, pin ... Kinds
// tells which keys a kind has.
type Facts map[string]string

// Piece is one piece of gear with all that is known about it. Pointers are
// nil where nothing is known; nothing is guessed.
type Piece struct {
	Kind   string
	Serial string
	Facts  Facts

	WLL       *Rated                                 // straight, in line, of this one piece
	Choker    *Rated                                 // in a choker hitch, from the tag or from the table that gives WLL
	Basket    *Rated                                 // in a basket with vertical legs, likewise
	Length    *quantity.Measured[quantity.Length]    // unloaded, bearing to bearing
	Mass      *quantity.Measured[quantity.Mass]      //
	Stiffness *quantity.Measured[quantity.Stiffness] // of the piece; nil with Rigid, or where it is not known
	Rigid     bool                                   // as good as rigid beside a sling

	Material string // see the Material constants: what temperature and exposure rules go by
	Splice   string // of a wire rope, in the words of the fact splice; empty: not known
	// Upper and Lower are the bearing places at either end, for fit.
	Upper, Lower End
	Cell         *Cell
	Body         *quantity.Measured[quantity.Length] // diameter d of the rope, chain or sling body
	Notes        []string                            // what a user must be told about these figures
	Pos          fault.Pos
}

// note adds what a user must be told, once.
func (p *Piece) note(text string) {
	for _, n := range p.Notes {
		if n == text {
			return
		}
	}
	p.Notes = append(p.Notes, text)
}

// Rated is a rating with where it comes from.
type Rated struct {
	Force  quantity.Force
	Text   string // as the tag or the table writes it: "6.5 short ton"
	Source string // "tag", or the table: "29 CFR 1918 Appendix II, Table 4A ..."
	Tag    bool   // off the tag or maker's data of this very piece
	Ton    string // the ton the table counts in, where it does
}

// Shape is how an end takes hold.
type Shape string

// The shapes of ends.
const (
	Bow     Shape = "bow"            // of a shackle
	Pin     Shape = "pin"            // of a shackle
	Shackle Shape = "end of shackle" // bow or pin, not said which
	Jaw     Shape = "jaw"            // two cheeks with a pin of its own
	Eye     Shape = "eye"            // a hole in a plate, a cell, an eye bolt: a pin goes through it
	Hook    Shape = "hook"           //
	Link    Shape = "link"           // a ring or long link
	SoftEye Shape = "soft eye"       // of a rope, without a thimble
	Thimble Shape = "thimble"        // of a rope
	FlatEye Shape = "flat eye"       // of a web
	Loop    Shape = "loop"           // of a round sling or grommet
	Unknown Shape = ""               //
)

// End is how a piece takes hold at one end. Sizes are in m, zero where not
// known.
type End struct {
	Shape     Shape
	Pin       float64 // diameter of the pin that goes through the neighbour
	Bar       float64 // diameter of the bar that the neighbour bears on: a bow, a link, the seat of a hook, the curve of a thimble
	Hole      float64 // opening that the neighbour's pin goes through
	Jaw       float64 // clear width between cheeks
	Inside    float64 // clear width inside a bow or link
	Throat    float64 // opening of a hook
	Thickness float64 // of what goes between the neighbour's cheeks
	Width     float64 // of a web or a round sling where it bears
	Screw     *bool   // the pin is a screw pin, which a running rope can turn out; nil: not known
}

// Cell is what a load cell is.
type Cell struct {
	Capacity     quantity.Force
	SafeOverload *quantity.Force // largest force that does no lasting harm
	Share        float64         // hard limit of error as a share; 0 when not known
	OfFullScale  bool            // of full scale, else of reading
	DemandsPin   float64         // m; 0 when not known
	PinLow       float64         // m; limits of that pin
	PinHigh      float64
	Rate         float64 // samples per second; 0 when not known
	RadioRange   float64 // m; 0 when not known
	HoldsPeaks   bool
	Protection   string // as written: IP67
	Calibrated   string // date, ISO 8601; empty when not known
}
