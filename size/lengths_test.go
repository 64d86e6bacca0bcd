package size

import (
	"fmt"
	"math"
	"os"
	"slices"
	"strings"
	"testing"

	"gonum.org/v1/gonum/mat"
	"pgregory.net/rapid"

	"plumbhook/fault"
	"plumbhook/internal/testkit"
	"plumbhook/lift"
	"plumbhook/quantity"
)

// TestTwoLegs: with one leg fixed at L, lugs a and b beside the CG in plan and
// at heights za and zb, the hook hangs plumb over the CG at za + √(L² - a²), and
// the other leg is the distance from there.
func TestTwoLegs(t *testing.T) {
	const a, za, b, zb, fixed = 0.9, 1.1, 0.5, 1.4, 2.2
	height := za + math.Sqrt(fixed*fixed-a*a)
	want := math.Hypot(b, height-zb)
	l := bridle{mass: "1200 kg", cg: "0.2 0.03 0.4 m", lugs: []string{"-0.7 0.03 1.1 m", "0.7 0.03 1.4 m"}, lengths: []float64{fixed, 2.4}}.lift(t)
	got := level(t, l, Range{Leg: "l1", Min: 1, Max: 3})
	testkit.Near(t, "length", got.Exact.Legs[1].To, want, testkit.Tol{Abs: 1e-7})
	testkit.Near(t, "fixed length", got.Exact.Legs[0].To, fixed, testkit.Tol{})
	testkit.NearAll(t, "hook in the load's axes", got.Exact.HookOver[0][:], []float64{0.2, 0.03, height}, testkit.Tol{Abs: 1e-6})
	testkit.Near(t, "practical length", got.Practical.Legs[1].To, math.Round(want*1000)/1000, testkit.Tol{Abs: 1e-12})
	if !got.Reached || len(got.Reasons) > 0 || got.Exact.Legs[0].Sized || !got.Exact.Legs[1].Sized {
		t.Errorf("reached %v, %v", got.Reached, got.Reasons)
	}
	// Mechanics: horizontal pulls cancel, vertical ones carry the weight.
	w := 1200 * float64(quantity.StandardGravity)
	ta := w / ((height-za)/fixed + a/fixed*(height-zb)/b)
	testkit.Near(t, "tension", got.Exact.Legs[0].TensionN, ta, testkit.Tol{Rel: 1e-6})
	testkit.Near(t, "tension factor", got.Exact.Legs[0].Factor, fixed/(height-za), testkit.Tol{Rel: 1e-6})
}

// TestFourLegs: whatever height the hook comes to, the unloaded lengths are
// those between hook and lugs less the stretch under the tensions of least
// sum of squares, t = Aᵀ (A Aᵀ)⁻¹ w.
func TestFourLegs(t *testing.T) {
	lugs := [][3]float64{{-1.5, 0.5, 1.1}, {1.4, 0.6, 1.1}, {1.5, -0.5, 1.0}, {-1.5, -0.5, 1.2}}
	b := bridle{mass: "6400 kg", cg: "0.25 -0.02 0.55 m", lengths: []float64{3, 3.05, 3, 2.95}, leg: ", stiffness: 15 MN/m"}
	for _, p := range lugs {
		b.lugs = append(b.lugs, fmt.Sprintf("%g %g %g m", p[0], p[1], p[2]))
	}
	l := b.lift(t)
	got := level(t, l).Exact
	a := mat.NewDense(3, 4, nil)
	for i, p := range lugs {
		for k := range 3 {
			a.Set(k, i, (got.HookOver[0][k]-p[k])/distance(got.HookOver[0], p))
		}
	}
	var gram mat.Dense
	gram.Mul(a, a.T())
	var half, share mat.VecDense
	if err := half.SolveVec(&gram, mat.NewVecDense(3, []float64{0, 0, 6400 * float64(quantity.StandardGravity)})); err != nil {
		t.Fatal(err)
	}
	share.MulVec(a.T(), &half)
	for i, p := range lugs {
		leg := got.Legs[i]
		testkit.Near(t, leg.Name+" tension", leg.TensionN, share.AtVec(i), testkit.Tol{Rel: 1e-6})
		testkit.Near(t, leg.Name+" share", leg.ShareN, share.AtVec(i), testkit.Tol{Rel: 1e-6})
		testkit.Near(t, leg.Name+" length", leg.To, distance(got.HookOver[0], p)-share.AtVec(i)/15e6, testkit.Tol{Abs: 1e-9})
	}
	testkit.Near(t, "off", float64(got.Off), 0, testkit.Tol{Abs: 1e-7})
	testkit.Near(t, "misfit", got.Misfit, 0, testkit.Tol{Abs: 1e-9})
}

// TestLevelAfterwards: a load whose file is given the lengths that were found
// hangs level, whatever it was like before, slack legs included.
func TestLevelAfterwards(t *testing.T) {
	testkit.Alone(t)
	rapid.Check(t, func(r *rapid.T) {
		n := rapid.IntRange(2, 4).Draw(r, "legs")
		num := func(name string, low, high float64) float64 { return rapid.Float64Range(low, high).Draw(r, name) }
		// Lugs round the CG, so that every leg has something to bear.
		at := [3]float64{num("x", -1, 1), num("y", -1, 1), num("z", -0.5, 0.5)}
		b := bridle{mass: fmt.Sprintf("%.6g kg", num("mass", 100, 20000)), cg: fmt.Sprintf("%.9f %.9f %.9f m", at[0], at[1], at[2])}
		turn := num("turn", 0, 6)
		for i := range n {
			angle := turn + 2*math.Pi/float64(n)*(float64(i)+num("aside", -0.15, 0.15))
			if n == 2 {
				angle = turn + math.Pi*float64(i)
			}
			far := num("far", 0.5, 1.5)
			b.lugs = append(b.lugs, fmt.Sprintf("%.9f %.9f %.9f m", at[0]+far*math.Cos(angle), at[1]+far*math.Sin(angle), at[2]+num("over", 0.3, 1)))
			b.lengths = append(b.lengths, 3+num("uneven", -0.3, 0.3))
		}
		if n == 4 || rapid.Bool().Draw(r, "stretches") {
			b.leg = fmt.Sprintf(", stiffness: %.6g MN/m", num("stiffness", 1, 40))
		}
		a, err := Level(read(t, b.text()), Goal{Within: 0.5 * degree}, Margin{}, nil)
		if err != nil {
			r.Fatal(err)
		}
		if len(a.Reasons) > 0 && a.Exact.Off > 1e-5 {
			r.Fatalf("not level by %g rad: %s", a.Exact.Off, told(a.Reasons))
		}
		for i, leg := range a.Exact.Legs {
			b.lengths[i] = leg.To
		}
		rig, err := lift.NewRig(read(t, b.text()))
		if err != nil {
			r.Fatal(err)
		}
		h, err := rig.Hang()
		if err != nil {
			r.Fatal(err)
		}
		if h.Bodies[0].Tilt > 1e-5 {
			r.Errorf("hangs %g rad off level", h.Bodies[0].Tilt)
		}
		for i := range h.Legs {
			if h.Legs[i].Slack {
				r.Errorf("leg %s is slack", h.Legs[i].Name)
			}
		}
		if n == 4 && a.Exact.Misfit > 1e-6 {
			r.Errorf("the legs miss their fit by %g m", a.Exact.Misfit)
		}
	})
}

// TestTilt: a wanted tilt comes out on the side wanted, as the hung lift
// itself tells it.
func TestTilt(t *testing.T) {
	l := bridle{
		mass: "4 t", cg: "0.1 0.1 0.4 m", lugs: []string{"-1 1 1 m", "1 1 1 m", "1 -1 1 m", "-1 -1 1 m"},
		lengths: []float64{3, 3, 3, 3}, leg: ", stiffness: 20 MN/m",
	}.lift(t)
	for _, low := range []float64{0, 90, -120} {
		a, err := Level(l, Goal{Tilt: *rad(4), LowSide: *rad(low), Within: *rad(0.1)}, Margin{}, nil)
		if err != nil {
			t.Fatal(err)
		}
		b := &a.Exact.Hung.Bodies[0]
		testkit.Near(t, "tilt", b.Tilt, 4*degree, testkit.Tol{Abs: 1e-6})
		testkit.Near(t, "low side", *b.LowSide, low*degree, testkit.Tol{Abs: 1e-5})
		if !a.Reached {
			t.Errorf("low side %g: %s", low, told(a.Reasons))
		}
	}
}

// TestSteps: with a chain's pitch the practical lengths are whole links from
// the file's, and no other whole links nearby hang the load better by more
// than going further is counted.
func TestSteps(t *testing.T) {
	const pitch = 0.03
	l := bridle{mass: "2 t", cg: "0.15 0 0.4 m", lugs: []string{"-0.8 0 1.1 m", "0.8 0 1.1 m"}, lengths: []float64{2.5, 2.5}, leg: ", stiffness: 10 MN/m"}.lift(t)
	ranges := []Range{{"l0", 2.5 - 20*pitch, 2.5, pitch}, {"l1", 2.5 - 20*pitch, 2.5, pitch}}
	a := level(t, l, ranges...)
	for _, leg := range a.Practical.Legs {
		links := (leg.From - leg.To) / pitch
		if math.Abs(links-math.Round(links)) > 1e-9 || links < 0 || links > 20 {
			t.Errorf("leg %s is shortened by %g links", leg.Name, links)
		}
	}
	w, err := open(l, a.Goal, Margin{}, ranges, holdsLoad)
	if err != nil {
		t.Fatal(err)
	}
	off := func(x ...float64) float64 {
		_, h, err := w.rig(x)
		if err != nil {
			t.Fatal(err)
		}
		return h.Bodies[0].Tilt
	}
	best := math.Inf(1)
	for i := range 4 {
		for j := range 4 {
			best = min(best, off(2.5-float64(i)*pitch, 2.5-float64(j)*pitch))
		}
	}
	got := off(a.Practical.Legs[0].To, a.Practical.Legs[1].To)
	if got > best+0.1*degree {
		t.Errorf("hangs %.3f° off level, and %.3f° can be had", got/degree, best/degree)
	}
	testkit.Near(t, "off", float64(a.Practical.Off), got, testkit.Tol{Abs: 1e-9})
}

// TestShackles: a leg that can only grow, by whole shackles.
func TestShackles(t *testing.T) {
	l := bridle{mass: "2 t", cg: "0.1 0 0.4 m", lugs: []string{"-0.8 0 1.1 m", "0.8 0 1.1 m"}, lengths: []float64{2.5, 2.5}}.lift(t)
	a := level(t, l, Range{"l0", 2.5, 2.5 + 3*0.084, 0.084})
	if got := a.Practical.Legs[0].To; math.Abs(got-2.584) > 1e-9 {
		t.Errorf("length %g, want one shackle more than 2.5", got)
	}
	if off := a.Practical.Off; off < exactly || !a.Reached && off < 0.5*degree {
		t.Errorf("a whole shackle leaves %g rad, reached %v", off, a.Reached)
	}
}

// TestCannot: what cannot be had is told, with the reason.
func TestCannot(t *testing.T) {
	two := bridle{mass: "2 t", cg: "0.3 0.05 0.4 m", lugs: []string{"-0.8 0 1.1 m", "0.8 0 1.1 m"}, lengths: []float64{2.5, 2.5}}
	t.Run("shortening too small", func(t *testing.T) {
		a := level(t, two.lift(t), Range{Leg: "l1", Min: 2.45, Max: 2.5})
		if a.Reached || !strings.Contains(told(a.Reasons), "leg l1 is at its shortest, 2.450 m") {
			t.Errorf("reached %v: %s", a.Reached, told(a.Reasons))
		}
	})
	t.Run("CG beside the line of the lugs", func(t *testing.T) {
		a := level(t, two.lift(t))
		if a.Reached || !strings.Contains(told(a.Reasons), "lies 0.050 m beside the upright plane") {
			t.Errorf("reached %v: %s", a.Reached, told(a.Reasons))
		}
		// All that lengths can do is done: what remains is atan(0.05 / 0.7).
		testkit.Near(t, "off", float64(a.Exact.Off), math.Atan(0.05/0.7), testkit.Tol{Abs: 1e-5})
	})
	t.Run("every leg fixed", func(t *testing.T) {
		a := level(t, two.lift(t), Range{Leg: "l0", Min: 2.5, Max: 2.5})
		if a.Reached || a.Practical.Legs[0].To != 2.5 {
			t.Errorf("reached %v at %g", a.Reached, a.Practical.Legs[0].To)
		}
	})
}

// TestRefusals: a question without an answer is a fault that says where.
func TestRefusals(t *testing.T) {
	two := bridle{mass: "2 t", cg: "0 0 0.4 m", lugs: []string{"-0.8 0 1.1 m", "0.8 0 1.1 m"}, lengths: []float64{2.5, 2.5}}
	l := two.lift(t)
	two.hook, two.more = "at: 0 0 4 m", "supports: {heel: {at: load.l0, level: 0 m}}\nties: {bolt: {at: load.l1, to: 0 0 0 m}}\n"
	held := two.lift(t)
	four := bridle{mass: "2 t", cg: "0 0 0.4 m", lugs: []string{"-1 1 1 m", "1 1 1 m", "1 -1 1 m", "-1 -1 1 m"}, lengths: []float64{3, 3, 3, 3}}.lift(t)
	for _, k := range []struct {
		name   string
		lift   *lift.Lift
		ranges []Range
		code   fault.Code
		where  string
	}{
		{"no such leg", l, []Range{{Leg: "west", Min: 1, Max: 2}}, fault.Reference, ""},
		{"upside down", l, []Range{{Leg: "l0", Min: 3, Max: 2}}, fault.Range, "legs.l0"},
		{"nothing", l, []Range{{Leg: "l0", Min: 0, Max: 2}}, fault.Range, "legs.l0"},
		{"no number", l, []Range{{Leg: "l0", Min: 1, Max: math.NaN()}}, fault.Range, "legs.l0"},
		{"between the steps", l, []Range{{Leg: "l0", Min: 2.41, Max: 2.49, Step: 0.1}}, fault.Range, "legs.l0"},
		{"twice", l, []Range{{Leg: "l0", Min: 1, Max: 2}, {Leg: "l0", Min: 1, Max: 2}}, fault.Duplicate, "legs.l0"},
		{"held", held, nil, fault.Unsupported, "supports.heel"},
		{"four without stiffness", four, nil, fault.Undecided, "legs.l0"},
	} {
		t.Run(k.name, func(t *testing.T) {
			_, err := Level(k.lift, Goal{}, Margin{}, k.ranges)
			list := fault.Of(err)
			if len(list) == 0 {
				t.Fatal("no fault")
			}
			f := list[0]
			if f.Code != k.code || f.Where != k.where || k.where != "" && f.Pos.Line == 0 || f.Do == "" {
				t.Errorf("%s in %q at %v: %v", f.Code, f.Where, f.Pos, f)
			}
		})
	}
	if _, err := Level(held, Goal{}, Margin{}, nil); len(fault.Of(err)) != 2 {
		t.Errorf("both the support and the tie should be told: %v", err)
	}
}

// TestSlack: legs that hang slack in the file are brought to bear, whether or
// not they stretch.
func TestSlack(t *testing.T) {
	four := bridle{
		mass: "4 t", cg: "0.1 0.1 0.4 m", lugs: []string{"-1 1 1 m", "1 1 1 m", "1 -1 1 m", "-1 -1 1 m"},
		lengths: []float64{3, 3.2, 3, 3.3}, leg: ", stiffness: 20 MN/m",
	}
	// From one lug alone the other comes to within 2 m of the hook.
	two := bridle{mass: "1 t", cg: "0.1 0 0 m", lugs: []string{"-0.5 0 0.5 m", "0.5 0 0.5 m"}, lengths: []float64{1, 3}}
	soft := two
	soft.leg = ", stiffness: 2 MN/m"
	for _, b := range []bridle{four, two, soft} {
		a := level(t, b.lift(t))
		if a.Now < 1*degree || a.Exact.Off > 1e-6 || a.Exact.Misfit > 1e-8 || slices.ContainsFunc(a.Exact.Legs, func(g Leg) bool { return g.Slack }) {
			t.Errorf("%g legs: off %g before and %g after, misfit %g", b.lengths, a.Now, a.Exact.Off, a.Exact.Misfit)
		}
	}
}

// TestSame: the same question gets the same answer to the last bit.
func TestSame(t *testing.T) {
	l := example(t, "pump-motor")
	first, again := level(t, l), level(t, l)
	for i := range first.Exact.Legs {
		a, b := first.Exact.Legs[i], again.Exact.Legs[i]
		if a.To != b.To || a.TensionN != b.TensionN || *first.Practical.Legs[i].P95N != *again.Practical.Legs[i].P95N {
			t.Errorf("leg %s: %v and %v", a.Name, a, b)
		}
	}
}

// TestBounded: against every combination of entries held at their limits and
// free, the best of which is the answer of a convex problem.
func TestBounded(t *testing.T) {
	rapid.Check(t, func(r *rapid.T) {
		n := rapid.IntRange(1, 4).Draw(r, "n")
		num := rapid.Float64Range(-2, 2)
		a, b := mat.NewDense(n+2, n, nil), make([]float64, n+2)
		low, high := make([]float64, n), make([]float64, n)
		for i := range n {
			low[i], high[i] = -rapid.Float64Range(0, 1).Draw(r, "low"), rapid.Float64Range(0, 1).Draw(r, "high")
		}
		for i := range n + 2 {
			b[i] = num.Draw(r, "b")
			for k := range n {
				a.Set(i, k, num.Draw(r, "a"))
				if i == k {
					a.Set(i, k, a.At(i, k)+5) // independent columns
				}
			}
		}
		sum := func(d []float64) float64 {
			var v mat.VecDense
			v.MulVec(a, mat.NewVecDense(n, d))
			v.SubVec(&v, mat.NewVecDense(n+2, b))
			return mat.Dot(&v, &v)
		}
		got := bounded(a, b, low, high)
		best := math.Inf(1)
		for held := range int(math.Pow(3, float64(n))) {
			d, free := make([]float64, n), []int{}
			for i, h := 0, held; i < n; i, h = i+1, h/3 {
				switch h % 3 {
				case 0:
					d[i] = low[i]
				case 1:
					d[i] = high[i]
				default:
					free = append(free, i)
				}
			}
			if len(free) > 0 {
				sub, rest := mat.NewDense(n+2, len(free), nil), mat.NewVecDense(n+2, nil)
				rest.MulVec(a, mat.NewVecDense(n, d))
				rest.SubVec(mat.NewVecDense(n+2, b), rest)
				for k, i := range free {
					sub.SetCol(k, mat.Col(nil, i, a))
				}
				var s mat.VecDense
				if err := s.SolveVec(sub, rest); err != nil {
					continue
				}
				inside := true
				for k, i := range free {
					d[i] = s.AtVec(k)
					inside = inside && d[i] >= low[i] && d[i] <= high[i]
				}
				if !inside {
					continue
				}
			}
			best = min(best, sum(d))
		}
		for i := range got {
			if got[i] < low[i] || got[i] > high[i] {
				r.Fatalf("entry %d = %g outside %g..%g", i, got[i], low[i], high[i])
			}
		}
		if s := sum(got); s > best+1e-9*(1+best) {
			r.Fatalf("sum %g, and %g can be had", s, best)
		}
	})
}

// TestOtherRigs: rigs of several tiers, hooks and many legs. What is called
// reached is, and what is called a fit fits.
func TestOtherRigs(t *testing.T) {
	testkit.Alone(t)
	for _, name := range []string{"three-tier", "two-tier-frame", "two-hooks", "leaning-legs-holds", "stiff-four-legs"} {
		t.Run(name, func(t *testing.T) {
			data, err := os.ReadFile("../validation/second/testdata/" + name + ".yaml")
			if err != nil {
				t.Fatal(err)
			}
			l := read(t, string(data))
			g := Goal{Within: 0.5 * degree}
			a, err := Level(l, g, Margin{}, nil)
			if err != nil {
				t.Fatal(err)
			}
			if a.Exact.Off > a.Now+1e-9 {
				t.Errorf("%g rad off level, and %g before", a.Exact.Off, a.Now)
			}
			reached := a.Practical.Off <= g.Within && a.Practical.Hung.Stable && !slices.ContainsFunc(a.Practical.Legs, func(x Leg) bool { return x.Slack })
			if a.Reached != reached || !reached && len(a.Reasons) == 0 {
				t.Errorf("reached %v: %s", a.Reached, told(a.Reasons))
			}
			for _, limit := range []float64{3, 6} {
				h, err := Under(l, limit, g, Margin{}, nil)
				if err != nil {
					t.Fatal(err)
				}
				got := h.Longest.Practical.Hung.HeadroomM
				if over := strings.Contains(told(h.Reasons), "no lengths fit"); over != (got > limit+1e-4) || h.Fits && over {
					t.Errorf("takes %g m of %g, fits %v: %s", got, limit, h.Fits, told(h.Reasons))
				}
			}
		})
	}
}
