package gear_test

import (
	"fmt"
	"strings"
	"testing"

	"plumbhook/fault"
	"plumbhook/gear"
)

// expected collects, from the tables as read, every figure that may rate gear:
// what chooses it, and straight, choker and basket as printed.
func expected(t *testing.T) map[string]string {
	all := tables(t)
	out := map[string]string{}
	add := func(status, key string, figures ...string) {
		if strings.HasPrefix(status, "READ") || strings.HasPrefix(status, "values READ") {
			if out[key] != "" {
				t.Fatalf("twice: %s", key)
			}
			out[key] = strings.Join(figures, " | ")
		}
	}
	for file, table := range map[string][2]string{
		"chain_g80_osha_guidance_table1.csv":  {"OSHA guidance 1", "80"},
		"chain_g100_osha_guidance_table2.csv": {"OSHA guidance 2", "100"},
		"chain_g80_1918_table4a.csv":          {"1918 4A", "80"},
	} {
		for _, r := range all[file] {
			add(r["status"], fmt.Sprintf("alloy chain sling; %s; %s; %s in", table[0], table[1], r["size_in"]), r["single_90_lb"]+" lb", "", "")
		}
	}
	for _, r := range all["chain_en818_3_grade4.csv"] {
		add(r["status"], fmt.Sprintf("alloy chain sling; EN 818-3; 4; %s mm", r["dn_mm"]), r["wll_t"]+" t", "", "")
	}
	for file, table := range map[string]string{
		"wire_rope_1918_ips_fc.csv": "IPS FC", "wire_rope_1918_ips_iwrc.csv": "IPS IWRC", "wire_rope_1918_eips_iwrc.csv": "EIPS IWRC",
	} {
		for _, r := range all[file] {
			for splice, column := range map[string]string{"hand tucked": "ht", "mechanical": "ms", "socket": "s"} {
				v, ok := r["vertical_"+column+"_shortton"]
				if !ok {
					continue
				}
				choker := r["choker_any_shortton"] + r["choker_ms_s_shortton"] + " short ton"
				basket := r["basket_ms_s_shortton"]
				if splice == "hand tucked" {
					basket = r["basket_ht_shortton"]
				}
				if basket != "" {
					basket += " short ton"
				}
				add(r["status"], fmt.Sprintf("wire rope sling; 1918 %s; %s; %s in", table, splice, r["rope_in"]), v+" short ton", choker, basket)
			}
		}
	}
	for _, r := range all["fibre_rope_1918_tables2_3.csv"] {
		add(r["status"], fmt.Sprintf("fibre rope sling; 1918 %s; %s; %s; %s in", r["table"], strings.ReplaceAll(r["construction"], "_", " "), r["material"], r["rope_in"]),
			r["vertical_lb"]+" lb", r["choker_lb"]+" lb", r["basket_90h_lb"]+" lb")
	}
	for _, kind := range []string{"bow shackle", "dee shackle"} {
		for _, r := range all["shackle_osha_1917_C3_1918_T5.csv"] {
			add(r["status"], fmt.Sprintf("%s; 1917 C-3; %s in", kind, r["size_in"]), r["swl_shortton"]+" short ton", "", "")
		}
		for _, r := range all["shackle_rr_c_271_series.csv"] {
			for grade, v := range map[string]string{"A": r["grade_a_wll_ton"], "B": r["grade_b_wll_ton"]} {
				if v != "" {
					add(r["status"], fmt.Sprintf("%s; RR-C-271 series; %s; %s in", kind, grade, r["size_in"]), v+" short ton", "", "")
				}
			}
		}
	}
	for _, r := range all["shackle_dee_lr_table_8_5_1.csv"] {
		add(r["status"], fmt.Sprintf("dee shackle; LR 8.5.1; mild; %s mm", r["d1_mild_mm"]), r["swl_t"]+" t", "", "")
		add(r["status"], fmt.Sprintf("dee shackle; LR 8.5.1; higher tensile; %s mm", r["d1_ht_mm"]), r["swl_t"]+" t", "", "")
	}
	return out
}

// The catalogue holds every figure that was read and no other, and Look gives
// it back as printed, with its table and the mark that it is generic.
func TestCatalogueIsWhatWasRead(t *testing.T) {
	want := expected(t)
	text := func(r *gear.Rated) string {
		if r == nil {
			return ""
		}
		return r.Text
	}
	n := 0
	for _, k := range gear.Kinds() {
		for _, f := range gear.Catalogue(k.Name) {
			n++
			parts := []string{k.Name, f["table"]}
			for _, key := range []string{"grade", "splice", "construction", "material", "size"} {
				if f[key] != "" {
					parts = append(parts, f[key])
				}
			}
			key := strings.Join(parts, "; ")
			p, err := gear.Look(k.Name, f, fault.Pos{})
			if err != nil {
				t.Errorf("%s: %v", key, err)
				continue
			}
			if got := strings.Join([]string{text(p.WLL), text(p.Choker), text(p.Basket)}, " | "); got != want[key] {
				t.Errorf("%s: %s, printed is %s", key, got, want[key])
			}
			delete(want, key)
			if p.WLL == nil || p.WLL.Tag || p.WLL.Source == "" {
				t.Errorf("%s: rated %+v", key, p.WLL)
			}
			if len(p.Notes) == 0 || p.Notes[0] != gear.Generic {
				t.Errorf("%s: the mark is missing: %q", key, p.Notes)
			}
			if ton := p.WLL.Ton; (ton != "") != strings.HasSuffix(p.WLL.Text, "t") && (ton != "") != strings.HasSuffix(p.WLL.Text, "ton") {
				t.Errorf("%s: %s counts in %q", key, p.WLL.Text, ton)
			}
		}
	}
	for key := range want {
		t.Errorf("read and not in the catalogue: %s", key)
	}
	if n < 350 {
		t.Errorf("only %d figures", n)
	}
}

// Figures that stand in sources from memory alone rate nothing.
func TestMemoryRatesNothing(t *testing.T) {
	all := tables(t)
	refused := func(kind string, f gear.Facts) {
		t.Helper()
		if p, err := gear.Look(kind, f, fault.Pos{}); err == nil && p.WLL != nil {
			t.Errorf("%s %v is rated %s by %s", kind, f, p.WLL.Text, p.WLL.Source)
		}
	}
	for _, r := range all["chain_en818_2_grade8_MEMORY.csv"] {
		refused("alloy chain sling", gear.Facts{"grade": "8", "size": r["dn_mm"] + " mm"})
	}
	for _, r := range all["chain_g100_osha_guidance_table2.csv"] {
		if r["status"] == "MEMORY" {
			refused("alloy chain sling", gear.Facts{"grade": "100", "size": r["size_in"] + " in"})
		}
	}
	for _, r := range all["shackle_metric_grade6_MEMORY.csv"] {
		refused("bow shackle", gear.Facts{"grade": "6", "size": r["bow_mm"] + " mm"})
	}
	for _, r := range all["shackle_rr_c_271_series.csv"] {
		if r["status"] == "MEMORY" {
			refused("bow shackle", gear.Facts{"table": "RR-C-271 series", "grade": "A", "size": r["size_in"] + " in"})
		}
	}
	for _, r := range all["web_us_one_ply_MEMORY.csv"] {
		refused("web sling", gear.Facts{"class": r["webbing_class"], "width": r["width_in"] + " in", "material": "polyester"})
	}
	for _, r := range all["eyebolt_din580_MEMORY.csv"] {
		refused("shoulder eye bolt", gear.Facts{"size": r["thread"]})
	}
	for _, r := range all["turnbuckle_aashto_m269_table2.csv"] {
		refused("turnbuckle", gear.Facts{"size": r["thread_in"] + " in"}) // a table for road furniture
	}
	for _, r := range all["colour_en1492.csv"] {
		refused("round sling", gear.Facts{"colour": r["colour"], "material": "polyester"})
	}
}
