package verdict_test

import (
	"os"
	"strings"
	"testing"
	"time"

	"plumbhook/internal/testkit"
	"plumbhook/lift"
	"plumbhook/register"
	"plumbhook/verdict"
)

// serials is the example rigged by serials, with its register after changes to
// the load cell.
func serials(t *testing.T, on register.Date, changes ...register.Change) *verdict.Plan {
	t.Helper()
	read := func(path string) []byte {
		data, err := os.ReadFile("../examples/register/" + path)
		if err != nil {
			t.Fatal(err)
		}
		return data
	}
	list, err := register.ReadCSV("gear-list.csv", read("gear-list.csv"), nil, "2026-07-02")
	if err != nil {
		t.Fatal(err)
	}
	items := map[string]register.Item{}
	for _, r := range list.Rows {
		it := r.Item
		if it.Kind == "load cell" {
			for i, c := range changes {
				e, err := it.Next(c, register.Stamp{Day: on, By: "A. Rigger"}, time.Unix(int64(i), 0))
				if err != nil {
					t.Fatal(err)
				}
				it = e.Item
			}
		}
		items[register.Key(it.Serial)] = it
	}
	l, err := lift.ReadWith("by-serial.yaml", nil, read("by-serial.yaml"), func(serial string) (string, map[string]string, bool) {
		it, ok := items[register.Key(serial)]
		return it.Kind, it.Said(), ok
	})
	if err != nil {
		t.Fatal(err)
	}
	p, err := verdict.CheckWith(l, &verdict.Register{On: on, Items: items})
	if err != nil {
		t.Fatal(err)
	}
	return p
}

func finds(p *verdict.Plan, sev verdict.Severity, rule string) (text string) {
	for _, f := range p.States[0].Findings {
		if f.Severity == sev && f.Rule == rule && strings.Contains(f.Where, "stack[1]") {
			text += f.Text
		}
	}
	return text
}

// A cell past its calibration fails the plan; on a named person's word it is a
// caution, and what the cell must read gets the wider band.
func TestOverriddenCell(t *testing.T) {
	const late = register.Date("2027-02-15") // a month past the cell's, and everything else's
	fails := serials(t, late)
	if finds(fails, verdict.Stop, "calibration") == "" {
		t.Errorf("out of date passes: %+v", fails.States[0].Findings)
	}
	plain := serials(t, "2026-07-02")
	over := serials(t, late, register.Overriding{Why: "the spare is away", Until: "2027-03-01", PerYear: 0.02})
	if finds(over, verdict.Stop, "calibration") != "" || !strings.Contains(finds(over, verdict.Caution, "calibration"), "A. Rigger") {
		t.Errorf("overridden: %+v", over.States[0].Findings)
	}
	a, b := &plain.States[0].Expected[0], &over.States[0].Expected[0]
	testkit.Near(t, "drift", b.Cell.DriftShare-a.Cell.DriftShare, 0.02*396/365.2425, testkit.Tol{Rel: 1e-9})
	if was, is := a.HighN-a.LowN, b.HighN-b.LowN; !(is > 1.02*was) {
		t.Errorf("the band is %.0f N wide, was %.0f N", is, was)
	}
}

// A cell that bore more than its capacity, and gear that nobody has looked at
// since a lift asked for it, fail the plan.
func TestStrainedGear(t *testing.T) {
	used := register.Using{Use: register.Use{Recording: "r", Lift: "pump", On: "2026-07-02", Peak: 70e3}}
	p := serials(t, "2026-07-02", used)
	if p.Outcome != verdict.Fails || finds(p, verdict.Stop, "overload") == "" || finds(p, verdict.Stop, "proposed") == "" {
		t.Errorf("%s: %+v", p.Outcome, p.States[0].Findings)
	}
	refused := serials(t, "2026-07-02", used, register.Refusing{Reason: "looks well"})
	if refused.Outcome != verdict.Fails || finds(refused, verdict.Stop, "proposed") != "" || finds(refused, verdict.Stop, "overload") == "" {
		t.Errorf("refused, %s: %+v", refused.Outcome, refused.States[0].Findings)
	}
}
