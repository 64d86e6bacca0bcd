package fleet_test

import (
	"testing"
	"time"

	"pgregory.net/rapid"

	"plumbhook/fleet"
	"plumbhook/register"
)

// However a recording is cut into pieces, and however often and in what order
// pieces come again, what is counted once, missing and again adds up to what came.
func TestTally(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var tally fleet.Tally
		had := map[uint64]bool{}
		reached, came := uint64(0), uint64(0)
		for range rapid.IntRange(1, 12).Draw(t, "pieces") {
			from := rapid.Uint64Range(1, reached+5).Draw(t, "from")
			to := from + rapid.Uint64Range(0, 8).Draw(t, "more")
			var numbers []uint64
			for n := from; n <= to; n++ {
				if rapid.IntRange(0, 9).Draw(t, "hole") > 0 {
					numbers = append(numbers, n)
				}
			}
			fresh := tally.Take(&fleet.Log{From: from, To: to}, numbers)
			for _, n := range numbers {
				if n > reached {
					had[n] = true
					if n < fresh {
						t.Fatalf("entry %d is new and was left out", n)
					}
				} else if n >= fresh {
					t.Fatalf("entry %d counts twice", n)
				}
			}
			came += to - from + 1
			reached = max(reached, to)
			if tally.Last != reached || tally.Entries != uint64(len(had)) || tally.Entries+tally.Missing != reached {
				t.Fatalf("%+v, reached %d, had %d", tally, reached, len(had))
			}
			if tally.Again > came {
				t.Fatalf("%d again of %d", tally.Again, came)
			}
		}
	})
}

// What is live is what was heard just now by our own clock, whatever the site's
// says and whatever its last word was.
func TestLook(t *testing.T) {
	now := time.Date(2026, 11, 25, 10, 0, 0, 0, time.UTC)
	on := func(state string) *fleet.OnWatch { return &fleet.OnWatch{Title: "gate", State: state} }
	site := func(name string, ago time.Duration, w *fleet.OnWatch) fleet.Site {
		return fleet.Site{Name: name, Heard: now.Add(-ago), Beat: fleet.Beat{Site: name, At: now.Add(time.Hour), Watch: w}}
	}
	cell := register.Item{Serial: "LC1", Kind: "load cell", Status: register.InService, CalibrateBy: "2026-11-20", ExamineBy: "2026-12-01"}
	v := fleet.Look(now, now.Add(-10*time.Hour), fleet.Seen{
		Sites: []fleet.Site{
			site("a-idle", time.Second, nil), site("b-down", time.Minute, on("WITHIN PLAN")), site("c-stop", time.Second, on("STOP")),
			site("d-fine", time.Second, on("WITHIN PLAN")),
			{Name: "e-new"},
			site("f-edge", fleet.Fresh, nil), site("g-caution", 4*time.Second, on("CAUTION")), site("h-lost", 0, on("NO READING")),
		},
		Behind:  map[string]uint64{"d-fine": 7, "b-down": 9},
		Tallies: []fleet.Tally{{Site: "d-fine", Missing: 2}, {Site: "d-fine", Missing: 3}},
		Stops:   []fleet.Stop{{Site: "c-stop"}, {Site: "c-stop"}},
		Gear:    map[string][]register.Item{"a-idle": {cell}},
	})
	var order []string
	rows := map[string]fleet.Row{}
	for _, r := range v.Rows {
		order = append(order, r.Site)
		rows[r.Site] = r
	}
	want := []string{"c-stop", "b-down", "h-lost", "g-caution", "d-fine", "e-new", "f-edge", "a-idle"}
	for i := range want {
		if order[i] != want[i] {
			t.Fatalf("got %v, want %v", order, want)
		}
	}
	if r := rows["b-down"]; r.Link != fleet.Down || !r.Since.Equal(now.Add(-time.Minute)) || r.Behind != 0 {
		t.Errorf("%+v", r)
	}
	if r := rows["f-edge"]; r.Link != fleet.Down {
		t.Errorf("%+v", r)
	}
	if r := rows["e-new"]; r.Link != fleet.Unheard {
		t.Errorf("%+v", r)
	}
	if r := rows["d-fine"]; r.Link != fleet.Linked || r.Behind != 7 || r.Missing != 5 {
		t.Errorf("%+v", r)
	}
	if r := rows["c-stop"]; r.Stops != 2 {
		t.Errorf("%+v", r)
	}
	if r := rows["a-idle"]; r.Cells != (fleet.Dues{Overdue: 1}) || r.Gear != (fleet.Dues{Soon: 1}) || len(v.Dues) != 2 {
		t.Errorf("%+v %+v", r, v.Dues)
	}
}
