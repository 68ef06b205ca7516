package surveycases

import (
	"testing"

	"gravity.example/gravlab/internal/check"
)

func TestSurvey(t *testing.T) { check.Test(t, Cases()) }
