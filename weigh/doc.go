// Package weigh makes weight and centre of gravity, with their uncertainty, out
// of what scales or load cells read under or over an object.
//
// The object has axes of its own, z up as it normally stands. In one placement
// it bears on, or hangs from, named points; a cell at each of them reads a
// vertical force. Forces and moments in the plane of the floor balance:
//
//	Σ F_i = W        Σ F_i (R p_i)_xy = W (R c)_xy
//
// with p_i the points and c the centre of gravity in the object's axes, m, and
// R the turn that tilts the object. Both are linear in W and q = W c, so that any
// number of placements, level and tilted, with cells swapped or a cell over
// the whole, is one problem of least squares (y = H β, β = (W, q)). A level
// placement says nothing of c_z; a tilted one does, by the sine of its angle.
// Under one hook the lines to it add two balances, Σ F_i n_xy = 0, and the
// centre of gravity lies plumb under the hook whatever the cells read.
//
// What is not known exactly is a list of independent inputs: what is known of
// each cell, what cells calibrated on one machine have in common, the place of
// each point, the tilt, how runs repeat, gravity, air. Each moves y and H by a
// small vector; these vectors make the covariance that weighs the least
// squares and, carried through it, the budget of each result (JCGM 100:2008).
//
// Forces are in N, lengths in m, masses in kg, angles in rad. Force is what
// presses on the cell in air; mass is force/(g (1 - ρ_air/ρ_object)).
package weigh
