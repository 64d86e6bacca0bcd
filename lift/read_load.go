package lift

import (
	"io"
	"math"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"plumbhook/fault"
	"plumbhook/keyed"
	"plumbhook/quantity"
	"plumbhook/takeoff"
)

// maxMeshBytes bounds the meshes of one file together.
const maxMeshBytes = 64 << 20

// weighed reads a part and works out its line of the weight sheet.
func weighed(item form[takeoff.Item]) form[takeoff.Part] {
	return form[takeoff.Part]{
		name: item.name, schema: item.schema,
		read: func(r *reader, n *keyed.Node) (p takeoff.Part, ok bool) {
			it, ok := item.read(r, n)
			if !ok || !r.clean(n) {
				return p, false
			}
			p, err := it.Work()
			if err != nil {
				r.adopt(n, err)
			}
			return p, err == nil
		},
	}
}

// numbered is the name of a list entry that has none of its own: part 3.
func numbered(what string, n *keyed.Node) string {
	_, i, _ := strings.Cut(n.Path, "[")
	return what + " " + strings.TrimSuffix(i, "]")
}

// Shapes take their kinds and sizes from package takeoff.
var (
	shapeKinds, shapeSizes = takeoff.Kinds()

	shapeKindForm = func() form[string] {
		var all []option[string]
		for _, k := range shapeKinds {
			all = append(all, option[string]{k, k})
		}
		return choice("a kind of shape", all...)
	}()

	sizeKeys = func() (all []key[takeoff.Shape]) {
		for _, kind := range shapeKinds {
			for _, size := range slices.Concat(shapeSizes[kind]...) {
				if !slices.Contains(names(all), size) {
					all = append(all, at(size, lengthForm, func(s *takeoff.Shape, v quantity.Measured[quantity.Length]) { s.Sizes[size] = v },
						"The "+size+" of the shape."))
				}
			}
		}
		return all
	}()

	sizeSets = func() (all []object) {
		for _, kind := range shapeKinds {
			for _, set := range shapeSizes[kind] {
				all = append(all, object{
					"properties": object{"kind": object{"const": kind}},
					"required":   append([]string{"kind"}, set...),
				})
			}
		}
		return all
	}()

	materialForm = words("", "a material", object{"type": "string", "examples": func() (all []string) {
		for _, m := range takeoff.Materials() {
			if m.Density > 0 {
				all = append(all, m.Key)
			}
		}
		return all
	}()}, func(s string) (string, error) {
		_, err := takeoff.LookUp(s)
		return s, err
	})
)

// readMesh fetches the triangles of a mesh.
func readMesh(r *reader, n *keyed.Node, m *takeoff.Mesh) {
	if m.File == "" {
		return
	}
	at := n.Get("file")
	if r.files == nil {
		r.fault(at, fault.Path, "no folder to look for %s in", keyed.Quote(m.File)).Fix("give a volume or a shape, or read the lift from a folder")
		return
	}
	f, err := r.files.Open(m.File)
	if err == nil {
		defer f.Close()
		m.Data, err = io.ReadAll(io.LimitReader(f, r.meshLeft+1))
	}
	r.meshLeft -= int64(len(m.Data))
	switch {
	case err != nil:
		r.fault(at, fault.Path, "%s cannot be read", keyed.Quote(m.File)).Because(err).Fix("check the name; it counts from the folder of the lift file")
	case r.meshLeft < 0:
		m.Data, r.meshLeft = nil, 0
		r.fault(at, fault.TooLarge, "the meshes of one lift have more than %d MiB", maxMeshBytes>>20).Fix("simplify the mesh, or give a volume")
	}
}

// checkLoad makes the weight sheet of the load: of its parts, or of its mass
// and centre of gravity. What is said twice must agree.
func checkLoad(r *reader, n *keyed.Node, l *loadFile) {
	if from := n.Get("size_from"); from != nil && n.Get("size") == nil {
		r.fault(from, fault.Missing, "a box that begins somewhere needs its size").Fix("give size, the extents along x, y and z")
	}
	l.Sheet.Contingency = l.contingency
	list := n.Get("parts")
	if list == nil || list.Kind == keyed.Empty || len(list.Items) == 0 {
		l.weighDirectly(r, n)
		return
	}
	l.Sheet.Parts = l.parts
	for i := range l.parts {
		if l.parts[i].From == "" {
			l.parts[i].From = l.from
		}
	}
	if len(l.parts) < len(list.Items) {
		return // with the faults of the parts that are missing
	}
	sum, err := l.Sheet.Sum(l.Wet)
	if err != nil {
		r.adopt(list, err)
		return
	}
	if l.mass != nil {
		listed := sum.Mass // without the contingency, which is not listed
		grown := quantity.Mass(1 + l.contingency)
		listed.Value, listed.Low, listed.High = sum.Listed, sum.Mass.Low/grown, sum.Mass.High/grown
		if !agree(*l.mass, listed, rounding(*l.mass)) {
			unit := quantity.For[quantity.Mass](unitsOf(l.mass.Text))
			r.fault(n.Get("mass"), fault.Disagree, "the mass is given as %s, and the parts add up to %s", l.mass.Text, listed.Format(unit)).
				Fix("correct the one that is wrong, or state with ± how far it may be off")
		}
	}
	if l.cg != nil {
		given, found := [3]quantity.Measured[quantity.Length]{l.cg.X, l.cg.Y, l.cg.Z}, [3]quantity.Measured[quantity.Length]{sum.CG.X, sum.CG.Y, sum.CG.Z}
		for i := range given {
			if !agree(given[i], found[i], 5*millimetre) {
				unit := quantity.For[quantity.Length](unitsOf(l.cg.Text))
				r.fault(n.Get("cg"), fault.Disagree, "the centre of gravity is given with %c at %s, and that of the parts is at %s",
					"xyz"[i], given[i].Format(unit), found[i].Format(unit)).
					Fix("correct the one that is wrong, or state with ± how far it may be off")
			}
		}
	}
}

// weighDirectly makes a sheet of one line of the mass and centre of gravity.
func (l *loadFile) weighDirectly(r *reader, n *keyed.Node) {
	mass, cg := n.Get("mass"), n.Get("cg")
	switch {
	case mass == nil && cg == nil:
		r.fault(n, fault.Missing, "nothing says what the load weighs").Fix("give parts, or mass and cg")
	case mass == nil:
		r.fault(n, fault.Missing, "the load has a cg and no mass").Fix("give mass: 4100 kg ± 2 %%, or parts")
	case cg == nil:
		r.fault(n, fault.Missing, "the load has a mass and no cg").Fix("give cg: x y z unit, in the axes of the lugs, or parts")
	case l.mass != nil && l.cg != nil:
		p, err := takeoff.Item{Name: l.Name, From: l.from, Mass: l.mass, At: l.cg, Pos: mass.Pos}.Work()
		if err == nil {
			l.Sheet.Parts, l.Sheet.Direct = []takeoff.Part{p}, true
			_, err = l.Sheet.Sum(l.Wet)
		}
		if err != nil {
			r.adopt(n, err)
		}
	}
}

// millimetre is how closely lengths on site are told apart. A centre of
// gravity is written to the nearest centimetre.
const millimetre = 1e-3

// agree says whether a figure as given and the same as found from others can
// both be true: within their spreads, or within least.
func agree[Q quantity.Quantity](given, found quantity.Measured[Q], least float64) bool {
	room := max(least, math.Hypot(halfWidth(given), halfWidth(found)))
	return math.Abs(float64(given.Value-found.Value)) <= room*(1+1e-9)
}

func halfWidth[Q quantity.Quantity](m quantity.Measured[Q]) float64 { return float64(m.High-m.Low) / 2 }

var (
	decimal  = regexp.MustCompile(`^[^\d]*(\d+)(\.\d+)?\s*[^\d\s./±+-]`)
	american = regexp.MustCompile(`\d\s*(lbs?|short ton|ft|in|'|")`)
)

// rounding is half of the last digit that m was written with, 50 kg for 4.4 t,
// but no more than one per cent: 4 t is not 4.4 t. It is zero where the digits
// cannot be told, as with fractions.
func rounding[Q quantity.Quantity](m quantity.Measured[Q]) float64 {
	f := decimal.FindStringSubmatch(m.Text)
	if f == nil {
		return 0
	}
	v, err := strconv.ParseFloat(f[1]+f[2], 64)
	if err != nil || v == 0 {
		return 0
	}
	digits := max(0, len(f[2])-1)
	return min(0.5*math.Pow10(-digits)/v, 0.01) * math.Abs(float64(m.Value))
}

// unitsOf is the family of units that a text was written in.
func unitsOf(text string) quantity.System {
	if american.MatchString(text) {
		return quantity.US
	}
	return quantity.Metric
}

// checkLimit refuses a limit that stops before it warns.
func checkLimit(r *reader, n *keyed.Node, l *Limit) {
	switch {
	case l.Warn != nil && l.Stop != nil && l.Warn.Force > l.Stop.Force:
		r.fault(n, fault.Disagree, "the warning at %s comes after the stop at %s", l.Warn.Text, l.Stop.Text).Fix("warn below the stop")
	case n.Get("warn") == nil && n.Get("stop") == nil:
		r.fault(n, fault.Missing, "a limit without a figure").Fix("give warn, stop or both")
	}
}

// requiring lists the keys of which a record needs one at least.
func requiring(names ...string) (all []object) {
	for _, n := range names {
		all = append(all, object{"required": []string{n}})
	}
	return all
}
