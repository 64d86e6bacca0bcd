package hub

import (
	"context"
	"path/filepath"
	"testing"
	"time"

	"plumbhook/fault"
	"plumbhook/fleet"
	"plumbhook/internal/store"
	"plumbhook/job"
	"plumbhook/register"
)

type noOffice struct{}

func (noOffice) Plans(context.Context) ([]fleet.PlanCopy, error) { return nil, nil }
func (noOffice) Gear(context.Context) ([]fleet.GearCopy, error)  { return nil, nil }

// Two sites change the same plan and the same shackle: the desk shows both, takes
// a named person's answer to what stands and to nothing else, and alters no copy.
func TestDesk(t *testing.T) {
	m := makeHub(t, "a")
	one, two := m.admit(t, "one"), m.admit(t, "two")
	h := m.open(t, "a")
	ctx := context.Background()
	s, err := store.Open(ctx, filepath.Join(m.dir, "node-a"), true)
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	d, err := h.NewDesk(ctx, s.Ledger(), noOffice{})
	if err != nil {
		t.Fatal(err)
	}
	defer d.Close()

	began := time.Date(2026, 11, 25, 8, 0, 0, 0, time.UTC)
	by := func(who string) job.Stamp { return job.Stamp{Who: who, At: began} }
	base, err := job.New("gate", "first", "", job.Judged{Title: "Gate"}, by("planner"))
	if err != nil {
		t.Fatal(err)
	}
	for _, x := range []struct {
		j      *Joining
		reason string
	}{{one, "pin bent"}, {two, "tag lost"}} {
		l := join(t, x.j, filepath.Join(m.dir, x.j.Site))
		j, err := base.Revise(1, x.reason, "", job.Judged{Title: "Gate"}, by(x.j.Site), false)
		if err != nil {
			t.Fatal(err)
		}
		body, err := fleet.EncodePlan(&j)
		if err != nil {
			t.Fatal(err)
		}
		if err := l.Send(ctx, fleet.Plan, j.ID, body); err != nil {
			t.Fatal(err)
		}
		var it register.Item
		var events []register.Event
		for _, c := range []register.Change{register.Entering{Item: register.Item{Serial: "KP-7", Kind: "bow shackle", Status: register.InService, ExamineBy: "2026-01-01"}}, register.Quarantine{Reason: x.reason}} {
			e, err := it.Next(c, register.Stamp{Day: "2026-11-25", By: "store keeper"}, began)
			if err != nil {
				t.Fatal(err)
			}
			it, events = e.Item, append(events, e.Event)
		}
		if body, err = fleet.EncodeGear(&it, events); err != nil {
			t.Fatal(err)
		}
		if err := l.Send(ctx, fleet.Gear, "KP-7", body); err != nil {
			t.Fatal(err)
		}
	}
	var all []fleet.Meeting
	eventually(t, patience, "both to contradict", func() bool {
		if all, err = d.Meetings(ctx); err != nil {
			t.Fatal(err)
		}
		return len(all) == 2
	})
	if !all[0].Open() || !all[1].Open() || all[0].Kind != fleet.Plan || len(all[1].Fields) != 1 {
		t.Fatalf("%+v", all)
	}
	v, err := d.Look(ctx, time.Now())
	if err != nil || len(v.Rows) != 2 || v.Rows[0].Link != fleet.Linked || v.Rows[0].Gear.Overdue != 1 || len(v.Dues) != 2 {
		t.Errorf("%+v %v", v, err)
	}

	good := fleet.Answer{Kind: fleet.Plan, ID: "gate", Heads: all[0].Heads, Take: all[0].Heads[1], By: "P. Lanner", At: began, Why: "hung again"}
	for name, c := range map[string]struct {
		spoil func(*fleet.Answer)
		want  fault.Code
	}{
		"another plan":   {func(a *fleet.Answer) { a.ID = "weir" }, fault.Reference},
		"not all heads":  {func(a *fleet.Answer) { a.Heads = a.Heads[:1] }, fault.Disagree},
		"none of them":   {func(a *fleet.Answer) { a.Take = "else" }, fault.Range},
		"without a name": {func(a *fleet.Answer) { a.By = " " }, fault.Missing},
		"without reason": {func(a *fleet.Answer) { a.Why = "" }, fault.Missing},
	} {
		a := good
		c.spoil(&a)
		if err := d.Answer(ctx, a); err == nil || fault.Of(err)[0].Code != c.want {
			t.Errorf("%s: %v", name, err)
		}
	}
	if err := d.Answer(ctx, good); err != nil {
		t.Fatal(err)
	}
	eventually(t, patience, "the answer", func() bool {
		if all, err = d.Meetings(ctx); err != nil {
			t.Fatal(err)
		}
		return !all[1].Open()
	})
	if a := all[1].Answer; a.By != "P. Lanner" || a.Take != good.Take || all[1].Fork != 2 || !all[0].Open() || all[0].Kind != fleet.Gear {
		t.Errorf("%+v", all)
	}
}
