package size

import (
	"math"
	"slices"
	"strings"
	"testing"

	"plumbhook/fault"
	"plumbhook/gear"
	"plumbhook/internal/testkit"
	"plumbhook/lift"
	"plumbhook/quantity"
	"plumbhook/verdict"
)

// piece looks a candidate up.
func piece(t testing.TB, kind string, facts gear.Facts) Candidate {
	t.Helper()
	p, err := gear.Look(kind, facts, fault.Pos{})
	if err != nil {
		t.Fatal(err)
	}
	return Of(p)
}

func bear(t testing.TB, l *lift.Lift, m Margin) *Borne {
	t.Helper()
	b, err := Bear(l, m)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// TestDemandsOfTheCheck: with no margin of its own, a place demands what the
// check of the plan holds the parts there against, or the worst share.
func TestDemandsOfTheCheck(t *testing.T) {
	for _, name := range []string{"exchanger-bundle", "pump-motor"} {
		l := example(t, name)
		p, err := verdict.Check(l)
		if err != nil {
			t.Fatal(err)
		}
		b := bear(t, l, Margin{Dynamic: p.Dynamic})
		for _, place := range b.Places {
			i := slices.IndexFunc(p.States[0].Parts, func(q verdict.Part) bool {
				return q.Where == place.Where || strings.HasPrefix(q.Where, place.Where+".stack")
			})
			if i < 0 {
				t.Errorf("%s: the check has no part at %s", name, place.Where)
				continue
			}
			want := p.States[0].Parts[i].DemandN
			testkit.Near(t, name+" "+place.Where, place.P95N*p.Dynamic, want, testkit.Tol{Rel: 1e-12})
			if place.WorstN != nil {
				want = max(want, *place.WorstN*p.Dynamic)
			}
			testkit.Near(t, name+" "+place.Where, place.DemandN, want, testkit.Tol{Rel: 1e-12})
		}
	}
}

// TestWorstShare: four plumb legs at the corners of a load with its CG in the
// middle can come to hang by two across: half the load each.
func TestWorstShare(t *testing.T) {
	l := bridle{
		mass: "4 t", cg: "0 0 0 m", lugs: []string{"-1 1 1 m", "1 1 1 m", "1 -1 1 m", "-1 -1 1 m"}, lengths: []float64{4, 4, 4, 4}, leg: ", stiffness: 20 MN/m",
	}.lift(t)
	rig, err := lift.NewRig(l)
	if err != nil {
		t.Fatal(err)
	}
	h, err := rig.Hang()
	if err != nil {
		t.Fatal(err)
	}
	b := bear(t, l, Margin{Share: 0.25})
	w := 4000 * float64(quantity.StandardGravity)
	testkit.Near(t, "demand", b.Places[0].DemandN, w/2/math.Sin(h.Legs[0].FromHorizontal), testkit.Tol{Rel: 1e-6})
	if why := b.Places[0].Why.String(); !strings.Contains(why, "worst share") {
		t.Errorf("why: %s", why)
	}
}

// TestSteps: the step that asks most counts.
func TestStepsCount(t *testing.T) {
	text := bridle{mass: "2 t", cg: "0 0 0 m", lugs: []string{"-1 0 1 m", "1 0 1 m"}, lengths: []float64{3, 3}}.text()
	l := read(t, text+"steps: [{name: flatter, legs: {l0: {length: 1.5 m}, l1: {length: 1.5 m}}}]\n")
	p := bear(t, l, Margin{}).Places[0]
	if p.Step != "flatter" {
		t.Errorf("step %q", p.Step)
	}
	testkit.Near(t, "demand", p.DemandN, 1000*float64(quantity.StandardGravity)*1.5/math.Sqrt(1.25), testkit.Tol{Rel: 1e-6})
}

// TestChoose: the smallest that holds, the next one up, and why not a smaller.
func TestChoose(t *testing.T) {
	// Each leg bears 1000 kg / sin 60°: 11.324 kN, with a quarter more 14.155 kN.
	text := bridle{mass: "2 t", cg: "0 0 0 m", lugs: []string{"-1 0 1 m", "1 0 1 m"}, lengths: []float64{2, 2}, leg: ", hitch: straight"}.text()
	b := bear(t, read(t, text), Margin{Share: 0.25})
	c := b.Choices()[0]
	if c.Kind != Sling || !slices.Equal(c.At, []string{"legs.l0", "legs.l1"}) {
		t.Fatalf("%+v", c)
	}
	testkit.Near(t, "demand", c.Place.DemandN, 1250*float64(quantity.StandardGravity)/math.Sin(60*degree), testkit.Tol{Rel: 1e-6})
	chain := func(serial, wll string) Candidate {
		f := gear.Facts{"grade": "80", "size": "8 mm", "serial": serial}
		if wll != "" {
			f["wll"] = wll
			return piece(t, "alloy chain sling", f)
		}
		k := piece(t, "alloy chain sling", f)
		k.WLL = nil
		return k
	}
	late := chain("KP-4", "1.5 t")
	late.Unfit = "its thorough examination is overdue"
	got := b.Choose(c, []Candidate{
		chain("KP-5", "3 t"), chain("KP-2", "1.4 t"), late, chain("KP-3", "2 t"), chain("KP-1", "1 t"), chain("KP-6", "2 t"), chain("KP-7", ""),
		piece(t, "bow shackle", gear.Facts{"wll": "1.6 t"}), // no sling
	})
	if got.Pick == nil || got.Pick.Serial != "KP-3" || got.Next == nil || got.Next.Serial != "KP-5" {
		t.Fatalf("picked %+v, next %+v", got.Pick, got.Next)
	}
	want := []struct{ serial, why string }{
		{"KP-7", "no rating is known of it; the tag has it"},
		{"KP-1", "rated for 9.8067 kN, and 14.155 kN is asked for"},
		{"KP-2", "rated for 13.729 kN, and 14.155 kN is asked for"},
		{"KP-4", "it would hold, but its thorough examination is overdue"},
	}
	if len(got.Rejected) != len(want) {
		t.Fatalf("%d rejected", len(got.Rejected))
	}
	for i, w := range want {
		if r := got.Rejected[i]; r.Serial != w.serial || r.Why.String() != w.why {
			t.Errorf("%s: %s", r.Serial, r.Why)
		}
	}
	if us := got.Rejected[1].Why.Say(quantity.US); us != "rated for 2204.6 lbf, and 3182.1 lbf is asked for" {
		t.Errorf("in US units: %s", us)
	}
	if none := b.Choose(c, []Candidate{chain("KP-1", "1 t")}); none.Pick != nil || len(none.Rejected) != 1 {
		t.Errorf("picked %+v", none.Pick)
	}
}

// TestChoker: a sling in a choker hitch is taken by its choker rating and the
// angle of choke, and not by its straight rating.
func TestChoker(t *testing.T) {
	text := bridle{mass: "2 t", cg: "0 0 0 m", lugs: []string{"-1 0 1 m", "1 0 1 m"}, lengths: []float64{2, 2}, leg: ", hitch: choker, choke_angle: 100 deg"}.text()
	b := bear(t, read(t, text), Margin{})
	rope := func(wll, choker string) Candidate {
		f := gear.Facts{"rope": "6x19 EIPS IWRC", "splice": "mechanical", "diameter": "1/2 in", "wll": wll}
		if choker != "" {
			f["choker_wll"] = choker
		}
		return piece(t, "wire rope sling", f)
	}
	// 11.324 kN over 0.87 for a choke of 90 to 120 degrees (ASME B30.9): 1.327 t.
	got := b.Choose(b.Choices()[0], []Candidate{rope("2.4 t", ""), rope("1.8 t", "1.3 t"), rope("2 t", "1.35 t")})
	if got.Pick == nil || got.Pick.Choker.Text != "1.35 t" {
		t.Fatalf("picked %+v: %+v", got.Pick, got.Rejected)
	}
	if len(got.Rejected) != 2 || !strings.HasPrefix(got.Rejected[1].Why.String(), "rated for 11.09") {
		t.Errorf("%v", got.Rejected)
	}
	alone := b.Choose(b.Choices()[0], []Candidate{rope("2.4 t", "")})
	if alone.Pick != nil || !strings.Contains(alone.Rejected[0].Why.String(), "no rating in a choker hitch is known") {
		t.Errorf("%+v", alone)
	}
}

// TestCatalogueChoice: the sizes of a table in order, the smallest that holds;
// a size that tables rate differently counts by the lowest.
func TestCatalogueChoice(t *testing.T) {
	b := bear(t, example(t, "pump-motor"), Margin{Dynamic: 1.1})
	for _, c := range b.Choices() {
		got := b.Choose(c, Catalogue(c.Kind, c.Facts))
		switch c.Kind {
		case Sling:
			if got.Pick != nil || len(got.At) != 1 || got.At[0] != "legs.top" {
				t.Errorf("%+v", got)
			}
		case "bow shackle":
			// 26.5 kN: 3/4 in has 3.2 short tons (28.5 kN) by one table, 5/8 in 2.2 (19.6 kN).
			if got.Pick == nil || got.Pick.Size != "3/4 in" || got.Pick.WLL.Text != "3.2 short ton" || !strings.HasPrefix(got.Pick.WLL.Source, "the lowest of ") || len(got.At) != 6 {
				t.Errorf("%+v", got.Pick)
			}
			if last := got.Rejected[len(got.Rejected)-1]; last.Size != "5/8 in" || *last.LimitN > got.Place.DemandN {
				t.Errorf("the last smaller one is %+v", last)
			}
		case "wire rope sling":
			// 29 CFR 1918 Appendix II: 9/16 in 3.2, 1/2 in 2.5 short tons.
			if got.Pick == nil || got.Pick.Size != "9/16 in" || got.Next.Size != "5/8 in" || got.Rejected[len(got.Rejected)-1].Size != "1/2 in" {
				t.Errorf("%+v then %+v", got.Pick, got.Next)
			}
		default:
			t.Errorf("a choice of %s", c.Kind)
		}
	}
	if n := len(b.Choices()); n != 3 {
		t.Errorf("%d choices", n)
	}
}

// TestCells: a capacity has to lie between what may come on the cell and what
// its accuracy allows at the expected reading.
func TestCells(t *testing.T) {
	b := bear(t, pair(t, 20e3, 0.5, 3, ""), Margin{})
	if len(b.Cells) != 2 || b.Cells[0].NotRead != "" {
		t.Fatalf("%+v", b.Cells)
	}
	tension := 10e3 / math.Sqrt(1-0.25*0.25/9)
	testkit.Near(t, "reads", b.Cells[0].ReadsN, tension, testkit.Tol{Rel: 1e-9})
	testkit.Near(t, "high", b.Cells[0].HighN, tension, testkit.Tol{Rel: 1e-9})
	cell := func(capacity, accuracy string) Candidate {
		f := gear.Facts{"capacity": capacity}
		if accuracy != "" {
			f["accuracy"] = accuracy
		}
		return piece(t, "load cell", f)
	}
	wanted := 0.005
	all := []Candidate{
		cell("100 kN", "0.1 % fs"), cell("12.5 kN", "0.1 % fs"), cell("20 kN", "0.5 % fs"), cell("20 kN", ""), cell("25 kN", "0.1 % fs"),
		cell("30 kN", "1 % of reading"), cell("50 kN", "0.1 % fs"), piece(t, "bow shackle", gear.Facts{"wll": "3 t"}),
	}
	got := b.Cells[0].Choose(all, Accuracy{Dynamic: 1.2, RiseN: 3e3, Wanted: &wanted})
	testkit.Near(t, "least capacity", got.LeastN, 1.2*tension+3e3, testkit.Tol{Rel: 1e-9})
	if got.Pick == nil || float64(got.Pick.Cell.Capacity) != 25e3 {
		t.Fatalf("picked %+v", got.Pick)
	}
	testkit.Near(t, "error", *got.ErrorPct, 100*0.001*25e3/tension, testkit.Tol{Rel: 1e-9})
	why := map[string]string{
		"bow shackle":        "it is no load cell whose capacity is known",
		"load cell, 12.5 kN": "its capacity of 12.5 kN is below the 15.042 kN that may come on it",
		"load cell, 20 kN":   "", // two of them
		"load cell, 30 kN":   "its accuracy of 1 % of the reading is coarser than the 0.5 % wanted",
		"load cell, 50 kN":   "it would do as well, and is larger than need be",
		"load cell, 100 kN":  "its accuracy of 0.1 % of full scale is 0.997 % of the 10.035 kN that it must read, and at most 0.5 % is wanted: of this accuracy, up to 50.175 kN of capacity would do",
	}
	var twenty []string
	for _, r := range got.Rejected {
		switch w := why[r.Name]; {
		case r.Name == "load cell, 20 kN":
			twenty = append(twenty, r.Why.String())
		case r.Why.String() != w:
			t.Errorf("%s: %s", r.Name, r.Why)
		}
	}
	if len(twenty) != 2 || len(got.Rejected) != len(all)-1 ||
		!strings.Contains(strings.Join(twenty, "\n"), "its accuracy is not stated") || !strings.Contains(strings.Join(twenty, "\n"), "0.5 % of full scale is 0.997 %") {
		t.Errorf("%v", twenty)
	}
	if got := b.Cells[0].Choose(all, Accuracy{}); got.Pick == nil || float64(got.Pick.Cell.Capacity) != 12.5e3 {
		t.Errorf("without an accuracy wanted: %+v", got.Pick)
	}
}

// TestCellsInTheFile: only legs with cells are asked for them, the weight of
// the rigging below a cell zeroed hung comes off what it reads.
func TestCellsInTheFile(t *testing.T) {
	l := example(t, "pump-motor")
	p, err := verdict.Check(l)
	if err != nil {
		t.Fatal(err)
	}
	b := bear(t, l, Margin{})
	if len(b.Cells) != 2 {
		t.Fatalf("%+v", b.Cells)
	}
	for i, e := range p.States[0].Expected {
		c := b.Cells[i]
		if c.Channel != e.Channel {
			t.Errorf("channel %q, want %q", c.Channel, e.Channel)
		}
		testkit.Near(t, "reads", c.ReadsN, e.NominalN, testkit.Tol{Rel: 1e-9})
		if c.LowN >= c.ReadsN || c.HighN <= e.AtCellN {
			t.Errorf("%+v", c)
		}
	}
}
