package size

import (
	"fmt"
	"math"
	"os"
	"strings"
	"testing"
	"testing/fstest"

	"plumbhook/lift"
	"plumbhook/quantity"
)

const degree = math.Pi / 180

// read makes a lift of a text.
func read(t testing.TB, text string) *lift.Lift {
	t.Helper()
	l, err := lift.Read("lift.yaml", fstest.MapFS{}, []byte(text))
	if err != nil {
		t.Fatal(err)
	}
	return l
}

func example(t testing.TB, name string) *lift.Lift {
	t.Helper()
	data, err := os.ReadFile("../examples/" + name + ".yaml")
	if err != nil {
		t.Fatal(err)
	}
	l, err := lift.Read(name+".yaml", os.DirFS("../examples"), data)
	if err != nil {
		t.Fatal(err)
	}
	return l
}

// bridle is a load on straight legs from one hook; more is put before the legs.
type bridle struct {
	mass, cg string
	lugs     []string // places
	lengths  []float64
	leg      string // what else is said of every leg
	hook     string // and of the hook
	more     string
}

func (b bridle) text() string {
	var s strings.Builder
	fmt.Fprintf(&s, "plumbhook: 1\ntitle: test\nload:\n  name: load\n  mass: %s\n  cg: %s\n  lugs:\n", b.mass, b.cg)
	for i, at := range b.lugs {
		fmt.Fprintf(&s, "    l%d: {at: %s}\n", i, at)
	}
	s.WriteString("hooks:\n  main: {" + b.hook + "}\n" + b.more + "legs:\n")
	for i, n := range b.lengths {
		fmt.Fprintf(&s, "  l%d: {from: main, to: load.l%d, length: %.12g m%s}\n", i, i, n, b.leg)
	}
	return s.String()
}

func (b bridle) lift(t testing.TB) *lift.Lift {
	t.Helper()
	return read(t, b.text())
}

// level asks for level lengths.
func level(t testing.TB, l *lift.Lift, ranges ...Range) *Lengths {
	t.Helper()
	a, err := Level(l, Goal{Within: 0.5 * degree}, Margin{}, ranges)
	if err != nil {
		t.Fatal(err)
	}
	return a
}

func told(reasons []Reason) string {
	var s []string
	for _, r := range reasons {
		s = append(s, r.String())
	}
	return strings.Join(s, "\n")
}

func distance(a, b [3]float64) float64 {
	return math.Hypot(math.Hypot(a[0]-b[0], a[1]-b[1]), a[2]-b[2])
}

func rad(d float64) *quantity.Angle { a := quantity.Angle(d * degree); return &a }
