package server

import (
	"context"
	"fmt"
	"strings"

	"plumbhook/contract"
	"plumbhook/fault"
	"plumbhook/logbook"
	"plumbhook/register"
	"plumbhook/watch"
)

// take goes through a record and writes what its gear bore into the register:
// once, however often it is asked.
func (s *Server) take(ctx context.Context, id, claimed string, dry bool) (out contract.GearTaken, err error) {
	if s.o.Gear == nil {
		return out, fault.New(fault.Reference, "there is no gear register here")
	}
	if s.o.Watcher == nil {
		return out, noWatcher
	}
	b, err := s.recordOf(ctx, id)
	if err != nil {
		return out, err
	}
	if b.Rehearse != "" {
		return out, fault.New(fault.Disagree, "it was a rehearsal: nothing was lifted").In(id).Fix("nothing has to be written")
	}
	entries, o, err := s.o.Watcher.Record(b)
	if err != nil {
		return out, err
	}
	e, err := watch.New(b.Plan, o)
	if err != nil {
		return out, err
	}
	recording := ""
	for en, err := range entries {
		if ctx.Err() != nil {
			return out, ctx.Err()
		}
		if err != nil {
			continue // what is missing makes peaks least values by itself: readings count up
		}
		if en.Kind == logbook.Plan && recording == "" {
			recording = watch.RecordingID(en)
		}
		if en.Kind != logbook.Event {
			e.Apply(en)
		}
	}
	if recording == "" {
		return out, fault.New(fault.Missing, "the record does not say where the lift begins").In(id).Fix("enter what the gear bore by hand")
	}
	toll := e.Toll()
	by := s.stamp(ctx, claimed)
	on := register.DateOf(toll.To.Time().In(s.o.Now().Location()))
	r, err := register.Record(ctx, s.o.Gear, toll.Uses(recording, b.Plan.Lift.Title, on), register.Stamp{Day: s.today(), By: by.Who}, by.At)
	if err == nil && !dry {
		err = s.o.Gear.Write(ctx, r.Entries)
	}
	if err != nil {
		return out, err
	}
	return contract.NewGearTaken(contract.NewToll(&toll, recording), &r, dry)
}

// taken words for people what was written.
func taken(g *contract.GearTaken) string {
	var held []string
	for _, w := range g.Written {
		if w.Proposed != nil {
			held = append(held, w.Serial)
		}
	}
	said := ""
	if len(g.Written) > 0 {
		said = fmt.Sprintf("What it bore is in the history of %d pieces of gear.", len(g.Written))
	}
	if len(held) > 0 {
		said += fmt.Sprintf(" HELD until somebody looks at it and confirms or refuses quarantine: %s.", strings.Join(held, ", "))
	}
	if len(g.Unknown) > 0 {
		said += fmt.Sprintf(" Not in the register: %s.", strings.Join(g.Unknown, ", "))
	}
	return strings.TrimSpace(said)
}
