package metrology

import (
	"crypto/sha256"
	_ "embed"
	"encoding/hex"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"sync"
	"time"

	"plumbhook/fault"
	"plumbhook/keyed"
	"plumbhook/quantity"
)

// A CertificateFile is a certificate as it was copied out: what the laboratory
// found, and what it left after adjusting, if it adjusted.
type CertificateFile struct {
	File, SHA256               string
	Serial, Number, Laboratory string
	Date, Due                  time.Time
	Capacity, Overload         float64 // N; overload zero: not stated
	Found                      Certificate
	Adjusted                   *Certificate // nil: left as found
}

// Left works out the cell as the laboratory left it.
func (c *CertificateFile) Left() (*Calibration, error) {
	if c.Adjusted != nil {
		return c.inFile(*c.Adjusted)
	}
	return c.inFile(c.Found)
}

// AsFound works out the cell as it came in.
func (c *CertificateFile) AsFound() (*Calibration, error) { return c.inFile(c.Found) }

// inFile names the file in what is wrong.
func (c *CertificateFile) inFile(points Certificate) (*Calibration, error) {
	k, err := Calibrate(points)
	for _, f := range fault.Of(err) {
		return nil, f.At(fault.Pos{File: c.File})
	}
	return k, nil
}

// forceUnits are those of a readout; a mass unit is force at standard gravity.
var forceUnits = []string{"N", "kN", "kgf", "tf", "lbf", "kip", "kg", "t", "lb"}

var signalText = regexp.MustCompile(`^([+-]?\d*\.?\d+(?:[eE][+-]?\d+)?)\s*([^\d.\s].*)$`)

// ParseSignal reads what a cell sends, in the unit of its certificate: "1.2034
// mV/V". A bare number is refused.
func ParseSignal(s, unit string) (float64, error) {
	m := signalText.FindStringSubmatch(strings.TrimSpace(s))
	switch {
	case m == nil:
		return 0, fault.New(fault.NoUnit, "%s is no signal with its unit", keyed.Quote(s)).Fix("write it as 1.2034 %s", unit)
	case strings.TrimSpace(m[2]) != unit:
		return 0, fault.New(fault.BadUnit, "%s is not in %s, the unit of the certificate", keyed.Quote(s), unit).Fix("write it as 1.2034 %s", unit)
	}
	v, err := strconv.ParseFloat(m[1], 64)
	if err != nil {
		return 0, fault.New(fault.Range, "%s is no number", keyed.Quote(s))
	}
	return v, nil
}

//go:embed keys.csv
var keysCSV string

// CertificateShape is what a certificate file may hold.
func CertificateShape() *keyed.Shape { return shape() }

var shape = sync.OnceValue(func() *keyed.Shape { return keyed.NewShape(keysCSV) })

// ReadCertificate reads a certificate file:
//
//	plumbhook-certificate: 1
//	serial: KP-LC-03
//	number: K-2291
//	laboratory: the firm's own bench
//	date: 2026-03-31
//	due: 2027-03-31
//	capacity: 100 kN
//	signal: mV/V
//	degree: 2
//	resolution: 0.00001 mV/V
//	force_uncertainty: 0.02 %      # of the applied forces, expanded, k = 2
//	machine: dead weights 1
//	runs:                          # or found: and left:, if it was adjusted
//	  - {position: 0 deg, points: [[0 kN, 0.0002 mV/V], [10 kN, 0.2004 mV/V]]}
//
// Points stand in the order they were taken; what comes after the largest force
// of a run was taken on the way down. The error is a fault.List.
func ReadCertificate(name string, data []byte) (*CertificateFile, error) {
	r := &certificateReader{Reader: keyed.Reader{File: name}}
	root := r.Parse(data)
	if root == nil || !r.Keys(root, "a certificate", CertificateShape().Names("")...) {
		return nil, r.Err()
	}
	sum := sha256.Sum256(data)
	c := &CertificateFile{File: name, SHA256: hex.EncodeToString(sum[:])}
	text := func(key, need string) string {
		if it := r.Text(root, key, need); it != nil {
			return it.Text
		}
		return ""
	}
	r.Choice(root, "plumbhook-certificate", "write plumbhook-certificate: 1, the version of the file", "1")
	c.Serial = text("serial", "write serial: as it is marked on the cell")
	c.Number, c.Laboratory = text("number", ""), text("laboratory", "")
	c.Date = r.Date(root, "date", "write date: the day of the calibration, as 2026-03-31")
	c.Due = r.Date(root, "due", "")
	if !c.Due.IsZero() && !c.Due.After(c.Date) {
		r.Fault(root.Get("due"), fault.Range, "due before it was calibrated").Fix("look at both dates")
	}
	if it := r.Text(root, "capacity", "write capacity: the full scale of the cell"); it != nil {
		c.Capacity = r.Rating(it)
	}
	if it := r.Text(root, "safe_overload", ""); it != nil {
		if c.Overload = r.Rating(it); c.Overload < c.Capacity {
			r.Fault(it, fault.Range, "a safe overload below the capacity").Fix("read both off the certificate")
		}
	}
	common := Certificate{Degree: 2, Machine: text("machine", "")}
	common.Unit = r.Choice(root, "signal", "write signal: with the unit of the readings, as mV/V or kN", append([]string{"mV/V", "counts"}, forceUnits...)...)
	if d := r.Choice(root, "degree", "", "1", "2", "3"); d != "" {
		common.Degree, _ = strconv.Atoi(d)
	}
	if it := r.Text(root, "resolution", ""); it != nil {
		common.Resolution = r.signal(it, common.Unit)
	}
	if it := r.Text(root, "force_uncertainty", ""); it != nil {
		common.ForceU = keyed.Exact[quantity.Ratio](&r.Reader, it) / 2
		if !strings.HasSuffix(it.Text, "%") || common.ForceU <= 0 || common.ForceU > 0.05 {
			r.Fault(it, fault.Range, "the uncertainty of the applied forces is a percentage of the force, expanded with k = 2").Fix("write it as 0.02 %%")
		}
	}
	runs, found, left := root.Get("runs"), root.Get("found"), root.Get("left")
	switch {
	case runs != nil && found == nil && left == nil:
		c.Found = r.runs(runs, common)
	case runs == nil && found != nil && left != nil:
		c.Found = r.runs(found, common)
		adjusted := r.runs(left, common)
		c.Adjusted = &adjusted
	default:
		r.Fault(root, fault.Missing, "a certificate has runs, or found and left").
			Fix("write runs: if nothing was adjusted; found: before and left: after an adjustment")
	}
	if err := r.Err(); err != nil {
		return nil, err
	}
	return c, nil
}

type certificateReader struct{ keyed.Reader }

func (r *certificateReader) signal(n *keyed.Node, unit string) float64 {
	v, err := ParseSignal(n.Text, unit)
	if err != nil {
		r.Adopt(n, err)
	}
	return v
}

const (
	mostRuns   = 20
	mostPoints = 200
)

func (r *certificateReader) runs(n *keyed.Node, c Certificate) Certificate {
	if n.Kind != keyed.List || len(n.Items) == 0 || len(n.Items) > mostRuns {
		r.Fault(n, fault.Type, "runs are a list of 1 to %d series of points", mostRuns)
		return c
	}
	positions := []string{}
	for i, it := range n.Items {
		if !r.Keys(it, "a run", "position", "points") {
			continue
		}
		position := "as it stood"
		if p := r.Text(it, "position", ""); p != nil {
			position = p.Text
		}
		at := slices.Index(positions, position)
		if at < 0 {
			at, positions = len(positions), append(positions, position)
		}
		points := it.Get("points")
		if points == nil || points.Kind != keyed.List || len(points.Items) == 0 || len(points.Items) > mostPoints {
			r.Fault(it, fault.Missing, "a run has 1 to %d points", mostPoints).Fix("write points: [[0 kN, 0 %s], [10 kN, 0.2 %s]], force and signal", c.Unit, c.Unit)
			continue
		}
		top := 0.0
		for _, pair := range points.Items {
			if pair.Kind != keyed.List || len(pair.Items) != 2 {
				r.Fault(pair, fault.Type, "a point is a pair of force and signal").Fix("write [10 kN, 0.2 %s]", c.Unit)
				continue
			}
			p := Point{Force: r.Force(pair.Items[0]), Signal: r.signal(pair.Items[1], c.Unit), Run: i + 1, Position: at}
			p.Falling = p.Force < top
			top = max(top, p.Force)
			c.Points = append(c.Points, p)
		}
	}
	return c
}
