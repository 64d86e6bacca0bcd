package register_test

import (
	"bytes"
	"fmt"
	"maps"
	"reflect"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"plumbhook/fault"
	"plumbhook/register"
)

const head = "serial,kind,wll,examined,examine_by\n"

func TestReadCSVProblems(t *testing.T) {
	const good = "KP-9,bow shackle,1 t,2026-01-01,2026-07-01\n"
	for _, c := range []struct {
		name, rows string
		taken      int
		problems   []string // place, class, part of the words
	}{
		{"good", good, 1, nil},
		{"a byte order mark, CRLF", "\ufeff" + head + strings.ReplaceAll(good, "\n", "\r\n"), 1, nil},
		{"semicolons", strings.ReplaceAll(head+good, ",", ";"), 1, nil},
		{"tabs", strings.ReplaceAll(head+good, ",", "\t"), 1, nil},
		{"blank rows", good + ",,,,\n\n   ,,\n", 1, nil},
		{"fewer cells, nothing lost", "KP-1,bow shackle\n", 1, nil},
		{"more cells, nothing in them", "KP-1,bow shackle,1 t,,,,,\n", 1, nil},
		{"more cells", good + "KP-1,bow shackle,1 t,,,,x\n", 1, []string{"f.csv:3:25: syntax the row has 7 cells, the heading 5"}},
		{"a bare ton", good + "KP-1,bow shackle,6.5 ton,,\n", 1, []string{"f.csv:3:18: ambiguous several units"}},
		{"no unit", good + "KP-1,bow shackle,6.5,,\n", 1, []string{"f.csv:3:18: no-unit needs a unit"}},
		{"a comma for decimals", good + "KP-1,bow shackle,\"6,5 t\",,\n", 1, []string{"f.csv:3:18: ambiguous comma"}},
		{"a spread", good + "KP-1,bow shackle,5..6 t,,\n", 1, []string{"f.csv:3:18:  one figure"}},
		{"an ambiguous date", good + "KP-1,bow shackle,1 t,03/04/2026,\n", 1, []string{"f.csv:3:22: ambiguous 2026-04-03 or 2026-03-04"}},
		{"everything wrong at once", "KP-1,,6.5,x,31/12/2026\n", 0, []string{
			"f.csv:2:7: no-unit unit", "f.csv:2:11: syntax not a date", "f.csv:2:13: syntax write 2026-12-31",
		}},
		{"no serial", good + ",bow shackle,1 t,,\n", 1, []string{"f.csv:3:1: missing no serial"}},
		{"no kind", good + "KP-1,,1 t,,\n", 1, []string{"f.csv:3:6: missing no kind"}},
		{"dates the wrong way round", good + "KP-1,bow shackle,1 t,2026-07-01,2026-01-01\n", 1, []string{"f.csv:3:33: range before examined"}},
		{"examined in the future", good + "KP-1,bow shackle,1 t,2027-01-01,\n", 1, []string{"f.csv:3:22: range lies after 2026-12-01"}},
		{"the same twice", good + good, 1, []string{"f.csv:3: duplicate in line 2 already, with the same figures"}},
		{"one serial, two figures", good + "kp-9,bow shackle,2 t,,\nKP-1,bow shackle,1 t,,\n", 1, []string{
			"f.csv:2: duplicate in line 3 too", "f.csv:3: duplicate in line 2 too",
		}},
		{"a quote not closed", "KP-1,\"bow shackle,1 t,,\n" + good, 1, []string{"f.csv:2:6: syntax opened here and not closed"}},
		{"a line break in a cell", good + "KP-1,\"bow\nshackle\",6.5,,\n", 1, []string{"f.csv:4:10: no-unit needs a unit"}},
		{"control characters", good + "KP-1,bow\x00shackle,1 t,,\n", 1, []string{"f.csv:3:6: syntax control"}},
		{"text turned around", good + "KP-1,bow\u202eshackle,1 t,,\n", 1, []string{"f.csv:3:6: syntax control"}},
		{"not UTF-8", good + "KP-1,K\xe4fig,1 t,,\n", 1, []string{"f.csv:3:1: syntax not UTF-8"}},
		{"letters beyond ASCII count as one", "KP-1,Schäkel 倉,6.5,,\n", 0, []string{"f.csv:2:16: no-unit needs a unit"}},
		{"a serial too long for a label", strings.Repeat("K", 41) + ",bow shackle,1 t,,\n", 0, []string{"f.csv:2:1: too-large 41 characters"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			data := head + c.rows
			if strings.Contains(c.rows, "serial") {
				data = c.rows
			}
			s, err := register.ReadCSV("f.csv", []byte(data), nil, "2026-12-01")
			must(t, s, err)
			if len(s.Rows) != c.taken || len(s.Problems) != len(c.problems) {
				t.Fatalf("%d rows taken, want %d; problems:\n%v", len(s.Rows), c.taken, s.Problems)
			}
			for i, f := range s.Problems {
				place, rest, _ := strings.Cut(c.problems[i], ": ")
				class, words, _ := strings.Cut(rest, " ")
				if f.Pos.String() != place || class != "" && string(f.Code) != class || !strings.Contains(f.Error(), words) {
					t.Errorf("%s (%s)\nwant %s", f, f.Code, c.problems[i])
				}
			}
		})
	}
}

func TestReadCSVHeading(t *testing.T) {
	row := "\nKP-1,bow shackle,6.5\n"
	for _, c := range []struct {
		name, data string
		rename     map[string]string
		code       fault.Code // of the first fault; empty: it reads
		says       string
	}{
		{"other words", "Serial No.,KIND,WLL [t]" + row, nil, "", ""},
		{"renamed", "Asset,Thing,Rated Load (short ton)" + row, map[string]string{"asset": "serial", "Thing": "kind"}, "", ""},
		{"renamed to a rating with its unit", "Asset,Thing,x" + row, map[string]string{"Asset": "serial", "Thing": "kind", "x": "WLL (t)"}, "", ""},
		{"facts", "serial,kind,colour" + row, nil, "", ""},
		{"a fact nearly a column's name", "serial,kind,fact:certifikate" + row, nil, "", ""},
		{"quoted, with a mark of a formula", "serial,kind,\"'=wild\"" + row, nil, "", ""},
		{"empty", "", nil, fault.Missing, "empty"},
		{"blank lines", "\n\n", nil, fault.Missing, "empty"},
		{"no serial", "number,kind,wll (t)" + row, nil, fault.Missing, "no column is the serial"},
		{"no kind", "serial,what,wll (t)" + row, nil, fault.Missing, "no column is the kind"},
		{"two serials", "serial,kind,Serial Number" + row, nil, fault.Duplicate, "two columns are serial"},
		{"two facts", "serial,kind,colour,Colour" + row, nil, fault.Duplicate, "two columns are colour"},
		{"a slip", "serial,kind,examin_by" + row, nil, fault.UnknownKey, "nearly examine_by"},
		{"letters swapped", "serial,kind,statsu" + row, nil, fault.UnknownKey, "nearly status"},
		{"a bare ton", "serial,kind,WLL (ton)" + row, nil, fault.Ambiguous, "several units"},
		{"not a unit of a rating", "serial,kind,WLL (m)" + row, nil, fault.BadUnit, ""},
		{"a fact that is a column", "serial,kind,fact:rating" + row, nil, fault.Duplicate, "cannot be called rating"},
		{"a fact without a name", "serial,kind,fact:" + row, nil, fault.Missing, "without a name"},
		{"renamed and not there", "serial,kind,wll (t)" + row, map[string]string{"Asset": "serial"}, fault.Reference, "no column is headed so"},
		{"UTF-16", "\xff\xfes\x00e\x00", nil, fault.Syntax, "UTF-16"},
		{"too many columns", "serial,kind" + strings.Repeat(",", 300), nil, fault.TooLarge, "columns"},
		{"a cell under no heading", "serial,kind," + row, nil, "", "column 3 has no heading"},
	} {
		t.Run(c.name, func(t *testing.T) {
			s, err := register.ReadCSV("f.csv", []byte(c.data), c.rename, "2026-12-01")
			if code(err) != c.code || err != nil && !strings.Contains(err.Error(), c.says) {
				t.Fatalf("%v, want %s %s", err, c.code, c.says)
			}
			switch {
			case err != nil:
			case c.says != "":
				if len(s.Problems) != 1 || !strings.Contains(s.Problems[0].Error(), c.says) {
					t.Errorf("problems: %v", s.Problems)
				}
			case len(s.Rows) != 1 || s.Rows[0].Item.Serial != "KP-1" || s.Rows[0].Item.Kind != "bow shackle":
				t.Errorf("rows %+v, problems %v", s.Rows, s.Problems)
			}
		})
	}
}

func TestRatingInHeading(t *testing.T) {
	s, err := register.ReadCSV("f.csv", []byte("serial,kind,WLL (short ton)\nA,x,6.5\nB,x,6.5 t\nC,x,1/2\nD,x,\nE,x,a lot\n"), nil, "2026-12-01")
	must(t, s, err)
	var got []string
	for _, r := range s.Rows {
		text := "none"
		if r.Item.Rating != nil {
			text = r.Item.Rating.Text
		}
		got = append(got, r.Item.Serial+" "+text)
	}
	if want := "A 6.5 short ton, B 6.5 t, C 1/2 short ton, D none"; strings.Join(got, ", ") != want || len(s.Problems) != 1 {
		t.Errorf("read %q, %v; want %s", got, s.Problems, want)
	}
}

// drawItem is any item that may be entered.
func drawItem(t *rapid.T, serial string) register.Item {
	words := func(name string) string {
		return strings.TrimSpace(rapid.StringOfN(rapid.RuneFrom([]rune(`abc ÄÖ倉"';,=+-@/0%#&\`)), 0, 12, -1).Draw(t, name))
	}
	day := func(name string) register.Date {
		if rapid.Bool().Draw(t, name+" known") {
			return register.Date("2020-01-01").AddDays(rapid.IntRange(0, 2000).Draw(t, name))
		}
		return ""
	}
	it := register.Item{
		Serial: serial + words("serial"), Kind: "k" + words("kind"), Location: words("location"), Certificate: words("certificate"),
		CertificateDate: day("certificate date"), Examined: day("examined"), CalibrateBy: day("calibrate by"), Status: register.InService,
	}
	it.Serial = strings.TrimSpace(it.Serial)
	if it.Examined != "" {
		it.ExamineBy = it.Examined.AddMonths(6)
	}
	if rapid.Bool().Draw(t, "rated") {
		it.Rating = rated(t, rapid.SampledFrom([]string{"6.5 short ton", "2 t", "20 kN", "1/2 long ton", "1000 lb"}).Draw(t, "rating"))
	}
	for _, name := range rapid.SliceOfNDistinct(rapid.SampledFrom([]string{"size", "colour", "examin by", "a_b", "=x", "wll (kg)", "fact:odd", "größe"}), 0, 4, rapid.ID).Draw(t, "facts") {
		if it.Facts == nil {
			it.Facts = map[string]string{}
		}
		it.Facts[name] = "f" + words(name)
	}
	if rapid.Bool().Draw(t, "held back") {
		it.Status, it.Reason, it.StatusBy, it.StatusOn = register.Quarantined, "r"+words("reason"), words("by"), "2025-07-01"
	}
	if rapid.Bool().Draw(t, "to mend") {
		it.Mend, it.MendBy = "m"+words("mend"), "2026-05-01"
	}
	return it
}

// TestExportAndBack: what is exported reads back the same, cell by cell, and
// no cell of it is a formula.
func TestExportAndBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var items []register.Item
		for i := range rapid.IntRange(0, 5).Draw(t, "items") {
			it := drawItem(t, fmt.Sprintf("%d/", i))
			if len(it.Check("2026-12-01")) == 0 {
				items = append(items, it)
			}
		}
		var b bytes.Buffer
		if err := register.WriteCSV(&b, items); err != nil {
			t.Fatal(err)
		}
		s, err := register.ReadCSV("f.csv", b.Bytes(), nil, "2026-12-01")
		must(t, s, err)
		if len(s.Problems) > 0 || len(s.Rows) != len(items) {
			t.Fatalf("%d of %d items, %v\n%s", len(s.Rows), len(items), s.Problems, b.String())
		}
		there := map[string]register.Item{}
		for i, r := range s.Rows {
			if !reflect.DeepEqual(r.Item, items[i]) {
				t.Fatalf("read %+v\nwant %+v", r.Item, items[i])
			}
			there[register.Key(r.Item.Serial)] = r.Item
		}
		if p := s.Plan(there, false); p.Same != len(items) || p.New+p.Changed+len(p.Problems) > 0 {
			t.Fatalf("a plan of what is there already: %+v", p)
		}
	})
}

func TestPlan(t *testing.T) {
	old := entered(t, shackle(t))
	there := map[string]register.Item{"KP-0117": old}
	for _, c := range []struct {
		name, data string
		update     bool
		new, same  int
		changed    func(*register.Item) // nil: nothing
		problem    string
	}{
		{"new", "serial,kind\nKP-2,hook\n", false, 1, 0, nil, ""},
		{"the same, as far as the file goes", "serial,kind,wll\nKP-0117,bow shackle,6.5 short ton\n", false, 0, 1, nil, ""},
		{"another location", "serial,kind,location\nKP-0117,bow shackle,van 3\n", false, 0, 0, nil, "already, with another location"},
		{"another location, updated", "serial,kind,location\nKP-0117,bow shackle,van 3\n", true, 0, 0, func(it *register.Item) { it.Location = "van 3" }, ""},
		{"a blank cell clears", "serial,kind,wll,grade\nKP-0117,bow shackle,,\n", true, 0, 0, func(it *register.Item) { it.Rating = nil; delete(it.Facts, "grade") }, ""},
		{"a fact more", "serial,kind,pin\nKP-0117,bow shackle,25 mm\n", true, 0, 0, func(it *register.Item) { it.Facts["pin"] = "25 mm" }, ""},
		{"a status", "serial,kind,status,reason\nKP-0117,bow shackle,scrapped,old\n", true, 0, 0, nil, "never by a list"},
		{"what disagrees with what is known", "serial,kind,examine_by\nKP-0117,bow shackle,2025-07-12\n", true, 0, 0, nil, "before examined 2026-01-12"},
	} {
		t.Run(c.name, func(t *testing.T) {
			s, err := register.ReadCSV("f.csv", []byte(c.data), nil, "2026-12-01")
			must(t, s, err)
			p := s.Plan(there, c.update)
			if p.New != c.new || p.Same != c.same || (p.Changed == 1) != (c.changed != nil) || len(p.Problems) > 0 != (c.problem != "") ||
				c.problem != "" && !strings.Contains(p.Problems[0].Error(), c.problem) {
				t.Fatalf("%+v\n%v", p, p.Problems)
			}
			entries, err := p.Entries(stamp, moment)
			must(t, entries, err)
			if len(entries) != p.New+p.Changed {
				t.Fatalf("%d entries", len(entries))
			}
			if c.changed != nil {
				want := old
				want.Facts = maps.Clone(old.Facts)
				c.changed(&want)
				got := entries[0].Item
				want.Version, want.Head = 2, got.Head
				if !reflect.DeepEqual(got, want) {
					t.Errorf("became %+v\nwant %+v", got, want)
				}
			}
		})
	}
}

// FuzzReadCSV: whatever the bytes, a sheet or faults with a place; what is
// taken may be entered, and goes out and comes back the same.
func FuzzReadCSV(f *testing.F) {
	f.Add([]byte(head + "KP-1,bow shackle,6.5 short ton,2026-01-01,2026-07-01\n"))
	f.Add([]byte("serial;kind;WLL (t);colour;status;reason\nA;b;1;c;scrapped;d\n'=x;y;2;'+;;\n"))
	f.Add([]byte("\ufeffserial\tkind\tfact:x\r\n\"a\"\t\"b\nc\"\td\r\n"))
	f.Add([]byte("serial,kind\n\"\n\"\"\n\xff,\n"))
	f.Fuzz(func(t *testing.T, data []byte) {
		s, err := register.ReadCSV("f.csv", data, nil, "2026-12-01")
		if (s == nil) == (err == nil) {
			t.Fatal("neither a sheet nor a fault, or both")
		}
		lines := bytes.Count(data, []byte("\n")) + 1
		told := fault.Of(err)
		if s != nil {
			told = s.Problems
		}
		for _, f := range told {
			if f.Code == fault.Internal || f.What == "" || f.Pos.Line < 1 || f.Pos.Line > lines {
				t.Fatalf("%+v", f)
			}
		}
		if s == nil {
			return
		}
		if len(s.Rows) > s.Read || len(s.Rows) < s.Read && len(s.Problems) == 0 {
			t.Fatalf("%d rows of %d, %d problems", len(s.Rows), s.Read, len(s.Problems))
		}
		var items []register.Item
		for _, r := range s.Rows {
			if l := r.Item.Check("2026-12-01"); len(l) > 0 {
				t.Fatalf("taken: %v", l)
			}
			items = append(items, r.Item)
		}
		var b bytes.Buffer
		if err := register.WriteCSV(&b, items); err != nil {
			t.Fatal(err)
		}
		again, err := register.ReadCSV("g.csv", b.Bytes(), nil, "2026-12-01")
		must(t, again, err)
		if len(again.Problems) > 0 || !slices.EqualFunc(s.Rows, again.Rows, func(a, b register.Row) bool { return reflect.DeepEqual(a.Item, b.Item) }) {
			t.Fatalf("%v\n%q\n%q", again.Problems, data, b.String())
		}
	})
}
