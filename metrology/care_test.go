package metrology_test

import (
	"math"
	"testing"
	"time"

	"plumbhook/fault"
	"plumbhook/internal/testkit"
	"plumbhook/metrology"
)

// A cell that has become 0.3 % more sensitive reads 0.3 % too much by its old
// curve.
func TestShift(t *testing.T) {
	old := pontius(t)
	x, _ := columns(old)
	k := calibrate(t, metrology.Certificate{Unit: "mV/V", Points: old, Degree: 2})
	found := metrology.Certificate{Unit: "mV/V", Degree: 2}
	for _, force := range x[:20] {
		found.Points = append(found.Points, metrology.Point{Force: force, Signal: k.Curve.Signal(1.003 * force)})
	}
	found.Points = append(found.Points, metrology.Point{Force: 3.3e6, Signal: k.Curve.Signal(3.3e6)}) // beyond the old range
	shifts, err := k.ShiftTo(calibrate(t, found))
	if err != nil || len(shifts) != 20 {
		t.Fatalf("%d shifts, %v", len(shifts), err)
	}
	for i, s := range shifts {
		testkit.Near(t, "force", s.Force, x[i], testkit.Tol{})
		testkit.Near(t, "share", s.Share, 0.003, testkit.Tol{Abs: 1e-12})
		testkit.Near(t, "error", s.Error, 0.003*s.Force, rel(1e-9))
	}
	found.Unit = "counts"
	_, err = k.ShiftTo(calibrate(t, found))
	refused(t, "another unit", err, fault.BadUnit)
}

func TestProposeInterval(t *testing.T) {
	const days = 24 * time.Hour
	longest := 26 * 30 * days
	year := 365.2425
	for _, c := range []struct {
		what    string
		history []metrology.Period
		perYear float64
		days    float64
		capped  bool
	}{
		{"0.05 % in 100 days, then less", []metrology.Period{
			{From: day(0), To: day(100), Shift: -0.0005}, {From: day(100), To: day(300), Shift: 0.0001},
		}, 0.0005 * year / 100, 200, false},
		{"slow", []metrology.Period{{From: day(0), To: day(400), Shift: 0.0001}}, 0.0001 * year / 400, 780, true},
		{"no drift seen", []metrology.Period{{From: day(0), To: day(400)}}, 0, 780, true},
	} {
		p, err := metrology.ProposeInterval(c.history, 0.001, longest)
		if err != nil {
			t.Fatal(c.what, err)
		}
		testkit.Near(t, c.what+": rate", p.PerYear, c.perYear, rel(1e-12))
		// Cut to whole days; rounding may cost the last one.
		if got := p.Interval.Hours() / 24; got > c.days || got < c.days-1 || p.Capped != c.capped {
			t.Errorf("%s: %g days, capped %v; want %g, %v", c.what, got, p.Capped, c.days, c.capped)
		}
	}
	_, err := metrology.ProposeInterval(nil, 0.001, longest)
	refused(t, "no history", err, fault.Missing)
	_, err = metrology.ProposeInterval([]metrology.Period{{From: day(2), To: day(1)}}, 0.001, longest)
	refused(t, "backwards", err, fault.Range)
	_, err = metrology.ProposeInterval([]metrology.Period{{From: day(1), To: day(2)}}, 0, longest)
	refused(t, "nothing allowed", err, fault.Range)
	c := metrology.SinceCalibration(20e3, 0.001, time.Duration(2*year*float64(days)))
	testkit.Near(t, "two years at 0.1 %", c.U, 40/math.Sqrt(3), rel(1e-9))
}

func TestFieldCheck(t *testing.T) {
	for _, c := range []struct {
		reading, u95, known, known95, en float64
		agrees                           bool
	}{
		{1005, 3, 1000, 4, 1, true},
		{995, 3, 1000, 4, 1, true},
		{1006, 3, 1000, 4, 1.2, false},
		{1000, 3, 1000, 0, 0, true},
	} {
		f, err := metrology.CheckField(c.reading, c.u95, c.known, c.known95)
		if err != nil {
			t.Fatal(err)
		}
		testkit.Near(t, "En", f.En, c.en, rel(1e-12))
		if f.Agrees != c.agrees || f.Difference != c.reading-c.known {
			t.Errorf("%+v: %+v", c, f)
		}
	}
	for _, v := range [][4]float64{{1, 0, 1, 0}, {math.NaN(), 1, 1, 1}, {1, -1, 1, 1}, {1, inf, 1, 1}} {
		_, err := metrology.CheckField(v[0], v[1], v[2], v[3])
		refused(t, "field check", err, fault.Missing)
	}
}
