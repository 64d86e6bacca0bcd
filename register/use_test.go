package register_test

import (
	"fmt"
	"math"
	"strings"
	"testing"
	"time"

	"plumbhook/fault"
	"plumbhook/internal/testkit"
	"plumbhook/metrology"
	"plumbhook/quantity"
	"plumbhook/register"
)

func piece(t *testing.T, kind, rating string, facts map[string]string) register.Item {
	t.Helper()
	r, err := quantity.ParseRating(rating)
	if err != nil {
		t.Fatal(err)
	}
	return register.Item{
		Serial: "KP-9", Kind: kind, Rating: &r, Facts: facts, Status: register.InService,
		Examined: "2026-01-01", ExamineBy: "2026-12-31",
	}
}

// lived applies changes one after the other, each on its day, and gives the item
// after them.
func lived(t *testing.T, it register.Item, steps ...struct {
	on register.Date
	c  register.Change
},
) register.Item {
	t.Helper()
	for i, s := range steps {
		e, err := it.Next(s.c, register.Stamp{Day: s.on, By: "A. Rigger"}, time.Unix(int64(i), 0))
		if err != nil {
			t.Fatalf("step %d: %v", i+1, err)
		}
		it = e.Item
	}
	return it
}

type step = struct {
	on register.Date
	c  register.Change
}

func use(n string, peak float64) step {
	return step{"2026-03-01", register.Using{Use: register.Use{Recording: n, Lift: "pump", Where: "legs.west.stack[1]", On: "2026-03-01", Peak: peak, Lifts: 1, Hours: 0.5}}}
}

func stops(it *register.Item, on register.Date) (rules []string) {
	for _, f := range register.Fitness(it, on) {
		if f.Severity == register.Stop {
			rules = append(rules, f.Rule)
		}
	}
	return rules
}

// What asks for quarantine: more than the rating, what may be more, a shock.
func TestUseAsks(t *testing.T) {
	for _, c := range []struct {
		name string
		it   register.Item
		use  register.Use
		asks string // empty: for nothing
	}{
		{"below", piece(t, "bow shackle", "50 kN", nil), register.Use{Peak: 49e3}, ""},
		{"above", piece(t, "bow shackle", "50 kN", nil), register.Use{Peak: 51e3}, "past its rating of 50 kN"},
		{"at least above", piece(t, "bow shackle", "50 kN", nil), register.Use{Peak: 51e3, AtLeast: true}, "51 kN at least"},
		{"may be above", piece(t, "bow shackle", "50 kN", nil), register.Use{Peak: 49.5e3, U95: 1e3}, "may be past its rating"},
		{"above as rigged", piece(t, "wire rope sling", "50 kN", nil), register.Use{Peak: 41e3, Limit: 40e3}, "past its rating of 40 kN"},
		{"above proof", piece(t, "bow shackle", "50 kN", map[string]string{"proof_load": "100 kN"}), register.Use{Peak: 101e3}, "past its proof load of 100 kN"},
		{"shock", piece(t, "bow shackle", "50 kN", nil), register.Use{Peak: 20e3, Shocks: 1}, "had a shock"},
		{"cell above capacity", piece(t, "load cell", "60 kN", map[string]string{"capacity": "60 kN", "safe_overload": "150 % of capacity"}), register.Use{Peak: 61e3}, "past its capacity of 60 kN"},
		{"cell above overload", piece(t, "load cell", "60 kN", map[string]string{"capacity": "60 kN", "safe_overload": "150 % of capacity"}), register.Use{Peak: 91e3}, "past its safe overload of 90 kN"},
		{"not seen", piece(t, "bow shackle", "50 kN", nil), register.Use{Unseen: true, Why: "its leg has no cell"}, ""},
	} {
		u := c.use
		u.Recording, u.On, u.Lift, u.Where = "r", "2026-03-01", "pump", "legs.west"
		it := lived(t, c.it, step{"2026-03-01", register.Using{Use: u}})
		if (it.Life.Proposed != "") != (c.asks != "") || !strings.Contains(it.Life.Proposed, c.asks) {
			t.Errorf("%s: asks %q, want %q", c.name, it.Life.Proposed, c.asks)
		}
		if held := fmt.Sprint(stops(&it, "2026-03-02")); strings.Contains(held, "proposed") != (c.asks != "") {
			t.Errorf("%s: stops %s", c.name, held)
		}
		if c.asks == "" {
			continue
		}
		no := lived(t, it, step{"2026-03-02", register.Refusing{Reason: "looked at it: nothing bent"}})
		yes := lived(t, it, step{"2026-03-02", register.Confirming{}})
		if no.Life.Proposed != "" || no.Status != register.InService {
			t.Errorf("%s refused: %+v", c.name, no)
		}
		if yes.Life.Proposed != "" || yes.Status != register.Quarantined || !strings.Contains(yes.Reason, c.asks) {
			t.Errorf("%s confirmed: %+v", c.name, yes)
		}
	}
}

// Lifetime counters add up, and do not depend on a quarantine in between.
func TestLife(t *testing.T) {
	it := lived(t, piece(t, "bow shackle", "50 kN", nil), use("a", 20e3), use("b", 30e3), use("c", 40e3), use("d", 60e3))
	l := it.Life
	if l.Watched != 4 || l.Lifts != 4 || l.Hours != 2 || l.Peak != 60e3 || l.Over50 != 3 || l.Over75 != 2 || l.Over100 != 1 || l.PeakOn != "2026-03-01" {
		t.Errorf("%+v", l)
	}
	s := it
	for _, swings := range [][]register.Swings{{{From: 1000, To: 2000, Count: 1.5}}, {{From: 1000, To: 2000, Count: 2}, {From: 0, To: 1000, Count: 1}}} {
		s = lived(t, s, step{"2026-03-01", register.Using{Use: register.Use{Recording: "x", On: "2026-03-01", Swings: swings}}})
	}
	if got := fmt.Sprint(s.Life.Swings); got != "[{0 1000 1} {1000 2000 3.5}]" {
		t.Errorf("swings %s", got)
	}
	if len(it.Life.Swings) != 0 {
		t.Error("a later change wrote to an item before it")
	}
}

func cellAt(t *testing.T) register.Item {
	it := piece(t, "load cell", "60 kN", map[string]string{"capacity": "60 kN", "safe_overload": "150 %"})
	it.Calibrated, it.CalibrateBy = "2025-03-01", "2026-03-01"
	return it
}

func examined(on register.Date) register.Examination {
	swl, _ := quantity.ParseRating("60 kN")
	party := register.Party{Name: "Tarn Examinations", Address: "Kestrel Point"}
	return register.Examination{
		Employer: party, Premises: "Kestrel Point", Particulars: "load cell KP-9", Basis: register.SixMonths, Safe: true, SWL: &swl, Last: "2026-01-01",
		On: on, Next: on.AddMonths(6), Reported: on, Tests: "none",
		Examiner: register.Examiner{Party: party, Qualifications: "competent person", SelfEmployed: true}, SignedBy: party,
	}
}

// A cell past its capacity is held until zero and cell were looked at, in
// whatever order, and whatever is said of the quarantine; past its safe overload
// it stays out.
func TestCellStrained(t *testing.T) {
	held := lived(t, cellAt(t), use("a", 70e3), step{"2026-03-01", register.Refusing{Reason: "it looks well"}})
	if got := fmt.Sprint(stops(&held, "2026-03-01")); got != "[overload]" {
		t.Errorf("refused, it stops by %s", got)
	}
	zero := step{"2026-03-02", register.ZeroCheck{Found: "+0.01 kN", Good: true}}
	if it := lived(t, held, zero); len(stops(&it, "2026-02-20")) != 1 {
		t.Errorf("the zero alone clears it: %v", register.Fitness(&it, "2026-02-20"))
	}
	look := step{"2026-03-03", examined("2026-03-03")}
	for name, steps := range map[string][]step{"zero first": {zero, look}, "examined first": {look, {"2026-03-04", zero.c}}} {
		if it := lived(t, held, steps...); len(stops(&it, "2026-02-20")) != 0 || it.Life.Peak != 70e3 {
			t.Errorf("%s: still stops by %v", name, stops(&it, "2026-02-20"))
		}
	}
	if it := lived(t, held, zero, look, use("b", 80e3)); !strings.Contains(fmt.Sprint(stops(&it, "2026-02-20")), "overload") {
		t.Error("a strain after the clearing does not hold it")
	}
	bad := lived(t, held, step{"2026-03-02", register.ZeroCheck{Found: "+2 kN"}})
	if bad.Status != register.Quarantined {
		t.Errorf("a zero that is off: %s", bad.Status)
	}
	out := lived(t, cellAt(t), use("a", 91e3), step{"2026-03-01", register.Confirming{}}, zero, look)
	if got := fmt.Sprint(stops(&out, "2026-03-03")); !strings.Contains(got, "overload") {
		t.Errorf("past its safe overload it stops by %s", got)
	}
	for _, c := range []register.Change{register.Release{Reason: "it looks well"}, register.Overriding{Why: "needed", Until: "2026-03-10", PerYear: 0.01}} {
		if _, err := out.Next(c, register.Stamp{Day: "2026-03-04", By: "A. Rigger"}, time.Unix(9, 0)); fault.Of(err) == nil || !strings.Contains(err.Error(), "no override") {
			t.Errorf("%T brings it back: %v", c, err)
		}
	}
}

// Past its calibration a cell stops; a named person's word makes that a caution
// with a wider band, for a time, and a calibration ends it.
func TestOverriding(t *testing.T) {
	it := cellAt(t)
	if got := fmt.Sprint(stops(&it, "2026-03-31")); got != "[calibration]" || it.Widening("2026-03-31") != 0 {
		t.Errorf("out of date it stops by %s", got)
	}
	over := lived(t, it, step{"2026-03-31", register.Overriding{Why: "the spare is in the laboratory", Until: "2026-04-30", PerYear: 0.002}})
	if got := stops(&over, "2026-03-31"); len(got) != 0 {
		t.Errorf("overridden it stops by %v", got)
	}
	if s, _ := over.Standing("2026-03-31"); s.Use != metrology.Overridden || !strings.Contains(s.Why, "A. Rigger") {
		t.Errorf("%+v", s)
	}
	// 395 days at 0.2 % of the reading a year (mean Gregorian).
	testkit.Near(t, "widening", over.Widening("2026-03-31"), 0.002*395/365.2425, testkit.Tol{Rel: 1e-12})
	if got := fmt.Sprint(stops(&over, "2026-05-01")); got != "[calibration]" {
		t.Errorf("after the override it stops by %s", got)
	}
	again := lived(t, over, step{"2026-04-02", register.Calibration{On: "2026-04-01", Next: "2027-04-01"}})
	if again.Life.Override != nil || again.Widening("2026-04-03") != 0 {
		t.Errorf("calibrated: %+v", again.Life)
	}
	for name, c := range map[string]register.Overriding{
		"too long": {Why: "w", Until: "2026-12-01", PerYear: 0.01}, "without drift": {Why: "w", Until: "2026-04-10"},
		"without why": {Until: "2026-04-10", PerYear: 0.01}, "past": {Why: "w", Until: "2026-03-30", PerYear: 0.01}, "no number": {Why: "w", Until: "2026-04-10", PerYear: math.NaN()},
	} {
		if _, err := it.Next(c, register.Stamp{Day: "2026-03-31", By: "A. Rigger"}, time.Unix(9, 0)); err == nil {
			t.Errorf("an override %s is taken", name)
		}
	}
}
