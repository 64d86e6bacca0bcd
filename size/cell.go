package size

import (
	"cmp"
	"math"
	"slices"

	"plumbhook/fault"
	"plumbhook/lift"
	"plumbhook/quantity"
	"plumbhook/spread"
)

// CellPlace is what a load cell in a leg has to bear, and to read.
type CellPlace struct {
	Leg     string
	Channel string   // empty: the file has no cell there
	Step    string   // the state that asks most of it
	HighN   float64  // force on the cell that 95 of 100 ways leave no cell of the lift above, gross, static
	WorstN  *float64 // the worst share of four and more legs, static
	// Of the load as first rigged: what it must read, what was zeroed off
	// taken away, and the lower end of its own 95 % band.
	ReadsN, LowN float64
	NotRead      string // why the reading is not known; then both are zero
	leg          int
}

// Accuracy is what a load cell is brought for.
type Accuracy struct {
	Dynamic float64  // factor on the force; 0 and 1: none
	RiseN   float64  // by which the force may pass what is planned before the hoist stands
	Wanted  *float64 // largest error as a share of the reading; nil: not asked
}

// cells gives a cell for every leg that has one in the file; in a file
// without any, for the legs that take hold of the load.
func (b *Borne) cells() []spread.Cell {
	var cells []spread.Cell
	some := slices.ContainsFunc(b.lift.Legs, func(l lift.Leg) bool { c, _ := l.CellAt(); return c != nil })
	for i := range b.lift.Legs {
		leg := &b.lift.Legs[i]
		cell, _ := leg.CellAt()
		if cell == nil && (some || !touches(leg, "load")) {
			continue
		}
		p := CellPlace{Leg: leg.Name, leg: i}
		if cell != nil {
			p.Channel = cell.Channel
		}
		b.Cells = append(b.Cells, p)
		cells = append(cells, spread.Cell{Leg: i})
	}
	return cells
}

// read takes one state's forces on the cells.
func (b *Borne) read(rig *lift.Rig, h *lift.Hung, s *spread.Result) error {
	g := float64(b.lift.Site.G.Value)
	zeros, unknown := rig.Zeros(1)
	for k := range b.Cells {
		p := &b.Cells[k]
		leg := &b.lift.Legs[p.leg]
		cell, _ := leg.CellAt()
		weight := float64(leg.Mass.Value) * g
		high := s.Readings[k].JointHigh
		if cell == nil {
			high += weight // it may sit on top
		}
		if len(leg.Via) > 0 {
			high = math.Max(high, s.Demands[p.leg].P95)
		}
		if high > p.HighN {
			p.HighN, p.Step = high, h.Step
		}
		if w := h.Legs[p.leg].WorstN; w != nil && (p.WorstN == nil || *w > *p.WorstN) {
			p.WorstN = w
		}
		if h.Step != "" {
			continue
		}
		zero := 0.0
		switch {
		case len(leg.Via) > 0:
			p.NotRead = "the force differs along a rope that runs over points"
			continue
		case cell != nil && cell.Zero == lift.ZeroNone:
		case unknown != nil:
			p.NotRead = fault.Of(unknown)[0].What
			continue
		default: // attached takes off less than hung: the reading is not lower
			zero = zeros[p.leg]
		}
		p.ReadsN = leg.AtCell(h.Legs[p.leg].Upper, weight) - zero
		p.LowN = s.Readings[k].Low - zero
		if p.ReadsN <= 0 {
			p.NotRead = "the load puts nothing on it as first rigged"
		}
	}
	return nil
}

// bears says what a cell there has to bear.
func (p *CellPlace) bears(a Accuracy) (float64, Reason) {
	d := cmp.Or(a.Dynamic, 1)
	n, why := p.HighN, because("%s, the upper end of what all cells together read in 95 of 100 ways", quantity.Force(p.HighN))
	if p.WorstN != nil && *p.WorstN > n {
		n, why = *p.WorstN, because("%s, the worst share when lengths are off and other legs go slack", quantity.Force(*p.WorstN))
	}
	if d != 1 {
		why = because("%s; × dynamic factor %.4g", why, d)
	}
	if a.RiseN > 0 {
		why = because("%s; + %s for the rise until the hoist stands", why, quantity.Force(a.RiseN))
	}
	return n*d + a.RiseN, why
}

// CellChoice is the smallest load cell that bears what may come and reads as
// finely as is wanted.
type CellChoice struct {
	Place    CellPlace
	LeastN   float64 // a cell there has to bear this
	Why      Reason  // of that
	Pick     *Candidate
	ErrorPct *float64 // of what Pick must read, by its accuracy, in %; nil: not known
	Rejected []Rejection
}

// Choose picks among load cells, smallest capacity first. Every one that was
// passed over is told of, the too large ones as well.
func (p CellPlace) Choose(all []Candidate, a Accuracy) CellChoice {
	c := CellChoice{Place: p}
	c.LeastN, c.Why = p.bears(a)
	all = slices.Clone(all)
	slices.SortStableFunc(all, func(x, y Candidate) int {
		return cmp.Or(cmp.Compare(capacity(x), capacity(y)), cmp.Compare(x.Name, y.Name))
	})
	for i := range all {
		k := &all[i]
		limit := capacity(*k)
		reject := func(format string, args ...any) {
			c.Rejected = append(c.Rejected, Rejection{*k, &limit, because(format, args...)})
		}
		share := p.share(k)
		switch {
		case k.Cell == nil:
			reject("it is no load cell whose capacity is known")
		case k.Unfit != "":
			reject("%s", k.Unfit)
		case limit < c.LeastN:
			reject("its capacity of %s is below the %s that may come on it", quantity.Force(limit), quantity.Force(c.LeastN))
		case a.Wanted != nil && share == nil && p.NotRead != "":
			reject("how fine it reads cannot be told: %s", p.NotRead)
		case a.Wanted != nil && share == nil:
			reject("its accuracy is not stated, and an error of at most %s of the reading is wanted", quantity.Ratio(*a.Wanted))
		case a.Wanted != nil && *share > *a.Wanted && k.Cell.OfFullScale:
			reject("its accuracy of %s of full scale is %s of the %s that it must read, and at most %s is wanted: of this accuracy, up to %s of capacity would do",
				quantity.Ratio(k.Cell.Share), quantity.Ratio(*share), quantity.Force(p.ReadsN), quantity.Ratio(*a.Wanted), quantity.Force(math.Max(0, p.ReadsN)**a.Wanted/k.Cell.Share))
		case a.Wanted != nil && *share > *a.Wanted:
			reject("its accuracy of %s of the reading is coarser than the %s wanted", quantity.Ratio(k.Cell.Share), quantity.Ratio(*a.Wanted))
		case c.Pick != nil:
			reject("it would do as well, and is larger than need be")
		default:
			c.Pick = k
			if share != nil {
				pct := 100 * *share
				c.ErrorPct = &pct
			}
		}
	}
	return c
}

// share is the largest error of a cell as a share of what it must read; nil where it is not known.
func (p *CellPlace) share(c *Candidate) *float64 {
	switch {
	case c.Cell == nil || c.Cell.Share == 0 || p.NotRead != "":
		return nil
	case !c.Cell.OfFullScale:
		return &c.Cell.Share
	}
	s := math.Inf(1)
	if p.ReadsN > 0 {
		s = c.Cell.Share * float64(c.Cell.Capacity) / p.ReadsN
	}
	return &s
}

func capacity(c Candidate) float64 {
	if c.Cell == nil {
		return 0
	}
	n := float64(c.Cell.Capacity)
	if c.WLL != nil { // a stated rating below the full scale
		n = min(n, float64(c.WLL.Force))
	}
	return n
}
