package keyed

import (
	"encoding/csv"
	"encoding/json"
	"slices"
	"strings"
)

// A Shape is what a small file may hold: one table that its reader takes the known
// keys from and its JSON Schema is made of, so that the two cannot differ.
type Shape struct{ keys []shapeKey }

type shapeKey struct {
	path, form, meaning string
	needed              bool
}

// NewShape reads the table: key, form, needed, meaning. A key is written with what
// it stands in: `item.name`, `gear[].name` in each entry of a list, `points.*` for
// each value of a map whose names the file chooses. A form is map, maps (of such a
// map), list, text, date, version, value (with its unit), values (one or several),
// point, or the words of a choice with | between them. It panics on a table that is
// none: the table is ours.
func NewShape(table string) *Shape {
	rows, err := csv.NewReader(strings.NewReader(table)).ReadAll()
	if err != nil {
		panic(err)
	}
	s := &Shape{}
	for _, c := range rows[1:] {
		s.keys = append(s.keys, shapeKey{c[0], c[1], c[3], c[2] == "yes"})
	}
	return s
}

// parent is what a key stands in, and its name there.
func (k *shapeKey) parent() (in, name string) {
	if i := strings.LastIndexByte(k.path, '.'); i >= 0 {
		return k.path[:i], k.path[i+1:]
	}
	return "", k.path
}

// Names are the keys of a map: of the file itself, where the path is empty.
func (s *Shape) Names(path string) (names []string) {
	for i := range s.keys {
		if in, name := s.keys[i].parent(); in == path && name != "*" {
			names = append(names, name)
		}
	}
	return names
}

// Schema is the JSON Schema of the file, for an editor to check and complete with.
// It knows keys and forms; whether a value can be is for the reader to say.
func (s *Shape) Schema(kind, title string) ([]byte, error) {
	out := s.object("")
	out["$schema"], out["$id"], out["title"] = "https://json-schema.org/draft/2020-12/schema", "urn:plumbhook:"+kind+":1", title
	return json.MarshalIndent(out, "", "  ")
}

// object is the schema of a map with known keys.
func (s *Shape) object(path string) map[string]any {
	properties, required := map[string]any{}, []string{}
	for i := range s.keys {
		if in, name := s.keys[i].parent(); in == path {
			properties[name] = s.value(&s.keys[i])
			if s.keys[i].needed {
				required = append(required, name)
			}
		}
	}
	return map[string]any{"type": "object", "properties": properties, "required": required, "additionalProperties": false}
}

// value is the schema of what stands behind a key.
func (s *Shape) value(k *shapeKey) map[string]any {
	text := map[string]any{"type": []string{"string", "number"}}
	quantity := map[string]any{"type": "string"}
	several := func(of map[string]any) map[string]any {
		return map[string]any{"anyOf": []any{of, map[string]any{"type": "array", "items": of, "minItems": 1}}}
	}
	// each is the schema of what stands under a path that no name is known for.
	each := func(path string) map[string]any {
		for i := range s.keys {
			if s.keys[i].path == path {
				return s.value(&s.keys[i])
			}
		}
		return s.object(path)
	}
	var out map[string]any
	switch k.form {
	case "map":
		out = s.object(k.path)
	case "maps":
		out = map[string]any{"type": "object", "minProperties": 1, "additionalProperties": each(k.path + ".*")}
	case "list":
		out = map[string]any{"type": "array", "minItems": 1, "items": each(k.path + "[]")}
	case "text":
		out = text
	case "date":
		out = map[string]any{"type": "string", "pattern": `^\d{4}-\d{2}-\d{2}$`}
	case "version":
		out = map[string]any{"enum": []any{1, "1"}}
	case "value":
		out = quantity
	case "values", "point":
		out = several(quantity)
	default:
		var words []any
		for _, w := range strings.Split(k.form, "|") {
			words = append(words, w)
			var n float64
			if json.Unmarshal([]byte(w), &n) == nil {
				words = append(words, n)
			}
		}
		out = map[string]any{"enum": words}
	}
	if k.meaning != "" {
		out["description"] = k.meaning
	}
	return out
}

// All are the names of all keys, once each: what a page about the file has to tell of.
func (s *Shape) All() (names []string) {
	for i := range s.keys {
		if _, name := s.keys[i].parent(); name != "*" && !strings.HasSuffix(name, "[]") && !slices.Contains(names, name) {
			names = append(names, name)
		}
	}
	return names
}
