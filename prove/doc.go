// Package prove judges proof tests and pulls: a force put on an item on purpose,
// above its rating or up to what a rule asks, and held.
//
// A test is written down first (Read): the item, the rule, the load cell and every
// piece of gear that the force runs through, how long it is held, and within which
// band. Before works out the load that the rule asks for, whether cell and gear
// bear it, whether anything would come above its maker's proof load, how much the
// stretched line stores, and within which readings the force counts as reached.
// What does not hold there is not started.
//
// Run is the test itself, a state machine over readings and time that has no
// clock: waiting, raising, holding, held, lowering, released. The time in the band
// counts from reading to reading. It begins anew when the force leaves the band and
// when readings are missing; a moment nobody measured is never a moment held.
// Pulls and guys go by a running mean instead of a band.
//
// Between the reading and the limit stands the measurement's expanded uncertainty
// U (95 %): guarded acceptance with a guard band of U (ISO/IEC 17025:2017, 7.8.6;
// JCGM 106:2012, 8.3), unless a contract says simple acceptance. Which of them, and
// at what risk, is part of every answer.
//
// Forces are in N, lengths in m, times in s, temperatures in K. A rating in mass
// units is force at standard gravity.
package prove
