package rulebook

import (
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
)

const page = "../docs/rulebooks.md"

// TestCoverage keeps the page of rulebooks true: its tables are those of the
// program, every rule that is called checked has a case that trips it and one
// that does not, or names the test that shows it.
func TestCoverage(t *testing.T) {
	tripped, passed, open := map[string]bool{}, map[string]bool{}, map[string]bool{}
	for _, c := range cases {
		key := c.rule + " " + c.book
		switch c.want {
		case "stop", "caution":
			tripped[key] = true
		case "note":
			tripped[key] = true
			passed[key] = passed[key] || c.rule == "joint-reduction" || c.rule == "ground-pressure" // what holds there is a note as well
		case "holds":
			passed[key] = true
		case "open":
			open[key] = true
		}
	}
	seen := map[string]bool{}
	for _, r := range Books() {
		key := r.Name + " " + r.Book
		if seen[key] {
			t.Errorf("%s stands twice", key)
		}
		seen[key] = true
		if r.Clause == "" || r.Asks == "" || r.Standing == "" || r.Does != Checked && r.Does != NotAssessed && r.Does != OutOfScope {
			t.Errorf("%s: something is missing in %+v", key, r)
		}
		key = r.Name + " " + strings.Replace(r.Book, "any", "us", 1)
		pkg, test, elsewhere := strings.Cut(r.Test, ": ")
		switch {
		case r.Does == NotAssessed && !open[key]:
			t.Errorf("%s: no case leaves it open", key)
		case r.Does != Checked:
		case r.Name == "wind": // its stop is a rule of the crane
			if !passed[key] || !tripped["wind-speed us"] {
				t.Error("wind is not shown both ways")
			}
		case r.Test == "" && !(tripped[key] && passed[key]):
			t.Errorf("%s: tripped %v, passed %v", key, tripped[key], passed[key])
		case elsewhere:
			if !exists(t, pkg, test) {
				t.Errorf("%s: package %s has no %s", key, pkg, test)
			}
		case r.Test != "":
			if name := strings.TrimPrefix(r.Test, "TestRules/"); !tripped[name+" "+strings.Replace(r.Book, "any", "us", 1)] {
				t.Errorf("%s: %s has no case", key, r.Test)
			}
		}
	}
	text := read(t, page)
	for mark, table := range map[string]string{"rules": ruleTable(), "names": nameTable()} {
		begin, end := "<!-- "+mark+" -->\n", "<!-- end of "+mark+" -->"
		before, rest, ok := strings.Cut(text, begin)
		was, after, also := strings.Cut(rest, end)
		if !ok || !also {
			t.Fatalf("%s has no place for its table of %s", page, mark)
		}
		if was != table && !*update {
			t.Errorf("the table of %s in %s is not that of the program (go test ./rulebook -update writes it anew)", mark, page)
		}
		text = before + begin + table + end + after
	}
	if *update {
		if err := os.WriteFile(page, []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
	}
}

func read(t *testing.T, name string) string {
	t.Helper()
	data, err := os.ReadFile(name)
	if err != nil {
		t.Fatal(err)
	}
	return string(data)
}

// exists tells whether a package of the repository has a test.
func exists(t *testing.T, pkg, test string) bool {
	t.Helper()
	files, err := filepath.Glob("../" + pkg + "/*_test.go")
	if err != nil {
		t.Fatal(err)
	}
	return slices.ContainsFunc(files, func(name string) bool { return strings.Contains(read(t, name), "func "+test+"(") })
}

func ruleTable() string {
	var b strings.Builder
	for _, book := range []struct{ name, title string }{{"us", "us"}, {"eu", "eu"}, {"any", "Whatever the code"}} {
		fmt.Fprintf(&b, "\n### %s\n\n| rule | clause | standing | what it asks | here | test |\n|---|---|---|---|---|---|\n", book.title)
		for _, r := range Books() {
			if r.Book != book.name {
				continue
			}
			clause, asks, test := r.Clause, r.Asks, r.Test
			if r.Edition != "" {
				clause += " (" + r.Edition + ")"
			}
			if r.Value != 0 {
				asks += fmt.Sprintf(" (%g %s)", r.Value, r.Unit)
			}
			if test == "" && r.Does != OutOfScope {
				test = "TestRules/" + r.Name
			}
			if test != "" {
				test = "`" + test + "`"
			}
			fmt.Fprintf(&b, "| `%s` | %s | %s | %s | %s | %s |\n", r.Name, clause, r.Standing, asks, r.Does, test)
		}
	}
	return b.String() + "\n"
}

func nameTable() string {
	var b strings.Builder
	b.WriteString("\n| each | names |\n|---|---|\n")
	for _, each := range []string{"lift", "leg", "part", "hook"} {
		var all []string
		for _, name := range sorted(names[each]) {
			all = append(all, "`"+name+"`")
		}
		fmt.Fprintf(&b, "| `%s` | %s |\n", each, strings.Join(all, ", "))
	}
	return b.String() + "\n"
}

// TestEveryRuleAskedForIsThere: a judge that asks for a rule by a name that no
// book has would stay silent.
func TestEveryRuleAskedForIsThere(t *testing.T) {
	files, err := filepath.Glob("*.go")
	if err != nil {
		t.Fatal(err)
	}
	asked := regexp.MustCompile(`k\.rule\("([^"]+)"\)`)
	count := 0
	for _, name := range files {
		for _, m := range asked.FindAllStringSubmatch(read(t, name), -1) {
			count++
			if !slices.ContainsFunc(rows(), func(r Rule) bool { return r.Name == m[1] && r.Does != OutOfScope }) {
				t.Errorf("%s asks for rule %s, which no book has", name, m[1])
			}
		}
	}
	if count < 30 {
		t.Errorf("only %d rules are asked for", count)
	}
}
