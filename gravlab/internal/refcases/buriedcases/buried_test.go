package buriedcases

import (
	"testing"

	"gravity.example/gravlab/internal/check"
)

func TestBuried(t *testing.T) { check.Test(t, Cases()) }
