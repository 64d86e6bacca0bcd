package mqtt

import (
	"bufio"
	"encoding/hex"
	"errors"
	"fmt"
	"math"
	"os"
	"slices"
	"strconv"
	"strings"
	"testing"

	"google.golang.org/protobuf/encoding/protowire"
	"pgregory.net/rapid"

	"plumbhook/reading"
)

// table is a channel map for tests: address to channel and unit.
type table map[string][2]string

func (m table) Lookup(source, address string) (string, func(float64) (float64, error), bool) {
	c, ok := m[address]
	if !ok || source != "g" {
		return "", nil, false
	}
	factor, ok := map[string]float64{"kN": 1000, "m": 1, "kg": 9.80665, "mV/V": 1, "°C": 1}[c[1]]
	if !ok {
		if c[1] == "" {
			return c[0], nil, true
		}
		return c[0], func(float64) (float64, error) { return 0, errors.New("the map is wrong") }, true
	}
	if c[1] == "°C" {
		return c[0], func(v float64) (float64, error) { return v + 273.15, nil }, true
	}
	return c[0], func(v float64) (float64, error) { return v * factor, nil }, true
}

var names = table{
	"tele/g": {"W", "kN"}, "tele/g/raw": {"R", ""}, "tele/g/temp": {"T", "°C"}, "tele/g/sig": {"S", "mV/V"},
	"tele/g/kg": {"K", "kg"}, "tele/g/err": {"X", "?"},
	"tele/g/all#W": {"W", "kN"}, "tele/g/all#E": {"E", "kN"}, "tele/g/all#h": {"H", "m"},
	"n/W": {"W", "kN"}, "n/leg/E": {"E", "kN"}, "n/h": {"H", "m"},
}

const arrived = reading.Stamp(1e18)

// brief writes a reading so that it can be compared: channel value quality
// at-arrival marks seq.
func brief(f *reading.Frame) []string {
	var out []string
	for _, r := range f.Readings {
		s := fmt.Sprintf("%s %.10g %s", r.Channel, r.Value, r.Quality)
		if r.Marks&reading.Timed != 0 {
			s += fmt.Sprintf(" @%d", r.At)
		} else if r.At != f.Arrived {
			s += " wrong time"
		}
		if r.Marks&reading.Numbered != 0 {
			s += fmt.Sprintf(" #%d", r.Seq)
		}
		if r.Marks&reading.Historical != 0 {
			s += " historical"
		}
		if r.Marks&reading.Unsteady != 0 {
			s += " unsteady"
		}
		out = append(out, s)
	}
	for _, h := range f.Health {
		out = append(out, fmt.Sprintf("%s %g dBm %g", h.Channel, h.Signal, h.Battery))
	}
	return out
}

func TestText(t *testing.T) {
	for _, c := range []struct {
		topic, payload string
		want           string // readings, parted by "; "
		garbled        string // a part of the only line
	}{
		// Plain numbers.
		{"tele/g", "12.5", "W 12500 good", ""},
		{"tele/g", " -1.25e1\n", "W -12500 good", ""},
		{"tele/g", "12.5 kN", "W 12500 good", ""},
		{"tele/g", "12500 N", "", "says N, the channel map says another unit"},
		{"tele/g", "1.25 t", "", "says t, the channel map says another unit"},
		{"tele/g", "0 lbf", "", "says lbf, the channel map says another unit"},
		{"tele/g", "12.5 ton", "", `unit "ton"`},
		{"tele/g", "12.5 bananas", "", "bananas"},
		{"tele/g", "12.5 3 kN", "", "no unit"},
		{"tele/g", "NaN", "W NaN bad", ""},
		{"tele/g", "-Infinity", "W NaN bad", ""},
		{"tele/g", "1e999", "W NaN bad", ""},
		{"tele/g", "12,5", "", "no number"},
		{"tele/g", "1_2", "", "no number"},
		{"tele/g", "0x10", "", "no number"},
		{"tele/g", "------", "", "no number"},
		{"tele/g", "12.5kN", "", "no number"},
		{"tele/g", "", "", "empty"},
		{"tele/g", "\xff\x00\x01", "", "no number"},
		{"tele/g/nobody", "12.5", "", "nothing in it is in the channel map"},
		{"tele/g/raw", "12.5", "", "no unit, neither"},
		{"tele/g/raw", "12.5 kN", "R 12500 good", ""},
		{"tele/g/raw", "2 t", "R 19613.3 good", ""},
		{"tele/g/raw", "2 ft", "R 0.6096 good", ""},
		{"tele/g/raw", "20 °C", "R 293.15 good", ""},
		{"tele/g/raw", "1.5 mV/V", "R 1.5 good", ""},
		{"tele/g/temp", "20 °C", "T 293.15 good", ""},
		{"tele/g/temp", "20 K", "", "another unit"},
		{"tele/g/sig", "1.5 mV/V", "S 1.5 good", ""},
		{"tele/g/kg", "100 kg", "K 980.665 good", ""},
		{"tele/g/err", "1", "", "the map is wrong"},

		// JSON, one channel.
		{"tele/g", `{"t": 1785067200.123456789, "v": 12.5, "unit": "kN", "seq": 7}`, "W 12500 good @1785067200123456789 #7", ""},
		{"tele/g", `{"t": "2026-07-26T14:00:00.25+02:00", "v": 12.5}`, "W 12500 good @1785067200250000000", ""},
		{"tele/g", `{"v": 12.5}`, "W 12500 good", ""},
		{"tele/g", `{"t": 1e-999999, "v": 1}`, "W 1000 good @0", ""},
		{"tele/g", `{"v": null}`, "W NaN lost", ""},
		{"tele/g", `{"v": "NaN", "q": "stale"}`, "W NaN bad", ""},
		{"tele/g", `{"v": 1e400}`, "W NaN bad", ""},
		{"tele/g", `{"v": 3, "q": "lost", "steady": false, "historical": true}`, "W 3000 lost historical unsteady", ""},
		{"tele/g", `{"v": 3, "steady": true, "historical": false}`, "W 3000 good", ""},
		{"tele/g", `{"v": 3, "signal_dBm": -71, "battery": 0.5}`, "W 3000 good; W -71 dBm 0.5", ""},
		{"tele/g", `{"t": 10, "dt": 0.01, "v": [1, 2, null], "seq": 4}`, "W 1000 good @10000000000 #4; W 2000 good @10010000000 #5; W NaN lost @10020000000 #6", ""},
		{"tele/g", `{"t": [1, 2.5], "v": [1, 2], "q": ["good", "bad"]}`, "W 1000 good @1000000000; W 2000 bad @2500000000", ""},
		{"tele/g", `[{"t": 1, "v": 1}, {"t": 2, "v": 2}]`, "W 1000 good @1000000000; W 2000 good @2000000000", ""},
		{"tele/g", `{"v": [5]}`, "W 5000 good", ""},

		// JSON, many channels.
		{"tele/g/all", `{"t": 10, "W": 1, "E": 2, "h": 3, "firmware": "1.2", "up": true, "spare": 9}`, "W 1000 good @10000000000; E 2000 good @10000000000; H 3 good @10000000000", ""},
		{"tele/g/all", `{"t": 10, "dt": 0.5, "seq": 3, "W": [1, 2], "E": {"v": 4, "seq": 9, "q": "stale", "battery": 1}}`, "W 1000 good @10000000000 #3; W 2000 good @10500000000 #4; E 4000 stale @10000000000 #9; E NaN dBm 1", ""},
		{"tele/g/all", `{"W": {"signal_dBm": -60}}`, "W -60 dBm NaN", ""},
		{"tele/g/all", `{"W": 1, "E": "soon"}`, "W 1000 good", `all: E: "soon" is no number`},
		{"tele/g/all", `{"W": 1, "h": {"v": 3, "unit": "kN"}}`, "W 1000 good", "another unit"},
		{"tele/g/all", `{"other": 1}`, "", "nothing in it"},
		{"tele/g/all", `{"W": {}}`, "", "no value"},

		// JSON that is not read.
		{"tele/g", `{"v": 12.5, "units": "lbf"}`, "", `"units" is not known`},
		{"tele/g", `{"v": 12.5, "v": 13}`, "", "twice"},
		{"tele/g", `{"v": 12.5} {`, "", "follows"},
		{"tele/g", `{"v": 12.5`, "", "no JSON"},
		{"tele/g", `{"v": NaN}`, "", "no JSON"},
		{"tele/g", `{"v": "12.5"}`, "", "in quotes"},
		{"tele/g", `{"v": true}`, "", "no number"},
		{"tele/g", `{"t": 1, "dt": 1, "v": [1, "x"]}`, "", "no number"},
		{"tele/g", `{"v": [1, 2]}`, "", "need t and dt"},
		{"tele/g", `{"t": 1, "v": [1, 2]}`, "", "need t and dt"},
		{"tele/g", `{"t": [1], "v": [1, 2]}`, "", "1 times for 2 samples"},
		{"tele/g", `{"q": ["good"], "t": 1, "dt": 1, "v": [1, 2]}`, "", "quality"},
		{"tele/g", `{"t": 1785067200250, "v": 1}`, "", "milliseconds"},
		{"tele/g", `{"t": "26.7.2026", "v": 1}`, "", "no time"},
		{"tele/g", `{"t": "2026-07-26T12:00:00", "v": 1}`, "", "zone"},
		{"tele/g", `{"t": true, "v": 1}`, "", "t is neither"},
		{"tele/g", `{"dt": 0, "v": 1}`, "", "dt is zero"},
		{"tele/g", `{"seq": -1, "v": 1}`, "", "no count"},
		{"tele/g", `{"seq": 1.5, "v": 1}`, "", "no count"},
		{"tele/g", `{"q": "fine", "v": 1}`, "", "q is none of"},
		{"tele/g", `{"battery": 80, "v": 1}`, "", "battery is not from 0 to 1"},
		{"tele/g", `{"unit": 5, "v": 1}`, "", "unit is no text"},
		{"tele/g", `{"steady": 1, "v": 1}`, "", "steady is neither"},
		{"tele/g", `{"v": []}`, "", "no value"},
		{"tele/g", `[1, 2]`, "", "not of objects"},
		{"tele/g", `{"v": {"a": {"b": {"c": {"d": {"e": 1}}}}}}`, "", "too deeply"},
	} {
		f, commands := New(names).Decode("g", c.topic, []byte(c.payload), arrived)
		if got := strings.Join(brief(&f), "; "); got != c.want {
			t.Errorf("%s %s\n got %s\nwant %s", c.topic, c.payload, got, c.want)
		}
		if g := strings.Join(f.Garbled, "|"); (g == "") != (c.garbled == "") || !strings.Contains(g, c.garbled) || len(f.Garbled) > 1 {
			t.Errorf("%s %s\n garbled %q, want %q", c.topic, c.payload, g, c.garbled)
		}
		if f.Source != "g" || f.Arrived != arrived || commands != nil {
			t.Errorf("%s: %+v, %v", c.payload, f, commands)
		}
	}
}

// TestSamplesRapid writes any samples as JSON and reads them back.
func TestSamplesRapid(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		vs := rapid.SliceOfN(rapid.Float64Range(-1e6, 1e6), 1, 50).Draw(t, "v")
		start := rapid.Int64Range(0, 4e18).Draw(t, "ns")
		seq := rapid.Uint64Range(0, 1<<53).Draw(t, "seq")
		var text []string
		for _, v := range vs {
			text = append(text, strconv.FormatFloat(v, 'g', -1, 64))
		}
		payload := fmt.Sprintf(`{"t":%d.%09d,"dt":0.01,"seq":%d,"v":[%s]}`, start/1e9, start%1e9, seq, strings.Join(text, ","))
		f, _ := New(names).Decode("g", "tele/g", []byte(payload), arrived)
		if len(f.Readings) != len(vs) || f.Garbled != nil {
			t.Fatalf("%d readings of %d, garbled %v", len(f.Readings), len(vs), f.Garbled)
		}
		for i, r := range f.Readings {
			if r.Value != vs[i]*1000 || r.Seq != seq+uint64(i) || r.At != reading.Stamp(start)+reading.Stamp(i)*1e7 {
				t.Fatalf("sample %d: %+v", i, r)
			}
		}
	})
}

// The message under construction: pb(1, 5, 2, "x") has field 1 as varint and 2
// as bytes; float32 and float64 become fixed.
func pb(pairs ...any) []byte {
	var b []byte
	for i := 0; i < len(pairs); i += 2 {
		n := protowire.Number(pairs[i].(int))
		switch v := pairs[i+1].(type) {
		case int:
			b = protowire.AppendVarint(protowire.AppendTag(b, n, protowire.VarintType), uint64(v))
		case uint64:
			b = protowire.AppendVarint(protowire.AppendTag(b, n, protowire.VarintType), v)
		case float32:
			b = protowire.AppendFixed32(protowire.AppendTag(b, n, protowire.Fixed32Type), math.Float32bits(v))
		case float64:
			b = protowire.AppendFixed64(protowire.AppendTag(b, n, protowire.Fixed64Type), math.Float64bits(v))
		case string:
			b = protowire.AppendString(protowire.AppendTag(b, n, protowire.BytesType), v)
		case []byte:
			b = protowire.AppendBytes(protowire.AppendTag(b, n, protowire.BytesType), v)
		}
	}
	return b
}

const (
	nbirth = "spBv1.0/site/NBIRTH/n"
	ndata  = "spBv1.0/site/NDATA/n"
	ndeath = "spBv1.0/site/NDEATH/n"
	dbirth = "spBv1.0/site/DBIRTH/n/leg"
	ddata  = "spBv1.0/site/DDATA/n/leg"
	ddeath = "spBv1.0/site/DDEATH/n/leg"
)

var (
	bdSeq = func(n int) []byte { return pb(1, "bdSeq", 4, 4, 11, n) }
	born  = func(seq, bd int) []byte {
		return pb(1, 1000, 2, bdSeq(bd), 2, pb(1, "W", 2, 7, 4, 10, 13, 12.5), 2, pb(1, "h", 2, 8, 4, 3, 10, 4),
			2, pb(1, "Node Control/Rebirth", 4, 11, 14, 0), 3, seq)
	}
	legBorn = func(seq int) []byte { return pb(1, 1001, 2, pb(1, "E", 2, 9, 4, 9, 12, float32(2.5)), 3, seq) }
)

func property(key string, value []byte) []byte { return pb(1, key, 2, value) }

// TestSparkplug plays messages, one after the other, to one decoder.
func TestSparkplug(t *testing.T) {
	type step struct {
		after   float64 // seconds since the one before
		topic   string  // empty: a tick
		payload []byte
		want    string
		garbled string // a part of the lines, joined
		rebirth bool
	}
	quality := func(q int) []byte {
		return pb(1, 2000, 2, pb(2, 7, 13, 1.0, 9, property("Quality", pb(1, 3, 3, q))), 3, 1)
	}
	alive := step{0, nbirth, born(0, 3), "W 12500 good @1000000000; H 4 good @1000000000", "", false}
	leg := step{0, dbirth, legBorn(1), "E 2500 good @1001000000", "", false}
	for _, c := range []struct {
		name  string
		steps []step
	}{
		{"births, data, deaths", []step{
			alive, leg,
			{0, ndata, pb(1, 1002, 2, pb(2, 7, 13, 13.0), 3, 2), "W 13000 good @1002000000", "", false},
			{0, ddata, pb(1, 1003, 2, pb(2, 9, 3, 1002, 12, float32(3)), 3, 3), "E 3000 good @1002000000", "", false},
			{0, ddata, pb(1, 1003, 2, pb(1, "E", 12, float32(4)), 3, 4), "E 4000 good @1003000000", "", false},
			{0, ddeath, pb(1, 1004, 3, 5), "E 4000 stale", "", false},
			{0, dbirth, legBorn(6), "E 2500 good @1001000000", "", false},
			{0, ndeath, pb(2, bdSeq(3)), "W 13000 stale; H 4 stale; E 2500 stale", "", false},
			{0, nbirth, born(0, 4), "W 12500 good @1000000000; H 4 good @1000000000", "", false},
		}},
		{"the will of an earlier session", []step{
			alive,
			{0, ndeath, pb(2, bdSeq(2)), "", "the death of session 2", false},
			{0, ndeath, pb(), "W 12500 stale; H 4 stale", "", false}, // no session told: believed
		}},
		{"seq runs over", []step{
			{0, nbirth, born(254, 3), alive.want, "", false},
			{0, ndata, pb(1, 1002, 2, pb(2, 7, 13, 1.0), 3, 255), "W 1000 good @1002000000", "", false},
			{0, ndata, pb(1, 1002, 2, pb(2, 7, 13, 2.0), 3, 0), "W 2000 good @1002000000", "", false},
			{9, ndata, pb(1, 1002, 2, pb(2, 7, 13, 3.0), 3, 1), "W 3000 good @1002000000", "", false},
		}},
		{"out of order, in time", []step{
			alive,
			{0, ndata, pb(1, 1003, 2, pb(2, 7, 13, 3.0), 3, 3), "W 3000 good @1003000000", "", false},
			{1, ndata, pb(1, 1001, 2, pb(2, 7, 13, 1.0), 3, 1), "W 1000 good @1001000000", "", false},
			{0.5, ndata, pb(1, 1002, 2, pb(2, 7, 13, 2.0), 3, 2), "W 2000 good @1002000000", "", false},
			{9, "", nil, "", "", false},
		}},
		{"missing, found by the clock", []step{
			alive,
			{0, ndata, pb(1, 1003, 2, pb(2, 7, 13, 3.0), 3, 3), "W 3000 good @1003000000", "", false},
			{1.9, "", nil, "", "", false},
			{0.2, "", nil, "", "", true},
			{1, "", nil, "", "", false},
			{0, nbirth, born(0, 3), alive.want, "missing from the node's count: 2", false},
		}},
		{"missing, found by the next", []step{
			alive,
			{0, ndata, pb(1, 1003, 2, pb(2, 7, 13, 3.0), 3, 2), "W 3000 good @1003000000", "", false},
			{3, ndata, pb(1, 1004, 2, pb(2, 7, 13, 4.0), 3, 3), "W 4000 good @1004000000", "missing from the node's count: 1", true},
		}},
		{"no birth seen", []step{
			{0, ndata, pb(1, 1002, 2, pb(2, 7, 13, 13.0), 3, 2), "", "alias 7", true},
			{1, ndata, pb(1, 1002, 2, pb(2, 7, 13, 13.0), 3, 3), "", "alias 7", false}, // asked already
			{1, ndata, pb(1, 1002, 2, pb(1, "W", 13, 13.0), 3, 4), "W 13000 good @1002000000", "", false},
			{1, ndata, pb(1, 1002, 2, pb(1, "h", 10, 13), 3, 4), "", "no birth has told", false},
			{9, ddata, pb(1, 1002, 2, pb(2, 9, 13, 13.0), 3, 5), "", "alias 9", true},
		}},
		{"aliases from before the birth", []step{
			alive,
			{0, ndata, pb(1, 999, 2, pb(2, 7, 13, 13.0), 2, pb(1, "h", 10, 5), 3, 1), "H 5 good @999000000", "before the birth", false},
		}},
		{"an alias of another device", []step{
			alive, leg, {0, ddata, pb(1, 1002, 2, pb(2, 7, 13, 13.0), 3, 2), "", "alias 7", true},
		}},
		{"an alias given twice", []step{
			{0, nbirth, pb(1, 1000, 2, pb(1, "W", 2, 7, 4, 10, 13, 1.0), 2, pb(1, "h", 2, 7, 4, 10, 13, 2.0), 3, 0), "W 1000 good @1000000000", "alias 7 stands for W and for h", false},
			{0, ndata, pb(1, 1001, 2, pb(2, 7, 13, 13.0), 3, 1), "", "alias 7", true},
		}},
		{"good", []step{alive, {0, ndata, quality(192), "W 1000 good @2000000000", "", false}}},
		{"bad", []step{alive, {0, ndata, quality(0), "W 1000 bad @2000000000", "", false}}},
		{"stale", []step{alive, {0, ndata, quality(500), "W 1000 stale @2000000000", "", false}}},
		{"another quality", []step{alive, {0, ndata, quality(7), "W 1000 bad @2000000000", "", false}}},
		{"null, historical, not a number", []step{
			alive,
			{0, ndata, pb(1, 1001, 2, pb(2, 7, 7, 1), 3, 1), "W NaN lost @1001000000", "", false},
			{0, ndata, pb(1, 1001, 2, pb(2, 7, 3, 500, 5, 1, 13, 99.0), 3, 2), "W 99000 good @500000000 historical", "", false},
			{0, ndata, pb(1, 1001, 2, pb(2, 7, 13, math.NaN()), 3, 3), "W NaN bad @1001000000", "", false},
			{0, ndata, pb(1, 1001, 2, pb(2, 7, 13, math.Inf(1)), 3, 4), "W NaN bad @1001000000", "", false},
			{0, ndata, pb(2, pb(2, 7, 13, 1.0), 3, 5), "W 1000 good", "", false},
		}},
		{"what is no number", []step{
			alive,
			{0, ndata, pb(1, 1001, 2, pb(2, 7, 15, "12.5"), 3, 1), "", "no number", false},
			{0, ndata, pb(1, 1001, 2, pb(2, 7, 14, 1), 3, 2), "", "no number", false},
			{0, ndata, pb(1, 1001, 2, pb(2, 7), 3, 3), "", "no value", false},
			{0, ndata, pb(1, 1001, 2, pb(2, 7, 4, 3, 10, 1), 3, 4), "", "born as type 10, sent as type 3", false},
			{0, ndata, pb(1, uint64(1)<<63, 2, pb(2, 7, 13, 1.0), 3, 5), "", "beyond the year 2190", false},
			{0, ndata, pb(2, pb(2, 7, 3, uint64(1)<<63, 13, 1.0), 3, 5), "", "beyond the year 2190", false},
		}},
		{"not of Sparkplug", []step{
			{0, "spBv1.0/site/NCMD/n", nil, "", "no topic", false},
			{0, "spBv1.0/STATE/host", nil, "", "no topic", false},
			{0, "spBv1.0/site/NDATA/n/leg", nil, "", "no topic", false},
			{0, "spBv1.0/site/DDATA/n", nil, "", "no topic", false},
			{0, ndata, []byte{0xff}, "", "no protocol buffer", false},
			{0, ndata, []byte(`{"v": 1}`), "", "no protocol buffer", false},
			{0, ndata, pb(1, "x"), "", "another type", false},
			{0, ndata, pb(3, 256), "", "beyond 255", false},
		}},
	} {
		t.Run(c.name, func(t *testing.T) {
			d := New(names)
			at := arrived
			for i, s := range c.steps {
				at = at.Plus(s.after)
				var f reading.Frame
				var commands []Command
				if s.topic == "" {
					commands = d.Tick(at)
				} else {
					f, commands = d.Decode("g", s.topic, s.payload, at)
				}
				if got := strings.Join(brief(&f), "; "); got != s.want {
					t.Errorf("step %d\n got %s\nwant %s", i, got, s.want)
				}
				if g := strings.Join(f.Garbled, "|"); (g == "") != (s.garbled == "") || !strings.Contains(g, s.garbled) {
					t.Errorf("step %d: garbled %q, want %q", i, g, s.garbled)
				}
				if s.rebirth != (len(commands) == 1) {
					t.Errorf("step %d: commands %v, want rebirth: %v", i, commands, s.rebirth)
				}
				for _, c := range commands {
					p, err := parsePayload(c.Payload)
					if err != nil || c.Topic != "spBv1.0/site/NCMD/n" || p.time != uint64(at/1e6) || p.hasSeq ||
						len(p.metrics) != 1 || p.metrics[0].name != "Node Control/Rebirth" || p.metrics[0].datatype != 11 || p.metrics[0].has != isBool {
						t.Errorf("step %d: command %s %x: %+v, %v", i, c.Topic, c.Payload, p, err)
					}
				}
			}
		})
	}
}

// TestIntegers: each type in each way that senders write it.
func TestIntegers(t *testing.T) {
	for _, c := range []struct {
		datatype uint32
		whole    uint64
		short    bool
		want     float64
		refused  bool
	}{
		{1, 0xE9, true, -23, false},
		{1, 0xFFFFFFE9, true, -23, false},
		{1, 0xFFFFFFFFFFFFFFE9, false, -23, false},
		{1, 123, true, 123, false},
		{1, 300, true, 0, true},
		{2, 0x8AD0, true, -30000, false},
		{2, 30000, true, 30000, false},
		{2, 70000, true, 0, true},
		{3, 0xFFFFFFFF, true, -1, false},
		{3, 0xFFFFFFFF, false, -1, false},
		{3, 0x7FFFFFFF, true, 2147483647, false},
		{3, 0x100000000, false, 0, true},
		{4, 0xFFFFFFFFFFFFFFFF, false, -1, false},
		{4, 1 << 40, false, 1 << 40, false},
		{5, 255, true, 255, false},
		{5, 256, true, 0, true},
		{6, 52360, true, 52360, false},
		{7, 3293969225, true, 3293969225, false},
		{7, 3293969225, false, 3293969225, false},
		{8, 1 << 63, false, 1 << 63, false},
	} {
		m := rawMetric{has: isInt, whole: c.whole, short: c.short}
		v, err := m.numbers(c.datatype)
		if (err != nil) != c.refused || err == nil && v[0] != c.want {
			t.Errorf("type %d, %#x (short %v): %v, %v; want %v", c.datatype, c.whole, c.short, v, err, c.want)
		}
	}
}

// TestArrays reads the specification's examples, and one through the decoder.
func TestArrays(t *testing.T) {
	file, err := os.Open("testdata/sparkplug_arrays.txt")
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	n := 0
	for in := bufio.NewScanner(file); in.Scan(); {
		if strings.HasPrefix(in.Text(), "#") {
			continue
		}
		n++
		w := strings.Fields(in.Text())
		datatype, _ := strconv.Atoi(w[0])
		raw, err := hex.DecodeString(w[1])
		if err != nil {
			t.Fatal(err)
		}
		got, err := (&rawMetric{has: isBytes, bytes: raw}).numbers(uint32(datatype))
		if w[2] == "refused" {
			if err == nil {
				t.Errorf("%s: read as %v", in.Text(), got)
			}
			continue
		}
		var want []float64
		for _, x := range w[2:] {
			v, _ := strconv.ParseFloat(x, 64)
			want = append(want, v)
		}
		if err != nil || !slices.Equal(got, want) {
			t.Errorf("%s: %v, %v", in.Text(), got, err)
		}
	}
	if n != 9 {
		t.Errorf("%d examples, want 9", n)
	}
	array := func(more ...any) []byte {
		m := append([]any{1, "h", 4, 23, 16, []byte{0xD0, 0x8A, 0x30, 0x75}}, more...)
		return pb(1, 1000, 2, pb(m...), 3, 0)
	}
	f, _ := New(names).Decode("g", nbirth, array(9, property("dt", pb(1, 10, 6, 0.25))), arrived)
	if got := strings.Join(brief(&f), "; "); got != "H -30000 good @1000000000; H 30000 good @1250000000" || f.Garbled != nil {
		t.Errorf("%s, garbled %v", got, f.Garbled)
	}
	if f, _ := New(names).Decode("g", nbirth, array(), arrived); len(f.Readings) != 0 || len(f.Garbled) != 1 {
		t.Errorf("without dt: %v, garbled %v", brief(&f), f.Garbled)
	}
}

// sound checks what holds for any frame, however wild the payload.
func sound(t *testing.T, f *reading.Frame) {
	for _, r := range f.Readings {
		switch {
		case r.Channel == "":
			t.Errorf("a reading of no channel: %+v", r)
		case r.Quality == reading.Good && !r.Usable():
			t.Errorf("good and not to be used: %+v", r)
		case r.Marks&reading.Timed == 0 && r.At != f.Arrived:
			t.Errorf("without a time, but not that of arrival: %+v", r)
		}
	}
	if len(f.Garbled) > mostLines+1 || len(f.Readings) > mostSamples {
		t.Errorf("%d lines, %d readings", len(f.Garbled), len(f.Readings))
	}
}

func FuzzText(f *testing.F) {
	for _, s := range []string{
		"12.5", "12.5 kN", "NaN", `{"t":1785067200.25,"dt":0.01,"v":[1,null,"Inf"],"seq":1,"q":["good","bad","lost"]}`,
		`{"t":[1,2],"v":[1,2],"unit":"t","signal_dBm":-70,"battery":0.5}`, `[{"W":1},{"E":{"v":2}}]`, `{"t":"2026-07-26T12:00:00Z","v":1e400}`,
	} {
		for _, topic := range []string{"tele/g", "tele/g/all", "tele/g/raw"} {
			f.Add(topic, []byte(s))
		}
	}
	f.Fuzz(func(t *testing.T, topic string, payload []byte) {
		if strings.HasPrefix(topic, "spBv1.0/") {
			return
		}
		frame, _ := New(names).Decode("g", topic, payload, arrived)
		sound(t, &frame)
		if len(frame.Readings)+len(frame.Health)+len(frame.Garbled) == 0 {
			t.Error("nothing came of it, and nothing is said")
		}
	})
}

// FuzzSparkplug plays a payload between a birth and a death, on any topic.
func FuzzSparkplug(f *testing.F) {
	for _, topic := range []string{nbirth, ndata, dbirth, ddata, ndeath, ddeath} {
		f.Add(topic, born(1, 3))
		f.Add(topic, legBorn(2))
		f.Add(topic, pb(1, 1002, 2, pb(2, 7, 13, 13.0, 9, property("Quality", pb(1, 3, 3, 500))), 3, 2))
		f.Add(topic, pb(1, 1002, 2, pb(1, "h", 4, 23, 16, []byte{1, 2, 3, 4}, 9, property("dt", pb(6, 0.1))), 3, 9))
	}
	f.Fuzz(func(t *testing.T, topic string, payload []byte) {
		d := New(names)
		at := arrived
		for _, m := range []struct {
			topic   string
			payload []byte
		}{{nbirth, born(0, 3)}, {"spBv1.0/" + topic, payload}, {topic, payload}, {ddata, payload}, {ndata, payload}, {ndeath, pb(2, bdSeq(3))}} {
			at = at.Plus(1)
			frame, _ := d.Decode("g", m.topic, m.payload, at)
			sound(t, &frame)
			d.Tick(at)
		}
	})
}

// BenchmarkDecode reads ten samples of one channel.
func BenchmarkDecode(b *testing.B) {
	for name, payload := range map[string]struct {
		topic string
		raw   []byte
	}{
		"json":      {"tele/g", []byte(`{"t":1785067200.10,"dt":0.01,"unit":"kN","seq":1234560,"v":[12.031,12.035,12.029,12.044,12.051,12.048,12.039,12.033,12.040,12.046]}`)},
		"sparkplug": {ndata, pb(1, 2000, 2, pb(2, 7, 3, 1, 13, 1.0), 2, pb(2, 7, 3, 2, 13, 1.0), 2, pb(2, 7, 3, 3, 13, 1.0), 2, pb(2, 7, 3, 4, 13, 1.0), 2, pb(2, 7, 3, 5, 13, 1.0), 2, pb(2, 7, 3, 6, 13, 1.0), 2, pb(2, 7, 3, 7, 13, 1.0), 2, pb(2, 7, 3, 8, 13, 1.0), 2, pb(2, 7, 3, 9, 13, 1.0), 2, pb(2, 7, 3, 10, 13, 1.0))},
	} {
		b.Run(name, func(b *testing.B) {
			d := New(names)
			d.Decode("g", nbirth, born(0, 3), arrived)
			b.ReportAllocs()
			for b.Loop() {
				if f, _ := d.Decode("g", payload.topic, payload.raw, arrived); len(f.Readings) != 10 {
					b.Fatal(f)
				}
			}
		})
	}
}
