package lift

import (
	"cmp"

	"plumbhook/fault"
	"plumbhook/gear"
	"plumbhook/quantity"
	"plumbhook/takeoff"
)

// Lift is one lift file, checked and in SI units. Slices keep the order of
// the file.
type Lift struct {
	Version   int
	Title     string
	Revision  string
	Rulebook  string // "us", "eu" or "" when none is chosen
	Rules     *SiteRules
	Site      Site
	Dynamic   *Dynamic // nil: the file asks for no dynamic factor
	Limits    Limits
	Load      Load
	Hooks     []Hook
	Nodes     []Node
	Legs      []Leg
	Spreaders []Spreader
	Supports  []Support
	Ties      []Tie
	Steps     []Step
	Cranes    []Crane
	Channels  []Channel
	SHA256    string // of the file's bytes, hexadecimal
	File      string // name as given, for messages

	places map[string]fault.Pos // of every value of the file, for Place
}

// Site is where the lift takes place.
type Site struct {
	G           quantity.Measured[quantity.Acceleration] // standard gravity when not given
	Temperature *quantity.Measured[quantity.Temperature]
	Wind        *quantity.Measured[quantity.Speed]
	Exposure    []Exposure // nothing: not stated
}

// Exposure is what the gear gets to feel besides the load.
type Exposure string

// Dry is a statement too: nothing else is there.
const (
	Dry       Exposure = "dry"
	Wet       Exposure = "wet"
	Acids     Exposure = "acids"
	Caustics  Exposure = "caustics"
	Phenolics Exposure = "phenolics"
)

// Dynamic is a factor that the file states, what a table finds one from
// (hoisting class and speed), or both.
type Dynamic struct {
	Factor     float64 // 0: by class and speed
	Class      string  // HC1 .. HC4; empty: not stated
	HoistSpeed *quantity.Measured[quantity.Speed]
	OnRatings  bool // ratings are held against forces times the factor
	Pos        fault.Pos

	onRatings *bool // as written
}

// Limits are the numbers at which the crew warns and stops.
type Limits struct {
	Total *Limit                             // on the sum at the hooks
	Legs  map[string]Limit                   // by leg name
	Hooks map[string]Limit                   // by hook name
	Tilt  *quantity.Measured[quantity.Angle] // of the load's z axis to vertical
}

// Limit is a pair of numbers; either may be missing.
type Limit struct {
	Warn, Stop *quantity.Rating
	Pos        fault.Pos
}

// Load is what is lifted. Its mass and centre of gravity come from a weight
// take-off of parts, or from figures given directly as a take-off of one.
type Load struct {
	Name     string
	Sheet    takeoff.Sheet   // parts and their sum
	Wet      bool            // fluids of the sheet are on board
	Size     *quantity.Point // extent along the body axes, for drawing and clearance
	SizeFrom *quantity.Point // where that begins: the corner with the least x, y and z; nil: not stated
	At       *quantity.Point // start pose, world position of the body origin
	Turn     *Turn           // start pose, orientation
	Drag     float64         // coefficient of drag cw of the load in the wind; 0 when not given
	Lugs     []Lug
	Pos      fault.Pos
}

// Turn is a start orientation: rotations about the world axes x, then y,
// then z.
type Turn struct {
	X, Y, Z quantity.Angle
	Text    string
}

// Lug is a lifting point on the load, or a point on a spreader, in body axes.
type Lug struct {
	Name      string
	At        quantity.Point
	Type      string      // as the trade says: plate, shoulder eye bolt ...; may be empty
	Meant     string      // the known type that Type is near to without being one; else empty
	Axis      *[3]float64 // unit vector in body axes: of a plate's pin hole, of an eye bolt's shank
	Hole      *quantity.Measured[quantity.Length]
	Thickness *quantity.Measured[quantity.Length]
	WLL       *quantity.Rating
	Eye       *[3]float64 // unit vector in body axes along the hole of an eye bolt; a pull in the plane of the eye is square to it
	Angled    *AngledWLL  // maker's figure of an eye bolt for a pull off its axis
	Pos       fault.Pos
}

// AngledWLL is what an eye bolt may carry up to an angle off its axis, in the
// plane of the eye.
type AngledWLL struct {
	WLL     quantity.Rating
	OffAxis quantity.Measured[quantity.Angle]
}

// Hook is a fixed point of the world that carries.
type Hook struct {
	Name string
	At   *quantity.Point // nil: a single hook, plumb over the load
	WLL  *quantity.Rating
	Pos  fault.Pos
}

// Node is a ring or link where legs join.
type Node struct {
	Name string
	Mass quantity.Measured[quantity.Mass]
	At   *quantity.Point // start position, optional
	WLL  *quantity.Rating
	Pos  fault.Pos
}

// Ref names an end of a leg: a hook or node (Point empty), or a point of the
// load or of a spreader.
type Ref struct {
	Body  string // "load", a spreader's, hook's or node's name
	Point string // lug or spreader point; empty for hooks and nodes
	Pos   fault.Pos
}

// String writes the reference as in the file.
func (r Ref) String() string {
	if r.Point == "" {
		return r.Body
	}
	return r.Body + "." + r.Point
}

// Hitch is how a leg takes hold.
type Hitch string

// The hitches of the trade.
const (
	Straight Hitch = "straight"
	Basket   Hitch = "basket"
	Choker   Hitch = "choker"
)

// Leg is one line from hook side to load side, top to bottom.
type Leg struct {
	Name        string
	From, To    Ref
	Via         []Ref                                    // points one rope slides over
	Length      quantity.Measured[quantity.Length]       // unloaded, bearing to bearing; the stack's sum when it has one
	Stiffness   *quantity.Measured[quantity.Stiffness]   // nil: inextensible
	Mass        quantity.Measured[quantity.Mass]         // of the whole leg
	Catenary    bool                                     // own weight hangs as a catenary instead of lumped at the ends
	Hitch       Hitch                                    //
	Friction    float64                                  // rope on the points it slides over
	ChokeAngle  *quantity.Measured[quantity.Angle]       //
	Bend        *quantity.Measured[quantity.Length]      // diameter the rope bends over
	WLL         *quantity.Rating                         // straight rating of this one leg
	ChokerWLL   *quantity.Rating                         // rating in a choker hitch
	BasketWLL   *quantity.Rating                         // rating in a basket with vertical legs
	AssemblyWLL *AssemblyWLL                             // tag of a whole assembly
	Tag         Tag                                      // empty: not stated
	Edges       Edges                                    // empty: not stated
	Temperature *quantity.Measured[quantity.Temperature] // of the leg, where it is not that of the site
	Stack       []Part                                   // top to bottom
	Cell        *Cell                                    // for a leg without stack
	Pos         fault.Pos                                //
}

// Tag is how the marking of a piece was found.
type Tag string

// The ways a tag is found.
const (
	Legible   Tag = "legible"
	Illegible Tag = "illegible"
	NoTag     Tag = "missing"
)

// Edges says what a leg bears on where it runs round the load.
type Edges string

// Sharp edges are those that nothing keeps from the sling.
const (
	NoEdges        Edges = "none"
	ProtectedEdges Edges = "protected"
	SharpEdges     Edges = "sharp"
)

// AssemblyWLL is what the tag of a whole sling assembly says.
type AssemblyWLL struct {
	WLL   quantity.Rating
	Legs  int
	Angle quantity.Measured[quantity.Angle]
	From  string // "horizontal", "vertical" or "included"
	Pos   fault.Pos
}

// Part is one entry of a stack.
type Part struct {
	Kind      string // catalogue kind: bow shackle, load cell, wire rope sling ...
	Serial    string
	Meant     string            // the known kind that Kind is near to without being one; else empty
	Facts     map[string]string // class, size, grade, table ... as written, for the gear catalogue
	Length    *quantity.Measured[quantity.Length]
	Mass      *quantity.Measured[quantity.Mass]
	Stiffness *quantity.Measured[quantity.Stiffness]
	WLL       *quantity.Rating
	Cell      *Cell // when Kind is "load cell"
	Tag       Tag   // empty: not stated
	// Temperature of the piece, where it is not that of leg or site.
	Temperature *quantity.Measured[quantity.Temperature]
	// Piece is what the gear catalogue makes of kind and facts; nil for a kind
	// it does not know, or that it was told too little about. Where the entry
	// gives no length, mass, stiffness or wll, those of the piece stand above.
	Piece *gear.Piece
	Pos   fault.Pos

	generic figures
	stored  bool // its rating is the gear register's
}

// figures says which figures of an entry are the catalogue's.
type figures struct{ length, mass, stiffness, wll bool }

// Name is what a sentence calls the entry.
func (p *Part) Name() string { return cmp.Or(p.Kind, "item "+p.Serial) }

// Rated says where the rating of an entry comes from, and whether it is off the
// tag. Without a rating the source is empty.
func (p *Part) Rated() (source string, tag bool) {
	switch {
	case p.generic.wll:
		return p.Piece.WLL.Source + "; " + gear.Generic, false
	case p.WLL != nil && p.stored:
		return "gear register, serial " + p.Serial, true
	case p.WLL != nil:
		return "tag or maker's figure in the lift file", true
	case p.Cell != nil && p.Cell.Capacity != nil:
		return "capacity of the cell in the lift file", true
	}
	return "", false
}

// Cell is a load cell with the channel its readings come on.
type Cell struct {
	Channel    string
	Capacity   *quantity.Rating
	Accuracy   *Accuracy
	Resolution *quantity.Rating // step of what its display shows
	Warmth     []Warmth         // how it follows its temperature
	Zero       Zero
	Pos        fault.Pos
}

// Warmth is how far a cell may be off for each kelvin that its temperature is
// away from where it was zeroed or calibrated: a hard limit. Of full scale it
// moves the zero, of reading the slope.
type Warmth struct {
	PerKelvin   float64 // share
	OfFullScale bool
	Text        string
}

// Accuracy is a cell's stated hard limit of error.
type Accuracy struct {
	Share       float64 // 0.001 for 0.1 %
	OfFullScale bool    // else of reading
	Text        string
}

// Zero is how a cell was zeroed.
type Zero string

// Hung: all rigging below the cell hung free and unattached. Attached: the
// legs attached and slack. None: raw, nothing taken off.
const (
	ZeroHung     Zero = "hung"
	ZeroAttached Zero = "attached"
	ZeroNone     Zero = "none"
)

// Spreader is a further body between hook and load.
type Spreader struct {
	Name          string
	Mass          quantity.Measured[quantity.Mass]
	CG            quantity.Point
	At            *quantity.Point // start position of the body origin
	Turn          *Turn
	Size          *quantity.Point
	SizeFrom      *quantity.Point // as for the load
	WLL           *quantity.Rating
	LeastTopAngle *quantity.Measured[quantity.Angle] // from horizontal
	Points        []Lug
	Pos           fault.Pos
}

// Support is ground that carries a point from below and cannot pull.
type Support struct {
	Name     string
	At       Ref
	Level    quantity.Measured[quantity.Length]
	Friction float64
	Pos      fault.Pos
}

// Tie holds a point of a body to a fixed point of the world, pull only.
type Tie struct {
	Name      string
	At        Ref
	To        quantity.Point
	Length    *quantity.Measured[quantity.Length] // nil: its length in the start pose
	Stiffness *quantity.Measured[quantity.Stiffness]
	Pos       fault.Pos
}

// Step is a change to the rig, hung from the pose of the step before.
type Step struct {
	Name     string
	Hooks    map[string]quantity.Point                     // hooks moved
	Legs     map[string]quantity.Measured[quantity.Length] // legs with a new length
	Ties     map[string]bool                               // false: released
	Supports map[string]quantity.Measured[quantity.Length] // supports at a new level
	Pos      fault.Pos
}

// Crane says which machine carries a hook.
type Crane struct {
	Hook   string
	Chart  string
	Radius *quantity.Measured[quantity.Length]
	Boom   *quantity.Measured[quantity.Length]

	// What the chart counts as load besides what hangs on the hook; nil: not
	// stated.
	Block, AuxBlock, Jib, Rope *quantity.Measured[quantity.Mass]

	LinePull, MostLinePull       *quantity.Rating                       // in the hoist rope: planned, permissible
	HookStiffness                *quantity.Measured[quantity.Stiffness] // what hoist rope and boom give at the hook
	Delay, Stopping              *quantity.Measured[quantity.Duration]  // from a reading to the lever; from the lever until the hook stands
	Reduction                    string                                 // rule set for several cranes; empty: none named
	People, Floating, Travelling bool
	ChartData                    []byte // of the file; nil without one
	ChartUnread                  string // why the file could not be read

	// What the machine does to the ground.
	Machine   *quantity.Measured[quantity.Mass] // its own, counterweight included
	Ground    *Ground
	Mat       *Mat // under each support that names none of its own
	Reactions []Reaction
	Pos       fault.Pos
}

// Ground is what somebody allows the ground to bear.
type Ground struct {
	Allowable *quantity.Measured[quantity.Pressure]
	From      string
}

// Mat is what lies between an outrigger or a track and the ground.
type Mat struct {
	Length, Width quantity.Measured[quantity.Length]
	Mass          *quantity.Measured[quantity.Mass]
	Stiff         string                            // who holds it stiff enough to press evenly all over
	Effective     *quantity.Measured[quantity.Area] // that presses
	EffectiveFrom string
	Foot          *quantity.Measured[quantity.Area] // of the float or track on it
}

// Reaction is what one outrigger or track presses down with: a force, or a
// share of machine and load.
type Reaction struct {
	Name  string
	Force *quantity.Rating
	Share *quantity.Ratio
	From  string
	Mat   *Mat
	Pos   fault.Pos
}

// Channel is an extra reading that is not a cell in a leg.
type Channel struct {
	Name string
	Kind string // "hook height", "wind speed", "crane total", "tilt"
	Pos  fault.Pos
}
