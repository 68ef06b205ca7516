package survey

import (
	"errors"
	"fmt"
	"math"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/stat"
	"gonum.org/v1/gonum/stat/distuv"

	"gravity.example/gravlab"
	"gravity.example/gravlab/fit"
	"gravity.example/gravlab/internal/arg"
)

// A TopographyDensity is the density with which a profile correlates least
// with its heights.
type TopographyDensity struct {
	Density, U float64 // kg/m³; U is standard
	// DoF is the number of degrees of freedom behind U, two less than that of the
	// stations. An interval of 95 % is Density ± t U with t of Student's
	// distribution for DoF: 3.18 with 3, 2.23 with 10. With 1.96 it would hold the
	// density in 86 and 92 % of cases.
	DoF    int
	Slope  float64 // of the free-air values by height, 1/s²
	Offset float64 // m/s²
	// Remark tells of a density that no rock has, by more than that interval; "" else.
	Remark string
}

// DensityOfTopography finds the density (kg/m³) for which the Bouguer values
// along a profile do not correlate with height: the slope of the free-air values
// (m/s², terrain corrected) by height (m), over 2πG (L. L. Nettleton, Geophysics
// 4, 176–183, 1939; from memory). U comes from the scatter about the line.
//
// It fails, without a sign of it, where geology follows the hills. A density that
// no rock has (heights in feet make about 6000) is told in Remark.
func DensityOfTopography(heights, freeAir []float64) (TopographyDensity, error) {
	const fn = "survey.DensityOfTopography"
	if err := checkProfile(fn, heights, freeAir); err != nil {
		return TopographyDensity{}, err
	}
	a := mat.NewDense(len(heights), 2, nil)
	mean := stat.Mean(heights, nil)
	for i, h := range heights {
		a.Set(i, 0, h-mean)
		a.Set(i, 1, 1)
	}
	r, err := fit.Linear(a, freeAir, nil)
	if err != nil {
		return TopographyDensity{}, fmt.Errorf("%s: %w", fn, err)
	}
	if len(r.Undetermined) > 0 {
		return TopographyDensity{}, arg.Bad(fn, "heights", heights[0], "heights that differ")
	}
	plate := 2 * math.Pi * gravlab.G
	d := TopographyDensity{Density: r.P[0] / plate, U: r.U[0] / plate, DoF: r.DoF, Slope: r.P[0], Offset: r.P[1] - r.P[0]*mean}
	reach := d.U * distuv.StudentsT{Sigma: 1, Nu: float64(d.DoF)}.Quantile(0.975)
	switch {
	case d.Density-reach > heaviestRock:
		d.Remark = fmt.Sprintf("free-air values follow the heights as over rock of %.0f kg/m³, where rock has at most %.0f; are the heights in feet, is one of them wrong, or does the geology follow the hill?", d.Density, heaviestRock)
	case d.Density+reach < lightestRock:
		d.Remark = fmt.Sprintf("free-air values follow the heights as over ground of %.0f kg/m³, where even ice has %.0f; is one of the heights wrong, or does the geology follow the hill?", d.Density, lightestRock)
	}
	return d, nil
}

// Correlation is the correlation coefficient between heights (m) and the
// Bouguer values that a density (kg/m³) makes of free-air values (m/s²): the
// curve to draw over density. It is NaN where one of them does not vary.
func Correlation(heights, freeAir []float64, density float64) (float64, error) {
	const fn = "survey.Correlation"
	if err := errors.Join(checkProfile(fn, heights, freeAir), checkRock(fn, "density", density)); err != nil {
		return 0, err
	}
	bouguer := make([]float64, len(heights))
	for i := range bouguer {
		bouguer[i] = freeAir[i] - 2*math.Pi*gravlab.G*density*heights[i]
	}
	return stat.Correlation(heights, bouguer, nil), nil
}

func checkProfile(fn string, heights, freeAir []float64) error {
	err := errors.Join(arg.AtLeast(fn, "heights", len(heights), 3), arg.SameLength(fn, "heights", len(heights), "freeAir", len(freeAir)))
	if err != nil {
		return err
	}
	for i := range heights {
		err = errors.Join(err,
			arg.Between(fn, fmt.Sprintf("heights[%d]", i), heights[i], -1e5, 1e5, "height in m"),
			arg.Between(fn, fmt.Sprintf("freeAir[%d]", i), freeAir[i], -1, 1, "anomaly in m/s² (mGal are too large by 1e5)"))
	}
	return err
}
