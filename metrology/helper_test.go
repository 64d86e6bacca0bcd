package metrology_test

import (
	"bytes"
	"encoding/csv"
	"errors"
	"math"
	"os"
	"strconv"
	"testing"
	"time"

	"github.com/goccy/go-yaml"

	"plumbhook/fault"
	"plumbhook/internal/testkit"
	"plumbhook/metrology"
)

// fact reads what testdata/facts.yaml has under a key.
func fact[T any](t testing.TB, key string) T {
	t.Helper()
	text, err := os.ReadFile("testdata/facts.yaml")
	if err != nil {
		t.Fatal(err)
	}
	var v T
	path, err := yaml.PathString("$." + key)
	if err != nil {
		t.Fatal(err)
	}
	if err := path.Read(bytes.NewReader(text), &v); err != nil {
		t.Fatal(err)
	}
	return v
}

// pontius gives the 40 points of the calibration.
func pontius(t testing.TB) []metrology.Point {
	t.Helper()
	text, err := os.ReadFile("testdata/pontius.csv")
	if err != nil {
		t.Fatal(err)
	}
	r := csv.NewReader(bytes.NewReader(text))
	r.Comment = '#'
	rows, err := r.ReadAll()
	if err != nil || len(rows) != 41 {
		t.Fatalf("%d rows, %v", len(rows), err)
	}
	var points []metrology.Point
	for _, row := range rows[1:] {
		var v [3]float64
		for i := range v {
			if v[i], err = strconv.ParseFloat(row[i], 64); err != nil {
				t.Fatal(err)
			}
		}
		points = append(points, metrology.Point{Run: int(v[0]), Signal: v[1], Force: v[2]})
	}
	return points
}

func calibrate(t testing.TB, c metrology.Certificate) *metrology.Calibration {
	t.Helper()
	k, err := metrology.Calibrate(c)
	if err != nil {
		t.Fatal(err)
	}
	return k
}

func columns(points []metrology.Point) (force, signal []float64) {
	for _, p := range points {
		force, signal = append(force, p.Force), append(signal, p.Signal)
	}
	return force, signal
}

// refused fails unless err is a fault of the code.
func refused(t testing.TB, what string, err error, code fault.Code) {
	t.Helper()
	var f *fault.Fault
	if !errors.As(err, &f) || f.Code != code {
		t.Errorf("%s: %v, want a fault of class %s", what, err, code)
	}
}

// printed fails unless got rounds to want, whose last printed place is unit.
func printed(t testing.TB, what string, got, want, unit float64) {
	t.Helper()
	testkit.Near(t, what, got, want, testkit.Tol{Abs: unit * 0.50001})
}

func rel(r float64) testkit.Tol { return testkit.Tol{Rel: r} }

func day(n int) time.Time { return time.Date(2024, 3, 1, 0, 0, 0, 0, time.UTC).AddDate(0, 0, n) }

var inf = math.Inf(1)
