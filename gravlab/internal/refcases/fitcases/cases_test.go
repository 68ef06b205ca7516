package fitcases

import (
	"strconv"
	"testing"

	"gravity.example/gravlab/internal/check"
)

func TestCases(t *testing.T) { check.Test(t, Cases()) }

// TestWithoutJacobian reaches the certified values with central differences.
// Their relative error e, about 1e-10, moves a parameter by about e sqrt(dof)
// of its standard deviation; the standard deviations themselves share e.
func TestWithoutJacobian(t *testing.T) {
	for _, s := range StRDs() {
		for k, start := range s.Starts {
			c := s.Curve
			c.Start, c.Jacobian = start, nil
			r, err := c.Fit()
			if err != nil {
				t.Errorf("%s from start %d: %v", s.Name, k+1, err)
				continue
			}
			for j, name := range c.Names {
				want, _ := strconv.ParseFloat(s.Value[j], 64)
				sd, _ := strconv.ParseFloat(s.SD[j], 64)
				value := check.Tolerance{Abs: 1e-8 * sd, Rel: 5e-11}
				if !value.Accepts(r.P[j], want) {
					t.Errorf("%s from start %d: %s = %.15g, want %.15g", s.Name, k+1, name, r.P[j], want)
				}
				if spread := (check.Tolerance{Rel: 1e-8}); !spread.Accepts(r.U[j], sd) {
					t.Errorf("%s from start %d: standard deviation of %s = %.15g, want %.15g", s.Name, k+1, name, r.U[j], sd)
				}
			}
		}
	}
}

func TestEveryCallIsUsed(t *testing.T) {
	if left := calls.Unused("fit"); len(left) > 0 {
		t.Errorf("no row of model_checks.csv has the call %q", left)
	}
}
