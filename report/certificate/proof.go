package certificate

import (
	"cmp"
	"fmt"
	"math"
	"strings"

	"plumbhook/contract"
	"plumbhook/quantity"
	"plumbhook/report/paper"
)

// Proof is the certificate of a proof test or a pull or, without readings, the sheet
// that it is prepared with: who stays away, what the gear bears, what counts.
func Proof(p *contract.Prove, o Options) ([]byte, error) {
	kind := "proof plan"
	if p.Course != nil {
		kind = map[string]string{"pull": "pull", "guy": "guy"}[p.Rule.Kind]
	}
	return o.set(cmp.Or(kind, "proof"), cmp.Or(p.Title, p.Item.Name), p.Revision, p.Date, p.SHA256, p.Verdict == "fails", func(s *page) {
		s.outcome(p.Verdict, len(p.Missing))
		s.proofFigures(p)
		s.Text(s.say("of item", p.Item.Name, cmp.Or(p.Item.Serial, "–"), s.limit(p.Item.RatingN), s.limit(p.Item.ProofN), s.forceUnit()))
		if p.Place != "" {
			s.Text(s.say("place", p.Place))
		}
		s.danger(p)
		s.Heading(s.say("rule"))
		s.Text(s.say("by rule", p.Rule.Name, p.Rule.Source, p.Rule.Standing))
		if c := p.Criterion; c != nil {
			s.Text(s.say("criterion", c.By, c.Text))
		}
		s.counts(p)
		s.course(p)
		var found []finding
		for _, f := range p.Findings {
			found = append(found, finding{f.Severity, f.Where, f.Text})
		}
		s.findings(found)
		s.gear(p)
		s.budget(s.say("reading"), &p.Uncertainty, "N")
		s.missing(p.Missing)
		if len(p.Rule.Witness) > 0 {
			s.Heading(s.say("witnessed"))
			for _, w := range p.Rule.Witness {
				s.Tick(w)
			}
		}
		s.signatures("tested by", "witness")
	})
}

// force writes newtons to the uncertainty of the test.
func (s *page) force(p *contract.Prove, n float64) string {
	return number[quantity.Force](s, n, p.Uncertainty.U95) + " " + s.forceUnit()
}

func (s *page) proofFigures(p *contract.Prove) {
	list := []paper.Figure{{Label: s.say("load"), Value: s.force(p, p.Load.TargetN)}}
	if p.Load.AskedN != nil {
		list[0].Note = s.say("asked", s.force(p, *p.Load.AskedN))
	}
	hold := paper.Figure{Label: s.say("to be held"), Value: seconds(p.Rule.HoldS), Note: s.say("gap", seconds(p.GapS))}
	switch c := p.Course; {
	case c == nil:
	case c.Mean != nil:
		hold = paper.Figure{Label: s.say("mean over", seconds(p.Rule.HoldS)), Value: write[quantity.Force](s, c.Mean.MeanN, c.Mean.U95N), Note: fmt.Sprintf("95 %%, k = %.2f", p.Uncertainty.K)}
	case c.Hold != nil && c.Hold.Seconds >= p.Rule.HoldS:
		hold = paper.Figure{Label: s.say("held"), Value: seconds(math.Floor(c.Hold.Seconds)), Note: s.say("between", s.force(p, c.Hold.LowestN), s.force(p, c.Hold.MostN))}
	default:
		hold = paper.Figure{Label: s.say("held at most"), Value: seconds(math.Floor(c.LongestS)), Note: s.say("of", seconds(p.Rule.HoldS)), Loud: true}
	}
	list = append(list, hold)
	if c := p.Course; c != nil && c.PeakN != nil {
		peak := paper.Figure{Label: s.say("peak"), Value: s.force(p, *c.PeakN), Loud: *c.PeakN > p.Load.OvershootN}
		if c.PeakAtLeast {
			peak.Note = s.say("or more")
		}
		list = append(list, peak)
	} else if p.ZoneM != nil {
		list = append(list, paper.Figure{Label: s.say("keep out"), Value: write[quantity.Length](s, *p.ZoneM, 0)})
	}
	s.Figures(3, list)
}

// seconds writes a time as people say it.
func seconds(v float64) string {
	if v >= 120 && math.Mod(v, 60) == 0 {
		return fmt.Sprintf("%.0f min", v/60)
	}
	return fmt.Sprintf("%.6g s", v)
}

// chance writes a probability; none is too small to be said.
func chance(p float64) string {
	if p < 0.0005 {
		return "< 0.05 %"
	}
	return fmt.Sprintf("%.2g %%", 100*p)
}

// danger says who stays away from what.
func (s *page) danger(p *contract.Prove) {
	if p.ZoneM == nil {
		s.Strong("■ " + s.say("zone not known"))
	} else {
		s.Strong("■ " + s.say("zone", write[quantity.Length](s, *p.ZoneM, 0)))
	}
	if e := p.Stretch; e != nil {
		s.Text(s.say("stored", quantity.Show(e.EnergyJ/1000, e.EnergyJ/1e5, quantity.Upward), s.force(p, p.Load.GearBearsN),
			write[quantity.Length](s, e.LongerM, e.LongerM/20), write[quantity.Length](s, e.HeightM, e.HeightM/20)))
	}
}

// counts says what counts as reached, and by what rule of decision.
func (s *page) counts(p *contract.Prove) {
	from, most := s.force(p, p.Load.CountsFromN), s.force(p, p.Load.OvershootN)
	if to := p.Load.CountsToN; to != nil {
		s.Text(s.say("counts", from, s.force(p, *to), most))
	} else {
		s.Text(s.say("counts up", from, most))
	}
	s.Heading(s.say("decision"))
	if p.Simple != nil {
		s.Text(s.say("simple", *p.Simple))
		return
	}
	s.Text(s.say("guarded", two[quantity.Force](s, p.Uncertainty.U95), p.Uncertainty.K, 100*p.Risk))
}

// course is what was read.
func (s *page) course(p *contract.Prove) {
	c := p.Course
	if c == nil {
		return
	}
	s.Heading(s.say("course"))
	unit := func(n float64) float64 {
		v, _ := quantity.In(quantity.Force(n), s.forceUnit())
		return v
	}
	bars := paper.Curve{}
	for i, t := range c.Trace.TS {
		if i > 0 && t-c.Trace.TS[i-1] > max(p.GapS, 2*c.Trace.WidthS) {
			bars.X, bars.Y = append(bars.X, t), append(bars.Y, math.NaN())
		}
		bars.X, bars.Y = append(bars.X, t, t), append(bars.Y, unit(c.Trace.LowN[i]), unit(c.Trace.HighN[i]))
	}
	chart := paper.Chart{X: "s", Y: s.forceUnit(), Curves: []paper.Curve{bars}, Levels: []paper.Level{{Name: s.say("counts from"), V: unit(p.Load.CountsFromN)}}, High: 70}
	if to := p.Load.CountsToN; to != nil {
		chart.Levels = append(chart.Levels, paper.Level{Name: s.say("to"), V: unit(*to)})
	}
	if h := c.Hold; h != nil && h.Seconds >= p.Rule.HoldS {
		chart.At = []paper.Level{{Name: s.say("held from"), V: h.FromS}, {Name: s.say("to"), V: h.ToS}}
	}
	if m := c.Mean; m != nil {
		chart.At = []paper.Level{{Name: s.say("mean from"), V: m.ToS - p.Rule.HoldS}, {Name: s.say("to"), V: m.ToS}}
	}
	if len(bars.X) > 0 {
		s.Chart(chart)
	}
	if h := c.Hold; h != nil {
		s.Text(s.say("hold", h.FromS, h.ToS, s.force(p, h.LowestN), s.force(p, h.MostN), s.force(p, h.MeanN), s.force(p, h.DriftN), chance(h.ChanceNotReached), chance(h.ChanceAbove)))
	}
	zero := func(v *float64) string {
		if v == nil {
			return s.say("not read")
		}
		return s.force(p, *v)
	}
	s.Text(s.say("zeros", zero(c.BeforeN), zero(c.AfterN)))
	if len(c.Moves) > 0 {
		mm := func(v, limit *float64) string {
			text := s.say("not read")
			if v != nil {
				text = fmt.Sprintf("%.2f", 1000**v)
			}
			if limit != nil {
				text += fmt.Sprintf(" / %.3g", 1000**limit)
			}
			return text
		}
		t := paper.Table{Head: []string{s.say("gauge"), s.say("moved most"), s.say("moved in hold"), s.say("moved after"), s.say("accuracy")}, Align: "brrrr"}
		for _, m := range c.Moves {
			accuracy := "–"
			if m.AccuracyM != nil {
				accuracy = fmt.Sprintf("± %.3g", 1000**m.AccuracyM)
			}
			t.Rows = append(t.Rows, []string{m.Name, mm(m.GreatestM, m.MostM), mm(m.InHoldM, m.HoldMostM), mm(m.AfterM, m.StaysM), accuracy})
		}
		s.Table(t)
	}
	if s.Language == paper.Spanish {
		s.Small(s.say("in English"))
	}
	t := paper.Table{Head: []string{"s", s.say("event")}, Align: "rl"}
	for _, e := range c.Events {
		t.Rows, t.Bold = append(t.Rows, []string{fmt.Sprintf("%.1f", e.TS), e.Text}), append(t.Bold, e.Severity == "stop")
	}
	s.Table(t)
}

// gear is what the force runs through, and the cell.
func (s *page) gear(p *contract.Prove) {
	s.Heading(s.say("gear"))
	u := " " + s.forceUnit()
	t := paper.Table{Head: []string{s.say("piece"), s.say("serial"), s.say("may come") + u, s.say("rating") + u, s.say("proof load") + u, ""}, Align: "blrrrl"}
	for _, c := range p.Checks {
		t.Rows = append(t.Rows, []string{c.Name, cmp.Or(c.Serial, "–"), number[quantity.Force](s, c.ForceN, 0), s.limit(c.RatingN), s.limit(c.ProofN), s.say("check " + c.Outcome)})
	}
	s.Table(t)
	text := s.say("cell line", cmp.Or(p.Cell.Serial, "–"), p.Cell.Channel, or(p.Cell.Calibrated), or(p.Cell.Due))
	if p.Cell.OverrideBy != nil {
		text += " " + s.say("override", *p.Cell.OverrideBy)
	}
	s.Text(text)
	var list []string
	for _, c := range p.Conditions {
		value := map[string]func(*page, float64, float64) string{"K": between[quantity.Temperature], "m/s": between[quantity.Speed], "m": between[quantity.Length]}[c.Unit]
		list = append(list, s.say("condition "+c.Name)+" "+value(s, c.Low, c.High))
	}
	if list != nil {
		s.Text(s.say("conditions", strings.Join(list, "; ")))
	}
}

// between writes what lies between two figures.
func between[Q quantity.Quantity](s *page, low, high float64) string {
	unit := quantity.For[Q](s.Units)
	a, _ := quantity.In(Q(low), unit)
	b, _ := quantity.In(Q(high), unit)
	if a == b {
		return fmt.Sprintf("%.4g %s", a, unit)
	}
	return fmt.Sprintf("%.4g … %.4g %s", a, b, unit)
}
