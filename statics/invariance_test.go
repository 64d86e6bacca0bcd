package statics

import (
	"math"
	"math/rand/v2"
	"testing"
)

// mapped is a rig moved, turned, mirrored, scaled or reordered, and how its
// answer must relate to that of the first.
type mapped struct {
	name   string
	model  *Model
	vec    func(Vec) Vec // of places
	force  float64       // tensions times this
	bodies []int         // index of the first rig's body i in the new one
	cables []int
}

func copyModel(m *Model) *Model {
	c := *m
	c.Bodies = append([]Body(nil), m.Bodies...)
	c.Particles = append([]Particle(nil), m.Particles...)
	c.Cables = append([]Cable(nil), m.Cables...)
	for i := range c.Cables {
		c.Cables[i].Path = append([]Point(nil), m.Cables[i].Path...)
	}
	c.Supports = append([]Support(nil), m.Supports...)
	return &c
}

func order(n int) []int {
	o := make([]int, n)
	for i := range o {
		o[i] = i
	}
	return o
}

// transform applies a place map to world places and, where it is a mirror, to
// body axes as well.
func transform(m *Model, world, inside func(Vec) Vec, turn Rot, length, force float64) *Model {
	c := copyModel(m)
	c.Gravity *= force
	pt := func(p *Point) {
		switch p.On {
		case World:
			p.At = world(p.At)
		case OnBody:
			p.At = inside(p.At)
		}
	}
	for i := range c.Bodies {
		b := &c.Bodies[i]
		b.CG = inside(b.CG)
		b.Start = Pose{world(b.Start.At), turn.Mul(&b.Start.R)}
	}
	for i := range c.Particles {
		c.Particles[i].Start = world(c.Particles[i].Start)
	}
	for i := range c.Cables {
		k := &c.Cables[i]
		for j := range k.Path {
			pt(&k.Path[j])
		}
		k.Length *= length
		k.Compliance *= length / force
	}
	for i := range c.Supports {
		s := &c.Supports[i]
		pt(&s.At)
		s.Level = world(Vec{0, 0, s.Level})[2]
	}
	return c
}

// TestInvariance asks that nothing but the physics matters: not where north
// is, not left and right, not the unit, not the order of the list. Rigs that
// turn over are left out: which way they fall is not theirs to keep.
func TestInvariance(t *testing.T) {
	same := func(v Vec) Vec { return v }
	tried := 0
	for seed := range uint64(400) {
		rng := rand.New(rand.NewPCG(seed, 3))
		m := net(rng, "pvc")
		s, err := NewSolver(m)
		if err != nil {
			t.Fatal(err)
		}
		r := s.Hang()
		if r.Err() != nil || !r.Stable {
			continue
		}
		tried++
		q := Exp(Vec{0, 0, 1.1})
		spin := q.Apply
		mirror := func(v Vec) Vec { return Vec{-v[0], v[1], v[2]} }
		grow := func(v Vec) Vec { return v.Scale(3.2808398950131) }
		move := func(v Vec) Vec { return v.Add(Vec{5, -7, 2}) }
		re := copyModel(m)
		bo, co := rng.Perm(len(m.Bodies)), rng.Perm(len(m.Cables))
		for i, j := range bo {
			re.Bodies[j] = m.Bodies[i]
		}
		for i, j := range co {
			k := m.Cables[i]
			k.Path = append([]Point(nil), k.Path...)
			for p := range k.Path {
				if k.Path[p].On == OnBody {
					k.Path[p].Index = bo[k.Path[p].Index]
				}
			}
			re.Cables[j] = k
		}
		ob, oc := order(len(m.Bodies)), order(len(m.Cables))
		for _, c := range []mapped{
			{"turned about z", transform(m, spin, same, q, 1, 1), spin, 1, ob, oc},
			{"mirrored", transform(m, mirror, mirror, Identity, 1, 1), mirror, 1, ob, oc},
			{"in feet", transform(m, grow, grow, Identity, 3.2808398950131, 1), grow, 1, ob, oc},
			{"with other forces", transform(m, same, same, Identity, 1, 4.4482216152605), same, 4.4482216152605, ob, oc},
			{"moved", transform(m, move, same, Identity, 1, 1), move, 1, ob, oc},
			{"reordered", re, same, 1, bo, co},
		} {
			s2, err := NewSolver(c.model)
			if err != nil {
				t.Fatal(err)
			}
			r2 := s2.Hang()
			if r2.Err() != nil {
				t.Errorf("seed %d %s: %v", seed, c.name, r2.Err())
				continue
			}
			tol := 1e-7 * s.total // stiff loops amplify rounding of the places
			for i, tn := range r.Tension {
				if d := math.Abs(r2.Tension[c.cables[i]] - tn*c.force); d > tol*c.force {
					t.Errorf("seed %d %s: tension %d is %.12g, was %.12g (off by %.2g of the weight)", seed, c.name, i, r2.Tension[c.cables[i]], tn*c.force, d/s.total)
				}
			}
			if r.Free > 0 || r2.Stable != r.Stable {
				if r2.Stable != r.Stable {
					t.Errorf("seed %d %s: stable %v, was %v", seed, c.name, r2.Stable, r.Stable)
				}
				continue // spins freely: only the forces are comparable
			}
			for i := range r.Poses {
				if d := r2.Poses[c.bodies[i]].At.Sub(c.vec(r.Poses[i].At)).Norm(); d > 1e-6*s.size {
					t.Errorf("seed %d %s: body %d is %.2g m away", seed, c.name, i, d)
				}
			}
		}
	}
	t.Logf("%d rigs", tried)
	if tried < 50 {
		t.Errorf("only %d stable rigs to compare", tried)
	}
}
