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
}

// fleet is the route about the sites of a hub.
func (s *Server) fleet(api huma.API) {
	op := huma.Operation{OperationID: "get-fleet", Method: http.MethodGet, Path: "/api/fleet", Summary: "How the sites of this hub stand", Errors: []int{401, 403, 404, 500}}
	huma.Register(api, op, func(ctx context.Context, _ *struct{}) (*answer[contract.Fleet], error) {
		if s.o.Fleet == nil {
			return nil, s.status(fault.New(fault.Reference, "this program is no hub").Fix("ask the hub, or start this one with --hub"))
		}
		v, err := s.o.Fleet.Look(ctx, s.o.Now())
		if err != nil {
			return nil, s.status(err)
		}
		return &answer[contract.Fleet]{contract.NewFleet(&v, s.o.Fleet.Node(), s.o.Fleet.Trouble())}, nil
	})
}
