// Package validation holds published problems and closed forms, each with its
// source, beside what this program answers. Its tests fail where the two
// disagree by more than the published rounding; `make validation` prints them
// as one table.
//
// The answers come out of the program alone: a rig is built from what the
// problem gives and hung, parts are weighed by the take-off. Formulas stand
// here only where the other side of the comparison is a closed form.
//
// Answers known to be misprinted stay in, marked in the data. For them the
// test asks for the opposite, that ours is not the printed figure, and for
// the answer that follows from the problem's own givens.
package validation
