package survey

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"gravity.example/gravlab"
)

// A Remark tells of something that may be right and is more often a slip. Nothing
// was changed because of it: look it up in the field book, and put what stands
// into the notes of the report.
type Remark struct {
	Station string    // "" where it is about more than one
	Time    time.Time // of the reading, in its own time zone; zero where it is about no single reading
	Text    string
}

// String is the remark with its place: "A3, 2021-04-14 09:10 BST: ...".
func (r Remark) String() string {
	switch {
	case r.Station == "":
		return r.Text
	case r.Time.IsZero():
		return r.Station + ": " + r.Text
	}
	return r.Station + ", " + moment(r.Time) + ": " + r.Text
}

// moment writes a time as its reader gave it, zone and all.
func moment(t time.Time) string { return t.Format("2006-01-02 15:04 MST") }

// place names a reading.
func (r Reading) place() string { return r.Station + " at " + moment(r.Time) }

// labels returns how the readings of a record are told apart in a word: by
// station and time in the reader's zone, with the date where there is more than
// one day and the zone where it is not UTC.
func labels(readings []Reduced) func(Reading) string {
	layout := "15:04"
	for _, r := range readings {
		if r.Time.Format(time.DateOnly) != readings[0].Time.Format(time.DateOnly) {
			layout = "2006-01-02 15:04"
		}
	}
	return func(r Reading) string {
		return strings.TrimSuffix(r.Station+" "+r.Time.Format(layout+" MST"), " UTC")
	}
}

// Bounds of what is kept without a word, each by common practice, no source.
const (
	// A meter's levels end some minutes of arc off; 5 mrad are 17', and 120 µm/s².
	steep = 5e-3 // rad
	// Weather moves pressure by less about the standard atmosphere, but for deep
	// lows and the coldest or warmest air above high ground.
	deepLow = 6000.0 // Pa
	// Water tables move by less in a year.
	flood = 15.0 // m
	// Clocks run at most three hours and a half from the mean time of their
	// meridian (the west of China, UTC+8 at 74° E: 3.1 h).
	farClock = 4 * time.Hour
	// Readings of a field meter are good to 1 to 100 µGal; at sea, to a mGal.
	vague = 1e-5 // m/s²
	// What is a number in units of a µGal among counter units, of about a mGal.
	outweighed = 30.0
)

// remarks collects those of the readings, each once for a station, and what their
// uncertainties say.
func remarks(readings []Reduced) (all []Remark) {
	told := map[[2]string]bool{}
	for _, r := range readings {
		for _, text := range r.Remarks {
			if key := [2]string{r.Station, text}; !told[key] {
				told[key] = true
				all = append(all, Remark{Station: r.Station, Time: r.Time, Text: text})
			}
		}
	}
	return append(all, weights(readings)...)
}

// weights remarks on uncertainties that weigh a reading, or all of them, down to
// nothing.
func weights(readings []Reduced) (remarks []Remark) {
	size := make([]float64, len(readings))
	for i, r := range readings {
		size[i] = r.UValue
	}
	slices.Sort(size)
	usual := size[(len(size)-1)/2]
	if usual > vague {
		remarks = append(remarks, Remark{Text: fmt.Sprintf("half of the readings have a standard uncertainty of %s or more; is it in µGal instead of counter units?", sizeText(usual))})
	}
	for _, r := range readings {
		if r.UValue > outweighed*usual {
			remarks = append(remarks, Remark{Station: r.Station, Time: r.Time, Text: fmt.Sprintf("its standard uncertainty is %s where %s is usual, so that it weighs nothing; is it in µGal instead of counter units?", sizeText(r.UValue), sizeText(usual))})
		}
	}
	return remarks
}

// sizeText writes an acceleration (m/s²) in mGal or µGal, to two or three digits.
func sizeText(v float64) string {
	if math.Abs(v) < gravlab.MilliGal {
		return fmt.Sprintf("%.2g µGal", v/gravlab.MicroGal)
	}
	return fmt.Sprintf("%.4g mGal", v/gravlab.MilliGal)
}
