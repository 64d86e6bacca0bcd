package doccheck

import (
	"encoding/json"
	"fmt"
	"io/fs"
	"maps"
	"os"
	"path/filepath"
	"reflect"
	"regexp"
	"slices"
	"strings"
	"testing"

	"plumbhook/lift"
)

const home = "../.."

// files gives every file of the repository with that ending, by its path.
func files(t *testing.T, ext string) []string {
	t.Helper()
	var found []string
	err := filepath.WalkDir(home, func(name string, d fs.DirEntry, err error) error {
		switch {
		case err != nil:
			return err
		case d.IsDir() && name != home && (d.Name()[0] == '.' || d.Name() == "node_modules" || d.Name() == "build"):
			return fs.SkipDir
		case filepath.Ext(name) == ext:
			found = append(found, name)
		}
		return nil
	})
	if err != nil || len(found) == 0 {
		t.Fatalf("found %d files that end in %s, %v", len(found), ext, err)
	}
	return found
}

// read gives the text of a file.
func read(t *testing.T, name string) string {
	t.Helper()
	text, err := os.ReadFile(name)
	if err != nil {
		t.Fatal(err)
	}
	return string(text)
}

// pages reads every page of the repository, by its path.
func pages(t *testing.T) map[string]Page {
	t.Helper()
	found := map[string]Page{}
	for _, name := range files(t, ".md") {
		found[name] = Read(read(t, name))
	}
	return found
}

func TestLinksLeadSomewhere(t *testing.T) {
	all := pages(t)
	checked := 0
	for name, page := range all {
		for _, l := range page.Links {
			if strings.Contains(l.Target, "://") || strings.HasPrefix(l.Target, "mailto:") {
				continue
			}
			checked++
			file, fragment, _ := strings.Cut(l.Target, "#")
			target := name
			if file != "" {
				target = filepath.Join(filepath.Dir(name), file)
			}
			if _, err := os.Stat(target); err != nil {
				t.Errorf("%s:%d: %s: %v", name, l.Line, l.Target, err)
			} else if fragment != "" && !all[target].Anchors[fragment] {
				t.Errorf("%s:%d: %s: no such heading", name, l.Line, l.Target)
			}
		}
	}
	if checked == 0 {
		t.Error("no relative link found in any page")
	}
}

func TestLiftFilesShownAreValid(t *testing.T) {
	whole, parts := 0, 0
	for name, page := range pages(t) {
		base := ""
		for _, b := range page.Blocks {
			var text string
			switch b.Kind {
			case "yaml lift":
				whole++
				// Empty lines first, so that messages count lines as the page does.
				text = strings.Repeat("\n", b.Line-1) + b.Text
				if base == "" {
					base = b.Text
				}
			case "yaml lift part":
				parts++
				text = Patch(base, b.Text)
			default:
				continue
			}
			if err := hangs(name, text); err != nil {
				t.Errorf("%s:%d: the %s block: %v", name, b.Line, b.Kind, err)
			}
		}
	}
	if whole == 0 || parts == 0 {
		t.Errorf("found %d whole lift files and %d parts in the pages", whole, parts)
	}
}

// hangs says why a lift file is not valid, or does not hang as it starts.
func hangs(name, text string) error {
	l, err := lift.Read(name, os.DirFS(filepath.Join(home, "examples")), []byte(text))
	if err != nil {
		return err
	}
	rig, err := lift.NewRig(l)
	if err != nil {
		return err
	}
	h, err := rig.Hang()
	for i := 0; err == nil && h.Stable && i < len(l.Steps); i++ {
		h, err = rig.Step(i)
	}
	if err == nil && !h.Stable {
		err = fmt.Errorf("it does not stay as it starts, step %q: %q", h.Step, h.Notes)
	}
	return err
}

// TestGuideHasEveryKey compares the first columns of the guide's tables of keys
// with the property names of the schema.
func TestGuideHasEveryKey(t *testing.T) {
	text := read(t, filepath.Join(home, "docs/riggers.md"))
	schema, err := lift.Schema()
	if err != nil {
		t.Fatal(err)
	}
	var tree any
	if err := json.Unmarshal(schema, &tree); err != nil {
		t.Fatal(err)
	}
	known := map[string]bool{}
	properties(tree, known)
	if len(known) == 0 {
		t.Fatal("the schema has no properties")
	}
	code := regexp.MustCompile("`([a-z_]+)`")
	told := map[string]bool{}
	for _, m := range code.FindAllStringSubmatch(text, -1) {
		told[m[1]] = true
	}
	for k := range known {
		if !told[k] {
			t.Errorf("docs/riggers.md does not tell of the key %s", k)
		}
	}
	inTable := false
	for i, line := range strings.Split(text, "\n") {
		cells := strings.Split(line, "|")
		if len(cells) < 3 {
			inTable = false
			continue
		}
		inTable = inTable || strings.HasPrefix(cells[1], " key")
		if !inTable {
			continue
		}
		for _, m := range code.FindAllStringSubmatch(cells[1], -1) {
			if !known[m[1]] {
				t.Errorf("docs/riggers.md:%d: the schema has no key %s", i+1, m[1])
			}
		}
	}
}

// properties gathers the names of all properties in a JSON Schema.
func properties(node any, names map[string]bool) {
	switch node := node.(type) {
	case map[string]any:
		if p, ok := node["properties"].(map[string]any); ok {
			for name := range p {
				names[name] = true
			}
		}
		for _, v := range node {
			properties(v, names)
		}
	case []any:
		for _, v := range node {
			properties(v, names)
		}
	}
}

// TestMapHasEveryPackage looks for each folder of Go files in the map for
// developers.
func TestMapHasEveryPackage(t *testing.T) {
	text := read(t, filepath.Join(home, "docs/developers.md"))
	seen := map[string]bool{}
	for _, name := range files(t, ".go") {
		pkg, err := filepath.Rel(home, filepath.Dir(name))
		if err != nil {
			t.Fatal(err)
		}
		if pkg = filepath.ToSlash(pkg); !seen[pkg] && !strings.Contains(text, "`"+pkg+"`") {
			t.Errorf("docs/developers.md does not tell of package %s", pkg)
		}
		seen[pkg] = true
	}
}

// TestMakeTargetsExist reads the commands a page tells people to type.
func TestMakeTargetsExist(t *testing.T) {
	makefile := read(t, filepath.Join(home, "Makefile"))
	command := regexp.MustCompile(`(?m)^make (\w+)`)
	found := 0
	for name, page := range pages(t) {
		for _, b := range page.Blocks {
			for _, m := range command.FindAllStringSubmatch(b.Text, -1) {
				found++
				if !regexp.MustCompile(`(?m)^` + m[1] + `:`).MatchString(makefile) {
					t.Errorf("%s:%d: the Makefile has no target %s", name, b.Line, m[1])
				}
			}
		}
	}
	if found == 0 {
		t.Error("no page shows a make command")
	}
}

func TestRead(t *testing.T) {
	p := Read(strings.Join([]string{
		"# Zero: hung, or not?",
		"See [the guide](riggers.md#legs) and [this](https://example.org), not `[code](a.md)`.",
		"```yaml lift",
		"plumbhook: 1",
		"# [not](a-link.md)",
		"```",
		"[after](b.md)",
	}, "\n"))
	want := Page{
		Blocks:  []Block{{"yaml lift", 4, "plumbhook: 1\n# [not](a-link.md)\n"}},
		Links:   []Link{{"riggers.md#legs", 2}, {"https://example.org", 2}, {"b.md", 7}},
		Anchors: map[string]bool{"zero-hung-or-not": true},
	}
	if !reflect.DeepEqual(p, want) {
		t.Errorf("got %+v\nwant %+v", p, want)
	}
}

func TestPatch(t *testing.T) {
	whole := "# a lift\na: 1\nb:\n  c: 2\n  d: 3\ne: 4\n"
	part := "b: {c: 5}\nf:\n  - 6\n"
	if got, want := Patch(whole, part), "a: 1\nb: {c: 5}\ne: 4\nf:\n  - 6\n"; got != want {
		t.Errorf("got %q, want %q", got, want)
	}
	keys, sections := split(whole)
	if got := slices.Sorted(maps.Keys(sections)); fmt.Sprint(keys) != "[a: b: e:]" || len(got) != 3 {
		t.Errorf("split into %v, %v", keys, sections)
	}
}
