// Package keyed reads the small YAML files of the trade, a channel map, a
// survey, a certificate, as a tree of texts with their places: strict about
// keys, all mistakes told at once, each with line and column. What a text
// means is for the reader of its key to say.
package keyed

import (
	"regexp"
	"slices"
	"strings"

	"plumbhook/fault"
)

// short bounds the small files: a site of twenty gateways and two hundred
// channels stays well below.
var short = Bounds{Bytes: 256 << 10, Tokens: 40_000, Values: 40_000, Keys: 5_000, Depth: 12}

const maxFaults = 200

// A Reader goes through a file and gathers what is wrong.
type Reader struct {
	File   string
	Faults fault.List
}

// Fault reports what is wrong with n.
func (r *Reader) Fault(n *Node, code fault.Code, format string, args ...any) *fault.Fault {
	f := fault.New(code, format, args...).In(n.Path).At(n.Pos)
	r.Faults = append(r.Faults, f)
	return f
}

// Adopt reports what another package said about n.
func (r *Reader) Adopt(n *Node, err error) {
	for _, f := range fault.Of(err) {
		placed := *f
		placed.Where, placed.Pos = n.Path, n.At(f.Offset)
		r.Faults = append(r.Faults, &placed)
	}
}

// Err is what was found wrong, in the order of the file.
func (r *Reader) Err() error {
	if len(r.Faults) > maxFaults {
		_ = r.Faults.Err() // puts them in order
		more := r.Faults[maxFaults]
		r.Faults = append(r.Faults[:maxFaults], fault.New(fault.TooLarge, "%d more mistakes from here on", len(r.Faults)-maxFaults).
			At(more.Pos).Fix("correct the ones above first"))
	}
	return r.Faults.Err()
}

// Parse turns bytes into a tree, nil if they are no YAML. Anchors, aliases,
// merge keys and tags have no use in these files and are refused.
func (r *Reader) Parse(data []byte) *Node {
	root, faults := Tree(r.File, data, short)
	r.Faults = append(r.Faults, faults...)
	if root != nil {
		root.SetPaths("", nil)
	}
	return root
}

// Keys reports the keys of a map that are not among those known, and a value
// that is no map.
func (r *Reader) Keys(n *Node, what string, known ...string) bool {
	if n.Kind != Table {
		r.Fault(n, fault.Type, "%s is a map of keys", what).Fix("write its keys in lines of their own, indented")
		return false
	}
	for _, it := range n.Items {
		if !slices.Contains(known, it.Name) {
			key := &Node{Path: it.Path, Pos: it.Pos}
			r.Fault(key, fault.UnknownKey, "%s has no key %s", what, Quote(it.Name)).Fix("its keys are %s", strings.Join(known, ", "))
		}
	}
	return true
}

// Text is the single value under a key, nil when there is none. need says what
// to write when it has to be there.
func (r *Reader) Text(n *Node, key, need string) *Node {
	it := n.Get(key)
	switch {
	case it == nil && need != "":
		r.Fault(n, fault.Missing, "the key %s is missing", key).Fix("%s", need)
	case it == nil:
	case it.Kind == Table || it.Kind == List:
		r.Fault(it, fault.Type, "%s is a single value", key)
	case strings.TrimSpace(it.Text) == "":
		r.Fault(it, fault.Missing, "nothing stands behind %s", key)
	case len(it.Text) > 1000:
		r.Fault(it, fault.TooLarge, "%s is longer than 1000 characters", key)
	default:
		return it
	}
	return nil
}

// Texts are the values of a list under a key, or the one that stands there.
func (r *Reader) Texts(n *Node, key string) (out []string) {
	it := n.Get(key)
	if it == nil {
		return nil
	}
	if it.Kind != List {
		if it = r.Text(n, key, ""); it != nil {
			out = append(out, it.Text)
		}
		return out
	}
	for _, e := range it.Items {
		if e.Kind == Table || e.Kind == List || strings.TrimSpace(e.Text) == "" {
			r.Fault(e, fault.Type, "%s is a list of texts", key)
			continue
		}
		out = append(out, e.Text)
	}
	return out
}

// Choice is the value of a key that has to be one of several words.
func (r *Reader) Choice(n *Node, key, need string, words ...string) string {
	it := r.Text(n, key, need)
	if it == nil {
		return ""
	}
	if !slices.Contains(words, it.Text) {
		r.Fault(it, fault.Range, "%s cannot be %s", key, Quote(it.Text)).Fix("write one of: %s", strings.Join(words, ", "))
		return ""
	}
	return it.Text
}

var plainName = regexp.MustCompile(`^[\pL\pN][\pL\pN._-]{0,63}$`)

// PlainName tells whether a text can name a channel, a cell or a placement:
// letters, figures, dots, hyphens and underscores, 64 at the most.
func PlainName(s string) bool { return plainName.MatchString(s) }

// Quote shows a text from the file in a message.
func Quote(s string) string { return "`" + clip(s) + "`" }

func clip(s string) string {
	const most = 60
	s = strings.Join(strings.Fields(s), " ")
	if r := []rune(s); len(r) > most {
		return string(r[:most]) + "..."
	}
	return s
}
