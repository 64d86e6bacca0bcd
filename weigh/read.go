package weigh

import (
	"cmp"
	"crypto/sha256"
	_ "embed"
	"encoding/hex"
	"io/fs"
	"math"
	"regexp"
	"strings"
	"sync"

	"plumbhook/fault"
	"plumbhook/gear"
	"plumbhook/keyed"
	"plumbhook/metrology"
	"plumbhook/quantity"
)

// Bounds of a survey.
const (
	mostCells      = 8
	mostPoints     = 64
	mostPlacements = 50
	mostRuns       = 100
)

// Read reads a survey file. name is used in messages only; files is its folder,
// where it finds certificates, nil where there is none. The error is a
// fault.List of every mistake, in the order of the file; the survey is nil then.
func Read(name string, files fs.FS, data []byte) (*Survey, error) {
	sum := sha256.Sum256(data)
	r := &reader{
		Reader: keyed.Reader{File: name}, files: files,
		s: &Survey{File: name, SHA256: hex.EncodeToString(sum[:])}, points: map[string]int{}, cells: map[string]int{},
	}
	root := r.Parse(data)
	if root == nil || !r.Keys(root, "a survey", Shape().Names("")...) {
		return nil, r.Err()
	}
	r.survey(root)
	if err := r.Err(); err != nil {
		return nil, err
	}
	return r.s, nil
}

type reader struct {
	keyed.Reader
	files         fs.FS
	s             *Survey
	points, cells map[string]int
	temperature   *quantity.Measured[quantity.Temperature]
}

//go:embed keys.csv
var keysCSV string

// Shape is what a survey file may hold.
func Shape() *keyed.Shape { return shape() }

var shape = sync.OnceValue(func() *keyed.Shape { return keyed.NewShape(keysCSV) })

func (r *reader) survey(root *keyed.Node) {
	s := r.s
	r.Choice(root, "plumbhook-survey", "write plumbhook-survey: 1, the version of the file", "1")
	s.Title, s.Revision = r.Plain(root, "title", ""), r.Plain(root, "revision", "")
	s.Object = r.Plain(root, "object", "write object: what was weighed")
	s.Date = r.Date(root, "date", "write date: the day it was weighed, as 2026-11-20")
	r.site(root)
	if n := root.Get("air"); n != nil && r.Keys(n, "air", "density", "object") {
		d, o := r.Text(n, "density", "write density: of the air, as 1.2 kg/m3 ± 0.05 kg/m3"), r.Text(n, "object", "write object: density of the object, as 7000..7900 kg/m3")
		if d != nil && o != nil {
			s.Air = &Air{keyed.Measured[quantity.Density](&r.Reader, d), keyed.Measured[quantity.Density](&r.Reader, o)}
			if !(s.Air.Object.Low > 10*s.Air.Density.High) && len(r.Faults) == 0 {
				r.Fault(o, fault.Range, "an object so light floats rather than weighs").Fix("look at both densities")
			}
		}
	}
	if n := r.Text(root, "declared", ""); n != nil {
		m := keyed.Measured[quantity.Mass](&r.Reader, n)
		s.Declared = &m
	}
	if n := r.Text(root, "cg_height", ""); n != nil {
		m := keyed.Measured[quantity.Length](&r.Reader, n)
		s.CGHeight = &m
	}
	if n := r.Text(root, "height_wanted", ""); n != nil {
		s.HeightWanted = keyed.Exact[quantity.Length](&r.Reader, n)
		if s.HeightWanted <= 0 {
			r.Fault(n, fault.Range, "a half-width is above zero")
		}
	}
	r.named(root, "points", mostPoints, r.point)
	r.named(root, "cells", mostCells, r.cell)
	r.placements(root)
}

// named goes through a map of named things that has to be there.
func (r *reader) named(root *keyed.Node, key string, most int, read func(*keyed.Node)) {
	n := root.Get(key)
	switch {
	case n == nil:
		r.Fault(root, fault.Missing, "the key %s is missing", key).Fix("list the %s by name", key)
	case n.Kind != keyed.Table || len(n.Items) == 0:
		r.Fault(n, fault.Type, "%s is a map of %s by name", key, key)
	case len(n.Items) > most:
		r.Fault(n, fault.TooLarge, "%d %s, the most is %d", len(n.Items), key, most)
	default:
		for _, it := range n.Items {
			if !keyed.PlainName(it.Name) {
				r.Fault(it, fault.Syntax, "%s is no name", keyed.Quote(it.Name)).Fix("a name is made of letters, figures, dots, hyphens and underscores")
			}
			read(it)
		}
	}
}

func (r *reader) site(root *keyed.Node) {
	const need = "write g: with its unit, or latitude: and height: for normal gravity there"
	n := root.Get("site")
	if n == nil {
		r.Fault(root, fault.Missing, "the key site is missing: mass is force over local gravity").Fix(need)
		return
	}
	if !r.Keys(n, "site", Shape().Names("site")...) {
		return
	}
	if it := r.Text(n, "temperature", ""); it != nil {
		m := keyed.Measured[quantity.Temperature](&r.Reader, it)
		r.temperature = &m
	}
	g, latitude, height := r.Text(n, "g", ""), r.Text(n, "latitude", ""), r.Text(n, "height", "")
	switch {
	case g != nil && (latitude != nil || height != nil):
		r.Fault(g, fault.Disagree, "gravity is given twice, as g and by place").Fix("keep g if it was measured, latitude and height otherwise")
	case g != nil:
		m := keyed.Measured[quantity.Acceleration](&r.Reader, g)
		if m.Value != 0 && (m.Low < 9.7 || m.High > 9.9) {
			r.Fault(g, fault.Range, "gravity on the ground lies between 9.76 and 9.84 m/s2")
		}
		r.s.Gravity = MeasuredGravity(m)
	case latitude == nil || height == nil:
		r.Fault(n, fault.Missing, "local gravity is not known").Fix(need)
	default:
		phi, h := keyed.Exact[quantity.Angle](&r.Reader, latitude), keyed.Exact[quantity.Length](&r.Reader, height)
		if math.Abs(phi) > math.Pi/2 || math.Abs(h) > 9000 {
			r.Fault(latitude, fault.Range, "there is no such place on the ground").Fix("latitude from 0 to 90 deg, height within 9000 m of the sea")
		}
		c := metrology.Rectangular("gravity: rock and hills beside the formula", anomaly).In("m/s2")
		r.s.Gravity = Gravity{NormalGravity(phi, h), c, "normal gravity of WGS 84 at latitude " + latitude.Text + " and height " + height.Text}
	}
}

func (r *reader) point(n *keyed.Node) {
	p := Point{Name: n.Name, Pos: n.Pos}
	if n.Kind == keyed.Table || n.Kind == keyed.List {
		r.Fault(n, fault.Type, "a point is written as x y z unit").Fix("as 0 2.4 0 m ± 3 mm")
	} else {
		var err error
		if p.At, err = quantity.ParsePoint(n.Text); err != nil {
			r.Adopt(n, err)
		}
	}
	r.points[n.Name] = len(r.s.Points)
	r.s.Points = append(r.s.Points, p)
}

func (r *reader) cell(n *keyed.Node) {
	c := Cell{Name: n.Name, Pos: n.Pos}
	r.cells[n.Name] = len(r.s.Cells)
	defer func() { r.s.Cells = append(r.s.Cells, c) }()
	if !r.Keys(n, "a cell", Shape().Names("cells.*")...) {
		return
	}
	c.Serial = r.Plain(n, "serial", "")
	if it := r.Text(n, "capacity", "write capacity: the full scale of the cell"); it != nil {
		c.Accuracy.Capacity = r.Rating(it)
	}
	c.Overload = r.overload(n, c.Accuracy.Capacity)
	accuracy, u, file := r.Text(n, "accuracy", ""), r.Text(n, "uncertainty", ""), r.Text(n, "certificate", "")
	switch {
	case accuracy != nil && u == nil && file == nil:
		v, full, err := gear.ParseAccuracy(accuracy.Text)
		if err != nil {
			r.Adopt(accuracy, err)
		}
		c.Accuracy.Limit, c.Accuracy.OfFullScale = v, full
	case accuracy == nil && u != nil && file == nil:
		v := r.Rating(u)
		c.U95 = &v
	case accuracy == nil && u == nil && file != nil:
		r.certificate(file, &c)
	default:
		r.Fault(n, fault.Missing, "how well a cell reads is said once: by accuracy, uncertainty or certificate").
			Fix("accuracy: as 0.05 %% fs; uncertainty: the 95 %% figure of its certificate, as 12 kg; certificate: a file with its points")
	}
	if it := r.Text(n, "resolution", ""); it != nil && c.Calibration == nil {
		v := r.Rating(it)
		c.Accuracy.Resolution = &v
	} else if it != nil {
		r.Fault(it, fault.Disagree, "the certificate states the resolution")
	}
	c.Accuracy.Machine = r.Plain(n, "machine", "")
	c.Accuracy.MachineLimit = gear.ReadShare(&r.Reader, n, "machine_accuracy", false)
	c.Accuracy.Creep = gear.ReadShare(&r.Reader, n, "creep", false)
	c.Accuracy.ZeroReturn = gear.ReadShare(&r.Reader, n, "zero_return", true)
	r.warmth(n, &c)
	r.sidePull(n, &c)
	r.care(n, &c)
}

// overload reads a force, or a percentage of the capacity.
func (r *reader) overload(n *keyed.Node, capacity float64) float64 {
	it := r.Text(n, "safe_overload", "")
	if it == nil {
		return 0
	}
	var v float64
	if p, ok := strings.CutSuffix(it.Text, " of capacity"); ok && strings.HasSuffix(p, "%") {
		m, err := quantity.Parse[quantity.Ratio](p)
		if err != nil {
			r.Adopt(it, err)
		}
		v = float64(m.Value) * capacity
	} else {
		v = r.Rating(it)
	}
	if v < capacity {
		r.Fault(it, fault.Range, "a safe overload below the capacity").Fix("read both off the cell")
	}
	return v
}

// warmth reads what temperature does to a cell, and how far it may have moved.
func (r *reader) warmth(n *keyed.Node, c *Cell) {
	c.Accuracy.ZeroPerK, c.Accuracy.SpanPerK = gear.ReadTemperatureEffect(&r.Reader, n, "temperature_effect")
	calibratedAt := 273.15 + 20 // common practice, no source
	if it := r.Text(n, "calibrated_at", ""); it != nil {
		calibratedAt = keyed.Exact[quantity.Temperature](&r.Reader, it)
	}
	if t := r.temperature; t != nil {
		c.Conditions = metrology.ConditionsOver(float64(t.Low), float64(t.High), calibratedAt)
	}
}

var perDegree = regexp.MustCompile(`^(.*) per (deg|°)$`)

func (r *reader) sidePull(n *keyed.Node, c *Cell) {
	it := r.Text(n, "side_pull", "")
	if it == nil {
		return
	}
	m := perDegree.FindStringSubmatch(it.Text)
	if m == nil {
		r.Fault(it, fault.Syntax, "%s is no effect of side pull", keyed.Quote(it.Text)).Fix("write it as 0.05 %% of reading per deg")
		return
	}
	v, full, err := gear.ParseAccuracy(m[1])
	if err != nil {
		r.Adopt(it, err)
	} else if full {
		r.Fault(it, fault.Unsupported, "side pull is taken as a share of the reading")
	}
	v *= 180 / math.Pi
	c.SidePull = &v
}

func (r *reader) care(n *keyed.Node, c *Cell) {
	if d := r.Date(n, "calibrated", ""); !d.IsZero() {
		c.Care.Calibrated = d
	}
	if d := r.Date(n, "due", ""); !d.IsZero() {
		c.Care.Due = d
	}
	if !c.Care.Due.IsZero() && !c.Care.Due.After(c.Care.Calibrated) {
		r.Fault(n.Get("due"), fault.Range, "due before it was calibrated").Fix("look at both dates")
	}
	c.Care.DriftPerYear = gear.ReadShare(&r.Reader, n, "drift_per_year", false)
	if it := n.Get("override"); it != nil && r.Keys(it, "an override", "by", "why") {
		c.Care.OverrideBy = r.Plain(it, "by", "write by: who lets it be used out of date")
		c.Care.OverrideWhy = r.Plain(it, "why", "write why: the reason")
		if c.Care.DriftPerYear == nil || c.Care.Calibrated.IsZero() {
			r.Fault(it, fault.Missing, "an override widens the uncertainty by the drift since the calibration, which is not stated").
				Fix("write calibrated: and drift_per_year: as 0.1 %% of reading; calibrate shows what the certificates say")
		}
	} else if it := n.Get("drift_per_year"); it != nil && c.Care.Calibrated.IsZero() {
		r.Fault(it, fault.Missing, "drift counts from the day of the calibration, which is not stated").Fix("write calibrated: the day, as 2026-04-02")
	}
}

func (r *reader) certificate(it *keyed.Node, c *Cell) {
	switch {
	case r.files == nil:
		r.Fault(it, fault.Path, "there is no folder to look for %s in", keyed.Quote(it.Text))
		return
	case !fs.ValidPath(it.Text):
		r.Fault(it, fault.Path, "%s leaves the folder of the survey", keyed.Quote(it.Text)).Fix("put the certificate beside the survey, or below")
		return
	}
	data, err := fs.ReadFile(r.files, it.Text)
	if err != nil {
		r.Faults = append(r.Faults, fault.New(fault.Path, "the certificate %s cannot be read", keyed.Quote(it.Text)).In(it.Path).At(it.Pos).Because(err))
		return
	}
	cert, err := metrology.ReadCertificate(it.Text, data)
	if err == nil {
		c.Calibration, err = cert.Left()
	}
	if err != nil {
		r.Faults = append(r.Faults, fault.Of(err)...)
		return
	}
	if c.Serial != "" && c.Serial != cert.Serial {
		r.Fault(it, fault.Disagree, "the certificate is of cell %s, this is %s", keyed.Quote(cert.Serial), keyed.Quote(c.Serial)).Fix("read both off the cell")
	}
	if c.Accuracy.Capacity != 0 && math.Abs(cert.Capacity/c.Accuracy.Capacity-1) > 1e-9 {
		r.Fault(it, fault.Disagree, "the certificate is of a cell of %.4g kN, this has %.4g kN", cert.Capacity/1000, c.Accuracy.Capacity/1000).Fix("read both off the cell")
	}
	c.Serial, c.Overload = cert.Serial, cmp.Or(c.Overload, cert.Overload)
	c.Care = Care{Calibrated: cert.Date, Due: cert.Due}
}

func (r *reader) placements(root *keyed.Node) {
	n := root.Get("placements")
	switch {
	case n == nil:
		r.Fault(root, fault.Missing, "the key placements is missing").Fix("list how it stood or hung, with its readings")
		return
	case n.Kind != keyed.List || len(n.Items) == 0:
		r.Fault(n, fault.Type, "placements is a list").Fix("begin each with - name:")
		return
	case len(n.Items) > mostPlacements:
		r.Fault(n, fault.TooLarge, "%d placements, the most is %d", len(n.Items), mostPlacements)
		return
	}
	names := map[string]bool{}
	for _, it := range n.Items {
		if r.Keys(it, "a placement", Shape().Names("placements[]")...) {
			p := r.placement(it)
			if names[p.Name] {
				r.Fault(it, fault.Duplicate, "two placements are called %s", keyed.Quote(p.Name)).Fix("give each a name of its own")
			}
			names[p.Name] = true
			r.s.Placements = append(r.s.Placements, p)
		}
	}
}

func (r *reader) placement(n *keyed.Node) Placement {
	p := Placement{Name: r.Plain(n, "name", "write name: what this placement is called"), Pos: n.Pos}
	taken := map[int]bool{}
	if it := n.Get("cells"); it == nil || it.Kind != keyed.Table || len(it.Items) == 0 {
		r.Fault(n, fault.Missing, "which cell stands where is not said").Fix("write cells: {NW: A, NE: B}, point: cell")
	} else {
		for _, e := range it.Items {
			point, known := r.points[e.Name]
			if !known {
				r.Fault(e, fault.Reference, "there is no point %s", keyed.Quote(e.Name)).Fix("list it under points")
			}
			cell, known := r.cells[e.Text]
			switch {
			case !known:
				r.Fault(e, fault.Reference, "there is no cell %s", keyed.Quote(e.Text)).Fix("list it under cells")
			case taken[cell]:
				r.Fault(e, fault.Duplicate, "the cell %s stands in two places", keyed.Quote(e.Text)).Fix("one cell stands at one point")
			}
			taken[cell] = true
			p.Seats = append(p.Seats, Seat{point, cell})
		}
	}
	if len(r.s.Points) == 0 || len(r.s.Cells) == 0 || len(p.Seats) > mostCells {
		return p
	}
	var tare []float64
	if it := n.Get("tare"); it != nil {
		tare = r.readings(it, &p)
	}
	runs := n.Get("runs")
	switch {
	case runs == nil || runs.Kind != keyed.List || len(runs.Items) == 0:
		r.Fault(n, fault.Missing, "there are no readings").Fix("write runs: and a list, each {A: 24.1 kN, B: 31 kN}, cell: reading")
	case len(runs.Items) > mostRuns:
		r.Fault(runs, fault.TooLarge, "%d runs, the most is %d", len(runs.Items), mostRuns)
	default:
		for _, it := range runs.Items {
			gross := r.readings(it, &p)
			if gross == nil || n.Get("tare") != nil && tare == nil {
				continue
			}
			net := make([]float64, len(gross))
			for i, v := range gross {
				c := &r.s.Cells[p.Seats[i].Cell]
				if tare != nil {
					v -= tare[i]
				}
				net[i] = v
				if c.Calibration != nil {
					net[i], _ = c.Calibration.Curve.Force(v)
					gross[i], _ = c.Calibration.Curve.Force(gross[i])
				}
			}
			p.Runs, p.Gross = append(p.Runs, net), append(p.Gross, gross)
		}
	}
	r.stance(n, &p)
	return p
}

// readings gives what each cell of a placement showed, in the order of its
// seats: N, or the unit of its certificate.
func (r *reader) readings(n *keyed.Node, p *Placement) []float64 {
	if n.Kind != keyed.Table {
		r.Fault(n, fault.Type, "readings are written as {A: 24.1 kN, B: 31 kN}, cell: reading")
		return nil
	}
	out := make([]float64, len(p.Seats))
	seen := map[string]bool{}
	for i, seat := range p.Seats {
		c := &r.s.Cells[seat.Cell]
		seen[c.Name] = true
		it := r.Text(n, c.Name, "every cell of the placement was read")
		switch {
		case it == nil:
			return nil
		case c.Calibration != nil:
			v, err := metrology.ParseSignal(it.Text, c.Calibration.Unit)
			if err != nil {
				r.Adopt(it, err)
			}
			out[i] = v
		default:
			out[i] = r.Force(it)
		}
	}
	for _, it := range n.Items {
		if !seen[it.Name] {
			r.Fault(it, fault.Reference, "no cell %s stands in this placement", keyed.Quote(it.Name)).Fix("name the cells that cells: puts there")
		}
	}
	return out
}

// stance reads how the object stood: tilt, level, lines.
func (r *reader) stance(n *keyed.Node, p *Placement) {
	if it := r.Text(n, "level", ""); it != nil {
		m := r.AngleFrom(it, "horizontal")
		u := float64(m.Value) / metrology.CoverageFactor(0.95, math.Inf(1))
		if m.Shape != quantity.Exact || u < 0 || u > math.Pi/18 {
			r.Fault(it, fault.Range, "level says within what angle it stood level, 95 %% of the time").Fix("write it as 0.1 deg from horizontal")
		}
		p.Level = &u
	}
	if it := n.Get("tilt"); it != nil && r.Keys(it, "tilt", Shape().Names("placements[].tilt")...) {
		p.Tilt = r.tilt(it)
	}
	if it := r.Text(n, "out_of_plumb", ""); it != nil {
		m := r.AngleFrom(it, "vertical")
		if m.Low < 0 || m.High > math.Pi/3 {
			r.Fault(it, fault.Range, "lines lean from 0 to 60 deg from vertical")
		}
		p.Plumb = &m
	}
	if it := r.Text(n, "hook", ""); it != nil {
		at, err := quantity.ParsePoint(it.Text)
		if err != nil {
			r.Adopt(it, err)
		}
		p.Hook = &at
		if p.Plumb != nil {
			r.Fault(it, fault.Disagree, "under one hook the lean of the lines follows from where the hook stands").Fix("leave out out_of_plumb")
		}
		for _, s := range p.Seats {
			if at.Z.Value <= r.s.Points[s.Point].At.Z.Value && err == nil {
				r.Fault(it, fault.Range, "the hook is not above point %s", keyed.Quote(r.s.Points[s.Point].Name))
			}
		}
	}
}

func (r *reader) tilt(n *keyed.Node) *Tilt {
	t := &Tilt{}
	angle, rise, over := r.Text(n, "angle", ""), r.Text(n, "rise", ""), r.Text(n, "over", "")
	at := angle
	switch {
	case angle != nil && rise == nil && over == nil:
		t.Angle = r.AngleFrom(angle, "horizontal")
	case angle == nil && rise != nil && over != nil:
		at = rise
		h, l := keyed.Measured[quantity.Length](&r.Reader, rise), keyed.Exact[quantity.Length](&r.Reader, over)
		asin := func(v quantity.Length) quantity.Angle { return quantity.Angle(math.Asin(float64(v) / l)) }
		t.Angle = quantity.Measured[quantity.Angle]{Value: asin(h.Value), Low: asin(h.Low), High: asin(h.High), Shape: h.Shape, Text: rise.Text + " over " + over.Text}
	default:
		r.Fault(n, fault.Missing, "how far it was tilted is said by angle, or by rise and over").
			Fix("angle: 5 deg ± 0.05 deg from horizontal; or rise: 350 mm ± 1 mm, over: 4 m along the tilted base")
	}
	if at != nil && !(t.Angle.Low > 0 && t.Angle.High < math.Pi/3) {
		r.Fault(at, fault.Range, "a tilt lies between 0 and 60 deg from horizontal").Fix("low: says to which side")
	}
	if it := r.Text(n, "low", "write low: +x, -x, +y or -y, or as 30 deg from +x toward +y"); it != nil {
		t.LowSide = r.side(it)
	}
	return t
}

func (r *reader) side(n *keyed.Node) float64 {
	if d, ok := map[string]float64{"+x": 0, "+y": math.Pi / 2, "-x": math.Pi, "-y": -math.Pi / 2}[n.Text]; ok {
		return d
	}
	text, ok := strings.CutSuffix(n.Text, " from +x toward +y")
	if !ok {
		r.Fault(n, fault.Ambiguous, "%s does not say where it counts from", keyed.Quote(n.Text)).Fix("write +x, -x, +y, -y, or as 30 deg from +x toward +y")
		return 0
	}
	a, err := quantity.Parse[quantity.Angle](text)
	if err != nil {
		r.Adopt(n, err)
	}
	return float64(a.Value)
}
