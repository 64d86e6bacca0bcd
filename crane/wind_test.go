package crane_test

import (
	"math"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"plumbhook/crane"
	"plumbhook/fault"
	"plumbhook/internal/testkit"
	"plumbhook/quantity"
)

// The published wind sheet. Its force is of the chart's reference area, that
// much for each tonne.
func TestWindSheet(t *testing.T) {
	e := worked(t, "J01")
	v := quantity.Speed(number(t, e.Given, "chart wind speed"))
	size := numbers(t, e.Given, "load length x diameter")
	cw := number(t, e.Given, "drag coefficient")
	tonnes := number(t, e.Given, "load")
	ref := crane.Reference{PerTonne: number(t, e.Given, "chart reference area per tonne"), Cw: cw, From: "the chart"}
	s := crane.Sail{Area: quantity.Area(size[0] * size[1]), Cw: cw, From: "the sheet", Mass: quantity.Mass(tonnes * 1000)}
	e.near(t, "load area", float64(s.Area))
	e.near(t, "q at chart speed", float64(crane.WindPressure(v)))
	e.near(t, "wind force", float64(crane.WindForce(v, crane.Sail{Area: quantity.Area(ref.PerTonne * tonnes), Cw: cw})))
	l := crane.Derated(v, s, ref)
	e.near(t, "allowed q", float64(crane.WindPressure(l.Speed)))
	e.near(t, "allowed speed m/s", float64(l.Speed))
	if l.Standing != crane.Read {
		t.Errorf("standing %s", l.Standing)
	}
}

func TestDeratedGeneral(t *testing.T) {
	// By hand: 10 t offer 12 m² of area times cw; 24 m² with cw 2 are four
	// times that, so half the speed.
	l := crane.DeratedGeneral(9, crane.Sail{Area: 24, Cw: 2, Mass: 10_000})
	testkit.Near(t, "speed", float64(l.Speed), 4.5, testkit.Tol{ULPs: 2})
	if l.Standing != crane.FromMemory {
		t.Errorf("standing %s", l.Standing)
	}
	if l := crane.DeratedGeneral(9, crane.Sail{Area: 6, Cw: 1, Mass: 10_000}); l.Speed != 9 {
		t.Errorf("a small load is allowed %v m/s", l.Speed)
	}
}

func TestInWind(t *testing.T) {
	small := crane.Sail{Area: 6, Cw: 1, From: "drawing 4", Mass: 10_000}
	large := crane.Sail{Area: 24, Cw: 2, From: "drawing 4", Mass: 10_000}
	nobody := small
	nobody.From = ""
	tight := &crane.Reference{PerTonne: 0.3, Cw: 1, From: "the chart"}
	wide := &crane.Reference{PerTonne: 1.2, Cw: 1.0, From: "the chart"}
	for _, c := range []struct {
		name    string
		sail    crane.Sail
		ref     *crane.Reference
		planned *quantity.Speed
		least   float64
		by      crane.Standing
		status  crane.Status
		missing string
	}{
		{"small load", small, nil, ptr(quantity.Speed(9)), 9, crane.FromMemory, crane.Holds, ""},
		{"small load, too windy", small, nil, ptr(quantity.Speed(9.1)), 9, crane.FromMemory, crane.Fails, ""},
		{"large load", large, nil, ptr(quantity.Speed(4.5)), 4.5, crane.FromMemory, crane.Holds, ""},
		{"large load, too windy", large, nil, ptr(quantity.Speed(5)), 4.5, crane.FromMemory, crane.Fails, ""},
		{"the chart's reference is tighter", large, tight, ptr(quantity.Speed(4)), 2.25, crane.Read, crane.Fails, ""},
		{"both agree", large, wide, ptr(quantity.Speed(4)), 4.5, crane.Read, crane.Holds, ""},
		{"no plan", large, nil, nil, 4.5, crane.FromMemory, crane.NotAssessed, "planned wind"},
		{"nobody's area", nobody, nil, ptr(quantity.Speed(3)), 9, crane.FromMemory, crane.NotAssessed, "nobody stands behind"},
	} {
		t.Run(c.name, func(t *testing.T) {
			w, err := crane.InWind("crane.main", 9, c.sail, c.ref, c.planned)
			if err != nil {
				t.Fatal(err)
			}
			testkit.Near(t, "least", float64(w.Least.Speed), c.least, testkit.Tol{ULPs: 4})
			if w.Least.Standing != c.by || w.Status != c.status {
				t.Errorf("%s by %s; want %s by %s", w.Status, w.Least.Standing, c.status, c.by)
			}
			if got := strings.Join(w.NotAssessed, "; "); !strings.Contains(got, c.missing) || (got == "") != (c.missing == "") {
				t.Errorf("not assessed %q", got)
			}
			stops := 0
			for _, f := range w.Findings {
				if f.Severity == crane.Stop {
					stops++
					if *f.Demand <= *f.Limit || f.Unit != "m/s" {
						t.Errorf("%+v", f)
					}
				}
			}
			if (stops == 1) != (c.status == crane.Fails) {
				t.Errorf("%d stops: %+v", stops, w.Findings)
			}
			one(t, w.Findings, "wind-measured", crane.Note, "boom tip")
		})
	}
	for name, c := range map[string]struct {
		v   float64
		s   crane.Sail
		ref *crane.Reference
	}{
		"no chart wind": {0, small, nil},
		"no figure":     {math.NaN(), small, nil},
		"no cw":         {9, crane.Sail{Area: 6, Mass: 1}, nil},
		"no area":       {9, crane.Sail{Cw: 1, Mass: 1}, nil},
		"no mass":       {9, crane.Sail{Area: 6, Cw: 1}, nil},
		"half a reference": {
			9, small, &crane.Reference{PerTonne: 1},
		},
	} {
		_, err := crane.InWind("crane.main", quantity.Speed(c.v), c.s, c.ref, nil)
		t.Run(name, func(t *testing.T) { refused(t, err, fault.Range, "crane.main") })
	}
	_, err := crane.InWind("crane.main", 9, small, nil, ptr(quantity.Speed(-1)))
	refused(t, err, fault.Range)
}

// The force at the lowered speed never passes the force the chart was made
// for, and the speed never passes the chart's.
func TestDeratedForce(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		v := quantity.Speed(rapid.Float64Range(1, 30).Draw(t, "chart"))
		s := crane.Sail{
			Area: quantity.Area(rapid.Float64Range(0.1, 500).Draw(t, "area")),
			Cw:   rapid.Float64Range(0.3, 2.4).Draw(t, "cw"),
			Mass: quantity.Mass(rapid.Float64Range(10, 2e5).Draw(t, "mass")),
		}
		ref := crane.Reference{PerTonne: rapid.Float64Range(0.2, 2).Draw(t, "per tonne"), Cw: rapid.Float64Range(0.5, 2).Draw(t, "cw of it")}
		l := crane.Derated(v, s, ref)
		most := crane.WindForce(v, crane.Sail{Area: quantity.Area(ref.PerTonne * float64(s.Mass) / 1000), Cw: ref.Cw})
		if l.Speed > v || float64(crane.WindForce(l.Speed, s)) > float64(most)*(1+1e-12) {
			t.Fatalf("%v of %v m/s, %v of %v N", l.Speed, v, crane.WindForce(l.Speed, s), most)
		}
	})
}

// The shadow of a box in a level wind, turned by hand: no side offers more
// than Side, and one offers as much.
func TestSide(t *testing.T) {
	testkit.Near(t, "3 by 4 by 2", crane.Side(3, 4, 2), 10, testkit.Tol{ULPs: 1})
	most := 0.0
	for d := 0.0; d < 180; d += 0.01 {
		a := 2 * (3*math.Abs(math.Sin(deg(d))) + 4*math.Abs(math.Cos(deg(d))))
		most = max(most, a)
	}
	testkit.Near(t, "largest shadow", most, 10, testkit.Tol{Abs: 1e-6})
}
