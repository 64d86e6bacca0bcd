package validation

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"plumbhook/lift"
	"plumbhook/statics"
)

const (
	pound = 0.45359237    // kg, exact
	g0    = 9.80665       // m/s², standard gravity
	lbf   = pound * g0    // N
	tonf  = 1000 * g0     // N, weight of a tonne
	deg   = math.Pi / 180 // rad
)

// put is Sprintf for lift files: numbers keep every figure.
func put(format string, args ...any) string {
	for i, a := range args {
		if v, ok := a.(float64); ok {
			args[i] = fmt.Sprintf("%.17g", v)
		}
		if v, ok := a.([3]float64); ok {
			args[i] = put("%v %v %v", v[0], v[1], v[2])
		}
	}
	return fmt.Sprintf(format, args...)
}

// hangFile takes a lift file the whole way.
func hangFile(t testing.TB, text string) *lift.Hung {
	t.Helper()
	h, err := tryFile(t, text)
	if err != nil {
		t.Fatalf("%v\n%s", err, text)
	}
	return h
}

func tryFile(t testing.TB, text string) (*lift.Hung, error) {
	t.Helper()
	l, err := lift.Read("problem.yaml", nil, []byte(text))
	if err != nil {
		t.Fatalf("%v\n%s", err, text)
	}
	r, err := lift.NewRig(l)
	if err != nil {
		t.Fatalf("%v\n%s", err, text)
	}
	return r.Hang()
}

// drawing is a load on straight legs as a problem draws it.
type drawing struct {
	unit      string       // of all lengths
	mass      string       // of the load, at cg; or parts
	cg        [3]float64   //
	parts     []string     // lines of a take-off
	g         float64      // m/s²; 0 is standard
	lugs      [][3]float64 // in load axes
	hooks     [][3]float64 // in the world: one for all legs, or one for each
	lengths   []float64    // nil: as drawn
	stiffness string       // of each leg; empty: it does not stretch
	turn      float64      // rad about y, start pose
}

// text is the drawing as a lift file.
func (d drawing) text() string {
	var b strings.Builder
	b.WriteString("plumbhook: 1\n")
	if d.g != 0 {
		b.WriteString(put("site: {g: %v m/s2}\n", d.g))
	}
	b.WriteString("load:\n")
	if d.parts == nil {
		b.WriteString(put("  mass: %v\n  cg: %v %v\n", d.mass, d.cg, d.unit))
	} else {
		b.WriteString("  parts:\n  - " + strings.Join(d.parts, "\n  - ") + "\n")
	}
	b.WriteString(put("  turn: %v rad about y\n  lugs:\n", d.turn))
	for i, p := range d.lugs {
		b.WriteString(put("    lug%d: {at: %v %v}\n", i, p, d.unit))
	}
	b.WriteString("hooks:\n")
	for i, p := range d.hooks {
		b.WriteString(put("  hook%d: {at: %v %v}\n", i, p, d.unit))
	}
	b.WriteString("legs:\n")
	for i := range d.lugs {
		hook := min(i, len(d.hooks)-1)
		length := d.drawn(i)
		if d.lengths != nil {
			length = d.lengths[i]
		}
		b.WriteString(put("  leg%d: {from: hook%d, to: load.lug%d, length: %v %v", i, hook, i, length, d.unit))
		if d.stiffness != "" {
			b.WriteString(", stiffness: " + d.stiffness)
		}
		b.WriteString("}\n")
	}
	return b.String()
}

// drawn is the distance from hook to lug of a leg in the start pose.
func (d drawing) drawn(i int) float64 {
	turn := statics.Exp(statics.Vec{0, d.turn, 0})
	return turn.Apply(d.lugs[i]).Sub(d.hooks[min(i, len(d.hooks)-1)]).Norm()
}

// plumb gives every lug a hook straight above it in the start pose.
func (d drawing) plumb(height float64) drawing {
	turn := statics.Exp(statics.Vec{0, d.turn, 0})
	for _, l := range d.lugs {
		d.hooks = append(d.hooks, turn.Apply(l).Add(statics.Vec{0, 0, height}))
	}
	return d
}

func (d drawing) hang(t testing.TB) *lift.Hung {
	t.Helper()
	return hangFile(t, d.text())
}

// tensions are those of the legs in a unit of force.
func tensions(h *lift.Hung, unit float64) []float64 {
	var t []float64
	for i := range h.Legs {
		t = append(t, h.Legs[i].TensionN/unit)
	}
	return t
}

// net is a rig of particles and cables in the units of a problem: forces come
// out in the unit of the weights.
type net struct {
	statics.Model
}

func newNet() *net { return &net{statics.Model{Gravity: 1}} }

func world(v statics.Vec) statics.Point { return statics.Point{On: statics.World, At: v} }

// node adds a particle.
func (n *net) node(weight float64, at statics.Vec) statics.Point {
	n.Particles = append(n.Particles, statics.Particle{Mass: weight, Start: at})
	return statics.Point{On: statics.OnParticle, Index: len(n.Particles) - 1}
}

// cable runs straight from point to point, as drawn, and does not stretch.
func (n *net) cable(path ...statics.Point) *statics.Cable {
	c := statics.Cable{Path: path}
	place := func(p statics.Point) statics.Vec {
		if p.On == statics.OnParticle {
			return n.Particles[p.Index].Start
		}
		return p.At
	}
	for k := 1; k < len(path); k++ {
		c.Length += place(path[k]).Sub(place(path[k-1])).Norm()
	}
	n.Cables = append(n.Cables, c)
	return &n.Cables[len(n.Cables)-1]
}

// hang starts from a place that is not the answer, so that the answer has to
// be found.
func (n *net) hang(t testing.TB) *statics.Solver {
	t.Helper()
	for i := range n.Particles {
		n.Particles[i].Start = n.Particles[i].Start.Add(statics.Vec{0.1, -0.07, -0.2})
	}
	s, err := statics.NewSolver(&n.Model)
	if err != nil {
		t.Fatal(err)
	}
	if err := s.Hang().Err(); err != nil {
		t.Fatal(err)
	}
	return s
}

// cords hangs a weight at the origin on straight cords, each 3 long, toward
// the directions.
func cords(weight float64, directions ...statics.Vec) *net {
	n := newNet()
	at := n.node(weight, statics.Vec{})
	for _, d := range directions {
		n.cable(world(d.Scale(3/d.Norm())), at)
	}
	return n
}

// root finds where a rising f is zero, by halving.
func root(f func(float64) float64, low, high float64) float64 {
	for range 48 {
		if mid := (low + high) / 2; f(mid) < 0 {
			low = mid
		} else {
			high = mid
		}
	}
	return (low + high) / 2
}
