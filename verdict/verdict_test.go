package verdict_test

import (
	"math"
	"slices"
	"strings"
	"testing"

	"plumbhook/lift"
	"plumbhook/quantity"
	"plumbhook/verdict"
)

// plan checks a lift file given as text.
func plan(t *testing.T, text string) *verdict.Plan {
	t.Helper()
	l, err := lift.Read("test.yaml", nil, []byte(text))
	if err != nil {
		t.Fatal(err)
	}
	p, err := verdict.Check(l)
	if err != nil {
		t.Fatal(err)
	}
	return p
}

// block hangs plumb on one leg of 10 kg, with a cell in it: g is 10 m/s², so
// the load pulls 10 kN, the leg 10.1 kN at its top.
const block = `
plumbhook: 1
title: Weight for proving a hoist, pump hall
site: {g: 10 m/s2}
load:
  name: block
  mass: 1000 kg
  cg: 0 0 0 m
  lugs: {top: {at: 0 0 0.5 m, wll: 20 kN}}
hooks: {main: {wll: 20 kN}}
legs: {only: {from: main, to: load.top, length: 2 m, stiffness: 5 MN/m, mass: 10 kg, wll: 20 kN, cell: {channel: A, capacity: 20 kN, accuracy: 0.1 % fs, zero: hung}}}
`

// TestOutcomes changes one thing at a time. Without a rulebook one thing is
// always not assessed; with one, tag, temperature, exposure and wind.
func TestOutcomes(t *testing.T) {
	for _, c := range []struct {
		name     string
		old, new string
		outcome  verdict.Outcome
		missing  int
		severity verdict.Severity // with rule and where, of a finding there must be
		rule     string
		where    string
	}{
		{"as it is", "", "", verdict.Holds, 1, "", "", ""},
		{"hook too weak", "main: {wll: 20 kN}", "main: {wll: 10 kN}", verdict.Fails, 1, verdict.Stop, "rating", "hooks.main"},
		{"leg too weak", "mass: 10 kg, wll: 20 kN", "mass: 10 kg, wll: 10.05 kN", verdict.Fails, 1, verdict.Stop, "rating", "legs.only"},
		{"lug too weak", "0.5 m, wll: 20 kN", "0.5 m, wll: 9.9 kN", verdict.Fails, 1, verdict.Stop, "rating", "load.top"},
		{"hook just strong enough", "main: {wll: 20 kN}", "main: {wll: 10.1001 kN}", verdict.Holds, 1, "", "", ""},
		{"dynamic factor", "hooks: {main: {wll: 20 kN}}", "hooks: {main: {wll: 20 kN}}\ndynamic: {factor: 2}", verdict.Fails, 1, verdict.Stop, "rating", "hooks.main"},
		{"hook without rating", "main: {wll: 20 kN}", "main: {}", verdict.Incomplete, 2, "", "", ""},
		{"lug without rating", ", wll: 20 kN}}\nhooks", "}}\nhooks", verdict.Incomplete, 2, "", "", ""},
		{"past the warn number", "load:", "limits: {total: {warn: 10 kN, stop: 12 kN}}\nload:", verdict.Holds, 1, verdict.Caution, "warn-limit", "hooks"},
		{"past the stop number", "load:", "limits: {total: {warn: 9 kN, stop: 10 kN}}\nload:", verdict.Fails, 1, verdict.Stop, "stop-limit", "hooks"},
		{"a leg past its warn number", "load:", "limits: {legs: {only: {warn: 10 kN}}}\nload:", verdict.Holds, 1, verdict.Caution, "warn-limit", "legs.only"},
		{"a rulebook that asks for what is not stated", "load:", "rulebook: eu\nload:", verdict.Holds, 4, "", "", ""},
		{"a cell without accuracy", ", accuracy: 0.1 % fs", "", verdict.Holds, 2, "", "", ""},
	} {
		t.Run(c.name, func(t *testing.T) {
			text := strings.Replace(block, c.old, c.new, 1)
			if c.old != "" && text == block {
				t.Fatal("nothing was changed")
			}
			p := plan(t, text)
			s := &p.States[0]
			if p.Outcome != c.outcome || p.NotAssessed != c.missing || len(s.NotAssessed) != c.missing {
				t.Errorf("%s, %d not assessed: %v", p.Outcome, p.NotAssessed, s.NotAssessed)
			}
			found := slices.ContainsFunc(s.Findings, func(f verdict.Finding) bool {
				return f.Severity == c.severity && f.Rule == c.rule && f.Where == c.where
			})
			if c.rule == "" {
				found = len(s.Findings) == 0
			}
			if !found {
				t.Errorf("findings: %+v", s.Findings)
			}
		})
	}
}

// TestPlumb has every number in closed form.
func TestPlumb(t *testing.T) {
	p := plan(t, strings.Replace(block, "load:", "dynamic: {factor: 1.5}\nload:", 1))
	s := &p.States[0]
	near := func(what string, got, want float64) {
		t.Helper()
		if math.Abs(got-want) > 1e-9*math.Abs(want) {
			t.Errorf("%s = %.12g, want %.12g", what, got, want)
		}
	}
	near("weight", s.Hung.WeightN, 10000)
	near("P95 of an exact plan", s.P95["only"], 10100)
	near("utilisation: 10.1 kN x 1.5 of 20 kN", *s.Utilisation["only"], 0.7575)
	for _, part := range s.Parts {
		// The whole weight of the leg is above the lug.
		near(part.Where, part.DemandN, map[string]float64{"hooks.main": 15150, "legs.only": 15150, "load.top": 15000}[part.Where])
	}
	if len(s.Expected) != 1 {
		t.Fatalf("%d cells", len(s.Expected))
	}
	// A cell zeroed with the rigging below it hanging free reads the load.
	e := s.Expected[0]
	near("reading", e.NominalN, 10000)
	// Anything within ±20 N is as likely as anything else: 95 of 100 are
	// within 19 N, but for the grain of the draws.
	for what, off := range map[string]float64{"low": e.LowN - 9981, "high": e.HighN - 10019, "joint low": e.JointLowN - 9981, "joint high": e.JointHighN - 10019} {
		if math.Abs(off) > 0.1 {
			t.Errorf("%s end of the band is off by %g N", what, off)
		}
	}
	raw := plan(t, strings.Replace(block, "zero: hung", "zero: none", 1)).States[0].Expected[0]
	near("raw reading: load and half the leg", raw.NominalN, 10050)
}

// TestHowItHangs has the pose judged: tilt, slack legs, toppling.
func TestHowItHangs(t *testing.T) {
	const two = `
plumbhook: 1
title: Two legs
limits: {tilt: 3 deg}
load:
  name: crate
  mass: 1000 kg
  cg: %CG
  lugs: {w: {at: -1 0 1 m, wll: 2 t}, e: {at: 1 0 1 m, wll: 2 t}, mid: {at: 0 0.5 1 m, wll: 2 t}}
hooks: {main: {wll: 3 t}}
legs:
  w: {from: main, to: load.w, length: 2 m, stiffness: 5 MN/m, wll: 2 t}
  e: {from: main, to: load.e, length: 2 m, stiffness: 5 MN/m, wll: 2 t}
`
	for _, c := range []struct {
		name, cg, more string
		rule           string
		outcome        verdict.Outcome
	}{
		{"level", "0 0 0.5 m", "", "", verdict.Holds},
		{"too far off level", "0.2 0 0.5 m", "", "tilt-limit", verdict.Fails},
		{"top heavy", "0 0 1.1 m", "", "unstable", verdict.Fails},
		{"a leg too long", "0 0 0.5 m", "  long: {from: main, to: load.mid, length: 2.5 m, stiffness: 5 MN/m, wll: 2 t}\n", "slack-leg", verdict.Holds},
	} {
		p := plan(t, strings.Replace(two, "%CG", c.cg, 1)+c.more)
		s := &p.States[0]
		found := c.rule == "" && len(s.Findings) == 0
		for _, f := range s.Findings {
			found = found || f.Rule == c.rule
		}
		if !found || p.Outcome != c.outcome {
			t.Errorf("%s: %s, findings %+v", c.name, p.Outcome, s.Findings)
		}
		if sorted := slices.IsSortedFunc(s.Findings, func(a, b verdict.Finding) int {
			order := []verdict.Severity{verdict.Stop, verdict.Caution, verdict.Note}
			return slices.Index(order, a.Severity) - slices.Index(order, b.Severity)
		}); !sorted {
			t.Errorf("%s: a lesser finding comes first: %+v", c.name, s.Findings)
		}
	}
}

// TestWorstStepGoverns: the plan holds only if each of its states does.
func TestWorstStepGoverns(t *testing.T) {
	p := plan(t, `
plumbhook: 1
title: A beam on two hooks, taken over by one
load:
  name: beam
  mass: 1000 kg
  cg: 0 0 0 m
  at: 0 0 0 m
  lugs: {w: {at: -1 0 0.5 m, wll: 1 t}, e: {at: 1 0 0.5 m, wll: 1 t}}
hooks: {w: {at: -1 0 3.3 m, wll: 0.55 t}, e: {at: 1 0 3.3 m, wll: 0.55 t}}
legs:
  w: {from: w, to: load.w, length: 2.8 m, stiffness: 5 MN/m, wll: 1 t}
  e: {from: e, to: load.e, length: 2.8 m, stiffness: 5 MN/m, wll: 1 t}
steps:
  - {name: raise, hooks: {w: {at: -1 0 4.2 m}}}
  - {name: level again, hooks: {e: {at: 1 0 4.2 m}}}
`)
	var outcomes []verdict.Outcome
	for _, s := range p.States {
		outcomes = append(outcomes, s.Outcome)
	}
	// At one end up by 0.9 m the beam is turned by 26.7°, and its centre of
	// gravity, 0.5 m under the lugs, moves 0.22 m toward the low end: that one
	// carries 0.5 + 0.22/1.79 = 0.63 of 1000 kg.
	if p.Outcome != verdict.Fails || !slices.Equal(outcomes, []verdict.Outcome{verdict.Holds, verdict.Fails, verdict.Holds}) {
		t.Errorf("%s of %v", p.Outcome, outcomes)
	}
}

// TestSay: a sentence gives its forces in the reader's unit, the text is metric.
func TestSay(t *testing.T) {
	p := plan(t, strings.Replace(block, "main: {wll: 20 kN}", "main: {wll: 1000 lbf}", 1))
	f := &p.States[0].Findings[0]
	// 10100 N / 4.4482216152605 N/lbf = 2270.6 lbf
	if us := f.Say(quantity.US); !strings.Contains(us, "2270.6 lbf; it is rated for 1000 lbf") {
		t.Error(us)
	}
	if metric := f.Say(quantity.Metric); metric != f.Text || !strings.Contains(f.Text, "10.1 kN; it is rated for 4.4482 kN") {
		t.Error(metric, f.Text)
	}
}
