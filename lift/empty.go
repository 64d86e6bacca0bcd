package lift

import (
	"plumbhook/fault"
	"plumbhook/quantity"
	"plumbhook/statics"
)

// Empty says what the rigging alone puts on the upper end of each leg, N, as
// a vector on what holds it: everything between hook and load hanging free,
// nothing attached, every leg to the load carrying the given share of its own
// mass. A leg to the load hangs straight down by itself.
//
// It is how a cell zeroed with the rigging hung was loaded when it was
// zeroed.
func (r *Rig) Empty(share float64) ([]statics.Vec, error) {
	bare := *r.Lift
	bare.Steps, bare.Supports, bare.Ties = nil, nil, nil
	bare.Hooks = append([]Hook(nil), r.Lift.Hooks...)
	bare.Nodes = append([]Node(nil), r.Lift.Nodes...)
	bare.Legs = nil
	var of []int // leg of the file behind each leg of the bare rig
	out := make([]statics.Vec, len(r.Lift.Legs))
	for i := range bare.Hooks {
		if bare.Hooks[i].At == nil {
			bare.Hooks[i].At = &quantity.Point{}
		}
	}
	for i := range r.Lift.Legs {
		leg := r.Lift.Legs[i]
		if leg.To.Body == "load" && len(leg.Via) == 0 {
			leg.Mass = quantity.Known(quantity.Mass(share) * leg.Mass.Value)
			if leg.Mass.Value == 0 {
				continue
			}
			// Its lower end is a point of its own now.
			end := "\x00" + leg.Name
			bare.Nodes = append(bare.Nodes, Node{Name: end, Mass: quantity.Known(quantity.Mass(0))})
			leg.To = Ref{Body: end}
		}
		for _, ref := range leg.refs() {
			if ref.Body == "load" {
				return nil, fault.New(fault.Unsupported, "how the rigging hangs without the load is not worked out for a leg over points of the load").
					In("legs." + leg.Name)
			}
		}
		bare.Legs = append(bare.Legs, leg)
		of = append(of, i)
	}
	// The model wants its load: it hangs aside from a hook of its own.
	const aside = "\x00aside"
	far := quantity.Point{X: quantity.Known(quantity.Length(1e3))}
	bare.Hooks = append(bare.Hooks, Hook{Name: aside, At: &far})
	bare.Legs = append(bare.Legs, Leg{
		Name: aside, From: Ref{Body: aside}, To: Ref{Body: "load", Point: bare.Load.Lugs[0].Name},
		Length: quantity.Known(quantity.Length(1)),
	})
	rig, err := NewRig(&bare)
	if err != nil {
		return nil, err
	}
	if res := rig.solver.Hang(); res.Err() != nil {
		return nil, rig.refused("", res)
	}
	for k, i := range of {
		f := rig.solver.Forces(k, nil, nil)
		if r.legs[i].flipped {
			out[i] = f[len(f)-1]
		} else {
			out[i] = f[0]
		}
	}
	return out, nil
}
