package arch

import (
	"os"
	"path"
	"slices"
	"strings"
	"testing"
	"testing/fstest"
)

// TestModule holds this module to its own map.
func TestModule(t *testing.T) {
	breaches, err := Check(os.DirFS("../.."))
	if err != nil {
		t.Fatal(err)
	}
	for _, b := range breaches {
		t.Error(b)
	}
}

// TestCheckFinds shows each rule a module that breaks it. Every file counts
// its lines from the package clause, which is line 2 under its comment.
func TestCheckFinds(t *testing.T) {
	const doc = "// Package %s is one of ours.\n"
	for _, c := range []struct {
		name string
		file string
		src  string
		want string // the start of the only breach; empty for none
	}{
		{"leaf", "quantity/a.go", `package quantity; import _ "plumbhook/fault"`, ""},
		{"upwards", "lift/a.go", `package lift; import _ "plumbhook/statics"`, ""},
		{"nested", "internal/intake/mqtt/a.go", `package mqtt; import _ "plumbhook/internal/intake"`, ""},
		{
			"downwards", "statics/a.go", `package statics; import _ "plumbhook/lift"`,
			"statics/a.go:2: statics (numerics) imports lift from the layer below it (trade)",
		},
		{
			"sideways", "takeoff/a.go", `package takeoff; import _ "plumbhook/statics"`,
			"takeoff/a.go:2: takeoff imports statics from its own layer (numerics) without",
		},
		{
			"nested downwards", "lift/yaml/a.go", `package yaml; import _ "plumbhook/draw"`,
			"lift/yaml/a.go:2: lift/yaml (trade) imports draw",
		},
		{
			"second opinion", "sim/a.go", `package sim; import _ "plumbhook/statics"`,
			"sim/a.go:2: sim must not import statics: the virtual lift moves by",
		},
		{
			"record and watch", "record/a.go", `package record; import _ "plumbhook/watch"`,
			"record/a.go:2: record must not import watch: a recording",
		},
		{
			"test helper", "lift/a.go", `package lift; import _ "plumbhook/internal/testkit"`,
			"lift/a.go:2: lift imports internal/testkit, which serves tests only",
		},
		{"a test may", "lift/a_test.go", `package lift; import _ "plumbhook/internal/testkit"`, ""},
		{
			"off the map", "hoistway/a.go", `package hoistway`,
			"hoistway/a.go:2: package hoistway is on no layer",
		},
		{
			"off the map, imported", "lift/a.go", `package lift; import _ "plumbhook/hoistway"`,
			"lift/a.go:2: lift imports hoistway, which is on no layer",
		},

		{"file", "lift/a.go", `package lift; import _ "os"`, "lift/a.go:2: lift must not import os: files"},
		{"network", "infer/a.go", `package infer; import _ "net/http"`, "infer/a.go:2: infer must not import net/http: nothing"},
		{"log", "alarm/a.go", `package alarm; import _ "log/slog"`, "alarm/a.go:2: alarm must not import log/slog: what"},
		{"outputs may", "draw/a.go", `package draw; import _ "os"`, ""},
		{
			"clock", "reading/a.go", `package reading; import "time"; var _ = time.Second; func f() any { return time.Now() }`,
			"reading/a.go:2: reading must not use time.Now: time comes in",
		},
		{
			"renamed clock", "reading/a.go", `package reading; import t "time"; func f() { x.Unknown(t.After(1)) }`,
			"reading/a.go:2: reading must not use time.After",
		},
		{"a field named as the package", "reading/a.go", `package reading; func f(time struct{ Now int }) int { return time.Now }`, ""},
		{
			"global dice", "spread/a.go", `package spread; import "math/rand/v2"; func f() any { return rand.Float64() }`,
			"spread/a.go:2: spread must not use rand.Float64: same input",
		},
		{"seeded dice", "spread/a.go", `package spread; import "math/rand/v2"; func f() *rand.Rand { return rand.New(rand.NewPCG(1, 2)) }`, ""},
		{
			"printing", "verdict/a.go", `package verdict; import "fmt"; func f() { fmt.Println() }`,
			"verdict/a.go:2: verdict must not use fmt.Println",
		},
		{
			"global state", "statics/a.go", `package statics; var n struct{ hits []int }; func f() { n.hits[2]++ }`,
			"statics/a.go:2: statics assigns to the package variable n",
		},
		{
			"global state by range", "statics/a.go", `package statics; var n int; func f(a []int) { for _, n = range a {} }`,
			"statics/a.go:2: statics assigns to the package variable n",
		},
		{"constant table", "statics/a.go", `package statics; var n = []int{1}; func f() int { n := n; n[0] = 2; return n[0] }`, ""},

		{"no package comment", "lift/b.go", `package nameless`, "lift/b.go:2: package lift has no comment"},
		{"no comment", "lift/a.go", "package lift\nfunc F() {}", "lift/a.go:3: exported F has no comment"},
		{
			"no comment on a method", "lift/a.go", "package lift\ntype l[T any] int\nfunc (l[T]) F() {}\n// L is one.\ntype L[T any] int\nfunc (*L[T]) G() {}",
			"lift/a.go:7: exported G has no comment",
		},
		{"comment of the group", "lift/a.go", "package lift\n// The kinds.\nconst (\nA = 1\nB = 2\n)\nvar (\nC = 3 // is three\n)", ""},
		{"no comment in a group", "lift/a.go", "package lift\nvar (\nA = 1\n)", "lift/a.go:4: exported A has no comment"},
		{"own shape is free", "internal/cli/a.go", "package cli\nfunc F() {}", ""},
		{"JSON", "draw/a.go", "package draw; type t struct { a int `json:\"a\"` }", "draw/a.go:2: a JSON tag"},
		{"JSON in its home", "contract/a.go", "package contract; type t struct { a int `json:\"a\"` }", ""},
	} {
		t.Run(c.name, func(t *testing.T) {
			breaches, err := Check(fstest.MapFS{
				c.file: {Data: []byte(strings.ReplaceAll(doc, "%s", path.Base(path.Dir(c.file))) + c.src)},
			})
			if err != nil {
				t.Fatal(err)
			}
			switch {
			case c.want == "" && len(breaches) > 0:
				t.Errorf("complained: %q", breaches)
			case c.want != "" && (len(breaches) != 1 || !strings.HasPrefix(breaches[0], c.want)):
				t.Errorf("said %q, want %q", breaches, c.want)
			}
		})
	}
}

func TestCheckAsksForUnusedEdges(t *testing.T) {
	breaches, err := Check(fstest.MapFS{
		"quantity/a.go": {Data: []byte("// Package quantity is one.\npackage quantity")},
		"fault/a.go":    {Data: []byte("// Package fault is one.\npackage fault")},
	})
	if err != nil || len(breaches) != 1 || !strings.HasPrefix(breaches[0], "quantity no longer imports fault") {
		t.Errorf("said %q, %v", breaches, err)
	}
}

func TestCheckWantsSource(t *testing.T) {
	if _, err := Check(fstest.MapFS{"lift/testdata/a.go": {Data: []byte("package a")}}); err == nil {
		t.Error("a module without a package passed")
	}
	if _, err := Check(fstest.MapFS{"lift/a.go": {Data: []byte("packaged")}}); err == nil {
		t.Error("a file that does not parse passed")
	}
}

// TestMap holds the map to itself: each package once, and edges between
// packages that are on it.
func TestMap(t *testing.T) {
	rows := map[string]int{}
	for i, l := range layers {
		for _, p := range l.packages {
			if _, twice := rows[p]; twice || slices.Contains(beside, p) {
				t.Errorf("%s is on the map twice", p)
			}
			rows[p] = i
		}
	}
	for _, e := range slices.Concat(sideways, never) {
		_, from := rows[e.from]
		_, to := rows[e.to]
		if !from || !to || e.why == "" {
			t.Errorf("edge %+v: both ends have to be on the map, and it needs a reason", e)
		}
	}
	for _, e := range sideways {
		if rows[e.from] != rows[e.to] {
			t.Errorf("%s and %s are not on one layer", e.from, e.to)
		}
	}
}
