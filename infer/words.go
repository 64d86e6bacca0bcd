package infer

import (
	"fmt"
	"math"
	"strings"
)

func (m *Model) cannotTell(p float64) Cause {
	return Cause{Name: "cannot_tell", Probability: p, Text: "The readings do not tell what is going on. Hold still, and look."}
}

// tell says what would tell more.
func (m *Model) tell(x *fit, c *Course, first string) string {
	ended := false
	for _, s := range x.stage {
		ended = ended || s == Ended
	}
	switch {
	case x.unproved && c.Done:
		return "look for daylight all round while it hangs, and say so"
	case !x.holds():
		return "take some load and hold still for 5 s"
	case x.unproved:
		return "hold still for 5 s, raise a little, or look for daylight all round and say so"
	case first == "as_planned":
		return ""
	case !ended && (first == "zero_drift" || first == "tared_under_load" || first == "not_tared" || first == "lighter"):
		return "set down and slack off"
	case first == "cg_off" || first == "leg_length" || first == "channels_swapped":
		return "set down, and pull on one leg at a time: its channel must move"
	}
	return ""
}

// names lists cells by channel.
func (m *Model) names(cells []int) string {
	var out []string
	for _, i := range cells {
		out = append(out, m.cells[i].Channel)
	}
	return strings.Join(out, ", ")
}

// word writes the sentence of a cause.
func (m *Model) word(c *Cause, t *tried, e *Estimate) {
	show := m.Show
	off := t.theta[atMass]*m.g - m.weightN
	share := 100 * math.Abs(off) / m.weightN
	switch c.Name {
	case "as_planned":
		c.Text = "The readings are what the plan says."
	case "heavier":
		c.Danger = 2
		c.Text = fmt.Sprintf("The load weighs about %s, %.0f %% more than planned. Stop and find out why.", show(m.weightN+off), share)
	case "lighter":
		c.Danger = 1
		c.Text = fmt.Sprintf("The load weighs about %s, %.0f %% less than planned. Find out what is missing, or whether the ground still carries.", show(m.weightN+off), share)
	case "cg_off":
		d := 0.0
		for k := range 3 {
			d += math.Pow(t.theta[atX+k]-m.mean[atX+k], 2)
		}
		c.Danger = 2
		c.Text = fmt.Sprintf("The centre of gravity is about %.0f mm from where it is planned. Land the load and rig it anew.", 1000*math.Sqrt(d))
	case "leg_length":
		l := &m.legs[t.index[0]]
		c.Where, c.Danger = l.name, 1
		d := 1000 * (t.theta[l.length] - m.mean[l.length])
		way := "longer"
		if d < 0 {
			way = "shorter"
		}
		same, other := m.alike(t)
		for _, s := range same {
			c.Where += " or " + s
		}
		c.Text = fmt.Sprintf("Leg %s is about %.0f mm %s than planned", c.Where, math.Abs(d), way)
		if len(other) > 0 {
			c.Text += fmt.Sprintf(", or %s as much the other way; the forces cannot tell which", strings.Join(other, " or "))
		}
		c.Text += ". Land the load and measure the legs."
	case "leg_slack":
		l := &m.legs[t.index[0]]
		c.Where, c.Danger = l.name, 2
		c.Text = fmt.Sprintf("Leg %s hangs slack and the others carry everything. Land the load; the leg is too long, or the others are too short.", l.name)
	case "channels_swapped":
		c.Where, c.Danger = m.names(t.index), 1
		c.Text = fmt.Sprintf("Channels %s stand for each other's legs. Check which cell is in which leg.", c.Where)
	case "zero_drift":
		c.Where, c.Danger = m.names(t.index), 1
		c.Text = fmt.Sprintf("The zero of channel %s runs away. Set down, slack off and zero again, or change the cell.", c.Where)
	case "not_tared":
		c.Danger, c.Where = 1, m.names(t.index)
		what := "No cell was zeroed"
		if len(t.index) > 0 {
			what = "Channel " + c.Where + " was not zeroed"
		}
		c.Text = what + " with the rigging hung: the readings still hold its weight. Set down, slack off and zero."
	case "tared_under_load":
		c.Danger = 2
		c.Text = "Zero was pressed while the legs bore load: the cells show too little. Set down, slack off and zero again."
	case "held_down":
		c.Danger = 2
		if t.sign {
			off = t.say * m.weightN
		}
		c.Text = fmt.Sprintf("The hooks carry %s more than the load should weigh, and nothing shows that it is free: something holds it, or it is heavier than planned. Stop, slack off, and look for bolts, pipes, suction.", show(off))
	case "broke_free":
		c.Danger = 2
		c.Text = fmt.Sprintf("The load was held and broke free: the hooks lost %s at once. Land it and look over the rigging.", show(t.say*m.weightN))
	case "shock":
		c.Danger = 2
		c.Text = fmt.Sprintf("The load was jolted: the hooks went %.0f %% over its weight. Land it and look over the rigging.", 100*t.say)
	case "swing":
		c.Danger = 1
		c.Text = fmt.Sprintf("The load swings by about %.0f° to each side. Let it come to rest.", t.say*180/math.Pi)
	case "gust":
		c.Danger = 1
		if math.IsNaN(t.say) {
			c.Text = "The load is unsteady, as in gusts; there is no anemometer to tell. Land it if it gets worse."
		} else {
			c.Text = fmt.Sprintf("Wind moves the load: %.0f m/s. Land it.", t.say)
		}
	case "edge_landing":
		c.Danger = 1
		c.Text = "The load comes down on one edge: the legs share what is left unevenly. Pick it up again and put it down level."
	case "channel_frozen":
		c.Where, c.Danger = m.names(t.index), 2
		c.Text = fmt.Sprintf("Channel %s repeats one value. Hold, and check the cell; do not trust its number.", c.Where)
	case "channel_lost":
		c.Where, c.Danger = m.names(t.index), 2
		c.Text = fmt.Sprintf("Channel %s ceased to report under load. Hold until it reads again, or land the load.", c.Where)
	case "cannot_tell":
		c.Text = m.cannotTell(0).Text
	case "wrong_unit":
		u := units[int(t.say)]
		c.Danger, c.Where = 2, m.names(t.index)
		what := "All channels are"
		if len(t.index) > 0 {
			what = "Channel " + c.Where + " is"
		}
		c.Text = fmt.Sprintf("%s off by a factor of %.3g, as %s would be. Check the unit that the cell sends.", what, u.factor, u.what)
	}
}

// alike names the legs whose length does to the readings what that of the leg
// of an explanation does, and those that do the opposite.
func (m *Model) alike(t *tried) (same, other []string) {
	of := func(i int) []float64 {
		v := make([]float64, len(m.cells))
		size := 0.0
		for k := range v {
			v[k] = t.p.slope[k][m.legs[i].length] / m.cells[k].fixed
			size += v[k] * v[k]
		}
		for k := range v {
			v[k] /= math.Sqrt(size)
		}
		return v
	}
	mine := of(t.index[0])
	for i := range m.legs {
		if i == t.index[0] || m.legs[i].length < 0 {
			continue
		}
		switch c := dot(mine, of(i)); {
		case c > 0.9:
			same = append(same, m.legs[i].name)
		case c < -0.9:
			other = append(other, m.legs[i].name)
		}
	}
	return same, other
}
