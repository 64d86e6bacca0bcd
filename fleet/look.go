package fleet

import (
	"cmp"
	"slices"
	"time"

	"plumbhook/register"
)

// State is how the line to a site does.
type State string

// A site is Linked while its beats are fresh; Down once they are not, whatever
// it said last; Unheard when it never spoke.
const (
	Linked  State = "linked"
	Down    State = "down"
	Unheard State = "never heard"
)

// Row is one site as the fleet page shows it.
type Row struct {
	Site    string
	Link    State
	Since   time.Time // of Down: when it was last heard
	Version string
	Twice   bool     // two programs speak as this site
	Behind  uint64   // messages that it has and the hub has not; of Linked
	Watch   *OnWatch // of Linked what is on the watch; of Down what was, nothing of it live
	Stops   int      // raised since the day began
	Missing uint64   // entries of its recordings that never came
	Last    time.Time
	Cells   Dues // calibrations
	Gear    Dues // all other duties
}

// Dues counts what falls due.
type Dues struct{ Overdue, Soon int }

// View is all sites at a moment.
type View struct {
	At    time.Time
	Day   time.Time // when the day began, from which stops are counted
	Rows  []Row     // what needs somebody first
	Stops []Stop    // since Day, the latest first
	Dues  []SiteDue // overdue and soon, by day
}

// SiteDue is what falls due at a site.
type SiteDue struct {
	Site string
	register.Due
}

// SoonDays is how far ahead Soon looks.
const SoonDays = 30

// Seen is what a view is made of.
type Seen struct {
	Sites   []Site            // admitted, with their latest beats
	Behind  map[string]uint64 // by site
	Twice   map[string]bool
	Tallies []Tally
	Stops   []Stop
	Gear    map[string][]register.Item // by site
}

// Look makes a view. A beat counts by when it was heard here, never by the
// clock of its site.
func Look(now, day time.Time, s Seen) View {
	v := View{At: now, Day: day, Stops: s.Stops}
	today := register.DateOf(now)
	soon := today.AddDays(SoonDays)
	for _, site := range s.Sites {
		r := Row{Site: site.Name, Link: Unheard, Twice: s.Twice[site.Name], Version: site.Beat.Version}
		switch {
		case site.Heard.IsZero():
		case now.Sub(site.Heard) < Fresh:
			r.Link, r.Watch, r.Behind = Linked, site.Beat.Watch, s.Behind[site.Name]
		default:
			r.Link, r.Watch, r.Since = Down, site.Beat.Watch, site.Heard
		}
		for _, t := range s.Tallies {
			if t.Site == site.Name {
				r.Missing += t.Missing
				if t.LastAt.After(r.Last) {
					r.Last = t.LastAt
				}
			}
		}
		for _, x := range s.Stops {
			if x.Site == site.Name {
				r.Stops++
			}
		}
		for _, it := range s.Gear[site.Name] {
			for _, d := range it.Dues(soon) {
				into := &r.Gear
				if d.Duty == register.Calibrate {
					into = &r.Cells
				}
				if d.By < today {
					into.Overdue++
				} else {
					into.Soon++
				}
				v.Dues = append(v.Dues, SiteDue{site.Name, d})
			}
		}
		v.Rows = append(v.Rows, r)
	}
	slices.SortStableFunc(v.Rows, func(a, b Row) int {
		return cmp.Or(cmp.Compare(urgency(&a), urgency(&b)), cmp.Compare(a.Site, b.Site))
	})
	slices.SortFunc(v.Dues, func(a, b SiteDue) int {
		return cmp.Or(cmp.Compare(a.By, b.By), cmp.Compare(a.Site, b.Site), cmp.Compare(register.Key(a.Serial), register.Key(b.Serial)), cmp.Compare(a.Duty, b.Duty))
	})
	return v
}

// urgency puts in front what may need somebody: a stop, a lift that nobody here
// can see, a lift without readings, then lifts, then lines that are down.
func urgency(r *Row) int {
	on := r.Watch != nil
	switch {
	case r.Link == Linked && on && r.Watch.State == "STOP":
		return 0
	case r.Link == Down && on:
		return 1
	case on && r.Watch.State == "NO READING":
		return 2
	case on && r.Watch.State == "CAUTION":
		return 3
	case on:
		return 4
	case r.Link == Linked:
		return 6
	}
	return 5
}
