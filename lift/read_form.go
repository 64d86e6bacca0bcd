package lift

import (
	"io/fs"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"plumbhook/fault"
	"plumbhook/keyed"
	"plumbhook/quantity"
)

// reader goes through the tree of one file with the tables of read_keys.go
// and gathers what is wrong.
type reader struct {
	files    fs.FS
	meshLeft int64                // bytes of mesh that may still be read
	store    Store                // nil: no gear register at hand
	places   map[string]fault.Pos // of every value, by path
	faults   fault.List
	// blind holds the paths of maps whose names are not all known, because
	// something of them could not be read. A reference into one that finds
	// nothing is not reported, it may be right.
	blind map[string]bool
}

func (r *reader) add(f *fault.Fault, n *keyed.Node, pos fault.Pos) *fault.Fault {
	r.faults = append(r.faults, f.In(n.Path).At(pos))
	return f
}

func (r *reader) fault(n *keyed.Node, code fault.Code, format string, args ...any) *fault.Fault {
	return r.add(fault.New(code, format, args...), n, n.Pos)
}

// clean says whether n was read without a fault. Values are read depth first,
// so that a fault inside n, if any, is the last one.
func (r *reader) clean(n *keyed.Node) bool {
	if len(r.faults) == 0 {
		return true
	}
	rest, inside := strings.CutPrefix(r.faults[len(r.faults)-1].Where, n.Path)
	return !inside || rest != "" && rest[0] != '.' && rest[0] != '['
}

// adopt reports faults of another package about the thing that n describes.
func (r *reader) adopt(n *keyed.Node, err error) {
	for _, f := range fault.Of(err) {
		placed := *f
		if placed.Pos == (fault.Pos{}) {
			placed.Pos = n.Pos
		}
		r.add(&placed, n, placed.Pos)
	}
}

// refuse reports what a parser said about the text of n.
func (r *reader) refuse(n *keyed.Node, err error) {
	for _, f := range fault.Of(err) {
		placed := *f
		if n.Outside {
			placed.What = "the gear register says " + keyed.Quote(n.Text) + ": " + placed.What
		}
		r.add(&placed, n, n.At(f.Offset))
	}
}

// wrong reports a node of the wrong kind.
func (r *reader) wrong(n *keyed.Node, due keyed.Kind, what string) {
	code := fault.Type
	if n.Kind == keyed.Empty {
		code = fault.Missing
	}
	do := map[keyed.Kind]string{
		keyed.Scalar: "write one value behind the colon",
		keyed.List:   "write its entries in [ ], or each behind a dash in a line of its own",
		keyed.Table:  "write its keys in { }, or each in a line of its own, indented",
	}
	r.fault(n, code, "%s stands here, where %s is due", n.Kind, what).Fix("%s", do[due])
}

// A form is one shape of value in the file: how to read it, and the JSON
// Schema that says the same to an editor.
type form[T any] struct {
	name   string                                   // of its definition in the schema; empty: spelt out where it is used
	read   func(r *reader, n *keyed.Node) (T, bool) // false after a fault that leaves no value
	schema func(d defs) object
}

// in is the schema of f, by reference when it has a name.
func (f form[T]) in(d defs) object {
	if f.name == "" {
		return f.schema(d)
	}
	if d[f.name] == nil {
		d[f.name] = object{} // ends the recursion, should a form contain itself
		d[f.name] = f.schema(d)
	}
	return object{"$ref": "#/$defs/" + f.name}
}

// check adds a test of what was read. It runs even when a part of the value
// had faults, so it must allow for what is missing.
func (f form[T]) check(test func(r *reader, n *keyed.Node, v *T)) form[T] {
	read := f.read
	f.read = func(r *reader, n *keyed.Node) (T, bool) {
		v, ok := read(r, n)
		if ok {
			test(r, n, &v)
		}
		return v, ok
	}
	return f
}

// demand adds to the schema what the keys alone cannot say.
func (f form[T]) demand(more object) form[T] {
	schema := f.schema
	f.schema = func(d defs) object {
		o := schema(d)
		for k, v := range more {
			o[k] = v
		}
		return o
	}
	return f
}

// A key is one key of a record.
type key[R any] struct {
	name, doc string
	need      bool
	read      func(r *reader, n *keyed.Node, rec *R)
	schema    func(d defs) object
}

// at makes a key: its name, the form of its value, where the value goes, and
// what the key means, for the schema.
func at[R, T any](name string, f form[T], set func(*R, T), doc string) key[R] {
	return key[R]{
		name: name, doc: doc, schema: f.in,
		read: func(r *reader, n *keyed.Node, rec *R) {
			if v, ok := f.read(r, n); ok {
				set(rec, v)
			}
		},
	}
}

// needed is a key that must be there.
func needed[R, T any](name string, f form[T], set func(*R, T), doc string) key[R] {
	k := at(name, f, set, doc)
	k.need = true
	return k
}

// like adds examples of values to the schema of a key.
func (k key[R]) like(examples ...any) key[R] {
	schema := k.schema
	k.schema = func(d defs) object {
		o := schema(d)
		o["examples"] = examples
		return o
	}
	return k
}

// record reads a map with a closed set of keys. begin, if any, gives the
// record its name, place and defaults.
func record[R any](name, what string, begin func(*R, *keyed.Node), groups ...[]key[R]) form[R] {
	keys := slices.Concat(groups...)
	return form[R]{
		name: name,
		read: func(r *reader, n *keyed.Node) (R, bool) {
			var rec R
			if begin != nil {
				begin(&rec, n)
			}
			if n.Kind != keyed.Table && n.Kind != keyed.Empty {
				r.wrong(n, keyed.Table, what)
				return rec, false
			}
			for _, it := range n.Items {
				find := func(name string) int {
					return slices.IndexFunc(keys, func(k key[R]) bool { return k.name == name })
				}
				i := find(it.Name)
				if i < 0 {
					// Read on as if the nearest key stood there, so that what is
					// below it is checked in the same go.
					if near := r.unknown(it, what, names(keys)); near == "" || n.Get(near) != nil {
						continue
					} else {
						i, it.Name = find(near), near
						it.SetPaths(n.Below(near), r.places)
					}
				}
				keys[i].read(r, it, &rec)
			}
			for _, k := range keys {
				if k.need && n.Get(k.name) == nil {
					r.fault(n, fault.Missing, "%s needs the key %s", what, k.name).Fix("%s: %s", k.name, brief(k.doc))
				}
			}
			return rec, true
		},
		schema: func(d defs) object {
			properties, required := object{}, []string{}
			for _, k := range keys {
				p := k.schema(d)
				p["description"] = k.doc
				properties[k.name] = p
				if k.need {
					required = append(required, k.name)
				}
			}
			o := object{"type": "object", "properties": properties, "additionalProperties": false}
			if len(required) > 0 {
				o["required"] = required
			} else {
				o["type"] = []string{"object", "null"}
			}
			return o
		},
	}
}

func keys[R any](k ...key[R]) []key[R] { return k }

func names[R any](keys []key[R]) []string {
	var out []string
	for _, k := range keys {
		out = append(out, k.name)
	}
	return out
}

// brief is the first sentence of a description.
func brief(doc string) string {
	s, _, _ := strings.Cut(doc, ". ")
	return strings.TrimSuffix(s, ".")
}

// unknown reports a key that the record does not have, and gives the nearest
// one, if any is near.
func (r *reader) unknown(n *keyed.Node, what string, known []string) string {
	if n.Kind == keyed.Empty && n.Name != "" && n.Name[0] >= '0' && n.Name[0] <= '9' {
		r.add(fault.New(fault.Ambiguous, "%s stands by itself after a comma, which parts keys here", keyed.Quote(n.Name)), n, n.Key).
			Fix("write decimals with a point: 2.5 t, not 2,5 t")
		return ""
	}
	f := r.add(fault.New(fault.UnknownKey, "%s has no key %s", what, keyed.Quote(n.Name)), n, n.Key)
	if len(r.faults) > maxFaults {
		return "" // nobody will be told
	}
	near := nearest(n.Name, known)
	if word := alsoCalled[strings.ToLower(n.Name)]; near == "" && slices.Contains(known, word) {
		near = word
	}
	if near != "" {
		f.Fix("did you mean %s?", near)
	} else {
		f.Fix("its keys are %s", strings.Join(known, ", "))
	}
	return near
}

// alsoCalled gives the key for a word that people use for it.
var alsoCalled = map[string]string{
	"swl": "wll", "weight": "mass", "cog": "cg", "quantity": "count", "qty": "count",
	"slings": "legs", "rings": "nodes", "beams": "spreaders", "bars": "spreaders",
}

// nameRule is what hooks, nodes, lugs, legs ... may be called: references join
// body and point with a full stop, so names have none.
const nameRule = `^[^.\s]([^.]*[^.\s])?$`

var goodName = regexp.MustCompile(nameRule)

// named reads a map from names to values, in the order of the file.
func named[T any](what string, f form[T]) form[[]T] {
	return form[[]T]{
		read: func(r *reader, n *keyed.Node) ([]T, bool) {
			if n.Kind != keyed.Table && n.Kind != keyed.Empty {
				r.wrong(n, keyed.Table, what)
				r.blind[n.Path] = true
				return nil, false
			}
			var out []T
			for _, it := range n.Items {
				if !goodName.MatchString(it.Name) {
					r.add(fault.New(fault.Range, "%s will not do as a name", keyed.Quote(it.Name)), it, it.Key).
						Fix("a name has at least one character, no full stop, and no space at its ends")
				}
				if v, ok := f.read(r, it); ok {
					out = append(out, v)
				} else {
					r.blind[n.Path] = true
				}
			}
			return out, true
		},
		schema: func(d defs) object {
			return object{
				"type": []string{"object", "null"}, "additionalProperties": f.in(d),
				"propertyNames": object{"pattern": nameRule},
			}
		},
	}
}

// lookup reads the same as named, for values that do not know their name.
func lookup[T any](what string, f form[T]) form[map[string]T] {
	type entry struct {
		name string
		v    T
	}
	pairs := named(what, form[entry]{
		read: func(r *reader, n *keyed.Node) (entry, bool) {
			v, ok := f.read(r, n)
			return entry{n.Name, v}, ok
		},
		schema: f.in,
	})
	return mapped(pairs, func(es []entry) map[string]T {
		m := make(map[string]T, len(es))
		for _, e := range es {
			m[e.name] = e.v
		}
		return m
	})
}

// mapped reads as f and keeps the value in another type.
func mapped[T, U any](f form[T], to func(T) U) form[U] {
	return form[U]{
		name: f.name, schema: f.schema,
		read: func(r *reader, n *keyed.Node) (u U, ok bool) {
			v, ok := f.read(r, n)
			if ok {
				u = to(v)
			}
			return u, ok
		},
	}
}

// listOf reads a list.
func listOf[T any](what string, f form[T]) form[[]T] {
	return form[[]T]{
		read: func(r *reader, n *keyed.Node) ([]T, bool) {
			if n.Kind != keyed.List && n.Kind != keyed.Empty {
				r.wrong(n, keyed.List, what)
				return nil, false
			}
			var out []T
			for _, it := range n.Items {
				if v, ok := f.read(r, it); ok {
					out = append(out, v)
				}
			}
			return out, true
		},
		schema: func(d defs) object {
			return object{"type": []string{"array", "null"}, "items": f.in(d)}
		},
	}
}

// oneOrMore reads a list, or its only entry by itself.
func oneOrMore[T any](what string, f form[T]) form[[]T] {
	several := listOf(what, f)
	return form[[]T]{
		read: func(r *reader, n *keyed.Node) ([]T, bool) {
			if n.Kind == keyed.Scalar {
				v, ok := f.read(r, n)
				return []T{v}, ok
			}
			return several.read(r, n)
		},
		schema: func(d defs) object { return object{"anyOf": []object{f.in(d), several.in(d)}} },
	}
}

// either reads short when a scalar or a list of them stands there, long
// otherwise.
func either[T any](name string, short, long form[T]) form[T] {
	return form[T]{
		name: name,
		read: func(r *reader, n *keyed.Node) (T, bool) {
			if n.Kind == keyed.Scalar || n.Kind == keyed.List {
				return short.read(r, n)
			}
			return long.read(r, n)
		},
		schema: func(d defs) object { return object{"anyOf": []object{short.in(d), long.in(d)}} },
	}
}

// words reads a single value by a parser of text. what names the value in
// messages: "a length with its unit".
func words[T any](name, what string, schema object, parse func(string) (T, error)) form[T] {
	return form[T]{
		name: name,
		read: func(r *reader, n *keyed.Node) (v T, ok bool) {
			if n.Kind != keyed.Scalar {
				r.wrong(n, keyed.Scalar, what)
				return v, false
			}
			if len(n.Text) > maxText {
				r.fault(n, fault.TooLarge, "a value of more than %d bytes", maxText).Fix("shorten it")
				return v, false
			}
			v, err := parse(n.Text)
			if err != nil {
				r.refuse(n, err)
				return v, false
			}
			return v, true
		},
		schema: func(defs) object { return copyOf(schema) },
	}
}

// choice reads one of a few words.
func choice[T any](what string, options ...option[T]) form[T] {
	var all []string
	var values []any
	for _, o := range options {
		all = append(all, o.word)
		values = append(values, o.word)
		if o.word == "true" || o.word == "false" {
			values[len(values)-1] = o.word == "true"
		}
	}
	return words("", what, object{"enum": values}, func(s string) (v T, err error) {
		for _, o := range options {
			if o.word == s {
				return o.value, nil
			}
		}
		f := fault.New(fault.Range, "%s is not %s", keyed.Quote(s), what).Fix("write %s", strings.Join(all, " or "))
		if near := nearest(s, all); near != "" && len(s) > 2 { // two letters are near to anything
			f.Fix("did you mean %s? The choices are %s", near, strings.Join(all, ", "))
		}
		return v, f
	})
}

type option[T any] struct {
	word  string
	value T
}

// truth reads true and false, and the yes and no that people write.
func truth(yes bool) form[bool] {
	return choice("true or false", option[bool]{"true", yes}, option[bool]{"false", !yes},
		option[bool]{"yes", yes}, option[bool]{"no", !yes})
}

// number reads a plain number within limits, both allowed.
func number(what string, least, most float64) form[float64] {
	return words("", what, object{"type": "number", "minimum": least, "maximum": most}, func(s string) (float64, error) {
		v, err := strconv.ParseFloat(s, 64)
		switch {
		case err != nil:
			return 0, fault.New(fault.Type, "%s is not a plain number", keyed.Quote(s)).Fix("write %s without a unit", what)
		case !(v >= least && v <= most):
			return 0, fault.New(fault.Range, "%s cannot be", keyed.Quote(s)).Fix("%s lies from %v to %v", what, least, most)
		}
		return v, nil
	})
}

// whole reads a whole number within limits, both allowed.
func whole(what string, least, most int) form[int] {
	return words("", what, object{"type": "integer", "minimum": least, "maximum": most}, func(s string) (int, error) {
		v, err := strconv.Atoi(s)
		switch {
		case err != nil:
			return 0, fault.New(fault.Type, "%s is not a whole number", keyed.Quote(s)).Fix("write %s in digits", what)
		case v < least || v > most:
			return 0, fault.New(fault.Range, "%d cannot be", v).Fix("%s lies from %d to %d", what, least, most)
		}
		return v, nil
	})
}

// sign is what a measured value may be.
type sign int

const (
	anySign     sign = iota
	notNegative      // zero is a value
	filled           // above zero, though its spread may begin there: 0..40 kg
	positive         // above zero with its whole spread
)

// refuses says why a value does not keep the limit. Its spread counts: a
// length of 1 m ± 200 % is a slip of the pen.
func (s sign) refuses(value, low float64) *fault.Fault {
	switch {
	case s != anySign && low < 0:
		return fault.New(fault.Range, "it cannot be below zero, nor can its spread reach there").
			Fix("check the figure and its spread")
	case s >= filled && value == 0:
		return fault.New(fault.Range, "it must be above zero").Fix("give the figure, or leave the key out if it is not known")
	case s == positive && low == 0:
		return fault.New(fault.Range, "its whole spread must be above zero").Fix("check the spread")
	}
	return nil
}

// measured reads a quantity with its unit and spread.
func measured[Q quantity.Quantity](name, what string, l sign, examples ...string) form[quantity.Measured[Q]] {
	schema := quantitySchema(what, examples)
	schema["allOf"] = []object{foreign[Q]()}
	return words(name, what, schema, func(s string) (quantity.Measured[Q], error) {
		m, err := quantity.Parse[Q](s)
		if err == nil {
			if f := l.refuses(float64(m.Value), float64(m.Low)); f != nil {
				return m, f
			}
		}
		return m, err
	})
}

// nearest is the known word that s was most likely meant as, empty when none
// is near: one slip, or two in a word of five letters or more.
func nearest(s string, known []string) string {
	best, least := "", 3
	for _, k := range known {
		long := max(len(s), len(k))
		if d := slips(strings.ToLower(s), strings.ToLower(k)); d < least && (d < 2 && long > 1 || long >= 5) {
			best, least = k, d
		}
	}
	return best
}

// slips counts letters added, dropped, replaced or swapped with their
// neighbour on the way from a to b (optimal string alignment distance), and
// gives up beyond 40 letters.
func slips(a, b string) int {
	x, y := []rune(a), []rune(b)
	const most = 40
	if len(x) > most || len(y) > most {
		return most
	}
	var d [most + 1][most + 1]int
	for i := range len(x) + 1 {
		for j := range len(y) + 1 {
			switch {
			case i == 0 || j == 0:
				d[i][j] = i + j
			default:
				cost := 1
				if x[i-1] == y[j-1] {
					cost = 0
				}
				d[i][j] = min(d[i-1][j]+1, d[i][j-1]+1, d[i-1][j-1]+cost)
				if i > 1 && j > 1 && x[i-1] == y[j-2] && x[i-2] == y[j-1] {
					d[i][j] = min(d[i][j], d[i-2][j-2]+1)
				}
			}
		}
	}
	return d[len(x)][len(y)]
}
