// Package rehearse plays a lift file as a virtual lift (package sim): a drawn
// truth within what the plan leaves open, a drawn crane, operator, place,
// cells and radio, and one fault of the list of causes when asked for. It
// writes the readings as a Readings CSV and knows the truth behind them.
//
// Everything is drawn from one seed: the same file, seed, cause and options
// give the same run.
//
// # What is drawn
//
// Figures with "±" are normal with that 95 % half-width, ranges and cell
// accuracies are uniform between their hard limits: what the plan says, no more
// and no less. All else (speeds, noise, elasticity of the crane, slope of the
// ground, radio) comes from ranges chosen here, common practice without a
// source.
//
// # What it leaves out
//
// Only the lift as first rigged is played, its steps are not. A file with
// supports or ties is refused. Catenary legs are played as straight, ropes over points
// without friction. See package sim for the rest.
package rehearse
