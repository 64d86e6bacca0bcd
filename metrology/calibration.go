package metrology

import (
	"math"
	"slices"

	"plumbhook/fault"
)

// A Point is one line of a calibration certificate.
type Point struct {
	Force    float64 // applied, N; 0 is a zero reading
	Signal   float64 // what the cell sent, in the certificate's unit
	Run      int     // series of readings, any number; one run goes up once and perhaps down again
	Position int     // how the cell was turned about its axis: equal numbers, equal mounting
	Falling  bool    // taken on the way down
}

// A Certificate is what a calibration laboratory states about one cell.
type Certificate struct {
	Unit   string  // of the signal
	Points []Point // each run in the order it was taken
	Degree int     // of the curve: 1, 2 or 3

	// ForceU is the standard uncertainty of the applied forces, as a share of
	// the force, zero if the certificate states none. Machine names what
	// applied them: cells calibrated on one machine have its error in common.
	ForceU  float64
	Machine string
	// Resolution is the step of the indicator, in the unit of the signal;
	// zero if the certificate states none.
	Resolution float64
}

// A Step holds what the runs of a certificate show at one force, rising
// unless it says otherwise. Deflections are signals with the zero reading at
// the start of their run taken off. Errors are shares of the deflection; nil
// means that the certificate has not the readings that would tell.
type Step struct {
	Force      float64 // N
	Deflection float64 // mean over the positions, one run each
	Curve      float64 // deflection by the curve
	// Interpolation is f_c, (mean - curve)/curve.
	Interpolation float64
	// Repeatability is b', the difference between two runs in one position
	// over their mean.
	Repeatability *float64
	// Reproducibility is b, the largest less the smallest of three or more
	// positions over their mean.
	Reproducibility *float64
	// Reversibility is v, |falling - rising| over rising, mean over the runs
	// that went both ways.
	Reversibility *float64
}

// A Calibration is a certificate worked out: the curve, how good it is, and
// what its readings show. Its rules for b, b', f_c, f_0 and v are those of
// ISO 376:2011, from memory.
type Calibration struct {
	Certificate
	Curve Curve
	Fit   *Fit // deflection over force, of all rising readings above zero
	Steps []Step
	// ZeroError is f_0, the largest change of zero over a run as a share of
	// the largest deflection; nil if no run ends with a zero reading.
	ZeroError *float64
}

// Calibrate works out a certificate. Forces must not be negative: a cell in
// a leg is pulled. Either every run begins with a zero reading, which is then
// taken off its readings, or none has one and the signals are deflections
// already. The curve is fitted to the rising readings above zero; falling ones
// tell the reversibility. The error is a *fault.Fault: a certificate that is
// too thin for the degree, or a curve that turns back.
func Calibrate(c Certificate) (*Calibration, error) {
	runs, err := c.runs()
	if err != nil {
		return nil, err
	}
	var x, y []float64
	for _, r := range runs {
		for _, p := range r.points {
			if !p.Falling {
				x, y = append(x, p.Force), append(y, p.Signal)
			}
		}
	}
	fit, err := FitPolynomial(x, y, c.Degree)
	if err != nil {
		return nil, err
	}
	curve, err := newCurve(c.Unit, fit.poly, slices.Min(x), slices.Max(x))
	if err != nil {
		return nil, err
	}
	k := &Calibration{Certificate: c, Curve: curve, Fit: fit, ZeroError: zeroError(runs)}
	slices.Sort(x)
	for _, force := range slices.Compact(x) {
		k.Steps = append(k.Steps, step(&curve, runs, force))
	}
	return k, nil
}

// run is one series, its zero taken off.
type run struct {
	number, position int
	points           []Point  // above zero force
	zeroReturn       *float64 // last zero less first, in the unit of the signal
}

// runs sorts the points into their series.
func (c *Certificate) runs() ([]run, error) {
	if !(c.ForceU >= 0) || !(c.Resolution >= 0) || !finite(c.ForceU) || !finite(c.Resolution) {
		return nil, fault.New(fault.Range, "an uncertainty of the forces of %g and a resolution of %g", c.ForceU, c.Resolution).
			Fix("neither is negative")
	}
	var order []int
	series := map[int][]Point{}
	for i, p := range c.Points {
		switch {
		case !finite(p.Force) || !finite(p.Signal):
			return nil, fault.New(fault.Range, "point %d is not a number", i+1)
		case p.Force < 0:
			return nil, fault.New(fault.Range, "point %d has a force of %g N", i+1, p.Force).Fix("write pulls as positive forces")
		}
		if series[p.Run] == nil {
			order = append(order, p.Run)
		}
		series[p.Run] = append(series[p.Run], p)
	}
	var runs []run
	zeroed := 0
	for _, number := range order {
		points := series[number]
		r := run{number: number, position: points[0].Position}
		zero, loaded := 0.0, false
		for i, p := range points {
			if p.Position != r.position {
				return nil, fault.New(fault.Disagree, "run %d was taken in positions %d and %d", number, r.position, p.Position).
					Fix("give each position a run of its own")
			}
			switch {
			case p.Force > 0:
				loaded = true
				p.Signal -= zero
				r.points = append(r.points, p)
			case i == 0:
				zero = p.Signal
				zeroed++
			case loaded:
				change := p.Signal - zero
				r.zeroReturn = &change
			}
		}
		if len(r.points) > 0 && points[0].Force > 0 && slices.ContainsFunc(points, func(p Point) bool { return p.Force == 0 }) {
			return nil, fault.New(fault.Missing, "run %d has a zero reading, but not at its start", number).
				Fix("put the zero before loading first, or leave zeros out if the readings are deflections")
		}
		runs = append(runs, r)
	}
	if zeroed > 0 && zeroed < len(runs) {
		return nil, fault.New(fault.Disagree, "%d of %d runs have a zero reading", zeroed, len(runs)).
			Fix("give the zero of every run, or of none if the readings are deflections")
	}
	return runs, nil
}

// zeroError is f_0 = (zero after - zero before)/largest deflection, the worst
// of the runs.
func zeroError(runs []run) *float64 {
	var worst *float64
	largest := 0.0
	for _, r := range runs {
		for _, p := range r.points {
			largest = max(largest, math.Abs(p.Signal))
		}
		if z := r.zeroReturn; z != nil && (worst == nil || math.Abs(*z) > math.Abs(*worst)) {
			worst = z
		}
	}
	if worst == nil {
		return nil
	}
	return new(*worst / largest)
}

// step holds the runs against each other and against the curve at one force.
func step(c *Curve, runs []run, force float64) Step {
	s := Step{Force: force, Curve: c.Signal(force)}
	byPosition := map[int][]float64{}
	var order []int
	var reversals []float64
	for _, r := range runs {
		up, down := math.NaN(), math.NaN()
		for _, p := range r.points {
			switch {
			case p.Force != force:
			case p.Falling:
				down = p.Signal
			default:
				up = p.Signal
				if byPosition[r.position] == nil {
					order = append(order, r.position)
				}
				byPosition[r.position] = append(byPosition[r.position], p.Signal)
			}
		}
		if v := math.Abs((down - up) / up); finite(v) {
			reversals = append(reversals, v)
		}
	}
	var firsts []float64 // the first run of each position
	for _, position := range order {
		same := byPosition[position]
		firsts = append(firsts, same[0])
		if len(same) > 1 {
			b := spread(same)
			if s.Repeatability == nil || b > *s.Repeatability {
				s.Repeatability = &b
			}
		}
	}
	s.Deflection = mean(firsts)
	s.Interpolation = (s.Deflection - s.Curve) / s.Curve
	if len(firsts) >= 3 {
		s.Reproducibility = new(spread(firsts))
	}
	if len(reversals) > 0 {
		s.Reversibility = new(mean(reversals))
	}
	return s
}

// spread is the largest less the smallest, over the mean.
func spread(v []float64) float64 {
	return (slices.Max(v) - slices.Min(v)) / math.Abs(mean(v))
}

func mean(v []float64) float64 {
	sum := 0.0
	for _, x := range v {
		sum += x
	}
	return sum / float64(len(v))
}

// Budget is the uncertainty of one reading of the cell at a force in N, as it
// stood at calibration. What comes after (temperature, drift, the field's own
// zero) is for the caller to append.
//
//   - the applied forces, in common with every cell of that machine;
//   - curve and scatter: √(s² + v'Cv)/slope, a new reading about the fitted
//     curve, with the degrees of freedom of the fit;
//   - one step of the indicator;
//   - the way down: the largest |falling - rising| of the certificate as a
//     hard limit, since nobody knows from which side a reading was come to;
//   - the zero: the largest change over a run as a hard limit.
//
// With it comes what is not in it because the certificate does not show it:
// while that list is not empty the uncertainty is "at least".
func (c *Calibration) Budget(force float64) (Budget, []string) {
	perN := math.Abs(1 / c.Curve.Slope(force))
	_, curve := c.Fit.At(min(max(force, c.Curve.Low), c.Curve.High))
	b := Budget{TypeA("calibration curve and scatter", math.Hypot(c.Fit.SD, curve), 1, c.Fit.DoF).Times(perN)}
	var missing []string
	if c.ForceU == 0 {
		missing = append(missing, "forces of the calibration machine")
	} else {
		b = append(b, Normal("forces of the calibration machine", math.Abs(force)*c.ForceU, 1).SharedBy(c.Machine))
	}
	if c.Resolution == 0 {
		missing = append(missing, "resolution")
	} else {
		b = append(b, Digital("resolution", c.Resolution).Times(perN))
	}
	reversal := math.NaN()
	for _, s := range c.Steps {
		if s.Reversibility != nil && !(*s.Reversibility*s.Force <= reversal) {
			reversal = *s.Reversibility * s.Force
		}
	}
	if math.IsNaN(reversal) {
		missing = append(missing, "reversibility")
	} else {
		b = append(b, Rectangular("reversibility", reversal))
	}
	if c.ZeroError == nil {
		missing = append(missing, "zero return")
	} else {
		b = append(b, Rectangular("zero return", math.Abs(*c.ZeroError)*c.Curve.High))
	}
	return b, missing
}
