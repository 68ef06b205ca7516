package torsion

import "math"

// A pendant is what hangs on the fibre, as far as gravity sees it.
type pendant struct {
	arm  float64 // b, m
	ball float64 // m, kg
	half float64 // half the length of the beam, m
	line float64 // mass of the beam per length, kg/m
}

func (b Balance) pendant() pendant {
	half := b.halfBeam()
	return pendant{arm: b.Arm, ball: b.SmallMass, half: half, line: b.BeamMass / (2 * half)}
}

// torque returns the torque on the pendant at angle theta from a point at (x,
// y), per G and mass of the point (kg/m), and its derivative with respect to
// theta.
//
// In the frame of the beam the point lies at u along and v across, and every
// pull turns the beam by its component across. Both parts are written so that
// nothing large cancels, however far the point is:
//
//	balls  m b v (1/D1³ - 1/D2³),  D1² = (u-b)² + v²,  D2² = (u+b)² + v²
//	beam   line v ∫ w dw / ((w-u)² + v²)^(3/2), w from -half to half
//
// A pair of points at (x, y) and (-x, -y) gives twice the value.
func (p pendant) torque(x, y, theta float64) (torque, slope float64) {
	sin, cos := math.Sincos(theta)
	u := x*cos + y*sin
	v := y*cos - x*sin

	b := p.arm
	d1 := math.Hypot(u-b, v)
	d2 := math.Hypot(u+b, v)
	i1, i2 := 1/d1, 1/d2
	// 1/D1³ - 1/D2³ with D2² - D1² = 4 b u.
	cubes := 4 * b * u / (d1 + d2) * (i1*i1 + i1*i2 + i2*i2) * i1 * i2
	torque = p.ball * b * v * cubes
	// du/dtheta = v, dv/dtheta = -u, d(D1²) = -2 b v, d(D2²) = +2 b v.
	slope = p.ball * b * (3*b*v*v*(i1*i1*i1*i1*i1+i2*i2*i2*i2*i2) - u*cubes)

	if p.line > 0 {
		t, s := lineTorque(u, v, p.half)
		torque += p.line * t
		slope += p.line * s
	}
	return torque, slope
}

// lineTorque returns v ∫ w dw / ((w-u)² + v²)^(3/2) over w from -h to h, and
// its derivative as the line turns (du = v, dv = -u).
//
// With the ends at a = h-u and c = -h-u along and s, q their distances from the
// point, the integral is v K with
//
//	K = [u w' / (v² D) - 1/D] between the ends
//
// which is a difference of nearly equal terms for a point far off or nearly in
// line. Multiplied out it becomes a single product, in one form for a point
// beside the line and in another for one beyond its end.
func lineTorque(u, v, h float64) (torque, slope float64) {
	a, c := h-u, -h-u
	s, q := math.Hypot(a, v), math.Hypot(c, v)
	if v == 0 && math.Abs(u) <= h {
		return math.NaN(), math.NaN() // the point is on the line
	}
	sum := s + q
	ds, dq := -v*h/s, v*h/q // derivatives of the distances of the ends
	if math.Abs(u) <= h {
		n := a*q - c*s
		dn := -v*q + a*dq + v*s - c*ds
		front := 4 * h * h / (v * s * q * sum * sum)
		torque = front * u * n
		slope = front * (v*n + u*dn - u*n*(-u/v+ds/s+dq/q+2*(ds+dq)/sum))
		return torque, slope
	}
	m := a*q + c*s
	dm := -v*q + a*dq - v*s + c*ds
	front := -16 * h * h * h / (s * q * sum * sum * m)
	torque = front * v * u * u
	slope = front * (-u*u*u + 2*u*v*v - v*u*u*(ds/s+dq/q+2*(ds+dq)/sum+dm/m))
	return torque, slope
}
