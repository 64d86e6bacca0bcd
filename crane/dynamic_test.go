package crane_test

import (
	"math"
	"strconv"
	"testing"

	"pgregory.net/rapid"

	"plumbhook/crane"
	"plumbhook/fault"
	"plumbhook/internal/testkit"
	"plumbhook/quantity"
)

func tonnes(t float64) quantity.Mass { return quantity.Mass(t * 1000) }

func TestMarinePublished(t *testing.T) {
	e := worked(t, "K03")
	names := []string{"100 t", "200 t", "500 t", "2000 t", "3000 t"}
	for i, w := range numbers(t, e.Given, "weights") {
		f, err := crane.Marine(crane.Offshore, tonnes(w), tonnes(w))
		if err != nil {
			t.Fatal(err)
		}
		e.near(t, names[i], f.Value)
	}
	e.Tolerance.Abs = 5e-6 // own answers, to six digits
	for name, c := range map[string]struct {
		in  crane.Waters
		shl float64
	}{
		"formula at 25 t SHL":               {crane.Offshore, 25},
		"formula at 3 t SHL (least weight)": {crane.Offshore, 3},
		"inshore formula at 100 t SHL":      {crane.Inshore, 100},
	} {
		f, err := crane.Marine(c.in, tonnes(c.shl), tonnes(c.shl))
		if err != nil {
			t.Fatal(err)
		}
		e.near(t, name, f.Value)
	}
}

func TestMarineOlderPublished(t *testing.T) {
	e := worked(t, "K02")
	for name, w := range map[string]float64{
		"offshore 100 t": 100, "offshore 1000 t (next band start)": 1000,
		"offshore 2500 t (next band start)": 2500, "offshore 10000 t (next band start)": 10000,
	} {
		f, err := crane.MarineOlder(tonnes(w))
		if err != nil {
			t.Fatal(err)
		}
		e.near(t, name, f.Value*w)
	}
	// Between the ends, by the slopes that the table prints.
	for name, w := range map[string]float64{"DAF at 500 t": 500, "DAF at 1500 t": 1500} {
		f, err := crane.MarineOlder(tonnes(w))
		if err != nil {
			t.Fatal(err)
		}
		e.near(t, name, f.Value)
	}
	for _, w := range []float64{0, -1, 10_001, math.NaN(), math.Inf(1)} {
		_, err := crane.MarineOlder(tonnes(w))
		refused(t, err, fault.Range)
	}
}

func TestSeaPublished(t *testing.T) {
	e := worked(t, "K05")
	static := number(t, e.Given, "static sling load")
	for name, f := range map[string]float64{
		"lift point, open sea": crane.Sea.LiftPointOpen, "other members, open sea": crane.Sea.OtherOpen,
		"lift point, sheltered": crane.Sea.LiftPointSheltered, "other members, sheltered": crane.Sea.OtherSheltered,
		"side load on lift point": crane.Sea.SideLoad,
	} {
		e.near(t, name, f*static)
	}
}

func TestDynamicTables(t *testing.T) {
	num := func(s string) float64 {
		if s == "" {
			return 0
		}
		v, err := strconv.ParseFloat(s, 64)
		if err != nil {
			t.Fatal(err)
		}
		return v
	}
	for _, row := range table(t, "dynamic-factors.csv") {
		var f crane.Factor
		var err error
		switch row["table"] {
		case "marine":
			f, err = crane.Marine(crane.Waters(row["case"]), tonnes(num(row["gross"])), tonnes(num(row["hook"])))
		case "hoisting":
			f, err = crane.Hoisting(row["case"], quantity.Speed(num(row["speed"])))
		default:
			t.Fatalf("no table %q", row["table"])
		}
		if err != nil {
			t.Fatal(err)
		}
		testkit.Near(t, row["table"]+" "+row["case"]+" "+row["gross"]+row["speed"], f.Value, num(row["factor"]), testkit.Tol{Abs: 5e-6})
		if string(f.Standing) != row["standing"] || f.Source == "" || f.How == "" {
			t.Errorf("%+v", f)
		}
	}
}

func TestDynamicRefused(t *testing.T) {
	_, err := crane.Marine("lake", 1000, 1000)
	refused(t, err, fault.Reference, "lake", "inshore")
	for _, v := range []float64{0, -1, math.NaN(), math.Inf(1)} {
		_, err = crane.Marine(crane.Onshore, quantity.Mass(v), 1000)
		refused(t, err, fault.Range)
		_, err = crane.Marine(crane.Onshore, 1000, quantity.Mass(v))
		refused(t, err, fault.Range)
	}
	_, err = crane.Hoisting("HC5", 1)
	refused(t, err, fault.Reference, "HC5", "HC1")
	for _, v := range []float64{-1, math.NaN(), math.Inf(1)} {
		_, err = crane.Hoisting("HC1", quantity.Speed(v))
		refused(t, err, fault.Range)
	}
}

// Every factor is at least 1, falls with weight, and is no less at sea than in
// shelter.
func TestMarineFalls(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		a := rapid.Float64Range(0.1, 5000).Draw(t, "a")
		b := rapid.Float64Range(0.1, 5000).Draw(t, "b")
		at := func(in crane.Waters, w float64) float64 {
			f, err := crane.Marine(in, tonnes(w), tonnes(w))
			if err != nil {
				t.Fatal(err)
			}
			return f.Value
		}
		for _, in := range []crane.Waters{crane.Onshore, crane.Inshore, crane.Offshore} {
			if x, y := at(in, min(a, b)), at(in, max(a, b)); x < y || y < 1 {
				t.Fatalf("%s: %v at %v t, %v at %v t", in, x, min(a, b), y, max(a, b))
			}
		}
		if at(crane.Offshore, a) < at(crane.Inshore, a) {
			t.Fatalf("less at sea than in shelter at %v t", a)
		}
	})
}
