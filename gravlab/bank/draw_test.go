package bank

import "testing"

// TestStreamsStandAlone pins a few draws: a new number in a lab must leave the
// others, and with them every sheet that was handed out, as they were.
func TestStreamsStandAlone(t *testing.T) {
	d := Lab{ID: "01-weighing-the-earth"}.Draw("K7QF-3M2P")
	first := d.Between("arm", 100, 130, 1)
	d.Between("something new", 0, 1, 0.1)
	if again := d.Between("arm", 100, 130, 1); again != first {
		t.Errorf("the same name gave %g and then %g", first, again)
	}
	if got, want := d.Between("pinned", 0, 1e6, 1), 915043.0; got != want {
		t.Errorf("the stream of sheets has changed: %v, want %v; sheets that were handed out would change", got, want)
	}
}
