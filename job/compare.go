package job

import (
	"fmt"
	"slices"
	"strings"

	"github.com/goccy/go-yaml/ast"
	"github.com/goccy/go-yaml/parser"

	"plumbhook/fault"
)

// Change is one value of a lift file that differs between two revisions.
type Change struct {
	Path     string // as legs.west.stack[4].length; places in a list count from 1
	From, To string // empty: not there
}

// Compare lists what differs between two lift files, by what the text says and
// not by how it is laid out, in the order of the second one.
func Compare(from, to string) ([]Change, error) {
	a, err := flat(from)
	if err != nil {
		return nil, err
	}
	b, err := flat(to)
	if err != nil {
		return nil, err
	}
	was := map[string]string{}
	for _, v := range a {
		was[v.path] = v.text
	}
	var list []Change
	is := map[string]bool{}
	for _, v := range b {
		is[v.path] = true
		if was[v.path] != v.text {
			list = append(list, Change{v.path, was[v.path], v.text})
		}
	}
	for _, v := range a {
		if !is[v.path] {
			list = append(list, Change{v.path, v.text, ""})
		}
	}
	return list, nil
}

type leaf struct{ path, text string }

// flat lists the values of a YAML text with their paths.
func flat(text string) ([]leaf, error) {
	file, err := parser.ParseBytes([]byte(text), 0)
	if err != nil {
		return nil, fault.New(fault.Syntax, "a revision is not well-formed").Because(err).Fix("compare revisions that check can read")
	}
	var list []leaf
	for _, doc := range file.Docs {
		if doc.Body != nil {
			list = walk(list, "", doc.Body)
		}
	}
	return list, nil
}

func walk(list []leaf, path string, n ast.Node) []leaf {
	switch n := n.(type) {
	case *ast.MappingNode:
		for _, v := range n.Values {
			list = walk(list, path, v)
		}
	case *ast.MappingValueNode:
		key := strings.Trim(n.Key.String(), `"'`)
		if path != "" {
			key = path + "." + key
		}
		list = walk(list, key, n.Value)
	case *ast.SequenceNode:
		// A list of numbers is one value: the place 0 0 0.9 m, in its other form.
		if !slices.ContainsFunc(n.Values, func(v ast.Node) bool { return v.Type() == ast.MappingType || v.Type() == ast.MappingValueType }) {
			return append(list, leaf{path, plain(n)})
		}
		for i, v := range n.Values {
			list = walk(list, fmt.Sprintf("%s[%d]", path, i+1), v)
		}
	case *ast.TagNode:
		list = walk(list, path, n.Value)
	case *ast.AnchorNode:
		list = walk(list, path, n.Value)
	case nil:
	default:
		list = append(list, leaf{path, plain(n)})
	}
	return list
}

// plain is a value as written, without comment and quotes.
func plain(n ast.Node) string {
	if s, ok := n.(*ast.StringNode); ok {
		return strings.Join(strings.Fields(s.Value), " ")
	}
	if l, ok := n.(*ast.SequenceNode); ok {
		words := make([]string, len(l.Values))
		for i, v := range l.Values {
			words[i] = plain(v)
		}
		return "[" + strings.Join(words, ", ") + "]"
	}
	if n.GetComment() != nil {
		_ = n.SetComment(nil)
	}
	return strings.Join(strings.Fields(n.String()), " ")
}
