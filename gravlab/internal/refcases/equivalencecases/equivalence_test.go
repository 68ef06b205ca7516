package equivalencecases

import (
	"testing"

	"gravity.example/gravlab/internal/check"
)

func TestEquivalence(t *testing.T) { check.Test(t, Cases()) }
