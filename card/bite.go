package card

import (
	"math"
	"strings"

	"plumbhook/fault"
	"plumbhook/lift"
)

// Levels are the shares of the planned total at which the crew stops and
// looks while the ground still carries the rest.
var Levels = [3]float64{0.25, 0.5, 0.75}

// firstBite is the share of the planned total from which hook travel counts.
const firstBite = 0.01

// Bite is how the legs take the load while it stands as before the lift and
// the hooks go up, all alike. The ground carries what the legs do not, so
// weight and centre of gravity have no say yet: what differs from these
// numbers is a length, a place or a channel that is not as planned.
type Bite struct {
	Legs  []LegBite
	Cells [][3]float64 // what each cell of the card shows at each of Levels
	// Hook travel, m, from first bite to each of Levels, and to the planned
	// total.
	TravelM [3]float64
	FullM   float64
	TotalN  [3]float64 // at the hooks, rigging included
	EmptyN  float64    // at the hooks, the rigging hanging on the load, all slack
	// PerMetre is what the hooks bear more for each metre of travel at half
	// the planned total, N/m, unyielding hook.
	PerMetre float64

	// At the planned total, where it is stiffest, N/m.
	cells []float64
	total float64
}

// LegBite is the answer of one leg at half the planned total.
type LegBite struct {
	Name     string
	PerMetre float64 // N more along the leg for each metre of hook; of a straight leg k sin α
	Upward   float64 // N more straight up; k sin² α
}

// probe is the hook travel, m, that slopes are taken over: what a stiff leg
// stretches by under a part of its load, and far above rounding.
const probe = 1e-5

// bite works out the first bite, or says what keeps it from that.
func (c *Card) bite(rig *lift.Rig) {
	b, err := c.takeUp(rig)
	if err == nil {
		c.Bite = b
		return
	}
	var stiff []string
	for i := range c.Plan.Lift.Legs {
		if leg := &c.Plan.Lift.Legs[i]; leg.Stiffness == nil {
			stiff = append(stiff, leg.Name)
		}
	}
	why := "the legs are too stiff for any hook travel to be told, or do not take it at all"
	if len(stiff) > 0 {
		why = "the file gives no stiffness of leg " + strings.Join(stiff, ", ")
	}
	c.missing("how the legs take the load, and what comes on while the hoist stops: %s", why)
}

// takeUp hangs the rigging with the load held and looks for the heights of
// the hooks at which the legs carry each share.
func (c *Card) takeUp(rig *lift.Rig) (*Bite, error) {
	plan := c.State.Hung.Hooks
	at := func(up float64) (*lift.Hung, error) {
		hooks := make([][3]float64, len(plan))
		for i := range plan {
			hooks[i] = plan[i].At
			hooks[i][2] += up
		}
		return rig.Held(hooks)
	}
	all, err := at(-c.State.Hung.HeadroomM / 4)
	if err != nil {
		return nil, err
	}
	rigging := lifted(all)
	whole := 0.0
	for i := range plan {
		whole -= plan[i].Force[2]
	}
	// How far the hooks are from where they carry a share of what comes on
	// top of the rigging.
	miss := func(up, share float64) (float64, error) {
		h, err := at(up)
		if err != nil {
			return 0, err
		}
		return (lifted(h)-rigging)/(whole-rigging) - share, nil
	}
	low, err := bracket(miss)
	if err != nil {
		return nil, err
	}
	find := func(share float64) (float64, *lift.Hung, error) {
		up, err := root(func(up float64) (float64, error) { return miss(up, share) }, low[0], low[1])
		if err != nil {
			return 0, nil, err
		}
		h, err := at(up)
		return up, h, err
	}
	tight, _, err := find(firstBite)
	if err != nil {
		return nil, err
	}
	b := &Bite{EmptyN: rigging, Cells: make([][3]float64, len(c.Cells))}
	for k, share := range Levels {
		up, h, err := find(share)
		if err != nil {
			return nil, err
		}
		b.TravelM[k], b.TotalN[k] = up-tight, lifted(h)
		for i := range c.Cells {
			b.Cells[i][k] = c.reading(&c.Cells[i].Expected, h)
		}
		if share != 0.5 {
			continue
		}
		more, err := at(up + probe)
		if err != nil {
			return nil, err
		}
		b.PerMetre = (lifted(more) - lifted(h)) / probe
		for i := range h.Legs {
			b.Legs = append(b.Legs, LegBite{
				Name:     h.Legs[i].Name,
				PerMetre: (more.Legs[i].TensionN - h.Legs[i].TensionN) / probe,
				Upward:   (h.Legs[i].Upper[2] - more.Legs[i].Upper[2]) / probe,
			})
		}
	}
	up, h, err := find(1)
	if err != nil {
		return nil, err
	}
	more, err := at(up + probe)
	if err != nil {
		return nil, err
	}
	b.FullM = up - tight
	b.total = (lifted(more) - lifted(h)) / probe
	for i := range c.Cells {
		e := &c.Cells[i].Expected
		b.cells = append(b.cells, (c.reading(e, more)-c.reading(e, h))/probe)
	}
	return b, nil
}

// lifted is what the hooks bear straight down, N.
func lifted(h *lift.Hung) float64 {
	n := 0.0
	for i := range h.Hooks {
		n -= h.Hooks[i].Force[2]
	}
	return n
}

// bracket finds heights of the hooks, m from the plan, below first bite and
// above the planned total.
func bracket(miss func(up, share float64) (float64, error)) ([2]float64, error) {
	const most = 2 // m
	high, low := 0.0, 0.0
	for step := 5e-4; ; step *= 2 {
		m, err := miss(high, 1)
		if err != nil {
			return [2]float64{}, err
		}
		if m >= 0 {
			break
		}
		if high += step; high > most {
			return [2]float64{}, fault.New(fault.Rig, "the legs do not come to carry the load within %d m of hook travel", most)
		}
	}
	for step := 5e-4; ; step *= 2 {
		m, err := miss(low, firstBite)
		if err != nil {
			return [2]float64{}, err
		}
		if m < 0 {
			return [2]float64{low, high}, nil
		}
		if low -= step; low < -most {
			return [2]float64{}, fault.New(fault.Rig, "the legs carry the load even with the hook %d m lower", most)
		}
	}
}

// root finds where a rising function comes to zero between two places, by
// false position with the Illinois rule (Dowell and Jarratt, 1971).
func root(f func(float64) (float64, error), a, b float64) (float64, error) {
	fa, err := f(a)
	if err != nil {
		return 0, err
	}
	fb, err := f(b)
	if err != nil {
		return 0, err
	}
	side := 0
	for range 100 {
		if b-a < 1e-9 || fb == fa {
			break
		}
		x := (a*fb - b*fa) / (fb - fa)
		if !(x > a && x < b) {
			x = (a + b) / 2
		}
		fx, err := f(x)
		switch {
		case err != nil:
			return 0, err
		case math.Abs(fx) < 1e-9:
			return x, nil
		case fx > 0:
			b, fb = x, fx
			if side > 0 {
				fa /= 2
			}
			side = 1
		default:
			a, fa = x, fx
			if side < 0 {
				fb /= 2
			}
			side = -1
		}
	}
	return (a + b) / 2, nil
}
