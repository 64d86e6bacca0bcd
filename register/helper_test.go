package register_test

import (
	"encoding/csv"
	"os"
	"testing"
	"time"

	"plumbhook/fault"
	"plumbhook/quantity"
	"plumbhook/register"
)

var (
	moment = time.Date(2026, 3, 2, 7, 30, 0, 0, time.UTC)
	stamp  = register.Stamp{Day: "2026-03-02", By: "store keeper"}
)

// fatal is what *testing.T and *rapid.T share.
type fatal interface {
	Helper()
	Fatalf(string, ...any)
}

func must[T any](t fatal, v T, err error) T {
	t.Helper()
	if err != nil {
		t.Fatalf("%v", err)
	}
	return v
}

func code(err error) fault.Code {
	if l := fault.Of(err); len(l) > 0 {
		return l[0].Code
	}
	return ""
}

func rated(t fatal, s string) *quantity.Rating {
	t.Helper()
	r, err := quantity.ParseRating(s)
	must(t, r, err)
	return &r
}

// shackle is an item about which nothing needs saying in March 2026.
func shackle(t fatal) register.Item {
	t.Helper()
	return register.Item{
		Serial: "KP-0117", Kind: "bow shackle", Facts: map[string]string{"size": "7/8 in", "grade": "A"}, Rating: rated(t, "6.5 short ton"),
		Location: "Kestrel Point, cage 2", Made: "2024-05-01", Examined: "2026-01-12", ExamineBy: "2026-07-12", Status: register.InService,
	}
}

func entered(t fatal, it register.Item) register.Item {
	t.Helper()
	e, err := register.Item{}.Next(register.Entering{Item: it}, stamp, moment)
	return must(t, e, err).Item
}

func then(t fatal, it register.Item, c register.Change, s register.Stamp) register.Item {
	t.Helper()
	e, err := it.Next(c, s, moment)
	return must(t, e, err).Item
}

// facts reads a table of testdata, by heading.
func facts(t *testing.T, name string) []map[string]string {
	t.Helper()
	f, err := os.Open("testdata/" + name)
	must(t, f, err)
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	must(t, rows, err)
	var list []map[string]string
	for _, row := range rows[1:] {
		m := map[string]string{}
		for i, h := range rows[0] {
			m[h] = row[i]
		}
		list = append(list, m)
	}
	return list
}
