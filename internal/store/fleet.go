package store

import (
	"context"
	"database/sql"
	"encoding/json"
	"sync"
	"time"

	"plumbhook/alarm"
	"plumbhook/fleet"
	"plumbhook/logbook"
	"plumbhook/record"
)

// Ledger keeps what a node of a hub has made of the hub's stream.
type Ledger struct {
	s *Store

	mu      sync.Mutex
	tallies map[[2]string]fleet.Tally // by site and watch; nil: to be read
}

var _ fleet.Ledger = (*Ledger)(nil)

// Ledger gives the one ledger of the store. It is written by one process.
func (s *Store) Ledger() *Ledger { return &Ledger{s: s} }

// Place tells how far it has got.
func (l *Ledger) Place(ctx context.Context) (p fleet.Place, err error) {
	err = l.s.db.QueryRowContext(ctx, "SELECT born, sequence FROM fleet_place").Scan(&p.Born, &p.Sequence)
	return p, err
}

// Take counts logs in, notes the stops in them and keeps documents.
func (l *Ledger) Take(ctx context.Context, to fleet.Place, news []fleet.News) (err error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.tallies == nil {
		if err := l.load(ctx); err != nil {
			return err
		}
	}
	defer func() {
		if err != nil {
			l.tallies = nil
		}
	}()
	changed := map[[2]string]bool{}
	var stops [][]any
	documents := map[[3]string]*fleet.Document{}
	for i := range news {
		if d := news[i].Document; d != nil {
			documents[[3]string{d.Site, string(d.Kind), d.ID}] = d
		}
		if log := news[i].Log; log != nil {
			key := [2]string{log.Site, log.Watch}
			t, found := count(l.tallies[key], log)
			l.tallies[key], changed[key] = t, true
			for _, s := range found {
				stops = append(stops, []any{s.Site, s.Watch, s.N, s.At.UnixMicro(), s.Kind, s.Where, s.Text})
			}
		}
	}
	return l.s.within(ctx, func(w *writer) error {
		for key := range changed {
			t := l.tallies[key]
			w.exec("INSERT INTO fleet_tallies (site, watch, last, last_at, entries, readings, missing, again, stops) VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9) "+
				"ON CONFLICT (site, watch) DO UPDATE SET last = excluded.last, last_at = excluded.last_at, entries = excluded.entries, readings = excluded.readings, missing = excluded.missing, again = excluded.again, stops = excluded.stops",
				t.Site, t.Watch, t.Last, micros(t.LastAt), t.Entries, t.Readings, t.Missing, t.Again, t.Stops)
		}
		w.insert("fleet_stops", "site, watch, n, at, kind, place, text", stops)
		for _, d := range documents {
			w.exec("INSERT INTO fleet_documents (site, kind, id, at, body) VALUES ($1, $2, $3, $4, $5) ON CONFLICT (site, kind, id) DO UPDATE SET at = excluded.at, body = excluded.body",
				d.Site, string(d.Kind), d.ID, d.At.UnixMicro(), string(d.Body))
		}
		w.exec("UPDATE fleet_place SET born = $1, sequence = $2", to.Born, to.Sequence)
		return w.err
	})
}

// count counts a log in and gives the stops that were raised in what is new.
func count(t fleet.Tally, log *fleet.Log) (fleet.Tally, []fleet.Stop) {
	t.Site, t.Watch = log.Site, log.Watch
	var numbers []uint64
	var stops []fleet.Stop
	had := t.Last
	for e, err := range record.Unpack(log.Pack) {
		if err != nil {
			break // what it held is missing by its numbers
		}
		numbers = append(numbers, e.N)
		if e.N <= had {
			continue
		}
		t.LastAt = e.At.Time()
		if e.Frame != nil {
			t.Readings += uint64(len(e.Frame.Readings))
		}
		var ev alarm.Event
		if e.Kind == logbook.Event && json.Unmarshal([]byte(e.Text), &ev) == nil && ev.Change == alarm.Raised && ev.Severity == alarm.Stop {
			t.Stops++
			stops = append(stops, fleet.Stop{Site: log.Site, Watch: log.Watch, N: e.N, At: e.At.Time(), Kind: string(ev.Kind), Where: ev.Where, Text: ev.Text})
		}
	}
	t.Take(log, numbers)
	return t, stops
}

func micros(t time.Time) int64 {
	if t.IsZero() {
		return 0
	}
	return t.UnixMicro()
}

func moment(micros int64) time.Time {
	if micros == 0 {
		return time.Time{}
	}
	return time.UnixMicro(micros).UTC()
}

func (l *Ledger) load(ctx context.Context) error {
	list, err := l.Tallies(ctx)
	if err != nil {
		return err
	}
	l.tallies = map[[2]string]fleet.Tally{}
	for _, t := range list {
		l.tallies[[2]string{t.Site, t.Watch}] = t
	}
	return nil
}

// Tallies gives that of each recording, the one that came last first.
func (l *Ledger) Tallies(ctx context.Context) ([]fleet.Tally, error) {
	return collect(ctx, l.s.db, "SELECT site, watch, last, last_at, entries, readings, missing, again, stops FROM fleet_tallies ORDER BY last_at DESC, site, watch", nil, func(rows *sql.Rows) (t fleet.Tally, err error) {
		var at int64
		err = rows.Scan(&t.Site, &t.Watch, &t.Last, &at, &t.Entries, &t.Readings, &t.Missing, &t.Again, &t.Stops)
		t.LastAt = moment(at)
		return t, err
	})
}

// Heard notes when sites were last heard.
func (l *Ledger) Heard(ctx context.Context, sites []fleet.Site) error {
	return l.s.within(ctx, func(w *writer) error {
		for _, x := range sites {
			if x.Heard.IsZero() {
				continue
			}
			beat, err := json.Marshal(x.Beat)
			if err != nil {
				return err
			}
			w.exec("INSERT INTO fleet_sites (site, heard, beat) VALUES ($1, $2, $3) ON CONFLICT (site) DO UPDATE SET heard = excluded.heard, beat = excluded.beat", x.Name, x.Heard.UnixMicro(), string(beat))
		}
		return w.err
	})
}

// Sites gives what was noted of each.
func (l *Ledger) Sites(ctx context.Context) ([]fleet.Site, error) {
	return collect(ctx, l.s.db, "SELECT site, heard, beat FROM fleet_sites ORDER BY site", nil, func(rows *sql.Rows) (x fleet.Site, err error) {
		var at int64
		var beat []byte
		if err = rows.Scan(&x.Name, &at, &beat); err == nil {
			x.Heard = moment(at)
			err = json.Unmarshal(beat, &x.Beat)
		}
		return x, err
	})
}

// Stops gives those raised since a time.
func (l *Ledger) Stops(ctx context.Context, since time.Time) ([]fleet.Stop, error) {
	return collect(ctx, l.s.db, "SELECT site, watch, n, at, kind, place, text FROM fleet_stops WHERE at >= $1 ORDER BY at DESC, site, watch, n", []any{since.UnixMicro()}, func(rows *sql.Rows) (x fleet.Stop, err error) {
		var at int64
		err = rows.Scan(&x.Site, &x.Watch, &x.N, &at, &x.Kind, &x.Where, &x.Text)
		x.At = moment(at)
		return x, err
	})
}

// Documents gives the latest of each site.
func (l *Ledger) Documents(ctx context.Context, kind fleet.Kind, id string) ([]fleet.Document, error) {
	where, args := "kind = $1", []any{string(kind)}
	if id != "" {
		where, args = where+" AND id = $2", append(args, id)
	}
	return collect(ctx, l.s.db, "SELECT site, kind, id, at, body FROM fleet_documents WHERE "+where+" ORDER BY id, site", args, func(rows *sql.Rows) (d fleet.Document, err error) {
		var at int64
		err = rows.Scan(&d.Site, (*string)(&d.Kind), &d.ID, &at, &d.Body)
		d.At = moment(at)
		return d, err
	})
}
