package gear_test

import (
	"embed"
	"io/fs"
	"math"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"plumbhook/gear"
	"plumbhook/quantity"
)

func deg(d float64) quantity.Angle { return quantity.Angle(d * math.Pi / 180) }

// Each printed band at both its ends, and the degrees between two bands.
func TestChokeAngle(t *testing.T) {
	for _, r := range read(t, "choker_angle_asme_b30_9.csv") {
		want := num(r["percent_of_choker_rating"]) / 100
		from, to := strings.TrimPrefix(r["angle_of_choke_from_deg"], "over "), r["angle_of_choke_to_deg"]
		ends := []float64{num(from), 180}
		if to == "" {
			ends[0] += 0.01
		} else {
			ends[1] = num(to)
		}
		for _, e := range ends {
			for _, material := range []string{"wire rope IWRC", "polyester web", "polyamide round sling"} {
				if s, ok := gear.ChokeAngle(material, deg(e)); !ok || s.Share != want || !s.Standing.Read() {
					t.Errorf("%s at %g deg: %+v, want %g", material, e, s, want)
				}
			}
		}
	}
	if s, _ := gear.ChokeAngle("wire rope", deg(59.5)); s.Share != 0.62 {
		t.Errorf("between the bands: %+v", s)
	}
	for _, material := range []string{"alloy chain grade 80", "chain grade 4", "natural fibre rope", ""} {
		if s, ok := gear.ChokeAngle(material, deg(130)); ok {
			t.Errorf("%q: %+v", material, s)
		}
	}
}

// Angles drawn tighter never leave more, and an angle that cannot be has no share.
func TestSharesFall(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		a := rapid.Float64Range(0, 180).Draw(t, "a")
		b := rapid.Float64Range(a, 180).Draw(t, "b")
		tight, ok := gear.ChokeAngle("wire rope", deg(a))
		wide, ok2 := gear.ChokeAngle("wire rope", deg(b))
		if !ok || !ok2 || tight.Share > wide.Share {
			t.Fatalf("choke %g: %+v, %g: %+v", a, tight, b, wide)
		}
		near, ok := gear.SideLoad(deg(a))
		far, ok2 := gear.SideLoad(deg(b))
		if !ok || !ok2 || near.Share < far.Share {
			t.Fatalf("side %g: %+v, %g: %+v", a, near, b, far)
		}
		d := rapid.Float64Range(1, 100).Draw(t, "d")
		e := rapid.Float64Range(d, 100).Draw(t, "e")
		small, _ := gear.BendEfficiency(d)
		large, _ := gear.BendEfficiency(e)
		if small.Share > large.Share || small.Share < 0.5 || large.Share >= 1 {
			t.Fatalf("bend %g: %+v, %g: %+v", d, small, e, large)
		}
	})
	for _, bad := range []float64{-1, 181, math.NaN(), math.Inf(1)} {
		if s, ok := gear.ChokeAngle("wire rope", deg(bad)); ok {
			t.Errorf("choke %g: %+v", bad, s)
		}
		if s, ok := gear.SideLoad(deg(bad)); ok {
			t.Errorf("side %g: %+v", bad, s)
		}
		if s, ok := gear.ModeFactor("wire rope", 2, "straight", deg(bad)); ok {
			t.Errorf("mode %g: %+v", bad, s)
		}
	}
}

func TestBendEfficiency(t *testing.T) {
	for _, r := range read(t, "bend_factor_0027nd_table7_1.csv") {
		s, ok := gear.BendEfficiency(num(r["D_over_d"]))
		if !ok || math.Abs(1/s.Share-num(r["bending_factor"])) > 0.006 || math.Abs(s.Share-num(r["efficiency_1_over_factor"])) > 0.003 {
			t.Errorf("D/d %s: %+v, printed factor %s", r["D_over_d"], s, r["bending_factor"])
		}
	}
	for _, bad := range []float64{0.99, 0, -4, math.NaN(), math.Inf(1)} {
		if s, ok := gear.BendEfficiency(bad); ok {
			t.Errorf("D/d %g: %+v", bad, s)
		}
	}
}

// Every row of the EN mode factors at the flat end of its band and inside it.
func TestModeFactors(t *testing.T) {
	materials := map[string]string{"chain": "alloy chain grade 8", "wire rope": "wire rope FC", "flat woven web": "polyester web", "roundsling": "polyester round sling"}
	hitches := map[string]string{"straight": "straight", "choked": "choker", "basket": "basket"}
	n := 0
	for _, r := range read(t, "mode_factors_en.csv") {
		material, hitch := materials[r["gear"]], hitches[r["hitch"]]
		if material == "" || hitch == "" || r["legs"] == "endless" {
			continue
		}
		over, to := num(r["angle_from_vertical_over_deg"]), num(r["angle_from_vertical_up_to_deg"])
		angles := []float64{to, (over + to) / 2, over + 7.01*(to-over)/45}
		for _, angle := range angles {
			for _, legs := range map[string][]int{"1": {1}, "2": {2}, "3 or 4": {3, 4}}[r["legs"]] {
				s, ok := gear.ModeFactor(material, legs, hitch, deg(angle))
				if !ok || s.Share != num(r["factor"]) || s.Standing.Read() || s.Source != r["standard"] {
					t.Errorf("%v at %g deg with %d legs: %+v", r, angle, legs, s)
				}
				n++
			}
		}
	}
	if n < 80 {
		t.Errorf("only %d comparisons", n)
	}
	for _, c := range []struct {
		material string
		legs     int
		hitch    string
		angle    float64
		want     float64 // zero: none
	}{
		{"polyester web", 1, "basket", 7, 2.0},
		{"polyester web", 1, "basket", 8, 1.4},
		{"wire rope IWRC", 1, "choker", 0, 0.8},
		{"alloy chain grade 8", 2, "choker", 45, 1.4 * 0.8},
		{"alloy chain grade 8", 4, "choker", 50, 1.5 * 0.8},
		// Measured from the horizontal, 30 degrees would be 1.0; from the vertical it is 1.4.
		{"chain grade 4", 2, "straight", 30, 1.4},
		{"chain grade 4", 2, "straight", 45.1, 1.0},
		{"chain grade 4", 2, "straight", 60.1, 0},
		{"chain grade 4", 5, "straight", 30, 0},
		{"natural fibre rope", 2, "straight", 30, 0},
		{"wire rope", 2, "basket", 30, 0},
		{"polyester web", 1, "bridle", 0, 0},
	} {
		s, ok := gear.ModeFactor(c.material, c.legs, c.hitch, deg(c.angle))
		if ok != (c.want > 0) || math.Abs(s.Share-c.want) > 1e-12 {
			t.Errorf("%+v: %+v", c, s)
		}
	}
	if len(gear.Modes()) != 39 {
		t.Errorf("%d modes", len(gear.Modes()))
	}
}

func TestChokerRating(t *testing.T) {
	for _, c := range []struct {
		code, material string
		want           float64
		read           bool
	}{
		{"us", "wire rope IWRC", 0.70, true},
		{"us", "natural fibre rope", 0.50, true},
		{"us", "polypropylene fibre rope", 0.50, true},
		{"us", "alloy chain grade 80", 0.75, true},
		{"us", "polyester web", 0.80, false},
		{"eu", "polyester web", 0.80, false},
		{"eu", "alloy chain grade 8", 0.80, false},
		{"eu", "natural fibre rope", 0, false},
		{"us", "", 0, false},
		{"", "wire rope", 0, false},
	} {
		if s, ok := gear.ChokerRating(c.code, c.material); ok != (c.want > 0) || s.Share != c.want || s.Standing.Read() != c.read {
			t.Errorf("%+v: %+v", c, s)
		}
	}
}

func TestSideLoadAndEyeBolts(t *testing.T) {
	for _, c := range [][2]float64{{0, 1}, {5, 1}, {5.5, 0.7}, {6, 0.7}, {45, 0.7}, {46, 0.5}, {90, 0.5}, {91, 0}, {180, 0}} {
		if s, ok := gear.SideLoad(deg(c[0])); !ok || math.Abs(s.Share-c[1]) > 1e-12 || s.Standing.Read() != (c[0] > 90) {
			t.Errorf("%g deg: %+v, want %g", c[0], s, c[1])
		}
	}
	for _, r := range read(t, "eyebolt_angle_reduction_MEMORY.csv") {
		if !strings.HasPrefix(r["scheme"], "ASME") {
			continue
		}
		for _, column := range []string{"angle_of_pull_from_eyebolt_axis_from_deg", "angle_to_deg"} {
			s, ok := gear.EyeBolt("shoulder eye bolt", deg(num(r[column])))
			if !ok || s.Share != num(r["percent_of_axial_rating"])/100 || s.Standing.Read() {
				t.Errorf("%s deg: %+v", r[column], s)
			}
		}
	}
	if s, ok := gear.EyeBolt("plain eye bolt", 0); !ok || s.Share != 1 || !s.Standing.Read() {
		t.Errorf("plain, straight: %+v", s)
	}
	if s, ok := gear.EyeBolt("plain eye bolt", deg(1)); ok {
		t.Errorf("plain, off its axis: %+v", s)
	}
}

func celsius(c float64) quantity.Temperature { return quantity.Temperature(c + 273.15) }

// The limits, each in the degrees of its source: 0 °C is 32 °F.
func TestTemperatures(t *testing.T) {
	fahrenheit := func(f float64) float64 { return (f - 32) / 1.8 }
	for _, c := range []struct {
		code, material string
		low, high      float64 // °C
		broken         int
		share          float64 // smallest that is left; 2: the maker says
	}{
		{"us", "wire rope FC", -30, fahrenheit(200), 0, 1},
		{"us", "wire rope FC", -30, fahrenheit(201), 1, 0},
		{"us", "wire rope IWRC", fahrenheit(-60), fahrenheit(400), 0, 1},
		{"us", "wire rope IWRC", fahrenheit(-61), fahrenheit(400), 1, 2},
		{"us", "wire rope IWRC", -51.2, 20, 1, 2}, // -60 °F is -51.1 °C, and not 15.55 °C as a rule misprints
		{"us", "wire rope IWRC", -51, 20, 0, 1},
		{"us", "alloy chain grade 100", 0, fahrenheit(700), 1, 2},
		{"us", "alloy chain grade 100", 0, fahrenheit(1001), 2, 0},
		{"us", "polyester web", 0, fahrenheit(181), 1, 0},
		{"us", "polypropylene web", 0, fahrenheit(199), 0, 1},
		{"us", "natural fibre rope", fahrenheit(-21), fahrenheit(181), 2, 2},
		{"eu", "polyester round sling", -40, 100, 0, 1},
		{"eu", "polypropylene web", -41, 81, 2, 0},
		{"eu", "alloy chain grade 8", -10, 250, 1, 0.9},
		{"eu", "alloy chain grade 8", -10, 350, 2, 0.75},
		{"eu", "alloy chain grade 10", -10, 350, 0, 1},
	} {
		broken, share := 0, 1.0
		for _, r := range gear.Temperatures(c.code, c.material) {
			if !r.Broken(celsius(c.low), celsius(c.high)) {
				continue
			}
			broken++
			if r.Share == nil {
				share = math.Min(2, share+1) // any figure of another rule goes before it
			} else if share > 1 || *r.Share < share {
				share = *r.Share
			}
			if r.Effect == "" || r.Text == "" || r.Source == "" {
				t.Errorf("%+v", r)
			}
		}
		if broken != c.broken || share != c.share {
			t.Errorf("%s %s from %.1f to %.1f °C: %d broken, share %g, want %d, %g", c.code, c.material, c.low, c.high, broken, share, c.broken, c.share)
		}
	}
	for _, material := range []string{"wire rope", "steel", ""} {
		if got := gear.Temperatures("us", material); got != nil {
			t.Errorf("%q: %+v", material, got)
		}
	}
}

// Each figure of the temperature and chemical rules as read stands in ours.
func TestRulesAsRead(t *testing.T) {
	want := map[string]int{}
	for _, r := range read(t, "rules.csv") {
		if r["topic"] == "temperature" && !strings.Contains(r["gear"], "mesh") && r["gear"] != "EN chain slings grade 8" {
			want[r["value"]+" "+r["unit"]]++
		}
	}
	got := map[string]bool{}
	for _, code := range []string{"us", "eu"} {
		for _, material := range []string{
			"alloy chain", "wire rope FC", "wire rope IWRC", "natural fibre rope", "polyester web", "polyamide web", "polypropylene web",
			"polyester round sling", "polypropylene round sling",
		} {
			for _, r := range gear.Temperatures(code, material) {
				got[strings.ReplaceAll(r.Text, "°", "deg")] = true
			}
		}
	}
	for figure := range want {
		if !got[figure] {
			t.Errorf("no rule at %s", figure)
		}
	}
	if len(got) != len(want) {
		t.Errorf("limits %v, read %v", got, want)
	}
	for material, substances := range map[string][]string{"polyamide web": {"acids", "phenolics"}, "polyester web": {"caustics"}, "polypropylene web": {"caustics"}, "polyester round sling": nil} {
		rules := gear.Chemicals("us", material)
		if len(rules) != len(substances) {
			t.Errorf("%s: %+v", material, rules)
			continue
		}
		for i, s := range substances {
			if rules[i].Substance != s || !rules[i].Standing.Read() {
				t.Errorf("%s: %+v", material, rules[i])
			}
		}
	}
	n := 0
	for _, r := range read(t, "rules.csv") {
		if r["topic"] == "temperature" || r["topic"] == "chemical" {
			continue
		}
		found := false
		for _, have := range gear.Rules(r["topic"]) {
			found = found || have.Gear == r["gear"] && have.Text == r["rule"] && have.Figure == r["value"] && have.Unit == r["unit"] &&
				have.Source == r["source"] && string(have.Standing) == r["status"] && (have.Value == 0 || have.Value == num(r["value"]))
		}
		if !found {
			t.Errorf("the rule is missing or altered: %v", r)
		}
		n++
	}
	if n != 55 {
		t.Errorf("%d rules", n)
	}
}

func TestAngles(t *testing.T) {
	for _, c := range []struct {
		gear, from string
		degrees    float64
		read       bool
	}{
		{"all slings", "vertical", 5, true},
		{"all slings", "horizontal", 30, false},
		{"multi-leg slings, EN", "vertical", 60, false},
		{"eyebolts", "axis", 20, true},
		{"fibre rope eye", "", 60, true},
	} {
		found := false
		for _, a := range gear.Angles() {
			found = found || a.Gear == c.gear && a.From == c.from && math.Abs(float64(a.Limit-deg(c.degrees))) < 1e-12 && a.Standing.Read() == c.read
		}
		if !found {
			t.Errorf("missing: %+v", c)
		}
	}
	if len(gear.Angles()) != 5 {
		t.Errorf("%+v", gear.Angles())
	}
}

// Proof loads by hand, in the ton of each rule.
func TestProofs(t *testing.T) {
	const longTon = 2240 * poundForce
	for _, c := range []struct {
		source, gear  string
		swl, want     float64
		unit          float64
		fromMemory    bool
		outside       bool
		alsoInTheBook int
	}{
		{source: "29 CFR 1919.28(a)", gear: "crane", swl: 20, want: 25, unit: longTon},
		{source: "29 CFR 1919.28(a)", gear: "crane", swl: 30, want: 35, unit: longTon},
		{source: "29 CFR 1919.28(a)", gear: "crane", swl: 60, want: 66, unit: longTon},
		{source: "29 CFR 1918 App IV", gear: "special", swl: 30, want: 35, unit: shortTon},
		{source: "29 CFR 1918 App I Form 3 (ILO)", gear: "chain, hook", swl: 25, want: 50, unit: tonne},
		{source: "29 CFR 1918 App I Form 3 (ILO)", gear: "chain, hook", swl: 50, want: 81, unit: tonne},
		{source: "29 CFR 1918 App I Form 3 (ILO)", gear: "lifting beam", swl: 50, want: 61.6, unit: tonne, fromMemory: true},
		{source: "29 CFR 1926.251(a)(4)", gear: "special custom", swl: 4, want: 5, unit: tonne},
		{source: "29 CFR 1919.31(a)", gear: "chain, ring", swl: 7, want: 14, unit: longTon},
	} {
		n := 0
		for _, p := range gear.Proofs() {
			if p.Source != c.source || !strings.HasPrefix(p.Gear, c.gear) {
				continue
			}
			if load, ok := p.Load(quantity.Force(c.swl * c.unit)); ok {
				n++
				if math.Abs(float64(load)-c.want*c.unit) > 1e-9*c.want*c.unit || p.Standing.Read() == c.fromMemory {
					t.Errorf("%s %s at %g: %g, want %g (%+v)", c.source, c.gear, c.swl, float64(load)/c.unit, c.want, p)
				}
			}
		}
		if n != 1 {
			t.Errorf("%s %s at %g: %d rows", c.source, c.gear, c.swl, n)
		}
	}
	if len(gear.Proofs()) != 38 {
		t.Errorf("%d rows", len(gear.Proofs()))
	}
	for _, p := range gear.Proofs() {
		if load, ok := p.Load(0); ok {
			t.Errorf("no SWL is proof loaded to %g: %+v", load, p)
		}
	}
}

func TestDesignFactors(t *testing.T) {
	all := gear.DesignFactors()
	want := read(t, "design_factors.csv")
	if len(all) != len(want) {
		t.Fatalf("%d rows, read %d", len(all), len(want))
	}
	for i, r := range want {
		f := all[i]
		if f.Gear != r["gear"] || f.Text != r["factor"] || f.Source != r["source"] || f.Standing.Read() != strings.HasPrefix(r["status"], "READ") {
			t.Errorf("%+v, read %v", f, r)
		}
		if formula := strings.ContainsAny(r["factor"], "/*("); (f.Factor == 0) != formula {
			t.Errorf("%+v", f)
		}
	}
}

func TestWear(t *testing.T) {
	for _, r := range read(t, "chain_wear_limits.csv") {
		size := num(r["size_in_dec"]) * 0.0254
		w, ok := gear.WearLimit(quantity.Length(size))
		if !ok || math.Abs(w.Most-num(r["max_wear_in_dec"])*0.0254) > 1e-12 || math.Abs(w.Least-num(r["min_size_in_dec"])*0.0254) > 1e-12 || w.Size != r["size_in"]+" in" {
			t.Errorf("%s in: %+v", r["size_in"], w)
		}
		if s := r["max_wear_in_1918_t4b"]; (s == "") != (w.Longshoring == 0) || s != "" && (math.Abs(w.Longshoring-num(s)*0.0254) > 1e-12 || w.Longshoring >= w.Most) {
			t.Errorf("%s in: %+v", r["size_in"], w)
		}
	}
	if w, ok := gear.WearLimit(0.010); ok {
		t.Errorf("10 mm is no size of that table: %+v", w)
	}
}

//go:embed data
var data embed.FS

// Every row says whether its source was read, and names the source unless its
// table does.
func TestEveryRowHasAStanding(t *testing.T) {
	names, err := fs.Glob(data, "data/*.csv")
	if err != nil || len(names) < 15 {
		t.Fatal(names, err)
	}
	for _, name := range names {
		if name == "data/tables.csv" {
			continue
		}
		for _, r := range read(t, "../"+name) {
			standing := r["standing"]
			if !strings.HasPrefix(standing, "READ") && !strings.HasPrefix(standing, "MEMORY") {
				t.Errorf("%s: %v", name, r)
			}
			if s, has := r["source"]; has && s == "" {
				t.Errorf("%s: no source: %v", name, r)
			}
			if name == "data/ratings.csv" && !strings.HasPrefix(standing, "READ") {
				t.Errorf("a rating from memory: %v", r)
			}
		}
	}
}
