package takeoff

import (
	"fmt"
	"math"
	"strconv"

	"plumbhook/fault"
	"plumbhook/quantity"
)

// Item is a part as the user states it. Exactly one of Mass, Volume, Shape
// or Mesh says how much there is; all but Mass need Material or Density, and
// not both.
type Item struct {
	Name string
	From string // who claims it
	Mass *quantity.Measured[quantity.Mass]

	Volume   *quantity.Measured[quantity.Volume]
	Shape    *Shape
	Mesh     *Mesh
	Material string // a row of the unit-weight table, see LookUp
	Density  *quantity.Measured[quantity.Density]

	At     *quantity.Point    // where the item's datum sits in load axes: its centre of gravity for mass and volume, the shape's own datum, the mesh's origin
	Turn   *[3]quantity.Angle // of a shape or mesh about the load's x, then y, then z axis, through the datum
	Count  int                // pieces, 0 means 1
	Pitch  *quantity.Point    // from one piece to the next, load axes, when Count > 1; nil: all at the same place
	Fluid  bool               // counts only when wet
	Cut    bool               // taken out: a bore, an opening; its mass counts negative
	Spread *quantity.Ratio    // ± as a share of the mass that comes out, 95 %, for items without a spread of their own
	Pos    fault.Pos
}

// Shape is one of the simple solids; Kinds lists them with their sizes.
type Shape struct {
	Kind  string                                        // plate, bar, tube, cylinder, sphere, cone, frustum, prism
	Sizes map[string]quantity.Measured[quantity.Length] // length, width, thickness, diameter, top, height, wall ... by name
	Pos   fault.Pos
}

// Mesh is a closed triangle surface in a file.
type Mesh struct {
	File string          // inside the lift file's folder
	Unit quantity.Length // length of one mesh unit; 0 is refused: STL and OBJ do not carry one
	Data []byte
	Pos  fault.Pos
}

// amount is how much of an item one piece is: a volume in m³, or a mass in
// kg, about the item's datum, as a function of figures.
type amount struct {
	figures []figure
	solve   func(f []float64) (v float64, centroid [3]float64)
	how     string
}

// Work turns an item into a line of the weight sheet. On error it tells all
// that is wrong with the item as a fault.List.
func (it Item) Work() (Part, error) {
	var bad fault.List
	refuse := func(code fault.Code, format string, args ...any) *fault.Fault {
		f := fault.New(code, format, args...)
		bad = append(bad, f)
		return f
	}

	a, faults := it.amount()
	bad = append(bad, faults...)
	density, stuff := just(1), ""
	if it.Mass == nil {
		var f *fault.Fault
		if density, stuff, f = it.density(); f != nil {
			bad = append(bad, f)
		}
	} else if it.Material != "" || it.Density != nil {
		refuse(fault.Disagree, "a mass is given, and a material or density too").Fix("give the mass alone, or a volume, shape or mesh of the material")
	}

	at, pitch := quantity.Point{}, quantity.Point{}
	switch {
	case it.At == nil:
		refuse(fault.Missing, "nothing says where it sits").Fix("give at: x y z unit in the load's axes")
	case !ordered(it.At.X) || !ordered(it.At.Y) || !ordered(it.At.Z):
		refuse(fault.Range, "its place is not a number between its own limits")
	default:
		at = *it.At
	}
	count := max(it.Count, 1)
	switch {
	case it.Count < 0:
		refuse(fault.Range, "a count of %d cannot be", it.Count)
	case it.Pitch != nil && count == 1:
		refuse(fault.Missing, "a pitch is given for one piece").Fix("give the count, or leave pitch out")
	case it.Pitch != nil && (!ordered(it.Pitch.X) || !ordered(it.Pitch.Y) || !ordered(it.Pitch.Z)):
		refuse(fault.Range, "its pitch is not a number between its own limits")
	case it.Pitch != nil:
		pitch = *it.Pitch
	}
	turn := identity
	if it.Turn != nil {
		if it.Shape == nil && it.Mesh == nil {
			refuse(fault.UnknownKey, "a mass or volume does not turn").Fix("at is already its centre of gravity")
		}
		turn = rotation(*it.Turn)
		if !finite(turn[:]...) {
			refuse(fault.Range, "its turn is not a number")
		}
	}
	scale := just(1)
	if it.Spread != nil {
		s := float64(*it.Spread)
		own := density.low != density.high
		for _, f := range a.figures {
			own = own || f.low != f.high
		}
		switch {
		case !(s > 0 && s <= 1):
			refuse(fault.Range, "a spread of %s %% cannot be", num(100*s)).Fix("give it above 0 and up to 100 %%")
		case own:
			refuse(fault.Disagree, "a spread is given for the whole, and its figures have their own").Fix("keep one of the two")
		}
		scale = figure{value: 1, span: span{1 - s, 1 + s}, shape: quantity.Normal}
	}
	if len(bad) > 0 {
		return Part{}, it.place(bad)
	}

	n, pieces := len(a.figures), float64(count)
	sign := 1.0
	if it.Cut {
		sign = -1
	}
	figures := append(a.figures, density, scale)
	for _, q := range []quantity.Measured[quantity.Length]{at.X, at.Y, at.Z, pitch.X, pitch.Y, pitch.Z} {
		figures = append(figures, of(q))
	}
	solve := func(f []float64) (float64, [3]float64) {
		v, c := a.solve(f[:n])
		c = turn.apply(c)
		for k := range c {
			c[k] += f[n+2+k] + (pieces-1)/2*f[n+5+k]
		}
		return sign * pieces * v * f[n] * f[n+1], c
	}
	nominal := make([]float64, len(figures))
	for i, f := range figures {
		nominal[i] = f.value
	}
	mass, centre := solve(nominal)
	influences, lim := propagate(figures, solve)
	var um rss
	var uc [3]rss
	for _, in := range influences {
		um.add(in.shape, in.mass)
		for k := range uc {
			uc[k].add(in.shape, in.place[k])
		}
	}

	p := Part{
		Name: it.Name, From: it.From, Count: count, Fluid: it.Fluid, Cut: it.Cut, Pos: it.Pos,
		Mass: spread[quantity.Mass](mass, um, lim.mass),
		At: quantity.Point{
			X: spread[quantity.Length](centre[0], uc[0], lim.place[0]),
			Y: spread[quantity.Length](centre[1], uc[1], lim.place[1]),
			Z: spread[quantity.Length](centre[2], uc[2], lim.place[2]),
		},
		How: it.how(a, stuff, nominal, mass, count),
	}
	// What the user wrote is passed on to the last bit where it is the answer.
	if it.Mass != nil && count == 1 && !it.Cut && it.Spread == nil {
		p.Mass = *it.Mass
	}
	if it.Shape == nil && it.Mesh == nil && it.Pitch == nil {
		p.At = at
	}
	p.ground = &ground{mass: p.Mass, at: p.At, influences: influences, limits: lim}
	if !finite(mass, lim.mass.low, lim.mass.high, centre[0], centre[1], centre[2]) {
		return Part{}, it.place(fault.List{fault.New(fault.Range, "its mass or place is too large for a number")})
	}
	if f := p.check(); f != nil {
		return Part{}, it.place(fault.List{f})
	}
	return p, nil
}

// place tells each fault which part it concerns, and where that stands.
func (it Item) place(bad fault.List) error {
	for _, f := range bad {
		f.Where = where(it.Name)
		if f.Pos == (fault.Pos{}) {
			f.Pos = it.Pos
		}
	}
	return bad.Err()
}

// where names a part in a fault.
func where(name string) string {
	if name == "" {
		return "parts"
	}
	return "parts." + name
}

// amount finds the one statement of how much there is.
func (it Item) amount() (amount, fault.List) {
	given := 0
	for _, is := range []bool{it.Mass != nil, it.Volume != nil, it.Shape != nil, it.Mesh != nil} {
		if is {
			given++
		}
	}
	if given != 1 {
		code, what := fault.Missing, "nothing says how much it is"
		if given > 1 {
			code, what = fault.Disagree, "how much it is is said more than once"
		}
		return amount{}, fault.List{fault.New(code, "%s", what).Fix("give exactly one of mass, volume, shape, mesh")}
	}
	point := func(f []float64) (float64, [3]float64) { return f[0], [3]float64{} }
	one := func(f *fault.Fault) fault.List {
		if f == nil {
			return nil
		}
		return fault.List{f}
	}
	switch {
	case it.Mass != nil:
		return amount{[]figure{of(*it.Mass)}, point, written(*it.Mass, "kg") + ", as stated"}, one(sound("mass", *it.Mass))
	case it.Volume != nil:
		return amount{[]figure{of(*it.Volume)}, point, "volume " + written(*it.Volume, "m³")}, one(sound("volume", *it.Volume))
	case it.Shape != nil:
		return it.Shape.amount()
	}
	e, f := it.Mesh.enclosed()
	if f != nil {
		return amount{}, fault.List{f}
	}
	u := float64(it.Mesh.Unit)
	v, c := e.volume*u*u*u, [3]float64{e.centroid[0] * u, e.centroid[1] * u, e.centroid[2] * u}
	return amount{
		solve: func([]float64) (float64, [3]float64) { return v, c },
		how:   fmt.Sprintf("mesh %s, 1 unit = %s m: %s", it.Mesh.File, num(u), e.words()),
	}, nil
}

// density gives the one density stated, with its source in words.
func (it Item) density() (figure, string, *fault.Fault) {
	switch {
	case it.Material != "" && it.Density != nil:
		return just(1), "", fault.New(fault.Disagree, "a material and a density are given").Fix("keep one; the density counts without a name")
	case it.Density != nil:
		f := of(*it.Density)
		// One density is often written in many parts; if it is off, then in all.
		f.name = fmt.Sprint("density ", f.low, f.high, f.shape)
		return f, written(*it.Density, "kg/m³"), sound("density", *it.Density)
	case it.Material != "":
		m, err := LookUp(it.Material)
		if err != nil {
			return just(1), "", fault.Of(err)[0]
		}
		return just(float64(m.Density)), m.String(), nil
	}
	return just(1), "", fault.New(fault.Missing, "nothing says what it is made of").Fix("give material: a name of the unit-weight table, or density")
}

// how writes the way from the figures to the mass.
func (it Item) how(a amount, stuff string, nominal []float64, mass float64, count int) string {
	s := a.how
	if it.Mass == nil {
		v, _ := a.solve(nominal[:len(a.figures)])
		if it.Volume == nil {
			s += " = " + num(v) + " m³"
		}
		s += " x " + stuff
	}
	if count > 1 {
		s = strconv.Itoa(count) + " x (" + s + ")"
	}
	if it.Mass == nil || count > 1 {
		s += " = " + num(math.Abs(mass)) + " kg"
	}
	if it.Spread != nil {
		s += ", ± " + num(100*float64(*it.Spread)) + " % stated for the whole"
	}
	if it.Cut {
		s += ", taken out"
	}
	return s
}

// written is a figure as the user wrote it, else with the SI unit.
func written[Q quantity.Quantity](m quantity.Measured[Q], unit string) string {
	if m.Text != "" {
		return m.Text
	}
	return num(float64(m.Value)) + " " + unit
}

// num writes a number with the six figures an auditor needs to redo a line.
func num(v float64) string { return strconv.FormatFloat(v, 'g', 6, 64) }

func finite(v ...float64) bool {
	for _, x := range v {
		if math.IsNaN(x) || math.IsInf(x, 0) {
			return false
		}
	}
	return true
}

// matrix is a rotation, row by row.
type matrix [9]float64

var identity = matrix{1, 0, 0, 0, 1, 0, 0, 0, 1}

// rotation turns about the fixed x, then y, then z axis: Rz·Ry·Rx. Whole
// quarter turns come out without rounding, so that a bar turned upright
// stands exactly over its datum.
func rotation(turn [3]quantity.Angle) matrix {
	sx, cx := sincos(float64(turn[0]))
	sy, cy := sincos(float64(turn[1]))
	sz, cz := sincos(float64(turn[2]))
	return matrix{
		cz * cy, cz*sy*sx - sz*cx, cz*sy*cx + sz*sx,
		sz * cy, sz*sy*sx + cz*cx, sz*sy*cx - cz*sx,
		-sy, cy * sx, cy * cx,
	}
}

func sincos(a float64) (s, c float64) {
	s, c = math.Sincos(a)
	if quarters := a / (math.Pi / 2); quarters == math.Round(quarters) {
		s, c = math.Round(s), math.Round(c)
	}
	return s, c
}

func (m matrix) apply(v [3]float64) [3]float64 {
	return [3]float64{
		m[0]*v[0] + m[1]*v[1] + m[2]*v[2],
		m[3]*v[0] + m[4]*v[1] + m[5]*v[2],
		m[6]*v[0] + m[7]*v[1] + m[8]*v[2],
	}
}
