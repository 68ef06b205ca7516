package buriedcases

import (
	"slices"
	"strings"
	"testing"

	"gravity.example/gravlab/internal/check"
	"gravity.example/testdata"
)

func TestBuried(t *testing.T) { check.Test(t, Cases()) }

func TestEveryCallIsUsed(t *testing.T) {
	if left := others.Unused("buried"); len(left) > 0 {
		t.Errorf("no row of model_checks.csv has the call %q", left)
	}
	for name := range bodies {
		if !slices.ContainsFunc(testdata.ModelChecks("buried"), func(m testdata.ModelCheck) bool { return strings.HasPrefix(m.Call, name+".") }) {
			t.Errorf("no row of model_checks.csv asks for %q", name)
		}
	}
	for name := range components {
		if !slices.ContainsFunc(testdata.ModelChecks("buried"), func(m testdata.ModelCheck) bool { return strings.HasSuffix(m.Call, "."+name) }) {
			t.Errorf("no row of model_checks.csv asks for %q", name)
		}
	}
}
