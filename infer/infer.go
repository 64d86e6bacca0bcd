// Package infer is the mechanical model run backwards: from what the cells
// read to what the load weighs, the line its centre of gravity lies on, and
// which explanation fits when plan and readings disagree.
//
// # The model of a reading
//
// A cell shows, in N,
//
//	y = (F(θ) - Z(θ)) (1 + g) + z + b + d(t) + noise
//
// F is the force on it in the rig hung with the parameters θ: the load's mass
// and centre of gravity, lengths, stiffness and own weights of the rigging. Z
// is what it was zeroed with. g and z, its gain and zero, are the same in all
// windows of a lift; b is what the model of a real lift leaves out; d(t) is a
// zero that creeps, a random walk. θ has the plan's stated uncertainties as its
// prior, g the cell's accuracy, a uniform hard limit that goes into the fit by
// its standard deviation and into the band of the weight as the limit it is.
//
// # The comparison
//
// An explanation widens the prior of one parameter, takes a leg out, changes
// zero, order or scale of the channels. Linearised about a pose the readings
// of all windows are jointly normal,
//
//	y ~ N(m, Σ),  Σ = R + C P Cᵀ
//
// and the evidence of an explanation is that density at what was read, its own
// parameters integrated out with the rest (a Gaussian integral, which is
// Laplace's method where the pose is not linear). The bank is gone through
// linearised about the plan; what survives is hung again at its best parameters
// and linearised there, until it stays (iterated Gauss-Newton).
//
// What time shows, Signs, comes in as likelihoods of having been seen, which
// stand as a table in signs.go.
package infer
