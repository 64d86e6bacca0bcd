package server

import (
	"bytes"
	"context"
	"math"
	"net/http"
	"strings"

	"github.com/danielgtaylor/huma/v2"

	"plumbhook/card"
	"plumbhook/contract"
	"plumbhook/draw"
	"plumbhook/fault"
	"plumbhook/lift"
	"plumbhook/quantity"
	"plumbhook/register"
	"plumbhook/rulebook"
	"plumbhook/size"
	"plumbhook/verdict"
)

// mostPlan is how long a lift file may be, bytes.
const mostPlan = 1 << 20

// planName is what faults call a lift file that came without a name.
const planName = "plan.yaml"

// desk is the plan desk: it computes on what it is sent and keeps nothing.
func (s *Server) desk(api huma.API) {
	huma.Register(api, plan("check", "check", "Hang a lift and say whether the plan holds"), func(ctx context.Context, o *order[checkOrder]) (*answer[contract.DeskCheck], error) {
		p, err := s.checked(ctx, []byte(o.Body.Text), o.Body.Quick)
		if err != nil {
			return nil, s.status(err)
		}
		return &answer[contract.DeskCheck]{contract.NewDeskCheck(p)}, nil
	})
	picture := plan("draw", "draw", "One view of a lift as it hangs, as SVG")
	picture.Responses = map[string]*huma.Response{"200": {Description: "The drawing", Content: map[string]*huma.MediaType{"image/svg+xml": {Schema: &huma.Schema{Type: huma.TypeString}}}}}
	huma.Register(api, picture, s.draw)
	huma.Register(api, plan("size", "size", "Which lengths and gear would do, as changes to take"), s.size)
	huma.Register(api, plan("card", "make-card", "What the cells must read, and where to stop"), s.deskCard)
	huma.Register(api, plan("lesson", "lesson", "What the height of the hook does to the legs"), func(ctx context.Context, o *order[PlanText]) (*answer[contract.Lesson], error) {
		p, err := s.checked(ctx, []byte(o.Body.Text), false)
		if err != nil {
			return nil, s.status(err)
		}
		c, err := card.New(p, 0, card.Day{})
		if err != nil {
			return nil, s.status(err)
		}
		l, err := contract.NewLesson(p, c)
		if err != nil {
			return nil, s.status(err)
		}
		return &answer[contract.Lesson]{l}, nil
	})
	schema := huma.Operation{
		OperationID: "get-schema", Method: http.MethodGet, Path: "/api/schema", Summary: "The lift file's JSON Schema",
		Responses: map[string]*huma.Response{"200": {Description: "The schema", Content: map[string]*huma.MediaType{"application/schema+json": {Schema: &huma.Schema{Type: huma.TypeObject}}}}},
	}
	huma.Register(api, schema, func(context.Context, *struct{}) (*typed, error) {
		b, err := lift.Schema()
		if err != nil {
			return nil, s.status(err)
		}
		return &typed{"application/schema+json", b}, nil
	})
}

// typed is a body that is no JSON of ours.
type typed struct {
	Type string `header:"Content-Type"`
	Body []byte
}

// plan is an operation on a lift file that is sent along.
func plan(path, id, summary string) huma.Operation {
	return huma.Operation{
		OperationID: id, Method: http.MethodPost, Path: "/api/" + path, Summary: summary, MaxBodyBytes: mostPlan + mostBody,
		Errors: []int{400, 401, 403, 413, 415, 422, 500},
	}
}

type PlanText struct {
	Text string `json:"text" maxLength:"1048576" doc:"the lift file, YAML"`
}

type checkOrder struct {
	PlanText
	Quick bool `json:"quick,omitempty" doc:"nominal figures only: for somebody who is still writing"`
}

type drawOrder struct {
	PlanText
	View string `json:"view,omitempty" enum:"front,side,plan" default:"front"`
	Step string `json:"step,omitempty" doc:"after this step, by name; empty: as first rigged"`
	Unit string `json:"unit,omitempty" maxLength:"20" doc:"of every force; empty: kN"`
}

type sizeOrder struct {
	PlanText
	TiltDeg       float64  `json:"tilt_deg,omitempty" minimum:"0" maximum:"90" doc:"wanted; 0: level"`
	LowSideDeg    float64  `json:"low_side_deg,omitempty" doc:"side that is to hang low, from +x toward +y, load axes"`
	HeadroomM     *float64 `json:"headroom_m,omitempty" minimum:"0.01" doc:"there is so much from the bearing of the hook down to the highest lug"`
	LeastAngleDeg *float64 `json:"least_angle_deg,omitempty" minimum:"1" maximum:"89" doc:"flattest that legs may stand, from horizontal"`
	Margin        float64  `json:"margin,omitempty" minimum:"0" maximum:"10" doc:"share that gear must be rated for above P95"`
}

type cardOrder struct {
	PlanText
	Unit string `json:"unit,omitempty" maxLength:"20" doc:"that the cells' display shows; empty: kN"`
}

// read reads a lift file, its serials looked up in the register.
func (s *Server) read(ctx context.Context, text []byte) (*lift.Lift, *verdict.Register, error) {
	if len(text) > mostPlan {
		return nil, nil, fault.New(fault.TooLarge, "the lift file has more than %d kB", mostPlan>>10).Fix("split it into several lifts")
	}
	if s.o.Gear == nil {
		l, err := lift.Read(planName, nil, text)
		return l, nil, err
	}
	var failed error // of the register, which the lift file is not to blame for
	l, err := lift.ReadWith(planName, nil, text, func(serial string) (string, map[string]string, bool) {
		items, err := s.o.Gear.Items(ctx, []string{serial})
		if err != nil {
			failed = err
		}
		it, ok := items[register.Key(serial)]
		return it.Kind, it.Said(), ok
	})
	if failed != nil {
		return nil, nil, failed
	}
	if err != nil {
		return nil, nil, err
	}
	items, err := s.o.Gear.Items(ctx, verdict.Serials(l))
	return l, &verdict.Register{On: s.today(), Items: items}, err
}

// checked hangs a lift file.
func (s *Server) checked(ctx context.Context, text []byte, quick bool) (*verdict.Plan, error) {
	l, gear, err := s.read(ctx, text)
	if err != nil {
		return nil, err
	}
	if quick {
		return verdict.Quick(l, gear)
	}
	return s.hang(ctx, l, gear)
}

// hang checks a lift that was read.
func (s *Server) hang(ctx context.Context, l *lift.Lift, gear *verdict.Register) (*verdict.Plan, error) {
	// Draws use every processor: one plan at a time, and the watch comes first.
	select {
	case s.drawing <- struct{}{}:
		defer func() { <-s.drawing }()
	case <-ctx.Done():
		return nil, ctx.Err()
	}
	return verdict.CheckWith(l, gear)
}

func (s *Server) draw(ctx context.Context, o *order[drawOrder]) (*typed, error) {
	p, err := s.checked(ctx, []byte(o.Body.Text), true)
	if err != nil {
		return nil, s.status(err)
	}
	k := -1
	for i := range p.States {
		if p.States[i].Hung.Step == o.Body.Step {
			k = i
			break
		}
	}
	if k < 0 {
		return nil, s.status(fault.New(fault.Reference, "the lift has no step called %q", o.Body.Step).In("step").Fix("name one of its steps, or none"))
	}
	st := &p.States[k]
	used := map[string]float64{}
	for name, u := range st.Utilisation {
		if u != nil {
			used[name] = *u
		}
	}
	page := draw.Picture(st.Hung, used, st.P95, draw.Meta{Units: quantity.Metric, Force: o.Body.Unit}, o.Body.View)
	var b bytes.Buffer
	if err := page.SVG(&b); err != nil {
		return nil, s.status(err)
	}
	return &typed{"image/svg+xml", b.Bytes()}, nil
}

func (s *Server) size(ctx context.Context, o *order[sizeOrder]) (*answer[contract.Desk], error) {
	l, _, err := s.read(ctx, []byte(o.Body.Text))
	if err != nil {
		return nil, s.status(err)
	}
	rad := func(deg float64) quantity.Angle { return quantity.Angle(deg * math.Pi / 180) }
	q := size.Question{Posed: o.Body.TiltDeg != 0, Headroom: o.Body.HeadroomM}
	q.Goal = size.Goal{Tilt: rad(o.Body.TiltDeg), LowSide: rad(o.Body.LowSideDeg), Within: rad(0.5)}
	q.Margin.Share = o.Body.Margin
	if a := o.Body.LeastAngleDeg; a != nil {
		least := rad(*a)
		q.Margin.LeastAngle = &least
	}
	rules, err := rulebook.Prepare(l)
	if err != nil {
		return nil, s.status(err)
	}
	q.Margin.Dynamic = rules.OnRatings
	if rules.Factor != nil {
		q.Accuracy.Dynamic = rules.Factor.Value
	}
	s.drawing <- struct{}{}
	defer func() { <-s.drawing }()
	a, err := size.Ask(l, q)
	if err != nil {
		return nil, s.status(err)
	}
	return &answer[contract.Desk]{contract.NewDesk(a)}, nil
}

func (s *Server) deskCard(ctx context.Context, o *order[cardOrder]) (*answer[contract.Card], error) {
	out, err := readout(o.Body.Unit)
	if err != nil {
		return nil, s.status(err)
	}
	p, err := s.checked(ctx, []byte(o.Body.Text), false)
	if err != nil {
		return nil, s.status(err)
	}
	c, err := card.New(p, 0, card.Day{})
	if err != nil {
		return nil, s.status(err)
	}
	u := contract.NewUnit(p, out)
	return &answer[contract.Card]{contract.NewCard(c, out, rounded(&u))}, nil
}

// readout reads the unit of a display: of force, or of mass as force at
// standard gravity.
func readout(unit string) (contract.Readout, error) {
	if unit == "" {
		unit = "kN"
	}
	r, err := quantity.ParseRating("1 " + unit)
	if err != nil {
		return contract.Readout{}, fault.Of(err)[0].In("unit")
	}
	if strings.TrimLeft(unit, "0123456789.+- ") != unit {
		return contract.Readout{}, fault.New(fault.BadUnit, "%q is more than a unit", unit).In("unit").Fix("write the unit alone, as kN")
	}
	return contract.Readout{Unit: unit, NewtonsPer: float64(r.Force), FromMass: r.FromMass}, nil
}

// today is the day on which gear must be fit.
func (s *Server) today() register.Date { return register.DateOf(s.o.Now()) }
