package card_test

import (
	"encoding/csv"
	"fmt"
	"math"
	"os"
	"strconv"
	"strings"
	"testing"

	"plumbhook/card"
	"plumbhook/lift"
	"plumbhook/verdict"
)

func plan(t *testing.T, text string) *verdict.Plan {
	t.Helper()
	l, err := lift.Read("test.yaml", nil, []byte(text))
	if err != nil {
		t.Fatal(err)
	}
	p, err := verdict.Check(l)
	if err != nil {
		t.Fatal(err)
	}
	return p
}

func made(t *testing.T, text string, day card.Day) *card.Card {
	t.Helper()
	c, err := card.New(plan(t, text), 0, day)
	if err != nil {
		t.Fatal(err)
	}
	return c
}

func near(t *testing.T, what string, got, want, tolerance float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tolerance*math.Abs(want)) {
		t.Errorf("%s = %.9g, want %.9g", what, got, want)
	}
}

// twoLegs is the symmetric bridle that all is known of: lugs 2·1.2 m apart,
// legs of 2 m without mass and of 5 MN/m, 20 kN, g 10 m/s².
const twoLegs = `
plumbhook: 1
title: Lid of the mixing tank
site: {g: 10 m/s2}
load: {name: lid, mass: 2000 kg ± 2 %, cg: 0 0 0 m, lugs: {w: {at: -1.2 0 0.2 m, wll: 40 kN}, e: {at: 1.2 0 0.2 m, wll: 35 kN}}}
hooks: {main: {wll: 60 kN}}
legs:
  w: {from: main, to: load.w, length: 2 m, stiffness: 5 MN/m, wll: 50 kN, cell: {channel: W, capacity: 50 kN, accuracy: 0.2 % fs}}
  e: {from: main, to: load.e, length: 2 m, stiffness: 5 MN/m, wll: 50 kN, cell: {channel: E, capacity: 50 kN, accuracy: 1 % of reading}}
`

const (
	half = 1.2
	long = 2.0
	k    = 5e6
	load = 20000.0
)

// pose solves by bisection for the force in each leg that lifts a part of
// the load, with the stretched length l and the height h of the hook.
func pose(up float64) (force, l, h float64) {
	lo, hi := 0.0, 1e6
	for range 200 {
		force = (lo + hi) / 2
		l = long + force/k
		h = math.Sqrt(l*l - half*half)
		if 2*force*h/l > up {
			hi = force
		} else {
			lo = force
		}
	}
	return force, l, h
}

// TestTwoLegs holds readings, first bite, rise and stops of the symmetric
// bridle against their closed forms.
func TestTwoLegs(t *testing.T) {
	day := card.Day{HoistSpeed: 0.0005, Delay: 1.5, Stopping: 0.5, HookStiffness: 2e6}
	c := made(t, twoLegs, day)
	force, l, h := pose(load)
	for i, k := range c.Cells {
		near(t, k.Channel, k.NominalN, force, 1e-9)
		if c.Cells[i].HighN < k.NominalN || k.JointHighN < k.HighN {
			t.Errorf("%s: band to %g, joint to %g", k.Channel, k.HighN, k.JointHighN)
		}
	}
	near(t, "total", c.Total.NominalN, load, 1e-9)
	near(t, "sum of the cells", c.Total.CellsN, 2*force, 1e-9)

	// The load stands: each share of it asks so much of each leg.
	_, _, tight := pose(0.01 * load)
	for n, share := range card.Levels {
		f, _, up := pose(share * load)
		near(t, "total", c.Bite.TotalN[n], share*load, 1e-6)
		near(t, "hook travel", c.Bite.TravelM[n], up-tight, 1e-5)
		for i := range c.Cells {
			near(t, c.Cells[i].Channel, c.Bite.Cells[i][n], f, 1e-6)
		}
	}
	near(t, "travel to the planned total", c.Bite.FullM, h-tight, 1e-5)
	f, bl, bh := pose(load / 2)
	sin := bh / bl
	up := k*sin*sin + f/bl*(1-sin*sin) // stretch, and the little that the turning leg adds
	for _, leg := range c.Bite.Legs {
		near(t, "k sin α", leg.PerMetre, k*sin, 1e-4)
		near(t, "k sin² α", leg.Upward, up, 1e-4)
	}
	near(t, "all legs", c.Bite.PerMetre, 2*up, 1e-4)

	// What comes on while the hook runs on: its travel, the part of it that
	// the crane does not give way to, times k sin α.
	sin = h / l
	whole := 2 * (k*sin*sin + force/l*(1-sin*sin))
	rise := k * sin * day.HoistSpeed * 2 * 2e6 / (2e6 + whole)
	for i, want := range []float64{
		40000 - 100,  // W: its lug; the cell may show 0.2 % of 50 kN too little
		35000 * 0.99, // E: its lug; 1 % of reading
	} {
		s := c.Cells[i].Stops
		if len(s) != 2 || s[0].Why != card.NotThePlan || s[0].N != c.Cells[i].JointHighN {
			t.Fatalf("stops of %s: %+v", c.Cells[i].Channel, s)
		}
		if s[1].Why != card.OfPart || s[1].Part.Where != []string{"load.w", "load.e"}[i] || s[1].Crowded {
			t.Errorf("%+v", s[1])
		}
		near(t, "part runs out", s[1].AtN, want, 1e-3) // own weight of the lug's pull in proportion
		near(t, "rise", *s[1].RiseN, rise, 1e-4)
		near(t, "stop", s[1].N, s[1].AtN-rise, 1e-4)
	}
	near(t, "stop of the hook", c.Total.Stops[1].AtN, 60000, 1e-9)
	near(t, "rise at the hook", *c.Total.Stops[1].RiseN, whole*day.HoistSpeed*2*2e6/(2e6+whole), 1e-4)
}

// TestRoom: where the rise does not fit between band and limit there is no
// room, and the speed given instead makes it just fit.
func TestRoom(t *testing.T) {
	day := card.Day{HoistSpeed: 0.05, Delay: 1, Stopping: 1}
	c := made(t, twoLegs, day)
	slow := math.Inf(1)
	for _, k := range c.Cells {
		s := k.Stops[1]
		if !s.Crowded || s.N != k.JointHighN || s.SlowM <= 0 {
			t.Fatalf("%+v", s)
		}
		slow = min(slow, s.SlowM)
	}
	day.HoistSpeed = slow * 0.999
	for _, k := range made(t, twoLegs, day).Cells {
		if k.Stops[1].Crowded {
			t.Errorf("%s: %+v", k.Channel, k.Stops[1])
		}
	}
	day.HoistSpeed = slow * 1.001
	crowded := 0
	for _, k := range made(t, twoLegs, day).Cells {
		if k.Stops[1].Crowded {
			crowded++
		}
	}
	if crowded != 1 {
		t.Errorf("%d crowded", crowded)
	}
	for _, k := range made(t, twoLegs, card.Day{}).Cells {
		if k.Stops[1].RiseN != nil || k.Stops[1].N != k.Stops[1].AtN {
			t.Errorf("%+v", k.Stops[1])
		}
	}
}

// TestStops changes what may run out first.
func TestStops(t *testing.T) {
	for _, c := range []struct {
		name, old, new string
		cell           int // -1: total
		why            card.Reason
		at             float64
		where          string
	}{
		{"own stop number of a leg", "load: {name", "limits: {legs: {w: {stop: 20 kN}}}\nload: {name", 0, card.OfFile, 20000 - 100, ""},
		{"dynamic factor", "load: {name", "dynamic: {factor: 1.25}\nload: {name", 0, card.OfPart, 40000/1.25 - 100, "load.w"},
		{"leg weaker than its lug", "5 MN/m, wll: 50 kN", "5 MN/m, wll: 30 kN", 0, card.OfPart, 30000 - 100, "legs.w"},
		{"own stop number of the total", "load: {name", "limits: {total: {stop: 30 kN}}\nload: {name", -1, card.OfFile, 30000, ""},
		{"weak hook", "wll: 60 kN", "wll: 26 kN", -1, card.OfPart, 26000, "hooks.main"},
		{"legs without a cell count for the total", "wll: 50 kN, cell: {channel: W, capacity: 50 kN, accuracy: 0.2 % fs}", "wll: 30 kN", -1, card.OfPart, 0, "legs.w"},
	} {
		k := made(t, strings.Replace(twoLegs, c.old, c.new, 1), card.Day{})
		stops := k.Total.Stops
		if c.cell >= 0 {
			stops = k.Cells[c.cell].Stops
		}
		if c.at == 0 { // the leg leans: the load may grow as its force may
			_, l, h := pose(load)
			c.at = 2 * 30000 * h / l
		}
		found := false
		for _, s := range stops {
			if s.Why == c.why && s.Part.Where == c.where {
				found = true
				near(t, c.name, s.AtN, c.at, 1e-3)
			}
		}
		if !found {
			t.Errorf("%s: %+v", c.name, stops)
		}
	}
	// A warn number of the file counts where it is the lower one.
	c := made(t, strings.Replace(twoLegs, "load: {name", "limits: {legs: {w: {warn: 12 kN}}, total: {warn: 15 kN}}\nload: {name", 1), card.Day{})
	near(t, "warn of a leg", c.Cells[0].WarnN, 12000-100, 1e-9)
	near(t, "warn of the total", c.Total.WarnN, 15000, 1e-9)
	if e := &c.Cells[1]; e.WarnN != e.HighN {
		t.Errorf("E warns at %g, its band ends at %g", e.WarnN, e.HighN)
	}
}

// TestSay: the sentence has number and reason, the lowest first.
func TestSay(t *testing.T) {
	c := made(t, twoLegs, card.Day{HoistSpeed: 0.0005, Delay: 1.5, Stopping: 0.5})
	show := func(n float64) string { return fmt.Sprintf("%.0f N", n) }
	s := &c.Cells[0].Stops[1]
	want := fmt.Sprintf("If W reads above %.0f N, stop, because the load is heavier than planned, its centre of gravity elsewhere, or it is held; "+
		"above %.0f N because load.w (point) runs out at %.0f N, and a bound load adds %.0f N before the hook stands.", c.Cells[0].JointHighN, s.N, s.AtN, *s.RiseN)
	if got := card.Say("W", c.Cells[0].Stops, show); got != want {
		t.Errorf("got  %s\nwant %s", got, want)
	}
}

// TestAsRigged: a bridle whose hook stands at another height has legs that
// reach there, and a force of share × length / height.
func TestAsRigged(t *testing.T) {
	_, _, planned := pose(load)
	for _, h := range []float64{planned, planned + 0.2, planned - 0.4} {
		c := made(t, twoLegs, card.Day{HookHeight: h})
		l := math.Hypot(half, h)
		force := load / 2 * l / h
		near(t, "reading", c.AsRigged.Cells[0], force, 1e-6)
		near(t, "angle", c.AsRigged.Angles[0], math.Atan(h/half), 1e-6)
		// Stretch is of the spring as a whole, whatever its length.
		near(t, "length", c.AsRigged.Scale, (l-force/k)/long, 1e-6)
		if told := len(c.AsRigged.Beyond) > 0; told != (h != planned) {
			t.Errorf("at %g m beyond the limits: %v", h, c.AsRigged.Beyond)
		}
	}
	if _, err := card.New(plan(t, twoLegs), 0, card.Day{HookHeight: 16}); err == nil {
		t.Error("a hook 16 m high was taken")
	}
}

// TestTug: a pull moves the cell of its leg and no other; with the cells over
// a bar, it moves them as a beam on two supports does.
func TestTug(t *testing.T) {
	c := made(t, twoLegs, card.Day{})
	if len(c.Tug) != 2 || !c.Tells() {
		t.Fatalf("%+v", c.Tug)
	}
	for i, p := range c.Tug {
		near(t, "own cell", p.Share[i], 1, 1e-9)
		near(t, "other cell", 1+p.Share[1-i], 1, 1e-9)
	}
	near(t, "least pull", c.Tug[0].LeastN, 3*100, 1e-9)

	c = made(t, `
plumbhook: 1
title: Pipe under a bar on two cranes
load: {name: pipe, mass: 1000 kg, cg: 0 0 0 m, at: 0 0 0 m, lugs: {a: -1 0 0.5 m, b: 1 0 0.5 m}}
hooks: {l: {at: -1.5 0 6 m}, r: {at: 1.5 0 6 m}}
spreaders: {bar: {mass: 100 kg, cg: 0 0 -0.2 m, points: {tl: -1.5 0 0 m, tr: 1.5 0 0 m, la: -1 0 0 m, lb: 1 0 0 m}}}
legs:
  tl: {from: l, to: bar.tl, length: 2 m, stiffness: 50 MN/m, cell: {channel: L, capacity: 20 kN, accuracy: 0.1 % fs, zero: hung}}
  tr: {from: r, to: bar.tr, length: 2 m, stiffness: 50 MN/m, cell: {channel: R, capacity: 20 kN, accuracy: 0.1 % fs, zero: hung}}
  a: {from: bar.la, to: load.a, length: 2 m, stiffness: 50 MN/m}
  b: {from: bar.lb, to: load.b, length: 2 m, stiffness: 50 MN/m}
`, card.Day{})
	for i, p := range c.Tug {
		near(t, "near cell", p.Share[i], 5.0/6, 1e-4)
		near(t, "far cell", p.Share[1-i], 1.0/6, 1e-3)
	}
	if c.Tells() {
		t.Error("a sixth of the pull counts as none")
	}
}

// TestFactor holds the angle factor against printed tables.
func TestFactor(t *testing.T) {
	f, err := os.Open("testdata/angle_factors.csv")
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	r := csv.NewReader(f)
	r.Comment = '#'
	rows, err := r.ReadAll()
	if err != nil || len(rows) != 25 {
		t.Fatalf("%d rows, %v", len(rows), err)
	}
	for _, row := range rows[1:] {
		angle, _ := strconv.ParseFloat(row[1], 64)
		want, err := strconv.ParseFloat(row[2], 64)
		if err != nil {
			t.Fatal(err)
		}
		if got := card.Factor(angle * math.Pi / 180); math.Abs(got-want) > 0.001 {
			t.Errorf("%s, %g°: %.4f, printed %g", row[0], angle, got, want)
		}
	}
}

// TestLesson: the lesson is about the leg used most, by tape and by angle the
// same, and its part runs out where share over sine comes to the limit.
func TestLesson(t *testing.T) {
	c := made(t, twoLegs, card.Day{})
	a := c.Angle
	_, l, h := pose(load)
	if a.Leg != "e" || a.Weakest != "load.e" {
		t.Errorf("about %s and %s", a.Leg, a.Weakest)
	}
	near(t, "length", a.LengthM, l, 1e-9)
	near(t, "height", a.RiseM, h, 1e-9)
	near(t, "by tape", a.ShareN*a.LengthM/a.RiseM, c.State.P95["e"], 1e-9)
	near(t, "limit", a.LimitN, 35000, 1e-9)
	near(t, "runs out", math.Sin(*a.OutAngle), a.ShareN/35000, 1e-9)
	planned := 0
	for i, r := range a.Rows {
		if i > 0 && r.FromHorizontal >= a.Rows[i-1].FromHorizontal {
			t.Error("angles out of order")
		}
		near(t, "used", *r.Used, a.ShareN/math.Sin(r.FromHorizontal)/35000, 1e-9)
		if r.Planned {
			planned++
			near(t, "planned", r.ForceN, c.State.P95["e"], 1e-9)
		}
	}
	if planned != 1 {
		t.Errorf("%d planned angles", planned)
	}
	if c := made(t, strings.NewReplacer("at: -1.2 0", "at: -0.001 0", "at: 1.2 0", "at: 0.001 0").Replace(twoLegs), card.Day{}); c.Angle != nil {
		t.Errorf("plumb legs: %+v", c.Angle)
	}
}

// TestWithoutStiffness: what needs stiffness is missing and says so; the rest
// of the card stands.
func TestWithoutStiffness(t *testing.T) {
	c := made(t, strings.ReplaceAll(twoLegs, "stiffness: 5 MN/m, ", ""), card.Day{HoistSpeed: 0.01, Delay: 1, Stopping: 1})
	if c.Bite != nil || len(c.Missing) != 1 || !strings.Contains(c.Missing[0], "stiffness of leg w, e") {
		t.Errorf("%v, %+v", c.Missing, c.Bite)
	}
	for _, k := range c.Cells {
		near(t, k.Channel, k.NominalN, load/2*2/1.6, 1e-9)
		if len(k.Stops) != 2 || k.Stops[1].RiseN != nil {
			t.Errorf("%+v", k.Stops)
		}
	}
}

// TestGroundCarries: before the load leaves the ground it makes no difference
// where its centre of gravity is. A hook on its rope swings until its legs
// balance to the side: two pull alike, and of four on a square a long one
// leaves its opposite idle too, so the diagonal tells and never the leg.
func TestGroundCarries(t *testing.T) {
	four := `
plumbhook: 1
title: Deck plate, clarifier bridge
site: {g: 10 m/s2}
load: {name: plate, mass: 2000 kg ± 2 %, cg: 0 0 0 m, lugs: {a: 1 1 0.2 m, b: -1 1 0.2 m, c: -1 -1 0.2 m, d: 1 -1 0.2 m}}
hooks: {main: {}}
legs:
`
	for i, name := range []string{"a", "b", "c", "d"} {
		length := []string{"2 m", "2 m", "2 m", "2.001 m"}[i]
		four += fmt.Sprintf("  %s: {from: main, to: load.%s, length: %s, stiffness: 5 MN/m, cell: {channel: %s, capacity: 50 kN, accuracy: 0.2 %% fs}}\n", name, name, length, name)
	}
	for _, text := range []string{twoLegs, strings.Replace(twoLegs, "load.w, length: 2 m", "load.w, length: 1.999 m", 1), four} {
		here := made(t, text, card.Day{})
		there := made(t, strings.Replace(text, "cg: 0 0 0 m", "cg: 0.3 0 0 m", 1), card.Day{})
		if there.Cells[1].NominalN == here.Cells[1].NominalN {
			t.Error("the centre of gravity tells nowhere")
		}
		for i := range here.Cells {
			for n := range card.Levels {
				near(t, "with the centre of gravity aside", there.Bite.Cells[i][n], here.Bite.Cells[i][n], 2e-3)
			}
		}
		for n := range card.Levels {
			b := here.Bite.Cells
			if len(b) == 2 {
				near(t, "the other leg", b[1][n], b[0][n], 2e-3)
				continue
			}
			near(t, "opposite a", b[2][n], b[0][n], 2e-3)
			near(t, "opposite d", b[1][n], b[3][n], 1e-2) // it leans a little less
			// One of the diagonal's two is 1 mm longer: half a millimetre less
			// stretch for both.
			near(t, "short diagonal over long", b[0][n]-b[3][n], 5e6*0.0005, 2e-2)
		}
	}
}

// TestDayFromTheFile: what the crew does not state stands in the file; what it
// states goes before. Two cranes: the slower one counts, and what they give at
// their hooks adds up.
func TestDayFromTheFile(t *testing.T) {
	text := strings.Replace(twoLegs, "legs:", "dynamic: {class: HC1, hoist_speed: 0.05 m/s}\ncrane: {main: {hook_stiffness: 2 MN/m, delay: 1..1.5 s, stopping: 0.5 s}}\nlegs:", 1)
	if got, want := made(t, text, card.Day{}).Day, (card.Day{HoistSpeed: 0.05, Delay: 1.5, Stopping: 0.5, HookStiffness: 2e6}); got != want {
		t.Errorf("%+v, want %+v", got, want)
	}
	stated := card.Day{HoistSpeed: 0.1, Delay: 3, Stopping: 1, HookStiffness: 1e6}
	if got := made(t, text, stated).Day; got != stated {
		t.Errorf("%+v, stated %+v", got, stated)
	}
	two := `
plumbhook: 1
load: {mass: 2000 kg, cg: 0 0 0 m, lugs: {w: -1 0 0.2 m, e: 1 0 0.2 m}}
hooks: {w: {at: -1 0 3 m}, e: {at: 1 0 3 m}}
legs: {w: {from: w, to: load.w, length: 2 m}, e: {from: e, to: load.e, length: 2 m}}
dynamic: {class: HC1, hoist_speed: 0.05 m/s}
crane: {w: {delay: 1 s, stopping: 0.7 s, hook_stiffness: 2 MN/m}, e: {delay: 1.5 s, stopping: 0.5 s, hook_stiffness: 3 MN/m}}
`
	if got, want := made(t, two, card.Day{}).Day, (card.Day{HoistSpeed: 0.05, Delay: 1.5, Stopping: 0.7, HookStiffness: 5e6}); got != want {
		t.Errorf("%+v, want %+v", got, want)
	}
	if got := made(t, strings.Replace(two, ", hook_stiffness: 3 MN/m", "", 1), card.Day{}).HookStiffness; got != 0 {
		t.Errorf("a hook that nobody says it of gives: %v N/m", got)
	}
}

// TestTotalStraightDown: two hooks that pull apart carry the weight between
// them, however hard they pull.
func TestTotalStraightDown(t *testing.T) {
	c := made(t, `
plumbhook: 1
site: {g: 10 m/s2}
load: {mass: 2000 kg, cg: 0 0 0 m, lugs: {w: -1 0 0.2 m, e: 1 0 0.2 m}}
hooks: {w: {at: -2 0 3 m}, e: {at: 2 0 3 m}}
legs: {w: {from: w, to: load.w, length: 2.5 m}, e: {from: e, to: load.e, length: 2.5 m}}
`, card.Day{})
	near(t, "total", c.Total.NominalN, 20000, 1e-9)
	near(t, "low", c.Total.LowN, 20000, 1e-9)
	near(t, "stop", c.Total.Stops[0].N, 20000, 1e-9)
}
