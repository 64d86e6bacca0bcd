package intake

import (
	"cmp"
	"io/fs"
	"slices"

	"plumbhook/fault"
	"plumbhook/metrology"
	"plumbhook/quantity"
)

// calibration reads the file that a channel names: what its cell's certificate
// says.
//
//	calibration: 1
//	serial: LC-1041
//	signal: mV/V
//	points:                      # as on the certificate
//	  - [0.0012 mV/V, 0 kN]
//	  - [0.8034 mV/V, 20 kN]
//	# or: coefficients: [-0.03 kN, 24.9 kN, 0.004 kN]   of the signal's powers 0, 1, 2
func (r *mapReader) calibration(at *node, c *Channel) {
	name, f := insidePath(at.text)
	if f != nil {
		r.adopt(at, f)
		return
	}
	if r.files == nil {
		r.fault(at, fault.Path, "there is no folder to look for %s in", quote(name))
		return
	}
	data, err := fs.ReadFile(r.files, name)
	if err != nil {
		r.faults = append(r.faults, fault.New(fault.Path, "the calibration %s cannot be read", quote(name)).In(at.path).At(at.pos).Because(err))
		return
	}
	inner := reader{file: name}
	cal := inner.readCalibration(data)
	cal.File = name
	r.faults = append(r.faults, inner.faults...)
	if len(inner.faults) > 0 {
		return
	}
	switch {
	case cal.Signal != c.Signal:
		r.fault(at, fault.Disagree, "the channel sends %s, the calibration is of %s", c.Signal, cal.Signal)
	case c.Serial == "":
		r.fault(at, fault.Missing, "the calibration is of cell %s, the channel does not say which it is", quote(cal.Serial)).Fix("serial: %s", cal.Serial)
	case cal.Serial != c.Serial:
		r.fault(at, fault.Disagree, "the calibration is of cell %s, the channel of cell %s", quote(cal.Serial), quote(c.Serial)).
			Fix("read both off the cell")
	}
	c.Calibration = cal
}

// mostPoints bounds a calibration; certificates have ten to forty lines.
const (
	mostPoints = 1000
	mostPowers = 10
)

func (r *reader) readCalibration(data []byte) *Calibration {
	cal := &Calibration{}
	root := r.parse(data)
	if root == nil || !r.keys(root, "a calibration", "calibration", "serial", "signal", "points", "coefficients") {
		return cal
	}
	r.choice(root, "calibration", "write calibration: 1, the version of the file", "1")
	if it := r.text(root, "serial", "write the serial of the cell"); it != nil {
		cal.Serial = it.text
	}
	cal.Signal = r.choice(root, "signal", "write signal: mV/V or signal: counts", "mV/V", "counts")
	points, powers := root.get("points"), root.get("coefficients")
	switch {
	case cal.Signal == "":
	case (points == nil) == (powers == nil):
		r.fault(root, fault.Missing, "a calibration has points or coefficients, one of the two").Fix("copy the points of the certificate")
	case points != nil:
		cal.Points = r.points(points, cal.Signal)
	case !powers.list || len(powers.items) < 2 || len(powers.items) > mostPowers:
		r.fault(powers, fault.Type, "coefficients are a list of 2 to %d forces, that of power 0 first", mostPowers)
	default:
		for _, it := range powers.items {
			cal.Coefficients = append(cal.Coefficients, r.force(it))
		}
	}
	return cal
}

func (r *reader) points(n *node, signal string) (out []CalibrationPoint) {
	if !n.list || len(n.items) < 2 || len(n.items) > mostPoints {
		r.fault(n, fault.Type, "points are a list of 2 to %d pairs of signal and force", mostPoints)
		return nil
	}
	low, high := 0.0, 0.0
	for i, it := range n.items {
		if !it.list || len(it.items) != 2 {
			r.fault(it, fault.Type, "a point is a pair of signal and force").Fix("write [0.8034 %s, 20 kN]", signal)
			continue
		}
		s, err := signalValue(it.items[0].text, signal)
		if err != nil {
			r.adopt(it.items[0], err)
		}
		if i == 0 {
			low, high = s, s
		}
		low, high = min(low, s), max(high, s)
		out = append(out, CalibrationPoint{Signal: s, Force: r.force(it.items[1])})
	}
	if low == high {
		r.fault(n, fault.Range, "all points have the same signal")
	}
	return out
}

// force reads a force, or a mass taken as force at standard gravity; it may be
// zero or less.
func (r *reader) force(n *node) float64 {
	v, err := exact[quantity.Force](n.text)
	if err == nil {
		return v
	}
	if m, massErr := exact[quantity.Mass](n.text); massErr == nil {
		return m * float64(quantity.StandardGravity)
	}
	r.adopt(n, err)
	return 0
}

// Curve turns the signal into force, N, by the points or by the coefficients.
// What the certificate reads without load counts as no force. Points too few to
// tell a bend are joined by a straight line from the lowest to the highest.
func (c *Calibration) Curve() (func(signal float64) float64, error) {
	if len(c.Points) == 0 {
		return metrology.Powers(c.Coefficients).Force, nil
	}
	cert := metrology.Certificate{Unit: c.Signal}
	loaded, zero := 0, 0.0
	for i, p := range c.Points {
		cert.Points = append(cert.Points, metrology.Point{Force: p.Force, Signal: p.Signal, Run: 1})
		switch {
		case p.Force != 0:
			loaded++
		case i == 0:
			zero = p.Signal
		}
	}
	var chain metrology.Chain
	if cert.Degree = min(2, loaded-2); cert.Degree > 0 {
		cal, err := metrology.Calibrate(cert)
		if err != nil {
			return nil, err
		}
		chain = metrology.Chain{Curve: cal.Curve, Zero: zero}
	} else {
		byForce := func(a, b CalibrationPoint) int { return cmp.Compare(a.Force, b.Force) }
		low, high := slices.MinFunc(c.Points, byForce), slices.MaxFunc(c.Points, byForce)
		none := low.Signal - low.Force*(high.Signal-low.Signal)/(high.Force-low.Force)
		curve, err := metrology.Straight(c.Signal, none, high.Signal, high.Force)
		if err != nil {
			return nil, err
		}
		chain.Curve = curve
	}
	return func(signal float64) float64 { return chain.Correct(signal, metrology.Temperature{}).Force }, nil
}
