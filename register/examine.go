package register

import (
	"fmt"
	"strings"

	"plumbhook/fault"
	"plumbhook/quantity"
)

// Basis is why a thorough examination was made, by the paragraphs of
// regulation 9 of the Lifting Operations and Lifting Equipment Regulations
// 1998 (LOLER).
type Basis string

// The bases. A periodic one bounds the day of the next.
const (
	BeforeUse    Basis = "before first use"          // 9(1)
	Installed    Basis = "after installation"        // 9(2), after assembly at a new place too
	SixMonths    Basis = "within 6 months"           // 9(3)(a)(i): accessories, and whatever lifts persons
	TwelveMonths Basis = "within 12 months"          // 9(3)(a)(ii): other lifting equipment
	ByScheme     Basis = "examination scheme"        // 9(3)(a)(iii)
	Exceptional  Basis = "exceptional circumstances" // 9(3)(a)(iv)
)

// bases in the order of the regulation, with the months that bound the next.
var bases = []struct {
	basis  Basis
	months int
	clause string
}{
	{BeforeUse, 0, "LOLER 1998 regulation 9(1)"},
	{Installed, 0, "LOLER 1998 regulation 9(2)"},
	{SixMonths, 6, "LOLER 1998 regulation 9(3)(a)(i)"},
	{TwelveMonths, 12, "LOLER 1998 regulation 9(3)(a)(ii)"},
	{ByScheme, 0, "LOLER 1998 regulation 9(3)(a)(iii)"},
	{Exceptional, 0, "LOLER 1998 regulation 9(3)(a)(iv)"},
}

// Bases lists the words for a basis.
func Bases() string {
	var words []string
	for _, b := range bases {
		words = append(words, string(b.basis))
	}
	return strings.Join(words, ", ")
}

// Party is a person or firm with an address.
type Party struct{ Name, Address string }

// Examiner makes the report (Schedule 1 paragraph 9).
type Examiner struct {
	Party
	Qualifications string
	SelfEmployed   bool
	Employer       Party // unless self-employed
}

// Defect is a part found to have a defect which is or could become a danger
// to persons (Schedule 1 paragraph 8(a) to (c)).
type Defect struct {
	Part, What string
	Remedy     string // repair, renewal or alteration needed
	By         Date   // when it could become a danger; empty: it is one now
}

// Examination is the report of a thorough examination with the particulars
// that Schedule 1 of LOLER 1998 asks for, by paragraph. Paragraphs 1 to 8(c)
// were read in the text as made, the rest in transcriptions of it.
type Examination struct {
	Employer      Party            // 1: for whom it was made
	Premises      string           // 2: address where it was made
	Particulars   string           // 3: beyond serial and kind, what identifies the item
	Made          Date             // 3: date of manufacture, where known
	Last          Date             // 4
	SWL           *quantity.Rating // 5
	Configuration string           // 5: in which that SWL holds, where it depends on one
	Basis         Basis            // 6(a), 7(a)
	InstalledWell bool             // 6(b): installed correctly
	Safe          bool             // 6(b), 7(b): would be safe to operate
	Defects       []Defect         // 8(a) to (c)
	Next          Date             // 8(d): latest day of the next
	Tests         string           // 8(e): particulars of any test
	On            Date             // 8(f)
	Examiner      Examiner         // 9
	SignedBy      Party            // 10: who authenticates it for the examiner, if another
	Reported      Date             // 11
	Files         []File
}

// Check gives what is missing from the report and what disagrees, for an item
// entered on a day. Where of each fault is the key of the report.
func (x *Examination) Check(it *Item, on Date) fault.List {
	var list fault.List
	add := func(where string, f *fault.Fault) {
		if f != nil {
			list = append(list, f.In(where))
		}
	}
	for _, n := range []struct {
		where, s, paragraph string
		needed              bool
	}{
		{"employer.name", x.Employer.Name, "1", true},
		{"employer.address", x.Employer.Address, "1", true},
		{"premises", x.Premises, "2", true},
		{"particulars", x.Particulars, "3", false},
		{"configuration", x.Configuration, "5", false},
		{"basis", string(x.Basis), "6 and 7", true},
		{"next", string(x.Next), "8(d)", x.Safe},
		{"tests", x.Tests, "8(e)", false},
		{"on", string(x.On), "8(f)", true},
		{"examiner.name", x.Examiner.Name, "9", true},
		{"examiner.address", x.Examiner.Address, "9", true},
		{"examiner.qualifications", x.Examiner.Qualifications, "9", true},
		{"examiner.employer.name", x.Examiner.Employer.Name, "9", !x.Examiner.SelfEmployed},
		{"examiner.employer.address", x.Examiner.Employer.Address, "9", !x.Examiner.SelfEmployed},
		{"signed_by.name", x.SignedBy.Name, "10", x.SignedBy.Address != ""},
		{"signed_by.address", x.SignedBy.Address, "10", x.SignedBy.Name != ""},
		{"reported", string(x.Reported), "11", true},
	} {
		if n.s == "" && n.needed {
			add(n.where, fault.New(fault.Missing, "the report does not say").Fix("fill it in: LOLER 1998 Schedule 1 paragraph %s", n.paragraph))
		}
		add(n.where, text(n.s, maxText))
	}
	if x.SWL == nil {
		add("swl", fault.New(fault.Missing, "the report does not say").Fix("fill it in: LOLER 1998 Schedule 1 paragraph 5"))
	} else if it.Rating != nil && x.SWL.Force > it.Rating.Force*(1+sameRating) {
		add("swl", fault.New(fault.Disagree, "%s is more than the %s on record from the tag", x.SWL.Text, it.Rating.Text).
			Fix("read the tag again; an examination can lower a rating, not raise it"))
	}
	x.checkDays(it, on, add)
	danger := false
	for i, d := range x.Defects {
		where := fmt.Sprintf("defects[%d]", i+1)
		if d.Part == "" || d.What == "" || d.Remedy == "" {
			add(where, fault.New(fault.Missing, "a defect needs its part, what it is and what is to be done").Fix("fill them in: LOLER 1998 Schedule 1 paragraph 8"))
		}
		for _, s := range []string{d.Part, d.What, d.Remedy} {
			add(where, text(s, maxText))
		}
		if d.By != "" && d.By < x.On {
			add(where, fault.New(fault.Range, "it becomes a danger by %s, before the examination", d.By).Fix("write now for a danger that is there already"))
		}
		danger = danger || d.By == ""
	}
	switch {
	case x.Safe && danger:
		add("safe", fault.New(fault.Disagree, "the item has a defect that is a danger now, and would be safe to operate").Fix("one of both is wrong"))
	case !x.Safe && len(x.Defects) == 0:
		add("defects", fault.New(fault.Missing, "the item would not be safe to operate and no defect says why").Fix("describe it"))
	case x.Safe && x.Basis == Installed && !x.InstalledWell:
		add("installed_well", fault.New(fault.Disagree, "the item is safe to operate and not installed correctly").Fix("one of both is wrong"))
	}
	return list
}

// Two readings of one tag in different units differ by the units' rounding
// alone: 6.5 short ton is 5.897 t, to one part in ten thousand.
const sameRating = 1e-3

func (x *Examination) checkDays(it *Item, on Date, add func(string, *fault.Fault)) {
	if x.On == "" {
		return
	}
	if x.On > on {
		add("on", fault.New(fault.Range, "%s lies after %s, the day of this entry", x.On, on).Fix("look at the year"))
	}
	for _, b := range []struct {
		where, what string
		day         Date
	}{{"made", "the item was made", x.Made}, {"made", "the item was made", it.Made}, {"last", "the last examination was", x.Last}} {
		if b.day > x.On {
			add(b.where, fault.New(fault.Range, "%s on %s, after this examination", b.what, b.day).Fix("look at both dates"))
		}
	}
	if x.Reported != "" && x.Reported < x.On {
		add("reported", fault.New(fault.Range, "the report of %s is older than the examination", x.Reported).Fix("look at both dates"))
	}
	k := -1
	for i := range bases {
		if bases[i].basis == x.Basis {
			k = i
		}
	}
	switch {
	case x.Basis == "":
	case k < 0:
		add("basis", fault.New(fault.Syntax, "%q is no basis", string(x.Basis)).Fix("write one of: %s", Bases()))
	case x.Next == "":
	case x.Next <= x.On:
		add("next", fault.New(fault.Range, "the next examination, %s, is not after this one", x.Next).Fix("look at both dates"))
	case bases[k].months > 0 && x.Next > x.On.AddMonths(bases[k].months):
		add("next", fault.New(fault.Range, "%s is more than %d months after the examination", x.Next, bases[k].months).
			Fix("%s: no later than %s", bases[k].clause, x.On.AddMonths(bases[k].months)))
	}
}

func (x Examination) check(it *Item, s Stamp) error {
	return x.Check(it, s.Day).Err()
}

// apply moves the item's dates on, unless a later report is on record. Gear
// with a defect that is a danger now is held back; a defect that becomes one
// is remembered with its day (regulation 10(3)).
func (x Examination) apply(it *Item, s Stamp) {
	it.looked(x.On, false)
	if x.On < it.Examined {
		return
	}
	it.Examined, it.ExamineBy = x.On, x.Next
	if it.Made == "" {
		it.Made = x.Made
	}
	if it.Rating == nil || x.SWL.Force < it.Rating.Force*(1-sameRating) {
		it.Rating = x.SWL
	}
	it.Mend, it.MendBy = "", ""
	danger := ""
	if !x.Safe {
		danger = "not safe to operate"
	}
	for _, d := range x.Defects {
		what := d.Part + ": " + d.What
		switch {
		case d.By == "":
			danger = what
		case it.MendBy == "" || d.By < it.MendBy:
			it.Mend, it.MendBy = what, d.By
		}
	}
	if danger != "" && it.Status == InService {
		it.turn(Quarantined, "thorough examination: "+danger, s.By, x.On)
	}
}

// Tick is the answer to one question of the inspection before use.
type Tick string

// The answers. Not every piece has a latch.
const (
	Good          Tick = "good"
	Bad           Tick = "bad"
	NotApplicable Tick = "not applicable"
)

// Inspection is what a person looked at before use.
type Inspection struct {
	On     Date
	By     string
	Tag    Tick // the tag is there and can be read
	Latch  Tick // the latch closes and holds
	Damage Tick // good: none found
	Note   string
}

// Passed tells whether nothing was found bad.
func (i Inspection) Passed() bool { return i.Tag == Good && i.Latch != Bad && i.Damage == Good }

// words says what was found bad.
func (i Inspection) words() string {
	var bad []string
	for _, t := range []struct {
		tick Tick
		what string
	}{{i.Tag, "tag missing or not legible"}, {i.Latch, "latch does not close or hold"}, {i.Damage, "damage found"}} {
		if t.tick == Bad {
			bad = append(bad, t.what)
		}
	}
	s := strings.Join(bad, ", ")
	if i.Note != "" {
		s += " (" + i.Note + ")"
	}
	return s
}

func (i Inspection) check(it *Item, s Stamp) error {
	answered := func(t Tick) bool { return t == Good || t == Bad }
	switch {
	case i.By == "" || i.On == "":
		return fault.New(fault.Missing, "an inspection needs its day and who made it").In(it.Serial)
	case i.On > s.Day:
		return fault.New(fault.Range, "the inspection of %s lies after %s, the day of this entry", i.On, s.Day).In(it.Serial).Fix("look at the year")
	case !answered(i.Tag) || !answered(i.Damage) || !answered(i.Latch) && i.Latch != NotApplicable:
		return fault.New(fault.Missing, "not every tick is answered").In(it.Serial).Fix("tag and damage are good or bad; a piece without a latch says not applicable")
	}
	if f := text(i.Note, maxText); f != nil {
		return f.In("note")
	}
	return nil
}

// apply keeps the latest inspection. What fails it is taken out of service at
// once (29 CFR 1910.184(d); that clause's words from memory).
func (i Inspection) apply(it *Item, _ Stamp) {
	if it.Inspection != nil && i.On < it.Inspection.On {
		return
	}
	it.Inspection = &i
	if !i.Passed() && it.Status == InService {
		it.turn(Quarantined, "inspection before use: "+i.words(), i.By, i.On)
	}
}
