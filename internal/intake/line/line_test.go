package line_test

import (
	"math"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"plumbhook/fault"
	"plumbhook/internal/intake/line"
)

func TestRead(t *testing.T) {
	marks := line.Spec{Steady: []string{"ST", "S"}, Unsteady: []string{"US", "U"}, Overload: []string{"OL", "+OVER"}}
	all := marks
	all.Template = "{stable},{channel},{value} {unit}"
	over := line.Spec{Template: "{overload}{value} {unit}", Overload: []string{"OL"}}
	for _, c := range []struct {
		name string
		spec line.Spec
		text string
		want line.Item
		err  fault.Code
	}{
		{name: "all fields", spec: all, text: "ST,A1,+  12.34 kN", want: line.Item{Channel: "A1", Value: 12.34, Unit: "kN"}},
		{name: "blanks are free", spec: all, text: "  US,A1, -.5kN  ", want: line.Item{Channel: "A1", Value: -0.5, Unit: "kN", Unsteady: true}},
		{name: "overload in place of the value", spec: all, text: "ST,A1,OL kN", want: line.Item{Channel: "A1", Unit: "kN", Bad: true}},
		{name: "overload with a sign", spec: all, text: "ST,A1,+OVER", want: line.Item{Channel: "A1", Bad: true}},
		{name: "dashes", spec: all, text: "ST,A1,------ kN", want: line.Item{Channel: "A1", Unit: "kN", Bad: true}},
		{name: "blank", spec: all, text: "ST,A1,       kN", want: line.Item{Channel: "A1", Unit: "kN", Bad: true}},
		{name: "no unit", spec: all, text: "ST,A1,12.34", err: fault.NoUnit},
		{name: "decimal comma", spec: all, text: "ST,A1,12,34 kN", err: fault.Syntax},
		{name: "grouped", spec: all, text: "ST,A1,1 234 kN", err: fault.Syntax},
		{name: "unknown mark", spec: all, text: "XX,A1,12 kN", err: fault.Syntax},
		{name: "cut short", spec: all, text: "ST,A1", err: fault.Syntax},
		{name: "two points", spec: all, text: "ST,A1,1.2.3 kN", err: fault.Syntax},
		{name: "too large", spec: all, text: "ST,A1,1e999 kN", err: fault.Range},
		{name: "overload field", spec: over, text: "OL 12 t", want: line.Item{Unit: "t", Bad: true}},
		{name: "overload field empty", spec: over, text: "12 t", want: line.Item{Unit: "t", Value: 12}},
		{name: "passed over", spec: line.Spec{Template: "{any};{value};{unit}"}, text: "17 gross;12;t", want: line.Item{Unit: "t", Value: 12}},
		{
			name: "regexp", spec: line.Spec{Regexp: `(?P<channel>\d)=(?P<value>[-+\d.,]*)(?P<unit>kg|t)?(?P<stable>[*?])`, Steady: []string{"*"}, Unsteady: []string{"?"}},
			text: "3=12.5kg?", want: line.Item{Channel: "3", Value: 12.5, Unit: "kg", Unsteady: true},
		},
		{name: "regexp lets a comma through", spec: line.Spec{Regexp: `(?P<value>.*)`}, text: "12,5", err: fault.Syntax},
		{name: "regexp lets words through", spec: line.Spec{Regexp: `(?P<value>.*)`}, text: "nan", err: fault.Syntax},
		{name: "regexp matches the whole line", spec: line.Spec{Regexp: `(?P<value>\d+)`}, text: "12 x", err: fault.Syntax},
	} {
		t.Run(c.name, func(t *testing.T) {
			p, err := line.Compile(c.spec)
			if err != nil {
				t.Fatal(err)
			}
			got, err := p.Read(c.text)
			if c.err != "" {
				if err == nil || fault.Of(err)[0].Code != c.err {
					t.Fatalf("%+v, %v; want the fault %s", got, err, c.err)
				}
				return
			}
			if err != nil {
				t.Fatal(err)
			}
			if got.Bad {
				if !math.IsNaN(got.Value) {
					t.Errorf("a bad value of %g", got.Value)
				}
				got.Value = 0
			}
			if got != c.want {
				t.Errorf("%+v, want %+v", got, c.want)
			}
		})
	}
}

func TestCompileRefuses(t *testing.T) {
	for _, c := range []struct {
		spec line.Spec
		want string
	}{
		{line.Spec{}, "needs a pattern or a regexp"},
		{line.Spec{Template: "{value}", Regexp: "x"}, "needs a pattern or a regexp"},
		{line.Spec{Template: "{weight}"}, "no field `weight`"},
		{line.Spec{Template: "{unit}"}, "no field value"},
		{line.Spec{Template: "{value"}, "brace"},
		{line.Spec{Template: "{value}{value}"}, "twice"},
		{line.Spec{Template: "{stable}{value}"}, "what may stand there is not given"},
		{line.Spec{Template: "{overload}{value}"}, "what may stand there is not given"},
		{line.Spec{Template: "{value}", Steady: []string{"S"}}, "no field stable"},
		{line.Spec{Template: "{stable}{value}", Steady: []string{"S"}, Unsteady: []string{"S"}}, "means steady and something else"},
		{line.Spec{Regexp: "(?P<value>"}, "cannot be read"},
		{line.Spec{Regexp: "(?P<value>x)(?P<gross>y)"}, "no field `gross`"},
		{line.Spec{Template: "{value}" + strings.Repeat("x", 600)}, "more than"},
	} {
		if _, err := line.Compile(c.spec); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%+v: %v, want %q", c.spec, err, c.want)
		}
	}
}

// split feeds data in pieces of the given sizes.
func split(ending line.Ending, data string, pieces ...int) (good, bad []string) {
	s := line.Splitter{Ending: ending}
	keep := func(to *[]string) func(string) { return func(l string) { *to = append(*to, l) } }
	for _, n := range append(pieces, len(data)) {
		n = min(n, len(data))
		s.Feed([]byte(data[:n]), keep(&good), keep(&bad))
		data = data[n:]
	}
	return good, bad
}

func TestSplit(t *testing.T) {
	long := strings.Repeat("9", 300)
	for _, c := range []struct {
		name      string
		ending    line.Ending
		data      string
		good, bad string // joined by |
	}{
		{"the first is cut", line.Break, "5 kN\r\n12 kN\r\n", "12 kN", ""},
		{"cr, lf, both", line.Break, "\n1\r2\n3\r\n4\n\n", "1|2|3|4", ""},
		{"unended", line.Break, "\n1\n2", "1", ""},
		{"too long", line.Break, "\n" + long + "\n7\n", "7", long[:256]},
		{"framed", line.Framed, "\x021\x03\r\n\x022\x03", "1|2", ""},
		{"a frame without end", line.Framed, "\x021\x022\x03", "2", "1"},
		{"an end without frame", line.Framed, "5 kN\x03\x022\x03", "2", "5 kN"},
		{"noise between frames", line.Framed, "\x021\x03zzz\x022\x03", "1|2", "zzz"},
		{"too long a frame", line.Framed, "\x02" + long + "\x03\x022\x03", "2", long[:256]},
	} {
		for _, pieces := range [][]int{nil, {1, 1, 1, 1, 1, 1}, {3, 4}} {
			good, bad := split(c.ending, c.data, pieces...)
			if strings.Join(good, "|") != c.good || strings.Join(bad, "|") != c.bad {
				t.Errorf("%s in pieces %v: good %q, bad %q", c.name, pieces, good, bad)
			}
		}
	}
}

// After any noise the splitter finds its feet at the next line.
func TestSplitRecovers(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		noise := string(rapid.SliceOf(rapid.Byte()).Draw(t, "noise"))
		good, _ := split(line.Break, noise+"\r\n12 kN\r\n")
		if len(good) == 0 || good[len(good)-1] != "12 kN" {
			t.Fatalf("lines %q", good)
		}
		good, _ = split(line.Framed, noise+"\x0212 kN\x03")
		if len(good) == 0 || good[len(good)-1] != "12 kN" {
			t.Fatalf("frames %q", good)
		}
	})
}

// Whatever a line holds, a value is a finite number that stands in it with its
// unit, or there is none.
func FuzzRead(f *testing.F) {
	for _, s := range []string{"ST,A1,+  12.34 kN", "ST,A1,OL", "ST,A1,------", "US,A1,1e308 kN", "ST,,1 kN", "\x00", "ST,A1,1,2 kN"} {
		f.Add(s)
	}
	p, err := line.Compile(line.Spec{
		Template: "{stable},{channel},{value} {unit}", Steady: []string{"ST"}, Unsteady: []string{"US"}, Overload: []string{"OL"},
	})
	if err != nil {
		f.Fatal(err)
	}
	f.Fuzz(func(t *testing.T, s string) {
		it, err := p.Read(s)
		switch {
		case err != nil:
			return
		case it.Bad != math.IsNaN(it.Value) || math.IsInf(it.Value, 0):
			t.Fatalf("%q gives %+v", s, it)
		case !it.Bad && (it.Unit == "" || !strings.ContainsAny(s, "0123456789")):
			t.Fatalf("%q gives %+v", s, it)
		case it.Channel == "" || it.Unsteady == !strings.Contains(s, "US,"):
			t.Fatalf("%q gives %+v", s, it)
		}
	})
}

// Any pattern is refused or reads lines without harm.
func FuzzCompile(f *testing.F) {
	f.Add("{stable},{value} {unit}", "ST, 1 kN")
	f.Add("{value}{any}", "1;2")
	f.Add("{}", "")
	f.Fuzz(func(_ *testing.T, pattern, s string) {
		for _, spec := range []line.Spec{{Template: pattern}, {Regexp: pattern}} {
			if p, err := line.Compile(spec); err == nil {
				_, _ = p.Read(s)
			}
		}
	})
}
