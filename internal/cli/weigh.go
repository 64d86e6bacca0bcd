package cli

import (
	"cmp"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"plumbhook/contract"
	"plumbhook/fault"
	"plumbhook/metrology"
	"plumbhook/quantity"
	"plumbhook/report/certificate"
	"plumbhook/verdict"
	"plumbhook/weigh"
)

type weighCmd struct {
	File   string `arg:"" help:"Survey file (YAML): the points, the cells, and what they read."`
	Units  string `enum:"metric,us" default:"metric" help:"Units of the text: metric or us."`
	Budget bool   `help:"With every line of every budget by itself, not those of one kind together."`
	Format string `enum:"text,json" default:"text" help:"text or json."`
	certifying
}

// Help goes on where the list of flags ends.
func (*weighCmd) Help() string {
	return `Exit status: 0 mass and place are told and nothing contradicts them, as far as was assessed; ` +
		`1 readings contradict each other or what was declared, a cell may not be used, or what was asked for is not told; ` +
		`2 the file is invalid or cannot be read; 3 anything else.`
}

// Run works out the survey and prints it.
func (c *weighCmd) Run(e *env) error {
	data, err := os.ReadFile(c.File)
	if err != nil {
		return fault.New(fault.Path, "the survey file cannot be read").Because(err).Fix("check the path")
	}
	root, err := os.OpenRoot(filepath.Dir(c.File))
	if err != nil {
		return fault.New(fault.Path, "the folder of the survey cannot be opened").Because(err).Fix("check the path")
	}
	defer root.Close()
	s, err := weigh.Read(c.File, root.FS(), data)
	if err != nil {
		return err
	}
	r, err := weigh.Weigh(s)
	if err != nil {
		return err
	}
	t := surveyTeller{teller{units: units(c.Units)}, r, c.Budget}
	out := contract.NewWeigh(r, t.sentence())
	if err := c.certify(c.File, c.Units, func(o certificate.Options) ([]byte, error) { return certificate.Weighing(&out, o) }); err != nil {
		return err
	}
	if c.Format == "json" {
		err = writeJSON(e.out, out)
	} else {
		t.survey()
		err = write(e.out, []byte(printable(t.b.String())))
	}
	if err == nil && r.Outcome != weigh.Holds {
		return errFails
	}
	return err
}

// surveyTeller writes a survey for people.
type surveyTeller struct {
	teller
	r    *weigh.Result
	full bool
}

// value writes a result with its uncertainty, in the unit for its kind.
func value95[Q quantity.Quantity](t *surveyTeller, v weigh.Value) string {
	m := quantity.Measured[Q]{Value: Q(v.Value), Low: Q(v.Value - v.U), High: Q(v.Value + v.U), Shape: quantity.Normal}
	if v.U == 0 {
		m.Shape = quantity.Exact
	}
	return m.Format(quantity.For[Q](t.units))
}

// least goes before an uncertainty that lacks something.
func (t *surveyTeller) least() string {
	if len(t.r.NotAssessed) > 0 {
		return ", at least"
	}
	return ""
}

// sentence is the answer in one breath.
func (t *surveyTeller) sentence() string {
	r := t.r
	text := fmt.Sprintf("%s: %s (95 %%%s, k = %.2f)", r.Survey.Object, value95[quantity.Mass](t, r.Mass), t.least(), r.Mass.K)
	var told, untold []string
	for a, name := range []string{"x", "y", "z"} {
		if v := r.CG[a]; v != nil {
			told = append(told, name+" "+value95[quantity.Length](t, *v))
		} else {
			untold = append(untold, name)
		}
	}
	if len(told) > 0 {
		text += "; centre of gravity at " + strings.Join(told, ", ")
	}
	if len(untold) > 0 {
		text += "; not told: " + strings.Join(untold, ", ") + " of the centre of gravity"
	}
	return text
}

func (t *surveyTeller) survey() {
	r, s := t.r, t.r.Survey
	title := cmp.Or(s.Title, s.Object)
	if s.Revision != "" {
		title += ", revision " + s.Revision
	}
	t.say("%s", wrap("", fmt.Sprintf("%s, %s  (%s)", title, s.Date.Format(time.DateOnly), s.File), 0))
	t.say("%s", headline(verdict.Outcome(r.Outcome), len(r.NotAssessed)))
	t.say("%s\n", wrap("", t.sentence(), 0))
	for _, f := range r.Findings {
		t.tell(strings.ToUpper(string(f.Severity)), "%s: %s", f.Where, f.Text)
	}
	if len(r.Findings) > 0 {
		t.say("")
	}
	t.tell("weight", "%s, the mass times g = %.5g m/s2 (%s); the cells bear %s in air", value95[quantity.Force](t, r.Weight), s.Gravity.Value, s.Gravity.How, value95[quantity.Force](t, r.Force))
	if d := r.Declared; d != nil {
		how := "within the uncertainty of both"
		if !d.Agrees {
			how = "MORE THAN THE UNCERTAINTY OF BOTH"
		}
		t.tell("declared", "%s; weighed less declared %s, %s", t.mass(d.Declared),
			quantity.Measured[quantity.Mass]{Value: quantity.Mass(d.Difference), Low: quantity.Mass(d.Difference - d.U95), High: quantity.Mass(d.Difference + d.U95), Shape: quantity.Normal}.Format(quantity.For[quantity.Mass](t.units)), how)
	}
	if h := r.Height; h != nil && r.CG[2] != nil {
		worth := fmt.Sprintf("as well as the ±%s wanted", t.length(h.Wanted, nearest))
		if !h.Reached {
			worth = fmt.Sprintf("NOT WITHIN THE ±%s WANTED", t.length(h.Wanted, nearest))
			if h.Needed != nil {
				worth += fmt.Sprintf(", which takes a tilt of about %.1f deg", math.Ceil(*h.Needed*1800/math.Pi)/10)
			}
		}
		t.tell("height", "told by a tilt of %.4g deg from horizontal, %s", h.Greatest*180/math.Pi, worth)
	}
	t.tell("checks", "%s", r.Redundancy.Text)
	t.stands()
	if t.full {
		t.budget("weight", "N", r.Weight)
	}
	t.budget("mass", "kg", r.Mass)
	for a, name := range []string{"x", "y", "z"} {
		if v := r.CG[a]; v != nil {
			t.budget(name+" of the centre of gravity", "m", *v)
		}
	}
	t.feet()
	if len(r.NotAssessed) > 0 {
		t.say("\nNOT ASSESSED, and in no uncertainty above")
		for _, n := range r.NotAssessed {
			t.tell("", "%s", n)
		}
	}
	t.say("\n%s", wrap("", "± is the expanded uncertainty for a coverage of 95 %, by JCGM 100:2008; places are in the object's own axes. "+
		"Readings in mass units are read as force at standard gravity.", 0))
	t.say("%s", wrap("", verdict.Cautions, 0))
}

// stands are the placements one by one.
func (t *surveyTeller) stands() {
	for i := range t.r.Placements {
		p := &t.r.Placements[i]
		half := t.r.Force.U
		text := fmt.Sprintf("sum %s %s over %d runs", t.force(p.Sum, half, nearest), t.unit(), p.Runs)
		if p.Runs == 1 {
			text = fmt.Sprintf("sum %s %s, one run", t.force(p.Sum, half, nearest), t.unit())
		} else {
			text += fmt.Sprintf(", which differ by %s %s at most (standard deviation %s %s)", t.force(p.Range, p.Range/2, upward), t.unit(), t.force(*p.SD, *p.SD/2, upward), t.unit())
		}
		if p.Twist != nil {
			text += fmt.Sprintf("; the four supports carry %s %s against each other, which is no weight", t.force(*p.Twist, half, nearest), t.unit())
		}
		t.say("\n%s", wrap("", p.Name+": "+text, 0))
		g := grid{align: "lldrr"}
		g.row("cell", "at", "reads "+t.unit(), "share", "of capacity")
		for _, s := range p.Seats {
			g.row(s.Cell, s.Point, t.force(s.Mean, half/2, nearest), fmt.Sprintf("%.1f %%", 100*s.Share), percent(s.Used))
		}
		t.b.WriteString(g.String())
	}
}

// budget is the table of what makes a result uncertain, the largest first:
// lines of one kind together, or each by itself.
func (t *surveyTeller) budget(what, unit string, v weigh.Value) {
	dof := "over 1000"
	if v.DoF <= 1000 {
		dof = fmt.Sprintf("%.0f", v.DoF)
	}
	u := v.Budget.U()
	t.say("\n%s", wrap("", fmt.Sprintf("Budget of the %s: u = %.2g %s, degrees of freedom %s, k = %.2f, U = %.2g %s", what, u, unit, dof, v.K, v.U, unit), 0))
	type kind struct {
		name  string
		lines []metrology.Component
		part  float64 // in the result, root of the sum of squares
	}
	var kinds []kind
	for _, c := range v.Budget {
		name, _, _ := strings.Cut(c.Name, ",")
		at := slices.IndexFunc(kinds, func(k kind) bool { return k.name == name })
		if t.full || at < 0 {
			at, kinds = len(kinds), append(kinds, kind{name: name})
		}
		kinds[at].lines = append(kinds[at].lines, c)
		kinds[at].part = math.Hypot(kinds[at].part, c.C*c.U)
	}
	slices.SortStableFunc(kinds, func(a, b kind) int { return cmp.Compare(b.part, a.part) })
	g := grid{align: "lrrrrr"}
	g.row("from", "u", "sensitivity", unit, "share", "d.f.")
	for _, k := range kinds {
		name, size, sensitivity, free := fmt.Sprintf("%s, %d lines", k.name, len(k.lines)), "", "", ""
		if c := k.lines[0]; len(k.lines) == 1 {
			name, size, sensitivity, free = fold(c.Name, 36), strings.TrimSpace(fmt.Sprintf("%.2g %s", c.U, c.Unit)), fmt.Sprintf("%.2g", c.C), "-"
			if !math.IsInf(c.DoF, 1) {
				free = fmt.Sprintf("%.0f", c.DoF)
			}
		}
		g.row(name, size, sensitivity, fmt.Sprintf("%.2g", k.part), fmt.Sprintf("%.1f %%", 100*math.Pow(k.part/u, 2)), free)
	}
	t.b.WriteString(g.String())
}

// feet says what a wrong place of a point does.
func (t *surveyTeller) feet() {
	t.say("\n%s", wrap("", "Places of the points: how far the centre of gravity moves, mm, for 10 mm of a point along", 0))
	g := grid{align: "lrrr"}
	g.row("point", "x", "y", "z")
	for _, f := range t.r.Feet {
		cell := func(by [3]float64) string {
			var parts []string
			for a, name := range []string{"x", "y", "z"} {
				if math.Abs(by[a]) > 0.005 {
					parts = append(parts, fmt.Sprintf("%s %+.1f", name, 10*by[a]))
				}
			}
			return cmp.Or(strings.Join(parts, " "), "-")
		}
		g.row(f.Point, cell(f.X), cell(f.Y), cell(f.Z))
	}
	t.b.WriteString(g.String())
}
