package register

import (
	"fmt"
	"strings"

	"plumbhook/metrology"
)

// Severity grades a finding.
type Severity string

// Stop: do not use it that day. Caution: a competent person has to look.
// Note: worth knowing. NotAssessed: what would tell is not on record, which
// is not the same as being fit.
const (
	Stop        Severity = "stop"
	Caution     Severity = "caution"
	Note        Severity = "note"
	NotAssessed Severity = "not assessed"
)

// Finding is one thing to say about using an item on a day.
type Finding struct {
	Severity Severity
	Rule     string // stable name
	Source   string // clause and edition, or the register's own record
	Text     string
}

// soon is how many days ahead a due date is worth a word.
const soon = 30

const ownRecord = "gear register"

// Fitness tells what stands against using the item on a day, by what is on
// record now. A due date is the last day of use: the item is out of date from
// the day after.
func Fitness(it *Item, on Date) []Finding {
	var list []Finding
	say := func(s Severity, rule, source, format string, args ...any) {
		list = append(list, Finding{s, rule, source, fmt.Sprintf(format, args...)})
	}
	if it.Status != InService {
		say(Stop, "status", ownRecord, "it is %s%s: %s", it.Status, since(it.StatusOn, it.StatusBy), it.Reason)
	}
	if it.Life.Proposed != "" {
		say(Stop, "proposed", ownRecord, "held until somebody looks at it: %s", it.Life.Proposed)
	}
	use, cell := it.Standing(on)
	switch {
	case !cell:
	case use.Use == metrology.Out || use.Use == metrology.Held:
		say(Stop, "overload", ownRecord, "%s", use.Why)
	case use.Use == metrology.Overridden:
		say(Caution, "calibration", ownRecord, "%s: ± %.2g %% of the reading", use.Why, 100*it.Widening(on))
	}
	if it.Rating == nil {
		say(NotAssessed, "rating", ownRecord, "no rating is on record; read it off the tag")
	}

	dates := func(rule, source, what string, last, by Date) {
		switch {
		case by == "":
			say(NotAssessed, rule, source, "no day is on record by which the next %s is due", what)
		case by < on:
			say(Stop, rule, source, "its %s was due by %s, %s before the day of use", what, by, days(by.Until(on)))
		case by.Until(on) > -soon:
			say(Note, rule, source, "its %s is due by %s, %s", what, by, ahead(on, by))
		}
		if last > on {
			say(NotAssessed, rule, source, "the last %s on record, of %s, is after the day of use", what, last)
		}
	}
	dates("examination", "LOLER 1998 regulation 9(3)", "thorough examination", it.Examined, it.ExamineBy)
	if cell && use.Use != metrology.Overridden {
		dates("calibration", ownRecord, "calibration", it.Calibrated, it.CalibrateBy)
	}
	if it.MendBy != "" {
		source := "LOLER 1998 regulation 10(3)(b)"
		if it.MendBy < on {
			say(Stop, "defect", source, "%s: it had to be mended by %s", it.Mend, it.MendBy)
		} else {
			say(Caution, "defect", source, "%s: it has to be mended by %s", it.Mend, it.MendBy)
		}
	}

	switch i := it.Inspection; {
	case i == nil || i.On != on:
		say(Note, "inspection", "29 CFR 1910.184(d)", "no inspection before use is on record for %s", on)
	case i.Passed():
	default:
		say(Stop, "inspection", "29 CFR 1910.184(d)", "inspected by %s: %s", i.By, i.words())
	}
	if i := it.Inspection; i != nil && i.On < on && !i.Passed() {
		say(Stop, "inspection", "29 CFR 1910.184(d)", "the last inspection, by %s on %s, failed it: %s", i.By, i.On, i.words())
	}
	return list
}

// measures tells what has to be calibrated.
func (it *Item) measures() bool {
	return it.CalibrateBy != "" || it.Calibrated != "" || strings.Contains(strings.ToLower(it.Kind), "load cell")
}

func since(on Date, by string) string {
	s := ""
	if on != "" {
		s = " since " + string(on)
	}
	if by != "" {
		s += " by " + by
	}
	return s
}

func days(n int) string {
	if n == 1 {
		return "1 day"
	}
	return fmt.Sprintf("%d days", n)
}

// ahead words how far by lies from on.
func ahead(on, by Date) string {
	switch n := on.Until(by); {
	case n < 0:
		return days(-n) + " overdue"
	case n == 0:
		return "that same day"
	default:
		return "in " + days(n)
	}
}

// Duty is what falls due.
type Duty string

// The duties an item can have.
const (
	Examine   Duty = "thorough examination"
	Calibrate Duty = "calibration"
	MendIt    Duty = "defect to mend"
)

// Due is one thing that falls due for one item. By is empty when no day is on
// record: then it is due at once, to find out.
type Due struct {
	Serial, Kind, Location string
	Status                 Status
	Duty                   Duty
	By                     Date
}

// Days counts from a day to the due date; negative when overdue.
func (d *Due) Days(on Date) int { return on.Until(d.By) }

// When words the due date seen from a day.
func (d *Due) When(on Date) string {
	if d.By == "" {
		return "no date on record"
	}
	return ahead(on, d.By)
}

// Dues lists what falls due for an item up to a day; nothing once it is
// scrapped.
func (it *Item) Dues(until Date) []Due {
	if it.Status == Scrapped {
		return nil
	}
	var list []Due
	add := func(duty Duty, by Date) {
		if by <= until {
			list = append(list, Due{it.Serial, it.Kind, it.Location, it.Status, duty, by})
		}
	}
	add(Examine, it.ExamineBy)
	if it.measures() {
		add(Calibrate, it.CalibrateBy)
	}
	if it.MendBy != "" {
		add(MendIt, it.MendBy)
	}
	return list
}

// FirstDue is the earliest day on which something falls due; empty when one
// of the days is not on record. Scrapped gear has none: ok is false.
func (it *Item) FirstDue() (first Date, ok bool) {
	list := it.Dues(Date("9999-12-31"))
	for i, d := range list {
		if i == 0 || d.By < first {
			first = d.By
		}
	}
	return first, len(list) > 0
}
