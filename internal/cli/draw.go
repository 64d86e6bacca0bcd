package cli

import (
	"bytes"
	"fmt"
	"os"
	"path/filepath"
	"strings"

	"plumbhook/draw"
	"plumbhook/fault"
	"plumbhook/verdict"
)

type drawCmd struct {
	File string `arg:"" help:"Lift file (YAML)."`
	registered
	Out   string  `short:"o" required:"" placeholder:"FILE" help:"Output file; its ending chooses svg, png or pdf."`
	Step  string  `placeholder:"NAME" help:"Draw the state after this step, by name or number, instead of the lift as first rigged; worst draws the state that asks most."`
	Units string  `enum:"metric,us" default:"metric" help:"Units: metric or us."`
	Paper string  `enum:"A4,A3,Letter" default:"A4" help:"Sheet: A4, A3 or Letter, landscape."`
	Date  string  `placeholder:"DATE" help:"Date for the title block, as it shall stand there; none when left out."`
	DPI   float64 `default:"150" help:"Resolution of a png."`
}

// worstStep is the name that chooses a state by what it asks of the gear.
const worstStep = "worst"

// Help goes on where the list of flags ends.
func (*drawCmd) Help() string {
	return `The drawing shows the pose in which the load hangs, and the verdict is not in it: ask check. ` +
		`Exit status: 0 drawn; 2 the lift file is invalid or cannot be read, or there is no such step or kind of drawing; 3 the drawing cannot be written, or anything else.`
}

// Run draws the lift in the pose it hangs in.
func (c *drawCmd) Run(*env) error {
	kind := strings.ToLower(filepath.Ext(c.Out))
	if kind != ".svg" && kind != ".png" && kind != ".pdf" {
		return fault.New(fault.Unsupported, "no drawing is made as %s", c.Out).Fix("let the name end in .svg, .png or .pdf")
	}
	l, gear, err := c.read(c.File)
	if err != nil {
		return err
	}
	step := c.Step
	if step == worstStep {
		step = ""
	}
	state, err := stepIndex(l, step)
	if err != nil {
		return err
	}
	p, err := verdict.CheckWith(l, gear)
	if err != nil {
		return err
	}
	if c.Step == worstStep {
		state = p.WorstState()
	}
	s := &p.States[state]
	used := map[string]float64{}
	for name, u := range s.Utilisation {
		if u != nil {
			used[name] = *u
		}
	}
	page := draw.Sheet(s.Hung, used, s.P95, draw.Meta{
		Units: units(c.Units), Paper: c.Paper, Date: c.Date,
		Verdict: headline(s.Outcome, len(s.NotAssessed)), Fails: s.Outcome == verdict.Fails, Worst: usedMost(s),
	})
	var b bytes.Buffer
	switch kind {
	case ".svg":
		err = page.SVG(&b)
	case ".png":
		err = page.PNG(&b, c.DPI)
	case ".pdf":
		err = page.PDF(&b)
	}
	if err != nil {
		return err
	}
	if err := os.WriteFile(c.Out, b.Bytes(), 0o644); err != nil {
		return other(fault.New(fault.Path, "the drawing cannot be written").Because(err).Fix("check the folder and your rights to it"))
	}
	return nil
}

// usedMost words the part of any kind that is used most.
func usedMost(s *verdict.State) string {
	top, text := -1.0, ""
	for _, part := range s.Parts {
		if part.Utilisation != nil && *part.Utilisation > top {
			top = *part.Utilisation
			text = fmt.Sprintf("%s on %s", percent(top), part.Where)
		}
	}
	if top > 1 {
		text = "OVER: " + text
	}
	return text
}
