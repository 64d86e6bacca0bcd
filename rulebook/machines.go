package rulebook

import (
	"fmt"

	"plumbhook/crane"
	"plumbhook/fault"
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

// cranes holds what hangs on each machine against its chart, and all of them
// against the rule set for several.
func (k *check) cranes() {
	chart, wind := k.rule("chart-capacity"), k.rule("wind")
	if len(k.Lift.Cranes) == 0 && k.book != "" {
		k.open(wind, "site", "the wind that machine and load allow: write crane with its chart")
	}
	var uses []crane.Use
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
		u, err := k.use(i, where)
		if err != nil {
			k.open(chart, where, "what hangs on it: %s", fault.Of(err)[0].What)
			continue
		}
		uses = append(uses, u)
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
		for _, p := range parts {
			k.told(p.Findings)
		}
	}
}

// use judges one machine.
func (k *check) use(i int, where string) (crane.Use, error) {
	c, chart, g := &k.Lift.Cranes[i], k.charts[i], k.Lift.Site.G.Value
	lines := []crane.Line{{
		Items: []crane.Item{crane.Load, crane.Beam, crane.Slings}, Name: "load and rigging on hook " + c.Hook,
		N: k.P95["hooks."+c.Hook], How: "P95 of the hung plan", From: "lift file",
	}}
	for _, m := range []struct {
		item crane.Item
		mass *quantity.Measured[quantity.Mass]
	}{{crane.MainBlock, c.Block}, {crane.AuxBlock, c.AuxBlock}, {crane.Jib, c.Jib}, {crane.Rope, c.Rope}} {
		if m.mass != nil {
			lines = append(lines, crane.Mass(m.item, string(m.item), *m.mass, g, "lift file"))
		}
	}
	gross, err := crane.Total(where, lines...)
	if err != nil {
		return crane.Use{}, err
	}
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
	return crane.Judge(where, gross, answer, s), nil
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
