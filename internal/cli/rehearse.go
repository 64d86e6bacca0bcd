package cli

import (
	"bytes"
	"fmt"
	"os"
	"strings"

	"plumbhook/fault"
	"plumbhook/internal/rehearse"
)

type rehearseCmd struct {
	File  string `arg:"" help:"Lift file (YAML)."`
	Out   string `short:"o" required:"" placeholder:"FILE" help:"Where the Readings CSV goes."`
	Seed  uint64 `default:"1" help:"Of all that is drawn: the same seed gives the same lift."`
	Cause string `default:"as_planned" help:"What goes wrong; list prints the causes."`
}

// Help says what it is good for.
func (*rehearseCmd) Help() string {
	return `Plays the lift on a virtual crane and writes what its cells would have sent, to train a crew with or to try a plan's limits on: plumbhook replay reads it.`
}

// Run plays the lift and writes its readings.
func (c *rehearseCmd) Run(e *env) error {
	if c.Cause == "list" {
		var b strings.Builder
		for _, x := range rehearse.Causes() {
			fmt.Fprintf(&b, "%-18s %s\n", x.Name, x.What)
		}
		return write(e.out, []byte(b.String()))
	}
	l, err := read(c.File)
	if err != nil {
		return err
	}
	r, err := rehearse.New(l, c.Seed, c.Cause, rehearse.Options{})
	if err != nil {
		return err
	}
	var b bytes.Buffer
	if err := rehearse.CSV(&b, r); err != nil {
		return err
	}
	if err := os.WriteFile(c.Out, b.Bytes(), 0o666); err != nil {
		return other(fault.New(fault.Path, "the readings cannot be written").In(c.Out).Because(err))
	}
	return write(e.out, []byte(printable(fmt.Sprintf("%s: %s, %d readings over %.0f s, driver %s\nthe load truly weighs %.2f kN\n", r.Cause, orNothing(r.Detail), len(r.Samples), r.Length, r.Driver, r.Truth.WeightN/1000))))
}

func orNothing(s string) string {
	if s == "" {
		return "nothing is wrong"
	}
	return s
}
