package storetest

import (
	"encoding/json"
	"testing"
	"time"

	"plumbhook/alarm"
	"plumbhook/fleet"
	"plumbhook/logbook"
	"plumbhook/reading"
	"plumbhook/record"
)

// logOf packs entries from to to, each a frame of two readings; those in stops
// are stops instead, those in holes are not there.
func logOf(t require, site string, from, to uint64, stops, holes map[uint64]bool) fleet.News {
	var p record.Packer
	for n := from; n <= to; n++ {
		at := reading.At(start.Add(time.Duration(n) * time.Second))
		e := &logbook.Entry{N: n, At: at, Kind: logbook.Frame, Frame: &reading.Frame{Readings: []reading.Reading{{Channel: "W", At: at, Value: 1}, {Channel: "E", At: at, Value: 2}}}}
		switch {
		case holes[n]:
			continue
		case stops[n]:
			text, err := json.Marshal(alarm.Event{At: at, Change: alarm.Raised, Kind: "total", Severity: alarm.Stop, Where: "main", Text: "Too much."})
			must(t, err)
			e = &logbook.Entry{N: n, At: at, Kind: logbook.Event, Text: string(text)}
		}
		must(t, p.Add(e))
	}
	pack, _, _ := p.Take()
	return fleet.News{Log: &fleet.Log{Site: site, Watch: "w", From: from, To: to, Pack: pack}}
}

// ledger: each entry counts once however often it comes, what is missing is
// counted, and the place goes with it.
func ledger(t *testing.T, s Subject) {
	l := s.Fleet()
	p, err := l.Place(ctx)
	must(t, err)
	same(t, "the first place", p, fleet.Place{})
	must(t, l.Take(ctx, fleet.Place{Born: 5, Sequence: 2}, []fleet.News{
		logOf(t, "weir", 1, 10, map[uint64]bool{4: true}, nil),
		{Document: &fleet.Document{Site: "weir", Kind: fleet.Gear, ID: "S1", At: start, Body: []byte(`{"a":1}`)}},
	}))
	l = s.Fleet() // after a restart
	must(t, l.Take(ctx, fleet.Place{Born: 5, Sequence: 6}, []fleet.News{
		logOf(t, "weir", 6, 12, nil, nil),                        // five of it again
		logOf(t, "weir", 3, 5, map[uint64]bool{4: true}, nil),    // all of it again
		logOf(t, "weir", 15, 20, nil, map[uint64]bool{16: true}), // 13, 14 and 16 never come
		logOf(t, "quay", 1, 1, map[uint64]bool{1: true}, nil),
		{Document: &fleet.Document{Site: "weir", Kind: fleet.Gear, ID: "S1", At: start.Add(time.Hour), Body: []byte(`{"a":2}`)}},
		{Document: &fleet.Document{Site: "quay", Kind: fleet.Gear, ID: "S1", At: start, Body: []byte(`{"a":3}`)}},
	}))
	p, err = l.Place(ctx)
	must(t, err)
	same(t, "the place", p, fleet.Place{Born: 5, Sequence: 6})
	tallies, err := l.Tallies(ctx)
	must(t, err)
	at := func(n int) time.Time { return start.Add(time.Duration(n) * time.Second).Truncate(time.Microsecond) }
	same(t, "tallies", tallies, []fleet.Tally{
		{Site: "weir", Watch: "w", Last: 20, LastAt: at(20), Entries: 17, Readings: 32, Missing: 3, Again: 8, Stops: 1},
		{Site: "quay", Watch: "w", Last: 1, LastAt: at(1), Entries: 1, Stops: 1},
	})
	stops, err := l.Stops(ctx, at(2))
	must(t, err)
	same(t, "stops", stops, []fleet.Stop{{Site: "weir", Watch: "w", N: 4, At: at(4), Kind: "total", Where: "main", Text: "Too much."}})
	docs, err := l.Documents(ctx, fleet.Gear, "S1")
	must(t, err)
	same(t, "documents", len(docs), 2)
	same(t, "the latest of weir", string(docs[1].Body), `{"a":2}`)

	must(t, l.Heard(ctx, []fleet.Site{{Name: "weir", Heard: at(1), Beat: fleet.Beat{Site: "weir", Stream: "x"}}, {Name: "quay"}}))
	must(t, l.Heard(ctx, []fleet.Site{{Name: "weir", Heard: at(2), Beat: fleet.Beat{Site: "weir", Stream: "y"}}}))
	sites, err := l.Sites(ctx)
	must(t, err)
	same(t, "sites", sites, []fleet.Site{{Name: "weir", Heard: at(2), Beat: fleet.Beat{Site: "weir", Stream: "y"}}})
}
