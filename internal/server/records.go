package server

import (
	"archive/zip"
	"context"
	"encoding/json"
	"io/fs"
	"math"
	"net/http"
	"os"
	"slices"
	"strings"
	"sync"
	"time"

	"github.com/danielgtaylor/huma/v2"

	"plumbhook/alarm"
	"plumbhook/contract"
	"plumbhook/fault"
	"plumbhook/job"
	"plumbhook/logbook"
	"plumbhook/reading"
	"plumbhook/watch"
)

// records are the routes about what was watched.
func (s *Server) records(api huma.API) {
	op := func(path, id, summary string) huma.Operation {
		return huma.Operation{OperationID: id, Method: http.MethodGet, Path: path, Summary: summary, Errors: []int{400, 401, 403, 404, 422, 500}}
	}
	huma.Register(api, op("/api/watch/trend", "trend", "How a channel, or the total, went while this lift is on the watch"), s.trend)
	if s.o.Lifts == nil {
		return
	}
	gear := op("/api/records/{id}/gear", "record-gear", "Write what a record's gear bore into its history, once; with dry, only say what would be written")
	gear.Method, gear.MaxBodyBytes, gear.Errors = http.MethodPost, mostBody, append(gear.Errors, 409, 413, 415)
	huma.Register(api, gear, func(ctx context.Context, o *struct {
		ID   string `path:"id"`
		Dry  bool   `query:"dry" doc:"only say what would be written"`
		Body Claimed
	},
	) (*answer[contract.GearTaken], error) {
		out, err := s.take(ctx, o.ID, o.Body.Who, o.Dry)
		if err != nil {
			return nil, s.status(err)
		}
		return &answer[contract.GearTaken]{out}, nil
	})
	huma.Register(api, op("/api/records", "list-records", "What was watched, the newest first"), func(ctx context.Context, _ *struct{}) (*answer[contract.Records], error) {
		list, err := s.o.Lifts.Jobs(ctx, job.Query{})
		if err != nil {
			return nil, s.status(err)
		}
		out := contract.Records{Records: []contract.Record{}}
		for i := range list {
			for k := range list[i].Watches {
				out.Records = append(out.Records, s.record(&list[i], &list[i].Watches[k]))
			}
		}
		slices.SortStableFunc(out.Records, func(a, b contract.Record) int { return b.From.Compare(a.From) })
		return &answer[contract.Records]{out}, nil
	})
	huma.Register(api, op("/api/records/{id}/views", "replay", "A record gone through with the engine of the watch: how things stood"), s.replay)
	seal := op("/api/records/{id}/seal", "seal-record", "Close the record of a watch that has ended in one signed, chained file")
	seal.Method = http.MethodPost
	huma.Register(api, seal, s.sealRecord)
	zipped := op("/api/records/{id}/record.zip", "sealed-record", "The sealed record, as plumbhook verify reads it")
	zipped.Responses = fileAnswer("application/zip")
	huma.Register(api, zipped, func(ctx context.Context, q *recordPath) (*download, error) {
		path, err := s.sealed(ctx, q.ID)
		if err != nil {
			return nil, s.status(err)
		}
		b, err := os.ReadFile(path)
		if err != nil {
			return nil, s.status(err)
		}
		return &download{"application/zip", `attachment; filename="record-` + q.ID + `.zip"`, b}, nil
	})
	csv := op("/api/records/{id}/readings.csv", "record-readings", "The readings of a sealed record, every one as it came")
	csv.Responses = fileAnswer("text/csv")
	huma.Register(api, csv, func(ctx context.Context, q *recordPath) (*download, error) {
		path, err := s.sealed(ctx, q.ID)
		if err != nil {
			return nil, s.status(err)
		}
		z, err := zip.OpenReader(path)
		if err != nil {
			return nil, s.status(err)
		}
		defer z.Close()
		b, err := fs.ReadFile(z, "readings.csv")
		if err != nil {
			return nil, s.status(err)
		}
		return &download{"text/csv", `attachment; filename="readings-` + q.ID + `.csv"`, b}, nil
	})
}

// recordPath names a record.
type recordPath struct {
	ID string `path:"id" maxLength:"40"`
}

// download is a file to be saved, never to be shown as a page of ours.
type download struct {
	Type string `header:"Content-Type"`
	Disp string `header:"Content-Disposition"`
	Body []byte
}

// fileAnswer describes the answer of a download.
func fileAnswer(kind string) map[string]*huma.Response {
	return map[string]*huma.Response{"200": {Description: "The file", Content: map[string]*huma.MediaType{kind: {Schema: &huma.Schema{Type: huma.TypeString, Format: "binary"}}}}}
}

// record shapes one watch of a job.
func (s *Server) record(j *job.Job, w *job.Watch) contract.Record {
	return contract.Record{Lift: j.ID, Title: j.Title(), LiftWatch: contract.NewLiftWatch(w), Sealed: s.o.Watcher != nil && s.o.Watcher.Sealed(w.ID) != ""}
}

// watchOf finds a watch by its id.
func (s *Server) watchOf(ctx context.Context, id string) (*job.Job, *job.Watch, error) {
	list, err := s.o.Lifts.Jobs(ctx, job.Query{})
	if err != nil {
		return nil, nil, err
	}
	for i := range list {
		for k := range list[i].Watches {
			if list[i].Watches[k].ID == id {
				return &list[i], &list[i].Watches[k], nil
			}
		}
	}
	return nil, nil, fault.New(fault.Reference, "there is no record %q", id).Fix("look at the list of records")
}

// sealed gives the sealed file of a record.
func (s *Server) sealed(ctx context.Context, id string) (string, error) {
	if _, _, err := s.watchOf(ctx, id); err != nil {
		return "", err
	}
	if s.o.Watcher == nil {
		return "", noWatcher
	}
	path := s.o.Watcher.Sealed(id)
	if path == "" {
		return "", fault.New(fault.Missing, "the record is not sealed yet").Fix("seal it first")
	}
	return path, nil
}

// sealRecord seals the record of a watch that has ended.
func (s *Server) sealRecord(ctx context.Context, q *recordPath) (*answer[contract.Record], error) {
	if s.o.Watcher == nil {
		return nil, s.status(noWatcher)
	}
	j, w, err := s.watchOf(ctx, q.ID)
	if err != nil {
		return nil, s.status(err)
	}
	if w.To.At.IsZero() {
		return nil, s.status(fault.New(fault.Disagree, "the watch is still on").Fix("end the watch first: a sealed record is never added to"))
	}
	b, err := s.recordOf(ctx, q.ID)
	if err != nil {
		return nil, s.status(err)
	}
	if _, err := s.o.Watcher.Seal(b); err != nil {
		return nil, s.status(err)
	}
	return &answer[contract.Record]{s.record(j, w)}, nil
}

// recordOf finds the job that a record belongs to, and what its watch began with.
func (s *Server) recordOf(ctx context.Context, id string) (Beginning, error) {
	found, w, err := s.watchOf(ctx, id)
	if err != nil {
		return Beginning{}, err
	}
	j, err := s.o.Lifts.Job(ctx, found.ID)
	if err != nil {
		return Beginning{}, err
	}
	r, err := j.Revision(w.Revision)
	if err != nil {
		return Beginning{}, err
	}
	p, err := s.checked(ctx, []byte(r.Text), false)
	if err != nil {
		return Beginning{}, err
	}
	return Beginning{ID: id, Plan: p, Text: r.Text, Rehearse: w.Rehearse, Unit: approvedUnit(&j, w.Revision)}, nil
}

type replayQuery struct {
	ID     string  `path:"id"`
	At     float64 `query:"at" minimum:"0" doc:"one moment, s from the start of the record"`
	From   float64 `query:"from" minimum:"0" doc:"or a range, s"`
	To     float64 `query:"to" minimum:"0" doc:"0: the end"`
	Points int     `query:"points" minimum:"0" maximum:"2000" doc:"views over the range; 0: one, at the moment"`
}

// replay goes through a record from its start: the engine is what the entries
// before made of it.
func (s *Server) replay(ctx context.Context, q *replayQuery) (*answer[contract.Replayed], error) {
	if s.o.Watcher == nil {
		return nil, s.status(noWatcher)
	}
	b, err := s.recordOf(ctx, q.ID)
	if err != nil {
		return nil, s.status(err)
	}
	entries, o, err := s.o.Watcher.Record(b)
	if err != nil {
		return nil, s.status(err)
	}
	e, err := watch.New(b.Plan, o)
	if err != nil {
		return nil, s.status(err)
	}
	out, err := readout(b.Unit)
	if err != nil {
		return nil, s.status(err)
	}
	unit := contract.NewUnit(b.Plan, out)
	v := contract.Replayed{ID: q.ID, Views: []contract.Watch{}, Events: []contract.WatchEvent{}, Lost: []string{}}
	// The record's length is known when it has been gone through: views are kept
	// finely at first, and every other one goes each time there are too many.
	points := max(1, q.Points)
	step, next := 0.05, q.From
	if q.Points == 0 {
		next = q.At
	}
	var start, now reading.Stamp
	keep := func() {
		w := e.View()
		v.Views = append(v.Views, contract.NewWatch(&w, unit))
	}
	for en, err := range entries {
		if ctx.Err() != nil {
			return nil, ctx.Err()
		}
		if err != nil {
			v.Lost = append(v.Lost, err.Error())
			continue
		}
		if start == 0 {
			start = en.At
		}
		if t := en.At.Since(start); t > next && now != 0 {
			if q.Points == 0 {
				if len(v.Views) == 0 {
					keep()
				}
			} else if q.To == 0 || t <= q.To {
				keep()
				next = t + step
				if len(v.Views) >= 2*points {
					half := v.Views[:0]
					for i := 0; i < len(v.Views); i += 2 {
						half = append(half, v.Views[i])
					}
					v.Views, step = half, 2*step
				}
			}
		}
		now = en.At
		if en.Kind == logbook.Event {
			var ev alarm.Event
			if json.Unmarshal([]byte(en.Text), &ev) == nil {
				v.Events = append(v.Events, contract.NewEvent(&ev))
			}
			continue // the engine says it anew
		}
		e.Apply(en)
	}
	if len(v.Views) == 0 && now != 0 {
		keep()
	}
	v.From, v.LengthS = start.Time(), now.Since(start)
	return &answer[contract.Replayed]{v}, nil
}

// trail is the trend of the lift on the watch: least and most of every second,
// for a shift. It lives with the watch in this process; the record has all.
type trail struct {
	mu    sync.Mutex
	of    map[string][]contract.TrendPoint
	since time.Time
}

const longestTrail = 8 * 60 * 60 // s

// total is the name of the sum at the hooks among the channels.
const total = "total"

// trailEvery is how often the lift on the watch is looked at for its trail: what
// lies between two looks is in the record.
const trailEvery = 100 * time.Millisecond

// follow keeps the trail of whatever is on the watch.
func (s *Server) follow(ctx context.Context) {
	tick := time.NewTicker(trailEvery)
	defer tick.Stop()
	for {
		select {
		case <-ctx.Done():
			return
		case <-tick.C:
		}
		if x := s.slot.Load(); x != nil {
			v := x.station.View()
			x.trail.look(&v)
		}
	}
}

func (t *trail) look(v *watch.View) {
	at := v.At.Time().Truncate(time.Second)
	t.mu.Lock()
	defer t.mu.Unlock()
	t.note(total, at, v.TotalN)
	for i := range v.Cells {
		t.note(v.Cells[i].Channel, at, v.Cells[i].GrossN)
	}
}

func (t *trail) note(name string, at time.Time, n float64) {
	if math.IsNaN(n) || math.IsInf(n, 0) {
		return
	}
	list := t.of[name]
	if k := len(list) - 1; k >= 0 && list[k].At.Equal(at) {
		list[k].LeastN, list[k].MostN = min(list[k].LeastN, n), max(list[k].MostN, n)
		return
	}
	if len(list) >= longestTrail {
		list = append(list[:0], list[len(list)/8:]...)
	}
	t.of[name] = append(list, contract.TrendPoint{At: at, LeastN: n, MostN: n})
}

func (s *Server) trend(_ context.Context, q *struct {
	Channel string    `query:"channel" maxLength:"80" doc:"a cell's; empty: the total at the hooks"`
	From    time.Time `query:"from" doc:"empty: all there is"`
	Points  int       `query:"points" minimum:"1" maximum:"2000" default:"300"`
},
) (*answer[contract.Trend], error) {
	x, err := s.watched()
	if err != nil {
		return nil, err
	}
	name := q.Channel
	if strings.TrimSpace(name) == "" {
		name = total
	}
	x.trail.mu.Lock()
	list := slices.Clone(x.trail.of[name])
	known := x.trail.of[name] != nil
	x.trail.mu.Unlock()
	if v := x.station.View(); !known && name != total && !slices.ContainsFunc(v.Cells, func(c watch.CellView) bool { return c.Channel == name }) {
		return nil, s.status(fault.New(fault.Reference, "the lift has no channel %q", name).In("channel").Fix("name one of its cells, or none for the total"))
	}
	i, _ := slices.BinarySearchFunc(list, q.From, func(p contract.TrendPoint, at time.Time) int { return p.At.Compare(at) })
	list = list[i:]
	out := contract.Trend{Channel: name, Since: x.trail.since, Points: []contract.TrendPoint{}}
	per := (len(list) + q.Points - 1) / max(1, q.Points)
	for i := 0; i < len(list); i += max(1, per) {
		p := list[i]
		for _, o := range list[i:min(len(list), i+per)] {
			p.LeastN, p.MostN = min(p.LeastN, o.LeastN), max(p.MostN, o.MostN)
		}
		out.Points = append(out.Points, p)
	}
	return &answer[contract.Trend]{out}, nil
}
