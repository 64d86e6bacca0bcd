package sim

// World is everything that has mass, pulls or carries. It is a description:
// [New] makes something that moves out of it.
type World struct {
	Gravity  float64 // m/s²
	Bodies   []Body  // the load first
	Nodes    []Node
	Hooks    []Hook
	Legs     []Leg
	Ties     []Tie
	Ground   Ground
	Contacts []Contact
}

// Body is rigid. Points and places are in its own axes.
type Body struct {
	Name    string
	Mass    float64
	CG      Vec
	Inertia Mat // about the centre of gravity, body axes, kg m²
	At      Vec // where its origin starts, world
	Turn    Mat // how it starts

	// Wind: half the density of air times drag coefficient times area, N per
	// (m/s)², along each body axis, acting at Sail.
	Drag Vec
	Sail Vec

	// Air and whatever else slows it, as rates: force = -rate mass v,
	// moment = -rate I ω. 1/s.
	Slows float64
	Spins float64
}

// Node is a ring, a link, a block: a point mass.
type Node struct {
	Name  string
	Mass  float64
	At    Vec
	Slows float64 // as for a body
}

// Hook is a point mass that a hoist carries. Its drive moves a target; the
// hook is where the elastic hoist lets it be.
type Hook struct {
	Name string
	At   Vec     // target at the start: where the hook is with nothing on it
	Mass float64 // block and hook

	// Stiffness of rope and boom, up and down, N/m. Zero: so stiff that it
	// does not matter.
	Stiffness float64
	Damping   float64 // N s/m
	Slows     float64 // as for a body

	// Rope is the length of the falls above the hook, which swings on them as
	// on a pendulum. Zero: the hook is held sideways.
	Rope float64
}

// On says what a point belongs to.
type On uint8

// A point moves with a body, is a node or a hook, or stands in the world.
const (
	OnBody On = iota
	OnNode
	OnHook
	InWorld
)

// Point is where something takes hold. At counts on a body (its axes) and in
// the world.
type Point struct {
	On    On
	Index int
	At    Vec
}

// Leg pulls between its upper and its lower end while longer than Length.
type Leg struct {
	Name    string
	From    Point   // upper end
	Via     []Point // one rope sliding over these points without friction
	To      Point   // lower end
	Length  float64 // unloaded
	Stiff   float64 // N/m, of the whole leg; zero: does not stretch (see [New])
	Damping float64 // N s/m
	Mass    float64
	Loose   bool    // lower end not attached: the leg hangs from its upper end
	Below   float64 // mass of the leg below its load cell, kg
}

// Tie holds a point of a body to a place in the world, pull only: a forgotten
// bolt, a frozen base, suction.
type Tie struct {
	Name     string
	At       Point
	To       Vec
	Length   float64
	Stiff    float64
	Damping  float64
	Strength float64 // N; above it the tie breaks for good. Zero: never
	Off      bool
}

// Ground is the plane through At with upward unit normal Normal.
type Ground struct {
	At     Vec
	Normal Vec
}

// Contact is a point of a body that stands on the ground.
type Contact struct {
	At       Point
	Packing  float64 // how far above the plane the ground is there, m
	Stiff    float64 // N/m
	Damping  float64
	Friction float64
}

// Clone is a copy that shares nothing.
func (w *World) Clone() *World {
	c := *w
	c.Bodies = append([]Body(nil), w.Bodies...)
	c.Nodes = append([]Node(nil), w.Nodes...)
	c.Hooks = append([]Hook(nil), w.Hooks...)
	c.Legs = append([]Leg(nil), w.Legs...)
	for i := range c.Legs {
		c.Legs[i].Via = append([]Point(nil), w.Legs[i].Via...)
	}
	c.Ties = append([]Tie(nil), w.Ties...)
	c.Contacts = append([]Contact(nil), w.Contacts...)
	return &c
}

// BoxInertia is that of a solid box of even density, sides along the axes.
func BoxInertia(mass float64, size Vec) Mat {
	x, y, z := size[0]*size[0], size[1]*size[1], size[2]*size[2]
	return Mat{{mass / 12 * (y + z), 0, 0}, {0, mass / 12 * (x + z), 0}, {0, 0, mass / 12 * (x + y)}}
}
