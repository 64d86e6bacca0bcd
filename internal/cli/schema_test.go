package cli

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/goccy/go-yaml"
	"github.com/santhosh-tekuri/jsonschema/v6"
)

// TestSchemas: the schemas of the small files are schemas, take every example, and
// refuse what the readers refuse by its form.
func TestSchemas(t *testing.T) {
	for _, c := range []struct {
		of, files string
		least     int
		bad       [][2]string // in the first example: text and what it becomes
	}{
		{"proof", "proving/*.yaml", 3, [][2]string{{"\ndate:", "\ndates:"}, {"rule: guy tension", "rule: my own"}, {"design: 15 kN", "design: 15"}, {"\ncell:", "\n#"}, {"- {name: turnbuckle,", "- {nam: turnbuckle,"}}},
		{"survey", "weighing/*.yaml", 2, [][2]string{{"object: pump", "objekt: pump"}, {"declared: 4900 kg ± 3 %", "declared: 4900"}, {"A: {serial", "A: {seriel"}, {"tilt: {rise", "tilt: {raise"}}},
		{"certificate", "weighing/certificates/*.yaml", 3, [][2]string{{"serial: ", "seriel: "}, {"signal: mV/V", "signal: volts"}}},
	} {
		status, out, errs := run("schema", c.of)
		if status != exitHolds {
			t.Fatal(status, errs)
		}
		doc, err := jsonschema.UnmarshalJSON(strings.NewReader(out))
		if err != nil {
			t.Fatal(err)
		}
		compiler := jsonschema.NewCompiler()
		if err := compiler.AddResource("schema.json", doc); err != nil {
			t.Fatal(err)
		}
		schema, err := compiler.Compile("schema.json")
		if err != nil {
			t.Fatal(err)
		}
		valid := func(text string) error {
			data, err := yaml.YAMLToJSON([]byte(text))
			if err != nil {
				t.Fatal(err)
			}
			value, err := jsonschema.UnmarshalJSON(strings.NewReader(string(data)))
			if err != nil {
				t.Fatal(err)
			}
			return schema.Validate(value)
		}
		files, err := filepath.Glob(filepath.Join(examples, filepath.FromSlash(c.files)))
		if err != nil || len(files) < c.least {
			t.Fatal(files, err)
		}
		for i, f := range files {
			text, err := os.ReadFile(f)
			if err != nil {
				t.Fatal(err)
			}
			if err := valid(string(text)); err != nil {
				t.Errorf("%s: %v", f, err)
			}
			for _, b := range c.bad {
				if i > 0 {
					break
				}
				if !strings.Contains(string(text), b[0]) {
					t.Errorf("%s has no %q", f, b[0])
				} else if valid(strings.Replace(string(text), b[0], b[1], 1)) == nil {
					t.Errorf("%s: %q is taken", f, b[1])
				}
			}
		}
	}
}
