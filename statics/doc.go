// Package statics finds how rigid bodies hang on tension-only elastic
// cables. It knows mechanics and no word of any trade.
//
// # The model
//
// A Model holds rigid bodies (six degrees of freedom), particles (three),
// cables that can only pull, supports that can only push up, and the uniform
// gravity field along -z. A cable runs over two or more points, each fixed
// in the world, on a particle, or on a body; over inner points it slides
// without friction. With path length l, unloaded length L and compliance
// c = 1/k its tension is
//
//	T = max(0, (l - L) / c)
//
// and c = 0 makes it inextensible: l <= L, T >= 0, T (l - L) = 0. A support
// keeps a body point at or above a level in the same manner. A catenary
// cable hangs under its own weight between two points instead.
//
// # The equilibrium
//
// Equilibrium is a stationary point of the total potential energy
//
//	E(q) = Σ m g z + Σ ½ (l_i(q) - L_i)₊² / c_i
//
// over the poses q. A pose changes by x -> x + δx and R -> exp(ω) R, ω in
// world axes. With r the arm from the centre of gravity to a point and f the
// derivative of E with respect to that point's place,
//
//	∂E/∂ω   = Σ r × f
//	∂²E/∂ω² = Σ [ -X S X + ½ (f rᵀ + r fᵀ) - (f·r) 1 ],   X v = r × v
//
// where S is the 3 by 3 stiffness at the point: (1/c) u uᵀ + (T/l)(1 - u uᵀ)
// for a straight cable along u.
//
// Tensions are unknowns of their own. While a step is sought, each cable is
// made softer by a proximal compliance ρ and shifted by the tension estimate
// τ, T = (l - L + ρτ)₊/(c + ρ), which leaves the solution where it is (the
// method of multipliers, Rockafellar 1976) and spares the path the narrow
// curved valley of stiff cables. ρ shrinks as τ settles. The last steps are
// Newton steps on the pair (q, T), so that tensions are exact to rounding
// even where (l - L) is not.
//
// # Which equilibrium
//
// Hang first holds every orientation and lets the bodies only move: that
// energy is convex, so its minimum does not depend on the places given. Then
// it lets go of the orientations and follows the energy downhill in short
// steps. The pose it comes to rest in is the one reported. It counts as
// stable when nothing on the way was a balance on edge: no stationary point
// with a falling direction, and no body that ended more than a right angle
// away from its start.
//
// Motions that no force resists (spinning about the vertical through a
// single point of suspension, a rod about its own axis) are found from the
// topology and held by a gauge, not guessed from small eigenvalues.
package statics
