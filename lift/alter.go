package lift

// Altered says how a lift differs from its plan.
type Altered struct {
	Mass      float64    // factor on the load's mass; 1: as planned
	CG        [3]float64 // m, shift of the load's centre of gravity, load axes
	Lengths   []float64  // m, by which each leg is longer; nil: none is
	Stiffness []float64  // factor on the stiffness of each leg; nil: 1
}

// Alter puts a lift as first rigged that differs from its plan into the model:
// all figures as the file has them but for those. The pose found last stays;
// Rehang goes on from there.
func (r *Rig) Alter(a Altered) {
	r.Set(r.Nominal())
	b := &r.model.Bodies[0]
	b.Mass *= a.Mass
	for k := range a.CG {
		b.CG[k] += a.CG[k]
	}
	for i := range r.Lift.Legs {
		leg, c := &r.Lift.Legs[i], &r.model.Cables[i]
		c.Length = float64(leg.Length.Value)
		if a.Lengths != nil {
			c.Length += a.Lengths[i]
		}
		if leg.Stiffness != nil {
			c.Compliance = 1 / float64(leg.Stiffness.Value)
			if a.Stiffness != nil {
				c.Compliance /= a.Stiffness[i]
			}
		}
	}
}
