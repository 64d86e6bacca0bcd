package quantity_test

import (
	"errors"
	"testing"

	"plumbhook/fault"
	"plumbhook/quantity"
)

// result is a Measured of any dimension, for tables that mix them.
type result struct {
	value, low, high float64
	shape            quantity.Shape
	text             string
	format           func(unit string) string
}

func parseAs[Q quantity.Quantity](s string) (result, error) {
	m, err := quantity.Parse[Q](s)
	return result{float64(m.Value), float64(m.Low), float64(m.High), m.Shape, m.Text, m.Format}, err
}

type reader struct {
	parse func(string) (result, error)
	units []string // some to print in
}

func readerOf[Q quantity.Quantity](more ...string) reader {
	return reader{parseAs[Q], append(more, quantity.For[Q](quantity.Metric), quantity.For[Q](quantity.US))}
}

var readers = map[string]reader{
	"mass":         readerOf[quantity.Mass]("t", "short ton"),
	"force":        readerOf[quantity.Force]("N", "kip", "tf"),
	"length":       readerOf[quantity.Length]("mm", "in"),
	"angle":        readerOf[quantity.Angle]("rad", "°"),
	"stiffness":    readerOf[quantity.Stiffness]("MN/m", "kip/in"),
	"speed":        readerOf[quantity.Speed]("km/h", "mph"),
	"acceleration": readerOf[quantity.Acceleration](),
	"temperature":  readerOf[quantity.Temperature]("K"),
	"density":      readerOf[quantity.Density]("t/m3"),
	"pressure":     readerOf[quantity.Pressure]("bar"),
	"area":         readerOf[quantity.Area]("mm2"),
	"volume":       readerOf[quantity.Volume]("L", "US gal"),
	"duration":     readerOf[quantity.Duration]("min"),
	"ratio":        readerOf[quantity.Ratio](""),
}

// faultIn gives the one fault of an error, and fails if it is anything else.
func faultIn(t testing.TB, err error) *fault.Fault {
	t.Helper()
	var list fault.List
	if errors.As(err, &list) {
		if len(list) == 0 {
			t.Fatal("an empty fault list as an error")
		}
		return list[0]
	}
	var f *fault.Fault
	if !errors.As(err, &f) {
		t.Fatalf("%v (%T) is no fault", err, err)
	}
	return f
}

func must[T any](v T, err error) func(t testing.TB) T {
	return func(t testing.TB) T {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
		return v
	}
}
