package lift

import (
	"maps"
	"math"
	"slices"

	"plumbhook/fault"
	"plumbhook/quantity"
)

// After is the lift as it stands after so many of its steps, as if it had been
// rigged so: with no step before, and starting from the pose that it hung in
// then. A tie that is as long as it was in the start pose cannot be taken over;
// the error is a *fault.Fault.
func (l *Lift) After(steps int, pose *Hung) (*Lift, error) {
	out := *l
	out.Steps = nil
	out.Hooks, out.Legs, out.Nodes = slices.Clone(l.Hooks), slices.Clone(l.Legs), slices.Clone(l.Nodes)
	out.Supports, out.Spreaders, out.Ties = slices.Clone(l.Supports), slices.Clone(l.Spreaders), nil
	held := map[string]bool{}
	for i := range l.Ties {
		held[l.Ties[i].Name] = true
	}
	for _, s := range l.Steps[:steps] {
		for i := range out.Hooks {
			if p, ok := s.Hooks[out.Hooks[i].Name]; ok {
				out.Hooks[i].At = &p
			}
		}
		for i := range out.Legs {
			if x, ok := s.Legs[out.Legs[i].Name]; ok {
				out.Legs[i].Length = x
			}
		}
		for i := range out.Supports {
			if x, ok := s.Supports[out.Supports[i].Name]; ok {
				out.Supports[i].Level = x
			}
		}
		maps.Copy(held, s.Ties)
	}
	for _, t := range l.Ties {
		if !held[t.Name] {
			continue
		}
		if t.Length == nil {
			return nil, fault.New(fault.Unsupported, "tie %s is as long as it was in the start pose", t.Name).At(t.Pos).Fix("give its length")
		}
		out.Ties = append(out.Ties, t)
	}
	body := func(name string) *HungBody {
		for i := range pose.Bodies {
			if pose.Bodies[i].Name == name {
				return &pose.Bodies[i]
			}
		}
		return nil
	}
	if b := body("load"); b != nil {
		out.Load.At, out.Load.Turn = known(b.Origin), turned(&b.Rot)
	}
	for i := range out.Spreaders {
		if b := body(out.Spreaders[i].Name); b != nil {
			out.Spreaders[i].At, out.Spreaders[i].Turn = known(b.Origin), turned(&b.Rot)
		}
	}
	for i := range out.Nodes {
		for k := range pose.Nodes {
			if pose.Nodes[k].Name == out.Nodes[i].Name {
				out.Nodes[i].At = known(pose.Nodes[k].At)
			}
		}
	}
	return &out, nil
}

func known(p [3]float64) *quantity.Point {
	at := func(x float64) quantity.Measured[quantity.Length] { return quantity.Known(quantity.Length(x)) }
	return &quantity.Point{X: at(p[0]), Y: at(p[1]), Z: at(p[2])}
}

// turned reads a rotation as turns about the world axes x, then y, then z; with
// the body's x axis plumb, where x and z turn it alike, all of it about x.
func turned(r *[9]float64) *Turn {
	t := &Turn{Y: quantity.Angle(math.Asin(math.Max(-1, math.Min(1, -r[6]))))}
	if math.Hypot(r[0], r[3]) < 1e-9 {
		t.X = quantity.Angle(math.Atan2(-r[5], r[4]))
		return t
	}
	t.X, t.Z = quantity.Angle(math.Atan2(r[7], r[8])), quantity.Angle(math.Atan2(r[3], r[0]))
	return t
}
