package lift

import "slices"

// Hung is a lift in equilibrium, in trade terms. All numbers SI: N, m, rad;
// world axes z up unless said otherwise.
type Hung struct {
	Lift *Lift
	Step string // name of the step, empty for the lift as first rigged

	Stable       bool
	FellOver     string   // name of the body that had to flip; empty when stable or none
	StabilityM   *float64 // how far the load's CG may rise before the pose is lost; nil when no rise loses it
	NearSingular bool     // the tensions hang on figures finer than the plan gives
	Notes        []string // what the solver wants said, in words
	Untried      []string // bodies with too many legs to try every set of them: no worst case

	WeightN   float64 // the load alone
	MassKg    float64
	CGLoad    [3]float64 // load axes
	HeadroomM float64    // hook bearing down to the highest lug of the load that hangs from it; the least of several hooks

	Legs     []HungLeg
	Bodies   []HungBody // the load first, then spreaders in the order of the file
	Hooks    []HungHook
	Nodes    []HungNode
	Supports []HungSupport
	Ties     []HungTie
	Squeeze  []Squeeze
}

// HungLeg is one leg under load.
type HungLeg struct {
	Name                         string
	Path                         [][3]float64 // world points it runs through, top to bottom (or first end to last end)
	TensionN                     float64      // upper end, own weight included; a via leg: its greatest span
	LowerN                       float64      // at the lower end
	Slack                        bool         // under 1e-6 of the total weight
	LengthM                      float64      // stretched, along the straight spans
	FromHorizontal, FromVertical float64      // rad, of the chord; a via leg: its flattest end span
	Upper, Lower                 [3]float64   // force the leg puts on what holds its upper end, and on what hangs at its lower end
	Spans                        []float64    // N per span, via legs only
	SlipLow, SlipHigh            []float64    // N per span at the two slip limits, rope about to run toward its first end, toward its last end; nil without friction
	WorstN                       *float64     // every way statics alone lets the legs of the body share; nil below four legs
	WLLN                         *float64     // straight rating of the leg: its weakest rated part
	Unrated                      []string     // parts of the leg that have no rating
}

// Slip is the least and the greatest span of a rope about to run over its
// points, N, to either end; zeros without friction. They are those of the lift
// as planned.
func (l *HungLeg) Slip() (least, most float64) {
	if l.SlipLow == nil {
		return 0, 0
	}
	all := slices.Concat(l.SlipLow, l.SlipHigh)
	return slices.Min(all), slices.Max(all)
}

// SlipMost is the greatest span of a rope about to run, N, where the force
// without friction comes to p95 instead of the planned one: friction takes its
// share of that. Zero without friction.
func (l *HungLeg) SlipMost(p95 float64) float64 {
	_, most := l.Slip()
	if l.TensionN > 0 {
		most *= p95 / l.TensionN
	}
	return most
}

// HungBody is a rigid body in its pose.
type HungBody struct {
	Name    string
	Origin  [3]float64
	Rot     [9]float64            // row major: world = Origin + Rot * body
	CG      [3]float64            // world
	Tilt    float64               // rad, body z axis to vertical
	LowSide *float64              // rad, azimuth in the body's own axes of the side that hangs low, from +x toward +y; nil below 0.01 degrees of tilt
	Points  map[string][3]float64 // world, lugs or points
	Forces  map[string][3]float64 // N, from all legs at that lug or point, on the body
}

// HungHook is what a hook carries.
type HungHook struct {
	Name  string
	At    [3]float64
	Force [3]float64 // on the hook
	LoadN float64    // its magnitude
}

// HungNode is a ring or link in place.
type HungNode struct {
	Name  string
	At    [3]float64
	LoadN float64 // greatest force any one side puts on it: half the sum of what pulls
}

// HungSupport is what one-way ground carries.
type HungSupport struct {
	Name  string
	At    [3]float64
	Force [3]float64 // ground on body
	Off   bool       // the point has lifted off
	Grip  float64    // friction used, as a share of what the point can hold; 0 without friction
	SlidM float64    // how far the point moved along the ground since the state before
}

// HungTie is what a tie to ground pulls.
type HungTie struct {
	Name     string
	TensionN float64
}

// Squeeze is the inward push between two points of a body that legs pull
// toward each other; negative when they are pulled apart.
type Squeeze struct {
	Body, A, B string
	ForceN     float64
}
