package cli

import (
	"bufio"
	"fmt"
	"math"
	"os"
	"strings"

	"plumbhook/contract"
	"plumbhook/fault"
	"plumbhook/prove"
	"plumbhook/quantity"
	"plumbhook/reading"
	"plumbhook/record"
	"plumbhook/report/certificate"
	"plumbhook/verdict"
)

type proveCmd struct {
	File     string `arg:"" help:"Test file (YAML): rule, item, load, cell, gear, how long it is held."`
	Readings string `placeholder:"CSV" help:"Readings of the test: the cell's channel, and those of gauges. Without them the test is worked out beforehand."`
	Units    string `enum:"metric,us" default:"metric" help:"Units of the text: metric or us."`
	Format   string `enum:"text,json" default:"text" help:"text or json."`
	certifying
}

// Help goes on where the list of flags ends.
func (*proveCmd) Help() string {
	return `Exit status: 0 the test may be started or, with readings, was passed, as far as was assessed; ` +
		`1 it may not, it was not, or something needed is missing; ` +
		`2 a file is invalid or cannot be read; 3 anything else.`
}

// Run works out the test and judges what was read.
func (c *proveCmd) Run(e *env) error {
	data, err := os.ReadFile(c.File)
	if err != nil {
		return fault.New(fault.Path, "the test file cannot be read").Because(err).Fix("check the path")
	}
	test, err := prove.Read(c.File, data)
	if err != nil {
		return err
	}
	sys := units(c.Units)
	plan := prove.Before(test, quantity.For[quantity.Force](sys))
	out, outcome := contract.NewProve(plan, plan.Sentence()), plan.Outcome
	if c.Readings != "" {
		p, err := played(plan, c.Readings)
		if err != nil {
			return err
		}
		out, outcome = contract.NewProved(&p.Result, p.events, p.garbled, p.zero, p.Sentence()), p.Outcome
	}
	if err := c.certify(c.File, c.Units, func(o certificate.Options) ([]byte, error) { return certificate.Proof(&out, o) }); err != nil {
		return err
	}
	if c.Format == "json" {
		err = writeJSON(e.out, out)
	} else {
		t := proofTeller{teller{units: sys}, &out, plan}
		t.test()
		err = write(e.out, []byte(printable(t.b.String())))
	}
	if err == nil && outcome != prove.Holds {
		return errFails
	}
	return err
}

// proved is a test with what was read of it.
type proved struct {
	prove.Result
	events  []prove.Event
	garbled []string
	zero    reading.Stamp // from which its seconds count
}

// played puts readings through a test.
func played(plan *prove.Plan, path string) (*proved, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, fault.New(fault.Path, "the readings cannot be read").In(path).Because(err)
	}
	defer f.Close()
	measure := map[string]record.Measure{plan.Cell.Channel: record.Force}
	for _, m := range plan.Moves {
		measure[m.Channel] = record.Length
	}
	run, out, first := prove.Start(plan), proved{}, true
	frames := record.CSV{Name: path, Measures: func(ch string) record.Measure { return measure[ch] }}.Read(bufio.NewReaderSize(f, 1<<20))
	for frame, err := range noting(frames, &out.garbled, nil) {
		if err != nil {
			return nil, err
		}
		if first {
			first = false
			if frame.Arrived.Time().Year() > 1972 { // a date, not seconds of a recording of its own
				out.zero = frame.Arrived
			}
		}
		out.events = append(out.events, run.Tick(frame.Arrived)...)
		for _, m := range frame.Readings {
			out.events = append(out.events, run.Reading(m)...)
		}
	}
	out.Result = run.Result()
	return &out, nil
}

// proofTeller writes a test for people.
type proofTeller struct {
	teller
	p    *contract.Prove
	plan *prove.Plan
}

func (t *proofTeller) newtons(v *float64) string {
	if v == nil {
		return "-"
	}
	return t.plan.Force(*v)
}

func (t *proofTeller) test() {
	p := t.p
	title := p.Title
	if title == "" {
		title = p.Item.Name
	}
	if p.Revision != "" {
		title += ", revision " + p.Revision
	}
	t.say("%s", wrap("", fmt.Sprintf("%s, %s  (%s)", title, p.Date, t.plan.File), 0))
	t.say("%s", headline(verdict.Outcome(p.Verdict), len(p.Missing)))
	t.say("%s\n", wrap("", p.Sentence, 0))
	for _, f := range p.Findings {
		t.tell(strings.ToUpper(f.Severity), "%s: %s", f.Where, f.Text)
	}
	if len(p.Findings) > 0 {
		t.say("")
	}
	t.tell("rule", "%s: %s", p.Rule.Name, p.Rule.Source)
	asked := ""
	if p.Load.AskedN != nil {
		asked = fmt.Sprintf("; the rule asks for %s at least", t.newtons(p.Load.AskedN))
	}
	t.tell("load", "%s%s; what counts is %s, and no reading may come above %s", t.plan.Force(p.Load.TargetN), asked,
		t.band(), t.plan.Force(p.Load.OvershootN))
	t.tell("hold", "%.4g s; no more than %.4g s from one reading to the next, or it begins anew", p.Rule.HoldS, t.plan.Gap)
	t.tell("U", "%s at the load (95 %%, k = %.2f)%s", t.plan.Force(p.Uncertainty.U95), p.Uncertainty.K, map[bool]string{true: ", at least"}[len(p.Missing) > 0])
	t.tell("decision", "%s", p.Decision)
	t.danger()
	t.say("")
	g := grid{align: "llrrrl"}
	g.row("piece", "serial", "force", "rating", "maker's proof", "")
	for _, c := range p.Checks {
		g.row(fold(c.Name, 24), c.Serial, t.plan.Force(c.ForceN), t.newtons(c.RatingN), t.newtons(c.ProofN), strings.ToUpper(c.Outcome))
	}
	t.b.WriteString(g.String())
	if p.Course != nil {
		t.course(p.Course)
	}
	if len(p.Missing) > 0 {
		t.say("\nNOT ASSESSED, and in no figure above")
		for _, n := range p.Missing {
			t.tell("", "%s", n)
		}
	}
	t.say("\n%s", wrap("", verdict.Cautions, 0))
}

func (t *proofTeller) band() string {
	from := t.plan.Force(t.p.Load.CountsFromN)
	if to := t.p.Load.CountsToN; to != nil {
		return from + " to " + t.plan.Force(*to)
	}
	return from + " or more"
}

// danger says what the line stores and who stays away.
func (t *proofTeller) danger() {
	p := t.p
	zone := "NOT KNOWN"
	if p.ZoneM != nil {
		zone = fmt.Sprintf("%s from every part of the line", t.away(*p.ZoneM))
	}
	t.tell("keep out", "%s; nobody inside while there is load", zone)
	if s := p.Stretch; s != nil {
		t.tell("stored", "%.3g kJ in the line at %s, stretched by %s: a tonne falling %s", s.EnergyJ/1000, t.plan.Force(p.Load.GearBearsN), t.away(s.LongerM), t.away(s.HeightM))
	}
}

// away writes a length.
func (t *proofTeller) away(m float64) string {
	unit := quantity.For[quantity.Length](t.units)
	v, _ := quantity.In(quantity.Length(m), unit)
	return show(v, v/50, upward) + " " + unit
}

func (t *proofTeller) course(c *contract.ProveCourse) {
	t.say("")
	for _, e := range c.Events {
		t.say("%s", wrap(fmt.Sprintf("%9.1f s  ", e.TS), e.Text, 13))
	}
	if len(c.Events) > 0 {
		t.say("")
	}
	if h := c.Hold; h != nil {
		t.tell("held", "%.1f s, from %.1f to %.1f s; readings %s to %s, mean %s, drift %s", h.Seconds, h.FromS, h.ToS,
			t.plan.Force(h.LowestN), t.plan.Force(h.MostN), t.plan.Force(h.MeanN), t.plan.Force(h.DriftN))
		t.tell("", "chance that the load was not reached at the lowest reading %.2g %%, that the band was left at the greatest %.2g %%", 100*h.ChanceNotReached, 100*h.ChanceAbove)
	}
	if m := c.Mean; m != nil {
		t.tell("mean", "%s over %.4g s to %.1f s; readings %s to %s", t.plan.Spread(m.MeanN), t.p.Rule.HoldS, m.ToS, t.plan.Force(m.LowestN), t.plan.Force(m.MostN))
	}
	if c.PeakN != nil {
		t.tell("peak", "%s%s at %.1f s", map[bool]string{true: "at least "}[c.PeakAtLeast], t.plan.Force(*c.PeakN), *c.PeakS)
	}
	t.tell("zero", "%s before, %s after", t.newtons(c.BeforeN), t.newtons(c.AfterN))
	for _, m := range c.Moves {
		mm := func(v *float64) string {
			if v == nil {
				return "not told"
			}
			return fmt.Sprintf("%.2f mm", math.Abs(1000**v))
		}
		t.tell("moved", "%s: %s at most, %s over the hold, %s left once the load was off", m.Name, mm(m.GreatestM), mm(m.InHoldM), mm(m.AfterM))
	}
	for _, g := range c.Garbled {
		t.tell("left out", "%s", g)
	}
}
