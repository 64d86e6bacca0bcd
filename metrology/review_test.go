package metrology_test

import (
	"fmt"
	"math"
	"strings"
	"testing"
	"time"

	"plumbhook/fault"
	"plumbhook/internal/testkit"
	"plumbhook/metrology"
)

// certificateText writes a file of a cell of sensitivity s, mV/V at 100 kN, found so
// and left with another if that is not zero.
func certificateText(date string, s, left float64) string {
	runs := func(key string, s float64) string {
		var b strings.Builder
		b.WriteString(key + ":\n")
		for r, wobble := range []float64{1, -1, 0, 0} {
			fmt.Fprintf(&b, "  - {position: %d deg, points: [[0 kN, 0.0001 mV/V]", 120*(r%3))
			for f := 10.0; f <= 100; f += 10 {
				fmt.Fprintf(&b, ", [%g kN, %.7f mV/V]", f, 0.0001+s*f/100+wobble*2e-5)
			}
			b.WriteString(", [50 kN, " + fmt.Sprintf("%.7f", 0.0001+s/2+0.0004) + " mV/V], [0 kN, 0.00015 mV/V]]}\n")
		}
		return b.String()
	}
	text := "plumbhook-certificate: 1\nserial: KP-LC-09\ndate: " + date + "\ncapacity: 100 kN\nsafe_overload: 150 kN\nsignal: mV/V\n" +
		"degree: 1\nresolution: 0.00001 mV/V\nforce_uncertainty: 0.02 %\nmachine: dead weights\n"
	if left == 0 {
		return text + runs("runs", s)
	}
	return text + runs("found", s) + runs("left", left)
}

func certificateFile(t *testing.T, date string, s, left float64) *metrology.CertificateFile {
	t.Helper()
	c, err := metrology.ReadCertificate("c.yaml", []byte(certificateText(date, s, left)))
	if err != nil {
		t.Fatal(err)
	}
	return c
}

// A cell that gains 0.06 % in a year, then 0.09 % in half a year and is set back.
func TestReview(t *testing.T) {
	files := []*metrology.CertificateFile{
		certificateFile(t, "2026-01-01", 2*1.0006*1.0009, 2),
		certificateFile(t, "2024-07-01", 2, 0),
		certificateFile(t, "2025-07-01", 2*1.0006, 0),
	}
	const day = 24 * time.Hour
	r, err := metrology.ReviewCertificates(files, 0.002, 800*day)
	if err != nil {
		t.Fatal(err)
	}
	if len(r.Drifts) != 2 || r.Adjusted == nil || r.Files[0].Date.Year() != 2024 {
		t.Fatalf("%+v", r)
	}
	for i, want := range []float64{0.0006, 0.0009} {
		testkit.Near(t, "drift", r.Drifts[i].Largest, want, testkit.Tol{Abs: 1e-7})
	}
	// The worst rate, 0.09 % in 184 days, uses up 0.2 % in 408.
	perYear := 0.0009 / 184 * 365.2425
	testkit.Near(t, "rate", r.Proposal.PerYear, perYear, testkit.Tol{Rel: 1e-4})
	if got := r.Proposal.Interval; got != 408*day || r.Proposal.Capped {
		t.Errorf("interval of %v", got)
	}
	if want := files[0].Date.Add(408 * day); !r.Due.Equal(want) {
		t.Errorf("due on %v, want %v", r.Due, want)
	}
	for _, s := range r.Adjusted {
		testkit.Near(t, "adjusted", s.Share, 1/(1.0006*1.0009)-1, testkit.Tol{Abs: 1e-6})
	}
	// On the day of use the drift since is in the uncertainty.
	on := r.Files[2].Date.Add(100 * day)
	drift := 80e3 * perYear * 100 / 365.2425 / math.Sqrt(3)
	testkit.Near(t, "u", r.At(80e3, on).Budget.U(), math.Hypot(r.At(80e3, r.Files[2].Date).Budget.U(), drift), testkit.Tol{Rel: 1e-4})
	if len(r.Missing) > 0 || len(r.Points) != 10 {
		t.Errorf("%v, %d points", r.Missing, len(r.Points))
	}
	// A stated due date that comes first stands.
	files[0].Due = files[0].Date.Add(200 * day)
	if r, err = metrology.ReviewCertificates(files, 0.002, 800*day); err != nil || !r.Due.Equal(files[0].Due) {
		t.Errorf("due on %v, %v", r.Due, err)
	}
	if r, err = metrology.ReviewCertificates(files[:1], 0.002, 800*day); err != nil || r.Proposal != nil || len(r.Drifts) != 0 {
		t.Errorf("one certificate: %+v, %v", r, err)
	}
	files[1].Serial = "KP-LC-10"
	_, err = metrology.ReviewCertificates(files, 0.002, 800*day)
	refused(t, "two cells", err, fault.Disagree)
	_, err = metrology.ReviewCertificates(nil, 0.002, 800*day)
	refused(t, "nothing", err, fault.Missing)
}

func TestReadCertificateRefuses(t *testing.T) {
	good := certificateText("2026-01-01", 2, 0)
	for _, c := range []struct {
		old, new string
		code     fault.Code
		at       string
	}{
		{"capacity: 100 kN", "capacity: 100", fault.NoUnit, "c.yaml:4:11"},
		{"capacity: 100 kN", "capacity: 10 ton", fault.Ambiguous, "c.yaml:4:14"},
		{"safe_overload: 150 kN", "safe_overload: 50 kN", fault.Range, "c.yaml:5:16"},
		{"signal: mV/V", "signal: volts", fault.Range, "c.yaml:6:9"},
		{"0.02 %", "0.02", fault.Range, "c.yaml:9:20"},
		{"date: 2026-01-01", "date: 1/1/2026", fault.Syntax, "c.yaml:3:7"},
		{"date: 2026-01-01", "date: 2026-01-01\ndue: 2025-01-01", fault.Range, "c.yaml:4:6"},
		{"runs:", "found:", fault.Missing, "c.yaml:1:1"},
		{"[10 kN, 0.2001200 mV/V]", "[10 kN, 0.2]", fault.NoUnit, "c.yaml:12:"},
		{"[10 kN, 0.2001200 mV/V]", "[10 kN, 0.2 V]", fault.BadUnit, "c.yaml:12:"},
		{"[10 kN, 0.2001200 mV/V]", "10 kN", fault.Type, "c.yaml:12:"},
		{"serial: KP-LC-09", "seriel: KP-LC-09", fault.UnknownKey, "c.yaml:2:9"},
	} {
		text := strings.Replace(good, c.old, c.new, 1)
		if text == good {
			t.Fatalf("nothing to replace: %s", c.old)
		}
		_, err := metrology.ReadCertificate("c.yaml", []byte(text))
		found := false
		for _, f := range fault.Of(err) {
			found = found || f.Code == c.code && strings.HasPrefix(f.Pos.String(), c.at) && f.Do != ""
		}
		if !found {
			t.Errorf("%s: %v, want %s at %s with a remedy", c.new, err, c.code, c.at)
		}
	}
}

func TestParseSignal(t *testing.T) {
	if v, err := metrology.ParseSignal("-1.5e-3 mV/V", "mV/V"); err != nil || v != -0.0015 {
		t.Error(v, err)
	}
	for s, code := range map[string]fault.Code{"1.5": fault.NoUnit, "1.5 kN": fault.BadUnit, "mV/V": fault.NoUnit, "1e999 mV/V": fault.Range, "1,5 mV/V": fault.BadUnit} {
		_, err := metrology.ParseSignal(s, "mV/V")
		refused(t, s, err, code)
	}
}

func TestStanding(t *testing.T) {
	on := time.Date(2026, 11, 20, 0, 0, 0, 0, time.UTC)
	word := &metrology.Override{By: "R. Quill", Why: "no other cell before the tide"}
	past, today := on.AddDate(0, 0, -1), on
	for _, c := range []struct {
		what string
		w    metrology.Wear
		want metrology.Use
	}{
		{"nothing known", metrology.Wear{On: on, Capacity: 100}, metrology.Usable},
		{"due today", metrology.Wear{On: on, Capacity: 100, Due: today}, metrology.Usable},
		{"due yesterday", metrology.Wear{On: on, Capacity: 100, Due: past}, metrology.OutOfDate},
		{"with a name and a reason", metrology.Wear{On: on, Capacity: 100, Due: past, Override: word}, metrology.Overridden},
		{"a name without a reason", metrology.Wear{On: on, Capacity: 100, Due: past, Override: &metrology.Override{By: "R. Quill"}}, metrology.OutOfDate},
		{"at capacity", metrology.Wear{On: on, Capacity: 100, Peak: 100}, metrology.Usable},
		{"past it", metrology.Wear{On: on, Capacity: 100, Peak: 101, SafeOverload: 150}, metrology.Held},
		{"past it, with a name", metrology.Wear{On: on, Capacity: 100, Peak: 101, Override: word}, metrology.Held},
		{"past it, zero checked only", metrology.Wear{On: on, Capacity: 100, Peak: 101, ZeroChecked: true}, metrology.Held},
		{"past it, examined only", metrology.Wear{On: on, Capacity: 100, Peak: 101, Examined: true}, metrology.Held},
		{"past it, both", metrology.Wear{On: on, Capacity: 100, Peak: 101, ZeroChecked: true, Examined: true}, metrology.Usable},
		{"both, but out of date", metrology.Wear{On: on, Capacity: 100, Peak: 101, ZeroChecked: true, Examined: true, Due: past}, metrology.OutOfDate},
		{"past safe overload, all excuses", metrology.Wear{On: on, Capacity: 100, SafeOverload: 150, Peak: 151, ZeroChecked: true, Examined: true, Override: word}, metrology.Out},
	} {
		got := c.w.Standing()
		if got.Use != c.want || (got.Why == "") != (c.want == metrology.Usable) {
			t.Errorf("%s: %+v, want %s", c.what, got, c.want)
		}
	}
}

func FuzzReadCertificate(f *testing.F) {
	f.Add(certificateText("2026-01-01", 2, 2.001))
	f.Fuzz(func(t *testing.T, text string) {
		c, err := metrology.ReadCertificate("c.yaml", []byte(text))
		if (c == nil) == (err == nil) {
			t.Fatal("neither certificate nor fault, or both")
		}
		if c != nil {
			_, _ = c.Left()
		}
	})
}
