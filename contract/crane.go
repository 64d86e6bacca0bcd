package contract

import (
	"plumbhook/crane"
	"plumbhook/rulebook"
)

// Crane is a machine against its chart, beside others, and on its ground.
type Crane struct {
	Lines     []CraneLine `json:"lines"` // what hangs on it
	GrossN    float64     `json:"gross_N"`
	Chart     string      `json:"chart"`         // how it was read; empty: there is none to read
	CapacityN *float64    `json:"capacity_N"`    // null: no chart, or it allows nothing there
	Share     *float64    `json:"share"`         // gross over capacity, static
	Dynamic   *float64    `json:"share_dynamic"` // the same with the dynamic factor
	Status    string      `json:"status"`        // holds, fails, not assessed
	Joint     *CraneJoint `json:"joint"`         // null: it lifts alone
	Ground    []Footing   `json:"ground"`        // under each outrigger or track
}

// CraneLine is a line of what hangs on a machine.
type CraneLine struct {
	Name string  `json:"name"`
	N    float64 `json:"force_N"`
	How  string  `json:"how"`
	From string  `json:"from"`
}

// CraneJoint is the share of one of several cranes.
type CraneJoint struct {
	OfLoad   float64  `json:"of_load"`
	ReducedN *float64 `json:"reduced_N"` // what the rule set leaves of its capacity; null without one
	Share    *float64 `json:"share"`     // gross over that
	Status   string   `json:"status"`
}

// Footing is the ground under an outrigger or a track.
type Footing struct {
	Name       string   `json:"name"`
	ReactionN  float64  `json:"reaction_N"`
	How        string   `json:"how"`
	From       string   `json:"from"`
	MatN       float64  `json:"mat_N"` // own weight; 0 when not stated
	AreaM2     float64  `json:"area_m2"`
	Area       string   `json:"area"`
	PressurePa *float64 `json:"pressure_Pa"`
	AllowedPa  *float64 `json:"allowed_Pa"`
	Share      *float64 `json:"share"`
	Status     string   `json:"status"`
}

func newCrane(m *rulebook.Machine) Crane {
	c := Crane{Lines: []CraneLine{}, GrossN: m.GrossN, Chart: m.Chart, Status: string(crane.NotAssessed), Ground: []Footing{}}
	for _, l := range m.Lines {
		c.Lines = append(c.Lines, CraneLine{l.Name, l.N, l.How, l.From})
	}
	if u := m.Use; u != nil {
		c.CapacityN, c.Share, c.Dynamic, c.Status = u.CapacityN, u.Share, u.Dynamic, string(u.Status)
	}
	if p := m.Part; p != nil {
		c.Joint = &CraneJoint{p.Of, p.ReducedN, p.Share, string(p.Status)}
	}
	for i := range m.Bearings {
		b := &m.Bearings[i]
		f := &b.Foundation
		c.Ground = append(c.Ground, Footing{
			b.Name, b.Reaction.N, b.Reaction.How, b.Reaction.From, f.MatN, f.AreaM2, f.AreaHow, f.PressurePa, b.AllowedPa, f.Share, string(f.Status),
		})
	}
	return c
}
