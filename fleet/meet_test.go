package fleet_test

import (
	"bytes"
	"fmt"
	"slices"
	"testing"
	"time"

	"pgregory.net/rapid"

	"plumbhook/fleet"
	"plumbhook/job"
	"plumbhook/register"
)

var began = time.Date(2026, 11, 25, 8, 0, 0, 0, time.UTC)

func revised(t require, j job.Job, who, text string) job.Job {
	by := job.Stamp{Who: who, At: began.Add(time.Duration(len(j.Revisions)) * time.Minute)}
	var err error
	if len(j.Revisions) == 0 {
		j, err = job.New("gate", text, "", job.Judged{Title: "gate", Verdict: "holds"}, by)
	} else {
		j, err = j.Revise(len(j.Revisions), text, "", job.Judged{Title: "gate", Verdict: "holds"}, by, false)
	}
	if err != nil {
		t.Fatal(err)
	}
	return j
}

type require interface {
	Fatal(...any)
	Helper()
}

// However two places revise a plan, nobody's revision is lost: a copy is behind,
// or it is a head; and a fork shows exactly when neither history begins the other.
func TestPlansMeet(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		base := revised(t, job.Job{}, "planner", "first")
		for i := range rapid.IntRange(0, 2).Draw(t, "common") {
			base = revised(t, base, "planner", fmt.Sprint("common ", i))
		}
		site, office := base, base
		common := len(base.Revisions)
		s, o := rapid.IntRange(0, 3).Draw(t, "site"), rapid.IntRange(0, 3).Draw(t, "office")
		for i := range s {
			site = revised(t, site, "rigger", fmt.Sprint("site ", i))
		}
		for i := range o {
			office = revised(t, office, "planner", fmt.Sprint("office ", i))
		}
		m := fleet.MeetPlans([]fleet.PlanCopy{{Site: "weir", Job: site}, {Site: "office", Job: office}}, nil)
		if len(m) != 1 || len(m[0].Copies) != 2 {
			t.Fatalf("%+v", m)
		}
		forked := s > 0 && o > 0
		if (m[0].Fork == common+1) != forked || m[0].Open() != forked || (m[0].Fork != 0) != forked {
			t.Fatalf("site %d, office %d after %d: %+v", s, o, common, m[0])
		}
		for _, c := range m[0].Copies {
			if c.Behind == slices.Contains(m[0].Heads, c.Head) {
				t.Fatalf("%+v", m[0])
			}
		}
		heads := 1
		if forked {
			heads = 2
		}
		if len(m[0].Heads) != heads {
			t.Fatalf("%+v", m[0])
		}
	})
}

// An answer holds for what the person saw, and for what goes on from what they
// took; another revision of the one not taken opens the question again.
func TestAnswer(t *testing.T) {
	base := revised(t, job.Job{}, "planner", "first")
	site, office := revised(t, base, "rigger", "site"), revised(t, base, "planner", "office")
	meet := func(a ...fleet.Answer) fleet.Meeting {
		return fleet.MeetPlans([]fleet.PlanCopy{{Site: "weir", Job: site}, {Site: "office", Job: office}}, a)[0]
	}
	m := meet()
	if !m.Open() {
		t.Fatalf("%+v", m)
	}
	a := fleet.Answer{Kind: fleet.Plan, ID: "gate", Heads: m.Heads, Take: office.Newest().SHA256, By: "P. Lanner", At: began}
	if m := meet(a); m.Open() || m.Answer.By != "P. Lanner" || m.Fork != 2 {
		t.Errorf("answered: %+v", m)
	}
	if m := meet(fleet.Answer{Kind: fleet.Gear, ID: "gate", Heads: m.Heads, Take: a.Take}); !m.Open() {
		t.Error("the answer to another question was taken")
	}
	office = revised(t, office, "planner", "office goes on")
	if m := meet(a); m.Open() {
		t.Errorf("the one that was taken goes on: %+v", m)
	}
	site = revised(t, site, "rigger", "site goes on")
	if m := meet(a); !m.Open() {
		t.Errorf("the one that was not taken goes on: %+v", m)
	}
}

func shackle(t require, changes ...register.Change) fleet.GearCopy {
	it := register.Item{Serial: "KP-7", Kind: "bow shackle", Location: "yard", Status: register.InService, ExamineBy: "2027-01-10"}
	all := append([]register.Change{register.Entering{Item: it}}, changes...)
	var c fleet.GearCopy
	for i, ch := range all {
		e, err := c.Item.Next(ch, register.Stamp{Day: "2026-11-25", By: "store keeper"}, began.Add(time.Duration(i)*time.Minute))
		if err != nil {
			t.Fatal(err)
		}
		c.Item, c.Events = e.Item, append(c.Events, e.Event)
	}
	return c
}

// Gear that was changed in two places: each history stays whole, what they say
// differently is listed, and until somebody answers the careful reading counts.
func TestGearMeets(t *testing.T) {
	at := func(site string, c fleet.GearCopy) fleet.GearCopy { c.Site = site; return c }
	bent := at("weir", shackle(t, register.Quarantine{Reason: "pin bent"}))
	fine := at("quay", shackle(t, register.Quarantine{Reason: "to be looked at"}, register.Release{Reason: "looked at"}))
	m := fleet.MeetGear([]fleet.GearCopy{bent, fine}, nil)[0]
	if m.Fork != 2 || !m.Open() || len(m.Fields) != 1 || m.Fields[0].Name != "status" || m.Fields[0].Says["weir"] != "quarantined pin bent" {
		t.Errorf("%+v", m)
	}
	if it := fleet.Careful([]fleet.GearCopy{fine, bent}); it.Status != register.Quarantined || it.Reason != "pin bent" {
		t.Errorf("%+v", it)
	}
	late := fine
	late.Item.ExamineBy = ""
	if it := fleet.Careful([]fleet.GearCopy{fine, late}); it.ExamineBy != "" {
		t.Error("no day on record counts as one far off")
	}
	behind := at("weir", shackle(t))
	ahead := at("quay", shackle(t, register.Quarantine{Reason: "pin bent"}))
	if m := fleet.MeetGear([]fleet.GearCopy{behind, ahead}, nil)[0]; m.Fork != 0 || !m.Copies[0].Behind || m.Copies[1].Behind || len(m.Heads) != 1 {
		t.Errorf("%+v", m)
	}
}

// What a document says comes back, and one that was altered on its way does not.
func TestDocuments(t *testing.T) {
	c := shackle(t, register.Quarantine{Reason: "pin bent"})
	body, err := fleet.EncodeGear(&c.Item, c.Events)
	if err != nil {
		t.Fatal(err)
	}
	back, err := fleet.DecodeGear(&fleet.Document{Site: "weir", Kind: fleet.Gear, ID: "KP-7", Body: body})
	if err != nil || back.Item.Head != c.Item.Head || back.Item.Reason != "pin bent" || len(back.Events) != 2 {
		t.Fatalf("%+v %v", back, err)
	}
	if _, err := fleet.DecodeGear(&fleet.Document{Site: "weir", Kind: fleet.Gear, ID: "KP-7", Body: bytes.ReplaceAll(body, []byte("pin bent"), []byte("pin fine"))}); err == nil {
		t.Error("an altered history was taken")
	}
	j := revised(t, revised(t, job.Job{}, "planner", "first"), "planner", "second")
	if body, err = fleet.EncodePlan(&j); err != nil {
		t.Fatal(err)
	}
	got, err := fleet.DecodePlan(&fleet.Document{Kind: fleet.Plan, ID: "gate", Body: body})
	if err != nil || len(got.Revisions) != 2 || got.Revisions[0].Text != "first" {
		t.Fatalf("%+v %v", got, err)
	}
	if _, err := fleet.DecodePlan(&fleet.Document{Kind: fleet.Plan, ID: "gate", Body: bytes.ReplaceAll(body, []byte(`"first"`), []byte(`"other"`))}); err == nil {
		t.Error("an altered revision was taken")
	}
}
