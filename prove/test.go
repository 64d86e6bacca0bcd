package prove

import (
	"time"

	"plumbhook/fault"
	"plumbhook/metrology"
	"plumbhook/quantity"
)

// A Test is a proof test or a pull as it was planned. A zero force, length or time
// is one that is not stated.
type Test struct {
	File, SHA256           string
	Title, Revision, Place string
	Date                   time.Time
	Rule                   *Rule
	Item                   Item
	// Load is the test load as stated, N; zero: the least that the rule asks.
	// Of a pull it is the pull that is expected.
	Load        float64
	Under, Over float64 // shares of the load that the force may stay below and come above
	Hold        float64 // s
	Gap         float64 // longest time between two readings that counts, s
	Ramp        float64 // greatest rate of rise, N/s; zero: none stated
	DipFails    bool    // a dip in the hold ends the test; else the hold begins anew
	Drift       float64 // most the force may drift over the hold, share of the load; zero: none stated
	Moves       []Move
	Simple      bool   // simple acceptance
	SimpleBy    string // whose contract says so
	Cell        Cell
	Gear        []Piece
	Line        *Line   // nil: how the line stretches is not stated
	Exclusion   float64 // from every part of the line, m
	Criterion   *Criterion
	Conditions  Conditions
	Guy         *GuyRope // of a guy tension
}

// An Item is what is proved.
type Item struct {
	Name, Serial  string
	Rating, Proof float64 // Proof: the most its maker lets it be loaded with, once
}

// A Piece is gear that the force of the test runs through.
type Piece struct {
	Name, Serial  string
	Rating, Proof float64
	Pos           fault.Pos
}

// A Cell is the load cell and what is known of it: an accuracy, or the 95 %
// uncertainty of its certificate.
type Cell struct {
	Channel, Serial string
	Accuracy        metrology.Accuracy
	Conditions      metrology.Conditions
	U95             float64
	Proof           float64 // its safe overload
	Calibrated, Due time.Time
	Override        *metrology.Override
	DriftPerYear    *float64 // share of the reading; nil: not stated
}

// A Move is a reading of how far the item moves, and what of that is allowed. A
// zero limit is one that nobody set.
type Move struct {
	Name, Channel string
	Accuracy      float64 // hard limit of a difference of two readings; zero: not stated
	Most          float64 // greatest movement under load
	InHold        float64 // greatest movement while it is held
	Stays         float64 // what may be left once the load is off
	Pos           fault.Pos
}

// A Line is what stretches between the strong point and the item.
type Line struct {
	Length    float64
	Stiffness float64 // N/m, of all of it
}

// A Criterion is what an engineer asks for where no text does.
type Criterion struct{ By, Text string }

// Conditions are those of the day; nil: not stated.
type Conditions struct {
	Wind, Current   *quantity.Measured[quantity.Speed]
	Depth, Line     *quantity.Measured[quantity.Length] // of the water; from the stern to the bollard
	Draught, Vessel *quantity.Measured[quantity.Length] // greatest draught; length of the vessel
	Temperature     *quantity.Measured[quantity.Temperature]
	WindLimit       float64 // m/s, that somebody set for this test
	Sea             string  // as somebody described it
}

// A GuyRope is a guy of steel between fixed ends.
type GuyRope struct {
	Design   float64 // initial tension at its lower end at the temperature At, N
	At       float64 // K
	Now      quantity.Measured[quantity.Temperature]
	Chord    float64 // from end to end, m
	Slope    float64 // of the chord, rad from horizontal
	EA       float64 // N
	Weight   float64 // of the whole guy, N
	Diameter float64
	Breaking float64 // N
}
