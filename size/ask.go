package size

import (
	"fmt"
	"slices"

	"plumbhook/fault"
	"plumbhook/gear"
	"plumbhook/lift"
)

// Question is all that may be asked about one lift at once.
type Question struct {
	Goal     Goal
	Posed    bool // the pose is asked for, and not only level because nothing else is
	Ranges   []Range
	Headroom *float64 // m; nil: no limit
	Margin   Margin
	Accuracy Accuracy
	Offers   []Candidate // nothing: the catalogue, and for the cells those in the file
}

// Answer is what can be said to it.
type Answer struct {
	Question
	Lift     *lift.Lift
	Lengths  *Lengths  // nil with a headroom limit, whose answer has them, and without an answer
	Headroom *Headroom // nil without a limit
	// Unposed says why no lengths were chosen, for a lift that nobody asked to
	// pose and whose pose is not for its legs alone to say.
	Unposed fault.List
	Places  []Place
	Choices []Choice
	Cells   []CellChoice
}

// Ask answers for a lift. The lengths are for the lift as first rigged; the
// gear and the cells are for the lengths in the file and all its steps.
func Ask(l *lift.Lift, q Question) (*Answer, error) {
	a := &Answer{Question: q, Lift: l}
	var err error
	if q.Headroom != nil {
		a.Headroom, err = Under(l, *q.Headroom, q.Goal, q.Margin, q.Ranges)
	} else {
		a.Lengths, err = Level(l, q.Goal, q.Margin, q.Ranges)
	}
	if err != nil {
		asked := q.Posed || q.Headroom != nil || len(q.Ranges) > 0
		if list := fault.Of(err); !asked && list[0].Code == fault.Unsupported {
			a.Unposed = list
		} else {
			return nil, err
		}
	}
	b, err := Bear(l, q.Margin)
	if err != nil {
		return nil, err
	}
	a.Places = b.Places
	for _, c := range b.Choices() {
		offers := q.Offers
		if len(offers) == 0 {
			offers = Catalogue(c.Kind, c.Facts)
		}
		a.Choices = append(a.Choices, b.Choose(c, offers))
	}
	cells := slices.DeleteFunc(slices.Clone(q.Offers), func(c Candidate) bool { return c.Cell == nil })
	if len(cells) == 0 {
		cells = b.ownCells()
	}
	for _, c := range b.Cells {
		a.Cells = append(a.Cells, c.Choose(cells, q.Accuracy))
	}
	return a, nil
}

// ownCells are the different load cells of the file.
func (b *Borne) ownCells() []Candidate {
	var all []Candidate
	for i := range b.lift.Legs {
		c, _ := b.lift.Legs[i].CellAt()
		if c == nil || c.Capacity == nil {
			continue
		}
		k := Candidate{Kind: "load cell", Cell: &gear.Cell{Capacity: c.Capacity.Force}}
		k.Name = "load cell, " + c.Capacity.Text
		if c.Accuracy != nil {
			k.Cell.Share, k.Cell.OfFullScale = c.Accuracy.Share, c.Accuracy.OfFullScale
			k.Name += fmt.Sprintf(", %s", c.Accuracy.Text)
		}
		if !slices.ContainsFunc(all, func(x Candidate) bool { return x.Name == k.Name }) {
			all = append(all, k)
		}
	}
	return all
}

// Short tells whether the file rates a place below what it demands.
func (p *Place) Short() bool { return p.RatedN != nil && *p.RatedN < p.DemandN }

// Had tells whether everything that was asked can be had: the pose, the fit,
// every rating in the file enough, and among every kind of gear that was looked
// at a piece that will do.
func (a *Answer) Had() bool {
	switch {
	case a.Lengths != nil && !a.Lengths.Reached, a.Headroom != nil && !a.Headroom.Fits:
		return false
	case slices.ContainsFunc(a.Places, func(p Place) bool { return p.Short() }):
		return false
	case slices.ContainsFunc(a.Choices, func(c Choice) bool { return c.Pick == nil && len(c.Rejected) > 0 }):
		return false
	}
	return !slices.ContainsFunc(a.Cells, func(c CellChoice) bool { return c.Pick == nil && len(c.Rejected) > 0 })
}
