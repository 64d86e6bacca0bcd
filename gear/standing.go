package gear

import (
	"embed"
	"encoding/csv"
	"fmt"
	"math"
	"strconv"
	"strings"
	"sync"

	"plumbhook/quantity"
)

// Generic must stand beside every figure that comes from a table here.
const Generic = "regulation table values; the tag on the gear and its maker's data govern"

// Standing says how far a figure was verified: it begins with READ when it was
// seen in a copy of its source, and with MEMORY when it was not. A MEMORY
// figure may widen a range or be told to a person; it never is a rating.
type Standing string

// Read says that the source was read.
func (s Standing) Read() bool { return strings.HasPrefix(string(s), "READ") }

// Cited is where a figure comes from and how far that was verified.
type Cited struct {
	Source   string
	Standing Standing
}

// Cite names the source, and says so where it was not read.
func (c Cited) Cite() string {
	if c.Standing.Read() {
		return c.Source
	}
	return c.Source + " (value from memory)"
}

//go:embed data/*.csv
var files embed.FS

// record is a row of one of our tables, by column.
type record map[string]string

// table reads an embedded table once, when it is first asked for. A mistake in
// it is ours and the tests read every table, so it panics.
func table[T any](name string, read func(record) T) func() []T {
	return sync.OnceValue(func() []T {
		f, err := files.Open("data/" + name + ".csv")
		if err != nil {
			panic(err)
		}
		all, err := csv.NewReader(f).ReadAll()
		if err != nil {
			panic(err)
		}
		var out []T
		for _, cells := range all[1:] {
			r := record{}
			for i, column := range all[0] {
				r[column] = cells[i]
			}
			out = append(out, read(r))
		}
		return out
	})
}

func (r record) cited() Cited { return Cited{r["source"], Standing(r["standing"])} }

// number gives a cell as a number, and or where it is blank.
func (r record) number(column string, or float64) float64 {
	if r[column] == "" {
		return or
	}
	v, err := strconv.ParseFloat(r[column], 64)
	if err != nil {
		panic(fmt.Sprintf("column %s: %v", column, err))
	}
	return v
}

func (r record) degrees(column string, or float64) quantity.Angle {
	return quantity.Angle(r.number(column, or) * math.Pi / 180)
}

// parsed gives a cell with its unit, and nil where it is blank.
func parsed[Q quantity.Quantity](cell, unit string) *quantity.Measured[Q] {
	if cell == "" {
		return nil
	}
	m, err := quantity.Parse[Q](strings.TrimSpace(cell + " " + unit))
	if err != nil {
		panic(err)
	}
	return &m
}

// inForce gives a cell that counts in a unit of rating, and nil where it is blank.
func inForce(cell, unit string) *quantity.Rating {
	if cell == "" {
		return nil
	}
	v, err := quantity.ParseRating(cell + " " + unit)
	if err != nil {
		panic(err)
	}
	return &v
}
