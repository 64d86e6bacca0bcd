// Package quantity holds measured values: their dimension, their unit as
// people write it, and how far they may be off.
//
// Inside the program every value is a plain SI float64 with a named type
// (Mass in kg, Force in N, Length in m ...), so that a mass cannot be added
// to a force by mistake. Unit text exists only at the edges: Parse reads it,
// Format writes it.
//
// A number without a unit is refused, and so is a unit that means several
// things (a bare ton, an ounce, a gallon): the fault names the choices. What
// the reader wrote as a plus-minus or as a range stays with the value as a
// Measured.
package quantity
