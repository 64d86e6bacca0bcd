// Package draw puts a hung lift on one sheet of paper: elevation, plan and a
// pictorial view, each to scale and in the pose the load hangs in, with what
// every leg carries.
//
// Sheet composes a Page, a short list of marks (polygons and lines, arcs,
// text) in millimetres of paper; SVG, PDF and PNG each write that one list,
// so the three can not tell different stories. The same lift gives the same
// bytes: no clock, no map order, no font of the machine.
//
// Colour carries nothing alone. What a leg's state is shows in its line (see
// rope), in words beside it, and in the table.
package draw
