package cli

import (
	"bytes"
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"plumbhook/card"
	"plumbhook/contract"
	"plumbhook/fault"
	"plumbhook/lift"
	"plumbhook/quantity"
	"plumbhook/verdict"
)

type cardCmd struct {
	File string `arg:"" help:"Lift file (YAML)."`
	registered
	Readout       string `default:"kN" placeholder:"UNIT" help:"Unit that the cells' display shows: kN, t, kg, lbf, short ton ... (default ${default})."`
	Step          string `placeholder:"NAME" help:"What must be read after this step, by name or number, not as first rigged."`
	HoistSpeed    string `placeholder:"SPEED" help:"Speed of the hook while it takes the load, as 0.5 m/min; without it the hoist speed of the lift file. Goes with --delay and --stopping."`
	Delay         string `placeholder:"TIME" help:"From a reading to the lever: radio and people, as 1.5 s."`
	Stopping      string `placeholder:"TIME" help:"From the lever until the hook stands, as 0.5 s."`
	HookStiffness string `placeholder:"STIFFNESS" help:"How much hoist rope and boom give at the hook, as 2 kN/mm; they count as unyielding without it."`
	HookHeight    string `placeholder:"LENGTH" help:"As measured, legs tight: from the bearing of the hook down to the highest lug."`
	Format        string `enum:"text,json" default:"text" help:"text or json."`
}

// Help goes on where the list of flags ends.
func (*cardCmd) Help() string {
	return `One page for the crew: what every load cell must read, where to stop and why, what to look at before the load leaves the ground. ` +
		`Exit status: 0 the plan holds as far as it was checked; 1 a check of the plan fails, or something needed is missing: the card is printed and says so; ` +
		`2 the file or an option is invalid or cannot be read; 3 anything else.`
}

// Run checks the lift and prints the card.
func (c *cardCmd) Run(e *env) error {
	out, err := readout(c.Readout)
	if err != nil {
		return err
	}
	day, err := c.day()
	if err != nil {
		return err
	}
	l, gear, err := c.read(c.File)
	if err != nil {
		return err
	}
	step, err := stepIndex(l, c.Step)
	if err != nil {
		return err
	}
	if step > 0 && day != (card.Day{}) {
		return fault.New(fault.Disagree, "hoist and hook height belong to the lift as first rigged").Fix("leave them out with --step")
	}
	p, err := verdict.CheckWith(l, gear)
	if err != nil {
		return err
	}
	k, err := card.New(p, step, day)
	if err != nil {
		return err
	}
	s := sheet{Card: k, out: out}
	if c.Format == "json" {
		err = writeJSON(e.out, contract.NewCard(k, out, s.shown))
	} else {
		s.page()
		err = write(e.out, []byte(printable(s.b.String())))
	}
	if err == nil && p.Outcome != verdict.Holds {
		err = errFails
	}
	return err
}

// readout reads the unit of a display: of force, or of mass as force at
// standard gravity.
func readout(unit string) (contract.Readout, error) {
	r, err := quantity.ParseRating("1 " + unit)
	if err != nil {
		return contract.Readout{}, option("readout", err)
	}
	if strings.TrimLeft(unit, "0123456789.+- ") != unit {
		return contract.Readout{}, option("readout", fault.New(fault.BadUnit, "%q is more than a unit", unit).Fix("write the unit alone, as kN"))
	}
	return contract.Readout{Unit: unit, NewtonsPer: float64(r.Force), FromMass: r.FromMass}, nil
}

// option says which option a fault is about.
func option(name string, err error) error {
	for _, f := range fault.Of(err) {
		f.Where = "--" + name
	}
	return err
}

// day reads what the crew states.
func (c *cardCmd) day() (card.Day, error) {
	var d card.Day
	for _, o := range []struct {
		name, text string
		parse      func(string) (float64, error)
		to         *float64
	}{
		{"hoist-speed", c.HoistSpeed, si[quantity.Speed], &d.HoistSpeed},
		{"delay", c.Delay, si[quantity.Duration], &d.Delay},
		{"stopping", c.Stopping, si[quantity.Duration], &d.Stopping},
		{"hook-stiffness", c.HookStiffness, si[quantity.Stiffness], &d.HookStiffness},
		{"hook-height", c.HookHeight, si[quantity.Length], &d.HookHeight},
	} {
		if o.text == "" {
			continue
		}
		v, err := o.parse(o.text)
		if err != nil {
			return d, option(o.name, err)
		}
		*o.to = v
	}
	return d, nil
}

// si reads one figure above zero; of a figure with a spread the larger end.
func si[Q quantity.Quantity](text string) (float64, error) {
	m, err := quantity.Parse[Q](text)
	if err != nil {
		return 0, err
	}
	if !(m.Low > 0) {
		return 0, fault.New(fault.Range, "%s is not above zero", text).Fix("leave the option out if it is not known")
	}
	return float64(m.High), nil
}

// sheet writes a card for people.
type sheet struct {
	*card.Card
	b   bytes.Buffer
	out contract.Readout
}

func (s *sheet) say(format string, args ...any) {
	s.b.WriteString(wrap("", fmt.Sprintf(format, args...), 0) + "\n")
}

// tell writes a paragraph behind a word.
func (s *sheet) tell(word, format string, args ...any) {
	s.b.WriteString(wrap(fmt.Sprintf("%-*s", tab, word), fmt.Sprintf(format, args...), tab) + "\n")
}

// force writes newtons in the unit of the readout, without it, with the
// digits that a half-width supports.
func (s *sheet) force(n, half float64, r rounding) string {
	return show(n/s.out.NewtonsPer, half/s.out.NewtonsPer, r)
}

// half is the half-width that decides on the digits of all readings: the
// narrowest band of any cell.
func (s *sheet) half() float64 {
	half := (s.Total.HighN - s.Total.LowN) / 2
	for i := range s.Cells {
		if h := (s.Cells[i].HighN - s.Cells[i].LowN) / 2; h > 0 && (half == 0 || h < half) {
			half = h
		}
	}
	if half == 0 {
		half = s.Total.NominalN / 1000
	}
	return half
}

// shown is a force to stop at, with its unit, rounded to the loud side.
func (s *sheet) shown(n float64) string { return s.force(n, s.half(), down) + " " + s.out.Unit }

func (s *sheet) page() {
	l := s.Plan.Lift
	rev := ""
	if l.Revision != "" {
		rev = ", revision " + l.Revision
	}
	s.say("EXPECTED READINGS: %s%s  (%s)", l.Title, rev, l.File)
	if s.State.Hung.Step != "" {
		s.say("after step %s", s.State.Hung.Step)
	}
	s.say("plan %s; lift file SHA-256 %.16s", headline(s.Plan.Outcome, s.Plan.NotAssessed), l.SHA256)
	if s.Plan.Outcome == verdict.Fails {
		s.say(">>> THE PLAN FAILS: DO NOT LIFT. What fails: plumbhook check")
	}
	unit := "All numbers in " + s.out.Unit + "."
	if s.out.FromMass {
		unit = fmt.Sprintf("All numbers in %s: force at standard gravity, 1 %s for every %.6g N.", s.out.Unit, s.out.Unit, s.out.NewtonsPer)
	}
	if len(s.Cells) == 0 {
		s.say("THE PLAN HAS NO LOAD CELL WHOSE READING CAN BE WORKED OUT. %s", unit)
	} else {
		s.say("%s Compare at rest: hook stopped, load quiet.", unit)
	}
	s.b.WriteByte('\n')
	s.table()
	s.b.WriteByte('\n')
	s.stops()
	s.bite()
	s.rigged()
	s.tug()
	s.angle()
	s.notes()
}

// gap is where the crew writes.
const gap = "_______"

// table has a row for each cell, and under it room for what was read.
func (s *sheet) table() {
	half := s.half()
	g := grid{align: "llrrrrrrrrr"}
	g.row("cell", "in leg", "zero", "25 %", "50 %", "75 %", "HUNG", "95 in 100", "warn", "STOP", "after")
	line := func(name, leg string, zero string, levels []float64, low, nominal, high, warn, stop float64, after string) {
		row := []string{fold(name, 12), fold(leg, 12), zero}
		for k := range card.Levels {
			text := "-"
			if levels != nil {
				text = s.force(levels[k], half, nearest)
			}
			row = append(row, text)
		}
		g.row(append(row, s.force(nominal, half, nearest), s.force(low, half, down)+".."+s.force(high, half, upward),
			s.force(warn, half, down), s.force(stop, half, down), after)...)
		g.row("", "  read", gap, gap, gap, gap, gap, "", "", "", gap)
	}
	for i := range s.Cells {
		k := &s.Cells[i]
		var levels []float64
		if s.Bite != nil {
			levels = s.Bite.Cells[i][:]
		}
		zero, after := s.zero(k)
		line(k.Channel, k.Leg, zero, levels, k.LowN, k.NominalN, k.HighN, k.WarnN, k.Stops[0].N, after)
	}
	t := &s.Total
	var levels []float64
	rigging := "-"
	if s.Bite != nil {
		levels, rigging = s.Bite.TotalN[:], s.force(s.Bite.EmptyN, half, nearest)
	}
	line("total", "hooks", rigging, levels, t.LowN, t.NominalN, t.HighN, t.WarnN, t.Stops[0].N, "")
	if s.Bite != nil {
		row := []string{"hook up", "mm", "0"}
		for _, m := range s.Bite.TravelM {
			row = append(row, show(1e3*m, 1, nearest))
		}
		g.row(append(row, show(1e3*s.Bite.FullM, 1, nearest), "", "", "", "")...)
	}
	s.b.WriteString(g.String())
	s.b.WriteString("date __________  time ______  read by ____________________  supervisor ____________________\n")
}

// zero says how a cell is zeroed, and what it must show after the lift.
func (s *sheet) zero(k *card.Cell) (before, after string) {
	cell, _ := s.Plan.Lift.Legs[k.Cell.Leg].CellAt()
	if cell.Zero == lift.ZeroNone {
		return "raw", ""
	}
	return "0 " + string(cell.Zero), "0"
}

// stops has a sentence for each cell, the one with least room first, and one
// for the total.
func (s *sheet) stops() {
	order := make([]int, len(s.Cells))
	for i := range order {
		order[i] = i
	}
	room := func(i int) float64 { return s.Cells[i].Stops[0].N / math.Max(s.Cells[i].NominalN, 1) }
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(room(a), room(b)) })
	for _, i := range order {
		s.tell("STOP", "%s", card.Say(s.Cells[i].Channel, s.Cells[i].Stops, s.shown))
	}
	s.tell("STOP", "%s", card.Say("the total", s.Total.Stops, s.shown))
	if len(s.Cells) > 0 {
		s.tell("", "Below its band: the load is lighter or still carried, its centre of gravity is elsewhere, or a leg is slack. Hold and look.")
	}
	if slow, ok := s.slow(); s.HoistSpeed == 0 {
		s.tell("", "No room left for delay: hoist speed not given.")
	} else if ok && slow == 0 {
		s.tell("", "NO SPEED LEAVES ROOM: a limit lies within what the plan itself lets be read.")
	} else if ok {
		s.tell("", "TOO FAST: at %s the stop numbers leave no room. Take the load no faster than %s.", speed(s.HoistSpeed), speed(slow))
	}
}

// slow is the speed at which every rise finds room; ok says that some does
// not at the speed stated.
func (s *sheet) slow() (slow float64, ok bool) {
	slow = math.Inf(1)
	all := slices.Clone(s.Total.Stops)
	for i := range s.Cells {
		all = append(all, s.Cells[i].Stops...)
	}
	for _, stop := range all {
		if stop.Crowded {
			slow, ok = math.Min(slow, stop.SlowM), true
		}
	}
	return slow, ok
}

// speed writes m/s as the crane's driver thinks of it, rounded down.
func speed(v float64) string {
	return show(60*v, 60*v/10, down) + " m/min"
}

// bite tells what hook travel does while the ground carries.
func (s *sheet) bite() {
	if s.Bite == nil {
		return
	}
	share, how := 1.0, "hook"
	if s.HookStiffness > 0 {
		share = s.HookStiffness / (s.HookStiffness + s.Bite.PerMetre)
		how = "hoist"
	}
	each := []string{}
	for i := range s.Cells {
		n := 0.01 * share * s.Bite.Legs[s.Cells[i].Cell.Leg].PerMetre
		each = append(each, s.Cells[i].Channel+" "+s.force(n, n/10, nearest))
	}
	n := 0.01 * share * s.Bite.PerMetre
	each = append(each, "the hooks "+s.force(n, n/10, nearest))
	text := fmt.Sprintf("Every 10 mm of %s while the load still stands adds to %s: inch up, stop at 25, 50, 75 %%, read.", how, strings.Join(each, ", "))
	if len(s.Cells) > 0 {
		text += " Weight and centre of gravity have no say yet: a cell that is off here has another length, place, channel, zero or unit than planned."
	}
	s.tell("FIRST", "%s", text)
}

// rigged tells what the measured height of the hook changes.
func (s *sheet) rigged() {
	r := s.AsRigged
	if r == nil {
		return
	}
	half := s.half()
	var changed []string
	for i, n := range r.Cells {
		k := &s.Cells[i]
		text := fmt.Sprintf("%s %s, planned %s", k.Channel, s.force(n, half, nearest), s.force(k.NominalN, half, nearest))
		if n < k.LowN || n > k.HighN {
			text += " <<< OUTSIDE ITS BAND"
		}
		changed = append(changed, text)
	}
	var angles []string
	for i := range s.Cells {
		leg := s.Cells[i].Cell.Leg
		angles = append(angles, fmt.Sprintf("%s %.1f°, planned %.1f°", s.Plan.Lift.Legs[leg].Name, deg(r.Angles[leg]), deg(s.State.Hung.Legs[leg].FromHorizontal)))
	}
	s.tell("AS RIGGED", "Hook %.3f m over the highest lug, planned %.3f m: fits legs %+.1f %% in length, all alike. Then must read: %s. From horizontal: %s.",
		r.MeasuredM, r.PlannedM, 100*(r.Scale-1), strings.Join(changed, "; "), strings.Join(angles, "; "))
	if len(r.Beyond) > 0 {
		s.tell("", "NOT AS PLANNED: that length is outside the file's limits for leg %s. Find out which leg is wrong.", strings.Join(r.Beyond, ", "))
	}
}

// tug tells how swapped cells are found.
func (s *sheet) tug() {
	if len(s.Tug) == 0 {
		return
	}
	least := 0.0
	for _, p := range s.Tug {
		least = math.Max(least, p.LeastN)
	}
	with := "firmly"
	if least > 0 {
		with = fmt.Sprintf("with %s or more, %.0f kg", s.force(least, least/10, upward)+" "+s.out.Unit, math.Ceil(least/float64(quantity.StandardGravity)))
	}
	s.tell("TUG", "Cells swapped? Before the lift, legs hanging free, pull straight down %s on the lower end of one leg after the other:", with)
	for i, p := range s.Tug {
		var moves, bit, stays []string
		for k, share := range p.Share {
			switch name := s.Cells[k].Channel; {
			case share > card.Moves:
				moves = append(moves, name)
			case math.Abs(share) > card.Stays:
				bit = append(bit, fmt.Sprintf("%s %+.0f %%", name, 100*share))
			default:
				stays = append(stays, name)
			}
		}
		text := fmt.Sprintf("%d %s:", i+1, p.Leg)
		for _, part := range []struct {
			what string
			of   []string
		}{{"must rise by the pull", moves}, {"of the pull, a part", bit}, {"must stay", stays}} {
			if len(part.of) > 0 {
				text += fmt.Sprintf(" %s %s;", strings.Join(part.of, ", "), part.what)
			}
		}
		s.tell("", "%s", strings.TrimSuffix(text, ";"))
	}
	if !s.Tells() {
		s.tell("", "The pulls do not tell all cells apart: check the serials against the channels.")
	}
}

// angle is the lesson on the sling angle.
func (s *sheet) angle() {
	a := s.Angle
	if a == nil {
		return
	}
	half := s.half()
	s.tell("ANGLE", "Leg %s carries %s straight up (P95). By tape: force = share × length / height = %s × %.3f m / %.3f m = %s.",
		a.Leg, s.force(a.ShareN, half, nearest), s.force(a.ShareN, half, nearest), a.LengthM, a.RiseM, s.force(a.ShareN*a.LengthM/a.RiseM, half, upward))
	g := grid{align: "l" + strings.Repeat("r", len(a.Rows))}
	rows := [4][]string{{"from horizontal"}, {"times the share"}, {"force in the leg"}, {"of weakest part"}}
	for _, r := range a.Rows {
		head := fmt.Sprintf("%.0f°", deg(r.FromHorizontal))
		if r.Planned {
			head = fmt.Sprintf("plan %.1f°", deg(r.FromHorizontal))
		}
		rows[0] = append(rows[0], head)
		rows[1] = append(rows[1], fmt.Sprintf("%.3f", r.Factor))
		rows[2] = append(rows[2], s.force(r.ForceN, half, upward))
		if r.Used != nil {
			rows[3] = append(rows[3], percent(*r.Used))
		}
	}
	for k, row := range rows {
		if k < 3 || len(row) == len(rows[0]) {
			g.row(row...)
		}
	}
	s.b.WriteString(g.indented(tab))
	switch {
	case a.OutAngle != nil:
		s.tell("", "%s runs out at %.0f° from horizontal.", a.Weakest, math.Ceil(deg(*a.OutAngle)))
	case a.NotEvenVertical:
		s.tell("", "%s IS PAST ITS RATING EVEN PLUMB.", a.Weakest)
	}
}

// left says what of the cells the bands leave out, because the file does not
// say it.
func (s *sheet) left() string {
	steps, warmth := false, false
	for i := range s.Cells {
		cell, _ := s.Plan.Lift.Legs[s.Cells[i].Cell.Leg].CellAt()
		steps = steps || cell.Resolution == nil
		warmth = warmth || cell.Warmth == nil
	}
	switch {
	case steps && warmth:
		return "; the display's steps and the cell's temperature are not in it (resolution, temperature_effect)"
	case steps:
		return "; the display's steps are not in it (resolution)"
	case warmth:
		return "; the cell's temperature is not in it (temperature_effect)"
	}
	return ", its display's steps and its temperature too"
}

// notes says what the numbers stand for and what they leave out.
func (s *sheet) notes() {
	l := s.Plan.Lift
	s.b.WriteByte('\n')
	for _, m := range s.Missing {
		s.tell("NOT HERE", "%s", m)
	}
	for _, n := range s.State.NotAssessed {
		if strings.Contains(n, "channel") {
			s.tell("NOT HERE", "%s", n)
		}
	}
	text := "95 in 100: this cell, with mass, centre of gravity, lengths, stiffness, places and the cell's accuracy as uncertain as the file says" + s.left() + ". Warn: past that. STOP: with all cells together 95 in 100 are inside, less where a part or the plan's own number comes first."
	if s.Plan.Dynamic != 1 {
		text += fmt.Sprintf(" Parts count with their rating over the dynamic factor %.4g: a display misses peaks.", s.Plan.Dynamic)
	}
	if l.Load.Sheet.Contingency > 0 {
		text += fmt.Sprintf(" The contingency of %.3g %% is taken as being there.", 100*float64(l.Load.Sheet.Contingency))
	}
	text += " Total: rigging included, without the block."
	if len(s.Cells) > 1 {
		text += fmt.Sprintf(" A display that adds the cells shows %s: legs lean, so that is no weight.", s.force(s.Total.CellsN, s.half(), nearest))
	}
	if s.Bite != nil && s.HookStiffness == 0 {
		text += " Hook up: without what hoist rope and boom give (--hook-stiffness, or hook_stiffness under crane)."
	}
	s.say("%s", text)
	s.say("%s", verdict.Cautions)
}
