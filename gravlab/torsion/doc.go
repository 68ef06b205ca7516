// Package torsion models the torsion balance that measures the constant of
// gravitation G and so weighs the Earth.
//
// # The apparatus
//
// A beam with a small sphere at either end hangs on a thin fibre and can turn
// about it. Two large spheres stand beside the small ones and pull them; the
// fibre twists until its torque is as large as theirs. When the large spheres
// are moved to the mirror-image places, the beam swings to the other side, and
// settles there.
//
// Most people need [Balance] and four of its methods: Deflection (where the
// beam comes to rest), Period, Motion (how it swings after the switch) and
// Record (a recording of that, with noise, from a seed). Package reduction
// beside this one fits recordings and states the uncertainty of G; GFromSwing
// makes G of a fitted swing.
//
// # Symbols
//
// All in SI units: metre, kilogram, second, radian.
//
//	b      arm: fibre axis to the centre of a small sphere
//	d      centre of a small to centre of a large sphere at theta = 0,
//	       perpendicular to the beam: not the gap between the surfaces
//	m, M   mass of one small, one large sphere
//	r, R   their radii
//	kappa  torsion constant, torque per angle, N m/rad
//	I      moment of inertia about the fibre, kg m²
//	c      damping torque per angular speed, N m s/rad
//	theta  turn of the beam from the middle. The light of an optical lever turns
//	       by 2 theta
//	theta_e  the beam's rest, from the middle: switching sides moves it by 2 theta_e
//	T      full period, there and back, 2 pi sqrt(I/kappa) without damping
//	tau    decay time of the amplitude, 2 I/c
//	Q      omega0 I/c
//
// The beam lies along x, the small spheres at (b, 0) and (-b, 0). In position
// [Plus] the large ones are at (b, d) and (-b, -d) and pull the beam to
// positive theta.
//
// # What is counted, and what is assumed
//
// The torque counts all four pairs of spheres and the pull on the beam at any
// angle, in closed form. Spheres are uniform; the beam is a thin uniform rod in
// line with their centres; all centres lie in one horizontal plane; mirror and
// clamp have inertia but are not pulled. The fibre's torque is in proportion to
// the angle, the damping to the angular speed. The pendant turns about the
// fibre only: swinging and bouncing are left out, and so are draughts,
// magnetism and the slow creep of a fibre, which in real balances are often the
// largest errors.
//
// Sources: I. Newton, Principia (1687), book I, propositions LXXI and LXXIV
// (spheres attract as points); H. Cavendish, Phil. Trans. R. Soc. 88, 469
// (1798); A. H. Cook and Y. T. Chen, The Measurement of Gravitation (from
// memory). Formulas are derived from Newton's law where no source is named.
//
// # What is promised
//
// Every argument that cannot be used gives an error that names it; no number
// leads to a panic, nor to a NaN without an error. Values agree between
// machines to a relative 1e-9, not bit for bit.
//
// # Cautions
//
// Lead: gloves, wash hands, no food. Heavy spheres are lifted with both hands,
// low, and never above feet or over the fibre. A fibre under tension can whip
// when it breaks: goggles. A laser for the lever is of class 2 or below; its
// beam, also the reflected one, which sweeps as the mirror turns, stays below
// eye height and ends on a stop at either side.
package torsion
