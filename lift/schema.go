package lift

import (
	"encoding/json"
	"maps"
)

// object is a JSON object under construction.
type object = map[string]any

// defs are the definitions that a schema refers to, by name.
type defs map[string]object

// copyOf keeps a shared piece of schema from being written into.
func copyOf(o object) object { return maps.Clone(o) }

// Schema is the JSON Schema (draft 2020-12) of the lift file, for editors that
// complete and check while typing. It is made from the tables that Read uses,
// so the two know the same keys. It judges one value at a time: units,
// references and geometry are checked by Read alone.
func Schema() ([]byte, error) {
	d := defs{}
	s := fileForm.schema(d)
	s["$schema"] = "https://json-schema.org/draft/2020-12/schema"
	s["$id"] = "urn:plumbhook:lift:1"
	s["title"] = "Plumbhook lift file"
	s["description"] = "A plan of one lift: what is lifted, what it hangs from, and the limits to keep."
	s["$defs"] = d
	return json.MarshalIndent(s, "", "  ")
}
