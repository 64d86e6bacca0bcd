package hub

import (
	"context"
	"encoding/json"
	"slices"
	"strings"
	"time"

	"github.com/nats-io/nats.go"

	"plumbhook/fault"
	"plumbhook/fleet"
)

// Meetings compares the copies that sites and the office have of plans and gear,
// and gives those that contradict each other, the ones that wait for an answer
// first.
func (d *Desk) Meetings(ctx context.Context) ([]fleet.Meeting, error) {
	answers, err := d.answers(ctx)
	if err != nil {
		return nil, err
	}
	plans, err := d.own.Plans(ctx)
	if err != nil {
		return nil, err
	}
	docs, err := d.ledger.Documents(ctx, fleet.Plan, "")
	if err != nil {
		return nil, err
	}
	for i := range docs {
		j, err := fleet.DecodePlan(&docs[i])
		if err != nil {
			d.hub.log.Warn("left out", "err", err)
			continue
		}
		plans = append(plans, fleet.PlanCopy{Site: docs[i].Site, Job: j})
	}
	gear, err := d.own.Gear(ctx)
	if err != nil {
		return nil, err
	}
	if docs, err = d.ledger.Documents(ctx, fleet.Gear, ""); err != nil {
		return nil, err
	}
	for i := range docs {
		c, err := fleet.DecodeGear(&docs[i])
		if err != nil {
			d.hub.log.Warn("left out", "err", err)
			continue
		}
		gear = append(gear, c)
	}
	all := append(fleet.MeetPlans(plans, answers), fleet.MeetGear(gear, answers)...)
	all = slices.DeleteFunc(all, func(m fleet.Meeting) bool { return m.Fork == 0 })
	slices.SortStableFunc(all, func(a, b fleet.Meeting) int {
		switch {
		case a.Open() == b.Open():
			return 0
		case a.Open():
			return -1
		}
		return 1
	})
	return all, nil
}

func (d *Desk) answers(ctx context.Context) (list []fleet.Answer, err error) {
	docs, err := d.ledger.Documents(ctx, fleet.Answered, "")
	for _, doc := range docs {
		var a fleet.Answer
		if doc.Site == fleet.Office && json.Unmarshal(doc.Body, &a) == nil {
			list = append(list, a)
		}
	}
	return list, err
}

// Answer notes a named person's word on copies that contradict each other, for
// all nodes of the hub. It is refused when the heads are not those that stand now:
// the person has seen something else.
func (d *Desk) Answer(ctx context.Context, a fleet.Answer) error {
	all, err := d.Meetings(ctx)
	if err != nil {
		return err
	}
	slices.Sort(a.Heads)
	i := slices.IndexFunc(all, func(m fleet.Meeting) bool { return m.Kind == a.Kind && m.ID == a.ID })
	switch {
	case i < 0:
		return fault.New(fault.Reference, "no copies of this contradict each other").In(a.ID).Fix("load the page of the sites again")
	case !slices.Equal(all[i].Heads, a.Heads):
		return fault.New(fault.Disagree, "it was changed meanwhile").In(a.ID).Fix("look at it again and answer what stands now")
	case !slices.Contains(a.Heads, a.Take):
		return fault.New(fault.Range, "what is to hold is none of the copies").In("take").Fix("give the checksum of one of them")
	case strings.TrimSpace(a.By) == "":
		return fault.New(fault.Missing, "nobody's name is given").In("who").Fix("write the name of who answers")
	case strings.TrimSpace(a.Why) == "":
		return fault.New(fault.Missing, "there is no reason").In("why").Fix("say in a few words why this copy holds")
	}
	body, err := json.Marshal(a)
	if err != nil {
		return err
	}
	m := nats.NewMsg(officePrefix + "doc." + string(fleet.Answered) + "." + token(string(a.Kind)+" "+a.ID))
	m.Data = body
	m.Header.Set(sentHeader, time.Now().UTC().Format(time.RFC3339Nano))
	ack, err := d.hub.js.PublishMsg(ctx, m)
	if err != nil {
		return fault.New(fault.Path, "the answer is not kept").Because(err).Fix("see that most of the hub's nodes run and reach each other; then answer again")
	}
	// It is kept; that this node shows it at once is a courtesy.
	for end := time.Now().Add(2 * time.Second); time.Now().Before(end); time.Sleep(gather) {
		if p, err := d.ledger.Place(ctx); err != nil || p.Sequence >= ack.Sequence {
			break
		}
	}
	return nil
}
