package rulebook

import (
	"os"
	"strings"
	"testing"
	"testing/fstest"

	"plumbhook/fault"
	"plumbhook/lift"
)

const siteHead = "site_rules: 1\nfirm: Kestrel Point waterworks\nrules:\n"

func rule(each, condition, cases string) string {
	return "  - {name: r, each: " + each + ", if: '" + condition + "', severity: caution, says: look at it, source: standard 1, cases: [" + cases + "]}\n"
}

// withRules prepares a lift with a file of site rules.
func withRules(t *testing.T, p plan, rules string) (Case, error) {
	t.Helper()
	p.top += "\nrules: r.yaml"
	l, err := lift.Read("test.yaml", fstest.MapFS{"r.yaml": {Data: []byte(siteHead + rules)}}, []byte(p.text()))
	if err != nil {
		return Case{}, err
	}
	c, err := Prepare(l)
	if err == nil {
		p.top = strings.Replace(p.top, "rules: r.yaml", "", 1)
		h := hung(t, p.text())
		c.Hung, c.P95 = h.Hung, h.P95
	}
	return c, err
}

const both = "{given: {slack: true}, finds: true}, {given: {slack: false}, finds: false}"

// TestSiteRulesRefused: a rule with a mistake, or with a case that turns out
// otherwise, refuses the lift, at its place.
func TestSiteRulesRefused(t *testing.T) {
	for name, c := range map[string]struct {
		rules string
		code  fault.Code
		where string
	}{
		"unknown name":     {rule("leg", "slak", both), fault.Syntax, "rules[1].if"},
		"name of another":  {rule("hook", "slack", both), fault.Syntax, "rules[1].if"},
		"not a condition":  {rule("leg", "tension_N + 1", both), fault.Syntax, "rules[1].if"},
		"kinds mixed":      {rule("leg", "name > 3", both), fault.Syntax, "rules[1].if"},
		"broken":           {rule("leg", "slack and", both), fault.Syntax, "rules[1].if"},
		"a range":          {rule("leg", "1 in 1..1000000000", both), fault.Unsupported, "rules[1].if"},
		"a pattern":        {rule("leg", "name matches \"(a+)+$\"", both), fault.Unsupported, "rules[1].if"},
		"a loop":           {rule("leg", "all([1, 2], # > 0)", both), fault.Unsupported, "rules[1].if"},
		"a map":            {rule("leg", "{\"a\": 1} == {\"a\": 1}", both), fault.Unsupported, "rules[1].if"},
		"a member":         {rule("leg", "name.x == 1", both), fault.Unsupported, "rules[1].if"},
		"a variable":       {rule("leg", "let a = slack; a", both), fault.Unsupported, "rules[1].if"},
		"a power":          {rule("leg", "2 ** 3 > 1", both), fault.Unsupported, "rules[1].if"},
		"dividing by zero": {rule("leg", "1 / tension_N > 1", both), fault.Unsupported, "rules[1].if"},
		"too many nodes":   {rule("leg", strings.Repeat("slack or ", 51)+"slack", both), fault.Syntax, "rules[1].if"},
		"too long":         {rule("leg", "name == \""+strings.Repeat("x", 600)+"\"", both), fault.TooLarge, "rules[1].if"},
		"a wrong case":     {rule("leg", "slack", "{given: {slack: true}, finds: false}, {given: {slack: false}, finds: true}"), fault.Disagree, "rules[1].cases[1]"},
		"a case too few":   {rule("leg", "slack", "{given: {slack: true}, finds: true}"), fault.Missing, "rules[1].cases"},
		"a case too thin":  {rule("leg", "slack and tension_N < 5", both), fault.Missing, "rules[1].cases[1]"},
		"a case of what":   {rule("leg", "slack", "{given: {slack: true, weight: 3}, finds: true}, {given: {slack: false}, finds: false}"), fault.Reference, "rules[1].cases[1]"},
		"a unit in a case": {rule("leg", "tension_N > 5", "{given: {tension_N: 6 N}, finds: true}, {given: {tension_N: 5}, finds: false}"), fault.Type, "rules[1].cases[1]"},
		"twice":            {rule("leg", "slack", both) + rule("leg", "slack", both), fault.Duplicate, "rules[2]"},
	} {
		_, err := withRules(t, plan{}, c.rules)
		if err == nil {
			t.Errorf("%s: accepted", name)
			continue
		}
		f := fault.Of(err)[0]
		if f.Code != c.code || f.Where != c.where || f.Pos.File != "r.yaml" {
			t.Errorf("%s: %s at %s, %v; want %s at %s", name, f.Code, f.Where, f, c.code, c.where)
		}
	}
}

// TestSiteRules: findings are added at every thing a rule looks at, what is not
// known is asked for, and nothing else changes.
func TestSiteRules(t *testing.T) {
	p := plan{site: "wind: 9 m/s", westLeg: "length: 2 m, wll: 20 kN", eastLeg: "length: 2 m"}
	cases := func(given, not string) string {
		return "{given: {" + given + "}, finds: true}, {given: {" + not + "}, finds: false}"
	}
	for _, c := range []struct{ rule, where, want string }{
		{rule("leg", "from_horizontal_deg > 59.9 and max(p95_N, 1) > 11e3", cases("from_horizontal_deg: 60, p95_N: 12e3", "from_horizontal_deg: 60, p95_N: 10e3")), "legs.east", "caution"},
		{rule("leg", "utilisation > 0.5", cases("utilisation: 0.6", "utilisation: 0.5")), "legs.west", "caution"}, // 11.32 kN of 20 kN
		{rule("leg", "utilisation > 0.6", cases("utilisation: 0.7", "utilisation: 0.5")), "legs.west", "holds"},
		{rule("leg", "utilisation > 0.5", cases("utilisation: 0.6", "utilisation: 0.5")), "legs.east", "open"}, // it has no rating
		{rule("lift", "wind_m_s * 2 - 1 > 16", cases("wind_m_s: 9", "wind_m_s: 7")), "lift", "caution"},
		{rule("lift", "hottest_degC > 40", cases("hottest_degC: 41", "hottest_degC: 40")), "lift", "open"},
		{rule("hook", "utilisation in [0.1, 0.2] ? true : name startsWith \"ma\"", cases("utilisation: 0.1, name: a", "utilisation: 0.3, name: a")), "hooks.main", "caution"},
	} {
		k, err := withRules(t, p, c.rule)
		if err != nil {
			t.Errorf("%s: %v", c.rule, err)
			continue
		}
		for _, book := range []string{"us", "eu", ""} {
			if got := outcome(Check(book, k), "site: r", c.where); got != c.want {
				t.Errorf("%s: %s of %s, want %s", c.rule, got, c.where, c.want)
			}
		}
		without := k
		without.rules = nil
		if a, b := Check("us", without), Check("us", k); len(b.Findings) < len(a.Findings) || len(b.Open) < len(a.Open) {
			t.Errorf("%s took something away", c.rule)
		}
	}
}

// TestDemoSiteRules: the rules among the examples are good, and the demo lift
// with them finds what they say.
func TestDemoSiteRules(t *testing.T) {
	data, err := os.ReadFile("../examples/pump-motor.yaml")
	if err != nil {
		t.Fatal(err)
	}
	text := strings.Replace(string(data), "\nload:", "\nrules: rules/site-rules.yaml\nload:", 1)
	r := Check("", hung(t, text))
	if got := outcome(r, "site: wind at the intake", "lift"); got != "stop" {
		t.Errorf("9 m/s of wind: %s", got)
	}
	if got := outcome(r, "site: flat legs", "legs.west"); got != "holds" {
		t.Errorf("a leg at 76°: %s", got)
	}
}

// FuzzCondition: whatever the condition, it is refused or answers.
func FuzzCondition(f *testing.F) {
	for _, s := range []string{"slack", "tension_N > 5 and not slack", "name in [\"a\"]", "1..9", "all(1..9, true)", "a.b", "-(-1) == 1", "abs(min(1, 2)) > max(3, 4)"} {
		f.Add(s)
	}
	v := values{}
	for name, x := range environment("leg") {
		v[name] = x
	}
	f.Fuzz(func(t *testing.T, s string) {
		r, bad := ready(&lift.SiteRule{Each: "leg", If: s})
		if bad != nil {
			return
		}
		if _, missing, err := r.holds(v); missing != nil {
			t.Errorf("%v are missing of everything: %v", missing, err)
		}
	})
}
