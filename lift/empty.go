package lift

import (
	"slices"

	"plumbhook/fault"
	"plumbhook/quantity"
	"plumbhook/statics"
	"plumbhook/takeoff"
)

// Empty says what the rigging alone puts on the upper end of each leg, N, as
// a vector on what holds it: everything between hook and load hanging free,
// nothing attached, every leg to the load carrying the given share of its own
// mass. A leg to the load hangs straight down by itself, a rope that ran
// under the load hangs by its ends. Masses are those set last.
//
// It is how a cell zeroed with the rigging hung was loaded when it was
// zeroed.
func (r *Rig) Empty(share float64) ([]statics.Vec, error) {
	bare := r.Lift.without(1)
	var of []int // leg of the file behind each leg of the bare rig
	var masses []float64
	for i := range r.Lift.Legs {
		leg := r.Lift.Legs[i]
		reaches := slices.ContainsFunc(leg.refs(), onLoad)
		leg.Via = slices.DeleteFunc(slices.Clone(leg.Via), onLoad)
		if onLoad(leg.From) {
			leg.From, leg.To = leg.To, leg.From
		}
		end := onLoad(leg.To)
		switch {
		case onLoad(leg.From) || end && leg.Mass.Value == 0:
			continue // a lashing on the load, or nothing that weighs
		case end && len(leg.Via) > 0:
			return nil, fault.New(fault.Unsupported, "how the rigging hangs without the load is not worked out for a rope that runs over a point above and ends at the load").
				In("legs." + leg.Name)
		case end:
			free := "\x00" + leg.Name // its lower end is a point of its own now
			bare.Nodes = append(bare.Nodes, Node{Name: free, Mass: quantity.Known(quantity.Mass(0))})
			leg.To, leg.Catenary = Ref{Body: free}, false
		}
		bare.Legs = append(bare.Legs, leg)
		of = append(of, i)
		masses = append(masses, r.model.Cables[i].Mass)
		if reaches {
			masses[len(of)-1] *= share
		}
	}
	for i := range bare.Hooks {
		if bare.Hooks[i].At == nil {
			bare.Hooks[i].At = &quantity.Point{}
		}
	}
	bare.setAside()
	rig, err := NewRig(bare)
	if err != nil {
		return nil, err
	}
	m := &rig.model
	m.Gravity = r.model.Gravity
	for k := range masses {
		m.Cables[k].Mass = masses[k]
	}
	for k := range r.Lift.Nodes {
		m.Particles[k].Mass = r.model.Particles[k].Mass
	}
	for k := range r.Lift.Spreaders {
		m.Bodies[1+k].Mass, m.Bodies[1+k].CG = r.model.Bodies[1+k].Mass, r.model.Bodies[1+k].CG
	}
	if res := rig.solver.Hang(); res.Err() != nil {
		return nil, rig.refused("", res)
	}
	out := make([]statics.Vec, len(r.Lift.Legs))
	for k, i := range of {
		f := rig.solver.Forces(k, nil, nil)
		if rig.legs[k].flipped {
			slices.Reverse(f)
		}
		out[i] = f[0]
	}
	return out, nil
}

// Held hangs the rigging with the load held still where the file has it
// before the lift, and every hook, in the order of the file, on a long rope
// plumb over the place given, at that height: what the legs do while the
// ground still carries. On its rope a hook swings to where its legs pull
// alike to either side, wherever the load's centre of gravity is.
//
// Only Legs, Hooks, Nodes and the spreaders among Bodies say something; the
// load among them is a stand-in that hangs aside.
func (r *Rig) Held(hooks [][3]float64) (*Hung, error) {
	bare := r.Lift.without(r.model.Bodies[0].Mass)
	bare.Hooks = nil
	for i, at := range hooks {
		name := r.Lift.Hooks[i].Name
		bare.Nodes = append(bare.Nodes, Node{Name: name, At: fixedAt(at), Mass: quantity.Known(quantity.Mass(0))})
		at[2] += rope
		bare.Hooks = append(bare.Hooks, Hook{Name: "\x00over " + name, At: fixedAt(at)})
		bare.Legs = append(bare.Legs, Leg{
			Name: name, From: Ref{Body: "\x00over " + name}, To: Ref{Body: name}, Length: quantity.Known(quantity.Length(rope)),
		})
	}
	load := &r.model.Bodies[0].Start
	held := map[string]bool{}
	hold := func(ref Ref) Ref {
		if !onLoad(ref) {
			return ref
		}
		name := "\x00" + ref.Point
		if !held[name] {
			held[name] = true
			at := load.At.Add(load.R.Apply(r.lugAt(0, ref.Point, statics.Vec{})))
			bare.Hooks = append(bare.Hooks, Hook{Name: name, At: fixedAt(at)})
		}
		return Ref{Body: name}
	}
	for i := range r.Lift.Legs {
		leg := r.Lift.Legs[i]
		leg.From, leg.To, leg.Via = hold(leg.From), hold(leg.To), slices.Clone(leg.Via)
		for k := range leg.Via {
			leg.Via[k] = hold(leg.Via[k])
		}
		bare.Legs = append(bare.Legs, leg)
	}
	bare.setAside()
	rig, err := NewRig(bare)
	if err != nil {
		return nil, err
	}
	for i := range r.legs {
		rig.legs[len(hooks)+i].flipped = r.legs[i].flipped
	}
	h, err := rig.Hang()
	if err != nil {
		return nil, err
	}
	h.Lift = r.Lift
	h.Hooks = nil
	for i := range hooks {
		l := &h.Legs[i]
		h.Hooks = append(h.Hooks, HungHook{Name: l.Name, At: l.Path[1], Force: l.Upper, LoadN: l.TensionN})
	}
	h.Legs = h.Legs[len(hooks):][:len(r.Lift.Legs)]
	h.Nodes = h.Nodes[:len(r.Lift.Nodes)]
	return h, nil
}

// rope is the length, m, of the ropes that held hooks hang on: so long that
// half a metre out of plumb pulls aside with half a thousandth of the load.
const rope = 1000

func onLoad(r Ref) bool { return r.Body == "load" }

func fixedAt(at [3]float64) *quantity.Point {
	k := func(x float64) quantity.Measured[quantity.Length] { return quantity.Known(quantity.Length(x)) }
	return &quantity.Point{X: k(at[0]), Y: k(at[1]), Z: k(at[2])}
}

// aside names what the stand-in for the load hangs from.
const aside = "\x00aside"

// without is the lift with a stand-in of so many kilograms in place of its
// load, and no legs yet. Whatever holds bodies from the ground is left out.
func (l *Lift) without(mass float64) *Lift {
	bare := *l
	bare.Steps, bare.Supports, bare.Ties, bare.Legs = nil, nil, nil, nil
	bare.Hooks, bare.Nodes = slices.Clone(l.Hooks), slices.Clone(l.Nodes)
	bare.Load = Load{Name: l.Load.Name, Wet: true, Lugs: []Lug{{Name: aside, At: *fixedAt([3]float64{0, 0, 1})}}}
	bare.Load.Sheet = takeoff.Sheet{Direct: true, Parts: []takeoff.Part{{Name: aside, Mass: quantity.Known(quantity.Mass(mass)), At: *fixedAt([3]float64{})}}}
	return &bare
}

// setAside gives the stand-in a hook and a leg of its own, where it disturbs
// nothing: bodies in the model do not touch.
func (l *Lift) setAside() {
	l.Hooks = append(l.Hooks, Hook{Name: aside, At: l.Hooks[0].At})
	l.Legs = append(l.Legs, Leg{
		Name: aside, From: Ref{Body: aside}, To: Ref{Body: "load", Point: aside}, Length: quantity.Known(quantity.Length(1)),
	})
}
