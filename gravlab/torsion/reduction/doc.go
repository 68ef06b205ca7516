// Package reduction makes results of the readings of a torsion balance: it fits
// the recording of a swing, and states the uncertainty budget of G.
//
// [Fit] turns a torsion.Recording into a [Swing]: period, decay time, the rests
// before and after the switch, drift, each with its uncertainty.
// torsion.Balance.GFromSwing makes G of it, and [Budget] says how uncertain
// that is and why.
//
// It stands apart from package torsion because it needs matrices, which a cell
// that only asks for a torque should not have to link.
//
// Symbols, units and sign rules are those of package torsion; uncertainties are
// standard (k = 1).
package reduction
