package verdict_test

import (
	"errors"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"unicode/utf8"

	"plumbhook/fault"
	"plumbhook/internal/testkit"
	"plumbhook/lift"
	"plumbhook/verdict"
)

// calculator works out a line as printed. It knows what a pocket calculator
// knows, + - × / ² and a few functions, and nothing of how the line came to be.
type calculator struct {
	text string
	err  error
}

func calculate(text string) (float64, error) {
	c := &calculator{text: text}
	v := c.sum()
	if c.err == nil && strings.TrimSpace(c.text) != "" {
		c.err = fmt.Errorf("left over: %q", c.text)
	}
	return v, c.err
}

func (c *calculator) take(sign string) bool {
	c.text = strings.TrimLeft(c.text, " ")
	rest, ok := strings.CutPrefix(c.text, sign)
	if ok {
		c.text = rest
	}
	return ok
}

func (c *calculator) sum() float64 {
	v := c.product()
	for c.err == nil {
		switch {
		case c.take("+"):
			v += c.product()
		case c.take("-"):
			v -= c.product()
		default:
			return v
		}
	}
	return v
}

func (c *calculator) product() float64 {
	v := c.square()
	for c.err == nil {
		switch {
		case c.take("×"):
			v *= c.square()
		case c.take("/"):
			v /= c.square()
		default:
			return v
		}
	}
	return v
}

func (c *calculator) square() float64 {
	v := c.atom()
	for c.err == nil && c.take("²") {
		v *= v
	}
	return v
}

func (c *calculator) atom() float64 {
	if c.take("(") {
		v := c.sum()
		if !c.take(")") {
			c.err = fmt.Errorf("no closing bracket before %q", c.text)
		}
		return v
	}
	if c.take("-") {
		return -c.square()
	}
	for _, name := range []string{"sqrt", "min", "max", "atan2", "asinh", "exp"} {
		if !c.take(name + "(") {
			continue
		}
		args := []float64{c.sum()}
		for c.take(",") {
			args = append(args, c.sum())
		}
		if !c.take(")") {
			c.err = fmt.Errorf("no closing bracket before %q", c.text)
		}
		v := args[0]
		switch name {
		case "sqrt":
			return math.Sqrt(v)
		case "asinh":
			return math.Asinh(v)
		case "exp":
			return math.Exp(v)
		case "atan2":
			return math.Atan2(v, args[1]) * 180 / math.Pi
		}
		for _, x := range args[1:] {
			if name == "min" {
				v = math.Min(v, x)
			} else {
				v = math.Max(v, x)
			}
		}
		return v
	}
	n := strings.IndexFunc(c.text, func(r rune) bool { return !strings.ContainsRune("0123456789.e", r) })
	if n > 0 && c.text[n-1] == 'e' { // 1.2e-07
		m := strings.IndexFunc(c.text[n+1:], func(r rune) bool { return !strings.ContainsRune("0123456789", r) })
		if m < 0 {
			n = len(c.text)
		} else {
			n += 1 + m
		}
	}
	if n < 0 {
		n = len(c.text)
	}
	v, err := strconv.ParseFloat(c.text[:n], 64)
	if err != nil {
		c.err = fmt.Errorf("no number before %q", c.text)
	}
	c.text = c.text[n:]
	return v
}

func TestCalculator(t *testing.T) {
	for text, want := range map[string]float64{
		"2 + 3 × 4²":             50,
		"sqrt((-3)² + (4 - 8)²)": 5,
		"min(3, 2.5, 7) / 0.5":   5,
		"1.5e-03 × 2000 - 1":     2,
		"atan2(1, 1)":            45,
		"-2 + 5":                 3,
	} {
		if got, err := calculate(text); err != nil || math.Abs(got-want) > 1e-12 {
			t.Errorf("%s = %v, %v; want %v", text, got, err, want)
		}
	}
	for _, text := range []string{"2 +", "(3", "4 x 5", "sin(1)"} {
		if _, err := calculate(text); err == nil {
			t.Errorf("%q was worked out", text)
		}
	}
}

// rigs are the examples, and every rig that is checked against another
// program: baskets, catenaries, ties, ground, steps, slack legs.
func rigs(t *testing.T) []string {
	t.Helper()
	var all []string
	for _, pattern := range []string{"../examples/*.yaml", "../validation/second/testdata/*.yaml", "testdata/*.yaml"} {
		files, err := filepath.Glob(pattern)
		if err != nil || len(files) == 0 {
			t.Fatalf("no rigs in %s: %v", pattern, err)
		}
		all = append(all, files...)
	}
	return all
}

func check(t *testing.T, path string) *verdict.Plan {
	t.Helper()
	data, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	l, err := lift.Read(filepath.Base(path), os.DirFS(filepath.Dir(path)), data)
	if err != nil {
		t.Fatal(err)
	}
	p, err := verdict.Check(l)
	if err != nil {
		t.Fatal(err)
	}
	return p
}

// TestExplanationsCanBeRedone works out every line of every explanation of
// every rig from its printed numbers, to four digits, and adds up every table.
func TestExplanationsCanBeRedone(t *testing.T) {
	testkit.Alone(t)
	lines := 0
	for _, path := range rigs(t) {
		t.Run(filepath.Base(path), func(t *testing.T) {
			p := check(t, path)
			for i := range p.States {
				h := p.States[i].Hung
				weight := math.Max(h.WeightN, 1)
				for _, name := range verdict.Explainable(p, i) {
					e, err := verdict.Explain(p, i, name)
					if err != nil {
						t.Fatalf("%s: %v", name, err)
					}
					if e.Name != name || e.Step != h.Step || e.Title == "" {
						t.Errorf("%s: name %q, step %q, title %q", name, e.Name, e.Step, e.Title)
					}
					for _, g := range e.Given {
						if g.From == "" && g.Pos.Line == 0 {
							t.Errorf("%s: nobody says where %s (%s) comes from", name, g.Symbol, g.What)
						}
					}
					for _, k := range e.Work {
						lines++
						got, err := calculate(k.Put)
						if err != nil {
							t.Errorf("%s: %s = %s: %v", name, k.Symbol, k.Put, err)
							continue
						}
						floor := map[string]float64{"m": 5e-6, "N": 1e-6 * weight, "deg": 2e-4, "": 1e-6, "kg": 1e-6 * h.MassKg}[k.Unit]
						if d := math.Abs(got - k.Value); !(d <= 5e-5*math.Abs(k.Value)+floor) {
							t.Errorf("%s: %s = %s = %.9g by calculator, %.9g in the verdict", name, k.Symbol, k.Put, got, k.Value)
						}
						if k.Source == "" || k.Formula == "" {
							t.Errorf("%s: %s has no formula or no source", name, k.Symbol)
						}
					}
					for _, table := range e.Tables {
						addUp(t, name, table, weight)
					}
				}
			}
		})
	}
	if lines < 1000 {
		t.Errorf("only %d lines worked out", lines)
	}
}

// addUp checks the sums of a table; those of a balance must be nothing.
func addUp(t *testing.T, name string, table verdict.Table, weight float64) {
	t.Helper()
	if table.Title == "" || table.Source == "" {
		t.Errorf("%s: a table without title or source", name)
	}
	for c, col := range table.Columns {
		sum := 0.0
		for _, r := range table.Rows {
			if len(r.Values) != len(table.Columns) {
				t.Fatalf("%s: %s: row %s has %d values", name, table.Title, r.Label, len(r.Values))
			}
			sum += r.Values[c]
		}
		if table.Sum == nil || math.IsNaN(table.Sum.Values[c]) {
			continue
		}
		if d := math.Abs(sum - table.Sum.Values[c]); d > 1e-9*weight {
			t.Errorf("%s: %s: column %s adds up to %g, not %g", name, table.Title, col.Name, sum, table.Sum.Values[c])
		}
		if strings.Contains(table.Source, "nothing") && math.Abs(sum) > 2e-6*weight {
			t.Errorf("%s: %s: %s adds up to %g: no balance", name, table.Title, col.Name, sum)
		}
	}
}

// TestAnswers holds what the explanations end with against the verdict.
func TestAnswers(t *testing.T) {
	testkit.Alone(t)
	for _, path := range rigs(t) {
		p := check(t, path)
		for i := range p.States {
			s := &p.States[i]
			want := map[string][]float64{
				"weight":      {s.Hung.WeightN},
				"weight.p95":  {s.Spread.Weight.P95},
				"cg":          s.Hung.CGLoad[:],
				"headroom":    {s.Hung.HeadroomM},
				"bodies.load": s.Hung.Bodies[0].CG[:],
			}
			for _, l := range s.Hung.Legs {
				want["legs."+l.Name+".tension"] = []float64{l.TensionN}
				want["legs."+l.Name+".p95"] = []float64{s.P95[l.Name]}
				want["legs."+l.Name+".angle"] = []float64{l.FromHorizontal * 180 / math.Pi, l.FromVertical * 180 / math.Pi}
				if u := s.Utilisation[l.Name]; u != nil {
					want["legs."+l.Name+".utilisation"] = []float64{*u}
				}
				if l.WorstN != nil && len(l.Spans) == 0 {
					want["legs."+l.Name+".worst"] = []float64{*l.WorstN}
				}
			}
			for _, h := range s.Hung.Hooks {
				want["hooks."+h.Name] = []float64{h.LoadN}
			}
			for _, n := range s.Hung.Nodes {
				want["nodes."+n.Name] = []float64{n.LoadN}
			}
			for _, q := range s.Hung.Squeeze {
				want["compression."+q.Body+"."+q.A+"."+q.B] = []float64{q.ForceN}
			}
			for _, x := range s.Expected {
				want["expected."+x.Channel] = []float64{x.NominalN, x.LowN, x.HighN}
			}
			for _, part := range s.Parts {
				if part.Utilisation != nil {
					want[part.Where+".utilisation"] = []float64{*part.Utilisation}
				}
			}
			for name, values := range want {
				e, err := verdict.Explain(p, i, name)
				if err != nil {
					t.Errorf("%s: %s: %v", path, name, err)
					continue
				}
				var got []float64
				for _, k := range e.Work {
					if k.Answer {
						got = append(got, k.Value)
					}
				}
				ok := len(got) == len(values)
				for k := range values {
					ok = ok && math.Abs(got[k]-values[k]) <= 1e-9*math.Abs(values[k])+1e-9
				}
				if !ok {
					t.Errorf("%s: %s ends with %v, the verdict has %v", path, name, got, values)
				}
			}
		}
	}
}

// TestStabilityCanBeTried: the margin is under every bound given with it. A
// centre of gravity raised by half of it leaves the other half. Raised by all
// but a hundredth it leaves that, if the load still finds this pose from its
// start; raised by more it falls, or hangs in another pose.
func TestStabilityCanBeTried(t *testing.T) {
	tried := 0
	for _, path := range rigs(t) {
		p := check(t, path)
		for i := range p.States {
			margin := p.States[i].Hung.StabilityM
			if margin == nil || !p.States[i].Hung.Stable {
				continue
			}
			e, err := verdict.Explain(p, i, "stability")
			if err != nil {
				t.Fatal(err)
			}
			for _, k := range e.Work {
				if strings.HasPrefix(k.Symbol, "d ") && *margin > k.Value*(1+1e-6) {
					t.Errorf("%s %s: margin %v is above the bound %s %v", path, e.Step, *margin, k.Symbol, k.Value)
				}
			}
			for _, r := range e.Tables[len(e.Tables)-1].Rows {
				up, left, stable := r.Values[0], r.Values[1], r.Values[2] == 1
				same := stable && math.Abs(r.Values[3]-p.States[i].Hung.Bodies[0].Tilt*180/math.Pi) < 0.01
				rest := math.Abs(*margin-up-left) < 1e-4**margin
				if up < 0.6**margin && !(same && rest) || up < *margin && same && !rest || up > *margin && same {
					t.Errorf("%s %s: margin %v, raised by %v: %v left, stable %v, tilt %v", path, e.Step, *margin, up, left, stable, r.Values[3])
				}
				tried++
			}
		}
	}
	if tried < 50 {
		t.Errorf("%d trials", tried)
	}
}

// TestUnderTheHook: what hangs from one hook has its centre of gravity plumb under it.
func TestUnderTheHook(t *testing.T) {
	testkit.Alone(t)
	seen := 0
	for _, path := range rigs(t) {
		p := check(t, path)
		h := p.States[0].Hung
		e, err := verdict.Explain(p, 0, "tilt")
		if err != nil {
			t.Fatal(err)
		}
		for _, table := range e.Tables {
			if !strings.Contains(table.Title, "plumb") || len(h.Ties)+len(h.Supports) > 0 {
				continue
			}
			seen++
			s := table.Sum.Values
			if x, y := s[3]/s[0]-h.Hooks[0].At[0], s[4]/s[0]-h.Hooks[0].At[1]; math.Hypot(x, y) > 1e-6 {
				t.Errorf("%s: off the plumb line by %g, %g m", path, x, y)
			}
		}
	}
	if seen < 10 {
		t.Errorf("%d tables", seen)
	}
}

func TestNames(t *testing.T) {
	p := check(t, "../examples/pump-motor.yaml")
	for name, want := range map[string]string{
		"legs.west":                     "legs.west.tension",
		"legs.west.tension_N":           "legs.west.tension",
		"legs.west.lower_N":             "legs.west.tension",
		"legs.west.from_horizontal_deg": "legs.west.angle",
		"weight.nominal_N":              "weight",
		"weight.p95_N":                  "weight.p95",
		"headroom_m":                    "headroom",
		"stability_m":                   "stability",
		"hooks.main.load_N":             "hooks.main",
		"bodies.load.tilt_deg":          "bodies.load.tilt",
		"compression.west.east":         "compression.load.west.east",
	} {
		e, err := verdict.Explain(p, 0, name)
		if err != nil || e.Name != want {
			t.Errorf("%s: %+v, %v; want %s", name, e, err, want)
		}
	}
	for name, near := range map[string]string{
		"legs.wset.tension": "legs.west.tension",
		"wieght":            "weight",
		"legs.wst":          "legs.west.tension",
		"hooks.mian":        "hooks.main",
		"stability.":        "stability",
	} {
		_, err := verdict.Explain(p, 0, name)
		var f *fault.Fault
		if !errors.As(err, &f) || f.Code != fault.Reference || !strings.Contains(f.Do, "did you mean "+near+"?") {
			t.Errorf("%s: %v", name, err)
		}
	}
	for _, name := range verdict.Explainable(p, 0) {
		if !utf8.ValidString(name) || strings.TrimSpace(name) != name {
			t.Errorf("name %q", name)
		}
	}
}
