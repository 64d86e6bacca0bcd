package crane_test

import (
	"math"
	"strconv"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"plumbhook/crane"
	"plumbhook/fault"
	"plumbhook/internal/testkit"
	"plumbhook/statics"
)

func weights(t testing.TB, n, at []float64) []crane.Weight {
	t.Helper()
	var out []crane.Weight
	for i := range n {
		out = append(out, crane.Weight{At: at[i], N: n[i]})
	}
	return out
}

// Published shares of loads between two supports, two with loads outside them.
func TestSupportsPublished(t *testing.T) {
	for _, c := range []struct{ id, at, span, ra, rb string }{
		{"F01", "distance from M", "span M to N", "RM", "RN"},
		{"F02", "distance from A", "supports A and B", "A", "B"},
		{"F03", "distance from A (first one is outside)", "span", "RA", "RB"},
	} {
		e := worked(t, c.id)
		n := numbers(t, e.Given, "loads")
		span := numbers(t, e.Given, c.span)
		ra, rb, err := crane.Supports(weights(t, n, numbers(t, e.Given, c.at)), 0, span[len(span)-1])
		if err != nil {
			t.Fatal(err)
		}
		e.near(t, c.ra, ra)
		e.near(t, c.rb, rb)
		sum := 0.0
		for _, v := range n {
			sum += v
		}
		testkit.Near(t, c.id+" closes", ra+rb, sum, testkit.Tol{ULPs: 4})
	}
	if _, _, err := crane.Supports([]crane.Weight{{At: 1, N: 1}}, 2, 2); err == nil {
		t.Error("two supports in one place share a load")
	}
}

func TestTiltShare(t *testing.T) {
	e := worked(t, "O04")
	span := number(t, e.Given, "distance between lift points L")
	deep := number(t, e.Given, "CG below the lift point line")
	h := crane.TwoHooks{Span: span, FromTwo: span - number(t, e.Given, "CG from hook 1"), Below1: deep, Below2: deep}
	tilt := deg(number(t, e.Given, "tilt"))
	// The answers are given to six digits.
	e.Tolerance.Abs = 5e-7
	e.near(t, "hook 1 level", h.Share(0))
	e.near(t, "hook 1 with its end high", h.Share(tilt))
	e.near(t, "hook 1 with its end low", h.Share(-tilt))
	one, two := h.Worst(tilt, 0, 0)
	e.near(t, "hook 1 with its end high", one)
	e.near(t, "hook 1 with its end low", 1-two)
	// Above the points the low end gains.
	h.Below1, h.Below2 = -deep, -deep
	if !(h.Share(-tilt) > h.Share(0) && h.Share(0) > h.Share(tilt)) {
		t.Errorf("centre of gravity above: low %v, level %v, high %v", h.Share(-tilt), h.Share(0), h.Share(tilt))
	}
	if s := h.Share(deg(95)); !math.IsNaN(s) {
		t.Errorf("past on end: %v", s)
	}
	if a, b := h.Worst(deg(95), 0, 0); !math.IsNaN(a) || !math.IsNaN(b) {
		t.Errorf("worst past on end: %v, %v", a, b)
	}
}

// The widening by the place of the centre of gravity, worked by hand: 20 m,
// 11 m from hook 2, level; half a metre either way is 0.025 of the load.
func TestWorstShareByHand(t *testing.T) {
	h := crane.TwoHooks{Span: 20, FromTwo: 11, Below1: 2, Below2: 2}
	one, two := h.Worst(0, 0.5, 0.3)
	testkit.Near(t, "hook 1", one, 0.575, testkit.Tol{ULPs: 4})
	testkit.Near(t, "hook 2", two, 0.475, testkit.Tol{ULPs: 4})
	// Turned by atan(0.1) the depth counts a tenth: (11 + 0.5 + 0.1 × 2.3)/20,
	// and for hook 2 (9 + 0.5 + 0.1 × 2.3)/20.
	one, two = h.Worst(math.Atan(0.1), 0.5, 0.3)
	testkit.Near(t, "hook 1, turned", one, 0.5865, testkit.Tol{Rel: 1e-14})
	testkit.Near(t, "hook 2, turned", two, 0.4865, testkit.Tol{Rel: 1e-14})
}

// The closed form against the hung model: two hooks plumb over the points of
// a body that is turned.
func TestTiltShareHangs(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		h := crane.TwoHooks{Span: rapid.Float64Range(2, 30).Draw(t, "span")}
		h.FromTwo = rapid.Float64Range(0.2, 0.8).Draw(t, "from two") * h.Span
		h.Below1 = rapid.Float64Range(0.2, 4).Draw(t, "below 1")
		h.Below2 = rapid.Float64Range(0.2, 4).Draw(t, "below 2")
		tilt := rapid.Float64Range(-0.15, 0.15).Draw(t, "tilt")
		if s := h.Share(tilt); s < 0.02 || s > 0.98 {
			t.Skip("one line near slack")
		}
		// The body's origin is its centre of gravity; turning about +y by a
		// positive angle lifts what lies at -x.
		points := []statics.Vec{{h.FromTwo - h.Span, 0, h.Below1}, {h.FromTwo, 0, h.Below2}}
		turned := statics.Exp(statics.Vec{0, tilt, 0})
		m := statics.Model{Gravity: g0, Bodies: []statics.Body{{Mass: 10_000, Start: statics.Pose{R: turned}}}}
		for _, p := range points {
			at := turned.Apply(p).Add(statics.Vec{0, 0, 12})
			m.Cables = append(m.Cables, statics.Cable{
				Path:   []statics.Point{{On: statics.World, At: at}, {On: statics.OnBody, At: p}},
				Length: 12,
			})
		}
		pull, err := hang(&m)
		if err != nil {
			t.Fatal(err)
		}
		w := 10_000 * g0
		testNear(t, "hook 1", pull[0]/w, h.Share(tilt), 1e-9)
		testNear(t, "hook 2", pull[1]/w, 1-h.Share(tilt), 1e-9)

		// The hooks' difference in height, against level, gives the tilt back.
		rise := m.Cables[0].Path[0].At[2] - m.Cables[1].Path[0].At[2] - (h.Below1 - h.Below2)
		back, err := h.Tilt(rise)
		if err != nil {
			t.Fatal(err)
		}
		testNear(t, "tilt", back, tilt, 1e-12)

		one, two := h.Worst(math.Abs(tilt), 0.1, 0.1)
		for _, s := range []float64{0, 0.3, 1} {
			if v := h.Share(tilt * s); v > one+1e-12 || 1-v > two+1e-12 {
				t.Fatalf("share %v beyond the worst, %v and %v", v, one, two)
			}
		}
	})
}

// hang gives the pull in each line of a model.
func hang(m *statics.Model) ([]float64, error) {
	s, err := statics.NewSolver(m)
	if err != nil {
		return nil, err
	}
	r := s.Hang()
	return r.Tension, r.Err()
}

func testNear(t *rapid.T, what string, got, want, abs float64) {
	if !(math.Abs(got-want) <= abs) {
		t.Fatalf("%s = %.15g, want %.15g", what, got, want)
	}
}

func TestTiltOfRise(t *testing.T) {
	h := crane.TwoHooks{Span: 20, FromTwo: 11, Below1: 2, Below2: 2}
	// A metre in twenty.
	got, err := h.Tilt(1)
	if err != nil {
		t.Fatal(err)
	}
	testkit.Near(t, "tilt", got, math.Asin(0.05), testkit.Tol{ULPs: 2})
	for _, rise := range []float64{20.1, -20.1, math.NaN(), math.Inf(1)} {
		_, err := h.Tilt(rise)
		refused(t, err, fault.Range, "do not fit")
	}
	_, err = crane.TwoHooks{}.Tilt(0)
	refused(t, err, fault.Range)
}

func TestReductionsAgainstTheirSources(t *testing.T) {
	rows := table(t, "several-cranes.csv")
	n := 0
	for _, r := range crane.Reductions {
		n += len(r.Margins)
	}
	if n != len(rows) {
		t.Errorf("%d margins, %d in testdata", n, len(rows))
	}
	for _, row := range rows {
		r, err := crane.Reduce(row["reduction"])
		if err != nil {
			t.Fatal(err)
		}
		ok := string(r.Standing) == row["standing"]
		has := false
		for _, m := range r.Margins {
			has = has || strconv.Itoa(m.Cranes) == row["cranes"] &&
				strconv.FormatFloat(m.Load, 'f', -1, 64) == strings.TrimRight(strings.TrimRight(row["load"], "0"), ".") &&
				strconv.FormatFloat(m.Keep, 'f', -1, 64) == row["keep"]
		}
		if !ok || !has {
			t.Errorf("%+v is not %+v", r, row)
		}
	}
	_, err := crane.Reduce("elsewhere")
	refused(t, err, fault.Reference, "queensland or british")
}

// machines makes uses of the given shares of a capacity of 10 t each.
func machines(t testing.TB, shares ...float64) []crane.Use {
	var out []crane.Use
	for i, s := range shares {
		u := judged(t, s, crane.Situation{Cranes: len(shares)})
		u.Where = "crane." + strconv.Itoa(i+1)
		out = append(out, u)
	}
	return out
}

func TestTogether(t *testing.T) {
	for _, c := range []struct {
		name   string
		shares []float64
		want   []float64 // of the reduced capacity
	}{
		{"queensland", []float64{0.8, 0.5}, []float64{0.96, 0.6}},
		{"queensland", []float64{0.84, 0.5}, []float64{1.008, 0.6}},
		{"queensland", []float64{0.75, 0.5, 0.76}, []float64{0.9975, 0.665, 1.0108}},
		{"queensland", []float64{0.6, 0.6, 0.6, 0.68}, []float64{0.9, 0.9, 0.9, 1.02}},
		{"queensland", []float64{0.6, 0.6, 0.6, 0.6, 0.68}, []float64{0.9, 0.9, 0.9, 0.9, 1.02}},
		{"british", []float64{0.72, 0.78}, []float64{0.96, 1.04}},
		{"british", []float64{0.72, 0.6, 0.6}, []float64{0.96, 0.8, 0.8}},
	} {
		r, err := crane.Reduce(c.name)
		if err != nil {
			t.Fatal(err)
		}
		parts, err := crane.Together(r, machines(t, c.shares...))
		if err != nil {
			t.Fatal(err)
		}
		sum := 0.0
		for i, p := range parts {
			testkit.Near(t, c.name, *p.Share, c.want[i], testkit.Tol{Rel: 1e-12})
			sev, status := crane.Note, crane.Holds
			if c.want[i] > 1 {
				sev, status = crane.Stop, crane.Fails
			}
			f := one(t, p.Findings, "joint-reduction", sev, p.Where, c.name)
			if p.Status != status || f.Where != p.Where || *f.Limit != *p.ReducedN || f.Unit != "N" {
				t.Errorf("%s, crane %d: %s, %+v", c.name, i, p.Status, f)
			}
			if strings.Contains(f.Text, "from memory") != (r.Standing == crane.FromMemory) {
				t.Errorf("%s: %s", c.name, f.Text)
			}
			sum += p.Of
		}
		testkit.Near(t, "shares of the load", sum, 1, testkit.Tol{Abs: 1e-15 * 4})
	}
}

func TestTogetherNeedsARuleSet(t *testing.T) {
	parts, err := crane.Together(nil, machines(t, 0.5, 0.5))
	if err != nil {
		t.Fatal(err)
	}
	for _, p := range parts {
		if p.Status != crane.NotAssessed || p.ReducedN != nil {
			t.Errorf("%+v", p)
		}
		one(t, p.Findings, "joint-reduction", crane.Caution, "names no rule set")
	}
	r := &crane.Reductions[0]
	_, err = crane.Together(r, machines(t, 0.5))
	refused(t, err, fault.Range, "two cranes")
	_, err = crane.Together(r, make([]crane.Use, 2))
	refused(t, err, fault.Range, "carry nothing")
	// A machine outside its chart fails, and one with lines missing is not
	// assessed: the reduction does not make it hold.
	both := machines(t, 0.5, 0.5)
	both[0].CapacityN, both[0].Status = nil, crane.Fails
	both[1].Status = crane.NotAssessed
	parts, err = crane.Together(r, both)
	if err != nil {
		t.Fatal(err)
	}
	if parts[0].Status != crane.Fails || parts[1].Status != crane.NotAssessed {
		t.Errorf("%s, %s", parts[0].Status, parts[1].Status)
	}
}
