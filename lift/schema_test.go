package lift_test

import (
	"bytes"
	"encoding/json"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/goccy/go-yaml"
	"github.com/santhosh-tekuri/jsonschema/v6"

	"plumbhook/lift"
)

func schema(t *testing.T) (doc map[string]any, compiled *jsonschema.Schema) {
	t.Helper()
	text, err := lift.Schema()
	if err != nil {
		t.Fatal(err)
	}
	value, err := jsonschema.UnmarshalJSON(bytes.NewReader(text))
	if err != nil {
		t.Fatal(err)
	}
	c := jsonschema.NewCompiler()
	if err := c.AddResource("lift.json", value); err != nil {
		t.Fatal(err)
	}
	compiled, err = c.Compile("lift.json") // checks it against the meta-schema
	if err != nil {
		t.Fatal(err)
	}
	return value.(map[string]any), compiled
}

// plain reads YAML by the library's own decoder, as an editor would.
func plain(t *testing.T, data []byte) any {
	t.Helper()
	var v any
	if err := yaml.Unmarshal(data, &v); err != nil {
		t.Fatal(err)
	}
	text, err := json.Marshal(v)
	if err != nil {
		t.Fatal(err)
	}
	out, err := jsonschema.UnmarshalJSON(bytes.NewReader(text))
	if err != nil {
		t.Fatal(err)
	}
	return out
}

func TestSchemaAgreesWithRead(t *testing.T) {
	_, s := schema(t)
	good, err := filepath.Glob("../examples/*.yaml")
	if err != nil {
		t.Fatal(err)
	}
	for _, path := range append(good, "testdata/contract.yaml", "testdata/everything.yaml") {
		data, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		if err := s.Validate(plain(t, data)); err != nil {
			t.Errorf("%s: %v", path, err)
		}
		if _, err := lift.Read(path, os.DirFS(filepath.Dir(path)), data); err != nil {
			t.Error(err)
		}
	}
	// What the schema can and cannot see of the broken files.
	for name, sees := range map[string]bool{
		"no-unit": true, "bare-ton": true, "unknown-key": true, "newer-version": true, "angle-from-what": true,
		"bad-reference": false, "length-twice": false, "name-twice": false, "hook-nowhere": false,
	} {
		data, err := os.ReadFile(filepath.Join(broken, name+".yaml"))
		if err != nil {
			t.Fatal(err)
		}
		if err := s.Validate(plain(t, data)); (err != nil) != sees {
			t.Errorf("%s: %v", name, err)
		}
	}
}

// TestSchemaOfValues: what Read accepts the schema accepts; what it refuses for
// its form the schema marks as well, where its column says so.
func TestSchemaOfValues(t *testing.T) {
	_, s := schema(t)
	for _, c := range []struct {
		old, new   string
		good, sees bool
	}{
		{"4400 kg ± 3 %", "60..110 kg", true, false},
		{"4400 kg ± 3 %", "60…110 kg", true, false},
		{"4400 kg ± 3 %", "9000 lb +- 100 lb", true, false},
		{"4400 kg ± 3 %", "6.5 short ton", true, false},
		{"4400 kg ± 3 %", "6.5 long tons ± 2 %", true, false},
		{"4400 kg ± 3 %", ".5 t", true, false},
		{"4400 kg ± 3 %", "4.4e3 kg", true, false},
		{"4400 kg ± 3 %", "4400kg", true, false},
		{"4400 kg ± 3 %", "4400", false, true},
		{"4400 kg ± 3 %", "'4400'", false, true},
		{"4400 kg ± 3 %", "'4.4e3'", false, true},
		{"4400 kg ± 3 %", "4400 ± 30", false, true},
		{"4400 kg ± 3 %", "4 ton", false, true},
		{"4400 kg ± 3 %", "4..5 tons", false, true},
		{"4400 kg ± 3 %", "4 T", false, true},
		{"4400 kg ± 3 %", "4 ton ± 2 %", false, true},
		{"4400 kg ± 3 %", "heavy", false, true},
		{"4400 kg ± 3 %", "44 kN", false, true},
		{"4400 kg ± 3 %", "4.4 m", false, true},
		{"4400 kg ± 3 %", "44..50 kN", false, true},
		{"4400 kg ± 3 %", "44 kN ± 2 %", false, false}, // what ends in a share may be anything
		{"0.05 0 0.9 m ± 20 mm", "50 mm 0 3 ft", true, false},
		{"0.05 0 0.9 m ± 20 mm", "2 ft 6 in 0 1/2 in", true, false},
		{"0.05 0 0.9 m ± 20 mm", "[50 mm, 0 m, 0.9 m]", true, false},
		{"0.05 0 0.9 m ± 20 mm", "[50 mm, 0, 0.9 m]", true, false},
		{"0.05 0 0.9 m ± 20 mm", "0.05 0 0.9", false, true},
		{"0.05 0 0.9 m ± 20 mm", "[1 m, 2 m]", false, true},
		{"0.05 0 0.9 m ± 20 mm", "0.05 m", false, true},
		{"length: 2.4 m}\n  east", "length: 7 ft 10 1/2 in}\n  east", true, false},
		{"length: 2.4 m}\n  east", "length: 94 1/2 in}\n  east", true, false},
		{"length: 2.4 m}\n  east", "length: ½ m}\n  east", true, false},
		{"length: 2.4 m}\n  east", "length: 2.4}\n  east", false, true},
		{"length: 2.4 m}\n  east", "length: 2.4 kg}\n  east", false, true},
		{"length: 2.4 m}\n  east", "length: 2.4 m, stiffness: 5.2 MN}\n  east", false, true},
		{"length: 2.4 m}\n  east", "length: 2.4 m, stiffness: 5.2 kN/mm}\n  east", true, false},
		{"length: 2.4 m}\n  east", "length: 2.4 m, temperature: 20 kN}\n  east", false, true},
		{"length: 2.4 m}\n  east", "length: 2.4 m, wll: 3 m}\n  east", false, true},
		{"length: 2.4 m}\n  east", "wll: 3 t}\n  east", false, true},
		{"length: 2.4 m}\n  east", "length: 2.4 m, assembly_wll: {wll: 5 t, legs: 2, angle: 60 deg from the horizontal}}\n  east", true, false},
		{"length: 2.4 m}\n  east", "length: 2.4 m, assembly_wll: {wll: 5 t, legs: 2, angle: 60 deg included}}\n  east", true, false},
		{"length: 2.4 m}\n  east", "length: 2.4 m, assembly_wll: {wll: 5 t, legs: 2, angle: 60 deg}}\n  east", false, true},
		{"length: 2.4 m}\n  east", "length: 2.4 m, friction: 0.1}\n  east", true, false},
		{"length: 2.4 m}\n  east", "length: 2.4 m, friction: 5}\n  east", false, true},
		{"length: 2.4 m}\n  east", "length: 2.4 m, hitch: basket}\n  east", true, false},
		{"length: 2.4 m}\n  east", "length: 2.4 m, hitch: bight}\n  east", false, true},
		{"length: 2.4 m}\n  east", "length: 2.4 m, cell: {channel: W, accuracy: ± 0.5 % of reading}}\n  east", true, false},
		{"length: 2.4 m}\n  east", "length: 2.4 m, cell: {channel: W, accuracy: 0.5 %}}\n  east", false, true},
		{"length: 2.4 m}\n  east", "stack: [{kind: sling, length: 2.4 m, paint: green}]}\n  east", false, true},
		{"length: 2.4 m}\n  east", "length: 2.4 m, tag: legible, edges: sharp}\n  east", true, false},
		{"length: 2.4 m}\n  east", "length: 2.4 m, tag: torn}\n  east", false, true},
		{"length: 2.4 m}\n  east", "stack: [{kind: sling, length: 2.4 m, size: 3, serial: 12}]}\n  east", true, false},
		{"mass: 4400", "turn: [0 deg, 90 deg, 0 deg]\n  mass: 4400", true, false},
		{"mass: 4400", "turn: 90 deg about y\n  mass: 4400", true, false},
		{"mass: 4400", "turn: x 90°\n  mass: 4400", true, false},
		{"mass: 4400", "turn: 0 90 0 deg\n  mass: 4400", true, false},
		{"mass: 4400", "turn: 90\n  mass: 4400", false, true},
		{"mass: 4400", "wet: no\n  mass: 4400", true, false},
		{"mass: 4400", "wet: false\n  mass: 4400", true, false},
		{"mass: 4400", "wet: dry\n  mass: 4400", false, true},
		{"mass: 4400", "contingency: 5 %\n  mass: 4400", true, false},
		{"mass: 4400", "contingency: 0.05\n  mass: 4400", true, false},
		{"mass: 4400", "contingency: 7 kg\n  mass: 4400", false, true},
		{"title: Pump motor out of well 3", "limits: {tilt: 3 deg}", true, false},
		{"title: Pump motor out of well 3", "limits: {tilt: 3}", false, true},
		{"title: Pump motor out of well 3", "limits: {total: {}}", false, true},
		{"title: Pump motor out of well 3", "site: {temperature: -10..30 °C}", true, false},
		{"title: Pump motor out of well 3", "site: {g: 9.81}", false, true},
		{"title: Pump motor out of well 3", "site: {g: 9.81 m/s}", false, true},
		{"title: Pump motor out of well 3", "site: {wind: 9 m/s, g: 9.81 m/s2}", true, false},
		{"title: Pump motor out of well 3", "site: {exposure: wet}", true, false},
		{"title: Pump motor out of well 3", "site: {exposure: [wet, acids]}", true, false},
		{"title: Pump motor out of well 3", "site: {exposure: [wet, dry]}", false, false},
		{"title: Pump motor out of well 3", "site: {exposure: damp}", false, true},
		{"title: Pump motor out of well 3", "dynamic: {class: HC2, hoist_speed: 0.2 m/s}", true, false},
		{"title: Pump motor out of well 3", "dynamic: {class: HC2}", false, true},
		{"title: Pump motor out of well 3", "dynamic: {factor: 1.1, class: HC2}", false, false},
		{"title: Pump motor out of well 3", "dynamic: {factor: 1.1, class: HC2, hoist_speed: 0.2 m/s}", true, false},
		{"title: Pump motor out of well 3", "hook: x", false, true},
		{"title: Pump motor out of well 3", "nodes:\n", true, false},
		{"{at: -0.7 0 1.6 m, wll: 5 t}", "-0.7 0 1.6 m", true, false},
		{"{at: -0.7 0 1.6 m, wll: 5 t}", "{wll: 5 t}", false, true},
		{"    west: {at", "    we.st: {at", false, true},
	} {
		text := []byte(with(t, c.old, c.new))
		_, err := lift.Read("test.yaml", os.DirFS("testdata"), text)
		if (err == nil) != c.good {
			t.Errorf("%s: Read says %v", c.new, err)
		}
		err = s.Validate(plain(t, text))
		if (err != nil) != c.sees {
			t.Errorf("%s: the schema says %v", c.new, err)
		}
	}
}

// walk goes through the objects of a schema that have keys, each once.
func walk(root map[string]any, node any, seen map[string]bool, visit func(name string, property map[string]any)) {
	switch n := node.(type) {
	case []any:
		for _, it := range n {
			walk(root, it, seen, visit)
		}
	case map[string]any:
		if ref, ok := n["$ref"].(string); ok && !seen[ref] {
			seen[ref] = true
			walk(root, root["$defs"].(map[string]any)[strings.TrimPrefix(ref, "#/$defs/")], seen, visit)
		}
		for key, it := range n {
			switch key {
			case "properties":
				for name, p := range it.(map[string]any) {
					if p := p.(map[string]any); p["const"] == nil {
						visit(name, p)
						walk(root, p, seen, visit)
					}
				}
			case "items", "anyOf", "additionalProperties":
				walk(root, it, seen, visit)
			}
		}
	}
}

// TestSchemaHelps: every key says what it is and shows a value, one of a few,
// or further keys.
func TestSchemaHelps(t *testing.T) {
	root, _ := schema(t)
	count := 0
	walk(root, root, map[string]bool{}, func(name string, p map[string]any) {
		count++
		if text, _ := p["description"].(string); len(text) < 10 || !strings.HasSuffix(text, ".") {
			t.Errorf("%s: description %q", name, text)
		}
		if !helps(root, p) {
			t.Errorf("%s: no example", name)
		}
	})
	if count < 150 {
		t.Errorf("only %d keys", count)
	}
}

func helps(root map[string]any, n map[string]any) bool {
	if ref, ok := n["$ref"].(string); ok && helps(root, root["$defs"].(map[string]any)[strings.TrimPrefix(ref, "#/$defs/")].(map[string]any)) {
		return true
	}
	if choices, ok := n["anyOf"].([]any); ok {
		for _, it := range choices {
			if helps(root, it.(map[string]any)) {
				return true
			}
		}
	}
	for _, key := range []string{"examples", "enum", "properties", "additionalProperties", "items"} {
		if v, ok := n[key]; ok && v != false {
			return true
		}
	}
	return false
}

// TestEveryKeyIsRead: the file with everything uses every key of the schema and
// is accepted, so each key that an editor offers is one that Read knows.
func TestEveryKeyIsRead(t *testing.T) {
	data, err := os.ReadFile("testdata/everything.yaml")
	if err != nil {
		t.Fatal(err)
	}
	read(t, string(data))
	root, _ := schema(t)
	offered := map[string]bool{}
	walk(root, root, map[string]bool{}, func(name string, _ map[string]any) { offered[name] = true })
	used := map[string]bool{}
	var use func(v any)
	use = func(v any) {
		switch v := v.(type) {
		case map[string]any:
			for k, it := range v {
				used[k] = true
				use(it)
			}
		case []any:
			for _, it := range v {
				use(it)
			}
		}
	}
	use(plain(t, data))
	var missing []string
	for k := range offered {
		if !used[k] {
			missing = append(missing, k)
		}
	}
	slices.Sort(missing)
	if len(missing) > 0 {
		t.Errorf("not used: %v", missing)
	}
}
