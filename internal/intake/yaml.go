package intake

import (
	"errors"
	"fmt"
	"regexp"
	"slices"
	"strings"
	"unicode"
	"unicode/utf8"

	"github.com/goccy/go-yaml/ast"
	"github.com/goccy/go-yaml/lexer"
	"github.com/goccy/go-yaml/parser"
	"github.com/goccy/go-yaml/token"

	"plumbhook/fault"
)

// Bounds that protect the program from a file made to choke it. A site of
// twenty gateways and two hundred channels stays well below each.
const (
	maxBytes  = 256 << 10
	maxTokens = 40_000
	maxDepth  = 12
	maxFaults = 200
)

// node is a value of the file with its place. A map and a list have items, a
// single value has text.
type node struct {
	name     string // its key, when it stands in a map
	path     string // channels.W.unit
	pos      fault.Pos
	text     string
	table    bool
	list     bool
	items    []*node
	verbatim bool // text stands at pos character for character
}

// reader goes through a file and gathers what is wrong.
type reader struct {
	file   string
	faults fault.List
}

func (r *reader) fault(n *node, code fault.Code, format string, args ...any) *fault.Fault {
	f := fault.New(code, format, args...).In(n.path).At(n.pos)
	r.faults = append(r.faults, f)
	return f
}

// adopt reports what another package said about n.
func (r *reader) adopt(n *node, err error) {
	for _, f := range fault.Of(err) {
		placed := *f
		placed.Where, placed.Pos = n.path, n.pos
		if n.verbatim {
			placed.Pos.Column += f.Offset
		}
		r.faults = append(r.faults, &placed)
	}
}

// err is what was found wrong, in the order of the file.
func (r *reader) err() error {
	if len(r.faults) > maxFaults {
		_ = r.faults.Err() // puts them in order
		more := r.faults[maxFaults]
		r.faults = append(r.faults[:maxFaults], fault.New(fault.TooLarge, "%d more mistakes from here on", len(r.faults)-maxFaults).
			At(more.Pos).Fix("correct the ones above first"))
	}
	return r.faults.Err()
}

// parse turns bytes into a tree, nil if they are no YAML. Anchors, aliases,
// merge keys and tags have no use in these files and are refused.
func (r *reader) parse(data []byte) *node {
	root := &node{pos: fault.Pos{File: r.file, Line: 1, Column: 1}}
	text := strings.TrimPrefix(string(data), "\ufeff")
	switch {
	case len(data) > maxBytes:
		r.fault(root, fault.TooLarge, "the file has %d bytes, the most is %d", len(data), maxBytes)
		return nil
	case !utf8.ValidString(text):
		r.fault(root, fault.Syntax, "the file is not text in UTF-8").Fix("save it as UTF-8")
		return nil
	}
	for i, line := range strings.Split(text, "\n") {
		j := strings.IndexFunc(line, func(c rune) bool {
			return c != '\t' && c != '\r' && (unicode.IsControl(c) || unicode.Is(unicode.Cf, c))
		})
		if j >= 0 {
			root.pos.Line, root.pos.Column = i+1, utf8.RuneCountInString(line[:j])+1
			r.fault(root, fault.Syntax, "a character that cannot be seen").Fix("type the line anew")
			return nil
		}
	}
	tokens := lexer.Tokenize(text)
	if len(tokens) > maxTokens {
		r.fault(root, fault.TooLarge, "the file has more than %d keys, values and marks", maxTokens)
		return nil
	}
	if t := tooDeep(tokens); t != nil {
		root.pos = r.pos(t)
		r.fault(root, fault.TooLarge, "more than %d maps and lists inside each other", maxDepth)
		return nil
	}
	tree, err := parseTokens(tokens)
	if err != nil {
		var at interface {
			GetToken() *token.Token
			GetMessage() string
		}
		said := err.Error()
		if errors.As(err, &at) {
			root.pos, said = r.pos(at.GetToken()), at.GetMessage()
		}
		r.fault(root, fault.Syntax, "not well-formed YAML: %s", clip(said)).
			Fix("look at this line and the one above: indentation, a missing colon, comma, bracket or quote")
		return nil
	}
	lines := strings.Split(text, "\n")
	for i, doc := range tree.Docs {
		switch {
		case doc.Body == nil:
		case i > 0:
			root.pos = r.pos(doc.Body.GetToken())
			r.fault(root, fault.Syntax, "a second document in one file").Fix("remove the line with ---")
		default:
			root = r.node(doc.Body, "", lines)
		}
	}
	return root
}

// tooDeep is the first token nested deeper than maxDepth. It is asked before
// the parser runs, which descends by recursion.
func tooDeep(tokens token.Tokens) *token.Token {
	flow := 0
	var block []int // columns of the block collections that are open
	for _, t := range tokens {
		column := t.Position.Column
		switch t.Type {
		case token.MappingStartType, token.SequenceStartType:
			flow++
		case token.MappingEndType, token.SequenceEndType:
			flow = max(0, flow-1)
		case token.MappingValueType, token.MappingKeyType, token.SequenceEntryType:
			if flow > 0 {
				continue
			}
			if t.Type == token.MappingValueType && t.Prev != nil {
				column = t.Prev.Position.Column
			}
			for len(block) > 0 && block[len(block)-1] >= column {
				block = block[:len(block)-1]
			}
			block = append(block, column)
		}
		if flow+len(block) > maxDepth {
			return t
		}
	}
	return nil
}

// parseTokens keeps a panic of the YAML library from reaching the caller: to
// the user it is a file that cannot be read like any other.
func parseTokens(tokens token.Tokens) (f *ast.File, err error) {
	defer func() {
		if recover() != nil {
			f, err = nil, errors.New("the text has no structure that can be made out")
		}
	}()
	return parser.Parse(tokens, 0, parser.AllowDuplicateMapKey())
}

func (r *reader) pos(t *token.Token) fault.Pos {
	if t == nil || t.Position == nil {
		return fault.Pos{File: r.file, Line: 1, Column: 1}
	}
	return fault.Pos{File: r.file, Line: max(1, t.Position.Line), Column: max(1, t.Position.Column)}
}

func (r *reader) node(a ast.Node, path string, lines []string) *node {
	n := &node{path: path, pos: r.pos(a.GetToken())}
	switch a := a.(type) {
	case *ast.NullNode:
	case *ast.MappingNode:
		n.table = true
		r.entries(n, a.Values, lines)
	case *ast.MappingValueNode:
		n.table = true
		r.entries(n, []*ast.MappingValueNode{a}, lines)
	case *ast.SequenceNode:
		n.list = true
		for i, it := range a.Values {
			n.items = append(n.items, r.node(it, fmt.Sprintf("%s[%d]", path, i+1), lines))
		}
	case *ast.StringNode:
		n.text = a.Value
		n.settle(lines)
	case *ast.LiteralNode:
		n.text = strings.TrimSpace(a.Value.Value)
	case *ast.AnchorNode, *ast.AliasNode, *ast.TagNode:
		r.fault(n, fault.Unsupported, "anchors, aliases and tags have no use here").Fix("write the value out")
	default:
		if _, ok := a.(ast.ScalarNode); !ok {
			r.fault(n, fault.Syntax, "a value that this file has no use for")
			return n
		}
		n.text = a.GetToken().Value
		n.settle(lines)
	}
	return n
}

// settle finds where a text stands exactly: at its token, or behind a quote.
func (n *node) settle(lines []string) {
	if n.text == "" || n.pos.Line > len(lines) {
		return
	}
	line, want := []rune(lines[n.pos.Line-1]), []rune(n.text)
	for from := n.pos.Column - 1; from <= n.pos.Column; from++ {
		if from+len(want) <= len(line) && slices.Equal(line[from:from+len(want)], want) {
			n.pos.Column, n.verbatim = from+1, true
			return
		}
	}
}

func (r *reader) entries(n *node, values []*ast.MappingValueNode, lines []string) {
	seen := map[string]fault.Pos{}
	for i, v := range values {
		key := &node{pos: r.pos(v.Key.GetToken()), path: n.path}
		if i == 0 {
			n.pos = key.pos
		}
		name, ok := keyText(v.Key)
		if !ok {
			r.fault(key, fault.Unsupported, "a key that is no plain text").Fix("write the key out")
			continue
		}
		path := name
		if n.path != "" {
			path = n.path + "." + name
		}
		it := r.node(v.Value, path, lines)
		it.name = name
		if it.text == "" {
			it.pos = key.pos
		}
		if first, twice := seen[name]; twice {
			r.fault(key, fault.Duplicate, "%s stands twice in one map, first in line %d", quote(name), first.Line).Fix("keep one of them")
			continue
		}
		seen[name] = key.pos
		n.items = append(n.items, it)
	}
}

func keyText(k ast.MapKeyNode) (string, bool) {
	if s, ok := k.(*ast.StringNode); ok {
		return s.Value, true
	}
	if _, ok := k.(ast.ScalarNode); ok && !k.IsMergeKey() && k.GetToken() != nil {
		return k.GetToken().Value, true
	}
	return "", false
}

// get is the value under a key, nil when there is none.
func (n *node) get(name string) *node {
	if n == nil {
		return nil
	}
	for _, it := range n.items {
		if n.table && it.name == name {
			return it
		}
	}
	return nil
}

// keys reports the keys of a map that are not among those known, and a value
// that is no map.
func (r *reader) keys(n *node, what string, known ...string) bool {
	if !n.table {
		r.fault(n, fault.Type, "%s is a map of keys", what).Fix("write its keys in lines of their own, indented")
		return false
	}
	for _, it := range n.items {
		if !slices.Contains(known, it.name) {
			key := &node{path: it.path, pos: it.pos}
			r.fault(key, fault.UnknownKey, "%s has no key %s", what, quote(it.name)).Fix("its keys are %s", strings.Join(known, ", "))
		}
	}
	return true
}

// text is the single value under a key, nil when there is none. need says what
// to write when it has to be there.
func (r *reader) text(n *node, key, need string) *node {
	it := n.get(key)
	switch {
	case it == nil && need != "":
		r.fault(n, fault.Missing, "the key %s is missing", key).Fix("%s", need)
	case it == nil:
	case it.table || it.list:
		r.fault(it, fault.Type, "%s is a single value", key)
	case strings.TrimSpace(it.text) == "":
		r.fault(it, fault.Missing, "nothing stands behind %s", key)
	case len(it.text) > 1000:
		r.fault(it, fault.TooLarge, "%s is longer than 1000 characters", key)
	default:
		return it
	}
	return nil
}

// texts are the values of a list under a key, or the one that stands there.
func (r *reader) texts(n *node, key string) (out []string) {
	it := n.get(key)
	if it == nil {
		return nil
	}
	if !it.list {
		if it = r.text(n, key, ""); it != nil {
			out = append(out, it.text)
		}
		return out
	}
	for _, e := range it.items {
		if e.table || e.list || strings.TrimSpace(e.text) == "" {
			r.fault(e, fault.Type, "%s is a list of texts", key)
			continue
		}
		out = append(out, e.text)
	}
	return out
}

// choice is the value of a key that has to be one of several words.
func (r *reader) choice(n *node, key, need string, words ...string) string {
	it := r.text(n, key, need)
	if it == nil {
		return ""
	}
	if !slices.Contains(words, it.text) {
		r.fault(it, fault.Range, "%s cannot be %s", key, quote(it.text)).Fix("write one of: %s", strings.Join(words, ", "))
		return ""
	}
	return it.text
}

var plainName = regexp.MustCompile(`^[\pL\pN][\pL\pN._-]{0,63}$`)

// quote shows a text from the file in a message.
func quote(s string) string { return "`" + clip(s) + "`" }

func clip(s string) string {
	const most = 60
	s = strings.Join(strings.Fields(s), " ")
	if r := []rune(s); len(r) > most {
		return string(r[:most]) + "..."
	}
	return s
}
