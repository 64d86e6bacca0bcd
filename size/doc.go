// Package size chooses what a plan still leaves open: leg lengths that make
// the load hang as wanted, the longest legs that fit under the hook, the
// smallest gear that holds, the load cells to bring. With every choice it says
// why what it passed over would not do.
//
// # Lengths
//
// Lengths are found by hanging the lift again and again ([lift.Rig]); nothing
// about the rig is assumed. The unknowns x are the unloaded lengths of the legs
// that may change, each between its limits. Everything that is wrong with a
// trial is told as a length, in m, so that one least-squares sum can weigh it:
//
//   - tilt: R (d - d₀), with d the world's down in the load's axes, d₀ the one
//     wanted and R the load's reach, its lugs' greatest distance from the CG
//     in plan;
//   - slack: by how much each slack leg is too long;
//   - self-stress: c P t, see below;
//   - headroom: h - h₀, where one is asked for.
//
// Gauss-Newton steps with a trust region (Nocedal and Wright, Numerical
// Optimization, chapters 4 and 10) bring the sum of squares down. A thousandth
// of the change of each length is added to the sum: among lengths that do
// equally well, the nearest to the file's are given. Derivatives are
// differences toward shorter legs, so that a leg that is just slack is seen to
// bear once it is shortened.
//
// A plumb hook needs no condition of its own: under one hook every load swings
// until its CG hangs plumb below. What is chosen is the side of the load that
// is then down.
//
// # Equal shares
//
// With A the matrix whose column i is what a unit tension in leg i does to the
// force and moment balance of every body and node, statics asks A t = w and
// leaves t free in the null space of A: the self-stress, which four legs on one
// load have and three do not. The sharing closest to equal is the t of least Σt²,
// which has no part in the null space. P projects on that space, and a slack
// leg counts with the tension k (l - L) below zero that it would need to fit.
// c P t, c being the mean compliance of the legs, is by how much the lengths do
// not fit each other; at zero the elastic answer is the least-squares one.
//
// # Gear
//
// A place in the rigging demands the greatest of: P95 of its force × dynamic
// factor × (1 + margin); for four legs and more, the worst share that statics
// alone allows × dynamic factor; for a rope with friction, its tension when it is
// about to slip × dynamic factor. All states of the lift count. These are the
// forces that the check of a plan goes by.
package size
