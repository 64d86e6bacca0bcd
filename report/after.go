package report

import (
	"cmp"
	"fmt"
	"maps"
	"math"
	"slices"
	"strings"

	"plumbhook/alarm"
	"plumbhook/draw"
	"plumbhook/fault"
	"plumbhook/quantity"
	"plumbhook/report/paper"
	"plumbhook/verdict"
)

// Customer is the report for whoever pays, or insures: declared weight against
// measured with its uncertainty, peaks, what was past its limit. Two pages; what
// does not fit is counted and stands in the full record.
func Customer(w *Watched, o Options) (pdf []byte, err error) {
	for _, most := range []int{14, 9, 6, 4, 2, 1, 0} {
		pages := 0
		pdf, err = o.set("customer report", w.Plan, func(s *sheet) {
			s.customer(w, most)
			pages = s.Page()
		})
		if err != nil || pages <= 2 {
			break
		}
	}
	return pdf, err
}

func (s *sheet) customer(w *Watched, most int) {
	s.states(w)
	s.Text(s.say("plan was", s.outcome(s.p)))
	s.weights(w)
	s.peaks(w)
	s.chart(w, 62)
	raised := w.raised()
	s.Heading(s.say("exceedances", len(raised)))
	if len(raised) == 0 {
		s.Text(s.say("no exceedances"))
	} else {
		slices.SortStableFunc(raised, func(a, b alarm.Event) int { return -cmp.Compare(a.Severity, b.Severity) }) // stop before caution
		shown := raised[:min(most, len(raised))]
		if len(shown) > 0 {
			s.events(w, shown)
		}
		if n := len(raised) - len(shown); n > 0 {
			s.Strong("▲ " + s.say("more events", n))
		}
	}
	s.causes(w, 3)
	s.calibrations()
	s.Blanks(s.say("supervisor")+": "+s.say("name"), s.say("date and time"), s.say("signature"))
	s.Blanks(s.say("for the customer")+": "+s.say("name"), s.say("date and time"), s.say("signature"))
}

// FullRecord is everything: each input with who claims it, each formula with
// its numbers and source, each part, what the watch saw and said, what persons
// did. It is as long as it has to be.
func FullRecord(w *Watched, o Options) ([]byte, error) {
	return o.set("full record", w.Plan, func(s *sheet) {
		s.states(w)
		s.verdict()
		s.summary()
		s.Pictures(s.picture(&s.p.States[0], draw.Front, 107, 100), s.picture(&s.p.States[0], draw.Above, 72, 100))
		s.load()
		s.how()
		s.inputs()
		s.legs()
		s.parts()
		s.cells()
		s.machines()
		s.limits()
		s.findings()
		s.calibrations()
		s.Heading(s.say("weights head"))
		s.weights(w)
		s.peaks(w)
		s.chart(w, 75)
		s.phases(w)
		s.causes(w, 99)
		s.Heading(s.say("exceedances", len(w.raised())))
		if len(w.raised()) == 0 {
			s.Text(s.say("no exceedances"))
		}
		s.changes(w)
		s.people(w)
		s.lost(w)
		s.working()
		s.signatures("prepared", "supervisor", "checked", "approved")
		s.notes()
	})
}

// how tells how each mass was found.
func (s *sheet) how() {
	s.Heading(s.say("how head"))
	var list [][2]string
	for _, line := range s.p.Sheet.Lines {
		list = append(list, [2]string{line.Name, line.How})
	}
	s.Points(list)
}

// inputs is every figure of the file that is not exactly known.
func (s *sheet) inputs() {
	s.Heading(s.say("inputs head"))
	list := s.p.States[0].Spread.Inputs
	if len(list) == 0 {
		s.Text(s.say("no inputs"))
		return
	}
	t := paper.Table{Head: []string{s.say("figure"), s.say("nominal"), s.say("lowest"), s.say("highest"), s.say("unit"), s.say("spread")}, Align: "brrrll", Size: 7.6}
	for _, in := range list {
		t.Rows = append(t.Rows, []string{in.Name, fmt.Sprintf("%.7g", in.Value), fmt.Sprintf("%.7g", in.Low), fmt.Sprintf("%.7g", in.High), in.Unit, s.say("shape " + [...]string{"exact", "normal", "uniform"}[in.Shape])})
	}
	s.Table(t)
	s.Small(s.say("inputs note", s.p.States[0].Spread.Draws))
}

func (s *sheet) phases(w *Watched) {
	s.Heading(s.say("phases head"))
	t := paper.Table{Head: []string{s.say("phase"), s.say("begins"), s.say("ends"), s.say("evidence")}, Align: "brrl"}
	for _, p := range w.Result.Phases {
		t.Rows = append(t.Rows, []string{s.say("phase " + string(p.Phase)), w.moment(w.Zero.Plus(p.FromS)), w.moment(w.Zero.Plus(p.ToS)), p.Evidence})
	}
	s.Table(t)
}

// changes are all events, in order: raised, worse, gone, cleared.
func (s *sheet) changes(w *Watched) {
	if len(w.Events) == 0 {
		return
	}
	s.english()
	t := paper.Table{Head: []string{s.say("time"), s.say("change"), s.say("status"), s.say("what"), s.say("where"), s.say("value") + " " + s.Force, s.say("limit head") + " " + s.Force, s.say("as said"), s.say("who")}, Align: "lllbbrrll", Size: 7.2}
	for i := range w.Events {
		e := &w.Events[i]
		row := s.event(w, e)
		t.Rows = append(t.Rows, append(slices.Insert(row, 1, s.say("change "+string(e.Change))), e.Who))
	}
	s.Table(t)
}

// people is what persons said, and when cells were zeroed.
func (s *sheet) people(w *Watched) {
	s.Heading(s.say("people head"))
	if len(w.View.Words)+len(w.View.Tares)+len(w.View.Away) == 0 {
		s.Text(s.say("no people"))
		return
	}
	t := paper.Table{Head: []string{s.say("time"), s.say("who"), s.say("what")}, Align: "lbl"}
	for _, x := range w.View.Tares {
		text := s.say("tared " + string(x.Kind))
		if x.Refused != "" {
			text = s.say("tare refused") + " " + x.Refused
		}
		for i, n := range x.OffN {
			text += fmt.Sprintf("; %s %s", w.View.Cells[i].Channel, s.force(n, quantity.Nearest))
		}
		t.Rows = append(t.Rows, []string{w.moment(x.At), x.Who, text})
	}
	for _, x := range w.View.Words {
		who := x.Who
		if !x.Signed {
			who += " (" + s.say("not signed") + ")"
		}
		t.Rows = append(t.Rows, []string{w.moment(x.At), who, x.Says})
	}
	for _, x := range w.View.Away {
		t.Rows = append(t.Rows, []string{w.moment(x.From), "", "■ " + s.say("no watch until", w.moment(x.To))})
	}
	s.Table(t)
}

// lost is what of the readings could not be used.
func (s *sheet) lost(w *Watched) {
	s.Heading(s.say("lost head"))
	s.Text(s.say("readings in all", w.Readings))
	var list [][2]string
	for _, ch := range slices.Sorted(maps.Keys(w.Unplanned)) {
		list = append(list, [2]string{ch, s.say("unplanned", w.Unplanned[ch])})
	}
	for _, g := range w.Garbled {
		list = append(list, [2]string{"▲", g})
	}
	if list == nil {
		s.Text(s.say("nothing lost"))
	}
	s.Points(list)
}

// working lays open every number of every state: inputs, formula, numbers put
// in, source.
func (s *sheet) working() {
	s.Break()
	s.Heading(s.say("working head"))
	s.english()
	s.Small(s.say("working note"))
	for i := range s.p.States {
		for _, name := range verdict.Explainable(s.p, i) {
			x, err := verdict.Explain(s.p, i, name)
			if err != nil {
				s.Text("▲ " + name + ": " + err.Error())
				continue
			}
			title := x.Name + ": " + x.Title
			if len(s.p.States) > 1 {
				title += " (" + s.step(i, &s.p.States[i]) + ")"
			}
			s.Heading(title)
			s.explanation(x)
		}
	}
}

func (s *sheet) explanation(x *verdict.Explanation) {
	if len(x.Given) > 0 {
		t := paper.Table{Head: []string{s.say("given"), s.say("value"), s.say("unit"), s.say("what"), s.say("as written"), s.say("from")}, Align: "brllll", Size: 7.2}
		for _, g := range x.Given {
			from := g.From
			if g.Pos.Line > 0 {
				from = strings.TrimSpace(from + " " + s.say("line of file", g.Pos.Line))
			}
			t.Rows = append(t.Rows, []string{g.Symbol, strings.Join(g.Texts(), ", "), g.Unit, g.What, g.Text, from})
		}
		s.Table(t)
	}
	if len(x.Work) > 0 {
		t := paper.Table{Head: []string{s.say("result"), s.say("formula"), s.say("put in"), s.say("value"), s.say("unit"), s.say("source")}, Align: "bllrll", Size: 7.2}
		for _, k := range x.Work {
			t.Rows = append(t.Rows, []string{k.Symbol, k.Formula, k.Put, k.Text(), k.Unit, k.Source})
			t.Bold = append(t.Bold, k.Answer)
		}
		s.Table(t)
	}
	for _, table := range x.Tables {
		s.Strong(table.Title + " [" + table.Source + "]")
		t := paper.Table{Head: []string{""}, Align: "b", Size: 7.2}
		for _, c := range table.Columns {
			t.Head, t.Align = append(t.Head, strings.TrimSpace(c.Name+" "+c.Unit)), t.Align+"r"
		}
		rows := table.Rows
		if table.Sum != nil {
			rows = append(slices.Clip(rows), *table.Sum)
		}
		for _, r := range rows {
			cells := []string{r.Label}
			for _, v := range r.Values {
				text := ""
				if !math.IsNaN(v) {
					text = fmt.Sprintf("%.7g", v)
				}
				cells = append(cells, text)
			}
			t.Rows = append(t.Rows, cells)
		}
		s.Table(t)
	}
	for _, n := range x.Notes {
		s.Small(n)
	}
}

// NearMiss is the report on one stop, the n-th of Watched.Stops, from 1: what
// happened when, the readings around it, what every part saw, and lines for
// what only persons know.
func NearMiss(w *Watched, n int, o Options) ([]byte, error) {
	stops := w.Stops()
	if n < 1 || n > len(stops) {
		return nil, fault.New(fault.Reference, "there is no stop number %d", n).In("stop").Fix("the readings raised %d; a near miss without a stop is written by hand", len(stops))
	}
	e := &stops[n-1]
	return o.set("near miss", w.Plan, func(s *sheet) {
		s.Loud("■ " + s.say("alarm "+string(e.Kind)))
		list := []paper.Figure{{Label: s.say("time"), Value: w.moment(e.At), Note: s.say("stop n of", n, len(stops))}, {Label: s.say("where"), Value: cmp.Or(e.Where, s.say("whole lift"))}}
		if e.Kind.IsForce() && e.Value != 0 {
			list = append(list, paper.Figure{Label: s.say("value"), Value: s.force(e.Value, quantity.Upward), Loud: true})
			if e.Limit != 0 {
				list[2].Note = s.say("limit head") + " " + s.force(e.Limit, quantity.Down)
			}
		}
		s.Figures(3, list)
		s.english()
		s.Strong(e.Text)
		s.around(w, e)
		s.saw(w)
		s.Heading(s.say("events around"))
		near := slices.DeleteFunc(w.raised(), func(x alarm.Event) bool { return math.Abs(x.At.Since(e.At)) > 60 })
		s.events(w, near)
		s.Heading(s.say("persons head"))
		for _, key := range []string{"who was there", "what happened", "what was done", "gear held back", "told to"} {
			s.Strong(s.say(key))
			s.Lines(2)
		}
		s.Blanks(s.say("written by"), s.say("date and time"), s.say("signature"))
		s.Blanks(s.say("supervisor"), s.say("date and time"), s.say("signature"))
	})
}

// The stretch around a stop that is shown, s.
const (
	before = 15.0
	after  = 10.0
)

// around is the readings around a stop: a chart, and a row for each cell.
func (s *sheet) around(w *Watched, e *alarm.Event) {
	s.Heading(s.say("around head", before, after))
	c := paper.Chart{X: s.say("seconds from stop"), Y: s.say("on the cell") + " " + s.Force, At: []paper.Level{{Name: "■ " + s.say("stop"), V: 0}}, High: 66}
	t := paper.Table{Head: []string{s.say("cell"), s.say("leg"), s.say("planned") + " " + s.Force, s.say("five before") + " " + s.Force, s.say("at the stop") + " " + s.Force, s.say("greatest after") + " " + s.Force, s.say("age at stop")}, Align: "bbrrrrr"}
	for i := range s.p.States[0].Expected {
		x := &s.p.States[0].Expected[i]
		list := w.Trace.between(x.Channel, e.At.Plus(-before), e.At.Plus(after))
		c.Curves = append(c.Curves, s.curve(x.Channel, list, e.At))
		last := func(from, until float64) (text, age string) {
			text, age = "□ "+s.say("no reading"), ""
			for _, q := range list {
				if d := q.At.Since(e.At); d >= from && d <= until {
					text, age = s.number(q.N, quantity.Nearest), plain(-d, 2)+" s"
				}
			}
			return text, age
		}
		earlier, _ := last(-before, -5)
		now, age := last(-before, 0)
		most := math.Inf(-1)
		for _, q := range list {
			if q.At >= e.At {
				most = max(most, q.N)
			}
		}
		greatest := "□ " + s.say("no reading")
		if !math.IsInf(most, 0) {
			greatest = s.number(most, quantity.Upward)
		}
		t.Rows = append(t.Rows, []string{x.Channel, x.Leg, s.number(x.NominalN, quantity.Nearest), earlier, now, greatest, age})
	}
	s.Chart(c)
	s.Table(t)
}

// saw is the greatest force of the whole lift on every part whose leg has a
// cell, against what it may bear; of the others it says that nobody looked.
func (s *sheet) saw(w *Watched) {
	s.Heading(s.say("saw head"))
	t := paper.Table{Head: []string{s.say("where"), s.say("kind"), s.say("serial"), s.say("saw") + " " + s.Force, s.say("limit") + " " + s.Force, s.say("of limit")}, Align: "lllrrr"}
	for _, q := range s.p.States[0].Parts {
		row := []string{s.where(q.Where), s.kind(q.Kind), q.Serial, "□ " + s.say("no cell there"), "□ " + s.say("no rating"), ""}
		if q.LimitN != nil {
			row[4] = s.number(*q.LimitN, quantity.Down)
		}
		bold := false
		for i := range w.Result.Legs {
			r := &w.Result.Legs[i]
			if q.Where != "legs."+r.Name && !strings.HasPrefix(q.Where, "legs."+r.Name+".") || r.Channel == "" || math.IsNaN(r.PeakN) {
				continue
			}
			if row[3] = s.number(r.PeakN, quantity.Upward); r.PeakIsLeast {
				row[3] = "≥ " + row[3]
			}
			if q.LimitN != nil {
				u := r.PeakN / *q.LimitN
				row[5], bold = s.used(&u), u > 1
			}
		}
		t.Rows = append(t.Rows, row)
		t.Bold = append(t.Bold, bold)
	}
	s.Table(t)
	s.Small(s.say("saw note"))
}
