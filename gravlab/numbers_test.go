package gravlab_test

import (
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"gravity.example/exercises"
	"gravity.example/gravlab"
	"gravity.example/gravlab/survey"
)

// TestNumbersInTexts works out the numbers that texts state as facts: they
// follow from gravlab.G and from what the labs print, so a text that was typed
// from a table with another G shows.
func TestNumbersInTexts(t *testing.T) {
	slab := fmt.Sprintf("%.4f", 2*math.Pi*gravlab.G*2670/gravlab.MilliGal)
	least, most := math.Inf(1), 0.0
	for _, s := range survey.AshgillFarm().Job.Stations {
		least, most = min(least, -s.Gradient), max(most, -s.Gradient)
	}
	tripod := fmt.Sprintf("A tripod of 25 cm makes %.0f µGal with the gradients that were measured at these marks, %.3f to %.3f mGal/m. The normal gradient, 0.3086 mGal/m, would give %.0f µGal",
		0.25*(least+most)/2/gravlab.MicroGal, least/gravlab.MilliGal, most/gravlab.MilliGal, 0.25*0.3086e-5/gravlab.MicroGal)
	for _, text := range []struct{ file, want string }{
		{"notebooks/12-a-day-in-the-field.ipynb", "a slab of 2670 kg/m³ gives back " + slab + " mGal"},
		{"notebooks/12-a-day-in-the-field.ipynb", tripod},
		{"gravlab/buried/body_long.go", fmt.Sprintf("%.4f mGal/m for\n// 1 g/cm³", 2*math.Pi*gravlab.G*1000/gravlab.MilliGal)},
	} {
		b, err := os.ReadFile(filepath.Join("..", filepath.FromSlash(text.file)))
		if err != nil {
			t.Fatal(err)
		}
		if !strings.Contains(string(b), text.want) {
			t.Errorf("%s does not say %q", text.file, text.want)
		}
	}
	lab, err := exercises.Find("12-a-day-in-the-field")
	if err != nil {
		t.Fatal(err)
	}
	for _, q := range lab.Sheet("").Questions {
		if q.ID == "budget" && !strings.Contains(q.Hints[1], "0.3086 − "+slab+" mGal/m") {
			t.Errorf("the hint %q does not take %s mGal/m for the slab", q.Hints[1], slab)
		}
	}
}
