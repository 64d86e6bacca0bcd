package register_test

import (
	"strconv"
	"strings"
	"testing"

	"plumbhook/fault"
	"plumbhook/register"
)

// full is a report with all that is asked for, of an accessory.
func full(t fatal) register.Examination {
	t.Helper()
	firm := register.Party{Name: "Kestrel Point Waterworks", Address: "1 Weir Lane, Kestrel Point"}
	return register.Examination{
		Employer: firm, Premises: firm.Address, SWL: rated(t, "6.5 short ton"), Last: "2026-01-12", Basis: register.SixMonths, Safe: true,
		On: "2026-03-01", Next: "2026-09-01", Reported: "2026-03-02",
		Examiner: register.Examiner{Party: firm, Qualifications: "lifting equipment examiner", Employer: firm},
	}
}

// TestSchedule1 takes away each particular that the schedule asks for.
func TestSchedule1(t *testing.T) {
	it := shackle(t)
	x := full(t)
	if l := x.Check(&it, "2026-03-02"); len(l) > 0 {
		t.Fatal(l)
	}
	clear := map[string]func(*register.Examination){
		"employer.name": func(x *register.Examination) { x.Employer.Name = "" }, "employer.address": func(x *register.Examination) { x.Employer.Address = "" },
		"premises": func(x *register.Examination) { x.Premises = "" }, "swl": func(x *register.Examination) { x.SWL = nil },
		"basis": func(x *register.Examination) { x.Basis = "" }, "next": func(x *register.Examination) { x.Next = "" },
		"on": func(x *register.Examination) { x.On = "" }, "examiner.name": func(x *register.Examination) { x.Examiner.Name = "" },
		"examiner.address":          func(x *register.Examination) { x.Examiner.Address = "" },
		"examiner.qualifications":   func(x *register.Examination) { x.Examiner.Qualifications = "" },
		"examiner.employer.name":    func(x *register.Examination) { x.Examiner.Employer.Name = "" },
		"examiner.employer.address": func(x *register.Examination) { x.Examiner.Employer.Address = "" },
		"reported":                  func(x *register.Examination) { x.Reported = "" },
	}
	rows := facts(t, "schedule1.csv")
	if len(rows) != len(clear) {
		t.Errorf("%d particulars are asked for, %d tested", len(rows), len(clear))
	}
	for _, row := range rows {
		x := full(t)
		clear[row["key"]](&x)
		l := x.Check(&it, "2026-03-02")
		if len(l) != 1 || l[0].Where != row["key"] || l[0].Code != fault.Missing || !strings.HasSuffix(l[0].Do, "paragraph "+row["paragraph"]) {
			t.Errorf("without %s: %v", row["asks for"], l)
		}
	}
}

func TestExaminationCheck(t *testing.T) {
	for _, c := range []struct {
		name  string
		with  func(*register.Examination)
		where string // of the only fault; empty for none
	}{
		{"twelve months", func(x *register.Examination) { x.Basis, x.Next = register.TwelveMonths, "2027-03-01" }, ""},
		{"beyond twelve", func(x *register.Examination) { x.Basis, x.Next = register.TwelveMonths, "2027-03-02" }, "next"},
		{"beyond six", func(x *register.Examination) { x.Next = "2026-09-02" }, "next"},
		{"a scheme of its own", func(x *register.Examination) { x.Basis, x.Next = register.ByScheme, "2030-01-01" }, ""},
		{"next before this", func(x *register.Examination) { x.Next = "2026-03-01" }, "next"},
		{"in the future", func(x *register.Examination) { x.On, x.Reported, x.Next = "2026-03-04", "2026-03-04", "2026-09-04" }, "on"},
		{"reported before", func(x *register.Examination) { x.Reported = "2026-02-28" }, "reported"},
		{"made after", func(x *register.Examination) { x.Made = "2026-03-02" }, "made"},
		{"last after", func(x *register.Examination) { x.Last = "2026-03-02" }, "last"},
		{"more than the tag", func(x *register.Examination) { x.SWL = rated(t, "6.6 short ton") }, "swl"},
		{"the tag in other units", func(x *register.Examination) { x.SWL = rated(t, "5.897 t") }, ""},
		{"less than the tag", func(x *register.Examination) { x.SWL = rated(t, "3 t") }, ""},
		{"self-employed", func(x *register.Examination) { x.Examiner.Employer, x.Examiner.SelfEmployed = register.Party{}, true }, ""},
		{"signed by a name without an address", func(x *register.Examination) { x.SignedBy.Name = "B. Clerk" }, "signed_by.address"},
		{"not a basis", func(x *register.Examination) { x.Basis = "monthly" }, "basis"},
		{"installed, not well", func(x *register.Examination) { x.Basis = register.Installed }, "installed_well"},
		{"unsafe, and nobody says why", func(x *register.Examination) { x.Safe = false }, "defects"},
		{"unsafe with a reason, no next", func(x *register.Examination) {
			x.Safe, x.Next, x.Defects = false, "", []register.Defect{{Part: "pin", What: "bent", Remedy: "replace"}}
		}, ""},
		{"safe with a danger", func(x *register.Examination) {
			x.Defects = []register.Defect{{Part: "pin", What: "bent", Remedy: "replace"}}
		}, "safe"},
		{"a defect half described", func(x *register.Examination) {
			x.Defects = []register.Defect{{Part: "pin", What: "worn", By: "2026-05-01"}}
		}, "defects[1]"},
		{"a danger before the examination", func(x *register.Examination) {
			x.Defects = []register.Defect{{Part: "pin", What: "worn", Remedy: "replace", By: "2026-02-01"}}
		}, "defects[1]"},
		{"text with a line break", func(x *register.Examination) { x.Tests = "none\nat all" }, "tests"},
	} {
		it := shackle(t)
		x := full(t)
		c.with(&x)
		l := x.Check(&it, "2026-03-03")
		if len(l) > 1 || (len(l) == 1) != (c.where != "") || len(l) == 1 && l[0].Where != c.where {
			t.Errorf("%s: %v", c.name, l)
		}
	}
}

func TestExaminationTakesEffect(t *testing.T) {
	for _, c := range []struct {
		name string
		with func(*register.Examination)
		want string // examined, examine by, rating, status, mend by
	}{
		{"all well", func(*register.Examination) {}, "2026-03-01 2026-09-01 6.5 short ton in service "},
		{"an older report entered late", func(x *register.Examination) { x.On, x.Next, x.Last = "2025-12-01", "2026-06-01", "" }, "2026-01-12 2026-07-12 6.5 short ton in service "},
		{"rated down", func(x *register.Examination) { x.SWL = rated(t, "3 t") }, "2026-03-01 2026-09-01 3 t in service "},
		{"a danger", func(x *register.Examination) {
			x.Safe, x.Defects = false, []register.Defect{{Part: "pin", What: "bent", Remedy: "replace"}}
		}, "2026-03-01 2026-09-01 6.5 short ton quarantined "},
		{"defects to mend", func(x *register.Examination) {
			x.Defects = []register.Defect{{Part: "bow", What: "nick", Remedy: "dress", By: "2026-06-01"}, {Part: "pin", What: "worn", Remedy: "replace", By: "2026-05-01"}}
		}, "2026-03-01 2026-09-01 6.5 short ton in service 2026-05-01"},
	} {
		x := full(t)
		c.with(&x)
		it := then(t, entered(t, shackle(t)), x, stamp)
		if got := strings.Join([]string{string(it.Examined), string(it.ExamineBy), it.Rating.Text, string(it.Status), string(it.MendBy)}, " "); got != c.want {
			t.Errorf("%s: %s, want %s", c.name, got, c.want)
		}
	}
}

// TestLOLER holds the intervals and the times of keeping against the
// regulations.
func TestLOLER(t *testing.T) {
	for _, row := range facts(t, "loler.csv") {
		months, err := strconv.Atoi(row["value"])
		must(t, months, err)
		last := register.Date("2026-03-01").AddMonths(months)
		switch row["clause"] {
		case "9(3)(a)(i)", "9(3)(a)(ii)":
			it, x := shackle(t), full(t)
			x.Basis = map[string]register.Basis{"9(3)(a)(i)": register.SixMonths, "9(3)(a)(ii)": register.TwelveMonths}[row["clause"]]
			for _, c := range []struct {
				next register.Date
				ok   bool
			}{{last, true}, {last.AddDays(1), false}} {
				x.Next = c.next
				if l := x.Check(&it, "2026-03-02"); (len(l) == 0) != c.ok {
					t.Errorf("%s, next %s: %v", row["clause"], c.next, l)
				}
			}
		case "11(2)(a)(ii)", "11(2)(a)(iv)":
			x := full(t)
			x.Reported = "2026-03-01"
			first := row["clause"] == "11(2)(a)(ii)"
			if first {
				x.Basis = register.BeforeUse
			}
			h := &history{t: t}
			h.do(register.Entering{Item: shackle(t)})
			h.do(x)
			kept := func(on register.Date) bool { return len(h.overkept(on)) == 0 }
			if !kept(last.AddDays(1)) {
				t.Errorf("%s: gone while in use, or with no later report", row["clause"])
			}
			if first {
				h.do(register.Scrapping{Reason: "worn"})
			} else {
				x.On, x.Reported, x.Next = "2026-08-01", "2026-08-01", "2027-02-01"
				h.do(x)
			}
			if !kept(last) || kept(last.AddDays(1)) {
				t.Errorf("%s: kept on %s %v, the day after %v", row["clause"], last, kept(last), kept(last.AddDays(1)))
			}
		default:
			t.Errorf("nothing tests clause %s", row["clause"])
		}
	}
}

// history grows event by event.
type history struct {
	t      *testing.T
	item   register.Item
	events []register.Event
}

func (h *history) do(c register.Change) {
	h.t.Helper()
	e, err := h.item.Next(c, register.Stamp{Day: "2026-12-01", By: "store keeper"}, moment)
	must(h.t, e, err)
	h.item = e.Item
	h.events = append(h.events, e.Event)
}

func (h *history) overkept(on register.Date) []int {
	h.t.Helper()
	list, err := register.Overkept(&h.item, h.events, on)
	must(h.t, list, err)
	var versions []int
	for _, r := range list {
		versions = append(versions, r.Version)
	}
	return versions
}

func TestOverkeptInspections(t *testing.T) {
	h := &history{t: t}
	h.do(register.Entering{Item: shackle(t)})
	for _, day := range []register.Date{"2026-03-01", "2026-03-05", "2026-03-03", "2026-03-05"} { // the third entered late
		h.do(register.Inspection{On: day, By: "rigger", Tag: register.Good, Latch: register.Good, Damage: register.Good})
	}
	if got := h.overkept("2026-03-06"); len(got) != 3 || got[0] != 2 || got[1] != 3 || got[2] != 4 {
		t.Errorf("records %v may go, want all but the latest of the latest day, 5", got)
	}
	h.events[1].Body = nil // destroyed
	if got := h.overkept("2026-03-06"); len(got) != 2 {
		t.Errorf("records %v may go after one is gone", got)
	}
}
