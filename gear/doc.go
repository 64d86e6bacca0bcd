// Package gear is what stands between hook and load: its kinds, their
// generic ratings and sizes, the serial-numbered item, and how one piece fits
// the next.
//
// A catalogue figure is a regulation's or a standard's table value, never a
// maker's: the tag on the gear governs, and every figure here carries the
// table it comes from. A size that stands in several tables with other
// ratings is refused with the choices, never chosen.
package gear
