package crane_test

import (
	"fmt"
	"strings"
	"testing"
	"unicode/utf8"

	"plumbhook/crane"
	"plumbhook/fault"
	"plumbhook/internal/testkit"
	"plumbhook/quantity"
)

const head = "crane,test\nset-up,as drawn\nsource,this test\ncapacity in t\nradius in m,12 m,18 m,24 m\n"

func TestDemoCharts(t *testing.T) {
	for _, c := range []struct {
		name            string
		radii, booms    int
		radius, boom    string
		newtons, wind   float64
		nothing, atBoom string
	}{
		{"crawler-crane.csv", 18, 5, "12 m", "24 m", 9500 * g0, 9.8, "4 m", "36 m"},
		{"boom-truck.csv", 14, 4, "25 ft", "46 ft", 14150 * 0.45359237 * g0, 20 * 1609.344 / 3600, "8 ft", "74 ft"},
	} {
		ch := demo(t, c.name)
		if len(ch.Radii) != c.radii || len(ch.Booms) != c.booms {
			t.Errorf("%s: %d radii, %d booms; want %d, %d", c.name, len(ch.Radii), len(ch.Booms), c.radii, c.booms)
		}
		if len(ch.Findings) != 0 || ch.Crane == "" || ch.SetUp == "" || ch.Source == "" {
			t.Errorf("%s: %+v", c.name, ch.Findings)
		}
		testkit.Near(t, c.name+" wind", float64(ch.Wind.Value), c.wind, testkit.Tol{ULPs: 2})
		a := ch.Capacity("crane", length(t, c.radius), length(t, c.boom))
		if a.Capacity == nil || !a.Exact || len(a.Findings) != 0 {
			t.Fatalf("%s: %+v", c.name, a)
		}
		testkit.Near(t, c.name, float64(a.Capacity.Force), c.newtons, testkit.Tol{ULPs: 4})
		if a := ch.Capacity("crane", length(t, c.nothing), length(t, c.atBoom)); a.Capacity != nil {
			t.Errorf("%s allows %s at %s, where it stands empty", c.name, a.Capacity.Text, c.nothing)
		}
	}
}

// The same chart, each time in other units and another layout.
func TestUnitsAgree(t *testing.T) {
	want := parse(t, head+"3,10,9,-\n4.5,8,7.5,6\n")
	for name, text := range map[string]string{
		"kg, mm":         "capacity in kg\nradius in mm,1200 cm,18000 mm,0.024 km\n3000,10000,9000,\n4500,8000,7500,6000\n",
		"brackets":       "Capacity (t)\nRadius (m),12 m,18 m,24 m\n3,10,9,–\n4.5,8,7.5,6\n",
		"unit in cells":  "capacity\nradius,12 m,18 m,24 m\n3 m,10 t,9 t,—\n450 cm,8 t,7.5 t,6 t\n",
		"spaces, padded": "\xef\xbb\xbf capacity in t ,,,,\r\n\r\n radius in m , 12 m , 18 m , 24 m ,,\r\n 3 , 10 , 9 , ,,,\r\n,,,\r\n4 1/2, 8, 7 1/2, 6,\r\n",
	} {
		got := parse(t, text)
		for i := range want.Radii {
			testkit.Near(t, name+" radius", got.Radii[i].Value, want.Radii[i].Value, testkit.Tol{ULPs: 1})
			for k := range want.Booms {
				testkit.Near(t, name+" boom", got.Booms[k].Value, want.Booms[k].Value, testkit.Tol{ULPs: 1})
				w, g := want.Cells[i][k], got.Cells[i][k]
				if (w == nil) != (g == nil) {
					t.Errorf("%s: cell %d, %d: %v, want %v", name, i, k, g, w)
				} else if w != nil {
					testkit.Near(t, name, g.Force, w.Force, testkit.Tol{ULPs: 1})
				}
			}
		}
	}
	// A short ton is 2000 lb, and a kip 1000 lbf.
	us := parse(t, "capacity\nradius in ft,40 ft\n10,20 short ton\n12 1/2,40000 lb\n15 1/4,40 kip\n")
	for i := 1; i < 3; i++ {
		testkit.Near(t, "US units", us.Cells[i][0].Force, us.Cells[0][0].Force, testkit.Tol{ULPs: 2})
	}
	testkit.Near(t, "12 1/2 ft", us.Radii[1].Value, quantity.Length(3.81), testkit.Tol{ULPs: 1})
}

func TestRefused(t *testing.T) {
	for _, c := range []struct {
		name, text string
		code       fault.Code
		words      []string
	}{
		{"bare ton above", "capacity in ton\nradius in m,12 m\n3,4\n", fault.Ambiguous, []string{"chart.csv:1:1", "cell A1", "short ton"}},
		{"bare ton in a cell", "capacity\nradius in m,12 m\n3,4 ton\n", fault.Ambiguous, []string{"chart.csv:3:3", "cell B3", "short ton"}},
		{"tons", "capacity (tons)\nradius in m,12 m\n3,4\n", fault.Ambiguous, []string{"cell A1"}},
		{"no capacity row", "radius in m,12 m\n3,4\n", fault.Missing, []string{"cell A1", "capacities are in"}},
		{"capacity without any unit", "capacity\nradius in m,12 m\n3,4\n", fault.NoUnit, []string{"cell B3"}},
		{"radius without any unit", "capacity in t\nradius,12 m\n3,4\n", fault.NoUnit, []string{"cell A3"}},
		{"boom without unit", "capacity in t\nradius in m,12\n3,4\n", fault.NoUnit, []string{"cell B2"}},
		{"radius in a mass unit", "capacity in t\nradius in kg,12 m\n3,4\n", fault.BadUnit, []string{"cell A2"}},
		{"boom in a mass unit", "capacity in t\nradius in m,12 t\n3,4\n", fault.BadUnit, []string{"cell B2"}},
		{"capacity in a length unit", "capacity in m\nradius in m,12 m\n3,4\n", fault.BadUnit, []string{"cell A1"}},
		{"unit twice", head + "3,4 lb\n", fault.Disagree, []string{"cell B6", "4 lb", "its label gives the unit t"}},
		{"same unit twice", head + "3,4 t\n", fault.Disagree, []string{"cell B6"}},
		{"footnote", head + "3,4*\n", fault.Disagree, []string{"cell B6", "4*"}},
		{"text in a cell", head + "3,n/a\n", fault.Disagree, []string{"cell B6"}},
		{"zero", head + "3,0\n", fault.Range, []string{"cell B6", "- where the chart allows nothing"}},
		{"zero with decimals", head + "3,0.00\n", fault.Range, []string{"cell B6", "- where the chart allows nothing"}},
		{"below zero", head + "3,-4\n", fault.Range, []string{"cell B6"}},
		{"decimal comma, quoted", head + "3,\"4,5\"\n", fault.Ambiguous, []string{"cell B6", "comma"}},
		{"decimal comma, torn apart", head + "3,4,5,3,9,3,1\n", fault.Syntax, []string{"cell E6", "no boom length"}},
		{"semicolons", "capacity in t\nradius in m;12 m;18 m\n3;4;5\n", fault.Syntax, []string{"commas"}},
		{"semicolons above", "crane;test\ncapacity in t\nradius in m,12 m\n3,4\n", fault.Syntax, []string{"cell A1", "commas"}},
		{"radius twice", head + "3,4\n3,4\n", fault.Duplicate, []string{"cell A7"}},
		{"radius twice, two units", "capacity in t\nradius,12 m\n3.048 m,4\n10 ft,4\n", fault.Duplicate, []string{"cell A4"}},
		{"radius falls", head + "12,4\n3,5\n", fault.Range, []string{"cell A7", "after 12 m"}},
		{"boom twice", "capacity in t\nradius in m,12 m,12 m\n3,4,5\n", fault.Duplicate, []string{"cell C2"}},
		{"boom falls", "capacity in t\nradius in m,18 m,12 m\n3,4,5\n", fault.Range, []string{"cell C2"}},
		{"radius of zero", head + "0,4\n", fault.Range, []string{"cell A6"}},
		{"radius below zero", head + "-3,4\n", fault.Range, []string{"cell A6"}},
		{"radius missing", head + ",4\n", fault.Missing, []string{"cell A6"}},
		{"boom missing", "capacity in t\nradius in m,12 m,,24 m\n3,4,5,6\n", fault.Missing, []string{"cell C2"}},
		{"spread on a radius", "capacity in t\nradius,12 m\n3 m ± 1 m,4\n", fault.Range, []string{"cell A3"}},
		{"range of a capacity", "capacity\nradius,12 m\n3 m,4..5 t\n", fault.Syntax, []string{"cell B3"}},
		{"no boom", "capacity in t\nradius in m\n3\n", fault.Missing, []string{"no boom length"}},
		{"no rows", head, fault.Missing, []string{"no radius"}},
		{"nothing allowed", head + "3,-,-,-\n4\n", fault.Missing, []string{"nothing anywhere"}},
		{"empty", "", fault.Missing, []string{"no header row"}},
		{"comments only", "# a\n# b\n", fault.Missing, []string{"no header row"}},
		{"unknown row", "maker,x\n" + head + "3,4\n", fault.UnknownKey, []string{"cell A1", "maker"}},
		{"row twice", "crane,y\n" + head + "3,4\n", fault.Duplicate, []string{"cell A2", "A1"}},
		{"capacity twice", "capacity in lb\n" + head + "3,4\n", fault.Duplicate, []string{"cell A5"}},
		{"value missing", "wind\n" + head + "3,4\n", fault.Missing, []string{"cell A1", "wind"}},
		{"comma in a text", "wind,9 m/s,really\n" + head + "3,4\n", fault.Syntax, []string{"cell C1", "quotes"}},
		{"wind without unit", "wind,9\n" + head + "3,4\n", fault.NoUnit, []string{"cell B1"}},
		{"wind as a range", "wind,8..9 m/s\n" + head + "3,4\n", fault.Range, []string{"cell B1"}},
		{"quote inside", head + "3,4\"\n", fault.Syntax, []string{"chart.csv:6:"}},
		{"line break in a cell", head + "3,\"4\n\"\n", fault.Syntax, []string{"cell B6", "line break"}},
		{"not text", head + "3,\xff\n", fault.Syntax, []string{"UTF-8"}},
		{"too long", head + strings.Repeat("#", 1<<20), fault.TooLarge, []string{"bytes"}},
		{"too many cells", head + strings.Repeat(",-,-,-,-,-,-,-,-\n", 5000), fault.TooLarge, nil},
	} {
		ch, err := crane.Parse("chart.csv", []byte(c.text))
		if ch != nil {
			t.Errorf("%s: gives a chart beside the error", c.name)
		}
		t.Run(c.name, func(t *testing.T) { refused(t, err, c.code, c.words...) })
	}
}

func TestAllFaultsAtOnce(t *testing.T) {
	_, err := crane.Parse("c.csv", []byte("maker,x\ncapacity in t\n# höher\nradius in m,12,18 m\n3,ten,9\nü,8,7\n2,8,0\n"))
	var got []string
	for _, f := range fault.Of(err) {
		got = append(got, fmt.Sprintf("%s %s %s", f.Pos, f.Where, f.Code))
	}
	want := []string{
		"c.csv:1:1 cell A1 unknown-key",
		"c.csv:4:13 cell B4 no-unit",
		"c.csv:5:3 cell B5 disagree",
		"c.csv:6:1 cell A6 disagree",
		"c.csv:7:1 cell A7 range",
		"c.csv:7:5 cell C7 range",
	}
	if strings.Join(got, "\n") != strings.Join(want, "\n") {
		t.Errorf("faults\n%s\nwant\n%s", strings.Join(got, "\n"), strings.Join(want, "\n"))
	}
	// Columns count characters.
	_, err = crane.Parse("c.csv", []byte(head+"\"ü\",\"ä\",x\n"))
	if p := fault.Of(err)[2].Pos; p.Line != 6 || p.Column != 9 {
		t.Errorf("third fault at %v, want 6:9", p)
	}
}

// One mistake in a unit does not bring a fault for every cell under it.
func TestBadUnitIsToldOnce(t *testing.T) {
	for _, text := range []string{
		"capacity in ton\nradius in m,12 m,18 m\n3,4,5\n4,3,4\n",
		"capacity in t\nradius in kg,12 m,18 m\n3,4,5\n4,3,4\n",
		"radius in m,12 m,18 m\n3,4,5\n4,3,4\n",
	} {
		_, err := crane.Parse("c.csv", []byte(text))
		if l := fault.Of(err); len(l) != 1 {
			t.Errorf("%q: %v", text, err)
		}
	}
}

func TestFaultsEnd(t *testing.T) {
	_, err := crane.Parse("c.csv", []byte(head+strings.Repeat("x,y,z\n", 1000)))
	l := fault.Of(err)
	if n := len(l); n < 100 || n > 110 {
		t.Errorf("%d faults", n)
	}
	if last := l[len(l)-1]; last.Code != fault.TooLarge {
		t.Errorf("the last fault is %v", last)
	}
}

func TestOddCharts(t *testing.T) {
	for _, c := range []struct {
		text, rule string
		words      []string
	}{
		{head + "3,10,9,8\n4,11,8,7\n", "chart-rises", []string{"boom 12 m", "10 t", "3 m", "11 t", "4 m"}},
		{head + "3,10,9,8\n4,-,8,7\n5,11,7,6\n", "chart-rises", []string{"10 t", "11 t", "5 m"}},
		{head + "3,10,9,8\n4,-,8,7\n5,8,7,6\n", "chart-gap", []string{"boom 12 m", "3 m", "5 m"}},
		{head + "3,10,9,-\n", "chart-empty", []string{"boom 24 m"}},
		{"set-up,x\ncapacity in t\nradius in m,12 m\n3,4\n", "chart-source", nil},
		{"source,x\ncapacity in t\nradius in m,12 m\n3,4\n", "chart-set-up", nil},
	} {
		one(t, parse(t, c.text).Findings, c.rule, crane.Caution, c.words...)
	}
	if f := parse(t, head+"3,10,9,8\n4,10,9,7\n5,-,8,-\n").Findings; len(f) != 0 {
		t.Errorf("level and ending columns are told as odd: %+v", f)
	}
}

// written is a chart as CSV in SI units, with every figure at full length.
func written(c *crane.Chart) string {
	b := "capacity\nradius"
	for _, m := range c.Booms {
		b += fmt.Sprintf(",%.17g m", float64(m.Value))
	}
	for i, r := range c.Radii {
		b += fmt.Sprintf("\n%.17g m", float64(r.Value))
		for k := range c.Booms {
			if b += ","; c.Cells[i][k] != nil {
				b += fmt.Sprintf("%.17g N", float64(c.Cells[i][k].Force))
			}
		}
	}
	return b + "\n"
}

func FuzzParse(f *testing.F) {
	for _, s := range []string{
		head + "3,10,9,-\n4.5,8,7.5,6\n",
		"capacity\nradius,40 ft,\"60' 6\"\"\"\n12 ft 6 in,10 kip,-\n",
		"# c\ncapacity (lb)\nradius (ft),40 ft\n10,1 1/2\n",
		"capacity in ton\nradius;12\n\"",
		"wind,20 mph\r\ncapacity in kN,,,\r\nradius in m,1 m\r\n1,1e3\r\n",
	} {
		f.Add([]byte(s))
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		c, err := crane.Parse("f.csv", data)
		if err != nil {
			if c != nil {
				t.Fatal("a chart beside an error")
			}
			for _, x := range fault.Of(err) {
				if x.Code == fault.Internal || x.What == "" || x.Do == "" || x.Pos.File != "f.csv" || !utf8.ValidString(x.Error()) {
					t.Fatalf("fault %#v", x)
				}
			}
			return
		}
		if len(c.Cells) != len(c.Radii) {
			t.Fatalf("%d rows for %d radii", len(c.Cells), len(c.Radii))
		}
		for i := range c.Radii {
			if len(c.Cells[i]) != len(c.Booms) || i > 0 && c.Radii[i].Value <= c.Radii[i-1].Value {
				t.Fatalf("row %d of %+v", i, c)
			}
		}
		for k := range c.Booms {
			for i := range c.Radii {
				a := c.Capacity("", c.Radii[i], c.Booms[k])
				if !a.Exact && a.Capacity != nil || a.Capacity != c.Cells[i][k] {
					t.Fatalf("cell %d, %d is %v, read as %+v", i, k, c.Cells[i][k], a)
				}
			}
		}
		again, err := crane.Parse("f.csv", []byte(written(c)))
		if err != nil {
			// Neighbours that differ by less than a float64 tells are one.
			for _, x := range fault.Of(err) {
				if x.Code != fault.Duplicate {
					t.Fatalf("%v\n%s", err, written(c))
				}
			}
			return
		}
		if written(again) != written(c) {
			t.Fatalf("read back as\n%s\nfrom\n%s", written(again), written(c))
		}
	})
}
