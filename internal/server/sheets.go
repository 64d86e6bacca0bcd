package server

import (
	"cmp"
	"context"
	"net/http"

	"github.com/danielgtaylor/huma/v2"

	"plumbhook/job"
	"plumbhook/logbook"
	"plumbhook/quantity"
	"plumbhook/report"
	"plumbhook/report/paper"
	"plumbhook/watch"
)

// SheetQuery is how a sheet speaks.
type SheetQuery struct {
	Language string `query:"language" enum:"en,es" default:"en"`
	Units    string `query:"units" enum:"metric,us" default:"metric" doc:"of lengths and masses; us is on letter paper"`
	Unit     string `query:"unit" maxLength:"20" doc:"of every force; empty: that of the approval, else that of units"`
	Number   string `query:"number" maxLength:"80" doc:"of the document; empty: a line to write it on"`
}

type liftSheetQuery struct {
	LiftID
	N    int    `path:"n"`
	Kind string `path:"kind" enum:"plan,crew,readings,briefing,issue"`
	SheetQuery
}

type recordSheetQuery struct {
	LiftID
	Kind string `path:"kind" enum:"customer,record,near-miss"`
	Stop int    `query:"stop" minimum:"1" default:"1" doc:"which stop a near miss is about"`
	SheetQuery
}

// sheets are the routes that print.
func (s *Server) sheets(api huma.API) {
	op := func(path, id, summary string) huma.Operation {
		return huma.Operation{
			OperationID: id, Method: http.MethodGet, Path: path, Summary: summary, Errors: []int{400, 401, 403, 404, 422, 500},
			Responses: map[string]*huma.Response{"200": {Description: "The sheet", Content: map[string]*huma.MediaType{"application/pdf": {Schema: &huma.Schema{Type: huma.TypeString, Format: "binary"}}}}},
		}
	}
	huma.Register(api, op("/api/lifts/{id}/revisions/{n}/sheets/{kind}", "print-lift", "A sheet of a revision, as PDF: lift plan, crew card, expected readings, briefing, gear issue"), func(ctx context.Context, q *liftSheetQuery) (*typed, error) {
		j, err := s.o.Lifts.Job(ctx, q.ID)
		if err != nil {
			return nil, s.status(err)
		}
		pdf, err := s.sheet(ctx, &j, q)
		return &typed{"application/pdf", pdf}, s.status(err)
	})
	if s.o.Watcher != nil {
		huma.Register(api, op("/api/records/{id}/sheets/{kind}", "print-record", "A sheet of what was watched, as PDF: customer report, full record, near miss"), func(ctx context.Context, q *recordSheetQuery) (*typed, error) {
			pdf, err := s.recordSheet(ctx, q)
			return &typed{"application/pdf", pdf}, s.status(err)
		})
	}
}

// options are those of a sheet of today.
func (s *Server) options(q *SheetQuery, unit string) report.Options {
	o := report.Options{Language: paper.Language(q.Language), Number: q.Number, Force: cmp.Or(q.Unit, unit), On: s.today(), Program: "plumbhook " + s.o.Version}
	if q.Units == "us" {
		o.Units = quantity.US
	}
	return o
}

// approvedUnit is the one unit that the crew of a revision reads; empty: it was
// never approved.
func approvedUnit(j *job.Job, revision int) (unit string) {
	for _, a := range j.Approvals {
		if a.Revision == revision {
			unit = a.Unit
		}
	}
	return unit
}

func (s *Server) sheet(ctx context.Context, j *job.Job, q *liftSheetQuery) ([]byte, error) {
	r, err := j.Revision(q.N)
	if err != nil {
		return nil, err
	}
	l, gear, err := s.read(ctx, []byte(r.Text))
	if err != nil {
		return nil, err
	}
	p, err := s.hang(ctx, l, gear)
	if err != nil {
		return nil, err
	}
	o := s.options(&q.SheetQuery, approvedUnit(j, r.N))
	o.Gear = gear
	return report.Of(q.Kind, p, o)
}

// recordSheet goes through a record from its start, as replay does.
func (s *Server) recordSheet(ctx context.Context, q *recordSheetQuery) ([]byte, error) {
	b, err := s.recordOf(ctx, q.ID)
	if err != nil {
		return nil, err
	}
	entries, with, err := s.o.Watcher.Record(b)
	if err != nil {
		return nil, err
	}
	e, err := watch.New(b.Plan, with)
	if err != nil {
		return nil, err
	}
	w := &report.Watched{Plan: b.Plan, Trace: report.Trace{}}
	for en, err := range entries {
		if ctx.Err() != nil {
			return nil, ctx.Err()
		}
		if err != nil {
			w.Garbled = append(w.Garbled, err.Error())
			continue
		}
		if en.Kind == logbook.Event {
			continue // the engine says it anew
		}
		if en.Kind == logbook.Frame {
			for i := range en.Frame.Readings {
				if n, ok := e.Corrected(&en.Frame.Readings[i]); ok {
					w.Trace.Take(&en.Frame.Readings[i], n)
				}
			}
		}
		w.Events = append(w.Events, e.Apply(en)...)
	}
	w.Result, w.View, w.Zero = e.Finish(), e.View(), e.Zero()
	w.Readings, _, w.Unplanned = e.Counts()
	o := s.options(&q.SheetQuery, b.Unit)
	o.Virtual = b.Rehearse != ""
	return report.OfWatched(q.Kind, w, q.Stop, o)
}
