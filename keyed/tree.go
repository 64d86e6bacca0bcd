package keyed

import (
	"errors"
	"fmt"
	"strings"
	"unicode"
	"unicode/utf8"

	"github.com/goccy/go-yaml/ast"
	"github.com/goccy/go-yaml/lexer"
	"github.com/goccy/go-yaml/parser"
	"github.com/goccy/go-yaml/token"

	"plumbhook/fault"
)

// Bounds protect the program from a file made to choke it.
type Bounds struct {
	Bytes  int // of the file; the library reads about 1 MB/s of the worst text
	Tokens int // keys, values and punctuation marks
	Values int // values once aliases are written out
	Keys   int // outside of { }: the library's time grows with their square
	Depth  int // of maps and lists in each other
	// Aliases allows anchors, aliases, merge keys and the tags of YAML itself,
	// which are written out. Without it they are refused: a short file has no
	// use for them.
	Aliases bool
}

// Kind is what stands at a place of a file.
type Kind int

const (
	Empty  Kind = iota // nothing behind the colon
	Scalar             // one value
	List               // entries in [ ] or behind dashes
	Table              // keys with values
)

// String is the kind as a message says it.
func (k Kind) String() string {
	return [...]string{"nothing", "a single value", "a list", "a map of keys"}[k]
}

// A Node is a value of the file with the places it came from. Scalars keep
// their text: whether 0012 is a number is for the reader of that key to say.
type Node struct {
	Kind    Kind
	Name    string    // its key, when it stands in a map
	Path    string    // legs.west.stack[2]; list items count from 1
	Key     fault.Pos // of the key; of the value for list items
	Pos     fault.Pos // where messages about the value point: at a scalar's text, else at its key
	Text    string    // of a scalar
	Items   []*Node   // of a list or a map, in the order of the file
	Outside bool      // put there by its reader from elsewhere; it does not stand in the file

	inline bool // Text stands at Pos in the file, character for character
}

// Get is the value under a key of a map, nil when there is none.
func (n *Node) Get(name string) *Node {
	if n == nil || n.Kind != Table {
		return nil
	}
	for _, it := range n.Items {
		if it.Name == name {
			return it
		}
	}
	return nil
}

// Take removes the value under a key and gives it; nil when there is none.
func (n *Node) Take(name string) *Node {
	for i, it := range n.Items {
		if it.Name == name {
			n.Items = append(n.Items[:i], n.Items[i+1:]...)
			return it
		}
	}
	return nil
}

// At is the place of a character of the text.
func (n *Node) At(offset int) fault.Pos {
	p := n.Pos
	if n.inline {
		p.Column += offset
	}
	return p
}

// SetPaths names every value from n down by the keys that lead to it, and
// keeps the place of each by that path where places is not nil.
func (n *Node) SetPaths(path string, places map[string]fault.Pos) {
	n.Path = path
	if places != nil {
		places[path] = n.Pos
	}
	for i, it := range n.Items {
		if n.Kind == List {
			it.SetPaths(fmt.Sprintf("%s[%d]", path, i+1), places)
		} else {
			it.SetPaths(n.Below(it.Name), places)
		}
	}
}

// Below is the path of a key of n.
func (n *Node) Below(name string) string {
	if n.Path == "" {
		return name
	}
	return n.Path + "." + name
}

// Tree turns bytes into a tree. The tree is nil when the bytes are not YAML;
// duplicate keys and unknown aliases are reported beside a tree that leaves
// them out. Its paths are still to be set.
func Tree(file string, data []byte, most Bounds) (*Node, fault.List) {
	start := fault.Pos{File: file, Line: 1, Column: 1}
	if len(data) > most.Bytes {
		return nil, fault.List{fault.New(fault.TooLarge, "the file has %d bytes, the most is %d", len(data), most.Bytes).At(start).
			Fix("split it, or simplify it")}
	}
	text := strings.TrimPrefix(string(data), "\ufeff")
	for i, line := range strings.Split(text, "\n") {
		if j := strings.IndexFunc(line, unreadable); j >= 0 {
			pos := fault.Pos{File: file, Line: i + 1, Column: utf8.RuneCountInString(line[:j]) + 1}
			return nil, fault.List{fault.New(fault.Syntax, "a character that is not text in UTF-8").At(pos).
				Fix("save the file as UTF-8 text")}
		}
	}
	if f := tabbed(file, text); f != nil {
		return nil, fault.List{f}
	}
	tokens := lexer.Tokenize(text)
	if len(tokens) > most.Tokens {
		return nil, fault.List{fault.New(fault.TooLarge, "the file has more than %d keys, values and marks", most.Tokens).At(start).
			Fix("split it, or simplify it")}
	}
	if what, t := tooMuch(tokens, most); t != nil {
		return nil, fault.List{fault.New(fault.TooLarge, "%s", what).
			At(fault.Pos{File: file, Line: t.Position.Line, Column: t.Position.Column}).Fix("split it, or simplify it")}
	}
	y := yamlReader{file: file, lines: splitLines(text), most: most, anchors: map[string]ast.Node{}, left: most.Values}
	tree, err := parseTokens(tokens)
	if err != nil {
		return nil, fault.List{y.syntax(err)}
	}
	root := &Node{Key: start, Pos: start}
	for i, doc := range tree.Docs {
		switch {
		case doc.Body == nil:
		case i > 0:
			y.fault(fault.Syntax, doc.Body.GetToken(), "a second document in one file").
				Fix("remove the line with ---")
		default:
			root = y.node(doc.Body, 0)
		}
	}
	return root, y.faults
}

// unreadable characters are broken UTF-8 and the control characters that YAML
// does not allow.
func unreadable(r rune) bool {
	return r == utf8.RuneError || r == 0x7f || r < ' ' && r != '\t' && r != '\r'
}

// tabbed refuses a tab that is not before or in a comment, or at the end of a
// line: in the indentation YAML has none, and inside a value the library drops
// it, which would make 10 m of 1<tab>0 m.
func tabbed(file, text string) *fault.Fault {
	for i, line := range strings.Split(text, "\n") {
		comment := strings.HasPrefix(strings.TrimLeft(line, " \t"), "#")
		for j, c := range line {
			rest := strings.TrimLeft(line[j:], " \t\r")
			switch {
			case c == '#' && j > 0 && (line[j-1] == ' ' || line[j-1] == '\t'):
				comment = true
			case c != '\t' || comment || rest == "" || rest[0] == '#':
			default:
				what := "a tab stands inside a line"
				if strings.TrimLeft(line[:j], " \t") == "" {
					what = "a tab in the indentation"
				}
				return fault.New(fault.Syntax, "%s", what).At(fault.Pos{File: file, Line: i + 1, Column: utf8.RuneCountInString(line[:j]) + 1}).
					Fix("write spaces in its place")
			}
		}
	}
	return nil
}

func splitLines(text string) [][]rune {
	var out [][]rune
	for line := range strings.SplitSeq(text, "\n") {
		out = append(out, []rune(line))
	}
	return out
}

// tooMuch is the first token nested deeper than allowed, or the first key
// too many. It is asked before the parser runs, whose memory grows with
// the square of both.
func tooMuch(tokens token.Tokens, most Bounds) (what string, at *token.Token) {
	flow, keys := 0, 0
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
			keys++
			if t.Type == token.MappingValueType && t.Prev != nil {
				column = t.Prev.Position.Column
			}
			for len(block) > 0 && block[len(block)-1] >= column {
				block = block[:len(block)-1]
			}
			block = append(block, column)
		}
		if flow+len(block) > most.Depth {
			return fmt.Sprintf("more than %d maps and lists inside each other", most.Depth), t
		}
		if keys > most.Keys {
			return fmt.Sprintf("more than %d keys and list entries", most.Keys), t
		}
	}
	return "", nil
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

// yamlReader turns the library's tree into ours.
type yamlReader struct {
	file    string
	lines   [][]rune
	most    Bounds
	anchors map[string]ast.Node
	left    int // values that may still be read
	faults  fault.List
}

func (y *yamlReader) fault(code fault.Code, t *token.Token, format string, args ...any) *fault.Fault {
	f := fault.New(code, format, args...).At(y.pos(t))
	y.faults = append(y.faults, f)
	return f
}

func (y *yamlReader) pos(t *token.Token) fault.Pos {
	if t == nil || t.Position == nil {
		return fault.Pos{File: y.file, Line: 1, Column: 1}
	}
	return fault.Pos{File: y.file, Line: max(1, t.Position.Line), Column: max(1, t.Position.Column)}
}

// syntax puts the library's complaint in words that say what to mend.
func (y *yamlReader) syntax(err error) *fault.Fault {
	var at interface {
		GetToken() *token.Token
		GetMessage() string
	}
	if !errors.As(err, &at) {
		return fault.New(fault.Syntax, "%v", err).At(fault.Pos{File: y.file, Line: 1, Column: 1})
	}
	said, pos := at.GetMessage(), y.pos(at.GetToken())
	f := fault.New(fault.Syntax, "not well-formed YAML: %s", said).At(pos).
		Fix("look at this line and the one above: indentation, a missing colon, comma, bracket or quote")
	for _, w := range []struct{ said, what, do string }{
		{"end token '}'", "the { that opens here is not closed", "add the }"},
		{"end token ']'", "the [ that opens here is not closed", "add the ]"},
		{"',' or '}'", "a comma or a } is missing before this", "separate the keys by commas and close with }"},
		{"',' or ']'", "a comma or a ] is missing before this", "separate the entries by commas and close with ]"},
		{"end character of", "a quote that opens here is not closed", "close the quote"},
		{"mapping value is not allowed", "a second colon in one line", "put the value in quotes, or start a new line"},
		{"non-map value", "this is no `key: value`, but keys stand before it", "add the colon, or indent it under the key it belongs to"},
		{"value is not allowed in this context", "this does not belong to the key above", "check the indentation, and that the key has a colon"},
		{"unexpected key name", "a key runs over the end of its line", "check that the line above has a colon after its key"},
	} {
		if strings.Contains(said, w.said) {
			f.What = w.what
			return f.Fix("%s", w.do)
		}
	}
	return f
}

func (y *yamlReader) node(a ast.Node, depth int) *Node {
	pos := y.pos(a.GetToken())
	n := &Node{Key: pos, Pos: pos}
	if y.left--; y.left < 0 || depth > y.most.Depth {
		if y.left == -1 || depth > y.most.Depth {
			y.fault(fault.TooLarge, a.GetToken(), "the file grows beyond %d values or %d levels when its aliases are written out", y.most.Values, y.most.Depth)
			y.left = min(y.left, -1)
		}
		return n
	}
	switch a.(type) {
	case *ast.AnchorNode, *ast.AliasNode, *ast.TagNode:
		if !y.most.Aliases {
			y.fault(fault.Unsupported, a.GetToken(), "anchors, aliases and tags have no use here").Fix("write the value out")
			return n
		}
	}
	switch a := a.(type) {
	case *ast.NullNode:
	case *ast.MappingNode:
		n.Kind = Table
		y.fields(n, a.Values, depth)
	case *ast.MappingValueNode:
		n.Kind = Table
		y.fields(n, []*ast.MappingValueNode{a}, depth)
	case *ast.SequenceNode:
		n.Kind = List
		for _, it := range a.Values {
			n.Items = append(n.Items, y.node(it, depth+1))
		}
	case *ast.AnchorNode:
		n = y.node(a.Value, depth+1)
		y.anchors[scalarText(a.Name)] = a.Value
	case *ast.AliasNode:
		name := scalarText(a.Value)
		target, ok := y.anchors[name]
		if !ok {
			y.fault(fault.Reference, a.GetToken(), "nothing before this is marked &%s", clip(name)).
				Fix("mark the value to repeat with &%s where it first stands", clip(name))
			return n
		}
		return y.node(target, depth+1)
	case *ast.TagNode:
		tag := a.GetToken().Value
		if !strings.HasPrefix(tag, "!!") || a.Value == nil {
			y.fault(fault.Type, a.GetToken(), "the tag %s means nothing here", clip(tag)).Fix("remove it")
			return n
		}
		return y.node(a.Value, depth+1)
	default:
		s, ok := a.(ast.ScalarNode)
		if !ok {
			y.fault(fault.Syntax, a.GetToken(), "a value that this file has no use for")
			return n
		}
		n.Kind, n.Text = Scalar, y.seen(scalarText(s), a.GetToken())
		n.Pos, n.inline = y.find(pos, n.Text)
		n.Key = n.Pos
	}
	return n
}

// fields reads the entries of a map. Keys of the map itself win over those a
// merge key (<<) brings in.
func (y *yamlReader) fields(n *Node, values []*ast.MappingValueNode, depth int) {
	seen := map[string]fault.Pos{}
	var merged []*Node
	for i, v := range values {
		key := y.pos(v.Key.GetToken())
		if i == 0 {
			n.Pos, n.Key = key, key
		}
		if _, plain := v.Key.(ast.ScalarNode); !y.most.Aliases && (!plain || v.Key.IsMergeKey()) {
			y.fault(fault.Unsupported, v.Key.GetToken(), "a key that is no plain text").Fix("write the key out")
			continue
		}
		it := y.node(v.Value, depth+1)
		if v.Key.IsMergeKey() {
			merged = append(merged, y.mergeable(it)...)
			continue
		}
		it.Name, it.Key = y.seen(keyText(v.Key), v.Key.GetToken()), key
		if first, twice := seen[it.Name]; twice {
			y.fault(fault.Duplicate, v.Key.GetToken(), "%s stands twice in one map, first in line %d", Quote(it.Name), first.Line).
				Fix("keep one of them")
			continue
		}
		seen[it.Name] = key
		if it.Kind != Scalar {
			it.Pos = key
		}
		n.Items = append(n.Items, it)
	}
	for _, it := range merged {
		if _, own := seen[it.Name]; !own {
			seen[it.Name] = it.Key
			n.Items = append(n.Items, it)
		}
	}
}

// seen refuses characters that do not show, or that act on a screen: what is
// read aloud must be what the program reads. It gives the text without them.
func (y *yamlReader) seen(text string, t *token.Token) string {
	hidden := func(r rune) bool { return unicode.IsControl(r) && r != '\n' && r != '\t' || unicode.Is(unicode.Cf, r) }
	if !strings.ContainsFunc(text, hidden) {
		return text
	}
	y.fault(fault.Syntax, t, "a character that cannot be seen").Fix("type the text anew")
	return strings.Map(func(r rune) rune {
		if hidden(r) {
			return -1
		}
		return r
	}, text)
}

// mergeable gives the entries that a merge key brings in: those of a map, or
// of a list of maps of which the earlier win.
func (y *yamlReader) mergeable(n *Node) []*Node {
	maps := []*Node{n}
	if n.Kind == List {
		maps = n.Items
	}
	var out []*Node
	for _, m := range maps {
		if m.Kind != Table {
			y.faults = append(y.faults, fault.New(fault.Type, "%s after <<, where a map of keys is due", m.Kind).At(m.Pos))
			continue
		}
		out = append(out, m.Items...)
	}
	return out
}

// find looks where the text of a scalar stands exactly: at its token, or one
// further behind a quote.
func (y *yamlReader) find(p fault.Pos, text string) (fault.Pos, bool) {
	if text == "" || p.Line > len(y.lines) {
		return p, false
	}
	line, want := y.lines[p.Line-1], []rune(text)
	for from := p.Column - 1; from <= p.Column; from++ {
		if from+len(want) <= len(line) && string(line[from:from+len(want)]) == text {
			p.Column = from + 1
			return p, true
		}
	}
	return p, false
}

// scalarText is a scalar as written, quotes and escapes resolved.
func scalarText(a ast.Node) string {
	switch a := a.(type) {
	case *ast.StringNode:
		return a.Value
	case *ast.LiteralNode:
		return strings.TrimSpace(a.Value.Value)
	}
	if a == nil || a.GetToken() == nil {
		return ""
	}
	return a.GetToken().Value
}

func keyText(a ast.Node) string {
	switch a := a.(type) {
	case *ast.MappingKeyNode:
		return keyText(a.Value)
	case *ast.AnchorNode:
		return keyText(a.Value)
	case *ast.TagNode:
		return keyText(a.Value)
	}
	return scalarText(a)
}
