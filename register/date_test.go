package register_test

import (
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"plumbhook/fault"
	"plumbhook/register"
)

func TestParseDate(t *testing.T) {
	for _, c := range []struct {
		in   string
		want register.Date
		code fault.Code
		says string
	}{
		{"2026-04-03", "2026-04-03", "", ""},
		{" 2026-04-03 ", "2026-04-03", "", ""},
		{"2024-02-29", "2024-02-29", "", ""},
		{"2026-02-29", "", fault.Range, "no day"},
		{"2026-13-01", "", fault.Range, "no day"},
		{"0206-04-03", "", fault.Range, "year"},
		{"03/04/2026", "", fault.Ambiguous, "2026-04-03 or 2026-03-04"},
		{"3.4.2026", "", fault.Ambiguous, "2026-04-03 or 2026-03-04"},
		{"03-04-2026", "", fault.Ambiguous, "2026-04-03 or 2026-03-04"},
		{"04/04/2026", "", fault.Syntax, "write 2026-04-04"},
		{"13/04/2026", "", fault.Syntax, "write 2026-04-13"},
		{"04/13/2026", "", fault.Syntax, "write 2026-04-13"},
		{"31/04/2026", "", fault.Syntax, "write it as"},
		{"03/04/26", "", fault.Syntax, "write it as"},
		{"2026/04/03", "", fault.Syntax, "write it as"},
		{"20260403", "", fault.Syntax, "write it as"},
		{"46115", "", fault.Syntax, "write it as"}, // a spreadsheet's count of days
		{"3 April 2026", "", fault.Syntax, "write it as"},
		{"2026-04-03T00:00:00Z", "", fault.Syntax, "write it as"},
		{"2026-4-3", "", fault.Syntax, "write it as"},
		{"", "", fault.Syntax, "write it as"},
		{"a/b/2026", "", fault.Syntax, "write it as"},
	} {
		got, err := register.ParseDate(c.in)
		if got != c.want || code(err) != c.code || err != nil && !strings.Contains(err.Error(), c.says) {
			t.Errorf("ParseDate(%q) = %q, %v; want %q, %s %s", c.in, got, err, c.want, c.code, c.says)
		}
	}
}

func TestAddMonths(t *testing.T) {
	for _, c := range []struct {
		from register.Date
		n    int
		want register.Date
	}{
		{"2026-01-12", 6, "2026-07-12"},
		{"2025-08-31", 6, "2026-02-28"},
		{"2023-08-31", 6, "2024-02-29"},
		{"2024-02-29", 12, "2025-02-28"},
		{"2026-12-31", 2, "2027-02-28"},
		{"2026-01-31", -2, "2025-11-30"},
	} {
		if got := c.from.AddMonths(c.n); got != c.want {
			t.Errorf("%s and %d months is %s, want %s", c.from, c.n, got, c.want)
		}
	}
}

// TestDates: dates sort as days do, counting there and back agrees, and
// reading gives back what was written.
func TestDates(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		day := func(name string) register.Date {
			return register.DateOf(time.Date(1900, 1, 1+rapid.IntRange(0, 109_000).Draw(t, name), 0, 0, 0, 0, time.UTC))
		}
		a, b := day("a"), day("b")
		n := a.Until(b)
		if (a < b) != (n > 0) || a.AddDays(n) != b || b.Until(a) != -n {
			t.Fatalf("%s to %s is %d days", a, b, n)
		}
		if again, err := register.ParseDate(string(a)); again != a || err != nil {
			t.Fatalf("%s read is %s, %v", a, again, err)
		}
		m := rapid.IntRange(0, 60).Draw(t, "months")
		if c := a.AddMonths(m); c < a || a.Until(c) > 31*m {
			t.Fatalf("%s and %d months is %s", a, m, c)
		}
	})
}
