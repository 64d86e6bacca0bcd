package watch

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"math"
	"strings"

	"plumbhook/cycles"
	"plumbhook/infer"
	"plumbhook/lift"
	"plumbhook/logbook"
	"plumbhook/reading"
	"plumbhook/register"
)

// Toll is what a lift took of its gear, as far as the watch saw.
type Toll struct {
	From, To reading.Stamp // first and last entry with anything to go by
	Lifts    int           // times that load was taken
	HookS    float64       // s with load on the hooks
	Shocks   int
	Parts    []Borne
}

// Borne is the most that one part bore, N, gross. A part whose leg has a cell
// goes by that cell; any other by what all cells together say of it, with the
// 95 % half-width of that.
type Borne struct {
	Where, Kind, Serial string
	PeakN, U95N         float64        // PeakN NaN: it cannot be told
	AtLeast             bool           // it may have been more
	Why                 string         // of AtLeast, or why it cannot be told
	LimitN              *float64       // rating as rigged; nil: none is known
	Channel             string         // of the cell; empty: worked out from all of them
	Cycles              []cycles.Class // of its cell, by range
}

// RecordingID names the recording of a lift by the entry that it begins with, so
// that whoever goes through it later finds the same name.
func RecordingID(begins *logbook.Entry) string {
	sum := sha256.Sum256(fmt.Appendf(nil, "%d %s", begins.At, begins.Text))
	return hex.EncodeToString(sum[:8])
}

// Uses are what the gear with serials took of the lift, by serial. A serial that
// is rigged twice has borne the more of the two.
func (t *Toll) Uses(recording, title string, on register.Date) map[string]register.Use {
	out := map[string]register.Use{}
	for i := range t.Parts {
		b := &t.Parts[i]
		if b.Serial == "" {
			continue
		}
		u := register.Use{Recording: recording, Lift: title, Where: b.Where, On: on, AtLeast: b.AtLeast, Why: b.Why, Lifts: t.Lifts, Hours: t.HookS / 3600, Shocks: t.Shocks}
		if b.LimitN != nil {
			u.Limit = *b.LimitN
		}
		if u.Unseen = math.IsNaN(b.PeakN); !u.Unseen {
			u.Peak, u.U95 = max(0, b.PeakN), b.U95N
		}
		for _, c := range b.Cycles {
			u.Swings = append(u.Swings, register.Swings{From: c.From, To: c.To, Count: c.Count})
		}
		if had, twice := out[b.Serial]; twice && had.Peak >= u.Peak {
			continue
		}
		out[b.Serial] = u
	}
	return out
}

// loadTaken is how much of the planned weight counts as load taken; swingShare the
// least swing of a leg that counts as a cycle, as a share of what it bears in
// the plan, which is also the step that cycles are counted in (both common
// practice, no source).
const (
	loadTaken  = 0.3
	swingShare = 0.05
)

// toll is what is noted on the way.
type toll struct {
	part   []float64 // greatest so far, by the parts of the model
	u      []float64 // of that
	lifts  int
	up     bool // load is taken
	hookS  float64
	shocks int
	shock  float64 // when the last one was
	blind  bool    // a cell said nothing while there was load
	away   bool    // the watch was away while there was load
	parts  []lift.Demand
}

func (t *toll) init(m *infer.Model) {
	t.parts = m.Parts()
	t.part, t.u = make([]float64, len(t.parts)), make([]float64, len(t.parts))
	for k := range t.part {
		t.part[k] = math.NaN()
	}
}

// bear holds what the parts bear now against the most so far.
func (t *toll) bear(m *infer.Model, read []float64) {
	for k := range t.part {
		if n := m.PartLoad(k, read); n > t.part[k] || math.IsNaN(t.part[k]) && !math.IsNaN(n) {
			t.part[k], t.u[k] = m.Part(k, read)
		}
	}
}

// row notes time and times under load.
func (t *toll) row(e *Engine, r *row, dt float64) {
	c := &e.course
	if c.phase == IdlePhase {
		t.up = false
		return
	}
	t.hookS += dt
	for _, v := range r.read {
		t.blind = t.blind || math.IsNaN(v)
	}
	if !t.up && c.slow-c.emptyN > loadTaken*c.weight {
		t.up = true
		t.lifts++
	}
}

// jolt notes a shock; one that grows is the same.
func (t *toll) jolt(at float64) {
	if t.shocks == 0 || at != t.shock {
		t.shocks++
		t.shock = at
	}
}

// holdsPeaks tells of the cell of a leg whether it keeps the highest load.
func holdsPeaks(leg *lift.Leg) bool {
	for i := range leg.Stack {
		if p := leg.Stack[i].Piece; leg.Stack[i].Cell != nil && p != nil && p.Cell != nil {
			return p.Cell.HoldsPeaks
		}
	}
	return false
}

// cycled are the cycles so far, those not closed as halves.
func (c *cell) cycled() []cycles.Class {
	h := cycles.Histogram{Range: c.swings.Range}
	for _, s := range c.swings.Classes() {
		h.Add(cycles.Cycle{High: (s.From + s.To) / 2, Count: s.Count})
	}
	for _, k := range c.counter.Rest() {
		h.Add(k)
	}
	return h.Classes()
}

// leastWhy says why more may have been borne than a cell showed; empty: it is
// not so.
func (e *Engine) leastWhy(c *cell) string {
	switch {
	case c.period > 1.0/slowHz && !c.holdsPeaks:
		return "the cell reads too seldom to show a peak, and holds none"
	case e.toll.away:
		return "the watch was away while there was load"
	case e.toll.blind:
		return "a cell said nothing for some time under load"
	case c.missed > 0 || c.bad > 0:
		return "readings of it are missing"
	}
	return ""
}

// Toll tells what the lift took of its gear so far.
func (e *Engine) Toll() Toll {
	t := &e.toll
	out := Toll{From: e.begun, To: e.now, Lifts: t.lifts, HookS: t.hookS, Shocks: t.shocks}
	least := ""
	byLeg := map[string]*cell{}
	for i := range e.cells {
		c := &e.cells[i]
		byLeg["legs."+c.name] = c
		if why := e.leastWhy(c); least == "" {
			least = why
		}
	}
	at := map[string]int{}
	for k, d := range t.parts {
		at[d.Where()] = k
	}
	for i := range e.state.Parts {
		p := &e.state.Parts[i]
		b := Borne{Where: p.Where, Kind: p.Kind, Serial: p.Serial, LimitN: p.LimitN, PeakN: math.NaN(), Why: "no moment at which every cell read"}
		leg, _, _ := strings.Cut(p.Where, ".stack[")
		c := byLeg[leg]
		k, known := at[leg]
		switch {
		case c != nil && c.got > 0:
			b.PeakN, b.U95N, b.Channel = c.most+e.above(c), c.error(), c.expected.Channel
			b.Why = e.leastWhy(c)
			b.AtLeast = b.Why != ""
			b.Cycles = c.cycled()
		case known && !math.IsNaN(t.part[k]):
			b.PeakN, b.U95N = t.part[k], t.u[k]
			b.Why, b.AtLeast = least, least != ""
		}
		out.Parts = append(out.Parts, b)
	}
	return out
}

// kept is what of the toll outlives a restart. Cycles that were not closed do
// not: their gear has them counted in two pieces.
type kept struct {
	Parts  map[string][2]float64
	Most   []float64
	Lifts  int
	Up     bool
	HookS  float64
	Shocks int
	Blind  bool
	Away   bool
	Swings [][]cycles.Class
}

func (e *Engine) keepToll() kept {
	t := &e.toll
	k := kept{Parts: map[string][2]float64{}, Lifts: t.lifts, Up: t.up, HookS: t.hookS, Shocks: t.shocks, Blind: t.blind, Away: t.away}
	for i, d := range t.parts {
		if !math.IsNaN(t.part[i]) {
			k.Parts[d.Where()] = [2]float64{t.part[i], t.u[i]}
		}
	}
	for i := range e.cells {
		k.Most = append(k.Most, e.cells[i].most)
		k.Swings = append(k.Swings, e.cells[i].swings.Classes())
	}
	return k
}

// counted tells whether any cell has read.
func (e *Engine) counted() bool {
	n, _, _ := e.Counts()
	return n > 0
}

func (e *Engine) resumeToll(k kept, loaded bool) {
	t := &e.toll
	if t.hookS >= k.HookS && t.lifts >= k.Lifts && e.counted() { // a recording gone through: it was seen
		t.away = t.away || k.Away || loaded
		return
	}
	if len(k.Most) != len(e.cells) || len(k.Swings) != len(e.cells) {
		t.away = true // written by an older program: what was before is not known
		return
	}
	t.lifts, t.up, t.hookS, t.shocks, t.blind, t.away = k.Lifts, k.Up, k.HookS, k.Shocks, k.Blind, k.Away || loaded
	for i, d := range t.parts {
		if v, ok := k.Parts[d.Where()]; ok {
			t.part[i], t.u[i] = v[0], v[1]
		}
	}
	for i := range e.cells {
		e.cells[i].most = k.Most[i]
		for _, s := range k.Swings[i] {
			e.cells[i].swings.Add(cycles.Cycle{High: (s.From + s.To) / 2, Count: s.Count})
		}
	}
}
