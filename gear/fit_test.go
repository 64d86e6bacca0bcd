package gear_test

import (
	"math"
	"strings"
	"testing"

	"plumbhook/gear"
)

// only gives the answers to one question.
func only(all []gear.FitCheck, rule string) []gear.FitCheck {
	var some []gear.FitCheck
	for _, c := range all {
		if c.Rule == rule {
			some = append(some, c)
		}
	}
	return some
}

// open is what a test expects of a question that cannot be answered.
const open = "not assessed"

func severity(c gear.FitCheck) string {
	if c.NotAssessed != "" {
		return open
	}
	return c.Severity
}

// The sizes are invented; demand and limit, in mm or as a ratio, are by hand.
func TestFit(t *testing.T) {
	const (
		shackle = "wll=6.5 t; size=22 mm; pin=25 mm; jaw=37 mm; inside=58 mm"
		rope    = "wll=5 t; diameter=20 mm; ends=soft eye"
	)
	for _, c := range []struct {
		name         string
		above, below [2]string
		rule         string
		severity     string
		demand       float64
		limit        float64
		words        string
	}{
		{"pin in a lug", [2]string{"bow shackle", shackle}, [2]string{"plate", "hole=27 mm; thickness=30 mm"}, "pin-in-hole", "", 25, 27, "2 mm of play"},
		{"pin too thick", [2]string{"bow shackle", shackle}, [2]string{"plate", "hole=25 mm; thickness=30 mm"}, "pin-in-hole", gear.Stop, 25, 25, "does not go into"},
		{"loose pin", [2]string{"bow shackle", shackle}, [2]string{"plate", "hole=40 mm"}, "pin-in-hole", gear.Caution, 25, 40, "thicker pin"},
		{"pin with play", [2]string{"bow shackle", shackle}, [2]string{"plate", "hole=30 mm"}, "pin-in-hole", gear.Note, 25, 30, "bears on a line"},
		{"no hole known", [2]string{"bow shackle", shackle}, [2]string{"plate", "thickness=30 mm"}, "pin-in-hole", open, 0, 0, "measure the hole of the plate"},
		{"no pin known", [2]string{"bow shackle", "wll=5 t"}, [2]string{"plate", "hole=30 mm"}, "pin-in-hole", open, 0, 0, "measure the pin of the bow shackle"},
		{"bow to the hole", [2]string{"bow shackle", shackle + "; up=pin"}, [2]string{"plate", "hole=30 mm"}, "pin-in-hole", gear.Caution, 0, 0, "put the pin through"},
		{"the other way up", [2]string{"spreader", "hole=27 mm; thickness=30 mm"}, [2]string{"bow shackle", shackle}, "pin-in-hole", "", 25, 27, "2 mm of play"},

		{"plate between the cheeks", [2]string{"bow shackle", shackle}, [2]string{"plate", "hole=27 mm; thickness=30 mm"}, "jaw", "", 30, 37, "goes between"},
		{"plate too thick", [2]string{"bow shackle", shackle}, [2]string{"plate", "hole=27 mm; thickness=37 mm"}, "jaw", gear.Stop, 37, 37, "does not go between"},
		{"thin plate", [2]string{"bow shackle", shackle}, [2]string{"plate", "hole=27 mm; thickness=20 mm"}, "jaw", gear.Note, 20, 37, "spacers"},
		{"no jaw known", [2]string{"bow shackle", "wll=6.5 t; pin=25 mm"}, [2]string{"plate", "hole=27 mm; thickness=20 mm"}, "jaw", open, 0, 0, "write jaw"},
		{"turnbuckle", [2]string{"turnbuckle", "wll=5 t; ends=jaw; pin=22 mm; jaw=27 mm"}, [2]string{"shoulder eye bolt", "hole=30 mm; thickness=27.5 mm"}, "jaw", gear.Stop, 27.5, 27, "does not go"},

		{"the cell's pin", [2]string{"bow shackle", shackle}, [2]string{"load cell", "capacity=6.5 t; pin=25 mm"}, "cell-pin", "", 25, 25, "what the cell demands"},
		{"an inch pin for it", [2]string{"bow shackle", "wll=6.5 t; pin=1 in"}, [2]string{"load cell", "capacity=6.5 t; pin=25 mm"}, "cell-pin", "", 25.4, 25, "25.4 mm"},
		{"pin too thin", [2]string{"bow shackle", "wll=6.5 t; pin=22 mm"}, [2]string{"load cell", "capacity=6.5 t; pin=25 mm"}, "cell-pin", gear.Stop, 22, 24.375, "weakest part"},
		{"pin too thick for it", [2]string{"bow shackle", "wll=6.5 t; pin=26 mm"}, [2]string{"load cell", "capacity=6.5 t; pin=25 mm"}, "cell-pin", gear.Stop, 26, 25.625, "read wrong"},
		{"the cell's own range", [2]string{"bow shackle", "wll=6.5 t; pin=1 in"}, [2]string{"load cell", "capacity=6.5 t; pin=24.9..25.1 mm"}, "cell-pin", gear.Stop, 25.4, 25.1, "24.9 mm to 25.1 mm"},
		{"cell below", [2]string{"load cell", "capacity=6.5 t; pin=25 mm"}, [2]string{"dee shackle", "wll=6.5 t; pin=22 mm"}, "cell-pin", gear.Stop, 22, 24.375, "weakest part"},
		{"no demand known", [2]string{"bow shackle", shackle}, [2]string{"load cell", "capacity=6.5 t"}, "cell-pin", open, 0, 0, "data"},
		{"pin of the table", [2]string{"bow shackle", "wll=6.5 short ton; size=7/8 in"}, [2]string{"load cell", "capacity=6.5 t; pin=25 mm"}, "cell-pin", "", 25.4, 25, "25.4 mm"},
		{"table pin, next size", [2]string{"bow shackle", "wll=4.75 short ton; size=3/4 in"}, [2]string{"load cell", "capacity=6.5 t; pin=25 mm"}, "cell-pin", gear.Stop, 22.225, 24.375, "22.2 mm"},

		{"cell swings", [2]string{"bow shackle", shackle}, [2]string{"load cell", "capacity=6.5 t"}, "cell-align", "", 0, 0, "swing"},
		{"cell on a spreader", [2]string{"spreader", "wll=10 t"}, [2]string{"load cell", "capacity=6.5 t"}, "cell-align", gear.Caution, 0, 0, "without a shackle"},
		{"lug on a cell", [2]string{"load cell", "capacity=6.5 t"}, [2]string{"plate", "wll=5 t"}, "cell-align", gear.Caution, 0, 0, "without a shackle"},

		{"bow on bow", [2]string{"bow shackle", shackle + "; up=pin"}, [2]string{"bow shackle", shackle + "; up=bow"}, "bearing", "", 0, 0, "bow bears on bow"},
		{"pin on bow", [2]string{"bow shackle", shackle + "; up=bow"}, [2]string{"bow shackle", shackle + "; up=bow"}, "bearing", gear.Caution, 0, 0, "at one point"},
		{"pin on pin", [2]string{"bow shackle", shackle + "; up=bow"}, [2]string{"bow shackle", shackle + "; up=pin"}, "bearing", gear.Caution, 0, 0, "bow on bow"},
		{"not said", [2]string{"bow shackle", shackle}, [2]string{"bow shackle", shackle}, "bearing", open, 0, 0, "up: bow"},
		{"bar too thick", [2]string{"bow shackle", shackle + "; up=pin"}, [2]string{"bow shackle", "wll=40 t; size=58 mm; inside=120 mm; up=bow"}, "jaw", gear.Stop, 58, 58, "does not go into"},

		{"link on a hook", [2]string{"sling hook", "wll=5 t; throat=30 mm"}, [2]string{"master link", "wll=5 t; diameter=22 mm"}, "hook-throat", "", 22, 30, "passes"},
		{"link too thick", [2]string{"sling hook", "wll=5 t; throat=22 mm"}, [2]string{"master link", "wll=5 t; diameter=22 mm"}, "hook-throat", gear.Stop, 22, 22, "hang on the tip"},
		{"eye on a hook", [2]string{"sling hook", "wll=5 t; throat=30 mm"}, [2]string{"shoulder eye bolt", "thickness=19 mm"}, "hook-throat", "", 19, 30, "passes"},
		{"shackle on a hook", [2]string{"sling hook", "wll=5 t; throat=24 mm"}, [2]string{"bow shackle", shackle}, "hook-throat", gear.Stop, 25, 24, "hang on the tip"},
		{"no throat known", [2]string{"sling hook", "wll=5 t"}, [2]string{"master link", "wll=5 t; diameter=22 mm"}, "hook-throat", open, 0, 0, "latch"},
		{"web on a hook", [2]string{"sling hook", "wll=5 t; throat=30 mm"}, [2]string{"web sling", "wll=5 t; width=90 mm"}, "hook-throat", open, 0, 0, "unpinched"},

		{"web in a bow", [2]string{"bow shackle", shackle + "; up=pin"}, [2]string{"web sling", "wll=2 t; width=50 mm"}, "bunching", "", 50, 58, "lies flat"},
		{"web bunched", [2]string{"bow shackle", shackle + "; up=pin"}, [2]string{"web sling", "wll=3 t; width=90 mm"}, "bunching", gear.Caution, 90, 58, "bunched"},
		{"round sling on a pin", [2]string{"bow shackle", shackle + "; up=bow"}, [2]string{"round sling", "wll=3 t; width=40 mm"}, "bunching", gear.Caution, 40, 37, "bunched"},
		{"no width known", [2]string{"bow shackle", shackle}, [2]string{"round sling", "wll=3 t"}, "bunching", open, 0, 0, "width under load"},

		// A rope eye over 22 mm (the thinner of bow and pin): D/d = 1.1.
		{"eye on a shackle", [2]string{"bow shackle", shackle}, [2]string{"wire rope sling", rope}, "bend", gear.Caution, 1.1e3, 2e3, "preferably above 2"},
		{"eye on a thin bow", [2]string{"bow shackle", "wll=2 t; size=16 mm; pin=19 mm; up=pin"}, [2]string{"wire rope sling", rope}, "bend", gear.Stop, 0.8e3, 1e3, "nothing thinner"},
		{"eye on a link", [2]string{"master link", "wll=5 t; diameter=45 mm"}, [2]string{"wire rope sling", rope}, "bend", "", 2.25e3, 2e3, "2.25"},
		{"thimble", [2]string{"bow shackle", shackle}, [2]string{"wire rope sling", "wll=5 t; diameter=20 mm; thimble=60 mm"}, "bend", "", 3e3, 3e3, "60 mm"},
		{"small thimble", [2]string{"bow shackle", shackle}, [2]string{"wire rope sling", "wll=5 t; diameter=20 mm; thimble=55 mm"}, "bend", gear.Caution, 2.75e3, 3e3, "critical"},
		{"thimble unknown", [2]string{"bow shackle", shackle}, [2]string{"wire rope sling", "wll=5 t; diameter=20 mm; ends=thimble"}, "bend", open, 0, 0, "thimble"},
		{"fibre rope", [2]string{"bow shackle", shackle}, [2]string{"fibre rope sling", "wll=1 t; diameter=20 mm; ends=soft eye"}, "bend", open, 0, 0, "ask its maker"},
		{"eye too thick for the jaw", [2]string{"bow shackle", shackle}, [2]string{"wire rope sling", "wll=5 t; diameter=40 mm; ends=soft eye"}, "jaw", gear.Stop, 40, 37, "does not go"},

		{"ends unknown", [2]string{"bow shackle", shackle}, [2]string{"wire rope sling", "wll=5 t"}, "bearing", open, 0, 0, "write ends"},
		{"chain on a shackle", [2]string{"bow shackle", shackle}, [2]string{"alloy chain sling", "wll=5 t"}, "bearing", open, 0, 0, "entries of their own"},
		{"two lugs", [2]string{"plate", "hole=30 mm"}, [2]string{"plate", "hole=30 mm"}, "bearing", open, 0, 0, "what joins them"},
	} {
		all := gear.Fit(look(t, c.above[0], c.above[1]), look(t, c.below[0], c.below[1]))
		got := only(all, c.rule)
		if c.name == "bar too thick" {
			got = got[:1]
		}
		if len(got) != 1 {
			t.Errorf("%s: %d answers to %s: %+v", c.name, len(got), c.rule, all)
			continue
		}
		g := got[0]
		if severity(g) != c.severity || !strings.Contains(g.Text+g.NotAssessed, c.words) {
			t.Errorf("%s: %s %q %q, want %q with %q", c.name, g.Rule, severity(g), g.Text+g.NotAssessed, c.severity, c.words)
		}
		if c.limit > 0 && (g.Demand == nil || math.Abs(*g.Demand*1000-c.demand) > 1e-9*c.demand || math.Abs(*g.Limit*1000-c.limit) > 1e-9*c.limit) {
			t.Errorf("%s: demand and limit %+v", c.name, g)
		}
		for _, a := range all {
			if (a.Text == "") == (a.NotAssessed == "") || a.NotAssessed != "" && (a.Severity != "" || a.Demand != nil) || a.Text != "" && a.Source == "" {
				t.Errorf("%s: half an answer: %+v", c.name, a)
			}
		}
	}
}

// An inch pin does for the millimetre pin of its nominal size, and for no other.
func TestInchPins(t *testing.T) {
	inch := []string{"3/8", "1/2", "5/8", "3/4", "7/8", "1", "1 1/8", "1 1/4", "1 3/8", "1 1/2", "2"}
	for i, metric := range []string{"10", "", "16", "19", "22", "25", "28", "32", "35", "38", "50"} {
		if metric == "" {
			continue
		}
		cell := look(t, "load cell", "capacity=5 t; pin="+metric+" mm")
		for j, pin := range inch {
			got := only(gear.Fit(look(t, "bow shackle", "wll=5 t; pin="+pin+" in"), cell), "cell-pin")
			if len(got) != 1 || (got[0].Severity == "") != (i == j) {
				t.Errorf("%s in for %s mm: %+v", pin, metric, got)
			}
		}
	}
}

func TestRunning(t *testing.T) {
	rope := look(t, "wire rope sling", "wll=5 t; diameter=20 mm; splice=mechanical")
	for _, c := range []struct{ facts, severity, words string }{
		{"wll=5 t; size=22 mm; pin=25 mm; pin_type=screw; up=bow", gear.Stop, "turn it out"},
		{"wll=5 t; size=22 mm; pin=25 mm; pin_type=bolt; up=bow", "", "not a screw pin"},
		{"wll=5 t; size=22 mm; pin=25 mm; pin_type=screw; up=pin", "", "on the bow"},
		{"wll=5 t; size=22 mm; pin=25 mm; pin_type=screw", open, "which end"},
		{"wll=5 t; size=22 mm; pin=25 mm", open, "pin_type"},
	} {
		over := look(t, "bow shackle", c.facts)
		got := only(gear.Running(rope, over, over.Lower), "running-rope")
		if len(got) != 1 || severity(got[0]) != c.severity || !strings.Contains(got[0].Text+got[0].NotAssessed, c.words) {
			t.Errorf("{%s}: %+v", c.facts, got)
		}
		if bend := only(gear.Running(rope, over, over.Lower), "bend"); len(bend) != 1 || bend[0].Severity != gear.Caution {
			t.Errorf("{%s}: %+v", c.facts, bend)
		}
	}
}

// The basket figure of the tables holds from D/d = 15 for hand tucked eyes and
// 25 for the others (29 CFR 1918 Appendix II, notes 2 and 3).
func TestBend(t *testing.T) {
	for _, c := range []struct {
		facts    string
		diameter float64 // mm
		severity string
		limit    float64
		words    string
	}{
		{"diameter=20 mm; splice=mechanical", 500, "", 25, "holds from 25"},
		{"diameter=20 mm; splice=mechanical", 480, gear.Caution, 25, "leaves 90 %"}, // 1 - 0.5/√24
		{"diameter=20 mm; splice=hand tucked", 300, "", 15, "holds from 15"},
		{"diameter=20 mm; splice=hand tucked", 80, gear.Caution, 15, "leaves 75 %"}, // 1 - 0.5/√4
		{"diameter=20 mm; splice=socket", 19, gear.Stop, 1, "nothing thinner"},
		{"diameter=20 mm", 80, gear.Note, 1, "leaves 75 %"},
		{"splice=socket", 80, open, 0, "diameter"},
	} {
		got := gear.Bend(look(t, "wire rope sling", "wll=5 t; "+c.facts), c.diameter/1000)
		if len(got) != 1 || severity(got[0]) != c.severity || !strings.Contains(got[0].Text+got[0].NotAssessed, c.words) || c.limit > 0 && *got[0].Limit != c.limit {
			t.Errorf("{%s} over %g mm: %+v", c.facts, c.diameter, got)
		}
	}
	if got := gear.Bend(look(t, "web sling", "wll=5 t"), 0.1); len(got) != 1 || got[0].NotAssessed == "" {
		t.Errorf("a web: %+v", got)
	}
}

// A fit does not depend on which of two pieces is asked about first.
func TestFitBothWays(t *testing.T) {
	shackle := look(t, "bow shackle", "wll=6.5 t; size=22 mm; pin=25 mm; jaw=37 mm")
	for _, other := range []gear.Piece{
		look(t, "plate", "hole=27 mm; thickness=30 mm"),
		look(t, "load cell", "capacity=5 t; pin=22 mm; hole=24 mm; thickness=40 mm"),
		look(t, "wire rope sling", "wll=5 t; diameter=20 mm; ends=soft eye"),
		look(t, "web sling", "wll=5 t; width=90 mm"),
		look(t, "master link", "wll=5 t; diameter=22 mm"),
	} {
		down, up := gear.Fit(shackle, other), gear.Fit(other, shackle)
		if len(down) != len(up) {
			t.Errorf("%s: %d and %d answers", other.Kind, len(down), len(up))
			continue
		}
		for i := range down {
			if down[i].Text != up[i].Text || down[i].Severity != up[i].Severity || down[i].NotAssessed != up[i].NotAssessed {
				t.Errorf("%s: %+v, and the other way up %+v", other.Kind, down[i], up[i])
			}
		}
	}
}
