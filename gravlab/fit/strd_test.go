package fit

import (
	"math"
	"testing"

	"gravity.example/testdata"
)

func TestScratch(t *testing.T) {
	models := map[string]func(p, x, dst []float64){
		"misra1a": func(p, x, dst []float64) {
			for i := range x {
				dst[i] = p[0] * (1 - math.Exp(-p[1]*x[i]))
			}
		},
		"danwood": func(p, x, dst []float64) {
			for i := range x {
				dst[i] = p[0] * math.Pow(x[i], p[1])
			}
		},
		"gauss1": func(p, x, dst []float64) {
			for i := range x {
				dst[i] = p[0]*math.Exp(-p[1]*x[i]) + p[2]*math.Exp(-math.Pow((x[i]-p[3])/p[4], 2)) + p[5]*math.Exp(-math.Pow((x[i]-p[6])/p[7], 2))
			}
		},
		"enso": func(p, x, dst []float64) {
			for i := range x {
				a := 2 * math.Pi * x[i]
				dst[i] = p[0] + p[1]*math.Cos(a/12) + p[2]*math.Sin(a/12) + p[4]*math.Cos(a/p[3]) + p[5]*math.Sin(a/p[3]) + p[7]*math.Cos(a/p[6]) + p[8]*math.Sin(a/p[6])
			}
		},
		"eckerle4": func(p, x, dst []float64) {
			for i := range x {
				dst[i] = p[0] / p[1] * math.Exp(-0.5*math.Pow((x[i]-p[2])/p[1], 2))
			}
		},
	}
	for name, model := range models {
		var c Curve
		var s1, s2, want, sd []float64
		for _, row := range testdata.Table("nist_strd_" + name + ".csv") {
			switch row["record"] {
			case "param":
				s1 = append(s1, row.Float("x_or_start1"))
				s2 = append(s2, row.Float("y_or_start2"))
				want = append(want, row.Float("certified_value"))
				sd = append(sd, row.Float("certified_sd"))
			case "data":
				c.X = append(c.X, row.Float("x_or_start1"))
				c.Y = append(c.Y, row.Float("y_or_start2"))
			}
		}
		c.Model = model
		for _, s := range [][]float64{s1, s2} {
			c.Start = s
			r, err := c.Fit()
			if r == nil {
				t.Errorf("%s: %v", name, err)
				continue
			}
			worst, worstU := 0.0, 0.0
			for j := range want {
				worst = math.Max(worst, math.Abs(r.P[j]/want[j]-1))
				worstU = math.Max(worstU, math.Abs(r.U[j]/sd[j]-1))
			}
			t.Logf("%s: %v iterations %d worst p %.2g u %.2g %v", name, err, r.Iterations, worst, worstU, r.Undetermined)
		}
	}
}
