package cli

import (
	"os"
	"slices"

	"plumbhook/alarm"
	"plumbhook/fault"
	"plumbhook/internal/station"
	"plumbhook/reading"
	sheets "plumbhook/report"
	"plumbhook/report/paper"
	"plumbhook/verdict"
	"plumbhook/watch"
)

type sheetCmd struct {
	File string `arg:"" help:"Lift file (YAML)."`
	registered
	Out      string `short:"o" required:"" placeholder:"OUT.pdf" help:"Where the sheet goes."`
	Kind     string `enum:"plan,crew,readings,briefing,issue,customer,record,near-miss" default:"plan" help:"plan: lift plan. crew: crew card. readings: card of expected readings. briefing: briefing with the sling-angle lesson. issue: gear issue list. After the lift, with --readings: customer (two pages), record (full record), near-miss."`
	Readings string `placeholder:"FILE" help:"Readings of the lift, as replay takes them: CSV, or the folder of a recording."`
	Stop     int    `default:"1" placeholder:"N" help:"The stop that a near miss is about: 1 is the first one raised."`
	Units    string `enum:"metric,us" default:"metric" help:"Units of lengths and masses: metric or us; us sheets are on letter paper."`
	Readout  string `placeholder:"UNIT" help:"The one unit of every force on the sheet: kN, t, lbf ...; that of --units when left out."`
	Language string `enum:"en,es" default:"en" help:"Language of the sheet: en or es."`
	Number   string `placeholder:"DOC-NO" help:"Document number; a line to write it on when left out."`
}

// Help goes on where the list of flags ends.
func (*sheetCmd) Help() string {
	return `A sheet bears the day given by --on, and a line to write it on without; with --data the day has to be given, since gear is held against it. The same input gives the same bytes. ` +
		`Exit status: 0 printed, and the plan holds as far as it was checked; 1 printed, and the plan fails, or something needed is missing, or a stop was raised; 2 the input is invalid or cannot be read; 3 anything else.`
}

// Run prints one sheet.
func (c *sheetCmd) Run(*env) error {
	after := slices.Contains(sheets.After, c.Kind)
	switch {
	case c.Data != "" && c.On == "":
		return fault.New(fault.Missing, "gear is held against the day of the lift, and a sheet has no clock").Fix("say the day: --on 2026-04-03")
	case after && c.Readings == "":
		return fault.New(fault.Missing, "a sheet of kind %s is about what was measured", c.Kind).Fix("give the readings: --readings FILE")
	case !after && c.Readings != "":
		return fault.New(fault.Disagree, "a sheet of kind %s is about the plan alone", c.Kind).Fix("leave out --readings, or choose --kind customer, record or near-miss")
	}
	o := sheets.Options{Language: paper.Language(c.Language), Units: units(c.Units), Number: c.Number, On: c.On, Program: "plumbhook " + version()}
	if c.Readout != "" {
		if _, err := readout(c.Readout); err != nil {
			return err
		}
		o.Force = c.Readout
	}
	l, gear, err := c.read(c.File)
	if err != nil {
		return err
	}
	p, err := verdict.CheckWith(l, gear)
	if err != nil {
		return err
	}
	o.Gear = gear
	var pdf []byte
	stopped := false
	if after {
		w, bad := watched(p, c.Readings)
		if bad != nil {
			return bad
		}
		stopped = len(w.Stops()) > 0
		pdf, err = sheets.OfWatched(c.Kind, w, c.Stop, o)
	} else {
		pdf, err = sheets.Of(c.Kind, p, o)
	}
	if err != nil {
		return err
	}
	if err := os.WriteFile(c.Out, pdf, 0o644); err != nil {
		return other(fault.New(fault.Path, "the sheet cannot be written").Because(err).Fix("check the folder and your rights to it"))
	}
	if stopped || p.Outcome != verdict.Holds {
		return errFails
	}
	return nil
}

// watched goes through readings as replay does, and keeps what the sheets are
// about.
func watched(p *verdict.Plan, path string) (*sheets.Watched, error) {
	recording := isDir(path)
	curves := station.Curves{}
	eng, err := watch.New(p, watch.Options{Later: recording, Curves: curves})
	if err != nil {
		return nil, err
	}
	w := &sheets.Watched{Plan: p, Trace: sheets.Trace{}}
	said := func(ev alarm.Event) { w.Events = append(w.Events, ev) }
	if recording {
		w.Garbled, err = recorded(eng, curves, path, p.Lift.SHA256, said, nil, tracing(eng, w))
	} else {
		w.Garbled, err = fromCSV(eng, p.Lift, path, said, nil, tracing(eng, w))
	}
	if err != nil {
		return nil, err
	}
	ended(w, eng, eng.Finish())
	return w, nil
}

// tracing keeps what every reading of a cell comes to.
func tracing(eng *watch.Engine, w *sheets.Watched) func(*reading.Frame) {
	return func(f *reading.Frame) {
		for i := range f.Readings {
			if n, ok := eng.Corrected(&f.Readings[i]); ok {
				w.Trace.Take(&f.Readings[i], n)
			}
		}
	}
}

// ended takes from an engine what it knows at the end.
func ended(w *sheets.Watched, eng *watch.Engine, res watch.Result) {
	w.Result, w.View, w.Zero = res, eng.View(), eng.Zero()
	w.Readings, _, w.Unplanned = eng.Counts()
}
