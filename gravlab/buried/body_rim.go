package buried

import "math"

// Integrals around the rim of a disc or cylinder of radius a, for a station at
// the distance s from the axis. With p² = s² + a² - 2 a s cos(phi) the squared
// distance to the rim as seen along the axis, and S = sqrt(p² + z²):
//
//	disc potential   = ∮ a (a - s cos) / (S + |z|)
//	its d/ds         = -a² s ∮ sin² / S³
//	cylinder dU/ds   = -a² s ∮ sin²/p² [z/S]      between the two ends
//
// (per G sigma or G rho; z from the station to the disc along the axis.) For
// s > 2a the first is taken as a² ∮ [1/(S+|z|) - s² sin²/(S (S+|z|)²)], which
// does not lose digits when s is much larger than a.

// rimPoint is one point of the rule: its weight (both halves of the rim), the
// cosine's complement 1 - cos, sine squared and p².
type rimPoint struct{ w, versine, sin2, p2 float64 }

// overRim calls f for the points of a rule on the rim. p² is smallest at phi =
// 0; there the points are crowded by phi = d sinh(t), where d is the distance
// of the integrand's nearest singularity.
func overRim(a, s, z float64, f func(rimPoint)) {
	gap := (s - a) * (s - a)
	d := 0.0
	if s > 0 {
		// p² + z² = 0 at cosh(Im phi) = 1 + (gap + z²)/(2 a s); p² = 0, which
		// is nearer, at 1 + gap/(2 a s).
		d = math.Acosh(1 + gap/(2*a*s))
		if gap == 0 {
			d = math.Acosh(1 + z*z/(2*a*s))
		}
	}
	if s == 0 || d > math.Pi {
		d = math.Pi
	}
	d = max(d, 1e-9)
	end := math.Asinh(math.Pi / d)
	panels := int(math.Ceil(end / 1.5))
	step := end / float64(panels)
	for i := range panels {
		for k, t := range gauss16.at {
			u := (float64(i) + t) * step
			phi := d * math.Sinh(u)
			sin := math.Sin(phi)
			half := math.Sin(phi / 2)
			f(rimPoint{
				w:       2 * step * gauss16.weight[k] * d * math.Cosh(u),
				versine: 2 * half * half,
				sin2:    sin * sin,
				p2:      gap + 4*a*s*half*half,
			})
		}
	}
}

// discAround works out a thin disc at the distance z along the axis.
func discAround(a, s, z float64) around {
	var r around
	az := math.Abs(z)
	overRim(a, s, z, func(p rimPoint) {
		S := math.Sqrt(p.p2 + z*z)
		if S == 0 {
			return
		}
		flux := p.w * a * (a - s + s*p.versine)
		i3 := 1 / (S * S * S)
		if s > 2*a {
			t := 1 / (S + az)
			q := s * s * p.sin2
			r.u += p.w * a * a * t * (1 - q*t/S)
			r.uz += p.w * a * a * t / S * (1 - q*t*(az+2*S)/(S*S))
		} else {
			r.u += flux / (S + az)
			r.uz += flux / (S * (S + az))
		}
		r.uzz += flux * i3
		r.over -= p.w * a * a * p.sin2 * i3
		r.usz -= p.w * a * a * s * p.sin2 * 3 * z * i3 / (S * S)
	})
	if z < 0 {
		r.uz = -r.uz
	}
	r.us = s * r.over
	r.uss = -r.uzz - r.over
	return r
}

// cylinderAround works out a cylinder of radius a and half length half, for a
// station at the distance s from the axis and z along it from the centre.
//
// Every difference between the two ends is written with the differences of
// their distances along the axis, which are known exactly: 2 half where the
// station lies beyond an end, 2 z where it lies between them.
func cylinderAround(a, s, z, half float64) around {
	var r around
	z1, z2 := -half-z, half-z
	n1, n2 := math.Abs(z1), math.Abs(z2)
	between := math.Abs(z) < half
	// dn = n2 - n1 and sn = n1 + n2; side is the sign of z1 and z2 beyond an end.
	dn, sn, side := 2*half, 2*math.Abs(z), 1.0
	switch {
	case between:
		dn, sn = -2*z, 2*half
	case z > 0:
		dn, side = -dn, -1
	}
	overRim(a, s, min(n1, n2), func(p rimPoint) {
		S1, S2 := math.Sqrt(p.p2+z1*z1), math.Sqrt(p.p2+z2*z2)
		if S1 == 0 || S2 == 0 || p.p2 == 0 {
			return
		}
		b1, b2 := 1/S1, 1/S2
		t1, t2 := 1/(S1+n1), 1/(S2+n2)
		db := -dn * sn / (S1 + S2) * b1 * b2        // b2 - b1
		dt := -dn * (1 + sn/(S1+S2)) * t1 * t2      // t2 - t1
		lean := dn * sn * b1 * b2 / (n2*S1 + n1*S2) // (n2/S2 - n1/S1)/p²

		// logs is asinh(z/p) between the ends, turns z/(S+|z|), across z/S over p².
		var logs, turns, across float64
		if between {
			logs = math.Log((n1 + S1) * (n2 + S2) / p.p2)
			turns = n2*t2 + n1*t1
			across = (n2*b2 + n1*b1) / p.p2
		} else {
			if dn > 0 {
				logs = math.Log1p(dn * (1 + sn/(S1+S2)) * t1)
			} else {
				logs = math.Log1p(-dn * (1 + sn/(S1+S2)) * t2)
			}
			// side times a difference of distances is positive in what follows.
			turns = side * p.p2 * dn * sn / (n2*S1 + n1*S2) * t1 * t2
			across = side * lean
		}
		H := (logs + turns) / 2
		area := p.w * a * a
		if s > 2*a {
			// By parts: a factor a - s cos would lose the digits of a/s.
			q := s * s * p.sin2
			var tails, k float64 // z t²/S, and the same for U_zz
			kernel := func(n, b, t float64) float64 { return t * b * (1 - q*t*b*b*(n+2/b)) }
			if between {
				tails = n2*t2*t2*b2 + n1*t1*t1*b1
				k = kernel(n2, b2, t2) + kernel(n1, b1, t1)
			} else {
				tails = side * (n2*b2*dt*(t1+t2) + t1*t1*p.p2*lean)
				// t b - q (n b³ + 2 b²) t², by differences of its factors.
				three := b1*b1 + b1*b2 + b2*b2
				dk := dt*b2 + t1*db
				dk -= q * ((n2*b2*b2*b2+2*b2*b2)*dt*(t1+t2) + t1*t1*(dn*b2*b2*b2+n1*db*three+2*db*(b1+b2)))
				k = side * dk
			}
			r.u += area * (H - q/2*(across+tails))
			dv := dt*(t1+t2)*b2 + t1*t1*db // t²/S
			r.uz -= area * (dt - q*dv)
			r.uzz -= area * k
		} else {
			flux := p.w * a * (a - s + s*p.versine)
			r.u += flux * H
			r.uz -= flux * dt
			if between {
				r.uzz -= flux * (t2*b2 + t1*b1)
			} else {
				r.uzz -= flux * side * (dt*b2 + t1*db)
			}
		}
		r.over -= area * p.sin2 * across
		r.usz += area * p.sin2 * s * db * (b1*b1 + b1*b2 + b2*b2)
	})
	r.us = s * r.over
	r.uss = -r.uzz - r.over
	if between && s < a {
		r.uss -= 4 * math.Pi
	}
	return r
}

// farAround is the expansion of a cylinder (or, for half = 0, of a disc) of a
// given volume (or area) past three half-diagonals:
//
//	U = V sum over even n of m_n P_n(cos theta) / R^(n+1)
//
// with m_n the mean of r^n P_n over the body. The terms are scaled by h^n.
func farAround(a, half, s, z, volume float64) around {
	h := math.Hypot(a, half)
	m := cylinderMoments(a/h, half/h)
	R := math.Hypot(s, z)
	c, sn := z/R, s/R // cos and sin of the angle from the axis
	q := h / R
	// Solid harmonics of the outside: f_n = P_n(c)/R^(n+1) and its derivatives:
	// d/dz f_n = -(n+1) P_(n+1)/R^(n+2), and in s by P'.
	var r around
	pn1, pn := 1.0, c // P_(n), P_(n+1)
	dn1, dn := 0.0, 1.0
	power := 1.0
	p0, p1, d0, d1 := pn1, pn, dn1, dn
	next := func(n int) { // from P_n, P_n+1 to P_n+1, P_n+2
		k := float64(n)
		p2 := ((2*k+3)*c*p1 - (k+1)*p0) / (k + 2)
		d2 := d0 + (2*k+3)*p1
		p0, p1, d0, d1 = p1, p2, d1, d2
	}
	for i, mn := range m {
		n := 2 * i
		k := float64(n)
		// P_n = p0, P_n+1 = p1, P_n+2 from the recurrence.
		p2 := ((2*k+3)*c*p1 - (k+1)*p0) / (k + 2)
		d2 := d0 + (2*k+3)*p1
		t := mn * power
		r.u += t * p0
		r.uz -= t * (k + 1) * p1
		r.uzz += t * (k + 1) * (k + 2) * p2
		// With f = P_n(z/R) R^-(n+1): df/ds = -s R^-(n+3) P'_(n+1), because
		// (n+1) P_n + c P'_n = P'_(n+1).
		r.over -= t * d1
		// d/dz of -s P'_(n+1) R^-(n+3) is +s (n+1) P'_(n+2) R^-(n+4).
		r.usz += t * (k + 1) * d2
		if i > 0 && power < 1e-18 {
			break
		}
		power *= q * q
		next(n)
		next(n + 1)
	}
	r.u *= volume / R
	r.uz *= volume / (R * R)
	v3 := volume / (R * R * R)
	r.uzz *= v3
	r.over *= v3
	r.usz *= v3 * sn
	r.us = r.over * s
	r.uss = -r.uzz - r.over
	return r
}

// cylinderMoments returns the means of r^n P_n over a cylinder of radius a and
// half length b, a² + b² = 1, for n = 0, 2, ... 36:
//
//	m_n = sum over k of (-1)^k n! / (k!² 4^k (n-2k)!) b^(n-2k)/(n-2k+1) a^(2k)/(k+1)
func cylinderMoments(a, b float64) [19]float64 {
	var m, pa, pb [19]float64
	pa[0], pb[0] = 1, 1
	for i := 1; i < len(m); i++ {
		pa[i], pb[i] = pa[i-1]*a*a, pb[i-1]*b*b
	}
	for i := range m {
		n := 2 * i
		// coefficient c_k = (-1)^k n!/(k!² 4^k (n-2k)!), from c_0 = 1.
		c := 1.0
		for k := 0; k <= i; k++ {
			if k > 0 {
				c *= -float64((n-2*k+2)*(n-2*k+1)) / float64(4*k*k)
			}
			m[i] += c * pb[i-k] * pa[k] / float64((n-2*k+1)*(k+1))
		}
	}
	return m
}
