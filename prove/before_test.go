package prove

import (
	_ "embed"
	"encoding/csv"
	"errors"
	"math"
	"os"
	"strings"
	"testing"

	"plumbhook/fault"
	"plumbhook/metrology"
	"plumbhook/quantity"
)

//go:embed testdata/facts.csv
var facts string

// TestRules holds the table of rules against what their texts ask, as copied by hand.
func TestRules(t *testing.T) {
	rows, err := csv.NewReader(strings.NewReader(facts)).ReadAll()
	if err != nil || len(rows) < 18 {
		t.Fatal(len(rows), err)
	}
	force := func(s string) float64 {
		r, err := quantity.ParseRating(s)
		if err != nil {
			t.Fatal(err)
		}
		return float64(r.Force)
	}
	byName := map[string]*Rule{}
	for i, r := range rules() {
		byName[r.Name] = &rules()[i]
		if r.Source == "" || r.Standing == "" {
			t.Errorf("%s has no source or does not say how far it was verified", r.Name)
		}
	}
	for _, row := range rows[1:] {
		r := byName[row[0]]
		if r == nil {
			t.Errorf("no rule %q", row[0])
			continue
		}
		close(t, row[0]+" of "+row[1], r.Load(force(row[1])), force(row[2]), 1e-9*force(row[2]))
	}
	if h := byName["personnel platform"].Hold; h != 300 { // WAC 296-155-55110(1)(a)(ii)
		t.Error("platform held for", h)
	}
	if h := byName["bollard pull"].Hold; h != 600 { // MSC/Circ.884, item 10
		t.Error("bollard pull over", h)
	}
	if u := byName["chain sling leg"].Under; u != 0.05 { // DOE-STD-1090-96 15.4.7.3
		t.Error("chain sling leg under", u)
	}
}

// TestBefore: what keeps a test from being started, each beside its passing twin.
func TestBefore(t *testing.T) {
	for _, c := range []struct {
		what    string
		changes []string
		outcome Outcome
		start   bool
		says    string
	}{
		{"as planned", nil, Holds, true, ""},
		{"cell below the load", []string{"capacity: 100 kN", "capacity: 52 kN"}, Fails, false, "a capacity of 52 kN"},
		{"cell just enough", []string{"capacity: 100 kN", "capacity: 53 kN"}, Holds, true, ""},
		{"shackle past its proof", []string{"rating: 95 kN, proof: 190 kN", "rating: 45 kN, proof: 52 kN"}, Fails, false, "a rating of 45 kN"},
		{"unrated strong point", []string{", rating: 120 kN", ""}, Incomplete, false, "no rating is stated"},
		{"item past its proof", []string{"proof: 80 kN", "proof: 52 kN"}, Fails, false, "maker's proof load is 52 kN"},
		{"item just within its proof", []string{"proof: 80 kN", "proof: 53 kN"}, Holds, true, ""},
		{"item of a law without its proof", []string{"rule: lifting point", "rule: lifting accessory", ", proof: 80 kN", ""}, Incomplete, false, "proof load is not stated"},
		{"less than the rule asks", []string{"rule: lifting point", "rule: lifting accessory", "load: 50 kN", "load: 49 kN"}, Fails, false, "the rule asks for 50 kN"},
		{"as much as the rule asks", []string{"rule: lifting point", "rule: lifting accessory"}, Holds, true, ""},
		{"a zone shorter than the line", []string{"exclusion: 8 m", "exclusion: 5 m"}, Fails, false, "can fly 6 m"},
		{"too much wind", []string{"wind: 3 m/s", "wind: 9 m/s"}, Fails, false, "limit of this test is 8 m/s"},
		{"wind not stated", []string{"wind: 3 m/s, ", ""}, Incomplete, true, "no wind is stated"},
		{"a band narrower than the cell can tell", []string{"over: 6 %", "over: 1 %"}, Fails, false, "narrower than the uncertainty"},
		{"out of date", []string{"due: 2027-03-01", "due: 2026-11-19"}, Fails, false, "due on 2026-11-19"},
		{"out of date, a name and its drift", []string{"due: 2027-03-01", "due: 2026-11-19, drift_per_year: 0.1 % of reading, override: {by: R. Quill, why: no other}"}, Holds, true, ""},
		{"on its last day", []string{"due: 2027-03-01", "due: 2026-11-20"}, Holds, true, ""},
	} {
		p := planned(t, changed(t, plate, c.changes...))
		if p.Outcome != c.outcome || p.Start != c.start || c.says != "" && !says(p.Findings, c.says) {
			t.Errorf("%s: %s, start %v, want %s, %v and %q:\n%s", c.what, p.Outcome, p.Start, c.outcome, c.start, c.says, told(p.Findings))
		}
	}
}

// TestUncertainty by hand: every stated part counts, drift in date or not.
func TestUncertainty(t *testing.T) {
	budget := func(text string) float64 { return planned(t, text).Budget.U() }
	r := func(half float64) float64 { return half * half / 3 }
	const at = 53e3
	base := r(300) + r(10) + r(100) // accuracy, half a step, zero return
	close(t, "u", budget(plate), math.Sqrt(base), 1e-9)
	year := 365.2425
	drift := 0.001 * at * 264 / year // 2026-03-01 to 2026-11-20
	close(t, "u with drift", budget(changed(t, plate, "due: 2027-03-01", "due: 2027-03-01, drift_per_year: 0.1 % of reading")), math.Sqrt(base+r(drift)), 1e-9)
	cert := strings.NewReplacer("accuracy: 0.3 % fs", "uncertainty: 196 N", "calibrated: 2026-03-01", "drift_per_year: 0.1 % of reading, calibrated: 2026-03-01").Replace(plate)
	close(t, "u of a certificate", budget(cert), math.Sqrt(math.Pow(196/metrology.CoverageFactor(0.95, math.Inf(1)), 2)+r(10)+r(100)+r(drift)), 1e-9)
	warm := changed(t, plate, "temperature_effect: [0 % fs per K, 0 % of reading per K]", "temperature_effect: [0.01 % fs per K, 0.02 % of reading per K]", "temperature: 9 °C", "temperature: 5..9 °C")
	close(t, "u in the cold", budget(warm), math.Sqrt(base+r(40)+r(0.003*at)), 1e-6)
}

// TestStretch: half force times stretch.
func TestStretch(t *testing.T) {
	p := planned(t, plate)
	close(t, "energy", p.Stretch.Energy, 53e3*53e3/(2*2e6), 1e-9)
	close(t, "height of a tonne", p.Stretch.Height, 53e3*53e3/(2*2e6)/9806.65, 1e-9)
	close(t, "zone", p.Zone, 8, 0)
	if p := planned(t, changed(t, plate, "exclusion: 8 m\n", "")); p.Zone != 6 {
		t.Error("zone of the line alone", p.Zone)
	}
}

// TestRefused: what cannot be read as it stands.
func TestRefused(t *testing.T) {
	for _, c := range []struct {
		changes []string
		code    fault.Code
		where   string
	}{
		{[]string{"load: 50 kN", "load: 5 ton"}, fault.Ambiguous, "load"},
		{[]string{"load: 50 kN", "load: 50"}, fault.NoUnit, "load"},
		{[]string{"criterion: {by: M. Tarn, text: no crack}\n", ""}, fault.Missing, ""},
		{[]string{"hold: 60 s\n", ""}, fault.Missing, ""},
		{[]string{"hold: 60 s", "hold: 60 s\ngap: 11 s"}, fault.Range, "gap"},
		{[]string{"dip: restart", "dip: forgive"}, fault.Range, "dip"},
		{[]string{"conditions:", "decision: simple\nconditions:"}, fault.Missing, "decision"},
		{[]string{"ramp: 4 kN per s", "ramp: 4 kN"}, fault.Syntax, "ramp"},
		{[]string{"accuracy: 0.3 % fs, ", ""}, fault.Missing, "cell"},
		{[]string{"calibrated: 2026-03-01", "calibrated: 2026-12-01"}, fault.Range, "cell.calibrated"},
		{[]string{"calibrated: 2026-03-01, ", "drift_per_year: 0.1 % of reading, "}, fault.Missing, "cell.drift_per_year"},
		{[]string{"gear:", "gears:"}, fault.UnknownKey, "gears"},
		{[]string{"rule: lifting point", "rule: personnel platform"}, fault.Range, "hold"},
	} {
		_, err := Read("test.yaml", []byte(changed(t, plate, c.changes...)))
		found := false
		for _, f := range fault.Of(err) {
			found = found || f.Code == c.code && f.Where == c.where && f.Pos.Line > 0
		}
		if !found {
			t.Errorf("%q: want %s at %q, got %v", c.changes, c.code, c.where, err)
		}
	}
}

// FuzzRead: no file brings the program down; one that is refused says where, one
// that is read can be worked out.
func FuzzRead(f *testing.F) {
	f.Add(plate)
	f.Add(tug)
	f.Add(mast)
	f.Fuzz(func(t *testing.T, text string) {
		test, err := Read("test.yaml", []byte(text))
		if err != nil {
			var list fault.List
			var one *fault.Fault
			if !errors.As(err, &list) && !errors.As(err, &one) {
				t.Fatalf("not a fault: %v", err)
			}
			return
		}
		Start(Before(test, "kN")).Result()
	})
}

// TestPageTells: the page for users tells of every key and every rule.
func TestPageTells(t *testing.T) {
	page, err := os.ReadFile("../docs/proving.md")
	if err != nil {
		t.Fatal(err)
	}
	for _, k := range append(Shape().All(), ruleNames()...) {
		if !strings.Contains(string(page), "`"+k+"`") && !strings.Contains(string(page), k+",") && !strings.Contains(string(page), k+"}") && !strings.Contains(string(page), "{"+k) && !strings.Contains(string(page), k+":") {
			t.Errorf("docs/proving.md does not tell of %s", k)
		}
	}
}
