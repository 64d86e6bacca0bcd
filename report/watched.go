package report

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"time"

	"plumbhook/alarm"
	"plumbhook/quantity"
	"plumbhook/reading"
	"plumbhook/report/paper"
	"plumbhook/verdict"
	"plumbhook/watch"
)

// Watched is a lift that was lifted: its plan, and what the watch made of the
// readings.
type Watched struct {
	Plan      *verdict.Plan
	Zero      reading.Stamp // that the seconds of phases count from
	Result    watch.Result
	Events    []alarm.Event
	View      watch.View // as things stood at the end
	Trace     Trace
	Readings  int
	Unplanned map[string]int
	Garbled   []string
}

// Trace is the force on every cell as it came, by channel.
type Trace map[string][]Sample

// Sample is one reading of a cell: corrected, tare off, N.
type Sample struct {
	At reading.Stamp
	N  float64
}

// Take adds what a reading came to.
func (t Trace) Take(r *reading.Reading, n float64) {
	t[r.Channel] = append(t[r.Channel], Sample{r.At, n})
}

// between cuts a stretch out of one channel, by time.
func (t Trace) between(channel string, from, to reading.Stamp) []Sample {
	var out []Sample
	for _, s := range t[channel] {
		if from <= s.At && s.At <= to {
			out = append(out, s)
		}
	}
	slices.SortStableFunc(out, func(a, b Sample) int { return cmp.Compare(a.At, b.At) })
	return out
}

// silence is for how long a line of a chart may be drawn without a reading, s:
// past that it is broken, so that nothing stands where nothing was read.
const silence = 2.0

// curve draws samples in the sheet's unit over seconds since a moment. Of more
// than a page can show, least and greatest of each small stretch stay: a peak
// is never thinned out.
func (s *sheet) curve(name string, list []Sample, zero reading.Stamp) paper.Curve {
	const most = 500
	c := paper.Curve{Name: name}
	add := func(q Sample) {
		c.X, c.Y = append(c.X, q.At.Since(zero)), append(c.Y, q.N/s.newton)
	}
	step := max(1, len(list)/most)
	var last reading.Stamp
	for i := 0; i < len(list); i += step {
		part := list[i:min(i+step, len(list))]
		if i > 0 && part[0].At.Since(last) > silence {
			add(Sample{part[0].At, math.NaN()})
		}
		last = part[len(part)-1].At
		lo := slices.MinFunc(part, func(a, b Sample) int { return cmp.Compare(a.N, b.N) })
		hi := slices.MaxFunc(part, func(a, b Sample) int { return cmp.Compare(a.N, b.N) })
		if hi.At < lo.At {
			lo, hi = hi, lo
		}
		if add(lo); hi != lo {
			add(hi)
		}
	}
	return c
}

// dated is the least stamp, s, that is taken for a date and not for seconds of a
// recording of its own: 1973.
const dated = 1e8

// moment writes a time: as a date where the recording has dates.
func (w *Watched) moment(at reading.Stamp) string {
	if at.Since(0) < dated {
		return plain(at.Since(0), 1) + " s"
	}
	return at.Time().UTC().Format(time.DateOnly+" "+time.TimeOnly) + " UTC"
}

// raised are the alarms as they were raised, in order of time.
func (w *Watched) raised() []alarm.Event {
	list := slices.DeleteFunc(slices.Clone(w.Events), func(e alarm.Event) bool { return e.Change != alarm.Raised })
	slices.SortStableFunc(list, func(a, b alarm.Event) int { return cmp.Compare(a.At, b.At) })
	return list
}

// Stops are the stops that were raised, in order of time: what NearMiss chooses
// from.
func (w *Watched) Stops() []alarm.Event {
	return slices.DeleteFunc(w.raised(), func(e alarm.Event) bool { return e.Severity != alarm.Stop })
}

// states prints what the watch said in one word.
func (s *sheet) states(w *Watched) {
	switch stops, raised := len(w.Stops()), len(w.raised()); {
	case w.Readings == 0:
		s.Loud("□ " + s.say("state nothing"))
	case stops > 0:
		s.Loud("■ " + s.say("state stop", stops, raised-stops))
	case raised > 0:
		s.Framed("▲ " + s.say("state caution", raised))
	default:
		s.Framed("● " + s.say("state within"))
	}
}

// event is a row of the table of alarms.
func (s *sheet) event(w *Watched, e *alarm.Event) []string {
	value, limit := "", ""
	if e.Kind.IsForce() {
		if value = s.number(e.Value, quantity.Upward); e.Limit != 0 {
			limit = s.number(e.Limit, quantity.Down)
		}
	}
	return []string{w.moment(e.At), s.severity(string(e.Severity)), s.say("alarm " + string(e.Kind)), e.Where, value, limit, e.Text}
}

func (s *sheet) events(w *Watched, list []alarm.Event) {
	s.english()
	t := paper.Table{Head: []string{s.say("time"), s.say("status"), s.say("what"), s.say("where"), s.say("value") + " " + s.Force, s.say("limit head") + " " + s.Force, s.say("as said")}, Align: "lblbrrl", Size: 7.6}
	for i := range list {
		t.Rows = append(t.Rows, s.event(w, &list[i]))
	}
	s.Table(t)
}

// weights sets declared beside measured, with what that says.
func (s *sheet) weights(w *Watched) {
	st, x := &s.p.States[0], &w.Result.Estimate
	m := s.p.Sheet.Mass
	g := st.Hung.WeightN / float64(m.Value) // of the site
	declared, du := st.Hung.WeightN, float64(m.High-m.Low)/2*g
	list := []paper.Figure{{Label: s.say("declared"), Value: s.force(declared, quantity.Nearest), Note: "± " + s.force(du, quantity.Upward) + " (95 %); " + s.kilos(m)}}
	text := ""
	switch {
	case math.IsNaN(x.WeightN):
		list = append(list, paper.Figure{Label: s.say("measured"), Value: s.say("cannot be told")})
		text = s.say("weight untold")
	case x.AtLeast:
		list = append(list, paper.Figure{Label: s.say("measured"), Value: s.say("at least", s.force(x.WeightN, quantity.Down)), Note: s.say("not proved free")})
		text = s.say("weight at least")
	default:
		kg := quantity.Measured[quantity.Mass]{Value: quantity.Mass(x.WeightN / g), Low: quantity.Mass((x.WeightN - x.WeightU95N) / g), High: quantity.Mass((x.WeightN + x.WeightU95N) / g), Shape: quantity.Normal}
		list = append(list,
			paper.Figure{Label: s.say("measured"), Value: s.force(x.WeightN, quantity.Nearest), Note: "± " + s.force(x.WeightU95N, quantity.Upward) + " (95 %); " + s.kilos(kg)},
			paper.Figure{Label: s.say("difference"), Value: s.force(x.WeightN-declared, quantity.Nearest), Note: s.say("measured less declared", plain(100*(x.WeightN/declared-1), 1))})
		u := math.Hypot(du, x.WeightU95N)
		if d := math.Abs(x.WeightN - declared); d > u {
			list[2].Loud = true
			text = s.say("differ", s.force(d, quantity.Nearest), s.force(u, quantity.Nearest))
		} else {
			text = s.say("agree", s.force(d, quantity.Nearest), s.force(u, quantity.Nearest))
		}
	}
	s.Figures(3, list)
	s.Text(text)
	if x.AtLeast || math.IsNaN(x.CG[0]+x.CG[1]+x.CG[2]) {
		s.Text(s.say("cg untold"))
		return
	}
	t := paper.Table{Head: []string{s.say("cg in", s.lengthUnit()), "x", "y", "z"}, Align: "brrr"}
	one, _ := quantity.In(quantity.Length(1), s.lengthUnit())
	cg := s.p.Sheet.CG
	row := func(name string, text func(i int) string) {
		t.Rows = append(t.Rows, []string{name, text(0), text(1), text(2)})
	}
	with := func(v, half float64) string {
		if !(half > 0) {
			return plain(v*one, 3)
		}
		value, spread := quantity.Digits(v*one, half*one)
		return value + " ± " + spread
	}
	row(s.say("declared"), func(i int) string {
		a := []quantity.Measured[quantity.Length]{cg.X, cg.Y, cg.Z}[i]
		return with(float64(a.Value), float64(a.High-a.Low)/2)
	})
	row(s.say("measured"), func(i int) string { return with(x.CG[i], x.CGU95[i]) })
	s.Table(t)
	s.Small(s.say("cg height"))
}

// peaks is every leg, planned against measured, with its peak against what it
// may bear.
func (s *sheet) peaks(w *Watched) {
	s.Heading(s.say("peaks head"))
	st := &s.p.States[0]
	t := paper.Table{Head: []string{s.say("leg"), s.say("cell"), s.say("planned") + " " + s.Force, s.say("steady") + " " + s.Force, s.say("peak") + " " + s.Force, s.say("may bear") + " " + s.Force, s.say("peak of it"), s.say("readings"), s.say("at the end")}, Align: "bbrrrrrrl"}
	for i := range w.Result.Legs {
		r := &w.Result.Legs[i]
		row := []string{r.Name, r.Channel, "", s.number(r.SteadyN, quantity.Nearest), s.number(r.PeakN, quantity.Upward), "□ " + s.say("no rating"), "", fmt.Sprint(r.Readings), s.say("quality " + string(r.Quality))}
		if r.PeakIsLeast {
			row[4] = "≥ " + row[4]
		}
		for k := range st.Hung.Legs {
			h := &st.Hung.Legs[k]
			if h.Name != r.Name {
				continue
			}
			row[2] = s.number(h.TensionN, quantity.Nearest)
			if h.WLLN != nil {
				row[5] = s.number(*h.WLLN, quantity.Down)
				if u := r.PeakN / *h.WLLN; !math.IsNaN(u) {
					row[6] = s.used(&u)
				}
			}
		}
		t.Rows = append(t.Rows, row)
	}
	s.Table(t)
	text := s.say("peaks note")
	if d := w.Result.DynamicFactor; !math.IsNaN(d) {
		text += " " + s.say("dynamic seen", plain(d, 2))
	}
	s.Small(text)
}

// causes are the explanations that are not far-fetched.
func (s *sheet) causes(w *Watched, most int) {
	s.Heading(s.say("causes head"))
	s.english()
	var list [][2]string
	for i, c := range w.Result.Causes {
		if i >= most || i > 0 && c.Probability < 0.02 {
			break
		}
		text := s.say("cause " + c.Name)
		for k, same := range c.SameAs {
			if k == 0 {
				text += " (" + s.say("same as") + " "
			} else {
				text += ", "
			}
			if text += s.say("cause " + same); k == len(c.SameAs)-1 {
				text += ")"
			}
		}
		list = append(list, [2]string{fmt.Sprintf("%.0f %%", 100*c.Probability), text + ": " + c.Text})
	}
	if list == nil {
		s.Text(s.say("cause cannot_tell"))
	}
	s.Points(list)
	if w.Result.Tell != "" {
		s.Text(s.say("would tell") + " " + w.Result.Tell)
	}
}

// chart is every cell over the whole lift, with the moments of the stops.
func (s *sheet) chart(w *Watched, high float64) {
	if len(w.Trace) == 0 {
		return
	}
	zero := w.Zero
	if zero.Since(0) < dated {
		zero = 0
	}
	c := paper.Chart{X: s.say("time") + " (s)", Y: s.say("on the cell") + " " + s.Force, High: high}
	for i := range s.p.States[0].Expected {
		ch := s.p.States[0].Expected[i].Channel
		c.Curves = append(c.Curves, s.curve(ch, w.Trace.between(ch, math.MinInt64, math.MaxInt64), zero))
	}
	for i, e := range w.Stops() {
		if i < 3 {
			c.At = append(c.At, paper.Level{Name: "■ " + s.say("stop") + " " + e.Where, V: e.At.Since(zero)})
		}
	}
	s.Chart(c)
	if zero != 0 {
		s.Small(s.say("zero time", w.moment(zero)))
	}
}

// calibrations is what is known of every cell's trust.
func (s *sheet) calibrations() {
	s.Heading(s.say("calibrations"))
	t := paper.Table{Head: []string{s.say("cell"), s.say("leg"), s.say("serial"), s.say("capacity"), s.say("accuracy"), s.say("calibrated"), s.say("calibrate by")}, Align: "blwllww"}
	for i := range s.p.States[0].Expected {
		e := &s.p.States[0].Expected[i]
		cell, _ := s.p.Lift.Legs[e.Cell.Leg].CellAt()
		row := []string{e.Channel, e.Leg, "", "□ " + s.say("not stated"), "□ " + s.say("not stated"), "", ""}
		for k := range s.p.Lift.Legs[e.Cell.Leg].Stack {
			if q := &s.p.Lift.Legs[e.Cell.Leg].Stack[k]; q.Cell == cell {
				row[2] = q.Serial
			}
		}
		if cell.Capacity != nil {
			row[3] = cell.Capacity.Text
		}
		if cell.Accuracy != nil {
			row[4] = cell.Accuracy.Text
		}
		if it, ok := s.item(row[2]); ok {
			row[5], row[6] = string(it.Calibrated), string(it.CalibrateBy)
		}
		t.Rows = append(t.Rows, row)
	}
	s.Table(t)
	s.Small(s.say("calibrations note"))
}
