// Package logbook holds the one ordered log that the watch lives on: every
// frame of readings, every tick of the clock, every tare and word of a person,
// every restart, in the order in which the watch learned of it.
//
// The watch is a function of its logbook and nothing else, so that going
// through a logbook again says the same, event for event. What the watch said
// stands in the log too, beside what it was told, for whoever asks later what
// the crew saw.
package logbook

import (
	"slices"

	"plumbhook/reading"
)

// Kind tells entries apart.
type Kind uint8

// What the watch is told; Event is what it said.
const (
	Plan    Kind = iota + 1 // the watch begins with this plan: SHA-256 of the lift file in Text
	Frame                   // readings
	Tick                    // the clock went on
	Tare                    // a person wants the readings of slack cells taken as zero
	Ack                     // a person has seen an alarm
	Clear                   // a named person ends a stop
	Word                    // a named person says what no cell can: Says tells which
	Mark                    // a remark; Says tells of what kind, empty: of a person
	Restart                 // the watch was away from Since until now; Text is the state it left
	Event                   // what the watch said, Text as JSON
	Answer                  // the explanations are worked out that were asked for at the entry whose number is in Text
)

var kinds = [...]string{"", "plan", "frame", "tick", "tare", "ack", "clear", "word", "mark", "restart", "event", "answer"}

// String is the word for it, as it stands in exports.
func (k Kind) String() string {
	if int(k) < len(kinds) {
		return kinds[k]
	}
	return ""
}

// What a person's word may say.
const (
	Daylight  = "daylight"  // there is daylight under the load all round
	SetDown   = "set down"  // the load stands, and the legs are slack
	LandIt    = "land"      // after the trial lift: land and rig again
	CarryOn   = "carry on"  // after the trial lift: go on with it
	Freed     = "freed"     // everything that held the load down is off: bolts, pipes, suction
	BrakeHeld = "brake"     // the brake held with the load just clear
	CallHold  = "call hold" // somebody called stop
	Moved     = "step"      // the lift stands as after the step of the plan in Text; empty: as first rigged
)

// AtRisk is what a Mark says that tells in Text what the recording lacks, or
// with an empty Text that it lacks nothing any more.
const AtRisk = "at risk"

// Tug is what a Mark says with which a person begins a tug test; Text is the leg
// asked for and the known load that hangs on it instead of a hand, as package
// watch writes them.
const Tug = "tug test"

// TareKind says how the cells hung when they were zeroed.
type TareKind string

// Hung: all rigging below the cells hung free and nothing was attached.
// Attached: the legs were attached to the load and slack.
const (
	Hung     TareKind = "hung"
	Attached TareKind = "attached"
)

// Entry is one line of the log.
type Entry struct {
	N    uint64        // counts up by one, from 1
	At   reading.Stamp // when the watch learned of it; never less than that of the entry before
	Kind Kind

	Frame *reading.Frame // of Frame

	Who     string        // of Tare, Ack, Clear, Word, Mark
	Signed  bool          // Who has signed in; else the name is only claimed
	Alarm   string        // of Ack and Clear: the alarm's key
	Says    string        // of Word and Mark
	Tare    TareKind      // of Tare
	Insists bool          // of Tare: under load nevertheless
	Since   reading.Stamp // of Restart
	Text    string        // of Plan, Mark, Restart, Event, Answer; of a Word: the step
}

// Clone is a copy that shares nothing that a reader reuses.
func (e *Entry) Clone() Entry {
	c := *e
	if e.Frame != nil {
		f := *e.Frame
		f.Readings, f.Health, f.Garbled = slices.Clone(f.Readings), slices.Clone(f.Health), slices.Clone(f.Garbled)
		c.Frame = &f
	}
	return c
}
