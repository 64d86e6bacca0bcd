package weigh_test

import (
	"fmt"
	"math"
	"os"
	"strings"
	"testing"
	"testing/fstest"
	"time"

	"pgregory.net/rapid"

	"plumbhook/fault"
	"plumbhook/internal/testkit"
	"plumbhook/metrology"
	"plumbhook/quantity"
	"plumbhook/weigh"
)

const deg = math.Pi / 180

// The figures were computed from the constants of WGS 84 by another program;
// 9.7997 at 55 deg and 5000 m is a published check.
func TestNormalGravity(t *testing.T) {
	for _, c := range []struct{ latitude, height, g, tol float64 }{
		{0, 0, 9.780325336, 5e-10},
		{15, 0, 9.783784962, 5e-10},
		{30, 0, 9.793247269, 5e-10},
		{40, 0, 9.801696863, 5e-10},
		{45, 0, 9.806197769, 5e-10},
		{50, 0, 9.810702136, 5e-10},
		{-55, 0, 9.815072947, 5e-10},
		{60, 0, 9.819176953, 5e-10},
		{70, 0, 9.826094764, 5e-10},
		{90, 0, 9.832184938, 5e-10},
		{45, 1000, 9.803112944, 1e-8},
		{55, 5000, 9.799667, 5e-7},
		{55, 5000, 9.7997, 5e-5},
	} {
		testkit.Near(t, fmt.Sprintf("at %g deg, %g m", c.latitude, c.height), weigh.NormalGravity(c.latitude*deg, c.height), c.g, testkit.Tol{Abs: c.tol})
	}
}

// Four cells of 50 t, 0.1 % of full scale, each reading 10 t: independent, or in
// common because of one machine (JCGM 100:2008, 5.2.2: then errors add as they
// are). A common error of scale moves the weight and leaves the centre.
func TestOneMachine(t *testing.T) {
	const tonne = 9806.65
	corners := []quantity.Point{at(0, 0, 0), at(6, 0, 0), at(6, 4, 0), at(0, 4, 0)}
	four := func(a metrology.Accuracy) *weigh.Result {
		s := survey(corners, 0)
		for i := range s.Cells {
			a.Resolution = new(float64)
			s.Cells[i].Accuracy = a
		}
		place(s, 10*tonne, 10*tonne, 10*tonne, 10*tonne)
		return solve(t, s)
	}
	apart := four(metrology.Accuracy{Capacity: 50 * tonne, Limit: 0.001, OfFullScale: true})
	testkit.Near(t, "independent, t", apart.Force.Budget.U()/tonne, 0.0577, testkit.Tol{Abs: 5e-5})
	common := four(metrology.Accuracy{Capacity: 50 * tonne, Limit: 0.001, OfFullScale: true, Machine: "bench"})
	testkit.Near(t, "in common, t", common.Force.Budget.U()/tonne, 0.1155, testkit.Tol{Abs: 5e-5})
	scale := four(metrology.Accuracy{Capacity: 50 * tonne, Machine: "bench", MachineLimit: new(0.001)})
	testkit.Near(t, "scale", scale.Force.Budget.U()/scale.Force.Value, 0.001/math.Sqrt(3), testkit.Tol{Rel: 1e-9})
	if u := scale.CG[0].Budget.U(); u > 1e-9 {
		t.Errorf("an error of scale moves the centre by %g m", u)
	}
}

func TestBuoyancyAndGravity(t *testing.T) {
	s := survey([]quantity.Point{at(0, 0, 0)}, 0)
	place(s, 10000)
	s.Gravity = weigh.MeasuredGravity(quantity.Known(quantity.Acceleration(9.81)))
	testkit.Near(t, "mass without air", solve(t, s).Mass.Value, 10000/9.81, testkit.Tol{Rel: 1e-12})
	s.Air = &weigh.Air{Density: quantity.Known(quantity.Density(1.2)), Object: quantity.Known(quantity.Density(7850))}
	// Steel is 0.015 % light in air, concrete of 2400 kg/m3 0.05 %.
	r := solve(t, s)
	testkit.Near(t, "steel", r.Mass.Value/(10000/9.81)-1, 0.00015, testkit.Tol{Abs: 5e-6})
	testkit.Near(t, "weight", r.Weight.Value, r.Mass.Value*9.81, testkit.Tol{Rel: 1e-12})
	s.Air.Object = quantity.Known(quantity.Density(2400))
	testkit.Near(t, "concrete", solve(t, s).Mass.Value/(10000/9.81)-1, 0.0005, testkit.Tol{Abs: 5e-6})
}

// truth balances four supports by the lever rule, each corner by its own area,
// and adds a twist.
func truth(w, x, y, twist float64) []float64 {
	x, y = x/6, y/4
	return []float64{w*(1-x)*(1-y) + twist, w*x*(1-y) - twist, w*x*y + twist, w*(1-x)*y - twist}
}

var corners = []quantity.Point{at(0, 0, 0), at(6, 0, 0), at(6, 4, 0), at(0, 4, 0)}

// Four cells in one placement give weight and centre whatever the floor does to
// the split, and cannot see a wrong cell. Swapped round they can.
func TestSuspectCell(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		w, x, y := rapid.Float64Range(5e4, 5e5).Draw(t, "W"), rapid.Float64Range(1.5, 4.5).Draw(t, "x"), rapid.Float64Range(1, 3).Draw(t, "y")
		bad := rapid.IntRange(0, 3).Draw(t, "bad cell")
		u := w / 5000
		shift := u * rapid.Float64Range(18, 60).Draw(t, "shift") * float64(1-2*rapid.IntRange(0, 1).Draw(t, "sign"))
		s := survey(corners, u)
		weighed := func(s *weigh.Survey, cells [4]int) {
			f := truth(w, x, y, w*rapid.Float64Range(-0.05, 0.05).Draw(t, "twist"))
			for k := range f {
				if cells[k] == bad {
					f[k] += shift
				}
			}
			p := place(s, f...)
			for k := range p.Seats {
				p.Seats[k].Cell = cells[k]
			}
		}
		for _, cells := range [][4]int{{0, 1, 2, 3}, {1, 0, 2, 3}, {0, 2, 1, 3}, {3, 1, 2, 0}} {
			weighed(s, cells)
		}
		one := *s
		one.Placements = one.Placements[:1]
		r, err := weigh.Weigh(&one)
		if err != nil {
			t.Fatal(err)
		}
		if q := r.Redundancy; q.DoF != 0 || q.Judged || q.Suspect != "" || !strings.Contains(q.Text, "4 cells in one placement do not check each other") {
			t.Errorf("one placement: %+v", q)
		}
		testkitNear(t, "the weight is off by the cell", r.Force.Value, w+shift)
		if r, err = weigh.Weigh(s); err != nil {
			t.Fatal(err)
		}
		q := r.Redundancy
		if q.DoF != 9 || !q.Judged || q.Agrees || q.Suspect != fmt.Sprint(bad) || r.Outcome != weigh.Fails {
			t.Fatalf("cell %d off by %g (u %g): %+v", bad, shift, u, q)
		}
		if got := q.Cells[0].Shift; q.Cells[0].Kind == "zero" && math.Abs(got-shift) > 0.1*math.Abs(shift) {
			t.Errorf("found a shift of %g, was %g", got, shift)
		}
		// Cells that only go round together keep their opposite: the one off by so
		// much looks as the other off by as much the other way.
		round := survey(corners, u)
		for turn := range 4 {
			weighed(round, [4]int{turn, (turn + 1) % 4, (turn + 2) % 4, (turn + 3) % 4})
		}
		if r, err = weigh.Weigh(round); err != nil {
			t.Fatal(err)
		}
		if q := r.Redundancy; q.Agrees || q.Suspect != "" || !strings.Contains(q.Text, "cannot be told") {
			t.Errorf("going round: %+v", q)
		}
	})
}

func testkitNear(t *rapid.T, what string, got, want float64) {
	if !(testkit.Tol{Rel: 1e-9}).Holds(got, want) {
		t.Errorf("%s: %g, want %g", what, got, want)
	}
}

// When every cell is as stated, nobody is blamed more often than one time in
// twenty, nor named more than rarely.
func TestNoFalseBlame(t *testing.T) {
	blamed, named := 0, 0
	const n = 300
	for seed := range uint64(n) {
		w := newWorld(seeded(seed), square, 0.004)
		w.stand("level", 0, []int{0, 1, 2, 3}, 3)
		w.stand("swapped", 0, []int{2, 3, 0, 1}, 3)
		w.stand("round", 0, []int{1, 2, 3, 0}, 3)
		s, err := weigh.Read("block.yaml", nil, []byte(strings.Replace(w.text.String(), "points:", "cg_height: 0.7..1.2 m\npoints:", 1)))
		if err != nil {
			t.Fatal(err)
		}
		q := solve(t, s).Redundancy
		if !q.Agrees {
			blamed++
		}
		if q.Suspect != "" {
			named++
		}
	}
	t.Logf("%d of %d surveys disagree, %d name a cell", blamed, n, named)
	// 5 % of 300 is 15; four standard deviations above that are 30.
	if blamed > 30 || named > 6 {
		t.Errorf("%d of %d sound surveys disagree, %d name a cell", blamed, n, named)
	}
}

// A cell over the whole beside four below shows that the sum is wrong, and
// cannot show which of the five it is.
func TestOneOverTheWhole(t *testing.T) {
	s := survey(append(corners, at(3, 2, 2)), 10)
	f := truth(1e5, 2.5, 1.7, 300)
	f[1] += 400
	place(s, f...)
	place(s, 1e5).Seats = []weigh.Seat{{Point: 4, Cell: 4}}
	q := solve(t, s).Redundancy
	if q.DoF != 1 || q.Agrees || q.Suspect != "" || !strings.Contains(q.Text, "cannot be told") || len(q.Cells) != 5 {
		t.Errorf("%+v", q)
	}
}

// A tilt too small for the height wanted is told with the one it takes, and that
// one does it.
func TestTiltNeeded(t *testing.T) {
	const w, b, xg, h = 1e5, 4.0, 2.2, 1.2
	tilted := func(angle float64) *weigh.Survey {
		s := survey([]quantity.Point{at(0, 0, 0), at(b, 0, 0)}, 30)
		s.HeightWanted = 0.05
		low := func(a float64) float64 { // on the support at 0, which lies low
			return w * (b*math.Cos(a) - xg*math.Cos(a) + h*math.Sin(a)) / (b * math.Cos(a))
		}
		place(s, low(0), w-low(0))
		p := place(s, low(angle), w-low(angle))
		half := quantity.Angle(0.05 * deg)
		p.Tilt = &weigh.Tilt{Angle: quantity.Measured[quantity.Angle]{Value: quantity.Angle(angle), Low: quantity.Angle(angle) - half, High: quantity.Angle(angle) + half, Shape: quantity.Normal}, LowSide: math.Pi}
		return s
	}
	r := solve(t, tilted(1.5*deg))
	testkit.Near(t, "height", r.CG[2].Value, h, testkit.Tol{Rel: 1e-6})
	if r.Height.Reached || r.Height.Needed == nil || r.Outcome != weigh.Fails {
		t.Fatalf("1.5 deg: %+v, %s", r.Height, r.Outcome)
	}
	r = solve(t, tilted(*r.Height.Needed*1.002))
	if !r.Height.Reached || r.Outcome != weigh.Holds {
		t.Errorf("a tilt of %g deg gives ±%g m", r.Height.Greatest/deg, r.CG[2].U)
	}
	testkit.Near(t, "no more than it takes", r.CG[2].U, 0.05, testkit.Tol{Rel: 0.02})
}

// Whatever the placements tell, they tell it the same in any order, turned
// about z, and shifted.
func TestInvariance(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		w, x, y := 1e5, rapid.Float64Range(1, 5).Draw(t, "x"), rapid.Float64Range(0.5, 3.5).Draw(t, "y")
		turn, dx := rapid.Float64Range(-3, 3).Draw(t, "turn"), rapid.Float64Range(-50, 50).Draw(t, "shift")
		sin, cos := math.Sincos(turn)
		moved := func(x, y float64) (float64, float64) { return cos*x - sin*y + dx, sin*x + cos*y - dx }
		var points []quantity.Point
		for _, p := range corners {
			px, py := moved(float64(p.X.Value), float64(p.Y.Value))
			points = append(points, at(px, py, 0))
		}
		s := survey(points, 20)
		place(s, truth(w, x, y, 1000)...)
		place(s, truth(w, x, y, -500)...)
		r, err := weigh.Weigh(s)
		if err != nil {
			t.Fatal(err)
		}
		wx, wy := moved(x, y)
		if math.Hypot(r.CG[0].Value-wx, r.CG[1].Value-wy) > 1e-6 || math.Abs(r.Force.Value-w) > 1e-3 {
			t.Errorf("%g at %g %g, want %g %g", r.Force.Value, r.CG[0].Value, r.CG[1].Value, wx, wy)
		}
	})
}

// A cell that bore too much, or is out of date, is told by the rules of care.
func TestCareOfCells(t *testing.T) {
	day := time.Date(2026, 11, 20, 0, 0, 0, 0, time.UTC)
	run := func(change func(*weigh.Cell)) *weigh.Result {
		s := survey([]quantity.Point{at(0, 0, 0), at(2, 0, 0)}, 10)
		s.Date = day
		for i := range s.Cells {
			s.Cells[i].Accuracy.Capacity, s.Cells[i].Care.Due = 50e3, day.AddDate(0, 1, 0)
		}
		change(&s.Cells[1])
		place(s, 20e3, 40e3)
		return solve(t, s)
	}
	sound := run(func(*weigh.Cell) {})
	late := func(c *weigh.Cell) {
		c.Care.Calibrated, c.Care.Due = day.AddDate(-2, 0, 0), day.AddDate(-1, 0, 0)
	}
	excused := func(c *weigh.Cell) {
		late(c)
		c.Care.OverrideBy, c.Care.OverrideWhy, c.Care.DriftPerYear = "R. Quill", "no other cell before the tide", new(0.001)
	}
	for _, c := range []struct {
		what    string
		change  func(*weigh.Cell)
		use     metrology.Use
		outcome weigh.Outcome
	}{
		{"in date", func(*weigh.Cell) {}, metrology.Usable, weigh.Holds},
		{"late", late, metrology.OutOfDate, weigh.Fails},
		{"late, with a name", excused, metrology.Overridden, weigh.Holds},
		{"past its capacity", func(c *weigh.Cell) { c.Accuracy.Capacity = 39e3 }, metrology.Held, weigh.Fails},
		{"past its safe overload", func(c *weigh.Cell) { c.Accuracy.Capacity, c.Overload = 20e3, 39e3; excused(c) }, metrology.Out, weigh.Fails},
	} {
		r := run(c.change)
		if r.Use[1] != c.use || r.Outcome != c.outcome {
			t.Errorf("%s: %s, %s; %v", c.what, r.Use[1], r.Outcome, r.Findings)
		}
	}
	// Two years at 0.1 % of 40 kN: ±80 N as a hard limit beside the 10 N of both.
	wide := math.Hypot(sound.Force.Budget.U(), 40e3*0.001*730/365.2425/math.Sqrt(3))
	testkit.Near(t, "widened", run(excused).Force.Budget.U(), wide, testkit.Tol{Rel: 1e-3})
}

func TestDeclared(t *testing.T) {
	for _, c := range []struct {
		declared string
		agrees   bool
		outcome  weigh.Outcome
	}{{"1000 kg ± 2 %", true, weigh.Holds}, {"900 kg ± 2 %", false, weigh.Fails}, {"1100 kg ± 2 %", false, weigh.Holds}} {
		s := survey([]quantity.Point{at(0, 0, 0), at(2, 0, 0)}, 1)
		s.Cells[0].Care.Due, s.Cells[1].Care.Due = s.Date, s.Date
		m, err := quantity.Parse[quantity.Mass](c.declared)
		if err != nil {
			t.Fatal(err)
		}
		s.Declared = &m
		place(s, 500*9.80665, 510*9.80665)
		r := solve(t, s)
		if r.Declared.Agrees != c.agrees || r.Outcome != c.outcome {
			t.Errorf("%s: %+v %s", c.declared, r.Declared, r.Outcome)
		}
	}
}

const small = `plumbhook-survey: 1
object: block
date: 2026-11-20
site: {g: 9.81 m/s2}
points: {W: 0 0 0 m ± 2 mm, E: 2 0 0 m ± 2 mm}
cells:
  A: {capacity: 20 kN, accuracy: 0.1 % fs, resolution: 1 kg}
  B: {capacity: 20 kN, uncertainty: 12 N, resolution: 1 kg}
placements:
  - name: level
    level: 0.1 deg from horizontal
    cells: {W: A, E: B}
    runs:
      - {A: 1000 kg, B: 1010 kg}
`

func TestReadRefuses(t *testing.T) {
	if _, err := weigh.Read("s.yaml", nil, []byte(small)); err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		old, new string
		code     fault.Code
		at       string
	}{
		{"object: block\n", "object: block\nweight: 3\n", fault.UnknownKey, "s.yaml:3:9"},
		{"9.81 m/s2", "9.81", fault.NoUnit, "s.yaml:4:11"},
		{"{g: 9.81 m/s2}", "{latitude: 50 deg}", fault.Missing, "s.yaml:4:1"},
		{"{g: 9.81 m/s2}", "{g: 9.81 m/s2, latitude: 50 deg, height: 3 m}", fault.Disagree, "s.yaml:4:11"},
		{"A: 1000 kg", "A: 1000", fault.NoUnit, "s.yaml:14:13"},
		{"A: 1000 kg", "A: 1.1 ton", fault.Ambiguous, "s.yaml:14:17"},
		{"0.1 % fs", "0.1 %", fault.Ambiguous, "s.yaml:7:34"},
		{"accuracy: 0.1 % fs, ", "", fault.Missing, "s.yaml:7:3"},
		{"0.1 deg from horizontal", "0.1 deg", fault.Ambiguous, "s.yaml:11:19"},
		{"{W: A, E: B}", "{W: A, E: C}", fault.Reference, "s.yaml:12:22"},
		{"{W: A, E: B}", "{W: A, E: A}", fault.Duplicate, "s.yaml:12:22"},
		{"{W: A, E: B}", "{W: A, N: B}", fault.Reference, "s.yaml:12:22"},
		{", B: 1010 kg", "", fault.Missing, "s.yaml:14:10"},
		{"B: 1010 kg", "B: 1010 kg, C: 3 kg", fault.Reference, "s.yaml:14:37"},
		{"2026-11-20", "20.11.2026", fault.Syntax, "s.yaml:3:7"},
		{"    level:", "    tilt: {angle: 5 deg from vertical, low: +x}\n    level:", fault.Ambiguous, "s.yaml:11:19"},
		{"    level:", "    tilt: {angle: 5 deg from horizontal, low: west}\n    level:", fault.Ambiguous, "s.yaml:11:47"},
		{"accuracy: 0.1 % fs", "certificate: ../a.yaml", fault.Path, "s.yaml:7:37"},
	} {
		text := strings.Replace(small, c.old, c.new, 1)
		_, err := weigh.Read("s.yaml", nil, []byte(text))
		faults := fault.Of(err)
		if len(faults) == 0 || faults[0].Code != c.code || !strings.HasPrefix(faults[0].Pos.String(), c.at) || faults[0].Do == "" && c.code != fault.Path {
			t.Errorf("%q for %q: %v, want %s at %s", c.new, c.old, err, c.code, c.at)
		}
	}
	// All mistakes at once.
	text := strings.NewReplacer("9.81 m/s2", "9.81", "A: 1000 kg", "A: 1 ton", "2026", "26").Replace(small)
	if _, err := weigh.Read("s.yaml", nil, []byte(text)); len(fault.Of(err)) != 3 {
		t.Errorf("%v", err)
	}
}

// What is not stated is listed, and nothing is invented for it.
func TestNotAssessed(t *testing.T) {
	s, err := weigh.Read("s.yaml", nil, []byte(strings.Replace(small, ", resolution: 1 kg", "", 1)))
	if err != nil {
		t.Fatal(err)
	}
	all := strings.Join(solve(t, s).NotAssessed, "\n")
	for _, want := range []string{"cell A: resolution", "cell A: temperature effect on zero", "no placement was weighed twice", "buoyancy", "cg_height", "cell B: when its calibration is due"} {
		if !strings.Contains(all, want) {
			t.Errorf("not listed: %s\n%s", want, all)
		}
	}
}

// A cell with a certificate is read in its signal, through its curve; what lies
// outside the calibrated range is said.
func TestCertificate(t *testing.T) {
	cert := "plumbhook-certificate: 1\nserial: LC-1\ndate: 2026-01-01\ndue: 2027-01-01\ncapacity: 20 kN\nsafe_overload: 30 kN\nsignal: mV/V\ndegree: 1\nruns:\n" +
		strings.Repeat("  - points: [[0 kN, 0.001 mV/V], [5 kN, 0.501 mV/V], [10 kN, 1.001 mV/V], [20 kN, 2.001 mV/V]]\n", 2)
	text := strings.NewReplacer("accuracy: 0.1 % fs, resolution: 1 kg", "certificate: cert/a.yaml", "A: 1000 kg", "A: 0.9807 mV/V",
		"    runs:", "    tare: {A: 0.0003 mV/V, B: 10 kg}\n    runs:").Replace(small)
	files := fstest.MapFS{"cert/a.yaml": {Data: []byte(cert)}}
	read := func(text string) *weigh.Survey {
		s, err := weigh.Read("s.yaml", files, []byte(text))
		if err != nil {
			t.Fatal(err)
		}
		return s
	}
	s := read(text)
	testkit.Near(t, "sum", solve(t, s).Force.Value, 9804+1000*9.80665, testkit.Tol{Rel: 1e-9})
	if c := s.Cells[0]; c.Serial != "LC-1" || c.Overload != 30e3 || c.Care.Due.Year() != 2027 {
		t.Errorf("%+v", c)
	}
	low := read(strings.Replace(text, "0.9807", "0.2003", 1))
	if all := strings.Join(solve(t, low).NotAssessed, "\n"); !strings.Contains(all, "cell A: its reading of 2 kN in level, outside the calibrated 5 to 20 kN") {
		t.Error(all)
	}
	for _, c := range []struct {
		old, new string
		code     fault.Code
	}{
		{"A: 0.9807 mV/V", "A: 1000 kg", fault.BadUnit},
		{"A: {capacity: 20 kN", "A: {capacity: 25 kN", fault.Disagree},
		{"A: {", "A: {serial: LC-2, ", fault.Disagree},
		{"cert/a.yaml", "cert/b.yaml", fault.Path},
		{"cert/a.yaml", "../a.yaml", fault.Path},
	} {
		_, err := weigh.Read("s.yaml", files, []byte(strings.Replace(text, c.old, c.new, 1)))
		if faults := fault.Of(err); len(faults) == 0 || faults[0].Code != c.code {
			t.Errorf("%s: %v, want %s", c.new, err, c.code)
		}
	}
}

// A drift that is stated counts from the day of the calibration, due or not.
func TestDriftWithinDate(t *testing.T) {
	dated := func(drift string) float64 {
		text := strings.Replace(small, "A: {", "A: {calibrated: 2026-01-20, due: 2027-01-20, "+drift, 1)
		s, err := weigh.Read("s.yaml", nil, []byte(text))
		if err != nil {
			t.Fatal(err)
		}
		return solve(t, s).Force.Budget.U()
	}
	// 304 days at 0.2 % a year of 1 t.
	drift := 9806.65 * 0.002 * 304 / 365.2425 / math.Sqrt(3)
	testkit.Near(t, "u", dated("drift_per_year: 0.2 % of reading, "), math.Hypot(dated(""), drift), testkit.Tol{Rel: 1e-6})
}

// The chapter on weighing tells of every key.
func TestChapterHasEveryKey(t *testing.T) {
	page, err := os.ReadFile("../docs/weighing.md")
	if err != nil {
		t.Fatal(err)
	}
	for _, k := range weigh.Shape().All() {
		if !strings.Contains(string(page), "`"+k+"`") && !strings.Contains(string(page), "{"+k+": ") && !strings.Contains(string(page), ", "+k+": ") {
			t.Errorf("docs/weighing.md does not tell of %s", k)
		}
	}
}

func FuzzRead(f *testing.F) {
	f.Add(small)
	f.Fuzz(func(t *testing.T, text string) {
		s, err := weigh.Read("s.yaml", nil, []byte(text))
		if (s == nil) == (err == nil) {
			t.Fatal("neither survey nor fault, or both")
		}
		for _, f := range fault.Of(err) {
			if f.Code == fault.Internal {
				t.Error(f)
			}
		}
		if s == nil {
			return
		}
		r, err := weigh.Weigh(s)
		if err == nil && (math.IsNaN(r.Mass.Value) || math.IsNaN(r.Mass.U)) {
			t.Errorf("%+v", r.Mass)
		}
	})
}
