// Package crane holds a crane against its capacity chart: what the chart
// allows at a radius and boom length, what hangs on the machine line by line,
// what share each crane of a joint lift takes, what the ground feels under a
// mat, and what wind the load allows.
//
// A chart is read downward only. Between two charted radii or boom lengths the
// least of the cells around counts, outside the chart there is no capacity,
// and nothing is interpolated or continued.
//
// A chart holds for one set-up of one machine and rests on a part of the load
// that would tip it (66 2/3, 75 or 85 % by country and time, says a trade
// journal on lifts with several cranes), so a percentage of it is not a
// percentage of tipping.
//
// Rules that authorities state are data, each with its source and with how
// well that source is known here (Standing). They do not agree with each
// other: a plan says which one it follows.
//
// All numbers are SI. Nothing here solves a rig: the load on a hook comes in
// from the hung model.
package crane
