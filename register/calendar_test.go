package register_test

import (
	"bytes"
	"regexp"
	"strings"
	"testing"
	"unicode/utf8"

	"pgregory.net/rapid"

	"plumbhook/register"
)

func TestCalendar(t *testing.T) {
	dues := []register.Due{
		{Serial: "KP-3", Kind: "hook", Status: register.Quarantined, Duty: register.Examine},
		{Serial: "KP-1", Kind: "bow shackle", Location: `Kestrel Point, cage 2; left\right`, Status: register.InService, Duty: register.Examine, By: "2026-02-01"},
	}
	var b bytes.Buffer
	if err := register.WriteCalendar(&b, dues, "2026-03-01"); err != nil {
		t.Fatal(err)
	}
	uid := regexp.MustCompile(`UID:[0-9a-f]{32}@plumbhook`)
	got := uid.ReplaceAllString(b.String(), "UID:one")
	want := strings.Join([]string{
		"BEGIN:VCALENDAR", "VERSION:2.0", "PRODID:-//Plumbhook//gear register//EN", "CALSCALE:GREGORIAN",
		"BEGIN:VEVENT", "UID:one", "DTSTAMP:20260301T000000Z", "DTSTART;VALUE=DATE:20260301", "TRANSP:TRANSPARENT",
		"SUMMARY:thorough examination: hook KP-3", "DESCRIPTION:quarantined\\; seen from 2026-03-01: no date on record", "END:VEVENT",
		"BEGIN:VEVENT", "UID:one", "DTSTAMP:20260301T000000Z", "DTSTART;VALUE=DATE:20260201", "TRANSP:TRANSPARENT",
		"SUMMARY:thorough examination: bow shackle KP-1", `LOCATION:Kestrel Point\, cage 2\; left\\right`,
		"DESCRIPTION:in service\\; seen from 2026-03-01: 28 days overdue", "END:VEVENT",
		"END:VCALENDAR", "",
	}, "\r\n")
	if got != want {
		t.Errorf("got\n%s\nwant\n%s", got, want)
	}
	ids := uid.FindAllString(b.String(), -1)
	if len(ids) != 2 || ids[0] == ids[1] {
		t.Errorf("UIDs %v", ids)
	}
	var next bytes.Buffer
	if err := register.WriteCalendar(&next, dues, "2026-03-02"); err != nil || uid.FindString(next.String()) != ids[0] {
		t.Errorf("the next day's feed has other UIDs: %v", err)
	}
}

// TestCalendarLines: no line is longer than RFC 5545 allows, none breaks a
// character, and unfolded the text is whole.
func TestCalendarLines(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		place := rapid.StringOfN(rapid.RuneFrom([]rune(`ab ,;\ÄÖ倉🏗`)), 1, 80, -1).Draw(t, "place")
		var b bytes.Buffer
		if err := register.WriteCalendar(&b, []register.Due{{Serial: "S", Kind: "k", Location: place, Duty: register.Calibrate, By: "2026-02-01"}}, "2026-03-01"); err != nil {
			t.Fatal(err)
		}
		lines := strings.Split(strings.TrimSuffix(b.String(), "\r\n"), "\r\n")
		for _, l := range lines {
			if len(l) > 75 || !utf8.ValidString(l) || strings.ContainsAny(l, "\r\n") {
				t.Fatalf("%d octets: %q", len(l), l)
			}
		}
		unfolded := strings.ReplaceAll(b.String(), "\r\n ", "")
		_, rest, _ := strings.Cut(unfolded, "LOCATION:")
		value, _, _ := strings.Cut(rest, "\r\n")
		if got := strings.NewReplacer(`\\`, `\`, `\,`, ",", `\;`, ";").Replace(value); got != place {
			t.Fatalf("place %q reads %q", place, got)
		}
	})
}
