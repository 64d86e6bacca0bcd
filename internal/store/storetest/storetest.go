// Package storetest is the suite of tests that every database behind the gear
// register has to pass.
package storetest

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"reflect"
	"strings"
	"sync"
	"testing"
	"time"

	"pgregory.net/rapid"

	"plumbhook/crew"
	"plumbhook/fault"
	"plumbhook/fleet"
	"plumbhook/job"
	"plumbhook/quantity"
	"plumbhook/register"
)

// Subject is a store under test. Exec speaks to its database directly.
type Subject struct {
	register.Store
	Jobs job.Store
	Crew crew.Store
	// Fleet gives the ledger as after a restart.
	Fleet func() fleet.Ledger
	Exec  func(query string) error
}

// Run holds the stores that open makes to the suite; each call makes an empty
// one.
func Run(t *testing.T, open func(testing.TB) Subject) {
	for _, c := range []struct {
		name string
		test func(*testing.T, Subject)
	}{
		{"what is entered comes back", comesBack},
		{"unknown serials", unknownSerials},
		{"a write is whole or nothing", wholeOrNothing},
		{"of two writers one is told", oneIsTold},
		{"history adds up", addsUp},
		{"what lifts took, once for a recording", uses},
		{"finding", finding},
		{"what is due", dueList},
		{"attachments", attachments},
		{"destruction leaves a checksum", destruction},
		{"nothing is deleted or altered", appendOnly},
		{"seeking page by page", seeking},
		{"lifts and their revisions", jobs},
		{"persons and sessions", persons},
		{"what a hub has taken", ledger},
	} {
		t.Run(c.name, func(t *testing.T) { c.test(t, open(t)) })
	}
	t.Run("any order of changes", func(t *testing.T) {
		s := open(t)
		n := 0
		rapid.Check(t, func(t *rapid.T) {
			n++
			anyOrder(t, s, fmt.Sprintf("R-%d", n))
		})
	})
}

var (
	ctx   = context.Background()
	start = time.Date(2026, 3, 2, 7, 30, 0, 123_456_789, time.UTC)
	stamp = register.Stamp{Day: "2026-03-02", By: "store keeper"}
)

// Shackle is an item as a list would give it.
func Shackle(serial string) register.Item {
	r, err := quantity.ParseRating("6.5 short ton")
	if err != nil {
		panic(err)
	}
	return register.Item{
		Serial: serial, Kind: "bow shackle", Facts: map[string]string{"grade": "A", "size": `7/8 in`},
		Rating: &r, Location: "Kestrel Point, cage 2", Examined: "2026-01-12", ExamineBy: "2026-07-12", Status: register.InService,
	}
}

func next(t require, it register.Item, c register.Change) register.Entry {
	t.Helper()
	e, err := it.Next(c, stamp, start.Add(time.Duration(it.Version)*time.Minute))
	must(t, err)
	return e
}

func enter(t require, s register.Store, items ...register.Item) []register.Item {
	t.Helper()
	entries := make([]register.Entry, len(items))
	after := make([]register.Item, len(items))
	for i, it := range items {
		entries[i] = next(t, register.Item{}, register.Entering{Item: it})
		after[i] = entries[i].Item
	}
	must(t, s.Write(ctx, entries))
	return after
}

func change(t require, s register.Store, it register.Item, c register.Change) register.Item {
	t.Helper()
	e := next(t, it, c)
	must(t, s.Write(ctx, []register.Entry{e}))
	return e.Item
}

// require is what *testing.T and *rapid.T share.
type require interface {
	Helper()
	Fatal(...any)
	Fatalf(string, ...any)
}

func must(t require, err error) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
}

func same(t require, what string, got, want any) {
	t.Helper()
	if !reflect.DeepEqual(got, want) {
		t.Fatalf("%s:\n got %+v\nwant %+v", what, got, want)
	}
}

func refused(t require, err error, code fault.Code) {
	t.Helper()
	var f *fault.Fault
	if !errors.As(err, &f) || f.Code != code {
		t.Fatalf("got %v, want a fault of class %s", err, code)
	}
}

func comesBack(t *testing.T, s Subject) {
	hard := Shackle(`O'Brien "7" \ % _ ; --`)
	hard.Location = "Kätnerhöhe 倉庫 🏗"
	hard.Facts["note"] = strings.Repeat("long ", 300) + "end"
	bare := register.Item{Serial: "KP-1", Kind: "master link", Status: register.Quarantined, Reason: "no certificate"}
	for _, want := range enter(t, s, Shackle("KP-0117"), hard, bare) {
		for _, serial := range []string{want.Serial, strings.ToLower(want.Serial), " " + want.Serial + " "} {
			got, err := s.Item(ctx, serial)
			must(t, err)
			same(t, serial, got, want)
		}
	}
	found, err := s.Items(ctx, []string{"kp-1", "nobody", "KP-0117"})
	must(t, err)
	if len(found) != 2 || found["KP-1"].Serial != "KP-1" || found["KP-0117"].Serial != "KP-0117" {
		t.Errorf("found %v", found)
	}
}

func unknownSerials(t *testing.T, s Subject) {
	_, err := s.Item(ctx, "KP-0117")
	refused(t, err, fault.Reference)
	_, err = s.History(ctx, "KP-0117")
	refused(t, err, fault.Reference)
	found, err := s.Items(ctx, []string{"KP-0117"})
	must(t, err)
	same(t, "items", len(found), 0)
	must(t, s.Write(ctx, nil))
}

func wholeOrNothing(t *testing.T, s Subject) {
	old := enter(t, s, Shackle("KP-1"))[0]
	entered := func(serial string) register.Entry {
		return next(t, register.Item{}, register.Entering{Item: Shackle(serial)})
	}
	stale := next(t, old, register.Quarantine{Reason: "bent pin"})
	old = change(t, s, old, register.Quarantine{Reason: "dropped"})
	unknown := stale
	unknown.Item.Serial, unknown.Event.Serial = "KP-9", "KP-9"
	for name, last := range map[string]register.Entry{
		"there already":   entered("kp-1"),
		"twice":           entered("KP-2"),
		"an old version":  stale,
		"of nothing":      unknown,
		"event not there": next(t, old, register.Destruction{Versions: []int{7}, Rule: "none"}),
	} {
		var batch []register.Entry
		for i := range 450 { // more than one statement's worth
			batch = append(batch, entered(fmt.Sprintf("KP-%d", i+2)))
		}
		err := s.Write(ctx, append(batch, last))
		var f *fault.Fault
		if !errors.As(err, &f) || f.Code != fault.Disagree && f.Code != fault.Reference {
			t.Errorf("%s: %v", name, err)
		}
		all, err := s.Find(ctx, register.Query{})
		must(t, err)
		same(t, name, all, []register.Item{old})
		due, err := s.Due(ctx, "2099-01-01")
		must(t, err)
		same(t, name+", dues", len(due), 1)
	}
}

func oneIsTold(t *testing.T, s Subject) {
	it := enter(t, s, Shackle("KP-1"))[0]
	const writers = 8
	errs := make([]error, writers)
	entries := make([]register.Entry, writers)
	for i := range entries {
		entries[i] = next(t, it, register.Quarantine{Reason: fmt.Sprintf("reason %d", i)})
	}
	var wg sync.WaitGroup
	for i := range entries {
		wg.Go(func() { errs[i] = s.Write(ctx, entries[i:i+1]) })
	}
	wg.Wait()
	won := 0
	for _, err := range errs {
		if err == nil {
			won++
			continue
		}
		refused(t, err, fault.Disagree)
	}
	same(t, "writers that won", won, 1)
	events, err := s.History(ctx, "KP-1")
	must(t, err)
	same(t, "events", len(events), 2)
}

// Report is an examination of a shackle that holds what the law asks for.
func Report(on, due register.Date) register.Examination {
	firm := register.Party{Name: "Kestrel Point Waterworks", Address: "1 Weir Lane, Kestrel Point"}
	r, err := quantity.ParseRating("6.5 short ton")
	if err != nil {
		panic(err)
	}
	return register.Examination{
		Employer: firm, Premises: firm.Address, SWL: &r, Basis: register.SixMonths, Safe: true, Next: due, On: on, Reported: on,
		Examiner: register.Examiner{Party: firm, Qualifications: "lifting equipment examiner", Employer: firm},
	}
}

func addsUp(t *testing.T, s Subject) {
	it := enter(t, s, Shackle("KP-1"))[0]
	for _, c := range []register.Change{
		Report("2026-02-01", "2026-08-01"),
		register.Inspection{On: "2026-03-01", By: "rigger", Tag: register.Bad, Latch: register.NotApplicable, Damage: register.Good},
		register.Release{Reason: "new tag fitted"},
		register.Attaching{Certificate: "C 17", CertificateDate: "2025-11-03"},
		register.Scrapping{Reason: "worn over 10 %"},
	} {
		it = change(t, s, it, c)
		got, err := s.Item(ctx, "KP-1")
		must(t, err)
		same(t, "item", got, it)
	}
	events, err := s.History(ctx, "kp-1")
	must(t, err)
	again, err := register.Replay(events)
	must(t, err)
	same(t, "the events added up", again, it)
	var names []string
	for i, e := range events {
		names = append(names, e.Name)
		same(t, "moment", e.At, start.Add(time.Duration(i)*time.Minute).Truncate(time.Microsecond))
		same(t, "stamp", e.Stamp, stamp)
	}
	same(t, "names", names, []string{"entered", "examined", "inspected", "released", "attached", "scrapped"})
}

// uses: a recording counts once for an item, also where two write it at once, and
// what is asked for is answered in the history.
func uses(t *testing.T, s Subject) {
	enter(t, s, Shackle("KP-1"), Shackle("KP-2"))
	scrapped := enter(t, s, Shackle("KP-3"))[0]
	change(t, s, scrapped, register.Scrapping{Reason: "worn"})
	use := func(recording string, peak float64) map[string]register.Use {
		u := register.Use{Recording: recording, Lift: "pump", Where: "legs.west.stack[1]", On: stamp.Day, Peak: peak, Lifts: 2, Hours: 0.25, Swings: []register.Swings{{From: 1000, To: 2000, Count: 1.5}}}
		return map[string]register.Use{"kp-1": u, "KP-2": u, "KP-3": u, "KP-4": u}
	}
	record := func(u map[string]register.Use) register.Recorded {
		t.Helper()
		r, err := register.Record(ctx, s, u, stamp, start)
		must(t, err)
		return r
	}
	first, late := record(use("r1", 20e3)), record(use("r1", 20e3))
	if fmt.Sprint(len(first.Entries), first.Had, first.Unknown) != "2 [] [KP-3 KP-4]" {
		t.Errorf("first: %d entries, had %v, unknown %v", len(first.Entries), first.Had, first.Unknown)
	}
	must(t, s.Write(ctx, first.Entries))
	if err := s.Write(ctx, late.Entries); err == nil {
		t.Error("two who write one recording at once both write it")
	}
	if again := record(use("r1", 20e3)); len(again.Entries) != 0 || len(again.Had) != 2 {
		t.Errorf("again: %+v", again)
	}
	must(t, s.Write(ctx, record(use("r2", 60e3)).Entries)) // 6.5 short ton is 57.8 kN
	it, err := s.Item(ctx, "KP-1")
	must(t, err)
	l := it.Life
	if l.Watched != 2 || l.Lifts != 4 || l.Hours != 0.5 || l.Peak != 60e3 || l.Over100 != 1 || l.Proposed == "" || fmt.Sprint(l.Swings) != "[{1000 2000 3}]" {
		t.Errorf("life: %+v", l)
	}
	it = change(t, s, it, register.Confirming{})
	got, err := s.Item(ctx, "KP-1")
	must(t, err)
	same(t, "item", got, it)
	events, err := s.History(ctx, "KP-1")
	must(t, err)
	again, err := register.Replay(events)
	must(t, err)
	same(t, "the events added up", again, it)
	if it.Status != register.Quarantined {
		t.Errorf("confirmed, it is %s", it.Status)
	}
}

func finding(t *testing.T, s Subject) {
	sling := register.Item{Serial: "KP-20", Kind: "Web sling", Location: "Überlauf 100%", Facts: map[string]string{"colour": "violet_1"}, Status: register.InService}
	items := enter(t, s, Shackle("KP-3"), Shackle("KP-1"), sling)
	change(t, s, items[0], register.Quarantine{Reason: "dropped"})
	for _, c := range []struct {
		q    register.Query
		want string
	}{
		{register.Query{}, "KP-1 KP-20 KP-3"},
		{register.Query{Words: []string{"SHACKLE"}}, "KP-1 KP-3"},
		{register.Query{Words: []string{"shackle", "kp-3"}}, "KP-3"},
		{register.Query{Words: []string{"web sling"}}, "KP-20"},
		{register.Query{Words: []string{"überLAUF"}}, "KP-20"},
		{register.Query{Words: []string{"100%"}}, "KP-20"},
		{register.Query{Words: []string{"0%0"}}, ""},
		{register.Query{Words: []string{"t_1"}}, "KP-20"},
		{register.Query{Words: []string{"_"}}, "KP-20"},
		{register.Query{Words: []string{`\`}}, ""},
		{register.Query{Words: []string{"7/8 in"}}, "KP-1 KP-3"},
		{register.Query{Words: []string{"6.5 short"}}, "KP-1 KP-3"},
		{register.Query{Status: register.Quarantined}, "KP-3"},
		{register.Query{Status: register.InService, Words: []string{"shackle"}}, "KP-1"},
	} {
		found, err := s.Find(ctx, c.q)
		must(t, err)
		var serials []string
		for _, it := range found {
			serials = append(serials, it.Serial)
		}
		same(t, fmt.Sprintf("%+v", c.q), strings.Join(serials, " "), c.want)
	}
}

func dueList(t *testing.T, s Subject) {
	early, cell, unknown, late := Shackle("KP-1"), Shackle("KP-2"), Shackle("KP-3"), Shackle("KP-4")
	early.ExamineBy = "2026-02-28"
	cell.Kind, cell.Calibrated, cell.CalibrateBy = "load cell", "2025-07-12", "2026-07-12"
	unknown.Examined, unknown.ExamineBy = "", ""
	late.ExamineBy = "2026-07-13"
	items := enter(t, s, late, unknown, cell, early)
	list := func(until register.Date) string {
		due, err := s.Due(ctx, until)
		must(t, err)
		var lines []string
		for _, d := range due {
			lines = append(lines, fmt.Sprintf("%s %s %s", d.By, d.Serial, d.Duty))
		}
		return strings.Join(lines, "; ")
	}
	same(t, "up to 27 February", list("2026-02-27"), " KP-3 thorough examination")
	same(t, "up to 12 July", list("2026-07-12"),
		" KP-3 thorough examination; 2026-02-28 KP-1 thorough examination; 2026-07-12 KP-2 calibration; 2026-07-12 KP-2 thorough examination")
	change(t, s, items[1], register.Scrapping{Reason: "lost its tag and its papers"})
	change(t, s, items[3], Report("2026-03-01", "2026-09-01"))
	same(t, "after an examination and a scrapping", list("2026-12-31"),
		"2026-07-12 KP-2 calibration; 2026-07-12 KP-2 thorough examination; 2026-07-13 KP-4 thorough examination; 2026-09-01 KP-1 thorough examination")
}

func attachments(t *testing.T, s Subject) {
	it := enter(t, s, Shackle("KP-1"))[0]
	data := bytes.Repeat([]byte("certificate\x00\xff"), 1000)
	f, err := s.Put(ctx, "scans/cert.pdf", bytes.NewReader(data))
	must(t, err)
	same(t, "name and size", fmt.Sprint(f.Name, f.Size), fmt.Sprint("cert.pdf", len(data)))
	it = change(t, s, it, register.Attaching{Files: []register.File{f}})
	got, err := s.Get(ctx, it.Files[0])
	must(t, err)
	if !bytes.Equal(got, data) {
		t.Error("another file came back")
	}
	again, err := s.Put(ctx, "copy", bytes.NewReader(data))
	must(t, err)
	same(t, "checksum of the same bytes", again.Sum, f.Sum)

	_, err = s.Put(ctx, "film", bytes.NewReader(make([]byte, register.MaxFile+1)))
	refused(t, err, fault.TooLarge)
	for _, sum := range []string{"", "../../../etc/passwd", "ab", strings.Repeat("../", 21) + "x", strings.Repeat("0", 64)} {
		_, err = s.Get(ctx, register.File{Sum: sum})
		refused(t, err, fault.Reference)
	}
	lost := register.File{Name: "never put", Sum: strings.Repeat("0", 64), Size: 1}
	refused(t, s.Write(ctx, []register.Entry{next(t, it, register.Attaching{Files: []register.File{lost}})}), fault.Reference)
}

func destruction(t *testing.T, s Subject) {
	it := enter(t, s, Shackle("KP-1"))[0]
	own, err := s.Put(ctx, "own.pdf", strings.NewReader("of the first report alone"))
	must(t, err)
	shared, err := s.Put(ctx, "shared.pdf", strings.NewReader("of both"))
	must(t, err)
	first, second := Report("2026-01-20", "2026-07-20"), Report("2026-02-20", "2026-08-20")
	first.Files, second.Files = []register.File{own, shared}, []register.File{shared}
	it = change(t, s, it, first)
	it = change(t, s, it, second)
	before, err := s.History(ctx, "KP-1")
	must(t, err)
	it = change(t, s, it, register.Destruction{Versions: []int{2}, Rule: "by a test's rule"})

	events, err := s.History(ctx, "KP-1")
	must(t, err)
	same(t, "events", len(events), 4)
	if events[1].Body != nil || events[1].BodySum != before[1].BodySum || events[1].Sum != before[1].Sum {
		t.Errorf("the destroyed event is %+v", events[1])
	}
	same(t, "the event that stays", events[2], before[2])
	again, err := register.Replay(events)
	must(t, err)
	same(t, "head of the history", again.Head, it.Head)
	got, err := s.Item(ctx, "KP-1")
	must(t, err)
	same(t, "item", got, it)
	_, err = s.Get(ctx, own)
	refused(t, err, fault.Reference)
	_, err = s.Get(ctx, shared)
	must(t, err)
	refused(t, s.Write(ctx, []register.Entry{next(t, it, register.Destruction{Versions: []int{2}, Rule: "again"})}), fault.Reference)
}

func appendOnly(t *testing.T, s Subject) {
	f, err := s.Put(ctx, "a", strings.NewReader("a"))
	must(t, err)
	change(t, s, enter(t, s, Shackle("KP-1"))[0], register.Attaching{Files: []register.File{f}})
	for _, query := range []string{
		"DELETE FROM items",
		"DELETE FROM events",
		"DELETE FROM attachments",
		"UPDATE attachments SET name = 'b'",
		"UPDATE events SET body = '{}'",
		"UPDATE events SET who = 'somebody else'",
		"UPDATE events SET body = NULL, day = '2020-01-01'",
		"UPDATE events SET version = 7 WHERE version = 2",
		"INSERT INTO events (key, version, serial, day, who, at, name, body, body_sum, sum) SELECT 'X', version, serial, day, who, at, name, body, body_sum, sum FROM events",
	} {
		if s.Exec(query) == nil {
			t.Errorf("the database allowed: %s", query)
		}
	}
	if err := s.Exec("UPDATE items SET version = version"); err != nil {
		t.Errorf("what the program itself does was refused: %v", err)
	}
}

// anyOrder applies random changes; whatever is accepted, the store's item is
// what its history adds up to.
func anyOrder(t *rapid.T, s Subject, serial string) {
	it := enter(t, s, Shackle(serial))[0]
	for range rapid.IntRange(1, 8).Draw(t, "changes") {
		c := rapid.SampledFrom([]register.Change{
			register.Quarantine{Reason: "dropped"},
			register.Release{Reason: "looked at"},
			register.Scrapping{Reason: "worn"},
			Report("2026-02-01", "2026-08-01"),
			Report("2026-03-01", "2026-06-01"),
			register.Describing{Item: Shackle(strings.ToLower(serial)), From: "a list"},
			register.Describing{Item: Shackle("another"), From: "a list"},
			register.Calibration{On: "2026-03-01", Next: "2027-03-01"},
			register.Inspection{On: "2026-03-01", By: "rigger", Tag: register.Good, Latch: register.Bad, Damage: register.Good},
			register.Inspection{On: "2026-02-20", By: "rigger", Tag: register.Good, Latch: register.NotApplicable, Damage: register.Good},
		}).Draw(t, "change")
		e, err := it.Next(c, stamp, start)
		if err != nil {
			continue
		}
		must(t, s.Write(ctx, []register.Entry{e}))
		it = e.Item
	}
	got, err := s.Item(ctx, serial)
	must(t, err)
	same(t, "item", got, it)
	events, err := s.History(ctx, serial)
	must(t, err)
	again, err := register.Replay(events)
	must(t, err)
	same(t, "the events added up", again, it)
}

// seeking gives what Find gives, in pages, and sees what is written meanwhile.
func seeking(t *testing.T, s Subject) {
	var items []register.Item
	for i := range 25 {
		items = append(items, Shackle(fmt.Sprintf("KP-%02d", i)))
	}
	items = enter(t, s, items...)
	all := func(q register.Query) (serials []string) {
		after := ""
		for range 10 {
			page, more, err := s.Seek(ctx, q, after, 7)
			must(t, err)
			for _, it := range page {
				serials = append(serials, it.Serial)
			}
			if !more {
				return serials
			}
			after = strings.ToLower(serials[len(serials)-1])
		}
		t.Fatal("the pages have no end")
		return nil
	}
	for _, q := range []register.Query{{}, {Words: []string{"kp-1"}}, {Words: []string{"BOW", "-2"}}, {Words: []string{"%"}}, {Words: []string{"none"}}, {Status: register.Quarantined}} {
		found, err := s.Find(ctx, q)
		must(t, err)
		var want []string
		for _, it := range found {
			want = append(want, it.Serial)
		}
		same(t, fmt.Sprintf("%+v", q), all(q), want)
	}
	change(t, s, items[3], register.Quarantine{Reason: "dropped"})
	enter(t, s, Shackle("KP-035"))
	same(t, "after a change", all(register.Query{Status: register.Quarantined}), []string{"KP-03"})
	same(t, "after an entry", all(register.Query{Words: []string{"kp-03"}}), []string{"KP-03", "KP-035"})
}

func jobs(t *testing.T, s Subject) {
	by := func(who string, minute int) job.Stamp {
		return job.Stamp{Who: who, At: start.Add(time.Duration(minute) * time.Minute).Truncate(time.Microsecond)}
	}
	used := 0.8
	judged := job.Judged{Title: "Pump motor, 100% Überlauf", Verdict: "holds", Worst: job.Worst{Where: "legs.west", Used: &used}}
	j, err := job.New("a1", "plumbhook: 1\n# é\n", "first", judged, by("A. Planner", 0))
	must(t, err)
	j, err = s.Jobs.PutJob(ctx, j)
	must(t, err)
	again := j
	again.Version = 0
	_, err = s.Jobs.PutJob(ctx, again)
	refused(t, err, fault.Duplicate)
	next, err := j.Revise(1, "plumbhook: 1\n# e\n", "", judged, by("B. Planner", 1), false)
	must(t, err)
	next, err = s.Jobs.PutJob(ctx, next)
	must(t, err)
	_, err = s.Jobs.PutJob(ctx, j)
	refused(t, err, fault.Disagree)
	got, err := s.Jobs.Job(ctx, "a1")
	must(t, err)
	same(t, "the lift", got, next)
	_, err = s.Jobs.Job(ctx, "a2")
	refused(t, err, fault.Reference)
	other, err := job.New("a2", "x", "", job.Judged{Title: "gate", Verdict: job.Invalid}, by("A. Planner", 2))
	must(t, err)
	_, err = s.Jobs.PutJob(ctx, other)
	must(t, err)
	for _, c := range []struct {
		q    job.Query
		want string
	}{{job.Query{}, "a2 a1"}, {job.Query{Words: []string{"ÜBERlauf", "0%"}}, "a1"}, {job.Query{Words: []string{"a. plan"}}, "a2"}, {job.Query{State: job.Draft}, "a2 a1"}, {job.Query{State: job.Done}, ""}} {
		list, err := s.Jobs.Jobs(ctx, c.q)
		must(t, err)
		var ids []string
		for _, j := range list {
			ids = append(ids, j.ID)
			if j.Newest().Text != "" {
				t.Error("a list carries texts")
			}
		}
		same(t, fmt.Sprintf("%+v", c.q), strings.Join(ids, " "), c.want)
	}
	for _, query := range []string{"DELETE FROM revisions", "UPDATE revisions SET text = 'another'", "DELETE FROM jobs"} {
		if s.Exec(query) == nil {
			t.Errorf("the database allowed: %s", query)
		}
	}
}

func persons(t *testing.T, s Subject) {
	_, err := s.Crew.Person(ctx, "A. Rigger")
	refused(t, err, fault.Reference)
	must(t, s.Crew.PutPerson(ctx, crew.Person{Name: "A. Rigger", Role: crew.Rigger, Password: "x"}))
	refused(t, s.Crew.PutPerson(ctx, crew.Person{Name: "a. RIGGER", Role: crew.Admin}), fault.Duplicate)
	p, err := s.Crew.Person(ctx, "a.  rigger ")
	must(t, err)
	same(t, "the person", p, crew.Person{Name: "A. Rigger", Role: crew.Rigger, Password: "x", Version: 1})
	p.Role = crew.Planner
	must(t, s.Crew.PutPerson(ctx, p))
	refused(t, s.Crew.PutPerson(ctx, p), fault.Disagree)
	must(t, s.Crew.PutPerson(ctx, crew.Person{Name: "Yard", Role: crew.Screen}))
	all, err := s.Crew.Persons(ctx)
	must(t, err)
	same(t, "persons", len(all), 2)
	at := start.Truncate(time.Microsecond)
	x := crew.Session{Sum: crew.TokenSum("token"), Name: "A. Rigger", Begun: at, Seen: at, ByPIN: true}
	must(t, s.Crew.PutSession(ctx, x))
	x.Seen = at.Add(time.Hour)
	must(t, s.Crew.PutSession(ctx, x))
	got, err := s.Crew.Session(ctx, x.Sum)
	must(t, err)
	same(t, "the session", got, x)
	_, err = s.Crew.Session(ctx, crew.TokenSum("another"))
	refused(t, err, fault.Reference)
	must(t, s.Crew.EndSessions(ctx, "yard"))
	_, err = s.Crew.Session(ctx, x.Sum)
	must(t, err)
	must(t, s.Crew.EndSessions(ctx, "a. rigger"))
	_, err = s.Crew.Session(ctx, x.Sum)
	refused(t, err, fault.Reference)
	if s.Exec("DELETE FROM persons") == nil {
		t.Error("the database let a person go")
	}
}
