package gear_test

import (
	"maps"
	"math"
	"slices"
	"testing"

	"pgregory.net/rapid"

	"plumbhook/fault"
	"plumbhook/gear"
	"plumbhook/quantity"
)

// sane is what holds for any piece, whatever was said of it.
func sane(t interface {
	Helper()
	Fatalf(string, ...any)
}, kind string, facts gear.Facts,
) {
	t.Helper()
	before := maps.Clone(facts)
	pos := fault.Pos{Line: 1, Column: 1}
	p, err := gear.Look(kind, facts, pos)
	if !maps.Equal(before, facts) {
		t.Fatalf("the facts were changed: %v", facts)
	}
	if err != nil {
		for _, f := range fault.Of(err) {
			if f.Code == fault.Internal || f.What == "" || f.Do == "" || f.Pos != pos {
				t.Fatalf("%s %v: %+v", kind, facts, f)
			}
		}
		return
	}
	for _, r := range []*gear.Rated{p.WLL, p.Choker, p.Basket} {
		if r != nil && (!(r.Force > 0) || math.IsInf(float64(r.Force), 0) || r.Source == "" || r.Text == "") {
			t.Fatalf("%s %v: rated %+v", kind, facts, r)
		}
	}
	if p.WLL == nil && !noted(p, "no rating") {
		t.Fatalf("%s %v: not rated, and nothing says so: %q", kind, facts, p.Notes)
	}
	if w := facts["wll"]; w != "" && p.WLL != nil && !p.WLL.Tag {
		t.Fatalf("%s %v: the tag does not go first: %+v", kind, facts, p.WLL)
	}
	if k := p.Stiffness; k != nil && (!(k.Low > 0) || k.High < k.Low || p.Rigid) {
		t.Fatalf("%s %v: stiffness %+v", kind, facts, k)
	}
	if m := p.Mass; m != nil && (!(m.Low >= 0) || m.High < m.Low) {
		t.Fatalf("%s %v: mass %+v", kind, facts, m)
	}
	// Whatever it is, fit answers each question with words.
	q, _ := gear.Look("bow shackle", gear.Facts{"wll": "5 t", "size": "7/8 in", "jaw": "37 mm"}, pos)
	for _, all := range [][]gear.FitCheck{gear.Fit(p, q), gear.Fit(q, p), gear.Fit(p, p), gear.Running(p, q, q.Lower), gear.Bend(p, 0.1)} {
		if len(all) == 0 {
			t.Fatalf("%s %v: no answer on fit", kind, facts)
		}
		for _, c := range all {
			if (c.Text == "") == (c.NotAssessed == "") || (c.Demand == nil) != (c.Limit == nil) || c.Demand != nil && (math.IsNaN(*c.Demand) || !(*c.Limit > 0)) {
				t.Fatalf("%s %v: %+v", kind, facts, c)
			}
		}
	}
}

var values = []string{
	"", " ", "5 t", "6.5 short ton", "6.5 ton", "6.5", "-1 t", "1e300 kN", "7/8 in", "1 3/16 in", "13/16", "22 mm", "20..24 mm", "22 mm ± 1 mm", "0 mm", "1e-9 m",
	"A", "B", "80", "100", "8", "6", "mild", "higher tensile", "6x19 EIPS IWRC", "6x36 1770 IWRC", "6x37 IPS FC", "1770", "IWRC", "hand tucked", "hidden tuck",
	"mechanical", "steel ferrule", "socket", "polyester", "nylon", "natural", "eye and eye", "endless", "C-3", "RR-C-271", "LR 8.5.1", "ISO 2408", "H-1",
	"1918 EIPS IWRC", "0.1 % fs", "0.1 %", "10 Hz", "yes", "2026-03-31", "150 %", "60 deg from horizontal", "bow", "pin", "screw", "soft eye", "thimble", "jaw",
	"violet", "IP67", "3 kg", "5 MN/m", "\xff", "ton", "½ in", "12' 6\"",
}

func TestLookNeverPanics(t *testing.T) {
	var kinds, keys []string
	for _, k := range gear.Kinds() {
		kinds = append(kinds, k.Name)
		for _, f := range k.Facts {
			if !slices.Contains(keys, f.Key) {
				keys = append(keys, f.Key)
			}
		}
	}
	rapid.Check(t, func(t *rapid.T) {
		kind := rapid.SampledFrom(kinds).Draw(t, "kind")
		facts := gear.Facts{}
		// Mostly the kind's own facts and their examples, so that much is taken.
		k := gear.Kinds()[slices.IndexFunc(gear.Kinds(), func(k gear.Kind) bool { return k.Name == kind })]
		for range rapid.IntRange(0, 8).Draw(t, "n") {
			f := rapid.SampledFrom(k.Facts).Draw(t, "fact")
			facts[f.Key] = f.Example
			if rapid.Bool().Draw(t, "odd") {
				facts[f.Key] = rapid.SampledFrom(values).Draw(t, "value")
			}
		}
		if rapid.IntRange(0, 9).Draw(t, "foreign") == 0 {
			facts[rapid.SampledFrom(keys).Draw(t, "key")] = rapid.SampledFrom(values).Draw(t, "foreign value")
		}
		sane(t, kind, facts)
	})
}

// What the catalogue lists is found again under any writing of its size, and
// not under the next one.
func TestCatalogueSizes(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		k := rapid.SampledFrom([]string{"bow shackle", "dee shackle", "alloy chain sling", "wire rope sling", "fibre rope sling"}).Draw(t, "kind")
		f := maps.Clone(rapid.SampledFrom(gear.Catalogue(k)).Draw(t, "facts"))
		want, err := gear.Look(k, f, fault.Pos{})
		if err != nil {
			t.Fatalf("%v: %v", f, err)
		}
		size, _ := quantity.Parse[quantity.Length](f["size"])
		unit := f["size"][len(f["size"])-2:]
		shift := rapid.Float64Range(-3, 3).Draw(t, "shift") // mm
		f["size"] = quantity.Known(size.Value + quantity.Length(shift/1000)).Format(unit)
		again, _ := quantity.Parse[quantity.Length](f["size"])
		got, err := gear.Look(k, f, fault.Pos{})
		if off := math.Abs(float64(again.Value-size.Value)) * 1000; off < 0.0999 {
			if err != nil || got.WLL.Force != want.WLL.Force {
				t.Fatalf("%v: %v, %v, want %v", f, got.WLL, err, want.WLL)
			}
		} else if off > 0.1001 && err == nil && got.WLL.Force == want.WLL.Force {
			t.Fatalf("%v is rated as %g mm beside it: %+v", f, off, got.WLL)
		}
	})
}

func FuzzLook(f *testing.F) {
	for _, k := range gear.Kinds() {
		for _, fact := range k.Facts {
			f.Add(k.Name, fact.Key, fact.Example, "wll", "5 t")
		}
		for _, facts := range gear.Catalogue(k.Name)[:min(3, len(gear.Catalogue(k.Name)))] {
			f.Add(k.Name, "size", facts["size"], "table", facts["table"])
		}
	}
	f.Fuzz(func(t *testing.T, kind, key1, value1, key2, value2 string) {
		sane(t, kind, gear.Facts{key1: value1, key2: value2})
	})
}
