package crane

import (
	"fmt"
	"math"

	"plumbhook/fault"
	"plumbhook/quantity"
)

// Sail is what a load offers to the wind. Cw, the drag coefficient, has no
// default: it lies between a third and more than two with the shape.
type Sail struct {
	Area quantity.Area
	Cw   float64
	From string // who claims the two
	Mass quantity.Mass
}

// Reference is the load that a chart's wind speed was found for: an area for
// each tonne and a drag coefficient.
type Reference struct {
	PerTonne float64 // m²/t
	Cw       float64
	From     string
}

// Side is the largest area that an upright box of length, width and height
// offers to a level wind from any side: its height times the diagonal of its
// plan.
func Side(length, width, height quantity.Length) quantity.Area {
	return quantity.Area(math.Hypot(float64(length), float64(width)) * float64(height))
}

// WindPressure is the dynamic pressure of a wind in Pa: q = v²/1.6, the half
// of an air density of 1.25 kg/m³ (wind calculation sheet of an erection plan).
func WindPressure(v quantity.Speed) quantity.Pressure {
	return quantity.Pressure(float64(v) * float64(v) / 1.6)
}

// WindForce is the drag on a load: F = cw q A.
func WindForce(v quantity.Speed, s Sail) quantity.Force {
	return quantity.Force(s.Cw * float64(WindPressure(v)) * float64(s.Area))
}

// WindLimit is a wind speed that one rule allows.
type WindLimit struct {
	Speed    quantity.Speed
	How      string
	Source   string
	Standing Standing
}

// Derated lowers a chart's wind speed for a load larger than the chart's
// reference, so that the wind force stays what it was:
//
//	v = v_chart √(A_ref cw_ref/(A cw)),   A_ref = area per tonne × mass
//
// A smaller load does not raise it.
func Derated(chart quantity.Speed, s Sail, ref Reference) WindLimit {
	return WindLimit{
		Speed:    derated(chart, ref.PerTonne*float64(s.Mass)/tonne*ref.Cw, s),
		How:      fmt.Sprintf("v × √(A_ref cw_ref/(A cw)), reference %g m²/t with cw %g, says %s", ref.PerTonne, ref.Cw, ref.From),
		Source:   "wind calculation sheet of a refinery erection plan",
		Standing: Read,
	}
}

// general is the reference that FEM 5.016 and EN 13000 are remembered to take,
// m² of area times cw for each tonne.
const general = 1.2

// DeratedGeneral is Derated for a chart that does not state its reference:
//
//	v = v_chart √(1.2 m²/t × mass/(A cw))
func DeratedGeneral(chart quantity.Speed, s Sail) WindLimit {
	return WindLimit{
		Speed:    derated(chart, general*float64(s.Mass)/tonne, s),
		How:      "v × √(1.2 m²/t × mass/(A cw))",
		Source:   "FEM 5.016; EN 13000",
		Standing: FromMemory,
	}
}

func derated(chart quantity.Speed, ref float64, s Sail) quantity.Speed {
	return chart * quantity.Speed(min(1, math.Sqrt(ref/(float64(s.Area)*s.Cw))))
}

// Wind is the wind that a load allows on a machine.
type Wind struct {
	Limits  []WindLimit // each that could be found
	Least   WindLimit
	ForceN  float64 // on the load at the chart's wind speed
	Planned *quantity.Speed
	Status  Status

	NotAssessed []string
	Findings    []Finding
}

// InWind gives the wind speed for a load: the least of what the rules leave of
// the chart's, and whether the planned wind (nil: not stated) stays within it.
// ref is nil for a chart that does not state its reference load. The error is
// a *fault.Fault.
func InWind(where string, chart quantity.Speed, s Sail, ref *Reference, planned *quantity.Speed) (Wind, error) {
	w := Wind{Planned: planned, Status: NotAssessed}
	bad := func(what, do string) (Wind, error) {
		return w, fault.New(fault.Range, "%s", what).In(where).Fix("%s", do)
	}
	switch {
	case !finite(float64(chart)) || chart == 0:
		return bad("the wind speed of the chart is above zero", "take it from the chart")
	case !finite(float64(s.Area)) || s.Area == 0 || !finite(s.Cw) || s.Cw == 0 || !finite(float64(s.Mass)) || s.Mass == 0:
		return bad("a load in the wind has area, drag coefficient and mass above zero", "state all three")
	case ref != nil && (!finite(ref.PerTonne) || ref.PerTonne == 0 || !finite(ref.Cw) || ref.Cw == 0):
		return bad("the chart's reference load has area and drag coefficient above zero", "state both, or neither")
	case planned != nil && !finite(float64(*planned)):
		return bad("a planned wind speed is not below zero", "check it")
	}
	w.Limits = append(w.Limits, DeratedGeneral(chart, s))
	if ref != nil {
		w.Limits = append(w.Limits, Derated(chart, s, *ref))
	}
	w.Least = w.Limits[0]
	for _, l := range w.Limits[1:] {
		// The one that was read speaks for both when they agree.
		if l.Speed <= w.Least.Speed {
			w.Least = l
		}
	}
	w.ForceN = float64(WindForce(chart, s))
	head := rule{"wind-speed", w.Least.Source, w.Least.Standing}
	if w.Least.Speed < chart {
		w.Findings = append(w.Findings, head.find(Caution, where, "the load is large for its weight: the chart's %s comes down to %s (%s)",
			speed(chart), speed(w.Least.Speed), w.Least.How).against(float64(chart), float64(w.Least.Speed), "m/s"))
	}
	if s.From == "" {
		w.NotAssessed = append(w.NotAssessed, "area and drag coefficient of the load: nobody stands behind them")
	}
	switch {
	case planned == nil:
		w.NotAssessed = append(w.NotAssessed, "planned wind speed: not stated")
	case *planned > w.Least.Speed:
		w.Status = Fails
		w.Findings = append(w.Findings, head.find(Stop, where, "the plan allows %s of wind, and this load on this machine no more than %s",
			speed(*planned), speed(w.Least.Speed)).against(float64(*planned), float64(w.Least.Speed), "m/s"))
	case len(w.NotAssessed) == 0:
		w.Status = Holds
	}
	gust := rule{"wind-measured", "EN 13000; FEM 5.016", FromMemory}
	w.Findings = append(w.Findings, gust.find(Note, where,
		"a chart's wind is a 3 s gust at the boom tip; a forecast is for 10 m above ground over 10 minutes, which is a smaller number for the same wind"))
	return w, nil
}

func speed(v quantity.Speed) string { return quantity.Known(v).Format("m/s") }
