package size

import (
	"math"

	"plumbhook/lift"
)

// Heights hangs a lift level under hooks at several heights above its highest
// lug, m: the legs that lean get the lengths it takes. A height that no lengths
// give is left out. The lift as planned stands in front, at its own height.
func Heights(l *lift.Lift, heights func(planned *lift.Hung) []float64) (planned *lift.Hung, rigs []*lift.Hung, err error) {
	w, err := open(l, Goal{}, Margin{}, nil, slanted)
	if err != nil {
		return nil, nil, err
	}
	_, planned, err = w.rig(w.lengths())
	if err != nil {
		return nil, nil, err
	}
	x := w.lengths()
	for _, height := range heights(planned) {
		w.under = &height
		x = w.solve(x)
		_, h, err := w.rig(x)
		if err != nil || math.Abs(h.HeadroomM-height) > 10*millimetre {
			x = w.lengths()
			continue
		}
		rigs = append(rigs, h)
	}
	return planned, rigs, nil
}
