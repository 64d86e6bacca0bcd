package fleet

import (
	"encoding/hex"
	"encoding/json"
	"slices"
	"time"

	"plumbhook/fault"
	"plumbhook/job"
	"plumbhook/register"
)

// GearCopy is an item of gear with its history as it stands in one place.
type GearCopy struct {
	Site   string
	Item   register.Item
	Events []register.Event
}

type gearDoc struct {
	Item   json.RawMessage
	Events []eventDoc
}

type eventDoc struct {
	Version                     int
	Day                         register.Date
	By                          string
	At                          time.Time
	Name, Body, BodySum, SumHex string
}

// EncodeGear is the body of a document of gear.
func EncodeGear(it *register.Item, events []register.Event) ([]byte, error) {
	d := gearDoc{Item: it.Encode()}
	for i := range events {
		e := &events[i]
		d.Events = append(d.Events, eventDoc{e.Version, e.Day, e.By, e.At, e.Name, string(e.Body), hexOf(e.BodySum), hexOf(e.Sum)})
	}
	return json.Marshal(d)
}

// DecodeGear reads one, and holds the item against its history.
func DecodeGear(d *Document) (GearCopy, error) {
	var doc gearDoc
	if err := json.Unmarshal(d.Body, &doc); err != nil {
		return GearCopy{}, fault.New(fault.Syntax, "gear of %s cannot be read", d.Site).In(d.ID).Because(err)
	}
	c := GearCopy{Site: d.Site}
	for _, e := range doc.Events {
		x := register.Event{Serial: d.ID, Version: e.Version, Stamp: register.Stamp{Day: e.Day, By: e.By}, At: e.At, Name: e.Name}
		if e.Body != "" {
			x.Body = []byte(e.Body)
		}
		if !sum(&x.BodySum, e.BodySum) || !sum(&x.Sum, e.SumHex) {
			return c, fault.New(fault.Syntax, "gear of %s has a checksum that is none", d.Site).In(d.ID)
		}
		c.Events = append(c.Events, x)
	}
	var err error
	if c.Item, err = register.Replay(c.Events); err != nil {
		return c, err
	}
	if slices.ContainsFunc(c.Events, func(e register.Event) bool { return e.Body == nil }) {
		// What was destroyed does not add up any more; what it came to is kept.
		head, version := c.Item.Head, c.Item.Version
		c.Item, err = register.Decode(doc.Item)
		c.Item.Head, c.Item.Version = head, version
	}
	return c, err
}

func hexOf(sum [32]byte) string { return hex.EncodeToString(sum[:]) }

func sum(into *[32]byte, text string) bool {
	b, err := hex.DecodeString(text)
	return err == nil && copy(into[:], b) == len(into)
}

// mostDocument is the size a document may have on its way, bytes.
const mostDocument = 900 << 10

// EncodePlan is the body of a document of a plan. One that grows too large leaves
// the text of its oldest revisions out; their checksums stay.
func EncodePlan(j *job.Job) ([]byte, error) {
	doc := *j
	doc.Revisions = append([]job.Revision(nil), j.Revisions...)
	for i := range doc.Revisions {
		body, err := json.Marshal(doc)
		if err != nil || len(body) <= mostDocument {
			return body, err
		}
		doc.Revisions[i].Text = ""
	}
	return nil, fault.New(fault.TooLarge, "the plan is too large to be sent to the hub").In(j.ID)
}

// DecodePlan reads one. A text that is not what its checksum says is refused.
func DecodePlan(d *Document) (job.Job, error) {
	var j job.Job
	if err := json.Unmarshal(d.Body, &j); err != nil || len(j.Revisions) == 0 {
		return j, fault.New(fault.Syntax, "a plan of %s cannot be read", d.Site).In(d.ID).Because(err)
	}
	for i := range j.Revisions {
		if r := &j.Revisions[i]; r.Text != "" && job.Sum(r.Text) != r.SHA256 {
			return j, fault.New(fault.Disagree, "revision %d of a plan of %s is not what was written", r.N, d.Site).In(d.ID)
		}
	}
	return j, nil
}
