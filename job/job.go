// Package job holds one lift from its first draft to the archive: revisions of
// its lift file, the approval that locks one of them by its SHA-256, hold
// points, the times it was on the watch, and how it ended.
//
// It computes and keeps nothing: a change is a new Job made of the old one, or
// a fault that says why not. Times and persons come in as arguments. Who may do
// what is decided elsewhere.
package job

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"slices"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"plumbhook/fault"
)

// State says how far a job has come.
type State string

// A draft may be revised. An approved job is locked: a new revision makes a
// draft of it again. Done and stopped are how a job ends.
const (
	Draft    State = "draft"
	Approved State = "approved"
	OnWatch  State = "on the watch"
	Done     State = "done"
	Stopped  State = "stopped"
)

// Stamp is who did something, and when.
type Stamp struct {
	Who string
	At  time.Time
}

// Worst is the part of a plan that is used most.
type Worst struct {
	Where string
	Used  *float64 // share of its limit; nil: no part has a rating
}

// Judged is what a check made of a revision when it was written down.
type Judged struct {
	Title    string
	Verdict  string // holds, fails, incomplete; invalid: the file cannot be read
	Worst    Worst
	Open     int      // demands not assessed
	Findings []string // of severity stop, each with where it was found: what an override has to answer
}

// Invalid is the verdict on a file that cannot be read.
const Invalid = "invalid"

// Revision is one state of the lift file. It is never altered.
type Revision struct {
	N      int
	SHA256 string // of Text, hexadecimal
	Note   string
	Stamp
	Judged

	Text string // not in a list of jobs
}

// Letter is the name of a revision on a drawing: A to Z, then AA.
func (r *Revision) Letter() string {
	letters := ""
	for n := r.N; n > 0; n = (n - 1) / 26 {
		letters = string(rune('A'+(n-1)%26)) + letters
	}
	return letters
}

// Override is a finding that somebody answers for.
type Override struct{ Finding, Reason string }

// Approval locks a revision.
type Approval struct {
	Revision int
	SHA256   string
	Unit     string // the one unit that the crew reads
	Stamp
	Overrides []Override
	Holds     []Hold
}

// Hold is a point at which the lift waits until somebody says that it is done.
type Hold struct {
	Text string
	Done Stamp // zero: not yet
}

// Watch is one time on the watch.
type Watch struct {
	ID       string // of its recording
	Revision int
	Rehearse string // what goes wrong in a virtual lift; empty: a real one
	From     Stamp
	To       Stamp // zero: it is on
	Stops    int   // stops that were raised; told at the end
}

// Job is one lift.
type Job struct {
	ID        string
	State     State
	Version   int // of the stored job; 0: not stored yet
	Revisions []Revision
	Approvals []Approval // the last one holds, unless a later revision made a draft of the job
	Watches   []Watch
	Outcome   string // what was said when it ended
	Changed   Stamp
}

// Bounds of what a person writes, in characters.
const (
	MaxText  = 400
	mostHold = 50
)

// Sum is the SHA-256 of a lift file.
func Sum(text string) string {
	s := sha256.Sum256([]byte(text))
	return hex.EncodeToString(s[:])
}

// New is a job with its first revision.
func New(id, text, note string, judged Judged, by Stamp) (Job, error) {
	j := Job{ID: id, State: Draft}
	return j.Revise(0, text, note, judged, by, false)
}

// Newest is the revision that was written last.
func (j *Job) Newest() *Revision { return &j.Revisions[len(j.Revisions)-1] }

// Title is that of the newest revision.
func (j *Job) Title() string { return j.Newest().Title }

// Revision finds one by its number.
func (j *Job) Revision(n int) (*Revision, error) {
	if n < 1 || n > len(j.Revisions) {
		return nil, fault.New(fault.Reference, "the lift has no revision %d", n).Fix("its revisions are 1 to %d", len(j.Revisions))
	}
	return &j.Revisions[n-1], nil
}

// Approval is the one that holds; nil: none.
func (j *Job) Approval() *Approval {
	if j.State == Draft || len(j.Approvals) == 0 {
		return nil
	}
	return &j.Approvals[len(j.Approvals)-1]
}

// On is the watch that is on; nil: none.
func (j *Job) On() *Watch {
	if n := len(j.Watches); n > 0 && j.Watches[n-1].To.At.IsZero() {
		return &j.Watches[n-1]
	}
	return nil
}

// clone copies what a change writes to.
func (j Job) clone(by Stamp) Job {
	j.Revisions, j.Watches = slices.Clone(j.Revisions), slices.Clone(j.Watches)
	j.Approvals = slices.Clone(j.Approvals)
	for i := range j.Approvals {
		j.Approvals[i].Holds = slices.Clone(j.Approvals[i].Holds)
	}
	j.Changed = by
	return j
}

// Revise adds a revision that was made of the one numbered base. An approved or
// stopped job has to be reopened for it, which makes a draft of it.
func (j Job) Revise(base int, text, note string, judged Judged, by Stamp, reopen bool) (Job, error) {
	switch j.State {
	case OnWatch:
		return j, fault.New(fault.Disagree, "the lift is on the watch: its plan is locked").Fix("end the watch first")
	case Done:
		return j, fault.New(fault.Disagree, "the lift is done: its plan stays as it was lifted").Fix("make a new lift of it: copy it")
	case Approved, Stopped:
		if !reopen {
			return j, fault.New(fault.Disagree, "the lift is %s: its plan is locked", j.State).Fix("reopen it with the new revision; it is a draft then and needs approval anew")
		}
	}
	if base != len(j.Revisions) {
		return j, fault.New(fault.Disagree, "revision %d was written meanwhile", len(j.Revisions)).Fix("compare it with yours, and save again on top of it")
	}
	if err := words(note, "note", false); err != nil {
		return j, err
	}
	sum := Sum(text)
	if base > 0 && j.Newest().SHA256 == sum {
		return j, fault.New(fault.Duplicate, "nothing has changed since revision %d", base).Fix("there is nothing to save")
	}
	n := j.clone(by)
	n.Revisions = append(n.Revisions, Revision{N: base + 1, SHA256: sum, Note: note, Stamp: by, Judged: judged, Text: text})
	n.State = Draft
	return n, nil
}

// Approve locks the newest revision, whose SHA-256 the approver has seen. now
// is what a check says of it today: what it finds has to be answered for one by
// one, and a file that cannot be read cannot be approved.
func (j Job) Approve(a Approval, now Judged) (Job, error) {
	r := j.Newest()
	switch {
	case j.State != Draft:
		return j, fault.New(fault.Disagree, "the lift is %s, not a draft", j.State).Fix("a new revision can be approved")
	case a.Revision != r.N:
		return j, fault.New(fault.Disagree, "revision %d is the newest, not %d", r.N, a.Revision).Fix("look at the newest and approve that")
	case a.SHA256 != r.SHA256:
		return j, fault.New(fault.Disagree, "the revision approved is not the one that is kept").In("sha256").Fix("load the lift again and look at it before approving it")
	case now.Verdict == Invalid:
		return j, fault.New(fault.Rig, "the lift file cannot be read").Fix("mend what check says")
	}
	var open fault.List
	for _, f := range now.Findings {
		if !slices.ContainsFunc(a.Overrides, func(o Override) bool { return o.Finding == f && strings.TrimSpace(o.Reason) != "" }) {
			open = append(open, fault.New(fault.Disagree, "the plan fails: %s", f).In("overrides").Fix("change the plan, or answer for it with a reason"))
		}
	}
	if now.Verdict == "incomplete" {
		if f := "something needed is missing"; !slices.ContainsFunc(a.Overrides, func(o Override) bool { return o.Finding == f && strings.TrimSpace(o.Reason) != "" }) {
			open = append(open, fault.New(fault.Disagree, "the verdict is incomplete: %s", f).In("overrides").Fix("complete the plan, or answer for %q with a reason", f))
		}
	}
	if err := open.Err(); err != nil {
		return j, err
	}
	for _, o := range a.Overrides {
		if err := words(o.Reason, "overrides", true); err != nil {
			return j, err
		}
	}
	if len(a.Holds) > mostHold {
		return j, fault.New(fault.TooLarge, "%d hold points", len(a.Holds)).Fix("%d is the most", mostHold)
	}
	for _, h := range a.Holds {
		if err := words(h.Text, "holds", true); err != nil {
			return j, err
		}
	}
	n := j.clone(a.Stamp)
	n.Approvals = append(n.Approvals, a)
	n.State = Approved
	return n, nil
}

// Hold marks a hold point done; points count from 1. Done is for good: what was
// said was said.
func (j Job) Hold(k int, by Stamp) (Job, error) {
	a := j.Approval()
	switch {
	case a == nil:
		return j, fault.New(fault.Disagree, "the lift is a draft: no hold points stand").Fix("approve it first")
	case k < 1 || k > len(a.Holds):
		return j, fault.New(fault.Reference, "there is no hold point %d", k).Fix("they are 1 to %d", len(a.Holds))
	case !a.Holds[k-1].Done.At.IsZero():
		return j, fault.New(fault.Disagree, "hold point %d was done by %s", k, a.Holds[k-1].Done.Who)
	case j.State == Done || j.State == Stopped:
		return j, fault.New(fault.Disagree, "the lift is %s", j.State)
	}
	n := j.clone(by)
	n.Approval().Holds[k-1].Done = by
	return n, nil
}

// Begin puts the approved revision on the watch.
func (j Job) Begin(w Watch) (Job, error) {
	a := j.Approval()
	if j.State != Approved || a == nil {
		return j, fault.New(fault.Disagree, "the lift is %s", j.State).Fix("only an approved revision goes on the watch")
	}
	n := j.clone(w.From)
	w.Revision = a.Revision
	n.Watches = append(n.Watches, w)
	n.State = OnWatch
	return n, nil
}

// End takes the job off the watch: done or stopped. A rehearsal leaves it
// approved, whatever came of it: nothing was lifted.
func (j Job) End(outcome State, note string, stops int, by Stamp) (Job, error) {
	w := j.On()
	switch {
	case j.State != OnWatch || w == nil:
		return j, fault.New(fault.Disagree, "the lift is not on the watch")
	case outcome != Done && outcome != Stopped:
		return j, fault.New(fault.Range, "%q is no way for a lift to end", string(outcome)).In("outcome").Fix("write done or stopped")
	}
	if err := words(note, "note", false); err != nil {
		return j, err
	}
	n := j.clone(by)
	w = n.On()
	w.To, w.Stops = by, stops
	n.State, n.Outcome = outcome, note
	if w.Rehearse != "" {
		n.State = Approved
	}
	return n, nil
}

// words refuses what no database or reader should have to bear.
func words(s, where string, needed bool) error {
	switch {
	case needed && strings.TrimSpace(s) == "":
		return fault.New(fault.Missing, "there is no text").In(where).Fix("say it in a few words")
	case !utf8.ValidString(s) || strings.ContainsFunc(s, func(r rune) bool { return r != '\n' && !unicode.IsPrint(r) }):
		return fault.New(fault.Range, "a character in it cannot be printed").In(where).Fix("write it in plain text")
	case utf8.RuneCountInString(s) > MaxText:
		return fault.New(fault.TooLarge, "%d characters", utf8.RuneCountInString(s)).In(where).Fix("%d is the most", MaxText)
	}
	return nil
}

// Query chooses jobs. The zero Query chooses all.
type Query struct {
	Words []string // each in the title or the name of who changed it, whatever its capitals
	State State
}

// Store keeps jobs. What it is asked for and does not have is a fault of class
// Reference.
type Store interface {
	// Jobs gives the chosen ones, the one changed last first, without the text
	// of their revisions.
	Jobs(ctx context.Context, q Query) ([]Job, error)
	// Job gives one whole.
	Job(ctx context.Context, id string) (Job, error)
	// PutJob writes a job that was made of the stored one with the same Version
	// and gives it with its new one. Otherwise it was changed meanwhile: a fault
	// of class Disagree.
	PutJob(ctx context.Context, j Job) (Job, error)
}
