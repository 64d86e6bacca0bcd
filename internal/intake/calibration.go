package intake

import (
	"cmp"
	"io/fs"
	"slices"

	"plumbhook/fault"
	"plumbhook/keyed"
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
func (r *mapReader) calibration(at *keyed.Node, c *Channel) {
	name, f := insidePath(at.Text)
	if f != nil {
		r.Adopt(at, f)
		return
	}
	if r.files == nil {
		r.Fault(at, fault.Path, "there is no folder to look for %s in", keyed.Quote(name))
		return
	}
	data, err := fs.ReadFile(r.files, name)
	if err != nil {
		r.Faults = append(r.Faults, fault.New(fault.Path, "the calibration %s cannot be read", keyed.Quote(name)).In(at.Path).At(at.Pos).Because(err))
		return
	}
	inner := calibrationReader{keyed.Reader{File: name}}
	cal := inner.readCalibration(data)
	cal.File = name
	r.Faults = append(r.Faults, inner.Faults...)
	if len(inner.Faults) > 0 {
		return
	}
	switch {
	case cal.Signal != c.Signal:
		r.Fault(at, fault.Disagree, "the channel sends %s, the calibration is of %s", c.Signal, cal.Signal)
	case c.Serial == "":
		r.Fault(at, fault.Missing, "the calibration is of cell %s, the channel does not say which it is", keyed.Quote(cal.Serial)).Fix("serial: %s", cal.Serial)
	case cal.Serial != c.Serial:
		r.Fault(at, fault.Disagree, "the calibration is of cell %s, the channel of cell %s", keyed.Quote(cal.Serial), keyed.Quote(c.Serial)).
			Fix("read both off the cell")
	}
	c.Calibration = cal
}

// mostPoints bounds a calibration; certificates have ten to forty lines.
const (
	mostPoints = 1000
	mostPowers = 10
)

type calibrationReader struct{ keyed.Reader }

func (r *calibrationReader) readCalibration(data []byte) *Calibration {
	cal := &Calibration{}
	root := r.Parse(data)
	if root == nil || !r.Keys(root, "a calibration", "calibration", "serial", "signal", "points", "coefficients") {
		return cal
	}
	r.Choice(root, "calibration", "write calibration: 1, the version of the file", "1")
	if it := r.Text(root, "serial", "write the serial of the cell"); it != nil {
		cal.Serial = it.Text
	}
	cal.Signal = r.Choice(root, "signal", "write signal: mV/V or signal: counts", "mV/V", "counts")
	points, powers := root.Get("points"), root.Get("coefficients")
	switch {
	case cal.Signal == "":
	case (points == nil) == (powers == nil):
		r.Fault(root, fault.Missing, "a calibration has points or coefficients, one of the two").Fix("copy the points of the certificate")
	case points != nil:
		cal.Points = r.points(points, cal.Signal)
	case powers.Kind != keyed.List || len(powers.Items) < 2 || len(powers.Items) > mostPowers:
		r.Fault(powers, fault.Type, "coefficients are a list of 2 to %d forces, that of power 0 first", mostPowers)
	default:
		for _, it := range powers.Items {
			cal.Coefficients = append(cal.Coefficients, r.force(it))
		}
	}
	return cal
}

func (r *calibrationReader) points(n *keyed.Node, signal string) (out []CalibrationPoint) {
	if n.Kind != keyed.List || len(n.Items) < 2 || len(n.Items) > mostPoints {
		r.Fault(n, fault.Type, "points are a list of 2 to %d pairs of signal and force", mostPoints)
		return nil
	}
	low, high := 0.0, 0.0
	for i, it := range n.Items {
		if it.Kind != keyed.List || len(it.Items) != 2 {
			r.Fault(it, fault.Type, "a point is a pair of signal and force").Fix("write [0.8034 %s, 20 kN]", signal)
			continue
		}
		s, err := signalValue(it.Items[0].Text, signal)
		if err != nil {
			r.Adopt(it.Items[0], err)
		}
		if i == 0 {
			low, high = s, s
		}
		low, high = min(low, s), max(high, s)
		out = append(out, CalibrationPoint{Signal: s, Force: r.force(it.Items[1])})
	}
	if low == high {
		r.Fault(n, fault.Range, "all points have the same signal")
	}
	return out
}

// force reads a force, or a mass taken as force at standard gravity; it may be
// zero or less.
func (r *calibrationReader) force(n *keyed.Node) float64 {
	v, err := exact[quantity.Force](n.Text)
	if err == nil {
		return v
	}
	if m, massErr := exact[quantity.Mass](n.Text); massErr == nil {
		return m * float64(quantity.StandardGravity)
	}
	r.Adopt(n, err)
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
