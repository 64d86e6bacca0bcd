// Package report prints the sheets of a lift: lift plan, crew card, card of
// expected readings, briefing, gear issue, customer report, full record and
// near miss. One function for each; a checked plan goes in, with what a watch
// saw where the sheet is about that, and the bytes of a PDF come out.
//
// Every force on a sheet is in one unit and says so, every angle says from
// what, what was not assessed stands beside the verdict, and what the lift file
// cannot know is a line to write on. Nothing here computes what package verdict,
// card or watch has not computed. The same input gives the same bytes: the day
// is an argument.
//
// Words come from one catalogue in English and Spanish. Sentences of the rule
// books and of the watch exist in English alone; a Spanish sheet says so above
// them.
package report

import (
	"cmp"
	"math"
	"path"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"plumbhook/draw"
	"plumbhook/fault"
	"plumbhook/quantity"
	"plumbhook/register"
	"plumbhook/report/paper"
	"plumbhook/verdict"
)

// Options are how a sheet speaks, and what is not in the lift file.
type Options struct {
	Language paper.Language
	Units    quantity.System   // of lengths and masses; US sheets are on letter paper
	Force    string            // the one unit of every force: kN, t, lbf ...; empty: that of Units
	Number   string            // of the document; empty: a line to write it on
	On       register.Date     // day that stands on the sheet; empty: a line to write it on
	Gear     *verdict.Register // the gear register on that day; nil: none
	Program  string            // name and version of what prints
	Virtual  bool              // the readings are of a virtual lift: every page says that nothing was lifted
	across   bool
	newton   float64 // N in one Force
	mass     bool    // Force is a unit of mass
	half     float64 // N, half-width that decides on the digits of forces
}

// sheet is a document on its way, with the plan it is about.
type sheet struct {
	*paper.Sheet
	Options
	p *verdict.Plan
}

// set writes one document about a plan.
func (o Options) set(kind string, p *verdict.Plan, compose func(*sheet)) ([]byte, error) {
	h, err := o.prepare(kind, p)
	if err != nil {
		return nil, err
	}
	return paper.Set(h, func(s *paper.Sheet) { compose(&sheet{s, o, p}) })
}

// prepare understands the options, and makes the head.
func (o *Options) prepare(kind string, p *verdict.Plan) (paper.Head, error) {
	if o.Language != "" && o.Language != paper.English && o.Language != paper.Spanish {
		return paper.Head{}, fault.New(fault.Unsupported, "no sheet is written in %q", o.Language).In("language").Fix("choose en or es")
	}
	o.Force = cmp.Or(o.Force, quantity.For[quantity.Force](o.Units))
	one, err := quantity.ParseRating("1 " + o.Force)
	if err != nil {
		return paper.Head{}, fault.Of(err)[0].In("unit of force")
	}
	o.newton, o.mass = float64(one.Force), one.FromMass
	_, _, o.half = p.States[0].Total()
	if !(o.half > 0) {
		total, _, _ := p.States[0].Total()
		o.half = total / 1000
	}
	l := p.Lift
	h := paper.Head{
		Kind: o.say(kind), Title: l.Title, Number: o.Number, Revision: l.Revision, Date: string(o.On),
		Source: o.say("lift file", path.Base(l.File)), SHA256: l.SHA256, Program: o.Program, Language: o.Language, Letter: o.Units == quantity.US, Across: o.across,
	}
	if p.Outcome == verdict.Fails {
		h.Banner = o.say("plan fails")
	}
	if o.Virtual {
		h.Banner = o.say("rehearsal")
	}
	return h, nil
}

func (o *Options) say(key string, args ...any) string { return words.Say(o.Language, key, args...) }

// number writes newtons in the unit of the sheet, without it.
func (o *Options) number(n float64, r quantity.Rounding) string {
	if math.IsNaN(n) || math.IsInf(n, 0) {
		return o.say("not known")
	}
	return quantity.Show(n/o.newton, o.half/o.newton, r)
}

// force writes it with the unit.
func (o *Options) force(n float64, r quantity.Rounding) string {
	return o.number(n, r) + " " + o.Force
}

// rating writes a limit, which is exact.
func (o *Options) rating(n float64) string {
	return quantity.Show(n/o.newton, 0, quantity.Nearest) + " " + o.Force
}

func (o *Options) kilos(m quantity.Measured[quantity.Mass]) string {
	return m.Format(quantity.For[quantity.Mass](o.Units))
}

func (o *Options) lengthUnit() string { return quantity.For[quantity.Length](o.Units) }

// metres writes a length to the centimetre, or to the hundredth of a foot.
func (o *Options) metres(m float64) string {
	n, _ := quantity.In(quantity.Length(m), o.lengthUnit())
	return plain(n, 2)
}

// place writes a point to the millimetre, or to the hundredth of a foot.
func (o *Options) place(at [3]float64) string {
	decimals := 3
	if o.Units == quantity.US {
		decimals = 2
	}
	var text []string
	for _, m := range at {
		n, _ := quantity.In(quantity.Length(m), o.lengthUnit())
		text = append(text, plain(n, decimals))
	}
	return strings.Join(text, ", ")
}

// plain writes a number with so many decimals, and no minus before a zero.
func plain(v float64, decimals int) string {
	s := strconv.FormatFloat(v, 'f', decimals, 64)
	if strings.Trim(s, "-0.") == "" {
		s = strings.TrimPrefix(s, "-")
	}
	return s
}

func degrees(rad float64) string { return plain(rad*180/math.Pi, 1) + "°" }

// percent writes a share, rounded up: what is over 100 % shows so.
func percent(u float64) string { return quantity.Show(100*u, 10, quantity.Upward) + " %" }

// used writes a utilisation with its shape: over is white on nothing else.
func (o *Options) used(u *float64) string {
	switch {
	case u == nil:
		return "□ " + o.say("no rating")
	case *u > 1:
		return "■ " + o.say("over", percent(*u))
	}
	return percent(*u)
}

// outcome is the verdict in a line, never without what was not assessed.
func (o *Options) outcome(p *verdict.Plan) string {
	return o.say("outcome "+string(p.Outcome)) + ", " + o.say("not assessed n", p.NotAssessed)
}

// verdict prints it: white on black when it fails, in a frame otherwise.
func (s *sheet) verdict() {
	if s.p.Outcome == verdict.Fails {
		s.Loud("■ " + s.outcome(s.p))
		return
	}
	s.Framed(s.outcome(s.p))
}

var inStack = regexp.MustCompile(`^legs\.(.+)\.stack\[(\d+)\]$`)

// where words a place of the lift file.
func (o *Options) where(place string) string {
	if m := inStack.FindStringSubmatch(place); m != nil {
		return o.say("in stack", m[1], m[2])
	}
	head, rest, ok := strings.Cut(place, ".")
	if !ok {
		return place
	}
	switch head {
	case "legs", "hooks", "nodes", "spreaders":
		return o.say("where "+head, rest)
	case "load":
		return o.say("where load", rest)
	}
	return o.say("where point", rest, head)
}

// kind words a kind of gear; what the catalogue does not know stays as written.
func (o *Options) kind(name string) string {
	if o.Language == paper.Spanish {
		return cmp.Or(kinds[name], name)
	}
	return name
}

// step names a state of the lift.
func (o *Options) step(i int, st *verdict.State) string {
	if i == 0 {
		return o.say("first rigged")
	}
	return strconv.Itoa(i) + " " + st.Hung.Step
}

// picture draws one view of a state, wide by high mm.
func (s *sheet) picture(st *verdict.State, view string, wide, high float64) *draw.Page {
	use := map[string]float64{}
	for name, u := range st.Utilisation {
		if u != nil {
			use[name] = *u
		}
	}
	return draw.Picture(st.Hung, use, st.P95, draw.Meta{Units: s.Units, Force: s.Force, Size: [2]float64{wide, high}}, view)
}

// worst is the part that is used most over the whole lift; ok is false without
// a rating.
func worst(p *verdict.Plan) (part verdict.Extreme, ok bool) {
	for _, q := range p.Envelope() {
		if q.Utilisation != nil && (!ok || *q.Utilisation > *part.Utilisation) {
			part, ok = q, true
		}
	}
	return part, ok
}

// english warns above sentences that are not translated.
func (s *sheet) english() {
	if s.Language == paper.Spanish {
		s.Small(s.say("in English"))
	}
}

// findings prints what was found in all states, each once, worst first, and
// what was not assessed.
func (s *sheet) findings() {
	s.Heading(s.say("findings"))
	s.english()
	var list [][2]string
	seen := map[string]bool{}
	for _, sev := range []verdict.Severity{verdict.Stop, verdict.Caution, verdict.Note} {
		for i := range s.p.States {
			for k := range s.p.States[i].Findings {
				f := &s.p.States[i].Findings[k]
				text := f.Say(s.Units)
				if !strings.HasPrefix(text, f.Where) {
					text = f.Where + ": " + text
				}
				if text += " [" + f.Source + "]"; f.Severity == sev && !seen[text] {
					seen[text] = true
					list = append(list, [2]string{s.severity(string(sev)), text})
				}
			}
		}
	}
	if list == nil {
		s.Text(s.say("no findings"))
	}
	s.Points(list)
	open := s.open()
	s.Heading(s.say("not assessed head", len(open)))
	if len(open) == 0 {
		s.Text(s.say("nothing open"))
	}
	list = nil
	for _, text := range open {
		list = append(list, [2]string{"□", text})
	}
	s.Points(list)
}

// open lists what was not assessed in any state, each once.
func (s *sheet) open() (list []string) {
	for i := range s.p.States {
		for _, text := range s.p.States[i].NotAssessed {
			if !slices.Contains(list, text) {
				list = append(list, text)
			}
		}
	}
	return list
}

// severity words stop, caution and note, each with a shape of its own.
func (o *Options) severity(sev string) string {
	return map[string]string{"stop": "■ ", "caution": "▲ ", "note": "● "}[sev] + o.say("severity "+sev)
}

// signatures leaves room for names.
func (s *sheet) signatures(roles ...string) {
	s.Heading(s.say("signatures"))
	for _, r := range roles {
		s.Blanks(s.say(r)+": "+s.say("name"), s.say("date and time"), s.say("signature"))
	}
}

// item finds a serial in the register.
func (o *Options) item(serial string) (it register.Item, ok bool) {
	if o.Gear == nil || serial == "" {
		return it, false
	}
	it, ok = o.Gear.Items[register.Key(serial)]
	return it, ok
}
