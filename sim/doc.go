// Package sim is a virtual lift: a load on elastic legs under a hoist, driven
// by a simulated operator and read by simulated load cells over a simulated
// radio. It makes the readings that the watch is tried on.
//
// It is the second opinion, so it shares nothing with what it tries: its own
// mechanics, contact, cells and radio, and no import of the packages that
// plan, watch or infer. What both have in common is physics alone.
//
// # Mechanics
//
// Bodies are rigid; nodes and hooks are point masses; legs, hoist ropes and
// ties are tension-only springs with a damper. Half of a leg's mass is lumped
// at either end. Ground is a plane, level or not, on which points of a body
// stand: it pushes back like a stiff spring with a damper and holds sideways
// by Coulomb friction. Every quantity is SI (m, kg, N, s, rad), z points up.
//
// A step of length h solves the implicit equations at h θ and goes on in a
// straight line to h (the one-leg θ method). With θ = 1/2 that is the implicit
// midpoint rule: second order, no energy gained or lost by a linear system. The
// default of 0.52 takes the ringing out of what is too stiff for the step,
// and gives a bounce of f Hz a damping ratio of
// (θ - 1/2) 2πf h: 0.0015 at 3 Hz and 4 ms. See [System.Step].
//
// # What it leaves out
//
//   - Ropes have no mass along their length: no waves, no catenary. The weight
//     of a limp leg is shared between its ends as an idle line's would be, and
//     that is all that is left of its sag.
//   - A rope that runs over points (Via) slides there without friction.
//   - Bodies and legs pass through each other. Only the points named as
//     contacts touch the ground, and nothing else.
//   - A boom bends up and down only (the stiffness of its hook); it does not
//     sway. Slewing is a straight travel.
//   - Legs do not creep, settle or twist; knuckles of chain do not jump.
//   - Air pushes with drag alone; there is no lift, vortex or galloping, and
//     rigging catches no wind.
package sim
