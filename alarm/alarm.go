// Package alarm turns conditions that come and go into what a crew is told.
//
// A Panel holds one alarm per kind and place. It is fed what is the case, and
// when; it says what changed. Delays and the way back keep a condition on the
// edge of its limit from chattering. A stop stays until a named person ends
// it, and can be ended only once its cause is gone; a caution goes by itself
// and leaves a mark. Same input, same events: the Panel has no clock.
package alarm

import (
	"cmp"
	"slices"

	"plumbhook/reading"
)

// Change says what happened to an alarm.
type Change string

// Gone is the cause of a stop that has passed while the stop itself stays.
const (
	Raised  Change = "raised"
	Worse   Change = "worse" // a tenth further past its limit than last said
	Gone    Change = "gone"
	Back    Change = "back" // the cause of a stop is there again
	Cleared Change = "cleared"
	Seen    Change = "seen"
	Refused Change = "refused" // a person wanted to end a stop whose cause is there
)

// Event is one change of one alarm.
type Event struct {
	At       reading.Stamp
	Change   Change
	Kind     Kind
	Severity Severity
	Where    string  // channel, leg, part or hook; empty: the lift as a whole
	Value    float64 // SI, of what is judged; 0 where there is none
	Limit    float64
	Text     string // a sentence for the crew: what is the case and what to do
	Who      string // of Cleared, Seen, Refused
}

// Key names an alarm.
type Key struct {
	Kind  Kind
	Where string
}

// String is the key as it stands in a logbook.
func (k Key) String() string {
	if k.Where == "" {
		return string(k.Kind)
	}
	return string(k.Kind) + " " + k.Where
}

// Alarm is one that has been raised and not ended.
type Alarm struct {
	Event                   // as raised, Value the worst so far
	Key       Key           //
	Present   bool          // its cause is there
	Air       bool          // Text says what to do with the load in the air
	Seen      string        // by whom
	SeenAt    reading.Stamp //
	LastValue float64       //
	said      float64
}

// Condition is what is the case at one place.
type Condition struct {
	Kind         Kind
	Where        string
	On           bool
	Value, Limit float64
	Text         string // what is the case, without what to do; needed when On
	Air          bool   // the load may be in the air
}

type state struct {
	key     Key
	spec    *Spec
	on      bool          // condition as last told
	since   reading.Stamp // of on
	raised  bool
	alarm   Alarm
	pending Condition
	told    int // times told while on
}

// Panel is all alarms of one lift.
type Panel struct {
	states map[Key]*state
	order  []*state
	events []Event
}

// NewPanel is a quiet panel.
func NewPanel() *Panel { return &Panel{states: map[Key]*state{}} }

// Tell says what is the case now. It keeps no more of c than it needs, and
// costs little when nothing changes.
func (p *Panel) Tell(at reading.Stamp, c Condition) {
	key := Key{c.Kind, c.Where}
	s := p.states[key]
	if s == nil {
		if !c.On {
			return
		}
		s = &state{key: key, spec: Of(c.Kind)}
		p.states[key] = s
		p.order = append(p.order, s)
	}
	on := c.On
	if s.raised && !on && s.spec.Back > 0 && c.Limit > 0 && c.Value > c.Limit*(1-s.spec.Back) {
		on = true // not far enough back
	}
	if on != s.on {
		s.on, s.since, s.told = on, at, 0
	}
	if c.On {
		s.pending = c
		s.told++
	}
	p.judge(at, s)
}

// Tick lets delays run out.
func (p *Panel) Tick(at reading.Stamp) {
	for _, s := range p.order {
		p.judge(at, s)
	}
}

// judge raises, worsens, and clears.
func (p *Panel) judge(at reading.Stamp, s *state) {
	held := at.Since(s.since)
	switch {
	case s.on && !s.raised:
		// Two readings or more, where the delay asks for any time at all.
		if s.spec.Once || held >= s.spec.On && (s.spec.On == 0 || s.told > 1) {
			if p.muted(s) {
				return
			}
			p.raise(at, s)
		}
	case s.on && s.raised:
		a, c := &s.alarm, &s.pending
		a.LastValue = c.Value
		if !a.Present && held >= min(s.spec.On, 0.3) {
			a.Present = true
			p.say(at, s, Back, "")
		}
		if abs(c.Value) > abs(a.Value) {
			a.Value = c.Value
		}
		if c.Limit != 0 && abs(c.Value) > abs(s.alarm.said)+0.1*abs(c.Limit) {
			a.said = c.Value
			a.Text, a.Air = sentence(s.spec, c), c.Air
			p.say(at, s, Worse, "")
		}
	case !s.on && s.raised && s.alarm.Present && held >= s.spec.Off:
		s.alarm.Present = false
		if s.spec.Severity == Stop {
			p.say(at, s, Gone, "")
			return
		}
		p.end(at, s, "")
	}
}

func (p *Panel) raise(at reading.Stamp, s *state) {
	c := &s.pending
	s.raised = true
	s.alarm = Alarm{Key: s.key, Present: true, Air: c.Air, said: c.Value, LastValue: c.Value, Event: Event{
		At: at, Change: Raised, Kind: s.key.Kind, Severity: s.spec.Severity, Where: s.key.Where,
		Value: c.Value, Limit: c.Limit, Text: sentence(s.spec, c),
	}}
	p.events = append(p.events, s.alarm.Event)
	for _, k := range s.spec.Mutes {
		if m := p.states[Key{k, s.key.Where}]; m != nil && m.raised && m.spec.Severity == Caution {
			p.end(at, m, "")
		}
	}
	if s.spec.Once {
		s.on, s.since = false, at
		s.alarm.Present = false
		if s.spec.Severity == Caution {
			p.end(at, s, "")
		}
	}
}

// muted tells whether a louder alarm at the same place says it already.
func (p *Panel) muted(s *state) bool {
	for _, o := range p.order {
		if o.raised && o.alarm.Present && o.key.Where == s.key.Where && slices.Contains(o.spec.Mutes, s.key.Kind) {
			return true
		}
	}
	return false
}

func (p *Panel) end(at reading.Stamp, s *state, who string) {
	s.raised = false
	p.say(at, s, Cleared, who)
}

func (p *Panel) say(at reading.Stamp, s *state, c Change, who string) {
	e := s.alarm.Event
	e.At, e.Change, e.Who = at, c, who
	p.events = append(p.events, e)
}

// See notes that a person has seen an alarm; it stays as it is.
func (p *Panel) See(at reading.Stamp, key, who string) {
	if s := p.find(key); s != nil && s.raised {
		s.alarm.Seen, s.alarm.SeenAt = who, at
		p.say(at, s, Seen, who)
	}
}

// Clear ends a stop in a person's name, when its cause is gone.
func (p *Panel) Clear(at reading.Stamp, key, who string) {
	switch s := p.find(key); {
	case s == nil || !s.raised:
	case who == "" || s.alarm.Present:
		p.say(at, s, Refused, who)
	default:
		p.end(at, s, who)
	}
}

func (p *Panel) find(key string) *state {
	for _, s := range p.order {
		if s.key.String() == key {
			return s
		}
	}
	return nil
}

// Drain gives the events since the last call. The slice is good until the
// next Tell, Tick, See or Clear.
func (p *Panel) Drain() []Event {
	e := p.events
	p.events = p.events[:0]
	return e
}

// Waiting are the events that Drain would give, without taking them.
func (p *Panel) Waiting() []Event { return p.events }

// Raised are the alarms that stand: worst first, then those whose cause is
// there, then the oldest.
func (p *Panel) Raised() []Alarm {
	var all []Alarm
	for _, s := range p.order {
		if s.raised {
			all = append(all, s.alarm)
		}
	}
	rank := func(a Alarm) int {
		r := 0
		if a.Severity != Stop {
			r += 2
		}
		if !a.Present {
			r++
		}
		return r
	}
	slices.SortStableFunc(all, func(a, b Alarm) int {
		return cmp.Or(cmp.Compare(rank(a), rank(b)), cmp.Compare(a.At, b.At))
	})
	return all
}

// Standing tells whether an alarm of this kind and place stands.
func (p *Panel) Standing(k Kind, where string) bool {
	s := p.states[Key{k, where}]
	return s != nil && s.raised
}

// Restore takes up the alarms of a watch that was away: stops stay stops.
func (p *Panel) Restore(at reading.Stamp, stops []Alarm) {
	for _, a := range stops {
		spec := Of(a.Kind)
		if spec == nil || p.states[a.Key] != nil {
			continue
		}
		a.Present, a.said = false, a.Value
		s := &state{key: a.Key, spec: spec, since: at, raised: true, alarm: a}
		p.states[a.Key] = s
		p.order = append(p.order, s)
	}
}

func sentence(s *Spec, c *Condition) string {
	do := s.Ground
	if c.Air {
		do = s.Air
	}
	if c.Text == "" {
		return s.Title + ". " + do
	}
	return c.Text + " " + do
}

func abs(x float64) float64 { return max(x, -x) }
