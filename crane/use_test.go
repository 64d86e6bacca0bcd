package crane_test

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"testing"

	"plumbhook/crane"
	"plumbhook/fault"
	"plumbhook/internal/testkit"
	"plumbhook/quantity"
)

func mass(t testing.TB, text string) quantity.Measured[quantity.Mass] {
	t.Helper()
	m, err := quantity.Parse[quantity.Mass](text)
	if err != nil {
		t.Fatal(err)
	}
	return m
}

// buildUp is a lift of which every line is stated; the rest hangs below the
// hook.
func buildUp(t testing.TB, below float64) []crane.Line {
	t.Helper()
	none := func(i crane.Item) crane.Line {
		return crane.Mass(i, string(i), mass(t, "0 kg"), quantity.StandardGravity, "")
	}
	return []crane.Line{
		{Items: []crane.Item{crane.Load, crane.Beam, crane.Slings}, Name: "below the hook", N: below, From: "hung model"},
		crane.Mass(crane.MainBlock, "main block", mass(t, "350 kg"), quantity.StandardGravity, "plate on the block"),
		crane.Mass(crane.Jib, "jib, stowed", mass(t, "420 kg"), quantity.StandardGravity, "chart, page 3"),
		none(crane.AuxBlock),
		none(crane.Rope),
	}
}

func TestGross(t *testing.T) {
	g, err := crane.Total("crane.main", buildUp(t, 50_000)...)
	if err != nil {
		t.Fatal(err)
	}
	testkit.Near(t, "gross", g.N, 50_000+770*g0, testkit.Tol{ULPs: 2})
	if len(g.Unstated) != 0 || len(g.Findings) != 0 || len(g.Lines) != 5 {
		t.Errorf("%+v", g)
	}

	g, err = crane.Total("crane.main", crane.Line{Items: []crane.Item{crane.Load}, Name: "pump", N: 1000})
	if err != nil {
		t.Fatal(err)
	}
	if want := "[lifting beam slings and shackles main block auxiliary block jib hoist rope]"; fmt.Sprint(g.Unstated) != want {
		t.Errorf("unstated %v, want %s", g.Unstated, want)
	}
	one(t, g.Findings, "weight-source", crane.Note, "pump")

	for _, n := range []float64{-1, math.NaN(), math.Inf(1)} {
		_, err := crane.Total("crane.main", crane.Line{Name: "jib", N: n})
		refused(t, err, fault.Range, "crane.main", "jib")
	}
	// Local gravity moves masses, not the hook load that has it already.
	l := crane.Mass(crane.MainBlock, "block", mass(t, "1000 lb"), 9.79, "plate")
	testkit.Near(t, "block in local gravity", l.N, 453.59237*9.79, testkit.Tol{ULPs: 2})
}

// chart10 allows 10 t at 12 m.
func chart10(t testing.TB) crane.Answer {
	return parse(t, head+"12,10,9,8\n").Capacity("crane.main", length(t, "12 m"), length(t, "12 m"))
}

// judged is a lift of a share of capacity.
func judged(t testing.TB, share float64, s crane.Situation) crane.Use {
	t.Helper()
	a := chart10(t)
	g, err := crane.Total("crane.main", buildUp(t, 0)...)
	if err != nil {
		t.Fatal(err)
	}
	// One sum, so that a share of exactly a threshold is exactly that.
	g.N = share * float64(a.Capacity.Force)
	return crane.Judge("crane.main", g, a, s)
}

func TestJudge(t *testing.T) {
	line := ptr(0.4)
	for _, c := range []struct {
		name   string
		share  float64
		s      crane.Situation
		status crane.Status
		stops  string
	}{
		{"within", 0.6, crane.Situation{LineShare: line}, crane.Holds, ""},
		{"the whole chart", 1, crane.Situation{LineShare: line}, crane.Holds, ""},
		{"beyond", 1.001, crane.Situation{LineShare: line}, crane.Fails, "rated-capacity"},
		{"half, with people", 0.5, crane.Situation{People: true, LineShare: line}, crane.Holds, ""},
		{"more than half, with people", 0.51, crane.Situation{People: true, LineShare: line}, crane.Holds, "people-half-capacity"},
		{"rope overloaded", 0.6, crane.Situation{LineShare: ptr(1.1)}, crane.Holds, "line-pull"},
		{"dynamic beside", 0.95, crane.Situation{Dynamic: &crane.Factor{Value: 1.1}, LineShare: line}, crane.Holds, ""},
		{"dynamic asked for", 0.95, crane.Situation{Dynamic: &crane.Factor{Value: 1.1}, OnChart: true, LineShare: line}, crane.Fails, "rated-capacity"},
	} {
		u := judged(t, c.share, c.s)
		var stops []string
		for _, f := range u.Findings {
			if f.Severity == crane.Stop {
				stops = append(stops, f.Rule)
			}
			if f.Source == "" || f.Standing == "" || f.Where != "crane.main" || f.Text == "" {
				t.Errorf("%s: finding %+v", c.name, f)
			}
		}
		if u.Status != c.status || strings.Join(stops, " ") != c.stops {
			t.Errorf("%s: %s, stops %v; want %s, %q", c.name, u.Status, stops, c.status, c.stops)
		}
		testkit.Near(t, c.name, *u.Share, c.share, testkit.Tol{ULPs: 2})
		if len(u.NotAssessed) != 0 {
			t.Errorf("%s: not assessed %v", c.name, u.NotAssessed)
		}
	}
}

func TestDynamicIsShownBesideTheChart(t *testing.T) {
	s := crane.Situation{Dynamic: &crane.Factor{Value: 1.25}}
	u := judged(t, 0.6, s)
	if *u.Share != 0.6 || *u.Dynamic != 0.75 {
		t.Errorf("static %v, dynamic %v", *u.Share, *u.Dynamic)
	}
	f := one(t, u.Findings, "chart-dynamic", crane.Note, "75.0 %", "60.0 %", "not again here")
	if f.Standing != crane.CommonPractice {
		t.Errorf("standing %s", f.Standing)
	}
	// Past the chart with the factor: told louder, though the chart holds.
	one(t, judged(t, 0.9, s).Findings, "chart-dynamic", crane.Caution, "112.5 %")
	s.OnChart = true
	u = judged(t, 0.9, s)
	one(t, u.Findings, "chart-dynamic", crane.Note, "as the plan asks", "112.5 %")
	one(t, u.Findings, "rated-capacity", crane.Stop, "112.5 %", "10 t", "98.067 kN")
	s.Dynamic = &crane.Factor{Value: math.NaN()}
	if u := judged(t, 0.6, s); u.Status != crane.Fails {
		t.Errorf("a factor that is no number %s", u.Status)
	}
	if u := judged(t, 0.6, crane.Situation{}); u.Dynamic != nil {
		t.Error("a dynamic share without a factor")
	}
}

func TestNotAssessed(t *testing.T) {
	g, err := crane.Total("crane.main", crane.Line{Items: []crane.Item{crane.Load}, N: 10_000, Name: "pump", From: "plate"})
	if err != nil {
		t.Fatal(err)
	}
	u := crane.Judge("crane.main", g, chart10(t), crane.Situation{})
	if u.Status != crane.NotAssessed {
		t.Errorf("a load without block, jib and rope %s", u.Status)
	}
	if s := strings.Join(u.NotAssessed, "\n"); !strings.Contains(s, "main block") || !strings.Contains(s, "hoist rope") || !strings.Contains(s, "largest permissible pull") {
		t.Errorf("not assessed: %s", s)
	}
	// Too heavy already: what is missing cannot mend it.
	g.N = 100_000
	if u := crane.Judge("crane.main", g, chart10(t), crane.Situation{}); u.Status != crane.Fails {
		t.Errorf("an overload with lines missing %s", u.Status)
	}
	none := parse(t, head+"12,10,9,8\n").Capacity("crane.main", length(t, "13 m"), length(t, "12 m"))
	u = crane.Judge("crane.main", g, none, crane.Situation{Dynamic: &crane.Factor{Value: 1.1}})
	if u.Status != crane.Fails || u.CapacityN != nil || u.Share != nil || u.Dynamic != nil {
		t.Errorf("outside the chart: %+v", u)
	}
	one(t, u.Findings, "chart-capacity", crane.Stop, "no capacity")
}

// Every condition of testdata/authority-rules.csv stands in Rules as it does
// there, and Rules holds nothing else but the crane's own line pull.
func TestRulesAgainstTheirSources(t *testing.T) {
	num := func(s string) float64 {
		if s == "" {
			return 0
		}
		v, err := strconv.ParseFloat(s, 64)
		if err != nil {
			t.Fatal(err)
		}
		return v
	}
	left := map[string]int{}
	for _, r := range crane.Rules {
		if r.Name != "line-pull" {
			left[r.Name] = len(r.Cases)
		}
	}
	for _, row := range table(t, "authority-rules.csv") {
		want := crane.Case{
			Share: num(row["above"]) + num(row["at"]), Reached: row["at"] != "", OfLine: row["of"] == "line pull",
			Cranes: int(num(row["cranes"])), People: row["people"] == "yes", Floating: row["floating"] == "yes",
			Travelling: row["travelling"] == "yes", Beyond: num(row["beyond radius share"]),
		}
		ok := false
		for _, r := range crane.Rules {
			for _, c := range r.Cases {
				ok = ok || r.Name == row["rule"] && c == want && string(r.Standing) == row["standing"]
			}
		}
		if !ok {
			t.Errorf("no rule holds %+v", row)
		}
		left[row["rule"]]--
	}
	for name, n := range left {
		if n != 0 {
			t.Errorf("%s has %d cases without a source", name, n)
		}
	}
}

// Each rule speaks past its threshold and not before.
func TestRuleThresholds(t *testing.T) {
	both := func(s crane.Situation) crane.Situation {
		s.LineShare, s.RadiusShare = ptr(0.0), ptr(0.0)
		return s
	}
	lone := both(crane.Situation{})
	for _, c := range []struct {
		rule         string
		silent, said float64
		s            crane.Situation
	}{
		{"rated-capacity", 1, 1.0001, lone},
		{"people-half-capacity", 0.5, 0.5001, both(crane.Situation{People: true})},
		{"verify-weight", 0.75, 0.7501, lone},
		{"critical-us-steel-erection", 0.75, 0.7501, lone},
		{"critical-us-army-engineers-form", 0.75, 0.7501, lone},
		{"critical-new-zealand", 0.7499, 0.75, lone},
		{"complex-us-navy", 0.8, 0.8001, lone},
		{"complex-us-navy", 0.5, 0.5001, both(crane.Situation{Floating: true})},
		{"critical-british-columbia", 0.9, 0.9001, both(crane.Situation{Floating: true})},
		{"critical-british-columbia", 0.75, 0.7501, both(crane.Situation{Cranes: 2})},
		{"critical-british-columbia", 0.9, 0.9001, crane.Situation{RadiusShare: ptr(0.51)}},
		{"critical-british-columbia", 0.9, 0.9001, crane.Situation{}}, // radius not known: the loud side
	} {
		for share, want := range map[float64]int{c.silent: 0, c.said: 1} {
			if got := len(found(judged(t, share, c.s).Findings, c.rule)); got != want {
				t.Errorf("%s at %v of capacity, %+v: %d findings, want %d", c.rule, share, c.s, got, want)
			}
		}
	}
	if n := len(found(judged(t, 0.95, crane.Situation{RadiusShare: ptr(0.5)}).Findings, "critical-british-columbia")); n != 0 {
		t.Error("95 % at half the largest radius is critical in British Columbia")
	}
	f := one(t, judged(t, 0.95, crane.Situation{}).Findings, "critical-british-columbia", crane.Note, "radius is not known")
	testkit.Near(t, "demand", *f.Demand, 0.95, testkit.Tol{ULPs: 2})
	if *f.Limit != 0.9 || f.Unit != "1" {
		t.Errorf("%+v", f)
	}

	for share, want := range map[float64]int{0.89: 0, 0.9: 1} {
		u := judged(t, 0.3, crane.Situation{LineShare: &share})
		if got := len(found(u.Findings, "brake-test")); got != want {
			t.Errorf("brake test at %v of the line pull: %d", share, got)
		}
	}

	joint := map[int]string{
		1: "",
		2: "critical-us-steel-erection critical-us-army-engineers-form critical-us-army-engineers-manual critical-new-zealand" +
			" several-cranes-directed several-cranes-indicators several-cranes-army",
		3: "critical-us-steel-erection critical-us-army-engineers-form critical-us-army-engineers-manual critical-british-columbia critical-new-zealand" +
			" several-cranes-directed several-cranes-indicators several-cranes-army three-cranes-study",
	}
	for n, want := range joint {
		var got []string
		for _, f := range judged(t, 0.3, crane.Situation{Cranes: n}).Findings {
			got = append(got, f.Rule)
		}
		if strings.Join(got, " ") != want {
			t.Errorf("%d cranes: %v, want %s", n, got, want)
		}
	}
	one(t, judged(t, 0.3, crane.Situation{Cranes: 2, Travelling: true}).Findings, "several-cranes-travelling", crane.Caution, "out of plumb")
	for _, f := range judged(t, 0.3, crane.Situation{People: true}).Findings {
		if !strings.HasPrefix(f.Rule, "c") || !strings.Contains(f.Text, "people are hoisted") {
			t.Errorf("people at 30 %%: %+v", f)
		}
	}
}

// What is from memory never stops a lift by itself.
func TestRulesFromMemoryAreNotes(t *testing.T) {
	for _, r := range crane.Rules {
		if r.Standing == crane.FromMemory && r.Severity != crane.Note {
			t.Errorf("%s is from memory and a %s", r.Name, r.Severity)
		}
	}
}
