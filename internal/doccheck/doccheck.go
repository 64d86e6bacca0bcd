// Package doccheck reads the Markdown pages of this repository far enough to
// keep them true: their links lead somewhere, and the lift files they show
// are lift files.
//
// A page marks a whole lift file as a fenced block of kind "yaml lift". A
// block of kind "yaml lift part" shows some top-level keys of one: they stand
// for the same keys of the page's first whole file, or are added to it.
package doccheck

import (
	"regexp"
	"strings"
	"unicode"
)

// A Block is fenced code. Line is that of its first line of code, counted
// from 1.
type Block struct {
	Kind string
	Line int
	Text string
}

// A Link is a target as written. Line counts from 1.
type Link struct {
	Target string
	Line   int
}

// A Page is what a Markdown text holds that can be wrong.
type Page struct {
	Blocks  []Block
	Links   []Link
	Anchors map[string]bool // of its headings
}

var (
	inlineCode = regexp.MustCompile("`[^`]*`")
	inlineLink = regexp.MustCompile(`\]\(([^()\s]+)\)`)
	heading    = regexp.MustCompile(`^#{1,6} +(.*)$`)
	topKey     = regexp.MustCompile(`(?m)^[^\s#][^:\n]*:`)
)

// Read takes a page apart. Code, fenced or inline, holds no links.
func Read(text string) Page {
	p := Page{Anchors: map[string]bool{}}
	open := false
	for i, line := range strings.Split(text, "\n") {
		kind, fence := strings.CutPrefix(line, "```")
		switch {
		case fence && !open:
			p.Blocks = append(p.Blocks, Block{Kind: strings.TrimSpace(kind), Line: i + 2})
			open = true
		case fence:
			open = false
		case open:
			p.Blocks[len(p.Blocks)-1].Text += line + "\n"
		default:
			if h := heading.FindStringSubmatch(line); h != nil {
				p.Anchors[anchor(h[1])] = true
			}
			for _, l := range inlineLink.FindAllStringSubmatch(inlineCode.ReplaceAllString(line, ""), -1) {
				p.Links = append(p.Links, Link{l[1], i + 1})
			}
		}
	}
	return p
}

// anchor is the fragment that leads to a heading: small letters, blanks as
// hyphens, punctuation left out.
func anchor(heading string) string {
	return strings.Map(func(r rune) rune {
		switch {
		case r == ' ':
			return '-'
		case r == '-' || r == '_' || unicode.IsLetter(r) || unicode.IsDigit(r):
			return unicode.ToLower(r)
		}
		return -1
	}, heading)
}

// Patch puts the top-level keys of part into whole.
func Patch(whole, part string) string {
	keys, sections := split(whole)
	partKeys, partSections := split(part)
	for _, k := range partKeys {
		if _, known := sections[k]; !known {
			keys = append(keys, k)
		}
		sections[k] = partSections[k]
	}
	var b strings.Builder
	for _, k := range keys {
		b.WriteString(sections[k])
	}
	return b.String()
}

// split cuts YAML text at its top-level keys. What stands before the first
// one is left out.
func split(text string) (keys []string, sections map[string]string) {
	sections = map[string]string{}
	cuts := append(topKey.FindAllStringIndex(text, -1), []int{len(text), len(text)})
	for i, c := range cuts[:len(cuts)-1] {
		key := text[c[0]:c[1]]
		keys = append(keys, key)
		sections[key] = text[c[0]:cuts[i+1][0]]
	}
	return keys, sections
}
