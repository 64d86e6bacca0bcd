package certificate

import (
	"cmp"
	"fmt"

	"plumbhook/contract"
	"plumbhook/quantity"
	"plumbhook/report/paper"
)

// Weighing is the certificate of a weighing: mass, weight and centre of gravity with
// their uncertainty, what was read, with what, and the budget behind each.
func Weighing(w *contract.Weigh, o Options) ([]byte, error) {
	return o.set("weighing", cmp.Or(w.Title, w.Object), w.Revision, w.Date, w.SHA256, w.Verdict == "fails", func(s *page) {
		s.outcome(w.Verdict, len(w.Missing))
		list := []paper.Figure{
			{Label: s.say("mass"), Value: write[quantity.Mass](s, w.Mass.Value, w.Mass.U95), Note: fmt.Sprintf("95 %%, k = %.2f", w.Mass.K)},
			{Label: s.say("weight there"), Value: write[quantity.Force](s, w.Weight.Value, w.Weight.U95), Note: fmt.Sprintf("g = %.5g m/s²", w.Gravity.Value)},
		}
		s.Figures(2, list)
		list = nil
		for _, a := range []struct {
			name string
			v    *contract.Uncertain
		}{{"x", w.CG.X}, {"y", w.CG.Y}, {"z", w.CG.Z}} {
			f := paper.Figure{Label: s.say("cg", a.name), Value: s.say("not told")}
			if a.v != nil {
				f.Value, f.Note = write[quantity.Length](s, a.v.Value, a.v.U95), fmt.Sprintf("95 %%, k = %.2f", a.v.K)
			}
			list = append(list, f)
		}
		s.Figures(3, list)
		if len(w.Missing) > 0 {
			s.Strong(s.say("at least"))
		}
		s.Small(s.say("axes"))
		if d := w.Declared; d != nil {
			key := "declared agrees"
			if !d.Agrees {
				key = "declared differs"
			}
			s.Text(s.say(key, write[quantity.Mass](s, d.Kg, 0), write[quantity.Mass](s, d.DifferenceKg, d.U95Kg)))
		}
		if h := w.Height; h != nil && w.CG.Z != nil {
			key := "height reached"
			if !h.Reached {
				key = "height not reached"
			}
			s.Text(s.say(key, h.GreatestDeg, two[quantity.Length](s, h.WantedM)))
		}
		s.Heading(s.say("checks of each other"))
		s.said(w.Redundancy.Text)
		var found []finding
		for _, f := range w.Findings {
			found = append(found, finding{f.Severity, f.Where, f.Text})
		}
		s.findings(found)
		s.stands(w)
		s.cells(w)
		s.budget(s.say("mass"), &w.Mass, "kg")
		for _, a := range []struct {
			name string
			v    *contract.Uncertain
		}{{"x", w.CG.X}, {"y", w.CG.Y}, {"z", w.CG.Z}} {
			if a.v != nil {
				s.budget(s.say("cg", a.name), a.v, "m")
			}
		}
		s.missing(w.Missing)
		s.signatures("weighed by", "checked by")
	})
}

// stands are the placements one by one.
func (s *page) stands(w *contract.Weigh) {
	for i := range w.Placements {
		p := &w.Placements[i]
		s.Heading(s.say("placement", p.Name))
		text := s.say("runs", p.Runs, write[quantity.Force](s, p.SumN, w.Force.U95))
		if p.SDN != nil {
			text += " " + s.say("differ", two[quantity.Force](s, p.RangeN), two[quantity.Force](s, *p.SDN))
		}
		if p.TwistN != nil {
			text += " " + s.say("twist", write[quantity.Force](s, *p.TwistN, w.Force.U95))
		}
		s.Text(text)
		t := paper.Table{Head: []string{s.say("cell"), s.say("at"), s.say("reads") + " " + s.forceUnit(), s.say("share"), s.say("of capacity")}, Align: "blrrr"}
		for _, k := range p.Seats {
			t.Rows = append(t.Rows, []string{k.Cell, k.Point, number[quantity.Force](s, k.MeanN, w.Force.U95/2), fmt.Sprintf("%.1f %%", 100*k.Share), quantity.Show(100*k.Used, 10, quantity.Upward) + " %"})
		}
		s.Table(t)
	}
}

// cells are what was weighed with.
func (s *page) cells(w *contract.Weigh) {
	s.Heading(s.say("cells"))
	t := paper.Table{Head: []string{s.say("cell"), s.say("serial"), s.say("capacity") + " " + s.forceUnit(), s.say("calibrated"), s.say("due"), s.say("use")}, Align: "blrlll"}
	for _, c := range w.Cells {
		use := s.say("use " + c.Use)
		if c.OverrideBy != nil {
			use += ": " + *c.OverrideBy
		}
		t.Rows = append(t.Rows, []string{c.Name, cmp.Or(c.Serial, "–"), number[quantity.Force](s, c.CapacityN, 0), or(c.Calibrated), or(c.Due), use})
	}
	s.Table(t)
}
