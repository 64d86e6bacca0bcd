// Package gear is what stands between hook and load: its kinds, their generic
// ratings and sizes, how one piece fits the next, and the facts that derating
// rests on.
//
// Look turns what a lift file or a gear list says about a piece into a Piece.
// The tag goes before everything. Without one, a catalogue figure is a
// regulation's or a standard's table value, never a maker's, and carries the
// table it comes from. A size that stands in several tables with other ratings
// is refused with the choices, never chosen; a figure from memory rates
// nothing.
//
// Fit, Running and Bend judge two pieces by their sizes. The functions on
// Share and the lists of rules are the derating facts, each with its source
// and with whether that source was read; it is for a rulebook to apply them.
//
// The tables lie in data, one row each with its standing.
package gear
