package validation

import (
	"encoding/csv"
	"fmt"
	"math"
	"os"
	"strconv"
	"testing"
)

// bridleTables holds the angle columns of rating tables against hung bridles:
// a line for each column, with its worst cell, and one for each cell that is
// known to be wrong. A column of three and four legs is one of three: four
// rated as three is a rule.
func bridleTables(t *testing.T) []row {
	t.Helper()
	var tables []struct {
		ID, File, Source string
		Abs, Rel         float64
		Wrong            []struct {
			Size, Column, Wrong, Note string
			Value, Recomputed         float64
		}
	}
	read(t, "bridle-tables.yaml", &tables)
	columns := []struct {
		name  string
		legs  int
		angle float64
	}{
		{"double_60h_lb", 2, 60},
		{"double_45h_lb", 2, 45},
		{"double_30h_lb", 2, 30},
		{"triple_quad_60h_lb", 3, 60},
		{"triple_quad_45h_lb", 3, 45},
		{"triple_quad_30h_lb", 3, 30},
	}
	var rows []row
	for _, table := range tables {
		p := &problem{T: t, ID: table.ID}
		cells := sheet(t, "testdata/"+table.File)
		for _, c := range columns {
			if cells[0][c.name] == "" {
				continue
			}
			factor := carries(p, c.legs, c.angle)
			var worst row
			sizes, off := 0, -1.0
			for _, line := range cells {
				one, err1 := strconv.ParseFloat(line["single_90_lb"], 64)
				cell, err2 := strconv.ParseFloat(line[c.name], 64)
				if err1 != nil || err2 != nil {
					t.Fatalf("%s: %s of %s: %v, %v", table.File, c.name, line["size_in"], err1, err2)
				}
				r := row{
					id: table.ID[:3], published: cell, ours: one * factor, tol: tolerance(cell, table.Abs, table.Rel), source: table.Source,
					what: fmt.Sprintf("%d legs at %g deg from horizontal, size %s, lb", c.legs, c.angle, line["size_in"]),
				}
				for _, w := range table.Wrong {
					if w.Size == line["size_in"] && w.Column == c.name {
						r.wrong, r.note = w.Wrong, w.Note
						p.near("printed cell of "+r.what, cell, w.Value, 0)
						p.near(r.what+", recomputed", r.ours, w.Recomputed, sixth(w.Recomputed))
					}
				}
				r.check(t)
				if r.wrong != "" || !r.fits() {
					rows = append(rows, r)
					continue
				}
				sizes++
				if miss := math.Abs(r.ours-cell) / r.tol; miss > off {
					worst, off = r, miss
				}
			}
			worst.what += fmt.Sprintf(" (worst of %d)", sizes)
			rows = append(rows, worst)
		}
	}
	return rows
}

// sheet reads a CSV file with its column names.
func sheet(t *testing.T, name string) []map[string]string {
	t.Helper()
	f, err := os.Open(name)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	r := csv.NewReader(f)
	r.Comment = '#'
	lines, err := r.ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	var rows []map[string]string
	for _, l := range lines[1:] {
		m := map[string]string{}
		for i, name := range lines[0] {
			m[name] = l[i]
		}
		rows = append(rows, m)
	}
	return rows
}
