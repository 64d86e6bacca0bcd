package report

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"plumbhook/draw"
	"plumbhook/lift"
	"plumbhook/quantity"
	"plumbhook/report/paper"
	"plumbhook/rulebook"
	"plumbhook/takeoff"
	"plumbhook/verdict"
)

// LiftPlan is the plan to be approved: load, rigging with every part against
// its rating, forces and angles, readings to expect, cranes, stop numbers,
// findings, what was not assessed; and as lines to write on what a lift plan
// has to say and the file cannot.
//
// What it has to say follows DOE-STD-1090-96 2.2 (read in a copy) and the
// lists beside the lines, each with its source.
func LiftPlan(p *verdict.Plan, o Options) ([]byte, error) {
	return o.set("lift plan", p, func(s *sheet) {
		s.verdict()
		s.summary()
		st := &p.States[p.WorstState()]
		s.drawing(st)
		s.load()
		s.legs()
		s.parts()
		s.cells()
		s.machines()
		s.limits()
		s.findings()
		s.gaps()
		s.signatures("prepared", "checked", "approved")
		s.notes()
	})
}

// summary is what one should know first.
func (s *sheet) summary() {
	st := &s.p.States[s.p.WorstState()]
	w := st.Spread.Weight
	total, p95, _ := st.Total()
	list := []paper.Figure{
		{Label: s.say("load alone"), Value: s.force(st.Hung.WeightN, quantity.Nearest), Note: s.say("P5 to P95", s.number(w.P5, quantity.Down), s.number(w.P95, quantity.Upward)) + "; " + s.kilos(s.p.Sheet.Mass)},
		{Label: s.say("at the hooks"), Value: s.force(p95, quantity.Upward), Note: s.say("P95, planned", s.number(total, quantity.Nearest))},
	}
	if s.p.Dynamic != 1 {
		list[1].Note += "; " + s.say("with dynamic", fmt.Sprintf("%.4g", s.p.Dynamic), s.number(p95*s.p.Dynamic, quantity.Upward))
	}
	if q, ok := worst(s.p); ok {
		list = append(list, paper.Figure{Label: s.say("used most"), Value: percent(*q.Utilisation), Note: s.where(q.Where) + ", " + s.kind(q.Kind), Loud: *q.Utilisation > 1})
	}
	load := &st.Hung.Bodies[0]
	note := s.say("off level")
	if t := s.p.Lift.Limits.Tilt; t != nil {
		note += ", " + s.say("allowed", degrees(float64(t.Value)))
	}
	list = append(list, paper.Figure{Label: s.say("tilt"), Value: degrees(load.Tilt), Note: note})
	s.Figures(4, list)
	if !st.Hung.Stable {
		s.Loud(s.say("not stable"))
	}
}

func (s *sheet) drawing(st *verdict.State) {
	if st.Hung.Step != "" {
		s.Strong(s.say("drawn after", st.Hung.Step))
	}
	s.Pictures(s.picture(st, draw.Front, 107, 100), s.picture(st, draw.Above, 72, 100))
}

// load is the weight sheet.
func (s *sheet) load() {
	l := s.p.Lift
	s.Heading(s.say("load head", l.Load.Name))
	t := paper.Table{Head: []string{s.say("part"), s.say("mass"), s.say("cg in", s.lengthUnit()), s.say("claimed by")}, Align: "blll"}
	for _, line := range s.p.Sheet.Lines {
		from := cmp.Or(line.From, "□ "+s.say("nobody"))
		if !line.Counted {
			from += "; " + s.say("dry")
		}
		t.Rows = append(t.Rows, []string{line.Name, s.kilos(line.Mass), s.place(line.At.XYZ()), from})
	}
	if c := float64(l.Load.Sheet.Contingency); c > 0 {
		t.Rows = append(t.Rows, []string{s.say("contingency"), s.kilos(quantity.Known(quantity.Mass(float64(s.p.Sheet.Listed) * c))), "", fmt.Sprintf("%.3g %%", c*100)})
	}
	t.Rows = append(t.Rows, []string{s.say("sum"), s.kilos(s.p.Sheet.Mass), s.place(s.p.Sheet.CG.XYZ()), ""})
	t.Bold = make([]bool, len(t.Rows))
	t.Bold[len(t.Rows)-1] = true
	s.Table(t)
	text := s.say("cg box", s.place(s.p.Sheet.CGLow), s.place(s.p.Sheet.CGHigh), s.lengthUnit())
	if l.Load.Size != nil {
		text += " " + s.say("size", s.place(l.Load.Size.XYZ()), s.lengthUnit())
	}
	s.Small(text)
}

// legs is every state's table of legs.
func (s *sheet) legs() {
	for i := range s.p.States {
		st := &s.p.States[i]
		title := s.say("legs head")
		if len(s.p.States) > 1 {
			title += ": " + s.step(i, st) + ", " + s.say("outcome "+string(st.Outcome))
		}
		s.Heading(title)
		four := slices.ContainsFunc(st.Hung.Legs, func(l lift.HungLeg) bool { return l.WorstN != nil })
		t := paper.Table{Head: []string{s.say("leg"), s.say("planned") + " " + s.Force, "P95 " + s.Force, s.say("from horizontal"), s.say("from vertical"), s.say("length") + " " + s.lengthUnit(), s.say("of WLL")}, Align: "brrrrrr"}
		if four {
			t.Head, t.Align = slices.Insert(t.Head, 3, s.say("one slack")+" "+s.Force), "brrrrrrr"
		}
		for k := range st.Hung.Legs {
			l := &st.Hung.Legs[k]
			row := []string{l.Name, s.number(l.TensionN, quantity.Nearest), s.number(st.P95[l.Name], quantity.Upward), degrees(l.FromHorizontal), degrees(l.FromVertical), s.metres(l.LengthM), s.used(st.Utilisation[l.Name])}
			if l.Slack {
				row[1] += " ■ " + s.say("slack")
			}
			if four {
				text := ""
				if l.WorstN != nil {
					text = s.number(*l.WorstN, quantity.Upward)
					if l.WLLN != nil && *l.WorstN*s.p.Dynamic > *l.WLLN {
						text = "▲ " + text
					}
				}
				row = slices.Insert(row, 3, text)
			}
			t.Rows = append(t.Rows, row)
		}
		s.Table(t)
	}
}

// parts is every part over the whole lift, with the state that asks most of it.
func (s *sheet) parts() {
	s.Heading(s.say("parts head"))
	t := paper.Table{Head: []string{s.say("where"), s.say("kind"), s.say("serial"), s.say("demand") + " " + s.Force, s.say("limit") + " " + s.Force, s.say("of limit"), s.say("status")}, Align: "lllrrrl"}
	steps := len(s.p.States) > 1
	if steps {
		t.Head, t.Align = append(t.Head, s.say("when")), t.Align+"l"
	}
	for _, q := range s.p.Envelope() {
		limit := ""
		if q.LimitN != nil {
			limit = s.number(*q.LimitN, quantity.Down)
		}
		status := map[verdict.Status]string{verdict.PartHolds: "● ", verdict.PartFails: "■ ", verdict.PartNotAssessed: "□ "}[q.Status] + s.say("part "+string(q.Status))
		row := []string{s.where(q.Where), s.kind(q.Kind), q.Serial, s.number(q.DemandN, quantity.Upward), limit, s.used(q.Utilisation), status}
		if steps {
			row = append(row, cmp.Or(q.Step, s.say("first rigged")))
		}
		t.Rows = append(t.Rows, row)
		t.Bold = append(t.Bold, q.Status == verdict.PartFails)
	}
	s.Table(t)
}

// cells is what every load cell must read.
func (s *sheet) cells() {
	st := &s.p.States[0]
	if len(st.Expected) == 0 {
		return
	}
	s.Heading(s.say("cells head"))
	t := paper.Table{Head: []string{s.say("cell"), s.say("leg"), s.say("must read") + " " + s.Force, s.say("95 in 100") + " " + s.Force, s.say("capacity") + " " + s.Force, s.say("accuracy"), s.say("zero")}, Align: "blrrrll"}
	for i := range st.Expected {
		e := &st.Expected[i]
		cell, _ := s.p.Lift.Legs[e.Cell.Leg].CellAt()
		capacity, accuracy := "", "□ "+s.say("not stated")
		if cell.Capacity != nil {
			capacity = s.number(float64(cell.Capacity.Force), quantity.Down)
		}
		if cell.Accuracy != nil {
			accuracy = cell.Accuracy.Text
		}
		t.Rows = append(t.Rows, []string{e.Channel, e.Leg, s.number(e.NominalN, quantity.Nearest), s.number(e.LowN, quantity.Down) + " – " + s.number(e.HighN, quantity.Upward), capacity, accuracy, s.say("zero " + string(cell.Zero))})
	}
	s.Table(t)
}

// machines is what hangs on every crane, line by line, against its chart.
func (s *sheet) machines() {
	st := &s.p.States[s.p.WorstState()]
	for i := range st.Machines {
		m := &st.Machines[i]
		s.Heading(s.say("crane head", m.Hook))
		t := paper.Table{Head: []string{s.say("what hangs"), s.Force, s.say("how")}, Align: "lrl"}
		for _, l := range m.Lines {
			if l.N != 0 {
				t.Rows = append(t.Rows, []string{l.Name, s.number(l.N, quantity.Upward), strings.TrimSpace(l.How + " " + l.From)})
			}
		}
		t.Rows = append(t.Rows, []string{s.say("gross"), s.number(m.GrossN, quantity.Upward), ""})
		t.Bold = make([]bool, len(t.Rows))
		t.Bold[len(t.Rows)-1] = true
		s.Table(t)
		switch u := m.Use; {
		case u == nil:
			s.Strong("□ " + s.say("no chart"))
		case u.CapacityN == nil:
			s.Strong("■ " + s.say("chart gives nothing") + " " + m.Chart)
		default:
			s.Strong(s.say("chart use", s.used(u.Share), s.rating(*u.CapacityN)) + " " + m.Chart)
		}
	}
}

// limits are the numbers at which the lift stops, as far as the file has some.
func (s *sheet) limits() {
	l := s.p.Lift
	s.Heading(s.say("limits head"))
	t := paper.Table{Head: []string{s.say("on"), s.say("warn"), s.say("stop")}, Align: "brr"}
	row := func(name string, m *lift.Limit) {
		text := [2]string{"□ " + s.say("not stated"), "□ " + s.say("not stated")}
		for i, r := range []*quantity.Rating{m.Warn, m.Stop} {
			if r != nil {
				text[i] = s.rating(float64(r.Force))
			}
		}
		t.Rows = append(t.Rows, []string{name, text[0], text[1]})
	}
	if l.Limits.Total != nil {
		row(s.say("total"), l.Limits.Total)
	}
	for i := range l.Legs {
		if m, ok := l.Limits.Legs[l.Legs[i].Name]; ok {
			row(s.say("where legs", l.Legs[i].Name), &m)
		}
	}
	if l.Limits.Tilt != nil {
		t.Rows = append(t.Rows, []string{s.say("tilt") + ", " + s.say("off level"), "", degrees(float64(l.Limits.Tilt.Value))})
	}
	if l.Site.Wind != nil {
		t.Rows = append(t.Rows, []string{s.say("wind"), "", l.Site.Wind.Format(quantity.For[quantity.Speed](s.Units))})
	}
	if t.Rows == nil {
		s.Strong("□ " + s.say("no limits"))
		return
	}
	s.Table(t)
	s.Small(s.say("limits note"))
}

// gap is something that a lift plan has to say and that no lift file knows.
type gap struct {
	key, source string
	known       func(*verdict.Plan) bool // nil: never
}

var gaps = []gap{
	{"gap class", "29 CFR 1926.751; DOE-STD-1090-96 2.2", nil},
	{"gap claims", "USACE Form 16-3", func(p *verdict.Plan) bool {
		return !slices.ContainsFunc(p.Lift.Load.Sheet.Parts, func(q takeoff.Part) bool { return q.From == "" })
	}},
	{"gap size", "DOE-STD-1090-96 2.2 c", func(p *verdict.Plan) bool { return p.Lift.Load.Size != nil }},
	{"gap hazard", "DOE-STD-1090-96 2.2 c", nil},
	{"gap crane", "DOE-STD-1090-96 2.2 c; USACE Form 16-3", nil},
	{"gap chart", "29 CFR 1926.1417(o), from memory", func(p *verdict.Plan) bool { return charted(p) }},
	{"gap boom", "DOE-STD-1090-96 2.2 c", nil},
	{"gap ground", "USACE Form 16-3", func(p *verdict.Plan) bool {
		return len(p.Lift.Cranes) > 0 && !slices.ContainsFunc(p.Lift.Cranes, func(c lift.Crane) bool { return c.Ground == nil })
	}},
	{"gap power", "USACE Form 16-3", nil},
	{"gap path", "USACE Form 16-3", nil},
	{"gap wind", "BC OHS Regulation 14.42.1(2)", func(p *verdict.Plan) bool { return p.Lift.Site.Wind != nil }},
	{"gap speed", "BC OHS Regulation 14.42.1(2)", nil},
	{"gap signal", "BC OHS Regulation 14.42.1(2)", nil},
	{"gap procedure", "DOE-STD-1090-96 2.2 c", nil},
	{"gap in charge", "DOE-STD-1090-96 2.2 b", nil},
	{"gap operator", "USACE Form 16-3", nil},
	{"gap inspected", "USACE, New England District, standard lift plan", nil},
	{"gap meeting", "BC OHS Regulation 14.42.1(3)", nil},
	{"gap rescue", "ASME P30.1, from memory", nil},
}

func charted(p *verdict.Plan) bool {
	m := p.States[0].Machines
	return len(m) == len(p.Lift.Hooks) && !slices.ContainsFunc(m, func(m rulebook.Machine) bool { return m.Use == nil })
}

// gaps are lines for what the file does not say.
func (s *sheet) gaps() {
	s.Heading(s.say("gaps head"))
	s.Text(s.say("gaps text"))
	t := paper.Table{Head: []string{s.say("item"), s.say("asked by"), s.say("write here")}, Align: "blW"}
	for _, g := range gaps {
		if g.known == nil || !g.known(s.p) {
			t.Rows = append(t.Rows, []string{s.say(g.key), s.source(g.source), ""})
		}
	}
	s.Table(t)
}

// source marks in the sheet's language what is from memory.
func (o *Options) source(text string) string {
	return strings.Replace(text, "from memory", o.say("from memory"), 1)
}

// notes say what the words of the sheet stand for.
func (s *sheet) notes() {
	text := s.say("note forces")
	if s.p.Dynamic == 1 {
		text += " " + s.say("note static")
	} else {
		text += " " + s.say("note dynamic", fmt.Sprintf("%.4g", s.p.Dynamic))
	}
	if s.mass {
		text += " " + s.say("note mass", s.Force, fmt.Sprintf("%.6g", s.newton))
	}
	s.Small(text + " " + s.say("note ratings"))
}
