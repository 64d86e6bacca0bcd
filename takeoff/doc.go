// Package takeoff adds up what a load weighs and where its centre of gravity
// can be, from parts: a mass off a nameplate, a volume of a material, a
// simple shape, a closed mesh.
//
// An Item is a part as the user states it; Item.Work makes it a Part, one
// line of the weight sheet; Sheet.Sum adds the lines up. Every part carries
// who claimed it, how its mass was found and how far it may be off. Masses in
// kg, places in m in the load's own axes; second moments are not kept: a hung
// load needs only weight and centre.
//
// # What is not known exactly
//
// A figure written "v ± a" is normal with a as 95 % half-width, one written
// "a..b" lies anywhere between hard limits. Each figure of a part (a size, a
// density, a place) is moved to its two limits with the others at their
// nominal; half of what mass and centre then move by is its effect. Effects
// are kept figure by figure, so that a length that makes a bar heavier and at
// once moves its centre is counted as the one cause it is.
//
// Two answers come out of the effects, and both are reported:
//
//   - The 95 % band: the root of the sum of squares of the effects, a range
//     taking part with 1.96/√3 of its half-width, which is its standard
//     deviation in the measure of the others (first order; JCGM 100:2008,
//     5.1.2 and 4.3.7). A band never reaches past the worst case.
//   - The worst case: every figure at a stated limit at once, all in the
//     worse direction. It is a hard limit where all figures are ranges; a
//     normal figure can pass its 95 % limit.
//
// Figures of different parts are taken as independent, save densities: one
// written alike in several parts is one figure, off the same way in all of
// them. The pieces of one part are all off the same way too.
package takeoff
