package cli

import (
	"cmp"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"os"
	"strings"
	"time"

	"plumbhook/contract"
	"plumbhook/fault"
	"plumbhook/internal/store"
	"plumbhook/lift"
	"plumbhook/logbook"
	"plumbhook/record"
	"plumbhook/register"
	"plumbhook/watch"
)

// dated is the least year of a clock that was set: readings that count seconds
// from nowhere have no day.
const dated = 2000

// take writes what the gear of a replayed recording bore into the register, or
// says what would be written.
func (c *replayCmd) take(eng *watch.Engine, l *lift.Lift, out *contract.Replay) (told string, err error) {
	toll := eng.Toll()
	recording, err := recordingID(c.Readings, l.SHA256)
	if err != nil {
		return "", err
	}
	now := time.Now()
	on := c.On
	if at := toll.To.Time(); on == "" && at.Year() >= dated {
		on = register.DateOf(at.In(now.Location()))
	}
	if on == "" && c.Enter {
		return "", option("enter", fault.New(fault.Missing, "the readings have no date").Fix("give the day of the lift with --on"))
	}
	today := register.DateOf(now)
	on = cmp.Or(on, today)
	ctx := context.Background()
	s, err := store.Open(ctx, c.Data, false)
	if err != nil {
		return "", err
	}
	defer s.Close()
	r, err := register.Record(ctx, s, toll.Uses(recording, l.Title, on), register.Stamp{Day: max(on, today), By: c.By}, now)
	if err == nil && c.Enter {
		err = s.Write(ctx, r.Entries)
	}
	if err != nil {
		return "", err
	}
	g, err := contract.NewGearTaken(contract.NewToll(&toll, recording), &r, !c.Enter)
	if err != nil {
		return "", err
	}
	out.Gear = &g
	return takenText(&g), nil
}

func takenText(g *contract.GearTaken) string {
	var b strings.Builder
	switch {
	case len(g.Written) == 0:
		b.WriteString("gear history: nothing to write\n")
	case g.Dry:
		b.WriteString("gear history, NOT WRITTEN; --enter --by NAME writes it:\n")
	default:
		b.WriteString("gear history, written:\n")
	}
	for _, w := range g.Written {
		fmt.Fprintf(&b, "  %s  %s\n", w.Serial, w.Text)
		if w.Proposed != nil {
			fmt.Fprintf(&b, "  %s  HELD until somebody confirms or refuses quarantine: %s\n", w.Serial, *w.Proposed)
		}
	}
	for _, s := range g.Had {
		fmt.Fprintf(&b, "  %s  has this recording already\n", s)
	}
	for _, s := range g.Unknown {
		fmt.Fprintf(&b, "  %s  takes none: not on the register, or scrapped\n", s)
	}
	return b.String()
}

// recordingID names a recording as the app does, and readings in a file by what
// is in it.
func recordingID(path, plan string) (string, error) {
	if !isDir(path) {
		data, err := os.ReadFile(path)
		if err != nil {
			return "", fault.New(fault.Path, "the readings cannot be read").In(path).Because(err)
		}
		sum := sha256.Sum256(data)
		return hex.EncodeToString(sum[:8]), nil
	}
	r, err := record.NewReader(recordIn(path))
	if err != nil {
		return "", err
	}
	first, _, _ := stretch(r, plan)
	for en, err := range r.From(first) {
		if err == nil && en.Kind == logbook.Plan {
			return watch.RecordingID(en), nil
		}
		if err == nil {
			break
		}
	}
	return "", fault.New(fault.Missing, "the recording does not say where the lift begins").In(path).Fix("enter what the gear bore by hand")
}
