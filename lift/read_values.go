package lift

import (
	"math"
	"path"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"plumbhook/fault"
	"plumbhook/keyed"
	"plumbhook/quantity"
)

// The values of a lift file, smallest first. The tables of read_keys.go are
// made of these.

var (
	levelForm       = measured[quantity.Length]("length", "a length with its unit", anySign, "0 m", "-20 mm")
	lengthForm      = measured[quantity.Length]("size", "a length with its unit", positive, "2.4 m ± 0.5 %", "12 ft 6 1/2 in", "7/8 in")
	massForm        = measured[quantity.Mass]("mass", "a mass with its unit", filled, "4100 kg ± 2 %", "60..110 kg").demand(noBareTon)
	ownMassForm     = measured[quantity.Mass]("own-mass", "a mass with its unit", notNegative, "9 kg", "0 kg").demand(noBareTon)
	volumeForm      = measured[quantity.Volume]("volume", "a volume with its unit", positive, "0.35 m3 ± 5 %")
	densityForm     = measured[quantity.Density]("density", "a density with its unit", positive, "7850 kg/m3")
	stiffnessForm   = measured[quantity.Stiffness]("stiffness", "a stiffness with its unit", positive, "5.2 MN/m", "400 kN/mm ± 20 %")
	chokeForm       = measured[quantity.Angle]("angle", "an angle with its unit", positive, "120 deg").check(atMost[quantity.Angle](math.Pi, "180 deg"))
	gravityForm     = measured[quantity.Acceleration]("acceleration", "an acceleration with its unit", positive, "9.81 m/s2")
	temperatureForm = measured[quantity.Temperature]("temperature", "a temperature with its unit", notNegative, "-10..30 °C")
	areaForm        = measured[quantity.Area]("area", "an area with its unit", positive, "0.36 m2")
	pressureForm    = measured[quantity.Pressure]("pressure", "a pressure with its unit", positive, "150 kPa")
	durationForm    = measured[quantity.Duration]("duration", "a time with its unit", positive, "1.5 s")
	windForm        = measured[quantity.Speed]("speed", "a speed with its unit", notNegative, "9 m/s")

	ratingForm = words("rating", "a rating with its unit",
		ratingSchema(), quantity.ParseRating).demand(noBareTon)

	directionForm = joined("direction", words("", "a direction such as 0 0 1", object{
		"type": "string", "pattern": `^\s*` + signed + `(\s+` + signed + `){2}\s*$`, "examples": []string{"0 0 1"},
	}, quantity.ParseDirection), object{"type": "number"})

	textForm = words("text", "a text", object{"type": []string{"string", "number", "boolean"}}, func(s string) (string, error) {
		if s = strings.Join(strings.Fields(s), " "); s == "" {
			return "", fault.New(fault.Missing, "an empty text").Fix("write something, or leave the key out")
		}
		return s, nil
	})

	// share is a plain ratio from 0 to 1, without a spread of its own.
	shareForm = words("share", "a share such as 5 %", object{
		"anyOf": []object{
			{"type": "number", "minimum": 0, "maximum": 1},
			{"type": "string", "pattern": `^\s*` + unsigned + `\s*%?\s*$`, "examples": []string{"5 %"}},
		},
	}, func(s string) (quantity.Ratio, error) {
		m, err := quantity.Parse[quantity.Ratio](s)
		switch {
		case err != nil:
			return 0, err
		case m.Shape != quantity.Exact:
			return 0, fault.New(fault.Range, "a share is one figure, without a spread").Fix("write it as 5 %%")
		case m.Value < 0 || m.Value > 1:
			return 0, fault.New(fault.Range, "a share of %s cannot be", keyed.Quote(s)).Fix("it lies from 0 to 100 %%")
		}
		return m.Value, nil
	})

	frictionForm = number("a coefficient of friction", 0, 2)
)

// atMost refuses a measured value whose spread goes beyond most.
func atMost[Q quantity.Quantity](most Q, words string) func(*reader, *keyed.Node, *quantity.Measured[Q]) {
	return func(r *reader, n *keyed.Node, m *quantity.Measured[Q]) {
		if m.High > most {
			r.fault(n, fault.Range, "%s is more than can be", keyed.Quote(n.Text)).Fix("the most is %s", words)
		}
	}
}

// joined reads [a, b, c] like the text "a b c".
func joined[T any](name string, f form[T], item object) form[T] {
	return form[T]{
		name: name,
		read: func(r *reader, n *keyed.Node) (T, bool) {
			if n.Kind != keyed.List {
				return f.read(r, n)
			}
			var parts []string
			for _, it := range n.Items {
				parts = append(parts, it.Text)
			}
			return f.read(r, &keyed.Node{Kind: keyed.Scalar, Path: n.Path, Key: n.Key, Pos: n.Pos, Text: strings.Join(parts, " ")})
		},
		schema: func(d defs) object {
			return object{"anyOf": []object{f.in(d), {"type": "array", "items": item, "minItems": 3, "maxItems": 3}}}
		},
	}
}

// pointForm reads `x y z unit`, or a list of three lengths.
var pointForm = form[quantity.Point]{
	name: "point",
	read: func(r *reader, n *keyed.Node) (p quantity.Point, ok bool) {
		const what = "a point `x y z unit` or a list of three lengths"
		if n.Kind != keyed.List {
			return words("", what, nil, quantity.ParsePoint).read(r, n)
		}
		if len(n.Items) != 3 {
			r.fault(n, fault.Type, "a list of %d, where a point is three lengths", len(n.Items)).Fix("write [x unit, y unit, z unit]")
			return p, false
		}
		var axes [3]string
		for i, it := range n.Items {
			axes[i] = it.Text
		}
		p, err := quantity.PointOf(axes[0], axes[1], axes[2])
		if err == nil {
			return p, true
		}
		// Each axis says best itself what is wrong with it. A bare zero is
		// wrong only where all are.
		before := len(r.faults)
		for _, it := range n.Items {
			if it.Text != "0" {
				levelForm.read(r, it)
			}
		}
		if len(r.faults) == before {
			r.fault(n, fault.NoUnit, "a point needs a unit").Fix("write a unit after one number at least")
		}
		return p, false
	},
	schema: func(d defs) object {
		return object{"anyOf": []object{
			{
				"type": "string", "pattern": `^\s*` + amount,
				"allOf":    []object{{"pattern": `\S\s+\S+\s+\S`}},
				"examples": []string{"0.85 0 1.1 m ± 20 mm", "0 0 0 m"},
			},
			{"type": "array", "items": object{"anyOf": []object{levelForm.in(d), {"const": 0}}}, "minItems": 3, "maxItems": 3},
		}}
	},
}

// sizeForm is a point whose axes are extents.
var sizeForm = pointForm.check(func(r *reader, n *keyed.Node, p *quantity.Point) {
	for _, v := range p.XYZ() {
		if v < 0 {
			r.fault(n, fault.Range, "a size cannot be below zero").Fix("write the extents along x, y and z")
			return
		}
	}
})

// angleFrom is an angle with the line it is measured from.
type angleFrom struct {
	angle quantity.Measured[quantity.Angle]
	line  string // "horizontal", "vertical" or "included"
}

var angleFromForm = words("angle-from", "an angle with its unit and what it is measured from", object{
	"type": "string", "pattern": `^\s*` + amount + `(\s+from\s+(the\s+)?(horizontal|vertical)|\s+included)\s*$`,
	"examples": []string{"60 deg from horizontal", "30 deg from vertical", "60 deg included"},
}, func(s string) (angleFrom, error) {
	a, line, err := quantity.ParseAngleFrom(s)
	if err == nil && !(a.Low >= 0 && a.High <= math.Pi) {
		return angleFrom{}, fault.New(fault.Range, "%s cannot be", keyed.Quote(s)).Fix("the angle lies from 0 to 180 deg")
	}
	return angleFrom{a, line}, err
})

// tiltForm is an angle to the vertical; it may say so.
var tiltForm = words("tilt", "an angle with its unit", object{
	"type": "string", "pattern": `^\s*` + amount + `(\s+from\s+(the\s+)?vertical)?\s*$`, "examples": []string{"3 deg"},
}, func(s string) (quantity.Measured[quantity.Angle], error) {
	if !strings.Contains(s, "from") {
		m, err := quantity.Parse[quantity.Angle](s)
		if err == nil {
			if f := positive.refuses(float64(m.Value), float64(m.Low)); f != nil {
				return m, f
			}
		}
		return m, err
	}
	m, line, err := quantity.ParseAngleFrom(s)
	if err == nil && line != "vertical" {
		return m, fault.New(fault.Ambiguous, "tilt is the angle of the load's z axis to the vertical").Fix("write it as 3 deg from vertical, or 3 deg")
	}
	return m, err
})

// fromHorizontal turns an angle at a spreader's top into the angle of a leg
// from the horizontal; an included angle is that between two legs, and halved
// by the vertical.
func (f angleFrom) fromHorizontal() quantity.Measured[quantity.Angle] {
	a, part := f.angle, quantity.Angle(1)
	switch f.line {
	case "horizontal":
		return a
	case "included":
		part = 0.5
	}
	a.Value, a.Low, a.High = math.Pi/2-part*a.Value, math.Pi/2-part*a.High, math.Pi/2-part*a.Low
	return a
}

var accuracyText = regexp.MustCompile(`^\s*(?:±\s*)?(` + unsigned + `)\s*%\s*(?:of\s+)?(fs|full scale|reading)?\s*$`)

// accuracyForm reads a hard limit of error: "0.1 % fs" or "0.1 % of reading".
var accuracyForm = words("accuracy", "an accuracy such as 0.1 % fs or 0.1 % of reading", object{
	"type": "string", "pattern": `^\s*(±\s*)?` + unsigned + `\s*%\s*(of\s+)?(fs|full scale|reading)\s*$`,
	"examples": []string{"0.1 % fs", "0.1 % of reading"},
}, func(s string) (*Accuracy, error) {
	m := accuracyText.FindStringSubmatch(s)
	if m == nil {
		return nil, fault.New(fault.Syntax, "%s is no accuracy", keyed.Quote(s)).Fix("write it as 0.1 %% fs or 0.1 %% of reading")
	}
	if m[2] == "" {
		return nil, fault.New(fault.Ambiguous, "%s does not say of what", keyed.Quote(s)).Fix("write %s %% fs for full scale, or %s %% of reading", m[1], m[1])
	}
	v, err := strconv.ParseFloat(m[1], 64)
	if err != nil || !(v >= 0 && v <= 50) {
		return nil, fault.New(fault.Range, "an accuracy of %s %% cannot be", m[1]).Fix("it lies from 0 to 50 %%")
	}
	return &Accuracy{Share: v / 100, OfFullScale: m[2] != "reading", Text: s}, nil
})

var warmthText = regexp.MustCompile(`^\s*(?:±\s*)?(` + unsigned + `)\s*%\s*(?:of\s+)?(fs|full scale|reading)?\s*(?:per|/)\s*(` + unsigned + `)?\s*(K|°C|°F)\s*$`)

// warmthForm reads how a cell follows its temperature: "0.02 % fs per °C".
var warmthForm = words("temperature-effect", "a temperature effect such as 0.02 % fs per °C", object{
	"type": "string", "pattern": `^\s*(±\s*)?` + unsigned + `\s*%\s*(of\s+)?(fs|full scale|reading)\s*(per|/)\s*(` + unsigned + `)?\s*(K|°C|°F)\s*$`,
	"examples": []string{"0.02 % fs per °C", "0.1 % of reading per 10 °C"},
}, func(s string) (Warmth, error) {
	m := warmthText.FindStringSubmatch(s)
	if m == nil {
		return Warmth{}, fault.New(fault.Syntax, "%s is no temperature effect", keyed.Quote(s)).Fix("write it as 0.02 %% fs per °C or 0.1 %% of reading per 10 °C")
	}
	if m[2] == "" {
		return Warmth{}, fault.New(fault.Ambiguous, "%s does not say of what", keyed.Quote(s)).Fix("write %s %% fs for full scale, or %s %% of reading", m[1], m[1])
	}
	share, err := strconv.ParseFloat(m[1], 64)
	degrees := 1.0
	if m[3] != "" && err == nil {
		degrees, err = strconv.ParseFloat(m[3], 64)
	}
	if m[4] == "°F" {
		degrees /= 1.8
	}
	if per := share / 100 / degrees; err == nil && degrees > 0 && per <= 0.01 {
		return Warmth{PerKelvin: per, OfFullScale: m[2] != "reading", Text: s}, nil
	}
	return Warmth{}, fault.New(fault.Range, "%s cannot be", keyed.Quote(s)).Fix("it lies from 0 to 1 %% per °C")
})

var (
	turnNumbers = regexp.MustCompile(`^\s*(` + signed + `)\s+(` + signed + `)\s+(` + signed + `)\s*([^\s\d].*)$`)
	turnAbout   = regexp.MustCompile(`^\s*(.*\S)\s+about\s+([xyz])\s*$`)
	turnAxis    = regexp.MustCompile(`^\s*([xyz])\s+(.*\S)\s*$`)
)

// turnStep is a turn about one axis, 0 for x.
type turnStep struct {
	axis  int
	angle quantity.Angle
}

// turnSteps reads "90 deg about x", "x 90 deg", or "90 0 30 deg" for all three.
func turnSteps(s string) ([]turnStep, error) {
	var texts, axes []string
	if m := turnNumbers.FindStringSubmatch(s); m != nil {
		texts, axes = []string{m[1] + " " + m[4], m[2] + " " + m[4], m[3] + " " + m[4]}, []string{"x", "y", "z"}
	} else if m := turnAbout.FindStringSubmatch(s); m != nil {
		texts, axes = m[1:2], m[2:]
	} else if m := turnAxis.FindStringSubmatch(s); m != nil {
		texts, axes = m[2:], m[1:2]
	} else {
		return nil, fault.New(fault.Ambiguous, "%s does not say about which axis", keyed.Quote(s)).
			Fix("write it as 90 deg about x, or a list of such, or [90 deg, 0 deg, 30 deg] for x, y and z")
	}
	var out []turnStep
	for i, t := range texts {
		a, err := oneAngle(t)
		if err != nil {
			f := *fault.Of(err)[0]
			f.Offset = 0 // it counts in a part of the text
			return nil, &f
		}
		out = append(out, turnStep{strings.Index("xyz", axes[i]), a})
	}
	return out, nil
}

func oneAngle(s string) (quantity.Angle, error) {
	m, err := quantity.Parse[quantity.Angle](s)
	if err == nil && m.Shape != quantity.Exact {
		err = fault.New(fault.Range, "a turn is one angle, without a spread").Fix("leave the spread out")
	}
	return m.Value, err
}

var (
	turnText = words("", "a turn such as 90 deg about x", object{
		"type":     "string",
		"pattern":  `^\s*(` + amount + `\s+about\s+[xyz]|[xyz]\s+` + amount + `|` + signed + `\s+` + signed + `\s+` + amount + `)\s*$`,
		"examples": []string{"90 deg about x", "0 0 30 deg"},
	}, turnSteps)
	turnAngle = words("", "an angle with its unit", object{
		"type": "string", "pattern": `^\s*` + amount + `\s*$`, "examples": []string{"90 deg"},
	}, oneAngle)
)

// turnForm reads one turn, a list of them, or the list of the three angles about
// x, y and z. Turns are made about fixed axes, x first, then y, then z;
// another order would be another pose, and is refused rather than sorted.
var turnForm = form[Turn]{
	name: "turn",
	read: func(r *reader, n *keyed.Node) (t Turn, ok bool) {
		items := []*keyed.Node{n}
		if n.Kind == keyed.List {
			items = n.Items
		}
		angles := [3]*quantity.Angle{&t.X, &t.Y, &t.Z}
		nameless := func(it *keyed.Node) bool { return !strings.ContainsAny(it.Text, "xyz") }
		plain := n.Kind == keyed.List && len(items) == 3 && !slices.ContainsFunc(items, func(it *keyed.Node) bool { return !nameless(it) })
		last := -1
		var texts []string
		for i, it := range items {
			var steps []turnStep
			if plain {
				a, good := turnAngle.read(r, it)
				steps, ok = []turnStep{{i, a}}, good
			} else {
				steps, ok = turnText.read(r, it)
			}
			if !ok {
				return t, false
			}
			for _, s := range steps {
				if s.axis <= last {
					r.fault(it, fault.Ambiguous, "turns are made about x, then y, then z, each once").
						Fix("give the angles in that order")
					return t, false
				}
				last = s.axis
				*angles[s.axis] = s.angle
			}
			texts = append(texts, it.Text)
		}
		t.Text = strings.Join(texts, ", ")
		return t, len(items) > 0
	},
	schema: func(d defs) object {
		return object{"anyOf": []object{
			turnText.in(d),
			{"type": "array", "items": object{"anyOf": []object{turnText.in(d), turnAngle.in(d)}}, "minItems": 1, "maxItems": 3},
		}}
	},
}

// refForm reads the name of a hook or node, or BODY.POINT. Whether it
// exists is checked when the whole file has been read.
var refForm = form[Ref]{
	name: "reference",
	read: func(r *reader, n *keyed.Node) (ref Ref, ok bool) {
		s, ok := textForm.read(r, n)
		ref.Body, ref.Point, _ = strings.Cut(s, ".")
		ref.Pos = n.Pos
		return ref, ok
	},
	schema: func(defs) object {
		return object{
			"type": []string{"string", "number"}, "pattern": `^\s*[^.\s][^.]*(\.[^.]*[^.\s])?\s*$`,
			"examples": []string{"main", "ring", "load.west", "bar.low1"},
		}
	},
}

// fileNameForm reads the path of a file in the folder of the lift file. A path that
// leaves the folder is refused before anything is opened.
var fileNameForm = words("file", "the name of a file", object{"type": "string", "examples": []string{"chart.csv", "meshes/frame.stl"}},
	func(s string) (string, error) {
		clean := path.Clean(s)
		switch {
		case strings.ContainsAny(s, `\:`):
			return "", fault.New(fault.Path, "%s has a character that file names here must not have", keyed.Quote(s)).Fix(`write folders with / and no drive`)
		case path.IsAbs(s) || clean == ".." || strings.HasPrefix(clean, "../"):
			return "", fault.New(fault.Path, "%s lies outside the folder of the lift file", keyed.Quote(s)).Fix("put the file beside the lift file, and name it from there")
		case clean == ".":
			return "", fault.New(fault.Path, "the name of a file is missing").Fix("write the name of the file, such as chart.csv")
		}
		return clean, nil
	})

// meshUnitForm reads how long one unit of a mesh is: "mm", or "25.4 mm".
var meshUnitForm = words("mesh-unit", "the unit of the mesh, such as mm", object{"type": "string", "examples": []string{"mm", "in"}},
	func(s string) (quantity.Length, error) {
		if !strings.ContainsAny(s, "0123456789") {
			s = "1 " + s
		}
		m, err := quantity.Parse[quantity.Length](s)
		switch {
		case err != nil:
			for _, f := range fault.Of(err) {
				f.Offset = 0
			}
			return 0, err
		case m.Shape != quantity.Exact || !(m.Value > 0):
			return 0, fault.New(fault.Range, "the unit of a mesh is one length above zero").Fix("write it as mm, or 25.4 mm")
		}
		return m.Value, nil
	})

// Patterns of the schema. They let an editor mark a number without a unit;
// which unit belongs to which dimension is for quantity to say.
const (
	unsigned = `(?:\d+(?:\.\d*)?|\.\d+)(?:[eE][-+]?\d+)?`
	signed   = `[-+−]?` + unsigned
	number1  = `[-+−]?\.?[\d¼½¾⅛⅜⅝⅞]`
	unitSign = `[A-DF-Za-df-zµμ°%'"′″]` // no unit is made of e alone, an exponent is
	amount   = number1 + `.*` + unitSign + `.*`
)

// quantitySchema allows one quantity, one with a ± and a range.
func quantitySchema(what string, examples []string) object {
	return object{
		"type": "string", "title": what, "examples": examples,
		"pattern": `^\s*` + amount + `$`,
	}
}

// tellTale are units, by a quantity that is written in them, which no other
// quantity is: what ends in one of another's is a slip that an editor can mark.
var tellTale = []struct {
	of    any
	units string
}{
	{quantity.Mass(0), `kg|g|t|lb|short tons?|long tons?`},
	{quantity.Force(0), `N|kN|MN|kgf|tf|lbf|kip`},
	{quantity.Length(0), `mm|cm|m|in|ft|yd`},
	{quantity.Angle(0), `deg|rad`},
	{quantity.Area(0), `mm2|cm2|m2|ft2|in2`},
	{quantity.Volume(0), `m3|L|cm3|ft3|in3`},
	{quantity.Speed(0), `m/s|m/min|km/h|ft/s|ft/min|mph|knots?`},
	{quantity.Stiffness(0), `N/m|kN/m|kN/mm|MN/m|lbf/in|kip/in`},
	{quantity.Acceleration(0), `m/s2|ft/s2`},
	{quantity.Density(0), `kg/m3|t/m3|g/cm3|lb/ft3`},
	{quantity.Pressure(0), `Pa|kPa|MPa|bar|psi`},
	{quantity.Temperature(0), `°C|°F|K`},
	{quantity.Duration(0), `s|ms|min`},
}

// ratingSchema is that of a force, or of a mass.
func ratingSchema() object {
	o := quantitySchema("a force, or a mass read as force at standard gravity", []string{"5 t", "6.5 short ton", "50 kN"})
	var units []string
	for _, t := range tellTale[2:] { // behind mass and force
		units = append(units, t.units)
	}
	o["allOf"] = []object{endsIn(units)}
	return o
}

// endsIn refuses a text that ends in one of the units.
func endsIn(units []string) object {
	return object{"not": object{"pattern": `[\d¼½¾⅛⅜⅝⅞]\s*(` + strings.Join(units, "|") + `)\s*$`}}
}

// foreign refuses a text that ends in the unit of another quantity.
func foreign[Q quantity.Quantity]() object {
	var units []string
	for _, t := range tellTale {
		if _, own := t.of.(Q); !own {
			units = append(units, t.units)
		}
	}
	return endsIn(units)
}

var noBareTon = object{"not": object{"pattern": `(^|[\d\s.])\d\s*([Tt]ons?|T)(\s|$)`}}
