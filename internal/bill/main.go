// Command bill lists what the program is made of: every module and every package
// of the web app that ends up in it, with version and licence. A licence that is
// not on the list below, or cannot be told, is an error; without errors it writes
// the list as a CycloneDX 1.5 bill of materials (ECMA-424).
//
// A licence is told by sentences that every copy of it has.
package main

import (
	"bytes"
	"encoding/json"
	"errors"
	"flag"
	"fmt"
	"io"
	"maps"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
)

// known are the licences that may be in the program, by SPDX identifier: all
// let it be given on in binary form. MPL-2.0 asks that changed files be given on
// in source; none is changed.
var known = []struct {
	id    string
	words []string
}{
	{"Apache-2.0", []string{"Apache License", "Version 2.0, January 2004"}},
	{"EPL-2.0 OR BSD-3-Clause", []string{"Eclipse Public License v2.0 and Eclipse Distribution License v1.0"}}, // the latter has the words of BSD-3-Clause
	{"MPL-2.0", []string{"Mozilla Public License", "2.0"}},
	{"BSD-3-Clause", []string{"Redistribution and use in source and binary forms", "may be used to endorse or promote products"}},
	{"BSD-2-Clause", []string{"Redistribution and use in source and binary forms"}},
	{"ISC", []string{"Permission to use, copy, modify, and/or distribute this software for any purpose"}},
	{"ISC", []string{"Permission to use, copy, modify, and distribute this software for any purpose"}},
	{"MIT", []string{"Permission is hereby granted, free of charge, to any person obtaining a copy"}},
	{"CC0-1.0", []string{"CC0 1.0 Universal"}},
	{"Unlicense", []string{"This is free and unencumbered software released into the public domain"}},
}

// part is one thing that the program is made of.
type part struct{ purl, name, version, licence, sum string }

func main() {
	target := flag.String("target", "./cmd/plumbhook", "the program")
	out := flag.String("o", "", "where the bill goes; nowhere when left out")
	flag.Parse()
	parts, err := modules(*target)
	if err == nil {
		var web []part
		web, err = packages("web/package-lock.json")
		parts = append(parts, web...)
	}
	if err == nil {
		err = judge(parts)
	}
	if err == nil && *out != "" {
		err = write(*out, parts)
	}
	if err != nil {
		fmt.Fprintln(os.Stderr, err)
		os.Exit(1)
	}
	count := map[string]int{}
	for _, p := range parts {
		count[p.licence]++
	}
	fmt.Printf("%d parts:", len(parts))
	for _, id := range slices.Sorted(maps.Keys(count)) {
		fmt.Printf(" %d %s", count[id], id)
	}
	fmt.Println()
}

// modules are those whose packages are compiled in, on any system that is
// released for.
func modules(target string) ([]part, error) {
	type module struct {
		Path, Version, Dir, Sum string
		Main                    bool
		Replace                 *module
	}
	found := map[string]part{}
	for _, system := range []string{"linux", "windows", "darwin"} {
		cmd := exec.Command("go", "list", "-deps", "-json=Module", target)
		cmd.Env = append(os.Environ(), "CGO_ENABLED=0", "GOOS="+system)
		cmd.Stderr = os.Stderr
		b, err := cmd.Output()
		if err != nil {
			return nil, fmt.Errorf("go list for %s: %w", system, err)
		}
		for d := json.NewDecoder(bytes.NewReader(b)); ; {
			var p struct{ Module *module }
			if err := d.Decode(&p); errors.Is(err, io.EOF) {
				break
			} else if err != nil {
				return nil, err
			}
			m := p.Module
			if m == nil || m.Main {
				continue
			}
			if m.Replace != nil {
				m = m.Replace
			}
			if _, there := found[m.Path]; there {
				continue
			}
			found[m.Path] = part{"pkg:golang/" + m.Path + "@" + m.Version, m.Path, m.Version, licenceIn(m.Dir), m.Sum}
		}
	}
	return slices.SortedFunc(maps.Values(found), func(a, b part) int { return strings.Compare(a.purl, b.purl) }), nil
}

// licenceIn tells the licence of a folder; empty when it cannot.
func licenceIn(dir string) string {
	files, _ := filepath.Glob(filepath.Join(dir, "*"))
	for _, f := range files {
		name := strings.ToUpper(filepath.Base(f))
		if !strings.HasPrefix(name, "LICEN") && !strings.HasPrefix(name, "COPYING") && !strings.HasPrefix(name, "UNLICENSE") {
			continue
		}
		if text, err := os.ReadFile(f); err == nil {
			if id := licenceOf(string(text)); id != "" {
				return id
			}
		}
	}
	return ""
}

func licenceOf(text string) string {
	text = strings.Join(strings.Fields(text), " ")
	for _, l := range known {
		if !slices.ContainsFunc(l.words, func(w string) bool { return !strings.Contains(text, w) }) {
			return l.id
		}
	}
	return ""
}

// packages are those of the web app, as its lock file says. Tools that build it
// leave pieces of themselves in it, so none is left out.
func packages(lock string) ([]part, error) {
	b, err := os.ReadFile(lock)
	if err != nil {
		return nil, err
	}
	var l struct {
		Packages map[string]struct {
			Version, License, Integrity string
			Optional                    bool
		}
	}
	if err := json.Unmarshal(b, &l); err != nil {
		return nil, err
	}
	var parts []part
	for _, at := range slices.Sorted(maps.Keys(l.Packages)) {
		i := strings.LastIndex(at, "node_modules/")
		if p := l.Packages[at]; i >= 0 && !p.Optional { // optional: binaries of the tools for other systems
			name := at[i+len("node_modules/"):]
			parts = append(parts, part{"pkg:npm/" + strings.Replace(name, "@", "%40", 1) + "@" + p.Version, name, p.Version, p.License, p.Integrity})
		}
	}
	return parts, nil
}

// tools are licences that only tools of the web app's build have; nothing of
// theirs is given on.
var tools = []string{"MIT OR Apache-2.0", "(MIT OR CC0-1.0)", "BlueOak-1.0.0", "Python-2.0", "0BSD"}

func judge(parts []part) error {
	var bad []error
	for _, p := range parts {
		fine := slices.ContainsFunc(known, func(l struct {
			id    string
			words []string
		},
		) bool {
			return l.id == p.licence
		}) || strings.HasPrefix(p.purl, "pkg:npm/") && slices.Contains(tools, p.licence)
		if !fine {
			bad = append(bad, fmt.Errorf("%s %s: licence %q is not one that may be in the program", p.name, p.version, p.licence))
		}
	}
	return errors.Join(bad...)
}

// write writes the bill. It has no time and no serial number: the same program
// has the same bill.
func write(path string, parts []part) error {
	type component struct {
		Type       string              `json:"type"`
		Ref        string              `json:"bom-ref"`
		Name       string              `json:"name"`
		Version    string              `json:"version"`
		PURL       string              `json:"purl"`
		Licences   []map[string]any    `json:"licenses"`
		Properties []map[string]string `json:"properties,omitempty"`
	}
	bill := struct {
		Format     string         `json:"bomFormat"`
		Spec       string         `json:"specVersion"`
		Version    int            `json:"version"`
		Metadata   map[string]any `json:"metadata"`
		Components []component    `json:"components"`
	}{"CycloneDX", "1.5", 1, map[string]any{"component": map[string]string{"type": "application", "name": "plumbhook", "bom-ref": "plumbhook"}}, nil}
	for _, p := range parts {
		c := component{"library", p.purl, p.name, p.version, p.purl, nil, nil}
		if strings.Contains(p.licence, " ") {
			c.Licences = []map[string]any{{"expression": strings.Trim(p.licence, "()")}}
		} else {
			c.Licences = []map[string]any{{"license": map[string]string{"id": p.licence}}}
		}
		if p.sum != "" {
			c.Properties = []map[string]string{{"name": "plumbhook:sum", "value": p.sum}}
		}
		bill.Components = append(bill.Components, c)
	}
	b, err := json.MarshalIndent(bill, "", " ")
	if err != nil {
		return err
	}
	return os.WriteFile(path, append(b, '\n'), 0o644)
}
