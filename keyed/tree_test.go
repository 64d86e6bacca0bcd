package keyed_test

import (
	"strings"
	"testing"

	"plumbhook/keyed"
)

var bounds = keyed.Bounds{Bytes: 2000, Tokens: 200, Values: 100, Keys: 20, Depth: 4}

// What would be read otherwise than it looks, or would choke the reader, is
// refused at its place.
func TestTreeRefuses(t *testing.T) {
	for _, c := range []struct{ text, says string }{
		{"length: 1\t0 m", "a.yaml:1:10: a tab stands inside a line"},
		{"a:\n\tb: 1", "a.yaml:2:1: a tab in the indentation"},
		{"mass: 1\u200b0 t", "a character that cannot be seen"},
		{"mass: \x001", "a.yaml:1:7: a character that is not text in UTF-8"},
		{"a: &x 1\nb: *x", "a.yaml:1:4: anchors, aliases and tags have no use here"},
		{"a: !!str 1", "a.yaml:1:4: anchors, aliases and tags have no use here"},
		{"<<: {a: 1}", "a.yaml:1:1: a key that is no plain text"},
		{"a: 1\na: 2", "a.yaml:2:1: `a` stands twice in one map, first in line 1"},
		{"a: {b: {c: {d: {e: 1}}}}", "more than 4 maps and lists inside each other"},
		{strings.Repeat("k: 1\n", 30), "a.yaml:21:2: more than 20 keys and list entries"},
		{"a: [" + strings.Repeat("1, ", 120) + "1]", "the file has more than 200 keys, values and marks"},
		{strings.Repeat("#", 3000), "the file has 3000 bytes, the most is 2000"},
		{"a: 1\n---\nb: 2", "a.yaml:3:2: a second document in one file"},
		{"a: {b: 1", "the { that opens here is not closed"},
	} {
		_, faults := keyed.Tree("a.yaml", []byte(c.text), bounds)
		if err := faults.Err(); err == nil || !strings.Contains(err.Error(), c.says) {
			t.Errorf("%q: %v\nwant %q", c.text, err, c.says)
		}
	}
}

// Aliases are written out where they are allowed, to a bound.
func TestTreeAliases(t *testing.T) {
	most := bounds
	most.Aliases = true
	root, faults := keyed.Tree("a.yaml", []byte("a: &x {m: 1, n: 2}\nb: {<<: *x, n: 3}"), most)
	if faults.Err() != nil {
		t.Fatal(faults.Err())
	}
	if b := root.Get("b"); b.Get("m").Text != "1" || b.Get("n").Text != "3" || len(b.Items) != 2 {
		t.Errorf("b is %+v", b.Items)
	}
	bomb := "a: &a [1, 1, 1, 1, 1, 1]\nb: &b [*a, *a, *a, *a, *a, *a]\nc: [*b, *b, *b, *b, *b]"
	if _, faults = keyed.Tree("a.yaml", []byte(bomb), most); faults.Err() == nil || !strings.Contains(faults.Err().Error(), "100 values") {
		t.Errorf("aliases that grow: %v", faults.Err())
	}
}

// FuzzTree: whatever the bytes are, the tree stays within its bounds and every
// mistake has its place.
func FuzzTree(f *testing.F) {
	for _, s := range []string{"", "a: 1", "a: [1, {b: 2}]", "a: &x 1\nb: *x", "- a\n- b: |\n    text", "a: 'x\ty'"} {
		f.Add([]byte(s), true)
	}
	f.Fuzz(func(t *testing.T, data []byte, aliases bool) {
		most := bounds
		most.Aliases = aliases
		root, faults := keyed.Tree("a.yaml", data, most)
		if root == nil && len(faults) == 0 {
			t.Fatal("nothing was read and nothing is wrong")
		}
		for _, one := range faults {
			if one.Pos.Line < 1 || one.Pos.Column < 1 {
				t.Fatalf("%v has no place", one)
			}
		}
		var count func(*keyed.Node) int
		count = func(n *keyed.Node) int {
			all := 1
			for _, it := range n.Items {
				all += count(it)
			}
			return all
		}
		if root != nil && len(faults) == 0 && count(root) > 3*most.Values {
			t.Fatalf("%d values", count(root))
		}
	})
}
