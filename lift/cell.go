package lift

import (
	"math"

	"plumbhook/statics"
)

// AtCell is the force on the load cell of a leg, N, that pulls with upper on
// what holds its upper end and weighs so many newtons: the pull at the top
// less the weight above the cell.
func (l *Leg) AtCell(upper [3]float64, weight float64) float64 {
	above := 0.0
	if m := float64(l.Mass.Value); m > 0 {
		_, below := l.CellAt()
		above = weight * (m - below) / m
	}
	return math.Hypot(math.Hypot(upper[0], upper[1]), upper[2]+above)
}

// AtCell is the force on the load cell of leg i in the last pose found, N.
func (r *Rig) AtCell(i int) float64 {
	var room [4]statics.Vec
	f := r.solver.Forces(i, nil, room[:0])
	upper := f[0]
	if r.legs[i].flipped {
		upper = f[len(f)-1]
	}
	return r.Lift.Legs[i].AtCell(upper, r.model.Cables[i].Mass*r.model.Gravity)
}

// Zeros says what the rigging alone puts on the load cell of each leg, N, with
// the masses as set; see Empty.
func (r *Rig) Zeros(share float64) ([]float64, error) {
	upper, err := r.Empty(share)
	if err != nil {
		return nil, err
	}
	out := make([]float64, len(upper))
	for i, f := range upper {
		out[i] = r.Lift.Legs[i].AtCell(f, r.model.Cables[i].Mass*r.model.Gravity)
	}
	return out, nil
}
