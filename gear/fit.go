package gear

import (
	"fmt"
	"math"

	"plumbhook/quantity"
)

// FitCheck is one question of whether two pieces go together, answered with
// the numbers. Severity is stop, caution or note, and empty where it fits.
// With NotAssessed set the question stays open, and that text says what is
// missing and what to measure.
type FitCheck struct {
	Rule        string   // pin-in-hole, jaw, bearing, cell-pin, cell-align, hook-throat, bunching, running-rope, bend
	Severity    string   //
	Text        string   // a sentence with the numbers
	Demand      *float64 // what is there, and what it is held against; in m, or a plain ratio
	Limit       *float64 //
	Unit        string   // of both: "m", or empty for a ratio
	Source      string   //
	NotAssessed string   //
}

// The severities of a finding.
const (
	Stop    = "stop"
	Caution = "caution"
	Note    = "note"
)

// Where a limit comes from that no document sets.
const (
	commonPractice = "common practice, no source"
	geometry       = "geometry"
)

// The limits of fit that are common practice, no source.
const (
	// A pin thinner than this share of its hole bears on a line; where it is
	// much thinner the hole was made for another pin.
	closePin, loosePin = 0.9, 0.7

	// A plate thinner than this share of the jaw can slide to one cheek.
	filledJaw = 0.6

	// An inch pin and the millimetre pin that stands for it differ by no more
	// than the larger of these; the next size of pin is further off.
	samePin      = 0.5 * millimetre
	samePinShare = 0.025
)

// What D/d a wire rope may bend over.
const (
	leastBend, goodEyeBend, thimbleBend = 1, 2, 3

	bendSource    = "0027/ND Rev 11.2, 7.8.5"
	thimbleSource = "DOE-STD-1090-96, 11.3.2.3 b"
)

// Fit says how the lower end of one piece goes with the upper end of the
// piece below it.
func Fit(above, below Piece) []FitCheck {
	f := fitter{}
	a, b := side{above, above.Lower}, side{below, below.Upper}
	f.aligns(a, b)
	f.aligns(b, a)
	if !f.meet(a, b) && !f.meet(b, a) {
		f.strangers(a, b)
	}
	return f.all
}

// strangers asks what is missing to say how two ends meet.
func (f *fitter) strangers(x, y side) {
	for _, s := range []side{x, y} {
		k, _ := kindOf(s.Kind)
		switch _, says := k.fact("ends"); {
		case s.end.Shape != Unknown:
		case says:
			f.open("bearing", "say how the %s ends and write ends", s.Kind)
			return
		case s.Kind == "alloy chain sling":
			f.open("bearing", "chain takes hold by a link or a hook: put those into the stack as entries of their own")
			return
		}
	}
	f.open("bearing", "how %s takes hold of %s is not known: say what joins them", a(x.Kind), a(y.Kind))
}

// side is a piece with the end in question.
type side struct {
	Piece
	end End
}

type fitter struct{ all []FitCheck }

func (f *fitter) open(rule, format string, args ...any) {
	f.all = append(f.all, FitCheck{Rule: rule, NotAssessed: fmt.Sprintf(format, args...)})
}

// measure asks for a size that is not known.
func (f *fitter) measure(rule string, s side, what, key string) {
	f.open(rule, "measure the %s of the %s and write %s", what, s.Kind, key)
}

func (f *fitter) say(rule, severity string, demand, limit float64, unit, source, format string, args ...any) {
	f.all = append(f.all, FitCheck{
		Rule: rule, Severity: severity, Demand: &demand, Limit: &limit, Unit: unit, Source: source, Text: fmt.Sprintf(format, args...),
	})
}

func (f *fitter) flag(rule, severity, source, format string, args ...any) {
	f.all = append(f.all, FitCheck{Rule: rule, Severity: severity, Source: source, Text: fmt.Sprintf(format, args...)})
}

// mm writes a length in mm with the digits a rule and a gauge give.
func mm(m float64) string {
	return quantity.Known(quantity.Length(math.Round(m*1e4) / 1e4)).Format("mm")
}

// meet judges a pair by what a gives and b takes, and says whether that pair
// is one it knows; the other order is tried after it.
func (f *fitter) meet(a, b side) bool {
	switch {
	case clasps(a.end) && b.end.Shape == Eye:
		f.pinInEye(a, b)
	case clasps(a.end) && clasps(b.end):
		f.bearing(a, b)
	case clasps(a.end) && ropeLoop(b):
		f.inJaw(a, b, b.end.Thickness, "rope eye", "diameter")
		f.ropeEye(a, b, thinner(a.end))
	case clasps(a.end) && (b.end.Shape == FlatEye || b.end.Shape == Loop):
		f.bunched(a, b)
	case clasps(a.end) && b.end.Shape == Link:
		f.inJaw(a, b, b.end.Bar, "bar of the link", "diameter")
	case a.end.Shape == Hook && b.end.Shape != Hook && b.end.Shape != Unknown:
		f.onHook(a, b)
	case a.end.Shape == Link && ropeLoop(b):
		f.ropeEye(a, b, a.end.Bar)
	default:
		return false
	}
	return true
}

// clasps tells an end with two cheeks and something across.
func clasps(e End) bool {
	return e.Shape == Bow || e.Shape == Pin || e.Shape == Shackle || e.Shape == Jaw
}

// ropeLoop tells an eye or a loop of rope.
func ropeLoop(s side) bool {
	return s.end.Shape == SoftEye || s.end.Shape == Thimble || s.end.Shape == Loop && s.Kind != "round sling"
}

// thinner is the diameter that a rope eye bears on: of a shackle that may be
// turned either way, the thinner of pin and bow.
func thinner(e End) float64 {
	switch {
	case e.Shape == Bow:
		return e.Bar
	case e.Shape == Shackle && e.Bar > 0 && e.Pin > 0:
		return math.Min(e.Bar, e.Pin)
	case e.Shape == Shackle:
		return 0
	}
	return e.Pin
}

// pinInEye: does the pin go in, how much play has it, does the part with the
// hole go between the cheeks; and a load cell has a word to say about its pin.
func (f *fitter) pinInEye(a, b side) {
	if a.end.Shape == Bow {
		f.flag("pin-in-hole", Caution, commonPractice, "the bow of the %s is turned to the hole of the %s and would bear on its edge: put the pin through the hole", a.Kind, b.Kind)
		return
	}
	pin, hole := a.end.Pin, b.end.Hole
	switch {
	case pin == 0:
		f.measure("pin-in-hole", a, "pin", "pin")
	case hole == 0 && b.Cell != nil && b.Cell.DemandsPin > 0: // the pin it demands goes in
	case hole == 0:
		f.measure("pin-in-hole", b, "hole", "hole")
	case pin >= hole:
		f.say("pin-in-hole", Stop, pin, hole, "m", geometry, "the pin of %s does not go into the hole of %s in the %s", mm(pin), mm(hole), b.Kind)
	default:
		severity, text := "", "the pin of %s goes into the hole of %s with %s of play"
		if pin < loosePin*hole {
			severity, text = Caution, text+": the hole is made for a thicker pin"
		} else if pin < closePin*hole {
			severity, text = Note, text+": it bears on a line"
		}
		f.say("pin-in-hole", severity, pin, hole, "m", commonPractice, text, mm(pin), mm(hole), mm(hole-pin))
	}
	f.inJaw(a, b, b.end.Thickness, "part at the hole", "thickness")
	if b.Cell != nil {
		f.cellPin(a, b)
	}
}

// inJaw: what goes between the cheeks of a must be thinner than they are apart.
func (f *fitter) inJaw(a, b side, thickness float64, what, key string) {
	jaw, key2 := a.end.Jaw, "jaw"
	if a.end.Shape == Bow {
		jaw, key2 = a.end.Inside, "inside"
	}
	switch {
	case jaw == 0:
		f.measure("jaw", a, "clear width between the cheeks", key2)
	case thickness == 0:
		f.measure("jaw", b, "thickness of the "+what, key)
	case thickness >= jaw:
		f.say("jaw", Stop, thickness, jaw, "m", geometry, "the %s of the %s is %s thick and does not go between the cheeks of the %s, %s apart", what, b.Kind, mm(thickness), a.Kind, mm(jaw))
	case thickness < filledJaw*jaw && b.end.Shape == Eye:
		f.say("jaw", Note, thickness, jaw, "m", commonPractice, "the %s of the %s, %s thick, has %s of room between the cheeks of the %s: keep it in the middle with spacers", what, b.Kind, mm(thickness), mm(jaw-thickness), a.Kind)
	default:
		f.say("jaw", "", thickness, jaw, "m", geometry, "the %s of the %s, %s thick, goes between the cheeks of the %s, %s apart", what, b.Kind, mm(thickness), a.Kind, mm(jaw))
	}
}

// cellPin: a load cell is calibrated on one pin. Another one shifts where the
// force goes in, and a thin one may be the weakest part.
func (f *fitter) cellPin(a, cell side) {
	c, pin := cell.Cell, a.end.Pin
	switch {
	case c.DemandsPin == 0:
		f.open("cell-pin", "look up the pin that the load cell demands in its data and write pin")
	case pin == 0:
		f.measure("cell-pin", a, "pin", "pin")
	case pin < c.PinLow-1e-9 || pin > c.PinHigh+1e-9:
		why := "is too thick for it: the cell will read wrong"
		limit := c.PinHigh
		if pin < c.PinLow {
			why, limit = "is thinner than that: the cell will read wrong, and the pin may be the weakest part of the leg", c.PinLow
		}
		f.say("cell-pin", Stop, pin, limit, "m", commonPractice+"; the cell's maker governs", "the cell demands a pin of %s (%s to %s); the pin of the %s, %s, %s", mm(c.DemandsPin), mm(c.PinLow), mm(c.PinHigh), a.Kind, mm(pin), why)
	default:
		f.say("cell-pin", "", pin, c.DemandsPin, "m", commonPractice+"; the cell's maker governs", "the pin of the %s, %s, is what the cell demands, %s", a.Kind, mm(pin), mm(c.DemandsPin))
	}
}

// aligns: a load cell reads what pulls along it, so that what it hangs from
// must let it swing both ways.
func (f *fitter) aligns(cell, other side) {
	if cell.Cell == nil {
		return
	}
	switch other.Kind {
	case "bow shackle", "dee shackle", "master link", "web sling", "round sling", "fibre rope sling", "wire rope sling", "wire rope grommet", "alloy chain sling", "sling hook", "swivel ring":
		f.flag("cell-align", "", commonPractice, "the %s lets the load cell swing into the line of pull", other.Kind)
	default:
		f.flag("cell-align", Caution, commonPractice, "the load cell sits on the %s without a shackle or link between, and cannot swing both ways into the line of pull: it may be bent and read wrong", other.Kind)
	}
}

// bearing: two shackles in each other. Bow on bow is the ordinary way; a pin on
// a round bar is loaded at a point.
func (f *fitter) bearing(a, b side) {
	shape := func(s side) Shape {
		if s.end.Shape == Jaw {
			return Pin
		}
		return s.end.Shape
	}
	switch x, y := shape(a), shape(b); {
	case x == Shackle || y == Shackle:
		f.open("bearing", "say which end of each shackle meets the other: up: bow, or up: pin")
	case x == Bow && y == Bow:
		f.flag("bearing", "", commonPractice, "bow bears on bow")
	case x == Pin && y == Pin:
		f.flag("bearing", Caution, commonPractice, "pin bears on pin: both are bent by a load at one point, put bow on bow")
	default:
		f.flag("bearing", Caution, commonPractice, "a pin bears on a bow at one point, and is bent by it: put bow on bow")
	}
	for _, s := range [][2]side{{a, b}, {b, a}} {
		opening, key := s[0].end.Jaw, "jaw"
		if s[0].end.Shape == Bow {
			opening, key = s[0].end.Inside, "inside"
		}
		bar := thinner(s[1].end)
		if s[1].end.Shape == Shackle {
			bar = math.Max(s[1].end.Bar, s[1].end.Pin)
		}
		switch {
		case opening == 0:
			f.measure("jaw", s[0], "clear width", key)
		case bar == 0:
			f.measure("jaw", s[1], "diameter of bow and pin", "size and pin")
		case bar >= opening:
			f.say("jaw", Stop, bar, opening, "m", geometry, "the bar of %s of the %s does not go into the %s, %s wide", mm(bar), s[1].Kind, s[0].Kind, mm(opening))
		default:
			f.say("jaw", "", bar, opening, "m", geometry, "the bar of %s of the %s goes into the %s, %s wide", mm(bar), s[1].Kind, s[0].Kind, mm(opening))
		}
	}
}

// ropeEye: what a rope's eye bears on must not bend it too sharply.
func (f *fitter) ropeEye(a, b side, bar float64) {
	d := b.end.Thickness
	thimble := b.end.Shape == Thimble
	on := "the " + a.Kind
	if thimble {
		bar, on = b.end.Bar, "its thimble"
	}
	switch {
	case b.Kind == "fibre rope sling":
		f.open("bend", "no least D/d for a fibre rope eye was read: ask its maker what it may bear on")
	case d == 0:
		f.measure("bend", b, "diameter of the rope", "diameter")
	case bar == 0 && thimble:
		f.measure("bend", b, "diameter of the curve of the thimble", "thimble")
	case bar == 0:
		f.measure("bend", a, "diameter that the eye bears on", "size and pin")
	case thimble:
		severity, text := "", "the thimble has a curve of %s for a rope of %s, D/d = %.3g"
		if bar < thimbleBend*d {
			severity, text = Caution, text+": for a critical lift it should be 3 at least"
		}
		f.say("bend", severity, bar/d, thimbleBend, "", thimbleSource, text, mm(bar), mm(d), bar/d)
	default:
		severity, limit, text := "", float64(goodEyeBend), "the eye of %s rope bears on %s, %s in diameter, D/d = %.3g"
		switch {
		case bar < leastBend*d:
			severity, limit, text = Stop, leastBend, text+": nothing thinner than the rope may bear on it"
		case bar < goodEyeBend*d:
			severity, text = Caution, text+": preferably above 2"
		}
		f.say("bend", severity, bar/d, limit, "", bendSource, text, mm(d), on, mm(bar), bar/d)
	}
}

// bunched: a flat or round sling squeezed together in a bow carries on its edges.
func (f *fitter) bunched(a, b side) {
	if b.Kind != "web sling" && b.Kind != "round sling" {
		return
	}
	inside, key := a.end.Inside, "inside"
	if a.end.Shape == Jaw || a.end.Shape == Pin {
		inside, key = a.end.Jaw, "jaw"
	}
	width := b.end.Width
	switch {
	case width == 0:
		f.measure("bunching", b, "width under load", "width")
	case inside == 0:
		f.measure("bunching", a, "clear width", key)
	case width > inside:
		f.say("bunching", Caution, width, inside, "m", commonPractice, "the %s, %s wide, is bunched in the %s, %s inside: its edges carry the load, take a wider fitting", b.Kind, mm(width), a.Kind, mm(inside))
	default:
		f.say("bunching", "", width, inside, "m", commonPractice, "the %s, %s wide, lies flat in the %s, %s inside", b.Kind, mm(width), a.Kind, mm(inside))
	}
}

// onHook: what hangs on a hook must pass its throat, latch counted.
func (f *fitter) onHook(hook, b side) {
	bar, key := b.end.Thickness, "thickness"
	switch b.end.Shape {
	case Link:
		bar, key = b.end.Bar, "diameter"
	case Bow:
		bar, key = b.end.Bar, "size"
	case Pin, Jaw:
		bar, key = b.end.Pin, "pin"
	case Shackle:
		bar, key = math.Max(b.end.Bar, b.end.Pin), "size and pin"
	case FlatEye:
		bar, key = b.end.Width, "width"
	case Loop:
		if b.Kind == "round sling" {
			bar, key = b.end.Width, "width"
		}
	}
	switch throat := hook.end.Throat; {
	case throat == 0:
		f.measure("hook-throat", hook, "opening of the hook with its latch", "throat")
	case bar == 0:
		f.measure("hook-throat", b, "part that goes on the hook", key)
	case b.end.Shape == FlatEye || b.Kind == "round sling":
		f.open("hook-throat", "no limit was read for a %s of %s in a hook with an opening of %s: see that it lies in the bowl unpinched and clear of the latch", b.Kind, mm(bar), mm(throat))
	case bar >= throat:
		f.say("hook-throat", Stop, bar, throat, "m", geometry, "the %s is %s thick and does not pass the throat of the %s, %s: it would hang on the tip", b.Kind, mm(bar), hook.Kind, mm(throat))
	default:
		f.say("hook-throat", "", bar, throat, "m", geometry, "the %s, %s thick, passes the throat of the %s, %s", b.Kind, mm(bar), hook.Kind, mm(throat))
	}
	if ropeLoop(b) {
		f.ropeEye(hook, b, hook.end.Bar)
	}
}

// Running says how a sling goes with what it slides or is drawn over: a
// shackle in a choker hitch, points that a basket runs over. End is the end
// of that piece it runs on.
func Running(sling, over Piece, end End) []FitCheck {
	f := fitter{}
	a := side{over, end}
	if clasps(end) {
		switch {
		case end.Shape == Bow:
			f.flag("running-rope", "", commonPractice, "the sling runs on the bow of the %s", over.Kind)
		case end.Screw == nil:
			f.open("running-rope", "say how the pin of the %s is held (pin_type), and that the sling does not run on a screw pin", over.Kind)
		case *end.Screw && end.Shape == Shackle:
			f.open("running-rope", "say which end of the %s the sling runs on (up): a running sling can turn a screw pin out", over.Kind)
		case *end.Screw:
			f.flag("running-rope", Stop, commonPractice, "the sling runs on the screw pin of the %s and can turn it out: turn the shackle, or take one with a bolt", over.Kind)
		default:
			f.flag("running-rope", "", commonPractice, "the pin of the %s is not a screw pin", over.Kind)
		}
		f.bunched(a, side{sling, sling.Upper})
	}
	over0 := end.Bar
	if clasps(end) {
		over0 = thinner(end)
	}
	if over0 == 0 {
		f.measure("bend", a, "diameter that the sling bends over", "size and pin")
		return f.all
	}
	return append(f.all, Bend(sling, over0)...)
}

// Bend says what bending over a diameter in m does to a sling: choker, basket,
// a body drawn round a pin. The basket rating of a wire rope table holds only
// from a D/d that depends on the splice; below it the efficiency of 0027/ND is
// shown.
func Bend(sling Piece, diameter float64) []FitCheck {
	f := fitter{}
	if sling.Kind != "wire rope sling" && sling.Kind != "wire rope grommet" {
		f.open("bend", "no least bending diameter was read for a %s: ask its maker", sling.Kind)
		return f.all
	}
	if sling.Body == nil || diameter <= 0 {
		f.open("bend", "measure the diameter of the rope (diameter) and of what it bends over (bend)")
		return f.all
	}
	d := float64(sling.Body.Value)
	ratio := diameter / d
	e, ok := BendEfficiency(ratio)
	if !ok {
		f.say("bend", Stop, ratio, leastBend, "", bendSource, "the rope of %s bends over %s, D/d = %.3g: nothing thinner than the rope may bear on it", mm(d), mm(diameter), ratio)
		return f.all
	}
	least, known := BasketBend(sling.Splice)
	text := "the rope of %s bends over %s, D/d = %.3g"
	switch {
	case sling.Kind == "wire rope grommet" || !known:
		f.say("bend", Note, ratio, leastBend, "", e.Cite(), text+": the bend leaves %.0f %% of the strength", mm(d), mm(diameter), ratio, 100*e.Share)
	case ratio < least.Value-1e-9:
		f.say("bend", Caution, ratio, least.Value, "", least.Source+"; "+e.Cite(), text+": the basket figure of the table holds from %g; here the bend leaves %.0f %% of the strength", mm(d), mm(diameter), ratio, least.Value, 100*e.Share)
	default:
		f.say("bend", "", ratio, least.Value, "", least.Cite(), text+": the basket figure of the table holds from %g", mm(d), mm(diameter), ratio, least.Value)
	}
	return f.all
}
