package register

import (
	"bufio"
	"crypto/sha256"
	"fmt"
	"io"
	"strings"
	"unicode/utf8"
)

// WriteCalendar writes what is due as an iCalendar feed (RFC 5545): one
// all-day event for each thing due. What has no day on record stands on the
// day of the feed. An event keeps its UID for as long as the same duty of the
// same item is due on the same day.
func WriteCalendar(w io.Writer, dues []Due, on Date) error {
	b := bufio.NewWriter(w)
	line := func(format string, args ...any) { fold(b, fmt.Sprintf(format, args...)) }
	line("BEGIN:VCALENDAR")
	line("VERSION:2.0")
	line("PRODID:-//Plumbhook//gear register//EN")
	line("CALSCALE:GREGORIAN")
	for i := range dues {
		d := &dues[i]
		day := d.By
		if day == "" {
			day = on
		}
		id := sha256.Sum256(fmt.Appendf(nil, "%q %q %q", Key(d.Serial), d.Duty, d.By))
		line("BEGIN:VEVENT")
		line("UID:%x@plumbhook", id[:16])
		line("DTSTAMP:%sT000000Z", basic(on))
		line("DTSTART;VALUE=DATE:%s", basic(day))
		line("TRANSP:TRANSPARENT")
		line("SUMMARY:%s", escape(fmt.Sprintf("%s: %s %s", d.Duty, d.Kind, d.Serial)))
		if d.Location != "" {
			line("LOCATION:%s", escape(d.Location))
		}
		line("DESCRIPTION:%s", escape(fmt.Sprintf("%s; seen from %s: %s", d.Status, on, d.When(on))))
		line("END:VEVENT")
	}
	line("END:VCALENDAR")
	return b.Flush()
}

// basic is the form of a date without hyphens (section 3.3.4).
func basic(d Date) string { return strings.ReplaceAll(string(d), "-", "") }

// escape writes a text value (section 3.3.11).
func escape(s string) string {
	return strings.NewReplacer(`\`, `\\`, ";", `\;`, ",", `\,`, "\n", `\n`).Replace(s)
}

// fold ends a line with CRLF and breaks it after at most 75 octets, between
// characters; the rest follows after a blank (section 3.1).
func fold(b *bufio.Writer, s string) {
	room := 75
	for len(s) > room {
		cut := room
		for !utf8.RuneStart(s[cut]) {
			cut--
		}
		b.WriteString(s[:cut] + "\r\n ")
		s, room = s[cut:], 74
	}
	b.WriteString(s + "\r\n")
}
