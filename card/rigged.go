package card

import (
	"math"
	"slices"

	"plumbhook/fault"
	"plumbhook/lift"
	"plumbhook/quantity"
)

// AsRigged is the plan with every leg longer or shorter by one share, so that
// the hook stands as high over the highest lug as it was measured.
type AsRigged struct {
	PlannedM, MeasuredM float64
	Scale               float64   // of all lengths
	Beyond              []string  // legs that the file does not allow to be so long or short
	Cells               []float64 // N, what each cell of the card must read then
	Angles              []float64 // rad from horizontal, of every leg of the file
}

// asRigged hangs the plan at the measured height of the hook.
func (c *Card) asRigged() error {
	want, plan := c.HookHeight, c.State.Hung.HeadroomM
	if want == 0 {
		return nil
	}
	if !(want > plan/2 && want < 2*plan) {
		return fault.New(fault.Range, "a hook %.3f m over the highest lug is far from the planned %.3f m", want, plan).
			Fix("measure again, legs tight: from the bearing of the hook down to the highest lug")
	}
	hang := func(scale float64) (*lift.Hung, error) {
		l := *c.Plan.Lift
		l.Legs = slices.Clone(l.Legs)
		for i := range l.Legs {
			l.Legs[i].Length.Value *= quantity.Length(scale)
		}
		rig, err := lift.NewRig(&l)
		if err != nil {
			return nil, err
		}
		return rig.Hang()
	}
	miss := func(s float64) (float64, error) {
		h, err := hang(s)
		if err != nil {
			return 0, err
		}
		return h.HeadroomM - want, nil
	}
	// In small steps: a flat bridle comes up or down faster than its legs
	// grow, and can not grow much shorter.
	from, to, step := 1.0, 1.0, (want-plan)/plan/8
	for math.Abs(step) > 1e-9 { // else it stands as planned
		to += step
		m, err := miss(to)
		if err != nil {
			return err
		}
		if m*step >= 0 {
			break
		}
		from = to
	}
	scale, err := root(miss, min(from, to), max(from, to))
	if err != nil {
		return err
	}
	h, err := hang(scale)
	if err != nil {
		return err
	}
	r := &AsRigged{PlannedM: plan, MeasuredM: want, Scale: scale}
	for i := range c.Plan.Lift.Legs {
		leg := &c.Plan.Lift.Legs[i]
		r.Angles = append(r.Angles, h.Legs[i].FromHorizontal)
		n := float64(leg.Length.Value) * scale
		slip := 1e-6 * n // an exact length is exact as far as it was measured
		if n < float64(leg.Length.Low)-slip || n > float64(leg.Length.High)+slip {
			r.Beyond = append(r.Beyond, leg.Name)
		}
	}
	for i := range c.Cells {
		r.Cells = append(r.Cells, c.reading(&c.Cells[i].Expected, h))
	}
	c.AsRigged = r
	return nil
}
