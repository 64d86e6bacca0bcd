package register_test

import (
	"strings"
	"testing"

	"pgregory.net/rapid"

	"plumbhook/register"
)

func TestFitness(t *testing.T) {
	passed := register.Inspection{On: "2026-03-02", By: "rigger", Tag: register.Good, Latch: register.NotApplicable, Damage: register.Good}
	failed := passed
	failed.Tag, failed.Note = register.Bad, "painted over"
	for _, c := range []struct {
		name string
		with func(*register.Item)
		on   register.Date
		want []string // severity, rule, part of the text
	}{
		{"in date and inspected", func(it *register.Item) { it.Inspection = &passed }, "2026-03-02", nil},
		{"not inspected", func(*register.Item) {}, "2026-03-02", []string{"note inspection no inspection before use is on record for 2026-03-02"}},
		{"inspected the day before", func(it *register.Item) { it.Inspection = &passed }, "2026-03-03", []string{"note inspection no inspection before use is on record for 2026-03-03"}},
		{"soon due", func(it *register.Item) {}, "2026-06-13", []string{"note examination due by 2026-07-12, in 29 days", "note inspection "}},
		{"the last day", func(it *register.Item) {}, "2026-07-12", []string{"note examination due by 2026-07-12, that same day", "note inspection "}},
		{"the day after", func(it *register.Item) {}, "2026-07-13", []string{"stop examination due by 2026-07-12, 1 day before", "note inspection "}},
		{"no date", func(it *register.Item) { it.ExamineBy = "" }, "2026-03-02", []string{"not assessed examination no day is on record", "note inspection "}},
		{"examined after the day", func(it *register.Item) {}, "2026-01-11", []string{"not assessed examination is after the day of use", "note inspection "}},
		{"no rating", func(it *register.Item) { it.Rating = nil }, "2026-03-02", []string{"not assessed rating no rating", "note inspection "}},
		{"quarantined", func(it *register.Item) {
			it.Status, it.Reason, it.StatusBy, it.StatusOn = register.Quarantined, "bent pin", "rigger", "2026-02-01"
		}, "2026-03-02", []string{"stop status it is quarantined since 2026-02-01 by rigger: bent pin", "note inspection "}},
		{"scrapped", func(it *register.Item) { it.Status, it.Reason = register.Scrapped, "worn" }, "2026-03-02", []string{"stop status it is scrapped: worn", "note inspection "}},
		{"load cell without a calibration", func(it *register.Item) { it.Kind = "Load cell" }, "2026-03-02", []string{"not assessed calibration no day", "note inspection "}},
		{"load cell out of calibration", func(it *register.Item) {
			it.Kind, it.Calibrated, it.CalibrateBy = "load cell", "2025-01-01", "2026-01-01"
		}, "2026-03-02", []string{"stop calibration due by 2026-01-01, 60 days before", "note inspection "}},
		{"a defect to mend", func(it *register.Item) { it.Mend, it.MendBy = "pin: worn", "2026-03-02" }, "2026-03-02", []string{"caution defect pin: worn: it has to be mended", "note inspection "}},
		{"a defect not mended", func(it *register.Item) { it.Mend, it.MendBy = "pin: worn", "2026-03-01" }, "2026-03-02", []string{"stop defect pin: worn: it had to be mended", "note inspection "}},
		{"failed that day", func(it *register.Item) { it.Inspection = &failed }, "2026-03-02", []string{"stop inspection inspected by rigger: tag missing or not legible (painted over)"}},
		{"failed before", func(it *register.Item) { it.Inspection = &failed }, "2026-03-05", []string{"note inspection no inspection", "stop inspection the last inspection, by rigger on 2026-03-02, failed it"}},
	} {
		it := shackle(t)
		c.with(&it)
		findings := register.Fitness(&it, c.on)
		ok := len(findings) == len(c.want)
		for i := range min(len(findings), len(c.want)) {
			f := findings[i]
			prefix := string(f.Severity) + " " + f.Rule + " "
			ok = ok && strings.HasPrefix(c.want[i], prefix) && strings.Contains(f.Text, strings.TrimPrefix(c.want[i], prefix)) && f.Source != ""
		}
		if !ok {
			t.Errorf("%s: %+v\nwant %q", c.name, findings, c.want)
		}
	}
}

// TestOutOfDateIsDue: whatever makes an item unfit by its dates stands on the
// due list of that day, and a later day never makes an item fit by its dates.
func TestOutOfDateIsDue(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		day := func(name string) register.Date {
			if rapid.IntRange(0, 4).Draw(t, name+" known") == 0 {
				return ""
			}
			return register.Date("2026-01-01").AddDays(rapid.IntRange(0, 60).Draw(t, name))
		}
		it := shackle(t)
		it.Examined, it.ExamineBy, it.CalibrateBy, it.MendBy, it.Mend = "", day("examine"), day("calibrate"), day("mend"), "pin: worn"
		on := register.Date("2026-01-01").AddDays(rapid.IntRange(0, 60).Draw(t, "on"))
		stops := func(on register.Date) (n int) {
			for _, f := range register.Fitness(&it, on) {
				if f.Severity == register.Stop {
					n++
				}
			}
			return n
		}
		overdue := 0
		for _, d := range it.Dues(on) {
			if d.By != "" && d.By < on {
				overdue++
			}
			if (d.By != "" && d.Days(on) < 0) != strings.HasSuffix(d.When(on), "overdue") {
				t.Fatalf("%+v on %s is %s", d, on, d.When(on))
			}
		}
		if stops(on) != overdue || stops(on.AddDays(1)) < overdue {
			t.Fatalf("%d stops on %s, %d overdue, %d stops the day after", stops(on), on, overdue, stops(on.AddDays(1)))
		}
	})
}
