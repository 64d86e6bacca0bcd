// Package keyed reads the small YAML files of the trade, a channel map, a
// survey, a certificate, as a tree of texts with their places: strict about
// keys, all mistakes told at once, each with line and column. What a text
// means is for the reader of its key to say.
package keyed

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

// A Node is a value of the file with its place. A map and a list have items, a
// single value has text.
type Node struct {
	Name     string // its key, when it stands in a map
	Path     string // channels.W.unit
	Pos      fault.Pos
	Text     string
	Table    bool
	List     bool
	Items    []*Node
	verbatim bool // Text stands at pos character for character
}

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
		placed.Where, placed.Pos = n.Path, n.Pos
		if n.verbatim {
			placed.Pos.Column += f.Offset
		}
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
	root := &Node{Pos: fault.Pos{File: r.File, Line: 1, Column: 1}}
	text := strings.TrimPrefix(string(data), "\ufeff")
	switch {
	case len(data) > maxBytes:
		r.Fault(root, fault.TooLarge, "the file has %d bytes, the most is %d", len(data), maxBytes)
		return nil
	case !utf8.ValidString(text):
		r.Fault(root, fault.Syntax, "the file is not text in UTF-8").Fix("save it as UTF-8")
		return nil
	}
	for i, line := range strings.Split(text, "\n") {
		j := strings.IndexFunc(line, func(c rune) bool {
			return c != '\t' && c != '\r' && (unicode.IsControl(c) || unicode.Is(unicode.Cf, c))
		})
		if j >= 0 {
			root.Pos.Line, root.Pos.Column = i+1, utf8.RuneCountInString(line[:j])+1
			r.Fault(root, fault.Syntax, "a character that cannot be seen").Fix("type the line anew")
			return nil
		}
	}
	tokens := lexer.Tokenize(text)
	if len(tokens) > maxTokens {
		r.Fault(root, fault.TooLarge, "the file has more than %d keys, values and marks", maxTokens)
		return nil
	}
	if t := tooDeep(tokens); t != nil {
		root.Pos = r.pos(t)
		r.Fault(root, fault.TooLarge, "more than %d maps and lists inside each other", maxDepth)
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
			root.Pos, said = r.pos(at.GetToken()), at.GetMessage()
		}
		r.Fault(root, fault.Syntax, "not well-formed YAML: %s", clip(said)).
			Fix("look at this line and the one above: indentation, a missing colon, comma, bracket or quote")
		return nil
	}
	lines := strings.Split(text, "\n")
	for i, doc := range tree.Docs {
		switch {
		case doc.Body == nil:
		case i > 0:
			root.Pos = r.pos(doc.Body.GetToken())
			r.Fault(root, fault.Syntax, "a second document in one file").Fix("remove the line with ---")
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

func (r *Reader) pos(t *token.Token) fault.Pos {
	if t == nil || t.Position == nil {
		return fault.Pos{File: r.File, Line: 1, Column: 1}
	}
	return fault.Pos{File: r.File, Line: max(1, t.Position.Line), Column: max(1, t.Position.Column)}
}

func (r *Reader) node(a ast.Node, path string, lines []string) *Node {
	n := &Node{Path: path, Pos: r.pos(a.GetToken())}
	switch a := a.(type) {
	case *ast.NullNode:
	case *ast.MappingNode:
		n.Table = true
		r.entries(n, a.Values, lines)
	case *ast.MappingValueNode:
		n.Table = true
		r.entries(n, []*ast.MappingValueNode{a}, lines)
	case *ast.SequenceNode:
		n.List = true
		for i, it := range a.Values {
			n.Items = append(n.Items, r.node(it, fmt.Sprintf("%s[%d]", path, i+1), lines))
		}
	case *ast.StringNode:
		n.Text = a.Value
		n.settle(lines)
	case *ast.LiteralNode:
		n.Text = strings.TrimSpace(a.Value.Value)
	case *ast.AnchorNode, *ast.AliasNode, *ast.TagNode:
		r.Fault(n, fault.Unsupported, "anchors, aliases and tags have no use here").Fix("write the value out")
	default:
		if _, ok := a.(ast.ScalarNode); !ok {
			r.Fault(n, fault.Syntax, "a value that this file has no use for")
			return n
		}
		n.Text = a.GetToken().Value
		n.settle(lines)
	}
	return n
}

// settle finds where a text stands exactly: at its token, or behind a quote.
func (n *Node) settle(lines []string) {
	if n.Text == "" || n.Pos.Line > len(lines) {
		return
	}
	line, want := []rune(lines[n.Pos.Line-1]), []rune(n.Text)
	for from := n.Pos.Column - 1; from <= n.Pos.Column; from++ {
		if from+len(want) <= len(line) && slices.Equal(line[from:from+len(want)], want) {
			n.Pos.Column, n.verbatim = from+1, true
			return
		}
	}
}

func (r *Reader) entries(n *Node, values []*ast.MappingValueNode, lines []string) {
	seen := map[string]fault.Pos{}
	for i, v := range values {
		key := &Node{Pos: r.pos(v.Key.GetToken()), Path: n.Path}
		if i == 0 {
			n.Pos = key.Pos
		}
		name, ok := keyText(v.Key)
		if !ok {
			r.Fault(key, fault.Unsupported, "a key that is no plain text").Fix("write the key out")
			continue
		}
		path := name
		if n.Path != "" {
			path = n.Path + "." + name
		}
		it := r.node(v.Value, path, lines)
		it.Name = name
		if it.Text == "" {
			it.Pos = key.Pos
		}
		if first, twice := seen[name]; twice {
			r.Fault(key, fault.Duplicate, "%s stands twice in one map, first in line %d", Quote(name), first.Line).Fix("keep one of them")
			continue
		}
		seen[name] = key.Pos
		n.Items = append(n.Items, it)
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

// Get is the value under a key, nil when there is none.
func (n *Node) Get(name string) *Node {
	if n == nil {
		return nil
	}
	for _, it := range n.Items {
		if n.Table && it.Name == name {
			return it
		}
	}
	return nil
}

// Keys reports the keys of a map that are not among those known, and a value
// that is no map.
func (r *Reader) Keys(n *Node, what string, known ...string) bool {
	if !n.Table {
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
	case it.Table || it.List:
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
	if !it.List {
		if it = r.Text(n, key, ""); it != nil {
			out = append(out, it.Text)
		}
		return out
	}
	for _, e := range it.Items {
		if e.Table || e.List || strings.TrimSpace(e.Text) == "" {
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
