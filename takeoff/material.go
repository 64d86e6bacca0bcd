package takeoff

import (
	_ "embed"
	"encoding/csv"
	"fmt"
	"strconv"
	"strings"

	"plumbhook/fault"
	"plumbhook/quantity"
)

// Unit weights with their sources, one row each: the value in the source's
// own unit, and whether the source was read or the value is from memory.
//
//go:embed unit-weights.csv
var unitWeights string

// Material is a row of the unit-weight table.
type Material struct {
	Name    string // as the source calls it; several rows may bear one name
	Key     string // name, value and unit, as in "Steel 7850 kg/m3"; no two rows share it
	Group   string // metal, masonry, timber ...
	Density quantity.Density
	Source  string
	Read    bool // the source was read; else the value is from memory
	Remark  string
}

// String is the density with all that an auditor must know about it.
func (m Material) String() string {
	standing := "source read"
	if !m.Read {
		standing = "value from memory, unread"
	}
	s := fmt.Sprintf("%s kg/m³ (%s; %s; %s", num(float64(m.Density)), m.Key, m.Source, standing)
	if m.Remark != "" {
		s += "; note: " + m.Remark
	}
	return s + ")"
}

// The pound is 0.45359237 kg and the foot 0.3048 m exactly (1959
// international yard and pound agreement).
const poundPerCubicFoot = 0.45359237 / (0.3048 * 0.3048 * 0.3048)

// Materials is the unit-weight table. Density is zero for the few rows that
// are not densities (weight per area, a factor), which LookUp refuses.
func Materials() []Material {
	rows, err := csv.NewReader(strings.NewReader(unitWeights)).ReadAll()
	if err != nil {
		panic(err) // the table is part of the program and its test reads it
	}
	var table []Material
	for _, r := range rows[1:] {
		m := Material{
			Name: r[0], Key: r[0] + " " + r[2] + " " + r[3], Group: r[1],
			Source: r[5], Read: strings.HasPrefix(r[6], "READ"), Remark: r[7],
		}
		v, err := strconv.ParseFloat(r[2], 64)
		if err != nil {
			panic(err)
		}
		switch r[3] {
		case "kg/m3":
			m.Density = quantity.Density(v)
		case "lb/ft3":
			m.Density = quantity.Density(v * poundPerCubicFoot)
		}
		table = append(table, m)
	}
	return table
}

// LookUp finds a material by its key ("Steel 7850 kg/m3"), or by its name
// alone where that leaves no choice. A name that several rows bear (Steel),
// or that begins the name of another (Concrete, of Concrete, cinder), is
// ambiguous: the fault lists the keys with their values. Capitals do not
// matter.
func LookUp(name string) (Material, error) {
	asked := strings.Join(strings.Fields(strings.ReplaceAll(name, "³", "3")), " ")
	var bear, near []Material
	for _, m := range Materials() {
		switch n := strings.ToLower(m.Name); {
		case strings.EqualFold(m.Key, asked):
			return m.dense()
		case strings.EqualFold(m.Name, asked), strings.HasPrefix(n, strings.ToLower(asked)+","):
			bear = append(bear, m)
		default:
			for _, word := range strings.Fields(strings.ToLower(asked)) {
				if len(word) > 3 && strings.Contains(n, strings.Trim(word, ",")) {
					near = append(near, m)
					break
				}
			}
		}
	}
	switch {
	case len(bear) == 1 && strings.EqualFold(bear[0].Name, asked):
		return bear[0].dense()
	case len(bear) > 0:
		return Material{}, fault.New(fault.Ambiguous, "material %q is short of %s", name, keys(bear)).
			Fix("write the one you mean in full, with its value; or give density")
	}
	f := fault.New(fault.Reference, "%q is not in the unit-weight table", name)
	if len(near) > 0 {
		return Material{}, f.Fix("near it are %s; or give density", keys(near))
	}
	return Material{}, f.Fix("give density")
}

// dense refuses a row that is not a density.
func (m Material) dense() (Material, error) {
	if m.Density == 0 {
		return Material{}, fault.New(fault.BadUnit, "%s is not a density", m.Key).Fix("give density, or the mass itself")
	}
	return m, nil
}

func keys(rows []Material) string {
	var all []string
	for _, m := range rows {
		standing := ""
		if !m.Read {
			standing = " (from memory)"
		}
		all = append(all, strconv.Quote(m.Key)+standing)
	}
	return strings.Join(all, ", ")
}
