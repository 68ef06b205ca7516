package page_test

import (
	"encoding/json"
	"strings"
	"testing"

	"gravity.example/exercises"
	labpage "gravity.example/gravlab/page"
)

// TestWindow: what a fit is tried on is the recording that the lab's code reads, in the unit that
// its figures have; a cell that names none has none.
func TestWindow(t *testing.T) {
	c := call(t, labpage.Options{Labs: labs, Apparatus: func(string) ([]byte, error) { return nil, nil }})
	c.enter()
	status, _, body := c.send(request{path: labPath + "/window/code-12"})
	var got struct {
		Times, Readings []float64
		Unit            string
	}
	if err := json.Unmarshal([]byte(body), &got); err != nil || status != 200 {
		t.Fatal(status, err, body)
	}
	lab, err := exercises.Find("01")
	if err != nil {
		t.Fatal(err)
	}
	r, _ := lab.Sheet("").Recording("swing")
	want, err := r.Make()
	if err != nil {
		t.Fatal(err)
	}
	if len(got.Times) != len(want[0]) || got.Unit != "mm" {
		t.Fatalf("%d times in %s, want %d", len(got.Times), got.Unit, len(want[0]))
	}
	for i := range want[0] {
		if got.Times[i] != want[0][i] || got.Readings[i] != 1000*want[1][i] {
			t.Fatalf("reading %d is %g at %g s, want %g at %g s", i, got.Readings[i], got.Times[i], 1000*want[1][i], want[0][i])
		}
	}
	for _, cell := range []string{"code-14", "nothing", "sheet"} {
		if status, _, body := c.send(request{path: labPath + "/window/" + cell}); status != 404 || !strings.Contains(body, "no recording") {
			t.Errorf("%s: %d %s", cell, status, body)
		}
	}
	if v := c.view(); strings.Count(v, `"window":true`) != 1 {
		t.Errorf("%d boxes of lab 01 offer a fit, want 1", strings.Count(v, `"window":true`))
	}
}

func (c *caller) view() string {
	_, _, body := c.send(request{path: labPath + "?tab=a"})
	return body
}
