package rulebook

import (
	"encoding/csv"
	"fmt"
	"math"
	"os"
	"strconv"
	"strings"
	"testing"

	"plumbhook/gear"
	"plumbhook/quantity"
)

// table reads a CSV of testdata, row by row, by column.
func table(t *testing.T, name string) []map[string]string {
	t.Helper()
	f, err := os.Open("testdata/" + name)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	all, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	var rows []map[string]string
	for _, c := range all[1:] {
		r := map[string]string{}
		for i, column := range all[0] {
			r[column] = c[i]
		}
		rows = append(rows, r)
	}
	return rows
}

func num(t *testing.T, s string) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(s, 64)
	if err != nil {
		t.Fatal(err)
	}
	return v
}

// TestWorkedExamples holds what the rules rest on against published ratings:
// bridles of chain, factors by angle, choker and basket of wire rope, angle of
// choke, bend. The rules of thumb and the factor of a reeved sling are out of
// scope, and the table of rules says so.
func TestWorkedExamples(t *testing.T) {
	seen := map[string]int{}
	for _, r := range table(t, "worked-examples.csv") {
		seen[r["kind"]]++
		published := num(t, r["published"])
		var got float64
		switch r["kind"] {
		case "bridle":
			// What the table lets the bridle carry puts on each counted leg the
			// rating of one.
			got = num(t, r["straight_rating"]) * published / PerLeg(published, int(num(t, r["counted_legs"])), num(t, r["angle_or_ratio"])*math.Pi/180)
		case "basket":
			got = num(t, r["straight_rating"]) * published / PerLeg(published, 2, num(t, r["angle_or_ratio"])*math.Pi/180)
		case "included":
			got = 1 / PerLeg(1, 2, (90-num(t, r["angle_or_ratio"])/2)*math.Pi/180)
		case "mode":
			m, ok := modeFactor("", int(num(t, r["counted_legs"])), "straight", num(t, r["angle_or_ratio"])*math.Pi/180)
			if !ok {
				t.Error("no mode factor for", r)
			}
			got = m.Share
		case "choker": // the field rule, for US gear without a figure of its own
			share, ok := gear.ChokerRating("us", "alloy chain grade 80")
			if !ok {
				t.Error("no field rule")
			}
			got = num(t, r["straight_rating"]) * share.Share
		case "choke angle":
			share, ok := gear.ChokeAngle("wire rope IWRC", quantity.Angle(num(t, r["angle_or_ratio"])*math.Pi/180))
			if !ok {
				t.Error("no share for", r)
			}
			got = num(t, r["straight_rating"]) * share.Share
		case "bend":
			share, ok := gear.BendEfficiency(num(t, r["angle_or_ratio"]))
			if !ok {
				t.Error("no bend for", r)
			}
			got = 1 / share.Share
		case "reeved":
			row := named(t, "reeved-square", "us")
			if got = row.Value; row.Does != OutOfScope {
				t.Error(row)
			}
		case "rule of thumb":
			if row := named(t, "rules-of-thumb", "us"); row.Does != OutOfScope {
				t.Error(row)
			}
			got = published
		default:
			t.Fatal("unknown kind", r)
		}
		tolerance := num(t, r["tolerance_value"])
		if r["tolerance"] == "rel" {
			tolerance *= published
		}
		if !(math.Abs(got-published) <= tolerance*(1+1e-9)) {
			t.Errorf("%s %s, %s legs at %s: %.6g, published %g ± %.3g (%s)", r["example"], r["kind"], r["counted_legs"], r["angle_or_ratio"], got, published, tolerance, r["source"])
		}
	}
	if fmt.Sprint(seen) != "map[basket:12 bend:8 bridle:24 choke angle:5 choker:3 included:3 mode:4 reeved:1 rule of thumb:3]" {
		t.Error("examples are missing:", seen)
	}
}

func named(t *testing.T, name, book string) Rule {
	t.Helper()
	for _, r := range Books() {
		if r.Name == name && r.Book == book {
			return r
		}
	}
	t.Fatalf("no rule %s in book %s", name, book)
	return Rule{}
}

// TestModeFactorsHung hangs 2, 3 and 4 straight legs in both bands and finds the
// limit that EN sets: the printed factor times the rating of one leg.
func TestModeFactorsHung(t *testing.T) {
	slings := map[string]string{
		"chain": chain, "wire rope": rope, "flat woven web": web,
		"roundsling": "{kind: round sling, material: polyester, width: 60 mm, length: 2 m, stiffness: 500 kN/m, wll: %s}",
	}
	count := 0
	for _, m := range table(t, "mode_factors_en.csv") {
		if m["hitch"] != "straight" || m["legs"] == "1" {
			continue
		}
		for _, n := range map[string][]int{"2": {2}, "3 or 4": {3, 4}}[m["legs"]] {
			// 2 m legs, a degree inside the flatter end of the band
			lean := (num(t, m["angle_from_vertical_up_to_deg"]) - 1) * math.Pi / 180
			var p plan
			p.east = "wll: 50 kN}"
			for i := range n {
				a := 2 * math.Pi * float64(i) / float64(n)
				p.east += fmt.Sprintf("\n    l%d: {at: %.6f %.6f 1 m", i, 2*math.Sin(lean)*math.Cos(a), 2*math.Sin(lean)*math.Sin(a))
				if i < n-1 {
					p.east += "}"
				}
				p.legs += fmt.Sprintf("  l%d: {from: main, to: load.l%d, %s}\n", i, i, stack(strings.Replace(slings[m["gear"]], "%s", "30 kN", 1)))
			}
			r := Check("eu", hung(t, p.text()))
			found := false
			for _, f := range append(r.Findings, r.Held...) {
				if f.Rule == "en-mode" && f.Limit != nil {
					found = true
					count++
					if want := num(t, m["factor"]) * 30e3; math.Abs(*f.Limit-want) > 1e-6*want {
						t.Errorf("%s, %d legs to %s°: limit %g, want %g", m["gear"], n, m["angle_from_vertical_up_to_deg"], *f.Limit, want)
					}
				}
			}
			if !found {
				t.Errorf("%s, %d legs to %s°: the factor was not used: %v %v", m["gear"], n, m["angle_from_vertical_up_to_deg"], r.Open, r.Findings)
			}
		}
	}
	if count != 4*(2+4) {
		t.Errorf("%d limits compared", count)
	}
}

// TestSeededMistakes: a wrong pin in a load cell, a shackle pulled sideways and
// legs that count on all four are found, and the sentences are those of the
// golden file.
func TestSeededMistakes(t *testing.T) {
	data, err := os.ReadFile("testdata/seeded.yaml")
	if err != nil {
		t.Fatal(err)
	}
	r := Check("us", hung(t, string(data)))
	for rule, where := range map[string]string{"cell-pin": "legs.nw.stack[1]", "shackle-side-load": "legs.ne.stack[2]", "three-of-four": "hooks.main"} {
		if got := outcome(r, rule, where); got != "stop" {
			t.Errorf("%s at %s: %s", rule, where, got)
		}
	}
	var b strings.Builder
	for _, f := range r.Findings {
		fmt.Fprintf(&b, "%s %s %s: %s [%s]\n", f.Severity, f.Rule, f.Where, f.Text, f.Source)
	}
	for _, o := range r.Open {
		fmt.Fprintf(&b, "open %s\n", o)
	}
	golden(t, "testdata/seeded.golden.txt", b.String())
}

func golden(t *testing.T, name, got string) {
	t.Helper()
	if *update {
		if err := os.WriteFile(name, []byte(got), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(name)
	if err != nil {
		t.Fatal(err)
	}
	if got != string(want) {
		t.Errorf("%s is not what was found (go test ./rulebook -update writes it anew):\n%s", name, got)
	}
}
