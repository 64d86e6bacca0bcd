package gear_test

import (
	"encoding/csv"
	"os"
	"strconv"
	"strings"
	"testing"
)

// sheet is a table in testdata: rows by column.
type sheet []map[string]string

func read(t *testing.T, name string) sheet {
	t.Helper()
	f, err := os.Open("testdata/" + name)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	all, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(name, err)
	}
	var rows sheet
	for _, cells := range all[1:] {
		row := map[string]string{}
		for i, c := range all[0] {
			row[c] = cells[i]
		}
		rows = append(rows, row)
	}
	return rows
}

// tables reads every table in testdata.
func tables(t *testing.T) map[string]sheet {
	t.Helper()
	names, err := os.ReadDir("testdata")
	if err != nil {
		t.Fatal(err)
	}
	all := map[string]sheet{}
	for _, n := range names {
		if strings.HasSuffix(n.Name(), ".csv") && n.Name() != "corrections.csv" {
			all[n.Name()] = read(t, n.Name())
		}
	}
	return all
}

func num(s string) float64 {
	v, err := strconv.ParseFloat(s, 64)
	if err != nil {
		panic(err)
	}
	return v
}
