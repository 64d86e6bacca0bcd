package takeoff_test

import (
	"encoding/csv"
	"errors"
	"math"
	"os"
	"strconv"
	"strings"
	"testing"

	"plumbhook/fault"
	"plumbhook/takeoff"
)

// The table carries the density in kg/m³ beside the source's own unit; both
// must say the same, to the rounding of the column.
func TestUnitWeights(t *testing.T) {
	file, err := os.Open("unit-weights.csv")
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	rows, err := csv.NewReader(file).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	table := takeoff.Materials()
	if len(table) != len(rows)-1 {
		t.Fatalf("%d materials of %d rows", len(table), len(rows)-1)
	}
	seen := map[string]bool{}
	for i, m := range table {
		r := rows[i+1]
		if m.Source == "" || !strings.HasPrefix(r[6], "READ") && r[6] != "FROM MEMORY" {
			t.Errorf("%s: source %q, status %q", m.Key, m.Source, r[6])
		}
		if seen[strings.ToLower(m.Key)] {
			t.Errorf("%s stands twice", m.Key)
		}
		seen[strings.ToLower(m.Key)] = true
		if r[4] == "" {
			if _, err := takeoff.LookUp(m.Key); code(err) != fault.BadUnit {
				t.Errorf("%s: %v", m.Key, err)
			}
			continue
		}
		column, err := strconv.ParseFloat(r[4], 64)
		if err != nil || math.Abs(column-float64(m.Density)) > 0.51 {
			t.Errorf("%s: %s kg/m³ in the column, %g by conversion", m.Key, r[4], m.Density)
		}
		if got, err := takeoff.LookUp(strings.ToUpper(m.Key)); err != nil || got != m {
			t.Errorf("%s: %v %v", m.Key, got, err)
		}
		if strings.Contains(m.String(), "from memory") == m.Read {
			t.Errorf("%s: %s", m.Key, m)
		}
	}
}

func code(err error) fault.Code {
	var f *fault.Fault
	if !errors.As(err, &f) {
		return ""
	}
	return f.Code
}

func TestLookUp(t *testing.T) {
	for name, want := range map[string]struct {
		code  fault.Code
		words []string
	}{
		"Lead":                        {},
		"sea water":                   {},
		"concrete, stone, reinforced": {},
		"steel 7850 kg/m³":            {},
		"Steel  490 lb/ft3":           {},
		"Steel":                       {fault.Ambiguous, []string{`"Steel 490 lb/ft3" (from memory)`, `"Steel 7850 kg/m3"`}},
		"Concrete":                    {fault.Ambiguous, []string{`"Concrete 2400 kg/m3"`, `"Concrete, cinder 110 lb/ft3"`}},
		"concrete, stone":             {fault.Ambiguous, []string{"reinforced"}},
		"Water":                       {fault.Ambiguous, []string{"62 lb/ft3", "1000 kg/m3"}},
		"snow":                        {fault.Ambiguous, []string{"fresh", "packed", "wet"}},
		"Cedar":                       {fault.Ambiguous, []string{"Cedar, air-dry 22 lb/ft3"}},
		"Steel plate":                 {fault.BadUnit, []string{"10 lb/ft2 is not a density"}},
		"Timber, wet allowance":       {fault.BadUnit, nil},
		"Unobtainium":                 {fault.Reference, []string{"give density"}},
		"stone concrete":              {fault.Reference, []string{"Concrete, stone"}},
		"steel 7800 kg/m3":            {fault.Reference, []string{"Steel 7850 kg/m3"}},
	} {
		m, err := takeoff.LookUp(name)
		if code(err) != want.code || err == nil && m.Density == 0 {
			t.Errorf("%s: %v %v", name, m, err)
		}
		for _, w := range want.words {
			if !strings.Contains(err.Error(), w) {
				t.Errorf("%s: %v lacks %q", name, err, w)
			}
		}
	}
}

// A value from memory says so on the weight sheet.
func TestMaterialOnTheSheet(t *testing.T) {
	p := work(t, takeoff.Item{Name: "ballast", Volume: volume(0.1), Material: "lead", At: at(0, 0, 0)})
	for _, w := range []string{"Lead 710 lb/ft3", "DOE-STD-1090-96", "value from memory, unread"} {
		if !strings.Contains(p.How, w) {
			t.Errorf("how: %s lacks %q", p.How, w)
		}
	}
	near(t, "mass", float64(p.Mass.Value), 0.1*710*0.45359237/math.Pow(0.3048, 3), 1e-9)
	p = work(t, takeoff.Item{Name: "sea", Volume: volume(1), Material: "sea water", At: at(0, 0, 0)})
	if strings.Contains(p.How, "memory") || !strings.Contains(p.How, "Hibbeler") {
		t.Errorf("how: %s", p.How)
	}
}
