package buried

import "math"

// The corner sums of a block. A station at the origin sees the corners at
// (x_i, y_j, z_k). Two building blocks serve everything:
//
//   - edgeLog: the integral of 1/r along an edge, ln((b + rb)/(a + ra));
//   - faceAngle: the solid angle of a face, the sum of four arctangents.

// edgeRatio returns the numerator and denominator of the ratio whose logarithm
// is the integral of 1/r along an edge from a to b at the squared distance q
// from the edge's line. Written by the signs of a and b so that no two nearly
// equal numbers are subtracted.
func edgeRatio(a, b, ra, rb, q float64) (num, den float64) {
	switch {
	case a >= 0:
		return b + rb, a + ra
	case b <= 0:
		return ra - a, rb - b
	}
	return (b + rb) * (ra - a), q
}

// gzCorners is the downward gravity of the block per G rho.
//
//	gz = |z2| A(z2) - |z1| A(z1) - sum over x edges and y edges
func gzCorners(x1, x2, y1, y2, z1, z2 float64) float64 {
	// gz is even in x and in y: bring the block to the positive side.
	if x2 <= 0 {
		x1, x2 = -x2, -x1
	}
	if y2 <= 0 {
		y1, y2 = -y2, -y1
	}
	qx1, qx2 := x1*x1, x2*x2
	qy1, qy2 := y1*y1, y2*y2
	qz1, qz2 := z1*z1, z2*z2
	q11, q12, q21, q22 := qx1+qy1, qx1+qy2, qx2+qy1, qx2+qy2
	r111, r112 := math.Sqrt(q11+qz1), math.Sqrt(q11+qz2)
	r121, r122 := math.Sqrt(q12+qz1), math.Sqrt(q12+qz2)
	r211, r212 := math.Sqrt(q21+qz1), math.Sqrt(q21+qz2)
	r221, r222 := math.Sqrt(q22+qz1), math.Sqrt(q22+qz2)

	var lx1, lx2, ly1, ly2 float64
	if y1 >= 0 {
		lx1 = (y2 + r122) * (y1 + r111) / ((y1 + r112) * (y2 + r121))
		lx2 = (y2 + r222) * (y1 + r211) / ((y1 + r212) * (y2 + r221))
	} else {
		lx1 = (y2 + r122) * (r112 - y1) * (qx1 + qz1) / ((y2 + r121) * (r111 - y1) * (qx1 + qz2))
		lx2 = (y2 + r222) * (r212 - y1) * (qx2 + qz1) / ((y2 + r221) * (r211 - y1) * (qx2 + qz2))
	}
	if x1 >= 0 {
		ly1 = (x2 + r212) * (x1 + r111) / ((x1 + r112) * (x2 + r211))
		ly2 = (x2 + r222) * (x1 + r121) / ((x1 + r122) * (x2 + r221))
	} else {
		ly1 = (x2 + r212) * (r112 - x1) * (qy1 + qz1) / ((x2 + r211) * (r111 - x1) * (qy1 + qz2))
		ly2 = (x2 + r222) * (r122 - x1) * (qy2 + qz1) / ((x2 + r221) * (r121 - x1) * (qy2 + qz2))
	}
	a1, a2 := math.Abs(z1), math.Abs(z2)
	n11, n12, n21, n22 := x1*y1, x1*y2, x2*y1, x2*y2
	sum := a2 * solidAngle(a2, n11, n12, n21, n22, r112, r122, r212, r222, x1, x2, y1, y2)
	sum -= a1 * solidAngle(a1, n11, n12, n21, n22, r111, r121, r211, r221, x1, x2, y1, y2)
	// Where a coordinate is zero, or its square is, the logarithm may be
	// infinite; its limit times the coordinate is zero.
	const tiny = 1e-100
	if math.Abs(x1) > tiny {
		sum += x1 * math.Log(lx1)
	}
	if math.Abs(x2) > tiny {
		sum -= x2 * math.Log(lx2)
	}
	if math.Abs(y1) > tiny {
		sum += y1 * math.Log(ly1)
	}
	if math.Abs(y2) > tiny {
		sum -= y2 * math.Log(ly2)
	}
	return sum
}

// solidAngle is the solid angle of the rectangle x1..x2, y1..y2 at the distance
// z >= 0, from the products n_ij = x_i y_j and the corner distances r_ij: the
// sum of (-1)^(i+j) arctan(n_ij/(z r_ij)), as the angle of the product of
// z r_ij ± i n_ij. The sum lies between 0 and 2 pi, and passes pi only for a
// station over the rectangle, so that the angle of the product settles it.
func solidAngle(z, n11, n12, n21, n22, r11, r12, r21, r22, x1, x2, y1, y2 float64) float64 {
	d11, d12, d21, d22 := z*r11, z*r12, z*r21, z*r22
	re1, im1 := d22*d11-n22*n11, d22*n11+n22*d11
	re2, im2 := d12*d21-n12*n21, -(d12*n21 + n12*d21)
	angle := math.Atan2(re1*im2+im1*re2, re1*re2-im1*im2)
	if x1 < 0 && x2 > 0 && y1 < 0 && y2 > 0 && angle < 1e-9 && z <= max(x2, -x1, y2, -y1) {
		angle += 2 * math.Pi
	}
	return angle
}

// face returns the solid angle of the rectangle x1..x2, y1..y2 at z, with the
// sign of z.
func face(x1, x2, y1, y2, z float64) float64 {
	q := z * z
	r := func(x, y float64) float64 { return math.Sqrt(x*x + y*y + q) }
	a := solidAngle(math.Abs(z), x1*y1, x1*y2, x2*y1, x2*y2, r(x1, y1), r(x1, y2), r(x2, y1), r(x2, y2), x1, x2, y1, y2)
	switch {
	case z > 0:
		return a
	case z < 0:
		return -a
	}
	return 0
}

// edgeLog is the integral of 1/r along an edge from a to b whose line passes
// the station at the offsets p and q. It is +Inf on the edge itself.
func edgeLog(a, b, p, q float64) float64 {
	s := p*p + q*q
	num, den := edgeRatio(a, b, math.Sqrt(a*a+s), math.Sqrt(b*b+s), s)
	return math.Log(num / den)
}

// tensor is the gradient tensor of the block per G rho. The diagonal entries
// are solid angles, the others logarithms of one product each.
func (b *block) tensor() Tensor {
	mixed := func(a1, a2, b1, b2, c1, c2 float64) float64 {
		// d²U/da db: the integral of 1/r along the four edges that run along c.
		p11, q11 := edgeProduct(c1, c2, a1, b1)
		p12, q12 := edgeProduct(c1, c2, a1, b2)
		p21, q21 := edgeProduct(c1, c2, a2, b1)
		p22, q22 := edgeProduct(c1, c2, a2, b2)
		return math.Log(p11 * p22 * q12 * q21 / (q11 * q22 * p12 * p21))
	}
	return Tensor{
		XX: face(b.y1, b.y2, b.z1, b.z2, b.x1) - face(b.y1, b.y2, b.z1, b.z2, b.x2),
		YY: face(b.z1, b.z2, b.x1, b.x2, b.y1) - face(b.z1, b.z2, b.x1, b.x2, b.y2),
		ZZ: face(b.x1, b.x2, b.y1, b.y2, b.z1) - face(b.x1, b.x2, b.y1, b.y2, b.z2),
		XY: mixed(b.x1, b.x2, b.y1, b.y2, b.z1, b.z2),
		XZ: mixed(b.x1, b.x2, b.z1, b.z2, b.y1, b.y2),
		YZ: mixed(b.y1, b.y2, b.z1, b.z2, b.x1, b.x2),
	}
}

func edgeProduct(a, b, p, q float64) (num, den float64) {
	s := p*p + q*q
	return edgeRatio(a, b, math.Sqrt(a*a+s), math.Sqrt(b*b+s), s)
}

// potential is the potential of the block per G rho.
func (b *block) potential() float64 {
	sum := 0.0
	edges := func(a1, a2, b1, b2, c1, c2 float64) {
		term := func(a, b float64) float64 {
			if math.Abs(a) < 1e-100 || math.Abs(b) < 1e-100 {
				return 0 // the limit of a b ln(...)
			}
			return a * b * edgeLog(c1, c2, a, b)
		}
		sum += term(a2, b2) - term(a1, b2) - term(a2, b1) + term(a1, b1)
	}
	edges(b.x1, b.x2, b.y1, b.y2, b.z1, b.z2)
	edges(b.y1, b.y2, b.z1, b.z2, b.x1, b.x2)
	edges(b.z1, b.z2, b.x1, b.x2, b.y1, b.y2)
	sum -= (b.x2*b.x2*face(b.y1, b.y2, b.z1, b.z2, b.x2) - b.x1*b.x1*face(b.y1, b.y2, b.z1, b.z2, b.x1)) / 2
	sum -= (b.y2*b.y2*face(b.z1, b.z2, b.x1, b.x2, b.y2) - b.y1*b.y1*face(b.z1, b.z2, b.x1, b.x2, b.y1)) / 2
	sum -= (b.z2*b.z2*face(b.x1, b.x2, b.y1, b.y2, b.z2) - b.z1*b.z1*face(b.x1, b.x2, b.y1, b.y2, b.z1)) / 2
	return sum
}
