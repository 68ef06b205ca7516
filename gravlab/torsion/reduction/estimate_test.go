package reduction

import (
	"fmt"
	"testing"
)

// TestEstimate: a result that is printed whole has its unit and its digits.
func TestEstimate(t *testing.T) {
	for want, e := range map[string]Estimate{
		"3.1273 ± 0.0029 mrad": {0.0031273, 2.9e-6, "rad"},
		"578.04 ± 0.08 s":      {578.0412, 0.0801, "s"},
	} {
		if got := fmt.Sprint(e); got != want {
			t.Errorf("%#v prints as %q, want %q", e, got, want)
		}
	}
}
