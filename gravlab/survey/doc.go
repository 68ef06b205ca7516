// Package survey turns a day of gravity readings into values of stations with
// honest uncertainties, and turns those into anomalies, terrain corrections and a
// report that states its basis.
//
// # From readings to a table
//
//	reduced, err := job.Reduce(readings)                 // scale, tide, level, height, air, water
//	day, err := survey.Adjust(reduced, ties, survey.Drift{Degree: 1})
//	anomaly, err := survey.Reduction{...}.At(g, lat, h, terrain)
//	report := survey.Report{...}                         // table, datum, cautions
//
// Raw readings are never changed: each correction stands beside its reading.
//
// # What is modelled
//
// A reading is counter units, turned into m/s² by the maker's table and the
// scale factor of a calibration line. Every correction is what is added to it.
// Drift is a polynomial or a spline in time, common to all readings of the day;
// a tare is a step at a stated moment and is no part of the drift. Where the
// readings cannot say on which side of it a station was read, [FindTare] and
// [Adjusted] name the station and by how much it may be wrong. One least
// squares adjustment holds all: stations, drift, tares and ties to bases of
// known value and epoch. Outliers are tested one by one with the normalised
// residual (W. Baarda, A Testing Procedure for Use in Geodetic Networks, 1968;
// from memory).
//
// # Assumptions
//
// Errors of readings are independent and normal. Stations do not change during
// the day. The solid-Earth tide has one gravimetric factor; ocean loading is
// not here. Terrain has one density.
//
// # Symbols
//
//	ε, χ     level and cross-level, rad
//	w        normalised residual, 1
//	γ        normal gravity, m/s²
//	ρ        density, kg/m³
//	h        height, m; its kind must be stated
//
// # Sources
//
// S. Hammer, Geophysics 4, 184–194 (1939), for the sectors; L. L. Nettleton,
// Geophysics 4, 176–183 (1939), for the density; W. J. Hinze et al., Geophysics
// 70, J25–J32 (2005), for the reductions (all from memory). What has no source
// beside it is common practice.
//
// # Cautions
//
// Gravity does not clear ground for digging, driving or building. [Cautions]
// holds the sentences; every report carries them.
package survey
