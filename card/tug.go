package card

import (
	"math"
	"slices"

	"plumbhook/fault"
	"plumbhook/lift"
	"plumbhook/quantity"
)

// Pull is one pull of the tug test: straight down by hand on the lower end of
// one leg, the rigging hanging free and nothing attached.
type Pull struct {
	Leg string
	// LeastN is the least pull that tells from the cells' errors: three times
	// the largest of the cells that move (common practice, no source).
	LeastN float64
	Share  []float64 // of the pull, by which each cell of the card rises
}

// Moves and Stays say when a share of the pull counts as seen and as none.
const (
	Moves = 0.5
	Stays = 0.1
)

// tug works out which cells move when each leg to the load is pulled.
func (c *Card) tug() error {
	l := c.Plan.Lift
	if len(c.Cells) < 2 {
		return nil
	}
	g := float64(l.Site.G.Value)
	cells := func(rig *lift.Rig) ([]float64, error) {
		upper, err := rig.Empty(1)
		if err != nil {
			return nil, err
		}
		var n []float64
		for i := range c.Cells {
			leg := &l.Legs[c.Cells[i].Cell.Leg]
			n = append(n, leg.AtCell(upper[c.Cells[i].Cell.Leg], float64(leg.Mass.Value)*g))
		}
		return n, nil
	}
	rig, err := lift.NewRig(l)
	if err != nil {
		return err
	}
	free, err := cells(rig)
	if err != nil {
		return err
	}
	for i := range l.Legs {
		leg := &l.Legs[i]
		if len(leg.Via) > 0 || (leg.To.Body == "load") == (leg.From.Body == "load") {
			continue
		}
		p := Pull{Leg: leg.Name}
		const hand = 100 // N
		pulled := *l
		pulled.Legs = slices.Clone(l.Legs)
		pulled.Legs[i].Mass = quantity.Known(leg.Mass.Value + quantity.Mass(hand/g))
		rig, err := lift.NewRig(&pulled)
		if err != nil {
			return err
		}
		n, err := cells(rig)
		if err != nil {
			return err
		}
		for k := range n {
			share := (n[k] - free[k]) / hand
			p.Share = append(p.Share, share)
			if math.Abs(share) > Stays {
				p.LeastN = math.Max(p.LeastN, 3*errorOf(&c.Cells[k].Expected)/math.Abs(share))
			}
		}
		c.Tug = append(c.Tug, p)
	}
	if len(c.Tug) == 0 {
		return fault.New(fault.Unsupported, "no leg ends at the load")
	}
	return nil
}

// Tells reports whether the pulls tell every two cells apart.
func (c *Card) Tells() bool {
	for a := range c.Cells {
		for b := range a {
			apart := slices.ContainsFunc(c.Tug, func(p Pull) bool {
				return p.Share[a] > Moves && p.Share[b] < Stays || p.Share[b] > Moves && p.Share[a] < Stays
			})
			if !apart {
				return false
			}
		}
	}
	return true
}
