package page

import (
	"math"
	"slices"
	"strings"
	"testing"

	"gravity.example/exercises"
	table "gravity.example/gravlab/ask"
	"gravity.example/gravlab/bank"
	"gravity.example/gravlab/equivalence"
)

// aRide is what a browser makes of a lift's ride: readings along z in steps of 0.1 m/s², rate per
// second, with sign -1 as browsers give it that turn the axes round.
func aRide(rate, sign float64) (r ride, l equivalence.Lift) {
	l = equivalence.Lift{Gravity: 9.81, Peak: 1.1, Pulse: 2.4}
	for i := range int(30 * rate) {
		t := float64(i) / rate
		f := l.Reading(t-5) - l.Acceleration(t-20)
		coarse := func(v float64) float64 { return float64(float32(math.Round(10*v) / 10)) }
		r.Time = append(r.Time, 1000+t)
		r.X, r.Y, r.Z = append(r.X, coarse(0.03)), append(r.Y, coarse(-0.2)), append(r.Z, coarse(sign*f))
	}
	return r, l
}

// A ride in steps of 0.1 m/s² still gives the speed of the lift: the error of a sum of n
// rounded readings every T seconds is at most that of all at half a step, and the zero that was
// taken from them at rest.
func TestRideCoarse(t *testing.T) {
	for _, sign := range []float64{1, -1} {
		r, l := aRide(60, sign)
		made, h, problem := r.work()
		if problem != "" {
			t.Fatal(problem)
		}
		if h.Step != 0.1 || math.Abs(h.Rate-60) > 0.1 || len(h.Gaps) > 0 || !h.Still || h.Turned || h.Samples != len(r.Time) || math.Abs(h.Rest-9.8) > 0.05 {
			t.Errorf("sign %v: %+v", sign, h)
		}
		rec, err := table.ReadTable("own-ride.csv", string(made))
		if err != nil {
			t.Fatal(err)
		}
		time, reading := rec.Column("time"), rec.Column("reading")
		speed := 0.0
		for i := range time[1:] {
			if time[i] >= 4 && time[i] < 10 {
				speed += ((reading[i]+reading[i+1])/2 - h.Rest) * (time[i+1] - time[i])
			}
		}
		if want := l.Peak * l.Pulse / 2; math.Abs(speed-want) > 6*0.05 {
			t.Errorf("sign %v: the speed is %.3f m/s, and %.3f m/s is right", sign, speed, want)
		}
	}
}

func TestRideGaps(t *testing.T) {
	r, _ := aRide(60, 1)
	cut := ride{}
	for i, at := range r.Time {
		if at > 1007 && at < 1009.5 {
			continue
		}
		cut.Time, cut.X, cut.Y, cut.Z = append(cut.Time, at), append(cut.X, r.X[i]), append(cut.Y, r.Y[i]), append(cut.Z, r.Z[i])
		if i%100 == 50 { // the same moment twice
			cut.Time, cut.X, cut.Y, cut.Z = append(cut.Time, at), append(cut.X, r.X[i]), append(cut.Y, r.Y[i]), append(cut.Z, r.Z[i])
		}
	}
	made, h, problem := cut.work()
	if problem != "" {
		t.Fatal(problem)
	}
	if len(h.Gaps) != 1 || math.Abs(h.Gaps[0].At-7) > 0.02 || math.Abs(h.Gaps[0].Long-2.5) > 0.04 || h.Dropped == 0 || h.Samples+h.Dropped != len(cut.Time) {
		t.Errorf("%+v", h)
	}
	if _, err := table.ReadTable("own-ride.csv", string(made)); err != nil {
		t.Error(err)
	}
}

func TestRideRefused(t *testing.T) {
	whole, _ := aRide(60, 1)
	few := ride{whole.Time[:10], whole.X[:10], whole.Y[:10], whole.Z[:10]}
	short := whole
	short.Z = short.Z[1:]
	zero := ride{whole.Time, whole.X, whole.X, whole.X}
	wild := whole
	wild.X = append([]float64{1e9}, whole.X[1:]...)
	for _, c := range []struct {
		r    ride
		want string
	}{
		{ride{}, "too few"}, {few, "too few"}, {short, "same length"}, {zero, "no gravity"}, {wild, "reading 1 is not a number"},
	} {
		if _, _, problem := c.r.work(); !strings.Contains(problem, c.want) {
			t.Errorf("got %q, want %q", problem, c.want)
		}
	}
	// One that is carried about from the begin, and laid down on its side, is kept with a word.
	moved, _ := aRide(60, 1)
	for i := range 30 {
		moved.X[i] += 3
	}
	for i := len(moved.Time) - 120; i < len(moved.Time); i++ {
		moved.X[i], moved.Z[i] = 9.8, 0
	}
	if _, h, problem := moved.work(); problem != "" || h.Still || !h.Turned {
		t.Errorf("%+v %q", h, problem)
	}
}

// A browser's step is 0.1 m/s² (W3C, Device Orientation and Motion: acceleration is limited to
// that precision). A lab offers such a recording only if what it looks for is ten steps: the
// lift's peak is, on every sheet; what lifting the small weight off the mass of lab 03 does is
// two to four.
func TestRideWorthIt(t *testing.T) {
	const browserStep = 0.1
	for _, lab := range exercises.Labs() {
		if got := lab.Ride.File != ""; got != (lab.Number() == "07") {
			t.Errorf("lab %s offers a recording: %v", lab.Number(), got)
		}
	}
	lift, err := exercises.Find("07")
	if err != nil {
		t.Fatal(err)
	}
	spring, err := exercises.Find("03")
	if err != nil {
		t.Fatal(err)
	}
	for i := range 20 {
		ride := lift.Sheet(bank.NumberedCode(lift.ID, i)).Recordings[0]
		columns, err := ride.Make()
		if err != nil {
			t.Fatal(err)
		}
		reading := slices.Sorted(slices.Values(columns[1]))
		if peak := reading[len(reading)-1] - reading[len(reading)/2]; peak < 10*browserStep {
			t.Errorf("sheet %d of lab 07: the lift's peak is %.2f m/s²", i, peak)
		}
		right := spring.Sheet(bank.NumberedCode(spring.ID, i)).RightAnswers()
		// Lifted off, the weight moves the rest by this; times the angular frequency squared it
		// is an acceleration.
		if a := right["step"] * math.Pow(2*math.Pi*right["frequency"], 2); a > 4*browserStep || a < browserStep {
			t.Errorf("sheet %d of lab 03: lifting the weight off is %.2f m/s²", i, a)
		}
	}
}
