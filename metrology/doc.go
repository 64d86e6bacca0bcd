// Package metrology turns what a load cell sends into a force with its
// uncertainty, and says what a zero, a tare and a certificate are worth.
//
// The way of one reading:
//
//	Certificate --Calibrate--> Calibration: Curve, errors by step, class
//	signal --Chain.Correct--> force in N, inside or outside the calibrated range
//	force --Calibration.Budget or Accuracy.Budget--> Budget --Expand--> U at 95 %
//	several Budgets --Covariance--> matrix, with what the cells have in common
//
// Forces are in N. A signal is in the unit of its certificate (mV/V, counts)
// and is a plain float64 beside a Unit text. Relative figures are shares, not
// per cent. Time comes in as an argument.
//
// # Uncertainty
//
// A Budget follows the Guide to the expression of uncertainty in measurement
// (JCGM 100:2008): components are standard uncertainties with sensitivities
// and degrees of freedom; independent ones add as squares (5.1.2), those of
// one common cause add as they are, with their signs (5.2.2, note 1); the
// coverage factor is Student's t for the effective degrees of freedom (G.4.1).
// Only first-order terms are taken, which is exact for the sums of forces this
// package is for. A budget in which one rectangular component leads gets the
// same factor, and so a band somewhat wider than the stated coverage asks.
//
// # Where the rules come from
//
// The classes of ISO 376 and part of the limits of ASTM E74 stand here from
// memory, and the functions that apply them say which. Figures without a source are
// marked "common practice, no source".
package metrology
