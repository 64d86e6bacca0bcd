package crane_test

import (
	"encoding/csv"
	"encoding/json"
	"math"
	"os"
	"strings"
	"testing"

	"plumbhook/crane"
	"plumbhook/fault"
	"plumbhook/internal/testkit"
	"plumbhook/quantity"
)

const g0 = float64(quantity.StandardGravity)

// length reads a length as it would stand in a lift file.
func length(t testing.TB, text string) quantity.Measured[quantity.Length] {
	t.Helper()
	l, err := quantity.Parse[quantity.Length](text)
	if err != nil {
		t.Fatal(err)
	}
	return l
}

func parse(t testing.TB, text string) *crane.Chart {
	t.Helper()
	c, err := crane.Parse("chart.csv", []byte(text))
	if err != nil {
		t.Fatal(err)
	}
	return c
}

func demo(t testing.TB, name string) *crane.Chart {
	t.Helper()
	data, err := os.ReadFile("../examples/charts/" + name)
	if err != nil {
		t.Fatal(err)
	}
	c, err := crane.Parse(name, data)
	if err != nil {
		t.Fatal(err)
	}
	return c
}

// refused wants a fault of the class that names all the words.
func refused(t testing.TB, err error, code fault.Code, words ...string) {
	t.Helper()
	if err == nil {
		t.Errorf("not refused; want %s", code)
		return
	}
	for _, f := range fault.Of(err) {
		if f.Code != code {
			continue
		}
		text, all := f.Error(), true
		for _, w := range words {
			all = all && strings.Contains(text, w)
		}
		if all {
			return
		}
	}
	t.Errorf("said %q; want %s with %q", err, code, words)
}

// found gives the findings of a rule.
func found(all []crane.Finding, name string) []crane.Finding {
	var out []crane.Finding
	for _, f := range all {
		if f.Rule == name {
			out = append(out, f)
		}
	}
	return out
}

func one(t testing.TB, all []crane.Finding, name string, sev crane.Severity, words ...string) crane.Finding {
	t.Helper()
	fs := found(all, name)
	if len(fs) != 1 {
		t.Fatalf("%d findings of %s in %+v, want one", len(fs), name, all)
	}
	if fs[0].Severity != sev {
		t.Errorf("%s is a %s, want %s", name, fs[0].Severity, sev)
	}
	if fs[0].Source == "" || fs[0].Standing == "" {
		t.Errorf("%s has no source or standing: %+v", name, fs[0])
	}
	for _, w := range words {
		if !strings.Contains(fs[0].Text, w) {
			t.Errorf("%s says %q, which lacks %q", name, fs[0].Text, w)
		}
	}
	return fs[0]
}

// A worked example of testdata/worked-examples.json.
type example struct {
	ID        string
	Given     []named
	Published []named
	Answers   []named
	Tolerance struct{ Abs, Rel float64 }
	Also      []named `json:"also_computed"`
}

type named struct {
	Name  string
	Value json.RawMessage
}

func worked(t testing.TB, id string) example {
	t.Helper()
	data, err := os.ReadFile("testdata/worked-examples.json")
	if err != nil {
		t.Fatal(err)
	}
	var all []example
	if err := json.Unmarshal(data, &all); err != nil {
		t.Fatal(err)
	}
	for _, e := range all {
		if strings.HasPrefix(e.ID, id) {
			return e
		}
	}
	t.Fatalf("no example %s", id)
	return example{}
}

func numbers(t testing.TB, all []named, name string) []float64 {
	t.Helper()
	for _, n := range all {
		if n.Name != name {
			continue
		}
		var list []float64
		if json.Unmarshal(n.Value, &list) == nil {
			return list
		}
		var v float64
		if err := json.Unmarshal(n.Value, &v); err != nil {
			t.Fatal(err)
		}
		return []float64{v}
	}
	t.Fatalf("the example has no %q", name)
	return nil
}

func number(t testing.TB, all []named, name string) float64 { return numbers(t, all, name)[0] }

func (e example) near(t testing.TB, name string, got float64) {
	t.Helper()
	want := append(append([]named{}, e.Published...), append(e.Answers, e.Also...)...)
	testkit.Near(t, e.ID+": "+name, got, number(t, want, name), testkit.Tol{Abs: e.Tolerance.Abs, Rel: e.Tolerance.Rel})
}

// table reads a CSV file of testdata as rows by column name.
func table(t testing.TB, name string) []map[string]string {
	t.Helper()
	f, err := os.Open("testdata/" + name)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	r := csv.NewReader(f)
	r.Comment = '#'
	rows, err := r.ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	var out []map[string]string
	for _, row := range rows[1:] {
		m := map[string]string{}
		for i, v := range row {
			m[rows[0][i]] = v
		}
		out = append(out, m)
	}
	return out
}

func ptr[T any](v T) *T { return &v }

func deg(d float64) float64 { return d * math.Pi / 180 }
