package register

import (
	"encoding/csv"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// FuzzTable holds the reader of delimited text against the standard
// library's: what that one reads, ours reads the same.
func FuzzTable(f *testing.F) {
	for _, s := range []string{
		"a,b\n1,2\n", "a,b\r\n1,\"2\r\n3\"\r\n", "\"a\"\"b\",c", "a\n\n\nb", "\"a\nb", "\"a\"b,c\nd,e\n", "3/4\" bow,x\n", ",\n,", "\r\n", "a\r", "\r", "\"a\"\r", "\xff,a\n",
	} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, data string) {
		if len(data) > maxCell || strings.Count(data, ",") > maxCells {
			return
		}
		var ours [][]string
		broken := false
		tb := table{data: data, delim: ',', line: 1}
		for {
			at := tb.pos
			cells, line, f := tb.next()
			if f == nil && cells == nil {
				break
			}
			if tb.pos <= at || line < 1 || tb.line != 1+strings.Count(data[:tb.pos], "\n") {
				t.Fatalf("from %d to %d, line %d, at line %d", at, tb.pos, line, tb.line)
			}
			if f != nil {
				if f.Pos.Line < line || f.Pos.Line > 1+strings.Count(data, "\n") || f.Pos.Column < 1 {
					t.Fatalf("%+v", f)
				}
				broken = true
				continue
			}
			var row []string
			for _, c := range cells {
				row = append(row, c.text)
			}
			ours = append(ours, row)
		}
		if tb.pos != len(data) {
			t.Fatalf("stopped at %d of %d", tb.pos, len(data))
		}
		r := csv.NewReader(strings.NewReader(data))
		r.FieldsPerRecord = -1
		theirs, err := r.ReadAll()
		if err != nil || broken && !validUTF8(theirs) {
			return
		}
		if broken || !slices.EqualFunc(ours, theirs, slices.Equal) {
			t.Fatalf("read %q, the standard library %q", ours, theirs)
		}
	})
}

// validUTF8 is what we ask for and the standard library does not.
func validUTF8(rows [][]string) bool {
	for _, row := range rows {
		for _, s := range row {
			if strings.ToValidUTF8(s, "") != s {
				return false
			}
		}
	}
	return true
}

func TestTableGoesOn(t *testing.T) {
	for _, c := range []struct{ name, data, want string }{
		{"a quote not closed", "1,a\n2,\"b\n3,c\n4,d\n", "1 ! 3 4"},
		{"a quote not closed, and a good one below", "1,a\n2,\"b\n3,\"c\"\n4,d\n", "1 ! 3 4"},
		{"text behind a quote", "1,a\n2,\"b\" c\n3,d\n", "1 ! 3"},
		{"not UTF-8", "1,a\n2,\xe4\n3,d\n", "1 ! 3"},
		{"inches", "1,3/4\" bow\n2,\"7/8\"\" bow\"\n", "1 2"},
		{"a line break in a cell", "1,\"a\nb\"\n2,c\n", "1 2"},
		{"no end", "1,a\n2,b", "1 2"},
		{"a long open quote", "1,a\n2,\"" + strings.Repeat("x\n", maxCell) + "3,c\n", "1 !" + strings.Repeat(" x", maxCell-1) + " 3"},
	} {
		tb := table{data: c.data, delim: ',', line: 1}
		var got []string
		for {
			cells, _, f := tb.next()
			if f != nil {
				got = append(got, "!")
				continue
			}
			if cells == nil {
				break
			}
			got = append(got, cells[0].text)
		}
		if s := strings.Join(got, " "); s != c.want {
			t.Errorf("%s: %.60q, want %.60q", c.name, s, c.want)
		}
	}
}

func TestNeutral(t *testing.T) {
	for _, c := range []struct{ in, want string }{
		{"=1+1", "'=1+1"},
		{"+49 1", "'+49 1"},
		{"-5", "'-5"},
		{"@x", "'@x"},
		{"\tx", "'\tx"},
		{"\rx", "'\rx"},
		{"'=1", "''=1"},
		{"''+", "'''+"},
		{"'7/8 in", "'7/8 in"},
		{"KP-0117", "KP-0117"},
		{"'", "'"},
		{"", ""},
	} {
		if got := neutral(c.in); got != c.want || plain(got) != c.in {
			t.Errorf("%q is written %q and read %q, want %q", c.in, got, plain(got), c.want)
		}
	}
	rapid.Check(t, func(t *rapid.T) {
		s := rapid.StringOf(rapid.RuneFrom([]rune("'=+-@\t\rab1 "))).Draw(t, "cell")
		w := neutral(s)
		if plain(w) != s || w != "" && strings.ContainsRune(formula, rune(w[0])) {
			t.Fatalf("%q is written %q and read %q", s, w, plain(w))
		}
	})
}

func TestDistance(t *testing.T) {
	for _, c := range []struct {
		a, b string
		want int
	}{{"", "abc", 3}, {"examined", "examined", 0}, {"exmained", "examined", 1}, {"examin by", "examine by", 1}, {"serail", "serial", 1}, {"kitten", "sitting", 3}, {"abcd", "badc", 2}} {
		if d := distance(c.a, c.b); d != c.want || distance(c.b, c.a) != d {
			t.Errorf("%q to %q is %d, want %d", c.a, c.b, d, c.want)
		}
	}
}
