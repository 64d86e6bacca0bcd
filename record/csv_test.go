package record

import (
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"iter"
	"math"
	"slices"
	"strings"
	"testing"
	"testing/iotest"

	"pgregory.net/rapid"

	"plumbhook/fault"
	"plumbhook/logbook"
	"plumbhook/reading"
)

// frames reads all of a text and shows it: a line per frame, of its arrival in
// seconds, its readings and how many lines were garbled.
func frames(c CSV, text string) (out string, garbled []string, err error) {
	for f, e := range c.Read(iotest.HalfReader(strings.NewReader(text))) {
		if e != nil {
			return out, garbled, e
		}
		out += fmt.Sprintf("%g:", float64(f.Arrived)/1e9)
		for _, r := range f.Readings {
			out += fmt.Sprintf(" %s@%g=%.10g", r.Channel, float64(r.At)/1e9, r.Value)
			if r.Quality != reading.Good {
				out += " " + r.Quality.String()
			}
		}
		if len(f.Garbled) > 0 {
			out += fmt.Sprintf(" !%d", len(f.Garbled))
		}
		out += "\n"
		garbled = append(garbled, f.Garbled...)
	}
	return out, garbled, nil
}

func TestReadCSV(t *testing.T) {
	for name, c := range map[string]struct{ text, want string }{
		"in newton": {"t,channel,value_N\n0,W,100\n0,E,200.5\n0.02,W,-3e2\n", "0: W@0=100 E@0=200.5\n0.02: W@0.02=-300\n"},
		"with units": {
			"t,channel,value,unit\n0,W,1,t\n0,E,2,kN\n0,X,1000,lb\n0,hook,1500,mm\n0,tilt,180,deg\n0,wind,36,km/h\n0,air,20,°C\n0,c,1.5,mV/V\n0,d,8000000,counts\n0,s,1,short ton\n",
			// 1 lb is 0.45359237 kg, a short ton 2000 lb (NIST SP 811), standard gravity 9.80665.
			"0: W@0=9806.65 E@0=2000 X@0=4448.221615 hook@0=1.5 tilt@0=3.141592654 wind@0=10 air@0=293.15 c@0=1.5 d@0=8000000 s@0=8896.443231\n",
		},
		"late, repeated, missing": {
			"t,channel,value_N\n5,W,1\n4,W,2\n4,W,2\n5,W,3\n6,E,4\n5.5,W,5\n",
			"5: W@5=1 W@4=2 W@4=2 W@5=3\n6: E@6=4 W@5.5=5\n",
		},
		"calendar": {
			"t,channel,value_N\n1970-01-01T00:00:01.25Z,W,1\n1970-01-01T02:00:02+02:00,W,2\n",
			"1.25: W@1.25=1\n2: W@2=2\n",
		},
		"before zero":     {"t,channel,value_N\n-2.5,W,1\n-1,W,2\n", "-2.5: W@-2.5=1\n-1: W@-1=2\n"},
		"no reading":      {"t,channel,value_N\n1,W,\n1,E,nan\n1,F,-Inf\n", "1: W@1=NaN lost E@1=NaN bad F@1=-Inf bad\n"},
		"windows, mark":   {"\ufefft,channel,value_N\r\n1,W,2\r\n\r\n2,W,3", "1: W@1=2\n2: W@2=3\n"},
		"quoted":          {"\"t\",channel , value_N\n1,\"a, \"\"b\"\" \",2\n 1 , W ,\"3\" \n", "1: a, \"b\" @1=2 W@1=3\n"},
		"formula names":   {"t,channel,value_N\n1,'=W,2\n1,'W,3\n1,''W,4\n", "1: =W@1=2 'W@1=3 'W@1=4\n"},
		"nothing in it":   {"t,channel,value_N\n", ""},
		"garbled amid":    {"t,channel,value_N\n1,W,1\n1,W,one\n1,E,1\n2,W,2\n", "1: W@1=1 E@1=1 !1\n2: W@2=2\n"},
		"garbled first":   {"t,channel,value_N\nsoon,W,1\n1,W,1\n2,W,2\n", "1: W@1=1 !1\n2: W@2=2\n"},
		"garbled last":    {"t,channel,value_N\n1,W,1\n2,W\n", "1: W@1=1 !1\n"},
		"unclosed quote":  {"t,channel,value_N\n1,\"W,1\n1,E,2\n", "1: E@1=2 !1\n"},
		"nanoseconds":     {"t,channel,value_N\n1.0000000014,W,1\n1.0000000015,W,1\n", "1.000000001: W@1.000000001=1\n1.000000002: W@1.000000002=1\n"},
		"powers of ten":   {"t,channel,value_N\n1e1,W,1\n1.1E1,W,1\n", "10: W@10=1\n11: W@11=1\n"},
		"endless line":    {"t,channel,value_N\n1,W,1\n1," + strings.Repeat("x", 3*maxLine) + ",1\n2,W,2\n", "1: W@1=1 !1\n2: W@2=2\n"},
		"one measure":     {"t,channel,value,unit\n1,W,1,kN\n1,W,1,t\n1,W,1,m\n1,W,1,kn\n", "1: W@1=1000 W@1=9806.65 !2\n"},
		"two time styles": {"t,channel,value_N\n1,W,1\n1970-01-01T00:00:02Z,W,2\n3,W,3\n", "1: W@1=1 !1\n3: W@3=3\n"},
	} {
		got, _, err := frames(CSV{Name: "a.csv"}, c.text)
		if err != nil || got != c.want {
			t.Errorf("%s: %v\n got %q\nwant %q", name, err, got, c.want)
		}
	}
}

// A row that cannot be read says where and why.
func TestGarbledRows(t *testing.T) {
	for row, want := range map[string]struct{ place, word string }{
		"x,W,1,N":                    {"3:1", "not a time"},
		",W,1,N":                     {"3:1", "not a time"},
		"2026-03-01T09:30:00,W,1,N":  {"3:1", "not a time"}, // no zone
		"1.5.1,W,1,N":                {"3:1", "not a time"},
		"1e999,W,1,N":                {"3:1", "not a time"},
		"99999999999,W,1,N":          {"3:1", "not a time"},
		"0x10,W,1,N":                 {"3:1", "not a time"},
		"2026-03-01T09:30:00Z,W,1,N": {"3:1", "is written as a date"}, // the row before is in seconds
		"1,,1,N":                     {"3:3", "no name"},
		"1,\xff,1,N":                 {"3:3", "UTF-8"},
		"1,Wä,1 000,N":               {"3:6", "not a decimal number"},
		"1,W,12kN,N":                 {"3:5", "not a decimal number"},
		"1,W,0x1p3,N":                {"3:5", "not a decimal number"},
		"1,W,1_000,N":                {"3:5", "not a decimal number"},
		"1,W,1e999,N":                {"3:5", "too large"},
		"1,W,1e308,GN":               {"3:5", "too large"},
		"1,W,1,5,N":                  {"3:1", "5 cells where 4 are due"},
		"1,W,1":                      {"3:1", "3 cells where 4 are due"},
		"1,W,1,":                     {"3:7", "no unit"},
		"1,W,1,ton":                  {"3:7", "short ton"},
		"1,W,1,T":                    {"3:7", "short ton"},
		"1,W,1,stone":                {"3:7", "not a unit"},
		"1,W,1,± 2 kg":               {"3:7", "not a unit"},
		"1,W,1,1/2 kg":               {"3:7", "not a unit"},
		"1,W,1,..3 kg":               {"3:7", "not a unit"},
		"1,X,1,ft 6 in":              {"3:7", "not a unit"},
		"1,W,1,kg/m3":                {"3:7", "not a unit"},
		"1,first,1,m":                {"3:11", "measured in N"},
		`1,"W"x,1,N`:                 {"3:6", "after a quoted cell"},
		`1,W"x,1,N`:                  {"3:4", "a quote inside a cell"},
		`1,"W,1,N`:                   {"3:3", "does not end"},
		"1," + strings.Repeat("W", 70_000) + ",1,N": {"3:1", "longer than"},
	} {
		out, garbled, err := frames(CSV{Name: "a.csv"}, "t,channel,value,unit\n0,first,1,N\n"+row+"\n2,last,2,N\n")
		if err != nil || out != "0: first@0=1 !1\n2: last@2=2\n" {
			t.Errorf("%.60q spoils others: %q, %v", row, out, err)
			continue
		}
		if !strings.HasPrefix(garbled[0], "a.csv:"+want.place+": ") || !strings.Contains(garbled[0], want.word) || !strings.Contains(garbled[0], "; ") {
			t.Errorf("%.60q: %s, want %s: ... %s", row, garbled[0], want.place, want.word)
		}
	}
}

func TestBadCSV(t *testing.T) {
	for text, want := range map[string]fault.Code{
		"":                                   fault.Missing,
		"\n\n":                               fault.Missing,
		"t,channel,value\n1,W,1\n":           fault.NoUnit,
		"t,channel,value_kN\n1,W,1\n":        fault.BadUnit,
		"t;channel;value_N\n1;W;1\n":         fault.Syntax,
		"1,W,1\n":                            fault.Syntax,
		"channel,t,value_N\nW,1,1\n":         fault.Syntax,
		"\xff\xfet\x00,\x00\n":               fault.Syntax,
		"t,channel,value_N\nx,W,1\ny,W,1\n":  fault.Syntax,
		"t,\"channel,value_N\n1,W,1\n":       fault.Syntax,
		strings.Repeat("x", 200_000) + "\n1": fault.Syntax,
		"t,channel,value_N\n" + strings.Repeat("x\n", 10_000) + "1,W,1\n": fault.Syntax,
	} {
		out, _, err := frames(CSV{Name: "a.csv"}, text)
		if err == nil || out != "" || fault.Of(err)[0].Code != want || fault.Of(err)[0].Do == "" || fault.Of(err)[0].Pos.File != "a.csv" {
			t.Errorf("%.40q: %q, %v; want class %s", text, out, err, want)
		}
	}

	// A source that breaks off gives what was whole before.
	broken := io.MultiReader(strings.NewReader("t,channel,value_N\n1,W,1\n2,W,200"), iotest.ErrReader(errors.New("link down")))
	out, n := "", 0
	for f, err := range ReadCSV("a.csv", broken) {
		n++
		if err == nil {
			out += fmt.Sprint(f.Readings[0].Value)
		} else if fault.Of(err)[0].Code != fault.Path {
			t.Error(err)
		}
	}
	if out != "1" || n != 2 {
		t.Errorf("of a broken source: %q, %d steps", out, n)
	}
}

// What a plan knows of its channels is held against the units.
func TestMeasures(t *testing.T) {
	c := CSV{Name: "a.csv", Measures: func(channel string) Measure {
		return map[string]Measure{"W": Force, "hook": Length}[channel]
	}}
	got, garbled, err := frames(c, "t,channel,value,unit\n1,W,1,m\n1,W,1,kn\n1,W,1,kN\n1,hook,2,m\n1,hook,2,kg\n1,other,3,deg\n")
	if want := "1: W@1=1000 hook@1=2 other@1=0.05235987756 !3\n"; err != nil || got != want {
		t.Errorf("%v\n got %q\nwant %q", err, got, want)
	}
	if !strings.Contains(garbled[1], "in m/s, and W is measured in N") {
		t.Errorf("%q", garbled[1])
	}
	if got, _, _ = frames(c, "t,channel,value_N\n1,W,1\n1,hook,2\n"); got != "1: W@1=1 !1\n" {
		t.Errorf("a hook height in newton is read: %q", got)
	}
}

// Any number of rows of one arrival, good or bad, takes bounded memory.
func TestBoundedFrames(t *testing.T) {
	text := "t,channel,value_N\n9,W,1\n" + strings.Repeat("1,W,1\n", 3*maxFrame) + strings.Repeat("1,W\n", 3*maxFrame)
	good, bad := 0, 0
	for f, err := range ReadCSV("a.csv", strings.NewReader(text)) {
		if err != nil {
			t.Fatal(err)
		}
		if f.Arrived != 9e9 || len(f.Readings) > maxFrame || len(f.Garbled) > maxFrame {
			t.Fatalf("arrived %d, %d readings, %d garbled", f.Arrived, len(f.Readings), len(f.Garbled))
		}
		good, bad = good+len(f.Readings), bad+len(f.Garbled)
	}
	if good != 3*maxFrame+1 || bad != 3*maxFrame {
		t.Errorf("%d good, %d bad", good, bad)
	}
}

func logOf(entries ...*logbook.Entry) iter.Seq2[*logbook.Entry, error] {
	return func(yield func(*logbook.Entry, error) bool) {
		for _, e := range entries {
			if !yield(e, nil) {
				return
			}
		}
	}
}

// What is written as CSV comes back: times, channels and values exactly, and
// what may not be computed with as lost. Another reader of CSV sees the same
// cells, and no name that a spreadsheet computes.
func TestCSVRoundTrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		base := rapid.SampledFrom([]int64{0, 1_780_000_000_000_000_000}).Draw(t, "base")
		stamp := rapid.Int64Range(-1e15, 1e15)
		name := rapid.OneOf(rapid.SampledFrom([]string{"W", "=1+1", "'=x", "-2", " a", "b,\"c\""}),
			rapid.StringN(1, 8, -1).Filter(func(s string) bool { return !strings.ContainsAny(s, "\r\n") }))
		var want []reading.Reading
		e := &logbook.Entry{N: 1, At: reading.Stamp(base), Kind: logbook.Frame, Frame: &reading.Frame{}}
		for range rapid.IntRange(1, 8).Draw(t, "readings") {
			r := reading.Reading{
				Channel: name.Draw(t, "channel"), At: reading.Stamp(base + stamp.Draw(t, "t")), Value: drawFloat().Draw(t, "value"),
				Quality: rapid.SampledFrom([]reading.Quality{reading.Good, reading.Stale, reading.Lost, reading.Bad}).Draw(t, "quality"),
				Marks:   reading.Timed,
			}
			e.Frame.Readings = append(e.Frame.Readings, r)
			if !r.Usable() {
				r.Value, r.Quality = math.NaN(), reading.Lost
			}
			want = append(want, r)
		}
		var b bytes.Buffer
		if err := WriteCSV(&b, logOf(e), func(string) Measure { return Length }); err != nil {
			t.Fatal(err)
		}
		rows, err := csv.NewReader(bytes.NewReader(b.Bytes())).ReadAll()
		if err != nil || len(rows) != len(want)+1 {
			t.Fatalf("%d rows, %v", len(rows), err)
		}
		for _, row := range rows[1:] {
			if len(row) != 4 || strings.ContainsRune("=+-@\t", rune(row[1][0])) {
				t.Fatalf("row %q", row)
			}
		}
		var got []reading.Reading
		for f, err := range ReadCSV("a.csv", &b) {
			if err != nil || len(f.Garbled) > 0 {
				t.Fatal(err, f)
			}
			got = append(got, f.Readings...)
		}
		x, y := &logbook.Entry{Frame: &reading.Frame{Readings: got}}, &logbook.Entry{Frame: &reading.Frame{Readings: want}}
		if !equal(x, y) {
			t.Fatalf("\n got %s\nwant %s", show(x), show(y))
		}
	})
}

func TestWriteCSV(t *testing.T) {
	frame := func(n uint64, at reading.Stamp, r ...reading.Reading) *logbook.Entry {
		return &logbook.Entry{N: n, At: at, Kind: logbook.Frame, Frame: &reading.Frame{Readings: r}}
	}
	measures := func(channel string) Measure {
		return map[string]Measure{"W": Force, "+hook": Length}[channel]
	}
	var b strings.Builder
	hole := fault.New(Damaged, "a hole")
	err := WriteCSV(&b, func(yield func(*logbook.Entry, error) bool) {
		yield(&logbook.Entry{N: 1, Kind: logbook.Tick}, nil)
		yield(frame(2, 500, reading.Reading{Channel: "W", At: 1_500_000_000, Value: 41000.25}), nil)
		yield(nil, hole)
		yield(frame(4, 1000, reading.Reading{Channel: "+hook", At: -20_000_001, Value: 2}, reading.Reading{Channel: "W", At: 2e9, Value: 5, Quality: reading.Stale}), nil)
	}, measures)
	want := "t,channel,value,unit\r\n1.5,W,41000.25,N\r\n-0.020000001,'+hook,2,m\r\n2,W,,N\r\n"
	if !errors.Is(err, hole) || b.String() != want {
		t.Errorf("%v\n got %q\nwant %q", err, b.String(), want)
	}

	b.Reset()
	at := reading.Stamp(1_772_357_400_250_000_000) // 2026-03-01 09:30:00.25 UTC, by date(1)
	if err := WriteCSV(&b, logOf(frame(1, at, reading.Reading{Channel: "W", At: at, Value: 1})), measures); err != nil {
		t.Fatal(err)
	}
	if want := "t,channel,value,unit\r\n2026-03-01T09:30:00.25Z,W,1,N\r\n"; b.String() != want {
		t.Errorf("got %q, want %q", b.String(), want)
	}

	b.Reset()
	if err := WriteCSV(&b, logOf(), measures); err != nil || b.String() != "t,channel,value,unit\r\n" {
		t.Errorf("of nothing: %q, %v", b.String(), err)
	}
	if err := WriteCSV(io.Discard, logOf(frame(1, 0, reading.Reading{Channel: "what"})), measures); fault.Of(err)[0].Code != fault.NoUnit {
		t.Errorf("a channel of unknown measure: %v", err)
	}
}

// FuzzCSV gives any text to the reader: it never panics, a frame never goes
// back in time, and what is garbled says where. encoding/csv agrees with the
// cells of every row that is read.
func FuzzCSV(f *testing.F) {
	for _, s := range []string{
		"t,channel,value_N\n0,W,100\n0,E,200.5\n0.02,W,-3e2\n", "t,channel,value,unit\n0,W,1,t\n0,E,2,kN\n0,hook,1500,mm\n",
		"t,channel,value_N\r\n2026-03-01T09:30:00.25Z,\"a \"\"b\"\"\",\n", "t,channel,value,unit\n1,'=W,nan,°C\n,,,\n\"", "\ufefft,channel,value\n",
	} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, text string) {
		last := reading.Stamp(math.MinInt64)
		var names []string
		for frame, err := range ReadCSV("a.csv", iotest.OneByteReader(strings.NewReader(text))) {
			if err != nil {
				if fault.Of(err)[0].Code == fault.Internal {
					t.Fatal(err)
				}
				return
			}
			if frame.Arrived < last {
				t.Fatalf("arrival goes back from %d to %d", last, frame.Arrived)
			}
			last = frame.Arrived
			for _, r := range frame.Readings {
				if r.At > frame.Arrived || r.Channel == "" || r.Quality == reading.Good && (math.IsNaN(r.Value) || math.IsInf(r.Value, 0)) {
					t.Fatalf("read %+v in a frame of %d", r, frame.Arrived)
				}
				names = append(names, r.Channel)
			}
			for _, g := range frame.Garbled {
				if !strings.HasPrefix(g, "a.csv:") {
					t.Fatalf("garbled %q", g)
				}
			}
		}
		if strings.Contains(text, "'") || strings.Count(text, "\"") > 0 && strings.ContainsAny(text, "\r\t ") {
			return // names may differ by the apostrophe, and by the spaces around quotes
		}
		var other []string
		for line := range strings.SplitSeq(text, "\n") {
			row, err := csv.NewReader(strings.NewReader(strings.TrimSuffix(line, "\r"))).Read()
			if err == nil && len(row) > 1 {
				other = append(other, strings.TrimSpace(row[1]))
			}
		}
		for _, n := range names {
			i := slices.Index(other, n)
			if i < 0 {
				t.Fatalf("channel %q is in no row", n)
			}
			other = other[i+1:]
		}
	})
}
