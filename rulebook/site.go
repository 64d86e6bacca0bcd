package rulebook

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"github.com/expr-lang/expr"
	"github.com/expr-lang/expr/ast"
	"github.com/expr-lang/expr/file"
	"github.com/expr-lang/expr/vm"

	"plumbhook/fault"
	"plumbhook/lift"
)

// A firm's rules are expressions over the names below. What an expression may
// hold is a short list (allowed), none of which loops or grows, so that it is
// done in as many steps as it has nodes; and of those there are few.
const (
	maxNodes = 100
	maxIf    = 500 // bytes
)

// names are the values that a rule may use, by what it looks at, with their
// kind. Those of the lift are there for every rule. A unit stands in the name.
var names = map[string]map[string]any{
	"lift": {
		"rulebook": "", "step": "", "stable": false, "legs": 0.0, "weight_N": 0.0, "total_p95_N": 0.0, "dynamic_factor": 0.0,
		"tilt_deg": 0.0, "headroom_m": 0.0, "wind_m_s": 0.0, "coldest_degC": 0.0, "hottest_degC": 0.0,
	},
	"leg": {
		"name": "", "from": "", "to": "", "hitch": "", "edges": "", "slack": false, "tension_N": 0.0, "p95_N": 0.0, "dynamic_N": 0.0,
		"worst_N": 0.0, "wll_N": 0.0, "utilisation": 0.0, "from_horizontal_deg": 0.0, "from_vertical_deg": 0.0, "length_m": 0.0,
	},
	"part": {
		"leg": "", "kind": "", "serial": "", "material": "", "grade": "", "tag": "", "demand_N": 0.0, "wll_N": 0.0, "utilisation": 0.0, "diameter_mm": 0.0,
	},
	"hook": {
		"name": "", "p95_N": 0.0, "dynamic_N": 0.0, "wll_N": 0.0, "utilisation": 0.0,
	},
}

// values are those of one thing. What is not known is not there.
type values map[string]any

// siteRule is a rule ready to run.
type siteRule struct {
	*lift.SiteRule
	program *vm.Program
	uses    []string // names, sorted
}

// compile makes rules ready and runs their cases. A rule with a mistake, or
// with a case that turns out otherwise, is a fault.
func compile(s *lift.SiteRules) ([]siteRule, fault.List) {
	var all []siteRule
	var bad fault.List
	seen := map[string]bool{}
	for i := range s.Rules {
		r := &s.Rules[i]
		where := fmt.Sprintf("rules[%d]", i+1)
		if seen[r.Name] {
			bad = append(bad, fault.New(fault.Duplicate, "a rule before this one is called %q too", r.Name).In(where).At(r.Pos).Fix("give each rule its own name"))
		}
		seen[r.Name] = true
		ready, f := ready(r)
		if f != nil {
			bad = append(bad, f.In(where+".if").At(r.IfPos))
			continue
		}
		bad = append(bad, ready.try(where)...)
		all = append(all, *ready)
	}
	return all, bad
}

// environment gives the names a rule may use, with an example of each kind.
func environment(each string) map[string]any {
	env := map[string]any{}
	for _, of := range []string{"lift", each} {
		for name, v := range names[of] {
			env[name] = v
		}
	}
	return env
}

func ready(r *lift.SiteRule) (*siteRule, *fault.Fault) {
	if len(r.If) > maxIf {
		return nil, fault.New(fault.TooLarge, "the condition has %d bytes", len(r.If)).Fix("keep it below %d: split the rule", maxIf)
	}
	env := environment(r.Each)
	a := &allowed{env: env}
	program, err := expr.Compile(r.If, expr.Env(env), expr.AsBool(), expr.MaxNodes(maxNodes), expr.Optimize(false),
		expr.DisableAllBuiltins(), expr.EnableBuiltin("abs"), expr.EnableBuiltin("min"), expr.EnableBuiltin("max"), expr.Patch(a))
	switch {
	case len(a.refused) > 0:
		return nil, fault.New(fault.Unsupported, "%s has no place in a site rule", a.refused[0]).
			Fix("write comparisons of names and numbers, joined by and, or, not; + - * /; abs, min, max; in [...]; contains, startsWith, endsWith")
	case err != nil:
		what := err.Error()
		if e, ok := err.(*file.Error); ok {
			what = fmt.Sprintf("%s at character %d", e.Message, e.Column+1)
		}
		what, _, _ = strings.Cut(what, "\n")
		return nil, fault.New(fault.Syntax, "the condition cannot be read: %s", what).Fix("for %s the names are %s", r.Each, strings.Join(sorted(env), ", "))
	}
	slices.Sort(a.uses)
	return &siteRule{r, program, slices.Compact(a.uses)}, nil
}

func sorted(env map[string]any) []string {
	var all []string
	for name := range env {
		all = append(all, name)
	}
	slices.Sort(all)
	return all
}

// allowed visits an expression, gathers the names it uses and what it may not
// hold: whatever could loop, grow, reach into values or make new ones.
type allowed struct {
	env     map[string]any
	uses    []string
	refused []string
}

var operators = []string{"and", "&&", "or", "||", "==", "!=", "<", "<=", ">", ">=", "+", "-", "*", "/", "in", "contains", "startsWith", "endsWith"}

// Visit is called for each node by the compiler.
func (a *allowed) Visit(node *ast.Node) {
	switch n := (*node).(type) {
	case *ast.IdentifierNode:
		if _, ok := a.env[n.Value]; ok {
			a.uses = append(a.uses, n.Value)
		}
	case *ast.BinaryNode:
		if !slices.Contains(operators, n.Operator) {
			a.refused = append(a.refused, "the operator "+n.Operator)
		}
		if n.Operator == "/" && !isNumber(n.Right) {
			a.refused = append(a.refused, "dividing by what may be zero (multiply the other side instead)")
		}
	case *ast.IntegerNode, *ast.FloatNode, *ast.BoolNode, *ast.StringNode, *ast.ConstantNode, *ast.UnaryNode, *ast.ArrayNode, *ast.ConditionalNode, *ast.BuiltinNode:
	default:
		a.refused = append(a.refused, fmt.Sprintf("%q", (*node).String()))
	}
}

func isNumber(n ast.Node) bool {
	switch n.(type) {
	case *ast.IntegerNode, *ast.FloatNode:
		return n.String() != "0"
	}
	return false
}

// holds answers for one thing; missing names what is not known of it.
func (r *siteRule) holds(v values) (finds bool, missing []string, err error) {
	for _, name := range r.uses {
		if _, ok := v[name]; !ok {
			missing = append(missing, name)
		}
	}
	if missing != nil {
		return false, missing, nil
	}
	out, err := expr.Run(r.program, map[string]any(v))
	if err != nil {
		return false, nil, err
	}
	return out.(bool), nil, nil
}

// try runs the cases of a rule.
func (r *siteRule) try(where string) fault.List {
	var bad fault.List
	outcomes := map[bool]bool{}
	env := environment(r.Each)
	for i := range r.Cases {
		c := &r.Cases[i]
		outcomes[c.Finds] = true
		v := values{}
		complain := func(code fault.Code, format string, args ...any) *fault.Fault {
			f := fault.New(code, format, args...).In(fmt.Sprintf("%s.cases[%d]", where, i+1)).At(c.Pos)
			bad = append(bad, f)
			return f
		}
		before := len(bad)
		for name, text := range c.Given {
			like, ok := env[name]
			if !ok {
				complain(fault.Reference, "a rule on each %s knows no %s", r.Each, name).Fix("the names are %s", strings.Join(sorted(env), ", "))
				continue
			}
			value, err := as(like, text)
			if err != nil {
				complain(fault.Type, "%s is %q, where %s is due", name, text, map[bool]string{true: "true or false", false: "a plain number"}[like == false])
				continue
			}
			v[name] = value
		}
		if len(bad) > before {
			continue
		}
		finds, missing, err := r.holds(v)
		switch {
		case err != nil:
			complain(fault.Type, "the condition cannot be worked out").Because(err)
		case missing != nil:
			complain(fault.Missing, "the case does not give %s", list(missing)).Fix("give every name that the condition uses")
		case finds != c.Finds:
			complain(fault.Disagree, "the case says finds: %v, and the rule says %v", c.Finds, finds).Fix("correct the one that is wrong")
		}
	}
	if !outcomes[true] || !outcomes[false] {
		bad = append(bad, fault.New(fault.Missing, "the cases do not show the rule both ways").In(where+".cases").At(r.Pos).Fix("give one case at least with finds: true and one with finds: false"))
	}
	return bad
}

// as reads a text as the kind of an example.
func as(like any, text string) (any, error) {
	switch like.(type) {
	case float64:
		return strconv.ParseFloat(text, 64)
	case bool:
		return strconv.ParseBool(text)
	}
	return text, nil
}

// site runs the firm's rules over the lift. They add findings only.
func (k *check) site() {
	if len(k.rules) == 0 {
		return
	}
	things := k.things()
	for i := range k.rules {
		r := &k.rules[i]
		head := &Rule{Name: "site: " + r.Name, Clause: k.Lift.Rules.File + ", " + r.Source, Standing: Stated}
		if firm := k.Lift.Rules.Firm; firm != "" {
			head.Clause = firm + ", " + r.Source
		}
		for _, t := range things[r.Each] {
			finds, missing, err := r.holds(t.values)
			switch {
			case err != nil:
				k.open(head, t.where, "the condition cannot be worked out: %v", err)
			case missing != nil:
				k.open(head, t.where, "%s: not known", list(missing))
			case finds:
				k.say(head, Severity(r.Severity), t.where, "%s", r.Says)
			default:
				k.say(head, None, t.where, "%s: not the case", r.Says)
			}
		}
	}
}

// thing is something a site rule looks at.
type thing struct {
	where string
	values
}

// things gathers all there is, by kind.
func (k *check) things() map[string][]thing {
	h, l := k.Hung, k.Lift
	common := values{
		"rulebook": l.Rulebook, "step": h.Step, "stable": h.Stable, "legs": float64(len(l.Legs)), "weight_N": h.WeightN, "tilt_deg": deg(h.Bodies[0].Tilt),
		"headroom_m": h.HeadroomM, "dynamic_factor": 1.0,
	}
	factor := 1.0
	if k.Factor != nil {
		factor = k.Factor.Value
		common["dynamic_factor"] = factor
	}
	if w := l.Site.Wind; w != nil {
		common["wind_m_s"] = float64(w.High)
	}
	if t := l.Site.Temperature; t != nil {
		common["coldest_degC"], common["hottest_degC"] = float64(t.Low)-273.15, float64(t.High)-273.15
	}
	all := map[string][]thing{}
	total := 0.0
	add := func(kind, where string, v values) {
		for name, x := range v {
			if f, ok := x.(float64); x == "" || ok && math.IsNaN(f) {
				delete(v, name)
			}
		}
		all[kind] = append(all[kind], thing{where, v})
	}
	rated := func(v values, n float64, rating *float64) {
		if rating != nil {
			v["wll_N"], v["utilisation"] = *rating, n*k.OnRatings / *rating
		}
	}
	for i := range h.Hooks {
		where := "hooks." + h.Hooks[i].Name
		n := k.P95[where]
		total += n
		v := values{"name": h.Hooks[i].Name, "p95_N": n, "dynamic_N": n * factor}
		if w := l.Hooks[i].WLL; w != nil {
			f := float64(w.Force)
			rated(v, n, &f)
		}
		add("hook", where, v)
	}
	common["total_p95_N"] = total
	for i := range h.Legs {
		g, leg := &h.Legs[i], &l.Legs[i]
		where := "legs." + g.Name
		n := k.P95[where]
		v := values{
			"name": g.Name, "from": leg.From.String(), "to": leg.To.String(), "hitch": string(leg.Hitch), "edges": string(leg.Edges), "slack": g.Slack,
			"tension_N": g.TensionN, "p95_N": n, "dynamic_N": n * factor, "from_horizontal_deg": deg(g.FromHorizontal), "from_vertical_deg": deg(g.FromVertical), "length_m": g.LengthM,
		}
		if g.WorstN != nil {
			v["worst_N"] = *g.WorstN
		}
		rated(v, n, g.WLLN)
		add("leg", where, v)
		for _, p := range k.pieces(i) {
			v := values{"leg": g.Name, "demand_N": n * k.OnRatings, "material": p.material()}
			rated(v, n, k.rating(&p))
			if p.part != nil {
				tag := p.part.Tag
				if tag == "" {
					tag = leg.Tag
				}
				v["kind"], v["serial"], v["grade"], v["tag"] = p.part.Kind, p.part.Serial, p.part.Facts["grade"], string(tag)
				if p.gear != nil && p.gear.Body != nil {
					v["diameter_mm"] = float64(p.gear.Body.Value) * 1000
				}
				add("part", p.where, v)
			}
		}
	}
	add("lift", "lift", values{})
	for kind := range all {
		for _, t := range all[kind] {
			for name, x := range common {
				if _, own := t.values[name]; !own {
					t.values[name] = x
				}
			}
		}
	}
	return all
}
