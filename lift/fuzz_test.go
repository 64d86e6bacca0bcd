package lift_test

import (
	"fmt"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"plumbhook/fault"
	"plumbhook/lift"
)

// FuzzRead: whatever the bytes, Read gives a lift or faults with a place, and
// does not panic.
func FuzzRead(f *testing.F) {
	files, err := filepath.Glob(filepath.Join(broken, "*.yaml"))
	if err != nil {
		f.Fatal(err)
	}
	for _, path := range append(files, "testdata/contract.yaml", "testdata/everything.yaml") {
		data, err := os.ReadFile(path)
		if err != nil {
			f.Fatal(err)
		}
		f.Add(data)
	}
	for _, s := range []string{base, "a: &a [*a]", "? [a]\n: b", "a: |\n  b\n c", "{a: b", "%YAML 1.2\n---\n", "!!map {}", "<<: [1, {a: b}]", "load: {parts: [[]]}", "legs: {a: {stack: [~]}}"} {
		f.Add([]byte(s))
	}
	folder := os.DirFS("testdata")
	f.Fuzz(func(t *testing.T, data []byte) {
		l, err := lift.Read("fuzz.yaml", folder, data)
		if (l == nil) == (err == nil) {
			t.Fatal("neither a lift nor a fault, or both")
		}
		lines := strings.Count(string(data), "\n") + strings.Count(string(data), "\r") + 1 // YAML counts a CR alone as well
		for _, f := range fault.Of(err) {
			here := f.Pos.File == "fuzz.yaml" // and not a file that it names
			if f.Code == fault.Internal || f.What == "" || f.Pos.Line < 1 || here && f.Pos.Line > lines+1 || f.Pos.Column < 1 {
				t.Fatalf("%+v", f)
			}
		}
	})
}

// rig is a random lift file as text, with what it must be read as.
type rig struct {
	sections []string // in an order that does not matter
	mass     float64
	lengths  []float64
	hooks    int
}

func drawRig(t *rapid.T) rig {
	r := rig{hooks: rapid.IntRange(1, 3).Draw(t, "hooks")}
	kg := rapid.IntRange(1, 99_999).Draw(t, "kg")
	r.mass = float64(kg)
	n := rapid.IntRange(r.hooks, 8).Draw(t, "legs")
	var lugs, hooks, legs strings.Builder
	for i := range r.hooks {
		fmt.Fprintf(&hooks, "  hook%d: {at: %d 0 9 m}\n", i, i)
	}
	for i := range n {
		mm := rapid.IntRange(1, 99_999).Draw(t, "mm")
		r.lengths = append(r.lengths, float64(mm)/1000)
		length := rapid.SampledFrom([]string{
			fmt.Sprintf("%d mm", mm), fmt.Sprintf("%d.%03d m", mm/1000, mm%1000), fmt.Sprintf("'%d mm ± 1 %%'", mm),
		}).Draw(t, "length")
		at := rapid.SampledFrom([]string{"%d 0 1 m", "[%d m, 0 m, 1 m]", "{at: %d 0 1 m, wll: 5 t}"}).Draw(t, "at")
		fmt.Fprintf(&lugs, "    lug%d: "+at+"\n", i, i)
		if rapid.Bool().Draw(t, "flow") {
			fmt.Fprintf(&legs, "  leg%d: {from: hook%d, to: load.lug%d, length: %s}\n", i, i%r.hooks, i, length)
		} else {
			fmt.Fprintf(&legs, "  leg%d:\n    length: %s\n    to: load.lug%d\n    from: hook%d\n", i, length, i, i%r.hooks)
		}
	}
	r.sections = []string{
		"plumbhook: 1\n", "title: at random\n",
		fmt.Sprintf("load:\n  mass: %d kg\n  cg: 0 0 0 m\n  lugs:\n%s", kg, lugs.String()),
		"hooks:\n" + hooks.String(), "legs:\n" + legs.String(),
	}
	return r
}

// TestRandomRigs: any order of keys and any notation give the same figures.
func TestRandomRigs(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		r := drawRig(t)
		text := strings.Join(r.sections, "")
		l, err := lift.Read("random.yaml", nil, []byte(text))
		if err != nil {
			t.Fatalf("%v\n%s", err, text)
		}
		if got := float64(l.Load.Sheet.Parts[0].Mass.Value); got != r.mass {
			t.Fatalf("mass %v, want %v", got, r.mass)
		}
		if len(l.Hooks) != r.hooks || len(l.Legs) != len(r.lengths) || len(l.Load.Lugs) != len(r.lengths) {
			t.Fatalf("%d hooks, %d legs", len(l.Hooks), len(l.Legs))
		}
		for i, want := range r.lengths {
			g := l.Legs[i]
			if !near(float64(g.Length.Value), want) || g.To.Point != fmt.Sprintf("lug%d", i) || l.Load.Lugs[i].At.XYZ() != [3]float64{float64(i), 0, 1} {
				t.Fatalf("leg %d: %+v, want length %v", i, g, want)
			}
		}
		again, err := lift.Read("random.yaml", nil, []byte(strings.Join(rapid.Permutation(r.sections).Draw(t, "order"), "")))
		if err != nil {
			t.Fatal(err)
		}
		if len(again.Legs) != len(l.Legs) || again.Legs[0].Length != l.Legs[0].Length {
			t.Fatal("another order of the sections gives another lift")
		}
		same, err := lift.Read("random.yaml", nil, []byte(text))
		if err != nil || !reflect.DeepEqual(same, l) {
			t.Fatal("the same bytes give another lift")
		}
	})
}

// TestRandomSlips: one wrong letter in a key is found where it stands.
func TestRandomSlips(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		r := drawRig(t)
		lines := strings.Split(strings.TrimSuffix(strings.Join(r.sections, ""), "\n"), "\n")
		i := rapid.IntRange(0, len(lines)-1).Draw(t, "line")
		indent := len(lines[i]) - len(strings.TrimLeft(lines[i], " "))
		key, rest, _ := strings.Cut(lines[i][indent:], ":")
		at := rapid.IntRange(0, len(key)).Draw(t, "at")
		wrong := key[:at] + "q" + key[at:]
		lines[i] = lines[i][:indent] + wrong + ":" + rest
		_, err := lift.Read("random.yaml", nil, []byte(strings.Join(lines, "\n")))
		named := strings.HasPrefix(key, "lug") && key != "lugs" || strings.HasPrefix(key, "hook") && key != "hooks" || strings.HasPrefix(key, "leg") && key != "legs"
		for _, f := range fault.Of(err) {
			if named {
				// A name may be anything; where it is used it is then missed.
				if f.Code != fault.Reference && f.Code != fault.Rig {
					t.Fatalf("%v\n%s", f, strings.Join(lines, "\n"))
				}
				continue
			}
			if f.Code != fault.UnknownKey || f.Pos.Line != i+1 || f.Pos.Column != indent+1 || !strings.Contains(f.Do, key) {
				t.Fatalf("%v, want %s in line %d\n%s", f, key, i+1, strings.Join(lines, "\n"))
			}
		}
		if err == nil && !strings.HasPrefix(key, "leg") {
			t.Fatalf("%s was accepted for %s", wrong, key)
		}
	})
}
