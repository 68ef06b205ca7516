// Package buried models bodies under the ground: what they do to gravity, what a
// measured anomaly says about them, and what a survey could detect.
//
// # The calls most people need
//
// A body is a struct of SI numbers. Ask it for gz at a station, or GZAt for many:
//
//	drain := buried.InfiniteCylinder{Z: 4, Radius: 0.6, Contrast: -1900}
//	g, err := drain.GZ(r3.Vec{X: 1.5})
//
// Invert fits bodies and a regional to a measured Anomaly; Plan.Detect says what
// a set of stations could have seen.
//
// # What is modelled
//
// Newtonian attraction of bodies of uniform density contrast, in a flat
// coordinate system: x north, y east, z down, metres. gz is positive down. The
// contrast is the body's density less that of the host, signed: a void is
// negative. U > 0 for a positive mass and g = +grad U; the tensor is
// d(g_i)/d(x_j) at the station, trace zero outside mass and -4 pi G rho inside.
// (Conventions: package gravlab.) 1 µGal = 1e-8 m/s², 1 E = 1e-9 1/s².
//
// The ground is taken to be flat, uniform apart from the bodies, and at rest;
// gravity that is needed to find a base level, a tide or a drift belongs to
// packages earth and survey.
//
//	body                fields that shape it               gz straight above
//	Point               Mass                               G M/z²
//	Sphere              Centre, Radius, Contrast           4/3 pi G rho R³/z²
//	InfiniteCylinder    X, Z, Radius, Contrast             2 pi G rho R²/z (no ends, along y)
//	LinedTunnel         Inner, Outer, three densities      sum of two of those
//	Cylinder            Centre, Axis, Radius, Length       any direction, finite
//	Disc                Centre, Radius, SurfaceDensity     thin, horizontal
//	Slab                Top, Thickness                     2 pi G rho t
//	SemiInfiniteSlab    X, Top, Thickness                  half a slab (fault)
//	SemiInfiniteSheet   X, Z, SurfaceDensity               half a thin layer
//	Rod                 From, To, LineDensity              thin line
//	Prism               Min, Max                           right rectangular block
//	Polygon             Vertices                           section without ends along y
//	Sum, Rocks          several of any, many spheres
//	Rotated             a body at another heading
//
// # Where something is undefined
//
// On a point, a rod or a thin sheet, and for the tensor on a face, an edge, a
// corner, a wall or a rim, the methods return an error that names the station.
// U and g on the surface of a solid body are continuous and are returned. The
// comment of each body says the rest, with its accuracy near and far.
//
// # Reading, inverting, detecting
//
// Reading rules (DepthFromHalfWidth, DepthBound) take a shape for granted.
// ExcessMass needs none, but a base level and a large map. EquivalentLayer and
// NestedSpheres show what gravity cannot decide. Invert and GridInversion find
// sources and contrasts with their uncertainty; package mcmc draws from the
// posterior of a fit (Inversion.LogPosterior). Plan holds noise, heights, places,
// drift and correlated Clutter against a signal. FitLoads does the same for masses
// driven past fixed sensors.
//
// The files are in five groups, by name: body (forward models), read (rules and
// what gravity cannot decide), detect, invert, and vehicle.
//
// # What a result permits
//
// Nothing but more work. Gravity does not clear ground for digging, driving or
// building; a void that gravity does not show may still be there; a screening
// result on a vehicle is a reason for a trained officer to look, nothing more.
//
// # Sources
//
// Telford, Geldart, Sheriff, Applied Geophysics, 2nd ed. (1990); R. J. Blakely,
// Potential Theory in Gravity and Magnetic Applications (1995); Kellogg,
// Foundations of Potential Theory (1929): textbooks, from memory. Each body
// names the form it uses. The command gravlab verify
// compares them with published numbers and with values computed by other
// routes.
package buried
