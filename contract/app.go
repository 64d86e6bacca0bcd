package contract

import (
	"fmt"
	"slices"
	"time"

	"plumbhook/crew"
	"plumbhook/job"
	"plumbhook/verdict"
)

// Me is who is signed in at a browser.
type Me struct {
	Name  string `json:"name" doc:"empty: nobody, or no sign-in is asked for"`
	Role  string `json:"role" enum:",screen,viewer,rigger,planner,admin"`
	Setup bool   `json:"setup" doc:"nobody is registered yet: the code on the console makes the first admin"`
	Open  bool   `json:"open" doc:"no sign-in is asked for: names are claims, and whoever reaches the program may act"`
	ByPIN bool   `json:"by_pin" doc:"signed in by PIN; approvals and overrides ask for the password"`
	Hub   bool   `json:"hub" doc:"this program is a hub: it has a page of its sites"`
}

// User is a person, or a screen, as an admin sees them.
type User struct {
	Name   string `json:"name"`
	Role   string `json:"role"`
	PIN    bool   `json:"pin" doc:"has one"`
	Locked bool   `json:"pin_locked" doc:"it was wrong too often; the password opens it again"`
	Ended  bool   `json:"ended"`
}

// Users are all of them.
type Users struct {
	Users []User `json:"users"`
}

// NewUser shapes a person.
func NewUser(p *crew.Person) User {
	return User{p.Name, string(p.Role), p.PIN != "", p.Tries >= crew.MaxTries, p.Ended}
}

// ScreenLink opens a far display on a screen that belongs to nobody.
type ScreenLink struct {
	Name string `json:"name"`
	Path string `json:"path" doc:"open it on the screen once; whoever has it sees the watch, and can do nothing"`
}

// LiftRow is one lift in the list.
type LiftRow struct {
	ID        string    `json:"id"`
	Title     string    `json:"title"`
	State     string    `json:"state" enum:"draft,approved,on the watch,done,stopped"`
	Revision  int       `json:"revision" doc:"the newest"`
	Letter    string    `json:"letter"`
	Approved  *int      `json:"approved_revision"`
	Verdict   string    `json:"verdict" enum:"holds,fails,incomplete,invalid"`
	Open      int       `json:"not_assessed"`
	Worst     *LiftUsed `json:"worst" doc:"null: no part has a rating"`
	ChangedAt time.Time `json:"changed_at"`
	ChangedBy string    `json:"changed_by"`
}

// LiftUsed is the part used most.
type LiftUsed struct {
	Where string  `json:"where"`
	Used  float64 `json:"utilisation"`
}

// Lifts is the list.
type Lifts struct {
	Lifts []LiftRow `json:"lifts"`
}

// Lift is one job.
type Lift struct {
	LiftRow
	Cautions  string         `json:"cautions"`
	Unit      string         `json:"unit" doc:"the crew's; empty before approval"`
	Revisions []LiftRevision `json:"revisions" doc:"first first, without their text"`
	Approval  *LiftApproval  `json:"approval"`
	Holds     []LiftHold     `json:"holds"`
	Watches   []LiftWatch    `json:"watches"`
	Outcome   string         `json:"outcome"`
	Says      string         `json:"says" doc:"what the last change did that a person should know; empty: nothing"`
}

// LiftRevision is one state of the lift file.
type LiftRevision struct {
	N       int       `json:"n"`
	Letter  string    `json:"letter"`
	SHA256  string    `json:"sha256"`
	Who     string    `json:"who"`
	At      time.Time `json:"at"`
	Note    string    `json:"note"`
	Verdict string    `json:"verdict"`
	Open    int       `json:"not_assessed"`
	Worst   *LiftUsed `json:"worst"`
	Stops   []string  `json:"stop_findings" doc:"what an approval would have to answer for, word for word"`
}

// LiftText is a revision with its lift file.
type LiftText struct {
	LiftRevision
	Text string `json:"text"`
}

// LiftApproval locks a revision.
type LiftApproval struct {
	Revision  int            `json:"revision"`
	SHA256    string         `json:"sha256"`
	Who       string         `json:"who"`
	At        time.Time      `json:"at"`
	Unit      string         `json:"unit"`
	Overrides []LiftOverride `json:"overrides"`
}

// LiftOverride is a finding that somebody answers for.
type LiftOverride struct {
	Finding string `json:"finding" maxLength:"2000" doc:"word for word as in stop_findings, or: something needed is missing"`
	Reason  string `json:"reason" maxLength:"400"`
}

// LiftHold is a hold point.
type LiftHold struct {
	ID     int        `json:"id"`
	Text   string     `json:"text"`
	DoneBy *string    `json:"done_by"`
	DoneAt *time.Time `json:"done_at"`
}

// LiftWatch is one time on the watch.
type LiftWatch struct {
	ID       string     `json:"id" doc:"of its record"`
	Revision int        `json:"revision"`
	Rehearse string     `json:"rehearse" doc:"what goes wrong in a virtual lift; empty: a real one"`
	From     time.Time  `json:"from"`
	By       string     `json:"by"`
	To       *time.Time `json:"to" doc:"null: it is on"`
	Stops    int        `json:"stops"`
}

// NewLiftRow shapes a job for the list.
func NewLiftRow(j *job.Job) LiftRow {
	r := j.Newest()
	out := LiftRow{
		ID: j.ID, Title: r.Title, State: string(j.State), Revision: r.N, Letter: r.Letter(), Verdict: r.Verdict, Open: r.Open, Worst: used(r.Worst),
		ChangedAt: j.Changed.At.UTC(), ChangedBy: j.Changed.Who,
	}
	if a := j.Approval(); a != nil {
		out.Approved = &a.Revision
	}
	return out
}

func used(w job.Worst) *LiftUsed {
	if w.Used == nil {
		return nil
	}
	return &LiftUsed{w.Where, *w.Used}
}

// NewLift shapes a job; says is what its last change did.
func NewLift(j *job.Job, says string) Lift {
	l := Lift{LiftRow: NewLiftRow(j), Cautions: verdict.Cautions, Revisions: []LiftRevision{}, Holds: []LiftHold{}, Watches: []LiftWatch{}, Outcome: j.Outcome, Says: says}
	for i := range j.Revisions {
		l.Revisions = append(l.Revisions, NewLiftRevision(&j.Revisions[i]))
	}
	if a := j.Approval(); a != nil {
		l.Unit = a.Unit
		l.Approval = &LiftApproval{Revision: a.Revision, SHA256: a.SHA256, Who: a.Who, At: a.At.UTC(), Unit: a.Unit, Overrides: []LiftOverride{}}
		for _, o := range a.Overrides {
			l.Approval.Overrides = append(l.Approval.Overrides, LiftOverride{o.Finding, o.Reason})
		}
		for i := range a.Holds {
			h := LiftHold{ID: i + 1, Text: a.Holds[i].Text}
			if d := a.Holds[i].Done; !d.At.IsZero() {
				at := d.At.UTC()
				h.DoneBy, h.DoneAt = &d.Who, &at
			}
			l.Holds = append(l.Holds, h)
		}
	}
	for i := range j.Watches {
		l.Watches = append(l.Watches, NewLiftWatch(&j.Watches[i]))
	}
	return l
}

// NewLiftWatch shapes a watch.
func NewLiftWatch(w *job.Watch) LiftWatch {
	out := LiftWatch{ID: w.ID, Revision: w.Revision, Rehearse: w.Rehearse, From: w.From.At.UTC(), By: w.From.Who, Stops: w.Stops}
	if !w.To.At.IsZero() {
		to := w.To.At.UTC()
		out.To = &to
	}
	return out
}

// NewLiftRevision shapes a revision.
func NewLiftRevision(r *job.Revision) LiftRevision {
	return LiftRevision{r.N, r.Letter(), r.SHA256, r.Who, r.At.UTC(), r.Note, r.Verdict, r.Open, used(r.Worst), append([]string{}, r.Findings...)}
}

// Judge is what a job keeps of a checked plan.
func Judge(p *verdict.Plan) job.Judged {
	j := job.Judged{Title: p.Lift.Title, Verdict: string(p.Outcome), Open: p.NotAssessed}
	for i := range p.States {
		s := &p.States[i]
		for k := range s.Parts {
			q := &s.Parts[k]
			if q.Utilisation != nil && (j.Worst.Used == nil || *q.Utilisation > *j.Worst.Used) {
				u := *q.Utilisation
				j.Worst = job.Worst{Where: q.Where, Used: &u}
			}
		}
		for k := range s.Findings {
			f := &s.Findings[k]
			if f.Severity != verdict.Stop {
				continue
			}
			text := fmt.Sprintf("%s at %s: %s", f.Rule, f.Where, f.Text)
			if s.Hung.Step != "" {
				text = fmt.Sprintf("after %s, %s", s.Hung.Step, text)
			}
			if !slices.Contains(j.Findings, text) {
				j.Findings = append(j.Findings, text)
			}
		}
	}
	return j
}

// LiftChanges is what differs between two revisions, and what it does.
type LiftChanges struct {
	From    int          `json:"from"`
	To      int          `json:"to"`
	Changes []LiftChange `json:"changes"`
	Effect  *LiftEffect  `json:"effect" doc:"null: one of them cannot be hung"`
}

// LiftChange is one value of the lift file.
type LiftChange struct {
	Path string  `json:"path" doc:"places in a list count from 1"`
	From *string `json:"from" doc:"null: not there"`
	To   *string `json:"to" doc:"null: not there"`
}

// LiftEffect compares two checks.
type LiftEffect struct {
	VerdictFrom  string    `json:"verdict_from"`
	VerdictTo    string    `json:"verdict_to"`
	WorstFrom    *LiftUsed `json:"worst_from"`
	WorstTo      *LiftUsed `json:"worst_to"`
	WeightFromN  float64   `json:"weight_from_N"`
	WeightToN    float64   `json:"weight_to_N"`
	OpenFrom     int       `json:"not_assessed_from"`
	OpenTo       int       `json:"not_assessed_to"`
	FindingsNew  []Finding `json:"findings_new"`
	FindingsGone []Finding `json:"findings_gone"`
}

// NewLiftEffect compares two plans.
func NewLiftEffect(from, to *verdict.Plan) *LiftEffect {
	a, b := Judge(from), Judge(to)
	e := &LiftEffect{
		VerdictFrom: a.Verdict, VerdictTo: b.Verdict, WorstFrom: used(a.Worst), WorstTo: used(b.Worst), OpenFrom: a.Open, OpenTo: b.Open,
		WeightFromN: from.States[0].Hung.WeightN, WeightToN: to.States[0].Hung.WeightN, FindingsNew: []Finding{}, FindingsGone: []Finding{},
	}
	x, y := findings(from), findings(to)
	has := func(list []Finding, f Finding) bool {
		return slices.ContainsFunc(list, func(g Finding) bool { return g.Rule == f.Rule && g.Where == f.Where && g.Severity == f.Severity })
	}
	for _, f := range y {
		if !has(x, f) && !has(e.FindingsNew, f) {
			e.FindingsNew = append(e.FindingsNew, f)
		}
	}
	for _, f := range x {
		if !has(y, f) && !has(e.FindingsGone, f) {
			e.FindingsGone = append(e.FindingsGone, f)
		}
	}
	return e
}

func findings(p *verdict.Plan) (all []Finding) {
	for i := range p.States {
		for _, f := range p.States[i].Findings {
			all = append(all, Finding{string(f.Severity), f.Rule, f.Source, f.Where, f.Text, f.Demand, f.Limit, f.Unit})
		}
	}
	return all
}

// Records are what was watched.
type Records struct {
	Records []Record `json:"records"`
}

// Record is one time on the watch.
type Record struct {
	Lift  string `json:"lift"`
	Title string `json:"title"`
	LiftWatch
	Sealed bool `json:"sealed" doc:"closed in one signed, chained file"`
}

// Replayed is a record gone through again.
type Replayed struct {
	ID      string       `json:"id"`
	From    time.Time    `json:"from"`
	LengthS float64      `json:"length_s"`
	Views   []Watch      `json:"views"`
	Events  []WatchEvent `json:"events" doc:"what the watch said, of the whole record"`
	Lost    []string     `json:"lost" doc:"what the record lacks"`
}

// Trend is how a force went.
type Trend struct {
	Channel string       `json:"channel"`
	Since   time.Time    `json:"since" doc:"this program has watched since; the record has what was before"`
	Points  []TrendPoint `json:"points"`
}

// TrendPoint is the least and the most of a stretch of time, gross.
type TrendPoint struct {
	At     time.Time `json:"at" doc:"its start"`
	LeastN float64   `json:"least_N"`
	MostN  float64   `json:"most_N"`
}
