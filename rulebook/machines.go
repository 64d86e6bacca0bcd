package rulebook

import (
	"fmt"

	"plumbhook/crane"
	"plumbhook/fault"
	"plumbhook/lift"
	"plumbhook/quantity"
)

// machines judges what hoist, wind and cranes have to do with it.
func (k *check) machines() {
	k.dynamic()
	k.tilt()
	k.cranes()
}

// dynamic shows forces with the dynamic factor beside static ones. Sling
// ratings hold for ordinary hoisting as they are: the factor counts against
// them only where the file or a site rule asks.
func (k *check) dynamic() {
	r, f := k.rule("dynamic-factor"), k.Factor
	if f == nil {
		return
	}
	source := f.Source
	if f.Standing == crane.FromMemory {
		source += " (from memory)"
	}
	said := func(sev Severity, where, format string, args ...any) *Finding {
		n := New(sev, r.Name, source, where, format, args...)
		n.Standing = Standing(f.Standing)
		return k.add(n)
	}
	if t := k.tabled; t != nil {
		over := None
		if f.Value < t.Value {
			over = Caution
		}
		k.add(New(over, r.Name, t.Source, "dynamic", "the stated factor is %.3g; %s gives %.3g", f.Value, t.How, t.Value)).Against(t.Value, f.Value, "")
	}
	total := 0.0
	for i := range k.Hung.Hooks {
		total += k.P95["hooks."+k.Hung.Hooks[i].Name]
	}
	if k.OnRatings != 1 {
		said(None, "dynamic", "factor %.3g (%s): %v at the hooks become %v, and ratings are held against that", f.Value, f.How, Newtons(total), Newtons(total*f.Value))
		return
	}
	said(Note, "dynamic", "factor %.3g (%s): %v at the hooks become %v while the load is taken up; ratings are held against static forces, write on_ratings: true to ask for more",
		f.Value, f.How, Newtons(total), Newtons(total*f.Value))
	for i := range k.Hung.Legs {
		h := &k.Hung.Legs[i]
		where := "legs." + h.Name
		if h.WLLN == nil {
			continue
		}
		n, sev := k.P95[where]*f.Value, None
		if n > *h.WLLN*(1+1e-9) {
			sev = Caution
		}
		said(sev, where, "with the factor leg %s would come to %v; it is rated for %v", h.Name, Newtons(n), Newtons(*h.WLLN)).Against(n, *h.WLLN, "N")
	}
}

// tilt tells of a load that leans, where the file does not limit it itself.
func (k *check) tilt() {
	r := k.rule("tilt")
	if r == nil || k.Lift.Limits.Tilt != nil {
		return
	}
	t := k.Hung.Bodies[0].Tilt
	sev := Note
	if t <= r.radians()+1e-9 {
		sev = None
	}
	k.say(r, sev, "load", "the load hangs %.1f° off level; marine practice keeps it within %g°, and below that it may be left out of the sums; write limits.tilt for the limit of this lift", deg(t), r.Value).
		Against(t, r.radians(), "rad")
}

// Machine is what a crane has to bear and what it may.
type Machine struct {
	Hook     string
	Lines    []crane.Line // what hangs on it
	GrossN   float64
	Chart    string      // how the chart was read; empty: there is none to read
	Use      *crane.Use  // against the chart; nil: there is none
	Part     *crane.Part // of a joint lift; nil for one crane
	Bearings []Bearing
}

// Bearing is what one outrigger or track does to the ground.
type Bearing struct {
	Name       string
	Reaction   crane.Reaction
	AllowedPa  *float64
	Foundation crane.Bearing
}

// cranes holds what hangs on each machine against its chart, all of them
// against the rule set for several, and the ground under each.
func (k *check) cranes() {
	chart, wind := k.rule("chart-capacity"), k.rule("wind")
	if len(k.Lift.Cranes) == 0 && k.book != "" {
		k.open(wind, "site", "the wind that machine and load allow: write crane with its chart")
	}
	var uses []crane.Use
	var of []int // machine of each use
	var red *crane.Reduction
	for i := range k.Lift.Cranes {
		c := &k.Lift.Cranes[i]
		where := "crane." + c.Hook
		if c.Reduction != "" {
			var err error
			if red, err = crane.Reduce(c.Reduction); err != nil {
				k.open(chart, where, "the reduction for several cranes: %s", fault.Of(err)[0].What)
			}
		}
		gross, err := k.gross(c, where)
		if err != nil {
			k.open(chart, where, "what hangs on it: %s", fault.Of(err)[0].What)
			continue
		}
		k.Machines = append(k.Machines, Machine{Hook: c.Hook, Lines: gross.Lines, GrossN: gross.N})
		m := &k.Machines[len(k.Machines)-1]
		k.ground(m, c, where)
		switch {
		case k.charts == nil || k.charts[i] == nil:
			why := c.ChartUnread
			if c.Chart == "" {
				why = "write chart, a CSV file in the folder of the lift file"
			}
			k.open(chart, where, "what its chart allows: %s", why)
			k.open(wind, where, "the wind that machine and load allow: its chart says that")
			continue
		case c.Radius == nil || c.Boom == nil:
			k.open(chart, where, "what its chart allows: write radius and boom")
			continue
		}
		if k.moved(c.Hook) {
			k.open(chart, where, "the radius after this step: the hook has moved, and the chart was read at %s", c.Radius.Text)
		}
		u, read := k.use(i, where, gross)
		m.Use, m.Chart = &u, read
		uses, of = append(uses, u), append(of, len(k.Machines)-1)
		if u.CapacityN != nil {
			k.say(chart, None, where, "%v hang on the machine, and its chart allows %v", Newtons(u.GrossN), Newtons(*u.CapacityN)).Against(u.GrossN, *u.CapacityN, "N")
		}
		k.told(k.charts[i].Findings)
		k.told(u.Findings)
		k.unanswered(chart, where, u.NotAssessed)
		k.wind(i, where, wind)
	}
	if len(uses) > 1 {
		joint := k.rule("joint-reduction")
		parts, err := crane.Together(red, uses)
		if err != nil {
			k.open(joint, "crane", "the shares of the cranes: %s", fault.Of(err)[0].What)
		}
		for i, p := range parts {
			k.Machines[of[i]].Part = &p
			k.told(p.Findings)
		}
	}
}

// gross adds up what hangs on one machine.
func (k *check) gross(c *lift.Crane, where string) (crane.Gross, error) {
	lines := []crane.Line{{
		Items: []crane.Item{crane.Load, crane.Beam, crane.Slings}, Name: "load and rigging on hook " + c.Hook,
		N: k.P95["hooks."+c.Hook], How: "P95 of the hung plan", From: "lift file",
	}}
	for _, m := range []struct {
		item crane.Item
		mass *quantity.Measured[quantity.Mass]
	}{{crane.MainBlock, c.Block}, {crane.AuxBlock, c.AuxBlock}, {crane.Jib, c.Jib}, {crane.Rope, c.Rope}} {
		if m.mass != nil {
			lines = append(lines, crane.Mass(m.item, string(m.item), *m.mass, k.Lift.Site.G.Value, "lift file"))
		}
	}
	return crane.Total(where, lines...)
}

// ground holds the pressure under each outrigger or track against what the
// ground may take: every figure at the end of its spread that presses most.
func (k *check) ground(m *Machine, c *lift.Crane, where string) {
	r := k.rule("ground-pressure")
	if len(c.Reactions) == 0 {
		k.open(r, where, "the ground under it: write reactions, what each outrigger or track presses down with, and ground, what is allowed")
		return
	}
	g := k.Lift.Site.G.High
	soil := crane.Ground{}
	if c.Ground != nil {
		soil.From = c.Ground.From
		if a := c.Ground.Allowable; a != nil {
			soil.Allowable = &a.Low
		}
	}
	for i := range c.Reactions {
		x := &c.Reactions[i]
		place := where + ".reactions." + x.Name
		mat := x.Mat
		if mat == nil {
			mat = c.Mat
		}
		press := crane.Reaction{From: x.From}
		var err error
		if x.Force != nil {
			press.N, press.How = float64(x.Force.Force), "stated as "+x.Force.Text
		} else if press, err = crane.ByShare(*x.Share, c.Machine.High, m.GrossN, g, x.From); err != nil {
			k.open(r, place, "%s", fault.Of(err)[0].What)
			continue
		}
		b, err := crane.Under(place, press, under(mat), soil, g)
		if err != nil {
			k.open(r, place, "%s", fault.Of(err)[0].What)
			continue
		}
		bearing := Bearing{Name: x.Name, Reaction: press, Foundation: b}
		if soil.Allowable != nil {
			allowed := float64(*soil.Allowable)
			bearing.AllowedPa = &allowed
		}
		m.Bearings = append(m.Bearings, bearing)
		k.told(b.Findings)
		k.unanswered(r, place, b.NotAssessed)
	}
}

// under is a mat at the ends of its spreads that press most.
func under(m *lift.Mat) crane.Mat {
	out := crane.Mat{Length: m.Length.Low, Width: m.Width.Low, Stiff: m.Stiff, EffectiveFrom: m.EffectiveFrom}
	if m.Mass != nil {
		out.Mass = &m.Mass.High
	}
	if m.Effective != nil {
		out.Effective = &m.Effective.Low
	}
	if m.Foot != nil {
		out.Foot = &m.Foot.Low
	}
	return out
}

// use judges one machine by its chart, and says how that was read.
func (k *check) use(i int, where string, gross crane.Gross) (u crane.Use, read string) {
	c, chart := &k.Lift.Cranes[i], k.charts[i]
	s := crane.Situation{Cranes: len(k.Lift.Cranes), People: c.People, Floating: c.Floating, Travelling: c.Travelling, Dynamic: k.Factor}
	if reach := chart.Reach(*c.Boom); reach != nil && *reach > 0 {
		share := float64(c.Radius.High / *reach)
		s.RadiusShare = &share
	}
	if c.LinePull != nil && c.MostLinePull != nil {
		share := float64(c.LinePull.Force / c.MostLinePull.Force)
		s.LineShare = &share
	}
	answer := chart.Capacity(where, *c.Radius, *c.Boom)
	if answer.Capacity == nil {
		s.Dynamic = nil // there is nothing to hold it against
	}
	return crane.Judge(where, gross, answer, s), answer.Text
}

// wind holds the planned wind against what the chart leaves for this load.
func (k *check) wind(i int, where string, r *Rule) {
	l, chart := k.Lift, k.charts[i]
	var missing []string
	for _, m := range []struct {
		there bool
		what  string
	}{
		{chart.Wind != nil, "the row wind of the chart"},
		{l.Site.Wind != nil, "site.wind"},
		{l.Load.Size != nil, "load.size"},
		{l.Load.Drag > 0, "load.drag"},
	} {
		if !m.there {
			missing = append(missing, m.what)
		}
	}
	if missing != nil {
		k.open(r, where, "the wind that machine and load allow: write %s", list(missing))
		return
	}
	size := l.Load.Size.XYZ()
	sail := crane.Sail{
		Area: crane.Side(quantity.Length(size[0]), quantity.Length(size[1]), quantity.Length(size[2])),
		Cw:   l.Load.Drag, From: "lift file", Mass: quantity.Mass(k.Hung.MassKg),
	}
	w, err := crane.InWind(where, chart.Wind.Value, sail, nil, &l.Site.Wind.High)
	if err != nil {
		k.open(r, where, "the wind: %s", fault.Of(err)[0].What)
		return
	}
	k.told(w.Findings)
	k.unanswered(r, where, w.NotAssessed)
	if w.Status == crane.Holds {
		k.say(r, None, where, "%s of wind, and this load allows %.1f m/s", l.Site.Wind.Text, float64(w.Least.Speed)).
			Against(float64(l.Site.Wind.High), float64(w.Least.Speed), "m/s")
	}
}

// told takes over findings about machines.
func (k *check) told(all []crane.Finding) {
	for _, c := range all {
		source := c.Source
		if c.Standing == crane.FromMemory {
			source += " (from memory)"
		}
		f := New(Severity(c.Severity), c.Rule, source, c.Where, "%s", c.Text)
		f.Standing, f.Demand, f.Limit, f.Unit = Standing(c.Standing), c.Demand, c.Limit, c.Unit
		k.add(f)
	}
}

func (k *check) unanswered(r *Rule, where string, all []string) {
	for _, what := range all {
		k.open(r, where, "%s", what)
	}
}

// moved tells whether a hook has gone sideways in the steps up to this state.
func (k *check) moved(hook string) bool {
	if k.Hung.Step == "" {
		return false
	}
	for i := range k.Lift.Steps {
		if at, ok := k.Lift.Steps[i].Hooks[hook]; ok {
			for n := range k.Lift.Hooks {
				if h := &k.Lift.Hooks[n]; h.Name == hook && h.At != nil && vec(at.XYZ()).sub(h.At.XYZ()).level() > 1e-9 {
					return true
				}
			}
		}
		if k.Lift.Steps[i].Name == k.Hung.Step {
			return false
		}
	}
	return false
}

func list(all []string) string {
	s := ""
	for i, v := range all {
		switch {
		case i == 0:
			s = v
		case i == len(all)-1:
			s = fmt.Sprintf("%s and %s", s, v)
		default:
			s = fmt.Sprintf("%s, %s", s, v)
		}
	}
	return s
}
