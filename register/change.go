package register

import (
	"reflect"

	"plumbhook/fault"
	"plumbhook/metrology"
)

// Change is something that happened to an item. What is to be written is
// checked first; what was written is applied as it is, so that a rule made
// stricter never breaks an old history.
type Change interface {
	check(it *Item, s Stamp) error
	apply(it *Item, s Stamp)
}

// Stamp says when and by whom. Day is the day it is about; the moment it was
// written down is the store's affair and stands in the Event.
type Stamp struct {
	Day Date
	By  string
}

// Entering puts a new item on the register, with all that is known of it.
type Entering struct{ Item Item }

// Describing replaces what is known of an item, its status and inspections
// apart. From says where the new words come from, such as the name of a file.
type Describing struct {
	Item Item
	From string
}

// Attaching adds files to the item itself, and the maker's certificate when
// they are one.
type Attaching struct {
	Certificate     string
	CertificateDate Date
	Files           []File
}

// Calibration records a calibration of a load cell.
type Calibration struct {
	On, Next    Date
	Certificate string
	Laboratory  string
	Files       []File
}

// Quarantine holds an item back.
type Quarantine struct{ Reason string }

// Release puts a quarantined item back into service.
type Release struct{ Reason string }

// Scrapping ends an item.
type Scrapping struct{ Reason string }

// Destruction remembers records of the same item that were destroyed: their
// checksums stay with their events.
type Destruction struct {
	Versions []int
	Rule     string // that let them go
}

// changes names each change in the register. A name once used stays.
var changes = []struct {
	name string
	zero Change
}{
	{"entered", Entering{}},
	{"described", Describing{}},
	{"attached", Attaching{}},
	{"examined", Examination{}},
	{"calibrated", Calibration{}},
	{"inspected", Inspection{}},
	{"quarantined", Quarantine{}},
	{"released", Release{}},
	{"scrapped", Scrapping{}},
	{"destroyed", Destruction{}},
	{"used", Using{}},
	{"quarantine confirmed", Confirming{}},
	{"quarantine refused", Refusing{}},
	{"zero checked", ZeroCheck{}},
	{"overridden", Overriding{}},
}

// nameOf gives the name of a change; empty for one that is not ours.
func nameOf(c Change) string {
	for _, k := range changes {
		if reflect.TypeOf(c) == reflect.TypeOf(k.zero) {
			return k.name
		}
	}
	return ""
}

// FilesOf lists what is attached to a change.
func FilesOf(c Change) []File {
	switch c := c.(type) {
	case Entering:
		return c.Item.Files
	case Attaching:
		return c.Files
	case Examination:
		return c.Files
	case Calibration:
		return c.Files
	}
	return nil
}

func (c Entering) check(it *Item, s Stamp) error {
	if it.Version > 0 {
		return fault.New(fault.Duplicate, "it is on the register already").In(it.Serial).Fix("one serial is one piece of gear; look at it with show")
	}
	return c.Item.Check(s.Day).Err()
}

func (c Entering) apply(it *Item, _ Stamp) { *it = c.Item.clone() }

func (c Describing) check(it *Item, s Stamp) error {
	if Key(c.Item.Serial) != Key(it.Serial) {
		return fault.New(fault.Disagree, "it is described as %s", c.Item.Serial).In(it.Serial).Fix("a serial stays with its piece of gear")
	}
	n := *it
	c.apply(&n, s)
	return n.Check(s.Day).Err()
}

func (c Describing) apply(it *Item, _ Stamp) {
	n := c.Item.clone()
	n.Status, n.Reason, n.StatusBy, n.StatusOn = it.Status, it.Reason, it.StatusBy, it.StatusOn
	n.Inspection, n.Files, n.Life = it.Inspection, it.Files, it.Life
	*it = n
}

func (c Attaching) check(it *Item, s Stamp) error {
	if len(c.Files) == 0 && c.Certificate == "" {
		return fault.New(fault.Missing, "nothing to attach").In(it.Serial).Fix("name a file or a certificate")
	}
	if c.Certificate == "" && c.CertificateDate != "" {
		return fault.New(fault.Missing, "a date without the certificate's number").In(it.Serial).Fix("give the number")
	}
	n := it.clone()
	c.apply(&n, s)
	return n.Check(s.Day).Err()
}

func (c Attaching) apply(it *Item, _ Stamp) {
	if c.Certificate != "" {
		it.Certificate, it.CertificateDate = c.Certificate, c.CertificateDate
	}
	it.Files = append(it.Files, c.Files...)
}

func (c Calibration) check(it *Item, s Stamp) error {
	switch {
	case c.On == "" || c.Next == "":
		return fault.New(fault.Missing, "a calibration needs its day and the day the next is due").In(it.Serial).Fix("take both off the certificate")
	case c.On > s.Day:
		return fault.New(fault.Range, "the calibration of %s lies after %s, the day of this entry", c.On, s.Day).In(it.Serial).Fix("look at the year")
	case c.Next <= c.On:
		return fault.New(fault.Range, "the next calibration, %s, is not after this one, %s", c.Next, c.On).In(it.Serial).Fix("look at both dates")
	}
	for _, t := range []string{c.Certificate, c.Laboratory} {
		if f := text(t, maxWord); f != nil {
			return f.In(it.Serial)
		}
	}
	return nil
}

// An older certificate entered late moves no date back.
func (c Calibration) apply(it *Item, _ Stamp) {
	if c.On >= it.Calibrated {
		it.Calibrated, it.CalibrateBy = c.On, c.Next
		it.Life.Override = nil
	}
	it.looked(c.On, true)
}

func (c Quarantine) check(it *Item, s Stamp) error {
	if it.Status == Quarantined {
		return fault.New(fault.Disagree, "it is quarantined already, since %s: %s", it.StatusOn, it.Reason).In(it.Serial)
	}
	return decided(it, c.Reason, s)
}

func (c Quarantine) apply(it *Item, s Stamp) { it.turn(Quarantined, c.Reason, s.By, s.Day) }

func (c Release) check(it *Item, s Stamp) error {
	if use, ok := it.Standing(s.Day); ok && use.Use == metrology.Out {
		return fault.New(fault.Disagree, "%s", use.Why).In(it.Serial).Fix("scrap it, or leave it where it is")
	}
	if it.Life.Proposed != "" {
		return fault.New(fault.Disagree, "a lift asks for its quarantine: %s", it.Life.Proposed).In(it.Serial).Fix("confirm or refuse that first")
	}
	if it.Status != Quarantined {
		return fault.New(fault.Disagree, "it is %s, not quarantined", it.Status).In(it.Serial).Fix("only what is held back can be released")
	}
	return decided(it, c.Reason, s)
}

func (c Release) apply(it *Item, s Stamp) { it.turn(InService, c.Reason, s.By, s.Day) }

func (c Scrapping) check(it *Item, s Stamp) error { return decided(it, c.Reason, s) }
func (c Scrapping) apply(it *Item, s Stamp)       { it.turn(Scrapped, c.Reason, s.By, s.Day) }

func (c Destruction) check(it *Item, _ Stamp) error {
	if len(c.Versions) == 0 || c.Rule == "" {
		return fault.New(fault.Missing, "no record, or no rule to destroy it by").In(it.Serial)
	}
	return nil
}

func (c Destruction) apply(*Item, Stamp) {}

// decided asks for the person and the reason behind a change of status.
func decided(it *Item, reason string, s Stamp) error {
	switch {
	case reason == "":
		return fault.New(fault.Missing, "no reason is given").In(it.Serial).Fix("say why in a few words")
	case s.By == "":
		return fault.New(fault.Missing, "nobody is named").In(it.Serial).Fix("say who decides it")
	}
	if f := text(reason, maxText); f != nil {
		return f.In("reason")
	}
	return nil
}

// turn changes the status. Whatever a lift asked for is answered by that.
func (it *Item) turn(to Status, reason, by string, on Date) {
	it.Life.Proposed, it.Life.ProposedOn = "", ""
	it.Status, it.Reason, it.StatusBy, it.StatusOn = to, reason, by, on
}
