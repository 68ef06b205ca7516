package fitcases

import (
	"math"

	"gonum.org/v1/gonum/mat"

	"gravity.example/gravlab/fit"
	"gravity.example/testdata"
)

// A StRD is one certified set of NIST's Statistical Reference Datasets for
// nonlinear regression.
type StRD struct {
	Name       string
	Difficulty string
	Starts     [2][]float64
	Value, SD  []string // as certified
	RSS, RSD   string
	Source     string
	Curve      fit.Curve // without Start
}

// StRDs returns the sets in testdata, with analytic Jacobians.
func StRDs() []StRD {
	var sets []StRD
	for _, name := range []string{"misra1a", "danwood", "gauss1", "enso", "eckerle4"} {
		s := StRD{Name: name, Curve: curves[name]}
		for _, row := range testdata.Table("nist_strd_" + name + ".csv") {
			switch row["record"] {
			case "source":
				s.Source = row["note"]
			case "difficulty":
				s.Difficulty = row["note"]
			case "param":
				s.Starts[0] = append(s.Starts[0], row.Float("x_or_start1"))
				s.Starts[1] = append(s.Starts[1], row.Float("y_or_start2"))
				s.Value = append(s.Value, row["certified_value"])
				s.SD = append(s.SD, row["certified_sd"])
				s.Curve.Names = append(s.Curve.Names, row["note"])
			case "rss":
				s.RSS = row["certified_value"]
			case "rsd":
				s.RSD = row["certified_value"]
			case "data":
				s.Curve.X = append(s.Curve.X, row.Float("x_or_start1"))
				s.Curve.Y = append(s.Curve.Y, row.Float("y_or_start2"))
			}
		}
		sets = append(sets, s)
	}
	return sets
}

// The models, as each file states them.
var curves = map[string]fit.Curve{
	// y = b1 (1 - exp(-b2 x))
	"misra1a": {
		Model: func(p, x, dst []float64) {
			for i, x := range x {
				dst[i] = p[0] * (1 - math.Exp(-p[1]*x))
			}
		},
		Jacobian: func(p, x []float64, dst *mat.Dense) {
			for i, x := range x {
				e := math.Exp(-p[1] * x)
				dst.SetRow(i, []float64{1 - e, p[0] * x * e})
			}
		},
	},
	// y = b1 x^b2
	"danwood": {
		Model: func(p, x, dst []float64) {
			for i, x := range x {
				dst[i] = p[0] * math.Pow(x, p[1])
			}
		},
		Jacobian: func(p, x []float64, dst *mat.Dense) {
			for i, x := range x {
				v := math.Pow(x, p[1])
				dst.SetRow(i, []float64{v, p[0] * v * math.Log(x)})
			}
		},
	},
	// y = b1 exp(-b2 x) + b3 exp(-((x-b4)/b5)²) + b6 exp(-((x-b7)/b8)²)
	"gauss1": {
		Model: func(p, x, dst []float64) {
			for i, x := range x {
				u, v := (x-p[3])/p[4], (x-p[6])/p[7]
				dst[i] = p[0]*math.Exp(-p[1]*x) + p[2]*math.Exp(-u*u) + p[5]*math.Exp(-v*v)
			}
		},
		Jacobian: func(p, x []float64, dst *mat.Dense) {
			for i, x := range x {
				u, v := (x-p[3])/p[4], (x-p[6])/p[7]
				e, f, g := math.Exp(-p[1]*x), math.Exp(-u*u), math.Exp(-v*v)
				dst.SetRow(i, []float64{e, -p[0] * x * e,
					f, p[2] * f * 2 * u / p[4], p[2] * f * 2 * u * u / p[4],
					g, p[5] * g * 2 * v / p[7], p[5] * g * 2 * v * v / p[7]})
			}
		},
	},
	//	y = b1 + b2 cos(2πx/12) + b3 sin(2πx/12) + b5 cos(2πx/b4) + b6 sin(2πx/b4) + b8 cos(2πx/b7) + b9 sin(2πx/b7)
	"enso": {
		Model: func(p, x, dst []float64) {
			for i, x := range x {
				a := 2 * math.Pi * x
				dst[i] = p[0] + p[1]*math.Cos(a/12) + p[2]*math.Sin(a/12) + p[4]*math.Cos(a/p[3]) + p[5]*math.Sin(a/p[3]) +
					p[7]*math.Cos(a/p[6]) + p[8]*math.Sin(a/p[6])
			}
		},
		Jacobian: func(p, x []float64, dst *mat.Dense) {
			for i, x := range x {
				a := 2 * math.Pi * x
				s1, c1 := math.Sincos(a / 12)
				s2, c2 := math.Sincos(a / p[3])
				s3, c3 := math.Sincos(a / p[6])
				dst.SetRow(i, []float64{1, c1, s1,
					a / (p[3] * p[3]) * (p[4]*s2 - p[5]*c2), c2, s2,
					a / (p[6] * p[6]) * (p[7]*s3 - p[8]*c3), c3, s3})
			}
		},
	},
	// y = (b1/b2) exp(-((x-b3)/b2)²/2)
	"eckerle4": {
		Model: func(p, x, dst []float64) {
			for i, x := range x {
				u := (x - p[2]) / p[1]
				dst[i] = p[0] / p[1] * math.Exp(-0.5*u*u)
			}
		},
		Jacobian: func(p, x []float64, dst *mat.Dense) {
			for i, x := range x {
				u := (x - p[2]) / p[1]
				e := math.Exp(-0.5*u*u) / p[1]
				dst.SetRow(i, []float64{e, p[0] * e * (u*u - 1) / p[1], p[0] * e * u / p[1]})
			}
		},
	},
}
