// Package card works out what a crew needs to know before a lift with load
// cells, to be printed on one page: what each cell must read, at which number
// to stop and why, how the readings grow while the ground still carries, how
// to find swapped cells, and what the sling angle does on this very job.
//
// Everything follows from a checked plan and from what the crew states on the
// day. Forces are in N, at the cell: what the readout shows, zero taken off.
package card

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"plumbhook/fault"
	"plumbhook/lift"
	"plumbhook/spread"
	"plumbhook/verdict"
)

// Day is what the crew states; zero is not stated.
type Day struct {
	HoistSpeed    float64 // m/s, of the hook while it takes the load
	Delay         float64 // s, from the reading to the lever: radio and people
	Stopping      float64 // s, from the lever until the hook stands
	HookStiffness float64 // N/m, what hoist rope and boom give at the hook; zero: they do not give
	HookHeight    float64 // m, measured with the legs tight: bearing of the hook over the highest lug
}

// Card is the whole page.
type Card struct {
	Plan  *verdict.Plan
	State *verdict.State
	Day
	Cells    []Cell
	Total    Total
	Bite     *Bite     // nil: not worked out, see Missing
	AsRigged *AsRigged // nil: no height was measured
	Tug      []Pull
	Angle    *Lesson // nil: no leg leans
	// Missing says what the card should have and has not.
	Missing []string
}

// Cell is what one cell must read.
type Cell struct {
	verdict.Expected
	WarnN float64
	Stops []Stop // lowest first; the first is the stop number
}

// Total is the sum at the hooks, as a crane's own indicator would show it
// without its block.
type Total struct {
	NominalN, LowN, HighN float64 // 95 in 100; with several hooks the sum of each one's
	WarnN                 float64
	Stops                 []Stop
	// What a display shows that adds the cells: no weight, for the legs lean.
	CellsN float64
}

// New makes the card for the plan after step index, 0 as first rigged. What
// happens before the load hangs, and as rigged, is told for 0 only.
func New(p *verdict.Plan, index int, day Day) (*Card, error) {
	if err := day.settle(p.Lift); err != nil {
		return nil, err
	}
	c := &Card{Plan: p, State: &p.States[index], Day: day}
	rig, err := lift.NewRig(p.Lift)
	if err != nil {
		return nil, err
	}
	c.total()
	for _, e := range c.State.Expected {
		c.Cells = append(c.Cells, Cell{Expected: e})
	}
	if index == 0 {
		c.bite(rig)
		if err := c.tug(); err != nil {
			c.missing("the tug test: %v", err)
		}
		if err := c.asRigged(); err != nil {
			return nil, err
		}
	}
	c.stops()
	c.angle()
	return c, nil
}

// settle takes from the file what the crew does not state: the hoist speed of
// dynamic, the rest of the cranes. With several cranes the slowest counts, and
// what they give at their hooks adds up like springs side by side.
func (d *Day) settle(l *lift.Lift) error {
	delay, stopping, stiffness, give := 0.0, 0.0, 0.0, 0
	for i := range l.Cranes {
		c := &l.Cranes[i]
		if c.Delay != nil {
			delay = math.Max(delay, float64(c.Delay.High))
		}
		if c.Stopping != nil {
			stopping = math.Max(stopping, float64(c.Stopping.High))
		}
		if c.HookStiffness != nil {
			stiffness, give = stiffness+float64(c.HookStiffness.High), give+1
		}
	}
	d.Delay, d.Stopping = cmp.Or(d.Delay, delay), cmp.Or(d.Stopping, stopping)
	if give == len(l.Hooks) { // a hook that nobody says it of does not give
		d.HookStiffness = cmp.Or(d.HookStiffness, stiffness)
	}
	timed := d.Delay > 0 && d.Stopping > 0
	if timed && d.HoistSpeed == 0 && l.Dynamic != nil && l.Dynamic.HoistSpeed != nil {
		d.HoistSpeed = float64(l.Dynamic.HoistSpeed.High)
	}
	if timed != (d.HoistSpeed > 0) || timed != (d.Delay > 0 || d.Stopping > 0) {
		return fault.New(fault.Missing, "hoist speed, delay and stopping time go together").
			Fix("give all three, or none: the file may state them as dynamic: {hoist_speed: ...} and, under crane and its hook, delay and stopping")
	}
	return nil
}

func (c *Card) missing(format string, args ...any) {
	c.Missing = append(c.Missing, fmt.Sprintf(format, args...))
}

// reading is what the cell of e shows in a rig hung in some other way.
func (c *Card) reading(e *verdict.Expected, h *lift.Hung) float64 {
	leg := &c.Plan.Lift.Legs[e.Cell.Leg]
	return leg.AtCell(h.Legs[e.Cell.Leg].Upper, float64(leg.Mass.Value)*float64(c.Plan.Lift.Site.G.Value)) - e.Cell.Zero
}

// total adds up what the hooks carry straight down.
func (c *Card) total() {
	t := &c.Total
	t.NominalN, _, _ = c.State.Total()
	t.LowN = c.State.Down(func(d *spread.Drawn) float64 { return d.Quantile(0.025) })
	t.HighN = c.State.Down(func(d *spread.Drawn) float64 { return d.Quantile(0.975) })
	for i := range c.State.Expected {
		t.CellsN += c.State.Expected[i].NominalN
	}
}

// part is one rated piece, with the leg that alone decides what it carries.
type part struct {
	verdict.Part
	leg int // -1: several do
}

// rated lists the pieces with a rating.
func (c *Card) rated() []part {
	var all []part
	l := c.Plan.Lift
	for _, q := range c.State.Parts {
		if q.Utilisation != nil && *q.Utilisation > 0 {
			all = append(all, part{q, c.owner(q.Where)})
		}
	}
	for i := range l.Legs {
		leg := &l.Legs[i]
		if leg.WLL != nil && len(leg.Stack) > 0 { // beside what its stack says
			n, limit := c.State.P95[leg.Name]*c.Plan.Dynamic, float64(leg.WLL.Force)
			u := n / limit
			all = append(all, part{verdict.Part{Where: "legs." + leg.Name, Kind: "leg", DemandN: n, LimitN: &limit, Utilisation: &u}, i})
		}
	}
	return all
}

// owner finds the one leg that a part is of, or that pulls on it.
func (c *Card) owner(where string) int {
	owner := -1
	for i := range c.Plan.Lift.Legs {
		leg := &c.Plan.Lift.Legs[i]
		name := "legs." + leg.Name
		if where == name || strings.HasPrefix(where, name+".stack[") {
			return i
		}
		for _, ref := range append([]lift.Ref{leg.From, leg.To}, leg.Via...) {
			if ref.Point != "" && ref.String() == where {
				if owner >= 0 && owner != i {
					return -1
				}
				owner = i
			}
		}
	}
	return owner
}

// celled reports whether a cell on the card reads leg i.
func (c *Card) celled(i int) bool {
	return slices.ContainsFunc(c.Cells, func(k Cell) bool { return k.Cell.Leg == i })
}

// least is the reading that a cell shows at the worst of its errors when the
// upper end of its leg bears n.
func (c *Card) least(k *Cell, n float64) float64 {
	n -= c.State.Hung.Legs[k.Cell.Leg].TensionN - k.NominalN // own weight, zero
	n -= k.Cell.ZeroLimit
	return n - k.Cell.Limit(n)
}

// errorOf is how far off a cell may show near its nominal reading.
func errorOf(e *verdict.Expected) float64 {
	return e.Cell.Limit(e.NominalN)
}
