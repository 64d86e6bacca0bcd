package record

import (
	"math"
	"testing"

	"pgregory.net/rapid"

	"plumbhook/logbook"
	"plumbhook/reading"
)

// odd are the values that a careless conversion changes: zeros of both signs,
// infinities, the ends of float32, not-a-numbers with a payload, quiet and
// signalling.
var odd = []float64{
	0, math.Copysign(0, -1), math.Inf(1), math.Inf(-1), math.MaxFloat32, 2 * math.MaxFloat32, math.SmallestNonzeroFloat32,
	math.SmallestNonzeroFloat64, 16777216, 16777217, 0.1, float64(float32(0.1)), math.NaN(),
	math.Float64frombits(0x7ff0000000000001), math.Float64frombits(0xfff8dead0000beef), math.Float64frombits(0x7ff8000020000000),
}

func drawFloat() *rapid.Generator[float64] {
	return rapid.OneOf(rapid.SampledFrom(odd), rapid.Float64(), rapid.Map(rapid.Uint64(), math.Float64frombits),
		rapid.Map(rapid.Float32(), func(v float32) float64 { return float64(v) }))
}

func drawEntry(t *rapid.T, n uint64) *logbook.Entry {
	stamp := rapid.OneOf(rapid.Int64Range(0, 50), rapid.Int64())
	text := rapid.OneOf(rapid.Just(""), rapid.String(), rapid.Map(rapid.SliceOf(rapid.Byte()), func(b []byte) string { return string(b) }))
	channel := rapid.OneOf(rapid.SampledFrom([]string{"W", "E", "", "hook"}), text)
	e := &logbook.Entry{
		N: n, At: reading.Stamp(stamp.Draw(t, "at")), Kind: logbook.Kind(rapid.Byte().Draw(t, "kind")),
		Who: text.Draw(t, "who"), Signed: rapid.Bool().Draw(t, "signed"), Alarm: text.Draw(t, "alarm"),
		Says: text.Draw(t, "says"), Tare: logbook.TareKind(text.Draw(t, "tare")), Insists: rapid.Bool().Draw(t, "insists"),
		Since: reading.Stamp(stamp.Draw(t, "since")), Text: text.Draw(t, "text"),
	}
	if !rapid.Bool().Draw(t, "framed") {
		return e
	}
	f := &reading.Frame{Source: channel.Draw(t, "source"), Arrived: reading.Stamp(stamp.Draw(t, "arrived"))}
	for range rapid.IntRange(0, 12).Draw(t, "readings") {
		f.Readings = append(f.Readings, reading.Reading{
			Channel: channel.Draw(t, "channel"), At: reading.Stamp(stamp.Draw(t, "t")),
			Seq: rapid.OneOf(rapid.Uint64Range(0, 5), rapid.Uint64()).Draw(t, "seq"), Value: drawFloat().Draw(t, "value"),
			Quality: reading.Quality(rapid.OneOf(rapid.Just(byte(0)), rapid.Byte()).Draw(t, "quality")),
			Marks:   reading.Marks(rapid.OneOf(rapid.Just(byte(3)), rapid.Byte()).Draw(t, "marks")),
		})
	}
	for range rapid.IntRange(0, 3).Draw(t, "health") {
		f.Health = append(f.Health, reading.Health{
			Channel: channel.Draw(t, "channel"), Signal: drawFloat().Draw(t, "signal"), Battery: drawFloat().Draw(t, "battery"),
		})
	}
	for range rapid.IntRange(0, 3).Draw(t, "garbled") {
		f.Garbled = append(f.Garbled, text.Draw(t, "garbled"))
	}
	e.Frame = f
	return e
}

// Every field of any entries comes back bit for bit, also where a stretch
// begins anew between them.
func TestRoundTrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var enc encoder
		var dec decoder
		n := rapid.Uint64Range(1, 1<<40).Draw(t, "n")
		for i := range rapid.IntRange(1, 6).Draw(t, "entries") {
			if rapid.IntRange(0, 4).Draw(t, "reset") == 0 {
				enc.reset()
			}
			e := drawEntry(t, n+uint64(i))
			b, _, err := enc.append(nil, e)
			if err != nil {
				t.Fatal(err)
			}
			got := dec.decode(e.N, b)
			if got == nil {
				t.Fatalf("%x cannot be decoded", b)
			}
			if !equal(got, e) {
				t.Fatalf("\n got %s\nwant %s", show(got), show(e))
			}
		}
	})
}

// An entry of a stretch whose beginning or whose names the decoder has not
// seen is refused, never read with other names.
func TestLostBeginning(t *testing.T) {
	entry := func(n uint64, channel string) *logbook.Entry {
		return &logbook.Entry{N: n, Kind: logbook.Frame, Frame: &reading.Frame{Readings: []reading.Reading{{Channel: channel, Value: 1}}}}
	}
	var enc encoder
	encode := func(e *logbook.Entry) []byte {
		b, _, err := enc.append(nil, e)
		if err != nil {
			t.Fatal(err)
		}
		return b
	}
	one, two, three := encode(entry(1, "W")), encode(entry(2, "E")), encode(entry(3, "W"))
	enc.reset()
	four, five, six := encode(entry(4, "E")), encode(entry(5, "W")), encode(entry(6, "W"))

	type step struct {
		n    uint64
		b    []byte
		want string // channel; empty for refused
	}
	for name, steps := range map[string][]step{
		"all":              {{1, one, "W"}, {2, two, "E"}, {3, three, "W"}, {4, four, "E"}, {5, five, "W"}, {6, six, "W"}},
		"first lost":       {{2, two, ""}, {3, three, ""}, {4, four, "E"}, {5, five, "W"}},
		"between lost":     {{1, one, "W"}, {3, three, "W"}, {4, four, "E"}},
		"beginning lost":   {{1, one, "W"}, {2, two, "E"}, {5, five, ""}, {6, six, ""}},
		"definition lost":  {{4, four, "E"}, {6, six, ""}},
		"under its number": {{1, one, "W"}, {3, two, ""}},
	} {
		var dec decoder
		for i, s := range steps {
			got := ""
			if e := dec.decode(s.n, s.b); e != nil {
				got = e.Frame.Readings[0].Channel
			}
			if got != s.want {
				t.Errorf("%s, step %d: channel %q, want %q", name, i, got, s.want)
			}
		}
	}
}

// A second of 64 channels at 100 Hz in ten frames of ten samples each stays
// close to its values: the rest takes at most two bytes a sample, whether
// samples come channel by channel or moment by moment.
func TestCompact(t *testing.T) {
	for name, byChannel := range map[string]bool{"channel by channel": true, "moment by moment": false} {
		var enc encoder
		n := 0
		for i := range 10 {
			b, _, err := enc.append(nil, busy(uint64(i+1), byChannel))
			if err != nil {
				t.Fatal(err)
			}
			n += len(b)
		}
		if perSample := float64(n) / 6400; perSample > 10 {
			t.Errorf("%s: %.2f bytes a sample", name, perSample)
		} else {
			t.Logf("%s: %.2f bytes a sample", name, perSample)
		}
	}
}

func TestTooManyNames(t *testing.T) {
	e := &logbook.Entry{N: 1, Kind: logbook.Frame, Frame: &reading.Frame{Garbled: []string{string(make([]byte, maxPayload))}}}
	var enc encoder
	if _, _, err := enc.append(nil, e); err == nil {
		t.Error("an entry beyond the bound is taken")
	}
	small := made(1, 1)[0]
	b, begins, err := enc.append(nil, small)
	if err != nil || !begins || new(decoder).decode(1, b) == nil {
		t.Errorf("the entry after it: begins %v, %v", begins, err)
	}
}

// FuzzDecode gives any bytes to the decoder: it refuses them, or gives an entry
// that comes back the same when encoded again.
func FuzzDecode(f *testing.F) {
	var enc encoder
	for _, e := range made(7, 40) {
		enc.reset()
		b, _, err := enc.append(nil, e)
		if err != nil {
			f.Fatal(err)
		}
		f.Add(b)
	}
	f.Fuzz(func(t *testing.T, b []byte) {
		var dec decoder
		e := dec.decode(9, b)
		if e == nil {
			return
		}
		first := clone(e)
		var enc encoder
		again, _, err := enc.append(nil, first)
		if err != nil {
			t.Fatal(err)
		}
		e = new(decoder).decode(9, again)
		if e == nil || !equal(e, first) {
			t.Fatalf("%x\nwas %s", b, show(first))
		}
	})
}
