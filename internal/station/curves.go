package station

import (
	"encoding/json"

	"plumbhook/fault"
	"plumbhook/internal/intake"
	"plumbhook/logbook"
)

// A recording holds what came off the wire, and beside it the calibrations by
// which that was turned into force: the one gives what the watch went by from
// the other, at any later time and without the channel map. They are noted when
// a watch begins, and again every curvesEvery, since retention takes the oldest
// first.
const (
	curvesMark  = "calibrations"
	curvesEvery = 3600.0 // s
)

// Curves turn the signal of a channel into force, N.
type Curves map[string]func(signal float64) float64

// calibrations are those of the channels of a map; nil has none.
func calibrations(m *intake.Map) map[string]*intake.Calibration {
	out := map[string]*intake.Calibration{}
	if m == nil {
		return out
	}
	for _, c := range m.Channels() {
		if c.Calibration != nil {
			out[c.Name] = c.Calibration
		}
	}
	return out
}

func curves(of map[string]*intake.Calibration) (Curves, error) {
	out := Curves{}
	for channel, c := range of {
		f, err := c.Curve()
		if err != nil {
			return nil, fault.New(fault.Range, "the calibration of channel %s cannot be used", channel).In(c.File).Because(err)
		}
		out[channel] = f
	}
	return out, nil
}

// noteCurves notes the calibrations; the lock is held, or nobody else is there.
func (s *Station) noteCurves() {
	s.curvesAt = s.at
	s.n++
	s.write(&logbook.Entry{N: s.n, At: s.at, Kind: logbook.Mark, Says: curvesMark, Text: string(s.curves)})
}

// CurvesIn reads the curves that an entry of a recording notes; ok is false
// for an entry that notes none.
func CurvesIn(e *logbook.Entry) (_ Curves, ok bool, err error) {
	of, ok, err := noted(e)
	if !ok || err != nil {
		return nil, ok, err
	}
	out, err := curves(of)
	return out, true, err
}

// SignalsIn reads of the same note in what unit the calibrated channels send:
// that of the cell's own signal.
func SignalsIn(e *logbook.Entry) (units map[string]string, ok bool, err error) {
	of, ok, err := noted(e)
	if !ok || err != nil {
		return nil, ok, err
	}
	units = map[string]string{}
	for channel, c := range of {
		units[channel] = c.Signal
	}
	return units, true, nil
}

func noted(e *logbook.Entry) (of map[string]*intake.Calibration, ok bool, err error) {
	if e.Kind != logbook.Mark || e.Says != curvesMark {
		return nil, false, nil
	}
	if err := json.Unmarshal([]byte(e.Text), &of); err != nil {
		return nil, true, fault.New(fault.Syntax, "the calibrations in the recording cannot be read").Because(err)
	}
	return of, true, nil
}
