package cli

import (
	"math"

	"plumbhook/contract"
	"plumbhook/cycles"
	"plumbhook/internal/station"
	"plumbhook/lift"
	"plumbhook/reading"
	"plumbhook/verdict"
)

// Of what a cell can bear, a swing below the first share is noise and no cycle, and
// cycles are gathered in classes as wide as the second (common practice, no source).
const (
	cycleGate  = 0.02
	cycleClass = 0.05
)

// cycleCount counts the load cycles of every leg with a cell, reading by reading and
// in bounded memory. The nil one counts nothing.
type cycleCount struct {
	legs   []countedLeg
	curves station.Curves
}

type countedLeg struct {
	name, channel string
	order         reading.Order
	counter       cycles.Counter
	gathered      cycles.Histogram
	greatest      float64
}

// newCycleCount sizes it by the capacity of each cell or, where none is stated, by
// what is planned for the leg.
func newCycleCount(l *lift.Lift, p *verdict.Plan, curves station.Curves) *cycleCount {
	c := &cycleCount{curves: curves}
	for i := range l.Legs {
		cell, _ := l.Legs[i].CellAt()
		if cell == nil {
			continue
		}
		full := 0.0
		for _, h := range p.States[0].Hung.Legs {
			if h.Name == l.Legs[i].Name {
				full = h.TensionN
			}
		}
		if cell.Capacity != nil {
			full = float64(cell.Capacity.Force)
		}
		if full = math.Max(full, 1); cell.Channel != "" {
			gate := cycleGate * full
			c.legs = append(c.legs, countedLeg{name: l.Legs[i].Name, channel: cell.Channel, counter: cycles.Counter{Gate: gate, Step: gate / 4}, gathered: cycles.Histogram{Range: cycleClass * full}})
		}
	}
	return c
}

// take counts a frame. A reading that is late or there already counts for nothing;
// where one cannot be used, every count is "at least".
func (c *cycleCount) take(f *reading.Frame) {
	if c == nil || f == nil {
		return
	}
	for _, m := range f.Readings {
		for i := range c.legs {
			l := &c.legs[i]
			if l.channel != m.Channel || l.order.Next(&m).Turn != reading.Fresh {
				continue
			}
			v := m.Value
			if curve := c.curves[m.Channel]; curve != nil {
				v = curve(v)
			}
			if !m.Usable() {
				v = math.NaN()
			}
			l.put(l.counter.Add(v))
		}
	}
}

func (l *countedLeg) put(closed []cycles.Cycle) {
	for _, k := range closed {
		l.gathered.Add(k)
		l.greatest = math.Max(l.greatest, k.Range())
	}
}

// finish ends the history, and gives what was counted.
func (c *cycleCount) finish() []contract.ReplayCycles {
	if c == nil {
		return nil
	}
	out := []contract.ReplayCycles{}
	for i := range c.legs {
		l := &c.legs[i]
		l.put(l.counter.Rest())
		k := contract.ReplayCycles{Leg: l.name, Channel: l.channel, SmallestN: l.counter.Gate, GreatestN: l.greatest, AtLeast: l.counter.Skipped() > 0, Classes: []contract.ReplayCycleClass{}}
		for _, g := range l.gathered.Classes() {
			k.Classes = append(k.Classes, contract.ReplayCycleClass{FromN: g.From, ToN: g.To, Count: g.Count})
		}
		out = append(out, k)
	}
	return out
}
