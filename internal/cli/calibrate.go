package cli

import (
	"cmp"
	"fmt"
	"math"
	"os"
	"strings"
	"time"

	"plumbhook/contract"
	"plumbhook/fault"
	"plumbhook/metrology"
	"plumbhook/quantity"
	"plumbhook/register"
	"plumbhook/report/certificate"
	"plumbhook/verdict"
)

type calibrateCmd struct {
	Files       []string      `arg:"" name:"file" help:"Certificate files (YAML) of one load cell, in any order."`
	On          register.Date `placeholder:"DATE" help:"The day the cell is to be used; today unless given."`
	Allowed     string        `default:"0.1 %" placeholder:"SHARE" help:"By how much of the reading the cell may shift until it is calibrated again (default ${default}: common practice, no source)."`
	Longest     string        `default:"365 d" placeholder:"TIME" help:"Longest interval, whatever the drift (default ${default}: common practice, no source; ISO 376 allows 26 months, from memory)."`
	Known       string        `placeholder:"WEIGHT" help:"Field check: the known weight, as '5 t ± 2 kg' or '49 kN ± 0.02 kN'. A mass presses with local gravity, see --g."`
	Reads       string        `placeholder:"FORCE" help:"Field check: what the cell reads under it, as 5.004 t; a mass is read as force at standard gravity."`
	G           string        `placeholder:"GRAVITY" help:"Local gravity at the field check, as 9.8111 m/s2; a known mass needs it."`
	Peak        string        `placeholder:"FORCE" help:"Greatest force the cell has borne since it was last examined."`
	ZeroChecked bool          `help:"Its zero was checked since that peak."`
	Examined    bool          `help:"It was examined since that peak."`
	OverrideBy  string        `placeholder:"NAME" help:"Who answers for using it out of date; goes with --override-why."`
	OverrideWhy string        `placeholder:"REASON" help:"Why."`
	Units       string        `enum:"metric,us" default:"metric" help:"Units of the text: metric or us."`
	Format      string        `enum:"text,json" default:"text" help:"text or json."`
	certifying
}

// Help goes on where the list of flags ends.
func (*calibrateCmd) Help() string {
	return `Exit status: 0 the cell may be used on that day, as far as its certificates tell; ` +
		`1 it may not, it shifted by more than is allowed, or the field check disagrees; ` +
		`2 a file or an option is invalid or cannot be read; 3 anything else.`
}

// certified is a cell as its certificates, its day and its field check show it.
type certified struct {
	review   *metrology.Review
	on       time.Time
	standing metrology.Standing
	field    *contract.CalibrateField
}

// Run reviews the certificates and prints what they show.
func (c *calibrateCmd) Run(e *env) error {
	var files []*metrology.CertificateFile
	var bad fault.List
	for _, path := range c.Files {
		data, err := os.ReadFile(path)
		if err != nil {
			bad = append(bad, fault.New(fault.Path, "the certificate %s cannot be read", path).Because(err).Fix("check the path"))
			continue
		}
		f, err := metrology.ReadCertificate(path, data)
		bad = append(bad, fault.Of(err)...)
		files = append(files, f)
	}
	keep := func(flag string, err error) {
		for _, f := range fault.Of(err) {
			bad = append(bad, f.In(flag))
		}
	}
	allowed := float64(value[quantity.Ratio](c.Allowed, "--allowed", keep))
	longest := time.Duration(float64(value[quantity.Duration](c.Longest, "--longest", keep)) * float64(time.Second))
	k := certified{}
	on := cmp.Or(c.On, register.DateOf(time.Now()))
	k.on, _ = time.Parse(time.DateOnly, string(on))
	wear := metrology.Wear{On: k.on, ZeroChecked: c.ZeroChecked, Examined: c.Examined}
	if c.Peak != "" {
		p, err := quantity.ParseRating(c.Peak)
		keep("--peak", err)
		wear.Peak = float64(p.Force)
	}
	switch {
	case (c.OverrideBy == "") != (c.OverrideWhy == ""):
		keep("--override-by", fault.New(fault.Missing, "an override needs a name and a reason").Fix("give --override-by and --override-why"))
	case c.OverrideBy != "":
		wear.Override = &metrology.Override{By: c.OverrideBy, Why: c.OverrideWhy}
	}
	known, reads := c.check(keep)
	if err := bad.Err(); err != nil {
		return err
	}
	var err error
	if k.review, err = metrology.ReviewCertificates(files, allowed, longest); err != nil {
		return err
	}
	last := k.review.Files[len(k.review.Files)-1]
	wear.Due, wear.Capacity, wear.SafeOverload = k.review.Due, last.Capacity, last.Overload
	if k.on.Before(last.Date) {
		return fault.New(fault.Range, "on %s the certificate of %s was not there yet", on, last.Date.Format(time.DateOnly)).In("--on").Fix("look at the year")
	}
	k.standing = wear.Standing()
	if known != nil {
		if low, high := k.review.Last.Curve.Low, k.review.Last.Curve.High; reads < low || reads > high {
			return fault.New(fault.Range, "the cell is calibrated from %.4g to %.4g kN, and reads %.4g kN", low/1000, high/1000, reads/1000).In("--reads").
				Fix("take a known weight within the calibrated range")
		}
		u := k.review.At(reads, k.on)
		f, err := metrology.CheckField(reads, u.U, known.Value, known.half)
		if err != nil {
			return err
		}
		k.field = &contract.CalibrateField{KnownN: known.Value, KnownU95N: known.half, ReadsN: reads, ReadsU95N: u.U, DifferenceN: f.Difference, En: f.En, Agrees: f.Agrees}
	}
	t := teller{units: units(c.Units)}
	out := contract.NewCalibrate(k.review, k.standing, k.on, k.holds(), k.sentence(), k.field)
	if err := c.certify(last.File, c.Units, func(o certificate.Options) ([]byte, error) { return certificate.Calibration(&out, o) }); err != nil {
		return err
	}
	if c.Format == "json" {
		err = writeJSON(e.out, out)
	} else {
		t.certified(&k)
		err = write(e.out, []byte(printable(t.b.String())))
	}
	if err == nil && !k.holds() {
		return errFails
	}
	return err
}

// knownForce is a force and its 95 % half-width, N.
type knownForce struct{ Value, half float64 }

// check reads the options of the field check; nil when there is none.
func (c *calibrateCmd) check(keep func(string, error)) (*knownForce, float64) {
	if c.Known == "" && c.Reads == "" {
		return nil, 0
	}
	if c.Known == "" || c.Reads == "" {
		keep("--known", fault.New(fault.Missing, "a field check needs the known weight and what the cell reads").Fix("give --known and --reads"))
		return nil, 0
	}
	reads, err := quantity.ParseForce(c.Reads)
	keep("--reads", err)
	if m, err := quantity.Parse[quantity.Mass](c.Known); err == nil {
		if c.G == "" {
			keep("--g", fault.New(fault.Missing, "a known mass presses with local gravity, which is not given").Fix("give --g with its unit, or --known as a force"))
			return nil, 0
		}
		g := float64(value[quantity.Acceleration](c.G, "--g", keep))
		return &knownForce{float64(m.Value) * g, float64(m.High-m.Low) / 2 * g}, float64(reads)
	}
	f, err := quantity.Parse[quantity.Force](c.Known)
	keep("--known", err)
	return &knownForce{float64(f.Value), float64(f.High-f.Low) / 2}, float64(reads)
}

// shifted tells whether the latest drift used up what was allowed.
func (k *certified) shifted() bool {
	d := k.review.Drifts
	return len(d) > 0 && math.Abs(d[len(d)-1].Largest) > k.review.Allowed
}

func (k *certified) holds() bool {
	return (k.standing.Use == metrology.Usable || k.standing.Use == metrology.Overridden) && !k.shifted() && (k.field == nil || k.field.Agrees)
}

// sentence is the answer in one breath.
func (k *certified) sentence() string {
	last := k.review.Files[len(k.review.Files)-1]
	text := fmt.Sprintf("load cell %s on %s: %s", last.Serial, k.on.Format(time.DateOnly), k.standing.Use)
	if k.standing.Why != "" {
		text += ", " + k.standing.Why
	} else if k.review.Due.IsZero() {
		text += ", but no day is known by which its calibration is due"
	} else {
		text += ", calibration due on " + k.review.Due.Format(time.DateOnly)
	}
	if k.shifted() {
		text += "; SINCE THE CERTIFICATE BEFORE IT SHIFTED BY MORE THAN IS ALLOWED: what was measured in between is in doubt"
	}
	if k.field != nil && !k.field.Agrees {
		text += "; THE FIELD CHECK DISAGREES"
	}
	return text
}

// certified tells of a cell.
func (t *teller) certified(k *certified) {
	r := k.review
	last := r.Files[len(r.Files)-1]
	outcome := verdict.Holds
	if !k.holds() {
		outcome = verdict.Fails
	}
	t.say("%s", headline(outcome, len(r.Missing)))
	t.say("%s\n", wrap("", k.sentence(), 0))
	t.tell("by", "certificate %s of %s, %s, calibrated to %s %s", cmp.Or(last.Number, "without number"), last.Date.Format(time.DateOnly),
		cmp.Or(last.Laboratory, "laboratory not named"), t.force(r.Last.Curve.High, 0, nearest), t.unit())
	t.tell("curve", "degree %d, %d readings, residual standard deviation %.3g %s", r.Last.Degree, r.Last.Fit.N, r.Last.Fit.SD, r.Last.Unit)
	t.classes(r)
	t.say("")
	t.steps(r)
	if r.Adjusted != nil {
		t.say("\nADJUSTED at the latest calibration: what it would have gone on reading wrong")
		t.shifts(r.Adjusted)
	}
	t.drift(r)
	if f := k.field; f != nil {
		how := "agrees"
		if !f.Agrees {
			how = "DISAGREES: do not use it until it is known why"
		}
		t.say("")
		t.tell("field", "reads %s ± %s %s under a known %s ± %s %s: off by %s %s, %.2f of what both uncertainties allow; %s",
			t.force(f.ReadsN, f.ReadsU95N, nearest), t.force(f.ReadsU95N, f.ReadsU95N, upward), t.unit(), t.force(f.KnownN, f.ReadsU95N, nearest),
			t.force(f.KnownU95N, f.ReadsU95N, upward), t.unit(), t.force(f.DifferenceN, math.Hypot(f.ReadsU95N, f.KnownU95N), nearest), t.unit(), f.En, how)
	}
	if len(r.Missing) > 0 {
		t.say("\n%s", wrap("", "NOT ASSESSED, and in no uncertainty above: "+strings.Join(r.Missing, ", "), 0))
	}
	t.say("\n%s", wrap("", "± and U are expanded uncertainties for a coverage of 95 %, by JCGM 100:2008, as the cell stood at calibration. "+
		"Limits of ISO 376 and part of those of ASTM E74 are from memory; check them before a certificate is held against them.", 0))
	t.say("%s", wrap("", verdict.Cautions, 0))
}

// classes says what the certificate earns.
func (t *teller) classes(r *metrology.Review) {
	text := "none is reached"
	if g := r.Grade.Classes; len(g) > 0 {
		text = fmt.Sprintf("class %s from %s %s", g[0].Name, t.force(g[0].From, 0, nearest), t.unit())
		for _, c := range g[1:] {
			if c.From < g[0].From {
				text += fmt.Sprintf(", class %s from %s %s", c.Name, t.force(c.From, 0, nearest), t.unit())
			}
		}
	}
	if n := r.Grade.NotAssessed; len(n) > 0 {
		text += "; only as far as checked, not shown: " + strings.Join(n, "; ")
	}
	t.tell("ISO 376", "%s", text)
	text = fmt.Sprintf("lower limit factor %s %s", t.force(r.Loads.LLF, r.Loads.LLF/20, upward), t.unit())
	for _, c := range []struct {
		name string
		from *float64
	}{{"AA", r.Loads.AA}, {"A", r.Loads.A}} {
		if c.from == nil {
			text += fmt.Sprintf("; class %s nowhere in the range", c.name)
		} else {
			text += fmt.Sprintf("; class %s from %s %s", c.name, t.force(*c.from, *c.from/20, upward), t.unit())
		}
	}
	if len(r.Loads.Unmet) > 0 {
		text += "; IT ASKS FOR MORE: " + strings.Join(r.Loads.Unmet, ", ")
	}
	t.tell("ASTM E74", "%s", text)
}

// steps is the certificate, force by force.
func (t *teller) steps(r *metrology.Review) {
	share := func(p *float64) string {
		if p == nil {
			return "-"
		}
		return fmt.Sprintf("%.3f", 100**p)
	}
	g := grid{align: "dddrrrrd"}
	g.row(t.unit(), r.Last.Unit, "off curve", "%", "repeat %", "turned %", "back %", "U, "+t.unit())
	for i, s := range r.Last.Steps {
		u := r.Points[i].U
		g.row(t.force(s.Force, 0, nearest), fmt.Sprintf("%.5f", s.Deflection), fmt.Sprintf("%+.5f", s.Deflection-s.Curve), share(&s.Interpolation),
			share(s.Repeatability), share(s.Reproducibility), share(s.Reversibility), t.force(u, u, upward))
	}
	t.b.WriteString(g.String())
}

// shifts is what an old curve reads wrong.
func (t *teller) shifts(all []metrology.Shift) {
	g := grid{align: "ddr"}
	g.row("at "+t.unit(), "off by "+t.unit(), "of reading")
	for _, s := range all {
		g.row(t.force(s.Force, 0, nearest), t.force(s.Error, math.Abs(s.Error)/2, nearest), fmt.Sprintf("%+.3f %%", 100*s.Share))
	}
	t.b.WriteString(g.String())
}

// drift is the history, a bar a year, and the interval it asks for.
func (t *teller) drift(r *metrology.Review) {
	if len(r.Drifts) == 0 {
		t.say("\n%s", wrap("", "DRIFT: one certificate shows none; keep the usual interval until there is a second.", 0))
		return
	}
	t.say("\n%s", wrap("", fmt.Sprintf("DRIFT: largest shift from one certificate to the next, of the reading, over the upper four fifths of the range; | is what is allowed, %.2g %%", 100*r.Allowed), 0))
	const wide = 20
	for _, d := range r.Drifts {
		bar := []rune(strings.Repeat(" ", 2*wide+1))
		bar[wide], bar[wide/2], bar[wide+wide/2] = '0', '|', '|'
		at := wide + int(math.Round(d.Largest/r.Allowed*wide/2))
		bar[min(max(at, 0), 2*wide)] = '*'
		t.say("%s to %s  %s  %+.3f %%", d.From.Format(time.DateOnly), d.To.Format(time.DateOnly), string(bar), 100*d.Largest)
	}
	p := r.Proposal
	why := fmt.Sprintf("the worst rate, %.3f %% a year, would use up what is allowed by then", 100*p.PerYear)
	if p.Capped {
		why = fmt.Sprintf("the longest allowed; the worst rate, %.3f %% a year, would let it go on", 100*p.PerYear)
	}
	t.say("%s", wrap("", fmt.Sprintf("Proposed interval: %.0f days (%s).", p.Interval.Hours()/24, why), 0))
}
