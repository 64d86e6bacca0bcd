package report

import (
	"cmp"
	"math"
	"slices"
	"strings"

	"plumbhook/card"
	"plumbhook/draw"
	"plumbhook/lift"
	"plumbhook/quantity"
	"plumbhook/register"
	"plumbhook/report/paper"
	"plumbhook/verdict"
)

// CrewCard is the one page in everybody's pocket: weight, what every cell must
// read, where to stop, which gear hangs in which leg, and who may stop. Type
// shrinks before a second page is begun, and the serials go before anything
// else does: they stand on the gear issue list too.
func CrewCard(k *card.Card, o Options) (pdf []byte, err error) {
	for _, fit := range []struct {
		size    float64
		serials bool
	}{{18, true}, {15, true}, {12, true}, {10, true}, {8.5, true}, {7.5, true}, {12, false}, {9, false}, {7.5, false}, {6.5, false}} {
		pages := 0
		pdf, err = o.set("crew card", k.Plan, func(s *sheet) {
			s.crew(k, fit.size, fit.serials)
			pages = s.Page()
		})
		if err != nil || pages == 1 {
			break
		}
	}
	return pdf, err
}

func (s *sheet) crew(k *card.Card, size float64, serials bool) {
	s.verdict()
	if k.State.Hung.Step != "" {
		s.Strong(s.say("after step", k.State.Hung.Step))
	}
	t := &k.Total
	list := []paper.Figure{
		{Label: s.say("load alone"), Value: s.force(k.State.Hung.WeightN, quantity.Nearest), Note: s.kilos(s.p.Sheet.Mass)},
		{Label: s.say("total must read"), Value: s.force(t.NominalN, quantity.Nearest), Note: s.say("from to", s.number(t.LowN, quantity.Down), s.force(t.HighN, quantity.Upward)) + "; " + s.say("no block")},
		{Label: s.say("stop total"), Value: s.force(t.Stops[0].N, quantity.Down), Note: s.because(&t.Stops[0]), Loud: true},
	}
	s.Figures(3, list)
	if len(k.Cells) > 0 {
		cells := paper.Table{Head: []string{s.say("cell"), s.say("leg"), s.say("must read") + " " + s.Force, s.say("from to head") + " " + s.Force, s.say("stop above") + " " + s.Force}, Align: "bbrrr", Size: size}
		for i := range k.Cells {
			c := &k.Cells[i]
			cells.Rows = append(cells.Rows, []string{c.Channel, c.Leg, s.number(c.NominalN, quantity.Nearest), s.number(c.LowN, quantity.Down) + "–" + s.number(c.HighN, quantity.Upward), "■ " + s.number(c.Stops[0].N, quantity.Down)})
			cells.Bold = append(cells.Bold, true)
		}
		s.Table(cells)
		s.Text(s.say("below band"))
	} else {
		s.Strong("□ " + s.say("no cells"))
	}
	s.Loud(s.say("anyone"))
	s.LargePoints([][2]string{
		{s.say("on the ground"), s.say("do ground")},
		{s.say("in the air"), s.say("do air")},
		{s.say("no reading"), s.say("do no reading")},
	})
	legs := paper.Table{Head: []string{s.say("leg"), s.say("from to ends"), s.say("from horizontal"), s.say("gear, from the top")}, Align: "blrl", Size: min(size, 9)}
	for i := range s.p.Lift.Legs {
		l, h := &s.p.Lift.Legs[i], &k.State.Hung.Legs[i]
		var gear []string
		for q := range l.Stack {
			text := s.kind(l.Stack[q].Kind)
			if l.Stack[q].Serial != "" {
				text = l.Stack[q].Serial + " " + text
			}
			gear = append(gear, text)
		}
		if l.WLL != nil && gear == nil {
			gear = []string{"WLL " + l.WLL.Text}
		}
		ends := l.From.String() + " – " + l.To.String()
		if !serials {
			ends, gear = "", []string{s.say("see issue list")}
		}
		legs.Rows = append(legs.Rows, []string{l.Name, ends, degrees(h.FromHorizontal), cmp.Or(strings.Join(gear, ", "), "□ "+s.say("not stated"))})
	}
	s.Table(legs)
	s.Blanks(s.say("supervisor"), s.say("signaller"), s.say("channel or signals"))
}

// because words why a stop number is what it is.
func (s *sheet) because(stop *card.Stop) string {
	text := ""
	switch stop.Why {
	case card.NotThePlan:
		return s.say("because not plan")
	case card.Heavier:
		return s.say("because heavier")
	case card.OfPart:
		text = s.say("because part", s.where(stop.Part.Where)+" ("+s.kind(stop.Part.Kind)+")")
	case card.OfFile:
		text = s.say("because file")
	}
	switch {
	case stop.Crowded:
		text += " " + s.say("crowded", s.force(stop.AtN, quantity.Down), s.force(*stop.RiseN, quantity.Upward))
	case stop.RiseN != nil:
		text += " " + s.say("rises", s.force(stop.AtN, quantity.Down), s.force(*stop.RiseN, quantity.Upward))
	}
	return text
}

// ExpectedReadings is the card that is filled in while the load is taken: what
// every cell must read at every stage, with room for what it did read.
func ExpectedReadings(k *card.Card, o Options) ([]byte, error) {
	o.across = true
	return o.set("expected readings", k.Plan, func(s *sheet) {
		s.verdict()
		if k.State.Hung.Step != "" {
			s.Strong(s.say("after step", k.State.Hung.Step))
		}
		s.Strong(s.say("all in", s.Force) + " " + s.say("at rest"))
		s.readings(k)
		s.Blanks(s.say("date and time"), s.say("read by"), s.say("supervisor"))
		s.stops(k)
		s.bite(k)
		s.rigged(k)
		s.tug(k)
		if len(k.Missing) > 0 {
			s.Heading(s.say("not here"))
			s.english()
			var list [][2]string
			for _, text := range k.Missing {
				list = append(list, [2]string{"□", text})
			}
			s.Points(list)
		}
		s.Small(s.say("card note"))
		s.notes()
	})
}

func (s *sheet) readings(k *card.Card) {
	t := paper.Table{Head: []string{s.say("cell"), s.say("leg"), s.say("zero head"), "25 %", "50 %", "75 %", s.say("hung"), s.say("95 in 100"), s.say("warn"), "■ " + s.say("stop"), s.say("after lift")}, Align: "bbwwwwwrrrw", Size: 9.5}
	row := func(name, leg, zero string, levels []float64, low, nominal, high, warn, stop float64, after string) {
		cells := []string{name, leg, zero}
		for i := range card.Levels {
			text := "–"
			if levels != nil {
				text = s.number(levels[i], quantity.Nearest)
			}
			cells = append(cells, text)
		}
		t.Rows = append(t.Rows, append(cells, s.number(nominal, quantity.Nearest), s.number(low, quantity.Down)+" – "+s.number(high, quantity.Upward), s.number(warn, quantity.Down), s.number(stop, quantity.Down), after),
			[]string{"", s.say("read"), "", "", "", "", "", "", "", "", ""})
		t.Bold = append(t.Bold, true, false)
	}
	for i := range k.Cells {
		c := &k.Cells[i]
		cell, _ := s.p.Lift.Legs[c.Cell.Leg].CellAt()
		zero, after := "0, "+s.say("zero "+string(cell.Zero)), "0"
		if cell.Zero == lift.ZeroNone {
			zero, after = s.say("zero none"), ""
		}
		var levels []float64
		if k.Bite != nil {
			levels = k.Bite.Cells[i][:]
		}
		row(c.Channel, c.Leg, zero, levels, c.LowN, c.NominalN, c.HighN, c.WarnN, c.Stops[0].N, after)
	}
	var levels []float64
	rigging := "–"
	if k.Bite != nil {
		levels, rigging = k.Bite.TotalN[:], s.number(k.Bite.EmptyN, quantity.Nearest)
	}
	row(s.say("total"), "", rigging, levels, k.Total.LowN, k.Total.NominalN, k.Total.HighN, k.Total.WarnN, k.Total.Stops[0].N, "")
	if k.Bite != nil {
		cells := []string{s.say("hook up") + " mm", "", "0"}
		for _, m := range k.Bite.TravelM {
			cells = append(cells, plain(1e3*m, 1))
		}
		t.Rows = append(t.Rows, append(cells, plain(1e3*k.Bite.FullM, 1), "", "", "", ""))
		t.Bold = append(t.Bold, false)
	}
	s.Table(t)
}

// stops says for every cell and for the total where to stop, and why.
func (s *sheet) stops(k *card.Card) {
	s.Heading(s.say("stops head"))
	var list [][2]string
	say := func(what string, stops []card.Stop) {
		var text []string
		for i := range stops {
			because := s.because(&stops[i])
			if !stops[i].Crowded || i == 0 {
				because = s.say("above because", s.force(stops[i].N, quantity.Down), because)
			}
			text = append(text, because)
		}
		list = append(list, [2]string{"■ " + what, strings.Join(text, "; ") + "."})
	}
	for i := range k.Cells {
		say(k.Cells[i].Channel, k.Cells[i].Stops)
	}
	say(s.say("total"), k.Total.Stops)
	s.Points(list)
	s.Text(s.say("below band"))
	slow, crowded := math.Inf(1), false
	all := slices.Clone(k.Total.Stops)
	for i := range k.Cells {
		all = append(all, k.Cells[i].Stops...)
	}
	for _, stop := range all {
		if stop.Crowded {
			slow, crowded = min(slow, stop.SlowM), true
		}
	}
	speed := func(v float64) string { return quantity.Show(60*v, 6*v, quantity.Down) + " m/min" }
	switch {
	case k.HoistSpeed == 0:
		s.Strong("▲ " + s.say("no room for delay"))
	case crowded && slow == 0:
		s.Strong("■ " + s.say("no speed"))
	case crowded:
		s.Strong("■ " + s.say("too fast", speed(k.HoistSpeed), speed(slow)))
	}
}

// bite tells what hook travel does while the ground still carries.
func (s *sheet) bite(k *card.Card) {
	if k.Bite == nil {
		return
	}
	share := 1.0
	if k.HookStiffness > 0 {
		share = k.HookStiffness / (k.HookStiffness + k.Bite.PerMetre)
	}
	show := func(n float64) string { return quantity.Show(n/s.newton, n/s.newton/10, quantity.Nearest) }
	var each []string
	for i := range k.Cells {
		each = append(each, k.Cells[i].Channel+" "+show(0.01*share*k.Bite.Legs[k.Cells[i].Cell.Leg].PerMetre))
	}
	each = append(each, s.say("total")+" "+show(0.01*share*k.Bite.PerMetre))
	s.Heading(s.say("bite head"))
	s.Text(s.say("bite", strings.Join(each, ", "), s.Force))
}

// rigged tells what the measured height of the hook changes.
func (s *sheet) rigged(k *card.Card) {
	r := k.AsRigged
	if r == nil {
		return
	}
	s.Heading(s.say("rigged head"))
	s.Text(s.say("rigged", plain(r.MeasuredM, 3), plain(r.PlannedM, 3), quantity.Show(100*(r.Scale-1), 1, quantity.Nearest)))
	t := paper.Table{Head: []string{s.say("cell"), s.say("must read") + " " + s.Force, s.say("planned") + " " + s.Force, s.say("from horizontal"), s.say("planned"), ""}, Align: "brrrrl"}
	for i, n := range r.Cells {
		c := &k.Cells[i]
		note := ""
		if n < c.LowN || n > c.HighN {
			note = "■ " + s.say("outside band")
		}
		t.Rows = append(t.Rows, []string{c.Channel, s.number(n, quantity.Nearest), s.number(c.NominalN, quantity.Nearest), degrees(r.Angles[c.Cell.Leg]), degrees(k.State.Hung.Legs[c.Cell.Leg].FromHorizontal), note})
	}
	s.Table(t)
	if len(r.Beyond) > 0 {
		s.Strong("■ " + s.say("beyond", strings.Join(r.Beyond, ", ")))
	}
}

// tug tells how swapped cells are found.
func (s *sheet) tug(k *card.Card) {
	if len(k.Tug) == 0 {
		return
	}
	s.Heading(s.say("tug head"))
	least := 0.0
	for _, p := range k.Tug {
		least = max(least, p.LeastN)
	}
	if least > 0 {
		s.Text(s.say("tug with", quantity.Show(least/s.newton, least/s.newton/10, quantity.Upward)+" "+s.Force, math.Ceil(least/float64(quantity.StandardGravity))))
	} else {
		s.Text(s.say("tug"))
	}
	t := paper.Table{Head: []string{s.say("pull on leg"), s.say("must rise"), s.say("a part"), s.say("must stay"), s.say("done")}, Align: "blllt"}
	for _, p := range k.Tug {
		var in [3][]string
		for i, share := range p.Share {
			switch name := k.Cells[i].Channel; {
			case share > card.Moves:
				in[0] = append(in[0], name)
			case math.Abs(share) > card.Stays:
				in[1] = append(in[1], name+" "+plain(100*share, 0)+" %")
			default:
				in[2] = append(in[2], name)
			}
		}
		t.Rows = append(t.Rows, []string{p.Leg, strings.Join(in[0], ", "), strings.Join(in[1], ", "), strings.Join(in[2], ", "), ""})
	}
	s.Table(t)
	if !k.Tells() {
		s.Strong("▲ " + s.say("tug blind"))
	}
}

// Briefing is what the crew goes over before the lift: the lesson of the sling
// angle with the numbers of this job, and who was there.
func Briefing(k *card.Card, o Options) ([]byte, error) {
	return o.set("briefing", k.Plan, func(s *sheet) {
		s.verdict()
		s.Pictures(s.picture(k.State, draw.Front, 130, 88))
		s.lesson(k)
		s.Heading(s.say("talk head"))
		for _, key := range []string{"talk weight", "talk free", "talk stop", "talk reading", "talk clear", "talk signals", "talk weather"} {
			s.Tick(s.say(key))
		}
		s.Strong("■ " + s.say("talk numbers", s.force(k.Total.NominalN, quantity.Nearest), s.force(k.Total.Stops[0].N, quantity.Down)))
		s.Heading(s.say("attendance"))
		t := paper.Table{Head: []string{s.say("name"), s.say("firm"), s.say("signature")}, Align: "WWW"}
		for range 12 {
			t.Rows = append(t.Rows, []string{"", "", ""})
		}
		s.Table(t)
		s.Blanks(s.say("led by"), s.say("date and time"), s.say("signature"))
	})
}

func (s *sheet) lesson(k *card.Card) {
	a := k.Angle
	s.Heading(s.say("lesson head"))
	if a == nil {
		s.Text(s.say("no lesson"))
		return
	}
	s.Large(s.say("lesson", a.Leg, degrees(a.FromHorizontal), s.force(a.ShareN*a.LengthM/a.RiseM, quantity.Upward), s.force(a.ShareN, quantity.Nearest)))
	s.Text(s.say("tape", s.number(a.ShareN, quantity.Nearest), plain(a.LengthM, 3), plain(a.RiseM, 3), s.force(a.ShareN*a.LengthM/a.RiseM, quantity.Upward)))
	t := paper.Table{Head: []string{s.say("from horizontal"), s.say("from vertical"), s.say("times share"), s.say("force in leg") + " " + s.Force, s.say("of weakest")}, Align: "rrrrr", Size: 10.5}
	c := paper.Curve{Name: a.Leg}
	for _, r := range a.Rows {
		head := degrees(r.FromHorizontal)
		if r.Planned {
			head = "● " + s.say("plan") + " " + head
		}
		use := ""
		if r.Used != nil {
			use = s.used(r.Used)
		}
		t.Rows = append(t.Rows, []string{head, degrees(math.Pi/2 - r.FromHorizontal), plain(r.Factor, 3), s.number(r.ForceN, quantity.Upward), use})
		t.Bold = append(t.Bold, r.Planned)
	}
	s.Table(t)
	for deg := 20.0; deg <= 90; deg++ {
		c.X, c.Y = append(c.X, deg), append(c.Y, a.ShareN*card.Factor(deg*math.Pi/180)/s.newton)
	}
	chart := paper.Chart{X: s.say("from horizontal") + " (°)", Y: s.say("force in leg") + " " + s.Force, Curves: []paper.Curve{c}, At: []paper.Level{{Name: s.say("plan"), V: a.FromHorizontal * 180 / math.Pi}}, High: 58}
	if a.LimitN > 0 {
		chart.Levels = []paper.Level{{Name: s.say("may bear") + ": " + s.where(a.Weakest), V: a.LimitN / s.newton}}
	}
	s.Chart(chart)
	switch {
	case a.OutAngle != nil:
		s.Strong("■ " + s.say("out angle", s.where(a.Weakest), plain(math.Ceil(*a.OutAngle*180/math.Pi), 0)+"°"))
	case a.NotEvenVertical:
		s.Loud("■ " + s.say("not even plumb", s.where(a.Weakest)))
	}
}

// GearIssue lists every piece that the lift needs, what the register says of it
// on the day, and two boxes: handed out, and back.
func GearIssue(p *verdict.Plan, o Options) ([]byte, error) {
	o.across = true
	return o.set("gear issue", p, func(s *sheet) {
		if s.Gear == nil {
			s.Framed("□ " + s.say("no register"))
		} else {
			s.Strong(s.say("register on", string(s.Gear.On)))
		}
		t := paper.Table{Head: []string{s.say("where"), s.say("kind"), s.say("serial"), s.say("rating"), s.say("examine by"), s.say("calibrate by"), s.say("fit"), s.say("out"), s.say("in")}, Align: "llwllllt" + "t"}
		var against [][2]string
		add := func(where, kind, serial string, wll *quantity.Rating) {
			rating := "□ " + s.say("no rating")
			if wll != nil {
				rating = wll.Text
			}
			row := []string{s.where(where), s.kind(kind), serial, rating, "", "", "□ " + s.say("read the tag"), "", ""}
			if s.Gear != nil && serial != "" {
				if it, ok := s.item(serial); ok {
					row[4], row[5] = cmp.Or(string(it.ExamineBy), "□ "+s.say("unknown")), string(it.CalibrateBy)
					var told []string
					if row[6], told = s.fitness(&it); told != nil {
						for _, text := range told {
							against = append(against, [2]string{it.Serial, text})
						}
					}
				} else {
					row[6] = "□ " + s.say("not in register")
				}
			}
			t.Rows = append(t.Rows, row)
			t.Bold = append(t.Bold, strings.HasPrefix(row[6], "■"))
		}
		l := p.Lift
		for i := range l.Nodes {
			add("nodes."+l.Nodes[i].Name, "node", "", l.Nodes[i].WLL)
		}
		for i := range l.Spreaders {
			add("spreaders."+l.Spreaders[i].Name, "spreader", "", l.Spreaders[i].WLL)
		}
		for i := range l.Legs {
			leg := &l.Legs[i]
			if len(leg.Stack) == 0 {
				add("legs."+leg.Name, verdict.BareLeg, "", leg.WLL)
			}
			for k := range leg.Stack {
				q := &leg.Stack[k]
				wll := q.WLL
				if wll == nil && q.Cell != nil {
					wll = q.Cell.Capacity
				}
				add("legs."+leg.Name+".stack["+plain(float64(k+1), 0)+"]", q.Kind, q.Serial, wll)
			}
		}
		s.Table(t)
		if against != nil {
			s.Heading(s.say("against head"))
			s.english()
			s.Points(against)
		}
		s.Small(s.say("issue note"))
		s.Blanks(s.say("issued by"), s.say("taken by"), s.say("date and time"))
		s.Blanks(s.say("back by"), s.say("looked at by"), s.say("date and time"))
	})
}

// fitness sums up what the register says of an item on the day, and gives the
// sentences.
func (s *sheet) fitness(it *register.Item) (sum string, told []string) {
	sum = "● " + s.say("fit for use")
	worst := 0
	for _, f := range register.Fitness(it, s.Gear.On) {
		rank := map[register.Severity]int{register.Stop: 4, register.NotAssessed: 3, register.Caution: 2, register.Note: 1}[f.Severity]
		if rank > worst {
			worst = rank
			sum = map[register.Severity]string{
				register.Stop: "■ " + s.say("do not use"), register.NotAssessed: "□ " + s.say("part not assessed"),
				register.Caution: "▲ " + s.say("severity caution"), register.Note: sum,
			}[f.Severity]
		}
		told = append(told, f.Text+" ["+f.Source+"]")
	}
	return sum, told
}
