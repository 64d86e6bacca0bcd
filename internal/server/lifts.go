package server

import (
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"iter"
	"net/http"
	"regexp"
	"strings"

	"github.com/danielgtaylor/huma/v2"

	"plumbhook/alarm"
	"plumbhook/contract"
	"plumbhook/fault"
	"plumbhook/job"
	"plumbhook/logbook"
	"plumbhook/verdict"
	"plumbhook/watch"
)

// nobodySigned stands for who did it where no sign-in is asked for and no name
// was given.
const nobodySigned = "somebody, not signed in"

// Claimed is the name that counts where no sign-in is asked for; elsewhere the
// session says who it is.
type Claimed struct {
	Who string `json:"who,omitempty" maxLength:"60" doc:"counts only where no sign-in is asked for"`
}

// stamp is who does something, and now.
func (s *Server) stamp(ctx context.Context, claimed string) job.Stamp {
	m, name := who(ctx), strings.TrimSpace(claimed)
	if !m.open {
		name = m.Name
	}
	if name == "" {
		name = nobodySigned
	}
	return job.Stamp{Who: name, At: s.o.Now().UTC()}
}

type liftsQuery struct {
	Q     string `query:"q" maxLength:"200" doc:"words of the title or of who changed it"`
	State string `query:"state" enum:"draft,approved,on the watch,done,stopped"`
}

type LiftID struct {
	ID string `path:"id"`
}

type liftOrder struct {
	Claimed
	Text string `json:"text,omitempty" maxLength:"1048576" doc:"the lift file"`
	From string `json:"from,omitempty" maxLength:"40" doc:"or the lift to copy: its newest revision"`
	Note string `json:"note,omitempty" maxLength:"400"`
}

type reviseOrder struct {
	LiftID
	Body struct {
		PlanText
		Claimed
		Base   int    `json:"base" doc:"revision that this one was made of"`
		Note   string `json:"note,omitempty" maxLength:"400"`
		Reopen bool   `json:"reopen,omitempty" doc:"make a draft again of an approved or stopped lift"`
	}
}

type approveOrder struct {
	LiftID
	Body struct {
		Claimed
		Revision  int                     `json:"revision"`
		SHA256    string                  `json:"sha256" maxLength:"64"`
		Unit      string                  `json:"unit" maxLength:"20" doc:"the one unit that the crew reads"`
		Password  string                  `json:"password,omitempty" maxLength:"1000" doc:"one's own; not where no sign-in is asked for"`
		Holds     []string                `json:"holds,omitempty" maxItems:"50"`
		Overrides []contract.LiftOverride `json:"overrides,omitempty" maxItems:"100"`
	}
}

type holdOrder struct {
	LiftID
	Hold int `path:"hold"`
	Body struct {
		Claimed
		Done bool `json:"done"`
	}
}

type watchOrder struct {
	LiftID
	Body struct {
		Claimed
		Map      string `json:"map,omitempty" maxLength:"65536" doc:"the channel map, YAML"`
		Rehearse string `json:"rehearse,omitempty" maxLength:"40" doc:"what goes wrong in a virtual lift; as_planned: nothing"`
	}
}

type endOrder struct {
	LiftID
	Body struct {
		Claimed
		Outcome string `json:"outcome" enum:"done,stopped"`
		Note    string `json:"note,omitempty" maxLength:"400"`
	}
}

// lifts are the routes about jobs.
func (s *Server) lifts(api huma.API) {
	op := func(method, path, id, summary string) huma.Operation {
		o := huma.Operation{OperationID: id, Method: method, Path: "/api/lifts" + path, Summary: summary, MaxBodyBytes: mostPlan + 4*mostBody, Errors: []int{401, 403, 404, 500}}
		if method == http.MethodPost {
			o.Errors = append(o.Errors, 400, 409, 413, 415, 422, 429)
		}
		return o
	}
	huma.Register(api, op("GET", "", "list-lifts", "Lifts, the one changed last first"), func(ctx context.Context, q *liftsQuery) (*answer[contract.Lifts], error) {
		list, err := s.o.Lifts.Jobs(ctx, job.Query{Words: strings.Fields(q.Q), State: job.State(q.State)})
		if err != nil {
			return nil, s.status(err)
		}
		out := contract.Lifts{Lifts: []contract.LiftRow{}}
		for i := range list {
			out.Lifts = append(out.Lifts, contract.NewLiftRow(&list[i]))
		}
		return &answer[contract.Lifts]{out}, nil
	})
	huma.Register(api, op("POST", "", "new-lift", "A new lift of a lift file, or a copy of another's newest revision"), s.newLift)
	huma.Register(api, op("GET", "/{id}", "get-lift", "One lift"), func(ctx context.Context, o *LiftID) (*answer[contract.Lift], error) {
		j, err := s.o.Lifts.Job(ctx, o.ID)
		return s.lift(j, err, "")
	})
	huma.Register(api, op("GET", "/{id}/revisions/{n}", "get-revision", "One revision with its lift file"), func(ctx context.Context, o *struct {
		LiftID
		N int `path:"n"`
	},
	) (*answer[contract.LiftText], error) {
		j, err := s.o.Lifts.Job(ctx, o.ID)
		if err != nil {
			return nil, s.status(err)
		}
		r, err := j.Revision(o.N)
		if err != nil {
			return nil, s.status(err)
		}
		return &answer[contract.LiftText]{contract.LiftText{LiftRevision: contract.NewLiftRevision(r), Text: r.Text}}, nil
	})
	huma.Register(api, op("POST", "/{id}/revisions", "revise", "A new revision"), func(ctx context.Context, o *reviseOrder) (*answer[contract.Lift], error) {
		says := ""
		return s.change(ctx, o.ID, func(j job.Job) (job.Job, error) {
			if j.State == job.Approved || j.State == job.Stopped {
				says = "The lift is a draft again: the approval before it no longer counts."
			}
			b := &o.Body
			return j.Revise(b.Base, b.Text, b.Note, s.judge(ctx, b.Text), s.stamp(ctx, b.Who), b.Reopen)
		}, &says)
	})
	huma.Register(api, op("GET", "/{id}/compare", "compare", "What differs between two revisions, and what it does"), s.compare)
	s.sheets(api)
	huma.Register(api, op("POST", "/{id}/approve", "approve", "Lock the newest revision by name, password and time"), s.approve)
	huma.Register(api, op("POST", "/{id}/holds/{hold}", "hold-done", "Say that a hold point is done"), func(ctx context.Context, o *holdOrder) (*answer[contract.Lift], error) {
		return s.change(ctx, o.ID, func(j job.Job) (job.Job, error) {
			if !o.Body.Done {
				return j, fault.New(fault.Range, "a hold point cannot be taken back").In("done").Fix("make a remark in the logbook of the watch")
			}
			return j.Hold(o.Hold, s.stamp(ctx, o.Body.Who))
		}, nil)
	})
	huma.Register(api, op("POST", "/{id}/watch", "begin-watch", "Put the approved revision on the watch"), s.beginWatch)
	huma.Register(api, op("POST", "/{id}/end", "end-watch", "Take the lift off the watch"), s.endWatch)
}

// lift answers with a job.
func (s *Server) lift(j job.Job, err error, says string) (*answer[contract.Lift], error) {
	if err != nil {
		return nil, s.status(err)
	}
	return &answer[contract.Lift]{contract.NewLift(&j, says)}, nil
}

// change makes a new job of a stored one and keeps it.
func (s *Server) change(ctx context.Context, id string, make func(job.Job) (job.Job, error), says *string) (*answer[contract.Lift], error) {
	j, err := s.o.Lifts.Job(ctx, id)
	if err == nil {
		j, err = make(j)
	}
	if err == nil {
		j, err = s.o.Lifts.PutJob(ctx, j)
	}
	if says == nil {
		says = new(string)
	}
	return s.lift(j, err, *says)
}

var titled = regexp.MustCompile(`(?m)^title:[ \t]*(.+?)[ \t]*$`)

// judge checks a lift file for keeping. One that cannot be read is kept too: it
// is somebody's work.
func (s *Server) judge(ctx context.Context, text string) job.Judged {
	p, err := s.checked(ctx, []byte(text), false)
	if err == nil {
		return contract.Judge(p)
	}
	j := job.Judged{Verdict: job.Invalid}
	if m := titled.FindStringSubmatch(text); m != nil {
		j.Title = strings.Trim(m[1], `"'`)
	}
	return j
}

func (s *Server) newLift(ctx context.Context, o *order[liftOrder]) (*answer[contract.Lift], error) {
	text, note := o.Body.Text, o.Body.Note
	switch {
	case (text == "") == (o.Body.From == ""):
		return nil, s.status(fault.New(fault.Missing, "a new lift is made of a text, or of another lift").Fix("give one of text and from"))
	case o.Body.From != "":
		j, err := s.o.Lifts.Job(ctx, o.Body.From)
		if err != nil {
			return nil, s.status(err)
		}
		text = j.Newest().Text
		if note == "" {
			note = fmt.Sprintf("copied from %s, revision %s", j.Title(), j.Newest().Letter())
		}
	}
	j, err := job.New(strings.ToLower(rand.Text()[:12]), text, note, s.judge(ctx, text), s.stamp(ctx, o.Body.Who))
	if err == nil {
		j, err = s.o.Lifts.PutJob(ctx, j)
	}
	return s.lift(j, err, "")
}

func (s *Server) compare(ctx context.Context, o *struct {
	LiftID
	From int `query:"from" required:"true"`
	To   int `query:"to" required:"true"`
},
) (*answer[contract.LiftChanges], error) {
	j, err := s.o.Lifts.Job(ctx, o.ID)
	if err != nil {
		return nil, s.status(err)
	}
	from, err := j.Revision(o.From)
	if err != nil {
		return nil, s.status(err)
	}
	to, err := j.Revision(o.To)
	if err != nil {
		return nil, s.status(err)
	}
	list, err := job.Compare(from.Text, to.Text)
	if err != nil {
		return nil, s.status(err)
	}
	out := contract.LiftChanges{From: from.N, To: to.N, Changes: []contract.LiftChange{}}
	text := func(s string) *string {
		if s == "" {
			return nil
		}
		return &s
	}
	for _, c := range list {
		out.Changes = append(out.Changes, contract.LiftChange{Path: c.Path, From: text(c.From), To: text(c.To)})
	}
	a, errA := s.checked(ctx, []byte(from.Text), false)
	b, errB := s.checked(ctx, []byte(to.Text), false)
	if errA == nil && errB == nil {
		out.Effect = contract.NewLiftEffect(a, b)
	}
	return &answer[contract.LiftChanges]{out}, nil
}

func (s *Server) approve(ctx context.Context, o *approveOrder) (*answer[contract.Lift], error) {
	b, m := &o.Body, who(ctx)
	if m.open {
		if strings.TrimSpace(b.Who) == "" {
			return nil, s.status(fault.New(fault.Missing, "nobody's name is given").In("who").Fix("write the name of who approves"))
		}
	} else if _, err := s.prove(ctx, m.Name, b.Password); err != nil {
		return nil, err
	}
	if _, err := readout(b.Unit); err != nil || b.Unit == "" {
		return nil, s.status(fault.New(fault.BadUnit, "%q is no unit for the crew", b.Unit).In("unit").Fix("choose one, as t, kN, lbf, short ton"))
	}
	a := job.Approval{Revision: b.Revision, SHA256: b.SHA256, Unit: b.Unit, Stamp: s.stamp(ctx, b.Who)}
	for _, h := range b.Holds {
		a.Holds = append(a.Holds, job.Hold{Text: strings.TrimSpace(h)})
	}
	for _, v := range b.Overrides {
		a.Overrides = append(a.Overrides, job.Override{Finding: v.Finding, Reason: v.Reason})
	}
	return s.change(ctx, o.ID, func(j job.Job) (job.Job, error) {
		// Judged anew: gear may have run out of date since it was written.
		return j.Approve(a, s.judge(ctx, j.Newest().Text))
	}, nil)
}

// Watcher opens and ends the watch of this program.
type Watcher interface {
	// Begin opens the watch of a checked plan, or goes on with it after a
	// restart. A recording is kept under its id.
	Begin(ctx context.Context, w Beginning) (Station, Watched, error)
	// End ends it, where it is on, and gives how many stops were raised.
	End(id string) (stops int, err error)
	// Record gives what a watch was told, first first, and with which options it
	// judged. It may still be on.
	Record(w Beginning) (iter.Seq2[*logbook.Entry, error], watch.Options, error)
	// Sealed is the file of the sealed record of a watch; empty: there is none.
	Sealed(id string) string
	// Seal seals the record of a watch that has ended, where it is not sealed yet,
	// and gives the file.
	Seal(w Beginning) (string, error)
}

// Beginning is what a watch begins with.
type Beginning struct {
	ID       string
	Plan     *verdict.Plan
	Text     string // of the plan's lift file, for a record
	Unit     string // the crew's
	Map      string // channel map, YAML; empty after a restart: the one kept
	Rehearse string // cause of a virtual lift; empty: a real one
}

var noWatcher = fault.New(fault.Unsupported, "this program cannot put a lift on the watch").Fix("start it as serve --data DIR")

// beginWatch: one lift at a time, whoever asks.
func (s *Server) beginWatch(ctx context.Context, o *watchOrder) (*answer[contract.Lift], error) {
	if s.o.Watcher == nil {
		return nil, s.status(noWatcher)
	}
	s.shift.Lock()
	defer s.shift.Unlock()
	if x := s.slot.Load(); x != nil {
		return nil, s.status(fault.New(fault.Disagree, "%q is on the watch", x.station.Plan().Lift.Title).Fix("end that watch first: one program watches one lift"))
	}
	if (o.Body.Map == "") == (o.Body.Rehearse == "") {
		return nil, s.status(fault.New(fault.Missing, "a watch takes readings by a channel map, or a rehearsal").Fix("give one of map and rehearse"))
	}
	j, err := s.o.Lifts.Job(ctx, o.ID)
	if err != nil {
		return nil, s.status(err)
	}
	n, err := j.Begin(job.Watch{ID: strings.ToLower(rand.Text()[:12]), Rehearse: o.Body.Rehearse, From: s.stamp(ctx, o.Body.Who)})
	if err != nil {
		return nil, s.status(err)
	}
	if open := openHolds(&j); o.Body.Rehearse == "" && len(open) > 0 {
		return nil, s.status(fault.New(fault.Disagree, "hold points are open: %s", strings.Join(open, "; ")).Fix("say that they are done first"))
	}
	if err := s.open(ctx, &n, o.Body.Map); err != nil {
		return nil, s.status(err)
	}
	kept, err := s.o.Lifts.PutJob(ctx, n)
	if err != nil { // a watch that nobody would find again
		s.Put(nil, Watched{})
		_, end := s.o.Watcher.End(n.On().ID)
		return nil, s.status(errors.Join(err, end))
	}
	return s.lift(kept, nil, "")
}

func openHolds(j *job.Job) (open []string) {
	for _, h := range j.Approval().Holds {
		if h.Done.At.IsZero() {
			open = append(open, h.Text)
		}
	}
	return open
}

// open opens the watch that a job is on.
func (s *Server) open(ctx context.Context, j *job.Job, channels string) error {
	w, a := j.On(), j.Approval()
	r, err := j.Revision(w.Revision)
	if err != nil {
		return err
	}
	p, err := s.checked(ctx, []byte(r.Text), false)
	if err != nil {
		return err
	}
	st, with, err := s.o.Watcher.Begin(context.WithoutCancel(ctx), Beginning{ID: w.ID, Plan: p, Unit: a.Unit, Map: channels, Rehearse: w.Rehearse})
	if err != nil {
		return err
	}
	s.Put(st, with)
	return nil
}

// Resume goes on with the watch that was on when the program was last stopped,
// and names the lift; empty: none was.
func (s *Server) Resume(ctx context.Context) (title string, err error) {
	list, err := s.o.Lifts.Jobs(ctx, job.Query{State: job.OnWatch})
	if err != nil || len(list) == 0 {
		return "", err
	}
	j, err := s.o.Lifts.Job(ctx, list[0].ID)
	if err != nil {
		return "", err
	}
	s.shift.Lock()
	defer s.shift.Unlock()
	return j.Title(), s.open(ctx, &j, "")
}

func (s *Server) endWatch(ctx context.Context, o *endOrder) (*answer[contract.Lift], error) {
	if s.o.Watcher == nil {
		return nil, s.status(noWatcher)
	}
	s.shift.Lock()
	defer s.shift.Unlock()
	j, err := s.o.Lifts.Job(ctx, o.ID)
	if err != nil {
		return nil, s.status(err)
	}
	// Asked first, ended then: a watch is not ended by an order that is refused.
	if _, err := j.End(job.State(o.Body.Outcome), o.Body.Note, 0, s.stamp(ctx, o.Body.Who)); err != nil {
		return nil, s.status(err)
	}
	if x := s.slot.Load(); x != nil && o.Body.Outcome == string(job.Done) {
		v := x.station.View()
		for i := range v.Alarms {
			if v.Alarms[i].Severity == alarm.Stop {
				return nil, s.status(fault.New(fault.Disagree, "a stop stands: %s", v.Alarms[i].Text).Fix("clear it by name first, or end the lift as stopped"))
			}
		}
	}
	s.Put(nil, Watched{})
	stops, err := s.o.Watcher.End(j.On().ID)
	if err != nil {
		return nil, s.status(err)
	}
	watched := *j.On()
	says := ""
	kept, err := s.o.Lifts.Job(ctx, o.ID)
	if err == nil {
		kept, err = kept.End(job.State(o.Body.Outcome), o.Body.Note, stops, s.stamp(ctx, o.Body.Who))
	}
	if err == nil {
		kept, err = s.o.Lifts.PutJob(ctx, kept)
	}
	// The watch has ended whatever becomes of the gear's history, which can be
	// written again.
	if err == nil && watched.Rehearse == "" && s.o.Gear != nil {
		if g, bad := s.take(ctx, watched.ID, o.Body.Who, false); bad != nil {
			s.o.Log.Error("what the gear bore is not in its history", "record", watched.ID, "err", bad)
			says = "What the gear bore could NOT be written into its history: " + bad.Error() + ". Write it from the list of records."
		} else {
			says = taken(&g)
		}
	}
	return s.lift(kept, err, says)
}
