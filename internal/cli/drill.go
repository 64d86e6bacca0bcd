package cli

import (
	"fmt"
	"os"

	"plumbhook/fault"
	"plumbhook/verdict"
	"plumbhook/watch"
	"plumbhook/watch/drill"
)

type drillCmd struct {
	File string `arg:"" help:"Drill: a text of readings over time, and what the watch must say to them."`
	Lift string `required:"" placeholder:"FILE" help:"Lift file to hold them against."`
}

// Help shows how a drill is written.
func (*drillCmd) Help() string {
	return `A drill is a line at a time, each with its moment:

  rate 10 /s
  0 s    W 0 kN
  8 s    W 21.6 kN          (straight from one to the next)
  20 s   W silent           (or: back, jumps 30 kN, ripples 0.4 kN 1.2 Hz)
  15 s   A. Rigger says daylight
  16 s   A. Rigger tares hung
  26 s   expect STOP
  26 s   expect lost W

Exit status: 0 all was as expected; 1 something was not; 2 the drill or the lift file is invalid; 3 anything else.`
}

// Run plays the drill.
func (c *drillCmd) Run(e *env) error {
	l, err := read(c.Lift)
	if err != nil {
		return err
	}
	text, err := os.ReadFile(c.File)
	if err != nil {
		return fault.New(fault.Path, "the drill cannot be read").In(c.File).Because(err)
	}
	d, err := drill.Read(c.File, string(text))
	if err != nil {
		return err
	}
	p, err := verdict.Check(l)
	if err != nil {
		return err
	}
	missed, events, err := d.Run(p, watch.Options{})
	if err != nil {
		return err
	}
	for _, ev := range events {
		fmt.Fprintln(e.out, printable(fmt.Sprintf("%7.2f s  %-7s  %-8s %-20s %s", ev.At.Since(0), ev.Severity, ev.Change, ev.Kind, ev.Text)))
	}
	if len(missed) == 0 {
		fmt.Fprintln(e.out, "as expected")
		return nil
	}
	for _, m := range missed {
		fmt.Fprintln(e.out, printable(fmt.Sprintf("%s: at %g s wanted %s, got %s", m.Pos, m.TS, m.Want, m.Got)))
	}
	return errFails
}
