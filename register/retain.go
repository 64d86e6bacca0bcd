package register

import "slices"

// Retention names the rule under which a record need no longer be kept.
type Retention struct {
	Version int // of the event that may go
	Rule    string
}

// Overkept lists the records of one item that no rule keeps any longer on a
// day. The periods are those of LOLER 1998 regulation 11(2), read in the text
// as at 31 December 2020; where the regulation parts accessories from other
// equipment the longer period is taken, so that nothing goes too soon:
//
//   - a report before first use or after installation, until the item is
//     scrapped and two years have passed since the report;
//   - a periodic report, until there is a later one and two years have passed
//     since;
//   - an inspection, until there is a later one.
//
// What the item itself is, its certificates, calibrations and changes of
// status are kept.
func Overkept(it *Item, events []Event, on Date) ([]Retention, error) {
	type record struct {
		version  int
		on       Date
		periodic bool
		over     Date // of a report: the day from which on its two years have passed
	}
	var reports, inspections []record
	for i := range events {
		c, err := events[i].Change()
		if err != nil {
			return nil, err
		}
		switch c := c.(type) {
		case Examination:
			reports = append(reports, record{events[i].Version, c.On, c.periodic(), c.Reported.AddMonths(24).AddDays(1)})
		case Inspection:
			inspections = append(inspections, record{version: events[i].Version, on: c.On})
		}
	}
	var list []Retention
	for _, r := range reports {
		later := slices.ContainsFunc(reports, func(o record) bool { return o.periodic && o.on > r.on })
		switch {
		case on < r.over:
		case r.periodic && later:
			list = append(list, Retention{r.version, "LOLER 1998 regulation 11(2)(a)(iv): two years since the report, and a later one made"})
		case !r.periodic && it.Status == Scrapped:
			list = append(list, Retention{r.version, "LOLER 1998 regulation 11(2)(a)(i) to (iii): two years since the report, and the item scrapped"})
		}
	}
	for _, r := range inspections {
		if slices.ContainsFunc(inspections, func(o record) bool { return o.on > r.on || o.on == r.on && o.version > r.version }) {
			list = append(list, Retention{r.version, "LOLER 1998 regulation 11(2)(b): a later inspection made"})
		}
	}
	return list, nil
}

// periodic tells a report under regulation 9(3).
func (x *Examination) periodic() bool { return x.Basis != BeforeUse && x.Basis != Installed }
