package cli

import (
	"fmt"
	"io"
	"math"
	"strings"
	"text/tabwriter"

	"plumbhook/contract"
	"plumbhook/quantity"
	"plumbhook/verdict"
)

type checkCmd struct {
	File   string `arg:"" help:"Lift file (YAML)."`
	Format string `enum:"text,json" default:"text" help:"text or json."`
	Units  string `enum:"metric,us" default:"metric" help:"Units of the text: metric or us."`
}

// Run hangs the lift and prints the verdict.
func (c *checkCmd) Run(e *env) error {
	l, err := read(c.File)
	if err != nil {
		return err
	}
	p, err := verdict.Check(l)
	if err != nil {
		return err
	}
	if c.Format == "json" {
		err = writeJSON(e.out, contract.NewCheck(p))
	} else {
		t := teller{w: e.out, us: c.Units == "us"}
		t.plan(p)
	}
	if err != nil {
		return err
	}
	if p.Outcome != verdict.Holds {
		return errFails
	}
	return nil
}

// teller writes a verdict for people.
type teller struct {
	w  io.Writer
	us bool
}

func (t *teller) unit(metric, us string) string {
	if t.us {
		return us
	}
	return metric
}

func (t *teller) force(n float64) string {
	return quantity.Known(quantity.Force(n)).Format(t.unit("kN", "lbf"))
}

func (t *teller) mass(m quantity.Measured[quantity.Mass]) string {
	return m.Format(t.unit("kg", "lb"))
}

func (t *teller) length(m float64) string {
	return quantity.Known(quantity.Length(math.Round(m*1e4) / 1e4)).Format(t.unit("m", "ft"))
}

func (t *teller) say(format string, args ...any) { fmt.Fprintf(t.w, format+"\n", args...) }

// headline is the verdict in a line: never without what was not assessed.
func headline(o verdict.Outcome, missing int) string {
	var s string
	switch o {
	case verdict.Holds:
		s = "HOLDS as far as checked"
	case verdict.Fails:
		s = "FAILS"
	default:
		s = "INCOMPLETE: nothing checked fails, but something needed is missing"
	}
	return fmt.Sprintf("%s, %d not assessed", s, missing)
}

func (t *teller) plan(p *verdict.Plan) {
	l := p.Lift
	rev := ""
	if l.Revision != "" {
		rev = ", revision " + l.Revision
	}
	t.say("%s%s   (%s)", l.Title, rev, l.File)
	t.say("%s", headline(p.Outcome, p.NotAssessed))
	t.say("")
	t.sheet(p)
	for i := range p.States {
		if i > 0 {
			t.say("")
			t.say("step %d: %s   %s", i, p.States[i].Hung.Step, headline(p.States[i].Outcome, len(p.States[i].NotAssessed)))
		}
		t.state(p, &p.States[i])
	}
	t.say("")
	t.say("%s", wrap(verdict.Cautions, 96))
}

func (t *teller) sheet(p *verdict.Plan) {
	tw := tabwriter.NewWriter(t.w, 0, 0, 2, ' ', 0)
	fmt.Fprintln(tw, "weight sheet\tmass\tcentre of gravity x y z\tclaimed by\thow")
	for _, line := range p.Sheet.Lines {
		from, how := line.From, line.How
		if from == "" {
			from = "nobody named"
		}
		if !line.Counted {
			how = "not counted: the load is dry"
		}
		at := line.At.XYZ()
		fmt.Fprintf(tw, "  %s\t%s\t%s\t%s\t%s\n", line.Name, t.mass(line.Mass), t.point(at), from, how)
	}
	if c := float64(p.Lift.Load.Sheet.Contingency); c > 0 {
		fmt.Fprintf(tw, "  contingency\t%s\t\t\t%.3g %% of the sum\n", t.mass(quantity.Known(quantity.Mass(float64(p.Sheet.Listed)*c))), c*100)
	}
	cg := p.Sheet.CG.XYZ()
	fmt.Fprintf(tw, "  load\t%s\t%s\t\t%s\n", t.mass(p.Sheet.Mass), t.point(cg), t.box(p))
	tw.Flush()
	t.say("")
}

func (t *teller) point(at [3]float64) string {
	u := t.unit("m", "ft")
	k := 1.0
	if t.us {
		k = 1 / 0.3048
	}
	return fmt.Sprintf("%.3f %.3f %.3f %s", at[0]*k, at[1]*k, at[2]*k, u)
}

// box words how far the centre of gravity can be.
func (t *teller) box(p *verdict.Plan) string {
	var parts []string
	cg := p.Sheet.CG.XYZ()
	for k := range 3 {
		lo, hi := p.Sheet.CGLow[k]-cg[k], p.Sheet.CGHigh[k]-cg[k]
		if hi-lo > 5e-4 {
			parts = append(parts, fmt.Sprintf("%s %+.0f..%+.0f mm", "xyz"[k:k+1], lo*1e3, hi*1e3))
		}
	}
	if len(parts) == 0 {
		return ""
	}
	return "centre within " + strings.Join(parts, ", ")
}

func (t *teller) state(p *verdict.Plan, s *verdict.State) {
	h := s.Hung
	w := s.Spread.Weight
	t.say("weight    %s, P5 %s, P95 %s (load alone)", t.force(h.WeightN), t.force(w.P5), t.force(w.P95))
	load := &h.Bodies[0]
	low := ""
	if load.LowSide != nil {
		low = ", low side " + side(*load.LowSide)
	}
	stable := "stable"
	if h.StabilityM != nil {
		stable += ": its centre of gravity may rise " + t.length(*h.StabilityM) + " before the pose is lost"
	}
	if !h.Stable {
		stable = "NOT STABLE"
	}
	t.say("hangs     %.2f° off level%s; %s", deg(load.Tilt), low, stable)
	for _, b := range h.Bodies[1:] {
		t.say("          %s %.2f° off level", b.Name, deg(b.Tilt))
	}
	for i := range h.Hooks {
		k := &h.Hooks[i]
		limit := "no rating given"
		if r := p.Lift.Hooks[i].WLL; r != nil {
			limit = "of " + t.force(float64(r.Force))
		}
		t.say("hook      %s %s, P95 %s, %s", k.Name, t.force(k.LoadN), t.force(p95(s, k.Name)), limit)
	}
	t.say("headroom  %s from hook down to the highest lug", t.length(h.HeadroomM))
	t.say("")
	tw := tabwriter.NewWriter(t.w, 0, 0, 2, ' ', tabwriter.AlignRight)
	worst := false
	for i := range h.Legs {
		worst = worst || h.Legs[i].WorstN != nil
	}
	head := "leg\tnominal\tP95\t"
	if worst {
		head += "worst\t"
	}
	fmt.Fprintln(tw, head+"from horizontal\tfrom vertical\tof WLL\t\t")
	for i := range h.Legs {
		l := &h.Legs[i]
		line := fmt.Sprintf("%s\t%s\t%s\t", l.Name, t.force(l.TensionN), t.force(s.P95[l.Name]))
		if worst {
			if l.WorstN != nil {
				line += t.force(*l.WorstN)
			}
			line += "\t"
		}
		line += fmt.Sprintf("%.1f°\t%.1f°\t", deg(l.FromHorizontal), deg(l.FromVertical))
		mark := ""
		if u := s.Utilisation[l.Name]; u != nil {
			line += fmt.Sprintf("%.0f %%\t", math.Ceil(100**u-1e-9))
			if *u > 1 {
				mark = "OVER"
			}
		} else {
			line += "no rating\t"
		}
		if l.Slack {
			mark = strings.TrimSpace(mark + " SLACK")
		}
		fmt.Fprintln(tw, line+mark+"\t")
	}
	tw.Flush()
	if p.Dynamic != 1 {
		t.say("          of WLL counts the dynamic factor %.3g; the forces are static", p.Dynamic)
	}
	for _, f := range h.Supports {
		t.say("ground    %s carries %s", f.Name, t.force(f.Force[2]))
	}
	for _, f := range h.Ties {
		t.say("tie       %s pulls %s", f.Name, t.force(f.TensionN))
	}
	for _, e := range s.Expected {
		t.say("cell %s must read %s (95 of 100: %s to %s)", e.Channel, t.force(e.NominalN), t.force(e.LowN), t.force(e.HighN))
	}
	if len(s.Findings) > 0 {
		t.say("")
	}
	for _, f := range s.Findings {
		t.say("%s  %s: %s [%s]", strings.ToUpper(string(f.Severity)), f.Where, f.Text, f.Source)
	}
	if len(s.NotAssessed) > 0 {
		t.say("")
		t.say("NOT ASSESSED (%d)", len(s.NotAssessed))
		for _, n := range s.NotAssessed {
			t.say("  %s", n)
		}
	}
}

func p95(s *verdict.State, hook string) float64 {
	for k, d := range s.Demands {
		if d.Name == hook {
			return s.Spread.Demands[k].P95
		}
	}
	return math.NaN()
}

// side names an azimuth in the load's own axes.
func side(a float64) string {
	return fmt.Sprintf("%.0f° from load x toward load y", math.Mod(deg(a)+360, 360))
}

func deg(r float64) float64 { return r * 180 / math.Pi }

func wrap(s string, width int) string {
	var b strings.Builder
	n := 0
	for _, w := range strings.Fields(s) {
		if n > 0 && n+1+len(w) > width {
			b.WriteByte('\n')
			n = 0
		} else if n > 0 {
			b.WriteByte(' ')
			n++
		}
		b.WriteString(w)
		n += len(w)
	}
	return b.String()
}
