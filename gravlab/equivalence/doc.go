// Package equivalence models what falling can and cannot tell: what an
// accelerometer reads at rest, in a lift, in free fall and on a turntable; how
// large a box must be before the tide inside it gives gravity away; and how
// tests of the universality of free fall find, or bound, a difference between
// materials.
//
// # The functions that most people need
//
//	f := equivalence.SpecificForce(a, g)           // an accelerometer, a − g
//	r := equivalence.MeterReading(f)               // a gravity meter, −f along z
//	d, err := equivalence.EarthDrive(earth.GRS80, lat, 0)
//	limit, err := equivalence.Limit(eta, u, 0.95)
//
// # What is modelled
//
// An accelerometer measures the specific force f = a − g (vectors): the push of
// its support for each kilogram. It reads 9.8 m/s² upward on a table, and
// nothing in free fall. Gravity and acceleration look alike in it at one place
// and one moment; they differ over a box of length L by 2GM L/r³, which shows
// once it exceeds the noise of the sensor over the time of the experiment.
//
// A test of universality compares two materials. Only the difference of their
// Eötvös ratio η = 2(a₁−a₂)/(a₁+a₂) is seen, and in a torsion balance only the
// part of the attraction that is perpendicular to the plumb line drives it:
// ω²N cos φ sin φ on the rotating ellipsoid, with the geodetic latitude. It is
// zero at the equator and the poles.
//
// # Assumptions
//
// Earth and Sun are spheres unless an ellipsoid is an argument. Clocks are
// compared in a weak field to first order in 1/c². The noise of simulated
// records is white. A comparison of clocks at two heights tests the
// universality of clock rates together with conservation of energy; it does
// not test the field equations.
//
// # Symbols
//
//	f        specific force, m/s²
//	η        Eötvös ratio, 1
//	φ        geodetic latitude, rad
//	N        prime vertical radius of curvature, m
//	ω        angular velocity, rad/s
//	θ        angle of the balance, rad; κ its torsion constant, N m/rad
//	m, b     test mass (kg) and its distance from the axis (m)
//
// # Sources
//
// R. v. Eötvös, D. Pekár, E. Fekete, Ann. Phys. 68, 11 (1922); R. H. Dicke and
// co-workers, Ann. Phys. (N.Y.) 26, 442 (1964); S. Schlamminger et al., Phys.
// Rev. Lett. 100, 041101 (2008); R. V. Pound, G. A. Rebka, Phys. Rev. Lett. 4,
// 337 (1960); P. Touboul et al., Phys. Rev. Lett. 129, 121102 (2022). Formulas
// of mechanics without a name beside them are derived in their comment.
package equivalence
