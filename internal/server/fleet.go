package server

import (
	"context"
	"net/http"
	"time"

	"github.com/danielgtaylor/huma/v2"

	"plumbhook/contract"
	"plumbhook/fault"
	"plumbhook/fleet"
)

// Fleet is a node of a hub.
type Fleet interface {
	Node() string
	Trouble() error // why it takes nothing in at present
	Look(ctx context.Context, now time.Time) (fleet.View, error)
	// Meetings are the plans and gear whose copies contradict each other.
	Meetings(ctx context.Context) ([]fleet.Meeting, error)
	Answer(ctx context.Context, a fleet.Answer) error
}

// FleetAnswerOrder says which copy holds.
type FleetAnswerOrder struct {
	Named
	Kind  string   `json:"kind" enum:"plan,gear"`
	ID    string   `json:"id" maxLength:"60"`
	Heads []string `json:"heads" maxItems:"50" doc:"as they were shown"`
	Take  string   `json:"take" maxLength:"64" doc:"the one that holds"`
	Why   string   `json:"why" maxLength:"400"`
}

var noHub = fault.New(fault.Reference, "this program is no hub").Fix("ask the hub, or start this one with --hub")

// fleet are the routes about the sites of a hub.
func (s *Server) fleet(api huma.API) {
	get := func(path, id, summary string) huma.Operation {
		return huma.Operation{OperationID: id, Method: http.MethodGet, Path: path, Summary: summary, Errors: []int{401, 403, 404, 500}}
	}
	huma.Register(api, get("/api/fleet/meetings", "fleet-meetings", "Plans and gear whose copies at sites and office contradict each other"), func(ctx context.Context, _ *struct{}) (*answer[contract.FleetMeetings], error) {
		return s.meetings(ctx)
	})
	say := huma.Operation{OperationID: "fleet-answer", Method: http.MethodPost, Path: "/api/fleet/answers", Summary: "Say by name which of several copies holds; no copy is altered", MaxBodyBytes: 4 * mostBody, Errors: []int{400, 401, 403, 404, 409, 413, 415, 422, 500}}
	huma.Register(api, say, func(ctx context.Context, o *order[FleetAnswerOrder]) (*answer[contract.FleetMeetings], error) {
		if s.o.Fleet == nil {
			return nil, s.status(noHub)
		}
		by := s.stamp(ctx, o.Body.Who)
		a := fleet.Answer{Kind: fleet.Kind(o.Body.Kind), ID: o.Body.ID, Heads: o.Body.Heads, Take: o.Body.Take, By: by.Who, At: by.At, Why: o.Body.Why}
		if by.Who == nobodySigned {
			a.By = "" // it takes a name
		}
		if err := s.o.Fleet.Answer(ctx, a); err != nil {
			return nil, s.status(err)
		}
		return s.meetings(ctx)
	})
	huma.Register(api, get("/api/fleet", "get-fleet", "How the sites of this hub stand"), func(ctx context.Context, _ *struct{}) (*answer[contract.Fleet], error) {
		if s.o.Fleet == nil {
			return nil, s.status(noHub)
		}
		v, err := s.o.Fleet.Look(ctx, s.o.Now())
		if err != nil {
			return nil, s.status(err)
		}
		return &answer[contract.Fleet]{contract.NewFleet(&v, s.o.Fleet.Node(), s.o.Fleet.Trouble())}, nil
	})
}

func (s *Server) meetings(ctx context.Context) (*answer[contract.FleetMeetings], error) {
	if s.o.Fleet == nil {
		return nil, s.status(noHub)
	}
	all, err := s.o.Fleet.Meetings(ctx)
	if err != nil {
		return nil, s.status(err)
	}
	return &answer[contract.FleetMeetings]{contract.NewFleetMeetings(all)}, nil
}
