package watch_test

import (
	"math"
	"testing"

	"plumbhook/logbook"
	"plumbhook/reading"
	"plumbhook/watch"
)

// hand is a lift that nobody has lifted yet, its cells read ten times a second.
type hand struct {
	t  *testing.T
	e  *watch.Engine
	at float64 // s
	n  uint64
}

func (h *hand) enter(en logbook.Entry) {
	h.n++
	en.N, en.At = h.n, reading.Stamp(0).Plus(1e6+h.at)
	h.e.Apply(&en)
}

// read has every cell read for a time; what a leg's cell reads stands in by.
func (h *hand) read(channels []string, seconds float64, by map[string]float64) {
	for range int(math.Round(seconds * 10)) {
		h.at += 0.1
		f := &reading.Frame{Source: "test"}
		for _, c := range channels {
			f.Readings = append(f.Readings, reading.Reading{Channel: c, Value: by[c] + 3*math.Sin(40*h.at+float64(len(c)))})
		}
		h.enter(logbook.Entry{Kind: logbook.Frame, Frame: f})
		h.enter(logbook.Entry{Kind: logbook.Tick})
	}
}

// A pull on a leg is told by its cell, whichever leg was asked for; a known load
// is read as it is. By statics a pull along a hanging leg is read by its own
// cell alone, in full.
func TestPull(t *testing.T) {
	channels := []string{"NW", "NE", "SE", "SW"}
	const weight = 250 * 9.80665 // a known load of 250 kg
	for _, c := range []struct {
		name, asked, load string
		by                map[string]float64
		seconds           float64
		found             string
		over              bool
		reads             watch.Match
	}{
		{"right", "se", "", map[string]float64{"SE": 300}, 2, "se", true, watch.Unknown},
		{"swapped", "se", "", map[string]float64{"NW": 300}, 2, "nw", true, watch.Unknown},
		{"too weak for the cells", "se", "", map[string]float64{"SE": 90}, 2, "", false, watch.Unknown},
		{"two at once", "se", "", map[string]float64{"SE": 300, "NW": 280}, 2, "", false, watch.Unknown},
		{"nobody pulls", "se", "", nil, 31, "", true, watch.Unknown},
		{"a jerk", "se", "", map[string]float64{"SE": 300}, 0.2, "", false, watch.Unknown},
		{"known load", "se", "250", map[string]float64{"SE": weight}, 2, "se", true, watch.Fits},
		{"known load, read in pounds", "se", "250", map[string]float64{"SE": weight / 0.45359237}, 2, "se", true, watch.Off},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			e, err := watch.New(plan(t, "filter-shell.yaml"), watch.Options{})
			if err != nil {
				t.Fatal(err)
			}
			h := &hand{t: t, e: e}
			h.read(channels, 6, nil)
			load := 0.0
			if c.load != "" {
				load = weight
			}
			h.enter(logbook.Entry{Kind: logbook.Mark, Who: "A. Rigger", Says: logbook.Tug, Text: watch.PullText(c.asked, load)})
			h.read(channels, 1, nil)
			h.read(channels, c.seconds, c.by)
			p := e.View().Pulls
			if len(p) != 1 || p[0].Leg != c.asked || p[0].Found != c.found || p[0].Over != c.over || p[0].Reads() != c.reads {
				t.Fatalf("got %+v, reads %q", p, p[0].Reads())
			}
			if c.found != "" {
				want := c.by[map[string]string{"se": "SE", "nw": "NW"}[c.found]]
				if math.Abs(p[0].PullN-want) > 0.06*want {
					t.Errorf("a pull of %.1f N comes to %.1f N", want, p[0].PullN)
				}
			}
		})
	}
}
