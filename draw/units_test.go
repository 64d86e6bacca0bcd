package draw

import (
	"math"
	"testing"

	"plumbhook/lift"
	"plumbhook/quantity"
)

func TestPercent(t *testing.T) {
	for u, want := range map[float64]string{
		0: "0 %", 0.0804: "9 %", 0.824: "83 %", 0.99: "99 %", 0.99997: "100 %", 1: "100 %",
		1.000001: "101 %", 1.009: "101 %", 1.12: "112 %", math.Inf(1): "over 1000000 %",
	} {
		if got := percent(u); got != want {
			t.Errorf("percent(%v) = %q, want %q", u, got, want)
		}
	}
}

func TestDigits(t *testing.T) {
	for _, c := range []struct {
		v    float64
		n    int
		want string
	}{
		{0, 3, "0"},
		{43.449, 3, "43.4"},
		{9.996, 3, "10.0"},
		{12345, 3, "12300"},
		{0.01234, 3, "0.0123"},
		{999.6, 3, "1000"},
		{-2.345, 2, "-2.3"},
		{4430, 4, "4430"},
		{0.000301, 3, "0.0003"},
		{3e-9, 3, "<0.0001"},
		{-3e-9, 3, ">-0.0001"},
	} {
		if got := digits(c.v, c.n); got != c.want {
			t.Errorf("digits(%v, %d) = %q, want %q", c.v, c.n, got, c.want)
		}
	}
}

func TestLength(t *testing.T) {
	metric, us := tongue{}, tongue{us: true}
	for _, c := range []struct {
		t    tongue
		m    float64
		want string
	}{
		{metric, 2.6849, "2.68 m"},
		{metric, 0.0314, "0.031 m"},
		{us, 3.048, "10 ft 0 in"},
		{us, 0.0127, "1/2 in"},
		{us, 0.3683, "1 ft 2 1/2 in"},
		{us, -0.0508, "-2 in"},
		{us, 0, "0 in"},
	} {
		if got := c.t.length(c.m); got != c.want {
			t.Errorf("%v m: %q, want %q", c.m, got, c.want)
		}
	}
}

func TestForceUnits(t *testing.T) {
	for _, c := range []struct {
		meta Meta
		want string
	}{
		{Meta{}, "98.1 kN"},
		{Meta{Units: quantity.US}, "22000 lbf"},
		{Meta{Force: "t"}, "10.0 t"},
		{Meta{Force: "short ton"}, "11.0 short ton"},
	} {
		tg, err := c.meta.tongue()
		if err != nil {
			t.Fatal(err)
		}
		if got := tg.say(98066.5); got != c.want {
			t.Errorf("%+v: %q, want %q", c.meta, got, c.want)
		}
	}
}

// The elevation looks across the legs' widest spread, along an axis when an
// axis will do.
func TestFacing(t *testing.T) {
	for _, c := range []struct {
		name string
		ends []vec
		want string
	}{
		{"two lugs along x", []vec{{-1, 0, 0}, {1, 0, 0}}, "looking along world +y"},
		{"two lugs along y", []vec{{0, -1, 0}, {0, 1, 0}}, "looking along world −x"},
		{"a square", []vec{{-1, -1, 0}, {1, -1, 0}, {1, 1, 0}, {-1, 1, 0}}, "looking along world +y"},
		{"a long rectangle along y", []vec{{-1, -3, 0}, {1, -3, 0}, {1, 3, 0}, {-1, 3, 0}}, "looking along world −x"},
		{"a diagonal", []vec{{-1, -1, 0}, {1, 1, 0}}, "looking along 135° from world +x toward +y"},
		{"one plumb leg", []vec{{0, 0, 0}}, "looking along world +y"},
	} {
		h := &lift.Hung{}
		for _, e := range c.ends {
			h.Legs = append(h.Legs, lift.HungLeg{Path: []vec{{0, 0, 3}, e}})
		}
		if _, got := facing(h); got != c.want {
			t.Errorf("%s: %s, want %s", c.name, got, c.want)
		}
	}
}

// The camera keeps lengths in its plane: right, up and ahead are a
// right-handed set of unit vectors at any turn and pitch.
func TestCamera(t *testing.T) {
	for turn := -3.0; turn < 3; turn += 0.7 {
		for _, pitch := range []float64{0, 0.4, math.Pi / 2} {
			c := look(turn, pitch)
			for _, p := range [][2]vec{{c.right, c.up}, {c.up, c.ahead}, {c.ahead, c.right}} {
				if math.Abs(dot(p[0], p[1])) > 1e-12 || math.Abs(norm(p[0])-1) > 1e-12 {
					t.Errorf("turn %g pitch %g: %v", turn, pitch, p)
				}
			}
			// right x ahead = up: x to the right and y ahead leave z up.
			a, b := c.right, c.ahead
			cross := vec{a[1]*b[2] - a[2]*b[1], a[2]*b[0] - a[0]*b[2], a[0]*b[1] - a[1]*b[0]}
			if norm(minus(cross, c.up)) > 1e-12 {
				t.Errorf("turn %g pitch %g is mirrored", turn, pitch)
			}
		}
	}
}

// A size box goes where the points of its body are.
func TestBox(t *testing.T) {
	for _, c := range []struct {
		name   string
		size   vec
		points []vec
		lo     vec
	}{
		{"origin under the middle", vec{1.6, 1.4, 1.8}, []vec{{-0.7, 0, 1.6}, {0.7, 0, 1.6}, {0.1, 0, 0.9}}, vec{-0.8, -0.7, 0}},
		{"origin at a corner", vec{4, 2, 1}, []vec{{0.5, 0.5, 1}, {3.5, 1.5, 1}, {2, 1, 0.4}}, vec{0, 0, 0}},
		{"origin at the centre", vec{4.6, 0.2, 0.3}, []vec{{-2.2, 0, 0.15}, {2.2, 0, -0.15}, {0, 0, 0}}, vec{-2.3, -0.1, -0.15}},
		{"far from its origin", vec{2, 2, 2}, []vec{{9, 9, 9}, {11, 11, 11}}, vec{9, 9, 9}},
	} {
		if got := corner(c.size, c.points); norm(minus(got, c.lo)) > 1e-9 {
			t.Errorf("%s: from %v, want %v", c.name, got, c.lo)
		}
	}
}

// TestSizeFrom: a box that says where it begins is laid there, and nowhere
// else, whatever its points.
func TestSizeFrom(t *testing.T) {
	r := twoLeg()
	from := quantity.Point{X: quantity.Known(quantity.Length(-1)), Y: quantity.Known(quantity.Length(-0.2)), Z: quantity.Known(quantity.Length(0.4))}
	guessed, ok := (&sheet{h: r.Hung}).corners(0)
	r.Lift.Load.SizeFrom = &from
	laid, also := (&sheet{h: r.Hung}).corners(0)
	if !ok || !also || guessed == laid {
		t.Fatal("the box is not moved")
	}
	b := &r.Bodies[0]
	for k, own := range map[int]vec{0: {-1, -0.2, 0.4}, 7: {0.6, 1.2, 2.2}} { // 1.6 by 1.4 by 1.8 m
		if got := norm(minus(laid[k], world(b, own))); got > 1e-9 {
			t.Errorf("corner %d is off by %g m", k, got)
		}
	}
}
