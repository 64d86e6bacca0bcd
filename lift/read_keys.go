package lift

import (
	"slices"

	"plumbhook/fault"
	"plumbhook/keyed"
	"plumbhook/quantity"
	"plumbhook/takeoff"
)

// The keys of a lift file, one line each: name, form of the value, where the
// value goes, what it means. Read and Schema both work from these tables.

// version is the version of the file format that the tables describe.
const version = 1

var fileForm = record("", "a lift file", func(l *Lift, _ *keyed.Node) {
	l.Version = version
	l.Site.G = quantity.Known(quantity.StandardGravity)
}, keys(
	needed("plumbhook", whole("the version of the file format", version, version), func(*Lift, int) {},
		"Version of the file format. Write 1.").like(1),
	at("title", textForm, func(l *Lift, v string) { l.Title = v }, "What is lifted from where to where, as on the lift plan.").like("Pump motor out of well 3"),
	at("revision", textForm, func(l *Lift, v string) { l.Revision = v }, "Revision of this plan.").like("B"),
	at("rulebook", choice("a rulebook", option[string]{"us", "us"}, option[string]{"eu", "eu"}), func(l *Lift, v string) { l.Rulebook = v },
		"Family of codes the lift is checked against. Without it nothing is checked against a code."),
	at("rules", siteRulesForm, func(l *Lift, v *SiteRules) { l.Rules = v },
		"File of a firm's own stricter rules, in the folder of the lift file. They add findings and take none away."),
	at("site", siteForm, func(l *Lift, v Site) { l.Site = v }, "Where the lift takes place."),
	at("dynamic", dynamicForm, func(l *Lift, v Dynamic) { l.Dynamic = &v }, "Dynamic factor, only where the plan or a site rule asks for one."),
	at("limits", limitsForm, func(l *Lift, v Limits) { l.Limits = v }, "Figures at which the crew is warned and the lift is stopped."),
	needed("load", loadForm, func(l *Lift, v loadFile) { l.Load = v.Load }, "What is lifted."),
	needed("hooks", named("a map of hooks by name", hookForm), func(l *Lift, v []Hook) { l.Hooks = v }, "The crane hooks, by name."),
	at("nodes", named("a map of nodes by name", nodeForm), func(l *Lift, v []Node) { l.Nodes = v }, "Rings and links where legs join, by name."),
	needed("legs", named("a map of legs by name", legForm), func(l *Lift, v []Leg) { l.Legs = v }, "The lines from hook to load, by name."),
	at("spreaders", named("a map of spreaders by name", spreaderForm), func(l *Lift, v []Spreader) { l.Spreaders = v },
		"Spreader bars, beams and frames between hook and load, by name."),
	at("supports", named("a map of supports by name", supportForm), func(l *Lift, v []Support) { l.Supports = v },
		"Ground that carries a point from below and cannot pull, by name."),
	at("ties", named("a map of ties by name", tieForm), func(l *Lift, v []Tie) { l.Ties = v },
		"Lines from a point of a body to a fixed point of the world, by name."),
	at("steps", listOf("a list of steps (- {name: raise, hooks: ...})", stepForm), func(l *Lift, v []Step) { l.Steps = v },
		"Changes to the rig, one after the other. Each step is hung from the pose of the one before."),
	at("crane", named("a map of cranes by the hook they carry", craneForm), func(l *Lift, v []Crane) { l.Cranes = v },
		"The machine behind each hook, by the hook's name."),
	at("channels", named("a map of channels by name", channelForm), func(l *Lift, v []Channel) { l.Channels = v },
		"Readings besides the load cells in the legs, by channel name."),
))

var siteForm = record("site", "site", func(s *Site, _ *keyed.Node) { s.G = quantity.Known(quantity.StandardGravity) }, keys(
	at("g", gravityForm, func(s *Site, v quantity.Measured[quantity.Acceleration]) { s.G = v },
		"Local gravity, used to turn masses into weights. Standard gravity, 9.80665 m/s2, when not given."),
	at("temperature", temperatureForm, func(s *Site, v quantity.Measured[quantity.Temperature]) { s.Temperature = &v }, "Air temperature during the lift."),
	at("wind", windForm, func(s *Site, v quantity.Measured[quantity.Speed]) { s.Wind = &v }, "Wind speed allowed during the lift."),
	at("exposure", oneOrMore("what the gear is exposed to (dry, or [wet, acids])", choice("an exposure", option[Exposure]{"dry", Dry},
		option[Exposure]{"wet", Wet}, option[Exposure]{"acids", Acids}, option[Exposure]{"caustics", Caustics}, option[Exposure]{"phenolics", Phenolics})),
		func(s *Site, v []Exposure) { s.Exposure = v }, "What the gear is exposed to. Dry says that it is nothing.").like("dry"),
)).check(func(r *reader, n *keyed.Node, s *Site) {
	if len(s.Exposure) > 1 && slices.Contains(s.Exposure, Dry) {
		r.fault(n.Get("exposure"), fault.Disagree, "the gear stays dry, and is exposed to something else").Fix("leave out what is wrong")
	}
})

var dynamicForm = record("dynamic", "dynamic", func(d *Dynamic, n *keyed.Node) { d.Pos = n.Pos }, keys(
	at("factor", number("a dynamic factor", 1, 10), func(d *Dynamic, v float64) { d.Factor = v },
		"Factor on the static forces. Static and dynamic results are both shown.").like(1.1),
	at("class", choice("a hoisting class", option[string]{"HC1", "HC1"}, option[string]{"HC2", "HC2"}, option[string]{"HC3", "HC3"}, option[string]{"HC4", "HC4"}),
		func(d *Dynamic, v string) { d.Class = v }, "Hoisting class of the crane. With hoist_speed it gives a factor from a table, which a stated factor is held against."),
	at("hoist_speed", windForm, func(d *Dynamic, v quantity.Measured[quantity.Speed]) { d.HoistSpeed = &v }, "Speed at which the hoist takes the load up."),
	at("on_ratings", truth(true), func(d *Dynamic, v bool) { d.onRatings = &v },
		"Whether ratings are held against forces times the factor. True for a stated factor, false for one from class and speed."),
)).check(checkDynamic).demand(object{"type": "object", "anyOf": []object{{"required": []string{"factor"}}, {"required": []string{"class", "hoist_speed"}}}})

// checkDynamic demands a factor, or what a table finds one from. With both the
// stated one counts, and is held against the table's.
func checkDynamic(r *reader, n *keyed.Node, d *Dynamic) {
	factor, class, speed := n.Get("factor"), n.Get("class"), n.Get("hoist_speed")
	if factor == nil && (class == nil || speed == nil) || (class == nil) != (speed == nil) {
		r.fault(n, fault.Missing, "nothing gives the dynamic factor, or only half of what gives it").Fix("give factor, or class and hoist_speed")
	}
	d.OnRatings = factor != nil
	if d.onRatings != nil {
		d.OnRatings = *d.onRatings
	}
}

var limitsForm = record("limits", "limits", nil, keys(
	at("total", limitForm, func(l *Limits, v Limit) { l.Total = &v }, "Limits on the gross load, the sum at the hooks."),
	at("legs", lookup("a map of limits by leg", limitForm), func(l *Limits, v map[string]Limit) { l.Legs = v }, "Limits on single legs, by leg name."),
	at("hooks", lookup("a map of limits by hook", limitForm), func(l *Limits, v map[string]Limit) { l.Hooks = v }, "Limits on single hooks, by hook name: what each may carry of a load that hangs from several."),
	at("tilt", tiltForm, func(l *Limits, v quantity.Measured[quantity.Angle]) { l.Tilt = &v }, "Most tilt of the load's z axis from the vertical."),
))

var limitForm = record("limit", "a limit", func(l *Limit, n *keyed.Node) { l.Pos = n.Pos }, keys(
	at("warn", ratingForm, func(l *Limit, v quantity.Rating) { l.Warn = &v }, "Gross force at which the crew is warned."),
	at("stop", ratingForm, func(l *Limit, v quantity.Rating) { l.Stop = &v }, "Gross force at which the lift is stopped."),
)).check(checkLimit).demand(object{"type": "object", "anyOf": requiring("warn", "stop")})

// loadFile is a load before it is weighed.
type loadFile struct {
	Load
	parts       []takeoff.Part
	mass        *quantity.Measured[quantity.Mass]
	cg          *quantity.Point
	from        string
	contingency quantity.Ratio
}

var loadForm = record("load", "the load", func(l *loadFile, n *keyed.Node) {
	l.Name, l.Wet, l.Pos = "load", true, n.Pos
}, keys(
	at("name", textForm, func(l *loadFile, v string) { l.Name = v }, "What the load is called on site.").like("pump motor"),
	at("parts", listOf("a list of parts (- {name: frame, mass: 4100 kg, at: 0 0 0.9 m})", partForm), func(l *loadFile, v []takeoff.Part) { l.parts = v },
		"Weight take-off, part by part. Or give mass and cg."),
	at("mass", massForm, func(l *loadFile, v quantity.Measured[quantity.Mass]) { l.mass = &v },
		"Mass of the whole load, when there is no take-off of parts. Beside parts it is compared with their sum."),
	at("cg", pointForm, func(l *loadFile, v quantity.Point) { l.cg = &v },
		"Centre of gravity in load axes. Beside parts it is compared with theirs."),
	at("from", textForm, func(l *loadFile, v string) { l.from = v }, "Who says that it weighs that: nameplate, weighing, drawing ... Holds for parts that do not say.").like("nameplate"),
	at("contingency", shareForm, func(l *loadFile, v quantity.Ratio) { l.contingency = v }, "Share added to the sum for weight that nobody listed."),
	at("wet", truth(true), func(l *loadFile, v bool) { l.Wet = v }, "Whether parts marked fluid are on board. True unless it says false."),
	at("size", sizeForm, func(l *loadFile, v quantity.Point) { l.Size = &v }, "Extent along x, y and z, for drawing, wind and clearance."),
	at("size_from", pointForm, func(l *loadFile, v quantity.Point) { l.SizeFrom = &v },
		"Where that box begins: its corner with the least x, y and z, in load axes. Left out, the drawing lays it about lugs and centre of gravity."),
	at("drag", number("a coefficient of drag", 0.1, 3), func(l *loadFile, v float64) { l.Drag = v }, "Coefficient of drag cw of the load in the wind, on the area that size gives.").like(1.2),
	at("at", pointForm, func(l *loadFile, v quantity.Point) { l.At = &v }, "Start pose: where the origin of the load axes stands in the world."),
	at("turn", turnForm, func(l *loadFile, v Turn) { l.Turn = &v },
		"Start pose: turned about the world's x, then y, then z axis. Without it the load axes lie along the world's."),
	needed("lugs", named("a map of lugs by name", holdForm("lug", "a lug")), func(l *loadFile, v []Lug) { l.Lugs = v },
		"Lifting points on the load, by name. Legs take hold of them as load.NAME."),
)).check(checkLoad).demand(object{"anyOf": []object{{"required": []string{"parts"}}, {"required": []string{"mass", "cg"}}}})

var partForm = weighed(record("part", "a part", func(p *takeoff.Item, n *keyed.Node) { p.Name, p.Pos = numbered("part", n), n.Pos }, keys(
	at("name", textForm, func(p *takeoff.Item, v string) { p.Name = v }, "What the part is called on the weight sheet.").like("frame"),
	at("from", textForm, func(p *takeoff.Item, v string) { p.From = v }, "Who says that it weighs that: nameplate, drawing, weighing ...").like("drawing"),
	at("at", pointForm, func(p *takeoff.Item, v quantity.Point) { p.At = &v },
		"Where it sits in load axes: its centre of gravity for mass and volume, the datum of a shape, the origin of a mesh."),
	at("mass", massForm, func(p *takeoff.Item, v quantity.Measured[quantity.Mass]) { p.Mass = &v }, "Mass of one piece."),
	at("volume", volumeForm, func(p *takeoff.Item, v quantity.Measured[quantity.Volume]) { p.Volume = &v }, "Volume of one piece. Needs material or density."),
	at("shape", shapeForm, func(p *takeoff.Item, v takeoff.Shape) { p.Shape = &v }, "A simple solid. Needs material or density."),
	at("mesh", meshForm, func(p *takeoff.Item, v takeoff.Mesh) { p.Mesh = &v }, "A closed surface in a file. Needs material or density."),
	at("material", materialForm, func(p *takeoff.Item, v string) { p.Material = v }, "A row of the table of unit weights, in full where a name has several."),
	at("density", densityForm, func(p *takeoff.Item, v quantity.Measured[quantity.Density]) { p.Density = &v }, "Density, when the material is not in the table."),
	at("turn", turnForm, func(p *takeoff.Item, v Turn) { p.Turn = &[3]quantity.Angle{v.X, v.Y, v.Z} },
		"Turn of a shape or mesh about the load's x, then y, then z axis, through its datum."),
	at("count", whole("a count", 1, 100_000), func(p *takeoff.Item, v int) { p.Count = v }, "Number of equal pieces. One when not given.").like(4),
	at("pitch", pointForm, func(p *takeoff.Item, v quantity.Point) { p.Pitch = &v }, "Step from one piece to the next. Without it all sit at the same place."),
	at("fluid", truth(true), func(p *takeoff.Item, v bool) { p.Fluid = v }, "True for what is only on board when the load is wet."),
	at("cut", truth(true), func(p *takeoff.Item, v bool) { p.Cut = v }, "True for material taken out: a bore, an opening."),
	at("spread", shareForm, func(p *takeoff.Item, v quantity.Ratio) { p.Spread = &v },
		"How far the mass that comes out may be off, 95 %, where the figures have no spread of their own."),
)))

var (
	shapeForm = record("shape", "a shape", func(s *takeoff.Shape, n *keyed.Node) {
		s.Sizes, s.Pos = map[string]quantity.Measured[quantity.Length]{}, n.Pos
	}, keys(
		needed("kind", shapeKindForm, func(s *takeoff.Shape, v string) { s.Kind = v }, "Which solid it is. Each kind has its own sizes."),
	), sizeKeys).demand(object{"anyOf": sizeSets})

	meshForm = record("mesh", "a mesh", func(m *takeoff.Mesh, n *keyed.Node) { m.Pos = n.Pos }, keys(
		needed("file", fileNameForm, func(m *takeoff.Mesh, v string) { m.File = v }, "STL or OBJ file in the folder of the lift file. The surface must be closed."),
		needed("unit", meshUnitForm, func(m *takeoff.Mesh, v quantity.Length) { m.Unit = v }, "What one unit of the mesh is: mm, in ... Mesh files do not say."),
	)).check(readMesh)
)

// holdForm is a lug of the load or a point of a spreader: its place alone, or
// a map with its place and what is known about it.
func holdForm(name, what string) form[Lug] {
	meant := func(r *reader, n *keyed.Node, l *Lug) {
		if it := n.Get("type"); it != nil {
			l.Meant = r.meant(it, l.Type, "type of lifting point")
		}
	}
	begin := func(l *Lug, n *keyed.Node) { l.Name, l.Pos = n.Name, n.Key }
	short := form[Lug]{
		read: func(r *reader, n *keyed.Node) (l Lug, ok bool) {
			begin(&l, n)
			l.At, ok = pointForm.read(r, n)
			return l, ok
		},
		schema: pointForm.in,
	}
	return either(name, short, record("", what, begin, keys(
		needed("at", pointForm, func(l *Lug, v quantity.Point) { l.At = v }, "Where the gear bears, in the axes of the body."),
		at("type", textForm, func(l *Lug, v string) { l.Type = v }, "Plate, plain eye bolt, shoulder eye bolt, swivel ring ...").like("plate", "shoulder eye bolt"),
		at("axis", directionForm, func(l *Lug, v [3]float64) { l.Axis = &v }, "Along the pin hole of a plate, or the shank of an eye bolt, in the axes of the body."),
		at("hole", lengthForm, func(l *Lug, v quantity.Measured[quantity.Length]) { l.Hole = &v }, "Diameter of the pin hole."),
		at("thickness", lengthForm, func(l *Lug, v quantity.Measured[quantity.Length]) { l.Thickness = &v }, "Thickness of the plate at the hole."),
		at("wll", ratingForm, func(l *Lug, v quantity.Rating) { l.WLL = &v }, "Working load limit off the tag or drawing."),
		at("eye", directionForm, func(l *Lug, v [3]float64) { l.Eye = &v }, "Along the hole of an eye bolt as it is screwed in, in the axes of the body. A pull square to it is in the plane of the eye."),
		at("angled_wll", angledForm, func(l *Lug, v AngledWLL) { l.Angled = &v }, "Maker's figure of an eye bolt for a pull off its axis, in the plane of the eye."),
	)).check(meant))
}

var angledForm = record("angled", "an angled_wll", nil, keys(
	needed("wll", ratingForm, func(a *AngledWLL, v quantity.Rating) { a.WLL = v }, "Working load limit at that angle."),
	needed("off_axis", chokeForm, func(a *AngledWLL, v quantity.Measured[quantity.Angle]) { a.OffAxis = v }, "Angle off the axis of the bolt up to which it holds.").like("45 deg"),
))

var hookForm = record("hook", "a hook", func(h *Hook, n *keyed.Node) { h.Name, h.Pos = n.Name, n.Key }, keys(
	at("at", pointForm, func(h *Hook, v quantity.Point) { h.At = &v },
		"Where the hook's bearing is in the world. Needed with several hooks, supports or ties; a single hook is plumb over the load without it."),
	at("wll", ratingForm, func(h *Hook, v quantity.Rating) { h.WLL = &v }, "Working load limit off the hook or block."),
))

var nodeForm = record("node", "a node", func(d *Node, n *keyed.Node) { d.Name, d.Pos = n.Name, n.Key }, keys(
	at("mass", ownMassForm, func(d *Node, v quantity.Measured[quantity.Mass]) { d.Mass = v }, "Mass of the ring or link. Nothing when not given."),
	at("at", pointForm, func(d *Node, v quantity.Point) { d.At = &v }, "Where it starts in the world. Found without it."),
	at("wll", ratingForm, func(d *Node, v quantity.Rating) { d.WLL = &v }, "Working load limit off the tag."),
))

var legForm = record("leg", "a leg", func(l *Leg, n *keyed.Node) {
	l.Name, l.Hitch, l.Pos = n.Name, Straight, n.Key
}, keys(
	needed("from", refForm, func(l *Leg, v Ref) { l.From = v }, "Upper end: a hook, a node, or BODY.POINT."),
	needed("to", refForm, func(l *Leg, v Ref) { l.To = v }, "Lower end: load.LUG, a node, or BODY.POINT."),
	at("via", oneOrMore("a list of points ([load.b1, load.b2])", refForm), func(l *Leg, v []Ref) { l.Via = v },
		"Points that one rope slides over between its ends, in order."),
	at("length", lengthForm, func(l *Leg, v quantity.Measured[quantity.Length]) { l.Length = v },
		"Unloaded length, bearing to bearing. Beside a stack it is compared with the stack."),
	at("stiffness", stiffnessForm, func(l *Leg, v quantity.Measured[quantity.Stiffness]) { l.Stiffness = &v },
		"Force per stretch of the whole leg. Without it and without a stack that states one the leg does not stretch."),
	at("mass", ownMassForm, func(l *Leg, v quantity.Measured[quantity.Mass]) { l.Mass = v }, "Mass of the whole leg. Nothing when not given."),
	at("hangs", choice("straight or catenary", option[bool]{"straight", false}, option[bool]{"catenary", true}), func(l *Leg, v bool) { l.Catenary = v },
		"Straight lumps the leg's own weight at its ends, catenary lets it sag. Straight when not given."),
	at("hitch", choice("straight, basket or choker", option[Hitch]{"straight", Straight}, option[Hitch]{"basket", Basket}, option[Hitch]{"choker", Choker}),
		func(l *Leg, v Hitch) { l.Hitch = v }, "How the leg takes hold. Straight when not given."),
	at("friction", frictionForm, func(l *Leg, v float64) { l.Friction = v }, "Coefficient of friction of the rope on the points it slides over.").like(0.1),
	at("choke_angle", chokeForm, func(l *Leg, v quantity.Measured[quantity.Angle]) { l.ChokeAngle = &v },
		"Angle of choke of a choker hitch, between its running part and the part round the load."),
	at("bend", lengthForm, func(l *Leg, v quantity.Measured[quantity.Length]) { l.Bend = &v }, "Diameter that the rope bends over."),
	at("wll", ratingForm, func(l *Leg, v quantity.Rating) { l.WLL = &v }, "Working load limit of this one leg in a straight pull."),
	at("choker_wll", ratingForm, func(l *Leg, v quantity.Rating) { l.ChokerWLL = &v }, "Working load limit of this one leg in a choker hitch, off its tag."),
	at("basket_wll", ratingForm, func(l *Leg, v quantity.Rating) { l.BasketWLL = &v }, "Working load limit of this one leg in a basket with vertical legs, off its tag."),
	at("tag", tagForm, func(l *Leg, v Tag) { l.Tag = v }, "How the tag of the leg was found. A stack says it entry by entry, where they differ."),
	at("edges", choice("what edges there are", option[Edges]{"none", NoEdges}, option[Edges]{"protected", ProtectedEdges}, option[Edges]{"sharp", SharpEdges}),
		func(l *Leg, v Edges) { l.Edges = v }, "What the leg bears on round the load: no edge, edges with protection between, or sharp ones."),
	at("temperature", temperatureForm, func(l *Leg, v quantity.Measured[quantity.Temperature]) { l.Temperature = &v }, "Temperature of the leg, where it is not that of the site."),
	at("assembly_wll", assemblyForm, func(l *Leg, v AssemblyWLL) { l.AssemblyWLL = &v }, "What the tag of a whole sling assembly says."),
	at("stack", listOf("a list of gear, top to bottom (- {kind: bow shackle, length: 84 mm})", entryForm), func(l *Leg, v []Part) { l.Stack = v },
		"What the leg is made of, top to bottom."),
	at("cell", cellForm, func(l *Leg, v Cell) { l.Cell = &v }, "Load cell of a leg that is given without a stack."),
)).check(checkLeg).demand(object{"type": "object", "anyOf": requiring("length", "stack")})

var assemblyForm = record("assembly", "an assembly_wll", func(a *AssemblyWLL, n *keyed.Node) { a.Pos = n.Pos }, keys(
	needed("wll", ratingForm, func(a *AssemblyWLL, v quantity.Rating) { a.WLL = v }, "Working load limit of the whole assembly."),
	needed("legs", whole("the number of legs on the tag", 1, 8), func(a *AssemblyWLL, v int) { a.Legs = v }, "Number of legs the tag speaks of.").like(2),
	needed("angle", angleFromForm, func(a *AssemblyWLL, v angleFrom) { a.Angle, a.From = v.angle, v.line },
		"Angle the tag speaks of, with what it is measured from."),
))

// cellKeys are those of a load cell, as an entry of a stack or on a leg.
func cellKeys[R any](of func(*R) *Cell) []key[R] {
	return keys(
		at("channel", textForm, func(x *R, v string) { of(x).Channel = v }, "Name of the channel that the readings come on.").like("W"),
		at("capacity", ratingForm, func(x *R, v quantity.Rating) { of(x).Capacity = &v }, "Full scale of the cell."),
		at("accuracy", accuracyForm, func(x *R, v *Accuracy) { of(x).Accuracy = v }, "Hard limit of the cell's error, of full scale or of reading."),
		at("resolution", ratingForm, func(x *R, v quantity.Rating) { of(x).Resolution = &v }, "Step of what its display shows.").like("10 kg"),
		at("temperature_effect", oneOrMore("a temperature effect, or a list of them", warmthForm), func(x *R, v []Warmth) { of(x).Warmth = v },
			"How far it may be off for each degree, of full scale (its zero) or of reading (its slope). Both as a list.").like("0.02 % fs per °C"),
		at("zero", choice("hung, attached or none", option[Zero]{"hung", ZeroHung}, option[Zero]{"attached", ZeroAttached}, option[Zero]{"none", ZeroNone}),
			func(x *R, v Zero) { of(x).Zero = v },
			"How it was zeroed: hung with all rigging below it hanging free, attached with the legs attached and slack, none for raw readings. None when not given."),
	)
}

var cellForm = record("cell", "a cell", func(c *Cell, n *keyed.Node) { c.Zero, c.Pos = ZeroNone, n.Pos },
	cellKeys(func(c *Cell) *Cell { return c })).check(checkCell).check(checkChannel).demand(object{"type": "object", "required": []string{"channel"}})

var entryForm = record("entry", "a stack entry", func(p *Part, n *keyed.Node) { p.Facts, p.Pos = map[string]string{}, n.Pos }, entryKeys,
	cellKeys((*Part).cell), factKeys).check(checkEntry).demand(object{"type": "object", "anyOf": requiring("kind", "serial")})

var entryKeys = keys(
	at("kind", textForm, func(p *Part, v string) { p.Kind = v }, "What it is: bow shackle, wire rope sling, master link, load cell ...").like("bow shackle", "wire rope sling", "load cell"),
	at("serial", textForm, func(p *Part, v string) { p.Serial = v }, "Serial of the item in the gear register. Without a kind, kind and figures are taken from there.").like("KP-0117"),
	at("wll", ratingForm, func(p *Part, v quantity.Rating) { p.WLL = &v }, "Working load limit off the tag."),
	at("length", lengthForm, func(p *Part, v quantity.Measured[quantity.Length]) { p.Length = &v }, "Unloaded length, bearing to bearing."),
	at("mass", ownMassForm, func(p *Part, v quantity.Measured[quantity.Mass]) { p.Mass = &v }, "Mass of the item."),
	at("stiffness", stiffnessForm, func(p *Part, v quantity.Measured[quantity.Stiffness]) { p.Stiffness = &v },
		"Force per stretch of the item. Entries without one do not stretch when another states one."),
	at("tag", tagForm, func(p *Part, v Tag) { p.Tag = v }, "How its tag was found."),
	at("temperature", temperatureForm, func(p *Part, v quantity.Measured[quantity.Temperature]) { p.Temperature = &v }, "Its temperature, where it is not that of the leg."),
)

var tagForm = choice("how a tag was found", option[Tag]{"legible", Legible}, option[Tag]{"illegible", Illegible}, option[Tag]{"missing", NoTag})

// factKeys are what a catalogue or a tag says about gear, kept as written for
// gear.Look: every fact that it knows.
var factKeys = func() (all []key[Part]) {
	asWritten := func(m quantity.Measured[quantity.Length]) string { return m.Text }
	rating := mapped(ratingForm, func(r quantity.Rating) string { return r.Text })
	for _, f := range []struct {
		name    string
		form    form[string]
		example any
		doc     string
	}{
		{"class", textForm, "A", "Class in its standard."},
		{"grade", textForm, "80", "Grade in its standard."},
		{"size", textForm, "7/8 in", "Nominal size."},
		{"table", textForm, "C-3", "Table of ratings that class and size belong to."},
		{"rope", textForm, "6x19 EIPS IWRC", "Construction, grade and core."},
		{"splice", textForm, "mechanical", "Kind of splice or termination."},
		{"material", textForm, "polyester", "What it is made of."},
		{"ply", textForm, 2, "Number of plies of a web."},
		{"diameter", mapped(lengthForm, asWritten), "3/4 in", "Diameter of rope, bar or chain."},
		{"width", mapped(lengthForm, asWritten), "50 mm", "Width of a web."},
		{"pin", mapped(lengthForm, asWritten), "25 mm", "Diameter of its pin, or of the pin that a load cell demands."},
		{"jaw", mapped(lengthForm, asWritten), "37 mm", "Inside width at its jaw."},
		{"hole", mapped(lengthForm, asWritten), "26 mm", "Diameter of its pin hole."},
		{"thickness", mapped(lengthForm, asWritten), "25 mm", "Thickness at its pin hole."},
		{"inside", mapped(lengthForm, asWritten), "58 mm", "Clear width inside a bow or link."},
		{"throat", mapped(lengthForm, asWritten), "27 mm", "Opening of a hook, latch counted."},
		{"bar", mapped(lengthForm, asWritten), "20 mm", "Thickness of a hook where the load bears."},
		{"thimble", mapped(lengthForm, asWritten), "60 mm", "Diameter of the curve that its thimble bears on."},
		{"ends", textForm, "soft eye", "How it takes hold at both ends: soft eye, thimble or socket; jaw, eye or hook of a turnbuckle."},
		{"up", textForm, "bow", "Which end of a shackle is above: bow or pin."},
		{"pin_type", textForm, "bolt", "How the pin of a shackle is held: screw, bolt or round."},
		{"construction", textForm, "eye and eye", "Of a fibre rope sling: eye and eye, or endless."},
		{"colour", textForm, "violet", "Colour of the sling. It rates nothing."},
		{"choker_wll", rating, "4.2 short ton", "Working load limit in a choker hitch, off the tag."},
		{"basket_wll", rating, "11 short ton", "Working load limit in a basket with vertical legs, off the tag."},
		{"safe_overload", textForm, "150 % of capacity", "Largest load that does a load cell no lasting harm."},
		{"protection", textForm, "IP67", "Protection rating of a load cell."},
		{"rate", textForm, "10 Hz", "How often a load cell is read."},
		{"radio_range", mapped(lengthForm, asWritten), "700 m", "Range of a load cell's radio in the open."},
		{"holds_peaks", textForm, true, "Whether a load cell keeps the highest load."},
		{"calibrated", textForm, "2026-03-31", "Date of a load cell's calibration."},
		{"least_top_angle", textForm, "60 deg from horizontal", "Flattest angle of the top legs that a spreader in the stack is rated for."},
	} {
		all = append(all, at(f.name, f.form, func(p *Part, v string) { p.Facts[f.name] = v }, f.doc).like(f.example))
	}
	return all
}()

var spreaderForm = record("spreader", "a spreader", func(s *Spreader, n *keyed.Node) { s.Name, s.Pos = n.Name, n.Key }, keys(
	needed("mass", ownMassForm, func(s *Spreader, v quantity.Measured[quantity.Mass]) { s.Mass = v }, "Mass of the spreader."),
	needed("cg", pointForm, func(s *Spreader, v quantity.Point) { s.CG = v }, "Centre of gravity in its own axes."),
	at("wll", ratingForm, func(s *Spreader, v quantity.Rating) { s.WLL = &v }, "Rated load."),
	at("least_top_angle", angleFromForm, func(s *Spreader, v angleFrom) { a := v.fromHorizontal(); s.LeastTopAngle = &a },
		"Flattest angle of the top legs that it is rated for."),
	at("size", sizeForm, func(s *Spreader, v quantity.Point) { s.Size = &v }, "Extent along its x, y and z, for drawing and clearance."),
	at("size_from", pointForm, func(s *Spreader, v quantity.Point) { s.SizeFrom = &v },
		"Where that box begins: its corner with the least x, y and z, in its own axes. Left out, the drawing lays it about its points."),
	at("at", pointForm, func(s *Spreader, v quantity.Point) { s.At = &v }, "Start pose: where the origin of its axes stands in the world."),
	at("turn", turnForm, func(s *Spreader, v Turn) { s.Turn = &v }, "Start pose: turned about the world's x, then y, then z axis."),
	needed("points", named("a map of points by name", holdForm("spreader-point", "a point")), func(s *Spreader, v []Lug) { s.Points = v },
		"Points that legs take hold of as NAME.POINT."),
))

var supportForm = record("support", "a support", func(s *Support, n *keyed.Node) { s.Name, s.Pos = n.Name, n.Key }, keys(
	needed("at", refForm, func(s *Support, v Ref) { s.At = v }, "Point of a body that stands on the ground: BODY.POINT."),
	needed("level", levelForm, func(s *Support, v quantity.Measured[quantity.Length]) { s.Level = v }, "Height of the ground in the world."),
	at("friction", frictionForm, func(s *Support, v float64) { s.Friction = v }, "Coefficient of friction on the ground. Nothing when not given.").like(0.3),
))

var tieForm = record("tie", "a tie", func(t *Tie, n *keyed.Node) { t.Name, t.Pos = n.Name, n.Key }, keys(
	needed("at", refForm, func(t *Tie, v Ref) { t.At = v }, "Point of a body that is held: BODY.POINT."),
	needed("to", pointForm, func(t *Tie, v quantity.Point) { t.To = v }, "Fixed point of the world that holds it."),
	at("length", lengthForm, func(t *Tie, v quantity.Measured[quantity.Length]) { t.Length = &v }, "Unloaded length. Its length in the start pose when not given."),
	at("stiffness", stiffnessForm, func(t *Tie, v quantity.Measured[quantity.Stiffness]) { t.Stiffness = &v }, "Force per stretch. Without it the tie does not stretch."),
))

var stepForm = record("step", "a step", func(s *Step, n *keyed.Node) { s.Name, s.Pos = numbered("step", n), n.Pos }, keys(
	at("name", textForm, func(s *Step, v string) { s.Name = v }, "What the step is called.").like("raise"),
	at("hooks", lookup("a map of moves by hook", record("hook-move", "a hook move", nil, keys(
		needed("at", pointForm, func(p *quantity.Point, v quantity.Point) { *p = v }, "Where the hook goes."),
	))), func(s *Step, v map[string]quantity.Point) { s.Hooks = v }, "Hooks that move, by name."),
	at("legs", lookup("a map of changes by leg", record("leg-change", "a leg change", nil, keys(
		needed("length", lengthForm, func(m *quantity.Measured[quantity.Length], v quantity.Measured[quantity.Length]) { *m = v }, "Its new unloaded length."),
	))), func(s *Step, v map[string]quantity.Measured[quantity.Length]) { s.Legs = v }, "Legs that are shortened or paid out, by name."),
	at("ties", lookup("a map of changes by tie", record("tie-change", "a tie change", func(held *bool, _ *keyed.Node) { *held = true }, keys(
		needed("released", truth(false), func(held *bool, v bool) { *held = v }, "Whether the tie lets go in this step."),
	))), func(s *Step, v map[string]bool) { s.Ties = v }, "Ties that let go or take hold again, by name."),
	at("supports", lookup("a map of changes by support", record("support-change", "a support change", nil, keys(
		needed("level", levelForm, func(m *quantity.Measured[quantity.Length], v quantity.Measured[quantity.Length]) { *m = v }, "Its new height in the world."),
	))), func(s *Step, v map[string]quantity.Measured[quantity.Length]) { s.Supports = v }, "Supports that are raised or lowered, by name."),
))

var craneForm = record("crane", "a crane", func(c *Crane, n *keyed.Node) { c.Hook, c.Pos = n.Name, n.Key }, keys(
	at("chart", fileNameForm, func(c *Crane, v string) { c.Chart = v }, "Capacity chart, a CSV file in the folder of the lift file. A chart that is not there is not assessed."),
	at("radius", lengthForm, func(c *Crane, v quantity.Measured[quantity.Length]) { c.Radius = &v }, "Radius of the hook from the axis of slewing."),
	at("boom", lengthForm, func(c *Crane, v quantity.Measured[quantity.Length]) { c.Boom = &v }, "Length of the boom."),
	at("block", ownMassForm, func(c *Crane, v quantity.Measured[quantity.Mass]) { c.Block = &v }, "Mass of hook block and hanging rope, counted as load by the chart."),
	at("aux_block", ownMassForm, func(c *Crane, v quantity.Measured[quantity.Mass]) { c.AuxBlock = &v }, "Mass of an auxiliary block that hangs there too; 0 kg when there is none."),
	at("jib", ownMassForm, func(c *Crane, v quantity.Measured[quantity.Mass]) { c.Jib = &v }, "What the chart takes off for a jib, stowed or erected; 0 kg when there is none."),
	at("rope", ownMassForm, func(c *Crane, v quantity.Measured[quantity.Mass]) { c.Rope = &v }, "Mass of the hanging hoist rope; 0 kg when block or chart hold it already."),
	at("line_pull", ratingForm, func(c *Crane, v quantity.Rating) { c.LinePull = &v }, "Pull in the hoist rope as planned."),
	at("most_line_pull", ratingForm, func(c *Crane, v quantity.Rating) { c.MostLinePull = &v }, "Largest pull that the crane's data permit in the hoist rope."),
	at("reduction", choice("a rule set for several cranes", option[string]{"queensland", "queensland"}, option[string]{"british", "british"}),
		func(c *Crane, v string) { c.Reduction = v }, "Rule set that lowers the capacity of each crane when several carry the load."),
	at("people", truth(true), func(c *Crane, v bool) { c.People = v }, "Whether people are hoisted. False when not given."),
	at("floating", truth(true), func(c *Crane, v bool) { c.Floating = v }, "Whether the crane stands on a floating base. False when not given."),
	at("travelling", truth(true), func(c *Crane, v bool) { c.Travelling = v }, "Whether the crane travels with the load. False when not given."),
	at("hook_stiffness", stiffnessForm, func(c *Crane, v quantity.Measured[quantity.Stiffness]) { c.HookStiffness = &v },
		"How much hoist rope and boom give at the hook, force per travel. Unyielding when not given."),
	at("delay", durationForm, func(c *Crane, v quantity.Measured[quantity.Duration]) { c.Delay = &v }, "From a reading to the lever: radio and people."),
	at("stopping", durationForm, func(c *Crane, v quantity.Measured[quantity.Duration]) { c.Stopping = &v }, "From the lever until the hook stands."),
	at("machine", massForm, func(c *Crane, v quantity.Measured[quantity.Mass]) { c.Machine = &v }, "Mass of the machine, counterweight included, for reactions that are a share of it."),
	at("ground", groundForm, func(c *Crane, v Ground) { c.Ground = &v }, "What the ground may bear, and who says so."),
	at("mat", matForm, func(c *Crane, v Mat) { c.Mat = &v }, "What lies under each outrigger or track that names no mat of its own."),
	at("reactions", named("a map of outriggers or tracks by name", reactionForm), func(c *Crane, v []Reaction) { c.Reactions = v },
		"What each outrigger or track presses down with, by name."),
)).check(readChart).check(checkReactions)

var groundForm = record("ground", "the ground", nil, keys(
	at("allowable", pressureForm, func(g *Ground, v quantity.Measured[quantity.Pressure]) { g.Allowable = &v }, "Pressure that it may take."),
	at("from", textForm, func(g *Ground, v string) { g.From = v }, "Who says so: a report, an engineer.").like("geotechnical note 7"),
))

var matForm = record("mat", "a mat", nil, keys(
	needed("length", lengthForm, func(m *Mat, v quantity.Measured[quantity.Length]) { m.Length = v }, "Its length."),
	needed("width", lengthForm, func(m *Mat, v quantity.Measured[quantity.Length]) { m.Width = v }, "Its width."),
	at("mass", ownMassForm, func(m *Mat, v quantity.Measured[quantity.Mass]) { m.Mass = &v }, "Mass of the mat."),
	at("stiff", textForm, func(m *Mat, v string) { m.Stiff = v }, "Who holds it stiff enough to press evenly all over. Left out, only the foot or the effective area counts.").like("matting calculation 12"),
	at("effective", areaForm, func(m *Mat, v quantity.Measured[quantity.Area]) { m.Effective = &v }, "Area that presses, by whoever worked it out."),
	at("effective_from", textForm, func(m *Mat, v string) { m.EffectiveFrom = v }, "Who worked it out.").like("matting calculation 12"),
	at("foot", areaForm, func(m *Mat, v quantity.Measured[quantity.Area]) { m.Foot = &v }, "Area of the outrigger float or track on it."),
))

var reactionForm = record("reaction", "a reaction", func(x *Reaction, n *keyed.Node) { x.Name, x.Pos = n.Name, n.Key }, keys(
	at("force", ratingForm, func(x *Reaction, v quantity.Rating) { x.Force = &v }, "What it presses down with, machine and load together."),
	at("share", shareForm, func(x *Reaction, v quantity.Ratio) { x.Share = &v }, "Share of machine and load that it takes, in place of force. The mass of the machine is needed with it.").like("75 %"),
	at("from", textForm, func(x *Reaction, v string) { x.From = v }, "Who says so: the machine's data, a calculation.").like("data of the machine"),
	at("mat", matForm, func(x *Reaction, v Mat) { x.Mat = &v }, "What lies under this one."),
))

var channelForm = form[Channel]{
	read: func(r *reader, n *keyed.Node) (Channel, bool) {
		kind, ok := channelKindForm.read(r, n)
		return Channel{Name: n.Name, Kind: kind, Pos: n.Key}, ok
	},
	schema: channelKindForm.in,
}

var channelKindForm = choice("a kind of channel", option[string]{"hook height", "hook height"}, option[string]{"wind speed", "wind speed"},
	option[string]{"crane total", "crane total"}, option[string]{"tilt", "tilt"})
