package lift

import (
	"strconv"

	"plumbhook/fault"
	"plumbhook/keyed"
)

// migrations[v] turns the tree of a file of version v into one of version
// v+1, in place. Values keep the places they have in the file, so that
// messages point at what the user wrote.
var migrations = [version]func(root *keyed.Node){from0}

// from0 reads the draft form of the format: gravity stood at the top of the
// file, and the points of a spreader were called lugs.
func from0(root *keyed.Node) {
	if g := root.Take("gravity"); g != nil {
		site := root.Get("site")
		if site == nil {
			site = &keyed.Node{Kind: keyed.Table, Name: "site", Key: g.Key, Pos: g.Pos}
			root.Items = append(root.Items, site)
		}
		g.Name = "g"
		site.Items = append(site.Items, g)
	}
	if spreaders := root.Get("spreaders"); spreaders != nil {
		for _, s := range spreaders.Items {
			if lugs := s.Get("lugs"); lugs != nil && s.Get("points") == nil {
				lugs.Name = "points"
			}
		}
	}
}

// migrate brings the tree up to the version of this program. A version that
// is missing or no number is left for the reader to report.
func migrate(root *keyed.Node) *fault.Fault {
	n := root.Get("plumbhook")
	if n == nil || n.Kind != keyed.Scalar {
		return nil
	}
	v, err := strconv.Atoi(n.Text)
	switch {
	case err != nil || v < 0:
		return nil
	case v > version:
		return fault.New(fault.Unsupported, "the file has version %d and was made by a newer program; this one reads up to version %d", v, version).
			In("plumbhook").At(n.Pos).Fix("use a newer plumbhook")
	}
	for ; v < version; v++ {
		migrations[v](root)
	}
	n.Text = strconv.Itoa(version)
	return nil
}
