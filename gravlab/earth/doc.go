// Package earth models the gravity of the Earth as a surveyor and a geodesist
// need it: normal gravity on and above the ellipsoid, what height, rock, air,
// water and motion do to a reading, gravity in a shaft and inside a layered Earth,
// mountains that float, the tide of Moon and Sun, the lines in a record of it, and
// slow trends of mass with an honest uncertainty.
//
// # The functions that most people need
//
//	g, err := earth.GRS80.NormalGravity(lat, h)        // m/s²
//	c, err := site.TideCorrection(at, earth.GravimetricFactor, earth.ZeroTide)
//
// Angles are rad, latitudes geodetic, heights ellipsoidal, times UTC.
//
// # Assumptions
//
// Normal gravity is that of a level ellipsoid of revolution: closed formulas,
// no series, good to 1e-13 of their value. It belongs to ellipsoidal heights:
// the difference between measured and normal gravity is then a disturbance. A
// height above the geoid (orthometric) in the same formula gives an anomaly;
// 30 m of geoid are 9.3 mGal. Package survey asks which it is.
//
// The slab is flat and infinite, the cap a piece of a sphere's shell. The tide
// is that of a rigid Earth, to be multiplied by the gravimetric factor 1.16 for
// the yielding of the real one; ocean loading and polar motion are not here.
// Water and ice attract as thin layers; the sinking of the ground under them
// stands apart in [LoadedGround]. The [Interior] is round and does not rotate;
// mountains are light rock over a mantle that yields like a liquid, and the
// strength of the plate that carries them is left out. The trend of a record is
// fitted by ordinary least squares with the correlation of the residuals in the
// uncertainty; the rebound of the ground, leakage and steps are not.
//
// # Signs
//
// An effect is what a cause adds to g (down positive); a correction is minus
// the effect and is added to the reading. The tide is given as an upward pull,
// as tide tables do: its effect is minus factor × pull.
//
// # Symbols
//
//	a, f, e²   semi-major axis (m), flattening, first eccentricity squared
//	γ          normal gravity, m/s²
//	φ, ψ       geodetic, geocentric latitude, rad
//	h          height, m
//	N          prime vertical radius of curvature, m
//	ω          angular velocity of the Earth, rad/s
//	δ          gravimetric factor
//	σ          surface density, kg/m²
//	l          degree of a spherical harmonic
//
// # Sources
//
// W. A. Heiskanen, H. Moritz, Physical Geodesy (1967); H. Moritz, Geodetic
// Reference System 1980, J. Geodesy 74, 128 (2000); NIMA TR8350.2, 3rd ed.
// (2000); W. J. Hinze et al., Geophysics 70, J25 (2005); T. R. LaFehr,
// Geophysics 56, 1179 (1991); A. M. Dziewonski, D. L. Anderson, Phys. Earth
// Planet. Inter. 25, 297 (1981); J. Meeus, Astronomical Algorithms, 2nd ed.
// (1998); IERS Conventions 2010; P. Schureman, C&GS Spec. Publ. 98 (1940). Each
// formula names its own.
package earth
