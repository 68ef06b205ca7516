package digits

import (
	"math"
	"testing"
)

func TestDecimals(t *testing.T) {
	for u, want := range map[float64]int{0.0012: 4, 0.0096: 2, 0.004: 3, 0.020: 2, 0.26: 2, 0.3: 1, 1.4: 1, 3: 0, 30: 0, 1e6: 0, 0: 0, math.Inf(1): 0, -1: 0} {
		if got := Decimals(u); got != want {
			t.Errorf("Decimals(%v) = %d, want %d", u, got, want)
		}
	}
	if got := Decimals(math.NaN()); got != 0 {
		t.Errorf("Decimals(NaN) = %d", got)
	}
}
