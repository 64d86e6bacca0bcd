package modbus

import (
	"math"
	"math/bits"
	"slices"

	"plumbhook/internal/intake"
)

// Decode gives the value that registers hold, in the order in which they came.
// It takes r.Count() of them. Whole numbers of 64 bits are rounded to the
// nearest float64; a float that is not a number stays one.
//
// Modbus sends a register with its high byte first. How a longer value is laid
// over registers is up to the maker, hence r.Order: CDAB has the words turned
// round, BADC the bytes within each word, DCBA both.
func Decode(r intake.Register, words []uint16) float64 {
	var u uint64
	w := slices.Clone(words)
	if r.Order == "CDAB" || r.Order == "DCBA" {
		slices.Reverse(w)
	}
	for _, x := range w {
		if r.Order == "BADC" || r.Order == "DCBA" {
			x = bits.ReverseBytes16(x)
		}
		u = u<<16 | uint64(x)
	}
	switch r.Type {
	case "int16":
		return float64(int16(u))
	case "int32":
		return float64(int32(u))
	case "int64":
		return float64(int64(u))
	case "float32":
		return float64(math.Float32frombits(uint32(u)))
	case "float64":
		return math.Float64frombits(u)
	}
	return float64(u) // unsigned
}
