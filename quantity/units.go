package quantity

import (
	"fmt"
	"math/big"
	"slices"
	"sort"
	"strings"
	"unicode/utf8"

	"plumbhook/fault"
)

// Exact definitions that the tables below are built from. The tests compare
// every US customary factor with NIST SP 811 and with a second program
// (testdata/factors.csv). Clause and table numbers of the SI brochure are from
// memory.
const (
	// International yard and pound agreement, 1959: 1 lb is 0.453 592 37 kg and
	// 1 yd is 0.9144 m, both exactly; so 1 ft is 0.3048 m and 1 in is 25.4 mm.
	poundKg = "0.45359237"
	inchM   = "0.0254"
	footM   = "0.3048"
	yardM   = "0.9144"
	mileM   = "1609.344" // 5280 ft

	// Standard gravity in m/s², 3rd CGPM 1901; the same as StandardGravity, as
	// text so that no rounding enters: 1 lbf is 4.448 221 615 260 5 N exactly.
	gravity = "9.80665"

	// π to 50 decimals, far below the rounding of a float64.
	pi = "3.14159265358979323846264338327950288419716939937510"
)

// A unit turns a number into SI: SI = number × factor + offset.
type unit struct {
	name     string // as printed
	factor   *big.Rat
	offset   *big.Rat // nil but for °C and °F
	fromMass bool     // a mass unit read as force at standard gravity
}

// A dimension is what one Quantity type may be written in.
type dimension struct {
	name    string // with its article: "a mass"
	si      string // the SI unit as printed
	choices string // units to offer where none, or a wrong one, was written
	units   map[string]*unit
	short   map[string]string // shorthand for a quotient: psi for lbf/in2
	unclear map[string]string // names with several meanings, and the choices
	num     *dimension        // quotients: any unit of num over any of den
	den     *dimension
	hints   map[string]string // what to write in place of a unit of another dimension
	signed  bool              // below zero makes sense
}

// define makes a unit under each of its names, the first one for printing.
func (d *dimension) define(names, factor string, more ...string) {
	f := rat(factor)
	for _, m := range more {
		f.Mul(f, rat(m))
	}
	list := strings.Split(names, ",")
	u := &unit{name: list[0], factor: f}
	for _, n := range list {
		if d.units[n] != nil {
			panic("quantity: unit defined twice: " + n)
		}
		d.units[n] = u
	}
}

func rat(s string) *big.Rat {
	r, ok := new(big.Rat).SetString(s)
	if !ok {
		panic("quantity: bad factor " + s)
	}
	return r
}

const (
	tonMass  = "t (1000 kg), short ton (2000 lb) or long ton (2240 lb)"
	tonForce = "tf (1000 kgf), short tonf (2000 lbf) or long tonf (2240 lbf)"
	gallons  = "US gal (231 in3) or imp gal (4.54609 L)"
)

var (
	mass        = massUnits()
	force       = forceUnits()
	length      = lengthUnits()
	angle       = angleUnits()
	temperature = temperatureUnits()
	area        = areaUnits()
	volume      = volumeUnits()
	duration    = durationUnits()
	ratio       = ratioUnits()
	rating      = ratingUnits()

	// perSecond2 is only ever the lower half of an acceleration.
	perSecond2 = secondSquared()

	stiffness = &dimension{
		name: "a stiffness", si: "N/m", choices: "N/m, kN/m, kN/mm, MN/m, lbf/in or kip/in",
		num: force, den: length,
	}
	speed = &dimension{
		name: "a speed", si: "m/s", choices: "m/s, m/min, km/h, ft/s, ft/min, mph or knot", signed: true,
		num: length, den: duration, units: speedUnits(),
		short: map[string]string{"mph": "mi/h", "fpm": "ft/min"},
	}
	acceleration = &dimension{
		name: "an acceleration", si: "m/s2", choices: "m/s2 or ft/s2", signed: true,
		num: length, den: perSecond2,
	}
	density = &dimension{
		name: "a density", si: "kg/m3", choices: "kg/m3, t/m3, g/cm3 or lb/ft3",
		num: mass, den: volume, short: map[string]string{"pcf": "lb/ft3"},
	}
	pressure = &dimension{
		name: "a pressure", si: "Pa", choices: "Pa, kPa, MPa, bar or psi", signed: true,
		num: force, den: area, units: pressureUnits(),
		short: map[string]string{"psi": "lbf/in2", "ksi": "kip/in2", "psf": "lbf/ft2"},
	}

	// every is searched, in this order, to say what a misplaced unit measures.
	every = []*dimension{
		mass, force, length, angle, stiffness, speed, acceleration,
		temperature, density, pressure, area, volume, duration, ratio,
	}
)

// dimensionOf joins the type to its units.
func dimensionOf[Q Quantity]() *dimension {
	switch any(Q(0)).(type) {
	case Mass:
		return mass
	case Force:
		return force
	case Length:
		return length
	case Angle:
		return angle
	case Stiffness:
		return stiffness
	case Speed:
		return speed
	case Acceleration:
		return acceleration
	case Temperature:
		return temperature
	case Density:
		return density
	case Pressure:
		return pressure
	case Area:
		return area
	case Volume:
		return volume
	case Duration:
		return duration
	default:
		return ratio
	}
}

func massUnits() *dimension {
	d := &dimension{
		name: "a mass", si: "kg", choices: "kg, t, lb, short ton or long ton",
		units: map[string]*unit{},
		unclear: map[string]string{
			"ton": tonMass, "tons": tonMass, "T": tonMass,
			"st": "short ton, or lb for stones",
			"oz": "lb or g (an ounce may be avoirdupois, troy or fluid)",
		},
		hints: map[string]string{"lbf": "lb", "kgf": "kg", "tf": "t", "short tonf": "short ton", "long tonf": "long ton"},
	}
	d.define("kg,kilogram,kilograms", "1")
	d.define("g,gram,grams", "0.001")
	d.define("mg", "0.000001")
	d.define("t,tonne,tonnes,metric ton,metric tons", "1000") // SI brochure, 9th ed., table 8
	d.define("Mg", "1000")
	d.define("lb,lbs,lbm,pound,pounds", poundKg)
	d.define("klb", poundKg, "1000")
	d.define("short ton,short tons", poundKg, "2000") // NIST SP 811, appendix B
	d.define("long ton,long tons", poundKg, "2240")   // NIST SP 811, appendix B
	return d
}

func forceUnits() *dimension {
	d := &dimension{
		name: "a force", si: "N", choices: "N, kN, kgf, tf, lbf, kip, short tonf or long tonf", signed: true,
		units: map[string]*unit{},
		unclear: map[string]string{
			"ton": tonForce, "tons": tonForce, "tonf": tonForce, "tonsf": tonForce, "ton-force": tonForce, "T": tonForce,
		},
		hints: map[string]string{"lb": "lbf", "kg": "kgf", "t": "tf", "short ton": "short tonf", "long ton": "long tonf", "klb": "klbf"},
	}
	d.define("N,newton,newtons", "1")
	d.define("daN", "10")
	d.define("kN", "1000")
	d.define("MN", "1000000")
	d.define("GN", "1000000000")
	d.define("kgf,kp", gravity)
	d.define("tf,metric tonf", gravity, "1000")
	d.define("lbf,pound-force,pounds-force", poundKg, gravity)
	d.define("kip,kips,klbf", poundKg, gravity, "1000") // NIST SP 811, appendix B
	d.define("short tonf", poundKg, gravity, "2000")    // NIST SP 811, appendix B: ton-force (2000 lbf)
	d.define("long tonf", poundKg, gravity, "2240")
	return d
}

// ratingUnits takes everything a tag may say: forces, and masses that stand
// for the force of that mass at standard gravity.
func ratingUnits() *dimension {
	d := &dimension{
		name: "a rating", si: "N", choices: "t, kg, short ton, long ton, lb, kN, tf, kip or lbf",
		units: map[string]*unit{}, unclear: map[string]string{},
	}
	for n, u := range force.units {
		d.units[n] = u
	}
	for n, u := range mass.units {
		d.units[n] = &unit{name: u.name, factor: new(big.Rat).Mul(u.factor, rat(gravity)), fromMass: true}
	}
	for n, c := range mass.unclear {
		d.unclear[n] = c
	}
	d.unclear["tonf"] = tonForce
	d.unclear["tonsf"] = tonForce
	return d
}

func lengthUnits() *dimension {
	d := &dimension{
		name: "a length", si: "m", choices: "mm, m, in or ft", signed: true,
		units: map[string]*unit{},
	}
	d.define("m,metre,metres,meter,meters", "1")
	d.define("dm", "0.1")
	d.define("cm", "0.01")
	d.define("mm,millimetre,millimetres,millimeter,millimeters", "0.001")
	d.define("µm,um", "0.000001")
	d.define("km", "1000")
	d.define(`in,inch,inches,"`, inchM)
	d.define("ft,foot,feet,'", footM)
	d.define("yd,yard,yards", yardM)
	d.define("mi,mile,miles", mileM)
	return d
}

func angleUnits() *dimension {
	d := &dimension{
		name: "an angle", si: "rad", choices: "deg or rad", signed: true,
		units: map[string]*unit{},
	}
	d.define("rad,radian,radians", "1")
	d.define("mrad", "0.001")
	d.define("deg,degree,degrees", pi, "1/180")
	d.define("°", pi, "1/180")
	return d
}

// temperatureUnits: t/°C = T/K − 273.15 (SI brochure 2.3.1);
// t/°F = 9/5 t/°C + 32 (NIST SP 811, appendix B).
func temperatureUnits() *dimension {
	d := &dimension{
		name: "a temperature", si: "K", choices: "°C, °F or K",
		units: map[string]*unit{},
	}
	d.define("K,kelvin", "1")
	d.define("°C,degC,deg C,° C,C", "1")
	d.define("°F,degF,deg F,° F,F", "5/9")
	d.units["°C"].offset = rat("273.15")
	d.units["°F"].offset = new(big.Rat).Sub(rat("273.15"), rat("160/9"))
	return d
}

func areaUnits() *dimension {
	d := &dimension{
		name: "an area", si: "m2", choices: "mm2, cm2, m2, in2 or ft2",
		units: map[string]*unit{},
	}
	d.define("m2,sq m", "1")
	d.define("cm2,sq cm", "0.0001")
	d.define("mm2,sq mm", "0.000001")
	d.define("in2,sq in", inchM, inchM)
	d.define("ft2,sq ft", footM, footM)
	d.define("yd2,sq yd", yardM, yardM)
	return d
}

func volumeUnits() *dimension {
	d := &dimension{
		name: "a volume", si: "m3", choices: "m3, L, cm3, ft3, in3, US gal or imp gal",
		units:   map[string]*unit{},
		unclear: map[string]string{"gal": gallons, "gals": gallons, "gallon": gallons, "gallons": gallons},
	}
	d.define("m3,cu m", "1")
	d.define("dm3", "0.001")
	d.define("L,l,litre,litres,liter,liters", "0.001")
	d.define("mL,ml", "0.000001")
	d.define("cm3,cu cm", "0.000001")
	d.define("mm3,cu mm", "0.000000001")
	d.define("in3,cu in", inchM, inchM, inchM)
	d.define("ft3,cu ft", footM, footM, footM)
	d.define("yd3,cu yd", yardM, yardM, yardM)
	d.define("US gal,US gallon,US gallons", "231", inchM, inchM, inchM)                    // NIST SP 811: 231 in3
	d.define("imp gal,imperial gal,imperial gallon,imperial gallons,UK gal", "0.00454609") // NIST SP 811: 4.546 09 L
	return d
}

func durationUnits() *dimension {
	d := &dimension{
		name: "a duration", si: "s", choices: "s, min or h", signed: true,
		units:   map[string]*unit{},
		unclear: map[string]string{"m": "min for minutes, or s"},
	}
	d.define("s,sec,second,seconds", "1")
	d.define("ms", "0.001")
	d.define("min,minute,minutes", "60")
	d.define("h,hr,hour,hours", "3600")
	d.define("d,day,days", "86400")
	return d
}

func secondSquared() *dimension {
	d := &dimension{units: map[string]*unit{}}
	d.define("s2", "1")
	return d
}

func speedUnits() map[string]*unit {
	d := &dimension{units: map[string]*unit{}}
	d.define("knot,knots,kn", "1852/3600") // SI brochure 8th ed., table 8: 1852 m in an hour
	return d.units
}

func pressureUnits() map[string]*unit {
	d := &dimension{units: map[string]*unit{}}
	d.define("Pa", "1")
	d.define("hPa", "100")
	d.define("kPa", "1000")
	d.define("MPa", "1000000")
	d.define("GPa", "1000000000")
	d.define("bar", "100000") // SI brochure 8th ed., table 8
	d.define("mbar", "100")
	return d.units
}

func ratioUnits() *dimension {
	d := &dimension{
		name: "a ratio", si: "", choices: "a plain number or %", signed: true,
		units: map[string]*unit{},
	}
	d.define("", "1")
	d.define("%", "0.01")
	return d
}

// plain puts the ways of writing one unit into the form of the tables:
// "kg / m³" and "kg/m^3" are kg/m3.
func plain(text string) string {
	text = strings.Join(strings.Fields(text), " ")
	return spelling.Replace(text)
}

var spelling = strings.NewReplacer(
	" / ", "/", " /", "/", "/ ", "/", "^", "", "²", "2", "³", "3", "μ", "µ", "℃", "°C", "℉", "°F",
	"''", `"`, "″", `"`, "”", `"`, "′", "'", "’", "'",
)

// find looks a unit up by its plain name, and gives nil if d has none.
func (d *dimension) find(name string) *unit {
	if u := d.units[name]; u != nil {
		return u
	}
	if s, ok := d.short[name]; ok {
		u := *d.find(s)
		u.name = name
		return &u
	}
	over, under, ok := strings.Cut(name, "/")
	if !ok || d.num == nil {
		return nil
	}
	n, m := d.num.find(over), d.den.find(under)
	if n == nil || m == nil || under == "'" || under == `"` {
		return nil
	}
	return &unit{name: n.name + "/" + m.name, factor: new(big.Rat).Quo(n.factor, m.factor)}
}

// meanings gives the choices behind a name that stands for several units.
func (d *dimension) meanings(name string) string {
	if c, ok := d.unclear[name]; ok {
		return c
	}
	over, under, ok := strings.Cut(name, "/")
	if !ok || d.num == nil {
		return ""
	}
	if c := d.num.meanings(over); c != "" {
		return c
	}
	return d.den.meanings(under)
}

// lookup finds the unit that text names, or says why it will not do. The
// caller sets the offset.
func (d *dimension) lookup(text string) (*unit, *fault.Fault) {
	name := plain(text)
	if u := d.find(name); u != nil {
		return u, nil
	}
	if c := d.meanings(name); c != "" {
		return nil, fault.New(fault.Ambiguous, "%q can mean several units", text).Fix("write %s", c)
	}
	wrong := fault.New(fault.BadUnit, "%q is not a unit of %s", text, bare(d.name))
	for _, other := range every {
		if u := other.find(name); u != nil {
			wrong.What = fmt.Sprintf("%q is a unit of %s where %s is due", text, bare(other.name), d.name)
		}
	}
	if h := d.hint(name); h != "" {
		return nil, wrong.Fix("write %s if that is meant, else %s", h, d.choices)
	}
	words := strings.Fields(name)
	if len(words) > 0 && slices.Contains(words, "to") {
		return nil, wrong.Fix("write a range with two dots: 60..110 kg")
	}
	if d == angle && slices.Contains(words, "from") {
		return nil, wrong.Fix("write the angle alone here, as 5 deg")
	}
	if near := d.near(name); len(near) > 0 {
		return nil, wrong.Fix("did you mean %s? Units are %s", strings.Join(near, " or "), d.choices)
	}
	return nil, wrong.Fix("write %s", d.choices)
}

// hint gives the unit of d that a person who wrote the foreign unit name most
// likely had in mind: lbf for lb, and so lbf/in for lb/in.
func (d *dimension) hint(name string) string {
	over, under, quotient := strings.Cut(name, "/")
	if quotient && d.num != nil && d.den.find(under) != nil {
		if h := d.num.hint(over); h != "" {
			return h + "/" + d.den.find(under).name
		}
	}
	if d == force {
		if u := mass.find(name); u != nil {
			return d.hints[u.name]
		}
	}
	if d == mass {
		if u := force.find(name); u != nil {
			return d.hints[u.name]
		}
	}
	return ""
}

func bare(name string) string {
	_, n, _ := strings.Cut(name, " ")
	return n
}

// near lists the units that name may have been meant as: the same letters in
// another case, else one letter away in a name long enough for that to tell.
func (d *dimension) near(name string) []string {
	var same, close []string
	for _, n := range d.names() {
		switch {
		case n == "":
		case strings.EqualFold(n, name):
			same = append(same, n)
		case utf8.RuneCountInString(name) >= 3 && oneEdit(n, name):
			close = append(close, n)
		}
	}
	if len(same) > 0 {
		return same
	}
	if len(close) > 3 {
		return nil
	}
	return close
}

// names lists every way to write a unit of d, sorted.
func (d *dimension) names() []string {
	var out []string
	for n := range d.units {
		out = append(out, n)
	}
	for n := range d.short {
		out = append(out, n)
	}
	if d.num != nil {
		for n := range d.num.units {
			for m := range d.den.units {
				out = append(out, n+"/"+m)
			}
		}
	}
	sort.Strings(out)
	return out
}

// oneEdit says whether one letter added, dropped or replaced turns a into b.
func oneEdit(a, b string) bool {
	x, y := []rune(a), []rune(b)
	if len(x) > len(y) {
		x, y = y, x
	}
	if len(y)-len(x) > 1 {
		return false
	}
	i := 0
	for i < len(x) && x[i] == y[i] {
		i++
	}
	if len(x) == len(y) {
		return i == len(x) || string(x[i+1:]) == string(y[i+1:])
	}
	return string(x[i:]) == string(y[i+1:])
}
