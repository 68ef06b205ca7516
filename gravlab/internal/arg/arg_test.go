package arg

import (
	"strings"
	"testing"
)

// What is allowed reads as a sentence.
func TestArticle(t *testing.T) {
	for what, want := range map[string]string{"angle in rad": "allowed: an angle in rad from 0 to 1", "time in s": "allowed: a time in s from 0 to 1", "Eötvös ratio": "allowed: an Eötvös ratio from 0 to 1"} {
		if err := Between("f", "x", 2, 0, 1, what); err == nil || !strings.HasSuffix(err.Error(), want) {
			t.Errorf("%v; want %q at the end", err, want)
		}
		if err := Rising("f", "x", []float64{2, 1}, what); err == nil || !strings.Contains(err.Error(), strings.TrimSuffix(want, " from 0 to 1")+" above") {
			t.Errorf("%v", err)
		}
	}
	if Between("f", "x", 0.5, 0, 1, "") != nil {
		t.Error("within and refused")
	}
}
