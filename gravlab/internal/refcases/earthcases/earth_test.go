package earthcases

import (
	"testing"

	"gravity.example/gravlab/internal/check"
)

func TestEarth(t *testing.T) { check.Test(t, Cases()) }
