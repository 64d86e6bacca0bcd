package statics

// Result is the last solution.
func (s *Solver) Result() *Result { return &s.res }

// Where gives the place of an attachment at the last solved pose.
func (s *Solver) Where(p Point) Vec {
	switch p.On {
	case OnBody:
		q := &s.res.Poses[p.Index]
		return q.At.Add(q.R.Apply(p.At))
	case OnParticle:
		return s.res.Particles[p.Index]
	default:
		return p.At
	}
}

// Forces appends to dst the force that cable i puts on each point of its
// path at the last solved pose, own weight included: half of it at either
// end, or what a catenary's ends carry. With a span tension per span in
// spans (nil: the cable's tension in all) it uses those.
func (s *Solver) Forces(i int, spans []float64, dst []Vec) []Vec {
	c := &s.m.Cables[i]
	n := len(dst)
	w := c.Mass * s.m.Gravity
	if c.Catenary {
		k := &s.cat[i]
		return append(dst,
			Vec{k.pull * k.e[0], k.pull * k.e[1], k.q1 - w},
			Vec{-k.pull * k.e[0], -k.pull * k.e[1], -k.q1})
	}
	for range c.Path {
		dst = append(dst, Vec{})
	}
	f := dst[n:]
	a := s.Where(c.Path[0])
	for j := 1; j < len(c.Path); j++ {
		b := s.Where(c.Path[j])
		d := b.Sub(a)
		t := s.res.Tension[i]
		if spans != nil {
			t = spans[j-1]
		}
		if l := d.Norm(); l > 0 {
			u := d.Scale(t / l)
			f[j-1] = f[j-1].Add(u)
			f[j] = f[j].Sub(u)
		}
		a = b
	}
	f[0][2] -= w / 2
	f[len(f)-1][2] -= w / 2
	return dst
}
