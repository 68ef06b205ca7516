package quantitycases

import (
	"testing"

	"gravity.example/gravlab/internal/check"
)

func TestCases(t *testing.T) { check.Test(t, Cases()) }
