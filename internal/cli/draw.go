package cli

import (
	"bytes"
	"os"
	"path/filepath"
	"strings"

	"plumbhook/draw"
	"plumbhook/fault"
	"plumbhook/verdict"
)

type drawCmd struct {
	File  string  `arg:"" help:"Lift file (YAML)."`
	Out   string  `short:"o" required:"" help:"Output file; its ending chooses svg, png or pdf."`
	Step  string  `help:"Draw the state after this step instead of the lift as first rigged."`
	Units string  `enum:"metric,us" default:"metric" help:"Units: metric or us."`
	DPI   float64 `default:"150" help:"Resolution of a png."`
}

// Run draws the lift in the pose it hangs in.
func (c *drawCmd) Run(_ *env) error {
	l, err := read(c.File)
	if err != nil {
		return err
	}
	p, err := verdict.Check(l)
	if err != nil {
		return err
	}
	state := -1
	for i := range p.States {
		if p.States[i].Hung.Step == c.Step {
			state = i
		}
	}
	if state < 0 {
		return fault.New(fault.Reference, "the lift has no step called %q", c.Step).Fix("take a name from steps in the lift file")
	}
	s := &p.States[state]
	util := map[string]float64{}
	for name, u := range s.Utilisation {
		if u != nil {
			util[name] = *u
		}
	}
	page := draw.Sheet(s.Hung, util, s.P95, draw.Meta{})
	var b bytes.Buffer
	switch strings.ToLower(filepath.Ext(c.Out)) {
	case ".svg":
		err = page.SVG(&b)
	case ".png":
		err = page.PNG(&b, c.DPI)
	case ".pdf":
		err = page.PDF(&b)
	default:
		return fault.New(fault.Unsupported, "no drawing is made as %s", c.Out).Fix("let the name end in .svg, .png or .pdf")
	}
	if err != nil {
		return err
	}
	if err := os.WriteFile(c.Out, b.Bytes(), 0o644); err != nil {
		return fault.New(fault.Path, "the drawing can not be written").Because(err)
	}
	return nil
}
