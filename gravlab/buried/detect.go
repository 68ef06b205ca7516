package buried

import (
	"errors"
	"fmt"
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"gravity.example/gravlab/internal/arg"
	"gravity.example/gravlab/signal"
)

// freeAir is the vertical gradient of gravity in free air, 1/s²: common
// practice, 0.3086 mGal/m.
const freeAir = 3.086e-6

// A Plan is a set of stations and what disturbs the readings there. It says
// what could be detected before the survey. A base level and a slope (to
// the north, to the east, as far as the stations extend that way) are always
// taken to be fitted, because no survey knows them: what of the signal looks
// like them is lost. (One station a millimetre off a line is enough for a slope
// across it, which then explains that station's reading whatever it is: put the
// stations of a profile exactly in line.) All errors are taken as normal, of zero mean and
// independent of each other but for drift and clutter.
type Plan struct {
	Stations []r3.Vec // in the order in which they are measured, m; 2 to 5000
	Noise    float64  // standard uncertainty of one reading, m/s², above zero
	Height   float64  // standard uncertainty of a station's height, m; costs 3086 E (free air) times it, where a plate correction by the same height would leave two thirds
	Place    float64  // standard uncertainty of a station's place, north and east alike, m; costs the body's own horizontal gradient of gz there times it
	Drift    float64  // random walk of the instrument: standard deviation from one station to the next, m/s²; none before the first
	Clutter  *Clutter // rocks; nil for none. Depths are below the stations, as if all of them stood on one level
}

// Line is a profile of n stations on z = 0 along north, centred on x = 0.
func Line(n int, spacing float64) ([]r3.Vec, error) {
	const fn = "buried.Line"
	if n < 1 || n > 1e6 {
		return nil, arg.Bad(fn, "n", n, "1 to 1000000 stations")
	}
	if err := arg.Between(fn, "spacing", spacing, 1e-9, 1e9, "spacing in m"); err != nil {
		return nil, err
	}
	stations := make([]r3.Vec, n)
	for i := range stations {
		stations[i].X = (float64(i) - float64(n-1)/2) * spacing
	}
	return stations, nil
}

// Validate reports every field that cannot be used.
func (p Plan) Validate() error {
	const fn = "buried.Plan"
	if err := arg.AtLeast(fn, "Stations", len(p.Stations), 2); err != nil {
		return err
	}
	if len(p.Stations) > 5000 {
		return arg.Bad(fn, "Stations", len(p.Stations), "at most 5000 stations")
	}
	for i, s := range p.Stations {
		if !finite3(s) || math.Abs(s.X)+math.Abs(s.Y)+math.Abs(s.Z) > 1e9 {
			return arg.Bad(fn, fmt.Sprintf("Stations[%d]", i), s, "three finite coordinates in m")
		}
	}
	err := errors.Join(
		arg.Between(fn, "Noise", p.Noise, 1e-20, 1, "standard uncertainty in m/s²"),
		arg.Between(fn, "Height", p.Height, 0, 1e4, "standard uncertainty in m"),
		arg.Between(fn, "Place", p.Place, 0, 1e4, "standard uncertainty in m"),
		arg.Between(fn, "Drift", p.Drift, 0, 1, "standard deviation in m/s²"))
	if err == nil && p.Clutter != nil {
		err = p.Clutter.Validate()
	}
	return err
}

// SNR is the signal-to-noise ratio with which the plan sees a body: the matched
// filter's mean output over its standard deviation, for the known shape and
// place, all correlations of the noise included, after base level and slope
// were fitted. It is also the body's excess mass over the standard uncertainty
// that the readings leave it when everything else about the body is known. It
// has no unit and no sign, and is zero where base level and slope take all of
// the signal.
//
// Source: generalised least squares, S² = s' (C^-1 - C^-1 A (A' C^-1 A)^-1 A'
// C^-1) s, C the covariance of the readings, A the columns of base level and
// slope; S. M. Kay, Fundamentals of Statistical Signal Processing II (1998),
// chapter 4 (from memory).
//
// Time and memory grow as the number n of stations without clutter; with clutter
// on a straight line of evenly spaced stations, measured from end to end and
// without errors of place, time grows as n² (5000 stations: below a tenth of a
// second on one core). Any other plan with clutter needs about n³/3
// multiplications and one matrix of n² numbers: 5000 stations ten seconds and
// 200 MB. Noise that rounding loses beside the clutter (below about 1e-7 of its
// RMS, where stations stand much closer together than the rocks lie deep) is an
// error.
func (p Plan) SNR(b Body) (float64, error) {
	if err := p.Validate(); err != nil {
		return 0, err
	}
	return p.snr(b, nil)
}

// snr is SNR of a plan that was validated. white is the plan's whitener where
// the body does not matter for it, nil to have it made.
func (p *Plan) snr(b Body, white whitener) (float64, error) {
	signal, err := GZAt(b, p.Stations)
	if err != nil {
		return 0, err
	}
	if white == nil {
		var place []Tensor
		if p.Place > 0 {
			if place, err = GradientAt(b, p.Stations); err != nil {
				return 0, err
			}
		}
		if white, err = p.whitener(place); err != nil {
			return 0, err
		}
	}
	columns := append(regional(p.Stations), signal)
	if err := white(columns...); err != nil {
		return 0, err
	}
	return ratio(columns)
}

// ratio is the length of the last of whitened columns, the signal, without what
// the columns of the regional before it can make.
func ratio(columns [][]float64) (float64, error) {
	var basis [][]float64
	last := len(columns) - 1
	for _, column := range columns[:last] {
		basis = extend(basis, column)
	}
	s := append([]float64(nil), columns[last]...)
	without(s, basis)
	snr := math.Sqrt(dot(s, s))
	if !isFinite(snr) {
		return 0, arg.Bad("buried.Plan.SNR", "b", snr, "a body whose signal stays within the range of float64")
	}
	return snr, nil
}

func checkProbability(fn, name string, p float64) error {
	if !(p > 0 && p < 1) {
		return arg.Bad(fn, name, p, "a probability above 0 and below 1")
	}
	return nil
}

// A Detection is what a plan can promise about one body.
type Detection struct {
	SNR         float64
	Threshold   float64 // of the matched filter's output, in its standard deviations
	PerTrial    float64 // false-alarm probability of each trial
	Probability float64 // of detecting the body
}

// Detect says how likely the plan is to detect a body when the search over
// trials independent places (1 if the place is known) may raise a false alarm
// with the probability falseAlarm in all. It takes the time and memory of
// [Plan.SNR].
func (p Plan) Detect(b Body, falseAlarm float64, trials int) (Detection, error) {
	return p.detect(b, nil, falseAlarm, trials)
}

func (p *Plan) detect(b Body, white whitener, falseAlarm float64, trials int) (Detection, error) {
	threshold, err := signal.Threshold(falseAlarm, trials)
	if err != nil {
		return Detection{}, err
	}
	if err := p.Validate(); err != nil {
		return Detection{}, err
	}
	snr, err := p.snr(b, white)
	if err != nil {
		return Detection{}, err
	}
	d := Detection{SNR: snr, Threshold: threshold}
	if d.PerTrial, err = signal.FalseAlarm(threshold, 1); err != nil {
		return d, err
	}
	d.Probability, err = signal.DetectionProbability(snr, threshold)
	return d, err
}

// PlanFor returns the profile (Line) with the fewest stations over a given
// length (m) that detects the body with the wanted probability; noise holds
// everything but the stations. The search stops at most stations (3 to 2000),
// with an error that says the best probability it met: with correlated clutter
// more stations soon stop helping.
//
// The spacing is halved until it is enough, then every number of stations from
// three up is tried, because fewer may see more: an even number has none in the
// middle. Without clutter 2000 stations are searched in a second; with clutter
// time grows as the cube of the number found (2000 stations: a few seconds).
// With clutter and errors of place it grows as its fourth power for those numbers
// that would do if places were exact: minutes where that is a thousand. See
// [Plan.SNR].
func PlanFor(b Body, noise Plan, length, wanted, falseAlarm float64, trials, most int) (Plan, Detection, error) {
	const fn = "buried.PlanFor"
	if err := errors.Join(arg.Between(fn, "length", length, 1e-6, 1e9, "length in m"), checkProbability(fn, "wanted", wanted)); err != nil {
		return Plan{}, Detection{}, err
	}
	if most < 3 || most > 2000 {
		return Plan{}, Detection{}, arg.Bad(fn, "most", most, "3 to 2000 stations")
	}
	try := func(p Plan, n int) (Plan, Detection, error) {
		var err error
		if p.Stations, err = Line(n, length/float64(n-1)); err != nil {
			return p, Detection{}, err
		}
		d, err := p.Detect(b, falseAlarm, trials)
		return p, d, err
	}
	// Halve the spacing until it is enough, with a station in the middle all the
	// way and the two largest numbers at the end. Then look one by one from the
	// start: an even number, with none in the middle, can see less of a narrow
	// body than a smaller odd one.
	numbers := []int{}
	for n := 3; n < most-1; n = 2*n - 1 {
		numbers = append(numbers, n)
	}
	var best Detection
	bestN, enough := 0, 0
	for _, n := range append(numbers, max(3, most-1), most) {
		_, d, err := try(noise, n)
		if err != nil {
			return Plan{}, d, err
		}
		if bestN == 0 || d.Probability > best.Probability {
			best, bestN = d, n
		}
		if d.Probability >= wanted {
			enough = n
			break
		}
	}
	if enough == 0 {
		return Plan{}, best, arg.Bad(fn, "wanted", wanted, fmt.Sprintf("at most %.3f, which %d of up to %d stations reach here", best.Probability, bestN, most))
	}
	// Errors of place only lower the ratio. On an even line they cost a cubed
	// number of operations beside clutter, a squared one without: what does not
	// do without them need not be tried with them.
	inPlace := noise
	inPlace.Place = 0
	for n := 3; ; n++ {
		if noise.Place > 0 && noise.Clutter != nil && n < enough {
			if _, d, err := try(inPlace, n); err == nil && d.Probability < wanted {
				continue
			}
		}
		p, d, err := try(noise, n)
		if err != nil || d.Probability >= wanted || n >= enough {
			return p, d, err
		}
	}
}

// SmallestRadius is the radius (m) of the smallest body that the plan detects
// with the wanted probability. body makes the body of a radius; its signal must
// grow with it. The search goes from 1 mm to largest, in about 45 steps to a
// relative 1e-12; 1 mm is the answer where less would do. The covariance is
// factorised once, with errors of place at every step, since they go with the
// body: see [Plan.SNR] for what that takes. A nil body panics.
func (p Plan) SmallestRadius(body func(radius float64) Body, largest, wanted, falseAlarm float64, trials int) (float64, error) {
	const fn = "buried.Plan.SmallestRadius"
	if err := errors.Join(arg.Between(fn, "largest", largest, 1e-3, 1e9, "radius in m"), checkProbability(fn, "wanted", wanted)); err != nil {
		return 0, err
	}
	var white whitener
	if p.Place == 0 {
		// The noise is the same for every radius.
		err := p.Validate()
		if err == nil {
			white, err = p.whitener(nil)
		}
		if err != nil {
			return 0, err
		}
	}
	lo, hi := 1e-3, largest
	d, err := p.detect(body(hi), white, falseAlarm, trials)
	if err != nil {
		return 0, err
	}
	if d.Probability < wanted {
		return 0, arg.Bad(fn, "wanted", wanted, fmt.Sprintf("at most %.3f, which the largest radius of %g m reaches", d.Probability, largest))
	}
	for hi/lo > 1+1e-12 {
		middle := math.Sqrt(lo * hi)
		if d, err = p.detect(body(middle), white, falseAlarm, trials); err != nil {
			return 0, err
		}
		if d.Probability >= wanted {
			hi = middle
		} else {
			lo = middle
		}
	}
	return hi, nil
}
