package fitcases

import (
	"math"

	"gravity.example/testdata"
)

// swing returns the readings of a row of fit-damped, without noise.
func swing(m testdata.ModelCheck) (t, y, sigma []float64) {
	for k := range int(m.Float("N")) {
		at := float64(k) * m.Float("dt")
		t = append(t, at)
		y = append(y, m.Float("A")*math.Exp(-at/m.Float("tau"))*math.Cos(2*math.Pi*at/m.Float("T")+m.Float("phase"))+m.Float("offset"))
		sigma = append(sigma, m.Float("sigma"))
	}
	return t, y, sigma
}
