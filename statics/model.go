package statics

import (
	"fmt"
	"math"
)

// Model is a rig to be hung. Lengths in m, masses in kg, forces in N.
//
// A Solver keeps a pointer to the model it was made for. Numbers in it may
// be changed between solves; what is attached to what may not.
type Model struct {
	Gravity   float64 // m/s²
	Bodies    []Body
	Particles []Particle
	Cables    []Cable
	Supports  []Support
}

// Body is a rigid body. Its origin and axes are its own; the start pose says
// where they are before it is hung.
type Body struct {
	Mass  float64
	CG    Vec // body axes
	Start Pose
}

// Particle is a point with mass, free to move.
type Particle struct {
	Mass  float64
	Start Vec
}

// Pose places a body: world = At + R body.
type Pose struct {
	At Vec
	R  Rot
}

// Place says what a point is fixed to.
type Place int

// A point belongs to the world, to a particle, or to a body.
const (
	World Place = iota
	OnParticle
	OnBody
)

// Point is an attachment. At is in world axes for World, in body axes for
// OnBody, and unused for OnParticle.
type Point struct {
	On    Place
	Index int
	At    Vec
}

// Cable pulls along its path and never pushes.
type Cable struct {
	Path       []Point // two or more; it slides over the inner ones
	Length     float64 // unloaded
	Compliance float64 // m/N, 1/k of the whole cable; 0 is inextensible
	Mass       float64 // lumped half at each end, or spread when Catenary
	Friction   float64 // on the inner points, for Slip
	Catenary   bool    // hangs under its own weight; two points, mass > 0
}

// Support carries a body point from below: its height stays at or above
// Level. With friction the point sticks where it started until the
// horizontal force passes Friction times the vertical one.
type Support struct {
	At       Point
	Level    float64
	Friction float64
}

// check refuses a model that the mathematics does not hold for.
func (m *Model) check() error {
	finite := func(what string, i int, xs ...float64) error {
		for _, x := range xs {
			if math.IsNaN(x) || math.IsInf(x, 0) {
				return fmt.Errorf("statics: %s %d has a number that is not finite", what, i)
			}
		}
		return nil
	}
	point := func(what string, i int, p Point) error {
		if err := finite(what, i, p.At[:]...); err != nil {
			return err
		}
		n := map[Place]int{World: 1, OnParticle: len(m.Particles), OnBody: len(m.Bodies)}[p.On]
		if p.On != World && (p.Index < 0 || p.Index >= n) {
			return fmt.Errorf("statics: %s %d is attached to something that does not exist", what, i)
		}
		return nil
	}
	if err := finite("gravity of model", 0, m.Gravity); err != nil {
		return err
	}
	if m.Gravity <= 0 {
		return fmt.Errorf("statics: gravity must be above zero")
	}
	for i := range m.Bodies {
		b := &m.Bodies[i]
		if err := finite("body", i, b.Mass, b.CG[0], b.CG[1], b.CG[2], b.Start.At[0], b.Start.At[1], b.Start.At[2]); err != nil {
			return err
		}
		if b.Mass < 0 {
			return fmt.Errorf("statics: body %d has a mass below zero", i)
		}
	}
	for i := range m.Particles {
		p := &m.Particles[i]
		if err := finite("particle", i, p.Mass, p.Start[0], p.Start[1], p.Start[2]); err != nil {
			return err
		}
		if p.Mass < 0 {
			return fmt.Errorf("statics: particle %d has a mass below zero", i)
		}
	}
	for i := range m.Cables {
		c := &m.Cables[i]
		if err := finite("cable", i, c.Length, c.Compliance, c.Mass, c.Friction); err != nil {
			return err
		}
		if len(c.Path) < 2 || c.Length < 0 || c.Compliance < 0 || c.Mass < 0 || c.Friction < 0 {
			return fmt.Errorf("statics: cable %d needs two points and no length, compliance, mass or friction below zero", i)
		}
		if c.Catenary && (len(c.Path) != 2 || c.Mass == 0 || c.Length == 0) {
			return fmt.Errorf("statics: cable %d can hang as a catenary only between two points, with a mass and a length", i)
		}
		for _, p := range c.Path {
			if err := point("cable", i, p); err != nil {
				return err
			}
		}
	}
	for i := range m.Supports {
		s := &m.Supports[i]
		if err := finite("support", i, s.Level, s.Friction); err != nil {
			return err
		}
		if s.At.On != OnBody || s.Friction < 0 {
			return fmt.Errorf("statics: support %d must carry a body point and have no friction below zero", i)
		}
		if err := point("support", i, s.At); err != nil {
			return err
		}
	}
	return nil
}

// weight is everything that hangs.
func (m *Model) weight() float64 {
	w := 0.0
	for i := range m.Bodies {
		w += m.Bodies[i].Mass
	}
	for i := range m.Particles {
		w += m.Particles[i].Mass
	}
	for i := range m.Cables {
		w += m.Cables[i].Mass
	}
	return w * m.Gravity
}
