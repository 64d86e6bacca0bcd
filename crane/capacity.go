package crane

import (
	"fmt"
	"strings"

	"plumbhook/quantity"
)

// Cell is one figure of a chart.
type Cell struct {
	Radius, Boom quantity.Measured[quantity.Length]
	Capacity     *quantity.Rating // nil: not allowed there
}

// Answer is what a chart allows at one place.
type Answer struct {
	Capacity *quantity.Rating // nil: nothing
	Exact    bool             // radius and boom length stand in the chart
	Cells    []Cell           // every cell looked at
	Governs  int              // which of Cells gave the capacity; -1 without one
	Text     string           // how it was read, for people
	Findings []Finding
}

// Capacity reads the chart at a radius and boom length. A spread on either is
// taken from end to end.
//
// A figure that stands in the chart is taken as it is. Otherwise every cell
// from the charted figure below to the charted figure above is looked at, in
// both directions, and the least of them counts; one that allows nothing
// leaves nothing. So the answer is that of the next larger radius, and of the
// weaker of the two boom lengths, or less. Outside the chart there is no
// capacity, and the finding is a stop. where is the name that findings bear.
func (c *Chart) Capacity(where string, radius, boom quantity.Measured[quantity.Length]) Answer {
	a := Answer{Governs: -1}
	r := rule{"chart-capacity", c.named(), Stated}
	i, j, howR := span("radius", c.Radii, radius)
	k, l, howB := span("boom length", c.Booms, boom)
	if i < 0 || k < 0 {
		var out []string
		if i < 0 {
			out = append(out, howR)
		}
		if k < 0 {
			out = append(out, howB)
		}
		a.Text = "no capacity: " + strings.Join(out, "; ") + "; a chart is not continued beyond its edge"
		a.Findings = append(a.Findings, r.find(Stop, where, "%s", a.Text))
		return a
	}
	a.Exact = i == j && k == l
	for m := i; m <= j; m++ {
		for n := k; n <= l; n++ {
			x := Cell{c.Radii[m], c.Booms[n], c.Cells[m][n]}
			a.Cells = append(a.Cells, x)
			if x.Capacity == nil {
				a.Governs = len(a.Cells) - 1
			}
		}
	}
	if a.Governs >= 0 {
		x := a.Cells[a.Governs]
		a.Governs = -1
		a.Text = fmt.Sprintf("no capacity: %s, %s; the chart allows nothing at radius %s with boom %s", howR, howB, x.Radius.Text, x.Boom.Text)
		a.Findings = append(a.Findings, r.find(Stop, where, "%s", a.Text))
		return a
	}
	for n, x := range a.Cells {
		// Of equal cells the one farther out is named: that is the way it is read.
		if a.Governs < 0 || x.Capacity.Force <= a.Cells[a.Governs].Capacity.Force {
			a.Governs = n
		}
	}
	least := a.Cells[a.Governs]
	a.Capacity = least.Capacity
	a.Text = fmt.Sprintf("%s: %s, %s", least.Capacity.Text, howR, howB)
	if !a.Exact {
		a.Text += fmt.Sprintf("; taken is the least of the %d figures around, at radius %s with boom %s", len(a.Cells), least.Radius.Text, least.Boom.Text)
		a.Findings = append(a.Findings, r.find(Note, where, "%s", a.Text))
	}
	return a
}

// span finds the charted figures that enclose m: the last at or below its low
// end and the first at or above its high end. Both are -1 outside the chart.
// how says it for people.
func span(what string, axis []quantity.Measured[quantity.Length], m quantity.Measured[quantity.Length]) (i, j int, how string) {
	i, j = -1, -1
	for n, x := range axis {
		if x.Value <= m.Low {
			i = n
		}
		if x.Value >= m.High && j < 0 {
			j = n
		}
	}
	how = what + " " + shown(m, "m")
	switch {
	case i >= 0 && j >= i:
		if i == j {
			return i, j, how
		}
		return i, j, fmt.Sprintf("%s between the charted %s and %s", how, axis[i].Text, axis[j].Text)
	case len(axis) == 0:
		how += " in an empty chart"
	case m.High > axis[len(axis)-1].Value:
		how += " is more than the largest in the chart, " + axis[len(axis)-1].Text
	case m.Low < axis[0].Value:
		how += " is less than the least in the chart, " + axis[0].Text
	default:
		how += " is not a figure"
	}
	return -1, -1, how
}

// Reach is the largest radius at which the chart allows anything with this
// boom; of two neighbouring boom lengths, the shorter reach. It is nil for a
// boom outside the chart.
func (c *Chart) Reach(boom quantity.Measured[quantity.Length]) *quantity.Length {
	var reach *quantity.Length
	k, l, _ := span("", c.Booms, boom)
	for n := max(k, 0); n <= l; n++ {
		var far quantity.Length
		for m := range c.Radii {
			if c.Cells[m][n] != nil {
				far = c.Radii[m].Value
			}
		}
		if reach == nil || far < *reach {
			reach = &far
		}
	}
	return reach
}
