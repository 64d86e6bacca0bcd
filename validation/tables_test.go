package validation

import (
	"fmt"
	"maps"
	"math"
	"os"
	"slices"
	"strconv"
	"strings"
	"testing"
	"text/tabwriter"

	"plumbhook/gear"
	"plumbhook/quantity"
)

// gearTables is where the gear tables stand as they were read.
const gearTables = "../gear/testdata/"

// printed is a table in testdata: rows by column.
type printed []map[string]string

// tables reads every table in testdata.
func tables(t *testing.T) map[string]printed {
	t.Helper()
	names, err := os.ReadDir(gearTables)
	if err != nil {
		t.Fatal(err)
	}
	all := map[string]printed{}
	for _, n := range names {
		if strings.HasSuffix(n.Name(), ".csv") && n.Name() != "corrections.csv" {
			all[n.Name()] = sheet(t, gearTables+n.Name())
		}
	}
	return all
}

func number(s string) float64 {
	v, err := strconv.ParseFloat(s, 64)
	if err != nil {
		panic(err)
	}
	return v
}

// checker compares what a table prints with what follows from its other cells.
type checker struct {
	cells map[string]int
	flags []string // table | row | column
}

func (c *checker) cell(table, row, column string, got, want, tolerance float64) {
	c.cells[table]++
	if math.Abs(got-want) > tolerance+1e-9 {
		c.flags = append(c.flags, table+" | "+row+" | "+column)
	}
}

const poundKg = 0.45359237

var sines = map[string]float64{"60h": math.Sqrt(3) / 2, "45h": math.Sqrt2 / 2, "30h": 0.5}

// checkAll derives every cell that follows from another one: bridles from the
// single leg, slings from rope strength, chain from stress, and so on. The
// tolerances are those of the printed digits.
func checkAll(all map[string]printed) *checker {
	c := &checker{cells: map[string]int{}}
	c.bridles(all)
	c.wireRopes(all)
	c.fibreRopes(all)
	for _, r := range all["chain_wear_limits.csv"] {
		c.cell("chain_wear_limits.csv", r["size_in"], "min size", number(r["min_size_in_dec"]), number(r["size_in_dec"])-number(r["max_wear_in_dec"]), 1e-5)
	}
	c.chainByStress(all)
	c.ropeFactors(all)
	for _, r := range all["bend_factor_0027nd_table7_1.csv"] {
		c.cell("bend_factor_0027nd_table7_1.csv", r["D_over_d"], "factor", number(r["bending_factor"]), 1/(1-0.5/math.Sqrt(number(r["D_over_d"]))), 0.006)
	}
	c.modes(all)
	c.proofJoins(all)
	for _, r := range all["tiedown_49cfr393_108_NOT_FOR_LIFTING.csv"] {
		lb := number(r["wll_lb"]) * poundKg
		c.cell("tiedown kg against lb", r["kind"]+" "+r["size_in"], "kg", number(r["wll_kg"]), lb, max(10, 0.015*number(r["wll_kg"])))
	}
	for _, r := range all["turnbuckle_aashto_m269_table2.csv"] {
		c.cell("turnbuckle_aashto_m269_table2.csv", r["thread_in"], "working", number(r["recommended_working_load_lb"]), number(r["breaking_strength_lb"])/5, 1)
	}
	// The pin grows with the root of the load.
	for _, r := range all["shackle_dee_lr_table_8_5_1.csv"] {
		root := math.Sqrt(number(r["swl_t"]) / 10)
		for column, at10 := range map[string]float64{"d2_mild_mm": 47, "d2_ht_mm": 37} {
			c.cell("shackle_dee_lr_table_8_5_1.csv", r["swl_t"], column, number(r[column]), at10*root, 0.5+0.05*at10*root)
		}
	}
	c.acrossTables(all)
	return c
}

// A bridle of N legs is rated N × single × sin(angle from horizontal), N at most 3.
func (c *checker) bridles(all map[string]printed) {
	for _, name := range []string{
		"chain_g80_1918_table4a.csv", "chain_g80_osha_guidance_table1.csv", "chain_g100_osha_guidance_table2.csv",
		"historic_chain_1926_251_H1_pre2011_MEMORY.csv",
	} {
		for _, r := range all[name] {
			single := number(r["single_90_lb"])
			for angle, sine := range sines {
				want := 2 * single * sine
				c.cell(name, r["size_in"], "double_"+angle, number(r["double_"+angle+"_lb"]), want, max(50, 0.006*want))
				column := "triple_quad_" + angle + "_lb"
				if v, ok := r[column]; ok {
					want := 3 * single * sine
					c.cell(name, r["size_in"], column, number(v), want, max(50, 0.006*want))
				}
			}
			if _, ok := r["single_90_kg"]; ok {
				for _, column := range []string{"single_90", "double_60h", "double_45h", "double_30h"} {
					kg := number(r[column+"_lb"]) * poundKg
					c.cell(name+" kg against lb", r["size_in"], column, number(r[column+"_kg"]), kg, 0.012*kg)
				}
			}
		}
	}
}

// half is half of the last figure of a two-figure number, and a little for the
// rope strength itself.
func half(x float64) float64 {
	unit := 1.0
	if x < 1 {
		unit = 0.01
	} else if x < 10 {
		unit = 0.1
	}
	return 0.5*unit + 0.002*x
}

// Slings are rated rope strength × splice efficiency / 5, the choker 0.70 ×
// strength / 5, the basket twice the straight pull.
func (c *checker) wireRopes(all map[string]printed) {
	nominal := map[string]map[string]string{}
	for _, r := range all["wire_rope_us_nominal_strength.csv"] {
		nominal[r["rope_in"]] = r
	}
	for _, table := range []struct{ name, strength, ms string }{
		{"wire_rope_1918_ips_fc.csv", "ips_fc_shortton", "eff_ms_fc"},
		{"wire_rope_1918_ips_iwrc.csv", "ips_iwrc_shortton", "eff_ms_iwrc"},
		{"wire_rope_1918_eips_iwrc.csv", "eips_iwrc_shortton", "eff_ms_iwrc"},
	} {
		for _, r := range all[table.name] {
			q := nominal[r["rope_in"]]
			b, ht, ms := number(q[table.strength])/5, number(q["eff_ht"]), number(q[table.ms])
			for column, want := range map[string]float64{
				"vertical_ht_shortton": b * ht, "vertical_ms_shortton": b * ms, "vertical_s_shortton": b, "choker_any_shortton": 0.7 * b,
				"choker_ms_s_shortton": 0.7 * b, "basket_ht_shortton": 2 * b * ht, "basket_ms_s_shortton": 2 * b * ms,
			} {
				if v, ok := r[column]; ok {
					c.cell(table.name, r["rope_in"], column, number(v), want, half(number(v)))
				}
			}
		}
	}
	const old = "historic_wire_rope_1926_251_H3_pre2011_MEMORY.csv"
	for _, r := range all[old] {
		for _, s := range []string{"ht", "ms", "s"} {
			v := number(r["vertical_"+s+"_shortton"])
			for prefix, factor := range map[string]float64{"choker_": 0.75, "basket_": 2} {
				got := number(r[prefix+s+"_shortton"])
				c.cell(old, r["rope_in"], prefix+s, got, factor*v, half(got)+factor*half(v))
			}
		}
	}
}

// A basket carries 2 × vertical × sin(angle), a choker half of vertical.
func (c *checker) fibreRopes(all map[string]printed) {
	const name = "fibre_rope_1918_tables2_3.csv"
	step := func(x float64) float64 {
		if x < 10000 {
			return 100
		}
		return 500
	}
	for _, r := range all[name] {
		v := number(r["vertical_lb"])
		row := r["table"] + " " + r["construction"] + " " + r["rope_in"]
		c.cell(name, row, "choker", number(r["choker_lb"]), v/2, step(v)/4+50)
		for column, sine := range map[string]float64{"basket_90h_lb": 1, "basket_60h_lb": sines["60h"], "basket_45h_lb": sines["45h"], "basket_30h_lb": 0.5} {
			got := number(r[column])
			c.cell(name, row, column, got, 2*v*sine, step(got)/2+sine*step(v))
		}
	}
}

// Force = stress × two bar sections.
func (c *checker) chainByStress(all map[string]printed) {
	grades := map[string]map[string]string{}
	for _, g := range all["chain_grade_stresses.csv"] {
		grades[g["grade_number"]] = g
	}
	for name, grade := range map[string]string{"chain_en818_3_grade4.csv": "4", "chain_en818_2_grade8_MEMORY.csv": "8"} {
		g := grades[grade]
		for _, r := range all[name] {
			d := number(r["dn_mm"])
			area := math.Pi * d * d / 2
			wll, proof, breaking := number(r["wll_t"]), number(r["mpf_kN"]), number(r["bf_kN"])
			c.cell(name, r["dn_mm"], "WLL", wll, number(g["mean_stress_at_wll_N_per_mm2"])*area/9806.65, 0.055*wll)
			c.cell(name, r["dn_mm"], "MPF", proof, number(g["mean_stress_at_mpf_N_per_mm2"])*area/1000, 0.006*proof)
			c.cell(name, r["dn_mm"], "BF", breaking, number(g["mean_stress_at_bf_N_per_mm2"])*area/1000, 0.006*breaking)
		}
	}
}

// The factors against API Spec 9A, Table C.1 (6x7 with fibre core), as read:
// diameter in mm, kg per 100 m, least breaking force in kN at 1770 and 1960.
func (c *checker) ropeFactors(all map[string]printed) {
	const name = "wire_rope_factors_iso2408.csv against API 9A C.1"
	for _, f := range all["wire_rope_factors_iso2408.csv"] {
		if f["class"] != "6x7" || f["core"] != "FC" {
			continue
		}
		w, k := number(f["w_mass_kg_per_100m_per_mm2"]), number(f["k_min_breaking_force"])
		for _, r := range [][4]float64{
			{6, 12.4, 21.2, 23.4},
			{8, 22.1, 37.6, 41.6},
			{10, 34.5, 58.8, 65.1},
			{12, 49.7, 84.6, 93.7},
			{16, 88.3, 150, 167},
			{20, 138, 235, 260},
			{28, 270, 461, 510},
			{40, 552, 940, 1040},
		} {
			row, dd := fmt.Sprint(r[0]), r[0]*r[0]
			c.cell(name, row, "mass", r[1], w*dd, 0.006*r[1])
			c.cell(name, row, "F 1770", r[2], dd*1770*k/1000, 0.006*r[2])
			c.cell(name, row, "F 1960", r[3], dd*1960*k/1000, 0.006*r[3])
		}
	}
}

// A mode factor is that of the flattest angle of its band.
func (c *checker) modes(all map[string]printed) {
	for _, r := range all["mode_factors_en.csv"] {
		if r["hitch"] != "straight" || r["legs"] == "endless" || r["legs"] == "1" {
			continue
		}
		legs := 3.0 // a four-leg sling is rated as three legs
		if r["legs"] == "2" {
			legs = 2
		}
		to := r["angle_from_vertical_up_to_deg"]
		c.cell("mode_factors_en.csv", r["standard"]+" "+r["legs"], "to "+to+" deg", number(r["factor"]), legs*math.Cos(number(to)*math.Pi/180), 0.025)
	}
}

// The proof loads of neighbouring ranges meet.
func (c *checker) proofJoins(all map[string]printed) {
	rows := all["proof_loads.csv"]
	for i, a := range rows {
		for _, b := range rows[i+1:] {
			if a["source"] != b["source"] || a["gear"] != b["gear"] || a["swl_up_to"] == "" || a["swl_up_to"] != b["swl_over"] {
				continue
			}
			swl := number(a["swl_up_to"])
			at := func(r map[string]string) float64 {
				return swl*number(r["proof_is_multiplier_times_swl"]) + number(r["plus_addend"])
			}
			c.cell("proof_loads.csv joins", a["gear"]+" at "+a["swl_up_to"], a["source"], at(b), at(a), 0.02*at(a))
		}
	}
}

// One figure that several tables print is the same in all.
func (c *checker) acrossTables(all map[string]printed) {
	single := func(name string) map[string]float64 {
		m := map[string]float64{}
		for _, r := range all[name] {
			m[r["size_in"]] = number(r["single_90_lb"])
		}
		return m
	}
	g80, g100 := single("chain_g80_osha_guidance_table1.csv"), single("chain_g100_osha_guidance_table2.csv")
	for _, r := range all["chain_g80_1918_table4a.csv"] {
		if v, ok := g80[r["size_in"]]; ok {
			c.cell("1918 Table 4A against OSHA guidance Table 1", r["size_in"], "single", number(r["single_90_lb"]), v, 0)
		}
	}
	for _, r := range all["tiedown_49cfr393_108_NOT_FOR_LIFTING.csv"] {
		for kind, values := range map[string]map[string]float64{"grade 80 alloy": g80, "grade 100 alloy": g100} {
			if v, ok := values[r["size_in"]]; ok && r["kind"] == kind {
				c.cell("393.108 against OSHA guidance", r["size_in"], kind, number(r["wll_lb"]), v, 0)
			}
		}
	}
}

// Every cell that follows from another does follow, save the misprints and
// roundings that are known one by one.
func cellsFollow(t *testing.T) {
	t.Helper()
	c := checkAll(tables(t))
	text, err := os.ReadFile(gearTables + "known_flags.txt")
	if err != nil {
		t.Fatal(err)
	}
	known := map[string]bool{}
	for _, line := range strings.Split(strings.TrimSpace(string(text)), "\n") {
		name, _, _ := strings.Cut(strings.TrimPrefix(line, "FLAG "), ":")
		known[name] = true
	}
	for _, f := range c.flags {
		if !known[f] {
			t.Errorf("does not follow: %s", f)
		}
		delete(known, f)
	}
	for _, f := range slices.Sorted(maps.Keys(known)) {
		t.Errorf("is known not to follow, and does: %s", f)
	}
	total := 0
	for _, n := range c.cells {
		total += n
	}
	if len(c.cells) != 22 || total != 1274 {
		t.Errorf("%d groups and %d cells were compared, 22 and 1274 are there", len(c.cells), total)
	}

	fmt.Print("\nCells of published gear tables that follow from other cells. Sources stand in docs/sources.md.\n\n")
	w := tabwriter.NewWriter(os.Stdout, 0, 0, 2, ' ', 0)
	fmt.Fprintln(w, "table\tcells compared\tfollow\tknown not to\t")
	for _, name := range slices.Sorted(maps.Keys(c.cells)) {
		not := 0
		for _, f := range c.flags {
			if strings.HasPrefix(f, name+" | ") {
				not++
			}
		}
		mark := ""
		if strings.Contains(name, "MEMORY") || strings.HasPrefix(name, "mode_factors_en") {
			mark = "from memory"
		}
		fmt.Fprintf(w, "%s\t%d\t%d\t%d\t%s\n", name, c.cells[name], c.cells[name]-not, not, mark)
	}
	if err := w.Flush(); err != nil {
		t.Error(err)
	}
	fmt.Printf("\n%d cells compared: %d follow, %d are known misprints and roundings, one by one in gear/testdata/known_flags.txt.\n", total, total-len(c.flags), len(c.flags))
}

// Each cell that was put right holds the figure used; with the figure that was
// printed, the comparison finds it.
func TestCorrections(t *testing.T) {
	found, caught := 0, 0
	for _, fix := range sheet(t, gearTables+"corrections.csv") {
		all := tables(t)
		for _, r := range all[fix["file"]] {
			size := r["size_in"] + r["rope_in"]
			column, known := r[fix["column"]]
			if !known || size != fix["row"] {
				continue
			}
			used := strings.TrimSpace(strings.TrimSuffix(fix["value_used"], "(kept)"))
			if column != used {
				t.Errorf("%s %s %s is %s, and %s was to be used", fix["file"], size, fix["column"], column, used)
			}
			found++
			printed := strings.ReplaceAll(fix["printed_in_the_copy_read"], ",", "")
			if _, err := strconv.ParseFloat(printed, 64); err != nil || printed == used {
				continue
			}
			before := len(checkAll(all).flags)
			r[fix["column"]] = printed
			if len(checkAll(all).flags) > before {
				caught++
			} else if fix["column"] != "choker_any_shortton" && printed != "0.78" {
				// 2.6 for 2.506 and 0.78 for 0.758 are a last figure off: the lower was taken.
				t.Errorf("%s %s %s: the misprint %s is not found", fix["file"], size, fix["column"], printed)
			}
		}
	}
	if found < 10 || caught < 6 {
		t.Errorf("%d corrections were found in the tables and %d misprints caught", found, caught)
	}
}

// derated are the factors that a table prints and the catalogue applies: EN
// mode factors, chokers by angle, shackles by side load, shoulder eye bolts.
func derated(t *testing.T) []row {
	t.Helper()
	var rows []row
	add := func(id, what string, published string, ours gear.Share, ok bool, percent float64, source, status string) {
		t.Helper()
		if !ok {
			t.Errorf("%s: %s has no answer", id, what)
		}
		if !strings.HasPrefix(status, "READ") {
			source += ", " + memory
		}
		r := row{id: id, what: what, published: number(published) * percent, ours: ours.Share, tol: 1e-9, source: source}
		r.check(t)
		rows = append(rows, r)
	}
	materials := map[string]string{"chain": "alloy chain grade 8", "wire rope": "wire rope FC", "flat woven web": "polyester web", "roundsling": "polyester round sling"}
	hitches := map[string]string{"straight": "straight", "choked": "choker", "basket": "basket"}
	for _, r := range sheet(t, gearTables+"mode_factors_en.csv") {
		material, hitch := materials[r["gear"]], hitches[r["hitch"]]
		if material == "" || hitch == "" || r["legs"] == "endless" {
			continue
		}
		to := number(r["angle_from_vertical_up_to_deg"])
		for _, legs := range map[string][]int{"1": {1}, "2": {2}, "3 or 4": {3, 4}}[r["legs"]] {
			s, ok := gear.ModeFactor(material, legs, hitch, quantity.Angle(to*deg))
			add("EN", fmt.Sprintf("mode factor, %s, %d legs, %s, up to %g deg from vertical", r["gear"], legs, r["hitch"], to), r["factor"], s, ok, 1, r["standard"], r["status"])
		}
	}
	for _, r := range sheet(t, gearTables+"eyebolt_angle_reduction_MEMORY.csv") {
		if !strings.HasPrefix(r["scheme"], "ASME B30.26") {
			continue
		}
		to := number(r["angle_to_deg"])
		s, ok := gear.EyeBolt("shoulder eye bolt", quantity.Angle(to*deg))
		add("EB", fmt.Sprintf("shoulder eye bolt, up to %g deg off its axis", to), r["percent_of_axial_rating"], s, ok, 0.01, r["scheme"], r["status"])
	}
	for _, r := range sheet(t, gearTables+"shackle_side_load.csv") {
		if r["reduction_percent"] == "" || r["side_angle_to_deg"] == "" {
			continue
		}
		to := number(r["side_angle_to_deg"])
		s, ok := gear.SideLoad(quantity.Angle(to * deg))
		s.Share = 1 - s.Share // the table prints what is lost
		add("SL", fmt.Sprintf("shackle, lost up to %g deg to the side", to), r["reduction_percent"], s, ok, 0.01, "ASME B30.26", "MEMORY")
	}
	return rows
}
