package register

import (
	"fmt"
	"strconv"
	"strings"
	"time"

	"plumbhook/fault"
)

// Date is a calendar day as ISO 8601 writes it, 2026-04-03; empty when not
// known. Known dates are ordered by <.
type Date string

// Gear in use was made, and falls due, within these years: outside them a
// digit is wrong.
const firstYear, lastYear = 1900, 2199

// ParseDate reads a day in ISO 8601 form and no other: 03/04/2026 is April to
// one reader and March to the next.
func ParseDate(s string) (Date, error) {
	s = strings.TrimSpace(s)
	t, err := time.Parse(time.DateOnly, s)
	switch {
	case err == nil && (t.Year() < firstYear || t.Year() > lastYear):
		return "", fault.New(fault.Range, "the year of %s cannot be right", s).Fix("write a year from %d to %d", firstYear, lastYear)
	case err == nil:
		return Date(s), nil
	case isoShape(s):
		return "", fault.New(fault.Range, "there is no day %s", s).Fix("look at the month and the day")
	}
	return "", refuseDate(s)
}

func isoShape(s string) bool {
	return len(s) == len(time.DateOnly) && strings.Map(func(r rune) rune {
		if '0' <= r && r <= '9' {
			return '0'
		}
		return r
	}, s) == "0000-00-00"
}

// refuseDate says how s could be meant, if it looks like a day with the year
// last.
func refuseDate(s string) *fault.Fault {
	parts := strings.FieldsFunc(s, func(r rune) bool { return strings.ContainsRune("/.-", r) })
	if len(parts) == 3 && len(parts[2]) == 4 {
		var n [3]int
		for i, p := range parts {
			v, err := strconv.Atoi(p)
			if err != nil {
				return fault.New(fault.Syntax, "%q is not a date", s).Fix("write it as 2026-04-03: year, month, day")
			}
			n[i] = v
		}
		iso := func(month, day int) string {
			d, err := ParseDate(fmt.Sprintf("%04d-%02d-%02d", n[2], month, day))
			if err != nil {
				return ""
			}
			return string(d)
		}
		dayFirst, monthFirst := iso(n[1], n[0]), iso(n[0], n[1])
		switch {
		case dayFirst != "" && monthFirst != "" && dayFirst != monthFirst:
			return fault.New(fault.Ambiguous, "%s can mean %s or %s", s, dayFirst, monthFirst).Fix("write the one that is meant, year first")
		case dayFirst+monthFirst != "":
			return fault.New(fault.Syntax, "%s is not written year first", s).Fix("write %s", max(dayFirst, monthFirst))
		}
	}
	return fault.New(fault.Syntax, "%q is not a date", s).Fix("write it as 2026-04-03: year, month, day")
}

// DateOf gives the day of t in t's own zone.
func DateOf(t time.Time) Date { return Date(t.Format(time.DateOnly)) }

// UnmarshalText reads a date as ParseDate does; empty text is an unknown one.
func (d *Date) UnmarshalText(text []byte) (err error) {
	*d = ""
	if len(text) > 0 {
		*d, err = ParseDate(string(text))
	}
	return err
}

func (d Date) time() time.Time {
	t, err := time.Parse(time.DateOnly, string(d))
	if err != nil {
		panic("register: arithmetic on the date " + strconv.Quote(string(d)))
	}
	return t
}

// AddDays gives the day n days on.
func (d Date) AddDays(n int) Date { return DateOf(d.time().AddDate(0, 0, n)) }

// AddMonths gives the day of the same number n months on, or the last of that
// month when it is shorter: 31 August and six months is the end of February.
func (d Date) AddMonths(n int) Date {
	t := d.time()
	first := time.Date(t.Year(), t.Month()+time.Month(n), 1, 0, 0, 0, 0, time.UTC)
	return DateOf(first.AddDate(0, 0, min(t.Day(), first.AddDate(0, 1, -1).Day())-1))
}

// Until counts the days from d to e; negative when e is past.
func (d Date) Until(e Date) int { return int((e.time().Unix() - d.time().Unix()) / (24 * 60 * 60)) }
