package certificate

import (
	"cmp"
	"fmt"
	"math"
	"strings"
	"time"

	"plumbhook/contract"
	"plumbhook/quantity"
	"plumbhook/report/paper"
)

// Calibration is the page of a load cell: curve and class, uncertainty over the
// range, as found and as left, drift from certificate to certificate, and when it is
// due. It reviews certificates of a laboratory and is none.
func Calibration(k *contract.Calibrate, o Options) ([]byte, error) {
	title := o.say("cell called", k.Serial)
	return o.set("calibration", title, "", k.On, k.SHA256, k.Verdict == "fails", func(s *page) {
		s.outcome(k.Verdict, len(k.Missing))
		last := k.Certificates[len(k.Certificates)-1]
		top := k.Steps[len(k.Steps)-1]
		class := s.say("no class")
		if len(k.ISO376) > 0 {
			class = s.say("class", k.ISO376[0].Name, write[quantity.Force](s, k.ISO376[0].FromN, 0))
		}
		s.Figures(3, []paper.Figure{
			{Label: s.say("use"), Value: s.say("use " + k.Use), Note: k.Why, Loud: k.Verdict == "fails"},
			{Label: s.say("due"), Value: cmp.Or(or(k.Due), "–")},
			{Label: "U, " + write[quantity.Force](s, top.ForceN, 0), Value: two[quantity.Force](s, top.U95N), Note: fmt.Sprintf("95 %%, k = %.2f", top.K)},
		})
		s.said(k.Sentence)
		s.Text(class)
		if len(k.NotGraded) > 0 {
			s.Text(s.say("not graded", strings.Join(k.NotGraded, "; ")))
		}
		s.Small(s.say("classes from memory"))
		t := paper.Table{Head: []string{s.say("certificate"), s.say("laboratory"), s.say("date"), s.say("due"), ""}, Align: "bllll"}
		for _, c := range k.Certificates {
			adjusted := s.say("left as found")
			if c.Adjusted {
				adjusted = s.say("adjusted")
			}
			t.Rows = append(t.Rows, []string{cmp.Or(c.Number, "–"), cmp.Or(c.Laboratory, "–"), c.Date, or(c.Due), adjusted})
		}
		s.Table(t)
		s.curve(k, last.Number)
		s.steps(k)
		if len(k.Adjusted) > 0 {
			s.Heading(s.say("found and left"))
			s.Text(s.say("would read"))
			s.shifts(k.Adjusted)
		}
		s.drift(k)
		if f := k.Field; f != nil {
			s.Heading(s.say("field check"))
			key := "field agrees"
			if !f.Agrees {
				key = "field disagrees"
			}
			text := s.say(key, write[quantity.Force](s, f.KnownN, f.KnownU95N), write[quantity.Force](s, f.ReadsN, f.ReadsU95N), f.En)
			if f.Agrees {
				s.Text(text)
			} else {
				s.Strong("■ " + text)
			}
		}
		s.missing(k.Missing)
		s.signatures("reviewed by")
	})
}

// curve draws what lies off the fit and how far it may.
func (s *page) curve(k *contract.Calibrate, number string) {
	s.Heading(s.say("curve", cmp.Or(number, "–")))
	var terms []string
	for i, c := range k.Coefficients {
		terms = append(terms, fmt.Sprintf("%.6g F^%d", c, i))
	}
	s.Text(s.say("fit", k.Degree, strings.Join(terms, " + "), k.Unit, k.ResidualSD))
	off := paper.Curve{Name: s.say("off curve"), Dots: true}
	up, down := paper.Curve{Name: "+U"}, paper.Curve{Name: "-U"}
	for _, p := range k.Steps {
		x, _ := quantity.In(quantity.Force(p.ForceN), s.forceUnit())
		off.X, off.Y = append(off.X, x), append(off.Y, 100*p.Interpolation)
		up.X, up.Y = append(up.X, x), append(up.Y, 100*p.U95N/p.ForceN)
		down.X, down.Y = append(down.X, x), append(down.Y, -100*p.U95N/p.ForceN)
	}
	s.Chart(paper.Chart{X: s.forceUnit(), Y: s.say("of reading"), Curves: []paper.Curve{up, down, off}, High: 62})
}

func (s *page) steps(k *contract.Calibrate) {
	share := func(p *float64) string {
		if p == nil {
			return "–"
		}
		return fmt.Sprintf("%.3f", 100**p)
	}
	u := s.forceUnit()
	t := paper.Table{Head: []string{s.say("force") + " " + u, s.say("signal") + " " + k.Unit, s.say("off curve") + " %", s.say("repeat") + " %", s.say("turned") + " %", s.say("back") + " %", "U " + u, "U %"}, Align: "rrrrrrrr"}
	for _, p := range k.Steps {
		t.Rows = append(t.Rows, []string{number[quantity.Force](s, p.ForceN, 0), fmt.Sprintf("%.6g", p.Deflection), fmt.Sprintf("%.3f", 100*p.Interpolation), share(p.Repeatability), share(p.Reproducibility), share(p.Reversibility), number[quantity.Force](s, p.U95N, p.U95N/10), fmt.Sprintf("%.3f", 100*p.U95N/p.ForceN)})
	}
	s.Table(t)
}

func (s *page) shifts(all []contract.CalibrateShift) {
	t := paper.Table{Head: []string{s.say("force") + " " + s.forceUnit(), s.say("off by") + " " + s.forceUnit(), s.say("of reading")}, Align: "rrr"}
	for _, f := range all {
		t.Rows = append(t.Rows, []string{number[quantity.Force](s, f.ForceN, 0), number[quantity.Force](s, f.ErrorN, math.Abs(f.ErrorN)/10), fmt.Sprintf("%+.3f %%", 100*f.Share)})
	}
	s.Table(t)
}

// drift is the shift from certificate to certificate, against what is allowed.
func (s *page) drift(k *contract.Calibrate) {
	s.Heading(s.say("drift"))
	if len(k.Drift) == 0 {
		s.Text(s.say("no drift"))
		return
	}
	day := func(d string) float64 {
		t, _ := time.Parse(time.DateOnly, d)
		return float64(t.Unix()) / (365.2425 * 24 * 3600)
	}
	curve := paper.Curve{Name: s.say("largest shift"), Dots: true}
	year := math.Floor(day(k.Drift[0].From))
	curve.X, curve.Y = []float64{day(k.Drift[0].From) - year}, []float64{0}
	t := paper.Table{Head: []string{s.say("counts from"), s.say("to"), s.say("largest shift")}, Align: "llr"}
	for _, d := range k.Drift {
		curve.X, curve.Y = append(curve.X, day(d.To)-year), append(curve.Y, 100*d.Largest)
		t.Rows = append(t.Rows, []string{d.From, d.To, fmt.Sprintf("%+.3f %%", 100*d.Largest)})
	}
	s.Table(t)
	var levels []paper.Level
	if i := k.Interval; i != nil {
		levels = []paper.Level{{Name: s.say("most allowed"), V: 100 * i.Allowed}, {Name: s.say("most allowed"), V: -100 * i.Allowed}}
	}
	s.Chart(paper.Chart{X: s.say("years from", 1970+int(year)), Y: s.say("of reading"), Curves: []paper.Curve{curve}, Levels: levels, High: 50})
	if i := k.Interval; i != nil {
		key := "interval"
		if i.Capped {
			key = "interval capped"
		}
		s.Text(s.say(key, i.Days, 100*i.PerYear, 100*i.Allowed))
	}
}
