package metrology_test

import (
	"errors"
	"math"
	"strings"
	"testing"
	"time"

	"plumbhook/fault"
	"plumbhook/internal/testkit"
	"plumbhook/metrology"
)

// window holds n readings over two seconds that swing by ±swing about v.
func window(t testing.TB, v, swing float64, n int) metrology.Window {
	t.Helper()
	readings := make([]float64, n)
	for i := range readings {
		readings[i] = v + swing*[]float64{-1, 1}[i%2]
	}
	w, err := metrology.NewWindow(readings, 2*time.Second)
	if err != nil {
		t.Fatal(err)
	}
	return w
}

const capacity = 50e3

// asks is a request that is granted: rigging of 1 kN hanging free on a 50 kN
// cell, so that 1.1 kN more or less is within its limits.
func asks(t testing.TB, bears float64) metrology.TareRequest {
	return metrology.TareRequest{
		Kind: metrology.Hung, Window: window(t, bears, 10, 20), Capacity: capacity, Rigging: 1e3,
		By: "A. Rigger", At: day(0), Limits: metrology.UsualTareLimits(capacity),
	}
}

func TestTareRecords(t *testing.T) {
	r := asks(t, 1020)
	tare, err := r.Take()
	if err != nil {
		t.Fatal(err)
	}
	testkit.Near(t, "force", tare.Force, 1020, rel(1e-15))
	testkit.Near(t, "u", tare.U, 10*math.Sqrt(20.0/19), rel(1e-12))
	if tare.Kind != metrology.Hung || tare.By != r.By || !tare.At.Equal(r.At) || tare.Window.N != 20 || tare.Window.Over != 2*time.Second || tare.Rigging != 1e3 || tare.Insisted != nil {
		t.Errorf("%+v", tare)
	}
	testkit.Near(t, "net", tare.Net(9020), 8000, rel(1e-15))
	if c := tare.Component(); c.C*c.U != -tare.U || c.DoF != 19 {
		t.Errorf("%+v", c)
	}
}

func TestTareUnderLoad(t *testing.T) {
	for _, c := range []struct {
		kind  metrology.Zeroed
		bears float64
		takes bool
		words string
	}{
		{metrology.Hung, 1000, true, ""},
		{metrology.Hung, 2099, true, ""},
		{metrology.Hung, 2101, false, "something is on it"},
		{metrology.Hung, 20e3, false, "something is on it"},
		{metrology.Hung, -99, true, ""},
		{metrology.Hung, -101, false, "rests on something"},
		{metrology.Attached, 0, true, ""},
		{metrology.Attached, 500, true, ""},
		{metrology.Attached, 2099, true, ""},
		{metrology.Attached, 2101, false, "something is on it"},
		{metrology.Attached, -1099, true, ""},
		{metrology.Attached, -1101, false, "zero has moved"},
	} {
		r := asks(t, c.bears)
		r.Kind = c.kind
		_, err := r.Take()
		if c.takes != (err == nil) {
			t.Errorf("%s bearing %g N: %v", c.kind, c.bears, err)
		}
		if c.takes {
			continue
		}
		refused(t, "under load", err, metrology.UnderLoad)
		if !strings.Contains(err.Error(), c.words) {
			t.Errorf("%s bearing %g N: %v, want %q", c.kind, c.bears, err, c.words)
		}
		r.Insist = true
		tare, err := r.Take()
		if err != nil || tare.Insisted == nil || tare.Insisted.Code != metrology.UnderLoad || tare.Force == 0 {
			t.Errorf("%s bearing %g N, insisted: %+v, %v", c.kind, c.bears, tare, err)
		}
	}
}

// Nobody can insist on a tare without a name, a time or steady readings.
func TestTareRefusals(t *testing.T) {
	for _, c := range []struct {
		what   string
		change func(*metrology.TareRequest)
		code   fault.Code
	}{
		{"no kind", func(r *metrology.TareRequest) { r.Kind = "" }, fault.Ambiguous},
		{"kind none", func(r *metrology.TareRequest) { r.Kind = metrology.None }, fault.Ambiguous},
		{"no name", func(r *metrology.TareRequest) { r.By = " " }, fault.Missing},
		{"no time", func(r *metrology.TareRequest) { r.At = time.Time{} }, fault.Missing},
		{"no capacity", func(r *metrology.TareRequest) { r.Capacity = 0 }, fault.Range},
		{"rigging that lifts", func(r *metrology.TareRequest) { r.Rigging = -1 }, fault.Range},
		{"rigging not a number", func(r *metrology.TareRequest) { r.Rigging = math.NaN() }, fault.Range},
		{"swings", func(r *metrology.TareRequest) { r.Window = window(t, 1000, 51, 20) }, metrology.Unsteady},
		{"few", func(r *metrology.TareRequest) { r.Window = window(t, 1000, 1, 9) }, fault.Missing},
		{"short", func(r *metrology.TareRequest) { r.Window.Over = time.Second }, fault.Missing},
		{"no readings", func(r *metrology.TareRequest) { r.Window = metrology.Window{} }, fault.Missing},
		{"no figure", func(r *metrology.TareRequest) { r.Window.Mean = math.NaN() }, fault.Range},
	} {
		r := asks(t, 1000)
		r.Insist = true
		c.change(&r)
		tare, err := r.Take()
		refused(t, c.what, err, c.code)
		if tare != (metrology.Tare{}) {
			t.Errorf("%s: refused, and yet %+v", c.what, tare)
		}
	}
	_, err := metrology.NewWindow([]float64{1}, time.Second)
	refused(t, "one reading", err, fault.Missing)
	_, err = metrology.NewWindow([]float64{1, inf}, time.Second)
	refused(t, "infinite", err, fault.Range)
}

// Faults speak the unit of the lift.
func TestTareUnit(t *testing.T) {
	r := asks(t, 20e3)
	for unit, word := range map[string]string{"": "20 kN", "lbf": "lbf"} {
		r.Limits.Unit = unit
		_, err := r.Take()
		var f *fault.Fault
		if !errors.As(err, &f) || !strings.Contains(f.What, word) {
			t.Errorf("in %q: %v", unit, err)
		}
	}
}

// A load of 8 kN under rigging of 1 kN: what each kind of zero makes of it.
func TestTwoKindsOfTare(t *testing.T) {
	const rigging, load = 1000.0, 8000.0
	for _, c := range []struct {
		zeroed metrology.Zeroed
		took   float64 // off the cell at zero
		gross  metrology.Interval
	}{
		{metrology.None, 0, metrology.Interval{Low: 9000, High: 9000}},
		{metrology.Hung, rigging, metrology.Interval{Low: 9000, High: 9000}},
		{metrology.Attached, 0, metrology.Interval{Low: 9000, High: 10000}},
		{metrology.Attached, rigging, metrology.Interval{Low: 8000, High: 9000}},
	} {
		reading := load + rigging - c.took
		if g := c.zeroed.Gross(reading, rigging); g != c.gross {
			t.Errorf("%s, %g taken off: gross %v, want %v", c.zeroed, c.took, g, c.gross)
		}
		l := c.zeroed.Load(reading, rigging)
		if l.Low > load || l.High < load || l != (metrology.Interval{Low: c.gross.Low - rigging, High: c.gross.High - rigging}) {
			t.Errorf("%s, %g taken off: load %v", c.zeroed, c.took, l)
		}
	}
}

func TestZeroReturn(t *testing.T) {
	steady := metrology.UsualTareLimits(capacity).Steadiness
	a := metrology.Accuracy{Capacity: capacity, Limit: 0.001, OfFullScale: true, ZeroPerK: new(0.00005), Resolution: new(10.0)}
	limit, missing := a.ZeroLimit(new(-10.0))
	testkit.Near(t, "limit", limit, 50+25+10, rel(1e-12))
	if len(missing) > 0 {
		t.Errorf("missing %q", missing)
	}
	before := window(t, 20, 5, 20)
	for _, c := range []struct {
		after float64
		state metrology.ZeroState
		words string
	}{
		{20, metrology.ZeroReturned, "came back"},
		{104, metrology.ZeroReturned, "came back"},
		{106, metrology.ZeroShifted, "moved up"},
		{-64, metrology.ZeroReturned, "came back"},
		{-66, metrology.ZeroShifted, "moved down"},
		{1019, metrology.ZeroShifted, "off by as much as the change"},
		{1021, metrology.ZeroExamine, "must be examined"},
		{-981, metrology.ZeroExamine, "moved down"},
	} {
		z, err := metrology.CheckZero(before, window(t, c.after, 5, 20), limit, capacity, steady)
		if err != nil {
			t.Fatal(err)
		}
		testkit.Near(t, "change", z.Change, c.after-20, testkit.Tol{Abs: 1e-9})
		if z.State != c.state || !strings.Contains(z.Meaning(), c.words) || z.Limit != limit || !(z.U > 5) {
			t.Errorf("%g after 20: %+v, %q", c.after, z, z.Meaning())
		}
		testkit.Near(t, "u of a reading in between", z.Component().U, math.Abs(c.after-20)/math.Sqrt(3), testkit.Tol{Abs: 1e-9})
	}
	_, err := metrology.CheckZero(before, window(t, 20, 60, 20), limit, capacity, steady)
	refused(t, "swings", err, metrology.Unsteady)
	_, err = metrology.CheckZero(before, before, math.NaN(), capacity, steady)
	refused(t, "no limit", err, fault.Missing)
}

func TestZeroLimitNotStated(t *testing.T) {
	for _, c := range []struct {
		what    string
		a       metrology.Accuracy
		limit   float64
		missing int
	}{
		{"nothing", metrology.Accuracy{Capacity: capacity, Limit: 0.001}, math.NaN(), 3},
		{"full scale", metrology.Accuracy{Capacity: capacity, Limit: 0.001, OfFullScale: true}, 50, 2},
		{"zero return", metrology.Accuracy{Capacity: capacity, Limit: 0.001, OfFullScale: true, ZeroReturn: new(0.0002)}, 10, 2},
		{"no temperature effect", metrology.Accuracy{Capacity: capacity, ZeroReturn: new(0.0002), ZeroPerK: new(0.0), Resolution: new(5.0)}, 15, 0},
		{"temperature unknown", metrology.Accuracy{Capacity: capacity, ZeroReturn: new(0.0002), ZeroPerK: new(0.1), Resolution: new(5.0)}, 15, 1},
	} {
		limit, missing := c.a.ZeroLimit(nil)
		if limit != c.limit && !(math.IsNaN(limit) && math.IsNaN(c.limit)) || len(missing) != c.missing {
			t.Errorf("%s: %g, missing %q; want %g, %d", c.what, limit, missing, c.limit, c.missing)
		}
	}
}
