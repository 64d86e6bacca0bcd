package lift

import (
	"strconv"

	"plumbhook/fault"
)

// migrations[v] turns the tree of a file of version v into one of version
// v+1, in place. Values keep the places they have in the file, so that
// messages point at what the user wrote.
var migrations = [version]func(root *node){from0}

// from0 reads the draft form of the format: gravity stood at the top of the
// file, and the points of a spreader were called lugs.
func from0(root *node) {
	if g := root.take("gravity"); g != nil {
		site := root.get("site")
		if site == nil {
			site = &node{kind: table, name: "site", key: g.key, pos: g.pos}
			root.items = append(root.items, site)
		}
		g.name = "g"
		site.items = append(site.items, g)
	}
	if spreaders := root.get("spreaders"); spreaders != nil {
		for _, s := range spreaders.items {
			if lugs := s.get("lugs"); lugs != nil && s.get("points") == nil {
				lugs.name = "points"
			}
		}
	}
}

// take removes the value under a key and gives it; nil when there is none.
func (n *node) take(name string) *node {
	for i, it := range n.items {
		if it.name == name {
			n.items = append(n.items[:i], n.items[i+1:]...)
			return it
		}
	}
	return nil
}

// migrate brings the tree up to the version of this program. A version that
// is missing or no number is left for the reader to report.
func migrate(root *node) *fault.Fault {
	n := root.get("plumbhook")
	if n == nil || n.kind != scalar {
		return nil
	}
	v, err := strconv.Atoi(n.text)
	switch {
	case err != nil || v < 0:
		return nil
	case v > version:
		return fault.New(fault.Unsupported, "the file has version %d and was made by a newer program; this one reads up to version %d", v, version).
			In("plumbhook").At(n.pos).Fix("use a newer plumbhook")
	}
	for ; v < version; v++ {
		migrations[v](root)
	}
	n.text = strconv.Itoa(version)
	return nil
}
