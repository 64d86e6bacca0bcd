package server

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"math"
	"net/http"
	"reflect"
	"slices"
	"strconv"
	"strings"
	"time"
	"unicode"

	"github.com/danielgtaylor/huma/v2"
	"github.com/danielgtaylor/huma/v2/adapters/humago"

	"plumbhook/card"
	"plumbhook/contract"
	"plumbhook/fault"
	"plumbhook/logbook"
	"plumbhook/quantity"
	"plumbhook/verdict"
	"plumbhook/watch"
)

const cautions = verdict.Cautions

// somebody calls a hold when nobody has given a name: that must never wait.
const somebody = "somebody at a screen"

// answer is a body and nothing else.
type answer[T any] struct{ Body T }

// order is a body that a person sends.
type order[T any] struct{ Body T }

// Named is who does it.
type Named struct {
	Who string `json:"who,omitempty" maxLength:"60" doc:"name of the person where no sign-in is asked for: a claim. Elsewhere the session says who it is"`
}

type tareOrder struct {
	Named
	Kind    string `json:"kind" enum:"hung,attached" doc:"hung: all rigging below the cells hangs free; attached: legs attached to the load and slack"`
	Insists bool   `json:"insists,omitempty" doc:"under load nevertheless"`
}

type alarmOrder struct {
	Named
	Alarm string `json:"alarm" minLength:"1" maxLength:"200" doc:"its key"`
}

type wordOrder struct {
	Who  string `json:"who,omitempty" maxLength:"60" doc:"needed for all but a call to hold"`
	Says string `json:"says" enum:"daylight,set down,land,carry on,freed,brake,call hold"`
}

type stepOrder struct {
	Named
	Step string `json:"step" maxLength:"200" doc:"that the lift stands after; empty: as first rigged"`
}

type tugOrder struct {
	Named
	Leg  string `json:"leg" minLength:"1" maxLength:"80" doc:"the leg that is pulled"`
	Load string `json:"load,omitempty" maxLength:"40" doc:"a known load with its unit that hangs on it, as 250 kg; empty: somebody pulls by hand"`
}

type markOrder struct {
	Named
	Text string `json:"text" minLength:"1" maxLength:"400"`
}

// routes puts the API on a mux.
func (s *Server) routes(mux *http.ServeMux) {
	config := huma.DefaultConfig("Plumbhook", cmp.Or(s.o.Version, "0"))
	config.Info.Description = "A watched lift. Numbers are SI and unrounded, null is a number that cannot be told. " + cautions
	config.OpenAPIPath, config.DocsPath, config.SchemasPath = "/api/openapi", "", ""
	config.Servers = []*huma.Server{{URL: "/"}} // whatever name it is reached by
	config.CreateHooks = nil                    // no $schema in answers: it would repeat the caller's host
	api := humago.New(mux, config)

	get := func(path, id, summary string) huma.Operation {
		return huma.Operation{OperationID: id, Method: http.MethodGet, Path: path, Summary: summary, Errors: []int{401, 403, 404, 500}}
	}
	post := func(path, id, summary string, errs ...int) huma.Operation {
		return huma.Operation{
			OperationID: id, Method: http.MethodPost, Path: "/api/watch/" + path, Summary: summary, MaxBodyBytes: mostBody,
			Errors: append([]int{400, 401, 403, 404, 413, 415, 422, 500, 503}, errs...),
		}
	}
	huma.Register(api, get("/api/watch", "get-watch", "How things stand"), func(context.Context, *struct{}) (*answer[contract.Watch], error) {
		return s.stands()
	})
	huma.Register(api, s.streamOperation(api), func(context.Context, *struct{}) (*huma.StreamResponse, error) {
		return &huma.StreamResponse{Body: func(c huma.Context) {
			_, w := humago.Unwrap(c)
			s.stream(c.Context(), w)
		}}, nil
	})
	huma.Register(api, post("tare", "tare", "Take what the unloaded cells read as zero, all of them or none", 409), s.tare)
	huma.Register(api, post("ack", "ack", "Say that an alarm has been seen"), func(ctx context.Context, o *order[alarmOrder]) (*answer[contract.Watch], error) {
		return s.alarm(ctx, logbook.Ack, &o.Body)
	})
	huma.Register(api, post("clear", "clear", "End a stop whose cause is gone", 409), func(ctx context.Context, o *order[alarmOrder]) (*answer[contract.Watch], error) {
		return s.alarm(ctx, logbook.Clear, &o.Body)
	})
	huma.Register(api, post("word", "word", "Say what no cell can. A call to hold tells people; it does not stop the crane"), func(ctx context.Context, o *order[wordOrder]) (*answer[contract.Watch], error) {
		if o.Body.Says == logbook.CallHold && strings.TrimSpace(o.Body.Who) == "" {
			o.Body.Who = somebody
		}
		return s.enter(ctx, logbook.Entry{Kind: logbook.Word, Who: o.Body.Who, Says: o.Body.Says})
	})
	huma.Register(api, post("step", "step", "Say that the lift stands as after a step of its plan: readings, shares and limits are held against that from then on", 409), func(ctx context.Context, o *order[stepOrder]) (*answer[contract.Watch], error) {
		x, err := s.watched()
		if err != nil {
			return nil, err
		}
		v := x.station.View()
		k := slices.IndexFunc(v.Stages, func(g watch.StageView) bool { return g.Name == o.Body.Step })
		switch {
		case k < 0:
			return nil, s.status(fault.New(fault.Reference, "the plan has no step called %q", o.Body.Step).In("step").Fix("name one of its steps"))
		case v.Stages[k].Why != "":
			return nil, s.status(fault.New(fault.Disagree, "the watch cannot go on to %q: %s", o.Body.Step, v.Stages[k].Why).Fix("end this watch, and watch what comes then by a plan of its own"))
		}
		return s.enter(ctx, logbook.Entry{Kind: logbook.Word, Who: o.Body.Who, Says: logbook.Moved, Text: o.Body.Step})
	})
	huma.Register(api, post("hold", "call-hold", "Call everybody to hold, which anyone may. It tells people; it does not stop the crane"), func(ctx context.Context, o *order[Named]) (*answer[contract.Watch], error) {
		if strings.TrimSpace(o.Body.Who) == "" {
			o.Body.Who = somebody
		}
		return s.enter(ctx, logbook.Entry{Kind: logbook.Word, Who: o.Body.Who, Says: logbook.CallHold})
	})
	huma.Register(api, post("mark", "mark", "Write a remark into the logbook"), func(ctx context.Context, o *order[markOrder]) (*answer[contract.Watch], error) {
		return s.enter(ctx, logbook.Entry{Kind: logbook.Mark, Who: o.Body.Who, Text: o.Body.Text})
	})

	huma.Register(api, post("tug", "tug", "Begin a tug test: pull one leg, the rigging hanging free, and the cells tell which it was"), s.tug)

	huma.Register(api, get("/api/watch/above", "get-above", "The lift from above: where the legs pull and where the centre of gravity may be"), func(context.Context, *struct{}) (*answer[contract.Above], error) {
		x, err := s.watched()
		if err != nil {
			return nil, err
		}
		return &answer[contract.Above]{contract.NewAbove(x.station.Plan())}, nil
	})
	huma.Register(api, get("/api/plan", "get-plan", "The plan under watch, as checked"), func(context.Context, *struct{}) (*answer[contract.Check], error) {
		x, err := s.watched()
		if err != nil {
			return nil, err
		}
		return x.plan(), nil
	})
	huma.Register(api, get("/api/card", "get-card", "What the cells must read, and where to stop"), func(context.Context, *struct{}) (*answer[contract.Card], error) {
		x, err := s.watched()
		if err != nil {
			return nil, err
		}
		c, err := x.card()
		return c, s.status(err)
	})
	huma.Register(api, get("/api/status", "get-status", "How recording, bus, gateways and disk do"), func(context.Context, *struct{}) (*answer[contract.Health], error) {
		return &answer[contract.Health]{s.health()}, nil
	})
	huma.Register(api, get("/healthz", "healthz", "The server runs"), func(context.Context, *struct{}) (*answer[contract.Health], error) {
		return &answer[contract.Health]{contract.Health{Ready: true, Parts: []contract.HealthPart{}}}, nil
	})
	ready := get("/readyz", "readyz", "The lift is watched as it should be; 503 when not")
	ready.Responses = map[string]*huma.Response{"503": {Description: "It is not", Content: map[string]*huma.MediaType{
		"application/json": {Schema: api.OpenAPI().Components.Schemas.Schema(reflect.TypeFor[contract.Health](), true, "")},
	}}}
	huma.Register(api, ready, func(context.Context, *struct{}) (*struct {
		Status int
		Body   contract.Health
	}, error,
	) {
		h := s.health()
		code := http.StatusOK
		if !h.Ready {
			code = http.StatusServiceUnavailable
		}
		return &struct {
			Status int
			Body   contract.Health
		}{code, h}, nil
	})
	api.OpenAPI().AddOperation(readingsOperation())
	s.desk(api)
	s.people(api)
	s.records(api)
	s.fleet(api)
	if s.o.Lifts != nil {
		s.lifts(api)
	}
	if s.o.Gear != nil {
		s.gear(api)
	}
	mayBeNull(api.OpenAPI().Components.Schemas)
	mux.HandleFunc("/api/", func(w http.ResponseWriter, r *http.Request) {
		refuse(w, http.StatusNotFound, fault.New(fault.Reference, "there is no %s %s", r.Method, r.URL.Path).Fix("see /api/openapi.json"))
	})
}

// streamOperation describes the live stream.
func (s *Server) streamOperation(api huma.API) huma.Operation {
	of := func(event string, data any) *huma.Schema {
		return &huma.Schema{
			Type: huma.TypeObject, Required: []string{"event", "data"},
			Properties: map[string]*huma.Schema{
				"event": {Type: huma.TypeString, Enum: []any{event}},
				"data":  api.OpenAPI().Components.Schemas.Schema(reflect.TypeOf(data), true, ""),
			},
		}
	}
	return huma.Operation{
		OperationID: "stream-watch", Method: http.MethodGet, Path: "/api/watch/stream", Summary: "How things stand, as it changes",
		Description: fmt.Sprintf("Server-sent events. First hello and a view; then each alarm at once and in order, a view up to twenty times a second, and a beat every %g s. "+
			"A slow reader misses views, never alarms. Where nothing comes for a second the link is gone; where beats come and no view with a later time, the watch stands still.", beatEvery.Seconds()),
		Errors: []int{401, 403, 404, 503},
		Responses: map[string]*huma.Response{"200": {Description: "Events without end", Content: map[string]*huma.MediaType{
			"text/event-stream": {Schema: &huma.Schema{Type: huma.TypeArray, Items: &huma.Schema{OneOf: []*huma.Schema{
				of("hello", contract.WatchHello{}), of("view", contract.Watch{}), of("alarm", contract.WatchEvent{}), of("beat", contract.WatchBeat{}),
			}}}},
		}}},
	}
}

// readingsOperation describes what package post takes.
func readingsOperation() *huma.Operation {
	return &huma.Operation{
		OperationID: "post-readings", Method: http.MethodPost, Path: "/api/readings", Summary: "Send a batch of readings",
		Description: "With the gateway's name and password by Basic, or the password as a bearer token. 200 when the batch is kept for good; send it again after 500 and above, or no answer.",
		RequestBody: &huma.RequestBody{Required: true, Content: map[string]*huma.MediaType{
			"application/json": {Schema: &huma.Schema{Type: huma.TypeObject}}, "text/csv": {Schema: &huma.Schema{Type: huma.TypeString}},
		}},
		Responses: map[string]*huma.Response{"200": {Description: "How many were taken, duplicate, garbled, of no channel"}, "default": {Description: "Not taken"}},
	}
}

// mayBeNull says of every pointer that it may be null. The library does so for
// plain values; it leaves out objects and arrays.
func mayBeNull(r huma.Registry) {
	for name, schema := range r.Map() {
		shape := r.TypeFromRef("#/components/schemas/" + name)
		if shape == nil || shape.Kind() != reflect.Struct {
			continue
		}
		for _, f := range reflect.VisibleFields(shape) {
			if f.Type.Kind() != reflect.Pointer {
				continue
			}
			key, _, _ := strings.Cut(f.Tag.Get("json"), ",")
			switch p := schema.Properties[key]; {
			case p == nil:
			case p.Type == huma.TypeArray:
				p.Nullable = true
			case p.Ref != "":
				schema.Properties[key] = &huma.Schema{Description: p.Description, OneOf: []*huma.Schema{{Ref: p.Ref}, {Type: "null"}}}
			}
		}
	}
}

// stands is how things stand.
func (s *Server) stands() (*answer[contract.Watch], error) {
	x, err := s.watched()
	if err != nil {
		return nil, err
	}
	return x.stands(), nil
}

func (x *slot) stands() *answer[contract.Watch] {
	v := x.station.View()
	return &answer[contract.Watch]{contract.NewWatch(&v, x.unit)}
}

// enter enters what a person does and answers how things stand then.
func (s *Server) enter(ctx context.Context, e logbook.Entry) (*answer[contract.Watch], error) {
	if m := who(ctx); m.open {
		e.Who = strings.TrimSpace(e.Who)
	} else {
		e.Who, e.Signed = m.Name, true
	}
	if e.Who == "" {
		return nil, s.status(fault.New(fault.Missing, "nobody's name is given").In("who").Fix("write the name of who does it"))
	}
	for where, text := range map[string]string{"who": e.Who, "text": e.Text} {
		if strings.ContainsFunc(text, func(r rune) bool { return !unicode.IsPrint(r) }) {
			return nil, s.status(fault.New(fault.Range, "a character in it cannot be printed").In(where))
		}
	}
	x, err := s.watched()
	if err != nil {
		return nil, err
	}
	ctx, cancel := context.WithTimeout(ctx, enterTime)
	defer cancel()
	if err := x.station.Enter(ctx, e); err != nil {
		s.o.Log.Error("an entry is not known to be on disk", "kind", e.Kind.String(), "err", err)
		return nil, &refusal{http.StatusServiceUnavailable, contract.NewFaults(fault.New(fault.Internal, "the watch has it, and it is not known to be on disk").Fix("look at the recording: disk full, slow or gone"))}
	}
	return x.stands(), nil
}

func (s *Server) tare(ctx context.Context, o *order[tareOrder]) (*answer[contract.Watch], error) {
	a, err := s.enter(ctx, logbook.Entry{Kind: logbook.Tare, Who: o.Body.Who, Tare: logbook.TareKind(o.Body.Kind), Insists: o.Body.Insists})
	if err != nil {
		return nil, err
	}
	if n := len(a.Body.Tares); n > 0 && a.Body.Tares[n-1].Refused != "" {
		return nil, s.status(fault.New(fault.Disagree, "not zeroed: %s", a.Body.Tares[n-1].Refused).Fix("slack off until nothing but rigging hangs from the cells, and zero again"))
	}
	return a, nil
}

// tug begins a tug test of a leg that the plan has one for.
func (s *Server) tug(ctx context.Context, o *order[tugOrder]) (*answer[contract.Watch], error) {
	x, err := s.watched()
	if err != nil {
		return nil, err
	}
	c, err := x.card()
	if err != nil {
		return nil, s.status(err)
	}
	if !slices.ContainsFunc(c.Body.Tug, func(p contract.CardPull) bool { return p.Leg == o.Body.Leg }) {
		return nil, s.status(fault.New(fault.Reference, "there is no tug test of a leg %q", o.Body.Leg).In("leg").Fix("name a leg that ends at the load, of a lift with two cells or more"))
	}
	load := 0.0
	if strings.TrimSpace(o.Body.Load) != "" {
		r, err := quantity.ParseRating(o.Body.Load)
		if err != nil {
			return nil, s.status(err)
		}
		if load = float64(r.Force); !(load > 0) {
			return nil, s.status(fault.New(fault.Range, "a known load of %s", o.Body.Load).In("load").Fix("give something above zero"))
		}
	}
	return s.enter(ctx, logbook.Entry{Kind: logbook.Mark, Who: o.Body.Who, Says: logbook.Tug, Text: watch.PullText(o.Body.Leg, load)})
}

// alarm acknowledges or clears one.
func (s *Server) alarm(ctx context.Context, kind logbook.Kind, o *alarmOrder) (*answer[contract.Watch], error) {
	stands := func(a *answer[contract.Watch]) bool {
		return slices.ContainsFunc(a.Body.Alarms, func(x contract.WatchAlarm) bool { return x.Key == o.Alarm })
	}
	now, err := s.stands()
	if err != nil {
		return nil, err
	}
	if !stands(now) {
		return nil, s.status(fault.New(fault.Reference, "there is no alarm %q", o.Alarm).In("alarm").Fix("it may have gone by itself; look at what stands"))
	}
	a, err := s.enter(ctx, logbook.Entry{Kind: kind, Who: o.Who, Alarm: o.Alarm})
	if err == nil && kind == logbook.Clear && stands(a) {
		return nil, s.status(fault.New(fault.Disagree, "the alarm stays: its cause is still there").In("alarm").Fix("take away the cause first"))
	}
	return a, err
}

// card is what the crew needs on one page, its numbers as the screens round
// them, and down.
func (x *slot) newCard() (*answer[contract.Card], error) {
	c, err := card.New(x.station.Plan(), 0, x.Day)
	if err != nil {
		return nil, err
	}
	return &answer[contract.Card]{contract.NewCard(c, x.unit.Readout, rounded(&x.unit))}, nil
}

// rounded writes a force as the screens round it, and down.
func rounded(u *contract.WatchUnit) func(n float64) string {
	return func(n float64) string {
		return strconv.FormatFloat(math.Floor(n/u.NewtonsPer/u.Step+1e-9)*u.Step, 'f', u.Decimals, 64) + " " + u.Unit
	}
}

// readings passes batches on to the gateways of the lift on the watch.
func (s *Server) readings(w http.ResponseWriter, r *http.Request) {
	x := s.slot.Load()
	switch {
	case x == nil:
		refuse(w, http.StatusNotFound, noWatch)
	case x.Readings == nil:
		refuse(w, http.StatusNotFound, fault.New(fault.Reference, "no gateway of the lift on the watch sends over HTTP").Fix("name one in its channel map"))
	default:
		x.Readings.ServeHTTP(w, r)
	}
}

// health judges the parts.
func (s *Server) health() contract.Health {
	h := contract.Health{Ready: true, Parts: []contract.HealthPart{}}
	if s.o.Parts != nil {
		for _, p := range s.o.Parts() {
			h.Parts = append(h.Parts, contract.HealthPart{Name: p.Name, State: string(p.State), Text: p.Text})
		}
	}
	x := s.slot.Load()
	if x == nil {
		h.Parts = append(h.Parts, contract.HealthPart{Name: "watch", State: string(OK), Text: "No lift is on the watch."})
		return h
	}
	for _, p := range x.station.Status() {
		h.Parts = append(h.Parts, contract.HealthPart{Name: p.Name, State: string(p.State), Text: p.Text})
		h.Ready = h.Ready && p.State != Down
	}
	if v := x.station.View(); time.Since(v.At.Time()) > 2*time.Second {
		h.Ready = false
		h.Parts = append(h.Parts, contract.HealthPart{Name: "watch", State: string(Down), Text: "The watch stands still."})
	}
	return h
}

// refusal is faults with the HTTP status that goes with them.
type refusal struct {
	code int
	contract.Faults
}

var tooMany = fault.New(fault.TooLarge, "too many screens look at this lift at once").Fix("close some of them")

// Error is one line for each fault.
func (r *refusal) Error() string {
	var lines []string
	for _, f := range r.Faults.Faults {
		lines = append(lines, f.What)
	}
	return strings.Join(lines, "\n")
}

// GetStatus is the HTTP status.
func (r *refusal) GetStatus() int { return r.code }

// status gives an error its HTTP status. What is not a fault of the caller's is
// ours: the log has it, and the caller is told no more than that.
func (s *Server) status(err error) error {
	if err == nil {
		return nil
	}
	code := http.StatusUnprocessableEntity
	switch fault.Of(err)[0].Code {
	case fault.Reference:
		code = http.StatusNotFound
	case fault.Disagree:
		code = http.StatusConflict
	case fault.TooLarge:
		code = http.StatusRequestEntityTooLarge
	case fault.Internal:
		s.o.Log.Error("internal", "err", err)
		return &refusal{http.StatusInternalServerError, contract.NewFaults(fault.New(fault.Internal, "a mistake of ours").Fix("the server's log says more"))}
	}
	return &refusal{code, contract.NewFaults(err)}
}

// The library's settings are its own package variables. No list of ours is ever
// null, and whatever is refused is refused with faults.
func init() {
	huma.DefaultArrayNullable = false
	huma.NewError = func(code int, text string, errs ...error) huma.StatusError {
		of := map[int]fault.Code{
			http.StatusNotFound: fault.Reference, http.StatusRequestEntityTooLarge: fault.TooLarge, http.StatusUnprocessableEntity: fault.Range,
			http.StatusUnsupportedMediaType: fault.Unsupported, http.StatusInternalServerError: fault.Internal, http.StatusServiceUnavailable: fault.Internal,
		}
		class := cmp.Or(of[code], fault.Syntax)
		var all fault.List
		for _, err := range errs {
			f := fault.New(class, "%s", err).Fix("see /api/openapi.json for what can be sent")
			if d := new(huma.ErrorDetail); errors.As(err, &d) {
				f.What, f.Where = d.Message, strings.TrimPrefix(strings.TrimPrefix(d.Location, "body"), ".")
			}
			all = append(all, f)
		}
		if len(all) == 0 {
			all = fault.List{fault.New(class, "%s", text).Fix("see /api/openapi.json for what can be sent")}
		}
		if code == http.StatusUnsupportedMediaType {
			all[0].Do = "send it as application/json"
		}
		return &refusal{code, contract.NewFaults(all)}
	}
}
